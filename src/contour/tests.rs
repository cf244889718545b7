//! Pictures drawn here, of shapes whose outlines are known by formula.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "levels and pixel counts of small pictures that are made here"
)]

use image::{DynamicImage, GrayImage, ImageBuffer, Luma, Rgb, RgbImage, Rgba, RgbaImage};
use kurbo::Shape as _;
use proptest::prelude::*;

use super::*;
use crate::picture::srgb::{to_encoded, to_linear as linear};

/// Coverage of pixels, drawn by 8 × 8 places in each that the edge might cross.
struct Coverage {
    width: u32,
    height: u32,
    values: Vec<f64>,
}

impl Coverage {
    /// `inside` tells what is covered; `near` whether an edge may come within a pixel of a place.
    fn of(width: u32, height: u32, inside: impl Fn(f64, f64) -> bool) -> Self {
        const FINE: u32 = 16;
        let values = (0..width * height).map(|i| {
            let (x, y) = (f64::from(i % width), f64::from(i / width));
            let corners =
                [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0), (0.5, 0.5)].map(|(u, v)| inside(x + u, y + v));
            if corners.iter().all(|c| *c == corners[0]) {
                return f64::from(u8::from(corners[0]));
            }
            let place = |k: u32| (f64::from(k) + 0.5) / f64::from(FINE);
            let hits = (0..FINE * FINE).filter(|k| inside(x + place(k % FINE), y + place(k / FINE))).count();
            hits as f64 / f64::from(FINE * FINE)
        });
        Self { width, height, values: values.collect() }
    }

    /// Gaussian blur.
    fn blurred(self, sigma: f64) -> Self {
        let reach = (4.0 * sigma).ceil() as i64;
        let weight = |k: i64| (-0.5 * (k as f64 / sigma).powi(2)).exp();
        let total: f64 = (-reach..=reach).map(weight).sum();
        let (w, h) = (i64::from(self.width), i64::from(self.height));
        let pass = |values: &[f64], dx: i64, dy: i64| -> Vec<f64> {
            (0..w * h)
                .map(|i| {
                    let (x, y) = (i % w, i / w);
                    let at =
                        |k: i64| values[((y + k * dy).clamp(0, h - 1) * w + (x + k * dx).clamp(0, w - 1)) as usize];
                    (-reach..=reach).map(|k| weight(k) * at(k)).sum::<f64>() / total
                })
                .collect()
        };
        let across = pass(&self.values, 1, 0);
        Self { values: pass(&across, 0, 1), ..self }
    }

    /// Grey levels: `ground` uncovered, `object` covered, blended in `light`, with noise of `sigma` levels.
    fn grey(&self, ground: f64, object: f64, light: Light, sigma: f64) -> Picture {
        self.grey_seeded(ground, object, light, sigma, 0x2545_f491_4f6c_dd1d)
    }

    fn grey_seeded(&self, ground: f64, object: f64, light: Light, sigma: f64, mut seed: u64) -> Picture {
        let mut next = move || {
            // Marsaglia's xorshift, 2003.
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            (seed >> 11) as f64 / (1_u64 << 53) as f64
        };
        let mut normal = move || (-2.0 * (1.0 - next()).ln()).sqrt() * (std::f64::consts::TAU * next()).cos();
        let pixel = |c: &f64| {
            let level = match light {
                Light::Drawing => ground + (object - ground) * c,
                Light::Camera => {
                    let (g, o) = (linear(ground / 255.0), linear(object / 255.0));
                    255.0 * to_encoded(g + (o - g) * c)
                }
            };
            (level + sigma * normal()).round().clamp(0.0, 255.0) as u8
        };
        let raw: Vec<u8> = self.values.iter().map(pixel).collect();
        picture(DynamicImage::ImageLuma8(GrayImage::from_raw(self.width, self.height, raw).unwrap()))
    }
}

fn picture(image: DynamicImage) -> Picture {
    Picture::from_upright(image)
}

fn disc(cx: f64, cy: f64, r: f64) -> impl Fn(f64, f64) -> bool {
    move |x, y| (x - cx).hypot(y - cy) < r
}

fn polygon(corners: Vec<(f64, f64)>) -> impl Fn(f64, f64) -> bool {
    move |x, y| {
        (0..corners.len()).fold(false, |odd, i| {
            let ((ax, ay), (bx, by)) = (corners[i], corners[(i + 1) % corners.len()]);
            odd ^ (((ay <= y) != (by <= y)) && x < ax + (y - ay) / (by - ay) * (bx - ax))
        })
    }
}

fn polygon_path(corners: &[(f64, f64)]) -> BezPath {
    let mut path = BezPath::new();
    path.move_to(corners[0]);
    corners[1..].iter().for_each(|corner| path.line_to(*corner));
    path.close_path();
    path
}

fn square(cx: f64, cy: f64, side: f64, degrees: f64) -> Vec<(f64, f64)> {
    let r = side / 2.0_f64.sqrt();
    (0..4)
        .map(|k| (degrees + 45.0 + 90.0 * f64::from(k)).to_radians())
        .map(|a| (cx + r * a.cos(), cy + r * a.sin()))
        .collect()
}

fn star(cx: f64, cy: f64, outer: f64, inner: f64) -> Vec<(f64, f64)> {
    (0..10)
        .map(|k| {
            let r = if k % 2 == 0 { outer } else { inner };
            let a = (36.0 * f64::from(k) + 7.0).to_radians();
            (cx + r * a.cos(), cy + r * a.sin())
        })
        .collect()
}

fn all(picture: &Picture, light: Option<Light>) -> Traced {
    Tracer::new(picture, light).trace(&Trace::default()).unwrap()
}

/// Mean and rms of what the outline's points are off a circle, weighted evenly along it.
fn off_circle(traced: &Traced, cx: f64, cy: f64, r: f64) -> (f64, f64) {
    let segments: Vec<_> = traced.outline.raw().segments().collect();
    let off: Vec<f64> = segments
        .iter()
        .flat_map(|s| (0..50).map(move |i| kurbo::ParamCurve::eval(s, f64::from(i) / 50.0)))
        .map(|p| (p.x - cx).hypot(p.y - cy) - r)
        .collect();
    let n = off.len() as f64;
    (off.iter().sum::<f64>() / n, (off.iter().map(|o| o * o).sum::<f64>() / n).sqrt())
}

fn assert_near(got: f64, wanted: f64, within: f64) {
    assert!((got - wanted).abs() <= within, "{got} is not within {within} of {wanted}");
}

fn is_simple(traced: &Traced) -> bool {
    !outline::crosses(std::slice::from_ref(traced.outline.raw()))
}

/// The farthest that any of `corners` is from the nearest traced corner.
fn corners_off(traced: &Traced, corners: &[(f64, f64)]) -> f64 {
    let nearest =
        |&(x, y): &(f64, f64)| traced.corners.iter().map(|c| (c.x - x).hypot(c.y - y)).fold(f64::INFINITY, f64::min);
    corners.iter().map(nearest).fold(0.0, f64::max)
}

#[test]
fn a_circle_keeps_its_radius_its_area_and_few_nodes() {
    let coverage = Coverage::of(140, 130, disc(68.3, 64.7, 50.0));
    for sigma in [0.0, 0.8, 1.5] {
        let coverage = Coverage { values: coverage.values.clone(), ..coverage };
        let coverage = if sigma > 0.0 { coverage.blurred(sigma) } else { coverage };
        let traced = all(&coverage.grey(230.0, 40.0, Light::Drawing, 0.0), Some(Light::Drawing));
        let (bias, rms) = off_circle(&traced, 68.3, 64.7, 50.0);
        assert!(bias.abs() < 0.02, "radius off by {bias}");
        assert!(rms < 0.06, "{rms}");
        assert!(traced.nodes <= 8, "{} nodes", traced.nodes);
        assert!(traced.corners.is_empty());
        assert_near(traced.outline.raw().area().abs(), std::f64::consts::PI * 2500.0, 8.0);
    }
}

#[test]
fn a_turned_square_has_four_nodes_and_true_corners() {
    let corners = square(70.2, 66.9, 80.0, 17.0);
    let coverage = Coverage::of(140, 140, polygon(corners.clone()));
    for light in [Light::Drawing, Light::Camera] {
        let traced = all(&coverage.grey(240.0, 30.0, light, 0.0), Some(light));
        assert_eq!(traced.nodes, 4, "{:?}", traced.outline.raw());
        assert!(traced.outline.raw().segments().all(|s| matches!(s, kurbo::PathSeg::Line(_))));
        assert!(corners_off(&traced, &corners) < 0.3);
    }
}

#[test]
fn a_square_of_ten_pixels_has_sides_of_ten_pixels() {
    let coverage = Coverage::of(30, 30, |x, y| (10.0..20.0).contains(&x) && (8.0..18.0).contains(&y));
    let traced = all(&coverage.grey(255.0, 0.0, Light::Drawing, 0.0), None);
    let bounds = traced.outline.bounds();
    assert_near(bounds.x0, 10.0, 0.05);
    assert_near(bounds.y0, 8.0, 0.05);
    assert_near(bounds.width(), 10.0, 0.1);
    assert_near(bounds.height(), 10.0, 0.1);
    assert_eq!(traced.nodes, 4);
}

#[test]
fn a_star_keeps_its_sharp_tips() {
    let corners = star(100.0, 98.0, 85.0, 34.0);
    for (sigma, within, nodes) in [(0.0, 0.05, 10), (0.8, 0.4, 12)] {
        let coverage = Coverage::of(200, 200, polygon(corners.clone()));
        let coverage = if sigma > 0.0 { coverage.blurred(sigma) } else { coverage };
        let traced = all(&coverage.grey(250.0, 20.0, Light::Drawing, 0.0), Some(Light::Drawing));
        assert!(corners_off(&traced, &corners) < within);
        assert!(traced.nodes <= nodes, "{}", traced.nodes);
    }
}

#[test]
fn a_ring_keeps_its_hole() {
    let (big, small) = (disc(80.0, 80.0, 60.0), disc(85.0, 78.0, 30.0));
    let coverage = Coverage::of(160, 160, |x, y| big(x, y) && !small(x, y));
    let traced = all(&coverage.grey(255.0, 60.0, Light::Drawing, 0.0), Some(Light::Drawing));
    let loops = traced.outline.flatten(0.01);
    assert_eq!(loops.len(), 2);
    // Outer and inner loop run against each other, so the signed areas take the hole away.
    let wanted = std::f64::consts::PI * (3600.0 - 900.0);
    // An edge 0.02 px off all along both loops.
    assert_near(traced.outline.raw().area(), wanted, 0.02 * std::f64::consts::TAU * 90.0);
    assert!(traced.outline.raw().area() > 0.0, "clockwise on the screen");
    assert!(big(traced.inside[0].x, traced.inside[0].y) && !small(traced.inside[0].x, traced.inside[0].y));
}

#[test]
fn a_bar_four_pixels_wide_keeps_its_width() {
    let coverage = Coverage::of(60, 30, |x, y| (8.3..51.3).contains(&x) && (12.4..16.4).contains(&y));
    let traced = all(&coverage.grey(20.0, 220.0, Light::Drawing, 0.0), Some(Light::Drawing));
    let bounds = traced.outline.bounds();
    assert_near(bounds.height(), 4.0, 0.1);
    assert_near(bounds.width(), 43.0, 0.1);
    let corners: Vec<_> = [(0.0, 0.0), (100.0, 0.0), (100.0, 4.0), (0.0, 4.0)]
        .map(|(x, y): (f64, f64)| (20.0 + x * 0.8 - y * 0.6, 15.0 + x * 0.6 + y * 0.8))
        .to_vec();
    let coverage = Coverage::of(120, 100, polygon(corners));
    let traced = all(&coverage.grey(20.0, 220.0, Light::Drawing, 0.0), Some(Light::Drawing));
    assert_near(traced.outline.raw().area(), 400.0, 8.0);
}

#[test]
fn neither_dark_nor_light_shapes_grow_fat_in_either_light() {
    let coverage = Coverage::of(140, 140, disc(70.4, 69.1, 50.0)).blurred(0.9);
    for light in [Light::Drawing, Light::Camera] {
        for (ground, object) in [(235.0, 25.0), (25.0, 235.0), (180.0, 80.0), (80.0, 180.0)] {
            let traced = all(&coverage.grey(ground, object, light, 0.0), None);
            let (bias, _) = off_circle(&traced, 70.4, 69.1, 50.0);
            assert!(traced.light_was_found);
            assert_eq!(traced.light, light);
            assert!(bias.abs() < 0.05, "{light:?} {ground} → {object}: {bias}");
        }
    }
}

#[test]
fn light_is_found_from_edges_without_blur_too() {
    let corners = star(100.0, 98.0, 85.0, 34.0);
    let coverage = Coverage::of(200, 200, polygon(corners));
    for light in [Light::Drawing, Light::Camera] {
        for sigma in [0.0, 2.0] {
            let traced = all(&coverage.grey(240.0, 30.0, light, sigma), None);
            assert_eq!((traced.light, traced.light_was_found), (light, true), "noise {sigma}");
        }
    }
}

#[test]
fn the_wrong_light_moves_an_edge() {
    let coverage = Coverage::of(140, 140, disc(70.4, 69.1, 50.0)).blurred(0.9);
    let traced = all(&coverage.grey(235.0, 25.0, Light::Camera, 0.0), Some(Light::Drawing));
    let (bias, _) = off_circle(&traced, 70.4, 69.1, 50.0);
    assert!(bias.abs() > 0.15, "{bias}");
}

#[test]
fn noise_is_not_followed() {
    let corners = square(70.2, 66.9, 80.0, 17.0);
    let coverage = Coverage::of(140, 140, polygon(corners.clone())).blurred(0.7);
    let traced = all(&coverage.grey(180.0, 80.0, Light::Drawing, 4.0), Some(Light::Drawing));
    assert!(corners_off(&traced, &corners) < 0.5);
    assert_eq!(traced.nodes, 4);
    let coverage = Coverage::of(340, 340, disc(170.4, 169.1, 150.0)).blurred(0.7);
    let traced = all(&coverage.grey(180.0, 80.0, Light::Drawing, 4.0), Some(Light::Drawing));
    let (bias, rms) = off_circle(&traced, 170.4, 169.1, 150.0);
    assert!(bias.abs() < 0.05 && rms < 0.1, "{bias} {rms}");
    assert!(traced.nodes <= 8);
    assert!(traced.rms <= 0.2 && traced.worst <= 0.8);
}

/// Distance from `p` to the nearest of `segments`.
fn distance_to(p: kurbo::Point, segments: &[kurbo::PathSeg]) -> f64 {
    use kurbo::ParamCurveNearest;
    segments.iter().map(|s| s.nearest(p, 1e-4).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
}

/// A flame: smooth sides, a tip above and a notch below.
fn flame(cx: f64, cy: f64, size: f64) -> BezPath {
    let place = kurbo::Affine::new([size, 0.0, 0.0, size, cx, cy]);
    place
        * BezPath::from_svg(
            "M 0 -1 C 0.1 -0.6 0.62 -0.3 0.6 0.2 C 0.58 0.6 0.3 0.7 0.05 0.9 C 0.03 0.8 0 0.75 -0.06 0.7 \
             C -0.3 0.9 -0.6 0.5 -0.55 0.1 C -0.5 -0.3 -0.1 -0.5 0 -1 Z",
        )
        .unwrap()
}

#[test]
fn a_flame_is_smooth_with_few_nodes_and_keeps_its_three_corners() {
    for (sigma, noise) in [(0.0, 0.0), (0.8, 0.0), (0.8, 4.0)] {
        let truth = flame(200.0, 210.0, 180.0);
        let coverage = Coverage::of(400, 400, |x, y| truth.contains(kurbo::Point::new(x, y)));
        let coverage = if sigma > 0.0 { coverage.blurred(sigma) } else { coverage };
        let traced = all(&coverage.grey(200.0, 60.0, Light::Drawing, noise), Some(Light::Drawing));
        let segments: Vec<_> = truth.segments().collect();
        let off: Vec<f64> = traced.outline.flatten(0.01)[0].iter().map(|p| distance_to(p.raw(), &segments)).collect();
        let rms = (off.iter().map(|o| o * o).sum::<f64>() / off.len() as f64).sqrt();
        let worst = off.iter().copied().fold(0.0, f64::max);
        assert!(traced.nodes <= 14, "{} nodes", traced.nodes);
        assert!(corners_off(&traced, &[(200.0, 30.0), (209.0, 372.0), (189.2, 336.0)]) < 1.5, "{:?}", traced.corners);
        assert!(rms < 0.3 && worst < 1.5, "{rms} {worst}");
    }
}

/// A needle of 8° and 100 to 180 px, in photographs of no more contrast than 130 levels: a tenth of a pixel beside its point
/// is one and a half along it.
#[test]
fn a_needle_in_noise_keeps_its_point() {
    for (noise, limit) in [(0.0, 0.8), (2.0, 2.0), (4.0, 3.0)] {
        (0..30_u32).into_par_iter().for_each(|i| {
            let (size, turn) = (50.0 + f64::from(i) * 4.0 / 3.0, f64::from(i) * 0.74);
            let (cx, cy) = (105.3 + 0.13 * f64::from(i % 7), 105.2 + 0.17 * f64::from(i % 5));
            let half = 2.0 * size * 4.0_f64.to_radians().tan();
            let truth = kurbo::Affine::rotate_about(turn, kurbo::Point::new(cx, cy))
                * polygon_path(&[(cx, cy - size), (cx + half, cy + size), (cx - half, cy + size)]);
            let coverage = Coverage::of(211, 211, |x, y| truth.contains(kurbo::Point::new(x, y))).blurred(0.7);
            let picture = coverage.grey_seeded(210.0, 80.0, Light::Camera, noise, u64::from(i) * 7919 + 12345);
            let traced = all(&picture, Some(Light::Camera));
            let (_, off) = apart(traced.outline.raw(), &truth);
            assert!(off < limit, "noise {noise}, needle {i}: {off:?}");
            assert!(traced.nodes < 10 && traced.notes.is_empty(), "noise {noise}, needle {i}: {traced:?}");
        });
    }
}

/// Noise of two levels on a ground of 210 stays within one step of four levels, in which colours are looked up.
#[test]
fn noise_within_a_step_of_the_table_makes_no_specks() {
    for ground in 205_u32..213 {
        let coverage = Coverage::of(211, 211, disc(105.3, 95.2, 60.0)).blurred(0.7);
        let picture = coverage.grey_seeded(f64::from(ground), 80.0, Light::Camera, 2.0, u64::from(ground));
        let traced = all(&picture, Some(Light::Camera));
        assert!(traced.notes.is_empty() && traced.nodes < 8, "{ground}: {traced:?}");
    }
}

#[test]
fn colours_inside_an_object_do_not_break_its_outline() {
    let (whole, inner) = (disc(70.3, 69.8, 50.0), disc(70.3, 69.8, 46.0));
    let (cover, fill) = (Coverage::of(140, 140, whole), Coverage::of(140, 140, inner));
    let (paper, ink, blue, yellow) =
        ([250.0, 248.0, 240.0], [20.0, 20.0, 30.0], [60.0, 90.0, 200.0], [240.0, 220.0, 90.0]);
    let inked = RgbImage::from_fn(140, 140, |x, y| {
        let (c, f) = (cover.values[(y * 140 + x) as usize], fill.values[(y * 140 + x) as usize]);
        let inside = if x < 70 { blue } else { yellow };
        Rgb(std::array::from_fn(|k| (paper[k] * (1.0 - c) + ink[k] * (c - f) + inside[k] * f).round() as u8))
    });
    let halves = RgbImage::from_fn(140, 140, |x, y| {
        let c = cover.values[(y * 140 + x) as usize];
        let inside = if x < 70 { blue } else { yellow };
        Rgb(std::array::from_fn(|k| (paper[k] * (1.0 - c) + inside[k] * c).round() as u8))
    });
    for image in [inked, halves] {
        let traced = all(&picture(DynamicImage::ImageRgb8(image)), Some(Light::Drawing));
        let (bias, rms) = off_circle(&traced, 70.3, 69.8, 50.0);
        assert_eq!(traced.outline.flatten(0.1).len(), 1);
        assert!(bias.abs() < 0.03 && rms < 0.08, "{bias} {rms}");
    }
}

#[test]
fn an_inside_point_in_a_line_drawing_fills_what_the_line_encloses() {
    let (whole, inner) = (disc(70.3, 69.8, 50.0), disc(70.3, 69.8, 46.0));
    let dot = disc(60.0, 60.0, 5.0);
    let coverage = Coverage::of(140, 140, |x, y| (whole(x, y) && !inner(x, y)) || dot(x, y));
    let picture = coverage.grey(255.0, 10.0, Light::Drawing, 0.0);
    let what = Trace { inside: vec![vec![Point::new(70.0, 80.0)]], ..Trace::default() };
    let traced = Tracer::new(&picture, Some(Light::Drawing)).trace(&what).unwrap();
    assert_eq!(traced.outline.flatten(0.1).len(), 1);
    let (bias, _) = off_circle(&traced, 70.3, 69.8, 50.0);
    assert!(bias.abs() < 0.03, "{bias}");
}

/// A disc and a house, each drawn with a line of 6 px.
/// A ring of solid colour is a hoop, an inked circle is a disc, with what is drawn within it; each cell of a drawing counts.
#[test]
fn what_a_thin_line_encloses_belongs_to_the_shape() {
    let found = |inside: &dyn Fn(f64, f64) -> bool| {
        let picture = Coverage::of(300, 300, inside).grey(250.0, 20.0, Light::Drawing, 0.0);
        Tracer::new(&picture, None).islands().unwrap()
    };
    let ring = |width: f64| move |x: f64, y: f64| ((x - 150.2).hypot(y - 149.7) - 120.0).abs() < width / 2.0;
    let area = |traced: &[Traced]| traced.iter().map(|t| t.outline.raw().area()).sum::<f64>();
    let circle = |r: f64| std::f64::consts::PI * r * r;
    let hoop = found(&ring(24.0));
    assert!(
        (area(&hoop) - circle(132.0) + circle(108.0)).abs() < 20.0
            && ring(24.0)(hoop[0].inside[0].x, hoop[0].inside[0].y)
    );
    let inked = ring(4.0);
    let disc = found(&|x, y| inked(x, y) || (x - 150.0).hypot(y - 150.0) < 20.0);
    assert!((area(&disc) - circle(122.0)).abs() < 20.0 && disc.len() == 1, "{}", area(&disc));
    let halves = found(&|x, y| inked(x, y) || (x - 150.0).abs() < 2.0 && (y - 150.0).abs() < 120.0);
    assert!((area(&halves) - circle(122.0)).abs() < 20.0 && halves[0].inside.len() == 2, "{:?}", halves[0].inside);
    // The places tell the same shape again.
    let picture = Coverage::of(300, 300, inked).grey(250.0, 20.0, Light::Drawing, 0.0);
    let tracer = Tracer::new(&picture, None);
    let inside = vec![tracer.islands().unwrap().remove(0).inside];
    let again = tracer.trace(&Trace { inside, ..Trace::default() }).unwrap();
    assert!((again.outline.raw().area() - circle(122.0)).abs() < 20.0 && again.notes.is_empty());
    let hoop = Coverage::of(300, 300, ring(24.0)).grey(250.0, 20.0, Light::Drawing, 0.0);
    let filled =
        Tracer::new(&hoop, None).trace(&Trace { inside: vec![vec![Point::new(150.0, 150.0)]], ..Trace::default() });
    assert_eq!(filled.unwrap().notes[0].code, "hole_filled");
}

/// A bevel is drawn as a second line within the first; a line with a gap encloses nothing.
#[test]
fn a_second_line_and_a_gap_in_a_line_are_told() {
    let ring = |r: f64| move |x: f64, y: f64| ((x - 150.2).hypot(y - 149.7) - r).abs() < 2.0;
    let picture =
        |inside: &dyn Fn(f64, f64) -> bool| Coverage::of(300, 300, inside).grey(250.0, 20.0, Light::Drawing, 0.0);
    let at = |x: f64| Trace { inside: vec![vec![Point::new(x, 150.0)]], ..Trace::default() };
    let circle = |r: f64| std::f64::consts::PI * r * r;
    let bevelled = picture(&|x, y| ring(120.0)(x, y) || ring(100.0)(x, y));
    let tracer = Tracer::new(&bevelled, None);
    for (what, r, told) in [(Trace::default(), 122.0, "drawn_as_line"), (at(150.0), 102.0, "line_around")] {
        let traced = tracer.trace(&what).unwrap();
        assert!((traced.outline.raw().area() - circle(r)).abs() < 20.0, "{told}: {}", traced.outline.raw().area());
        assert_eq!(traced.notes.iter().map(|note| note.code).collect::<Vec<_>>(), [told]);
    }
    let between = tracer.trace(&at(150.2 - 110.0)).unwrap();
    assert!((between.outline.raw().area() - circle(122.0)).abs() < 20.0 && between.notes.is_empty());
    let open = picture(&|x, y| ring(120.0)(x, y) && (x < 150.0 || (y - 150.0).abs() > 3.0));
    let traced = Tracer::new(&open, None).trace(&Trace::default()).unwrap();
    assert_eq!(traced.notes[0].code, "line_open");
    // A straight thin bar is a bar.
    let bar = picture(&|x, y| (x - 150.0).abs() < 120.0 && (y - 150.0 - 0.3 * (x - 150.0)).abs() < 1.8);
    assert!(Tracer::new(&bar, None).trace(&Trace::default()).unwrap().notes.is_empty());
}

#[test]
fn a_drawn_line_is_cut_along_the_side_that_is_wanted() {
    let line = |side| Trace { drawn_line: side, ..Trace::default() };
    let (whole, within) = (disc(70.3, 69.8, 50.0), disc(70.3, 69.8, 44.0));
    let ring = Coverage::of(140, 140, |x, y| whole(x, y) && !within(x, y)).grey(255.0, 10.0, Light::Drawing, 0.0);
    let house = |inset: f64| {
        // A roof of 45°: its ridge comes down by the root of two times the inset, its eaves by that less one.
        let (eaves, ridge) = (60.0 + inset * (2.0_f64.sqrt() - 1.0), 20.0 + inset * 2.0_f64.sqrt());
        vec![
            (30.0 + inset, 120.0 - inset),
            (30.0 + inset, eaves),
            (70.0, ridge),
            (110.0 - inset, eaves),
            (110.0 - inset, 120.0 - inset),
        ]
    };
    let (walls, room) = (polygon(house(0.0)), polygon(house(6.0)));
    let drawn = Coverage::of(140, 140, |x, y| walls(x, y) && !room(x, y)).grey(255.0, 10.0, Light::Drawing, 0.0);
    for (side, radius, inset) in
        [(DrawnLine::Outside, 50.0, 0.0), (DrawnLine::Middle, 47.0, 3.0), (DrawnLine::Inside, 44.0, 6.0)]
    {
        let traced = Tracer::new(&ring, Some(Light::Drawing)).trace(&Trace {
            inside: if side == DrawnLine::Outside { vec![vec![Point::new(70.0, 70.0)]] } else { Vec::new() },
            ..line(side)
        });
        let traced = traced.unwrap();
        assert_eq!(traced.outline.flatten(0.1).len(), 1, "{side:?}");
        let (bias, rms) = off_circle(&traced, 70.3, 69.8, radius);
        assert!(bias.abs() < 0.03 && rms < 0.06, "{side:?}: {bias} {rms}");
        let what = Trace { inside: vec![vec![Point::new(70.0, 70.0)]], ..line(side) };
        let traced = Tracer::new(&drawn, Some(Light::Drawing)).trace(&what).unwrap();
        assert!(corners_off(&traced, &house(inset)) < 0.2, "{side:?}: {:?}", traced.corners);
        assert_eq!(traced.corners.len(), 5, "{side:?}");
    }
    let gap = Coverage::of(140, 140, |x, y| whole(x, y) && !within(x, y) && (x - 70.0).abs() > 8.0);
    let gap = gap.grey(255.0, 10.0, Light::Drawing, 0.0);
    assert_eq!(refused(&gap, &line(DrawnLine::Middle)).code, "drawn_line_open");
    let within = |side| Trace { inside: vec![vec![Point::new(70.0, 70.0)]], ..line(side) };
    let drawn = |inner: f64| {
        let hair = disc(70.3, 69.8, inner);
        Coverage::of(140, 140, |x, y| whole(x, y) && !hair(x, y)).grey(255.0, 10.0, Light::Drawing, 0.0)
    };
    for (inner, most) in [(48.5, 0.1), (49.2, 0.3)] {
        for (side, radius) in [(DrawnLine::Outside, 50.0), (DrawnLine::Middle, 0.5 * (50.0 + inner))] {
            let traced = Tracer::new(&drawn(inner), None).trace(&within(side)).unwrap();
            let (bias, rms) = off_circle(&traced, 70.3, 69.8, radius);
            assert!(bias.abs() < most && rms < 2.0 * most, "{side:?} of {inner}: {bias} {rms}");
        }
    }
}

/// A shadow on the ground beside a disc has an edge too, a soft one; where all edges are as soft, nothing is told.
#[test]
fn an_edge_that_is_soft_in_part_is_told() {
    let cover = Coverage::of(260, 260, disc(120.3, 119.8, 70.0)).blurred(0.7);
    let shadow = Coverage::of(260, 260, disc(134.3, 129.8, 70.0)).blurred(5.0);
    let image = RgbImage::from_fn(260, 260, |x, y| {
        let k = (y * 260 + x) as usize;
        let ground = 200.0 * (1.0 - 0.4 * shadow.values[k]);
        Rgb([(ground * (1.0 - cover.values[k]) + 60.0 * cover.values[k]).round() as u8; 3])
    });
    let told = |picture: &Picture| -> Vec<&str> {
        Tracer::new(picture, None).trace(&Trace::default()).unwrap().notes.iter().map(|note| note.code).collect()
    };
    assert_eq!(told(&Picture::from_upright(image.into())), ["edge_soft"]);
    for blur in [0.7, 2.5] {
        let even = Coverage::of(260, 260, disc(120.3, 119.8, 70.0)).blurred(blur);
        assert!(told(&even.grey(200.0, 60.0, Light::Drawing, 2.0)).is_empty(), "{blur}");
    }
}

/// However thin the line is around a filling, the box is cut along the line's outer side.
#[test]
fn a_thin_line_around_a_filling_keeps_its_outer_edge() {
    for (line, at) in [1.5, 2.0, 2.5, 3.0, 4.0].into_iter().flat_map(|line| [0.0, 0.25, 0.5].map(|at| (line, at))) {
        let corners = |inset: f64| {
            let (a, b) = (50.0 + at + inset, 60.0 + at + inset);
            let (c, d) = (150.0 + at - inset, 140.0 + at - inset);
            vec![(a, b), (c, b), (c, d), (a, d)]
        };
        let (whole, within) = (polygon(corners(0.0)), polygon(corners(line)));
        let shape = Coverage::of(200, 200, &whole).values;
        let filling = Coverage::of(200, 200, &within).values;
        let image = RgbImage::from_fn(200, 200, |x, y| {
            let k = (y * 200 + x) as usize;
            let ink = shape[k] - filling[k];
            let mixed = |fill: f64| 255.0 * (1.0 - shape[k]) + 20.0 * ink + fill * filling[k];
            Rgb([210.0, 80.0, 60.0].map(|fill| mixed(fill).round() as u8))
        });
        let traced = Tracer::new(&Picture::from_upright(image.into()), None).trace(&Trace::default()).unwrap();
        assert_eq!(traced.corners.len(), 4, "{line} at {at}: {:?}", traced.corners);
        assert!(corners_off(&traced, &corners(0.0)) < 0.2, "{line} at {at}: {:?}", traced.corners);
    }
}

/// A house filled with colour, its walls and a beam within drawn in ink of 6 px; and the same with a round window.
#[test]
fn a_filling_is_told_from_the_line_around_it() {
    let house = |inset: f64| {
        let (eaves, ridge) = (120.0 + inset * (2.0_f64.sqrt() - 1.0), 40.0 + inset * 2.0_f64.sqrt());
        vec![
            (60.0 + inset, 240.0 - inset),
            (60.0 + inset, eaves),
            (140.0, ridge),
            (220.0 - inset, eaves),
            (220.0 - inset, 240.0 - inset),
        ]
    };
    let (walls, room) = (polygon(house(0.0)), polygon(house(6.0)));
    let beam = polygon(vec![(60.0, 150.0), (220.0, 150.0), (220.0, 154.0), (60.0, 154.0)]);
    for windows in [0, 1] {
        let (frame, glass) = (disc(140.3, 195.2, 26.0), disc(140.3, 195.2, 20.0));
        let open = |x, y| windows == 1 && glass(x, y);
        let framed = |x, y| windows == 1 && frame(x, y);
        let parts = |part: &dyn Fn(f64, f64) -> bool| Coverage::of(280, 280, part).values;
        let ink = parts(&|x, y| walls(x, y) && (!room(x, y) || beam(x, y) || framed(x, y)) && !open(x, y));
        let fill = parts(&|x, y| room(x, y) && !beam(x, y) && !framed(x, y));
        let mixed = |k: usize, of: [f64; 3]| of[0] * (1.0 - ink[k] - fill[k]) + of[1] * ink[k] + of[2] * fill[k];
        let image = RgbImage::from_fn(280, 280, |x, y| {
            let k = (y * 280 + x) as usize;
            let of = [[250.0, 30.0, 200.0], [248.0, 24.0, 120.0], [240.0, 28.0, 60.0]];
            Rgb(of.map(|of| mixed(k, of).round() as u8))
        });
        let picture = Picture::from_upright(image.into());
        for (side, inset) in [(DrawnLine::Outside, 0.0), (DrawnLine::Middle, 3.0), (DrawnLine::Inside, 6.0)] {
            let what = Trace { drawn_line: side, inside: vec![vec![Point::new(140.0, 225.0)]], ..Trace::default() };
            let traced = Tracer::new(&picture, Some(Light::Drawing)).trace(&what).unwrap();
            assert!(corners_off(&traced, &house(inset)) < 0.25, "{side:?}: {:?}", traced.corners);
            assert_eq!(traced.loops().len(), 1 + windows, "{side:?}");
            if let Some(window) = traced.loops().get(1) {
                // Through the line, the window grows by what the house shrinks.
                let area = -kurbo::Shape::area(window.raw());
                let truth = std::f64::consts::PI * (20.0 + inset).powi(2);
                assert!((area - truth).abs() < 12.0, "{side:?}: {area} is not {truth}");
            }
        }
    }
}

#[test]
fn alpha_is_coverage_whatever_the_colours() {
    let coverage = Coverage::of(140, 140, disc(70.3, 69.8, 50.0));
    let image = RgbaImage::from_fn(140, 140, |x, y| {
        let c = coverage.values[(y * 140 + x) as usize];
        Rgba([(x * 2) as u8, (y * 2) as u8, 90, (255.0 * c).round() as u8])
    });
    let traced = all(&picture(DynamicImage::ImageRgba8(image)), None);
    let (bias, rms) = off_circle(&traced, 70.3, 69.8, 50.0);
    assert!(bias.abs() < 0.02 && rms < 0.06, "{bias} {rms}");
}

#[test]
fn sixteen_bit_grey_is_read() {
    let coverage = Coverage::of(140, 140, disc(70.3, 69.8, 50.0));
    let raw: Vec<u16> = coverage.values.iter().map(|c| (60000.0 - 50000.0 * c) as u16).collect();
    let image: ImageBuffer<Luma<u16>, _> = ImageBuffer::from_raw(140, 140, raw).unwrap();
    let traced = all(&picture(DynamicImage::ImageLuma16(image)), Some(Light::Drawing));
    let (bias, rms) = off_circle(&traced, 70.3, 69.8, 50.0);
    assert!(bias.abs() < 0.02 && rms < 0.06, "{bias} {rms}");
}

#[test]
fn a_ground_that_darkens_towards_one_side_is_still_plain() {
    let coverage = Coverage::of(300, 200, disc(150.3, 99.8, 60.0));
    let image = GrayImage::from_fn(300, 200, |x, y| {
        let ground = 240.0 - 0.25 * f64::from(x) - 0.1 * f64::from(y);
        let c = coverage.values[(y * 300 + x) as usize];
        Luma([(ground * (1.0 - c) + 40.0 * c).round() as u8])
    });
    let traced = all(&picture(DynamicImage::ImageLuma8(image)), Some(Light::Drawing));
    let (bias, _) = off_circle(&traced, 150.3, 99.8, 60.0);
    assert!(bias.abs() < 0.03, "{bias}");
}

#[test]
fn a_ground_that_darkens_towards_its_corners_is_still_plain() {
    let coverage = Coverage::of(300, 200, disc(150.3, 99.8, 60.0));
    for fall in [0.05, 0.1, 0.2, 0.3] {
        let mut seed = 7_u32;
        let image = GrayImage::from_fn(300, 200, |x, y| {
            let (u, v) = ((f64::from(x) - 150.0) / 150.0, (f64::from(y) - 100.0) / 150.0);
            let ground = 210.0 * (1.0 - fall * (u * u + v * v));
            let c = coverage.values[(y * 300 + x) as usize];
            // The top bits of a linear congruential generator (D. Knuth, The Art of Computer Programming 2, 3.3.4).
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = 12.0 * (f64::from(seed >> 16) / 65_536.0 - 0.5);
            Luma([(ground * (1.0 - c) + 90.0 * c + noise).round() as u8])
        });
        let found = Tracer::new(&picture(DynamicImage::ImageLuma8(image)), Some(Light::Drawing)).islands().unwrap();
        assert_eq!(found.len(), 1, "{fall}");
        let (bias, _) = off_circle(&found[0], 150.3, 99.8, 60.0);
        assert!(bias.abs() < 0.06, "{fall}: {bias}");
    }
}

#[test]
fn a_loop_tells_one_shape_from_its_neighbours_on_an_unplain_picture() {
    let coverage = Coverage::of(300, 200, disc(100.3, 99.8, 50.0));
    let image = GrayImage::from_fn(300, 200, |x, y| {
        let ground = if x < 170 { 210.0 } else { f64::from((x * 7 + y * 13) % 200) };
        let c = coverage.values[(y * 300 + x) as usize];
        Luma([(ground * (1.0 - c) + 40.0 * c).round() as u8])
    });
    let picture = picture(DynamicImage::ImageLuma8(image));
    assert_eq!(Tracer::new(&picture, None).trace(&Trace::default()).unwrap_err().code, "ground_not_plain");
    let around = [(30.0, 30.0), (170.0, 30.0), (170.0, 170.0), (30.0, 170.0)].map(|(x, y)| Point::new(x, y)).to_vec();
    let traced = Tracer::new(&picture, Some(Light::Drawing)).trace(&Trace { around, ..Trace::default() }).unwrap();
    let (bias, _) = off_circle(&traced, 100.3, 99.8, 50.0);
    assert!(bias.abs() < 0.02, "{bias}");
    let through = [(30.0, 30.0), (100.0, 30.0), (100.0, 170.0), (30.0, 170.0)].map(|(x, y)| Point::new(x, y)).to_vec();
    let problem = Tracer::new(&picture, None).trace(&Trace { around: through, ..Trace::default() }).unwrap_err();
    assert_eq!(problem.code, "loop_cuts_shape");
}

#[test]
fn islands_come_largest_first_each_with_a_point_well_inside() {
    let (big, small) = (disc(80.0, 80.0, 50.0), disc(200.0, 60.0, 20.0));
    let bar = |x: f64, y: f64| (170.0..260.0).contains(&x) && (120.0..135.0).contains(&y);
    let speck = |x: f64, y: f64| (10.0..12.0).contains(&x) && (10.0..12.0).contains(&y);
    let coverage = Coverage::of(280, 160, |x, y| big(x, y) || small(x, y) || bar(x, y) || speck(x, y));
    let found = Tracer::new(&coverage.grey(240.0, 50.0, Light::Drawing, 0.0), None).islands().unwrap();
    let areas: Vec<f64> = found.iter().map(|t| t.outline.raw().area()).collect();
    assert_eq!(areas.len(), 3);
    for (area, wanted) in areas.iter().zip([7854.0, 1350.0, 1256.6]) {
        assert_near(*area, wanted, 6.0);
    }
    assert!(found[0].inside[0].distance(Point::new(80.0, 80.0)) < 3.0);
    assert_near(found[1].inside[0].y, 127.5, 2.0);
    assert!(found[2].inside[0].distance(Point::new(200.0, 60.0)) < 3.0);
    let together = all(&coverage.grey(240.0, 50.0, Light::Drawing, 0.0), Some(Light::Drawing));
    assert_eq!(together.outline.flatten(0.1).len(), 3);
}

fn refused(picture: &Picture, what: &Trace) -> Problem {
    Tracer::new(picture, None).trace(what).unwrap_err()
}

#[test]
fn what_cannot_be_traced_is_refused_with_a_next_step() {
    let plain = Trace::default();
    let grey = |w, h, level| picture(DynamicImage::ImageLuma8(GrayImage::from_pixel(w, h, Luma([level]))));
    assert_eq!(refused(&grey(1, 1, 0), &plain).code, "picture_too_small");
    assert_eq!(refused(&grey(1, 20_000, 0), &plain).code, "picture_too_small");
    assert_eq!(refused(&grey(100, 100, 255), &plain).code, "picture_of_one_colour");
    assert!(Tracer::new(&grey(100, 100, 255), None).islands().is_err());

    let coverage = Coverage::of(140, 140, disc(70.3, 69.8, 50.0));
    let shape = coverage.grey(240.0, 50.0, Light::Drawing, 0.0);
    let inside = |x, y| Trace { inside: vec![vec![Point::new(x, y)]], ..Trace::default() };
    assert_eq!(refused(&shape, &inside(150.0, 20.0)).code, "mark_off_picture");
    assert_eq!(refused(&shape, &inside(-0.5, 20.0)).code, "mark_off_picture");
    assert_eq!(refused(&shape, &inside(5.0, 5.0)).code, "inside_point_on_ground");
    let around =
        |corners: [(f64, f64); 3]| Trace { around: corners.map(|(x, y)| Point::new(x, y)).to_vec(), ..plain.clone() };
    assert_eq!(refused(&shape, &around([(5.0, 5.0), (6.0, 5.0), (5.0, 6.0)])).code, "loop_encloses_nothing");
    assert_eq!(refused(&shape, &around([(500.0, 5.0), (900.0, 5.0), (700.0, 90.0)])).code, "loop_encloses_nothing");
    assert_eq!(refused(&shape, &around([(1.0, 1.0), (24.0, 1.0), (1.0, 24.0)])).code, "loop_holds_only_ground");

    let cut = Coverage::of(140, 140, disc(20.0, 69.8, 30.0)).grey(240.0, 50.0, Light::Drawing, 0.0);
    let problem = refused(&cut, &plain);
    assert_eq!(problem.code, "shape_runs_off_picture");
    assert!(problem.text.contains("left side"), "{}", problem.text);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_shape_moved_by_whole_pixels_has_its_outline_moved(dx in 0_u32..20, dy in 0_u32..20) {
        let shape = |ox: f64, oy: f64| {
            let truth = polygon(star(60.3 + ox, 60.7 + oy, 45.0, 22.0));
            Coverage::of(150, 150, truth).grey(240.0, 30.0, Light::Drawing, 0.0)
        };
        let still = all(&shape(0.0, 0.0), Some(Light::Drawing));
        let moved = all(&shape(f64::from(dx), f64::from(dy)), Some(Light::Drawing));
        prop_assert_eq!(still.nodes, moved.nodes);
        let (a, b) = (still.outline.bounds(), moved.outline.bounds());
        prop_assert!((b.x0 - a.x0 - f64::from(dx)).abs() < 1e-6 && (b.y1 - a.y1 - f64::from(dy)).abs() < 1e-6);
    }

    #[test]
    fn no_outline_crosses_itself_and_its_inside_point_is_inside(
        radii in proptest::collection::vec(12.0..60.0_f64, 5..12), turn in 0.0..std::f64::consts::TAU, noise in 0.0..6.0_f64,
    ) {
        let n = radii.len() as f64;
        let corners: Vec<_> = radii.iter().enumerate().map(|(k, r)| {
            let a = turn + k as f64 / n * std::f64::consts::TAU;
            (70.0 + r * a.cos(), 70.0 + r * a.sin())
        }).collect();
        let inside = polygon(corners);
        let picture = Coverage::of(140, 140, &inside).blurred(0.7).grey(200.0, 70.0, Light::Drawing, noise);
        let traced = all(&picture, None);
        prop_assert!(is_simple(&traced));
        prop_assert!(inside(traced.inside[0].x, traced.inside[0].y));
        prop_assert!(!traced.notes.iter().any(|n| n.code == "outline_by_pixels"));
        prop_assert!(traced.rms < 0.4 && traced.worst < 3.0, "{} {}", traced.rms, traced.worst);
    }
}

/// How far two outlines are apart, either way, so that a tip that one of them lacks counts: root mean square and at worst.
fn apart(a: &BezPath, b: &BezPath) -> (f64, f64) {
    let from = |a: &BezPath, b: &BezPath| -> Vec<f64> {
        let segments: Vec<_> = b.segments().collect();
        let places = Path::<Pixels>::new(a.clone()).flatten(0.01).concat();
        places.iter().map(|p| distance_to(p.raw(), &segments)).collect()
    };
    let off = [from(a, b), from(b, a)].concat();
    let rms = (off.iter().map(|d| d * d).sum::<f64>() / off.len() as f64).sqrt();
    (rms, off.iter().fold(0.0, |worst, d| worst.max(*d)))
}

/// A sheet of paper on a darker table, with a disc on it, without and with a loop on the sheet; a bare board says nothing.
#[test]
fn a_prop_on_a_sheet_is_told_from_the_sheet() {
    let (sheet, disc) =
        (polygon(vec![(40.0, 30.0), (250.0, 38.0), (246.0, 190.0), (36.0, 182.0)]), disc(140.0, 110.0, 40.0));
    let (sheet, disc) = (Coverage::of(290, 220, sheet), Coverage::of(290, 220, disc));
    let scene = |prop: f64| {
        let image = RgbImage::from_fn(290, 220, |x, y| {
            let (s, d) = (sheet.values[(y * 290 + x) as usize], disc.values[(y * 290 + x) as usize] * prop);
            Rgb([90.0, 60.0, 40.0]
                .map(|table: f64| ((table * (1.0 - s) + 240.0 * s) * (1.0 - d) + 30.0 * d).round() as u8))
        });
        picture(DynamicImage::ImageRgb8(image))
    };
    let codes = |traced: &Traced| traced.notes.iter().map(|n| n.code).collect::<Vec<_>>();
    let (with, bare) = (scene(1.0), scene(0.0));
    assert_eq!(codes(&all(&with, None)), ["sheet_traced"]);
    // Of a picture enlarged without smoothing, whose sides are stairs.
    let enlarged = with.samples().resize_exact(1160, 880, image::imageops::FilterType::Nearest);
    assert!(codes(&all(&picture(enlarged), None)).contains(&"sheet_traced"));
    assert!(codes(&all(&bare, None)).is_empty());
    let around = [(80.0, 50.0), (200.0, 50.0), (200.0, 170.0), (80.0, 170.0)].map(|(x, y)| Point::new(x, y)).to_vec();
    let looped = Tracer::new(&with, None).trace(&Trace { around, ..Trace::default() }).unwrap();
    // A low board that lies straight: blur spoils whole rows of it.
    let board =
        Coverage::of(200, 90, polygon(vec![(20.0, 20.0), (180.0, 20.0), (180.0, 70.0), (20.0, 70.0)])).blurred(1.5);
    assert!(codes(&all(&board.grey(230.0, 60.0, Light::Camera, 2.0), None)).is_empty());
    let (bias, rms) = off_circle(&looped, 140.0, 110.0, 40.0);
    assert!(codes(&looped).is_empty() && bias.abs() < 0.1 && rms < 0.1, "{bias} {rms}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// The same pixels, noise and all, mirrored or turned by quarters: the outline goes along. A flame has small bent sides
    /// beside its notch, whose corner may be one way around what is a bend the other.
    #[test]
    fn a_picture_mirrored_and_turned_has_its_outline_mirrored_and_turned(
        seed in any::<u64>(), noise in 0.0..5.0_f64, size in 60.0..85.0_f64, kind in 0..3_usize,
    ) {
        let (width, height) = (210_u32, 190_u32);
        let corners = star(105.3, 95.2, size, 0.6 * size);
        let (truth, noise, limits) = match kind {
            0 => (kurbo::Circle::new((105.3, 95.2), size).to_path(1e-6), noise, (0.05, 0.15)),
            1 => (polygon_path(&corners), noise, (0.03, 0.15)),
            _ => (flame(105.3, 95.2, size), 0.2 * noise, (0.3, 3.0)),
        };
        let inside = |x: f64, y: f64| truth.contains(kurbo::Point::new(x, y));
        let coverage = Coverage::of(width, height, inside).blurred(0.7);
        let still = coverage.grey_seeded(210.0, 80.0, Light::Camera, noise, seed | 1);
        let image = still.samples();
        let (w, h) = (f64::from(width), f64::from(height));
        let outline = all(&still, Some(Light::Camera)).outline;
        for (changed, map) in [
            (image.fliph(), kurbo::Affine::new([-1.0, 0.0, 0.0, 1.0, w, 0.0])),
            (image.flipv(), kurbo::Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, h])),
            (image.rotate90(), kurbo::Affine::new([0.0, 1.0, -1.0, 0.0, h, 0.0])),
            (image.rotate180(), kurbo::Affine::new([-1.0, 0.0, 0.0, -1.0, w, h])),
        ] {
            let there = all(&picture(changed), Some(Light::Camera)).outline;
            let (rms, worst) = apart(&(map * outline.raw().clone()), there.raw());
            prop_assert!(rms < limits.0 && worst < limits.1, "{}: {} {}", kind, rms, worst);
        }
    }

    /// A picture of `k` times as many pixels has an outline `k` times as large.
    #[test]
    fn a_larger_picture_has_a_larger_outline(k in 1.0..3.0_f64, size in 40.0..55.0_f64, round in any::<bool>()) {
        let traced = |k: f64| {
            let (ring, star) = (disc(60.3 * k, 62.1 * k, size * k), polygon(star(60.3 * k, 62.1 * k, size * k, 0.6 * size * k)));
            let inside = |x: f64, y: f64| if round { ring(x, y) } else { star(x, y) };
            let side = (124.0 * k).ceil() as u32;
            all(&Coverage::of(side, side, inside).grey(240.0, 30.0, Light::Drawing, 0.0), None).outline
        };
        let (rms, worst) = apart(&(kurbo::Affine::scale(k) * traced(1.0).raw().clone()), traced(k).raw());
        prop_assert!(rms < 0.06 * k && worst < 0.4 * k, "{}: {} {}", round, rms / k, worst / k);
    }
}

/// Distance of each place of a way from a circle.
fn off_way(way: &[Point<Pixels>], cx: f64, cy: f64, r: f64) -> (f64, f64) {
    let off: Vec<f64> = way.iter().map(|p| (p.x - cx).hypot(p.y - cy) - r).collect();
    let rms = (off.iter().map(|d| d * d).sum::<f64>() / off.len() as f64).sqrt();
    (rms, off.iter().fold(0.0, |worst, d| worst.max(d.abs())))
}

#[test]
fn an_edge_is_followed_from_near_and_from_far() {
    for (size, radius) in [(160_u32, 50.0), (900, 380.0)] {
        let (cx, cy) = (f64::from(size) / 2.0 + 0.3, f64::from(size) / 2.0 - 0.2);
        let picture =
            Coverage::of(size, size, disc(cx, cy, radius)).blurred(0.8).grey(170.0, 120.0, Light::Camera, 4.0);
        let follower = Follower::new(&picture);
        let on = |degrees: f64| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            Point::new(cx + radius * cos, cy + radius * sin)
        };
        let way = follower.follow(on(10.0), on(120.0));
        let (first, last) = (way[0], way[way.len() - 1]);
        assert!((first.x - on(10.0).x).abs() <= 0.5 && (last.y - on(120.0).y).abs() <= 0.5, "{first:?} {last:?}");
        let (rms, worst) = off_way(&way, cx, cy, radius);
        assert!(rms < 0.6 && worst < 2.0, "{size}: {rms} {worst}");
        // Neighbouring pixels all the way, and about as many as the arc is long.
        assert!(way.windows(2).all(|p| (p[1].x - p[0].x).abs() <= 1.0 && (p[1].y - p[0].y).abs() <= 1.0));
        let arc = radius * 110.0_f64.to_radians();
        assert!((0.6 * arc..1.1 * arc).contains(&(way.len() as f64)), "{} on {arc}", way.len());
        assert_eq!(follower.follow(on(10.0), on(120.0)), way, "the same again");
    }
    let follower = Follower::new(&Coverage::of(64, 40, |_, _| false).grey(200.0, 100.0, Light::Drawing, 0.0));
    let straight = follower.follow(Point::new(-5.0, 20.0), Point::new(90.0, 20.0));
    assert_eq!((straight.len(), straight[63]), (64, Point::new(63.5, 20.5)), "even ground, ends off the picture");
    let stay = follower.follow(Point::new(7.0, 7.0), Point::new(7.2, 7.4));
    assert_eq!(stay, [Point::new(7.5, 7.5)]);
}
