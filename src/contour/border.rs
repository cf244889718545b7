//! The border of a region as chains of pixel sides.

use super::region::Region;

/// What a pixel is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cell {
    Ground,
    /// Of the shape to be outlined.
    Shape,
    /// Of something else.
    Other,
}

/// The pixels around a shape.
#[derive(Clone)]
pub(super) struct Grid {
    cells: Vec<Cell>,
    /// Picture coordinates of the first cell; −1 or more.
    left: i64,
    top: i64,
    width: usize,
}

/// A side of a shape's pixel that borders on something else.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Crack {
    /// The shape's pixel.
    pub(super) x: i64,
    pub(super) y: i64,
    /// From that pixel outwards: one of the four unit steps.
    pub(super) out: (i64, i64),
}

impl Crack {
    /// The middle of the side.
    #[expect(clippy::cast_precision_loss, reason = "pixel coordinates are small")]
    pub(super) fn middle(&self) -> kurbo::Point {
        let half = |at: i64, out: i64| at as f64 + 0.5 + 0.5 * out as f64;
        kurbo::Point::new(half(self.x, self.out.0), half(self.y, self.out.1))
    }

    /// Where this side lies seen from another with the same outside: so far along it and so far inwards, in pixels.
    #[expect(clippy::cast_precision_loss, reason = "neighbouring pixels, unit steps")]
    pub(super) fn beside(&self, other: &Self) -> Option<(f64, f64)> {
        let (dx, dy) = ((self.x - other.x) as f64, (self.y - other.y) as f64);
        let (ox, oy) = (other.out.0 as f64, other.out.1 as f64);
        (self.out == other.out).then_some((dx * oy + dy * ox, -(dx * ox + dy * oy)))
    }
}

/// Cells among which the deepest is looked for.
const ENOUGH: usize = 20_000;
/// Cells looked at side by side: among so many there is mostly no border.
const WIDE: usize = 32;
/// Cells kept free around the shape, so that edges can be looked at from outside.
const RIM: i64 = 24;

impl Grid {
    /// An all-ground grid that holds `bounds` (left, top, right, bottom) and a rim.
    pub(super) fn around(bounds: [usize; 4]) -> Self {
        let [left, top, right, bottom] = bounds.map(|v| i64::try_from(v).expect("pixels count far below 2^63"));
        let size = |from: i64, to: i64| usize::try_from(to - from + 2 * RIM).expect("bounds are ordered");
        let (width, height) = (size(left, right), size(top, bottom));
        Self { cells: vec![Cell::Ground; width * height], left: left - RIM, top: top - RIM, width }
    }

    pub(super) fn paint(&mut self, region: &Region, cell: Cell) {
        let height = self.cells.len() / self.width;
        for &(y, from, to) in &region.runs {
            let place = |v: usize, origin: i64, size: usize| {
                let v = i64::try_from(v).expect("pixels count far below 2^63") - origin;
                usize::try_from(v.max(0)).expect("not negative").min(size)
            };
            let row = i64::try_from(y).expect("pixels count far below 2^63") - self.top;
            let Some(row) = usize::try_from(row).ok().filter(|r| *r < height) else { continue };
            let (from, to) = (place(from, self.left, self.width), place(to, self.left, self.width));
            self.cells[row * self.width + from..row * self.width + to].fill(cell);
        }
    }

    pub(super) const fn width(&self) -> usize {
        self.width
    }

    /// Every cell, row by row, with its place in the picture; none left of it and above.
    pub(super) fn places(&self) -> impl Iterator<Item = (Cell, Option<usize>, Option<usize>)> {
        let place = |v: i64| usize::try_from(v).ok();
        let at = move |i: usize| (place(self.left + signed(i % self.width)), place(self.top + signed(i / self.width)));
        self.cells.iter().enumerate().map(move |(i, cell)| {
            let (x, y) = at(i);
            (*cell, x, y)
        })
    }

    /// Every cell, in the same order.
    pub(super) fn cells_mut(&mut self) -> impl Iterator<Item = &mut Cell> {
        self.cells.iter_mut()
    }

    /// The cell at picture pixel (x, y); ground beyond the grid.
    pub(super) fn at(&self, x: i64, y: i64) -> Cell {
        let (Ok(column), Ok(row)) = (usize::try_from(x - self.left), usize::try_from(y - self.top)) else {
            return Cell::Ground;
        };
        if column >= self.width {
            return Cell::Ground;
        }
        self.cells.get(row * self.width + column).copied().unwrap_or(Cell::Ground)
    }

    /// The `N` cells on the line across a side of the shape, half of them outside, from outside to inside; the rim has room for
    /// them.
    pub(super) fn across<const N: usize>(&self, side: Crack) -> [Cell; N] {
        let half = signed(N / 2);
        let (x, y) = (side.x + side.out.0 * half - self.left, side.y + side.out.1 * half - self.top);
        let inwards = -(side.out.0 + side.out.1 * signed(self.width));
        let mut place = x + y * signed(self.width);
        std::array::from_fn(|_| {
            let cell = usize::try_from(place).ok().and_then(|place| self.cells.get(place));
            place += inwards;
            cell.copied().unwrap_or(Cell::Ground)
        })
    }

    /// All borders of the shape, each with the shape to the right of its way: clockwise on the screen around the
    /// shape, anticlockwise around holes. Pixels that meet in a corner only are kept apart, so no border touches itself.
    pub(super) fn borders(&self) -> Vec<Vec<Crack>> {
        let mut seen = vec![false; self.cells.len()];
        let mut borders = Vec::new();
        // The rim leaves the first row without a shape.
        let blocks = self.cells[self.width..].chunks(WIDE).zip(self.cells.chunks(WIDE));
        for (from, (here, above)) in (self.width..).step_by(WIDE).zip(blocks) {
            let is_upper = |(here, above): (&Cell, &Cell)| (*here == Cell::Shape) & (*above != Cell::Shape);
            let sides = || here.iter().zip(above).map(is_upper);
            if !sides().fold(false, |any, side| any | side) {
                continue;
            }
            for (i, _) in (from..).zip(sides()).filter(|(_, side)| *side) {
                if !seen[i] {
                    let (x, y) = (self.left + signed(i % self.width), self.top + signed(i / self.width));
                    borders.push(self.follow(x, y, &mut seen));
                }
            }
        }
        borders
    }

    /// Walks once around, from the upper side of pixel (x, y).
    fn follow(&self, x: i64, y: i64, seen: &mut [bool]) -> Vec<Crack> {
        let first = Crack { x, y, out: (0, -1) };
        let mut cracks = Vec::new();
        let mut crack = first;
        loop {
            if crack.out == (0, -1) {
                let place = (crack.y - self.top) * signed(self.width) + crack.x - self.left;
                seen[usize::try_from(place).expect("the shape lies in its grid")] = true;
            }
            cracks.push(crack);
            crack = self.next(crack);
            if crack == first {
                return cracks;
            }
        }
    }

    fn next(&self, Crack { x, y, out }: Crack) -> Crack {
        // The way along the side: `out` turned a quarter clockwise on the screen.
        let way = (-out.1, out.0);
        let ahead = (x + way.0, y + way.1);
        if self.at(ahead.0, ahead.1) != Cell::Shape {
            return Crack { x, y, out: way };
        }
        let across = (ahead.0 + out.0, ahead.1 + out.1);
        if self.at(across.0, across.1) != Cell::Shape {
            return Crack { x: ahead.0, y: ahead.1, out };
        }
        Crack { x: across.0, y: across.1, out: (-way.0, -way.1) }
    }

    /// A point well inside the shape: of the cells whose distance from everything else is largest, the first. Distances
    /// are counted in steps to the eight neighbours, on every so-manieth cell of a large grid: exactly enough for the
    /// purpose.
    pub(super) fn deepest(&self) -> (i64, i64) {
        let height = self.cells.len() / self.width;
        let step = (1..).find(|step| (self.width / step) * (height / step) <= ENOUGH).expect("some step is enough");
        let (w, h) = (self.width / step, height / step);
        let cell = |i: usize| ((i / w) * step + step / 2) * self.width + (i % w) * step + step / 2;
        let own = |i: usize| if self.cells[cell(i)] == Cell::Shape { u16::MAX } else { 0 };
        let mut depth: Vec<u16> = (0..w * h).map(own).collect();
        for row in 1..h - 1 {
            let (done, here) = depth.split_at_mut(row * w);
            let mut before = here[0];
            for (own, above) in here[1..w - 1].iter_mut().zip(done[(row - 1) * w..].windows(3)) {
                let least = before.min(above[0]).min(above[1]).min(above[2]);
                *own = (*own).min(least.saturating_add(1));
                before = *own;
            }
        }
        let mut best = (0, 0);
        for row in (1..h - 1).rev() {
            for i in (row * w + 1..(row + 1) * w - 1).rev() {
                let least = depth[i + 1].min(depth[i + w]).min(depth[i + w + 1]).min(depth[i + w - 1]);
                depth[i] = depth[i].min(least.saturating_add(1));
                best = best.max((depth[i], usize::MAX - i));
            }
        }
        // A shape thinner than a step has no cell of its own here.
        let found = if best.0 > 0 { Some(cell(usize::MAX - best.1)) } else { None };
        let i = found.or_else(|| self.cells.iter().position(|c| *c == Cell::Shape)).unwrap_or(0);
        (self.left + signed(i % self.width), self.top + signed(i / self.width))
    }
}

fn signed(v: usize) -> i64 {
    i64::try_from(v).expect("pixels count far below 2^63")
}
