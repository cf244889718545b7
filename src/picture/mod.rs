//! File bytes → [`Picture`]: upright pixels in sRGB.

use image::DynamicImage;

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

    /// The samples themselves, for rooms that walk over all of them.
    pub const fn samples(&self) -> &DynamicImage {
        &self.samples
    }
}
