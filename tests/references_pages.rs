//! The PDF files read by PDFium: true lengths, page sizes, and all that a reader program shows around the pages.

mod made;
mod references;

use kurbo::{Affine, BezPath, PathEl, Rect, Shape as _};
use lopdf::Object;
use made::Made;
use serde::Deserialize;
use serde_json::{Value, json};

/// What the script says of a document.
#[derive(Deserialize)]
struct Read {
    metadata: std::collections::BTreeMap<String, String>,
    bookmarks: Vec<(String, usize)>,
    unscaled: bool,
    pages: Vec<ReadPage>,
}

#[derive(Deserialize)]
struct ReadPage {
    size_mm: [f64; 2],
    label: String,
    text: String,
    fonts: std::collections::BTreeMap<String, bool>,
    paths: Vec<Stroked>,
}

#[derive(Deserialize)]
struct Stroked {
    grey: u8,
    d: String,
}

impl Stroked {
    fn path(&self) -> BezPath {
        BezPath::from_svg(&self.d).expect("path data")
    }
}

impl ReadPage {
    /// The black paths, in page mm: what is cut.
    fn cut(&self) -> Vec<BezPath> {
        self.paths.iter().filter(|path| path.grey == 0).map(Stroked::path).collect()
    }

    /// Extents of the grey paths: furniture.
    fn grey(&self) -> impl Iterator<Item = Rect> {
        self.paths.iter().filter(|path| path.grey > 0).map(|path| path.path().bounding_box())
    }
}

/// Every document of `made` as PDFium reads it, beside what the manifest says of it; `None` without PDFium.
fn documents(made: &Made) -> Option<Vec<(Value, Read)>> {
    let reports = made.manifest["documents"].as_array().expect("a list").clone();
    let files: Vec<_> = reports.iter().map(|report| made.file(report["file"].as_str().expect("a name"))).collect();
    let read: Vec<Read> =
        serde_json::from_value(references::python("pages.py", &json!(files))?).expect("the script answers as it says");
    assert_eq!(read.len(), reports.len());
    Some(reports.into_iter().zip(read).collect())
}

fn pages<'a>(report: &'a Value, read: &'a Read) -> impl Iterator<Item = (&'a Value, &'a ReadPage)> {
    let pages = report["pages"].as_array().expect("a list");
    assert_eq!(pages.len(), read.pages.len(), "{}", report["file"]);
    pages.iter().zip(&read.pages)
}

fn numbers<const N: usize>(value: &Value) -> [f64; N] {
    let each = |index: usize| value[index].as_f64().expect("a number");
    std::array::from_fn(each)
}

/// The true length may be missed by this much, in mm.
const TRUE: f64 = 0.05;

fn near(what: &str, found: f64, truth: f64) {
    assert!((found - truth).abs() <= TRUE, "{what}: {found} mm, in truth {truth} mm");
}

/// A pane and a lens that fit on a page, and the same shapes too large for one.
const LENGTHS: &str = r#"
[build]
name = "Lamp room"

[paper]
use = ["A4", "Letter"]

[[piece]]
name    = "pane"
fixed   = true
outline = "M 10 20 H 133.4 V 76.8 H 10 Z"

[[piece]]
name    = "lens"
fixed   = true
outline = "M 0 0 A 48.3 48.3 0 0 1 96.6 0 A 48.3 48.3 0 0 1 0 0 Z"

[[piece]]
name    = "wall"
fixed   = true
outline = "M -40 15 H 481.7 V 358.2 H -40 Z"

[[piece]]
name    = "great lens"
fixed   = true
outline = "M 0 0 A 211.1 211.1 0 0 1 422.2 0 A 211.1 211.1 0 0 1 0 0 Z"
"#;

#[test]
fn rectangles_and_circles_have_their_true_lengths() {
    let made = made::build(LENGTHS);
    let Some(documents) = documents(&made) else { return };
    let letter = |name: &str| {
        let pieces = made.manifest["pieces"].as_array().expect("a list");
        pieces.iter().find(|piece| piece["name"] == name).expect("a known name")["letter"].clone()
    };
    for (report, read) in &documents {
        // On one page with other pieces: the path itself, closed or not, with its whole length.
        let whole: Vec<BezPath> =
            pages(report, read).filter(|(page, _)| page["role"] == "whole").flat_map(|(_, read)| read.cut()).collect();
        assert_eq!(whole.len(), 2, "{}", report["file"]);
        let of_width = |width: f64| {
            let found = whole.iter().find(|path| (path.bounding_box().width() - width).abs() < 1.0);
            let path = found.unwrap_or_else(|| panic!("{}: nothing {width} mm wide", report["file"]));
            (path.bounding_box(), path.perimeter(1e-4))
        };
        // Pieces may be turned to save paper, these need not be.
        let (pane, around) = of_width(123.4);
        near("pane, across", pane.width(), 123.4);
        near("pane, down", pane.height(), 56.8);
        near("pane, around", around, 2.0 * (123.4 + 56.8));
        let (lens, around) = of_width(96.6);
        near("lens, across", lens.width(), 96.6);
        near("lens, down", lens.height(), 96.6);
        near("lens, around", around, std::f64::consts::PI * 96.6);
        // Over many pages: where the pages lie on their sheet.
        for (name, width, height) in [("wall", 521.7, 343.2), ("great lens", 422.2, 422.2)] {
            let on_sheet: Vec<Rect> = pages(report, read)
                .filter(|(page, _)| page["role"] == "tile" && page["pieces"] == json!([letter(name)]))
                .flat_map(|(page, read)| {
                    let to_sheet = Affine::new(numbers(&page["to_sheet"]));
                    read.cut().into_iter().map(move |path| (to_sheet * path).bounding_box())
                })
                .collect();
            assert!(on_sheet.len() > 3, "{name}");
            let all = on_sheet.into_iter().reduce(|a, b| a.union(b)).expect("more than 3");
            near(name, all.width().max(all.height()), f64::max(width, height));
            near(name, all.width().min(all.height()), f64::min(width, height));
        }
    }
}

#[test]
fn rulers_and_the_test_square_are_as_long_as_they_say() {
    let Some(documents) = documents(&made::demo("english")) else { return };
    for (report, read) in &documents {
        let [x, y, width, height] = numbers(&report["pages"][0]["core_mm"]);
        for (page, read) in pages(report, read).filter(|(page, _)| page["role"] != "sizes") {
            let name = format!("{} page {}", report["file"], page["page"]);
            assert!(read.text.contains("180.0 mm") && read.text.contains("240.0 mm"), "{name}: {}", read.text);
            let flat = |r: &Rect| r.height() < 1e-3;
            let upright = |r: &Rect| r.width() < 1e-3;
            if page["role"] == "cover" {
                let square = read.grey().max_by(|a, b| a.area().total_cmp(&b.area())).expect("a frame");
                near(&name, square.width(), 180.0);
                near(&name, square.height(), 240.0);
                continue;
            }
            if page["role"] == "list" {
                near(&name, read.grey().filter(|r| flat(r)).map(|r| r.width()).fold(0.0, f64::max), 180.0);
                near(&name, read.grey().filter(|r| upright(r)).map(|r| r.height()).fold(0.0, f64::max), 240.0);
                continue;
            }
            // Below the field and left of it: nothing but the rulers.
            let [left, top, wide, high] = numbers(&page["field_mm"]);
            let foot: Vec<Rect> = read.grey().filter(|r| r.y0 > top + high + 1.0).collect();
            let side: Vec<Rect> = read.grey().filter(|r| r.x1 < left - 0.1).collect();
            near(&name, foot.iter().filter(|r| flat(r)).map(Rect::width).fold(0.0, f64::max), 180.0);
            near(&name, side.iter().filter(|r| upright(r)).map(Rect::height).fold(0.0, f64::max), 240.0);
            // The ticks: centimetres on one side, inches on the other, and the ends across both.
            let ticks = |on: &[Rect], is_tick: &dyn Fn(&Rect) -> bool, along: &dyn Fn(&Rect) -> f64| {
                let mut all: Vec<f64> = on.iter().filter(|r| is_tick(r)).map(along).collect();
                all.sort_by(f64::total_cmp);
                all.iter().map(|at| at - all[0]).collect::<Vec<f64>>()
            };
            let across = ticks(&foot, &upright, &|r| r.x0);
            let down = ticks(&side, &flat, &|r| -r.y0);
            for (ticks, length) in [(across, 180.0), (down, 240.0)] {
                for step in [10.0, 25.4] {
                    let places = (0..).map(|n| f64::from(n) * step).take_while(|at| *at <= length);
                    for at in places {
                        assert!(ticks.iter().any(|tick| (tick - at).abs() <= TRUE), "{name}: no tick at {at} mm");
                    }
                }
                near(&name, *ticks.last().expect("ticks"), length);
            }
            assert!(left >= x && top >= y && left + wide <= x + width + 1e-9 && top + high <= y + height + 1e-9);
        }
    }
}

#[test]
fn page_sizes_are_those_of_the_standards() {
    let made = made::build(&LENGTHS.replace(r#"["A4", "Letter"]"#, r#"["A4", "Letter", "A3", "Legal"]"#));
    let Some(documents) = documents(&made) else { return };
    // ISO 216:2007 for the A series; ASME Y14.1 gives 8.5 x 11 in for size A. Legal: common practice, no source.
    let sizes = [("A4", [210.0, 297.0]), ("Letter", [215.9, 279.4]), ("A3", [297.0, 420.0]), ("Legal", [215.9, 355.6])];
    assert_eq!(documents.len(), sizes.len());
    for (report, read) in &documents {
        let (name, size) = sizes.iter().find(|(name, _)| report["paper"] == *name).expect("a paper asked for");
        for (page, read) in pages(report, read) {
            for (found, truth) in read.size_mm.iter().zip(size) {
                // Single precision in points is good to 0.00003 mm.
                assert!((found - truth).abs() < 0.001, "{name}: {found} mm, in truth {truth} mm");
            }
            assert_eq!(numbers::<2>(&page["size_mm"]), *size);
        }
    }
}

#[test]
fn words_labels_bookmarks_and_settings_are_read_back() {
    let made = made::demo("english");
    let Some(documents) = documents(&made) else { return };
    let build = made.manifest["build"].as_str().expect("a name");
    for (report, read) in &documents {
        let paper = report["paper"].as_str().expect("a name");
        assert!(read.unscaled, "{paper} starts with scaling");
        assert_eq!(read.metadata["Title"], format!("{build} – {paper}"));
        assert_eq!(read.metadata["Producer"], format!("spanwright {}", env!("CARGO_PKG_VERSION")));
        // The date of the build and not the clock's.
        assert_eq!(read.metadata["CreationDate"], "D:20260501");
        assert!(!read.metadata.contains_key("ModDate"));
        let places: Vec<usize> = read.bookmarks.iter().map(|(_, page)| *page).collect();
        assert_eq!(places, (0..read.pages.len()).collect::<Vec<_>>(), "one bookmark a page, in order");
        for ((page, read_page), (bookmark, _)) in pages(report, read).zip(&read.bookmarks) {
            let ReadPage { label, text, fonts, .. } = read_page;
            assert!(text.contains(build), "{paper} {label}: {text}");
            assert!(!fonts.is_empty() && fonts.values().all(|embedded| *embedded), "{fonts:?}");
            if page["role"] == "cover" {
                assert_eq!(label, "cover");
                continue;
            }
            if page["role"] == "list" {
                assert_eq!(*label, format!("cover {}", page["page"]));
                continue;
            }
            if page["role"] == "sizes" {
                assert_eq!(label, "sizes");
                let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(words.contains("this pattern") && words.contains("a door, 2000 mm high"), "{words}");
                continue;
            }
            let name = format!("{}.{}", page["strip"], page["in_strip"]);
            assert_eq!(*label, name);
            let words: Vec<&str> = text.split_whitespace().collect();
            assert!(words.contains(&name.as_str()), "{paper} {label}: {text}");
            let letters = page["pieces"].as_array().expect("a list").iter().filter_map(Value::as_str);
            for letter in letters {
                // Once at the foot of the page, and once in or at the piece.
                assert!(words.iter().filter(|word| **word == letter).count() >= 2, "{paper} {label}: no {letter}");
                let told = bookmark.split_whitespace();
                assert!(bookmark.contains(&name) && told.skip(2).any(|word| word == letter), "{bookmark}");
            }
        }
    }
}

/// What the script says that qpdf makes of a document.
#[derive(Deserialize)]
struct Checked {
    problems: Vec<String>,
    bookmarks: Vec<(String, usize)>,
    labels: Vec<String>,
    layers: Vec<String>,
    scaling: String,
}

/// Two readers that share nothing see the same, and qpdf finds nothing to complain of.
#[test]
fn qpdf_finds_the_files_sound_and_reads_what_pdfium_reads() {
    for made in [made::demo("english"), made::demo("german"), made::build(LENGTHS)] {
        let Some(documents) = documents(&made) else { return };
        let files: Vec<_> =
            documents.iter().map(|(report, _)| made.file(report["file"].as_str().expect("a name"))).collect();
        let answer = references::python("checked.py", &json!(files)).expect("the other library was there");
        let checked: Vec<Checked> = serde_json::from_value(answer).expect("the script answers as it says");
        assert_eq!(checked.len(), documents.len());
        for ((report, read), checked) in documents.iter().zip(checked) {
            assert_eq!(checked.problems, Vec::<String>::new(), "{}", report["file"]);
            assert_eq!(checked.bookmarks, read.bookmarks);
            let labels: Vec<&str> = read.pages.iter().map(|page| page.label.as_str()).collect();
            assert_eq!(checked.labels, labels);
            assert_eq!((checked.layers.len(), checked.scaling.as_str()), (4, "/None"), "{:?}", checked.layers);
        }
    }
}

/// PDFium has no call that lists layers: they are read with `lopdf`, which the program writes them with as well.
#[test]
fn layers_are_named_and_all_ink_lies_in_them() {
    let made = made::demo("english");
    let pdf = lopdf::Document::load(made.file("pattern-a4.pdf")).expect("a PDF");
    let properties = pdf.catalog().and_then(|root| root.get_deref(b"OCProperties", &pdf)).expect("layers");
    let groups = properties.as_dict().and_then(|layers| layers.get_deref(b"OCGs", &pdf)).expect("a list of layers");
    let name = |group: &Object| {
        let group = pdf.dereference(group).expect("it is there").1.as_dict().expect("a dictionary");
        lopdf::decode_text_string(group.get(b"Name").expect("a name")).expect("text")
    };
    let mut names: Vec<String> = groups.as_array().expect("a list").iter().map(name).collect();
    names.sort();
    assert_eq!(names, ["Cut lines", "Joins and their marks", "Rulers and frames", "Words"]);
    for (number, page) in pdf.get_pages() {
        let (mut layers, mut inked) = (0, 0);
        for operation in pdf.get_and_decode_page_content(page).expect("content").operations {
            match operation.operator.as_str() {
                "BDC" if operation.operands[0].as_name().is_ok_and(|tag| tag == b"OC") => layers += 1,
                "EMC" => layers -= 1,
                // Strokes and shown text (ISO 32000-1, table A.1); the program fills nothing.
                "S" | "s" | "Tj" | "TJ" => {
                    assert_eq!(layers, 1, "page {number}");
                    inked += 1;
                }
                other => assert!(!["f", "F", "f*", "B", "B*", "b", "b*", "Do", "sh", "'", "\""].contains(&other)),
            }
        }
        assert!(inked > 10, "page {number}");
    }
}

/// Cut paths that are whole on a page end where they began.
#[test]
fn whole_outlines_are_closed_in_the_file() {
    let made = made::build(LENGTHS);
    let Some(documents) = documents(&made) else { return };
    for (report, read) in &documents {
        for (_, read) in pages(report, read).filter(|(page, _)| page["role"] == "whole") {
            for path in read.cut() {
                let ends: Vec<_> = path.elements().iter().filter_map(PathEl::end_point).collect();
                let gap = ends[0].distance(ends[ends.len() - 1]);
                assert!(gap < 0.011, "{}: a gap of {gap} mm", report["file"]);
            }
        }
    }
}
