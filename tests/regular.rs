//! Pieces are made regular at full size, in the straightened picture, through the whole program.

mod scene;

use std::fs;
use std::process::Output;

use kurbo::{Affine, BezPath, Shape as _};
use scene::compare::deviation;
use scene::{Camera, Shape, Shot, props};
use serde_json::Value;
use tempfile::TempDir;

const PX_PER_MM: f64 = 3.0;

/// The lantern ring, with a pinhole of 2 mm in it, photographed aslant.
fn photo() -> (Vec<u8>, Shot) {
    let mut ring = props::signal_staff().shape("lantern ring").clone();
    let middle = ring.outline.bounding_box().center();
    ring.holes.push(kurbo::Circle::new(middle + kurbo::Vec2::new(76.5, 0.0), 1.0).to_path(1e-4));
    let scene = scene::Scene { ground: Some([214, 206, 188]), shapes: vec![ring] };
    let camera = Camera { tilt: [18.0, -12.0, 4.0], quality: 95, ..Camera::frontal([1100, 1040], PX_PER_MM, middle) };
    scene.photograph(&camera)
}

/// A folder with the photo and a build file of the ring, which says `piece` of it and `trace` of its tracing.
fn build(piece: &str, trace: &str) -> (TempDir, Shape) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (file, shot) = photo();
    fs::write(folder.path().join("ring.jpg"), file).expect("written");
    let ring = props::signal_staff().shape("lantern ring").clone();
    let middle = ring.outline.bounding_box().center();
    // Where a sheet lying around the ring would have its corners.
    let sheet = [(-105.0, -148.5), (105.0, -148.5), (105.0, 148.5), (-105.0, 148.5)]
        .map(|(x, y)| shot.to_pixel(middle + kurbo::Vec2::new(x, y)))
        .map(|p| [p.x, p.y]);
    let inside = shot.to_pixel(middle + kurbo::Vec2::new(0.0, 87.0));
    let text = format!(
        "[build]\nname = \"Ring\"\n[picture.front]\nfile = \"ring.jpg\"\n[picture.front.known_rectangle]\n\
         corners = {sheet:?}\nsize = \"A4\"\n[size]\nfrom = \"as pictured\"\n[[piece]]\nname = \"ring\"\n\
         picture = \"front\"\ntrace = {{ inside = [{}, {}]{trace} }}\n{piece}\n",
        inside.x, inside.y
    );
    fs::write(folder.path().join("ring.toml"), text).expect("written");
    (folder, ring)
}

fn run(folder: &TempDir, command: &str) -> Output {
    let mut program = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spanwright"));
    program.arg(command).arg(folder.path().join("ring.toml")).arg("--json").assert().code(0).get_output().clone()
}

/// What `check` says of the only piece.
fn checked(folder: &TempDir) -> Value {
    let manifest: Value = serde_json::from_slice(&run(folder, "check").stdout).expect("JSON");
    manifest["pieces"][0].clone()
}

fn path(piece: &Value) -> BezPath {
    BezPath::from_svg(piece["path"].as_str().expect("path data")).expect("path data")
}

/// How far `turned` lies from the path, in mm.
fn apart(turned: &BezPath, path: &BezPath) -> f64 {
    deviation(turned, path).worst
}

#[test]
fn a_ring_photographed_aslant_is_round_again_and_comes_again_eight_times() {
    let (folder, _) = build("symmetric = true\nrepeats = 8", ", ignore_below = \"4 mm\"");
    let piece = checked(&folder);
    let mut radii: Vec<f64> =
        piece["arcs"].as_array().expect("a list").iter().map(|a| a["radius_mm"].as_f64().expect("mm")).collect();
    radii.sort_by(f64::total_cmp);
    let truth = [7.5; 8].into_iter().chain([58.0, 95.0]);
    assert_eq!(radii.len(), 10, "{radii:?}");
    for (radius, truth) in radii.iter().zip(truth) {
        // A tenth of a pixel, and what four clicked corners to three decimals leave: nothing.
        assert!((radius - truth).abs() < 0.1 / PX_PER_MM, "{radius} is not {truth}");
    }
    let outline = path(&piece);
    let number = |value: &Value| value.as_f64().expect("a number");
    let symmetry = &piece["symmetry"];
    let centre = kurbo::Point::new(number(&symmetry["at_mm"][0]), number(&symmetry["at_mm"][1]));
    let turn = Affine::rotate_about(std::f64::consts::TAU / 8.0, centre);
    let axis = kurbo::Vec2::from_angle(number(&symmetry["axis_degrees"]).to_radians());
    for moved in [turn * outline.clone(), (Affine::reflect(centre, axis) * outline.clone()).reverse_subpaths()] {
        // Paths are written to a thousandth of a millimetre, and flattened to that for this comparison.
        assert!(apart(&moved, &outline) < 0.005, "{}", apart(&moved, &outline));
    }
    assert!(number(&symmetry["rms_mm"]) < 0.1 / PX_PER_MM && number(&symmetry["rms_mm"]) > 0.0);
}

#[test]
fn what_is_smaller_than_asked_for_is_left_out_by_check_and_by_trace() {
    let loops = |path: &BezPath| path.elements().iter().filter(|el| matches!(el, kurbo::PathEl::MoveTo(_))).count();
    // Outer edge, inner edge, eight lamps, and the pinhole.
    for (trace, left) in [("", 11), (", ignore_below = \"1.5 mm\"", 11), (", ignore_below = \"4 mm\"", 10)] {
        let (folder, _) = build("", trace);
        assert_eq!(loops(&path(&checked(&folder))), left, "check with {trace}");
        let told: Value = serde_json::from_slice(&run(&folder, "trace").stdout).expect("JSON");
        assert_eq!(told["pieces"][0]["openings"], left - 1, "{told}");
        let text = fs::read_to_string(folder.path().join("ring.toml")).expect("still there");
        let written: toml::Table = text.parse().expect("TOML");
        let outline = written["piece"][0]["outline"].as_str().expect("traced").to_owned();
        assert_eq!(loops(&BezPath::from_svg(&outline).expect("path data")), left, "trace with {trace}");
        let dropped = told["problems"].as_array().expect("a list").iter().any(|p| p["code"] == "left_out_below");
        assert_eq!(dropped, left == 10, "{told}");
    }
}

#[test]
fn a_trace_of_which_everything_is_below_what_is_asked_for_is_refused() {
    let (folder, _) = build("", ", ignore_below = \"100 mm\"");
    let file = folder.path().join("ring.toml");
    let text = fs::read_to_string(&file).expect("just written").replace("\"A4\"", "\"A6\"");
    fs::write(&file, &text).expect("written");
    for command in ["check", "trace"] {
        let mut program = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spanwright"));
        let run = program.arg(command).arg(&file).assert().code(1);
        let told = String::from_utf8(run.get_output().stderr.clone()).expect("text");
        assert!(told.contains("shorter than the 100 mm of ignore_below: the largest is 9"), "{command}: {told}");
        assert_eq!(fs::read_to_string(&file).expect("still there"), text, "{command}");
    }
}

#[test]
fn an_outline_within_a_coarser_length_has_fewer_nodes_and_keeps_to_it() {
    let traced = |within: &str| {
        let (folder, _) = build("", within);
        let told: Value = serde_json::from_slice(&run(&folder, "trace").stdout).expect("JSON");
        let text = fs::read_to_string(folder.path().join("ring.toml")).expect("still there");
        let outline = text.lines().find_map(|line| line.strip_prefix("outline = ")).expect("traced").trim_matches('"');
        (told["pieces"][0]["nodes"].as_u64().expect("a count"), BezPath::from_svg(outline).expect("path data"))
    };
    let ((fine, usual), (coarse, loose)) = (traced(""), traced(", within = \"0.4 mm\""));
    assert!(coarse < fine, "{coarse} of {fine} nodes");
    // Of the two, each keeps its own distance from the edge; pixels near the camera are the smallest in mm.
    let off = deviation(&loose, &usual).worst / (0.75 * PX_PER_MM);
    assert!(off < 0.4 + 0.1 / PX_PER_MM && off > 0.02, "{off} mm");
}

/// Codes and places of what `check` tells of a plate at full size, 120 by 80 mm, of which the build file says `more`.
fn told_of_plate(outline: &str, more: &str) -> Vec<(String, String)> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let text = format!(
        "[build]\nname = \"Plate\"\n[[piece]]\nname = \"plate\"\nfixed = true\noutline = \"{outline}\"\n{more}\n"
    );
    fs::write(folder.path().join("ring.toml"), text).expect("written");
    let manifest: Value = serde_json::from_slice(&run(&folder, "check").stdout).expect("JSON");
    let word = |problem: &Value, key: &str| problem[key].as_str().expect("a text").to_owned();
    let problems = manifest["problems"].as_array().expect("a list");
    problems.iter().map(|problem| (word(problem, "code"), word(problem, "where"))).collect()
}

#[test]
fn what_is_made_alike_and_is_not_is_told_at_its_key() {
    let plate = "M0 0H120V80H0Z";
    let hole = |x: u32| format!("[[piece.hole]]\nat = [{x}, 40]\ndiameter = \"8 mm\"\n");
    let told = |outline: &str, more: &str, code: &str| -> Vec<String> {
        let all = told_of_plate(outline, more);
        all.into_iter().filter(|(found, _)| found == code).map(|(_, place)| place).collect()
    };
    let alone = format!("symmetric = true\n{}", hole(30));
    assert_eq!(told(plate, &alone, "hole_alone"), ["ring.toml:9:6"]);
    let both = format!("symmetric = true\n{}{}", hole(30), hole(90));
    assert!(told(plate, &both, "hole_alone").is_empty());
    assert!(told(plate, &both, "halves_unlike").is_empty());
    let slanted = "M0 0L120 30V80H0Z";
    assert_eq!(told(slanted, "symmetric = \"left\"\naxis = [[60, 0], [60, 80]]", "halves_unlike"), ["ring.toml:7:13"]);
    assert_eq!(told(plate, "repeats = 4", "halves_unlike"), ["ring.toml:7:11"]);
}
