//! How many pages builds take, beside the least that any layout takes: small pieces by the dozen, a staff, a shield, a disc.

use std::io::Write as _;
use std::time::Instant;

use kurbo::{Affine, BezPath, Circle, Point, Rect, Shape as _, Vec2};
use spanwright::build_file::read;
use spanwright::chance::Dice;
use spanwright::make::{Files, plan, survey};

/// Times the least number of pages; one page more than the least is allowed small pieces, as there are only whole ones; two where
/// round sides leave gaps that the least number does not know of.
const MOST: f64 = 1.15;
/// Seconds for a layout: several times what the longest takes on two cores, so that a machine that does other things does not fail.
const LONGEST: f64 = 12.0;

const PAPERS: [&str; 6] = ["\"A4\"", "\"Letter\"", "\"A4\", \"Letter\"", "\"A3\"", "\"A0\"", "\"914 mm roll\""];

/// The builds name no file.
struct Alone;

impl Files for Alone {
    fn read(&self, name: &str) -> std::io::Result<Vec<u8>> {
        Err(std::io::Error::other(format!("there is no {name}")))
    }
}

/// Pages, least pages and seconds of a build of these outlines.
fn laid_out(outlines: &[BezPath], papers: &str) -> (usize, usize, f64) {
    let mut text = format!("[build]\nname = \"Lamps\"\n\n[paper]\nuse = [{papers}]\n");
    for (k, outline) in outlines.iter().enumerate() {
        text.push_str(&format!("\n[[piece]]\nname = \"lamp {k}\"\nfixed = true\noutline = \"{}\"\n", outline.to_svg()));
    }
    let build = read(&text).build.expect("a build");
    let survey = survey(build, Vec::new(), &Alone).expect("it names no file");
    let begun = Instant::now();
    let plan = plan(survey).expect("it goes on paper");
    let seconds = begun.elapsed().as_secs_f64();
    (plan.layouts[0].tiles.len(), plan.layouts[0].least_pages, seconds)
}

/// Forty of what `one` draws at a size and by chance.
fn forty(seed: u64, one: impl Fn(Vec2, &mut Dice) -> BezPath) -> Vec<BezPath> {
    let mut dice = Dice(seed);
    let mut size = || 25.0 + 80.0 * dice.uniform();
    let sizes: Vec<Vec2> = (0..40).map(|_| Vec2::new(size(), size())).collect();
    sizes.into_iter().map(|size| one(size, &mut dice)).collect()
}

fn polygon(points: impl IntoIterator<Item = Point>) -> BezPath {
    let mut path = BezPath::new();
    for p in points {
        if path.elements().is_empty() { path.move_to(p) } else { path.line_to(p) }
    }
    path.close_path();
    path
}

fn box_of(size: Vec2) -> BezPath {
    Rect::from_origin_size((0.0, 0.0), size.to_size()).to_path(0.1)
}

fn triangle(size: Vec2, dice: &mut Dice) -> BezPath {
    polygon([(0.0, size.y), (size.x, size.y), (size.x * dice.uniform(), 0.0)].map(Point::from))
}

fn blob(size: Vec2, dice: &mut Dice) -> BezPath {
    let (waves, depth) = ((2.0 + 4.0 * dice.uniform()).floor(), 0.25 * dice.uniform());
    let turn = std::f64::consts::TAU / 60.0;
    polygon((0..60).map(|k| {
        let way = f64::from(k) * turn;
        let at = Vec2::from_angle(way) * (1.0 + depth * (waves * way).sin()) / 2.0;
        Point::new(at.x * size.x, at.y * size.y)
    }))
}

fn vane(size: Vec2, _: &mut Dice) -> BezPath {
    let [w, h] = [size.x, size.y];
    polygon([(0.0, 0.0), (w, 0.0), (w, h * 0.3), (w * 0.35, h * 0.3), (w * 0.35, h), (0.0, h)].map(Point::from))
}

fn disc(size: Vec2, _: &mut Dice) -> BezPath {
    Circle::new((0.0, 0.0), size.x / 2.0).to_path(0.01)
}

fn aslant(outlines: Vec<BezPath>) -> Vec<BezPath> {
    let turn = |(k, path)| Affine::rotate(f64::from(k)) * path;
    (0..).zip(outlines).map(turn).collect()
}

fn shield() -> BezPath {
    BezPath::from_svg("M0 0H2000V600C2000 1250 1500 1700 1000 2000C500 1700 0 1250 0 600Z").expect("path data")
}

fn builds() -> Vec<(&'static str, Vec<BezPath>)> {
    let mixed = |k: usize| {
        let all =
            [forty(11, |size, _| box_of(size)), forty(12, triangle), forty(13, blob), forty(14, vane), forty(15, disc)];
        all[k % 5][k].clone()
    };
    vec![
        ("40 boxes", forty(1, |size, _| box_of(size))),
        ("40 other boxes", forty(2, |size, _| box_of(size))),
        ("40 boxes aslant", aslant(forty(3, |size, _| box_of(size)))),
        ("40 triangles", forty(4, triangle)),
        ("40 blobs", forty(5, blob)),
        ("40 vanes", forty(6, vane)),
        ("40 discs", forty(7, disc)),
        ("40 of all kinds", (0..40).map(mixed).collect()),
        ("a staff of 3 m", vec![box_of(Vec2::new(3000.0, 70.0))]),
        ("a staff of 3 m aslant", vec![Affine::rotate(1.0) * box_of(Vec2::new(3000.0, 50.0))]),
        ("a shield of 2 m", vec![shield()]),
        ("a square of 2 m", vec![box_of(Vec2::new(2000.0, 2000.0))]),
        ("a disc of 2 m", vec![Circle::new((0.0, 0.0), 1000.0).to_path(0.01)]),
    ]
}

#[test]
fn builds_take_few_pages() {
    let mut over = Vec::new();
    for (name, outlines) in builds() {
        for papers in PAPERS {
            let (pages, least, seconds) = laid_out(&outlines, papers);
            let ratio = pages as f64 / least as f64;
            let row = format!("{name:24} {papers:16} {pages:3} {least:3} {ratio:6.3} {:6.0} ms", seconds * 1e3);
            let more = if ["40 blobs", "40 discs"].contains(&name) {
                2.0
            } else {
                f64::from(u8::from(name.starts_with("40")))
            };
            let most = (MOST * least as f64).max(least as f64 + more);
            let over_most = if ratio > MOST { "  over" } else { "" };
            writeln!(std::io::stdout(), "{row}{over_most}").expect("the test harness listens");
            if seconds > LONGEST || pages as f64 > most {
                over.push(row);
            }
        }
    }
    assert!(over.is_empty(), "{over:#?}");
}
