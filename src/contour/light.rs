//! The light in which a picture's edges were blended, told from the edges themselves.
//!
//! Blur is symmetric, so in the right light a profile across an edge is its own mirror image about the edge; in the wrong
//! one it leans. Many profiles along a slanting edge sample the transition far more finely than one does, as in the
//! slanted-edge method of ISO 12233.

use kurbo::Point;
use rayon::prelude::*;

use super::border::{Crack, Grid};
use super::course::{Glance, Sums};
use super::edge::{Edge, Line, Profile};
use super::outline::Measured;
use super::samples::Samples;
use crate::build_file::Light;

/// Bins per pixel of the finely sampled profile.
const FINE: f64 = 4.0;
/// Bins on either side of the edge.
const BINS: usize = 24;
/// Cracks looked at: enough for hundreds of samples a bin.
const ENOUGH: usize = 1200;
/// Of one border, so many at most.
const LONGEST: usize = 5000;
/// Profiles on either side through which the edge's course is fitted.
const COURSE: usize = 6;

/// Against what the picture's ground lets guess, the other light must be this many times as symmetric: JPEG blends what it
/// spoils in encoded values, so that a photo may look drawn, but hardly a drawing photographed.
const AGAINST_CAMERA: f64 = 8.0;
const AGAINST_DRAWING: f64 = 2.0;
/// And what was guessed so many times.
const WITH: f64 = 1.6;
/// And as many times surer than noise.
const SURE: f64 = 6.0;

/// What edges told of the light.
pub(super) struct Seen {
    /// In which they are more symmetric; `None` when they tell no clear difference.
    pub(super) light: Option<Light>,
    /// The edges of the first so many borders in that light, or in the one that was guessed.
    pub(super) edges: Vec<Measured>,
}

/// The light in which the edges of `borders` are more symmetric. `guess` is kept unless they speak against it loudly.
pub(super) fn find(samples: &Samples, borders: &[(&[Crack], &Grid)], guess: Light) -> Seen {
    let mut stretches: Vec<(&[Crack], Vec<Line>)> = Vec::new();
    let mut seen = 0;
    for (border, grid) in borders {
        if seen > ENOUGH {
            break;
        }
        // A whole border, or the first stretch of a very long one: order matters to the window, its end does not.
        let stretch = &border[..border.len().min(LONGEST)];
        stretches.push((stretch, Line::across(stretch, grid, samples)));
        seen += stretch.len();
    }
    let look = |light| -> (Option<(f64, f64)>, Vec<Edge>) {
        let mut transition = Transition { bins: [Bin::default(); 2 * BINS] };
        let edges: Vec<Edge> =
            stretches.iter().map(|(stretch, lines)| Edge::look(stretch, lines, light, true)).collect();
        edges.iter().for_each(|edge| transition.add(edge));
        (transition.lean(), edges)
    };
    let (camera, drawing) = rayon::join(|| look(Light::Camera), || look(Light::Drawing));
    let light = clearer(camera.0, drawing.0, guess);
    let edges = if light.unwrap_or(guess) == Light::Camera { camera.1 } else { drawing.1 };
    // Of a border seen in part there is nothing to keep, nor of those after it.
    let whole = borders.iter().zip(&edges).take_while(|((border, _), _)| border.len() <= LONGEST);
    let whole: Vec<(&[Crack], &Edge)> = whole.map(|((border, _), edge)| (*border, edge)).collect();
    Seen { light, edges: whole.into_par_iter().map(|(border, edge)| edge.measured(border)).collect() }
}

/// The light that leans less, each with what noise may make of it, if that is clear.
fn clearer(camera: Option<(f64, f64)>, drawing: Option<(f64, f64)>, guess: Light) -> Option<Light> {
    let ((camera, camera_noise), (drawing, drawing_noise)) = (camera?, drawing?);
    let (better, times) =
        if camera < drawing { (Light::Camera, drawing / camera) } else { (Light::Drawing, camera / drawing) };
    let sure = (camera - drawing).abs() > SURE * camera_noise.max(drawing_noise) + 1e-6;
    let needed = match (better, guess) {
        (Light::Drawing, Light::Camera) => AGAINST_CAMERA,
        (Light::Camera, Light::Drawing) => AGAINST_DRAWING,
        _ => WITH,
    };
    (sure && times > needed).then_some(better)
}

/// Coverage over distance within one bin, as sums for a line of regression.
#[derive(Clone, Copy, Default)]
struct Bin {
    n: f64,
    u: f64,
    uu: f64,
    c: f64,
    uc: f64,
    cc: f64,
}

impl Bin {
    fn add(&mut self, u: f64, c: f64) {
        self.n += 1.0;
        self.u += u;
        self.uu += u * u;
        self.c += c;
        self.uc += u * c;
        self.cc += c * c;
    }

    /// Coverage at the middle of the bin, where u = 0, and its variance; `None` for too few samples.
    fn middle(&self) -> Option<(f64, f64)> {
        let spread = self.uu - self.u * self.u / self.n;
        // Along a row or column of pixels all cross an upright edge at the same places, which tell nothing of the rest.
        if self.n < 12.0 || spread < 0.25 * self.n / 12.0 {
            return None;
        }
        let slope = (self.uc - self.u * self.c / self.n) / spread;
        let rest = self.cc - self.c * self.c / self.n - slope * slope * spread;
        Some(((self.c - slope * self.u) / self.n, rest.max(0.0) / (self.n - 2.0) / self.n))
    }
}

/// The finely sampled profile, outside first.
struct Transition {
    bins: [Bin; 2 * BINS],
}

impl Transition {
    fn add(&mut self, edge: &Edge) {
        let depths: Vec<Option<f64>> = edge.profiles.iter().map(|p| p.inwards(edge.window)).collect();
        for i in COURSE..edge.profiles.len().saturating_sub(COURSE) {
            let near = i - COURSE..=i + COURSE;
            let Some((depth, slope)) = course(&edge.profiles[near.clone()], &depths[near], &edge.profiles[i]) else {
                continue;
            };
            let square = 1.0 / slope.hypot(1.0);
            for (inwards, coverage) in edge.profiles[i].coverages(edge.window) {
                let place = (inwards - depth) * square * FINE + 24.0;
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be a bin")]
                if (0.0..48.0).contains(&place) {
                    self.bins[place as usize].add(place.fract() - 0.5, coverage);
                }
            }
        }
    }

    /// Mean square of the difference from the mirror image, and what noise alone would make of it.
    fn lean(&self) -> Option<(f64, f64)> {
        let (mut sum, mut noise, mut count) = (0.0, 0.0, 0.0);
        for i in 0..BINS {
            let pair = (self.bins[i].middle(), self.bins[2 * BINS - 1 - i].middle());
            let (Some((c1, v1)), Some((c2, v2))) = pair else { continue };
            sum += (c1 + c2 - 1.0).powi(2);
            noise += v1 + v2;
            count += 1.0;
        }
        (count >= 6.0).then(|| (sum / count, noise / count))
    }
}

/// Depth and slope of the edge at the middle profile, by least squares over its neighbours; `None` where they do not
/// lie side by side on a smooth course. Depths are counted from the middle profile's own crack.
fn course(near: &[Profile], depths: &[Option<f64>], middle: &Profile) -> Option<(f64, f64)> {
    let mut all = Vec::with_capacity(near.len());
    for (profile, depth) in near.iter().zip(depths) {
        let (along, deeper) = profile.line.beside(middle.line)?;
        let y = (*depth)? + deeper;
        all.push((along, Point::new(y, 0.0)));
    }
    let glances = Sums::of(&all)?.glances(0.0);
    let Glance { at, along, rms, .. } = glances.get(1)?;
    (*rms < 0.5 && along.x.abs() < 1.2).then_some((at.x, along.x))
}
