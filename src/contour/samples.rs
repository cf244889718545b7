//! Fast access to the samples of a picture, as colours of several kinds.

use std::ops::RangeInclusive;
use std::sync::LazyLock;

use image::{ColorType, DynamicImage};
use rayon::prelude::*;

use crate::picture::Picture;
use crate::picture::srgb::{byte_to_linear, to_linear};

/// Three numbers of one colour; of which kind, the giver says.
pub(super) type Colour = [f64; 3];

/// Red, green and blue as encoded, in steps of 1/65535, which holds samples of 8 bits and of 16 exactly; alpha three times for
/// a cut-out picture.
pub(super) type Words = [u16; 3];

/// The same from 0 to 1.
pub(super) fn colour(words: Words) -> Colour {
    words.map(|word| f64::from(word) * (1.0 / 65535.0))
}

#[derive(Clone, Copy)]
enum Data<'a> {
    Eight(&'a [u8]),
    Sixteen(&'a [u16]),
}

/// A picture as one flat run of samples.
#[derive(Clone, Copy)]
pub(super) struct Samples<'a> {
    data: Data<'a>,
    pub(super) width: usize,
    pub(super) height: usize,
    channels: usize,
    /// Alpha tells the object from its ground: it lies on both sides of a half.
    pub(super) cut_out: bool,
}

impl<'a> Samples<'a> {
    pub(super) fn of(picture: &'a Picture) -> Self {
        let image = picture.samples();
        let data = match image {
            DynamicImage::ImageLuma8(i) => Data::Eight(i.as_raw()),
            DynamicImage::ImageLumaA8(i) => Data::Eight(i.as_raw()),
            DynamicImage::ImageRgb8(i) => Data::Eight(i.as_raw()),
            DynamicImage::ImageRgba8(i) => Data::Eight(i.as_raw()),
            DynamicImage::ImageLuma16(i) => Data::Sixteen(i.as_raw()),
            DynamicImage::ImageLumaA16(i) => Data::Sixteen(i.as_raw()),
            DynamicImage::ImageRgb16(i) => Data::Sixteen(i.as_raw()),
            DynamicImage::ImageRgba16(i) => Data::Sixteen(i.as_raw()),
            _ => unreachable!("a picture has 8 or 16 bits a sample"),
        };
        let colour = image.color();
        let plain = Self {
            data,
            width: picture.width() as usize,
            height: picture.height() as usize,
            channels: usize::from(colour.channel_count()),
            cut_out: false,
        };
        let has_alpha = matches!(colour, ColorType::La8 | ColorType::La16 | ColorType::Rgba8 | ColorType::Rgba16);
        Self { cut_out: has_alpha && plain.alpha_varies(), ..plain }
    }

    fn alpha_varies(&self) -> bool {
        let rows = || (0..self.height).into_par_iter();
        let any = |wanted: bool| rows().any(|y| (0..self.width).any(|x| (self.alpha(x, y) >= 0.5) == wanted));
        any(true) && any(false)
    }

    fn value(&self, index: usize) -> f64 {
        match self.data {
            Data::Eight(d) => f64::from(d[index]) / 255.0,
            Data::Sixteen(d) => f64::from(d[index]) / 65535.0,
        }
    }

    /// Coverage, 0 to 1; meaningful only for a picture with alpha, whose last channel it is.
    fn alpha(&self, x: usize, y: usize) -> f64 {
        self.value((y * self.width + x + 1) * self.channels - 1)
    }

    /// Alpha in steps of 1/255.
    pub(super) fn alpha_byte(&self, x: usize, y: usize) -> u8 {
        self.byte((y * self.width + x + 1) * self.channels - 1)
    }

    fn byte(&self, index: usize) -> u8 {
        match self.data {
            Data::Eight(d) => d[index],
            Data::Sixteen(d) => d[index].to_be_bytes()[0],
        }
    }

    /// Red, green and blue in steps of 1/255.
    pub(super) fn bytes(&self, x: usize, y: usize) -> [u8; 3] {
        let at = (y * self.width + x) * self.channels;
        if self.channels < 3 {
            return [self.byte(at); 3];
        }
        [self.byte(at), self.byte(at + 1), self.byte(at + 2)]
    }

    /// Red, green and blue of the pixels `from..to` of row `y`, in steps of 1/255. Most pictures have three bytes a
    /// pixel and are read without asking each time.
    pub(super) fn row(&self, y: usize, from: usize, to: usize, mut see: impl FnMut([u8; 3])) {
        match self.data {
            Data::Eight(bytes) if self.channels == 3 => {
                let at = |x: usize| (y * self.width + x) * 3;
                bytes[at(from)..at(to)].as_chunks().0.iter().for_each(|rgb| see(*rgb));
            }
            _ => (from..to).for_each(|x| see(self.bytes(x, y))),
        }
    }

    /// Least and most of red, green and blue over the rows `ys` from column `from` to before `to`, in steps of 1/255;
    /// `None` for pictures of 16 bits.
    pub(super) fn extent(&self, ys: RangeInclusive<usize>, from: usize, to: usize) -> Option<[[u8; 3]; 2]> {
        /// Bytes that are looked at side by side; a multiple of all numbers of channels.
        const WIDE: usize = 48;
        let Data::Eight(bytes) = self.data else { return None };
        let (mut least, mut most) = ([u8::MAX; WIDE], [0; WIDE]);
        let mut see = |bytes: &[u8]| {
            for ((least, most), byte) in least.iter_mut().zip(&mut most).zip(bytes) {
                (*least, *most) = ((*byte).min(*least), (*byte).max(*most));
            }
        };
        for y in ys {
            let row = &bytes[(y * self.width + from) * self.channels..][..(to - from) * self.channels];
            let (blocks, rest) = row.as_chunks::<WIDE>();
            blocks.iter().for_each(|block| see(block));
            // What is left over, with some bytes once more, which change nothing: a whole block is looked at faster.
            see(row.last_chunk::<WIDE>().map_or(rest, |block| block.as_slice()));
        }
        // Halves of a block hold the same channels, down to a dozen bytes.
        for half in [WIDE / 2, WIDE / 4] {
            for k in 0..half {
                (least[k], most[k]) = (least[k].min(least[k + half]), most[k].max(most[k + half]));
            }
        }
        let of = |channel: usize| (channel..WIDE / 4).step_by(self.channels);
        let channels = if self.channels < 3 { [0; 3] } else { [0, 1, 2] };
        let low = channels.map(|c| of(c).map(|k| least[k]).min().unwrap_or(0));
        let high = channels.map(|c| of(c).map(|k| most[k]).max().unwrap_or(u8::MAX));
        Some([low, high])
    }

    /// The colours of `N` pixels in a row, the first of them at `start`, the others each a `step` further; beyond the border
    /// that of the nearest pixel.
    pub(super) fn line<const N: usize>(&self, start: (i64, i64), step: (i64, i64)) -> [Words; N] {
        let channels = if self.cut_out {
            [self.channels - 1; 3]
        } else if self.channels < 3 {
            [0; 3]
        } else {
            [0, 1, 2]
        };
        let signed = |v: usize| i64::try_from(v).expect("pixels count far below 2^63");
        let (width, height) = (signed(self.width), signed(self.height));
        let pixel = |k: usize| (start.0 + signed(k) * step.0, start.1 + signed(k) * step.1);
        let holds = |(x, y): (i64, i64)| (0..width).contains(&x) && (0..height).contains(&y);
        let whole = holds(pixel(0)) && holds(pixel(N - 1));
        let place = |k: usize| {
            let (x, y) = pixel(k);
            let (x, y) = if whole { (x, y) } else { (x.clamp(0, width - 1), y.clamp(0, height - 1)) };
            let at = usize::try_from(y * width + x).expect("on the picture") * self.channels;
            at..at + self.channels
        };
        let mut line = [[0; 3]; N];
        let pixels = line.iter_mut().enumerate();
        match self.data {
            Data::Eight(bytes) => pixels.for_each(|(k, words)| {
                let pixel = &bytes[place(k)];
                *words = channels.map(|channel| 257 * u16::from(pixel[channel]));
            }),
            Data::Sixteen(all) => pixels.for_each(|(k, words)| {
                let pixel = &all[place(k)];
                *words = channels.map(|channel| pixel[channel]);
            }),
        }
        line
    }
}

/// The colour of red, green and blue in steps of 1/255, as finely as they tell it.
pub(super) fn finest(rgb: [u8; 3]) -> [f32; 3] {
    oklab(rgb.map(byte_to_linear))
}

/// Linear light → lightness and two opponent axes, nearly even to the eye: OKLab (B. Ottosson, 2020), with the straight toe of
/// CIELAB (CIE 15) instead of a bare cube root, whose endless slope at black would make sensor noise look like colour.
fn oklab([r, g, b]: Colour) -> [f32; 3] {
    const TOE: f64 = 216.0 / 24389.0;
    let root = |t: f64| if t > TOE { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
    let l = root(0.412_221_470_8 * r + 0.536_332_536_3 * g + 0.051_445_992_9 * b);
    let m = root(0.211_903_498_2 * r + 0.680_699_545_1 * g + 0.107_396_956_6 * b);
    let s = root(0.088_302_461_9 * r + 0.281_718_837_6 * g + 0.629_978_700_5 * b);
    let lab = [
        0.210_454_255_3 * l + 0.793_617_785_0 * m - 0.004_072_046_8 * s,
        1.977_998_495_1 * l - 2.428_592_205_0 * m + 0.450_593_709_9 * s,
        0.025_904_037_1 * l + 0.782_771_766_2 * m - 0.808_675_766_0 * s,
    ];
    #[expect(clippy::cast_possible_truncation, reason = "a table of colours needs no more than f32")]
    lab.map(|v| v as f32)
}

/// OKLab of every colour in steps of 4/255: three cube roots for each of 24 million pixels would take a second.
pub(super) struct LabTable(Vec<[f32; 3]>);

impl LabTable {
    /// Distance of neighbouring greys in it, at most.
    pub(super) const STEP: f32 = 0.0135;

    /// The one table there is.
    pub(super) fn shared() -> &'static Self {
        static TABLE: LazyLock<LabTable> = LazyLock::new(LabTable::new);
        &TABLE
    }

    fn new() -> Self {
        let steps: [f64; 64] = std::array::from_fn(|i| {
            let middle = 4.0 * f64::from(u32::try_from(i).expect("six bits")) + 1.5;
            to_linear(middle / 255.0)
        });
        let step = |i: usize| steps[i & 63];
        Self((0..1 << 18).into_par_iter().map(|i| oklab([step(i >> 12), step(i >> 6), step(i)])).collect())
    }

    pub(super) fn get(&self, [r, g, b]: [u8; 3]) -> [f32; 3] {
        self.0[usize::from(r >> 2) << 12 | usize::from(g >> 2) << 6 | usize::from(b >> 2)]
    }
}
