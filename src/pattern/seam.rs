//! Edges that are glued together, and the marks that bring them together.

use kurbo::{BezPath, ParamCurve as _, ParamCurveArclen as _, ParamCurveNearest as _, PathSeg, Point, Vec2};

use crate::shape::direction;
use crate::space::{Path, Pattern, Point as Placed};

/// Marks are so far apart, mm: each 60 to 90, where an edge is long enough.
const APART: f64 = 75.0;
/// More marks than this would come too near to those of the edge turned around.
const MOST: u32 = 9;

/// Where marks stand along an edge, as parts of its length: uneven, so that an edge laid the wrong way around is seen. No mark
/// of one way comes nearer to one of the other than a twentieth.
pub fn fractions(length: f64) -> Vec<f64> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a positive count")]
    let count = ((length / APART).round() as u32).clamp(1, MOST);
    (0..count).map(|k| (f64::from(k) + 0.75) / f64::from(count)).collect()
}

/// What is to be done about two edges that are to meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// They are as long.
    Fits,
    /// The shorter one has to be stretched.
    Stretch,
    /// They do not go together.
    TooUnlike,
}

/// Edges of these lengths, mm, meet when they differ by at most 1 mm or half a per cent; up to 3 % the shorter one can be stretched
/// (common practice, no source).
pub fn verdict(a: f64, b: f64) -> Verdict {
    let (off, longer) = ((a - b).abs(), a.max(b));
    if off <= (0.005 * longer).max(1.0) {
        Verdict::Fits
    } else if off <= 0.03 * longer {
        Verdict::Stretch
    } else {
        Verdict::TooUnlike
    }
}

/// A place on an edge, and which way foam lies.
#[derive(Clone, Copy, Debug)]
pub struct OnEdge {
    /// The place.
    pub at: Placed<Pattern>,
    /// Square to the edge, of length 1, into the foam.
    pub inwards: Vec2,
}

/// Part of an outline.
#[derive(Clone, Debug)]
pub struct Edge {
    segments: Vec<PathSeg>,
    /// Which side foam lies on: 1 to the left, with x to the right and y up.
    side: f64,
}

impl Edge {
    /// An open path with foam on one side of it: 1 to the left, with x to the right and y up, -1 to the right.
    pub fn new(path: &Path<Pattern>, side: f64) -> Self {
        Self { segments: path.raw().segments().collect(), side }
    }

    /// The edge of what `outline` encloses from the place nearest to `from` to that nearest to `to`, going around as it does, or
    /// `back` the other way; both on the loop that comes nearest to `from`.
    pub fn along(outline: &Path<Pattern>, from: Placed<Pattern>, to: Placed<Pattern>, back: bool) -> Self {
        let side = kurbo::Shape::area(outline.raw()).signum();
        let elements = outline.raw().elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
        let loops: Vec<Vec<PathSeg>> = elements.map(|part| kurbo::segments(part.iter().copied()).collect()).collect();
        let near = |l: &Vec<PathSeg>| nearest(l, from.raw()).2;
        let around = loops.into_iter().min_by(|a, b| near(a).total_cmp(&near(b))).expect("an outline has a loop");
        let (first, second) = if back { (to, from) } else { (from, to) };
        let segments = between(&around, nearest(&around, first.raw()), nearest(&around, second.raw()));
        if back {
            Self { segments: segments.iter().rev().map(PathSeg::reverse).collect(), side: -side }
        } else {
            Self { segments, side }
        }
    }

    /// In mm.
    pub fn length(&self) -> f64 {
        self.segments.iter().map(|segment| segment.arclen(1e-4)).sum()
    }

    /// Its two ends.
    pub fn ends(&self) -> [Placed<Pattern>; 2] {
        let first = self.segments.first().map_or(Point::ZERO, |segment| segment.start());
        let last = self.segments.last().map_or(Point::ZERO, |segment| segment.end());
        [first.into(), last.into()]
    }

    /// The place at a part of its length.
    pub fn at(&self, part: f64) -> OnEdge {
        let mut left = part * self.length();
        let last = self.segments.len() - 1;
        for (k, segment) in self.segments.iter().enumerate() {
            let length = segment.arclen(1e-4);
            if left <= length || k == last {
                let t = segment.inv_arclen(left.clamp(0.0, length), 1e-4);
                let inwards = direction(segment, t).turn_90() * self.side;
                return OnEdge { at: segment.eval(t).into(), inwards };
            }
            left -= length;
        }
        unreachable!("the last segment ends the way")
    }

    /// As a path.
    pub fn path(&self) -> Path<Pattern> {
        Path::new(BezPath::from_path_segments(self.segments.iter().copied()))
    }
}

/// Segment, parameter on it, and distance of the place of a loop that is nearest to `at`.
fn nearest(segments: &[PathSeg], at: Point) -> (usize, f64, f64) {
    let one = |(k, segment): (usize, &PathSeg)| {
        let found = segment.nearest(at, 1e-6);
        (k, found.t, found.distance_sq.sqrt())
    };
    segments.iter().enumerate().map(one).min_by(|a, b| a.2.total_cmp(&b.2)).expect("a loop has segments")
}

fn between(segments: &[PathSeg], from: (usize, f64, f64), to: (usize, f64, f64)) -> Vec<PathSeg> {
    let n = segments.len();
    let real = |segment: &PathSeg| segment.arclen(1e-4) > 1e-6;
    if from.0 == to.0 && from.1 <= to.1 {
        return vec![segments[from.0].subsegment(from.1..to.1)];
    }
    let steps = (to.0 + n - from.0 - 1) % n;
    let first = segments[from.0].subsegment(from.1..1.0);
    let middle = (1..=steps).map(|k| segments[(from.0 + k) % n]);
    let last = segments[to.0].subsegment(0.0..to.1);
    std::iter::once(first).chain(middle).chain([last]).filter(real).collect()
}

#[cfg(test)]
mod tests {
    use kurbo::{Circle, Rect, Shape as _};
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn an_edge_runs_from_corner_to_corner_either_way() {
        let outline = Path::new(Rect::new(0.0, 0.0, 100.0, 60.0).to_path(0.1));
        let (a, b) = (Placed::new(0.0, 0.0), Placed::new(100.0, 60.0));
        for back in [false, true] {
            let edge = Edge::along(&outline, a, b, back);
            assert!((edge.length() - 160.0).abs() < 1e-6, "{}", edge.length());
            assert_eq!(edge.ends(), [a, b]);
            let middle = edge.at(0.25);
            assert!(outline.raw().winding(middle.at.raw() + middle.inwards) != 0, "inwards is inside: {middle:?}");
        }
        let over = Edge::along(&outline, Placed::new(50.0, 60.0), Placed::new(50.0, 0.0), false);
        assert!((over.length() - 160.0).abs() < 1e-6, "over the end of the loop: {}", over.length());
    }

    /// Worked example of this project.
    #[test]
    fn marks_stand_at_the_same_parts_of_both_edges() {
        for (length, expected) in [(412.0, [74.2, 168.9, 300.8]), (415.2, [74.7, 170.2, 303.1])] {
            for (part, expected) in [0.18, 0.41, 0.73].into_iter().zip(expected) {
                let edge = Edge::new(&Path::new(kurbo::Line::new((0.0, 0.0), (length, 0.0)).to_path(0.1)), 1.0);
                assert!((edge.at(part).at.x - expected).abs() < 0.06, "{part} of {length}");
            }
        }
        assert_eq!(verdict(412.0, 415.2), Verdict::Stretch);
        assert_eq!((verdict(100.0, 101.0), verdict(100.0, 104.0)), (Verdict::Fits, Verdict::TooUnlike));
    }

    #[test]
    fn an_edge_of_an_arc_is_as_long_as_the_arc() {
        let outline = Path::new(Circle::new((0.0, 0.0), 50.0).to_path(1e-6));
        let edge = Edge::along(&outline, Placed::new(50.0, 0.0), Placed::new(0.0, 50.0), false);
        assert!((edge.length() - std::f64::consts::FRAC_PI_2 * 50.0).abs() < 1e-3, "{}", edge.length());
    }

    proptest! {
        #[test]
        fn an_edge_laid_the_wrong_way_around_is_seen(length in 20.0..2000.0f64) {
            let found = fractions(length);
            prop_assert!(!found.is_empty());
            for a in &found {
                prop_assert!(*a > 0.0 && *a < 1.0);
                for b in &found {
                    prop_assert!((a - (1.0 - b)).abs() > 0.05, "{a} {b} of {length}");
                }
            }
        }
    }
}
