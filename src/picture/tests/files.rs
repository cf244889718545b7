//! Small files of every kind, some of them written byte by byte because no encoder makes them.

use std::io::Cursor;

use image::codecs::{jpeg::JpegEncoder, png::PngEncoder, tiff::TiffEncoder, webp::WebPEncoder};
use image::{DynamicImage, ImageEncoder, ImageFormat};

/// Two blocks of 8 x 8: inks C 204, M 51, Y 0, K 26 on the left, bare paper on the right. Stored the Adobe way round,
/// written by an independent imaging library.
pub(super) const CMYK: &str = "\
    ffd8ffee000e41646f626500640000000000ffdb0043000201010101010201010102020202020403020202020504040304060506060605060606\
    070908060709070606080b08090a0a0a0a0a06080b0c0b0a0c090a0a0affc000140800080010044311004d11005911004b1100ffc40018000100\
    0301000000000000000000000000090007080affc40014100100000000000000000000000000000000ffda000e0443004d0059004b00003f0032\
    c981fc328ecc1b311743ffd9";

/// The same colours as [`CMYK`], stored as luma, chroma and black (Adobe transform 2).
pub(super) const YCCK: &str = "\
    ffd8ffee000e41646f626500640000000002ffdb0043000101010101010101010101010101010101010101010101010101010101010101010101\
    0101010101010101010101010101010101010101010101010101010101ffc000140800080010044311004d11005911004b1100ffc40016000101\
    01000000000000000000000000000a0908ffc40014100100000000000000000000000000000000ffda000e0443004d0059004b00003f009ae8ce\
    51065024eb302eeda0ffd9";

pub(super) fn from_hex(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2).map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).expect("hex digits")).collect()
}

/// `picture` in a container, with EXIF and ICC chunks where they are given. JPEG at quality 100.
pub(super) fn encode(picture: &DynamicImage, format: ImageFormat, exif: Option<u8>, icc: Option<&[u8]>) -> Vec<u8> {
    let mut file = Vec::new();
    let dress = |encoder: &mut dyn ImageEncoderParts| {
        if let Some(orientation) = exif {
            encoder.exif(exif_chunk(orientation));
        }
        if let Some(icc) = icc {
            encoder.icc(icc.to_vec());
        }
    };
    let (width, height, colour) = (picture.width(), picture.height(), picture.color().into());
    macro_rules! write {
        ($encoder:expr) => {{
            let mut encoder = $encoder;
            dress(&mut encoder);
            encoder.write_image(picture.as_bytes(), width, height, colour).expect("a vector takes all");
        }};
    }
    match format {
        ImageFormat::Jpeg => write!(JpegEncoder::new_with_quality(&mut file, 100)),
        ImageFormat::Png => write!(PngEncoder::new(&mut file)),
        ImageFormat::WebP => write!(WebPEncoder::new_lossless(&mut file)),
        ImageFormat::Tiff => {
            let mut cursor = Cursor::new(Vec::new());
            write!(TiffEncoder::new(&mut cursor));
            file = cursor.into_inner();
        }
        _ => {
            let mut cursor = Cursor::new(Vec::new());
            picture.write_to(&mut cursor, format).expect("a vector takes all");
            file = cursor.into_inner();
        }
    }
    file
}

trait ImageEncoderParts {
    fn exif(&mut self, chunk: Vec<u8>);
    fn icc(&mut self, profile: Vec<u8>);
}

impl<E: ImageEncoder> ImageEncoderParts for E {
    fn exif(&mut self, chunk: Vec<u8>) {
        self.set_exif_metadata(chunk).expect("this container carries EXIF");
    }
    fn icc(&mut self, profile: Vec<u8>) {
        self.set_icc_profile(profile).expect("this container carries a profile");
    }
}

/// Nothing but the orientation tag (Exif 2.32, 4.6.4 A: tag 274, a SHORT), little endian.
fn exif_chunk(orientation: u8) -> Vec<u8> {
    let mut chunk = b"II*\0\x08\0\0\0".to_vec();
    chunk.extend_from_slice(&directory(&[(274, 3, 1, u32::from(orientation))]));
    chunk
}

fn directory(entries: &[(u16, u16, u32, u32)]) -> Vec<u8> {
    let mut out = u16::try_from(entries.len()).expect("few tags").to_le_bytes().to_vec();
    for (tag, kind, count, value) in entries {
        out.extend_from_slice(&tag.to_le_bytes());
        out.extend_from_slice(&kind.to_le_bytes());
        out.extend_from_slice(&count.to_le_bytes());
        out.extend_from_slice(&value.to_le_bytes());
    }
    out.extend_from_slice(&[0; 4]);
    out
}

/// A grey 8 bit TIFF of one uncompressed strip, with further SHORT or LONG tags.
pub(super) fn tiff(width: u32, height: u32, samples: &[u8], more: &[(u16, u16, u32, u32)]) -> Vec<u8> {
    let length = u32::try_from(samples.len()).expect("small");
    let mut entries = vec![
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, 8),
        (277, 3, 1, 1),
        (278, 4, 1, height),
        (279, 4, 1, length),
    ];
    entries.extend_from_slice(more);
    entries.sort_unstable();
    let mut file = b"II*\0".to_vec();
    file.extend_from_slice(&(8 + length).to_le_bytes());
    file.extend_from_slice(samples);
    file.extend_from_slice(&directory(&entries));
    file
}

/// A PNG (ISO/IEC 15948) of any depth and colour kind; each row is led by its filter byte, the stream is stored.
pub(super) fn png(size: [u32; 2], depth: u8, kind: u8, before_data: &[(&[u8; 4], &[u8])], rows: &[u8]) -> Vec<u8> {
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |name: &[u8; 4], data: &[u8]| {
        file.extend_from_slice(&u32::try_from(data.len()).expect("small").to_be_bytes());
        let body = [name.as_slice(), data].concat();
        file.extend_from_slice(&body);
        file.extend_from_slice(&crc32(&body).to_be_bytes());
    };
    let header = [&size[0].to_be_bytes()[..], &size[1].to_be_bytes()[..], &[depth, kind, 0, 0, 0]].concat();
    chunk(b"IHDR", &header);
    for (name, data) in before_data {
        chunk(name, data);
    }
    let length = u16::try_from(rows.len()).expect("one stored block");
    let mut stream = vec![0x78, 0x01, 0x01];
    stream.extend_from_slice(&length.to_le_bytes());
    stream.extend_from_slice(&(!length).to_le_bytes());
    stream.extend_from_slice(rows);
    stream.extend_from_slice(&adler32(rows).to_be_bytes());
    chunk(b"IDAT", &stream);
    chunk(b"IEND", &[]);
    file
}

fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 })
    })
}

fn adler32(bytes: &[u8]) -> u32 {
    let (a, b) = bytes.iter().fold((1u32, 0u32), |(a, b), byte| {
        let a = (a + u32::from(*byte)) % 65521;
        (a, (b + a) % 65521)
    });
    (b << 16) | a
}
