//! Shapes that are alike on both sides of an axis, or that come again when turned: axis and centre found, the shape made
//! exactly so.

mod mean;
mod rings;
#[cfg(test)]
mod tests;
mod wedge;

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use kurbo::{Affine, Vec2};
use mean::mean;
use rings::{On, Rings};
use wedge::{Wedge, alike};

use crate::build_file::Half;
use crate::space::{Path, Point, Space};

/// Towards the half that is kept; `None` for both.
fn towards(half: Half) -> Option<Vec2> {
    match half {
        Half::Both => None,
        Half::Left => Some(Vec2::new(-1.0, 0.0)),
        Half::Right => Some(Vec2::new(1.0, 0.0)),
        Half::Upper => Some(Vec2::new(0.0, -1.0)),
        Half::Lower => Some(Vec2::new(0.0, 1.0)),
    }
}

/// In what way a shape comes again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alike<S> {
    /// Its two sides mirror each other, and what of them is kept.
    pub sides: Option<Half>,
    /// It comes again so many times in one full turn; 1: once.
    pub turns: u32,
    /// Two places on the axis; `None`: it is found.
    pub axis: Option<[Point<S>; 2]>,
}

/// An axis, or a centre of turns, or both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Symmetry<S> {
    /// On the axis; what turns stays there.
    pub centre: Point<S>,
    /// Direction of the axis in radians, 0 to π, clockwise from the x axis on the screen.
    pub axis: Option<f64>,
    /// 1: no turns.
    pub turns: u32,
}

/// A symmetry found in a shape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found<S> {
    /// The symmetry.
    pub symmetry: Symmetry<S>,
    /// Root mean square distance of the outline from its own image, in its own units.
    pub rms: f64,
    /// The largest of these distances.
    pub worst: f64,
}

/// Why a shape is not made alike.
#[derive(Clone, Debug, PartialEq)]
pub enum Refused {
    /// The axis lies so that the two sides are not those named: "left" of a level axis.
    SideUnclear,
    /// The parts do not come again: at one place there is more than at its image.
    Uneven,
}

impl<S: Space> Symmetry<S> {
    /// Reflection in the axis.
    fn mirror(&self) -> Option<Affine> {
        self.axis.map(|angle| Affine::reflect(self.centre.raw(), Vec2::from_angle(angle)))
    }

    /// Where else `p` comes again, once each.
    pub fn images(&self, p: Point<S>) -> Vec<Point<S>> {
        /// On an axis or in the centre, images are one.
        const SAME: f64 = 1e-3;
        let mut all = vec![p];
        for (map, _) in self.motions() {
            let image: Point<S> = (map * p.raw()).into();
            if all.iter().all(|other| other.distance(image) > SAME) {
                all.push(image);
            }
        }
        all.split_off(1)
    }

    /// The motions that bring the shape onto itself, but for staying; a mirrored one with `true`.
    fn motions(&self) -> Vec<(Affine, bool)> {
        let turn = |k: u32| Affine::rotate_about(TAU * f64::from(k) / f64::from(self.turns), self.centre.raw());
        let turns = (1..self.turns).map(|k| (turn(k), false));
        let mirrors = self.mirror().into_iter().flat_map(|m| (0..self.turns).map(move |k| (turn(k) * m, true)));
        turns.chain(mirrors).collect()
    }

    /// The motions that the others are made of.
    fn generators(&self) -> Vec<(Affine, bool)> {
        let turn = Affine::rotate_about(TAU / f64::from(self.turns), self.centre.raw());
        let turn = (self.turns > 1).then_some((turn, false));
        turn.into_iter().chain(self.mirror().map(|m| (m, true))).collect()
    }
}

/// Sine of the least angle between an axis and what it has a left or right of: 10°.
const LEAST_SIDE: f64 = 0.17;
/// Places compared while looking for an axis, and at the end.
const FEW: u32 = 160;
const MANY: u32 = 640;
/// Steps of half a turn at which axes are tried; a staff of twenty times its width is found from four steps off.
const TRIED: u32 = 90;
/// Of those, the best that are looked at closely.
const LOOKED_AT: usize = 6;
/// Axes count as equally good within this factor of the least asymmetry, and within this part of the extent.
const AS_GOOD: f64 = 1.3;
const NO_DIFFERENCE: f64 = 1e-4;

/// The symmetry of `path` in the way that is said, by least squares of the outline against its own image.
///
/// `None` for a path that encloses nothing. Of several axes equally good the most upright is taken, for `Upper` and `Lower`
/// the most level.
pub fn find<S: Space>(path: &Path<S>, how: &Alike<S>) -> Option<Found<S>> {
    let outline = Rings::new(path.raw());
    let extent = outline.extent();
    if outline.loops.is_empty() || extent <= 0.0 || how.turns == 0 {
        return None;
    }
    let middle = outline.middle();
    let mut symmetry = Symmetry { centre: middle.into(), axis: None, turns: how.turns };
    if how.turns > 1 {
        let by_centre = |[x, y]: [f64; 2]| Symmetry { centre: (middle + Vec2::new(x, y)).into(), ..symmetry };
        symmetry = settled(&outline, &by_centre, [1e-4 * extent; 2]);
    }
    if let Some(half) = how.sides {
        symmetry = match how.axis.map(|axis| axis.map(Point::raw)) {
            Some([a, b]) if how.turns == 1 => {
                Symmetry { centre: a.into(), axis: Some(half_turn((b - a).angle())), turns: 1 }
            }
            Some([a, b]) => Symmetry { axis: Some(half_turn((b - a).angle())), ..symmetry },
            None => axis(&outline, symmetry, half),
        };
    }
    // Every way in which it should come again counts: a wheel of 63 teeth is nearly the same after a 64th of a turn.
    let motions = symmetry.motions();
    let ways = u32::try_from(motions.len()).unwrap_or(1).max(1);
    let places = outline.places((4 * MANY / ways).clamp(FEW, MANY));
    let (rms, worst) = asymmetry(&outline, &motions, &places, 1e-7 * extent);
    Some(Found { symmetry, rms, worst })
}

/// `path` made exactly alike in the way that was found.
///
/// # Errors
/// See [`Refused`].
pub fn made_alike<S: Space>(path: &Path<S>, how: &Alike<S>, found: &Found<S>) -> Result<Path<S>, Refused> {
    let (path, symmetry) = (path.raw(), &found.symmetry);
    let towards = how.sides.and_then(towards).filter(|_| symmetry.turns == 1);
    let outline = Rings::new(path);
    let reach = reach(&outline, symmetry);
    let made = match (towards, symmetry.axis) {
        (Some(towards), Some(angle)) => {
            let side = Vec2::from_angle(angle).turn_90();
            if side.dot(towards).abs() < LEAST_SIDE {
                return Err(Refused::SideUnclear);
            }
            let from = if side.dot(towards) > 0.0 { angle } else { angle + PI };
            alike(path, symmetry, Wedge { from, width: PI }, reach)?
        }
        _ => {
            let evened = mean(path, symmetry, reach);
            let loops = Rings::new(&evened).loops.len();
            let wedge = Wedge::of(&evened, symmetry);
            let made = alike(&evened, symmetry, wedge, reach)?;
            if Rings::new(&made).loops.len() != loops {
                return Err(Refused::Uneven);
            }
            made
        }
    };
    Ok(Path::new(made))
}

/// How far places may lie from where they belong by noise alone: a multiple of what half of them keep to, so that a part that
/// is missing on one side does not count.
fn reach<S: Space>(outline: &Rings, symmetry: &Symmetry<S>) -> f64 {
    /// Beyond the median of distances, noise is hardly ever so many times as large.
    const TIMES: f64 = 4.0;
    /// Parts of the extent: rounding, and what is no noise any more.
    const LEAST: f64 = 1e-5;
    const MOST: f64 = 3e-3;
    let motions = symmetry.generators();
    let moved = outline.places(FEW).into_iter().flat_map(|on| motions.iter().map(move |(map, _)| *map * on.at));
    let extent = outline.extent();
    let mut far: Vec<f64> = moved.map(|p| outline.distance_squared(p, 1e-6 * extent).sqrt()).collect();
    let middle = far.len() / 2;
    let usual = if far.is_empty() { 0.0 } else { *far.select_nth_unstable_by(middle, f64::total_cmp).1 };
    (TIMES * usual).clamp(LEAST * extent, MOST * extent)
}

/// A direction as that of an axis, 0 to π.
fn half_turn(angle: f64) -> f64 {
    angle.rem_euclid(PI)
}

/// The best axis: through the centre where there are turns, else anywhere.
fn axis<S: Space>(outline: &Rings, symmetry: Symmetry<S>, half: Half) -> Symmetry<S> {
    let extent = outline.extent();
    let places = outline.places(FEW);
    let sector = PI / f64::from(symmetry.turns);
    let tried: Vec<(f64, f64)> = (0..TRIED)
        .map(|k| sector * f64::from(k) / f64::from(TRIED))
        .map(|angle| (coarse(&places, &Symmetry { axis: Some(angle), ..symmetry }, extent), angle))
        .collect();
    let n = tried.len();
    let mut lows: Vec<(f64, f64)> = (0..n)
        .filter(|&k| tried[k].0 <= tried[(k + 1) % n].0 && tried[k].0 <= tried[(k + n - 1) % n].0)
        .map(|k| tried[k])
        .collect();
    lows.sort_by(|a, b| a.0.total_cmp(&b.0));
    lows.truncate(LOOKED_AT);
    // Upright and level are what is liked where anything would do, as in a disc.
    lows.extend([(0.0, FRAC_PI_2), (0.0, 0.0)]);
    let turned = |angle: f64, symmetry: Symmetry<S>| {
        move |[by, off]: [f64; 2]| {
            let angle = angle + by;
            let aside = if symmetry.turns == 1 { Vec2::from_angle(angle).turn_90() * off } else { Vec2::ZERO };
            Symmetry { centre: (symmetry.centre.raw() + aside).into(), axis: Some(half_turn(angle)), ..symmetry }
        }
    };
    let steps = [1e-4, 1e-4 * extent];
    let looked_at: Vec<(f64, Symmetry<S>)> = lows
        .iter()
        .map(|&(_, angle)| {
            let found = settled(outline, &turned(angle, symmetry), steps);
            (asymmetry(outline, &found.generators(), &places, 1e-6 * extent).0, found)
        })
        .collect();
    // A half can be kept only where it lies to the side that is named.
    let named = |symmetry: &Symmetry<S>| {
        let side = Vec2::from_angle(symmetry.axis.unwrap_or_default()).turn_90();
        towards(half).is_none_or(|towards| symmetry.turns > 1 || side.dot(towards).abs() >= LEAST_SIDE)
    };
    // Where none does, the best axis is told to have no such side.
    let any = looked_at.iter().any(|(_, found)| named(found));
    let looked_at: Vec<(f64, Symmetry<S>)> = looked_at.into_iter().filter(|(_, found)| !any || named(found)).collect();
    let least = looked_at.iter().map(|(rms, _)| *rms).fold(f64::INFINITY, f64::min);
    // Where there are turns every axis has others beside it: the best liked stands for them.
    let level = matches!(half, Half::Upper | Half::Lower);
    let liked = |angle: f64| if level { angle.cos().abs() } else { angle.sin().abs() };
    let best_of = |found: Symmetry<S>| {
        let all = (0..2 * found.turns).map(|k| half_turn(found.axis.unwrap_or_default() + sector * f64::from(k)));
        Symmetry { axis: all.max_by(|a, b| liked(*a).total_cmp(&liked(*b))), ..found }
    };
    let good = looked_at.into_iter().filter(|(rms, _)| *rms <= AS_GOOD * least + NO_DIFFERENCE * extent);
    let good = good.map(|(_, found)| best_of(found));
    let angle = |found: &Symmetry<S>| liked(found.axis.unwrap_or_default());
    good.max_by(|a, b| angle(a).total_cmp(&angle(b))).unwrap_or(symmetry)
}

/// Squared distances of each place from the nearest of the places' images, summed; far ones count as a tenth of the extent.
fn coarse<S: Space>(places: &[On], symmetry: &Symmetry<S>, extent: f64) -> f64 {
    let Some(mirror) = symmetry.mirror() else { return f64::INFINITY };
    let images: Vec<kurbo::Point> = places.iter().map(|on| mirror * on.at).collect();
    let most = (0.1 * extent).powi(2);
    let near = |p: kurbo::Point| images.iter().map(|q| q.distance_squared(p)).fold(most, f64::min);
    places.iter().map(|on| near(on.at)).sum()
}

/// A place, its image, and where on the outline that should lie.
struct Pair {
    from: kurbo::Point,
    to: On,
    /// Of the motions, the one that made it.
    motion: usize,
}

fn pairs<S: Space>(outline: &Rings, symmetry: &Symmetry<S>, places: &[On], accuracy: f64) -> Vec<Pair> {
    let motions = symmetry.generators();
    let of_motion = |(motion, (map, mirrored)): (usize, &(Affine, bool))| -> Vec<Pair> {
        let turned = |on: &On| {
            let along = *map * on.along.to_point() - *map * kurbo::Point::ZERO;
            let along = if *mirrored { -along } else { along };
            outline.nearest(*map * on.at, along, accuracy).map(|to| Pair { from: on.at, to, motion })
        };
        places.iter().filter_map(turned).collect()
    };
    motions.iter().enumerate().flat_map(of_motion).collect()
}

fn misses<S: Space>(pairs: &[Pair], symmetry: &Symmetry<S>) -> Vec<f64> {
    let motions = symmetry.generators();
    pairs.iter().map(|pair| pair.to.along.cross(motions[pair.motion].0 * pair.from - pair.to.at)).collect()
}

/// Root mean square and largest distance of places, each moved in every one of the ways, from the outline.
fn asymmetry(outline: &Rings, motions: &[(Affine, bool)], places: &[On], accuracy: f64) -> (f64, f64) {
    let moved = motions.iter().flat_map(|(map, _)| places.iter().map(move |on| *map * on.at));
    let far: Vec<f64> = moved.map(|p| outline.distance_squared(p, accuracy)).collect();
    #[expect(clippy::cast_precision_loss, reason = "a count of places")]
    let mean = far.iter().sum::<f64>() / far.len().max(1) as f64;
    (mean.sqrt(), far.iter().copied().fold(0.0, f64::max).sqrt())
}

/// The two numbers behind `by` for which the outline lies best on its own image: Gauss-Newton on the distances, those far
/// beyond the others counting less (Cauchy's weights), with correspondences found anew at each round.
fn settled<S: Space>(outline: &Rings, by: &dyn Fn([f64; 2]) -> Symmetry<S>, steps: [f64; 2]) -> Symmetry<S> {
    const ROUNDS: usize = 12;
    let extent = outline.extent();
    let places = outline.places(FEW);
    let mut at = [0.0; 2];
    for round in 0..ROUNDS {
        let accuracy = if round < 6 { 1e-5 } else { 1e-8 } * extent;
        let pairs = pairs(outline, &by(at), &places, accuracy);
        let off = misses(&pairs, &by(at));
        let slopes: [Vec<f64>; 2] = [0, 1].map(|i| {
            let mut beside = at;
            beside[i] += steps[i];
            misses(&pairs, &by(beside)).iter().zip(&off).map(|(b, a)| (b - a) / steps[i]).collect()
        });
        let mut sizes: Vec<f64> = off.iter().map(|d| d.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let usual = 3.0 * sizes.get(sizes.len() / 2).copied().unwrap_or_default() + 1e-9 * extent;
        let (mut a, mut b, mut c, mut x, mut y) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (i, d) in off.iter().enumerate() {
            let weight = 1.0 / (1.0 + (d / usual).powi(2));
            let (s, t) = (slopes[0][i], slopes[1][i]);
            a += weight * s * s;
            b += weight * s * t;
            c += weight * t * t;
            x -= weight * s * d;
            y -= weight * t * d;
        }
        let determinant = a * c - b * b;
        let step = if determinant > 1e-12 * a * c {
            [(x * c - y * b) / determinant, (y * a - x * b) / determinant]
        } else if a > 0.0 {
            [x / a, 0.0]
        } else {
            return by(at);
        };
        at = [at[0] + step[0], at[1] + step[1]];
        if step[0].abs() < 1e-9 * steps[0] / 1e-4 && step[1].abs() < 1e-9 * steps[1] / 1e-4 {
            break;
        }
    }
    by(at)
}
