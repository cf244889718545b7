//! Changes to single values of a build file, named by where they stand, as whoever points at a picture makes them.
//!
//! What a change says follows JSON Merge Patch (RFC 7396): an object changes the keys that it names and no others, null takes
//! away, all else takes the place of what was there. All bytes outside of the one stretch that changes stay as they are.

use serde::{Deserialize, Serialize};
use serde_json::Value as Json;
use toml_edit::{Array, ArrayOfTables, Document, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use super::place::Lines;
use super::read::not_toml;
use crate::problem::{Place, Problem};

/// One step of the way to a value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Step {
    /// Into the table of an array, from 0.
    Index(usize),
    /// Into a table.
    Key(String),
}

/// A value, and what to do with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// The way to it from the top of the file; an index one beyond the last of an array makes a new one.
    pub at: Vec<Step>,
    /// What to merge into it.
    pub to: Json,
}

/// Tables that are written on one line, because they hold places.
const ON_ONE_LINE: [&str; 3] = ["trace", "landmarks", "limbs"];

/// `text` with all `changes` made, one after the other.
///
/// # Errors
/// When the text is no TOML, a way leads nowhere, or the change cannot be written into this file.
pub fn change(text: &str, changes: &[Change]) -> Result<String, Problem> {
    let (mark, body) = match text.strip_prefix('\u{feff}') {
        Some(body) => ("\u{feff}", body),
        None => ("", text),
    };
    let plain = body.replace("\r\n", "\n");
    let mut document: DocumentMut = plain.parse().map_err(|error| not_toml(&error, &Lines::new(&plain)))?;
    for change in changes {
        set(document.as_item_mut(), &change.at, &change.to).map_err(|why| {
            let way: Vec<String> = change.at.iter().map(step_words).collect();
            Problem::error(
                "cannot_be_changed",
                format!("{} cannot be changed here: {why}; mend it by hand", way.join(" › ")),
            )
        })?;
    }
    let changed = document.to_string();
    if let Err(error) = Document::parse(changed.as_str()) {
        let why = format!(
            "the file is written in a way that this cannot be put into ({}); put it in by hand",
            error.message()
        );
        return Err(Problem::error("cannot_be_changed", why));
    }
    Ok(format!("{mark}{}", spliced(body, &plain, &changed)))
}

fn step_words(step: &Step) -> String {
    match step {
        Step::Index(index) => format!("number {}", index + 1),
        Step::Key(key) => key.clone(),
    }
}

/// `changed`, with the line ends that `body` had before and behind the stretch that differs from `plain`.
fn spliced(body: &str, plain: &str, changed: &str) -> String {
    let before = plain.bytes().zip(changed.bytes()).take_while(|(a, b)| a == b).count();
    let before = (0..=before).rev().find(|&at| plain.is_char_boundary(at) && changed.is_char_boundary(at)).unwrap_or(0);
    let most = plain.len().min(changed.len()) - before;
    let behind = plain.bytes().rev().zip(changed.bytes().rev()).take(most).take_while(|(a, b)| a == b).count();
    let boundary = |behind: usize| {
        plain.is_char_boundary(plain.len() - behind) && changed.is_char_boundary(changed.len() - behind)
    };
    let behind = (0..=behind).rev().find(|&behind| boundary(behind)).unwrap_or(0);
    let windows = body.matches("\r\n").count() * 2 > body.matches('\n').count();
    let middle = &changed[before..changed.len() - behind];
    let middle = if windows { middle.replace('\n', "\r\n") } else { middle.to_owned() };
    let [from, to] = [before, plain.len() - behind].map(|at| in_body(body, at));
    format!("{}{middle}{}", &body[..from], &body[to..])
}

/// The place in `body` of byte `at` of the same text with plain line ends.
fn in_body(body: &str, at: usize) -> usize {
    let (mut plain, mut place) = (0, 0);
    let bytes = body.as_bytes();
    while plain < at {
        place += if bytes[place] == b'\r' && bytes.get(place + 1) == Some(&b'\n') { 2 } else { 1 };
        plain += 1;
    }
    place
}

fn set(item: &mut Item, way: &[Step], to: &Json) -> Result<(), String> {
    let Some((step, rest)) = way.split_first() else { return Err("the way is empty".to_owned()) };
    match step {
        Step::Key(key) => {
            let within_line = matches!(item, Item::Value(_));
            let table = item.as_table_like_mut().ok_or_else(|| format!("what holds {key} is no table"))?;
            set_key(table, key, rest, to, within_line)
        }
        Step::Index(index) => match item {
            Item::ArrayOfTables(tables) => set_table(tables, *index, rest, to),
            Item::Value(Value::Array(array)) => set_element(array, *index, rest, to),
            _ => Err(format!("there is no number {}", index + 1)),
        },
    }
}

/// `within_line`: the table is written on one line, and so is all that comes into it.
fn set_key(table: &mut dyn TableLike, key: &str, rest: &[Step], to: &Json, within_line: bool) -> Result<(), String> {
    if rest.is_empty() && to.is_null() {
        table.remove(key);
        return Ok(());
    }
    let within_line = within_line || ON_ONE_LINE.contains(&key);
    if let Some(item) = table.get_mut(key) {
        if !rest.is_empty() {
            set(item, rest, to)?;
            if matches!(item, Item::ArrayOfTables(tables) if tables.is_empty()) {
                table.remove(key);
            }
            return Ok(());
        }
        if let (Json::Object(entries), Some(inner)) = (to, item.as_table_like_mut()) {
            return entries.iter().try_for_each(|(key, to)| set_key(inner, key, &[], to, within_line));
        }
        let decor = item.as_value().map(|value| value.decor().clone());
        let mut value = value(to)?;
        if let Some(decor) = decor {
            *value.decor_mut() = decor;
        }
        *item = Item::Value(value);
        return Ok(());
    }
    let mut made = match (rest.first(), to) {
        (Some(Step::Index(_)), _) if within_line => Item::Value(Value::Array(Array::new())),
        (Some(Step::Index(_)), Json::Object(_)) => Item::ArrayOfTables(ArrayOfTables::new()),
        (Some(Step::Index(_)), _) => Item::Value(Value::Array(Array::new())),
        (Some(Step::Key(_)), _) | (None, Json::Object(_)) if within_line => Item::Value(InlineTable::new().into()),
        (Some(Step::Key(_)), _) | (None, Json::Object(_)) => Item::Table(new_table()),
        (None, _) => Item::Value(value(to)?),
    };
    match (rest.is_empty(), to) {
        (false, _) => set(&mut made, rest, to)?,
        (true, Json::Object(entries)) => {
            let inner = made.as_table_like_mut().expect("it was made so");
            entries.iter().try_for_each(|(key, to)| set_key(inner, key, &[], to, within_line))?;
        }
        (true, _) => {}
    }
    table.insert(key, made);
    Ok(())
}

fn set_table(tables: &mut ArrayOfTables, index: usize, rest: &[Step], to: &Json) -> Result<(), String> {
    if index > tables.len() || index == tables.len() && to.is_null() {
        return Err(format!("there is no number {}", index + 1));
    }
    if rest.is_empty() && to.is_null() {
        tables.remove(index);
        return Ok(());
    }
    if index == tables.len() {
        tables.push(new_table());
    }
    let table: &mut dyn TableLike = tables.get_mut(index).expect("it is there now");
    match (rest.split_first(), to) {
        (Some((Step::Key(key), rest)), _) => set_key(table, key, rest, to, false),
        (None, Json::Object(entries)) => entries.iter().try_for_each(|(key, to)| set_key(table, key, &[], to, false)),
        _ => Err("a table takes keys".to_owned()),
    }
}

fn set_element(array: &mut Array, index: usize, rest: &[Step], to: &Json) -> Result<(), String> {
    if index > array.len() || index == array.len() && (to.is_null() || !rest.is_empty()) {
        return Err(format!("there is no number {}", index + 1));
    }
    if rest.is_empty() && to.is_null() {
        array.remove(index);
        return Ok(());
    }
    if index == array.len() {
        array.push(value(to)?);
        return Ok(());
    }
    let element = array.get_mut(index).expect("it is there");
    match (rest.split_first(), to, &mut *element) {
        (Some((Step::Key(key), rest)), _, Value::InlineTable(table)) => set_key(table, key, rest, to, true),
        (Some((Step::Index(index), rest)), _, Value::Array(inner)) => set_element(inner, *index, rest, to),
        (None, Json::Object(entries), Value::InlineTable(table)) => {
            entries.iter().try_for_each(|(key, to)| set_key(table, key, &[], to, true))
        }
        (None, ..) => {
            let mut value = value(to)?;
            *value.decor_mut() = element.decor().clone();
            *element = value;
            Ok(())
        }
        _ => Err("the way leads nowhere".to_owned()),
    }
}

/// A table with a blank line above it.
fn new_table() -> Table {
    let mut table = Table::new();
    table.decor_mut().set_prefix("\n");
    table
}

fn value(json: &Json) -> Result<Value, String> {
    Ok(match json {
        Json::Null => return Err("nothing can stand there".to_owned()),
        Json::Bool(yes) => (*yes).into(),
        Json::String(text) => text.as_str().into(),
        Json::Number(number) => match (number.as_i64(), number.as_f64()) {
            (Some(whole), _) => whole.into(),
            (None, Some(number)) => number.into(),
            _ => return Err(format!("{number} is too large")),
        },
        Json::Array(all) => Value::Array(all.iter().map(value).collect::<Result<Array, _>>()?),
        Json::Object(entries) => {
            let mut table = InlineTable::new();
            for (key, to) in entries.iter().filter(|(_, to)| !to.is_null()) {
                table.insert(key, value(to)?);
            }
            table.into()
        }
    })
}

/// The whole file as JSON; dates as texts.
///
/// # Errors
/// When the text is no TOML.
pub fn as_json(text: &str) -> Result<Json, Problem> {
    let document = Document::parse(text).map_err(|error| not_toml(&error, &Lines::new(text)))?;
    Ok(table_json(document.as_table()))
}

fn table_json(table: &dyn TableLike) -> Json {
    Json::Object(table.iter().map(|(key, item)| (key.to_owned(), item_json(item))).collect())
}

fn item_json(item: &Item) -> Json {
    match item {
        Item::None => Json::Null,
        Item::Value(value) => value_json(value),
        Item::Table(table) => table_json(table),
        Item::ArrayOfTables(tables) => Json::Array(tables.iter().map(|table| table_json(table)).collect()),
    }
}

fn value_json(value: &Value) -> Json {
    match value {
        Value::String(text) => Json::from(text.value().as_str()),
        Value::Integer(number) => Json::from(*number.value()),
        Value::Float(number) => Json::from(*number.value()),
        Value::Boolean(yes) => Json::from(*yes.value()),
        Value::Datetime(date) => Json::from(date.value().to_string()),
        Value::Array(all) => Json::Array(all.iter().map(value_json).collect()),
        Value::InlineTable(table) => table_json(table),
    }
}

/// The way to what stands at `place`.
pub fn way_to(text: &str, place: Place) -> Vec<Step> {
    let Ok(document) = Document::parse(text) else { return Vec::new() };
    let lines = Lines::new(text);
    let mut best = (Place::default(), Vec::new());
    let mut consider = |start: usize, way: &[Step]| {
        let at = lines.place(start);
        if at <= place && at >= best.0 {
            best = (at, way.to_vec());
        }
    };
    walk(document.as_table(), &mut Vec::new(), &mut consider);
    best.1
}

fn walk(table: &dyn TableLike, way: &mut Vec<Step>, tell: &mut dyn FnMut(usize, &[Step])) {
    for (key, item) in table.iter() {
        way.push(Step::Key(key.to_owned()));
        if let Some(span) = table.key(key).and_then(toml_edit::Key::span) {
            tell(span.start, way);
        }
        walk_item(item, way, tell);
        way.pop();
    }
}

fn walk_item(item: &Item, way: &mut Vec<Step>, tell: &mut dyn FnMut(usize, &[Step])) {
    if let Some(span) = item.span() {
        tell(span.start, way);
    }
    match item {
        Item::Table(table) => walk(table, way, tell),
        Item::Value(Value::InlineTable(table)) => walk(table, way, tell),
        Item::ArrayOfTables(tables) => {
            for (index, table) in tables.iter().enumerate() {
                way.push(Step::Index(index));
                if let Some(span) = table.span() {
                    tell(span.start, way);
                }
                walk(table, way, tell);
                way.pop();
            }
        }
        _ => {}
    }
}

/// `changes` that were meant for `base`, fitted to `now`, which somebody else has changed meanwhile: tables of arrays are known
/// again by what they hold.
///
/// # Errors
/// The way to what was changed in both, or is no longer there.
pub fn carried(base: &Json, now: &Json, changes: &[Change]) -> Result<Vec<Change>, Vec<Step>> {
    changes.iter().map(|change| carry(base, now, change).ok_or_else(|| change.at.clone())).collect()
}

fn carry(base: &Json, now: &Json, change: &Change) -> Option<Change> {
    let (mut base, mut now) = (Some(base), Some(now));
    let mut at = Vec::new();
    for step in &change.at {
        match step {
            Step::Key(key) => {
                (base, now) = (base.and_then(|base| base.get(key)), now.and_then(|now| now.get(key)));
                at.push(step.clone());
            }
            Step::Index(index) => {
                let all = |json: Option<&Json>| json.and_then(Json::as_array).map_or(0, Vec::len);
                if *index >= all(base) {
                    at.push(Step::Index(all(now)));
                    (base, now) = (None, None);
                    continue;
                }
                let meant = base?.get(index)?;
                let same = |other: &usize| now.and_then(|now| now.get(other)) == Some(meant);
                let found = Some(*index).filter(same).or_else(|| (0..all(now)).find(same))?;
                at.push(Step::Index(found));
                (base, now) = (Some(meant), now?.get(found));
            }
        }
    }
    let untouched = match &change.to {
        // Only what it names has to be what it was.
        Json::Object(entries) if base.is_none_or(Json::is_object) && now.is_none_or(Json::is_object) => {
            entries.keys().all(|key| {
                let of = |json: Option<&Json>| json.and_then(|json| json.get(key)).cloned();
                of(base) == of(now)
            })
        }
        _ => base == now,
    };
    untouched.then_some(Change { at, to: change.to.clone() })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::json;

    use super::*;
    use crate::build_file::tests::COMPLETE;

    fn way(steps: &Json) -> Vec<Step> {
        serde_json::from_value(steps.clone()).expect("steps")
    }

    fn to(at: &Json, to: Json) -> Change {
        Change { at: way(at), to }
    }

    fn changed(text: &str, changes: &[Change]) -> String {
        change(text, changes).expect("it can be changed")
    }

    #[test]
    fn what_is_not_there_yet_comes_behind_its_like_and_what_is_there_changes_in_its_place() {
        let text = "# mine\n[build]\nname = \"Vane\" # of the north\n\n[picture.front]\nfile = 'a.jpg'\n\n[paper]\nuse = [\"A4\"]\n";
        let named = changed(text, &[to(&json!(["build", "name"]), json!("Latch"))]);
        assert_eq!(named, text.replace("\"Vane\"", "\"Latch\""));
        let length = json!({ "name": "grip", "from": [1.5, 2], "to": [3, 4.25], "length": "140 mm" });
        let add = to(&json!(["picture", "front", "known_length", 0]), length);
        let one = changed(text, std::slice::from_ref(&add));
        let block = "\n[[picture.front.known_length]]\n";
        let (before, rest) = one.split_once(block).expect("a table of its own");
        assert!(before.ends_with("file = 'a.jpg'\n") && rest.ends_with("\n\n[paper]\nuse = [\"A4\"]\n"), "{one}");
        assert!(one.contains("from = [1.5, 2]\n") && one.contains("length = \"140 mm\"\n"), "{one}");
        let gone = changed(&one, &[to(&json!(["picture", "front", "known_length", 0]), Json::Null)]);
        assert_eq!(gone, text);
        let sheet = to(
            &json!(["picture", "front", "known_rectangle"]),
            json!({ "size": "A4", "corners": [[1, 2], [3, 4], [5, 6], [7, 8]] }),
        );
        assert!(changed(&one, &[sheet]).contains("\n[picture.front.known_rectangle]\n"));
        let trace =
            to(&json!(["piece", 0]), json!({ "name": "vane", "trace": { "around": [[1, 2], [3, 4], [5, 6]] } }));
        assert!(
            changed(text, &[trace])
                .contains("\n[[piece]]\nname = \"vane\"\ntrace = { around = [[1, 2], [3, 4], [5, 6]] }\n")
        );
        let odd = to(&json!(["piece", 3, "name"]), json!("x"));
        assert_eq!(change(text, &[odd]).map_err(|error| error.code), Err("cannot_be_changed"));
    }

    #[test]
    fn line_ends_and_the_byte_order_mark_stay() {
        let text = "\u{feff}[build]\r\nname = \"Vane\"\r\n# last\n";
        let set = changed(text, &[to(&json!(["build", "units"]), json!("metric"))]);
        assert_eq!(set, "\u{feff}[build]\r\nname = \"Vane\"\r\nunits = \"metric\"\r\n# last\n");
        assert_eq!(changed(text, &[]), text);
    }

    #[test]
    fn a_file_says_the_same_as_json() {
        let json = as_json(COMPLETE).expect("TOML");
        let again = changed(COMPLETE, &[to(&json!(["build"]), json["build"].clone())]);
        assert_eq!(as_json(&again), Ok(json));
    }

    #[test]
    fn a_place_leads_to_what_stands_there() {
        let text = "[build]\nname = 1\n\n[[piece]]\nname = 2\n\n[[piece]]\ntrace = { inside = [1, 2] }\n";
        let at = |line, column| way_to(text, Place { line, column });
        assert_eq!(at(2, 8), way(&json!(["build", "name"])));
        assert_eq!(at(5, 1), way(&json!(["piece", 0, "name"])));
        assert_eq!(at(7, 1), way(&json!(["piece", 1])));
        assert_eq!(at(8, 13), way(&json!(["piece", 1, "trace", "inside"])));
    }

    #[test]
    fn a_change_follows_what_it_was_meant_for_or_is_refused() {
        let base = json!({ "build": { "name": "a", "units": "metric" }, "piece": [{ "name": "x" }, { "name": "y" }] });
        let now = json!({ "build": { "name": "b", "units": "metric" }, "piece": [{ "name": "w" }, { "name": "x" }, { "name": "z" }] });
        let carry = |change: Change| carried(&base, &now, &[change]).map(|all| all[0].at.clone());
        assert_eq!(carry(to(&json!(["piece", 0, "name"]), json!("v"))), Ok(way(&json!(["piece", 1, "name"]))));
        assert_eq!(carry(to(&json!(["piece", 2]), json!({ "name": "new" }))), Ok(way(&json!(["piece", 3]))));
        assert_eq!(carry(to(&json!(["build", "units"]), json!("both"))), Ok(way(&json!(["build", "units"]))));
        assert_eq!(carry(to(&json!(["build"]), json!({ "units": "both" }))), Ok(way(&json!(["build"]))));
        for lost in [to(&json!(["piece", 1, "name"]), json!("v")), to(&json!(["build", "name"]), json!("c"))] {
            assert_eq!(carry(lost.clone()), Err(lost.at));
        }
    }

    proptest! {
        /// Whatever is changed, every line that it does not name stays as it is.
        #[test]
        fn all_else_stays(x in 0.0..4000.0f64, windows in any::<bool>(), which in 0usize..5) {
            let text = if windows { COMPLETE.replace('\n', "\r\n") } else { COMPLETE.to_owned() };
            let x = (x * 100.0).round() / 100.0;
            let change = match which {
                0 => to(&json!(["picture", "front", "known_length", 0, "from"]), json!([x, 7.5])),
                1 => to(&json!(["picture", "front", "known_length", 99]), json!({ "name": "n" })),
                2 => to(&json!(["piece", 0]), json!({ "foam": format!("{x} mm") })),
                3 => to(&json!(["wearer"]), json!({ "height": format!("{x} mm") })),
                _ => to(&json!(["piece", 2, "trace"]), json!({ "inside": [x, 2.0] })),
            };
            let Ok(set) = super::change(&text, std::slice::from_ref(&change)) else { return Ok(()) };
            let lines = |text: &str| text.split_inclusive('\n').map(str::to_owned).collect::<Vec<_>>();
            let (old, new) = (lines(&text), lines(&set));
            let before = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
            let behind = old.iter().rev().zip(new.iter().rev()).take_while(|(a, b)| a == b).count();
            prop_assert!(before + behind + 2 > old.len(), "{} of {} lines", before + behind, old.len());
            prop_assert_eq!(set.contains('\r'), windows);
            let back = as_json(&set).expect("still TOML");
            let there = change.at.iter().try_fold(&back, |json, step| match step {
                Step::Key(key) => json.get(key),
                Step::Index(index) => json.get(index),
            });
            prop_assert!(there.is_some());
        }
    }
}
