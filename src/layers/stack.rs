//! Which foams make a thickness.

use std::collections::VecDeque;
use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2};

use crate::hardware::Foam;

/// What a stack has to come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// The whole thickness, both halves together, mm; `None`: whatever holds the pipe.
    pub whole: Option<f64>,
    /// 2: two halves that mirror each other; 1: one that is seen from one side.
    pub halves: u32,
    /// The pipe that lies in it.
    pub bed: Option<Bed>,
}

/// How a pipe lies in a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bed {
    /// Its outside, mm.
    pub outside: f64,
    /// Whether it lies in a groove cut with the blade tilted to 45° on both sides; otherwise in a slot through the inner foams.
    pub groove: bool,
}

impl Bed {
    /// How deep its groove is in each of so many halves, mm: the pipe touches all four sides of the square that two of them make,
    /// or lies below the face of a single one.
    pub fn groove_depth(&self, halves: u32) -> f64 {
        self.outside * if halves == 2 { FRAC_1_SQRT_2 } else { f64::midpoint(1.0, SQRT_2) }
    }

    /// How broad the slot, or the groove at the face it is cut into, is, mm.
    pub fn breadth(&self, halves: u32) -> f64 {
        if self.groove { 2.0 * self.groove_depth(halves) } else { self.outside }
    }
}

/// Foams from the middle plane, or the back, to the outside.
#[derive(Clone, Debug, PartialEq)]
pub struct Stack {
    /// Of one half.
    pub foams: Vec<Foam>,
    /// How many of them the channel goes through, the inner ones.
    pub slotted: usize,
    /// How deep the groove for a pipe is that the innermost has instead, mm; 0: none.
    pub groove: f64,
    /// The most that has to be sanded off, mm.
    pub deepest: f64,
}

/// Why there is no stack.
#[derive(Clone, Debug, PartialEq)]
pub enum NoStack {
    /// Nothing at hand comes within a millimetre of the thickness; what comes nearest.
    Thickness(Option<Stack>),
    /// The thickness could be made, but the pipe does not lie in it: what is nearest of one half, mm, and what it needs of it:
    /// from one depth to another, and a skin over it.
    Channel {
        /// The pipe.
        bed: Bed,
        /// How deep the channel of one half has to be, least and most.
        depth: [f64; 2],
        /// The half that there is room for; `None`: as thick as it must be.
        half: Option<f64>,
    },
    /// More layers than anybody glues.
    TooThick(usize),
}

/// The thickness may be off by so much (common practice, no source), mm.
const OFF: f64 = 1.0;
/// What one more layer costs, in mm of thickness or of sanding (common practice, no source).
const LAYER: f64 = 0.5;
/// Most layers of one half.
const MOST: usize = 8;
/// Rows of foams that are looked at, at most: what bounds the time.
const ROWS: usize = 20_000;
/// Ways to lay a pipe into inner foams that are looked at, at most.
const CHANNELS: usize = 100;
/// A pipe is squeezed by at most this part of its outside; more bulges (common practice, no source).
const SQUEEZE: f64 = 0.07;
/// Foam over a channel, mm (common practice, no source).
const SKIN: f64 = 4.0;

impl Stack {
    fn new(foams: Vec<Foam>, slotted: usize) -> Self {
        Self { foams, slotted, groove: 0.0, deepest: 0.0 }
    }

    /// Thickness of one half, mm.
    pub fn half(&self) -> f64 {
        self.foams.iter().map(|foam| foam.thickness).sum()
    }

    /// Depth of the channel in one half, mm.
    pub fn channel(&self) -> f64 {
        self.groove + self.foams[..self.slotted].iter().map(|foam| foam.thickness).sum::<f64>()
    }

    /// Heights at which layers begin, from 0, and the top.
    pub fn levels(&self) -> Vec<f64> {
        let mut z = 0.0;
        let tops = self.foams.iter().map(|foam| {
            z += foam.thickness;
            z
        });
        std::iter::once(0.0).chain(tops).collect()
    }

    fn cost(&self, wanted: &Wanted) -> f64 {
        let whole = f64::from(wanted.halves) * self.half();
        let off = wanted.whole.map_or(whole, |wanted| (wanted - whole).abs());
        #[expect(clippy::cast_precision_loss, reason = "a handful of layers")]
        let layers = self.foams.len() as f64;
        off + LAYER * layers + self.deepest
    }
}

/// Stacks of `foams` that come within a millimetre of what is wanted, the best first: as near as can be, few layers, little
/// `sanding` of what the heights of its layers leave, thin foam outside.
pub fn stacks(wanted: &Wanted, foams: &[Foam], sanding: &dyn Fn(&[f64]) -> f64) -> Result<Vec<Stack>, NoStack> {
    let halves = f64::from(wanted.halves);
    let thickest = foams.iter().map(|foam| foam.thickness).fold(0.0, f64::max);
    if let Some(whole) = wanted.whole {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positive; a count of layers")]
        let least = ((whole - OFF) / halves / thickest).ceil() as usize;
        if least > MOST {
            return Err(NoStack::TooThick(least));
        }
    }
    let near = |stack: &Stack| wanted.whole.is_none_or(|whole| (whole - halves * stack.half()).abs() <= OFF + 1e-9);
    let found: Vec<Stack> = match wanted.bed {
        None => {
            let most = wanted.whole.unwrap_or_default() / halves + OFF;
            sequences(foams, most, MOST, ROWS).into_iter().map(|foams| Stack::new(foams, 0)).filter(near).collect()
        }
        Some(bed) if bed.groove => with_groove(wanted, bed, foams).into_iter().filter(near).collect(),
        Some(bed) => with_channel(wanted, bed.outside, foams).into_iter().filter(near).collect(),
    };
    if found.is_empty() {
        return Err(refusal(wanted, foams));
    }
    let mut found: Vec<Stack> =
        found.into_iter().map(|stack| Stack { deepest: sanding(&stack.levels()), ..stack }).collect();
    let outside = |stack: &Stack| stack.foams.last().map_or(0.0, |foam| foam.thickness);
    found.sort_by(|a, b| {
        let cost = a.cost(wanted).total_cmp(&b.cost(wanted));
        cost.then(a.foams.len().cmp(&b.foams.len())).then(outside(a).total_cmp(&outside(b)))
    });
    Ok(found)
}

/// What is nearest when nothing is near enough.
fn refusal(wanted: &Wanted, foams: &[Foam]) -> NoStack {
    let halves = f64::from(wanted.halves);
    if let Some(bed) = wanted.bed {
        let half = wanted.whole.map(|whole| whole / halves);
        let least = bed.outside * (1.0 - SQUEEZE) / halves;
        let depth = if bed.groove { [bed.groove_depth(wanted.halves); 2] } else { [least, bed.outside / halves] };
        return NoStack::Channel { bed, depth, half };
    }
    let whole = wanted.whole.unwrap_or_default();
    let all = sequences(foams, whole / halves + 20.0, 4, ROWS).into_iter().map(|foams| Stack::new(foams, 0));
    let off = |stack: &Stack| (halves * stack.half() - whole).abs();
    NoStack::Thickness(all.min_by(|a, b| off(a).total_cmp(&off(b))))
}

/// Every row of up to `count` foams, thicker ones first, that comes to at most `most` mm; of more than `rows`, the short ones.
fn sequences(foams: &[Foam], most: f64, count: usize, rows: usize) -> Vec<Vec<Foam>> {
    let mut all = Vec::new();
    let mut open: VecDeque<(Vec<Foam>, f64)> = VecDeque::from([(Vec::new(), 0.0)]);
    // Short rows come first: of many foams the long ones are left out.
    while let Some((row, sum)) = open.pop_front().filter(|_| all.len() < rows) {
        let thinner = |foam: &&Foam| row.last().is_none_or(|last: &Foam| foam.thickness <= last.thickness);
        for foam in foams.iter().filter(thinner).filter(|foam| sum + foam.thickness <= most + 1e-9) {
            let mut longer = row.clone();
            longer.push(*foam);
            all.push(longer.clone());
            if longer.len() < count {
                open.push_back((longer, sum + foam.thickness));
            }
        }
    }
    all
}

/// Foam over a channel where no thickness was asked for is at most so thick, mm.
const MOST_SKIN: f64 = 10.0;

/// An innermost foam that is thicker than the groove is deep, and what lies over it.
fn with_groove(wanted: &Wanted, bed: Bed, foams: &[Foam]) -> Vec<Stack> {
    let depth = bed.groove_depth(wanted.halves);
    let most = wanted.whole.map_or(depth + SKIN + MOST_SKIN, |whole| whole / f64::from(wanted.halves) + OFF);
    let rows = sequences(foams, most, MOST, ROWS).into_iter().filter(|row| row[0].thickness >= depth);
    let stacks = rows.map(|row| Stack { groove: depth, ..Stack::new(row, 0) });
    stacks.filter(|stack| stack.half() - depth >= SKIN - 1e-9).collect()
}

/// Inner foams that the channel goes through, and the skin over them.
fn with_channel(wanted: &Wanted, pipe: f64, foams: &[Foam]) -> Vec<Stack> {
    let halves = f64::from(wanted.halves);
    let depth = pipe / halves;
    let most = wanted.whole.map_or(depth + SKIN + MOST_SKIN, |whole| whole / halves + OFF);
    let sum = |row: &[Foam]| row.iter().map(|foam| foam.thickness).sum::<f64>();
    let slotted = sequences(foams, depth, MOST - 1, ROWS);
    let slotted = slotted.into_iter().filter(|row| sum(row) >= depth * (1.0 - SQUEEZE) - 1e-9).take(CHANNELS);
    slotted
        .flat_map(|row| {
            let deep = sum(&row);
            let skins = sequences(foams, most - deep, MOST - row.len(), ROWS / CHANNELS);
            skins.into_iter().filter(|skin| sum(skin) >= SKIN - 1e-9).map(move |skin| {
                let count = row.len();
                Stack::new(row.iter().copied().chain(skin).collect(), count)
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::build_file::Profile;
    use crate::layers::Section;
    use crate::units::Length;

    fn foams(thicknesses: &[f64]) -> Vec<Foam> {
        thicknesses.iter().map(|t| Foam::as_called(Length::mm(*t))).collect()
    }

    fn thicknesses(stack: &Stack) -> Vec<f64> {
        stack.foams.iter().map(|foam| foam.thickness).collect()
    }

    fn wanted(whole: f64, halves: u32, pipe: Option<f64>) -> Wanted {
        Wanted { whole: Some(whole), halves, bed: pipe.map(|outside| Bed { outside, groove: false }) }
    }

    const USUAL: [f64; 6] = [2.0, 3.0, 4.0, 5.0, 6.0, 10.0];

    /// Worked examples of this project.
    #[test]
    fn a_half_of_17_mm_is_made_of_three_foams() {
        let found = stacks(&wanted(34.0, 2, None), &foams(&USUAL), &|_| 0.0).expect("there are some");
        let exact: Vec<Vec<f64>> = found.iter().take(3).map(thicknesses).collect();
        for stack in [[10.0, 5.0, 2.0], [10.0, 4.0, 3.0], [6.0, 6.0, 5.0]] {
            assert!(exact.contains(&stack.to_vec()), "{exact:?}");
        }
        assert!(thicknesses(&found[0]).ends_with(&[2.0]), "thin foam outside");
    }

    #[test]
    fn a_rounding_is_made_of_the_stack_that_is_sanded_least() {
        let section = Section { profile: Profile::Rounded, half: 20.0, land: 0.0, edge: 15.0 };
        let sanding = |levels: &[f64]| section.deepest_sanding(levels, 100.0);
        let found = stacks(&wanted(40.0, 2, None), &foams(&[4.0, 5.0, 6.0, 10.0]), &sanding).expect("there are some");
        let place =
            |stack: &[f64]| found.iter().position(|found| thicknesses(found) == stack).expect("it is among them");
        assert!(place(&[10.0, 6.0, 4.0]) < place(&[5.0, 5.0, 5.0, 5.0]));
        assert!(place(&[5.0, 5.0, 5.0, 5.0]) < place(&[10.0, 10.0]));
    }

    #[test]
    fn a_pipe_lies_in_the_inner_foams() {
        let free = Wanted { whole: None, halves: 2, bed: Some(Bed { outside: 26.67, groove: false }) };
        let found = &stacks(&free, &foams(&USUAL), &|_| 0.0).expect("there are some")[0];
        assert_eq!((thicknesses(found), found.slotted), (vec![10.0, 3.0, 4.0], 2));
        assert_eq!((found.half(), found.channel()), (17.0, 13.0));
        assert!((26.67 - 2.0 * found.channel() - 0.67).abs() < 1e-9, "squeezed by 0.67 mm");
        // Two plain halves of 10 mm do not hold it.
        let plain = stacks(&wanted(20.0, 2, Some(26.67)), &foams(&[10.0]), &|_| 0.0);
        let Err(NoStack::Channel { depth, half, .. }) = plain else { panic!("{plain:?}") };
        assert!((depth[1] - 13.335).abs() < 1e-9 && half == Some(10.0));
    }

    /// Worked values of this project: 0.707 and 1.414 of the pipe.
    #[test]
    fn a_rod_lies_in_a_groove_of_the_innermost_foam() {
        let bed = Bed { outside: 8.0, groove: true };
        assert!((bed.groove_depth(2) - 5.66).abs() < 0.005 && (bed.breadth(2) - 11.31).abs() < 0.005);
        let found = &stacks(&Wanted { whole: Some(20.0), halves: 2, bed: Some(bed) }, &foams(&USUAL), &|_| 0.0)
            .expect("there are some")[0];
        assert_eq!((thicknesses(found), found.slotted), (vec![10.0], 0));
        assert!((found.channel() - 5.66).abs() < 0.005);
        // 3.6 mm are too thin a skin, and no foam is as thick as the groove of the other is deep.
        for (whole, outside) in [(20.0, 9.0), (40.0, 15.0)] {
            let bed = Some(Bed { outside, groove: true });
            let refused = stacks(&Wanted { whole: Some(whole), halves: 2, bed }, &foams(&[10.0]), &|_| 0.0);
            assert!(matches!(refused, Err(NoStack::Channel { .. })), "{refused:?}");
        }
        // Below the face of a single half, the pipe lies on both sides and its top is level: r + r √2.
        assert!((Bed { outside: 8.0, groove: true }.groove_depth(1) - 9.657).abs() < 0.001);
    }

    #[test]
    fn a_smaller_wearer_gets_a_thinner_pipe() {
        let thinner = 34.0 * 1500.0 / 1680.0;
        assert!(stacks(&wanted(thinner, 2, Some(26.67)), &foams(&USUAL), &|_| 0.0).is_err());
        let found = &stacks(&wanted(thinner, 2, Some(21.336)), &foams(&USUAL), &|_| 0.0).expect("there are some")[0];
        assert_eq!((thicknesses(found), found.slotted, 2.0 * found.half()), (vec![10.0, 5.0], 1, 30.0));
    }

    #[test]
    fn what_cannot_be_stacked_tells_what_is_nearest() {
        let found = stacks(&wanted(14.0, 2, None), &foams(&[10.0]), &|_| 0.0);
        let Err(NoStack::Thickness(Some(nearest))) = found else { panic!("{found:?}") };
        assert_eq!(thicknesses(&nearest), [10.0]);
        assert_eq!(stacks(&wanted(200.0, 2, None), &foams(&[10.0]), &|_| 0.0), Err(NoStack::TooThick(10)));
    }
}
