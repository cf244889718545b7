//! What was found about the size, for programs: all lengths in mm.

use serde::Serialize;

use crate::build_file::{Like, SizeFrom, WEARER_HEADS};
use crate::problem::Problems;
use crate::space::Lens;

use super::{
    FinishedBy, Interval, Marks, PictureMarks, ScaleFrom, Solved, Spread, finished_by, finished_length, finished_width,
    measure, mm_per_px,
};

/// Where the size comes from and what it rests on.
#[derive(Clone, Debug, Serialize)]
pub struct SizeReport {
    /// As the build file says it.
    pub from: &'static str,
    /// In the order of the build.
    pub pictures: Vec<PictureReport>,
}

/// The scale of one picture.
#[derive(Clone, Debug, Serialize)]
pub struct PictureReport {
    /// Its key in the build file.
    pub picture: String,
    /// "rectangle", or "picture" when it is used as it is.
    pub plane: &'static str,
    /// How its lens bows; left out where that is not told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lens: Option<LensReport>,
    /// Where its factor comes from.
    pub by: &'static str,
    /// The picture it is tied to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tied_to: Option<String>,
    /// Pattern mm per plane unit.
    pub factor: f64,
    /// Pattern mm per pixel, in the middle of its outlines.
    pub mm_per_px: f64,
    /// What every standard deviation was multiplied by.
    pub widening: f64,
    /// What speaks for a factor.
    pub estimates: Vec<EstimateReport>,
}

/// How a lens bows: the radial terms of D. C. Brown, 1971, around the middle of the picture.
#[derive(Clone, Debug, Serialize)]
pub struct LensReport {
    /// By how much it moves the corners of the picture, outwards above 0, as a part of their distance from the middle.
    pub at_corners: f64,
    /// The focal length that the view of the rectangle tells, in pixels; left out where it does not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub focal_px: Option<f64>,
    /// The terms with that for the unit, as OpenCV has them; likewise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub k: Option<[f64; 2]>,
}

impl LensReport {
    fn new((lens, half_diagonal): (Lens, f64), focal: Option<f64>) -> Self {
        let [first, second] = lens.terms(half_diagonal);
        Self { at_corners: first + second, focal_px: focal, k: focal.map(|focal| lens.terms(focal)) }
    }
}

/// One estimate of a factor.
#[derive(Clone, Debug, Serialize)]
pub struct EstimateReport {
    /// Of the known length or landmark.
    pub name: String,
    /// Pattern mm per plane unit.
    pub factor: f64,
    /// Standard deviation of that.
    pub sd: f64,
    /// Share in the picture's factor.
    pub weight: f64,
    /// Standard deviations from what the others say; `None` when there are none.
    pub z: Option<f64>,
    /// The same for a person.
    pub verdict: Option<&'static str>,
}

/// The finished prop.
#[derive(Clone, Debug, Serialize)]
pub struct FinishedReport {
    /// "ends" or "outlines".
    pub by: &'static str,
    /// Length.
    pub length_mm: f64,
    /// Its 95 % interval.
    pub length_95: [f64; 2],
    /// Extent of the outlines square to marked ends, else the narrowest way.
    pub width_mm: f64,
    /// Its 95 % interval.
    pub width_95: [f64; 2],
}

/// A distance the maker wants to know.
#[derive(Clone, Debug, Serialize)]
pub struct MeasureReport {
    /// As the build file says it.
    pub name: String,
    /// The distance.
    pub mm: f64,
    /// Its 95 % interval.
    pub mm_95: [f64; 2],
}

/// The size that another source would give.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SizeAlternative {
    /// That source.
    pub from: SizeFrom,
    /// Of a stylised figure, in what it would be like the wearer.
    pub like: Option<Like>,
    /// Pattern mm per plane unit of the first picture.
    pub factor: f64,
    /// Finished length, mm.
    pub finished: Interval,
}

/// The size, the finished prop (`None` where nothing shows its length) and the measures.
pub fn report(marks: &Marks, spread: &Spread) -> (SizeReport, Option<FinishedReport>, Vec<MeasureReport>) {
    let ends_95 = |interval: Interval| [interval.low, interval.high];
    let finished = finished_by(marks).map(|by| {
        let (length, width) = (spread.of(&finished_length), spread.of(&finished_width));
        FinishedReport {
            by: match by {
                FinishedBy::Ends => "ends",
                FinishedBy::Outlines => "outlines",
            },
            length_mm: length.value,
            length_95: ends_95(length),
            width_mm: width.value,
            width_95: ends_95(width),
        }
    });
    let measures = marks.measures.iter().enumerate().map(|(i, ends)| {
        let found = spread.of(&measure(i));
        MeasureReport { name: ends.name.clone(), mm: found.value, mm_95: ends_95(found) }
    });
    (size_report(marks, spread.solved()), finished, measures.collect())
}

/// Figures that differ by so many heads from the wearer have proportions of their own.
const STYLISED: f64 = 0.5;

/// The sizes that the sources not chosen would give, for comparison; those that would be refused are left out.
pub fn alternatives(marks: &Marks) -> Vec<SizeAlternative> {
    let sized = |picture: &PictureMarks| picture.rectangle.as_ref().is_some_and(|rectangle| rectangle.size.is_some());
    let rectangle = marks.pictures.iter().any(sized);
    // Without a rectangle, as pictured is what the known lengths say.
    let of_lengths = |from| from == SizeFrom::KnownLengths || from == SizeFrom::AsPictured && !rectangle;
    let others = [SizeFrom::KnownLengths, SizeFrom::AsPictured, SizeFrom::Figure, SizeFrom::Hand].into_iter();
    let others = others.filter(|from| *from != SizeFrom::AsPictured || rectangle);
    let others =
        others.filter(|from| *from != marks.from.value && !(of_lengths(*from) && of_lengths(marks.from.value)));
    let figures = || marks.pictures.iter().filter_map(|picture| picture.figure.as_ref());
    let stylised = figures().any(|figure| (figure.heads - WEARER_HEADS).abs() > STYLISED);
    let likes = |from: SizeFrom| -> Vec<Option<Like>> {
        match from {
            SizeFrom::Figure if stylised => {
                let all = [Like::Stature, Like::Head, Like::Shoulder, Like::Blend(0.5)];
                let chosen = |like: &Like| marks.from.value == from && figures().any(|figure| figure.like == *like);
                all.into_iter().filter(|like| !chosen(like)).map(Some).collect()
            }
            from if from == marks.from.value => Vec::new(),
            _ => vec![None],
        }
    };
    let own = (marks.from.value == SizeFrom::Figure).then_some(SizeFrom::Figure);
    let others = others.chain(own).flat_map(|from| likes(from).into_iter().map(move |like| (from, like)));
    let solved = others.map(|(from, like)| -> Result<SizeAlternative, Problems> {
        let mut marks = marks.clone();
        marks.from.value = from;
        if let Some(like) = like {
            marks.pictures.iter_mut().filter_map(|picture| picture.figure.as_mut()).for_each(|f| f.like = like);
        }
        if from == SizeFrom::AsPictured {
            // What the rectangle says by itself.
            marks.pictures.iter_mut().filter(|picture| sized(picture)).for_each(|p| p.lengths.clear());
        }
        let spread = Spread::over(&marks)?;
        let factor = spread.solved().pictures.first().map_or(1.0, |picture| picture.factor);
        Ok(SizeAlternative { from, like, factor, finished: spread.of(&finished_length) })
    });
    solved.filter_map(Result::ok).collect()
}

fn size_report(marks: &Marks, solved: &Solved) -> SizeReport {
    let pictures = marks.pictures.iter().zip(&solved.pictures).enumerate();
    let pictures = pictures.map(|(k, (picture, scale))| PictureReport {
        picture: picture.name.value.clone(),
        plane: if picture.rectangle.is_some() { "rectangle" } else { "picture" },
        lens: scale.view.lens().map(|lens| LensReport::new(lens, scale.view.focal())),
        by: match scale.from {
            ScaleFrom::KnownLengths => "known lengths",
            ScaleFrom::Rectangle => "rectangle",
            ScaleFrom::Figure => "figure",
            ScaleFrom::Hand => "hand",
            ScaleFrom::Finished => "finished",
            ScaleFrom::Tie(_) => "tie",
        },
        tied_to: match scale.from {
            ScaleFrom::Tie(parent) => Some(marks.pictures[parent].name.value.clone()),
            _ => None,
        },
        factor: scale.factor,
        mm_per_px: mm_per_px(marks, solved, k),
        widening: scale.widening,
        estimates: scale
            .estimates
            .iter()
            .map(|estimate| EstimateReport {
                name: estimate.name.clone(),
                factor: estimate.factor,
                sd: estimate.sd,
                weight: estimate.weight,
                z: estimate.against.map(|against| against.z),
                verdict: estimate.verdict().map(super::Verdict::words),
            })
            .collect(),
    });
    SizeReport { from: source_words(marks.from.value), pictures: pictures.collect() }
}

/// As the build file says it.
const fn source_words(from: SizeFrom) -> &'static str {
    match from {
        SizeFrom::KnownLengths => "known lengths",
        SizeFrom::AsPictured => "as pictured",
        SizeFrom::Figure => "figure",
        SizeFrom::Hand => "hand",
        SizeFrom::Finished(_) => "finished",
    }
}
