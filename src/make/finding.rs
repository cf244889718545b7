//! Pictures → the sheets and cards that lie in them.

use serde::Serialize;

use super::Files;
use super::outlines::open_picture;
use crate::build_file::PictureSpec;
use crate::problem::{Problem, Problems};
use crate::sheets::{FoundSheet, find};

/// What was looked for in one picture.
#[derive(Clone, Debug, Serialize)]
pub struct FindReport {
    /// Its key in the build file.
    pub picture: String,
    /// Largest first.
    pub found: Vec<FoundReport>,
    /// Whether the build file has a rectangle on it already.
    pub marked: bool,
}

/// A sheet or card.
#[derive(Clone, Debug, Serialize)]
pub struct FoundReport {
    /// As the build file names it.
    pub size: &'static str,
    /// Clockwise from its top left, in pixels.
    pub corners: [[f64; 2]; 4],
    /// Standard deviation of its sides, in pixels.
    pub sd_px: f64,
}

impl From<&FoundSheet> for FoundReport {
    fn from(sheet: &FoundSheet) -> Self {
        Self { size: sheet.name, corners: sheet.corners.map(|p| [p.x, p.y]), sd_px: sheet.sd }
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
                reports.push(FindReport {
                    picture: spec.name.value.clone(),
                    found: found.iter().map(FoundReport::from).collect(),
                    marked: spec.known_rectangle.is_some(),
                });
            }
            Err(problem) => errors.push(problem),
        }
    }
    if errors.is_empty() { Ok(reports) } else { Err(errors) }
}
