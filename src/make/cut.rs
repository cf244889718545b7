//! Outlines + their size → pieces, as their declarations want them.

use super::outlines::{Outline, scaled_by};
use crate::build_file::{Build, Half, PieceSpec};
use crate::pattern::{Drawn, Piece, RoundHole, letters};
use crate::problem::{Level, Problem, Problems};
use crate::shape::{Alike, Found, Refused, Round, Shape, find_symmetry, made_alike, rounded};
use crate::size::Solved;
use crate::space::{Map, Path, Pattern, Pixels, Point};
use crate::units::Length;

/// A traced or drawn outline follows an arc when it keeps so near to it: in pixels, but never more than so many mm.
const ROUND_PX: f64 = 0.15;
const MOST_ROUND: f64 = 0.4;
/// The same for an outline at full size, in mm: four cubics are no farther from a circle of 150 mm.
const ROUND_MM: f64 = 0.05;
/// Curves are fitted again within this when a picture is straightened, in mm.
const REFIT_TOLERANCE: f64 = 0.01;

/// The pieces at full size, each of them as its declarations want it.
///
/// Errors: every outline that cannot be cut out, and every declaration that cannot be held.
pub(super) fn cut_pieces(build: &Build, outlines: &[Outline], solved: Option<&Solved>) -> Result<Vec<Drawn>, Problems> {
    let pinned: Vec<Option<&str>> =
        build.pieces.iter().map(|piece| piece.letter.as_ref().map(|letter| letter.value.as_str())).collect();
    let mut errors = Problems::new();
    let mut pieces = Vec::new();
    for ((spec, outline), letter) in build.pieces.iter().zip(outlines).zip(letters(&pinned)) {
        let map: Map<Pixels, Pattern> = match (outline, solved) {
            (Outline::Pixels(picture, _), Some(solved)) => {
                solved.pattern_map_above(*picture, spec.above.map(Length::to_mm))
            }
            // Its numbers are millimetres already.
            _ => Map::affine(kurbo::Affine::IDENTITY),
        };
        // What lies this near to an arc is one, in mm.
        let tolerance = match outline {
            Outline::Pixels(_, path) => (ROUND_PX * map.stretch(path.bounds().center().into())).min(MOST_ROUND),
            Outline::FullSize(_) => ROUND_MM,
        };
        let path = match outline {
            Outline::Pixels(_, path) => map.path(path, REFIT_TOLERANCE),
            Outline::FullSize(path) => path.clone(),
        };
        let regular = Shape::new(path).and_then(|shape| made(spec, shape.into_path(), &map, tolerance));
        match regular {
            Ok(Made { outline, symmetry, rounds }) => pieces.push(Drawn {
                map,
                piece: Piece {
                    letter,
                    name: spec.name.value.clone(),
                    picture: scaled_by(spec),
                    outline,
                    symmetry,
                    rounds,
                    holes: spec
                        .holes
                        .iter()
                        .map(|hole| RoundHole { at: map.point(hole.at.value), diameter: hole.diameter })
                        .collect(),
                    copies: spec.copies,
                    face_down: spec.face_down,
                    foam: spec.foam,
                    fixed: spec.fixed,
                    of: pieces.len(),
                    markings: Vec::new(),
                    notes: Vec::new(),
                },
            }),
            Err(problems) => {
                let placed = |p: Problem| if p.place.is_none() { p.at(spec.source.place) } else { p };
                errors.extend(problems.into_iter().map(placed));
            }
        }
    }
    if errors.is_empty() { Ok(pieces) } else { Err(errors) }
}

/// An outline made regular, and in what it is.
struct Made {
    outline: Path<Pattern>,
    symmetry: Option<Found<Pattern>>,
    rounds: Vec<Round<Pattern>>,
}

/// An outline with its arcs of circles made exact, then made alike as its piece declares.
fn made(
    spec: &PieceSpec,
    outline: Path<Pattern>,
    map: &Map<Pixels, Pattern>,
    tolerance: f64,
) -> Result<Made, Problems> {
    let (round, rounds) = rounded(&outline, tolerance);
    // What is exact in its arcs and cannot be cut out is no gain.
    let (outline, rounds) = match Shape::new(round) {
        Ok(shape) => (shape.into_path(), rounds),
        Err(_) => (outline, Vec::new()),
    };
    if spec.symmetric.is_none() && spec.repeats.value == 1 {
        return Ok(Made { outline, symmetry: None, rounds });
    }
    let axis = spec.axis.map(|places| places.map(|place| map.point(place)));
    let how = Alike { sides: spec.symmetric.map(|half| half.value), turns: spec.repeats.value, axis };
    let Some(found) = find_symmetry(&outline, &how) else { return Ok(Made { outline, symmetry: None, rounds }) };
    let alike = made_alike(&outline, &how, &found).map_err(|refused| vec![refused_problem(spec, refused)])?;
    let outline = Shape::new(alike).map_err(|_| vec![refused_problem(spec, Refused::Uneven)])?.into_path();
    // The mean of two arcs is an arc again, but not quite the one it was; how true they were is known from before.
    let (_, mut again) = rounded(&outline, tolerance);
    for round in &mut again {
        let apart = |other: &&Round<Pattern>| other.centre.distance(round.centre) + (other.radius - round.radius).abs();
        if let Some(former) = rounds.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))) {
            (round.rms, round.worst) = (former.rms, former.worst);
        }
    }
    Ok(Made { outline, symmetry: Some(found), rounds: again })
}

fn refused_problem(spec: &PieceSpec, refused: Refused) -> Problem {
    let name = &spec.name.value;
    let half = spec.symmetric.map(|half| half.value);
    let place = spec.symmetric.map_or(spec.source.place, |half| half.place);
    match refused {
        Refused::SideUnclear => {
            let (asked, instead) = match half {
                Some(Half::Upper | Half::Lower) => ("upper or lower", "\"left\" or \"right\""),
                _ => ("left or right", "\"upper\" or \"lower\""),
            };
            let text = format!(
                "the axis of piece “{name}” runs so that it has no {asked} half; write symmetric = {instead}, or mark the \
                 axis that you mean, as in axis = [[812.0, 340.0], [812.0, 900.0]]"
            );
            Problem::error("half_unclear", text).at(place)
        }
        Refused::Uneven if spec.repeats.value > 1 => {
            let text = format!(
                "piece “{name}” does not come again {} times in one turn: not every part has its like; look whether \
                 repeats is right, or draw the missing part",
                spec.repeats.value
            );
            Problem::error("repeats_uneven", text).at(spec.repeats.place)
        }
        Refused::Uneven => {
            let text = format!(
                "the two halves of piece “{name}” do not mirror each other: not every part has its like; keep the half \
                 that is right, as in symmetric = \"left\", or mark the axis that you mean, as in axis = [[812.0, 340.0], \
                 [812.0, 900.0]]"
            );
            Problem::error("halves_uneven", text).at(place)
        }
    }
}

/// The outlines in pixels again, as the pieces have them.
pub(super) fn outlines_as_cut(
    build: &Build,
    outlines: &[Outline],
    pieces: &[Drawn],
    solved: Option<&Solved>,
) -> Vec<Outline> {
    let as_cut = |((spec, outline), Drawn { piece, .. }): ((&PieceSpec, &Outline), &Drawn)| match (outline, solved) {
        (Outline::Pixels(picture, path), Some(solved)) => {
            let map = solved.pattern_map_above(*picture, spec.above.map(Length::to_mm));
            let tolerance = REFIT_TOLERANCE / map.stretch(path.bounds().center().into());
            Outline::Pixels(*picture, map.inverse().path(&piece.outline, tolerance))
        }
        _ => Outline::FullSize(piece.outline.clone()),
    };
    build.pieces.iter().zip(outlines).zip(pieces).map(as_cut).collect()
}

/// Parts of one piece that do not hang together get one letter and one label.
pub(super) fn check_parts(build: &Build, pieces: &[Drawn], problems: &mut Problems) {
    for (spec, Drawn { piece, .. }) in build.pieces.iter().zip(pieces) {
        let parts = piece.parts();
        if parts > 1 {
            let text = format!(
                "piece {} “{}” is in {parts} parts that do not hang together, all under one letter; make each a piece of \
                 its own if they are to be told apart",
                piece.letter, piece.name
            );
            problems.push(Problem::warning("piece_in_parts", text).at(spec.source.place));
        }
    }
}

/// A hole that leaves its piece is almost surely a mistake.
pub(super) fn check_holes(build: &Build, pieces: &[Drawn], problems: &mut Problems) {
    for (spec, Drawn { piece, .. }) in build.pieces.iter().zip(pieces) {
        let cut = piece.outline.raw();
        for (hole, round) in spec.holes.iter().zip(&piece.holes) {
            let inside = kurbo::Shape::winding(cut, round.at.raw()) % 2 != 0;
            let radius = round.diameter.to_mm() / 2.0;
            let near = piece.outline.distance(round.at);
            let text = match (inside, near > radius) {
                (true, true) => continue,
                (false, _) => format!("the hole lies outside piece {} “{}”; move it inside", piece.letter, piece.name),
                (true, false) => format!(
                    "the hole of {:.1} mm breaks through the edge of piece {} “{}”, which is {near:.1} mm from its \
                     middle; move it or make it smaller",
                    2.0 * radius,
                    piece.letter,
                    piece.name
                ),
            };
            problems.push(Problem { level: Level::Warning, code: "hole_outside", text, place: Some(hole.at.place) });
        }
        for (hole, round) in spec.holes.iter().zip(&piece.holes) {
            if let Some(problem) = lonely(piece, round) {
                problems.push(problem.at(hole.at.place));
            }
        }
        for (i, (hole, round)) in spec.holes.iter().zip(&piece.holes).enumerate() {
            let near = |other: &&RoundHole| {
                other.at.distance(round.at) < (other.diameter.to_mm() + round.diameter.to_mm()) / 2.0
            };
            if let Some(other) = piece.holes[..i].iter().find(near) {
                let text = format!(
                    "this hole of piece {} “{}” runs into another, {:.1} mm away from middle to middle; move one, or take \
                     it out",
                    piece.letter,
                    piece.name,
                    other.at.distance(round.at)
                );
                problems.push(Problem::warning("holes_meet", text).at(hole.at.place));
            }
        }
    }
}

/// A hole for hardware that has no like where the piece comes again.
fn lonely(piece: &Piece, round: &RoundHole) -> Option<Problem> {
    /// Holes this near to where they should be are there, in mm: common practice, no source.
    const NEAR: f64 = 1.0;
    let images = piece.symmetry.as_ref()?.symmetry.images(round.at);
    let there = |at: &Point<Pattern>| {
        piece.holes.iter().any(|other| other.at.distance(*at) < NEAR && other.diameter == round.diameter)
    };
    let missing: Vec<Point<Pattern>> = images.into_iter().filter(|at| !there(at)).collect();
    let first = missing.first()?.raw() - piece.outline.bounds().origin();
    let text = format!(
        "piece {} “{}” comes again and this hole does not: {} missing, the first at ({:.1}, {:.1}) mm from its top left; \
         holes are cut where they are written, so add what is missing",
        piece.letter,
        piece.name,
        if missing.len() == 1 { "one is".to_owned() } else { format!("{} are", missing.len()) },
        first.x,
        first.y
    );
    Some(Problem::note("hole_alone", text))
}
