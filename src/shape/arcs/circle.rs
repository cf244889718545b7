//! Stretches of an outline → the circle that lies closest to them.

use kurbo::common::GAUSS_LEGENDRE_COEFFS_16;
use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, PathSeg, Point, Vec2};
use nalgebra::{Matrix3, Vector3};

use super::{Arc, ROUNDING, ends, is_line, wrapped};

/// Cubics that stay within this part of the radius of a circle count as exact.
pub(super) const EXACT: f64 = 1e-4;
/// The points in which such cubics lie on the circle do so to this part of the radius, and their ends run along it to
/// this angle in radians.
const KNOTS: f64 = 1e-6;
/// Weight of a tangent line against the whole outline of the arc. Larger would drown the outline in rounding.
const TANGENT: f64 = 1e6;
/// Gauss–Newton steps at most. They gain some four digits each on arcs, as deviations are small against the radius.
pub(super) const STEPS: usize = 20;

/// What an arc has to touch.
#[derive(Clone, Copy)]
pub(super) enum Tangent {
    /// A line through a point, in the direction in which the arc travels.
    Line(Point, Vec2),
    /// The circle of another arc.
    Circle(Arc),
}

impl Tangent {
    /// How far the arc is from touching, and how that falls as its centre and radius grow.
    fn row(&self, arc: &Arc) -> ([f64; 3], f64) {
        match self {
            Self::Line(at, direction) => {
                let side = direction.normalize().turn_90() * arc.sweep.signum();
                ([side.x, side.y, -1.0], arc.radius - side.dot(arc.centre - *at))
            }
            Self::Circle(other) => {
                let apart = arc.centre - other.centre;
                let out = apart.normalize();
                // Outside each other if they turn opposite ways, else one within the other.
                let outside = arc.sweep * other.sweep < 0.0;
                let grows = if outside || arc.radius > other.radius { 1.0 } else { -1.0 };
                let rest = if outside { other.radius } else { -grows * other.radius };
                ([out.x, out.y, -grows], grows * arc.radius + rest - apart.hypot())
            }
        }
    }
}

/// Points along a stretch with the lengths they stand for, so that sums over them are integrals along it. Its nodes are
/// among them and stand for no length.
pub(super) struct Samples {
    pub(super) points: Vec<Point>,
    lengths: Vec<f64>,
}

impl Samples {
    pub(super) fn new(pieces: &[PathSeg]) -> Self {
        let mut nodes: Vec<(f64, f64)> =
            GAUSS_LEGENDRE_COEFFS_16.iter().map(|&(weight, x)| (f64::midpoint(1.0, x), weight / 2.0)).collect();
        nodes.extend([(0.0, 0.0), (1.0, 0.0)]);
        nodes.sort_by(|a, b| a.0.total_cmp(&b.0));
        let cubics: Vec<CubicBez> = pieces.iter().map(PathSeg::to_cubic).collect();
        let all = || cubics.iter().flat_map(|cubic| nodes.iter().map(move |&node| (cubic, node)));
        Self {
            points: all().map(|(cubic, (t, _))| cubic.eval(t)).collect(),
            lengths: all().map(|(cubic, (t, weight))| weight * cubic.deriv().eval(t).to_vec2().hypot()).collect(),
        }
    }

    /// The points of each edge where a cubic made by [`Arc::cubics`] lies on its circle.
    fn knots(pieces: &[PathSeg]) -> Self {
        let points: Vec<Point> = pieces.iter().flat_map(|edge| [0.0, 0.5, 1.0].map(|t| edge.eval(t))).collect();
        Self { lengths: vec![1.0; points.len()], points }
    }

    /// The circle of least squared distances, and how the points follow it.
    pub(super) fn circle(&self) -> Option<Arc> {
        self.measured(self.refined(self.rough()?, &[])?)
    }

    /// The circle of least squared powers of the points, in closed form (I. Kåsa, "A circle fitting procedure and its
    /// error analysis", 1976). Its radius comes out too small on short arcs.
    fn rough(&self) -> Option<Arc> {
        let total: f64 = self.lengths.iter().sum();
        let sum = self.points.iter().zip(&self.lengths).map(|(p, w)| p.to_vec2() * *w).sum::<Vec2>();
        let middle = (sum / total).to_point();
        let size = self.points.iter().map(|p| p.distance(middle)).fold(0.0, f64::max);
        let rows = self.points.iter().zip(&self.lengths).map(|(p, &w)| {
            let p = (*p - middle) / size;
            ([p.x, p.y, 1.0], p.hypot2(), w)
        });
        let [x, y, rest] = least_squares(rows)?;
        let centre = Vec2::new(x, y) / 2.0;
        let radius = size * (rest + centre.hypot2()).sqrt();
        radius.is_finite().then(|| Arc { centre: middle + size * centre, radius, ..Arc::default() })
    }

    /// A circle improved to least squared distances by Gauss–Newton steps, tangent to what is given.
    pub(super) fn refined(&self, mut arc: Arc, tangents: &[Tangent]) -> Option<Arc> {
        let firm = TANGENT * self.lengths.iter().sum::<f64>();
        for _ in 0..STEPS {
            let points = self.points.iter().zip(&self.lengths).map(|(p, &length)| {
                let spoke = *p - arc.centre;
                let out = spoke / spoke.hypot().max(f64::MIN_POSITIVE);
                ([out.x, out.y, 1.0], spoke.hypot() - arc.radius, length)
            });
            let held = tangents.iter().map(|tangent| {
                let (row, off) = tangent.row(&arc);
                (row, off, firm)
            });
            let [x, y, radius] = least_squares(points.chain(held))?;
            arc.centre += Vec2::new(x, y);
            arc.radius += radius;
            if x.abs() + y.abs() + radius.abs() <= f64::EPSILON * arc.radius {
                break;
            }
        }
        (arc.radius > 0.0 && arc.radius.is_finite()).then_some(arc)
    }

    /// An arc with its angles and deviations; `None` if the points go back along it.
    pub(super) fn measured(&self, circle: Arc) -> Option<Arc> {
        let off = |p: &Point| p.distance(circle.centre) - circle.radius;
        let square: f64 = self.points.iter().zip(&self.lengths).map(|(p, length)| length * off(p).powi(2)).sum();
        let worst = self.points.iter().map(|p| off(p).abs()).fold(0.0, f64::max);
        let angles: Vec<f64> = self.points.iter().map(|p| (*p - circle.centre).atan2()).collect();
        let steps: Vec<f64> = angles.windows(2).map(|w| wrapped(w[1] - w[0])).collect();
        let sweep: f64 = steps.iter().sum();
        let slack = worst / circle.radius + ROUNDING;
        let onward = steps.iter().all(|step| step * sweep.signum() >= -slack);
        let rms = (square / self.lengths.iter().sum::<f64>()).sqrt();
        onward.then(|| Arc { start: angles[0], sweep, rms, worst, ..circle })
    }
}

/// The arc of which all edges are exact pieces.
pub(super) fn exact(pieces: &[PathSeg]) -> Option<Arc> {
    if pieces.iter().any(is_line) {
        return None;
    }
    let circle = Samples::knots(pieces).circle()?;
    let arc = Samples::new(pieces).measured(circle)?;
    // Three points lie on a circle always, so a single cubic has to run along it at its ends as well.
    let along = |direction: Vec2, at: Point| direction.normalize().dot((at - arc.centre).normalize()).abs() <= KNOTS;
    let tangent = |e: &PathSeg| along(ends(e).0, e.start()) && along(ends(e).1, e.end());
    let exact = circle.worst <= KNOTS * arc.radius && arc.worst <= EXACT * arc.radius && pieces.iter().all(tangent);
    exact.then_some(arc)
}

/// Solves rows of coefficients, value and weight for least squares.
fn least_squares(rows: impl Iterator<Item = ([f64; 3], f64, f64)>) -> Option<[f64; 3]> {
    let (mut matrix, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for (row, value, weight) in rows {
        let row = Vector3::from(row);
        matrix += weight * row * row.transpose();
        right += weight * value * row;
    }
    let solved: [f64; 3] = matrix.lu().solve(&right)?.into();
    solved.iter().all(|x| x.is_finite()).then_some(solved)
}
