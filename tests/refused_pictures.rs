//! Pictures that cannot be used, and rare ones that can, through the whole program.

use std::fs;
use std::io::Cursor;
use std::path::PathBuf;

use assert_cmd::Command;
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, GrayAlphaImage, GrayImage, ImageBuffer, ImageEncoder, ImageFormat, Luma, LumaA, RgbImage};
use kurbo::{ParamCurve, ParamCurveNearest, PathSeg};
use spanwright::build_file::{Source, read};
use tempfile::TempDir;

const SIZE: [u32; 2] = [200, 160];

/// A folder with one picture and a build file that traces it.
struct Scene {
    folder: TempDir,
    picture: String,
}

struct Output {
    code: Option<i32>,
    told: String,
}

impl Scene {
    fn new(picture: &str, bytes: &[u8], pixels: [u32; 2]) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        fs::write(folder.path().join(picture), bytes).expect("written");
        let text = format!(
            "[build]\nname = \"Beacon board\"\n\n[picture.front]\nfile   = \"{picture}\"\npixels = {pixels:?}\nlight  = \
             \"drawing\"\n\n[size]\nfrom     = \"finished\"\nfinished = \"1 m\"\n\n[[piece]]\nname    = \
             \"board\"\npicture = \"front\"\ntrace   = \"plain ground\"\n"
        );
        fs::write(folder.path().join("board.toml"), text).expect("written");
        Self { folder, picture: picture.to_owned() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn text(&self) -> String {
        fs::read_to_string(self.path("board.toml")).expect("there")
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut program = Command::new(env!("CARGO_BIN_EXE_spanwright"));
        let run = program.args(arguments).current_dir(self.folder.path()).output().expect("it runs");
        Output { code: run.status.code(), told: String::from_utf8(run.stderr).expect("text") }
    }

    /// `check`, `make` and `trace` refuse the picture with `words`, told of the value that follows `key`, and write nothing.
    #[track_caller]
    fn refuses(&self, key: &str, words: &str) {
        let before = self.text();
        let (line, column) = (1..)
            .zip(before.lines())
            .find_map(|(number, line)| line.starts_with(key).then(|| (number, line.find("= ").expect("a value") + 3)))
            .expect("the key is there");
        let start = format!("board.toml:{line}:{column}: error: ");
        for arguments in
            [&["check", "board.toml"][..], &["make", "board.toml", "--out", "out"], &["trace", "board.toml"]]
        {
            let Output { code, told } = self.run(arguments);
            let error = told.lines().find(|line| line.contains(": error: ")).unwrap_or_else(|| panic!("{told}"));
            assert!(
                error.starts_with(&start) && error.contains(words),
                "{arguments:?}\nwanted: {start}… {words}\n{told}"
            );
            assert_eq!((code, self.text() == before), (Some(1), true), "{told}");
        }
        assert_eq!(self.files().len(), 2, "something was written");
    }

    /// `new` refuses the picture with `words` and writes nothing.
    #[track_caller]
    fn new_refuses(&self, words: &str) {
        let Output { code, told } = self.run(&["new", &self.picture, "--finished", "1 m"]);
        assert!(told.starts_with(&format!("error: {}: ", self.picture)) && told.contains(words), "{words}: {told}");
        assert_eq!((code, self.files().len()), (Some(1), 2), "{told}");
    }

    fn files(&self) -> Vec<String> {
        let all = fs::read_dir(self.folder.path()).expect("a folder");
        let mut names: Vec<_> = all.map(|it| it.expect("listed").file_name().to_string_lossy().into_owned()).collect();
        names.sort_unstable();
        names
    }

    /// The outline that `trace` puts into the build file.
    #[track_caller]
    fn outline(&self) -> Vec<PathSeg> {
        let Output { code, told } = self.run(&["trace", "board.toml"]);
        assert_eq!(code, Some(0), "{}: {told}", self.picture);
        let build = read(&self.text()).build.expect("still a build file");
        let Source::Outline(path) = &build.pieces[0].source.value else { panic!("no outline was put in") };
        path.raw().segments().collect()
    }
}

/// How far each outline strays from the other, in pixels.
fn apart(a: &[PathSeg], b: &[PathSeg]) -> f64 {
    let far = |from: &[PathSeg], to: &[PathSeg]| {
        let places = from.iter().flat_map(|segment| (0..16).map(|step| segment.eval(f64::from(step) / 16.0)));
        let near = |at| to.iter().map(|segment| segment.nearest(at, 1e-4).distance_sq).fold(f64::INFINITY, f64::min);
        places.map(near).fold(0.0, f64::max).sqrt()
    };
    far(a, b).max(far(b, a))
}

/// How much of a pixel the beacon board covers: a slanted board with a round top, no two of its sides alike.
fn cover([x, y]: [u32; 2]) -> f64 {
    const STEPS: u32 = 8;
    let inside = |x: f64, y: f64| {
        let board = x > 40.3 + 0.1 * y && x < 150.7 - 0.2 * (y - 60.0) && y > 60.0 && y < 139.6;
        board || (x - 98.4).hypot(y - 60.0) < 37.7
    };
    let part = |step: u32| (f64::from(step) + 0.5) / f64::from(STEPS);
    let hits = (0..STEPS * STEPS).filter(|i| inside(f64::from(x) + part(i % STEPS), f64::from(y) + part(i / STEPS)));
    hits.count() as f64 / f64::from(STEPS * STEPS)
}

/// A dark board on a light ground.
fn shade(at: [u32; 2]) -> f64 {
    0.9 - 0.7 * cover(at)
}

fn byte(level: f64) -> u8 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 255")]
    let byte = (level * 255.0).round() as u8;
    byte
}

fn word(level: f64) -> u16 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 65535")]
    let word = (level * 65535.0).round() as u16;
    word
}

fn plain() -> GrayImage {
    GrayImage::from_fn(SIZE[0], SIZE[1], |x, y| Luma([byte(shade([x, y]))]))
}

fn encoded(picture: impl Into<DynamicImage>, format: ImageFormat) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    picture.into().write_to(&mut file, format).expect("a vector takes all");
    file.into_inner()
}

fn jpeg(picture: &GrayImage) -> Vec<u8> {
    let mut file = Vec::new();
    JpegEncoder::new_with_quality(&mut file, 95).encode_image(picture).expect("a vector takes all");
    file
}

fn colour() -> RgbImage {
    DynamicImage::from(plain()).to_rgb8()
}

/// A chunk of a PNG (ISO/IEC 15948, 5.3) with its checksum.
fn chunk(name: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let body = [name.as_slice(), data].concat();
    let crc = !body.iter().fold(!0u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 })
    });
    let length = u32::try_from(data.len()).expect("small");
    [&length.to_be_bytes()[..], &body, &crc.to_be_bytes()].concat()
}

/// A PNG with another header and a further chunk behind it.
fn with_chunks(png: &[u8], header: &[u8], more: &[u8]) -> Vec<u8> {
    // The header is the 25 bytes behind the 8 of the signature.
    [&png[..8], &chunk(b"IHDR", header), more, &png[33..]].concat()
}

fn header(size: [u32; 2], kind: u8) -> Vec<u8> {
    [&size[0].to_be_bytes()[..], &size[1].to_be_bytes(), &[8, kind, 0, 0, 0]].concat()
}

/// The grey levels of the plain picture as numbers of a palette.
fn palette() -> Vec<u8> {
    let greys: Vec<u8> = (0..=255).flat_map(|level| [level; 3]).collect();
    with_chunks(&encoded(plain(), ImageFormat::Png), &header(SIZE, 3), &chunk(b"PLTE", &greys))
}

/// Nothing but the orientation (Exif 2.32, 4.6.4 A: tag 274, one SHORT), big endian.
fn exif(orientation: u8) -> Vec<u8> {
    [b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".as_slice(), &[orientation, 0, 0, 0, 0, 0, 0]].concat()
}

/// The plain picture as a camera stores it that was held so that `orientation` turns it upright (Exif 2.32, 4.6.4 A).
fn stored(orientation: u8) -> GrayImage {
    let upright = plain();
    let ([w, h], turned) = (SIZE, orientation > 4);
    let (width, height) = if turned { (h, w) } else { (w, h) };
    GrayImage::from_fn(width, height, |column, row| {
        // The first row is the visual side named first, the first column the one named second.
        let (x, y) = match orientation {
            1 => (column, row),                 // top, left
            2 => (w - 1 - column, row),         // top, right
            3 => (w - 1 - column, h - 1 - row), // bottom, right
            4 => (column, h - 1 - row),         // bottom, left
            5 => (row, column),                 // left, top
            6 => (w - 1 - row, column),         // right, top
            7 => (w - 1 - row, h - 1 - column), // right, bottom
            _ => (row, h - 1 - column),         // left, bottom
        };
        *upright.get_pixel(x, y)
    })
}

/// The position, marker and content of each segment up to the first scan (ITU-T T.81, B.1.1).
fn segments(jpeg: &[u8]) -> (Vec<(u8, &[u8])>, &[u8]) {
    let (mut all, mut at) = (Vec::new(), 2);
    loop {
        let length = usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        all.push((jpeg[at + 1], &jpeg[at + 4..at + 2 + length]));
        at += 2 + length;
        if all.last().is_some_and(|(marker, _)| *marker == 0xda) {
            return (all, &jpeg[at..jpeg.len() - 2]);
        }
    }
}

fn segment(marker: u8, content: &[u8]) -> Vec<u8> {
    let length = u16::try_from(content.len() + 2).expect("short");
    [&[0xff, marker][..], &length.to_be_bytes(), content].concat()
}

/// A JPEG in four inks, put together from grey ones: black is the picture, the other inks are none. Adobe counts the
/// light that an ink leaves, and each component may have a scan of its own (ITU-T T.81, A.2).
fn inks() -> Vec<u8> {
    let (black, none) = (jpeg(&plain()), jpeg(&GrayImage::from_pixel(SIZE[0], SIZE[1], Luma([255]))));
    let ((parts, drawn), (_, bare)) = (segments(&black), segments(&none));
    let mut file = vec![0xff, 0xd8];
    file.extend(segment(0xee, b"Adobe\0\x64\0\0\0\0\0"));
    for (marker, content) in parts.iter().filter(|(marker, _)| matches!(marker, 0xc0 | 0xc4 | 0xdb)) {
        let four = [&content[..5], &[4], &[1u8, 2, 3, 4].map(|ink| [ink, 0x11, 0]).concat()].concat();
        file.extend(segment(*marker, if *marker == 0xc0 { &four } else { content }));
    }
    for (ink, scan) in [(1, bare), (2, bare), (3, bare), (4, drawn)] {
        file.extend(segment(0xda, &[1, ink, 0, 0, 63, 0]));
        file.extend(scan);
    }
    file.extend([0xff, 0xd9]);
    file
}

/// The plain picture in proportion to the light, with a profile that says so.
fn linear() -> Vec<u8> {
    let to_linear = |level: f64| if level <= 0.04045 { level / 12.92 } else { ((level + 0.055) / 1.055).powf(2.4) };
    let samples: ImageBuffer<image::Rgb<u16>, Vec<u16>> =
        ImageBuffer::from_fn(SIZE[0], SIZE[1], |x, y| image::Rgb([word(to_linear(shade([x, y]))); 3]));
    let mut profile = moxcms::ColorProfile::new_srgb();
    let straight = Some(moxcms::ToneReprCurve::Lut(vec![]));
    (profile.red_trc, profile.green_trc, profile.blue_trc) = (straight.clone(), straight.clone(), straight);
    // Else the code of sRGB in the profile speaks louder than its curves.
    profile.cicp = None;
    let mut file = Vec::new();
    let mut encoder = image::codecs::png::PngEncoder::new(&mut file);
    encoder.set_icc_profile(profile.encode().expect("a profile")).expect("PNG carries profiles");
    let picture = DynamicImage::from(samples);
    encoder.write_image(picture.as_bytes(), SIZE[0], SIZE[1], picture.color().into()).expect("a vector takes all");
    file
}

#[test]
fn the_same_shape_is_traced_from_every_kind_of_picture() {
    const LOSSLESS: f64 = 0.1;
    const LOSSY: f64 = 0.3;
    let [w, h] = SIZE;
    let png = |picture: DynamicImage| encoded(picture, ImageFormat::Png);
    let mut files: Vec<(String, Vec<u8>, f64)> = vec![
        ("grey 16.png".into(), png(ImageBuffer::from_fn(w, h, |x, y| Luma([word(shade([x, y]))])).into()), LOSSLESS),
        (
            "colour 16.png".into(),
            png(ImageBuffer::from_fn(w, h, |x, y| image::Rgb([word(shade([x, y])); 3])).into()),
            LOSSLESS,
        ),
        ("palette.png".into(), palette(), LOSSLESS),
        // The colour under the alpha tells nothing.
        (
            "cut out.png".into(),
            png(GrayAlphaImage::from_fn(w, h, |x, y| LumaA([60, byte(cover([x, y]))])).into()),
            LOSSLESS,
        ),
        ("profile.png".into(), linear(), LOSSLESS),
        ("plain.webp".into(), encoded(colour(), ImageFormat::WebP), LOSSLESS),
        ("plain.tiff".into(), encoded(plain(), ImageFormat::Tiff), LOSSLESS),
        ("plain.bmp".into(), encoded(colour(), ImageFormat::Bmp), LOSSLESS),
        ("plain.gif".into(), encoded(colour(), ImageFormat::Gif), LOSSLESS),
        // What a file is, its first bytes tell.
        ("a PNG in truth.jpg".into(), png(plain().into()), LOSSLESS),
        ("grey.jpg".into(), jpeg(&plain()), LOSSY),
        ("inks.jpg".into(), inks(), LOSSY),
    ];
    for orientation in 1..=8 {
        let (jpeg, png) = (jpeg(&stored(orientation)), png(stored(orientation).into()));
        let app1 = segment(0xe1, &[b"Exif\0\0", &exif(orientation)[..]].concat());
        files.push((format!("turned {orientation}.jpg"), [&jpeg[..2], &app1, &jpeg[2..]].concat(), LOSSY));
        let png = with_chunks(&png, &png[16..29], &chunk(b"eXIf", &exif(orientation)));
        files.push((format!("turned {orientation}.png"), png, LOSSLESS));
    }
    let truth = Scene::new("plain.png", &png(plain().into()), SIZE).outline();
    assert!(truth.len() > 4, "the plain picture gives the whole board");
    for (name, bytes, allowed) in files {
        let off = apart(&Scene::new(&name, &bytes, SIZE).outline(), &truth);
        assert!(off < allowed, "{name} is {off} px off");
    }
}

#[test]
fn a_picture_that_shows_nothing_is_refused_where_it_is_to_be_traced() {
    let grey = |w, h| encoded(GrayImage::from_pixel(w, h, Luma([128])), ImageFormat::Png);
    let clear = GrayAlphaImage::from_pixel(SIZE[0], SIZE[1], LumaA([255, 0]));
    for (bytes, size, words) in [
        (grey(1, 1), [1, 1], "1 × 1 px is too small to trace; use one of at least 8 px"),
        (grey(1, 20_000), [1, 20_000], "1 × 20000 px is too small to trace"),
        (grey(20_000, 1), [20_000, 1], "20000 × 1 px is too small to trace"),
        (encoded(GrayImage::from_pixel(200, 160, Luma([255])), ImageFormat::Png), SIZE, "one colour; use a picture in"),
        (encoded(clear, ImageFormat::Png), SIZE, "one colour; use a picture in which"),
    ] {
        let scene = Scene::new("board.png", &bytes, size);
        scene.refuses("trace", words);
        scene.new_refuses(words);
    }
}

#[test]
fn a_file_that_is_no_whole_picture_is_refused_where_it_is_named() {
    let png = encoded(plain(), ImageFormat::Png);
    let half = |file: &[u8]| file[..file.len() / 2].to_vec();
    let bomb = with_chunks(&png, &header([60_000, 60_000], 6), &[]);
    let cut = "copy it again from where it came";
    for (name, bytes, words) in [
        ("half.jpg", half(&jpeg(&plain())), cut),
        ("half.png", half(&png), cut),
        ("half.gif", half(&encoded(colour(), ImageFormat::Gif)), cut),
        ("half.webp", half(&encoded(colour(), ImageFormat::WebP)), cut),
        ("half.tiff", half(&encoded(plain(), ImageFormat::Tiff)), cut),
        ("half.bmp", half(&encoded(colour(), ImageFormat::Bmp)), cut),
        ("empty.png", Vec::new(), "the file is empty (0 bytes): copy it again"),
        ("letter.png", b"The lamp burns by night.\n".to_vec(), "JPEG, PNG, WebP, TIFF, BMP and GIF are read"),
        ("bomb.png", bomb, "says it is 60000 x 60000 pixels, 3600 megapixels; at most 100 are taken: crop"),
        ("phone.heic", b"\0\0\0\x18ftypheic\0\0\0\0".to_vec(), "a HEIC photo, which cannot be read here: on the phone"),
        ("board.avif", b"\0\0\0\x18ftypavif\0\0\0\0".to_vec(), "an AVIF picture, which cannot be read here"),
        ("board.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>".to_vec(), "an SVG drawing"),
        ("page.pdf", b"%PDF-1.7\n".to_vec(), "a PDF, which cannot be read here: export the page as PNG"),
    ] {
        let scene = Scene::new(name, &bytes, SIZE);
        scene.refuses("file", words);
        scene.new_refuses(words);
    }
}

#[test]
fn a_picture_of_another_size_than_its_marks_is_refused_where_the_size_stands() {
    for (pixels, words) in [
        ([400, 320], "the picture is 200 x 160 pixels, the marks were made on 400 x 320: it seems to have been saved"),
        ([160, 200], "it seems to have been turned; put the former file back"),
        ([200, 170], "it seems to have been cropped, or to be another picture"),
    ] {
        Scene::new("board.png", &encoded(plain(), ImageFormat::Png), pixels).refuses("pixels", words);
    }
}

#[test]
fn the_largest_picture_goes_through_whole() {
    const SIDE: u32 = 10_000;
    let mut large = GrayImage::from_pixel(SIDE, SIDE, Luma([230]));
    for (x, y) in (0..3000).flat_map(|x| (0..4000).map(move |y| (x, y))) {
        large.put_pixel(2000 + x, 5000 + y, Luma([50]));
    }
    let scene = Scene::new("large.png", &encoded(large, ImageFormat::Png), [SIDE; 2]);
    let Output { code, told } = scene.run(&["check", "board.toml"]);
    assert_eq!(code, Some(0), "{told}");
    let corners = scene.outline().iter().map(|segment| segment.start()).collect::<Vec<_>>();
    for corner in [(2000.0, 5000.0), (5000.0, 5000.0), (5000.0, 9000.0), (2000.0, 9000.0)] {
        assert!(corners.iter().any(|at| at.distance(corner.into()) < 0.1), "{corner:?} is not among {corners:?}");
    }
}
