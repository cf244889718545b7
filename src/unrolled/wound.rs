//! Strips and cords wound around something or twisted.

use std::f64::consts::{PI, TAU};

/// The length of what runs around an axis at this radius along `axis` mm, once around in every `pitch`: √(X² + (2πrX/p)²).
pub fn turns_length(axis: f64, radius: f64, pitch: f64) -> f64 {
    axis.hypot(TAU * radius * axis / pitch)
}

/// How far the middles of the strands of a cord lie from its axis: half a strand for two, d/√3 for three, all touching.
pub fn strand_radius(strands: u32, thick: f64) -> f64 {
    thick / (2.0 * (PI / f64::from(strands)).sin())
}

/// The shortest pitch of a flat strip twisted about its own middle line, whose edges may stretch by `stretch` as a part:
/// πw / √((1 + ε)² − 1).
pub fn twist_pitch(width: f64, stretch: f64) -> f64 {
    PI * width / ((1.0 + stretch).powi(2) - 1.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::checks;

    #[test]
    fn turns_are_as_long_as_the_table_says() {
        let rows = checks("seams", "helix_check");
        assert!(rows.len() >= 3);
        for row in rows {
            let [d, pitch, turns] = ["diameter_mm", "pitch_mm", "turns"].map(|key| row[key]);
            let found = turns_length(turns * pitch, d / 2.0, pitch);
            assert!((found - row["length_mm"]).abs() < 1e-9 * found, "{found}");
        }
    }

    /// Worked examples of this project.
    #[test]
    fn cords_and_twisted_strips_are_those_of_the_worked_examples() {
        assert!((turns_length(300.0, strand_radius(2, 10.0), 60.0) - 338.6).abs() < 0.05);
        assert!((turns_length(300.0, strand_radius(3, 10.0), 60.0) - 350.6).abs() < 0.05);
        assert!((strand_radius(3, 10.0) - 10.0 / 3.0_f64.sqrt()).abs() < 1e-9);
        assert!((twist_pitch(12.0, 0.10) - 82.3).abs() < 0.05);
        assert!((twist_pitch(12.0, 0.25) - 50.3).abs() < 0.05);
    }
}
