//! The drawn line around a shape that is filled with colour, told from what is within it.

use super::border::{Cell, Grid};
use super::ground::distance;
use super::samples::{LabTable, Samples};

/// Depths at which the line's own colour is looked for, in pixels from the edge: beyond the blended first one.
const OWN: [u16; 3] = [2, 3, 4];
/// What lies deeper than this, in pixels, tells what the shape is filled with.
const DEEP: u16 = 6;
/// A filling differs from its line by this much in OKLab, or there is none.
const UNLIKE: f32 = 0.06;
/// The part of what lies deep that differs so, at least.
const FILLED: f64 = 0.2;
/// Within this part of the distance from line to filling a colour is the line's.
const LIKE: f32 = 0.5;
/// A line is no wider than this part of how deep the shape is.
const WIDEST: f64 = 0.5;
/// Beyond the line's usual width so many pixels of its colour are still the line: it swells where it turns.
const SWOLLEN: f64 = 1.5;
/// Nearer to the edge than this part of the line's width, everything is the line: its outer pixels are blended with the
/// ground.
const SURELY: f64 = 0.6;
/// Depths are counted in parts of a pixel.
const PARTS: u16 = 3;

/// The shape on `grid` without the line drawn along its edges; that becomes the ground. `None` where line and filling cannot
/// be told apart.
pub(super) fn without_line(grid: &Grid, samples: &Samples, table: &LabTable) -> Option<Grid> {
    let inks = Inks::of(grid, samples, table)?;
    let width = inks.width()?;
    let limit = width + SWOLLEN;
    let mut inner = grid.clone();
    for (cell, pixel) in inner.cells_mut().zip(&inks.pixels) {
        *cell = match pixel {
            None => Cell::Other,
            Some(pixel) if pixel.deep <= SURELY * width => Cell::Ground,
            Some(pixel) if pixel.deep <= limit && pixel.off <= inks.like => Cell::Ground,
            Some(_) => Cell::Shape,
        };
    }
    Some(inner)
}

/// A pixel of the shape.
#[derive(Clone, Copy)]
struct Pixel {
    /// How far from the edge, in pixels.
    deep: f64,
    /// How far its colour is from the line's.
    off: f32,
}

struct Inks {
    /// One for each cell of the grid; `None` beyond the shape.
    pixels: Vec<Option<Pixel>>,
    /// Colours no farther than this from the line's are its own.
    like: f32,
}

impl Inks {
    /// `None` for a shape of one colour.
    fn of(grid: &Grid, samples: &Samples, table: &LabTable) -> Option<Self> {
        let depths = depths(grid);
        let colour = |(cell, x, y): (Cell, Option<usize>, Option<usize>)| {
            (cell == Cell::Shape).then_some(())?;
            Some(table.get(samples.bytes(x?, y?)))
        };
        let colours: Vec<Option<[f32; 3]>> = grid.places().map(colour).collect();
        let within = |from: u16, to: u16| -> Vec<[f32; 3]> {
            let near = depths.iter().zip(&colours).filter(|(depth, _)| (from * PARTS..to * PARTS).contains(*depth));
            near.filter_map(|(_, colour)| *colour).collect()
        };
        let own = OWN.iter().filter_map(|&depth| middle(within(depth, depth + 1)));
        let (own, _) = own.min_by(|a, b| a.1.total_cmp(&b.1))?;
        let mut deep: Vec<f32> =
            within(DEEP, u16::MAX / PARTS).into_iter().map(|colour| distance(colour, own)).collect();
        let count = deep.len();
        deep.retain(|off| *off > UNLIKE);
        #[expect(clippy::cast_precision_loss, reason = "counts of pixels")]
        let filled = deep.len() as f64 >= FILLED * count as f64 && !deep.is_empty();
        if !filled {
            return None;
        }
        let at = deep.len() / 2;
        let like = LIKE * *deep.select_nth_unstable_by(at, f32::total_cmp).1;
        let pixel = |(depth, colour): (&u16, &Option<[f32; 3]>)| {
            colour.map(|colour| Pixel { deep: f64::from(*depth) / f64::from(PARTS), off: distance(colour, own) })
        };
        Some(Self { pixels: depths.iter().zip(&colours).map(pixel).collect(), like })
    }

    /// How wide the line usually is, in pixels: the depth from which on most is no line. `None` if there is no such depth,
    /// or hardly any shape within it.
    fn width(&self) -> Option<f64> {
        let mut counts: Vec<[usize; 2]> = Vec::new();
        for pixel in self.pixels.iter().flatten() {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a depth in pixels, above 0")]
            let depth = pixel.deep as usize;
            if counts.len() <= depth {
                counts.resize(depth + 1, [0; 2]);
            }
            counts[depth][usize::from(pixel.off <= self.like)] += 1;
        }
        // The first pixel is blended with the ground.
        let width = (2..counts.len()).find(|&depth| counts[depth][0] > counts[depth][1])?;
        #[expect(clippy::cast_precision_loss, reason = "depths in pixels")]
        let (width, deepest) = (width as f64, counts.len() as f64);
        (width <= WIDEST * deepest).then_some(width)
    }
}

/// The middle of colours, each of the three numbers for itself, and the distance from it that half of them keep.
fn middle(colours: Vec<[f32; 3]>) -> Option<([f32; 3], f32)> {
    let half = colours.len() / 2;
    if colours.is_empty() {
        return None;
    }
    let of = |k: usize| {
        let mut values: Vec<f32> = colours.iter().map(|colour| colour[k]).collect();
        *values.select_nth_unstable_by(half, f32::total_cmp).1
    };
    let middle = [of(0), of(1), of(2)];
    let mut off: Vec<f32> = colours.iter().map(|colour| distance(*colour, middle)).collect();
    Some((middle, *off.select_nth_unstable_by(half, f32::total_cmp).1))
}

/// How far each cell of the shape lies from everything else, in parts of a pixel: 3 a step to a side, 4 a step to a corner
/// (G. Borgefors, "Distance transformations in digital images", 1986). Cells beside it have 3.
fn depths(grid: &Grid) -> Vec<u16> {
    let width = grid.width();
    let mut depths: Vec<u16> = grid.places().map(|(cell, ..)| if cell == Cell::Shape { u16::MAX } else { 0 }).collect();
    let count = depths.len();
    // The rim of a grid is free, so that every cell of the shape has all its neighbours.
    let inner = width + 1..count - width - 1;
    for i in inner.clone() {
        let least = [(i - 1, 3), (i - width, 3), (i - width - 1, 4), (i - width + 1, 4)];
        depths[i] = least.iter().map(|&(k, step)| depths[k].saturating_add(step)).fold(depths[i], u16::min);
    }
    for i in inner.rev() {
        let least = [(i + 1, 3), (i + width, 3), (i + width + 1, 4), (i + width - 1, 4)];
        depths[i] = least.iter().map(|&(k, step)| depths[k].saturating_add(step)).fold(depths[i], u16::min);
    }
    depths
}
