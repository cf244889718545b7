//! The edge of a part as it is seen when it is cut across.

use std::f64::consts::FRAC_PI_2;

use kurbo::{Line, ParamCurveNearest as _, Point};

use crate::build_file::Profile;

/// A layer that is nowhere so broad is a hair and not cut, mm.
pub(super) const HAIR: f64 = 2.0;

/// How the surface falls from its highest place to its edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    /// Its kind.
    pub profile: Profile,
    /// From the middle plane, or the back, to the highest place, mm.
    pub half: f64,
    /// Of that, how much stands upright at the edge, mm; below `half`.
    pub land: f64,
    /// How far in a rounding or bevel reaches, mm; of no meaning for the others.
    pub edge: f64,
}

impl Section {
    /// How far the surface lies inside the outline at height `z`, where it is `width` mm from the outline to the middle line:
    /// f(z). `None` where it is nowhere so high.
    ///
    /// Rounded: a quarter of an ellipse; bevelled: a straight line; domed: a spherical cap; knife edge: straight up to the middle
    /// line. The last two are nowhere steeper than a half ball and than 45°: where the part is narrow it is lower.
    pub fn inset(&self, z: f64, width: f64) -> Option<f64> {
        let (rise, up) = (self.half - self.land, z - self.land);
        if up <= 0.0 {
            return Some(0.0);
        }
        if z > self.half + 1e-9 {
            return None;
        }
        let part = (up / rise).min(1.0);
        let high = rise.min(width);
        match self.profile {
            Profile::Flat => Some(0.0),
            Profile::Rounded => Some(self.edge * (1.0 - (1.0 - part * part).sqrt())),
            Profile::Bevelled => Some(self.edge * part),
            Profile::Domed | Profile::KnifeEdge if up > high => None,
            Profile::Domed => {
                let radius = (width * width + high * high) / (2.0 * high);
                Some(width - (radius * radius - (radius - high + up).powi(2)).max(0.0).sqrt())
            }
            Profile::KnifeEdge => Some(width * up / high),
        }
    }

    /// Whether the middle line of the part shapes it, and not its edge alone.
    pub const fn follows_width(&self) -> bool {
        matches!(self.profile, Profile::Domed | Profile::KnifeEdge)
    }

    /// The most that has to be sanded off: how far the outer upper corner of a layer lies from the surface, mm, when layers begin
    /// at these heights, the last of which is the top. Where a layer is narrower than 2 mm it does not count.
    pub fn deepest_sanding(&self, levels: &[f64], width: f64) -> f64 {
        let surface = self.surface(width);
        let corner = |pair: &[f64]| {
            // A layer that is a hair there is left out, or the point of a corner.
            let inset = self.inset(pair[0], width).filter(|inset| *inset <= width - HAIR / 2.0)?;
            let corner = Point::new(inset, pair[1]);
            surface.iter().map(|line| line.nearest(corner, 1e-9).distance_sq).min_by(f64::total_cmp)
        };
        levels.windows(2).filter_map(corner).fold(0.0, f64::max).sqrt()
    }

    /// The surface from the outline to the middle line, (inset, height), in short lines.
    pub fn surface(&self, width: f64) -> Vec<Line> {
        const STEPS: u32 = 256;
        let top = if self.follows_width() { self.land + (self.half - self.land).min(width) } else { self.half };
        let height = |k: u32| {
            // Close to the top, where curves flatten, the steps are small.
            self.land + (top - self.land) * (FRAC_PI_2 * f64::from(k) / f64::from(STEPS)).sin()
        };
        let on = |z: f64| Point::new(self.inset(z, width).unwrap_or(width), z);
        let mut points = vec![Point::ZERO, Point::new(0.0, self.land)];
        points.extend((0..=STEPS).map(|k| on(height(k).min(top))));
        points.push(Point::new(width.max(points[points.len() - 1].x), top));
        // Where both sides meet below the top, a ridge is all there is.
        if let Some(beyond) = points.iter().position(|p| p.x > width) {
            let ridge = Line::new(points[beyond - 1], points[beyond]);
            let part = (width - ridge.p0.x) / (ridge.p1.x - ridge.p0.x);
            points.truncate(beyond);
            points.push(ridge.p0.lerp(ridge.p1, part));
        }
        points.windows(2).map(|pair| Line::new(pair[0], pair[1])).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn section(profile: Profile, half: f64, land: f64, edge: f64) -> Section {
        Section { profile, half, land, edge }
    }

    #[track_caller]
    fn insets(section: &Section, width: f64, levels: &[f64], expected: &[f64]) {
        for (z, expected) in levels.iter().zip(expected) {
            let found = section.inset(*z, width).expect("below the top");
            assert!((found - expected).abs() < 0.006, "at {z}: {found} is not {expected}");
        }
    }

    /// Worked examples of this project.
    #[test]
    fn insets_are_those_of_the_worked_examples() {
        let rounded = section(Profile::Rounded, 20.0, 0.0, 15.0);
        insets(&rounded, 100.0, &[0.0, 5.0, 10.0, 15.0, 16.0], &[0.0, 0.48, 2.01, 5.08, 6.0]);
        let domed = section(Profile::Domed, 20.0, 0.0, 0.0);
        insets(&domed, 40.0, &[0.0, 5.0, 10.0, 15.0], &[0.0, 4.29, 10.0, 18.21]);
        let knife = section(Profile::KnifeEdge, 10.0, 1.0, 0.0);
        insets(&knife, 60.0, &[0.0, 1.0, 4.0], &[0.0, 0.0, 20.0]);
        // The angle that the two sides of its edge enclose.
        let angle = 2.0 * (9.0_f64 / 60.0).atan().to_degrees();
        assert!((angle - 17.1).abs() < 0.05);
        let line = knife.surface(60.0)[100];
        assert!((2.0 * (line.p1 - line.p0).atan2().to_degrees() - angle).abs() < 1e-6);
    }

    #[test]
    fn the_deepest_sanding_is_that_of_the_worked_examples() {
        let rounded = section(Profile::Rounded, 20.0, 0.0, 15.0);
        for (levels, expected) in [
            (vec![0.0, 10.0, 20.0], 5.65),
            (vec![0.0, 5.0, 10.0, 15.0, 20.0], 3.60),
            (vec![0.0, 10.0, 16.0, 20.0], 3.04),
        ] {
            let found = rounded.deepest_sanding(&levels, 100.0);
            assert!((found - expected).abs() < 0.006, "{levels:?}: {found} is not {expected}");
        }
        assert_eq!(section(Profile::Flat, 20.0, 0.0, 0.0).deepest_sanding(&[0.0, 10.0, 20.0], 50.0), 0.0);
    }

    #[test]
    fn a_narrow_place_is_lower() {
        let knife = section(Profile::KnifeEdge, 10.0, 1.0, 0.0);
        assert_eq!(knife.inset(5.0, 3.0), None, "3 mm in, it is 1 + 3 mm high at 45°");
        assert_eq!(knife.inset(3.0, 3.0), Some(2.0));
        let domed = section(Profile::Domed, 20.0, 0.0, 0.0);
        assert_eq!(domed.inset(9.0, 8.0), None);
        assert!(domed.inset(7.9, 8.0).is_some_and(|f| f < 8.0));
    }

    #[test]
    fn an_arm_that_is_narrower_than_its_edges_has_a_ridge() {
        let rounded = section(Profile::Rounded, 20.0, 0.0, 30.0);
        let ridge = rounded.surface(4.5).last().expect("a surface").p1;
        assert!(
            (ridge.x - 4.5).abs() < 1e-9 && (ridge.y - 20.0 * (1.0 - 0.85_f64.powi(2)).sqrt()).abs() < 0.05,
            "{ridge:?}"
        );
        // The upper layer of 10 mm begins 4.02 mm in and stands out over the ridge.
        let stands_out = rounded.deepest_sanding(&[0.0, 10.0, 20.0], 5.5);
        let ridge = rounded.surface(5.5).last().expect("a surface").p1;
        assert!((stands_out - (20.0 - ridge.y)).abs() < 0.2, "{stands_out} {ridge:?}");
        let below = rounded.deepest_sanding(&[0.0, 10.0, 20.0], 4.5);
        assert!(below < 7.0, "nothing lies on an arm of 9 mm, where it would be a hair: {below}");
    }

    #[test]
    fn the_land_stands_upright() {
        let bevelled = section(Profile::Bevelled, 10.0, 4.0, 12.0);
        insets(&bevelled, 50.0, &[0.0, 4.0, 7.0, 10.0], &[0.0, 0.0, 6.0, 12.0]);
    }
}
