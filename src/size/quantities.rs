//! Lengths that follow from the marks and what was solved from them, each fit for [`super::Spread::of`].

use kurbo::Vec2;

use crate::space::{Pattern, Pixels, Point};

use super::{HullMarks, Marks, PictureMarks, Solved, extent};

/// What the finished length is measured between.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FinishedBy {
    /// The two ends that are marked.
    Ends,
    /// The two places farthest apart on the outlines of one picture, the one that reaches farthest.
    Outlines,
}

/// What the finished length is measured between; `None` when neither ends nor outlines are seen on a picture.
pub fn finished_by(marks: &Marks) -> Option<FinishedBy> {
    let drawn = marks.pictures.iter().any(PictureMarks::is_drawn_on);
    marks.finished.as_ref().map(|_| FinishedBy::Ends).or_else(|| drawn.then_some(FinishedBy::Outlines))
}

/// Length of the finished prop, mm; 0 where [`finished_by`] is `None`.
pub fn finished_length(marks: &Marks, solved: &Solved) -> f64 {
    ends(marks, solved).map_or(0.0, |(_, [a, b])| a.distance(b))
}

/// How far the outlines of its picture reach square to the marked ends, or the narrowest way where none are marked, mm;
/// 0 when that picture carries no outline.
pub fn finished_width(marks: &Marks, solved: &Solved) -> f64 {
    ends(marks, solved).map_or(0.0, |(picture, ends)| {
        let hull = hull(marks, solved, picture);
        if marks.finished.is_some() { extent::breadth(&hull, ends) } else { extent::least_breadth(&hull) }
    })
}

/// Distance `index` of [`Marks::measures`], mm.
///
/// # Panics
///
/// If there is no such distance.
pub fn measure(index: usize) -> impl Fn(&Marks, &Solved) -> f64 {
    move |marks, solved| {
        let ends = &marks.measures[index];
        let map = solved.pattern_map(ends.picture);
        map.point(ends.from.at()).distance(map.point(ends.to.at()))
    }
}

/// Millimetres of the pattern in a pixel of `picture`, at the middle of its outlines, else of its rectangle.
///
/// # Panics
///
/// If there is no such picture.
pub fn mm_per_px(marks: &Marks, solved: &Solved, picture: usize) -> f64 {
    let PictureMarks { hulls, rectangle, .. } = &marks.pictures[picture];
    let mut seen: Vec<Point<Pixels>> = hulls.iter().flat_map(|hull| hull.points.iter().copied()).collect();
    if seen.is_empty() {
        seen = rectangle.iter().flat_map(|r| r.corners.map(|c| c.at())).collect();
    }
    let middle = seen.iter().fold(Vec2::ZERO, |sum, p| sum + p.raw().to_vec2()) / seen.len().max(1) as f64;
    let map = solved.pattern_map(picture);
    // Across a whole pixel: as good as the derivative, without one.
    let across = |half: Vec2| {
        let [a, b] = [middle - half, middle + half].map(|p| map.point(p.to_point().into()).raw());
        b - a
    };
    across(Vec2::new(0.5, 0.0)).cross(across(Vec2::new(0.0, 0.5))).abs().sqrt()
}

fn hull(marks: &Marks, solved: &Solved, picture: usize) -> Vec<Point<Pattern>> {
    let on_pattern = |hull: &HullMarks| -> Vec<Point<Pattern>> {
        let map = solved.pattern_map_above(picture, hull.above.map(|above| above.value));
        hull.points.iter().map(|p| map.point(*p)).collect()
    };
    // Straightening keeps a hull convex but for rounding, and the bowing of a lens.
    extent::hull(&marks.pictures[picture].hulls.iter().flat_map(on_pattern).collect::<Vec<_>>())
}

/// The picture and the two places between which the finished length is measured.
fn ends(marks: &Marks, solved: &Solved) -> Option<(usize, [Point<Pattern>; 2])> {
    if let Some(ends) = &marks.finished {
        let map = solved.pattern_map(ends.picture);
        return Some((ends.picture, [&ends.from, &ends.to].map(|end| map.point(end.at()))));
    }
    let farthest = |k| extent::farthest(&hull(marks, solved, k)).map(|ends| (k, ends));
    let reach = |[a, b]: [Point<Pattern>; 2]| a.distance(b);
    (0..marks.pictures.len()).filter_map(farthest).max_by(|(_, a), (_, b)| reach(*a).total_cmp(&reach(*b)))
}
