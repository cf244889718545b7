//! What a first builder would find out while cutting.

use kurbo::Shape as _;

use super::assemble::Drawn;
use super::piece::{MarkingKind, Note, Piece};
use super::propose::{fits, splits};
use super::stacking::is_built;
use crate::build_file::{Build, Half, PieceSpec};
use crate::hardware::foam_called;
use crate::problem::{Problem, Problems};
use crate::shape::{Alike, Region, Shape, find_symmetry};
use crate::space::{Pattern, Point};
use crate::units::Length;

/// What a first builder would find out while cutting.
pub(super) fn told_of_pieces(build: &Build, drawn: &[Drawn], pieces: &[Piece]) -> Problems {
    let mut problems: Problems =
        build.pieces.iter().zip(drawn).filter_map(|(spec, drawn)| all_one_way(spec, &drawn.piece)).collect();
    problems.extend(build.pieces.iter().zip(drawn).flat_map(|(spec, drawn)| slots_outside(spec, drawn)));
    for piece in pieces {
        let spec = &build.pieces[piece.of];
        let Some(sold_as) = piece.foam else { continue };
        let foam = foam_called(sold_as, &build.foam_at_hand);
        if !foam.measured && !build.foam_at_hand.is_empty() {
            let all: Vec<String> = build.foam_at_hand.iter().map(|foam| format!("{}", foam.sold_as.to_mm())).collect();
            let text = format!(
                "{} is cut from {} mm foam, and what is at hand is {} mm; get it, list it under [[foam_at_hand]], or take another",
                piece.letter,
                sold_as.to_mm(),
                all.join(", ")
            );
            problems.push(Problem::warning("foam_missing", text).at(spec.place));
        }
        let Some(sheet) = foam.sheet.map(|sheet| sheet.map(Length::to_mm)) else { continue };
        if !fits(&piece.outline, sheet) {
            problems.push(too_large(piece, spec, &drawn[piece.of], sheet).at(spec.place));
        }
    }
    problems
}

/// Foam between a hole or slot and an edge tears where there is less of it, mm (common practice, no source).
const WEB: f64 = 3.0;

/// A slot that leaves its piece is a notch, or was meant elsewhere; one close to the edge tears out.
fn slots_outside(spec: &PieceSpec, drawn: &Drawn) -> Problems {
    let region = Region::of(&drawn.piece.outline);
    let told = |slot: &crate::build_file::SlotSpec| {
        let name = &spec.name.value;
        let band = drawn.slot(slot);
        let leaves = |band: &Region<Pattern>| !band.minus(&region).is_empty();
        let (code, text) = if leaves(&band) {
            let text =
                format!("this slot reaches beyond the edge of \"{name}\"; move it inside, unless it is to be a notch");
            ("slot_outside", text)
        } else if leaves(&band.widened(WEB)) {
            let text = format!(
                "this slot leaves less than {WEB} mm of foam at the edge of \"{name}\", which tears; move it inside, or make it narrower"
            );
            ("slot_near_edge", text)
        } else {
            return None;
        };
        Some(Problem::warning(code, text).at(slot.place))
    };
    spec.building.slots.iter().filter_map(told).collect()
}

/// Holes that are too close to what is cut or scored, in pieces as they come out, before their templates are made.
pub(super) fn told_of_holes(build: &Build, drawn: &[Drawn], pieces: &[Piece]) -> Problems {
    let mut problems = Problems::new();
    for (of, (spec, drawn)) in build.pieces.iter().zip(drawn).enumerate() {
        for (hole, round) in spec.holes.iter().zip(&drawn.piece.holes) {
            // What leaves the piece as it was drawn is told already.
            let radius = round.diameter.to_mm() / 2.0;
            if drawn.piece.outline.raw().winding(round.at.raw()) % 2 == 0
                || drawn.piece.outline.distance(round.at) <= radius
            {
                continue;
            }
            // Upper layers rest on the ones below.
            let lowest =
                |piece: &&Piece| !piece.notes.iter().any(|note| matches!(note, Note::Layer { number: 2.., .. }));
            let told = pieces.iter().filter(|piece| piece.of == of).filter(lowest).find_map(|piece| {
                let web = piece.outline.distance(round.at) - radius;
                let name = &piece.letter;
                if web < WEB {
                    let text = format!(
                        "the hole of {:.1} mm leaves {:.1} mm of foam in {name} beside an edge, a slot or a channel, and less than {WEB} mm tears; \
                         move it, or make it smaller",
                        2.0 * radius,
                        web.max(0.0)
                    );
                    return Some(("hole_near_edge", text));
                }
                let scored = piece.markings.iter().any(|marking| match marking.kind {
                    MarkingKind::Score { opens: breadth, .. } | MarkingKind::Groove { breadth, .. } => {
                        marking.path.distance(round.at) < radius + WEB.max(breadth / 2.0)
                    }
                    _ => false,
                });
                let text = format!(
                    "the hole of {:.1} mm lies on a score or a groove of {name}, or beside it, where foam is thin and opens; move one of the two",
                    2.0 * radius
                );
                scored.then_some(("hole_on_score", text))
            });
            problems.extend(told.map(|(code, text)| Problem::warning(code, text).at(hole.at.place)));
        }
    }
    problems
}

/// Two of a piece that is not like its mirror image, and neither is turned over: a left one and a right one are forgotten easily.
fn all_one_way(spec: &PieceSpec, piece: &Piece) -> Option<Problem> {
    /// Of the piece's own length: halves that differ by less are alike (common practice, no source).
    const ALIKE: f64 = 0.01;
    let wrap = matches!(spec.source.value, crate::build_file::Source::Wrap(_));
    if spec.copies < 2 || !spec.copies.is_multiple_of(2) || spec.face_down > 0 || wrap || is_built(spec) {
        return None;
    }
    let how = Alike { sides: Some(Half::Both), turns: 1, axis: None };
    let (wide, high) = piece.size();
    let length = wide.to_mm().hypot(high.to_mm());
    if find_symmetry(&piece.outline, &how).is_some_and(|found| found.rms < ALIKE * length) {
        return None;
    }
    let text = format!(
        "all {} of \"{}\" are cut the same way up, and it is not like its mirror image; if half of them are for the other side, say \
         face_down = {}",
        spec.copies,
        spec.name.value,
        spec.copies / 2
    );
    Some(Problem::note("all_face_up", text).at(spec.place))
}

fn too_large(piece: &Piece, spec: &PieceSpec, drawn: &Drawn, sheet: [f64; 2]) -> Problem {
    let (wide, high) = piece.size();
    let head = format!(
        "{} is {:.0} by {:.0} mm and does not fit a sheet of {} by {} mm however it lies",
        piece.letter,
        wide.to_mm(),
        high.to_mm(),
        sheet[0],
        sheet[1]
    );
    let wrap = matches!(spec.source.value, crate::build_file::Source::Wrap(_));
    let lines = splits(&drawn.piece.outline, sheet).filter(|_| spec.building.split.is_none() && !wrap);
    let next = match lines {
        Some(lines) => {
            let back = drawn.map.inverse();
            let line = |line: &[Point<Pattern>; 2]| {
                let [a, b] = line.map(|at| back.point(at));
                format!("[[{:.1}, {:.1}], [{:.1}, {:.1}]]", a.x, a.y, b.x, b.y)
            };
            let lines: Vec<String> = lines.iter().map(line).collect();
            format!("split it, for example with split = [{}]", lines.join(", "))
        }
        None if wrap => "make it smaller, of several wraps or of more sides, or get larger sheets".to_owned(),
        None if spec.building.split.is_some() => "split it further, or get larger sheets".to_owned(),
        None => "split it both ways, or get larger sheets".to_owned(),
    };
    Problem::warning("larger_than_sheet", format!("{head}; {next}"))
}

/// Pieces that cannot be cut after all that was done to them.
pub(super) fn unsound(build: &Build, pieces: &[Piece]) -> Problems {
    let one = |piece: &Piece| {
        let name = &piece.letter;
        let problem = Shape::new(piece.outline.clone()).err()?.into_iter().next()?;
        let text = format!("{name} cannot be cut out as it comes out: {}", problem.text);
        Some(Problem::error(problem.code, text).at(build.pieces[piece.of].place))
    };
    pieces.iter().filter_map(one).collect()
}
