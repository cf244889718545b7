//! Outlines → as few pages as can be, interlocking.
//!
//! Pieces and pages are rasters. Where a piece may lie on a page is found for all places at once, whole words of bits at a time; it
//! is put where most of its rim touches what lies there or the rim of the page (touching perimeter: A. Lodi, S. Martello, D. Vigo,
//! INFORMS Journal on Computing 11, 1999; here counted in cells). Many orders are tried, each a change of the best one so far.

use kurbo::{Affine, Point, Rect, Size, Vec2};
use rayon::prelude::*;

use super::raster::{Bitmap, Mask, Room, covered};
use super::turns::{STRAY, extent, straight};
use crate::chance::Dice;

/// White between two pieces that share a page.
pub(super) const GAP: f64 = 2.0;
/// White between a piece and the rim of what is printed.
pub(super) const RIM: f64 = 0.5;
/// Words stand no farther from their shape, mm.
const CLOSE: f64 = 5.0;
/// A page has about so many cells, and none smaller than this, mm.
const CELLS: f64 = 40_000.0;
const LEAST_CELL: f64 = 1.0;
/// Orders in a generation, and generations at most.
const BROOD: usize = 8;
const GENERATIONS: usize = 12;
/// Cells of pieces that are looked at in all orders together, at most: what bounds the time.
const WORK: usize = 30_000_000;
/// A piece drawn aslant is also tried straight where that takes no more than this part of its box.
const STRAIGHTER: f64 = 0.85;

/// What is to be put on a page, in its own frame: closed polylines, and the room that words need beside them.
#[derive(Clone, Debug)]
pub(super) struct Shape {
    pub(super) loops: Vec<Vec<Point>>,
    pub(super) words: Size,
}

/// Where one shape went.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub(super) page: usize,
    /// Moves and turns, nothing else.
    pub(super) to_page: Affine,
    /// The room of its words.
    pub(super) words: Option<Rect>,
}

/// The raster of a page.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cells {
    columns: usize,
    rows: usize,
    /// Side of one, mm.
    side: f64,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "cells of a page are far fewer than 2^31"
)]
impl Cells {
    /// Of a page of size `page`. It reaches past the rim by as much as the white around a piece may.
    pub(super) fn of(page: Size) -> Self {
        let (wide, high) = (page.width + 2.0 * Self::BEYOND, page.height + 2.0 * Self::BEYOND);
        let side = (wide * high / CELLS).sqrt().max(LEAST_CELL);
        // Not a part of a cell is lost across.
        let columns = (wide / side).floor();
        let side = wide / columns;
        Self { columns: columns as usize, rows: (high / side).floor() as usize, side }
    }

    const BEYOND: f64 = GAP / 2.0 - RIM;

    /// How many it takes for so many mm.
    fn count(&self, mm: f64) -> usize {
        (mm / self.side - 1e-9).ceil() as usize
    }

    fn at(&self, (x, y): (usize, usize)) -> Vec2 {
        Vec2::new(x as f64, y as f64) * self.side - Vec2::new(Self::BEYOND, Self::BEYOND)
    }

    /// An empty page of them.
    pub(super) fn page(&self) -> Bitmap {
        Bitmap::new(self.columns, self.rows)
    }
}

/// One way a shape may lie: its cells, and how it comes to lie on them.
struct Lying {
    mask: Mask,
    /// To the top left corner of its cells.
    to_mask: Affine,
}

/// All ways a shape may lie, and all that its words may; none of these where it needs or finds no room for them.
struct Ways {
    shape: Vec<Lying>,
    words: Vec<Mask>,
}

/// A spot for each of `shapes`, which fit on a page of size `page` each by itself. Of many orders the one with the fewest pages, and
/// of those the one whose last page is emptiest; at `enough` pages no better one is looked for.
pub(super) fn nest(shapes: &[Shape], page: Size, enough: usize) -> Vec<Spot> {
    let cells = Cells::of(page);
    let ways: Vec<Ways> = shapes.par_iter().map(|shape| ways(shape, page, cells)).collect();
    let area = |ways: &Ways| ways.shape.iter().map(|way| way.mask.cells.count()).min().unwrap_or(0);
    let long =
        |ways: &Ways| ways.shape.iter().map(|way| way.mask.cells.columns.max(way.mask.cells.rows)).max().unwrap_or(0);
    // What counts in an order: first the longest, or the largest.
    let firsts: [Vec<f64>; 2] =
        [&long as &dyn Fn(&Ways) -> usize, &area].map(|of| ways.iter().map(|ways| of(ways) as f64).collect());
    let tried = |worth: Vec<f64>| (put_down(&ways, cells, &worth), worth);
    let better = |a: &(Put, Vec<f64>), b: &(Put, Vec<f64>)| a.0.cost() < b.0.cost();
    let pick = |all: Vec<(Put, Vec<f64>)>| {
        all.into_iter().reduce(|best, other| if better(&other, &best) { other } else { best })
    };
    let Some(mut best) = pick(firsts.into_par_iter().map(tried).collect()) else { return Vec::new() };
    let work: usize = ways.iter().flat_map(|ways| &ways.shape).map(|way| way.mask.cells.rows * cells.rows).sum();
    let generations = GENERATIONS.min(WORK / (work * BROOD).max(1));
    for generation in 0..generations {
        if best.0.pages <= enough {
            break;
        }
        let brood: Vec<(Put, Vec<f64>)> =
            (0..BROOD).into_par_iter().map(|k| tried(changed(&best, (generation * BROOD + k) as u64))).collect();
        let next = pick(brood).expect("a generation is never empty");
        if !better(&best, &next) {
            best = next;
        }
    }
    best.0.spots
}

/// Another order: what came last, and some others, come earlier or later.
fn changed((put, worth): &(Put, Vec<f64>), seed: u64) -> Vec<f64> {
    /// How much, as a standard deviation of the logarithm; and how many of the others.
    const CHANGE: f64 = 0.4;
    const OTHERS: f64 = 0.2;
    let mut dice = Dice(seed);
    let one = |(worth, spot): (&f64, &Spot)| {
        let (by, chosen) = ((CHANGE * dice.normal()).exp(), dice.uniform() < OTHERS);
        if spot.page + 1 == put.pages || chosen { worth * by } else { *worth }
    };
    worth.iter().zip(&put.spots).map(one).collect()
}

/// All shapes put down in one order.
struct Put {
    spots: Vec<Spot>,
    pages: usize,
    on_last: usize,
}

impl Put {
    fn cost(&self) -> (usize, usize) {
        (self.pages, self.on_last)
    }
}

/// Puts down what is worth most first, each on the first page that has room.
fn put_down(ways: &[Ways], cells: Cells, worth: &[f64]) -> Put {
    let mut order: Vec<usize> = (0..ways.len()).collect();
    order.sort_by(|&a, &b| worth[b].total_cmp(&worth[a]).then(a.cmp(&b)));
    let empty = Room::new(&cells.page());
    let mut rooms: Vec<Room> = Vec::new();
    let mut spots: Vec<Option<Spot>> = vec![None; ways.len()];
    for index in order {
        let found = rooms.iter_mut().enumerate().find_map(|(page, room)| put(&ways[index], page, room, cells));
        let spot = found.unwrap_or_else(|| {
            rooms.push(empty.clone());
            let page = rooms.len() - 1;
            put(&ways[index], page, &mut rooms[page], cells).expect("every shape fits on an empty page")
        });
        spots[index] = Some(spot);
    }
    Put {
        pages: rooms.len(),
        on_last: rooms.last().map_or(0, Room::taken),
        spots: spots.into_iter().map(|spot| spot.expect("every shape was put down")).collect(),
    }
}

/// Puts a shape where it lies best, and its words close to it; `None` where there is no room.
fn put(ways: &Ways, page: usize, room: &mut Room, cells: Cells) -> Option<Spot> {
    let mut all: Vec<_> = ways.shape.iter().filter_map(|way| Some((room.best(&way.mask, |_| true)?, way))).collect();
    all.sort_by(|a, b| b.0.0.total_cmp(&a.0.0));
    all.into_iter().find_map(|((_, at), way)| {
        let shift = cells.at(at);
        let spot = Spot { page, to_page: Affine::translate(shift) * way.to_mask, words: None };
        if ways.words.is_empty() {
            room.take(&way.mask, at);
            return Some(spot);
        }
        let mut with = room.clone();
        with.take(&way.mask, at);
        let close = cells.count(CLOSE);
        let beside =
            |words: &Mask| with.best(words, |place| way.mask.near(at, words, place, close)).map(|found| found.1);
        let (words, place) = ways.words.iter().find_map(|words| Some((words, beside(words)?)))?;
        with.take(words, place);
        *room = with;
        let size = Size::new(words.cells.columns as f64, words.cells.rows as f64) * cells.side;
        Some(Spot { words: Some(Rect::from_origin_size(cells.at(place).to_point(), size)), ..spot })
    })
}

/// All ways `shape` may lie on a page. Where an empty page has no room for its words they go without; and a shape that nearly fills
/// its page goes without white around it.
fn ways(shape: &Shape, page: Size, cells: Cells) -> Ways {
    let mut all: Vec<Lying> = Vec::new();
    for turn in turns(shape, page) {
        let lying = lying(shape, turn, page, cells);
        if all.iter().all(|other| other.mask.cells != lying.mask.cells) {
            all.push(lying);
        }
    }
    let Size { width, height } = shape.words;
    let sizes = if shape.words == Size::ZERO { Vec::new() } else { vec![(width, height), (height, width)] };
    let block = |(width, height)| {
        let mut taken = Bitmap::new(cells.count(width), cells.count(height));
        taken.fill();
        Mask::new(taken)
    };
    let ways = Ways { shape: all, words: sizes.into_iter().map(block).collect() };
    let goes_with_them = put(&ways, 0, &mut Room::new(&cells.page()), cells).is_some();
    if goes_with_them { ways } else { Ways { words: Vec::new(), ..ways } }
}

/// Turns in which a shape goes on the page: as it is drawn, straight where it is drawn much aslant, and from there by quarters.
fn turns(shape: &Shape, page: Size) -> Vec<Affine> {
    let box_of = |turn: Affine| extent(&shape.loops, turn).size();
    let as_drawn = box_of(Affine::IDENTITY);
    let straight = straight(&shape.loops);
    let mut firsts = vec![Affine::IDENTITY];
    if box_of(straight).area() < STRAIGHTER * as_drawn.area() {
        firsts.push(straight);
    }
    let quarters = [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]];
    let quarters = quarters.map(|[cos, sin]| Affine::new([cos, sin, -sin, cos, 0.0, 0.0]));
    let all: Vec<Affine> = firsts.into_iter().flat_map(|first| quarters.map(|quarter| quarter * first)).collect();
    let fits = |turn: &Affine| {
        let spare = if turn.as_coeffs()[..2].contains(&0.0) { -1e-9 } else { STRAY };
        let size = box_of(*turn);
        size.width <= page.width - spare && size.height <= page.height - spare
    };
    let fitting: Vec<Affine> = all.into_iter().filter(fits).collect();
    if fitting.is_empty() { super::turns::fitting(&shape.loops, page).into_iter().collect() } else { fitting }
}

fn lying(shape: &Shape, turn: Affine, page: Size, cells: Cells) -> Lying {
    let bounds = extent(&shape.loops, turn);
    let white = bounds.inflate(GAP / 2.0, GAP / 2.0);
    let (mut columns, mut rows, mut origin) = (cells.count(white.width()), cells.count(white.height()), white.origin());
    // What nearly fills the page lies in the middle of it, its white cut off at the rim.
    let corner = bounds.center() - page.to_vec2() / 2.0 + cells.at((0, 0));
    if columns > cells.columns {
        (columns, origin.x) = (cells.columns, corner.x);
    }
    if rows > cells.rows {
        (rows, origin.y) = (cells.rows, corner.y);
    }
    let mut taken = Bitmap::new(columns, rows);
    let turned: Vec<Vec<Point>> = shape.loops.iter().map(|line| line.iter().map(|&p| turn * p).collect()).collect();
    covered(&turned, GAP / 2.0, origin, cells.side, &mut taken);
    Lying { mask: Mask::new(taken), to_mask: Affine::translate(-origin.to_vec2()) * turn }
}

#[cfg(test)]
mod tests {
    use kurbo::Shape as _;
    use proptest::prelude::*;

    use super::*;

    const PAGE: Size = Size::new(185.0, 265.0);

    fn shape(points: &[(f64, f64)]) -> Shape {
        let mut line: Vec<Point> = points.iter().copied().map(Point::from).collect();
        line.extend(line.first().copied());
        Shape { loops: vec![line], words: Size::ZERO }
    }

    fn triangle(side: f64) -> Shape {
        shape(&[(0.0, 0.0), (side, 0.0), (0.0, side)])
    }

    fn pages(spots: &[Spot]) -> usize {
        spots.iter().map(|spot| spot.page + 1).max().unwrap_or(0)
    }

    #[test]
    fn shapes_interlock() {
        // Two in each square of 80 mm, of which two by three go on a page: boxes would take twice the room.
        let all = vec![triangle(75.0); 12];
        assert_eq!(pages(&nest(&all, PAGE, 1)), 1);
    }

    #[test]
    fn a_small_piece_lies_in_the_opening_of_a_large_one() {
        let ring = |half: f64| shape(&[(-half, -half), (half, -half), (half, half), (-half, half)]).loops.remove(0);
        let frame = Shape { loops: vec![ring(91.0), ring(60.0)], words: Size::ZERO };
        let tall = shape(&[(0.0, 0.0), (182.0, 0.0), (182.0, 75.0), (0.0, 75.0)]);
        let spots = nest(&[frame, tall, triangle(100.0)], PAGE, 1);
        assert_eq!(pages(&spots), 1);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn nothing_overlaps_and_nothing_lies_outside_and_it_is_the_same_each_time(
            stars in prop::collection::vec((8.0..70.0f64, 0.3..1.0f64, 3..9_u32, 0.0..1.5f64, prop::bool::ANY), 1..20)
        ) {
            let shapes: Vec<Shape> = stars.iter().map(|&(radius, dent, tips, turn, worded)| {
                let at = |k: u32| {
                    let r = if k.is_multiple_of(2) { radius } else { radius * dent };
                    let way = Vec2::from_angle(turn + f64::from(k) * std::f64::consts::PI / f64::from(tips)) * r;
                    (way.x, way.y)
                };
                let words = if worded { Size::new(40.0, 18.0) } else { Size::ZERO };
                Shape { words, ..shape(&(0..2 * tips).map(at).collect::<Vec<_>>()) }
            }).collect();
            let spots = nest(&shapes, PAGE, 1);
            let again = nest(&shapes, PAGE, 1);
            let placed: Vec<Vec<Point>> = shapes.iter().zip(&spots)
                .map(|(shape, spot)| shape.loops[0].iter().map(|p| spot.to_page * *p).collect()).collect();
            for (i, (line, spot)) in placed.iter().zip(&spots).enumerate() {
                prop_assert_eq!(spot.to_page.as_coeffs(), again[i].to_page.as_coeffs());
                prop_assert!((spot.to_page.determinant() - 1.0).abs() < 1e-9);
                prop_assert!(line.iter().all(|p| PAGE.to_rect().inset(-RIM + 1e-6).contains(*p)), "{:?}", line);
                for other in (0..i).filter(|&j| spots[j].page == spot.page) {
                    let near = line.windows(2).flat_map(|a| placed[other].windows(2).map(move |b| (a, b)))
                        .map(|(a, b)| between(a, b)).fold(f64::INFINITY, f64::min);
                    prop_assert!(near >= GAP - 1e-6, "{} and {}: {} mm", i, other, near);
                    let within = |inner: &[Point], outer: &[Point]| polygon(outer).contains(inner[0]);
                    prop_assert!(!within(line, &placed[other]) && !within(&placed[other], line));
                }
                for (j, other) in placed.iter().enumerate().filter(|(j, _)| spots[*j].page == spot.page) {
                    let Some(words) = spot.words else { continue };
                    prop_assert!(other.windows(2).all(|side| !crate::paper::grid::crosses(side[0], side[1], words.inset(-0.1))));
                    let both = spots[j].words.filter(|_| j != i).map_or(0.0, |words_j| words_j.intersect(words).area());
                    prop_assert!(both < 1e-6);
                }
            }
        }
    }

    fn polygon(line: &[Point]) -> kurbo::BezPath {
        let mut path = kurbo::BezPath::new();
        path.move_to(line[0]);
        line[1..].iter().for_each(|p| path.line_to(*p));
        path
    }

    /// How far two straight lines stay apart.
    fn between(a: &[Point], b: &[Point]) -> f64 {
        let to = |p: Point, line: &[Point]| {
            let along = ((p - line[0]).dot(line[1] - line[0]) / (line[1] - line[0]).hypot2()).clamp(0.0, 1.0);
            p.distance(line[0].lerp(line[1], along))
        };
        let side = |p: Point, line: &[Point]| (line[1] - line[0]).cross(p - line[0]) > 0.0;
        if side(a[0], b) != side(a[1], b) && side(b[0], a) != side(b[1], a) {
            return 0.0;
        }
        to(a[0], b).min(to(a[1], b)).min(to(b[0], a)).min(to(b[1], a))
    }
}
