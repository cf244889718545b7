//! Pictures → the sheets and cards that lie in them.

use serde::Serialize;

use super::Files;
use super::outlines::open_picture;
use crate::build_file::{NewRectangle, PictureSpec, looks_wide};
use crate::problem::{Problem, Problems};
use crate::sheets::{FoundSheet, find, in_one_plane};
use crate::tables;

/// What was looked for in one picture.
#[derive(Clone, Debug, Serialize)]
pub struct FindReport {
    /// Its key in the build file.
    pub picture: String,
    /// Largest first.
    pub found: Vec<FoundReport>,
    /// Whether the build file has a rectangle on it already.
    pub marked: bool,
    /// Whether that has further places, which lie about its own first corner.
    pub placed: bool,
}

/// A sheet or card.
#[derive(Clone, Debug, Serialize)]
pub struct FoundReport {
    /// As the build file names it.
    pub size: &'static str,
    /// Its first side and its second, mm.
    pub sides_mm: [f64; 2],
    /// Clockwise from its top left, in pixels.
    pub corners: [[f64; 2]; 4],
    /// Standard deviation of its sides, in pixels.
    pub sd_px: f64,
    /// Whether it may lie in one plane with the first.
    pub in_plane: bool,
}

impl FoundReport {
    /// As the build file says it: its size by its name, or by its sides where seen aslant that would be read the wrong way
    /// around.
    ///
    /// # Panics
    /// Never: what is found stands in the tables.
    pub fn rectangle(&self) -> NewRectangle {
        let corners = self.corners.map(Into::into);
        let (wide, clear) = looks_wide(corners);
        let [first, second] = self.sides_mm;
        let size = if clear && wide == (first > second) {
            self.size.into()
        } else {
            [first, second].map(|mm| format!("{mm} mm")).into_iter().collect::<toml_edit::Array>().into()
        };
        let give_or_take = tables::rectangle(self.size).expect("found sheets stand in the tables").tolerance;
        NewRectangle { corners, size, give_or_take }
    }

    fn new(first: &FoundSheet, sheet: &FoundSheet) -> Self {
        Self {
            size: sheet.name,
            sides_mm: sheet.size,
            corners: sheet.corners.map(|p| [p.x, p.y]),
            sd_px: sheet.sd,
            in_plane: in_one_plane(first, sheet),
        }
    }
}

/// Looks for sheets and cards in every picture.
///
/// Errors: every picture that cannot be opened, or is not the one that was marked.
pub fn find_sheets(
    specs: &[PictureSpec],
    files: &dyn Files,
    problems: &mut Problems,
) -> Result<Vec<FindReport>, Problems> {
    let mut errors = Problems::new();
    let mut reports = Vec::new();
    for spec in specs {
        match open_picture(spec, files) {
            Ok((picture, notes)) => {
                problems.extend(notes);
                let pixels = spec.pixels.as_ref();
                if let Some(pixels) = pixels
                    && let Err(error) = picture.expect_size(Some(pixels.value))
                {
                    errors.push(Problem::from(error).at(pixels.place));
                    continue;
                }
                let found = find(&picture, spec.light);
                problems.extend(remark(spec, &found));
                reports.push(FindReport {
                    picture: spec.name.value.clone(),
                    found: found.iter().map(|sheet| FoundReport::new(&found[0], sheet)).collect(),
                    marked: spec.known_rectangle.is_some(),
                    placed: spec.known_rectangle.as_ref().is_some_and(|known| !known.places.is_empty()),
                });
            }
            Err(problem) => errors.push(problem),
        }
    }
    if errors.is_empty() { Ok(reports) } else { Err(errors) }
}

/// What a person should know about what was found, or not found.
fn remark(spec: &PictureSpec, found: &[FoundSheet]) -> Option<Problem> {
    let name = &spec.name.value;
    let text = match found.first().map(|sheet| sheet.name) {
        None => format!(
            "picture \"{name}\": nothing is a sheet of paper or a card for sure, so nothing was marked; mark the corners of one \
             by hand, or use a picture in which one lies flat in the plane of the prop, all of it seen, and not turned away \
             about one of its own sides"
        ),
        Some("A4") => format!(
            "picture \"{name}\": every A-sheet has the shape of A4, and so has many a print; if it is another, mend its size"
        ),
        Some(other) => {
            format!("picture \"{name}\": what has the shape of {other} is taken for it; if it is not, mend its size")
        }
    };
    let code = if found.is_empty() { "nothing_found" } else { "found_by_shape" };
    Some(Problem::note(code, text).at(spec.name.place))
}
