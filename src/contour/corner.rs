//! Corners: where the ways on both sides, carried on, meet at an angle.

use kurbo::{Point, Vec2};

use super::course::{Jet, Ring};

/// Arc length in pixels of each side looked at: long enough to tell a direction, short enough for the next corner.
const SIDE: f64 = 9.0;
/// A bent side is looked at over this many times the gap before it.
const BENT_SIDE: f64 = 2.0;
/// Least turn in radians, about 11°; less is drawn as a bend.
const LEAST_TURN: f64 = 0.2;
/// Least turn where a side is too short to be told from a bend: bars' ends and small squares are meant, not small dots.
const LEAST_SHORT_TURN: f64 = 1.2;
/// Corners closer than this, in pixels, are one.
const ONE_CORNER: f64 = 2.0;
/// A straight side is followed this far, because a long line tells a corner best.
const LONG_SIDE: f64 = 40.0;

/// A corner and the ways into and out of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Corner {
    pub(super) at: Point,
    /// Arc length of the ring nearest to it.
    pub(super) arc: f64,
    /// Unit direction of the way when it arrives.
    pub(super) into: Vec2,
    /// Unit direction of the way when it leaves.
    pub(super) out_of: Vec2,
    /// Points closer than this along the way are rounded off by blur and tell nothing.
    pub(super) gap: f64,
}

fn turn(a: Vec2, b: Vec2) -> f64 {
    a.cross(b).atan2(a.dot(b)).abs()
}

/// One side of a place on the ring.
#[derive(Clone, Copy)]
enum Way {
    Back,
    Forth,
}

/// The points between arc distances `gap` and `reach` from `s`, as a range; `near` is a point close by.
fn side(ring: &Ring, near: isize, s: f64, way: Way, gap: f64, reach: f64) -> (isize, isize) {
    let n = isize::try_from(ring.len()).expect("fits");
    let step = match way {
        Way::Back => -1,
        Way::Forth => 1,
    };
    let distance = |i: isize| match way {
        Way::Back => s - ring.get(i).0,
        Way::Forth => ring.get(i).0 - s,
    };
    let mut first = near;
    while distance(first) < gap && (first - near).abs() < n / 2 {
        first += step;
    }
    let mut last = first;
    while distance(last + step) <= reach && (last + step - near).abs() < n / 2 {
        last += step;
    }
    (first.min(last), first.max(last))
}

/// The corners of a ring, in its order. `width` is that of the edges' transition.
pub(super) fn corners(ring: &Ring, width: f64) -> Vec<Corner> {
    if ring.len() < 8 {
        return Vec::new();
    }
    let vertices = vertices(ring, 0.4 + 0.2 * width + 2.0 * ring.noise);
    let n = vertices.len();
    let length = ring.length;
    let mut found: Vec<Corner> = (0..n)
        .filter_map(|k| {
            let s = ring.get(vertices[k]).0;
            let room = |other: usize| (ring.get(vertices[other]).0 - s).abs();
            let (before, after) = (room((k + n - 1) % n), room((k + 1) % n));
            let around = |room: f64| if n == 1 { length } else { room.min(length - room) };
            let rooms = [around(before), around(after)];
            // The vertex of a sharp tip may stand on its flank, some way before where the other flank begins.
            [1.0, 2.5, 5.0].iter().find_map(|times| confirm(ring, vertices[k], width, rooms, *times))
        })
        .collect();
    found.sort_by(|a, b| a.arc.total_cmp(&b.arc));
    let turned = |c: &Corner| turn(c.into, c.out_of);
    let mut kept: Vec<Corner> = Vec::new();
    for corner in found {
        match kept.last() {
            Some(last) if last.at.distance(corner.at) < ONE_CORNER => {
                if turned(&corner) > turned(last) {
                    kept.pop();
                    kept.push(corner);
                }
            }
            _ => kept.push(corner),
        }
    }
    if kept.len() > 1 && kept[0].at.distance(kept[kept.len() - 1].at) < ONE_CORNER {
        kept.pop();
    }
    kept
}

/// The points that a polygon within `tolerance` of the ring needs (D. Douglas, T. Peucker, The Canadian Cartographer 10,
/// 1973): every corner is close to one of them.
fn vertices(ring: &Ring, tolerance: f64) -> Vec<isize> {
    let n = ring.len();
    let far_from = |p: Point| {
        let squared = |i: &usize| ring.points[*i].distance_squared(p);
        (0..n).max_by(|a, b| squared(a).total_cmp(&squared(b))).expect("a ring has points")
    };
    let first = far_from(ring.points[0]);
    let second = far_from(ring.points[first]);
    let (first, second) = (first.min(second), first.max(second));
    let mut found = vec![first, second];
    let mut open = vec![(first, second), (second, first + n)];
    while let Some((from, to)) = open.pop() {
        let (a, b) = (ring.points[from % n], ring.points[to % n]);
        let chord = (b - a) / (b - a).hypot().max(1e-12);
        let off = |i: usize| {
            let v = ring.points[i % n] - a;
            let along = v.dot(chord).clamp(0.0, a.distance(b));
            (v - chord * along).hypot()
        };
        let Some(middle) = (from + 1..to).max_by(|p, q| off(*p).total_cmp(&off(*q))) else { continue };
        if off(middle) > tolerance {
            found.push(middle % n);
            open.extend([(from, middle), (middle, to)]);
        }
    }
    found.sort_unstable();
    found.dedup();
    found.into_iter().map(|i| isize::try_from(i).expect("fits")).collect()
}

/// The corner near point `near`, if the sides do meet at an angle when they are carried on as curves, close to the ring.
/// `rooms`: arc length to the next vertices before and after. `times`: how much wider than for a right angle the rounded
/// part is taken to be at first; only where it is as usual may the turn be a small one.
fn confirm(ring: &Ring, near: isize, width: f64, rooms: [f64; 2], times: f64) -> Option<Corner> {
    let mut s = ring.get(near).0;
    let mut gap = times * (1.0 + 0.5 * width);
    let mut corner = None;
    for round in 0..3 {
        let before = carry_on(ring, near, s, Way::Back, gap, rooms[0])?;
        let after = carry_on(ring, near, s, Way::Forth, gap, rooms[1])?;
        let short = before.short || after.short;
        let (before, after) = (before.jet, after.jet);
        let (p, q) = meet(&before, &after)?;
        let at = before.eval(p);
        let direction = |jet: &Jet, s: f64| {
            let along = jet.along + jet.bend * s;
            along / along.hypot().max(1e-12)
        };
        let (into, out_of) = (direction(&before, p), direction(&after, q));
        let turned = turn(into, out_of);
        // The slope of a parabola at its end is off by about √(192/n)·σ/length for n points.
        let unsure = 14.0 * ring.noise / SIDE.powf(1.5) * std::f64::consts::SQRT_2;
        if turned < LEAST_TURN.max(4.0 * unsure) || ((short || times > 1.0) && turned < LEAST_SHORT_TURN) {
            return None;
        }
        let half = 0.5 * (std::f64::consts::PI - turned);
        let (nearest, arc) = nearest(ring, near, at);
        // Blur rounds a right angle off by about a third of its width, and sharper ones by more. What is rounder is
        // round in truth.
        if round > 0 && nearest > (0.4 + 0.4 * width + 3.0 * ring.noise) * 0.707 / half.sin().max(0.1) {
            return None;
        }
        s = arc;
        gap = ((1.0 + width) / half.tan().max(0.1)).clamp(1.0 + 0.5 * width, 20.0);
        corner = Some(Corner { at, arc: arc.rem_euclid(ring.length), into, out_of, gap });
    }
    corner
}

/// Distance and arc length of the place on the ring nearest to `p`, not far from point `near`.
fn nearest(ring: &Ring, near: isize, p: Point) -> (f64, f64) {
    let on_line = |k: isize| {
        let ((s, a), (t, b)) = (ring.get(near + k), ring.get(near + k + 1));
        let along = ((p - a).dot(b - a) / (b - a).hypot2().max(1e-12)).clamp(0.0, 1.0);
        (a.lerp(b, along).distance(p), s + along * (t - s))
    };
    (-20..20).map(on_line).min_by(|a, b| a.0.total_cmp(&b.0)).expect("forty lines")
}

/// A side carried on as a curve, seen from the place of the corner.
struct Side {
    jet: Jet,
    /// It had to stop at the next vertex, so that it cannot be told from a bend.
    short: bool,
}

/// The side as a line if it is straight for long, else as a parabola, else as what little there is before the next
/// vertex, `room` away.
fn carry_on(ring: &Ring, near: isize, s: f64, way: Way, gap: f64, room: f64) -> Option<Side> {
    let true_to = |jet: &Jet| jet.rms <= 2.0 * ring.noise + 0.05;
    // The farther a curve must be carried on, the more of it is needed.
    let bent = SIDE.max(BENT_SIDE * gap);
    for (reach, strict) in [(LONG_SIDE, false), (0.5 * LONG_SIDE, false), (2.0 * bent, true), (bent, false)] {
        let (from, to) = side(ring, near, s, way, gap, gap + reach);
        if to - from < 5 {
            continue;
        }
        let line = ring.jet(from, to, s, 1)?;
        let curve = ring.jet(from, to, s, 2)?;
        if line.rms <= 1.1 * curve.rms + 0.005 && true_to(&line) {
            return Some(Side { jet: line, short: false });
        }
        if strict && curve.rms > 1.05 * ring.noise + 0.005 {
            continue;
        }
        if (strict || reach <= bent) && true_to(&curve) {
            return Some(Side { jet: curve, short: false });
        }
    }
    let inner = gap.min(0.35 * room);
    let (from, to) = side(ring, near, s, way, inner, room - inner);
    let (from, to) = if from == to { (from - 1, to + 1) } else { (from, to) };
    ring.jet(from, to, s, 1).filter(true_to).map(|jet| Side { jet, short: true })
}

/// Where two curves cross, as arc lengths on both, by Newton's method from where they are seen.
fn meet(a: &Jet, b: &Jet) -> Option<(f64, f64)> {
    let (mut p, mut q) = (0.0, 0.0);
    for _ in 0..12 {
        let rest = b.eval(q) - a.eval(p);
        let (da, db) = (a.along + a.bend * p, b.along + b.bend * q);
        let cross = da.cross(db);
        if cross.abs() < 1e-6 {
            return None;
        }
        p += rest.cross(db) / cross;
        q += rest.cross(da) / cross;
        if p.abs() > 40.0 || q.abs() > 40.0 {
            return None;
        }
    }
    (a.eval(p).distance(b.eval(q)) < 1e-3).then_some((p, q))
}
