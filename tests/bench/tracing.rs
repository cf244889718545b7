//! Tracing beside general-purpose libraries, on photos whose truth is known.
//!
//! `cargo bench --bench tracing` prints two tables, of plain grounds and of busy ones with loose loops; without the libraries of `tests/references/requirements.txt` only our
//! rows. Never fails for a slow machine.

#[path = "../references/mod.rs"]
mod references;
#[path = "../scene/mod.rs"]
mod scene;

use std::io::Write as _;
use std::time::Instant;

use kurbo::{BezPath, Point, Shape as _};
use scene::compare::{Deviation, deviation, ring};
use scene::{Camera, Shot, props, spotted};
use serde_json::{Value, json};
use spanwright::contour::Tracer;
use spanwright::picture::Picture;

/// The median of so many; more would add time to the largest and nothing else.
const RUNS: usize = 9;
const SIZES: [[u32; 2]; 3] = [[1224, 816], [3000, 2000], [6000, 4000]];
/// Levels of 255.
const NOISE: f64 = 4.0;

fn main() {
    plain_grounds();
    busy_grounds();
}

/// Each busy scene with its loop, beside grabCut with the same; and one as large as a camera's picture.
fn busy_grounds() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut ours = Vec::new();
    let cases: Vec<Value> = spotted::scenes()
        .enumerate()
        .map(|(k, scene)| {
            let path = folder.path().join(format!("{k}.jpg"));
            std::fs::write(&path, &scene.file).expect("the folder takes files");
            let (ms, outline) = in_loop(&scene);
            let around: Vec<[f64; 2]> = scene.around.iter().map(|p| [p.x, p.y]).collect();
            ours.push((ms, deviation(&outline, &scene.truth).rms));
            json!({ "picture": path, "around": around, "truth": ring(&scene.truth), "ours": ring(&outline) })
        })
        .collect();
    let answers = references::python("regions.py", &json!(cases));
    let answers: &[Value] = answers.as_ref().map_or(&[], |all| all.as_array().expect("a list"));
    let of = |who: &str, what: &str| -> Vec<f64> {
        answers.iter().map(|answer| answer[who][what].as_f64().expect("a number")).collect()
    };
    let row = |name: &str, ms: Vec<f64>, iou: Vec<f64>, rms: Vec<f64>| {
        let good = rms.iter().filter(|rms| **rms <= 0.5).count();
        let least = iou.iter().copied().fold(1.0, f64::min);
        let [ms, rms] = [ms, rms].map(median);
        let line = format!("{name:<28} {ms:>8.1} {least:>9.3} {rms:>7.2} {good:>4} of {}", ours.len());
        writeln!(std::io::stdout().lock(), "{line}").expect("standard output can be written");
    };
    let line =
        format!("\n{:<28} {:>8} {:>9} {:>7} {:>10}", "busy grounds, loops", "ms", "least IoU", "rms px", "in 0.5 px");
    writeln!(std::io::stdout().lock(), "{line}").expect("standard output can be written");
    if !answers.is_empty() {
        row("OpenCV grabCut", of("grabcut", "ms"), of("grabcut", "iou"), of("grabcut", "rms"));
    }
    let (ms, rms) = ours.iter().copied().unzip();
    row("spanwright", ms, of("ours", "iou"), rms);
    let (ms, outline) = in_loop(&spotted::large());
    let truth = spotted::large().truth;
    let line = format!("spanwright, 24 MP {ms:>20.1} {:>17.2}", deviation(&outline, &truth).rms);
    writeln!(std::io::stdout().lock(), "{line}").expect("standard output can be written");
}

/// The shape in the loop of a scene, and how long it took.
fn in_loop(scene: &spotted::Spotted) -> (f64, BezPath) {
    let picture = Picture::from_upright(scene.shot.image.clone());
    let start = Instant::now();
    let traced = Tracer::new(&picture, None).trace(&scene.trace()).expect("there is a shape");
    (start.elapsed().as_secs_f64() * 1e3, traced.outline.raw().clone())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn plain_grounds() {
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
        let nodes = traced.iter().map(|t| t.nodes as u64).sum();
        let loops: Vec<BezPath> = traced.iter().map(|t| t.outline.raw().clone()).collect();
        print_row(shot, "spanwright", median(ms), nodes, &loops);
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

/// Over all tokens: root of the mean square, the worst distance, and the mean signed one.
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
    let worst = off.iter().map(|d| d.worst).fold(0.0, f64::max);
    let bias = off.iter().map(|d| d.bias).sum::<f64>() / off.len() as f64;
    let megapixels = f64::from(shot.image.width()) * f64::from(shot.image.height()) / 1e6;
    print_line([
        format!("{megapixels:.0}"),
        name.to_owned(),
        format!("{ms:.1}"),
        format!("{rms:.3}"),
        format!("{worst:.2}"),
        format!("{bias:+.3}"),
        nodes.to_string(),
    ]);
}

fn print_line([megapixels, by, ms, rms, worst, bias, nodes]: [String; 7]) {
    let line = format!("{megapixels:>3} {by:<28} {ms:>8} {rms:>7} {worst:>9} {bias:>8} {nodes:>7}");
    writeln!(std::io::stdout().lock(), "{line}").expect("standard output can be written");
}
