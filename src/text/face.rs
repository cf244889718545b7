//! The two faces that every sheet is set in.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use kurbo::{Affine, BezPath};

/// DejaVu Sans: free to embed, and wide in its coverage.
pub static REGULAR: LazyLock<Face> = LazyLock::new(|| Face::new("DejaVuSans", dejavu::sans::regular()));
/// DejaVu Sans Bold.
pub static BOLD: LazyLock<Face> = LazyLock::new(|| Face::new("DejaVuSans-Bold", dejavu::sans::bold()));

/// A face whose letters can be measured, drawn and embedded.
pub struct Face {
    name: &'static str,
    data: &'static [u8],
    face: ttf_parser::Face<'static>,
    /// Of the ASCII characters, which are measured most.
    advances: Vec<u16>,
}

/// The part of a face that a document needs.
pub struct Subset {
    /// A font file with nothing but the glyphs asked for, numbered anew.
    pub data: Vec<u8>,
    /// Character → glyph number in `data`.
    pub glyphs: BTreeMap<u32, u16>,
    /// Glyph number in `data` → advance in font units.
    pub advances: BTreeMap<u16, u16>,
}

impl Face {
    fn new(name: &'static str, data: &'static [u8]) -> Self {
        let face = ttf_parser::Face::parse(data, 0).expect("the embedded font is whole");
        let mut face = Self { name, data, face, advances: Vec::new() };
        face.advances = ('\0'..='\x7f').map(|c| face.looked_up(c)).collect();
        face
    }

    /// PostScript name.
    pub const fn name(&self) -> &'static str {
        self.name
    }

    /// Font units in one em.
    pub fn units_per_em(&self) -> u16 {
        self.face.units_per_em()
    }

    /// Ascender and descender (negative) in font units.
    pub fn vertical_extent(&self) -> (i16, i16) {
        (self.face.ascender(), self.face.descender())
    }

    /// Smallest box around all glyphs, in font units: left, bottom, right, top.
    pub fn bounding_box(&self) -> [i16; 4] {
        let b = self.face.global_bounding_box();
        [b.x_min, b.y_min, b.x_max, b.y_max]
    }

    /// Height of a capital letter set in `size`, in the unit of `size`.
    pub fn cap_height(&self, size: f64) -> f64 {
        f64::from(self.face.capital_height().unwrap_or(1493)) * size / f64::from(self.units_per_em())
    }

    /// Advance width of `text` set in `size`, in the unit of `size`. Characters that the face lacks show as
    /// question marks.
    pub fn width(&self, text: &str, size: f64) -> f64 {
        let units: u32 = text.chars().map(|c| u32::from(self.advance(c))).sum();
        f64::from(units) * size / f64::from(self.units_per_em())
    }

    /// The characters of `text` that this face cannot show, each once.
    pub fn missing(&self, text: &str) -> BTreeSet<char> {
        text.chars().filter(|&c| self.face.glyph_index(c).is_none()).collect()
    }

    /// The outline of `text` set in `size`, from the left end of its base line at the origin, y down.
    pub fn outline(&self, text: &str, size: f64) -> BezPath {
        let scale = size / f64::from(self.units_per_em());
        let (mut path, mut x) = (BezPath::new(), 0.0);
        for c in text.chars() {
            let mut pen = Pen(BezPath::new());
            self.face.outline_glyph(self.glyph(c), &mut pen);
            path.extend(Affine::new([scale, 0.0, 0.0, -scale, x, 0.0]) * pen.0);
            x += f64::from(self.advance(c)) * scale;
        }
        path
    }

    /// A font file with just the glyphs of `chars`. The glyph numbers depend only on `chars`.
    pub fn subset(&self, chars: &BTreeSet<char>) -> Subset {
        let mut remapper = subsetter::GlyphRemapper::new();
        let glyphs: BTreeMap<u32, u16> =
            chars.iter().map(|&c| (u32::from(c), remapper.remap(self.glyph(c).0))).collect();
        let advances = chars.iter().filter_map(|&c| Some((*glyphs.get(&u32::from(c))?, self.advance(c)))).collect();
        let data = subsetter::subset(self.data, 0, &remapper).expect("the embedded font can be subset");
        Subset { data, glyphs, advances }
    }

    fn advance(&self, c: char) -> u16 {
        self.advances.get(c as usize).copied().unwrap_or_else(|| self.looked_up(c))
    }

    fn looked_up(&self, c: char) -> u16 {
        self.face.glyph_hor_advance(self.glyph(c)).unwrap_or_default()
    }

    /// The glyph of `c`; that of a question mark where the face has none, never an empty box.
    fn glyph(&self, c: char) -> ttf_parser::GlyphId {
        self.face.glyph_index(c).or_else(|| self.face.glyph_index('?')).unwrap_or_default()
    }
}

/// Collects a glyph's outline.
struct Pen(BezPath);

impl ttf_parser::OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.move_to((f64::from(x), f64::from(y)));
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.0.line_to((f64::from(x), f64::from(y)));
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.0.quad_to((f64::from(x1), f64::from(y1)), (f64::from(x), f64::from(y)));
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.0.curve_to((f64::from(x1), f64::from(y1)), (f64::from(x2), f64::from(y2)), (f64::from(x), f64::from(y)));
    }
    fn close(&mut self) {
        self.0.close_path();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_width_is_the_sum_of_its_letters() {
        let apart = REGULAR.width("A", 10.0) + REGULAR.width("B", 10.0);
        assert!((REGULAR.width("AB", 10.0) - apart).abs() < 1e-9);
        // 1401/2048 em: the advance of A in the face's own hmtx table.
        assert!((REGULAR.width("A", 2048.0) - 1401.0).abs() < 1e-9);
    }

    #[test]
    fn letters_that_the_face_lacks_are_named() {
        assert_eq!(REGULAR.missing("vane \u{1F9AD} head"), BTreeSet::from(['\u{1F9AD}']));
        assert!(REGULAR.missing("Łódź, Ärmel, σ ≥ 3").is_empty());
    }

    #[test]
    fn a_subset_holds_each_letter_once_and_is_small() {
        let chars = "TOP 123".chars().collect();
        let subset = REGULAR.subset(&chars);
        assert_eq!(subset.glyphs.len(), 7);
        assert!(subset.data.len() < 20_000, "{} bytes", subset.data.len());
        assert_eq!(subset.advances[&subset.glyphs[&u32::from('T')]], 1251);
    }

    #[test]
    fn a_capital_stands_on_the_base_line_and_reaches_the_cap_height() {
        use kurbo::Shape as _;
        let bounds = BOLD.outline("H", 20.0).bounding_box();
        assert!(bounds.y1.abs() < 1e-6 && (bounds.y0 + BOLD.cap_height(20.0)).abs() < 0.05, "{bounds:?}");
    }
}
