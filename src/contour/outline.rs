//! Edge points of one border → a closed loop of lines and cubics, and how truly it follows them.

use kurbo::{BezPath, PathEl, Point, Vec2};
use rayon::prelude::*;

use super::corner::{Corner, corners};
use super::course::{Ring, Stretch};
use super::fit::fewest;
use super::spline::{Known, drifts, smooth};

/// A side whose points keep to the line between its corners this closely, in pixels, is that line.
const UNSEEN: f64 = 0.04;
/// A corner is astray when the line from it passes a straight side at this distance, in pixels.
const ASTRAY: f64 = 0.3;
/// Where edge points lie farther apart, in pixels, the gap is filled along a line.
const FARTHEST: f64 = 2.0;

/// A closed loop and its distance from the points it was fitted to.
pub(super) struct Loop {
    pub(super) path: BezPath,
    pub(super) corners: Vec<Point>,
    /// Squared distances of the edge points, one each.
    pub(super) misses: Vec<f64>,
    /// It follows the sides of pixels, because nothing smooth fits.
    pub(super) by_pixels: bool,
}

/// The edge along one border, measured.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    /// In the order of the border.
    pub(super) points: Vec<Point>,
    /// Variance of the blur in square pixels.
    pub(super) blur: f64,
    /// What the standard deviation of the points is at least, in pixels.
    pub(super) least_noise: f64,
    /// The part of the edge that is much softer than the rest.
    pub(super) soft: f64,
}

impl Measured {
    /// Whether there are points enough for a smooth loop.
    pub(super) const fn is_enough(&self) -> bool {
        self.points.len() >= 8
    }
}

/// Fits a closed loop through the points of an edge, within `tolerance` of them smoothed. `None` for too few points.
pub(super) fn trace(edge: &Measured, tolerance: f64) -> Option<Loop> {
    if !edge.is_enough() {
        return None;
    }
    let ring = Ring::new(edge.points.clone(), edge.least_noise);
    let mut found = corners(&ring, edge.blur.sqrt());
    let mut path = BezPath::new();
    let mut used = Vec::with_capacity(ring.len());
    if found.is_empty() {
        let known = Known { noise: ring.noise, blur: edge.blur, closed: true };
        let curve = smooth(&filled(&ring.points, true), known)?;
        let (start, elements) = fewest(&curve, tolerance, 0.2 * ring.noise);
        path.move_to(start);
        elements.into_iter().for_each(|e| path.push(e));
        used.extend_from_slice(&ring.points);
    } else {
        let n = found.len();
        let sides: Vec<Vec<(f64, Point)>> = (0..n).map(|i| between(&ring, &found[i], &found[(i + 1) % n])).collect();
        let lines: Vec<Option<Stretch>> = sides.iter().map(|points| straight(points, ring.noise)).collect();
        found = (0..n)
            .map(|i| {
                let before = (i + n - 1) % n;
                let end = found[i].arc + if i == 0 { ring.length } else { 0.0 };
                found[i].between_lines(
                    lines[before].as_ref().map(|line| (line, end)),
                    lines[i].as_ref().map(|line| (line, found[i].arc)),
                    ring.length,
                )
            })
            .collect();
        // Where corners have moved, other points lie between them.
        let sides: Vec<Vec<(f64, Point)>> = (0..n).map(|i| between(&ring, &found[i], &found[(i + 1) % n])).collect();
        path.move_to(found[0].at);
        let drawn = |(i, points): (usize, &Vec<(f64, Point)>)| -> Vec<PathEl> {
            let next = &found[(i + 1) % n];
            let mut elements = Vec::new();
            if let (Some(line), Some(first), Some(last)) = (&lines[i], points.first(), points.last()) {
                let places = keep_to(line, [first.0, last.0], [found[i].at, next.at], ring.noise);
                elements.extend(places.map(PathEl::LineTo));
            }
            if lines[i].is_some() || points.len() < 4 {
                elements.push(PathEl::LineTo(next.at));
            } else {
                let points: Vec<Point> = points.iter().map(|(_, p)| *p).collect();
                elements.extend(side(&ring, &found[i], &points, next, edge.blur, tolerance));
            }
            elements
        };
        let drawn: Vec<Vec<PathEl>> = sides.par_iter().enumerate().map(drawn).collect();
        drawn.into_iter().flatten().for_each(|element| path.push(element));
        used.extend(sides.iter().flatten().map(|(_, p)| *p));
    }
    path.close_path();
    drop_closing_line(&mut path);
    let misses = misses(&path, &used);
    Some(Loop { path, corners: found.iter().map(|c| c.at).collect(), misses, by_pixels: false })
}

/// The line through a side's points if they tell of nothing else.
fn straight(points: &[(f64, Point)], noise: f64) -> Option<Stretch> {
    let line = (points.len() >= 4).then(|| Stretch::fit(points, 1)).flatten()?;
    let along = line.along(points[0].0) / line.along(points[0].0).hypot().max(1e-12);
    let off: Vec<f64> = points.iter().map(|(s, p)| along.cross(*p - line.at(*s))).collect();
    let near = off.iter().all(|d| d.abs() <= 5.0 * noise + 0.1);
    (near && !drifts(&off, noise, UNSEEN)).then_some(line)
}

/// Where the line between two `corners` would leave the points of a straight side, because noise has moved a corner: the
/// ends of the side itself, so that only the rounded part beside the corner suffers.
fn keep_to(line: &Stretch, ends: [f64; 2], corners: [Point; 2], noise: f64) -> impl Iterator<Item = Point> {
    let [a, b] = corners;
    let chord = (b - a) / (b - a).hypot().max(1e-12);
    let places = ends.map(|s| line.at(s));
    places.into_iter().filter(move |p| chord.cross(*p - a).abs() > ASTRAY + 2.0 * noise)
}

/// The bent way from a corner to the next.
fn side(ring: &Ring, from: &Corner, points: &[Point], to: &Corner, blur: f64, tolerance: f64) -> Vec<PathEl> {
    let line = vec![PathEl::LineTo(to.at)];
    // Close to a corner, blur has spoilt the points; there the side is carried on as it goes further off.
    let carried = |to: Point, corner: Point| (0..60).map(f64::from).take_while(move |d| *d < corner.distance(to) - 0.5);
    let mut all: Vec<Point> = carried(points[0], from.at).map(|d| from.out_of.at(d)).collect();
    all.extend_from_slice(points);
    let after: Vec<Point> = carried(points[points.len() - 1], to.at).map(|d| to.into.at(-d)).collect();
    all.extend(after.into_iter().rev());
    let known = Known { noise: ring.noise, blur, closed: false };
    let Some(curve) = smooth(&filled(&all, false), known) else { return line };
    let (start, mut elements) = fewest(&curve, tolerance, 0.2 * ring.noise);
    meet_corners(&mut elements, start, from.at, to.at);
    elements
}

/// Moves the ends of a side, with their handles, into its corners: by hundredths of a pixel.
fn meet_corners(elements: &mut [PathEl], start: Point, from: Point, to: Point) {
    if let Some(PathEl::CurveTo(a, ..)) = elements.first_mut() {
        *a += from - start;
    }
    match elements.last_mut() {
        Some(PathEl::CurveTo(_, b, end)) => {
            *b += to - *end;
            *end = to;
        }
        Some(PathEl::LineTo(end)) => *end = to,
        _ => {}
    }
}

/// `points` with gaps filled along a line, so that a curve is held everywhere.
fn filled(points: &[Point], closed: bool) -> Vec<Point> {
    let n = points.len();
    let mut out = Vec::with_capacity(n);
    for (i, a) in points.iter().enumerate() {
        out.push(*a);
        if i + 1 == n && !closed {
            break;
        }
        let b = points[(i + 1) % n];
        let far = a.distance(b);
        if far > FARTHEST {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
            let parts = far.ceil().min(10_000.0) as u32;
            out.extend((1..parts).map(|k| a.lerp(b, f64::from(k) / f64::from(parts))));
        }
    }
    out
}

/// `ClosePath` draws the last line by itself.
fn drop_closing_line(path: &mut BezPath) {
    let elements = path.elements();
    let n = elements.len();
    if let (Some(PathEl::MoveTo(start)), Some(PathEl::LineTo(end))) = (elements.first(), elements.get(n - 2))
        && start == end
        && n > 3
    {
        let mut shorter: Vec<PathEl> = elements.to_vec();
        shorter.remove(n - 2);
        *path = BezPath::from_vec(shorter);
    }
}

/// The points from one corner to the next that blur left true.
fn between(ring: &Ring, from: &Corner, to: &Corner) -> Vec<(f64, Point)> {
    let end = if to.arc > from.arc { to.arc } else { to.arc + ring.length };
    let room = 0.3 * (end - from.arc);
    let (first, last) = (from.arc + from.gap.min(room), end - to.gap.min(room));
    let all = (ring.first_from(first)..).map(|i| ring.get(i));
    all.skip_while(|(s, _)| *s <= first).take_while(|(s, _)| *s < last).collect()
}

/// Squared distances of `points` from the path, flattened. Points and path run in the same order, so only the lines near
/// the last nearest one are asked.
pub(super) fn misses(path: &BezPath, points: &[Point]) -> Vec<f64> {
    const FLAT: f64 = 0.002;
    const REACH: usize = 12;
    /// Farther than this, squared, the nearest line may be another.
    const FAR: f64 = 4.0;
    let mut lines: Vec<Line> = Vec::new();
    let (mut pen, mut start) = (Point::ZERO, Point::ZERO);
    kurbo::flatten(path, FLAT, |el| match el {
        PathEl::MoveTo(p) => (pen, start) = (p, p),
        PathEl::LineTo(p) => lines.push(Line::new(std::mem::replace(&mut pen, p), p)),
        _ => lines.push(Line::new(std::mem::replace(&mut pen, start), start)),
    });
    let n = lines.len();
    let reach = REACH.min((n - 1) / 2);
    // Going on around at both ends.
    let around = [&lines[n - reach..], &lines, &lines[..reach]].concat();
    let nearest = |p: Point, lines: &[Line]| {
        let off = lines.iter().map(|line| line.off(p)).enumerate();
        off.min_by(|a, b| a.1.total_cmp(&b.1)).expect("a path has a line")
    };
    let (mut near, mut far) = (0, true);
    points
        .iter()
        .map(|&p| {
            let (beside, mut off) = nearest(p, &around[near..=near + 2 * reach]);
            near = (near + beside + n - reach) % n;
            if far || off > FAR {
                (near, off) = nearest(p, &lines);
            }
            far = off > FAR;
            off
        })
        .collect()
}

/// A line of a flattened path.
#[derive(Clone, Copy)]
struct Line {
    start: Point,
    way: Vec2,
    /// Of its length, one over the square.
    shortness: f64,
}

impl Line {
    fn new(start: Point, end: Point) -> Self {
        let way = end - start;
        Self { start, way, shortness: 1.0 / way.hypot2().max(1e-18) }
    }

    /// Squared distance of `p`.
    fn off(&self, p: Point) -> f64 {
        let beside = p - self.start;
        let along = (beside.dot(self.way) * self.shortness).clamp(0.0, 1.0);
        (beside - self.way * along).hypot2()
    }
}

/// Whether any two parts of the flattened loops cross.
pub(super) fn crosses(paths: &[BezPath]) -> bool {
    let mut lines: Vec<(usize, usize, usize, Point, Point)> = Vec::new();
    for (loop_number, path) in paths.iter().enumerate() {
        let mut points: Vec<Point> = Vec::new();
        kurbo::flatten(path, 0.02, |el| match el {
            PathEl::MoveTo(p) | PathEl::LineTo(p) => points.push(p),
            _ => {}
        });
        points.dedup_by(|a, b| a.distance(*b) < 1e-9);
        if points.len() > 1 && points[0].distance(points[points.len() - 1]) < 1e-9 {
            points.pop();
        }
        let n = points.len();
        lines.extend((0..n).map(|i| (loop_number, i, n, points[i], points[(i + 1) % n])));
    }
    // Sweep from left to right over the lines' extents.
    lines.sort_by(|a, b| a.3.x.min(a.4.x).total_cmp(&b.3.x.min(b.4.x)));
    let mut open: Vec<usize> = Vec::new();
    for i in 0..lines.len() {
        let (l, m, n, a, b) = lines[i];
        let left = a.x.min(b.x);
        open.retain(|&k| lines[k].3.x.max(lines[k].4.x) >= left);
        for &k in &open {
            let (l2, m2, _, c, d) = lines[k];
            let neighbours = l == l2 && ((m + 1) % n == m2 || (m2 + 1) % n == m);
            if !neighbours && cross(a, b, c, d) {
                return true;
            }
        }
        open.push(i);
    }
    false
}

fn cross(a: Point, b: Point, c: Point, d: Point) -> bool {
    let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}
