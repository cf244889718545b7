//! Tracing beside general-purpose libraries, on photos whose truth is known.
//!
//! `cargo bench --bench tracing` prints a table; without the libraries of `tests/references/requirements.txt` only our
//! rows. Never fails for a slow machine.

#[path = "../references/mod.rs"]
mod references;
#[path = "../scene/mod.rs"]
mod scene;

use std::io::Write as _;
use std::time::Instant;

use kurbo::{BezPath, Point, Shape as _};
use scene::compare::{Deviation, deviation};
use scene::{Camera, Shot, props};
use serde_json::{Value, json};
use spanwright::contour::Tracer;
use spanwright::picture::Picture;

/// The median of so many; more would add time to the largest and nothing else.
const RUNS: usize = 9;
const SIZES: [[u32; 2]; 3] = [[1224, 816], [3000, 2000], [6000, 4000]];
/// Levels of 255.
const NOISE: f64 = 4.0;

fn main() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let photos: Vec<(String, Shot)> = SIZES
        .iter()
        .map(|&size| {
            let (file, shot) = props::token_rack().photograph(&camera(size));
            let path = folder.path().join(format!("{}.jpg", size[0]));
            std::fs::write(&path, file).expect("the folder takes files");
            (path.display().to_string(), shot)
        })
        .collect();
    let pictures: Vec<&str> = photos.iter().map(|(path, _)| path.as_str()).collect();
    let theirs = references::python("tracing.py", &json!({ "pictures": pictures, "runs": RUNS }));
    print_line(["MP", "traced by", "ms", "rms px", "worst px", "bias px", "nodes"].map(String::from));
    for (i, (_, shot)) in photos.iter().enumerate() {
        for answer in theirs.iter().flat_map(|all| all[i].as_array().expect("a list of methods")) {
            let loops: Vec<BezPath> = answer["loops"].as_array().expect("loops").iter().map(polygon).collect();
            let name = answer["name"].as_str().expect("a name");
            let (ms, nodes) = (answer["ms"].as_f64(), answer["nodes"].as_u64());
            print_row(shot, name, ms.expect("a time"), nodes.expect("a count"), &loops);
        }
        let picture = Picture::from_upright(shot.image.clone());
        let mut ms = Vec::new();
        let mut traced = Vec::new();
        for _ in 0..RUNS {
            let start = Instant::now();
            traced = Tracer::new(&picture, None).islands().expect("the ground is plain");
            ms.push(start.elapsed().as_secs_f64() * 1e3);
        }
        ms.sort_by(f64::total_cmp);
        let nodes = traced.iter().map(|t| t.nodes as u64).sum();
        let loops: Vec<BezPath> = traced.iter().map(|t| t.outline.raw().clone()).collect();
        print_row(shot, "spanwright", ms[RUNS / 2], nodes, &loops);
    }
}

/// Square on, so that all of [`props::TOKENS_SIZE`] is seen.
fn camera(size: [u32; 2]) -> Camera {
    let (width, height) = props::TOKENS_SIZE;
    Camera { noise: NOISE, ..Camera::frontal(size, f64::from(size[0]) / width, (width / 2.0, height / 2.0)) }
}

fn polygon(points: &Value) -> BezPath {
    let mut path = BezPath::new();
    for point in points.as_array().expect("points") {
        let at = Point::new(point[0].as_f64().expect("x"), point[1].as_f64().expect("y"));
        if path.elements().is_empty() { path.move_to(at) } else { path.line_to(at) }
    }
    path.close_path();
    path
}

/// The worst of all tokens, but the root of the mean square over all.
fn print_row(shot: &Shot, name: &str, ms: f64, nodes: u64, loops: &[BezPath]) {
    let off: Vec<Deviation> = props::token_rack()
        .shapes
        .iter()
        .map(|shape| {
            let truth = shot.truth_path(shape.name);
            let middle = |path: &BezPath| path.bounding_box().center();
            let near = |path: &&BezPath| middle(path).distance(middle(&truth));
            let own = loops.iter().min_by(|a, b| near(a).total_cmp(&near(b))).expect("something was traced");
            deviation(own, &truth)
        })
        .collect();
    let rms = (off.iter().map(|d| d.rms * d.rms).sum::<f64>() / off.len() as f64).sqrt();
    let most =
        |of: fn(&Deviation) -> f64| off.iter().map(of).fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a });
    let megapixels = f64::from(shot.image.width()) * f64::from(shot.image.height()) / 1e6;
    print_line([
        format!("{megapixels:.0}"),
        name.to_owned(),
        format!("{ms:.1}"),
        format!("{rms:.3}"),
        format!("{:.2}", most(|d| d.worst)),
        format!("{:+.3}", most(|d| d.bias)),
        nodes.to_string(),
    ]);
}

fn print_line([megapixels, by, ms, rms, worst, bias, nodes]: [String; 7]) {
    let line = format!("{megapixels:>3} {by:<28} {ms:>8} {rms:>7} {worst:>9} {bias:>8} {nodes:>7}");
    writeln!(std::io::stdout().lock(), "{line}").expect("standard output can be written");
}
