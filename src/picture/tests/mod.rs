//! Decoding, end to end.
#![expect(clippy::cast_possible_truncation, reason = "made-up samples, which may wrap")]

mod files;

use image::codecs::gif::GifEncoder;
use image::{
    DynamicImage, Frame, GrayAlphaImage, GrayImage, ImageBuffer, ImageFormat, Luma, LumaA, Rgb, RgbImage, Rgba,
    RgbaImage,
};
use moxcms::{ColorProfile, ToneReprCurve};
use proptest::prelude::*;

use self::files::{CMYK, YCCK, encode, from_hex, png, tiff};
use super::*;
use crate::problem::{Level, Problem};

const ALL_FORMATS: [ImageFormat; 6] =
    [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP, ImageFormat::Tiff, ImageFormat::Bmp, ImageFormat::Gif];

/// Six colours that tell every corner of a 3 x 2 picture apart.
fn six() -> RgbImage {
    RgbImage::from_fn(3, 2, |x, y| Rgb([(x * 100) as u8, (y * 200) as u8, 50]))
}

fn read(bytes: &[u8]) -> (Picture, Vec<Problem>) {
    decode(bytes).unwrap_or_else(|error| panic!("{error}"))
}

fn refusal(bytes: &[u8]) -> PictureError {
    decode(bytes).expect_err("this file is refused")
}

fn assert_near(found: [f64; 4], expected: [f64; 4], allowed: f64) {
    let far = found.iter().zip(&expected).any(|(a, b)| (a - b).abs() > allowed);
    assert!(!far, "found {found:?}, expected {expected:?}, allowed {allowed}");
}

#[test]
fn every_format_gives_the_colours_that_went_in() {
    let went_in = six();
    for format in ALL_FORMATS {
        let (picture, notes) = read(&encode(&DynamicImage::from(went_in.clone()), format, None, None));
        assert_eq!(picture.size(), [3, 2], "{format:?}");
        assert_eq!(notes, [], "{format:?}");
        let allowed = if format == ImageFormat::Jpeg { 3.0 / 255.0 } else { 1e-12 };
        for (x, y, Rgb([r, g, b])) in went_in.enumerate_pixels() {
            let truth = [f64::from(*r) / 255.0, f64::from(*g) / 255.0, f64::from(*b) / 255.0, 1.0];
            assert_near(picture.pixel(x, y), truth, allowed);
        }
    }
}

#[test]
fn grey_and_alpha_and_sixteen_bits_are_kept_as_they_are() {
    let word = |x: u32| (x * 12345) as u16;
    let pictures: [DynamicImage; 8] = [
        GrayImage::from_fn(3, 2, |x, _| Luma([(x * 77) as u8])).into(),
        GrayAlphaImage::from_fn(3, 2, |x, y| LumaA([(x * 77) as u8, (y * 99) as u8])).into(),
        six().into(),
        RgbaImage::from_fn(3, 2, |x, y| Rgba([(x * 77) as u8, 1, 2, (y * 99) as u8])).into(),
        ImageBuffer::from_fn(3, 2, |x, _| Luma([word(x)])).into(),
        ImageBuffer::from_fn(3, 2, |x, y| LumaA([word(x), word(y)])).into(),
        ImageBuffer::from_fn(3, 2, |x, y| Rgb([word(x), word(y), 257])).into(),
        ImageBuffer::from_fn(3, 2, |x, y| Rgba([word(x), word(y), 257, word(x + y)])).into(),
    ];
    for went_in in &pictures {
        let (picture, _) = read(&encode(went_in, ImageFormat::Png, None, None));
        assert_eq!(picture.samples(), went_in);
        // The same numbers through the accessor, found by another way: as 32 bit floats.
        let floats = went_in.to_rgba32f();
        for (x, y, pixel) in floats.enumerate_pixels() {
            assert_near(picture.pixel(x, y), pixel.0.map(f64::from), 1e-6);
        }
    }
    let (picture, _) = read(&encode(&pictures[6], ImageFormat::Tiff, None, None));
    assert_eq!(picture.samples(), &pictures[6]);
    let (picture, _) = read(&encode(&pictures[3], ImageFormat::WebP, None, None));
    assert_eq!(picture.samples(), &pictures[3]);
}

#[test]
fn png_of_one_two_and_four_bits_spans_black_to_white() {
    // One row of the levels 0 and the highest, packed from the left.
    for (depth, row) in [(1, 0b0100_0000), (2, 0b0011_0000), (4, 0b0000_1111)] {
        let (picture, _) = read(&png([2, 1], depth, 0, &[], &[0, row]));
        assert_eq!(picture.pixel(0, 0), [0.0, 0.0, 0.0, 1.0], "{depth} bits");
        assert_eq!(picture.pixel(1, 0), [1.0, 1.0, 1.0, 1.0], "{depth} bits");
    }
}

#[test]
fn png_palette_gives_its_colours_and_its_transparency() {
    let palette = [255, 0, 0, 0, 51, 255];
    let file = png([2, 1], 1, 3, &[(b"PLTE", &palette), (b"tRNS", &[255, 102])], &[0, 0b0100_0000]);
    let (picture, _) = read(&file);
    assert_near(picture.pixel(0, 0), [1.0, 0.0, 0.0, 1.0], 1e-12);
    assert_near(picture.pixel(1, 0), [0.0, 0.2, 1.0, 0.4], 1e-12);
}

#[test]
fn jpeg_in_printing_inks_comes_near_its_colours_and_says_so() {
    // Light left by the inks, one after the other: (1 - ink)(1 - black).
    let light = |ink: f64| (1.0 - ink / 255.0) * (1.0 - 26.0 / 255.0);
    for (name, hex) in [("CMYK", CMYK), ("YCCK", YCCK)] {
        let (picture, notes) = read(&from_hex(hex));
        assert_eq!(picture.size(), [16, 8]);
        // Two levels for the quantising of the file and the integer arithmetic of the decoder.
        assert_near(picture.pixel(3, 3), [light(204.0), light(51.0), light(0.0), 1.0], 2.0 / 255.0);
        assert_near(picture.pixel(12, 3), [1.0; 4], 2.0 / 255.0);
        assert_eq!(
            notes.iter().map(|note| (note.code, note.level)).collect::<Vec<_>>(),
            [("picture_inks", Level::Note)],
            "{name}"
        );
    }
}

#[test]
fn jpeg_in_inks_without_the_mark_of_their_direction_is_refused() {
    let whole = from_hex(CMYK);
    let unmarked = [&whole[..2], &whole[18..]].concat();
    assert!(refusal(&unmarked).text.contains("save it as RGB"));
}

#[test]
fn grey_jpeg_stays_grey() {
    let went_in = DynamicImage::from(GrayImage::from_pixel(9, 7, Luma([90])));
    let (picture, _) = read(&encode(&went_in, ImageFormat::Jpeg, None, None));
    assert!(matches!(picture.samples(), DynamicImage::ImageLuma8(_)));
    assert_near(picture.pixel(4, 4), [90.0 / 255.0, 90.0 / 255.0, 90.0 / 255.0, 1.0], 1.5 / 255.0);
}

/// Where column `x` and row `y` of the upright picture stand in the stored one, which is `w` x `h`; after the table of
/// Exif 2.32, 4.6.4 A, "the 0th row is the visual ... side, the 0th column the visual ... side".
fn stored_at(orientation: u8, [x, y]: [u32; 2], [w, h]: [u32; 2]) -> [u32; 2] {
    match orientation {
        1 => [x, y],                 // row 0 at the top, column 0 at the left
        2 => [w - 1 - x, y],         // top, right
        3 => [w - 1 - x, h - 1 - y], // bottom, right
        4 => [x, h - 1 - y],         // bottom, left
        5 => [y, x],                 // left, top
        6 => [y, h - 1 - x],         // right, top
        7 => [w - 1 - y, h - 1 - x], // right, bottom
        _ => [w - 1 - y, x],         // left, bottom
    }
}

#[test]
fn each_of_the_eight_orientations_is_turned_upright() {
    // Grey, so that JPEG keeps each pixel; the levels are far apart.
    let stored = GrayImage::from_fn(3, 2, |x, y| Luma([(20 + 40 * (x + 3 * y)) as u8]));
    for orientation in 1..=8u8 {
        let picture = DynamicImage::from(stored.clone());
        let colour = DynamicImage::from(picture.to_rgb8());
        let samples: Vec<u8> = stored.pixels().map(|p| p.0[0]).collect();
        let files = [
            encode(&picture, ImageFormat::Jpeg, Some(orientation), None),
            encode(&picture, ImageFormat::Png, Some(orientation), None),
            encode(&colour, ImageFormat::WebP, Some(orientation), None),
            tiff(3, 2, &samples, &[(274, 3, 1, u32::from(orientation))]),
        ];
        for (kind, file) in files.iter().enumerate() {
            let (upright, notes) = read(file);
            assert_eq!(notes, []);
            let expected_size = if orientation > 4 { [2, 3] } else { [3, 2] };
            assert_eq!(upright.size(), expected_size, "orientation {orientation}, file {kind}");
            for y in 0..upright.height() {
                for x in 0..upright.width() {
                    let [sx, sy] = stored_at(orientation, [x, y], [3, 2]);
                    let truth = f64::from(stored.get_pixel(sx, sy).0[0]) / 255.0;
                    assert_near(upright.pixel(x, y), [truth, truth, truth, 1.0], 3.0 / 255.0);
                }
            }
        }
    }
}

#[test]
fn orientations_outside_one_to_eight_leave_the_picture_as_it_is() {
    for orientation in [0, 9, 255] {
        let file = encode(&six().into(), ImageFormat::Png, Some(orientation), None);
        assert_eq!(read(&file).0.samples(), &DynamicImage::from(six()));
    }
}

/// sRGB's primaries, but samples in proportion to the light.
fn linear_profile() -> Vec<u8> {
    let straight = Some(ToneReprCurve::Lut(vec![]));
    let mut profile = ColorProfile::new_srgb();
    (profile.red_trc, profile.green_trc, profile.blue_trc) = (straight.clone(), straight.clone(), straight);
    profile.cicp = None;
    profile.encode().expect("a plain matrix profile")
}

#[test]
fn a_profile_of_linear_samples_is_brought_to_srgb() {
    let profile = linear_profile();
    let bytes = DynamicImage::from(RgbImage::from_fn(4, 3, |x, y| Rgb([(x * 80) as u8, (y * 110) as u8, 128])));
    let words: DynamicImage =
        ImageBuffer::from_fn(4, 3, |x, y| Rgba([(x * 20000) as u16, (y * 30000) as u16, 32768, 40000])).into();
    for (went_in, format, allowed) in [
        (&bytes, ImageFormat::Png, 1.0 / 255.0),
        (&bytes, ImageFormat::Tiff, 1.0 / 255.0),
        (&bytes, ImageFormat::WebP, 1.0 / 255.0),
        (&words, ImageFormat::Png, 1.0 / 4096.0),
    ] {
        let (picture, notes) = read(&encode(went_in, format, None, Some(&profile)));
        assert_eq!(notes, []);
        let before = Picture::from_upright(went_in.clone());
        for y in 0..3 {
            for x in 0..4 {
                let [r, g, b, alpha] = before.pixel(x, y);
                let truth = [srgb::to_encoded(r), srgb::to_encoded(g), srgb::to_encoded(b), alpha];
                assert_near(picture.pixel(x, y), truth, allowed);
            }
        }
    }
}

#[test]
fn a_grey_profile_moves_grey_samples() {
    let profile = ColorProfile::new_gray_with_gamma(1.0).encode().expect("a plain grey profile");
    for went_in in [
        DynamicImage::from(GrayImage::from_fn(5, 1, |x, _| Luma([(x * 60) as u8]))),
        GrayAlphaImage::from_fn(5, 1, |x, _| LumaA([(x * 60) as u8, 77])).into(),
    ] {
        let (picture, notes) = read(&encode(&went_in, ImageFormat::Png, None, Some(&profile)));
        assert_eq!(notes, []);
        let before = Picture::from_upright(went_in);
        for x in 0..5 {
            let [luma, .., alpha] = before.pixel(x, 0);
            let truth = srgb::to_encoded(luma);
            assert_near(picture.pixel(x, 0), [truth, truth, truth, alpha], 1.0 / 255.0);
        }
    }
}

#[test]
fn the_profile_of_srgb_itself_changes_no_sample() {
    let icc = ColorProfile::new_srgb().encode().expect("a plain matrix profile");
    let went_in = DynamicImage::from(RgbImage::from_fn(256, 4, |x, y| Rgb([x as u8, (x * y) as u8, 255 - x as u8])));
    assert_eq!(read(&encode(&went_in, ImageFormat::Png, None, Some(&icc))).0.samples(), &went_in);
}

#[test]
fn a_profile_that_cannot_be_used_is_a_warning_and_the_picture_stays() {
    let truncated = linear_profile()[..150].to_vec();
    let for_grey = ColorProfile::new_gray_with_gamma(1.0).encode().expect("a plain grey profile");
    let grey = DynamicImage::from(GrayImage::from_pixel(3, 2, Luma([100])));
    for (went_in, icc) in [
        (DynamicImage::from(six()), b"no profile at all".to_vec()),
        (six().into(), truncated),
        (six().into(), for_grey),
        (grey, linear_profile()),
    ] {
        let (picture, notes) = read(&encode(&went_in, ImageFormat::Png, None, Some(&icc)));
        assert_eq!(picture.samples(), &went_in);
        assert_eq!(notes.len(), 1);
        assert_eq!((notes[0].code, notes[0].level), ("picture_profile", Level::Warning));
        assert!(notes[0].text.contains("sRGB"), "{}", notes[0].text);
    }
}

#[test]
fn the_first_frame_of_an_animation_is_used_and_said() {
    let mut file = Vec::new();
    let mut encoder = GifEncoder::new(&mut file);
    for level in [255, 0] {
        encoder.encode_frame(Frame::new(RgbaImage::from_pixel(4, 4, Rgba([level, 0, 0, 255])))).expect("small frame");
    }
    drop(encoder);
    let (picture, notes) = read(&file);
    assert_eq!(picture.pixel(1, 1), [1.0, 0.0, 0.0, 1.0]);
    assert_eq!(notes.iter().map(|note| note.code).collect::<Vec<_>>(), ["picture_animated"]);
}

#[test]
fn files_that_are_not_read_say_what_they_are_and_what_to_do() {
    let dng = tiff(1, 1, &[0], &[(50706, 1, 4, 1)]);
    let thumbnail_of_raw = tiff(1, 1, &[0], &[(254, 4, 1, 1), (330, 4, 1, 8)]);
    let cases: [(&[u8], &str, &str); 20] = [
        (b"", "empty", "copy it again"),
        (b"\0\0\0\x18ftypheic\0\0\0\0", "HEIC", "on the phone, share it as JPEG"),
        (b"\0\0\0\x18ftypmif1\0\0\0\0", "HEIC", "on the phone, share it as JPEG"),
        (b"\0\0\0\x18ftypavif\0\0\0\0", "AVIF", "export it as PNG"),
        (b"\0\0\0\x18ftypcrx \0\0\0\0", "raw", "export it as JPEG"),
        (b"\0\0\0\x18ftypisom\0\0\0\0", "video", "save that frame"),
        (b"\x1a\x45\xdf\xa3\0\0", "video", "save that frame"),
        (b"RIFF\0\0\0\0AVI LIST", "video", "save that frame"),
        (b"FUJIFILMCCD-RAW 0201", "raw", "export it as JPEG"),
        (b"II*\0\x10\0\0\0CR\x02\0", "raw", "export it as JPEG"),
        (&dng, "raw", "export it as JPEG"),
        (&thumbnail_of_raw, "raw", "export it as JPEG"),
        (b"%PDF-1.7", "PDF", "export the page as PNG"),
        (b"8BPS\0\x01", "layered drawing", "export it as PNG"),
        (b"<?xml version='1.0'?>\n<svg xmlns=''/>", "SVG", "svg = "),
        (b"  <svg/>", "SVG", "svg = "),
        (b"<!DOCTYPE html><html>", "web page", "save the picture itself"),
        (b"PK\x03\x04rest", "packed", "unpack"),
        (b"wholly unknown", "77 68 6f 6c 6c 79 20 75", "save it as one of them"),
        (b"Q", "51", "save it as one of them"),
    ];
    for (file, what, next) in cases {
        let text = refusal(file).text;
        assert!(text.contains(what) && text.contains(next), "{text}");
    }
}

#[test]
fn a_tiny_file_that_claims_a_huge_picture_is_refused_by_its_header() {
    let mut jpeg = encode(&six().into(), ImageFormat::Jpeg, None, None);
    let frame = jpeg.windows(2).position(|pair| pair == [0xff, 0xc0]).expect("a baseline JPEG has this marker");
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0xff; 4]);
    let mut bmp = encode(&six().into(), ImageFormat::Bmp, None, None);
    bmp[18..26].copy_from_slice(&[0x50, 0xc3, 0, 0, 0x50, 0xc3, 0, 0]);
    let mut gif = encode(&six().into(), ImageFormat::Gif, None, None);
    gif[6..10].copy_from_slice(&[0xff; 4]);
    let files = [
        (jpeg, "65535 x 65535 pixels, 4295 megapixels"),
        (png([50_000, 50_000], 8, 6, &[], &[0; 9]), "50000 x 50000 pixels, 2500 megapixels"),
        (tiff(40_000, 40_000, &[0; 9], &[]), "40000 x 40000 pixels, 1600 megapixels"),
        (bmp, "50000 x 50000 pixels, 2500 megapixels"),
        (gif, "65535 x 65535 pixels"),
    ];
    for (file, numbers) in files {
        let error = refusal(&file);
        assert_eq!(error.code, "picture_too_large", "{error}");
        assert!(error.text.contains(numbers) && error.text.contains("at most 100 are taken"), "{error}");
    }
}

#[test]
fn the_advice_for_a_large_picture_brings_it_below_the_limit() {
    for (size, shrunk, advice) in [
        ([12_000, 10_000], [10_920, 9_100], "shrink it to 91 %"),
        ([50_000, 8_000], [25_000, 4_000], "shrink it to 50 %"),
    ] {
        assert!(refusal(&png(size, 8, 0, &[], &[0; 9])).text.contains(advice));
        // No rows follow, so the file is cut short; it is the claimed size that must be accepted.
        assert_ne!(refusal(&png(shrunk, 8, 0, &[], &[0; 9])).code, "picture_too_large");
    }
}

#[test]
fn the_smallest_and_the_thinnest_pictures_are_read() {
    for [width, height] in [[1, 1], [1, 20_000], [20_000, 1]] {
        let went_in = DynamicImage::from(RgbImage::from_pixel(width, height, Rgb([10, 20, 30])));
        for format in ALL_FORMATS {
            // WebP goes to 16383 pixels a side.
            if format == ImageFormat::WebP && width.max(height) > 16_383 {
                continue;
            }
            let (picture, _) = read(&encode(&went_in, format, None, None));
            assert_eq!(picture.size(), [width, height], "{format:?}");
            assert_near(picture.pixel(width - 1, height - 1), [10.0 / 255.0, 20.0 / 255.0, 30.0 / 255.0, 1.0], 0.02);
        }
    }
}

/// A picture that no encoder shortens to nothing.
fn grainy() -> RgbImage {
    let mut state = 1u32;
    RgbImage::from_fn(40, 30, |_, _| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        Rgb([(state >> 24) as u8, (state >> 16) as u8, (state >> 8) as u8])
    })
}

#[test]
fn a_shortened_file_is_an_error_wherever_it_ends() {
    for format in ALL_FORMATS {
        let whole = encode(
            &grainy().into(),
            format,
            None,
            Some(&linear_profile()).filter(|_| carries_profile(format)).map(|p| &p[..]),
        );
        let (picture, _) = decode(&whole).expect("the whole file is sound");
        assert_eq!(picture.size(), [40, 30]);
        // The last bytes of some formats are padding or an end mark that carries no picture.
        for length in (0..whole.len() - 20).step_by(100) {
            let error = refusal(&whole[..length]);
            assert!(!error.text.is_empty());
        }
    }
}

const fn carries_profile(format: ImageFormat) -> bool {
    matches!(format, ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP | ImageFormat::Tiff)
}

#[test]
fn a_jpeg_without_its_end_says_where_it_ends() {
    let whole = encode(&grainy().into(), ImageFormat::Jpeg, None, None);
    let error = refusal(&whole[..whole.len() / 2]);
    assert_eq!(error.code, "picture_cut_short");
    assert!(error.text.contains(&format!("after {} bytes", whole.len() / 2)), "{error}");
}

#[test]
fn a_picture_of_another_size_than_the_marks_tells_what_happened() {
    let picture = Picture::from_upright(RgbImage::new(300, 400).into());
    assert_eq!(picture.expect_size(None), Ok(()));
    assert_eq!(picture.expect_size(Some([300, 400])), Ok(()));
    for (marked_on, says) in [
        ([400, 300], "it seems to have been turned"),
        ([600, 800], "at 50.0000 % of its size"),
        ([899, 1200], "of its size"),
        ([300, 380], "cropped"),
        ([300, 401], "cropped"),
        ([0, 0], "cropped"),
    ] {
        let error = picture.expect_size(Some(marked_on)).expect_err("another size");
        assert!(error.text.contains(says) && error.text.contains("pixels = [300, 400]"), "{error}");
        assert!(error.text.contains(&format!("{} x {}", marked_on[0], marked_on[1])), "{error}");
    }
}

#[test]
fn an_error_becomes_a_problem_with_the_same_words() {
    let error = refusal(b"");
    let problem = Problem::from(error.clone());
    assert_eq!((problem.level, problem.code, problem.text), (Level::Error, error.code, error.text));
}

/// A whole file of one of the kinds.
fn whole_files() -> impl Strategy<Value = Vec<u8>> {
    let profile = linear_profile();
    let mut files: Vec<Vec<u8>> = ALL_FORMATS
        .iter()
        .map(|format| encode(&grainy().into(), *format, None, carries_profile(*format).then_some(&profile[..])))
        .collect();
    files.push(encode(&six().into(), ImageFormat::Tiff, None, Some(&profile)));
    files.push(encode(&six().into(), ImageFormat::Jpeg, Some(6), Some(&profile)));
    files.push(encode(&six().into(), ImageFormat::WebP, Some(6), Some(&profile)));
    files.push(from_hex(CMYK));
    files.push(png([2, 1], 1, 3, &[(b"PLTE", &[1; 6]), (b"tRNS", &[255, 102])], &[0, 64]));
    files.push(tiff(3, 2, &[0; 6], &[(274, 3, 1, 6)]));
    proptest::sample::select(files)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, ..ProptestConfig::default() })]

    #[test]
    fn changed_bytes_never_panic(mut file in whole_files(), changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8)) {
        for (place, byte) in changes {
            let place = place.index(file.len());
            file[place] = byte;
        }
        if let Ok((picture, _)) = decode(&file) {
            prop_assert!(picture.width() > 0 && picture.height() > 0);
            picture.pixel(picture.width() - 1, picture.height() - 1);
        }
    }

    #[test]
    fn changed_profiles_never_panic(changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8)) {
        let mut profile = linear_profile();
        for (place, byte) in changes {
            let place = place.index(profile.len());
            profile[place] = byte;
        }
        let mut samples = DynamicImage::from(six());
        profile::to_srgb(&mut samples, &profile);
    }

    #[test]
    fn made_up_bytes_never_panic(kind in 0..8usize, rest in prop::collection::vec(any::<u8>(), 0..600)) {
        let magics: [&[u8]; 8] = [b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"GIF89a", b"RIFF\0\x02\0\0WEBPVP8X", b"II*\0\x08\0\0\0", b"BM", b"MM\0*\0\0\0\x08"];
        let file = [magics[kind], &rest[..]].concat();
        if let Err(error) = decode(&file) {
            prop_assert!(!error.text.is_empty());
        }
    }
}
