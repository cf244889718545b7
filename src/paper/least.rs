//! Pages that no layout can do without.

use std::collections::BTreeMap;
use std::f64::consts::PI;

use kurbo::{Affine, Point, Size, Vec2};
use rayon::prelude::*;

use super::core::Core;
use super::poses::GAP;
use super::turns::extent;
use crate::shape::Region;
use crate::space::{Path, Pattern};

/// At least so many whole pages.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a positive count of pages")]
fn whole(share: f64) -> usize {
    (share - 1e-9).ceil().max(1.0) as usize
}

/// Fewer pages than this hold pieces that share pages in no way whatever: of each its outline and holes, and the room of its words.
///
/// Pieces keep [`GAP`] apart, so that all points nearer to a piece than half of it, r, are its own, and lie on the page or no farther
/// beside it, where a page of w × h has w h + 2 r (w + h) + π r² for them (J. Steiner). Words beside a piece have a room that nothing
/// else reaches into by more than r.
pub(super) fn of_small(pieces: &[(&Path<Pattern>, Size)], core: &Core) -> usize {
    /// Outlines that are made wider come nearer than this, mm, to where they should be.
    const OFF: f64 = 0.03;
    if pieces.is_empty() {
        return 0;
    }
    let (r, field) = (GAP / 2.0, core.field.size());
    let taken = |(path, words): &(&Path<Pattern>, Size)| {
        let words = words.to_rect().inset(-r);
        let words = words.width().max(0.0) * words.height().max(0.0);
        Region::of(path).widened(r - OFF).area() + words
    };
    let page = field.area() + 2.0 * r * (field.width + field.height) + PI * r * r;
    whole(pieces.par_iter().map(taken).sum::<f64>() / page)
}

/// Fewer pages than this carry one piece larger than a page; nothing is gained by more than `enough`.
///
/// Whatever way its pages lie: none shows more than its field, and what pages share counts twice. Each answers for a step both ways,
/// and at the rim for half an overlap more. None reaches farther than from corner to corner.
pub(super) fn of_large(loops: &[Vec<Point>], area: f64, core: &Core, enough: usize) -> usize {
    let field = core.field.size();
    let reach = extent(loops, Affine::IDENTITY).size().max_side();
    let across = field.width.hypot(field.height);
    let by_area = ((area - core.overlap * widest_and_highest(loops)) / core.step().area()).max(area / field.area());
    let anyhow = whole(by_area).max(whole((reach - core.overlap) / (across - core.overlap)));
    if anyhow >= enough { anyhow } else { anyhow.max(in_a_grid(loops, core, enough)) }
}

/// Fewer pages than this carry one piece larger than a page in no grid whatever, pages that nothing lies on left out; nothing is
/// gained by more than `enough`. (Rows shifted against each other can save pages, but join them along part of an edge, and the
/// shorter a join the more it turns.)
///
/// The piece may lie anywhere at any angle. What lies in one page's field and in no other's must be shown by that page; and of a row
/// so many pages are needed as cover what only that row shows. That is told not only for one place and angle but for a whole range
/// of them: turned by up to a, a point moves by no more than R a, where R is how far the piece reaches from its middle; so what lies
/// deeper in a page than that, and than the range of places is wide, lies in it throughout, and a page that is wider by R a at
/// either end covers whatever it covers in the whole range. All ranges together are all there is; the ones with the fewest pages are
/// halved over and over, and what is left in the end as the fewest is the bound.
pub(super) fn in_a_grid(loops: &[Vec<Point>], core: &Core, enough: usize) -> usize {
    let bounds = extent(loops, Affine::IDENTITY);
    let home = -bounds.center().to_vec2();
    let points = || loops.iter().flatten();
    let reach = points().map(|p| (p.to_vec2() + home).hypot()).fold(0.0, f64::max);
    let most = RANGES.min(SEGMENTS / points().count().max(1));
    let field = core.field.size();
    let all = [field, Size::new(field.height, field.width)].map(|field| Range {
        field,
        overlap: core.overlap,
        angle: [PI / 2.0; 2],
        left: [(field.width - core.overlap) / 2.0; 2],
        top: [(field.height - core.overlap) / 2.0; 2],
    });
    // By the fewest pages they need.
    let mut open: BTreeMap<usize, Vec<Range>> = BTreeMap::new();
    let (mut seen, mut next) = (0, all.to_vec());
    loop {
        seen += next.len();
        let fewest: Vec<usize> = next.par_iter().map(|range| range.fewest(loops, home, reach)).collect();
        next.drain(..).zip(fewest).for_each(|(range, fewest)| open.entry(fewest).or_default().push(range));
        let Some((&fewest, ranges)) = open.iter_mut().next() else { return 1 };
        if fewest >= enough || seen >= most {
            return fewest;
        }
        // The narrowest come last.
        let taken = ranges.split_off(ranges.len().saturating_sub(TOGETHER));
        if taken.iter().any(|range| range.width(reach) < NARROW) {
            return fewest;
        }
        if ranges.is_empty() {
            open.remove(&fewest);
        }
        next.extend(taken.iter().flat_map(|range| range.halves(reach)));
    }
}

/// The most that width and height come to together, however a piece is turned.
fn widest_and_highest(loops: &[Vec<Point>]) -> f64 {
    const TURNS: u32 = 90;
    let both = |k: u32| {
        let size = extent(loops, Affine::rotate(f64::from(k) / f64::from(TURNS) * PI / 2.0)).size();
        size.width + size.height
    };
    // Between two turns it may come to a little more: by the cosine of half a step.
    (0..TURNS).map(both).fold(0.0, f64::max) / (0.25 * PI / f64::from(TURNS)).cos()
}

/// Ranges that are looked at, at most, and segments of the outline in all of them together: what bounds the time.
const RANGES: usize = 100_000;
const SEGMENTS: usize = 2_500_000;
/// A range is not halved below this, mm.
const NARROW: f64 = 0.1;
/// So many at a time.
const TOGETHER: usize = 64;
/// Polylines may stray so far from their curves, mm: the fewer points they have, the more ranges can be looked at.
pub(super) const STRAY: f64 = 0.5;

/// Angles of a piece and places where its first column and row begin, each as a middle and how far it goes either way.
#[derive(Clone, Copy)]
struct Range {
    field: Size,
    overlap: f64,
    angle: [f64; 2],
    left: [f64; 2],
    top: [f64; 2],
}

impl Range {
    /// How far a point may move within it, mm.
    fn width(&self, reach: f64) -> f64 {
        reach * self.angle[1] + self.left[1].max(self.top[1])
    }

    /// Both halves, across what makes more of a difference.
    fn halves(&self, reach: f64) -> [Self; 2] {
        let (turned, left, top) = (2.0 * reach * self.angle[1], self.left[1], self.top[1]);
        [-0.5, 0.5].map(|side| {
            let mut half = *self;
            let parted = if turned > left.max(top) {
                &mut half.angle
            } else if left > top {
                &mut half.left
            } else {
                &mut half.top
            };
            *parted = [parted[0] + side * parted[1], 0.5 * parted[1]];
            half
        })
    }

    /// Pages that are needed everywhere in the range.
    fn fewest(&self, loops: &[Vec<Point>], home: Vec2, reach: f64) -> usize {
        let moved = reach * self.angle[1] + STRAY;
        let step = self.field - Size::new(self.overlap, self.overlap);
        let to_grid = Affine::translate((-self.left[0], -self.top[0]));
        let lie = to_grid * Affine::rotate(self.angle[0]) * Affine::translate(home);
        let turned: Vec<Vec<Point>> = loops.iter().map(|line| line.iter().map(|p| lie * *p).collect()).collect();
        let bounds = extent(&turned, Affine::IDENTITY);
        let mut row = (bounds.y0 / step.height).floor() - 1.0;
        let mut pages = 0;
        while row * step.height < bounds.y1 {
            let inset = moved + self.top[1];
            let own = [row * step.height + self.overlap + inset, (row + 1.0) * step.height - inset];
            if own[0] < own[1] {
                let spans = shadow(&turned, own);
                let covering = pages_across(&spans, self.field.width + 2.0 * moved, step.width);
                pages += covering.max(pages_hit(&spans, step.width, self.overlap, moved + self.left[1]));
            }
            row += 1.0;
        }
        pages
    }
}

/// What the even-odd area of `loops` between two heights covers from left to right.
fn shadow(loops: &[Vec<Point>], [top, bottom]: [f64; 2]) -> Vec<[f64; 2]> {
    let mut spans: Vec<[f64; 2]> = Vec::new();
    let mut edges = [Vec::new(), Vec::new()];
    for pair in loops.iter().flat_map(|line| line.windows(2)) {
        let (a, b) = if pair[0].y <= pair[1].y { (pair[0], pair[1]) } else { (pair[1], pair[0]) };
        if b.y < top || a.y > bottom {
            continue;
        }
        let at = |y: f64| a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x);
        for (edge, y) in edges.iter_mut().zip([top, bottom]) {
            if a.y <= y && y < b.y {
                edge.push(at(y));
            }
        }
        let from = if a.y < top { at(top) } else { a.x };
        let to = if b.y > bottom { at(bottom) } else { b.x };
        spans.push([from.min(to), from.max(to)]);
    }
    for mut edge in edges {
        edge.sort_by(f64::total_cmp);
        spans.extend(edge.chunks_exact(2).map(|span| [span[0], span[1]]));
    }
    spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
    spans
}

/// How many pages of width `field` cover `spans`, sorted, where each further page of a run adds a `step`.
fn pages_across(spans: &[[f64; 2]], field: f64, step: f64) -> usize {
    let (mut pages, mut covered) = (0, f64::NEG_INFINITY);
    for &[from, to] in spans {
        while to > covered + 1e-9 {
            let afresh = if from > covered { from + field } else { f64::NEG_INFINITY };
            covered = afresh.max(covered + step);
            pages += 1;
        }
    }
    pages
}

/// How many pages a step apart show some of `spans`, sorted, farther than `inset` from all that their neighbours show.
fn pages_hit(spans: &[[f64; 2]], step: f64, overlap: f64, inset: f64) -> usize {
    let (mut pages, mut next) = (0, f64::NEG_INFINITY);
    if step - overlap <= 2.0 * inset {
        return 0;
    }
    for &[from, to] in spans {
        // The first page whose own part ends beyond `from`, and all whose own parts begin before `to`.
        let mut page = ((from + inset) / step).floor().max(next);
        while page * step + overlap + inset < to {
            pages += 1;
            page += 1.0;
            next = page;
        }
    }
    pages
}

#[cfg(test)]
mod tests {
    use kurbo::Shape as _;
    use proptest::prelude::*;

    use super::*;
    use crate::paper::core::{cores, tests::spec};
    use crate::paper::grid::lie;

    fn core() -> Core {
        cores(&spec(&[("A4", 210.0, 297.0)], 10.0, 10.0)).expect("A4 does").remove(0)
    }

    fn rectangle(w: f64, h: f64) -> Vec<Point> {
        [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h), (0.0, 0.0)].map(Point::from).to_vec()
    }

    #[test]
    fn a_sheet_that_its_piece_fills_has_no_page_too_many() {
        // Four by three pages, whole: by area alone it would be eleven.
        let loops = [rectangle(4.0 * 175.0, 3.0 * 255.0)];
        assert_eq!(in_a_grid(&loops, &core(), 12), 12);
        assert_eq!(in_a_grid(&[rectangle(1000.0, 30.0)], &core(), 4), 4);
    }

    #[test]
    fn what_a_band_of_a_shape_covers() {
        let ring =
            [rectangle(100.0, 100.0), rectangle(60.0, 60.0).into_iter().map(|p| p + Vec2::new(20.0, 20.0)).collect()];
        let covered = |[from, to]: [f64; 2]| {
            let mut runs: Vec<[f64; 2]> = Vec::new();
            for span in shadow(&ring, [from, to]) {
                match runs.last_mut() {
                    Some(last) if span[0] <= last[1] => last[1] = last[1].max(span[1]),
                    _ => runs.push(span),
                }
            }
            runs
        };
        assert_eq!(covered([5.0, 15.0]), [[0.0, 100.0]]);
        assert_eq!(covered([30.0, 50.0]), [[0.0, 20.0], [80.0, 100.0]]);
        assert_eq!(covered([70.0, 90.0]), [[0.0, 100.0]]);
        assert_eq!(pages_across(&[[0.0, 20.0], [80.0, 100.0]], 30.0, 25.0), 2);
        assert_eq!(pages_across(&[[0.0, 20.0], [15.0, 100.0]], 30.0, 25.0), 4);
        assert_eq!(pages_across(&[[0.0, 20.0], [35.0, 60.0]], 30.0, 25.0), 2);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(16))]
        /// Grids at a random angle and place, each page answering up to the middle of its overlaps: never fewer than the bound.
        #[test]
        fn no_grid_at_random_takes_fewer(
            (w, h, turn) in (300.0..1500.0f64, 60.0..900.0f64, 0.0..3.1f64),
            begun in (0.0..1.0f64, 0.0..1.0f64),
            lying in prop::bool::ANY
        ) {
            let (core, ellipse) = (core(), kurbo::Ellipse::new((0.0, 0.0), (w / 2.0, h / 2.0), 0.0));
            let mut line = Vec::new();
            kurbo::flatten(ellipse.to_path(0.01), 0.05, |el| line.extend(el.end_point()));
            line.push(line[0]);
            let loops = [line];
            let bound = of_large(&loops, ellipse.area(), &core, usize::MAX);
            prop_assert!(bound <= lie(&loops, &[], &core).pages());
            let step = if lying { Size::new(core.step().height, core.step().width) } else { core.step() };
            let within = |p: &Point| {
                let p = Affine::rotate(-turn) * *p;
                (p.x / (w / 2.0)).hypot(p.y / (h / 2.0)) < 1.0
            };
            let shown = |column: i32, row: i32| {
                let at = |k: i32, of: f64| (f64::from(column) + f64::from(k) / 40.0 - begun.0) * of;
                let down = |k: i32| (f64::from(row) + f64::from(k) / 40.0 - begun.1) * step.height;
                (0..=40).any(|x| (0..=40).any(|y| within(&Point::new(at(x, step.width), down(y)))))
            };
            let pages = (-12..12).flat_map(|column| (-12..12).map(move |row| (column, row))).filter(|&(c, r)| shown(c, r)).count();
            prop_assert!(bound <= pages, "{} and {}", bound, pages);
        }
    }
}
