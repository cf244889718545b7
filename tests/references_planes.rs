//! Straightened places, compared with OpenCV's.

mod references;

use serde_json::{Value, json};
use spanwright::plane::{Seen, SeenLens, SeenRectangle, straighten};
use spanwright::space::{Lens, Map, Pixels, Plane, Point};

/// Corners as single precision holds them, which is what getPerspectiveTransform takes.
const CORNERS: [[[f64; 2]; 4]; 3] = [
    [[1783.75, 1338.875], [2222.875, 1347.0], [2219.625, 1663.75], [1786.875, 1646.25]],
    [[410.0, 300.0], [1210.5, 310.25], [1200.0, 880.0], [402.0, 870.5]],
    [[900.0, 500.0], [2600.0, 820.0], [2450.0, 2100.0], [700.0, 2300.0]],
];
const SIZE: [f64; 2] = [297.0, 210.0];
const ASKED: [[f64; 2]; 4] = [[1042.0, 1471.75], [3106.75, 1532.75], [2000.0, 900.0], [600.5, 2000.25]];

fn seen([x, y]: [f64; 2]) -> Seen {
    Seen { at: Point::new(x, y), sd: 1.5 }
}

fn rectangle(corners: [[f64; 2]; 4], places: Vec<(Seen, [f64; 2])>) -> SeenRectangle {
    SeenRectangle { corners: corners.map(seen), sides: Default::default(), places, size: SIZE, size_sd: [1.0; 2] }
}

fn on(corner: usize) -> [f64; 2] {
    [[0.0, 0.0], [SIZE[0], 0.0], SIZE, [0.0, SIZE[1]]][corner]
}

/// Further places on the sheet, where the corners say they are seen but for a pixel or so.
fn places(plane: &Map<Pixels, Plane>) -> Vec<(Seen, [f64; 2])> {
    let on = [[148.5, 105.0], [40.0, 180.0], [250.0, 30.0], [148.5, 0.0], [297.0, 105.0]];
    let off = [[1.25, -0.5], [-0.75, 0.25], [0.5, 1.5], [-1.5, -0.25], [0.25, 0.75]];
    let at = |([x, y], [dx, dy]): ([f64; 2], [f64; 2])| {
        let p = plane.inverse().point(Point::new(x, y));
        (seen([p.x + dx, p.y + dy]), [x, y])
    };
    on.into_iter().zip(off).map(at).collect()
}

#[test]
fn planes_and_lenses_are_those_of_opencv() {
    let mut cases = Vec::new();
    let mut ours: Vec<Vec<[f64; 2]>> = Vec::new();
    let asked = |map: &Map<Pixels, Plane>| ASKED.iter().map(|p| map.point((*p).into())).map(|p| [p.x, p.y]).collect();
    for corners in CORNERS {
        let four = straighten(&[rectangle(corners, vec![])], None).expect("a plain view");
        ours.push(asked(&four));
        cases.push(json!({ "seen": corners, "on": [on(0), on(1), on(2), on(3)], "ask": ASKED }));

        let places = places(&four);
        let more = straighten(&[rectangle(corners, places.clone())], None).expect("a plain view");
        assert!(asked(&more) != ours[ours.len() - 1], "the further places must count");
        ours.push(asked(&more));
        let all = (0..4).map(|i| (corners[i], on(i))).chain(places.iter().map(|(p, on)| ([p.at.x, p.at.y], *on)));
        let (seen, on): (Vec<_>, Vec<_>) = all.unzip();
        cases.push(json!({ "seen": seen, "on": on, "ask": ASKED }));
    }
    for k in [[-0.12, 0.0], [0.05, 0.0], [-0.1, 0.03]] {
        let lens = Lens::new(kurbo::Point::new(2000.0, 1500.0), 3200.0, k);
        ours.push(ASKED.iter().map(|[x, y]| lens.straighten(kurbo::Point::new(*x, *y))).map(|p| [p.x, p.y]).collect());
        cases.push(json!({ "lens": { "focal": 3200.0, "middle": [2000.0, 1500.0], "k": k }, "ask": ASKED }));
    }
    let Some(theirs) = references::python("planes.py", &json!(cases)) else { return };
    for (case, (ours, theirs)) in ours.iter().zip(theirs.as_array().expect("a list")).enumerate() {
        for (ours, theirs) in ours.iter().zip(theirs.as_array().expect("a list")) {
            let theirs: Vec<f64> = theirs.as_array().expect("two").iter().filter_map(Value::as_f64).collect();
            let off = (ours[0] - theirs[0]).hypot(ours[1] - theirs[1]);
            assert!(off < 1e-6 * theirs[0].hypot(theirs[1]), "case {case}: {ours:?} {theirs:?}");
        }
    }
}

/// A sheet beside the middle, bowed by lenses of known terms: its sides alone tell the plane and the lens.
#[test]
fn the_sides_of_a_sheet_tell_plane_and_lens_at_once() {
    let (middle, focal) = (kurbo::Point::new(2000.0, 1500.0), 3200.0);
    let unit = middle.to_vec2().hypot();
    for k in [-0.12, -0.03, 0.0, 0.05] {
        let truth = Lens::new(middle, focal, [k, 0.0]);
        for corners in CORNERS {
            let flat = straighten(&[rectangle(corners, vec![])], None).expect("a plain view");
            let show = |on: [f64; 2]| truth.bend(flat.inverse().point(on.into()).raw());
            let sides = std::array::from_fn(|side| {
                let (a, b) = (kurbo::Point::from((on(side)[0], on(side)[1])), on((side + 1) % 4));
                let along = (0..9).map(|i| a.lerp(kurbo::Point::new(b[0], b[1]), 0.05 + 0.9 * f64::from(i) / 8.0));
                along.map(|p| Seen { at: show([p.x, p.y]).into(), sd: 0.03 }).collect()
            });
            // Corners as they might be clicked.
            let clicked = [[1.0, -2.0], [0.5, 1.0], [-1.5, 0.5], [2.0, 1.0]];
            let corners = std::array::from_fn(|i| {
                let p = show(on(i));
                seen([p.x + clicked[i][0], p.y + clicked[i][1]])
            });
            let rectangle = SeenRectangle { corners, sides, places: vec![], size: SIZE, size_sd: [1.0; 2] };
            let lens = SeenLens { middle: middle.into(), unit, usual: vec![(0.0, 10.0)], edges: vec![], camera: None };
            let found = straighten(&[rectangle], Some(&lens)).expect("a plain view");
            let [first, _] = found.lens().expect("one was looked for").terms(focal);
            assert!((first - k).abs() < 1e-5, "{first} for {k}");
            // All over the picture.
            for p in [[20.0, 20.0], [3980.0, 40.0], [3900.0, 2960.0], [100.0, 2900.0]] {
                let place = flat.point(truth.straighten(kurbo::Point::new(p[0], p[1])).into());
                let off = found.point(p.into()).distance(place) / flat.stretch(p.into());
                assert!(off < 0.01, "{k}: {off} px");
            }
        }
    }
}
