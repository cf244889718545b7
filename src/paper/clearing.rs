//! Finding room for words where no line runs.

use kurbo::{Point, Rect, Size};

/// Least side of one cell of the raster, in mm. Smaller finds tighter places, and takes longer.
const CELL: f64 = 1.0;
/// Cells in a raster, at most: a page has less; over a whole prop, words need no tighter place than on a page.
const CELLS: f64 = 60_000.0;

/// A raster over a window that knows which cells are taken: lines, marks, words already set.
#[derive(Clone, Debug)]
pub struct Clearing {
    window: Rect,
    /// Side of one cell, in mm.
    cell: f64,
    columns: usize,
    rows: usize,
    taken: Vec<bool>,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "cells are counted from clamped coordinates of a page, far below 2^31"
)]
impl Clearing {
    /// Everything inside `window` is free.
    pub fn new(window: Rect) -> Self {
        let cell = (window.area() / CELLS).sqrt().max(CELL);
        let columns = (window.width() / cell).floor().max(0.0) as usize;
        let rows = (window.height() / cell).floor().max(0.0) as usize;
        Self { window, cell, columns, rows, taken: vec![false; columns * rows] }
    }

    /// The cells that `window` touches, by themselves.
    pub fn part(&self, window: Rect) -> Self {
        let (x0, x1) = (self.column(window.x0).min(self.columns), (self.column(window.x1) + 1).min(self.columns));
        let (y0, y1) = (self.row(window.y0).min(self.rows), (self.row(window.y1) + 1).min(self.rows));
        let (columns, rows) = (x1.saturating_sub(x0), y1.saturating_sub(y0));
        let corner = self.window.origin() + kurbo::Vec2::new(x0 as f64, y0 as f64) * self.cell;
        let size = Size::new(columns as f64, rows as f64) * self.cell;
        let row = |y: usize| &self.taken[y * self.columns..][x0..x0 + columns];
        let taken = (y0..y0 + rows).flat_map(row).copied().collect();
        Self { window: Rect::from_origin_size(corner, size), cell: self.cell, columns, rows, taken }
    }

    /// Takes every cell closer than `margin` to the line through `points`.
    pub fn take_line(&mut self, points: &[Point], margin: f64) {
        let reach = margin + self.cell;
        for pair in points.windows(2) {
            let hull = Rect::from_points(pair[0], pair[1]).inflate(reach, reach);
            if hull.intersect(self.window).area() <= 0.0 {
                continue;
            }
            let steps = (pair[0].distance(pair[1]) / self.cell).ceil().max(1.0) as usize;
            for step in 0..=steps {
                let p = pair[0].lerp(pair[1], step as f64 / steps as f64);
                self.take(Rect::from_center_size(p, Size::new(2.0 * margin, 2.0 * margin)));
            }
        }
    }

    /// Takes every cell that `rect` touches.
    pub fn take(&mut self, rect: Rect) {
        let rect = rect.intersect(self.window);
        // A window below one cell has none to take.
        if rect.x1 < rect.x0 || rect.y1 < rect.y0 || self.taken.is_empty() {
            return;
        }
        let (x0, x1) = (self.column(rect.x0), self.column(rect.x1));
        let (y0, y1) = (self.row(rect.y0), self.row(rect.y1));
        let end = (x1 + 1).min(self.columns);
        for row in self.taken.chunks_exact_mut(self.columns).take(y1 + 1).skip(y0) {
            row[x0.min(end)..end].fill(true);
        }
    }

    /// Takes every cell whose middle lies outside (`keep_inside`) or inside (otherwise) the even-odd area of `loops`.
    pub fn take_area(&mut self, loops: &[impl AsRef<[Point]>], keep_inside: bool) {
        let middle = |row: usize| self.window.y0 + (row as f64 + 0.5) * self.cell;
        let mut crossings = vec![Vec::new(); self.rows];
        for pair in loops.iter().flat_map(|points| points.as_ref().windows(2)) {
            let (a, b) = (pair[0], pair[1]);
            let (first, end) = (self.row(a.y.min(b.y)), (self.row(a.y.max(b.y)) + 1).min(self.rows));
            for (row, crossings) in crossings.iter_mut().enumerate().take(end).skip(first) {
                let y = middle(row);
                if (a.y <= y) != (b.y <= y) {
                    crossings.push(a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x));
                }
            }
        }
        for (row, mut crossings) in crossings.into_iter().enumerate() {
            crossings.sort_by(f64::total_cmp);
            let cells = &mut self.taken[row * self.columns..][..self.columns];
            // The first cell whose middle lies beyond a crossing.
            let beyond = |crossing: f64| {
                let column = ((crossing - self.window.x0) / self.cell - 0.5).floor() + 1.0;
                (column.max(0.0) as usize).min(cells.len())
            };
            let edges: Vec<usize> = std::iter::once(0).chain(crossings.into_iter().map(beyond)).collect();
            let ends = edges[1..].iter().copied().chain([cells.len()]);
            for (number, (from, end)) in edges.iter().copied().zip(ends).enumerate() {
                if (number % 2 == 1) != keep_inside {
                    cells[from..end].fill(true);
                }
            }
        }
    }

    /// How many cells are free.
    pub fn free(&self) -> usize {
        self.taken.iter().filter(|&&taken| !taken).count()
    }

    /// The middle of all that is free; of the window when nothing is.
    pub fn middle(&self) -> Point {
        let (mut across, mut down, mut count) = (0, 0, 0);
        for (row, cells) in self.taken.chunks_exact(self.columns.max(1)).enumerate() {
            let (mut free, mut columns) = (0, 0);
            for (column, taken) in cells.iter().enumerate().filter(|(_, taken)| !**taken) {
                free += usize::from(!taken);
                columns += column;
            }
            (across, down, count) = (across + columns, down + row * free, count + free);
        }
        if count == 0 {
            return self.window.center();
        }
        let [across, down] = [across, down].map(|sum| sum as f64 / count as f64 + 0.5);
        self.window.origin() + kurbo::Vec2::new(across, down) * self.cell
    }

    /// The free place of `size` whose middle is nearest to `wish`, with as much air around it as can be had up to
    /// `air`; `None` when it fits nowhere.
    pub fn find(&self, size: Size, wish: Point, air: f64) -> Option<Rect> {
        self.find_first([size], wish, air).map(|(_, place)| place)
    }

    /// The same without air, quicker where there is room close by: then only that is looked at.
    pub fn find_near(&self, size: Size, wish: Point) -> Option<Rect> {
        /// How far around, in mm.
        const CLOSE: f64 = 15.0;
        let close = Size::new(size.width + 2.0 * CLOSE, size.height + 2.0 * CLOSE);
        let near = self.part(Rect::from_center_size(wish, close)).find(size, wish, 0.0);
        near.or_else(|| self.find(size, wish, 0.0))
    }

    /// The same for the first of `sizes` that fits, with its number.
    pub fn find_first(&self, sizes: impl IntoIterator<Item = Size>, wish: Point, air: f64) -> Option<(usize, Rect)> {
        let mut search = None;
        sizes.into_iter().enumerate().find_map(|(number, size)| {
            if size.width > self.window.width() || size.height > self.window.height() {
                return None;
            }
            let search: &Search<'_> = search.get_or_insert_with(|| self.search());
            Some((number, search.find(size, wish, air)?))
        })
    }

    /// What many searches in the same clearing have in common.
    pub fn search(&self) -> Search<'_> {
        Search { clearing: self, sums: self.sums() }
    }

    /// Taken cells in every rectangle from the top left corner.
    fn sums(&self) -> Vec<u32> {
        let stride = self.columns + 1;
        let mut sums = vec![0; stride * (self.rows + 1)];
        for row in 0..self.rows {
            let (above, here) = sums[row * stride..][..2 * stride].split_at_mut(stride);
            let mut line = 0;
            for ((here, above), taken) in here[1..].iter_mut().zip(&above[1..]).zip(&self.taken[row * self.columns..]) {
                line += u32::from(*taken);
                *here = above + line;
            }
        }
        sums
    }

    fn column(&self, x: f64) -> usize {
        ((x - self.window.x0) / self.cell).max(0.0) as usize
    }

    fn row(&self, y: f64) -> usize {
        ((y - self.window.y0) / self.cell).max(0.0) as usize
    }
}

/// A clearing in which one looks for many places.
pub struct Search<'a> {
    clearing: &'a Clearing,
    /// Taken cells in every rectangle from the top left corner.
    sums: Vec<u32>,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "cells are counted from clamped coordinates of a page, far below 2^31"
)]
impl Search<'_> {
    /// As [`Clearing::find`].
    pub fn find(&self, size: Size, wish: Point, air: f64) -> Option<Rect> {
        if air > 0.0 {
            // What fits nowhere without air need not be looked for with it.
            let (wide, high) = self.cells(size, 0.0)?;
            let stride = self.clearing.columns + 1;
            let mut corners = (0..=self.clearing.rows - high)
                .flat_map(|row| (0..=self.clearing.columns - wide).map(move |column| row * stride + column));
            if !corners.any(|corner| self.is_free(corner, wide, high)) {
                return None;
            }
        }
        let airs = [air, air / 2.0, 0.0];
        let airs = if air > 0.0 { &airs[..] } else { &airs[2..] };
        airs.iter().find_map(|&air| self.find_tight(size, wish, air))
    }

    /// How many cells wide and high a place has to be; `None` where there are not so many.
    fn cells(&self, size: Size, air: f64) -> Option<(usize, usize)> {
        let count = |length: f64| ((length + 2.0 * air) / self.clearing.cell).ceil() as usize + 1;
        let (wide, high) = (count(size.width), count(size.height));
        (wide <= self.clearing.columns && high <= self.clearing.rows).then_some((wide, high))
    }

    /// Whether so many cells right of and below a `corner` of the sums are all free.
    fn is_free(&self, corner: usize, wide: usize, high: usize) -> bool {
        let (a, b) = (corner, corner + high * (self.clearing.columns + 1));
        self.sums[b + wide] + self.sums[a] == self.sums[b] + self.sums[a + wide]
    }

    /// Rows are searched from the wish outwards, until they lie farther than the best place. Of places equally far it is
    /// the topmost, then the leftmost.
    fn find_tight(&self, size: Size, wish: Point, air: f64) -> Option<Rect> {
        let (wide, high) = self.cells(size, air)?;
        let all = self.clearing;
        let stride = all.columns + 1;
        let middle = |row: usize, column: usize| {
            all.window.origin()
                + kurbo::Vec2::new(column as f64 + wide as f64 / 2.0, row as f64 + high as f64 / 2.0) * all.cell
        };
        let off = |row: usize| (middle(row, 0).y - wish.y).powi(2);
        let mut rows: Vec<usize> = (0..=all.rows - high).collect();
        rows.sort_by(|&a, &b| off(a).total_cmp(&off(b)));
        let mut best: Option<(f64, usize, Point)> = None;
        for row in rows {
            if best.is_some_and(|(least, ..)| off(row) > least) {
                break;
            }
            for column in 0..=all.columns - wide {
                if !self.is_free(row * stride + column, wide, high) {
                    continue;
                }
                let middle = middle(row, column);
                let far = middle.distance_squared(wish);
                if best.is_none_or(|(least, top, _)| far < least || (far == least && row < top)) {
                    best = Some((far, row, middle));
                }
            }
        }
        best.map(|(.., middle)| Rect::from_center_size(middle, size))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_set_clear_of_a_line() {
        let mut clearing = Clearing::new(Rect::new(0.0, 0.0, 100.0, 60.0));
        clearing.take_line(&[Point::new(0.0, 30.0), Point::new(100.0, 30.0)], 1.0);
        let rect = clearing.find(Size::new(40.0, 20.0), Point::new(50.0, 28.0), 0.0).expect("there is room above");
        assert!(rect.y1 <= 29.0, "{rect:?}");
        assert!(clearing.find(Size::new(40.0, 32.0), Point::new(50.0, 28.0), 0.0).is_none());
    }

    #[test]
    fn a_part_knows_what_is_taken_of_it() {
        let mut clearing = Clearing::new(Rect::new(10.0, 10.0, 110.0, 70.0));
        clearing.take_line(&[Point::new(10.0, 40.0), Point::new(110.0, 40.0)], 1.0);
        let part = clearing.part(Rect::new(30.0, 20.0, 60.0, 90.0));
        let wish = Point::new(45.0, 39.0);
        let rect = part.find(Size::new(20.0, 10.0), wish, 0.0).expect("there is room");
        assert_eq!(Some(rect), clearing.find(Size::new(20.0, 10.0), wish, 0.0));
        assert!(part.find(Size::new(33.0, 10.0), wish, 0.0).is_none(), "wider than the part");
        assert_eq!(clearing.part(Rect::new(300.0, 300.0, 310.0, 310.0)).free(), 0);
    }

    #[test]
    fn the_inside_of_a_ring_is_not_its_hole() {
        let square = |half: f64| {
            let r = Rect::from_center_size((50.0, 50.0), (2.0 * half, 2.0 * half));
            vec![
                Point::new(r.x0, r.y0),
                Point::new(r.x1, r.y0),
                Point::new(r.x1, r.y1),
                Point::new(r.x0, r.y1),
                Point::new(r.x0, r.y0),
            ]
        };
        let mut clearing = Clearing::new(Rect::new(0.0, 0.0, 100.0, 100.0));
        clearing.take_area(&[square(40.0), square(20.0)], true);
        let rect = clearing.find(Size::new(15.0, 15.0), Point::new(50.0, 50.0), 0.0).expect("the ring is 20 wide");
        assert!(rect.intersect(Rect::new(30.0, 30.0, 70.0, 70.0)).area() <= 0.0, "{rect:?}");
        assert!(clearing.find(Size::new(25.0, 25.0), Point::new(50.0, 50.0), 0.0).is_none());
    }
}
