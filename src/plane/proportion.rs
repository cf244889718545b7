//! The proportion of a rectangle from the way it is seen.

use nalgebra::Vector3;

use super::{PlaneProblem, seen_from_the_front};
use crate::space::{Pixels, Point};

/// Width over height of a rectangle of unknown size whose corners are seen at `corners`, clockwise from its top left, in a
/// picture that is not cropped and whose middle is `middle`; the lens does not bow.
///
/// Z. Zhang, L. He, "Whiteboard scanning and image enhancement", Digital Signal Processing 17 (2007), section 3.
///
/// # Errors
///
/// Corners that are none of a rectangle; opposite sides that are seen parallel, because then the focal length, and with it
/// the proportion, cannot be told.
pub fn proportion(corners: [Point<Pixels>; 4], middle: Point<Pixels>) -> Result<f64, PlaneProblem> {
    seen_from_the_front(corners)?;
    let size = corners[0].distance(corners[2]);
    let at = |c: Point<Pixels>| Vector3::new((c.x - middle.x) / size, (c.y - middle.y) / size, 1.0);
    let [first, right, across, below] = corners.map(at);
    let second = first.cross(&across).dot(&below) / right.cross(&across).dot(&below);
    let third = first.cross(&across).dot(&right) / below.cross(&across).dot(&right);
    let (along, down) = (second * right - first, third * below - first);
    /// Where sides run together farther away than this many times the rectangle's size, a click decides about the focal
    /// length (common practice, no source).
    const FARTHEST: f64 = 50.0;
    let meets = |v: &Vector3<f64>| v.z.abs() * FARTHEST > v.x.hypot(v.y);
    if !meets(&along) || !meets(&down) {
        return Err(PlaneProblem::ProportionUnclear);
    }
    let focal_squared = -(along.x * down.x + along.y * down.y) / (along.z * down.z);
    let length = |v: &Vector3<f64>| ((v.x * v.x + v.y * v.y) / focal_squared + v.z * v.z).sqrt();
    let found = length(&along) / length(&down);
    if focal_squared > 0.0 && found.is_finite() { Ok(found) } else { Err(PlaneProblem::ProportionUnclear) }
}

/// Width over height that a rectangle seen at `corners` may have, for every focal length that a camera is likely to have: from
/// 0.65 to 1.7 times `long`, the longer side of the picture. A view that is turned away tells the focal length and one
/// proportion; one that is square on shows the proportion as it is. `None` where no rectangle is seen so: the
/// cosine of the angle between its sides would be above `square`.
pub fn proportions(corners: [Point<Pixels>; 4], middle: Point<Pixels>, long: f64, square: f64) -> Option<Vec<f64>> {
    /// Focal lengths that are tried, each longer by the same part.
    const TRIED: i32 = 40;
    /// Focal lengths count for which the sides are as good as square as with the best, by this cosine of the angle.
    const AS_GOOD: f64 = 0.006;
    seen_from_the_front(corners).ok()?;
    let [first, right, across, below] =
        corners.map(|c| Vector3::new((c.x - middle.x) / long, (c.y - middle.y) / long, 1.0));
    let second = first.cross(&across).dot(&below) / right.cross(&across).dot(&below);
    let third = first.cross(&across).dot(&right) / below.cross(&across).dot(&right);
    let (along, down) = (second * right - first, third * below - first);
    let of = |tried: i32| {
        let focal = 0.65 * 2.6_f64.powf(f64::from(tried) / f64::from(TRIED));
        let ray = |v: &Vector3<f64>| Vector3::new(v.x / focal, v.y / focal, v.z);
        let (along, down) = (ray(&along), ray(&down));
        ((along.dot(&down) / (along.norm() * down.norm())).abs(), along.norm() / down.norm())
    };
    let all: Vec<(f64, f64)> = (0..=TRIED).map(of).collect();
    let best = all.iter().map(|(cosine, _)| *cosine).fold(f64::INFINITY, f64::min);
    let good =
        all.into_iter().filter(|(cosine, _)| *cosine <= best + AS_GOOD.max(0.3 * square)).map(|(_, found)| found);
    (best <= square).then(|| good.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{Map, Plane};
    use proptest::prelude::*;

    /// A rectangle of this size, turned about two axes, before a camera of this focal length with its middle at (0, 0).
    fn seen(size: [f64; 2], turns: [f64; 2], focal: f64, at: [f64; 2]) -> [Point<Pixels>; 4] {
        let [(sin_x, cos_x), (sin_y, cos_y)] = turns.map(|degrees| degrees.to_radians().sin_cos());
        let [x, y] = at;
        let camera: Map<Plane, Pixels> = Map::projective([
            focal * cos_y,
            focal * sin_x * sin_y,
            focal * x,
            0.0,
            focal * cos_x,
            focal * y,
            -sin_y,
            sin_x * cos_y,
            2000.0,
        ]);
        [[0.0, 0.0], [size[0], 0.0], size, [0.0, size[1]]].map(|[x, y]| camera.point(Point::new(x, y)))
    }

    proptest! {
        #[test]
        fn a_slanting_view_tells_the_proportion(
            width in 100.0..600.0f64, height in 100.0..600.0f64, x in 15.0..40.0f64, y in 15.0..40.0f64,
            focal in 2000.0..6000.0f64,
        ) {
            let found = proportion(seen([width, height], [x, y], focal, [-150.0, -90.0]), Point::new(0.0, 0.0));
            match found {
                Ok(found) => prop_assert!((found / (width / height) - 1.0).abs() < 1e-9, "{found}"),
                // Small and far away.
                Err(problem) => prop_assert_eq!(problem, PlaneProblem::ProportionUnclear),
            }
        }
    }

    #[test]
    fn a_view_that_shows_sides_parallel_does_not_tell_it() {
        for turns in [[0.0, 0.0], [25.0, 0.0], [0.0, 25.0]] {
            let seen = seen([300.0, 200.0], turns, 3000.0, [-150.0, -90.0]);
            assert_eq!(proportion(seen, Point::new(0.0, 0.0)), Err(PlaneProblem::ProportionUnclear), "{turns:?}");
        }
    }

    /// The sheet of 297 × 210 mm in a picture of 4000 × 3000 px (worked example of this project).
    #[test]
    fn a_sheet_seen_nearly_from_the_front_is_refused() {
        let corners = [[1783.8, 1338.9], [2222.9, 1347.0], [2219.6, 1663.7], [1786.9, 1646.2]];
        let found = proportion(corners.map(|[x, y]| Point::new(x, y)), Point::new(2000.0, 1500.0));
        assert!(found.is_ok_and(|found| (found / (297.0 / 210.0) - 1.0).abs() < 0.05), "{found:?}");
    }
}
