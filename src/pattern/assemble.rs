//! Outlines at full size + hardware → every piece that is cut, with all that is drawn on it.

use kurbo::{BezPath, Shape as _};

use super::allowance::Allowance;
use super::changed::Changed;
use super::divide::{Division, NotDivided, Shared, divide};
use super::letters::letters;
use super::lines::{OnPiece, drawn_lines, runs};
use super::piece::{Marking, MarkingKind, Note, Piece, RoundHole};
use super::pipes::{Joint, PipeFacts, joints, pipe_facts};
use super::placement::{Laid, gluing_order, placements};
use super::propose::{fits, splits};
use super::seam::{Edge, OnEdge, Verdict, fractions, verdict};
use super::stacking::{Built, build_up, is_built};
use super::wraps::{Wrapped, wrapped};
use crate::build_file::{Build, Fit, Half, PartSpec, PieceSpec, Profile};
use crate::hardware::{Foam, foam_called, from_both_sides, pipe, punch_for};
use crate::layers::{Layered, clearance, groove, reaches};
use crate::problem::{Problem, Problems};
use crate::shape::{Alike, Region, Shape, find_symmetry, rounded};
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

/// Everything that is cut, and how it goes together.
#[derive(Clone, Debug)]
pub struct Assembled {
    /// In the order of the file, each with its layers from the middle outwards.
    pub pieces: Vec<Piece>,
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
    /// Of the foam, mm.
    pub thickness: Option<f64>,
    /// How many, over all copies.
    pub count: u32,
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

/// A part of a piece, or all of it, that has a letter of its own.
struct Unit<'a> {
    of: usize,
    spec: &'a PieceSpec,
    part: Option<&'a PartSpec>,
    /// From 1, and of how many.
    number: (usize, usize),
    letter: String,
    outline: Path<Pattern>,
    /// Edges that are glued to nothing, and those that another part is glued to.
    free: Vec<Path<Pattern>>,
    glued: Vec<Path<Pattern>>,
}

impl Unit<'_> {
    fn name(&self) -> String {
        match (self.part.and_then(|part| part.name.clone()), self.number) {
            (Some(name), _) => name,
            (None, (_, 1)) => self.spec.name.value.clone(),
            (None, (number, count)) => format!("{}, {number}/{count}", self.spec.name.value),
        }
    }
}

/// Everything that is cut for `build` from what was drawn; `runs` are the runs of its pipes.
///
/// Errors: every line that splits nothing, every thickness that no foam makes, every pipe that does not fit.
pub fn assemble(build: &Build, drawn: &[Drawn], runs: &[Option<[Point<Pattern>; 2]>]) -> Result<Assembled, Problems> {
    let mut problems = Problems::new();
    let (divisions, chosen) = (divisions(build, drawn), choose_pipes(build, drawn));
    let (divisions, (choices, ups)) = match (divisions, chosen) {
        (Ok(divisions), Ok(chosen)) => (divisions, chosen),
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
    let mut order: Vec<Step> = Vec::new();
    // The cut pieces of each unit, from the inside out.
    let mut of_units: Vec<Vec<usize>> = Vec::new();
    for unit in &units {
        let whole = &drawn[unit.of];
        let first = pieces.len();
        match &ups[unit.of] {
            None => {
                let wrap = wrapped(build, unit.spec);
                problems.extend(wrap.iter().flat_map(|wrap| wrap.problems.clone()));
                let region = Region::of(&unit.outline);
                laid.push(Laid {
                    of: unit.of,
                    letter: unit.letter.clone(),
                    face: region.clone(),
                    lowest: true,
                    region,
                });
                pieces.push(single(unit, whole, wrap.as_ref()));
                edges.push([unit.free.clone(), unit.glued.clone()]);
            }
            Some((part, layers)) => {
                let run = part.pipe.and_then(|(index, _)| runs[index]);
                for (piece, one) in layer_pieces(unit, whole, part, layers, run, &pipes) {
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
    problems.extend(told);
    seams.extend(more);

    for (unit, cut) in units.iter().zip(&of_units) {
        problems.extend(put_lines(build, unit, &drawn[unit.of], cut, &mut pieces));
    }
    let placed = placements(build, &laid);
    problems.extend(placed.problems);
    for (piece, marked) in pieces.iter_mut().zip(placed.markings) {
        piece.markings.extend(marked);
    }
    order.extend(lays(build, &laid, &placed.onto));
    put_tilts(build, &mut pieces);
    fit_holes(build, drawn, &mut pieces);
    for ((piece, [free, glued]), allowance) in pieces.iter_mut().zip(&edges).zip(&allowances) {
        let sewn = sewn_edges(build, drawn, piece.of);
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
    let assembled = Assembled { pieces, built, pipes, joints, order, punches, seams, changed: Vec::new(), problems };
    let unsound = unsound(build, &assembled.pieces);
    if unsound.is_empty() { Ok(assembled) } else { Err(unsound) }
}

/// Each piece split along its lines.
fn divisions(build: &Build, drawn: &[Drawn]) -> Result<Vec<Division>, Problems> {
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
            Ok(division)
                if split.is_some() && division.parts.iter().any(|part| part.outline.raw().area().abs() < 0.5) =>
            {
                let text = format!(
                    "two lines of split lie on each other in \"{name}\", so that nothing is between them; leave one out"
                );
                errors.push(Problem::error("split_twice", text).at(place));
            }
            Ok(division) if split.is_some() && division.parts.len() == 1 => {
                let text = format!(
                    "the lines of split leave \"{name}\" in one part; draw them from edge to edge, around an opening on both of its sides"
                );
                errors.push(Problem::error("splits_nothing", text).at(place));
            }
            Ok(division) => all.push(division),
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

/// Everything that has a letter of its own, with the letter.
fn units<'a>(build: &'a Build, drawn: &[Drawn], divisions: &[Division]) -> Result<Vec<Unit<'a>>, Problems> {
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
    let mut named: Vec<Option<&PartSpec>> = vec![None; division.parts.len()];
    for part in &spec.building.parts {
        let at = drawn.map.point(part.at.value).raw();
        let Some(index) = division.parts.iter().position(|one| one.outline.raw().winding(at) % 2 != 0) else {
            let Point { x, y, .. } = part.at.value;
            let text =
                format!("[{x}, {y}] is in no part of \"{}\"; move it inside the part that is meant", spec.name.value);
            return Err(Problem::error("part_outside", text).at(part.at.place));
        };
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

/// A unit that is cut from one foam.
fn single(unit: &Unit<'_>, whole: &Drawn, wrap: Option<&Wrapped>) -> Piece {
    let part = unit.part;
    let each = wrap.map_or(1, |wrap| wrap.each);
    let base = &whole.piece;
    let split = unit.number.1 > 1;
    let slotted = with_slots(unit.spec, whole, &unit.outline);
    let rounds = if split || slotted.is_some() { rounded(&unit.outline, 0.05).1 } else { base.rounds.clone() };
    let outline = slotted.unwrap_or_else(|| unit.outline.clone());
    let holes = base.holes.iter().filter(|hole| !split || outline.raw().winding(hole.at.raw()) != 0);
    Piece {
        letter: unit.letter.clone(),
        name: unit.name(),
        symmetry: base.symmetry.filter(|_| !split),
        rounds,
        holes: holes.copied().collect(),
        copies: each * part.and_then(|part| part.copies).unwrap_or(base.copies),
        face_down: part.and_then(|part| part.face_down).unwrap_or(base.face_down),
        foam: part.and_then(|part| part.foam).or(base.foam),
        notes: wrap.map(|wrap| wrap.notes.clone()).unwrap_or_default(),
        outline,
        ..base.clone()
    }
}

/// The outline with its slots for hardware taken out; `None` where there are none.
fn with_slots(spec: &PieceSpec, whole: &Drawn, outline: &Path<Pattern>) -> Option<Path<Pattern>> {
    if spec.building.slots.is_empty() {
        return None;
    }
    let region = Region::of(outline);
    let slots = spec.building.slots.iter().map(|slot| {
        let ends = slot.ends.map(|end| whole.map.point(end));
        Region::band(&ends, slot.width.to_mm())
    });
    let slots: Vec<Region<Pattern>> = slots.collect();
    let inside = |slot: &Region<Pattern>| slot.minus(&region).is_empty();
    if slots.iter().all(inside) {
        // Openings alone: the outline itself stays what it is, to the last digit.
        let mut path: BezPath = outline.raw().clone();
        let side = path.area().signum();
        for slot in slots.iter().filter(|slot| !slot.and(&region).is_empty()) {
            let opening = slot.path().raw().clone();
            path.extend(if opening.area() * side > 0.0 { opening.reverse_subpaths() } else { opening });
        }
        return Some(Path::new(path));
    }
    Some(slots.iter().fold(region, |left, slot| left.minus(slot)).path())
}

/// The layers of a unit, each with what is seen of its face.
fn layer_pieces(
    unit: &Unit<'_>,
    whole: &Drawn,
    part: &Built,
    layers: &Layered,
    run: Option<[Point<Pattern>; 2]>,
    pipes: &[PipeFacts],
) -> Vec<(Piece, Laid)> {
    let base = &whole.piece;
    let count = layers.regions.len();
    let of_unit = Region::of(&unit.outline);
    let split = unit.number.1 > 1;
    let regions: Vec<Region<Pattern>> =
        layers.regions.iter().map(|region| if split { region.and(&of_unit) } else { region.clone() }).collect();
    let slot = run.zip(part.pipe).map(|(run, (_, outside))| groove(run, outside));
    let copies = unit.part.and_then(|part| part.copies).unwrap_or(base.copies);
    let face_down = unit.part.and_then(|part| part.face_down).unwrap_or(base.face_down);
    let letter = |k: usize| if count == 1 { unit.letter.clone() } else { format!("{}{}", unit.letter, k + 1) };
    let mut all = Vec::new();
    for (k, region) in regions.iter().enumerate().filter(|(_, region)| !region.is_empty()) {
        let slotted = slot.as_ref().filter(|_| k < part.stack.slotted);
        let left = slotted.map(|slot| region.minus(slot));
        // The layers of a flat part are all as it is drawn, to the last digit.
        let as_drawn = k == 0 || part.section.profile == Profile::Flat;
        let untouched = as_drawn && left.is_none();
        let outline = match &left {
            Some(left) => left.path(),
            None if as_drawn => with_slots(unit.spec, whole, &unit.outline).unwrap_or_else(|| unit.outline.clone()),
            None => with_slots(unit.spec, whole, &region.path()).unwrap_or_else(|| region.path()),
        };
        let above = regions.get(k + 1).filter(|above| !above.is_empty());
        let placement =
            above.map(|above| Marking { kind: MarkingKind::Placement(Some(letter(k + 1))), path: above.path() });
        let mut notes = vec![Note::Layer { number: k + 1, count, part: unit.letter.clone() }];
        if let (Some(_), Some((index, outside))) = (slotted, part.pipe) {
            notes.push(Note::Channel { pipe: pipes[index].pipe.name.clone(), breadth: outside });
        }
        let face = above.map_or_else(|| region.clone(), |above| region.minus(above));
        let laid = Laid { of: unit.of, letter: letter(k), face, lowest: k == 0, region: region.clone() };
        let piece = Piece {
            letter: letter(k),
            name: unit.name(),
            symmetry: base.symmetry.filter(|_| untouched && !split),
            rounds: if untouched && !split { base.rounds.clone() } else { rounded(&outline, 0.05).1 },
            holes: base.holes.iter().filter(|hole| region.contains(hole.at)).copied().collect(),
            copies: part.halves * copies,
            // Of two halves one lies with its face to the other side.
            face_down: if part.halves == 2 { copies } else { face_down },
            foam: Some(part.stack.foams[k].sold_as),
            markings: placement.into_iter().collect(),
            notes,
            outline,
            ..base.clone()
        };
        all.push((piece, laid));
    }
    all
}

/// Letters of layers may meet letters that are pinned.
fn same_letters(build: &Build, pieces: &[Piece]) -> Problems {
    let mut problems = Problems::new();
    for (k, piece) in pieces.iter().enumerate() {
        if let Some(former) = pieces[..k].iter().find(|former| former.letter == piece.letter) {
            let text = format!(
                "\"{}\" and \"{}\" would both have the letter {}, a layer of the one and a pinned one; pin another letter",
                former.name, piece.name, piece.letter
            );
            let pinned = [former, piece].into_iter().find_map(|one| build.pieces[one.of].letter.as_ref());
            let place = pinned.map_or(build.pieces[piece.of].place, |letter| letter.place);
            problems.push(Problem::error("duplicate", text).at(place));
        }
    }
    problems
}

/// Everything in a part of layers that a builder would find out while gluing.
fn told_of_layers(
    build: &Build,
    part: &Built,
    layers: &Layered,
    runs: &[Option<[Point<Pattern>; 2]>],
    pipes: &[PipeFacts],
) -> Problems {
    let spec = &build.pieces[part.of];
    let mut problems = Problems::new();
    let name = &part.name;
    for (layer, dropped) in layers.dropped.iter().enumerate().filter(|(_, dropped)| **dropped > 0) {
        let text = format!(
            "layer {} of \"{name}\" would have {dropped} island{} narrower than 8 mm, too narrow to be glued and left out; fill the place with \
             filler, or make the part thinner there",
            layer + 1,
            if *dropped == 1 { "" } else { "s" }
        );
        problems.push(Problem::warning("island_dropped", text).at(spec.place));
    }
    for (layer, pair) in layers.regions.windows(2).enumerate() {
        let (below, above) = (pair[0].parts().len(), pair[1].parts().len());
        if above > below {
            let text = format!(
                "layer {} of \"{name}\" is in {above} parts, that below it in {below}; each of them is glued within its own outline",
                layer + 2
            );
            problems.push(Problem::note("layer_splits", text).at(spec.place));
        }
    }
    if let Some(asked) = part.asked {
        let whole = part.thickness();
        if (asked - whole).abs() > 0.05 {
            let text = format!(
                "\"{name}\" comes out {whole:.1} mm thick instead of {asked:.1} mm, as the foam at hand makes it"
            );
            problems.push(Problem::note("thickness_differs", text).at(spec.place));
        }
    }
    if let Some(((index, outside), run)) = part.pipe.and_then(|pipe| Some((pipe, runs[pipe.0]?))) {
        let place = spec.building.pipe.as_ref().map_or(spec.place, |pipe| pipe.place);
        let body = &layers.regions[0];
        let pipe = &pipes[index].pipe.name;
        if groove(run, outside).and(body).is_empty() {
            let text =
                format!("\"{pipe}\" does not run through \"{name}\" as it is marked; mark its run where it lies in it");
            problems.push(Problem::warning("pipe_beside", text).at(place));
        }
        if let Some(narrow) = clearance(body, run, outside) {
            let text = format!(
                "\"{name}\" leaves {:.1} mm beside \"{pipe}\" around ({:.0}, {:.0}) mm, and 8 mm on each side are needed for glue; make it broader \
                 there, stop the pipe before, or take a thinner one",
                narrow.beside.max(0.0),
                narrow.at.x,
                narrow.at.y
            );
            problems.push(Problem::warning("channel_near_edge", text).at(place));
        }
        for far in reaches(body, run).into_iter().flatten().filter(|far| *far < 20.0) {
            let text = format!(
                "the channel for \"{pipe}\" ends {far:.0} mm before the edge of \"{name}\", where it shows and tears; stop it 20 mm before, or \
                 lead it out"
            );
            problems.push(Problem::warning("channel_stops_late", text).at(place));
        }
    }
    problems
}

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
        let outline = pieces[index].outline.raw();
        let passes = outline
            .segments()
            .any(|segment| kurbo::ParamCurveNearest::nearest(&segment, place.at.raw(), 1e-3).distance_sq < NEAR * NEAR);
        if passes {
            let kind = MarkingKind::Match { mate: mate.to_owned(), strokes: strokes_of };
            let path = strokes(place, strokes_of, allowances[index].knife.max(0.0));
            pieces[index].markings.push(Marking { kind, path });
        }
    }
}

/// Edges that parts of one piece share, with marks on both sides.
fn shared_marks(
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
            order.push(Step::Edges(letters.clone()));
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

/// Parts too small or too narrow to be cut and glued.
fn frail_parts(spec: &PieceSpec, division: &Division, units: &[Unit<'_>]) -> Problems {
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

/// Edges of different pieces that the maker brings together, with marks on both.
fn seam_marks(
    build: &Build,
    drawn: &[Drawn],
    units: &[Unit<'_>],
    of_units: &[Vec<usize>],
    pieces: &mut [Piece],
    before: usize,
    allowances: &[Allowance],
) -> (Vec<SeamFacts>, Problems) {
    /// An end is meant to be on the edge, mm: clicks are off by less.
    const NEAR: f64 = 4.0;
    let (mut seams, mut problems) = (Vec::new(), Problems::new());
    for (number, spec) in build.seams.iter().enumerate() {
        let edges: Vec<(usize, Edge)> = spec
            .edges
            .iter()
            .enumerate()
            .map(|(k, (of, ends))| {
                let [from, to] = ends.map(|end| drawn[*of].map.point(end));
                let edge = Edge::along(&drawn[*of].piece.outline, from, to, k == 1);
                let off = edge.ends()[0].distance(from).max(edge.ends()[1].distance(to));
                if off > NEAR {
                    let text = format!(
                        "this seam begins or ends {off:.0} mm from the outline of \"{}\"; mark its ends on the edge",
                        build.pieces[*of].name.value
                    );
                    problems.push(Problem::warning("seam_off_edge", text).at(spec.place));
                }
                (*of, edge)
            })
            .collect();
        let strokes_of = stroke_count(before + number);
        let lengths = [edges[0].1.length(), edges[1].1.length()];
        let units_at = |of: usize, at: Point<Pattern>| {
            let near = |unit: &Unit<'_>| {
                let to = |s: kurbo::PathSeg| kurbo::ParamCurveNearest::nearest(&s, at.raw(), 1e-3).distance_sq;
                unit.outline.raw().segments().map(to).fold(f64::INFINITY, f64::min)
            };
            let of_piece = (0..units.len()).filter(|unit| units[*unit].of == of);
            of_piece.min_by(|a, b| near(&units[*a]).total_cmp(&near(&units[*b]))).unwrap_or(0)
        };
        let parts = fractions(lengths[0].max(lengths[1]));
        for part in &parts {
            let places = [edges[0].1.at(*part), edges[1].1.at(*part)];
            let at = [0, 1].map(|k| units_at(edges[k].0, places[k].at));
            for k in [0, 1] {
                let mate = units[at[1 - k]].letter.clone();
                put_mark(places[k], &of_units[at[k]], pieces, &mate, strokes_of, allowances);
            }
        }
        let letters = [0, 1].map(|k| units[units_at(edges[k].0, edges[k].1.at(0.5).at)].letter.clone());
        let verdict = verdict(lengths[0], lengths[1]);
        problems.extend(unlike_edges(&letters, lengths, verdict, spec.stretch).map(|problem| problem.at(spec.place)));
        let counts = spec.edges.map(|(of, _)| build.pieces[of].copies);
        problems.extend(unlike_counts(&letters, counts).map(|problem| problem.at(spec.place)));
        problems.extend(edges.iter().zip(&letters).filter_map(|((of, edge), letter)| {
            ends_before_corner(&drawn[*of].piece.outline, edge, letter).map(|problem| problem.at(spec.place))
        }));
        seams.push(SeamFacts { letters, lengths, verdict, strokes: strokes_of });
    }
    (seams, problems)
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
    let within = |corner: &Point<Pattern>| {
        let far =
            path.raw().segments().map(|s| kurbo::ParamCurveNearest::nearest(&s, corner.raw(), 1e-3).distance_sq.sqrt());
        far.fold(f64::INFINITY, f64::min) < GAP.start
    };
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

/// Lines of the maker on the pieces where they are seen.
fn put_lines(build: &Build, unit: &Unit<'_>, whole: &Drawn, cut: &[usize], pieces: &mut [Piece]) -> Problems {
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
    // They are on the outside.
    let Some(&outer) = cut.last() else { return problems };
    let foam: Option<Foam> = pieces[outer].foam.map(|foam| foam_called(foam, &build.foam_at_hand));
    let region = Region::of(&pieces[outer].outline);
    let (markings, told) = drawn_lines(&lines, &region, foam.as_ref(), &pieces[outer].letter);
    problems.extend(told);
    if unit.number.1 == 1 {
        for line in &lines {
            if !line.comes_onto(&region) {
                let text =
                    format!("this line does not come onto \"{}\"; draw it where it is seen", unit.spec.name.value);
                problems.push(Problem::warning("line_outside", text).at(line.spec.place));
            }
        }
    }
    pieces[outer].markings.extend(markings);
    problems
}

/// Pieces onto pieces, in order.
fn lays(build: &Build, laid: &[Laid], onto: &[Vec<String>]) -> Vec<Step> {
    let letters =
        |of: usize| laid.iter().filter(|one| one.of == of && one.lowest).map(|one| one.letter.clone()).collect();
    let step = |of: usize| (!onto[of].is_empty()).then(|| Step::Onto { piece: letters(of), on: onto[of].clone() });
    gluing_order(build).into_iter().filter_map(step).collect()
}

/// Slanting edges are named where they are.
fn put_tilts(build: &Build, pieces: &mut [Piece]) {
    for piece in pieces {
        let Some(wrap) = wrapped(build, &build.pieces[piece.of]) else { continue };
        let Some(tilt) = wrap.tilt else { continue };
        for [a, b] in wrap.blank.seams {
            let mut path = BezPath::new();
            path.move_to(a.raw());
            path.line_to(b.raw());
            piece.markings.push(Marking { kind: MarkingKind::Tilt(tilt.blade), path: Path::new(path) });
        }
    }
}

/// Holes as what goes through them needs them.
fn fit_holes(build: &Build, drawn: &[Drawn], pieces: &mut [Piece]) {
    const PRESSED: f64 = 0.5;
    const FREE: f64 = 0.5;
    for piece in pieces {
        let (spec, base) = (&build.pieces[piece.of], &drawn[piece.of].piece);
        for hole in &mut piece.holes {
            let fit = base.holes.iter().position(|other| other.at == hole.at).and_then(|k| spec.holes[k].fit);
            let mm = hole.diameter.to_mm();
            hole.diameter = match fit {
                Some(Fit::Slip) => Length::mm(mm + 2.0 * build.cutting.coats.to_mm() + FREE),
                Some(Fit::Press) => Length::mm(mm - PRESSED),
                None => hole.diameter,
            };
        }
    }
}

/// Holes that a punch at hand makes, which is as large as it is.
fn punch_holes(build: &Build, pieces: &mut [Piece]) -> Vec<PunchUse> {
    let mut uses: Vec<PunchUse> = Vec::new();
    for piece in pieces {
        let thickness = piece.foam.map(|foam| foam_called(foam, &build.foam_at_hand).thickness);
        let found: Vec<(usize, Length)> = piece
            .round_holes()
            .enumerate()
            .filter_map(|(k, (_, diameter))| Some((k, punch_for(diameter, &build.cutting.punches)?)))
            .collect();
        let drawn_holes = piece.round_holes().count() - piece.holes.len();
        let mut both_sides = false;
        for (k, punch) in found {
            if let Some(hole) = k.checked_sub(drawn_holes).map(|k| &mut piece.holes[k]) {
                *hole = RoundHole { diameter: punch, ..*hole };
            }
            both_sides |= thickness.is_some_and(|thickness| from_both_sides(thickness, punch));
            let same = uses.iter_mut().find(|one| one.punch == punch && one.thickness == thickness);
            match same {
                Some(one) => one.count += piece.copies,
                None => uses.push(PunchUse { punch, thickness, count: piece.copies }),
            }
        }
        if both_sides {
            piece.notes.push(Note::PunchedFromBothSides);
        }
    }
    uses.sort_by(|a, b| a.punch.to_mm().total_cmp(&b.punch.to_mm()));
    uses
}

/// The edges of a piece that the maker brings together with others.
fn sewn_edges(build: &Build, drawn: &[Drawn], of: usize) -> Vec<Path<Pattern>> {
    let edges =
        build.seams.iter().flat_map(|seam| seam.edges.iter().enumerate()).filter(|(_, (piece, _))| *piece == of);
    let edge = |(k, (_, ends)): (usize, &(usize, [Point<Pixels>; 2]))| {
        let [from, to] = ends.map(|end| drawn[of].map.point(end));
        Edge::along(&drawn[of].piece.outline, from, to, k == 1).path()
    };
    edges.map(edge).collect()
}

/// What of an edge is none of `others`.
fn apart_from(edge: &Path<Pattern>, others: &[Path<Pattern>]) -> Path<Pattern> {
    const NEAR: f64 = 0.05;
    let segments: Vec<kurbo::PathSeg> = others.iter().flat_map(|other| other.raw().segments()).collect();
    let clear = |at: kurbo::Point| {
        let near = |s: &kurbo::PathSeg| kurbo::ParamCurveNearest::nearest(s, at, 1e-3).distance_sq < NEAR * NEAR;
        !segments.iter().any(near)
    };
    Path::new(runs(edge, &clear))
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
    let whole = template.parts().into_iter().filter(|one| !one.narrowed(FALLS_OFF / 2.0).is_empty());
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

/// What a first builder would find out while cutting.
fn told_of_pieces(build: &Build, drawn: &[Drawn], pieces: &[Piece]) -> Problems {
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

/// A slot that leaves its piece is a notch, or was meant elsewhere.
fn slots_outside(spec: &PieceSpec, drawn: &Drawn) -> Problems {
    let region = Region::of(&drawn.piece.outline);
    let leaves = |slot: &&crate::build_file::SlotSpec| {
        let ends = slot.ends.map(|end| drawn.map.point(end));
        !Region::band(&ends, slot.width.to_mm()).minus(&region).is_empty()
    };
    let told = |slot: &crate::build_file::SlotSpec| {
        let text = format!(
            "this slot reaches beyond the edge of \"{}\"; move it inside, unless it is to be a notch",
            spec.name.value
        );
        Problem::warning("slot_outside", text).at(slot.place)
    };
    spec.building.slots.iter().filter(leaves).map(told).collect()
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
        None if wrap => "make it shorter, or of two wraps".to_owned(),
        None => "split it further, or get larger sheets".to_owned(),
    };
    Problem::warning("larger_than_sheet", format!("{head}; {next}"))
}

/// Pieces that cannot be cut after all that was done to them.
fn unsound(build: &Build, pieces: &[Piece]) -> Problems {
    let one = |piece: &Piece| {
        let name = &piece.letter;
        let problem = Shape::new(piece.outline.clone()).err()?.into_iter().next()?;
        let text = format!("{name} cannot be cut out as it comes out: {}", problem.text);
        Some(Problem::error(problem.code, text).at(build.pieces[piece.of].place))
    };
    pieces.iter().filter_map(one).collect()
}
