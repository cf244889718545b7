//! The edge between two places that a maker points at: the cheapest way over the picture where edges cost little
//! (E. N. Mortensen, W. A. Barrett, "Intelligent scissors for image composition", SIGGRAPH 1995; E. W. Dijkstra, 1959).
//!
//! The way is found on a picture so coarse that its ends are close, then again on finer and finer ones in a corridor around
//! it, so that the answer comes as fast from far away as from near.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use rayon::prelude::*;

use super::samples::Samples;
use crate::picture::Picture;
use crate::space::{Pixels, Point};

/// Pixels between the ends on the coarsest picture, at most.
const CLOSE: usize = 160;
/// Room around both ends on the coarsest picture: a part of the distance between them, and pixels.
const ROOM: f64 = 0.5;
const LEAST_ROOM: usize = 12;
/// Half the width of the corridor, in pixels of the finer picture.
const CORRIDOR: usize = 3;
/// What a step along the strongest edge costs; a step over even ground costs 1 more.
const CHEAPEST: f32 = 0.03;
/// The part of the pixels around the way whose edges are weaker than what counts as strong.
const STRONG: f64 = 0.98;

/// Follows the edges of one picture. Made once, it answers quickly.
pub struct Follower {
    /// Brightness, 0 to 255, each level half as large as the one before.
    levels: Vec<Level>,
}

struct Level {
    width: usize,
    height: usize,
    grey: Vec<u8>,
}

impl Follower {
    /// Gets ready to follow the edges of `picture`.
    pub fn new(picture: &Picture) -> Self {
        let samples = Samples::of(picture);
        let (width, height) = (samples.width, samples.height);
        let mut grey = vec![0; width * height];
        grey.par_chunks_mut(width).enumerate().for_each(|(y, line)| {
            let mut pixels = line.iter_mut();
            samples.row(y, 0, width, |[r, g, b]| {
                // Luma of ITU-R BT.601 in parts of 256.
                let luma = (77 * u32::from(r) + 150 * u32::from(g) + 29 * u32::from(b)) >> 8;
                if let (Some(pixel), Ok(luma)) = (pixels.next(), u8::try_from(luma)) {
                    *pixel = luma;
                }
            });
        });
        let mut levels = vec![Level { width, height, grey }];
        while let Some(last) = levels.last().filter(|level| level.width.min(level.height) >= 32) {
            let half = last.half();
            levels.push(half);
        }
        Self { levels }
    }

    /// The way along edges from one place to another, as the centres of neighbouring pixels, both ends included. Places
    /// beyond the picture are taken for the nearest on it.
    pub fn follow(&self, from: Point<Pixels>, to: Point<Pixels>) -> Vec<Point<Pixels>> {
        let ends = [from, to].map(|p| self.levels[0].pixel(p));
        let apart = ends[0].0.abs_diff(ends[1].0).max(ends[0].1.abs_diff(ends[1].1));
        let coarsest = (0..self.levels.len()).find(|k| apart >> k <= CLOSE).unwrap_or(self.levels.len() - 1);
        let mut way: Vec<(usize, usize)> = Vec::new();
        for k in (0..=coarsest).rev() {
            let level = &self.levels[k];
            let [a, b] = ends.map(|(x, y)| ((x >> k).min(level.width - 1), (y >> k).min(level.height - 1)));
            let field = if way.is_empty() { Field::around(level, a, b) } else { Field::along(level, &way, a, b) };
            way = field.cheapest(level, a, b);
        }
        #[expect(clippy::cast_precision_loss, reason = "pixel coordinates are small")]
        way.into_iter().map(|(x, y)| Point::new(x as f64 + 0.5, y as f64 + 0.5)).collect()
    }
}

impl Level {
    fn half(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut grey = vec![0; width * height];
        grey.par_chunks_mut(width).enumerate().for_each(|(y, line)| {
            let [upper, lower] = [2 * y, 2 * y + 1].map(|y| &self.grey[y * self.width..][..2 * width]);
            for ((to, a), b) in line.iter_mut().zip(upper.chunks_exact(2)).zip(lower.chunks_exact(2)) {
                let sum = u16::from(a[0]) + u16::from(a[1]) + u16::from(b[0]) + u16::from(b[1]);
                *to = sum.div_euclid(4).to_le_bytes()[0];
            }
        });
        Self { width, height, grey }
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "`as` saturates")]
    fn pixel(&self, p: Point<Pixels>) -> (usize, usize) {
        ((p.x.max(0.0) as usize).min(self.width - 1), (p.y.max(0.0) as usize).min(self.height - 1))
    }

    fn at(&self, x: usize, y: usize) -> f32 {
        f32::from(self.grey[y.min(self.height - 1) * self.width + x.min(self.width - 1)])
    }

    /// How strong the edge at a pixel is: the gradient over its eight neighbours (I. Sobel, 1968).
    fn edge(&self, x: usize, y: usize) -> f32 {
        let (l, t) = (x.saturating_sub(1), y.saturating_sub(1));
        let across = |y| self.at(x + 1, y) - self.at(l, y);
        let down = |x| self.at(x, y + 1) - self.at(x, t);
        let (p, q) = (across(t) + 2.0 * across(y) + across(y + 1), down(l) + 2.0 * down(x) + down(x + 1));
        // `hypot` guards against overflow, which bytes cannot cause, and takes as long as all the rest.
        (p * p + q * q).sqrt()
    }
}

/// The pixels over which a way may go.
struct Field {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
    /// Of each of them, row by row; none: all.
    open: Option<Vec<bool>>,
    /// How strong the strongest edges are.
    strong: f32,
}

impl Field {
    /// A rectangle around both ends.
    fn around(level: &Level, a: (usize, usize), b: (usize, usize)) -> Self {
        let apart = a.0.abs_diff(b.0).max(a.1.abs_diff(b.1));
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::cast_precision_loss,
            reason = "a few hundred pixels"
        )]
        let room = (apart as f64 * ROOM) as usize + LEAST_ROOM;
        let mut field = Self::rectangle(level, [a, b].into_iter(), room);
        let count = field.width * field.height;
        let places = (0..count).step_by((count / 20_000).max(1));
        field.strong = strong(level, places.map(|i| (field.left + i % field.width, field.top + i / field.width)));
        field
    }

    /// A corridor around a way that was found on the next coarser level.
    fn along(level: &Level, coarse: &[(usize, usize)], a: (usize, usize), b: (usize, usize)) -> Self {
        let way = coarse.iter().map(|&(x, y)| (2 * x, 2 * y)).chain([a, b]);
        let mut field = Self::rectangle(level, way.clone(), CORRIDOR);
        let mut open = vec![false; field.width * field.height];
        for (x, y) in way {
            let (x0, y0) = (x.saturating_sub(CORRIDOR).max(field.left), y.saturating_sub(CORRIDOR).max(field.top));
            let (x1, y1) =
                ((x + CORRIDOR + 1).min(field.left + field.width), (y + CORRIDOR + 1).min(field.top + field.height));
            for y in y0..y1 {
                let row = (y - field.top) * field.width;
                open[row + x0 - field.left..row + x1.max(x0) - field.left].fill(true);
            }
        }
        field.open = Some(open);
        let near = coarse.iter().flat_map(|&(x, y)| (0..2 * CORRIDOR).map(move |d| (2 * x + d, 2 * y + d)));
        let shift = |(x, y): (usize, usize)| (x.saturating_sub(CORRIDOR), y.saturating_sub(CORRIDOR));
        field.strong = strong(level, near.map(shift));
        field
    }

    fn rectangle(level: &Level, places: impl Iterator<Item = (usize, usize)>, room: usize) -> Self {
        let all = places.map(|(x, y)| [x, y, x, y]);
        let bounds = all.reduce(|p, q| [p[0].min(q[0]), p[1].min(q[1]), p[2].max(q[2]), p[3].max(q[3])]);
        let [x0, y0, x1, y1] = bounds.expect("a way has ends");
        let (left, top) = (x0.saturating_sub(room), y0.saturating_sub(room));
        let (right, bottom) = ((x1 + room + 1).min(level.width), (y1 + room + 1).min(level.height));
        Self { left, top, width: right - left, height: bottom - top, open: None, strong: 0.0 }
    }

    fn is_open(&self, i: usize) -> bool {
        self.open.as_ref().is_none_or(|open| open[i])
    }

    /// Dijkstra's way from one pixel to another.
    fn cheapest(&self, level: &Level, from: (usize, usize), to: (usize, usize)) -> Vec<(usize, usize)> {
        let node = |(x, y): (usize, usize)| (y - self.top) * self.width + x - self.left;
        let place = |i: usize| (self.left + i % self.width, self.top + i / self.width);
        let (start, end) = (node(from), node(to));
        let dear = |i: usize| {
            let (x, y) = place(i);
            CHEAPEST + (1.0 - (level.edge(x, y) / self.strong).min(1.0)).powi(2)
        };
        // Zeros take no memory until they are touched, and a corridor touches few: 0 is what is not known yet, so costs
        // begin at 1 and nodes are counted from 1.
        let mut dears = vec![0.0_f32; self.width * self.height];
        let mut spent = vec![0.0_f32; self.width * self.height];
        let mut before = vec![0_u32; self.width * self.height];
        let mut queue = BinaryHeap::from([Reached { cost: 1.0, node: start }]);
        spent[start] = 1.0;
        while let Some(Reached { cost, node: i }) = queue.pop() {
            if i == end {
                break;
            }
            if cost > spent[i] {
                continue;
            }
            let (x, y) = (i % self.width, i / self.width);
            for (dx, dy) in super::cut::STEPS {
                let (Some(x), Some(y)) = (x.checked_add_signed(dx), y.checked_add_signed(dy)) else { continue };
                if x >= self.width || y >= self.height {
                    continue;
                }
                let j = y * self.width + x;
                if !self.is_open(j) {
                    continue;
                }
                let length = if dx != 0 && dy != 0 { std::f32::consts::SQRT_2 } else { 1.0 };
                if dears[j] == 0.0 {
                    dears[j] = dear(j);
                }
                let next = cost + length * dears[j];
                if spent[j] == 0.0 || next < spent[j] {
                    spent[j] = next;
                    before[j] = u32::try_from(i).expect("a field of fewer than 2^32 pixels") + 1;
                    queue.push(Reached { cost: next, node: j });
                }
            }
        }
        let mut way = vec![end];
        while let Some(i) = before[way[way.len() - 1]].checked_sub(1).filter(|_| way[way.len() - 1] != start) {
            way.push(i as usize);
        }
        way.reverse();
        way.into_iter().map(place).collect()
    }
}

/// What counts as a strong edge among those at `places`.
fn strong(level: &Level, places: impl Iterator<Item = (usize, usize)>) -> f32 {
    let mut edges: Vec<f32> = places.map(|(x, y)| level.edge(x, y)).collect();
    if edges.is_empty() {
        return 1.0;
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a part of a count"
    )]
    let at = ((edges.len() - 1) as f64 * STRONG) as usize;
    edges.select_nth_unstable_by(at, f32::total_cmp).1.max(1.0)
}

/// A pixel and what the way to it costs; the cheapest is the greatest.
struct Reached {
    cost: f32,
    node: usize,
}

impl Ord for Reached {
    fn cmp(&self, other: &Self) -> Ordering {
        other.cost.total_cmp(&self.cost).then_with(|| other.node.cmp(&self.node))
    }
}

impl PartialOrd for Reached {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Reached {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Reached {}
