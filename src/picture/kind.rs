//! First bytes of a file → what kind of file it is, whatever its name says.

use image::ImageFormat;

use super::PictureError;

/// What a maker does with a photo that only its phone or camera can read.
const FROM_PHONE: &str = "on the phone, share it as JPEG (or set the camera to \"most compatible\")";
const FROM_CAMERA: &str = "open it in the camera's program and export it as JPEG or 16 bit TIFF";
const FROM_PROGRAM: &str = "open it in the program that made it and export it as PNG";

/// The kind of picture that `bytes` holds, if it is one of those that are read.
///
/// # Errors
/// Nothing in it, a kind that is known but not read, or an unknown one; each says what to do next.
pub(super) fn recognise(bytes: &[u8]) -> Result<ImageFormat, PictureError> {
    if bytes.is_empty() {
        return Err(PictureError::new(
            "picture_empty",
            "the file is empty (0 bytes): copy it again from where it came",
        ));
    }
    if let Some((what, next)) = refused(bytes) {
        return Err(PictureError::new("picture_kind", format!("this is {what}, which cannot be read here: {next}")));
    }
    readable(bytes).ok_or_else(|| {
        let first = bytes.iter().take(8).map(|byte| format!("{byte:02x}")).collect::<Vec<_>>().join(" ");
        PictureError::new(
            "picture_kind",
            format!(
                "this is no picture of a known kind (it begins with {first}): JPEG, PNG, WebP, TIFF, BMP and GIF are \
                 read, so open it in a picture program and save it as one of them"
            ),
        )
    })
}

fn readable(bytes: &[u8]) -> Option<ImageFormat> {
    let starts = |magic: &[u8]| bytes.starts_with(magic);
    Some(match bytes {
        _ if starts(b"\xff\xd8\xff") => ImageFormat::Jpeg,
        _ if starts(b"\x89PNG\r\n\x1a\n") => ImageFormat::Png,
        _ if starts(b"GIF87a") || starts(b"GIF89a") => ImageFormat::Gif,
        _ if starts(b"RIFF") && at(bytes, 8, b"WEBP") => ImageFormat::WebP,
        _ if starts(b"II*\0") || starts(b"MM\0*") || starts(b"II+\0") || starts(b"MM\0+") => ImageFormat::Tiff,
        _ if starts(b"BM") => ImageFormat::Bmp,
        _ => return None,
    })
}

/// What the file is and what to do with it, for kinds that are known but not read.
fn refused(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    let starts = |magic: &[u8]| bytes.starts_with(magic);
    Some(match bytes {
        _ if at(bytes, 4, b"ftyp") => return media(bytes),
        _ if is_raw(bytes) => ("a camera's raw file", FROM_CAMERA),
        _ if starts(b"%PDF") => ("a PDF", "export the page as PNG at 300 dpi, or take a picture of the screen"),
        _ if starts(b"%!PS") => ("a PostScript drawing", FROM_PROGRAM),
        _ if starts(b"8BPS") || starts(b"gimp xcf") => ("a layered drawing", FROM_PROGRAM),
        _ if starts(b"\xff\x0a") || starts(b"\0\0\0\x0cJXL ") => ("a JPEG XL picture", FROM_PROGRAM),
        _ if starts(b"\0\0\0\x0cjP  ") || starts(b"\xff\x4f\xff\x51") => ("a JPEG 2000 picture", FROM_PROGRAM),
        _ if starts(b"\x1a\x45\xdf\xa3") || starts(b"\0\0\x01\xba") || (starts(b"RIFF") && at(bytes, 8, b"AVI ")) => {
            ("a video", "pause it at the best view and save that frame as a picture")
        }
        _ if starts(b"PK\x03\x04") => ("a packed folder or document", "unpack it and use the picture inside"),
        _ => return text(bytes),
    })
}

/// Files of the ISO base media family (ISO/IEC 14496-12) tell their kind by the brand after `ftyp`.
fn media(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    Some(match bytes.get(8..12)? {
        b"avif" | b"avis" => ("an AVIF picture", FROM_PROGRAM),
        b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" | b"mif1" | b"msf1" => ("a HEIC photo", FROM_PHONE),
        b"crx " => ("a camera's raw file", FROM_CAMERA),
        _ => ("a video", "pause it at the best view and save that frame as a picture"),
    })
}

fn text(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    let head = String::from_utf8_lossy(&bytes[..bytes.len().min(1024)]).to_lowercase();
    let head = head.trim_start_matches(['\u{feff}', ' ', '\t', '\r', '\n']);
    if !head.starts_with('<') {
        return None;
    }
    if head.contains("<svg") {
        let next = "name it in a piece with `svg = \"FILE#ID\"`, or export it as PNG to mark on it";
        return Some(("an SVG drawing", next));
    }
    let page = head.starts_with("<!doctype html") || head.starts_with("<html");
    page.then_some(("a web page", "open it in a browser and save the picture itself"))
}

/// Raw files have marks of their own, or are TIFFs whose first picture is a thumbnail or that name a DNG version:
/// read as plain TIFF, they would pass for a tiny picture.
fn is_raw(bytes: &[u8]) -> bool {
    const MAGICS: [&[u8]; 8] =
        [b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FOVb", b"\0MRM", b"II\x1a\0\0\0HEAPCCDR"];
    MAGICS.iter().any(|magic| bytes.starts_with(magic))
        || (bytes.starts_with(b"II*\0") && at(bytes, 8, b"CR\x02"))
        || is_raw_tiff(bytes).unwrap_or(false)
}

/// Reads the tags of the first directory (TIFF 6.0, section 2). `None`: no TIFF, or cut short.
fn is_raw_tiff(bytes: &[u8]) -> Option<bool> {
    const NEW_SUBFILE_TYPE: u16 = 254;
    const SUB_IFDS: u16 = 330;
    const DNG_VERSION: u16 = 50706;
    let little = match bytes.get(..4)? {
        b"II*\0" => true,
        b"MM\0*" => false,
        _ => return None,
    };
    let short = |offset: usize| {
        let pair = bytes.get(offset..offset.checked_add(2)?)?.try_into().ok()?;
        Some(if little { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) })
    };
    let long = |offset: usize| {
        let four = bytes.get(offset..offset.checked_add(4)?)?.try_into().ok()?;
        Some(if little { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) })
    };
    let directory = usize::try_from(long(4)?).ok()?;
    let (mut thumbnail, mut others) = (false, false);
    for entry in 0..usize::from(short(directory)?) {
        let offset = directory.checked_add(2 + entry * 12)?;
        match short(offset)? {
            DNG_VERSION => return Some(true),
            NEW_SUBFILE_TYPE => thumbnail = long(offset + 8)? & 1 == 1,
            SUB_IFDS => others = true,
            _ => {}
        }
    }
    Some(thumbnail && others)
}

fn at(bytes: &[u8], offset: usize, magic: &[u8]) -> bool {
    bytes.get(offset..).is_some_and(|rest| rest.starts_with(magic))
}
