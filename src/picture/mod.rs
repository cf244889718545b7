//! File bytes → [`Picture`]: upright pixels in sRGB.

mod decode;
mod jpeg;
mod kind;
mod profile;
pub mod srgb;
#[cfg(test)]
mod tests;

use image::DynamicImage;

pub use decode::{PictureError, decode};

/// An upright picture. Orientation and colour profile are already applied; colours are encoded sRGB, alpha is coverage.
#[derive(Clone, Debug)]
pub struct Picture {
    /// One of the 8 or 16 bit kinds: `Luma`, `LumaA`, `Rgb`, `Rgba`.
    samples: DynamicImage,
}

impl Picture {
    /// Takes pixels that are upright and sRGB already.
    pub const fn from_upright(samples: DynamicImage) -> Self {
        Self { samples }
    }

    /// Pixels across.
    pub fn width(&self) -> u32 {
        self.samples.width()
    }

    /// Pixels down.
    pub fn height(&self) -> u32 {
        self.samples.height()
    }

    /// Pixels across and down.
    pub fn size(&self) -> [u32; 2] {
        [self.width(), self.height()]
    }

    /// The samples themselves, for rooms that walk over all of them.
    pub const fn samples(&self) -> &DynamicImage {
        &self.samples
    }

    /// Red, green, blue (encoded) and alpha of the pixel in column `x` and row `y`, each 0 to 1. A grey picture gives
    /// three equal colours, one without alpha gives 1.
    ///
    /// # Panics
    /// Outside the picture.
    pub fn pixel(&self, x: u32, y: u32) -> [f64; 4] {
        let byte = |sample: u8| f64::from(sample) / 255.0;
        let word = |sample: u16| f64::from(sample) / 65535.0;
        match &self.samples {
            DynamicImage::ImageLuma8(p) => grey(p.get_pixel(x, y).0.map(byte)[0], 1.0),
            DynamicImage::ImageLumaA8(p) => {
                let [luma, alpha] = p.get_pixel(x, y).0.map(byte);
                grey(luma, alpha)
            }
            DynamicImage::ImageRgb8(p) => opaque(p.get_pixel(x, y).0.map(byte)),
            DynamicImage::ImageRgba8(p) => p.get_pixel(x, y).0.map(byte),
            DynamicImage::ImageLuma16(p) => grey(p.get_pixel(x, y).0.map(word)[0], 1.0),
            DynamicImage::ImageLumaA16(p) => {
                let [luma, alpha] = p.get_pixel(x, y).0.map(word);
                grey(luma, alpha)
            }
            DynamicImage::ImageRgb16(p) => opaque(p.get_pixel(x, y).0.map(word)),
            DynamicImage::ImageRgba16(p) => p.get_pixel(x, y).0.map(word),
            other => unreachable!("a picture holds one of eight kinds, not {:?}", other.color()),
        }
    }

    /// Checks the picture against the size it had when marks were made on it; `None`: nothing is known.
    ///
    /// # Errors
    /// Another size: the marks would point at other places. The text tells a turned from a shrunk from a cropped one.
    pub fn expect_size(&self, marked_on: Option<[u32; 2]>) -> Result<(), PictureError> {
        let [width, height] = self.size();
        let Some([was_wide, was_high]) = marked_on else { return Ok(()) };
        if [width, height] == [was_wide, was_high] {
            return Ok(());
        }
        let factor = f64::from(width) / f64::from(was_wide);
        // Rounding to whole pixels moves a side by up to half a pixel.
        let same_shape = (f64::from(was_high) * factor - f64::from(height)).abs() <= 0.5 + 0.5 * factor.max(1.0);
        let happened = if [height, width] == [was_wide, was_high] {
            "it seems to have been turned".to_owned()
        } else if same_shape && width != was_wide {
            format!("it seems to have been saved anew at {:.4} % of its size", factor * 100.0)
        } else {
            "it seems to have been cropped, or to be another picture".to_owned()
        };
        Err(PictureError::new(
            "picture_size",
            format!(
                "the picture is {width} x {height} pixels, the marks were made on {was_wide} x {was_high}: {happened}; put \
                 the former file back, or mark this one anew and write `pixels = [{width}, {height}]`"
            ),
        ))
    }
}

const fn grey(luma: f64, alpha: f64) -> [f64; 4] {
    [luma, luma, luma, alpha]
}

const fn opaque([r, g, b]: [f64; 3]) -> [f64; 4] {
    [r, g, b, 1.0]
}
