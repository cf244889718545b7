//! How large a shape is in each direction, and the turns that follow from that.

use kurbo::{Affine, Point, Rect, Size, Vec2};

/// Polylines that are turned may stray so far from their curves, mm, and a little more.
pub(super) const STRAY: f64 = 0.2;

/// The box of `loops`, turned.
pub(super) fn extent(loops: &[Vec<Point>], turn: Affine) -> Rect {
    let mut all = loops.iter().flatten().map(|&p| turn * p);
    let Some(first) = all.next() else { return Rect::ZERO };
    all.fold(Rect::from_points(first, first), |bounds, p| bounds.union_pt(p))
}

/// The corners of the smallest convex shape around `loops` (A. Andrew, Information Processing Letters 9, 1979): no turn needs more
/// to be known.
pub(super) fn hull(loops: &[Vec<Point>]) -> Vec<Point> {
    let mut all: Vec<Point> = loops.iter().flatten().copied().collect();
    all.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let half = |points: &mut dyn Iterator<Item = &Point>| {
        let mut hull: Vec<Point> = Vec::new();
        for &p in points {
            while let [.., a, b] = hull[..]
                && (b - a).cross(p - b) <= 0.0
            {
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
        hull
    };
    let mut hull_of_all = half(&mut all.iter());
    hull_of_all.extend(half(&mut all.iter().rev()));
    if hull_of_all.is_empty() {
        all.truncate(1)
    } else {
        all = hull_of_all
    }
    all
}

/// The turn in which the box of `loops` is smallest, one side of the convex shape around them along it (H. Freeman, R. Shapira,
/// Communications of the ACM 18, 1975), lying.
pub(super) fn straight(loops: &[Vec<Point>]) -> Affine {
    let hull = [hull(loops)];
    let sides =
        (0..hull[0].len()).map(|k| hull[0][(k + 1) % hull[0].len()] - hull[0][k]).filter(|side| side.hypot() > 0.0);
    let turns = sides.map(|side| {
        let turn = Affine::rotate(-Vec2::atan2(side));
        let size = extent(&hull, turn).size();
        (size.area(), if size.height > size.width { Affine::rotate(-std::f64::consts::FRAC_PI_2) * turn } else { turn })
    });
    turns.min_by(|a, b| a.0.total_cmp(&b.0)).map_or(Affine::IDENTITY, |(_, turn)| turn)
}

/// A turn in which `loops` go on a page of size `page` with [`STRAY`] to spare; `None` where there is none, to half a degree.
pub(super) fn fitting(loops: &[Vec<Point>], page: Size) -> Option<Affine> {
    let hull = [hull(loops)];
    let turns = (0..360).map(|k| Affine::rotate(f64::from(k).to_radians() / 2.0));
    let over = |turn: &Affine| {
        let size = extent(&hull, *turn).size();
        (size.width - page.width).max(size.height - page.height)
    };
    turns.min_by(|a, b| over(a).total_cmp(&over(b))).filter(|turn| over(turn) <= -STRAY)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(long: f64, turn: f64) -> Vec<Vec<Point>> {
        let corners = [(0.0, 0.0), (long, 0.0), (long, 20.0), (0.0, 20.0), (0.0, 0.0)];
        vec![corners.map(|corner| Affine::rotate(turn) * Point::from(corner)).to_vec()]
    }

    #[test]
    fn a_bar_drawn_aslant_lies_straight() {
        for turn in [0.0, 0.3, 1.2, 2.0, 3.0, -0.7] {
            let size = extent(&bar(200.0, turn), straight(&bar(200.0, turn))).size();
            assert!((size.width - 200.0).abs() < 1e-9 && (size.height - 20.0).abs() < 1e-9, "{turn}: {size:?}");
        }
    }

    #[test]
    fn a_bar_goes_on_a_page_from_corner_to_corner() {
        let page = Size::new(185.0, 265.0);
        let turn = fitting(&bar(300.0, 0.4), page).expect("323 mm from corner to corner");
        let size = extent(&bar(300.0, 0.4), turn).size();
        assert!(size.width <= page.width && size.height <= page.height);
        assert!(fitting(&bar(320.0, 0.4), page).is_none());
    }
}
