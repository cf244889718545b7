//! A document → PDF, through `printpdf`, finished in `lopdf` where `printpdf` has no word for it.
//!
//! Page content stands in hundredths of a millimetre, y down, under one matrix: short numbers, no rounding beyond
//! 0.005 mm. ISO 32000-1 is meant by section numbers.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::hash::{DefaultHasher, Hash, Hasher};

use kurbo::{BezPath, PathEl, Size};
use lopdf::{Dictionary, Object};
use printpdf::{
    Color, CurTransMat, Greyscale, Layer, LayerIntent, LayerInternalId, LayerSubtype, LineCapStyle, LineDashPattern,
    LineJoinStyle, Mm, Op, ParsedFont, PdfDocument, PdfFont, PdfFontHandle, PdfPage, PdfSaveOptions, Pt, TextItem,
    TextMatrix,
};
use rayon::prelude::*;

use crate::drawing::{Class, Drawing, Label, Line, WORDS_GREY};
use crate::space::Page;
use crate::text::{BOLD, Face, REGULAR, Words};

/// A whole document before it is written.
#[derive(Clone, Debug)]
pub struct Document {
    /// Title in its metadata.
    pub title: String,
    /// Date of the build, `2026-05-01`; never the clock.
    pub date: Option<String>,
    /// Its language.
    pub words: &'static Words,
    /// In order.
    pub pages: Vec<Sheetful>,
}

/// One page.
#[derive(Clone, Debug)]
pub struct Sheetful {
    /// In mm.
    pub size: Size,
    /// What is printed, in page mm.
    pub drawing: Drawing<Page>,
    /// Name that a reader program shows for it: "3.2".
    pub label: String,
    /// What its bookmark says.
    pub bookmark: String,
}

/// Units of page content in a millimetre.
const UNITS: f64 = 100.0;

/// The bytes of `document`.
pub fn pdf(document: &Document) -> Vec<u8> {
    let fonts = [Setting::new(&REGULAR, document, false), Setting::new(&BOLD, document, true)];
    let mut doc = PdfDocument::new(&document.title);
    doc.metadata.info.producer = format!("spanwright {}", env!("CARGO_PKG_VERSION"));
    doc.metadata.info.creator = "spanwright".to_owned();
    doc.metadata.info.subject = document.words.subject.to_owned();
    for font in &fonts {
        doc.resources.fonts.map.insert(printpdf::FontId(font.id.to_owned()), PdfFont::new(font.parsed.clone()));
    }
    for (id, name) in layers(document) {
        let layer = Layer {
            name: name.to_owned(),
            creator: "spanwright".to_owned(),
            intent: LayerIntent::Design,
            usage: LayerSubtype::Artwork,
        };
        doc.resources.layers.map.insert(LayerInternalId(id.to_owned()), layer);
    }
    let page = |page: &Sheetful| PdfPage::new(Mm(f32(page.size.width)), Mm(f32(page.size.height)), content(page));
    doc.pages = document.pages.par_iter().map(page).collect();
    for (index, page) in document.pages.iter().enumerate() {
        // Sorted by page, then name: one bookmark a page keeps their order.
        doc.bookmarks.map.insert(
            printpdf::PageAnnotId(format!("{index:06}")),
            printpdf::PageAnnotation { name: page.bookmark.clone(), page: index + 1 },
        );
    }
    let mut warnings = Vec::new();
    // Operators that `printpdf` does not know are those of `strokes`.
    let options = PdfSaveOptions { subset_fonts: false, secure: false, ..PdfSaveOptions::default() };
    let mut file = printpdf::to_lopdf_doc(&doc, &options, &mut warnings);
    finish(&mut file, document);
    let mut bytes = Vec::new();
    file.save_to(&mut bytes).expect("writing to memory does not fail");
    bytes
}

/// From what lies below to what lies above it.
const DRAWN: [Class; 8] = [
    Class::Glue,
    Class::SettingOut,
    Class::Join,
    Class::Placement,
    Class::Fold,
    Class::Score,
    Class::Match,
    Class::Cut,
];

/// The layers of a document: those that every one has, and those of what is drawn in it.
fn layers(document: &Document) -> Vec<(&'static str, &'static str)> {
    let words = document.words;
    let used = |class: &Class| {
        let always = matches!(class, Class::Cut | Class::Join | Class::SettingOut);
        always || document.pages.iter().flat_map(|page| &page.drawing.lines).any(|line| line.class == *class)
    };
    let name = |class: Class| match class {
        Class::Cut => words.layer_cut,
        Class::Score => words.layer_score,
        Class::Fold => words.layer_fold,
        Class::Placement => words.layer_placement,
        Class::Match => words.layer_match,
        Class::Glue => words.layer_glue,
        Class::Join => words.layer_join,
        Class::SettingOut => words.layer_setting_out,
    };
    let classes = DRAWN.into_iter().rev().filter(used).map(|class| (layer(class), name(class)));
    classes.chain([("words", words.layer_words)]).collect()
}

const fn layer(class: Class) -> &'static str {
    match class {
        Class::Cut => "cut",
        Class::Score => "score",
        Class::Fold => "fold",
        Class::Placement => "placement",
        Class::Match => "match",
        Class::Glue => "glue",
        Class::Join => "join",
        Class::SettingOut => "setting-out",
    }
}

/// A face, reduced to what the document says in it.
struct Setting {
    id: &'static str,
    parsed: ParsedFont,
}

impl Setting {
    fn new(face: &Face, document: &Document, bold: bool) -> Self {
        let labels = document.pages.iter().flat_map(|page| &page.drawing.labels).filter(|label| label.bold == bold);
        let mut chars: BTreeSet<char> = labels.flat_map(|label| label.text.chars()).collect();
        // Never empty, so that the font stays whole.
        chars.insert('?');
        let subset = face.subset(&chars);
        let (ascent, descent) = face.vertical_extent();
        let mut parsed = ParsedFont::with_glyph_data(
            subset.data,
            0,
            Some(face.name().to_owned()),
            subset.glyphs,
            subset.advances,
            face.units_per_em(),
            printpdf::FontMetrics { ascent, descent },
        );
        let [x_min, y_min, x_max, y_max] = face.bounding_box();
        let metrics = &mut parsed.pdf_font_metrics;
        (metrics.x_min, metrics.y_min, metrics.x_max, metrics.y_max) = (x_min, y_min, x_max, y_max);
        Self { id: font_id(bold), parsed }
    }
}

const fn font_id(bold: bool) -> &'static str {
    if bold { "DB" } else { "DR" }
}

fn content(page: &Sheetful) -> Vec<Op> {
    let unit = 72.0 / 25.4 / UNITS;
    let top = page.size.height * 72.0 / 25.4;
    let mut ops = vec![
        Op::SaveGraphicsState,
        Op::SetTransformationMatrix { matrix: CurTransMat::Raw([f32(unit), 0.0, 0.0, f32(-unit), 0.0, f32(top)]) },
        Op::SetLineCapStyle { cap: LineCapStyle::Butt },
        Op::SetLineJoinStyle { join: LineJoinStyle::Round },
    ];
    for class in DRAWN {
        let mut lines = page.drawing.lines.iter().filter(|line| line.class == class).peekable();
        if lines.peek().is_none() {
            continue;
        }
        let stroke = class.stroke();
        ops.push(Op::BeginLayer { layer_id: LayerInternalId(layer(class).to_owned()) });
        ops.push(Op::SetOutlineColor { col: grey(stroke.grey) });
        ops.push(Op::SetOutlineThickness { pt: Pt(f32(stroke.width * UNITS)) });
        lines.for_each(|line| stroke_line(line, &mut ops));
        ops.push(Op::EndLayer);
    }
    if !page.drawing.labels.is_empty() {
        ops.push(Op::BeginLayer { layer_id: LayerInternalId("words".to_owned()) });
        ops.push(Op::StartTextSection);
        ops.push(Op::SetFillColor { col: grey(WORDS_GREY) });
        page.drawing.labels.iter().for_each(|label| show(label, &mut ops));
        ops.push(Op::EndTextSection);
        ops.push(Op::EndLayer);
    }
    ops.push(Op::RestoreGraphicsState);
    ops
}

fn grey(level: f64) -> Color {
    Color::Greyscale(Greyscale::new(f32(level), None))
}

fn stroke_line(line: &Line<Page>, ops: &mut Vec<Op>) {
    let dash = |pattern: &[f32]| Op::SetLineDashPattern { dash: LineDashPattern::new(0.0, pattern) };
    if let Some([on, off]) = line.dash {
        ops.push(dash(&[f32(on * UNITS), f32(off * UNITS)]));
    }
    ops.push(Op::Unknown { key: strokes(line.path.raw()), value: Vec::new() });
    if line.dash.is_some() {
        ops.push(dash(&[]));
    }
}

/// The operators that draw `path` (8.5), as they stand. `printpdf` would write every number as a fraction, which takes longer than
/// all else on a page.
fn strokes(path: &BezPath) -> String {
    let mut operators = String::new();
    let mut operator = |name: &str, points: &[kurbo::Point]| {
        for p in points {
            write!(operators, "{} {} ", units(p.x), units(p.y)).expect("a text takes what is written");
        }
        operators.push_str(name);
        operators.push('\n');
    };
    let subpaths = path.elements().chunk_by(|_, next| !matches!(next, PathEl::MoveTo(_)));
    for subpath in subpaths.filter(|subpath| subpath.len() > 1) {
        for el in subpath {
            match *el {
                PathEl::MoveTo(p) => operator("m", &[p]),
                PathEl::LineTo(p) => operator("l", &[p]),
                PathEl::QuadTo(..) => unreachable!("paths hold lines and cubics"),
                PathEl::CurveTo(a, b, p) => operator("c", &[a, b, p]),
                PathEl::ClosePath => operator("h", &[]),
            }
        }
        operator("S", &[]);
    }
    // `printpdf` parts operators itself.
    operators.pop();
    operators
}

#[expect(clippy::cast_possible_truncation, reason = "a page is far below 2^63 units")]
fn units(mm: f64) -> i64 {
    (mm * UNITS).round() as i64
}

fn show(label: &Label<Page>, ops: &mut Vec<Op>) {
    let (sin, cos) = label.turn.to_radians().sin_cos();
    // The page has y down, glyphs have y up: their second axis is flipped back.
    let matrix = [cos, sin, sin, -cos, (label.at.x * UNITS).round(), (label.at.y * UNITS).round()].map(f32);
    let font = PdfFontHandle::External(printpdf::FontId(font_id(label.bold).to_owned()));
    ops.push(Op::SetFont { font, size: Pt(f32(label.size * UNITS)) });
    ops.push(Op::SetTextMatrix { matrix: TextMatrix::Raw(matrix) });
    ops.push(Op::ShowText { items: vec![TextItem::Text(label.text.clone())] });
}

#[expect(clippy::cast_possible_truncation, reason = "the border to printpdf, which counts in f32")]
const fn f32(value: f64) -> f32 {
    value as f32
}

/// What `printpdf` has no word for: no scaling when printed (12.2), page labels (12.4.2), names of layers in any
/// letters, a name for each file that comes from its content (14.4), and no clock.
fn finish(file: &mut lopdf::Document, document: &Document) {
    let root = file.trailer.get(b"Root").and_then(Object::as_reference).expect("printpdf writes a catalog");
    let labels: Vec<Object> = document
        .pages
        .iter()
        .enumerate()
        .flat_map(|(index, page)| {
            let mut label = Dictionary::new();
            label.set("P", lopdf::text_string(&page.label));
            [Object::Integer(i64::try_from(index).expect("page counts are small")), Object::Dictionary(label)]
        })
        .collect();
    let mut numbers = Dictionary::new();
    numbers.set("Nums", labels);
    let mut viewer = Dictionary::new();
    viewer.set("PrintScaling", Object::Name(b"None".to_vec()));
    viewer.set("DisplayDocTitle", true);
    let catalog = file.get_dictionary_mut(root).expect("the catalog is a dictionary");
    catalog.set("PageLabels", numbers);
    catalog.set("ViewerPreferences", viewer);
    catalog.set("PageMode", Object::Name(b"UseOutlines".to_vec()));
    catalog.set("Lang", Object::string_literal(document.words.code));
    let info = file.trailer.get(b"Info").and_then(Object::as_reference).expect("printpdf writes an info dictionary");
    let info = file.get_dictionary_mut(info).expect("the info is a dictionary");
    info.remove(b"CreationDate");
    info.remove(b"ModDate");
    for empty in ["Identifier", "GTS_PDFXVersion", "Author", "Keywords", "Trapped"] {
        info.remove(empty.as_bytes());
    }
    if let Some(date) = &document.date {
        info.set("CreationDate", Object::string_literal(format!("D:{}", date.replace('-', ""))));
    }
    // `printpdf` writes their names byte by byte, which reads back wrong beyond ASCII (7.9.2.2).
    let dictionaries = file.objects.values_mut().filter_map(|object| object.as_dict_mut().ok());
    for layer in dictionaries.filter(|dictionary| dictionary.has_type(b"OCG")) {
        if let Ok(name) = layer.get(b"Name").and_then(Object::as_str) {
            let name = lopdf::text_string(&String::from_utf8_lossy(name));
            layer.set("Name", name);
        }
    }
    // 1.5 is the first version with layers (optional content, 8.11).
    file.version = "1.5".to_owned();
    let id = name_of(file);
    file.trailer.set("ID", vec![id.clone(), id]);
    file.objects.values_mut().collect::<Vec<_>>().into_par_iter().for_each(|object| {
        if let Ok(stream) = object.as_stream_mut()
            && stream.allows_compression
        {
            // One that does not get smaller stays as it is.
            let _ = stream.compress();
        }
    });
}

/// Sixteen bytes from everything the file holds.
fn name_of(file: &lopdf::Document) -> Object {
    let objects: Vec<_> = file.objects.iter().collect();
    let hashed = |seed: u64, what: &dyn Fn(&mut DefaultHasher)| {
        let mut hasher = DefaultHasher::new();
        seed.hash(&mut hasher);
        what(&mut hasher);
        hasher.finish()
    };
    let of_each: Vec<[u64; 2]> = objects
        .par_iter()
        .map(|(id, object)| {
            let text = format!("{object:?}");
            let content = object.as_stream().map_or(&[][..], |stream| &stream.content);
            [1, 2].map(|seed| hashed(seed, &|hasher| (id, &text, content).hash(hasher)))
        })
        .collect();
    let halves = [0, 1].map(|half| {
        let all: Vec<u64> = of_each.iter().map(|both| both[half]).collect();
        hashed(0, &|hasher| all.hash(hasher)).to_be_bytes()
    });
    Object::String(halves.concat(), lopdf::StringFormat::Hexadecimal)
}
