//! Shapes that went on so many pages one by one → fewer pages.
//!
//! They are put down overlapping, and moved until none does. A shape in the way of others goes where it is least so, of all places
//! on all pages in all its poses; where no move helps any more, every pair still overlapping weighs more from then on (guided local
//! search: C. Voudouris, E. Tsang, European Journal of Operational Research 113, 1999; for shapes: J. Egeblad, B. Nielsen,
//! A. Odgaard, the same 183, 2007). Overlaps are counted in cells, for all places at once by sums along their rows. Coarse cells show
//! which places are worth a closer look; what counts is what overlaps in fine ones.

use std::collections::BTreeSet;

use kurbo::Size;
use rayon::prelude::*;

use super::poses::{Cells, Pose, Seat, Taking};
use super::raster::Bitmap;
use crate::chance::Dice;

/// A page has about so many coarse cells and so many fine ones, none smaller than this, mm.
const COARSE: f64 = 12_000.0;
const FINE: f64 = 200_000.0;
const LEAST_CELL: f64 = 0.4;
/// Of rows and places down each so-manieth is looked at first in coarse cells, and the best few poses of each page closer.
const ROUGH: usize = 2;
const CLOSER: usize = 2;
/// So many places of all pages are looked at in fine cells, and all that are so many coarse cells about them.
const FINALISTS: usize = 2;
const ABOUT: f64 = 2.0;
/// Nothing is tried where more than so many shapes a page would fill more than this part of their pages: the more there are, the
/// more gaps stay between them.
const MANY: usize = 8;
const FULL: f64 = 0.92;
/// A search makes so many sums at most, and only so many without ever less overlapping while that is more than such a part of a
/// page; so many searches are made. This bounds the time.
const WORK: usize = 3_000_000_000;
const PATIENCE: usize = WORK / 3;
const NEARLY: usize = 60;
const SEARCHES: u64 = 5;

/// Seats on so many `pages` in which nothing overlaps, from `seats` on more of them; `None` where none are found.
pub(super) fn squeeze(poses: &[Vec<Pose>], page: Size, seats: &[Seat], pages: usize) -> Option<Vec<Seat>> {
    let coarse = Grain::new(poses, Cells::of(page, COARSE, LEAST_CELL), Taking::Middles);
    let fine = Grain::new(poses, Cells::of(page, FINE, LEAST_CELL), Taking::Met);
    let (needed, there) = (coarse.needed(), pages * coarse.cells.columns * coarse.cells.rows);
    let full = if poses.len() > MANY * pages { FULL } else { 1.0 };
    if needed as f64 > full * there as f64 {
        return None;
    }
    let search = |seed: u64| {
        let mut crowd = Crowd::new(&coarse, &fine, pages, seed);
        crowd.begin(seats);
        crowd.settle().map(|()| crowd.seats.into_iter().map(|seat| seat.expect("all are seated")).collect())
    };
    match search(0) {
        Ok(seats) => Some(seats),
        Err(Stuck::Far) => None,
        // How long one takes is mostly luck: others, begun otherwise, are more likely to come through than the same one later.
        Err(Stuck::Near) => (1..SEARCHES).into_par_iter().find_map_first(|seed| search(seed).ok()),
    }
}

/// How a search ended that found nothing: with hardly anything overlapping, or with much.
enum Stuck {
    Near,
    Far,
}

/// A shape in a pose, by rows.
#[derive(Clone, Debug)]
struct Form {
    columns: usize,
    rows: usize,
    /// First cell of each run, and the one behind it.
    runs: Vec<(usize, usize)>,
    /// Where the runs of each row begin in them, and where the last ends.
    begins: Vec<usize>,
}

impl Form {
    fn new(taken: &Bitmap) -> Self {
        let (mut runs, mut begins) = (Vec::new(), vec![0]);
        for y in 0..taken.rows {
            runs.extend(taken.runs(y).into_iter().map(|(from, long)| (from, from + long)));
            begins.push(runs.len());
        }
        Self { columns: taken.columns, rows: taken.rows, runs, begins }
    }

    fn row(&self, y: usize) -> &[(usize, usize)] {
        &self.runs[self.begins[y]..self.begins[y + 1]]
    }

    fn count(&self) -> usize {
        self.runs.iter().map(|(from, to)| to - from).sum()
    }

    /// Cells that both take.
    fn overlap(&self, at: (usize, usize), other: &Self, place: (usize, usize)) -> usize {
        let (top, bottom) = (at.1.max(place.1), (at.1 + self.rows).min(place.1 + other.rows));
        if at.0 >= place.0 + other.columns || place.0 >= at.0 + self.columns {
            return 0;
        }
        let mut shared = 0;
        for y in top..bottom {
            for &(from, to) in self.row(y - at.1) {
                for &(other_from, other_to) in other.row(y - place.1) {
                    let low = (from + at.0).max(other_from + place.0);
                    let high = (to + at.0).min(other_to + place.0);
                    shared += high.saturating_sub(low);
                }
            }
        }
        shared
    }
}

/// All shapes in all poses, in cells of one size.
struct Grain {
    cells: Cells,
    forms: Vec<Vec<Form>>,
}

impl Grain {
    fn new(poses: &[Vec<Pose>], cells: Cells, taking: Taking) -> Self {
        let forms = |poses: &Vec<Pose>| poses.iter().map(|pose| Form::new(&cells.taken(pose, taking))).collect();
        Self { cells, forms: poses.par_iter().map(forms).collect() }
    }

    /// Cells that all shapes take together, at least.
    fn needed(&self) -> usize {
        self.forms.iter().map(|forms| forms.iter().map(Form::count).min().unwrap_or(0)).sum()
    }

    fn form(&self, i: usize, seat: Seat) -> &Form {
        &self.forms[i][seat.pose]
    }

    /// The last places across and down.
    fn last(&self, form: &Form) -> (usize, usize) {
        (self.cells.columns - form.columns, self.cells.rows - form.rows)
    }

    /// All places on a page.
    fn places(&self, form: &Form) -> Window {
        let last = self.last(form);
        Window { from: (0, 0), size: (last.0 + 1, last.1 + 1) }
    }

    /// The place in cells that is nearest to a seat.
    fn place(&self, i: usize, seat: Seat) -> (usize, usize) {
        let (at, last) = (self.cells.nearest(seat.at), self.last(self.form(i, seat)));
        (at.0.min(last.0), at.1.min(last.1))
    }

    /// The first and last places of `form` at most so many cells from `at`, across and down.
    fn about(&self, form: &Form, at: (usize, usize), near: usize) -> Window {
        let last = self.last(form);
        let from = (at.0.saturating_sub(near), at.1.saturating_sub(near));
        Window { from, size: ((at.0 + near).min(last.0) + 1 - from.0, (at.1 + near).min(last.1) + 1 - from.1) }
    }
}

/// Cells or places of a page.
#[derive(Clone, Copy)]
struct Window {
    from: (usize, usize),
    size: (usize, usize),
}

impl Window {
    fn count(self) -> usize {
        self.size.0 * self.size.1
    }
}

/// What a seat costs: the cells that others take there as well, as they weigh.
type Costly = (f32, Seat);

/// Shapes on pages, in each other's way.
struct Crowd<'a> {
    coarse: &'a Grain,
    fine: &'a Grain,
    pages: usize,
    /// Places of fine cells.
    seats: Vec<Option<Seat>>,
    /// How much a shared cell of two shapes weighs.
    weights: Vec<f32>,
    work: usize,
    dice: Dice,
}

impl<'a> Crowd<'a> {
    fn new(coarse: &'a Grain, fine: &'a Grain, pages: usize, seed: u64) -> Self {
        let count = fine.forms.len();
        Self {
            coarse,
            fine,
            pages,
            seats: vec![None; count],
            weights: vec![1.0; count * count],
            work: 0,
            dice: Dice(seed),
        }
    }

    /// Those on the pages there are stay where they are; the others go, the largest first, where they are least in the way.
    fn begin(&mut self, seats: &[Seat]) {
        for (i, seat) in seats.iter().enumerate().filter(|(_, seat)| seat.page < self.pages) {
            self.seats[i] = Some(Seat { at: self.fine.cells.at(self.fine.place(i, *seat)), ..*seat });
        }
        let mut others: Vec<usize> = (0..seats.len()).filter(|&i| self.seats[i].is_none()).collect();
        others.sort_by_key(|&i| std::cmp::Reverse(self.coarse.forms[i][0].count()));
        for i in others {
            self.seats[i] = Some(self.best_anywhere(i).1);
        }
    }

    /// The shapes that lie on one page with shape `i`, which is not among them.
    fn others(&self, i: usize, page: usize) -> impl Iterator<Item = (usize, Seat)> + '_ {
        let seated = self.seats.iter().enumerate().filter_map(|(j, seat)| Some((j, (*seat)?)));
        seated.filter(move |(j, seat)| *j != i && seat.page == page)
    }

    /// The shapes that `i` overlaps, and the cells they share.
    fn overlaps(&self, i: usize) -> Vec<(usize, usize)> {
        let Some(seat) = self.seats[i] else { return Vec::new() };
        let (form, place) = (self.fine.form(i, seat), self.fine.place(i, seat));
        let shared = |(j, other)| (j, form.overlap(place, self.fine.form(j, other), self.fine.place(j, other)));
        self.others(i, seat.page).map(shared).filter(|(_, shared)| *shared > 0).collect()
    }

    fn weight(&self, i: usize, j: usize) -> f32 {
        self.weights[i * self.seats.len() + j]
    }

    /// All pairs that overlap, and the cells they share.
    fn pairs(&self) -> Vec<(usize, usize, usize)> {
        let all =
            (0..self.seats.len()).flat_map(|i| self.overlaps(i).into_iter().map(move |(j, shared)| (i, j, shared)));
        all.filter(|(i, j, _)| i < j).collect()
    }

    /// Moves shapes until none overlaps; gives up when too much has been done.
    fn settle(&mut self) -> Result<(), Stuck> {
        let (mut least, mut nearly, mut until) = (usize::MAX, false, PATIENCE);
        loop {
            let pairs = self.pairs();
            let all: usize = pairs.iter().map(|(_, _, shared)| *shared).sum();
            if all == 0 {
                return Ok(());
            }
            if all < least {
                nearly = all < self.fine.cells.columns * self.fine.cells.rows / NEARLY;
                (least, until) = (all, if nearly { WORK } else { self.work + PATIENCE });
            }
            if self.work > until {
                return Err(if nearly { Stuck::Near } else { Stuck::Far });
            }
            let crowded: BTreeSet<usize> = pairs.into_iter().flat_map(|(i, j, _)| [i, j]).collect();
            let mut crowded: Vec<(f64, usize)> = crowded.into_iter().map(|i| (self.dice.uniform(), i)).collect();
            crowded.sort_by(|a, b| a.0.total_cmp(&b.0));
            let moved = crowded.into_iter().filter(|&(_, i)| self.improve(i)).count();
            if moved == 0 {
                self.resent();
            }
        }
    }

    /// Moves shape `i` where it is less in the way, if there is such a seat.
    fn improve(&mut self, i: usize) -> bool {
        /// Sums of weights that differ by less are the same.
        const LESS: f32 = 0.999;
        let now: f32 = self.overlaps(i).iter().map(|&(j, shared)| self.weight(i, j) * shared as f32).sum();
        // Others may have moved out of its way.
        if now == 0.0 {
            return false;
        }
        self.work += self.effort(i);
        let (cost, seat) = self.best(i);
        let better = cost < LESS * now;
        if better {
            self.seats[i] = Some(seat);
        }
        better
    }

    /// Sums that are made to move shape `i` once: those of windows, and for each place those of its rows.
    fn effort(&self, i: usize) -> usize {
        let Grain { cells, ref forms } = *self.coarse;
        let anywhere = |form: &Form| form.runs.len() * self.coarse.places(form).count() / (ROUGH * ROUGH);
        let on_page = 2 * cells.columns * cells.rows + forms[i].iter().map(anywhere).sum::<usize>();
        let about = 1 + 2 * self.near();
        let near = |form: &Form| 2 * (form.columns + about) * (form.rows + about) + form.runs.len() * about * about;
        let closer = self.fine.forms[i].iter().map(near).max().unwrap_or(0);
        self.pages * on_page + (1 + FINALISTS) * closer
    }

    /// How far a closer look goes, in fine cells.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few cells")]
    fn near(&self) -> usize {
        (ABOUT * self.coarse.cells.side / self.fine.cells.side).round() as usize
    }

    /// Pairs that overlap weigh more from now on.
    fn resent(&mut self) {
        let (pairs, count) = (self.pairs(), self.seats.len());
        let most = pairs.iter().map(|pair| pair.2).max().unwrap_or(1) as f32;
        for (i, j, shared) in pairs {
            self.weights[i * count + j] += shared as f32 / most;
            self.weights[j * count + i] += shared as f32 / most;
        }
    }

    /// Where shape `i` is least in the way, and how much that is: near where it lies, or anywhere.
    fn best(&self, i: usize) -> Costly {
        let near = self.seats[i].map(|seat| self.best_near(i, seat));
        match near {
            Some(near) if near.0 == 0.0 => near,
            Some(near) => less(near, self.best_anywhere(i)),
            None => self.best_anywhere(i),
        }
    }

    /// Near a seat, in fine cells.
    fn best_near(&self, i: usize, seat: Seat) -> Costly {
        let form = self.fine.form(i, seat);
        let places = self.fine.about(form, self.fine.place(i, seat), self.near());
        let size = (places.size.0 + form.columns - 1, places.size.1 + form.rows - 1);
        let sums = self.sums(self.fine, i, seat.page, Window { size, ..places });
        let (cost, (x, y)) = sums.least(form, Window { from: (0, 0), ..places }, 1);
        let at = self.fine.cells.at((places.from.0 + x, places.from.1 + y));
        (cost, Seat { at, ..seat })
    }

    /// On all pages in all poses: the best few in coarse cells, and the best of those in fine ones.
    fn best_anywhere(&self, i: usize) -> Costly {
        let Grain { cells, forms } = self.coarse;
        let forms = &forms[i];
        let page = Window { from: (0, 0), size: (cells.columns, cells.rows) };
        let on_page = |number: usize| {
            let sums = self.sums(self.coarse, i, number, page);
            let rough = forms.iter().map(|form| sums.least(form, self.coarse.places(form), ROUGH));
            let mut rough: Vec<_> = rough.enumerate().map(|(pose, (cost, at))| (cost, pose, at)).collect();
            rough.sort_by(|a, b| a.0.total_cmp(&b.0));
            let closer = rough.into_iter().take(CLOSER).map(|(_, pose, at)| {
                let (cost, at) = sums.least(&forms[pose], self.coarse.about(&forms[pose], at, ROUGH), 1);
                (cost, Seat { page: number, pose, at: cells.at(at) })
            });
            closer.collect::<Vec<Costly>>()
        };
        let mut all: Vec<Costly> = (0..self.pages).into_par_iter().flat_map_iter(on_page).collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        all.truncate(FINALISTS);
        let finalists: Vec<Costly> = all.into_par_iter().map(|(_, seat)| self.best_near(i, seat)).collect();
        finalists.into_iter().reduce(less).expect("a shape has a pose and there is a page")
    }

    /// What shape `i` meets in a window of a page.
    fn sums(&self, grain: &Grain, i: usize, page: usize, Window { from, size }: Window) -> Sums {
        let (to, stride) = ((from.0 + size.0, from.1 + size.1), size.0 + 1);
        let mut sums = vec![0.0_f32; stride * size.1];
        for (j, seat) in self.others(i, page) {
            let (form, place, weight) = (grain.form(j, seat), grain.place(j, seat), self.weight(i, j));
            if place.0 >= to.0 || place.0 + form.columns <= from.0 {
                continue;
            }
            for y in place.1.max(from.1)..(place.1 + form.rows).min(to.1) {
                let row = &mut sums[(y - from.1) * stride..][..stride];
                for &(first, end) in form.row(y - place.1) {
                    let clamp = |x: usize| (x + place.0).clamp(from.0, to.0) - from.0;
                    row[clamp(first)] += weight;
                    row[clamp(end)] -= weight;
                }
            }
        }
        for row in sums.chunks_exact_mut(stride) {
            let (mut here, mut sum) = (0.0, 0.0);
            for cell in row {
                here += *cell;
                *cell = sum;
                sum += here;
            }
        }
        Sums { stride, sums }
    }
}

/// The less costly of two seats, of equal ones the first.
fn less(best: Costly, other: Costly) -> Costly {
    if other.0 < best.0 { other } else { best }
}

/// Of a window of a page, by rows: what all cells before each place of a row weigh.
struct Sums {
    stride: usize,
    sums: Vec<f32>,
}

impl Sums {
    /// The least that `form` meets at one of these places, and where; of equal ones the topmost, then the leftmost. Of rows and places
    /// down each `step`th is looked at.
    fn least(&self, form: &Form, Window { from, size }: Window, step: usize) -> (f32, (usize, usize)) {
        let mut best = (f32::INFINITY, from);
        let mut costs = vec![0.0_f32; size.0];
        for y in (from.1..from.1 + size.1).step_by(step) {
            costs.fill(0.0);
            for row in (0..form.rows).step_by(step) {
                let sums = &self.sums[(y + row) * self.stride + from.0..][..self.stride - from.0];
                for &(first, end) in form.row(row) {
                    let (first, end) = (&sums[first..][..size.0], &sums[end..][..size.0]);
                    costs.iter_mut().zip(first.iter().zip(end)).for_each(|(cost, (first, end))| *cost += end - first);
                }
            }
            for (x, &cost) in costs.iter().enumerate() {
                if cost < best.0 {
                    best = (cost, (from.0 + x, y));
                }
            }
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use kurbo::{Point, Vec2};
    use proptest::prelude::*;

    use super::*;
    use crate::paper::poses::{GAP, RIM, Shape, poses};

    fn boxed(wide: f64, high: f64) -> Shape {
        let line = [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high), (0.0, 0.0)].map(Point::from).to_vec();
        Shape { loops: vec![line], words: Size::ZERO }
    }

    /// Nine squares on a page that has room for nine and not for ten, thrown on it in one heap.
    #[test]
    fn a_heap_comes_apart() {
        let side = 3.0 * 50.0 + 2.0 * GAP + 2.0 * RIM + 9.0;
        let page = Size::new(side, side);
        let all: Vec<Vec<Pose>> = (0..9).map(|_| poses(&boxed(50.0, 50.0), page)).collect();
        let heap = [Seat { page: 0, pose: 0, at: Vec2::new(40.0, 60.0) }; 9];
        let seats = squeeze(&all, page, &heap, 1).expect("they have room");
        let squares: Vec<kurbo::Rect> = seats
            .iter()
            .zip(&all)
            .map(|(seat, poses)| {
                let pose = &poses[seat.pose];
                let to_page = kurbo::Affine::translate(seat.at) * pose.to_box;
                to_page.transform_rect_bbox(kurbo::Rect::new(0.0, 0.0, 50.0, 50.0))
            })
            .collect();
        for (i, square) in squares.iter().enumerate() {
            assert!(page.to_rect().inset(-RIM + 1e-6).contains_rect(*square), "{square:?}");
            let white = square.inflate(GAP / 2.0 - 1e-6, GAP / 2.0 - 1e-6);
            let near = squares[..i].iter().find(|other| other.inflate(GAP / 2.0, GAP / 2.0).overlaps(white));
            assert!(near.is_none(), "{square:?} and {near:?}");
        }
    }

    #[test]
    fn what_has_no_room_is_not_put_down() {
        let page = Size::new(200.0, 200.0);
        let all: Vec<Vec<Pose>> = (0..5).map(|_| poses(&boxed(105.0, 90.0), page)).collect();
        let seats = [Seat { page: 0, pose: 0, at: Vec2::ZERO }; 5];
        assert!(squeeze(&all, page, &seats, 1).is_none());
    }

    proptest! {
        /// Sums along rows, and cells counted pair by pair.
        #[test]
        fn the_least_in_the_way_is_found(
            cells in prop::collection::vec(prop::collection::vec(prop::bool::ANY, 12), 9), x in 0..20_usize, y in 0..14_usize
        ) {
            let mut taken = Bitmap::new(12, 9);
            for (y, row) in cells.iter().enumerate() {
                row.iter().enumerate().filter(|(_, set)| **set).for_each(|(x, _)| taken.set(x, y));
            }
            let block = Cells { columns: 32, rows: 23, side: 1.0 };
            let (noise, square) = (Form::new(&taken), {
                let mut square = Bitmap::new(8, 7);
                (0..56).for_each(|k| square.set(k % 8, k / 8));
                Form::new(&square)
            });
            let grain = Grain { cells: block, forms: vec![vec![noise], vec![square]] };
            let mut crowd = Crowd::new(&grain, &grain, 1, 0);
            let at = |at| Some(Seat { page: 0, pose: 0, at: block.at(at) });
            crowd.seats = vec![at((x, y)), at((0, 0))];
            crowd.weights.fill(2.0);
            let [noise, square] = [0, 1].map(|k| &grain.forms[k][0]);
            let sums = crowd.sums(&grain, 1, 0, Window { from: (0, 0), size: (32, 23) });
            for (px, py) in (0..25).flat_map(|px| (0..17).map(move |py| (px, py))) {
                let (cost, found) = sums.least(square, Window { from: (px, py), size: (1, 1) }, 1);
                let shared = square.overlap((px, py), noise, (x, y));
                let counted = (0..7).flat_map(|v| (0..8).map(move |u| (u + px, v + py)))
                    .filter(|&(u, v)| (x..x + 12).contains(&u) && (y..y + 9).contains(&v) && taken.get(u - x, v - y)).count();
                prop_assert_eq!((shared, found), (counted, (px, py)));
                prop_assert!((cost - 2.0 * shared as f32).abs() < 1e-3);
            }
        }
    }
}
