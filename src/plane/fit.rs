//! Everything seen of a rectangle and of straight edges → the plane and the bowing of the lens that explain it best.

use kurbo::{Affine, Line, Point, Vec2};
use nalgebra::{DMatrix, DVector, SVector};

use super::{
    PlaneProblem, Seen, SeenLens, SeenRectangle, assembled, corners_homography, corners_plane, normal, numbers_of,
    rectangle_corners, seen_from_the_front, tilted,
};
use crate::space::{Lens, Map, Pixels, Plane};

/// Steps after which the fit has settled, or never will.
const ROUNDS: usize = 40;
/// A step that changes nothing any more, in units in which the rectangle is about 1.
const SETTLED: f64 = 1e-13;
/// Step of the slopes, likewise.
const TOUCH: f64 = 1e-7;
/// Standard deviation of the logarithm of a size of which nothing is known.
const ANY_SIZE: f64 = 1e3;
/// Numbers of a homography.
const PLANE: usize = 8;

/// The homography of [`corners_plane`] to begin with, then all numbers at once by least squares of the distances in the
/// picture (R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, 2nd ed., 2004, section 4.2), damped as in
/// D. Marquardt, "An algorithm for least-squares estimation of nonlinear parameters", SIAM Journal 11 (1963).
pub(super) fn fitted(
    rectangles: &[SeenRectangle],
    lens: Option<&SeenLens>,
) -> Result<Map<Pixels, Plane>, PlaneProblem> {
    let rectangle = (!rectangles.is_empty()).then(|| Sight::new(rectangles, None)).transpose()?;
    let all = Sights { rectangle, lens };
    all.map(&settled(&all))
}

/// See [`super::larger`].
pub(super) fn larger(rectangles: &[SeenRectangle], lens: Option<&SeenLens>, which: usize) -> Result<f64, PlaneProblem> {
    let all = Sights { rectangle: Some(Sight::new(rectangles, Some(which))?), lens };
    let numbers = settled(&all);
    all.map(&numbers)?;
    Ok(-(numbers[PLANE + 2 * which] + numbers[PLANE + 2 * which + 1]) / 2.0)
}

/// The numbers with the least squares.
fn settled(all: &Sights) -> DVector<f64> {
    let mut numbers = all.start();
    let mut left = all.left(&numbers);
    let mut damping = 1e-6;
    for _ in 0..ROUNDS {
        let before = left.norm_squared();
        let slopes = all.slopes(&numbers, &left);
        let (normal, pull) = (slopes.transpose() * &slopes, -(slopes.transpose() * &left));
        let step = loop {
            let mut damped = normal.clone();
            for i in 0..damped.nrows() {
                damped[(i, i)] *= 1.0 + damping;
                damped[(i, i)] += 1e-12;
            }
            let step = damped.cholesky().map(|solver| solver.solve(&pull));
            let moved = step.as_ref().map(|step| all.left(&(&numbers + step)));
            match (step, moved) {
                (Some(step), Some(moved)) if moved.norm_squared() <= left.norm_squared() * (1.0 + 1e-12) => {
                    left = moved;
                    damping = (damping * 0.1).max(1e-12);
                    break Some(step);
                }
                _ if damping > 1e6 => break None,
                _ => damping *= 10.0,
            }
        };
        let Some(step) = step else { break };
        numbers += &step;
        // A step near the end wins as many digits again, so that one that gains nothing was the last that is needed.
        if step.amax() < SETTLED || left.norm_squared() >= before * (1.0 - SETTLED) {
            break;
        }
    }
    numbers
}

/// Rectangles of one plane, with what never changes about how they are seen.
struct Sight<'a> {
    /// The first gives the plane its frame.
    seen: &'a [SeenRectangle],
    /// Middle of the corners of the first to the origin, mean distance from it √2; in the picture and in the plane.
    from: Affine,
    to: Affine,
    /// The plane, then of several rectangles how much larger each side is than it is said to be, as a logarithm, and for each
    /// but the first its [`Pose`].
    start: Vec<f64>,
    /// The one whose size tells nothing, only its shape.
    shape_only: Option<usize>,
}

/// Where the first corner of a rectangle lies, in diagonals of the first rectangle, and how it is turned, in radians.
type Pose = [f64; 3];

struct Sights<'a> {
    rectangle: Option<Sight<'a>>,
    lens: Option<&'a SeenLens>,
}

impl<'a> Sight<'a> {
    fn new(seen: &'a [SeenRectangle], shape_only: Option<usize>) -> Result<Self, PlaneProblem> {
        let first = &seen[0];
        let corners = first.corners.map(|c| c.at);
        let (from, to) = (normal(&corners.map(|c| c.raw().to_vec2())), normal(&rectangle_corners(first.size)));
        let own = corners_homography(corners, first.size)?;
        if seen.len() == 1 {
            return Ok(Self { seen, from, to, start: own.iter().copied().collect(), shape_only });
        }
        for other in &seen[1..] {
            seen_from_the_front(other.corners.map(|c| c.at))?;
        }
        // The largest tells the plane best as its corners alone tell it.
        let unit = first.size[0].hypot(first.size[1]);
        let span = |one: &SeenRectangle| one.corners[0].at.distance(one.corners[2].at);
        let largest = seen.iter().max_by(|a, b| span(a).total_cmp(&span(b))).unwrap_or(first);
        let plane = corners_plane(largest.corners.map(|c| c.at), largest.size)?;
        let [x, y, turn] = pose(first, &plane, unit);
        let home = Affine::rotate(-turn) * Affine::translate(Vec2::new(-x * unit, -y * unit));
        let plane = plane.then(&Map::affine(home));
        let poses = seen[1..].iter().flat_map(|one| pose(one, &plane, unit));
        let sizes = seen.iter().flat_map(|_| [0.0; 2]);
        let start = numbers_of(&plane, from, to).iter().copied().chain(sizes).chain(poses).collect();
        Ok(Self { seen, from, to, start, shape_only })
    }

    /// Where the corners of each rectangle lie in the plane.
    fn corners(&self, numbers: &[f64]) -> Vec<[Vec2; 4]> {
        let (first, several) = (&self.seen[0], self.seen.len() > 1);
        let unit = first.size[0].hypot(first.size[1]);
        let (sizes, poses) = (&numbers[PLANE..], &numbers[PLANE + 2 * self.seen.len() * usize::from(several)..]);
        let corners = |(i, one): (usize, &SeenRectangle)| {
            let larger = |side: usize| if several { sizes[2 * i + side].exp() } else { 1.0 };
            let own = rectangle_corners([one.size[0] * larger(0), one.size[1] * larger(1)]);
            if i == 0 {
                return own;
            }
            let pose = &poses[3 * (i - 1)..3 * i];
            let lies = Affine::translate(Vec2::new(pose[0] * unit, pose[1] * unit)) * Affine::rotate(pose[2]);
            own.map(|corner| (lies * corner.to_point()).to_vec2())
        };
        self.seen.iter().enumerate().map(corners).collect()
    }

    /// Without its lens.
    fn map(&self, numbers: &[f64]) -> Map<Pixels, Plane> {
        assembled(&SVector::from_column_slice(&numbers[..PLANE]), self.from, self.to)
    }

    /// Cosine of the angle between the sides, and logarithm of how much longer the first is than it should be, as a camera of
    /// this focal length sees them: both vanish for a rectangle (Z. Zhang, IEEE PAMI 22, 2000).
    fn askew(&self, numbers: &[f64], seen: &SeenLens, focal: f64) -> [f64; 2] {
        let [a, b, _] = self.map(numbers).inverse().columns();
        let ray = |[x, y, w]: [f64; 3]| {
            nalgebra::Vector3::new((x - seen.middle.x * w) / focal, (y - seen.middle.y * w) / focal, w)
        };
        let (a, b) = (ray(a), ray(b));
        [a.dot(&b) / (a.norm() * b.norm()), (a.norm() / b.norm()).ln()]
    }

    /// How far everything seen lies from where the numbers put it in the picture, in standard deviations.
    fn left(&self, numbers: &[f64], lens: Option<Lens>, left: &mut Vec<f64>) {
        let ideal = self.map(numbers).inverse();
        for (seen, corners) in self.seen.iter().zip(self.corners(numbers)) {
            left_of_one(seen, corners, &ideal, lens, left);
        }
        if self.seen.len() > 1 {
            for (i, seen) in self.seen.iter().enumerate() {
                let [a, b] = [0, 1].map(|side| numbers[PLANE + 2 * i + side]);
                let sd = [0, 1].map(|side| seen.size_sd[side] / seen.size[side]);
                if self.shape_only == Some(i) {
                    left.extend([(a - b) / sd[0].hypot(sd[1]), f64::midpoint(a, b) / ANY_SIZE]);
                } else {
                    left.extend([a / sd[0], b / sd[1]]);
                }
            }
        }
    }
}

/// Where `seen` lies in the plane to begin with, its middle and its direction kept.
fn pose(seen: &SeenRectangle, plane: &Map<Pixels, Plane>, unit: f64) -> Pose {
    let [a, b, c, d] = seen.corners.map(|corner| plane.point(corner.at).raw().to_vec2());
    let turn = (b - a + c - d).angle();
    let middle = (a + b + c + d) / 4.0;
    let corner = middle - (Affine::rotate(turn) * Point::from((seen.size[0], seen.size[1]))).to_vec2() / 2.0;
    [corner.x / unit, corner.y / unit, turn]
}

/// The same of one rectangle whose corners lie there in the plane.
fn left_of_one(
    seen: &SeenRectangle,
    corners: [Vec2; 4],
    ideal: &Map<Plane, Pixels>,
    lens: Option<Lens>,
    left: &mut Vec<f64>,
) {
    let corners = corners.map(|to| ideal.point(to.to_point().into()).raw());
    for (i, side) in seen.sides.iter().enumerate() {
        let along = (corners[(i + 1) % 4] - corners[i]).normalize();
        left.extend(side.iter().map(|place| {
            let at = lens.map_or(place.at.raw(), |lens| lens.straighten(place.at.raw()));
            along.cross(at - corners[i]) / place.sd
        }));
    }
    let mut both = |place: &Seen, ideal: Point| {
        let off = place.at.raw() - lens.map_or(ideal, |lens| lens.bend(ideal));
        left.extend([off.x / place.sd, off.y / place.sd]);
    };
    for (i, corner) in corners.into_iter().enumerate() {
        // Where both of its sides are seen, they tell more of a corner than it does.
        if seen.sides[i].is_empty() || seen.sides[(i + 3) % 4].is_empty() {
            both(&seen.corners[i], corner);
        }
    }
    for (place, to) in &seen.places {
        both(place, ideal.point((*to).into()).raw());
    }
}

impl Sights<'_> {
    fn start(&self) -> DVector<f64> {
        let plane = self.rectangle.iter().flat_map(|sight| sight.start.iter().copied());
        let terms = self.lens.iter().flat_map(|lens| lens.usual.iter().map(|(value, _)| *value));
        let focal = self.camera().map(|camera| camera.focal.0);
        DVector::from_vec(plane.chain(terms).chain(focal).collect())
    }

    /// What is usual of the camera, where there is a rectangle to be seen by it; its focal length is the last of the numbers.
    fn camera(&self) -> Option<super::SeenCamera> {
        self.lens.filter(|_| self.rectangle.is_some()).and_then(|lens| lens.camera)
    }

    /// The terms of the lens among the numbers.
    fn terms<'n>(&self, numbers: &'n [f64]) -> &'n [f64] {
        let first = self.rectangle.as_ref().map_or(0, |sight| sight.start.len());
        &numbers[first..first + self.lens.map_or(0, |lens| lens.usual.len())]
    }

    fn lens(&self, numbers: &[f64]) -> Option<Lens> {
        let seen = self.lens?;
        let terms = self.terms(numbers);
        Some(Lens::new(seen.middle.raw(), seen.unit, [terms[0], terms.get(1).copied().unwrap_or(0.0)]))
    }

    fn left(&self, numbers: &DVector<f64>) -> DVector<f64> {
        let numbers = numbers.as_slice();
        let lens = self.lens(numbers);
        let mut left = Vec::new();
        if let Some(sight) = &self.rectangle {
            sight.left(numbers, lens, &mut left);
        }
        if let (Some(seen), Some(lens)) = (self.lens, lens) {
            let terms = self.terms(numbers);
            left.extend(terms.iter().zip(&seen.usual).map(|(term, (usual, sd))| (term - usual) / sd));
            if let (Some(sight), Some(camera)) = (&self.rectangle, self.camera()) {
                let focal = numbers[numbers.len() - 1];
                let [cosine, longer] = sight.askew(numbers, seen, focal.exp() * camera.long);
                let ([usual_cosine, usual_longer], sd) = camera.square;
                left.push((focal - camera.focal.0) / camera.focal.1);
                left.extend([(cosine - usual_cosine) / sd, (longer - usual_longer) / sd]);
            }
            for edge in &seen.edges {
                left.extend(off_line(&lens, edge).into_iter().zip(edge).map(|(off, place)| off / place.sd));
            }
        }
        DVector::from_vec(left)
    }

    fn slopes(&self, numbers: &DVector<f64>, left: &DVector<f64>) -> DMatrix<f64> {
        let mut slopes = DMatrix::zeros(left.len(), numbers.len());
        for i in 0..numbers.len() {
            let mut touched = numbers.clone();
            touched[i] += TOUCH;
            slopes.set_column(i, &((self.left(&touched) - left) / TOUCH));
        }
        slopes
    }

    fn map(&self, numbers: &DVector<f64>) -> Result<Map<Pixels, Plane>, PlaneProblem> {
        let lens = self.lens(numbers.as_slice());
        if let (Some(lens), Some(seen)) = (lens, self.lens) {
            straight(&lens, seen)?;
            bows_little(&lens, seen)?;
        }
        let Some(sight) = &self.rectangle else {
            let as_it_is = Map::affine(Affine::IDENTITY);
            return Ok(lens.map_or(as_it_is, |lens| as_it_is.seen_through(lens)));
        };
        tilted(&SVector::from_column_slice(&numbers.as_slice()[..PLANE]))?;
        let map = sight.map(numbers.as_slice());
        Ok(lens.map_or(map, |lens| map.seen_through(lens)))
    }
}

/// Refuses edges that no lens makes straight.
fn straight(lens: &Lens, seen: &SeenLens) -> Result<(), PlaneProblem> {
    /// Standard deviations that a click is never off by.
    const NEVER: f64 = 6.0;
    for (i, edge) in seen.edges.iter().enumerate() {
        let off = off_line(lens, edge).into_iter().map(f64::abs).fold(0.0, f64::max);
        if off > NEVER * edge.iter().map(|place| place.sd).fold(0.0, f64::max) {
            return Err(PlaneProblem::NotStraight(i + 1, off));
        }
    }
    Ok(())
}

/// Refuses a lens whose bowing this model does not describe: one that moves the picture's corners by more than a sixth, or
/// folds the picture (common practice, no source).
fn bows_little(lens: &Lens, seen: &SeenLens) -> Result<(), PlaneProblem> {
    const MOST: f64 = 0.16;
    let [first, second] = lens.terms(seen.unit);
    let moved = first + second;
    if moved.abs() > MOST || lens.reach() < 1.1 * seen.unit {
        return Err(PlaneProblem::WideAngle(100.0 * moved));
    }
    Ok(())
}

/// How far the places of an edge lie from the best line through them, in pixels, once `lens` bows it no more.
fn off_line(lens: &Lens, edge: &[Seen]) -> Vec<f64> {
    let straight: Vec<Point> = edge.iter().map(|place| lens.straighten(place.at.raw())).collect();
    let line = best_line(&straight);
    let along = (line.p1 - line.p0).normalize();
    straight.iter().map(|p| along.cross(*p - line.p0)).collect()
}

/// The line with the least squares of distances.
fn best_line(points: &[Point]) -> Line {
    let middle = points.iter().fold(Vec2::ZERO, |sum, p| sum + p.to_vec2()) / points.len().max(1) as f64;
    let (xx, xy, yy) = points
        .iter()
        .map(|p| p.to_vec2() - middle)
        .fold((0.0, 0.0, 0.0), |(xx, xy, yy), v| (xx + v.x * v.x, xy + v.x * v.y, yy + v.y * v.y));
    let along = Vec2::from_angle(0.5 * (2.0 * xy).atan2(xx - yy));
    Line::new(middle.to_point(), middle.to_point() + along)
}
