//! What taping does to every page, over and over.

use kurbo::{Point, Vec2};
use nalgebra::{Matrix3, Vector3};

use super::MARK_SD_MM;
use super::joining::{Joining, Step};
use crate::chance::Dice;

/// How a page lies beside where it belongs: shifted, then turned about the sheet's origin by a small angle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Lie {
    pub(super) shift: Vec2,
    pub(super) turn: f64,
}

impl Lie {
    /// By how much a place of the page is off.
    pub(super) fn off(self, at: Point) -> Vec2 {
        self.shift + self.turn * Vec2::new(-at.y, at.x)
    }

    fn and(self, other: Self) -> Self {
        Self { shift: self.shift + other.shift, turn: self.turn + other.turn }
    }

    /// The rigid motion that brings places as near as can be to being off by so much (least squares, small angles).
    pub(super) fn nearest(all: &[(Point, Vec2)]) -> Self {
        let axes = |(at, off): &(Point, Vec2)| {
            [
                Told { at: *at, along: Vec2::new(1.0, 0.0), off: off.x },
                Told { at: *at, along: Vec2::new(0.0, 1.0), off: off.y },
            ]
        };
        Self::told(all.iter().flat_map(axes))
    }

    /// The same where of each place one direction is told.
    fn told(all: impl Iterator<Item = Told>) -> Self {
        let (mut normal, mut pull) = (Matrix3::zeros(), Vector3::zeros());
        for Told { at, along, off } in all {
            let row = Vector3::new(along.x, along.y, along.dot(Vec2::new(-at.y, at.x)));
            normal += row * row.transpose();
            pull += row * off;
        }
        // What nothing tells stays as it is: how far along the line the first strip lies.
        for i in 0..3 {
            normal[(i, i)] += UNTOLD * (1.0 + normal[(i, i)]);
        }
        let found = normal.cholesky().map_or_else(Vector3::zeros, |solver| solver.solve(&pull));
        Self { shift: Vec2::new(found[0], found[1]), turn: found[2] }
    }
}

/// Weight of staying where it is beside what is told, far below any of that.
const UNTOLD: f64 = 1e-9;

/// A place that should move so far in one direction.
struct Told {
    at: Point,
    along: Vec2,
    off: f64,
}

/// Many tapings of one sheet: how each page lies after each of them.
#[derive(Clone, Debug)]
pub struct Runs {
    pub(super) lies: Vec<Vec<Lie>>,
    worst: Vec<f64>,
}

impl Runs {
    /// `count` tapings.
    pub fn of(joining: &Joining, count: usize, seed: u64) -> Self {
        let mut dice = Dice(seed);
        let lies: Vec<Vec<Lie>> = (0..count).map(|_| laid(joining, &mut || MARK_SD_MM * dice.normal(), None)).collect();
        let worst = lies.iter().map(|lies| worst(joining, lies)).collect();
        Self { lies, worst }
    }

    /// How far the worst corner of a page is off once the sheet as a whole lies as well as can be: the median and what 95 in
    /// 100 stay below, mm.
    pub fn worst_corner(&self) -> [f64; 2] {
        let mut worst = self.worst.clone();
        worst.sort_by(f64::total_cmp);
        [worst[worst.len() / 2], worst[worst.len() * 95 / 100]]
    }
}

/// One taping; `missed` tells by how much a mark is missed in one direction, `fault` lays one step wrongly besides.
fn laid(joining: &Joining, missed: &mut dyn FnMut() -> f64, fault: Option<(usize, Lie)>) -> Vec<Lie> {
    let mut lies = vec![Lie::default(); joining.fields.len()];
    for (index, step) in joining.steps.iter().enumerate() {
        let motion = Lie::told(told(joining, step, &lies, missed).into_iter());
        for &page in &step.moved {
            lies[page] = lies[page].and(motion);
            if let Some((at, lie)) = fault
                && at == index
            {
                lies[page] = lies[page].and(lie);
            }
        }
    }
    lies
}

/// What the marks of a step tell of how far its part has to move; with a base line that counts across it, and they along it.
fn told(joining: &Joining, step: &Step, lies: &[Lie], missed: &mut dyn FnMut() -> f64) -> Vec<Told> {
    let (x, y) = (Vec2::new(1.0, 0.0), Vec2::new(0.0, 1.0));
    let (across_line, along_line) = if joining.across { (x, y) } else { (y, x) };
    let axes: &[Vec2] = if step.on_line.is_empty() { &[x, y] } else { &[along_line] };
    let mut all = Vec::new();
    for &(mark, lying, moving) in &step.shared {
        let at = joining.marks[mark].at.raw();
        let apart = lies[lying].off(at) - lies[moving].off(at);
        all.extend(axes.iter().map(|&along| Told { at, along, off: along.dot(apart) + missed() }));
    }
    let on_line = step.on_line.iter().map(|&(page, at)| (at, lies[page].off(at)));
    all.extend(on_line.map(|(at, off)| Told { at, along: across_line, off: missed() - across_line.dot(off) }));
    all
}

/// How every page lies when step number `step` is laid wrongly by `fault`, and all else truly.
pub(super) fn with_fault(joining: &Joining, step: usize, fault: Lie) -> Vec<Lie> {
    laid(joining, &mut || 0.0, Some((step, fault)))
}

fn worst(joining: &Joining, lies: &[Lie]) -> f64 {
    let all: Vec<(Point, Vec2)> = joining.corners().map(|(page, at)| (at, lies[page].off(at))).collect();
    let whole = Lie::nearest(&all);
    all.iter().map(|(at, off)| (*off - whole.off(*at)).hypot()).fold(0.0, f64::max)
}
