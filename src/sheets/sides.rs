//! Corners as they were marked → places on the sides between them, sub-pixel.
//!
//! A side is sought as a parabola near the line between its corners, since a lens may bow it; then each place of it is
//! measured by the light between what lies inside and outside (partial area effect: A. Trujillo-Pino and others, "Accurate
//! subpixel edge location based on partial area effect", Image and Vision Computing 31, 2013), and what strays from a smooth
//! curve is left out.

use kurbo::Vec2;
use nalgebra::{Matrix4, Vector4};
use rayon::prelude::*;

use super::light::{Colour, Seeing, dot, mean, minus};
use crate::build_file::Light;
use crate::picture::Picture;
use crate::plane::{PlaneProblem, Seen, SeenLens, SeenRectangle, straighten};
use crate::space::{Pixels, Point};

/// A place on a side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SidePlace {
    /// In pixels.
    pub at: Point<Pixels>,
    /// Unit vector across the side, towards the inside.
    pub across: Vec2,
    /// Standard deviation across the side, in pixels.
    pub sd: f64,
}

/// Places on each side, from a corner to the next; none on one that is not seen.
pub type Sides = [Vec<SidePlace>; 4];

/// Shortest side, in pixels, that is worth measuring.
const SHORTEST: f64 = 24.0;
/// Next to corners so much is left out, as a part of the shortest side, and of any: corners of cards are round, by 3.18 of
/// 53.98 mm (ISO/IEC 7810 ID-1), and seen aslant a longer side may look the shortest.
const LEFT_OUT: f64 = 0.08;
const LEAST_LEFT_OUT: f64 = 0.05;
/// Places looked at along a side: to find it, and to measure it.
const COARSE: usize = 64;
const FINE: usize = 800;
/// Most that a side bows, as a part of its length, and in pixels.
const MOST_BOW: f64 = 0.025;
const MOST_BOW_PX: f64 = 60.0;
/// Pixels beside an edge whose colours are held against each other.
const BESIDE: usize = 3;
/// Half the window that is measured at first, and its limits, in pixels.
const WINDOW: f64 = 4.0;
const WINDOWS: std::ops::RangeInclusive<f64> = 2.5..=10.0;
/// Standard deviations from a tenth to nine tenths of a Gaussian's sum.
const TENTHS: f64 = 2.56;
/// Least blur of an edge, as a standard deviation in pixels: that of reading between pixels.
const LEAST_BLUR: f64 = 0.5;
/// Steps across a side, in pixels.
const STEP: f64 = 0.5;
/// From the middle of the nearer half of what is beside an edge to that of the farther, in pixels.
const GAP: f64 = BESIDE as f64 * STEP;
/// Places on either side of one that share its colours.
const SHARE: usize = 8;
/// The same for how they change towards the edge on the whole, which is known less well.
const SHARE_SLOPES: usize = 32;
/// Least difference between inside and outside, in light.
const LEAST_CONTRAST: f64 = 0.02;
/// Parts of a side, each of which becomes one place.
const PARTS: usize = 7;
/// Least part of the places that lie on one curve.
const MOST_OF: f64 = 0.5;
/// Places that stray more than this from it, as a standard deviation in pixels, are on no edge.
const MOST_STRAY: f64 = 0.6;
/// What even a flawless edge is not known better than, in pixels: paper is not cut by light.
const LEAST_SD: f64 = 0.009;
/// Neighbours have some noise in common, as if there were so many times fewer of them.
const COMMON: f64 = 2.0;

/// The sides between `corners`, clockwise as seen, each of which may be so many pixels off.
pub fn sides(picture: &Picture, light: Option<Light>, corners: [Point<Pixels>; 4], off: f64) -> Sides {
    sides_at(picture, light, corners, off, FINE)
}

/// Whether some lens shows a rectangle of these corners with such sides, on a picture of this width and height.
pub fn sides_agree(sides: &Sides, corners: [Point<Pixels>; 4], [width, height]: [f64; 2]) -> bool {
    let lens = SeenLens {
        middle: Point::new(width / 2.0, height / 2.0),
        unit: 0.5 * width.hypot(height),
        usual: vec![(0.0, 1.0)],
        edges: Vec::new(),
        camera: None,
    };
    let seen = seen_rectangle(corners.map(|at| Seen { at, sd: 1.5 }), sides.each_ref().map(Vec::as_slice), [1.0, 1.0]);
    !matches!(straighten(&[seen], Some(&lens)), Err(PlaneProblem::WideAngle(_)))
}

/// A rectangle of this size as its corners and sides were found.
pub(super) fn seen_rectangle(corners: [Seen; 4], sides: [&[SidePlace]; 4], size: [f64; 2]) -> SeenRectangle {
    let seen = |side: &[SidePlace]| side.iter().map(|place| Seen { at: place.at, sd: place.sd }).collect();
    SeenRectangle { corners, sides: sides.map(seen), places: Vec::new(), size, size_sd: [1.0; 2] }
}

/// The same from so many places along each side at most.
pub(super) fn sides_at(
    picture: &Picture,
    light: Option<Light>,
    corners: [Point<Pixels>; 4],
    off: f64,
    count: usize,
) -> Sides {
    // Sheets lie before a camera; who draws one says so.
    let seeing = Seeing::new(picture, light.unwrap_or(Light::Camera));
    let shortest = (0..4).map(|i| corners[i].distance(corners[(i + 1) % 4])).fold(f64::INFINITY, f64::min);
    let found: Vec<Vec<Part>> = (0..4)
        .into_par_iter()
        .map(|i| {
            let chord = Chord::new(corners[i].raw(), corners[(i + 1) % 4].raw(), LEFT_OUT * shortest);
            chord.and_then(|chord| side(&seeing, &chord, off, count)).unwrap_or_default()
        })
        .collect();
    let times = common(&found);
    let places = |parts: Vec<Part>| -> Vec<SidePlace> {
        parts.into_iter().map(|part| SidePlace { sd: (times * part.place.sd).hypot(LEAST_SD), ..part.place }).collect()
    };
    let places: Vec<Vec<SidePlace>> = found.into_iter().map(places).collect();
    places.try_into().expect("four sides")
}

/// A part of a side in one place, as sure as if its own places knew nothing of each other.
struct Part {
    place: SidePlace,
    /// Its distance from the curve of the whole side, in pixels.
    off: f64,
}

/// How many times less sure parts are than their places by themselves: neighbours share the colours beside the edge, and a
/// ground's grain, so that whole parts stray from the curve of their side (batch means; G. S. Fishman, Management Science 24,
/// 1978).
fn common(sides: &[Vec<Part>]) -> f64 {
    /// Numbers that tell the curve of a side.
    const CURVE: usize = 4;
    let (mut squares, mut free) = (0.0, 0.0);
    for parts in sides.iter().filter(|parts| parts.len() > CURVE) {
        squares += parts.iter().map(|part| (part.off / part.place.sd).powi(2)).sum::<f64>();
        free += (parts.len() - CURVE) as f64;
    }
    if free > 0.0 { (squares / free).max(1.0).sqrt() } else { 1.0 }
}

/// The line between two corners.
struct Chord {
    from: kurbo::Point,
    along: Vec2,
    across: Vec2,
    length: f64,
    /// The part at either end that is not looked at.
    left_out: f64,
}

impl Chord {
    fn new(from: kurbo::Point, to: kurbo::Point, round: f64) -> Option<Self> {
        let length = (to - from).hypot();
        let along = (to - from) / length;
        // Clockwise with y down: the inside lies to the right.
        let left_out = (round / length).max(LEAST_LEFT_OUT);
        (length >= SHORTEST).then_some(Self { from, along, across: Vec2::new(-along.y, along.x), length, left_out })
    }

    /// The place at `t`, 0 to 1 along it, so far inwards.
    fn at(&self, t: f64, inwards: f64) -> kurbo::Point {
        self.from + self.along * (t * self.length) + self.across * inwards
    }
}

/// Lightness, and next to it a little of what else a colour is: photos keep colours at half the resolution (JPEG, ITU-T T.81, as
/// cameras use it), which moves coloured edges. The plain mean has the least noise.
fn seen(seeing: &Seeing, p: kurbo::Point) -> Colour {
    const COLOUR: f64 = 0.35;
    let [r, g, b] = seeing.at(p);
    let lightness = (r + g + b) / 3.0;
    [3.0_f64.sqrt() * lightness, COLOUR * (r - lightness), COLOUR * (b - lightness)]
}

/// `count` places along a side at most, a pixel apart at least, corners left out.
fn stations(chord: &Chord, count: usize) -> Vec<f64> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
    let count = (chord.length as usize).clamp(8, count);
    let step = (1.0 - 2.0 * chord.left_out) / (count - 1) as f64;
    (0..count).map(|i| chord.left_out + step * i as f64).collect()
}

fn side(seeing: &Seeing, chord: &Chord, off: f64, count: usize) -> Option<Vec<Part>> {
    let parabola = find(seeing, chord, off)?;
    let at = stations(chord, count);
    // The curve as a cubic of the way from the middle, −1 to 1.
    let mut curve = Vector4::new(parabola.at(0.5), 0.0, 0.0, 0.0);
    let fitted = fit(&at.iter().map(|t| (*t, parabola.at(*t))).collect::<Vec<_>>(), &vec![1.0; at.len()])?;
    curve.copy_from(&fitted);
    let mut window = WINDOW;
    let mut weight = Weight::Even;
    let mut kept = Vec::new();
    for round in 0..3 {
        let profiles: Vec<Profile> =
            at.iter().map(|t| Profile::take(seeing, chord, *t, value(&curve, *t), window)).collect();
        let measured: Vec<(f64, f64)> = at
            .iter()
            .zip(measure(&profiles, weight))
            .filter_map(|(t, inwards)| Some((*t, value(&curve, *t) + inwards?)))
            .collect();
        if measured.len() < PARTS || (measured.len() as f64) < MOST_OF * at.len() as f64 {
            return None;
        }
        let (found, weights, stray) = robust(&measured)?;
        if stray > MOST_STRAY {
            return None;
        }
        curve = found;
        kept = measured.into_iter().zip(weights).filter(|(_, weight)| *weight > 0.25).map(|(place, _)| place).collect();
        if round == 0 {
            let wide = transition(&profiles);
            window = (0.5 * wide + 1.5).clamp(*WINDOWS.start(), *WINDOWS.end());
            weight = Weight::Bell((wide / TENTHS).clamp(LEAST_BLUR, 0.4 * window));
        }
    }
    let ends = [0.0, 1.0].map(|t| value(&curve, t).abs());
    if (kept.len() as f64) < MOST_OF * at.len() as f64 || ends.into_iter().any(|end| end > 2.0 * off + 2.0) {
        return None;
    }
    Some(condensed(chord, &curve, &kept))
}

/// How far inwards of its chord a side runs: at both corners, and what it bows in between.
#[derive(Clone, Copy)]
struct Parabola {
    ends: [f64; 2],
    bow: f64,
}

impl Parabola {
    fn at(self, t: f64) -> f64 {
        self.ends[0] * (1.0 - t) + self.ends[1] * t + self.bow * 4.0 * t * (1.0 - t)
    }
}

/// The parabola along which colours change most, all of them tried.
fn find(seeing: &Seeing, chord: &Chord, off: f64) -> Option<Parabola> {
    let most_bow = (MOST_BOW * chord.length).clamp(2.0, MOST_BOW_PX).round();
    let ends = off.ceil();
    let reach = ends + most_bow;
    let at = stations(chord, COARSE);
    #[expect(clippy::cast_possible_truncation, reason = "tens of pixels")]
    let (reach, most_bow, ends) = (reach as i32, most_bow as i32, ends as i32);
    let steps: Vec<Vec<f64>> = at
        .iter()
        .map(|t| {
            let beside = i32::try_from(BESIDE).expect("small");
            let colours: Vec<Colour> =
                (-reach - beside..=reach + beside).map(|k| seen(seeing, chord.at(*t, f64::from(k)))).collect();
            let change = |k: usize| {
                let (outside, inside) = (&colours[k..k + BESIDE], &colours[k + BESIDE + 1..=k + 2 * BESIDE]);
                let change = minus(mean(inside.iter().copied()), mean(outside.iter().copied()));
                dot(change, change).sqrt()
            };
            (0..=2 * usize::try_from(reach).expect("not negative")).map(change).collect()
        })
        .collect();
    // One bright streak must not outweigh the rest of a side.
    let mut peaks: Vec<f64> = steps.iter().map(|all| all.iter().copied().fold(0.0, f64::max)).collect();
    let middle = peaks.len() / 2;
    let cap = *peaks.select_nth_unstable_by(middle, f64::total_cmp).1;
    if cap < LEAST_CONTRAST {
        return None;
    }
    let score = |parabola: &Parabola| -> f64 {
        let step = |(all, t): (&Vec<f64>, &f64)| {
            #[expect(clippy::cast_possible_truncation, reason = "tens of pixels")]
            let k = parabola.at(*t).round() as i32 + reach;
            usize::try_from(k).ok().and_then(|k| all.get(k)).map_or(0.0, |step| step.min(cap))
        };
        steps.iter().zip(&at).map(step).sum()
    };
    let all = (-ends..=ends).flat_map(|a| (-ends..=ends).map(move |b| (a, b)));
    let all = all.flat_map(|(a, b)| (-most_bow..=most_bow).map(move |bow| (a, b, bow)));
    let best = all
        .map(|(a, b, bow)| Parabola { ends: [f64::from(a), f64::from(b)], bow: f64::from(bow) })
        .map(|parabola| (score(&parabola) - 1e-6 * parabola.bow.abs(), parabola))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    best.map(|(_, parabola)| parabola)
}

/// Colours across a side, outside first.
struct Profile {
    colours: Vec<Colour>,
    /// Next to the window, and beyond that.
    outside: [Colour; 2],
    inside: [Colour; 2],
    window: f64,
}

/// The two halves of what is beside an edge, on one side of it.
type Band = fn(&Profile) -> &[Colour; 2];

/// How much what is seen across an edge counts, by its distance from where the edge is thought to be. Any even weight finds
/// the place of an edge under any symmetric blur.
#[derive(Clone, Copy)]
enum Weight {
    /// All of the window alike: also for an edge that is some pixels off.
    Even,
    /// As the edge itself is blurred, with this standard deviation in pixels, which lets the least noise through (J. Canny,
    /// IEEE Transactions on Pattern Analysis and Machine Intelligence 8, 1986) and the least of what is beside the edge.
    Bell(f64),
}

/// What lies on one side of an edge: it may change a little towards the edge, as a ground with a grain does.
struct Beside {
    /// At the edge, were it to go on so.
    at_edge: Colour,
    /// By how much it changes with each pixel away from that.
    slope: Colour,
}

impl Beside {
    /// Of `near` profiles, whose level changes by `grade` of the contrast with each pixel away from the edge.
    fn of(near: &[Profile], of: Band, contrast: Colour, grade: f64) -> Self {
        let middle = near[0].window + GAP + 0.5 * STEP;
        let level = mean(near.iter().flat_map(|p| *of(p)));
        let slope = contrast.map(|v| v * grade);
        Self { at_edge: std::array::from_fn(|c| level[c] - slope[c] * middle), slope }
    }

    fn at(&self, away: f64) -> Colour {
        std::array::from_fn(|c| self.at_edge[c] + self.slope[c] * away)
    }
}

impl Profile {
    /// Across the place at `t` that lies so far inwards of the chord.
    fn take(seeing: &Seeing, chord: &Chord, t: f64, inwards: f64, window: f64) -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "tens of steps")]
        let half = (window / STEP).round() as i32;
        let near = i32::try_from(BESIDE).expect("small");
        let beside = 2 * near;
        let at = |k: i32| seen(seeing, chord.at(t, inwards + f64::from(k) * STEP));
        Self {
            colours: (-half..=half).map(at).collect(),
            outside: [mean((-half - near..-half).map(at)), mean((-half - beside..-half - near).map(at))],
            inside: [mean((half + 1..=half + near).map(at)), mean((half + near + 1..=half + beside).map(at))],
            window: f64::from(half) * STEP,
        }
    }
}

/// How far inwards of where each profile was taken the edge lies.
fn measure(profiles: &[Profile], weight: Weight) -> Vec<Option<f64>> {
    let contrasts: Vec<Option<Colour>> = (0..profiles.len())
        .map(|i| {
            let near = around(profiles, i, SHARE);
            let level = |of: Band| mean(near.iter().flat_map(|p| *of(p)));
            let contrast = minus(level(|p| &p.inside), level(|p| &p.outside));
            (dot(contrast, contrast).sqrt() >= LEAST_CONTRAST).then_some(contrast)
        })
        .collect();
    let outside = grades(profiles, &contrasts, |p| &p.outside);
    let inside = grades(profiles, &contrasts, |p| &p.inside);
    let depth = |i: usize| {
        let (near, contrast) = (around(profiles, i, SHARE), contrasts[i]?);
        let outside = Beside::of(near, |p| &p.outside, contrast, outside[i]);
        let inside = Beside::of(near, |p| &p.inside, contrast, inside[i]);
        depth(&profiles[i], &outside, &inside, weight)
    };
    (0..profiles.len()).map(depth).collect()
}

/// The profiles from so many before number `i` to so many after it.
fn around(profiles: &[Profile], i: usize, share: usize) -> &[Profile] {
    &profiles[i.saturating_sub(share)..(i + share + 1).min(profiles.len())]
}

/// By which part of the contrast the level on one side of the edge changes with each pixel away from it, at each profile: what
/// the wider neighbourhood does as far as that is more than noise, and the nearer one's difference from it in the part that
/// is not noise over the whole side (C. Stein's shrinking of many means, Proc. 3rd Berkeley Symposium, 1956).
fn grades(profiles: &[Profile], contrasts: &[Option<Colour>], of: Band) -> Vec<f64> {
    /// Most of the contrast that it changes by up to the edge; more is another edge.
    const MOST: f64 = 0.2;
    /// Standard deviations beyond which a change is one.
    const SURE: f64 = 4.0;
    let change = |all: &[Profile], contrast: Colour| {
        let square = dot(contrast, contrast);
        let changes = all.iter().map(|p| dot(minus(of(p)[1], of(p)[0]), contrast) / square);
        let count = all.len() as f64;
        let (sum, squares) = changes.fold((0.0, 0.0), |(sum, squares), c| (sum + c, squares + c * c));
        let mean = sum / count;
        (mean, COMMON * (squares / count - mean * mean) / (count - 1.0).max(1.0))
    };
    let both: Vec<[(f64, f64); 2]> = (0..profiles.len())
        .map(|i| {
            let contrast = contrasts[i];
            [SHARE, SHARE_SLOPES]
                .map(|share| contrast.map_or((0.0, 0.0), |contrast| change(around(profiles, i, share), contrast)))
        })
        .collect();
    let apart: f64 = both.iter().map(|[near, wide]| (near.0 - wide.0).powi(2)).sum();
    let chance: f64 = both.iter().map(|[near, wide]| (near.1 - wide.1).max(0.0)).sum();
    let own = (1.0 - chance / apart.max(1e-12)).max(0.0);
    let most = MOST / (profiles[0].window + GAP + 0.5 * STEP);
    both.into_iter()
        .map(|[near, wide]| {
            let sure = (1.0 - SURE * SURE * wide.1 / (wide.0 * wide.0).max(1e-12)).max(0.0);
            ((sure * wide.0 + own * (near.0 - wide.0)) / GAP).clamp(-most, most)
        })
        .collect()
}

/// How far inwards of where a profile was taken the edge lies between what is beside it.
fn depth(profile: &Profile, outside: &Beside, inside: &Beside, weight: Weight) -> Option<f64> {
    let covered = profile.colours.iter().enumerate().map(|(k, colour)| {
        let away = (k as f64 * STEP - profile.window).abs();
        let (outside, inside) = (outside.at(away), inside.at(away));
        let span = minus(inside, outside);
        dot(minus(*colour, outside), span) / dot(span, span).max(1e-12)
    });
    let last = profile.colours.len() - 1;
    let inwards = match weight {
        // By the trapezoid rule.
        Weight::Even => {
            let sum: f64 = covered.enumerate().map(|(k, c)| if k == 0 || k == last { 0.5 * c } else { c }).sum();
            profile.window - sum * STEP
        }
        Weight::Bell(sd) => {
            let (sum, all) = covered.enumerate().fold((0.0, 0.0), |(sum, all), (k, c)| {
                let bell = (-0.5 * ((k as f64 * STEP - profile.window) / sd).powi(2)).exp();
                (sum + bell * (c - 0.5), all + bell)
            });
            // A bell sees a step that is blurred as widely through one of twice its variance.
            -sum / all * (std::f64::consts::TAU * 2.0).sqrt() * sd
        }
    };
    (inwards.abs() < 0.6 * profile.window).then_some(inwards)
}

/// Pixels that the change from outside to inside takes, from a tenth to nine tenths, all profiles together.
fn transition(profiles: &[Profile]) -> f64 {
    let all = |of: fn(&Profile) -> &[Colour; 2]| mean(profiles.iter().flat_map(|p| *of(p)));
    let (outside, inside) = (all(|p| &p.outside), all(|p| &p.inside));
    let span = minus(inside, outside);
    let contrast = dot(span, span).max(1e-12);
    let covered = |k: usize| dot(minus(mean(profiles.iter().map(|p| p.colours[k])), outside), span) / contrast;
    let all: Vec<f64> = (0..profiles[0].colours.len()).map(covered).collect();
    let between = all.iter().filter(|c| (0.1..0.9).contains(*c)).count();
    between as f64 * STEP
}

fn value(curve: &Vector4<f64>, t: f64) -> f64 {
    curve.dot(&powers(t))
}

fn powers(t: f64) -> Vector4<f64> {
    let s = 2.0 * t - 1.0;
    Vector4::new(1.0, s, s * s, s * s * s)
}

/// The cubic with the least weighted squares.
fn fit(places: &[(f64, f64)], weights: &[f64]) -> Option<Vector4<f64>> {
    let (mut normal, mut pull) = (Matrix4::zeros(), Vector4::zeros());
    for ((t, off), weight) in places.iter().zip(weights) {
        let powers = powers(*t);
        normal += powers * powers.transpose() * *weight;
        pull += powers * (*off * *weight);
    }
    normal.cholesky().map(|solver| solver.solve(&pull))
}

/// A cubic through most of `places`, with the weight of each and the standard deviation of those that count: biweights (J.
/// Tukey; F. Mosteller, J. Tukey, Data Analysis and Regression, 1977).
fn robust(places: &[(f64, f64)]) -> Option<(Vector4<f64>, Vec<f64>, f64)> {
    const ROUNDS: usize = 8;
    const REACH: f64 = 5.0;
    let mut weights = vec![1.0; places.len()];
    let mut found = None;
    for _ in 0..ROUNDS {
        let curve = fit(places, &weights)?;
        let left: Vec<f64> = places.iter().map(|(t, off)| off - value(&curve, *t)).collect();
        let mut sizes: Vec<f64> = left.iter().map(|v| v.abs()).collect();
        let middle = sizes.len() / 2;
        let stray = (1.4826 * *sizes.select_nth_unstable_by(middle, f64::total_cmp).1).max(1e-3);
        let share = |left: &f64| (1.0 - (left / (REACH * stray)).powi(2)).max(0.0).powi(2);
        weights = left.iter().map(share).collect();
        found = Some((curve, stray));
    }
    found.map(|(curve, stray)| (curve, weights, stray))
}

/// The kept places, a part of the side together in one place each.
fn condensed(chord: &Chord, curve: &Vector4<f64>, kept: &[(f64, f64)]) -> Vec<Part> {
    let part = |k: usize| -> Option<Part> {
        let width = (1.0 - 2.0 * chord.left_out) / PARTS as f64;
        let from = chord.left_out + width * k as f64;
        let own: Vec<&(f64, f64)> = kept.iter().filter(|(t, _)| (from..=from + width).contains(t)).collect();
        if own.len() < 4 {
            return None;
        }
        let count = own.len() as f64;
        let t = own.iter().map(|(t, _)| t).sum::<f64>() / count;
        let left: Vec<f64> = own.iter().map(|(t, off)| off - value(curve, *t)).collect();
        let off = left.iter().sum::<f64>() / count;
        let variance = left.iter().map(|v| (v - off).powi(2)).sum::<f64>() / (count - 1.0);
        let at = chord.at(t, value(curve, t) + off).into();
        let place = SidePlace { at, across: chord.across, sd: (variance * COMMON / count).sqrt().max(1e-6) };
        Some(Part { place, off })
    };
    (0..PARTS).filter_map(part).collect()
}
