//! A smooth curve → the fewest lines and cubics that pass within a tolerance, with no break of direction between them.

use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, PathEl, Point, Vec2};

use super::course::Stretch;

/// A run this straight, in pixels, is a line.
const STRAIGHT: f64 = 0.04;
/// Shortest run, in pixels, to be made a line between curves.
const SHORTEST_LINE: f64 = 24.0;
/// A cubic that bows less than this, in pixels, is a line.
const FLAT: f64 = 0.02;
/// Most that one cubic turns, in radians: beyond about a half turn its handles would cross.
const MOST_TURN: f64 = 2.6;
/// Rounds after which a cubic has settled.
const SETTLE: usize = 16;
/// Between places looked at along a cubic: a part of it.
const PARTS: u32 = 6;

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
    let nodes = nodes(&part);
    let mut elements: Vec<PathEl> =
        balanced(&nodes, tolerance).iter().map(|c| PathEl::CurveTo(c.p1, c.p2, c.p3)).collect();
    if let Some(PathEl::CurveTo(a, ..)) = elements.first_mut() {
        *a += start - first.p0;
    }
    if let (Some(PathEl::CurveTo(_, b, end)), Some(run)) = (elements.last_mut(), after) {
        *b += run.start - *end;
        *end = run.start;
    }
    elements
}

/// A place on the way.
#[derive(Clone, Copy)]
struct Node {
    at: Point,
    /// Unit direction of the way.
    along: Vec2,
    /// Length of the way to here, from node to node, and how far it turned, in radians.
    length: f64,
    turned: f64,
}

/// Places along `part`, its ends among them.
fn nodes(part: &[CubicBez]) -> Vec<Node> {
    let place = |c: &CubicBez, t: f64| {
        let along = c.deriv().eval(t).to_vec2();
        (c.eval(t), along / along.hypot().max(1e-12))
    };
    let places = part.iter().flat_map(|c| (0..PARTS).map(move |i| (c, f64::from(i) / f64::from(PARTS))));
    let places = places.chain(part.last().map(|c| (c, 1.0))).map(|(c, t)| place(c, t));
    let mut nodes: Vec<Node> = Vec::with_capacity(part.len() * PARTS as usize + 1);
    for (at, along) in places {
        let (length, turned) = nodes.last().map_or((0.0, 0.0), |last| {
            let turn = last.along.cross(along).atan2(last.along.dot(along));
            (last.length + last.at.distance(at), last.turned + turn)
        });
        nodes.push(Node { at, along, length, turned });
    }
    nodes
}

/// Cubics as few as greedy growth finds, then with the smallest tolerance that needs no more of them: the last one
/// would be a stub otherwise and the others strained.
fn balanced(nodes: &[Node], tolerance: f64) -> Vec<CubicBez> {
    let mut best = greedy(nodes, tolerance, usize::MAX).unwrap_or_default();
    let (mut low, mut high) = (0.1 * tolerance, tolerance);
    for _ in 0..2 {
        let middle = 0.5 * (low + high);
        match greedy(nodes, middle, best.len()) {
            Some(trial) => (best, high) = (trial, middle),
            None => low = middle,
        }
    }
    best.into_iter().map(|(run, curve)| settled(run, curve)).collect()
}

/// Stretches of `nodes`, each ending where the next begins, with a cubic for each; `None` if it takes more than `most`.
fn greedy(nodes: &[Node], tolerance: f64, most: usize) -> Option<Vec<(&[Node], CubicBez)>> {
    let last = nodes.len() - 1;
    let mut pieces = Vec::new();
    let mut from = 0;
    while from < last {
        if pieces.len() == most {
            return None;
        }
        let (count, curve) = longest(&nodes[from..], tolerance);
        pieces.push((&nodes[from..=from + count], curve));
        from += count;
    }
    Some(pieces)
}

/// The best cubic for a stretch rather than the first that would do, which lies on one side of it more than it must.
fn settled(run: &[Node], curve: CubicBez) -> CubicBez {
    if run.len() < 3 {
        return curve;
    }
    refit(run, SETTLE, 0.0).map_or(curve, |(settled, _)| settled)
}

/// How many steps of `nodes`, at least one, a single cubic can take from the first, and that cubic. Lengths are doubled
/// until eight times the best fails too, because among noise a short stretch may fail where a longer one fits; then the
/// end is found by halving.
fn longest(nodes: &[Node], tolerance: f64) -> (usize, CubicBez) {
    let last = nodes.len() - 1;
    let fits = |count: usize| cubic(&nodes[..=count], tolerance);
    let (mut good, mut best) = (1, shortest(nodes[0], nodes[1]));
    let mut count = 2;
    while good < last && count <= 8 * good.max(4) {
        let trial = count.min(last);
        if let Some(curve) = fits(trial) {
            (good, best) = (trial, curve);
        }
        if trial == last {
            break;
        }
        count *= 2;
    }
    let mut bad = (2 * good).min(last + 1);
    while bad - good > 1 {
        let middle = usize::midpoint(good, bad);
        match fits(middle) {
            Some(curve) => (good, best) = (middle, curve),
            None => bad = middle,
        }
    }
    (good, best)
}

fn shortest(a: Node, b: Node) -> CubicBez {
    let third = a.at.distance(b.at) / 3.0;
    CubicBez::new(a.at, a.at + a.along * third, b.at - b.along * third, b.at)
}

/// One cubic through the ends of `nodes` in their directions, within `tolerance` of all of them, by least squares with
/// reparametrisation (P. J. Schneider, "An algorithm for automatically fitting digitized curves", Graphics Gems, 1990).
/// `None` if there is none.
fn cubic(nodes: &[Node], tolerance: f64) -> Option<CubicBez> {
    if nodes.iter().any(|node| (node.turned - nodes[0].turned).abs() > MOST_TURN) {
        return None;
    }
    refit(nodes, 8, tolerance).filter(|(_, worst)| *worst <= tolerance).map(|(curve, _)| curve)
}

/// The best cubic from the first of `nodes` to the last after so many rounds, or the first within `enough`, and its largest
/// distance from them.
fn refit(nodes: &[Node], rounds: usize, enough: f64) -> Option<(CubicBez, f64)> {
    let mut params = chord_lengths(nodes);
    let mut best: Option<(CubicBez, f64)> = None;
    for round in 0..rounds {
        let curve = handles(nodes, &params)?;
        let worst = reparametrise(&curve, nodes, &mut params);
        if best.as_ref().is_none_or(|(_, w)| worst < *w) {
            best = Some((curve, worst));
        }
        // Distances along the curve shrink fast while the parameters settle; across it hardly.
        if worst <= enough || (round > 1 && enough > 0.0 && worst > 8.0 * enough) {
            break;
        }
    }
    best
}

fn chord_lengths(nodes: &[Node]) -> Vec<f64> {
    let (from, whole) = (nodes[0].length, length(nodes).max(1e-12));
    nodes.iter().map(|node| (node.length - from) / whole).collect()
}

/// Of the way from the first of `nodes` to the last.
fn length(nodes: &[Node]) -> f64 {
    nodes[nodes.len() - 1].length - nodes[0].length
}

/// The handle lengths that fit best; `None` if one would be no handle.
fn handles(nodes: &[Node], params: &[f64]) -> Option<CubicBez> {
    let (a, b) = (nodes[0], nodes[nodes.len() - 1]);
    let (chord, length) = (b.at - a.at, length(nodes));
    let (mut c00, mut c01, mut c11, mut x0, mut x1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (node, &t) in nodes.iter().zip(params) {
        let u = 1.0 - t;
        // Shares of the two handles and of the end.
        let (b1, b2, end) = (3.0 * u * u * t, -3.0 * u * t * t, t * t * (3.0 * u + t));
        let rest = node.at - a.at - chord * end;
        c00 += b1 * b1;
        c01 += b1 * b2;
        c11 += b2 * b2;
        x0 += b1 * a.along.dot(rest);
        x1 += b2 * b.along.dot(rest);
    }
    c01 *= a.along.dot(b.along);
    let determinant = c00 * c11 - c01 * c01;
    let chord = chord.hypot();
    if chord < 1e-9 {
        return None;
    }
    let (mut l0, mut l1) = (chord / 3.0, chord / 3.0);
    if determinant > 1e-9 * c00 * c11 {
        (l0, l1) = ((x0 * c11 - x1 * c01) / determinant, (c00 * x1 - c01 * x0) / determinant);
    }
    // A circle's quarter has 0.36, an S that just does not fold has 0.7. Beyond, noise is fitted.
    let sane = 0.02 * length..=0.7 * length;
    if !(sane.contains(&l0) && sane.contains(&l1)) {
        (l0, l1) = (length / 3.0, length / 3.0);
    }
    Some(CubicBez::new(a.at, a.at + a.along * l0, b.at - b.along * l1, b.at))
}

/// One Newton step of each parameter towards the nearest place on the curve; and the largest distance before it.
fn reparametrise(curve: &CubicBez, nodes: &[Node], params: &mut [f64]) -> f64 {
    // Powers of the parameter: what is evaluated is the same curve, for all of the nodes.
    let start = curve.p0;
    let linear = 3.0 * (curve.p1 - start);
    let square = 3.0 * (curve.p2 - curve.p1) - linear;
    let cube = curve.p3 - start - linear - square;
    let mut worst = 0.0_f64;
    for (node, t) in nodes.iter().zip(params.iter_mut()) {
        let off = ((cube * *t + square) * *t + linear) * *t - (node.at - start);
        worst = worst.max(off.hypot2());
        let d = (3.0 * cube * *t + 2.0 * square) * *t + linear;
        let slope = d.hypot2() + off.dot(6.0 * cube * *t + 2.0 * square);
        if slope > 1e-12 {
            *t = (*t - off.dot(d) / slope).clamp(0.0, 1.0);
        }
    }
    worst.sqrt()
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
