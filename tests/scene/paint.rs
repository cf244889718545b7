//! Shapes → pixels, by exact area: a pixel takes of a colour what its square is covered.

use image::{DynamicImage, RgbImage, RgbaImage};
use kurbo::{Point, Rect, Vec2};
use rayon::prelude::*;
use spanwright::picture::srgb;

use super::camera::Camera;
use super::random::Random;
use super::{Cloth, Dress, Place, Scene};

/// Rows painted at a time; only the memory in use depends on it.
const BAND: usize = 64;

/// In which values colours are mixed at an edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Blend {
    Encoded,
    Linear,
}

/// Colour with alpha, multiplied by it.
type Light = [f32; 4];

pub(super) struct Painter {
    ground: Light,
    layers: Vec<Layer>,
    /// Cells per pixel along each axis. The sum of `fine` x `fine` exact areas is the exact area of a pixel; a finer
    /// grid is needed only for the blur, whose sum over cells of at most 0.8 of its deviation is exact to 1e-6.
    fine: usize,
    /// Half of a symmetric Gaussian over cells, from the middle.
    blur: Vec<f32>,
    cloth: Option<Cloth>,
}

#[derive(Clone)]
struct Layer {
    /// In cells; the outline turns one way, holes the other.
    rings: Vec<Vec<Point>>,
    bounds: Rect,
    finish: Finish,
}

/// What a layer does to what it covers.
#[derive(Clone, Copy)]
enum Finish {
    Colour([f32; 3]),
    /// Spots, with so many cells a pixel.
    Cloth(Cloth, f64),
    /// Lets this part of the light through.
    Shadow(f32),
}

impl Finish {
    /// The colour at a cell that shows `under` so far.
    fn over(&self, under: Light, x: f64, y: f64) -> Light {
        match self {
            Self::Colour([r, g, b]) => [*r, *g, *b, 1.0],
            Self::Cloth(cloth, fine) => spotted(cloth, x / fine, y / fine),
            Self::Shadow(part) => [under[0] * part, under[1] * part, under[2] * part, under[3]],
        }
    }
}

fn spotted(cloth: &Cloth, x: f64, y: f64) -> Light {
    let [first, second] = cloth.colours.map(|colour| colour.map(|sample| srgb::byte_to_linear(sample) as f32));
    let share = cloth.share(x, y);
    let [r, g, b] = [0, 1, 2].map(|c| first[c] + (second[c] - first[c]) * share);
    [r, g, b, 1.0]
}

impl Painter {
    pub(super) fn new(scene: &Scene, place: &Place, blend: Blend, blur: f64) -> Self {
        let fine = if blur > 0.0 { (1.25 / blur).ceil().clamp(1.0, 6.0) as usize } else { 1 };
        let light = |colour: [u8; 3]| {
            colour.map(|sample| match blend {
                Blend::Encoded => f64::from(sample) / 255.0,
                Blend::Linear => srgb::byte_to_linear(sample),
            } as f32)
        };
        let layers = scene.shapes.iter().map(|shape| {
            let outline = place.rings(&shape.outline).into_iter().map(|ring| (ring, 1.0));
            let holes = shape.holes.iter().flat_map(|hole| place.rings(hole)).map(|ring| (ring, -1.0));
            Layer::new(outline.chain(holes), fine as f64, light(shape.colour))
        });
        let layers = layers.collect();
        let ground = scene.ground.map_or([0.0; 4], |colour| {
            let [r, g, b] = light(colour);
            [r, g, b, 1.0]
        });
        Self { ground, layers, fine, blur: gaussian(blur * fine as f64), cloth: None }
    }

    /// With spotted surfaces in place of those of one colour, and soft shadows under the shapes.
    pub(super) fn dressed(mut self, dress: &Dress) -> Self {
        /// Steps from full shadow to none, and the light that each lets through.
        const STEPS: u32 = 24;
        const THROUGH: f32 = 0.97;
        self.cloth = dress.ground;
        let fine = self.fine as f64;
        if let Some(cloth) = dress.shapes {
            self.layers.iter_mut().for_each(|layer| layer.finish = Finish::Cloth(cloth, fine));
        }
        if let Some(way) = dress.shadow {
            let fallen = |step: u32| way * fine * (f64::from(step) / f64::from(STEPS));
            let shadows =
                |layer: &Layer| (1..=STEPS).map(|step| layer.shadow(fallen(step), THROUGH)).collect::<Vec<_>>();
            self.layers = self.layers.iter().flat_map(shadows).chain(self.layers.clone()).collect();
        }
        self
    }

    /// Encoded values, as they are; with alpha where the ground is transparent.
    pub(super) fn drawing(&self, size: [u32; 2]) -> DynamicImage {
        let byte = |value: f32| (f64::from(value) * 255.0).round().clamp(0.0, 255.0) as u8;
        if self.ground[3] == 1.0 {
            let mut picture = RgbImage::new(size[0], size[1]);
            self.each_pixel(size, &mut picture, 3, 0, |pixel, [r, g, b, _], _| {
                pixel.copy_from_slice(&[r, g, b].map(byte))
            });
            return picture.into();
        }
        let mut picture = RgbaImage::new(size[0], size[1]);
        self.each_pixel(size, &mut picture, 4, 0, |pixel, [r, g, b, alpha], _| {
            let of = |value: f32| if alpha > 0.0 { byte(value / alpha) } else { 0 };
            pixel.copy_from_slice(&[of(r), of(g), of(b), byte(alpha)]);
        });
        picture.into()
    }

    /// Linear light, encoded, with noise.
    pub(super) fn photo(&self, camera: &Camera) -> RgbImage {
        let mut picture = RgbImage::new(camera.size[0], camera.size[1]);
        self.each_pixel(camera.size, &mut picture, 3, camera.seed, |pixel, light, random| {
            let ([a, b], [c, _]) = (random.normal_pair(), random.normal_pair());
            for ((sample, value), noise) in pixel.iter_mut().zip(light).zip([a, b, c]) {
                let level = srgb::to_encoded(f64::from(value)) * 255.0 + noise * camera.noise;
                *sample = level.round().clamp(0.0, 255.0) as u8;
            }
        });
        picture
    }

    /// Bands side by side; each row has a randomness of its own, so that the bands may come in any order.
    fn each_pixel<F>(&self, [width, height]: [u32; 2], samples: &mut [u8], channels: usize, seed: u64, write: F)
    where
        F: Fn(&mut [u8], Light, &mut Random) + Sync,
    {
        let (width, height) = (width as usize, height as usize);
        samples.par_chunks_mut(BAND * width * channels).enumerate().for_each(|(index, out)| {
            let first = index * BAND;
            let rows = BAND.min(height - first);
            let band = self.band(width, first, rows);
            for (row, (pixels, light)) in out.chunks_mut(width * channels).zip(band.chunks(width)).enumerate() {
                let mut random = Random::seeded((seed << 32) + (first + row) as u64);
                for (pixel, light) in pixels.chunks_mut(channels).zip(light) {
                    write(pixel, *light, &mut random);
                }
            }
        });
    }

    /// Pixels of the rows from `first` on.
    fn band(&self, width: usize, first: usize, rows: usize) -> Vec<Light> {
        // The scene goes on outside the picture, and the blur brings some of it in.
        let around = self.blur.len() - 1;
        let (columns, lines) = (width * self.fine + 2 * around, rows * self.fine + 2 * around);
        let corner = Point::new(-(around as f64), (first * self.fine) as f64 - around as f64);
        let mut cells = vec![self.ground; columns * lines];
        if let Some(cloth) = &self.cloth {
            for (i, cell) in cells.iter_mut().enumerate() {
                let at = |v: usize, start: f64| (v as f64 + start) / self.fine as f64;
                *cell = spotted(cloth, at(i % columns, corner.x), at(i / columns, corner.y));
            }
        }
        for layer in &self.layers {
            layer.paint(&mut cells, columns, lines, corner);
        }
        let across = blurred(&cells, columns, around, self.fine, &self.blur);
        let across = transposed(&across, width);
        let down = blurred(&across, lines, around, self.fine, &self.blur);
        transposed(&down, rows)
    }
}

impl Layer {
    fn new(rings: impl Iterator<Item = (Vec<Point>, f64)>, fine: f64, colour: [f32; 3]) -> Self {
        let rings: Vec<Vec<Point>> = rings
            .map(|(mut ring, turn)| {
                ring.iter_mut().for_each(|p| *p = (p.to_vec2() * fine).to_point());
                if signed_area(&ring) * turn < 0.0 {
                    ring.reverse();
                }
                ring
            })
            .collect();
        let mut points = rings.iter().flatten();
        let first = *points.next().expect("a shape has points");
        let bounds = points.fold(Rect::from_points(first, first), |around, p| around.union_pt(*p));
        Self { rings, bounds, finish: Finish::Colour(colour) }
    }

    /// Its shadow, fallen so far, in cells.
    fn shadow(&self, fallen: Vec2, through: f32) -> Self {
        let moved = |ring: &Vec<Point>| ring.iter().map(|p| *p + fallen).collect();
        Self {
            rings: self.rings.iter().map(moved).collect(),
            bounds: self.bounds + fallen,
            finish: Finish::Shadow(through),
        }
    }

    /// Over `cells`, whose top left corner lies at `corner`.
    fn paint(&self, cells: &mut [Light], columns: usize, lines: usize, corner: Point) {
        let frame = Rect::from_origin_size(corner, (columns as f64, lines as f64));
        let part = self.bounds.intersect(frame).expand();
        if part.width() <= 0.0 || part.height() <= 0.0 {
            return;
        }
        let (left, top) = ((part.x0 - corner.x) as usize, (part.y0 - corner.y) as usize);
        let mut areas = Areas::new(part);
        for ring in &self.rings {
            let next = ring.iter().skip(1).chain(&ring[..1]);
            ring.iter().zip(next).for_each(|(a, b)| areas.add_edge(*a, *b));
        }
        for (row, line) in areas.sums.chunks(areas.stride).enumerate() {
            let start = (top + row) * columns + left;
            let mut covered = 0.0;
            for (column, (cell, change)) in cells[start..start + areas.width].iter_mut().zip(line).enumerate() {
                covered += change;
                let share = (covered.abs() as f32).clamp(0.0, 1.0);
                if share == 0.0 {
                    continue;
                }
                let over = self.finish.over(*cell, part.x0 + column as f64, part.y0 + row as f64);
                for (value, over) in cell.iter_mut().zip(over) {
                    *value += (over - *value) * share;
                }
            }
        }
    }
}

/// For each cell, by how much the covered area grows from its left neighbour. The running sum along a line is the
/// exact signed area of each cell under the polygons (the cell accumulation of FreeType's smooth rasteriser).
struct Areas {
    origin: Point,
    width: usize,
    height: usize,
    /// Two columns more than `width`, for what an edge on the right border spills.
    stride: usize,
    sums: Vec<f64>,
}

impl Areas {
    fn new(part: Rect) -> Self {
        let (width, height) = (part.width() as usize, part.height() as usize);
        Self { origin: part.origin(), width, height, stride: width + 2, sums: vec![0.0; (width + 2) * height] }
    }

    fn add_edge(&mut self, from: Point, to: Point) {
        let (from, to) = (from - self.origin.to_vec2(), to - self.origin.to_vec2());
        let (turn, top, bottom) = if from.y < to.y { (1.0, from, to) } else { (-1.0, to, from) };
        let (first, last) = (top.y.max(0.0), bottom.y.min(self.height as f64));
        if first >= last {
            return;
        }
        let lean = (bottom.x - top.x) / (bottom.y - top.y);
        let x_at = |y: f64| top.x + (y - top.y) * lean;
        // Left of the frame an edge covers whole lines, right of it nothing: cut it there and stand the parts upright.
        let mut cuts = vec![first, last];
        for border in [0.0, self.width as f64] {
            let y = top.y + (border - top.x) / lean;
            if y > first && y < last {
                cuts.push(y);
            }
        }
        cuts.sort_by(f64::total_cmp);
        for pair in cuts.windows(2) {
            let inside = |x: f64| x.clamp(0.0, self.width as f64);
            let (a, b) = (inside(x_at(pair[0])), inside(x_at(pair[1])));
            self.add_inside(Point::new(a, pair[0]), Point::new(b, pair[1]), turn);
        }
    }

    /// An edge running down within the frame.
    fn add_inside(&mut self, top: Point, bottom: Point, turn: f64) {
        if bottom.y <= top.y {
            return;
        }
        let lean = (bottom.x - top.x) / (bottom.y - top.y);
        let mut at = top;
        for row in top.y as usize..self.height {
            if at.y >= bottom.y {
                break;
            }
            let end = if (row + 1) as f64 >= bottom.y {
                bottom
            } else {
                let y = (row + 1) as f64;
                Point::new((top.x + (y - top.y) * lean).clamp(0.0, self.width as f64), y)
            };
            self.add_in_line(row, at.x, end.x, (end.y - at.y) * turn);
            at = end;
        }
    }

    /// `tall`: signed height of the edge within the line. Each cell it crosses gets its part of that height, shared
    /// with the right neighbour by where the part lies in the cell.
    fn add_in_line(&mut self, row: usize, from: f64, to: f64, tall: f64) {
        let line = &mut self.sums[row * self.stride..(row + 1) * self.stride];
        let (left, right) = (from.min(to), from.max(to));
        let mut x = left;
        loop {
            let cell = x as usize;
            let end = right.min((cell + 1) as f64);
            let part = if right > left { tall * (end - x) / (right - left) } else { tall };
            let behind = (x + end) / 2.0 - cell as f64;
            line[cell] += part * (1.0 - behind);
            line[cell + 1] += part * behind;
            if end >= right {
                return;
            }
            x = end;
        }
    }
}

fn signed_area(ring: &[Point]) -> f64 {
    let next = ring.iter().skip(1).chain(&ring[..1]);
    ring.iter().zip(next).map(|(a, b)| a.to_vec2().cross(b.to_vec2())).sum::<f64>() / 2.0
}

/// From the middle outwards, to where less than a millionth is left; the whole sums to 1.
fn gaussian(deviation: f64) -> Vec<f32> {
    let reach = (deviation * 5.0).ceil() as u32;
    let weights: Vec<f64> = (0..=reach)
        .map(|step| if step == 0 { 1.0 } else { (-0.5 * (f64::from(step) / deviation).powi(2)).exp() })
        .collect();
    let sum = 2.0 * weights.iter().sum::<f64>() - weights[0];
    weights.iter().map(|weight| (weight / sum) as f32).collect()
}

/// Blurs along lines of `length` cells, drops `around` cells at both ends, and takes the mean of every `fine` of the rest.
fn blurred(cells: &[Light], length: usize, around: usize, fine: usize, half: &[f32]) -> Vec<Light> {
    let mut kernel = half[1..].iter().rev().chain(half).copied().collect::<Vec<f32>>();
    // The mean of neighbours is part of the same kernel.
    if fine > 1 {
        let mut wide = vec![0.0; kernel.len() + fine - 1];
        for shift in 0..fine {
            kernel.iter().enumerate().for_each(|(at, weight)| wide[at + shift] += weight / fine as f32);
        }
        kernel = wide;
    }
    let mut out = Vec::with_capacity(cells.len() / fine);
    let mut alike = vec![1; length];
    for line in cells.chunks(length) {
        // How many equal cells follow from each on: most windows hold one colour, and blurring changes nothing there.
        for at in (0..length - 1).rev() {
            alike[at] = if line[at] == line[at + 1] { alike[at + 1] + 1 } else { 1 };
        }
        for start in (0..length - 2 * around).step_by(fine) {
            let window = &line[start..start + kernel.len()];
            out.push(if alike[start] >= kernel.len() { line[start] } else { weighted(window, &kernel) });
        }
    }
    out
}

fn weighted(window: &[Light], kernel: &[f32]) -> Light {
    window
        .iter()
        .zip(kernel)
        .fold([0.0; 4], |sum, (cell, weight)| std::array::from_fn(|channel| sum[channel] + cell[channel] * weight))
}

fn transposed(cells: &[Light], length: usize) -> Vec<Light> {
    let lines = cells.len() / length;
    (0..cells.len()).map(|at| cells[at % lines * length + at / lines]).collect()
}
