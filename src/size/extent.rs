//! How far a set of points reaches.

use crate::space::{Map, Point, Space};

/// The corners of the convex hull, clockwise as seen with y down, no three on a line.
///
/// A. Andrew, Another efficient algorithm for convex hulls in two dimensions, Information Processing Letters 9 (1979).
pub(super) fn hull<S: Space>(points: &[Point<S>]) -> Vec<Point<S>> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|p, q| p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y)));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let mut hull = half(sorted.iter());
    let mut other = half(sorted.iter().rev());
    hull.pop();
    other.pop();
    hull.append(&mut other);
    hull
}

/// Those of `points` that are the corners of the convex hull once they have gone through `map`.
pub(super) fn hull_through<A: Space, B: Space>(points: &[Point<A>], map: &Map<A, B>) -> Vec<Point<A>> {
    let mapped: Vec<Point<B>> = points.iter().map(|p| map.point(*p)).collect();
    let corners = hull(&mapped);
    let place = |corner: &Point<B>| mapped.iter().position(|p| p == corner);
    corners.iter().filter_map(place).map(|i| points[i]).collect()
}

/// The half hull that turns clockwise from the first to the last of `points`.
fn half<'a, S: Space>(points: impl Iterator<Item = &'a Point<S>>) -> Vec<Point<S>> {
    let mut half: Vec<Point<S>> = Vec::new();
    for &p in points {
        while let [.., a, b] = half[..]
            && cross(a, b, b, p) <= 0.0
        {
            half.pop();
        }
        half.push(p);
    }
    half
}

/// The two corners of a convex `hull` that lie farthest apart (its Feret diameter); `None` for no points.
///
/// Rotating calipers over all antipodal pairs: M. Shamos, Computational Geometry, doctoral thesis, Yale, 1978.
pub(super) fn farthest<S: Space>(hull: &[Point<S>]) -> Option<[Point<S>; 2]> {
    let first = *hull.first()?;
    let at = |i: usize| hull[i % hull.len()];
    let mut best = [first, first];
    let mut consider = |a: Point<S>, b: Point<S>| {
        if a.distance(b) > best[0].distance(best[1]) {
            best = [a, b];
        }
    };
    let mut opposite = 1;
    for i in 0..hull.len() {
        consider(at(i), at(opposite));
        while cross(at(i), at(i + 1), at(opposite), at(opposite + 1)) > 0.0 {
            opposite += 1;
            consider(at(i), at(opposite));
        }
        consider(at(i + 1), at(opposite));
    }
    Some(best)
}

/// How far a convex `hull` reaches the narrowest way (its least Feret diameter, ISO 9276-6); 0 for no points.
///
/// That way is square to one of the hull's sides: H. Freeman and R. Shapira, Determining the minimum-area encasing
/// rectangle for an arbitrary closed curve, Communications of the ACM 18 (1975).
pub(super) fn least_breadth<S: Space>(hull: &[Point<S>]) -> f64 {
    let at = |i: usize| hull[i % hull.len()];
    let mut opposite = 1;
    let across = |i: usize| {
        let (a, b) = (at(i), at(i + 1));
        while cross(a, b, at(opposite), at(opposite + 1)) > 0.0 {
            opposite += 1;
        }
        cross(a, b, a, at(opposite)) / a.distance(b)
    };
    if hull.len() < 3 { 0.0 } else { (0..hull.len()).map(across).fold(f64::INFINITY, f64::min) }
}

/// How far `points` reach square to the direction from `a` to `b`; 0 for no points.
pub(super) fn breadth<S: Space>(points: &[Point<S>], [a, b]: [Point<S>; 2]) -> f64 {
    let along = (b.raw() - a.raw()).normalize();
    let across = points.iter().map(|p| along.cross(p.raw() - a.raw()));
    let (low, high) = across.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| (low.min(d), high.max(d)));
    if points.is_empty() { 0.0 } else { high - low }
}

fn cross<S: Space>(a: Point<S>, b: Point<S>, c: Point<S>, d: Point<S>) -> f64 {
    (b.raw() - a.raw()).cross(d.raw() - c.raw())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Pattern;
    use kurbo::Vec2;
    use proptest::prelude::*;

    fn points(raw: &[(f64, f64)]) -> Vec<Point<Pattern>> {
        raw.iter().map(|&(x, y)| Point::new(x, y)).collect()
    }

    proptest! {
        #[test]
        fn the_narrowest_way_is_that_of_the_best_of_many_directions(
            raw in prop::collection::vec((-500.0..500.0f64, -90.0..90.0f64), 3..60),
        ) {
            let hull = hull(&points(&raw));
            let found = least_breadth(&hull);
            let turned = |i: i32| breadth(&hull, [Point::new(0.0, 0.0), Point::from(Vec2::from_angle(f64::from(i) * 1e-3).to_point())]);
            let tried = (0..3142).map(turned).fold(f64::INFINITY, f64::min);
            prop_assert!(found <= tried + 1e-9 && tried <= found + 1.1, "{found} {tried}");
        }

        #[test]
        fn the_farthest_corners_are_those_that_trying_all_pairs_finds(
            raw in prop::collection::vec((-500.0..500.0f64, -90.0..90.0f64), 1..60), coarse in any::<bool>(),
        ) {
            // Coarse coordinates make parallel edges, points on a line and points that coincide.
            let raw: Vec<_> = if coarse {
                raw.iter().map(|(x, y)| ((x / 100.0).round(), (y / 30.0).round())).collect()
            } else { raw };
            let all = points(&raw);
            let truth = all.iter().flat_map(|p| all.iter().map(|q| p.distance(*q))).fold(0.0, f64::max);
            let [a, b] = farthest(&hull(&all)).expect("at least one point");
            prop_assert!((a.distance(b) - truth).abs() < 1e-9);
        }

        #[test]
        fn the_hull_holds_every_point_and_turns_clockwise(
            raw in prop::collection::vec((-50.0..50.0f64, -50.0..50.0f64), 3..40),
        ) {
            let (all, hull) = (points(&raw), hull(&points(&raw)));
            for i in 0..hull.len() {
                let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
                prop_assert!(all.iter().all(|p| cross(a, b, a, *p) >= -1e-9));
            }
        }
    }

    #[test]
    fn the_narrowest_way_across_a_rectangle_is_its_short_side() {
        // A lath 3000 by 60, turned by atan(3/4).
        let turned = |x: f64, y: f64| (0.8 * x - 0.6 * y, 0.6 * x + 0.8 * y);
        let lath = points(&[turned(0.0, 0.0), turned(3000.0, 0.0), turned(3000.0, 60.0), turned(0.0, 60.0)]);
        assert!((least_breadth(&hull(&lath)) - 60.0).abs() < 1e-9);
        assert_eq!(least_breadth::<Pattern>(&[]), 0.0);
        assert_eq!(least_breadth(&points(&[(0.0, 0.0), (5.0, 0.0)])), 0.0);
    }

    #[test]
    fn breadth_is_measured_square_to_the_length() {
        // A 40 × 30 rectangle from corner to corner: twice its area over its diagonal.
        let rectangle = points(&[(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0)]);
        let ends = [Point::new(0.0, 0.0), Point::new(40.0, 30.0)];
        assert!((breadth(&rectangle, ends) - 2.0 * 40.0 * 30.0 / 50.0).abs() < 1e-12);
        assert_eq!(breadth(&[], ends), 0.0);
    }
}
