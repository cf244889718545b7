//! Edges that meet: match marks on both, and what a builder would find out when they are glued.

use kurbo::{BezPath, Line, Shape as _};

use super::allowance::Allowance;
use super::assemble::{Drawn, SeamFacts, Step};
use super::divide::{Division, Shared};
use super::lines::runs;
use super::parted::{Unit, frail_parts};
use super::piece::{Marking, MarkingKind, Piece};
use super::seam::{Edge, OnEdge, Verdict, fractions, verdict};
use super::wraps::wrapped;
use crate::build_file::Build;
use crate::problem::{Problem, Problems};
use crate::space::{Path, Pattern, Pixels, Point};

/// Short strokes into the foam at a place of an edge, side by side.
fn strokes(place: OnEdge, count: u32, shift: f64) -> Path<Pattern> {
    const LONG: f64 = 4.0;
    const APART: f64 = 1.4;
    let along = kurbo::Vec2::new(-place.inwards.y, place.inwards.x);
    let mut path = BezPath::new();
    for k in 0..count {
        let aside = along * (APART * (f64::from(k) - f64::from(count - 1) / 2.0));
        let from = place.at.raw() + aside + place.inwards * shift;
        path.move_to(from);
        path.line_to(from + place.inwards * LONG);
    }
    Path::new(path)
}

/// Puts a match mark onto those of `cut` whose edge passes the place.
fn put_mark(place: OnEdge, cut: &[usize], pieces: &mut [Piece], mate: &str, strokes_of: u32, allowances: &[Allowance]) {
    /// From the edge, mm: further in, it is another edge.
    const NEAR: f64 = 0.3;
    for &index in cut {
        if pieces[index].outline.distance(place.at) < NEAR {
            let kind = MarkingKind::Match { mate: mate.to_owned(), strokes: strokes_of };
            let path = strokes(place, strokes_of, allowances[index].knife.max(0.0));
            pieces[index].markings.push(Marking { kind, path });
        }
    }
}

/// Edges that parts of one piece share, with marks on both sides.
pub(super) fn shared_marks(
    build: &Build,
    divisions: &[Division],
    units: &[Unit<'_>],
    of_units: &[Vec<usize>],
    pieces: &mut [Piece],
    order: &mut Vec<Step>,
    allowances: &[Allowance],
) -> (Vec<SeamFacts>, Problems) {
    let (mut seams, mut problems) = (Vec::new(), Problems::new());
    for (of, division) in divisions.iter().enumerate() {
        let first = units.iter().position(|unit| unit.of == of).unwrap_or(0);
        let spec = &build.pieces[of];
        for shared in division.shared.iter().filter(|shared| shared.parts[0] != shared.parts[1]) {
            let strokes_of = stroke_count(seams.len());
            let both = shared.parts.map(|part| first + part);
            let letters = both.map(|unit| units[unit].letter.clone());
            let length = Edge::new(&shared.edge, 1.0).length();
            for (k, unit) in both.into_iter().enumerate() {
                let edge = Edge::new(&shared.edge, if k == 0 { 1.0 } else { -1.0 });
                for part in fractions(length) {
                    put_mark(edge.at(part), &of_units[unit], pieces, &letters[1 - k], strokes_of, allowances);
                }
            }
            let counts = both.map(|unit| pieces[of_units[unit][0]].copies);
            problems.extend(unlike_counts(&letters, counts).map(|problem| problem.at(spec.place)));
            problems.extend(
                slanting(shared, &letters)
                    .map(|problem| problem.at(spec.building.split.as_ref().map_or(spec.place, |split| split.place))),
            );
            let step = Step::Edges(letters.clone());
            if !order.contains(&step) {
                order.push(step);
            }
            seams.push(SeamFacts { letters, lengths: [length; 2], verdict: Verdict::Fits, strokes: strokes_of });
        }
        problems.extend(frail_parts(spec, division, &units[first..]));
    }
    (seams, problems)
}

/// One stroke, two or three: edges that lie near each other are told apart.
const fn stroke_count(seam: usize) -> u32 {
    [1, 2, 3][seam % 3]
}

fn unlike_counts(letters: &[String; 2], counts: [u32; 2]) -> Option<Problem> {
    let text = format!(
        "{} and {} meet, and {} of the one are cut and {} of the other; as many of both are needed",
        letters[0], letters[1], counts[0], counts[1]
    );
    (counts[0] != counts[1]).then(|| Problem::warning("counts_differ", text))
}

/// A cut that runs into the outline aslant leaves a point that tears.
fn slanting(shared: &Shared, letters: &[String; 2]) -> Option<Problem> {
    const LEAST: f64 = 40.0;
    let angle = shared.meets.into_iter().flatten().filter(|angle| *angle < LEAST).min_by(f64::total_cmp)?;
    let text = format!(
        "the line between {} and {} meets the outline at {angle:.0}°, which leaves a point that tears; let it meet at {LEAST} or more",
        letters[0], letters[1]
    );
    Some(Problem::warning("split_aslant", text))
}

/// Edges of different pieces that the maker brings together, with marks on both.
pub(super) fn seam_marks(
    build: &Build,
    drawn: &[Drawn],
    units: &[Unit<'_>],
    of_units: &[Vec<usize>],
    pieces: &mut [Piece],
    before: usize,
    allowances: &[Allowance],
) -> (Vec<SeamFacts>, Problems) {
    let (mut seams, mut problems) = (Vec::new(), Problems::new());
    for (number, spec) in build.seams.iter().enumerate() {
        let edges = [0, 1].map(|k| {
            let (of, ends) = &spec.edges[k];
            let [from, to] = ends.map(|end| drawn[*of].map.point(end));
            let edge = Edge::along(&drawn[*of].piece.outline, from, to, k == 1);
            let off = edge.ends()[0].distance(from).max(edge.ends()[1].distance(to));
            problems.extend(off_edge(off, &build.pieces[*of].name.value).map(|problem| problem.at(spec.place)));
            edge
        });
        let strokes_of = stroke_count(before + number);
        let lengths = [edges[0].length(), edges[1].length()];
        let unit_at = |k: usize, part: f64| nearest_unit(units, spec.edges[k].0, edges[k].at(part).at);
        for part in fractions(lengths[0].max(lengths[1])) {
            let at = [0, 1].map(|k| unit_at(k, part));
            for k in [0, 1] {
                let mate = units[at[1 - k]].letter.clone();
                put_mark(edges[k].at(part), &of_units[at[k]], pieces, &mate, strokes_of, allowances);
            }
        }
        let verdict = verdict(lengths[0], lengths[1]);
        let both = |part| [0, 1].map(|k| unit_at(k, part));
        let split = spec.edges.iter().any(|(of, _)| units.iter().filter(|unit| unit.of == *of).count() > 1);
        let stretches = if split { stretches(lengths, &both) } else { vec![(both(0.5), 1.0)] };
        let whole = [0, 1].map(|k| {
            let mut letters: Vec<&str> = stretches.iter().map(|(both, _)| units[both[k]].letter.as_str()).collect();
            letters.dedup();
            letters.join(" and ")
        });
        problems.extend(unlike_edges(&whole, lengths, verdict, spec.stretch).map(|problem| problem.at(spec.place)));
        for (both, part) in stretches {
            let letters = both.map(|unit| units[unit].letter.clone());
            let counts = both.map(|unit| of_units[unit].first().map_or(0, |first| pieces[*first].copies));
            problems.extend(unlike_counts(&letters, counts).map(|problem| problem.at(spec.place)));
            seams.push(SeamFacts { letters, lengths: lengths.map(|whole| part * whole), verdict, strokes: strokes_of });
        }
        for (k, edge) in edges.iter().enumerate() {
            let outline = &drawn[spec.edges[k].0].piece.outline;
            problems.extend(ends_before_corner(outline, edge, &whole[k]).map(|problem| problem.at(spec.place)));
        }
    }
    (seams, problems)
}

/// Ends of a seam that were marked beside the edge.
fn off_edge(off: f64, name: &str) -> Option<Problem> {
    /// An end is meant to be on the edge, mm: clicks are off by less.
    const NEAR: f64 = 4.0;
    /// Farther off than this it is anybody's guess which edge is meant, mm.
    const FAR: f64 = 25.0;
    let text =
        format!("this seam begins or ends {off:.0} mm from the outline of \"{name}\"; mark its ends on the edge");
    match off {
        _ if off > FAR => Some(Problem::error("seam_off_edge", text)),
        _ if off > NEAR => Some(Problem::warning("seam_off_edge", text)),
        _ => None,
    }
}

/// The part of piece `of` whose outline comes nearest to a place.
fn nearest_unit(units: &[Unit<'_>], of: usize, at: Point<Pattern>) -> usize {
    let far = |unit: &usize| units[*unit].outline.distance(at);
    let of_piece = (0..units.len()).filter(|unit| units[*unit].of == of);
    of_piece.min_by(|a, b| far(a).total_cmp(&far(b))).unwrap_or(0)
}

/// Which two meet along a seam, one pair after the other, and along which part of it.
fn stretches(lengths: [f64; 2], at: &dyn Fn(f64) -> [usize; 2]) -> Vec<([usize; 2], f64)> {
    const STEPS: u32 = 200;
    /// Shorter ones are ends that are off by a click, mm.
    const SHORTEST: f64 = 3.0;
    let mut all: Vec<([usize; 2], f64)> = Vec::new();
    for step in 0..STEPS {
        let both = at((f64::from(step) + 0.5) / f64::from(STEPS));
        match all.last_mut().filter(|(former, _)| *former == both) {
            Some((_, part)) => *part += 1.0 / f64::from(STEPS),
            None => all.push((both, 1.0 / f64::from(STEPS))),
        }
    }
    let longest = all.iter().map(|(_, part)| *part).fold(0.0, f64::max);
    all.retain(|(_, part)| part * lengths[0].max(lengths[1]) >= SHORTEST || *part == longest);
    all
}

fn unlike_edges(letters: &[String; 2], [a, b]: [f64; 2], verdict: Verdict, stretch: bool) -> Option<Problem> {
    let off = (a - b).abs();
    let parts = format!(
        "the edges of {} and {} that meet are {a:.1} and {b:.1} mm long, {off:.1} mm or {:.1} % apart",
        letters[0],
        letters[1],
        100.0 * off / a.max(b)
    );
    match verdict {
        Verdict::Fits => None,
        Verdict::Stretch if stretch => None,
        Verdict::Stretch => {
            let text =
                format!("{parts}; draw them alike, or say that the shorter one is stretched, with stretch = true");
            Some(Problem::warning("seam_lengths_differ", text))
        }
        Verdict::TooUnlike => {
            let text = format!(
                "{parts}, more than the 3 % that foam can be stretched by; mark the ends again, or draw them alike"
            );
            Some(Problem::warning("seam_too_unlike", text))
        }
    }
}

/// A seam that ends a little before a corner leaves a gap there that was hardly meant.
fn ends_before_corner(outline: &Path<Pattern>, edge: &Edge, letter: &str) -> Option<Problem> {
    /// Nearer than that the end is on the corner; farther away another edge goes on, mm.
    const GAP: std::ops::Range<f64> = 4.0..20.0;
    const SHARP: f64 = 25.0;
    let segments: Vec<kurbo::PathSeg> = outline.raw().segments().collect();
    let corners: Vec<Point<Pattern>> = segments
        .iter()
        .enumerate()
        .filter_map(|(k, segment)| {
            let next = segments
                .get(k + 1)
                .filter(|next| kurbo::ParamCurve::start(*next) == kurbo::ParamCurve::end(segment))?;
            let (a, b) = (crate::shape::direction(segment, 1.0), crate::shape::direction(next, 0.0));
            let turn = a.cross(b).atan2(a.dot(b)).abs().to_degrees();
            (turn > SHARP).then(|| kurbo::ParamCurve::end(segment).into())
        })
        .collect();
    let path = edge.path();
    let within = |corner: &Point<Pattern>| path.distance(*corner) < GAP.start;
    let beyond = |end: &Point<Pattern>| {
        let far = corners.iter().filter(|corner| !within(corner)).map(|corner| corner.distance(*end));
        far.min_by(f64::total_cmp).filter(|far| GAP.contains(far))
    };
    let far = edge.ends().iter().filter_map(beyond).min_by(f64::total_cmp)?;
    let text = format!(
        "a seam of {letter} ends {far:.0} mm before a corner, which leaves an edge without a mate there; end it on the corner, unless that is \
         meant"
    );
    Some(Problem::note("edge_without_mate", text))
}

/// The edges of a piece that the maker brings together with others.
pub(super) fn sewn_edges(build: &Build, drawn: &[Drawn], of: usize) -> Vec<Path<Pattern>> {
    let edges =
        build.seams.iter().flat_map(|seam| seam.edges.iter().enumerate()).filter(|(_, (piece, _))| *piece == of);
    let edge = |(k, (_, ends)): (usize, &(usize, [Point<Pixels>; 2]))| {
        let [from, to] = ends.map(|end| drawn[of].map.point(end));
        Edge::along(&drawn[of].piece.outline, from, to, k == 1).path()
    };
    edges.map(edge).collect()
}

/// The straight edges of a wrap, which are glued to each other.
pub(super) fn closing_edges(build: &Build, choices: &[usize], of: usize) -> Vec<Path<Pattern>> {
    let edge = |[from, to]: &[Point<Pattern>; 2]| Path::new(Line::new(from.raw(), to.raw()).to_path(0.1));
    let wrap = wrapped(build, &build.pieces[of], choices);
    wrap.map_or_else(Vec::new, |wrap| wrap.closing().iter().map(edge).collect())
}

/// What of an edge is none of `others`.
pub(super) fn apart_from(edge: &Path<Pattern>, others: &[Path<Pattern>]) -> Path<Pattern> {
    const NEAR: f64 = 0.05;
    let clear = |at: kurbo::Point| others.iter().all(|other| other.distance(at.into()) >= NEAR);
    Path::new(runs(edge, &clear))
}
