//! The part of a path that lies in a window.

use std::ops::Range;

use kurbo::{BezPath, ParamCurve, ParamCurveExtrema, PathSeg, Rect, Vec2};

use crate::space::{Path, Space};

/// The parts of `path` inside `window`, as open paths that end on its border. Segments that stay outside are dropped
/// whole, so that a page holds only what crosses it.
pub fn clip<S: Space>(path: &Path<S>, window: Rect) -> Path<S> {
    let mut out = BezPath::new();
    for segment in path.raw().segments() {
        // The hull of its control points holds the curve.
        let hull = match segment {
            PathSeg::Line(l) => Rect::from_points(l.p0, l.p1),
            PathSeg::Quad(q) => Rect::from_points(q.p0, q.p2).union_pt(q.p1),
            PathSeg::Cubic(c) => Rect::from_points(c.p0, c.p3).union_pt(c.p1).union_pt(c.p2),
        };
        if hull.x1 < window.x0 || hull.x0 > window.x1 || hull.y1 < window.y0 || hull.y0 > window.y1 {
            continue;
        }
        let inside = hull.x0 >= window.x0 && hull.x1 <= window.x1 && hull.y0 >= window.y0 && hull.y1 <= window.y1;
        if inside {
            append(&mut out, segment);
            continue;
        }
        let cuts = crossings(segment, window);
        for pair in cuts.windows(2) {
            if pair[1] - pair[0] > 1e-9 && window.contains(segment.eval(pair[0].midpoint(pair[1]))) {
                append(&mut out, segment.subsegment(pair[0]..pair[1]));
            }
        }
    }
    Path::new(out)
}

/// Where `segment` crosses the border lines of `window`, in order between its own ends 0 and 1.
///
/// Between two extrema a curve crosses a line once at most, and that place is found by halving. To solve the cubic would
/// lose both crossings of an arch: its leading term is nothing but rounding.
fn crossings(segment: PathSeg, window: Rect) -> Vec<f64> {
    let (x, y) = (Vec2::new(1.0, 0.0), Vec2::new(0.0, 1.0));
    let borders = [(x, window.x0), (x, window.x1), (y, window.y0), (y, window.y1)];
    let mut cuts = vec![0.0, 1.0];
    for part in segment.extrema_ranges() {
        for (across, border) in borders {
            let is_beyond = |t: f64| segment.eval(t).to_vec2().dot(across) > border;
            if is_beyond(part.start) != is_beyond(part.end) {
                cuts.push(halved(part.clone(), is_beyond));
            }
        }
    }
    cuts.sort_by(f64::total_cmp);
    cuts
}

/// Where `is_beyond`, which differs at the two ends of `range`, changes.
fn halved(mut range: Range<f64>, is_beyond: impl Fn(f64) -> bool) -> f64 {
    let at_start = is_beyond(range.start);
    for _ in 0..f64::MANTISSA_DIGITS {
        let middle = range.start.midpoint(range.end);
        if is_beyond(middle) == at_start {
            range.start = middle;
        } else {
            range.end = middle;
        }
    }
    range.end
}

/// Adds `segment`, going on from the pen where it starts there.
fn append(out: &mut BezPath, segment: PathSeg) {
    let pen = out.elements().last().and_then(kurbo::PathEl::end_point);
    if pen.is_none_or(|pen| pen.distance(segment.start()) > 1e-9) {
        out.move_to(segment.start());
    }
    out.push(segment.as_path_el());
}

#[cfg(test)]
mod tests {
    use kurbo::{Circle, ParamCurveArclen, Shape as _};

    use super::*;
    use crate::space::Page;

    fn length(path: &Path<Page>) -> f64 {
        path.raw().segments().map(|s| s.arclen(1e-6)).sum()
    }

    #[test]
    fn windows_side_by_side_hold_the_whole_circle_between_them() {
        let circle = Path::<Page>::new(Circle::new((50.0, 40.0), 33.0).to_path(1e-6));
        let sum: f64 = (0..10)
            .flat_map(|x| (0..10).map(move |y| (f64::from(x) * 10.0, f64::from(y) * 10.0)))
            .map(|(x, y)| length(&clip(&circle, Rect::new(x, y, x + 10.0, y + 10.0))))
            .sum();
        assert!((sum - 2.0 * std::f64::consts::PI * 33.0).abs() < 1e-3, "{sum}");
    }

    #[test]
    fn nothing_reaches_out_of_the_window() {
        let circle = Path::<Page>::new(Circle::new((0.0, 0.0), 30.0).to_path(1e-6));
        let part = clip(&circle, Rect::new(0.0, 0.0, 25.0, 25.0));
        let bounds = part.bounds();
        assert!(bounds.x0 >= -1e-6 && bounds.y0 >= -1e-6 && bounds.x1 <= 25.0 + 1e-6 && bounds.y1 <= 25.0 + 1e-6);
        assert!(length(&part) > 10.0);
    }

    /// Pages once showed this arch beyond their edge: its y has no cubic term, or one of 1e-14.
    #[test]
    fn an_arch_is_cut_where_it_enters_and_where_it_leaves() {
        for lift in [0.0, -11.318168039607563] {
            let arch = Path::<Page>::new(
                BezPath::from_svg("M 300 300 C 300 420 470 420 470 300").expect("path data of this test"),
            );
            let arch = Path::<Page>::new(kurbo::Affine::translate((27.156902761581026, lift)) * arch.raw().clone());
            let window = Rect::new(248.0, 364.0 + lift, 520.0, 752.0);
            let below = clip(&arch, window);
            let above = clip(&arch, Rect::new(248.0, 0.0, 520.0, window.y0));
            assert!((below.bounds().y0 - window.y0).abs() < 1e-9, "{:?}", below.bounds());
            assert!((length(&below) + length(&above) - length(&arch)).abs() < 1e-3);
        }
    }

    #[test]
    fn the_closing_line_of_a_path_is_kept() {
        let square = Path::<Page>::new(Rect::new(0.0, 0.0, 10.0, 10.0).to_path(0.1));
        assert!((length(&clip(&square, Rect::new(-5.0, -5.0, 5.0, 15.0))) - 20.0).abs() < 1e-9);
    }
}
