//! What is traced lies where the scene maker's closed form says.

mod scene;

use scene::compare::deviation;
use scene::props::{self, harbour_camera, harbour_vane};
use scene::{Camera, Shot};
use spanwright::build_file::{Light, Trace};
use spanwright::contour::Tracer;
use spanwright::picture::Picture;
use spanwright::space::Point;

/// Traces each named shape from a point inside it and holds the outline against the truth, in pixels; in `light`, which
/// has to be found.
#[track_caller]
fn assert_true(what: &str, shot: &Shot, places: &[(&str, (f64, f64))], light: Light, [worst, bias]: [f64; 2]) {
    let picture = Picture::from_upright(shot.image.clone());
    let tracer = Tracer::new(&picture, None);
    for (name, inside) in places {
        let inside = shot.to_pixel(*inside);
        let wanted = Trace { inside: vec![vec![Point::new(inside.x, inside.y)]], ..Trace::default() };
        let traced = tracer.trace(&wanted).unwrap_or_else(|problem| panic!("{what}, {name}: {problem:?}"));
        let off = deviation(traced.outline.raw(), &shot.truth_path(name));
        assert_eq!(traced.light, light, "{what}, {name}");
        assert!(off.rms <= 0.15 && off.worst <= worst && off.bias.abs() <= bias, "{what}, {name}: {off:?}");
        assert!(traced.nodes <= 50, "{what}, {name}: {} nodes", traced.nodes);
    }
}

const STAFF: [(&str, (f64, f64)); 6] = [
    ("vane", (235.0, 420.0)),
    ("lantern ring", (235.0, 837.0)),
    ("shaft", (235.0, 1300.0)),
    ("left fin", (185.0, 1120.0)),
    ("right fin", (285.0, 1120.0)),
    ("pommel", (235.0, 1760.0)),
];

#[test]
fn the_drawn_staff_is_traced_true() {
    assert_true("drawing", &props::draw_signal_staff(), &STAFF, Light::Drawing, [1.0, 0.05]);
}

#[test]
fn the_photographed_vane_is_traced_true() {
    let (_, shot) = harbour_vane().photograph(&harbour_camera());
    assert_true("photo", &shot, &[("harbour vane", props::harbour::PIVOT)], Light::Camera, [0.5, 0.05]);
}

/// With noise of 4 levels. Both fins end in a needle of 8°: a tenth of a pixel beside it is one and a half along it, and
/// up to 1.9 px were met.
#[test]
fn a_noisy_photo_of_the_staff_is_traced_true() {
    for quality in [85, 95] {
        let camera = Camera { noise: 4.0, quality, ..Camera::frontal([1400, 2400], 1.3, (480.0, 920.0)) };
        let (_, shot) = props::signal_staff().photograph(&camera);
        assert_true(&format!("photo at {quality}"), &shot, &STAFF, Light::Camera, [2.0, 0.06]);
    }
}
