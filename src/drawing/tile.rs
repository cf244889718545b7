//! The pages that carry pattern. Drawn in the frame of the core, so that one drawing serves every paper sharing it.

use kurbo::{Affine, BezPath, ParamCurve as _, ParamCurveNearest as _, Point as Raw, Rect, Shape as _, Size, Vec2};
use rayon::prelude::*;

use super::block::{BESIDE, Block, KEPT, SETTINGS, SMALLEST, Setting, UP, block, block_apart};
use super::clip::clip;
use super::lines::{Class, Drawing};
use super::markings::{self, Inside, hatch_around, insides};
use super::misfit::misfits;
use super::rulers::rulers;
use super::{fitted, shorten, wrap};
use crate::paper::{Clearing, Layout, Mark, Neighbours, Placed, Search, Sheet, Tile};
use crate::pattern::Piece;
use crate::space::{JoinedSheet, Map, Page, Path, Pattern, Point};
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
const LETTERS: [f64; 6] = [9.0, 6.5, 4.5, 3.2, 2.4, 1.8];
/// A line from words to a piece longer than this is followed with pains, in mm.
const FAR: f64 = 60.0;
/// Words of a marking farther from it than this are joined to it by a line, in mm.
const AT_LINE: f64 = 12.0;

/// The room that the words of `piece` need beside it; nothing when they fit inside it.
pub fn words_beside(piece: &Piece, wording: Wording) -> Size {
    let bounds = piece.outline.bounds();
    let lying = Lying::new(piece, Map::affine(Affine::IDENTITY), wording);
    let mut page = Sketch::new(bounds);
    lying.keep_clear(bounds, &mut page.clearing);
    draw_insides(0, &lying, bounds, &mut page);
    page.clearing.take_area(&lying.lines_near(bounds), true);
    let search = page.clearing.search();
    let fits = |(setting, sideways): (Setting, bool)| {
        let size = block(piece, wording, setting, UP, sideways).size;
        search.find(size, bounds.center(), 0.0).is_some()
    };
    if both_ways(&SETTINGS, false).chain(both_ways(&SMALLEST, false)).any(fits) {
        return Size::ZERO;
    }
    let size = block(piece, wording, KEPT, UP, false).size;
    Size::new(size.width + 4.0 * CLEAR, size.height + 4.0 * CLEAR)
}

/// Every page of pattern of `layout`, in print order, in the frame of the core.
pub fn tiles(layout: &Layout, pieces: &[Piece], header: &Header) -> Vec<Drawing<Page>> {
    sketch(layout, pieces, header.wording).finish(layout, pieces, header)
}

/// The pages of pattern before it is known how many others there are.
pub struct Sketched {
    pages: Vec<Sketch>,
    /// Pieces whose words found no room on any page of their sheets.
    pub untold: Vec<usize>,
}

/// Everything on the pages of `layout` but what is around the pattern.
pub fn sketch(layout: &Layout, pieces: &[Piece], wording: Wording) -> Sketched {
    let mut pages: Vec<Sketch> = layout.tiles.par_iter().map(|tile| Sketch::new(tile.field)).collect();
    let sheets = 0..layout.sheets.len();
    let untold = sheets.flat_map(|number| draw_sheet(number, layout, pieces, wording, &mut pages)).collect();
    Sketched { pages, untold }
}

impl Sketched {
    /// The pages with their rulers and feet.
    pub fn finish(self, layout: &Layout, pieces: &[Piece], header: &Header) -> Vec<Drawing<Page>> {
        let rulers = rulers(&layout.core, header.wording);
        self.pages
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
}

/// One page while it is drawn, in the frame of its joined sheet.
struct Sketch {
    drawing: Drawing<JoinedSheet>,
    clearing: Clearing,
    /// What is free outside all pieces.
    beside: Clearing,
    /// Where words stand.
    words: Vec<Rect>,
    /// What is cut, by the number of the piece.
    cuts: Vec<(usize, Vec<Vec<Raw>>)>,
    /// Markings without room for their words close by: the number of a piece on the sheet, and of the marking on it.
    unsaid: Vec<(usize, usize)>,
}

impl Sketch {
    fn new(field: Rect) -> Self {
        let mut clearing = Clearing::new(field);
        let corners = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0)];
        let rim = corners.map(|(x, y)| Raw::new(field.x0 + x * field.width(), field.y0 + y * field.height()));
        clearing.take_line(&rim, CLEAR);
        let beside = clearing.clone();
        Self { drawing: Drawing::default(), beside, clearing, words: Vec::new(), cuts: Vec::new(), unsaid: Vec::new() }
    }

    /// Sets `words` into `place` and keeps others out of it.
    fn set(&mut self, words: Block, place: Rect) {
        self.drawing.add(words.drawing, place.origin().to_vec2());
        self.words.push(place);
        self.take(place);
    }

    /// Sets one line into a `place` that has `air` around it.
    fn set_line(&mut self, text: &str, size: f64, bold: bool, place: Rect, air: f64) {
        self.drawing.text(place.x0 + air, place.y1 - air, size, bold, text);
        self.words.push(place);
        self.take(place);
    }

    /// Whether a line from words in `place` passes neither them nor others.
    fn is_free(&self, [a, b]: [Raw; 2], place: Rect) -> bool {
        !meets(a, b, place.inset(-0.3)) && !self.words.iter().any(|words| meets(a, b, words.inflate(0.3, 0.3)))
    }

    /// Whether a line passes through no piece but this one.
    fn is_clear_of_others(&self, [a, b]: [Raw; 2], piece: usize) -> bool {
        let others = self.cuts.iter().filter(|(other, _)| *other != piece).flat_map(|(_, lines)| lines);
        !others.flat_map(|line| line.windows(2)).any(|side| cross_each_other([a, b], [side[0], side[1]]))
    }

    /// Draws a line from words to what they are about.
    fn lead(&mut self, [from, to]: [Raw; 2]) {
        self.drawing.straight(Class::SettingOut, from.into(), to.into());
        for clearing in [&mut self.clearing, &mut self.beside] {
            clearing.take_line(&[from, to], CLEAR);
        }
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
    to_sheet: Map<Pattern, JoinedSheet>,
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
    fn new(piece: &'a Piece, to_sheet: Map<Pattern, JoinedSheet>, wording: Wording) -> Self {
        // Placing only moves and turns: the map is affine and exact.
        let cut = to_sheet.path(&piece.cut_path(), f64::INFINITY);
        let elements = cut.raw().elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
        let one = |elements: &[kurbo::PathEl]| {
            let path = Path::new(BezPath::from_vec(elements.to_vec()));
            Loop { bounds: path.bounds(), line: polylines(&path).concat(), path }
        };
        let loops: Vec<Loop> = elements.map(one).collect();
        let bounds = loops.iter().map(|l| l.bounds).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO);
        let insides = insides(piece, &to_sheet, wording);
        Self { piece, to_sheet, loops, bounds, insides }
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

    /// The middles of its round holes, with how far the crosses on them reach.
    fn crosses(&self) -> impl Iterator<Item = (Raw, f64)> {
        self.piece.circles().map(|(at, diameter)| (self.to_sheet.point(at).raw(), (diameter / 4.0).min(2.0)))
    }

    /// Keeps words off its cut lines and crosses in `field`.
    fn keep_clear(&self, field: Rect, clearing: &mut Clearing) {
        for line in self.lines_near(field.inflate(CLEAR, CLEAR)) {
            clearing.take_line(line, CLEAR);
        }
        for (centre, arm) in self.crosses() {
            clearing.take(Rect::from_center_size(centre, Size::new(3.0 * arm, 3.0 * arm)));
        }
    }
}

/// Draws a joined sheet, and returns the pieces whose words found no room on it.
fn draw_sheet(number: usize, layout: &Layout, pieces: &[Piece], wording: Wording, pages: &mut [Sketch]) -> Vec<usize> {
    let sheet = &layout.sheets[number];
    let of_sheet: Vec<usize> = (0..layout.tiles.len()).filter(|&t| layout.tiles[t].sheet == number).collect();
    let lying: Vec<Lying<'_>> =
        sheet.placed.iter().map(|placed| Lying::new(&pieces[placed.piece], placed.to_sheet, wording)).collect();
    let on_sheet = pages.par_iter_mut().zip(&layout.tiles).filter(|(_, tile)| tile.sheet == number);
    on_sheet.for_each(|(page, tile)| {
        for (lying, placed) in lying.iter().zip(&sheet.placed) {
            draw_cut(lying, placed.piece, tile, page);
        }
        lying.iter().enumerate().for_each(|(index, lying)| draw_insides(index, lying, tile.field, page));
        draw_joins(sheet, tile, layout.core.overlap, wording, page);
        page.beside = page.clearing.clone();
        lying.iter().for_each(|lying| page.beside.take_area(&lying.lines_near(tile.field), false));
    });
    // First those that room was kept for, so that no others stand in it.
    let mut order: Vec<usize> = (0..lying.len()).collect();
    order.sort_by_key(|&index| sheet.placed[index].words.is_none());
    let untold = order.into_iter().filter(|&index| {
        let words = WordsOf { lying: &lying[index], placed: &sheet.placed[index], layout, wording };
        !words.set(&of_sheet, pages)
    });
    let untold = untold.map(|index| sheet.placed[index].piece).collect();
    // After the lines from words to pieces, which may have one way only.
    let on_sheet = pages.par_iter_mut().zip(&layout.tiles).filter(|(_, tile)| tile.sheet == number);
    on_sheet.for_each(|(page, tile)| {
        for (piece, marking) in std::mem::take(&mut page.unsaid) {
            say_with_line(&lying[piece], marking, tile.field, page);
        }
        if let Some(misfit) = misfits(sheet, tile, layout.core.overlap).first() {
            explain_misfits(misfit.room.center(), wording.words, page);
        }
        lying.iter().for_each(|lying| draw_glue(lying, tile, page));
    });
    untold
}

/// Everything on a piece but glue, with its words where they have room inside of the piece.
fn draw_insides(index: usize, lying: &Lying<'_>, field: Rect, page: &mut Sketch) {
    let near = lying.insides.iter().enumerate().filter(|(_, inside)| inside.bounds.overlaps(field));
    for (_, inside) in near.clone().filter(|(_, inside)| inside.class != Class::Glue) {
        let shown = clip(&inside.path, field);
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
    for (number, inside) in near {
        let Some((text, wish)) = inside.label.as_ref().filter(|(_, wish)| field.contains(*wish)) else { continue };
        let room = markings::room(text);
        let close = Size::new(room.width + AT_LINE, room.height + AT_LINE);
        let mut clearing = page.clearing.part(Rect::from_center_size(*wish, close));
        clearing.take_area(&lying.lines_near(field), true);
        match clearing.find(room, *wish, 0.0) {
            Some(place) => page.set_line(text, markings::EM, false, place, markings::AIR),
            None => page.unsaid.push((index, number)),
        }
    }
}

/// The words of a marking on its piece or beside all, and a line from there to it; on another piece only for want of room.
fn say_with_line(lying: &Lying<'_>, number: usize, field: Rect, page: &mut Sketch) {
    let inside = &lying.insides[number];
    let Some((text, wish)) = &inside.label else { return };
    let room = markings::room(text);
    let mut own = page.clearing.part(lying.bounds);
    own.take_area(&lying.lines_near(field), true);
    let mut places = [&own, &page.beside, &page.clearing].map(|clearing| clearing.find_near(room, *wish));
    let far = |place: &Option<Rect>| place.map_or(f64::INFINITY, |place| place.center().distance(*wish));
    places[..2].sort_by(|a, b| far(a).total_cmp(&far(b)));
    let shown = clip(&inside.path, field);
    let ways = || places.iter().flatten().map(|place| (*place, ways(&shown, *place)));
    let free = ways().find_map(|(place, ways)| Some((place, ways.into_iter().find(|way| page.is_free(*way, place))?)));
    let any = || ways().find_map(|(place, ways)| Some((place, *ways.first()?)));
    if let Some((place, way)) = free.or_else(any) {
        page.lead(way);
        page.set_line(text, markings::EM, false, place, markings::AIR);
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

fn draw_cut(lying: &Lying<'_>, number: usize, tile: &Tile, page: &mut Sketch) {
    let path = lying.shown(tile.field);
    if !path.raw().is_empty() {
        page.cuts.push((number, polylines(&path)));
        page.drawing.line(Class::Cut, path.raw().clone());
    }
    lying.keep_clear(tile.field, &mut page.clearing);
    for (centre, arm) in lying.crosses().filter(|(centre, _)| tile.field.inset(-1.0).contains(*centre)) {
        page.drawing.line(Class::SettingOut, cross(centre, arm));
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

pub(super) fn cross(middle: Raw, arm: f64) -> BezPath {
    let mut path = BezPath::new();
    path.move_to(middle - Vec2::new(arm, 0.0));
    path.line_to(middle + Vec2::new(arm, 0.0));
    path.move_to(middle - Vec2::new(0.0, arm));
    path.line_to(middle + Vec2::new(0.0, arm));
    path
}

/// One piece whose words are to be set.
struct WordsOf<'a> {
    lying: &'a Lying<'a>,
    placed: &'a Placed,
    layout: &'a Layout,
    wording: Wording,
}

/// Where words stand, and the line from there to their piece.
struct Stand {
    tile: usize,
    place: Rect,
    words: Block,
    way: Option<[Raw; 2]>,
}

impl WordsOf<'_> {
    /// Sets the words of the piece where they are best read, and its letter on every other page that it crosses. Whether there was
    /// room for them.
    fn set(&self, of_sheet: &[usize], pages: &mut [Sketch]) -> bool {
        let mut rooms: Vec<(usize, Clearing)> = of_sheet
            .par_iter()
            .filter(|&&tile| self.layout.tiles[tile].pieces.contains(&self.placed.piece))
            .map(|&tile| {
                let mut clearing = pages[tile].clearing.part(self.lying.bounds);
                clearing.take_area(&self.lying.lines_near(self.field(tile)), true);
                (tile, clearing)
            })
            .collect();
        rooms.sort_by_cached_key(|(tile, clearing)| (std::cmp::Reverse(clearing.free()), *tile));
        let searches: Vec<(usize, Search<'_>, Raw)> =
            rooms.par_iter().take(4).map(|(tile, clearing)| (*tile, clearing.search(), clearing.middle())).collect();
        let own: Vec<usize> = rooms.iter().map(|(tile, _)| *tile).collect();
        let stand = self
            .inside(&SETTINGS, &searches)
            // Small words on the piece stay with it when it is cut out; larger ones beside it do not.
            .or_else(|| self.inside(&SMALLEST, &searches))
            .or_else(|| self.beside(&BESIDE, &own, FAR, true, pages))
            .or_else(|| self.beside(&SMALLEST, &own, FAR, true, pages))
            .or_else(|| self.beside(&BESIDE, &own, FAR, false, pages))
            .or_else(|| self.beside(&SMALLEST, &own, FAR, false, pages))
            .or_else(|| self.beside(&BESIDE, &own, f64::INFINITY, false, pages))
            .or_else(|| self.apart(&own, of_sheet, pages));
        let (told, main) = match stand {
            Some(Stand { tile, place, words, way }) => {
                if let Some(way) = way {
                    pages[tile].lead(way);
                }
                pages[tile].set(words, place);
                let joined = way.is_some() || own.contains(&tile) && self.lying.bounds.contains(place.center());
                (true, joined.then_some(tile))
            }
            None => (false, None),
        };
        rooms.sort_by_key(|(tile, _)| *tile);
        pages.par_iter_mut().enumerate().filter(|(tile, _)| Some(*tile) != main).for_each(|(tile, page)| {
            if let Ok(at) = rooms.binary_search_by_key(&tile, |(tile, _)| *tile) {
                set_letter(self.lying, &rooms[at].1, self.field(tile), page);
            }
        });
        told
    }

    fn field(&self, tile: usize) -> Rect {
        self.layout.tiles[tile].field
    }

    /// On the piece itself.
    fn inside(&self, settings: &[Setting], searches: &[(usize, Search<'_>, Raw)]) -> Option<Stand> {
        both_ways(settings, false).find_map(|(setting, sideways)| {
            let words = self.block(setting, sideways);
            let found = searches.iter().find_map(|(tile, search, middle)| {
                let place = search.find(words.size, *middle, 3.0)?;
                Some((*tile, place))
            });
            found.map(|(tile, place)| Stand { tile, place, words, way: None })
        })
    }

    /// Outside of all pieces, with a line no longer than `far` that passes no other words; nor, if it is to be `clear`, other pieces.
    fn beside(&self, settings: &[Setting], own: &[usize], far: f64, clear: bool, pages: &[Sketch]) -> Option<Stand> {
        // As the room lies that was kept for them.
        let upright = self.placed.words.is_some_and(|room| room.height() > room.width());
        own.iter().find_map(|&tile| {
            let (page, field) = (&pages[tile], self.field(tile));
            let wish = self.placed.words.map_or_else(|| middle_in(self.lying, field), |rect| rect.center());
            let shown = self.lying.shown(field);
            let search = page.beside.search();
            both_ways(settings, upright).find_map(|(setting, sideways)| {
                let words = self.block(setting, sideways);
                let place = search.find(words.size, wish, 0.0)?;
                let short = ways(&shown, place).into_iter().filter(|[from, to]| from.distance(*to) <= far);
                let passes = |way: &[Raw; 2]| {
                    page.is_free(*way, place) && (!clear || page.is_clear_of_others(*way, self.placed.piece))
                };
                let way = short.into_iter().find(passes)?;
                Some(Stand { tile, place, words, way: Some(way) })
            })
        })
    }

    /// Anywhere on the pages of the sheet, those of the piece first, saying where the piece lies.
    fn apart(&self, own: &[usize], of_sheet: &[usize], pages: &[Sketch]) -> Option<Stand> {
        let page = self.layout.tiles[*own.first()?].name();
        own.iter().chain(of_sheet).find_map(|&tile| {
            let (search, wish) = (pages[tile].beside.search(), middle_in(self.lying, self.field(tile)));
            BESIDE.iter().chain(&SMALLEST).find_map(|setting| {
                let words = block_apart(self.lying.piece, self.wording, *setting, self.placed.up(), &page);
                let place = search.find(words.size, wish, 0.0)?;
                Some(Stand { tile, place, words, way: None })
            })
        })
    }

    fn block(&self, setting: Setting, sideways: bool) -> Block {
        block(self.lying.piece, self.wording, setting, self.placed.up(), sideways)
    }
}

/// The letter alone: inside the piece where it fits, else beside it with a line to it.
fn set_letter(this: &Lying<'_>, inside: &Clearing, field: Rect, page: &mut Sketch) {
    let letter = &this.piece.letter;
    let room = |size: f64| Size::new(BOLD.width(letter, size) + 0.4, BOLD.cap_height(size) + 0.4);
    if let Some((number, place)) = inside.find_first(LETTERS.map(room), inside.middle(), 2.0) {
        page.set_line(letter, LETTERS[number], true, place, 0.2);
        return;
    }
    let small = &LETTERS[2..];
    let wish = middle_in(this, field);
    if let Some((number, place)) = page.beside.find_first(small.iter().copied().map(room), wish, 0.0) {
        let ways = ways(&this.shown(field), place);
        if let Some(way) = ways.iter().find(|way| page.is_free(**way, place)).or(ways.first()) {
            page.lead(*way);
        }
        page.set_line(letter, small[number], true, place, 0.2);
    }
}

/// Straight lines from words in `place` to places of `shown`, the nearest first.
fn ways(shown: &Path<JoinedSheet>, place: Rect) -> Vec<[Raw; 2]> {
    /// White between a line and the words, in mm.
    const GAP: f64 = 0.6;
    let centre = place.center();
    let place = place.inflate(GAP, GAP);
    let mut ends: Vec<(f64, Raw)> = shown
        .raw()
        .segments()
        .map(|segment| {
            let nearest = segment.nearest(centre, COARSE);
            (nearest.distance_sq, segment.eval(nearest.t))
        })
        .collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    // From the nearest place of the words, else from a corner of them.
    let from = |to: Raw| {
        let nearest = Raw::new(to.x.clamp(place.x0, place.x1), to.y.clamp(place.y0, place.y1));
        let corners = [(place.x0, place.y0), (place.x1, place.y0), (place.x0, place.y1), (place.x1, place.y1)];
        std::iter::once(nearest).chain(corners.map(Raw::from))
    };
    ends.into_iter().flat_map(|(_, to)| from(to).map(move |from| [from, to])).collect()
}

/// Whether two straight lines have a point in common that is no end of one of them.
fn cross_each_other(a: [Raw; 2], b: [Raw; 2]) -> bool {
    let parts =
        |[from, to]: [Raw; 2], [p, q]: [Raw; 2]| (to - from).cross(p - from) * (to - from).cross(q - from) < 0.0;
    parts(a, b) && parts(b, a)
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

/// Each setting level and sideways, or the other way around.
fn both_ways(settings: &[Setting], sideways_first: bool) -> impl Iterator<Item = (Setting, bool)> {
    settings.iter().flat_map(move |setting| [(*setting, sideways_first), (*setting, !sideways_first)])
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
