//! Edge points in their order around a border, and short stretches of them as polynomials of the way.

use kurbo::{Point, Vec2};
use nalgebra::{SMatrix, SVector};

/// Terms of the highest degree, the fourth.
const TERMS: usize = 5;
/// Of what a further power adds to the lower ones, a part of itself.
const LEAST_NEW: f64 = 1e-9;
/// Half a way shorter than this, in pixels, is none.
const SHORTEST: f64 = 1e-9;

/// A place on a stretch as a polynomial of the distance along the way, by least squares.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    origin: Point,
    terms: [Vec2; TERMS],
    /// The way over which it was fitted: its middle and half its length.
    middle: f64,
    half: f64,
    /// Inverse of the normal matrix.
    spread: SMatrix<f64, TERMS, TERMS>,
    /// Root mean square of what is left over, over the degrees of freedom.
    pub(super) rms: f64,
}

impl Stretch {
    /// Least squares through (distance along the way, place). `degree` is 1 to 4; `None` for too few points.
    pub(super) fn fit(points: &[(f64, Point)], degree: usize) -> Option<Self> {
        Sums::of(points)?.fit(degree)
    }

    /// Of the way over which it was fitted.
    pub(super) const fn length(&self) -> f64 {
        2.0 * self.half
    }

    /// The place at `s` along the way.
    pub(super) fn at(&self, s: f64) -> Point {
        let powers = powers((s - self.middle) / self.half);
        (0..TERMS).fold(self.origin, |p, k| p + self.terms[k] * powers[k])
    }

    /// Change of the place per unit of the way at `s`.
    pub(super) fn along(&self, s: f64) -> Vec2 {
        let slopes = slopes((s - self.middle) / self.half) / self.half;
        (0..TERMS).fold(Vec2::ZERO, |v, k| v + self.terms[k] * slopes[k])
    }

    /// Distance of `p` from the place at `s`, square to the way there.
    pub(super) fn off(&self, s: f64, p: Point) -> f64 {
        let t = (s - self.middle) / self.half;
        // Horner's scheme, for the place and its change at once.
        let (place, change) = self
            .terms
            .iter()
            .rev()
            .fold((Vec2::ZERO, Vec2::ZERO), |(place, change), term| (place * t + *term, change * t + place));
        change.cross(p - self.origin - place) / change.hypot2().sqrt().max(1e-9)
    }

    /// Standard deviation of the direction at `s`, in radians, over that of one point.
    pub(super) fn unsure_direction(&self, s: f64) -> f64 {
        let slopes = slopes((s - self.middle) / self.half) / self.half;
        slopes.dot(&(self.spread * slopes)).max(0.0).sqrt() / self.along(s).hypot().max(1e-9)
    }
}

/// A polynomial seen at one place of the way.
pub(super) struct Glance {
    pub(super) at: Point,
    /// Change of the place per unit of the way.
    pub(super) along: Vec2,
    /// Standard deviation of the place over that of one point.
    pub(super) unsure: f64,
    /// As [`Stretch::rms`].
    pub(super) rms: f64,
}

/// What least squares of any degree need to know of points.
#[derive(Clone)]
pub(super) struct Sums {
    origin: Point,
    middle: f64,
    half: f64,
    count: usize,
    /// Of the powers of the way, from none to twice the highest degree.
    powers: [f64; 2 * TERMS - 1],
    /// Of the powers up to the highest degree, times the place.
    places: [Vec2; TERMS],
    /// Of the place's square.
    squares: f64,
}

impl Sums {
    pub(super) fn of(points: &[(f64, Point)]) -> Option<Self> {
        let mut sums = Self::none(*points.first()?);
        points.iter().for_each(|point| sums.add(point));
        Some(sums.up_to(points.last()?.0))
    }

    /// Those of the first so many points for each of `counts`, which fall and are above 0.
    pub(super) fn of_first(points: &[(f64, Point)], counts: &[usize]) -> Vec<Self> {
        let Some(first) = points.first() else { return Vec::new() };
        let mut sums = Self::none(*first);
        let mut found = Vec::with_capacity(counts.len());
        for &count in counts.iter().rev() {
            points[sums.count..count].iter().for_each(|point| sums.add(point));
            found.push(sums.up_to(points[count - 1].0));
        }
        found.reverse();
        found
    }

    /// Of no points yet, the way counted in pixels from the first.
    const fn none((s, origin): (f64, Point)) -> Self {
        let (powers, places) = ([0.0; 2 * TERMS - 1], [Vec2::ZERO; TERMS]);
        Self { origin, middle: s, half: 1.0, count: 0, powers, places, squares: 0.0 }
    }

    fn add(&mut self, (s, p): &(f64, Point)) {
        let (t, place) = (s - self.middle, *p - self.origin);
        let mut power = 1.0;
        for k in 0..2 * TERMS - 1 {
            self.powers[k] += power;
            if k < TERMS {
                self.places[k] += power * place;
            }
            power *= t;
        }
        self.squares += place.hypot2();
        self.count += 1;
    }

    /// The same with the way counted from its middle in halves of it, where it goes on to `last`.
    fn up_to(&self, last: f64) -> Self {
        let way = 0.5 * (last - self.middle);
        let mut sums = Self { middle: self.middle + way, half: way.abs(), ..*self };
        let mut unit = 1.0;
        for k in 0..2 * TERMS - 1 {
            sums.powers[k] *= unit;
            if k < TERMS {
                sums.places[k] *= unit;
            }
            unit /= sums.half;
        }
        // The middle is one unit on: by the binomial theorem, a power at a time.
        let one = way.signum();
        for from in 1..2 * TERMS - 1 {
            for k in (from..2 * TERMS - 1).rev() {
                sums.powers[k] -= one * sums.powers[k - 1];
                if k < TERMS {
                    let lower = sums.places[k - 1];
                    sums.places[k] -= one * lower;
                }
            }
        }
        sums
    }

    /// What polynomials of degree 1 up to 4 are at `s`, as far as the number of points allows with at least three of them to spare.
    /// The powers are made orthogonal to each other over the points, one after the other (E. Schmidt, 1907), so that each adds to
    /// all that is asked without changing what the lower ones have added.
    pub(super) fn glances(&self, s: f64) -> Vec<Glance> {
        let highest = self.count.saturating_sub(4).min(TERMS - 1);
        let t = (s - self.middle) / self.half;
        // Of each orthogonal polynomial: its value and slope at the place, and its products with itself and with the places.
        let (mut values, mut changes) = (powers(t), slopes(t) / self.half);
        let (mut squares, mut places) = ([0.0; TERMS], self.places);
        // How much of the lower ones each power holds.
        let mut shares = [[0.0; TERMS]; TERMS];
        let (mut place, mut along, mut spread, mut explained) = (Vec2::ZERO, Vec2::ZERO, 0.0, 0.0);
        let mut glances = Vec::with_capacity(highest);
        for k in 0..if self.half < SHORTEST { 0 } else { highest + 1 } {
            let mut products = [0.0; TERMS];
            squares[k] = self.powers[2 * k];
            for i in 0..k {
                products[i] = self.powers[k + i] - (0..i).map(|j| shares[i][j] * products[j]).sum::<f64>();
                let share = products[i] / squares[i];
                squares[k] -= share * products[i];
                values[k] -= share * values[i];
                changes[k] -= share * changes[i];
                let lower = places[i];
                places[k] -= share * lower;
                shares[k][i] = share;
            }
            if squares[k] <= LEAST_NEW * self.powers[2 * k] {
                break;
            }
            let term = places[k] / squares[k];
            place += term * values[k];
            along += term * changes[k];
            spread += values[k] * values[k] / squares[k];
            explained += term.dot(places[k]);
            if k > 0 {
                let rms = ((self.squares - explained).max(0.0) / self.free(k)).sqrt();
                glances.push(Glance { at: self.origin + place, along, unsure: spread.sqrt(), rms });
            }
        }
        glances
    }

    /// Degrees of freedom that a polynomial leaves.
    #[expect(clippy::cast_precision_loss, reason = "a count of points")]
    fn free(&self, degree: usize) -> f64 {
        (self.count - degree - 1).max(1) as f64
    }

    pub(super) fn fit(&self, degree: usize) -> Option<Stretch> {
        if self.count <= degree {
            return None;
        }
        Some(self.solve(degree, self.inverses().nth(degree)?))
    }

    /// The least squares whose normal matrix has the inverse `spread`.
    fn solve(&self, degree: usize, spread: SMatrix<f64, TERMS, TERMS>) -> Stretch {
        let term = |i: usize| (0..=degree).map(|j| spread[(i, j)] * self.places[j]).sum();
        let terms: [Vec2; TERMS] = std::array::from_fn(|i| if i <= degree { term(i) } else { Vec2::ZERO });
        let explained: f64 = terms.iter().zip(&self.places).map(|(term, sum)| term.dot(*sum)).sum();
        let rms = ((self.squares - explained).max(0.0) / self.free(degree)).sqrt();
        Stretch { origin: self.origin, terms, middle: self.middle, half: self.half, spread, rms }
    }

    /// The inverses of the normal matrices of degree 0, 1 and so on, zeros beyond: each is the last one bordered by one
    /// power more (the formula is Schur's). They end where the points do not tell so many terms.
    fn inverses(&self) -> impl Iterator<Item = SMatrix<f64, TERMS, TERMS>> {
        let mut inverse = SMatrix::<f64, TERMS, TERMS>::zeros();
        let degrees = if self.half < SHORTEST { 0 } else { TERMS };
        (0..degrees).map_while(move |k| {
            let side = &self.powers[k..2 * k];
            let carried: [f64; TERMS] = std::array::from_fn(|i| (0..k).map(|j| inverse[(i, j)] * side[j]).sum());
            let new = self.powers[2 * k] - (0..k).map(|i| side[i] * carried[i]).sum::<f64>();
            if new <= LEAST_NEW * self.powers[2 * k] {
                return None;
            }
            for i in 0..k {
                for j in 0..k {
                    inverse[(i, j)] += carried[i] * carried[j] / new;
                }
                inverse[(i, k)] = -carried[i] / new;
                inverse[(k, i)] = -carried[i] / new;
            }
            inverse[(k, k)] = 1.0 / new;
            Some(inverse)
        })
    }
}

fn powers(t: f64) -> SVector<f64, TERMS> {
    SVector::from([1.0, t, t * t, t * t * t, t * t * t * t])
}

fn slopes(t: f64) -> SVector<f64, TERMS> {
    SVector::from([0.0, 1.0, 2.0 * t, 3.0 * t * t, 4.0 * t * t * t])
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
    /// `least_noise`: what the points' standard deviation is at least, whatever neighbours tell.
    pub(super) fn new(points: Vec<Point>, least_noise: f64) -> Self {
        let mut arcs = Vec::with_capacity(points.len());
        let mut length = 0.0;
        for i in 0..points.len() {
            arcs.push(length);
            length += points[i].distance(points[(i + 1) % points.len()]);
        }
        let mut ring = Self { points, arcs, length, noise: 0.0 };
        ring.noise = ring.measure_noise().max(least_noise);
        ring
    }

    pub(super) fn len(&self) -> usize {
        self.points.len()
    }

    /// Point `i`, counted on around the ring in either direction, and its arc length, which counts on too.
    pub(super) fn get(&self, i: isize) -> (f64, Point) {
        if let Some((arc, point)) = usize::try_from(i).ok().and_then(|i| Some((self.arcs.get(i)?, self.points.get(i)?)))
        {
            // Mostly there is nothing to count on, and divisions cost more than all the rest.
            return (*arc, *point);
        }
        let n = isize::try_from(self.len()).expect("fits");
        let (turns, index) = (i.div_euclid(n), i.rem_euclid(n).unsigned_abs());
        #[expect(clippy::cast_precision_loss, reason = "a few turns")]
        (self.arcs[index] + turns as f64 * self.length, self.points[index])
    }

    /// The first point whose arc length, counted on, is not below `s`.
    pub(super) fn first_from(&self, s: f64) -> isize {
        let turns = (s / self.length).floor();
        let within = self.arcs.partition_point(|arc| *arc + turns * self.length < s);
        #[expect(clippy::cast_possible_truncation, reason = "a few turns")]
        let turns = turns as isize;
        let count = |n: usize| isize::try_from(n).expect("fits");
        turns * count(self.len()) + count(within)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_glance_tells_what_the_polynomial_itself_does() {
        let wave = |k: u32| (f64::from(k), Point::new(f64::from(k) + 3.0, 5.0 * (f64::from(k * k) / 90.0).sin()));
        for count in [5, 6, 9, 40] {
            let points: Vec<(f64, Point)> = (0..count).map(wave).collect();
            let sums = Sums::of(&points).expect("there are points");
            let glances = sums.glances(-2.5);
            assert_eq!(glances.len(), (points.len() - 4).min(TERMS - 1));
            for (degree, glance) in (1..).zip(glances) {
                let whole = sums.fit(degree).expect("there are points enough");
                let unsure = unsure(&whole, -2.5);
                assert!((glance.unsure - unsure).abs() < 1e-9 * unsure && (glance.rms - whole.rms).abs() < 1e-6);
                assert!(glance.at.distance(whole.at(-2.5)) < 1e-6 && (glance.along - whole.along(-2.5)).hypot() < 1e-6);
            }
        }
    }

    fn unsure(course: &Stretch, s: f64) -> f64 {
        let powers = powers((s - course.middle) / course.half);
        powers.dot(&(course.spread * powers)).sqrt()
    }
}
