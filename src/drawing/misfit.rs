//! Two rows of ticks that read how far a join is off, to a tenth of a millimetre, without tools.
//!
//! On one page the ticks are a step apart, on the other a tenth of a millimetre less (P. Vernier, 1631): the tick that lies in
//! line with its mate, counted from the long one in the middle, is the misfit in tenths. One pair of rows along the join, one
//! across it.

use kurbo::{BezPath, Point, Rect, Vec2};

use crate::paper::{Mark, Sheet, Tile};

/// Sheets longer than this have them, mm.
pub(super) const FROM_MM: f64 = 1000.0;
/// Ticks on either side of the long one.
const TICKS: i32 = 5;
/// From one tick to the next along a join, on the page that comes first, in mm; and the least that is still told apart.
const STEP: f64 = 1.0;
const LEAST_STEP: f64 = 0.6;
/// By how much less on the page that is laid to it, mm.
const LESS: f64 = 0.1;
/// How long ticks are, and the long one, mm.
const SHORT: f64 = 1.3;
const LONG: f64 = 2.2;
/// From the middle of a cross to the nearest tick along the join, and to the row across it, mm.
const BEYOND: f64 = 6.0;

/// What one page shows of the ticks of its joins.
pub(super) struct Misfit {
    pub(super) ticks: BezPath,
    /// The room that they and their mates take.
    pub(super) room: Rect,
}

/// The ticks of the joins of a page, each beside the middle cross of its join.
pub(super) fn misfits(sheet: &Sheet, tile: &Tile, overlap: f64) -> Vec<Misfit> {
    if sheet.size.width.max(sheet.size.height) <= FROM_MM {
        return Vec::new();
    }
    let (f, n, half) = (tile.field, tile.neighbours, overlap / 2.0);
    let (right, down) = (Vec2::new(1.0, 0.0), Vec2::new(0.0, 1.0));
    let joins = [
        (n.right.is_some(), Point::new(f.x1 - half, f.center().y), down, true),
        (n.left.is_some(), Point::new(f.x0 + half, f.center().y), down, false),
        (n.below.is_some(), Point::new(f.center().x, f.y1 - half), right, true),
        (n.above.is_some(), Point::new(f.center().x, f.y0 + half), right, false),
    ];
    joins
        .into_iter()
        .filter(|(joined, ..)| *joined)
        .filter_map(|(_, middle, along, first)| {
            let mark = middle_mark(sheet, middle, along)?;
            Some(beside(mark, along, first, overlap))
        })
        .flatten()
        .collect()
}

/// The mark on a join that is nearest to the middle of it.
fn middle_mark(sheet: &Sheet, middle: Point, along: Vec2) -> Option<Point> {
    let on_join = |mark: &&Mark| mark.joins && along.cross(mark.at.raw() - middle).abs() < 0.1;
    let all = sheet.marks.iter().filter(on_join).map(|mark| mark.at.raw());
    all.min_by(|a, b| a.distance(middle).total_cmp(&b.distance(middle)))
}

/// Both rows of a join that runs `along` through `mark`, on the `first` of its pages or on the one that is laid to it.
fn beside(mark: Point, along: Vec2, first: bool, overlap: f64) -> Vec<Misfit> {
    let across = Vec2::new(along.y, along.x);
    let side = if first { -1.0 } else { 1.0 };
    let row = |middle: Point, way: Vec2, aside: Vec2, step: f64| {
        let reach = f64::from(TICKS) * step;
        let step = if first { step } else { step - LESS };
        let aside = aside * side;
        let mut ticks = BezPath::new();
        for k in -TICKS..=TICKS {
            let at = middle + way * (f64::from(k) * step);
            ticks.move_to(at);
            ticks.line_to(at + aside * if k == 0 { LONG } else { SHORT });
        }
        let corner = way * (reach + 0.3) + aside * (LONG + 0.3);
        Misfit { ticks, room: Rect::from_points(middle - corner, middle + corner) }
    };
    let mut rows = vec![row(mark + along * (BEYOND + f64::from(TICKS) * STEP), along, across, STEP)];
    // Across the join there is only the overlap to stand in.
    let widest = ((overlap - 1.6) / f64::from(2 * TICKS)).min(STEP);
    if widest >= LEAST_STEP {
        rows.push(row(mark - along * BEYOND, across, along, widest));
    }
    rows
}

#[cfg(test)]
mod tests {
    use kurbo::{PathEl, Shape as _, Size};

    use super::*;
    use crate::build_file::{PaperSize, PaperSpec};
    use crate::paper::{Item, Layout, cores, lay_out};
    use crate::problem::{Place, Placed};
    use crate::space::Path;
    use crate::units::Length;

    fn laid_out(width: f64, height: f64, overlap: f64) -> Layout {
        let placed = |value| Placed::new(value, Place { line: 1, column: 1 });
        let (w, h) = (Length::mm(210.0), Length::mm(297.0));
        let a4 = PaperSize { name: "A4".to_owned(), width: w, height: h, roll: false };
        let spec = PaperSpec {
            sheets: vec![Placed::new(a4, Place { line: 1, column: 1 })],
            overlap: placed(Length::mm(overlap)),
            margin: placed(Length::mm(10.0)),
            last_page_first: false,
            check_distances: 3,
        };
        let path = Path::new(Rect::new(0.0, 0.0, width, height).to_path(0.1));
        lay_out(&[Item { path: &path, words: Size::ZERO }], &cores(&spec).expect("A4 does")[0])
    }

    /// Where the ticks of a row begin, and the long one among them.
    fn starts(misfit: &Misfit) -> (Vec<Point>, Point) {
        let ends: Vec<Point> = misfit.ticks.elements().iter().filter_map(PathEl::end_point).collect();
        let pairs: Vec<&[Point]> = ends.chunks(2).collect();
        let long = pairs.iter().max_by(|a, b| a[0].distance(a[1]).total_cmp(&b[0].distance(b[1]))).expect("ticks");
        (pairs.iter().map(|pair| pair[0]).collect(), long[0])
    }

    /// Each row has its mate on the page beside it, on the other side of one line; ticks number k lie k tenths apart, so that a
    /// page that is off by so many tenths brings them in line.
    #[test]
    fn mates_part_by_a_tenth_with_every_tick() {
        let layout = laid_out(1300.0, 400.0, 10.0);
        let sheet = &layout.sheets[0];
        let all: Vec<Vec<Misfit>> = layout.tiles.iter().map(|tile| misfits(sheet, tile, 10.0)).collect();
        let mut mated = 0;
        for (page, rows) in all.iter().enumerate() {
            for row in rows {
                assert!(layout.tiles[page].field.contains_rect(row.ticks.bounding_box()), "on the page");
                let (own, middle) = starts(row);
                let mates = all.iter().enumerate().filter(|(other, _)| *other != page).flat_map(|(_, rows)| rows);
                let mates: Vec<Vec<Point>> =
                    mates.map(starts).filter(|(_, at)| at.distance(middle) < 1e-9).map(|(ticks, _)| ticks).collect();
                assert_eq!(mates.len(), 1, "one mate at {middle:?}");
                for (k, (a, b)) in own.iter().zip(&mates[0]).enumerate() {
                    let tenths = (k as f64 - f64::from(TICKS)).abs();
                    assert!((a.distance(*b) - 0.1 * tenths).abs() < 1e-9, "tick {k}: {a:?} {b:?}");
                }
                mated += 1;
            }
        }
        assert!(mated > 20, "{mated}");
    }

    #[test]
    fn short_sheets_and_narrow_overlaps_have_fewer() {
        let short = laid_out(700.0, 400.0, 10.0);
        assert!(short.tiles.iter().all(|tile| misfits(&short.sheets[0], tile, 10.0).is_empty()));
        let narrow = laid_out(1300.0, 60.0, 6.0);
        let rows: Vec<usize> = narrow.tiles.iter().map(|t| misfits(&narrow.sheets[0], t, 6.0).len()).collect();
        assert!(rows.iter().all(|count| (1..=2).contains(count)), "along each join only: {rows:?}");
    }
}
