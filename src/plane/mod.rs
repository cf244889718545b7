//! Marked rectangle, straight edges → the map from pixels to the straightened plane, the bowing of the lens undone.

mod fit;
mod proportion;

use std::fmt;

use kurbo::{Affine, Vec2};
use nalgebra::{Matrix2, SMatrix, SVector};

use crate::space::{Map, Pixels, Plane, Point};

pub use proportion::{proportion, proportions};

/// A corner nearer than this to the line through its neighbours is drowned by the error of a click, 1.5 px per axis
/// (common practice, no source).
const LEAST_CORNER_HEIGHT_PX: f64 = 3.0;

/// Beyond this tilt a click of 1.5 px moves the far end of a prop by centimetres (common practice, no source).
const MOST_TILT_DEGREES: f64 = 80.0;

/// Why four marked corners cannot be those of a rectangle seen from its front.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PlaneProblem {
    /// Two sides cross each other.
    Crossed,
    /// This corner, 1 to 4, lies inside the triangle of the other three.
    Dented(usize),
    /// The corners go round against the clock.
    Reversed,
    /// This corner, 1 to 4, lies this many pixels from the straight line through its neighbours.
    Flat(usize, f64),
    /// The rectangle is turned away from the camera by about this many degrees.
    EdgeOn(f64),
    /// The lens would move the corners of the picture by about this part, in hundredths.
    WideAngle(f64),
    /// A place of this edge, from 1, lies so many pixels from the straight line through the others.
    NotStraight(usize, f64),
    /// Two opposite sides are still seen parallel, or as no camera sees a rectangle, so that its proportion cannot be told.
    ProportionUnclear,
}

/// A place on a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// In pixels.
    pub at: Point<Pixels>,
    /// Standard deviation on each axis, or across a side; above 0.
    pub sd: f64,
}

/// A rectangle of known size as a picture shows it.
#[derive(Clone, Debug)]
pub struct SeenRectangle {
    /// Clockwise as seen, from its top left.
    pub corners: [Seen; 4],
    /// Places on its sides, each from a corner to the next; a side that is not seen is empty.
    pub sides: [Vec<Seen>; 4],
    /// Further places, with where they lie on it in mm, from the first corner along the first side and the last.
    pub places: Vec<(Seen, [f64; 2])>,
    /// First and second side, mm.
    pub size: [f64; 2],
    /// Standard deviation of each, mm; it counts where several rectangles say how large the plane is.
    pub size_sd: [f64; 2],
}

/// What tells how a lens bows.
#[derive(Clone, Debug)]
pub struct SeenLens {
    /// The middle of the picture, in pixels.
    pub middle: Point<Pixels>,
    /// Half the diagonal of the picture, in pixels: the unit of the terms.
    pub unit: f64,
    /// For each term to be found, what it usually is and its standard deviation, above 0; one or two of them.
    pub usual: Vec<(f64, f64)>,
    /// Places along edges that are straight in truth.
    pub edges: Vec<Vec<Seen>>,
    /// What is usual of a camera; `None`: any plane counts as likely as any other.
    pub camera: Option<SeenCamera>,
}

/// What is usual of a camera whose picture is not cropped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeenCamera {
    /// The longer side of the picture, in pixels.
    pub long: f64,
    /// Natural logarithm of the focal length over that, and its standard deviation.
    pub focal: (f64, f64),
    /// Two numbers that vanish where a rectangle is seen through the middle of the picture: the cosine of the angle between its
    /// sides and the logarithm of how much too long the first looks for the second. What they are, and their standard deviation.
    pub square: ([f64; 2], f64),
}

/// The map that straightens the plane of `rectangles`, all of which lie in it, as `lens` shows it; one plane unit is 1 mm of
/// them. Without a rectangle only the lens is undone, and one plane unit is a pixel.
///
/// The top left of the first is the origin, its first side the x axis, its second points down; where the others lie is found.
///
/// # Errors
///
/// Corners that cannot be those of a rectangle seen from its front; a lens beyond the model.
pub fn straighten(rectangles: &[SeenRectangle], lens: Option<&SeenLens>) -> Result<Map<Pixels, Plane>, PlaneProblem> {
    match (rectangles, lens) {
        ([only], None) if only.places.is_empty() && only.sides.iter().all(Vec::is_empty) => {
            corners_plane(only.corners.map(|c| c.at), only.size)
        }
        ([], None) => Ok(Map::affine(Affine::IDENTITY)),
        _ => fit::fitted(rectangles, lens),
    }
}

/// By how much rectangle number `which` of several in one plane is said to be larger than the others make it, as a natural
/// logarithm; what its shape tells of the plane is used.
///
/// # Errors
///
/// As [`straighten`].
///
/// # Panics
///
/// If there is no such rectangle.
pub fn larger(rectangles: &[SeenRectangle], lens: Option<&SeenLens>, which: usize) -> Result<f64, PlaneProblem> {
    fit::larger(rectangles, lens, which)
}

impl fmt::Display for PlaneProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Crossed => f.write_str(
                "the sides of the rectangle cross each other; list its corners clockwise, from its top left",
            ),
            Self::Dented(corner) => write!(
                f,
                "corner {corner} of the rectangle lies inside the triangle of the other three, where no rectangle can \
                 be seen; mark it again"
            ),
            Self::Reversed => f.write_str(
                "the corners of the rectangle go round against the clock; list them clockwise, from its top left",
            ),
            Self::Flat(corner, off) => write!(
                f,
                "corner {corner} of the rectangle lies {off:.1} px from the straight line through its neighbours, at \
                 least {LEAST_CORNER_HEIGHT_PX} are needed; mark it again, or a larger rectangle"
            ),
            Self::EdgeOn(degrees) => write!(
                f,
                "the rectangle is seen nearly edge-on, turned away by about {degrees:.0} degrees, at most \
                 {MOST_TILT_DEGREES} can be straightened; check its size and the order of its corners, or use a \
                 picture taken from the front"
            ),
            Self::WideAngle(percent) => write!(
                f,
                "what is marked as straight is bowed so much that the lens would move the corners of the picture by \
                 {percent:.0} %, beyond what can be straightened; check the edges and corners, or use a picture that is \
                 not taken with a wide angle"
            ),
            Self::NotStraight(edge, off) => write!(
                f,
                "edge {edge} that is marked as straight is not: a place of it lies {off:.1} px from the line through it, with \
                 the bowing of the lens taken out; mark it again, or take it out"
            ),
            Self::ProportionUnclear => f.write_str(
                "the proportion of the rectangle cannot be told from this view, because opposite sides of it are seen as \
                 good as parallel or its corners are not well placed; give its size, or use a picture taken more slantingly",
            ),
        }
    }
}

/// The map that straightens the plane of a rectangle whose corners alone are known; one plane unit is 1 mm of it.
///
/// Direct linear transformation in normalised coordinates: R. Hartley, In defense of the eight-point algorithm,
/// IEEE PAMI 19 (1997). Four corners fix the eight numbers exactly. The ninth can be set to 1 because it vanishes
/// only if the mean of the corners, which is the origin here, were seen at infinity.
fn corners_plane(corners: [Point<Pixels>; 4], size: [f64; 2]) -> Result<Map<Pixels, Plane>, PlaneProblem> {
    let h = corners_homography(corners, size)?;
    Ok(assembled(&h, normal(&corners.map(|c| c.raw().to_vec2())), normal(&rectangle_corners(size))))
}

/// The eight numbers of `map` between the frames that `from` and `to` lead to.
fn numbers_of(map: &Map<Pixels, Plane>, from: Affine, to: Affine) -> SVector<f64, 8> {
    let between: Map<Plane, Plane> = Map::affine(from.inverse()).then(map).then(&Map::affine(to));
    let [a, b, c] = between.columns();
    SVector::from([a[0], b[0], c[0], a[1], b[1], c[1], a[2], b[2]]) / c[2]
}

/// Its eight numbers, between corners whose mean is the origin and whose mean distance from it is √2.
fn corners_homography(corners: [Point<Pixels>; 4], size: [f64; 2]) -> Result<SVector<f64, 8>, PlaneProblem> {
    seen_from_the_front(corners)?;
    let (from, to) = (corners.map(|c| c.raw().to_vec2()), rectangle_corners(size));
    let (from_normal, to_normal) = (normal(&from), normal(&to));

    let mut equations = SMatrix::<f64, 8, 8>::zeros();
    let mut right = SVector::<f64, 8>::zeros();
    for (i, (p, q)) in from.into_iter().zip(to).enumerate() {
        let (p, q) = (from_normal * p.to_point(), to_normal * q.to_point());
        let rows = [
            [p.x, p.y, 1.0, 0.0, 0.0, 0.0, -q.x * p.x, -q.x * p.y],
            [0.0, 0.0, 0.0, p.x, p.y, 1.0, -q.y * p.x, -q.y * p.y],
        ];
        for (row, (numbers, q)) in rows.into_iter().zip([q.x, q.y]).enumerate() {
            equations.set_row(2 * i + row, &SVector::from(numbers).transpose());
            right[2 * i + row] = q;
        }
    }
    let h = equations.lu().solve(&right).expect("no three of the corners are on a line");
    tilted(&h)?;
    Ok(h)
}

/// The map of the eight numbers between the frames that `from` and `to` lead to.
fn assembled(h: &SVector<f64, 8>, from: Affine, to: Affine) -> Map<Pixels, Plane> {
    let straighten: Map<Plane, Plane> = Map::projective([h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0]);
    Map::affine(from).then(&straighten).then(&Map::affine(to.inverse()))
}

/// Where the corners of a rectangle of this size lie in its plane.
pub fn corners_in_plane([width, height]: [f64; 2]) -> [Point<Plane>; 4] {
    [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]].map(|[x, y]| Point::new(x, y))
}

fn rectangle_corners(size: [f64; 2]) -> [Vec2; 4] {
    corners_in_plane(size).map(|corner| corner.raw().to_vec2())
}

/// Refuses a view that is too slanting.
fn tilted(h: &SVector<f64, 8>) -> Result<(), PlaneProblem> {
    let tilt = tilt_degrees(h);
    if tilt > MOST_TILT_DEGREES { Err(PlaneProblem::EdgeOn(tilt)) } else { Ok(()) }
}

fn seen_from_the_front(corners: [Point<Pixels>; 4]) -> Result<(), PlaneProblem> {
    // With y down, turning clockwise gives a positive cross product.
    let mut turns = [0.0; 4];
    for (i, turn) in turns.iter_mut().enumerate() {
        let [before, here, after] = [corners[(i + 3) % 4], corners[i], corners[(i + 1) % 4]].map(Point::raw);
        let sides = [here - before, after - here, after - before];
        *turn = sides[0].cross(sides[1]);
        let height = turn.abs() / sides.map(Vec2::hypot).into_iter().fold(f64::MIN_POSITIVE, f64::max);
        if height < LEAST_CORNER_HEIGHT_PX {
            return Err(PlaneProblem::Flat(i + 1, height));
        }
    }
    let against = turns.iter().filter(|turn| **turn < 0.0).count();
    let odd_one = |sign: f64| turns.iter().position(|turn| turn * sign > 0.0).map_or(0, |i| i + 1);
    match against {
        0 => Ok(()),
        1 => Err(PlaneProblem::Dented(odd_one(-1.0))),
        2 => Err(PlaneProblem::Crossed),
        3 => Err(PlaneProblem::Dented(odd_one(1.0))),
        _ => Err(PlaneProblem::Reversed),
    }
}

/// Moves the mean of the points to the origin and their mean distance from it to √2.
fn normal(points: &[Vec2; 4]) -> Affine {
    let mean = points.iter().fold(Vec2::ZERO, |sum, p| sum + *p) / 4.0;
    let distance = points.iter().map(|p| (*p - mean).hypot()).sum::<f64>() / 4.0;
    Affine::translate(-mean).then_scale(std::f64::consts::SQRT_2 / distance)
}

/// How far the plane is turned away where the mean of the corners is seen: a circle of the plane is seen there as an
/// ellipse whose axes are as the cosine of the tilt.
fn tilt_degrees(h: &SVector<f64, 8>) -> f64 {
    let (x, y) = (h[2], h[5]);
    let axes = Matrix2::new(h[0] - x * h[6], h[1] - x * h[7], h[3] - y * h[6], h[4] - y * h[7]).singular_values();
    (axes.min() / axes.max()).acos().to_degrees()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn corners(c: [[f64; 2]; 4]) -> [Point<Pixels>; 4] {
        c.map(|[x, y]| Point::new(x, y))
    }

    /// A sheet of 297 × 210 mm on a staff of 1400 mm (worked example of this project).
    const SHEET: [[f64; 2]; 4] = [[1783.8, 1338.9], [2222.9, 1347.0], [2219.6, 1663.7], [1786.9, 1646.2]];

    #[test]
    fn a_sheet_on_a_staff_straightens_the_whole_staff() {
        let plane = corners_plane(corners(SHEET), [297.0, 210.0]).expect("a plain view");
        let length = plane.point(Point::new(1042.0, 1471.7)).distance(plane.point(Point::new(3106.8, 1532.7)));
        assert!((length - 1399.9).abs() < 0.05, "{length}");
    }

    #[test]
    fn the_corners_come_out_as_the_rectangle() {
        let plane = corners_plane(corners(SHEET), [297.0, 210.0]).expect("a plain view");
        for (corner, (x, y)) in corners(SHEET).into_iter().zip([(0.0, 0.0), (297.0, 0.0), (297.0, 210.0), (0.0, 210.0)])
        {
            assert!(plane.point(corner).distance(Point::new(x, y)) < 1e-9);
        }
    }

    /// Unit square → quadrilateral in closed form: P. Heckbert, Fundamentals of texture mapping and image warping,
    /// master's thesis, University of California, Berkeley, 1989, section 2.2.3.
    fn heckbert(q: [[f64; 2]; 4], u: f64, v: f64) -> Point<Pixels> {
        let [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = q;
        let (dx1, dx2, sx) = (x1 - x2, x3 - x2, x0 - x1 + x2 - x3);
        let (dy1, dy2, sy) = (y1 - y2, y3 - y2, y0 - y1 + y2 - y3);
        let det = dx1 * dy2 - dx2 * dy1;
        let (g, h) = ((sx * dy2 - dx2 * sy) / det, (dx1 * sy - sx * dy1) / det);
        let w = g * u + h * v + 1.0;
        let x = (x1 - x0 + g * x1) * u + (x3 - x0 + h * x3) * v + x0;
        let y = (y1 - y0 + g * y1) * u + (y3 - y0 + h * y3) * v + y0;
        Point::new(x / w, y / w)
    }

    proptest! {
        #[test]
        fn the_plane_agrees_with_the_closed_form(
            shift in prop::array::uniform8(-120.0..120.0f64), width in 50.0..3000.0f64, height in 50.0..3000.0f64,
            u in -0.5..1.5f64, v in -0.5..1.5f64,
        ) {
            let [a, b, c, d, e, f, g, h] = shift;
            let q = [[500.0 + a, 400.0 + b], [1300.0 + c, 400.0 + d], [1300.0 + e, 1100.0 + f], [500.0 + g, 1100.0 + h]];
            let seen = heckbert(q, u, v);
            if let Ok(plane) = corners_plane(corners(q), [width, height])
                && plane.sees_together(corners(q)[0], seen)
            {
                let p = plane.point(seen);
                let off = p.distance(Point::new(u * width, v * height));
                prop_assert!(off < 1e-7 * width.max(height), "{off}");
            }
        }
    }

    #[test]
    fn corners_that_no_rectangle_shows_are_refused_with_the_reason() {
        let problem = |c, width, height| corners_plane(corners(c), [width, height]).expect_err("not a rectangle");
        let [a, b, c, d] = SHEET;
        assert_eq!(problem([a, c, b, d], 297.0, 210.0), PlaneProblem::Crossed);
        assert_eq!(problem([d, c, b, a], 297.0, 210.0), PlaneProblem::Reversed);
        assert_eq!(problem([a, b, [1900.0, 1400.0], d], 297.0, 210.0), PlaneProblem::Dented(3));
        assert!(matches!(problem([a, b, [2000.0, 1499.0], d], 297.0, 210.0), PlaneProblem::Flat(3, off) if off < 3.0));
        assert!(matches!(problem([a, a, c, d], 297.0, 210.0), PlaneProblem::Flat(1, off) if off == 0.0));
        let thin = [[0.0, 0.0], [900.0, 0.0], [900.0, 60.0], [0.0, 60.0]];
        assert!(matches!(problem(thin, 900.0, 600.0), PlaneProblem::EdgeOn(tilt) if (tilt - 84.26).abs() < 0.01));
    }

    #[test]
    fn beyond_the_horizon_is_no_place_of_the_plane() {
        // Floor boards that run together at y = 100: the sides meet at (500, 100), the others are level.
        let floor = corners([[450.0, 300.0], [550.0, 300.0], [600.0, 500.0], [400.0, 500.0]]);
        let seen = |corners: [Point<Pixels>; 4], p| {
            corners_plane(corners, [300.0, 200.0]).expect("a plain view").sees_together(corners[0], p)
        };
        assert!(seen(floor, Point::new(-3000.0, 100.5)));
        assert!(seen(floor, Point::new(500.0, 9000.0)));
        assert!(!seen(floor, Point::new(500.0, 99.5)));
        let square_on = corners([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]]);
        assert!(seen(square_on, Point::new(-1e6, 1e6)));
    }
}
