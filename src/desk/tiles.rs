//! Pictures at every size that a view needs, in tiles.

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{DynamicImage, ImageEncoder as _};

use crate::contour::Follower;
use crate::picture::Picture;
use crate::space::{Map, Pattern, Pixels, Point};

/// A tile is so many pixels wide and high, but at the right and lower border.
pub(super) const TILE: u32 = 512;

/// A picture, and halves of it until one fits a tile.
pub(super) struct Pyramid {
    pub(super) picture: Picture,
    /// Its edges.
    pub(super) follower: Follower,
    halves: Vec<DynamicImage>,
}

impl Pyramid {
    pub(super) fn new(picture: Picture) -> Self {
        let mut halves: Vec<DynamicImage> = Vec::new();
        loop {
            let last = halves.last().unwrap_or_else(|| picture.samples());
            if last.width().max(last.height()) <= TILE {
                break;
            }
            // Sixteen bits are more than a screen shows.
            let last = if halves.is_empty() { shown(last.clone()) } else { last.clone() };
            halves.push(last.thumbnail_exact(last.width().div_ceil(2), last.height().div_ceil(2)));
        }
        Self { follower: Follower::new(&picture), picture, halves }
    }

    /// How many sizes there are, the whole one first.
    pub(super) fn levels(&self) -> usize {
        self.halves.len() + 1
    }

    /// A tile as a PNG file; `None` beyond the picture.
    pub(super) fn tile(&self, level: usize, column: u32, row: u32) -> Option<Vec<u8>> {
        let of = match level.checked_sub(1) {
            None => self.picture.samples(),
            Some(half) => self.halves.get(half)?,
        };
        let (x, y) = (column.checked_mul(TILE)?, row.checked_mul(TILE)?);
        if x >= of.width() || y >= of.height() {
            return None;
        }
        png(&shown(of.crop_imm(x, y, TILE.min(of.width() - x), TILE.min(of.height() - y))))
    }

    /// The part of the pattern between two corners, straight, `width` pixels wide; where the picture does not reach it is clear.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place in the picture, a side of a screen"
    )]
    pub(super) fn straightened(
        &self,
        map: &Map<Pixels, Pattern>,
        [from, to]: [[f64; 2]; 2],
        width: u32,
    ) -> Option<Vec<u8>> {
        let back = map.inverse();
        let step = (to[0] - from[0]) / f64::from(width);
        let height = ((to[1] - from[1]) / step).round().clamp(1.0, 4.0 * f64::from(width));
        let [across, down] = self.picture.size().map(f64::from);
        let image = image::RgbaImage::from_fn(width, height as u32, |x, y| {
            let at = |x: u32, from: f64| from + (f64::from(x) + 0.5) * step;
            let seen = back.point(Point::new(at(x, from[0]), at(y, from[1])));
            if !(0.0..across).contains(&seen.x) || !(0.0..down).contains(&seen.y) {
                return image::Rgba([0; 4]);
            }
            let pixel = self.picture.pixel(seen.x as u32, seen.y as u32);
            image::Rgba(pixel.map(|part| (255.0 * part).round() as u8))
        });
        png(&DynamicImage::ImageRgba8(image))
    }
}

fn shown(image: DynamicImage) -> DynamicImage {
    if image.color().has_alpha() { image.into_rgba8().into() } else { image.into_rgb8().into() }
}

/// Written fast: it goes no farther than to the browser beside it.
fn png(image: &DynamicImage) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    let encoder = PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Sub);
    encoder.write_image(image.as_bytes(), image.width(), image.height(), image.color().into()).ok()?;
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use image::{GenericImageView as _, Rgb, RgbImage};

    use super::*;

    #[test]
    #[expect(clippy::cast_possible_truncation, reason = "colours of a test")]
    fn tiles_cover_the_picture_at_every_size() {
        let (width, height) = (1300, 700);
        let image = RgbImage::from_fn(width, height, |x, y| Rgb([(x / 6) as u8, (y / 3) as u8, 7]));
        let pyramid = Pyramid::new(Picture::from_upright(DynamicImage::ImageRgb8(image)));
        assert_eq!(pyramid.levels(), 3);
        for (level, columns, rows) in [(0, 3, 2), (1, 2, 1), (2, 1, 1)] {
            let size = |column: u32, row: u32| {
                pyramid.tile(level, column, row).map(|png| image::load_from_memory(&png).expect("a PNG").dimensions())
            };
            let across: u32 = (0..columns).map(|column| size(column, 0).expect("a tile").0).sum();
            let down: u32 = (0..rows).map(|row| size(0, row).expect("a tile").1).sum();
            assert_eq!([across, down], [width, height].map(|side| side.div_ceil(1 << level)));
            assert_eq!((size(columns, 0), size(0, rows)), (None, None));
        }
        let tile = image::load_from_memory(&pyramid.tile(0, 1, 1).expect("a tile")).expect("a PNG");
        assert_eq!(tile.get_pixel(10, 20).0, [(522 / 6) as u8, (532 / 3) as u8, 7, 255]);
        assert_eq!((pyramid.tile(3, 0, 0), pyramid.tile(0, u32::MAX, 0)), (None, None));
    }
}
