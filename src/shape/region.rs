//! Areas as polygons: joined, cut out of each other, made wider and narrower.
//!
//! The polygons are those of `i_overlay`; a curve is followed within [`FINE`], and what comes out is made of lines and
//! cubics again, each held against the polygon that it stands for.

use std::marker::PhantomData;

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::simplify::SimplifyShape as _;
use i_overlay::float::single::SingleFloatOverlay as _;
use i_overlay::mesh::float::stroke::offset::StrokeOffset as _;
use i_overlay::mesh::float::style::{LineCap, LineJoin, StrokeStyle};
use i_overlay::mesh::math::MathMode;
use kurbo::{BezPath, Line, ParamCurve as _, ParamCurveNearest as _, PathSeg};

use super::{Knot, Shape, closed_spline, open_spline};
use crate::space::{Path, Point, Space};

/// How far a polygon may keep from the curve that it follows, in mm.
const FINE: f64 = 0.01;
/// How far lines and cubics may keep from the polygon that they stand for, in mm.
const SMOOTH: f64 = 0.03;
/// A polygon turns a corner where it turns by more than this, in degrees; less is a curve.
const CORNER: f64 = 24.0;
/// A side of a polygon that is longer than this and than its neighbours is straight, mm.
const STRAIGHT: f64 = 4.0;
/// How far a polygon may keep from one with more points where its rim is taken, in mm.
const SPARE: f64 = 0.003;
/// Loops that enclose less than this are left-overs of rounding, in mm².
const SPECK: f64 = 0.02;
/// Steps of an arc, as a part of its radius: four thousandths of a millimetre off at 20 mm.
const ARC_STEP: f64 = 0.04;

type Loop = Vec<[f64; 2]>;

/// An area: parts that do not touch, each of one outer loop and the openings in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Region<S> {
    parts: Vec<Vec<Loop>>,
    space: PhantomData<S>,
}

impl<S: Space> Region<S> {
    fn new(parts: Vec<Vec<Loop>>) -> Self {
        let large = |l: &Loop| area(l).abs() > SPECK;
        let parts = parts.into_iter().filter(|part| part.first().is_some_and(large));
        let parts = parts.map(|part| part.into_iter().filter(large).collect()).collect();
        Self { parts, space: PhantomData }
    }

    /// Nothing.
    pub const fn empty() -> Self {
        Self { parts: Vec::new(), space: PhantomData }
    }

    /// What `path` fills by the even-odd rule.
    pub fn of(path: &Path<S>) -> Self {
        let loops: Vec<Loop> =
            path.flatten(FINE).iter().map(|line| line.iter().map(|p| [p.x, p.y]).collect()).collect();
        Self::new(loops.simplify_shape(FillRule::EvenOdd))
    }

    /// What closed polygons fill by the non-zero rule.
    pub fn polygons(loops: &[Vec<Point<S>>]) -> Self {
        let loops: Vec<Loop> = loops.iter().map(|line| line.iter().map(|p| [p.x, p.y]).collect()).collect();
        Self::new(loops.simplify_shape(FillRule::NonZero))
    }

    /// The band of this breadth along a line, with square ends that reach no farther than the line.
    pub fn band(line: &[Point<S>], breadth: f64) -> Self {
        let line: Loop = line.iter().map(|p| [p.x, p.y]).collect();
        let style = stroke(breadth).start_cap(LineCap::Butt).end_cap(LineCap::Butt);
        Self::new(line.stroke(style, false))
    }

    /// What lies in both.
    pub fn and(&self, other: &Self) -> Self {
        Self::new(self.parts.overlay(&other.parts, OverlayRule::Intersect, FillRule::EvenOdd))
    }

    /// What lies in one of them or in both.
    pub fn or(&self, other: &Self) -> Self {
        Self::new(self.parts.overlay(&other.parts, OverlayRule::Union, FillRule::EvenOdd))
    }

    /// What lies in this one alone.
    pub fn minus(&self, other: &Self) -> Self {
        if self.is_empty() || other.is_empty() {
            return self.clone();
        }
        Self::new(self.parts.overlay(&other.parts, OverlayRule::Difference, FillRule::EvenOdd))
    }

    /// Everything that is farther than `by` mm from the edge.
    pub fn narrowed(&self, by: f64) -> Self {
        if by <= 0.0 { self.clone() } else { self.minus(&self.rim(by)) }
    }

    /// Everything that is in it or nearer than `by` mm.
    pub fn widened(&self, by: f64) -> Self {
        if by <= 0.0 { self.clone() } else { self.or(&self.rim(by)) }
    }

    /// What is nearer to the edge than `by` mm, on both sides of it.
    fn rim(&self, by: f64) -> Self {
        let loops: Vec<Loop> = self.parts.iter().flatten().map(sparse).collect();
        Self::new(loops.stroke(stroke(2.0 * by), true))
    }

    /// Without what is nowhere so broad: a disc of this diameter fits around every place that is left.
    pub fn where_broader(&self, breadth: f64) -> Self {
        self.narrowed(breadth / 2.0).widened(breadth / 2.0).and(self)
    }

    /// Whether a disc of this radius fits into it somewhere.
    pub fn holds_disc(&self, radius: f64) -> bool {
        /// So many places across and down are looked at first: what is large holds it at one of them.
        const PLACES: u32 = 12;
        let bounds = self.bounds();
        let place = |k: u32| (f64::from(k) + 0.5) / f64::from(PLACES);
        let at = |(i, j): (u32, u32)| {
            Point::new(bounds.x0 + bounds.width() * place(i), bounds.y0 + bounds.height() * place(j))
        };
        let clear = |at: Point<S>| {
            self.contains(at) && self.edges().all(|e| e.nearest(at.raw(), 1e-9).distance_sq > radius * radius)
        };
        let mut places = (0..PLACES).flat_map(|i| (0..PLACES).map(move |j| at((i, j))));
        places.any(clear) || !self.narrowed(radius).is_empty()
    }

    fn edges(&self) -> impl Iterator<Item = Line> {
        let loops = self.parts.iter().flatten();
        loops.flat_map(|l| l.iter().zip(l.iter().cycle().skip(1)).map(|(a, b)| Line::new((a[0], a[1]), (b[0], b[1]))))
    }

    /// With its openings closed that are nowhere so broad.
    pub fn without_openings_below(&self, breadth: f64) -> Self {
        let narrow = |opening: &&Loop| !Self::new(vec![vec![(*opening).clone()]]).holds_disc(breadth / 2.0);
        let closed = |part: &Vec<Loop>| {
            let (outer, openings) = part.split_first().expect("a part has an outer loop");
            let open = openings.iter().filter(|opening| !narrow(opening)).cloned();
            std::iter::once(outer.clone()).chain(open).collect()
        };
        Self { parts: self.parts.iter().map(closed).collect(), space: PhantomData }
    }

    /// Parts that do not hang together, the largest first.
    pub fn parts(&self) -> Vec<Self> {
        let mut parts: Vec<Self> =
            self.parts.iter().map(|part| Self { parts: vec![part.clone()], space: PhantomData }).collect();
        parts.sort_by(|a, b| b.area().total_cmp(&a.area()));
        parts
    }

    /// Whether there is nothing in it.
    pub const fn is_empty(&self) -> bool {
        self.parts.is_empty()
    }

    /// In square units, openings taken off.
    pub fn area(&self) -> f64 {
        let of_part = |part: &Vec<Loop>| {
            let openings: f64 = part.iter().skip(1).map(|opening| area(opening).abs()).sum();
            part.first().map_or(0.0, |outer| area(outer).abs()) - openings
        };
        self.parts.iter().map(of_part).sum()
    }

    /// Whether it holds the place.
    pub fn contains(&self, at: Point<S>) -> bool {
        let crossed = self.parts.iter().flatten().map(|l| crossings(l, at)).sum::<usize>();
        crossed % 2 == 1
    }

    /// The loops, outer ones clockwise on a screen and openings the other way around.
    pub fn loops(&self) -> Vec<Vec<Point<S>>> {
        let turned = |l: &Loop, outer: bool| -> Vec<Point<S>> {
            let points = l.iter().map(|p| Point::from(*p));
            if (area(l) > 0.0) == outer { points.collect() } else { points.rev().collect() }
        };
        self.parts.iter().flat_map(|part| part.iter().enumerate().map(|(k, l)| turned(l, k == 0))).collect()
    }

    /// The box around it.
    pub fn bounds(&self) -> kurbo::Rect {
        let points = self.parts.iter().flatten().flatten().map(|[x, y]| kurbo::Point::new(*x, *y));
        let boxes = points.map(|at| kurbo::Rect::from_points(at, at));
        boxes.reduce(|all, one| all.union(one)).unwrap_or(kurbo::Rect::ZERO)
    }

    /// Its edge in lines and cubics.
    pub fn path(&self) -> Path<S> {
        let mut path = BezPath::new();
        for line in self.loops() {
            path.extend(smoothed(&line.iter().map(|p| p.raw()).collect::<Vec<_>>()));
        }
        Path::new(path)
    }
}

/// The points that a polygon within [`SPARE`] of this one needs (D. Douglas, T. Peucker, The Canadian Cartographer 10, 1973): a rim
/// takes time by the point, and arcs of former rims have many.
fn sparse(l: &Loop) -> Loop {
    let n = l.len();
    let far_from = |from: usize| {
        let far = |k: &usize| (l[*k][0] - l[from][0]).hypot(l[*k][1] - l[from][1]);
        (0..n).max_by(|a, b| far(a).total_cmp(&far(b))).unwrap_or(0)
    };
    let (first, second) = (0, far_from(0));
    let mut kept = vec![false; n];
    let mut open = vec![(first, second), (second, n)];
    while let Some((from, to)) = open.pop() {
        kept[from] = true;
        let chord = Line::new((l[from][0], l[from][1]), (l[to % n][0], l[to % n][1]));
        let off = |k: usize| chord.nearest(kurbo::Point::new(l[k][0], l[k][1]), 1e-9).distance_sq;
        let farthest = (from + 1..to).map(|k| (k, off(k))).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((middle, _)) = farthest.filter(|(_, off)| *off > SPARE * SPARE) {
            open.extend([(from, middle), (middle, to)]);
        }
    }
    (0..n).filter(|k| kept[*k]).map(|k| l[k]).collect()
}

fn stroke(width: f64) -> StrokeStyle<[f64; 2]> {
    StrokeStyle::new(width).line_join(LineJoin::Round(ARC_STEP)).math(MathMode::Float)
}

/// Of a polygon; positive where it runs clockwise on a screen.
fn area(l: &Loop) -> f64 {
    let next = l.iter().cycle().skip(1);
    l.iter().zip(next).map(|(a, b)| (a[0] * b[1] - b[0] * a[1]) / 2.0).sum()
}

/// How often a ray to the right crosses the polygon.
fn crossings<S: Space>(l: &Loop, at: Point<S>) -> usize {
    let next = l.iter().cycle().skip(1);
    let crosses = |(a, b): &(&[f64; 2], &[f64; 2])| {
        (a[1] > at.y) != (b[1] > at.y) && at.x < a[0] + (at.y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
    };
    l.iter().zip(next).filter(crosses).count()
}

/// A polygon as the lines and smooth curves that follow it, or as it is where none do.
fn smoothed(polygon: &[kurbo::Point]) -> BezPath {
    let polygon = &thinned(polygon)[..];
    let plain = closed(polygon);
    let n = polygon.len();
    let at = |k: usize| polygon[k % n];
    let turns = |k: usize| {
        let (a, b) = (at(k) - at(k + n - 1), at(k + 1) - at(k));
        a.cross(b).atan2(a.dot(b)).abs().to_degrees() > CORNER
    };
    let long = |k: usize| at(k).distance(at(k + 1));
    let straight = |k: usize| long(k) > STRAIGHT && long(k) > 4.0 * long(k + n - 1).min(long(k + 1));
    let breaks: Vec<usize> = (0..n).filter(|&k| turns(k) || straight(k) || straight(k + n - 1)).collect();
    let mut curved = BezPath::new();
    match breaks.first() {
        None => curved = through(polygon, true).unwrap_or_else(|| plain.clone()),
        Some(&first) => {
            curved.move_to(at(first));
            let ends = breaks.iter().copied().chain([first + n]).collect::<Vec<_>>();
            for pair in ends.windows(2) {
                let run: Vec<kurbo::Point> = (pair[0]..=pair[1]).map(at).collect();
                match through(&run, false) {
                    Some(path) => curved.extend(path.elements().iter().skip(1).copied()),
                    None => run[1..].iter().for_each(|p| curved.line_to(*p)),
                }
            }
            curved.close_path();
        }
    }
    if Shape::new(Path::<Plain>::new(curved.clone())).is_ok() { curved } else { plain }
}

/// Without points that lie all but on the one before them, as where two edges were moved and meet again.
fn thinned(polygon: &[kurbo::Point]) -> Vec<kurbo::Point> {
    let mut kept: Vec<kurbo::Point> = Vec::new();
    for point in polygon {
        if kept.last().is_none_or(|last| last.distance(*point) > SMOOTH) {
            kept.push(*point);
        }
    }
    while kept.len() > 3 && kept[0].distance(kept[kept.len() - 1]) <= SMOOTH {
        kept.pop();
    }
    if kept.len() < 3 { polygon.to_vec() } else { kept }
}

/// Curves of this room know no space.
type Plain = crate::space::Pattern;

/// The smooth curve through as few of `points` as keep it near to all of them; `None` where that takes nearly all.
fn through(points: &[kurbo::Point], around: bool) -> Option<BezPath> {
    /// Fewer are a polygon.
    const LEAST: usize = 5;
    let last = if around { points.len() } else { points.len() - 1 };
    if last < LEAST {
        return None;
    }
    let first: usize = if around { 4 } else { 2 };
    let mut knots: Vec<usize> = (0..first).map(|k| k * last / first).collect();
    if !around {
        knots.push(last);
    }
    while 2 * knots.len() < last + 2 {
        let at = |k: usize| Point::<Plain>::from(points[k % points.len()]);
        let path = if around {
            let knots: Vec<Knot<Plain>> = knots.iter().map(|k| Knot { at: at(*k), corner: false }).collect();
            closed_spline(&knots).ok()?
        } else {
            open_spline(&knots.iter().map(|k| at(*k)).collect::<Vec<_>>())
        };
        let ends: Vec<usize> = knots.iter().copied().chain(around.then_some(last)).collect();
        let strays = |(curve, pair): (PathSeg, &[usize])| stray(&curve, pair, points);
        // A closed curve ends in a line of no length.
        let curves = path.raw().segments().filter(|s| !matches!(s, PathSeg::Line(_)));
        // One more knot wherever the curve strays; the far ends of a long curve do not wait for each other.
        let strayed: Vec<(usize, f64)> =
            curves.zip(ends.windows(2)).map(strays).filter(|(_, far)| *far > SMOOTH).collect();
        if strayed.is_empty() {
            return Some(path.raw().clone());
        }
        let before = knots.len();
        knots.extend(strayed.iter().map(|(k, _)| k));
        knots.sort_unstable();
        knots.dedup();
        if knots.len() == before {
            return None;
        }
    }
    None
}

/// Which of the points from one knot to the next lies farthest from the curve between them, and how far; or how far the curve lies
/// from the straight line between two points that follow each other.
fn stray(curve: &PathSeg, ends: &[usize], points: &[kurbo::Point]) -> (usize, f64) {
    const PARTS: u32 = 24;
    let on = |k: u32| curve.eval(f64::from(k) / f64::from(PARTS));
    let chords: Vec<Line> = (0..PARTS).map(|k| Line::new(on(k), on(k + 1))).collect();
    let far = |at: kurbo::Point, lines: &[Line]| {
        lines.iter().map(|line| line.nearest(at, 1e-9).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
    };
    let n = points.len();
    let inner = (ends[0] + 1..ends[1]).map(|k| (k, far(points[k % n], &chords)));
    let worst = inner.max_by(|a, b| a.1.total_cmp(&b.1));
    let edges: Vec<Line> = (ends[0]..ends[1]).map(|k| Line::new(points[k % n], points[(k + 1) % n])).collect();
    let back = (1..PARTS).map(|k| far(on(k), &edges)).fold(0.0, f64::max);
    match worst {
        Some((k, far)) => (k, far.max(back)),
        // Nothing lies between that could be added.
        None => (ends[0] + 1, if back > SMOOTH { f64::INFINITY } else { 0.0 }),
    }
}

fn closed(polygon: &[kurbo::Point]) -> BezPath {
    let mut path = BezPath::new();
    for (k, point) in polygon.iter().enumerate() {
        if k == 0 { path.move_to(*point) } else { path.line_to(*point) }
    }
    path.close_path();
    path
}

#[cfg(test)]
mod tests {
    use kurbo::{Circle, Rect};
    use proptest::prelude::*;

    use super::*;
    use crate::space::Pattern;

    fn region(shape: &impl kurbo::Shape) -> Region<Pattern> {
        Region::of(&Path::new(shape.to_path(1e-4)))
    }

    #[test]
    fn a_disc_is_narrowed_and_widened_as_its_radius_is() {
        let disc = region(&Circle::new((3.0, 4.0), 40.0));
        for (radius, found) in [(28.0, disc.narrowed(12.0)), (52.0, disc.widened(12.0))] {
            let area = std::f64::consts::PI * radius * radius;
            assert!((found.area() - area).abs() < 0.002 * area, "{} {area}", found.area());
            let path = found.path();
            assert!(path.raw().elements().len() < 40, "few curves: {}", path.raw().elements().len());
            let off = path
                .flatten(0.01)
                .concat()
                .iter()
                .map(|p| (p.distance(Point::new(3.0, 4.0)) - radius).abs())
                .fold(0.0, f64::max);
            assert!(off < 0.06, "{off}");
        }
        assert!(disc.narrowed(40.1).is_empty());
    }

    #[test]
    fn a_square_keeps_its_corners_when_it_is_narrowed() {
        let found = region(&Rect::new(0.0, 0.0, 60.0, 40.0)).narrowed(10.0);
        assert!((found.area() - 800.0).abs() < 0.01, "{}", found.area());
        assert_eq!(found.path().raw().segments().count(), 4);
        let rounded = region(&Rect::new(0.0, 0.0, 60.0, 40.0)).widened(10.0);
        let area = 60.0 * 40.0 + 200.0 * 10.0 + std::f64::consts::PI * 100.0;
        assert!((rounded.area() - area).abs() < 1.0, "{}", rounded.area());
    }

    #[test]
    fn a_dumbbell_without_its_bar_is_two_parts() {
        let bell = region(&Circle::new((0.0, 0.0), 20.0))
            .or(&region(&Circle::new((100.0, 0.0), 25.0)))
            .or(&region(&Rect::new(0.0, -2.0, 100.0, 2.0)));
        assert_eq!(bell.parts().len(), 1);
        let parts = bell.where_broader(8.0).parts();
        assert_eq!(parts.len(), 2);
        assert!(parts[0].area() > parts[1].area() && parts[0].contains(Point::new(100.0, 0.0)));
    }

    #[test]
    fn small_openings_are_closed_and_large_ones_stay() {
        let ring = region(&Circle::new((0.0, 0.0), 30.0))
            .minus(&region(&Circle::new((10.0, 0.0), 2.0)))
            .minus(&region(&Circle::new((-10.0, 0.0), 6.0)));
        let found = ring.without_openings_below(6.0);
        assert!(found.contains(Point::new(10.0, 0.0)) && !found.contains(Point::new(-10.0, 0.0)));
    }

    proptest! {
        /// A star of any corners, made narrower, lies in itself, farther than that from its edge, and is no crossed shape.
        #[test]
        fn what_is_narrowed_keeps_its_distance(radii in prop::collection::vec(15.0..60.0f64, 5..14), by in 1.0..12.0f64) {
            let n = radii.len() as f64;
            let star: Vec<Point<Pattern>> = radii.iter().enumerate().map(|(k, r)| {
                let (sin, cos) = (k as f64 / n * std::f64::consts::TAU).sin_cos();
                Point::new(r * cos, r * sin)
            }).collect();
            let whole = Region::polygons(std::slice::from_ref(&star));
            let edge: Vec<Line> = star.iter().zip(star.iter().cycle().skip(1)).map(|(a, b)| Line::new(a.raw(), b.raw())).collect();
            let found = whole.narrowed(by);
            for p in found.loops().concat() {
                let far = edge.iter().map(|l| l.nearest(p.raw(), 1e-6).distance_sq.sqrt()).fold(f64::INFINITY, f64::min);
                prop_assert!((far - by).abs() < 0.02, "{far} is not {by}");
                prop_assert!(whole.contains(p));
            }
            if !found.is_empty() {
                let path = found.path();
                prop_assert!(Shape::new(path.clone()).is_ok(), "{:?}", path.raw().to_svg());
            }
        }
    }
}
