//! The part of a path that lies in a window.

use kurbo::{BezPath, Line, ParamCurve, PathSeg, Rect, Shape};

use crate::space::{Path, Space};

/// The parts of `path` inside `window`, as open paths that end on its border. Segments that stay outside are dropped
/// whole, so that a page holds only what crosses it.
pub fn clip<S: Space>(path: &Path<S>, window: Rect) -> Path<S> {
    let mut out = BezPath::new();
    for segment in path.raw().segments() {
        // The hull of its control points holds the curve.
        let hull = match segment {
            PathSeg::Line(l) => l.bounding_box(),
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
        let mut cuts = vec![0.0, 1.0];
        for edge in edges(window.union(hull).inset(1.0), window) {
            cuts.extend(segment.intersect_line(edge).iter().map(|hit| hit.segment_t.clamp(0.0, 1.0)));
        }
        cuts.sort_by(f64::total_cmp);
        for pair in cuts.windows(2) {
            if pair[1] - pair[0] > 1e-9 && window.contains(segment.eval(pair[0].midpoint(pair[1]))) {
                append(&mut out, segment.subsegment(pair[0]..pair[1]));
            }
        }
    }
    Path::new(out)
}

/// The four border lines of `window`, drawn out to the size of `reach` so that no crossing falls off their ends.
fn edges(reach: Rect, window: Rect) -> [Line; 4] {
    [
        Line::new((window.x0, reach.y0), (window.x0, reach.y1)),
        Line::new((window.x1, reach.y0), (window.x1, reach.y1)),
        Line::new((reach.x0, window.y0), (reach.x1, window.y0)),
        Line::new((reach.x0, window.y1), (reach.x1, window.y1)),
    ]
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
    use kurbo::{Circle, ParamCurveArclen};

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

    #[test]
    fn the_closing_line_of_a_path_is_kept() {
        let square = Path::<Page>::new(Rect::new(0.0, 0.0, 10.0, 10.0).to_path(0.1));
        assert!((length(&clip(&square, Rect::new(-5.0, -5.0, 5.0, 15.0))) - 20.0).abs() < 1e-9);
    }
}
