//! Any table as plain text for a terminal or a page.

use std::fmt::Write;

use toml_edit::{Document, Item, Table, Value};

use super::source_of;

/// Where words wrap, in characters.
const LINE: usize = 100;
/// Columns hold values up to this many characters; longer ones stand in full under their row.
const CELL: usize = 48;
/// The columns of a row take so many characters at most; what has no room beside them stands under its row.
const ROW: usize = 150;
/// What every row has; shown by a column and by the numbered sources.
const SOURCE: [&str; 3] = ["source", "status", "checked"];

/// The table `name` as aligned rows by kind, units in the column heads, each row with its status and the number of its
/// source in the list at the end; `None` when there is no such table.
pub fn listing(name: &str) -> Option<String> {
    // The format-keeping reader, because rows and columns should stand in the order of the file.
    let text = source_of(name)?;
    let document = Document::parse(text).expect("the embedded tables are well formed: the tests read them all");
    let mut sources = Vec::new();
    let mut out = String::new();
    if let Some(title) = document.get("meta").and_then(|meta| meta.get("title")).and_then(Item::as_str) {
        out.push_str(title);
        out.push('\n');
    }
    for (kind, item) in document.iter() {
        if let Some(rows) = item.as_array_of_tables() {
            let rows: Vec<&Table> = rows.iter().collect();
            section(kind, &rows, &mut sources, &mut out);
        }
    }
    out.push_str("\nSources\n");
    for (number, source) in (1..).zip(&sources) {
        let label = format!("[{number}] ");
        wrap(source, &label, &" ".repeat(label.len()), &mut out);
    }
    Some(out)
}

fn section(kind: &str, rows: &[&Table], sources: &mut Vec<String>, out: &mut String) {
    let mut keys: Vec<&str> = Vec::new();
    for (key, _) in rows.iter().flat_map(|row| row.iter()) {
        if !keys.contains(&key) && !SOURCE.contains(&key) {
            keys.push(key);
        }
    }
    // A column is for what a good part of the rows has and what fits; the rest stands under its row.
    let mut room = ROW;
    let (columns, notes): (Vec<&str>, Vec<&str>) = keys.into_iter().partition(|key| {
        let having = rows.iter().filter(|row| row.contains_key(key)).count();
        let cells = rows.iter().map(|row| cell(row, key).chars().count()).max().unwrap_or(0);
        let head = key.split('_').map(str::len).max().unwrap_or(0);
        let wide = cells.max(head) + 2;
        let fits = *key != "note" && 4 * having >= rows.len() && cells <= CELL && wide <= room;
        room -= if fits { wide } else { 0 };
        fits
    });

    let heads: Vec<&str> = columns.iter().copied().chain(["status", "source"]).collect();
    let mut lines = stacked(&heads);
    let head_lines = lines.len();
    for row in rows {
        let source = cell(row, "source");
        let known = sources.iter().position(|known| *known == source);
        let number = known.unwrap_or_else(|| {
            sources.push(source);
            sources.len() - 1
        });
        let cells = columns.iter().map(|key| cell(row, key));
        lines.push(cells.chain([cell(row, "status"), format!("[{}]", number + 1)]).collect());
    }

    let _ = write!(out, "\n{}\n", spaced(kind));
    let aligned = align(&lines, head_lines);
    let (heads, aligned) = aligned.split_at(head_lines);
    out.extend(heads.iter().map(|head| format!("  {head}\n")));
    for (line, row) in aligned.iter().zip(rows) {
        let _ = writeln!(out, "  {line}");
        for note in notes.iter().filter(|key| row.contains_key(key)) {
            wrap(&format!("{}: {}", spaced(note), cell(row, note)), "      ", "        ", out);
        }
    }
}

/// The heads one word a line, so that no column is wider than its words; the last words stand side by side.
fn stacked(heads: &[&str]) -> Vec<Vec<String>> {
    let words: Vec<Vec<&str>> = heads.iter().map(|head| head.split('_').collect()).collect();
    let height = words.iter().map(Vec::len).max().unwrap_or(0);
    let word = |head: &Vec<&str>, line: usize| {
        (line + head.len()).checked_sub(height).map_or(String::new(), |at| head[at].to_owned())
    };
    (0..height).map(|line| words.iter().map(|head| word(head, line)).collect()).collect()
}

/// Each row as one line; numbers stand flush right under their heads, which are the first `heads` rows.
fn align(rows: &[Vec<String>], heads: usize) -> Vec<String> {
    let columns = rows.first().map_or(0, Vec::len);
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let is_number = |text: &String| text.is_empty() || text.parse::<f64>().is_ok();
    let shape: Vec<(usize, bool)> =
        (0..columns).map(|c| (width(c), rows.iter().skip(heads).all(|row| is_number(&row[c])))).collect();
    let line = |row: &Vec<String>| {
        let cells = row
            .iter()
            .zip(&shape)
            .map(|(text, (width, right))| if *right { format!("{text:>width$}") } else { format!("{text:<width$}") });
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect()
}

fn cell(row: &Table, key: &str) -> String {
    match row.get(key).and_then(Item::as_value) {
        None => String::new(),
        Some(Value::String(text)) => text.value().clone(),
        Some(Value::Float(number)) => number.value().to_string(),
        Some(other) => other.to_string().trim().to_owned(),
    }
}

fn spaced(key: &str) -> String {
    key.replace('_', " ")
}

fn wrap(text: &str, first: &str, later: &str, out: &mut String) {
    let mut line = first.to_owned();
    let mut fresh = true;
    for word in text.split_whitespace() {
        if !fresh && line.chars().count() + 1 + word.chars().count() > LINE {
            let _ = writeln!(out, "{line}");
            line = later.to_owned();
            fresh = true;
        }
        if !fresh {
            line.push(' ');
        }
        line.push_str(word);
        fresh = false;
    }
    let _ = writeln!(out, "{line}");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::names;

    #[test]
    fn every_value_of_every_table_is_listed_with_its_source_in_full() {
        for name in names() {
            let listed = listing(name).expect(name);
            let words: Vec<&str> = listed.split_whitespace().collect();
            let flat = words.join(" ");
            let table: toml::Table = toml::from_str(source_of(name).expect(name)).expect(name);
            for (kind, rows) in table.iter().filter(|(kind, _)| *kind != "meta") {
                for (key, value) in rows.as_array().expect("rows").iter().flat_map(|row| row.as_table()).flatten() {
                    let shown = match value {
                        toml::Value::String(text) => text.split_whitespace().collect::<Vec<_>>().join(" "),
                        toml::Value::Float(number) => number.to_string(),
                        toml::Value::Integer(number) => number.to_string(),
                        toml::Value::Boolean(yes) => yes.to_string(),
                        other => panic!("rows hold plain values, not {other:?}"),
                    };
                    assert!(key == "checked" || flat.contains(&shown), "{name} {kind} {key}: {shown}");
                }
            }
        }
        assert_eq!(listing("nails"), None);
    }

    #[test]
    fn a_row_of_paper_reads_across() {
        let listed = listing("paper").expect("there is one");
        let row = listed.lines().find(|line| line.contains("iso_a4")).expect("A4 is listed");
        let cells: Vec<&str> = row.split_whitespace().collect();
        assert_eq!(cells, ["iso_a4", "A4", "ISO", "A", "210", "297", "2", "2", "published", "[1]"]);
        let heads: Vec<&str> = listed.lines().take_while(|line| !line.contains("iso_a0")).collect();
        let last = heads.last().expect("heads come first");
        assert_eq!(last.find("mm").map(|at| at + 2), row.find("210").map(|at| at + 3), "flush right under its unit");
        let above = heads[heads.len() - 2];
        assert_eq!(above.find("width").map(|at| at + 5), row.find("210").map(|at| at + 3));
    }

    #[test]
    fn sources_and_notes_wrap() {
        for name in names() {
            let listed = listing(name).expect(name);
            let (_, sources) = listed.split_once("\nSources\n").expect("sources come last");
            assert!(sources.lines().all(|line| line.chars().count() <= LINE), "{name}");
            assert!(listed.lines().all(|line| line.chars().count() <= 180), "{name}: rows stay short");
        }
    }
}
