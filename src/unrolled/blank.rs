//! The outlines of blanks, each with its seams upright or at its sides.

use kurbo::{Arc, BezPath, Point, Rect, Shape as _, Vec2};

use super::round::{Cone, half_gore, sleeve_end};
use crate::shape::Region;
use crate::space::{Path, Pattern, Point as Placed};

/// Curves keep so near to the truth, mm.
const FINE: f64 = 0.005;
/// An arc that rises less than this over its chord is cut straight, mm.
const STRAIGHT: f64 = 0.2;

/// A blank, and where its seam edges are.
#[derive(Clone, Debug)]
pub struct Blank {
    /// Closed, around its own origin.
    pub outline: Path<Pattern>,
    /// The two edges that meet when it is closed, each from its upper or outer end to the other.
    pub seams: [[Placed<Pattern>; 2]; 2],
}

fn blank(outline: BezPath, seams: [[Point; 2]; 2]) -> Blank {
    Blank { outline: Path::new(outline), seams: seams.map(|seam| seam.map(Placed::from)) }
}

/// Foam for a straight sleeve: `around` broad, `long` high. With a slant the upper end is cut so that it meets a plane tilted
/// by so many degrees from square; `diameter` is that of the layer that keeps its length.
pub fn sleeve(around: f64, long: f64, slant: f64, diameter: f64) -> Blank {
    let half = around / 2.0;
    let seams = [-half, half].map(|x| [Point::new(x, 0.0), Point::new(x, long)]);
    if slant == 0.0 {
        return blank(Rect::new(-half, 0.0, half, long).to_path(FINE), seams);
    }
    // The seam is at the longest place.
    const PARTS: u32 = 240;
    let end = |k: u32| {
        let along = around * f64::from(k) / f64::from(PARTS);
        // One that is too steep is told elsewhere; it ends at the other end.
        [-half + along, sleeve_end(diameter, slant, along).min(0.98 * long)]
    };
    let mut corners: Vec<Placed<Pattern>> = (0..=PARTS).map(|k| end(k).into()).collect();
    corners.extend([Placed::new(half, long), Placed::new(-half, long)]);
    Blank { outline: Region::polygons(&[corners]).path(), seams: seams.map(|seam| seam.map(Placed::from)) }
}

/// Foam for a cut-off cone, or one of `parts` of it side by side: part of a ring, its larger arc below.
pub fn cone(cone: &Cone, around: [f64; 2], parts: u32) -> Blank {
    let angle = (cone.angle / f64::from(parts)).to_radians();
    let [outer, inner] = cone.radii;
    let rise = outer * (1.0 - (angle / 2.0).cos());
    // A cylinder has radii without limit, and so no rise that is a number.
    if rise.is_nan() || rise < STRAIGHT {
        // So nearly a cylinder that its arcs are straight.
        let [large, small] = around.map(|around| around / f64::from(parts) / 2.0);
        let seams = [-1.0, 1.0].map(|side| [Point::new(side * small, 0.0), Point::new(side * large, cone.slant)]);
        let mut outline = BezPath::new();
        outline.move_to(seams[0][0]);
        [seams[1][0], seams[1][1], seams[0][1]].into_iter().for_each(|p| outline.line_to(p));
        outline.close_path();
        return blank(outline, seams);
    }
    let centre = Point::new(0.0, -inner);
    let start = std::f64::consts::FRAC_PI_2 - angle / 2.0;
    let at = |radius: f64, turn: f64| centre + Vec2::from_angle(turn) * radius;
    let mut outline = BezPath::new();
    let seams = [start + angle, start].map(|turn| [at(inner, turn), at(outer, turn)]);
    outline.move_to(at(outer, start));
    arc(&mut outline, centre, outer, start, angle);
    outline.line_to(at(inner, start + angle));
    if inner > FINE {
        arc(&mut outline, centre, inner, start + angle, -angle);
    }
    outline.close_path();
    blank(outline, seams)
}

fn arc(path: &mut BezPath, centre: Point, radius: f64, start: f64, sweep: f64) {
    let arc = Arc::new(centre, (radius, radius), start, sweep, 0.0);
    path.extend(arc.append_iter(1e-6));
}

/// One side of a tube of flat sides, its outer face: `broad` below, `narrow` above, `high` along the middle.
pub fn panel(broad: f64, narrow: f64, high: f64) -> Blank {
    let seams = [-1.0, 1.0].map(|side| [Point::new(side * narrow / 2.0, 0.0), Point::new(side * broad / 2.0, high)]);
    let mut outline = BezPath::new();
    outline.move_to(seams[0][0]);
    [seams[1][0], seams[1][1], seams[0][1]].into_iter().for_each(|p| outline.line_to(p));
    outline.close_path();
    blank(outline, seams)
}

/// One of `gores` that make a ball of this radius, from pole to pole.
pub fn gore(radius: f64, gores: u32) -> Blank {
    const PARTS: u32 = 120;
    let half = std::f64::consts::FRAC_PI_2 * radius;
    let y = |k: u32| -half + 2.0 * half * f64::from(k) / f64::from(PARTS);
    let right = (0..=PARTS).map(|k| Placed::new(half_gore(radius, gores, y(k)), y(k)));
    let left = (1..PARTS).rev().map(|k| Placed::new(-half_gore(radius, gores, y(k)), y(k)));
    let poles = [Placed::new(0.0, -half), Placed::new(0.0, half)];
    Blank { outline: Region::polygons(&[right.chain(left).collect()]).path(), seams: [poles, poles] }
}

/// A strip.
pub fn strip(width: f64, long: f64) -> Blank {
    let seams = [-width / 2.0, width / 2.0].map(|x| [Point::new(x, 0.0), Point::new(x, long)]);
    blank(Rect::new(-width / 2.0, 0.0, width / 2.0, long).to_path(FINE), seams)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::Shape;
    use crate::unrolled::cone_blank;

    fn edge(blank: &Blank) -> f64 {
        blank.seams[0][0].distance(blank.seams[0][1])
    }

    #[test]
    fn a_cone_is_as_large_as_its_side_and_its_arcs_close_around_it() {
        let found = cone_blank([60.0, 35.0], 150.0, 0.0, 0.5);
        let flat = cone(&found, [0.0; 2], 1);
        let shape = Shape::new(flat.outline.clone()).expect("one loop");
        // E. M. Longfield, Sheet Metal Drafting, 1921: the side of a cut-off cone is π(r₁ + r₂)s.
        let side = std::f64::consts::PI * 95.0 * found.slant;
        assert!((shape.area() - side).abs() < 0.02, "{} {side}", shape.area());
        let around = std::f64::consts::TAU * 95.0 + 2.0 * found.slant;
        assert!((shape.perimeter() - around).abs() < 0.01, "{} {around}", shape.perimeter());
        assert!((edge(&flat) - found.slant).abs() < 1e-9);
        let half = cone(&found, [0.0; 2], 2);
        assert!((Shape::new(half.outline).expect("one loop").area() - side / 2.0).abs() < 0.02);
    }

    #[test]
    fn a_cone_that_is_nearly_a_cylinder_is_straight() {
        let around = [60.001, 60.0].map(|r| std::f64::consts::TAU * r);
        let found = cone(&cone_blank([60.001, 60.0], 100.0, 5.0, 0.5), around, 1);
        assert_eq!(found.outline.raw().segments().count(), 4);
        assert!((found.outline.bounds().width() - around[0]).abs() < 1e-9);
        let same = cone(&cone_blank([60.0, 60.0], 100.0, 5.0, 0.5), around, 1);
        assert!(same.outline.raw().is_finite());
    }

    #[test]
    fn a_pointed_cone_is_a_sector() {
        let found = cone(&cone_blank([50.0, 0.0], 120.0, 0.0, 0.5), [0.0; 2], 1);
        let area = Shape::new(found.outline).expect("one loop").area();
        assert!((area - 20_420.352_248).abs() < 0.02, "{area}");
    }

    #[test]
    fn gores_make_most_of_a_ball() {
        let area = Shape::new(gore(100.0, 8).outline).expect("one loop").area();
        // The n gores of the formula together: ∫ 2(πR/n) cos(y/R) dy · n = 4πR².
        let ball = 4.0 * std::f64::consts::PI * 1e4;
        assert!((8.0 * area - ball).abs() < 1e-3 * ball, "{area}");
    }

    #[test]
    fn a_slanting_sleeve_loses_half_of_its_slant() {
        let around = std::f64::consts::PI * 50.0;
        let area = Shape::new(sleeve(around, 100.0, 30.0, 50.0).outline).expect("one loop").area();
        let rise = 50.0 * 30.0_f64.to_radians().tan();
        assert!((area - around * (100.0 - rise / 2.0)).abs() < 2.0, "{area}");
    }
}
