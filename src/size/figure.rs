//! The figure that carries the prop: heights of its landmarks, on the wearer and in the picture.

use crate::build_file::{Landmark, Like, Limb, WEARER_HEADS};
use crate::problem::Problem;
use crate::space::{Map, Pixels, Plane, Point};
use crate::tables::stature_fraction;

use super::{FigureMarks, HandMark, HandSize, LimbMark, Marks, Measured, PictureMarks, Spot};

/// Height of `landmark` above the sole as a fraction of stature, from the body table; how far one person differs from
/// it: common practice, no source.
pub(super) fn fraction(landmark: Landmark) -> Measured {
    let sd = match landmark {
        Landmark::Crown => 0.004,
        Landmark::Eye => 0.006,
        Landmark::Chin => 0.008,
        Landmark::Knee | Landmark::Shoulder => 0.010,
        Landmark::Hip => 0.012,
    };
    let value = stature_fraction(landmark.name()).expect("every landmark stands in the body table");
    Measured { value, sd }
}

/// The same of a figure that is drawn so many heads tall, whose chin stands higher or lower for that.
pub(super) fn drawn_fraction(landmark: Landmark, heads: f64) -> Measured {
    let natural = fraction(landmark);
    match landmark {
        Landmark::Chin => Measured { value: 1.0 - (1.0 - natural.value) * WEARER_HEADS / heads, ..natural },
        _ => natural,
    }
}

/// The length of a limb as a fraction of stature, from the body table; how far one person differs from it: common
/// practice, no source.
pub(super) fn limb_fraction(limb: Limb) -> Measured {
    const SPREAD: f64 = 0.04;
    let value = crate::tables::limb_fraction(limb.name()).expect("every limb stands in the body table");
    Measured { value, sd: SPREAD * value }
}

/// Breadth of the hand and its length over stature: means of men and women of ANSUR II (body table); the spread between
/// persons of one stature: common practice, no source.
pub(super) const FIST: Measured = Measured { value: 0.0492, sd: 0.05 * 0.0492 };
pub(super) const HAND_LENGTH: Measured = Measured { value: 0.1106, sd: 0.045 * 0.1106 };
/// How far drawn hands differ from nature, as a part, and how well a hand is measured, mm (common practice, no source).
pub(super) const HAND_STYLE_SD: f64 = 0.05;
pub(super) const HAND_SD_MM: f64 = 1.5;
/// Standard deviation of a limb's length as it is marked, in pixels: two clicks along it.
const LIMB_CLICK_SD_PX: f64 = 3.0;

/// The figure's marks in mm on the wearer and as seen in the plane. Landmarks are those of one that stands upright, in shoes;
/// limbs are bent however they are.
pub(super) fn heights(marks: &Marks, picture: &PictureMarks, plane: &Map<Pixels, Plane>) -> Vec<[f64; 2]> {
    let (Some(figure), Some(height)) = (&picture.figure, marks.barefoot) else { return Vec::new() };
    let times = (figure.heads / WEARER_HEADS).powf(match figure.like {
        Like::Stature | Like::Shoulder => 0.0,
        Like::Head => 1.0,
        Like::Blend(share) => share,
    });
    let mut pairs = Vec::new();
    if let Some(sole) = figure.sole {
        let sole = sole.at();
        let rises = figure.landmarks.iter().map(|l| rise(figure, &l.at));
        let head = Point::new(sole.x, sole.y - rises.fold(0.0, f64::max));
        // Upward in the picture is upward in the plane, however the rectangle lies in it.
        let stand = plane.point(sole).raw();
        let up = (plane.point(head).raw() - stand).normalize();
        let landmarks = used_landmarks(figure);
        pairs.extend(landmarks.map(|l| {
            [
                times * l.fraction.value * (height.value + marks.shoes.value),
                up.dot(plane.point(l.at.at()).raw() - stand),
            ]
        }));
    }
    if uses_limbs(figure) {
        let pixel =
            figure.limbs.iter().map(|limb| plane.stretch(limb.ends[0])).sum::<f64>() / figure.limbs.len() as f64;
        let seen = |limb: &LimbMark| {
            let [from, to] = limb.ends.map(|end| plane.point(end));
            (from.distance(to), limb.fraction)
        };
        let limbs: Vec<(f64, Measured)> = figure.limbs.iter().map(seen).collect();
        let (stature, sd) = stature_of_pose(&limbs, LIMB_CLICK_SD_PX * pixel);
        pairs.push([times * height.value, stature + sd * figure.pose.value]);
    }
    pairs
}

/// The landmarks that count: of a figure whose shoulders are to be as high as the wearer's, only those.
pub(super) fn used_landmarks(figure: &FigureMarks) -> impl Iterator<Item = &super::LandmarkMark> {
    let only = figure.like == Like::Shoulder;
    figure.landmarks.iter().filter(move |l| !only || l.landmark.value == Landmark::Shoulder)
}

/// Whether the limbs count.
pub(super) fn uses_limbs(figure: &FigureMarks) -> bool {
    !figure.limbs.is_empty() && figure.like != Like::Shoulder
}

/// The stature of a figure whose limbs are seen so long, in the unit of these, and its standard deviation.
///
/// A limb that points out of the picture's plane looks shorter, never longer: seen length ~ Normal(H r cos φ, √((H σ cos φ)² +
/// click²)), φ over all directions of space, so that sin φ is even; averaged over φ for each limb by itself, multiplied over
/// the limbs, with a prior of 1/H. Mean and standard deviation of what is left.
pub(super) fn stature_of_pose(limbs: &[(f64, Measured)], click: f64) -> (f64, f64) {
    const DIRECTIONS: u32 = 64;
    const STATURES: u32 = 300;
    /// Of the stature that the longest limb tells when it is seen in full.
    const RANGE: [f64; 2] = [0.7, 1.8];
    let longest = limbs.iter().map(|(seen, fraction)| seen / fraction.value).fold(0.0, f64::max);
    let likelihood = |stature: f64| -> f64 {
        let one = |(seen, fraction): &(f64, Measured)| -> f64 {
            let all = (0..DIRECTIONS).map(|i| {
                let sine = (f64::from(i) + 0.5) / f64::from(DIRECTIONS);
                let cosine = (1.0 - sine * sine).sqrt();
                let sd = (stature * fraction.sd * cosine).hypot(click);
                let z = (seen - stature * fraction.value * cosine) / sd;
                (-0.5 * z * z).exp() / sd
            });
            all.sum::<f64>().max(1e-300).ln()
        };
        limbs.iter().map(one).sum::<f64>()
    };
    let at = |i: u32| {
        let share = (f64::from(i) + 0.5) / f64::from(STATURES);
        longest * RANGE[0] * (RANGE[1] / RANGE[0]).powf(share)
    };
    // Steps of the logarithm are as the prior.
    let all: Vec<(f64, f64)> = (0..STATURES).map(at).map(|stature| (stature, likelihood(stature))).collect();
    let most = all.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
    let (mut weight, mut sum, mut squares) = (0.0, 0.0, 0.0);
    for (stature, log) in all {
        let share = (log - most).exp();
        weight += share;
        sum += share * stature;
        squares += share * stature * stature;
    }
    let mean = sum / weight;
    (mean, (squares / weight - mean * mean).max(0.0).sqrt())
}

/// The hand's marks, in mm on the wearer and as seen in the plane.
pub(super) fn hands(marks: &Marks, picture: &PictureMarks, plane: &Map<Pixels, Plane>) -> Vec<[f64; 2]> {
    let one = |hand: &HandMark| {
        let mm = match hand.size {
            HandSize::Measured(size) => size.value,
            HandSize::Fraction(fraction) => fraction.value * marks.barefoot?.value,
        };
        let seen = plane.point(hand.from.at()).distance(plane.point(hand.to.at()));
        Some([mm * picture.hand_style.value, seen])
    };
    picture.hand.iter().filter_map(one).collect()
}

/// How far above the sole something is seen, in pixels.
fn rise(figure: &FigureMarks, at: &Spot) -> f64 {
    figure.sole.map_or(0.0, |sole| sole.y.value) - at.y.value
}

/// Refuses a figure whose landmarks do not stand above each other in the order of the body.
pub(super) fn stands_upright(figure: &FigureMarks) -> Result<(), Problem> {
    let mut landmarks: Vec<_> = figure.landmarks.iter().collect();
    landmarks.sort_by_key(|l| l.landmark.value);
    let mut below = ("sole", 0.0);
    for l in landmarks {
        let (name, rise) = (l.landmark.value.name(), rise(figure, &l.at));
        if rise <= below.1 {
            let text = match below {
                ("sole", _) => format!(
                    "the {name} is marked {:.0} px below the sole of the figure; both are marked on an upright figure, \
                     the sole at the bottom: mark them again",
                    rise.abs()
                ),
                (lower, at) => format!(
                    "the {name} is marked {rise:.0} px above the sole of the figure, the {lower} {at:.0} px: on an \
                     upright figure the {name} is the higher one; mark them again",
                ),
            };
            return Err(Problem::error("figure_not_upright", text).at(l.landmark.place));
        }
        below = (name, rise);
    }
    Ok(())
}
