//! The pieces at one scale beside a plain flat outline of a person of the wearer's height.

use kurbo::{Affine, BezPath, Circle, Rect, RoundedRect, Shape, Vec2};

use super::lines::{Class, Drawing};
use crate::pattern::Piece;
use crate::space::Page;
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

/// A plain flat outline of a standing person, `height` mm tall, feet at y = 0, middle at x = 0. Levels after Drillis and
/// Contini (1966): head 0.130, shoulder 0.818, hip 0.530 of stature; widths are drawn to look right, not measured.
pub fn flat_figure(height: f64) -> BezPath {
    let mut path = Circle::new((0.0, -0.935), 0.062).to_path(1e-4);
    let boxes = [
        // Trunk, arms, legs: rounded bars between those levels.
        (Rect::new(-0.115, -0.84, 0.115, -0.50), 0.05),
        (Rect::new(-0.175, -0.83, -0.125, -0.42), 0.025),
        (Rect::new(0.125, -0.83, 0.175, -0.42), 0.025),
        (Rect::new(-0.105, -0.53, -0.012, 0.0), 0.03),
        (Rect::new(0.012, -0.53, 0.105, 0.0), 0.03),
    ];
    for (rect, radius) in boxes {
        path.extend(RoundedRect::from_rect(rect, radius).to_path(1e-4));
    }
    Affine::scale(height) * path
}

/// Pieces in a row beside the figure, feet and lowest pieces on one line; the drawing and its size in mm at full size.
/// Pieces of one picture stay where they stand to one another.
pub fn side_by_side(pieces: &[Piece], figure: Option<&Figure>) -> (Drawing<Page>, kurbo::Size) {
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
            let middle = path.bounding_box().center();
            drawing.line(Class::Cut, path);
            let at = middle - Vec2::new(BOLD.width(&piece.letter, em) / 2.0, -BOLD.cap_height(em) / 2.0);
            drawing.text(at.x, at.y, em, true, &*piece.letter);
        }
        x += bounds.width() + gap;
    }
    (drawing, kurbo::Size::new(x, ground + 3.0 * em + gap / 2.0))
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
