//! The ways a shape may lie on a page: how it is turned, and where beside it its words stand.

use kurbo::{Affine, Point, Rect, Shape as _, Size, Vec2};

use super::raster::{Bitmap, covered};
use super::turns::{STRAY, extent, straight};

/// White between two pieces that share a page.
pub(super) const GAP: f64 = 2.0;
/// White between a piece and the rim of what is printed.
pub(super) const RIM: f64 = 0.5;
/// So many places for words around each turn of a shape are kept.
const BESIDE: usize = 6;
/// A piece drawn aslant is also tried straight where that takes no more than this part of its box.
const STRAIGHTER: f64 = 0.95;

/// What is to be put on a page, in its own frame: closed polylines, and the room that words need beside them.
#[derive(Clone, Debug)]
pub(super) struct Shape {
    pub(super) loops: Vec<Vec<Point>>,
    pub(super) words: Size,
}

/// One way a shape may lie, in a box with half the white between two pieces around it.
#[derive(Clone, Debug)]
pub(super) struct Pose {
    /// Moves and turns from the shape's own frame to the top left corner of the box.
    pub(super) to_box: Affine,
    /// The room of its words, in the box.
    pub(super) words: Option<Rect>,
    size: Size,
    loops: Vec<Vec<Point>>,
}

/// Where one shape lies, by one of its poses.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seat {
    pub(super) page: usize,
    pub(super) pose: usize,
    /// Of the top left corner of its box on the page.
    pub(super) at: Vec2,
}

/// The cells of a page.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cells {
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Side of one, mm.
    pub(super) side: f64,
}

/// Which cells a shape takes: all that it or its white meets, or those whose middles lie in it.
#[derive(Clone, Copy, Debug)]
pub(super) enum Taking {
    Met,
    Middles,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "cells of a page are far fewer than 2^31"
)]
impl Cells {
    /// About so many on a page of size `page`, none smaller than `least`. They reach past the rim by as much as the white around a
    /// piece may.
    pub(super) fn of(page: Size, about: f64, least: f64) -> Self {
        let (wide, high) = (page.width + 2.0 * Self::BEYOND, page.height + 2.0 * Self::BEYOND);
        let side = (wide * high / about).sqrt().max(least);
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

    /// Where a cell's top left corner lies on the page.
    pub(super) fn at(&self, (x, y): (usize, usize)) -> Vec2 {
        Vec2::new(x as f64, y as f64) * self.side - Vec2::new(Self::BEYOND, Self::BEYOND)
    }

    /// The cell whose top left corner lies nearest to a place on the page.
    pub(super) fn nearest(&self, at: Vec2) -> (usize, usize) {
        let along = |mm: f64| ((mm + Self::BEYOND) / self.side).round().max(0.0) as usize;
        (along(at.x), along(at.y))
    }

    /// An empty page of them.
    pub(super) fn page(&self) -> Bitmap {
        Bitmap::new(self.columns, self.rows)
    }

    /// What `pose` takes of its box.
    pub(super) fn taken(&self, pose: &Pose, taking: Taking) -> Bitmap {
        // What nearly fills the page has its white cut off at the rim.
        let columns = self.count(pose.size.width).min(self.columns);
        let rows = self.count(pose.size.height).min(self.rows);
        let mut taken = Bitmap::new(columns, rows);
        let part = match taking {
            Taking::Met => 1.0,
            Taking::Middles => 0.0,
        };
        covered(&pose.loops, GAP / 2.0, self.side, part, &mut taken);
        if let Some(words) = pose.words {
            // What only touches a cell does not meet it.
            const TOUCH: f64 = 1e-6;
            let mut rim: Vec<Point> =
                words.inset(-2.0 * TOUCH).path_elements(1.0).filter_map(|el| el.end_point()).collect();
            rim.extend(rim.first().copied());
            covered(&[rim], TOUCH, self.side, part, &mut taken);
        }
        taken
    }
}

/// All ways `shape` may lie on a page of size `page`. Where an empty page has no room for its words it goes without.
pub(super) fn poses(shape: &Shape, page: Size) -> Vec<Pose> {
    let turned: Vec<(Affine, Vec<Vec<Point>>)> = turns(shape, page)
        .into_iter()
        .map(|turn| (turn, shape.loops.iter().map(|line| line.iter().map(|&p| turn * p).collect()).collect()))
        .collect();
    let all = |worded: bool| {
        let ways = turned.iter().flat_map(|(turn, loops)| {
            let rooms = if worded { beside(loops, shape.words) } else { vec![None] };
            rooms.into_iter().map(move |words| boxed(*turn, loops, words, page))
        });
        ways.flatten().collect::<Vec<Pose>>()
    };
    let worded = if shape.words == Size::ZERO { Vec::new() } else { all(true) };
    if worded.is_empty() { all(false) } else { worded }
}

/// A turned shape and its words in their box; with words, only where that goes on the page.
fn boxed(turn: Affine, loops: &[Vec<Point>], words: Option<Rect>, page: Size) -> Option<Pose> {
    let bounds = extent(loops, Affine::IDENTITY);
    let mut white = bounds.inflate(GAP / 2.0, GAP / 2.0);
    let most = page + Size::new(2.0, 2.0) * Cells::BEYOND;
    if let Some(words) = words {
        white = white.union(words);
        if white.width() > most.width || white.height() > most.height {
            return None;
        }
    }
    // What nearly fills the page lies in the middle of it.
    let cut = Size::new((white.width() - most.width).max(0.0), (white.height() - most.height).max(0.0));
    let white = white.inset((-cut.width / 2.0, -cut.height / 2.0));
    let home = -white.origin().to_vec2();
    Some(Pose {
        to_box: Affine::translate(home) * turn,
        words: words.map(|words| words + home),
        size: white.size(),
        loops: loops.iter().map(|line| line.iter().map(|&p| p + home).collect()).collect(),
    })
}

/// Rooms of size `words`, upright and lying, in openings, and leaning on `loops` from each side at either end of it and in the middle:
/// those that spread least, and those that reach least far from the middle, as a round opening around it would have them.
fn beside(loops: &[Vec<Point>], words: Size) -> Vec<Option<Rect>> {
    let bounds = extent(loops, Affine::IDENTITY);
    let sizes = [words, Size::new(words.height, words.width)];
    let mut rooms: Vec<Rect> = Vec::new();
    for quarter in 0..4 {
        let turn = Affine::rotate(f64::from(quarter) * std::f64::consts::FRAC_PI_2);
        let turned: Vec<Vec<Point>> = loops.iter().map(|line| line.iter().map(|&p| turn * p).collect()).collect();
        let ends = extent(&turned, Affine::IDENTITY);
        for Size { width, height } in sizes {
            for x in [ends.x0, ends.center().x - width / 2.0, ends.x1 - width] {
                let reach = [x - GAP / 2.0, x + width + GAP / 2.0];
                let room = Rect::from_origin_size((x, lowest(&turned, reach) + GAP / 2.0), (width, height));
                rooms.push(turn.inverse().transform_rect_bbox(room));
            }
        }
    }
    let far = |room: &Rect| {
        let room = *room - bounds.center().to_vec2();
        room.x0.abs().max(room.x1.abs()).hypot(room.y0.abs().max(room.y1.abs()))
    };
    let least = |of: &dyn Fn(&Rect) -> f64| {
        let mut rooms = rooms.clone();
        rooms.sort_by(|a, b| of(a).total_cmp(&of(b)));
        rooms.truncate(BESIDE / 2);
        rooms
    };
    let in_openings = loops.iter().flat_map(|line| {
        let middle = extent(std::slice::from_ref(line), Affine::IDENTITY).center();
        let rooms = sizes.map(|size| Rect::from_center_size(middle, size));
        rooms.into_iter().find(|room| is_free(*room, loops))
    });
    let all = in_openings.chain(least(&|room| bounds.union(*room).area())).chain(least(&far));
    all.map(Some).collect()
}

/// Whether `room` and the white around it lie in an opening of `loops`.
fn is_free(room: Rect, loops: &[Vec<Point>]) -> bool {
    let white = room.inflate(GAP / 2.0, GAP / 2.0);
    let middle = room.center();
    let (mut clear, mut around) = (true, 0);
    for pair in loops.iter().flat_map(|line| line.windows(2)) {
        clear &= !super::grid::crosses(pair[0], pair[1], white);
        let at = (middle.y - pair[0].y) / (pair[1].y - pair[0].y);
        let passes = (pair[0].y <= middle.y) != (pair[1].y <= middle.y);
        around += usize::from(passes && pair[0].x + at * (pair[1].x - pair[0].x) > middle.x);
    }
    // In the shape itself it would be crossed an odd number of times on the way out.
    clear && around > 0 && around % 2 == 0
}

/// How far down `loops` reach between two places across.
fn lowest(loops: &[Vec<Point>], [from, to]: [f64; 2]) -> f64 {
    let mut lowest = f64::NEG_INFINITY;
    for pair in loops.iter().flat_map(|line| line.windows(2)) {
        let (a, b) = if pair[0].x <= pair[1].x { (pair[0], pair[1]) } else { (pair[1], pair[0]) };
        if b.x < from || a.x > to {
            continue;
        }
        let at = |x: f64| if b.x > a.x { a.y + (x - a.x) / (b.x - a.x) * (b.y - a.y) } else { a.y.max(b.y) };
        lowest = lowest.max(at(from.max(a.x))).max(at(to.min(b.x)));
    }
    lowest
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
