use std::f64::consts::{FRAC_PI_2, PI, TAU};

use kurbo::{Affine, BezPath, Circle, ParamCurve as _, PathEl, Shape as _, Vec2};
use proptest::prelude::*;

use super::rings::{Rings, direction, is_corner};
use super::*;
use crate::space::Pattern;

/// A leaf with a stalk and an opening; its axis runs down.
const LEAF: &str = "M0 -200 C60 -120 90 -40 60 40 C50 90 30 140 12 180 L12 260 L-12 260 L-12 180 C-30 140 -50 90 -60 40 \
                    C-90 -40 -60 -120 0 -200 Z M0 -60 C20 -60 30 -30 30 0 C30 30 15 40 0 40 C-15 40 -30 30 -30 0 \
                    C-30 -30 -20 -60 0 -60 Z";

fn svg(d: &str) -> BezPath {
    BezPath::from_svg(d).expect("path data")
}

/// Nodes moved by up to `by` each way, handles along with them.
fn shaken(path: &BezPath, by: f64, seed: u64) -> BezPath {
    let mut state = seed;
    let mut random = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) as f64 / f64::from(1u32 << 30) - 1.0) * by
    };
    let mut by = || Vec2::new(random(), random());
    let rings = Rings::new(path).loops.into_iter().map(|ring| {
        let moves: Vec<Vec2> = ring.iter().map(|_| by()).collect();
        let n = ring.len();
        let segment = |i: usize| {
            let (from, to) = (moves[i], moves[(i + 1) % n]);
            match ring[i] {
                kurbo::PathSeg::Line(line) => kurbo::PathSeg::Line(kurbo::Line::new(line.p0 + from, line.p1 + to)),
                bent => {
                    let c = bent.to_cubic();
                    kurbo::PathSeg::Cubic(kurbo::CubicBez::new(c.p0 + from, c.p1 + from, c.p2 + to, c.p3 + to))
                }
            }
        };
        (0..n).map(segment).collect()
    });
    rings::joined(&rings.collect::<Vec<_>>())
}

/// The largest distance of the outline from its images.
fn unlike(path: &Path<Pattern>, symmetry: &Symmetry<Pattern>) -> f64 {
    asymmetry(&Rings::new(path.raw()), &symmetry.motions(), &Rings::new(path.raw()).places(200), 1e-10).1
}

fn mirrored(half: Half) -> Alike<Pattern> {
    Alike { sides: Some(half), turns: 1, axis: None }
}

fn turned(sides: Option<Half>, turns: u32) -> Alike<Pattern> {
    Alike { sides, turns, axis: None }
}

/// The angle between two axes, in radians.
fn between(a: f64, b: f64) -> f64 {
    ((a - b + FRAC_PI_2).rem_euclid(PI) - FRAC_PI_2).abs()
}

#[test]
fn reflection_agrees_with_the_matrix() {
    // R = [[cos 2α, sin 2α], [sin 2α, −cos 2α]] with α = 80°: worked by hand.
    let symmetry = Symmetry::<Pattern> { centre: Point::new(0.0, 0.0), axis: Some(80.0_f64.to_radians()), turns: 1 };
    let p = symmetry.mirror().expect("it has an axis") * kurbo::Point::new(100.0, 40.0);
    assert!((p.x + 80.29).abs() < 0.01 && (p.y - 71.79).abs() < 0.01, "{p:?}");
}

#[test]
fn the_axis_of_a_leaf_is_found_and_its_halves_made_exact() {
    for (turn, noise) in [0.0, 0.3, 1.2, 2.7].into_iter().flat_map(|turn| [0.0, 0.1, 1.0].map(|noise| (turn, noise))) {
        let stands = Affine::rotate_about(turn, kurbo::Point::new(30.0, 50.0));
        let leaf = Path::new(shaken(&(stands * svg(LEAF)), noise, 7));
        for half in [Half::Both, Half::Left, Half::Right] {
            let how = mirrored(half);
            let found = find(&leaf, &how).expect("it has an area");
            let off = between(found.symmetry.axis.expect("mirrored"), FRAC_PI_2 + turn);
            // Some forty nodes, moved by so much at 200 mm from the middle.
            assert!(off < 1e-9 + 0.004 * noise, "{turn} {noise}: {off}");
            // Each of two halves is off by noise / √3 in each direction; about half of it shows across the edge.
            assert!(found.rms <= 1e-6 + 0.8 * noise && found.rms >= 0.2 * noise, "{noise}: {}", found.rms);
            let made = made_alike(&leaf, &how, &found).expect("a leaf");
            assert!(unlike(&made, &found.symmetry) < 1e-6, "{turn} {noise} {half:?}");
            let reach = Rings::new(leaf.raw());
            let places = Rings::new(made.raw()).places(300);
            let moved = places
                .iter()
                .map(|on| reach.nearest(on.at, on.along, 1e-9).map_or(f64::INFINITY, |near| near.at.distance(on.at)));
            let most = if half == Half::Both { 2.0 } else { 4.0 };
            let moved = moved.fold(0.0, f64::max);
            assert!(moved < 1e-3 + most * noise, "{turn} {noise} {half:?}: moved by {moved}");
            assert!(made.raw().elements().len() <= leaf.raw().elements().len() + 4);
        }
    }
}

#[test]
fn the_half_that_is_named_is_kept() {
    // A leaf with a bump on its right side.
    let lopsided =
        Path::<Pattern>::new(svg("M0 -200 C60 -120 90 -40 120 0 L120 40 L60 40 C50 90 30 140 0 180 C-30 140 \
                                             -50 90 -60 40 C-90 -40 -60 -120 0 -200 Z"));
    let axis = Some([Point::new(0.0, -200.0), Point::new(0.0, 180.0)]);
    let width = |half| {
        let how = Alike { sides: Some(half), turns: 1, axis };
        let found = find(&lopsided, &how).expect("it has an area");
        assert!(found.rms > 5.0, "a bump is told: {}", found.rms);
        made_alike(&lopsided, &how, &found).expect("an axis").bounds().width()
    };
    assert!((width(Half::Right) - 240.0).abs() < 1e-6);
    assert!(width(Half::Left) < 160.0);
    let how = Alike { sides: Some(Half::Upper), turns: 1, axis };
    let found = find(&lopsided, &how).expect("it has an area");
    assert_eq!(made_alike(&lopsided, &how, &found), Err(Refused::SideUnclear));
}

#[test]
fn what_crosses_the_axis_smoothly_crosses_it_squarely_and_corners_stay() {
    let leaf = Path::<Pattern>::new(shaken(&svg(LEAF), 1.0, 3));
    let how = mirrored(Half::Left);
    let found = find(&leaf, &how).expect("it has an area");
    let made = made_alike(&leaf, &how, &found).expect("a leaf");
    let axis = Vec2::from_angle(found.symmetry.axis.expect("mirrored"));
    let on_axis = |p: kurbo::Point| axis.cross(p - found.symmetry.centre.raw()).abs() < 1e-6;
    let mut met = 0;
    for ring in &Rings::new(made.raw()).loops {
        for (i, segment) in ring.iter().enumerate().filter(|(_, segment)| on_axis(segment.start())) {
            met += 1;
            let tip = segment.start().y < -150.0;
            assert_eq!(is_corner(ring, i), tip, "{segment:?}");
            assert!(tip || direction(segment, 0.0).dot(axis).abs() < 1e-6, "{segment:?}");
        }
    }
    // The tip and two places of the opening; the line across the stalk is one line.
    assert_eq!(met, 3);
}

fn star(points: u32) -> BezPath {
    let centre = kurbo::Point::new(50.0, 20.0);
    let at = |part: f64, r: f64| centre + Vec2::from_angle(0.2 + TAU * part / f64::from(points)) * r;
    let mut path = BezPath::new();
    for k in 0..points {
        let k = f64::from(k);
        let (tip, dip) = (at(k, 100.0), at(k + 0.5, 60.0));
        path.push(if k == 0.0 { PathEl::MoveTo(tip) } else { PathEl::LineTo(tip) });
        path.line_to(dip);
    }
    path.close_path();
    path.extend(Circle::new(centre, 18.0).to_path(1e-6).reverse_subpaths());
    for k in 0..points {
        path.extend(Circle::new(at(f64::from(k), 42.0), 7.0).to_path(1e-6).reverse_subpaths());
    }
    path
}

/// Teeth that lean one way.
fn wheel(teeth: u32) -> BezPath {
    let at = |part: f64, r: f64| (Vec2::from_angle(TAU * part / f64::from(teeth)) * r).to_point();
    let mut path = BezPath::new();
    path.move_to(at(0.0, 80.0));
    for k in (0..teeth).map(f64::from) {
        path.line_to(at(k + 0.1, 100.0));
        path.curve_to(at(k + 0.2, 104.0), at(k + 0.5, 100.0), at(k + 0.6, 90.0));
        path.curve_to(at(k + 0.7, 85.0), at(k + 0.8, 80.0), at(k + 1.0, 80.0));
    }
    path.close_path();
    path
}

#[test]
fn what_comes_again_in_a_turn_is_made_to_do_so_exactly() {
    for noise in [0.0, 0.1, 0.5] {
        for turns in [2, 3, 5, 8, 12] {
            let shapes =
                [(star(turns.max(3)), turns.max(3), None), (star(turns.max(3)), turns.max(3), Some(Half::Both))];
            for (shape, turns, sides) in shapes.into_iter().chain([(wheel(turns), turns, None)]) {
                let shape = Path::new(shaken(&shape, noise, 3));
                let how = turned(sides, turns);
                let found = find(&shape, &how).expect("it has an area");
                assert!(found.rms <= 1e-6 + noise, "{turns} {sides:?} {noise}: {}", found.rms);
                let made = made_alike(&shape, &how, &found).expect("it comes again");
                assert!(unlike(&made, &found.symmetry) < 1e-6, "{turns} {sides:?} {noise}");
                let (area, before) = (made.raw().area(), shape.raw().area());
                assert!(
                    (area - before).abs() < 1e-6 * before + 600.0 * noise,
                    "{turns} {sides:?} {noise}: {area} {before}"
                );
            }
        }
    }
}

#[test]
fn a_missing_part_is_told() {
    // A star whose last opening was left out.
    let whole = star(5);
    let loops = Rings::new(&whole).loops;
    let lacking = Path::<Pattern>::new(rings::joined(&loops[..loops.len() - 1]));
    for sides in [None, Some(Half::Both)] {
        let how = turned(sides, 5);
        let found = find(&lacking, &how).expect("it has an area");
        assert_eq!(made_alike(&lacking, &how, &found), Err(Refused::Uneven));
    }
}

#[test]
fn turns_that_are_none_are_told_by_how_unlike_they_are() {
    let wrong = |shape: BezPath, turns| find(&Path::<Pattern>::new(shape), &turned(None, turns)).expect("an area");
    // Nearly alike after one step, a whole tooth off half way round.
    assert!(wrong(wheel(63), 64).worst > 2.0, "{:?}", wrong(wheel(63), 64));
    let oval = kurbo::Ellipse::new((0.0, 0.0), (100.0, 80.0), 0.0).to_path(1e-6);
    assert!(wrong(oval, 64).worst > 15.0);
    assert!(wrong(wheel(64), 64).worst < 1e-4);
}

#[test]
fn a_kept_half_is_left_as_it_is_beside_the_axis() {
    // A plate with a hole that the axis cuts off its middle, and another with an edge that crosses it aslant.
    let hole = Circle::new((-30.0, 20.0), 60.0).to_path(1e-6).reverse_subpaths();
    let mut plate = svg("M-750 -450H750V450H-750Z");
    plate.extend(hole);
    let slanted = svg("M-750 -450L750 -380V450H-750Z");
    for shape in [plate, slanted] {
        let shape = Path::<Pattern>::new(shape);
        let axis = Some([Point::new(0.0, -450.0), Point::new(0.0, 450.0)]);
        let how = Alike { sides: Some(Half::Left), turns: 1, axis };
        let found = find(&shape, &how).expect("an area");
        let made = made_alike(&shape, &how, &found).expect("a plate");
        let left = Rings::new(shape.raw());
        let places = Rings::new(made.raw()).places(2000);
        let off = places.iter().filter(|on| on.at.x < 0.0).map(|on| left.distance_squared(on.at, 1e-9).sqrt());
        let off = off.fold(0.0, f64::max);
        assert!(off < 0.9, "{off}");
    }
}

#[test]
fn a_speck_that_doubles_back_moves_nothing() {
    let mut zigzag = rings::joined(&Rings::new(&wheel(6)).loops).into_elements();
    // Back by a hair and on again within a line.
    let PathEl::LineTo(end) = zigzag[1] else { panic!("a wheel begins with a line") };
    let start = zigzag[0].end_point().expect("a place");
    let at = |t: f64| PathEl::LineTo(start.lerp(end, t));
    zigzag.splice(1..1, [at(0.5), at(0.499)]);
    let shape = Path::<Pattern>::new(BezPath::from_vec(zigzag));
    let found = find(&shape, &turned(None, 6)).expect("an area");
    assert!(found.worst < 0.05, "{found:?}");
    let evened = mean(shape.raw(), &found.symmetry, 1e-3);
    let whole = Rings::new(&wheel(6));
    let off = Rings::new(&evened).places(600).iter().map(|on| whole.distance_squared(on.at, 1e-9)).fold(0.0, f64::max);
    assert!(off.sqrt() < 0.05, "{}", off.sqrt());
}

#[test]
fn the_half_that_is_named_lies_beside_the_axis_that_is_found() {
    // Two holes in a plate: both axes are there, and only the upright one has a left.
    let plate = svg("M0 0H100V50H0Z M20 20V30H30V20Z M70 20V30H80V20Z");
    let plate = Path::<Pattern>::new(plate);
    for (half, angle) in [(Half::Left, FRAC_PI_2), (Half::Upper, 0.0)] {
        let found = find(&plate, &mirrored(half)).expect("an area");
        assert!(between(found.symmetry.axis.expect("mirrored"), angle) < 1e-6, "{half:?}: {found:?}");
        let made = made_alike(&plate, &mirrored(half), &found).expect("a plate");
        assert!(unlike(&made, &found.symmetry) < 1e-6, "{half:?}");
        // It was alike before, so nothing is lost: 100 by 50, less two holes of 10 by 10.
        assert!((made.raw().area().abs() - 4800.0).abs() < 1e-6, "{half:?}: {}", made.raw().area());
    }
}

#[test]
fn of_two_good_axes_the_upright_one_is_taken_unless_upper_and_lower_are_asked_for() {
    let bar = Path::<Pattern>::new(svg("M0 0H300V40H0Z"));
    let axis = |half| find(&bar, &mirrored(half)).and_then(|found| found.symmetry.axis).expect("two of them");
    assert!(between(axis(Half::Both), FRAC_PI_2) < 1e-6 && between(axis(Half::Left), FRAC_PI_2) < 1e-6);
    assert!(between(axis(Half::Lower), 0.0) < 1e-6);
    let disc = Path::<Pattern>::new(shaken(&Circle::new((7.0, 9.0), 80.0).to_path(1e-6), 1e-3, 1));
    let axis = find(&disc, &mirrored(Half::Both)).and_then(|found| found.symmetry.axis).expect("any");
    assert!(between(axis, FRAC_PI_2) < 0.1, "{axis}");
}

#[test]
fn nothing_has_no_symmetry() {
    assert_eq!(find(&Path::<Pattern>::new(BezPath::new()), &mirrored(Half::Both)), None);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    #[test]
    fn a_shape_made_alike_anywhere_is_alike(
        turn in 0.0..TAU, size in 0.05..40.0f64, seed in 0u64..1000, noise in 0.0..1.0f64, turns in 2u32..9,
    ) {
        let stands = Affine::rotate(turn) * Affine::scale(size) * Affine::translate((7.0, -3.0));
        for (shape, how) in [(svg(LEAF), mirrored(Half::Both)), (wheel(turns), turned(None, turns))] {
            let shape = Path::new(stands * shaken(&shape, noise, seed));
            let found = find(&shape, &how).expect("it has an area");
            prop_assert!(found.rms <= size * (1e-6 + 1.5 * noise), "{} for {noise} at {size} {how:?} {found:?}", found.rms);
            let made = made_alike(&shape, &how, &found).expect("it is nearly alike");
            prop_assert!(unlike(&made, &found.symmetry) < 1e-6 * size.max(1.0));
        }
    }
}
