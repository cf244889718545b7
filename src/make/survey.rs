//! Build + files → pieces at full size, with everything found out on the way.

use super::cut::{check_holes, check_parts, cut_pieces, outlines_as_cut};
use super::outlines::{
    Files, Outline, TraceReport, find_outlines, finish_outlines, open_pictures, scaled_by, sights, tracers,
};
use super::sizing::{EXTENT_TOLERANCE, Sizing};
use crate::build_file::{Build, Half, Like, PieceSpec, PipeSpec, SizeFrom};
use crate::pattern::{Assembled, Drawn, Piece, assemble, frail_problems};
use crate::problem::{Problem, Problems};
use crate::shape::Found;
use crate::size::{
    FinishedReport, Interval, MeasureReport, SizeAlternative, SizeReport, Solved, Spread, alternatives, farthest_out,
    length_and_breadth, longest, report,
};
use crate::space::{Map, Path, Pattern, Pixels, Point};
use crate::units::{Length, show, show_at_least};

/// Coarser than this, in mm per pixel, the steps of the picture show in the outline.
const COARSE_PICTURE: f64 = 1.0;

/// A 95 % half width beyond this part of the finished length is told.
const UNSURE: f64 = 0.15;

/// Everything found out about a build.
#[derive(Debug)]
pub struct Survey {
    /// The build itself.
    pub build: Build,
    /// The pieces as they are drawn, whole and without layers, in the order of the file.
    pub drawn: Vec<Piece>,
    /// Everything that is cut, in that order.
    pub pieces: Vec<Piece>,
    /// How it goes together.
    pub building: Assembled,
    /// The longest extent of each piece that is cut, mm.
    pub lengths: Vec<Interval>,
    /// Likewise of each piece as it is drawn.
    pub drawn_lengths: Vec<Interval>,
    /// The outline of each piece on its picture; `None`: full size by itself.
    pub on_pictures: Vec<Option<Path<Pixels>>>,
    /// From each picture to the pattern; none where no piece comes from a picture.
    pub maps: Vec<Map<Pixels, Pattern>>,
    /// What was traced on the way.
    pub traced: Vec<TraceReport>,
    /// Where the size comes from; `None` when no piece comes from a picture.
    pub size: Option<SizeReport>,
    /// Length and width of the finished prop.
    pub finished: FinishedReport,
    /// Distances the maker asked for.
    pub measures: Vec<MeasureReport>,
    /// What the sources not chosen would make of it.
    pub alternatives: Vec<SizeAlternative>,
    /// Warnings and notes.
    pub problems: Problems,
}

/// Goes from `build` to its pieces; `problems` are the warnings met so far.
///
/// Errors: every error of every picture and piece; the first room that finds one ends the way.
pub fn survey(build: Build, mut problems: Problems, files: &dyn Files) -> Result<Survey, Problems> {
    let pictures = open_pictures(&build, files, &mut problems)?;
    let tracers = tracers(&build, &pictures);
    let (mut outlines, mut traced) = find_outlines(&build, &tracers, files, &mut problems)?;
    let sights = sights(&build, &pictures, &mut problems);
    let mut sizing = Sizing::of(&build, &sights, &outlines)?;
    if let Some(solved) = sizing.solved()
        && finish_outlines(&build, &tracers, solved, &mut outlines, &mut traced, &mut problems)?
    {
        sizing = Sizing::of(&build, &sights, &outlines)?;
    }
    drop(pictures);
    let mut pieces = cut_pieces(&build, &outlines, sizing.solved())?;
    if pieces.iter().any(|Drawn { piece, .. }| piece.symmetry.is_some()) {
        // What is made alike does not reach quite as far as what was drawn, and the size may rest on its reach.
        sizing = Sizing::of(&build, &sights, &outlines_as_cut(&build, &outlines, &pieces, sizing.solved()))?;
        pieces = cut_pieces(&build, &outlines, sizing.solved())?;
        outlines = outlines_as_cut(&build, &outlines, &pieces, sizing.solved());
    }
    let (marks, spread) = sizing.into_parts();
    let drawn_lengths = piece_lengths(&build, &outlines, &pieces, spread.as_ref());
    let on_pictures = outlines.iter().map(Outline::on_picture).collect();
    let maps =
        spread.iter().flat_map(|spread| (0..build.pictures.len()).map(|k| spread.solved().pattern_map(k))).collect();
    let (size, finished, measures) = match &spread {
        Some(spread) => {
            let (size, finished, measures) = report(&marks, spread);
            problems.extend(spread.solved().remarks.iter().cloned());
            warn_coarse(&build, &size, &mut problems);
            warn_unsure(&build, finished.as_ref(), &mut problems);
            (Some(size), finished, measures)
        }
        None => (None, None, Vec::new()),
    };
    let alternatives = if finished.is_some() { alternatives(&marks) } else { Vec::new() };
    problems.extend(finished.iter().flat_map(|finished| other_sizes(&build, finished, &alternatives)));
    let finished = finished.unwrap_or_else(|| union_extent(&pieces));
    let runs = pipe_runs(&build, spread.as_ref().map(Spread::solved));
    let mut building = assemble(&build, &pieces, &runs)?;
    problems.append(&mut building.problems);
    for (drawn, letters) in pieces.iter_mut().zip(&building.letters) {
        drawn.piece.letter.clone_from(letters);
    }
    let lengths = building
        .pieces
        .iter()
        .map(|piece| cut_length(piece, &pieces[piece.of].piece, drawn_lengths[piece.of]))
        .collect();
    check_holes(&build, &pieces, &mut problems);
    check_parts(&build, &pieces, &mut problems);
    for (spec, Drawn { piece, .. }) in build.pieces.iter().zip(&pieces) {
        problems.extend(frail_problems(piece).into_iter().map(|problem| problem.at(spec.place)));
        problems.extend(piece.symmetry.as_ref().and_then(|found| unlike(spec, piece, found)));
    }
    let drawn = pieces.into_iter().map(|drawn| drawn.piece).collect();
    let pieces = std::mem::take(&mut building.pieces);
    Ok(Survey {
        build,
        drawn,
        pieces,
        building,
        lengths,
        drawn_lengths,
        on_pictures,
        maps,
        traced,
        size,
        finished,
        measures,
        alternatives,
        problems,
    })
}

/// Where the pipes run at full size; `None` for one whose run is not given.
fn pipe_runs(build: &Build, solved: Option<&Solved>) -> Vec<Option<[Point<Pattern>; 2]>> {
    let run = |spec: &PipeSpec| {
        let run = spec.run?;
        let place = |at: Point<Pixels>| match run.picture {
            Some(picture) => Some(solved?.pattern_map(picture).point(at)),
            // Without a picture the numbers are millimetres.
            None => Some(at.raw().into()),
        };
        Some([place(run.from)?, place(run.to)?])
    };
    build.pipes.iter().map(run).collect()
}

/// The longest extent of what is cut, as sure as that of what was drawn.
fn cut_length(piece: &Piece, drawn: &Piece, of_drawn: Interval) -> Interval {
    if piece.outline == drawn.outline {
        return of_drawn;
    }
    let value = longest(&piece.outline.flatten(EXTENT_TOLERANCE).concat(), &Map::affine(kurbo::Affine::IDENTITY));
    let times = value / of_drawn.value;
    Interval {
        value,
        sd: times * of_drawn.sd,
        low: value - times * (of_drawn.value - of_drawn.low),
        high: value + times * (of_drawn.high - of_drawn.value),
    }
}

/// Halves or turns that differ by much may be no halves or turns.
fn unlike(spec: &PieceSpec, piece: &Piece, found: &Found<Pattern>) -> Option<Problem> {
    /// Parts of the piece's own length, on average and at worst: common practice, no source.
    const MUCH: [f64; 2] = [0.01, 0.015];
    let (width, height) = piece.size();
    let length = width.to_mm().hypot(height.to_mm());
    if found.rms < MUCH[0] * length && found.worst < MUCH[1] * length {
        return None;
    }
    let (parts, next) = match spec.symmetric {
        _ if found.symmetry.turns > 1 => ("turns", "look whether repeats is right"),
        Some(half) if half.value == Half::Both => {
            ("halves", "look whether they mirror each other; if only one is right, keep it, as in symmetric = \"left\"")
        }
        _ => ("halves", "look whether the one that is kept is right, and its axis"),
    };
    let text = format!(
        "the {parts} of piece {} “{}” differ by {:.1} mm rms, {:.1} mm at worst, and are made alike; {next}",
        piece.letter, piece.name, found.rms, found.worst
    );
    let place = spec.symmetric.filter(|_| found.symmetry.turns == 1).map_or(spec.repeats.place, |half| half.place);
    Some(Problem::warning("halves_unlike", text).at(place))
}

/// The longest extent of each piece; exact for one that no picture scales.
fn piece_lengths(build: &Build, outlines: &[Outline], pieces: &[Drawn], spread: Option<&Spread>) -> Vec<Interval> {
    let length = |((spec, outline), Drawn { piece, .. }): ((&PieceSpec, &Outline), &Drawn)| match (outline, spread) {
        (Outline::Pixels(picture, path), Some(spread)) => {
            let map = |solved: &Solved| solved.pattern_map_above(*picture, spec.above.map(Length::to_mm));
            let points = farthest_out(&path.flatten(EXTENT_TOLERANCE).concat(), &map(spread.solved()));
            spread.of(&|_, solved| longest(&points, &map(solved)))
        }
        _ => {
            let points = piece.outline.flatten(EXTENT_TOLERANCE).concat();
            let value = longest(&points, &Map::affine(kurbo::Affine::IDENTITY));
            Interval { value, sd: 0.0, low: value, high: value }
        }
    };
    build.pieces.iter().zip(outlines).zip(pieces).map(length).collect()
}

/// Extent of pieces that came at full size and so share no frame: that of the longest one.
fn union_extent(pieces: &[Drawn]) -> FinishedReport {
    let sizes =
        pieces.iter().map(|Drawn { piece, .. }| length_and_breadth(&piece.outline.flatten(EXTENT_TOLERANCE).concat()));
    let (length, width) = sizes.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or_default();
    FinishedReport { by: "outlines", length_mm: length, length_95: [length; 2], width_mm: width, width_95: [width; 2] }
}

/// A size that may be off by a good part of itself is no size to cut by.
fn warn_unsure(build: &Build, finished: Option<&FinishedReport>, problems: &mut Problems) {
    let Some(FinishedReport { length_mm, length_95: [low, high], .. }) = finished else { return };
    let either_way = (high - low) / 2.0;
    if either_way > UNSURE * length_mm {
        let text = format!(
            "the finished length of {length_mm:.0} mm may be {either_way:.0} mm off either way, which is no size to cut \
             by; mark known lengths that are longer on the picture, or whose ends are clearer"
        );
        let place = build.pictures.first().map(|picture| picture.name.place).unwrap_or_default();
        problems.push(Problem::warning("size_unsure", text).at(place));
    }
}

/// What else is marked would make the prop so long, unless it agrees. Which of them is right only the maker knows: a figure
/// is the wearer's, a known length that of the thing in the picture.
fn other_sizes(build: &Build, finished: &FinishedReport, alternatives: &[SizeAlternative]) -> Problems {
    let either_way = |low: f64, high: f64| (high - low) / 2.0;
    let [low, high] = finished.length_95;
    let differs = |other: &&SizeAlternative| {
        let Interval { value, low: least, high: most, .. } = other.finished;
        (value - finished.length_mm).abs() > either_way(low, high) + either_way(least, most)
    };
    let told = |other: &SizeAlternative| {
        let by = match other.from {
            SizeFrom::KnownLengths => "the known lengths",
            SizeFrom::AsPictured => "the known rectangle",
            SizeFrom::Figure => match other.like {
                None => "the figure",
                Some(Like::Stature) => "the figure, as tall as the wearer,",
                Some(Like::Head) => "the figure, with a head as large as the wearer's,",
                Some(Like::Shoulder) => "the figure, with shoulders as high as the wearer's,",
                Some(Like::Blend(_)) => "the figure, half way between its stature and its head,",
            },
            SizeFrom::Hand => "the hand",
            SizeFrom::Finished(_) => "the finished length",
        };
        let shown = |mm: f64| show(Length::mm(mm), build.units);
        let Interval { value, low, high, .. } = other.finished;
        let text = format!(
            "{by} would make the finished length {}, give or take {}, instead of {}; if both should tell the same size, \
             look which of them is wrong",
            shown(value),
            show_at_least(Length::mm(either_way(low, high)), build.units),
            shown(finished.length_mm)
        );
        Problem::note("other_size", text).at(build.size.place)
    };
    alternatives.iter().filter(differs).map(told).collect()
}

fn warn_coarse(build: &Build, size: &SizeReport, problems: &mut Problems) {
    for (spec, picture) in build.pictures.iter().zip(&size.pictures) {
        let used = build
            .pieces
            .iter()
            .any(|piece| scaled_by(piece).is_some_and(|index| build.pictures[index].name.value == spec.name.value));
        if used && picture.mm_per_px > COARSE_PICTURE {
            problems.push(
                Problem::warning(
                    "coarse_picture",
                    format!(
                        "one pixel of {} is {:.2} mm on the pattern, so steps of the picture may show; a picture with \
                         {:.0} % more pixels across would do",
                        spec.file.value,
                        picture.mm_per_px,
                        (100.0 * (picture.mm_per_px - 1.0)).ceil()
                    ),
                )
                .at(spec.file.place),
            );
        }
    }
}
