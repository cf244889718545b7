//! A picture → the sheets and cards that lie in it.
//!
//! | step | file |
//! | --- | --- |
//! | evenly coloured regions of a small picture that are four-sided | `quads` |
//! | their sides in the picture itself | `sides` |
//! | what is so proportioned, so coloured and has such corners | here |
//!
//! Nothing is taken for a sheet or card that might as well be something else.

use kurbo::{Line, Vec2};

use super::light::{Colour, Seeing, dot, mean, minus};
use super::quads::{Quad, quads};
use super::sides::{SidePlace, Sides, seen_rectangle, sides, sides_at};
use crate::build_file::Light;
use crate::picture::Picture;
use crate::picture::srgb::to_encoded;
use crate::plane::{Seen, SeenLens, corners_in_plane, proportions, straighten};
use crate::space::{Map, Pixels, Plane, Point};
use crate::tables;

/// A sheet or card that was found.
#[derive(Clone, Debug)]
pub struct FoundSheet {
    /// As the build file names it.
    pub name: &'static str,
    /// Where its sides meet, clockwise as seen, the first at its top left.
    pub corners: [Point<Pixels>; 4],
    /// From the first corner to the second, and to the last, mm: seen aslant the long side may look the shorter one.
    pub size: [f64; 2],
    /// Root mean square of how surely its sides are known, in pixels.
    pub sd: f64,
}

/// Proportions that are told apart: an A-sheet has 1.414, Letter 1.294, an ID-1 card 1.586; half way to the next would be 4 %;
/// and the cosine of the angle between the sides.
const NEAR: [f64; 2] = [0.02, 0.01];
/// The same of a region that is seen roughly.
const ROUGHLY: [f64; 2] = [0.2, 0.2];
/// Places along a side from which it is seen well enough to be looked at again.
const FEW: usize = 80;
/// Corner radius of a sheet, as a part of its shorter side, that is blur and not cut.
const MOST_ROUND: f64 = 0.02;
/// The sheets that are looked for, the commonest of their proportion.
const SHEETS: [&str; 2] = ["A4", "Letter"];
const CARD: &str = "ID-1";
/// Corner radius of an ID-1 card: 3.18 mm (ISO/IEC 7810).
const CARD_RADIUS: f64 = 3.18;
/// Half way to a sharp corner, and twice as round.
const CARD_ROUND: std::ops::Range<f64> = 0.5 * CARD_RADIUS..2.0 * CARD_RADIUS;
/// Paper is at least so light (encoded), and its colours differ by no more than this.
const LIGHT: f64 = 0.35;
const GREY: f64 = 0.2;
/// Pixels to the millimetre from which a round corner is told from a sharp one.
const LEAST_SCALE: f64 = 1.0;

/// Every sheet and card that lies in `picture` for sure, largest first.
pub fn find(picture: &Picture, light: Option<Light>) -> Vec<FoundSheet> {
    let seeing = Seeing::new(picture, light.unwrap_or(Light::Camera));
    let size = picture.size().map(f64::from);
    let all: Vec<Candidate> = quads(picture).iter().filter_map(|quad| candidate(picture, light, quad)).collect();
    let mut found: Vec<(f64, FoundSheet)> = Vec::new();
    keep(&mut found, all.iter().filter_map(|candidate| recognised(&seeing, size, candidate)));
    // In the plane of one that is known, others are known by their size.
    if let Some((_, largest)) = found.first() {
        let largest = all.iter().find(|candidate| candidate.corners == largest.corners);
        let plane = largest.and_then(|largest| unbowed(largest, found[0].1.size, size));
        let others = all.iter().filter_map(|candidate| measured(&seeing, plane.as_ref()?, candidate));
        keep(&mut found, others);
    }
    // What lies within another, as a printed frame does, is part of it.
    let whole: Vec<FoundSheet> = found.into_iter().map(|(_, sheet)| sheet).collect();
    let within = |i: usize| {
        let middle = whole[i].corners.iter().fold(Vec2::ZERO, |sum, c| sum + c.raw().to_vec2()) / 4.0;
        whole[..i].iter().any(|other| holds(&other.corners, middle.to_point()))
    };
    (0..whole.len()).filter(|i| !within(*i)).map(|i| whole[i].clone()).collect()
}

/// Whether `other` looks as large in the plane of `first` as it is, so that both may lie in one plane.
pub fn in_one_plane(first: &FoundSheet, other: &FoundSheet) -> bool {
    /// What the sizes of paper and the bowing of a lens may be off by together (common practice, no source).
    const NEAR: f64 = 0.02;
    let seen = seen_rectangle(first.corners.map(|at| Seen { at, sd: 1.0 }), [&[]; 4], first.size);
    let Ok(plane) = straighten(&[seen], None) else { return false };
    let [a, b, c, d] = other.corners.map(|corner| plane.point(corner));
    let looks = [a.distance(b), b.distance(c), c.distance(d), d.distance(a)];
    looks.iter().zip(other.size.iter().cycle()).all(|(looks, size)| (looks / size - 1.0).abs() < NEAR)
}

fn holds(corners: &[Point<Pixels>; 4], p: kurbo::Point) -> bool {
    (0..4).all(|i| (corners[(i + 1) % 4].raw() - corners[i].raw()).cross(p - corners[i].raw()) > 0.0)
}

/// Adds those that are not there yet, the largest first.
fn keep(found: &mut Vec<(f64, FoundSheet)>, sheets: impl Iterator<Item = FoundSheet>) {
    for sheet in sheets {
        let size = sheet.corners[0].distance(sheet.corners[2]) * sheet.corners[1].distance(sheet.corners[3]);
        let apart = |other: &(f64, FoundSheet)| {
            let mut nearest = sheet
                .corners
                .iter()
                .map(|c| other.1.corners.iter().map(|d| c.distance(*d)).fold(f64::INFINITY, f64::min));
            nearest.any(|distance| distance > 0.05 * size.sqrt())
        };
        if found.iter().all(apart) {
            found.push((size, sheet));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
}

/// A four-sided region whose sides are seen, and may be those of a sheet or card.
struct Candidate {
    corners: [Point<Pixels>; 4],
    sides: Sides,
}

impl Candidate {
    fn found(&self, (name, size): (&'static str, [f64; 2])) -> FoundSheet {
        let places = self.sides.iter().flatten();
        let count = places.clone().count() as f64;
        let sd = (places.map(|place| place.sd * place.sd).sum::<f64>() / count).sqrt();
        FoundSheet { name, corners: self.corners, size, sd }
    }

    /// Pixels to the millimetre, if it is so large.
    fn scale(&self, size: [f64; 2]) -> f64 {
        let across = self.corners[0].distance(self.corners[2]) * self.corners[1].distance(self.corners[3]);
        across.sqrt() / size[0].hypot(size[1])
    }
}

fn candidate(picture: &Picture, light: Option<Light>, quad: &Quad) -> Option<Candidate> {
    let rough = quad.corners.map(Point::from);
    let roughly = Told::of(rough, picture.size().map(f64::from), ROUGHLY)?;
    if SHEETS.into_iter().chain([CARD]).all(|name| roughly.sides(name).is_none()) {
        return None;
    }
    let near = corners(&sides_at(picture, light, rough, quad.off, FEW))?;
    // From near by, once more: a wide search takes what is strongest.
    let sides = sides(picture, light, near, 3.0);
    let corners = upright(corners(&sides)?);
    let [width, height] = picture.size().map(f64::from);
    // What does not lie in the picture as a whole is nothing to be marked on it.
    let seen = corners.iter().all(|at| (0.0..=width).contains(&at.x) && (0.0..=height).contains(&at.y));
    seen.then_some(Candidate { corners, sides })
}

/// The sheet or card that a four-sided region is by its shape, if it is one.
fn recognised(seeing: &Seeing, picture: [f64; 2], candidate: &Candidate) -> Option<FoundSheet> {
    let corners = candidate.corners;
    // As an ideal lens would show them: bowing looks like another focal length.
    let ideal = unbowed(candidate, [1.0; 2], picture);
    let ideal = ideal.map(|plane| plane.without_lens().inverse());
    let ideal = ideal.map_or(corners, |ideal| corners_in_plane([1.0; 2]).map(|corner| ideal.point(corner)));
    let told = Told::of(ideal, picture, NEAR)?;
    let plane =
        |size: [f64; 2]| straighten(&[seen_rectangle(corners.map(|at| Seen { at, sd: 1.0 }), [&[]; 4], size)], None);
    let card = told.sides(CARD).and_then(|size| {
        let radius = roundness(seeing, &plane(size).ok()?, size)?;
        (candidate.scale(size) >= LEAST_SCALE && CARD_ROUND.contains(&radius)).then_some((CARD, size))
    });
    let sheet = || {
        // Seen turned about one axis, its proportion depends on the focal length, which nothing tells then: it may be a board.
        let (name, size) = SHEETS.into_iter().find_map(|name| Some((name, told.surely(name)?)))?;
        let round = roundness(seeing, &plane(size).ok()?, size)? > MOST_ROUND * size[0].min(size[1]);
        (!round && is_paper(seeing, &corners)).then_some((name, size))
    };
    card.or_else(sheet).map(|named| candidate.found(named))
}

/// The sheet or card that a four-sided region is by its size in a plane that is known.
fn measured(seeing: &Seeing, plane: &Map<Pixels, Plane>, candidate: &Candidate) -> Option<FoundSheet> {
    /// What lens and a plane carried on beyond its sheet may be off by, as a part of each side.
    const ALIKE: f64 = 0.02;
    /// Pixels to the millimetre from which corners are told apart when the size is known.
    const LEAST: f64 = 0.7;
    let [a, b, c, d] = candidate.corners.map(|corner| plane.point(corner));
    let looks = [a.distance(b), b.distance(c), c.distance(d), d.distance(a)];
    let (name, size) = SHEETS.into_iter().chain([CARD]).find_map(|name| {
        let near = |size: &[f64; 2]| (0..4).all(|i| (looks[i] / size[i % 2] - 1.0).abs() < ALIKE);
        Some((name, both_ways(name)?.into_iter().find(near)?))
    })?;
    let own =
        straighten(&[seen_rectangle(candidate.corners.map(|at| Seen { at, sd: 1.0 }), [&[]; 4], size)], None).ok()?;
    let radius = roundness(seeing, &own, size)?;
    let fits = if name == CARD {
        candidate.scale(size) >= LEAST && CARD_ROUND.contains(&radius)
    } else {
        radius <= MOST_ROUND * size[0].min(size[1]) && is_paper(seeing, &candidate.corners)
    };
    fits.then(|| candidate.found((name, size)))
}

/// The sides of the sheet or card of this name, mm, lying and upright.
fn both_ways(name: &str) -> Option<[[f64; 2]; 2]> {
    let size = tables::rectangle(name).map(|named| [named.width.to_mm(), named.height.to_mm()])?;
    let [long, short] = [size[0].max(size[1]), size[0].min(size[1])];
    Some([[long, short], [short, long]])
}

/// The proportions that something may have.
struct Told {
    told: Vec<f64>,
    /// How near to one of them counts, as a part.
    near: f64,
}

impl Told {
    /// What these corners tell in a picture of this size.
    fn of(corners: [Point<Pixels>; 4], [width, height]: [f64; 2], [near, square]: [f64; 2]) -> Option<Self> {
        let middle = Point::new(width / 2.0, height / 2.0);
        proportions(corners, middle, width.max(height), square).map(|told| Self { told, near })
    }

    /// The sides of the sheet or card of this name as it would lie, mm, if it may be that.
    fn sides(&self, name: &str) -> Option<[f64; 2]> {
        let sheet = tables::rectangle(name)?;
        let (width, height) = (sheet.width.to_mm(), sheet.height.to_mm());
        let (long, short) = (width.max(height), width.min(height));
        let fits =
            |[width, height]: &[f64; 2]| self.told.iter().any(|told| (told * height / width - 1.0).abs() < self.near);
        [[long, short], [short, long]].into_iter().find(fits)
    }

    /// The same if it has that proportion whatever the focal length.
    fn surely(&self, name: &str) -> Option<[f64; 2]> {
        let [width, height] = self.sides(name)?;
        self.told.iter().all(|told| (told * height / width - 1.0).abs() < self.near).then_some([width, height])
    }
}

/// The plane of a region that is a rectangle of this size, with the bowing of the lens that its sides tell.
fn unbowed(candidate: &Candidate, size: [f64; 2], [width, height]: [f64; 2]) -> Option<Map<Pixels, Plane>> {
    /// Bowing at the corners of the picture that nothing is known of, as a standard deviation.
    const USUAL: f64 = 0.02;
    let Candidate { corners, sides } = candidate;
    // The corners begin at another side than the sides do.
    let first = (0..4).min_by(|a, b| {
        let off = |i: &usize| sides[*i].first().map_or(f64::INFINITY, |place| place.at.distance(corners[0]));
        off(a).total_cmp(&off(b))
    })?;
    let sides = std::array::from_fn(|i| sides[(first + i) % 4].as_slice());
    let rectangle = seen_rectangle(corners.map(|at| Seen { at, sd: 1.0 }), sides, size);
    let middle = Point::new(width / 2.0, height / 2.0);
    let lens =
        SeenLens { middle, unit: 0.5 * width.hypot(height), usual: vec![(0.0, USUAL)], edges: vec![], camera: None };
    straighten(&[rectangle], Some(&lens)).ok()
}

fn middle_of(corners: &[Point<Pixels>; 4]) -> Point<Pixels> {
    (corners.iter().fold(Vec2::ZERO, |sum, c| sum + c.raw().to_vec2()) / 4.0).to_point().into()
}

/// Where sides meet, each carried on from its places next to the corner.
fn corners(sides: &Sides) -> Option<[Point<Pixels>; 4]> {
    /// Places of a side that tell its direction at its end.
    const NEXT: usize = 3;
    if sides.iter().any(|side| side.len() < 2 * NEXT) {
        return None;
    }
    let line = |places: &[SidePlace]| {
        let (a, b) = (places[0].at.raw(), places[places.len() - 1].at.raw());
        Line::new(a, b)
    };
    let mut met = [Point::new(0.0, 0.0); 4];
    for (i, corner) in met.iter_mut().enumerate() {
        let before = &sides[(i + 3) % 4];
        let (into, out_of) = (line(&before[before.len() - NEXT..]), line(&sides[i][..NEXT]));
        *corner = into.crossing_point(out_of)?.into();
    }
    Some(met)
}

/// The corners from the one nearest to the top left of the picture.
fn upright(corners: [Point<Pixels>; 4]) -> [Point<Pixels>; 4] {
    let first = (0..4).min_by(|a, b| {
        let sum = |i: &usize| corners[*i].x + corners[*i].y;
        sum(a).total_cmp(&sum(b))
    });
    std::array::from_fn(|i| corners[(first.unwrap_or(0) + i) % 4])
}

/// The radius of its corners in mm, the median of the four: along the line that halves a right angle, a round corner ends
/// (√2 − 1) r before a sharp one.
fn roundness(seeing: &Seeing, plane: &Map<Pixels, Plane>, size: [f64; 2]) -> Option<f64> {
    /// As far as is looked to either side, and its steps, as a part of the shorter side.
    const REACH: f64 = 0.08;
    const STEPS: i32 = 32;
    let pixels = plane.inverse();
    let short = size[0].min(size[1]);
    let gap = |corner: [f64; 2], towards: [f64; 2]| {
        let step = REACH * short / f64::from(STEPS);
        let at = |k: i32| {
            let far = f64::from(k) * step / std::f64::consts::SQRT_2;
            seeing.at(pixels.point(Point::new(corner[0] + far * towards[0], corner[1] + far * towards[1])).raw())
        };
        let quarter = STEPS / 4;
        let (outside, inside) = (mean((-STEPS..-STEPS + quarter).map(at)), mean((STEPS - quarter..STEPS).map(at)));
        let span = minus(inside, outside);
        let covered = |colour: Colour| dot(minus(colour, outside), span) / dot(span, span).max(1e-9);
        let within: f64 = (-STEPS..STEPS).map(|k| covered(at(k))).sum();
        (f64::from(STEPS) - within) * step / (std::f64::consts::SQRT_2 - 1.0)
    };
    let [w, h] = size;
    let mut all = [
        gap([0.0, 0.0], [1.0, 1.0]),
        gap([w, 0.0], [-1.0, 1.0]),
        gap([w, h], [-1.0, -1.0]),
        gap([0.0, h], [1.0, -1.0]),
    ];
    all.sort_by(f64::total_cmp);
    let median = f64::midpoint(all[1], all[2]);
    median.is_finite().then_some(median)
}

/// Whether a region is light, hardly coloured, and lighter than what lies beside each of its sides.
fn is_paper(seeing: &Seeing, corners: &[Point<Pixels>; 4]) -> bool {
    let middle = middle_of(corners).raw();
    let encoded = |colour: Colour| colour.map(to_encoded);
    let lightness = |colour: Colour| encoded(colour).into_iter().sum::<f64>() / 3.0;
    let inside = |share: f64| (0..4).map(move |i| corners[i].raw().lerp(middle, share));
    let own = mean([0.1, 0.3, 0.6].into_iter().flat_map(inside).map(|p| seeing.at(p)));
    let [r, g, b] = encoded(own);
    let coloured = r.max(g).max(b) - r.min(g).min(b);
    let beside = (0..4).all(|i| {
        let (a, b) = (corners[i].raw(), corners[(i + 1) % 4].raw());
        let out = |share: f64| a.lerp(b, share) + (a.midpoint(b) - middle) * 0.1;
        let beyond = mean([0.25, 0.4, 0.5, 0.6, 0.75].map(|share| seeing.at(out(share))));
        lightness(beyond) < lightness(own)
    });
    lightness(own) > LIGHT && coloured < GREY && beside
}
