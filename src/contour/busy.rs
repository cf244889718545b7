//! What a loose loop and strokes mark on a ground that is not plain.
//!
//! Object and ground are told apart by the cheapest cut over models of their colours and the contrast between neighbours
//! (C. Rother, V. Kolmogorov, A. Blake, "GrabCut", ACM Transactions on Graphics 23, 2004), on a coarse picture first, then
//! finer and finer in a narrow band around what was found (H. Lombaert, Y. Sun, L. Grady, C. Xu, "A multilevel banded graph
//! cuts method for fast image segmentation", ICCV 2005). Models are histograms: what lies just outside the loop is ground;
//! what lies inside it, less the part of that which ground explains, is object.

use rayon::prelude::*;

use super::SPECK;
use super::cut::{NONE, Network, STEPS};
use super::region::{Regions, Row};
use super::samples::{LabTable, Samples};

/// Pixels of the coarse picture, at most.
const COARSE: usize = 150_000;
/// Width of a bin of the histograms, in OKLab, and how many there are for lightness and for each other axis.
const BIN: f32 = 0.02;
const BINS: [usize; 3] = [52, 40, 40];
/// Part of each model that is spread over all colours: nothing is impossible.
const ANYTHING: f32 = 0.02;
/// Most that one pixel's colour says, as a logarithm of odds.
const LOUDEST: f32 = 4.0;
/// What parting two neighbours of one colour costs, on the same scale.
const PART: f32 = 6.0;
/// Costs in a network are whole numbers.
const WHOLE: f32 = 1000.0;
/// Rounds of cutting and learning the models anew.
const ROUNDS: usize = 3;
/// Objects smaller than this part of the largest are texture; so are holes smaller than this part of it.
const LEAST_ISLAND: usize = 30;
const LEAST_HOLE: usize = 400;
/// Mean odds below which a thin part of the object is none.
const DOUBTFUL: f32 = 2.0;
/// The core of an object is at least this part of it.
const CORE: usize = 4;
/// Of the colours of the ground, the part that the object hardly has.
const OWN_GROUND: f32 = 0.25;

/// What the maker marked, in pixels of the picture.
pub(super) struct Marks<'a> {
    /// The loop's pixels row by row.
    pub(super) clip: &'a [Row],
    pub(super) inside: &'a [(usize, usize)],
    pub(super) outside: &'a [(usize, usize)],
}

/// The part of each row that belongs to the object. `None` when nothing in the loop differs from what is around it.
pub(super) fn rows(samples: Samples, table: &LabTable, marks: &Marks) -> Option<Vec<Row>> {
    let frame = Frame::around(marks.clip, &samples)?;
    let mut level = Level::coarse(&frame, samples, table);
    let known = level.known(marks);
    let mut models = Models::first(&level, &known, marks.inside)?;
    let unknown: Vec<usize> = (0..known.len()).filter(|&i| known[i].is_none()).collect();
    let mut object: Vec<bool> = known.iter().map(|known| *known == Some(true)).collect();
    for _ in 0..ROUNDS {
        level.cut(&unknown, &models, &mut object);
        models = models.learnt(&level, &object);
    }
    level.drop_doubtful(&models, &mut object);
    clean(&mut object, level.width);
    if !object.iter().any(|o| *o) {
        return None;
    }
    while level.step > 1 {
        let coarse = (object, level.width);
        level = level.finer();
        let (finer, band) = level.refined(&coarse);
        object = finer;
        level.fill(&band);
        let known = level.known_of(&band, marks);
        let unknown: Vec<usize> = band.iter().zip(&known).filter(|(_, k)| k.is_none()).map(|(i, _)| *i).collect();
        band.iter().zip(&known).for_each(|(&i, known)| object[i] = known.unwrap_or(object[i]));
        level.cut(&unknown, &models, &mut object);
    }
    Some(level.rows(&object, samples.height))
}

/// The pixels that are looked at.
#[derive(Clone, Copy)]
struct Frame {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
}

impl Frame {
    /// The loop's bounds and a rim to learn the ground from.
    fn around(clip: &[Row], samples: &Samples) -> Option<Self> {
        let rows = clip.iter().enumerate().filter(|(_, row)| !row.is_empty());
        let (top, bottom) = rows.clone().map(|(y, _)| (y, y)).reduce(|a, b| (a.0, b.1))?;
        let sides = rows.filter_map(|(_, row)| Some((row.first()?.0, row.last()?.1)));
        let (left, right) = sides.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))?;
        let rim = ((right - left).max(bottom + 1 - top) / 8).max(8);
        let (x0, y0) = (left.saturating_sub(rim), top.saturating_sub(rim));
        let (x1, y1) = ((right + rim).min(samples.width), (bottom + 1 + rim).min(samples.height));
        Some(Self { left: x0, top: y0, width: x1 - x0, height: y1 - y0 })
    }
}

/// A picture of the frame in which each pixel stands for `step` × `step` of them.
struct Level<'a> {
    samples: Samples<'a>,
    table: &'a LabTable,
    frame: Frame,
    step: usize,
    width: usize,
    height: usize,
    colours: Vec<[f32; 3]>,
}

impl<'a> Level<'a> {
    fn new(frame: Frame, samples: Samples<'a>, table: &'a LabTable, step: usize) -> Self {
        let (width, height) = (frame.width.div_ceil(step), frame.height.div_ceil(step));
        Self { samples, table, frame, step, width, height, colours: vec![[0.0; 3]; width * height] }
    }

    fn coarse(frame: &Frame, samples: Samples<'a>, table: &'a LabTable) -> Self {
        let pixels = frame.width * frame.height;
        let step = (0..).map(|k| 1 << k).find(|step| pixels / (step * step) <= COARSE).expect("some step is enough");
        let mut level = Self::new(*frame, samples, table, step);
        let all: Vec<usize> = (0..level.colours.len()).collect();
        level.fill(&all);
        level
    }

    fn finer(&self) -> Self {
        Self::new(self.frame, self.samples, self.table, self.step / 2)
    }

    /// The pixels of the picture that pixel `i` stands for.
    fn block(&self, i: usize) -> (std::ops::Range<usize>, std::ops::Range<usize>) {
        let range =
            |at: usize, start: usize, size: usize| start + at * self.step..start + ((at + 1) * self.step).min(size);
        let Frame { left, top, width, height } = self.frame;
        (range(i % self.width, left, width), range(i / self.width, top, height))
    }

    /// Looks at these pixels.
    fn fill(&mut self, wanted: &[usize]) {
        let mean = |i: usize| {
            let (xs, ys) = self.block(i);
            #[expect(clippy::cast_precision_loss, reason = "a small block")]
            let count = (xs.len() * ys.len()) as f32;
            let mut sum = [0.0; 3];
            for y in ys {
                self.samples.row(y, xs.start, xs.end, |rgb| {
                    let lab = self.table.get(rgb);
                    sum.iter_mut().zip(lab).for_each(|(sum, v)| *sum += v);
                });
            }
            sum.map(|v| v / count)
        };
        let found: Vec<[f32; 3]> = wanted.par_iter().with_min_len(256).map(|&i| mean(i)).collect();
        wanted.iter().zip(found).for_each(|(&i, colour)| self.colours[i] = colour);
    }

    /// Whether each pixel is object or ground, as far as that is known.
    fn known(&self, marks: &Marks) -> Vec<Option<bool>> {
        let all: Vec<usize> = (0..self.colours.len()).collect();
        self.known_of(&all, marks)
    }

    fn known_of(&self, pixels: &[usize], marks: &Marks) -> Vec<Option<bool>> {
        let looped = |i: usize| {
            let (xs, ys) = self.block(i);
            let (x, y) = (usize::midpoint(xs.start, xs.end), usize::midpoint(ys.start, ys.end));
            marks.clip[y].iter().any(|&(from, to)| (from..to).contains(&x))
        };
        let mut known: Vec<Option<bool>> = pixels.iter().map(|&i| if looped(i) { None } else { Some(false) }).collect();
        // Pixels are in rising order.
        let mut set = |places: &[(usize, usize)], object: bool| {
            for i in places.iter().filter_map(|place| self.pixel(*place)) {
                if let Ok(at) = pixels.binary_search(&i) {
                    known[at] = Some(object);
                }
            }
        };
        set(marks.outside, false);
        set(marks.inside, true);
        known
    }

    fn pixel(&self, (x, y): (usize, usize)) -> Option<usize> {
        let (x, y) = (x.checked_sub(self.frame.left)? / self.step, y.checked_sub(self.frame.top)? / self.step);
        (x < self.width && y < self.height).then(|| y * self.width + x)
    }

    fn neighbour(&self, i: usize, (dx, dy): (isize, isize)) -> Option<usize> {
        let (x, y) = ((i % self.width).checked_add_signed(dx)?, (i / self.width).checked_add_signed(dy)?);
        (x < self.width && y < self.height).then(|| y * self.width + x)
    }

    /// Tells object and ground anew at the `unknown` pixels of `object`, by the cheapest cut.
    fn cut(&self, unknown: &[usize], models: &Models, object: &mut [bool]) {
        // Zeros take no memory until they are touched, and a band touches few.
        let mut nodes = vec![0_u32; self.colours.len()];
        unknown.iter().zip(1..).for_each(|(&i, node)| nodes[i] = node);
        let node = |i: usize| nodes[i].checked_sub(1);
        let far = |i: usize, j: usize| {
            let [p, q, r] = std::array::from_fn(|c| self.colours[i][c] - self.colours[j][c]);
            p * p + q * q + r * r
        };
        let pairs = unknown.iter().flat_map(|&i| [(1, 0), (0, 1)].map(|step| (i, self.neighbour(i, step))));
        let (sum, count) = pairs
            .filter_map(|(i, j)| j.filter(|&j| node(j).is_some()).map(|j| far(i, j)))
            .fold((1e-9, 1e-9), |(sum, count), far| (sum + far, count + 1.0));
        let contrast = count / (2.0 * sum);
        #[expect(clippy::cast_possible_truncation, reason = "bounded costs")]
        let whole = |cost: f32| (cost * WHOLE) as i32;
        let mut neighbours = vec![[NONE; 8]; unknown.len()];
        let mut costs = vec![[0; 8]; unknown.len()];
        let mut ends: Vec<i32> = unknown.iter().map(|&i| whole(models.odds(self.colours[i]))).collect();
        for (at, &i) in unknown.iter().enumerate() {
            for (d, step) in STEPS.into_iter().enumerate() {
                let Some(j) = self.neighbour(i, step) else { continue };
                let length = if d % 2 == 0 { 1.0 } else { std::f32::consts::SQRT_2 };
                if let Some(other) = node(j) {
                    neighbours[at][d] = other;
                    costs[at][d] = whole(PART * (-contrast * far(i, j)).exp() / length);
                } else {
                    let cost = whole(PART / length);
                    ends[at] += if object[j] { cost } else { -cost };
                }
            }
        }
        let cut = Network::new(neighbours, costs, ends).cut();
        unknown.iter().zip(cut).for_each(|(&i, is)| object[i] = is);
    }

    /// What was found on twice as coarse a picture, and the pixels near its border, in rising order.
    fn refined(&self, (coarse, width): &(Vec<bool>, usize)) -> (Vec<bool>, Vec<usize>) {
        let parent = |i: usize| (i / self.width / 2) * width + i % self.width / 2;
        let height = coarse.len() / width;
        let near = |p: usize| {
            let (x, y) = (p % width, p / width);
            let around = (y.saturating_sub(1)..(y + 2).min(height))
                .flat_map(|q| (x.saturating_sub(1)..(x + 2).min(*width)).map(move |p| q * width + p));
            around.into_iter().any(|q| coarse[q] != coarse[p])
        };
        let border: Vec<bool> = (0..coarse.len()).into_par_iter().map(near).collect();
        let object = (0..self.colours.len()).map(|i| coarse[parent(i)]).collect();
        let band = (0..self.colours.len()).into_par_iter().filter(|&i| border[parent(i)]).collect();
        (object, band)
    }

    /// The object without its rim, or all of it where it is hardly wider than that.
    fn core(&self, object: &[bool]) -> Vec<bool> {
        let inner =
            |i: usize| object[i] && STEPS.into_iter().all(|step| self.neighbour(i, step).is_none_or(|j| object[j]));
        let core: Vec<bool> = (0..object.len()).map(inner).collect();
        let count = |of: &[bool]| of.iter().filter(|is| **is).count();
        if CORE * count(&core) >= count(object) { core } else { object.to_vec() }
    }

    /// Drops thin parts whose colours are hardly the object's: seams of the ground that run up to it.
    fn drop_doubtful(&self, models: &Models, object: &mut [bool]) {
        let core = self.core(object);
        let opened =
            |i: usize| core[i] || STEPS.into_iter().any(|step| self.neighbour(i, step).is_some_and(|j| core[j]));
        let thin: Vec<bool> = (0..object.len()).map(|i| object[i] && !opened(i)).collect();
        let rows: Vec<Row> = thin.chunks(self.width).map(|line| runs(line).collect()).collect();
        for part in Regions::new(&rows, self.width).objects {
            let pixels = part.runs.iter().flat_map(|&(y, from, to)| y * self.width + from..y * self.width + to);
            let (sum, count) =
                pixels.clone().fold((0.0, 0.0), |(sum, n), i| (sum + models.odds(self.colours[i]), n + 1.0));
            if sum < DOUBTFUL * count {
                pixels.for_each(|i| object[i] = false);
            }
        }
    }

    fn rows(&self, object: &[bool], height: usize) -> Vec<Row> {
        let mut rows = vec![Row::new(); height];
        for (line, row) in object.chunks(self.width).zip(&mut rows[self.frame.top..]) {
            *row = runs(line).map(|(from, to)| (from + self.frame.left, to + self.frame.left)).collect();
        }
        rows
    }
}

/// The runs of what is true.
fn runs(line: &[bool]) -> impl Iterator<Item = (usize, usize)> {
    let mut start = 0;
    line.chunk_by(|a, b| a == b).filter_map(move |run| {
        let from = start;
        start += run.len();
        run[0].then_some((from, from + run.len()))
    })
}

/// Drops what is far smaller than the largest part, and fills holes far smaller than it.
fn clean(object: &mut [bool], width: usize) {
    let rows: Vec<Row> = object.chunks(width).map(|line| runs(line).collect()).collect();
    let regions = Regions::new(&rows, width);
    let largest = regions.objects.iter().map(|region| region.area).max().unwrap_or(0);
    let specks = regions.objects.iter().filter(|region| region.area * LEAST_ISLAND < largest).map(|r| (r, false));
    let holes = regions.grounds.iter().filter(|region| region.parent.is_some());
    let holes = holes.filter(|region| region.area * LEAST_HOLE < largest || region.area < SPECK / 4).map(|r| (r, true));
    for (region, is) in specks.chain(holes) {
        region.runs.iter().for_each(|&(y, from, to)| object[y * width + from..y * width + to].fill(is));
    }
}

/// How often each colour occurs.
#[derive(Clone)]
struct Histogram(Vec<f32>);

fn bin(colour: [f32; 3]) -> usize {
    let [l, a, b] = BINS;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "not negative; `as` saturates")]
    let at = |v: f32, bins: usize| ((v / BIN).max(0.0) as usize).min(bins - 1);
    #[expect(clippy::cast_precision_loss, reason = "twenty bins")]
    let signed = |v: f32, bins: usize| at(v + BIN * bins as f32 / 2.0, bins);
    (at(colour[0], l) * a + signed(colour[1], a)) * b + signed(colour[2], b)
}

/// Each bin with a part of its neighbours.
fn mixed(mut bins: Vec<f32>) -> Vec<f32> {
    let strides = [BINS[1] * BINS[2], BINS[2], 1];
    for (size, stride) in BINS.into_iter().zip(strides) {
        let at = |i: usize| {
            let place = i / stride % size;
            let below = if place > 0 { bins[i - stride] } else { bins[i] };
            let above = if place + 1 < size { bins[i + stride] } else { bins[i] };
            0.25 * below + 0.5 * bins[i] + 0.25 * above
        };
        bins = (0..bins.len()).map(at).collect();
    }
    bins
}

impl Histogram {
    /// The parts of one, neighbouring bins mixed a little: few colours are seen, and noise moves them.
    fn of(colours: impl Iterator<Item = [f32; 3]>) -> Self {
        let mut bins = vec![0.0; BINS.iter().product()];
        colours.for_each(|colour| bins[bin(colour)] += 1.0);
        let near = mixed(bins);
        let far = mixed(near.clone());
        // Where a colour is seen often, its neighbours are not to drown it; where it is seen hardly, they speak for it.
        Self(near.into_iter().zip(far).map(|(near, far)| near.max(far)).collect()).whole()
    }

    fn whole(mut self) -> Self {
        let sum: f32 = self.0.iter().sum();
        self.0.iter_mut().for_each(|v| *v /= sum.max(1e-12));
        self
    }
}

/// The colours of object and ground.
struct Models {
    /// Logarithm of the odds for the object, by colour.
    odds: Vec<f32>,
}

impl Models {
    /// What lies in the loop, less what ground explains of it, is object. `None` when ground explains all.
    fn first(level: &Level, known: &[Option<bool>], strokes: &[(usize, usize)]) -> Option<Self> {
        let of = |what: &dyn Fn(usize) -> bool| {
            Histogram::of((0..known.len()).filter(|&i| what(i)).map(|i| level.colours[i]))
        };
        let ground = of(&|i| known[i] == Some(false));
        let within = of(&|i| known[i] != Some(false));
        // How much of the ground is in the loop shows where the object has none of its colours.
        let mut shares: Vec<(f32, f32)> =
            ground.0.iter().zip(&within.0).filter(|(g, _)| **g > 1e-6).map(|(g, w)| (w / g, *g)).collect();
        shares.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut sum = 0.0;
        let share = shares.iter().find(|(_, weight)| {
            sum += weight;
            sum >= OWN_GROUND
        });
        let share = share.map_or(0.0, |(ratio, _)| ratio.clamp(0.0, 0.98));
        let mut object = Histogram(within.0.iter().zip(&ground.0).map(|(w, g)| (w - share * g).max(0.0)).collect());
        if object.0.iter().sum::<f32>() < 1e-3 {
            return None;
        }
        object = object.whole();
        if !strokes.is_empty() {
            let marked = Histogram::of(strokes.iter().filter_map(|p| level.pixel(*p)).map(|i| level.colours[i]));
            object = Histogram(object.0.iter().zip(&marked.0).map(|(o, m)| o + 0.5 * m).collect()).whole();
        }
        Some(Self::of(&object, &ground))
    }

    /// From what was cut. Of the object only its core teaches colours: a seam of the ground that was taken for a thin part of
    /// it would go on to prove itself.
    fn learnt(&self, level: &Level, object: &[bool]) -> Self {
        let part = |wanted: &[bool]| Histogram::of((0..object.len()).filter(|&i| wanted[i]).map(|i| level.colours[i]));
        if !object.contains(&true) || !object.contains(&false) {
            return Self { odds: self.odds.clone() };
        }
        let ground: Vec<bool> = object.iter().map(|object| !object).collect();
        Self::of(&part(&level.core(object)), &part(&ground))
    }

    fn of(object: &Histogram, ground: &Histogram) -> Self {
        #[expect(clippy::cast_precision_loss, reason = "ten thousand bins")]
        let anything = ANYTHING / object.0.len() as f32;
        let odds = object.0.iter().zip(&ground.0);
        Self { odds: odds.map(|(o, g)| ((o + anything) / (g + anything)).ln().clamp(-LOUDEST, LOUDEST)).collect() }
    }

    fn odds(&self, colour: [f32; 3]) -> f32 {
        self.odds[bin(colour)]
    }
}
