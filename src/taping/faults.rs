//! Distances as they were read on the taped sheet → the join most likely at fault.

use kurbo::{Point, Vec2};
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::distances::{covariance, stretched};
use super::joining::{Joining, Part};
use super::runs::{Lie, Runs, with_fault};

/// How far a reading is off, as a standard deviation in mm (common practice, no source).
const READ_SD_MM: f64 = 0.35;
/// Faults are about so large, as a standard deviation in mm (common practice, no source).
const FAULT_SD_MM: f64 = 3.0;
/// Tapings drawn for the covariance of the readings, many more than there are readings, and where the draws begin.
const RUNS: usize = 4000;
const SEED: u64 = 2;
/// A good sheet is suspected so rarely.
const FALSE_ALARM: f64 = 0.01;

/// Something read on the taped sheet; marks by their numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// The distance of two marks, mm.
    Distance([usize; 2], f64),
    /// How far the third mark lies from a straight edge laid through the first two, mm; above 0 to the right as one looks
    /// from the first to the second.
    Beside([usize; 2], usize, f64),
}

/// How a join can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum FaultKind {
    /// Too far apart, or too near.
    Gap,
    /// Slid along.
    Slip,
    /// Open at one end.
    Hinge,
}

/// A join that may be at fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Fault {
    /// Pages by strip and place in it; two strips have no place.
    pub between: [(usize, Option<usize>); 2],
    /// What is wrong with it.
    pub kind: FaultKind,
    /// By how much, mm; of a hinge at its far end.
    pub mm: f64,
    /// How likely it is this one, of all joins and kinds; 0 to 1.
    pub sure: f64,
}

/// What readings say.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// All are as near as taping and reading let expect.
    Good,
    /// Something is wrong; the likeliest first.
    Wrong(Vec<Fault>),
}

/// Judges readings of one sheet.
///
/// Against the covariance that taping and reading give them, each fault of each join is tried: with J what a fault of 1 mm does
/// to the readings y, (Jᵀ S⁻¹ y)² / (Jᵀ S⁻¹ J) is how much of what is odd it explains; a fault is as likely as the readings are
/// once its size is left open.
///
/// # Errors
///
/// The number of a mark that is not on the sheet.
pub fn judge(joining: &Joining, first_strip: usize, readings: &[Reading]) -> Result<Verdict, usize> {
    judge_by(&Runs::of(joining, RUNS, SEED), joining, first_strip, readings)
}

/// The same with tapings that were drawn already.
pub(super) fn judge_by(
    runs: &Runs,
    joining: &Joining,
    first_strip: usize,
    readings: &[Reading],
) -> Result<Verdict, usize> {
    let all: Vec<(Read, f64)> = readings.iter().map(|reading| read(joining, reading)).collect::<Result<_, _>>()?;
    let odd = DVector::from_iterator(all.len(), all.iter().map(|(_, odd)| *odd));
    let moved = |lies: &[Lie]| DVector::from_iterator(all.len(), all.iter().map(|(read, _)| read.moved(joining, lies)));
    let deviations = DMatrix::from_fn(runs.lies.len(), all.len(), |run, i| all[i].0.moved(joining, &runs.lies[run]));
    let mut doubt = covariance(&deviations);
    for i in 0..all.len() {
        doubt[(i, i)] += READ_SD_MM * READ_SD_MM;
    }
    let Some(solver) = doubt.cholesky() else { return Ok(Verdict::Good) };
    let explained = solver.solve(&odd);
    let mut faults: Vec<(f64, Fault)> = Vec::new();
    let mut most_explained = 0.0_f64;
    for (step, laid) in joining.steps.iter().enumerate().filter(|(_, laid)| !laid.shared.is_empty()) {
        let (middle, along) = joining.join(laid);
        let reach = laid.shared.iter().map(|s| joining.marks[s.0].at.raw().distance(middle)).fold(1.0, f64::max);
        for (kind, lie) in unit_faults(middle, along, reach) {
            let effect = moved(&with_fault(joining, step, lie));
            let information = effect.dot(&solver.solve(&effect));
            most_explained = most_explained.max(effect.dot(&explained).powi(2) / information.max(f64::MIN_POSITIVE));
            let open = information + 1.0 / (FAULT_SD_MM * FAULT_SD_MM);
            let mm = effect.dot(&explained) / open;
            let log = 0.5 * (mm * mm * open - (open * FAULT_SD_MM * FAULT_SD_MM).ln());
            let between = laid.between.map(|part| joining.named(part, first_strip));
            faults.push((log, Fault { between, kind, mm, sure: 0.0 }));
        }
    }
    if most_explained <= limit(faults.len()) {
        return Ok(Verdict::Good);
    }
    let most = faults.iter().map(|(log, _)| *log).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = faults.iter().map(|(log, _)| (log - most).exp()).sum();
    let mut found: Vec<Fault> =
        faults.into_iter().map(|(log, fault)| Fault { sure: (log - most).exp() / sum, ..fault }).collect();
    found.sort_by(|a, b| b.sure.total_cmp(&a.sure));
    Ok(Verdict::Wrong(found))
}

/// Faults of 1 mm: apart, along, and open at one end with the other in its place.
fn unit_faults(middle: Point, along: Vec2, reach: f64) -> [(FaultKind, Lie); 3] {
    let apart = Vec2::new(-along.y, along.x);
    // A turn about the middle is one about the origin and a shift.
    let turn = 1.0 / reach;
    let back = turn * Vec2::new(middle.y, -middle.x);
    [
        (FaultKind::Gap, Lie { shift: apart, turn: 0.0 }),
        (FaultKind::Slip, Lie { shift: along, turn: 0.0 }),
        (FaultKind::Hinge, Lie { shift: back, turn }),
    ]
}

/// A reading by the indices of its marks.
enum Read {
    Distance([usize; 2]),
    Beside([usize; 2], usize),
}

impl Read {
    /// By how much it changes when the pages lie so.
    fn moved(&self, joining: &Joining, lies: &[Lie]) -> f64 {
        let off = |mark: usize| lies[joining.page_of(mark)].off(joining.marks[mark].at.raw());
        match *self {
            Self::Distance(between) => stretched(joining, lies, between),
            Self::Beside([i, j], k) => {
                let (right, share) = beside(joining, [i, j], k);
                right.dot(off(k) - off(i) * (1.0 - share) - off(j) * share)
            }
        }
    }
}

/// The direction to the right of the line from mark `i` to mark `j`, and how far along it mark `k` lies as a part.
fn beside(joining: &Joining, [i, j]: [usize; 2], k: usize) -> (Vec2, f64) {
    let [a, b, c] = [i, j, k].map(|mark| joining.marks[mark].at.raw());
    let along = b - a;
    let unit = along.normalize();
    (Vec2::new(-unit.y, unit.x), (c - a).dot(along) / along.hypot2())
}

/// The reading with the indices of its marks, and how much it is off.
fn read(joining: &Joining, reading: &Reading) -> Result<(Read, f64), usize> {
    let index = |number: usize| joining.marks.iter().position(|mark| mark.number == number).ok_or(number);
    let at = |mark: usize| joining.marks[mark].at.raw();
    Ok(match *reading {
        Reading::Distance([a, b], mm) => {
            let (a, b) = (index(a)?, index(b)?);
            (Read::Distance([a, b]), mm - at(a).distance(at(b)))
        }
        Reading::Beside([a, b], c, mm) => {
            let (a, b, c) = (index(a)?, index(b)?, index(c)?);
            let (right, _) = beside(joining, [a, b], c);
            (Read::Beside([a, b], c), mm - right.dot(at(c) - at(a)))
        }
    })
}

/// What the square of a normal number passes in [`FALSE_ALARM`] of cases when the largest of `tries` is taken: the tail of the
/// normal distribution (M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 1964, 26.2.12) turned around.
fn limit(tries: usize) -> f64 {
    let double = -2.0 * (FALSE_ALARM / (2.0 * tries.max(1) as f64)).ln();
    double - double.ln() - (std::f64::consts::TAU).ln()
}

impl Joining {
    /// The strip and the place in it of a part, strips counted on from `first`.
    fn named(&self, part: Part, first: usize) -> (usize, Option<usize>) {
        match part {
            Part::Strip(strip) => (first + strip, None),
            Part::Page(page) => {
                let strip = self.strips.iter().position(|strip| strip.contains(&page)).unwrap_or(0);
                let place = self.strips[strip].iter().position(|other| *other == page).unwrap_or(0);
                (first + strip, Some(place + 1))
            }
        }
    }
}
