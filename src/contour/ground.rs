//! What the ground looks like, and how far each pixel stands off it.

use rayon::prelude::*;

use super::region::Row;
use super::samples::{LabTable, Samples};

/// Colours within this of a tone are taken for that tone whatever the noise; about ten steps of 255 in mid grey.
const ALIKE: f32 = 0.04;
/// A tone must explain this part of the places looked at, or it may be another object rather than ground.
const LEAST_PART: f64 = 0.2;
/// Bins in which the commonest colour is sought; each as wide as what looks alike.
const BINS_A_UNIT: f32 = 1.0 / ALIKE;
/// Rows that one task works on; the two rows read twice for smoothing cost little then.
const BAND: usize = 64;

/// One colour of the ground, drifting linearly over the picture as light falls off.
#[derive(Clone, Copy, Debug)]
struct Tone {
    /// Value at the picture's origin, change per pixel right, change per pixel down; each for three axes of OKLab.
    plane: [[f32; 3]; 3],
}

impl Tone {
    fn at(&self, x: f32, y: f32) -> [f32; 3] {
        std::array::from_fn(|c| self.plane[0][c] + self.plane[1][c] * x + self.plane[2][c] * y)
    }
}

fn distance(a: [f32; 3], b: [f32; 3]) -> f32 {
    let [p, q, r] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    (p * p + q * q + r * r).sqrt()
}

/// The colours of the ground.
#[derive(Clone, Debug)]
pub(super) struct Ground {
    tones: Vec<Tone>,
    /// Robust standard deviation of its pixels' distance from it.
    pub(super) spread: f32,
    /// The part of the looked-at places that the first tone explains.
    pub(super) plainness: f64,
}

struct Look {
    x: f32,
    y: f32,
    lab: [f32; 3],
}

impl Ground {
    /// Learnt from `places`, of which there is at least one, all on the picture.
    #[expect(clippy::cast_precision_loss, reason = "coordinates and counts stay far below 2^24")]
    pub(super) fn learn(samples: &Samples, table: &LabTable, places: &[(usize, usize)]) -> Self {
        let mut looks: Vec<Look> = places
            .iter()
            .map(|&(x, y)| Look { x: x as f32, y: y as f32, lab: table.get(samples.bytes(x, y)) })
            .collect();
        let whole = looks.len() as f64;
        let mut ground = Self { tones: Vec::new(), spread: 0.0, plainness: 0.0 };
        while ground.tones.len() < 3 && looks.len() as f64 >= LEAST_PART * whole {
            let (tone, spread) = densest(&looks);
            let before = looks.len();
            looks.retain(|l| distance(l.lab, tone.at(l.x, l.y)) > ALIKE.max(3.0 * spread));
            let part = (before - looks.len()) as f64 / whole;
            if ground.tones.is_empty() {
                ground.plainness = part;
            } else if part < LEAST_PART {
                break;
            }
            ground.spread = ground.spread.max(spread);
            ground.tones.push(tone);
        }
        ground
    }

    /// Keeps only the tone that explains most, where the ground is known to be plain.
    pub(super) fn plain(mut self) -> Self {
        self.tones.truncate(1);
        self
    }
}

/// The commonest colour, with its drift over the picture, and the spread around it.
fn densest(looks: &[Look]) -> (Tone, f32) {
    #[expect(clippy::cast_possible_truncation, reason = "a colour's coordinates stay within ±1")]
    let bin = |l: &Look| l.lab.map(|v| (v * BINS_A_UNIT).round() as i16);
    let mut bins = std::collections::BTreeMap::new();
    for look in looks {
        *bins.entry(bin(look)).or_insert(0_usize) += 1;
    }
    let (&mode, _) = bins.iter().max_by_key(|(_, n)| **n).expect("there is a place to look at");
    let seed = mode.map(|v| f32::from(v) / BINS_A_UNIT);
    let mut tone = Tone { plane: [seed, [0.0; 3], [0.0; 3]] };
    let mut spread = ALIKE / 3.0;
    for round in 0..6 {
        let cut = ALIKE.max(3.0 * spread);
        let near: Vec<&Look> = looks.iter().filter(|l| distance(l.lab, tone.at(l.x, l.y)) <= cut).collect();
        if near.is_empty() {
            break;
        }
        tone = fit_plane(&near, round > 1).unwrap_or(tone);
        let mut off: Vec<f32> = near.iter().map(|l| distance(l.lab, tone.at(l.x, l.y))).collect();
        let middle = off.len() / 2;
        let (_, &mut median, _) = off.select_nth_unstable_by(middle, f32::total_cmp);
        // A spread beyond twice what looks alike is no ground colour any more but a mixture.
        spread = (1.4826 * median).min(2.0 * ALIKE);
    }
    (tone, spread)
}

/// Least squares of colour against place; level when the places do not span the plane or `drift` is not wanted.
fn fit_plane(looks: &[&Look], drift: bool) -> Option<Tone> {
    let mut normal = nalgebra::Matrix3::<f64>::zeros();
    let mut right = nalgebra::Matrix3::<f64>::zeros();
    for look in looks {
        let place = nalgebra::Vector3::new(1.0, f64::from(look.x), f64::from(look.y));
        let lab = nalgebra::RowVector3::from(look.lab.map(f64::from));
        normal += place * place.transpose();
        right += place * lab;
    }
    #[expect(clippy::cast_possible_truncation, reason = "colours need no more than f32")]
    let row = |m: &nalgebra::Matrix3<f64>, r: usize| std::array::from_fn(|c| m[(r, c)] as f32);
    if !drift || looks.len() < 200 {
        let mean = right / normal[(0, 0)];
        return Some(Tone { plane: [row(&mean, 0), [0.0; 3], [0.0; 3]] });
    }
    let solved = normal.cholesky()?.solve(&right);
    Some(Tone { plane: [row(&solved, 0), row(&solved, 1), row(&solved, 2)] })
}

/// How far each pixel stands off the ground: distance in OKLab, or alpha for a cut-out picture.
pub(super) struct Field<'a> {
    samples: Samples<'a>,
    table: LabTable,
    ground: Option<Ground>,
    /// Average 3 × 3 pixels first.
    smooth: bool,
}

impl<'a> Field<'a> {
    pub(super) const fn new(samples: Samples<'a>, table: LabTable, ground: Option<Ground>) -> Self {
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
        quiet.map(|p| (5.0 * spread).max(0.5 * p))
    }

    /// The distance that a twentieth of the pixels above `floor` stay below.
    fn palest(&self, clip: &[Row], floor: f32) -> Option<f32> {
        const BINS: usize = 1024;
        let floor = floor.max(0.02);
        let step = (clip.len() / 125).max(1);
        let mut counts = vec![0_usize; BINS];
        let mut line = Line::default();
        for y in (0..clip.len()).step_by(step) {
            for &(from, to) in &clip[y] {
                self.distances(y, from, to, &mut line);
                for &d in line.distances.iter().filter(|d| **d > floor) {
                    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 ≤ d < 4, a bin")]
                    let bin = (d * 512.0) as usize;
                    counts[bin.min(BINS - 1)] += 1;
                }
            }
        }
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
        clip.par_chunks(BAND)
            .enumerate()
            .flat_map_iter(|(band, rows)| {
                let mut line = Line::default();
                let mut row_of = move |y: usize, spans: &Row| {
                    let mut out = Row::new();
                    for &(from, to) in spans {
                        self.distances(y, from, to, &mut line);
                        runs_above(&line.distances, threshold, from, &mut out);
                    }
                    out
                };
                rows.iter().enumerate().map(move |(i, spans)| row_of(band * BAND + i, spans)).collect::<Vec<_>>()
            })
            .collect()
    }

    /// Fills `line.distances` with those of the pixels `from..to` of row `y`.
    fn distances(&self, y: usize, from: usize, to: usize, line: &mut Line) {
        line.distances.clear();
        let Some(ground) = &self.ground else {
            line.distances.extend((from..to).map(|x| f32::from(self.samples.alpha_byte(x, y)) / 255.0));
            return;
        };
        #[expect(clippy::cast_precision_loss, reason = "coordinates stay below 2^24")]
        let off = |lab: [f32; 3], x: usize| {
            let far = |t: &Tone| distance(lab, t.at(x as f32, y as f32));
            // `f32::min` looks for NaN, which costs more than the distance.
            ground.tones.iter().map(far).fold(f32::INFINITY, |least, d| if d < least { d } else { least })
        };
        if !self.smooth {
            line.distances.extend((from..to).map(|x| off(self.table.get(self.samples.bytes(x, y)), x)));
            return;
        }
        let (left, right) = (from.saturating_sub(1), (to + 1).min(self.samples.width));
        let (above, below) = (y.saturating_sub(1), (y + 1).min(self.samples.height - 1));
        [above, y, below]
            .into_iter()
            .for_each(|row| line.hold(row, left, right, |x| self.table.get(self.samples.bytes(x, row))));
        line.columns.clear();
        let [p, q, r] = [above, y, below].map(|row| &line.held[row % 3].colours);
        line.columns.extend(p.iter().zip(q).zip(r).map(|((a, b), c)| std::array::from_fn(|k| a[k] + b[k] + c[k])));
        let columns = &line.columns;
        line.distances.extend((from..to).map(|x| {
            let i = x - left;
            let (p, q, r) = (columns[i.saturating_sub(1)], columns[i], columns[(i + 1).min(columns.len() - 1)]);
            off(std::array::from_fn(|c| (p[c] + q[c] + r[c]) / 9.0), x)
        }));
    }
}

/// Scratch memory for one row, and the colours of the three that were last looked at: rows come one after the other.
#[derive(Default)]
struct Line {
    distances: Vec<f32>,
    columns: Vec<[f32; 3]>,
    /// By row modulo three.
    held: [Held; 3],
}

#[derive(Default)]
struct Held {
    /// Row, first and last column.
    what: Option<(usize, usize, usize)>,
    colours: Vec<[f32; 3]>,
}

impl Line {
    fn hold(&mut self, row: usize, left: usize, right: usize, colour: impl Fn(usize) -> [f32; 3]) {
        let Held { what, colours } = &mut self.held[row % 3];
        if *what != Some((row, left, right)) {
            *what = Some((row, left, right));
            colours.clear();
            colours.extend((left..right).map(colour));
        }
    }
}

fn runs_above(distances: &[f32], threshold: f32, from: usize, out: &mut Row) {
    let mut start = None;
    for (i, &d) in distances.iter().enumerate() {
        match (d >= threshold, start) {
            (true, None) => start = Some(from + i),
            (false, Some(s)) => {
                out.push((s, from + i));
                start = None;
            }
            _ => {}
        }
    }
    if let Some(s) = start {
        out.push((s, from + distances.len()));
    }
}
