//! Shapes on grounds that are not plain, with a loop as a hand draws it.

use kurbo::{BezPath, ParamCurve as _, Point, Shape as _, Vec2};
use spanwright::build_file::Trace;
use spanwright::space;

use super::{Camera, Cloth, Dress, Random, Scene, Shot, props};

/// One photo, its truth in pixels, and a loose loop around it.
pub(crate) struct Spotted {
    pub(crate) name: String,
    /// JPEG.
    pub(crate) file: Vec<u8>,
    pub(crate) shot: Shot,
    pub(crate) truth: BezPath,
    pub(crate) around: Vec<Point>,
}

impl Spotted {
    /// The loop alone.
    pub(crate) fn trace(&self) -> Trace {
        Trace { around: self.around.iter().map(|p| space::Point::new(p.x, p.y)).collect(), ..Trace::default() }
    }
}

/// Moss, sand, slate, sea, brick, limewash.
const CLOTHS: [[[u8; 3]; 2]; 6] = [
    [[92, 116, 70], [46, 64, 40]],
    [[196, 180, 150], [140, 118, 92]],
    [[120, 124, 130], [70, 74, 84]],
    [[58, 88, 120], [120, 150, 172]],
    [[150, 62, 48], [90, 34, 30]],
    [[214, 206, 188], [238, 234, 224]],
];

/// Each token of the rack on three grounds, noise of 4 levels, JPEG 85; every third with a shadow. 900 pixels each way.
pub(crate) fn scenes() -> impl Iterator<Item = Spotted> {
    let mut random = Random::seeded(5);
    let all = (0..8_usize).flat_map(|token| (0..3_usize).map(move |turn| (token, turn)));
    all.map(move |(index, turn)| scene(index, turn, 1.0, &mut random))
}

/// One of them with as many pixels as a camera has, 24 million.
#[allow(dead_code, reason = "only the benchmark asks for it")]
pub(crate) fn large() -> Spotted {
    scene(5, 0, 4900.0 / 900.0, &mut Random::seeded(5))
}

fn scene(index: usize, turn: usize, px_per_mm: f64, random: &mut Random) -> Spotted {
    let token = props::token_rack().shapes.swap_remove(index);
    let middle = token.outline.bounding_box().center();
    let scene = Scene { ground: Some([128; 3]), shapes: vec![token.clone()] };
    let size = [(900.0 * px_per_mm) as u32; 2];
    let camera = Camera { noise: 4.0, seed: 7 + index as u64, ..Camera::frontal(size, px_per_mm, middle) };
    let ground = (index + turn) % 6;
    let shape = (ground + 2 * turn + 2 + usize::from(turn == 2)) % 6;
    let cloth =
        |which: usize, spots: f64| Some(Cloth { colours: CLOTHS[which], spots, seed: (10 * which + index) as u64 });
    let dress = Dress {
        ground: cloth(ground, 40.0),
        shapes: cloth(shape, 25.0),
        shadow: (turn == 1).then_some(Vec2::new(14.0, 10.0)),
    };
    let (file, shot) = scene.photograph_dressed(&camera, &dress);
    let truth = shot.truth_path(token.name);
    let around = loose(&truth, random);
    Spotted { name: format!("{} {turn}", token.name), file, shot, truth, around }
}

/// Two dozen points around the shape, about an eighth of its size away, and unsteady.
fn loose(truth: &BezPath, random: &mut Random) -> Vec<Point> {
    let bounds = truth.bounding_box();
    let (middle, radius) = (bounds.center(), bounds.width().max(bounds.height()) / 2.0);
    let points: Vec<Vec2> = truth
        .segments()
        .flat_map(|segment| (0..8).map(move |i| segment.eval(f64::from(i) / 8.0)))
        .map(|p| p - middle)
        .collect();
    (0..24)
        .map(|k| {
            let way = Vec2::from_angle(f64::from(k) / 24.0 * std::f64::consts::TAU);
            let reach = points.iter().map(|p| p.dot(way)).fold(0.0, f64::max);
            middle + way * (reach * (1.08 + 0.12 * random.unit()) + 0.06 * radius)
        })
        .collect()
}
