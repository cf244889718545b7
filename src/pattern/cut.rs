//! A part → what is cut for it: itself, or its layers, with their holes and slots.

use kurbo::{BezPath, Line, Shape as _};

use super::assemble::{Drawn, PunchUse};
use super::lines::runs;
use super::parted::Unit;
use super::piece::{Marking, MarkingKind, Note, Piece, RoundHole};
use super::pipes::PipeFacts;
use super::placement::Laid;
use super::stacking::Built;
use super::wraps::{Wrapped, wrapped};
use crate::build_file::{Build, Fit, PieceSpec, Profile};
use crate::hardware::{foam_called, from_both_sides, punch_for};
use crate::layers::{Layered, channel, clearance, reaches, without_islands};
use crate::problem::{Problem, Problems};
use crate::shape::{Region, rounded};
use crate::space::{Path, Pattern, Point};
use crate::units::Length;

/// A unit that is cut from one foam.
pub(super) fn single(unit: &Unit<'_>, whole: &Drawn, wrap: Option<&Wrapped>) -> Piece {
    let part = unit.part;
    let each = wrap.map_or(1, |wrap| wrap.each);
    let base = &whole.piece;
    let split = unit.number.1 > 1;
    let slotted = with_slots(unit.spec, whole, &unit.outline);
    let rounds = if split || slotted.is_some() { rounded(&unit.outline, 0.05).1 } else { base.rounds.clone() };
    let (outline, holes) = if split {
        opened(unit.spec, whole, unit.outline.clone())
    } else {
        (slotted.unwrap_or_else(|| unit.outline.clone()), base.holes.clone())
    };
    Piece {
        letter: unit.letter.clone(),
        name: unit.name(),
        symmetry: base.symmetry.filter(|_| !split),
        rounds,
        holes,
        copies: each * part.and_then(|part| part.copies).unwrap_or(base.copies),
        face_down: part.and_then(|part| part.face_down).unwrap_or(base.face_down),
        foam: part.and_then(|part| part.foam).or(base.foam),
        notes: wrap.map(|wrap| wrap.notes.clone()).unwrap_or_default(),
        outline,
        ..base.clone()
    }
}

/// A part or layer with its slots and with those holes that its edge runs through taken out of it, and the holes that lie in it.
fn opened(spec: &PieceSpec, whole: &Drawn, plain: Path<Pattern>) -> (Path<Pattern>, Vec<RoundHole>) {
    let plain = with_slots(spec, whole, &plain).unwrap_or(plain);
    let mut region = Region::of(&plain);
    let (mut within, mut notched) = (Vec::new(), false);
    for hole in &whole.piece.holes {
        let disc = disc(hole);
        if disc.minus(&region).is_empty() {
            within.push(*hole);
        } else if !disc.and(&region).is_empty() {
            region = region.minus(&disc);
            notched = true;
        }
    }
    (if notched { region.path() } else { plain }, within)
}

fn disc(hole: &RoundHole) -> Region<Pattern> {
    Region::of(&Path::new(hole.path()))
}

/// Everything that holes and slots take out of a piece.
pub(super) fn openings_of(spec: &PieceSpec, whole: &Drawn) -> Region<Pattern> {
    let slots = spec.building.slots.iter().map(|slot| whole.slot(slot));
    slots.chain(whole.piece.holes.iter().map(disc)).fold(Region::empty(), |all, one| all.or(&one))
}

/// The outline with its slots for hardware taken out; `None` where there are none.
fn with_slots(spec: &PieceSpec, whole: &Drawn, outline: &Path<Pattern>) -> Option<Path<Pattern>> {
    if spec.building.slots.is_empty() {
        return None;
    }
    let region = Region::of(outline);
    let slots: Vec<Region<Pattern>> = spec.building.slots.iter().map(|slot| whole.slot(slot)).collect();
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
pub(super) fn layer_pieces(
    unit: &Unit<'_>,
    whole: &Drawn,
    part: &Built,
    layers: &Layered,
    run: Option<[Point<Pattern>; 2]>,
    pipes: &[PipeFacts],
) -> (Vec<(Piece, Laid)>, Problems) {
    /// Layers whose areas differ by a smaller part are as large.
    const FLUSH: f64 = 1e-3;
    let base = &whole.piece;
    let count = layers.regions.len();
    let of_unit = Region::of(&unit.outline);
    let split = unit.number.1 > 1;
    let mut scraps = Vec::new();
    let mut regions = layers.regions.clone();
    if split {
        regions[0] = of_unit.clone();
        for (k, region) in regions.iter_mut().enumerate().skip(1) {
            let (glued, dropped) = without_islands(&region.and(&of_unit));
            scraps.extend((dropped > 0).then(|| scrap(&unit.letter, k + 1)));
            *region = glued;
        }
    }
    let slot = run.zip(part.channel_breadth()).map(|(run, breadth)| channel(run, breadth));
    let copies = unit.part.and_then(|part| part.copies).unwrap_or(base.copies);
    let face_down = unit.part.and_then(|part| part.face_down).unwrap_or(base.face_down);
    let letter = |k: usize| if count == 1 { unit.letter.clone() } else { format!("{}{}", unit.letter, k + 1) };
    let edges: Vec<Path<Pattern>> = regions.iter().map(Region::path).collect();
    let mut all = Vec::new();
    for (k, region) in regions.iter().enumerate().filter(|(_, region)| !region.is_empty()) {
        let slotted = slot.as_ref().filter(|_| k < part.stack.slotted);
        let left = slotted.map(|slot| region.minus(slot));
        // The layers of a flat part are all as it is drawn, to the last digit.
        let as_drawn = k == 0 || part.section.profile == Profile::Flat;
        let untouched = as_drawn && left.is_none();
        let plain = match &left {
            Some(left) => left.path(),
            None if as_drawn => unit.outline.clone(),
            None => edges[k].clone(),
        };
        let (outline, holes) = opened(unit.spec, whole, plain);
        let openings = openings_of(unit.spec, whole);
        let above = regions.get(k + 1).filter(|above| !above.is_empty());
        let flush = above.is_some_and(|above| (region.area() - above.area()).abs() < FLUSH * region.area());
        let placement = above
            .filter(|_| !flush)
            .map(|_| Marking { kind: MarkingKind::Placement(Some(letter(k + 1))), path: edges[k + 1].clone() });
        let mut notes = vec![Note::Layer { number: k + 1, count, part: unit.letter.clone(), flush }];
        let strips = left.as_ref().map_or(1, |left| left.parts().len());
        notes.extend((strips > region.parts().len()).then_some(Note::InStrips(strips)));
        let mut markings: Vec<Marking> = placement.into_iter().collect();
        if let (Some(run), Some((index, bed)), Some(slot)) = (run, part.pipe, &slot) {
            let (pipe, breadth) = (pipes[index].pipe.name.clone(), bed.breadth(part.halves));
            if slotted.is_some() {
                notes.push(Note::Channel { pipe, breadth });
            } else if bed.groove && k == 0 && !region.and(slot).is_empty() {
                notes.push(Note::Groove { pipe, breadth, depth: part.stack.groove });
                let path = straight_within(run, region);
                markings.push(Marking { kind: MarkingKind::Groove { breadth, depth: part.stack.groove }, path });
            }
        }
        let covered = region.minus(&openings);
        let face = above.map_or_else(|| covered.clone(), |above| covered.minus(above));
        let laid = Laid { of: unit.of, letter: letter(k), face, lowest: k == 0, region: covered };
        let piece = Piece {
            letter: letter(k),
            name: unit.name(),
            symmetry: base.symmetry.filter(|_| untouched && !split),
            rounds: if untouched && !split { base.rounds.clone() } else { rounded(&outline, 0.05).1 },
            holes,
            copies: part.halves * copies,
            // Of two halves one lies with its face to the other side.
            face_down: if part.halves == 2 { copies } else { face_down },
            foam: Some(part.stack.foams[k].sold_as),
            markings,
            notes,
            outline,
            ..base.clone()
        };
        all.push((piece, laid));
    }
    (all, scraps)
}

/// A straight line where it runs over `region`.
fn straight_within(run: [Point<Pattern>; 2], region: &Region<Pattern>) -> Path<Pattern> {
    let line = Line::new(run[0].raw(), run[1].raw()).to_path(0.1);
    let clear = |at: kurbo::Point| region.contains(at.into());
    let all = runs(&Path::new(line), &clear);
    let each = all.elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
    let ends = each.filter_map(|one| Some([one.first()?.end_point()?, one.last()?.end_point()?]));
    let mut path = BezPath::new();
    for [from, to] in ends {
        path.move_to(from);
        path.line_to(to);
    }
    Path::new(path)
}

/// A line of split leaves so little of a layer that it cannot be glued.
fn scrap(letter: &str, layer: usize) -> Problem {
    let text = format!(
        "the line of split leaves a scrap of layer {layer} on {letter}, narrower than 8 mm, too narrow to be glued and left out; draw the line \
         beside it, or fill the place with filler"
    );
    Problem::warning("island_dropped", text)
}

/// Letters of layers may meet letters that are pinned.
pub(super) fn same_letters(build: &Build, pieces: &[Piece]) -> Problems {
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
pub(super) fn told_of_layers(
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
    if let Some(((index, bed), run)) = part.pipe.and_then(|pipe| Some((pipe, runs[pipe.0]?))) {
        let breadth = bed.breadth(part.halves);
        let place = spec.building.pipe.as_ref().map_or(spec.place, |pipe| pipe.place);
        let body = &layers.regions[0];
        let pipe = &pipes[index].pipe.name;
        if channel(run, breadth).and(body).is_empty() {
            let text =
                format!("\"{pipe}\" does not run through \"{name}\" as it is marked; mark its run where it lies in it");
            problems.push(Problem::warning("pipe_beside", text).at(place));
        }
        if let Some(narrow) = clearance(body, run, breadth) {
            let text = format!(
                "\"{name}\" leaves {:.1} mm beside \"{pipe}\" around ({:.0}, {:.0}) mm, and 8 mm on each side are needed for glue; make it broader \
                 there, stop the pipe before, or take a thinner one",
                narrow.beside.max(0.0),
                narrow.at.x,
                narrow.at.y
            );
            problems.push(Problem::warning("channel_near_edge", text).at(place));
        }
        // What ends within a click of the edge leads out.
        for far in reaches(body, run).into_iter().flatten().filter(|far| (2.0..20.0).contains(far)) {
            let text = format!(
                "the channel for \"{pipe}\" ends {far:.0} mm before the edge of \"{name}\", where it shows and tears; stop it 20 mm before, or \
                 lead it out"
            );
            problems.push(Problem::warning("channel_stops_late", text).at(place));
        }
    }
    problems
}

/// Slanting edges are named where they are.
pub(super) fn put_tilts(build: &Build, choices: &[usize], pieces: &mut [Piece]) {
    for piece in pieces {
        let Some(wrap) = wrapped(build, &build.pieces[piece.of], choices) else { continue };
        let Some(tilt) = wrap.tilt else { continue };
        for [a, b] in wrap.blank.seams {
            let path = Path::new(Line::new(a.raw(), b.raw()).to_path(0.1));
            piece.markings.push(Marking { kind: MarkingKind::Tilt(tilt.blade), path });
        }
    }
}

/// Holes as what goes through them needs them.
pub(super) fn fit_holes(build: &Build, drawn: &[Drawn], pieces: &mut [Piece]) {
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
pub(super) fn punch_holes(build: &Build, pieces: &mut [Piece]) -> Vec<PunchUse> {
    let mut uses: Vec<PunchUse> = Vec::new();
    for piece in pieces {
        let foam = piece.foam.map(|foam| foam_called(foam, &build.foam_at_hand));
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
            both_sides |= foam.is_some_and(|foam| from_both_sides(foam.thickness, punch));
            let sold_as = foam.map(|foam| foam.sold_as);
            let letter = piece.letter.clone();
            match uses.iter_mut().find(|one| one.punch == punch && one.foam == sold_as) {
                Some(one) => {
                    one.count += piece.copies;
                    if !one.letters.contains(&letter) {
                        one.letters.push(letter);
                    }
                }
                None => uses.push(PunchUse { punch, foam: sold_as, count: piece.copies, letters: vec![letter] }),
            }
        }
        if both_sides {
            piece.notes.push(Note::PunchedFromBothSides);
        }
    }
    uses.sort_by(|a, b| a.punch.to_mm().total_cmp(&b.punch.to_mm()));
    uses
}
