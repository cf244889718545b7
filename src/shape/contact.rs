//! Where the edges of a drawing meet other than at their joins.

use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, PathSeg, Point, Rect, Vec2};

use super::loops::Loop;

/// Edges nearer than this part of the drawing's diagonal meet: 1.5 nm on a prop of 1.5 m. Rounding in double
/// precision stays a thousand times below.
pub(super) const TOUCH: f64 = 1e-9;
/// Chords stand in for curves to this part of the diagonal before the true curves are asked. Finer costs time, coarser
/// asks more often.
const CHORD: f64 = 1e-6;
/// Around the join of two edges nothing is looked for: edges that leave in one direction stay within [`TOUCH`] of each
/// other for a while. Larger would pass larger loops at a join: here 0.08 mm on a prop of 1.5 m.
const JOIN: f64 = 5e-5;

/// A place where two edges cross, touch or run along each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Contact {
    pub(super) at: Point,
    /// Indices of the loops that meet; one index twice for a loop that meets itself.
    pub(super) loops: (usize, usize),
}

/// The first `limit` places where edges meet, `diagonal` being that of the drawing.
///
/// Edges become chords, a tree of boxes over the chords in their order finds the pairs that come near, and only for
/// these the true curves are brought together. Time grows about as n log n for n chords whose neighbours in the order
/// are neighbours in the plane.
pub(super) fn contacts(loops: &[Loop], diagonal: f64, limit: usize) -> Vec<Contact> {
    let edges = edges(loops);
    let chords = chords(&edges, CHORD * diagonal);
    let mut found: Vec<Contact> = Vec::new();
    let mut note = |a: &Edge, b: &Edge, at: Point| {
        let known = found.iter().any(|other| other.at.distance(at) < JOIN * diagonal);
        if !known {
            found.push(Contact { at, loops: (a.of, b.of) });
        }
        found.len() < limit
    };
    for edge in &edges {
        if let PathSeg::Cubic(cubic) = edge.segment
            && let Some(t) = own_crossing(&cubic)
            && !note(edge, edge, cubic.eval(t))
        {
            return found;
        }
    }
    near_pairs(&chords, 2.0 * CHORD * diagonal, |a, b| {
        let (first, second) = (&edges[a.edge], &edges[b.edge]);
        match meet(a, b, first, second, diagonal) {
            Some(at) => note(first, second, at),
            None => true,
        }
    });
    found
}

/// One segment of a loop.
struct Edge {
    segment: PathSeg,
    of: usize,
    /// The edge that follows it in its loop; `None` at the end of an open one.
    next: Option<usize>,
}

fn edges(loops: &[Loop]) -> Vec<Edge> {
    let mut edges = Vec::new();
    for (of, l) in loops.iter().enumerate() {
        let (first, count) = (edges.len(), l.segments.len());
        for (k, &segment) in l.segments.iter().enumerate() {
            let next = if k + 1 < count { Some(first + k + 1) } else { l.closed.then_some(first) };
            edges.push(Edge { segment, of, next });
        }
    }
    edges
}

/// A straight piece of an edge, from parameter `from` to `to`.
#[derive(Clone, Copy)]
struct Chord {
    p: Point,
    q: Point,
    edge: usize,
    from: f64,
    to: f64,
}

/// Chords within `tolerance` of their edges. A chord over a step h of the parameter is off by at most h²/8 times the
/// second derivative, which for a cubic is at most 6 times the larger second difference of its control points.
fn chords(edges: &[Edge], tolerance: f64) -> Vec<Chord> {
    let mut chords = Vec::new();
    for (edge, Edge { segment, .. }) in edges.iter().enumerate() {
        let steps = match segment {
            PathSeg::Line(_) => 1.0,
            curve => {
                let c = curve.to_cubic();
                let bend = |a: Point, b: Point, c: Point| (a.to_vec2() - 2.0 * b.to_vec2() + c.to_vec2()).hypot();
                (0.75 * bend(c.p0, c.p1, c.p2).max(bend(c.p1, c.p2, c.p3)) / tolerance).sqrt().ceil().max(1.0)
            }
        };
        let mut from = 0.0;
        let mut p = segment.start();
        while from < 1.0 {
            // The last step lands on the end exactly, whatever the sum of the steps.
            let to = if from + 1.5 / steps > 1.0 { 1.0 } else { from + 1.0 / steps };
            let q = segment.eval(to);
            chords.push(Chord { p, q, edge, from, to });
            (from, p) = (to, q);
        }
    }
    chords
}

/// Calls `visit` for pairs of chords of different edges whose boxes come within `reach`, until it says `false`.
fn near_pairs(chords: &[Chord], reach: f64, mut visit: impl FnMut(&Chord, &Chord) -> bool) {
    // A complete binary tree in one list: node k has the children 2k and 2k + 1, and the leaves are the chords.
    let leaves = chords.len().next_power_of_two();
    let nowhere = Rect::new(f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY);
    let mut boxes = vec![nowhere; 2 * leaves];
    for (k, chord) in chords.iter().enumerate() {
        boxes[leaves + k] = Rect::from_points(chord.p, chord.q);
    }
    for k in (1..leaves).rev() {
        let (a, b) = (boxes[2 * k], boxes[2 * k + 1]);
        boxes[k] = Rect::new(a.x0.min(b.x0), a.y0.min(b.y0), a.x1.max(b.x1), a.y1.max(b.y1));
    }
    let near =
        |a: Rect, b: Rect| a.x0 <= b.x1 + reach && b.x0 <= a.x1 + reach && a.y0 <= b.y1 + reach && b.y0 <= a.y1 + reach;
    let mut todo = vec![(1, 1)];
    while let Some((a, b)) = todo.pop() {
        if !near(boxes[a], boxes[b]) {
            continue;
        }
        if a >= leaves {
            let (a, b) = (a - leaves, b - leaves);
            if chords[a].edge != chords[b].edge && !visit(&chords[a], &chords[b]) {
                return;
            }
        } else if a == b {
            todo.extend([(2 * a, 2 * a), (2 * a, 2 * a + 1), (2 * a + 1, 2 * a + 1)]);
        } else {
            todo.extend([(2 * a, 2 * b), (2 * a, 2 * b + 1), (2 * a + 1, 2 * b), (2 * a + 1, 2 * b + 1)]);
        }
    }
}

/// Where the edges of two near chords meet, their common join aside.
fn meet(a: &Chord, b: &Chord, first: &Edge, second: &Edge, diagonal: f64) -> Option<Point> {
    let (s, u) = nearest(a, b);
    let away = a.p.lerp(a.q, s).distance(b.p.lerp(b.q, u));
    if away > 2.0 * CHORD * diagonal {
        return None;
    }
    let follows = |edge: &Edge, other: usize| edge.next == Some(other);
    let joins =
        [follows(first, b.edge).then(|| first.segment.end()), follows(second, a.edge).then(|| second.segment.end())];
    if joins.iter().flatten().any(|&join| folds_back(a, b, join)) {
        return joins.into_iter().flatten().next();
    }
    let both = (a.from + s * (a.to - a.from), b.from + u * (b.to - b.from));
    let (t, u) = approach(&first.segment, &second.segment, both);
    let at = first.segment.eval(t);
    let meets = at.distance(second.segment.eval(u)) <= TOUCH * diagonal;
    let joined = joins.iter().flatten().any(|join| join.distance(at) <= JOIN * diagonal);
    (meets && !joined).then_some(at)
}

/// Whether two chords that share the end `join` lie one on the other.
fn folds_back(a: &Chord, b: &Chord, join: Point) -> bool {
    let leaving = |c: &Chord| if c.p == join { Some(c.q - join) } else { (c.q == join).then(|| c.p - join) };
    let (Some(a), Some(b)) = (leaving(a), leaving(b)) else { return false };
    a.dot(b) > 0.0 && a.cross(b).abs() <= 1e-9 * a.dot(b)
}

/// The parameters, 0 to 1, of the nearest places of two chords.
fn nearest(a: &Chord, b: &Chord) -> (f64, f64) {
    let (d, e) = (a.q - a.p, b.q - b.p);
    let cross = d.cross(e);
    if cross != 0.0 {
        let (s, u) = ((b.p - a.p).cross(e) / cross, (b.p - a.p).cross(d) / cross);
        if (0.0..=1.0).contains(&s) && (0.0..=1.0).contains(&u) {
            return (s, u);
        }
    }
    // They do not cross: one of the four ends is nearest to the other chord.
    let foot = |p: Point, from: Point, along: Vec2| {
        ((p - from).dot(along) / along.hypot2().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0)
    };
    let pairs =
        [(foot(b.p, a.p, d), 0.0), (foot(b.q, a.p, d), 1.0), (0.0, foot(a.p, b.p, e)), (1.0, foot(a.q, b.p, e))];
    let away = |(s, u): &(f64, f64)| (a.p + d * *s).distance_squared(b.p + e * *u);
    pairs.into_iter().min_by(|x, y| away(x).total_cmp(&away(y))).expect("there are four pairs")
}

/// Brings two edges together from near parameters, by damped Gauss–Newton steps on the vector between them; a
/// parameter that would leave 0 to 1 stays at the end while the other moves on.
fn approach(a: &PathSeg, b: &PathSeg, (mut t, mut u): (f64, f64)) -> (f64, f64) {
    if let (PathSeg::Line(_), PathSeg::Line(_)) = (a, b) {
        return (t, u);
    }
    // `to_cubic` would give a line another parameter.
    let even = |segment: &PathSeg| match *segment {
        PathSeg::Line(l) => CubicBez::new(l.p0, l.p0.lerp(l.p1, 1.0 / 3.0), l.p0.lerp(l.p1, 2.0 / 3.0), l.p1),
        curve => curve.to_cubic(),
    };
    let (a, b) = (even(a), even(b));
    let (slope_a, slope_b) = (a.deriv(), b.deriv());
    for _ in 0..24 {
        let gap = a.eval(t) - b.eval(u);
        let (da, db) = (slope_a.eval(t).to_vec2(), slope_b.eval(u).to_vec2());
        // Damping keeps the step finite where the edges are parallel.
        let damp = 1e-12 * (da.hypot2() + db.hypot2());
        let (aa, bb, ab) = (da.hypot2() + damp, db.hypot2() + damp, da.dot(db));
        let (ga, gb) = (da.dot(gap), db.dot(gap));
        let det = aa * bb - ab * ab;
        let stuck = |x: f64, step: f64| (x <= 0.0 && step < 0.0) || (x >= 1.0 && step > 0.0);
        let (mut dt, mut du) = ((ab * gb - bb * ga) / det, (aa * gb - ab * ga) / det);
        if stuck(t, dt) {
            (dt, du) = (0.0, gb / bb);
        } else if stuck(u, du) {
            (dt, du) = (-ga / aa, 0.0);
        }
        if !(dt.is_finite() && du.is_finite()) {
            break;
        }
        let before = (t, u);
        (t, u) = ((t + dt).clamp(0.0, 1.0), (u + du).clamp(0.0, 1.0));
        if (t - before.0).abs() + (u - before.1).abs() < 1e-15 {
            break;
        }
    }
    (t, u)
}

/// The smaller parameter at which a cubic crosses itself, if it does between its ends.
///
/// With c(t) = a t³ + b t² + c t + p, two parameters t and u of one place satisfy, after dividing by t − u,
/// a (s² − p) + b s + c = 0 for s = t + u and p = t u: two linear equations for s and p − s² once crossed with a.
fn own_crossing(cubic: &CubicBez) -> Option<f64> {
    let [p0, p1, p2, p3] = [cubic.p0, cubic.p1, cubic.p2, cubic.p3].map(Point::to_vec2);
    let (a, b, c) = (p3 - 3.0 * p2 + 3.0 * p1 - p0, 3.0 * (p2 - 2.0 * p1 + p0), 3.0 * (p1 - p0));
    let s = -a.cross(c) / a.cross(b);
    let p = s * s + (b * s + c).dot(a) / a.hypot2();
    let root = (s * s - 4.0 * p).sqrt();
    let (t, u) = (0.5 * (s - root), 0.5 * (s + root));
    // A straight cubic has no such s, a plain one no root: both are no number and fail the comparison. A cubic closed
    // on itself meets at 0 and 1, its join.
    let inside = t >= -1e-9 && u <= 1.0 + 1e-9 && u - t > 1e-6 && u - t < 1.0 - 1e-6;
    inside.then_some(t.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use kurbo::{BezPath, Shape as _};

    use super::*;
    use crate::shape::loops::split;

    fn meeting(d: &str) -> Vec<Contact> {
        let path = BezPath::from_svg(d).unwrap();
        let bounds = path.bounding_box();
        let diagonal = bounds.width().hypot(bounds.height());
        contacts(&split(&path, TOUCH * diagonal), diagonal, 12)
    }

    fn meets_at(d: &str, places: &[(f64, f64)]) {
        let mut found: Vec<Point> = meeting(d).iter().map(|c| c.at).collect();
        found.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        assert_eq!(found.len(), places.len(), "{d}: {found:?}");
        for (found, &place) in found.iter().zip(places) {
            assert!(found.distance(place.into()) < 1e-6, "{d}: {found:?} is not {place:?}");
        }
    }

    #[test]
    fn a_bow_tie_crosses_in_its_middle() {
        meets_at("M0 0L10 10L10 0L0 10Z", &[(5.0, 5.0)]);
    }

    /// The parabolas y = x²/100 − 25 and 25 − x²/100 cross at x = ±50, where two loops cross.
    #[test]
    fn crossing_curves_are_found_where_they_cross() {
        let up = "M-100 75Q0 -125 100 75L120 200L-120 200Z";
        let down = "M-100 -75Q0 125 100 -75L120 -200L-120 -200Z";
        meets_at(&format!("{up} {down}"), &[(-50.0, 0.0), (50.0, 0.0)]);
        let both = meeting(&format!("{up} {down}"));
        assert!(both.iter().all(|c| c.loops == (0, 1) || c.loops == (1, 0)));
    }

    #[test]
    fn joins_are_no_contacts() {
        meets_at("M0 0L10 0L10 10Z M20 0C30 0 30 10 20 10C10 10 10 0 20 0Z", &[]);
        meets_at("M0 0C0 40 90 40 90 0C90 -40 0 -40 0 0Z", &[]);
    }

    /// Two arcs that leave their common tips in exactly one direction: a lune with cusps.
    #[test]
    fn a_cusp_is_no_contact() {
        meets_at("M0 0C30 0 60 10 60 40C60 20 40 0 0 0Z", &[]);
        meets_at("M0 0C50 0 100 50 100 100C100 40 60 0 0 0Z", &[]);
    }

    /// The cubic is symmetric about x = 50, so that is where it crosses itself.
    #[test]
    fn a_single_cubic_that_crosses_itself_is_found() {
        let found = meeting("M0 0C150 100 -50 100 100 0L50 -50Z");
        assert_eq!(found.len(), 1);
        assert!((found[0].at.x - 50.0).abs() < 1e-9, "{found:?}");
        meets_at("M0 0C100 100 0 100 100 0L50 -50Z", &[]);
    }

    #[test]
    fn a_closed_cubic_meets_itself_only_at_its_join() {
        meets_at("M0 0C100 100 -100 100 0 0Z", &[]);
    }

    #[test]
    fn touching_and_running_along_are_contacts() {
        meets_at("M0 0L10 0L10 10L0 10Z M10 5L15 0L15 10Z", &[(10.0, 5.0)]);
        meets_at("M0 0L10 0L10 10L0 10Z M10 10L20 10L20 20Z", &[(10.0, 10.0)]);
        assert!(!meeting("M0 0L10 0L10 10L0 10Z M10 2L15 0L15 10L10 8Z").is_empty());
        assert!(!meeting("M0 0L10 0L5 0L5 9Z").is_empty(), "a spike");
        let twice = "M0 0C0 40 90 40 90 0C90 -40 0 -40 0 0Z";
        assert!(!meeting(&format!("{twice} {twice}")).is_empty());
    }

    /// Concentric circles 1/1000 apart: far nearer than any knife can cut, and yet apart.
    #[test]
    fn a_narrow_gap_is_no_contact() {
        let ring = |r: f64| kurbo::Circle::new((0.0, 0.0), r).to_path(1e-7).to_svg();
        meets_at(&format!("{} {}", ring(100.0), ring(100.001)), &[]);
    }

    /// A wavy wheel of 20 000 cubics and a spoke that ends inside it, or reaches through its rim.
    #[test]
    fn two_crossings_among_twenty_thousand_cubics_are_found() {
        let place = |k: u32| {
            let turn = f64::from(k % 20_000) / 20_000.0 * std::f64::consts::TAU;
            let r = 1000.0 + 30.0 * (160.0 * turn).sin();
            Point::new(r * turn.cos(), r * turn.sin())
        };
        let mut wheel = BezPath::new();
        wheel.move_to(place(0));
        for k in 0..20_000 {
            let (from, to) = (place(k), place(k + 1));
            let bow = (to - from).turn_90() * 0.02;
            wheel.curve_to(from.lerp(to, 0.3) + bow, from.lerp(to, 0.7) + bow, to);
        }
        wheel.close_path();
        let with_spoke = |length: u32| {
            let spoke = BezPath::from_svg(&format!("M0 0L{length} 1L{length} -1Z")).unwrap();
            contacts(&split(&wheel.iter().chain(spoke).collect::<BezPath>(), 1e-6), 2800.0, 12)
        };
        assert_eq!(with_spoke(900), []);
        let through = with_spoke(1100);
        assert_eq!(through.len(), 2, "{through:?}");
        assert!(through.iter().all(|c| c.at.x > 960.0 && c.at.y.abs() < 1.0 && c.loops.0 != c.loops.1));
    }
}
