//! The scene maker: original props in millimetres, drawn clean or put before a made-up camera, with the truth kept.
//!
//! A scene is flat shapes on a plain ground, in a frame with x to the right and y down. [`Scene::draw`] and
//! [`Scene::photograph`] give a [`Shot`]: the picture, and the exact map from millimetres to its pixels.
#![allow(dead_code, unused_imports, reason = "each test program uses the part it needs")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixel counts and samples, clamped to their range before they are cast"
)]

mod camera;
mod cloth;
pub(crate) mod compare;
mod paint;
pub(crate) mod props;
mod random;
pub(crate) mod spotted;

use image::DynamicImage;
use kurbo::{Affine, BezPath, PathEl, Point, Rect, Shape as _, Vec2};
use spanwright::space::{Map, Pattern, Pixels};

pub(crate) use camera::{Bow, Camera};
pub(crate) use cloth::{Cloth, Dress};
pub(crate) use random::Random;

/// How far a flattened curve may be from its shape, in pixels: a hundredth of what any test asks for.
const FLAT_PX: f64 = 0.0005;

/// One flat shape: a closed outline with holes, all of one colour.
#[derive(Clone, Debug)]
pub(crate) struct Shape {
    pub(crate) name: &'static str,
    /// One closed simple loop, mm.
    pub(crate) outline: BezPath,
    /// Closed simple loops inside the outline that do not meet, mm.
    pub(crate) holes: Vec<BezPath>,
    /// Encoded sRGB.
    pub(crate) colour: [u8; 3],
}

impl Shape {
    /// Outline and holes in one path, for the even-odd rule.
    pub(crate) fn path(&self) -> BezPath {
        std::iter::once(&self.outline).chain(&self.holes).flat_map(BezPath::iter).collect()
    }
}

/// Shapes on a plain ground; a later shape lies on top of an earlier one.
#[derive(Clone, Debug)]
pub(crate) struct Scene {
    /// Encoded sRGB; `None`: transparent.
    pub(crate) ground: Option<[u8; 3]>,
    pub(crate) shapes: Vec<Shape>,
}

impl Scene {
    /// A clean drawing, edges blended by exact area in encoded values, with `margin` pixels around the shapes.
    pub(crate) fn draw(&self, px_per_mm: f64, margin: f64) -> Shot {
        let around = self.bounds() * px_per_mm;
        let size = [around.width(), around.height()].map(|side| (side + 2.0 * margin).ceil() as u32);
        self.draw_framed(size, px_per_mm, Vec2::new(margin, margin) - around.origin().to_vec2())
    }

    /// A clean drawing of `size` pixels in which the origin of the scene lies at `offset` pixels.
    pub(crate) fn draw_framed(&self, size: [u32; 2], px_per_mm: f64, offset: Vec2) -> Shot {
        let place = Place { map: Map::affine(Affine::translate(offset) * Affine::scale(px_per_mm)), bow: None };
        let image = paint::Painter::new(self, &place, paint::Blend::Encoded, 0.0).drawing(size);
        Shot { image, place, shapes: self.shapes.clone() }
    }

    /// What `camera` records: the file it writes, and the shot as an upright reader sees it.
    pub(crate) fn photograph(&self, camera: &Camera) -> (Vec<u8>, Shot) {
        self.photograph_dressed(camera, &Dress::default())
    }

    /// The same, with spotted surfaces and shadows.
    pub(crate) fn photograph_dressed(&self, camera: &Camera, dress: &Dress) -> (Vec<u8>, Shot) {
        let place = camera.place();
        let painter = paint::Painter::new(self, &place, paint::Blend::Linear, camera.blur).dressed(dress);
        let upright = painter.photo(camera);
        let file = camera.write(&upright);
        let (picture, _) = spanwright::picture::decode(&file).expect("the camera writes whole files");
        (file, Shot { image: picture.samples().clone(), place, shapes: self.shapes.clone() })
    }

    /// The shape called `name`.
    pub(crate) fn shape(&self, name: &str) -> &Shape {
        self.shapes.iter().find(|shape| shape.name == name).unwrap_or_else(|| panic!("no shape called {name}"))
    }

    fn bounds(&self) -> Bounds {
        let all = self.shapes.iter().map(|shape| shape.outline.bounding_box()).reduce(|a, b| a.union(b));
        Bounds(all.expect("a scene holds shapes"))
    }
}

struct Bounds(Rect);

impl std::ops::Mul<f64> for Bounds {
    type Output = Rect;
    fn mul(self, factor: f64) -> Rect {
        Affine::scale(factor).transform_rect_bbox(self.0)
    }
}

/// Where millimetres of the scene come to lie in the picture: a map of planes, then the bowing of a lens.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    pub(crate) map: Map<Pattern, Pixels>,
    pub(crate) bow: Option<Bow>,
}

impl Place {
    /// Exact.
    pub(crate) fn point(&self, mm: Point) -> Point {
        let straight = self.map.point(mm.into()).raw();
        self.bow.as_ref().map_or(straight, |bow| bow.bend(straight))
    }

    /// Exact for a frontal view without lens bowing; else a polyline within [`FLAT_PX`] of the truth.
    pub(crate) fn path(&self, mm: &BezPath) -> BezPath {
        if let (Some(affine), None) = (self.map.to_affine(), &self.bow) {
            return affine * mm.clone();
        }
        let mut path = BezPath::new();
        for ring in self.rings(mm) {
            path.move_to(ring[0]);
            ring[1..].iter().for_each(|p| path.line_to(*p));
            path.close_path();
        }
        path
    }

    /// Closed polylines in pixels, the last point not repeating the first. Lines are cut short, because a lens bows them.
    fn rings(&self, mm: &BezPath) -> Vec<Vec<Point>> {
        /// A millimetre bows by far less than [`FLAT_PX`] at any sensible strength.
        const LONGEST_MM: f64 = 1.0;
        let at = mm.bounding_box().center();
        let px_per_mm = self.point(at).distance(self.point(at + (0.01, 0.0))) / 0.01;
        let mut rings: Vec<Vec<Point>> = Vec::new();
        let mut pen = Point::ZERO;
        let line_to = |rings: &mut Vec<Vec<Point>>, from: Point, to: Point| {
            let ring = rings.last_mut().expect("a path starts by moving");
            let parts = if self.bow.is_some() { (from.distance(to) / LONGEST_MM).ceil().max(1.0) } else { 1.0 };
            ring.extend((1..=parts as u32).map(|part| self.point(from.lerp(to, f64::from(part) / parts))));
        };
        let mut start = Point::ZERO;
        kurbo::flatten(mm, FLAT_PX / px_per_mm, |el| match el {
            PathEl::MoveTo(p) => {
                rings.push(vec![self.point(p)]);
                (pen, start) = (p, p);
            }
            PathEl::LineTo(p) => {
                line_to(&mut rings, pen, p);
                pen = p;
            }
            PathEl::ClosePath if pen != start => {
                line_to(&mut rings, pen, start);
                pen = start;
            }
            _ => {}
        });
        for ring in &mut rings {
            ring.dedup();
            if ring.first() == ring.last() {
                ring.pop();
            }
        }
        rings
    }
}

/// A picture with its truth.
#[derive(Clone, Debug)]
pub(crate) struct Shot {
    /// Upright.
    pub(crate) image: DynamicImage,
    /// From millimetres of the scene to pixels of `image`.
    pub(crate) place: Place,
    shapes: Vec<Shape>,
}

impl Shot {
    /// Where a point of the scene lies in the picture.
    pub(crate) fn to_pixel(&self, mm: impl Into<Point>) -> Point {
        self.place.point(mm.into())
    }

    /// The true outline of the shape called `name` with its holes, even-odd, in pixels.
    pub(crate) fn truth_path(&self, name: &str) -> BezPath {
        let shape = self.shapes.iter().find(|shape| shape.name == name).unwrap_or_else(|| panic!("no shape {name}"));
        self.place.path(&shape.path())
    }

    /// As a PNG file.
    pub(crate) fn png(&self) -> Vec<u8> {
        let mut file = std::io::Cursor::new(Vec::new());
        self.image.write_to(&mut file, image::ImageFormat::Png).expect("a vector takes all");
        file.into_inner()
    }
}
