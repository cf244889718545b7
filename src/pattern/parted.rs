//! Pieces split along their lines → parts with letters of their own.

use kurbo::Shape as _;

use super::assemble::Drawn;
use super::divide::{Division, NotDivided, Part, Shared, divide};
use super::letters::letters;
use crate::build_file::{Build, PartSpec, PieceSpec};
use crate::problem::{Problem, Problems};
use crate::space::{Path, Pattern, Point};

/// A part of a piece, or all of it, that has a letter of its own.
pub(super) struct Unit<'a> {
    pub(super) of: usize,
    pub(super) spec: &'a PieceSpec,
    pub(super) part: Option<&'a PartSpec>,
    /// From 1, and of how many.
    pub(super) number: (usize, usize),
    pub(super) letter: String,
    pub(super) outline: Path<Pattern>,
    /// Edges that are glued to nothing, and those that another part is glued to.
    pub(super) free: Vec<Path<Pattern>>,
    pub(super) glued: Vec<Path<Pattern>>,
}

impl Unit<'_> {
    /// What a builder calls it.
    pub(super) fn name(&self) -> String {
        match (self.part.and_then(|part| part.name.clone()), self.number) {
            (Some(name), _) => name,
            (None, (_, 1)) => self.spec.name.value.clone(),
            (None, (number, count)) => format!("{}, {number}/{count}", self.spec.name.value),
        }
    }
}

/// Each piece split along its lines.
pub(super) fn divisions(build: &Build, drawn: &[Drawn]) -> Result<Vec<Division>, Problems> {
    let (mut all, mut errors) = (Vec::new(), Problems::new());
    for (spec, drawn) in build.pieces.iter().zip(drawn) {
        let split = spec.building.split.as_ref();
        let lines: Vec<Vec<Point<Pattern>>> = split
            .iter()
            .flat_map(|split| &split.value)
            .map(|line| line.iter().map(|at| drawn.map.point(*at)).collect())
            .collect();
        let place = split.map_or(spec.place, |split| split.place);
        let name = &spec.name.value;
        let ends = |line: usize| {
            let drawn = split.and_then(|split| split.value.get(line)).map_or(&[][..], Vec::as_slice);
            let [from, to] = [drawn.first(), drawn.last()].map(|at| at.map_or([0.0; 2], |at| [at.x, at.y]));
            format!("line {} of split, from [{}, {}] to [{}, {}],", line + 1, from[0], from[1], to[0], to[1])
        };
        match divide(&drawn.piece.outline, &lines) {
            Err(NotDivided::Along(line, other, at)) => {
                let at = drawn.map.inverse().point(at);
                let text = format!(
                    "{} runs along {} of \"{name}\" near [{:.1}, {:.1}], so that nothing is between the two; leave it out, or draw it elsewhere",
                    ends(line),
                    other.map_or_else(|| "the edge".to_owned(), |other| format!("line {}", other + 1)),
                    at.x,
                    at.y
                );
                errors.push(Problem::error("split_twice", text).at(place));
            }
            Ok(division) if split.is_some() && division.parts.len() == 1 => {
                let text = format!(
                    "the lines of split leave \"{name}\" in one part; draw them from edge to edge, around an opening on both of its sides"
                );
                errors.push(Problem::error("splits_nothing", text).at(place));
            }
            Ok(division) => match split.and_then(|_| sliver(&division)) {
                Some(part) => {
                    let at = drawn.map.inverse().point(part.outline.bounds().center().into());
                    let text = format!(
                        "the lines of split leave a sliver of \"{name}\" of {:.1} mm² near [{:.1}, {:.1}], which nobody can cut; draw them \
                         elsewhere",
                        part.outline.raw().area().abs(),
                        at.x,
                        at.y
                    );
                    errors.push(Problem::error("split_sliver", text).at(place));
                }
                None => all.push(division),
            },
            Err(NotDivided::EndsInside(line, at)) => {
                let at = drawn.map.inverse().point(at);
                let text = format!(
                    "{} ends inside \"{name}\", near [{:.1}, {:.1}]; draw it on to the edge, or to another line",
                    ends(line),
                    at.x,
                    at.y
                );
                errors.push(Problem::error("split_ends_inside", text).at(place));
            }
            Err(NotDivided::Outside(line)) => {
                let text = format!("{} does not cross \"{name}\"; draw it from edge to edge", ends(line));
                errors.push(Problem::error("split_outside", text).at(place));
            }
        }
    }
    if errors.is_empty() { Ok(all) } else { Err(errors) }
}

/// A part that is nowhere so broad that it could be cut out.
fn sliver(division: &Division) -> Option<&Part> {
    const LEAST: f64 = 1.0;
    division.parts.iter().find(|part| !part.region().holds_disc(LEAST / 2.0))
}

/// Everything that has a letter of its own, with the letter.
pub(super) fn units<'a>(build: &'a Build, drawn: &[Drawn], divisions: &[Division]) -> Result<Vec<Unit<'a>>, Problems> {
    let mut errors = Problems::new();
    let mut all: Vec<Unit<'a>> = Vec::new();
    for (of, (spec, division)) in build.pieces.iter().zip(divisions).enumerate() {
        let named = match named_parts(spec, &drawn[of], division) {
            Ok(named) => named,
            Err(problem) => {
                errors.push(problem);
                continue;
            }
        };
        let count = division.parts.len();
        all.extend(division.parts.iter().zip(named).enumerate().map(|(k, (part, named))| {
            Unit {
                of,
                spec,
                part: named,
                number: (k + 1, count),
                letter: String::new(),
                outline: part.outline.clone(),
                free: part.free.clone(),
                glued: division
                    .shared
                    .iter()
                    .filter(|shared| shared.parts.contains(&k))
                    .map(|shared| shared.edge.clone())
                    .collect(),
            }
        }));
    }
    if !errors.is_empty() {
        return Err(errors);
    }
    let pin = |unit: &Unit<'a>| {
        let of_piece = unit.spec.letter.as_ref().filter(|_| unit.number.0 == 1);
        unit.part.and_then(|part| part.letter.as_ref()).or(of_piece).map(|letter| letter.value.as_str())
    };
    let pinned: Vec<Option<&str>> = all.iter().map(pin).collect();
    let found = letters(&pinned);
    for (unit, letter) in all.iter_mut().zip(found) {
        unit.letter = letter;
    }
    Ok(all)
}

/// What the file says of each part of a split piece.
fn named_parts<'a>(
    spec: &'a PieceSpec,
    drawn: &Drawn,
    division: &Division,
) -> Result<Vec<Option<&'a PartSpec>>, Problem> {
    /// So near to a line it is anybody's guess which part is meant, mm.
    const ON_LINE: f64 = 0.5;
    let mut named: Vec<Option<&PartSpec>> = vec![None; division.parts.len()];
    for part in &spec.building.parts {
        let at = drawn.map.point(part.at.value).raw();
        let Some(index) = division.parts.iter().position(|one| one.outline.raw().winding(at) % 2 != 0) else {
            let Point { x, y, .. } = part.at.value;
            let text =
                format!("[{x}, {y}] is in no part of \"{}\"; move it inside the part that is meant", spec.name.value);
            return Err(Problem::error("part_outside", text).at(part.at.place));
        };
        let onto = |shared: &Shared| shared.edge.distance(at.into()) < ON_LINE;
        if division.shared.iter().any(onto) {
            let Point { x, y, .. } = part.at.value;
            let text = format!(
                "[{x}, {y}] is on a line of split of \"{}\", between two parts; move it inside the part that is meant",
                spec.name.value
            );
            return Err(Problem::error("part_on_line", text).at(part.at.place));
        }
        let copies = part.copies.unwrap_or(spec.copies);
        let face_down = part.face_down.unwrap_or(spec.face_down);
        if face_down > copies {
            let text = format!(
                "of this part of \"{}\" {face_down} are face down of {copies} in all; give it copies and face_down of its own",
                spec.name.value
            );
            return Err(Problem::error("out_of_range", text).at(part.at.place));
        }
        if let Some(former) = named[index].replace(part) {
            let text = format!(
                "this place is in the same part of \"{}\" as that at line {}; move one, or leave it out",
                spec.name.value, former.at.place.line
            );
            return Err(Problem::error("part_twice", text).at(part.at.place));
        }
    }
    Ok(named)
}

/// Parts too small or too narrow to be cut and glued.
pub(super) fn frail_parts(spec: &PieceSpec, division: &Division, units: &[Unit<'_>]) -> Problems {
    const LEAST_AREA: f64 = 100.0;
    const LEAST_NECK: f64 = 8.0;
    let mut problems = Problems::new();
    if division.parts.len() < 2 {
        return problems;
    }
    let place = spec.building.split.as_ref().map_or(spec.place, |split| split.place);
    for (part, unit) in division.parts.iter().zip(units) {
        let region = part.region();
        let letter = &unit.letter;
        if region.area() < LEAST_AREA {
            let text = format!(
                "{letter} has only {:.0} mm² and is lost or torn; draw the line of split elsewhere",
                region.area()
            );
            problems.push(Problem::warning("part_too_small", text).at(place));
        } else if region.where_broader(LEAST_NECK).parts().len() != 1 {
            let text = format!(
                "{letter} is somewhere narrower than {LEAST_NECK} mm between two broader places, or all along, and tears when it is cut; draw the \
                 line of split elsewhere"
            );
            problems.push(Problem::warning("part_too_narrow", text).at(place));
        }
    }
    problems
}
