//! Arcs of circles in outlines: found, measured and made exact.
//!
//! Makers punch circles instead of cutting them and draw arcs with a compass. An outline fitted to noisy points only
//! follows them, so what follows an arc throughout is replaced by that arc, and its neighbours are made to meet it.

mod build;
mod circle;
#[cfg(test)]
mod tests;

use std::f64::consts::{FRAC_PI_3, PI, TAU};

use circle::{STEPS, Samples, Tangent, exact};
use kurbo::{BezPath, CubicBez, ParamCurve, ParamCurveDeriv, PathEl, PathSeg, Point, Shape, Vec2};

use crate::space::{Path, Space};

/// Edges whose directions differ by more than this meet in a corner, in radians: 3°. Fitted curves joined smoothly
/// differ by rounding only, hand-made ones by a degree.
const CORNER: f64 = 3.0 * PI / 180.0;
/// Least radius in tolerances. A band of ± one tolerance about a smaller circle also holds ellipses that are 8 % longer
/// than wide, and no one would call these round: at a tolerance of 0.1 px a dot of 5 px is not known to be a circle.
const LEAST_RADIUS: f64 = 25.0;
/// Least sagitta in tolerances: a sixth of it may then be chance, so the radius is known to about a sixth or better.
const LEAST_SAGITTA: f64 = 6.0;
/// Least sweep between two breaks, in radians: 28°, so that noise does not lose arcs of 30°. Below, a parabola or
/// an ellipse would do as well.
const LEAST_SWEEP: f64 = 28.0 * PI / 180.0;
/// Least sweep within a smooth run, in radians: 120°. No break tells where such an arc ends, and every smooth curve is
/// close to a circle for a while.
const LEAST_PART: f64 = 120.0 * PI / 180.0;
/// An arc within a smooth run stays within this part of the tolerance: clearly within, yet above the noise of the fit.
const CLEAR: f64 = 0.6;
/// Lines shorter than this many tolerances may interrupt an arc: the leavings of a fit, not edges.
const TINY: f64 = 10.0;
/// Lines shorter than this many tolerances do not tell a direction well enough to hold an arc to it.
const TELLING: f64 = 20.0;
/// Sweep of one cubic at most, in radians. Cubics of 60° stay within 2.4e-5 of the radius, of 90° only within 2.7e-4.
const SPAN: f64 = FRAC_PI_3;
/// Rounding, as part of the size of a loop or radius: what differs less is equal.
const ROUNDING: f64 = 1e-9;
/// The outline may turn aside from an arc by this many tolerances in a radius before it counts as leaving. Turned back
/// there, a curve moves by some part of a tolerance over a handle of a third of the radius.
const ASIDE: f64 = 0.7;
/// An exact arc is kept unless one this many times as long is found, so that chance does not redo what was done.
const LONGER: f64 = 1.05;
/// Step along an edge when looking for the end of an arc, as a part of the edge.
const STEP: f64 = 1.0 / 32.0;
/// Halvings of a step until the end is known to rounding.
const HALVINGS: usize = 45;

/// A circle, or an arc of one, that an outline follows. Lengths are in units of `S`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Round<S> {
    /// The centre of the circle.
    pub centre: crate::space::Point<S>,
    /// The radius of the circle.
    pub radius: f64,
    /// Where the arc starts, in radians clockwise on the screen from the x axis.
    pub start: f64,
    /// How far the arc goes, in radians, with sign; ±2π for a whole circle.
    pub sweep: f64,
    /// Root mean square distance of the former outline from the circle.
    pub rms: f64,
    /// Greatest distance of the former outline from the circle.
    pub worst: f64,
}

impl<S> Round<S> {
    /// Whether it is a whole circle, which can be punched.
    pub fn is_whole(&self) -> bool {
        self.sweep.abs() > TAU - ROUNDING
    }
}

/// A [`Round`] whose space does not matter.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Arc {
    centre: Point,
    radius: f64,
    start: f64,
    sweep: f64,
    rms: f64,
    worst: f64,
}

impl Arc {
    /// The arc as cubics from `first` to `last`, which lie on its circle.
    ///
    /// Handles of 4/3 tan(φ/4) radii let the middle of each cubic lie on the circle too (M. Goldapp 1991).
    fn cubics(&self, first: Point, last: Point) -> Vec<PathSeg> {
        let count = (1..64).find(|&count| self.sweep.abs() <= SPAN * f64::from(count) + ROUNDING).unwrap_or(64);
        let step = self.sweep / f64::from(count);
        let spoke = |k: i32| self.radius * Vec2::from_angle(self.start + step * f64::from(k));
        let node = |k: i32| match k {
            0 => first,
            k if k == count => last,
            k => self.centre + spoke(k),
        };
        let handle = |k: i32| 4.0 / 3.0 * (step / 4.0).tan() * spoke(k).turn_90();
        let cubic = |k| CubicBez::new(node(k), node(k) + handle(k), node(k + 1) - handle(k + 1), node(k + 1));
        (0..count).map(|k| PathSeg::Cubic(cubic(k))).collect()
    }

    /// Direction of travel at a point of the arc.
    fn direction(&self, at: Point) -> Vec2 {
        (at - self.centre).normalize().turn_90() * self.sweep.signum()
    }

    fn sagitta(&self) -> f64 {
        self.radius * (1.0 - (self.sweep.abs().min(TAU) / 2.0).cos())
    }
}

/// `path` with every recognised arc made exact (cubics within a ten-thousandth of the radius of the true circle), and
/// the arcs in the order of the path. The outline moves by `tolerance` at most, in units of `S`.
///
/// Loops that hold no arc, or only exact ones, stay as they are, and so do open ones.
pub fn rounded<S: Space>(path: &Path<S>, tolerance: f64) -> (Path<S>, Vec<Round<S>>) {
    let (path, found) = arcs(path.raw(), tolerance);
    let round = |arc: &Arc| {
        let Arc { centre, radius, start, sweep, rms, worst } = *arc;
        Round { centre: centre.into(), radius, start, sweep, rms, worst }
    };
    (Path::new(path), found.iter().map(round).collect())
}

fn arcs(path: &BezPath, tolerance: f64) -> (BezPath, Vec<Arc>) {
    let (mut out, mut found) = (BezPath::new(), Vec::new());
    for elements in path.elements().chunk_by(|_, next| !matches!(next, PathEl::MoveTo(_))) {
        let rounded = Loop::new(elements, tolerance).and_then(|outline| outline.rounded());
        let (edges, arcs) = rounded.unwrap_or_default();
        match edges.first() {
            Some(first) => {
                out.move_to(first.start());
                out.extend(edges.iter().map(PathSeg::as_path_el));
                out.close_path();
            }
            None => out.extend(elements.iter().copied()),
        }
        found.extend(arcs);
    }
    (out, found)
}

/// A closed loop. Places along it are numbers: the index of an edge plus the parameter on it. They may run past the
/// number of edges, into the next round.
struct Loop {
    edges: Vec<PathSeg>,
    tolerance: f64,
}

/// A stretch of a loop and the arc it follows.
#[derive(Clone, Copy, Debug)]
struct Claim {
    from: f64,
    to: f64,
    arc: Arc,
    /// The stretch already is the arc, as after a former call.
    exact: bool,
}

/// Edges of a new loop and the arcs in it; no edges if the old ones remain.
type Rounded = (Vec<PathSeg>, Vec<Arc>);

impl Loop {
    /// `None` for what is no closed loop of finite numbers with an extent.
    fn new(elements: &[PathEl], tolerance: f64) -> Option<Self> {
        let closed = elements.iter().position(|e| matches!(e, PathEl::ClosePath)) == Some(elements.len() - 1);
        let bounds = elements.bounding_box();
        let size = bounds.width() + bounds.height();
        let sound = tolerance > 0.0 && tolerance.is_finite() && size > 0.0 && size.is_finite();
        let extent = |e: &PathSeg| {
            let cubic = e.to_cubic();
            [cubic.p1, cubic.p2, cubic.p3].iter().map(|p| p.distance(cubic.p0)).fold(0.0, f64::max)
        };
        let edges: Vec<_> = kurbo::segments(elements.iter().copied())
            .filter(|e| extent(e).is_nan() || extent(e) > ROUNDING * size)
            .collect();
        let finite = edges.iter().all(|e| e.is_finite());
        (closed && sound && finite && !edges.is_empty()).then_some(Self { edges, tolerance })
    }

    /// The loop with its arcs made exact; `None` if there are none.
    fn rounded(&self) -> Option<Rounded> {
        let mut claims = self.claims();
        claims.sort_by(|a, b| a.from.total_cmp(&b.from));
        self.join(&mut claims);
        while !claims.is_empty() {
            if claims.iter().all(|claim| claim.exact) {
                return Some((Vec::new(), claims.iter().map(|claim| claim.arc).collect()));
            }
            match self.build(&claims) {
                Ok(rounded) => return Some(rounded),
                Err(failed) => claims.remove(failed),
            };
        }
        None
    }

    fn count(&self) -> f64 {
        self.edges.len() as f64
    }

    /// The edge at a place, and the parameter on it.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "reduced to the number of edges")]
    fn edge(&self, place: f64) -> (PathSeg, f64) {
        let place = place.rem_euclid(self.count());
        (self.edges[place.floor() as usize % self.edges.len()], place.fract())
    }

    fn point(&self, place: f64) -> Point {
        let (edge, t) = self.edge(place);
        edge.eval(t)
    }

    /// The edges between two places; those cut by them are divided there.
    fn stretch(&self, from: f64, to: f64) -> Vec<PathSeg> {
        let mut pieces = Vec::new();
        let mut place = from;
        while place < to {
            let (edge, t) = self.edge(place);
            let end = (t + to - place).min(1.0);
            pieces.push(if t > 0.0 || end < 1.0 { edge.subsegment(t..end) } else { edge });
            place = place.floor() + 1.0;
        }
        pieces
    }

    /// Whether the loop goes on in the same direction at a place.
    fn smooth(&self, place: f64) -> bool {
        let (after, t) = self.edge(place);
        t > 0.0 || {
            let (before, _) = self.edge(place - 1.0);
            turn(ends(&before).1, ends(&after).0) <= CORNER
        }
    }

    fn short(&self, line: &PathSeg) -> bool {
        line.start().distance(line.end()) <= TINY * self.tolerance
    }

    /// What follows an arc, in no order and without overlap.
    fn claims(&self) -> Vec<Claim> {
        let count = self.count();
        let bridged = |from, to| self.stretch(from, to).iter().all(|e| !is_line(e) || self.short(e));
        if bridged(0.0, count)
            && let Some(whole) = self.claim(0.0, count)
        {
            return vec![whole];
        }
        let mut runs = self.runs();
        if runs.is_empty() && bridged(0.0, count) {
            return self.parts(0.0, count);
        }
        let mut k = 0;
        while runs.len() > 1 && k < runs.len() {
            let next = (k + 1) % runs.len();
            let round = if next == 0 { count } else { 0.0 };
            let (from, to) = (runs[k].0, runs[next].1 + round);
            if to - from < count && bridged(runs[k].1, runs[next].0 + round) && self.claim(from, to).is_some() {
                runs[k].1 = to;
                runs.remove(next);
                k -= usize::from(next < k);
            } else {
                k += 1;
            }
        }
        runs.iter().flat_map(|&(from, to)| self.arcs(from, to)).collect()
    }

    /// The arc that a run is, or the arcs that are parts of it.
    fn arcs(&self, from: f64, to: f64) -> Vec<Claim> {
        self.claim(from, to).map_or_else(|| self.parts(from, to), |claim| vec![claim])
    }

    /// The smooth runs of curves between breaks: corners and lines. None if there is no break.
    fn runs(&self) -> Vec<(f64, f64)> {
        let count = self.edges.len();
        let curved = |k: usize| !is_line(&self.edges[k % count]);
        let breaks = |k: usize| !curved(k + count - 1) || !curved(k) || !self.smooth(k as f64);
        let starts = (0..count).filter(|&k| curved(k) && breaks(k));
        starts
            .map(|k| {
                let end = (k + 1..k + count).find(|&end| breaks(end)).unwrap_or(k + count);
                (k as f64, end as f64)
            })
            .collect()
    }

    /// The claim of a stretch that follows an arc as a whole.
    fn claim(&self, from: f64, to: f64) -> Option<Claim> {
        let pieces = self.stretch(from, to);
        if let Some(arc) = exact(&pieces).filter(|arc| self.evident(arc, LEAST_SWEEP)) {
            return Some(Claim { from, to, arc, exact: true });
        }
        let outline = Samples::new(&pieces);
        let free = outline.circle()?;
        let (before, after) = self.neighbours(from, to);
        // A circle tangent to its neighbours leaves them in their direction, so that is tried first.
        [(before, after), (before, None), (None, after), (None, None)].into_iter().find_map(|(before, after)| {
            let lines: Vec<_> = before.into_iter().chain(after).collect();
            let arc = outline.refined(free, &lines).and_then(|arc| outline.measured(arc))?;
            let fits = arc.worst <= self.tolerance && self.evident(&arc, LEAST_SWEEP);
            fits.then_some(Claim { from, to, arc, exact: false })
        })
    }

    /// The lines that a stretch joins smoothly and that are long enough to tell a direction.
    fn neighbours(&self, from: f64, to: f64) -> (Option<Tangent>, Option<Tangent>) {
        let tangent = |place: f64, line: f64| {
            let (line, _) = self.edge(line);
            let telling = is_line(&line) && line.start().distance(line.end()) >= TELLING * self.tolerance;
            let joined = to - from < self.count() && place.fract() == 0.0 && self.smooth(place);
            (telling && joined).then(|| Tangent::Line(line.start(), ends(&line).0))
        };
        (tangent(from, from - 1.0), tangent(to, to))
    }

    /// Arcs that follow each other smoothly made tangent to each other: lesser ones to greater and exact ones.
    fn join(&self, claims: &mut [Claim]) {
        let count = claims.len();
        let rank = |claim: &Claim| if claim.exact { f64::INFINITY } else { claim.arc.sweep.abs() };
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by(|&a, &b| rank(&claims[b]).total_cmp(&rank(&claims[a])));
        for (done, &k) in order.iter().enumerate() {
            let Claim { from, to, arc, exact } = claims[k];
            let (before, after) = ((k + count - 1) % count, (k + 1) % count);
            let joined = |left: usize, right: usize| {
                let round = if right <= left { self.count() } else { 0.0 };
                let (end, start) = (claims[left].to, claims[right].from);
                self.smooth(end) && self.smooth(start) && self.adjoin(end, start + round)
            };
            let held = [(before, before, k), (after, k, after)].into_iter();
            let held = held.filter(|&(other, left, right)| order[..done].contains(&other) && joined(left, right));
            let mut tangents: Vec<_> = held.map(|(other, ..)| Tangent::Circle(claims[other].arc)).collect();
            if exact || tangents.is_empty() {
                continue;
            }
            let (first, last) = self.neighbours(from, to);
            tangents.extend(first.into_iter().chain(last));
            let outline = Samples::new(&self.stretch(from, to));
            let moved = outline.refined(arc, &tangents).and_then(|arc| outline.measured(arc));
            if let Some(moved) = moved.filter(|moved| moved.worst <= self.tolerance) {
                claims[k].arc = moved;
            }
        }
    }

    /// Whether an arc is large enough to be told from other curves.
    fn evident(&self, arc: &Arc, sweep: f64) -> bool {
        arc.radius >= LEAST_RADIUS * self.tolerance
            && arc.sagitta() >= LEAST_SAGITTA * self.tolerance
            && arc.sweep.abs() >= sweep
    }

    /// The arcs that are parts of a smooth run, best first.
    fn parts(&self, from: f64, to: f64) -> Vec<Claim> {
        let (former, part) = (self.former(from, to), self.part(from, to));
        let sweep = |claim: &Claim| claim.arc.sweep.abs();
        let kept = former.filter(|former| part.as_ref().is_none_or(|part| sweep(part) < LONGER * sweep(former)));
        let Some(claim) = kept.or(part) else { return Vec::new() };
        let rest = if to - from >= self.count() {
            self.parts(claim.to, claim.from + self.count())
        } else {
            [self.arcs(from, claim.from), self.arcs(claim.to, to)].concat()
        };
        rest.into_iter().chain([claim]).collect()
    }

    /// The longest row of whole edges that already is an arc.
    fn former(&self, from: f64, to: f64) -> Option<Claim> {
        let closed = to - from >= self.count();
        let mut best: Option<Claim> = None;
        let mut start = from.ceil();
        while start < to {
            let limit = if closed { start + self.count() } else { to };
            let mut end = start + 1.0;
            while end < limit
                && let Some(arc) = exact(&self.stretch(start, end + 1.0))
            {
                end += 1.0;
                let longer = best.is_none_or(|best| best.arc.sweep.abs() < arc.sweep.abs());
                if longer && self.evident(&arc, LEAST_PART) {
                    best = Some(Claim { from: start, to: end, arc, exact: true });
                }
            }
            start += 1.0;
        }
        best
    }

    /// The longest arc grown from stretches of [`LEAST_PART`] that are like one.
    fn part(&self, from: f64, to: f64) -> Option<Claim> {
        let mut best: Option<Claim> = None;
        let mut done = from;
        for (start, end) in self.seeds(from, to) {
            if end > done
                && let Some(claim) = self.grown((start, end), (from, to))
            {
                done = claim.to;
                if best.is_none_or(|best| best.arc.sweep.abs() < claim.arc.sweep.abs()) {
                    best = Some(claim);
                }
            }
        }
        best
    }

    /// The arc grown from a seed as far as the run allows.
    fn grown(&self, (mut start, mut end): (f64, f64), (from, to): (f64, f64)) -> Option<Claim> {
        let limit = CLEAR * self.tolerance;
        let circle = |start, end| Samples::new(&self.stretch(start, end)).circle().filter(|arc| arc.worst <= limit);
        let mut arc = circle(start, end)?;
        let (middle, half) = (f64::midpoint(start, end), self.count() / 2.0);
        let closed = to - from >= self.count();
        let (first, last) = if closed { (middle - half, middle + half) } else { (from, to) };
        // Circle and ends determine each other, so they are improved in turn until they rest.
        for _ in 0..STEPS {
            let former = (start, end);
            (start, end) = (self.leaving(&arc, middle, first, 0.0)?, self.leaving(&arc, middle, last, 0.0)?);
            arc = circle(start, end)?;
            if (start - former.0).abs() + (end - former.1).abs() < ROUNDING {
                break;
            }
        }
        if !self.evident(&arc, LEAST_PART) {
            return None;
        }
        // Noise turns the outline aside before the end; what that may be is let pass now that the arc is known.
        let aside = ASIDE * self.tolerance / arc.radius;
        let wider = (self.leaving(&arc, middle, first, aside)?, self.leaving(&arc, middle, last, aside)?);
        if let Some(longer) = circle(wider.0, wider.1).filter(|longer| longer.sweep.abs() > arc.sweep.abs()) {
            (start, end, arc) = (wider.0, wider.1, longer);
        }
        Some(Claim { from: start, to: end, arc, exact: false })
    }

    /// Stretches that turn by [`LEAST_PART`] one way, one for every step along a run.
    fn seeds(&self, from: f64, to: f64) -> Vec<(f64, f64)> {
        let step = STEP * 4.0;
        let closed = to - from >= self.count();
        let reach = if closed { to + self.count() } else { to };
        let places: Vec<f64> = (0..).map(|k| from + step * f64::from(k)).take_while(|&place| place <= reach).collect();
        let heading = |place: f64| {
            let (edge, t) = self.edge(place);
            edge.to_cubic().deriv().eval(t).to_vec2()
        };
        let turns: Vec<f64> = places.windows(2).map(|w| between(heading(w[0]), heading(w[1]))).collect();
        let mut seeds = Vec::new();
        for (k, &start) in places.iter().enumerate().take_while(|&(_, &start)| start < to) {
            let mut turned = 0.0;
            for (turn, &end) in turns[k..].iter().zip(&places[k + 1..]) {
                if turned * turn < 0.0 || (closed && end - start > self.count()) {
                    break;
                }
                turned += turn;
                if turned.abs() >= LEAST_PART {
                    seeds.push((start, end));
                    break;
                }
            }
        }
        seeds
    }

    /// Where the loop leaves a circle, on the way from a place on it to `last`: `last` if it does not, else the last
    /// place where it ran along the circle to within an angle; `None` if it ran along it nowhere.
    fn leaving(&self, circle: &Arc, place: f64, last: f64, angle: f64) -> Option<f64> {
        let off = |place| (self.point(place).distance(circle.centre) - circle.radius).abs();
        let outward = |place| {
            let (edge, t) = self.edge(place);
            edge.to_cubic().deriv().eval(t).to_vec2().normalize().dot((edge.eval(t) - circle.centre).normalize())
        };
        let step = STEP.copysign(last - place);
        let mut outer = place;
        while off(outer) <= CLEAR * self.tolerance {
            if (last - outer).abs() <= STEP {
                return Some(last);
            }
            outer += step;
        }
        let side = outward(outer).signum();
        let leaves = |place| side * outward(place) > angle;
        let mut inner = outer;
        while leaves(inner) {
            (outer, inner) = (inner, inner - step);
            if (outer - place) * step <= 0.0 {
                return None;
            }
        }
        for _ in 0..HALVINGS {
            let half = f64::midpoint(inner, outer);
            if leaves(half) { outer = half } else { inner = half }
        }
        let node = inner.round();
        Some(if self.point(node).distance(self.point(inner)) <= self.tolerance { node } else { inner })
    }
}

fn is_line(edge: &PathSeg) -> bool {
    matches!(edge, PathSeg::Line(_))
}

/// Directions in which an edge starts and ends, also where handles have no length.
fn ends(edge: &PathSeg) -> (Vec2, Vec2) {
    let CubicBez { p0, p1, p2, p3 } = edge.to_cubic();
    let first = |directions: [Vec2; 3]| {
        let least = ROUNDING * directions.iter().map(|d| d.hypot()).fold(0.0, f64::max);
        directions.into_iter().find(|d| d.hypot() > least).unwrap_or_default()
    };
    (first([p1 - p0, p2 - p0, p3 - p0]), first([p3 - p2, p3 - p1, p3 - p0]))
}

/// The angle from one direction to another, in radians.
fn between(from: Vec2, to: Vec2) -> f64 {
    from.cross(to).atan2(from.dot(to))
}

/// The angle between two directions without its sign, in radians.
fn turn(from: Vec2, to: Vec2) -> f64 {
    between(from, to).abs()
}

/// An angle brought to ±π.
fn wrapped(angle: f64) -> f64 {
    angle - TAU * (angle / TAU).round()
}
