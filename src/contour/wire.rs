//! Two places on an edge → the way along the edge from one to the other.
//!
//! The cheapest way over the pixels between, where a pixel costs the less the stronger its edge is: E. Mortensen, W. Barrett,
//! Intelligent scissors for image composition, SIGGRAPH 1995; found by E. Dijkstra, A note on two problems in connexion with
//! graphs, 1959. Then every place moves across the way onto the ridge of the edge.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use kurbo::simplify::{SimplifyOptions, simplify_bezpath};
use kurbo::{BezPath, Point as Raw, Rect, Vec2};

use crate::picture::Picture;
use crate::space::{Path, Pixels, Point};

/// Most pixels that are looked at; beyond, several of the picture count as one. What keeps a way within the 50 ms of a pointer.
const MOST: f64 = 90_000.0;
/// A way may leave the box of its ends by this part of their distance, and by this many pixels at least.
const BESIDE: (f64, f64) = (0.35, 24.0);
/// What a pixel on the strongest edge costs, where one without an edge costs 1 more.
const LEAST_COST: f32 = 0.03;
/// Edges count as strong from this part of all places on.
const STRONG: f64 = 0.97;
/// A place moves across the way by so many pixels at most.
const MOST_MOVED: i32 = 2;
/// A place moves onto no edge weaker than this part of a strong one.
const LEAST_EDGE: f64 = 0.25;
/// Places that lie nearer than this to the line between their neighbours are left out, in pixels.
const FLAT: f64 = 0.2;
/// Directions that differ by more, in radians, make a corner.
const CORNER: f64 = 0.9;

/// From `from` to `to` along the edge that leads there, both ends included; a straight line where there is none.
pub fn along_edge(picture: &Picture, from: Point<Pixels>, to: Point<Pixels>) -> Vec<Point<Pixels>> {
    let whole = Rect::new(0.0, 0.0, f64::from(picture.width()), f64::from(picture.height()));
    let [a, b] = [from, to].map(|p| p.raw().clamped(whole));
    let beside = (BESIDE.0 * a.distance(b)).max(BESIDE.1);
    let window = Rect::from_points(a, b).inflate(beside, beside).intersect(whole).expand();
    let step = (window.area() / MOST).sqrt().ceil().max(1.0);
    let field = Field::of(picture, window, step);
    if field.width < 3 || field.height < 3 {
        return vec![from, to];
    }
    let ends = [a, b].map(|p| field.pixel(p));
    let way = field.cheapest(ends);
    let mut places: Vec<Raw> = vec![a];
    for (i, &pixel) in way.iter().enumerate().skip(1).take(way.len().saturating_sub(2)) {
        let along = field.middle(way[(i + 3).min(way.len() - 1)]) - field.middle(way[i.saturating_sub(3)]);
        places.push(field.place(field.on_ridge(pixel, along)));
    }
    places.push(b);
    let mut kept = flat_left_out(&evened(&places), FLAT * step);
    // The ends are where they were put, even beyond the picture.
    kept[0] = from.raw();
    *kept.last_mut().expect("two ends") = to.raw();
    kept.into_iter().map(Into::into).collect()
}

/// The place on the strongest edge that lies within `reach` pixels of `place`; that place itself where there is none.
pub fn onto_edge(picture: &Picture, place: Point<Pixels>, reach: f64) -> Point<Pixels> {
    let whole = Rect::new(0.0, 0.0, f64::from(picture.width()), f64::from(picture.height()));
    let room = reach + 6.0;
    let window = Rect::from_center_size(place.raw(), (2.0 * room, 2.0 * room)).intersect(whole).expand();
    let field = if window.area() > 0.0 { Field::of(picture, window, 1.0) } else { return place };
    if field.width < 3 || field.height < 3 {
        return place;
    }
    let worth = |pixel: usize| {
        let off = field.place(field.middle(pixel)).distance(place.raw());
        // Of edges alike the nearer one.
        if off > reach { 0.0 } else { f64::from(field.strength[pixel].min(1.0)) * (1.0 - 0.5 * off / reach) }
    };
    let Some(best) = (0..field.strength.len()).max_by(|a, b| worth(*a).total_cmp(&worth(*b))) else { return place };
    if worth(best) < LEAST_EDGE {
        return place;
    }
    let along = field.along(best);
    field.place(field.on_ridge(best, along)).into()
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

trait Clamped {
    fn clamped(self, within: Rect) -> Self;
}

impl Clamped for Raw {
    fn clamped(self, within: Rect) -> Self {
        Self::new(self.x.clamp(within.x0, within.x1), self.y.clamp(within.y0, within.y1))
    }
}

/// How strong the edge is at every place of a window; 1 on a strong one.
struct Field {
    window: Rect,
    step: f64,
    width: usize,
    height: usize,
    strength: Vec<f32>,
}

impl Field {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a window lies in the picture")]
    fn of(picture: &Picture, window: Rect, step: f64) -> Self {
        let (width, height) = ((window.width() / step) as usize, (window.height() / step) as usize);
        let skip = step as usize;
        let (left, top) = (window.x0 as usize, window.y0 as usize);
        let mut colours = vec![[0.0_f32; 3]; width * height];
        for y in 0..height {
            for x in 0..width {
                // A few of the pixels that count as one stand for all.
                let mut sum = [0.0; 3];
                let taken = skip.min(3);
                for (i, j) in (0..taken * taken).map(|k| (k % taken, k / taken)) {
                    let [column, row] =
                        [(left, x, i), (top, y, j)].map(|(start, at, k)| start + at * skip + k * skip / taken);
                    let colour =
                        picture.pixel((column as u32).min(picture.width() - 1), (row as u32).min(picture.height() - 1));
                    (0..3).for_each(|k| sum[k] += colour[k] as f32);
                }
                let count = (taken * taken) as f32;
                colours[y * width + x] = sum.map(|s| s / count);
            }
        }
        let mut strength = vec![0.0_f32; width * height];
        let at = |x: usize, y: usize| colours[y * width + x];
        for y in 1..height.saturating_sub(1) {
            for x in 1..width - 1 {
                // I. Sobel and G. Feldman's 3 × 3 operator, every colour by itself.
                let slope = |k: usize| {
                    let c = |dx: usize, dy: usize| at(x + dx - 1, y + dy - 1)[k];
                    let across = c(2, 0) + 2.0 * c(2, 1) + c(2, 2) - c(0, 0) - 2.0 * c(0, 1) - c(0, 2);
                    let down = c(0, 2) + 2.0 * c(1, 2) + c(2, 2) - c(0, 0) - 2.0 * c(1, 0) - c(2, 0);
                    across * across + down * down
                };
                strength[y * width + x] = (slope(0) + slope(1) + slope(2)).sqrt();
            }
        }
        let mut sorted = strength.clone();
        let strong = ((sorted.len() as f64 * STRONG) as usize).min(sorted.len().saturating_sub(1));
        let most = if sorted.is_empty() { 0.0 } else { *sorted.select_nth_unstable_by(strong, f32::total_cmp).1 };
        // On even ground noise is no edge.
        let most = most.max(0.04);
        strength.iter_mut().for_each(|s| *s /= most);
        Self { window, step, width, height, strength }
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the window")]
    fn pixel(&self, place: Raw) -> usize {
        let at = (place - self.window.origin()) / self.step;
        let [x, y] = [(at.x, self.width), (at.y, self.height)].map(|(at, most)| (at.max(0.0) as usize).min(most - 1));
        y * self.width + x
    }

    fn middle(&self, pixel: usize) -> Raw {
        Raw::new((pixel % self.width) as f64 + 0.5, (pixel / self.width) as f64 + 0.5)
    }

    fn place(&self, at: Raw) -> Raw {
        self.window.origin() + at.to_vec2() * self.step
    }

    /// Pixels from the first to the second, both included.
    fn cheapest(&self, [from, to]: [usize; 2]) -> Vec<usize> {
        const AROUND: [(isize, isize); 8] = [(1, 0), (0, 1), (-1, 0), (0, -1), (1, 1), (-1, 1), (-1, -1), (1, -1)];
        let mut least = vec![f32::INFINITY; self.strength.len()];
        let mut before = vec![usize::MAX; self.strength.len()];
        let mut next = BinaryHeap::new();
        least[to] = 0.0;
        next.push((Reverse(Ordered(0.0)), to));
        while let Some((Reverse(Ordered(cost)), pixel)) = next.pop() {
            if pixel == from {
                break;
            }
            if cost > least[pixel] {
                continue;
            }
            let (x, y) = (pixel % self.width, pixel / self.width);
            for (dx, dy) in AROUND {
                let (Some(x), Some(y)) = (x.checked_add_signed(dx), y.checked_add_signed(dy)) else { continue };
                if x >= self.width || y >= self.height {
                    continue;
                }
                let other = y * self.width + x;
                let long = if dx != 0 && dy != 0 { std::f32::consts::SQRT_2 } else { 1.0 };
                let weak = 1.0 - self.strength[other].min(1.0);
                let cost = cost + long * (LEAST_COST + weak * weak);
                if cost < least[other] {
                    (least[other], before[other]) = (cost, pixel);
                    next.push((Reverse(Ordered(cost)), other));
                }
            }
        }
        let mut way = vec![from];
        while let Some(&last) = way.last().filter(|last| **last != to) {
            way.push(before[last]);
        }
        way
    }

    /// The direction in which the strength of the edge changes least.
    fn along(&self, pixel: usize) -> Vec2 {
        let middle = self.middle(pixel);
        let ways = (0..12).map(|i| Vec2::from_angle(std::f64::consts::PI * f64::from(i) / 12.0));
        let kept = |way: &Vec2| [-2.0, -1.0, 1.0, 2.0].map(|far| self.between(middle + *way * far)).iter().sum::<f64>();
        ways.max_by(|a, b| kept(a).total_cmp(&kept(b))).unwrap_or(Vec2::new(1.0, 0.0))
    }

    /// The place on the ridge of the edge, across a way that leads `along`.
    fn on_ridge(&self, pixel: usize, along: Vec2) -> Raw {
        let middle = self.middle(pixel);
        if along.hypot() < 1e-9 {
            return middle;
        }
        let across = Vec2::new(-along.y, along.x).normalize();
        let strength = |offset: i32| self.between(middle + across * f64::from(offset));
        let best = (-MOST_MOVED..=MOST_MOVED).max_by(|a, b| strength(*a).total_cmp(&strength(*b))).unwrap_or(0);
        let [left, here, right] = [best - 1, best, best + 1].map(strength);
        // The top of the parabola through three strengths.
        let bend = left - 2.0 * here + right;
        let more = if bend < -1e-6 { (0.5 * (left - right) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        middle + across * (f64::from(best) + more)
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the window")]
    fn between(&self, at: Raw) -> f64 {
        let (x, y) = (at.x - 0.5, at.y - 0.5);
        let inside = |v: f64, most: usize| (v.floor().max(0.0) as usize).min(most.saturating_sub(2));
        let (i, j) = (inside(x, self.width), inside(y, self.height));
        let (u, v) = ((x - i as f64).clamp(0.0, 1.0), (y - j as f64).clamp(0.0, 1.0));
        let s = |i: usize, j: usize| f64::from(self.strength[j * self.width + i]);
        (s(i, j) * (1.0 - u) + s(i + 1, j) * u) * (1.0 - v) + (s(i, j + 1) * (1.0 - u) + s(i + 1, j + 1) * u) * v
    }
}

/// A finite cost.
struct Ordered(f32);

impl PartialEq for Ordered {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Ordered {}

impl PartialOrd for Ordered {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ordered {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
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
        let way = along_edge(&picture, ends[0], ends[1]);
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
            let onto = onto_edge(&picture, near.into(), 8.0);
            assert!((onto.distance(Point::new(90.0, 80.0)) - 60.0).abs() < 0.6, "{degrees}: {onto:?}");
        }
        let far = Point::new(90.0, 80.0);
        assert_eq!(onto_edge(&picture, far, 8.0), far);
    }

    #[test]
    fn four_ways_close_to_a_loop_as_round_as_the_disc() {
        let picture = disc();
        let clicks = [(90.0, 20.0), (150.0, 80.0), (90.0, 140.0), (30.0, 80.0)].map(|(x, y)| Point::new(x, y));
        let mut all = Vec::new();
        for (i, &from) in clicks.iter().enumerate() {
            let mut way = along_edge(&picture, from, clicks[(i + 1) % 4]);
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
            let way = along_edge(&even, ends[0], ends[1]);
            assert_eq!([way[0], way[way.len() - 1]], ends);
        }
        let dot = Picture::from_upright(DynamicImage::ImageRgb8(RgbImage::from_pixel(1, 1, Rgb([9, 9, 9]))));
        assert_eq!(along_edge(&dot, Point::new(0.5, 0.5), Point::new(0.7, 0.5)).len(), 2);
    }
}
