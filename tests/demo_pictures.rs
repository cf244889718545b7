//! The pictures in `reference-images/` are what the scene maker draws, and the marks in their build files are the truth.
//!
//! `SPANWRIGHT_REDRAW=1 cargo test --test demo_pictures` draws them anew (and fails, so that nobody does it unnoticed).

mod scene;

use std::path::PathBuf;

use kurbo::{BezPath, Point, Shape as _};
use scene::compare::{deviation, gap, is_inside_path};
use scene::props::{self, harbour, staff};
use scene::{Camera, Random, Scene, Shape, Shot};
use spanwright::picture::{Picture, decode, srgb};

fn stored(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("reference-images").join(name)
}

/// The picture in the file called `name`; first drawn anew where that is asked for.
fn stored_picture(name: &str, drawn: &[u8]) -> Picture {
    if std::env::var_os("SPANWRIGHT_REDRAW").is_some_and(|value| value == "1") {
        std::fs::write(stored(name), drawn).expect("reference-images can be written");
        panic!("{name} was drawn anew: look at it, then run again without SPANWRIGHT_REDRAW");
    }
    let file =
        std::fs::read(stored(name)).unwrap_or_else(|error| panic!("{name}: {error}; SPANWRIGHT_REDRAW=1 draws it"));
    decode(&file).unwrap_or_else(|error| panic!("{name}: {error}")).0
}

#[test]
fn the_staff_is_stored_as_it_is_drawn() {
    let shot = props::draw_signal_staff();
    let picture = stored_picture("signal-staff.png", &shot.png());
    assert!(picture.samples() == &shot.image, "signal-staff.png differs from what is drawn");
}

#[test]
fn the_harbour_vane_is_stored_as_it_is_photographed() {
    let (file, shot) = props::harbour_vane().photograph(&props::harbour_camera());
    let picture = stored_picture("harbour-vane.jpg", &file);
    let (ours, theirs) = (shot.image.to_rgb8(), picture.samples().to_rgb8());
    assert_eq!(ours.dimensions(), theirs.dimensions());
    let apart: u64 = ours.iter().zip(theirs.iter()).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    // Another machine's sine may turn single samples of the noise by one level.
    assert!((apart as f64) < 0.01 * ours.len() as f64, "mean difference {}", apart as f64 / ours.len() as f64);
    assert!(file.len() < 1_500_000, "{} bytes", file.len());
}

fn build_file(name: &str) -> toml::Table {
    let text = std::fs::read_to_string(stored(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
    text.parse().unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn mark(value: &toml::Value) -> Point {
    let number = |index: usize| value[index].as_float().expect("marks are written with a decimal point");
    Point::new(number(0), number(1))
}

#[track_caller]
fn assert_mark(value: &toml::Value, truth: Point) {
    let far = mark(value).distance(truth);
    assert!(far < 0.01, "marked {:?}, true {truth:?}", mark(value));
}

/// Each piece to be traced is pointed at inside the shape of its name, each of its holes too.
fn assert_points_at_shapes(build: &toml::Table, shot: &Shot) {
    for piece in build["piece"].as_array().expect("pieces") {
        let name = piece["name"].as_str().expect("a name");
        let shape = shot.truth_path(name);
        let mut places: Vec<Point> = piece["trace"]["inside"].as_array().expect("places").iter().map(mark).collect();
        let holes = piece.get("hole").and_then(toml::Value::as_array);
        places.extend(holes.into_iter().flatten().map(|hole| mark(&hole["at"])));
        for place in places {
            assert!(is_inside_path(place, &shape), "{place:?} is not inside the {name}");
        }
    }
}

#[test]
fn the_marks_of_the_staff_stand_where_the_truth_is() {
    let shot = props::draw_signal_staff();
    let build = build_file("signal-staff.toml");
    let picture = &build["picture"]["front"];
    assert_eq!(picture["pixels"], toml::Value::try_from(staff::SIZE).expect("two numbers"));
    let marks = &picture["figure"]["landmarks"];
    assert_mark(&marks["sole"], shot.to_pixel((staff::FIGURE_AXIS, staff::FLOOR)));
    for (name, fraction) in staff::LANDMARKS {
        let level = staff::FLOOR - fraction * staff::STATURE;
        assert_mark(&marks[name], shot.to_pixel((staff::FIGURE_AXIS, level)));
    }
    assert_mark(&build["finished"]["from"], shot.to_pixel((staff::AXIS, staff::TOP)));
    assert_mark(&build["finished"]["to"], shot.to_pixel((staff::AXIS, staff::TOP + staff::LENGTH)));
    assert_points_at_shapes(&build, &shot);
}

#[test]
fn the_marks_of_the_harbour_vane_stand_where_the_truth_is() {
    let (_, shot) = props::harbour_vane().photograph(&Camera { noise: 0.0, ..props::harbour_camera() });
    let build = build_file("harbour-vane.toml");
    let picture = &build["picture"]["board"];
    assert_eq!(picture["pixels"], toml::Value::try_from(harbour::SIZE).expect("two numbers"));
    let stick = &picture["known_length"][0];
    assert_mark(&stick["from"], shot.to_pixel(harbour::STICK_FROM));
    assert_mark(&stick["to"], shot.to_pixel(harbour::STICK_TO));
    assert_eq!(stick["length"].as_str(), Some(format!("{} mm", harbour::STICK).as_str()));
    assert_mark(&build["measure"][0]["to"], shot.to_pixel(harbour::PIVOT));
    assert_points_at_shapes(&build, &shot);
}

#[test]
fn the_parts_of_the_staff_stand_at_least_twenty_pixels_apart() {
    let shot = props::draw_signal_staff();
    let parts = ["vane", "lantern ring", "shaft", "left fin", "right fin", "pommel", "hand", "thigh"]
        .map(|n| (n, shot.truth_path(n)));
    for (index, (name, path)) in parts[..6].iter().enumerate() {
        for (other, other_path) in &parts[index + 1..] {
            let nearest = gap(path, other_path);
            assert!(nearest >= 20.125, "{name} and {other} are {nearest} px apart");
        }
    }
}

// What the scene maker itself promises.

fn disc(radius: f64) -> Scene {
    let outline = kurbo::Circle::new((0.0, 0.0), radius).to_path(1e-6);
    let holes = vec![kurbo::Circle::new((0.0, 0.0), radius / 2.0).to_path(1e-6)];
    Scene { ground: Some([255; 3]), shapes: vec![Shape { name: "disc", outline, holes, colour: [0; 3] }] }
}

#[test]
fn a_drawing_covers_exactly_the_area_of_its_shape() {
    let shot = disc(10.3).draw(3.7, 4.0);
    let picture = Picture::from_upright(shot.image.clone());
    let [width, height] = picture.size();
    let drawn: f64 =
        (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| 1.0 - picture.pixel(x, y)[0]).sum();
    let truth = std::f64::consts::PI * (10.3f64 * 3.7).powi(2) * 0.75;
    // 8 bits round each of some 350 edge pixels by up to a five-hundredth.
    assert!((drawn - truth).abs() < 0.2, "drawn {drawn}, true {truth}");
}

#[test]
fn an_edge_pixel_takes_the_share_that_the_edge_leaves_it() {
    // A rectangle from 2.25 to 5.5 across and 1.0 to 3.75 down, at one pixel per millimetre.
    let outline = kurbo::Rect::new(2.25, 1.0, 5.5, 3.75).to_path(0.1);
    let shape = Shape { name: "bar", outline, holes: vec![], colour: [255; 3] };
    let scene = Scene { ground: Some([0; 3]), shapes: vec![shape] };
    let shot = scene.draw_framed([8, 6], 1.0, kurbo::Vec2::ZERO);
    let level = |x, y| Picture::from_upright(shot.image.clone()).pixel(x, y)[0];
    for (x, y, share) in
        [(2, 2, 0.75), (3, 2, 1.0), (5, 2, 0.5), (6, 2, 0.0), (1, 2, 0.0), (3, 3, 0.75), (5, 3, 0.375), (3, 0, 0.0)]
    {
        assert!((level(x, y) - share).abs() < 0.002, "pixel {x}, {y}: {} for {share}", level(x, y));
    }
}

#[test]
fn shapes_that_reach_over_the_border_are_cut_there() {
    let outline = kurbo::Rect::new(-50.0, -50.0, 3.5, 50.0).to_path(0.1);
    let shape = Shape { name: "wall", outline, holes: vec![], colour: [255; 3] };
    let scene = Scene { ground: Some([0; 3]), shapes: vec![shape] };
    let picture = Picture::from_upright(scene.draw_framed([8, 6], 1.0, kurbo::Vec2::ZERO).image);
    for y in 0..6 {
        let row: Vec<f64> = (0..8).map(|x| picture.pixel(x, y)[0]).collect();
        assert!(
            (row[3] - 0.5).abs() < 0.002 && row[..3].iter().all(|v| *v == 1.0) && row[4..].iter().all(|v| *v == 0.0),
            "{row:?}"
        );
    }
}

#[test]
fn on_a_transparent_ground_the_cover_is_the_alpha_and_the_colour_stays_pure() {
    let scene = Scene { ground: None, ..disc(5.0) };
    let shot = scene.draw(4.0, 2.0);
    let image = shot.image.as_rgba8().expect("a transparent ground needs alpha");
    assert_eq!(image.get_pixel(0, 0).0, [0; 4]);
    assert!(image.pixels().any(|p| p.0[3] > 0 && p.0[3] < 255));
    assert!(image.pixels().all(|p| p.0[..3] == [0; 3]));
}

/// Along a row, where the edge between the two colours at `from` and `to` stands: the light in between, counted in
/// pixels of the first colour. Blur spreads the light but keeps its sum.
fn edge_between(shot: &Shot, row: u32, [from, to]: [u32; 2]) -> f64 {
    let picture = Picture::from_upright(shot.image.clone());
    let light = |x: u32| srgb::to_linear(picture.pixel(x, row)[0]);
    let share = |x: u32| (light(x) - light(to)) / (light(from) - light(to));
    f64::from(from) + (from..to).map(share).sum::<f64>()
}

#[test]
fn a_photo_shows_each_edge_where_the_camera_map_says() {
    let side = |x0: f64, x1: f64| kurbo::Rect::new(x0, -20.0, x1, 20.0).to_path(0.1);
    let shape = Shape { name: "bar", outline: side(-10.13, 7.31), holes: vec![], colour: [30; 3] };
    let scene = Scene { ground: Some([220; 3]), shapes: vec![shape] };
    let clear = Camera { noise: 0.0, quality: 100, ..Camera::frontal([160, 120], 3.0, (0.0, 0.0)) };
    for camera in [
        clear.clone(),
        Camera { blur: 0.0, ..clear.clone() },
        Camera { tilt: [0.0, 25.0, 0.0], distance: 200.0, ..clear.clone() },
        Camera { bow: -0.08, ..clear.clone() },
        Camera { orientation: 6, ..clear.clone() },
    ] {
        let (_, shot) = scene.photograph(&camera);
        assert_eq!([shot.image.width(), shot.image.height()], [160, 120]);
        for mm in [-10.13, 7.31] {
            // Row 60 runs half a pixel below the middle of the picture.
            let truth = shot.to_pixel((mm, 0.5 / 3.0));
            let middle = if mm < 0.0 { 49 } else { 101 };
            assert!((truth.x - f64::from(middle)).abs() < 6.0, "the window holds the edge");
            let found = edge_between(&shot, 60, [middle - 14, middle + 14]);
            assert!((found - truth.x).abs() < 0.06, "{camera:?}: found {found}, true {}", truth.x);
        }
    }
}

#[test]
fn a_tilted_view_keeps_straight_lines_and_cross_ratios() {
    let camera = Camera { tilt: [20.0, -15.0, 7.0], distance: 400.0, ..Camera::frontal([400, 300], 2.0, (3.0, 4.0)) };
    let (_, shot) = disc(20.0).photograph(&camera);
    let p: Vec<Point> = [0.0, 1.0, 2.0, 4.0].iter().map(|t| shot.to_pixel((10.0 * t - 15.0, 5.0 * t - 8.0))).collect();
    for q in &p[1..3] {
        assert!((p[3] - p[0]).cross(*q - p[0]).abs() < 1e-8);
    }
    let cross_ratio = (p[2] - p[0]).hypot() * (p[3] - p[1]).hypot() / ((p[2] - p[1]).hypot() * (p[3] - p[0]).hypot());
    assert!((cross_ratio - (2.0 * 3.0) / (1.0 * 4.0)).abs() < 1e-9, "{cross_ratio}");
    // The middle of the view is where the camera looks, and it is turned: no side keeps its direction.
    assert!(shot.to_pixel((3.0, 4.0)).distance(Point::new(200.0, 150.0)) < 1e-9);
    assert!((shot.to_pixel((30.0, 4.0)).y - 150.0).abs() > 1.0);
}

#[test]
fn bowing_and_straightening_undo_each_other() {
    for strength in [-0.2, -0.03, 0.04, 0.15] {
        let bow = scene::Bow { strength, middle: Point::new(200.0, 150.0), half_diagonal: 250.0 };
        let mut random = Random::seeded(7);
        for _ in 0..200 {
            let p = Point::new(random.unit() * 400.0, random.unit() * 300.0);
            assert!(bow.straighten(bow.bend(p)).distance(p) < 1e-9);
        }
        // Barrel bowing draws the corners in.
        assert_eq!(bow.bend(Point::ZERO).x > 0.0, strength < 0.0);
    }
}

#[test]
fn normal_draws_have_the_moments_of_the_normal_distribution() {
    let mut random = Random::seeded(3);
    let draws: Vec<f64> = (0..200_000).map(|_| random.normal()).collect();
    let moment = |power: i32| draws.iter().map(|d| d.powi(power)).sum::<f64>() / draws.len() as f64;
    // Mean 0, variance 1, fourth moment 3; bounds of five standard errors.
    assert!(moment(1).abs() < 0.0112, "{}", moment(1));
    assert!((moment(2) - 1.0).abs() < 0.0158, "{}", moment(2));
    assert!((moment(4) - 3.0).abs() < 0.11, "{}", moment(4));
}

#[test]
fn noise_has_the_deviation_that_was_asked_for_and_comes_from_the_seed() {
    let scene = Scene { ground: Some([128; 3]), ..disc(0.5) };
    let camera = Camera { noise: 12.0, quality: 100, ..Camera::frontal([300, 200], 1.0, (500.0, 0.0)) };
    let (file, shot) = scene.photograph(&camera);
    let levels: Vec<f64> = shot.image.to_rgb8().iter().map(|v| f64::from(*v)).collect();
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    let deviation = (levels.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / levels.len() as f64).sqrt();
    // The JPEG encoder drops the fractions of its coefficients, which takes about a twentieth of this noise.
    assert!((mean - 128.0).abs() < 0.2 && (11.0..12.0).contains(&deviation), "{mean}, {deviation}");
    assert_eq!(file, scene.photograph(&camera).0);
    assert_ne!(file, scene.photograph(&Camera { seed: 2, ..camera }).0);
}

#[test]
fn comparing_a_circle_with_a_larger_one_gives_their_difference() {
    let circle = |radius: f64| kurbo::Circle::new((50.0, 50.0), radius).to_path(1e-6);
    let found = deviation(&circle(30.25), &circle(30.0));
    for value in [found.rms, found.worst, found.bias] {
        assert!((value - 0.25).abs() < 0.002, "{found:?}");
    }
    assert!((deviation(&circle(29.9), &circle(30.0)).bias + 0.1).abs() < 0.002);
}

#[test]
fn a_missing_part_counts_as_the_worst_deviation() {
    let square = kurbo::Rect::new(0.0, 0.0, 40.0, 40.0).to_path(0.1);
    let with_tab: BezPath = BezPath::from_svg("M0 0 H40 V40 H0 Z M 50 10 H 60 V 20 H 50 Z").expect("path data");
    let found = deviation(&square, &with_tab);
    assert!(found.rms < 1e-9 && found.bias.abs() < 1e-9, "{found:?}");
    // The far corners of the lost tab lie 20 px from the square; samples stand half a pixel apart.
    assert!((found.worst - 20.0).abs() < 0.3, "{found:?}");
}
