//! Edge points of one border → a closed loop of lines and cubics, and how truly it follows them.

use kurbo::{BezPath, PathEl, PathSeg, Point};

use super::corner::{Corner, corners};
use super::course::{Ring, smooth};
use super::fit::{Node, distance_to, fit};

/// A closed loop and its distance from the points it was fitted to.
pub(super) struct Loop {
    pub(super) path: BezPath,
    pub(super) corners: Vec<Point>,
    /// Squared distances of the edge points, one each.
    pub(super) misses: Vec<f64>,
}

/// The edge along one border, measured.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    /// In the order of the border.
    pub(super) points: Vec<Point>,
    /// Width of the transition in pixels.
    pub(super) width: f64,
    /// Variance of the blur in square pixels.
    pub(super) blur: f64,
}

/// Fits a closed loop through the points of an edge, within `tolerance` of them smoothed. `None` for too few points.
pub(super) fn trace(edge: &Measured, tolerance: f64) -> Option<Loop> {
    if edge.points.len() < 8 {
        return None;
    }
    let ring = Ring::new(edge.points.clone());
    let found = corners(&ring, edge.width);
    let mut path = BezPath::new();
    let half = ring.smoothing();
    #[expect(clippy::cast_precision_loss, reason = "at most 25")]
    let rest = ring.noise * (9.0 / (4.0 * (2 * half + 1) as f64)).sqrt();
    let mut used = Vec::with_capacity(ring.len());
    let mut draw = |path: &mut BezPath, start: Option<Node>, points: &[(f64, Point)], end: Option<Node>| {
        let smoothed = smooth(points, half, ring.noise, edge.blur, start.is_none());
        used.extend(points.iter().zip(&smoothed).map(|((_, p), s)| *p + s.lift));
        let mut nodes: Vec<Node> = start.into_iter().collect();
        nodes.extend(smoothed.iter().map(|s| (s.at, s.tangent)));
        nodes.push(end.unwrap_or(nodes[0]));
        let (start, elements) = fit(&nodes, tolerance + 4.0 * rest, rest);
        if path.is_empty() {
            path.move_to(start);
        }
        elements.into_iter().for_each(|e| path.push(e));
    };
    if found.is_empty() {
        let points: Vec<(f64, Point)> = (0..ring.len()).map(|i| ring.get(signed(i))).collect();
        draw(&mut path, None, &points, None);
    }
    for (i, corner) in found.iter().enumerate() {
        let next = &found[(i + 1) % found.len()];
        let points = between(&ring, corner, next);
        if points.len() < 4 {
            // Too short a side for more than a line.
            if path.is_empty() {
                path.move_to(corner.at);
            }
            path.line_to(next.at);
        } else {
            draw(&mut path, Some((corner.at, corner.out_of)), &points, Some((next.at, next.into)));
        }
    }
    path.close_path();
    drop_closing_line(&mut path);
    let misses = misses(&path, &used);
    Some(Loop { path, corners: found.iter().map(|c| c.at).collect(), misses })
}

fn signed(i: usize) -> isize {
    isize::try_from(i).expect("fits")
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
    let all = (0..2 * ring.len()).map(|i| ring.get(signed(i)));
    let room = 0.3 * (end - from.arc);
    all.filter(|(s, _)| *s > from.arc + from.gap.min(room) && *s < end - to.gap.min(room)).collect()
}

/// Squared distances of `points` from the path. Points and segments run in the same order, so only segments near the
/// last nearest one are asked.
fn misses(path: &BezPath, points: &[Point]) -> Vec<f64> {
    let segments: Vec<PathSeg> = path.segments().collect();
    let n = segments.len();
    let reach = 3.min(n / 2);
    let mut near = None;
    let mut out = Vec::new();
    for &p in points {
        let nearest = |candidates: &mut dyn Iterator<Item = usize>| {
            candidates
                .map(|k| (distance_to(p, &segments[k..=k]), k))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .expect("a path has a segment")
        };
        let (mut distance, mut k) = match near {
            Some(near) => nearest(&mut (0..=2 * reach).map(|d| (near + n + d - reach) % n)),
            None => nearest(&mut (0..n)),
        };
        if distance > 1.0 {
            (distance, k) = nearest(&mut (0..n));
        }
        near = Some(k);
        out.push(distance * distance);
    }
    out
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
