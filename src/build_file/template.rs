//! The build file that a maker starts from.

use std::fmt::Write;

use crate::space::{Pixels, Point};
use crate::units::Length;

/// What is known when a build file is started.
#[derive(Clone, Debug, Default)]
pub struct NewFile {
    /// How long the finished prop is; `None`: the file shows the ways to say so.
    pub finished: Option<Length>,
    /// Pieces by name, each with places inside it, at least one; none: one piece, all that stands on a plain ground.
    pub pieces: Vec<(String, Vec<Point<Pixels>>)>,
}

/// A commented build file for the picture `picture_file`, `pixels` wide and high when upright.
///
/// With a finished length it is complete; without, the one thing missing is where the size comes from.
pub fn new_file(picture_file: &str, pixels: [u32; 2], options: &NewFile) -> String {
    let quoted = |text: &str| toml_edit::Value::from(text).to_string();
    let pixels = format!("pixels = [{}, {}]", pixels[0], pixels[1]);
    let name = title(picture_file);
    let mut out = format!(
        r#"# A Spanwright build file. Lengths are texts like "168 cm", "1.42 m" or "5 ft 6 1/2 in"; plain numbers are millimetres.
# Places are [x, y] in pixels of the upright picture, from its top left corner, y down.

[build]
name  = {}
units = "metric"                 # how sizes are shown: metric, imperial or both
# language = "german"            # of the pages; english when left out
# date = 2026-05-01              # printed on every page when given

[picture.front]
file   = {}
{pixels:<32} # as it was when this file was made: a changed picture is noticed
# light = "camera"               # or "drawing"; found when left out

"#,
        quoted(&name),
        quoted(picture_file),
    );
    out.push_str(match options.finished {
        Some(_) => SIZE_KNOWN,
        None => SIZE_OPEN,
    });
    if let Some(finished) = options.finished {
        let _ = writeln!(out, "[size]\nfrom     = \"finished\"\nfinished = \"{} mm\"\n", finished.to_mm());
    }
    out.push_str(PAPER);
    if options.pieces.is_empty() {
        let _ = write!(out, "[[piece]]\nname    = {}\npicture = \"front\"\n{PLAIN_GROUND}{PIECE}", quoted(&name));
    }
    for (piece, places) in &options.pieces {
        let places: Vec<String> = places.iter().map(|at| format!("[{:?}, {:?}]", at.x, at.y)).collect();
        let inside = if let [only] = &places[..] { only.clone() } else { format!("[{}]", places.join(", ")) };
        let _ = write!(
            out,
            "[[piece]]\nname    = {}\npicture = \"front\"\ntrace   = {{ inside = {inside} }}\n{PIECE}",
            quoted(piece),
        );
    }
    out.push_str(MORE_PIECES);
    out
}

const SIZE_KNOWN: &str = "# How long the finished prop is, straight across between its two farthest points; mark [finished] for other ends.\n";

const SIZE_OPEN: &str = r#"# How large is the prop? Take the # away from one of these and put in your own places and lengths.

# A length that you know, between two places on the picture:
# [[picture.front.known_length]]
# name         = "grip"
# from         = [812.0, 1410.5]
# to           = [812.5, 1630.0]
# length       = "140 mm"
# give_or_take = "2 mm"          # the truth is this near 19 times in 20

# A sheet or card lying in the prop's plane; it straightens the picture too (`spanwright find` looks for one):
# [picture.front.known_rectangle]
# corners = [[410.0, 300.0], [1210.0, 310.0], [1200.0, 880.0], [402.0, 870.0]]   # clockwise from its top left
# size    = "A4"                 # or ["297 mm", "210 mm"]

# The figure that carries it, who is to be as tall as the wearer in shoes:
# [picture.front.figure]
# landmarks = { sole = [100.0, 2900.0], knee = [100.0, 2200.0], eye = [104.0, 420.0] }
# [wearer]
# height = "168 cm"              # barefoot, as measured: people say some 25 mm more on average
# shoes  = "35 mm"

# Or how long the finished prop is:
# [size]
# from     = "finished"
# finished = "1.42 m"

"#;

const PAPER: &str = r#"[paper]
use     = ["A4", "Letter"]       # or a size: "300 x 400 mm"
overlap = "10 mm"
margin  = "10 mm"

"#;

const PLAIN_GROUND: &str = r#"trace   = "plain ground"         # or { inside = [812.0, 500.0] }, or { around = [[700.0, 200.0], ...] }
"#;

const PIECE: &str = r#"# letter    = "A"                # pinned; else the next free one
# foam      = "10 mm"
# copies    = 2
# face_down = 1                  # of those, how many with the paper turned over
# symmetric = true               # its halves are made to mirror each other; "left" keeps that half
# repeats   = 5                  # it comes again so many times in one turn

"#;

const MORE_PIECES: &str = r#"# A piece sized by its hardware, in millimetres, never scaled:
# [[piece]]
# name    = "pipe washer"
# fixed   = true
# outline = "M 0 20 A 20 20 0 1 1 40 20 A 20 20 0 1 1 0 20 Z"
# [[piece.hole]]
# at       = [20.0, 20.0]
# diameter = "8 mm"
"#;

/// `boards/signal-staff.jpg` is `Signal staff`.
fn title(file: &str) -> String {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let words = stem.split(['-', '_', ' ']).filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ");
    let mut letters = words.chars().filter(|c| !c.is_control()).take(80);
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).take(80).collect(),
        None => "New prop".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::build_file::{Reading, SizeFrom, read};

    #[test]
    fn a_new_file_with_a_finished_length_is_complete() {
        for pieces in [
            vec![],
            vec![
                ("vane \"A\"".to_owned(), vec![Point::new(12.5, 40.0)]),
                ("grip".to_owned(), vec![Point::new(7.0, 8.0), Point::new(9.5, 8.0)]),
            ],
        ] {
            let count = pieces.len().max(1);
            let options = NewFile { finished: Some(Length::mm(1420.0)), pieces };
            let text = new_file("shots/signal-staff.jpg", [4000, 3000], &options);
            let Reading { build, problems, .. } = read(&text);
            assert_eq!(problems, [], "{text}");
            let build = build.expect("no problem");
            assert_eq!((build.name.as_str(), build.pieces.len()), ("Signal staff", count));
            assert_eq!(build.size.value, SizeFrom::Finished(Length::mm(1420.0)));
            assert_eq!(build.pictures[0].pixels.map(|pixels| pixels.value), Some([4000, 3000]));
        }
    }

    #[test]
    fn a_new_file_without_a_length_lacks_just_that_and_every_way_it_shows_works() {
        let text = new_file("signal-staff.jpg", [4000, 3000], &NewFile::default());
        let found = read(&text).problems;
        let [problem] = &found[..] else { panic!("{found:#?}\n{text}") };
        assert_eq!(problem.code, "no_size");
        assert!(problem.text.starts_with("nothing says yet how large the prop is"), "{problem}");

        let without = |first: &str, last: &str| {
            let (before, rest) = text.split_once(&format!("# {first}")).expect(first);
            let (block, after) = rest.split_once("\n\n").expect(last);
            let block = format!("# {first}{block}").replace("\n# ", "\n");
            format!("{before}{}\n\n{after}", block.trim_start_matches("# "))
        };
        for (first, size) in [
            ("[[picture.front.known_length]]", SizeFrom::KnownLengths),
            ("[picture.front.known_rectangle]", SizeFrom::AsPictured),
            ("[picture.front.figure]", SizeFrom::Figure),
            ("[size]", SizeFrom::Finished(Length::mm(1420.0))),
        ] {
            let text = without(first, "a blank line ends it");
            let Reading { build, problems, .. } = read(&text);
            assert_eq!(problems, [], "{text}");
            assert_eq!(build.map(|build| build.size.value), Some(size));
        }
        let (before, washer) = text.split_once("# [[piece]]").expect("shown");
        let all = format!("{before}[[piece]]{}", washer.replace("\n# ", "\n"));
        assert_eq!(read(&all).problems.len(), 1, "the washer is well formed: {all}");
    }

    #[test]
    fn a_file_name_can_hold_anything_and_still_gives_a_file() {
        for name in ["a \"b\".jpg", "..png", "\u{7}.jpg", "sub\\x.jpg", "ßtab.jpg", &"long-".repeat(60)] {
            let options = NewFile { finished: Some(Length::mm(500.0)), pieces: vec![] };
            let text = new_file(name, [10, 20], &options);
            assert!(toml_edit::Document::parse(text.as_str()).is_ok(), "{text}");
            let wrong: Vec<_> = read(&text).problems;
            assert!(wrong.iter().all(|problem| problem.text.starts_with("file ")), "{wrong:#?}");
        }
    }
}
