//! Outlines → as few pages as can be, interlocking.
//!
//! Pieces and pages are rasters. Where a piece may lie on a page is found for all places at once, whole words of bits at a time; it
//! is put where most of its rim touches what lies there or the rim of the page (touching perimeter: A. Lodi, S. Martello, D. Vigo,
//! INFORMS Journal on Computing 11, 1999; here counted in cells). Many orders are tried, each a change of the best one so far.

use kurbo::{Affine, Rect, Size};
use rayon::prelude::*;

use super::poses::{Cells, Pose, Seat, Shape, Taking, poses};
use super::raster::{Mask, Room};
use super::squeeze::squeeze;
use crate::chance::Dice;

/// A page has about so many cells, and none smaller than this, mm.
const CELLS: f64 = 160_000.0;
const LEAST_CELL: f64 = 0.5;
/// Orders in a generation, and generations at most.
const BROOD: usize = 8;
const GENERATIONS: usize = 12;
/// Cells of pieces that are looked at in all orders together, at most: what bounds the time.
const WORK: usize = 90_000_000;

/// Where one shape went.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub(super) page: usize,
    /// Moves and turns, nothing else.
    pub(super) to_page: Affine,
    /// The room of its words.
    pub(super) words: Option<Rect>,
}

impl Spot {
    fn of(seat: Seat, poses: &[Pose]) -> Self {
        let pose = &poses[seat.pose];
        Self {
            page: seat.page,
            to_page: Affine::translate(seat.at) * pose.to_box,
            words: pose.words.map(|words| words + seat.at),
        }
    }
}

/// The cells of each pose of a shape.
type Ways = Vec<Mask>;

/// A spot for each of `shapes`, which fit on a page of size `page` each by itself. Of many orders the one with the fewest pages, and
/// of those the one whose last page is emptiest; if `thorough`, of more orders, and then on fewer pages if shapes go on them. At
/// `enough` pages no better ones are looked for.
pub(super) fn nest(shapes: &[Shape], page: Size, enough: usize, thorough: bool) -> Vec<Spot> {
    let cells = Cells::of(page, CELLS, LEAST_CELL);
    let (poses, ways): (Vec<Vec<Pose>>, Vec<Ways>) =
        shapes.par_iter().map(|shape| distinct(poses(shape, page), cells)).unzip();
    let area = |ways: &Ways| ways.iter().map(|mask| mask.cells.count()).min().unwrap_or(0);
    let long = |ways: &Ways| ways.iter().map(|mask| mask.cells.columns.max(mask.cells.rows)).max().unwrap_or(0);
    // What counts in an order: first the longest, or the largest.
    let firsts: [Vec<f64>; 2] =
        [&long as &dyn Fn(&Ways) -> usize, &area].map(|of| ways.iter().map(|ways| of(ways) as f64).collect());
    let tried = |worth: Vec<f64>| (put_down(&ways, cells, &worth), worth);
    let better = |a: &(Put, Vec<f64>), b: &(Put, Vec<f64>)| a.0.cost() < b.0.cost();
    let pick = |all: Vec<(Put, Vec<f64>)>| {
        all.into_iter().reduce(|best, other| if better(&other, &best) { other } else { best })
    };
    let Some(mut best) = pick(firsts.into_par_iter().map(tried).collect()) else { return Vec::new() };
    let work: usize = ways.iter().flatten().map(|mask| mask.cells.rows * cells.rows).sum();
    let most = if thorough { GENERATIONS } else { GENERATIONS / 4 };
    let generations = most.min(WORK / (work * BROOD).max(1));
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
    let Put { mut seats, mut pages, .. } = best.0;
    while thorough
        && pages > enough
        && let Some(fewer) = squeeze(&poses, page, &seats, pages - 1)
    {
        (seats, pages) = (fewer, pages - 1);
    }
    seats.iter().zip(&poses).map(|(seat, poses)| Spot::of(*seat, poses)).collect()
}

/// Another order: what came last, and some others, come earlier or later.
fn changed((put, worth): &(Put, Vec<f64>), seed: u64) -> Vec<f64> {
    /// How much, as a standard deviation of the logarithm; and how many of the others.
    const CHANGE: f64 = 0.4;
    const OTHERS: f64 = 0.2;
    let mut dice = Dice(seed);
    let one = |(worth, seat): (&f64, &Seat)| {
        let (by, chosen) = ((CHANGE * dice.normal()).exp(), dice.uniform() < OTHERS);
        if seat.page + 1 == put.pages || chosen { worth * by } else { *worth }
    };
    worth.iter().zip(&put.seats).map(one).collect()
}

/// All shapes put down in one order.
struct Put {
    seats: Vec<Seat>,
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
    let mut seats: Vec<Option<Seat>> = vec![None; ways.len()];
    for index in order {
        let found = rooms.iter_mut().enumerate().find_map(|(page, room)| put(&ways[index], page, room, cells));
        let seat = found.unwrap_or_else(|| {
            rooms.push(empty.clone());
            let page = rooms.len() - 1;
            put(&ways[index], page, &mut rooms[page], cells).expect("every shape fits on an empty page")
        });
        seats[index] = Some(seat);
    }
    Put {
        pages: rooms.len(),
        on_last: rooms.last().map_or(0, Room::taken),
        seats: seats.into_iter().map(|seat| seat.expect("every shape was put down")).collect(),
    }
}

/// Puts a shape where it lies best; `None` where there is no room.
fn put(ways: &Ways, page: usize, room: &mut Room, cells: Cells) -> Option<Seat> {
    let all = ways.iter().enumerate().filter_map(|(pose, mask)| Some((room.best(mask)?, mask, pose)));
    let ((_, at), mask, pose) = all.reduce(|best, other| if other.0.0 > best.0.0 { other } else { best })?;
    room.take(mask, at);
    Some(Seat { page, pose, at: cells.at(at) })
}

/// Those of `poses` that differ in the cells they take, and these.
fn distinct(poses: Vec<Pose>, cells: Cells) -> (Vec<Pose>, Ways) {
    let (mut kept, mut ways) = (Vec::new(), Ways::new());
    for pose in poses {
        let taken = cells.taken(&pose, Taking::Met);
        if ways.iter().all(|other| other.cells != taken) {
            ways.push(Mask::new(taken));
            kept.push(pose);
        }
    }
    (kept, ways)
}

#[cfg(test)]
mod tests {
    use kurbo::{Point, Shape as _, Vec2};
    use proptest::prelude::*;

    use super::*;
    use crate::paper::poses::{GAP, RIM};

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
        assert_eq!(pages(&nest(&all, PAGE, 1, true)), 1);
    }

    #[test]
    fn a_small_piece_lies_in_the_opening_of_a_large_one() {
        let ring = |half: f64| shape(&[(-half, -half), (half, -half), (half, half), (-half, half)]).loops.remove(0);
        let frame = Shape { loops: vec![ring(91.0), ring(60.0)], words: Size::ZERO };
        let tall = shape(&[(0.0, 0.0), (182.0, 0.0), (182.0, 75.0), (0.0, 75.0)]);
        let spots = nest(&[frame, tall, triangle(100.0)], PAGE, 1, true);
        assert_eq!(pages(&spots), 1);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(10))]
        #[test]
        fn nothing_overlaps_and_nothing_lies_outside_and_it_is_the_same_each_time(
            stars in prop::collection::vec((8.0..70.0f64, 0.3..1.0f64, 3..9_u32, 0.0..1.5f64, prop::bool::ANY), 1..20),
            thorough in prop::bool::ANY
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
            let spots = nest(&shapes, PAGE, 1, thorough);
            let again = nest(&shapes, PAGE, 1, thorough);
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
