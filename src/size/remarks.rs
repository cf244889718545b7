//! What the maker should know about the size, besides the size itself.

use crate::build_file::Like;
use crate::problem::{Placed, Problem, Problems};

use super::{Estimate, Marks, PictureMarks, PictureScale, ScaleFrom, Verdict};

/// Percent, below which a difference would be shown as none.
const LEAST_SHOWN: f64 = 0.05;

/// What the maker should know about the scale of `picture`.
pub(super) fn remarks(marks: &Marks, picture: &PictureMarks, scale: &PictureScale) -> Problems {
    let mut remarks = match scale.from {
        // The maker's own word.
        ScaleFrom::Finished => return Vec::new(),
        ScaleFrom::Figure => {
            let remarks = [Some(figure_assumed(marks, picture)), odd_limb(picture), above_beside(picture)];
            remarks.into_iter().flatten().collect()
        }
        _ => Vec::new(),
    };
    // Nothing tells how it was taken.
    let square_on = picture.rectangle.is_none() && picture.ring.is_none();
    remarks.extend(ring_astray(marks, picture));
    remarks.extend(disagreements(&picture.name, scale, square_on));
    remarks
}

fn figure_assumed(marks: &Marks, picture: &PictureMarks) -> Problem {
    let upright = picture.figure.as_ref().is_some_and(|figure| !figure.landmarks.is_empty());
    let like = picture.figure.as_ref().map_or(Like::Stature, |figure| figure.like);
    let text = format!(
        "the figure on picture \"{}\" is taken to {}, beside the prop, and to {} the wearer with {:.0} mm of shoes",
        picture.name.value,
        if upright { "stand upright" } else { "stand as its limbs tell" },
        match like {
            Like::Stature => "be as tall as",
            Like::Head => "have a head as large as that of",
            Like::Shoulder => "have shoulders as high as those of",
            Like::Blend(_) => "be between as tall and with a head as large as",
        },
        marks.shoes.value
    );
    let place = picture.figure.as_ref().map_or(picture.name.place, |figure| figure.place);
    Problem::note("figure_assumed", text).at(place)
}

/// A limb that is seen so much longer than the others tell that no pose makes it so: foreshortening only makes limbs shorter,
/// and all the others would have to point towards the eye.
fn odd_limb(picture: &PictureMarks) -> Option<Problem> {
    /// Times as long: the others would be seen at 60 degrees from the plane of the picture.
    const TIMES: f64 = 2.0;
    const FEWEST: usize = 3;
    let figure = picture.figure.as_ref().filter(|figure| figure.limbs.len() >= FEWEST)?;
    let seen = |limb: &super::LimbMark| limb.ends[0].distance(limb.ends[1]) / limb.fraction.value;
    let mut all: Vec<f64> = figure.limbs.iter().map(seen).collect();
    all.sort_by(f64::total_cmp);
    let usual = all[all.len() / 2];
    let longest = figure.limbs.iter().max_by(|a, b| seen(a).total_cmp(&seen(b)))?;
    let times = seen(longest) / usual;
    let text = format!(
        "the {} of the figure on picture \"{}\" is marked {times:.1} times as long as its other limbs tell, and a limb that is \
         bent or points away only looks shorter: either all the others do, or this one is marked wrongly, and makes the prop \
         too small",
        longest.limb.name(),
        picture.name.value
    );
    (times > TIMES).then(|| Problem::warning("limb_too_long", text).at(figure.place))
}

/// What `above` does nothing to.
fn above_beside(picture: &PictureMarks) -> Option<Problem> {
    picture.above.filter(|above| above.value != 0.0)?;
    let text = format!(
        "picture \"{}\" says that the prop lies above the plane of its rectangle, which changes nothing where the size comes \
         from the figure: that is taken to stand in the plane of the prop",
        picture.name.value
    );
    Some(Problem::note("above_beside_figure", text).at(picture.name.place))
}

/// A ring about the prop's axis is seen shortest along that axis.
fn ring_astray(marks: &Marks, picture: &PictureMarks) -> Option<Problem> {
    /// Degrees, beyond which the prop would not be drawn out along itself.
    const MOST: f64 = 15.0;
    let ring = picture.ring.as_ref()?;
    let finished =
        marks.finished.as_ref().filter(|ends| marks.pictures[ends.picture].name.value == picture.name.value)?;
    let way = |from: &super::Spot, to: &super::Spot| to.at().raw() - from.at().raw();
    let (axis, along) = (way(&ring.shortest[0], &ring.shortest[1]), way(&finished.from, &finished.to));
    let apart = axis.cross(along).atan2(axis.dot(along)).abs().to_degrees();
    let apart = apart.min(180.0 - apart);
    let text = format!(
        "the ring on picture \"{}\" leans the prop along its shortest diameter, which is {apart:.0} degrees off the line \
         between the two ends of the finished prop, so that it is drawn out askew; mark a ring that goes about the prop's own \
         axis",
        picture.name.value
    );
    (apart > MOST).then(|| Problem::warning("ring_astray", text).at(ring.place))
}

/// Lengths say nothing of how a picture was taken, however many of them agree.
fn taken_aslant(picture: &Placed<String>, scale: &PictureScale, square_on: bool) -> Option<Problem> {
    // cos 15° = 0.966; perspective comes on top.
    let text = format!(
        "picture \"{}\" is sized by known lengths alone, which do not tell whether it was taken square on, nor how its lens \
         bows, and give or take leaves both out: 15° aslant is 3 % and more; with a sheet or a card in the plane of the prop, \
         marked as known_rectangle, it would be straightened",
        picture.value
    );
    let told = scale.from == ScaleFrom::KnownLengths && square_on;
    told.then(|| Problem::note("taken_square_on", text).at(picture.place))
}

fn disagreements(picture: &Placed<String>, scale: &PictureScale, square_on: bool) -> Problems {
    let (name, estimates) = (&picture.value, &scale.estimates);
    if let [only] = &estimates[..] {
        let more =
            if scale.from == ScaleFrom::Figure { "another landmark of the figure" } else { "one more known length" };
        let text = format!(
            "the size of picture \"{name}\" rests on one thing alone, \"{}\": it has nothing to be checked against; mark {more}",
            only.name,
        );
        let alone = Problem::note("size_unchecked", text).at(picture.place);
        return std::iter::once(alone).chain(taken_aslant(picture, scale, square_on)).collect();
    }
    let mut remarks = Problems::new();
    let off = |estimate: &&Estimate| estimate.verdict().is_some_and(|verdict| verdict != Verdict::Agrees);
    if let [one, other] = &estimates[..] {
        if off(&one) {
            let differ = (other.factor / one.factor - 1.0).abs() * 100.0;
            let what = if differ < LEAST_SHOWN {
                "are of one size, but not seen as two of their shapes in one plane would be".to_owned()
            } else {
                format!("make the size of picture \"{name}\" differ by {differ:.1} %")
            };
            let text = format!(
                "\"{}\" and \"{}\" {what}, and with two it cannot be told which is off; measure both again, or mark a third",
                one.name, other.name
            );
            remarks.push(Problem::warning("two_sizes_disagree", text).at(picture.place));
        }
    } else {
        remarks.extend(estimates.iter().filter(off).filter_map(|estimate| {
            let (against, verdict) = (estimate.against?, estimate.verdict()?);
            let text = format!(
                "\"{}\" on picture \"{name}\" {}: it makes the prop {:.1} % {} than they do; check its length and where \
                 it was clicked",
                estimate.name,
                if verdict == Verdict::DoesNotFit { verdict.words() } else { "is a little off from the others" },
                against.excess.abs() * 100.0,
                if against.excess > 0.0 { "larger" } else { "smaller" }
            );
            Some(Problem::warning("size_off", text).at(estimate.place))
        }));
    }
    if scale.widening > 1.0 {
        let text = format!(
            "the sizes on picture \"{name}\" differ by more than their errors explain, so what comes from them is given \
             {:.1} times as wide; mend the one that is off",
            scale.widening
        );
        remarks.push(Problem::warning("size_widened", text).at(picture.place));
    }
    remarks.extend(taken_aslant(picture, scale, square_on));
    remarks
}
