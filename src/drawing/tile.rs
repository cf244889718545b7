//! The pages that carry pattern. Drawn in the frame of the core, so that one drawing serves every paper sharing it.

use kurbo::{BezPath, ParamCurve as _, ParamCurveNearest as _, Point as Raw, Rect, Shape as _, Size, Vec2};
use rayon::prelude::*;

use super::block::{BESIDE, Block, SETTINGS, UP, block};
use super::clip::clip;
use super::lines::{Class, Drawing};
use super::markings::{self, Inside, hatch_around, insides};
use super::misfit::misfits;
use super::rulers::rulers;
use super::{fitted, shorten, wrap};
use crate::paper::{Clearing, Layout, Mark, Neighbours, Placed, Search, Sheet, Tile};
use crate::pattern::Piece;
use crate::space::{JoinedSheet, Page, Path, Point};
use crate::text::{BOLD, REGULAR, Wording, Words, fill};

/// What every page says of the build.
#[derive(Clone, Debug)]
pub struct Header {
    /// Name and date.
    pub build: String,
    /// "set 4821": every page of one printing has the same.
    pub set: String,
    /// The words, and how sizes are shown.
    pub wording: Wording,
    /// Pages before the first page of pattern.
    pub before: usize,
    /// All pages of the document.
    pub pages: usize,
}

/// Arm of a join mark, in mm; shorter where the overlap is narrow, so that both pages show it whole.
const ARM: f64 = 4.0;
/// Words keep this far from every line, in mm.
const CLEAR: f64 = 1.3;
/// Polylines for finding room stay this close to their curves.
const COARSE: f64 = 0.3;
/// Em of the letter on pages that do not hold the full words, largest first.
const LETTERS: [f64; 5] = [9.0, 6.5, 4.5, 3.2, 2.4];

/// The room that the words of `piece` need beside it; nothing when they fit inside it.
pub fn words_beside(piece: &Piece, wording: Wording) -> Size {
    let bounds = piece.outline.bounds();
    let mut clearing = Clearing::new(bounds);
    let loops = polylines(&piece.cut_path());
    clearing.take_area(&loops, true);
    loops.iter().for_each(|line| clearing.take_line(line, CLEAR));
    let search = clearing.search();
    let fits = |(setting, sideways): (super::block::Setting, bool)| {
        let size = block(piece, wording, setting, UP, sideways).size;
        search.find(size, bounds.center(), 0.0).is_some()
    };
    if settings().any(fits) {
        return Size::ZERO;
    }
    let size = block(piece, wording, BESIDE, UP, false).size;
    Size::new(size.width + 4.0 * CLEAR, size.height + 4.0 * CLEAR)
}

/// Every page of pattern of `layout`, in print order, in the frame of the core.
pub fn tiles(layout: &Layout, pieces: &[Piece], header: &Header) -> Vec<Drawing<Page>> {
    let mut pages: Vec<Sketch> = layout.tiles.par_iter().map(Sketch::new).collect();
    for number in 0..layout.sheets.len() {
        draw_sheet(number, layout, pieces, header, &mut pages);
    }
    let rulers = rulers(&layout.core, header.wording);
    pages
        .into_par_iter()
        .zip(&layout.tiles)
        .enumerate()
        .map(|(index, (sketch, tile))| {
            let mut page = Drawing::default();
            page.add(sketch.drawing, layout.core.field.origin() - tile.field.origin());
            page.add(rulers.clone(), Vec2::ZERO);
            page.add(foot(layout, tile, pieces, header, header.before + index + 1), Vec2::ZERO);
            page
        })
        .collect()
}

/// One page while it is drawn, in the frame of its joined sheet.
struct Sketch {
    drawing: Drawing<JoinedSheet>,
    clearing: Clearing,
    /// What is free outside all pieces.
    beside: Clearing,
    /// Where words stand.
    words: Vec<Rect>,
}

impl Sketch {
    fn new(tile: &Tile) -> Self {
        let mut clearing = Clearing::new(tile.field);
        let corners = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0)];
        let rim = corners
            .map(|(x, y)| Raw::new(tile.field.x0 + x * tile.field.width(), tile.field.y0 + y * tile.field.height()));
        clearing.take_line(&rim, CLEAR);
        Self { drawing: Drawing::default(), beside: clearing.clone(), clearing, words: Vec::new() }
    }

    /// Sets `words` into `place` and keeps others out of it.
    fn set(&mut self, words: Block, place: Rect) {
        self.drawing.add(words.drawing, place.origin().to_vec2());
        self.words.push(place);
        self.take(place);
    }

    /// Keeps words out of `place`.
    fn take(&mut self, place: Rect) {
        self.clearing.take(place);
        self.beside.take(place);
    }
}

/// A piece as it lies on its sheet.
struct Lying<'a> {
    piece: &'a Piece,
    placed: &'a Placed,
    loops: Vec<Loop>,
    bounds: Rect,
    /// What is drawn on it and not cut.
    insides: Vec<Inside>,
}

/// One loop of a cut path: a page looks only at those that come near it.
struct Loop {
    bounds: Rect,
    path: Path<JoinedSheet>,
    line: Vec<Raw>,
}

impl<'a> Lying<'a> {
    fn new(piece: &'a Piece, placed: &'a Placed, wording: Wording) -> Self {
        // Placing only moves and turns: the map is affine and exact.
        let cut = placed.to_sheet.path(&piece.cut_path(), f64::INFINITY);
        let elements = cut.raw().elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
        let one = |elements: &[kurbo::PathEl]| {
            let path = Path::new(BezPath::from_vec(elements.to_vec()));
            Loop { bounds: path.bounds(), line: polylines(&path).concat(), path }
        };
        let loops: Vec<Loop> = elements.map(one).collect();
        let bounds = loops.iter().map(|l| l.bounds).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO);
        let insides = insides(piece, &placed.to_sheet, wording);
        Self { piece, placed, loops, bounds, insides }
    }

    /// The loops that may reach into `window`; any other has all of it inside or all of it outside, an even number of times.
    fn near(&self, window: Rect) -> impl Iterator<Item = &Loop> {
        // Polylines stray a little from their curves.
        let window = window.inflate(COARSE, COARSE);
        self.loops.iter().filter(move |l| l.bounds.overlaps(window))
    }

    fn lines_near(&self, window: Rect) -> Vec<&[Raw]> {
        self.near(window).map(|l| l.line.as_slice()).collect()
    }

    /// What `field` shows of the cut lines.
    fn shown(&self, field: Rect) -> Path<JoinedSheet> {
        Path::new(self.near(field).flat_map(|l| clip(&l.path, field).raw().clone()).collect())
    }
}

fn draw_sheet(number: usize, layout: &Layout, pieces: &[Piece], header: &Header, pages: &mut [Sketch]) {
    let sheet = &layout.sheets[number];
    let of_sheet: Vec<usize> = (0..layout.tiles.len()).filter(|&t| layout.tiles[t].sheet == number).collect();
    let lying: Vec<Lying<'_>> =
        sheet.placed.iter().map(|placed| Lying::new(&pieces[placed.piece], placed, header.wording)).collect();
    let on_sheet = pages.par_iter_mut().zip(&layout.tiles).filter(|(_, tile)| tile.sheet == number);
    on_sheet.for_each(|(page, tile)| {
        lying.iter().for_each(|lying| draw_cut(lying, tile, page));
        lying.iter().for_each(|lying| draw_insides(lying, tile, page));
        draw_joins(sheet, tile, layout.core.overlap, header.wording, page);
        page.beside = page.clearing.clone();
        lying.iter().for_each(|lying| page.beside.take_area(&lying.lines_near(tile.field), false));
    });
    for index in 0..lying.len() {
        set_words(&lying, index, &of_sheet, layout, header, pages);
    }
    // After the lines from words to pieces, which may have one way only.
    let on_sheet = pages.par_iter_mut().zip(&layout.tiles).filter(|(_, tile)| tile.sheet == number);
    on_sheet.for_each(|(page, tile)| {
        if let Some(misfit) = misfits(sheet, tile, layout.core.overlap).first() {
            explain_misfits(misfit.room.center(), header.wording.words, page);
        }
        lying.iter().for_each(|lying| draw_glue(lying, tile, page));
    });
}

/// Everything on a piece but glue, with its words.
fn draw_insides(lying: &Lying<'_>, tile: &Tile, page: &mut Sketch) {
    let near = lying.insides.iter().filter(|inside| inside.bounds.overlaps(tile.field));
    for inside in near.clone().filter(|inside| inside.class != Class::Glue) {
        let shown = clip(&inside.path, tile.field);
        if shown.raw().is_empty() {
            continue;
        }
        for line in polylines(&shown) {
            page.clearing.take_line(&line, CLEAR);
        }
        match inside.dash {
            Some(dash) => page.drawing.dashed(inside.class, shown.raw().clone(), dash),
            None => page.drawing.line(inside.class, shown.raw().clone()),
        }
    }
    for (text, wish) in near.filter_map(|inside| inside.label.as_ref()) {
        let place = Some(*wish).filter(|wish| tile.field.contains(*wish));
        if let Some(place) = place.and_then(|wish| page.clearing.find_near(markings::room(text), wish)) {
            page.drawing.text(place.x0 + 0.3, place.y1 - 0.4, markings::em(), false, text.clone());
            page.words.push(place);
            page.clearing.take(place);
        }
    }
}

/// Hatches leave room for all words, and so come last.
fn draw_glue(lying: &Lying<'_>, tile: &Tile, page: &mut Sketch) {
    let glue = lying.insides.iter().filter(|inside| inside.class == Class::Glue && inside.bounds.overlaps(tile.field));
    for inside in glue {
        let lines = hatch_around(&inside.path, tile.field, &page.words);
        if !lines.is_empty() {
            page.drawing.line(Class::Glue, lines);
        }
    }
}

fn draw_cut(lying: &Lying<'_>, tile: &Tile, page: &mut Sketch) {
    let path = lying.shown(tile.field);
    if !path.raw().is_empty() {
        page.drawing.line(Class::Cut, path.raw().clone());
    }
    for line in lying.lines_near(tile.field.inflate(CLEAR, CLEAR)) {
        page.clearing.take_line(line, CLEAR);
    }
    for (at, diameter) in lying.piece.circles() {
        let centre = lying.placed.to_sheet.point(at).raw();
        if tile.field.inset(-1.0).contains(centre) {
            let arm = (diameter / 4.0).min(2.0);
            page.drawing.line(Class::SettingOut, cross(centre, arm));
            page.clearing.take(Rect::from_center_size(centre, Size::new(3.0 * arm, 3.0 * arm)));
        }
    }
}

fn draw_joins(sheet: &Sheet, tile: &Tile, overlap: f64, wording: Wording, page: &mut Sketch) {
    let arm = ARM.min(overlap / 2.0 - 0.8);
    let f = tile.field;
    let edges = [
        (tile.neighbours.above, (f.x0, f.y0), (f.x1, f.y0)),
        (tile.neighbours.below, (f.x0, f.y1), (f.x1, f.y1)),
        (tile.neighbours.left, (f.x0, f.y0), (f.x0, f.y1)),
        (tile.neighbours.right, (f.x1, f.y0), (f.x1, f.y1)),
    ];
    for (_, from, to) in edges.into_iter().filter(|(neighbour, ..)| neighbour.is_some()) {
        let mut edge = BezPath::new();
        edge.move_to(from);
        edge.line_to(to);
        page.drawing.dashed(Class::Join, edge, [3.0, 1.5]);
    }
    let here: Vec<_> = sheet.marks.iter().filter(|mark| f.inset(-arm).contains(mark.at.raw())).collect();
    for mark in &here {
        page.drawing.line(Class::Join, cross(mark.at.raw(), arm));
        let size = 2.0 * (arm + 0.5);
        page.clearing.take(Rect::from_center_size(mark.at.raw(), Size::new(size, 1.6)));
        page.clearing.take(Rect::from_center_size(mark.at.raw(), Size::new(1.6, size)));
    }
    let misfits = misfits(sheet, tile, overlap);
    for misfit in &misfits {
        page.drawing.line(Class::Join, misfit.ticks.clone());
        page.take(misfit.room);
    }
    if let Some(line) = sheet.base_line {
        draw_base_line(line.map(Point::raw), sheet, tile, wording, page);
    }
    for mark in here {
        let text = mark.number.to_string();
        let size = 2.6;
        let room = Size::new(BOLD.width(&text, size) + 0.6, BOLD.cap_height(size) + 0.8);
        if let Some(place) = page.clearing.find_near(room, mark.at.raw() + Vec2::new(2.4, -2.4)) {
            page.drawing.text(place.x0 + 0.3, place.y1 - 0.4, size, true, text);
            page.words.push(place);
            page.clearing.take(place);
        }
    }
}

/// What the ticks beside crosses are for, in as many lines as find room near them.
fn explain_misfits(at: Raw, words: &Words, page: &mut Sketch) {
    const EM: f64 = 2.0;
    const LEADING: f64 = 1.3;
    for wide in [70.0, 45.0, 30.0, 22.0] {
        let lines = wrap(&REGULAR, words.misfit, EM, wide);
        let width = lines.iter().map(|line| REGULAR.width(line, EM)).fold(0.0, f64::max);
        let height = REGULAR.cap_height(EM) + (lines.len() - 1) as f64 * EM * LEADING;
        let room = Size::new(width + 0.6, height + 1.4);
        let Some(place) = page.clearing.find(room, at, 0.0) else { continue };
        for (index, line) in lines.into_iter().enumerate() {
            let y = place.y0 + 0.4 + REGULAR.cap_height(EM) + index as f64 * EM * LEADING;
            page.drawing.text(place.x0 + 0.3, y, EM, false, line);
        }
        page.words.push(place);
        page.take(place);
        return;
    }
}

/// The part of a base line that a page shows, and at each mark on it how far that is from the first one.
fn draw_base_line(line: [Raw; 2], sheet: &Sheet, tile: &Tile, wording: Wording, page: &mut Sketch) {
    const EM: f64 = 2.2;
    let f = tile.field;
    let (from, to) = (line[0], line[1]);
    let clamped = |p: Raw| Raw::new(p.x.clamp(f.x0, f.x1), p.y.clamp(f.y0, f.y1));
    let (a, b) = (clamped(from), clamped(to));
    let along = (to - from).normalize();
    if along.cross(a - from).abs() > 1e-6 || a.distance(b) < 1.0 {
        return;
    }
    let mut path = BezPath::new();
    path.move_to(a);
    path.line_to(b);
    page.drawing.line(Class::SettingOut, path);
    page.clearing.take_line(&[a, b], CLEAR);
    let on_line = sheet.marks.iter().filter(|mark| along.cross(mark.at.raw() - from).abs() < 0.01);
    let reach = |mark: &Mark| along.dot(mark.at.raw() - from);
    let zero = on_line.clone().map(reach).fold(f64::INFINITY, f64::min);
    for mark in on_line.filter(|mark| f.contains(mark.at.raw())) {
        let text = fill(wording.words.base_line, &[&wording.figure(reach(mark) - zero)]);
        let room = Size::new(REGULAR.width(&text, EM) + 0.6, REGULAR.cap_height(EM) + 0.8);
        if let Some(place) = page.clearing.find_near(room, mark.at.raw() + Vec2::new(12.0, 4.5)) {
            page.drawing.text(place.x0 + 0.3, place.y1 - 0.4, EM, false, text);
            page.words.push(place);
            page.clearing.take(place);
        }
    }
}

fn cross(middle: Raw, arm: f64) -> BezPath {
    let mut path = BezPath::new();
    path.move_to(middle - Vec2::new(arm, 0.0));
    path.line_to(middle + Vec2::new(arm, 0.0));
    path.move_to(middle - Vec2::new(0.0, arm));
    path.line_to(middle + Vec2::new(0.0, arm));
    path
}

/// The words of one piece on the page where they have the most room, and its letter on every other page it crosses.
fn set_words(
    lying: &[Lying<'_>],
    index: usize,
    of_sheet: &[usize],
    layout: &Layout,
    header: &Header,
    pages: &mut [Sketch],
) {
    let this = &lying[index];
    let mut rooms: Vec<(usize, Clearing)> = of_sheet
        .par_iter()
        .filter(|&&tile| layout.tiles[tile].pieces.contains(&this.placed.piece))
        .map(|&tile| {
            let mut clearing = pages[tile].clearing.part(this.bounds);
            clearing.take_area(&this.lines_near(layout.tiles[tile].field), true);
            (tile, clearing)
        })
        .collect();
    rooms.sort_by_cached_key(|(tile, clearing)| (std::cmp::Reverse(clearing.free()), *tile));
    let up = this.placed.up();
    let words = |setting, sideways| block(this.piece, header.wording, setting, up, sideways);
    let searches: Vec<(usize, Search<'_>, Raw)> =
        rooms.par_iter().take(4).map(|(tile, clearing)| (*tile, clearing.search(), clearing.middle())).collect();
    let inside = settings().find_map(|(setting, sideways)| {
        let words = words(setting, sideways);
        let place =
            searches.iter().find_map(|(tile, search, middle)| Some((*tile, search.find(words.size, *middle, 3.0)?)));
        place.map(|(tile, place)| (tile, place, words))
    });
    let main = match inside {
        Some((tile, place, words)) => {
            pages[tile].set(words, place);
            Some(tile)
        }
        None => rooms.first().and_then(|(tile, _)| {
            let wish =
                this.placed.words.map_or_else(|| middle_in(this, layout.tiles[*tile].field), |rect| rect.center());
            let beside = &pages[*tile].beside;
            // As the room lies that was kept for them.
            let upright = this.placed.words.is_some_and(|room| room.height() > room.width());
            let (words, place) = [upright, !upright].into_iter().find_map(|sideways| {
                let words = words(BESIDE, sideways);
                let place = beside.find(words.size, wish, 0.0)?;
                Some((words, place))
            })?;
            point_at(this, place, layout.tiles[*tile].field, &mut pages[*tile]);
            pages[*tile].set(words, place);
            Some(*tile)
        }),
    };
    rooms.sort_by_key(|(tile, _)| *tile);
    pages.par_iter_mut().enumerate().filter(|(tile, _)| Some(*tile) != main).for_each(|(tile, page)| {
        if let Ok(at) = rooms.binary_search_by_key(&tile, |(tile, _)| *tile) {
            set_letter(this, &rooms[at].1, layout.tiles[tile].field, page);
        }
    });
}

/// The letter alone: inside the piece where it fits, else beside it with a line to it.
fn set_letter(this: &Lying<'_>, inside: &Clearing, field: Rect, page: &mut Sketch) {
    let letter = &this.piece.letter;
    let room = |size: f64| Size::new(BOLD.width(letter, size) + 0.4, BOLD.cap_height(size) + 0.4);
    let set = |size: f64, place: Rect, page: &mut Sketch| {
        page.drawing.text(place.x0 + 0.2, place.y1 - 0.2, size, true, letter.clone());
        page.words.push(place);
        page.take(place);
    };
    if let Some((number, place)) = inside.find_first(LETTERS.map(room), inside.middle(), 2.0) {
        set(LETTERS[number], place, page);
        return;
    }
    let small = &LETTERS[2..];
    let wish = middle_in(this, field);
    if let Some((number, place)) = page.beside.find_first(small.iter().copied().map(room), wish, 0.0) {
        point_at(this, place, field, page);
        set(small[number], place, page);
    }
}

/// A line from words beside a piece to the nearest place of what `field` shows of its cut lines that it reaches past no other
/// words.
fn point_at(this: &Lying<'_>, place: Rect, field: Rect, page: &mut Sketch) {
    let centre = place.center();
    // From the nearest place of the words, else from a corner of them.
    let from = |to: Raw| {
        let nearest = Raw::new(to.x.clamp(place.x0, place.x1), to.y.clamp(place.y0, place.y1));
        let corners = [(place.x0, place.y0), (place.x1, place.y0), (place.x0, place.y1), (place.x1, place.y1)];
        std::iter::once(nearest).chain(corners.map(Raw::from))
    };
    let shown = this.shown(field);
    let mut ends: Vec<(f64, Raw)> = shown
        .raw()
        .segments()
        .map(|segment| {
            let nearest = segment.nearest(centre, COARSE);
            (nearest.distance_sq, segment.eval(nearest.t))
        })
        .collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let free = |[a, b]: &[Raw; 2]| {
        let own = place.inset(-0.3);
        !meets(*a, *b, own) && !page.words.iter().any(|words| meets(*a, *b, words.inflate(0.3, 0.3)))
    };
    let mut ways = ends.iter().flat_map(|(_, to)| from(*to).map(|from| [from, *to]));
    let way = ways.find(free).or_else(|| ends.first().and_then(|(_, to)| Some([from(*to).next()?, *to])));
    if let Some([from, to]) = way {
        page.drawing.straight(Class::SettingOut, from.into(), to.into());
        for clearing in [&mut page.clearing, &mut page.beside] {
            clearing.take_line(&[from, to], CLEAR);
        }
    }
}

/// Whether the straight line from `a` to `b` meets `rect`.
fn meets(a: Raw, b: Raw, rect: Rect) -> bool {
    !clip(&Path::<JoinedSheet>::new(kurbo::Line::new(a, b).to_path(1.0)), rect).raw().is_empty()
}

/// The middle of what `field` shows of the outline.
fn middle_in(this: &Lying<'_>, field: Rect) -> Raw {
    let (mut sum, mut count) = (Vec2::ZERO, 0.0);
    for p in this.loops.iter().flat_map(|l| &l.line).filter(|p| field.contains(**p)) {
        sum += p.to_vec2();
        count += 1.0;
    }
    if count > 0.0 { (sum / count).to_point() } else { field.center() }
}

fn settings() -> impl Iterator<Item = (super::block::Setting, bool)> {
    SETTINGS.into_iter().flat_map(|setting| [(setting, false), (setting, true)])
}

fn polylines<S: crate::space::Space>(path: &Path<S>) -> Vec<Vec<Raw>> {
    path.flatten(COARSE).into_iter().map(|line| line.into_iter().map(|p| p.raw()).collect()).collect()
}

/// The foot of the page: its name large, its place in the print order small, what is on it, its neighbours, the legend.
fn foot(layout: &Layout, tile: &Tile, pieces: &[Piece], header: &Header, page: usize) -> Drawing<Page> {
    let mut drawing = Drawing::default();
    let core = &layout.core;
    let words = header.wording.words;
    let (left, top) = (core.field.x0, core.field.y1);
    let name = tile.name();
    let size = 7.0;
    drawing.text(left, top + 1.4 + BOLD.cap_height(size), size, true, name.clone());
    let x = left + BOLD.width(&name, size) + 3.0;
    let wide = core.size.width - x;
    let letters: Vec<&str> = tile.pieces.iter().map(|&piece| pieces[piece].letter.as_str()).collect();
    let mut parts = vec![
        header.set.clone(),
        fill(words.page_of, &[&page.to_string(), &header.pages.to_string()]),
        fill(if letters.len() == 1 { words.one_piece } else { words.pieces }, &[&letters.join(" ")]),
    ];
    if tile.neighbours.none() {
        parts.push(words.no_neighbours.to_owned());
    } else {
        parts.push(neighbours(tile.neighbours, words));
    }
    // What is said of the page comes first; the name of the build has what room is left.
    let small = 2.3;
    let own = parts.join("  ·  ");
    let left_over = wide - REGULAR.width(&own, small) - REGULAR.width("  ·  ", small);
    let own = if left_over > 15.0 {
        format!("{own}  ·  {}", shorten(&REGULAR, &header.build, small, left_over))
    } else {
        own
    };
    let mut y = top + 1.1;
    let mut set = |text: &str, sizes: &[(f64, usize)], room: f64| {
        let (size, lines) = fitted(&REGULAR, text, wide, sizes);
        let leading = room / lines.len().max(1) as f64;
        for line in lines {
            drawing.text(x, y + leading.min(2.9) * 0.82, size, false, line);
            y += leading;
        }
    };
    set(&own, &[(small, 1), (1.9, 1), (1.6, 1), (1.4, 2)], 2.9);
    let legend = if tile.neighbours.none() { words.footer_legend_whole } else { words.footer_legend };
    set(legend, &[(small, 1), (1.9, 1), (1.6, 1), (1.6, 2), (1.4, 3)], 3.2);
    drawing
}

fn neighbours(n: Neighbours, words: &Words) -> String {
    let named = [(words.above, n.above), (words.below, n.below), (words.left, n.left), (words.right, n.right)];
    let named: Vec<String> = named
        .into_iter()
        .filter_map(|(side, name)| name.map(|(strip, place)| fill(side, &[&format!("{strip}.{place}")])))
        .collect();
    named.join(", ")
}
