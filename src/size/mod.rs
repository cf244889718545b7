//! Marks → planes and scales by one pure [`solve`], and every interval by one [`Spread`] over it.
//!
//! What a [`Solved`] guarantees to the rooms below: every picture has an invertible plane and a finite factor above 0,
//! and every marked place and outline lies on the near side of its plane's horizon.

use crate::space::{Map, Pattern, Point, Space};

mod chi_square;
mod extent;
mod figure;
mod marks;
mod quantities;
mod remarks;
mod report;
mod solve;
mod spread;
mod view;
mod yardsticks;

pub use marks::{
    EndMarks, FigureMarks, HandMark, HandSize, HullMarks, LandmarkMark, LengthMark, LensMarks, LimbMark, Marks,
    Measured, PictureMarks, RectangleMarks, RingMarks, SideMark, Sight, Spot, marks,
};
pub use quantities::{FinishedBy, finished_by, finished_length, finished_width, measure, mm_per_px};
pub use report::{
    EstimateReport, FinishedReport, LensReport, MeasureReport, PictureReport, SizeAlternative, SizeReport,
    alternatives, report,
};
pub use solve::{Estimate, PictureScale, ScaleFrom, Solved, Verdict, solve};
pub use spread::{Interval, Spread, draws, spread};
pub use view::View;
pub use yardsticks::Against;

/// The longest straight distance across `points` once they are on the pattern (their Feret diameter), mm; 0 for fewer
/// than two.
pub fn longest<S: Space>(points: &[Point<S>], map: &Map<S, Pattern>) -> f64 {
    let on_pattern: Vec<Point<Pattern>> = points.iter().map(|p| map.point(*p)).collect();
    extent::farthest(&extent::hull(&on_pattern)).map_or(0.0, |[a, b]| a.distance(b))
}

/// The two of `points` that are farthest apart; `None` for fewer than two.
pub fn farthest_apart<S: Space>(points: &[Point<S>]) -> Option<[Point<S>; 2]> {
    extent::farthest(&extent::hull(points)).filter(|[a, b]| a != b)
}

/// Those of `points` that reach farthest out on the pattern, in any direction.
pub fn farthest_out<S: Space>(points: &[Point<S>], map: &Map<S, Pattern>) -> Vec<Point<S>> {
    extent::hull_through(points, map)
}

/// How far `points` reach the longest and the narrowest way (their greatest and least Feret diameters, ISO 9276-6), mm;
/// 0 for fewer than two.
pub fn length_and_breadth(points: &[Point<Pattern>]) -> (f64, f64) {
    let hull = extent::hull(points);
    let length = extent::farthest(&hull).map_or(0.0, |[a, b]| a.distance(b));
    (length, extent::least_breadth(&hull))
}

#[cfg(test)]
mod tests;
