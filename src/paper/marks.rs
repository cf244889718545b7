//! Where pages meet, and the numbered crosses that hold them in place.

use std::collections::BTreeSet;

use crate::space::{JoinedSheet, Point};

/// A thin cross with a number, printed at the same place of the pattern on every page that shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Number on its joined sheet, from 1, in reading order.
    pub number: usize,
    /// Its middle.
    pub at: Point<JoinedSheet>,
    /// Pages are joined by it; else it stands in a corner of the sheet, for the tape measure.
    pub joins: bool,
}

/// How far the outermost marks stay from the end of a join at the rim of the sheet, in mm.
const FROM_RIM: f64 = 6.0;

/// Columns or rows of pages along one direction of a joined sheet.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    /// How many pages.
    pub(super) count: usize,
    /// From one page to the next.
    pub(super) step: f64,
    /// What two neighbours share.
    pub(super) overlap: f64,
}

impl Run {
    /// As many pages of `field` mm as it takes to cover `extent`.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a positive whole number of pages")]
    pub(super) fn covering(extent: f64, field: f64, overlap: f64) -> Self {
        let step = field - overlap;
        let count = ((extent - overlap - 1e-9) / step).ceil().max(1.0) as usize;
        Self { count, step, overlap }
    }

    /// The whole run, in mm.
    #[expect(clippy::cast_precision_loss, reason = "page counts are small")]
    pub(super) fn length(&self) -> f64 {
        self.count as f64 * self.step + self.overlap
    }

    /// Where page `index` begins.
    #[expect(clippy::cast_precision_loss, reason = "page counts are small")]
    pub(super) fn start(&self, index: usize) -> f64 {
        index as f64 * self.step
    }

    /// The middle of the overlap before page `index`; at the rim, the rim itself.
    pub(super) fn join(&self, index: usize) -> f64 {
        match index {
            0 => 0.0,
            i if i == self.count => self.length(),
            i => self.start(i) + self.overlap / 2.0,
        }
    }

    /// Both ends of a join along page `index`, kept in from the rim.
    fn ends(&self, index: usize) -> (f64, f64) {
        let from = if index == 0 { FROM_RIM } else { self.join(index) };
        let to = if index + 1 == self.count { self.length() - FROM_RIM } else { self.join(index + 1) };
        (from, to)
    }
}

/// Marks at both ends and in the middle of every join between two kept pages, and in the corners of the sheet. Where four
/// pages meet, one mark serves all four.
#[expect(clippy::cast_possible_truncation, reason = "a joined sheet is far smaller than 2^53 hundredths of a mm")]
pub(super) fn marks(columns: Run, rows: Run, kept: &dyn Fn(usize, usize) -> bool) -> Vec<Mark> {
    // Hundredths of a millimetre, rows first: sorts into reading order and finds the shared ones.
    let mut places: BTreeSet<(i64, i64)> = BTreeSet::new();
    let hundredths = |x: f64, y: f64| ((y * 100.0).round() as i64, (x * 100.0).round() as i64);
    let mut put = |x: f64, y: f64| {
        places.insert(hundredths(x, y));
    };
    for row in 0..rows.count {
        for column in 0..columns.count {
            if !kept(column, row) {
                continue;
            }
            if column > 0 && kept(column - 1, row) {
                let (x, (from, to)) = (columns.join(column), rows.ends(row));
                [from, from.midpoint(to), to].into_iter().for_each(|y| put(x, y));
            }
            if row > 0 && kept(column, row - 1) {
                let (y, (from, to)) = (rows.join(row), columns.ends(column));
                [from, from.midpoint(to), to].into_iter().for_each(|x| put(x, y));
            }
        }
    }
    let corners: Vec<(i64, i64)> = corners(columns, rows, kept).into_iter().map(|[x, y]| hundredths(x, y)).collect();
    let mut all: Vec<((i64, i64), bool)> = places.into_iter().map(|place| (place, true)).collect();
    all.extend(corners.into_iter().map(|place| (place, false)));
    all.sort_unstable();
    all.dedup();
    #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
    all.into_iter()
        .enumerate()
        .map(|(index, ((y, x), joins))| Mark {
            number: index + 1,
            at: Point::new(x as f64 / 100.0, y as f64 / 100.0),
            joins,
        })
        .collect()
}

/// The farthest corners of kept pages in the four slanting directions, kept in from the rim; x before y.
fn corners(columns: Run, rows: Run, kept: &dyn Fn(usize, usize) -> bool) -> Vec<[f64; 2]> {
    let pages = || (0..rows.count).flat_map(|row| (0..columns.count).map(move |column| (column, row)));
    let kept: Vec<(usize, usize)> = pages().filter(|&(column, row)| kept(column, row)).collect();
    if kept.len() < 2 {
        return Vec::new();
    }
    let place = |run: Run, index: usize, far: bool| {
        let start = run.start(index);
        if far { start + run.step + run.overlap - FROM_RIM } else { start + FROM_RIM }
    };
    let farthest = |(right, down): (bool, bool)| {
        let all = kept.iter().map(|&(column, row)| [place(columns, column, right), place(rows, row, down)]);
        let reach = |at: &[f64; 2]| (if right { at[0] } else { -at[0] }) + (if down { at[1] } else { -at[1] });
        all.max_by(|a, b| reach(a).total_cmp(&reach(b)))
    };
    [(false, false), (true, false), (true, true), (false, true)].into_iter().filter_map(farthest).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_covers_its_extent_with_no_page_too_many() {
        // Worked example of this project: 420 x 1415 on fields of 190 x 259 with 10 mm of overlap.
        assert_eq!(Run::covering(420.0, 190.0, 10.0).count, 3);
        assert_eq!(Run::covering(1415.0, 190.0, 10.0).count, 8);
        assert_eq!(Run::covering(360.0, 259.0, 10.0).count, 2);
        assert_eq!(Run::covering(190.0, 190.0, 10.0).count, 1);
        assert_eq!(Run::covering(190.1, 190.0, 10.0).count, 2);
    }

    #[test]
    fn two_by_two_pages_share_one_mark_in_the_middle() {
        let run = Run::covering(350.0, 190.0, 10.0);
        let marks = marks(run, run, &|_, _| true);
        // Four joins of three marks, the middle one shared by all four; and four corners.
        assert_eq!((marks.iter().filter(|m| m.joins).count(), marks.len()), (9, 13));
        assert!(marks.iter().any(|m| (m.at.x - 185.0).abs() < 0.01 && (m.at.y - 185.0).abs() < 0.01));
        assert_eq!(marks.iter().map(|m| m.number).collect::<Vec<_>>(), (1..=13).collect::<Vec<_>>());
    }

    #[test]
    fn a_dropped_page_has_no_join() {
        let run = Run::covering(350.0, 190.0, 10.0);
        let marks = marks(run, run, &|column, row| column == 0 || row == 0);
        assert_eq!(marks.iter().filter(|m| m.joins).count(), 5);
        // The page at the lower right is dropped: its corner is that of a page beside it.
        assert_eq!(marks.iter().filter(|m| !m.joins).count(), 4);
    }
}
