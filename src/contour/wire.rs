//! The way over pixels along an edge → the edge itself between the pixels, and smooth outlines along it.

use kurbo::simplify::{SimplifyOptions, simplify_bezpath};
use kurbo::{BezPath, Point as Raw, Vec2};

use super::follow::Follower;
use crate::space::{Path, Pixels, Point};

/// A place moves across the way by so many pixels at most.
const MOST_MOVED: i32 = 2;
/// A place moves onto no edge weaker than this part of the strongest one around, nor weaker than this, as [`Follower::edge`] has it.
const LEAST_EDGE: (f64, f64) = (0.25, 24.0);
/// Places that lie nearer than this to the line between their neighbours are left out, in pixels.
const FLAT: f64 = 0.2;
/// Directions that differ by more, in radians, make a corner.
const CORNER: f64 = 0.9;

impl Follower {
    /// From `from` to `to` along the edge that leads there, both ends included, between the pixels; as few places as tell it. A
    /// straight line where there is no edge.
    pub fn along(&self, from: Point<Pixels>, to: Point<Pixels>) -> Vec<Point<Pixels>> {
        let way: Vec<Raw> = self.follow(from, to).into_iter().map(Point::raw).collect();
        let mut places: Vec<Raw> = vec![from.raw()];
        for (i, &at) in way.iter().enumerate().skip(1).take(way.len().saturating_sub(2)) {
            places.push(self.on_ridge(at, way[(i + 3).min(way.len() - 1)] - way[i.saturating_sub(3)]));
        }
        places.push(to.raw());
        let mut kept = flat_left_out(&evened(&places), FLAT);
        // The ends are where they were put, even beyond the picture.
        kept[0] = from.raw();
        *kept.last_mut().expect("two ends") = to.raw();
        kept.into_iter().map(Into::into).collect()
    }

    /// The place on the strongest edge that lies within `reach` pixels of `place`; that place itself where there is none.
    pub fn onto_edge(&self, place: Point<Pixels>, reach: f64) -> Point<Pixels> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few pixels")]
        let around = |far: f64| -> Vec<Raw> {
            let steps = far.ceil();
            let offsets = (0..=(2.0 * steps) as u32).map(|i| f64::from(i) - steps);
            let all = offsets.clone().flat_map(|y| offsets.clone().map(move |x| Vec2::new(x, y)));
            all.filter(|off| off.hypot() <= far).map(|off| place.raw().floor() + off + Vec2::new(0.5, 0.5)).collect()
        };
        let strongest = around(reach + 6.0).into_iter().map(|at| self.edge(at)).fold(0.0, f64::max);
        // Of edges alike the nearer one.
        let worth = |at: &Raw| self.edge(*at) * (1.0 - 0.5 * at.distance(place.raw()) / reach).max(0.0);
        let Some(best) = around(reach).into_iter().max_by(|a, b| worth(a).total_cmp(&worth(b))) else { return place };
        if self.edge(best) < LEAST_EDGE.1.max(LEAST_EDGE.0 * strongest) {
            return place;
        }
        let ways = (0..12).map(|i| Vec2::from_angle(std::f64::consts::PI * f64::from(i) / 12.0));
        // Along an edge its strength changes least.
        let kept = |way: &Vec2| [-2.0, -1.0, 1.0, 2.0].map(|far| self.edge(best + *way * far)).iter().sum::<f64>();
        let along = ways.max_by(|a, b| kept(a).total_cmp(&kept(b))).unwrap_or(Vec2::new(1.0, 0.0));
        self.on_ridge(best, along).into()
    }

    /// The place on the ridge of the edge, across a way that leads `along`.
    fn on_ridge(&self, at: Raw, along: Vec2) -> Raw {
        if along.hypot() < 1e-9 {
            return at;
        }
        let across = Vec2::new(-along.y, along.x).normalize();
        let strength = |offset: i32| self.edge(at + across * f64::from(offset));
        let best = (-MOST_MOVED..=MOST_MOVED).max_by(|a, b| strength(*a).total_cmp(&strength(*b))).unwrap_or(0);
        let [left, here, right] = [best - 1, best, best + 1].map(strength);
        // The top of the parabola through three strengths.
        let bend = left - 2.0 * here + right;
        let more = if bend < -1e-6 { (0.5 * (left - right) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        at + across * (f64::from(best) + more)
    }
}

/// A closed curve through `places`, within `tolerance` pixels, with corners where they turn sharply.
pub fn loop_through(places: &[Point<Pixels>], tolerance: f64) -> Path<Pixels> {
    let mut knots: Vec<Raw> = places.iter().map(|place| place.raw()).collect();
    knots.dedup_by(|a, b| a.distance(*b) < 1e-6);
    let count = knots.len();
    let mut path = BezPath::new();
    if count < 3 {
        return Path::new(path);
    }
    let at = |i: usize| knots[i % count];
    // Smooth between corners (E. Catmull, R. Rom, A class of local interpolating splines, 1974), and then fewer cubics for it.
    let handle = |i: usize, towards: usize| {
        let (before, behind) = (at(i) - at(i + count - 1), at(i + 1) - at(i));
        let own = at(towards) - at(i);
        let corner = before.cross(behind).atan2(before.dot(behind)).abs() > CORNER;
        let along = if corner { own } else { (before + behind) * own.dot(before + behind).signum() };
        at(i) + along.normalize() * own.hypot() / 3.0
    };
    path.move_to(at(0));
    for i in 0..count {
        path.curve_to(handle(i, i + 1), handle(i + 1 + count, i + count), at(i + 1));
    }
    path.close_path();
    Path::new(simplify_bezpath(path, tolerance, &SimplifyOptions::default().angle_thresh(0.1)))
}

/// Every place as the mean of itself, twice, and those beside it, twice over: steps from pixel to pixel are no shape.
fn evened(places: &[Raw]) -> Vec<Raw> {
    let once = |places: &[Raw]| -> Vec<Raw> {
        let mut out = places.to_vec();
        for (i, three) in places.windows(3).enumerate() {
            let sum = three[0].to_vec2() + 2.0 * three[1].to_vec2() + three[2].to_vec2();
            out[i + 1] = (sum / 4.0).to_point();
        }
        out
    };
    once(&once(places))
}

/// `places` without those that lie within `flat` of the line between the kept ones beside them: U. Ramer, An iterative procedure
/// for the polygonal approximation of plane curves, 1972.
fn flat_left_out(places: &[Raw], flat: f64) -> Vec<Raw> {
    let [first, .., last] = places else { return places.to_vec() };
    let line = kurbo::Line::new(*first, *last);
    let off = |p: &Raw| kurbo::ParamCurveNearest::nearest(&line, *p, 1e-6).distance_sq;
    let inner = 1..places.len() - 1;
    match inner.max_by(|i, j| off(&places[*i]).total_cmp(&off(&places[*j]))) {
        Some(far) if off(&places[far]) > flat * flat => {
            let mut kept = flat_left_out(&places[..=far], flat);
            kept.pop();
            kept.extend(flat_left_out(&places[far..], flat));
            kept
        }
        _ => vec![*first, *last],
    }
}

#[cfg(test)]
mod tests {
    use image::{DynamicImage, Rgb, RgbImage};
    use kurbo::ParamCurveNearest as _;

    use super::*;
    use crate::picture::Picture;

    /// A disc of radius 60 about (90, 80), its rim blended.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "colours of a test")]
    fn disc() -> Picture {
        let covered = |x: u32, y: u32| {
            let off = Raw::new(f64::from(x) + 0.5, f64::from(y) + 0.5).distance(Raw::new(90.0, 80.0));
            (60.5 - off).clamp(0.0, 1.0)
        };
        let mix = |ground: f64, shape: f64, c: f64| (ground + (shape - ground) * c).round() as u8;
        Picture::from_upright(DynamicImage::ImageRgb8(RgbImage::from_fn(180, 160, |x, y| {
            let c = covered(x, y);
            Rgb([mix(230.0, 40.0, c), mix(225.0, 90.0, c), mix(210.0, 70.0, c)])
        })))
    }

    #[test]
    fn the_way_keeps_to_the_edge_of_a_disc() {
        let picture = disc();
        let ends = [Point::new(90.0, 20.0), Point::new(150.0, 80.0)];
        let way = Follower::new(&picture).along(ends[0], ends[1]);
        assert!(way.len() > 5, "{way:?}");
        assert_eq!([way[0], way[way.len() - 1]], ends);
        let worst = way.iter().map(|p| (p.distance(Point::new(90.0, 80.0)) - 60.0).abs()).fold(0.0, f64::max);
        assert!(worst < 0.5, "{worst}");
    }

    #[test]
    fn a_place_near_the_edge_moves_onto_it_and_one_far_from_any_stays() {
        let picture = disc();
        for degrees in (0..360).step_by(20) {
            let near = Raw::new(90.0, 80.0) + 56.0 * Vec2::from_angle(f64::from(degrees).to_radians());
            let onto = Follower::new(&picture).onto_edge(near.into(), 8.0);
            assert!((onto.distance(Point::new(90.0, 80.0)) - 60.0).abs() < 0.6, "{degrees}: {onto:?}");
        }
        let far = Point::new(90.0, 80.0);
        assert_eq!(Follower::new(&picture).onto_edge(far, 8.0), far);
    }

    #[test]
    fn four_ways_close_to_a_loop_as_round_as_the_disc() {
        let picture = disc();
        let clicks = [(90.0, 20.0), (150.0, 80.0), (90.0, 140.0), (30.0, 80.0)].map(|(x, y)| Point::new(x, y));
        let mut all = Vec::new();
        for (i, &from) in clicks.iter().enumerate() {
            let mut way = Follower::new(&picture).along(from, clicks[(i + 1) % 4]);
            way.pop();
            all.extend(way);
        }
        let path = loop_through(&all, 0.4);
        assert!(path.raw().elements().len() < 24, "{}", path.raw().elements().len());
        for degrees in 0..360 {
            let on = Raw::new(90.0, 80.0) + 60.0 * Vec2::from_angle(f64::from(degrees).to_radians());
            let off = path.raw().segments().map(|s| s.nearest(on, 1e-3).distance_sq).fold(f64::INFINITY, f64::min);
            assert!(off.sqrt() < 1.0, "{degrees}: {}", off.sqrt());
        }
    }

    #[test]
    fn without_an_edge_the_way_is_straight_and_no_end_is_a_crash() {
        let even = Picture::from_upright(DynamicImage::ImageRgb8(RgbImage::from_pixel(40, 30, Rgb([90, 90, 90]))));
        for (from, to) in [((3.0, 4.0), (30.0, 20.0)), ((-5.0, 4.0), (60.0, 90.0)), ((7.0, 7.0), (7.0, 7.0))] {
            let ends = [Point::new(from.0, from.1), Point::new(to.0, to.1)];
            let way = Follower::new(&even).along(ends[0], ends[1]);
            assert_eq!([way[0], way[way.len() - 1]], ends);
        }
        let dot = Picture::from_upright(DynamicImage::ImageRgb8(RgbImage::from_pixel(1, 1, Rgb([9, 9, 9]))));
        assert_eq!(Follower::new(&dot).along(Point::new(0.5, 0.5), Point::new(0.7, 0.5)).len(), 2);
    }
}
