//! Reference values, each with its source and how sure it is, embedded in the program.
//!
//! Each table is a TOML file of rows by kind; every row says where its values come from (`source`), whether that is
//! `published`, `common practice` or `from memory` (`status`), and how it was checked (`checked`).

mod listing;
mod pipes;

use std::sync::LazyLock;

use serde::Deserialize;

use crate::units::Length;

pub use listing::listing;
pub use pipes::{PipeSize, pipe_size, pipe_sizes};

/// The tables by name.
const TABLES: [(&str, &str); 7] = [
    ("body", include_str!("body.toml")),
    ("cards", include_str!("cards.toml")),
    ("foam", include_str!("foam.toml")),
    ("paper", include_str!("paper.toml")),
    ("pipe", include_str!("pipe.toml")),
    ("seams", include_str!("seams.toml")),
    ("units", include_str!("units.toml")),
];

/// The names of all tables.
pub fn names() -> impl Iterator<Item = &'static str> {
    TABLES.iter().map(|(name, _)| *name)
}

fn source_of(name: &str) -> Option<&'static str> {
    TABLES.iter().find(|(known, _)| *known == name).map(|(_, text)| *text)
}

/// A flat rectangle of known size.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// As in the table file: `iso_a4`.
    pub id: String,
    /// As a maker says it: `A4`.
    pub name: String,
    /// Paper: short side. Cards: long side.
    pub width: Length,
    /// Paper: long side. Cards: short side.
    pub height: Length,
    /// What either side may be off as sold, plus or minus.
    pub tolerance: Length,
}

#[derive(Deserialize)]
struct PaperFile {
    sheet: Vec<SheetRow>,
    iso216_tolerance: Vec<ToleranceRow>,
    margin: Vec<Margin>,
}

/// What a printer leaves white along the sides of its paper, mm.
#[derive(Clone, Debug, Deserialize, PartialEq)]
pub struct Margin {
    /// Which printer, in words: "laser printer, all sides".
    pub device: String,
    /// On the left.
    pub left_mm: f64,
    /// On the right.
    pub right_mm: f64,
    /// At the top.
    pub top_mm: f64,
    /// At the bottom.
    pub bottom_mm: f64,
}

/// What usual printers leave white.
pub fn margins() -> &'static [Margin] {
    static MARGINS: LazyLock<Vec<Margin>> = LazyLock::new(|| rows::<PaperFile>("paper").margin);
    &MARGINS
}

#[derive(Deserialize)]
struct CardFile {
    card: Vec<CardRow>,
}

#[derive(Deserialize)]
struct SheetRow {
    id: String,
    name: String,
    width_mm: f64,
    height_mm: f64,
    width_tolerance_mm: Option<f64>,
    height_tolerance_mm: Option<f64>,
}

#[derive(Deserialize)]
struct ToleranceRow {
    over_mm: f64,
    up_to_mm: Option<f64>,
    tolerance_mm: f64,
}

/// A card's size, or the limits of one (`id1_limits` beside `id1`).
#[derive(Deserialize)]
struct CardRow {
    id: String,
    name: String,
    width_mm: Option<f64>,
    height_mm: Option<f64>,
    width_min_mm: Option<f64>,
    width_max_mm: Option<f64>,
    height_min_mm: Option<f64>,
    height_max_mm: Option<f64>,
}

#[derive(Deserialize)]
struct BodyFile {
    stature_fraction: Vec<FractionRow>,
}

#[derive(Deserialize)]
struct FractionRow {
    id: String,
    fraction: f64,
}

fn rows<T: for<'a> Deserialize<'a>>(name: &str) -> T {
    let text = source_of(name).expect("only asked for tables of the list");
    toml::from_str(text).expect("the embedded tables are well formed: the tests read them all")
}

static PAPER: LazyLock<Vec<Sheet>> = LazyLock::new(|| {
    let file: PaperFile = rows("paper");
    // Sheets outside ISO 216 have no tolerance of their own; trimmed paper of the same size is taken to be as good.
    let usual = |side: f64| {
        let of = |row: &&ToleranceRow| side > row.over_mm && row.up_to_mm.is_none_or(|most| side <= most);
        file.iso216_tolerance.iter().find(of).map_or(0.0, |row| row.tolerance_mm)
    };
    let sheet = |row: &SheetRow| {
        let width = row.width_tolerance_mm.unwrap_or_else(|| usual(row.width_mm));
        let height = row.height_tolerance_mm.unwrap_or_else(|| usual(row.height_mm));
        Sheet {
            id: row.id.clone(),
            name: short_name(&row.name).to_owned(),
            width: Length::mm(row.width_mm),
            height: Length::mm(row.height_mm),
            tolerance: Length::mm(width.max(height)),
        }
    };
    file.sheet.iter().map(sheet).collect()
});

static CARDS: LazyLock<Vec<Sheet>> = LazyLock::new(|| {
    let file: CardFile = rows("cards");
    let limits = |id: &str| {
        let row = file.card.iter().find(|row| row.id.strip_suffix("_limits") == Some(id))?;
        let width = row.width_max_mm? - row.width_min_mm?;
        let height = row.height_max_mm? - row.height_min_mm?;
        Some(width.max(height) / 2.0)
    };
    let card = |row: &CardRow| {
        let (width, height) = (row.width_mm?, row.height_mm?);
        Some(Sheet {
            id: row.id.clone(),
            name: short_name(&row.name).to_owned(),
            width: Length::mm(width),
            height: Length::mm(height),
            tolerance: Length::mm(limits(&row.id).unwrap_or(UNSTATED_CARD_TOLERANCE * width)),
        })
    };
    file.card.iter().filter_map(card).collect()
});

/// What a side may be off, as a part of the longer one, for cards whose limits the table does not give: twice what
/// ISO/IEC 7810 allows an ID-1 card (common practice, no source).
const UNSTATED_CARD_TOLERANCE: f64 = 0.003;

#[derive(Deserialize)]
struct FoamFile {
    thickness: Vec<ThicknessRow>,
}

#[derive(Deserialize)]
struct ThicknessRow {
    thickness_mm: f64,
    thickness_in: Option<f64>,
}

/// The thicknesses that foam is usually sold in, in millimetres, the thinnest first.
pub fn foam_thicknesses() -> &'static [Length] {
    static THICKNESSES: LazyLock<Vec<Length>> = LazyLock::new(|| {
        let file: FoamFile = rows("foam");
        let metric = file.thickness.iter().filter(|row| row.thickness_in.is_none());
        metric.map(|row| Length::mm(row.thickness_mm)).collect()
    });
    &THICKNESSES
}

static FRACTIONS: LazyLock<Vec<FractionRow>> = LazyLock::new(|| rows::<BodyFile>("body").stature_fraction);

/// The numbers in the rows of one kind, by their names: what tests hold formulas against.
#[cfg(test)]
pub(crate) fn checks(table: &str, kind: &str) -> Vec<std::collections::BTreeMap<String, f64>> {
    let file: toml::Table = rows(table);
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let number = |value: &toml::Value| value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64));
    let of_row = |row: &toml::Value| {
        let row = row.as_table().expect("a row");
        row.iter().filter_map(|(key, value)| Some((key.clone(), number(value)?))).collect()
    };
    file[kind].as_array().expect("rows").iter().map(of_row).collect()
}

/// All sheets of paper, in the order of the table.
pub fn sheets() -> &'static [Sheet] {
    &PAPER
}

/// All cards, in the order of the table.
pub fn cards() -> &'static [Sheet] {
    &CARDS
}

/// The sheet of paper called `name`; case, blanks and dashes do not matter: `a4`, `Letter`, `iso_a3`, `US Letter`.
pub fn sheet(name: &str) -> Option<&'static Sheet> {
    by_name(sheets(), name)
}

/// The sheet or card called `name`, as a reference of known size lying in a picture.
pub fn rectangle(name: &str) -> Option<&'static Sheet> {
    sheet(name).or_else(|| by_name(cards(), name))
}

fn by_name(rows: &'static [Sheet], name: &str) -> Option<&'static Sheet> {
    let asked = folded(name);
    let find = |asked: &str| rows.iter().find(|row| folded(&row.name) == asked || folded(&row.id) == asked);
    find(&asked).or_else(|| find(asked.strip_prefix("us")?))
}

/// The height of a landmark above the sole as a part of stature, barefoot: `knee`, `hip`, `shoulder`, `chin`, `eye`;
/// `crown` is stature itself.
pub fn stature_fraction(landmark: &str) -> Option<f64> {
    if landmark == "crown" {
        return Some(1.0);
    }
    FRACTIONS.iter().find(|row| row.id.strip_suffix("_height") == Some(landmark)).map(|row| row.fraction)
}

/// The length of a part of the body as a part of stature: `trunk`, `thigh`, `shank`, `upper_arm`, `forearm`, `hand`;
/// `head_and_neck` is what is left above the shoulder joints.
pub fn limb_fraction(limb: &str) -> Option<f64> {
    if limb == "head_and_neck" {
        return stature_fraction("shoulder").map(|shoulder| 1.0 - shoulder);
    }
    FRACTIONS.iter().find(|row| row.id == limb).map(|row| row.fraction)
}

/// The candidate that `word` most likely stands for; `None` when none is near.
pub(crate) fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    /// Below this two words share little more than some letters ("sheet" and "height" have 0.56).
    const NEAR: f64 = 0.6;
    let word = word.to_lowercase();
    candidates
        .into_iter()
        .map(|candidate| (strsim::normalized_damerau_levenshtein(&word, &candidate.to_lowercase()), candidate))
        .filter(|(likeness, _)| *likeness >= NEAR)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// `Tabloid (Ledger when landscape)` is `Tabloid`.
fn short_name(name: &str) -> &str {
    name.split(" (").next().unwrap_or(name)
}

fn folded(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric() || *c == '+').flat_map(char::to_lowercase).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{FOAM_LABEL, MM_PER_INCH};

    #[track_caller]
    fn close(a: f64, b: f64, within: f64) {
        assert!((a - b).abs() <= within, "{a} is not {b} within {within}");
    }

    fn iso_a(number: usize) -> &'static Sheet {
        sheet(&format!("A{number}")).expect("the table has A0 to A6")
    }

    #[test]
    fn the_a_series_follows_the_rule_of_iso_216() {
        // ISO 216: A0 has 1 m², sides as 1 : √2, each next size is the former one halved, rounded down to the millimetre.
        close(iso_a(0).width.to_mm() * iso_a(0).height.to_mm(), 1e6, 1e3);
        for number in 0..=6 {
            let (width, height) = (iso_a(number).width.to_mm(), iso_a(number).height.to_mm());
            close(height, width * 2_f64.sqrt(), 1.5);
            // From the exact side, 1000 · 2^(1/4) / 2^(n/2) mm, to the millimetre.
            close(height, 1000.0 * 2_f64.powf(0.25 - number as f64 / 2.0), 1.0);
            if number > 0 {
                let larger = iso_a(number - 1);
                assert_eq!(height, larger.width.to_mm());
                assert_eq!(width, (larger.height.to_mm() / 2.0).floor());
            }
        }
    }

    #[test]
    fn inch_sheets_are_their_inches_times_25_4() {
        // Sides in inches: ASME Y14.1 (A to E), PWG 5101.1 (the office sheets).
        for (name, width, height) in [
            ("ANSI A", 8.5, 11.0),
            ("ANSI B", 11.0, 17.0),
            ("ANSI C", 17.0, 22.0),
            ("ANSI D", 22.0, 34.0),
            ("ANSI E", 34.0, 44.0),
            ("Letter", 8.5, 11.0),
            ("Legal", 8.5, 14.0),
            ("Tabloid", 11.0, 17.0),
        ] {
            let found = sheet(name).expect(name);
            close(found.width.to_mm(), width * MM_PER_INCH, 1e-9);
            close(found.height.to_mm(), height * MM_PER_INCH, 1e-9);
        }
    }

    #[test]
    fn a_sheet_is_found_however_it_is_written() {
        for (asked, id) in [
            ("a4", "iso_a4"),
            (" A 4 ", "iso_a4"),
            ("iso_a3", "iso_a3"),
            ("ISO A3", "iso_a3"),
            ("letter", "na_letter"),
            ("US Letter", "na_letter"),
            ("us-legal", "na_legal"),
            ("arch d", "arch_d"),
            ("A3+", "a3_plus"),
        ] {
            assert_eq!(sheet(asked).map(|s| s.id.as_str()), Some(id), "{asked}");
        }
        assert_eq!(sheet("A9"), None);
        assert_eq!(sheet("B4"), None, "ISO B4 and JIS B4 differ, so the maker has to say which");
        for row in sheets() {
            assert_eq!(sheet(&row.id), Some(row), "every sheet has its own id");
        }
    }

    #[test]
    fn a_bank_card_is_known_with_its_limits() {
        // ISO/IEC 7810: 85.60 by 53.98 mm; an unused card 85.47 to 85.72 by 53.92 to 54.03 mm (from memory).
        let card = rectangle("ID-1").expect("in the table");
        assert_eq!((card.width, card.height), (Length::mm(85.6), Length::mm(53.98)));
        close(card.tolerance.to_mm(), 0.125, 1e-9);
        assert_eq!(rectangle("id1"), Some(card));
        assert_eq!(rectangle("A4").map(|s| s.tolerance), Some(Length::mm(2.0)), "ISO 216: 2 mm up to 600 mm");
        assert_eq!(rectangle("Letter").map(|s| s.tolerance), Some(Length::mm(2.0)));
    }

    #[test]
    fn landmarks_have_their_published_part_of_stature() {
        // Drillis and Contini 1966, as drawn in Winter 2009, figure 4.1.
        for (landmark, fraction) in
            [("knee", 0.285), ("hip", 0.53), ("shoulder", 0.818), ("chin", 0.87), ("eye", 0.936), ("crown", 1.0)]
        {
            assert_eq!(stature_fraction(landmark), Some(fraction), "{landmark}");
        }
        assert_eq!(stature_fraction("thigh"), None, "a length, no height");
    }

    #[test]
    fn near_words_are_offered_and_far_ones_are_not() {
        let known = ["height", "shoes", "hand_length"];
        assert_eq!(nearest("hieght", known), Some("height"));
        assert_eq!(nearest("Shoe", known), Some("shoes"));
        assert_eq!(nearest("colour", known), None);
    }

    #[test]
    fn every_row_says_its_source_its_status_and_how_it_was_checked() {
        for name in names() {
            let table: toml::Table = rows(name);
            let meta = &table["meta"];
            let allowed = |key: &str, value: &str| {
                let list = meta[format!("{key}_values").as_str()].as_array();
                list.is_some_and(|list| list.iter().any(|word| word.as_str() == Some(value)))
            };
            for (kind, rows) in table.iter().filter(|(kind, _)| *kind != "meta") {
                for row in rows.as_array().expect("all but meta are arrays of tables") {
                    let word = |key: &str| row.get(key).and_then(toml::Value::as_str).unwrap_or_default();
                    assert!(!word("source").is_empty(), "{name} {kind}: {row:?}");
                    assert!(allowed("status", word("status")), "{name} {kind}: {row:?}");
                    assert!(allowed("checked", word("checked")), "{name} {kind}: {row:?}");
                }
            }
        }
    }

    #[test]
    fn the_units_read_from_text_are_those_of_the_table() {
        let table: toml::Table = rows("units");
        let unit_mm = |id: &str| {
            let rows = table["unit"].as_array().expect("an array");
            rows.iter().find(|row| row["id"].as_str() == Some(id)).and_then(|row| row["mm"].as_float()).expect(id)
        };
        for (text, id) in [("1 in", "inch"), ("1 ft", "foot"), ("1 yd", "yard"), ("1 pt", "point")] {
            close(Length::parse(text).expect(text).to_mm(), unit_mm(id), 1e-12);
        }
        for row in table["check"].as_array().expect("an array") {
            let field = |key: &str| row[key].as_float().expect(key);
            let length = Length::parse(&format!("{} {}", field("value"), row["from_unit"].as_str().expect("a unit")));
            let length = length.expect("a length");
            match row["to_unit"].as_str() {
                Some("mm") => close(length.to_mm(), field("result"), 1e-9),
                Some("pt") => close(length.to_pt(), field("result"), 1e-9),
                _ => close(length.to_inches() * 300.0, field("result"), 1e-9),
            }
        }
    }

    #[test]
    fn the_slack_of_a_foam_label_is_that_of_the_table() {
        let table: toml::Table = rows("foam");
        let row = &table["thickness_tolerance"][0];
        assert_eq!(row["relative"].as_float(), Some(FOAM_LABEL.0));
        assert_eq!(row["absolute_mm"].as_float(), Some(FOAM_LABEL.1.to_mm()));
    }
}
