//! The parsed document, held against the description of the file.
//!
//! What comes out holds only keys that are known and values of the right kind and range, each with its place; what did
//! not pass is among the problems.

use std::ops::Range;

use kurbo::BezPath;
use toml_edit::{Document, Item, TableLike};

use super::build::{PaperSize, SplinePoint};
use super::format::{FARTHEST, FILE, Key, Kind, Need, Table};
use super::path_data;
use super::place::Lines;
use crate::problem::{Place, Placed, Problem, Problems};
use crate::space::{Pixels, Point};
use crate::tables::{self, nearest};
use crate::units::Length;

/// The table without which there is nothing to make.
const PIECE: &str = "piece";

/// A value of the kind that its key takes, in range.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Text(String),
    Path(BezPath),
    Length(Length),
    Number(f64),
    Whole(u32),
    Switch(bool),
    Pixels([u32; 2]),
    Point(Point<Pixels>),
    Points(Vec<Placed<Point<Pixels>>>),
    Strokes(Vec<Vec<Placed<Point<Pixels>>>>),
    Spline(Vec<Placed<SplinePoint>>),
    Rectangle(Rectangle),
    Offsets([Length; 2]),
    Lengths(Vec<Placed<Length>>),
    Names(Vec<Placed<String>>),
    Papers(Vec<Placed<PaperSize>>),
    Table(Checked),
    Tables(Vec<Checked>),
    Named(Vec<(Placed<String>, Checked)>),
}

/// The size of a rectangle that lies in a picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rectangle {
    /// First and second side as written; `None`: unknown.
    pub(super) size: Option<[Length; 2]>,
    /// Of a named sheet or card.
    pub(super) tolerance: Option<Length>,
}

/// A table without what did not pass.
#[derive(Clone, Debug)]
pub(super) struct Checked {
    /// Of its header.
    pub(super) place: Place,
    entries: Vec<Entry>,
    /// Keys that are written but did not pass.
    broken: Vec<&'static str>,
}

#[derive(Clone, Debug)]
struct Entry {
    key: &'static str,
    value: Placed<Value>,
    /// Written by the maker; otherwise the default.
    written: bool,
}

macro_rules! getters {
    ($($name:ident: $variant:ident -> $type:ty;)*) => {$(
        /// The value of `key`; `None` when it is not there or did not pass.
        pub(super) fn $name(&self, key: &str) -> Option<Placed<$type>> {
            let entry = self.entry(key)?;
            match &entry.value.value {
                Value::$variant(value) => Some(Placed::new(value.clone(), entry.value.place)),
                _ => None,
            }
        }
    )*};
}

impl Checked {
    getters! {
        text: Text -> String;
        path: Path -> BezPath;
        length: Length -> Length;
        number: Number -> f64;
        whole: Whole -> u32;
        switch: Switch -> bool;
        pixels: Pixels -> [u32; 2];
        point: Point -> Point<Pixels>;
        points: Points -> Vec<Placed<Point<Pixels>>>;
        strokes: Strokes -> Vec<Vec<Placed<Point<Pixels>>>>;
        spline: Spline -> Vec<Placed<SplinePoint>>;
        rectangle: Rectangle -> Rectangle;
        offsets: Offsets -> [Length; 2];
        lengths: Lengths -> Vec<Placed<Length>>;
        names: Names -> Vec<Placed<String>>;
        papers: Papers -> Vec<Placed<PaperSize>>;
    }

    /// The table under `key`.
    pub(super) fn table(&self, key: &str) -> Option<&Self> {
        match &self.entry(key)?.value.value {
            Value::Table(table) => Some(table),
            _ => None,
        }
    }

    /// The tables under `key`; none when it is not there.
    pub(super) fn tables(&self, key: &str) -> &[Self] {
        match self.entry(key).map(|entry| &entry.value.value) {
            Some(Value::Tables(tables)) => tables,
            _ => &[],
        }
    }

    /// The tables under `key` with the names the maker gave them.
    pub(super) fn named(&self, key: &str) -> &[(Placed<String>, Self)] {
        match self.entry(key).map(|entry| &entry.value.value) {
            Some(Value::Named(tables)) => tables,
            _ => &[],
        }
    }

    /// Where the value of `key` is written; `None` when it is a default or not there.
    pub(super) fn place_of(&self, key: &str) -> Option<Place> {
        self.entry(key).filter(|entry| entry.written).map(|entry| entry.value.place)
    }

    /// Whether the maker wrote `key`, even if its value did not pass.
    pub(super) fn wrote(&self, key: &str) -> bool {
        self.place_of(key).is_some() || self.broken.contains(&key)
    }

    fn entry(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.key == key)
    }
}

/// `document`, checked, and everything that is wrong with it by the description of the file.
pub(super) fn check(document: &Document<&str>, lines: &Lines<'_>) -> (Checked, Problems) {
    let mut checker = Checker { lines, default_at: None, problems: Vec::new() };
    let start = Place { line: 1, column: 1 };
    let checked = checker.table(&FILE, document.as_table(), start, "");
    (checked, checker.problems)
}

struct Checker<'a> {
    lines: &'a Lines<'a>,
    /// While a default is read: where the table stands that lacks the key.
    default_at: Option<Place>,
    problems: Problems,
}

/// Why a value does not pass.
struct Refusal {
    code: &'static str,
    /// The part of the value that is to blame; `None`: all of it.
    part: Option<Range<usize>>,
    /// `None`: its key tells what it takes.
    why: Option<String>,
}

impl Refusal {
    fn kind(part: Option<Range<usize>>) -> Self {
        Self { code: "wrong_type", part, why: None }
    }

    fn range(part: Option<Range<usize>>) -> Self {
        Self { code: "out_of_range", part, why: None }
    }

    fn because(code: &'static str, part: Option<Range<usize>>, why: impl Into<String>) -> Self {
        Self { code, part, why: Some(why.into()) }
    }
}

impl Checker<'_> {
    fn place(&self, span: Option<Range<usize>>, or: Place) -> Place {
        self.default_at.unwrap_or_else(|| span.map_or(or, |span| self.lines.place(span.start)))
    }

    fn table(&mut self, table: &'static Table, found: &dyn TableLike, place: Place, path: &str) -> Checked {
        let mut checked = Checked { place, entries: Vec::new(), broken: Vec::new() };
        for (name, item) in found.iter() {
            let key_place = self.place(found.key(name).and_then(toml_edit::Key::span), place);
            let Some(key) = table.keys.iter().find(|key| key.name == name) else {
                self.problems.push(unknown_key(table, name, path).at(key_place));
                continue;
            };
            let place = self.place(item.span(), key_place);
            match self.item(key, item, place, path) {
                Ok(value) => {
                    checked.entries.push(Entry { key: key.name, value: Placed::new(value, place), written: true });
                }
                Err(refusal) => {
                    let part = refusal.part.clone().or_else(|| item.span());
                    let text = match refusal.why {
                        Some(why) => format!("{name}: {why}"),
                        None => {
                            let (met, takes) = (self.lines.quote(part.clone()), key.kind.words());
                            format!("{name} is {met}; it takes {takes}, for example {}", key.written(path))
                        }
                    };
                    let problem = Problem::error(refusal.code, text).at(self.place(part, place));
                    self.problems.push(problem);
                    checked.broken.push(key.name);
                }
            }
        }
        for key in table.keys.iter().filter(|key| !found.contains_key(key.name)) {
            match key.need {
                Need::Optional => {}
                Need::Required => {
                    let whose = if path.is_empty() { "the file".to_owned() } else { format!("[{path}]") };
                    let text = format!("{whose} has no {}; write for example {}", key.name, key.written(path));
                    let code = if key.name == PIECE && path.is_empty() { "no_piece" } else { "missing_key" };
                    self.problems.push(Problem::error(code, text).at(place));
                }
                Need::Default(text) => checked.entries.extend(self.default(key, text, place, path)),
            }
        }
        checked
    }

    fn default(&mut self, key: &'static Key, text: &str, place: Place, path: &str) -> Option<Entry> {
        let item = Item::Value(text.parse().expect("a test reads all defaults"));
        let outer = self.default_at.replace(place);
        let value = self.item(key, &item, place, path).ok();
        self.default_at = outer;
        Some(Entry { key: key.name, value: Placed::new(value?, place), written: false })
    }

    fn item(&mut self, key: &'static Key, item: &Item, place: Place, path: &str) -> Result<Value, Refusal> {
        let path = if path.is_empty() { key.name.to_owned() } else { format!("{path}.{}", key.name) };
        match (&key.kind, item) {
            (Kind::WordOrTable(word, _), Item::Value(value)) if value.is_str() => {
                let text = value.as_str().filter(|text| text == word);
                text.map(|text| Value::Text(text.to_owned())).ok_or_else(|| Refusal::range(None))
            }
            (Kind::Table(table) | Kind::WordOrTable(_, table), _) => {
                let found = item.as_table_like().ok_or_else(|| self.not_one_table(item, &path))?;
                Ok(Value::Table(self.table(table, found, place, &path)))
            }
            (Kind::Tables(table), _) => {
                let found = tables_of(item).ok_or_else(|| not_many_tables(item, &path))?;
                let each = found.into_iter().map(|(found, span)| {
                    let place = self.place(span, place);
                    self.table(table, found, place, &path)
                });
                Ok(Value::Tables(each.collect()))
            }
            (Kind::Named(table), _) => {
                let found = item.as_table_like().ok_or_else(|| Refusal::kind(None))?;
                self.named(table, found, place, &path)
            }
            (kind, Item::Value(value)) => plain(kind, value, &|span| self.place(span, place)),
            _ => Err(Refusal::kind(None)),
        }
    }

    fn named(
        &mut self,
        table: &'static Table,
        found: &dyn TableLike,
        place: Place,
        path: &str,
    ) -> Result<Value, Refusal> {
        let mut named = Vec::new();
        for (name, item) in found.iter() {
            let name_place = self.place(found.key(name).and_then(toml_edit::Key::span), place);
            let full = format!("{path}.{name}");
            let Some(below) = item.as_table_like() else {
                let text = format!(
                    "{name} stands right under {path}, where each table has a name of your own; write for example \
                     [{path}.front] and {name} below it"
                );
                self.problems.push(Problem::error("wrong_type", text).at(name_place));
                continue;
            };
            if name.trim().is_empty() {
                let text = format!("a {path} needs a name, for example [{path}.front]");
                self.problems.push(Problem::error("empty", text).at(name_place));
            }
            let place = self.place(item.span(), name_place);
            let checked = self.table(table, below, place, &full);
            named.push((Placed::new(name.to_owned(), name_place), checked));
        }
        Ok(Value::Named(named))
    }

    fn not_one_table(&self, item: &Item, path: &str) -> Refusal {
        if tables_of(item).is_none() {
            return Refusal::kind(None);
        }
        Refusal::because("wrong_type", None, format!("there is only one; write [{path}] with single brackets, once"))
    }
}

fn not_many_tables(item: &Item, path: &str) -> Refusal {
    if item.as_table_like().is_none() {
        return Refusal::kind(None);
    }
    Refusal::because("wrong_type", None, format!("there can be several; write [[{path}]] with double brackets"))
}

fn unknown_key(table: &Table, name: &str, path: &str) -> Problem {
    let known = || table.keys.iter().map(|key| key.name);
    let whose = if path.is_empty() { "the file".to_owned() } else { format!("[{path}]") };
    let next = match nearest(name, known()) {
        Some(near) => format!("did you mean {near}?"),
        None => format!("it takes {}", known().collect::<Vec<_>>().join(", ")),
    };
    Problem::error("unknown_key", format!("{whose} has no key \"{name}\"; {next}"))
}

type Spanned<'a> = (&'a dyn TableLike, Option<Range<usize>>);

/// Each table of an array of tables, written either way; `None` when it is none.
fn tables_of(item: &Item) -> Option<Vec<Spanned<'_>>> {
    match item {
        Item::ArrayOfTables(array) => Some(array.iter().map(|table| (table as &dyn TableLike, table.span())).collect()),
        Item::Value(toml_edit::Value::Array(array)) => {
            array.iter().map(|value| Some((value.as_inline_table()? as &dyn TableLike, value.span()))).collect()
        }
        _ => None,
    }
}

type PlaceOf<'a> = &'a dyn Fn(Option<Range<usize>>) -> Place;

/// A value that is no table.
fn plain(kind: &Kind, value: &toml_edit::Value, place_of: PlaceOf<'_>) -> Result<Value, Refusal> {
    match kind {
        Kind::Text(most) => text(value, *most).map(Value::Text),
        Kind::Path => {
            let data = text(value, usize::MAX)?;
            path_data::outline(&data).map(Value::Path).map_err(|why| Refusal::because("path_data", None, why))
        }
        Kind::Letter => {
            let letter = text(value, 3)?;
            if is_letter(&letter) { Ok(Value::Text(letter)) } else { Err(Refusal::range(None)) }
        }
        Kind::File => file(text(value, 1000)?).map(Value::Text),
        Kind::Word(words) => word(value, words),
        Kind::Length(least, most) => length(value, *least, *most).map(Value::Length),
        Kind::Number(least, most) => number(value, *least, *most).map(Value::Number),
        Kind::Whole(least, most) => whole(value, *least, *most).map(Value::Whole),
        Kind::Switch => value.as_bool().map(Value::Switch).ok_or_else(|| Refusal::kind(None)),
        Kind::SwitchOrWord(words) => match value.as_bool() {
            Some(switch) => Ok(Value::Switch(switch)),
            None => word(value, words),
        },
        Kind::Date => match value.as_datetime() {
            Some(date) if date.date.is_some() && date.time.is_none() => Ok(Value::Text(date.to_string())),
            _ => Err(Refusal::kind(None)),
        },
        Kind::Pixels => {
            let [width, height] = pair(value)?;
            Ok(Value::Pixels([whole(width, 1, MOST_PIXELS)?, whole(height, 1, MOST_PIXELS)?]))
        }
        Kind::Point => point(value).map(Value::Point),
        Kind::Points(least, most) => points(value, *least, *most, place_of).map(Value::Points),
        Kind::Strokes => strokes(value, place_of).map(Value::Strokes),
        Kind::Spline => {
            let each = list(value, 3, usize::MAX)?;
            let each = each.map(|value| Ok(Placed::new(spline_point(value)?, place_of(value.span()))));
            each.collect::<Result<_, _>>().map(Value::Spline)
        }
        Kind::Lines(least) => {
            let each = list(value, 1, usize::MAX)?;
            each.map(|line| points(line, *least, usize::MAX, place_of)).collect::<Result<_, _>>().map(Value::Strokes)
        }
        Kind::Rectangle => rectangle(value).map(Value::Rectangle),
        Kind::Offsets => {
            const FARTHEST: f64 = 10_000.0;
            let [across, down] = pair(value)?;
            let offset = |value| length(value, -FARTHEST, FARTHEST);
            Ok(Value::Offsets([offset(across)?, offset(down)?]))
        }
        Kind::Sides(least, most) => {
            let [first, second] = pair(value)?;
            Ok(Value::Offsets([length(first, *least, *most)?, length(second, *least, *most)?]))
        }
        Kind::Names(least, most) => {
            let name = |value: &toml_edit::Value| {
                let name = text(value, 80).map_err(|refusal| Refusal { part: value.span(), ..refusal })?;
                Ok(Placed::new(name, place_of(value.span())))
            };
            if *least == 1 && value.is_str() {
                return Ok(Value::Names(vec![name(value)?]));
            }
            list(value, *least, *most)?.map(name).collect::<Result<_, _>>().map(Value::Names)
        }
        Kind::Lengths(least, most) => {
            let each = list(value, 1, usize::MAX)?;
            let each = each.map(|value| Ok(Placed::new(length(value, *least, *most)?, place_of(value.span()))));
            each.collect::<Result<_, _>>().map(Value::Lengths)
        }
        Kind::Papers => {
            let each = list(value, 1, usize::MAX)?;
            let each = each.map(|value| Ok(Placed::new(paper(value)?, place_of(value.span()))));
            each.collect::<Result<_, _>>().map(Value::Papers)
        }
        Kind::Table(_) | Kind::Tables(_) | Kind::Named(_) | Kind::WordOrTable(..) => Err(Refusal::kind(None)),
    }
}

/// No picture is wider or higher.
const MOST_PIXELS: u32 = 1_000_000;

fn text(value: &toml_edit::Value, most: usize) -> Result<String, Refusal> {
    let text = value.as_str().ok_or_else(|| Refusal::kind(None))?;
    if text.trim().is_empty() {
        return Err(Refusal { code: "empty", part: None, why: None });
    }
    // Path data may well stand on several lines.
    let breaks = most < usize::MAX && text.chars().any(char::is_control);
    if breaks || text.chars().count() > most { Err(Refusal::range(None)) } else { Ok(text.to_owned()) }
}

fn is_letter(text: &str) -> bool {
    let letters = text.strip_suffix(|c: char| c.is_ascii_digit()).unwrap_or(text);
    (1..=2).contains(&letters.len()) && letters.chars().all(|c| c.is_ascii_uppercase() && c != 'I' && c != 'O')
}

fn file(name: String) -> Result<String, Refusal> {
    let drive = name.as_bytes().get(1) == Some(&b':');
    if name.starts_with(['/', '\\']) || drive {
        let why =
            format!("\"{name}\" is an absolute path; write it relative to the build file, so that the folder can move");
        return Err(Refusal::because("absolute_path", None, why));
    }
    if name.starts_with('#') || name.ends_with(['/', '\\', '#']) {
        return Err(Refusal::range(None));
    }
    Ok(name)
}

fn word(value: &toml_edit::Value, words: &[&str]) -> Result<Value, Refusal> {
    let text = value.as_str().ok_or_else(|| Refusal::kind(None))?;
    if words.contains(&text) {
        return Ok(Value::Text(text.to_owned()));
    }
    match nearest(text, words.iter().copied()) {
        Some(near) => {
            let why = format!("there is no \"{text}\"; did you mean \"{near}\"?");
            Err(Refusal::because("out_of_range", None, why))
        }
        None => {
            Err(Refusal { code: if text.trim().is_empty() { "empty" } else { "out_of_range" }, part: None, why: None })
        }
    }
}

/// An integer or a float, finite.
fn finite(value: &toml_edit::Value) -> Result<f64, Refusal> {
    #[expect(clippy::cast_precision_loss, reason = "whatever loses digits is far out of every range")]
    let number = value.as_float().or_else(|| value.as_integer().map(|number| number as f64));
    let number = number.ok_or_else(|| Refusal::kind(value.span()))?;
    if number.is_finite() { Ok(number) } else { Err(Refusal { code: "not_finite", part: value.span(), why: None }) }
}

fn number(value: &toml_edit::Value, least: f64, most: f64) -> Result<f64, Refusal> {
    let number = finite(value)?;
    if (least..=most).contains(&number) { Ok(number) } else { Err(Refusal::range(value.span())) }
}

fn whole(value: &toml_edit::Value, least: u32, most: u32) -> Result<u32, Refusal> {
    let number = value.as_integer().ok_or_else(|| Refusal::kind(value.span()))?;
    let number = u32::try_from(number).map_err(|_| Refusal::range(value.span()))?;
    if (least..=most).contains(&number) { Ok(number) } else { Err(Refusal::range(value.span())) }
}

fn length(value: &toml_edit::Value, least: f64, most: f64) -> Result<Length, Refusal> {
    let length = match value.as_str() {
        Some(text) => {
            let read = if least < 0.0 { Length::parse_signed(text) } else { Length::parse(text) };
            let code = if text.trim().is_empty() { "empty" } else { "length" };
            read.map_err(|error| Refusal::because(code, value.span(), error.to_string()))?
        }
        None => Length::mm(finite(value)?),
    };
    if (least..=most).contains(&length.to_mm()) { Ok(length) } else { Err(Refusal::range(value.span())) }
}

fn list(
    value: &toml_edit::Value,
    least: usize,
    most: usize,
) -> Result<impl Iterator<Item = &toml_edit::Value>, Refusal> {
    let array = value.as_array().ok_or_else(|| Refusal::kind(value.span()))?;
    if (least..=most).contains(&array.len()) { Ok(array.iter()) } else { Err(Refusal::range(value.span())) }
}

fn pair(value: &toml_edit::Value) -> Result<[&toml_edit::Value; 2], Refusal> {
    let mut both = list(value, 2, 2)?;
    match (both.next(), both.next()) {
        (Some(first), Some(second)) => Ok([first, second]),
        _ => Err(Refusal::kind(value.span())),
    }
}

fn point(value: &toml_edit::Value) -> Result<Point<Pixels>, Refusal> {
    let [x, y] = pair(value)?;
    Ok(Point::new(number(x, -FARTHEST, FARTHEST)?, number(y, -FARTHEST, FARTHEST)?))
}

fn points(
    value: &toml_edit::Value,
    least: usize,
    most: usize,
    place_of: PlaceOf<'_>,
) -> Result<Vec<Placed<Point<Pixels>>>, Refusal> {
    let each = list(value, least, most)?;
    each.map(|value| Ok(Placed::new(point(value)?, place_of(value.span())))).collect()
}

/// A place by itself, or a list of places and lists of places.
fn strokes(value: &toml_edit::Value, place_of: PlaceOf<'_>) -> Result<Vec<Vec<Placed<Point<Pixels>>>>, Refusal> {
    let one = |value: &toml_edit::Value| point(value).map(|at| vec![Placed::new(at, place_of(value.span()))]);
    let is_list =
        |value: &toml_edit::Value| value.as_array().is_some_and(|all| all.iter().any(toml_edit::Value::is_array));
    if !is_list(value) && value.as_array().is_some_and(|all| !all.is_empty()) {
        return Ok(vec![one(value)?]);
    }
    let each = list(value, 1, usize::MAX)?;
    each.map(|value| if is_list(value) { points(value, 1, usize::MAX, place_of) } else { one(value) }).collect()
}

fn spline_point(value: &toml_edit::Value) -> Result<SplinePoint, Refusal> {
    let Some(table) = value.as_inline_table() else { return Ok(SplinePoint { at: point(value)?, corner: false }) };
    match (table.get("corner"), table.len()) {
        (Some(at), 1) => Ok(SplinePoint { at: point(at)?, corner: true }),
        _ => Err(Refusal::kind(value.span())),
    }
}

fn rectangle(value: &toml_edit::Value) -> Result<Rectangle, Refusal> {
    const SIDE: (f64, f64) = (5.0, 10_000.0);
    if value.is_array() {
        let [width, height] = pair(value)?;
        let (width, height) = (length(width, SIDE.0, SIDE.1)?, length(height, SIDE.0, SIDE.1)?);
        return Ok(Rectangle { size: Some([width, height]), tolerance: None });
    }
    let name = text(value, 80)?;
    if name == "unknown" {
        return Ok(Rectangle { size: None, tolerance: None });
    }
    let found = tables::rectangle(&name).ok_or_else(|| {
        let known = || tables::sheets().iter().chain(tables::cards()).map(|sheet| sheet.name.as_str());
        Refusal::because("unresolved", None, unresolved(&name, "sheet or card", known(), "[\"297 mm\", \"210 mm\"]"))
    })?;
    Ok(Rectangle { size: Some([found.width, found.height]), tolerance: Some(found.tolerance) })
}

fn paper(value: &toml_edit::Value) -> Result<PaperSize, Refusal> {
    let name = value.as_str().ok_or_else(|| Refusal::kind(value.span()))?;
    let code = match name {
        name if name.trim().is_empty() => "empty",
        name if name.contains(|c: char| c.is_ascii_digit()) && tables::sheet(name).is_none() => "out_of_range",
        _ => "unresolved",
    };
    PaperSize::named(name).map_err(|why| Refusal::because(code, value.span(), why))
}

impl PaperSize {
    /// "A4", "300 x 400 mm" or "914 mm roll".
    ///
    /// # Errors
    ///
    /// What is wrong with another, in words.
    pub fn named(name: &str) -> Result<Self, String> {
        if let Some(sheet) = tables::sheet(name) {
            return Ok(Self { name: sheet.name.clone(), width: sheet.width, height: sheet.height, roll: false });
        }
        let lower = name.to_lowercase();
        if let Some(width) = lower.trim_end().strip_suffix("roll") {
            return roll(width);
        }
        if let Some(sides) = two_lengths(&lower) {
            return paper_of_size(sides?);
        }
        // The everyday ones, where all would be too many.
        let everyday = ["A4", "Letter", "A3"].into_iter();
        let known = everyday.chain(tables::sheets().iter().map(|sheet| sheet.name.as_str()));
        Err(unresolved(name, "sheet", known, "\"300 x 400 mm\" or \"914 mm roll\""))
    }
}

/// The longest side of a page, in mm, that readers of PDF are sure to take (ISO 32000-1, annex C.2: 14 400 units).
const LONGEST_PAGE: f64 = 5080.0;

/// `914 mm roll`, by its width.
fn roll(width: &str) -> Result<PaperSize, String> {
    const WIDTH: (f64, f64) = (200.0, 1700.0);
    let width = Length::parse(width.trim()).map_err(|error| error.to_string())?;
    let mm = (width.to_mm() * 100.0).round() / 100.0;
    if !(WIDTH.0..=WIDTH.1).contains(&mm) {
        return Err(format!("a width of {mm} mm is no roll to print on; a roll is {} to {} mm wide", WIDTH.0, WIDTH.1));
    }
    Ok(PaperSize { name: format!("{mm} mm roll"), width, height: Length::mm(LONGEST_PAGE), roll: true })
}

/// `300 x 400 mm` as it stands there: a first number without a unit has that of the second. `None`: no two lengths.
pub fn two_lengths(text: &str) -> Option<Result<[Length; 2], String>> {
    let lower = text.to_lowercase();
    let (first, second) = lower.split_once(['x', '×'])?;
    let is_number = |c: char| c.is_ascii_digit() || c == '.' || c == '/' || c.is_whitespace();
    let unit = second.trim_start_matches(is_number);
    let first = if first.chars().all(is_number) { format!("{first} {unit}") } else { first.to_owned() };
    let side = |text: &str| Length::parse(text).map_err(|error| error.to_string());
    Some(side(&first).and_then(|first| Ok([first, side(second)?])))
}

fn paper_of_size(sides: [Length; 2]) -> Result<PaperSize, String> {
    const SIDE: (f64, f64) = (50.0, LONGEST_PAGE);
    let [a, b] = sides.map(Length::to_mm);
    if let Some(mm) = [a, b].into_iter().find(|mm| !(SIDE.0..=SIDE.1).contains(mm)) {
        return Err(format!("a side of {mm} mm is no sheet to print on; a side is {} to {} mm long", SIDE.0, SIDE.1));
    }
    let (width, height) = (a.min(b), a.max(b));
    let rounded = |mm: f64| (mm * 100.0).round() / 100.0;
    let (width, height) = (Length::mm(rounded(width)), Length::mm(rounded(height)));
    // A size that has a name goes by it, so that one paper is not taken for two.
    let known = tables::sheets().iter().find(|sheet| sheet.width == width && sheet.height == height);
    let name = known.map_or_else(|| format!("{} x {} mm", width.to_mm(), height.to_mm()), |sheet| sheet.name.clone());
    Ok(PaperSize { name, width, height, roll: false })
}

/// What to say of a name that stands for nothing.
pub(super) fn unresolved<'a>(
    name: &str,
    what: &str,
    known: impl Iterator<Item = &'a str> + Clone,
    instead: &str,
) -> String {
    match nearest(name, known.clone()) {
        Some(near) => format!("there is no {what} \"{name}\"; did you mean \"{near}\"?"),
        None => {
            let mut some: Vec<&str> = Vec::new();
            for name in known.filter(|name| !name.is_empty()) {
                if some.len() < 6 && !some.contains(&name) {
                    some.push(name);
                }
            }
            format!("there is no {what} \"{name}\"; there is {}; or write {instead}", some.join(", "))
        }
    }
}
