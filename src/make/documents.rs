//! Plan → files in memory: one PDF a paper, the pieces for cutters, the preview, the list, the manifest.

use kurbo::Size;

use super::Plan;
use super::manifest::{DocumentReport, Manifest, PageReport};
use crate::build_file::PaperSize;
use crate::drawing::{Drawing, Facts, Figure, Header, cut_words, front, side_by_side, tiles};
use crate::output::{Document, OutFile, Sheetful, pdf, pieces_svg, preview_png};
use crate::paper::{Layout, Tile};
use crate::text::{ENGLISH, fill};
use crate::units::{Length, Shown, show, show_at_least};

/// Height of the preview, in pixels.
const PREVIEW_HEIGHT: u32 = 1200;

/// Everything that `make` writes.
#[derive(Debug)]
pub struct Made {
    /// In the order they are to be written; the manifest last.
    pub files: Vec<OutFile>,
    /// What the manifest says.
    pub manifest: Manifest,
}

/// One document and which page is what.
pub(super) struct Paged {
    file: String,
    paper: PaperSize,
    /// Index into [`Plan::layouts`].
    layout: usize,
    front: usize,
}

/// All files of `plan`. `build_file` is the name problems are reported under.
pub fn write_out(plan: Plan, build_file: &str) -> Made {
    let facts = facts(&plan);
    let mut files = Vec::new();
    let mut paged = Vec::new();
    for (index, layout) in plan.layouts.iter().enumerate() {
        for paper in &layout.core.papers {
            let (bytes, front) = document(&plan, layout, paper, &facts);
            let file = format!("pattern-{}.pdf", slug(&paper.name));
            files.push(OutFile { name: file.clone(), bytes });
            paged.push(Paged { file, paper: paper.clone(), layout: index, front });
        }
    }
    let pieces = &plan.survey.pieces;
    files.push(OutFile { name: "pieces.svg".into(), bytes: pieces_svg(pieces, &plan.survey.build.name).into_bytes() });
    files.push(OutFile { name: "pieces.csv".into(), bytes: pieces_csv(&plan).into_bytes() });
    let (preview, size) = side_by_side(pieces, figure(&plan).as_ref());
    files.push(OutFile { name: "preview.png".into(), bytes: preview_png(&preview, size, PREVIEW_HEIGHT) });
    let mut names: Vec<String> = files.iter().map(|file| file.name.clone()).collect();
    names.push("made.json".into());
    let manifest = Manifest::new(&plan, &paged, names, build_file);
    let mut json = serde_json::to_vec_pretty(&manifest).expect("the manifest holds plain values");
    json.push(b'\n');
    files.push(OutFile { name: "made.json".into(), bytes: json });
    Made { files, manifest }
}

fn document(plan: &Plan, layout: &Layout, paper: &PaperSize, facts: &Facts) -> (Vec<u8>, usize) {
    let pieces = &plan.survey.pieces;
    let count = layout.tiles.len();
    let front = front(layout, pieces, facts, &paper.name, &|front| front + count);
    let build = &plan.survey.build;
    let header = Header {
        build: build.date.as_ref().map_or_else(|| build.name.clone(), |date| format!("{}  ·  {date}", build.name)),
        shown: build.units,
        before: front.len(),
        pages: front.len() + count,
    };
    let origin = layout.core.on(paper).origin().to_vec2();
    let page = |drawing: Drawing<_>, label: String, bookmark: String| {
        let mut on_paper = Drawing::default();
        on_paper.add(drawing, origin);
        let size = Size::new(paper.width.to_mm(), paper.height.to_mm());
        Sheetful { size, drawing: on_paper, label, bookmark }
    };
    let fronts = front.len();
    let mut pages: Vec<Sheetful> = front
        .into_iter()
        .enumerate()
        .map(|(index, drawing)| {
            let label = if index == 0 { "cover".to_owned() } else { format!("cover {}", index + 1) };
            let bookmark = if index == 0 { ENGLISH.bookmark_cover.to_owned() } else { label.clone() };
            page(drawing, label, bookmark)
        })
        .collect();
    let drawn = tiles(layout, pieces, &header);
    pages.extend(drawn.into_iter().zip(&layout.tiles).map(|(drawing, tile)| {
        let name = tile.name();
        let bookmark = fill(ENGLISH.bookmark_page, &[&name, &letters(plan, tile).join(" ")]);
        page(drawing, name, bookmark)
    }));
    let title = format!("{} – {}", build.name, paper.name);
    (pdf(&Document { title, date: build.date.clone(), pages }), fronts)
}

fn letters(plan: &Plan, tile: &Tile) -> Vec<String> {
    tile.pieces.iter().map(|&piece| plan.survey.pieces[piece].letter.clone()).collect()
}

impl Paged {
    /// What the manifest says of it.
    pub(super) fn report(&self, plan: &Plan) -> DocumentReport {
        let layout = &plan.layouts[self.layout];
        let core = layout.core.on(&self.paper);
        let corners = |r: kurbo::Rect| [r.x0, r.y0, r.width(), r.height()];
        let size_mm = [self.paper.width.to_mm(), self.paper.height.to_mm()];
        let front = (0..self.front).map(|index| PageReport {
            page: index + 1,
            role: if index == 0 { "cover" } else { "list" },
            sheet: None,
            strip: None,
            in_strip: None,
            size_mm,
            core_mm: corners(core),
            field_mm: None,
            to_sheet: None,
            pieces: Vec::new(),
        });
        let sheets_before: usize = plan.layouts[..self.layout].iter().map(|layout| layout.sheets.len()).sum();
        let field = layout.core.field + core.origin().to_vec2();
        let tiles = layout.tiles.iter().enumerate().map(|(index, tile)| {
            let shift = tile.field.origin() - field.origin();
            PageReport {
                page: self.front + index + 1,
                role: if tile.neighbours.none() { "whole" } else { "tile" },
                sheet: Some(sheets_before + tile.sheet + 1),
                strip: Some(tile.strip),
                in_strip: Some(tile.in_strip),
                size_mm,
                core_mm: corners(core),
                field_mm: Some(corners(field)),
                to_sheet: Some([1.0, 0.0, 0.0, 1.0, shift.x, shift.y]),
                pieces: letters(plan, tile),
            }
        });
        DocumentReport {
            file: self.file.clone(),
            paper: self.paper.name.clone(),
            correction: None,
            pages: front.chain(tiles).collect(),
        }
    }
}

fn facts(plan: &Plan) -> Facts {
    let survey = &plan.survey;
    let shown = survey.build.units;
    let with_doubt = |value: f64, [low, high]: [f64; 2]| {
        let value = show(Length::mm(value), shown);
        let half = (high - low) / 2.0;
        if half < 0.05 {
            return value;
        }
        let half = if half >= 10.0 { half.ceil() } else { half };
        fill(ENGLISH.give_or_take, &[&value, &show_at_least(Length::mm(half), shown)])
    };
    let wearer = survey.build.wearer.filter(|_| survey.build.size.value == crate::build_file::SizeFrom::Figure);
    Facts {
        name: survey.build.name.clone(),
        date: survey.build.date.clone(),
        in_doubt: survey.finished.length_95 != [survey.finished.length_mm; 2],
        length: with_doubt(survey.finished.length_mm, survey.finished.length_95),
        width: with_doubt(survey.finished.width_mm, survey.finished.width_95),
        wearer: wearer.map(|wearer| {
            let barefoot = show(wearer.height.value, shown);
            if wearer.shoes == Length::ZERO {
                fill(ENGLISH.wearer_barefoot, &[&barefoot])
            } else {
                fill(ENGLISH.wearer_with_shoes, &[&show(wearer.height.value + wearer.shoes, shown), &barefoot])
            }
        }),
        rests_on: rests_on(survey.build.size.value, survey.size.is_some()).to_owned(),
        shown,
    }
}

/// Where the size comes from, for a person.
fn rests_on(from: crate::build_file::SizeFrom, pictured: bool) -> &'static str {
    use crate::build_file::SizeFrom;
    match from {
        _ if !pictured => ENGLISH.rests_on_full_size,
        SizeFrom::KnownLengths => ENGLISH.rests_on_known_lengths,
        SizeFrom::AsPictured => ENGLISH.rests_on_as_pictured,
        SizeFrom::Figure => ENGLISH.rests_on_figure,
        SizeFrom::Hand => ENGLISH.rests_on_hand,
        SizeFrom::Finished(_) => ENGLISH.rests_on_finished,
    }
}

fn figure(plan: &Plan) -> Option<Figure> {
    let wearer = plan.survey.build.wearer?;
    let height = wearer.height.value + wearer.shoes;
    Some(Figure { height, caption: show(height, plan.survey.build.units) })
}

/// The piece list as comma-separated values (RFC 4180), lengths in mm.
fn pieces_csv(plan: &Plan) -> String {
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let mut out =
        String::from("letter,name,copies,face_down,foam_mm,width_mm,height_mm,length_mm,area_mm2,perimeter_mm,how\r\n");
    for (piece, length) in plan.survey.pieces.iter().zip(&plan.survey.lengths) {
        let (width, height) = piece.size();
        let foam = piece.foam.map(|foam| format!("{}", foam.to_mm())).unwrap_or_default();
        let row = [
            piece.letter.clone(),
            quoted(&piece.name),
            piece.copies.to_string(),
            piece.face_down.to_string(),
            foam,
            format!("{:.1}", width.to_mm()),
            format!("{:.1}", height.to_mm()),
            format!("{:.1}", length.value),
            format!("{:.0}", piece.area()),
            format!("{:.1}", piece.perimeter()),
            quoted(&cut_words(piece, Shown::Both)),
        ];
        out.push_str(&row.join(","));
        out.push_str("\r\n");
    }
    out
}

/// A file name from the name of a paper: "a4", "letter", "300-x-400-mm".
fn slug(name: &str) -> String {
    let words: Vec<String> =
        name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).map(str::to_lowercase).collect();
    words.join("-")
}
