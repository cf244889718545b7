//! Samples in the colours of an ICC profile → sRGB.

use image::{DynamicImage, ImageBuffer, Pixel};
use moxcms::{ColorProfile, DataColorSpace, Layout, TransformExecutor, TransformOptions};
use rayon::prelude::*;

use crate::problem::Problem;

/// Brings `picture` to sRGB where it stands. What cannot be applied is left as sRGB, and said.
pub(super) fn to_srgb(picture: &mut DynamicImage, icc: &[u8]) -> Option<Problem> {
    let left_alone = |why: &str| {
        Some(Problem::warning(
            "picture_profile",
            format!(
                "the picture's colour profile {why}, so its colours are taken as sRGB; outlines seldom suffer, but if \
                 the edges look wrong, save the picture as sRGB"
            ),
        ))
    };
    let Ok(profile) = ColorProfile::new_from_slice(icc) else { return left_alone("cannot be read") };
    let grey = !picture.color().has_color();
    match (profile.color_space, grey) {
        (DataColorSpace::Rgb, false) | (DataColorSpace::Gray, true) => {}
        (DataColorSpace::Rgb, true) => return left_alone("is for a coloured picture, but the picture is grey"),
        (DataColorSpace::Gray, false) => return left_alone("is for a grey picture, but the picture is coloured"),
        _ => return left_alone("is of an unusual kind"),
    }
    let applied = match picture {
        DynamicImage::ImageLuma8(samples) => apply(samples, &profile, Layout::Gray),
        DynamicImage::ImageLumaA8(samples) => apply(samples, &profile, Layout::GrayAlpha),
        DynamicImage::ImageRgb8(samples) => apply(samples, &profile, Layout::Rgb),
        DynamicImage::ImageRgba8(samples) => apply(samples, &profile, Layout::Rgba),
        DynamicImage::ImageLuma16(samples) => apply(samples, &profile, Layout::Gray),
        DynamicImage::ImageLumaA16(samples) => apply(samples, &profile, Layout::GrayAlpha),
        DynamicImage::ImageRgb16(samples) => apply(samples, &profile, Layout::Rgb),
        DynamicImage::ImageRgba16(samples) => apply(samples, &profile, Layout::Rgba),
        _ => Err(()),
    };
    if applied.is_err() { left_alone("cannot be applied") } else { None }
}

/// A sample depth that has a transform of its own.
trait Depth: image::Primitive + Default + Send + Sync {
    fn transform(from: &ColorProfile, to: &ColorProfile, layout: Layout) -> Result<Transform<Self>, ()>;
}
type Transform<T> = std::sync::Arc<dyn TransformExecutor<T> + Send + Sync>;

/// In floating point: the fixed point of the library costs up to one step of 8 bits in the shadows.
fn options() -> TransformOptions {
    TransformOptions { prefer_fixed_point: false, ..TransformOptions::default() }
}

impl Depth for u8 {
    fn transform(from: &ColorProfile, to: &ColorProfile, layout: Layout) -> Result<Transform<u8>, ()> {
        from.create_transform_8bit(layout, to, layout, options()).map_err(|_| ())
    }
}

impl Depth for u16 {
    fn transform(from: &ColorProfile, to: &ColorProfile, layout: Layout) -> Result<Transform<u16>, ()> {
        from.create_transform_16bit(layout, to, layout, options()).map_err(|_| ())
    }
}

/// Row by row, so that the scratch memory is one row a thread.
fn apply<P, T>(samples: &mut ImageBuffer<P, Vec<T>>, profile: &ColorProfile, layout: Layout) -> Result<(), ()>
where
    P: Pixel<Subpixel = T>,
    T: Depth,
{
    let srgb = destination(profile);
    if is_srgb(profile, &srgb)? {
        return Ok(());
    }
    let transform = T::transform(profile, &srgb, layout)?;
    let row_length = samples.width() as usize * layout.channels();
    samples.par_chunks_exact_mut(row_length).try_for_each_init(Vec::new, |before, row| {
        before.clear();
        before.extend_from_slice(row);
        transform.transform(before, row).map_err(|_| ())
    })
}

/// sRGB as colours, or its tone curve alone for a grey picture.
fn destination(profile: &ColorProfile) -> ColorProfile {
    let srgb = ColorProfile::new_srgb();
    if profile.color_space != DataColorSpace::Gray {
        return srgb;
    }
    let mut grey = ColorProfile::new_gray_with_gamma(2.2);
    grey.gray_trc = srgb.red_trc;
    grey
}

/// Whether the profile leaves a lattice of probe colours where they are, to within half a step of 8 bits. Most
/// profiles in the wild are sRGB itself; those pictures keep every sample as it was.
fn is_srgb(profile: &ColorProfile, srgb: &ColorProfile) -> Result<bool, ()> {
    const HALF_STEP: u16 = 128;
    let levels = || (0..=u16::MAX).step_by(8191);
    let (layout, probes): (Layout, Vec<u16>) = if profile.color_space == DataColorSpace::Gray {
        (Layout::Gray, levels().collect())
    } else {
        let lattice = levels().flat_map(|r| levels().flat_map(move |g| levels().flat_map(move |b| [r, g, b])));
        (Layout::Rgb, lattice.collect())
    };
    let mut moved = vec![0; probes.len()];
    u16::transform(profile, srgb, layout)?.transform(&probes, &mut moved).map_err(|_| ())?;
    Ok(probes.iter().zip(&moved).all(|(before, after)| before.abs_diff(*after) <= HALF_STEP))
}
