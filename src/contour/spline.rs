//! Noisy points → a smooth curve: least squares of a cubic spline with as few knots as the points' noise allows.
//!
//! The spline is twice continuously differentiable (C. de Boor, A Practical Guide to Splines, 1978). An interval between
//! knots is halved as long as the points keep to one side of the curve there for longer than noise would.

use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, Point, Vec2};

/// Longest interval between knots to begin with, in pixels.
const COARSE: f64 = 40.0;
/// Fewest points an interval is halved into.
const FEWEST: usize = 5;
/// Rounds of halving and of finding the nearest place on the curve for each point.
const ROUNDS: usize = 8;
/// Points may keep to one side of the curve by this on average, in pixels: too little to be seen or cut.
const UNSEEN: f64 = 0.03;
/// Mean of a run of points over its own standard deviation that is no chance any more, among some thousand runs.
const NO_CHANCE: f64 = 4.0;

/// What is known of the points before the fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// Standard deviation of the points, square to the way, in pixels.
    pub(super) noise: f64,
    /// Variance of the blur in square pixels, which draws bends towards their hollow side; 0 where it is set right.
    pub(super) blur: f64,
    /// The way is closed.
    pub(super) closed: bool,
}

/// Cubics that follow `points`, one after the other without a break in direction or bend. `None` for too few points.
pub(super) fn smooth(points: &[Point], known: Known) -> Option<Vec<CubicBez>> {
    let mut breaks = coarse(points, known)?;
    let mut places = arc_lengths(points);
    let mut spline = Spline::fit(points, &places, breaks.clone(), known.closed);
    for _ in 0..ROUNDS {
        spline.nearest(points, &mut places);
        let off = spline.off(points, &places);
        let Some(finer) = halved(&breaks, &places, &off, known.noise) else { break };
        breaks = finer;
        spline = Spline::fit(points, &places, breaks.clone(), known.closed);
    }
    let lifted: Vec<Point> = points.iter().zip(&places).map(|(p, s)| *p + spline.lift(*s, known.blur)).collect();
    for _ in 0..2 {
        spline = Spline::fit(&lifted, &places, breaks.clone(), known.closed);
        spline.nearest(&lifted, &mut places);
    }
    Some(spline.cubics)
}

/// Length of the way from the first point to each, and once around for a closed way.
fn arc_lengths(points: &[Point]) -> Vec<f64> {
    let mut sum = 0.0;
    let steps = points.windows(2).map(|pair| pair[0].distance(pair[1]));
    std::iter::once(0.0)
        .chain(steps.map(|step| {
            sum += step;
            sum
        }))
        .collect()
}

fn coarse(points: &[Point], known: Known) -> Option<Vec<f64>> {
    let first = *points.first()?;
    let last = *points.last()?;
    let open = arc_lengths(points).last().copied()?;
    let length = if known.closed { open + last.distance(first) } else { open };
    let least = if known.closed { 6.0 } else { 1.0 };
    if points.len() < if known.closed { 24 } else { 4 } || length < 1e-6 {
        return None;
    }
    let count = (length / COARSE).ceil().max(least);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
    let whole = count as usize;
    #[expect(clippy::cast_precision_loss, reason = "a small count")]
    Some((0..=whole).map(|k| length * k as f64 / count).collect())
}

/// `breaks` with each interval halved in which the points drift off to one side; `None` when none does.
fn halved(breaks: &[f64], places: &[f64], off: &[f64], noise: f64) -> Option<Vec<f64>> {
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|a, b| places[*a].total_cmp(&places[*b]));
    let noise = noise * correlation(off, noise);
    let mut finer = vec![breaks[0]];
    let mut from = 0;
    for pair in breaks.windows(2) {
        let count = order[from..].partition_point(|&i| places[i] < pair[1]);
        let run = &order[from..from + count];
        let within: Vec<f64> = run.iter().map(|&i| off[i]).collect();
        if within.len() >= 2 * FEWEST && drifts(&within, noise, UNSEEN) {
            let (a, b) = (places[run[run.len() / 2 - 1]], places[run[run.len() / 2]]);
            finer.push(f64::midpoint(a, b));
        }
        finer.push(pair[1]);
        from += count;
    }
    (finer.len() > breaks.len()).then_some(finer)
}

/// How much more the means of eight neighbours spread than those of independent points would: JPEG and sharpening in the
/// camera give neighbours some noise in common.
fn correlation(off: &[f64], noise: f64) -> f64 {
    let mut means: Vec<f64> = off.chunks_exact(8).map(|run| run.iter().sum::<f64>().abs() / 8.0).collect();
    if means.len() < 8 || noise <= 0.0 {
        return 1.0;
    }
    let middle = means.len() / 2;
    let median = *means.select_nth_unstable_by(middle, f64::total_cmp).1;
    (median / 0.6745 * 8.0_f64.sqrt() / noise).clamp(1.0, 2.5)
}

/// Whether `off`, distances to one side in the order of the way, keep to one side for longer than noise would.
pub(super) fn drifts(off: &[f64], noise: f64, unseen: f64) -> bool {
    let n = off.len();
    let mut sums = Vec::with_capacity(n + 1);
    sums.push(0.0);
    sums.extend(off.iter().scan(0.0, |sum, d| {
        *sum += d;
        Some(*sum)
    }));
    [n, n / 2, n / 3, n / 4].into_iter().filter(|&m| m >= 4).any(|m| {
        #[expect(clippy::cast_precision_loss, reason = "a count of points")]
        let count = m as f64;
        let limit = unseen.max(NO_CHANCE * noise / count.sqrt());
        let starts = (0..=n - m).step_by((m / 2).max(1)).chain([n - m]);
        starts.into_iter().any(|a| ((sums[a + m] - sums[a]) / count).abs() > limit)
    })
}

/// A cubic spline over simple knots, as the cubics between them.
struct Spline {
    breaks: Vec<f64>,
    closed: bool,
    cubics: Vec<CubicBez>,
}

impl Spline {
    /// The spline with knots at `breaks` for which the squares of the distances from `points` at `places` are least.
    fn fit(points: &[Point], places: &[f64], breaks: Vec<f64>, closed: bool) -> Self {
        let basis = Basis { breaks: &breaks, closed };
        let n = basis.count();
        let mut normal = Normal { rows: vec![[0.0; 4]; n], closed };
        let (mut x, mut y) = (vec![0.0; n], vec![0.0; n]);
        for (p, &s) in points.iter().zip(places) {
            let (j, weights) = basis.at(s);
            for a in 0..4 {
                let row = (j + a) % n;
                x[row] += weights[a] * p.x;
                y[row] += weights[a] * p.y;
                for b in a..4 {
                    normal.rows[row][b - a] += weights[a] * weights[b];
                }
            }
        }
        let (x, y) = (normal.solve(&x), normal.solve(&y));
        let control: Vec<Point> = x.into_iter().zip(y).map(|(x, y)| Point::new(x, y)).collect();
        let cubics = (0..breaks.len() - 1).map(|j| basis.cubic(j, &control)).collect();
        Self { breaks, closed, cubics }
    }

    fn whole(&self) -> f64 {
        self.breaks[self.breaks.len() - 1]
    }

    /// The interval that holds `s`, and the parameter of its cubic there.
    fn find(&self, s: f64) -> (usize, f64) {
        let j = self.breaks.partition_point(|b| *b <= s).clamp(1, self.breaks.len() - 1) - 1;
        let width = self.breaks[j + 1] - self.breaks[j];
        (j, (s - self.breaks[j]) / width)
    }

    /// One Newton step of each place towards that nearest to its point, at most half a pixel.
    fn nearest(&self, points: &[Point], places: &mut [f64]) {
        let whole = self.whole();
        for (p, s) in points.iter().zip(places) {
            let (j, t) = self.find(*s);
            let width = self.breaks[j + 1] - self.breaks[j];
            let (at, along) = (self.cubics[j].eval(t), self.cubics[j].deriv().eval(t).to_vec2() / width);
            let step = ((*p - at).dot(along) / along.hypot2().max(1e-9)).clamp(-0.5, 0.5);
            *s = if self.closed { (*s + step).rem_euclid(whole) } else { (*s + step).clamp(0.0, whole) };
        }
    }

    /// Distances of `points` from their places, to the right of the way on the screen positive.
    fn off(&self, points: &[Point], places: &[f64]) -> Vec<f64> {
        let one = |(p, s): (&Point, &f64)| {
            let (j, t) = self.find(*s);
            let along = self.cubics[j].deriv().eval(t).to_vec2();
            along.cross(*p - self.cubics[j].eval(t)) / along.hypot().max(1e-9)
        };
        points.iter().zip(places).map(one).collect()
    }

    /// What sets a point at `s` right for blur. Blur of variance v moves a curve of curvature κ by vκ/2 to its hollow
    /// side, as heat flows; a sum along a row or column that crosses the curve at an angle with cosine c sees that over c².
    fn lift(&self, s: f64, blur: f64) -> Vec2 {
        let (j, t) = self.find(s);
        let along = self.cubics[j].deriv().eval(t).to_vec2();
        let second = self.cubics[j].deriv().deriv().eval(t).to_vec2();
        let speed = along.hypot().max(1e-9);
        let tangent = along / speed;
        let bend = (second - tangent * second.dot(tangent)) / (speed * speed);
        // Beyond this the curve is as small as the blur and the first order tells nothing.
        let bend = bend * (0.15 / bend.hypot().max(0.15));
        let squarely = tangent.x.abs().max(tangent.y.abs());
        bend * (-0.5 * blur / (squarely * squarely))
    }
}

/// Cubic B-splines over `breaks`; an open one has its end knots fourfold.
struct Basis<'a> {
    breaks: &'a [f64],
    closed: bool,
}

impl Basis<'_> {
    fn count(&self) -> usize {
        if self.closed { self.breaks.len() - 1 } else { self.breaks.len() + 2 }
    }

    fn knot(&self, i: isize) -> f64 {
        let m = isize::try_from(self.breaks.len() - 1).expect("fits");
        // Mostly there is nothing to count on, and divisions cost more than all the rest.
        if !self.closed || (0..m).contains(&i) {
            return self.breaks[i.clamp(0, m).unsigned_abs()];
        }
        #[expect(clippy::cast_precision_loss, reason = "a turn or two")]
        let turns = i.div_euclid(m) as f64;
        self.breaks[i.rem_euclid(m).unsigned_abs()] + turns * self.breaks[self.breaks.len() - 1]
    }

    /// The first of the four splines that reach over `s`, counted from the interval that holds it, and their values
    /// (L. Piegl, W. Tiller, The NURBS Book, 1997, algorithm A2.2).
    fn at(&self, s: f64) -> (usize, [f64; 4]) {
        let j = self.breaks.partition_point(|b| *b <= s).clamp(1, self.breaks.len() - 1) - 1;
        (j, self.values(j, s))
    }

    fn values(&self, j: usize, s: f64) -> [f64; 4] {
        let j = isize::try_from(j).expect("fits");
        let (mut values, mut left, mut right) = ([1.0, 0.0, 0.0, 0.0], [0.0; 4], [0.0; 4]);
        for (d, step) in (1..=3_usize).zip(1_isize..) {
            left[d] = s - self.knot(j + 1 - step);
            right[d] = self.knot(j + step) - s;
            let mut saved = 0.0;
            for r in 0..d {
                let part = values[r] / (right[r + 1] + left[d - r]);
                values[r] = saved + right[r + 1] * part;
                saved = left[d - r] * part;
            }
            values[d] = saved;
        }
        values
    }

    /// The cubic of interval `j`. Its ends are values; its handles follow from two more values inside.
    fn cubic(&self, j: usize, control: &[Point]) -> CubicBez {
        let (a, b) = (self.breaks[j], self.breaks[j + 1]);
        let value = |t: f64| {
            let weights = self.values(j, a + t * (b - a));
            let sum = (0..4).map(|k| control[(j + k) % control.len()].to_vec2() * weights[k]);
            sum.fold(Vec2::ZERO, |sum, v| sum + v)
        };
        let (p0, p3) = (value(0.0), value(1.0));
        // 27 B(1/3) = 8 p0 + 12 p1 + 6 p2 + p3, and its mirror image.
        let u = value(1.0 / 3.0) * 27.0 - p0 * 8.0 - p3;
        let v = value(2.0 / 3.0) * 27.0 - p0 - p3 * 8.0;
        let (p1, p2) = ((u * 2.0 - v) / 18.0, (v * 2.0 - u) / 18.0);
        CubicBez::new(p0.to_point(), p1.to_point(), p2.to_point(), p3.to_point())
    }
}

/// Normal equations of a spline: symmetric, each row holding its diagonal and the three entries right of it; of a closed
/// spline, going on around.
struct Normal {
    rows: Vec<[f64; 4]>,
    closed: bool,
}

impl Normal {
    fn times(&self, v: &[f64]) -> Vec<f64> {
        let n = v.len();
        let mut out = vec![0.0; n];
        for (i, row) in self.rows.iter().enumerate() {
            out[i] += (row[0] + RIDGE) * v[i];
            for (d, entry) in row.iter().enumerate().skip(1) {
                let k = if self.closed { (i + d) % n } else { i + d };
                if k < n {
                    out[i] += entry * v[k];
                    out[k] += entry * v[i];
                }
            }
        }
        out
    }

    /// By conjugate gradients (M. Hestenes, E. Stiefel, 1952), scaled by the diagonal: a Gram matrix of B-splines is
    /// so well conditioned that some tens of rounds reach rounding error, closed or open.
    fn solve(&self, right: &[f64]) -> Vec<f64> {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let scaled = |v: &[f64]| -> Vec<f64> { v.iter().zip(&self.rows).map(|(v, r)| v / (r[0] + RIDGE)).collect() };
        let mut x = vec![0.0; right.len()];
        let mut rest = right.to_vec();
        let mut step = scaled(&rest);
        let mut energy = dot(&rest, &step);
        let enough = energy * 1e-24;
        for _ in 0..400 {
            if energy <= enough {
                break;
            }
            let image = self.times(&step);
            let length = energy / dot(&step, &image);
            x.iter_mut().zip(&step).for_each(|(x, s)| *x += length * s);
            rest.iter_mut().zip(&image).for_each(|(r, i)| *r -= length * i);
            let next = scaled(&rest);
            let before = std::mem::replace(&mut energy, dot(&rest, &next));
            let keep = energy / before;
            step.iter_mut().zip(&next).for_each(|(s, n)| *s = n + keep * *s);
        }
        x
    }
}

/// Keeps the equations solvable where a knot has no points of its own.
const RIDGE: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(radius: f64, count: u32, noise: f64) -> Vec<Point> {
        let mut seed = 1_u64;
        let mut next = move || {
            // D. H. Lehmer's generator as S. K. Park and K. W. Miller give it, 1988.
            seed = seed * 16_807 % 2_147_483_647;
            f64::from(u32::try_from(seed).expect("below 2^31")) / 2_147_483_647.0 - 0.5
        };
        (0..count)
            .map(|k| {
                let r = radius + noise * 12.0_f64.sqrt() * next();
                let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / f64::from(count)).sin_cos();
                Point::new(r * cos, r * sin)
            })
            .collect()
    }

    fn worst(cubics: &[CubicBez], radius: f64) -> f64 {
        let places = (0..=20).map(|i| f64::from(i) / 20.0);
        let all = places.flat_map(|t| cubics.iter().map(move |c| (c.eval(t).to_vec2().hypot() - radius).abs()));
        all.fold(0.0, f64::max)
    }

    #[test]
    fn a_noisy_circle_is_smoothed_to_a_fraction_of_its_noise() {
        let known = |noise| Known { noise, blur: 0.0, closed: true };
        let cubics = smooth(&circle(150.0, 940, 0.1), known(0.1)).expect("enough points");
        assert!(worst(&cubics, 150.0) < 0.06, "{}", worst(&cubics, 150.0));
        assert!(cubics.len() < 30, "{}", cubics.len());
        let small = smooth(&circle(8.0, 50, 0.0), known(0.0)).expect("enough points");
        assert!(worst(&small, 8.0) < 0.03, "{}", worst(&small, 8.0));
    }

    #[test]
    fn cubics_join_without_a_break_in_direction_or_bend() {
        let wave: Vec<Point> = (0..300).map(f64::from).map(|x: f64| Point::new(x, 20.0 * (x / 25.0).sin())).collect();
        let cubics = smooth(&wave, Known { noise: 0.005, blur: 0.0, closed: false }).expect("enough points");
        for pair in cubics.windows(2) {
            assert!(pair[0].p3.distance(pair[1].p0) < 1e-6);
            let (a, b) = ((pair[0].p3 - pair[0].p2), (pair[1].p1 - pair[1].p0));
            assert!(a.cross(b).abs() < 1e-6 * a.hypot() * b.hypot());
        }
        let off = |p: Point| (p.y - 20.0 * (p.x / 25.0).sin()).abs();
        assert!(cubics.iter().all(|c| off(c.eval(0.5)) < 0.05));
    }

    #[test]
    fn a_run_to_one_side_is_told_from_noise() {
        let noisy = |k: u32| if k.is_multiple_of(2) { 0.1 } else { -0.1 };
        let quiet: Vec<f64> = (0..64).map(noisy).collect();
        assert!(!drifts(&quiet, 0.1, 0.02));
        let leaning: Vec<f64> = (0..64).map(|k| noisy(k) + if (20..44).contains(&k) { 0.12 } else { -0.07 }).collect();
        assert!(drifts(&leaning, 0.1, 0.02));
    }
}
