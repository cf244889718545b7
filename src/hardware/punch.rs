//! Punches that the maker has.

use crate::units::Length;

/// The punch of `punches` that makes a hole or disc of this diameter, in mm: the nearest one within half a millimetre or
/// 3 %, whichever is more (common practice, no source).
pub fn punch_for(diameter: f64, punches: &[Length]) -> Option<Length> {
    let off = |punch: &Length| (punch.to_mm() - diameter).abs();
    let nearest = punches.iter().copied().min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(&nearest) <= (0.03 * diameter).max(0.5) + 1e-9).then_some(nearest)
}

/// Whether foam is so thick that a punch leaves a barrel, and goes in from both sides (common practice, no source).
pub fn from_both_sides(thickness: f64, punch: Length) -> bool {
    thickness > 6.0 || thickness > punch.to_mm() / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_punch_is_taken_when_it_is_near_enough() {
        let punches = [6.0, 8.0, 20.0].map(Length::mm);
        assert_eq!(punch_for(8.4, &punches), Some(Length::mm(8.0)));
        assert_eq!(punch_for(8.6, &punches), None);
        assert_eq!(punch_for(20.6, &punches), Some(Length::mm(20.0)), "3 % of 20.6 is 0.618");
        assert_eq!(punch_for(7.0, &[]), None);
        assert!(from_both_sides(5.0, Length::mm(8.0)) && from_both_sides(8.0, Length::mm(40.0)));
        assert!(!from_both_sides(5.0, Length::mm(10.0)));
    }
}
