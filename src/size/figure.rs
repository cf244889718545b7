//! The figure that carries the prop: heights of its landmarks, on the wearer and in the picture.

use crate::build_file::Landmark;
use crate::problem::Problem;
use crate::space::{Map, Pixels, Plane, Point};
use crate::tables::stature_fraction;

use super::{FigureMarks, Marks, Measured, PictureMarks, Spot};

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

/// Landmarks above the sole, in mm on the wearer and as seen in the plane. The figure is taken to stand upright in
/// shoes and to be as tall as the wearer in theirs.
pub(super) fn heights(marks: &Marks, picture: &PictureMarks, plane: &Map<Pixels, Plane>) -> Vec<[f64; 2]> {
    let (Some(figure), Some(height)) = (&picture.figure, marks.height_in_shoes) else { return Vec::new() };
    let sole = figure.sole.at();
    let rises = figure.landmarks.iter().map(|l| rise(figure, &l.at));
    let head = Point::new(sole.x, sole.y - rises.fold(0.0, f64::max));
    // Upward in the picture is upward in the plane, however the rectangle lies in it.
    let stand = plane.point(sole).raw();
    let up = (plane.point(head).raw() - stand).normalize();
    let landmarks = figure.landmarks.iter();
    landmarks.map(|l| [l.fraction.value * height.value, up.dot(plane.point(l.at.at()).raw() - stand)]).collect()
}

/// How far above the sole something is seen, in pixels.
fn rise(figure: &FigureMarks, at: &Spot) -> f64 {
    figure.sole.y.value - at.y.value
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
                    -rise
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
