//! Distances as they were read on the taped sheet → the join most likely at fault.

use kurbo::{Point, Vec2};
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::distances::{self, EVEN_PER_MM, READING_SD_MM, covariance};
use super::joining::{Joining, Part};
use super::runs::{Lie, Runs, with_fault};

/// How far what lies beside a straight edge is misread, as a standard deviation in mm (common practice, no source).
const BESIDE_SD_MM: f64 = 0.35;
/// Faults are about so large, as a standard deviation in mm (common practice, no source).
const FAULT_SD_MM: f64 = 3.0;
/// A printer or damp that stretches all pages alike does so by about so much, as a standard deviation in mm on a metre: more is
/// seen at the test square (common practice, no source: 0 to 6).
const STRETCH_SD: f64 = 2.0;
/// No join, and no printer whose test square was measured, moves a distance by more than this, in mm and as a part of it.
const MOST_OFF: (f64, f64) = (30.0, 0.03);
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
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// Too far apart, or too near.
    Gap,
    /// Slid along.
    Slip,
    /// Open at one end.
    Hinge,
    /// All pages are larger than they should be, or smaller.
    Stretch,
    /// The same, from left to right on the joined sheet alone.
    StretchAcross,
    /// The same, from top to bottom alone.
    StretchDown,
}

/// A join that may be at fault, or the paper as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Fault {
    /// Pages by strip and place in it; two strips have no place. `None`: no join, but all pages.
    pub between: Option<[(usize, Option<usize>); 2]>,
    /// What is wrong with it.
    pub kind: FaultKind,
    /// By how much, mm; of a hinge at its far end, of a stretch on each metre.
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

/// Why readings cannot be judged.
#[derive(Clone, Debug, PartialEq)]
pub enum Unusable {
    /// The number of a mark that is not on the sheet.
    NoMark(usize),
    /// A reading, by its place among them, that no bad join explains; what it should be, mm.
    Impossible(usize, f64),
    /// Two readings of one thing, by their places, that differ by more than readings do.
    Differ(usize, usize),
}

/// Judges readings of one sheet.
///
/// Against the covariance that taping, reading and a little even stretch give them, each fault of each join and each stretch of
/// all pages is tried: with J what a fault of 1 mm does to the readings y, (Jᵀ S⁻¹ y)² / (Jᵀ S⁻¹ J) is how much of what is odd it
/// explains; a fault is as likely as the readings are once its size is left open. A distance beyond the limit that the cover
/// prints is never good.
///
/// # Errors
///
/// Readings that cannot be judged.
pub fn judge(joining: &Joining, first_strip: usize, readings: &[Reading]) -> Result<Verdict, Unusable> {
    judge_by(&Runs::of(joining, super::RUNS, super::SEED), joining, first_strip, readings)
}

/// The same with tapings that were drawn already.
pub(super) fn judge_by(
    runs: &Runs,
    joining: &Joining,
    first_strip: usize,
    readings: &[Reading],
) -> Result<Verdict, Unusable> {
    let all: Vec<(Read, f64)> = readings.iter().map(|reading| read(joining, reading)).collect::<Result<_, _>>()?;
    usable(joining, &all)?;
    let odd = DVector::from_iterator(all.len(), all.iter().map(|(_, odd)| *odd));
    let moved = |off: &dyn Fn(usize) -> Vec2| {
        DVector::from_iterator(all.len(), all.iter().map(|(read, _)| read.moved(joining, off)))
    };
    let lain = |lies: &[Lie]| moved(&|mark| lies[joining.page_of(mark)].off(joining.marks[mark].at.raw()));
    let grown = |[across, down]: [f64; 2]| {
        moved(&|mark| {
            let at = joining.marks[mark].at;
            Vec2::new(at.x * across, at.y * down)
        })
    };
    let rows: Vec<_> = runs.lies.iter().map(|lies| lain(lies).transpose()).collect();
    let mut doubt = covariance(&DMatrix::from_rows(&rows));
    for even in [[EVEN_PER_MM, 0.0], [0.0, EVEN_PER_MM]].map(grown) {
        doubt += &even * even.transpose();
    }
    for (i, (read, _)) in all.iter().enumerate() {
        doubt[(i, i)] += read.sd().powi(2);
    }
    let beyond = |(i, (read, odd)): (usize, &(Read, f64))| {
        read.is_distance() && odd.abs() > distances::limit(doubt[(i, i)]) + f64::EPSILON.sqrt()
    };
    let beyond = all.iter().enumerate().any(beyond);
    let Some(solver) = doubt.cholesky() else { return Ok(Verdict::Good) };
    let explained = solver.solve(&odd);
    let mut faults: Vec<(f64, Fault)> = Vec::new();
    let mut most_explained = 0.0_f64;
    let mut consider = |between, kind, effect: DVector<f64>, usual: f64| {
        let information = effect.dot(&solver.solve(&effect));
        most_explained = most_explained.max(effect.dot(&explained).powi(2) / information.max(f64::MIN_POSITIVE));
        let open = information + 1.0 / (usual * usual);
        let mm = effect.dot(&explained) / open;
        let log = 0.5 * (mm * mm * open - (open * usual * usual).ln());
        faults.push((log, Fault { between, kind, mm, sure: 0.0 }));
    };
    for (step, laid) in joining.steps.iter().enumerate().filter(|(_, laid)| !laid.shared.is_empty()) {
        let (middle, along) = joining.join(laid);
        let reach = laid.shared.iter().map(|s| joining.marks[s.0].at.raw().distance(middle)).fold(1.0, f64::max);
        for (kind, lie) in unit_faults(middle, along, reach) {
            let between = laid.between.map(|part| joining.named(part, first_strip));
            consider(Some(between), kind, lain(&with_fault(joining, step, lie)), FAULT_SD_MM);
        }
    }
    for (kind, part) in [
        (FaultKind::Stretch, [1e-3; 2]),
        (FaultKind::StretchAcross, [1e-3, 0.0]),
        (FaultKind::StretchDown, [0.0, 1e-3]),
    ] {
        consider(None, kind, grown(part), STRETCH_SD);
    }
    if most_explained <= limit(faults.len()) && !beyond {
        return Ok(Verdict::Good);
    }
    let most = faults.iter().map(|(log, _)| *log).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = faults.iter().map(|(log, _)| (log - most).exp()).sum();
    let mut found: Vec<Fault> =
        faults.into_iter().map(|(log, fault)| Fault { sure: (log - most).exp() / sum, ..fault }).collect();
    found.sort_by(|a, b| b.sure.total_cmp(&a.sure));
    Ok(Verdict::Wrong(found))
}

/// Refuses what no bad join explains, and two readings of one thing that do not agree.
fn usable(joining: &Joining, all: &[(Read, f64)]) -> Result<(), Unusable> {
    for (index, (read, odd)) in all.iter().enumerate() {
        let should_be = read.should_be(joining);
        if odd.abs() > MOST_OFF.0 + MOST_OFF.1 * should_be.abs() {
            return Err(Unusable::Impossible(index, should_be));
        }
        let differ = |(other, off): &(Read, f64)| other == read && (off - odd).abs() > 4.0 * read.sd();
        if let Some(former) = all[..index].iter().position(differ) {
            return Err(Unusable::Differ(former, index));
        }
    }
    Ok(())
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
#[derive(PartialEq)]
enum Read {
    /// The lower index first.
    Distance([usize; 2]),
    Beside([usize; 2], usize),
}

impl Read {
    fn is_distance(&self) -> bool {
        matches!(self, Self::Distance(_))
    }

    /// How far it is misread, mm.
    fn sd(&self) -> f64 {
        if self.is_distance() { READING_SD_MM } else { BESIDE_SD_MM }
    }

    /// What it is on a sheet without fault, mm.
    fn should_be(&self, joining: &Joining) -> f64 {
        let at = |mark: usize| joining.marks[mark].at.raw();
        match *self {
            Self::Distance([i, j]) => at(i).distance(at(j)),
            Self::Beside([i, j], k) => beside(joining, [i, j], k).0.dot(at(k) - at(i)),
        }
    }

    /// By how much it changes when each mark is off by so much.
    fn moved(&self, joining: &Joining, off: &dyn Fn(usize) -> Vec2) -> f64 {
        match *self {
            Self::Distance([i, j]) => {
                let [from, to] = [i, j].map(|mark| joining.marks[mark].at.raw());
                (to - from).normalize().dot(off(j) - off(i))
            }
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
fn read(joining: &Joining, reading: &Reading) -> Result<(Read, f64), Unusable> {
    let index =
        |number: usize| joining.marks.iter().position(|mark| mark.number == number).ok_or(Unusable::NoMark(number));
    let (read, mm) = match *reading {
        Reading::Distance([a, b], mm) => {
            let (a, b) = (index(a)?, index(b)?);
            (Read::Distance([a.min(b), a.max(b)]), mm)
        }
        Reading::Beside([a, b], c, mm) => (Read::Beside([index(a)?, index(b)?], index(c)?), mm),
    };
    let odd = mm - read.should_be(joining);
    Ok((read, odd))
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
