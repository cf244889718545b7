//! Laws of pieces, over outlines, sections, lines of split and allowances drawn at random.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use kurbo::{ParamCurve as _, ParamCurveNearest as _, PathSeg, Point, Shape as _};
use proptest::prelude::*;
use spanwright::build_file::read;
use spanwright::make::{Files, Survey, survey};
use spanwright::pattern::Piece;
use spanwright::shape::Shape;

struct NoFiles;

impl Files for NoFiles {
    fn read(&self, name: &str) -> std::io::Result<Vec<u8>> {
        Err(std::io::Error::new(std::io::ErrorKind::NotFound, name))
    }
}

/// What may well be impossible with an outline drawn at random; everything else has to be done.
const REFUSALS: [&str; 9] = [
    "section_swallows",
    "no_stack",
    "too_thick",
    "split_twice",
    "split_outside",
    "splits_nothing",
    "split_ends_inside",
    "split_sliver",
    "outline_meets_itself",
];

/// Everything about one piece but its outline.
#[derive(Clone, Debug)]
struct How {
    section: usize,
    thickness: u32,
    edge: u32,
    land: u32,
    both_sides: bool,
    chords: Vec<(f64, f64, f64)>,
    cutting: Option<(u32, u32)>,
}

fn how() -> impl Strategy<Value = How> {
    let chord = (0.0..std::f64::consts::TAU, 1.2..5.0, -20.0..20.0);
    let cutting = prop::option::of((0_u32..10, 0_u32..10));
    let section = (0_usize..6, 4_u32..70, 1_u32..40, 0_u32..12, any::<bool>());
    (section, prop::collection::vec(chord, 0..4), cutting).prop_map(
        |((section, thickness, edge, land, both_sides), chords, cutting)| How {
            section,
            thickness,
            edge,
            land,
            both_sides,
            chords,
            cutting,
        },
    )
}

/// Distances from the middle at even angles, and whether the outline is smooth.
fn outline() -> impl Strategy<Value = (Vec<f64>, bool)> {
    (prop::collection::vec(18.0..130.0, 4..15), any::<bool>())
}

fn text((radii, smooth): &(Vec<f64>, bool), how: &How) -> String {
    let count = u32::try_from(radii.len()).expect("a few");
    let at = |k: u32, radius: f64| {
        let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / f64::from(count)).sin_cos();
        format!("[{:.3}, {:.3}]", 200.0 + radius * cos, 200.0 + radius * sin)
    };
    let places: Vec<String> = (0..).zip(radii).map(|(k, radius)| at(k, *radius)).collect();
    let corner = |place: &String| if *smooth { place.clone() } else { format!("{{ corner = {place} }}") };
    let through: Vec<String> = places.iter().map(corner).collect();
    let mut text = String::from("[build]\nname = \"Vane\"\n[paper]\nuse = [\"A2\"]\n");
    if let Some((sanding, coats)) = how.cutting {
        let (sanding, coats) = (f64::from(sanding) / 10.0, f64::from(coats) / 10.0);
        let _ = writeln!(text, "[cutting]\nsanding = \"{sanding} mm\"\ncoats = \"{coats} mm\"");
    }
    let _ = writeln!(text, "[[piece]]\nname = \"vane\"\nfixed = true\nthrough = [{}]", through.join(", "));
    match how.section {
        5 => text.push_str("foam = \"6 mm\"\n"),
        section => {
            let word = ["flat", "rounded", "domed", "bevelled", "knife edge"][section];
            let _ = writeln!(text, "thickness = \"{} mm\"\nsection = \"{word}\"", how.thickness);
            if section != 0 && how.land < how.thickness {
                let _ = writeln!(text, "land = \"{} mm\"", how.land);
            }
            if section == 1 || section == 3 {
                let _ = writeln!(text, "edge = \"{} mm\"", how.edge);
            }
            let _ = writeln!(text, "both_sides = {}", how.both_sides);
        }
    }
    if !how.chords.is_empty() {
        let line = |(from, turn, bend): &(f64, f64, f64)| {
            let at = |turn: f64| (200.0 + 150.0 * turn.cos(), 200.0 + 150.0 * turn.sin());
            let (a, b) = (at(*from), at(from + turn));
            let middle = (f64::midpoint(a.0, b.0) + bend, f64::midpoint(a.1, b.1) + bend);
            format!("[[{:.2}, {:.2}], [{:.2}, {:.2}], [{:.2}, {:.2}]]", a.0, a.1, middle.0, middle.1, b.0, b.1)
        };
        let lines: Vec<String> = how.chords.iter().map(line).collect();
        let _ = writeln!(text, "split = [{}]", lines.join(", "));
    }
    text
}

fn outer_loops_do_not_cross(found: &Survey) -> Result<(), TestCaseError> {
    let mut letters = BTreeSet::new();
    for piece in &found.pieces {
        prop_assert!(!piece.letter.is_empty() && !piece.name.is_empty());
        prop_assert!(letters.insert(piece.letter.clone()), "{} twice", piece.letter);
        prop_assert!(piece.area() > 1.0, "{} is {} mm²", piece.letter, piece.area());
        let sound = Shape::new(piece.outline.clone());
        prop_assert!(sound.is_ok(), "{}: {:?}", piece.letter, sound.err());
    }
    Ok(())
}

/// Every edge that is not one of the outline as it was drawn is there twice, once each way, to the last digit.
fn inner_edges_are_there_twice(parts: &[&Piece], drawn: &Piece) -> Result<(), TestCaseError> {
    let on_drawn = |segment: &PathSeg| {
        let far = |t: f64| {
            let at = segment.eval(t);
            drawn.outline.raw().segments().map(|s| s.nearest(at, 1e-6).distance_sq).fold(f64::INFINITY, f64::min)
        };
        [0.25, 0.5, 0.75].into_iter().all(|t| far(t) < 1e-6)
    };
    let key = |from: Point, to: Point| [from.x, from.y, to.x, to.y].map(f64::to_bits);
    let mut ways: BTreeMap<[u64; 4], u32> = BTreeMap::new();
    for part in parts {
        for segment in part.outline.raw().segments().filter(|s| s.start() != s.end() && !on_drawn(s)) {
            *ways.entry(key(segment.start(), segment.end())).or_default() += 1;
        }
    }
    for ([a, b, c, d], count) in &ways {
        prop_assert!(*count == 1 && ways.get(&[*c, *d, *a, *b]) == Some(&1), "an edge without its mate");
    }
    let whole = drawn.outline.raw().area().abs();
    let sum: f64 = parts.iter().map(|part| part.outline.raw().area().abs()).sum();
    prop_assert!((sum - whole).abs() < 1e-3 * whole, "{sum} of {whole}");
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, max_shrink_iters: 80, ..ProptestConfig::default() })]

    #[test]
    fn no_outline_and_section_give_a_crossing_or_an_empty_letter(outline in outline(), how in how()) {
        let text = text(&outline, &how);
        let reading = read(&text);
        let Some(build) = reading.build else {
            let told: Vec<&str> = reading.problems.iter().filter(|problem| problem.is_error()).map(|p| p.code).collect();
            prop_assert!(!told.is_empty());
            prop_assert!(told.iter().all(|code| REFUSALS.contains(code)), "{told:?}\n{text}");
            return Ok(());
        };
        match survey(build, reading.problems, &NoFiles) {
            Ok(found) => {
                outer_loops_do_not_cross(&found)?;
                if how.cutting.is_none() {
                    let lowest = found.pieces.iter().filter(|piece| {
                        let layer = piece.letter.trim_start_matches(|c: char| c.is_alphabetic());
                        layer.is_empty() || layer == "1"
                    });
                    inner_edges_are_there_twice(&lowest.collect::<Vec<_>>(), &found.drawn[0])?;
                }
            }
            Err(errors) => {
                let told: Vec<(&str, &str)> = errors.iter().map(|p| (p.code, p.text.as_str())).collect();
                prop_assert!(!told.is_empty());
                prop_assert!(told.iter().all(|(code, _)| REFUSALS.contains(code)), "{told:?}\n{text}");
                // A smooth line through places at random may cross itself; nothing that is made of a sound one does.
                prop_assert!(!told.iter().any(|(_, text)| text.contains("as it comes out")), "{told:?}\n{text}");
                prop_assert!(errors.iter().all(|problem| problem.place.is_some()), "{told:?}");
            }
        }
    }
}
