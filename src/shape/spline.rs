//! Points, corners marked → a closed smooth curve through them.
//!
//! The curve is J. D. Hobby's ("Smooth, easy to compute interpolating splines", Discrete & Computational Geometry 1,
//! 1986, 123–140; the same equations, with their ends, stand in D. E. Knuth, "METAFONT: The Program", 1986,
//! §§ 116 and 274–277), at tension 1. Why this one: it gives one cubic between two points, which the whole program
//! speaks; it moves, turns and grows with its points; four points of a circle already give the circle to 0.03 % of
//! its radius; and the lengths of its arms follow from angles alone, so that uneven spacing, as a maker sets points,
//! makes no loops. Its price: the curvature is continuous only approximately, and a moved point is felt, fading, by
//! its neighbours' neighbours.

use kurbo::{BezPath, Vec2};

use crate::problem::Problem;
use crate::space::{Path, Point, Space};

/// A point that the curve passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knot<S> {
    /// Where.
    pub at: Point<S>,
    /// The direction may jump here. Between two corners in a row the curve is a straight line.
    pub corner: bool,
}

/// The closed curve through `knots`, in their order and back to the first. A corner is the free end of two curves.
///
/// Refused: fewer than three points, a point that is no finite number, and two points in a row in one place. Points
/// that reverse on themselves can still make the curve cross itself; [`Shape::new`](super::Shape::new) finds that.
pub fn closed_spline<S: Space>(knots: &[Knot<S>]) -> Result<Path<S>, Problem> {
    accept(knots)?;
    let n = knots.len();
    let at = |k: usize| knots[k % n].at.raw();
    let first = knots.iter().position(|knot| knot.corner);
    let mut path = BezPath::new();
    path.move_to(at(first.unwrap_or(0)));
    match first {
        None => smooth(&(0..=n).map(at).collect::<Vec<_>>(), true, &mut path),
        Some(first) => {
            let corners = (first..=first + n).filter(|&k| knots[k % n].corner).collect::<Vec<_>>();
            for ends in corners.windows(2) {
                smooth(&(ends[0]..=ends[1]).map(at).collect::<Vec<_>>(), false, &mut path);
            }
        }
    }
    path.close_path();
    Ok(Path::new(path))
}

/// The smooth line through `points`, in their order, its ends free; straight through two.
///
/// The points are finite, at least two, and no two in a row are the same.
pub fn open_spline<S: Space>(points: &[Point<S>]) -> Path<S> {
    let all: Vec<kurbo::Point> = points.iter().map(|point| point.raw()).collect();
    let mut path = BezPath::new();
    path.move_to(all[0]);
    smooth(&all, false, &mut path);
    Path::new(path)
}

fn accept<S: Space>(knots: &[Knot<S>]) -> Result<(), Problem> {
    if knots.len() < 3 {
        let text = format!(
            "a closed curve goes through at least 3 points, here are {}; add points along the edge",
            knots.len()
        );
        return Err(Problem::error("spline_points", text));
    }
    for (k, knot) in knots.iter().enumerate() {
        let (number, next) = (k + 1, (k + 1) % knots.len());
        if !knot.at.raw().is_finite() {
            let text = format!("point {number} of the curve is no finite number; write its two coordinates again");
            return Err(Problem::error("spline_not_finite", text));
        }
        if knot.at == knots[next].at {
            let text = format!(
                "points {number} and {} of the curve lie in one place, ({}, {}); leave one of them out",
                next + 1,
                knot.at.x,
                knot.at.y
            );
            return Err(Problem::error("spline_same_place", text));
        }
    }
    Ok(())
}

/// Adds the cubics from the first of `z` to the last. `around`: the last is the first again and the curve is smooth
/// there; else both ends are free (curl 1), which makes the first and last stretch nearly arcs of circles.
fn smooth(z: &[kurbo::Point], around: bool, path: &mut BezPath) {
    let n = z.len() - 1;
    let chord = z.windows(2).map(|ends| ends[1] - ends[0]).collect::<Vec<Vec2>>();
    // psi[k]: how far the chords turn at point k.
    let turn = |a: Vec2, b: Vec2| a.cross(b).atan2(a.dot(b));
    let mut psi = vec![0.0; n + 1];
    for k in 1..n {
        psi[k] = turn(chord[k - 1], chord[k]);
    }
    if around {
        psi[0] = turn(chord[n - 1], chord[0]);
        psi[n] = psi[0];
    }

    // theta[k]: from the chord that leaves point k to the direction of the curve there.
    let theta = if around {
        let row = |k: usize| {
            let (before, after) = (1.0 / chord[(k + n - 1) % n].hypot(), 1.0 / chord[k].hypot());
            (before, 2.0 * (before + after), after, -2.0 * before * psi[k] - after * psi[k + 1])
        };
        let mut theta = solve_around(&(0..n).map(row).collect::<Vec<_>>());
        theta.push(theta[0]);
        theta
    } else {
        let row = |k: usize| match k {
            0 => (0.0, 1.0, 1.0, -psi[1]),
            k if k == n => (1.0, 1.0, 0.0, 0.0),
            _ => {
                let (before, after) = (1.0 / chord[k - 1].hypot(), 1.0 / chord[k].hypot());
                (before, 2.0 * (before + after), after, -2.0 * before * psi[k] - after * psi[k + 1])
            }
        };
        if n == 1 { vec![0.0; 2] } else { solve(&(0..=n).map(row).collect::<Vec<_>>()) }
    };

    for k in 0..n {
        if n == 1 {
            path.line_to(z[1]);
            continue;
        }
        let (out, into) = (theta[k], -psi[k + 1] - theta[k + 1]);
        let leave = turned(chord[k], out) * arm(out, into);
        let arrive = turned(chord[k], -into) * arm(into, out);
        path.curve_to(z[k] + leave, z[k + 1] - arrive, z[k + 1]);
    }
}

fn turned(v: Vec2, angle: f64) -> Vec2 {
    let (sin, cos) = angle.sin_cos();
    Vec2::new(v.x * cos - v.y * sin, v.x * sin + v.y * cos)
}

/// Hobby's length of the control arm at the end whose angle to the chord is `theta`, as a part of the chord.
fn arm(theta: f64, phi: f64) -> f64 {
    let ((sin_t, cos_t), (sin_p, cos_p)) = (theta.sin_cos(), phi.sin_cos());
    let root5 = 5.0_f64.sqrt();
    let skew = 2.0_f64.sqrt() * (sin_t - sin_p / 16.0) * (sin_p - sin_t / 16.0) * (cos_t - cos_p);
    (2.0 + skew) / (3.0 * (1.0 + 0.5 * (root5 - 1.0) * cos_t + 0.5 * (3.0 - root5) * cos_p))
}

/// One row of a tridiagonal system: below, on and above the diagonal, and the right side.
type Row = (f64, f64, f64, f64);

/// Elimination without pivoting: every system here is diagonally dominant, or has the 1, 1 rows of free ends.
fn solve(rows: &[Row]) -> Vec<f64> {
    let mut above = Vec::with_capacity(rows.len());
    let mut x: Vec<f64> = Vec::with_capacity(rows.len());
    for (k, &(a, b, c, d)) in rows.iter().enumerate() {
        let (last_above, last_x) = if k == 0 { (0.0, 0.0) } else { (above[k - 1], x[k - 1]) };
        let pivot = b - a * last_above;
        above.push(c / pivot);
        x.push((d - a * last_x) / pivot);
    }
    for k in (0..rows.len() - 1).rev() {
        x[k] -= above[k] * x[k + 1];
    }
    x
}

/// The system whose first row reaches the last unknown and whose last row the first, by the Sherman–Morrison formula.
fn solve_around(rows: &[Row]) -> Vec<f64> {
    let last = rows.len() - 1;
    let (corner_right, corner_left) = (rows[0].0, rows[last].2);
    let gamma = -rows[0].1;
    let mut open = rows.to_vec();
    open[0].1 -= gamma;
    open[last].1 -= corner_right * corner_left / gamma;
    let x = solve(&open);
    for (k, row) in open.iter_mut().enumerate() {
        row.3 = if k == 0 {
            gamma
        } else if k == last {
            corner_left
        } else {
            0.0
        };
    }
    let q = solve(&open);
    let ratio = corner_right / gamma;
    let factor = (x[0] + ratio * x[last]) / (1.0 + q[0] + ratio * q[last]);
    x.iter().zip(&q).map(|(x, q)| x - factor * q).collect()
}

#[cfg(test)]
mod tests {
    use kurbo::{Affine, ParamCurve, ParamCurveDeriv, PathSeg};
    use proptest::prelude::*;

    use super::*;
    use crate::shape::Shape;
    use crate::space::Pattern;

    fn knots(points: &[(f64, f64)], corners: &[usize]) -> Vec<Knot<Pattern>> {
        let knot = |(k, &(x, y)): (usize, &(f64, f64))| Knot { at: Point::new(x, y), corner: corners.contains(&k) };
        points.iter().enumerate().map(knot).collect()
    }

    fn ring(n: u32, radius: f64) -> Vec<(f64, f64)> {
        (0..n)
            .map(|k| (f64::from(k) / f64::from(n) * std::f64::consts::TAU).sin_cos())
            .map(|(sin, cos)| (radius * cos, radius * sin))
            .collect()
    }

    fn spline(points: &[(f64, f64)], corners: &[usize]) -> Vec<PathSeg> {
        closed_spline(&knots(points, corners)).unwrap().raw().segments().collect()
    }

    /// Largest distance from the circle of radius 1, by 1000 samples a segment.
    fn radial_error(segments: &[PathSeg]) -> f64 {
        let samples = segments.iter().flat_map(|s| (0..=1000).map(|i| s.eval(f64::from(i) / 1000.0)));
        samples.map(|p| (p.to_vec2().hypot() - 1.0).abs()).fold(0.0, f64::max)
    }

    /// Between points of a circle, theta = phi = half the step, and the arm is 2 / 3(1 + cos theta) of the chord:
    /// that is 4/3 tan(theta / 2) of the radius, the arm with which the cubic meets the middle of the arc. Such a
    /// cubic bulges 2/27 sin^6(theta/2) / cos^2(theta/2) of the radius: M. Goldapp, "Approximation of circular arcs by
    /// cubic polynomials", Computer Aided Geometric Design 8, 1991 (from memory): 0.0273 % for quarters.
    #[test]
    fn points_on_a_circle_give_that_circle() {
        for n in [4, 8, 12] {
            let half = std::f64::consts::PI / f64::from(n);
            let bound = 2.0 / 27.0 * (half / 2.0).sin().powi(6) / (half / 2.0).cos().powi(2);
            let error = radial_error(&spline(&ring(n, 1.0), &[]));
            assert!((error / bound - 1.0).abs() < 0.02, "{n} points: {error:e}, expected {bound:e}");
        }
    }

    #[test]
    fn two_corners_in_a_row_give_a_straight_line() {
        let segments = spline(&[(0.0, 0.0), (100.0, 0.0), (120.0, 60.0), (40.0, 90.0)], &[0, 1]);
        assert_eq!(segments.len(), 4);
        assert!(matches!(segments[0], PathSeg::Line(line) if line.p1 == kurbo::Point::new(100.0, 0.0)));
        assert!(segments[1..].iter().all(|s| matches!(s, PathSeg::Cubic(_))));
    }

    #[test]
    fn a_polygon_of_corners_keeps_its_angles_and_area() {
        let corners = [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0)];
        let path = closed_spline(&knots(&corners, &[0, 1, 2])).unwrap();
        assert!(path.raw().segments().all(|s| matches!(s, PathSeg::Line(_))));
        assert!((kurbo::Shape::area(path.raw()) - 600.0).abs() < 1e-9);
    }

    /// A curve with free ends through points of a circle leaves its end as the circle does: a half disc keeps the
    /// right angle between its arc and its straight side.
    #[test]
    fn a_half_disc_meets_its_straight_side_squarely() {
        let arc: Vec<_> =
            (0..=6).map(|k| (f64::from(k) * 30.0_f64).to_radians().sin_cos()).map(|(s, c)| (c, s)).collect();
        let segments = spline(&arc, &[0, 6]);
        let leaving = segments[0].to_cubic().deriv().eval(0.0).to_vec2();
        assert!((leaving.normalize().dot(Vec2::new(1.0, 0.0))).abs() < 2e-3, "{leaving:?}");
        assert!(radial_error(&segments[..6]) < 1e-3);
    }

    #[test]
    fn one_corner_leaves_the_rest_smooth() {
        let mut points = ring(6, 50.0);
        points[2].1 += 40.0;
        let segments = spline(&points, &[2]);
        let jump = |k: usize| {
            let into = segments[(k + 5) % 6].to_cubic().deriv().eval(1.0).to_vec2();
            let out = segments[k].to_cubic().deriv().eval(0.0).to_vec2();
            into.cross(out).atan2(into.dot(out)).abs()
        };
        assert!(jump(0) > 0.5, "the path starts at the corner");
        assert!((1..6).all(|k| jump(k) < 1e-12));
    }

    #[test]
    fn a_repeated_point_is_refused_with_its_numbers() {
        let problem = closed_spline(&knots(&[(0.0, 0.0), (5.0, 1.0), (5.0, 1.0), (0.0, 9.0)], &[])).unwrap_err();
        assert!(problem.text.contains("points 2 and 3") && problem.text.contains("(5, 1)"), "{problem}");
        let problem = closed_spline(&knots(&[(0.0, 0.0), (5.0, 1.0), (0.0, 0.0)], &[])).unwrap_err();
        assert!(problem.text.contains("points 3 and 1"), "{problem}");
    }

    #[test]
    fn two_points_and_no_numbers_are_refused() {
        assert_eq!(closed_spline(&knots(&[(0.0, 0.0), (5.0, 1.0)], &[])).unwrap_err().code, "spline_points");
        let lost = closed_spline(&knots(&[(0.0, 0.0), (f64::NAN, 1.0), (3.0, 3.0)], &[])).unwrap_err();
        assert_eq!(lost.code, "spline_not_finite");
    }

    proptest! {
        #[test]
        fn the_curve_passes_every_point_and_is_smooth_there(
            points in prop::collection::vec((-500.0..500.0, -500.0..500.0), 3..12),
        ) {
            let segments = spline(&points, &[]);
            for (k, segment) in segments.iter().enumerate() {
                let start = segment.eval(0.0);
                prop_assert!(start.distance(points[k].into()) < 1e-9);
                let before = segments[(k + points.len() - 1) % points.len()].to_cubic();
                let (into, out) = ((before.p3 - before.p2).normalize(), segment.to_cubic());
                prop_assert!((into - (out.p1 - out.p0).normalize()).hypot() < 1e-6);
            }
        }

        #[test]
        fn the_curve_moves_turns_and_grows_with_its_points(
            points in prop::collection::vec((-500.0..500.0, -500.0..500.0), 3..12),
            corner in 0_usize..24, angle in -3.0..3.0, scale in 0.1..10.0, x in -900.0..900.0,
        ) {
            let map = Affine::rotate(angle).then_scale(scale).then_translate(Vec2::new(x, -x));
            let moved: Vec<(f64, f64)> = points.iter().map(|&p| map * kurbo::Point::from(p)).map(|p| (p.x, p.y)).collect();
            for (a, b) in spline(&points, &[corner]).iter().zip(spline(&moved, &[corner])) {
                for t in [0.0, 0.3, 0.7, 1.0] {
                    prop_assert!((map * a.eval(t)).distance(b.eval(t)) < 1e-5 * scale);
                }
            }
        }

        /// Steps of 10 to 120 degrees around an ellipse.
        #[test]
        fn a_convex_polygon_gives_a_curve_without_loops(
            steps in prop::collection::vec(1.0..6.0, 4..14), flat in 0.2..1.0,
        ) {
            let whole: f64 = steps.iter().sum();
            let mut angle = 0.0;
            let points: Vec<(f64, f64)> = steps.iter().map(|step| {
                angle += step / whole * std::f64::consts::TAU;
                (300.0 * f64::cos(angle), 300.0 * flat * f64::sin(angle))
            }).collect();
            let path = closed_spline(&knots(&points, &[])).unwrap();
            prop_assert_eq!(Shape::new(path).err(), None);
        }
    }
}
