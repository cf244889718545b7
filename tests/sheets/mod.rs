//! Printed pages, drawn by the rasteriser `hayro` and pasted together as the manifest says.
//!
//! Nothing of the program takes part in it but its outputs. Pixels are those of the joined sheet, 300 to the inch: a
//! page is drawn straight into them, so that pasting rounds nothing.

use std::collections::BTreeMap;
use std::sync::Arc;

use hayro::hayro_interpret::InterpreterSettings;
use hayro::hayro_interpret::util::TransformExt as _;
use hayro::hayro_syntax::Pdf;
use hayro::vello_cpu::color::palette::css::WHITE;
use hayro::vello_cpu::{Pixmap, RasterizerSettings, RenderContext, Resources, TargetInit};
use hayro::{RenderCache, RenderSettings, render_into};
use kurbo::{Affine, BezPath, Circle, ParamCurve as _, ParamCurveArclen as _, Point, Rect, Shape as _, Vec2};
use serde::Deserialize;

/// Pixels in a millimetre.
const PX: f64 = 300.0 / 25.4;
/// What lies at most this far away, in mm, is there.
const NEAR: f64 = 0.1;
/// Half the width of a cut line, half a pixel's diagonal, and 0.02 mm for what the page rounds.
const BESIDE: f64 = 0.125 + 0.06 + 0.02;
/// From sample to sample along a path, in mm.
const STEP: f64 = 0.05;

/// Cut lines are black, all else is grey: words, the darkest of it, have level 89.
pub(crate) const BLACK: u8 = 80;
/// The middle of every line is darker than this, the soft rim of a line may not be.
pub(crate) const GREY: u8 = 200;
/// Paper that nothing was printed on has level 255.
pub(crate) const ANY: u8 = 254;

/// What the tests read of `made.json`.
#[derive(Deserialize)]
pub(crate) struct Manifest {
    pieces: Vec<Piece>,
    pub(crate) joined_sheets: Vec<Sheet>,
    pub(crate) documents: Vec<Document>,
}

#[derive(Deserialize)]
struct Piece {
    letter: String,
    path: String,
    holes: Vec<Hole>,
}

#[derive(Deserialize)]
struct Hole {
    at_mm: (f64, f64),
    diameter_mm: f64,
}

#[derive(Deserialize)]
pub(crate) struct Sheet {
    pub(crate) sheet: usize,
    pieces: Vec<Placed>,
    pub(crate) marks: Vec<Mark>,
}

#[derive(Deserialize)]
struct Placed {
    letter: String,
    to_sheet: [f64; 6],
}

#[derive(Deserialize)]
pub(crate) struct Mark {
    pub(crate) id: String,
    at_mm: (f64, f64),
}

#[derive(Deserialize)]
pub(crate) struct Document {
    pub(crate) file: String,
    pub(crate) pages: Vec<Page>,
}

#[derive(Clone, Deserialize)]
pub(crate) struct Page {
    pub(crate) page: usize,
    pub(crate) sheet: Option<usize>,
    core_mm: [f64; 4],
    field_mm: Option<[f64; 4]>,
    pub(crate) to_sheet: Option<[f64; 6]>,
}

impl Mark {
    pub(crate) fn at(&self) -> Point {
        self.at_mm.into()
    }
}

impl Page {
    /// From the page to the joined sheet; a page without one stands for itself.
    fn map(&self) -> Affine {
        self.to_sheet.map_or(Affine::IDENTITY, Affine::new)
    }

    /// All that may be printed, on the sheet.
    pub(crate) fn core(&self) -> Rect {
        self.map().transform_rect_bbox(rect(self.core_mm))
    }

    /// What carries pattern, on the sheet.
    pub(crate) fn field(&self) -> Rect {
        self.map().transform_rect_bbox(rect(self.field_mm.expect("the page is one of a sheet")))
    }
}

fn rect([x, y, width, height]: [f64; 4]) -> Rect {
    Rect::from_origin_size((x, y), (width, height))
}

impl Manifest {
    /// Every cut path on `sheet`, named: outlines with the holes drawn in them, and round holes.
    pub(crate) fn cut_paths(&self, sheet: &Sheet) -> BTreeMap<String, BezPath> {
        let mut paths = BTreeMap::new();
        for placed in &sheet.pieces {
            let piece = self.pieces.iter().find(|piece| piece.letter == placed.letter).expect("a known letter");
            let map = Affine::new(placed.to_sheet);
            paths.insert(piece.letter.clone(), map * BezPath::from_svg(&piece.path).expect("path data"));
            for (index, hole) in piece.holes.iter().enumerate() {
                let circle = Circle::new(hole.at_mm, hole.diameter_mm / 2.0);
                paths.insert(format!("{} hole {index}", piece.letter), map * circle.to_path(1e-4));
            }
        }
        paths
    }
}

/// Grey levels, 0 black to 255 white, of a rectangle of whole pixels of a sheet.
#[derive(Clone)]
pub(crate) struct Raster {
    x: i32,
    y: i32,
    width: i32,
    height: i32,
    levels: Vec<u8>,
}

impl Raster {
    /// White paper that covers `area`, in mm.
    pub(crate) fn white(area: Rect) -> Self {
        let pixels = area.scale_from_origin(PX).expand();
        let (x, y, width, height) = (whole(pixels.x0), whole(pixels.y0), whole(pixels.width()), whole(pixels.height()));
        let count = usize::try_from(width).expect("positive") * usize::try_from(height).expect("positive");
        Self { x, y, width, height, levels: vec![255; count] }
    }

    /// The printed `page` of `pdf` where it lies on its sheet.
    pub(crate) fn printed(pdf: &Pdf, page: &Page) -> Self {
        let printed = &pdf.pages()[page.page - 1];
        let (width, height) = printed.render_dimensions();
        let paper = Rect::new(0.0, 0.0, f64::from(width), f64::from(height));
        let on_sheet = page.map() * Affine::scale(25.4 / 72.0);
        let mut raster = Self::white(on_sheet.transform_rect_bbox(paper));
        let to_raster = Affine::translate((-f64::from(raster.x), -f64::from(raster.y))) * Affine::scale(PX) * on_sheet;
        let settings = InterpreterSettings {
            warning_sink: Arc::new(|warning| panic!("hayro complains: {warning:?}")),
            ..InterpreterSettings::default()
        };
        let side = |pixels: i32| u16::try_from(pixels).expect("a page has a few thousand pixels");
        let mut context = RenderContext::new(side(raster.width), side(raster.height));
        render_into(
            printed,
            &RenderCache::new(),
            &settings,
            &RenderSettings::default(),
            &mut context,
            to_raster * printed.initial_transform(true).to_kurbo(),
        );
        context.flush();
        let mut pixmap = Pixmap::new(context.width(), context.height());
        let onto_white = RasterizerSettings { target_init: TargetInit::Clear(WHITE), ..RasterizerSettings::default() };
        context.render_with(&mut pixmap, &mut Resources::default(), onto_white);
        // All ink is grey: one channel tells it.
        raster.levels = pixmap.data().iter().map(|pixel| pixel.r).collect();
        raster
    }

    /// Puts the part of `other` within `area` over this; ink stays ink.
    pub(crate) fn paste(&mut self, other: &Self, area: Rect) {
        for (x, y) in other.pixels_in(area) {
            let level = other.level(x, y);
            if let Some(index) = self.index(x, y) {
                self.levels[index] = self.levels[index].min(level);
            }
        }
    }

    fn index(&self, x: i32, y: i32) -> Option<usize> {
        let (x, y) = (x - self.x, y - self.y);
        let inside = (0..self.width).contains(&x) && (0..self.height).contains(&y);
        inside.then(|| usize::try_from(y * self.width + x).expect("inside"))
    }

    /// White outside.
    fn level(&self, x: i32, y: i32) -> u8 {
        self.index(x, y).map_or(255, |index| self.levels[index])
    }

    /// Pixels whose middles lie in `area`.
    fn pixels_in(&self, area: Rect) -> impl Iterator<Item = (i32, i32)> + use<> {
        let first = |mm: f64| whole((mm * PX - 0.5).ceil());
        let last = |mm: f64| whole((mm * PX - 0.5).floor());
        let rows = first(area.y0).max(self.y)..=last(area.y1).min(self.y + self.height - 1);
        let columns = first(area.x0).max(self.x)..=last(area.x1).min(self.x + self.width - 1);
        rows.flat_map(move |y| columns.clone().map(move |x| (x, y)))
    }

    /// Middles of the pixels within `area` that are darker than `level`.
    pub(crate) fn ink(&self, area: Rect, level: u8) -> impl Iterator<Item = Point> {
        self.pixels_in(area).filter(move |&(x, y)| self.level(x, y) < level).map(|(x, y)| middle(x, y))
    }

    /// Whether something darker than `level` lies near `at`.
    pub(crate) fn is_inked(&self, at: Point, level: u8) -> bool {
        self.ink(Rect::from_center_size(at, (2.0 * NEAR, 2.0 * NEAR)), level).any(|ink| ink.distance(at) <= NEAR)
    }

    /// The share of `path` that is not there in black.
    pub(crate) fn missing(&self, path: &BezPath) -> f64 {
        let (mut all, mut missing) = (0.0, 0.0);
        for at in samples(path) {
            all += 1.0;
            missing += if self.is_inked(at, BLACK) { 0.0 } else { 1.0 };
        }
        missing / all
    }

    /// Black that lies beside all of `paths`: the first such place.
    pub(crate) fn stray<'a>(&self, paths: impl IntoIterator<Item = &'a BezPath>) -> Option<Point> {
        let mut rest = self.clone();
        for at in paths.into_iter().flat_map(samples) {
            for (x, y) in self.pixels_in(Rect::from_center_size(at, (2.0 * BESIDE, 2.0 * BESIDE))) {
                if middle(x, y).distance(at) <= BESIDE {
                    let index = rest.index(x, y).expect("it is one of ours");
                    rest.levels[index] = 255;
                }
            }
        }
        rest.levels
            .iter()
            .zip(0..)
            .find(|(level, _)| **level < BLACK)
            .map(|(_, index): (_, i32)| middle(self.x + index % self.width, self.y + index / self.width))
    }

    /// Ink within `area` darker than `level` that `other` has none near to: the first such place.
    pub(crate) fn differs(&self, other: &Self, area: Rect, level: u8) -> Option<Point> {
        self.ink(area, level).find(|&at| !other.is_inked(at, level))
    }
}

/// Places along every line and curve of `path`.
fn samples(path: &BezPath) -> impl Iterator<Item = Point> {
    path.segments().flat_map(|segment| {
        let count = whole((segment.arclen(1e-3) / STEP).ceil()).max(1);
        (0..=count).map(move |i| segment.eval(f64::from(i) / f64::from(count)))
    })
}

/// Places along the arms of a cross, each `arm` mm long.
pub(crate) fn cross(middle: Point, arm: f64) -> impl Iterator<Item = Point> {
    let along = [Vec2::new(1.0, 0.0), Vec2::new(-1.0, 0.0), Vec2::new(0.0, 1.0), Vec2::new(0.0, -1.0)];
    let steps = whole(arm / STEP);
    along.into_iter().flat_map(move |way| (0..=steps).map(move |i| middle + way * (f64::from(i) * STEP)))
}

fn middle(x: i32, y: i32) -> Point {
    Point::new((f64::from(x) + 0.5) / PX, (f64::from(y) + 0.5) / PX)
}

#[expect(clippy::cast_possible_truncation, reason = "pixels and places of a sheet are far fewer than 2^31")]
fn whole(value: f64) -> i32 {
    value.round() as i32
}
