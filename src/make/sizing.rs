//! Outlines → marks and sizes: asked again whenever outlines have changed.

use super::outlines::Outline;
use crate::build_file::Build;
use crate::problem::Problems;
use crate::size::{Marks, Solved, Spread, marks};
use crate::space::{Pixels, Point};

/// A coarse flattening for extents, in pixels or mm: far below anything that is measured on it.
pub(super) const EXTENT_TOLERANCE: f64 = 0.02;

/// Marks, outlines among them, and every size that they tell.
pub(super) struct Sizing {
    marks: Marks,
    /// `None`: no picture, so that nothing has to be sized.
    spread: Option<Spread>,
}

impl Sizing {
    pub(super) fn of(build: &Build, outlines: &[Outline]) -> Result<Self, Problems> {
        let points: Vec<Vec<Point<Pixels>>> = (0..build.pictures.len())
            .map(|picture| {
                let of_picture = outlines.iter().filter_map(|outline| match outline {
                    Outline::Pixels(on, path) if *on == picture => Some(path.flatten(EXTENT_TOLERANCE).concat()),
                    _ => None,
                });
                of_picture.flatten().collect()
            })
            .collect();
        let marks = marks(build, &points);
        let spread = if build.pictures.is_empty() { None } else { Some(Spread::over(&marks)?) };
        Ok(Self { marks, spread })
    }

    pub(super) fn solved(&self) -> Option<&Solved> {
        self.spread.as_ref().map(Spread::solved)
    }

    pub(super) fn into_parts(self) -> (Marks, Option<Spread>) {
        (self.marks, self.spread)
    }
}
