//! Outlines on their picture, to be looked over before anything is cut.

use image::imageops::{FilterType, resize};
use kurbo::{Affine, BezPath, PathEl, Rect, Shape};
use tiny_skia::{Color, FillRule, Paint, Pixmap, Stroke, Transform};

use super::svg::skia_path;
use crate::picture::Picture;
use crate::space::{Path, Pixels, Point};

/// Longest side of the picture that is written, in pixels.
const LONGEST: f64 = 2400.0;

/// What is drawn of one piece.
pub struct OnPicture<'a> {
    /// Lines and cubics.
    pub outline: &'a Path<Pixels>,
    /// Where its direction jumps.
    pub corners: &'a [Point<Pixels>],
}

/// A PNG of `picture`, at most 2400 pixels long and paler than it is, with each outline as a dark line in a light seam,
/// a dot at each node and a square around each corner.
pub fn overlay_png(picture: &Picture, pieces: &[OnPicture<'_>]) -> Vec<u8> {
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    let scale = (LONGEST / width.max(height)).min(1.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most 2400")]
    let side = |length: f64| (length * scale).round().max(1.0) as u32;
    let small = resize(&picture.samples().to_rgb8(), side(width), side(height), FilterType::Triangle);
    let mut pixmap = Pixmap::new(small.width(), small.height()).expect("at least one pixel");
    for (to, from) in pixmap.data_mut().chunks_exact_mut(4).zip(small.pixels()) {
        // Five eighths of the way from it to white.
        to[..3].copy_from_slice(&from.0.map(|v| 96 + v / 8 * 5));
        to[3] = 255;
    }
    for piece in pieces {
        let path = Affine::scale(scale) * piece.outline.raw().clone();
        line(&mut pixmap, &path, 3.5, 255);
        line(&mut pixmap, &path, 1.2, 0);
        for node in path.elements().iter().filter_map(PathEl::end_point) {
            dot(&mut pixmap, &kurbo::Circle::new(node, 3.2).to_path(0.05), 255);
            dot(&mut pixmap, &kurbo::Circle::new(node, 2.2).to_path(0.05), 0);
        }
        for corner in piece.corners {
            let around = Rect::from_center_size(Affine::scale(scale) * corner.raw(), (11.0, 11.0)).to_path(0.1);
            line(&mut pixmap, &around, 3.0, 255);
            line(&mut pixmap, &around, 1.2, 0);
        }
    }
    pixmap.encode_png().expect("a picture in memory can be encoded")
}

fn paint(grey: u8) -> Paint<'static> {
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color(Color::from_rgba8(grey, grey, grey, 255));
    paint
}

fn line(pixmap: &mut Pixmap, path: &BezPath, width: f32, grey: u8) {
    if let Some(path) = skia_path(path) {
        let stroke = Stroke { width, ..Stroke::default() };
        pixmap.stroke_path(&path, &paint(grey), &stroke, Transform::identity(), None);
    }
}

fn dot(pixmap: &mut Pixmap, path: &BezPath, grey: u8) {
    if let Some(path) = skia_path(path) {
        pixmap.fill_path(&path, &paint(grey), FillRule::Winding, Transform::identity(), None);
    }
}

#[cfg(test)]
mod tests {
    use image::{DynamicImage, RgbImage};

    use super::*;

    /// A large white picture with a square outline on it.
    #[test]
    fn outlines_nodes_and_corners_are_where_they_belong() {
        let picture = Picture::from_upright(DynamicImage::ImageRgb8(RgbImage::from_pixel(4800, 2400, [255; 3].into())));
        let outline = Path::new(Rect::new(800.0, 400.0, 4000.0, 2000.0).to_path(0.1));
        let corner = [Point::new(4000.0, 400.0)];
        let png = overlay_png(&picture, &[OnPicture { outline: &outline, corners: &corner }]);
        let drawn = image::load_from_memory(&png).expect("a PNG").to_luma8();
        assert_eq!(drawn.dimensions(), (2400, 1200));
        let dark = |x: i32, y: i32, reach: i32| {
            let near = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (x + dx, y + dy)));
            near.filter(|&(x, y)| drawn.get_pixel(x.unsigned_abs(), y.unsigned_abs()).0[0] < 128).count()
        };
        assert_eq!(dark(100, 100, 20), 0, "nothing beside the outline");
        assert!(dark(1200, 200, 2) > 0, "the upper side");
        let (plain, cornered) = (dark(400, 200, 8), dark(2000, 200, 8));
        assert!(plain > dark(1200, 200, 8), "a dot at a node");
        assert!(cornered > plain + 20, "a square around a corner: {cornered} and {plain}");
    }
}
