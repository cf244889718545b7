//! Smoothed points → the fewest lines and cubics that pass within a tolerance, with no break of direction between them.

use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, PathEl, PathSeg, Point, Vec2};

/// A place and the unit direction of the way there.
pub(super) type Node = (Point, Vec2);

/// Distance in pixels that a fitted curve may keep from the smoothed points: below what blur and noise leave open, and
/// a circle of 100 px radius still needs no more than four cubics.
pub(super) const TOLERANCE: f64 = 0.07;
/// A run this straight is a line.
const STRAIGHT: f64 = 0.04;
/// Shortest run, in pixels, to be made a line between curves.
const SHORTEST_LINE: f64 = 24.0;
/// Most that one cubic turns, in radians: beyond about a half turn its handles would cross.
const MOST_TURN: f64 = 2.6;

/// Lines and cubics through the first and the last of `nodes`, at least two, starting and ending in their directions;
/// where the first is also the last, the way is closed and has no end. Gives the whole way with its start.
pub(super) fn fit(nodes: &[Node], tolerance: f64, noise: f64) -> (Point, Vec<PathEl>) {
    let (start, end) = (nodes[0], nodes[nodes.len() - 1]);
    if straight(nodes, STRAIGHT + 5.0 * noise, STRAIGHT + 2.0 * noise) {
        return (start.0, vec![PathEl::LineTo(end.0)]);
    }
    let curves = balanced(nodes, tolerance, start == end);
    let (start, elements) = match with_lines(nodes, tolerance, noise) {
        Some(mixed) if mixed.len() <= curves.len() => (start.0, mixed),
        _ => (curves[0].curve.p0, curves.iter().map(Piece::element).collect()),
    };
    (start, flat_cubics_to_lines(start, elements))
}

/// A cubic and the nodes it stands for.
#[derive(Clone, Copy)]
struct Piece {
    from: usize,
    to: usize,
    curve: CubicBez,
}

impl Piece {
    fn element(&self) -> PathEl {
        PathEl::CurveTo(self.curve.p1, self.curve.p2, self.curve.p3)
    }

    fn start(&self) -> Node {
        (self.curve.p0, unit(self.curve.p1 - self.curve.p0))
    }

    fn end(&self) -> Node {
        (self.curve.p3, unit(self.curve.p3 - self.curve.p2))
    }
}

fn unit(v: Vec2) -> Vec2 {
    v / v.hypot().max(1e-12)
}

/// All of `nodes` lie within `limit` of the chord, and the best bow across the whole of it rises less than `bow_limit`.
fn straight(nodes: &[Node], limit: f64, bow_limit: f64) -> bool {
    let (a, b) = (nodes[0].0, nodes[nodes.len() - 1].0);
    let chord = b - a;
    let length = chord.hypot();
    if length < 1e-9 {
        return false;
    }
    let (mut bow, mut weight) = (0.0, 0.0);
    for (p, _) in nodes {
        let v = *p - a;
        let (along, off) = (v.dot(chord) / (length * length), chord.cross(v) / length);
        if off.abs() > limit || !(-0.01..=1.01).contains(&along) {
            return false;
        }
        let arch = 4.0 * along * (1.0 - along);
        bow += arch * off;
        weight += arch * arch;
    }
    weight < 1e-9 || (bow / weight).abs() <= bow_limit
}

/// Cubics as few as greedy growth finds, then with the smallest tolerance that needs no more of them: the last one
/// would be a stub otherwise and the others strained.
fn balanced(nodes: &[Node], tolerance: f64, closed: bool) -> Vec<Piece> {
    let mut best = greedy(nodes, tolerance);
    let (mut low, mut high) = (0.1 * tolerance, tolerance);
    for _ in 0..4 {
        let middle = 0.5 * (low + high);
        let trial = greedy(nodes, middle);
        if trial.len() <= best.len() {
            (best, high) = (trial, middle);
        } else {
            low = middle;
        }
    }
    let mut settled = best.clone();
    settle(nodes, &mut settled, closed);
    let worst = |pieces: &[Piece]| pieces.iter().map(|p| off(p, nodes).1).fold(0.0, f64::max);
    if worst(&settled) <= worst(&best).max(tolerance) { settled } else { best }
}

fn greedy(nodes: &[Node], tolerance: f64) -> Vec<Piece> {
    let last = nodes.len() - 1;
    let mut pieces = Vec::new();
    let mut from = 0;
    while from < last {
        let (count, curve) = longest(&nodes[from..], tolerance);
        pieces.push(Piece { from, to: from + count, curve });
        from += count;
    }
    pieces
}

/// Moves the joints between pieces square to the way, and turns them, to where the squares of all distances are least.
/// A joint placed by its own few points alone keeps their noise, and both its cubics suffer.
fn settle(nodes: &[Node], pieces: &mut [Piece], closed: bool) {
    let n = pieces.len();
    if n < 2 {
        return;
    }
    for sweep in 0..3 {
        for right in usize::from(!closed)..n {
            let left = (right + n - 1) % n;
            let (a, b) = (pieces[left], pieces[right]);
            let trial = |shift: f64, turn: f64| {
                let (place, along) = b.start();
                let joint = (place + Vec2::new(-along.y, along.x) * shift, turned(along, turn));
                let refit = |piece: &Piece, start: Node, end: Node| {
                    let (curve, _) = refit(&nodes[piece.from..=piece.to], start, end, 3, 0.0)?;
                    let piece = Piece { curve, ..*piece };
                    Some((piece, off(&piece, nodes).0))
                };
                let (before, after) = (refit(&a, a.start(), joint)?, refit(&b, joint, b.end())?);
                Some((before.1 + after.1, before.0, after.0))
            };
            let length = (a.curve.p3 - a.curve.p0).hypot().min((b.curve.p3 - b.curve.p0).hypot());
            let step = 0.05 / f64::from(1 << sweep);
            for (shift, turn) in [(step, 0.0), (0.0, step * 4.0 / length.max(4.0))] {
                let costs = [trial(-shift, -turn), trial(0.0, 0.0), trial(shift, turn)];
                let [Some(less), Some(now), Some(more)] = costs else { continue };
                let bow = less.0 + more.0 - 2.0 * now.0;
                let best = if bow > 0.0 { (0.5 * (less.0 - more.0) / bow).clamp(-2.0, 2.0) } else { 0.0 };
                if let Some(found) = trial(best * shift, best * turn)
                    && found.0 < now.0
                {
                    (pieces[left], pieces[right]) = (found.1, found.2);
                    break;
                }
            }
        }
    }
}

fn turned(v: Vec2, angle: f64) -> Vec2 {
    let (sin, cos) = angle.sin_cos();
    Vec2::new(v.x * cos - v.y * sin, v.x * sin + v.y * cos)
}

/// Sum of squares and largest of the distances of a piece's nodes from it.
fn off(piece: &Piece, nodes: &[Node]) -> (f64, f64) {
    let nodes = &nodes[piece.from..=piece.to];
    let mut params = chord_lengths(nodes);
    for _ in 0..3 {
        reparametrise(&piece.curve, nodes, &mut params);
    }
    let distance = |((p, _), t): (&Node, &f64)| piece.curve.eval(*t).distance(*p);
    nodes.iter().zip(&params).map(distance).fold((0.0, 0.0), |(sum, worst), d| (sum + d * d, f64::max(worst, d)))
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

/// Lines where the way is straight for long, cubics between; `None` where it nowhere is.
fn with_lines(nodes: &[Node], tolerance: f64, noise: f64) -> Option<Vec<PathEl>> {
    let runs = straight_runs(nodes, STRAIGHT + noise);
    if runs.is_empty() {
        return None;
    }
    let mut elements = Vec::new();
    let mut pen = nodes[0];
    let mut at = 0;
    let curve_to = |pen: Node, between: &[Node], end: Node| {
        let mut part = vec![pen];
        part.extend_from_slice(between);
        part.push(end);
        balanced(&part, tolerance, false).iter().map(Piece::element).collect::<Vec<_>>()
    };
    for (from, to) in runs {
        let Some((a, b)) = line_through(&nodes[from..=to], from == 0, to == nodes.len() - 1) else { continue };
        let along = (b - a) / (b - a).hypot();
        if from > 0 {
            elements.extend(curve_to(pen, &nodes[at + 1..from], (a, along)));
        }
        elements.push(PathEl::LineTo(b));
        (pen, at) = ((b, along), to);
    }
    if at < nodes.len() - 1 {
        elements.extend(curve_to(pen, &nodes[at + 1..nodes.len() - 1], nodes[nodes.len() - 1]));
    }
    Some(elements)
}

/// The ends of the best line through a run; an end of the whole way stays where it is.
fn line_through(run: &[Node], start_stays: bool, end_stays: bool) -> Option<(Point, Point)> {
    let (first, last) = (run[0].0, run[run.len() - 1].0);
    let line = super::course::jet(run.iter().map(|n| ((n.0 - first).hypot(), n.0)), 1)?;
    let along = line.tangent();
    let drop = |p: Point| line.at + along * (p - line.at).dot(along);
    let ends = (if start_stays { first } else { drop(first) }, if end_stays { last } else { drop(last) });
    (ends.0.distance(ends.1) > 1.0).then_some(ends)
}

/// Longest runs within `limit` of their chord, not touching each other.
fn straight_runs(nodes: &[Node], limit: f64) -> Vec<(usize, usize)> {
    let mut runs = Vec::new();
    let mut from = 0;
    while from + 2 < nodes.len() {
        let mut to = from + 1;
        let mut stride = 8;
        while to < nodes.len() - 1 {
            let next = (to + stride).min(nodes.len() - 1);
            if straight(&nodes[from..=next], limit, STRAIGHT) {
                to = next;
                stride *= 2;
            } else if stride > 1 {
                stride /= 4;
                stride = stride.max(1);
            } else {
                break;
            }
        }
        if nodes[from].0.distance(nodes[to].0) >= SHORTEST_LINE {
            // The ends of a run reach into the bends beside it by what the limit allows.
            let (inner, outer) = (from + usize::from(from > 0) * 2, to - usize::from(to < nodes.len() - 1) * 2);
            runs.push((inner, outer));
            from = to + 2;
        } else {
            from += 2;
        }
    }
    runs
}

fn shortest(a: Node, b: Node) -> CubicBez {
    let third = a.0.distance(b.0) / 3.0;
    CubicBez::new(a.0, a.0 + a.1 * third, b.0 - b.1 * third, b.0)
}

/// One cubic through the ends of `nodes` in their directions, within `tolerance` of all of them, by least squares with
/// reparametrisation (P. J. Schneider, "An algorithm for automatically fitting digitized curves", Graphics Gems, 1990).
/// `None` if there is none.
fn cubic(nodes: &[Node], tolerance: f64) -> Option<CubicBez> {
    let (a, b) = (nodes[0], nodes[nodes.len() - 1]);
    let mut turned = 0.0_f64;
    let mut most = 0.0_f64;
    for pair in nodes.windows(2) {
        turned += pair[0].1.cross(pair[1].1).atan2(pair[0].1.dot(pair[1].1));
        most = most.max(turned.abs());
    }
    if most > MOST_TURN {
        return None;
    }
    refit(nodes, a, b, 8, tolerance).filter(|(_, worst)| *worst <= tolerance).map(|(curve, _)| curve)
}

/// The best cubic from `a` to `b` for `nodes` after so many rounds, or the first within `enough`, and its largest
/// distance from them.
fn refit(nodes: &[Node], a: Node, b: Node, rounds: usize, enough: f64) -> Option<(CubicBez, f64)> {
    let mut params = chord_lengths(nodes);
    let mut best: Option<(CubicBez, f64)> = None;
    for round in 0..rounds {
        let curve = handles(a, b, nodes, &params)?;
        let worst = nodes.iter().zip(&params).map(|((p, _), &t)| curve.eval(t).distance(*p)).fold(0.0, f64::max);
        if best.as_ref().is_none_or(|(_, w)| worst < *w) {
            best = Some((curve, worst));
        }
        // Distances along the curve shrink fast while the parameters settle; across it hardly.
        if worst <= enough || (round > 1 && enough > 0.0 && worst > 8.0 * enough) {
            break;
        }
        reparametrise(&curve, nodes, &mut params);
    }
    best
}

fn chord_lengths(nodes: &[Node]) -> Vec<f64> {
    let mut sums = Vec::with_capacity(nodes.len());
    let mut sum = 0.0;
    sums.push(0.0);
    for pair in nodes.windows(2) {
        sum += pair[0].0.distance(pair[1].0);
        sums.push(sum);
    }
    sums.iter_mut().for_each(|s| *s /= sum.max(1e-12));
    sums
}

/// The handle lengths that fit best; `None` if one would be no handle.
fn handles(a: Node, b: Node, nodes: &[Node], params: &[f64]) -> Option<CubicBez> {
    let (mut c00, mut c01, mut c11, mut x0, mut x1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for ((p, _), &t) in nodes.iter().zip(params) {
        let u = 1.0 - t;
        let (b0, b1, b2, b3) = (u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t);
        let (v0, v1) = (a.1 * b1, b.1 * -b2);
        let rest = *p - Point::ORIGIN - a.0.to_vec2() * (b0 + b1) - b.0.to_vec2() * (b2 + b3);
        c00 += v0.dot(v0);
        c01 += v0.dot(v1);
        c11 += v1.dot(v1);
        x0 += v0.dot(rest);
        x1 += v1.dot(rest);
    }
    let determinant = c00 * c11 - c01 * c01;
    let chord = a.0.distance(b.0);
    let length: f64 = nodes.windows(2).map(|p| p[0].0.distance(p[1].0)).sum();
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
    Some(CubicBez::new(a.0, a.0 + a.1 * l0, b.0 - b.1 * l1, b.0))
}

/// One Newton step of each parameter towards the nearest place on the curve.
fn reparametrise(curve: &CubicBez, nodes: &[Node], params: &mut [f64]) {
    let first = curve.deriv();
    let second = first.deriv();
    for ((p, _), t) in nodes.iter().zip(params.iter_mut()) {
        let off = curve.eval(*t) - *p;
        let (d, dd) = (first.eval(*t).to_vec2(), second.eval(*t).to_vec2());
        let slope = d.dot(d) + off.dot(dd);
        if slope > 1e-12 {
            *t = (*t - off.dot(d) / slope).clamp(0.0, 1.0);
        }
    }
}

/// A cubic that bows less than a fiftieth of a pixel is a line.
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
                    let flat = |p: Point| chord.cross(p - from).abs() < 0.02;
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
