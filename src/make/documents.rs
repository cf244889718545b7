//! Plan → files in memory: one PDF a paper, the pieces for cutters, the preview, the list, the manifest.

use kurbo::{Affine, BezPath, Shape as _, Size};

use super::Plan;
use super::manifest::{DocumentReport, Manifest, PageReport};
use crate::build_file::{Build, Like, PaperSize, SizeFrom};
use crate::drawing::{
    Drawing, Facts, Figure, Header, SizeShown, cut_words, front, side_by_side, sizes, sizes_page, sketch, test_card,
};
use crate::output::{Document, OutFile, Sheetful, path_data, pdf, pieces_svg, preview_png};
use crate::paper::{Core, Tile, cores};
use crate::pattern::Piece;
use crate::problem::{Problem, Problems};
use crate::size::farthest_apart;
use crate::space::{Page, Pattern, Point};
use crate::text::{Wording, Words, fill};
use crate::units::{Length, Shown};

/// Heights of the preview and of the sizes side by side, in pixels.
const PREVIEW_HEIGHT: u32 = 1200;
const SIZES_HEIGHT: u32 = 1000;

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
    /// The last of the front pages compares sizes.
    sizes: bool,
}

/// All files of `plan`. `build_file` is the name problems are reported under.
pub fn write_out(plan: Plan, build_file: &str) -> Made {
    let facts = facts(&plan);
    let compared = compared(&plan, &facts);
    let mut files = Vec::new();
    let mut paged = Vec::new();
    for (index, layout) in plan.layouts.iter().enumerate() {
        for paper in &layout.core.papers {
            let (bytes, front) = document(&plan, index, paper, &facts, compared.as_ref());
            let file = format!("pattern-{}.pdf", slug(&paper.name));
            files.push(OutFile { name: file.clone(), bytes });
            paged.push(Paged { file, paper: paper.clone(), layout: index, front, sizes: compared.is_some() });
        }
    }
    let pieces = &plan.survey.pieces;
    files.push(OutFile { name: "pieces.svg".into(), bytes: pieces_svg(pieces, &plan.survey.build.name).into_bytes() });
    files.push(OutFile { name: "pieces.csv".into(), bytes: pieces_csv(&plan).into_bytes() });
    let (preview, size) = plan.beside_wearer();
    files.push(OutFile { name: "preview.png".into(), bytes: preview_png(&preview, size, PREVIEW_HEIGHT) });
    if let Some((drawing, size)) = &compared {
        files.push(OutFile { name: "sizes.png".into(), bytes: preview_png(drawing, *size, SIZES_HEIGHT) });
    }
    let mut names: Vec<String> = files.iter().map(|file| file.name.clone()).collect();
    names.push("made.json".into());
    let manifest = Manifest::new(&plan, &paged, names, build_file);
    let mut json = serde_json::to_vec_pretty(&manifest).expect("the manifest holds plain values");
    json.push(b'\n');
    files.push(OutFile { name: "made.json".into(), bytes: json });
    Made { files, manifest }
}

/// The foam test card of a build, for each of its papers that is printed at home.
///
/// # Errors
///
/// Paper too small for its margin.
pub fn test_cards(build: &Build) -> Result<Vec<OutFile>, Problems> {
    let wording = build.wording();
    let mut files: Vec<OutFile> = Vec::new();
    for core in cores(&build.paper)? {
        for paper in &core.papers {
            // What a copy shop prints has A4 in front; on less than A4 the card has no room.
            let (core, paper) = core.front(paper);
            if core.field.width() < CARD[0] || core.field.height() < CARD[1] {
                continue;
            }
            let name = format!("test-card-{}.pdf", slug(&paper.name));
            if files.iter().any(|file| file.name == name) {
                continue;
            }
            let mut on_paper = Drawing::default();
            on_paper.add(
                test_card(&core, &build.name, &build.cutting.punches, wording),
                core.on(&paper).origin().to_vec2(),
            );
            let words = wording.words;
            let title = words.card_title.to_owned();
            let page = Sheetful {
                size: Size::new(paper.width.to_mm(), paper.height.to_mm()),
                drawing: on_paper,
                label: title.clone(),
                bookmark: title.clone(),
            };
            files.push(OutFile {
                name,
                bytes: pdf(&Document { title, date: build.date.clone(), words, pages: vec![page] }),
            });
        }
    }
    if files.is_empty() {
        let text = "the test card takes 185 by 240 mm, and no paper of the build has room for that; add \"A4\" or \"Letter\" to use";
        return Err(vec![Problem::error("card_too_large", text)]);
    }
    Ok(files)
}

/// What the test card takes of a page, across and down, mm.
const CARD: [f64; 2] = [182.0, 235.0];

/// The page of pattern of this name alone, such as "3.2", for each paper that has it, as it is in the whole document; the names
/// of all pages when there is none.
///
/// # Errors
///
/// No page of that name.
pub fn one_page(plan: &Plan, name: &str) -> Result<Vec<OutFile>, Vec<String>> {
    let facts = facts(plan);
    let compared = compared(plan, &facts);
    let mut files = Vec::new();
    for (index, layout) in plan.layouts.iter().enumerate() {
        for paper in &layout.core.papers {
            let (mut pages, _) = sheetfuls(plan, index, paper, &facts, compared.as_ref());
            pages.retain(|page| page.label == name);
            if !pages.is_empty() {
                let file = format!("page-{name}-{}.pdf", slug(&paper.name));
                files.push(OutFile { name: file, bytes: pdf(&whole(plan, paper, pages)) });
            }
        }
    }
    if !files.is_empty() {
        return Ok(files);
    }
    let mut names: Vec<String> = Vec::new();
    for name in plan.layouts.iter().flat_map(|layout| &layout.tiles).map(Tile::name) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    Err(names)
}

/// Four figures that differ between patterns that differ, so that pages of two printings are not mixed (FNV-1a, G. Fowler, L.
/// Noll, K. Vo, 1991).
fn set_number(plan: &Plan) -> String {
    let mut hash: u64 = 0xcbf2_9ce4_8422_2325;
    let mut take = |text: &str| {
        for byte in text.bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    };
    for piece in &plan.survey.pieces {
        take(&format!("{} {} {}", piece.letter, piece.name, path_data(piece.cut_path().raw())));
    }
    for layout in &plan.layouts {
        layout.tiles.iter().for_each(|tile| take(&format!("{} {:?}", tile.name(), tile.field)));
    }
    format!("{:04}", hash % 10_000)
}

fn whole(plan: &Plan, paper: &PaperSize, pages: Vec<Sheetful>) -> Document {
    let build = &plan.survey.build;
    let title = format!("{} – {}", build.name, paper_name(paper, build.wording().words));
    Document { title, date: build.date.clone(), words: build.wording().words, pages }
}

fn document(
    plan: &Plan,
    layout: usize,
    paper: &PaperSize,
    facts: &Facts,
    compared: Option<&(Drawing<Page>, Size)>,
) -> (Vec<u8>, usize) {
    let (mut pages, fronts) = sheetfuls(plan, layout, paper, facts, compared);
    if plan.survey.build.paper.last_page_first {
        pages.reverse();
    }
    (pdf(&whole(plan, paper, pages)), fronts)
}

/// Every page of a document, and how many of them come before the pattern.
fn sheetfuls(
    plan: &Plan,
    layout: usize,
    paper: &PaperSize,
    facts: &Facts,
    compared: Option<&(Drawing<Page>, Size)>,
) -> (Vec<Sheetful>, usize) {
    let pieces = &plan.survey.pieces;
    let (layout, tapings) = (&plan.layouts[layout], &plan.tapings[layout]);
    let count = layout.tiles.len() + usize::from(compared.is_some());
    let (front_core, front_paper) = layout.core.front(paper);
    let build = &plan.survey.build;
    let Wording { words, .. } = build.wording();
    let sheets = |front: usize| {
        if front_paper == *paper {
            return fill(words.pages_count, &[&(front + count).to_string(), &paper_name(paper, words)]);
        }
        let (before, pattern) = (front + count - layout.tiles.len(), layout.tiles.len());
        let counts = [before, pattern].map(|count| count.to_string());
        fill(
            words.pages_count_apart,
            &[&counts[0], &paper_name(&front_paper, words), &counts[1], &paper_name(paper, words)],
        )
    };
    let sketched = sketch(layout, pieces, build.wording());
    let front = front(&front_core, layout, tapings, pieces, facts, &sketched.untold, &sheets);
    let header = Header {
        build: build.date.as_ref().map_or_else(|| build.name.clone(), |date| format!("{}  ·  {date}", build.name)),
        set: fill(words.set_number, &[&facts.set]),
        wording: build.wording(),
        before: front.len() + usize::from(compared.is_some()),
        pages: front.len() + count,
    };
    let on = |core: &Core, paper: &PaperSize, drawing: Drawing<_>, label: String, bookmark: String| {
        let mut on_paper = Drawing::default();
        on_paper.add(drawing, core.on(paper).origin().to_vec2());
        let size = Size::new(paper.width.to_mm(), paper.height.to_mm());
        Sheetful { size, drawing: on_paper, label, bookmark }
    };
    let in_front = |drawing, label, bookmark| on(&front_core, &front_paper, drawing, label, bookmark);
    let fronts = header.before;
    let mut pages: Vec<Sheetful> = front
        .into_iter()
        .enumerate()
        .map(|(index, drawing)| {
            let (label, bookmark) = if index == 0 {
                (words.label_cover.to_owned(), words.bookmark_cover.to_owned())
            } else {
                let label = fill(words.label_cover_next, &[&(index + 1).to_string()]);
                (label.clone(), label)
            };
            in_front(drawing, label, bookmark)
        })
        .collect();
    if let Some((drawing, size)) = compared {
        let drawing = sizes_page(drawing, *size, front_core.size, &header.build, words);
        pages.push(in_front(drawing, words.label_sizes.to_owned(), words.bookmark_sizes.to_owned()));
    }
    let drawn = sketched.finish(layout, pieces, &header);
    pages.extend(drawn.into_iter().zip(&layout.tiles).map(|(drawing, tile)| {
        let name = tile.name();
        let bookmark = fill(words.bookmark_page, &[&name, &letters(plan, tile).join(" ")]);
        on(&layout.core, paper, drawing, name, bookmark)
    }));
    (pages, fronts)
}

fn paper_name(paper: &PaperSize, words: &Words) -> String {
    match paper.name.strip_suffix(" roll") {
        Some(width) => fill(words.roll, &[width]),
        None => paper.name.clone(),
    }
}

fn letters(plan: &Plan, tile: &Tile) -> Vec<String> {
    tile.pieces.iter().map(|&piece| plan.survey.pieces[piece].letter.clone()).collect()
}

impl Paged {
    /// What the manifest says of it.
    pub(super) fn report(&self, plan: &Plan) -> DocumentReport {
        let layout = &plan.layouts[self.layout];
        let core = layout.core.on(&self.paper);
        let (front_core, front_paper) = layout.core.front(&self.paper);
        let corners = |r: kurbo::Rect| [r.x0, r.y0, r.width(), r.height()];
        let size = |paper: &PaperSize| [paper.width.to_mm(), paper.height.to_mm()];
        let size_mm = size(&self.paper);
        let front = (0..self.front).map(|index| PageReport {
            page: index + 1,
            role: match index {
                0 => "cover",
                index if self.sizes && index + 1 == self.front => "sizes",
                _ => "list",
            },
            sheet: None,
            strip: None,
            in_strip: None,
            size_mm: size(&front_paper),
            core_mm: corners(front_core.on(&front_paper)),
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
        let mut pages: Vec<PageReport> = front.chain(tiles).collect();
        if plan.survey.build.paper.last_page_first {
            pages.reverse();
            pages.iter_mut().enumerate().for_each(|(index, page)| page.page = index + 1);
        }
        DocumentReport { file: self.file.clone(), paper: self.paper.name.clone(), correction: None, pages }
    }
}

/// The prop by every source that tells its size, beside the wearer; `None` where no picture sizes it.
fn compared(plan: &Plan, facts: &Facts) -> Option<(Drawing<Page>, Size)> {
    let survey = &plan.survey;
    survey.size.as_ref()?;
    let wording = survey.build.wording();
    let words = wording.words;
    let chosen = SizeShown {
        by: by_words(words, survey.build.size.value, None).to_owned(),
        length: facts.length.clone(),
        times: 1.0,
        chosen: true,
    };
    let others = survey.alternatives.iter().map(|other| {
        let half = (other.finished.high - other.finished.low) / 2.0;
        let [length, half] = [wording.length(Length::mm(other.finished.value)), wording.at_least(Length::mm(half))];
        SizeShown {
            by: by_words(words, other.from, other.like).to_owned(),
            length: fill(words.give_or_take, &[&length, &half]),
            times: other.finished.value / survey.finished.length_mm,
            chosen: false,
        }
    });
    let all: Vec<SizeShown> = std::iter::once(chosen).chain(others).collect();
    Some(sizes(&standing(&survey.drawn)?, &all, figure(plan).as_ref(), words))
}

/// The pieces of the picture on which they reach farthest, set upright: their longest way stands on y = 0, about x = 0.
fn standing(pieces: &[Piece]) -> Option<BezPath> {
    let mut groups: Vec<(usize, Vec<&Piece>)> = Vec::new();
    for piece in pieces {
        let Some(picture) = piece.picture else { continue };
        match groups.iter_mut().find(|(other, _)| *other == picture) {
            Some((_, group)) => group.push(piece),
            None => groups.push((picture, vec![piece])),
        }
    }
    let points = |group: &[&Piece]| -> Vec<Point<Pattern>> {
        group.iter().flat_map(|piece| piece.outline.flatten(0.5).concat()).collect()
    };
    let ends = groups.iter().filter_map(|(_, group)| Some((group, farthest_apart(&points(group))?)));
    let (group, [a, b]) = ends.max_by(|(_, [a, b]), (_, [c, d])| a.distance(*b).total_cmp(&c.distance(*d)))?;
    let (low, high) = if a.y > b.y { (a.raw(), b.raw()) } else { (b.raw(), a.raw()) };
    let up = (high - low).atan2();
    let turn = Affine::rotate(-std::f64::consts::FRAC_PI_2 - up);
    let all: BezPath = group.iter().flat_map(|piece| turn * piece.outline.raw().clone()).collect();
    let bounds = all.bounding_box();
    Some(Affine::translate((-bounds.center().x, -bounds.y1)) * all)
}

/// A source of the size, for a person.
const fn by_words(words: &Words, from: SizeFrom, like: Option<Like>) -> &'static str {
    match (from, like) {
        (SizeFrom::KnownLengths, _) => words.by_known_lengths,
        (SizeFrom::AsPictured, _) => words.by_as_pictured,
        (SizeFrom::Figure, None) => words.by_figure,
        (SizeFrom::Figure, Some(Like::Stature)) => words.by_figure_stature,
        (SizeFrom::Figure, Some(Like::Head)) => words.by_figure_head,
        (SizeFrom::Figure, Some(Like::Shoulder)) => words.by_figure_shoulder,
        (SizeFrom::Figure, Some(Like::Blend(_))) => words.by_figure_blend,
        (SizeFrom::Hand, _) => words.by_hand,
        (SizeFrom::Finished(_), _) => words.by_finished,
    }
}

fn facts(plan: &Plan) -> Facts {
    let survey = &plan.survey;
    let wording = survey.build.wording();
    let words = wording.words;
    let with_doubt = |value: f64, [low, high]: [f64; 2]| {
        let value = wording.length(Length::mm(value));
        let half = (high - low) / 2.0;
        if half < 0.05 {
            return value;
        }
        let half = if half >= 10.0 { half.ceil() } else { half };
        fill(words.give_or_take, &[&value, &wording.at_least(Length::mm(half))])
    };
    let wearer = survey.build.wearer.filter(|_| survey.build.size.value == SizeFrom::Figure);
    Facts {
        name: survey.build.name.clone(),
        date: survey.build.date.clone(),
        set: set_number(plan),
        in_doubt: survey.finished.length_95 != [survey.finished.length_mm; 2],
        length: with_doubt(survey.finished.length_mm, survey.finished.length_95),
        width: with_doubt(survey.finished.width_mm, survey.finished.width_95),
        wearer: wearer.map(|wearer| {
            let barefoot = wording.length(wearer.height.value);
            if wearer.shoes == Length::ZERO {
                fill(words.wearer_barefoot, &[&barefoot])
            } else {
                fill(words.wearer_with_shoes, &[&wording.length(wearer.height.value + wearer.shoes), &barefoot])
            }
        }),
        rests_on: rests_on(words, survey.build.size.value, survey.size.is_some()).to_owned(),
        building: survey.building.clone(),
        cutting: survey.build.cutting.clone(),
        wording,
    }
}

/// Where the size comes from, for a person.
fn rests_on(words: &Words, from: SizeFrom, pictured: bool) -> &'static str {
    match from {
        _ if !pictured => words.rests_on_full_size,
        SizeFrom::KnownLengths => words.rests_on_known_lengths,
        SizeFrom::AsPictured => words.rests_on_as_pictured,
        SizeFrom::Figure => words.rests_on_figure,
        SizeFrom::Hand => words.rests_on_hand,
        SizeFrom::Finished(_) => words.rests_on_finished,
    }
}

impl Plan {
    /// The pieces beside the wearer, and how large that is in mm.
    pub fn beside_wearer(&self) -> (Drawing<Page>, Size) {
        side_by_side(&self.survey.drawn, figure(self).as_ref())
    }
}

fn figure(plan: &Plan) -> Option<Figure> {
    let wearer = plan.survey.build.wearer?;
    let height = wearer.height.value + wearer.shoes;
    Some(Figure { height, caption: plan.survey.build.wording().length(height) })
}

/// The piece list as comma-separated values (RFC 4180), lengths in mm.
fn pieces_csv(plan: &Plan) -> String {
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let mut out =
        String::from("letter,name,copies,face_down,foam_mm,width_mm,height_mm,length_mm,area_mm2,perimeter_mm,how\r\n");
    let wording = Wording { shown: Shown::Both, ..plan.survey.build.wording() };
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
            quoted(&cut_words(piece, wording)),
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
