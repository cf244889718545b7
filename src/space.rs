//! Coordinates that know their space, and the maps between spaces.
//!
//! Every space here has x to the right and y down. A point never changes space except through a [`Map`].

use std::fmt::Debug;
use std::marker::PhantomData;

use kurbo::{Affine, BezPath, ParamCurve, ParamCurveDeriv, Shape};

/// A frame of coordinates.
pub trait Space: Copy + Debug + PartialEq + Send + Sync + 'static {}

macro_rules! spaces {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct $name;
        impl Space for $name {}
    )*};
}

spaces! {
    /// Pixels of the upright picture: origin at the top left corner, centre of the first pixel at (0.5, 0.5).
    Pixels,
    /// The straightened plane of a picture; true shape, size known up to one factor.
    Plane,
    /// Millimetres at full size; all pieces of one picture share one frame.
    Pattern,
    /// Millimetres on pages that are taped together.
    JoinedSheet,
    /// Millimetres on one page, from its top left corner.
    Page,
}

/// A place in space `S`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point<S> {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
    space: PhantomData<S>,
}

impl<S: Space> Point<S> {
    /// The point (x, y).
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y, space: PhantomData }
    }

    /// The same numbers for `kurbo`, which knows no spaces.
    pub const fn raw(self) -> kurbo::Point {
        kurbo::Point::new(self.x, self.y)
    }

    /// Straight distance.
    pub fn distance(self, other: Self) -> f64 {
        self.raw().distance(other.raw())
    }
}

impl<S: Space> From<kurbo::Point> for Point<S> {
    fn from(p: kurbo::Point) -> Self {
        Self::new(p.x, p.y)
    }
}

/// Lines and cubics in space `S`.
#[derive(Clone, Debug, PartialEq)]
pub struct Path<S> {
    raw: BezPath,
    space: PhantomData<S>,
}

impl<S: Space> Path<S> {
    /// `raw`, declared to be in space `S`.
    pub const fn new(raw: BezPath) -> Self {
        Self { raw, space: PhantomData }
    }

    /// The curve for `kurbo`.
    pub const fn raw(&self) -> &BezPath {
        &self.raw
    }

    /// The smallest upright rectangle around the curve itself (not around its control points).
    pub fn bounds(&self) -> kurbo::Rect {
        self.raw.bounding_box()
    }

    /// Polylines, one a subpath, that stay within `tolerance` of the curve; the first point is repeated at the end
    /// of a closed one.
    pub fn flatten(&self, tolerance: f64) -> Vec<Vec<Point<S>>> {
        let mut lines: Vec<Vec<Point<S>>> = Vec::new();
        kurbo::flatten(&self.raw, tolerance, |el| match el {
            kurbo::PathEl::MoveTo(p) => lines.push(vec![p.into()]),
            kurbo::PathEl::LineTo(p) => {
                if let Some(line) = lines.last_mut() {
                    line.push(p.into());
                }
            }
            kurbo::PathEl::ClosePath => {
                if let Some(line) = lines.last_mut()
                    && line.first() != line.last()
                {
                    line.push(line[0]);
                }
            }
            _ => {}
        });
        lines.retain(|line| line.len() > 1);
        lines
    }
}

/// A map from space `A` to space `B`: affine, or projective where a picture is straightened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Map<A, B> {
    kind: Kind,
    spaces: PhantomData<(A, B)>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Affine(Affine),
    /// Row-major 3 × 3 matrix on (x, y, 1).
    Projective([f64; 9]),
}

impl<A: Space, B: Space> Map<A, B> {
    /// An affine map.
    pub const fn affine(affine: Affine) -> Self {
        Self { kind: Kind::Affine(affine), spaces: PhantomData }
    }

    /// A homography, row-major 3 × 3, acting on (x, y, 1).
    pub const fn projective(matrix: [f64; 9]) -> Self {
        Self { kind: Kind::Projective(matrix), spaces: PhantomData }
    }

    /// The affine map this is; `None` for a homography.
    pub const fn to_affine(&self) -> Option<Affine> {
        match self.kind {
            Kind::Affine(a) => Some(a),
            Kind::Projective(_) => None,
        }
    }

    /// This map, then `next`.
    pub fn then<C: Space>(&self, next: &Map<B, C>) -> Map<A, C> {
        if let (Kind::Affine(first), Kind::Affine(second)) = (self.kind, next.kind) {
            return Map::affine(second * first);
        }
        let (m, n) = (next.matrix(), self.matrix());
        let mut product = [0.0; 9];
        for row in 0..3 {
            for column in 0..3 {
                product[row * 3 + column] = (0..3).map(|k| m[row * 3 + k] * n[k * 3 + column]).sum();
            }
        }
        Map::projective(product)
    }

    /// The way back.
    pub fn inverse(&self) -> Map<B, A> {
        match self.kind {
            Kind::Affine(a) => Map::affine(a.inverse()),
            Kind::Projective(m) => {
                let minor = |a: usize, b: usize, c: usize, d: usize| m[a] * m[d] - m[b] * m[c];
                // The adjugate: a homography is the same up to a factor.
                Map::projective([
                    minor(4, 5, 7, 8),
                    -minor(1, 2, 7, 8),
                    minor(1, 2, 4, 5),
                    -minor(3, 5, 6, 8),
                    minor(0, 2, 6, 8),
                    -minor(0, 2, 3, 5),
                    minor(3, 4, 6, 7),
                    -minor(0, 1, 6, 7),
                    minor(0, 1, 3, 4),
                ])
            }
        }
    }

    /// Where `p` goes.
    pub fn point(&self, p: Point<A>) -> Point<B> {
        self.raw_point(p.raw()).into()
    }

    /// Where `path` goes. Exact for an affine map; through a homography each cubic is fitted again, to within
    /// `tolerance` (in units of `B`), because its image is no cubic.
    pub fn path(&self, path: &Path<A>, tolerance: f64) -> Path<B> {
        let Kind::Affine(affine) = self.kind else { return self.refit(path, tolerance) };
        Path::new(affine * path.raw.clone())
    }

    fn matrix(&self) -> [f64; 9] {
        match self.kind {
            Kind::Projective(m) => m,
            Kind::Affine(a) => {
                let [a, b, c, d, e, f] = a.as_coeffs();
                [a, c, e, b, d, f, 0.0, 0.0, 1.0]
            }
        }
    }

    fn raw_point(&self, p: kurbo::Point) -> kurbo::Point {
        match self.kind {
            Kind::Affine(a) => a * p,
            Kind::Projective(m) => {
                let w = m[6] * p.x + m[7] * p.y + m[8];
                kurbo::Point::new((m[0] * p.x + m[1] * p.y + m[2]) / w, (m[3] * p.x + m[4] * p.y + m[5]) / w)
            }
        }
    }

    fn refit(&self, path: &Path<A>, tolerance: f64) -> Path<B> {
        // Segments rather than elements: a closing line is mapped like any other.
        let mut fitted = BezPath::new();
        let mut pen = None;
        for (segment, closes) in segments(&path.raw) {
            let start = self.raw_point(segment.eval(0.0));
            if pen != Some(start) {
                fitted.move_to(start);
            }
            match segment {
                kurbo::PathSeg::Line(line) => fitted.line_to(self.raw_point(line.p1)),
                _ => self.refit_cubic(segment.to_cubic(), tolerance, &mut fitted, 0),
            }
            pen = Some(self.raw_point(segment.eval(1.0)));
            if closes {
                fitted.close_path();
                pen = None;
            }
        }
        Path::new(fitted)
    }

    /// Halves the cubic until the image of each half, fitted by its end tangents and its middle, lies within
    /// `tolerance` of the true image at eight places.
    fn refit_cubic(&self, cubic: kurbo::CubicBez, tolerance: f64, out: &mut BezPath, depth: u32) {
        let image = |t: f64| self.raw_point(cubic.eval(t));
        let tangent = |t: f64| {
            let (p, d) = (cubic.eval(t), cubic.deriv().eval(t).to_vec2());
            let Kind::Projective(m) = self.kind else { return d };
            let w = m[6] * p.x + m[7] * p.y + m[8];
            let q = self.raw_point(p);
            let dw = m[6] * d.x + m[7] * d.y;
            kurbo::Vec2::new((m[0] * d.x + m[1] * d.y - q.x * dw) / w, (m[3] * d.x + m[4] * d.y - q.y * dw) / w)
        };
        let (p0, p3) = (image(0.0), image(1.0));
        let fit = kurbo::CubicBez::new(p0, p0 + tangent(0.0) / 3.0, p3 - tangent(1.0) / 3.0, p3);
        let far = (1..8).map(|i| f64::from(i) / 8.0).any(|t| fit.eval(t).distance(image(t)) > tolerance);
        if far && depth < 12 {
            let (a, b) = cubic.subdivide();
            self.refit_cubic(a, tolerance, out, depth + 1);
            self.refit_cubic(b, tolerance, out, depth + 1);
        } else {
            out.curve_to(fit.p1, fit.p2, fit.p3);
        }
    }
}

/// The segments of `path` in order, each with whether its subpath is closed by it.
fn segments(path: &BezPath) -> Vec<(kurbo::PathSeg, bool)> {
    let mut out: Vec<(kurbo::PathSeg, bool)> = Vec::new();
    for index in 0..path.elements().len() {
        if let Some(segment) = path.get_seg(index) {
            out.push((segment, false));
        }
        if matches!(path.elements()[index], kurbo::PathEl::ClosePath)
            && let Some(last) = out.last_mut()
        {
            last.1 = true;
        }
    }
    out
}
