//! The channel that a pipe lies in.

use kurbo::Vec2;

use crate::shape::Region;
use crate::space::{Pattern, Point};

/// Foam to be glued beside a pipe, on each side, mm (common practice, no source).
const GLUED: f64 = 8.0;

/// Where a part is too narrow beside its pipe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Narrow {
    /// On the run of the pipe.
    pub at: Point<Pattern>,
    /// What there is on the narrower side of the pipe, mm; below what is needed.
    pub beside: f64,
}

/// The slot or groove along a run; it ends where the run does.
pub fn channel(run: [Point<Pattern>; 2], breadth: f64) -> Region<Pattern> {
    Region::band(&run, breadth)
}

/// Where, along the run inside of `body`, less than 8 mm of foam is left beside a channel of this breadth: the narrowest place.
pub fn clearance(body: &Region<Pattern>, run: [Point<Pattern>; 2], breadth: f64) -> Option<Narrow> {
    const STEP: f64 = 2.0;
    const FINE: f64 = 0.25;
    let (from, to) = (run[0].raw(), run[1].raw());
    let along = (to - from).normalize();
    let across = Vec2::new(-along.y, along.x);
    let places = steps(from.distance(to), STEP).map(|far| from + along * far);
    let beside = |at: kurbo::Point| {
        let free = |side: f64| {
            let far = steps(breadth / 2.0 + GLUED, FINE);
            far.take_while(|far| body.contains((at + across * (side * far)).into())).last().unwrap_or(0.0)
        };
        free(1.0).min(free(-1.0)) - breadth / 2.0
    };
    let inside = places.filter(|at| body.contains((*at).into()));
    let narrow = inside.map(|at| Narrow { at: at.into(), beside: beside(at) });
    narrow.filter(|narrow| narrow.beside < GLUED - FINE).min_by(|a, b| a.beside.total_cmp(&b.beside))
}

/// How far inside of `body` each end of a run lies, along the run, mm; `None` for an end outside of it.
pub fn reaches(body: &Region<Pattern>, run: [Point<Pattern>; 2]) -> [Option<f64>; 2] {
    const STEP: f64 = 0.5;
    const FAR: f64 = 60.0;
    let along = (run[1].raw() - run[0].raw()).normalize();
    let one = |end: Point<Pattern>, out: Vec2| {
        let inside = |far: &f64| body.contains((end.raw() + out * *far).into());
        inside(&0.0).then(|| steps(FAR, STEP).take_while(inside).last().unwrap_or(0.0))
    };
    [one(run[0], -along), one(run[1], along)]
}

/// 0, `step`, 2 `step` … and `most`.
fn steps(most: f64, step: f64) -> impl Iterator<Item = f64> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a positive count")]
    let count = (most / step).ceil().max(1.0) as u32;
    (0..=count).map(move |k| most * f64::from(k) / f64::from(count))
}

#[cfg(test)]
mod tests {
    use kurbo::{Rect, Shape as _};

    use super::*;
    use crate::space::Path;

    fn body(rect: Rect) -> Region<Pattern> {
        Region::of(&Path::new(rect.to_path(0.1)))
    }

    #[test]
    fn a_channel_is_as_broad_as_its_pipe_and_ends_with_it() {
        let run = [Point::new(10.0, 50.0), Point::new(110.0, 50.0)];
        let found = channel(run, 26.67);
        assert!((found.area() - 2667.0).abs() < 0.01, "{}", found.area());
    }

    #[test]
    fn a_body_too_narrow_for_glue_beside_the_pipe_is_told() {
        let run = [Point::new(-10.0, 20.0), Point::new(60.0, 20.0)];
        assert_eq!(clearance(&body(Rect::new(0.0, 0.0, 100.0, 43.0)), run, 26.0).map(|n| n.beside.round()), Some(7.0));
        assert_eq!(clearance(&body(Rect::new(0.0, -2.0, 100.0, 43.0)), run, 26.0), None);
    }

    #[test]
    fn how_far_a_pipe_stops_before_the_edge_is_known() {
        let run = [Point::new(-10.0, 20.0), Point::new(85.0, 20.0)];
        let [out, inside] = reaches(&body(Rect::new(0.0, 0.0, 100.0, 40.0)), run);
        assert!(out.is_none() && inside.is_some_and(|far| (far - 15.0).abs() < 0.6), "{inside:?}");
    }
}
