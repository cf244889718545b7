//! A shape split along lines into parts that share their edges.
//!
//! The outline and the lines are a planar graph: its nodes are where they meet, each edge between two nodes is stored once,
//! and the parts are its faces (as in a doubly connected edge list, D. E. Muller and F. P. Preparata 1978). So two parts
//! have one and the same edge between them, to the last digit.

use kurbo::{BezPath, Line, ParamCurve as _, ParamCurveNearest as _, PathEl, PathSeg, Point, Shape as _};

use crate::shape::{Knot, Region, closed_spline, direction, open_spline};
use crate::space::{Path, Pattern, Point as Placed};

/// A line that ends so near to the edge, in mm, is meant to end on it.
const SNAP: f64 = 3.0;
/// Nodes nearer than this, in mm, are one.
const SAME: f64 = 1e-4;
/// So far from an edge one is surely on one side of it, mm.
const BESIDE: f64 = 1e-3;
/// How closely straight pieces follow a smooth line, mm.
const FINE: f64 = 0.02;

/// A shape split into parts.
#[derive(Clone, Debug)]
pub struct Division {
    /// The largest first; of one part, when there are no lines.
    pub parts: Vec<Part>,
    /// Edges between two parts.
    pub shared: Vec<Shared>,
}

/// One part.
#[derive(Clone, Debug)]
pub struct Part {
    /// Closed, oriented as the shape is.
    pub outline: Path<Pattern>,
    /// Those of its edges that it shares with nothing.
    pub free: Vec<Path<Pattern>>,
}

/// An edge between two parts.
#[derive(Clone, Debug)]
pub struct Shared {
    /// Open, stored once.
    pub edge: Path<Pattern>,
    /// Indices of the part on its left, with x to the right and y up, and of the one on its right; the same where a line ends
    /// nowhere and splits nothing.
    pub parts: [usize; 2],
    /// The angle at which each end meets the outline, in degrees, up to 90; `None`: it ends on another line.
    pub meets: [Option<f64>; 2],
}

/// Why a shape is not split.
#[derive(Clone, Debug, PartialEq)]
pub enum NotDivided {
    /// A line, by its number from 0, ends inside, so far from any edge.
    EndsInside(usize, Placed<Pattern>),
    /// A line never comes inside.
    Outside(usize),
    /// A line runs along a former one, or along the outline, from here on: nothing would be between the two.
    Along(usize, Option<usize>, Placed<Pattern>),
}

/// Splits what `outline` encloses along `lines`, each smooth through its points; one that ends where it begins cuts out what is
/// within it.
pub fn divide(outline: &Path<Pattern>, lines: &[Vec<Placed<Pattern>>]) -> Result<Division, NotDivided> {
    if lines.is_empty() {
        let part = Part { outline: outline.clone(), free: vec![outline.clone()] };
        return Ok(Division { parts: vec![part], shared: Vec::new() });
    }
    let mut graph = Graph::of(outline);
    let lines: Vec<Vec<Line>> = lines.iter().map(|line| straight(line)).collect();
    for (number, line) in lines.iter().enumerate() {
        if let Some((other, at)) = runs_along(line, outline, &lines[..number]) {
            return Err(NotDivided::Along(number, other, at));
        }
    }
    let inner = graph.cross(outline, &lines)?;
    Ok(graph.faces(outline, &inner))
}

/// A smooth line in short straight ones, reaching a little farther at both ends unless it is closed.
fn straight(points: &[Placed<Pattern>]) -> Vec<Line> {
    let n = points.len();
    if n > 3 && points[0] == points[n - 1] {
        let knots: Vec<Knot<Pattern>> = points[..n - 1].iter().map(|at| Knot { at: *at, corner: false }).collect();
        if let Ok(path) = closed_spline(&knots) {
            let around: Vec<Point> = path.flatten(FINE).concat().iter().map(|p| p.raw()).collect();
            let apart = |pair: &&[Point]| pair[0].distance(pair[1]) > 0.0;
            return around.windows(2).filter(apart).map(|pair| Line::new(pair[0], pair[1])).collect();
        }
    }
    let mut all: Vec<Point> = open_spline(points).flatten(FINE).concat().iter().map(|p| p.raw()).collect();
    let n = all.len();
    let (first, last) = ((all[0] - all[1]).normalize() * SNAP, (all[n - 1] - all[n - 2]).normalize() * SNAP);
    all[0] += first;
    all[n - 1] += last;
    all.windows(2).map(|pair| Line::new(pair[0], pair[1])).collect()
}

fn is_closed(line: &[Line]) -> bool {
    line[0].p0 == line[line.len() - 1].p1
}

/// Where a line begins to run along one of `before`, by its number, or along the outline.
fn runs_along(
    line: &[Line],
    outline: &Path<Pattern>,
    before: &[Vec<Line>],
) -> Option<(Option<usize>, Placed<Pattern>)> {
    /// Lines that are nearer than this over so much of their length leave nothing between them, mm.
    const NEAR: f64 = 0.3;
    const LONG: f64 = 12.0;
    const STEP: f64 = 0.5;
    let outline: Vec<PathSeg> = outline.raw().segments().collect();
    let others = before.iter().enumerate().map(|(number, other)| {
        (Some(number), other.iter().map(|piece| PathSeg::Line(*piece)).collect::<Vec<PathSeg>>())
    });
    let others: Vec<(Option<usize>, Vec<PathSeg>)> = std::iter::once((None, outline)).chain(others).collect();
    let places: Vec<Point> = line
        .iter()
        .flat_map(|piece| {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded by the step")]
            let count = (piece.length() / STEP).ceil().max(1.0) as u32;
            (0..count).map(move |k| piece.eval(f64::from(k) / f64::from(count)))
        })
        .collect();
    let along = |(number, segments): &(Option<usize>, Vec<PathSeg>)| {
        let near = |at: &Point| {
            let close = |s: &PathSeg| s.bounding_box().inset(NEAR).contains(*at);
            segments.iter().filter(|s| close(s)).any(|s| s.nearest(*at, 1e-3).distance_sq < NEAR * NEAR)
        };
        let mut first: Option<Point> = None;
        for at in &places {
            first = near(at).then(|| first.unwrap_or(*at));
            if let Some(first) = first.filter(|first| first.distance(*at) > LONG) {
                return Some((*number, Placed::from(first)));
            }
        }
        None
    };
    others.iter().find_map(along)
}

/// The outline, loop by loop, and all places where something meets it.
struct Graph {
    loops: Vec<Vec<PathSeg>>,
    nodes: Vec<Point>,
    /// Nodes on the outline: loop, place along it as segment and parameter in one, node.
    on_outline: Vec<(usize, f64, usize)>,
}

/// A line between two nodes, inside.
struct Inner {
    points: Vec<Point>,
    ends: [usize; 2],
}

impl Graph {
    fn of(outline: &Path<Pattern>) -> Self {
        let elements = outline.raw().elements().chunk_by(|_, next| !matches!(next, PathEl::MoveTo(_)));
        let real =
            |segment: &PathSeg| segment.start().distance(segment.end()) > 1e-9 || !matches!(segment, PathSeg::Line(_));
        let loops = elements.map(|part| kurbo::segments(part.iter().copied()).filter(real).collect()).collect();
        Self { loops, nodes: Vec::new(), on_outline: Vec::new() }
    }

    fn node(&mut self, at: Point) -> usize {
        if let Some(found) = self.nodes.iter().position(|node| node.distance(at) < SAME) {
            return found;
        }
        self.nodes.push(at);
        self.nodes.len() - 1
    }

    /// Finds every node, and gives the parts of lines that lie between two of them inside.
    fn cross(&mut self, outline: &Path<Pattern>, lines: &[Vec<Line>]) -> Result<Vec<Inner>, NotDivided> {
        // Of each line: where along it something meets it, and the node there.
        let mut met: Vec<Vec<(f64, usize)>> = vec![Vec::new(); lines.len()];
        for (number, line) in lines.iter().enumerate() {
            for (k, piece) in line.iter().enumerate() {
                self.cross_outline(piece, k, &mut met[number]);
                for (other, before) in lines[..number].iter().enumerate() {
                    for (j, with) in before.iter().enumerate() {
                        let Some((s, t)) = crossing(*piece, *with) else { continue };
                        let node = self.node(piece.eval(s));
                        met[number].push((place(k, s), node));
                        met[other].push((place(j, t), node));
                    }
                }
            }
        }
        let mut inner = Vec::new();
        for (number, line) in lines.iter().enumerate() {
            if is_closed(line) {
                // Where it begins, and once more, so that it runs between two nodes.
                let half = line.len() / 2;
                let (start, other) = (self.node(line[0].p0), self.node(line[half].p0));
                met[number].extend([(0.0, start), (place(half, 0.0), other), (place(line.len(), 0.0), start)]);
            }
            met[number].sort_by(|a, b| a.0.total_cmp(&b.0));
            met[number].dedup_by(|a, b| a.1 == b.1 && (a.0 - b.0).abs() < 1e-3);
            self.check_ends(outline, number, line, &met[number])?;
            let before = inner.len();
            for pair in met[number].windows(2) {
                let points = between(line, pair[0].0, pair[1].0, [self.nodes[pair[0].1], self.nodes[pair[1].1]]);
                let middle = middle(&points);
                if pair[0].1 != pair[1].1 && outline.raw().winding(middle) % 2 != 0 {
                    inner.push(Inner { points, ends: [pair[0].1, pair[1].1] });
                }
            }
            if inner.len() == before {
                return Err(NotDivided::Outside(number));
            }
        }
        self.on_outline.sort_by(|a, b| (a.0, a.1).partial_cmp(&(b.0, b.1)).expect("places are finite"));
        self.on_outline.dedup_by(|a, b| a.0 == b.0 && a.2 == b.2);
        Ok(inner)
    }

    fn cross_outline(&mut self, piece: &Line, k: usize, met: &mut Vec<(f64, usize)>) {
        for number in 0..self.loops.len() {
            for i in 0..self.loops[number].len() {
                let segment = self.loops[number][i];
                for hit in segment.intersect_line(*piece) {
                    let (t, s) = (hit.segment_t.clamp(0.0, 1.0), hit.line_t.clamp(0.0, 1.0));
                    let node = self.node(segment.eval(t));
                    met.push((place(k, s), node));
                    self.on_outline.push((number, place(i, t), node));
                }
            }
        }
    }

    /// A line that ends inside far from everything was not drawn to its end.
    fn check_ends(
        &self,
        outline: &Path<Pattern>,
        number: usize,
        line: &[Line],
        met: &[(f64, usize)],
    ) -> Result<(), NotDivided> {
        let last = line.len() - 1;
        let ends = [(line[0].p0, met.first()), (line[last].p1, met.last())];
        for (end, nearest) in ends {
            let near = nearest.is_some_and(|(_, node)| self.nodes[*node].distance(end) < 2.0 * SNAP + SAME);
            if !near && outline.raw().winding(end) % 2 != 0 {
                return Err(NotDivided::EndsInside(number, end.into()));
            }
        }
        Ok(())
    }

    /// The outline between nodes, each piece in the direction of its loop; a loop that nothing meets is one piece.
    fn arcs(&self) -> (Vec<Arc>, Vec<BezPath>) {
        let (mut arcs, mut whole) = (Vec::new(), Vec::new());
        for (number, segments) in self.loops.iter().enumerate() {
            let nodes: Vec<(f64, usize)> =
                self.on_outline.iter().filter(|(of, ..)| *of == number).map(|(_, at, node)| (*at, *node)).collect();
            if nodes.is_empty() {
                let mut path = BezPath::from_path_segments(segments.iter().copied());
                path.close_path();
                whole.push(path);
                continue;
            }
            for (k, (from, start)) in nodes.iter().enumerate() {
                let (to, end) = nodes[(k + 1) % nodes.len()];
                #[expect(clippy::cast_precision_loss, reason = "a count of segments")]
                let to = if k + 1 < nodes.len() { to } else { to + segments.len() as f64 };
                let path = run(segments, *from, to, self.nodes[*start], self.nodes[end]);
                if path.segments().next().is_some() {
                    arcs.push(Arc { path, ends: [*start, end] });
                }
            }
        }
        (arcs, whole)
    }

    fn faces(&self, outline: &Path<Pattern>, inner: &[Inner]) -> Division {
        let (arcs, whole) = self.arcs();
        let mut sides: Vec<Side> = arcs.iter().map(|arc| Side::new(arc.path.clone(), arc.ends, None)).collect();
        for (number, line) in inner.iter().enumerate() {
            let path = polyline(&line.points);
            sides.push(Side::new(path.clone(), line.ends, Some((number, false))));
            sides.push(Side::new(backwards(&path), [line.ends[1], line.ends[0]], Some((number, true))));
        }
        let mut face_of = vec![usize::MAX; sides.len()];
        let mut faces: Vec<Vec<usize>> = Vec::new();
        for start in 0..sides.len() {
            if face_of[start] != usize::MAX {
                continue;
            }
            let mut face = Vec::new();
            let mut at = start;
            while face_of[at] == usize::MAX {
                face_of[at] = faces.len();
                face.push(at);
                at = next(&sides, at);
            }
            faces.push(face);
        }
        let loop_of = |face: &Vec<usize>| {
            let mut path = BezPath::from_path_segments(face.iter().flat_map(|side| sides[*side].path.segments()));
            path.close_path();
            path
        };
        // A loop that runs the other way is an opening of the part around it.
        let sign = outline.raw().area().signum();
        let around = |path: &BezPath| path.area() * sign > 0.0;
        let (outer, openings): (Vec<Face>, Vec<Face>) =
            faces.iter().map(loop_of).enumerate().partition(|(_, path)| around(path));
        let (more, holes): (Vec<BezPath>, Vec<BezPath>) = whole.into_iter().partition(around);
        let openings = openings
            .into_iter()
            .map(|(face, path)| (Some(face), path))
            .chain(holes.into_iter().map(|path| (None, path)));
        let mut parts: Vec<(Vec<usize>, BezPath)> = outer.into_iter().map(|(face, path)| (vec![face], path)).collect();
        parts.extend(more.into_iter().map(|path| (Vec::new(), path)));
        let bodies: Vec<BezPath> = parts.iter().map(|(_, path)| path.clone()).collect();
        for (face, opening) in openings {
            // A little beside it, on the side of the foam: on it lies the part within as well.
            let beside = |s: PathSeg| s.eval(0.37) + direction(&s, 0.37).turn_90() * (sign * BESIDE);
            let spot = opening.segments().next().map_or(Point::ZERO, beside);
            let around = (0..bodies.len()).filter(|k| bodies[*k].winding(spot) != 0);
            if let Some(k) = around.min_by(|a, b| bodies[*a].area().abs().total_cmp(&bodies[*b].area().abs())) {
                parts[k].0.extend(face);
                parts[k].1.extend(opening);
            }
        }
        parts.sort_by(|a, b| b.1.area().abs().total_cmp(&a.1.area().abs()));
        let part_of = |side: usize| parts.iter().position(|(faces, _)| faces.contains(&face_of[side])).unwrap_or(0);
        let shared = inner.iter().enumerate().map(|(number, line)| {
            let side = arcs.len() + 2 * number;
            let edge = polyline(&line.points);
            let meets = [0, 1].map(|end| self.meets(&edge, line.ends[end], end == 1, &arcs));
            Shared { edge: Path::new(edge), parts: [part_of(side), part_of(side + 1)], meets }
        });
        let shared = shared.collect();
        let free = |faces: &Vec<usize>, path: &BezPath| -> Vec<Path<Pattern>> {
            let arcs =
                (0..arcs.len()).filter(|side| faces.contains(&face_of[*side])).map(|side| arcs[side].path.clone());
            let loops = path.elements().chunk_by(|_, next| !matches!(next, PathEl::MoveTo(_)));
            let untouched = loops.map(|l| BezPath::from_vec(l.to_vec())).filter(|l| {
                l.segments()
                    .next()
                    .is_some_and(|first| !sides.iter().any(|side| side.path.segments().any(|s| s == first)))
            });
            arcs.chain(untouched).map(Path::new).collect()
        };
        let parts =
            parts.iter().map(|(faces, path)| Part { outline: Path::new(path.clone()), free: free(faces, path) });
        Division { parts: parts.collect(), shared }
    }

    /// The angle between a line and the outline at one of its ends.
    fn meets(&self, edge: &BezPath, node: usize, at_end: bool, arcs: &[Arc]) -> Option<f64> {
        let lead = |path: &BezPath, from_end: bool| {
            let segments: Vec<PathSeg> = path.segments().collect();
            let (segment, t) = if from_end { (segments.last()?, 0.9) } else { (segments.first()?, 0.1) };
            Some(segment.eval(t) - if from_end { segment.end() } else { segment.start() })
        };
        let way = lead(edge, at_end)?.normalize();
        let beside = arcs.iter().flat_map(|arc| {
            [
                (arc.ends[0] == node).then(|| lead(&arc.path, false)),
                (arc.ends[1] == node).then(|| lead(&arc.path, true)),
            ]
        });
        let angle = |along: kurbo::Vec2| way.dot(along.normalize()).clamp(-1.0, 1.0).acos().to_degrees().min(90.0);
        beside.flatten().flatten().map(angle).min_by(f64::total_cmp)
    }
}

/// Number of a face, and the loop around it.
type Face = (usize, BezPath);

struct Arc {
    path: BezPath,
    ends: [usize; 2],
}

/// A path from one node to another, with a part on its left.
struct Side {
    path: BezPath,
    ends: [usize; 2],
    /// Number of the inner line, and whether it is taken backwards; `None`: of the outline.
    line: Option<(usize, bool)>,
    leaves: f64,
    arrives: f64,
}

impl Side {
    fn new(path: BezPath, ends: [usize; 2], line: Option<(usize, bool)>) -> Self {
        let segments: Vec<PathSeg> = path.segments().collect();
        let (first, last) = (segments[0], segments[segments.len() - 1]);
        // Directions close to the node, yet not so close that rounding shows.
        let ahead = |segment: &PathSeg, from_end: bool| {
            let part = (0.02 / segment.perimeter(1e-2).max(0.02)).clamp(1e-3, 0.5);
            if from_end { segment.eval(1.0 - part) - segment.end() } else { segment.eval(part) - segment.start() }
        };
        Self { leaves: ahead(&first, false).atan2(), arrives: ahead(&last, true).atan2(), path, ends, line }
    }
}

/// The side that goes on around the same part: the first one to the right of where this one came from.
fn next(sides: &[Side], at: usize) -> usize {
    let side = &sides[at];
    let twin = |other: &Side| match (other.line, side.line) {
        (Some((a, way)), Some((b, back))) => a == b && way != back,
        _ => false,
    };
    let turn = |other: &usize| {
        let turn = (side.arrives - sides[*other].leaves).rem_euclid(std::f64::consts::TAU);
        // Straight back is the last way out.
        if twin(&sides[*other]) || turn < 1e-9 { std::f64::consts::TAU } else { turn }
    };
    let leaving = (0..sides.len()).filter(|other| sides[*other].ends[0] == side.ends[1]);
    leaving.min_by(|a, b| turn(a).total_cmp(&turn(b))).expect("a way leads out of every node")
}

/// Segment and parameter in one number.
fn place(segment: usize, t: f64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a count of segments")]
    let whole = segment as f64;
    whole + t
}

fn crossing(a: Line, b: Line) -> Option<(f64, f64)> {
    let hit = PathSeg::Line(b).intersect_line(a).first().copied()?;
    Some((hit.line_t, hit.segment_t))
}

/// The points of a line from one place on it to another, its ends at their nodes.
fn between(line: &[Line], from: f64, to: f64, ends: [Point; 2]) -> Vec<Point> {
    #[expect(clippy::cast_precision_loss, reason = "a count of segments")]
    let corners = line.iter().enumerate().map(|(k, piece)| ((k + 1) as f64, piece.p1));
    let inside = corners.filter(|(at, p)| *at > from && *at < to && ends.iter().all(|end| end.distance(*p) > SAME));
    std::iter::once(ends[0]).chain(inside.map(|(_, p)| p)).chain([ends[1]]).collect()
}

fn middle(points: &[Point]) -> Point {
    let k = (points.len() - 1) / 2;
    points[k].midpoint(points[k + 1])
}

fn polyline(points: &[Point]) -> BezPath {
    let mut path = BezPath::new();
    for (k, point) in points.iter().enumerate() {
        if k == 0 { path.move_to(*point) } else { path.line_to(*point) }
    }
    path
}

fn backwards(path: &BezPath) -> BezPath {
    BezPath::from_path_segments(path.segments().collect::<Vec<_>>().into_iter().rev().map(|segment| segment.reverse()))
}

/// A loop from one place on it to another, beyond its end where it has to, its ends at their nodes.
fn run(segments: &[PathSeg], from: f64, to: f64, start: Point, end: Point) -> BezPath {
    let mut path = BezPath::new();
    path.move_to(start);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place on the loop")]
    let (mut k, mut t) = (from.floor() as usize, from.fract());
    loop {
        #[expect(clippy::cast_precision_loss, reason = "a count of segments")]
        let (here, last) = (k as f64, to);
        let stop = last - here;
        let segment = segments[k % segments.len()];
        let until = stop.min(1.0);
        if until > t {
            let part = segment.subsegment(t..until);
            if part.start().distance(part.end()) > SAME || part.perimeter(1e-3) > SAME {
                path.push(part.as_path_el());
            }
        }
        if stop <= 1.0 {
            break;
        }
        (k, t) = (k + 1, 0.0);
    }
    // The ends are the nodes, to the last digit.
    if let Some(PathEl::LineTo(p) | PathEl::CurveTo(_, _, p)) = path.elements_mut().last_mut() {
        *p = end;
    }
    path
}

impl Part {
    /// What it covers.
    pub fn region(&self) -> Region<Pattern> {
        Region::of(&self.outline)
    }
}

#[cfg(test)]
mod tests {
    use kurbo::{Circle, Rect};
    use proptest::prelude::*;

    use super::*;

    fn line(points: &[(f64, f64)]) -> Vec<Placed<Pattern>> {
        points.iter().map(|&(x, y)| Placed::new(x, y)).collect()
    }

    fn area(path: &Path<Pattern>) -> f64 {
        path.raw().area()
    }

    #[track_caller]
    fn sound(outline: &Path<Pattern>, division: &Division) {
        let sum: f64 = division.parts.iter().map(|part| area(&part.outline)).sum();
        assert!((sum - area(outline)).abs() < 1e-3 * area(outline), "{sum} is not {}", area(outline));
        // Every edge between parts is there exactly twice, once each way.
        for shared in &division.shared {
            let ends: Vec<Point> = shared.edge.raw().segments().map(|segment| segment.start()).collect();
            for start in ends {
                let count: usize = division
                    .parts
                    .iter()
                    .map(|part| {
                        part.outline.raw().segments().filter(|s| s.start() == start || s.end() == start).count()
                    })
                    .sum();
                assert!(count >= 4 || count == 0, "{start:?}: {count}");
            }
        }
    }

    #[test]
    fn a_rectangle_is_split_by_one_line_into_two() {
        let outline = Path::new(Rect::new(0.0, 0.0, 100.0, 60.0).to_path(0.1));
        let found = divide(&outline, &[line(&[(40.0, -10.0), (40.0, 80.0)])]).expect("two parts");
        sound(&outline, &found);
        let areas: Vec<f64> = found.parts.iter().map(|part| area(&part.outline)).collect();
        assert_eq!(areas, [3600.0, 2400.0]);
        assert_eq!(found.shared.len(), 1);
        assert!(found.shared[0].meets.iter().all(|angle| angle.is_some_and(|angle| (angle - 90.0).abs() < 1e-6)));
        assert_eq!(found.parts[0].free.len(), 1);
    }

    #[test]
    fn lines_that_end_on_each_other_and_just_short_of_the_edge_split_too() {
        let outline = Path::new(Circle::new((0.0, 0.0), 100.0).to_path(1e-4));
        let lines = [line(&[(-98.5, 0.0), (98.5, 0.0)]), line(&[(0.0, 1.5), (0.0, 120.0)])];
        let found = divide(&outline, &lines).expect("three parts");
        sound(&outline, &found);
        assert_eq!(found.parts.len(), 3);
        assert_eq!(found.shared.len(), 3);
        assert_eq!(found.shared.iter().flat_map(|shared| shared.meets).filter(Option::is_none).count(), 3);
    }

    #[test]
    fn a_ring_is_split_through_its_opening_and_keeps_the_opening_of_a_part() {
        let mut ring = Circle::new((0.0, 0.0), 100.0).to_path(1e-4);
        ring.extend(Circle::new((0.0, 0.0), 40.0).to_path(1e-4).reverse_subpaths());
        ring.extend(Circle::new((70.0, 0.0), 8.0).to_path(1e-4).reverse_subpaths());
        let outline = Path::new(ring);
        let found = divide(&outline, &[line(&[(0.0, -120.0), (0.0, 120.0)])]).expect("two parts");
        sound(&outline, &found);
        assert_eq!((found.parts.len(), found.shared.len()), (2, 2));
        assert!(
            (area(&found.parts[0].outline) - area(&found.parts[1].outline)).abs() - std::f64::consts::PI * 64.0 < 0.1
        );
    }

    #[test]
    fn a_line_through_a_corner_meets_it_once() {
        let outline = Path::new(Rect::new(0.0, 0.0, 60.0, 60.0).to_path(0.1));
        let found = divide(&outline, &[line(&[(-5.0, -5.0), (65.0, 65.0)])]).expect("two parts");
        sound(&outline, &found);
        assert_eq!(found.parts.iter().map(|part| area(&part.outline)).collect::<Vec<_>>(), [1800.0, 1800.0]);
    }

    #[test]
    fn a_line_that_ends_inside_and_one_that_is_outside_are_refused() {
        let outline = Path::new(Rect::new(0.0, 0.0, 100.0, 60.0).to_path(0.1));
        let inside = divide(&outline, &[line(&[(40.0, -10.0), (40.0, 30.0)])]);
        assert!(matches!(inside, Err(NotDivided::EndsInside(0, at)) if (at.y - 33.0).abs() < 1e-9), "{inside:?}");
        assert_eq!(divide(&outline, &[line(&[(200.0, 0.0), (200.0, 60.0)])]).err(), Some(NotDivided::Outside(0)));
    }

    #[test]
    fn a_closed_line_cuts_out_what_is_within_it() {
        let outline = Path::new(Rect::new(0.0, 0.0, 200.0, 120.0).to_path(0.1));
        let ring = |x: f64| line(&[(x, 20.0), (x + 40.0, 60.0), (x, 100.0), (x - 40.0, 60.0), (x, 20.0)]);
        let inside = divide(&outline, &[ring(100.0)]).expect("two parts");
        sound(&outline, &inside);
        assert_eq!(inside.parts.len(), 2);
        assert!((area(&inside.parts[1].outline) - std::f64::consts::PI * 1600.0).abs() < 60.0);
        assert!(inside.shared.iter().all(|shared| shared.parts[0] != shared.parts[1]), "{:?}", inside.shared);
        // Corners to the left, one within another, and one around an opening.
        let square = |x0: f64, y0: f64, x1: f64, y1: f64| line(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]);
        for (lines, parts) in [
            (vec![square(60.0, 40.0, 120.0, 90.0)], 2),
            (vec![square(40.0, 30.0, 150.0, 100.0), square(70.0, 50.0, 110.0, 80.0)], 3),
        ] {
            let found = divide(&outline, &lines).expect("parts");
            sound(&outline, &found);
            assert_eq!(found.parts.len(), parts);
            assert!(found.parts.iter().all(|part| area(&part.outline) > 500.0));
        }
        let mut pierced = Rect::new(0.0, 0.0, 200.0, 120.0).to_path(0.1);
        pierced.extend(Circle::new((100.0, 60.0), 12.0).to_path(1e-4).reverse_subpaths());
        let pierced = Path::new(pierced);
        for lines in [vec![ring(100.0)], vec![square(70.0, 30.0, 130.0, 90.0)]] {
            let found = divide(&pierced, &lines).expect("a frame and a ring");
            sound(&pierced, &found);
            let openings: Vec<usize> = found
                .parts
                .iter()
                .map(|part| part.outline.raw().elements().iter().filter(|e| matches!(e, PathEl::MoveTo(_))).count())
                .collect();
            assert_eq!(openings, [2, 2]);
        }
        // One that leaves the piece takes a bite out of it, and one that another line crosses is in two.
        let bite = divide(&outline, &[ring(190.0)]).expect("two parts");
        sound(&outline, &bite);
        assert_eq!(bite.parts.len(), 2);
        let crossed = divide(&outline, &[ring(100.0), line(&[(100.0, -5.0), (100.0, 130.0)])]).expect("four parts");
        sound(&outline, &crossed);
        assert_eq!(crossed.parts.len(), 4);
    }

    #[test]
    fn lines_along_one_another_and_along_the_edge_are_refused() {
        let outline = Path::new(Rect::new(0.0, 0.0, 100.0, 60.0).to_path(0.1));
        let across = line(&[(40.0, -10.0), (40.0, 80.0)]);
        for (other, expected) in [
            (across.clone(), Some(0)),
            (line(&[(40.1, 20.0), (40.1, 80.0)]), Some(0)),
            (line(&[(0.1, -10.0), (0.1, 80.0)]), None),
        ] {
            let found = divide(&outline, &[across.clone(), other]);
            assert!(matches!(found, Err(NotDivided::Along(1, with, _)) if with == expected), "{found:?}");
        }
        let aslant = divide(&outline, &[across, line(&[(42.0, -10.0), (36.0, 80.0)])]).expect("four parts");
        sound(&outline, &aslant);
        assert_eq!(aslant.parts.len(), 4);
    }

    proptest! {
        #[test]
        fn areas_of_parts_are_that_of_the_whole(
            ends in prop::collection::vec((0.0..std::f64::consts::TAU, 0.6..5.6f64), 1..4),
            bump in -25.0..25.0f64,
        ) {
            let outline = Path::new(Circle::new((0.0, 0.0), 100.0).to_path(1e-3));
            let lines: Vec<_> = ends.iter().map(|(a, b)| {
                let at = |turn: f64| (110.0 * turn.cos(), 110.0 * turn.sin());
                let (from, to) = (at(*a), at(a + b));
                let middle = (f64::midpoint(from.0, to.0) + bump, f64::midpoint(from.1, to.1) + bump);
                line(&[from, middle, to])
            }).collect();
            if let Ok(found) = divide(&outline, &lines) {
                let sum: f64 = found.parts.iter().map(|part| area(&part.outline)).sum();
                prop_assert!((sum - area(&outline)).abs() < 1e-3 * area(&outline), "{sum} of {}", found.parts.len());
                for part in &found.parts {
                    prop_assert!(area(&part.outline) > 0.0);
                }
            }
        }
    }
}
