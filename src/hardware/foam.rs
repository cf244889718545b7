//! Foam sheets as they measure.

use crate::build_file::{CardReadings, FoamAtHand};
use crate::tables::foam_thicknesses;
use crate::units::Length;

/// Where the length does not change when foam is rolled, from the inside face, as a part of its thickness: the middle of
/// even foam (common practice, no source; a test strip tells).
const NEUTRAL: f64 = 0.5;
/// How far a score opens when it is heated, as a part of its depth (common practice, no source; the test card tells).
const OPENS: f64 = 0.5;

/// One foam: everything that a rule asks of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Foam {
    /// What the shop calls it.
    pub sold_as: Length,
    /// Its thickness, mm: measured, else as it is called.
    pub thickness: f64,
    /// Whether that was measured.
    pub measured: bool,
    /// Where its length does not change when it is rolled, from the inside face, as a part of its thickness.
    pub neutral: f64,
    /// How far a heated score opens, as a part of its depth.
    pub opens: f64,
    /// How much shorter it is after heat, as a part.
    pub shrinks: f64,
    /// Sides of the sheets it comes in; `None`: not said.
    pub sheet: Option<[Length; 2]>,
}

impl Foam {
    /// A foam of which nothing is known but what it is called.
    pub fn as_called(sold_as: Length) -> Self {
        Self {
            sold_as,
            thickness: sold_as.to_mm(),
            measured: false,
            neutral: NEUTRAL,
            opens: OPENS,
            shrinks: 0.0,
            sheet: None,
        }
    }

    fn at_hand(foam: &FoamAtHand) -> Self {
        let card = &foam.readings;
        let thickness = thickness(foam);
        Self {
            thickness,
            measured: true,
            neutral: neutral(card, thickness).unwrap_or(NEUTRAL),
            opens: opens(card).unwrap_or(OPENS),
            shrinks: shrinks(card).unwrap_or(0.0),
            sheet: foam.sheet,
            ..Self::as_called(foam.sold_as)
        }
    }

    /// "sold as 10 mm": the same foam.
    pub fn is_called(&self, sold_as: Length) -> bool {
        (self.sold_as.to_mm() - sold_as.to_mm()).abs() < 1e-6
    }
}

/// A stack of five is measured better than one sheet.
fn thickness(foam: &FoamAtHand) -> f64 {
    foam.readings.stack_of_five.map_or_else(|| foam.measured.to_mm(), |five| five.to_mm() / 5.0)
}

/// From a strip that just closed around something round: k = (length / π − D) / 2t.
fn neutral(card: &CardReadings, thickness: f64) -> Option<f64> {
    let (strip, round) = (card.strip?, card.strip_round?);
    Some((strip.to_mm() / std::f64::consts::PI - round.to_mm()) / (2.0 * thickness))
}

/// The slope of the opened widths over the depths of scores, 1 to 5 mm, through nothing at nothing.
fn opens(card: &CardReadings) -> Option<f64> {
    let depths = (1..).map(f64::from);
    let (sum, squares) = depths
        .zip(&card.scores)
        .fold((0.0, 0.0), |(sum, squares), (depth, width)| (sum + depth * width.to_mm(), squares + depth * depth));
    (squares > 0.0).then(|| sum / squares)
}

/// The mean of both ways of a square of 100 mm, after heat.
fn shrinks(card: &CardReadings) -> Option<f64> {
    card.square_after_heat.map(|sides| 1.0 - sides.iter().map(|side| side.to_mm()).sum::<f64>() / 200.0)
}

/// The foam called `sold_as`, as it is at hand, else as it is called.
pub fn foam_called(sold_as: Length, at_hand: &[FoamAtHand]) -> Foam {
    let found = at_hand.iter().map(Foam::at_hand).find(|foam| foam.is_called(sold_as));
    found.unwrap_or_else(|| Foam::as_called(sold_as))
}

/// The foams that layers are chosen from: those at hand, else those of 2 to 10 mm that are usually sold; the thinnest first.
pub fn stock(at_hand: &[FoamAtHand]) -> Vec<Foam> {
    const USUAL: std::ops::RangeInclusive<f64> = 2.0..=10.0;
    let mut all: Vec<Foam> = at_hand.iter().map(Foam::at_hand).collect();
    if all.is_empty() {
        let usual = foam_thicknesses().iter().filter(|thickness| USUAL.contains(&thickness.to_mm()));
        all = usual.map(|thickness| Foam::as_called(*thickness)).collect();
    }
    all.sort_by(|a, b| a.thickness.total_cmp(&b.thickness));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at_hand(readings: CardReadings) -> FoamAtHand {
        FoamAtHand { sold_as: Length::mm(5.0), measured: Length::mm(4.9), sheet: None, readings }
    }

    #[test]
    fn the_test_card_teaches_its_foam() {
        let card = CardReadings {
            stack_of_five: Some(Length::mm(24.0)),
            // Worked example of this project: pi (26.67 + 2 k t) with k 0.55 and t 4.8.
            strip: Some(Length::mm(std::f64::consts::PI * (26.67 + 2.0 * 0.55 * 4.8))),
            strip_round: Some(Length::mm(26.67)),
            square_after_heat: Some([Length::mm(99.4), Length::mm(99.2)]),
            scores: [0.4, 0.8, 1.2, 1.6, 2.0].map(Length::mm).to_vec(),
        };
        let foam = foam_called(Length::mm(5.0), &[at_hand(card)]);
        assert!((foam.thickness - 4.8).abs() < 1e-9 && foam.measured);
        assert!((foam.neutral - 0.55).abs() < 1e-9, "{}", foam.neutral);
        assert!((foam.shrinks - 0.007).abs() < 1e-9, "{}", foam.shrinks);
        assert!((foam.opens - 0.4).abs() < 1e-9, "{}", foam.opens);
    }

    #[test]
    fn what_is_not_at_hand_is_as_it_is_called() {
        let foam = foam_called(Length::mm(10.0), &[at_hand(CardReadings::default())]);
        assert_eq!((foam.thickness, foam.neutral, foam.measured), (10.0, 0.5, false));
        assert_eq!(foam_called(Length::mm(5.0), &[at_hand(CardReadings::default())]).thickness, 4.9);
        let usual: Vec<f64> = stock(&[]).iter().map(|foam| foam.thickness).collect();
        assert_eq!(usual, [2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0], "as the foam table has them");
    }
}
