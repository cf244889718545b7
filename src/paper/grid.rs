//! One large piece → a joined sheet: how it is turned and shifted over the pages, and which pages it needs.

use kurbo::{Affine, Point, Rect, Size};

use super::core::Core;
use super::marks::Run;

/// White around a piece on its joined sheet, so that no line runs along the rim.
const PAD: f64 = 3.0;
/// Places that are tried within the slack of the pages, along each direction.
const SHIFTS: u32 = 8;
/// A free turn is worth it where it takes no more than this part of the pages.
const MOST_OF_PAGES: f64 = 0.9;
/// A corner closer than this to a join is a corner that the tape falls on.
const CORNER_CLEARANCE: f64 = 5.0;

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

    fn pages(&self) -> usize {
        self.kept.iter().filter(|&&kept| kept).count()
    }
}

/// The quarter turn that puts a piece's left side up, and its bounds back at the origin.
pub(super) fn upright_or_turned(bounds: Rect, turned: bool) -> (Affine, Size) {
    if turned {
        // Clockwise as seen, with y down: (x, y) → (−y, x).
        let turn = Affine::new([0.0, 1.0, -1.0, 0.0, bounds.y1, -bounds.x0]);
        (turn, Size::new(bounds.height(), bounds.width()))
    } else {
        (Affine::translate(-bounds.origin().to_vec2()), bounds.size())
    }
}

/// The lying of a piece that takes the fewest pages; among those, the one with the fewest corners near a join.
///
/// `loops` are the closed polylines of the piece, `corners` the places where its outline turns sharply.
pub(super) fn lie(loops: &[Vec<Point>], corners: &[Point], bounds: Rect, core: &Core) -> Grid {
    let mut best: Option<((usize, usize), Grid)> = None;
    for turned in [false, true] {
        let (upright, size) = upright_or_turned(bounds, turned);
        best = Some(laid(loops, corners, (upright, size), core, best));
    }
    let best = best.expect("both turns were tried");
    // A piece that lies aslant on its picture may lie straight on the paper. Where that saves next to nothing it lies as all
    // others do, because paper and foam have a direction.
    let straight =
        straightened(loops).into_iter().fold(None, |best, lying| Some(laid(loops, corners, lying, core, best)));
    match straight {
        Some(free) if free.0.0 as f64 <= MOST_OF_PAGES * best.0.0 as f64 => free.1,
        _ => best.1,
    }
}

/// The two ways a piece lies straight when it is turned so that it is as low as can be, each with the room it takes.
fn straightened(loops: &[Vec<Point>]) -> [(Affine, Size); 2] {
    let bounds = |turn: f64| {
        let turn = Affine::rotate(turn);
        let all = loops.iter().flatten().map(|&p| turn * p);
        all.fold(None, |bounds: Option<Rect>, p| Some(bounds.map_or(Rect::from_points(p, p), |b| b.union_pt(p))))
    };
    let height = |turn: &f64| bounds(*turn).map_or(0.0, |bounds| bounds.height());
    let least = |from: f64, step: f64, count: i32| {
        let all = (-count..=count).map(|k| from + step * f64::from(k));
        all.min_by(|a, b| height(a).total_cmp(&height(b))).unwrap_or(from)
    };
    let degree = 1.0_f64.to_radians();
    let lowest = least(least(0.0, degree, 90), degree / 20.0, 20);
    [lowest, lowest + std::f64::consts::FRAC_PI_2].map(|turn| {
        let bounds = bounds(turn).unwrap_or(Rect::ZERO);
        (Affine::translate(-bounds.origin().to_vec2()) * Affine::rotate(turn), bounds.size())
    })
}

/// The better of `best` and the best place of a piece that lies so.
fn laid(
    loops: &[Vec<Point>],
    corners: &[Point],
    (upright, size): (Affine, Size),
    core: &Core,
    mut best: Option<((usize, usize), Grid)>,
) -> ((usize, usize), Grid) {
    let columns = Run::covering(size.width + 2.0 * PAD, core.field.width(), core.overlap);
    let rows = Run::covering(size.height + 2.0 * PAD, core.field.height(), core.overlap);
    let slack = Size::new(columns.length() - size.width - 2.0 * PAD, rows.length() - size.height - 2.0 * PAD);
    let at_origin: Vec<Vec<Point>> = loops.iter().map(|line| line.iter().map(|&p| upright * p).collect()).collect();
    let corners: Vec<Point> = corners.iter().map(|&p| upright * p).collect();
    for (x, y) in shifts(slack) {
        let shift = kurbo::Vec2::new(PAD + x, PAD + y);
        let kept = kept_cells(&at_origin, shift, columns, rows);
        let near = corners.iter().filter(|&&c| near_join(c + shift, columns, rows)).count();
        let grid = Grid { columns, rows, kept, to_sheet: Affine::translate(shift) * upright };
        let cost = (grid.pages(), near);
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            best = Some((cost, grid));
        }
    }
    best.expect("a place was tried")
}

/// The middle of the slack first, so that it wins where nothing else is better.
fn shifts(slack: Size) -> Vec<(f64, f64)> {
    let along = |slack: f64| {
        let mut all = vec![slack / 2.0];
        all.extend((0..=SHIFTS).map(|i| slack * f64::from(i) / f64::from(SHIFTS)));
        all
    };
    along(slack.width).into_iter().flat_map(|x| along(slack.height).into_iter().map(move |y| (x, y))).collect()
}

/// The pages that some point of the piece falls on. Each page answers for the pattern up to the middle of its overlaps,
/// so that every point has exactly one page and no page is kept for what its neighbour shows as well.
fn kept_cells(loops: &[Vec<Point>], shift: kurbo::Vec2, columns: Run, rows: Run) -> Vec<bool> {
    let cell = |column: usize, row: usize| {
        Rect::new(columns.join(column), rows.join(row), columns.join(column + 1), rows.join(row + 1))
    };
    let mut kept = vec![false; columns.count * rows.count];
    for pair in loops.iter().flat_map(|line| line.windows(2)) {
        let (a, b) = (pair[0] + shift, pair[1] + shift);
        let (x0, x1) = (index(columns, a.x.min(b.x)), index(columns, a.x.max(b.x)));
        let (y0, y1) = (index(rows, a.y.min(b.y)), index(rows, a.y.max(b.y)));
        for row in y0..=y1 {
            for column in x0..=x1 {
                let at = row * columns.count + column;
                kept[at] = kept[at] || (x0 == x1 && y0 == y1) || crosses(a, b, cell(column, row));
            }
        }
    }
    for row in 0..rows.count {
        for column in 0..columns.count {
            let at = row * columns.count + column;
            kept[at] = kept[at] || inside(loops, cell(column, row).center() - shift);
        }
    }
    kept
}

/// Which page answers for `at`.
fn index(run: Run, at: f64) -> usize {
    (1..run.count).take_while(|&i| run.join(i) <= at).count()
}

/// Whether the straight line from `a` to `b` meets `rect` (L. Liang and B. Barsky, 1984).
fn crosses(a: Point, b: Point, rect: Rect) -> bool {
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

/// Even-odd.
pub(super) fn inside(loops: &[Vec<Point>], p: Point) -> bool {
    let crossings = loops
        .iter()
        .flat_map(|line| line.windows(2))
        .filter(|pair| (pair[0].y <= p.y) != (pair[1].y <= p.y))
        .filter(|pair| pair[0].x + (p.y - pair[0].y) / (pair[1].y - pair[0].y) * (pair[1].x - pair[0].x) > p.x)
        .count();
    crossings % 2 == 1
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
            let grid = lie(&[rectangle(w, h)], &[], Rect::new(0.0, 0.0, w, h), &core());
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
        let bounds = staff.iter().fold(Rect::from_points(staff[0], staff[0]), |b, p| b.union_pt(*p));
        let grid = lie(std::slice::from_ref(&staff), &[], bounds, &core());
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
        inner.iter_mut().for_each(|p| *p += kurbo::Vec2::new(100.0, 100.0));
        let ring = lie(&[rectangle(w, w), inner], &[], Rect::new(0.0, 0.0, w, w), &core());
        let full = lie(&[rectangle(w, w)], &[], Rect::new(0.0, 0.0, w, w), &core());
        assert_eq!(full.pages(), full.kept.len());
        assert!(ring.pages() < full.pages(), "{} of {}", ring.pages(), full.pages());
    }

    #[test]
    fn a_quarter_turn_keeps_the_piece_and_turns_its_top_to_the_right() {
        let (turn, size) = upright_or_turned(Rect::new(10.0, 20.0, 40.0, 100.0), true);
        assert_eq!((size.width, size.height), (80.0, 30.0));
        assert_eq!(turn * Point::new(10.0, 20.0), Point::new(80.0, 0.0));
        assert_eq!(turn * Point::new(10.0, 100.0), Point::new(0.0, 0.0));
        assert!((turn.determinant() - 1.0).abs() < 1e-12, "never mirrored");
    }
}
