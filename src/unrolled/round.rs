//! Foam rolled around something round.

use std::f64::consts::{PI, TAU};

/// The length of foam of a thickness that closes around a core of this diameter: π(D + 2kt).
pub fn wrapped(core: f64, thickness: f64, neutral: f64) -> f64 {
    PI * (core + 2.0 * neutral * thickness)
}

/// How far its outer face is stretched, as a part: 2t(1 − k) / (D + 2kt).
pub fn stretch(core: f64, thickness: f64, neutral: f64) -> f64 {
    2.0 * thickness * (1.0 - neutral) / (core + 2.0 * neutral * thickness)
}

/// A cut-off cone, unrolled: part of a ring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cone {
    /// Along its side, mm.
    pub slant: f64,
    /// That the part of a ring takes, degrees.
    pub angle: f64,
    /// Radii of the blank, the larger first, mm; without limit for a cylinder.
    pub radii: [f64; 2],
}

/// The blank of a cut-off cone with these inner radii, the larger first, and height; the second is 0 for a pointed one.
///
/// s = √(h² + (r₁ − r₂)²), angle 360(r₁ − r₂)/s, radii s·r/(r₁ − r₂) + kt/tan α with sin α = (r₁ − r₂)/s: the angle is that
/// of the inner face, both arcs move out by kt/tan α.
pub fn cone_blank(radii: [f64; 2], height: f64, thickness: f64, neutral: f64) -> Cone {
    let less = radii[0] - radii[1];
    let slant = height.hypot(less);
    let out = neutral * thickness * height / less;
    Cone { slant, angle: 360.0 * less / slant, radii: radii.map(|r| slant * r / less + out) }
}

/// The length around an ellipse with these half axes, by the arithmetic-geometric mean (Abramowitz and Stegun, Handbook of
/// Mathematical Functions, 17.6).
pub(super) fn ellipse_around(a: f64, b: f64) -> f64 {
    let (mut x, mut y) = (a.max(b), a.min(b));
    if y < 1e-9 * x {
        return 4.0 * x;
    }
    let mut sum = f64::midpoint(x * x, y * y);
    let mut power = 1.0;
    while x - y > 1e-12 * x {
        let half = (x - y) / 2.0;
        (x, y) = (f64::midpoint(x, y), (x * y).sqrt());
        sum -= power * half * half;
        power *= 2.0;
    }
    TAU * sum / x
}

/// The length of foam that closes around an oval core with these diameters. What lies at one distance all around a convex
/// curve is longer than it by that distance times 2π (J. Steiner, 1840).
pub fn oval_around(diameters: [f64; 2], thickness: f64, neutral: f64) -> f64 {
    ellipse_around(diameters[0] / 2.0, diameters[1] / 2.0) + TAU * neutral * thickness
}

/// How far the slanting end of a sleeve of this diameter rises, `along` the unrolled edge: (D/2) tan c (1 − cos(2x/D)).
pub fn sleeve_end(diameter: f64, slant_degrees: f64, along: f64) -> f64 {
    diameter / 2.0 * slant_degrees.to_radians().tan() * (1.0 - (2.0 * along / diameter).cos())
}

/// Half of the breadth of one of `gores` that make a ball of this radius, at `along` its middle line from its widest place:
/// (πR/n) cos(y/R).
pub fn half_gore(radius: f64, gores: u32, along: f64) -> f64 {
    PI * radius / f64::from(gores) * (along / radius).cos()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::checks;

    #[track_caller]
    fn close(a: f64, b: f64) {
        assert!((a - b).abs() <= 1e-9 * b.abs().max(1e-3), "{a} is not {b}");
    }

    /// Every row of the seams table, which names the independent route by which it was computed.
    #[test]
    fn foam_around_a_core_is_as_long_as_the_table_says() {
        let rows = checks("seams", "wrap_check");
        assert!(rows.len() >= 4);
        for row in rows {
            let [d, t, k] = ["core_diameter_mm", "thickness_mm", "k"].map(|key| row[key]);
            close(wrapped(d, t, 0.0), row["inside_mm"]);
            close(wrapped(d, t, k), row["neutral_mm"]);
            close(wrapped(d, t, 1.0), row["outside_mm"]);
            close(stretch(d, t, k), row["stretch_outside"]);
        }
        for row in checks("seams", "wrap_arc_check") {
            let [r, t, k, angle] = ["inside_radius", "thickness", "k", "angle_deg"].map(|key| row[key]);
            close(wrapped(2.0 * r, t, k) * angle / 360.0, row["neutral"]);
        }
    }

    #[test]
    fn cones_unroll_as_the_table_says() {
        let rows = checks("seams", "frustum_check");
        assert!(rows.len() >= 3);
        for row in rows {
            let radii = [row["large_radius_mm"], row["small_radius_mm"]];
            let found = cone_blank(radii, row["height_mm"], 0.0, 0.5);
            close(found.slant, row["slant_mm"]);
            close(found.radii[0], row["outer_radius_mm"]);
            close(found.radii[1], row["inner_radius_mm"]);
            close(found.angle, row["sector_angle_deg"]);
        }
        for row in checks("seams", "cone_check") {
            let found = cone_blank([row["base_radius_mm"], 0.0], row["height_mm"], 0.0, 0.5);
            close(found.slant, row["slant_mm"]);
            close(found.radii[0], row["pattern_radius_mm"]);
            close(found.angle, row["sector_angle_deg"]);
        }
    }

    /// Worked examples of this project.
    #[test]
    fn thickness_moves_both_arcs_out_alike() {
        let found = cone_blank([60.0, 35.0], 120.0, 5.0, 0.5);
        for (found, expected) in
            [(found.slant, 122.58), (found.angle, 73.42), (found.radii[0], 306.18), (found.radii[1], 183.61)]
        {
            assert!((found - expected).abs() < 0.006, "{found} is not {expected}");
        }
        let thin = cone_blank([60.0, 35.0], 120.0, 0.0, 0.5);
        assert!((found.radii[0] - thin.radii[0] - 12.0).abs() < 1e-9);
        assert!((wrapped(26.67, 5.0, 0.5) - 99.49).abs() < 0.005);
        assert!((wrapped(26.67, 5.0, 0.5) - wrapped(26.67, 5.0, 0.0) - PI * 5.0).abs() < 1e-9);
    }

    #[test]
    fn ovals_are_as_long_around_as_the_table_says() {
        let rows = checks("seams", "ellipse_check");
        assert!(rows.len() >= 3);
        for row in rows {
            let [a, b] = ["semi_axis_a_mm", "semi_axis_b_mm"].map(|key| row[key]);
            close(ellipse_around(a, b), row["perimeter_mm"]);
            close(oval_around([2.0 * a, 2.0 * b], 4.0, 0.5), row["perimeter_mm"] + 4.0 * PI);
        }
        close(ellipse_around(10.0, 10.0), 20.0 * PI);
        close(ellipse_around(10.0, 0.0), 40.0);
    }

    #[test]
    fn slanting_ends_and_gores_are_those_of_the_table() {
        for row in checks("seams", "mitre_check") {
            let [d, c] = ["diameter_mm", "cut_tilt_deg"].map(|key| row[key]);
            close(sleeve_end(d, c, PI * d / 2.0), row["height_mm"]);
            close(sleeve_end(d, c, row["x_mm"]), row["y_at_x_mm"]);
        }
        for row in checks("seams", "gore_check") {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
            let gores = row["gores"] as u32;
            close(half_gore(row["radius_mm"], gores, row["y_mm"]), row["half_width_mm"]);
            close(2.0 * half_gore(row["radius_mm"], gores, 0.0), row["equator_width_mm"]);
        }
    }
}
