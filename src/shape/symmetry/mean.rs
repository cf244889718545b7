//! An outline moved half way to its own images.

use kurbo::{Affine, BezPath, CubicBez, Line, ParamCurve, PathSeg, Point, Vec2};

use super::Symmetry;
use super::rings::{Rings, direction, is_corner, is_smooth, joined};
use crate::space::Space;

/// `path` with every place moved to the mean of where it and its images under the symmetry lie; corners go to the mean of
/// the corners within `reach`.
pub(super) fn mean<S: Space>(path: &BezPath, symmetry: &Symmetry<S>, reach: f64) -> BezPath {
    let outline = Rings::new(path);
    let images: Vec<Image> =
        symmetry.motions().iter().map(|&(map, mirrored)| Image::new(&outline, map, mirrored)).collect();
    let accuracy = 1e-8 * outline.extent();
    #[expect(clippy::cast_precision_loss, reason = "a count of motions")]
    let share = 1.0 / (images.len() + 1) as f64;
    let moved = |p: Point, along: Vec2, corner: bool| -> Vec2 {
        let to = |image: &Image| {
            let near = || image.near(p, along, reach, accuracy);
            image.corner_near(p, reach).filter(|_| corner).or_else(near).map_or(Vec2::ZERO, |q| q - p)
        };
        images.iter().map(to).fold(Vec2::ZERO, |sum, d| sum + d) * share
    };
    let ring = |ring: &Vec<PathSeg>| -> Vec<PathSeg> {
        let n = ring.len();
        let corners: Vec<bool> = (0..n).map(|i| is_corner(ring, i)).collect();
        let node = |i: usize| {
            let (before, after) = (direction(&ring[(i + n - 1) % n], 1.0), direction(&ring[i], 0.0));
            moved(ring[i].start(), before + after, corners[i])
        };
        let nodes: Vec<Vec2> = (0..n).map(node).collect();
        let segment = |i: usize| {
            let (from, to) = (nodes[i], nodes[(i + 1) % n]);
            match ring[i] {
                PathSeg::Line(line) => PathSeg::Line(Line::new(line.p0 + from, line.p1 + to)),
                bent => {
                    let third = |t: f64| moved(bent.eval(t), direction(&bent, t), false);
                    // The cubic through four values at 0, 1/3, 2/3 and 1.
                    let (a, b) = (third(1.0 / 3.0), third(2.0 / 3.0));
                    let first = (from * -5.0 + a * 18.0 - b * 9.0 + to * 2.0) / 6.0;
                    let second = (from * 2.0 - a * 9.0 + b * 18.0 - to * 5.0) / 6.0;
                    let CubicBez { p0, p1, p2, p3 } = bent.to_cubic();
                    PathSeg::Cubic(CubicBez::new(p0 + from, p1 + first, p2 + second, p3 + to))
                }
            }
        };
        let mut moved: Vec<PathSeg> = (0..n).map(segment).collect();
        (0..n).filter(|&i| is_smooth(ring, i)).for_each(|i| smooth_joint(&mut moved, i));
        moved
    };
    joined(&outline.loops.iter().map(ring).collect::<Vec<_>>())
}

/// Gives the segments that meet where segment `i` begins one direction there: that of a line if there is one.
pub(super) fn smooth_joint(ring: &mut [PathSeg], i: usize) {
    let before = (i + ring.len() - 1) % ring.len();
    let (into, out_of) = (direction(&ring[before], 1.0), direction(&ring[i], 0.0));
    let along = match (&ring[before], &ring[i]) {
        (PathSeg::Line(_), PathSeg::Line(_)) => return,
        (PathSeg::Line(_), _) => into,
        (_, PathSeg::Line(_)) => out_of,
        _ => (into + out_of) / (into + out_of).hypot().max(f64::MIN_POSITIVE),
    };
    set_end_direction(&mut ring[before], along);
    set_start_direction(&mut ring[i], along);
}

/// Turns the handle at the start of a cubic.
pub(super) fn set_start_direction(segment: &mut PathSeg, along: Vec2) {
    if let PathSeg::Cubic(cubic) = segment {
        cubic.p1 = cubic.p0 + along * (cubic.p1 - cubic.p0).hypot();
    }
}

/// Turns the handle at the end of a cubic.
pub(super) fn set_end_direction(segment: &mut PathSeg, along: Vec2) {
    if let PathSeg::Cubic(cubic) = segment {
        cubic.p2 = cubic.p3 - along * (cubic.p3 - cubic.p2).hypot();
    }
}

/// The outline under one motion, running the same way around.
struct Image {
    outline: Rings,
    corners: Vec<Point>,
}

impl Image {
    fn new(outline: &Rings, map: Affine, mirrored: bool) -> Self {
        let ring = |ring: &Vec<PathSeg>| -> Vec<PathSeg> {
            let turned = ring.iter().map(|&segment| map * segment);
            if mirrored { turned.rev().map(|segment| segment.reverse()).collect() } else { turned.collect() }
        };
        let outline = Rings::of(outline.loops.iter().map(ring).collect());
        let corners = outline.corners();
        Self { outline, corners }
    }

    /// The nearest place that runs the same way; where that is far off and another way is not, as at a speck of a segment that
    /// doubles back, the nearest of all.
    fn near(&self, p: Point, along: Vec2, reach: f64, accuracy: f64) -> Option<Point> {
        let any = self.outline.nearest_any(p, accuracy)?.at;
        let same = self.outline.nearest(p, along, accuracy).map(|on| on.at);
        same.filter(|at| at.distance(p) <= 3.0 * any.distance(p) + 2.0 * reach).or(Some(any))
    }

    fn corner_near(&self, p: Point, reach: f64) -> Option<Point> {
        let near = self.corners.iter().copied().min_by(|a, b| a.distance_squared(p).total_cmp(&b.distance_squared(p)));
        near.filter(|q| q.distance(p) <= reach)
    }
}
