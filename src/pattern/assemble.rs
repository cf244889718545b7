//! Outlines at full size + hardware → every piece that is cut, with all that is drawn on it.

use std::collections::BTreeMap;

use super::allowance::Allowance;
use super::changed::Changed;
use super::cut::{fit_holes, layer_pieces, openings_of, punch_holes, put_tilts, same_letters, single, told_of_layers};
use super::joined::{apart_from, closing_edges, seam_marks, sewn_edges, shared_marks};
use super::lines::{OnPiece, drawn_lines};
use super::parted::{Unit, divisions, units};
use super::piece::{Note, Piece};
use super::pipes::{Joint, PipeFacts, joints, pipe_facts};
use super::placement::{Laid, gluing_order, placements};
use super::ready::{told_of_holes, told_of_pieces, unsound};
use super::seam::Verdict;
use super::stacking::{Built, build_up, is_built};
use super::wraps::wrapped;
use crate::build_file::{Build, PieceSpec, SlotSpec};
use crate::hardware::{Foam, foam_called, pipe};
use crate::layers::Layered;
use crate::problem::{Problem, Problems};
use crate::shape::{Region, rounded};
use crate::space::{Map, Path, Pattern, Pixels, Point};
use crate::units::Length;

/// A piece as the maker drew it, at full size, and the way there from the numbers of the file.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// Whole, without layers; its letter is of no meaning.
    pub piece: Piece,
    /// From its units in the file.
    pub map: Map<Pixels, Pattern>,
}

impl Drawn {
    /// What a slot takes out.
    pub(super) fn slot(&self, slot: &SlotSpec) -> Region<Pattern> {
        Region::band(&slot.ends.map(|end| self.map.point(end)), slot.width.to_mm())
    }
}

/// Everything that is cut, and how it goes together.
#[derive(Clone, Debug)]
pub struct Assembled {
    /// In the order of the file, each with its layers from the middle outwards.
    pub pieces: Vec<Piece>,
    /// The letters of each piece of the file: of its parts, without layers.
    pub letters: Vec<String>,
    /// Parts of layers.
    pub built: Vec<Built>,
    /// Pipes and rods.
    pub pipes: Vec<PipeFacts>,
    /// How they sit in each other.
    pub joints: Vec<Joint>,
    /// What is glued onto what, in an order in which nothing hides where the next is glued.
    pub order: Vec<Step>,
    /// Punches and what they are for.
    pub punches: Vec<PunchUse>,
    /// Edges that meet.
    pub seams: Vec<SeamFacts>,
    /// What is other than for the first wearer; none for that one.
    pub changed: Vec<Changed>,
    /// Warnings and notes.
    pub problems: Problems,
}

/// One thing that is glued.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// Layers of a part, from its middle or back outwards.
    Layers(Vec<String>),
    /// Edge to edge.
    Edges([String; 2]),
    /// The straight edges of a wrap, by the letters of its blanks.
    Closed(Vec<String>),
    /// The two halves of a part, with the pipe that lies between them.
    Halves {
        /// Its letters.
        part: Vec<String>,
        /// What the maker calls the pipe.
        pipe: Option<String>,
    },
    /// A piece onto others, within its outline on them.
    Onto {
        /// Its letters: its lowest layer, of every part.
        piece: Vec<String>,
        /// What it lies on.
        on: Vec<String>,
    },
}

/// A punch, and the holes of one thickness that are made with it.
#[derive(Clone, Debug, PartialEq)]
pub struct PunchUse {
    /// Its diameter.
    pub punch: Length,
    /// The foam, as it is sold.
    pub foam: Option<Length>,
    /// How many, over all copies.
    pub count: u32,
    /// Of which pieces.
    pub letters: Vec<String>,
}

/// Two edges that meet.
#[derive(Clone, Debug, PartialEq)]
pub struct SeamFacts {
    /// Letters of the two pieces.
    pub letters: [String; 2],
    /// Of the two edges, mm; the same where they were one before the piece was split.
    pub lengths: [f64; 2],
    /// How they go together.
    pub verdict: Verdict,
    /// Strokes of its marks, one to three.
    pub strokes: u32,
}

/// Everything that is cut for `build` from what was drawn; `runs` are the runs of its pipes.
///
/// Errors: every line that splits nothing, every thickness that no foam makes, every pipe that does not fit.
pub fn assemble(build: &Build, drawn: &[Drawn], runs: &[Option<[Point<Pattern>; 2]>]) -> Result<Assembled, Problems> {
    let mut problems = Problems::new();
    let chosen = choose_pipes(build, drawn);
    let choices = chosen.as_ref().map_or_else(|_| Vec::new(), |(choices, _)| choices.clone());
    let rewrapped = rewrapped(build, drawn, &choices);
    let drawn = rewrapped.as_slice();
    let (divisions, ups) = match (divisions(build, drawn), chosen) {
        (Ok(divisions), Ok((_, ups))) => (divisions, ups),
        (divisions, chosen) => return Err([divisions.err(), chosen.err()].into_iter().flatten().flatten().collect()),
    };
    let pipes = pipe_facts(build, &choices, runs);
    let (joints, told) = joints(build, &pipes)?;
    problems.extend(told);
    let units = units(build, drawn, &divisions)?;

    let mut pieces: Vec<Piece> = Vec::new();
    let mut laid: Vec<Laid> = Vec::new();
    let mut built: Vec<Built> = ups.iter().filter_map(|up| up.as_ref().map(|(built, _)| built.clone())).collect();
    let mut edges: Vec<[Vec<Path<Pattern>>; 2]> = Vec::new();
    let (mut order, mut closed): (Vec<Step>, Vec<Step>) = (Vec::new(), Vec::new());
    // The cut pieces of each unit, from the inside out.
    let mut of_units: Vec<Vec<usize>> = Vec::new();
    for unit in &units {
        let whole = &drawn[unit.of];
        let first = pieces.len();
        match &ups[unit.of] {
            None => {
                let wrap = wrapped(build, unit.spec, &choices);
                problems.extend(wrap.iter().flat_map(|wrap| wrap.problems.clone()));
                let region = Region::of(&unit.outline).minus(&openings_of(unit.spec, whole));
                laid.push(Laid {
                    of: unit.of,
                    letter: unit.letter.clone(),
                    face: region.clone(),
                    lowest: true,
                    region,
                });
                pieces.push(single(unit, whole, wrap.as_ref()));
                edges.push([unit.free.clone(), unit.glued.clone()]);
                let closes = wrap.is_some_and(|wrap| !wrap.closing().is_empty());
                closed.extend(closes.then(|| Step::Closed(vec![unit.letter.clone()])));
            }
            Some((part, layers)) => {
                let run = part.pipe.and_then(|(index, _)| runs[index]);
                let (of_unit, scraps) = layer_pieces(unit, whole, part, layers, run, &pipes);
                let place = unit.spec.building.split.as_ref().map_or(unit.spec.place, |split| split.place);
                problems.extend(scraps.into_iter().map(|problem| problem.at(place)));
                for (piece, one) in of_unit {
                    pieces.push(piece);
                    laid.push(one);
                    edges.push([unit.free.clone(), unit.glued.clone()]);
                }
                let letters: Vec<String> = pieces[first..].iter().map(|piece| piece.letter.clone()).collect();
                if letters.len() > 1 {
                    order.push(Step::Layers(letters));
                }
                if let Some(entry) = built.iter_mut().find(|entry| entry.of == part.of) {
                    entry.letters.push(unit.letter.clone());
                }
            }
        }
        of_units.push((first..pieces.len()).collect());
    }
    let twice = same_letters(build, &pieces);
    if !twice.is_empty() {
        return Err(twice);
    }
    for (part, layers) in ups.iter().flatten() {
        problems.extend(told_of_layers(build, part, layers, runs, &pipes));
    }

    let allowances: Vec<Allowance> = pieces
        .iter()
        .map(|piece| {
            let foam = piece.foam.map(|foam| foam_called(foam, &build.foam_at_hand));
            Allowance::new(&build.cutting, foam.as_ref())
        })
        .collect();
    let (mut seams, told) = shared_marks(build, &divisions, &units, &of_units, &mut pieces, &mut order, &allowances);
    problems.extend(told);
    let (more, told) = seam_marks(build, drawn, &units, &of_units, &mut pieces, seams.len(), &allowances);
    for seam in &more {
        let step = Step::Edges(seam.letters.clone());
        order.extend((!order.contains(&step)).then_some(step));
    }
    seams.extend(more);
    if told.iter().any(Problem::is_error) {
        return Err(told.into_iter().filter(Problem::is_error).collect());
    }
    problems.extend(told);

    order.extend(built.iter().filter(|part| part.halves == 2).map(|part| Step::Halves {
        part: part.letters.clone(),
        pipe: part.pipe.map(|(index, _)| pipes[index].pipe.name.clone()),
    }));
    order.extend(closed);

    for (unit, cut) in units.iter().zip(&of_units) {
        problems.extend(put_lines(build, unit, &drawn[unit.of], cut, &laid, &mut pieces));
    }
    let placed = placements(build, &laid);
    problems.extend(placed.problems);
    for (piece, marked) in pieces.iter_mut().zip(placed.markings) {
        piece.markings.extend(marked);
    }
    order.extend(lays(build, &laid, &placed.onto));
    on_printed(build, &placed.onto, &mut pieces);
    put_tilts(build, &choices, &mut pieces);
    fit_holes(build, drawn, &mut pieces);
    problems.extend(told_of_holes(build, drawn, &pieces));
    for ((piece, [free, glued]), allowance) in pieces.iter_mut().zip(&edges).zip(&allowances) {
        let sewn = [sewn_edges(build, drawn, piece.of), closing_edges(build, &choices, piece.of)].concat();
        let told = if sewn.is_empty() {
            make_template(piece, free, glued, allowance)
        } else {
            let free = free.iter().map(|edge| apart_from(edge, &sewn)).collect::<Vec<_>>();
            make_template(piece, &free, &[glued.as_slice(), &sewn].concat(), allowance)
        };
        problems.extend(told.map(|problem| problem.at(build.pieces[piece.of].place)));
    }
    let punches = punch_holes(build, &mut pieces);
    problems.extend(told_of_pieces(build, drawn, &pieces));
    let of_piece = |of: usize| units.iter().filter(move |unit| unit.of == of).map(|unit| unit.letter.as_str());
    let letters = (0..drawn.len()).map(|of| of_piece(of).collect::<Vec<_>>().join(" ")).collect();
    let assembled =
        Assembled { pieces, letters, built, pipes, joints, order, punches, seams, changed: Vec::new(), problems };
    let unsound = unsound(build, &assembled.pieces);
    if unsound.is_empty() { Ok(assembled) } else { Err(unsound) }
}

type Up = Option<(Built, Layered)>;

/// For every pipe the first kind that lies in all pieces around it, and how each piece is built up then.
fn choose_pipes(build: &Build, drawn: &[Drawn]) -> Result<(Vec<usize>, Vec<Up>), Problems> {
    let mut choices = vec![0; build.pipes.len()];
    let mut ups: Vec<Up> = vec![None; build.pieces.len()];
    let mut errors = Problems::new();
    let up = |index: usize, inside: Option<(usize, f64)>| {
        let outline = &drawn[index].piece.outline;
        build_up(build, &build.pieces[index], outline, inside)
            .map(|(built, layers)| (Built { of: index, ..built }, layers))
    };
    let with = |number: Option<usize>| {
        (0..build.pieces.len()).filter(move |&index| {
            let spec = &build.pieces[index];
            is_built(spec) && spec.building.pipe.as_ref().map(|pipe| pipe.value) == number
        })
    };
    for index in with(None) {
        match up(index, None) {
            Ok(found) => ups[index] = Some(found),
            Err(problem) => errors.push(problem),
        }
    }
    for (number, spec) in build.pipes.iter().enumerate() {
        let around: Vec<usize> = with(Some(number)).collect();
        let mut first = None;
        let fitting = (0..spec.kinds.len().max(1)).filter_map(|choice| Some((choice, pipe(spec, choice)?))).find_map(
            |(choice, taken)| {
                let all: Result<Vec<(Built, Layered)>, Problem> =
                    around.iter().map(|&index| up(index, Some((number, taken.outside)))).collect();
                match all {
                    Ok(all) => Some((choice, all)),
                    Err(problem) => {
                        first.get_or_insert(problem);
                        None
                    }
                }
            },
        );
        match fitting {
            Some((choice, all)) => {
                choices[number] = choice;
                around.into_iter().zip(all).for_each(|(index, found)| ups[index] = Some(found));
            }
            None => errors.extend(first),
        }
    }
    if errors.is_empty() { Ok((choices, ups)) } else { Err(errors) }
}

/// What was drawn, with wraps around the pipes that were chosen.
fn rewrapped(build: &Build, drawn: &[Drawn], choices: &[usize]) -> Vec<Drawn> {
    let one = |(spec, drawn): (&PieceSpec, &Drawn)| match wrapped(build, spec, choices) {
        Some(wrap) if choices.iter().any(|choice| *choice > 0) => {
            let outline = wrap.blank.outline;
            let rounds = rounded(&outline, 0.05).1;
            Drawn { piece: Piece { outline, rounds, ..drawn.piece.clone() }, map: drawn.map }
        }
        _ => drawn.clone(),
    };
    build.pieces.iter().zip(drawn).map(one).collect()
}

/// Lines of the maker on the pieces where they are seen.
fn put_lines(
    build: &Build,
    unit: &Unit<'_>,
    whole: &Drawn,
    cut: &[usize],
    laid: &[Laid],
    pieces: &mut [Piece],
) -> Problems {
    let mut problems = Problems::new();
    let lines: Vec<OnPiece<'_>> = unit
        .spec
        .building
        .lines
        .iter()
        .map(|line| OnPiece::new(line, &line.along.iter().map(|at| whole.map.point(*at)).collect::<Vec<_>>()))
        .collect();
    if lines.is_empty() {
        return problems;
    }
    // Each on the layer whose face is seen where it runs.
    for &index in cut {
        let piece = &mut pieces[index];
        let foam: Option<Foam> = piece.foam.map(|foam| foam_called(foam, &build.foam_at_hand));
        let (markings, told) = drawn_lines(&lines, &laid[index].face, foam.as_ref(), &piece.letter);
        problems.extend(told);
        piece.markings.extend(markings);
    }
    if unit.number.0 == 1 {
        let drawn = Region::of(&whole.piece.outline);
        for line in lines.iter().filter(|line| !line.comes_onto(&drawn)) {
            let text = format!("this line does not come onto \"{}\"; draw it where it is seen", unit.spec.name.value);
            problems.push(Problem::warning("line_outside", text).at(line.spec.place));
        }
    }
    problems
}

/// Of copies as printed and copies turned over, fewer may carry what lies on them than there are.
fn on_printed(build: &Build, onto: &[Vec<String>], pieces: &mut [Piece]) {
    let carried: BTreeMap<&str, u32> = onto.iter().enumerate().fold(BTreeMap::new(), |mut all, (upper, on)| {
        for letter in on {
            let most = all.entry(letter.as_str()).or_default();
            *most = build.pieces[upper].copies.max(*most);
        }
        all
    });
    for piece in pieces.iter_mut().filter(|piece| piece.face_down > 0) {
        if carried.get(piece.letter.as_str()).is_some_and(|upper| *upper <= piece.copies - piece.face_down) {
            piece.notes.push(Note::OnPrinted);
        }
    }
}

/// Pieces onto pieces, in order.
fn lays(build: &Build, laid: &[Laid], onto: &[Vec<String>]) -> Vec<Step> {
    let letters =
        |of: usize| laid.iter().filter(|one| one.of == of && one.lowest).map(|one| one.letter.clone()).collect();
    let step = |of: usize| (!onto[of].is_empty()).then(|| Step::Onto { piece: letters(of), on: onto[of].clone() });
    gluing_order(build).into_iter().filter_map(step).collect()
}

/// What is put on or taken off while a piece is cut and finished is taken off or put on before; what is wrong with that.
fn make_template(
    piece: &mut Piece,
    free: &[Path<Pattern>],
    glued: &[Path<Pattern>],
    allowance: &Allowance,
) -> Option<Problem> {
    /// What is nowhere so broad falls off when it is cut, mm.
    const FALLS_OFF: f64 = 1.0;
    if allowance.is_none() {
        return None;
    }
    let part = Region::of(&piece.outline);
    let template = allowance.template(&part, free, glued);
    let whole = template.parts().into_iter().filter(|one| one.holds_disc(FALLS_OFF / 2.0));
    let template = whole.fold(Region::empty(), |all, one| all.or(&one));
    if template.parts().len() != part.parts().len() {
        let text = format!(
            "pen, knife and coats put {:.1} mm onto every edge of {}, which is too thin for that: its template would {}; it is drawn as it is \
             finished",
            allowance.shift(),
            piece.letter,
            if template.is_empty() { "be nothing" } else { "fall apart" }
        );
        return Some(Problem::warning("too_thin_for_allowance", text));
    }
    let centre = piece.outline.bounds().center();
    let grow = 1.0 / (1.0 - allowance.shrinks);
    let larger = kurbo::Affine::translate(centre.to_vec2())
        * kurbo::Affine::scale(grow)
        * kurbo::Affine::translate(-centre.to_vec2());
    let drawn =
        if allowance.shift() == 0.0 && allowance.knife == 0.0 { piece.outline.clone() } else { template.path() };
    piece.outline = Path::new(larger * drawn.raw().clone());
    piece.rounds = rounded(&piece.outline, 0.05).1;
    if allowance.shrinks > 0.0005 {
        piece.notes.push(Note::Shrinks(grow - 1.0));
    }
    for marking in &mut piece.markings {
        marking.path = Path::new(larger * marking.path.raw().clone());
    }
    for hole in &mut piece.holes {
        hole.at = (larger * hole.at.raw()).into();
        hole.diameter = Length::mm(hole.diameter.to_mm() + 2.0 * allowance.shift());
    }
    let shift = allowance.shift();
    if shift.abs() >= 0.1 {
        piece.notes.push(Note::Template(shift));
    }
    None
}
