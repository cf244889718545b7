//! The edge between two places that a maker points at: the cheapest way over the picture where edges cost little
//! (E. N. Mortensen, W. A. Barrett, "Intelligent scissors for image composition", SIGGRAPH 1995; E. W. Dijkstra, 1959).
//!
//! The way is found on a picture so coarse that its ends are close, then again on finer and finer ones in a corridor around
//! it, so that the answer comes as fast from far away as from near.

use rayon::prelude::*;

use super::cut::STEPS;
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

    /// How strong the edge is at a place, between its four pixels.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the picture")]
    pub(super) fn edge(&self, at: kurbo::Point) -> f64 {
        let whole = &self.levels[0];
        let (x, y) = (at.x - 0.5, at.y - 0.5);
        let inside = |v: f64, most: usize| (v.floor().max(0.0) as usize).min(most - 1);
        let (i, j) = (inside(x, whole.width), inside(y, whole.height));
        #[expect(clippy::cast_precision_loss, reason = "pixel coordinates are small")]
        let (u, v) = ((x - i as f64).clamp(0.0, 1.0), (y - j as f64).clamp(0.0, 1.0));
        let s = |i: usize, j: usize| f64::from(whole.edge(i.min(whole.width - 1), j.min(whole.height - 1)));
        (s(i, j) * (1.0 - u) + s(i + 1, j) * u) * (1.0 - v) + (s(i, j + 1) * (1.0 - u) + s(i + 1, j + 1) * u) * v
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
    /// Blocks of [`BLOCK`] pixels across.
    across: usize,
    /// For each block, row by row, the number of its cells' block in `cells`, from 1; 0: the way does not go there.
    blocks: Vec<u32>,
    /// Block after block as they were opened, row after row within a block: a corridor through a large picture takes as
    /// much memory as it is long, and what lies near in the picture lies near in it.
    cells: Vec<Cell>,
    /// How strong the strongest edges are.
    strong: f32,
}

/// A pixel of a field, as long as nothing is known of it.
#[derive(Clone, Copy, Default)]
struct Cell {
    /// The least cost of the way to it, from 1; 0: not reached.
    spent: u32,
    /// What a step onto it costs; 0: not asked for yet.
    dear: u16,
    /// Number of the step that leads to it, in [`STEPS`].
    by: u8,
    open: bool,
}

/// Side of a block, as a power of 2.
const BLOCK_BITS: usize = 5;
const BLOCK: usize = 1 << BLOCK_BITS;
/// What costs 1 in these whole numbers, which sort themselves by counting. The dearest step, aslant over even ground, stays
/// within [`BUCKETS`].
const UNIT: f32 = 256.0;
const BUCKETS: usize = 512;

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
        for y in field.top..field.top + field.height {
            (field.left..field.left + field.width).for_each(|x| field.open(x, y));
        }
        let count = field.width * field.height;
        let places = (0..count).step_by((count / 20_000).max(1));
        field.strong = strong(level, places.map(|i| (field.left + i % field.width, field.top + i / field.width)));
        field
    }

    /// A corridor around a way that was found on the next coarser level.
    fn along(level: &Level, coarse: &[(usize, usize)], a: (usize, usize), b: (usize, usize)) -> Self {
        let way = coarse.iter().map(|&(x, y)| (2 * x, 2 * y)).chain([a, b]);
        let mut field = Self::rectangle(level, way.clone(), CORRIDOR);
        for (x, y) in way {
            let (x0, y0) = (x.saturating_sub(CORRIDOR).max(field.left), y.saturating_sub(CORRIDOR).max(field.top));
            let (x1, y1) =
                ((x + CORRIDOR + 1).min(field.left + field.width), (y + CORRIDOR + 1).min(field.top + field.height));
            for (x, y) in (y0..y1).flat_map(|y| (x0..x1).map(move |x| (x, y))) {
                field.open(x, y);
            }
        }
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
        let (width, height) = (right - left, bottom - top);
        let (across, down) = (width.div_ceil(BLOCK), height.div_ceil(BLOCK));
        Self { left, top, width, height, across, blocks: vec![0; across * down], cells: Vec::new(), strong: 0.0 }
    }

    /// Lets the way go over a pixel of the rectangle.
    fn open(&mut self, x: usize, y: usize) {
        let (block, within) = self.place(x, y);
        if self.blocks[block] == 0 {
            self.cells.resize(self.cells.len() + BLOCK * BLOCK, Cell::default());
            let count = self.cells.len() / (BLOCK * BLOCK);
            self.blocks[block] = u32::try_from(count).expect("a picture of fewer than 2^42 pixels");
        }
        let index = (self.blocks[block] as usize - 1) * BLOCK * BLOCK + within;
        self.cells[index].open = true;
    }

    /// The block of a pixel of the rectangle, and its place there.
    fn place(&self, x: usize, y: usize) -> (usize, usize) {
        let (x, y) = (x - self.left, y - self.top);
        let block = (y >> BLOCK_BITS) * self.across + (x >> BLOCK_BITS);
        (block, ((y & (BLOCK - 1)) << BLOCK_BITS) + (x & (BLOCK - 1)))
    }

    /// The cell of a pixel of the rectangle; `None` where the way may not go.
    fn index(&self, x: usize, y: usize) -> Option<usize> {
        let (block, within) = self.place(x, y);
        let index = (self.blocks[block].checked_sub(1)? as usize) * BLOCK * BLOCK + within;
        self.cells[index].open.then_some(index)
    }

    /// What a step onto a pixel costs.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 8 to 264")]
    fn dear(&self, level: &Level, x: usize, y: usize) -> u16 {
        let cost = CHEAPEST + (1.0 - (level.edge(x, y) / self.strong).min(1.0)).powi(2);
        (UNIT * cost).round() as u16
    }

    /// Dijkstra's way from one pixel to another; costs are whole numbers, so that a ring of buckets keeps them in order
    /// (R. B. Dial, "Algorithm 360", Communications of the ACM 12, 1969).
    fn cheapest(mut self, level: &Level, from: (usize, usize), to: (usize, usize)) -> Vec<(usize, usize)> {
        let mut buckets: Vec<Vec<(usize, usize)>> = vec![Vec::new(); BUCKETS];
        if let Some(start) = self.index(from.0, from.1) {
            self.cells[start].spent = 1;
        }
        buckets[1].push(from);
        let (mut cost, mut waiting) = (1_u32, 1_usize);
        while waiting > 0 {
            let Some((x, y)) = buckets[cost as usize % BUCKETS].pop() else {
                cost += 1;
                continue;
            };
            waiting -= 1;
            if (x, y) == to {
                break;
            }
            // Reached more cheaply since it was put here.
            if self.index(x, y).is_some_and(|index| self.cells[index].spent != cost) {
                continue;
            }
            for (by, (dx, dy)) in (0_u8..).zip(STEPS) {
                let (Some(x), Some(y)) = (x.checked_add_signed(dx), y.checked_add_signed(dy)) else { continue };
                let inside = x.wrapping_sub(self.left) < self.width && y.wrapping_sub(self.top) < self.height;
                if !inside {
                    continue;
                }
                let Some(index) = self.index(x, y) else { continue };
                if self.cells[index].dear == 0 {
                    self.cells[index].dear = self.dear(level, x, y);
                }
                let cell = &mut self.cells[index];
                let dear = u32::from(cell.dear);
                // √2 in parts of 256.
                let next = cost + if dx != 0 && dy != 0 { (dear * 362) >> 8 } else { dear };
                if cell.spent == 0 || next < cell.spent {
                    (cell.spent, cell.by) = (next, by);
                    buckets[next as usize % BUCKETS].push((x, y));
                    waiting += 1;
                }
            }
        }
        self.way_back(from, to)
    }

    /// The steps that led from one pixel to another.
    fn way_back(&self, from: (usize, usize), to: (usize, usize)) -> Vec<(usize, usize)> {
        let before = |&(x, y): &(usize, usize)| {
            let cell = self.cells[self.index(x, y)?];
            let (dx, dy) = STEPS[usize::from(cell.by)];
            let reached = cell.spent > 0 && (x, y) != from;
            reached.then(|| Some((x.checked_add_signed(-dx)?, y.checked_add_signed(-dy)?))).flatten()
        };
        let mut way: Vec<(usize, usize)> = std::iter::successors(Some(to), before).collect();
        way.reverse();
        way
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
