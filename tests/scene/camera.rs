//! A made-up camera: pinhole, tilt, lens bowing, blur, noise, JPEG.

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageEncoder, RgbImage};
use kurbo::{Point, Vec2};
use spanwright::space::Map;

use super::Place;

/// Pinhole at `distance` from the scene, looking at `looks_at`.
#[derive(Clone, Debug)]
pub(crate) struct Camera {
    /// Upright pixels across and down.
    pub(crate) size: [u32; 2],
    /// Pixels per millimetre where the camera looks.
    pub(crate) px_per_mm: f64,
    /// Where the middle of the picture lies in the scene, mm.
    pub(crate) looks_at: Point,
    /// From the pinhole to `looks_at`, mm. Only of effect on a tilted view.
    pub(crate) distance: f64,
    /// The scene turned about its horizontal, vertical and viewing axis, in this order, degrees.
    pub(crate) tilt: [f64; 3],
    /// Strength of the lens bowing, see [`Bow`]; negative: barrel.
    pub(crate) bow: f64,
    /// Standard deviation of the Gaussian blur, pixels.
    pub(crate) blur: f64,
    /// Standard deviation of the noise, in levels of 255.
    pub(crate) noise: f64,
    /// Of the noise.
    pub(crate) seed: u64,
    /// JPEG quality, 1 to 100.
    pub(crate) quality: u8,
    /// EXIF orientation, 1 to 8: how the sensor was held.
    pub(crate) orientation: u8,
}

impl Camera {
    /// Square on, noise of 3 levels, 0.8 px of blur, JPEG quality 85.
    pub(crate) fn frontal(size: [u32; 2], px_per_mm: f64, looks_at: impl Into<Point>) -> Self {
        Self {
            size,
            px_per_mm,
            looks_at: looks_at.into(),
            distance: 3000.0,
            tilt: [0.0; 3],
            bow: 0.0,
            blur: 0.8,
            noise: 3.0,
            seed: 1,
            quality: 85,
            orientation: 1,
        }
    }

    /// Row-major on (x, y, 1): shift to `looks_at`, turn, step back by the distance, project, shift to the middle.
    pub(super) fn place(&self) -> Place {
        let [about_x, about_y, about_z] = self.tilt.map(f64::to_radians);
        let turned = |v: [f64; 3]| {
            let [x, y, z] = v;
            let (y, z) = (y * about_x.cos() - z * about_x.sin(), y * about_x.sin() + z * about_x.cos());
            let (x, z) = (x * about_y.cos() + z * about_y.sin(), z * about_y.cos() - x * about_y.sin());
            [x * about_z.cos() - y * about_z.sin(), x * about_z.sin() + y * about_z.cos(), z]
        };
        let (right, down) = (turned([1.0, 0.0, 0.0]), turned([0.0, 1.0, 0.0]));
        let origin: [f64; 3] =
            std::array::from_fn(|axis| -self.looks_at.x * right[axis] - self.looks_at.y * down[axis]);
        let columns = [right, down, [origin[0], origin[1], origin[2] + self.distance]];
        let focal = self.px_per_mm * self.distance;
        let middle = self.middle();
        let row = |axis: usize, shift: f64| columns.map(|c| focal * c[axis] + shift * c[2]);
        let (x, y, w) = (row(0, middle.x), row(1, middle.y), columns.map(|c| c[2]));
        let matrix = [x, y, w].concat().try_into().expect("three rows of three");
        let bow =
            (self.bow != 0.0).then(|| Bow { strength: self.bow, middle, half_diagonal: middle.to_vec2().hypot() });
        if self.tilt == [0.0; 3] {
            let scale = kurbo::Affine::scale(self.px_per_mm);
            return Place { map: Map::affine(scale.then_translate(middle - scale * self.looks_at)), bow };
        }
        Place { map: Map::projective(matrix), bow }
    }

    fn middle(&self) -> Point {
        Point::new(f64::from(self.size[0]) / 2.0, f64::from(self.size[1]) / 2.0)
    }

    /// Turns the upright picture as the sensor was held, and says so in the file.
    pub(super) fn write(&self, upright: &RgbImage) -> Vec<u8> {
        let turn = Orientation::from_exif(self.orientation).expect("an EXIF orientation from 1 to 8");
        let back = match turn {
            Orientation::Rotate90 => Orientation::Rotate270,
            Orientation::Rotate270 => Orientation::Rotate90,
            flipped => flipped,
        };
        let mut sensor = DynamicImage::from(upright.clone());
        sensor.apply_orientation(back);
        let mut file = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut file, self.quality);
        if self.orientation != 1 {
            // One little-endian directory with one SHORT, tag 274 (Exif 2.32, 4.6.4 A).
            let tag =
                [b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".as_slice(), &[self.orientation], &[0; 7]].concat();
            encoder.set_exif_metadata(tag).expect("JPEG carries EXIF");
        }
        encoder
            .write_image(sensor.as_bytes(), sensor.width(), sensor.height(), sensor.color().into())
            .expect("a vector takes all");
        file
    }
}

/// Bowing along the radius: r_seen = r_ideal (1 + strength · r_ideal²), radii over the half diagonal. OpenCV's k1 is the
/// strength times the square of the focal length over the half diagonal
/// (D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37, 1971).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bow {
    pub(crate) strength: f64,
    pub(crate) middle: Point,
    pub(crate) half_diagonal: f64,
}

impl Bow {
    /// Where a lens shows what an ideal one shows at `ideal`.
    pub(crate) fn bend(&self, ideal: Point) -> Point {
        let arm: Vec2 = ideal - self.middle;
        self.middle + arm * (1.0 + self.strength * arm.hypot2() / self.half_diagonal.powi(2))
    }

    /// The way back, by halving: only as far as the radius seen grows with the ideal one.
    pub(crate) fn straighten(&self, seen: Point) -> Point {
        let arm = (seen - self.middle) / self.half_diagonal;
        let wanted = arm.hypot();
        let (mut low, mut high) = (0.0, 2.0 * wanted);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if middle * (1.0 + self.strength * middle * middle) < wanted { low = middle } else { high = middle }
        }
        if wanted > 0.0 { self.middle + arm * (low / wanted * self.half_diagonal) } else { seen }
    }
}
