//! What the JPEG decoder does not tell: whether the file is whole, and whether it is in printing inks.
//!
//! Markers after ITU-T T.81, table B.1. The decoder fills a shortened file with grey instead of complaining.

use super::PictureError;
use super::decode::cut_short;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Jpeg {
    /// Four components: C, M, Y and K.
    pub(super) inks: bool,
}

/// Walks over the segments up to the first scan, then looks for the end marker behind it.
///
/// # Errors
/// A file that ends before its end marker; inks without the Adobe segment that says which way they count.
pub(super) fn inspect(bytes: &[u8]) -> Result<Jpeg, PictureError> {
    let cut = || cut_short("JPEG", bytes.len());
    let (mut jpeg, mut adobe) = (Jpeg::default(), false);
    let mut at = 2;
    loop {
        let marker = match bytes.get(at..at + 2).ok_or_else(cut)? {
            // Any marker may be led by fill bytes.
            [0xff, 0xff] => {
                at += 1;
                continue;
            }
            [0xff, marker] => *marker,
            // Not a marker: the decoder knows better how to go on, or says what is wrong.
            _ => return Ok(jpeg),
        };
        let length = bytes.get(at + 2..at + 4).ok_or_else(cut)?;
        let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
        let segment = bytes.get(at + 4..(at + 2 + length).max(at + 4)).ok_or_else(cut)?;
        match marker {
            0xc4 | 0xc8 | 0xcc => {}
            0xc0..=0xcf => jpeg.inks = segment.get(5) == Some(&4),
            0xee => adobe |= segment.starts_with(b"Adobe"),
            0xda => break,
            _ => {}
        }
        at += 2 + length.max(2);
    }
    if !bytes[at..].windows(2).any(|pair| pair == [0xff, 0xd9]) {
        return Err(cut());
    }
    if jpeg.inks && !adobe {
        return Err(PictureError::new(
            "picture_kind",
            "this JPEG is in printing inks (CMYK) and does not say which way they count: save it as RGB",
        ));
    }
    Ok(jpeg)
}
