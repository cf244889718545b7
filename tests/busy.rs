//! A loose loop is enough on a ground that is not plain.

mod scene;

use scene::compare::{Deviation, deviation};
use scene::spotted;
use spanwright::build_file::Trace;
use spanwright::contour::Tracer;
use spanwright::picture::Picture;
use spanwright::space::{Path, Pixels, Point};

fn traced(spotted: &spotted::Spotted, what: &Trace) -> Path<Pixels> {
    let picture = Picture::from_upright(spotted.shot.image.clone());
    let traced = Tracer::new(&picture, None).trace(what);
    traced.unwrap_or_else(|problem| panic!("{}: {problem:?}", spotted.name)).outline
}

#[test]
fn nine_shapes_in_ten_are_found_within_half_a_pixel() {
    let found: Vec<(String, Deviation)> = spotted::scenes()
        .map(|scene| (scene.name.clone(), deviation(traced(&scene, &scene.trace()).raw(), &scene.truth)))
        .collect();
    let poor: Vec<_> = found.iter().filter(|(_, off)| off.rms > 0.5).collect();
    assert!(poor.len() * 10 <= found.len(), "{poor:#?}");
    let mut rms: Vec<f64> = found.iter().map(|(_, off)| off.rms).collect();
    rms.sort_by(f64::total_cmp);
    assert!(rms[rms.len() / 2] <= 0.3, "{rms:?}");
}

/// The shadow beside the cog on limewash has the colours of the cog: it is told from it by what the cog's core looks like, and
/// a stroke on it does no harm.
#[test]
fn a_shadow_of_the_shapes_own_colour_is_parted_from_it() {
    let scene = spotted::scenes().find(|scene| scene.name == "cog 1").expect("it is one of the scenes");
    let middle = kurbo::Shape::bounding_box(&scene.truth).center();
    let shadow = (0..40)
        .map(|k| middle + kurbo::Vec2::from_angle(f64::from(k) / 40.0 * std::f64::consts::FRAC_PI_2) * 310.0)
        .map(|p| Point::new(p.x, p.y));
    let told = Trace { outside: vec![shadow.collect()], ..scene.trace() };
    let off = |what: &Trace| deviation(traced(&scene, what).raw(), &scene.truth).rms;
    let (alone, told) = (off(&scene.trace()), off(&told));
    assert!(alone < 0.9 && told < alone, "{alone} alone, {told} with the stroke");
}
