//! One large piece → a joined sheet: how it is turned and shifted over the pages, and which pages it needs.

use kurbo::{Affine, Point, Rect, Size, Vec2};
use rayon::prelude::*;

use super::core::Core;
use super::marks::Run;
use super::turns::{extent, hull, straight};

/// White around a piece on its joined sheet, so that no line runs along the rim.
pub(super) const PAD: f64 = 3.0;
/// Places that are tried within the slack of the pages, along each direction; and for a free turn, of which there are more.
const SHIFTS: u32 = 16;
const FEW_SHIFTS: u32 = 4;
/// Free turns that are tried, from upright to upside down.
const TURNS: u32 = 60;
/// A corner closer than this to a join is a corner that the tape falls on.
const CORNER_CLEARANCE: f64 = 5.0;
/// A stretch of outline between two joins that is shorter than this is hard to follow with a knife, mm.
const FRAGMENT: f64 = 15.0;
/// How bad such a fragment, and a corner on a join, is beside one more place where the outline crosses a join.
const OF_FRAGMENT: f64 = 2.0;
const OF_CORNER: f64 = 2.0;
/// A line that hardly parts from a join counts like this many more, at most.
const MOST_SLANT: f64 = 10.0;
/// While places are compared, an outline has about so many points, and none nearer than this to the one before, mm.
const POINTS: f64 = 5000.0;
const COARSE: f64 = 2.0;
/// Lengths of outline that are walked in one search, in segments: what bounds its time.
const WORK: usize = 4_000_000;

/// How one piece lies on its joined sheet.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    pub(super) columns: Run,
    pub(super) rows: Run,
    /// By row, then column.
    pub(super) kept: Vec<bool>,
    /// From the piece's own frame to the joined sheet.
    pub(super) to_sheet: Affine,
}

impl Grid {
    pub(super) fn is_kept(&self, column: usize, row: usize) -> bool {
        self.kept[row * self.columns.count + column]
    }

    pub(super) fn pages(&self) -> usize {
        self.kept.iter().filter(|&&kept| kept).count()
    }
}

/// Pages, and how well the piece lies on them: the less the better.
type Cost = (usize, f64);

/// One place of a piece on its pages.
#[derive(Clone, Copy, Debug)]
struct Place {
    columns: Run,
    rows: Run,
    to_sheet: Affine,
}

/// The lying of a piece that takes the fewest pages; among those, the one whose joins disturb its outline least.
///
/// `loops` are the closed polylines of the piece, `corners` the places where its outline turns sharply.
pub(super) fn lie(loops: &[Vec<Point>], corners: &[Point], core: &Core) -> Grid {
    let length: f64 = loops.iter().flat_map(|line| line.windows(2)).map(|pair| pair[0].distance(pair[1])).sum();
    let coarse: Vec<Vec<Point>> = loops.iter().map(|line| thinned(line, COARSE.max(length / POINTS))).collect();
    let cost = |place: &Place| {
        let on_sheet: Vec<Vec<Point>> = moved(&coarse, place.to_sheet);
        let pages = kept_cells(&on_sheet, place.columns, place.rows).into_iter().filter(|&kept| kept).count();
        (pages, disturbance(&on_sheet, corners, place))
    };
    let best = |places: Vec<Place>| {
        let all = places.into_par_iter().map(|place| (cost(&place), place)).collect::<Vec<_>>();
        all.into_iter().reduce(|best, other| if less(other.0, best.0) { other } else { best })
    };
    let hull = [hull(loops)];
    let places = |turn: &Affine, shifts: u32| places(&hull, *turn, shifts, core);
    let quarters = [[1.0, 0.0], [0.0, 1.0]].map(|[cos, sin]| Affine::new([cos, sin, -sin, cos, 0.0, 0.0]));
    let quarter = best(quarters.iter().flat_map(|turn| places(turn, SHIFTS)).collect());
    // A piece lies as it is drawn where no other turn saves a page, because paper and foam have a direction.
    let (least, mut place) = quarter.expect("places were tried");
    let segments: usize = coarse.iter().map(Vec::len).sum();
    let straight = straight(&hull);
    let turns = TURNS.min(u32::try_from(WORK / (segments * 36).max(1)).unwrap_or(TURNS));
    let free = (1..turns).map(|k| Affine::rotate(f64::from(k) / f64::from(turns) * std::f64::consts::PI));
    let free: Vec<Affine> = free.chain(quarters.map(|quarter| quarter * straight)).collect();
    let rough = best(free.iter().flat_map(|turn| places(turn, FEW_SHIFTS)).collect());
    let fine = rough.and_then(|(_, rough)| best(places(&linear(rough.to_sheet), SHIFTS)));
    if let Some((cost, free)) = fine
        && cost.0 < least.0
    {
        place = free;
    }
    let Place { columns, rows, to_sheet } = place;
    let kept = kept_cells(&moved(loops, to_sheet), columns, rows);
    Grid { columns, rows, kept, to_sheet }
}

fn less(a: Cost, b: Cost) -> bool {
    (a.0, a.1 + 1e-9) < (b.0, b.1)
}

fn linear(map: Affine) -> Affine {
    let [a, b, c, d, ..] = map.as_coeffs();
    Affine::new([a, b, c, d, 0.0, 0.0])
}

fn moved(loops: &[Vec<Point>], map: Affine) -> Vec<Vec<Point>> {
    loops.iter().map(|line| line.iter().map(|&p| map * p).collect()).collect()
}

/// The same line with points so far apart at least, its ends kept.
fn thinned(line: &[Point], apart: f64) -> Vec<Point> {
    let mut thin: Vec<Point> = Vec::new();
    for &p in line {
        if thin.last().is_none_or(|last| last.distance(p) >= apart) {
            thin.push(p);
        }
    }
    thin.extend(line.last().copied());
    thin
}

/// The places of a piece turned so, within the slack of as few pages as hold its box.
fn places(hull: &[Vec<Point>], turn: Affine, shifts: u32, core: &Core) -> Vec<Place> {
    let bounds = extent(hull, turn);
    let columns = Run::covering(bounds.width() + 2.0 * PAD, core.field.width(), core.overlap);
    let rows = Run::covering(bounds.height() + 2.0 * PAD, core.field.height(), core.overlap);
    // The middle of the slack first, so that it wins where nothing else is better.
    let along = |slack: f64| {
        let all = (0..=shifts).map(move |i| slack * f64::from(i) / f64::from(shifts));
        std::iter::once(slack / 2.0).chain(all).map(|shift| PAD + shift)
    };
    let slack = Size::new(columns.length(), rows.length()) - bounds.size() - Size::new(2.0 * PAD, 2.0 * PAD);
    let at = |x: f64, y: f64| Affine::translate(Vec2::new(x, y) - bounds.origin().to_vec2()) * turn;
    along(slack.width)
        .flat_map(|x| along(slack.height).map(move |y| (x, y)))
        .map(|(x, y)| Place { columns, rows, to_sheet: at(x, y) })
        .collect()
}

/// How much the joins of a place are in the way of whoever cuts along the outline, in crossings of a join square to it: all crossings,
/// those aslant more by 1/sin β - 1, fragments, and corners under the tape.
fn disturbance(loops: &[Vec<Point>], corners: &[Point], place: &Place) -> f64 {
    let near = corners.iter().filter(|&&corner| near_join(place.to_sheet * corner, place.columns, place.rows)).count();
    let mut cost = OF_CORNER * near as f64;
    for line in loops {
        // From the place where the loop begins; the first and the last crossing are neighbours across it.
        let (mut walked, mut first, mut last) = (0.0, None, 0.0);
        for pair in line.windows(2) {
            let way = pair[1] - pair[0];
            let long = way.hypot();
            for (at, sine) in crossings(pair[0], way, place) {
                let here = walked + at * long;
                cost += 1.0 + (1.0 / sine - 1.0).min(MOST_SLANT);
                if first.is_some() && here - last < FRAGMENT {
                    cost += OF_FRAGMENT;
                }
                first = first.or(Some(here));
                last = here;
            }
            walked += long;
        }
        if first.is_some_and(|first| walked - last + first < FRAGMENT) {
            cost += OF_FRAGMENT;
        }
    }
    cost
}

/// Where the straight line from `from` by `way` crosses joins, as parts of it in order, each with the sine of the angle between them.
fn crossings(from: Point, way: Vec2, place: &Place) -> Vec<(f64, f64)> {
    let long = way.hypot();
    let along = |run: Run, from: f64, way: f64| {
        let (low, high) = (index(run, from.min(from + way)), index(run, from.max(from + way)));
        (low + 1..=high).map(move |i| ((run.join(i) - from) / way, way.abs() / long))
    };
    let mut all: Vec<(f64, f64)> =
        along(place.columns, from.x, way.x).chain(along(place.rows, from.y, way.y)).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}

/// The pages that are needed for `loops`, which lie on the sheet. Each page answers for the pattern up to the middle of its
/// overlaps, so that every point has exactly one page and no page is kept for what its neighbour shows as well; and where all that
/// a page has lies in what it shares with one neighbour, that one shows it by itself.
fn kept_cells(loops: &[Vec<Point>], columns: Run, rows: Run) -> Vec<bool> {
    let cell = |column: usize, row: usize| {
        Rect::new(columns.join(column), rows.join(row), columns.join(column + 1), rows.join(row + 1))
    };
    let field = |column: usize, row: usize| {
        let corner = Point::new(columns.start(column), rows.start(row));
        Rect::from_origin_size(corner, (columns.step + columns.overlap, rows.step + rows.overlap))
    };
    let at = |column: usize, row: usize| row * columns.count + column;
    let mut kept = filled(loops, columns, rows);
    let full = kept.clone();
    let mut shown: Vec<Option<Rect>> = vec![None; kept.len()];
    for pair in loops.iter().flat_map(|line| line.windows(2)) {
        let (a, b) = (pair[0], pair[1]);
        let hull = Rect::from_points(a, b);
        let near = hull.inflate(columns.overlap, rows.overlap);
        for row in index(rows, near.y0)..=index(rows, near.y1) {
            for column in index(columns, near.x0)..=index(columns, near.x1) {
                let (at, part) = (at(column, row), hull.intersect(field(column, row)));
                kept[at] = kept[at] || crosses(a, b, cell(column, row));
                if part.x0 <= part.x1 && part.y0 <= part.y1 {
                    shown[at] = Some(shown[at].map_or(part, |shown| shown.union(part)));
                }
            }
        }
    }
    for (row, column) in (0..rows.count).flat_map(|row| (0..columns.count).map(move |column| (row, column))) {
        let Some(part) = shown[at(column, row)].filter(|_| kept[at(column, row)] && !full[at(column, row)]) else {
            continue;
        };
        let is_kept = |(x, y): (Option<usize>, Option<usize>)| {
            x.zip(y).is_some_and(|(x, y)| x < columns.count && y < rows.count && kept[at(x, y)])
        };
        let beside = [
            (column.checked_sub(1), Some(row)),
            (Some(column + 1), Some(row)),
            (Some(column), row.checked_sub(1)),
            (Some(column), Some(row + 1)),
        ];
        let shows = |(x, y): (Option<usize>, Option<usize>)| {
            // White stays at the rim there as well.
            is_kept((x, y)) && x.zip(y).is_some_and(|(x, y)| field(x, y).inset(-PAD).contains_rect(part))
        };
        if beside.into_iter().any(shows) {
            kept[at(column, row)] = false;
        }
    }
    kept
}

/// The pages whose middles lie inside of the even-odd area of `loops`.
fn filled(loops: &[Vec<Point>], columns: Run, rows: Run) -> Vec<bool> {
    let middle = |run: Run, index: usize| run.join(index).midpoint(run.join(index + 1));
    let mut crossings = vec![Vec::new(); rows.count];
    for pair in loops.iter().flat_map(|line| line.windows(2)) {
        let (a, b) = if pair[0].y <= pair[1].y { (pair[0], pair[1]) } else { (pair[1], pair[0]) };
        let (first, end) = (index(rows, a.y), index(rows, b.y) + 1);
        for (row, crossings) in crossings.iter_mut().enumerate().take(end).skip(first) {
            let y = middle(rows, row);
            if a.y <= y && y < b.y {
                crossings.push(a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x));
            }
        }
    }
    let parity = |mut crossings: Vec<f64>| {
        crossings.sort_by(f64::total_cmp);
        let column = move |column: usize| crossings.partition_point(|&x| x <= middle(columns, column)) % 2 == 1;
        (0..columns.count).map(column).collect::<Vec<bool>>()
    };
    crossings.into_iter().flat_map(parity).collect()
}

/// Which page answers for `at`.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the pages there are")]
fn index(run: Run, at: f64) -> usize {
    let last = run.count - 1;
    (((at - run.overlap / 2.0) / run.step).floor().max(0.0) as usize).min(last)
}

/// Whether the straight line from `a` to `b` meets `rect` (L. Liang and B. Barsky, 1984).
pub(super) fn crosses(a: Point, b: Point, rect: Rect) -> bool {
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    let d = b - a;
    for (p, q) in [(-d.x, a.x - rect.x0), (d.x, rect.x1 - a.x), (-d.y, a.y - rect.y0), (d.y, rect.y1 - a.y)] {
        if p == 0.0 {
            if q < 0.0 {
                return false;
            }
        } else if p < 0.0 {
            from = from.max(q / p);
        } else {
            to = to.min(q / p);
        }
    }
    from <= to
}

fn near_join(corner: Point, columns: Run, rows: Run) -> bool {
    let near = |run: Run, at: f64| (1..run.count).any(|i| (run.join(i) - at).abs() < CORNER_CLEARANCE);
    near(columns, corner.x) || near(rows, corner.y)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paper::core::{cores, tests::spec};

    fn core() -> Core {
        cores(&spec(&[("A4", 210.0, 297.0), ("Letter", 215.9, 279.4)], 10.0, 10.0)).expect("A4 and Letter do").remove(0)
    }

    fn rectangle(w: f64, h: f64) -> Vec<Point> {
        [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h), (0.0, 0.0)].map(Point::from).to_vec()
    }

    #[test]
    fn a_long_piece_lies_the_way_that_takes_fewer_pages() {
        for (w, h) in [(1400.0, 300.0), (300.0, 1400.0)] {
            let grid = lie(&[rectangle(w, h)], &[], &core());
            // Upright: 2 across, 6 down. Lying: 8 across, 2 down.
            assert_eq!(grid.pages(), 12, "{w} x {h}");
            assert_eq!(grid.to_sheet.as_coeffs()[0].abs() < 0.5, w > h);
        }
    }

    /// A staff of 2 m drawn at 45 degrees takes 16 pages or more as it lies, and straight 9 at most: 2000 / 237 mm.
    #[test]
    fn a_piece_that_lies_aslant_is_turned_straight() {
        let turn = Affine::rotate(45.0_f64.to_radians());
        let staff: Vec<Point> = rectangle(2000.0, 70.0).into_iter().map(|p| turn * p).collect();
        let grid = lie(std::slice::from_ref(&staff), &[], &core());
        assert!(grid.pages() <= 9, "{}", grid.pages());
        let [a, b, c, d, ..] = grid.to_sheet.as_coeffs();
        assert!((a * d - b * c - 1.0).abs() < 1e-12 && (a.abs() - 0.5_f64.sqrt()).abs() < 1e-3, "{:?}", grid.to_sheet);
        let field = core().field.size();
        for p in staff.iter().map(|p| grid.to_sheet * *p) {
            let on = (0..grid.columns.count).flat_map(|c| (0..grid.rows.count).map(move |r| (c, r))).any(|(c, r)| {
                let at = Point::new(grid.columns.start(c), grid.rows.start(r));
                grid.is_kept(c, r) && Rect::from_origin_size(at, field).contains(p)
            });
            assert!(on, "{p:?} is on a page");
        }
    }

    #[test]
    fn pages_that_a_ring_leaves_empty_are_dropped_and_full_ones_kept() {
        let (w, hole) = (900.0, 700.0);
        let mut inner = rectangle(hole, hole);
        inner.iter_mut().for_each(|p| *p += Vec2::new(100.0, 100.0));
        let ring = lie(&[rectangle(w, w), inner], &[], &core());
        let full = lie(&[rectangle(w, w)], &[], &core());
        assert_eq!(full.pages(), full.kept.len());
        assert!(ring.pages() < full.pages(), "{} of {}", ring.pages(), full.pages());
    }

    /// An ear of 8 mm beyond a join is shown by the page before it; one of 12 mm is not.
    #[test]
    fn a_page_is_dropped_where_its_neighbour_shows_all_it_has() {
        let run = |count| Run { count, step: 175.0, overlap: 10.0 };
        for (ear, needed) in [(4.0, 1), (6.0, 1), (8.0, 2), (12.0, 2)] {
            let wide = 175.0 + ear;
            let kept = kept_cells(
                &[moved(&[rectangle(wide - 20.0, 60.0)], Affine::translate((20.0, 20.0))).remove(0)],
                run(2),
                run(1),
            );
            assert_eq!(kept.iter().filter(|&&kept| kept).count(), needed, "{ear}");
        }
    }

    #[test]
    fn crossings_slants_fragments_and_corners_are_counted() {
        let run = Run { count: 3, step: 100.0, overlap: 10.0 };
        let place = Place { columns: run, rows: run, to_sheet: Affine::IDENTITY };
        let at = |line: Vec<Point>, corners: &[Point]| disturbance(&[line], corners, &place);
        let shifted = |x: f64, y: f64, w: f64, h: f64| {
            rectangle(w, h).into_iter().map(|p| p + Vec2::new(x, y)).collect::<Vec<Point>>()
        };
        // The joins lie at 105 and 205, both ways.
        assert_eq!(at(shifted(20.0, 20.0, 60.0, 60.0), &[]), 0.0);
        assert_eq!(at(shifted(20.0, 20.0, 160.0, 60.0), &[]), 2.0);
        assert_eq!(
            at(shifted(20.0, 20.0, 160.0, 60.0), &[Point::new(108.0, 20.0), Point::new(20.0, 20.0)]),
            2.0 + OF_CORNER
        );
        // An end that reaches 4 mm over the join: 4 + 10 + 4 mm is long enough, 4 + 5 + 4 mm is not.
        assert_eq!(at(shifted(20.0, 20.0, 89.0, 10.0), &[]), 2.0);
        assert_eq!(at(shifted(20.0, 20.0, 89.0, 5.0), &[]), 2.0 + OF_FRAGMENT);
        let aslant: Vec<Point> = [(80.0, 20.0), (140.0, 80.0), (80.0, 80.0), (80.0, 20.0)].map(Point::from).to_vec();
        assert!((at(aslant, &[]) - (1.0 + 2.0_f64.sqrt())).abs() < 1e-9);
    }
}
