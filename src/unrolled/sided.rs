//! Tubes of flat sides, their edges cut on a slant so that they meet.

/// How an edge is cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tilt {
    /// Of the blade from square, degrees: half of what the next side turns away by.
    pub blade: f64,
    /// By how much the inner face is shorter than the outer one at this edge, mm.
    pub setback: f64,
}

/// Beyond this the lip is too thin: butt the edges instead (common practice, no source), degrees.
const THIN_LIP: f64 = 55.0;

impl Tilt {
    fn new(blade: f64, thickness: f64) -> Self {
        Self { blade, setback: thickness * blade.to_radians().tan() }
    }

    /// Whether the lip that it leaves is too thin to be glued.
    pub const fn is_thin(&self) -> bool {
        self.blade > THIN_LIP
    }
}

/// Where two sides enclose `inside` degrees: the cut halves it, 90 − inside/2 from square.
pub fn tilt(inside: f64, thickness: f64) -> Tilt {
    Tilt::new(90.0 - inside / 2.0, thickness)
}

/// For a tube of `sides` that gets narrower by `slope` degrees on every side: cos turn = 1 − cos²β (1 − cos(360/n)), half of it.
pub fn tapering_tilt(sides: u32, slope: f64, thickness: f64) -> Tilt {
    let step = (360.0 / f64::from(sides)).to_radians();
    let turn = (1.0 - slope.to_radians().cos().powi(2) * (1.0 - step.cos())).acos();
    Tilt::new(turn.to_degrees() / 2.0, thickness)
}

/// The breadth of one of `sides` on a face that lies so far from the axis: 2r tan(180/n).
pub fn panel_side(sides: u32, from_axis: f64) -> f64 {
    2.0 * from_axis * (std::f64::consts::PI / f64::from(sides)).tan()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::checks;

    #[track_caller]
    fn close(a: f64, b: f64) {
        assert!((a - b).abs() <= 1e-9 * b.abs().max(1e-3), "{a} is not {b}");
    }

    #[test]
    fn tilts_and_sides_are_those_of_the_table() {
        let rows = checks("seams", "bevel_check");
        assert!(rows.len() >= 6);
        for row in rows {
            let found = tilt(row["dihedral_deg"], row["thickness_mm"]);
            close(found.blade, row["blade_tilt_from_square_deg"]);
            close(found.setback, row["setback_mm"]);
        }
        for row in checks("seams", "polygon_tube_check") {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
            let sides = row["sides"] as u32;
            let [inside, thickness] = ["inside_apothem_mm", "thickness_mm"].map(|key| row[key]);
            close(panel_side(sides, inside), row["side_inside_mm"]);
            close(panel_side(sides, inside + thickness), row["side_outside_mm"]);
            close(tapering_tilt(sides, 0.0, thickness).blade, row["blade_tilt_from_square_deg"]);
        }
    }

    /// Worked examples of this project.
    #[test]
    fn a_tapering_octagon_is_cut_a_little_steeper() {
        let found = tapering_tilt(8, (25.0_f64 / 120.0).atan().to_degrees(), 10.0);
        assert!((found.blade - 22.0).abs() < 0.05 && (180.0 - 2.0 * found.blade - 136.0).abs() < 0.05, "{found:?}");
        let straight = tapering_tilt(8, 0.0, 10.0);
        assert!((straight.blade - 22.5).abs() < 1e-9 && (straight.setback - 4.14).abs() < 0.005);
        assert!(tilt(60.0, 10.0).is_thin() && !tilt(90.0, 10.0).is_thin());
    }
}
