//! Offsets, booleans and layers, measured by Shapely and by OpenCV.

mod references;

use kurbo::{BezPath, Circle, Rect, Shape as _};
use serde_json::{Value, json};
use spanwright::build_file::Profile;
use spanwright::hardware::Foam;
use spanwright::layers::{Section, Stack, layered};
use spanwright::shape::Region;
use spanwright::space::{Path, Pattern};
use spanwright::units::Length;

fn region(path: &BezPath) -> Region<Pattern> {
    Region::of(&Path::new(path.clone()))
}

/// Loops of what the region becomes on paper, curves in short straight pieces.
fn drawn(region: &Region<Pattern>) -> Value {
    flat(&region.path())
}

fn flat(path: &Path<Pattern>) -> Value {
    let loops = path.flatten(0.005);
    json!(loops.iter().map(|line| line.iter().map(|p| [p.x, p.y]).collect::<Vec<_>>()).collect::<Vec<_>>())
}

fn path(d: &str) -> BezPath {
    BezPath::from_svg(d).expect("path data")
}

/// Vanes, rings and stars of an imaginary coast.
fn shapes() -> Vec<(&'static str, BezPath)> {
    let mut ring = Circle::new((60.0, 60.0), 55.0).to_path(1e-4);
    ring.extend(Circle::new((70.0, 60.0), 22.0).to_path(1e-4).reverse_subpaths());
    let star = (0..10).map(|k: u32| {
        let radius = if k.is_multiple_of(2) { 70.0 } else { 28.0 };
        let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / 10.0).sin_cos();
        format!("{}{} {}", if k == 0 { "M" } else { "L" }, 80.0 + radius * cos, 80.0 + radius * sin)
    });
    vec![
        ("vane", path("M0 300C20 180 60 140 75 -60C90 140 130 180 150 300L75 270Z")),
        ("ring", ring),
        ("star", path(&format!("{}Z", star.collect::<String>()))),
        ("bar", Rect::new(0.0, 0.0, 240.0, 50.0).to_path(0.1)),
    ]
}

#[test]
fn areas_narrowed_and_widened_are_those_of_an_independent_library() {
    let mut cases = Vec::new();
    let mut names = Vec::new();
    for (name, shape) in shapes() {
        for by in [-12.0, -4.0, -0.5, 0.5, 7.0] {
            let whole = region(&shape);
            let found = if by < 0.0 { whole.narrowed(-by) } else { whole.widened(by) };
            cases.push(
                json!({ "kind": "offset", "loops": flat(&Path::new(shape.clone())), "by": by, "found": drawn(&found) }),
            );
            names.push(format!("{name} by {by}"));
        }
    }
    let Some(answers) = references::python("layers.py", &json!(cases)) else { return };
    for (name, answer) in names.iter().zip(answers.as_array().expect("a list")) {
        let [area, apart, length] = ["area", "apart", "length"].map(|key| answer[key].as_f64().expect("a number"));
        assert!(area > 100.0, "{name}: {area}");
        // On average no farther than two hundredths of a millimetre from its edge.
        assert!(apart < 0.02 * length, "{name}: {apart} mm² along {length} mm");
    }
}

#[test]
fn areas_joined_and_cut_are_those_of_an_independent_library() {
    let shapes = shapes();
    let mut cases = Vec::new();
    let mut ours = Vec::new();
    for (k, (name, a)) in shapes.iter().enumerate() {
        for (other, b) in &shapes[k + 1..] {
            let (a, b) = (region(a), region(b));
            cases.push(json!({ "kind": "boolean", "a": drawn(&a), "b": drawn(&b) }));
            ours.push((format!("{name} and {other}"), [a.and(&b).area(), a.or(&b).area(), a.minus(&b).area()]));
        }
    }
    let Some(answers) = references::python("layers.py", &json!(cases)) else { return };
    for ((name, ours), answer) in ours.iter().zip(answers.as_array().expect("a list")) {
        for (ours, key) in ours.iter().zip(["and", "or", "minus"]) {
            let theirs = answer[key].as_f64().expect("a number");
            assert!((ours - theirs).abs() < 5e-4 * theirs.max(1000.0), "{name} {key}: {ours} and {theirs}");
        }
    }
}

#[test]
fn layers_lie_as_far_inside_as_an_independent_distance_says() {
    let mut cases = Vec::new();
    let mut names = Vec::new();
    for (name, shape) in shapes() {
        for (profile, edge) in [(Profile::Bevelled, 12.0), (Profile::Rounded, 15.0)] {
            let foams = [10.0, 6.0, 4.0].map(|mm| Foam::as_called(Length::mm(mm))).to_vec();
            let stack = Stack { foams, slotted: 0, groove: 0.0, deepest: 0.0 };
            let section = Section { profile, half: 20.0, land: 2.0, edge };
            let outline = Path::<Pattern>::new(shape.clone());
            let layers = layered(&outline, &section, &stack);
            for (layer, z) in layers.regions.iter().zip([0.0, 10.0, 16.0]).skip(1) {
                let by = section.inset(z, f64::INFINITY).expect("below the top");
                cases.push(json!({ "kind": "distance", "loops": flat(&outline), "by": by, "found": drawn(layer) }));
                names.push((format!("{name}, {profile:?} at {z}"), outline.raw().perimeter(0.1)));
            }
        }
    }
    let Some(answers) = references::python("layers.py", &json!(cases)) else { return };
    for ((name, around), answer) in names.iter().zip(answers.as_array().expect("a list")) {
        let [area, apart] = ["area", "apart"].map(|key| answer[key].as_f64().expect("a number"));
        assert!(area > 50.0, "{name}: {area}");
        // The raster is an eighth of a millimetre; narrow ends that cannot be glued are left out of layers.
        assert!(apart < 0.1 * around + 0.02 * area, "{name}: {apart} of {area} mm²");
    }
}
