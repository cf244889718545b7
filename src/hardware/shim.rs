//! Foam strips that hold one pipe in the middle of another; epoxy carries.

use super::Foam;
use crate::units::Length;

/// Strips around the inner pipe, from the inside to the outside.
#[derive(Clone, Debug, PartialEq)]
pub struct Shim {
    /// Between the pipes, on each side, mm.
    pub gap: f64,
    /// None where the gap is so narrow that epoxy fills it.
    pub strips: Vec<ShimStrip>,
    /// How much thinner the foam gets, as a part.
    pub squeeze: f64,
}

/// One turn of foam.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShimStrip {
    /// Of which foam.
    pub sold_as: Length,
    /// Once around, a millimetre less so that its ends do not ride up, mm.
    pub length: f64,
}

/// Why nothing holds one pipe in the other.
#[derive(Clone, Debug, PartialEq)]
pub enum NoShim {
    /// The inner one is too large by so many mm.
    TooLarge(f64),
    /// No foam at hand, in up to three turns, is squeezed as much as it should be; the gap, and the nearest ones that are
    /// too loose and too tight, each with its foams and its squeeze.
    NoFoam {
        /// On each side, mm.
        gap: f64,
        /// Thicker than the gap by too little, or thinner than it.
        loose: Option<(Vec<Length>, f64)>,
        /// Thicker by too much.
        tight: Option<(Vec<Length>, f64)>,
    },
}

/// Foam holds when it is squeezed by so much (common practice, no source).
const SQUEEZE: std::ops::RangeInclusive<f64> = 0.05..=0.20;
/// Epoxy fills less than this by itself, mm (common practice, no source).
const FILLED: f64 = 0.5;
const MOST_TURNS: usize = 3;

/// Strips of `foams` between a pipe of this outside and one of this bore, mm: the fewest, and of those the ones squeezed most
/// nearly by an eighth.
pub fn shim(outside: f64, bore: f64, foams: &[Foam]) -> Result<Shim, NoShim> {
    let gap = (bore - outside) / 2.0;
    if gap < 0.0 {
        return Err(NoShim::TooLarge(-2.0 * gap));
    }
    if gap <= FILLED {
        return Ok(Shim { gap, strips: Vec::new(), squeeze: 0.0 });
    }
    let squeeze = |turns: &[Foam]| 1.0 - gap / turns.iter().map(|foam| foam.thickness).sum::<f64>();
    let all = (1..=MOST_TURNS).flat_map(|count| turns(foams, count));
    let (good, bad): (Vec<Vec<Foam>>, Vec<Vec<Foam>>) = all.partition(|turns| SQUEEZE.contains(&squeeze(turns)));
    let off = |turns: &[Foam]| (squeeze(turns) - 0.125).abs();
    let best = good.into_iter().min_by(|a, b| a.len().cmp(&b.len()).then(off(a).total_cmp(&off(b))));
    match best {
        Some(turns) => Ok(Shim { gap, squeeze: squeeze(&turns), strips: strips(outside, gap, &turns) }),
        None => {
            let called = |turns: &Vec<Foam>| (turns.iter().map(|foam| foam.sold_as).collect(), squeeze(turns));
            let side = |tight: bool| {
                let side = bad.iter().filter(|turns| (squeeze(turns) > *SQUEEZE.end()) == tight);
                side.min_by(|a, b| off(a).total_cmp(&off(b))).map(called)
            };
            Err(NoShim::NoFoam { gap, loose: side(false), tight: side(true) })
        }
    }
}

/// Every choice of `count` foams, thicker ones inside.
fn turns(foams: &[Foam], count: usize) -> Vec<Vec<Foam>> {
    if count == 0 {
        return vec![Vec::new()];
    }
    let with = |k: usize| {
        let inner = turns(&foams[k..], count - 1);
        inner.into_iter().map(|rest| [rest, vec![foams[k]]].concat()).collect::<Vec<_>>()
    };
    (0..foams.len()).flat_map(with).collect()
}

/// Each turn is as long as around the middle of its squeezed foam: π (D + gap) for a single one.
fn strips(outside: f64, gap: f64, turns: &[Foam]) -> Vec<ShimStrip> {
    const ENDS: f64 = 1.0;
    let whole: f64 = turns.iter().map(|foam| foam.thickness).sum();
    let mut inside = outside;
    let one = |foam: &Foam| {
        let thick = foam.thickness * gap / whole;
        let length = std::f64::consts::PI * (inside + thick) - ENDS;
        inside += 2.0 * thick;
        ShimStrip { sold_as: foam.sold_as, length }
    };
    turns.iter().map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn foams(thicknesses: &[f64]) -> Vec<Foam> {
        thicknesses.iter().map(|t| Foam::as_called(Length::mm(*t))).collect()
    }

    /// Worked examples of this project.
    #[test]
    fn one_strip_holds_the_rod() {
        let found = shim(15.88, 20.75, &foams(&[2.0, 3.0, 10.0])).expect("3 mm");
        assert!((found.gap - 2.435).abs() < 1e-9 && (found.squeeze - 0.188).abs() < 5e-4, "{found:?}");
        assert_eq!(found.strips.len(), 1);
        assert!((found.strips[0].length - (57.5 - 1.0)).abs() < 0.06, "{found:?}");
        let wide = shim(15.88, 34.85, &foams(&[10.0])).expect("10 mm");
        assert!((wide.squeeze - 0.0515).abs() < 1e-9 && (wide.strips[0].length - 78.7).abs() < 0.06, "{wide:?}");
    }

    #[test]
    fn a_gap_that_no_foam_fits_tells_which_are_nearest() {
        let Err(NoShim::NoFoam { gap, loose, tight }) = shim(22.23, 26.44, &foams(&[2.0, 3.0])) else {
            panic!("none fits")
        };
        assert!((gap - 2.105).abs() < 1e-9);
        assert_eq!(loose.map(|(foams, _)| foams), Some(vec![Length::mm(2.0)]));
        let (foams, squeeze) = tight.expect("3 mm is too tight");
        assert_eq!(foams, [Length::mm(3.0)]);
        assert!((squeeze - 0.298).abs() < 1e-3);
    }

    #[test]
    fn several_turns_fill_a_wide_gap_and_each_is_longer_than_the_one_inside_it() {
        let found = shim(20.0, 36.0, &foams(&[2.0, 6.0, 3.0])).expect("6 and 3 mm");
        assert_eq!(found.strips.iter().map(|s| s.sold_as.to_mm()).collect::<Vec<_>>(), [3.0, 6.0]);
        // Around the middle of each: the two together fill the 8 mm, a third and two thirds of it.
        let middle = |inside: f64, thick: f64| std::f64::consts::PI * (inside + thick) - 1.0;
        assert!((found.strips[0].length - middle(20.0, 8.0 / 3.0)).abs() < 1e-9);
        assert!((found.strips[1].length - middle(20.0 + 16.0 / 3.0, 16.0 / 3.0)).abs() < 1e-9);
    }

    #[test]
    fn a_bore_smaller_than_the_rod_is_told() {
        assert_eq!(shim(26.0, 20.0, &foams(&[3.0])), Err(NoShim::TooLarge(6.0)));
        assert_eq!(shim(20.0, 20.8, &[]).map(|shim| shim.strips.len()), Ok(0));
    }
}
