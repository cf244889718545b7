//! The light of a picture between its pixels.

use kurbo::Point;

use crate::build_file::Light;
use crate::picture::Picture;
use crate::picture::srgb::{byte_to_linear, to_linear};

/// Red, green and blue in the light in which edges were blended, 0 to 1.
pub(super) type Colour = [f64; 3];

/// Reads a picture at any place.
pub(super) struct Seeing<'a> {
    picture: &'a Picture,
    /// Of the plainest kind of picture, which is read without asking each time.
    bytes: Option<&'a [u8]>,
    light: Light,
}

impl<'a> Seeing<'a> {
    pub(super) fn new(picture: &'a Picture, light: Light) -> Self {
        let bytes = match picture.samples() {
            image::DynamicImage::ImageRgb8(image) => Some(image.as_raw().as_slice()),
            _ => None,
        };
        Self { picture, bytes, light }
    }

    /// Between the four pixels around `p`; beyond the picture's border as on it.
    pub(super) fn at(&self, p: Point) -> Colour {
        let (x, y) = (p.x - 0.5, p.y - 0.5);
        let (left, top) = (x.floor(), y.floor());
        let (a, b) = (x - left, y - top);
        let pixel = |dx: f64, dy: f64| self.pixel(left + dx, top + dy);
        let corners = [pixel(0.0, 0.0), pixel(1.0, 0.0), pixel(0.0, 1.0), pixel(1.0, 1.0)];
        let share = [(1.0 - a) * (1.0 - b), a * (1.0 - b), (1.0 - a) * b, a * b];
        std::array::from_fn(|c| (0..4).map(|k| share[k] * corners[k][c]).sum())
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the picture")]
    fn pixel(&self, x: f64, y: f64) -> Colour {
        let [width, height] = self.picture.size();
        let clamp = |at: f64, size: u32| at.clamp(0.0, f64::from(size - 1)) as u32;
        let (x, y) = (clamp(x, width), clamp(y, height));
        if let Some(bytes) = self.bytes {
            let at = (y as usize * width as usize + x as usize) * 3;
            return std::array::from_fn(|c| match self.light {
                Light::Camera => byte_to_linear(bytes[at + c]),
                Light::Drawing => f64::from(bytes[at + c]) / 255.0,
            });
        }
        let [r, g, b, _] = self.picture.pixel(x, y);
        match self.light {
            Light::Camera => [r, g, b].map(to_linear),
            Light::Drawing => [r, g, b],
        }
    }
}

pub(super) fn minus(a: Colour, b: Colour) -> Colour {
    std::array::from_fn(|c| a[c] - b[c])
}

pub(super) fn dot(a: Colour, b: Colour) -> f64 {
    (0..3).map(|c| a[c] * b[c]).sum()
}

pub(super) fn mean(colours: impl IntoIterator<Item = Colour>) -> Colour {
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for colour in colours {
        sum = std::array::from_fn(|c| sum[c] + colour[c]);
        count += 1.0;
    }
    sum.map(|v| v / f64::max(count, 1.0))
}
