//! How far a quantity may be off for the errors of the marks: the one place where intervals are made.

use rayon::prelude::*;

use crate::chance::Dice;
use crate::problem::Problems;

use super::solve::solve_near;
use super::yardsticks::STEP;
use super::{Marks, Solved, solve};

/// The two-sided 95 % point of the normal distribution.
const NORMAL_95: f64 = 1.959_964;

/// A change of scale that is surely noticed and surely small.
const TOUCH: f64 = 1e-6;

/// A value and where it lies in 95 % of cases.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// As the marks tell it.
    pub value: f64,
    /// Standard deviation, in the unit of the value, widened where the scale it rests on is.
    pub sd: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
}

/// A build solved as marked, and once more for each of its numbers moved to either side: every interval of the build
/// can be taken from it.
#[derive(Clone, Debug)]
pub struct Spread {
    middle: (Marks, Solved),
    moved: Vec<[(Marks, Solved); 2]>,
}

impl Spread {
    /// Solves `marks` and everything near them. Errors as [`solve`].
    pub fn over(marks: &Marks) -> Result<Self, Problems> {
        let middle = solve(marks)?;
        let numbers: Vec<_> = marks.clone().numbers().into_iter().map(|number| *number).collect();
        let solving = numbers.len() - marks.only_measured();
        let uncertain = numbers.par_iter().enumerate().filter(|(_, number)| number.sd > 0.0);
        let moved = uncertain.map(|(i, number)| -> Result<_, Problems> {
            let to = |steps: f64| {
                let mut marks = marks.clone();
                marks.numbers()[i].value += steps * STEP * number.sd;
                // What is only measured moves no plane and no scale.
                let solved = if i < solving { solve_near(&marks, Some(&middle))? } else { middle.clone() };
                Ok::<_, Problems>((marks, solved))
            };
            Ok([to(-1.0)?, to(1.0)?])
        });
        Ok(Self { moved: moved.collect::<Result<_, _>>()?, middle: (marks.clone(), middle) })
    }

    /// The build as marked, solved.
    pub const fn solved(&self) -> &Solved {
        &self.middle.1
    }

    /// The 95 % interval of `quantity`, by its slope in every number of the marks.
    pub fn of(&self, quantity: &dyn Fn(&Marks, &Solved) -> f64) -> Interval {
        let at = |(marks, solved): &(Marks, Solved)| quantity(marks, solved);
        let slopes = self.moved.iter().map(|[low, high]| (at(high) - at(low)) / (2.0 * STEP));
        let value = at(&self.middle);
        let sd = slopes.map(|slope| slope * slope).sum::<f64>().sqrt() * self.widening(quantity, value);
        Interval { value, sd, low: value - NORMAL_95 * sd, high: value + NORMAL_95 * sd }
    }

    /// The largest widening among the pictures whose scale moves `quantity`.
    fn widening(&self, quantity: &dyn Fn(&Marks, &Solved) -> f64, value: f64) -> f64 {
        let (marks, solved) = &self.middle;
        let pictures = solved.pictures.iter().enumerate().filter(|(_, picture)| picture.widening > 1.0);
        let moves = pictures.filter(|&(k, _)| {
            let mut touched = solved.clone();
            touched.pictures[k].factor *= 1.0 + TOUCH;
            quantity(marks, &touched) != value
        });
        moves.map(|(_, picture)| picture.widening).fold(1.0, f64::max)
    }
}

/// The 95 % interval of one `quantity`; for several, keep a [`Spread`]. Errors as [`solve`].
pub fn spread(marks: &Marks, quantity: &dyn Fn(&Marks, &Solved) -> f64) -> Result<Interval, Problems> {
    Ok(Spread::over(marks)?.of(quantity))
}

/// `quantity` for `count` sets of marks that might have been made as well, each number moved by a normal error; the
/// same `seed` gives the same draws. Sets that cannot be solved are left out.
///
/// For quantities that are far from linear in the marks, and to check [`spread`]. Widening is not applied.
///
/// Errors as [`solve`].
pub fn draws(
    marks: &Marks,
    quantity: &dyn Fn(&Marks, &Solved) -> f64,
    seed: u64,
    count: usize,
) -> Result<Vec<f64>, Problems> {
    let mut dice = Dice(seed);
    let middle = solve(marks)?;
    let sets = (0..count).map(|_| drawn(marks, &mut dice));
    let solved = sets.filter_map(|marks| Some((solve_near(&marks, Some(&middle)).ok()?, marks)));
    Ok(solved.map(|(solved, marks)| quantity(&marks, &solved)).collect())
}

/// Marks as they might have been made.
pub(super) fn drawn(marks: &Marks, dice: &mut Dice) -> Marks {
    let mut marks = marks.clone();
    for number in marks.numbers() {
        number.value += number.sd * dice.normal();
    }
    marks
}
