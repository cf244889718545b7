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
        let (mut normal, mut pull) = (Matrix3::zeros(), Vector3::zeros());
        for (at, off) in all {
            for (row, value) in [(Vector3::new(1.0, 0.0, -at.y), off.x), (Vector3::new(0.0, 1.0, at.x), off.y)] {
                normal += row * row.transpose();
                pull += row * value;
            }
        }
        let found = normal.cholesky().map_or_else(Vector3::zeros, |solver| solver.solve(&pull));
        Self { shift: Vec2::new(found[0], found[1]), turn: found[2] }
    }
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
        let lies: Vec<Vec<Lie>> = (0..count).map(|_| taped(joining, &mut |_| miss(&mut dice))).collect();
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

fn miss(dice: &mut Dice) -> Vec2 {
    Vec2::new(dice.normal(), dice.normal()) * MARK_SD_MM
}

/// One taping; `missed` tells by how much each mark is missed in a step.
fn taped(joining: &Joining, missed: &mut dyn FnMut(&Step) -> Vec2) -> Vec<Lie> {
    let mut lies = vec![Lie::default(); joining.fields.len()];
    for step in &joining.steps {
        let wanted: Vec<(Point, Vec2)> = step
            .shared
            .iter()
            .map(|&(mark, lying, moving)| {
                let at = joining.marks[mark].at.raw();
                (at, lies[lying].off(at) - lies[moving].off(at) + missed(step))
            })
            .collect();
        let motion = Lie::nearest(&wanted);
        for &page in &step.moved {
            lies[page] = lies[page].and(motion);
        }
    }
    lies
}

/// How every page lies when step number `step` is laid wrongly by `fault`, and all else truly.
pub(super) fn with_fault(joining: &Joining, step: usize, fault: Lie) -> Vec<Lie> {
    let mut lies = vec![Lie::default(); joining.fields.len()];
    for (index, laid) in joining.steps.iter().enumerate() {
        let wanted: Vec<(Point, Vec2)> = laid
            .shared
            .iter()
            .map(|&(mark, lying, moving)| {
                let at = joining.marks[mark].at.raw();
                (at, lies[lying].off(at) - lies[moving].off(at))
            })
            .collect();
        let mut motion = Lie::nearest(&wanted);
        if index == step {
            motion = motion.and(fault);
        }
        for &page in &laid.moved {
            lies[page] = lies[page].and(motion);
        }
    }
    lies
}

fn worst(joining: &Joining, lies: &[Lie]) -> f64 {
    let all: Vec<(Point, Vec2)> = joining.corners().map(|(page, at)| (at, lies[page].off(at))).collect();
    let whole = Lie::nearest(&all);
    all.iter().map(|(at, off)| (*off - whole.off(*at)).hypot()).fold(0.0, f64::max)
}
