//! A run of edge points as a curve: places, directions and curvature told apart from noise.

use kurbo::{Point, Vec2};

/// Place, first and second derivative by arc length, and the rms of what is left over.
#[derive(Clone, Copy, Debug)]
pub(super) struct Jet {
    pub(super) at: Point,
    pub(super) along: Vec2,
    pub(super) bend: Vec2,
    pub(super) rms: f64,
}

impl Jet {
    /// Unit direction.
    pub(super) fn tangent(&self) -> Vec2 {
        self.along / self.along.hypot().max(1e-12)
    }

    /// The curve at arc length `s` from here.
    pub(super) fn eval(&self, s: f64) -> Point {
        self.at + self.along * s + self.bend * (0.5 * s * s)
    }
}

/// Least squares of a line (`degree` 1) or a parabola (2) in both coordinates over arc length, seen from arc length 0.
/// `None` for too few points.
pub(super) fn jet(points: impl Iterator<Item = (f64, Point)> + Clone, degree: usize) -> Option<Jet> {
    let count = points.clone().count();
    if count <= degree {
        return None;
    }
    let origin = points.clone().next()?.1;
    // Orthogonal polynomials around the mean: the plain normal equations lose half their digits far from zero.
    #[expect(clippy::cast_precision_loss, reason = "a count of points")]
    let n = count as f64;
    let middle = points.clone().map(|p| p.0).sum::<f64>() / n;
    let centred = points.clone().map(|(s, p)| (s - middle, p - origin));
    let (mut s2, mut s3, mut s4) = (0.0, 0.0, 0.0);
    let (mut v0, mut v1) = (Vec2::ZERO, Vec2::ZERO);
    for (u, v) in centred.clone() {
        s2 += u * u;
        s3 += u * u * u;
        s4 += u * u * u * u;
        v0 += v;
        v1 += v * u;
    }
    if s2 < 1e-9 {
        return None;
    }
    let (skew, mean) = (s3 / s2, s2 / n);
    let (constant, slope) = (v0 / n, v1 / s2);
    let (mut curve, mut norm) = (Vec2::ZERO, s4 - s3 * skew - s2 * mean);
    if degree == 2 && norm > 1e-9 {
        for (u, v) in centred.clone() {
            curve += v * (u * u - skew * u - mean);
        }
        curve /= norm;
    } else {
        norm = 0.0;
    }
    let eval = |u: f64| constant + slope * u + curve * (u * u - skew * u - mean);
    let rest: f64 = centred.map(|(u, v)| (v - eval(u)).hypot2()).sum();
    let u = -middle;
    let free = n - if norm > 0.0 { 3.0 } else { 2.0 };
    Some(Jet {
        at: origin + eval(u),
        along: slope + curve * (2.0 * u - skew),
        bend: curve * 2.0,
        rms: (rest / free.max(1.0)).sqrt(),
    })
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

    /// A jet at arc length `s0`, of the points `from..=to`.
    pub(super) fn jet(&self, from: isize, to: isize, s0: f64, degree: usize) -> Option<Jet> {
        jet((from..=to).map(|i| self.get(i)).map(|(s, p)| (s - s0, p)), degree)
    }

    /// From what a parabola through five points leaves at the middle one, whose own share of it is 17/35 (A. Savitzky,
    /// M. Golay, Analytical Chemistry 36, 1964). The lower quartile, a normal one being 0.3186 σ, because in a small
    /// shape most points are near a corner.
    fn measure_noise(&self) -> f64 {
        let n = isize::try_from(self.len()).expect("fits");
        let mut rest: Vec<f64> = (0..n)
            .filter_map(|i| {
                let (s, p) = self.get(i);
                let jet = self.jet(i - 2, i + 2, s, 2)?;
                Some(jet.tangent().cross(p - jet.at).abs())
            })
            .collect();
        if rest.is_empty() {
            return 0.0;
        }
        let quarter = rest.len() / 4;
        *rest.select_nth_unstable_by(quarter, f64::total_cmp).1 / 0.3186 / (18.0_f64 / 35.0).sqrt()
    }

    /// Points to either side that a parabola needs to bring the noise down to 0.03 px: its middle keeps 9/4n of the
    /// variance.
    pub(super) fn smoothing(&self) -> isize {
        #[expect(clippy::cast_possible_truncation, reason = "clamped")]
        let half = (0.5 * 2.25 * (self.noise / 0.03).powi(2)).ceil().clamp(4.0, 12.0) as isize;
        half
    }
}

/// A point of a stretch, told apart from noise and set right for blur.
#[derive(Clone, Copy, Debug)]
pub(super) struct Smoothed {
    pub(super) at: Point,
    /// Unit direction of the way.
    pub(super) tangent: Vec2,
    /// What was added to set it right for blur.
    pub(super) lift: Vec2,
}

/// The points of a stretch, smoothed. The window narrows where the way bends too much for a parabola. `blur` is the
/// variance of the blur in square pixels.
pub(super) fn smooth(points: &[(f64, Point)], half: isize, noise: f64, blur: f64, closed: bool) -> Vec<Smoothed> {
    let n = isize::try_from(points.len()).expect("fits");
    let (first, last) = (points[0], points[points.len() - 1]);
    let length = last.0 - first.0 + last.1.distance(first.1);
    let get = |i: isize| {
        let (s, p) = points[i.rem_euclid(n).unsigned_abs()];
        #[expect(clippy::cast_precision_loss, reason = "a few turns")]
        (s + length * i.div_euclid(n) as f64, p)
    };
    let window = |i: isize, reach: isize| {
        if closed { (i - reach, i + reach) } else { ((i - reach).max(0), (i + reach).min(n - 1)) }
    };
    let smoothed = |i: isize| {
        let (s, p) = get(i);
        let mut reach = half;
        loop {
            let (from, to) = window(i, reach);
            match jet((from..=to).map(get).map(|(t, q)| (t - s, q)), 2) {
                Some(jet) if jet.rms <= 1.5 * noise + 0.02 || reach <= 2 => {
                    let lift = lift(&jet, blur);
                    return Smoothed { at: jet.at + lift, tangent: jet.tangent(), lift };
                }
                None => {
                    let chord = get(to).1 - get(from).1;
                    return Smoothed { at: p, tangent: chord / chord.hypot().max(1e-12), lift: Vec2::ZERO };
                }
                Some(_) => reach -= (reach / 4).max(1),
            }
        }
    };
    (0..n).map(smoothed).collect()
}

/// Blur of variance v moves a curve of curvature κ by vκ/2 to its hollow side, as heat flows; a sum along a row or
/// column that crosses the curve at an angle with cosine c sees that over c².
fn lift(jet: &Jet, blur: f64) -> Vec2 {
    let tangent = jet.tangent();
    let squarely = tangent.x.abs().max(tangent.y.abs());
    let bend = jet.bend - tangent * jet.bend.dot(tangent);
    // Beyond this the curve is as small as the blur and the first order tells nothing.
    let bend = bend * (0.15 / bend.hypot().max(0.15));
    bend * (-0.5 * blur / (squarely * squarely))
}
