//! The bowing of a lens.

use kurbo::{Point, Vec2};

/// A lens that moves what it shows along the ray from the middle of the picture:
/// r_seen = r_ideal (1 + k₁ ρ² + k₂ ρ⁴), ρ = r_ideal / unit.
///
/// That is the radial part of D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37 (1971); with
/// the focal length for the unit the numbers are OpenCV's k1 and k2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lens {
    middle: Point,
    unit: f64,
    k: [f64; 2],
}

impl Lens {
    /// `middle` and `unit` in pixels, `unit` above 0; negative `k` bows outwards, as a barrel.
    pub const fn new(middle: Point, unit: f64, k: [f64; 2]) -> Self {
        Self { middle, unit, k }
    }

    /// The same lens in another unit, in pixels: k₁ and k₂.
    pub fn terms(&self, unit: f64) -> [f64; 2] {
        let square = (unit / self.unit).powi(2);
        [self.k[0] * square, self.k[1] * square * square]
    }

    /// Where the lens shows what an ideal one shows at `ideal`.
    pub fn bend(&self, ideal: Point) -> Point {
        let arm = ideal - self.middle;
        self.middle + arm * self.stretch(arm.hypot2() / self.unit.powi(2))
    }

    /// Where an ideal lens shows what this one shows at `seen`. Beyond [`Lens::reach`], where none shows anything, some place
    /// near it.
    pub fn straighten(&self, seen: Point) -> Point {
        /// Newton's method doubles the digits in each round.
        const ROUNDS: usize = 12;
        let arm = seen - self.middle;
        let wanted = arm.hypot() / self.unit;
        let farthest = self.reach() / self.unit;
        let mut radius = wanted.min(farthest);
        for _ in 0..ROUNDS {
            let step = (radius * self.stretch(radius * radius) - wanted) / self.slope(radius * radius).max(0.1);
            radius = (radius - step).clamp(0.0, farthest);
            if step.abs() < 1e-15 * wanted {
                break;
            }
        }
        if wanted > 0.0 { self.middle + arm * (radius / wanted) } else { seen }
    }

    /// How far from the middle of the picture the lens tells one place from another, in pixels of an ideal picture; a barrel
    /// folds what lies beyond back into itself.
    pub fn reach(&self) -> f64 {
        // 1 + 3 k₁ s + 5 k₂ s² = 0
        let (a, b) = (5.0 * self.k[1], 3.0 * self.k[0]);
        let roots = if a.abs() < 1e-12 {
            [-1.0 / b, f64::NAN]
        } else {
            let root = (b * b - 4.0 * a).sqrt();
            [(-b - root) / (2.0 * a), (-b + root) / (2.0 * a)]
        };
        roots.into_iter().filter(|s| *s > 0.0).fold(f64::INFINITY, f64::min).sqrt() * self.unit
    }

    /// How what an ideal lens shows at `ideal` moves when that moves by `d`, to the first order.
    pub(super) fn bent_move(&self, ideal: Point, d: Vec2) -> Vec2 {
        let arm = (ideal - self.middle) / self.unit;
        let square = arm.hypot2();
        d * self.stretch(square) + arm * (2.0 * (self.k[0] + 2.0 * self.k[1] * square) * arm.dot(d))
    }

    /// Where `seen` is straightened to, and how that moves when `seen` moves by `d`.
    pub(super) fn straightened_move(&self, seen: Point, d: Vec2) -> (Point, Vec2) {
        let ideal = self.straighten(seen);
        // Along the ray and across it.
        let arm = ideal - self.middle;
        let ray = arm / arm.hypot().max(1e-300);
        let square = arm.hypot2() / self.unit.powi(2);
        let along = ray.dot(d);
        (ideal, (d - ray * along) / self.stretch(square) + ray * (along / self.slope(square)))
    }

    fn stretch(&self, square: f64) -> f64 {
        1.0 + square * (self.k[0] + square * self.k[1])
    }

    /// Change of the seen radius with the ideal one.
    fn slope(&self, square: f64) -> f64 {
        1.0 + square * (3.0 * self.k[0] + square * 5.0 * self.k[1])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lens(k: [f64; 2]) -> Lens {
        Lens::new(Point::new(2000.0, 1500.0), 2500.0, k)
    }

    proptest! {
        #[test]
        fn straightening_undoes_bending(
            x in 0.0..4000.0f64, y in 0.0..3000.0f64, k1 in -0.12..0.1f64, k2 in -0.02..0.05f64,
        ) {
            let lens = lens([k1, k2]);
            let p = Point::new(x, y);
            prop_assume!((p - Point::new(2000.0, 1500.0)).hypot() < 0.9 * lens.reach());
            prop_assert!(lens.straighten(lens.bend(p)).distance(p) < 1e-8);
        }

        #[test]
        fn moves_are_slopes(x in 0.0..4000.0f64, y in 0.0..3000.0f64, turn in 0.0..6.3f64, k1 in -0.1..0.1f64) {
            let lens = lens([k1, 0.01]);
            let (p, d) = (Point::new(x, y), Vec2::from_angle(turn));
            let slope = |of: &dyn Fn(Point) -> Point| (of(p + 1e-3 * d) - of(p - 1e-3 * d)) / 2e-3;
            prop_assert!((slope(&|p| lens.bend(p)) - lens.bent_move(p, d)).hypot() < 1e-6);
            prop_assert!((slope(&|p| lens.straighten(p)) - lens.straightened_move(p, d).1).hypot() < 1e-6);
        }
    }

    #[test]
    fn the_unit_only_changes_the_numbers() {
        let first = lens([-0.03, 0.002]);
        let other = Lens::new(Point::new(2000.0, 1500.0), 5000.0, first.terms(5000.0));
        let p = Point::new(300.0, 2900.0);
        assert!(first.bend(p).distance(other.bend(p)) < 1e-9);
        assert!((other.terms(5000.0)[0] + 0.12).abs() < 1e-12);
    }

    #[test]
    fn a_barrel_folds_back_where_its_radius_stops_growing() {
        // The derivative of r − 0.03 r³ vanishes at √(1 / 0.09).
        assert!((lens([-0.03, 0.0]).reach() - 2500.0 * (1.0 / 0.09_f64).sqrt()).abs() < 1e-6);
        assert_eq!(lens([0.05, 0.0]).reach(), f64::INFINITY);
        assert_eq!(lens([0.0, 0.0]).reach(), f64::INFINITY);
        // 1 − 0.9 s + 0.5 s² has no root.
        assert_eq!(lens([-0.3, 0.1]).reach(), f64::INFINITY);
    }
}
