//! A picture, much smaller → its evenly coloured regions that have four sides.

use rayon::prelude::*;

use kurbo::Point;

use crate::picture::Picture;

/// Longest side of the small picture, in pixels.
const SMALL: usize = 1000;
/// Changes of colour over two small pixels (encoded) that part regions: sharp edges first.
const STEPS: [f32; 5] = [0.25, 0.14, 0.08, 0.045, 0.025];
/// Least and most of the picture that a sheet or card covers.
const LEAST: f64 = 0.000_5;
const MOST: f64 = 0.6;
/// A region, its holes filled, covers this part of its convex hull at least, and the hull's best four corners that of it.
const FILLED: f64 = 0.9;
const FOUR_SIDED: f64 = 0.92;
/// Regions end so many small pixels before the edge that parts them from the next.
const BEFORE_EDGE: f64 = 1.5;
/// Most regions that are looked at closely.
const MOST_REGIONS: usize = 40;

/// Corners so near to those of another region, as a part of the diagonal, are the same.
const NEAR: f64 = 0.02;

/// A region with four sides.
#[derive(Clone, Copy, Debug)]
pub(super) struct Quad {
    /// Clockwise as seen, in pixels of the picture.
    pub(super) corners: [Point; 4],
    /// How far they may be off, likewise.
    pub(super) off: f64,
}

/// The four-sided regions of a picture, each of them once or a few times.
pub(super) fn quads(picture: &Picture) -> Vec<Quad> {
    let small = Small::of(picture);
    if small.width < 16 || small.height < 16 {
        return Vec::new();
    }
    let changes = small.changes();
    let all: Vec<[Point; 4]> = STEPS.par_iter().flat_map_iter(|step| small.regions(&changes, *step)).collect();
    let mut kept: Vec<[Point; 4]> = Vec::new();
    for quad in all {
        let near = NEAR * quad[0].distance(quad[2]);
        let near = |other: &[Point; 4]| (0..4).all(|i| other.iter().any(|p| p.distance(quad[i]) < near));
        if !kept.iter().any(near) && kept.len() < MOST_REGIONS {
            kept.push(quad);
        }
    }
    let factor = small.factor as f64;
    let to_picture = |quad: [Point; 4]| Quad {
        corners: quad.map(|p| Point::new(p.x * factor, p.y * factor)),
        off: (2.5 * factor).max(4.0),
    };
    kept.into_iter().map(to_picture).collect()
}

/// A picture of which each pixel is the mean of many.
struct Small {
    colours: Vec<[f32; 3]>,
    width: usize,
    height: usize,
    /// Pixels of the picture along a side of one of these.
    factor: usize,
}

/// A stretch of a row.
#[derive(Clone, Copy)]
struct Run {
    y: usize,
    from: usize,
    to: usize,
}

impl Small {
    fn of(picture: &Picture) -> Self {
        let [wide, high] = picture.size().map(|side| side as usize);
        let factor = wide.max(high).div_ceil(SMALL);
        let (width, height) = (wide / factor, high / factor);
        let bytes = match picture.samples() {
            image::DynamicImage::ImageRgb8(image) => Some(image.as_raw().as_slice()),
            _ => None,
        };
        let scale = 1.0 / (factor * factor) as f32;
        let row = |y: usize| -> Vec<[f32; 3]> {
            let mut sums = vec![[0.0_f32; 3]; width];
            for inner in y * factor..(y + 1) * factor {
                for (x, sum) in sums.iter_mut().enumerate() {
                    for column in x * factor..(x + 1) * factor {
                        let colour = match bytes {
                            Some(bytes) => {
                                let at = (inner * wide + column) * 3;
                                [bytes[at], bytes[at + 1], bytes[at + 2]].map(|v| f32::from(v) / 255.0)
                            }
                            None => pixel(picture, column, inner),
                        };
                        *sum = std::array::from_fn(|c| sum[c] + colour[c]);
                    }
                }
            }
            sums.into_iter().map(|sum| sum.map(|v| v * scale)).collect()
        };
        let rows: Vec<Vec<[f32; 3]>> = (0..height).into_par_iter().map(row).collect();
        Self { colours: rows.concat(), width, height, factor }
    }

    /// How much colours change around each pixel.
    fn changes(&self) -> Vec<f32> {
        let at = |x: usize, y: usize| self.colours[y * self.width + x];
        let apart = |a: [f32; 3], b: [f32; 3]| (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f32::max);
        let row = |y: usize| -> Vec<f32> {
            let (above, below) = (y.saturating_sub(1), (y + 1).min(self.height - 1));
            let change = |x: usize| {
                let (before, after) = (x.saturating_sub(1), (x + 1).min(self.width - 1));
                apart(at(before, y), at(after, y)).max(apart(at(x, above), at(x, below)))
            };
            (0..self.width).map(change).collect()
        };
        (0..self.height).into_par_iter().flat_map_iter(row).collect()
    }

    /// Four-sided regions within which nothing changes by more than `step`, and those that such changes run around.
    fn regions(&self, changes: &[f32], step: f32) -> Vec<[Point; 4]> {
        let even = self.connected(&|i| changes[i] <= step);
        let edges = self.connected(&|i| changes[i] > step);
        let grown = even.iter().filter_map(|runs| self.four_sided(runs, BEFORE_EDGE));
        grown.chain(edges.iter().filter_map(|runs| self.four_sided(runs, -0.5))).collect()
    }

    /// The connected regions of the pixels that `has` likes, as runs of rows; those of a sensible size that do not touch the
    /// picture's border.
    fn connected(&self, has: &dyn Fn(usize) -> bool) -> Vec<Vec<Run>> {
        let mut runs: Vec<Run> = Vec::new();
        let mut parents: Vec<usize> = Vec::new();
        let mut above = 0..0;
        for y in 0..self.height {
            let start = runs.len();
            let mut x = 0;
            while x < self.width {
                if !has(y * self.width + x) {
                    x += 1;
                    continue;
                }
                let from = x;
                while x < self.width && has(y * self.width + x) {
                    x += 1;
                }
                let this = runs.len();
                runs.push(Run { y, from, to: x });
                parents.push(this);
                for k in above.clone() {
                    if runs[k].from < x && from < runs[k].to {
                        let (a, b) = (root(&mut parents, k), root(&mut parents, this));
                        parents[a.max(b)] = a.min(b);
                    }
                }
            }
            above = start..runs.len();
        }
        let mut regions: Vec<Vec<Run>> = vec![Vec::new(); runs.len()];
        for k in 0..runs.len() {
            regions[root(&mut parents, k)].push(runs[k]);
        }
        let inner = |runs: &Vec<Run>| {
            runs.iter().all(|run| run.from > 0 && run.to < self.width && run.y > 0 && run.y + 1 < self.height)
        };
        regions.retain(|runs| runs.len() > 4 && inner(runs));
        regions
    }

    /// The corners of a region, moved outwards by so many small pixels, if four describe it.
    fn four_sided(&self, runs: &[Run], outwards: f64) -> Option<[Point; 4]> {
        let all = (self.width * self.height) as f64;
        let mut rows: Vec<Run> = Vec::new();
        for run in runs {
            match rows.last_mut() {
                Some(row) if row.y == run.y => {
                    (row.from, row.to) = (row.from.min(run.from), row.to.max(run.to));
                }
                _ => rows.push(*run),
            }
        }
        let filled = rows.iter().map(|row| row.to - row.from).sum::<usize>() as f64;
        if !(LEAST * all..MOST * all).contains(&filled) {
            return None;
        }
        let ends = rows.iter().flat_map(|row| {
            let (y, from, to) = (row.y as f64, row.from as f64, row.to as f64);
            [(from, y), (from, y + 1.0), (to, y), (to, y + 1.0)].map(|(x, y)| Point::new(x, y))
        });
        let hull = hull(ends.collect());
        let whole = area(&hull);
        if filled < FILLED * whole {
            return None;
        }
        let quad = largest_quad(&simplified(hull))?;
        if area(&quad) < FOUR_SIDED * whole {
            return None;
        }
        let middle = quad.iter().fold(kurbo::Vec2::ZERO, |sum, p| sum + p.to_vec2()) / 4.0;
        // A corner lies farther from the middle than its sides by about √2.
        let moved = |p: Point| {
            let out = p - middle.to_point();
            p + out / out.hypot().max(1e-9) * (outwards * std::f64::consts::SQRT_2)
        };
        Some(quad.map(moved))
    }
}

fn pixel(picture: &Picture, x: usize, y: usize) -> [f32; 3] {
    let place = |at: usize| u32::try_from(at).expect("within the picture");
    let [r, g, b, _] = picture.pixel(place(x), place(y));
    #[expect(clippy::cast_possible_truncation, reason = "colours")]
    [r, g, b].map(|v| v as f32)
}

fn root(parents: &mut [usize], mut at: usize) -> usize {
    while parents[at] != at {
        parents[at] = parents[parents[at]];
        at = parents[at];
    }
    at
}

/// Clockwise as seen, no three on a line (A. Andrew, Information Processing Letters 9, 1979).
fn hull(mut points: Vec<Point>) -> Vec<Point> {
    points.sort_by(|p, q| p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y)));
    points.dedup();
    let half = |points: &mut dyn Iterator<Item = Point>| {
        let mut half: Vec<Point> = Vec::new();
        for p in points {
            while let [.., a, b] = half[..]
                && (b - a).cross(p - b) <= 0.0
            {
                half.pop();
            }
            half.push(p);
        }
        half.pop();
        half
    };
    let mut all = half(&mut points.iter().copied());
    all.extend(half(&mut points.iter().rev().copied()));
    all
}

fn area(polygon: &[Point]) -> f64 {
    let n = polygon.len();
    (0..n).map(|i| polygon[i].to_vec2().cross(polygon[(i + 1) % n].to_vec2())).sum::<f64>().abs() / 2.0
}

/// At most 24 of its corners: the one that tells least is taken out again and again.
fn simplified(mut polygon: Vec<Point>) -> Vec<Point> {
    const CORNERS: usize = 24;
    while polygon.len() > CORNERS {
        let n = polygon.len();
        let tells = |i: usize| {
            let (a, b, c) = (polygon[(i + n - 1) % n], polygon[i], polygon[(i + 1) % n]);
            (b - a).cross(c - a).abs()
        };
        let least = (0..n).min_by(|a, b| tells(*a).total_cmp(&tells(*b))).expect("it has corners");
        polygon.remove(least);
    }
    polygon
}

/// The largest quadrilateral between corners of a convex polygon, clockwise.
fn largest_quad(polygon: &[Point]) -> Option<[Point; 4]> {
    let n = polygon.len();
    if n < 4 {
        return None;
    }
    let beyond = |i: usize, j: usize, range: std::ops::Range<usize>| {
        let (a, b) = (polygon[i], polygon[j]);
        range.map(|k| (polygon[k % n], (b - a).cross(polygon[k % n] - a).abs())).max_by(|p, q| p.1.total_cmp(&q.1))
    };
    let mut best: Option<(f64, [Point; 4])> = None;
    for i in 0..n {
        for j in i + 2..n {
            let (Some((p, one)), Some((q, other))) = (beyond(i, j, i + 1..j), beyond(i, j, j + 1..i + n)) else {
                continue;
            };
            if best.is_none_or(|(most, _)| one + other > most) {
                best = Some((one + other, [polygon[i], p, polygon[j], q]));
            }
        }
    }
    best.map(|(_, quad)| quad)
}
