//! Where a piece is too thin, too tight or too sharp to be cut and to hold.
//!
//! The limits are common practice, no source: foam narrower than 6 mm tears, a blade does not turn within 2 mm, points
//! sharper than 15° and edges shorter than 2 mm do not survive sanding.

use std::collections::HashMap;

use kurbo::{ParamCurve, ParamCurveArclen, ParamCurveCurvature, ParamCurveDeriv, PathSeg, Point, Shape, Vec2};

use super::Piece;
use crate::problem::Problem;
use crate::shape::direction;
use crate::space::{Path, Pattern};

/// Least width between two edges, in mm.
const NECK: f64 = 6.0;
/// Least radius of a bend that a blade follows from inside, in mm.
const RADIUS: f64 = 2.0;
/// Least angle of a point, in degrees.
const POINT: f64 = 15.0;
/// Least length of an edge between two corners, in mm.
const EDGE: f64 = 2.0;
/// The outline turns in a corner where its direction jumps by more than this, in degrees.
const CORNER: f64 = 15.0;
/// A bend that turns less than this in all, in degrees, is no bend to the blade.
const BEND: f64 = 30.0;
/// Places looked at lie this far apart, in mm, unless there would be too many of them.
const STEP: f64 = 0.5;
const MOST: f64 = 8000.0;
/// Edges face each other when the way across leaves both within this of squarely, as a cosine.
const FACING: f64 = 0.7;
/// Places of one kind that are told; a person mends these and looks again.
const TOLD: usize = 3;

/// What is frail.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Frailty {
    /// Two edges come close, with foam between them; in mm.
    Neck,
    /// A hollow bend of small radius, in mm.
    TightBend,
    /// A sharp point; its angle in degrees.
    Needle,
    /// Two corners close together; in mm.
    ShortEdge,
}

/// One frail place of an outline.
#[derive(Clone, Copy, Debug)]
pub struct Frail {
    /// What it is.
    pub kind: Frailty,
    /// Where, in the frame of the pattern.
    pub at: crate::space::Point<Pattern>,
    /// How much, in the unit of the kind.
    pub measure: f64,
}

/// The frail places of a closed, oriented outline, worst first within each kind.
pub fn frail(outline: &Path<Pattern>) -> Vec<Frail> {
    // The outline's loops have their foam on one side of the way: which, the sign of its area tells.
    let side = outline.raw().area().signum();
    let loops: Vec<Vec<PathSeg>> = loops(outline);
    let mut found: Vec<Frail> = loops.iter().flat_map(|l| points_and_edges(l, side)).collect();
    found.extend(loops.iter().flat_map(|l| bends(l, side)));
    found.extend(necks(&loops, side));
    let bounds = outline.bounds();
    if bounds.width().min(bounds.height()) < NECK && !found.iter().any(|f| f.kind == Frailty::Neck) {
        let measure = bounds.width().min(bounds.height());
        found.push(Frail { kind: Frailty::Neck, at: bounds.center().into(), measure });
    }
    found.sort_by(|a, b| a.measure.total_cmp(&b.measure));
    found
}

/// The frail places of a piece in words.
pub fn frail_problems(piece: &Piece) -> Vec<Problem> {
    let found = frail(&piece.outline);
    let corner = piece.outline.bounds().origin();
    let kinds = [Frailty::Neck, Frailty::TightBend, Frailty::Needle, Frailty::ShortEdge];
    let about = |kind: Frailty| {
        let places: Vec<&Frail> = found.iter().filter(|f| f.kind == kind).collect();
        let told: Vec<String> = places
            .iter()
            .take(TOLD)
            .map(|f| {
                let unit = if kind == Frailty::Needle { "°" } else { " mm" };
                let at = f.at.raw() - corner;
                format!("{:.1}{unit} at ({:.0}, {:.0})", f.measure, at.x, at.y)
            })
            .collect();
        let more = if places.len() > TOLD { format!(" and {} more", places.len() - TOLD) } else { String::new() };
        let (code, what, next) = match kind {
            Frailty::Neck => ("narrow_neck", "is narrow", "less than 6 mm of foam tears: widen it, or give it a core"),
            Frailty::TightBend => {
                ("tight_bend", "has hollow bends of small radius", "a blade turns in 2 mm: punch or sand them")
            }
            Frailty::Needle => ("needle_point", "has needle points", "points below 15° break off: blunt them"),
            Frailty::ShortEdge => {
                ("short_edge", "has short edges", "edges below 2 mm are lost in sanding: leave them out")
            }
        };
        let text = format!(
            "piece {} “{}” {what}: {}{more}, in mm from its top left; {next}",
            piece.letter,
            piece.name,
            told.join(", ")
        );
        (!places.is_empty()).then(|| Problem::note(code, text))
    };
    kinds.into_iter().filter_map(about).collect()
}

fn loops(outline: &Path<Pattern>) -> Vec<Vec<PathSeg>> {
    let mut loops = Vec::new();
    for part in outline.raw().elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_))) {
        let segments = kurbo::segments(part.iter().copied()).filter(|s| s.arclen(1e-3) > 1e-6);
        let segments: Vec<PathSeg> = segments.collect();
        if !segments.is_empty() {
            loops.push(segments);
        }
    }
    loops
}

/// Signed turn from `a` to `b`, in degrees; above 0 towards the foam, at `side`.
fn turn(a: Vec2, b: Vec2, side: f64) -> f64 {
    side * a.cross(b).atan2(a.dot(b)).to_degrees()
}

fn points_and_edges(segments: &[PathSeg], side: f64) -> Vec<Frail> {
    let n = segments.len();
    let mut corners = Vec::new();
    let mut found = Vec::new();
    let mut along = 0.0;
    for (i, segment) in segments.iter().enumerate() {
        let before = &segments[(i + n - 1) % n];
        let turned = turn(direction(before, 1.0), direction(segment, 0.0), side);
        if turned.abs() > CORNER {
            corners.push((along, segment.start()));
        }
        if turned > 180.0 - POINT {
            found.push(Frail { kind: Frailty::Needle, at: segment.start().into(), measure: 180.0 - turned });
        }
        along += segment.arclen(1e-3);
    }
    let lengths = (0..corners.len()).map(|i| {
        let (from, at) = corners[i];
        let to = corners.get(i + 1).map_or(corners[0].0 + along, |next| next.0);
        (to - from, at)
    });
    let short = lengths.filter(|(length, _)| corners.len() > 1 && *length < EDGE);
    found.extend(short.map(|(measure, at)| Frail { kind: Frailty::ShortEdge, at: at.into(), measure }));
    found
}

/// Hollow bends: stretches of a cubic that turn away from the foam tighter than a blade can.
fn bends(segments: &[PathSeg], side: f64) -> Vec<Frail> {
    const PARTS: u32 = 32;
    let mut found: Vec<Frail> = Vec::new();
    // A bend goes on from one cubic to the next.
    let (mut turned, mut tightest) = (0.0, None::<(f64, Point)>);
    let mut close = |turned: &mut f64, tightest: &mut Option<(f64, Point)>| {
        if let Some((radius, at)) = tightest.take()
            && *turned > BEND
        {
            found.push(Frail { kind: Frailty::TightBend, at: at.into(), measure: radius });
        }
        *turned = 0.0;
    };
    for segment in segments {
        let PathSeg::Cubic(cubic) = segment else {
            close(&mut turned, &mut tightest);
            continue;
        };
        for k in 0..PARTS {
            let t = (f64::from(k) + 0.5) / f64::from(PARTS);
            // kurbo's curvature has the sign of the turn the other way.
            let bent = side * cubic.curvature(t);
            if bent < 1.0 / RADIUS {
                close(&mut turned, &mut tightest);
                continue;
            }
            let step = cubic.deriv().eval(t).to_vec2().hypot() / f64::from(PARTS);
            turned += (bent * step).to_degrees();
            if tightest.is_none_or(|(radius, _)| 1.0 / bent < radius) {
                tightest = Some((1.0 / bent, cubic.eval(t)));
            }
        }
    }
    close(&mut turned, &mut tightest);
    found
}

/// A place on an edge.
struct Place {
    at: Point,
    /// Towards the foam.
    inwards: Vec2,
    /// Its loop, and its number there.
    of: usize,
    index: usize,
}

/// Where two edges that face each other across foam come closest.
fn necks(loops: &[Vec<PathSeg>], side: f64) -> Vec<Frail> {
    let lengths: Vec<f64> = loops.iter().map(|l| l.iter().map(|s| s.arclen(1e-3)).sum()).collect();
    let step = STEP.max(lengths.iter().sum::<f64>() / MOST);
    let rings: Vec<Vec<Place>> = loops.iter().enumerate().map(|(of, l)| places(l, of, step, side)).collect();
    let cell = |p: Point| {
        #[expect(clippy::cast_possible_truncation, reason = "a piece is at most some metres")]
        let index = |v: f64| (v / NECK).floor() as i64;
        (index(p.x), index(p.y))
    };
    let mut cells: HashMap<(i64, i64), Vec<&Place>> = HashMap::new();
    rings.iter().flatten().for_each(|place| cells.entry(cell(place.at)).or_default().push(place));
    let width = |place: &Place| {
        let (x, y) = cell(place.at);
        let near = (y - 1..=y + 1).flat_map(|y| (x - 1..=x + 1).map(move |x| (x, y)));
        let others = near.filter_map(|cell| cells.get(&cell)).flatten();
        let facing = others.filter_map(|other| {
            let across = other.at - place.at;
            let far = across.hypot();
            let faces = across.dot(place.inwards) > FACING * far && -across.dot(other.inwards) > FACING * far;
            (far > 0.0 && far < NECK && faces).then_some((far, *other))
        });
        let (far, other) = facing.min_by(|a, b| a.0.total_cmp(&b.0))?;
        (other.of != place.of || widens(&rings[place.of], place, other)).then_some(far)
    };
    let mut found: Vec<Frail> = Vec::new();
    for ring in &rings {
        let mut start = 0;
        let widths: Vec<Option<f64>> = ring.iter().map(width).collect();
        for run in widths.chunk_by(|a, b| a.is_some() == b.is_some()) {
            let least =
                run.iter().zip(start..).filter_map(|(w, k)| Some(((*w)?, k))).min_by(|a, b| a.0.total_cmp(&b.0));
            start += run.len();
            let Some((least, k)) = least else { continue };
            let middle = ring[k].at + ring[k].inwards * (least / 2.0);
            if found.iter().all(|other| other.at.raw().distance(middle) > NECK) {
                found.push(Frail { kind: Frailty::Neck, at: middle.into(), measure: least });
            }
        }
    }
    found
}

/// Whether what a cut from one place to the other takes off is more than the narrowing end of a point: a triangle has half
/// of its width times its depth, a bar has all.
fn widens(ring: &[Place], from: &Place, to: &Place) -> bool {
    const FULL: f64 = 0.85;
    let n = ring.len();
    let (a, b) = (from.index.min(to.index), from.index.max(to.index));
    let (a, count) = if b - a <= n / 2 { (a, b - a) } else { (b, n - (b - a)) };
    let part = |k: usize| ring[(a + k) % n].at;
    let (start, end) = (part(0), part(count));
    let chord = end - start;
    // Some places of a long way are enough.
    let stride = count.div_ceil(200).max(1);
    let way: Vec<Point> = (0..count).step_by(stride).map(part).chain([end]).collect();
    let area: f64 = way.windows(2).map(|p| (p[0] - start).cross(p[1] - start) / 2.0).sum();
    let depth = way.iter().map(|p| (chord.cross(*p - start) / chord.hypot()).abs()).fold(0.0, f64::max);
    depth > chord.hypot() && area.abs() > FULL * depth * chord.hypot()
}

/// Places on a loop, `step` apart or a little closer.
fn places(segments: &[PathSeg], of: usize, step: f64, side: f64) -> Vec<Place> {
    let mut places = Vec::new();
    for segment in segments {
        let length = segment.arclen(1e-3);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded by the step")]
        let count = (length / step).ceil().max(1.0) as u32;
        for k in 0..count {
            let part = (f64::from(k) + 0.5) / f64::from(count);
            let t = segment.inv_arclen(part * length, 1e-3);
            let inwards = direction(segment, t).turn_90() * side;
            places.push(Place { at: segment.eval(t), inwards, of, index: places.len() });
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use kurbo::{Affine, BezPath, Circle, Rect, RoundedRect};

    use super::*;

    fn of(path: BezPath, kind: Frailty) -> Vec<(f64, Point)> {
        let path = if path.area() < 0.0 { path.reverse_subpaths() } else { path };
        frail(&Path::new(path)).into_iter().filter(|f| f.kind == kind).map(|f| (f.measure, f.at.raw())).collect()
    }

    fn svg(d: &str) -> BezPath {
        BezPath::from_svg(d).expect("path data")
    }

    const ALL: [Frailty; 4] = [Frailty::Neck, Frailty::TightBend, Frailty::Needle, Frailty::ShortEdge];

    #[test]
    fn sturdy_shapes_have_no_frail_place() {
        let sturdy = [
            Rect::new(0.0, 0.0, 60.0, 40.0).to_path(0.1),
            Circle::new((0.0, 0.0), 30.0).to_path(1e-3),
            RoundedRect::new(0.0, 0.0, 200.0, 8.0, 3.0).to_path(1e-3),
            svg("M0 0L100 20L0 40Z"),
        ];
        for path in sturdy {
            for kind in ALL {
                assert!(of(path.clone(), kind).is_empty(), "{kind:?}: {:?}", of(path.clone(), kind));
            }
        }
    }

    #[test]
    fn a_dumbbell_is_narrow_in_the_middle() {
        let bell = svg("M0 0H40C60 0 60 18 80 18S100 0 120 0H160V40H120C100 40 100 22 80 22S60 40 40 40H0Z");
        for turn in [0.0, 0.7] {
            let turned = Affine::rotate(turn) * bell.clone();
            let necks = of(turned, Frailty::Neck);
            assert_eq!(necks.len(), 1, "{necks:?}");
            let (width, at) = necks[0];
            assert!((width - 4.0).abs() < 0.1, "{width}");
            assert!(at.distance(Affine::rotate(turn) * Point::new(80.0, 20.0)) < 1.0, "{at:?}");
        }
    }

    #[test]
    fn a_thin_wall_beside_a_hole_and_a_thin_bar_are_narrow() {
        let mut ring = Circle::new((0.0, 0.0), 30.0).to_path(1e-3);
        ring.extend(Circle::new((5.0, 0.0), 22.0).to_path(1e-3).reverse_subpaths());
        let necks = of(ring, Frailty::Neck);
        assert_eq!(necks.len(), 1, "{necks:?}");
        assert!((necks[0].0 - 3.0).abs() < 0.1 && necks[0].1.x > 25.0, "{necks:?}");
        let bar = of(Rect::new(0.0, 0.0, 100.0, 5.0).to_path(0.1), Frailty::Neck);
        assert!(!bar.is_empty() && bar.iter().all(|(width, _)| (width - 5.0).abs() < 0.1), "{bar:?}");
    }

    #[test]
    fn a_needle_is_a_point_and_no_neck() {
        let needle = svg("M0 0L100 8L0 16Z");
        let points = of(needle.clone(), Frailty::Needle);
        // 2 atan(8 / 100).
        assert!(points.len() == 1 && (points[0].0 - 9.148).abs() < 0.01, "{points:?}");
        assert!(of(needle.clone(), Frailty::Neck).is_empty(), "{:?}", of(needle, Frailty::Neck));
        assert!(of(svg("M0 0L100 20L0 40Z"), Frailty::Needle).is_empty());
    }

    #[test]
    fn hollow_bends_are_tight_and_full_ones_are_not() {
        let keyhole = svg("M0 0H60V40H31.5V20A1.5 1.5 0 0 0 28.5 20V40H0Z");
        let bends = of(keyhole, Frailty::TightBend);
        assert!(bends.len() == 1 && (bends[0].0 - 1.5).abs() < 0.05, "{bends:?}");
        let knob = RoundedRect::new(0.0, 0.0, 60.0, 40.0, 1.5).to_path(1e-3);
        assert!(of(knob, Frailty::TightBend).is_empty(), "round corners outside are sanded");
    }

    #[test]
    fn a_notch_of_one_millimetre_has_short_edges() {
        let notch = of(svg("M0 0H30V1H31V0H60V40H0Z"), Frailty::ShortEdge);
        assert_eq!(notch.len(), 3, "{notch:?}");
    }
}
