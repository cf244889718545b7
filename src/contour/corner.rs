//! Corners: where the ways on both sides, carried on, meet at an angle.

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::course::{Glance, Ring, Stretch, Sums};
use super::spline::drifts;

/// Least turn in radians, about 11°; less is drawn as a bend.
const LEAST_TURN: f64 = 0.2;
/// Least turn where a side is too short to be told from a bend: bars' ends and small squares are meant, not small dots.
const LEAST_SHORT_TURN: f64 = 1.2;
/// Where the chords beside a place turn by less than this part of it, there is no such corner.
const PROMISING: f64 = 0.6;
/// A corner turns at least by this part of what its sides turn by, carried on from where blur lets them be seen.
const LEAST_OF_BEND: f64 = 0.7;
/// Turn beyond which a corner is a tip, in radians: about 65° are left between its sides.
const TIP: f64 = 2.0;
/// Turn of a needle's point: about 20° are left between its sides.
const NEEDLE: f64 = 2.8;
/// Corners closer than this, in pixels, are one.
const ONE_CORNER: f64 = 2.0;
/// Where two whole lines meet, in pixels from where short stretches of them seemed to: beyond, the corner is another.
const FAR_CORNER: f64 = 8.0;
/// How far a side is looked at, in pixels: as far as it keeps to one polynomial, and there is none longer to try.
const REACHES: [f64; 9] = [96.0, 64.0, 44.0, 30.0, 20.0, 14.0, 10.0, 7.0, 5.0];
/// Degrees of sides: sides of a needle, bent by a little noise, may miss each other where straighter ones do not.
const BENT: [usize; 3] = [4, 2, 1];
const STRAIGHT: [usize; 1] = [1];
/// Times as wide as usual that the rounded part is taken to be where no corner is found: the vertex of a sharp tip may stand
/// on its flank, some way before where the other flank begins.
const WIDER: [f64; 2] = [2.5, 5.0];
/// Points from which on a side may be of the highest degree.
const MANY: usize = 16;
/// A turn must be this many times what noise may make of it.
const SURE: f64 = 5.0;
/// Half the width of a tip, in pixels, that still shows as an edge.
const LEAST_WIDTH: f64 = 0.7;
/// Points are hardly ever farther apart than this, in pixels, unless some are missing.
const LONG_STEP: f64 = 1.5;
/// Neighbouring points have some noise in common, which makes less of their number.
const COMMON: f64 = 1.5;
/// Noise is taken to be this at least, in pixels: rounding to 8 bits is no more even than that.
const LEAST_NOISE: f64 = 0.004;
/// A corner between lines turns by so many times what an arc may that keeps as close to it.
const SURELY: f64 = 1.5;
/// Sides drift off a polynomial unseen by this much, in pixels.
const UNSEEN: f64 = 0.03;
/// A corner is found when place and gap change by less than this from one round to the next, in pixels.
const SETTLED: f64 = 0.02;
/// Steps of less than this, in pixels, towards where two courses cross change nothing.
const MET: f64 = 1e-9;
/// Blur reaches this many of its standard deviations.
const BLUR_REACH: f64 = 2.6;

/// A corner and the ways into and out of it.
#[derive(Clone, Debug)]
pub(super) struct Corner {
    pub(super) at: Point,
    /// Arc length of the ring nearest to it.
    pub(super) arc: f64,
    /// Points closer than this along the way are rounded off by blur and tell nothing.
    pub(super) gap: f64,
    /// The sides, each carried on to where it meets the other.
    pub(super) into: Side,
    pub(super) out_of: Side,
    turn: f64,
}

/// A side of a corner.
#[derive(Clone, Debug)]
pub(super) struct Side {
    course: Stretch,
    /// Where on the course the corner is.
    end: f64,
    /// It had to stop at the next corner, so that it cannot be told from a bend.
    short: bool,
}

impl Side {
    /// The place `back` before (or after) the corner.
    pub(super) fn at(&self, back: f64) -> Point {
        self.course.at(self.end + back)
    }

    fn direction(&self) -> Vec2 {
        let along = self.course.along(self.end);
        along / along.hypot().max(1e-12)
    }

    /// By how much the way turns over the last `back` before (or the first after) the corner, in radians.
    fn bend(&self, back: f64) -> f64 {
        let (a, b) = (self.course.along(self.end + back), self.course.along(self.end));
        a.cross(b).atan2(a.dot(b)).abs()
    }
}

impl Corner {
    /// The corner, on a ring of `length`, with a whole straight side, or two, in place of the short stretches from which it was found. `into` and
    /// `out_of`: a line and the place on it that is nearest to the corner.
    pub(super) fn between_lines(
        &self,
        into: Option<(&Stretch, f64)>,
        out_of: Option<(&Stretch, f64)>,
        length: f64,
    ) -> Self {
        let farthest = if into.is_some() && out_of.is_some() { FAR_CORNER } else { ONE_CORNER };
        let line = |line: Option<(&Stretch, f64)>, own: &Side| match line {
            Some((line, end)) => Side { course: line.clone(), end, short: false },
            None => own.clone(),
        };
        let (into, out_of) = (line(into, &self.into), line(out_of, &self.out_of));
        let Some((p, q)) = meet(&into.course, &out_of.course, into.end, out_of.end) else { return self.clone() };
        let at = into.course.at(p);
        if at.distance(self.at) > farthest {
            return self.clone();
        }
        let arc = (self.arc + (at - self.at).dot(self.into.direction())).rem_euclid(length);
        Self { at, arc, into: Side { end: p, ..into }, out_of: Side { end: q, ..out_of }, ..self.clone() }
    }
}

/// One side of a place on the ring.
#[derive(Clone, Copy)]
enum Way {
    Back,
    Forth,
}

/// The points between arc distances `gap` and `reach` from `s`; `near` is a point close by.
fn side(ring: &Ring, near: isize, s: f64, way: Way, gap: f64, reach: f64) -> Vec<(f64, Point)> {
    let half = isize::try_from(ring.len() / 2).expect("fits");
    let mut found = Vec::with_capacity(128);
    let get = |i| ring.get(i);
    match way {
        Way::Back => {
            let before = (near - half + 1..ring.first_from(s - gap)).rev().map(get);
            found.extend(before.take_while(|(t, _)| s - t <= reach));
        }
        Way::Forth => {
            let after = (ring.first_from(s + gap)..near + half).map(get);
            found.extend(after.take_while(|(t, _)| t - s <= reach));
        }
    }
    found
}

/// The corners of a ring, in its order. `blur`: standard deviation of the blur, in pixels.
pub(super) fn corners(ring: &Ring, blur: f64) -> Vec<Corner> {
    if ring.len() < 8 {
        return Vec::new();
    }
    let vertices = vertices(ring, 0.4 + 0.4 * blur + 2.0 * ring.noise);
    let n = vertices.len();
    let least = gap(blur, std::f64::consts::FRAC_PI_2);
    let mut found: Vec<Corner> = (0..n)
        .into_par_iter()
        .filter_map(|k| {
            let s = ring.get(vertices[k]).0;
            // Vertices that blur alone may set belong to this corner.
            let apart = |other: usize| {
                let apart = (ring.get(vertices[other]).0 - s).abs();
                apart.min(ring.length - apart)
            };
            let room = |others: &mut dyn Iterator<Item = usize>| {
                others.map(|other| apart(other % n)).find(|room| *room > least).unwrap_or(ring.length)
            };
            let rooms = [room(&mut (1..n).map(|d| k + n - d)), room(&mut (1..n).map(|d| k + d))];
            let confirmed = |times: f64, all: &[&[usize]]| {
                let expected = if times > 1.0 { LEAST_SHORT_TURN } else { LEAST_TURN };
                if turn(ring, vertices[k], times * least) <= PROMISING * expected {
                    return None;
                }
                let mut flanks =
                    [Way::Back, Way::Forth].map(|way| Flank::new(ring, vertices[k], s, way, times * least));
                all.iter().find_map(|degrees| confirm(&mut flanks, blur, rooms, times, degrees))
            };
            // Noise may bend short sides so that they tell of no corner.
            let close = confirmed(1.0, &[&BENT, &STRAIGHT]);
            let corner = close.or_else(|| WIDER.into_iter().find_map(|times| confirmed(times, &[&BENT])))?;
            if corner.turn < NEEDLE {
                return Some(corner);
            }
            // A little noise in the bend of a needle's sides carries its point far.
            let mut straight = std::iter::once(1.0).chain(WIDER).filter_map(|times| confirmed(times, &[&STRAIGHT]));
            straight.find(|straight| straight.turn > NEEDLE).or(Some(corner))
        })
        .collect();
    found.sort_by(|a, b| a.arc.total_cmp(&b.arc));
    // Both flanks of a needle may tell of its tip, at places farther apart than those along the way.
    let one = |a: &Corner, b: &Corner| {
        let apart = (a.arc - b.arc).abs();
        a.at.distance(b.at) < ONE_CORNER || apart.min(ring.length - apart) < ONE_CORNER
    };
    let mut kept: Vec<Corner> = Vec::new();
    for corner in found {
        match kept.last() {
            Some(last) if one(last, &corner) => {
                if corner.turn > last.turn {
                    kept.pop();
                    kept.push(corner);
                }
            }
            _ => kept.push(corner),
        }
    }
    if kept.len() > 1 && one(&kept[0], &kept[kept.len() - 1]) {
        kept.pop();
    }
    kept
}

/// The points that a polygon within `tolerance` of the ring needs (D. Douglas, T. Peucker, The Canadian Cartographer 10,
/// 1973): every corner is close to one of them.
fn vertices(ring: &Ring, tolerance: f64) -> Vec<isize> {
    let n = ring.len();
    let far_from = |p: Point| {
        let squared = ring.points.iter().map(|q| q.distance_squared(p)).enumerate();
        squared.max_by(|a, b| a.1.total_cmp(&b.1)).expect("a ring has points").0
    };
    let first = far_from(ring.points[0]);
    let second = far_from(ring.points[first]);
    let (first, second) = (first.min(second), first.max(second));
    let mut found = vec![first, second];
    let mut open = vec![(first, second), (second, first + n)];
    while let Some((from, to)) = open.pop() {
        let (a, b) = (ring.points[from % n], ring.points[to % n]);
        let chord = (b - a) / (b - a).hypot().max(1e-12);
        let length = a.distance(b);
        let off = |i: usize| {
            let v = ring.points[if i < n { i } else { i - n }] - a;
            (v - chord * v.dot(chord).clamp(0.0, length)).hypot2()
        };
        let farthest = (from + 1..to).map(|i| (i, off(i))).max_by(|p, q| p.1.total_cmp(&q.1));
        let Some((middle, off)) = farthest else { continue };
        if off > tolerance * tolerance {
            found.push(middle % n);
            open.extend([(from, middle), (middle, to)]);
        }
    }
    found.sort_unstable();
    found.dedup();
    found.into_iter().map(|i| isize::try_from(i).expect("fits")).collect()
}

/// By how much the chords before and after point `near` turn, each from `gap` to twice that along the way, in radians; a half
/// turn where there are too few points to tell.
fn turn(ring: &Ring, near: isize, gap: f64) -> f64 {
    let s = ring.get(near).0;
    let place = |way: Way, gap: f64| {
        let (t, place) = ring.get(match way {
            Way::Back => ring.first_from(s - gap) - 1,
            Way::Forth => ring.first_from(s + gap),
        });
        ((t - s).abs() <= gap + 8.0).then_some(place)
    };
    let chord = |way| Some(place(way, 2.0 * gap)? - place(way, gap)?);
    let (Some(before), Some(after)) = (chord(Way::Back), chord(Way::Forth)) else { return std::f64::consts::PI };
    // Against the way, and with it.
    (-before).cross(after).atan2((-before).dot(after)).abs()
}

/// Along the way from a corner, as far as blur mixes what lies beyond it in.
fn gap(blur: f64, turn: f64) -> f64 {
    let half = 0.5 * (std::f64::consts::PI - turn);
    0.6 + BLUR_REACH * blur / half.min(std::f64::consts::FRAC_PI_4).cos()
}

/// How far blur draws the edge away from a corner: to where half the light is left on the line that halves its angle.
/// For a slit that is 0.674 σ to either side, a little more for a wedge; and where less than a pixel is left of its
/// width, a tip shows no edge.
fn rounding(blur: f64, turn: f64) -> f64 {
    blur.max(LEAST_WIDTH) / (0.5 * (std::f64::consts::PI - turn)).tan().max(0.02)
}

/// The corner near point `near`, if the sides do meet at an angle when they are carried on as curves, close to the ring.
/// `flanks` of that point; `rooms`: arc length to the next vertices before and after. `times`: how much wider than for a right
/// angle the rounded part is taken to be at first; only where it is as usual may the turn be a small one. `degrees` of the
/// sides, in the order in which they are tried.
fn confirm(flanks: &mut [Flank; 2], blur: f64, rooms: [f64; 2], times: f64, degrees: &[usize]) -> Option<Corner> {
    let Flank { ring, near, mut s, gap: mut gap_now, .. } = flanks[0];
    let mut moved;
    let mut flanks = flanks;
    let mut corner = None;
    for round in 0..4 {
        if round > 0 {
            moved = [Way::Back, Way::Forth].map(|way| Flank::new(ring, near, s, way, gap_now));
            flanks = &mut moved;
        }
        let (before, after, (p, q), bent) = degrees.iter().find_map(|&degree| {
            let (before, after) = (flanks[0].carry_on(rooms[0], degree)?, flanks[1].carry_on(rooms[1], degree)?);
            let met = meet(&before.course, &after.course, s, s)?;
            Some((before, after, met, degree > 2))
        })?;
        let (before, after) = (Side { end: p, ..before }, Side { end: q, ..after });
        let at = before.at(0.0);
        let (a, b) = (before.direction(), after.direction());
        let turn = a.cross(b).atan2(a.dot(b)).abs();
        let unsure = before.course.unsure_direction(p).hypot(after.course.unsure_direction(q));
        let (nearest, arc, step) = nearest(ring, near, at);
        // What is rounder than blur makes it is round in truth; but where a sharp tip
        // has no points, nothing shows how round.
        let rounded = (1.1 + turn / std::f64::consts::TAU) * rounding(blur, turn);
        let missing = if turn < TIP { 0.0 } else { (step - LONG_STEP).max(0.0) };
        let farthest = 0.2 + rounded + 3.0 * ring.noise + missing;
        let short = before.short || after.short;
        let least_of_these = if degrees == STRAIGHT {
            // An arc under two lines turns by eight times its distance from where they meet over its length.
            let length = before.course.length().min(after.course.length()) + 2.0 * gap_now;
            (SURELY * 8.0 * farthest / length).min(LEAST_SHORT_TURN)
        } else {
            LEAST_SHORT_TURN
        };
        let small = (short || times > 1.0 || !bent) && turn < least_of_these;
        let bends = LEAST_OF_BEND * (before.bend(-gap_now) + after.bend(gap_now));
        let least = LEAST_TURN.max(SURE * COMMON * unsure * ring.noise).max(bends.min(LEAST_SHORT_TURN));
        if turn < least || small || (round > 0 && nearest > farthest) {
            return None;
        }
        let settled = (arc - s).abs().max((gap(blur, turn) - gap_now).abs()) < SETTLED;
        (s, gap_now) = (arc, gap(blur, turn));
        let arc = arc.rem_euclid(ring.length);
        corner = Some(Corner { at, arc, gap: gap_now, into: before, out_of: after, turn });
        if round > 0 && settled {
            break;
        }
    }
    corner
}

/// Distance and arc length of the place on the ring nearest to `p`, not far from point `near`, and how far apart the
/// points beside it are.
fn nearest(ring: &Ring, near: isize, p: Point) -> (f64, f64, f64) {
    let on_line = |k: isize| {
        let ((s, a), (t, b)) = (ring.get(near + k), ring.get(near + k + 1));
        let along = ((p - a).dot(b - a) / (b - a).hypot2().max(1e-12)).clamp(0.0, 1.0);
        (a.lerp(b, along).distance_squared(p), s + along * (t - s), t - s)
    };
    let (squared, arc, step) = (-30..30).map(on_line).min_by(|a, b| a.0.total_cmp(&b.0)).expect("sixty lines");
    (squared.sqrt(), arc, step)
}

/// What lies to one side of a place on the ring beyond a gap. Several degrees may be asked for one after the other, and all
/// want the same polynomials.
struct Flank<'a> {
    ring: &'a Ring,
    /// A point close by.
    near: isize,
    s: f64,
    way: Way,
    gap: f64,
    /// The points within the longest reach.
    points: Vec<(f64, Point)>,
    /// How many of them the reaches hold, from the longest on, with their sums, and what the polynomials through so many are at
    /// the place, as far as they were asked for.
    counts: Vec<usize>,
    sums: Vec<Sums>,
    glances: Vec<Vec<Glance>>,
}

impl<'a> Flank<'a> {
    fn new(ring: &'a Ring, near: isize, s: f64, way: Way, gap: f64) -> Self {
        let points = side(ring, near, s, way, gap, gap + REACHES[0]);
        let within = |reach: f64| points.partition_point(|(t, _)| (t - s).abs() <= gap + reach);
        let mut counts = REACHES.map(within).to_vec();
        counts.dedup();
        counts.retain(|count| *count > 0);
        let sums = Sums::of_first(&points, &counts);
        Self { ring, near, s, way, gap, points, counts, sums, glances: Vec::with_capacity(REACHES.len()) }
    }

    /// The side as the polynomial that is surest at the place; else as a line through what little there is before the next
    /// vertex, `room` away.
    fn carry_on(&mut self, room: f64, degree: usize) -> Option<Side> {
        let noise = (COMMON * self.ring.noise).max(LEAST_NOISE);
        // With its likely error.
        let mut best: Option<(f64, Stretch)> = None;
        for (i, &count) in self.counts.iter().enumerate() {
            if i == self.glances.len() {
                self.glances.push(self.sums[i].glances(self.s));
            }
            let glances = &self.glances[i];
            let least = best.as_ref().map_or(f64::INFINITY, |(error, _)| *error);
            // The shorter a stretch, the less sure is even its line: no later one can be better.
            if glances.first().is_some_and(|line| (line.unsure * noise).powi(2) >= least) {
                break;
            }
            let true_course = |k: usize| {
                let course = self.sums[i].fit(k + 1)?;
                is_true(&course, &self.points[..count], noise).then_some(course)
            };
            best = surest(glances, count, noise, degree, least)
                .find_map(|(error, k)| Some((error, true_course(k)?)))
                .or(best);
        }
        let found = best.map(|(_, course)| Side { course, end: self.s, short: false });
        found.or_else(|| self.line_before(room))
    }

    fn line_before(&self, room: f64) -> Option<Side> {
        let side = |from: f64, to: f64| side(self.ring, self.near, self.s, self.way, from, to);
        let inner = self.gap.min(0.35 * room);
        let mut points = side(inner, room - inner);
        if points.len() < 2 {
            points = side(0.2 * room, 0.8 * room);
        }
        let course = Stretch::fit(&points, 1)?;
        (course.rms <= 2.0 * self.ring.noise + 0.1).then_some(Side { course, end: self.s, short: true })
    }
}

/// The numbers of polynomials through `count` points that may be true to them, with the square of the likely error of each at the
/// place, which must be below `least`, the surest first: what noise makes of it, and what the next higher degree says it leaves
/// out; that is no surer than the next degree itself.
fn surest(
    glances: &[Glance],
    count: usize,
    noise: f64,
    degree: usize,
    least: f64,
) -> impl Iterator<Item = (f64, usize)> {
    let unsure = |glance: &Glance| (glance.unsure * noise).powi(2);
    let error = |k: usize| {
        let here = &glances[k];
        let Some(next) = glances.get(k + 1) else { return unsure(here) };
        let apart = here.along.cross(next.at - here.at).powi(2) / here.along.hypot2().max(1e-12);
        unsure(here) + apart.max(unsure(next) - unsure(here))
    };
    // Through few points the highest degree only checks the others.
    let highest = if count >= MANY { degree } else { degree.min(BENT[0] - 1) };
    let hopeful = (0..glances.len().min(highest)).filter(|&k| glances[k].rms <= left_over(noise));
    let mut order: Vec<(f64, usize)> = hopeful.map(|k| (error(k), k)).filter(|(error, _)| *error < least).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    order.into_iter()
}

/// What a true course leaves over at most, root mean square.
const fn left_over(noise: f64) -> f64 {
    2.0 * noise + 0.05
}

/// Whether what a course leaves over looks like noise.
fn is_true(course: &Stretch, points: &[(f64, Point)], noise: f64) -> bool {
    let off: Vec<f64> = points.iter().map(|(s, p)| course.off(*s, *p)).collect();
    !drifts(&off, noise, UNSEEN)
}

/// Where two courses cross, as places on both, by Newton's method from `p` and `q`.
fn meet(a: &Stretch, b: &Stretch, p: f64, q: f64) -> Option<(f64, f64)> {
    let (first, second) = (p, q);
    let (mut p, mut q) = (p, q);
    for _ in 0..12 {
        let rest = b.at(q) - a.at(p);
        let (da, db) = (a.along(p), b.along(q));
        let cross = da.cross(db);
        if cross.abs() < 1e-6 {
            return None;
        }
        let (on, back) = (rest.cross(db) / cross, rest.cross(da) / cross);
        (p, q) = (p + on, q + back);
        if (p - first).abs() > 40.0 || (q - second).abs() > 40.0 {
            return None;
        }
        if on.abs().max(back.abs()) < MET {
            break;
        }
    }
    (a.at(p).distance(b.at(q)) < 1e-3).then_some((p, q))
}
