//! The printed pages, taped together as the manifest says, are the pattern: seen by a rasteriser that shares nothing
//! with the program's PDF writer.

mod made;
mod sheets;
mod taped;

use std::fs;

use hayro::hayro_syntax::Pdf;
use kurbo::Rect;
use made::Made;
use sheets::{ANY, BLACK, Document, GREY, Manifest, Page, Raster, Sheet, cross};

/// The share of every cut path that may be missing on paper.
const MOST_MISSING: f64 = 0.001;

/// A beacon's hood that takes many pages both ways, a shutter with holes drawn and bored, a rod too thin for
/// words, and a small latch.
const HOOD: &str = r#"
[build]
name = "Beacon hood"

[[piece]]
name    = "hood"
fixed   = true
outline = "M 20 330 C 40 60 250 -40 395 90 C 520 200 640 120 690 300 C 730 450 560 560 600 700 C 380 790 180 720 90 610 C 30 530 10 430 20 330 Z M 300 300 C 300 420 470 420 470 300 C 470 200 300 200 300 300 Z"

[[piece.hole]]
at       = [180.0, 480.0]
diameter = "42 mm"

[[piece]]
name    = "shutter"
fixed   = true
outline = "M 0 0 L 150 12 L 130 170 L 8 160 Z M 40 40 L 40 80 L 95 80 Z"

[[piece.hole]]
at       = [70.0, 120.0]
diameter = "12.5 mm"

[[piece]]
name    = "rod"
fixed   = true
outline = "M 0 0 L 4 0 L 4 640 L 0 640 Z"

[[piece]]
name    = "latch"
fixed   = true
outline = "M 0 10 C 0 -3 30 -3 32 9 L 34 31 L 3 27 Z"
"#;

fn hood(paper: &str) -> Made {
    made::build(&format!("{HOOD}\n[paper]\n{paper}\n"))
}

fn read(made: &Made) -> Manifest {
    serde_json::from_value(made.manifest.clone()).expect("the manifest says what the tests read")
}

fn open(made: &Made, document: &Document) -> Pdf {
    let pdf = Pdf::new(fs::read(made.file(&document.file)).expect("written")).expect("a PDF");
    assert_eq!(pdf.pages().len(), document.pages.len(), "{}", document.file);
    pdf
}

/// The pages of `sheet`, each where it lies on it.
fn laid<'a>(pdf: &Pdf, document: &'a Document, sheet: &Sheet) -> Vec<(&'a Page, Raster)> {
    let pages = document.pages.iter().filter(|page| page.sheet == Some(sheet.sheet));
    pages.map(|page| (page, Raster::printed(pdf, page))).collect()
}

/// The pages taped together: of each what is pattern, so that margins cover nothing.
fn taped(pages: &[(&Page, Raster)]) -> Raster {
    let all = pages.iter().map(|(page, _)| page.field()).reduce(|a, b| a.union(b)).expect("a sheet has pages");
    let mut sheet = Raster::white(all);
    pages.iter().for_each(|(page, raster)| sheet.paste(raster, page.field()));
    sheet
}

/// Where two pages that both show a place of the pattern do not show the same there.
fn disagreements(sheet: &Sheet, pages: &[(&Page, Raster)]) -> Vec<String> {
    let mut found = Vec::new();
    for (index, (page, raster)) in pages.iter().enumerate() {
        for (other_page, other) in pages.iter().enumerate().filter(|(at, _)| *at != index).map(|(_, pair)| pair) {
            // A line that leaves one of them ends a hair before or behind the rim.
            let shared = page.field().intersect(other_page.field()).inset(-0.2);
            if shared.width() <= 0.0 || shared.height() <= 0.0 {
                continue;
            }
            let names = format!("page {} and page {}", page.page, other_page.page);
            if let Some(at) = raster.differs(other, shared, BLACK) {
                found.push(format!("{names}: cut line at {at:?}"));
            }
            for mark in sheet.marks.iter().filter(|mark| shared.inset(-2.0).contains(mark.at())) {
                if let Some(at) = raster.differs(other, Rect::from_center_size(mark.at(), (3.0, 3.0)), GREY) {
                    found.push(format!("{names}: mark {} at {at:?}", mark.id));
                }
            }
        }
    }
    found
}

/// What is wrong with `pages` as the pages of `sheet`.
fn faults(manifest: &Manifest, sheet: &Sheet, pages: &[(&Page, Raster)]) -> Vec<String> {
    let mut found = disagreements(sheet, pages);
    let taped = taped(pages);
    let paths = manifest.cut_paths(sheet);
    for (name, path) in &paths {
        let missing = taped.missing(path);
        if missing > MOST_MISSING {
            found.push(format!("{name}: {:.2} % of the cut line is missing", missing * 100.0));
        }
    }
    if let Some(at) = taped.stray(paths.values()) {
        found.push(format!("black beside every cut line at {at:?}"));
    }
    for (page, raster) in pages {
        if raster.ink(page.field(), ANY).next().is_none() {
            found.push(format!("page {}: no ink in its field", page.page));
        }
        for mark in sheet.marks.iter().filter(|mark| page.field().contains(mark.at())) {
            // With the narrowest overlap an arm is 1.7 mm long.
            if !cross(mark.at(), 1.5).all(|at| raster.is_inked(at, GREY)) {
                found.push(format!("page {}: mark {} is not there", page.page, mark.id));
            }
        }
    }
    found
}

/// Checks every sheet and page of every document; gives how many pages that were.
fn check(made: &Made) -> usize {
    let manifest = read(made);
    let mut count = 0;
    for document in &manifest.documents {
        let pdf = open(made, document);
        let inside = |page: &Page, raster: &Raster| {
            // Half a line and half a pixel.
            let core = page.core().inflate(0.17, 0.17);
            let everywhere = Rect::new(-1e5, -1e5, 1e5, 1e5);
            let out = raster.ink(everywhere, ANY).find(|&at| !core.contains(at));
            assert_eq!(out, None, "{} page {}: ink outside of its core", document.file, page.page);
            assert!(raster.ink(core, BLACK + 30).next().is_some(), "{} page {}: no ink", document.file, page.page);
        };
        for page in document.pages.iter().filter(|page| page.sheet.is_none()) {
            inside(page, &Raster::printed(&pdf, page));
            count += 1;
        }
        for sheet in &manifest.joined_sheets {
            let pages = laid(&pdf, document, sheet);
            if pages.is_empty() {
                continue;
            }
            pages.iter().for_each(|(page, raster)| inside(page, raster));
            let faults = faults(&manifest, sheet, &pages);
            assert!(faults.is_empty(), "{} sheet {}: {faults:#?}", document.file, sheet.sheet);
            count += pages.len();
        }
        let known = |page: &&Page| manifest.joined_sheets.iter().any(|sheet| Some(sheet.sheet) == page.sheet);
        assert!(document.pages.iter().filter(|page| page.sheet.is_some()).all(|page| known(&page)));
    }
    count
}

#[test]
fn the_demo_on_paper_is_its_pattern() {
    assert!(check(&made::demo("english")) > 20);
}

#[test]
fn the_demo_with_the_longer_words_of_german_is_too() {
    assert!(check(&made::demo("german")) > 20);
}

#[test]
fn pieces_larger_than_a_page_and_smaller_ones_are_whole_on_a4_and_letter() {
    assert!(check(&hood(r#"use = ["A4", "Letter"]"#)) > 30);
}

#[test]
fn a_narrow_and_a_wide_overlap_and_papers_that_share_nothing_do_as_well() {
    assert!(check(&hood("use = [\"A4\"]\noverlap = \"5 mm\"")) > 10);
    assert!(check(&hood("use = [\"Letter\", \"A3\"]\noverlap = \"24 mm\"")) > 15);
}

/// The checks above on pages with a known fault: each must be seen.
#[test]
fn blank_shifted_and_missing_pages_are_seen() {
    let made = hood("use = [\"A4\"]");
    let manifest = read(&made);
    let document = &manifest.documents[0];
    let pdf = open(&made, document);
    let sheet = &manifest.joined_sheets[0];
    let sound = laid(&pdf, document, sheet);
    assert!(sound.len() > 8 && faults(&manifest, sheet, &sound).is_empty());

    let blank: Vec<_> = sound.iter().map(|(page, _)| (*page, Raster::white(page.core()))).collect();
    let told = faults(&manifest, sheet, &blank);
    let all_gone = |told: &[String]| told.iter().filter(|fault| fault.contains("100.00 % of the cut")).count();
    assert_eq!(all_gone(&told), manifest.cut_paths(sheet).len(), "{told:#?}");
    assert!(told.iter().any(|fault| fault.contains("no ink")) && told.iter().any(|fault| fault.contains("mark")));

    for (x, y) in [(0.3, 0.0), (0.0, 0.3)] {
        let shifted = |page: &Page| {
            let mut wrong = page.clone();
            let to_sheet = wrong.to_sheet.as_mut().expect("pages of a sheet lie on it");
            to_sheet[4] += x;
            to_sheet[5] += y;
            Raster::printed(&pdf, &wrong)
        };
        let all: Vec<_> = sound.iter().map(|(page, _)| (*page, shifted(page))).collect();
        let told = faults(&manifest, sheet, &all);
        for what in ["% of the cut line is missing", "black beside", "is not there"] {
            assert!(told.iter().any(|fault| fault.contains(what)), "{what}: {told:#?}");
        }
        // One page alone, in the middle, off from all its neighbours.
        let mut one = sound.clone();
        let at = sound.len() / 2;
        one[at].1 = shifted(one[at].0);
        let told = disagreements(sheet, &one);
        assert!(told.iter().any(|fault| fault.contains("cut line")), "{told:#?}");
        assert!(told.iter().any(|fault| fault.contains("mark")), "{told:#?}");
    }

    for gone in 0..sound.len() {
        let mut rest = sound.clone();
        let (page, _) = rest.remove(gone);
        let carries = sound[gone].1.ink(page.field().inset(-12.0), BLACK).next().is_some();
        let told = faults(&manifest, sheet, &rest);
        assert!(!carries || told.iter().any(|fault| fault.contains("is missing")), "page {}: {told:#?}", page.page);
    }
}

/// Forty pieces that fit on a page, in sizes of no order.
fn forty() -> String {
    let mut text = "[build]\nname = \"Lamp racks\"\n\n[paper]\nuse = [\"A4\"]\n".to_owned();
    for k in 0..40 {
        let (width, height) = (30 + 37 * k % 61, 25 + 53 * k % 83);
        let piece =
            format!("\n[[piece]]\nname = \"rung {k}\"\nfixed = true\noutline = \"M 0 0 H {width} V {height} H 0 Z\"\n");
        text.push_str(&piece);
    }
    text
}

/// The documents' pages with pattern, as roles; and all pages.
fn pages_of(made: &Made, document: usize) -> (usize, Vec<serde_json::Value>) {
    let pages = made.manifest["documents"][document]["pages"].as_array().expect("a list").clone();
    let pattern = pages.iter().filter(|page| page["role"] == "tile" || page["role"] == "whole").count();
    (pattern, pages)
}

#[test]
fn small_pieces_take_few_pages() {
    let made = made::build(&forty());
    let area: f64 =
        made.manifest["pieces"].as_array().expect("a list").iter().map(|p| p["area_mm2"].as_f64().expect("mm²")).sum();
    let (count, pages) = pages_of(&made, 0);
    let field = &pages[pages.len() - 1]["field_mm"];
    let page = field[2].as_f64().expect("mm") * field[3].as_f64().expect("mm");
    let least = (area / page).ceil();
    assert!(f64::from(u32::try_from(count).expect("few")) <= least + 1.0, "{count} pages, at least {least}");
}

#[test]
fn a_roll_is_cut_as_long_as_it_must_be_and_the_last_page_comes_first_where_asked() {
    let staff = "[[piece]]\nname = \"staff\"\nfixed = true\noutline = \"M 0 0 H 3000 V 70 H 0 Z\"\n\n[[piece]]\nname = \"lens\"\n\
                 fixed = true\noutline = \"M 0 0 H 600 V 600 H 0 Z\"\n";
    let paper = |paper: &str| format!("[build]\nname = \"Staff\"\n\n[paper]\n{paper}\n\n{staff}");
    let made = made::build(&paper("use = [\"914 mm roll\", \"A0\"]"));
    let (count, all) = pages_of(&made, 0);
    assert_eq!(count, 1, "{all:?}");
    let sheet = &all[all.len() - 1];
    let length = sheet["size_mm"][1].as_f64().expect("mm");
    assert!(sheet["size_mm"][0] == 914.0 && (3020.0..3060.0).contains(&length), "{sheet}");
    // What is measured at home is printed at home.
    assert_eq!(all[0]["size_mm"], serde_json::json!([210.0, 297.0]));
    assert!(pages_of(&made, 1).0 <= 5, "3 m over sheets of 1.19 m, and a lens");

    let made = made::build(&paper("use = [\"A4\"]\nlast_page_first = true\ncheck_distances = 5"));
    let (count, all) = pages_of(&made, 0);
    assert_eq!(all[all.len() - 1]["role"], "cover");
    let numbers: Vec<usize> =
        all.iter().map(|page| usize::try_from(page["page"].as_u64().expect("a number")).expect("few")).collect();
    assert_eq!(numbers, (1..=all.len()).collect::<Vec<_>>());
    let strips: Vec<u64> = all[..count].iter().map(|page| page["strip"].as_u64().expect("a strip")).collect();
    assert!(strips.windows(2).all(|pair| pair[0] >= pair[1]), "{strips:?}");
    let pdf = lopdf::Document::load(made.file("pattern-a4.pdf")).expect("a PDF");
    let first = pdf.extract_text(&[1]).expect("text");
    let last = pdf.extract_text(&[u32::try_from(all.len()).expect("few")]).expect("text");
    let name = format!("{}.{}", all[0]["strip"], all[0]["in_strip"]);
    assert!(first.contains(&name), "{name}: {first}");
    assert!(last.contains("Print this page alone"), "{last}");
    let checks = made.manifest["joined_sheets"][0]["check_distances"].as_array().expect("a list");
    assert_eq!(checks.len(), 5);
}
