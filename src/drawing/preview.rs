//! The pieces at one scale beside a plain flat outline of a person of the wearer's height.

use kurbo::{Affine, BezPath, Rect, Shape, Size, Vec2};

use super::lines::{Class, Drawing};
use crate::paper::Clearing;
use crate::pattern::Piece;
use crate::shape::{Knot, closed_spline};
use crate::space::{Page, Path, Point};
use crate::text::{BOLD, REGULAR};
use crate::units::Length;

/// The person beside the pieces.
#[derive(Clone, Debug)]
pub struct Figure {
    /// Height shown.
    pub height: Length,
    /// What stands below it.
    pub caption: String,
}

/// White between shapes, as a share of the height of the picture.
const GAP: f64 = 0.04;

/// The right half of a standing person from the crown down, in statures from the ground, y down; `true` where the
/// outline has a corner. Levels of chin, shoulder, hip and knee after Drillis and Contini (1966); widths are drawn to
/// look right, not measured.
const HALF: [(f64, f64, bool); 24] = [
    (0.034, -0.985, false),
    (0.046, -0.936, false),
    (0.036, -0.885, false),
    (0.027, -0.862, false),
    (0.036, -0.838, false),
    (0.098, -0.818, false),
    (0.126, -0.785, false),
    (0.142, -0.690, false),
    (0.152, -0.600, false),
    (0.160, -0.485, false),
    (0.164, -0.425, false),
    (0.148, -0.385, false),
    (0.136, -0.430, false),
    (0.126, -0.600, false),
    (0.098, -0.735, true),
    (0.080, -0.630, false),
    (0.098, -0.530, false),
    (0.080, -0.285, false),
    (0.074, -0.180, false),
    (0.049, -0.055, false),
    (0.056, -0.024, false),
    (0.080, 0.0, true),
    (0.020, 0.0, true),
    (0.022, -0.285, false),
];

/// A plain flat outline of a standing person, `height` mm tall, feet at y = 0, middle at x = 0.
pub fn flat_figure(height: f64) -> BezPath {
    let knot = |x: f64, y: f64, corner| Knot::<Page> { at: Point::new(x * height, y * height), corner };
    let right = HALF.iter().map(|&(x, y, corner)| knot(x, y, corner));
    let left = HALF.iter().rev().map(|&(x, y, corner)| knot(-x, y, corner));
    let mut knots = vec![knot(0.0, -1.0, false)];
    knots.extend(right);
    knots.push(knot(0.0, -0.47, true));
    knots.extend(left);
    closed_spline(&knots).expect("the points of the figure are apart").raw().clone()
}

/// Pieces in a row beside the figure, feet and lowest pieces on one line; the drawing and its size in mm at full size.
/// Pieces of one picture stay where they stand to one another.
pub fn side_by_side(pieces: &[Piece], figure: Option<&Figure>) -> (Drawing<Page>, Size) {
    let mut groups: Vec<(Option<usize>, Vec<&Piece>)> = Vec::new();
    for piece in pieces {
        match groups.iter_mut().find(|(picture, _)| picture.is_some() && *picture == piece.picture) {
            Some((_, group)) => group.push(piece),
            None => groups.push((piece.picture, vec![piece])),
        }
    }
    let bounds = |group: &[&Piece]| {
        group.iter().map(|piece| piece.outline.bounds()).reduce(|a, b| a.union(b)).unwrap_or_default()
    };
    let tallest = groups.iter().map(|(_, group)| bounds(group).height()).fold(0.0, f64::max);
    let height = figure.map_or(0.0, |figure| figure.height.to_mm()).max(tallest);
    let gap = (height * GAP).max(5.0);
    let em = height * 0.016;
    let mut drawing = Drawing::default();
    let (mut x, ground) = (gap, gap + height);
    if let Some(figure) = figure {
        let half = 0.18 * figure.height.to_mm();
        let at = Vec2::new(x + half, ground);
        drawing.line(Class::SettingOut, Affine::translate(at) * flat_figure(figure.height.to_mm()));
        drawing.text(at.x - REGULAR.width(&figure.caption, em) / 2.0, ground + 1.6 * em, em, false, &*figure.caption);
        x += 2.0 * half + gap;
    }
    for (_, group) in &groups {
        let bounds = bounds(group);
        let shift = Vec2::new(x - bounds.x0, ground - bounds.y1);
        for piece in group {
            let path = Affine::translate(shift) * piece.cut_path().raw().clone();
            let size = Size::new(BOLD.width(&piece.letter, em), BOLD.cap_height(em));
            let place = letter_place(&path, size);
            drawing.line(Class::Cut, path);
            drawing.text(place.x0, place.y1, em, true, &*piece.letter);
        }
        x += bounds.width() + gap;
    }
    (drawing, Size::new(x, ground + 3.0 * em + gap / 2.0))
}

/// Where a letter of `size` stands on a piece: clear of its lines if there is such a place, else in its middle.
fn letter_place(path: &BezPath, size: Size) -> Rect {
    let bounds = path.bounding_box();
    let lines: Vec<Vec<kurbo::Point>> = Path::<Page>::new(path.clone())
        .flatten(0.3)
        .into_iter()
        .map(|line| line.into_iter().map(Point::raw).collect())
        .collect();
    let mut clearing = Clearing::new(bounds);
    clearing.take_area(&lines, true);
    lines.iter().for_each(|line| clearing.take_line(line, size.height / 6.0));
    let place = clearing.find(size, clearing.middle(), size.height / 3.0);
    place.unwrap_or_else(|| Rect::from_center_size(bounds.center(), size))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_figure_is_as_tall_as_asked_and_stands_on_the_ground() {
        let bounds = flat_figure(1680.0).bounding_box();
        assert!((bounds.height() - 1680.0).abs() < 6.0, "{bounds:?}");
        assert!(bounds.y1.abs() < 1e-6 && (bounds.x0 + bounds.x1).abs() < 1e-6);
    }
}
