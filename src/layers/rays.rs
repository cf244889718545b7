//! From an outline straight inwards to its middle line, and lines of one height between them.

use kurbo::{ParamCurve as _, ParamCurveArclen as _, PathSeg, Point as Raw, Vec2};

use crate::shape::{Region, direction};
use crate::space::{Path, Pattern, Point};

/// A place on an outline, and how far it is from there to the middle line.
#[derive(Clone, Copy, Debug)]
pub struct Ray {
    /// On the outline.
    pub at: Point<Pattern>,
    /// Square to it, of length 1.
    pub inwards: Vec2,
    /// To the middle line: the radius of the largest disc inside that touches the outline here, mm.
    pub reach: f64,
    /// Both sides run all but side by side here, as those of an arm or a long point do.
    pub along: bool,
    /// How broad the part is here: `reach`, and near a corner that of the body which the corner belongs to, mm.
    pub width: f64,
}

/// Rays are so far apart along an outline, mm.
const STEP: f64 = 0.75;
/// No more rays than this, on long outlines.
const MOST: f64 = 2400.0;
/// Around a hollow corner they are so far apart, in radians.
const FAN: f64 = 0.1;
/// A corner that is blunter than this, in degrees, belongs to its body; one that is sharper is a point with a ridge of its own.
const POINT: f64 = 60.0;
/// Sides that enclose less than this, in degrees, run all but side by side.
const ALONG: f64 = 40.0;

/// Rays all along each loop of `outline`, which runs clockwise on a screen around foam and the other way around openings.
pub fn rays(outline: &Path<Pattern>) -> Vec<Vec<Ray>> {
    let side = kurbo::Shape::area(outline.raw()).signum();
    let elements = outline.raw().elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
    let loops: Vec<Vec<PathSeg>> = elements
        .map(|part| kurbo::segments(part.iter().copied()).filter(|s| s.arclen(1e-3) > 1e-9).collect())
        .collect();
    let whole: f64 = loops.iter().flatten().map(|segment| segment.arclen(1e-2)).sum();
    let step = STEP.max(whole / MOST);
    let placed: Vec<Vec<(Raw, Vec2)>> = loops.iter().map(|l| places(l, step, side)).collect();
    let all: Vec<Raw> =
        placed.iter().flatten().map(|(at, _)| *at).chain(loops.iter().flatten().map(|s| s.start())).collect();
    placed.iter().map(|places| rays_of_loop(places, &all)).collect()
}

/// Between the two sides of a corner the middle line runs into the corner. Where the two places that a disc touches are seen from
/// its middle at less than a certain angle, that line is not followed (M. Foskey, M. C. Lin and D. Manocha, "Efficient computation
/// of a simplified medial axis", 2003): the part counts as broad there as it is on both sides of the corner.
fn rays_of_loop(places: &[(Raw, Vec2)], all: &[Raw]) -> Vec<Ray> {
    let discs: Vec<Disc> = places.iter().map(|(at, inwards)| disc(*at, *inwards, all)).collect();
    let blunter = |disc: &Disc, angle: f64| disc.chord < 2.0 * disc.radius * (0.5 * (180.0 - angle)).to_radians().sin();
    let cornered = |disc: &Disc| blunter(disc, POINT);
    let broadest = |a: &usize, b: &usize| {
        let key = |k: usize| (!cornered(&discs[k]), discs[k].radius);
        key(*a).partial_cmp(&key(*b)).expect("radii are numbers")
    };
    // From a place that is surely followed, all around and back to it.
    let Some(start) = (0..discs.len()).max_by(broadest) else { return Vec::new() };
    let around: Vec<usize> = (0..=discs.len()).map(|k| (start + k) % discs.len()).collect();
    let highest = |high: &mut f64, k: &usize| {
        let disc = &discs[*k];
        *high = if cornered(disc) { high.max(disc.radius) } else { disc.radius };
        Some((*k, *high))
    };
    let mut widths = vec![f64::INFINITY; discs.len()];
    for (k, high) in around.iter().scan(0.0, highest).chain(around.iter().rev().scan(0.0, highest)).collect::<Vec<_>>()
    {
        widths[k] = widths[k].min(high);
    }
    let ray = |((at, inwards), (disc, width)): (&(Raw, Vec2), (&Disc, f64))| Ray {
        at: (*at).into(),
        inwards: *inwards,
        reach: disc.radius,
        along: !blunter(disc, ALONG),
        width,
    };
    places.iter().zip(discs.iter().zip(widths)).map(ray).collect()
}

/// Places along a loop and what is inwards there; at a hollow corner, everything between its two sides.
fn places(segments: &[PathSeg], step: f64, side: f64) -> Vec<(Raw, Vec2)> {
    let mut places = Vec::new();
    for (k, segment) in segments.iter().enumerate() {
        let length = segment.arclen(1e-3);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded by the step")]
        let count = (length / step).ceil().max(1.0) as u32;
        for i in 0..count {
            let part = (f64::from(i) + 0.5) / f64::from(count);
            let t = if let PathSeg::Line(_) = segment { part } else { segment.inv_arclen(part * length, 1e-3) };
            places.push((segment.eval(t), direction(segment, t).turn_90() * side));
        }
        let next = &segments[(k + 1) % segments.len()];
        let (a, b) = (direction(segment, 1.0).turn_90() * side, direction(next, 0.0).turn_90() * side);
        let turn = a.cross(b).atan2(a.dot(b));
        // Inwards turns away from itself where the corner is hollow.
        if turn * side < -FAN / 2.0 {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most half a turn")]
            let count = (turn.abs() / FAN).ceil() as u32;
            for i in 0..=count {
                let (sin, cos) = (turn * f64::from(i) / f64::from(count)).sin_cos();
                places.push((segment.end(), Vec2::new(a.x * cos - a.y * sin, a.x * sin + a.y * cos)));
            }
        }
    }
    places
}

/// The largest disc inside that touches the outline at a place.
struct Disc {
    radius: f64,
    /// From that place to the nearest other one that it touches, mm.
    chord: f64,
}

/// The disc that touches the outline at `at` from inside and holds none of `all` inside itself.
fn disc(at: Raw, inwards: Vec2, all: &[Raw]) -> Disc {
    let touching = |other: &Raw| {
        let to = *other - at;
        let ahead = to.dot(inwards);
        // What lies on the tangent within rounding limits nothing.
        (ahead > 1e-9 * (1.0 + to.hypot())).then(|| Disc { radius: to.hypot2() / (2.0 * ahead), chord: to.hypot() })
    };
    let none = Disc { radius: f64::INFINITY, chord: f64::INFINITY };
    all.iter().filter_map(touching).fold(none, |least, one| if one.radius < least.radius { one } else { least })
}

/// Everything that is at least as far inside as `inset` of the width there; a ray where it is `None` has nothing.
pub fn level(rays: &[Vec<Ray>], inset: &dyn Fn(f64) -> Option<f64>) -> Region<Pattern> {
    let place = |ray: &Ray| {
        let far = inset(ray.width).filter(|far| *far <= ray.reach)?;
        Some(Point::from(ray.at.raw() + ray.inwards * far))
    };
    let loops: Vec<Vec<Point<Pattern>>> = rays.iter().map(|l| l.iter().filter_map(place).collect()).collect();
    Region::polygons(&loops.into_iter().filter(|l: &Vec<_>| l.len() > 2).collect::<Vec<_>>())
}

#[cfg(test)]
mod tests {
    use kurbo::{Circle, Rect, Shape as _};

    use super::*;

    #[test]
    fn rays_of_a_disc_meet_in_its_middle() {
        let path = Path::new(Circle::new((5.0, 6.0), 30.0).to_path(1e-6));
        for ray in rays(&path).concat() {
            assert!((ray.width - 30.0).abs() < 0.02, "{ray:?}");
            assert!((ray.at.raw() + ray.inwards * 30.0 - Raw::new(5.0, 6.0)).hypot() < 0.02, "{ray:?}");
        }
    }

    #[test]
    fn rays_of_a_bar_end_on_its_middle_line() {
        let path = Path::new(Rect::new(0.0, 0.0, 200.0, 40.0).to_path(0.1));
        for ray in rays(&path).concat() {
            let at = ray.at;
            // To the middle, or to the slanting lines that run into the corners.
            let from_end = if at.x.min(200.0 - at.x) < 1e-6 { at.y.min(40.0 - at.y) } else { at.x.min(200.0 - at.x) };
            assert!((ray.reach - from_end.min(20.0)).abs() < 0.5, "{ray:?}");
            assert!((ray.width - 20.0).abs() < 0.5, "a square end is as broad as the bar: {ray:?}");
        }
    }

    #[test]
    fn a_sharp_point_has_a_ridge_of_its_own_and_a_bump_has_none() {
        let path = Path::new(kurbo::BezPath::from_svg("M0 0H200L300 20L200 40H100L98 40.3L96 40H0Z").expect("a path"));
        for ray in rays(&path).concat() {
            let at = ray.at;
            // Half of the angle at the point is atan(20 / 100).
            let far = (at.x - 300.0).hypot(at.y - 20.0);
            let expected = if at.x > 210.0 { far * 0.2_f64.atan().tan() } else { 20.0 };
            if !(190.0..210.0).contains(&at.x) {
                assert!((ray.width - expected).abs() < 0.5, "{expected} {ray:?}");
            }
        }
    }

    #[test]
    fn a_level_of_a_knife_edge_is_what_is_far_enough_inside() {
        let path = Path::new(Rect::new(0.0, 0.0, 200.0, 40.0).to_path(0.1));
        let found = level(&rays(&path), &|width| Some(0.5 * width));
        for (y, inside) in [(9.7, false), (10.3, true), (29.7, true), (30.3, false)] {
            assert_eq!(found.contains(Point::new(100.0, y)), inside, "{y}");
        }
        let area = kurbo::Shape::area(path.raw());
        assert!(found.area() < 0.6 * area && found.area() > 0.4 * area);
    }

    #[test]
    fn around_an_opening_rays_run_outwards() {
        let mut ring = Circle::new((0.0, 0.0), 40.0).to_path(1e-6);
        ring.extend(Circle::new((0.0, 0.0), 20.0).to_path(1e-6).reverse_subpaths());
        let found = level(&rays(&Path::new(ring)), &|width| Some(0.5 * width));
        let area = std::f64::consts::PI * (35.0_f64.powi(2) - 25.0_f64.powi(2));
        assert!((found.area() - area).abs() < 0.01 * area, "{} {area}", found.area());
    }
}
