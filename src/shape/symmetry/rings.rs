//! A path as rings of segments that can be asked for their nearest place.

use kurbo::{BezPath, ParamCurve, ParamCurveArclen, ParamCurveNearest, PathSeg, Point, Rect, Vec2};

pub(super) use crate::shape::loops::direction;
use crate::shape::loops::{self, Loop};

/// Where the direction jumps by more than this, in radians, is a corner: 3°.
const CORNER: f64 = 0.05;
/// Where it jumps by less than this, in radians, the way is smooth: 0.3°. Between the two it stays what it is.
const SMOOTH: f64 = 0.005;
/// Segments shorter than this part of the extent are none.
const SPECK: f64 = 1e-9;

/// The loops of a path, each a ring of segments.
pub(super) struct Rings {
    pub(super) loops: Vec<Vec<PathSeg>>,
    boxes: Vec<Vec<Rect>>,
}

/// A place on an outline.
#[derive(Clone, Copy)]
pub(super) struct On {
    pub(super) at: Point,
    /// Unit direction of the way there.
    pub(super) along: Vec2,
}

impl Rings {
    pub(super) fn new(path: &BezPath) -> Self {
        let bounds = kurbo::Shape::bounding_box(path);
        let speck = SPECK * bounds.width().hypot(bounds.height());
        let closed = loops::split(path, speck).into_iter().map(|mut ring| {
            ring.close(speck);
            ring.segments
        });
        Self::of(closed.collect())
    }

    pub(super) fn of(loops: Vec<Vec<PathSeg>>) -> Self {
        let control_box = |segment: &PathSeg| {
            let cubic = segment.to_cubic();
            Rect::from_points(cubic.p0, cubic.p3).union_pt(cubic.p1).union_pt(cubic.p2)
        };
        let boxes = loops.iter().map(|ring| ring.iter().map(control_box).collect()).collect();
        Self { loops, boxes }
    }

    /// The place nearest to `p` where the way runs in no other direction than `along`, within a right angle.
    pub(super) fn nearest(&self, p: Point, along: Vec2, accuracy: f64) -> Option<On> {
        self.nearest_of(p, accuracy, |there| there.dot(along) > 0.0)
    }

    /// How far `p` lies from the outline, squared.
    pub(super) fn distance_squared(&self, p: Point, accuracy: f64) -> f64 {
        self.nearest_any(p, accuracy).map_or(f64::INFINITY, |on| on.at.distance_squared(p))
    }

    /// The place nearest to `p`, whichever way it runs.
    pub(super) fn nearest_any(&self, p: Point, accuracy: f64) -> Option<On> {
        self.nearest_of(p, accuracy, |_| true)
    }

    /// The nearest place to `p` of which `liked` likes the direction.
    fn nearest_of(&self, p: Point, accuracy: f64, liked: impl Fn(Vec2) -> bool) -> Option<On> {
        let mut best: Option<(f64, On)> = None;
        for (segment, bounds) in self.loops.iter().flatten().zip(self.boxes.iter().flatten()) {
            let reach = best.map_or(f64::INFINITY, |(far, _)| far);
            let apart = Vec2::new(
                (bounds.x0 - p.x).max(p.x - bounds.x1).max(0.0),
                (bounds.y0 - p.y).max(p.y - bounds.y1).max(0.0),
            );
            if apart.hypot2() >= reach {
                continue;
            }
            let found = segment.nearest(p, accuracy);
            if found.distance_sq < reach {
                let there = direction(segment, found.t);
                if liked(there) {
                    best = Some((found.distance_sq, On { at: segment.eval(found.t), along: there }));
                }
            }
        }
        best.map(|(_, on)| on)
    }

    /// Where the direction jumps.
    pub(super) fn corners(&self) -> Vec<Point> {
        let of_ring = |ring: &Vec<PathSeg>| -> Vec<Point> {
            (0..ring.len()).filter(|&i| is_corner(ring, i)).map(|i| ring[i].start()).collect()
        };
        self.loops.iter().flat_map(of_ring).collect()
    }

    /// About `count` places, evenly along all loops.
    pub(super) fn places(&self, count: u32) -> Vec<On> {
        let accuracy = 1e-3 * self.extent();
        let length: f64 = self.loops.iter().flatten().map(|s| s.arclen(accuracy)).sum();
        let step = length / f64::from(count);
        let on_segment = |segment: &PathSeg| {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most `count`")]
            let parts = (segment.arclen(accuracy) / step).round().max(1.0) as u32;
            (0..parts).map(move |k| (f64::from(k) + 0.5) / f64::from(parts)).collect::<Vec<f64>>()
        };
        let segments = self.loops.iter().flatten();
        segments.flat_map(|s| on_segment(s).into_iter().map(|t| On { at: s.eval(t), along: direction(s, t) })).collect()
    }

    /// The diagonal of its bounds.
    pub(super) fn extent(&self) -> f64 {
        let all = self.boxes.iter().flatten().copied().reduce(|a, b| a.union(b)).unwrap_or_default();
        all.width().hypot(all.height())
    }

    /// About the middle of what it encloses: that of polygons through sixteen places of each segment.
    pub(super) fn middle(&self) -> Point {
        let (mut sum, mut twice) = (Vec2::ZERO, 0.0);
        for ring in &self.loops {
            let places =
                |segment: &PathSeg| (0..16).map(|k| segment.eval(f64::from(k) / 16.0).to_vec2()).collect::<Vec<_>>();
            let polygon: Vec<Vec2> = ring.iter().flat_map(places).collect();
            for (a, b) in polygon.iter().zip(polygon.iter().cycle().skip(1)) {
                sum += (*a + *b) * a.cross(*b);
                twice += a.cross(*b);
            }
        }
        if twice == 0.0 { self.loops[0][0].start() } else { (sum / (3.0 * twice)).to_point() }
    }
}

/// Whether the direction jumps where segment `i` begins.
pub(super) fn is_corner(ring: &[PathSeg], i: usize) -> bool {
    jump(ring, i) > CORNER
}

/// Whether the way runs on smoothly where segment `i` begins.
pub(super) fn is_smooth(ring: &[PathSeg], i: usize) -> bool {
    jump(ring, i) < SMOOTH
}

/// By how much the direction changes where segment `i` begins, in radians.
fn jump(ring: &[PathSeg], i: usize) -> f64 {
    let before = direction(&ring[(i + ring.len() - 1) % ring.len()], 1.0);
    let after = direction(&ring[i], 0.0);
    before.cross(after).atan2(before.dot(after)).abs()
}

/// Rings as one path; lines that carry a line on are one with it.
pub(super) fn joined(rings: &[Vec<PathSeg>]) -> BezPath {
    let closed = |ring: &Vec<PathSeg>| Loop { segments: without_needless_nodes(ring), closed: true };
    loops::join(&rings.iter().filter(|ring| !ring.is_empty()).map(closed).collect::<Vec<_>>())
}

fn without_needless_nodes(ring: &[PathSeg]) -> Vec<PathSeg> {
    /// The turn between two lines that are one, in radians.
    const ONE: f64 = 1e-7;
    let carries_on = |a: &PathSeg, b: &PathSeg| match (a, b) {
        (PathSeg::Line(_), PathSeg::Line(_)) => {
            let (before, after) = (direction(a, 1.0), direction(b, 0.0));
            before.cross(after).abs() < ONE && before.dot(after) > 0.0
        }
        _ => false,
    };
    let mut kept: Vec<PathSeg> = Vec::with_capacity(ring.len());
    for segment in ring {
        match (kept.last_mut(), segment) {
            (Some(PathSeg::Line(former)), PathSeg::Line(line)) if carries_on(&PathSeg::Line(*former), segment) => {
                former.p1 = line.p1
            }
            _ => kept.push(*segment),
        }
    }
    if let (Some(&first), Some(&last)) = (kept.first(), kept.last())
        && kept.len() > 3
        && carries_on(&last, &first)
    {
        kept.pop();
        if let PathSeg::Line(line) = &mut kept[0] {
            line.p0 = last.start();
        }
    }
    kept
}
