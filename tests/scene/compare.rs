//! How far a traced path is from the truth.

use kurbo::{BezPath, PathEl, Point};
use rayon::prelude::*;

/// Signed distances are positive where the traced path lies outside the true shape. In the units of the paths.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Deviation {
    /// Root of the mean square over the traced path, by arc length.
    pub(crate) rms: f64,
    /// Largest distance, from the traced path to the truth and from the truth to the traced path: what is missing counts.
    pub(crate) worst: f64,
    /// Mean signed distance over the traced path: above 0, the trace is too large.
    pub(crate) bias: f64,
}

/// Both paths are closed; the inside is told by the even-odd rule.
pub(crate) fn deviation(traced: &BezPath, truth: &BezPath) -> Deviation {
    /// Between samples along a path.
    const STEP: f64 = 0.5;
    let (traced_edges, true_edges) = (edges(traced), edges(truth));
    let signed: Vec<f64> = along(&traced_edges, STEP)
        .par_iter()
        .map(|p| if is_inside(*p, &true_edges) { -distance(*p, &true_edges) } else { distance(*p, &true_edges) })
        .collect();
    let missing = along(&true_edges, STEP).par_iter().map(|p| distance(*p, &traced_edges)).reduce(|| 0.0, f64::max);
    let count = signed.len() as f64;
    Deviation {
        rms: (signed.iter().map(|d| d * d).sum::<f64>() / count).sqrt(),
        worst: signed.iter().fold(missing, |worst, d| worst.max(d.abs())),
        bias: signed.iter().sum::<f64>() / count,
    }
}

/// The first loop of a path, flattened, for the reference libraries.
pub(crate) fn ring(path: &BezPath) -> Vec<[f64; 2]> {
    let mut points: Vec<Point> = Vec::new();
    let mut loops = 0;
    kurbo::flatten(path, 0.01, |el| {
        loops += usize::from(matches!(el, PathEl::MoveTo(_)));
        if loops == 1 {
            points.extend(el.end_point());
        }
    });
    points.iter().map(|p| [p.x, p.y]).collect()
}

/// The smallest distance between two paths, to within an eighth of a unit.
pub(crate) fn gap(one: &BezPath, other: &BezPath) -> f64 {
    let others = edges(other);
    along(&edges(one), 0.25).par_iter().map(|p| distance(*p, &others)).reduce(|| f64::INFINITY, f64::min)
}

/// Straight edges within 0.001 of the path, every subpath closed.
fn edges(path: &BezPath) -> Vec<[Point; 2]> {
    let (mut edges, mut start, mut pen) = (Vec::new(), Point::ZERO, Point::ZERO);
    let closed = path.iter().chain([PathEl::MoveTo(Point::ZERO)]);
    kurbo::flatten(closed, 0.001, |el| {
        let to = match el {
            PathEl::LineTo(p) => p,
            _ => start,
        };
        if to != pen {
            edges.push([pen, to]);
        }
        pen = to;
        if let PathEl::MoveTo(p) = el {
            (start, pen) = (p, p);
        }
    });
    edges
}

/// Points at equal distances along the edges, starting half a step in.
fn along(edges: &[[Point; 2]], step: f64) -> Vec<Point> {
    let (mut points, mut left) = (Vec::new(), step / 2.0);
    for [a, b] in edges {
        let length = a.distance(*b);
        while left <= length {
            points.push(a.lerp(*b, left / length));
            left += step;
        }
        left -= length;
    }
    points
}

fn distance(p: Point, edges: &[[Point; 2]]) -> f64 {
    let nearest = edges.iter().map(|[a, b]| {
        let edge = *b - *a;
        let t = ((p - *a).dot(edge) / edge.hypot2()).clamp(0.0, 1.0);
        (p - (*a + edge * t)).hypot2()
    });
    nearest.fold(f64::INFINITY, f64::min).sqrt()
}

/// Even-odd: counts the edges crossed on the way to the right.
pub(crate) fn is_inside_path(p: Point, path: &BezPath) -> bool {
    is_inside(p, &edges(path))
}

fn is_inside(p: Point, edges: &[[Point; 2]]) -> bool {
    let crosses =
        |[a, b]: &&[Point; 2]| (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x);
    edges.iter().filter(crosses).count() % 2 == 1
}
