//! A path taken apart into its loops, which loop lies in which, and the path put together again.

use kurbo::{
    BezPath, CubicBez, Line, ParamCurve, ParamCurveDeriv as _, PathEl, PathSeg, Point, Rect, Shape as _, Vec2,
};

/// One subpath: segments that follow each other without a gap, none of them shorter than the tolerance it was split
/// with.
#[derive(Clone, Debug)]
pub(super) struct Loop {
    pub(super) segments: Vec<PathSeg>,
    pub(super) closed: bool,
}

/// The subpaths of `path`. Segments of no more than `speck` are left out and their ends joined; a subpath that is
/// nothing but such specks is left out altogether. A subpath is closed by its `Z`, or by ending within `speck` of its
/// start.
pub(super) fn split(path: &BezPath, speck: f64) -> Vec<Loop> {
    let mut loops = Vec::new();
    let mut segments: Vec<PathSeg> = Vec::new();
    let (mut start, mut pen) = (Point::ZERO, Point::ZERO);
    for &el in path.elements() {
        let segment = match el {
            PathEl::MoveTo(p) => {
                finish(&mut segments, start, false, speck, &mut loops);
                (start, pen) = (p, p);
                continue;
            }
            PathEl::ClosePath => {
                finish(&mut segments, start, true, speck, &mut loops);
                pen = start;
                continue;
            }
            PathEl::LineTo(p) => PathSeg::Line(Line::new(pen, p)),
            PathEl::QuadTo(p1, p2) => PathSeg::Cubic(kurbo::QuadBez::new(pen, p1, p2).raise()),
            PathEl::CurveTo(p1, p2, p3) => PathSeg::Cubic(CubicBez::new(pen, p1, p2, p3)),
        };
        pen = segment.end();
        if reach(&segment) > speck {
            segments.push(segment);
        }
    }
    finish(&mut segments, start, false, speck, &mut loops);
    loops
}

fn finish(segments: &mut Vec<PathSeg>, start: Point, closed: bool, speck: f64, loops: &mut Vec<Loop>) {
    if segments.is_empty() {
        return;
    }
    // The first segment may start a speck away from where the subpath does; the loop goes by the segments.
    let mut whole = Loop { segments: std::mem::take(segments), closed: false };
    set_start(&mut whole.segments[0], start);
    for k in 1..whole.segments.len() {
        let end = whole.segments[k - 1].end();
        set_start(&mut whole.segments[k], end);
    }
    if closed || whole.end().distance(start) <= speck {
        whole.close(speck);
    }
    loops.push(whole);
}

fn set_start(segment: &mut PathSeg, p: Point) {
    match segment {
        PathSeg::Line(line) => line.p0 = p,
        PathSeg::Quad(quad) => quad.p0 = p,
        PathSeg::Cubic(cubic) => cubic.p0 = p,
    }
}

fn set_end(segment: &mut PathSeg, p: Point) {
    match segment {
        PathSeg::Line(line) => line.p1 = p,
        PathSeg::Quad(quad) => quad.p2 = p,
        PathSeg::Cubic(cubic) => cubic.p3 = p,
    }
}

/// How far the segment or its control points get from its start.
fn reach(segment: &PathSeg) -> f64 {
    match segment {
        PathSeg::Line(line) => line.p0.distance(line.p1),
        PathSeg::Quad(quad) => quad.p0.distance(quad.p1).max(quad.p0.distance(quad.p2)),
        PathSeg::Cubic(cubic) => {
            [cubic.p1, cubic.p2, cubic.p3].iter().map(|p| cubic.p0.distance(*p)).fold(0.0, f64::max)
        }
    }
}

impl Loop {
    pub(super) fn start(&self) -> Point {
        self.segments[0].start()
    }

    pub(super) fn end(&self) -> Point {
        self.segments[self.segments.len() - 1].end()
    }

    /// Closes the loop: an end within `nearly` of the start moves there, from a farther one a straight line goes back.
    pub(super) fn close(&mut self, nearly: f64) {
        let (start, end) = (self.start(), self.end());
        if end.distance(start) > nearly {
            self.segments.push(PathSeg::Line(Line::new(end, start)));
        } else if let Some(last) = self.segments.last_mut() {
            set_end(last, start);
        }
        self.closed = true;
    }

    /// As a path; the last stretch, when it is a line back to the start, is left to `Z`.
    pub(super) fn path(&self) -> BezPath {
        let mut path = BezPath::with_capacity(self.segments.len() + 2);
        path.move_to(self.start());
        let by_z = self.closed && matches!(self.segments.last(), Some(PathSeg::Line(_)));
        for segment in &self.segments[..self.segments.len() - usize::from(by_z)] {
            path.push(segment.as_path_el());
        }
        if self.closed {
            path.close_path();
        }
        path
    }

    /// Above 0: clockwise on a screen, whose y points down.
    pub(super) fn signed_area(&self) -> f64 {
        self.path().area()
    }

    fn reversed(&self) -> Self {
        Self { segments: self.segments.iter().rev().map(PathSeg::reverse).collect(), closed: self.closed }
    }
}

/// The loops one after the other.
pub(super) fn join(loops: &[Loop]) -> BezPath {
    loops.iter().flat_map(|l| l.path().into_elements()).collect()
}

/// For each loop the loops around it. They must be closed and must not meet.
pub(super) fn around(loops: &[Loop]) -> Vec<Vec<usize>> {
    let outlines: Vec<(BezPath, Rect)> =
        loops.iter().map(|l| l.path()).map(|p| (p.clone(), p.bounding_box())).collect();
    let holds = |outer: usize, place: Point| {
        let (path, bounds) = &outlines[outer];
        bounds.contains(place) && path.winding(place) != 0
    };
    let place = |k: usize| loops[k].segments[0].eval(0.5);
    (0..loops.len()).map(|k| (0..loops.len()).filter(|&outer| outer != k && holds(outer, place(k))).collect()).collect()
}

/// The same loops with every outer edge clockwise on a screen and every edge of a hole the other way, by the even-odd
/// rule. They must be closed and must not meet.
pub(super) fn oriented(loops: &[Loop]) -> Vec<Loop> {
    let turn = |(l, around): (&Loop, Vec<usize>)| {
        let clockwise = around.len().is_multiple_of(2);
        if (l.signed_area() > 0.0) == clockwise { l.clone() } else { l.reversed() }
    };
    loops.iter().zip(around(loops)).map(turn).collect()
}

/// The loops that bound what the non-zero rule fills: by the even-odd rule they bound the same. A loop with filled
/// ground on both its sides bounds nothing. They must be closed and must not meet.
pub(super) fn even_odd_from_non_zero(loops: &[Loop]) -> Vec<Loop> {
    let winding: Vec<i32> = loops.iter().map(|l| if l.signed_area() > 0.0 { 1 } else { -1 }).collect();
    let bounds = |(k, around): &(usize, Vec<usize>)| {
        let outside: i32 = around.iter().map(|&outer| winding[outer]).sum();
        (outside == 0) != (outside + winding[*k] == 0)
    };
    around(loops).into_iter().enumerate().filter(bounds).map(|(k, _)| loops[k].clone()).collect()
}

/// Unit direction of a segment's way.
pub(crate) fn direction(segment: &PathSeg, t: f64) -> Vec2 {
    let cubic = segment.to_cubic();
    let along = cubic.deriv().eval(t).to_vec2();
    // A handle of no length has no direction: a little further on there is one.
    let along =
        if along.hypot() > 1e-9 { along } else { cubic.eval((t + 1e-3).min(1.0)) - cubic.eval((t - 1e-3).max(0.0)) };
    along / along.hypot().max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn loops(d: &str) -> Vec<Loop> {
        split(&BezPath::from_svg(d).unwrap(), 1e-9)
    }

    fn areas(loops: &[Loop]) -> Vec<f64> {
        loops.iter().map(Loop::signed_area).collect()
    }

    /// A ring around a disc, every one of them drawn anticlockwise.
    const NESTED: &str = "M0 0V90H90V0Z M10 10V80H80V10Z M20 20V70H70V20Z M200 0V10H210V0Z";

    #[test]
    fn outer_edges_run_clockwise_and_holes_the_other_way() {
        assert_eq!(areas(&loops(NESTED)), [-8100.0, -4900.0, -2500.0, -100.0]);
        assert_eq!(areas(&oriented(&loops(NESTED))), [8100.0, -4900.0, 2500.0, 100.0]);
    }

    #[test]
    fn a_hole_drawn_the_same_way_is_no_hole_by_the_non_zero_rule() {
        assert_eq!(areas(&even_odd_from_non_zero(&loops(NESTED))), [-8100.0, -100.0]);
        let ring = "M0 0V90H90V0Z M10 10H80V80H10Z";
        assert_eq!(even_odd_from_non_zero(&loops(ring)).len(), 2);
    }

    #[test]
    fn a_loop_closes_by_z_or_by_coming_back() {
        let closed: Vec<bool> =
            loops("M0 0L5 0L5 5 M0 0L5 0L5 5Z M0 0L5 0L5 5L0 0 M9 9").iter().map(|l| l.closed).collect();
        assert_eq!(closed, [false, true, true]);
    }

    #[test]
    fn specks_are_left_out_and_their_ends_joined() {
        let path = BezPath::from_svg("M0 0L10 0L10 1e-7L10 10L0 1e-7Z M3 3L3 3Z").unwrap();
        let kept = split(&path, 1e-6);
        assert_eq!(kept.len(), 1);
        assert_eq!(kept[0].segments.len(), 3);
        assert!(kept[0].segments.windows(2).all(|pair| pair[0].end() == pair[1].start()));
        assert_eq!(kept[0].end(), kept[0].start());
    }

    #[test]
    fn taking_apart_and_joining_changes_nothing() {
        let d = BezPath::from_svg("M0 0L9 0C12 3 12 6 9 9Z M20 0L30 0L25 5Z").unwrap();
        assert_eq!(join(&split(&d, 1e-9)), d);
    }
}
