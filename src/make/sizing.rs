//! Outlines → marks and sizes: asked again whenever outlines have changed.

use super::outlines::Outline;
use crate::build_file::Build;
use crate::problem::Problems;
use crate::size::{Marks, Sight, Solved, Spread, marks};

/// A coarse flattening for extents, in pixels or mm: far below anything that is measured on it.
pub(super) const EXTENT_TOLERANCE: f64 = 0.02;

/// Marks, outlines among them, and every size that they tell.
pub(super) struct Sizing {
    marks: Marks,
    /// `None`: no picture, so that nothing has to be sized.
    spread: Option<Spread>,
}

impl Sizing {
    /// `sights`: the pictures without their outlines.
    pub(super) fn of(build: &Build, sights: &[Sight], outlines: &[Outline]) -> Result<Self, Problems> {
        let mut sights = sights.to_vec();
        for (piece, outline) in build.pieces.iter().zip(outlines) {
            let Outline::Pixels(picture, path) = outline else { continue };
            let groups = &mut sights[*picture].outlines;
            let points = path.flatten(EXTENT_TOLERANCE).concat();
            match groups.iter_mut().find(|(above, _)| *above == piece.above) {
                Some((_, group)) => group.extend(points),
                None => groups.push((piece.above, points)),
            }
        }
        let marks = marks(build, &sights);
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
