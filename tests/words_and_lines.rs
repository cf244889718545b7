//! Over many random builds: on no page does a word lie on a line, on a mark, or on another word; and no words of a piece are lost.

mod made;

use kurbo::{Affine, BezPath, Point, Rect, Shape as _, Vec2};
use spanwright::build_file::read;
use spanwright::chance::Dice;
use spanwright::drawing::{Drawing, Header, Label, cut_words, note_words, sketch, tiles};
use spanwright::make::{Files, Plan, plan, survey};
use spanwright::paper::Layout;
use spanwright::space::Page;
use spanwright::text::{BOLD, REGULAR};

const BUILDS: u64 = 200;
const LANTERN: &str = include_str!("lantern/lantern.toml");
/// A word may come so near, in mm: what hair lines are wide, and letters stand apart.
const TOUCH: f64 = 0.15;

/// The builds name no file.
struct Alone;

impl Files for Alone {
    fn read(&self, name: &str) -> std::io::Result<Vec<u8>> {
        Err(std::io::Error::other(format!("there is no {name}")))
    }
}

/// The pictures of the demo.
struct Demo;

impl Files for Demo {
    fn read(&self, name: &str) -> std::io::Result<Vec<u8>> {
        std::fs::read(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images").join(name))
    }
}

fn planned(text: &str, files: &dyn Files) -> Plan {
    let build = read(text).build.expect("the build is sound");
    plan(survey(build, Vec::new(), files).expect("its files are there")).expect("it fits on paper")
}

fn header(plan: &Plan, layout: &Layout) -> Header {
    Header {
        build: plan.survey.build.name.clone(),
        set: "set 0000".to_owned(),
        wording: plan.survey.build.wording(),
        before: 2,
        pages: layout.tiles.len() + 2,
    }
}

/// A wavy outline of so many mm, at any turn, with a hole in every third.
fn outline(dice: &mut Dice) -> String {
    let size = 12.0 * (60.0_f64).powf(dice.uniform());
    let stretch = 0.15 + 0.85 * dice.uniform();
    let (waves, depth) = ((3.0 + 6.0 * dice.uniform()).floor(), 0.25 * dice.uniform());
    let turn = Affine::rotate(std::f64::consts::TAU * dice.uniform());
    let ring = |scale: f64| {
        let mut path = BezPath::new();
        for k in 0..48 {
            let angle = f64::from(k) / 48.0 * std::f64::consts::TAU;
            let at = Vec2::from_angle(angle) * size * scale * (1.0 + depth * (waves * angle).sin());
            let at = turn * Point::new(at.x, at.y * stretch);
            if k == 0 { path.move_to(at) } else { path.line_to(at) }
        }
        path.close_path();
        path
    };
    let mut path = ring(1.0);
    if dice.uniform() < 0.33 {
        path.extend(ring(0.4));
    }
    path.to_svg()
}

fn build(seed: u64) -> String {
    let mut dice = Dice(seed);
    let mut pick = |all: &[&'static str]| {
        let at = (dice.uniform() * 0.999 * all.iter().map(|_| 1.0).sum::<f64>()).floor();
        all.iter().zip(0..).find(|(_, k)| f64::from(*k) == at).map_or(all[0], |(one, _)| one)
    };
    let paper = pick(&["\"A4\", \"Letter\"", "\"A3\"", "\"A4\"", "\"Letter\"", "\"A5\""]);
    let (units, language) = (pick(&["metric", "imperial", "both"]), pick(&["english", "german"]));
    let overlap = pick(&["6 mm", "10 mm", "14 mm", "20 mm"]);
    let count = pick(&["1", "2", "3", "5", "8"]).parse::<u32>().expect("a number");
    let names = ["vane", "the lantern's inner ring", "rib", "cap of the beacon-keeper's staff, left", "fin"];
    let mut text = format!(
        "[build]\nname = \"Beacon {seed}\"\nunits = \"{units}\"\nlanguage = \"{language}\"\n\n[paper]\nuse = [{paper}]\noverlap = \
         \"{overlap}\"\n"
    );
    if seed.is_multiple_of(2) {
        text.push_str("\n[cutting]\ntemplate = \"traced round\"\ncoats = \"0.3 mm\"\n");
    }
    for k in 0..count {
        let (name, outline) = (names[k as usize % names.len()], outline(&mut dice));
        let copies = 1 + k % 3;
        text.push_str(&format!(
            "\n[[piece]]\nname = \"{name} {k}\"\nfixed = true\nfoam = \"10 mm\"\ncopies = {copies}\noutline = \"{outline}\"\n"
        ));
    }
    text
}

/// Where the letters stand, from the base line up.
fn letters(label: &Label<Page>) -> Rect {
    let face = if label.bold { &BOLD } else { &REGULAR };
    let flat = Rect::new(0.0, -face.cap_height(label.size), face.width(&label.text, label.size), 0.0);
    let turned = Affine::translate(label.at.raw().to_vec2()) * Affine::rotate(label.turn.to_radians());
    turned.transform_rect_bbox(flat).inset(-TOUCH)
}

/// Whether a straight line passes through a rectangle.
fn passes(a: Point, b: Point, rect: Rect) -> bool {
    let steps = (a.distance(b) / 0.1).ceil().max(1.0);
    if !Rect::from_points(a, b).inflate(1e-9, 1e-9).overlaps(rect) {
        return false;
    }
    let mut k = 0.0;
    while k <= steps {
        if rect.contains(a.lerp(b, k / steps)) {
            return true;
        }
        k += 1.0;
    }
    false
}

fn faults(page: &Drawing<Page>) -> Vec<String> {
    let boxes: Vec<(Rect, &str)> = page.labels.iter().map(|label| (letters(label), label.text.as_str())).collect();
    let mut found = Vec::new();
    for (i, (rect, text)) in boxes.iter().enumerate() {
        let other = boxes[..i].iter().find(|(other, _)| other.overlaps(*rect));
        found.extend(other.map(|(_, other)| format!("“{text}” lies on “{other}”")));
        for line in &page.lines {
            let path = line.path.raw();
            if !path.bounding_box().inflate(1e-9, 1e-9).overlaps(*rect) {
                continue;
            }
            let mut pen = Point::ZERO;
            let mut crossed = false;
            kurbo::flatten(path, 0.02, |element| match element {
                kurbo::PathEl::MoveTo(p) => pen = p,
                kurbo::PathEl::LineTo(p) => crossed |= passes(std::mem::replace(&mut pen, p), p, *rect),
                _ => {}
            });
            if crossed {
                found.push(format!(
                    "“{text}” at {:?} lies on a line of {:?} about {:?}",
                    rect.center(),
                    line.class,
                    path.bounding_box()
                ));
            }
        }
    }
    found
}

#[test]
fn no_word_lies_on_a_line_or_on_another_word() {
    let (mut pages, mut words, mut wrong) = (0, 0, Vec::new());
    for seed in 0..BUILDS {
        let plan = planned(&build(seed), &Alone);
        for layout in &plan.layouts {
            let header = header(&plan, layout);
            for (page, tile) in tiles(layout, &plan.survey.pieces, &header).iter().zip(&layout.tiles) {
                pages += 1;
                words += page.labels.len();
                wrong.extend(
                    faults(page).into_iter().map(|fault| format!("build {seed}, page {}: {fault}", tile.name())),
                );
            }
        }
    }
    assert!(pages > 1000 && words > 10_000, "{pages} pages, {words} words");
    assert!(wrong.is_empty(), "{} of {words} words:\n{}", wrong.len(), wrong[..wrong.len().min(20)].join("\n"));
}

/// Letters, as they follow one another however the lines are broken.
fn unbroken(text: &str) -> String {
    text.split_whitespace().collect()
}

/// What the pages of `plan` leave unsaid of its pieces.
fn lost(plan: &Plan) -> Vec<String> {
    let (wording, pieces) = (plan.survey.build.wording(), &plan.survey.pieces);
    let mut lost = Vec::new();
    for layout in &plan.layouts {
        let untold = sketch(layout, pieces, wording).untold;
        let pages = tiles(layout, pieces, &header(plan, layout));
        for (index, piece) in pieces.iter().enumerate().filter(|(index, _)| !untold.contains(index)) {
            let on = pages.iter().zip(&layout.tiles).filter(|(_, tile)| tile.pieces.contains(&index));
            let labels: Vec<&Label<Page>> = on.flat_map(|(page, _)| &page.labels).collect();
            let said = unbroken(&labels.iter().map(|label| label.text.as_str()).collect::<String>());
            let words = [piece.name.clone(), cut_words(piece, wording)].into_iter().chain(note_words(piece, wording));
            let of_piece = |words: &String| format!("{} of {}", words, piece.letter);
            lost.extend(words.filter(|words| !said.contains(&unbroken(words))).map(|words| of_piece(&words)));
            if !labels.iter().any(|label| label.bold && label.text == piece.letter) {
                lost.push(of_piece(&"the letter".to_owned()));
            }
        }
    }
    lost
}

#[test]
fn no_words_of_a_piece_are_lost() {
    for seed in 0..BUILDS {
        assert_eq!(lost(&planned(&build(seed), &Alone)), Vec::<String>::new(), "build {seed}");
    }
    for paper in ["A3", "A4", "A5"] {
        let text = LANTERN.replacen("use = [\"A3\"]", &format!("use = [\"{paper}\"]"), 1);
        assert_eq!(lost(&planned(&text, &Demo)), Vec::<String>::new(), "lantern on {paper}");
    }
}

/// Teeth so narrow, and so close, that the page has room for no words.
const COMB: &str = "\n[[piece]]\nname = \"comb\"\nfixed = true\nfoam = \"10 mm\"\noutline = \"M 0 0 V 255 H 180 ";

#[test]
fn words_without_room_stand_in_the_list_of_pieces() {
    let teeth: String =
        (0..22).map(|k| format!("V {} H {} ", 4, 180 - 4 - 8 * k) + &format!("V 250 H {} ", 180 - 8 - 8 * k)).collect();
    let text = format!(
        "[build]\nname = \"Comb\"\nlanguage = \"english\"\n[paper]\nuse = [\"A4\"]\n[cutting]\ntemplate = \"traced round\"\n\
         coats = \"0.3 mm\"\n{COMB}{teeth}V 0 Z\"\n"
    );
    let plan = planned(&text, &Alone);
    let (layout, pieces) = (&plan.layouts[0], &plan.survey.pieces);
    assert_eq!(sketch(layout, pieces, plan.survey.build.wording()).untold, [0]);
    let made = made::build(&text);
    let pdf = lopdf::Document::load(made.file("pattern-a4.pdf")).expect("a PDF");
    let list = unbroken(&pdf.extract_text(&[1, 2]).expect("text"));
    assert!(list.contains(&unbroken(&note_words(&pieces[0], plan.survey.build.wording())[0])), "{list}");
}
