//! What the maker should know about the size, besides the size itself.

use crate::build_file::Like;
use crate::problem::{Placed, Problem, Problems};

use super::{Estimate, Marks, PictureMarks, PictureScale, ScaleFrom, Verdict};

/// What the maker should know about the scale of `picture`.
pub(super) fn remarks(marks: &Marks, picture: &PictureMarks, scale: &PictureScale) -> Problems {
    let mut remarks = match scale.from {
        // The maker's own word.
        ScaleFrom::Finished => return Vec::new(),
        ScaleFrom::Figure => vec![figure_assumed(marks, picture)],
        _ => Vec::new(),
    };
    remarks.extend(disagreements(&picture.name, scale, picture.rectangle.is_none()));
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

fn disagreements(picture: &Placed<String>, scale: &PictureScale, picture_is_flat: bool) -> Problems {
    let (name, estimates) = (&picture.value, &scale.estimates);
    if let [only] = &estimates[..] {
        let more =
            if scale.from == ScaleFrom::Figure { "another landmark of the figure" } else { "one more known length" };
        let text = format!(
            "the size of picture \"{name}\" rests on one thing alone, \"{}\": it has nothing to be checked against; mark \
             {more}{}",
            only.name,
            // cos 15° = 0.966; perspective comes on top.
            if scale.from == ScaleFrom::KnownLengths && picture_is_flat {
                ", and see that the picture was taken square on, because nothing tells: 15° aslant is 3 % and more too short"
            } else {
                ""
            }
        );
        return vec![Problem::note("size_unchecked", text).at(picture.place)];
    }
    let mut remarks = Vec::new();
    let off = |estimate: &&Estimate| estimate.verdict().is_some_and(|verdict| verdict != Verdict::Agrees);
    if let [one, other] = &estimates[..] {
        if off(&one) {
            let text = format!(
                "\"{}\" and \"{}\" make the size of picture \"{name}\" differ by {:.1} %, and with two it cannot be told \
                 which is off; measure both again, or mark a third",
                one.name,
                other.name,
                (other.factor / one.factor - 1.0).abs() * 100.0
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
    remarks
}
