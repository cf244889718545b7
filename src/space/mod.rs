//! Coordinates that know their space, and the maps between spaces.
//!
//! Every space here has x to the right and y down. A point never changes space except through a [`Map`].

mod lens;

use std::fmt::Debug;
use std::marker::PhantomData;

use kurbo::{Affine, BezPath, ParamCurve, ParamCurveDeriv, ParamCurveNearest as _, PathEl, Shape};

pub use lens::Lens;

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

impl<S: Space> From<[f64; 2]> for Point<S> {
    fn from([x, y]: [f64; 2]) -> Self {
        Self::new(x, y)
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

    /// From a place to the nearest of it, within a thousandth of a unit; infinite where it is empty.
    pub fn distance(&self, at: Point<S>) -> f64 {
        let far = self.raw.segments().map(|segment| segment.nearest(at.raw(), 1e-3).distance_sq);
        far.fold(f64::INFINITY, f64::min).sqrt()
    }

    /// Polylines, one a subpath, that stay within `tolerance` of the curve; the first point is repeated at the end
    /// of a closed one.
    pub fn flatten(&self, tolerance: f64) -> Vec<Vec<Point<S>>> {
        let mut lines: Vec<Vec<Point<S>>> = Vec::new();
        kurbo::flatten(&self.raw, tolerance, |el| match el {
            PathEl::MoveTo(p) => lines.push(vec![p.into()]),
            PathEl::LineTo(p) => {
                if let Some(line) = lines.last_mut() {
                    line.push(p.into());
                }
            }
            PathEl::ClosePath => {
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

/// A map from space `A` to space `B`: affine, or projective where a picture is straightened, and bent where its lens is.
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
    /// What the first lens did is undone, then the matrix is applied, then the second lens.
    Bent {
        undone: Option<Lens>,
        matrix: [f64; 9],
        done: Option<Lens>,
    },
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

    /// This map for places in `A` as `lens` shows them.
    ///
    /// # Panics
    ///
    /// If it undoes a lens already.
    #[must_use]
    pub fn seen_through(&self, lens: Lens) -> Self {
        let kind = match self.kind {
            Kind::Bent { undone: None, matrix, done } => Kind::Bent { undone: Some(lens), matrix, done },
            Kind::Bent { .. } => unreachable!("a picture is taken through one lens"),
            _ => Kind::Bent { undone: Some(lens), matrix: self.matrix(), done: None },
        };
        Self { kind, spaces: PhantomData }
    }

    /// The affine map this is; `None` for any other.
    pub const fn to_affine(&self) -> Option<Affine> {
        match self.kind {
            Kind::Affine(a) => Some(a),
            Kind::Projective(_) | Kind::Bent { .. } => None,
        }
    }

    /// This map, then `next`.
    ///
    /// # Panics
    ///
    /// If this map ends in what one lens shows and `next` begins in what another does.
    pub fn then<C: Space>(&self, next: &Map<B, C>) -> Map<A, C> {
        if let (Kind::Affine(first), Kind::Affine(second)) = (self.kind, next.kind) {
            return Map::affine(second * first);
        }
        let matrix = product(&next.matrix(), &self.matrix());
        let ([undone, between], [again, done]) = (self.lenses(), next.lenses());
        assert!(between == again, "places that one lens shows are not those that another shows");
        let kind = if undone.is_none() && done.is_none() {
            Kind::Projective(matrix)
        } else {
            Kind::Bent { undone, matrix, done }
        };
        Map { kind, spaces: PhantomData }
    }

    /// The way back.
    pub fn inverse(&self) -> Map<B, A> {
        let kind = match self.kind {
            Kind::Affine(a) => Kind::Affine(a.inverse()),
            Kind::Projective(m) => Kind::Projective(adjugate(&m)),
            Kind::Bent { undone, matrix, done } => Kind::Bent { undone: done, matrix: adjugate(&matrix), done: undone },
        };
        Map { kind, spaces: PhantomData }
    }

    /// The lens that is undone first and the one that comes last.
    const fn lenses(&self) -> [Option<Lens>; 2] {
        match self.kind {
            Kind::Bent { undone, done, .. } => [undone, done],
            _ => [None, None],
        }
    }

    /// Where `p` goes.
    pub fn point(&self, p: Point<A>) -> Point<B> {
        self.raw_point(p.raw()).into()
    }

    /// The lens that is undone before all else.
    pub const fn lens(&self) -> Option<Lens> {
        self.lenses()[0]
    }

    /// This map for places of a picture that is bowed no more.
    #[must_use]
    pub fn without_lens(&self) -> Self {
        match self.kind {
            Kind::Bent { undone: _, matrix, done: None } => Self::projective(matrix),
            Kind::Bent { undone: _, matrix, done } => {
                Self { kind: Kind::Bent { undone: None, matrix, done }, spaces: PhantomData }
            }
            _ => *self,
        }
    }

    /// What x, y and 1 are multiplied by before they are added up to the place and its weight.
    pub(crate) fn columns(&self) -> [[f64; 3]; 3] {
        let m = self.matrix();
        std::array::from_fn(|column| std::array::from_fn(|row| m[row * 3 + column]))
    }

    /// Whether two places are seen on the same side of the horizon, so that `B` has a place for both if it has one for
    /// either.
    pub fn sees_together(&self, p: Point<A>, q: Point<A>) -> bool {
        let (m, [undone, _]) = (self.matrix(), self.lenses());
        let weight = |p: Point<A>| {
            let p = undone.map_or(p.raw(), |lens| lens.straighten(p.raw()));
            m[6] * p.x + m[7] * p.y + m[8]
        };
        weight(p) * weight(q) > 0.0
    }

    /// How many units of `B` one unit of `A` is long around `p`, in the direction in which it is longest.
    pub fn stretch(&self, p: Point<A>) -> f64 {
        /// A part of a unit, over which the map is as good as affine.
        const STEP: f64 = 1e-3;
        let here = self.raw_point(p.raw());
        let slope = |by: kurbo::Vec2| (self.raw_point(p.raw() + by * STEP) - here) / STEP;
        let (a, b) = (slope(kurbo::Vec2::new(1.0, 0.0)), slope(kurbo::Vec2::new(0.0, 1.0)));
        // The larger singular value of the 2 × 2 matrix of slopes.
        let (sum, area) = (a.hypot2() + b.hypot2(), a.cross(b));
        (0.5 * (sum + (sum * sum - 4.0 * area * area).max(0.0).sqrt())).sqrt()
    }

    /// Where `path` goes. Exact for an affine map; through a homography each cubic is fitted again, to within
    /// `tolerance` (in units of `B`), because its image is no cubic.
    pub fn path(&self, path: &Path<A>, tolerance: f64) -> Path<B> {
        let Kind::Affine(affine) = self.kind else { return self.refit(path, tolerance) };
        Path::new(affine * path.raw.clone())
    }

    fn matrix(&self) -> [f64; 9] {
        match self.kind {
            Kind::Projective(m) | Kind::Bent { matrix: m, .. } => m,
            Kind::Affine(a) => {
                let [a, b, c, d, e, f] = a.as_coeffs();
                [a, c, e, b, d, f, 0.0, 0.0, 1.0]
            }
        }
    }

    fn raw_point(&self, p: kurbo::Point) -> kurbo::Point {
        match self.kind {
            Kind::Affine(a) => a * p,
            Kind::Projective(m) => projected(&m, p),
            Kind::Bent { undone, matrix, done } => {
                let straight = projected(&matrix, undone.map_or(p, |lens| lens.straighten(p)));
                done.map_or(straight, |lens| lens.bend(straight))
            }
        }
    }

    /// How `p` moves when it moves by `d`, to the first order.
    fn moved(&self, p: kurbo::Point, d: kurbo::Vec2) -> kurbo::Vec2 {
        match self.kind {
            Kind::Affine(a) => {
                let [x, y, z, w, ..] = a.as_coeffs();
                kurbo::Vec2::new(x * d.x + z * d.y, y * d.x + w * d.y)
            }
            Kind::Projective(m) => projected_move(&m, p, d),
            Kind::Bent { undone, matrix, done } => {
                let (p, d) = undone.map_or((p, d), |lens| lens.straightened_move(p, d));
                let (q, d) = (projected(&matrix, p), projected_move(&matrix, p, d));
                done.map_or(d, |lens| lens.bent_move(q, d))
            }
        }
    }

    fn refit(&self, path: &Path<A>, tolerance: f64) -> Path<B> {
        // Through a homography a line stays a line, so that a closing line, which no element spells out, needs no care.
        let bent = matches!(self.kind, Kind::Bent { .. });
        let line = |from: kurbo::Point, to: kurbo::Point| {
            kurbo::CubicBez::new(from, from.lerp(to, 1.0 / 3.0), from.lerp(to, 2.0 / 3.0), to)
        };
        let mut fitted = BezPath::new();
        let (mut start, mut pen) = (kurbo::Point::ORIGIN, kurbo::Point::ORIGIN);
        for &element in path.raw.elements() {
            match element {
                PathEl::MoveTo(p) => {
                    fitted.move_to(self.raw_point(p));
                    start = p;
                }
                PathEl::LineTo(p) if bent => self.refit_cubic(line(pen, p), tolerance, &mut fitted, 0),
                PathEl::LineTo(p) => fitted.line_to(self.raw_point(p)),
                PathEl::QuadTo(c, p) => {
                    self.refit_cubic(kurbo::QuadBez::new(pen, c, p).raise(), tolerance, &mut fitted, 0);
                }
                PathEl::CurveTo(c, d, p) => {
                    self.refit_cubic(kurbo::CubicBez::new(pen, c, d, p), tolerance, &mut fitted, 0);
                }
                PathEl::ClosePath => {
                    if bent && pen != start {
                        self.refit_cubic(line(pen, start), tolerance, &mut fitted, 0);
                    }
                    fitted.close_path();
                }
            }
            pen = element.end_point().unwrap_or(start);
        }
        Path::new(fitted)
    }

    /// Halves the cubic until the image of each half, fitted by its end tangents and its middle, lies within
    /// `tolerance` of the true image at seven places between its ends.
    fn refit_cubic(&self, cubic: kurbo::CubicBez, tolerance: f64, out: &mut BezPath, depth: u32) {
        let image = |t: f64| self.raw_point(cubic.eval(t));
        let tangent = |t: f64| self.moved(cubic.eval(t), cubic.deriv().eval(t).to_vec2());
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

/// Row-major `m` times `n`.
fn product(m: &[f64; 9], n: &[f64; 9]) -> [f64; 9] {
    std::array::from_fn(|i| (0..3).map(|k| m[i / 3 * 3 + k] * n[k * 3 + i % 3]).sum())
}

/// The inverse of a homography, which is the same up to a factor.
fn adjugate(m: &[f64; 9]) -> [f64; 9] {
    let minor = |a: usize, b: usize, c: usize, d: usize| m[a] * m[d] - m[b] * m[c];
    [
        minor(4, 5, 7, 8),
        -minor(1, 2, 7, 8),
        minor(1, 2, 4, 5),
        -minor(3, 5, 6, 8),
        minor(0, 2, 6, 8),
        -minor(0, 2, 3, 5),
        minor(3, 4, 6, 7),
        -minor(0, 1, 6, 7),
        minor(0, 1, 3, 4),
    ]
}

fn projected(m: &[f64; 9], p: kurbo::Point) -> kurbo::Point {
    let w = m[6] * p.x + m[7] * p.y + m[8];
    kurbo::Point::new((m[0] * p.x + m[1] * p.y + m[2]) / w, (m[3] * p.x + m[4] * p.y + m[5]) / w)
}

fn projected_move(m: &[f64; 9], p: kurbo::Point, d: kurbo::Vec2) -> kurbo::Vec2 {
    let (w, dw) = (m[6] * p.x + m[7] * p.y + m[8], m[6] * d.x + m[7] * d.y);
    let q = projected(m, p);
    kurbo::Vec2::new((m[0] * d.x + m[1] * d.y - q.x * dw) / w, (m[3] * d.x + m[4] * d.y - q.y * dw) / w)
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::{ParamCurveArclen, ParamCurveNearest, PathSeg};

    /// A camera that looks down at the prop from the side: the far edge of a 2000 wide picture is a third smaller.
    fn tilted() -> Map<Pixels, Plane> {
        Map::projective([0.9, 0.12, -40.0, -0.05, 1.1, 25.0, 1.6e-4, -0.9e-4, 1.0])
    }

    fn drawn(path: &str) -> Path<Pixels> {
        Path::new(BezPath::from_svg(path).expect("path data of this test"))
    }

    /// How far the images of many places on `path` lie from `mapped`, at most.
    fn worst(map: &Map<Pixels, Plane>, path: &Path<Pixels>, mapped: &Path<Plane>) -> f64 {
        let mapped: Vec<PathSeg> = mapped.raw().segments().collect();
        let off = |p: kurbo::Point| {
            let p = map.point(p.into()).raw();
            mapped.iter().map(|s| s.nearest(p, 1e-9).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
        };
        let places = path.raw().segments().flat_map(|s| (0..=200).map(move |i| s.eval(f64::from(i) / 200.0)));
        places.map(off).fold(0.0, f64::max)
    }

    const LEAF: &str = "M200 100 C900 -150 1700 300 1800 900 Q1500 1400 700 1200 L300 1000 C50 800 -100 300 200 100 Z";

    #[test]
    fn a_curve_through_a_homography_stays_within_the_tolerance() {
        let (map, leaf) = (tilted(), drawn(LEAF));
        for tolerance in [1.0, 0.1, 0.01] {
            let off = worst(&map, &leaf, &map.path(&leaf, tolerance));
            assert!(off <= tolerance, "{off} off, {tolerance} allowed");
        }
        let by_control_points = Path::new(leaf.raw().elements().iter().map(|el| mapped_element(&map, *el)).collect());
        let off = worst(&map, &leaf, &by_control_points);
        assert!(off > 1.0, "mapping control points is only {off} off: this test would not notice");
    }

    fn mapped_element(map: &Map<Pixels, Plane>, element: PathEl) -> PathEl {
        let at = |p: kurbo::Point| map.point(p.into()).raw();
        match element {
            PathEl::MoveTo(p) => PathEl::MoveTo(at(p)),
            PathEl::LineTo(p) => PathEl::LineTo(at(p)),
            PathEl::QuadTo(c, p) => PathEl::QuadTo(at(c), at(p)),
            PathEl::CurveTo(c, d, p) => PathEl::CurveTo(at(c), at(d), at(p)),
            PathEl::ClosePath => PathEl::ClosePath,
        }
    }

    #[test]
    fn lines_stay_lines_through_a_homography() {
        let (map, kite) = (tilted(), drawn("M0 0 L800 100 L900 1100 L-50 700 Z"));
        let mapped = map.path(&kite, 0.1);
        let expected: BezPath = kite.raw().elements().iter().map(|el| mapped_element(&map, *el)).collect();
        assert_eq!(mapped.raw(), &expected);
    }

    #[test]
    fn a_ring_and_its_hole_stay_closed_and_apart() {
        // The second subpath ends exactly where it starts: nothing may reach back to the first.
        let (map, ring) =
            (tilted(), drawn("M0 0 L900 0 L900 900 L0 900 Z M300 300 C300 500 600 500 600 300 L300 300 Z"));
        let mapped = map.path(&ring, 0.1);
        let closed = mapped.raw().elements().iter().filter(|el| matches!(el, PathEl::ClosePath)).count();
        assert_eq!(closed, 2);
        let length = |path: &BezPath| path.segments().map(|s| s.arclen(1e-6)).sum::<f64>();
        let back = map.inverse().path(&mapped, 0.001);
        assert!((length(back.raw()) - length(ring.raw())).abs() < 0.5);
        let lines = mapped.flatten(0.1);
        assert_eq!(lines.len(), 2);
        assert!(lines.iter().all(|line| line.first() == line.last()));
    }

    #[test]
    fn a_stretch_is_that_of_the_longest_direction() {
        let slanted: Map<Pixels, Plane> = Map::affine(Affine::rotate(0.4) * Affine::scale_non_uniform(3.0, 0.5));
        assert!((slanted.stretch(Point::new(7.0, -9.0)) - 3.0).abs() < 1e-6);
        let (map, p) = (tilted(), Point::new(900.0, 500.0));
        let around = (0..360).map(|degrees| kurbo::Vec2::from_angle(f64::from(degrees).to_radians()) * 0.01);
        let longest =
            around.map(|by| map.point(p).distance(map.point((p.raw() + by).into())) / 0.01).fold(0.0, f64::max);
        assert!((map.stretch(p) - longest).abs() < 1e-3 * longest, "{} is not {longest}", map.stretch(p));
    }

    #[test]
    fn an_open_path_stays_open() {
        let mapped = tilted().path(&drawn("M0 0 C100 0 200 100 200 200"), 0.1);
        assert!(!mapped.raw().elements().contains(&PathEl::ClosePath));
    }

    #[test]
    fn an_affine_map_keeps_control_points() {
        let twice: Map<Pixels, Plane> = Map::affine(Affine::scale(2.0));
        assert_eq!(twice.path(&drawn("M1 2 C3 4 5 6 7 8 Z"), 9.0).raw().to_svg(), "M2,4 C6,8 10,12 14,16 Z");
    }

    proptest::proptest! {
        #[test]
        fn the_inverse_undoes_the_map_and_then_is_one_after_the_other(x in -500.0..2500.0, y in -500.0..2500.0) {
            let p = Point::new(x, y);
            let map = tilted();
            let scale: Map<Plane, Pattern> = Map::affine(Affine::new([1.3, 0.2, -0.1, 0.8, 5.0, 6.0]));
            proptest::prop_assert!(map.inverse().point(map.point(p)).distance(p) < 1e-8);
            let both = map.then(&scale);
            proptest::prop_assert!(both.point(p).distance(scale.point(map.point(p))) < 1e-9);
            proptest::prop_assert!(both.inverse().point(both.point(p)).distance(p) < 1e-8);
        }
    }
}
