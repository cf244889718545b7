//! Build + files → the outline of each piece, in pixels or at full size.

use std::io;

use super::sizing::{EXTENT_TOLERANCE, Sizing};
use crate::build_file::{Build, KnownRectangle, Light, PictureSpec, PieceSpec, Source, Trace, outside};
use crate::contour::{Traced, Tracer};
use crate::output::{OnPicture, OutFile, overlay_png};
use crate::pattern::wrapped;
use crate::picture::{Picture, decode};
use crate::problem::{Place, Placed, Problem, Problems};
use crate::shape::{Knot, Shape, closed_spline, from_svg};
use crate::sheets::{Sides, sides, sides_agree};
use crate::size::{Sight, Solved, longest};
use crate::space::{Map, Path, Pattern, Pixels, Point};
use crate::units::Length;

/// Where the files that a build names are read from.
pub trait Files {
    /// The bytes of `name`, which is relative to the build file.
    fn read(&self, name: &str) -> io::Result<Vec<u8>>;
}

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

/// An outline before it has its size.
#[derive(Clone)]
pub(super) enum Outline {
    Pixels(usize, Path<Pixels>),
    FullSize(Path<Pattern>),
}

impl Outline {
    pub(super) fn on_picture(&self) -> Option<Path<Pixels>> {
        match self {
            Self::Pixels(_, path) => Some(path.clone()),
            Self::FullSize(_) => None,
        }
    }
}

/// The picture whose scale the piece follows.
pub(super) fn scaled_by(piece: &PieceSpec) -> Option<usize> {
    if piece.fixed { None } else { piece.picture }
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
    let sized = if build.pieces.iter().any(|piece| wanted(piece) && is_finished_by_size(piece)) {
        let (outlines, _) = find_outlines(build, &tracers, files, &mut Problems::new())?;
        let sights = sights(build, &pictures, &mut Problems::new());
        Some((Sizing::of(build, &sights, &outlines)?, outlines))
    } else {
        None
    };
    let mut errors = Problems::new();
    let mut reports = Vec::new();
    for (index, piece) in build.pieces.iter().enumerate().filter(|(_, piece)| wanted(piece)) {
        let scale = sized.as_ref().and_then(|(sizing, outlines)| Scale::of(piece, &outlines[index], sizing.solved()?));
        match trace_piece(&tracers, piece, scale) {
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

/// One picture, and whatever is to be told of it.
pub(super) fn open_picture(spec: &PictureSpec, files: &dyn Files) -> Result<(Picture, Problems), Problem> {
    let (name, place) = (&spec.file.value, spec.file.place);
    let bytes = read_file(files, name, place)?;
    let (picture, notes) = decode(&bytes).map_err(|error| about(name, error.into(), place))?;
    Ok((picture, notes.into_iter().map(|note| about(name, note, place)).collect()))
}

pub(super) fn open_pictures(
    build: &Build,
    files: &dyn Files,
    problems: &mut Problems,
) -> Result<Vec<Picture>, Problems> {
    let mut errors = Problems::new();
    let mut pictures = Vec::new();
    for spec in &build.pictures {
        match open_picture(spec, files) {
            Ok((picture, notes)) => {
                problems.extend(notes);
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
                        let (slips, drawn) = beyond.partition(|problem| problem.is_error());
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

/// What the pictures show besides their outlines.
pub(super) fn sights(build: &Build, pictures: &[Picture], problems: &mut Problems) -> Vec<Sight> {
    let one = |(spec, picture): (&PictureSpec, &Picture)| {
        let rectangles = spec.known_rectangle.iter().chain(&spec.further_rectangles);
        let sides = rectangles.map(|known| rectangle_sides(&spec.name.value, picture, spec.light, known, problems));
        Sight { size: picture.size().map(f64::from), sides: sides.collect(), ..Sight::default() }
    };
    build.pictures.iter().zip(pictures).map(one).collect()
}

/// The sides of a known rectangle as the picture shows them; empty where they are not to be looked for or not seen.
fn rectangle_sides(
    name: &str,
    picture: &Picture,
    light: Option<Light>,
    known: &KnownRectangle,
    problems: &mut Problems,
) -> Sides {
    /// A click may be off by so many of its standard deviations of 1.5 px.
    const OFF: f64 = 6.0;
    if !known.sides_in_picture {
        return Sides::default();
    }
    let found = sides(picture, light, known.corners.value, OFF);
    if !sides_agree(&found, known.corners.value, picture.size().map(f64::from)) {
        let text = format!(
            "picture \"{name}\": what runs along the sides of the known rectangle, such as a printed frame or a shadow, bows \
             as no lens does, so that the corners count as they are marked; see that they are where the sides meet"
        );
        problems.push(Problem::warning("sides_odd", text).at(known.corners.place));
        return Sides::default();
    }
    let unseen = found.iter().filter(|side| side.is_empty()).count();
    if unseen > 0 {
        let text = format!(
            "picture \"{name}\": {unseen} of the 4 sides of the known rectangle are not seen clearly between its corners, so \
             that the corners count as they are marked there; look whether they are where the sides would meet"
        );
        problems.push(Problem::note("sides_unseen", text).at(known.corners.place));
    }
    found
}

pub(super) fn tracers<'a>(build: &Build, pictures: &'a [Picture]) -> Vec<Tracer<'a>> {
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

pub(super) fn find_outlines(
    build: &Build,
    tracers: &[Tracer],
    files: &dyn Files,
    problems: &mut Problems,
) -> Result<(Vec<Outline>, Vec<TraceReport>), Problems> {
    let mut errors = Problems::new();
    let (mut outlines, mut traced) = (Vec::new(), Vec::new());
    for piece in &build.pieces {
        let here = piece.source.place;
        let placed = |all: Problems| all.into_iter().map(|p| if p.place.is_none() { p.at(here) } else { p }).collect();
        let found: Result<Outline, Problems> = match &piece.source.value {
            Source::Trace(_) => trace_piece(tracers, piece, None)
                .map(|(report, notes)| {
                    // What has still to be finished tells its notes then.
                    if !is_finished_by_size(piece) {
                        problems.extend(notes);
                    }
                    let outline = Outline::Pixels(piece.picture.unwrap_or_default(), report.outline.clone());
                    traced.push(report);
                    outline
                })
                .map_err(|problem| vec![problem]),
            Source::Outline(path) => drawn(piece, path.clone()),
            Source::Wrap(_) => Ok(Outline::FullSize(wrapped(build, piece, &[]).expect("it is a wrap").blank.outline)),
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

/// A path from the build file: in pixels, or in millimetres when nothing scales it.
fn drawn(piece: &PieceSpec, path: Path<Pixels>) -> Result<Outline, Problems> {
    Ok(match scaled_by(piece) {
        Some(picture) => Outline::Pixels(picture, Shape::new(path)?.into_path()),
        None => Outline::FullSize(Shape::new(Path::new(path.raw().clone()))?.into_path()),
    })
}

/// How a piece is to be traced.
fn how_traced(piece: &PieceSpec) -> Option<&Trace> {
    match (&piece.source.value, &piece.trace) {
        (_, Some(how)) => Some(&how.value),
        (Source::Trace(how), None) => Some(how),
        _ => None,
    }
}

/// Whether lengths at full size decide about the outline of a piece.
fn is_finished_by_size(piece: &PieceSpec) -> bool {
    how_traced(piece).is_some_and(|how| how.within.is_some() || how.ignore_below.is_some())
}

/// Traces once more, now that sizes are known, what is to be `within` or without what is `ignore_below` a length. Whether
/// there was any.
pub(super) fn finish_outlines(
    build: &Build,
    tracers: &[Tracer],
    solved: &Solved,
    outlines: &mut [Outline],
    traced: &mut [TraceReport],
    problems: &mut Problems,
) -> Result<bool, Problems> {
    let mut errors = Problems::new();
    let mut any = false;
    for (piece, outline) in build.pieces.iter().zip(outlines) {
        if !matches!(piece.source.value, Source::Trace(_)) || !is_finished_by_size(piece) {
            continue;
        }
        any = true;
        match trace_piece(tracers, piece, Scale::of(piece, outline, solved)) {
            Ok((report, notes)) => {
                problems.extend(notes);
                *outline = Outline::Pixels(piece.picture.unwrap_or_default(), report.outline.clone());
                if let Some(former) = traced.iter_mut().find(|former| former.index == report.index) {
                    *former = report;
                }
            }
            Err(problem) => errors.push(problem),
        }
    }
    if errors.is_empty() { Ok(any) } else { Err(errors) }
}

/// How large an outline is, before it is traced as its size wants it.
struct Scale {
    map: Map<Pixels, Pattern>,
    /// The most mm that a pixel is long anywhere on the outline.
    mm_per_px: f64,
}

impl Scale {
    /// `None` for what no picture scales.
    fn of(piece: &PieceSpec, outline: &Outline, solved: &Solved) -> Option<Self> {
        let Outline::Pixels(picture, path) = outline else { return None };
        let map = solved.pattern_map_above(*picture, piece.above.map(Length::to_mm));
        let places = path.raw().elements().iter().filter_map(kurbo::PathEl::end_point);
        let mm_per_px = places.map(|at| map.stretch(at.into())).fold(0.0, f64::max);
        Some(Self { map, mm_per_px })
    }
}

/// Traces a piece; as lengths at full size want its outline, if its `scale` is known.
fn trace_piece(
    tracers: &[Tracer],
    piece: &PieceSpec,
    scale: Option<Scale>,
) -> Result<(TraceReport, Problems), Problem> {
    let place = piece.trace.as_ref().map_or(piece.source.place, |how| how.place);
    let picture = piece.picture.expect("only a piece with a picture is traced");
    let what = how_traced(piece).cloned().unwrap_or_default();
    let named = |problem: Problem| {
        let text = format!("piece “{}”: {}", piece.name.value, problem.text);
        Problem { text, ..problem }.at(problem.place.unwrap_or(place))
    };
    let within = scale.as_ref().zip(what.within).map(|(scale, within)| within.value.to_mm() / scale.mm_per_px);
    let mut found = match within {
        Some(within) => tracers[picture].trace_within(&what, within),
        None => tracers[picture].trace(&what),
    }
    .map_err(named)?;
    if let (Some(scale), Some(least)) = (scale, what.ignore_below) {
        found = without_specks(found, &scale.map, least).map_err(named)?;
    }
    let notes = found.notes.iter().cloned().map(named).collect();
    let report = TraceReport {
        name: piece.name.value.clone(),
        // Around holes the way runs anticlockwise on the screen.
        openings: found.loops().iter().filter(|ring| kurbo::Shape::area(ring.raw()) < 0.0).count(),
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

/// `found` without the loops that are nowhere as long as `least` at full size, and what lies in them.
fn without_specks(found: Traced, map: &Map<Pixels, Pattern>, least: Placed<Length>) -> Result<Traced, Problem> {
    let lengths: Vec<f64> =
        found.loops().iter().map(|ring| longest(&ring.flatten(EXTENT_TOLERANCE).concat(), map)).collect();
    let limit = least.value.to_mm();
    let dropped: Vec<f64> = lengths.iter().copied().filter(|length| *length < limit).collect();
    let largest = dropped.iter().copied().fold(0.0, f64::max);
    if dropped.len() == lengths.len() {
        let text = format!(
            "everything traced here is shorter than the {limit} mm of ignore_below: the largest is {largest:.1} mm; lower \
             ignore_below, or see whether the size is right"
        );
        return Err(Problem::error("all_ignored", text).at(least.place));
    }
    if dropped.is_empty() {
        return Ok(found);
    }
    let mut kept = found.keeping(|ring| lengths[ring] >= limit);
    let text = format!("left out {} below {limit} mm, the largest {largest:.1} mm long", counted(dropped.len()));
    kept.notes.push(Problem::note("left_out_below", text));
    Ok(kept)
}

fn counted(loops: usize) -> String {
    if loops == 1 { "one hole or speck".to_owned() } else { format!("{loops} holes and specks") }
}
