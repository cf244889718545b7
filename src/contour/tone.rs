//! How much of a pixel an object covers, read from the pixel's colour between the colours on both sides.
//!
//! Where the sides differ in brightness, brightness alone is read: JPEG keeps colour at half the sharpness or less
//! (ITU-T T.81, and the sampling that cameras choose), so an edge in colour is wider, and often beside the true one.

use super::edge::{dot, far, median, minus};
use super::samples::Colour;
use crate::build_file::Light;
use crate::picture::srgb::{to_encoded_fast as encoded, to_linear_fast as linear};

/// Luma of ITU-R BT.601, which JPEG keeps (JFIF 1.02).
const LUMA: Colour = [0.299, 0.587, 0.114];
/// Brightness is read when it makes up this part of the difference between the sides; a third of it is grey's share.
const BRIGHT_ENOUGH: f64 = 0.2;

/// What is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Scale {
    /// Luma.
    Brightness,
    /// All of the colour, along the line from the one side's to the other's.
    Colour,
}

impl Scale {
    /// What is best read between most of the `sides`, each outside and inside, encoded.
    pub(super) fn axis(sides: impl Iterator<Item = (Colour, Colour)>) -> Self {
        let share = |(a, b): (Colour, Colour)| dot(minus(b, a), LUMA).abs() / far(a, b).max(1e-9);
        let bright = median(sides.map(share).collect()).is_some_and(|share| share >= BRIGHT_ENOUGH);
        if bright { Self::Brightness } else { Self::Colour }
    }

    /// The scale from `outside`, 0, to `inside`, 1, both encoded, blended in `light`.
    pub(super) fn between(self, outside: Colour, inside: Colour, light: Light) -> Reading {
        match (self, light) {
            (Self::Brightness, Light::Drawing) => {
                let from = dot(outside, LUMA);
                Reading::Luma { from, over: dot(inside, LUMA) - from }
            }
            (Self::Brightness, Light::Camera) => Reading::Light(Tone::between(outside, inside)),
            (Self::Colour, Light::Drawing) => {
                let span = minus(inside, outside);
                Reading::Line { from: outside, over: span.map(|v| v / dot(span, span)), in_light: false }
            }
            (Self::Colour, Light::Camera) => {
                let from = outside.map(linear);
                let span = minus(inside.map(linear), from);
                Reading::Line { from, over: span.map(|v| v / dot(span, span)), in_light: true }
            }
        }
    }
}

/// From an encoded colour to coverage.
#[derive(Clone, Copy, Debug)]
pub(super) enum Reading {
    Luma { from: f64, over: f64 },
    Light(Tone),
    Line { from: Colour, over: Colour, in_light: bool },
}

/// Luma, and for a camera's picture its linear light.
pub(super) fn brightness(colour: Colour, light: Light) -> f64 {
    let luma = dot(colour, LUMA);
    match light {
        Light::Drawing => luma,
        Light::Camera => linear(luma),
    }
}

impl Reading {
    /// 0 outside, 1 inside; noise goes beyond. `bright`: the [`brightness`] of the colour in the light of this reading.
    pub(super) fn coverage(&self, colour: Colour, bright: f64) -> f64 {
        match self {
            Self::Luma { from, over } => (bright - from) / over,
            Self::Light(tone) => tone.coverage(bright),
            Self::Line { from, over, in_light } => {
                dot(minus(if *in_light { colour.map(linear) } else { colour }, *from), *over)
            }
        }
    }
}

/// Luma of two colours mixed in linear light, turned round: from luma to the mixture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tone {
    from: f64,
    over: f64,
    /// Newton's divided differences of the mixture over `knots`.
    knots: [f64; 5],
    terms: [f64; 5],
}

impl Tone {
    /// Luma is no linear quantity, but for greys its linear light is; for colours it nearly is, and a polynomial through
    /// the three quarters sets that right.
    fn between(outside: Colour, inside: Colour) -> Self {
        let (a, b) = (outside.map(linear), inside.map(linear));
        let luma = |t: f64| dot(std::array::from_fn(|k| encoded(a[k] + t * (b[k] - a[k]))), LUMA);
        let from = linear(dot(outside, LUMA));
        let over = linear(dot(inside, LUMA)) - from;
        let mixtures = [0.0, 0.25, 0.5, 0.75, 1.0];
        let knots = mixtures.map(|t| if t == 0.0 || t == 1.0 { t } else { (linear(luma(t)) - from) / over });
        let mut terms = mixtures;
        for order in 1..5 {
            for k in (order..5).rev() {
                terms[k] = (terms[k] - terms[k - 1]) / (knots[k] - knots[k - order]);
            }
        }
        Self { from, over, knots, terms }
    }

    /// `bright`: linear light of the luma.
    fn coverage(&self, bright: f64) -> f64 {
        let u = (bright - self.from) / self.over;
        // Made in any case: noise lies on both sides of the ends, and a guess which costs more than a few products.
        let mixture = (0..4).rev().fold(self.terms[4], |sum, k| sum * (u - self.knots[k]) + self.terms[k]);
        if (0.0..=1.0).contains(&u) { mixture } else { u }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_of_two_colours_is_read_back_in_both_lights() {
        let pairs =
            [([0.9, 0.9, 0.9], [0.1, 0.1, 0.1]), ([0.6, 0.6, 0.61], [0.5, 0.14, 0.13]), ([0.2; 3], [0.9, 0.7, 0.3])];
        for (a, b) in pairs {
            for axis in [Scale::Brightness, Scale::Colour] {
                for t in [0.0, 0.1, 0.4, 0.6, 0.9, 1.0] {
                    let mixed = |p: Colour, q: Colour| std::array::from_fn(|k| p[k] + t * (q[k] - p[k]));
                    let read = |colour, light| axis.between(a, b, light).coverage(colour, brightness(colour, light));
                    let drawn = read(mixed(a, b), Light::Drawing);
                    let shot = read(mixed(a.map(linear), b.map(linear)).map(encoded), Light::Camera);
                    assert!((drawn - t).abs() < 1e-9 && (shot - t).abs() < 2e-3, "{axis:?} {t}: {drawn} {shot}");
                }
            }
        }
    }

    #[test]
    fn brightness_is_read_where_there_is_a_difference_in_it() {
        let bright = ([0.9, 0.9, 0.8], [0.1, 0.3, 0.4]);
        // Of one luma.
        let coloured = ([0.6, 0.3, 0.2], [0.2, 0.45, 0.476]);
        assert_eq!(Scale::axis([bright, bright, coloured].into_iter()), Scale::Brightness);
        assert_eq!(Scale::axis([coloured].into_iter()), Scale::Colour);
    }
}
