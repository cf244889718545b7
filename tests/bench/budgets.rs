//! Speed and memory of the program as ratios to something measured in the same run, beside its budgets.
//!
//! `cargo bench` prints a table and never fails for a slow machine; the word "over" marks what is over its budget.

#[path = "../scene/mod.rs"]
mod scene;

mod program;
mod table;

use std::fs;
use std::hint::black_box;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use image::ImageFormat;
use kurbo::{Affine, BezPath, Point, Rect, RoundedRect, Shape as _, Vec2};
use program::{Used, run};
use scene::{Camera, Scene, Shape, Shot, props};
use spanwright::build_file::read;
use spanwright::contour::Follower;
use spanwright::drawing::{Header, tiles};
use spanwright::make::{Files, plan, survey};
use spanwright::output::{Document, Sheetful, pdf};
use spanwright::paper::Layout;
use spanwright::picture::Picture;
use spanwright::shape::check;
use spanwright::sheets::{self, find};
use spanwright::size::{Sight, Spread, marks, measure};
use spanwright::space;
use table::Row;

const MIB: f64 = 1024.0 * 1024.0;
/// Times decoding the picture.
const TIME: f64 = 5.0;
/// Times the decoded picture, and MiB on top.
const MEMORY: (f64, f64) = (4.0, 64.0);
/// MiB.
const PAGE: f64 = 0.1;
/// How much more a page or segment may take when there are twice as many: quadratic growth gives 2, the clock jitters.
const GROWTH: f64 = 1.2;
/// The same for bytes, which do not jitter.
const GROWTH_BYTES: f64 = 1.02;
/// Times decoding the picture, for sheets to be found in it.
const FIND: f64 = 3.0;
/// Where the sheet lies beside the bar, mm.
const SHEET: [f64; 2] = [-300.0, 110.0];
/// Milliseconds for a reply to a pointer.
const REPLY: f64 = 50.0;
/// Runs of which the median is taken.
const RUNS: usize = 5;

const MAKE: [&str; 5] = ["make", "bench.toml", "--out", "made", "--quiet"];
const TRACE: [&str; 3] = ["trace", "bench.toml", "--quiet"];

fn main() {
    if let Some(arguments) = program::asked_between() {
        let told = program::between(&arguments);
        return std::io::stdout().write_all(told.as_bytes()).expect("the bench listens");
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    table::print_head();
    one_prop(folder.path(), [6000, 4000], Some(TIME));
    one_prop(folder.path(), [12_240, 8160], None);
    eight_pieces(folder.path());
    edge_following();
    sheet_finding();
    intervals();
    growth_in_pages(folder.path());
    growth_in_segments(folder.path());
    many_paths();
    self_crossing();
}

/// `trace` and `make` of about 40 pages from a photo of one prop.
fn one_prop(folder: &Path, size: [u32; 2], time: Option<f64>) {
    let px_per_mm = props::harbour::PX_PER_MM * f64::from(size[0]) / f64::from(props::harbour::SIZE[0]);
    let camera = Camera::frontal(size, px_per_mm, (0.0, 12.0));
    let (photo, inside) = photograph(&props::harbour_vane(), &camera, &[Point::new(60.0, 40.0)]);
    fs::write(folder.join("bench.jpg"), &photo).expect("the folder takes files");
    let build = from_photo(&inside);
    let megapixels = (f64::from(size[0]) * f64::from(size[1]) / 1e6).round();
    let decoded = f64::from(size[0]) * f64::from(size[1]) * 3.0 / MIB;
    for (name, arguments) in [("trace", &TRACE[..]), ("make", &MAKE[..])] {
        let (mut decoding, mut used) = (Vec::new(), Vec::new());
        for _ in 0..RUNS {
            decoding.push(decode(&photo));
            used.push(run_anew(folder, &build, arguments));
        }
        let pages = if name == "make" { format!(", {} pages", pages_made(folder)) } else { String::new() };
        let used = typical(&used);
        let what = format!("{name}, {megapixels} MP{pages}");
        let row = Row { what, measured: used.ms, reference: median(decoding), unit: "ms", budget: time };
        Row { what: format!("{}: time / decoding", row.what), ..row.clone() }.print();
        let budget = Some(MEMORY.0 + MEMORY.1 / decoded);
        let what = format!("{}: peak / decoded picture", row.what);
        Row { what, measured: used.mib, reference: decoded, unit: "MiB", budget }.print();
    }
}

/// Tracing eight pieces of one picture beside tracing one of them.
fn eight_pieces(folder: &Path) {
    let vane = props::harbour_vane().shape("harbour vane").clone();
    let steps: Vec<Vec2> = (0..8).map(|k| Vec2::new(480.0 * f64::from(k % 4), 320.0 * f64::from(k / 4))).collect();
    let moved = |step: &Vec2| {
        let place = Affine::translate(*step);
        let holes = vane.holes.iter().map(|hole| place * hole.clone()).collect();
        Shape { outline: place * vane.outline.clone(), holes, ..vane.clone() }
    };
    let scene = Scene { ground: props::harbour_vane().ground, shapes: steps.iter().map(moved).collect() };
    let camera = Camera::frontal([6000, 4000], 3.0, (720.0, 160.0));
    let places: Vec<Point> = steps.iter().map(|step| Point::new(60.0, 40.0) + *step).collect();
    let (photo, inside) = photograph(&scene, &camera, &places);
    fs::write(folder.join("bench.jpg"), &photo).expect("the folder takes files");
    let [one, eight] = [&inside[..1], &inside[..]].map(from_photo);
    let (mut alone, mut together) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        alone.push(run_anew(folder, &one, &TRACE));
        together.push(run_anew(folder, &eight, &TRACE));
    }
    let (alone, together) = (typical(&alone), typical(&together));
    let row = Row { what: String::new(), measured: together.ms, reference: alone.ms, unit: "ms", budget: None };
    Row { what: "trace, 24 MP, eight pieces: time / one piece".into(), ..row }.print();
    let (measured, reference) = (together.mib, alone.mib);
    let what = "trace, 24 MP, eight pieces: peak / one piece".into();
    Row { what, measured, reference, unit: "MiB", budget: None }.print();
}

/// Edges between places that a maker points at, from one tip of the vane to the others.
fn edge_following() {
    let size = [6000, 4000];
    let px_per_mm = props::harbour::PX_PER_MM * f64::from(size[0]) / f64::from(props::harbour::SIZE[0]);
    let (file, shot) = props::harbour_vane().photograph(&Camera::frontal(size, px_per_mm, (0.0, 12.0)));
    let picture = Picture::from_upright(shot.image.clone());
    let (mut decoding, mut ready) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        decoding.push(decode(&file));
        ready.push(ms(|| {
            black_box(Follower::new(&picture));
        }));
    }
    let row =
        Row { what: String::new(), measured: median(ready), reference: median(decoding), unit: "ms", budget: None };
    Row { what: "follow, 24 MP: getting ready / decoding".into(), ..row.clone() }.print();
    let follower = Follower::new(&picture);
    let tip = |x: f64, y: f64| space::Point::from(shot.to_pixel((x, y)));
    let replies: Vec<f64> = [(214.0, -150.0), (204.0, 118.0), (98.0, -58.0), (-190.0, 10.0)]
        .into_iter()
        .map(|(x, y)| {
            ms(|| {
                black_box(follower.along(tip(-220.0, 34.0), tip(x, y)));
            })
        })
        .collect();
    let slowest = replies.into_iter().fold(0.0, f64::max);
    let what = "follow, 24 MP: slowest reply / most allowed".into();
    Row { what, measured: slowest, reference: REPLY, budget: Some(1.0), ..row }.print();
}

/// A beacon bar with a sheet beside it, seen a little aslant: the photo, and where places in mm are on it.
fn bar_and_sheet(size: [u32; 2]) -> (Vec<u8>, Shot) {
    let px_per_mm = f64::from(size[0]) / 1900.0;
    let shape = |name, outline, colour| Shape { name, outline, holes: vec![], colour };
    let bar = RoundedRect::new(-700.0, -45.0, 700.0, 45.0, 45.0).to_path(1e-6);
    let sheet = Rect::new(SHEET[0], SHEET[1], SHEET[0] + 297.0, SHEET[1] + 210.0).to_path(1.0);
    let shapes = vec![shape("bar", bar, [128, 36, 32]), shape("sheet", sheet, [240, 239, 234])];
    let camera = Camera { tilt: [12.0, 9.0, 3.0], noise: 3.0, ..Camera::frontal(size, px_per_mm, (0.0, 0.0)) };
    Scene { ground: Some([122, 92, 66]), shapes }.photograph(&camera)
}

/// Looking for sheets in a photo, beside decoding it.
fn sheet_finding() {
    let (file, shot) = bar_and_sheet([4000, 3000]);
    let picture = Picture::from_upright(shot.image);
    let (mut decoding, mut finding) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        decoding.push(decode(&file));
        finding.push(ms(|| assert_eq!(black_box(find(&picture, None)).len(), 1, "the sheet is found")));
    }
    let what = "find, 12 MP: time / decoding".into();
    Row { what, measured: median(finding), reference: median(decoding), unit: "ms", budget: Some(FIND) }.print();
}

/// Intervals of twenty distances on a straightened photo, the sides of its sheet and the lens among what is unsure.
fn intervals() {
    let (_, shot) = bar_and_sheet([4000, 3000]);
    let at = |x: f64, y: f64| {
        let p = shot.to_pixel((x, y));
        format!("[{}, {}]", p.x, p.y)
    };
    let [x, y] = SHEET;
    let corners = [at(x, y), at(x + 297.0, y), at(x + 297.0, y + 210.0), at(x, y + 210.0)].join(", ");
    let measures: String = (0..20)
        .map(|i| {
            let x = -600.0 + 50.0 * f64::from(i);
            let (from, to) = (at(x, -40.0), at(x + 150.0, 40.0));
            format!("[[measure]]\nname = \"{i}\"\npicture = \"front\"\nfrom = {from}\nto = {to}\n")
        })
        .collect();
    let text = format!(
        "[build]\nname = \"bar\"\n[picture.front]\nfile = \"bar.jpg\"\n[picture.front.known_rectangle]\ncorners = [{corners}]\n\
         size = \"A4\"\n[finished]\npicture = \"front\"\nfrom = {}\nto = {}\n{measures}[[piece]]\nname = \"bar\"\n\
         picture = \"front\"\noutline = \"M 1 1 L 9 1 L 9 9 Z\"\n",
        at(-700.0, 0.0),
        at(700.0, 0.0)
    );
    let build = read(&text).build.expect("a build");
    let picture = Picture::from_upright(shot.image.clone());
    let corners = build.pictures[0].known_rectangle.as_ref().expect("given").corners.value;
    let sides = sheets::sides(&picture, None, corners, 6.0);
    let sight = Sight { size: picture.size().map(f64::from), sides: vec![sides], ..Sight::default() };
    let marks = marks(&build, &[sight]);
    let times = (0..RUNS).map(|_| {
        ms(|| {
            let spread = Spread::over(&marks).expect("solved");
            (0..20).for_each(|i| assert!(black_box(spread.of(&measure(i))).sd > 0.0, "an interval"));
        })
    });
    let what = "spread of 20 measures: time / most allowed".into();
    Row { what, measured: median(times.collect()), reference: REPLY, unit: "ms", budget: Some(1.0) }.print();
}

/// A longer and longer banner: what a page takes beside what it took at half as many pages.
fn growth_in_pages(folder: &Path) {
    let mut before: Option<[f64; 2]> = None;
    for pages in [10, 20, 40, 80] {
        let build = at_full_size(&banner(pages / 2 * 180 - 20));
        let used: Vec<Used> = (0..RUNS).map(|_| run_anew(folder, &build, &MAKE)).collect();
        let pages = pages_made(folder);
        let bytes = fs::metadata(folder.join("made/pattern-a4.pdf")).expect("made").len();
        let [time, bytes] = [typical(&used).ms, bytes as f64 / MIB].map(|all| all / pages as f64);
        let what = format!("make, {pages} pages: PDF a page / most allowed");
        Row { what, measured: bytes, reference: PAGE, unit: "MiB", budget: Some(1.0) }.print();
        if let Some([time_before, bytes_before]) = before {
            let what = format!("make, {pages} pages: time a page / at half as many");
            Row { what, measured: time, reference: time_before, unit: "ms", budget: Some(GROWTH) }.print();
            let what = format!("make, {pages} pages: PDF a page / at half as many");
            Row { what, measured: bytes, reference: bytes_before, unit: "MiB", budget: Some(GROWTH_BYTES) }.print();
        }
        before = Some([time, bytes]);
    }
}

/// One wheel drawn with more and more cubics: what a thousand take beside what they took at half as many.
fn growth_in_segments(folder: &Path) {
    let mut before: Option<f64> = None;
    for segments in [500, 1000, 2000, 4000, 8000] {
        let build = at_full_size(&wheel(segments).to_svg());
        let used: Vec<Used> = (0..RUNS).map(|_| run_anew(folder, &build, &MAKE)).collect();
        let time = typical(&used).ms * 1000.0 / f64::from(segments);
        if let Some(reference) = before {
            let what = format!("make, {segments} segments: time per 1000 / at half as many");
            Row { what, measured: time, reference, unit: "ms", budget: Some(GROWTH) }.print();
        }
        before = Some(time);
    }
}

/// A joined sheet of 200 wheels of 100 cubics on 2.4 × 1.2 m: drawing its pages and writing them, beside writing of each page
/// the cubics that meet it and nothing else.
fn many_paths() {
    let wheels = (0..200).map(|k| {
        let middle = Vec2::new(f64::from(k % 20) * 120.0, f64::from(k / 20) * 120.0);
        Affine::translate(middle) * Affine::scale(0.11) * wheel(100)
    });
    let all: BezPath = wheels.flatten().collect();
    let build = format!("{}[paper]\nuse = [\"A4\"]\n", at_full_size(&all.to_svg()));
    let reading = read(&build);
    let build = reading.build.expect("nothing is wrong with it");
    let survey = survey(build, Vec::new(), &Alone).expect("it names no file");
    let plan = plan(survey).unwrap_or_else(|problems| panic!("{problems:?}"));
    let (layout, pieces) = (&plan.layouts[0], &plan.survey.pieces);
    let wording = plan.survey.build.wording();
    let header = Header { build: String::new(), set: String::new(), wording, before: 0, pages: layout.tiles.len() };
    let ours = || {
        let pages = tiles(layout, pieces, &header).into_iter().zip(&layout.tiles);
        let page = |(drawing, tile): (_, &spanwright::paper::Tile)| Sheetful {
            size: layout.core.size,
            drawing,
            label: tile.name(),
            bookmark: tile.name(),
        };
        pdf(&Document { title: "wheels".into(), date: None, words: wording.words, pages: pages.map(page).collect() })
    };
    let sheet = &layout.sheets[0];
    let on_sheet = sheet.placed[0].to_sheet.path(&pieces[0].cut_path(), 1e-3);
    let segments: Vec<kurbo::CubicBez> = on_sheet.raw().segments().map(|segment| segment.to_cubic()).collect();
    let plainly = || culled(&segments, layout);
    let (mut times, mut plain_times) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        times.push(ms(|| assert!(ours().len() > 1000, "pages")));
        plain_times.push(ms(|| assert!(plainly().len() > 1000, "pages")));
    }
    let (measured, reference) = (median(times), median(plain_times));
    let what = format!("{} pages, 20 000 cubics: time / plain writing", layout.tiles.len());
    Row { what, measured, reference, unit: "ms", budget: Some(1.2) }.print();
    let size = |bytes: Vec<u8>| bytes.len() as f64 / MIB;
    let (measured, most) = (size(ours()), 500_000.0 / MIB);
    let what = "the same: PDF with its fonts / most allowed".into();
    Row { what, measured, reference: most, unit: "MiB", budget: Some(1.0) }.print();
    let what = "the same: PDF / by plain writing".into();
    Row { what, measured, reference: size(plainly()), unit: "MiB", budget: None }.print();
}

/// There are none.
struct Alone;

impl Files for Alone {
    fn read(&self, name: &str) -> std::io::Result<Vec<u8>> {
        Err(std::io::Error::other(format!("there is no {name}")))
    }
}

/// Of each page the cubics whose boxes meet it, in points, as `printpdf` writes them by itself.
#[expect(clippy::cast_possible_truncation, reason = "the border to printpdf, which counts in f32")]
fn culled(segments: &[kurbo::CubicBez], layout: &Layout) -> Vec<u8> {
    use printpdf::{Line, LinePoint, Mm, Op, PdfDocument, PdfPage, PdfSaveOptions};
    let mut document = PdfDocument::new("wheels");
    for tile in &layout.tiles {
        let point = |p: Point, bezier| {
            let (x, y) = ((p.x - tile.field.x0) as f32, (tile.field.y1 - p.y) as f32);
            LinePoint { p: printpdf::Point::new(Mm(x), Mm(y)), bezier }
        };
        let meets = |cubic: &&kurbo::CubicBez| {
            let bounds = Rect::from_points(cubic.p0, cubic.p3).union(Rect::from_points(cubic.p1, cubic.p2));
            bounds.overlaps(tile.field)
        };
        let draw = |cubic: &kurbo::CubicBez| {
            let points =
                vec![point(cubic.p0, false), point(cubic.p1, true), point(cubic.p2, true), point(cubic.p3, false)];
            Op::DrawLine { line: Line { points, is_closed: false } }
        };
        let size = layout.core.size;
        let operations = segments.iter().filter(meets).map(draw).collect();
        document.pages.push(PdfPage::new(Mm(size.width as f32), Mm(size.height as f32), operations));
    }
    document.save(&PdfSaveOptions::default(), &mut Vec::new())
}

/// Looking for self-crossings beside flattening the same path to a hundredth of a millimetre.
fn self_crossing() {
    let path = wheel(20_000);
    let typed = space::Path::<space::Pattern>::new(path.clone());
    let (mut checking, mut flattening) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        flattening.push(ms(|| {
            kurbo::flatten(&path, 0.01, |el| {
                black_box(el);
            });
        }));
        checking.push(ms(|| assert!(check(&typed).is_empty(), "the wheel does not cross itself")));
    }
    let (measured, reference) = (median(checking), median(flattening));
    let what = "self-crossing check, 20 000 cubics: time / flattening".into();
    Row { what, measured, reference, unit: "ms", budget: None }.print();
}

/// The file that `camera` writes, and where `places` lie in it.
fn photograph(scene: &Scene, camera: &Camera, places: &[Point]) -> (Vec<u8>, Vec<Point>) {
    let (file, shot) = scene.photograph(camera);
    (file, places.iter().map(|mm| shot.to_pixel(*mm)).collect())
}

/// A build with one piece for each inside point of `bench.jpg`.
fn from_photo(inside: &[Point]) -> String {
    let pieces = inside.iter().enumerate().map(|(k, Point { x, y })| {
        format!("[[piece]]\nname = \"vane {k}\"\npicture = \"board\"\ntrace = {{ inside = [[{x:?}, {y:?}]] }}\n")
    });
    let head = "[build]\nname = \"vanes\"\n[picture.board]\nfile = \"bench.jpg\"\n\
                [size]\nfrom = \"finished\"\nfinished = \"1.8 m\"\n";
    std::iter::once(head.to_owned()).chain(pieces).collect()
}

/// A build of one piece that no picture scales.
fn at_full_size(outline: &str) -> String {
    format!("[build]\nname = \"banner\"\n[[piece]]\nname = \"banner\"\nfixed = true\noutline = \"{outline}\"\n")
}

/// A banner of `length` mm, a multiple of 20, with scallops along both its sides: two pages high.
fn banner(length: u32) -> String {
    let there: String = (0..length / 20).map(|_| "c5 -10 15 -10 20 0").collect();
    let back: String = (0..length / 20).map(|_| "c-5 10 -15 10 -20 0").collect();
    format!("M0 10{there}V450{back}Z")
}

/// A wavy wheel of 0.93 m.
fn wheel(segments: u32) -> BezPath {
    let place = |k: u32| {
        let turn = f64::from(k % segments) / f64::from(segments) * std::f64::consts::TAU;
        (Vec2::from_angle(turn) * (450.0 + 15.0 * (40.0 * turn).sin())).to_point()
    };
    let mut path = BezPath::new();
    path.move_to(place(0));
    for (from, to) in (0..segments).map(|k| (place(k), place(k + 1))) {
        let bow = (to - from).turn_90() * 0.02;
        path.curve_to(from.lerp(to, 0.3) + bow, from.lerp(to, 0.7) + bow, to);
    }
    path.close_path();
    path
}

/// Runs the program on `build`, written anew because `trace` writes into it.
fn run_anew(folder: &Path, build: &str, arguments: &[&str]) -> Used {
    fs::write(folder.join("bench.toml"), build).expect("the folder takes files");
    run(folder, arguments)
}

/// Of the first document.
fn pages_made(folder: &Path) -> usize {
    let manifest = fs::read(folder.join("made/made.json")).expect("made");
    let manifest: serde_json::Value = serde_json::from_slice(&manifest).expect("JSON");
    manifest["documents"][0]["pages"].as_array().expect("a list of pages").len()
}

/// The library's bare decoding, nothing applied.
fn decode(photo: &[u8]) -> f64 {
    ms(|| {
        black_box(
            image::load_from_memory_with_format(photo, ImageFormat::Jpeg).expect("the camera writes whole files"),
        );
    })
}

fn ms(work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64() * 1e3
}

/// The medians of time and memory.
fn typical(runs: &[Used]) -> Used {
    Used { ms: median(runs.iter().map(|used| used.ms).collect()), mib: median(runs.iter().map(|u| u.mib).collect()) }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
