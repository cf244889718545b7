//! Edge points in their order around a border, and short stretches of them as polynomials of the way.

use kurbo::{Point, Vec2};
use nalgebra::{Matrix4, Vector4};

/// A place on a stretch as a polynomial of the distance along the way, by least squares.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    origin: Point,
    terms: [Vec2; 4],
    /// The way over which it was fitted: its middle and half its length.
    middle: f64,
    half: f64,
    /// Inverse of the normal matrix.
    spread: Matrix4<f64>,
    /// Root mean square of what is left over, over the degrees of freedom.
    pub(super) rms: f64,
}

impl Stretch {
    /// Least squares through (distance along the way, place). `degree` is 1, 2 or 3; `None` for too few points.
    pub(super) fn fit(points: &[(f64, Point)], degree: usize) -> Option<Self> {
        let (first, last) = (points.first()?, points.last()?);
        let (middle, half) = (f64::midpoint(first.0, last.0), 0.5 * (last.0 - first.0).abs());
        if points.len() <= degree || half < 1e-9 {
            return None;
        }
        let origin = first.1;
        let mut normal = Matrix4::zeros();
        let (mut x, mut y) = (Vector4::zeros(), Vector4::zeros());
        for (s, p) in points {
            let powers = powers((s - middle) / half, degree);
            normal += powers * powers.transpose();
            x += powers * (p.x - origin.x);
            y += powers * (p.y - origin.y);
        }
        for unused in degree + 1..4 {
            normal[(unused, unused)] = 1.0;
        }
        let solved = normal.cholesky()?;
        let (x, y) = (solved.solve(&x), solved.solve(&y));
        let terms = std::array::from_fn(|k| Vec2::new(x[k], y[k]));
        let mut spread = solved.inverse();
        for unused in degree + 1..4 {
            spread[(unused, unused)] = 0.0;
        }
        let mut stretch = Self { origin, terms, middle, half, spread, rms: 0.0 };
        let rest: f64 = points.iter().map(|(s, p)| (*p - stretch.at(*s)).hypot2()).sum();
        #[expect(clippy::cast_precision_loss, reason = "a count of points")]
        let free = (points.len() - degree - 1).max(1) as f64;
        stretch.rms = (rest / free).sqrt();
        Some(stretch)
    }

    /// The place at `s` along the way.
    pub(super) fn at(&self, s: f64) -> Point {
        let powers = powers((s - self.middle) / self.half, 3);
        (0..4).fold(self.origin, |p, k| p + self.terms[k] * powers[k])
    }

    /// Change of the place per unit of the way at `s`.
    pub(super) fn along(&self, s: f64) -> Vec2 {
        let slopes = slopes((s - self.middle) / self.half) / self.half;
        (0..4).fold(Vec2::ZERO, |v, k| v + self.terms[k] * slopes[k])
    }

    /// Standard deviation of [`Self::at`] over that of one point.
    pub(super) fn unsure_place(&self, s: f64) -> f64 {
        let powers = powers((s - self.middle) / self.half, 3);
        powers.dot(&(self.spread * powers)).max(0.0).sqrt()
    }

    /// Standard deviation of the direction at `s`, in radians, over that of one point.
    pub(super) fn unsure_direction(&self, s: f64) -> f64 {
        let slopes = slopes((s - self.middle) / self.half) / self.half;
        slopes.dot(&(self.spread * slopes)).max(0.0).sqrt() / self.along(s).hypot().max(1e-9)
    }
}

fn powers(t: f64, degree: usize) -> Vector4<f64> {
    let all = [1.0, t, t * t, t * t * t];
    Vector4::from_fn(|k, _| if k <= degree { all[k] } else { 0.0 })
}

fn slopes(t: f64) -> Vector4<f64> {
    Vector4::new(0.0, 1.0, 2.0 * t, 3.0 * t * t)
}

/// Points with their distance along the way, around a closed border.
#[derive(Clone, Debug)]
pub(super) struct Ring {
    pub(super) points: Vec<Point>,
    /// Distance from the first point to each.
    arcs: Vec<f64>,
    /// Once around.
    pub(super) length: f64,
    /// Standard deviation of the points, square to the way.
    pub(super) noise: f64,
}

impl Ring {
    pub(super) fn new(points: Vec<Point>) -> Self {
        let mut arcs = Vec::with_capacity(points.len());
        let mut length = 0.0;
        for i in 0..points.len() {
            arcs.push(length);
            length += points[i].distance(points[(i + 1) % points.len()]);
        }
        let mut ring = Self { points, arcs, length, noise: 0.0 };
        ring.noise = ring.measure_noise();
        ring
    }

    pub(super) fn len(&self) -> usize {
        self.points.len()
    }

    /// Point `i`, counted on around the ring in either direction, and its arc length, which counts on too.
    pub(super) fn get(&self, i: isize) -> (f64, Point) {
        let n = isize::try_from(self.len()).expect("fits");
        let (turns, index) = (i.div_euclid(n), i.rem_euclid(n).unsigned_abs());
        #[expect(clippy::cast_precision_loss, reason = "a few turns")]
        (self.arcs[index] + turns as f64 * self.length, self.points[index])
    }

    /// From what a parabola through five points leaves at the middle one, whose own share of it is 17/35 (A. Savitzky,
    /// M. Golay, Analytical Chemistry 36, 1964). The lower quartile, a normal one being 0.3186 σ, because in a small
    /// shape most points are near a corner.
    fn measure_noise(&self) -> f64 {
        let n = isize::try_from(self.len()).expect("fits");
        let mut rest: Vec<f64> = (0..n)
            .map(|i| {
                let [a, b, c, d, e] = [-2, -1, 0, 1, 2].map(|k| self.get(i + k).1.to_vec2());
                let off = c - (c * 17.0 + (b + d) * 12.0 - (a + e) * 3.0) / 35.0;
                let way = d - b;
                way.cross(off).abs() / way.hypot().max(1e-9)
            })
            .collect();
        if rest.is_empty() {
            return 0.0;
        }
        let quarter = rest.len() / 4;
        *rest.select_nth_unstable_by(quarter, f64::total_cmp).1 / 0.3186 / (18.0_f64 / 35.0).sqrt()
    }
}
