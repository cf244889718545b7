//! File bytes → [`Picture`].

use std::fmt;
use std::io::{Cursor, ErrorKind};

use image::codecs::{gif::GifDecoder, png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder};
use image::metadata::Orientation;
use image::{
    AnimationDecoder, DynamicImage, ExtendedColorType, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits,
};

use super::{Picture, jpeg, kind, profile};
use crate::problem::Problem;

/// Largest picture taken, in pixels: eight bytes each and a second copy while it is turned stay below 2 GB.
const MOST_PIXELS: u64 = 100_000_000;

/// What a decoder may hold besides the picture itself.
const SCRATCH_BYTES: u64 = 64 << 20;

/// Why a file gives no picture, or not the one that was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PictureError {
    /// Stable word for programs, `snake_case`.
    pub code: &'static str,
    /// One sentence for a person: what was met, what is allowed, what to do. It does not name the file.
    pub text: String,
}

impl PictureError {
    pub(super) fn new(code: &'static str, text: impl Into<String>) -> Self {
        Self { code, text: text.into() }
    }
}

impl fmt::Display for PictureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl std::error::Error for PictureError {}

impl From<PictureError> for Problem {
    fn from(error: PictureError) -> Self {
        Self::error(error.code, error.text)
    }
}

/// The upright sRGB picture in `bytes`, and what a person should know about how it was read.
///
/// JPEG, PNG, WebP, TIFF, BMP and GIF are told apart by their first bytes. The first frame of an animation is taken.
/// Orientation and colour profile are applied; without a profile the colours are sRGB. At its peak this holds two
/// copies of the decoded picture and one of the file.
///
/// # Errors
/// An empty, unknown, unread, damaged or shortened file; more than 100 megapixels. A file that claims more than it
/// holds is refused by its header, before the claim is allocated.
pub fn decode(bytes: &[u8]) -> Result<(Picture, Vec<Problem>), PictureError> {
    let format = kind::recognise(bytes)?;
    let mut notes = Vec::new();
    let mut inks = false;
    if format == ImageFormat::Jpeg {
        inks = jpeg::inspect(bytes)?.inks;
    }
    let failed = |error: ImageError| explain(&error, format, bytes.len());
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits(MOST_PIXELS * 8));
    let mut decoder = reader.into_decoder().map_err(failed)?;
    check_size(decoder.dimensions())?;
    decoder.set_limits(limits(decoder.total_bytes())).map_err(failed)?;

    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let icc = match format {
        // Under limits, the TIFF decoder drops every profile that outweighs a small picture.
        ImageFormat::Tiff => TiffDecoder::new(Cursor::new(bytes)).and_then(|mut tiff| tiff.icc_profile()),
        _ => decoder.icc_profile(),
    };
    inks |= matches!(decoder.original_color_type(), ExtendedColorType::Cmyk8 | ExtendedColorType::Cmyk16);
    let mut samples = DynamicImage::from_decoder(decoder).map_err(failed)?;
    if !is_kept(&samples) {
        let text = "the picture holds floating point light: save it as 16 bit TIFF or PNG";
        return Err(PictureError::new("picture_kind", text));
    }
    if inks {
        notes.push(Problem::note(
            "picture_inks",
            "the picture is stored in printing inks (CMYK), so its colours are only near: outlines do not suffer; for \
             true colours, save it as RGB",
        ));
    } else if let Ok(Some(icc)) = icc {
        notes.extend(profile::to_srgb(&mut samples, &icc));
    }
    if is_animated(bytes, format) {
        let text = "the picture is an animation and its first frame is used: for another, save that frame as PNG";
        notes.push(Problem::warning("picture_animated", text));
    }
    samples.apply_orientation(orientation);
    Ok((Picture::from_upright(samples), notes))
}

fn limits(picture_bytes: u64) -> Limits {
    let mut limits = Limits::no_limits();
    // One copy decoded, one that some decoders convert from.
    limits.max_alloc = Some(picture_bytes.saturating_mul(2).saturating_add(SCRATCH_BYTES));
    limits
}

fn check_size((width, height): (u32, u32)) -> Result<(), PictureError> {
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 {
        return Err(PictureError::new(
            "picture_damaged",
            format!("the picture says it is {width} x {height} pixels: save it anew from where it came"),
        ));
    }
    if pixels <= MOST_PIXELS {
        return Ok(());
    }
    let megapixels = pixels as f64 / 1e6;
    let shrink = (MOST_PIXELS as f64 / pixels as f64).sqrt() * 100.0;
    Err(PictureError::new(
        "picture_too_large",
        format!(
            "the picture says it is {width} x {height} pixels, {megapixels:.0} megapixels; at most 100 are taken: crop \
             it to the prop or shrink it to {:.0} % before marking it",
            shrink.floor().max(1.0)
        ),
    ))
}

fn is_kept(samples: &DynamicImage) -> bool {
    !matches!(samples, DynamicImage::ImageRgb32F(_) | DynamicImage::ImageRgba32F(_))
}

fn is_animated(bytes: &[u8], format: ImageFormat) -> bool {
    let source = Cursor::new(bytes);
    match format {
        ImageFormat::Gif => {
            GifDecoder::new(source).is_ok_and(|gif| gif.into_frames().nth(1).is_some_and(|f| f.is_ok()))
        }
        ImageFormat::WebP => WebPDecoder::new(source).is_ok_and(|webp| webp.has_animation()),
        ImageFormat::Png => PngDecoder::new(source).is_ok_and(|png| png.is_apng().unwrap_or(false)),
        _ => false,
    }
}

/// A decoder's complaint in the maker's words.
fn explain(error: &ImageError, format: ImageFormat, length: usize) -> PictureError {
    let name = match format {
        ImageFormat::Jpeg => "JPEG",
        ImageFormat::Png => "PNG",
        ImageFormat::Gif => "GIF",
        ImageFormat::WebP => "WebP",
        ImageFormat::Tiff => "TIFF",
        _ => "BMP",
    };
    match error {
        ImageError::IoError(io) if io.kind() == ErrorKind::UnexpectedEof => cut_short(name, length),
        ImageError::Limits(_) => PictureError::new(
            "picture_too_large",
            format!(
                "this {name} file of {length} bytes asks for more memory than a picture of its size needs: open it in a \
                 picture program and save it anew"
            ),
        ),
        ImageError::Unsupported(_) => PictureError::new(
            "picture_kind",
            format!(
                "this {name} is of a rare sort that cannot be read ({error}): open it in a picture program and save it as PNG"
            ),
        ),
        _ => PictureError::new(
            "picture_damaged",
            format!("this {name} is damaged or cut short ({error}): copy it again from where it came, or save it anew"),
        ),
    }
}

pub(super) fn cut_short(name: &str, length: usize) -> PictureError {
    PictureError::new(
        "picture_cut_short",
        format!("this {name} ends after {length} bytes, before its picture does: copy it again from where it came"),
    )
}
