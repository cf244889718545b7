//! Shapes in loose loops beside OpenCV's grabCut, which gets the same loops.

mod references;
mod scene;

use scene::compare::ring;
use scene::spotted;
use serde_json::json;
use spanwright::contour::Tracer;
use spanwright::picture::Picture;

#[test]
fn a_loose_loop_finds_the_shape_at_least_as_well_as_grabcut() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let scenes: Vec<spotted::Spotted> = spotted::scenes().step_by(2).collect();
    let cases: Vec<_> = scenes
        .iter()
        .enumerate()
        .map(|(k, scene)| {
            let picture = folder.path().join(format!("{k}.jpg"));
            std::fs::write(&picture, &scene.file).expect("the folder takes files");
            let upright = Picture::from_upright(scene.shot.image.clone());
            let traced = Tracer::new(&upright, None).trace(&scene.trace()).expect("there is a shape");
            let around: Vec<[f64; 2]> = scene.around.iter().map(|p| [p.x, p.y]).collect();
            let (ours, truth) = (ring(traced.outline.raw()), ring(&scene.truth));
            json!({ "picture": picture, "around": around, "truth": truth, "ours": ours })
        })
        .collect();
    let Some(answers) = references::python("regions.py", &json!(cases)) else { return };
    let answers = answers.as_array().expect("a list");
    assert_eq!(answers.len(), scenes.len());
    for (scene, answer) in scenes.iter().zip(answers) {
        let of = |who: &str, what: &str| answer[who][what].as_f64().expect("a number");
        assert!(of("ours", "iou") >= of("grabcut", "iou"), "{}: {answer}", scene.name);
        assert!(of("ours", "rms") <= of("grabcut", "rms"), "{}: {answer}", scene.name);
    }
}
