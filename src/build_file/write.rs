//! Changes to a build file that leave every other byte of it as it was.

use std::ops::Range;

use toml_edit::{Document, Item, Table, TableLike};

use super::place::Lines;
use super::read::not_toml;
use crate::problem::Problem;
use crate::space::{Pixels, Point};
use crate::units::Length;

/// `text` with `outline = "..."` in each piece named by its index in the file, put in or put in place of the former.
///
/// Only those values change, by cutting them out of the text: comments, order, blanks, line ends and byte order mark
/// stay what they were.
///
/// # Errors
/// When the text is no TOML or has no such piece.
pub fn set_outlines(text: &str, outlines: &[(usize, String)]) -> Result<String, Problem> {
    let document = Document::parse(text).map_err(|error| not_toml(&error, &Lines::new(text)))?;
    let mut edits = outlines
        .iter()
        .map(|(index, outline)| edit(text, &document, *index, outline))
        .collect::<Result<Vec<_>, _>>()?;
    // From the back, so that what comes first keeps its place.
    edits.sort_by_key(|(span, _)| std::cmp::Reverse(span.start));
    let mut changed = text.to_owned();
    for (span, new) in edits {
        changed.replace_range(span, &new);
    }
    debug_assert!(Document::parse(changed.as_str()).is_ok(), "a value or a line of its own keeps TOML what it is");
    Ok(changed)
}

/// A rectangle of known size, to be written on a picture.
#[derive(Clone, Debug)]
pub struct NewRectangle {
    /// Clockwise from its top left.
    pub corners: [Point<Pixels>; 4],
    /// Its name, or its two sides.
    pub size: toml_edit::Value,
    /// How far its sides may be off; a name says so by itself.
    pub give_or_take: Length,
}

/// `text` with rectangles in the picture of this name, the first its known one, the others further ones: corners and size in
/// place of the former ones, or tables of their own behind the picture's other values. Every other byte stays, and so do
/// further rectangles beyond these. What a former rectangle said of its size and sides does not hold for the new one: where
/// it says it, it says what does.
///
/// # Errors
/// When the text is no TOML, or the picture has no table of its own to put them behind.
pub fn set_rectangles(text: &str, picture: &str, rectangles: &[NewRectangle]) -> Result<String, Problem> {
    let mut all = rectangles.iter().enumerate();
    all.try_fold(text.to_owned(), |text, (i, rectangle)| set_rectangle(&text, picture, i, rectangle))
}

/// The same of rectangle number `index`, the known one before further ones.
fn set_rectangle(text: &str, picture: &str, index: usize, rectangle: &NewRectangle) -> Result<String, Problem> {
    let document = Document::parse(text).map_err(|error| not_toml(&error, &Lines::new(text)))?;
    let places: Vec<String> = rectangle.corners.iter().map(|p| format!("[{:.2}, {:.2}]", p.x, p.y)).collect();
    let (corners, size) = (format!("[{}]", places.join(", ")), rectangle.size.to_string().trim().to_owned());
    let give_or_take = format!("\"{} mm\"", rectangle.give_or_take.to_mm());
    // Two lengths say nothing of how sure they are.
    let unsaid = (!rectangle.size.is_str()).then(|| format!("give_or_take = {give_or_take}"));
    let by_hand = || {
        let more = unsaid.iter().map(|unsaid| format!(", {unsaid}")).collect::<String>();
        let known = format!("{{ corners = {corners}, size = {size}{more} }}");
        let line =
            if index == 0 { format!("known_rectangle = {known}") } else { format!("further_rectangle = [{known}]") };
        let text = format!(
            "picture \"{picture}\" is not written as a table of its own, so this has to be put in by hand: {line}"
        );
        Problem::error("picture_not_a_table", text)
    };
    let pictures = document.get("picture").and_then(Item::as_table_like).ok_or_else(by_hand)?;
    let table = pictures
        .get(picture)
        .and_then(Item::as_table)
        .filter(|table| !table.is_dotted() && table.span().is_some())
        .ok_or_else(by_hand)?;
    let mut changed = text.to_owned();
    let newline = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let known_item = table.get("known_rectangle");
    let known = known_item.and_then(Item::as_table_like);
    let further = table.get("further_rectangle");
    let further_tables = further.and_then(Item::as_array_of_tables);
    if further.is_some() && further_tables.is_none() && index > 0 {
        return Err(by_hand());
    }
    let former = match index {
        0 => known,
        _ => further_tables.and_then(|tables| tables.get(index - 1)).map(|table| table as &dyn TableLike),
    };
    if let Some(former) = former {
        let span = |key: &str| former.get(key).and_then(Item::as_value).and_then(toml_edit::Value::span);
        let (Some(places), Some(sized)) = (number_spans(former.get("corners")), span("size")) else {
            return Err(by_hand());
        };
        let between = if index == 0 && known_item.is_some_and(Item::is_inline_table) { ", " } else { newline };
        let (given, unsaid) = (span("give_or_take"), unsaid.as_ref());
        let size = match unsaid.filter(|_| given.is_none()) {
            Some(unsaid) => format!("{size}{between}{unsaid}"),
            None => size,
        };
        // Number by number: comments stand between them.
        let numbers = rectangle.corners.iter().flat_map(|p| [p.x, p.y]).map(|number| format!("{number:.2}"));
        let mut edits: Vec<(Range<usize>, String)> = places.into_iter().zip(numbers).collect();
        edits.push((sized, size));
        edits.extend(given.map(|span| (span, give_or_take)));
        edits.extend(span("sides_in_picture").map(|span| (span, "true".to_owned())));
        edits.sort_by_key(|(span, _)| std::cmp::Reverse(span.start));
        for (span, new) in edits {
            changed.replace_range(span, &new);
        }
        return Ok(changed);
    }
    let former = further_tables.and_then(|tables| tables.iter().last());
    let former = former.or_else(|| table.get("known_rectangle").and_then(Item::as_table).filter(|_| index > 0));
    let at = behind_line(text, anchor(former.unwrap_or(table)));
    let before = if text[..at].ends_with('\n') { "" } else { newline };
    let name = pictures.key(picture).map_or_else(|| picture.to_owned(), |key| key.display_repr().trim().to_owned());
    let mut block = vec![
        String::new(),
        match index {
            0 => format!("[picture.{name}.known_rectangle]"),
            _ => format!("[[picture.{name}.further_rectangle]]"),
        },
        format!("corners = {corners}"),
        format!("size    = {size}"),
    ];
    block.extend(unsaid);
    block.push(String::new());
    changed.insert_str(at, &format!("{before}{}", block.join(newline)));
    Ok(changed)
}

/// Where the eight numbers of four corners stand.
fn number_spans(corners: Option<&Item>) -> Option<[Range<usize>; 8]> {
    let places = corners?.as_array()?.iter().map(toml_edit::Value::as_array).collect::<Option<Vec<_>>>()?;
    let spans: Vec<Range<usize>> = places.into_iter().flatten().filter_map(toml_edit::Value::span).collect();
    spans.try_into().ok()
}

/// What to replace, and by what.
fn edit(text: &str, document: &Document<&str>, index: usize, outline: &str) -> Result<(Range<usize>, String), Problem> {
    let value = toml_edit::Value::from(outline).to_string();
    let piece = piece(document, index)
        .ok_or_else(|| Problem::error("no_such_piece", format!("the build file has no piece number {}", index + 1)))?;
    match piece {
        Piece::Inline(table) => Ok(match table.get("outline").and_then(toml_edit::Value::span) {
            Some(span) => (span, value),
            None => {
                let last = table.iter().filter_map(|(_, value)| value.span()).map(|span| span.end).max();
                let open = table.span().map_or(0, |span| span.start + 1);
                let (at, comma) = last.map_or((open, ""), |end| (end, ","));
                (at..at, format!("{comma} outline = {value}"))
            }
        }),
        Piece::Table(table) => Ok(match table.get("outline").and_then(Item::span) {
            Some(span) => (span, value),
            None => {
                let at = behind_line(text, anchor(table));
                let newline = if text.contains("\r\n") { "\r\n" } else { "\n" };
                let before = if text[..at].ends_with('\n') { "" } else { newline };
                (at..at, format!("{before}outline = {value}{newline}"))
            }
        }),
    }
}

enum Piece<'a> {
    Table(&'a Table),
    Inline(&'a toml_edit::InlineTable),
}

fn piece<'a>(document: &'a Document<&str>, index: usize) -> Option<Piece<'a>> {
    match document.get("piece")? {
        Item::ArrayOfTables(pieces) => pieces.get(index).map(Piece::Table),
        Item::Value(toml_edit::Value::Array(pieces)) => pieces.get(index)?.as_inline_table().map(Piece::Inline),
        _ => None,
    }
}

/// The byte behind what the outline should follow: how the piece is traced, else the last of its own values, else its
/// header.
fn anchor(piece: &Table) -> usize {
    let end = |item: &Item| item.as_value().and_then(toml_edit::Value::span).map(|span| span.end);
    let values = TableLike::get_values(piece);
    let last = values.iter().filter_map(|(_, value)| value.span()).map(|span| span.end).max();
    let header = piece.span().map(|span| span.end);
    piece.get("trace").and_then(end).or(last).or(header).unwrap_or(0)
}

/// The start of the line after the one of `offset`.
fn behind_line(text: &str, offset: usize) -> usize {
    text[offset..].find('\n').map_or(text.len(), |at| offset + at + 1)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::build_file::tests::{COMPLETE, edited};

    const OUTLINE: &str = "M 1 2 L 3 4 L 5 9 Z";

    #[test]
    fn an_outline_goes_behind_how_it_was_traced_or_in_place_of_the_former() {
        let text = edited(&[("outline   = \"M 812 340 L 900 700 L 724 700 Z\"\n", "")]);
        let set = set_outlines(&text, &[(2, OUTLINE.to_owned())]).expect("there is such a piece");
        let line = format!("ignore_below = \"2 mm\" }}\noutline = \"{OUTLINE}\"\nfoam ");
        assert!(set.contains(&line), "{set}");
        assert_eq!(set.replace(&format!("outline = \"{OUTLINE}\"\n"), ""), text);

        let set = set_outlines(COMPLETE, &[(2, OUTLINE.to_owned())]).expect("there is such a piece");
        assert_eq!(set, COMPLETE.replace("M 812 340 L 900 700 L 724 700 Z", OUTLINE));
        assert_eq!(set_outlines(&set, &[(2, OUTLINE.to_owned())]), Ok(set.clone()), "setting it again changes nothing");
    }

    #[test]
    fn a_rectangle_goes_behind_its_picture_or_in_place_of_the_former() {
        let corners = [[1.0, 2.0], [30.5, 2.125], [31.0, 20.0], [1.0, 19.0]].map(Point::from);
        let new = |size: &str, mm: f64| NewRectangle { corners, size: size.into(), give_or_take: Length::mm(mm) };
        let set = |text: &str, picture: &str| set_rectangles(text, picture, &[new("A4", 2.0)]);
        let lines = "corners = [[1.00, 2.00], [30.50, 2.12], [31.00, 20.00], [1.00, 19.00]]\nsize    = \"A4\"\n";
        let text = "[picture.front]\nfile = \"a.jpg\" # near\n\n[[picture.front.known_length]]\nname = \"x\"\n";
        let block = format!("\n[picture.front.known_rectangle]\n{lines}");
        let expected = text.replace("# near\n", &format!("# near\n{block}"));
        assert_eq!(set(text, "front").as_deref(), Ok(expected.as_str()));
        let windows = set(&text.replace('\n', "\r\n"), "front").expect("a table");
        assert_eq!(windows, expected.replace('\n', "\r\n"));
        let odd = "[picture.\"the front\"]\nfile = 'a.jpg'";
        assert!(set(odd, "the front").expect("a table").contains("\n\n[picture.\"the front\".known_rectangle]\n"));

        let former = expected.replace("30.50", "99.0").replace("\"A4\"", "'Letter' # of the post");
        let again = set(&former, "front").expect("a table");
        assert_eq!(again, expected.replace("\"A4\"", "\"A4\" # of the post"));
        for inline in ["picture = { front = { file = 'a.jpg' } }\n", "[picture]\nfront.file = 'a.jpg'\n"] {
            assert_eq!(set(inline, "front").map_err(|e| e.code), Err("picture_not_a_table"), "{inline}");
        }
        assert_eq!(set("[picture\n", "front").map_err(|e| e.code), Err("toml_syntax"));

        let two = |text: &str| set_rectangles(text, "front", &[new("A4", 2.0), new("ID-1", 0.125)]);
        let card = format!("\n[[picture.front.further_rectangle]]\n{}", lines.replace("A4", "ID-1"));
        let both = expected.replace(&block, &format!("{block}{card}"));
        assert_eq!(two(text).as_deref(), Ok(both.as_str()));
        let moved = both.replace("30.50", "99.0").replace("\"ID-1\"", "\"Letter\" # of the post");
        assert_eq!(two(&moved), Ok(both.replace("\"ID-1\"", "\"ID-1\" # of the post")));
        let of_the_former = former.replace("size ", "give_or_take = '9 mm'\nsides_in_picture = false\nsize ");
        let now = again.replace("size ", "give_or_take = \"2 mm\"\nsides_in_picture = true\nsize ");
        assert_eq!(set(&of_the_former, "front"), Ok(now));

        let sides: toml_edit::Value = ["297 mm", "210 mm"].into_iter().collect::<toml_edit::Array>().into();
        let aslant = NewRectangle { size: sides, ..new("", 2.0) };
        let said = "size    = [\"297 mm\", \"210 mm\"]\ngive_or_take = \"2 mm\"\n";
        let as_sides = expected.replace("size    = \"A4\"\n", said);
        assert_eq!(set_rectangles(text, "front", std::slice::from_ref(&aslant)), Ok(as_sides.clone()));
        assert_eq!(set_rectangles(&expected, "front", std::slice::from_ref(&aslant)), Ok(as_sides));
        let kept = "corners = [  # my marks\n  [1.00, 2.00], # top left\n  [30.50, 2.12],\n  [31.00, 20.00], [1.00, 19.00] ]\nsize    = \"A4\"\n";
        let remarked = expected.replace(lines, kept);
        assert_eq!(set(&remarked.replace("30.50", "7"), "front"), Ok(remarked));
        let inline = "[picture.front]\nfile = 'a.jpg'\nknown_rectangle = { corners = [[1, 2], [3, 4], [5, 6], [7, 8]], size = 'A4' }\n";
        let inline = set_rectangles(inline, "front", &[aslant]).expect("an inline table");
        assert!(inline.ends_with("size = [\"297 mm\", \"210 mm\"], give_or_take = \"2 mm\" }\n"), "{inline}");

        let lone = "[picture.front]\nfile = 'a.jpg'\nfurther_rectangle = [{ size = \"A4\" }]\n";
        assert_eq!(two(lone).map_err(|e| e.code), Err("picture_not_a_table"));
    }

    #[test]
    fn outlines_find_their_place_however_pieces_are_written() {
        for (text, expected) in [
            ("[[piece]]", "[[piece]]\noutline = \"Z\"\n"),
            ("[[piece]] # bare\r\n", "[[piece]] # bare\r\noutline = \"Z\"\r\n"),
            ("[[piece]]\nname = \"a\" # last", "[[piece]]\nname = \"a\" # last\noutline = \"Z\"\n"),
            (
                "[[piece]]\ntrace = { inside = [\n 1, 2] } # t\nname = 'a'\n",
                "[[piece]]\ntrace = { inside = [\n 1, 2] } # t\noutline = \"Z\"\nname = 'a'\n",
            ),
            (
                "[[piece]]\ntrace.inside = [1, 2]\n[[piece.hole]]\nat = 1\n",
                "[[piece]]\ntrace.inside = [1, 2]\noutline = \"Z\"\n[[piece.hole]]\nat = 1\n",
            ),
            (
                "[[piece]]\n[piece.trace]\ninside = [1, 2]\n",
                "[[piece]]\noutline = \"Z\"\n[piece.trace]\ninside = [1, 2]\n",
            ),
            ("[[piece]]\noutline = '''\nM 1 2''' # o\n", "[[piece]]\noutline = \"Z\" # o\n"),
            ("piece = [{ name = 'a' }]\n", "piece = [{ name = 'a', outline = \"Z\" }]\n"),
            ("piece = [{}]\n", "piece = [{ outline = \"Z\"}]\n"),
            ("piece = [{ name = 'a', outline = 'M' }]\n", "piece = [{ name = 'a', outline = \"Z\" }]\n"),
        ] {
            assert_eq!(set_outlines(text, &[(0, "Z".to_owned())]).as_deref(), Ok(expected), "{text}");
        }
        assert_eq!(set_outlines("[[piece]]\n", &[(1, "Z".to_owned())]).map_err(|e| e.code), Err("no_such_piece"));
        assert_eq!(set_outlines("[[piece\n", &[(0, "Z".to_owned())]).map_err(|e| e.code), Err("toml_syntax"));
    }

    proptest! {
        #[test]
        fn every_other_byte_of_the_file_stays_what_it_was(
            notes in prop::collection::vec("[ \t]{0,3}(#[ \\t\\PC]{0,12})?", 12),
            pieces in prop::collection::vec((any::<bool>(), any::<bool>(), any::<bool>()), 1..6),
            windows in any::<bool>(),
            mark in any::<bool>(),
            last_line_ends in any::<bool>(),
        ) {
            let mut note = notes.iter().cycle();
            let mut line = |text: &str| format!("{text}{}\n", note.next().expect("it goes round"));
            let mut text = line("") + &line("[build]") + &line("name = \"x\"");
            for (traced, outlined, holed) in &pieces {
                text += &line("");
                text += &line("[[piece]]");
                text += &line("name = \"y\"");
                if *traced {
                    text += &line("trace = { inside = [1, 2] }");
                }
                text += &line("foam = 10");
                if *outlined {
                    text += &line("outline = \"M 0 0\"");
                }
                if *holed {
                    text += &line("[[piece.hole]]");
                    text += &line("at = [1, 2]");
                }
            }
            if !last_line_ends {
                text.truncate(text.len() - 1);
            }
            if windows {
                text = text.replace('\n', "\r\n");
            }
            if mark {
                text.insert(0, '\u{feff}');
            }
            let all: Vec<_> = (0..pieces.len()).map(|index| (index, format!("M {index} 1 Z"))).collect();
            let set = set_outlines(&text, &all).expect("all pieces are there");

            let others = |text: &str| -> Vec<String> {
                text.split_inclusive('\n').filter(|line| !line.starts_with("outline")).map(|l| l.trim_end_matches(['\r', '\n']).to_owned()).collect()
            };
            prop_assert_eq!(others(&text), others(&set));
            prop_assert_eq!(set.contains('\r'), windows);
            prop_assert_eq!(set.matches('\n').count(), set.matches(if windows { "\r\n" } else { "\n" }).count());
            let document = Document::parse(set.as_str()).expect("still TOML");
            let written = document["piece"].as_array_of_tables().expect("pieces").iter();
            for ((_, outline), piece) in all.iter().zip(written) {
                prop_assert_eq!(piece["outline"].as_str(), Some(outline.as_str()));
            }
            prop_assert_eq!(set_outlines(&set, &all), Ok(set.clone()));
        }
    }
}
