use kurbo::{Affine, Line, ParamCurveNearest};

use super::build::KINK;
use super::*;

const TOLERANCE: f64 = 0.1;

/// Numbers from -1 to 1, the same in every run (G. Marsaglia, "Xorshift RNGs", 2003).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// Cubics along a curve, each fitted to points with noise, joined smoothly.
fn traced(
    curve: &dyn Fn(f64) -> Point,
    range: (f64, f64),
    cubics: u32,
    noise: f64,
    chance: &mut Chance,
) -> Vec<PathSeg> {
    let step = (range.1 - range.0) / f64::from(cubics);
    let closed = curve(range.0).distance(curve(range.1)) < 1e-6;
    let length = (0..256)
        .map(|k| {
            let at = |k: i32| curve(range.0 + (range.1 - range.0) * f64::from(k) / 256.0);
            at(k).distance(at(k + 1))
        })
        .sum::<f64>()
        / f64::from(cubics);
    let mut nodes: Vec<(Point, Vec2)> = (0..=cubics)
        .map(|k| {
            let u = range.0 + step * f64::from(k);
            let inner = if closed { 1e-5 } else { 0.0 };
            let (low, high) = (range.0.min(range.1) - inner, range.0.max(range.1) + inner);
            let (a, b) = ((u - 1e-5 * step).clamp(low, high), (u + 1e-5 * step).clamp(low, high));
            let direction = Vec2::from_angle((curve(b) - curve(a)).atan2() + chance.next() * noise / length);
            (curve(u) + 0.6 * noise * Vec2::new(chance.next(), chance.next()), direction)
        })
        .collect();
    if closed {
        nodes[cubics as usize] = nodes[0];
    }
    (0..cubics as usize)
        .map(|k| {
            let ((p0, d0), (p3, d3)) = (nodes[k], nodes[k + 1]);
            let count = (24..).find(|&count| f64::from(count) >= length).unwrap_or(24);
            let points: Vec<Point> = (0..=count)
                .map(|i| {
                    let u = range.0 + step * (k as f64 + f64::from(i) / f64::from(count));
                    curve(u) + noise * Vec2::new(chance.next(), chance.next())
                })
                .collect();
            let mut ts: Vec<f64> = vec![0.0];
            for w in points.windows(2) {
                ts.push(ts[ts.len() - 1] + w[0].distance(w[1]));
            }
            let total = ts[ts.len() - 1];
            ts.iter_mut().for_each(|t| *t /= total);
            let mut cubic = CubicBez::new(p0, p0, p3, p3);
            for _ in 0..8 {
                let (mut matrix, mut right) = (nalgebra::Matrix2::zeros(), nalgebra::Vector2::zeros());
                for (p, &t) in points.iter().zip(&ts) {
                    let (b1, b2) = (3.0 * t * (1.0 - t).powi(2), 3.0 * t * t * (1.0 - t));
                    let rest = *p - CubicBez::new(p0, p0, p3, p3).eval(t);
                    for (row, rest) in [([b1 * d0.x, -b2 * d3.x], rest.x), ([b1 * d0.y, -b2 * d3.y], rest.y)] {
                        let row = nalgebra::Vector2::from(row);
                        matrix += row * row.transpose();
                        right += row * rest;
                    }
                }
                let Some(lengths) = matrix.lu().solve(&right) else { break };
                let [a, b]: [f64; 2] = lengths.into();
                let least = 0.05 * total;
                cubic = CubicBez::new(p0, p0 + d0 * a.max(least), p3 - d3 * b.max(least), p3);
                for (p, t) in points.iter().zip(&mut ts) {
                    *t = cubic.nearest(*p, 1e-6).t;
                }
            }
            PathSeg::Cubic(cubic)
        })
        .collect()
}

/// A closed loop of edges; lines close the gaps between them.
fn closed(edges: impl IntoIterator<Item = Vec<PathSeg>>) -> BezPath {
    let mut path = BezPath::new();
    for edge in edges.into_iter().flatten() {
        match path.elements().last().and_then(PathEl::end_point) {
            None => path.move_to(edge.start()),
            Some(end) if end.distance(edge.start()) > 1e-9 => path.line_to(edge.start()),
            Some(_) => (),
        }
        path.push(edge.as_path_el());
    }
    path.close_path();
    path
}

fn round(centre: (f64, f64), radius: f64) -> impl Fn(f64) -> Point {
    move |angle| Point::from(centre) + radius * Vec2::from_angle(angle)
}

/// A path whose loop starts at another place, given in edges.
fn shifted(path: &BezPath, by: f64) -> BezPath {
    let edges: Vec<PathSeg> = path.segments().collect();
    let outline = Loop { edges, tolerance: TOLERANCE };
    closed([outline.stretch(by, by + outline.count())])
}

fn points(path: &BezPath) -> Vec<Point> {
    let steps = (0..20).map(|k| f64::from(k) / 20.0);
    path.segments().flat_map(|edge| steps.clone().map(move |t| edge.eval(t))).collect()
}

fn farthest(from: &BezPath, to: &BezPath) -> f64 {
    let edges: Vec<PathSeg> = to.segments().collect();
    let distance = |p: &Point| edges.iter().map(|e| e.nearest(*p, 1e-4).distance_sq).fold(f64::INFINITY, f64::min);
    points(from).iter().map(distance).fold(0.0, f64::max).sqrt()
}

/// Places and angles of the joints of a loop.
fn turns(path: &BezPath) -> Vec<(Point, f64)> {
    let edges: Vec<PathSeg> = path.segments().collect();
    let before = |k: usize| &edges[(k + edges.len() - 1) % edges.len()];
    (0..edges.len()).map(|k| (edges[k].start(), turn(ends(before(k)).1, ends(&edges[k]).0))).collect()
}

fn assert_same(found: &[Arc], others: &[Arc], within: f64) {
    assert_eq!(found.len(), others.len(), "{found:?}\n{others:?}");
    for arc in found {
        let same = |other: &&Arc| {
            other.centre.distance(arc.centre) <= within
                && (other.radius - arc.radius).abs() <= within
                && (other.sweep - arc.sweep).abs() * arc.radius <= within
                && (other.sweep.abs() > TAU - 0.01 || wrapped(other.start - arc.start).abs() * arc.radius <= within)
        };
        assert!(others.iter().any(|other| same(&other)), "{arc:?}\n{others:?}");
    }
}

/// How often a loop crosses itself, counted on chords.
fn crossings(path: &BezPath) -> usize {
    let points: Vec<Point> = points(path).into_iter().step_by(4).collect();
    let chord = |k: usize| (points[k], points[(k + 1) % points.len()]);
    let apart = |(a, b): (Point, Point), (c, d): (Point, Point)| (b - a).cross(c - a) * (b - a).cross(d - a) >= 0.0;
    let crosses = |i, j| !apart(chord(i), chord(j)) && !apart(chord(j), chord(i));
    (0..points.len()).map(|i| (i + 2..points.len()).filter(|&j| crosses(i, j)).count()).sum()
}

/// The arcs of a path of one loop, after everything that is promised of every path has been checked.
fn checked(path: &BezPath) -> Vec<Arc> {
    let (out, found) = arcs(path, TOLERANCE);
    assert!(farthest(&out, path) <= TOLERANCE * 1.01, "{}", farthest(&out, path));
    assert!(farthest(path, &out) <= TOLERANCE * 1.01, "{}", farthest(path, &out));
    assert_eq!(out.elements().last(), Some(&PathEl::ClosePath));
    assert!(out.area() * path.area() >= 0.0);
    assert!(crossings(&out) <= crossings(path));
    for arc in &found {
        let on = out.segments().filter(|e| {
            [0.0, 0.5, 1.0].iter().all(|&t| (e.eval(t).distance(arc.centre) - arc.radius).abs() < 1e-7 * arc.radius)
        });
        for edge in on.filter(|e| !is_line(e)) {
            for t in 0..=20 {
                let off = edge.eval(f64::from(t) / 20.0).distance(arc.centre) - arc.radius;
                assert!(off.abs() <= 1e-4 * arc.radius);
            }
        }
    }
    let corners: Vec<(Point, f64)> = turns(path).into_iter().filter(|joint| joint.1 > 0.5 * KINK).collect();
    for (at, turn) in turns(&out) {
        let old = corners.iter().filter(|joint| joint.0.distance(at) <= 30.0 * TOLERANCE).map(|joint| joint.1);
        assert!(turn <= KINK + old.clone().sum::<f64>() * 1.1, "{} at {at:?} {found:?}", turn.to_degrees());
    }
    let (again, known) = arcs(&out, TOLERANCE);
    assert_same(&found, &known, 1e-6);
    assert_eq!(out.elements().len(), again.elements().len());
    assert!(points(&out).iter().zip(points(&again)).all(|(a, b)| a.distance(b) < 1e-6));
    let count = path.segments().count() as f64;
    for by in [1.0, (0.5 * count).floor(), count - 1.0] {
        assert_same(&found, &arcs(&shifted(path, by), TOLERANCE).1, 1e-6);
    }
    for by in [0.37, 0.5 * count + 0.21] {
        assert_same(&found, &arcs(&shifted(path, by), TOLERANCE).1, 1e-3);
    }
    let (angle, scale) = (0.7, 3.0);
    for mirror in [1.0, -1.0] {
        let place =
            Affine::translate((40.0, -70.0)) * Affine::rotate(angle) * Affine::scale_non_uniform(scale, scale * mirror);
        let moved: Vec<Arc> = found
            .iter()
            .map(|arc| Arc {
                centre: place * arc.centre,
                radius: scale * arc.radius,
                start: angle + mirror * arc.start,
                sweep: mirror * arc.sweep,
                ..*arc
            })
            .collect();
        assert_same(&moved, &arcs(&(place * path.clone()), scale * TOLERANCE).1, 1e-5);
    }
    found
}

fn assert_near(arc: &Arc, centre: (f64, f64), radius: f64, sweep: f64, within: f64) {
    let off = arc.centre.distance(centre.into());
    assert!(off <= within && (arc.radius - radius).abs() <= within, "{arc:?}");
    assert!((arc.sweep - sweep).abs() * radius <= 10.0 * within + 0.3, "{arc:?}");
}

fn quarter(x: f64, y: f64, radius: f64, k: i32, noise: f64, chance: &mut Chance) -> Vec<PathSeg> {
    let from = f64::from(k) * PI / 2.0;
    traced(&round((x, y), radius), (from, from + PI / 2.0), 1, noise, chance)
}

#[test]
fn circles_are_found_and_measured() {
    let mut chance = Chance(0x9E37_79B9_7F4A_7C15);
    for radius in [4.0, 7.0, 20.0, 75.0, 300.0] {
        for (noise, cubics) in [(0.0, 4), (0.02, 5), (0.05, 4), (0.05, 7), (0.05, 11)] {
            for turn in [TAU, -TAU] {
                let from = 3.0 * chance.next();
                let path =
                    closed([traced(&round((3.0, 5.0), radius), (from, from + turn), cubics, noise, &mut chance)]);
                let found = checked(&path);
                assert_eq!(found.len(), 1);
                assert_near(&found[0], (3.0, 5.0), radius, turn, 0.6 * noise + 1e-4 * radius);
            }
        }
    }
}

#[test]
fn a_small_dot_is_not_known_to_be_round() {
    let mut chance = Chance(1);
    let path = closed([traced(&round((0.0, 0.0), 2.4), (0.0, TAU), 4, 0.0, &mut chance)]);
    assert_eq!(checked(&path), []);
}

#[test]
fn a_rounded_rectangle_has_four_tangent_arcs() {
    let mut chance = Chance(2);
    for radius in [4.0, 12.0, 60.0] {
        for noise in [0.0, 0.03] {
            let mut q = |x, y, k| quarter(x, y, radius, k, noise, &mut chance);
            let path = closed([q(200.0, 150.0, 0), q(0.0, 150.0, 1), q(0.0, 0.0, 2), q(200.0, 0.0, 3)]);
            let found = checked(&path);
            assert_eq!(found.len(), 4);
            for (arc, centre) in found.iter().zip([(200.0, 150.0), (0.0, 150.0), (0.0, 0.0), (200.0, 0.0)]) {
                // The radius of a quarter lies within (1 + √2) times as much as its middle, and so does its centre.
                assert_near(arc, centre, radius, PI / 2.0, 5.0 * noise + 2e-4 * radius);
            }
            let (out, _) = arcs(&path, TOLERANCE);
            assert!(turns(&out).iter().all(|joint| joint.1 <= KINK));
        }
    }
}

#[test]
fn a_slot_has_two_half_circles() {
    let mut chance = Chance(3);
    for radius in [4.0, 30.0] {
        for noise in [0.0, 0.03] {
            let mut half = |x, from: f64| traced(&round((x, 0.0), radius), (from, from + PI), 2, noise, &mut chance);
            let path = closed([half(100.0, -PI / 2.0), half(0.0, PI / 2.0)]);
            let found = checked(&path);
            assert_eq!(found.len(), 2);
            assert_near(&found[0], (100.0, 0.0), radius, PI, noise + 1e-4 * radius);
            assert_near(&found[1], (0.0, 0.0), radius, PI, noise + 1e-4 * radius);
        }
    }
}

#[test]
fn arcs_that_meet_corners_keep_them() {
    let mut chance = Chance(4);
    for radius in [5.0, 20.0, 90.0] {
        for noise in [0.0, 0.03] {
            // A keyhole, a D, a three-quarter arc.
            for sweep in [0.8 * TAU, PI, 0.75 * TAU] {
                let arc = traced(&round((0.0, 0.0), radius), (-sweep / 2.0, sweep / 2.0), 4, noise, &mut chance);
                let far = -3.0 * radius;
                let (top, low) = (arc[3].end().y, arc[0].start().y);
                let foot = if sweep == PI { vec![] } else { vec![PathSeg::Line(Line::new((far, top), (far, low)))] };
                let found = checked(&closed([arc, foot]));
                assert_eq!(found.len(), 1);
                assert_near(&found[0], (0.0, 0.0), radius, sweep, noise + 2e-4 * radius);
            }
        }
    }
}

#[test]
fn a_crescent_has_two_arcs_that_meet() {
    let mut chance = Chance(5);
    for radius in [10.0, 50.0, 100.0] {
        for noise in [0.0, 0.03] {
            let inner = 0.8_f64.asin();
            let path = closed([
                traced(&round((0.0, 0.0), 1.6 * radius), (-PI / 2.0, PI / 2.0), 3, noise, &mut chance),
                traced(&round((-1.2 * radius, 0.0), 2.0 * radius), (inner, -inner), 2, noise, &mut chance),
            ]);
            let found = checked(&path);
            assert_eq!(found.len(), 2);
            assert_near(&found[0], (0.0, 0.0), 1.6 * radius, PI, 2.0 * noise + 1e-4 * radius);
            assert_near(&found[1], (-1.2 * radius, 0.0), 2.0 * radius, -2.0 * inner, 3.0 * noise + 2e-4 * radius);
        }
    }
}

#[test]
fn roots_of_teeth_are_arcs() {
    let mut chance = Chance(6);
    for noise in [0.0, 0.03] {
        let mut edges = Vec::new();
        for tooth in 0..12 {
            let angle = f64::from(tooth) * TAU / 12.0;
            let out = Vec2::from_angle(angle);
            let (centre, side) = ((100.0 * out).to_point(), 8.0 * out.turn_90());
            let root = traced(&round(centre.into(), 8.0), (angle - PI / 2.0, angle - 1.5 * PI), 2, noise, &mut chance);
            let (first, last) = (root[0].start(), root[1].end());
            edges.push(vec![PathSeg::Line(Line::new(centre - side + 30.0 * out, first))]);
            edges.push(root);
            edges.push(vec![PathSeg::Line(Line::new(last, centre + side + 30.0 * out))]);
        }
        let found = checked(&closed(edges));
        assert_eq!(found.len(), 12);
        for (tooth, arc) in found.iter().enumerate() {
            let centre = (100.0 * Vec2::from_angle(tooth as f64 * TAU / 12.0)).to_point();
            assert_near(arc, centre.into(), 8.0, -PI, 1.5 * noise + 1e-3);
        }
    }
}

/// An arc of some sweep from straight down on, then a wave that leaves it along its tangent.
fn arc_and_wave(radius: f64, sweep: f64) -> impl Fn(f64) -> Point {
    move |u| {
        let (end, t) = (Vec2::from_angle(PI / 2.0 + sweep), u - sweep);
        let along = if t < 0.0 { Vec2::from_angle(PI / 2.0 + u) } else { end + t * end.turn_90() };
        let aside = if t < 0.0 { 0.0 } else { 0.3 * (t.sin() - t) };
        (radius * (along + aside * end)).to_point()
    }
}

#[test]
fn an_arc_that_merges_into_a_wave_is_found() {
    let mut chance = Chance(7);
    for radius in [6.0, 20.0, 60.0, 150.0] {
        for sweep in [2.4, 3.2, 4.7] {
            for noise in [0.0, 0.03] {
                let curve = arc_and_wave(radius, sweep);
                // The last node of the arc lies on it, before its end.
                let nodes = [0.0, 0.3, 0.6, 0.9, 1.0].map(|part| part * sweep);
                let path = closed([spliced(&curve, &nodes, &[sweep, sweep + 2.0, sweep + 4.0], noise, &mut chance)]);
                let found = checked(&path);
                assert_eq!(found.len(), 1, "{radius} {sweep} {noise}");
                // Noise may turn a small arc aside before its end.
                let sweep = if radius < 10.0 && noise > 0.0 { found[0].sweep } else { sweep };
                assert_near(&found[0], (0.0, 0.0), radius, sweep, 3.0 * noise + 3e-4 * radius);
            }
        }
    }
}

/// Two smooth rows of cubics, made smooth where they join.
fn spliced(
    curve: &dyn Fn(f64) -> Point,
    first: &[f64],
    second: &[f64],
    noise: f64,
    chance: &mut Chance,
) -> Vec<PathSeg> {
    let row = |nodes: &[f64], chance: &mut Chance| {
        let cubics = nodes.iter().skip(1).map(|_| 1).sum();
        traced(curve, (nodes[0], nodes[nodes.len() - 1]), cubics, noise, chance)
    };
    let (mut edges, rest) = (row(first, chance), row(second, chance));
    let last = edges.len() - 1;
    let (mut a, b) = (edges[last].to_cubic(), rest[0].to_cubic());
    let handle = (a.p3 - a.p2).hypot();
    a.p3 = b.p0;
    a.p2 = b.p0 - (b.p1 - b.p0).normalize() * handle;
    edges[last] = PathSeg::Cubic(a);
    edges.extend(rest);
    edges
}

#[test]
fn arcs_that_join_smoothly_stay_tangent() {
    let mut chance = Chance(12);
    for radius in [8.0, 30.0, 120.0] {
        for noise in [0.0, 0.02] {
            // An S: the second circle touches the first from outside.
            let apart = 2.2 * radius * Vec2::from_angle(PI + 2.5);
            let curve = |t: f64| match t {
                t if t <= 2.5 => round((0.0, 0.0), radius)(PI + t),
                t => round((apart.x, apart.y), 1.2 * radius)(5.0 - t),
            };
            let ess = spliced(&curve, &[0.0, 1.25, 2.5], &[2.5 + 1e-9, 3.75, 5.0], noise, &mut chance);
            let lid = Line::new((4.0 * radius, 4.0 * radius), (-2.0 * radius, 4.0 * radius));
            let found = checked(&closed([ess, vec![PathSeg::Line(lid)]]));
            assert_eq!(found.len(), 2);
            assert_near(&found[0], (0.0, 0.0), radius, 2.5, 3.0 * noise + 2e-4 * radius);
            assert_near(&found[1], (apart.x, apart.y), 1.2 * radius, -2.5, 3.0 * noise + 2e-4 * radius);
            let gap = found[0].centre.distance(found[1].centre) - found[0].radius - found[1].radius;
            assert!(gap.abs() < 1e-6 * radius);
        }
    }
}

#[test]
fn an_arc_of_a_loop_without_corners_is_found() {
    let at = |angle: f64| (30.0 * Vec2::from_angle(angle)).to_point();
    let arc = Arc { radius: 30.0, start: 0.75 * PI, sweep: 1.5 * PI, ..Arc::default() };
    let mut edges = arc.cubics(at(0.75 * PI), at(2.25 * PI));
    let (first, last, foot) = (at(0.75 * PI), at(2.25 * PI), Point::new(0.0, 70.0));
    let side = Vec2::new(12.0, 0.0);
    edges.push(PathSeg::Cubic(CubicBez::new(last, last + 12.0 * arc.direction(last), foot + side, foot)));
    edges.push(PathSeg::Cubic(CubicBez::new(foot, foot - side, first - 12.0 * arc.direction(first), first)));
    let path = closed([edges]);
    let found = checked(&path);
    assert_eq!(found.len(), 1);
    assert_near(&found[0], (0.0, 0.0), 30.0, 1.5 * PI, 1e-4);
}

#[test]
fn fillets_beside_an_arc_are_found() {
    // A disc on a shaft as wide as its radius, with fillets of half the radius between them.
    for radius in [20.0, 60.0] {
        let place = Point::new(radius, radius * 1.25_f64.sqrt());
        let lean = place.to_vec2().atan2();
        let disc = Arc { radius, start: PI - lean, sweep: PI + 2.0 * lean, ..Arc::default() };
        let fillet = |centre: Point, start: f64| Arc { centre, radius: radius / 2.0, start, sweep: -lean, ..disc };
        let on = |arc: &Arc, part: f64| arc.centre + arc.radius * Vec2::from_angle(arc.start + part * arc.sweep);
        // Coarser than what counts as exact; on a sweep of 48° the radius errs twelve times as much.
        let coarse = |arc: &Arc| {
            let (p0, p3, h) = (on(arc, 0.0), on(arc, 1.0), 4.0 / 3.0 * (arc.sweep.abs() / 4.0).tan() * arc.radius);
            let handle = 1.002 * h;
            vec![PathSeg::Cubic(CubicBez::new(
                p0,
                p0 + handle * arc.direction(p0),
                p3 - handle * arc.direction(p3),
                p3,
            ))]
        };
        let right = fillet(place, PI + lean);
        let left = fillet(Point::new(-place.x, place.y), 0.0);
        let part = |k: f64| Arc { start: disc.start + k * disc.sweep / 4.0, sweep: disc.sweep / 4.0, ..disc };
        let foot = Line::new((radius / 2.0, 4.0 * radius), (-radius / 2.0, 4.0 * radius));
        let path = closed([
            coarse(&left),
            (0..4).map(f64::from).flat_map(|k| coarse(&part(k))).collect(),
            coarse(&right),
            vec![PathSeg::Line(foot)],
        ]);
        let found = checked(&path);
        assert_eq!(found.len(), 3, "{found:?}");
        assert_near(&found[0], (-place.x, place.y), radius / 2.0, -lean, 0.003 * radius);
        assert_near(&found[1], (0.0, 0.0), radius, PI + 2.0 * lean, 0.002 * radius);
        assert_near(&found[2], (place.x, place.y), radius / 2.0, -lean, 0.003 * radius);
    }
}

#[test]
fn an_arc_may_start_within_a_cubic() {
    // Handles of 4/3 tan(φ/4) radii make the arc, then the same cubic is continued past its end by extrapolation.
    let arc = Arc { centre: Point::ORIGIN, radius: 50.0, start: 0.0, sweep: 4.0, rms: 0.0, worst: 0.0 };
    let at = |angle: f64| (50.0 * Vec2::from_angle(angle)).to_point();
    let mut edges = arc.cubics(at(0.0), at(4.0));
    let last = edges.len() - 1;
    let longer = edges[last].to_cubic().subsegment(0.0..1.6);
    edges[last] = PathSeg::Cubic(longer);
    let out = (longer.p3 - longer.p2).normalize();
    edges.push(PathSeg::Cubic(CubicBez::new(
        longer.p3,
        longer.p3 + 30.0 * out,
        Point::new(150.0, -120.0),
        Point::new(150.0, 0.0),
    )));
    let found = checked(&closed([edges]));
    assert_eq!(found.len(), 1);
    assert!(found[0].sweep > 3.9, "{found:?}");
    assert_near(&found[0], (0.0, 0.0), 50.0, found[0].sweep, 0.02);
}

#[test]
fn a_spurious_line_or_node_does_not_divide_an_arc() {
    let mut chance = Chance(8);
    let circle = round((0.0, 0.0), 40.0);
    for noise in [0.0, 0.03] {
        let gap = 0.5 / 40.0;
        let first = traced(&circle, (-2.0, 0.3), 2, noise, &mut chance);
        let second = traced(&circle, (0.3 + gap, 2.0), 2, noise, &mut chance);
        let found = checked(&closed([first, second]));
        assert_eq!(found.len(), 1);
        assert_near(&found[0], (0.0, 0.0), 40.0, 4.0, noise + 0.01);
        // All round, and cut twice.
        let first = traced(&circle, (-2.0, 0.3), 2, noise, &mut chance);
        let second = traced(&circle, (0.3 + gap, TAU - 2.0 - gap), 3, noise, &mut chance);
        let found = checked(&closed([first, second]));
        assert_eq!(found.len(), 1);
        assert_near(&found[0], (0.0, 0.0), 40.0, TAU, noise + 0.01);
    }
}

fn assert_no_arc(name: &str, curve: &dyn Fn(f64) -> Point, range: (f64, f64), cubics: u32, chance: &mut Chance) {
    for noise in [0.0, 0.03] {
        let path = closed([traced(curve, range, cubics, noise, chance)]);
        assert_eq!(arcs(&path, TOLERANCE).1, [], "{name}");
    }
}

#[test]
fn an_ellipse_is_no_circle() {
    let mut chance = Chance(9);
    for size in [20.0, 50.0, 120.0, 300.0] {
        for ratio in [0.5, 0.7, 0.85, 0.93, 0.97] {
            for cubics in [4, 6, 9] {
                let curve = |t: f64| Point::new(size / 2.0 * t.cos(), size / 2.0 * ratio * t.sin());
                assert_no_arc(&format!("{size} {ratio} {cubics}"), &curve, (0.3, 0.3 + TAU), cubics, &mut chance);
            }
        }
    }
}

#[test]
fn what_is_round_in_places_only_is_no_circle() {
    let mut chance = Chance(10);
    for size in [15.0, 40.0, 100.0, 150.0] {
        for k in [0.03, 0.1, 0.2] {
            let name = format!("{size} {k}");
            let power = |x: f64| x.abs().powf(1.0 - 2.0 * k) * x.signum();
            let superellipse = |t: f64| Point::new(size * power(t.cos()), size * power(t.sin()));
            assert_no_arc(&name, &superellipse, (0.3, 0.3 + TAU), 16, &mut chance);
            let spiral = |t: f64| (size * (k * t).exp() * Vec2::from_angle(t)).to_point();
            assert_no_arc(&name, &spiral, (0.0, 6.0), 7, &mut chance);
            let wave = |t: f64| Point::new(size * t, 4.0 * k * size * t.sin());
            assert_no_arc(&name, &wave, (0.3, 20.3), 20, &mut chance);
            let egg = |t: f64| (size * (1.0 + k * t.cos()) * Vec2::new(t.cos(), 0.9 * t.sin())).to_point();
            assert_no_arc(&name, &egg, (0.3, 0.3 + TAU), 8, &mut chance);
            let clover = |t: f64| (size * (1.0 + k * (3.0 * t).cos()) * Vec2::from_angle(t)).to_point();
            assert_no_arc(&name, &clover, (0.3, 0.3 + TAU), 12, &mut chance);
        }
    }
}

#[test]
fn a_loop_without_arcs_stays_as_it_is() {
    let path = BezPath::from_svg("M0 0 L100 0 L100 80 C60 90 30 70 0 80 Z M10 10 L20 10 L20 20 Z").unwrap();
    assert_eq!(arcs(&path, TOLERANCE), (path, vec![]));
}

#[test]
fn degenerate_loops_do_no_harm() {
    let paths = [
        "",
        "M5 5 Z",
        "M5 5",
        "M5 5 L5 5 Z",
        "M5 5 L9 9 Z",
        "M5 5 C5 5 5 5 5 5 Z",
        "M0 0 C0 0 9 9 9 9 Z",
        "M0 0 C10 10 20 20 30 30 C20 20 10 10 0 0 Z",
        "M0 0 C50 0 50 0 0 0 Z",
        "M0 0 C40 40 -40 40 0 0 Z",
        "M0 0 L0 0 L10 0 L10 0 L10 10 L10 10 Z",
        "M0 0 C0 0 0 0 0 0 C30 0 30 30 0 30 C-30 30 -30 0 0 0 Z",
        "M0 0 L1e300 0 L0 1e300 Z",
        "M0 0 C1e-300 0 1e-300 1e-300 0 1e-300 Z",
        "M0 0 C1e200 0 1e200 1e200 0 1e200 C-1e200 1e200 -1e200 0 0 0 Z",
        "M0 0 Q50 50 100 0 Z",
        "M0 0 C30 0 30 30 0 30",
    ];
    for text in paths {
        let path = BezPath::from_svg(text).unwrap();
        for tolerance in [0.0, 1e-9, 0.1, 1e9, f64::NAN] {
            let (out, _) = arcs(&path, tolerance);
            assert_eq!(out.elements().is_empty(), path.elements().is_empty(), "{text}");
        }
    }
}

#[test]
fn loops_of_chance_points_keep_what_is_promised() {
    let mut chance = Chance(11);
    for _ in 0..400 {
        let mut path = BezPath::new();
        let mut point = |size: f64| Point::new(size * chance.next(), size * chance.next());
        path.move_to(point(20.0));
        for k in 0..6 {
            match k % 3 {
                0 => path.line_to(point(20.0)),
                _ => path.curve_to(point(20.0), point(20.0), point(20.0)),
            }
        }
        path.close_path();
        let (out, _) = arcs(&path, 2.0 * TOLERANCE);
        assert!(farthest(&out, &path) <= 2.02 * TOLERANCE);
        assert!(farthest(&path, &out) <= 2.02 * TOLERANCE);
    }
}
