//! Cells, a bit each: what shapes take of a page, and all places where a shape may lie at once.

use kurbo::{Point, Rect, Size};

/// Rows of bits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Bitmap {
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Words in a row.
    words: usize,
    bits: Vec<u64>,
}

impl Bitmap {
    pub(super) fn new(columns: usize, rows: usize) -> Self {
        let words = columns.div_ceil(64);
        Self { columns, rows, words, bits: vec![0; words * rows] }
    }

    fn row(&self, y: usize) -> &[u64] {
        &self.bits[y * self.words..][..self.words]
    }

    fn row_mut(&mut self, y: usize) -> &mut [u64] {
        &mut self.bits[y * self.words..][..self.words]
    }

    pub(super) fn get(&self, x: usize, y: usize) -> bool {
        self.row(y)[x / 64] >> (x % 64) & 1 == 1
    }

    pub(super) fn set(&mut self, x: usize, y: usize) {
        self.row_mut(y)[x / 64] |= 1 << (x % 64);
    }

    pub(super) fn count(&self) -> usize {
        self.bits.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// Cells of row `y` that are set, as first cells and lengths.
    pub(super) fn runs(&self, y: usize) -> Vec<(usize, usize)> {
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for x in (0..self.columns).filter(|&x| self.get(x, y)) {
            match runs.last_mut() {
                Some((from, length)) if *from + *length == x => *length += 1,
                _ => runs.push((x, 1)),
            }
        }
        runs
    }

    /// The same with a margin of so many clear cells all around.
    fn with_margin(&self, margin: usize) -> Self {
        let mut wide = Self::new(self.columns + 2 * margin, self.rows + 2 * margin);
        for y in 0..self.rows {
            or_left(wide.row_mut(y + margin), self.row(y), margin);
        }
        wide
    }
}

/// `into` with all bits of `from` moved to so many places lower.
fn or_right(into: &mut [u64], from: &[u64], by: usize) {
    let (skip, by) = (by / 64, by % 64);
    let from = from.get(skip..).unwrap_or(&[]);
    for (k, word) in into.iter_mut().enumerate().take(from.len()) {
        *word |= from[k] >> by;
        if by > 0 && k + 1 < from.len() {
            *word |= from[k + 1] << (64 - by);
        }
    }
}

/// `into` with all bits of `from` moved to so many places higher.
fn or_left(into: &mut [u64], from: &[u64], by: usize) {
    let (skip, by) = (by / 64, by % 64);
    for (k, word) in from.iter().enumerate() {
        if let Some(into) = into.get_mut(k + skip) {
            *into |= word << by;
        }
        if by > 0
            && let Some(into) = into.get_mut(k + skip + 1)
        {
            *into |= word >> (64 - by);
        }
    }
}

/// What a shape takes.
#[derive(Clone, Debug)]
pub(super) struct Mask {
    pub(super) cells: Bitmap,
    /// Row, first cell and length of what is taken, rows far apart before rows between them: what is in the way of the whole is
    /// soon found.
    runs: Vec<(usize, usize, usize)>,
    /// The cells next to those taken, with a margin of one cell.
    rim: Bitmap,
    rim_count: usize,
}

impl Mask {
    pub(super) fn new(cells: Bitmap) -> Self {
        let wide = cells.with_margin(1);
        let mut rim = Bitmap::new(wide.columns, wide.rows);
        for y in 0..wide.rows {
            for near in y.saturating_sub(1)..(y + 2).min(wide.rows) {
                let row = wide.row(near);
                if near == y {
                    or_left(rim.row_mut(y), row, 1);
                    or_right(rim.row_mut(y), row, 1);
                } else {
                    or_left(rim.row_mut(y), row, 0);
                }
            }
            rim.row_mut(y).iter_mut().zip(wide.row(y)).for_each(|(rim, taken)| *rim &= !taken);
        }
        let mut rows: Vec<usize> = (0..cells.rows).collect();
        rows.sort_by_key(|row| row.reverse_bits());
        let runs = rows.into_iter().flat_map(|y| cells.runs(y).into_iter().map(move |(x, long)| (y, x, long)));
        Self { runs: runs.collect(), rim_count: rim.count(), rim, cells }
    }
}

/// A page with what is taken of it, and a rim of one taken cell around it.
#[derive(Clone, Debug)]
pub(super) struct Room {
    /// `runs[k]`: the cells from which on one of 2^k is taken.
    runs: Vec<Bitmap>,
    free: usize,
}

impl Room {
    /// Of which `taken` is not free.
    pub(super) fn new(taken: &Bitmap) -> Self {
        let mut page = taken.with_margin(1);
        let (right, bottom) = (page.columns - 1, page.rows - 1);
        (0..=right).flat_map(|x| [(x, 0), (x, bottom)]).for_each(|(x, y)| page.set(x, y));
        (0..=bottom).flat_map(|y| [(0, y), (right, y)]).for_each(|(x, y)| page.set(x, y));
        let levels = page.columns.ilog2() as usize + 1;
        let free = page.columns * page.rows - page.count();
        let (first, last) = (0, page.rows);
        let mut room = Self { runs: vec![page; levels], free };
        room.renew(first, last);
        room
    }

    /// Rows `first` to `end` of all run lengths, from the page itself.
    fn renew(&mut self, first: usize, end: usize) {
        for k in 1..self.runs.len() {
            let (shorter, longer) = self.runs.split_at_mut(k);
            for y in first..end {
                let row = shorter[k - 1].row(y);
                longer[0].row_mut(y).copy_from_slice(row);
                or_right(longer[0].row_mut(y), row, 1 << (k - 1));
            }
        }
    }

    pub(super) fn taken(&self) -> usize {
        self.runs[0].columns * self.runs[0].rows - self.free
    }

    /// Takes the cells of `mask` at (x, y).
    pub(super) fn take(&mut self, mask: &Mask, (x, y): (usize, usize)) {
        for row in 0..mask.cells.rows {
            or_left(self.runs[0].row_mut(y + 1 + row), mask.cells.row(row), x + 1);
        }
        self.free -= mask.cells.count();
        self.renew(y + 1, y + 1 + mask.cells.rows);
    }

    /// The place at which most of the rim of `mask` touches what is taken, and what part of it does; of equal ones the topmost, then
    /// the leftmost. `None` where it fits nowhere.
    pub(super) fn best(&self, mask: &Mask) -> Option<(f64, (usize, usize))> {
        let page = &self.runs[0];
        if mask.cells.columns + 2 > page.columns || mask.cells.rows + 2 > page.rows || self.free < mask.cells.count() {
            return None;
        }
        let fits = self.places(mask);
        let mut best: Option<(u32, (usize, usize))> = None;
        for y in 0..fits.rows {
            for x in corners(&fits, y) {
                let touches = self.touches(mask, (x, y));
                if best.is_none_or(|(most, _)| touches > most) {
                    best = Some((touches, (x, y)));
                }
            }
        }
        best.map(|(touches, at)| (f64::from(touches) / mask.rim_count.max(1) as f64, at))
    }

    /// Every place where `mask` meets nothing that is taken.
    fn places(&self, mask: &Mask) -> Bitmap {
        let page = &self.runs[0];
        let (columns, rows) = (page.columns - mask.cells.columns - 1, page.rows - mask.cells.rows - 1);
        let mut fits = Bitmap::new(columns, rows);
        let mut beyond = Bitmap::new(fits.words * 64, 1);
        (columns..fits.words * 64).for_each(|x| beyond.set(x, 0));
        let mut blocked = vec![0; fits.words];
        for y in 0..rows {
            blocked.copy_from_slice(beyond.row(0));
            for &(row, from, length) in &mask.runs {
                let level = length.ilog2() as usize;
                let taken = self.runs[level].row(y + 1 + row);
                or_right(&mut blocked, taken, from + 1);
                or_right(&mut blocked, taken, from + 1 + length - (1 << level));
                if blocked.iter().all(|word| *word == u64::MAX) {
                    break;
                }
            }
            fits.row_mut(y).iter_mut().zip(&blocked).for_each(|(fits, blocked)| *fits = !blocked);
        }
        fits
    }

    /// How many cells of the rim of `mask` at (x, y) are taken.
    fn touches(&self, mask: &Mask, (x, y): (usize, usize)) -> u32 {
        let mut count = 0;
        let mut part = vec![0; mask.rim.words];
        for row in 0..mask.rim.rows {
            part.fill(0);
            or_right(&mut part, self.runs[0].row(y + row), x);
            count += part.iter().zip(mask.rim.row(row)).map(|(taken, rim)| (taken & rim).count_ones()).sum::<u32>();
        }
        count
    }
}

/// Places of row `y` from which one can go neither both left and right nor both up and down: where a shape comes to rest.
fn corners(fits: &Bitmap, y: usize) -> Vec<usize> {
    let clear = vec![0; fits.words];
    let row = fits.row(y);
    let above = if y > 0 { fits.row(y - 1) } else { &clear };
    let below = if y + 1 < fits.rows { fits.row(y + 1) } else { &clear };
    let (mut left, mut right) = (clear.clone(), clear.clone());
    or_left(&mut left, row, 1);
    or_right(&mut right, row, 1);
    let mut all = Vec::new();
    for k in 0..row.len() {
        let mut rest = row[k] & !(left[k] & right[k]) & !(above[k] & below[k]);
        while rest != 0 {
            all.push(k * 64 + rest.trailing_zeros() as usize);
            rest &= rest - 1;
        }
    }
    all
}

/// The cells of side `cell` that come nearer than `reach` to the even-odd area of `loops`, from (0, 0) on. Of each cell so large a
/// part counts around its middle: all of it at 1, its middle alone at 0.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "cells are counted from clamped coordinates of a page, far below 2^31"
)]
pub(super) fn covered(loops: &[Vec<Point>], reach: f64, cell: f64, part: f64, cells: &mut Bitmap) {
    let index = |at: f64, count: usize| ((at / cell).floor().max(0.0) as usize).min(count.saturating_sub(1));
    for pair in loops.iter().flat_map(|points| points.windows(2)) {
        // Short pieces, so that few cells have to be looked at beside a slanting line.
        let parts = (pair[0].distance(pair[1]) / (8.0 * cell)).ceil().max(1.0) as usize;
        for k in 0..parts {
            let at = |k: usize| pair[0].lerp(pair[1], k as f64 / parts as f64);
            let (a, b) = (at(k), at(k + 1));
            let near = Rect::from_points(a, b).inflate(reach, reach);
            for y in index(near.y0, cells.rows)..=index(near.y1, cells.rows) {
                for x in index(near.x0, cells.columns)..=index(near.x1, cells.columns) {
                    let middle = Point::new(x as f64 + 0.5, y as f64 + 0.5).to_vec2() * cell;
                    let square = Rect::from_center_size(middle.to_point(), Size::new(part, part) * cell);
                    if !cells.get(x, y) && apart(a, b, square) < reach {
                        cells.set(x, y);
                    }
                }
            }
        }
    }
    for y in 0..cells.rows {
        let middle = (y as f64 + 0.5) * cell;
        let mut crossings: Vec<f64> = loops
            .iter()
            .flat_map(|points| points.windows(2))
            .filter(|pair| (pair[0].y <= middle) != (pair[1].y <= middle))
            .map(|pair| pair[0].x + (middle - pair[0].y) / (pair[1].y - pair[0].y) * (pair[1].x - pair[0].x))
            .collect();
        crossings.sort_by(f64::total_cmp);
        for span in crossings.chunks_exact(2) {
            let [from, to] =
                [span[0], span[1]].map(|x| ((x / cell + 0.5).floor().max(0.0) as usize).min(cells.columns));
            (from..to).for_each(|x| cells.set(x, y));
        }
    }
}

/// How far the straight line from `a` to `b` stays from `rect`.
fn apart(a: Point, b: Point, rect: Rect) -> f64 {
    if super::grid::crosses(a, b, rect) {
        return 0.0;
    }
    let to_rect = |p: Point| p.distance(Point::new(p.x.clamp(rect.x0, rect.x1), p.y.clamp(rect.y0, rect.y1)));
    let to_line = |p: Point| {
        let along = (p - a).dot(b - a) / (b - a).hypot2();
        p.distance(if along.is_finite() { a.lerp(b, along.clamp(0.0, 1.0)) } else { a })
    };
    let corners = [(rect.x0, rect.y0), (rect.x1, rect.y0), (rect.x0, rect.y1), (rect.x1, rect.y1)];
    corners.into_iter().map(|corner| to_line(corner.into())).fold(to_rect(a).min(to_rect(b)), f64::min)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn bitmap(columns: usize, rows: usize, set: impl Fn(usize, usize) -> bool) -> Bitmap {
        let mut map = Bitmap::new(columns, rows);
        for (x, y) in (0..rows).flat_map(|y| (0..columns).map(move |x| (x, y))).filter(|&(x, y)| set(x, y)) {
            map.set(x, y);
        }
        map
    }

    proptest! {
        /// Whole words of bits at a time, and cell by cell.
        #[test]
        fn places_are_those_where_nothing_is_in_the_way(
            seed in 0..u64::MAX, columns in 1..150_usize, rows in 1..20_usize, wide in 1..90_usize, high in 1..8_usize
        ) {
            let noise = |x: usize, y: usize, salt: u64| {
                let mixed = (x as u64 + 977 * y as u64 + salt).wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(seed);
                mixed.wrapping_mul(0xD6E8_FEB8_6659_FD93) >> 58
            };
            let page = bitmap(columns, rows, |x, y| noise(x, y, 0) == 0);
            let shape = bitmap(wide, high, |x, y| noise(x, y, 99) < 20);
            let room = Room::new(&page);
            prop_assert_eq!(room.taken() - 2 * (columns + rows) - 4, page.count());
            if wide <= columns && high <= rows {
                let fits = room.places(&Mask::new(shape.clone()));
                prop_assert_eq!((fits.columns, fits.rows), (columns - wide + 1, rows - high + 1));
                for (x, y) in (0..fits.rows).flat_map(|y| (0..fits.columns).map(move |x| (x, y))) {
                    let meets = (0..high).any(|v| (0..wide).any(|u| shape.get(u, v) && page.get(x + u, y + v)));
                    prop_assert_eq!(fits.get(x, y), !meets, "at {} {}", x, y);
                }
            }
        }
    }

    #[test]
    fn what_is_near_an_outline_is_covered_and_nothing_else() {
        let ring = |half: f64| {
            let corner = |x: f64, y: f64| Point::new(20.0 + half * x, 20.0 + half * y);
            vec![corner(-1.0, 0.0), corner(0.0, -1.0), corner(1.0, 0.0), corner(0.0, 1.0), corner(-1.0, 0.0)]
        };
        let loops = [ring(15.0), ring(9.0)];
        let mut cells = Bitmap::new(40, 40);
        covered(&loops, 1.5, 1.0, 1.0, &mut cells);
        for (x, y) in (0..40).flat_map(|y| (0..40).map(move |x| (x, y))) {
            let middle = Point::new(x as f64 + 0.5, y as f64 + 0.5);
            // From the middle line of the ring, and half a cell more or less.
            let off = (((middle.x - 20.0).abs() + (middle.y - 20.0).abs() - 12.0) / 2.0_f64.sqrt()).abs();
            let (sure, never) = (3.0 / 2.0_f64.sqrt() + 1.5 - 0.1, 3.0 / 2.0_f64.sqrt() + 1.5 + 0.8);
            assert!(off > sure || cells.get(x, y), "{x} {y}");
            assert!(off < never || !cells.get(x, y), "{x} {y}");
        }
    }
}
