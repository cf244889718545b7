//! Surfaces that are not of one colour, and soft shadows on them.

use kurbo::Vec2;

/// Two colours that run into one another in spots.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cloth {
    /// Encoded sRGB.
    pub(crate) colours: [[u8; 3]; 2],
    /// Width of the largest spots, in pixels; there are halves and quarters of it among them.
    pub(crate) spots: f64,
    /// Of the spots.
    pub(crate) seed: u64,
}

/// What lies where in a scene.
#[derive(Clone, Debug, Default)]
pub(crate) struct Dress {
    pub(crate) ground: Option<Cloth>,
    /// Of every shape.
    pub(crate) shapes: Option<Cloth>,
    /// How far the shapes' shadow falls, in pixels: from full to nothing over this way.
    pub(crate) shadow: Option<Vec2>,
}

impl Cloth {
    /// How much of the second colour there is at a place, 0 to 1.
    pub(super) fn share(&self, x: f64, y: f64) -> f32 {
        let (mut sum, mut weight, mut size, mut part) = (0.0, 0.0, self.spots, 1.0);
        for octave in 0..4 {
            sum += part * self.smooth(x / size, y / size, octave);
            weight += part;
            (size, part) = (size / 2.0, part * 0.6);
        }
        // Sums crowd in the middle.
        (((sum / weight - 0.5) * 2.2 + 0.5) as f32).clamp(0.0, 1.0)
    }

    /// Chance values at whole places, blended between.
    fn smooth(&self, x: f64, y: f64, octave: u64) -> f64 {
        let (i, j) = (x.floor(), y.floor());
        let ease = |t: f64| t * t * (3.0 - 2.0 * t);
        let (u, v) = (ease(x - i), ease(y - j));
        let at = |di: i64, dj: i64| self.chance(i as i64 + di, j as i64 + dj, octave);
        let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
        mix(mix(at(0, 0), at(1, 0), u), mix(at(0, 1), at(1, 1), u), v)
    }

    fn chance(&self, i: i64, j: i64, octave: u64) -> f64 {
        let mut z = (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
            ^ (j as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
            ^ (self.seed * 8 + octave).wrapping_mul(0x1656_67B1_9E37_79F9);
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}
