//! Over many random builds: on no page does a word lie on a line, on a mark, or on another word.

use kurbo::{Affine, BezPath, Point, Rect, Shape as _, Vec2};
use spanwright::build_file::read;
use spanwright::chance::Dice;
use spanwright::drawing::{Drawing, Header, Label, tiles};
use spanwright::make::{Files, plan, survey};
use spanwright::space::Page;
use spanwright::text::{BOLD, REGULAR};

const BUILDS: u64 = 200;
/// A word may come so near, in mm: what hair lines are wide, and letters stand apart.
const TOUCH: f64 = 0.15;

/// The builds name no file.
struct Alone;

impl Files for Alone {
    fn read(&self, name: &str) -> std::io::Result<Vec<u8>> {
        Err(std::io::Error::other(format!("there is no {name}")))
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
        let build = read(&build(seed)).build.unwrap_or_else(|| panic!("build {seed} is sound"));
        let plan = plan(survey(build, Vec::new(), &Alone).expect("it names no file")).expect("it fits on paper");
        let wording = plan.survey.build.wording();
        for layout in &plan.layouts {
            let header = Header {
                build: plan.survey.build.name.clone(),
                set: "set 0000".to_owned(),
                wording,
                before: 2,
                pages: layout.tiles.len() + 2,
            };
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
