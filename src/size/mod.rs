//! Marks → planes and scales by one pure [`solve`], and every interval by one [`Spread`] over it.
//!
//! What a [`Solved`] guarantees to the rooms below: every picture has an invertible plane and a finite factor above 0,
//! and every marked place and outline lies on the near side of its plane's horizon.

mod chi_square;
mod extent;
mod figure;
mod marks;
mod quantities;
mod remarks;
mod report;
mod solve;
mod spread;
mod yardsticks;

pub use marks::{
    EndMarks, FigureMarks, LandmarkMark, LengthMark, Marks, Measured, PictureMarks, RectangleMarks, Spot, marks,
};
pub use quantities::{FinishedBy, finished_by, finished_length, finished_width, measure, mm_per_px};
pub use report::{
    EstimateReport, FinishedReport, MeasureReport, PictureReport, SizeAlternative, SizeReport, alternatives, report,
};
pub use solve::{Estimate, PictureScale, ScaleFrom, Solved, Verdict, solve};
pub use spread::{Interval, Spread, draws, spread};
pub use yardsticks::Against;

#[cfg(test)]
mod tests;
