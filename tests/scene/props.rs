//! The demo props: the signal gear of the beacon-keepers of an imaginary coast. Every outline is closed form; mm.

use kurbo::{Affine, Arc, BezPath, Circle, Ellipse, Point, Rect, RoundedRect, Shape as _, Vec2};

use super::{Camera, Scene, Shape, Shot};

/// A circle as cubics is off by less than this, mm.
const ROUND: f64 = 1e-6;

/// In mm of a part's own frame.
type Place = (f64, f64);

const PAPER: [u8; 3] = [246, 243, 235];
const TEAL: [u8; 3] = [28, 92, 104];
const BRASS: [u8; 3] = [176, 124, 38];
const OAK: [u8; 3] = [98, 64, 40];
const SLATE: [u8; 3] = [166, 174, 180];
const PALE_SLATE: [u8; 3] = [190, 197, 202];
const BOARD: [u8; 3] = [152, 154, 155];
const LACQUER: [u8; 3] = [128, 36, 32];
const ASH: [u8; 3] = [236, 221, 188];

/// Where things stand in the frame of the staff's picture: the axes of staff and figure, and the floor.
pub(crate) mod staff {
    /// The figure is as tall as a wearer of 1680 mm in shoes of 35 mm.
    pub(crate) const STATURE: f64 = 1715.0;
    pub(crate) const FLOOR: f64 = 1790.0;
    pub(crate) const FIGURE_AXIS: f64 = 740.0;
    pub(crate) const AXIS: f64 = 235.0;
    /// Tip of the vane to the end of the pommel.
    pub(crate) const LENGTH: f64 = 1420.0;
    pub(crate) const TOP: f64 = FLOOR - LENGTH;
    pub(crate) const PX_PER_MM: f64 = 1.3;
    pub(crate) const SIZE: [u32; 2] = [1400, 2400];

    /// Height above the sole over stature: R. Drillis, R. Contini, Body Segment Parameters, Technical Report 1166.03,
    /// New York University, 1966.
    pub(crate) const LANDMARKS: [(&str, f64); 5] =
        [("eye", 0.936), ("chin", 0.870), ("shoulder", 0.818), ("hip", 0.530), ("knee", 0.285)];
}

/// The signal staff taken apart along its own length, and the keeper who carries it.
pub(crate) fn signal_staff() -> Scene {
    let place = Affine::translate((staff::AXIS, staff::TOP));
    let mut shapes = keeper();
    for part in [vane(), lantern_ring(), shaft(), left_fin(), right_fin(), pommel()] {
        let holes = part.holes.into_iter().map(|hole| place * hole).collect();
        shapes.push(Shape { outline: place * part.outline, holes, ..part });
    }
    Scene { ground: Some(PAPER), shapes }
}

/// The clean drawing of the staff.
pub(crate) fn draw_signal_staff() -> Shot {
    signal_staff().draw_framed(staff::SIZE, staff::PX_PER_MM, Vec2::ZERO)
}

/// A flame with two barbs a side and a flame-shaped opening.
fn vane() -> Shape {
    let right = [
        ((12.0, 62.0), (104.0, 108.0), (114.0, 204.0)),
        ((118.0, 240.0), (134.0, 262.0), (158.0, 274.0)),
        ((118.0, 284.0), (82.0, 306.0), (62.0, 348.0)),
        ((68.0, 364.0), (78.0, 374.0), (94.0, 384.0)),
        ((62.0, 390.0), (40.0, 404.0), (30.0, 430.0)),
    ];
    let flame = [((6.0, 150.0), (60.0, 170.0), (62.0, 236.0)), ((63.0, 282.0), (16.0, 306.0), (0.0, 352.0))];
    Shape {
        name: "vane",
        outline: mirrored((0.0, 0.0), &right),
        holes: vec![mirrored((0.0, 92.0), &flame)],
        colour: TEAL,
    }
}

/// A ring with eight lamp holes.
fn lantern_ring() -> Shape {
    let middle = Point::new(0.0, 543.0);
    let lamps = (0..8).map(|turn| Vec2::from_angle((f64::from(turn) + 0.5) * std::f64::consts::FRAC_PI_4));
    let mut holes = vec![Circle::new(middle, 58.0).to_path(ROUND)];
    holes.extend(lamps.map(|way| Circle::new(middle + way * 76.5, 7.5).to_path(ROUND)));
    Shape { name: "lantern ring", outline: Circle::new(middle, 95.0).to_path(ROUND), holes, colour: BRASS }
}

fn shaft() -> Shape {
    let outline = RoundedRect::new(-17.0, 656.0, 17.0, 1318.0, 8.0).to_path(ROUND);
    Shape { name: "shaft", outline, holes: vec![], colour: OAK }
}

/// A wing of two scallops.
fn right_fin() -> Shape {
    let mut outline = BezPath::new();
    outline.move_to((36.0, 706.0));
    outline.curve_to((70.0, 706.0), (108.0, 692.0), (134.0, 652.0));
    outline.curve_to((112.0, 700.0), (104.0, 736.0), (112.0, 776.0));
    outline.curve_to((84.0, 800.0), (52.0, 842.0), (36.0, 904.0));
    outline.close_path();
    Shape { name: "right fin", outline, holes: vec![], colour: TEAL }
}

fn left_fin() -> Shape {
    let right = right_fin();
    Shape { name: "left fin", outline: Affine::FLIP_X * right.outline, ..right }
}

fn pommel() -> Shape {
    let right = [
        ((28.0, 1348.0), (46.0, 1354.0), (46.0, 1376.0)),
        ((46.0, 1401.0), (26.0, staff::LENGTH), (0.0, staff::LENGTH)),
    ];
    let outline = mirrored((22.0, 1336.0), &right);
    Shape { name: "pommel", outline, holes: vec![], colour: BRASS }
}

/// From `start` down the right side along cubics, and back up the left side; the axis is x = 0.
fn mirrored(start: Place, right: &[(Place, Place, Place)]) -> BezPath {
    let flip = |(x, y): Place| (-x, y);
    let mut path = BezPath::new();
    path.move_to(start);
    right.iter().for_each(|(a, b, end)| path.curve_to(*a, *b, *end));
    let starts = std::iter::once(start).chain(right.iter().map(|(.., end)| *end));
    let back: Vec<_> = starts.zip(right).collect();
    let end = right.last().expect("at least one curve").2;
    if end.0 != 0.0 {
        path.line_to(flip(end));
    }
    back.iter().rev().for_each(|(from, (a, b, _))| path.curve_to(flip(*b), flip(*a), flip(*from)));
    path.close_path();
    path
}

/// A jointed figure, upright, feet on the floor, with a pale disc at each landmark.
fn keeper() -> Vec<Shape> {
    let height = |fraction: f64| -fraction * staff::STATURE;
    let [eye, chin, shoulder, hip, knee] = staff::LANDMARKS.map(|(_, fraction)| height(fraction));
    let (crown, elbow, wrist, ankle) = (height(1.0), height(0.630), height(0.485), height(0.039));
    let place = Affine::translate((staff::FIGURE_AXIS, staff::FLOOR));
    let mut shapes = Vec::new();
    let mut add = |name, outline: BezPath, colour| {
        shapes.push(Shape { name, outline: place * outline, holes: vec![], colour });
    };
    for side in [-1.0, 1.0] {
        let at = |x: f64, y: f64| Point::new(side * x, y);
        add("thigh", limb(at(84.0, hip), 84.0, at(80.0, knee), 54.0), SLATE);
        add("shank", limb(at(80.0, knee), 54.0, at(78.0, ankle + 30.0), 34.0), SLATE);
        add(
            "foot",
            Rect::new(78.0 * side - 46.0, -56.0, 78.0 * side + 46.0, 0.0)
                .to_rounded_rect((40.0, 40.0, 6.0, 6.0))
                .to_path(ROUND),
            SLATE,
        );
        add("upper arm", limb(at(188.0, shoulder), 50.0, at(220.0, elbow), 38.0), SLATE);
        add("forearm", limb(at(220.0, elbow), 38.0, at(236.0, wrist), 26.0), SLATE);
        add("hand", limb(at(237.0, wrist + 20.0), 28.0, at(240.0, wrist + 120.0), 22.0), SLATE);
    }
    add("neck", limb(Point::new(0.0, chin - 60.0), 50.0, Point::new(0.0, shoulder), 58.0), SLATE);
    let torso = [
        ((60.0, shoulder - 62.0), (150.0, shoulder - 56.0), (196.0, shoulder - 48.0)),
        ((222.0, shoulder + 60.0), (136.0, -1180.0), (132.0, -1080.0)),
        ((130.0, -1010.0), (168.0, -985.0), (168.0, hip)),
        ((168.0, hip + 70.0), (60.0, hip + 96.0), (0.0, hip + 96.0)),
    ];
    add("torso", mirrored((0.0, shoulder - 90.0), &torso), SLATE);
    add(
        "head",
        Ellipse::new((0.0, (crown + chin) / 2.0), (80.0, (chin - crown) / 2.0), 0.0).to_path(ROUND),
        PALE_SLATE,
    );
    for side in [-1.0, 1.0] {
        for (x, y, radius) in [(188.0, shoulder, 15.0), (84.0, hip, 15.0), (80.0, knee, 15.0)] {
            add("joint", Circle::new((side * x, y), radius).to_path(ROUND), PAPER);
        }
        add("eye disc", Circle::new((side * 30.0, eye), 8.0).to_path(ROUND), PAPER);
    }
    shapes
}

/// Two discs and their common outer tangents.
fn limb(p: Point, p_radius: f64, q: Point, q_radius: f64) -> BezPath {
    use std::f64::consts::{FRAC_PI_2, PI};
    let axis = q - p;
    // The tangents lean by the difference of the radii over the distance of the centres.
    let lean = ((p_radius - q_radius) / axis.hypot()).asin();
    let along = axis.atan2();
    let (start, sweep) = (along + FRAC_PI_2 - lean, PI + 2.0 * lean);
    let on = |middle: Point, radius: f64, angle: f64| middle + Vec2::from_angle(angle) * radius;
    let mut path = BezPath::new();
    path.move_to(on(p, p_radius, start));
    path.extend(Arc::new(p, (p_radius, p_radius), start, sweep, 0.0).append_iter(ROUND));
    path.line_to(on(q, q_radius, start + sweep));
    path.extend(Arc::new(q, (q_radius, q_radius), start + sweep, 2.0 * PI - sweep, 0.0).append_iter(ROUND));
    path.close_path();
    path
}

/// Where things lie in the frame of the vane's photo.
pub(crate) mod harbour {
    pub(crate) const STICK: f64 = 300.0;
    pub(crate) const STICK_FROM: (f64, f64) = (-150.0, 176.0);
    pub(crate) const STICK_TO: (f64, f64) = (150.0, 176.0);
    pub(crate) const PIVOT: (f64, f64) = (56.0, 6.0);
    pub(crate) const PX_PER_MM: f64 = 3.4;
    pub(crate) const SIZE: [u32; 2] = [1800, 1500];
}

/// A swallow-tailed vane with a crescent opening on a grey board, a stick of 300 mm below it.
pub(crate) fn harbour_vane() -> Scene {
    let (x, y) = harbour::STICK_FROM;
    let stick = Rect::new(x, y - 6.0, x + harbour::STICK, y + 6.0).to_path(ROUND);
    let mut outline = BezPath::new();
    outline.move_to((-220.0, 34.0));
    outline.curve_to((-168.0, -20.0), (-120.0, -96.0), (-18.0, -112.0));
    outline.curve_to((40.0, -120.0), (74.0, -92.0), (98.0, -58.0));
    outline.curve_to((128.0, -74.0), (168.0, -104.0), (214.0, -150.0));
    outline.curve_to((208.0, -92.0), (186.0, -42.0), (150.0, 4.0));
    outline.curve_to((176.0, 30.0), (196.0, 66.0), (204.0, 118.0));
    outline.curve_to((160.0, 92.0), (128.0, 78.0), (92.0, 68.0));
    outline.curve_to((50.0, 108.0), (-18.0, 118.0), (-76.0, 92.0));
    outline.curve_to((-112.0, 76.0), (-146.0, 40.0), (-220.0, 34.0));
    outline.close_path();
    let mut crescent = BezPath::new();
    crescent.move_to((-122.0, 10.0));
    crescent.curve_to((-92.0, -38.0), (-42.0, -70.0), (18.0, -66.0));
    crescent.curve_to((-22.0, -44.0), (-40.0, -12.0), (-34.0, 42.0));
    crescent.curve_to((-62.0, 46.0), (-96.0, 34.0), (-122.0, 10.0));
    crescent.close_path();
    Scene {
        ground: Some(BOARD),
        shapes: vec![
            Shape { name: "stick", outline: stick, holes: vec![], colour: ASH },
            Shape { name: "harbour vane", outline, holes: vec![crescent], colour: LACQUER },
        ],
    }
}

/// The camera of the photo, square on.
pub(crate) fn harbour_camera() -> Camera {
    Camera::frontal(harbour::SIZE, harbour::PX_PER_MM, (0.0, 12.0))
}

/// Where the eight tokens hang, mm; the first at [`TOKENS_FIRST`], four a row.
const TOKENS_APART: f64 = 720.0;
const TOKENS_FIRST: (f64, f64) = (420.0, 640.0);
pub(crate) const TOKENS_SIZE: (f64, f64) = (3000.0, 2000.0);

/// Eight tokens on a rack, each a kind of outline of its own: round, square, smooth, toothed, pointed, cusped.
pub(crate) fn token_rack() -> Scene {
    let r = 300.0;
    let round = |points: u32, at: &dyn Fn(u32) -> Point| {
        let mut path = BezPath::new();
        (0..points).for_each(|k| if k == 0 { path.move_to(at(0)) } else { path.line_to(at(k)) });
        path.close_path();
        path
    };
    let turned = |k: u32, of: u32| Vec2::from_angle(f64::from(k) / f64::from(of) * std::f64::consts::TAU);
    let star = round(10, &|k| (turned(k, 10) * if k % 2 == 0 { r } else { 0.45 * r }).to_point());
    let teeth = round(48, &|k| (turned(k, 48) * if k / 2 % 2 == 0 { r } else { 0.82 * r }).to_point());
    let flame = mirrored(
        (0.0, -r),
        &[((50.0, -190.0), (160.0, -120.0), (180.0, 30.0)), ((195.0, 150.0), (100.0, 260.0), (0.0, 260.0))],
    );
    let mut moon = BezPath::new();
    moon.move_to((0.0, -r));
    moon.curve_to((400.0, -r), (400.0, r), (0.0, r));
    moon.curve_to((130.0, 170.0), (130.0, -170.0), (0.0, -r));
    moon.close_path();
    let turn = Affine::rotate(7.0_f64.to_radians());
    let outlines = [
        ("disc", Circle::new((0.0, 0.0), r).to_path(ROUND)),
        ("tile", turn * Rect::new(-220.0, -220.0, 220.0, 220.0).to_path(ROUND)),
        ("plaque", turn * RoundedRect::new(-r, -170.0, r, 170.0, 90.0).to_path(ROUND)),
        ("oval", turn * Ellipse::new((0.0, 0.0), (r, 180.0), 0.0).to_path(ROUND)),
        ("cog", turn * teeth),
        ("star", turn * star),
        ("flame", turn * flame),
        ("moon", turn * moon),
    ];
    let hung = outlines.into_iter().zip(0_u32..).map(|((name, outline), k)| {
        let (x, y) = TOKENS_FIRST;
        let at = (x + TOKENS_APART * f64::from(k % 4), y + TOKENS_APART * f64::from(k / 4));
        Shape { name, outline: Affine::translate(at) * outline, holes: vec![], colour: OAK }
    });
    Scene { ground: Some(SLATE), shapes: hung.collect() }
}
