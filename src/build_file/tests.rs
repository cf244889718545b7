//! The build file as a whole: a complete one, and every way to break it.

use std::ops::Range;

use proptest::prelude::*;
use toml_edit::{Document, Item, TableLike};

use super::format::{FILE, Key, Kind, Need, Table};
use super::*;
use crate::problem::{Level, Place, Problem};
use crate::text::Language;
use crate::units::{Length, Shown};

/// Every key of the format stands here at least once; a test holds it to that.
pub(super) const COMPLETE: &str = r##"# The beacon-keepers of the outer coast.
[build]
name  = "Beacon-keeper's signal staff"
units = "both"
language = "german"
date  = 2026-05-01

[wearer]
height      = "168 cm"
shoes       = "35 mm"
heel        = "50 mm"
platform    = "10 mm"
hand_length = "176 mm"
fist        = "84 mm"

[picture.front]
file   = "signal-staff.jpg"
pixels = [4000, 3000]
light  = "camera"

[[picture.front.known_length]]
name         = "grip"
from         = [812.0, 1410.5]
to           = [812.5, 1630.0]
length       = "140 mm"
give_or_take = "2 mm"
above = "5 mm"

[[picture.front.known_length]]
name   = "ring"
from   = [700, 500]
to     = [900, 500]
length = "5 1/2 in"

[picture.front.known_rectangle]
corners         = [[410.0, 300.0], [1210.0, 310.0], [1200.0, 880.0], [402.0, 870.0]]
size            = "A4"
give_or_take    = "1 mm"
camera_distance = "2.5 m"
above           = "-20 mm"
sides_in_picture = false

[[picture.front.known_rectangle.place]]
at = [800.0, 600.0]
on = ["148 mm", "-1 cm"]

[[picture.front.further_rectangle]]
corners          = [[500.0, 1000.0], [730.0, 1000.0], [730.0, 1145.0], [500.0, 1145.0]]
size             = "ID-1"
give_or_take     = "0.2 mm"
sides_in_picture = false

[picture.front.lens]
straight_edges = [[[10.0, 20.0], [900.0, 31.0], [1800.0, 25.0]]]

[picture.front.figure]
heads = 7.5
like  = "stature"
blend = 0.5

[picture.front.figure.landmarks]
sole     = [100.0, 2900.0]
knee     = [100.0, 2200.0]
hip      = [100.0, 1600.0]
shoulder = [100.0, 840.0]
chin     = [104.0, 700.0]
eye      = [104.0, 420.0]
crown    = [104.0, 300.0]

[picture.front.figure.limbs]
head_and_neck = [[104.0, 300.0], [100.0, 840.0]]
trunk         = [[100.0, 840.0], [100.0, 1600.0]]
thigh         = [[100.0, 1600.0], [100.0, 2200.0]]
shank         = [[100.0, 2200.0], [100.0, 2800.0]]
upper_arm     = [[100.0, 840.0], [240.0, 1200.0]]
forearm       = [[240.0, 1200.0], [400.0, 1500.0]]
hand          = [[400.0, 1500.0], [500.0, 1700.0]]

[picture.front.hand]
fist   = [[800.0, 1410.0], [860.0, 1412.0]]
length = [[800.0, 1410.0], [802.0, 1535.0]]
drawn  = false

[picture.back]
file            = "signal-staff-back.jpg"
camera_distance = "3 m"
above           = "12 mm"

[picture.back.ring]
longest  = [[300.0, 1200.0], [420.0, 1210.0]]
shortest = [[361.0, 1187.0], [359.0, 1223.0]]

[size]
from     = "finished"
finished = "1.42 m"

[finished]
picture = "front"
from    = [812.0, 120.0]
to      = [812.0, 2100.0]

[other_heights]
heights = ["150 cm", "1.6 m"]

[paper]
use     = ["A4", "Letter", "300 x 400 mm"]
overlap = "10 mm"
margin  = "10 mm"
last_page_first = true
check_distances = 6

[[foam_at_hand]]
sold_as  = "10 mm"
measured = "9.6 mm"
sheet    = ["600 mm", "600 mm"]

[foam_at_hand.test_card]
stack_of_five     = "48.5 mm"
strip             = "113.5 mm"
strip_round       = "26.7 mm"
square_after_heat = ["99.3 mm", "99.2 mm"]
scores            = ["0.5 mm", "1 mm"]

[[piece]]
name    = "handle washer"
fixed   = true
through = [[0.0, 0.0], [20.0, 0.0], { corner = [20.0, 20.0] }]

[[piece]]
name = "crest"
svg  = "crest.svg#outer"

[[piece]]
name      = "vane, outer"
letter    = "A"
picture   = "front"
trace     = { around = [[700.0, 200.0], [1100.0, 210.0], [900.0, 900.0]], inside = [812.0, 500.0], outside = [[[640.0, 300.0], [660.0, 420.0]]], drawn_line = "middle", within = "0.2 mm", ignore_below = "2 mm" }
outline   = "M 812 340 L 900 700 L 724 700 Z"
foam      = "10 mm"
copies    = 2
face_down = 1
above     = "3 mm"
symmetric = true
axis      = [[812.0, 340.0], [812.0, 700.0]]
repeats   = 1
fixed     = false

[[piece.hole]]
at       = [812.0, 600.0]
diameter = "8 mm"
fit      = "slip"

[cutting]
template = "traced round"
line     = "inside"
pen      = "1 mm"
sanding  = "0.7 mm"
coats    = "0.3 mm"
punches  = ["6 mm", "8 mm"]

[[pipe]]
name    = "shaft"
kind    = "PVC schedule 40 3/4 in"
instead = ["PVC schedule 40 1/2 in", "wooden dowel 1/2 in"]
outside = "26.7 mm"
bore    = "20.8 mm"
picture = "front"
from    = [812.0, 300.0]
to      = [812.0, 2100.0]

[[pipe]]
name       = "tang"
outside    = "15.9 mm"
length     = "300 mm"
into       = "shaft"
engagement = "80 mm"
moment     = 2.9

[[piece]]
name       = "beam"
picture    = "front"
outline    = "M 700 300 H 940 V 900 H 700 Z"
thickness  = "34 mm"
section    = "rounded"
edge       = "15 mm"
land       = "3 mm"
both_sides = true
layers     = ["10 mm", "3 mm", "4 mm"]
pipe       = "shaft"
channel    = "slot"
on         = "vane, outer"

[[piece.line]]
for   = "score"
along = [[720.0, 500.0], [900.0, 500.0]]
depth = "2 mm"

[[piece.slot]]
from  = [800.0, 700.0]
to    = [830.0, 700.0]
width = "5 mm"

[[piece]]
name    = "fin"
picture = "front"
outline = "M 700 300 H 940 V 900 H 700 Z"
foam    = "5 mm"
copies  = 2
split   = [[[690.0, 520.0], [950.0, 520.0]]]

[[piece.part]]
at        = [812.0, 420.0]
name      = "fin, tip"
letter    = "T"
foam      = "6 mm"
copies    = 2
face_down = 1

[[piece]]
name = "collar"
foam = "5 mm"

[piece.wrap]
form      = "round"
inside    = "60 mm"
to_inside = "35 mm"
length    = "120 mm"

[[piece]]
name = "grip"
foam = "5 mm"

[piece.wrap]
form   = "round"
pipe   = "shaft"
length = "120 mm"
slant  = 22.5

[[piece]]
name = "lamp"
foam = "5 mm"

[piece.wrap]
form          = "oval"
inside        = "60 mm"
inside_across = "40 mm"
length        = "120 mm"

[[piece]]
name = "tower"
foam = "5 mm"

[piece.wrap]
form   = "sided"
inside = "60 mm"
length = "120 mm"
sides  = 8

[[piece]]
name = "cord"

[piece.wrap]
form    = "cord"
strands = 3
thick   = "10 mm"
pitch   = "60 mm"
length  = "300 mm"
tab     = "15 mm"

[[piece]]
name = "streamer"

[piece.wrap]
form   = "twisted"
width  = "12 mm"
pitch  = "60 mm"
length = "300 mm"
warmed = true

[[seam]]
join    = ["vane, outer", "beam"]
first   = [[812.0, 340.0], [900.0, 700.0]]
second  = [[812.0, 340.0], [900.0, 700.0]]
stretch = false

[[measure]]
name    = "vane tip to ring"
picture = "front"
from    = [812.0, 340.0]
to      = [812.0, 900.0]
"##;

/// A key as it stands in a file.
struct Spot {
    key: &'static Key,
    name: Range<usize>,
    /// `None` for tables with a header.
    value: Option<Range<usize>>,
    /// Of the table it stands in.
    table: usize,
    /// The table's keys stand on one line.
    inline: bool,
}

fn spots(text: &str) -> Vec<Spot> {
    let document = Document::parse(text).expect("well formed");
    let mut found = Vec::new();
    walk(&FILE, document.as_table(), 0, false, &mut found);
    found
}

fn walk(table: &'static Table, found: &dyn TableLike, at: usize, inline: bool, spots: &mut Vec<Spot>) {
    for (name, item) in found.iter() {
        let key = table.keys.iter().find(|key| key.name == name).expect("only known keys");
        let span = found.key(name).and_then(toml_edit::Key::span).expect("parsed keys have spans");
        let value = item.as_value().and_then(toml_edit::Value::span);
        spots.push(Spot { key, name: span, value, table: at, inline });
        let start = |item: &Item| item.span().map_or(0, |span| span.start);
        match &key.kind {
            Kind::Named(below) => {
                for (_, named) in item.as_table_like().expect("a table").iter() {
                    walk(below, named.as_table_like().expect("a table"), start(named), false, spots);
                }
            }
            Kind::Tables(below) => {
                for each in item.as_array_of_tables().expect("an array of tables").iter() {
                    walk(below, each, each.span().map_or(0, |span| span.start), false, spots);
                }
            }
            kind => {
                if let (Some(below), Some(found)) = (kind.table(), item.as_table_like()) {
                    walk(below, found, start(item), item.is_value(), spots);
                }
            }
        }
    }
}

/// Counted another way than the program does: by walking over the characters.
fn place(text: &str, offset: usize) -> Place {
    let mut place = Place { line: 1, column: 1 };
    for c in text[..offset].chars() {
        match c {
            '\n' => place = Place { line: place.line + 1, column: 1 },
            '\u{feff}' => {}
            _ => place.column += 1,
        }
    }
    place
}

fn replaced(text: &str, span: Range<usize>, by: &str) -> String {
    format!("{}{by}{}", &text[..span.start], &text[span.end..])
}

fn errors(text: &str) -> Vec<Problem> {
    read(text).problems.into_iter().filter(|problem| problem.is_error()).collect()
}

#[track_caller]
fn one_error(text: &str, code: &str, offset: usize, words: &str) {
    let errors = errors(text);
    let [error] = &errors[..] else { panic!("one error expected: {errors:#?}\nin {text}") };
    assert_eq!((error.code, error.place), (code, Some(place(text, offset))), "{error}");
    assert!(error.text.contains(words), "{error}");
    assert!(read(text).build.is_none());
}

#[test]
fn the_complete_file_reads_and_holds_every_key_of_the_format() {
    fn all(table: &'static Table, keys: &mut Vec<&'static Key>) {
        for key in table.keys {
            keys.push(key);
            key.kind.table().into_iter().for_each(|below| all(below, keys));
        }
    }
    let mut keys = Vec::new();
    all(&FILE, &mut keys);
    let spots = spots(COMPLETE);
    for key in keys {
        assert!(spots.iter().any(|spot| std::ptr::eq(spot.key, key)), "{} is missing", key.name);
    }

    let Reading { build, problems, .. } = read(COMPLETE);
    assert_eq!(problems, []);
    let build = build.expect("no error");
    assert_eq!((build.name.as_str(), build.units), ("Beacon-keeper's signal staff", Shown::Both));
    assert_eq!(build.language, Language::German);
    let other = build.for_height(Length::mm(1500.0)).expect("a wearer is given");
    assert_eq!(other.name, "Beacon-keeper's signal staff, für 1500 mm (59 1/16 Zoll)");
    assert_eq!(build.date.as_deref(), Some("2026-05-01"));
    assert_eq!(build.wearer.expect("given").height.value, Length::mm(1680.0));
    assert_eq!(build.size.value, SizeFrom::Finished(Length::mm(1420.0)));
    let front = &build.pictures[0];
    assert_eq!((front.name.value.as_str(), front.light), ("front", Some(Light::Camera)));
    assert_eq!(front.known_lengths[0].give_or_take, Length::mm(2.0));
    assert_eq!(front.known_lengths[1].length, Length::inches(5.5));
    assert_eq!(front.known_lengths[1].give_or_take, Length::mm(139.7 * 0.01), "1 % when not said");
    let sheet = front.known_rectangle.as_ref().expect("given");
    assert_eq!(sheet.size, Some([297.0, 210.0].map(Length::mm)), "it lies on its long side");
    assert_eq!(sheet.places[0].on, [148.0, -10.0].map(Length::mm));
    assert!(!sheet.sides_in_picture);
    assert_eq!((front.camera_distance, front.above), (Some(Length::mm(2500.0)), Some(Length::mm(-20.0))));
    assert_eq!(
        (build.pictures[1].camera_distance, build.pictures[1].above),
        (Some(Length::mm(3000.0)), Some(Length::mm(12.0)))
    );
    assert_eq!(front.lens.as_ref().map(|lens| lens.straight_edges[0].len()), Some(3));
    let figure = front.figure.as_ref().expect("given");
    assert_eq!(figure.landmarks.len(), 6);
    let papers: Vec<&str> = build.paper.sheets.iter().map(|sheet| sheet.value.name.as_str()).collect();
    assert_eq!(papers, ["A4", "Letter", "300 x 400 mm"]);
    let [washer, crest, vane, beam, _, collar, ..] = &build.pieces[..] else { panic!("eleven pieces") };
    assert!(washer.fixed && matches!(&washer.source.value, Source::Through(points) if points[2].corner));
    let svg = Source::Svg { file: "crest.svg".to_owned(), id: Some("outer".to_owned()) };
    assert_eq!(format!("{:?}", crest.source.value), format!("{svg:?}"));
    assert!(matches!(&vane.source.value, Source::Outline(path) if (path.raw().elements().len()) == 4));
    let trace = vane.trace.as_ref().expect("kept beside the outline");
    assert_eq!((trace.value.around.len(), trace.value.inside.len(), trace.value.outside[0].len()), (3, 1, 2));
    assert_eq!((vane.index, vane.copies, vane.face_down, vane.holes.len()), (2, 2, 1, 1));
    assert_eq!(vane.foam, Some(Length::mm(10.0)));
    assert_eq!((beam.building.profile.value, beam.building.on[0].value), (Profile::Rounded, 2));
    assert_eq!(beam.building.layers.as_ref().map(Vec::len), Some(3));
    let inside = Core::Diameter(Length::mm(60.0));
    let cone = Wrap::Round { core: inside, to: Some(Length::mm(35.0)), length: Length::mm(120.0), slant: 0.0 };
    assert!(matches!(collar.source.value, Source::Wrap(wrap) if wrap == cone), "{:?}", collar.source.value);
    assert_eq!(build.pipes[1].into.as_ref().map(|into| into.value), Some(0));
}

#[test]
fn a_value_of_the_wrong_kind_is_told_at_its_place_for_every_key() {
    for spot in spots(COMPLETE) {
        let Some(value) = spot.value else { continue };
        let wrong = if matches!(spot.key.kind, Kind::Date) { "\"soon\"" } else { "1979-05-27" };
        let text = replaced(COMPLETE, value.clone(), wrong);
        one_error(&text, "wrong_type", value.start, spot.key.name);
    }
}

#[test]
fn a_misspelt_key_is_told_at_its_place_with_the_nearest_known_one() {
    for spot in spots(COMPLETE) {
        // What stands below a table of this name would then be the table's second meaning.
        let text = replaced(COMPLETE, spot.name.end..spot.name.end, "x");
        let expected = Some(place(&text, spot.name.start));
        let errors = errors(&text);
        let told = errors.iter().find(|error| error.code == "unknown_key" && error.place == expected);
        let told = told.unwrap_or_else(|| panic!("{}: {errors:#?}", spot.key.name));
        assert!(told.text.contains(&format!("did you mean {}?", spot.key.name)), "{told}");
    }
}

#[test]
fn a_missing_key_is_told_at_its_table() {
    for spot in spots(COMPLETE).iter().filter(|spot| spot.key.need == Need::Required && !spot.inline) {
        let Some(value) = &spot.value else { continue };
        let text = replaced(COMPLETE, spot.name.start..value.end, "");
        let expected = Some(place(&text, spot.table));
        let errors = errors(&text);
        let told = errors.iter().find(|error| error.code == "missing_key" && error.place == expected);
        let told = told.unwrap_or_else(|| panic!("{}: {errors:#?}", spot.key.name));
        assert!(told.text.contains(spot.key.name), "{told}");
    }
}

/// Values of a kind that are out of its range, each with the part to blame.
fn out_of_range(kind: &Kind) -> Vec<(String, &'static str)> {
    let some = |values: &[(&str, &'static str)]| values.iter().map(|(v, at)| ((*v).to_owned(), *at)).collect();
    match kind {
        Kind::Text(most) => {
            let mut values: Vec<_> = some(&[("\"\"", "\""), ("\"  \"", "\""), ("\"two\\nlines\"", "\"")]);
            values.push((format!("\"{}\"", "é".repeat(most + 1)), "\""));
            values
        }
        Kind::Path => some(&[("\"\"", "\""), ("\"M 0 0 L 5\"", "\""), ("\"M 0 0 L 9 0 L 9 9\"", "\"")]),
        Kind::Letter => some(&[("\"a\"", "\""), ("\"I\"", "\""), ("\"ABC\"", "\""), ("\"A12\"", "\""), ("\"\"", "\"")]),
        Kind::File => some(&[("\"\"", "\""), ("\"/etc/staff.jpg\"", "\""), ("'C:\\staff.jpg'", "'")]),
        Kind::Word(_) => some(&[("\"\"", "\""), ("\"elsewhere\"", "\"")]),
        Kind::Length(least, most) => {
            let mut values: Vec<_> = some(&[("nan", ""), ("inf", ""), ("-inf", ""), ("\"\"", ""), ("\"1,5 m\"", "")]);
            values.push((format!("{}", least - 0.25), ""));
            values.push((format!("\"{} mm\"", most + 0.25), ""));
            values
        }
        Kind::Number(least, most) => {
            let mut values: Vec<_> = some(&[("nan", ""), ("inf", "")]);
            values.push((format!("{:?}", least - 0.25), ""));
            values.push((format!("{:?}", most + 0.25), ""));
            values
        }
        Kind::Whole(least, most) => {
            vec![
                (format!("{}", i64::from(*least) - 1), ""),
                (format!("{}", i64::from(*most) + 1), ""),
                ("2.0".to_owned(), ""),
                ("99999999999".to_owned(), ""),
            ]
        }
        Kind::Switch | Kind::SwitchOrWord(_) => some(&[("1", ""), ("\"true\"", "")]),
        Kind::Date => some(&[("2026-05-01T10:00:00", ""), ("10:00:00", ""), ("2026", "")]),
        Kind::Pixels => some(&[("[0, 3000]", "0"), ("[4000]", "["), ("[4000, 3000.5]", "3000.5")]),
        Kind::Point => some(&[("[1.0]", ""), ("[nan, 1.0]", "nan"), ("[1.0, -2e6]", "-2e6"), ("[1, \"2\"]", "\"2\"")]),
        Kind::Points(2, 2) => some(&[("[[1, 2]]", ""), ("[[1, 2], [3, inf]]", "inf")]),
        Kind::Points(..) => some(&[("[[1, 2]]", ""), ("[[1, 2], [3, inf], [5, 6], [7, 8]]", "inf")]),
        Kind::Strokes => {
            some(&[("[]", ""), ("[[1, 2], [3]]", "[3]"), ("[[1, 2], [[3, 4], [nan, 5]]]", "nan"), ("[[[]]]", "[]")])
        }
        Kind::Spline => some(&[
            ("[[1, 2], [3, 4]]", ""),
            ("[[1, 2], [3, 4], { corner = [nan, 0] }]", "nan"),
            ("[[1, 2], [3, 4], { edge = [0, 0] }]", "{"),
        ]),
        Kind::Lines(_) => some(&[("[]", ""), ("[[[1, 2]]]", "[[1"), ("[[[1, 2], [3, 4], [nan, 0]]]", "nan")]),
        Kind::Names(1, most) => {
            let mut values: Vec<_> = some(&[("[]", ""), ("\"\"", ""), ("[\"\"]", "\"\"")]);
            values.push((format!("[{}]", vec!["\"vane\""; most + 1].join(", ")), ""));
            values
        }
        Kind::Names(..) => some(&[("[]", ""), ("[\"vane\"]", ""), ("[\"\", \"vane\"]", "\"\"")]),
        Kind::Sides(..) => some(&[
            ("[\"10 cm\"]", ""),
            ("[nan, \"10 cm\"]", "nan"),
            ("[1, \"10 cm\"]", "1,"),
            ("[\"10 cm\", 9999]", "9999"),
        ]),
        Kind::Rectangle => some(&[("\"A44\"", ""), ("\"\"", ""), ("[\"297 mm\"]", ""), ("[\"297 mm\", 0]", "0]")]),
        Kind::Offsets => {
            some(&[("\"12 mm\"", ""), ("[\"12 mm\"]", ""), ("[0, \"11 m\"]", "\"11"), ("[nan, 0]", "nan")])
        }
        Kind::Lengths(least, _) => {
            let mut values: Vec<_> = some(&[("[]", ""), ("7", "")]);
            values.push((format!("[{least}, nan]"), "nan"));
            values.push((format!("[{least}, \"99 m\"]"), "\"99 m"));
            values
        }
        Kind::Papers => some(&[
            ("[]", ""),
            ("[\"A4\", \"Leter\"]", "\"Leter\""),
            ("[\"2 x 3 mm\"]", "\"2"),
            ("[\"3 x 4 bananas\"]", "\"3"),
            ("[\"\"]", "\"\""),
        ]),
        Kind::WordOrTable(..) => some(&[("\"plane ground\"", "")]),
        Kind::Table(_) | Kind::Tables(_) | Kind::Named(_) => some(&[("\"that\"", "")]),
    }
}

#[test]
fn a_value_out_of_range_is_told_at_its_place_for_every_key() {
    for spot in spots(COMPLETE) {
        let Some(value) = spot.value else { continue };
        for (wrong, part) in out_of_range(&spot.key.kind) {
            let text = replaced(COMPLETE, value.clone(), &wrong);
            let errors = errors(&text);
            let [error] = &errors[..] else { panic!("{} = {wrong}: {errors:#?}", spot.key.name) };
            let offset = value.start + wrong.find(part).expect("the part is in the value");
            assert_eq!(error.place, Some(place(&text, offset)), "{} = {wrong}: {error}", spot.key.name);
            assert!(error.text.starts_with(spot.key.name), "{error}");
        }
    }
}

#[test]
fn many_problems_are_listed_at_once_in_the_order_of_the_file() {
    let text = COMPLETE
        .replace("height      = \"168 cm\"", "height      = \"16.8 cm\"")
        .replace("shoes ", "shose ")
        .replace("pixels = [4000, 3000]", "pixels = [4000, 30.5]")
        .replace("picture = \"front\"", "picture = \"frnt\"")
        .replace("copies    = 2", "copies    = 0")
        .replace("diameter = \"8 mm\"", "diameter = nan");
    let found: Vec<&str> = errors(&text).iter().map(|error| error.code).collect();
    let all = [
        "out_of_range",
        "unknown_key",
        "wrong_type",
        "unresolved",
        "out_of_range",
        "not_finite",
        "unresolved",
        "unresolved",
        "out_of_range",
        "unresolved",
    ];
    assert_eq!(found, all);
    let places: Vec<_> = errors(&text).iter().map(|error| error.place).collect();
    assert!(places.is_sorted());
}

/// `COMPLETE` with each first `from` as `to`.
pub(super) fn edited(edits: &[(&str, &str)]) -> String {
    edits.iter().fold(COMPLETE.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    })
}

/// After the edits there is one error, at the first place of `at`.
#[track_caller]
fn breaks(edits: &[(&str, &str)], at: &str, code: &str, words: &str) {
    let text = edited(edits);
    one_error(&text, code, text.find(at).expect(at), words);
}

#[test]
fn names_that_stand_for_nothing_or_for_two_things_are_told() {
    breaks(&[("\"lamp\"", "\"crest\" ")], "\"crest\" ", "duplicate", "\"crest\" stands at line 130 already");
    breaks(&[("\"ring\"", "\"grip\" ")], "\"grip\" ", "duplicate", "known length \"grip\"");
    breaks(&[("\"A4\", \"Letter\",", "\"A4\", \"a4\",")], "\"a4\"", "duplicate", "listed twice");
    let twice = ("[[foam_at_hand]]", "[[foam_at_hand]]\nsold_as = 10\nmeasured = 9\n\n[[foam_at_hand]]");
    breaks(&[twice], "\"10 mm\"\nmeasured", "duplicate", "sold as 10 mm is listed twice");
    breaks(&[("svg  =", "letter = \"A\"\nsvg  =")], "\"A\"\npicture", "duplicate", "letter A is taken at line 131");
    breaks(&[("picture = \"front\"", "picture = \"frnt\"")], "\"frnt\"", "unresolved", "did you mean \"front\"?");
    breaks(
        &[("picture = \"front\"", "picture = \"east\"")],
        "\"east\"",
        "unresolved",
        "there is front, back; or write",
    );
    let other = "[picture.side]\nfile = \"b.png\"\n[[picture.side.known_length]]\nname = \"grip\"\nfrom = [1, 1]\n\
                 to = [9, 2]\nlength = 150\n\n[size]";
    breaks(&[("[size]", other)], "150\n", "different_lengths", "150 mm here and 140 mm at line 25");
    let near = other.replace("[9, 2]", "[2, 3]").replace("150", "140");
    breaks(&[("[size]", &near)], "[2, 3]", "ends_too_near", "2.24 px apart");
}

#[test]
fn places_that_mark_nothing_are_told() {
    breaks(&[("to     = [900, 500]", "to     = [700, 500]")], "[700, 500]\nlength", "same_place", "mark the two ends");
    breaks(&[("[104.0, 420.0]", "[100.0, 2900.0]")], "[100.0, 2900.0]\ncrown", "same_place", "as the sole");
    breaks(&[("2100.0]", "3100.0]")], "[812.0, 3100.0]", "outside_picture", "4000 pixels wide and 3000 high");
    breaks(&[("[104.0, 420.0]", "[-1.0, 420.0]")], "[-1.0, 420.0]", "outside_picture", "mark it again");
    breaks(&[("[900.0, 900.0]]", "[900.0, 9000.0]]")], "[900.0, 9000.0]", "outside_picture", "mark it again");
    breaks(&[("[1800.0, 25.0]", "[4800.0, 25.0]")], "[4800.0", "outside_picture", "mark it again");
    breaks(&[("[1210.0, 310.0], [1200.0, 880.0]", "[1200.0, 880.0], [1210.0, 310.0]")], "[[410.0", "corners", "cross");
    breaks(&[("[402.0, 870.0]", "[810.0, 590.0]")], "[[410.0", "corners", "on one line");
    breaks(&[("[402.0, 870.0]", "[410.0, 300.0]")], "[[410.0", "corners", "on one line");
    let backwards = "[[402.0, 870.0], [1200.0, 880.0], [1210.0, 310.0], [410.0, 300.0]]";
    let corners = "[[410.0, 300.0], [1210.0, 310.0], [1200.0, 880.0], [402.0, 870.0]]";
    breaks(&[(corners, backwards)], backwards, "corners", "anticlockwise");
    let levels = &COMPLETE[COMPLETE.find("knee ").expect("there")..COMPLETE.find("[size]").expect("there")];
    breaks(&[(levels, "")], "[picture.front.figure.landmarks]", "missing_key", "the sole alone gives no height");
}

#[test]
fn sizes_that_do_not_go_together_are_told() {
    let from = |word: &'static str| ("from     = \"finished\"\nfinished = \"1.42 m\"", word);
    breaks(&[from("from = \"finished\"")], "\"finished\"", "no_size", "finished = \"1.42 m\"");
    let both = from("from = \"figure\"\nfinished = \"1.42 m\"");
    breaks(&[both], "\"1.42 m\"", "two_sizes", "only with from = \"finished\"");
    let hand = (
        "[picture.front.hand]\nfist   = [[800.0, 1410.0], [860.0, 1412.0]]\nlength = [[800.0, 1410.0], [802.0, 1535.0]]\ndrawn  = false\n\n",
        "",
    );
    breaks(&[from("from = \"hand\""), hand], "\"hand\"", "no_size", "needs the marked hand");
    breaks(&[from("")], "[size]", "which_size", "from = \"known lengths\" or with from = \"as pictured\" or with");
    breaks(
        &[
            from("from = \"figure\""),
            ("[wearer]", "# [wearer]"),
            ("height  ", "# "),
            ("shoes ", "# "),
            ("heel ", "# "),
            ("platform ", "# "),
            ("hand_length", "# "),
            ("[other_heights]\nheights = [\"150 cm\", \"1.6 m\"]\n", ""),
            ("fist", "# "),
        ],
        "\"figure\"",
        "no_size",
        "[wearer]",
    );
}

#[test]
fn lengths_that_leave_no_room_are_told() {
    breaks(&[("\"2 mm\"", "\"140 mm\"")], "\"140 mm\"\nabove", "out_of_range", "how far the length may be off");
    breaks(&[("\"1 mm\"", "\"210 mm\"")], "\"210 mm\"", "out_of_range", "is no known length");
    breaks(&[("face_down = 1", "face_down = 3")], "3\nabove", "out_of_range", "3 face down of 2 in all");
}

#[test]
fn outlines_that_do_not_go_together_are_told() {
    let svg = "svg  = \"crest.svg#outer\"";
    let with = |more: &'static str| (svg, more);
    let two = with("svg = \"crest.svg\"\noutline = \"M0 0H9V9Z\"");
    breaks(&[two], "\"crest.svg\"", "two_outlines", "outline and svg; keep one");
    breaks(&[with("outline = \"M0 0H9V9Z\"")], "\"M0 0H9V9Z\"", "no_picture", "write fixed = true");
    breaks(&[with("copies = 1")], "[[piece]]\nname = \"crest\"", "no_picture", "write fixed = true");
    breaks(&[with("trace = \"plain ground\"")], "\"plain ground\"", "no_picture", "picture = \"front\"");
    let traced = with("trace = \"plain ground\"\nsvg = \"crest.svg\"\npicture = \"front\"");
    breaks(&[traced], "\"plain ground\"", "two_outlines", "svg and trace; keep one");
    breaks(&[("fixed     = false", "fixed     = true")], "true\n\n[[piece.hole]]", "fixed_traced", "leave out fixed");
    breaks(&[("through = [", "# [")], "true\n# [", "no_outline", "give it outline, through or svg");
    breaks(
        &[("symmetric = true", "symmetric = false")],
        "[[812.0, 340.0], [812.0, 700",
        "axis_alone",
        "leave out axis",
    );
    let half = ("symmetric = true", "symmetric = \"left\"");
    breaks(&[half, ("repeats   = 1", "repeats = 5")], "\"left\"", "half_of_repeats", "write symmetric = true");
    let says_nothing = "{ around = [[700.0, 200.0], [1100.0, 210.0], [900.0, 900.0]], inside = [812.0, 500.0], outside = [[[640.0, 300.0], [660.0, 420.0]]], drawn_line = \"middle\", within = \"0.2 mm\", ignore_below = \"2 mm\" }";
    breaks(&[(says_nothing, "{}")], "{}", "empty", "trace says nothing");
}

fn warnings(text: &str) -> Vec<Problem> {
    let Reading { build, problems, .. } = read(text);
    assert!(build.is_some(), "{problems:#?}");
    problems
}

#[test]
fn what_may_be_meant_is_a_warning_and_the_build_goes_on() {
    for (edits, at, code) in [
        (vec![("heads = 7.5", "heads = 5.5"), ("like  = \"stature\"\n", "")], "5.5", "which_likeness"),
        (vec![("svg  =", "fixed = true\npicture = \"front\"\nsvg  =")], "true\npicture", "fixed_reads_mm"),
        (vec![("L 900 700", "L 9000 700")], "\"M 812", "outside_picture"),
        (vec![("at       = [812.0, 600.0]", "at       = [812.0, 3600.0]")], "[812.0, 3600", "outside_picture"),
        (vec![("[1210.0, 310.0], [1200.0, 880.0]", "[1010.0, 310.0], [1000.0, 880.0]")], "\"A4\"\ngive", "which_side"),
    ] {
        let text = edited(&edits);
        let found = warnings(&text);
        let [warning] = &found[..] else { panic!("one warning expected: {found:#?}") };
        assert_eq!((warning.code, warning.level), (code, Level::Warning));
        assert_eq!(warning.place, Some(place(&text, text.find(at).expect(at))), "{warning}");
    }
    for heads in ["7", "8.0"] {
        assert_eq!(warnings(&edited(&[("heads = 7.5", &format!("heads = {heads}"))])), []);
    }
}

#[test]
fn brackets_of_the_wrong_number_are_told_as_such() {
    let single = edited(&[("[[measure]]", "[measure]")]);
    one_error(
        &single,
        "wrong_type",
        single.find("[measure]").expect("there"),
        "write [[measure]] with double brackets",
    );
    let double = edited(&[("[finished]", "[[finished]]")]);
    one_error(
        &double,
        "wrong_type",
        double.find("[[finished]]").expect("there"),
        "write [finished] with single brackets",
    );
    let errors =
        errors("[picture]\nfile = \"a.jpg\"\n[build]\nname = \"x\"\n[[piece]]\nname = \"y\"\npicture = \"front\"");
    assert!(errors.iter().any(|error| error.text.contains("[picture.front] and file below it")), "{errors:#?}");
}

#[test]
fn the_only_thing_that_can_tell_the_size_is_taken() {
    let file = |more: &str| {
        format!(
            "[build]\nname = \"x\"\n[picture.front]\nfile = \"a.jpg\"\n{more}\n[[piece]]\nname = \"y\"\npicture = \
             \"front\"\n"
        )
    };
    let figure = "[picture.front.figure]\nlandmarks = { sole = [1, 9], eye = [1, 2] }\n";
    let wearer = "[wearer]\nheight = 1680\n";
    let length = "[[picture.front.known_length]]\nname = \"grip\"\nfrom = [1, 1]\nto = [1, 9]\nlength = 140\n";
    let sheet = "[picture.front.known_rectangle]\ncorners = [[0, 0], [30, 0], [30, 20], [0, 20]]\nsize = \"Letter\"\n";
    for (more, size) in [
        (format!("{figure}{wearer}"), SizeFrom::Figure),
        (length.to_owned(), SizeFrom::KnownLengths),
        (sheet.to_owned(), SizeFrom::AsPictured),
        ("[size]\nfinished = \"4 ft\"".to_owned(), SizeFrom::Finished(Length::inches(48.0))),
        (format!("{length}{sheet}[size]\nfrom = \"as pictured\""), SizeFrom::AsPictured),
    ] {
        let Reading { build, problems, .. } = read(&file(&more));
        assert_eq!(build.map(|build| build.size.value), Some(size), "{problems:#?}");
    }
    for (more, code) in [
        (figure.to_owned(), "no_size"),
        (String::new(), "no_size"),
        (format!("{length}{sheet}"), "which_size"),
        (format!("{length}[size]\nfrom = \"figure\""), "no_size"),
        ("[size]\nfrom = \"known lengths\"".to_owned(), "no_size"),
        ("[size]\nfrom = \"as pictured\"".to_owned(), "no_size"),
    ] {
        assert!(errors(&file(&more)).iter().all(|error| error.code == code && error.place.is_some()), "{more}");
        assert!(!errors(&file(&more)).is_empty(), "{more}");
    }
    let alone = "[build]\nname = \"x\"\n[[piece]]\nname = \"y\"\nsvg = \"y.svg\"\n";
    let build = read(alone).build.expect("a piece at full size needs no picture");
    assert_eq!((build.size.value, build.pieces[0].picture), (SizeFrom::AsPictured, None));
    assert_eq!(build.paper.sheets.len(), 2, "A4 and Letter when not said");
    assert_eq!((build.paper.overlap.value, build.paper.margin.value), (Length::mm(10.0), Length::mm(10.0)));
}

#[test]
fn a_piece_of_a_picture_is_traced_on_a_plain_ground_when_nothing_is_said() {
    let vane = &COMPLETE[COMPLETE.find("trace  ").expect("there")..COMPLETE.find("foam      =").expect("there")];
    let build = read(&edited(&[(vane, "")])).build.expect("no error");
    assert!(matches!(&build.pieces[2].source.value, Source::Trace(trace) if *trace == Trace::default()));
    let build = read(&edited(&[(vane, "trace = \"plain ground\"\n")])).build.expect("no error");
    assert!(matches!(&build.pieces[2].source.value, Source::Trace(trace) if *trace == Trace::default()));
    assert_eq!(build.pieces[2].source.place.column, 9);
}

/// A heel of 80 mm on a platform of 10 mm adds 52 to 73 mm, not 80 (common practice, no source).
#[test]
fn a_heel_adds_less_than_its_height() {
    let wearer = |edits: &[(&str, &str)]| read(&edited(edits)).build.expect("no error").wearer.expect("given");
    let heel = ("heel        = \"50 mm\"", "heel = \"80 mm\"");
    let worn = wearer(&[("shoes       = \"35 mm\"\n", ""), heel]);
    assert!((worn.shoes.to_mm() - 62.5).abs() < 1e-9 && (worn.shoes_sd.to_mm() - 21.0 / 12.0_f64.sqrt()).abs() < 1e-9);
    let worn = wearer(&[]);
    assert_eq!((worn.shoes, worn.shoes_sd), (Length::mm(35.0), Length::ZERO));
    let problems = read(&edited(&[heel])).problems;
    let told = problems.iter().find(|problem| problem.code == "shoes_unlikely").expect("35 is not 52 to 73");
    assert!(told.text.contains("52 to 73 mm"), "{told}");
}

/// Another rectangle is compared by its size, and a prop in the plane of a rectangle does not lean.
#[test]
fn rectangles_and_rings_go_together_only_where_they_tell_something() {
    let ring = "longest  = [[300.0, 1200.0], [420.0, 1210.0]]\nshortest = [[361.0, 1187.0], [359.0, 1223.0]]\n";
    breaks(
        &[("[picture.back.ring]", "[picture.front.ring]")],
        "[picture.front.ring]",
        "ring_beside_rectangle",
        "keep the rectangle or the ring",
    );
    let round = ring.replace("[361.0, 1187.0], [359.0, 1223.0]", "[361.0, 1087.0], [359.0, 1223.0]");
    breaks(&[(ring, &round)], "[[361.0, 1087.0]", "ring_not_oval", "136 px long and its longest 120 px");
    let known = COMPLETE.find("[picture.front.known_rectangle]").expect("there");
    let further = COMPLETE.find("[[picture.front.further_rectangle]]").expect("there");
    let alone = format!("{}{}", &COMPLETE[..known], &COMPLETE[further..]);
    let corners = alone.find("[[500.0, 1000.0]").expect("there");
    one_error(&alone, "further_alone", corners, "mark this as its known_rectangle");
}

#[test]
fn what_is_marked_twice_in_one_place_is_no_check() {
    let corners = |from: usize| {
        let start = from + COMPLETE[from..].find("corners").expect("there") + "corners".len();
        let start = start + COMPLETE[start..].find('[').expect("there");
        &COMPLETE[start..start + COMPLETE[start..].find("]]").expect("there") + 2]
    };
    let known = corners(COMPLETE.find("[picture.front.known_rectangle]").expect("there"));
    let further = corners(COMPLETE.find("[[picture.front.further_rectangle]]").expect("there"));
    let twice = COMPLETE.replace(further, known);
    let at = twice.rfind(known).expect("there");
    one_error(&twice, "rectangle_twice", at, "mark another sheet, or leave this one out");
    breaks(&[("[900.0, 31.0]", "[10.1, 20.1]")], "[10.1, 20.1]", "ends_too_near", "a part of a straight edge");
}

#[test]
fn text_that_is_no_toml_is_told_with_its_place() {
    for (from, to, line, column) in [
        ("\"168 cm\"", "\"168 cm", 9, 22),
        ("\"168 cm\"", "168 cm", 9, 15),
        ("[paper]", "[paper", 105, 7),
        ("shoes       = \"35 mm\"", "height = 1", 10, 1),
        ("shoes       = \"35 mm\"", "a = 1; b = 2", 10, 10),
    ] {
        let errors = errors(&edited(&[(from, to)]));
        let [error] = &errors[..] else { panic!("{errors:#?}") };
        assert_eq!((error.code, error.place), ("toml_syntax", Some(Place { line, column })), "{to}: {error}");
    }
    assert!(errors("").iter().all(|error| matches!(error.code, "missing_key" | "no_piece")));
}

#[test]
fn a_byte_order_mark_and_other_line_ends_change_nothing() {
    let windows = format!("\u{feff}{}", COMPLETE.replace('\n', "\r\n"));
    let (plain, windows) = (read(COMPLETE), read(&windows));
    assert_eq!(plain.problems, windows.problems);
    assert_eq!(format!("{:?}", plain.build), format!("{:?}", windows.build));
    assert_eq!(errors("\u{feff}[biuld]\n")[0].place, Some(Place { line: 1, column: 1 }), "missing build");
    assert_eq!(errors("\u{feff}[biuld]\n").last().and_then(|error| error.place), Some(Place { line: 1, column: 2 }));
}

#[test]
fn examples_and_defaults_of_every_key_pass_their_own_check() {
    for spot in spots(COMPLETE).iter().filter(|spot| !spot.key.example.is_empty()) {
        let Some(value) = spot.value.clone() else { continue };
        let found = errors(&replaced(COMPLETE, value.clone(), spot.key.example));
        // Another valid value may well clash with a third one, but never by itself.
        let by_itself = |error: &&Problem| ["wrong_type", "path_data", "empty", "length"].contains(&error.code);
        assert_eq!(found.iter().find(by_itself), None, "{}", spot.key.name);
        if let Need::Default(default) = spot.key.need {
            assert_eq!(errors(&replaced(COMPLETE, value, default)).iter().find(by_itself), None, "{}", spot.key.name);
        }
    }
}

#[test]
fn the_schema_knows_what_the_reader_knows() {
    fn compare(table: &Table, schema: &serde_json::Value) {
        let properties = schema["properties"].as_object().expect("a table has properties");
        assert_eq!(schema["additionalProperties"], false);
        assert_eq!(properties.len(), table.keys.len());
        for key in table.keys {
            let property = &properties[key.name];
            assert!(property["description"].as_str().is_some_and(|words| words.contains(key.doc)), "{}", key.name);
            let required = schema["required"].as_array().is_some_and(|list| list.iter().any(|name| name == key.name));
            assert_eq!(required, key.need == Need::Required, "{}", key.name);
            match &key.kind {
                Kind::Table(below) => compare(below, property),
                Kind::Tables(below) => compare(below, &property["items"]),
                Kind::Named(below) => compare(below, &property["additionalProperties"]),
                Kind::WordOrTable(_, below) => compare(below, &property["anyOf"][1]),
                _ => {}
            }
        }
    }
    let schema = schema();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    compare(&FILE, &schema);
    assert_eq!(schema["properties"]["paper"]["properties"]["use"]["default"], serde_json::json!(["A4", "Letter"]));
}

#[test]
fn the_reference_lists_every_key_with_what_it_takes() {
    let reference = reference();
    for words in [
        "[wearer]",
        "  height: Height of the wearer, barefoot, as measured: people say some 25 mm more on average than they measure. \
         Takes a length from 500 mm to 2500 mm. Required.",
        "[[picture.front.known_length]]",
        "  fist: Breadth across the closed hand. Takes a length from 30 mm to 200 mm.",
        "[[piece.hole]]",
        "  overlap: Pattern printed on both of two neighbouring pages. Takes a length from 5 mm to 60 mm. Default: \
         \"10 mm\".",
    ] {
        assert!(reference.contains(words), "{words}\n{reference}");
    }
    for spot in spots(COMPLETE) {
        assert!(reference.contains(spot.key.doc), "{}", spot.key.name);
    }
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_stumble(cut in 0..COMPLETE.len(), len in 0..40_usize, by in "[\\[\\]{}=\".,#a-z0-9\n-]{0,12}") {
        let (start, end) = (COMPLETE.floor_char_boundary(cut), COMPLETE.floor_char_boundary((cut + len).min(COMPLETE.len())));
        let text = replaced(COMPLETE, start..end, &by);
        let Reading { build, problems, .. } = read(&text);
        let stopped = problems.iter().any(|problem| problem.is_error());
        prop_assert_eq!(build.is_none(), stopped);
        prop_assert!(problems.iter().all(|problem| problem.place.is_some_and(|at| at.line >= 1 && at.column >= 1)));
    }
}
