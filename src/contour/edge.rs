//! Where an edge lies between pixels.
//!
//! Across the edge, along the row or column of pixels that crosses it most squarely, the coverage of the pixels is
//! summed: the sum is the length that lies inside the object. That is exact for a straight edge under any symmetric blur,
//! and needs no interpolation (partial area effect: A. Trujillo-Pino, K. Krissian, M. Alemán-Flores, D. Santana-Cedrés,
//! "Accurate subpixel edge location based on partial area effect", Image and Vision Computing 31, 2013).

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::border::{Cell, Crack, Grid};
use super::course::Stretch;
use super::outline::Measured;
use super::samples::{Colour, Samples, Words, colour};
use super::tone::{self, Scale};
use crate::build_file::Light;

/// Pixels looked at on either side of a crack.
const REACH: usize = 20;
/// Widest half window; blur beyond that is no edge to cut along.
const WIDEST: usize = 12;
/// Cracks on either side from which the direction of the border is taken: longer than the steps of a slanting line.
const TREND: usize = 5;
/// Pixels of a plateau that are averaged: their noise moves the edge by its share times half the window.
const PLATEAU: usize = 6;
/// Edge points closer than this along the way are one.
const LEAST_STEP: f64 = 0.3;
/// Most places in a row that are passed over because they step back.
const PASSED_OVER: usize = 12;
/// What a pixel of the way counts beside one place more.
const LENGTH_COUNTS: f64 = 0.05;
/// What a step back costs where there is no other way on, in places.
const DEAR: f64 = 100.0;
/// Profiles on either side from which it is told how two edges close in on each other.
const WEDGE: usize = 6;
/// Of them, so many tell it.
const FEWEST: usize = 3;
/// Edges that stray from lines by this much, in pixels, are no wedge's.
const UNEVEN: f64 = 0.3;
/// Pixels inwards per pixel along, of an edge that can be measured across another.
const STEEPEST: f64 = 2.0;
/// Neighbours on either side that share their plateau colours, which are noisier than the coverage between them.
const SHARE: usize = 12;
/// Pixels beyond the transition from which a plateau's colour is sure.
const SURE: usize = 3;
/// What changes by so many times what most plateaus do, and by this part of the step between the two, is no plateau.
const SLOPING: f64 = 4.0;
const LEAST_SLOPE: f64 = 0.05;
/// Farthest neighbours that lend their plateaus to where a tip or a notch is too narrow to show any.
const LEND: usize = 200;
/// Least width in pixels between two edges that are measured together, with blur and without.
const LEAST_BLURRED: f64 = 0.8;
const LEAST_SHARP: f64 = 0.3;
/// What stands off the ground by less than this part of what lies before it lies behind a line.
const PALE: f64 = 0.75;
/// Where so many profiles meet a line, all of the edge is drawn as one.
const LINED: f64 = 0.6;
/// Farther than this, in pixels, the measured width is not that of the pixels that are covered more than half.
const UNLIKE: f64 = 2.0;
/// An edge measured together with another lies this near to its crack, in pixels.
const FARTHEST: f64 = 3.5;
/// Standard deviation of edge points between spots, in pixels: that of the sides of pixels, 1/√12.
const UNSURE: f64 = 0.3;
/// Among spots, an edge farther than this from where most are, in pixels, is one of the spots'.
const NEAR: f64 = 0.9;
/// A third of the edges lie within this of each other, in pixels, or nothing is known of where most are.
const DENSE: f64 = 1.0;
/// So many of them: the few at the very end of a tip look along it and see only its edges.
const LENDERS: usize = 24;

/// One line of pixels across the edge. There are thousands, so its numbers are no longer than they must be.
pub(super) struct Line {
    /// Index of its crack in the border.
    crack: usize,
    side: Crack,
    /// Colours from outside to inside; number `REACH` is the pixel inside the crack.
    colours: [Words; 2 * REACH],
    /// First and last of them that belong to this edge.
    first: usize,
    last: usize,
    /// The other edge of the same thin part or narrow notch, if it comes near.
    other: Option<Other>,
}

/// What is seen on a line in one light.
pub(super) struct Profile<'a> {
    pub(super) line: &'a Line,
    /// Of each pixel; not a number where nobody has asked.
    brightness: [f32; 2 * REACH],
    /// First and last pixel that belong to this edge.
    first: usize,
    last: usize,
    /// The one that holds the half-way level.
    centre: usize,
    outside: Colour,
    inside: Colour,
    /// Whether both plateaus are wide enough to be read here.
    sure: bool,
    /// How much the two plateaus change along the profile.
    slope: f64,
    /// Inside is a line with something else behind it; its own colour is sure, however thin it is.
    lined: bool,
    /// How much of each pixel the object covers; not a number where nobody asks.
    coverage: [f32; 2 * REACH],
}

/// A second edge, beyond what is inside or outside the first.
#[derive(Clone, Copy, Debug)]
struct Other {
    /// It bounds the object, which is thin here; else the ground, which is a notch.
    thin: bool,
    /// First and last pixel that belong to the two edges.
    first: usize,
    last: usize,
    /// Pixels between the two edges.
    between: usize,
}

/// Two edges measured together.
#[derive(Clone, Copy, Debug)]
struct Pair {
    /// From the crack, in pixels inwards.
    middle: f64,
    width: f64,
    /// The object lies between them.
    thin: bool,
}

impl Pair {
    /// Where the edge lies whose profile it is, from the crack, in pixels inwards.
    const fn inwards(self) -> f64 {
        if self.thin { self.middle - 0.5 * self.width } else { self.middle + 0.5 * self.width }
    }
}

impl Other {
    /// The pixels with which the nearer and the farther part begin, from outside.
    const fn edges(self) -> (usize, usize) {
        if self.thin { (REACH, REACH + self.between) } else { (REACH - self.between, REACH) }
    }
}

/// The edges along one border, as profiles with plateaus, ready to be measured.
pub(super) struct Edge<'a> {
    pub(super) profiles: Vec<Profile<'a>>,
    /// Half the window in pixels that holds the whole transition.
    pub(super) window: usize,
    /// Width of the transition in pixels, square to the edge: between 10 % and 90 %, median.
    pub(super) width: f64,
}

pub(super) fn plus(a: Colour, b: Colour) -> Colour {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(super) fn minus(a: Colour, b: Colour) -> Colour {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

pub(super) fn dot(a: Colour, b: Colour) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn far(a: Colour, b: Colour) -> f64 {
    far_squared(a, b).sqrt()
}

fn far_squared(a: Colour, b: Colour) -> f64 {
    let d = minus(a, b);
    dot(d, d)
}

#[expect(clippy::cast_precision_loss, reason = "a handful")]
fn mean(colours: &[Words]) -> Colour {
    colours.iter().map(|words| colour(*words)).fold([0.0; 3], plus).map(|v| v / colours.len() as f64)
}

pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// The middle of the narrowest range that holds a third of the values: what lies apart, on whichever side, does not pull at
/// it (D. Andrews and others, Robust Estimates of Location, 1972, there with a half). `None` when that is as wide as what is
/// asked for is exact.
fn densest(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let width = |range: &&[f64]| range[range.len() - 1] - range[0];
    let ranges = values.windows((values.len() / 3).max(1));
    let narrowest = ranges.min_by(|a, b| width(a).total_cmp(&width(b)))?;
    (width(&narrowest) <= DENSE).then(|| narrowest[narrowest.len() / 2])
}

impl<'a> Edge<'a> {
    /// Looks along the `lines` across a border, blended in `light`. `drawn`: the edge may be drawn as a line; not so among
    /// spots, which look like lines here and there.
    pub(super) fn look(border: &[Crack], lines: &'a [Line], light: Light, drawn: bool) -> Self {
        let mut profiles: Vec<Profile> = lines.par_iter().map(Profile::new).collect();
        // The window decides where plateaus are read, plateaus decide how wide the transition is: two rounds settle it.
        let mut window = 4;
        for _ in 0..3 {
            profiles.par_iter_mut().for_each(|p| p.find_plateaus(window, drawn));
            share_plateaus(&mut profiles);
            let axis = Scale::axis(profiles.iter().map(|p| (p.outside, p.inside)));
            profiles.par_iter_mut().for_each(|p| {
                p.cover(axis, light, window);
                p.find_centre(window);
            });
            let along = median(profiles.iter().map(|p| p.transition(window)).collect()).unwrap_or(1.0);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few pixels, not negative")]
            let wanted = (0.9 * along + 0.6).ceil() as usize;
            if wanted == window {
                break;
            }
            window = wanted.clamp(2, WIDEST);
        }
        let across = |p: &Profile| p.transition(window) * squareness(border, p.line.crack);
        let width = median(profiles.iter().map(across).collect()).unwrap_or(1.0);
        Self { profiles, window, width }
    }

    /// What there is to follow, on a ground without spots.
    pub(super) fn measured(&self, border: &[Crack]) -> Measured {
        Measured { points: self.points(border), blur: self.blur(), least_noise: 0.0, soft: self.soft() }
    }

    /// The same among spots.
    pub(super) fn measured_among_spots(&self, border: &[Crack]) -> Measured {
        Measured { points: self.points_near(border), blur: self.blur(), least_noise: UNSURE, soft: 0.0 }
    }

    /// The edge points in the order of the border, without those that step back, as noise makes neighbours do where
    /// rows give way to columns.
    fn points(&self, border: &[Crack]) -> Vec<Point> {
        let pairs: Vec<Option<Pair>> = self.profiles.iter().map(|p| p.pair(self.window)).collect();
        self.in_order(border, |i| {
            let profile = &self.profiles[i];
            let inwards = profile.inwards(self.window)?;
            let drawn = if profile.is_double(self.window) { self.drawn_into_wedge(&pairs, i)? } else { 0.0 };
            Some(profile.at(inwards - drawn))
        })
    }

    /// How far blur moves the middle of a pair that closes in, towards where it is wide, in pixels inwards: in a wedge more
    /// light comes from there. With width w and middle m along the border, blur of variance v adds v/2 times its second
    /// derivative to the moment wm, which is v w′m′ between straight edges. `None` where the farther edge crosses so slantingly
    /// that its transition leaves the window.
    fn drawn_into_wedge(&self, pairs: &[Option<Pair>], i: usize) -> Option<f64> {
        let pair = pairs[i]?;
        let n = pairs.len();
        let reach = WEDGE.min((n - 1) / 2);
        let near = (0..=2 * reach).map(|k| (i + n + k - reach) % n);
        let beside = |k: usize| {
            let (along, deeper) = self.profiles[k].line.beside(self.profiles[i].line)?;
            let other = pairs[k].filter(|other| other.thin == pair.thin)?;
            Some((along, Point::new(other.middle + deeper, other.width)))
        };
        let sides: Vec<(f64, Point)> = near.filter_map(beside).collect();
        if sides.len() < FEWEST {
            return Some(0.0);
        }
        let line = Stretch::fit(&sides, 1)?;
        let (middle, width) = (line.along(0.0).x, line.along(0.0).y);
        let slanting = middle.abs() + 0.5 * width.abs() > STEEPEST;
        (!slanting).then(|| if line.rms < UNEVEN { self.blur() * middle * width / pair.width } else { 0.0 })
    }

    /// The same where spots look like edges: most edges lie about as far from the border of pixels, since that runs beside
    /// them by what blur and light make of it; what is found far from there is taken to lie there.
    fn points_near(&self, border: &[Crack]) -> Vec<Point> {
        let all = self.profiles.iter().filter_map(|profile| profile.inwards(self.window));
        let usual = densest(all.collect()).unwrap_or(0.0);
        self.in_order(border, |i| {
            let profile = &self.profiles[i];
            let near = profile.inwards(self.window).filter(|inwards| (inwards - usual).abs() <= NEAR);
            Some(profile.at(near.unwrap_or(usual)))
        })
    }

    /// Of the places, as many as go ahead one after the other, all around; of two that do not, the one that makes the
    /// shorter way. So it does not matter in which direction they are asked.
    fn in_order(&self, border: &[Crack], place: impl Fn(usize) -> Option<Point>) -> Vec<Point> {
        let start = self.straightest(border);
        let place = |i: usize| Some((place(i)?, trend(border, self.profiles[i].line.crack)));
        let mut all: Vec<(Point, Vec2)> = (start..self.profiles.len()).chain(0..start).filter_map(place).collect();
        // Once more the first, where the ring closes.
        let Some(&first) = all.first() else { return Vec::new() };
        all.push(first);
        let worth = |from: (Point, Vec2), to: (Point, Vec2)| {
            let (step, way) = (to.0 - from.0, from.1 + to.1);
            (step.dot(way) >= LEAST_STEP * way.hypot()).then(|| 1.0 - LENGTH_COUNTS * step.hypot())
        };
        // For each place the best way to it: what it is worth, and the place before.
        let mut best: Vec<(f64, usize)> = Vec::with_capacity(all.len());
        best.push((0.0, 0));
        for (i, &to) in all.iter().enumerate().skip(1) {
            let mut found: Option<(f64, usize)> = None;
            for k in (i.saturating_sub(PASSED_OVER)..i).rev() {
                // One place more is worth 1 at most: most ways need not be looked at.
                let hopeful = found.is_none_or(|(most, _)| best[k].0 + 1.0 > most);
                let way = if hopeful { worth(all[k], to).map(|worth| (best[k].0 + worth, k)) } else { None };
                if way.is_some_and(|(way, _)| found.is_none_or(|(most, _)| way > most)) {
                    found = way;
                }
            }
            best.push(found.unwrap_or((best[i - 1].0 - DEAR, i - 1)));
        }
        let before = |i: &usize| Some(best[*i].1).filter(|_| *i > 0);
        let mut kept: Vec<Point> = std::iter::successors(before(&(all.len() - 1)), before).map(|i| all[i].0).collect();
        kept.reverse();
        kept
    }

    /// The profile around which the border runs straightest: points are sure to be in order there, as they are not at a
    /// tip.
    fn straightest(&self, border: &[Crack]) -> usize {
        let chord = |profile: &Profile| span(border, profile.line.crack, 4 * TREND).hypot2();
        let longest = self.profiles.iter().map(chord).enumerate().max_by(|a, b| a.1.total_cmp(&b.1));
        longest.map_or(0, |(i, _)| i)
    }

    /// The part of the profiles whose transition is much wider than that of the sharper ones.
    fn soft(&self) -> f64 {
        /// Times the lower quartile, and pixels: beyond both, an edge is soft beside the others.
        const TIMES: f64 = 3.0;
        const LEAST: f64 = 4.0;
        /// Neighbours on either side that are as soft, where it is not noise that makes one so.
        const BESIDE: usize = 6;
        let each: Vec<f64> = self.profiles.iter().map(|p| p.transition(WIDEST)).collect();
        let near = |i: usize| &each[i.saturating_sub(BESIDE)..(i + BESIDE + 1).min(each.len())];
        let wide = |near: &[f64]| 2 * near.iter().filter(|width| **width > LEAST).count() >= near.len();
        // Mostly no median is beyond the least, and so none need be found.
        if !(0..each.len()).any(|i| wide(near(i))) {
            return 0.0;
        }
        let mut widths: Vec<f64> = (0..each.len()).filter_map(|i| median(near(i).to_vec())).collect();
        let quarter = widths.len() / 4;
        let sharp = *widths.select_nth_unstable_by(quarter, f64::total_cmp).1;
        let soft = widths.iter().filter(|width| **width > (TIMES * sharp).max(LEAST)).count();
        #[expect(clippy::cast_precision_loss, reason = "counts of profiles")]
        (soft as f64 / widths.len() as f64)
    }

    /// Variance of the blur in square pixels, from the width of the transition: a Gaussian takes 2.56 σ from 10 % to
    /// 90 %, reading between pixel centres adds 1/6, and a pixel by itself has 1/12.
    fn blur(&self) -> f64 {
        ((self.width / 2.56).powi(2) - 1.0 / 6.0).max(1.0 / 12.0)
    }
}

/// Direction of the border at a crack, over its neighbours; not of unit length.
fn trend(border: &[Crack], i: usize) -> Vec2 {
    span(border, i, TREND)
}

/// From `reach` cracks before a crack to as many after it, on a short border fewer.
fn span(border: &[Crack], i: usize, reach: usize) -> Vec2 {
    let n = border.len();
    let reach = reach.min(n / 4);
    let (after, before) = (i + reach, i + n - reach);
    border[if after < n { after } else { after - n }].middle()
        - border[if before < n { before } else { before - n }].middle()
}

/// Whether the border's trend lies within 45° of the crack.
fn squarely(border: &[Crack], i: usize) -> bool {
    let trend = trend(border, i);
    if border[i].out.0 == 0 { trend.x.abs() >= trend.y.abs() } else { trend.y.abs() >= trend.x.abs() }
}

/// Cosine of the angle at which a row or column crosses the border.
fn squareness(border: &[Crack], i: usize) -> f64 {
    let trend = trend(border, i);
    trend.x.abs().max(trend.y.abs()) / trend.hypot().max(1e-12)
}

/// Averages plateaus over neighbours that look alike; where there is none to be read, takes what the nearest ones have.
fn share_plateaus(profiles: &mut [Profile]) {
    let n = profiles.len();
    if n == 0 {
        return;
    }
    line_all(profiles);
    // A row of pixels that leaves through another edge, slantingly, shows no plateau.
    let usual = median(profiles.iter().filter(|p| p.sure).map(|p| p.slope).collect()).unwrap_or(0.0);
    for profile in profiles.iter_mut() {
        profile.sure &= profile.slope <= (SLOPING * usual).max(LEAST_SLOPE * far(profile.outside, profile.inside));
    }
    let both: Vec<Plateaus> =
        profiles.iter().map(|p| Plateaus { colours: (p.outside, p.inside), sure: p.sure }).collect();
    let noise = median((0..n).map(|i| far(both[i].colours.1, both[(i + 1) % n].colours.1)).collect()).unwrap_or(0.0);
    let reach = SHARE.min((n - 1) / 2);
    // Going on around at both ends, so that the neighbours of each stand side by side.
    let around = [&both[n - reach..], &both, &both[..reach]].concat();
    profiles.par_iter_mut().zip(around.par_windows(2 * reach + 1)).enumerate().for_each(|(i, (p, near))| {
        if !p.sure
            && let Some(lent) = lent(&both, i)
        {
            (p.outside, p.inside) = lent;
            return;
        }
        let like = (4.0 * noise).max(0.08 * far(p.outside, p.inside)).powi(2);
        let alike =
            |q: &&Plateaus| far_squared(q.colours.0, p.outside) <= like && far_squared(q.colours.1, p.inside) <= like;
        // Itself at least is among them.
        let mut sums = ([0.0; 3], [0.0; 3], 0.0);
        for Plateaus { colours, .. } in near.iter().filter(|q| q.sure == p.sure).filter(alike) {
            sums = (plus(sums.0, colours.0), plus(sums.1, colours.1), sums.2 + 1.0);
        }
        (p.outside, p.inside) = (sums.0.map(|v| v / sums.2), sums.1.map(|v| v / sums.2));
    });
}

/// Where most of an edge is drawn as a line, a profile that meets none runs along the line of the next side, which tells
/// neither its colour nor where it ends.
fn line_all(profiles: &mut [Profile]) {
    let mut ends: Vec<usize> = profiles.iter().filter(|p| p.lined).map(|p| p.last).collect();
    #[expect(clippy::cast_precision_loss, reason = "counts of profiles")]
    let few = (ends.len() as f64) < LINED * profiles.len() as f64;
    if few || ends.is_empty() {
        return;
    }
    let middle = ends.len() / 2;
    let usual = *ends.select_nth_unstable(middle).1;
    for profile in profiles.iter_mut().filter(|p| !p.lined && p.line.other.is_none()) {
        (profile.lined, profile.sure) = (true, false);
        profile.last = profile.last.min(usual.max(profile.centre));
    }
}

/// The colours on both sides of an edge.
#[derive(Clone, Copy)]
struct Plateaus {
    colours: (Colour, Colour),
    sure: bool,
}

/// What most of the nearest sure plateaus are.
fn lent(both: &[Plateaus], i: usize) -> Option<(Colour, Colour)> {
    let n = both.len();
    let around = (1..=LEND.min(n / 2)).flat_map(|k| [(i + k) % n, (i + n - k) % n]);
    let near: Vec<(Colour, Colour)> = around.filter(|&k| both[k].sure).take(LENDERS).map(|k| both[k].colours).collect();
    let middle = |of: &dyn Fn(&(Colour, Colour)) -> f64| median(near.iter().map(of).collect());
    let mut colours = ([0.0; 3], [0.0; 3]);
    for c in 0..3 {
        (colours.0[c], colours.1[c]) = (middle(&|q| q.0[c])?, middle(&|q| q.1[c])?);
    }
    Some(colours)
}

impl Line {
    /// One across every crack of a closed border that lies squarely enough.
    pub(super) fn across(border: &[Crack], grid: &Grid, samples: &Samples) -> Vec<Self> {
        let free = |crack: &Crack| grid.at(crack.x + crack.out.0, crack.y + crack.out.1) == Cell::Ground;
        let square: Vec<usize> = (0..border.len()).filter(|&i| squarely(border, i) && free(&border[i])).collect();
        square.par_iter().map(|&i| Self::take(i, border[i], grid, samples)).collect()
    }

    /// The line of pixels across `side`, which has ground outside.
    fn take(crack: usize, side: Crack, grid: &Grid, samples: &Samples) -> Self {
        let reach = i64::try_from(REACH).expect("small");
        let cells: [Cell; 2 * REACH] = grid.across(side);
        let start = (side.x + side.out.0 * reach, side.y + side.out.1 * reach);
        let inner = cells[REACH..].iter().take_while(|c| **c == Cell::Shape).count();
        let outer = cells[..REACH].iter().rev().take_while(|c| **c == Cell::Ground).count();
        // Where something else comes near, only the nearer half of the way belongs to this edge.
        let own = |run: usize| if run < REACH { run.div_ceil(2) } else { REACH };
        let beyond_in = cells[REACH + inner..].iter().take_while(|c| **c == Cell::Ground).count();
        let beyond_out = cells[..REACH - outer].iter().rev().take_while(|c| **c == Cell::Shape).count();
        let other = if beyond_in > 0 {
            let last = REACH + inner + beyond_in.div_ceil(2) - 1;
            Some(Other { thin: true, first: REACH - own(outer), last, between: inner })
        } else if beyond_out > 0 {
            let first = REACH - outer - beyond_out.div_ceil(2);
            Some(Other { thin: false, first, last: REACH + own(inner) - 1, between: outer })
        } else {
            None
        };
        Self {
            crack,
            side,
            colours: samples.line(start, (-side.out.0, -side.out.1)),
            first: REACH - own(outer),
            last: REACH + own(inner) - 1,
            other,
        }
    }

    /// Where its crack lies seen from that of another, as [`Crack::beside`] tells.
    pub(super) fn beside(&self, other: &Self) -> Option<(f64, f64)> {
        self.side.beside(&other.side)
    }
}

impl<'a> Profile<'a> {
    const fn new(line: &'a Line) -> Self {
        Self {
            line,
            brightness: [f32::NAN; 2 * REACH],
            first: line.first,
            last: line.last,
            centre: REACH,
            outside: [0.0; 3],
            inside: [0.0; 3],
            sure: true,
            slope: 0.0,
            lined: false,
            coverage: [f32::NAN; 2 * REACH],
        }
    }

    /// The colours between which the edge passes.
    fn find_plateaus(&mut self, window: usize, drawn: bool) {
        let end = self.centre.saturating_sub(window);
        let range = if end > self.first {
            end.saturating_sub(PLATEAU).max(self.first)..end
        } else {
            self.first..self.first + 1
        };
        let start = self.centre + window + 1;
        self.sure = end >= self.first + SURE && start + SURE <= self.last + 1;
        let far_in =
            if start <= self.last { start..self.last.min(start + PLATEAU - 1) + 1 } else { self.last..self.last + 1 };
        let slope = |range: std::ops::Range<usize>| {
            let half = range.len() / 2;
            let (near, beyond) = self.line.colours[range].split_at(half);
            if half == 0 { 0.0 } else { far(mean(near), mean(beyond)) }
        };
        self.slope = slope(range.clone()).max(slope(far_in.clone()));
        self.outside = mean(&self.line.colours[range]);
        let beyond = mean(&self.line.colours[far_in]);
        let near = self.nearest_plateau(window, drawn);
        // A second edge behind the first, as behind an inked line, must not pull at this one.
        self.inside = match near {
            Some((end, colour)) if far(colour, beyond) > 0.15 * far(colour, self.outside) => {
                self.last = self.last.min(end);
                // Where the shape itself is thin, what comes next is the ground.
                self.lined = drawn && self.line.other.is_none();
                colour
            }
            _ => beyond,
        };
        self.sure |= self.lined && end >= self.first + SURE;
    }

    /// The first stretch of even colour inside, or the first peak of the distance from the ground: where it ends and
    /// its colour.
    fn nearest_plateau(&self, window: usize, drawn: bool) -> Option<(usize, Colour)> {
        let stand = |k: usize| far(colour(self.line.colours[k]), self.outside);
        let stop = self.last.min(self.centre + window + 4);
        let step = |k: usize| far(colour(self.line.colours[k]), colour(self.line.colours[k + 1]));
        let mut here = stand(REACH);
        let (mut peak, mut highest) = (REACH, here);
        for k in REACH..stop {
            let even = 0.06 * here;
            let pale = drawn && here < PALE * highest;
            if !pale && k + 2 <= stop && step(k) <= even && step(k + 1) <= even {
                return Some((k + 1, mean(&self.line.colours[k..=k + 2])));
            }
            if here > highest {
                (peak, highest) = (k, here);
            }
            here = stand(k + 1);
            if k > peak && here < PALE * highest {
                return Some((peak, colour(self.line.colours[peak])));
            }
        }
        None
    }

    /// Reads the coverage of the pixels that any sum over `window` may ask for, between the plateaus.
    fn cover(&mut self, axis: Scale, light: Light, window: usize) {
        let scale = axis.between(self.outside, self.inside, light);
        let reach = if self.line.other.is_some() { 3 * window + 4 } else { 2 * window + 5 };
        let range = REACH.saturating_sub(reach)..(REACH + reach).min(2 * REACH);
        let pixels = || self.line.colours[range.clone()].iter();
        #[expect(clippy::cast_possible_truncation, reason = "from samples of 16 bits at most")]
        for (bright, words) in self.brightness[range.clone()].iter_mut().zip(pixels()).filter(|(b, _)| b.is_nan()) {
            *bright = tone::brightness(colour(*words), light) as f32;
        }
        let pixels = pixels().zip(&self.brightness[range.clone()]);
        for (coverage, (words, bright)) in self.coverage[range.clone()].iter_mut().zip(pixels) {
            #[expect(clippy::cast_possible_truncation, reason = "a part of a pixel, from samples of 16 bits at most")]
            let read = scale.coverage(colour(*words), f64::from(*bright)) as f32;
            *coverage = read;
        }
    }

    fn coverage(&self, k: usize) -> f64 {
        f64::from(self.coverage[k])
    }

    /// The pixel with the half-way level that is nearest to the crack.
    fn find_centre(&mut self, window: usize) {
        let range = self.first.max(REACH.saturating_sub(window + 2))..=self.last.min(REACH + window + 2);
        let crosses = |k: usize| k == self.first || (self.coverage(k - 1) < 0.5 && self.coverage(k) >= 0.5);
        let nearest = range.filter(|&k| self.coverage(k) >= 0.5 && crosses(k)).min_by_key(|k| k.abs_diff(REACH));
        self.centre = nearest.unwrap_or(REACH).clamp(self.first, self.last);
    }

    /// First and last pixel of the sum: as far to either side as the nearer limit allows, so that a tail of blur that
    /// is cut off on one side is cut off on the other.
    fn window(&self, window: usize) -> (usize, usize) {
        let room = window.min(self.centre - self.first).min((self.last - self.centre).max(1)).max(1);
        (self.centre - room.min(self.centre), (self.centre + room).min(2 * REACH - 1))
    }

    /// Pixels between 10 % and 90 %, counted in parts.
    fn transition(&self, window: usize) -> f64 {
        let (a, b) = self.window(window);
        let first_above = |level: f64| {
            let k = (a..=b).find(|&k| self.coverage(k) >= level)?;
            let (before, here) = (self.coverage(k.saturating_sub(1)), self.coverage(k));
            #[expect(clippy::cast_precision_loss, reason = "a handful of pixels")]
            let k = k as f64;
            Some(k - if here > before { ((here - level) / (here - before)).clamp(0.0, 1.0) } else { 0.0 })
        };
        match (first_above(0.1), first_above(0.9)) {
            (Some(low), Some(high)) => (high - low).max(0.0),
            #[expect(clippy::cast_precision_loss, reason = "a handful of pixels")]
            _ => (b - a) as f64,
        }
    }

    /// Whether a second edge is so near that their transitions run into one another.
    fn is_double(&self, window: usize) -> bool {
        self.line.other.is_some_and(|o| o.between <= 2 * window + 1)
    }

    /// The second edge, if there is room enough to measure the two together.
    fn two(&self, window: usize) -> Option<Other> {
        let other = self.line.other?;
        let (near, far) = other.edges();
        let least = window.min(3);
        (near >= other.first + least && other.last + 1 >= far + least).then_some(other)
    }

    /// Two edges measured together: the sum over both is the width between them, which blur does not change, and the
    /// middle of the coverage is their middle.
    #[expect(clippy::cast_precision_loss, reason = "a handful of pixels")]
    fn pair(&self, window: usize) -> Option<Pair> {
        let other = self.two(window)?;
        let share = |k: usize| if other.thin { self.coverage(k) } else { 1.0 - self.coverage(k) };
        let (near, far) = other.edges();
        let all = other.first.max(near.saturating_sub(window + 1))..=other.last.min(far + window);
        let (mut middle, mut reach) = (0.0, f64::INFINITY);
        let (mut width, mut more_than_half) = (0.0, 0.0);
        // The border may run wide of a thin part: what is too far from its middle holds nothing but noise.
        for _ in 0..3 {
            let (mut sum, mut moment, mut more) = (0.0, 0.0, 0.0);
            for k in all.clone() {
                let place = k as f64 + 0.5;
                if (place - middle).abs() <= reach {
                    let share = share(k);
                    (sum, moment) = (sum + share, moment + share * place);
                    more += f64::from(u8::from(share > 0.5));
                }
            }
            if sum < LEAST_SHARP {
                return None;
            }
            (width, middle, more_than_half) = (sum, moment / sum, more);
            reach = 0.5 * width + window as f64 + 0.5;
        }
        let least = if window > 2 { LEAST_BLURRED } else { LEAST_SHARP };
        // A row along the end of a bar is covered in part from edge to edge and tells the place of neither.
        if width < least || (width - more_than_half).abs() > UNLIKE {
            return None;
        }
        let pair = Pair { middle: middle - REACH as f64, width, thin: other.thin };
        (pair.inwards().abs() < FARTHEST).then_some(pair)
    }

    /// How deep the edge lies, in pixels inwards of the outermost looked at; `None` where there is no clean edge.
    fn depth(&self, window: usize) -> Option<f64> {
        let (a, b) = self.window(window);
        // Behind a line lies something else, which counts as inside.
        let within = |k: usize| if self.lined && k > self.last { 1.0 } else { self.coverage(k) };
        let sum: f64 = (a..=b).map(within).sum();
        let before = self.coverage(self.centre.checked_sub(1)?);
        let here = self.coverage(self.centre);
        if !sum.is_finite() || here - before < 0.05 {
            return None;
        }
        #[expect(clippy::cast_precision_loss, reason = "a handful of pixels")]
        let (depth, half) = ((b + 1) as f64 - sum, self.centre as f64 + 0.5 - (here - 0.5) / (here - before));
        // The area and the half-way level part where something else lies in the window.
        ((depth - half).abs() < 1.0).then_some(depth)
    }

    /// The place so far inwards of the crack, in pixels.
    fn at(&self, inwards: f64) -> Point {
        #[expect(clippy::cast_precision_loss, reason = "unit steps")]
        let out = Vec2::new(self.line.side.out.0 as f64, self.line.side.out.1 as f64);
        self.line.side.middle() - out * inwards
    }

    /// Distance of each pixel's centre from the crack, in pixels inwards, with its coverage; over the whole window
    /// and one more pixel to either side.
    pub(super) fn coverages(&self, window: usize) -> impl Iterator<Item = (f64, f64)> + '_ {
        let (a, b) = (self.centre.saturating_sub(window + 1), self.centre + window + 1);
        #[expect(clippy::cast_precision_loss, reason = "a handful of pixels")]
        (a.max(self.first)..=b.min(self.last)).map(|k| (k as f64 + 0.5 - REACH as f64, self.coverage(k)))
    }

    /// The edge's depth from the crack, in pixels inwards.
    pub(super) fn inwards(&self, window: usize) -> Option<f64> {
        if self.is_double(window) {
            return self.pair(window).map(Pair::inwards);
        }
        #[expect(clippy::cast_precision_loss, reason = "a constant")]
        self.depth(window).map(|d| d - REACH as f64)
    }
}
