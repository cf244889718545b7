//! Picture + loop or inside points → outlines in pixels: closed, simple, finite, sub-pixel, corners kept.
//!
//! | step | file |
//! | --- | --- |
//! | what the ground looks like, what stands off it | `ground` |
//! | on a busy ground, what a loop and strokes mark | `busy`, `cut` |
//! | connected regions, which lies in which | `region` |
//! | their borders as pixel sides | `border` |
//! | the line drawn around a filling | `ink` |
//! | where each edge lies between pixels, in the picture's own light | `edge`, `light` |
//! | noise along the way, stretches of it as polynomials | `course` |
//! | corners | `corner` |
//! | a smooth curve between corners | `spline` |
//! | few lines and cubics | `fit`, `outline` |
//!
//! Beside that way stands `follow`: the edge from one place to another, for a maker who points.

mod border;
mod busy;
mod corner;
mod course;
mod cut;
mod edge;
mod fit;
mod follow;
mod ground;
mod ink;
mod light;
mod outline;
mod region;
mod samples;
mod spline;
#[cfg(test)]
mod tests;
mod tone;
mod wire;

use std::borrow::Cow;
use std::cell::OnceCell;
use std::collections::HashMap;

use border::{Cell, Crack, Grid};
use ground::{Field, Ground};
use kurbo::{BezPath, ParamCurve as _, ParamCurveNearest as _};
use rayon::prelude::*;
use region::{Region, Regions, Row, polygon_rows};
use samples::{LabTable, Samples};

pub use follow::Follower;
pub use wire::loop_through;

use crate::build_file::{DrawnLine, Light, Stroke, Trace};
use crate::picture::Picture;
use crate::problem::Problem;
use crate::space::{Path, Pixels, Point};

/// Regions of fewer pixels are dust or noise.
const SPECK: usize = 16;
/// Islands smaller than this part of the largest are dust beside it.
const DUST: usize = 2000;
/// Least width and height in pixels that leave a ground around a shape.
const LEAST_SIZE: u32 = 8;
/// The part of a plain ground's border that one colour explains, at least.
const PLAIN: f64 = 0.6;
/// Shapes whose edges are asked for the light.
const WITNESSES: usize = 8;
/// Places from which the ground is learnt; more add time and nothing else.
const PLACES: usize = 4000;
/// The part of what lies just outside a loop that up to three colours explain, for its ground to be told by them.
const EVEN_GROUND: f64 = 0.97;
/// Spots of a ground, in OKLab, from which on it takes more than a few colours to tell it from a shape.
const SPOTS: f32 = 0.012;
/// Distance in pixels that an outline may keep from the edge, unless another is asked for.
const WITHIN: f64 = 0.1;
/// Of that, what smoothing takes; the rest is left to lines and cubics that stand for the smooth curve.
const SMOOTHED: f64 = 0.03;
/// Lines and cubics closer than this would follow noise.
const LEAST_TOLERANCE: f64 = 0.01;
/// Where so much of an edge is much softer than the rest, a shadow may be taken for the shape.
const SOFT: f64 = 0.08;
/// A spread of the ground (in OKLab) above this is sensor noise or JPEG; drawings are quieter, or even flat.
const NOISY: f32 = 0.004;

/// An outline and how well it is known.
#[derive(Clone, Debug)]
pub struct Traced {
    /// Closed loops of lines and cubics, none crossing another; even-odd. Clockwise on the screen around the shape,
    /// anticlockwise around holes.
    pub outline: Path<Pixels>,
    /// Points well inside the shape, by which it is found again: one, or one in everything that a drawn line encloses.
    pub inside: Vec<Point<Pixels>>,
    /// The light in which edges were read.
    pub light: Light,
    /// Whether the edges themselves told the light.
    pub light_was_found: bool,
    /// Nodes of the outline; every line and cubic ends in one.
    pub nodes: usize,
    /// Where the direction of the outline jumps.
    pub corners: Vec<Point<Pixels>>,
    /// Root mean square distance, in pixels, of the edge points from the outline; not a number where no edge was found
    /// between the pixels.
    pub rms: f64,
    /// The largest of these distances, in pixels; likewise.
    pub worst: f64,
    /// What a person should know about this outline.
    pub notes: Vec<Problem>,
}

impl Traced {
    /// Each loop by itself.
    pub fn loops(&self) -> Vec<Path<Pixels>> {
        let elements = self.outline.raw().elements();
        let loops = elements.chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
        loops.map(|part| Path::new(BezPath::from_vec(part.to_vec()))).collect()
    }

    /// Only the loops whose number `keep` likes. How far the edge strays is left as it was for all of them.
    pub fn keeping(self, keep: impl Fn(usize) -> bool) -> Self {
        let loops: Vec<BezPath> = self
            .loops()
            .into_iter()
            .enumerate()
            .filter(|(i, _)| keep(*i))
            .map(|(_, ring)| ring.raw().clone())
            .collect();
        let of_kept = |corner: &Point<Pixels>| {
            let ends = loops.iter().flat_map(BezPath::iter).filter_map(|element| element.end_point());
            ends.into_iter().any(|end| end == corner.raw())
        };
        Self {
            nodes: nodes(&loops),
            corners: self.corners.iter().copied().filter(of_kept).collect(),
            outline: Path::new(loops.into_iter().flatten().collect()),
            ..self
        }
    }
}

/// Nodes of loops; every line and cubic ends in one.
fn nodes(loops: &[BezPath]) -> usize {
    let of_loop = |path: &BezPath| {
        let elements = path.elements().iter().filter(|e| !matches!(e, kurbo::PathEl::ClosePath)).count();
        elements - usize::from(returns(path))
    };
    loops.iter().map(of_loop).sum()
}

/// A picture to trace from. What all shapes on a plain ground share is found out once.
pub struct Tracer<'a> {
    picture: &'a Picture,
    light: Option<Light>,
    plain: OnceCell<Result<Scene<'a>, Problem>>,
}

impl<'a> Tracer<'a> {
    /// `light`: how edges were blended; `None`: to be found.
    pub const fn new(picture: &'a Picture, light: Option<Light>) -> Self {
        Self { picture, light, plain: OnceCell::new() }
    }

    /// Traces the shape that `what` marks: the one in a loose loop, or the one that holds the inside strokes, or, when
    /// neither is given, all that stands off a plain ground. Outside strokes, and a loop on a ground that is not plain, have
    /// object and ground told apart by all their colours and the contrast between them.
    ///
    /// An inside point on ground that the shape encloses, as in a line drawing, counts what is enclosed to the shape.
    ///
    /// # Errors
    ///
    /// A ground that is not plain where no loop is given; marks that mark nothing; a shape that the loop or the picture's
    /// border cuts off; a picture of one colour or too small.
    pub fn trace(&self, what: &Trace) -> Result<Traced, Problem> {
        self.trace_within(what, WITHIN)
    }

    /// Like [`Tracer::trace`], with lines and cubics that keep so many pixels from the edge at most; it is smoothed and its
    /// corners are found as ever.
    ///
    /// # Errors
    ///
    /// As [`Tracer::trace`].
    pub fn trace_within(&self, what: &Trace, within: f64) -> Result<Traced, Problem> {
        let tolerance = (within - SMOOTHED).max(LEAST_TOLERANCE);
        let marked;
        let scene = if what.around.is_empty() && what.outside.is_empty() {
            self.plain()?
        } else {
            marked = Scene::new(self.picture, self.light, what)?;
            &marked
        };
        let (mut shape, notes) =
            if what.inside.is_empty() { scene.everything(&what.around)? } else { scene.holding(what)? };
        let inner = if what.drawn_line == DrawnLine::Outside { None } else { Some(scene.within_line(&mut shape)?) };
        let mut traced = match inner {
            None => scene.outline(&*scene.measured_form(&shape)?, tolerance),
            Some(inner) if what.drawn_line == DrawnLine::Inside => scene.outline(&scene.measured(inner), tolerance),
            Some(inner) => {
                let Edged { form, edges } = scene.measured_form(&shape)?.into_owned();
                let edges = middle(edges, &scene.measured(inner).edges)?;
                scene.outline(&Edged { form, edges }, tolerance)
            }
        };
        traced.notes.extend(notes);
        Ok(traced)
    }

    /// Traces every separate object on a plain ground, largest first.
    ///
    /// # Errors
    ///
    /// A ground that is not plain; objects that all run off the picture; a picture of one colour or too small.
    pub fn islands(&self) -> Result<Vec<Traced>, Problem> {
        let scene = self.plain()?;
        let (shape, notes) = scene.everything(&[])?;
        // What is drawn within a line is part of what the line encloses.
        let (drawn_within, _) = scene.regions.within(&shape.filled);
        let objects: Vec<usize> = shape.objects.into_iter().filter(|&object| !drawn_within[object]).collect();
        let mut traced: Vec<Traced> = objects
            .par_iter()
            .map(|&object| {
                let filled = if scene.is_line(object) { scene.enclosed_by(object) } else { Vec::new() };
                let edged = scene.measured_form(&Shape { objects: vec![object], filled: filled.clone() })?;
                let mut traced = scene.outline(&edged, WITHIN - SMOOTHED);
                if !filled.is_empty() {
                    traced.inside = filled.iter().map(|&ground| scene.deep_in(ground)).collect();
                }
                Ok(traced)
            })
            .collect::<Result<_, Problem>>()?;
        traced[0].notes.extend(notes);
        Ok(traced)
    }

    fn plain(&self) -> Result<&Scene<'a>, Problem> {
        let (picture, light) = (self.picture, self.light);
        // On one of the threads that share the work, which else would be handed over and waited for at every step.
        let new = || rayon::scope(|_| Scene::new(picture, light, &Trace::default()));
        self.plain.get_or_init(new).as_ref().map_err(Clone::clone)
    }
}

/// What is traced, as regions.
struct Shape {
    /// Largest first.
    objects: Vec<usize>,
    /// Grounds enclosed by them that count as theirs.
    filled: Vec<usize>,
}

/// A shape as pixels.
#[derive(Clone)]
struct Form {
    /// The object that it is, all by itself.
    alone: Option<usize>,
    grid: Grid,
    borders: Vec<Vec<Crack>>,
}

/// A shape with the edges along its borders, one each.
#[derive(Clone)]
struct Edged {
    form: Form,
    edges: Vec<outline::Measured>,
}

struct Scene<'a> {
    samples: Samples<'a>,
    regions: Regions,
    /// The loop's pixels row by row, or all.
    clip: Vec<Row>,
    /// The ground or the shape is spotted, so that edges are not surely what they seem.
    busy: bool,
    /// The light to read in, and whether the edges told it.
    light: (Light, bool),
    /// Objects whose edges were measured when the light was sought, each by itself.
    known: HashMap<usize, Edged>,
}

impl<'a> Scene<'a> {
    fn new(picture: &'a Picture, light: Option<Light>, what: &Trace) -> Result<Self, Problem> {
        let around = what.around.as_slice();
        let (width, height) = (picture.width(), picture.height());
        if width.min(height) < LEAST_SIZE {
            return Err(Problem::error(
                "picture_too_small",
                format!(
                    "a picture of {width} × {height} px is too small to trace; use one of at least {LEAST_SIZE} px each \
                     way, and a few hundred for a good outline"
                ),
            ));
        }
        let samples = Samples::of(picture);
        let clip = clip(&samples, around)?;
        let table = LabTable::shared();
        let mut busy = false;
        let ground = if samples.cut_out {
            None
        } else if around.is_empty() && what.outside.is_empty() {
            Some(plain_ground(&samples, table)?)
        } else {
            let places = places_around(&samples, &clip);
            let ground = Ground::learn(&samples, table, &places);
            let spots = ground.spots(&samples, table, &places);
            busy = !what.outside.is_empty() || ground.explained < EVEN_GROUND || spots > SPOTS || ground.tones() > 1;
            Some(ground)
        };
        let noisy = ground.as_ref().is_some_and(|g| g.spread > NOISY || !g.flat);
        let nothing = || {
            if around.is_empty() {
                Problem::error(
                    "picture_of_one_colour",
                    "nothing stands off the ground: the whole picture has one colour; use a picture in which the shape \
                     is darker, lighter or of another colour than what is around it",
                )
            } else {
                Problem::error(
                    "loop_holds_only_ground",
                    "nothing inside the loop differs from what is just outside it; draw the loop around the shape, on \
                     the ground",
                )
            }
        };
        let rows = if busy {
            let [inside, outside] = [&what.inside, &what.outside].map(|strokes| stroked(strokes, &samples));
            let (inside, outside) = (inside?, outside?);
            contradiction(&inside, &outside)?;
            busy::rows(samples, table, &busy::Marks { clip: &clip, inside: &inside, outside: &outside })
        } else {
            Field::new(samples, table, ground).rows(&clip)
        };
        let rows = rows.ok_or_else(nothing)?;
        let regions = Regions::new(&rows, samples.width);
        if regions.objects.iter().all(|o| o.area < SPECK) {
            return Err(nothing());
        }
        let mut scene = Self { samples, regions, clip, busy, light: (Light::Drawing, false), known: HashMap::new() };
        (scene.light, scene.known) = scene.find_light(light, noisy);
        Ok(scene)
    }

    /// All objects but dust, in the loop or on the plain ground.
    fn everything(&self, around: &[Point<Pixels>]) -> Result<(Shape, Vec<Problem>), Problem> {
        let objects = &self.regions.objects;
        let mut order: Vec<usize> = (0..objects.len()).filter(|&o| objects[o].area >= SPECK).collect();
        order.sort_by_key(|&o| std::cmp::Reverse(objects[o].area));
        let (cut, whole): (Vec<usize>, Vec<usize>) = order.iter().partition(|&&o| self.is_cut(o));
        let largest = whole.first().map_or(0, |&o| objects[o].area);
        if let Some(&first) = cut.first()
            && objects[first].area * 20 > largest
        {
            return Err(self.cut_off(first, around));
        }
        let kept: Vec<usize> = whole.into_iter().filter(|&o| objects[o].area * DUST >= largest).collect();
        let mut notes = Vec::new();
        if !cut.is_empty() {
            let what = if around.is_empty() { "the picture's border" } else { "the loop" };
            notes.push(Problem::note(
                "left_out_at_border",
                format!("left out what {what} cuts off: {} small, the largest {} px", cut.len(), objects[cut[0]].area),
            ));
        }
        let dust = order.len() - cut.len() - kept.len();
        if dust > 0 {
            let limit = largest / DUST;
            notes.push(Problem::note("left_out_dust", format!("left out {dust} specks, each smaller than {limit} px")));
        }
        let lines = kept.iter().filter(|&&object| self.is_line(object));
        let filled: Vec<usize> = lines.flat_map(|&object| self.enclosed_by(object)).collect();
        if !filled.is_empty() {
            notes.push(Problem::note(
                "drawn_as_line",
                "a thin line encloses plain ground here: it is taken for the drawn edge of a shape, and what it encloses \
                 is counted to the shape; to cut the line itself as a hoop, place an inside point on the line",
            ));
        }
        let shape = Shape { objects: kept, filled };
        if shape.filled.is_empty() {
            notes.extend(self.line_notes(&shape));
        }
        Ok((shape, notes))
    }

    /// The objects that hold the inside points.
    fn holding(&self, what: &Trace) -> Result<(Shape, Vec<Problem>), Problem> {
        let mut shape = Shape { objects: Vec::new(), filled: Vec::new() };
        for point in what.inside.iter().flatten() {
            let (x, y) = pixel(*point, &self.samples)?;
            let object = match (self.regions.object_at(x, y), self.regions.ground_at(x, y)) {
                (Some(object), _) => object,
                (None, Some(ground)) => {
                    let around = self.regions.grounds[ground].parent;
                    shape.filled.push(ground);
                    around.ok_or_else(|| on_the_ground(*point, !what.around.is_empty()))?
                }
                (None, None) => return Err(on_the_ground(*point, !what.around.is_empty())),
            };
            if self.regions.objects[object].area < SPECK {
                return Err(on_the_ground(*point, !what.around.is_empty()));
            }
            if self.is_cut(object) {
                return Err(self.cut_off(object, &what.around));
            }
            if !shape.objects.contains(&object) {
                shape.objects.push(object);
            }
        }
        shape.objects.sort_by_key(|&o| std::cmp::Reverse(self.regions.objects[o].area));
        let mut notes = Vec::new();
        let meant = what.drawn_line != DrawnLine::Outside || shape.objects.iter().any(|&object| self.is_line(object));
        if !shape.filled.is_empty() && !meant {
            notes.push(Problem::note(
                "hole_filled",
                "an inside point lies in a hole of the shape, so that hole is filled; to keep it, place the point on the \
                 shape itself",
            ));
        }
        notes.extend(self.line_notes(&shape));
        Ok((shape, notes))
    }

    /// Whether the loop or the picture's border runs through an object.
    fn is_cut(&self, object: usize) -> bool {
        let covers = |y: Option<usize>, from: usize, to: usize| {
            y.and_then(|y| self.clip.get(y)).is_some_and(|row| row.iter().any(|&(a, b)| a <= from && to <= b))
        };
        self.regions.objects[object].runs.iter().any(|&(y, from, to)| {
            let beside = from.checked_sub(1).is_some_and(|left| covers(Some(y), left, to + 1));
            !(beside && covers(y.checked_sub(1), from, to) && covers(y.checked_add(1), from, to))
        })
    }

    fn cut_off(&self, object: usize, around: &[Point<Pixels>]) -> Problem {
        let sides = self.regions.sides(object);
        if !sides.is_empty() {
            let at_loop = if around.is_empty() { ", or draw a loop around another shape" } else { "" };
            return Problem::error(
                "shape_runs_off_picture",
                format!(
                    "the shape runs off the picture at its {} side; use a picture that shows all of it with ground \
                     around{at_loop}",
                    sides.join(" and ")
                ),
            );
        }
        let [left, top, right, bottom] = self.regions.objects[object].bounds;
        Problem::error(
            "loop_cuts_shape",
            format!(
                "the loop runs through something that stands off the ground, from ({left}, {top}) to ({right}, \
                 {bottom}); draw the loop wider, on the ground all around the shape"
            ),
        )
    }

    /// Grounds that an object encloses.
    fn enclosed_by(&self, object: usize) -> Vec<usize> {
        let grounds = self.regions.grounds.iter().enumerate();
        grounds.filter(|(_, ground)| ground.area >= SPECK && ground.parent == Some(object)).map(|(i, _)| i).collect()
    }

    /// Whether an object is a line drawn around something, rather than the thing: thin for its size, and of what is within
    /// its outer edge more is plain ground than line, at any depth. (Limits: common practice, no source.)
    fn is_line(&self, object: usize) -> bool {
        const FULL: usize = 3;
        let direct = self.enclosed_by(object);
        if direct.is_empty() {
            return false;
        }
        let (_, within) = self.regions.within(&direct);
        let grounds = self.regions.grounds.iter().zip(within);
        let enclosed: usize = grounds.filter(|(_, within)| *within).map(|(ground, _)| ground.area).sum();
        enclosed >= FULL * self.regions.objects[object].area && self.thin(object).is_some()
    }

    /// How many times as long as its own extent an object is, if it is as thin as a drawn line.
    fn thin(&self, object: usize) -> Option<f64> {
        const THIN: f64 = 0.02;
        let form = self.form(&Shape { objects: vec![object], filled: Vec::new() }).ok()?;
        let region = &self.regions.objects[object];
        let sides: usize = form.borders.iter().map(Vec::len).sum();
        let [left, top, right, bottom] = region.bounds;
        #[expect(clippy::cast_precision_loss, reason = "counts of pixels")]
        let (area, sides, size) =
            (region.area as f64, sides as f64, ((right - left) as f64).hypot((bottom - top) as f64));
        // The sides of pixels along an edge are 4/π times as long as it, on the average over its directions; and a line
        // has two edges.
        let length = 0.5 * sides * std::f64::consts::FRAC_PI_4;
        (area / length < THIN * size).then(|| length / size)
    }

    /// A line that encloses nothing but comes around to where it began has a gap, if it was drawn around something.
    fn is_open_line(&self, object: usize) -> bool {
        /// A straight line and its extent are of one length, an L at most 1.4 times, a full circle 2.2 times.
        const COMES_AROUND: f64 = 1.8;
        /// What is thin and comes around leaves most of its bounds empty, which is quickly told.
        const FULL: usize = 4;
        let region = &self.regions.objects[object];
        let [left, top, right, bottom] = region.bounds;
        FULL * region.area < (right - left) * (bottom - top)
            && !self.is_line(object)
            && self.thin(object).is_some_and(|times| times > COMES_AROUND)
    }

    /// Whether another drawn line runs around an object.
    fn is_lined(&self, object: usize) -> bool {
        let around = self.regions.objects[object].parent.and_then(|ground| self.regions.grounds[ground].parent);
        around.is_some_and(|around| self.is_line(around))
    }

    /// What a person should know about shapes that are drawn as lines.
    fn line_notes(&self, shape: &Shape) -> Vec<Problem> {
        let mut notes = Vec::new();
        if shape.objects.iter().any(|&object| self.is_open_line(object)) {
            notes.push(Problem::warning(
                "line_open",
                "what is cut here is one thin line that comes around without closing; if it is the drawn edge of a shape, \
                 close its gap in the picture",
            ));
        }
        let lined = |&object: &usize| self.is_line(object) && self.is_lined(object);
        if !shape.filled.is_empty() && shape.objects.iter().any(lined) {
            notes.push(Problem::warning(
                "line_around",
                "another line is drawn around the one that is cut along here; if that one is the edge of the shape, place \
                 the inside point between the two",
            ));
        }
        notes
    }

    /// Whether a good part of what lies well within an object has another colour than most of it.
    fn holds_another(&self, object: usize) -> bool {
        /// Of an edge, in pixels, that blur and JPEG spoil.
        const RIM: usize = 8;
        /// The part that is more than a mark or a scratch.
        const PART: f64 = 0.03;
        if self.samples.cut_out || self.busy {
            return false;
        }
        let region = &self.regions.objects[object];
        let [_, top, _, bottom] = region.bounds;
        let runs = region.runs.iter().filter(|(y, ..)| (top + RIM..bottom.saturating_sub(RIM)).contains(y));
        let places = runs.flat_map(|&(y, from, to)| (from + RIM..to.saturating_sub(RIM)).map(move |x| (x, y)));
        let step = (region.area / PLACES).max(1);
        let places: Vec<(usize, usize)> = places.step_by(step).collect();
        !places.is_empty() && Ground::learn(&self.samples, LabTable::shared(), &places).plainness < 1.0 - PART
    }

    /// A point well inside a ground.
    fn deep_in(&self, ground: usize) -> Point<Pixels> {
        let ground = &self.regions.grounds[ground];
        let mut grid = Grid::around(ground.bounds);
        grid.paint(ground, Cell::Shape);
        centre(grid.deepest())
    }

    /// What lies within the drawn line of a shape. A filling of another colour than the line is told from it; else the line
    /// is all that stands off the ground, and what it encloses counts to the shape from here on.
    fn within_line(&self, shape: &mut Shape) -> Result<Form, Problem> {
        if shape.objects.iter().any(|&object| self.is_line(object)) && shape.filled.is_empty() {
            shape.filled = shape.objects.iter().flat_map(|&object| self.enclosed_by(object)).collect();
        }
        let whole = self.form(shape)?;
        if !self.samples.cut_out
            && let Some(inner) = ink::without_line(&whole.grid, &self.samples, LabTable::shared())
        {
            return bordered(inner);
        }
        if shape.filled.is_empty() {
            shape.filled = shape.objects.iter().flat_map(|&object| self.enclosed_by(object)).collect();
        }
        if shape.filled.is_empty() {
            return Err(Problem::error(
                "drawn_line_open",
                "no line is drawn along the edge of this shape that could be told from what is within it, so it shows no \
                 inner side: close the line's gap in the picture, or leave out drawn_line; the shape is then cut along its \
                 outer edge",
            ));
        }
        self.inner_form(shape)
    }

    /// What the drawn line of a shape encloses, without the line.
    fn inner_form(&self, shape: &Shape) -> Result<Form, Problem> {
        let mut grid = Grid::around(self.bounds(shape));
        let (objects, grounds) = self.regions.within(&shape.filled);
        for (ground, own) in self.regions.grounds.iter().zip(grounds) {
            // What lies beyond the line must not be taken for the line.
            grid.paint(ground, if own { Cell::Shape } else { Cell::Other });
        }
        let inner = self.regions.objects.iter().zip(objects).filter(|(_, own)| *own);
        inner.for_each(|(object, _)| grid.paint(object, Cell::Shape));
        bordered(grid)
    }

    /// Left, top, right, bottom of all objects of a shape.
    fn bounds(&self, shape: &Shape) -> [usize; 4] {
        shape
            .objects
            .iter()
            .map(|&object| self.regions.objects[object].bounds)
            .fold([usize::MAX, usize::MAX, 0, 0], |[left, top, right, bottom], b| {
                [left.min(b[0]), top.min(b[1]), right.max(b[2]), bottom.max(b[3])]
            })
    }

    fn form(&self, shape: &Shape) -> Result<Form, Problem> {
        let regions = &self.regions;
        let mut grid = Grid::around(self.bounds(shape));
        let (inner_objects, inner_grounds) = regions.within(&shape.filled);
        for (i, object) in regions.objects.iter().enumerate() {
            let own = inner_objects[i] || shape.objects.contains(&i);
            // A few pixels that stand off are the ground's own noise.
            if own || 4 * object.area >= SPECK {
                grid.paint(object, if own { Cell::Shape } else { Cell::Other });
            }
        }
        let pinhole =
            |ground: &Region| ground.area < SPECK && ground.parent.is_some_and(|o| shape.objects.contains(&o));
        for (i, ground) in regions.grounds.iter().enumerate() {
            if inner_grounds[i] || pinhole(ground) {
                grid.paint(ground, Cell::Shape);
            }
        }
        let alone = (shape.objects.len() == 1 && shape.filled.is_empty()).then(|| shape.objects[0]);
        Ok(Form { alone, ..bordered(grid)? })
    }

    /// The light to read in, whether the edges told it, and those edges by object, measured in it. It is a property of the
    /// picture, so the largest shapes are asked, whichever of them are traced.
    fn find_light(&self, given: Option<Light>, noisy: bool) -> ((Light, bool), HashMap<usize, Edged>) {
        let untold = |light| ((light, false), HashMap::new());
        if let Some(light) = given {
            return untold(light);
        }
        if self.samples.cut_out {
            return untold(Light::Drawing);
        }
        // Spots beside an edge tell of themselves, and what has spots is a photograph, if anything.
        if self.busy {
            return untold(Light::Camera);
        }
        let mut order: Vec<usize> = (0..self.regions.objects.len()).collect();
        order.sort_by_key(|&o| std::cmp::Reverse(self.regions.objects[o].area));
        let whole = order.into_iter().filter(|&o| self.regions.objects[o].area >= SPECK && !self.is_cut(o));
        let asked: Vec<usize> = whole.take(WITNESSES).collect();
        let forms: Vec<Form> = asked
            .into_par_iter()
            .filter_map(|o| self.form(&Shape { objects: vec![o], filled: Vec::new() }).ok())
            .collect();
        let borders: Vec<(&[Crack], &Grid)> =
            forms.iter().flat_map(|f| f.borders.iter().map(|b| (b.as_slice(), &f.grid))).collect();
        let guess = if noisy { Light::Camera } else { Light::Drawing };
        let seen = light::find(&self.samples, &borders, guess);
        let mut edges = seen.edges.into_iter();
        let mut known = HashMap::new();
        for form in forms {
            let own: Vec<outline::Measured> = edges.by_ref().take(form.borders.len()).collect();
            if own.len() < form.borders.len() {
                break;
            }
            known.extend(form.alone.map(|object| (object, Edged { form, edges: own })));
        }
        ((seen.light.unwrap_or(guess), seen.light.is_some()), known)
    }

    /// A shape as pixels with its edges, which may be known already.
    fn measured_form(&self, shape: &Shape) -> Result<Cow<'_, Edged>, Problem> {
        if let ([object], []) = (shape.objects.as_slice(), shape.filled.as_slice())
            && let Some(known) = self.known.get(object)
        {
            return Ok(Cow::Borrowed(known));
        }
        Ok(Cow::Owned(self.measured(self.form(shape)?)))
    }

    fn measured(&self, form: Form) -> Edged {
        // Alpha is coverage as it stands, whatever the light.
        let light = if self.samples.cut_out { Light::Drawing } else { self.light.0 };
        let measured = |border: &Vec<Crack>| {
            let lines = edge::Line::across(border, &form.grid, &self.samples);
            let edge = edge::Edge::look(border, &lines, light, !self.busy);
            if self.busy { edge.measured_among_spots(border) } else { edge.measured(border) }
        };
        Edged { edges: form.borders.par_iter().map(measured).collect(), form }
    }

    fn outline(&self, Edged { form, edges }: &Edged, tolerance: f64) -> Traced {
        let (light, light_was_found) = self.light;
        let fitted = |tolerance: f64| -> Vec<outline::Loop> {
            let one = |(edge, border): (&outline::Measured, &Vec<Crack>)| {
                outline::trace(edge, tolerance).unwrap_or_else(|| by_pixels(border, edge))
            };
            edges.par_iter().zip(&form.borders).map(one).collect()
        };
        let simple = |loops: &[outline::Loop]| {
            let paths: Vec<BezPath> = loops.iter().map(|l| l.path.clone()).collect();
            paths.iter().all(BezPath::is_finite) && !outline::crosses(&paths)
        };
        let loops =
            [tolerance, 0.3 * tolerance].into_iter().map(fitted).find(|l| simple(l)).unwrap_or_else(|| {
                form.borders.iter().zip(edges).map(|(border, edge)| by_pixels(border, edge)).collect()
            });
        let mut notes = Vec::new();
        if loops.iter().any(|l| l.by_pixels) {
            notes.push(Problem::warning(
                "outline_by_pixels",
                "no smooth outline fits here, so the outline follows the pixels, in whole or in part; look at it \
                 closely, or use a picture with more pixels",
            ));
        }
        if edges.iter().any(|edge| edge.soft > SOFT) {
            notes.push(Problem::warning(
                "edge_soft",
                "a part of the edge is much softer than the rest, as that of a shadow is: see with --overlay whether the \
                 outline follows a shadow; if so, draw a loop around the shape, and mark the shadow with outside strokes",
            ));
        }
        if loops.first().is_some_and(is_quadrilateral) && form.alone.is_some_and(|object| self.holds_another(object)) {
            notes.push(Problem::warning(
                "sheet_traced",
                "the outline has four straight sides, and within it lies something of another colour: if that is the prop, \
                 on a sheet or a board, draw a loop around the prop, on the sheet",
            ));
        }
        let misses: Vec<f64> = loops.iter().flat_map(|l| l.misses.iter().copied()).collect();
        #[expect(clippy::cast_precision_loss, reason = "a count of points")]
        let rms = (misses.iter().sum::<f64>() / misses.len() as f64).sqrt();
        let corners = loops.iter().flat_map(|l| l.corners.iter().map(|c| (*c).into())).collect();
        let paths: Vec<BezPath> = loops.into_iter().map(|l| l.path).collect();
        Traced {
            nodes: nodes(&paths),
            outline: Path::new(paths.into_iter().flatten().collect()),
            inside: vec![centre(form.grid.deepest())],
            light,
            light_was_found,
            corners,
            rms,
            worst: if rms.is_nan() { rms } else { misses.iter().copied().fold(0.0, f64::max).sqrt() },
            notes,
        }
    }
}

/// Whether a loop has four corners and keeps to the straight ways between them, as nearly as paper lies flat.
fn is_quadrilateral(found: &outline::Loop) -> bool {
    /// Farthest from those ways, as a part of the diagonal.
    const STRAIGHT: f64 = 0.01;
    if found.corners.len() != 4 {
        return false;
    }
    let mut quadrilateral = BezPath::new();
    quadrilateral.move_to(found.corners[0]);
    found.corners[1..].iter().for_each(|corner| quadrilateral.line_to(*corner));
    quadrilateral.close_path();
    let diagonal = found.corners[0].distance(found.corners[2]).max(found.corners[1].distance(found.corners[3]));
    let ends: Vec<kurbo::Point> = found.path.elements().iter().filter_map(kurbo::PathEl::end_point).collect();
    let middles = found.path.segments().map(|segment| segment.eval(0.5));
    let places: Vec<kurbo::Point> = middles.chain(ends).collect();
    outline::misses(&quadrilateral, &places).into_iter().all(|miss| miss.sqrt() <= STRAIGHT * diagonal)
}

/// The middle of a pixel.
#[expect(clippy::cast_precision_loss, reason = "pixel coordinates are small")]
fn centre((x, y): (i64, i64)) -> Point<Pixels> {
    Point::new(x as f64 + 0.5, y as f64 + 0.5)
}

/// The pixel that holds a marked point.
fn pixel(point: Point<Pixels>, samples: &Samples) -> Result<(usize, usize), Problem> {
    #[expect(clippy::cast_precision_loss, reason = "pixels count far below 2^52")]
    let (width, height) = (samples.width as f64, samples.height as f64);
    if !(0.0..width).contains(&point.x) || !(0.0..height).contains(&point.y) {
        return Err(Problem::error(
            "mark_off_picture",
            format!(
                "the mark ({}, {}) is not on the picture, which goes from (0, 0) to ({width}, {height}); \
                 place it on that",
                point.x, point.y
            ),
        ));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "just checked")]
    Ok((point.x as usize, point.y as usize))
}

/// The pixels that strokes run over.
fn stroked(strokes: &[Stroke], samples: &Samples) -> Result<Vec<(usize, usize)>, Problem> {
    let mut pixels = Vec::new();
    for stroke in strokes {
        pixels.push(pixel(stroke[0], samples)?);
        for pair in stroke.windows(2) {
            pixel(pair[1], samples)?;
            let (a, b) = (pair[0].raw(), pair[1].raw());
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a length on the picture")]
            let steps = (2.0 * a.distance(b)).ceil().max(1.0) as u32;
            for k in 1..=steps {
                pixels.push(pixel(a.lerp(b, f64::from(k) / f64::from(steps)).into(), samples)?);
            }
        }
    }
    pixels.sort_unstable();
    pixels.dedup();
    Ok(pixels)
}

/// Strokes of both kinds over one pixel say nothing.
fn contradiction(inside: &[(usize, usize)], outside: &[(usize, usize)]) -> Result<(), Problem> {
    match inside.iter().find(|pixel| outside.binary_search(pixel).is_ok()) {
        Some((x, y)) => Err(Problem::error(
            "strokes_contradict",
            format!("an inside stroke and an outside stroke meet at ({x}, {y}); move one of them"),
        )),
        None => Ok(()),
    }
}

/// The shape on a grid with its borders, specks left out.
fn bordered(grid: Grid) -> Result<Form, Problem> {
    let mut borders = grid.borders();
    borders.retain(|b| enclosed(b).abs() >= f64::from(u32::try_from(SPECK).expect("small")));
    if borders.is_empty() {
        return Err(Problem::error(
            "shape_too_small",
            "the shape is too thin or too small to trace; use a picture of it with more pixels",
        ));
    }
    Ok(Form { alone: None, grid, borders })
}

/// The way half between the outer edges of a drawn line and the nearest of its inner ones.
fn middle(outer: Vec<outline::Measured>, inner: &[outline::Measured]) -> Result<Vec<outline::Measured>, Problem> {
    if outer.iter().chain(inner).any(|edge| !edge.is_enough()) {
        return Err(Problem::error(
            "drawn_line_thin",
            "the drawn line is too thin for its two sides to be told apart, so its middle cannot be found; use a picture \
             with more pixels, or leave out drawn_line",
        ));
    }
    let inner: Vec<kurbo::Line> = inner
        .iter()
        .flat_map(|edge| {
            let next = edge.points.iter().skip(1).chain(&edge.points[..edge.points.len().min(1)]);
            edge.points.iter().zip(next).map(|(a, b)| kurbo::Line::new(*a, *b))
        })
        .collect();
    let half_way = |p: &kurbo::Point| {
        let nearest = inner.iter().map(|line| (line.nearest(*p, 1e-6), line));
        let found = nearest.min_by(|a, b| a.0.distance_sq.total_cmp(&b.0.distance_sq));
        found.map_or(*p, |(nearest, line)| p.midpoint(line.eval(nearest.t)))
    };
    let between =
        |edge: outline::Measured| outline::Measured { points: edge.points.par_iter().map(half_way).collect(), ..edge };
    Ok(outer.into_iter().map(between).collect())
}

/// Whether a loop's last segment ends in its first point, so that this point is not two nodes.
fn returns(path: &BezPath) -> bool {
    let elements = path.elements();
    let end = elements.iter().rev().find_map(kurbo::PathEl::end_point);
    elements.len() > 2 && elements[0].end_point() == end
}

fn on_the_ground(point: Point<Pixels>, looped: bool) -> Problem {
    let hint = if looped { ", within the loop" } else { "" };
    Problem::error(
        "inside_point_on_ground",
        format!(
            "the inside point ({}, {}) lies on the ground; place it on the shape{hint}, or, if a line is drawn around it, \
             close the line's gap in the picture",
            point.x, point.y
        ),
    )
}

/// Signed area within a border, in pixels.
fn enclosed(border: &[Crack]) -> f64 {
    let n = border.len();
    (0..n).map(|i| border[i].middle().to_vec2().cross(border[(i + 1) % n].middle().to_vec2())).sum::<f64>() / 2.0
}

/// The border itself, through the middles of its pixel sides: never crosses anything.
fn by_pixels(border: &[Crack], edge: &outline::Measured) -> outline::Loop {
    let mut path = BezPath::new();
    path.move_to(border[0].middle());
    border[1..].iter().for_each(|c| path.line_to(c.middle()));
    path.close_path();
    let misses = outline::misses(&path, &edge.points);
    outline::Loop { path, corners: Vec::new(), misses, by_pixels: true }
}

/// The loop's pixels row by row; all of the picture without a loop.
fn clip(samples: &Samples, around: &[Point<Pixels>]) -> Result<Vec<Row>, Problem> {
    if around.is_empty() {
        return Ok(vec![vec![(0, samples.width)]; samples.height]);
    }
    let corners: Vec<(f64, f64)> = around.iter().map(|p| (p.x, p.y)).collect();
    let rows = polygon_rows(&corners, samples.width, samples.height);
    let area: usize = rows.iter().flatten().map(|(from, to)| to - from).sum();
    if area < 4 * SPECK {
        return Err(Problem::error(
            "loop_encloses_nothing",
            format!(
                "the loop of {} points encloses {area} px of the picture, which is {} × {} px; draw it loosely around \
                 the shape",
                around.len(),
                samples.width,
                samples.height
            ),
        ));
    }
    Ok(rows)
}

/// The colour that the picture's border mostly has, if it mostly has one.
fn plain_ground(samples: &Samples, table: &LabTable) -> Result<Ground, Problem> {
    let (w, h) = (samples.width, samples.height);
    let rim = (w.min(h) / 100).clamp(2, 40);
    let frame = 2 * rim * (w + h);
    let step = (frame / PLACES).max(1);
    let mut places = Vec::with_capacity(PLACES + 4);
    for i in (0..frame).step_by(step) {
        let (depth, along) = (i % rim, i / rim);
        places.push(match along {
            a if a < w => (a, depth),
            a if a < 2 * w => (a - w, h - 1 - depth),
            a if a < 2 * w + h => (depth, a - 2 * w),
            a => (w - 1 - depth, a - 2 * w - h),
        });
    }
    let ground = Ground::learn(samples, table, &places);
    if ground.plainness < PLAIN {
        return Err(Problem::error(
            "ground_not_plain",
            format!(
                "the picture's ground is not plain: its commonest colour covers {:.0} % of the border and should cover \
                 {:.0} %; draw a loose loop around the shape (around = [[x, y], …])",
                100.0 * ground.plainness,
                100.0 * PLAIN
            ),
        ));
    }
    Ok(ground.plain())
}

/// Places just outside the loop, or inside along it where the picture ends.
fn places_around(samples: &Samples, clip: &[Row]) -> Vec<(usize, usize)> {
    let ring = (samples.width.min(samples.height) / 60).clamp(3, 40);
    let height = clip.len();
    let inside = |x: usize, y: usize| clip[y].iter().any(|&(from, to)| (from..to).contains(&x));
    let mut places = Vec::new();
    for (y, row) in clip.iter().enumerate() {
        for &(from, to) in row {
            places.extend((from.saturating_sub(ring)..from).chain(to..(to + ring).min(samples.width)).map(|x| (x, y)));
        }
        // Above and below: columns whose loop begins or ends within the ring.
        let (up, down) = (y.checked_sub(ring), Some(y + ring).filter(|d| *d < height));
        for other in [up, down].into_iter().flatten().filter(|&o| clip[o].is_empty() != row.is_empty()) {
            if row.is_empty() {
                places.extend(clip[other].iter().flat_map(|&(from, to)| from..to).map(|x| (x, y)));
            }
        }
    }
    places.retain(|&(x, y)| !inside(x, y));
    if places.is_empty() {
        places.extend(clip.iter().enumerate().flat_map(|(y, row)| row.iter().map(move |&(from, _)| (from, y))));
    }
    let step = (places.len() / PLACES).max(1);
    places.into_iter().step_by(step).collect()
}
