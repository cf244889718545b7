//! What the ground looks like, and how far each pixel stands off it.

use rayon::prelude::*;

use super::region::Row;
use super::samples::{LabTable, Samples, finest};

/// Colours within this of a tone are taken for that tone whatever the noise; about ten steps of 255 in mid grey.
const ALIKE: f32 = 0.04;
/// A tone must explain this part of the places looked at, or it may be another object rather than ground.
const LEAST_PART: f64 = 0.2;
/// Bins in which the commonest colour is sought; each as wide as what looks alike.
const BINS_A_UNIT: f32 = 1.0 / ALIKE;
/// A tile, in pixels: where its colours are close together, all of it is ground or none.
const WIDE: usize = 32;
const TALL: usize = 8;
/// Colours that differ by more than this, in steps of 1/255, are not close.
const EVEN: u8 = 48;

/// One colour of the ground, drifting over the picture as light falls off: a polynomial of the second degree.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Tone {
    frame: Frame,
    /// For each term of [`Frame::terms`] what it adds to the three axes of OKLab.
    terms: [[f32; 3]; TERMS],
}

/// 1, u, v, u², uv, v².
const TERMS: usize = 6;

/// Coordinates about 0 and below about 1, in which the terms of a polynomial do not hide each other.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Frame {
    middle: (f32, f32),
    /// A pixel's part of it.
    pixel: f32,
}

impl Frame {
    /// Of a picture of this many pixels.
    #[expect(clippy::cast_precision_loss, reason = "coordinates stay below 2^24")]
    fn of(width: usize, height: usize) -> Self {
        Self { middle: (width as f32 / 2.0, height as f32 / 2.0), pixel: 2.0 / width.max(height) as f32 }
    }

    fn terms(self, x: f32, y: f32) -> [f32; TERMS] {
        let (u, v) = ((x - self.middle.0) * self.pixel, (y - self.middle.1) * self.pixel);
        [1.0, u, v, u * u, u * v, v * v]
    }
}

impl Tone {
    fn at(&self, x: f32, y: f32) -> [f32; 3] {
        let at = self.frame.terms(x, y);
        std::array::from_fn(|c| at.iter().zip(&self.terms).map(|(part, term)| part * term[c]).sum())
    }

    /// Lowers `squares` to the squared distances of the colours that begin at `start` and go right.
    #[expect(clippy::cast_precision_loss, reason = "coordinates stay below 2^24")]
    fn distances(&self, start: (usize, usize), colours: &Colours, squares: &mut [f32]) {
        let (x, y) = (start.0 as f32, start.1 as f32);
        let first = self.at(x, y);
        let [_, u, v, ..] = self.frame.terms(x, y);
        let [_, by_u, _, by_uu, by_uv, _] = self.terms;
        let pixel = self.frame.pixel;
        let slope: [f32; 3] = std::array::from_fn(|c| (by_u[c] + 2.0 * by_uu[c] * u + by_uv[c] * v) * pixel);
        let bend: [f32; 3] = by_uu.map(|by_uu| by_uu * pixel * pixel);
        let [p, q, r] = &colours.0;
        for ((((square, p), q), r), i) in squares.iter_mut().zip(p).zip(q).zip(r).zip(0_i32..) {
            let i = i as f32;
            let off = |c: usize, value: &f32| value - (first[c] + (slope[c] + bend[c] * i) * i);
            let [p, q, r] = [off(0, p), off(1, q), off(2, r)];
            let far = p * p + q * q + r * r;
            // `f32::min` looks for NaN, which costs more than the distance.
            *square = if far < *square { far } else { *square };
        }
    }
}

/// Distance of two colours in OKLab.
pub(super) fn distance(a: [f32; 3], b: [f32; 3]) -> f32 {
    let [p, q, r] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    (p * p + q * q + r * r).sqrt()
}

/// The colours of the ground.
#[derive(Clone, Debug)]
pub(super) struct Ground {
    tones: Vec<Tone>,
    /// Robust standard deviation of its pixels' distance from it.
    pub(super) spread: f32,
    /// The part of the looked-at places that the first tone explains, and that all of them do.
    pub(super) plainness: f64,
    pub(super) explained: f64,
    /// Most places have one and the same colour to the last bit, as only drawings have them.
    pub(super) flat: bool,
}

struct Look {
    x: f32,
    y: f32,
    rgb: [u8; 3],
    /// As the table has it.
    lab: [f32; 3],
}

impl Ground {
    /// Learnt from `places`, of which there is at least one, all on the picture.
    #[expect(clippy::cast_precision_loss, reason = "coordinates and counts stay far below 2^24")]
    pub(super) fn learn(samples: &Samples, table: &LabTable, places: &[(usize, usize)]) -> Self {
        let mut looks: Vec<Look> = places
            .iter()
            .map(|&(x, y)| {
                let rgb = samples.bytes(x, y);
                Look { x: x as f32, y: y as f32, rgb, lab: table.get(rgb) }
            })
            .collect();
        let whole = looks.len() as f64;
        let frame = Frame::of(samples.width, samples.height);
        let mut ground = Self { tones: Vec::new(), spread: 0.0, plainness: 0.0, explained: 0.0, flat: is_flat(&looks) };
        while ground.tones.len() < 3 && looks.len() as f64 >= LEAST_PART * whole {
            let (tone, spread) = densest(&looks, frame);
            let before = looks.len();
            looks.retain(|l| distance(l.lab, tone.at(l.x, l.y)) > ALIKE.max(3.0 * spread));
            let part = (before - looks.len()) as f64 / whole;
            if ground.tones.is_empty() {
                ground.plainness = part;
            } else if part < LEAST_PART {
                break;
            }
            ground.explained += part;
            ground.spread = ground.spread.max(spread);
            ground.tones.push(tone);
        }
        ground
    }

    /// Colours of the ground.
    pub(super) const fn tones(&self) -> usize {
        self.tones.len()
    }

    /// Standard deviation of what neighbours at `places` have in common off the nearest tone: the ground's own spots, since
    /// noise differs from pixel to pixel.
    #[expect(clippy::cast_precision_loss, reason = "coordinates and counts stay far below 2^24")]
    pub(super) fn spots(&self, samples: &Samples, table: &LabTable, places: &[(usize, usize)]) -> f32 {
        /// JPEG gives neighbours closer than this some noise in common.
        const APART: usize = 5;
        let off = |x: usize, y: usize| {
            let lab = table.get(samples.bytes(x, y));
            let far = |tone: &Tone| std::array::from_fn(|c| lab[c] - tone.at(x as f32, y as f32)[c]);
            let all = self.tones.iter().map(far);
            all.min_by(|a: &[f32; 3], b| distance(*a, [0.0; 3]).total_cmp(&distance(*b, [0.0; 3]))).unwrap_or([0.0; 3])
        };
        let pairs = places.iter().filter(|(x, _)| x + APART < samples.width);
        let (sum, count) = pairs.fold((0.0, 1.0), |(sum, count), &(x, y)| {
            let (a, b) = (off(x, y), off(x + APART, y));
            (sum + a[0] * b[0] + a[1] * b[1] + a[2] * b[2], count + 1.0)
        });
        (sum / count).max(0.0).sqrt()
    }

    /// Keeps only the tone that explains most, where the ground is known to be plain.
    pub(super) fn plain(mut self) -> Self {
        self.tones.truncate(1);
        self
    }
}

/// Whether half of the looks have one colour exactly: a camera's noise, even after JPEG or its own smoothing, leaves steps.
fn is_flat(looks: &[Look]) -> bool {
    let mut counts = std::collections::HashMap::new();
    looks.iter().for_each(|look| *counts.entry(look.rgb).or_insert(0_usize) += 1);
    counts.values().any(|count| 2 * count >= looks.len())
}

/// The commonest colour, with its drift over the picture, and the spread around it.
fn densest(looks: &[Look], frame: Frame) -> (Tone, f32) {
    #[expect(clippy::cast_possible_truncation, reason = "a colour's coordinates stay within ±1")]
    let bin = |l: &Look| l.lab.map(|v| (v * BINS_A_UNIT).round() as i16);
    let mut bins = std::collections::BTreeMap::new();
    for look in looks {
        *bins.entry(bin(look)).or_insert(0_usize) += 1;
    }
    let (&mode, _) = bins.iter().max_by_key(|(_, n)| **n).expect("there is a place to look at");
    let seed = mode.map(|v| f32::from(v) / BINS_A_UNIT);
    let mut terms = [[0.0; 3]; TERMS];
    terms[0] = seed;
    let mut tone = Tone { frame, terms };
    let mut spread = ALIKE / 3.0;
    for round in 0..6 {
        let before = (tone, spread);
        let cut = ALIKE.max(3.0 * spread);
        let near: Vec<&Look> = looks.iter().filter(|l| distance(l.lab, tone.at(l.x, l.y)) <= cut).collect();
        if near.is_empty() {
            break;
        }
        tone = fit_drift(&near, frame, round > 1).unwrap_or(tone);
        let mut off: Vec<f32> = near.iter().map(|l| distance(l.lab, tone.at(l.x, l.y))).collect();
        let middle = off.len() / 2;
        let (_, &mut median, _) = off.select_nth_unstable_by(middle, f32::total_cmp);
        // A spread beyond twice what looks alike is no ground colour any more but a mixture.
        spread = (1.4826 * median).min(2.0 * ALIKE);
        // From here on it would go on like this.
        if round > 1 && (tone, spread) == before {
            break;
        }
    }
    (tone, spread.max(finest_spread(looks, &tone, ALIKE.max(3.0 * spread))))
}

/// Robust standard deviation of the looks within `reach` of a tone, in colours finer than the table's: a noise of less than
/// its steps may hide within one of them.
fn finest_spread(looks: &[Look], tone: &Tone, reach: f32) -> f32 {
    /// Enough for a median, and quickly turned into colours.
    const ENOUGH: usize = 1000;
    let near: Vec<&Look> = looks.iter().filter(|l| distance(l.lab, tone.at(l.x, l.y)) <= reach).collect();
    let step = near.len().div_ceil(ENOUGH).max(1);
    let off: Vec<[f32; 3]> = near
        .iter()
        .step_by(step)
        .map(|l| {
            let (lab, tone) = (finest(l.rgb), tone.at(l.x, l.y));
            std::array::from_fn(|c| lab[c] - tone[c])
        })
        .collect();
    let median = |values: &mut Vec<f32>| {
        let middle = values.len() / 2;
        if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f32::total_cmp).1 }
    };
    let middle: [f32; 3] = std::array::from_fn(|c| median(&mut off.iter().map(|o| o[c]).collect()));
    1.4826 * median(&mut off.iter().map(|o| distance(*o, middle)).collect())
}

/// Least squares of colour against place; level when the places are few or `drift` is not wanted.
fn fit_drift(looks: &[&Look], frame: Frame, drift: bool) -> Option<Tone> {
    /// Keeps terms that the places cannot tell apart from growing.
    const RIDGE: f64 = 1e-6;
    #[expect(clippy::cast_precision_loss, reason = "a count of places")]
    let count = looks.len() as f64;
    let solved = if drift && looks.len() >= 200 {
        let mut normal = nalgebra::SMatrix::<f64, TERMS, TERMS>::zeros();
        let mut right = nalgebra::SMatrix::<f64, TERMS, 3>::zeros();
        for look in looks {
            let place = nalgebra::SVector::<f64, TERMS>::from(frame.terms(look.x, look.y).map(f64::from));
            let lab = nalgebra::RowVector3::from(look.lab.map(f64::from));
            normal += place * place.transpose();
            right += place * lab;
        }
        (1..TERMS).for_each(|i| normal[(i, i)] += RIDGE * count);
        normal.cholesky()?.solve(&right)
    } else {
        let sum: nalgebra::RowVector3<f64> =
            looks.iter().map(|look| nalgebra::RowVector3::from(look.lab.map(f64::from))).sum();
        let mut level = nalgebra::SMatrix::<f64, TERMS, 3>::zeros();
        level.set_row(0, &(sum / count));
        level
    };
    #[expect(clippy::cast_possible_truncation, reason = "colours need no more than f32")]
    let term = |r: usize| std::array::from_fn(|c| solved[(r, c)] as f32);
    Some(Tone { frame, terms: std::array::from_fn(term) })
}

/// How far each pixel stands off the ground: distance in OKLab, or alpha for a cut-out picture.
pub(super) struct Field<'a> {
    samples: Samples<'a>,
    table: &'static LabTable,
    ground: Option<Ground>,
    /// Average 3 × 3 pixels first.
    smooth: bool,
}

impl<'a> Field<'a> {
    pub(super) const fn new(samples: Samples<'a>, table: &'static LabTable, ground: Option<Ground>) -> Self {
        Self { samples, table, ground, smooth: false }
    }

    /// The part of each row within `clip` that stands off the ground, and whether anything does.
    pub(super) fn rows(&mut self, clip: &[Row]) -> Option<Vec<Row>> {
        let threshold = self.threshold(clip)?;
        Some(self.above(clip, threshold))
    }

    /// Between ground and object. As low as the noise allows, since an object may have pale parts: half the distance
    /// of its palest twentieth, and above five standard deviations of the ground. `None` when all is ground.
    fn threshold(&mut self, clip: &[Row]) -> Option<f32> {
        let Some(ground) = &self.ground else { return Some(0.5) };
        let spread = ground.spread;
        let quiet = self.palest(clip, 5.0 * spread);
        let noisy = quiet.is_none_or(|palest| 5.0 * spread > 0.5 * palest);
        if spread > 0.004 && noisy {
            self.smooth = true;
            // Nine averaged pixels; half rather than a third, because neighbours in photographs share some noise.
            return self.palest(clip, 2.5 * spread).map(|p| (2.5 * spread).max(0.5 * p));
        }
        // A colour just beyond a step of the table is not yet off the ground.
        quiet.map(|p| (5.0 * spread).max(0.5 * p).max(LabTable::STEP))
    }

    /// The distance that a twentieth of the pixels above `floor` stay below.
    fn palest(&self, clip: &[Row], floor: f32) -> Option<f32> {
        const BINS: usize = 1024;
        let floor = floor.max(0.02);
        let step = (clip.len() / 125).max(1);
        let count = |(mut counts, mut line): (Vec<usize>, Line), i: usize| {
            let y = i * step;
            let sides = self.sides(y, &clip[y..=y], floor);
            for &(from, to) in &clip[y] {
                stretches(&sides, from, to, |side, a, b| {
                    if side == Side::Below {
                        return;
                    }
                    self.distances(y, a, b, &mut line);
                    for &d in line.distances.iter().filter(|d| **d > floor) {
                        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 ≤ d < 4, a bin")]
                        let bin = (d * 512.0) as usize;
                        counts[bin.min(BINS - 1)] += 1;
                    }
                });
            }
            (counts, line)
        };
        let none = || vec![0_usize; BINS];
        let counts = (0..clip.len().div_ceil(step))
            .into_par_iter()
            .fold(|| (none(), Line::default()), count)
            .map(|(counts, _)| counts)
            .reduce(none, |a, b| a.iter().zip(b).map(|(a, b)| a + b).collect());
        let total: usize = counts.iter().sum();
        if total * step < super::SPECK {
            return None;
        }
        let mut below = 0;
        let bin = counts.iter().position(|n| {
            below += n;
            below * 20 >= total
        })?;
        #[expect(clippy::cast_precision_loss, reason = "a bin number below 1024")]
        Some((bin as f32 + 0.5) / 512.0)
    }

    fn above(&self, clip: &[Row], threshold: f32) -> Vec<Row> {
        clip.par_chunks(TALL)
            .enumerate()
            .map_init(Line::default, |line, (i, rows)| {
                let top = i * TALL;
                let sides = self.sides(top, rows, threshold);
                let one = |(k, spans)| self.row_above(top + k, spans, &sides, threshold, line);
                rows.iter().enumerate().map(one).collect::<Vec<_>>()
            })
            .flatten()
            .collect()
    }

    fn row_above(&self, y: usize, spans: &Row, sides: &[Side], threshold: f32, line: &mut Line) -> Row {
        let mut out = Row::new();
        for &(from, to) in spans {
            stretches(sides, from, to, |side, a, b| match side {
                Side::Below => {}
                Side::Above => lengthen(&mut out, (a, b)),
                Side::Mixed => {
                    self.distances(y, a, b, line);
                    runs_above(&line.distances, threshold, a, &mut out);
                }
            });
        }
        out
    }

    /// On which side of `level` the tiles of the rows from `top` on lie, as far as `rows` reach.
    fn sides(&self, top: usize, rows: &[Row], level: f32) -> Vec<Side> {
        let mut sides = vec![Side::Mixed; self.samples.width.div_ceil(WIDE)];
        let ends = rows.iter().filter_map(|row| Some((row.first()?.0, row.last()?.1)));
        let Some((from, to)) = ends.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))) else { return sides };
        let bottom = top + rows.len() - 1;
        for (tile, side) in sides.iter_mut().enumerate().take(to.div_ceil(WIDE)).skip(from / WIDE) {
            *side = self.side(top, bottom, tile * WIDE, level);
        }
        sides
    }

    /// Tells the side of a tile from the least and most of its colours alone, if they are close enough together to.
    fn side(&self, top: usize, bottom: usize, left: usize, level: f32) -> Side {
        let Some([tone]) = self.ground.as_ref().map(|ground| ground.tones.as_slice()) else { return Side::Mixed };
        // With the neighbours that smoothing brings in.
        let rim = usize::from(self.smooth);
        let ys = top.saturating_sub(rim)..=(bottom + rim).min(self.samples.height - 1);
        let (from, to) = (left.saturating_sub(rim), (left + WIDE + rim).min(self.samples.width));
        let Some([low, high]) = self.samples.extent(ys, from, to) else { return Side::Mixed };
        if low.iter().zip(&high).any(|(low, high)| high - low > EVEN) {
            return Side::Mixed;
        }
        let middle = self.table.get(std::array::from_fn(|c| low[c].midpoint(high[c])));
        let corner = |k: usize| self.table.get(std::array::from_fn(|c| if k >> c & 1 == 0 { low[c] } else { high[c] }));
        let reach = (0..8).map(|k| distance(corner(k), middle)).fold(0.0, f32::max);
        #[expect(clippy::cast_precision_loss, reason = "coordinates stay below 2^24")]
        let off = distance(middle, tone.at((left + WIDE / 2) as f32, top as f32));
        // Room for what lies between the corners, and for the tone's drift over the tile.
        let reach = 1.1 * reach + 0.002;
        if off + reach < level {
            Side::Below
        } else if off - reach >= level {
            Side::Above
        } else {
            Side::Mixed
        }
    }

    /// Fills `line.distances` with those of the pixels `from..to` of row `y`.
    fn distances(&self, y: usize, from: usize, to: usize, line: &mut Line) {
        line.distances.clear();
        let Some(ground) = &self.ground else {
            line.distances.extend((from..to).map(|x| f32::from(self.samples.alpha_byte(x, y)) / 255.0));
            return;
        };
        line.distances.resize(to - from, f32::INFINITY);
        if self.smooth {
            self.average(y, from, to, line);
        } else {
            self.look(y, from, to, line.colours.sized(to - from));
        }
        let Line { distances, colours, .. } = line;
        ground.tones.iter().for_each(|tone| tone.distances((from, y), colours, distances));
        distances.iter_mut().for_each(|d| *d = d.sqrt());
    }

    fn look(&self, y: usize, from: usize, to: usize, [p, q, r]: [&mut [f32]; 3]) {
        let mut pixels = p.iter_mut().zip(q).zip(r);
        self.samples.row(y, from, to, |rgb| {
            if let Some(((p, q), r)) = pixels.next() {
                [*p, *q, *r] = self.table.get(rgb);
            }
        });
    }

    /// Fills what is not yet known of `held`, from column `from` to before `to` of row `y`.
    fn hold(&self, y: usize, from: usize, to: usize, held: &mut Held) {
        let width = self.samples.width;
        if held.row != Some(y) {
            held.row = Some(y);
            held.known.clear();
            held.known.resize(width.div_ceil(WIDE), false);
        }
        for tile in from / WIDE..to.div_ceil(WIDE) {
            if !std::mem::replace(&mut held.known[tile], true) {
                let (from, to) = (tile * WIDE, ((tile + 1) * WIDE).min(width));
                self.look(y, from, to, held.colours.sized(width).map(|axis| &mut axis[from..to]));
            }
        }
    }

    /// Fills `line.colours` with the mean of each pixel's 3 × 3 neighbours, the border repeated beyond itself.
    fn average(&self, y: usize, from: usize, to: usize, line: &mut Line) {
        let (left, right) = (from.saturating_sub(1), (to + 1).min(self.samples.width));
        let rows = [y.saturating_sub(1), y, (y + 1).min(self.samples.height - 1)];
        rows.iter().for_each(|&row| self.hold(row, left, right, &mut line.held[row % 3]));
        let [above, here, below] = rows.map(|row| &line.held[row % 3].colours.0);
        let means = line.colours.sized(to - from);
        for (axis, mean) in means.into_iter().enumerate() {
            let [above, here, below] = [above, here, below].map(|colours| &colours[axis][left..right]);
            let sums = &mut line.columns;
            sums.clear();
            // Nothing is left of the first column, or right of the last: they stand there once more.
            let column = |i: usize| above[i] + here[i] + below[i];
            sums.extend((left == from).then(|| column(0)));
            sums.extend(above.iter().zip(here).zip(below).map(|((a, b), c)| a + b + c));
            sums.extend((right == to).then(|| column(right - left - 1)));
            let n = sums.len();
            let near = sums[..n - 2].iter().zip(&sums[1..n - 1]).zip(&sums[2..]);
            mean.iter_mut().zip(near).for_each(|(mean, ((a, b), c))| *mean = (a + b + c) / 9.0);
        }
    }
}

/// On which side of a level the distances of a tile lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Below,
    Above,
    Mixed,
}

/// Gives the stretches of one side between `from` and `to`, with where each begins and ends.
fn stretches(sides: &[Side], from: usize, to: usize, mut give: impl FnMut(Side, usize, usize)) {
    let mut start = from;
    while start < to {
        let side = sides[start / WIDE];
        let same = sides[start / WIDE..].iter().take_while(|s| **s == side).count();
        let end = ((start / WIDE + same) * WIDE).min(to);
        give(side, start, end);
        start = end;
    }
}

/// OKLab of the pixels of a row, axis by axis: the processor works on four of one axis at once.
#[derive(Default)]
struct Colours([Vec<f32>; 3]);

impl Colours {
    fn sized(&mut self, n: usize) -> [&mut [f32]; 3] {
        self.0.each_mut().map(|axis| {
            axis.resize(n, 0.0);
            axis.as_mut_slice()
        })
    }
}

/// Scratch memory for one row, and the colours of the three that were last looked at: rows come one after the other.
#[derive(Default)]
struct Line {
    distances: Vec<f32>,
    colours: Colours,
    columns: Vec<f32>,
    /// By row modulo three.
    held: [Held; 3],
}

#[derive(Default)]
struct Held {
    row: Option<usize>,
    /// Which tiles of the row.
    known: Vec<bool>,
    colours: Colours,
}

fn runs_above(distances: &[f32], threshold: f32, from: usize, out: &mut Row) {
    let mut start = None;
    for (i, &d) in distances.iter().enumerate() {
        match (d >= threshold, start) {
            (true, None) => start = Some(from + i),
            (false, Some(s)) => {
                lengthen(out, (s, from + i));
                start = None;
            }
            _ => {}
        }
    }
    if let Some(s) = start {
        lengthen(out, (s, from + distances.len()));
    }
}

/// Adds a run, to the last one where they touch.
fn lengthen(row: &mut Row, run: (usize, usize)) {
    match row.last_mut() {
        Some(last) if last.1 == run.0 => last.1 = run.1,
        _ => row.push(run),
    }
}
