//! Splines, traced cubics and SVG shapes, measured by Shapely.

mod references;

use kurbo::{BezPath, PathEl, PathSeg};
use serde_json::{Value, json};
use spanwright::shape::{Knot, Shape, closed_spline, from_svg};
use spanwright::space::{Path, Pattern, Point};

/// Lines and cubics of each loop, as the script takes them.
fn loops(path: &BezPath) -> Value {
    let mut loops: Vec<Vec<Value>> = Vec::new();
    for index in 0..path.elements().len() {
        if matches!(path.elements()[index], PathEl::MoveTo(_)) {
            loops.push(Vec::new());
        }
        let Some(segment) = path.get_seg(index) else { continue };
        let points = match segment {
            PathSeg::Line(line) => vec![line.p0, line.p1],
            curve => {
                let c = curve.to_cubic();
                vec![c.p0, c.p1, c.p2, c.p3]
            }
        };
        let points: Vec<[f64; 2]> = points.iter().map(|p| [p.x, p.y]).collect();
        loops.last_mut().expect("a path starts with a move").push(json!(points));
    }
    json!(loops)
}

fn svg(inside: &str) -> Shape<Pattern> {
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="600mm" viewBox="0 0 400 600">{inside}</svg>"#
    );
    from_svg(svg.as_bytes(), None).expect("the drawing is sound").shape
}

fn spline(points: &[(f64, f64)], corners: &[usize]) -> Shape<Pattern> {
    let knots: Vec<Knot<Pattern>> = points
        .iter()
        .enumerate()
        .map(|(k, &(x, y))| Knot { at: Point::new(x, y), corner: corners.contains(&k) })
        .collect();
    Shape::new(closed_spline(&knots).expect("the points are sound")).expect("the curve is sound")
}

fn outline(d: &str) -> Shape<Pattern> {
    Shape::new(Path::new(BezPath::from_svg(d).expect("path data"))).expect("the outline is sound")
}

/// A lantern's vane: straight foot, curved flanks, a point.
const VANE: [(f64, f64); 7] =
    [(0.0, 300.0), (40.0, 120.0), (20.0, 40.0), (75.0, -60.0), (130.0, 40.0), (110.0, 120.0), (150.0, 300.0)];

#[test]
fn areas_and_lengths_are_those_of_an_independent_library() {
    let shapes = [
        ("spline", spline(&VANE, &[])),
        ("spline with corners", spline(&VANE, &[0, 3, 6])),
        (
            "cubics with two holes",
            outline(
                "M0 0C90 -40 210 -40 300 0C340 90 340 210 300 300H0Z M40 40V90H90Z M150 150C200 100 250 150 200 200Z",
            ),
        ),
        ("island in a hole", outline("M0 0V90H90V0Z M10 10H80V80H10Z M20 20V70H70V20Z")),
        (
            "svg path",
            svg(r#"<path transform="rotate(20) scale(1.5)" d="M100 20Q200 10 180 90T90 160ZM120 40L150 40L130 80Z"/>"#),
        ),
        (
            "svg rounded frame",
            svg(r#"<rect x="9" y="9" width="300" height="200" rx="25"/><ellipse cx="150" cy="100" rx="90" ry="40"/>"#),
        ),
    ];
    let cases: Vec<Value> = shapes.iter().map(|(_, shape)| json!({ "loops": loops(shape.path().raw()) })).collect();
    let Some(answers) = references::python("measure.py", &json!(cases)) else { return };
    for ((name, shape), answer) in shapes.iter().zip(answers.as_array().expect("a list")) {
        let near = |ours: f64, theirs: &Value| {
            let theirs = theirs.as_f64().expect("a number");
            assert!((ours / theirs - 1.0).abs() < 5e-6, "{name}: {ours} is not {theirs}");
        };
        near(shape.area(), &answer["area"]);
        near(shape.perimeter(), &answer["length"]);
        assert_eq!(answer["valid"], true, "{name}");
    }
    // With y up, what runs clockwise on a screen runs anticlockwise.
    assert_eq!(answers[2]["ccw"], json!([true, false, false]));
    assert_eq!(answers[3]["ccw"], json!([true, false, true]));
}

#[test]
fn curves_lie_where_their_closed_form_says() {
    let ring = |n: u32| {
        let place = |k| (f64::from(k) / f64::from(n) * std::f64::consts::TAU).sin_cos();
        (0..n).map(place).map(|(sin, cos)| (300.0 + 200.0 * cos, 250.0 + 200.0 * sin)).collect::<Vec<_>>()
    };
    let circle = json!({ "circle": [300.0, 250.0, 200.0] });
    let corners = [(20.0, 10.0), (120.0, 10.0), (80.0, 70.0)];
    let matrix = [0.9, 0.3, -0.4, 1.2, 150.0, 40.0];
    let polygon = svg(&format!(
        r#"<g transform="translate(150 40)"><polygon transform="matrix(0.9 0.3 -0.4 1.2 0 0)" points="{}"/></g>"#,
        corners.map(|(x, y)| format!("{x},{y}")).join(" ")
    ));
    // On a radius of 200, cubics over a quarter turn bulge 0.0273 %, those over an eighth 0.00042 %.
    let cases = [
        ("spline through 4 points of a circle", spline(&ring(4), &[]), circle.clone(), 0.0545),
        ("spline through 8 points of a circle", spline(&ring(8), &[]), circle.clone(), 0.00085),
        ("svg circle", svg(r#"<circle cx="300" cy="250" r="200"/>"#), circle, 0.0545),
        ("svg polygon, twice transformed", polygon, json!({ "polygon": corners, "matrix": matrix }), 0.0),
    ];
    let input: Vec<Value> = cases
        .iter()
        .map(|(_, shape, against, _)| json!({ "loops": loops(shape.path().raw()), "against": against }))
        .collect();
    let Some(answers) = references::python("measure.py", &json!(input)) else { return };
    for ((name, _, _, allowed), answer) in cases.iter().zip(answers.as_array().expect("a list")) {
        let away = answer["hausdorff"].as_f64().expect("a number");
        // Single precision in the SVG reader, and the chords of the reference, allow for 0.1 µm and 0.3 µm.
        assert!(away <= allowed + 0.0005, "{name}: {away} mm away, allowed {allowed}");
    }
}

/// Random splines: some cross themselves and some do not, and both sides must say the same.
#[test]
fn crossings_are_found_exactly_where_an_independent_library_finds_them() {
    // Any fixed numbers do: the multiplier of D. H. Lehmer's generator as S. K. Park and K. W. Miller give it,
    // "Random number generators: good ones are hard to find", Communications of the ACM 31, 1988.
    let mut seed: u64 = 20_260_501;
    let mut random = || {
        seed = seed * 16_807 % 2_147_483_647;
        1000.0 * f64::from(u32::try_from(seed).expect("below 2^31")) / 2_147_483_647.0
    };
    let curves: Vec<Path<Pattern>> = (0..150)
        .map(|k| {
            let knot = |i| Knot { at: Point::new(random(), random()), corner: (i + k) % 4 == 0 };
            closed_spline(&(0..3 + k % 5).map(knot).collect::<Vec<_>>()).expect("random points differ")
        })
        .collect();
    let cases: Vec<Value> = curves.iter().map(|path| json!({ "loops": loops(path.raw()) })).collect();
    let Some(answers) = references::python("measure.py", &json!(cases)) else { return };
    let ours: Vec<bool> = curves.into_iter().map(|path| Shape::new(path).is_ok()).collect();
    let theirs: Vec<bool> = answers.as_array().expect("a list").iter().map(|answer| answer["valid"] == true).collect();
    assert_eq!(ours, theirs);
    let sound = ours.iter().filter(|sound| **sound).count();
    assert!((30..120).contains(&sound), "{sound} of 150 are sound: both kinds must be among them");
}
