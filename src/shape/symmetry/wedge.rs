//! One part of a shape kept, and copied around.

use std::f64::consts::{PI, TAU};

use kurbo::{Affine, BezPath, CubicBez, Line, ParamCurve, PathSeg, Point, Vec2};

use super::mean::{set_end_direction, set_start_direction};
use super::rings::{Rings, direction, is_corner, is_smooth, joined};
use super::{Refused, Symmetry};
use crate::space::Space;

/// A curve that meets the axis within this of squarely, in radians, was meant to: 15°.
const SQUARE: f64 = 0.26;

/// The part of the plane between two rays from the centre, at most half of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wedge {
    /// Direction of the first ray, in radians.
    pub(super) from: f64,
    /// To the second one, clockwise on the screen.
    pub(super) width: f64,
}

impl Wedge {
    /// A wedge that holds everything once: between two axes, or, where there is none, between two rays that cross the
    /// outline as squarely as can be, best in the middle of lines, where no node is left behind.
    pub(super) fn of<S: Space>(path: &BezPath, symmetry: &Symmetry<S>) -> Self {
        let turns = f64::from(symmetry.turns);
        if let Some(from) = symmetry.axis {
            return Self { from, width: PI / turns };
        }
        let outline = Rings::new(path);
        let segments: Vec<PathSeg> = outline.loops.into_iter().flatten().collect();
        let candidates = segments.iter().map(|segment| {
            let t = if matches!(segment, PathSeg::Line(_)) { 0.5 } else { 0.0 };
            (segment.eval(t) - symmetry.centre.raw()).angle()
        });
        let squareness = |angle: &f64| {
            let ray = Vec2::from_angle(*angle);
            let local = Affine::rotate(-angle) * Affine::translate(-symmetry.centre.raw().to_vec2());
            let crossing = |segment: &PathSeg| {
                let there = local * *segment;
                let on_ray = zeros(&there).into_iter().filter(move |&t| there.eval(t).x > 0.0);
                on_ray.map(|t| direction(segment, t).cross(ray).abs()).fold(1.0, f64::min)
            };
            segments.iter().map(crossing).fold(1.0, f64::min)
        };
        let best = candidates.max_by(|a, b| squareness(a).total_cmp(&squareness(b)));
        Self { from: best.unwrap_or_default(), width: TAU / turns }
    }

    fn holds(&self, p: Point) -> bool {
        (0.0..self.width).contains(&p.to_vec2().angle().rem_euclid(TAU))
    }

    /// The two rays, the first along x.
    fn rays(&self) -> [Vec2; 2] {
        [Vec2::from_angle(0.0), Vec2::from_angle(self.width)]
    }
}

/// How the way goes on where it was cut.
#[derive(Clone, Copy, PartialEq, Eq)]
enum GoesOn {
    Smoothly,
    /// With so small a jump that it is no corner.
    Nearly,
    InCorner,
}

/// A way from one ray to the other or back, or a whole loop.
struct Chain {
    segments: Vec<PathSeg>,
    closed: bool,
    /// How the way goes on before its first and beyond its last place.
    goes_on: [GoesOn; 2],
}

/// The part of `path` in the wedge, and its images under the symmetry in place of the rest. Nodes within `reach` of a ray
/// are moved onto it.
pub(super) fn alike<S: Space>(
    path: &BezPath,
    symmetry: &Symmetry<S>,
    wedge: Wedge,
    reach: f64,
) -> Result<BezPath, Refused> {
    let local = Affine::rotate(-wedge.from) * Affine::translate(-symmetry.centre.raw().to_vec2());
    let outline = Rings::new(&(local * path.clone()));
    let extent = outline.extent();
    let mut chains: Vec<Chain> = Vec::new();
    for mut ring in outline.loops {
        snap(&mut ring, &wedge, reach);
        chains.extend(within(&ring, &wedge, 0.5 * reach));
    }
    if symmetry.axis.is_some() {
        chains.iter_mut().filter(|chain| !chain.closed).for_each(|chain| square_up(chain, &wedge, reach));
    } else {
        meet(&mut chains, &wedge)?;
    }
    let turned = |k: u32| Affine::rotate(TAU * f64::from(k) / f64::from(symmetry.turns));
    let mirror = symmetry.axis.map(|_| Affine::reflect(Point::ZERO, Vec2::new(1.0, 0.0)));
    let mut loops = Vec::new();
    let mut open = Vec::new();
    for k in 0..symmetry.turns {
        for chain in &chains {
            let mut put =
                |segments: Vec<PathSeg>| if chain.closed { loops.push(segments) } else { open.push(segments) };
            put(chain.segments.iter().map(|&s| turned(k) * s).collect());
            if let Some(mirror) = mirror {
                put(chain.segments.iter().rev().map(|&s| (turned(k) * mirror * s).reverse()).collect());
            }
        }
    }
    loops.extend(joined_up(open, 1e-6 * extent)?);
    Ok(local.inverse() * joined(&loops))
}

/// Moves nodes that nearly lie on a ray onto it.
fn snap(ring: &mut [PathSeg], wedge: &Wedge, reach: f64) {
    let n = ring.len();
    for i in 0..n {
        let p = ring[i].start();
        for ray in wedge.rays() {
            let along = p.to_vec2().dot(ray);
            let on = (ray * along).to_point();
            // The two rays of half a plane are one line.
            if on.distance(p) <= reach && (along > 0.0 || wedge.width > 3.0) {
                let before = &mut ring[(i + n - 1) % n];
                *before = with_end(before, on);
                ring[i] = with_start(&ring[i], on);
                break;
            }
        }
    }
}

/// The segment with another start; its handle goes along.
fn with_start(segment: &PathSeg, p: Point) -> PathSeg {
    match *segment {
        PathSeg::Line(line) => PathSeg::Line(Line::new(p, line.p1)),
        bent => {
            let c = bent.to_cubic();
            PathSeg::Cubic(CubicBez::new(p, c.p1 + (p - c.p0), c.p2, c.p3))
        }
    }
}

fn with_end(segment: &PathSeg, p: Point) -> PathSeg {
    with_start(&segment.reverse(), p).reverse()
}

/// The parts of a ring that lie in the wedge. A cut nearer than `near` to a node is that node.
fn within(ring: &[PathSeg], wedge: &Wedge, near: f64) -> Vec<Chain> {
    let back = Affine::rotate(-wedge.width);
    // Each part with whether it is inside, and how it goes on from the one before.
    let mut parts: Vec<(PathSeg, bool, GoesOn)> = Vec::new();
    for (i, segment) in ring.iter().enumerate() {
        let mut cuts = zeros(segment);
        cuts.extend(zeros(&(back * *segment)));
        cuts.sort_by(f64::total_cmp);
        let (start, end) = (segment.start(), segment.end());
        cuts.retain(|&t| [start, end].iter().all(|node| node.distance(segment.eval(t)) > near));
        cuts.dedup_by(|a, b| *a - *b < 1e-9);
        let ends: Vec<f64> = [0.0].into_iter().chain(cuts).chain([1.0]).collect();
        for (k, pair) in ends.windows(2).enumerate() {
            let part = if ends.len() == 2 { *segment } else { segment.subsegment(pair[0]..pair[1]) };
            let middle = part.eval(0.5);
            let along_a_ray = wedge
                .rays()
                .iter()
                .any(|ray| ray.cross(middle.to_vec2()).abs() < 1e-9 * (1.0 + middle.to_vec2().hypot()));
            parts.push((
                part,
                wedge.holds(middle) && !along_a_ray,
                if k > 0 { GoesOn::Smoothly } else { joint(ring, i) },
            ));
        }
    }
    let n = parts.len();
    let Some(first) = (0..n).find(|&i| parts[i].1 && !parts[(i + n - 1) % n].1) else {
        let whole = || Chain { segments: ring.to_vec(), closed: true, goes_on: [GoesOn::Smoothly; 2] };
        return if parts.iter().all(|part| part.1) { vec![whole()] } else { Vec::new() };
    };
    let around: Vec<usize> = (0..n).map(|k| (first + k) % n).collect();
    let runs = around.chunk_by(|&a, &b| parts[a].1 && parts[b].1).filter(|run| parts[run[0]].1);
    runs.map(|run| {
        let last = run[run.len() - 1];
        Chain {
            segments: run.iter().map(|&i| parts[i].0).collect(),
            closed: false,
            goes_on: [parts[run[0]].2, parts[(last + 1) % n].2],
        }
    })
    .collect()
}

fn joint(ring: &[PathSeg], i: usize) -> GoesOn {
    match (is_smooth(ring, i), is_corner(ring, i)) {
        (true, _) => GoesOn::Smoothly,
        (_, false) => GoesOn::Nearly,
        (_, true) => GoesOn::InCorner,
    }
}

/// Parameters where a segment crosses the x axis.
fn zeros(segment: &PathSeg) -> Vec<f64> {
    let CubicBez { p0, p1, p2, p3 } = segment.to_cubic();
    let roots = match segment {
        PathSeg::Line(_) => kurbo::common::solve_quadratic(p0.y, p3.y - p0.y, 0.0).into_iter().collect::<Vec<f64>>(),
        _ => {
            let (a, b, c) =
                (3.0 * (p1.y - p0.y), 3.0 * (p2.y - 2.0 * p1.y + p0.y), p3.y - 3.0 * p2.y + 3.0 * p1.y - p0.y);
            kurbo::common::solve_cubic(p0.y, a, b, c).into_iter().collect()
        }
    };
    roots.into_iter().filter(|t| (0.0..=1.0).contains(t)).collect()
}

/// Puts the ends of a chain exactly on the axes; what came there nearly square and was smooth becomes square, a line if that
/// moves it by no more than `reach`.
fn square_up(chain: &mut Chain, wedge: &Wedge, reach: f64) {
    let [first, last] = wedge.rays();
    let nearer = |p: Point| if first.cross(p.to_vec2()).abs() <= last.cross(p.to_vec2()).abs() { first } else { last };
    for end in [false, true] {
        let k = if end { chain.segments.len() - 1 } else { 0 };
        // Look at it as if the chain began there.
        let mut segment = if end { chain.segments[k].reverse() } else { chain.segments[k] };
        let ray = nearer(segment.start());
        segment = with_start(&segment, (ray * segment.start().to_vec2().dot(ray)).to_point());
        let out = direction(&segment, 0.0);
        let square = ray.turn_90() * ray.cross(out).signum();
        if chain.goes_on[usize::from(end)] != GoesOn::InCorner && out.dot(square) > SQUARE.cos() {
            match &mut segment {
                PathSeg::Line(line) => {
                    let square = (ray * line.p1.to_vec2().dot(ray)).to_point();
                    if square.distance(line.p0) <= reach {
                        line.p0 = square;
                    }
                }
                bent => set_start_direction(bent, square),
            }
        }
        chain.segments[k] = if end { segment.reverse() } else { segment };
    }
}

/// Makes what leaves the wedge by its second ray come in again at its first one.
fn meet(chains: &mut [Chain], wedge: &Wedge) -> Result<(), Refused> {
    let [first, last] = wedge.rays();
    // Number of the chain, whether its end, and the distance from the centre.
    let mut on: [Vec<(usize, bool, f64)>; 2] = [Vec::new(), Vec::new()];
    for (i, chain) in chains.iter().enumerate().filter(|(_, chain)| !chain.closed) {
        for (end, p) in [(false, chain.segments[0].start()), (true, chain.segments[chain.segments.len() - 1].end())] {
            let p = p.to_vec2();
            // The two rays of half a plane are told apart by the side of the centre.
            let at_first = if wedge.width > 3.0 { p.x > 0.0 } else { first.cross(p).abs() <= last.cross(p).abs() };
            on[usize::from(!at_first)].push((i, end, p.hypot()));
        }
    }
    on.iter_mut().for_each(|ends| ends.sort_by(|a, b| a.2.total_cmp(&b.2)));
    if on[0].len() != on[1].len() {
        return Err(Refused::Uneven);
    }
    let turn = Affine::rotate(wedge.width);
    for (a, b) in on[0].clone().into_iter().zip(on[1].clone()) {
        if a.1 == b.1 {
            return Err(Refused::Uneven);
        }
        let (a, b, radius) = ((a.0, a.1), (b.0, b.1), 0.5 * (a.2 + b.2));
        let way = |(chain, end): (usize, bool)| {
            let segments = &chains[chain].segments;
            if end { direction(&segments[segments.len() - 1], 1.0) } else { direction(&segments[0], 0.0) }
        };
        let smooth = |(chain, end): (usize, bool)| chains[chain].goes_on[usize::from(end)] == GoesOn::Smoothly;
        let turned = (turn * way(a).to_point()).to_vec2();
        let both = turned + way(b);
        let common = (smooth(a) && smooth(b)).then(|| both / both.hypot().max(f64::MIN_POSITIVE));
        let back = |v: Vec2| (turn.inverse() * v.to_point()).to_vec2();
        set(&mut chains[a.0], a.1, (first * radius).to_point(), common.map(back));
        set(&mut chains[b.0], b.1, (last * radius).to_point(), common);
    }
    Ok(())
}

fn set(chain: &mut Chain, end: bool, at: Point, along: Option<Vec2>) {
    let k = if end { chain.segments.len() - 1 } else { 0 };
    let segment = &mut chain.segments[k];
    *segment = if end { with_end(segment, at) } else { with_start(segment, at) };
    if let Some(along) = along {
        if end { set_end_direction(segment, along) } else { set_start_direction(segment, along) }
    }
}

/// Chains end to end, as loops.
fn joined_up(mut open: Vec<Vec<PathSeg>>, near: f64) -> Result<Vec<Vec<PathSeg>>, Refused> {
    let mut loops = Vec::new();
    while let Some(mut ring) = open.pop() {
        loop {
            let (start, end) = (ring[0].start(), ring[ring.len() - 1].end());
            // A line from the ray and back is no loop.
            if start.distance(end) <= near {
                let last = ring.len() - 1;
                ring[last] = with_end(&ring[last], start);
                break;
            }
            let next = open.iter().position(|chain| chain[0].start().distance(end) <= near).ok_or(Refused::Uneven)?;
            let chain = open.swap_remove(next);
            ring.push(with_start(&chain[0], end));
            ring.extend_from_slice(&chain[1..]);
        }
        loops.push(ring);
    }
    Ok(loops)
}
