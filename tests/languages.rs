//! Whole patterns in each language: all that stands on their pages, and around them, is in that language.

mod lantern;
mod made;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use lantern::{LANTERN, beside_demo};
use lopdf::Object;
use made::Made;
use spanwright::text::Language;

/// Nothing to join, no wearer, one copy: what the demo has no words for.
const LATCH: &str = r#"
[build]
name     = "Vane"
language = "english"
units    = "both"

[[piece]]
name    = "vane"
fixed   = true
outline = "M 0 0 H 120 V 100 H 0 Z"

[[piece]]
name      = "lantern ring"
fixed     = true
face_down = 1
outline   = "M 0 0 H 120 V 100 H 0 Z"

[[piece]]
name      = "shaft"
fixed     = true
copies    = 2
face_down = 2
outline   = "M 0 0 H 120 V 100 H 0 Z"
"#;

/// Over many small pages, and on sheets that a copy shop prints.
const STAFF: &str = r#"
[build]
name     = "Vane"
language = "english"

[paper]
use = ["A4", "A0", "914 mm roll"]

[[piece]]
name    = "vane"
fixed   = true
outline = "M 0 0 H 2400 V 70 H 0 Z"
"#;

/// What none of these builds has to say: other sources of the size, other wearers.
const UNSAID: [&str; 24] = [
    "words_apart",
    "rests_on_known_lengths",
    "rests_on_as_pictured",
    "rests_on_hand",
    "rests_on_finished",
    "by_known_lengths",
    "by_as_pictured",
    "by_figure_stature",
    "by_figure_head",
    "by_figure_shoulder",
    "by_figure_blend",
    "by_hand",
    "by_finished",
    "wearer_barefoot",
    "for_height",
    "map_left_out",
    "changed",
    "changed_pipe",
    "changed_part",
    "changed_layers",
    "changed_joint",
    "how_inside",
    "how_on",
    "how_through",
];

/// Label after label of every page, then what a reader program shows around them.
fn said(file: &Path) -> String {
    let pdf = lopdf::Document::load(file).expect("a PDF");
    let mut said = Vec::new();
    for page in pdf.get_pages().into_values() {
        let fonts = pdf.get_page_fonts(page).expect("fonts");
        let encodings: BTreeMap<_, _> =
            fonts.iter().map(|(name, font)| (name, font.get_font_encoding(&pdf).expect("an encoding"))).collect();
        let mut encoding = None;
        for operation in pdf.get_and_decode_page_content(page).expect("content").operations {
            match operation.operator.as_str() {
                "Tf" => encoding = encodings.get(&operation.operands[0].as_name().expect("a font").to_vec()),
                "Tj" => {
                    let bytes = operation.operands[0].as_str().expect("text");
                    let encoding = encoding.expect("a font comes first");
                    said.push(lopdf::Document::decode_text(encoding, bytes).expect("it reads back"));
                }
                other => assert!(!["TJ", "'", "\""].contains(&other), "{other} is not read"),
            }
        }
    }
    pdf.objects.values().for_each(|object| around(object, &mut said));
    plain(&said.join(" "))
}

/// Bookmarks, the names of pages and layers, the subject and the language.
fn around(object: &Object, said: &mut Vec<String>) {
    let below: Vec<(&[u8], &Object)> = match object {
        Object::Array(list) => list.iter().map(|object| (&b""[..], object)).collect(),
        Object::Dictionary(table) => table.iter().map(|(key, object)| (key.as_slice(), object)).collect(),
        _ => return,
    };
    for (key, object) in below {
        if [&b"Title"[..], b"P", b"Name", b"Subject", b"Lang"].contains(&key) && matches!(object, Object::String(..)) {
            said.push(lopdf::decode_text_string(object).expect("text"));
        }
        around(object, said);
    }
}

/// `text` with one blank wherever there is white.
fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What stands between the places of every text of a table, under the name of the text.
fn parts(language: Language) -> Vec<(String, String)> {
    let table = serde_json::to_value(language.words()).expect("plain texts");
    let mut parts = Vec::new();
    for (name, value) in table.as_object().expect("a table") {
        let texts = value.as_array().map_or(std::slice::from_ref(value), Vec::as_slice);
        let texts = texts.iter().map(|text| text.as_str().expect("a text"));
        parts.extend(texts.flat_map(|text| text.split("{}")).map(|part| (name.clone(), plain(part))));
    }
    parts
}

fn words(text: &str) -> BTreeSet<String> {
    let words = text.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty());
    words.map(str::to_lowercase).collect()
}

fn documents(made: &Made) -> String {
    let reports = made.manifest["documents"].as_array().expect("a list").iter();
    let each: Vec<String> = reports.map(|report| said(&made.file(report["file"].as_str().expect("a name")))).collect();
    each.join(" ")
}

/// What stands on the test card of a build.
fn test_card(text: &str) -> String {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let build = folder.path().join("build.toml");
    std::fs::write(&build, text).expect("written");
    let mut command = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spanwright"));
    command.arg("test-card").arg(&build).arg("--out").arg(folder.path()).assert().code(0);
    said(&folder.path().join("test-card-a3.pdf"))
}

/// What the maker called things is no word of the program's.
fn given(made: &Made) -> BTreeSet<String> {
    let name = |value: &serde_json::Value| words(value.as_str().expect("a name"));
    let mut given = name(&made.manifest["build"]);
    for pipe in made.manifest["building"]["pipes"].as_array().expect("a list") {
        given.extend(name(&pipe["name"]));
        given.extend(pipe["kind"].as_str().into_iter().flat_map(words));
    }
    for (list, key) in [("pieces", "name"), ("pieces", "letter"), ("documents", "paper")] {
        given.extend(made.manifest[list].as_array().expect("a list").iter().flat_map(|one| name(&one[key])));
    }
    given
}

#[test]
fn every_word_on_paper_is_of_the_language_asked_for_and_stands_there_whole() {
    for (name, language) in [("english", Language::English), ("german", Language::German)] {
        let demo = made::demo(name);
        let latch = LATCH.replace("english", name);
        let joined = latch.replace("H 120", "H 320");
        let staff = made::build(&STAFF.replace("english", name));
        let lantern = beside_demo(&LANTERN.replace("english", name));
        // Sanding that takes off more than pen and coats put on.
        let sanded = LANTERN.replace("english", name).replace("\"0.2 mm\"", "\"2 mm\"");
        let sanded = beside_demo(&sanded);
        let all = [&demo, &made::build(&latch), &made::build(&joined), &staff, &lantern, &sanded];
        let said = all.map(documents).join(" ") + " " + &test_card(&LANTERN.replace("english", name));
        let short = said.split(' ').find(|word| word.len() > "…".len() && word.ends_with('…'));
        assert_eq!(short, None, "{name}: a label is cut short");
        for (field, part) in parts(language).iter().filter(|(field, _)| !UNSAID.contains(&field.as_str())) {
            assert!(said.contains(part), "{name}: {field} is not said, or cut short: “{part}”");
        }
        // Whatever is in no name and not in the table would be foreign in some language.
        let own: BTreeSet<String> = parts(language).iter().flat_map(|(_, part)| words(part)).collect();
        let given: BTreeSet<String> = [&demo, &lantern].into_iter().flat_map(given).collect();
        let strange: Vec<String> =
            words(&said).into_iter().filter(|word| !own.contains(word) && !given.contains(word)).collect();
        assert!(strange.is_empty(), "{name}: {strange:?}");

        let list = std::fs::read_to_string(demo.file("pieces.csv")).expect("written");
        let from_foam = language.words().from_foam.replace("{}", "|");
        let foam = from_foam.rsplit('|').next().expect("an end");
        assert!(list.lines().skip(1).all(|line| line.contains(foam)), "{name}: {list}");
    }
}
