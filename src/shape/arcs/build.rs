//! A loop with its arcs made exact, and its other edges made to meet them.

use std::f64::consts::{FRAC_PI_3, PI, TAU};

use kurbo::{CubicBez, Line, ParamCurve, ParamCurveArclen, ParamCurveNearest, PathSeg, Point, Vec2};

use super::circle::{EXACT, Samples};
use super::{Arc, Claim, Loop, ROUNDING, Rounded, TINY, ends, is_line, turn, wrapped};

/// Times the ends of a line between two arcs are set in turn. Each gains at least two digits.
const SETTLING: usize = 4;
/// Smooth joints to lines stay smooth to this, in radians: 0.5°.
pub(super) const KINK: f64 = 0.5 * PI / 180.0;
/// A line between corners that turns by more than this, in radians, has lost its ends to its neighbours: 60°. Less is
/// left to the tolerance, as the shortest lines turn most.
const UPSET: f64 = FRAC_PI_3;

impl Loop {
    /// The loop with the claimed stretches, given in their order, replaced. The error is the index of a claim that
    /// cannot be kept.
    pub(super) fn build(&self, claims: &[Claim]) -> Result<Rounded, usize> {
        let pieces = self.pieces(claims);
        let joints = self.joints(&pieces);
        let count = pieces.len();
        let at = |k: usize| joints[k % count];
        let renewed: Vec<Piece> = (0..count).map(|k| pieces[k].between(&pieces, k, at(k), at(k + 1))).collect();
        if let Some(failed) = (0..count).find(|&k| renewed[k].arc.is_some() && !self.holds(&pieces, &renewed, k)) {
            return Err(pieces[..failed].iter().filter(|piece| piece.arc.is_some()).count());
        }
        let arcs = renewed.iter().filter_map(|piece| piece.arc).collect();
        Ok((renewed.into_iter().flat_map(|piece| piece.edges).collect(), arcs))
    }

    /// The loop divided into arcs and the edges between them, from the edges before the first arc on.
    fn pieces(&self, claims: &[Claim]) -> Vec<Piece> {
        let free = |mut from: f64, to: f64| {
            self.stretch(from, to).into_iter().map(move |edge| {
                let smooth = self.smooth(from);
                from = from.floor() + 1.0;
                Piece { edges: vec![edge], arc: None, exact: false, smooth }
            })
        };
        let mut pieces = Vec::new();
        for (k, claim) in claims.iter().enumerate() {
            let before = if k == 0 { claims[claims.len() - 1].to - self.count() } else { claims[k - 1].to };
            let adjoin = claims.len() > 1 && self.adjoin(before, claim.from);
            if !adjoin {
                pieces.extend(free(before, claim.from));
            }
            let smooth = self.smooth(claim.from) && (!adjoin || self.smooth(before));
            let edges = self.stretch(claim.from, claim.to);
            pieces.push(Piece { edges, arc: Some(claim.arc), exact: claim.exact, smooth });
        }
        pieces
    }

    /// Whether what lies between two arcs is no more than what a fit leaves where they meet.
    pub(super) fn adjoin(&self, from: f64, to: f64) -> bool {
        let edges = self.stretch(from, to);
        let reach = if edges.iter().any(is_line) { self.tolerance } else { TINY * self.tolerance };
        edges.iter().map(|edge| edge.arclen(self.tolerance)).sum::<f64>() <= reach
    }

    /// Where pieces meet: `joints[k]` is the start of piece k.
    fn joints(&self, pieces: &[Piece]) -> Vec<Point> {
        let count = pieces.len();
        let former: Vec<Point> = pieces.iter().map(|piece| piece.edges[0].start()).collect();
        let mut joints = former.clone();
        // A line smoothly between two arcs touches both once its ends have been set in turn.
        for k in (0..SETTLING).flat_map(|_| 0..count) {
            let (left, right) = (&pieces[(k + count - 1) % count], &pieces[k]);
            let (before, after) = (joints[(k + count - 1) % count], joints[(k + 1) % count]);
            joints[k] = match (&left.arc, &right.arc) {
                _ if left.exact || right.exact => former[k],
                (Some(arc), Some(_)) if count == 1 => nearest_on(arc, former[k]),
                (Some(a), Some(b)) => common(a, b, former[k]),
                (Some(arc), None) => self.end(arc, right, former[k], after, right.smooth),
                (None, Some(arc)) => self.end(arc, left, former[k], before, right.smooth),
                (None, None) => former[k],
            };
        }
        joints
    }

    /// Where an arc meets its neighbour, whose other end is given.
    fn end(&self, arc: &Arc, neighbour: &Piece, former: Point, other: Point, smooth: bool) -> Point {
        let projected = nearest_on(arc, former);
        if !neighbour.is_line() {
            projected
        } else if smooth {
            touching(arc, other, former).unwrap_or(projected)
        } else {
            // On the line, so that it keeps its direction.
            let crossing = crossing(arc, other, former);
            crossing.filter(|at| at.distance(former) <= self.tolerance).unwrap_or(projected)
        }
    }

    /// Whether an arc and its neighbours, once built, are still what they were to within the tolerance.
    fn holds(&self, pieces: &[Piece], renewed: &[Piece], k: usize) -> bool {
        let count = pieces.len();
        let (old, new) = (&pieces[k], &renewed[k]);
        let Some((was, arc)) = old.arc.zip(new.arc) else { return true };
        if old.exact {
            return true;
        }
        let (before, after) = ((k + count - 1) % count, (k + 1) % count);
        let last = |piece: &Piece| piece.edges[piece.edges.len() - 1].end();
        let ends = [(k, old.edges[0].start(), new.edges[0].start()), (after, last(old), last(new))];
        let met = ends.into_iter().all(|(joint, was, is)| {
            let on = (is.distance(arc.centre) - arc.radius).abs() <= EXACT * arc.radius;
            on && (pieces[joint].smooth || was.distance(is) <= self.tolerance)
        });
        let smooth = [(before, k), (k, after)].into_iter().all(|(left, right)| {
            let at = renewed[right].edges[0].start();
            let arcs = renewed[left].arc.zip(renewed[right].arc).filter(|_| count > 1 && pieces[right].smooth);
            arcs.is_none_or(|(a, b)| turn(a.direction(at), b.direction(at)) <= KINK)
        });
        let direction = |piece: &Piece| self::ends(&piece.edges[0]).0;
        let straight = [before, after].into_iter().all(|side| {
            let joined = pieces[side].smooth && pieces[(side + 1) % count].smooth;
            let turned = turn(direction(&pieces[side]), direction(&renewed[side]));
            !pieces[side].is_line() || turned <= if joined { KINK } else { UPSET }
        });
        // A joint may slide along its neighbour, so what it is compared with reaches one piece further.
        let around = |all: &[Piece], reach: usize| -> Vec<PathSeg> {
            let places = k + 2 * count - reach..=k + 2 * count + reach;
            places.take(count).flat_map(|place| all[place % count].edges.clone()).collect()
        };
        let within = |moved: Vec<PathSeg>, still: Vec<PathSeg>| {
            let (accuracy, far) = (self.tolerance * 0.01, self.tolerance.powi(2) * (1.0 + EXACT));
            let near = |&at: &Point| still.iter().any(|edge| edge.nearest(at, accuracy).distance_sq <= far);
            Samples::new(&moved).points.iter().all(near)
        };
        met && smooth
            && straight
            && arc.sweep * was.sweep > 0.0
            && arc.sweep.abs() <= TAU + ROUNDING
            && within(around(renewed, 1), around(pieces, 2))
            && within(around(pieces, 1), around(renewed, 2))
    }
}

/// An arc with the edges that follow it, or one edge between arcs.
#[derive(Clone)]
struct Piece {
    edges: Vec<PathSeg>,
    arc: Option<Arc>,
    exact: bool,
    /// Whether the loop comes smoothly to its start.
    smooth: bool,
}

impl Piece {
    fn is_line(&self) -> bool {
        self.arc.is_none() && is_line(&self.edges[0])
    }

    /// This piece, the k-th of all, with new ends.
    fn between(&self, all: &[Self], k: usize, first: Point, last: Point) -> Self {
        let (edges, arc) = match (self.arc, self.edges[0]) {
            (Some(arc), _) if !self.exact => {
                let (start, end) = ((first - arc.centre).atan2(), (last - arc.centre).atan2());
                let whole = all.len() == 1;
                // The new sweep is the one nearest to the measured one.
                let sweep = if whole { TAU.copysign(arc.sweep) } else { arc.sweep + wrapped(end - start - arc.sweep) };
                let arc = Arc { start, sweep, ..arc };
                (arc.cubics(first, last), Some(arc))
            }
            (None, PathSeg::Line(_)) => (vec![PathSeg::Line(Line::new(first, last))], None),
            (None, edge) => {
                let (cubic, count) = (edge.to_cubic(), all.len());
                let before = all[(k + count - 1) % count].arc.filter(|_| self.smooth);
                let after = all[(k + 1) % count].arc.filter(|_| all[(k + 1) % count].smooth);
                let handle = |handle: Vec2, arc: Option<Arc>, at: Point| match arc {
                    Some(arc) => arc.direction(at) * handle.hypot(),
                    None => handle,
                };
                let p1 = first + handle(cubic.p1 - cubic.p0, before, first);
                let p2 = last - handle(cubic.p3 - cubic.p2, after, last);
                (vec![PathSeg::Cubic(CubicBez::new(first, p1, p2, last))], None)
            }
            (arc, _) => (self.edges.clone(), arc),
        };
        Self { edges, arc, ..*self }
    }
}

fn nearest_on(arc: &Arc, at: Point) -> Point {
    arc.centre + arc.radius * Vec2::from_angle((at - arc.centre).atan2())
}

fn nearer(at: Point, a: Point, b: Point) -> Point {
    if at.distance_squared(a) <= at.distance_squared(b) { a } else { b }
}

/// Where a line from a point outside touches the circle, near `at`.
fn touching(arc: &Arc, outside: Point, at: Point) -> Option<Point> {
    let away = outside - arc.centre;
    let angle = (arc.radius / away.hypot()).acos();
    let touch = |angle: f64| arc.centre + arc.radius * Vec2::from_angle(away.atan2() + angle);
    angle.is_finite().then(|| nearer(at, touch(angle), touch(-angle)))
}

/// Where the line from a point through `at` crosses the circle, near `at`.
fn crossing(arc: &Arc, from: Point, at: Point) -> Option<Point> {
    let direction = (at - from).normalize();
    let foot = at + direction * direction.dot(arc.centre - at);
    let half = (arc.radius.powi(2) - (foot - arc.centre).hypot2()).sqrt();
    half.is_finite().then(|| nearer(at, foot + half * direction, foot - half * direction))
}

/// Where two circles cross, near `at`; or where they come nearest if they do not cross.
fn common(a: &Arc, b: &Arc, at: Point) -> Point {
    let apart = b.centre - a.centre;
    let along = (apart.hypot2() + a.radius.powi(2) - b.radius.powi(2)) / (2.0 * apart.hypot());
    let aside = (a.radius.powi(2) - along.powi(2)).max(0.0).sqrt();
    let (x, y) = (apart.normalize(), apart.normalize().turn_90());
    let foot = a.centre + along.clamp(-a.radius, a.radius) * x;
    nearer(at, foot + aside * y, foot - aside * y)
}
