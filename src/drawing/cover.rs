//! The first pages: what it is, is the printer right, what pieces there are, how it goes together, what to beware of.
//!
//! The big frame of the first page is the test square: it is what the maker measures before printing the rest.

use kurbo::{Rect, Size, Vec2};

use super::building::{note_words, section_drawing, sections};
use super::lines::{Class, Drawing};
use super::markings::{class_of, dash_of, sample};
use super::{clip, cut_words, misfit, rulers, shorten, tile, wrap};
use crate::build_file::{CutLine, Cutting, Template};
use crate::paper::{Core, FOOT, Layout, Sheet, Tile};
use crate::pattern::{Assembled, Built, MarkingKind, Piece};
use crate::space::Page;
use crate::taping::{CheckDistance, Taping};
use crate::text::{BOLD, REGULAR, Wording, Words, fill};
use crate::units::{Length, Shown};

/// What the first pages tell of the build, in words already.
#[derive(Clone, Debug)]
pub struct Facts {
    /// Name of the build.
    pub name: String,
    /// Its date, when it has one.
    pub date: Option<String>,
    /// Four figures that stand on every page of this printing and of no other.
    pub set: String,
    /// "1415 mm, give or take 22 mm"
    pub length: String,
    /// Likewise.
    pub width: String,
    /// Whether there is a give or take at all.
    pub in_doubt: bool,
    /// "a wearer 1715 mm tall in shoes (1680 mm barefoot)"; `None` when the size does not follow a wearer.
    pub wearer: Option<String>,
    /// What the size rests on.
    pub rests_on: String,
    /// How it is built up from foam and pipe.
    pub building: Assembled,
    /// How paper becomes foam.
    pub cutting: Cutting,
    /// The words, and how sizes are shown.
    pub wording: Wording,
}

/// Em of running text, in mm.
const BODY: f64 = 2.7;
/// Base line to base line, in ems.
const LEADING: f64 = 1.38;
/// White inside the frame, and between columns.
const INSET: f64 = 5.0;

/// Sections of parts are no higher, mm.
const SECTION_HIGH: f64 = 26.0;

/// From paper to foam: sizes rest on where the blade runs.
fn how_cut(cutting: &Cutting, wording: Wording) -> String {
    let words = wording.words;
    if cutting.place.is_none() {
        return format!("{} {}", words.how_trace, words.how_foam);
    }
    if cutting.template == Template::CutThrough {
        return words.how_through.to_owned();
    }
    let blade = match cutting.line {
        CutLine::Inside => words.how_inside,
        CutLine::On => words.how_on,
        CutLine::Outside => words.how_outside,
    };
    format!("{} {}", words.how_trace, fill(blade, &[&wording.tenths(cutting.pen.to_mm())]))
}

/// The first pages for `layout`, in the frame of `core`; they say all of the pieces `untold`, which have no words elsewhere.
/// `sheets(n)` tells on how much paper the document is printed when `n` pages are in front.
pub fn front(
    core: &Core,
    layout: &Layout,
    tapings: &[Option<Taping>],
    pieces: &[Piece],
    facts: &Facts,
    untold: &[usize],
    sheets: &dyn Fn(usize) -> String,
) -> Vec<Drawing<Page>> {
    // How many there are changes the page count that stands on them, but not how they break.
    let count = compose(core, layout, tapings, pieces, facts, untold, &sheets(1)).len();
    compose(core, layout, tapings, pieces, facts, untold, &sheets(count))
}

/// A map is no higher than this, mm; between its parts; how many there are of one sheet, and the scale beyond which none are made.
const MAP_HIGH: f64 = 70.0;
const MAP_APART: f64 = 4.0;
const MAP_MOST_PARTS: u32 = 6;
const MAP_LARGE: f64 = 0.045;

/// The test frame: 180.0 by 240.0 mm on the core of A4 and Letter.
fn frame(core: Size) -> Rect {
    let step = |room: f64, most: f64| (((room - 1.0) / 20.0).floor() * 20.0).min(most);
    let size = Size::new(step(core.width, 180.0), step(core.height, 240.0));
    Rect::from_origin_size(((core.width - size.width) / 2.0, (core.height - size.height) / 2.0), size)
}

fn compose(
    core: &Core,
    layout: &Layout,
    tapings: &[Option<Taping>],
    pieces: &[Piece],
    facts: &Facts,
    untold: &[usize],
    sheets: &str,
) -> Vec<Drawing<Page>> {
    let Wording { words, .. } = facts.wording;
    let mut flow = Flow::new(core.size, facts.wording);
    let frame = flow.frame;
    flow.title(facts);
    flow.heading(words.test_square);
    let side = |mm: f64| format!("{} ({})", facts.wording.tenths(mm), facts.wording.on_rule(Length::mm(mm)));
    flow.text(&fill(words.test_measure, &[&side(frame.width()), &side(frame.height())]), BODY);
    for verdict in [words.test_good, words.test_stretch, words.test_stop] {
        flow.boxed(verdict);
    }
    flow.heading(words.finished_size);
    flow.text(&fill(words.long_by_wide, &[&facts.length, &facts.width]), BODY);
    if facts.in_doubt {
        flow.text(words.right_19_in_20, BODY);
    }
    if let Some(wearer) = &facts.wearer {
        flow.text(&fill(words.wearer, &[wearer]), BODY);
    }
    flow.text(&fill(words.size_rests_on, &[&facts.rests_on]), BODY);
    flow.text(sheets, BODY);
    flow.heading(words.piece_list);
    for (index, piece) in pieces.iter().enumerate() {
        let notes = if untold.contains(&index) { note_words(piece, facts.wording) } else { Vec::new() };
        flow.piece(piece, &notes, &on_pages(layout, index));
    }
    flow.heading(words.how_to);
    flow.text(words.how_print, BODY);
    let longest = rulers::length(layout.core.field.width().max(layout.core.field.height()));
    if longest >= rulers::LONGEST {
        flow.text(&fill(words.how_control, &[&facts.wording.tenths(longest)]), BODY);
    }
    let joins = layout.tiles.iter().any(|tile| !tile.neighbours.none());
    flow.text(if joins { words.how_tape } else { words.how_tape_none }, BODY);
    if joins && layout.sheets.iter().any(|sheet| sheet.size.width.max(sheet.size.height) > misfit::FROM_MM) {
        flow.text(words.misfit, BODY);
    }
    if layout.sheets.iter().any(|sheet| sheet.base_line.is_some()) {
        flow.text(words.how_base_line, BODY);
    }
    flow.text(&how_cut(&facts.cutting, facts.wording), BODY);
    flow.text(words.how_turned, BODY);
    flow.building(&facts.building);
    flow.heading(words.lines);
    flow.legend(pieces, joins);
    if joins {
        flow.map(layout, tapings, pieces);
        flow.checks(tapings);
    }
    flow.heading(words.care);
    for caution in words.cautions {
        flow.text(caution, BODY * 0.92);
    }
    flow.finish(core, facts)
}

/// "1243.6 mm", as a tape measure reads.
fn on_tape(mm: f64, wording: Wording) -> String {
    let inches = || wording.on_rule(Length::mm(mm));
    match wording.shown {
        Shown::Metric => wording.tenths(mm),
        Shown::Imperial => inches(),
        Shown::Both => format!("{} ({})", wording.tenths(mm), inches()),
    }
}

/// "1.1 1.2 2.1"
fn on_pages(layout: &Layout, piece: usize) -> String {
    let names: Vec<String> = layout.tiles.iter().filter(|tile| tile.pieces.contains(&piece)).map(Tile::name).collect();
    match names.as_slice() {
        [first, .., last] if names.len() > 3 => format!("{first} … {last}"),
        _ => names.join(" "),
    }
}

/// Blocks of text and drawing that fill columns, and pages of columns.
struct Flow {
    wording: Wording,
    core: Size,
    frame: Rect,
    columns: usize,
    width: f64,
    done: Vec<Drawing<Page>>,
    page: Drawing<Page>,
    column: usize,
    /// Where columns begin on this page.
    top: f64,
    y: f64,
}

impl Flow {
    fn new(core: Size, wording: Wording) -> Self {
        let frame = frame(core);
        let columns = if frame.width() >= 140.0 { 2 } else { 1 };
        #[expect(clippy::cast_precision_loss, reason = "one or two columns")]
        let width = (frame.width() - INSET * (columns as f64 + 1.0)) / columns as f64;
        let mut flow = Self {
            wording,
            core,
            frame,
            columns,
            width,
            done: Vec::new(),
            page: Drawing::default(),
            column: 0,
            top: frame.y0 + INSET,
            y: frame.y0 + INSET,
        };
        flow.test_frame();
        flow
    }

    /// The frame to be measured, with its ends marked and its sides named.
    fn test_frame(&mut self) {
        let f = self.frame;
        self.page.line(Class::SettingOut, kurbo::Shape::to_path(&f, 0.1));
        let across = self.wording.tenths(f.width());
        let size = 2.4;
        // Beside the frame, where the core leaves room for it.
        let (below, left) = (self.core.height - f.y1 >= 4.0, f.x0 >= 3.5);
        let x = f.center().x - REGULAR.width(&across, size) / 2.0;
        self.page.text(x, if below { f.y1 + 3.4 } else { f.y1 - 1.2 }, size, false, across);
        let down = self.wording.tenths(f.height());
        let y = f.center().y + REGULAR.width(&down, size) / 2.0;
        let at = kurbo::Point::new(if left { f.x0 - 1.4 } else { f.x0 + 3.0 }, y).into();
        self.page.labels.push(super::Label { at, text: down, size, bold: false, turn: -90.0 });
    }

    fn title(&mut self, facts: &Facts) {
        let (x, wide) = (self.frame.x0 + INSET, self.frame.width() - 2.0 * INSET);
        let kind = match &facts.date {
            Some(date) => format!("{}  ·  {date}", self.wording.words.cover_kind),
            None => self.wording.words.cover_kind.to_owned(),
        };
        let kind = format!("{kind}  ·  {}", fill(self.wording.words.set_number, &[&facts.set]));
        self.page.text(x, self.y + 2.6, 3.0, false, kind);
        let size = 7.5_f64.min(7.5 * wide / BOLD.width(&facts.name, 7.5)).max(4.5);
        let mut y = self.y + 5.0;
        for line in wrap(&BOLD, &facts.name, size, wide) {
            y += size * 1.15;
            self.page.text(x, y, size, true, line);
        }
        self.top = y + 2.5;
        self.y = self.top;
    }

    /// The left edge of the current column.
    fn x(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "one or two columns")]
        let column = self.column as f64;
        self.frame.x0 + INSET + column * (self.width + INSET)
    }

    fn has(&self, height: f64) -> bool {
        // Pages after the first have a foot; on small paper it is higher than the end of the frame.
        let foot = if self.done.is_empty() { f64::INFINITY } else { self.core.height - FOOT };
        self.y + height <= (self.frame.y1 - 2.0).min(foot)
    }

    /// Goes on in the next column or page when fewer than `height` mm are left.
    fn need(&mut self, height: f64) {
        if self.has(height) {
            return;
        }
        self.column += 1;
        if self.column == self.columns {
            self.done.push(std::mem::take(&mut self.page));
            self.column = 0;
            self.top = self.frame.y0 + INSET;
        }
        self.y = self.top;
    }

    fn heading(&mut self, text: &str) {
        self.heading_over(text, 6.4);
    }

    /// A heading that stays in one column with the `height` mm below it.
    fn heading_over(&mut self, text: &str, height: f64) {
        self.need(7.6 + height);
        if self.y > self.top {
            self.y += 2.2;
        }
        self.page.text(self.x(), self.y + 3.4, 3.5, true, text);
        self.y += 5.4;
    }

    fn text(&mut self, text: &str, size: f64) {
        self.indented(text, size, 0.0);
        self.y += 0.9;
    }

    fn indented(&mut self, text: &str, size: f64, indent: f64) {
        let lines = wrap(&REGULAR, text, size, self.width - indent);
        let count = lines.len();
        for (index, line) in lines.into_iter().enumerate() {
            // Neither the first line nor the last stands in a column alone.
            let together = if index == 0 || index + 2 == count { 2.min(count - index) } else { 1 };
            self.need(together as f64 * size * LEADING);
            self.page.text(self.x() + indent, self.y + size, size, false, line);
            self.y += size * LEADING;
        }
    }

    /// A line with a box to tick.
    fn boxed(&mut self, text: &str) {
        self.need(2.0 * BODY * LEADING);
        let corner = (self.x(), self.y + 0.5);
        self.page.line(Class::SettingOut, kurbo::Shape::to_path(&Rect::from_origin_size(corner, (2.4, 2.4)), 0.1));
        self.indented(text, BODY, 4.2);
        self.y += 0.9;
    }

    fn piece(&mut self, piece: &Piece, notes: &[String], pages: &str) {
        let wording = self.wording;
        self.need(3.0 * BODY * LEADING);
        let indent = 8.0;
        self.page.text(self.x(), self.y + BODY, 3.2, true, piece.letter.clone());
        let on = fill(wording.words.on_pages, &[pages]);
        let on_width = REGULAR.width(&on, BODY * 0.85);
        let name = shorten(&BOLD, &piece.name, BODY, self.width - indent - on_width - 2.0);
        self.page.text(self.x() + indent, self.y + BODY, BODY, true, name);
        self.page.text(self.x() + self.width - on_width, self.y + BODY, BODY * 0.85, false, on);
        self.y += BODY * LEADING;
        let (width, height) = piece.size();
        let size = fill(wording.words.wide_high, &[&wording.length(width), &wording.length(height)]);
        self.indented(&format!("{}; {size}", cut_words(piece, wording)), BODY * 0.92, indent);
        for note in notes {
            self.indented(note, BODY * 0.92, indent);
        }
        self.y += 0.7;
    }

    /// What is built of several pieces, and of what else; beside each part of layers its edge, cut across.
    fn building(&mut self, facts: &Assembled) {
        /// A part is told of in so many lines at most, with its drawing below.
        const TOLD: f64 = 5.0;
        for (heading, lines) in sections(facts, self.wording) {
            let parts = heading == self.wording.words.building;
            let together = if parts { TOLD * BODY * LEADING + SECTION_HIGH } else { 6.4 };
            self.heading_over(heading, together);
            for (index, line) in lines.iter().enumerate() {
                if parts {
                    self.need(together);
                }
                self.text(line, BODY);
                if let Some(built) = facts.built.get(index).filter(|_| parts) {
                    self.section(built);
                }
            }
        }
    }

    /// The edge of a part, cut across and to scale.
    fn section(&mut self, built: &Built) {
        let (drawing, size, scale) = section_drawing(built, self.width - 4.0, SECTION_HIGH, self.wording.words);
        self.need(size.height + 6.0);
        let caption = fill(self.wording.words.section_scale, &[&scale.to_string()]);
        let (x, y) = (self.x(), self.y);
        self.page.add(drawing, Vec2::new(x + 1.0, y + 0.8));
        self.page.text(x + 1.0, y + size.height + 3.8, 2.2, false, caption);
        self.y += size.height + 6.0;
    }

    /// A row for each form of line that is drawn, as it is drawn.
    fn legend(&mut self, pieces: &[Piece], joins: bool) {
        const SAMPLE: Size = Size::new(12.0, 2.2);
        let Wording { words, .. } = self.wording;
        let room = SAMPLE.to_rect();
        let level = |class, dash, text| {
            let path = kurbo::Line::new((0.0, room.center().y), (SAMPLE.width, room.center().y));
            (class, dash, kurbo::Shape::to_path(&path, 0.1), text)
        };
        let mut rows = vec![level(Class::Cut, None, words.line_cut)];
        if joins {
            rows.push(level(Class::Join, Some([3.0, 1.5]), words.line_join));
            rows.push((Class::Join, None, tile::cross(room.center(), 1.5), words.line_mark));
        }
        rows.push(level(Class::SettingOut, None, words.line_setting_out));
        let mut kinds: Vec<&MarkingKind> = pieces.iter().flat_map(|piece| &piece.markings).map(|m| &m.kind).collect();
        kinds.sort_by_key(|kind| (class_of(kind), line_words(kind, words)));
        kinds.dedup_by_key(|kind| line_words(kind, words));
        rows.extend(
            kinds
                .into_iter()
                .map(|kind| (class_of(kind), dash_of(kind), sample(kind, room).raw().clone(), line_words(kind, words))),
        );
        for (class, dash, path, text) in rows {
            let lines = wrap(&REGULAR, text, BODY, self.width - 15.0).len();
            self.need(lines as f64 * BODY * LEADING);
            let path = kurbo::Affine::translate((self.x(), self.y + BODY * 0.62 - room.center().y)) * path;
            match dash {
                Some(dash) => self.page.dashed(class, path, dash),
                None => self.page.line(class, path),
            }
            self.indented(text, BODY, 15.0);
            self.y += 0.8;
        }
    }

    /// Every joined sheet at one scale, its pages named, the outlines of its pieces in it; a long one broken into parts that lie
    /// beside each other, so that its names can be read.
    fn map(&mut self, layout: &Layout, tapings: &[Option<Taping>], pieces: &[Piece]) {
        let joined: Vec<usize> = (0..layout.sheets.len())
            .filter(|&s| layout.tiles.iter().any(|tile| tile.sheet == s && !tile.neighbours.none()))
            .collect();
        let room = Size::new(self.width, MAP_HIGH);
        let scales = joined.iter().map(|&s| map_scale(layout.sheets[s].size, room));
        let scale = scales.fold(f64::INFINITY, f64::min);
        let parts = |sheet: usize| map_parts(&cells(layout, sheet), layout.sheets[sheet].size, room, scale);
        let first = joined.first().and_then(|&s| parts(s).first().copied()).map_or(0.0, |part| part.height() * scale);
        let left_out = joined.iter().any(|&s| !left_out(&tiles_of(layout, s)).is_empty());
        let Wording { words, .. } = self.wording;
        self.heading_over(if left_out { words.map_left_out } else { words.map }, first + 6.0);
        let mut x = 0.0;
        let mut row = 0.0_f64;
        for &index in &joined {
            let sheet = &layout.sheets[index];
            let checks = tapings[index].as_ref().map_or(&[][..], |taping| &taping.distances);
            let mut whole = plan(layout, index, sheet, pieces, scale);
            whole.add(measured(sheet, checks, scale), Vec2::ZERO);
            let letters: Vec<&str> = sheet.placed.iter().map(|p| pieces[p.piece].letter.as_str()).collect();
            let caption = fill(words.map_sheet, &[&(index + 1).to_string(), &letters.join(" ")]);
            let parts = parts(index);
            for (number, part) in parts.iter().map(|part| part.scale_from_origin(scale)).enumerate() {
                if x > 0.0 && (x + part.width() > self.width || !self.has(part.height() + 6.0)) {
                    self.y += row + 6.0;
                    (x, row) = (0.0, 0.0);
                }
                self.need(part.height() + 6.0);
                let shift = Vec2::new(self.x() + x, self.y);
                let of_part = if parts.len() == 1 { whole.clone() } else { whole.within(part) };
                self.page.add(of_part, shift - part.origin().to_vec2());
                let caption = match (number, parts.len()) {
                    (_, 1) => caption.clone(),
                    (0, all) => format!("{caption} (1/{all})"),
                    (_, all) => format!("({}/{all})", number + 1),
                };
                self.page.text(shift.x, self.y + part.height() + 2.8, 2.2, false, caption.clone());
                row = row.max(part.height() + 4.0);
                x += part.width().max(REGULAR.width(&caption, 2.2)) + MAP_APART;
            }
        }
        self.y += row + 1.0;
    }

    /// The distances to be measured once a sheet is taped, each with a box to write in what was read.
    fn checks(&mut self, tapings: &[Option<Taping>]) {
        const WRITE: Size = Size::new(16.0, 4.2);
        let line = BODY * LEADING + 1.6;
        let wording = self.wording;
        let words = wording.words;
        self.heading_over(words.checks, 2.0 * BODY * LEADING + line);
        self.text(words.checks_how, BODY);
        let all = tapings.iter().enumerate().filter_map(|(sheet, taping)| Some((sheet, taping.as_ref()?)));
        for (sheet, taping) in all {
            for check in &taping.distances {
                let [from, to] = check.between.map(|number| number.to_string());
                let (mm, limit) = (on_tape(check.mm, wording), on_tape(check.limit, wording));
                let text = fill(words.check_line, &[&(sheet + 1).to_string(), &from, &to, &mm, &limit]);
                let lines = wrap(&REGULAR, &text, BODY, self.width - WRITE.width - 2.0);
                let more: f64 = lines.iter().skip(1).map(|_| BODY * LEADING).sum();
                self.need(line + more);
                let (x, mut y) = (self.x(), self.y + WRITE.height - 1.2);
                for text in lines {
                    self.page.text(x, y, BODY, false, text);
                    y += BODY * LEADING;
                }
                let corner = (x + self.width - WRITE.width, self.y);
                let frame = Rect::from_origin_size(corner, WRITE);
                self.page.line(Class::SettingOut, kurbo::Shape::to_path(&frame, 0.1));
                self.y += WRITE.height + 1.0 + more;
            }
        }
        self.y += 0.9;
    }

    /// Every page says what it is of; those behind the test square have rulers, as all others have.
    fn finish(mut self, core: &Core, facts: &Facts) -> Vec<Drawing<Page>> {
        self.done.push(self.page);
        for page in &mut self.done[1..] {
            page.add(rulers::rulers(core, facts.wording), Vec2::ZERO);
            let size = 2.3;
            let name = shorten(&REGULAR, &facts.name, size, core.field.width());
            page.text(core.field.x0, core.field.y1 + 3.4, size, false, name);
        }
        self.done
    }
}

/// What the legend says of a form of line.
const fn line_words(kind: &MarkingKind, words: &Words) -> &'static str {
    match kind {
        MarkingKind::Score { .. } => words.line_score,
        MarkingKind::Groove { .. } => words.line_groove,
        MarkingKind::FoldToward => words.fold_toward,
        MarkingKind::FoldAway => words.fold_away,
        MarkingKind::PaintBorder => words.paint_border,
        MarkingKind::Placement(_) => words.line_placement,
        MarkingKind::Match { .. } => words.line_match,
        MarkingKind::Tilt(_) => words.line_tilt,
        MarkingKind::Glue(_) => words.line_glue,
    }
}

/// One joined sheet on the map; pages left out because they would be empty are hatched.
fn plan(layout: &Layout, index: usize, sheet: &Sheet, pieces: &[Piece], scale: f64) -> Drawing<Page> {
    let mut drawing = Drawing::default();
    let overlap = layout.core.overlap / 2.0;
    let tiles = tiles_of(layout, index);
    for empty in left_out(&tiles) {
        drawing.line(Class::Join, hatched(empty.inset(-overlap).scale_from_origin(scale)));
    }
    for (tile, cell) in tiles.into_iter().zip(cells(layout, index)) {
        let cell = cell.scale_from_origin(scale);
        drawing.line(Class::Join, kurbo::Shape::to_path(&cell, 0.1));
        let name = tile.name();
        let size = 2.4_f64.min(cell.width() * 0.3).min(cell.height() * 0.5);
        let x = cell.center().x - BOLD.width(&name, size) / 2.0;
        drawing.text(x, cell.center().y + BOLD.cap_height(size) / 2.0, size, true, name);
    }
    for placed in &sheet.placed {
        let on_sheet = placed.to_sheet.path(&pieces[placed.piece].outline, f64::INFINITY);
        let small = crate::space::Path::<Page>::new(kurbo::Affine::scale(scale) * on_sheet.raw().clone());
        drawing.line(Class::SettingOut, clip(&small, (sheet.size * scale).to_rect()).raw().clone());
    }
    drawing
}

/// The distances to be measured, as lines between their marks, with the numbers of these.
fn measured(sheet: &Sheet, checks: &[CheckDistance], scale: f64) -> Drawing<Page> {
    const EM: f64 = 1.9;
    let mut drawing = Drawing::default();
    let at = |number: usize| sheet.marks.iter().find(|mark| mark.number == number).map(|mark| mark.at.raw());
    let small = |p: kurbo::Point| (p.to_vec2() * scale).to_point();
    let whole = (sheet.size * scale).to_rect();
    let mut taken: Vec<Rect> = Vec::new();
    let mut named: Vec<usize> = Vec::new();
    for check in checks {
        let [Some(from), Some(to)] = check.between.map(at) else { continue };
        let mut path = kurbo::BezPath::new();
        path.move_to(small(from));
        path.line_to(small(to));
        drawing.dashed(Class::SettingOut, path, [0.8, 0.8]);
        for (number, place) in check.between.into_iter().zip([from, to]) {
            if named.contains(&number) {
                continue;
            }
            named.push(number);
            let text = number.to_string();
            let size = Size::new(REGULAR.width(&text, EM), REGULAR.cap_height(EM));
            let p = small(place);
            // Beside its mark, on the side where nothing stands yet.
            let beside = [
                (0.6, -0.6),
                (-0.6 - size.width, -0.6),
                (0.6, 0.6 + size.height),
                (-0.6 - size.width, 0.6 + size.height),
            ];
            let boxes = beside.map(|(x, y)| Rect::new(p.x + x, p.y + y - size.height, p.x + x + size.width, p.y + y));
            let free = |room: &&Rect| taken.iter().all(|other| other.intersect(room.inflate(0.3, 0.3)).area() <= 0.0);
            let within = boxes.iter().filter(|room| whole.contains_rect(**room)).find(free);
            let room = *within.or_else(|| boxes.iter().find(free)).unwrap_or(&boxes[0]);
            drawing.text(room.x0, room.y1, EM, false, text);
            taken.push(room);
        }
    }
    drawing
}

/// The pages of a sheet as they show once they are joined, in the order of its tiles.
fn cells(layout: &Layout, sheet: usize) -> Vec<Rect> {
    let overlap = layout.core.overlap / 2.0;
    let cell = |tile: &&Tile| {
        let (field, n) = (tile.field, tile.neighbours);
        let inset = |neighbour: Option<_>| if neighbour.is_some() { overlap } else { 0.0 };
        Rect::new(
            field.x0 + inset(n.left),
            field.y0 + inset(n.above),
            field.x1 - inset(n.right),
            field.y1 - inset(n.below),
        )
    };
    tiles_of(layout, sheet).iter().map(cell).collect()
}

/// The largest scale at which a sheet of this size, whole or in parts, fits the room of a map.
fn map_scale(size: Size, room: Size) -> f64 {
    let whole = (room.width / size.width).min(room.height / size.height);
    let in_parts = |parts: f64| {
        let apart = MAP_APART * (parts - 1.0);
        if size.height > size.width {
            ((room.width - apart) / (parts * size.width)).min(0.9 * room.height * parts / size.height)
        } else {
            ((room.height - 2.0 * apart) / (parts * size.height)).min(0.9 * room.width * parts / size.width)
        }
    };
    // A whole sheet is the clearer one where its names can be read.
    (2..=MAP_MOST_PARTS).map(|parts| in_parts(f64::from(parts)).min(MAP_LARGE)).fold(whole, f64::max)
}

/// The parts of a sheet, each of whole pages, that fit the room at this scale.
fn map_parts(cells: &[Rect], size: Size, room: Size, scale: f64) -> Vec<Rect> {
    let down = size.height > size.width;
    let reach = |cell: &Rect| if down { (cell.y0, cell.y1) } else { (cell.x0, cell.x1) };
    let most = if down { room.height } else { room.width } / scale;
    let mut rows: Vec<(f64, f64)> = cells.iter().map(reach).collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut parts: Vec<(f64, f64)> = Vec::new();
    for (from, to) in rows {
        match parts.last_mut() {
            Some(part) if to - part.0 <= most + 1e-6 => part.1 = part.1.max(to),
            _ => parts.push((from, to)),
        }
    }
    let whole = size.to_rect();
    let rect = |&(from, to): &(f64, f64)| {
        if down { Rect { y0: from, y1: to, ..whole } } else { Rect { x0: from, x1: to, ..whole } }
    };
    if parts.len() < 2 { vec![whole] } else { parts.iter().map(rect).collect() }
}

fn tiles_of(layout: &Layout, sheet: usize) -> Vec<&Tile> {
    layout.tiles.iter().filter(|tile| tile.sheet == sheet).collect()
}

/// The fields that a joined sheet would have if none of its pages were left out.
fn left_out(tiles: &[&Tile]) -> Vec<Rect> {
    let places = |of: fn(&Rect) -> f64| {
        let mut places: Vec<f64> = tiles.iter().map(|tile| of(&tile.field)).collect();
        places.sort_by(f64::total_cmp);
        places.dedup();
        places
    };
    let (lefts, tops) = (places(|field| field.x0), places(|field| field.y0));
    let printed = |x: f64, y: f64| tiles.iter().any(|tile| tile.field.x0 == x && tile.field.y0 == y);
    let size = tiles.first().map_or(Size::ZERO, |tile| tile.field.size());
    let all = tops.iter().flat_map(|&y| lefts.iter().map(move |&x| (x, y)));
    all.filter(|&(x, y)| !printed(x, y)).map(|(x, y)| Rect::from_origin_size((x, y), size)).collect()
}

/// Lines across `cell`, from its left and lower sides up to the right.
fn hatched(cell: Rect) -> kurbo::BezPath {
    const APART: f64 = 2.0;
    let (width, height) = (cell.width(), cell.height());
    let mut path = kurbo::BezPath::new();
    let mut sum = APART;
    while sum < width + height {
        let (from, to) = ((sum - height).max(0.0), sum.min(width));
        path.move_to((cell.x0 + from, cell.y0 + sum - from));
        path.line_to((cell.x0 + to, cell.y0 + sum - to));
        sum += APART;
    }
    path
}
