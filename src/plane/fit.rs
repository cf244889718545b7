//! Everything seen of a rectangle and of straight edges → the plane and the bowing of the lens that explain it best.

use kurbo::{Affine, Line, Vec2};
use nalgebra::{DMatrix, DVector, SVector};

use super::{
    PlaneProblem, Seen, SeenLens, SeenRectangle, assembled, corners_homography, normal, rectangle_corners, tilted,
};
use crate::space::{Lens, Map, Pixels, Plane};

/// Steps after which the fit has settled, or never will.
const ROUNDS: usize = 40;
/// A step that changes nothing any more, in units in which the rectangle is about 1.
const SETTLED: f64 = 1e-13;
/// Step of the slopes, likewise.
const TOUCH: f64 = 1e-7;
/// Numbers of a homography.
const PLANE: usize = 8;

/// The homography of [`corners_plane`] to begin with, then all numbers at once by least squares of the distances in the
/// picture (R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, 2nd ed., 2004, section 4.2), damped as in
/// D. Marquardt, "An algorithm for least-squares estimation of nonlinear parameters", SIAM Journal 11 (1963).
pub(super) fn fitted(
    rectangle: Option<&SeenRectangle>,
    lens: Option<&SeenLens>,
) -> Result<Map<Pixels, Plane>, PlaneProblem> {
    let all = Sights { rectangle: rectangle.map(Sight::new).transpose()?, lens };
    let mut numbers = all.start();
    let mut left = all.left(&numbers);
    let mut damping = 1e-6;
    for _ in 0..ROUNDS {
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
        if step.amax() < SETTLED {
            break;
        }
    }
    all.map(&numbers)
}

/// A rectangle with what never changes about how it is seen.
struct Sight<'a> {
    seen: &'a SeenRectangle,
    /// Middle of its corners to the origin, mean distance from it √2; in the picture and in the plane.
    from: Affine,
    to: Affine,
    /// As its corners alone tell.
    start: SVector<f64, PLANE>,
}

struct Sights<'a> {
    rectangle: Option<Sight<'a>>,
    lens: Option<&'a SeenLens>,
}

impl<'a> Sight<'a> {
    fn new(seen: &'a SeenRectangle) -> Result<Self, PlaneProblem> {
        let corners = seen.corners.map(|c| c.at);
        Ok(Self {
            seen,
            from: normal(&corners.map(|c| c.raw().to_vec2())),
            to: normal(&rectangle_corners(seen.size)),
            start: corners_homography(corners, seen.size)?,
        })
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
        let seen = self.seen;
        let ideal = self.map(numbers).inverse();
        let corners = rectangle_corners(seen.size).map(|to| ideal.point(to.to_point().into()).raw());
        for (i, side) in seen.sides.iter().enumerate() {
            let along = (corners[(i + 1) % 4] - corners[i]).normalize();
            left.extend(side.iter().map(|place| {
                let at = lens.map_or(place.at.raw(), |lens| lens.straighten(place.at.raw()));
                along.cross(at - corners[i]) / place.sd
            }));
        }
        let mut both = |place: &Seen, ideal: kurbo::Point| {
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
        let first = if self.rectangle.is_some() { PLANE } else { 0 };
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
    let straight: Vec<kurbo::Point> = edge.iter().map(|place| lens.straighten(place.at.raw())).collect();
    let line = best_line(&straight);
    let along = (line.p1 - line.p0).normalize();
    straight.iter().map(|p| along.cross(*p - line.p0)).collect()
}

/// The line with the least squares of distances.
fn best_line(points: &[kurbo::Point]) -> Line {
    let middle = points.iter().fold(Vec2::ZERO, |sum, p| sum + p.to_vec2()) / points.len().max(1) as f64;
    let (xx, xy, yy) = points
        .iter()
        .map(|p| p.to_vec2() - middle)
        .fold((0.0, 0.0, 0.0), |(xx, xy, yy), v| (xx + v.x * v.x, xy + v.x * v.y, yy + v.y * v.y));
    let along = Vec2::from_angle(0.5 * (2.0 * xy).atan2(xx - yy));
    Line::new(middle.to_point(), middle.to_point() + along)
}
