//! Build + files → pieces at full size, with everything found out on the way.

use std::io;

use crate::build_file::{Build, Light, PieceSpec, SizeFrom, Source, outside};
use crate::contour::{Traced, Tracer};
use crate::output::{OnPicture, OutFile, overlay_png};
use crate::pattern::{Piece, RoundHole, frail_problems, letters};
use crate::picture::{Picture, decode};
use crate::problem::{Level, Place, Problem, Problems};
use crate::shape::{Knot, Shape, closed_spline, from_svg};
use crate::size::{
    FinishedReport, Interval, Marks, MeasureReport, SizeAlternative, SizeReport, Solved, Spread, alternatives,
    length_and_breadth, longest, marks, report,
};
use crate::space::{Map, Path, Pattern, Pixels, Point};
use crate::units::{Length, show, show_at_least};

/// Where the files that a build names are read from.
pub trait Files {
    /// The bytes of `name`, which is relative to the build file.
    fn read(&self, name: &str) -> io::Result<Vec<u8>>;
}

/// A coarse flattening for extents, in pixels or mm: far below anything that is measured on it.
const EXTENT_TOLERANCE: f64 = 0.02;
/// Curves are fitted again within this when a picture is straightened, in mm.
const REFIT_TOLERANCE: f64 = 0.01;
/// Coarser than this, in mm per pixel, the steps of the picture show in the outline.
const COARSE_PICTURE: f64 = 1.0;

/// A 95 % half width beyond this part of the finished length is told.
const UNSURE: f64 = 0.15;

/// What tracing one piece gave.
#[derive(Clone, Debug, serde::Serialize)]
pub struct TraceReport {
    /// Of the piece.
    pub name: String,
    /// Loops that are cut out of it.
    pub openings: usize,
    /// Lines and cubics.
    pub nodes: usize,
    /// Places where the direction jumps.
    pub corners: usize,
    /// Root mean square distance of the edge from the outline, in pixels.
    pub rms_px: f64,
    /// The largest of these distances.
    pub worst_px: f64,
    /// "camera" or "drawing".
    pub light: &'static str,
    /// Whether the edges themselves told the light.
    pub light_found: bool,
    /// Where these corners are.
    #[serde(skip)]
    pub corner_places: Vec<Point<Pixels>>,
    /// Index of its picture, and of its table among the pieces of the file.
    #[serde(skip)]
    pub picture: usize,
    /// Likewise.
    #[serde(skip)]
    pub index: usize,
    /// The outline, in pixels.
    #[serde(skip)]
    pub outline: Path<Pixels>,
}

/// Everything found out about a build.
#[derive(Debug)]
pub struct Survey {
    /// The build itself.
    pub build: Build,
    /// The pieces at full size, in the order of the file.
    pub pieces: Vec<Piece>,
    /// The longest extent of each piece, mm.
    pub lengths: Vec<Interval>,
    /// What was traced on the way.
    pub traced: Vec<TraceReport>,
    /// Where the size comes from; `None` when no piece comes from a picture.
    pub size: Option<SizeReport>,
    /// Length and width of the finished prop.
    pub finished: FinishedReport,
    /// Distances the maker asked for.
    pub measures: Vec<MeasureReport>,
    /// Warnings and notes.
    pub problems: Problems,
}

/// An outline before it has its size.
enum Outline {
    Pixels(usize, Path<Pixels>),
    FullSize(Path<Pattern>),
}

/// Goes from `build` to its pieces; `problems` are the warnings met so far.
///
/// Errors: every error of every picture and piece; the first room that finds one ends the way.
pub fn survey(build: Build, mut problems: Problems, files: &dyn Files) -> Result<Survey, Problems> {
    let pictures = open_pictures(&build, files, &mut problems)?;
    let (outlines, traced) = find_outlines(&build, &pictures, files, &mut problems)?;
    drop(pictures);
    let points: Vec<Vec<Point<Pixels>>> = (0..build.pictures.len())
        .map(|picture| {
            let of_picture = outlines.iter().filter_map(|outline| match outline {
                Outline::Pixels(on, path) if *on == picture => Some(path.flatten(EXTENT_TOLERANCE).concat()),
                _ => None,
            });
            of_picture.flatten().collect()
        })
        .collect();
    let marks = marks(&build, &points);
    let spread = if build.pictures.is_empty() { None } else { Some(Spread::over(&marks)?) };
    let solved = spread.as_ref().map(Spread::solved);
    let pieces = cut_pieces(&build, &outlines, solved)?;
    let lengths = piece_lengths(&outlines, &pieces, spread.as_ref());
    let (size, finished, measures) = match &spread {
        Some(spread) => {
            let (size, finished, measures) = report(&marks, spread);
            problems.extend(spread.solved().remarks.iter().cloned());
            warn_coarse(&build, &size, &mut problems);
            warn_unsure(&build, finished.as_ref(), &mut problems);
            problems.extend(finished.as_ref().into_iter().flat_map(|finished| other_sizes(&build, finished, &marks)));
            (Some(size), finished, measures)
        }
        None => (None, None, Vec::new()),
    };
    let finished = finished.unwrap_or_else(|| union_extent(&pieces));
    check_holes(&build, &pieces, &mut problems);
    check_parts(&build, &pieces, &mut problems);
    for (spec, piece) in build.pieces.iter().zip(&pieces) {
        problems.extend(frail_problems(piece).into_iter().map(|problem| problem.at(spec.place)));
    }
    Ok(Survey { build, pieces, lengths, traced, size, finished, measures, problems })
}

/// Traces the pieces of `build` that `wanted` picks, without asking for a size. With pictures of the outlines, if they are
/// to be `overlaid`.
///
/// Errors: every error of every picture and piece.
pub fn trace_pieces(
    build: &Build,
    files: &dyn Files,
    wanted: &dyn Fn(&PieceSpec) -> bool,
    overlaid: bool,
    problems: &mut Problems,
) -> Result<(Vec<TraceReport>, Vec<OutFile>), Problems> {
    let pictures = open_pictures(build, files, problems)?;
    let tracers = tracers(build, &pictures);
    let mut errors = Problems::new();
    let mut reports = Vec::new();
    for piece in build.pieces.iter().filter(|piece| wanted(piece)) {
        match trace_piece(&tracers, piece) {
            Ok((traced, notes)) => {
                problems.extend(notes);
                reports.push(traced);
            }
            Err(problem) => errors.push(problem),
        }
    }
    if !errors.is_empty() {
        return Err(errors);
    }
    let overlays = if overlaid { overlays(build, &pictures, &reports) } else { Vec::new() };
    Ok((reports, overlays))
}

/// Each picture from which something was traced, with the outlines on it.
fn overlays(build: &Build, pictures: &[Picture], reports: &[TraceReport]) -> Vec<OutFile> {
    let one = |(index, picture): (usize, &Picture)| {
        let of_picture = reports.iter().filter(|report| report.picture == index);
        let drawn: Vec<OnPicture<'_>> =
            of_picture.map(|report| OnPicture { outline: &report.outline, corners: &report.corner_places }).collect();
        // A name may hold what separates folders.
        let name = format!("traced-{}.png", build.pictures[index].name.value.replace(['/', '\\'], "-"));
        (!drawn.is_empty()).then(|| OutFile { name, bytes: overlay_png(picture, &drawn) })
    };
    pictures.iter().enumerate().filter_map(one).collect()
}

fn open_pictures(build: &Build, files: &dyn Files, problems: &mut Problems) -> Result<Vec<Picture>, Problems> {
    let mut errors = Problems::new();
    let mut pictures = Vec::new();
    for spec in &build.pictures {
        let opened = read_file(files, &spec.file.value, spec.file.place)
            .and_then(|bytes| decode(&bytes).map_err(|error| about(&spec.file.value, error.into(), spec.file.place)));
        match opened {
            Ok((picture, notes)) => {
                problems.extend(notes.into_iter().map(|note| about(&spec.file.value, note, spec.file.place)));
                match &spec.pixels {
                    Some(pixels) => {
                        let differs = picture.expect_size(Some(pixels.value)).err();
                        errors.extend(differs.map(|error| Problem::from(error).at(pixels.place)));
                    }
                    // Only now is it known what lies beyond.
                    None => {
                        let beyond = outside(&build.marks, pictures.len(), picture.size());
                        let beyond = beyond.into_iter().map(|told| {
                            let place = told.place.unwrap_or(spec.file.place);
                            about(&spec.file.value, told, place)
                        });
                        let (slips, drawn) = beyond.partition(|problem| problem.level == Level::Error);
                        errors.extend::<Problems>(slips);
                        problems.extend::<Problems>(drawn);
                    }
                }
                pictures.push(picture);
            }
            Err(problem) => errors.push(problem),
        }
    }
    if errors.is_empty() { Ok(pictures) } else { Err(errors) }
}

fn tracers<'a>(build: &Build, pictures: &'a [Picture]) -> Vec<Tracer<'a>> {
    build.pictures.iter().zip(pictures).map(|(spec, picture)| Tracer::new(picture, spec.light)).collect()
}

fn read_file(files: &dyn Files, name: &str, place: Place) -> Result<Vec<u8>, Problem> {
    files.read(name).map_err(|error| {
        let text = match error.kind() {
            io::ErrorKind::NotFound => {
                format!("there is no file “{name}” beside the build file; put it there or mend the name")
            }
            io::ErrorKind::IsADirectory => format!("“{name}” is a folder; name a file in it"),
            _ => format!("“{name}” cannot be read: {error}; see that it is a file you may open"),
        };
        Problem::error("file_unreadable", text).at(place)
    })
}

/// `problem`, said of the file `name`.
fn about(name: &str, problem: Problem, place: Place) -> Problem {
    Problem { text: format!("{name}: {}", problem.text), ..problem.at(place) }
}

fn find_outlines(
    build: &Build,
    pictures: &[Picture],
    files: &dyn Files,
    problems: &mut Problems,
) -> Result<(Vec<Outline>, Vec<TraceReport>), Problems> {
    let tracers = tracers(build, pictures);
    let mut errors = Problems::new();
    let (mut outlines, mut traced) = (Vec::new(), Vec::new());
    for piece in &build.pieces {
        let here = piece.source.place;
        let placed = |all: Problems| all.into_iter().map(|p| if p.place.is_none() { p.at(here) } else { p }).collect();
        let found: Result<Outline, Problems> = match &piece.source.value {
            Source::Trace(_) => trace_piece(&tracers, piece)
                .map(|(report, notes)| {
                    problems.extend(notes);
                    let outline = Outline::Pixels(piece.picture.unwrap_or_default(), report.outline.clone());
                    traced.push(report);
                    outline
                })
                .map_err(|problem| vec![problem]),
            Source::Outline(path) => drawn(piece, path.clone()),
            Source::Through(points) => {
                let knots: Vec<Knot<Pixels>> =
                    points.iter().map(|point| Knot { at: point.at, corner: point.corner }).collect();
                closed_spline(&knots).map_err(|problem| vec![problem]).and_then(|path| drawn(piece, path))
            }
            Source::Svg { file, id } => {
                read_file(files, file, here).map_err(|problem| vec![problem]).and_then(|bytes| {
                    let id = id.as_deref();
                    let say = |problem: Problem| vec![about(file, problem, here)];
                    let mut keep = |notes: Problems| problems.extend(notes.into_iter().map(|n| about(file, n, here)));
                    match scaled_by(piece) {
                        Some(picture) => {
                            let drawn = from_svg::<Pixels>(&bytes, id).map_err(say)?;
                            keep(drawn.warnings);
                            Ok(Outline::Pixels(picture, drawn.shape.into_path()))
                        }
                        None => {
                            let drawn = from_svg::<Pattern>(&bytes, id).map_err(say)?;
                            keep(drawn.warnings);
                            Ok(Outline::FullSize(drawn.shape.into_path()))
                        }
                    }
                })
            }
        };
        match found {
            Ok(outline) => outlines.push(outline),
            Err(found) => errors.extend::<Problems>(placed(found)),
        }
    }
    if errors.is_empty() { Ok((outlines, traced)) } else { Err(errors) }
}

/// The picture whose scale the piece follows.
fn scaled_by(piece: &PieceSpec) -> Option<usize> {
    if piece.fixed { None } else { piece.picture }
}

/// A path from the build file: in pixels, or in millimetres when nothing scales it.
fn drawn(piece: &PieceSpec, path: Path<Pixels>) -> Result<Outline, Problems> {
    Ok(match scaled_by(piece) {
        Some(picture) => Outline::Pixels(picture, Shape::new(path)?.into_path()),
        None => Outline::FullSize(Shape::new(Path::new(path.raw().clone()))?.into_path()),
    })
}

fn trace_piece(tracers: &[Tracer], piece: &PieceSpec) -> Result<(TraceReport, Problems), Problem> {
    let how = piece.trace.as_ref();
    let place = how.map_or(piece.source.place, |how| how.place);
    let picture = piece.picture.expect("only a piece with a picture is traced");
    let what = match (&piece.source.value, how) {
        (_, Some(how)) => how.value.clone(),
        (Source::Trace(what), None) => what.clone(),
        _ => crate::build_file::Trace::default(),
    };
    let named = |problem: Problem| {
        let text = format!("piece “{}”: {}", piece.name.value, problem.text);
        Problem { text, ..problem }.at(place)
    };
    let found: Traced = tracers[picture].trace(&what).map_err(named)?;
    let notes = found.notes.iter().cloned().map(named).collect();
    let report = TraceReport {
        name: piece.name.value.clone(),
        openings: openings(&found.outline),
        nodes: found.nodes,
        corners: found.corners.len(),
        rms_px: found.rms,
        worst_px: found.worst,
        light: match found.light {
            Light::Camera => "camera",
            Light::Drawing => "drawing",
        },
        light_found: found.light_was_found,
        corner_places: found.corners,
        picture,
        index: piece.index,
        outline: found.outline,
    };
    Ok((report, notes))
}

/// Loops that run anticlockwise on the screen, as those around holes do.
fn openings(outline: &Path<Pixels>) -> usize {
    outline
        .raw()
        .iter()
        .fold((0, kurbo::BezPath::new()), |(count, mut open), element| {
            open.push(element);
            match element {
                kurbo::PathEl::ClosePath => {
                    (count + usize::from(kurbo::Shape::area(&open) < 0.0), kurbo::BezPath::new())
                }
                _ => (count, open),
            }
        })
        .0
}

fn cut_pieces(build: &Build, outlines: &[Outline], solved: Option<&Solved>) -> Result<Vec<Piece>, Problems> {
    let pinned: Vec<Option<&str>> =
        build.pieces.iter().map(|piece| piece.letter.as_ref().map(|letter| letter.value.as_str())).collect();
    let mut errors = Problems::new();
    let mut pieces = Vec::new();
    for ((spec, outline), letter) in build.pieces.iter().zip(outlines).zip(letters(&pinned)) {
        let map: Map<Pixels, Pattern> = match (outline, solved) {
            (Outline::Pixels(picture, _), Some(solved)) => solved.pattern_map(*picture),
            // Its numbers are millimetres already.
            _ => Map::affine(kurbo::Affine::IDENTITY),
        };
        let path = match outline {
            Outline::Pixels(_, path) => map.path(path, REFIT_TOLERANCE),
            Outline::FullSize(path) => path.clone(),
        };
        match Shape::new(path) {
            Ok(shape) => pieces.push(Piece {
                letter,
                name: spec.name.value.clone(),
                picture: scaled_by(spec),
                outline: shape.into_path(),
                holes: spec
                    .holes
                    .iter()
                    .map(|hole| RoundHole { at: map.point(hole.at.value), diameter: hole.diameter })
                    .collect(),
                copies: spec.copies,
                face_down: spec.face_down,
                foam: spec.foam,
                fixed: spec.fixed,
            }),
            Err(problems) => errors.extend(problems.into_iter().map(|problem| problem.at(spec.source.place))),
        }
    }
    if errors.is_empty() { Ok(pieces) } else { Err(errors) }
}

/// The longest extent of each piece; exact for one that no picture scales.
fn piece_lengths(outlines: &[Outline], pieces: &[Piece], spread: Option<&Spread>) -> Vec<Interval> {
    let length = |(outline, piece): (&Outline, &Piece)| match (outline, spread) {
        (Outline::Pixels(picture, path), Some(spread)) => {
            let points = path.flatten(EXTENT_TOLERANCE).concat();
            spread.of(&|_, solved| longest(&points, &solved.pattern_map(*picture)))
        }
        _ => {
            let points = piece.outline.flatten(EXTENT_TOLERANCE).concat();
            let value = longest(&points, &Map::affine(kurbo::Affine::IDENTITY));
            Interval { value, sd: 0.0, low: value, high: value }
        }
    };
    outlines.iter().zip(pieces).map(length).collect()
}

/// Extent of pieces that came at full size and so share no frame: that of the longest one.
fn union_extent(pieces: &[Piece]) -> FinishedReport {
    let sizes = pieces.iter().map(|piece| length_and_breadth(&piece.outline.flatten(EXTENT_TOLERANCE).concat()));
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
fn other_sizes(build: &Build, finished: &FinishedReport, marks: &Marks) -> Problems {
    let either_way = |low: f64, high: f64| (high - low) / 2.0;
    let [low, high] = finished.length_95;
    let differs = |other: &SizeAlternative| {
        let Interval { value, low: least, high: most, .. } = other.finished;
        (value - finished.length_mm).abs() > either_way(low, high) + either_way(least, most)
    };
    let told = |other: SizeAlternative| {
        let by = match other.from {
            SizeFrom::KnownLengths => "the known lengths",
            SizeFrom::AsPictured => "the known rectangle",
            SizeFrom::Figure => "the figure",
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
    alternatives(marks).into_iter().filter(differs).map(told).collect()
}

/// Parts of one piece that do not hang together get one letter and one label.
fn check_parts(build: &Build, pieces: &[Piece], problems: &mut Problems) {
    for (spec, piece) in build.pieces.iter().zip(pieces) {
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

/// A hole that leaves its piece is almost surely a mistake.
fn check_holes(build: &Build, pieces: &[Piece], problems: &mut Problems) {
    for (spec, piece) in build.pieces.iter().zip(pieces) {
        let cut = piece.outline.raw();
        for (hole, round) in spec.holes.iter().zip(&piece.holes) {
            let inside = kurbo::Shape::winding(cut, round.at.raw()) % 2 != 0;
            let radius = round.diameter.to_mm() / 2.0;
            let near = cut
                .segments()
                .map(|segment| kurbo::ParamCurveNearest::nearest(&segment, round.at.raw(), 1e-3).distance_sq.sqrt())
                .fold(f64::INFINITY, f64::min);
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
