//! A smooth curve → the fewest lines and cubics that pass within a tolerance, with no break of direction between them.

use kurbo::simplify::SimplifyBezPath;
use kurbo::{BezPath, CubicBez, ParamCurve, PathEl, PathSeg, Point, fit_to_bezpath_opt};

use super::course::Stretch;

/// A run this straight, in pixels, is a line.
const STRAIGHT: f64 = 0.04;
/// Shortest run, in pixels, to be made a line between curves.
const SHORTEST_LINE: f64 = 24.0;
/// A cubic that bows less than this, in pixels, is a line.
const FLAT: f64 = 0.02;
/// Between places looked at along a cubic: a part of it.
const PARTS: u32 = 8;

/// Lines and cubics from the first place of `curve` to its last, within `tolerance`, after the start. `rest` is what noise
/// may have left in the curve, a standard deviation in pixels.
pub(super) fn fewest(curve: &[CubicBez], tolerance: f64, rest: f64) -> (Point, Vec<PathEl>) {
    let start = curve[0].p0;
    let runs = straight_runs(curve, STRAIGHT + rest);
    let bent = cubics(curve.to_vec(), start, None, tolerance);
    let mixed = if runs.is_empty() { bent.clone() } else { with_lines(curve, &runs, tolerance) };
    // Lines are worth having where the shape has them, not where a gentle bend is chopped into them.
    let best = if mixed.len() <= bent.len() + 1 { mixed } else { bent };
    (start, flat_cubics_to_lines(start, best))
}

fn with_lines(curve: &[CubicBez], runs: &[Run], tolerance: f64) -> Vec<PathEl> {
    let mut elements = Vec::new();
    let mut pen = (0.0, curve[0].p0);
    for run in runs {
        if run.from > pen.0 {
            elements.extend(cubics(between(curve, pen.0, run.from), pen.1, Some(run), tolerance));
        }
        elements.push(PathEl::LineTo(run.end));
        pen = (run.to, run.end);
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of cubics")]
    let last = curve.len() as f64;
    if pen.0 < last {
        elements.extend(cubics(between(curve, pen.0, last), pen.1, None, tolerance));
    }
    elements
}

/// A part of a curve that is a line.
struct Run {
    /// Places on the curve: number of the cubic and parameter on it, in one.
    from: f64,
    to: f64,
    start: Point,
    end: Point,
}

/// The longest lines in `curve`, in its order.
fn straight_runs(curve: &[CubicBez], limit: f64) -> Vec<Run> {
    #[expect(clippy::cast_precision_loss, reason = "a count of cubics")]
    let places: Vec<(f64, Point)> = curve
        .iter()
        .enumerate()
        .flat_map(|(k, c)| (0..PARTS).map(move |i| (k, f64::from(i) / f64::from(PARTS), c)))
        .map(|(k, t, c)| (k as f64 + t, c.eval(t)))
        .chain([(curve.len() as f64, curve[curve.len() - 1].p3)])
        .collect();
    let mut runs = Vec::new();
    let mut from = 0;
    while from + 2 < places.len() {
        let to = straight_from(&places, from, limit);
        if places[from].1.distance(places[to].1) < SHORTEST_LINE {
            from += 1;
            continue;
        }
        // The ends of a run reach into the bends beside it by what the limit allows. A run that bows by about that is
        // part of a bend itself.
        let (first, last) = (from == 0, to == places.len() - 1);
        let (inner, outer) = (from + usize::from(!first), to - usize::from(!last));
        if bow(&places[inner..=outer]) <= 0.4 * limit {
            runs.extend(line_through(&places[inner..=outer], first, last));
        }
        from = to;
    }
    runs
}

/// Rise in the middle of the parabola over the chord that fits a run best.
fn bow(run: &[(f64, Point)]) -> f64 {
    let (a, b) = (run[0].1, run[run.len() - 1].1);
    let (length, chord) = ((b - a).hypot(), (b - a) / (b - a).hypot().max(1e-12));
    let (rise, weight) = run.iter().fold((0.0, 1e-12), |(rise, weight), (_, p)| {
        let along = (*p - a).dot(chord) / length;
        let arch = 4.0 * along * (1.0 - along);
        (rise + arch * chord.cross(*p - a), weight + arch * arch)
    });
    (rise / weight).abs()
}

/// How far from place number `from` the way stays within `limit` of its chord.
fn straight_from(places: &[(f64, Point)], from: usize, limit: f64) -> usize {
    let straight = |to: usize| {
        let (a, b) = (places[from].1, places[to].1);
        let chord = (b - a) / (b - a).hypot().max(1e-12);
        places[from..=to].iter().all(|(_, p)| chord.cross(*p - a).abs() <= limit)
    };
    let (mut to, mut stride) = (from + 1, 8);
    while to < places.len() - 1 {
        let next = (to + stride).min(places.len() - 1);
        if straight(next) {
            to = next;
            stride *= 2;
        } else if stride > 1 {
            stride /= 2;
        } else {
            break;
        }
    }
    to
}

/// The best line through a run; an end of the whole curve stays where it is.
fn line_through(run: &[(f64, Point)], start_stays: bool, end_stays: bool) -> Option<Run> {
    let (first, last) = (run[0], run[run.len() - 1]);
    let by_distance: Vec<(f64, Point)> = run.iter().map(|(_, p)| ((*p - first.1).hypot(), *p)).collect();
    let line = Stretch::fit(&by_distance, 1)?;
    let (origin, along) = (line.at(0.0), line.along(0.0) / line.along(0.0).hypot());
    let drop = |p: Point| origin + along * (p - origin).dot(along);
    let start = if start_stays { first.1 } else { drop(first.1) };
    let end = if end_stays { last.1 } else { drop(last.1) };
    Some(Run { from: first.0, to: last.0, start, end })
}

/// The part of `curve` between two places.
fn between(curve: &[CubicBez], from: f64, to: f64) -> Vec<CubicBez> {
    #[expect(clippy::cast_precision_loss, reason = "a count of cubics")]
    let part = |(k, cubic): (usize, &CubicBez)| {
        let range = (from - k as f64).clamp(0.0, 1.0)..(to - k as f64).clamp(0.0, 1.0);
        (range.end - range.start > 1e-9).then(|| cubic.subsegment(range))
    };
    curve.iter().enumerate().filter_map(part).collect()
}

/// `part` in as few cubics as `tolerance` allows, its start moved to `start` and its end to the start of the line after
/// it. Both are moved by hundredths of a pixel; handles move along, so that no long cubic is swung by a line's direction.
fn cubics(part: Vec<CubicBez>, start: Point, after: Option<&Run>, tolerance: f64) -> Vec<PathEl> {
    let Some(first) = part.first() else { return Vec::new() };
    let mut whole = BezPath::new();
    whole.move_to(first.p0);
    part.iter().for_each(|c| whole.curve_to(c.p1, c.p2, c.p3));
    let fitted = if part.len() > 1 { fit_to_bezpath_opt(&SimplifyBezPath::new(&whole), tolerance) } else { whole };
    let mut elements = fitted.elements()[1..].to_vec();
    if let Some(PathEl::CurveTo(a, ..)) = elements.first_mut() {
        *a += start - first.p0;
    }
    if let (Some(PathEl::CurveTo(_, b, end)), Some(run)) = (elements.last_mut(), after) {
        *b += run.start - *end;
        *end = run.start;
    }
    elements
}

/// Draws what bows too little to be seen as lines.
fn flat_cubics_to_lines(start: Point, elements: Vec<PathEl>) -> Vec<PathEl> {
    let mut pen = start;
    elements
        .into_iter()
        .map(|element| {
            let from = pen;
            match element {
                PathEl::CurveTo(a, b, end) => {
                    pen = end;
                    let chord = (end - from) / (end - from).hypot().max(1e-12);
                    let flat = |p: Point| chord.cross(p - from).abs() < FLAT;
                    if flat(a) && flat(b) { PathEl::LineTo(end) } else { element }
                }
                PathEl::LineTo(end) => {
                    pen = end;
                    element
                }
                _ => element,
            }
        })
        .collect()
}

/// Distance from `p` to the nearest of `segments`.
pub(super) fn distance_to(p: Point, segments: &[PathSeg]) -> f64 {
    use kurbo::ParamCurveNearest;
    segments.iter().map(|s| s.nearest(p, 1e-4).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
}
