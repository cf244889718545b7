//! Whole patterns for foam and pipe: what they say agrees with itself, with the worked examples, and with solids put together
//! again; every rule that is broken is told at its place.

mod lantern;
mod made;

use std::collections::BTreeMap;

use kurbo::{BezPath, ParamCurve as _, ParamCurveNearest as _, Point, Shape as _};
use lantern::{LANTERN, beside_demo};
use serde_json::Value;
use spanwright::build_file::read;
use spanwright::make::{Files, survey};

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn numbers(value: &Value) -> Vec<f64> {
    list(value).iter().map(number).collect()
}

fn path(piece: &Value) -> BezPath {
    BezPath::from_svg(piece["path"].as_str().expect("path data")).expect("path data")
}

fn piece<'a>(manifest: &'a Value, letter: &str) -> &'a Value {
    list(&manifest["pieces"]).iter().find(|piece| piece["letter"] == letter).unwrap_or_else(|| panic!("no {letter}"))
}

fn of<'a>(manifest: &'a Value, name: &'a str) -> impl Iterator<Item = &'a Value> {
    list(&manifest["pieces"]).iter().filter(move |piece| piece["of"] == name)
}

fn distance(outline: &BezPath, at: Point) -> f64 {
    outline.segments().map(|segment| segment.nearest(at, 1e-6).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
}

/// The lantern as it is finished, without anything for pen and coats.
fn plain() -> String {
    let (before, after) = LANTERN.split_once("[cutting]").expect("it has one");
    let (_, after) = after.split_once("\n\n").expect("it ends");
    format!("{before}{after}")
}

#[test]
fn letters_counts_and_layers_agree() {
    let made = beside_demo(&plain());
    let manifest = &made.manifest;
    let letters: Vec<&str> = list(&manifest["pieces"]).iter().filter_map(|piece| piece["letter"].as_str()).collect();
    let mut unique = letters.clone();
    unique.sort_unstable();
    unique.dedup();
    assert_eq!(unique.len(), letters.len(), "{letters:?}");
    let parts = list(&manifest["building"]["parts"]);
    let head = &parts[0];
    // Worked example of this project: a pipe of 26.67 lies 13 deep in each half, squeezed by 0.67, and the part is 34 thick.
    assert_eq!((number(&head["thickness_mm"]), number(&head["channel_depth_mm"])), (34.0, 13.0));
    for part in parts {
        let letter = part["letters"][0].as_str().expect("a letter");
        let layers = numbers(&part["layers_mm"]);
        let halves = number(&part["halves"]);
        assert!((number(&part["thickness_mm"]) - halves * layers.iter().sum::<f64>()).abs() < 1e-9);
        for (k, thickness) in layers.iter().enumerate() {
            let piece = piece(manifest, &format!("{letter}{}", k + 1));
            assert_eq!(number(&piece["foam_mm"]), *thickness);
            assert_eq!(number(&piece["copies"]), halves, "{letter}{}", k + 1);
            assert_eq!(number(&piece["face_down"]), halves - 1.0);
        }
    }
    // Every step of gluing stands after those of what it is glued onto.
    let order: Vec<&str> = list(&manifest["building"]["order"]).iter().filter_map(Value::as_str).collect();
    let place = |letter: &str| {
        order.iter().position(|step| step.starts_with(letter)).unwrap_or_else(|| panic!("{letter}: {order:?}"))
    };
    assert!(place("B onto A4") < place("C onto"), "{order:?}");
    // In the plain pattern nothing is punched or made smaller.
    assert!(list(&manifest["building"]["punches"]).is_empty());
}

#[test]
fn parts_of_a_split_piece_are_the_piece_and_every_shared_edge_is_there_twice() {
    let whole = plain();
    let (before, after) = whole.split_once("split   =").expect("the shield is split");
    let (_, after) = after.split_once("[[piece.line]]").expect("its lines come next");
    let unsplit = beside_demo(&format!("{before}[[piece.line]]{after}"));
    let split = beside_demo(&whole);
    let area = |made: &made::Made| of(&made.manifest, "shield").map(|piece| path(piece).area()).sum::<f64>();
    assert!((area(&split) - area(&unsplit)).abs() < 1e-3 * area(&unsplit), "{} {}", area(&split), area(&unsplit));
    // An edge between two parts is made of the same places in both.
    let mut seen: BTreeMap<(i64, i64), usize> = BTreeMap::new();
    let outline = path(of(&unsplit.manifest, "shield").next().expect("one piece"));
    for part in of(&split.manifest, "shield") {
        for segment in path(part).segments() {
            let middle = segment.eval(0.5);
            if distance(&outline, middle) > 0.5 {
                #[expect(clippy::cast_possible_truncation, reason = "hundredths of a millimetre")]
                let key = ((100.0 * middle.x).round() as i64, (100.0 * middle.y).round() as i64);
                *seen.entry(key).or_default() += 1;
            }
        }
    }
    assert!(seen.len() > 20 && seen.values().all(|count| *count == 2), "{seen:?}");
    // Marks of two mates lie on each other, with as many strokes, and name each other.
    let marks = |piece: &Value| -> Vec<(String, u64, Point)> {
        let marks = list(&piece["markings"]).iter().filter(|marking| marking["kind"] == "match");
        marks
            .map(|marking| {
                let strokes = BezPath::from_svg(marking["path"].as_str().expect("a path")).expect("path data");
                let starts: Vec<Point> = strokes.segments().map(|segment| segment.start()).collect();
                let sum = starts.iter().fold(kurbo::Vec2::ZERO, |sum, at| sum + at.to_vec2());
                #[expect(clippy::cast_precision_loss, reason = "one to three")]
                let middle = (sum / starts.len() as f64).to_point();
                (
                    marking["mate"].as_str().expect("a letter").to_owned(),
                    marking["strokes"].as_u64().expect("a count"),
                    middle,
                )
            })
            .collect()
    };
    let parts: Vec<&Value> = of(&split.manifest, "shield").collect();
    let mut pairs = 0;
    for part in &parts {
        for (mate, strokes, at) in marks(part) {
            let Some(other) = parts.iter().find(|other| other["letter"] == mate.as_str()) else { continue };
            let found = marks(other).into_iter().any(|(back, count, there)| {
                part["letter"] == back.as_str() && count == strokes && there.distance(at) < 0.01
            });
            assert!(found, "{} to {mate} at {at:?}", part["letter"]);
            pairs += 1;
        }
    }
    assert!(pairs >= 12, "{pairs}");
}

/// The surface of a part at `far` mm from its outline, as the build file describes it, found without the program.
fn height(section: &str, half: f64, land: f64, edge: f64, far: f64) -> f64 {
    let rise = half - land;
    match section {
        "bevelled" => land + rise * (far / edge).min(1.0),
        // A quarter of an ellipse, edge broad and rise high.
        "rounded" => land + rise * (1.0 - (1.0 - (far / edge).min(1.0)).powi(2)).max(0.0).sqrt(),
        other => panic!("{other}"),
    }
}

/// A build of one part, 160 by 90 mm with a round end, sized by a known length of the picture.
fn part(section: &str, more: &str) -> String {
    format!(
        "[build]\nname = \"Vane\"\n[paper]\nuse = [\"A3\"]\n[[piece]]\nname = \"vane\"\nfixed = true\n\
         outline = \"M 0 0 H 120 C 150 0 160 20 160 45 C 160 70 150 90 120 90 H 0 L 30 45 Z\"\n\
         thickness = \"40 mm\"\nsection = \"{section}\"\n{more}"
    )
}

/// The surface of a solid as many places on it.
struct Surface {
    places: Vec<(Point, f64)>,
}

impl Surface {
    const STEP: f64 = 0.4;

    fn of(outline: &BezPath, height: impl Fn(f64) -> f64) -> Self {
        let bounds = outline.bounding_box();
        let mut places = Vec::new();
        let mut y = bounds.y0;
        while y < bounds.y1 {
            let mut x = bounds.x0;
            while x < bounds.x1 {
                let at = Point::new(x, y);
                if outline.winding(at) != 0 {
                    places.push((at, height(distance(outline, at))));
                }
                x += Self::STEP;
            }
            y += Self::STEP;
        }
        // The upright face at the outline.
        let foot = height(0.0);
        places.extend(outline.segments().flat_map(|s| (0..200).map(move |k| (s.eval(f64::from(k) / 200.0), foot))));
        Self { places }
    }

    /// How far a place at a height is from it; 0 below it.
    fn far(&self, at: Point, z: f64) -> f64 {
        let near = |(p, high): &(Point, f64)| {
            let aside = p.distance(at);
            if aside > 10.0 { f64::INFINITY } else { aside.hypot((z - high).max(0.0)) }
        };
        (self.places.iter().map(near).fold(f64::INFINITY, f64::min) - Self::STEP / 2.0).max(0.0)
    }
}

/// Whether a disc of 2 mm within `layer` holds the place.
fn broad(layer: &BezPath, at: Point) -> bool {
    let around = (0..24).map(|k| at + 0.98 * kurbo::Vec2::from_angle(f64::from(k) * std::f64::consts::TAU / 24.0));
    around.chain([at]).any(|p| layer.winding(p) != 0 && distance(layer, p) > 0.95)
}

#[test]
fn solids_put_together_again_hold_their_section_and_stand_out_by_no_more_than_is_told() {
    for (section, more, edge, land) in [
        ("bevelled", "edge = \"18 mm\"\nland = \"4 mm\"\n", 18.0, 2.0),
        ("rounded", "edge = \"15 mm\"\n", 15.0, 0.0),
        ("rounded", "edge = \"12 mm\"\nlayers = [\"10 mm\", \"6 mm\", \"4 mm\"]\nland = \"6 mm\"\n", 12.0, 3.0),
    ] {
        let made = made::build(&part(section, more));
        let told = &made.manifest["building"]["parts"][0];
        let levels = numbers(&told["levels_mm"]);
        let deepest = number(&told["deepest_sanding_mm"]);
        let half = levels[levels.len() - 1];
        let layers: Vec<BezPath> = (1..levels.len()).map(|k| path(piece(&made.manifest, &format!("A{k}")))).collect();
        let outline = &layers[0];
        let bounds = outline.bounding_box();
        let mut looked_at = 0;
        for i in 0..80 {
            for j in 0..45 {
                let at = Point::new(
                    bounds.x0 + bounds.width() * f64::from(i) / 79.0,
                    bounds.y0 + bounds.height() * f64::from(j) / 44.0,
                );
                if outline.winding(at) == 0 {
                    continue;
                }
                let far = distance(outline, at);
                let wanted = height(section, half, land, edge, far);
                let layer = layers
                    .iter()
                    .rposition(|layer| layer.winding(at) != 0 || distance(layer, at) < 0.04)
                    .expect("in the lowest");
                let built = levels[layer + 1];
                assert!(built >= wanted - 0.05, "{section} hollow at {at:?}: {built} of {wanted}");
                looked_at += 1;
            }
        }
        assert!(looked_at > 2000, "{looked_at}");
        // How far the upper face of every layer, where nothing covers it, is from the surface.
        let surface = Surface::of(outline, |far| height(section, half, land, edge, far));
        let mut worst: f64 = 0.0;
        for (k, (layer, pair)) in layers.iter().zip(levels.windows(2)).enumerate() {
            let grid = (0..107).flat_map(|i| (0..60).map(move |j| Point::new(1.5 * f64::from(i), 1.5 * f64::from(j))));
            let grid = grid.map(|p| p + bounds.origin().to_vec2()).filter(|p| layer.winding(*p) != 0);
            let bare = |p: &Point| layers.get(k + 1).is_none_or(|above| above.winding(*p) == 0);
            for at in layer.segments().map(|s| s.eval(0.5)).chain(grid).filter(|p| bare(p) && broad(layer, *p)) {
                let off = surface.far(at, pair[1]);
                assert!(off <= deepest + 0.2, "{section}: {off} at {at:?}, told {deepest}");
                worst = worst.max(off);
            }
        }
        assert!(worst > 0.85 * deepest, "{section}: {worst} of {deepest} told");
    }
}

/// How high a dome or a knife edge of this width is, `far` mm from the outline, in millimetres: the cap of a ball, or straight up.
fn ridge(section: &str, half: f64, land: f64, width: f64, far: f64) -> f64 {
    let (rise, far) = ((half - land).min(width), far.min(width));
    let radius = (width * width + rise * rise) / (2.0 * rise);
    match section {
        "domed" => land + (radius * radius - (width - far).powi(2)).sqrt() - (radius - rise),
        "knife edge" => land + rise * far / width,
        other => panic!("{other}"),
    }
}

/// Shapes whose middle line is known: path data, and how broad they are at a place of the outline.
type Known = (&'static str, fn(Point) -> f64);

fn blade_width(at: Point) -> f64 {
    // Its point is at (520, 30); the sides there fall by 30 mm over 220.
    let slope = 30.0_f64 / 220.0;
    let from_point = Point::new(520.0, 30.0).distance(at);
    if at.x > 300.0 { (from_point * slope).min(30.0) } else { 30.0 }
}

/// Breadths of a tile, a blade with a square end and a long point, and a ring.
const KNOWN: [Known; 3] = [
    ("M0 0H100V100H0Z", |_| 50.0),
    ("M0 0H300L520 30L300 60H0Z", blade_width),
    ("M0 60A60 60 0 0 1 120 60A60 60 0 0 1 0 60ZM32 60A28 28 0 0 0 88 60A28 28 0 0 0 32 60Z", |_| 16.0),
];

#[test]
fn domes_and_knife_edges_put_together_again_follow_the_breadth_of_the_part() {
    for ((data, width), (section, land)) in
        KNOWN.into_iter().flat_map(|known| [(known, ("domed", 0.0)), (known, ("knife edge", 1.0))])
    {
        let text = format!(
            "[build]\nname = \"Vane\"\n[paper]\nuse = [\"A3\"]\n[[piece]]\nname = \"vane\"\nfixed = true\noutline = \"{data}\"\n\
             thickness = \"20 mm\"\nlayers = [\"4 mm\", \"3 mm\", \"3 mm\"]\nsection = \"{section}\"\nland = \"{} mm\"\n",
            2.0 * land
        );
        let made = made::build(&text);
        let told = &made.manifest["building"]["parts"][0];
        let (levels, deepest) = (numbers(&told["levels_mm"]), number(&told["deepest_sanding_mm"]));
        let half = levels[levels.len() - 1];
        let layers: Vec<BezPath> = (1..levels.len()).map(|k| path(piece(&made.manifest, &format!("A{k}")))).collect();
        let outline = &layers[0];
        let foot = |at: Point| {
            let near = outline.segments().map(|s| (s.nearest(at, 1e-6), s));
            let (near, segment) = near.min_by(|a, b| a.0.distance_sq.total_cmp(&b.0.distance_sq)).expect("an outline");
            (near.distance_sq.sqrt(), width(segment.eval(near.t)))
        };
        let bounds = outline.bounding_box();
        let mut looked_at = 0;
        for (i, j) in (0..110).flat_map(|i| (0..41).map(move |j| (i, j))) {
            let at = Point::new(
                bounds.x0 + bounds.width() * f64::from(i) / 109.0,
                bounds.y0 + bounds.height() * f64::from(j) / 40.0,
            );
            if outline.winding(at) == 0 {
                continue;
            }
            let (far, width) = foot(at);
            let wanted = ridge(section, half, land, width, far);
            let layer = layers.iter().rposition(|layer| layer.winding(at) != 0 || distance(layer, at) < 0.1);
            let built = levels[layer.expect("in the lowest") + 1];
            // A ridge narrower than 2 mm is not cut: at most 45° steep, it is 1 mm high.
            let hair = if width - far < 1.1 { (half - land).min(width) / width } else { 0.0 };
            assert!(built >= wanted - 0.05 - hair, "{section} {data}: hollow at {at:?}, {built} of {wanted}");
            looked_at += 1;
        }
        assert!(looked_at > 1000, "{looked_at}");
        let mut worst: f64 = 0.0;
        for (layer, pair) in layers.iter().zip(levels.windows(2)) {
            for segment in layer.segments() {
                let (far, width) = foot(segment.eval(0.5));
                let corner = Point::new(far, pair[1]);
                let face = if corner.y <= land { corner.x } else { f64::INFINITY };
                let surface = (0..2000).map(|k| {
                    let far = width * f64::from(k) / 1999.0;
                    Point::new(far, ridge(section, half, land, width, far))
                });
                let off = surface.map(|on| on.distance(corner)).fold(face, f64::min);
                assert!(off <= deepest + 0.1, "{section} {data}: {off} at {far} of {width}, told {deepest}");
                worst = worst.max(off);
            }
        }
        assert!(worst > 0.85 * deepest, "{section} {data}: {worst} of {deepest} told");
    }
}

/// Worked values of this project: a rod of 8 mm lies in a groove 5.66 mm deep and 11.31 broad.
#[test]
fn pieces_at_full_size_lie_on_one_another_and_hold_their_pipes() {
    let text = "[build]\nname = \"Vane\"\n[paper]\nuse = [\"A3\"]\n\
                [[pipe]]\nname = \"rod\"\noutside = \"8 mm\"\nfrom = [-20, 40]\nto = [140, 40]\n\
                [[piece]]\nname = \"plate\"\nletter = \"A\"\nfixed = true\noutline = \"M 0 0 H 200 V 80 H 0 Z\"\nthickness = \"20 mm\"\n\
                pipe = \"rod\"\nchannel = \"groove\"\nlayers = [\"10 mm\"]\n\
                [[piece]]\nname = \"badge\"\nfixed = true\nfoam = \"3 mm\"\non = \"plate\"\noutline = \"M 150 20 H 190 V 60 H 150 Z\"\n";
    let made = made::build(text);
    let plate = piece(&made.manifest, "A");
    let of_kind = |kind: &str| -> Vec<&Value> {
        list(&plate["markings"]).iter().filter(|marking| marking["kind"] == kind).collect()
    };
    let grooves = of_kind("groove");
    assert_eq!(grooves.len(), 1);
    assert!((number(&grooves[0]["depth_mm"]) - 5.657).abs() < 1e-3);
    assert!((number(&grooves[0]["opens_mm"]) - 11.314).abs() < 1e-3);
    let run = path(grooves[0]).bounding_box();
    assert!(run.x0.abs() < 0.6 && (run.x1 - 140.0).abs() < 0.6, "from the edge to where it stops: {run:?}");
    assert!(list(&plate["notes"]).iter().any(|note| note.as_str().is_some_and(|note| note.contains("tilted 45°"))));
    let placed = path(of_kind("placement")[0]).bounding_box();
    assert_eq!([placed.x0, placed.y0, placed.x1, placed.y1].map(f64::round), [151.0, 21.0, 189.0, 59.0]);
}

/// A developed cone keeps every length: straight lines on the blank, put onto the cone, are as long there, by quadrature.
#[test]
fn a_cone_rolled_up_again_closes_and_keeps_its_lengths() {
    let text = "[build]\nname = \"Collar\"\n[paper]\nuse = [\"A3\"]\n[[piece]]\nname = \"collar\"\nfoam = \"5 mm\"\n\
                [piece.wrap]\nform = \"round\"\ninside = \"120 mm\"\nto_inside = \"70 mm\"\nlength = \"120 mm\"\n";
    let made = made::build(text);
    let outline = path(piece(&made.manifest, "A"));
    // The neutral layer of 5 mm foam, half way in: the cone it lies on has these radii and height.
    let (sin, cos) = {
        let slant = 25.0_f64.hypot(120.0);
        (25.0 / slant, 120.0 / slant)
    };
    let outward = 0.5 * 5.0 * cos;
    let radii = [60.0 + outward, 35.0 + outward];
    // The middle of its arcs lies where the two seam edges meet.
    let lines: Vec<kurbo::Line> =
        outline.segments().filter_map(|s| if let kurbo::PathSeg::Line(line) = s { Some(line) } else { None }).collect();
    assert_eq!(lines.len(), 2, "two seams and two arcs");
    let apex = lines[0].crossing_point(lines[1]).expect("they are not parallel");
    // On the blank: distance from the apex, and angle; on the cone: radius sin · ρ, turned by angle / sin.
    let middle = {
        let bounds = outline.bounding_box();
        Point::new(apex.x, f64::midpoint(bounds.y0, bounds.y1))
    };
    let axis = (middle - apex).atan2();
    let onto = |at: Point| {
        let ray = at - apex;
        let turn = (ray.atan2() - axis) / sin;
        let radius = sin * ray.hypot();
        [radius * turn.cos(), radius * turn.sin(), cos * ray.hypot()]
    };
    let far = |a: [f64; 3], b: [f64; 3]| (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt();
    // The ends of the seams come together, and the arcs are circles of the right size.
    for (a, b) in [(lines[0].p0, lines[1].p1), (lines[0].p1, lines[1].p0)] {
        assert!(far(onto(a), onto(b)) < 0.02, "{:?} {:?}", onto(a), onto(b));
    }
    for segment in outline.segments().filter(|s| !matches!(s, kurbo::PathSeg::Line(_))) {
        let [x, y, _] = onto(segment.eval(0.3));
        let radius = x.hypot(y);
        assert!(radii.iter().any(|wanted| (radius - wanted).abs() < 0.01), "{radius} of {radii:?}");
    }
    let ends = [Point::new(middle.x - 60.0, middle.y), Point::new(middle.x + 70.0, middle.y - 10.0)];
    let at = |k: u32| onto(ends[0].lerp(ends[1], f64::from(k) / 20_000.0));
    let along: f64 = (0..20_000).map(|k| far(at(k), at(k + 1))).sum();
    assert!((along - ends[0].distance(ends[1])).abs() < 1e-3, "{along} of {}", ends[0].distance(ends[1]));
}

#[test]
fn for_another_wearer_hardware_stays_and_all_else_is_solved_again() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::copy(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images/signal-staff.png"),
        folder.path().join("signal-staff.png"),
    )
    .expect("copied");
    let file = folder.path().join("lantern.toml");
    std::fs::write(&file, LANTERN).expect("written");
    let out = folder.path().join("out");
    let run = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spanwright"))
        .args(["make", "--height", "150cm", "--out"])
        .args([&out, &file])
        .output()
        .expect("it runs");
    let told = String::from_utf8_lossy(&run.stderr).into_owned();
    assert!(run.status.success(), "{told}");
    let read = |name: &str| -> Value {
        serde_json::from_slice(&std::fs::read(out.join(name)).expect("written")).expect("JSON")
    };
    let (first, other) = (read("made.json"), read("for-1500-mm/made.json"));
    let ratio = 1535.0 / 1715.0;
    let long = |manifest: &Value, letter: &str| number(&piece(manifest, letter)["length_mm"]);
    assert!((long(&other, "B") / long(&first, "B") - ratio).abs() < 0.01);
    // Worked example of this project: 34 mm become 30, with the thinner pipe.
    let pipe = |manifest: &Value| number(&manifest["building"]["pipes"][0]["outside_mm"]);
    assert!((pipe(&first) - 26.67).abs() < 1e-3 && (pipe(&other) - 21.336).abs() < 1e-3);
    let thick = |manifest: &Value| number(&manifest["building"]["parts"][0]["thickness_mm"]);
    assert_eq!((thick(&first), thick(&other)), (34.0, 30.0));
    // A wrap goes around the pipe that is taken, and closes by the neutral line of its foam.
    let grip = |manifest: &Value| {
        let size = path(of(manifest, "grip").next().expect("a grip")).bounding_box();
        let closing = std::f64::consts::PI * (pipe(manifest) + 5.0);
        (size.width() - closing).abs().min((size.height() - closing).abs())
    };
    assert!(grip(&first) < 3.0 && grip(&other) < 3.0, "{} {}", grip(&first), grip(&other));
    assert!(told.contains("shaft: 21.3 mm outside instead of 26.7 mm"), "{told}");
    let changed = list(&other["building"]["changed"]);
    assert!(changed.len() >= 3 && list(&first["building"]["changed"]).is_empty(), "{changed:?}");
}

struct Demo;

impl Files for Demo {
    fn read(&self, name: &str) -> std::io::Result<Vec<u8>> {
        std::fs::read(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images").join(name))
    }
}

/// The codes of all problems of a build, each with its line.
fn codes(text: &str) -> Vec<(&'static str, usize)> {
    let reading = read(text);
    let problems = match reading.build {
        Some(build) => match survey(build, reading.problems, &Demo) {
            Ok(found) => found.problems,
            Err(errors) => errors,
        },
        None => reading.problems,
    };
    problems.iter().map(|problem| (problem.code, problem.place.map_or(0, |place| place.line))).collect()
}

/// Each rule broken in turn: what is changed, the code of what is told, and what stands on the line that is blamed.
#[test]
fn every_broken_rule_is_told_at_its_place() {
    let rules: &[(&str, &str, &str, &str)] = &[
        (
            "sheet    = [\"600 mm\", \"600 mm\"]",
            "sheet    = [\"320 mm\", \"320 mm\"]",
            "larger_than_sheet",
            "[[piece]]",
        ),
        ("foam    = \"3 mm\"\non", "foam    = \"8 mm\"\non", "foam_missing", "[[piece]]"),
        ("on      = [\"head\", \"emblem\"]", "on      = \"head\"", "both_on_one_place", "on      = \"head\""),
        (
            "M 280 960 H 330 V 1000 H 280 Z",
            "M 680 960 H 730 V 1000 H 680 Z",
            "lies_on_nothing",
            "on      = [\"head\", \"emblem\"]",
        ),
        (
            "on      = \"head\"\n\n[[piece]]\nname    = \"crest\"",
            "on      = \"crest\"\n\n[[piece]]\nname    = \"crest\"",
            "circular",
            "on      = ",
        ),
        ("edge      = \"14 mm\"", "edge      = \"400 mm\"", "section_swallows", "edge      = "),
        ("thickness = \"34 mm\"", "thickness = \"26 mm\"", "no_channel", "thickness = "),
        (
            "thickness = \"20 mm\"\nsection   = \"knife",
            "thickness = \"200 mm\"\nsection   = \"knife",
            "too_thick",
            "thickness = ",
        ),
        ("to      = [305.5, 2200.0]\n", "to      = [305.5, 1465.0]\n", "channel_stops_late", "pipe      = "),
        (
            "from    = [305.5, 1130.0]\nto      = [305.5, 2200.0]",
            "from    = [120.5, 1130.0]\nto      = [120.5, 2200.0]",
            "channel_near_edge",
            "pipe      = ",
        ),
        ("outside = \"13.5 mm\"", "outside = \"26 mm\"", "bore_too_small", "into    = \"shaft\""),
        ("outside = \"13.5 mm\"", "outside = \"16 mm\"", "no_shim", "into    = \"shaft\""),
        ("moment  = 2.87", "engagement = \"20 mm\"", "joint_short", "engagement"),
        (
            "[60, 1800], [300, 1830], [560, 1800]",
            "[60, 1800], [300, 1830], [400, 1820]",
            "split_ends_inside",
            "split   =",
        ),
        (
            "[60, 1800], [300, 1830], [560, 1800]",
            "[1060, 1800], [1300, 1830], [1560, 1800]",
            "split_outside",
            "split   =",
        ),
        (
            "[60, 1800], [300, 1830], [560, 1800]",
            "[60, 1800], [300, 1830], [440, 1612], [490, 1590]",
            "split_aslant",
            "split   =",
        ),
        (
            "[60, 1800], [300, 1830], [560, 1800]",
            "[60, 1800], [300, 1830], [560, 1800]], [[60, 1800], [300, 1830], [560, 1800]",
            "split_twice",
            "split   =",
        ),
        ("at       = [200, 1700]", "at       = [200, 1669]", "hole_on_score", "at       ="),
        ("at       = [30, 20]", "at       = [30, 7]", "hole_near_edge", "at       ="),
        ("from  = [700, 1650]", "from  = [602, 1650]", "slot_near_edge", "[[piece.slot]]"),
        ("along = [[80, 1740], [540, 1740]]", "along = [[80, 1400], [540, 1400]]", "line_outside", "[[piece.line]]"),
        ("on      = \"head\"", "on      = \"head\"\ncopies  = 5", "counts_differ", "on      ="),
        ("M 280 960 H 330 V 1000 H 280 Z", "M 280 900 H 330 V 1000 H 280 Z", "reaches_beyond", "on      ="),
        ("at   = [300, 1700]", "at   = [900, 1700]", "part_outside", "at   = "),
        ("at   = [300, 1700]", "at   = [300, 1830]", "part_on_line", "at   = "),
        (
            "along = [[150, 1660], [300, 1680], [450, 1660]]",
            "along = [[150, 1660], [450, 1660]]\ndepth = \"9 mm\"",
            "score_too_deep",
            "depth",
        ),
        (
            "[[piece.line]]\nfor   = \"fold away\"\nalong = [[80, 1740], [540, 1740]]",
            "[[piece.line]]\nfor   = \"score\"\nalong = [[150, 1664], [300, 1686], [450, 1664]]",
            "scores_too_close",
            "[[piece.line]]",
        ),
        ("along = [[850, 1590], [850, 1710]]", "along = [[50, 1590], [50, 1710]]", "line_outside", "[[piece.line]]"),
        ("stretch = true", "stretch = false", "seam_lengths_differ", "[[seam]]"),
        ("second  = [[600, 1700], [992, 1700]]", "second  = [[700, 1700], [992, 1700]]", "seam_too_unlike", "[[seam]]"),
        ("second  = [[600, 1700], [992, 1700]]", "second  = [[600, 1740], [992, 1740]]", "seam_off_edge", "[[seam]]"),
        (
            "second  = [[600, 1700], [992, 1700]]",
            "second  = [[612, 1700], [992, 1700]]",
            "edge_without_mate",
            "[[seam]]",
        ),
        (
            "foam    = \"5 mm\"\n\n[[piece.slot]]",
            "foam    = \"5 mm\"\ncopies  = 2\n\n[[piece.slot]]",
            "counts_differ",
            "[[seam]]",
        ),
        (
            "pipe = \"shaft\", length = \"140 mm\"",
            "inside = \"8 mm\", length = \"140 mm\"",
            "bent_too_tight",
            "wrap = ",
        ),
        ("sides = 8", "sides = 3", "thin_lip", "wrap = "),
        (
            "form = \"cord\", thick = \"10 mm\", pitch = \"60 mm\"",
            "form = \"twisted\", width = \"12 mm\", pitch = \"40 mm\"",
            "twist_too_tight",
            "wrap = ",
        ),
        ("length = \"140 mm\" }", "length = \"1400 mm\" }", "larger_than_sheet", "[[piece]]"),
        (
            "outline = \"M 0 0 H 60 V 40 H 0 Z\"",
            "copies  = 2\noutline = \"M 0 0 H 60 V 10 H 20 V 40 H 0 Z\"",
            "all_face_up",
            "[[piece]]",
        ),
        ("foam    = \"3 mm\"\non", "foam    = \"3 mm\"\nletter  = \"A2\"\non", "duplicate", "letter  = "),
    ];
    let before: Vec<&str> = codes(LANTERN).iter().map(|(code, _)| *code).collect();
    for (from, to, code, line) in rules {
        assert_eq!(LANTERN.matches(from).count(), 1, "{from}");
        let text = LANTERN.replace(from, to);
        let found = codes(&text);
        let more =
            found.iter().filter(|(found, _)| found == code).count() > before.iter().filter(|b| *b == code).count();
        let lines: Vec<&str> = text.lines().collect();
        let there = found.iter().any(|(found, at)| found == code && *at > 0 && lines[at - 1].starts_with(line));
        assert!(more && there, "{to}: {code} at {line} is not told, but {found:?}");
    }
}
