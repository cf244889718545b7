//! Pages that no layout can do without.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::f64::consts::PI;

use kurbo::{Affine, Point, Size, Vec2};

use super::core::Core;
use super::nest::GAP;
use super::turns::extent;

/// At least so many whole pages.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a positive count of pages")]
fn whole(share: f64) -> usize {
    (share - 1e-9).ceil().max(1.0) as usize
}

/// Fewer pages than this hold pieces that share pages in no way whatever: of each its area and the room of its words.
///
/// Pieces keep [`GAP`] apart, so that all points nearer to a piece than half of it are its own, and lie on the page or no farther
/// beside it. Grown so, a piece of area A takes at least (√A + √π r)² (H. Brunn, H. Minkowski), and a page of w × h has
/// w h + 2 r (w + h) + π r² for them. Words beside a piece have a room that nothing else reaches into by more than r.
pub(super) fn of_small(pieces: &[(f64, Size)], core: &Core) -> usize {
    if pieces.is_empty() {
        return 0;
    }
    let (r, field) = (GAP / 2.0, core.field.size());
    let taken = |(area, words): &(f64, Size)| {
        let words = words.to_rect().inset(-r);
        let words = words.width().max(0.0) * words.height().max(0.0);
        (area.sqrt() + PI.sqrt() * r).powi(2) + words
    };
    let page = field.area() + 2.0 * r * (field.width + field.height) + PI * r * r;
    whole(pieces.iter().map(taken).sum::<f64>() / page)
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
    if anyhow >= enough { anyhow } else { anyhow.max(in_rows(loops, core, enough)) }
}

/// Fewer pages than this carry one piece larger than a page in no rows whatever; nothing is gained by more than `enough`.
///
/// Pages lie all the same way up, in rows a step apart, and each row is shifted as one likes: pages of a row share the overlap or
/// stand apart. The piece may lie anywhere at any angle. What lies in a row's field and in no other row's must be shown by the pages
/// of that row, of which so many are needed as cover its width. That is told not only for one place and angle but for a whole range
/// of them: turned by up to a, a point moves by no more than R a, where R is how far the piece reaches from its middle; so what lies
/// deeper in the row than that, and than the range of places is wide, lies in it throughout, and a page that is wider by R a at
/// either end covers whatever it covers in the whole range. All ranges together are all there is; the one with the fewest pages is
/// halved over and over, and what is left in the end as the fewest is the bound.
pub(super) fn in_rows(loops: &[Vec<Point>], core: &Core, enough: usize) -> usize {
    let bounds = extent(loops, Affine::IDENTITY);
    let home = -bounds.center().to_vec2();
    let points = || loops.iter().flatten();
    let reach = points().map(|p| (p.to_vec2() + home).hypot()).fold(0.0, f64::max);
    let count: usize = points().count();
    let mut ranges: Vec<Range> = Vec::new();
    let mut open: BinaryHeap<Reverse<(usize, usize)>> = BinaryHeap::new();
    let add = |range: Range, ranges: &mut Vec<Range>, open: &mut BinaryHeap<_>| {
        open.push(Reverse((range.fewest(loops, home, reach), ranges.len())));
        ranges.push(range);
    };
    let field = core.field.size();
    for field in [field, Size::new(field.height, field.width)] {
        let (angle, start) = ([PI / 2.0; 2], [(field.height - core.overlap) / 2.0; 2]);
        add(Range { field, overlap: core.overlap, angle, start }, &mut ranges, &mut open);
    }
    while let Some(Reverse((fewest, index))) = open.pop() {
        if fewest >= enough || ranges.len() >= RANGES.min(SEGMENTS / count.max(1)) {
            return fewest;
        }
        for half in ranges[index].halves(reach) {
            add(half, &mut ranges, &mut open);
        }
    }
    1
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
const RANGES: usize = 3000;
const SEGMENTS: usize = 1_000_000;
/// Polylines stray so far from their curves, mm.
const STRAY: f64 = 0.1;

/// Angles of a piece and places where its rows begin, each as a middle and how far it goes either way.
#[derive(Clone, Copy)]
struct Range {
    field: Size,
    overlap: f64,
    angle: [f64; 2],
    start: [f64; 2],
}

impl Range {
    /// Both halves, across what makes more of a difference.
    fn halves(&self, reach: f64) -> [Self; 2] {
        let turns = 2.0 * reach * self.angle[1] > self.start[1];
        [-0.5, 0.5].map(|side| {
            let mut half = *self;
            let parted = if turns { &mut half.angle } else { &mut half.start };
            *parted = [parted[0] + side * parted[1], 0.5 * parted[1]];
            half
        })
    }

    /// Pages that are needed everywhere in the range.
    fn fewest(&self, loops: &[Vec<Point>], home: Vec2, reach: f64) -> usize {
        let moved = reach * self.angle[1] + STRAY;
        let inset = moved + self.start[1];
        let step = self.field.height - self.overlap;
        let lie = Affine::translate((0.0, -self.start[0])) * Affine::rotate(self.angle[0]) * Affine::translate(home);
        let turned: Vec<Vec<Point>> = loops.iter().map(|line| line.iter().map(|p| lie * *p).collect()).collect();
        let bounds = extent(&turned, Affine::IDENTITY);
        let mut row = (bounds.y0 / step).floor() - 1.0;
        let mut pages = 0;
        while row * step < bounds.y1 {
            let own = [row * step + self.overlap + inset, (row + 1.0) * step - inset];
            if own[0] < own[1] {
                pages +=
                    pages_across(shadow(&turned, own), self.field.width + 2.0 * moved, self.field.width - self.overlap);
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
fn pages_across(spans: Vec<[f64; 2]>, field: f64, step: f64) -> usize {
    let (mut pages, mut covered) = (0, f64::NEG_INFINITY);
    for [from, to] in spans {
        while to > covered + 1e-9 {
            let afresh = if from > covered { from + field } else { f64::NEG_INFINITY };
            covered = afresh.max(covered + step);
            pages += 1;
        }
    }
    pages
}

#[cfg(test)]
mod tests {
    use kurbo::{Rect, Shape as _};
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
        assert_eq!(in_rows(&loops, &core(), 12), 12);
        assert_eq!(in_rows(&[rectangle(1000.0, 30.0)], &core(), 4), 4);
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
        assert_eq!(pages_across(vec![[0.0, 20.0], [80.0, 100.0]], 30.0, 25.0), 2);
        assert_eq!(pages_across(vec![[0.0, 20.0], [15.0, 100.0]], 30.0, 25.0), 4);
        assert_eq!(pages_across(vec![[0.0, 20.0], [35.0, 60.0]], 30.0, 25.0), 2);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(16))]
        /// Rows at a random angle, begun at random, each shifted to cover most with its pages: never fewer than the bound.
        #[test]
        fn no_rows_at_random_take_fewer(
            (w, h, turn, begun) in (300.0..1500.0f64, 60.0..900.0f64, 0.0..3.1f64, 0.0..1.0f64), lying in prop::bool::ANY
        ) {
            let (core, ellipse) = (core(), kurbo::Ellipse::new((0.0, 0.0), (w / 2.0, h / 2.0), 0.0));
            let mut line = Vec::new();
            kurbo::flatten(ellipse.to_path(0.01), 0.05, |el| line.extend(el.end_point()));
            line.push(line[0]);
            let loops = [line];
            let bound = of_large(&loops, ellipse.area(), &core, usize::MAX);
            prop_assert!(bound <= lie(&loops, &[], &core).pages());
            let field = core.field.size();
            let field = if lying { Size::new(field.height, field.width) } else { field };
            let turned: Vec<Point> = loops[0].iter().map(|p| Affine::rotate(turn) * *p).collect();
            let step = field.height - core.overlap;
            let bounds = extent(std::slice::from_ref(&turned), Affine::IDENTITY);
            let mut top = bounds.y0 - begun * step;
            let mut pages = 0;
            while top < bounds.y1 {
                // Up to the middle of the overlaps; a convex shape has one run in a row.
                let own = Rect::new(-1e4, top + core.overlap / 2.0, 1e4, top + step + core.overlap / 2.0);
                let inside = turned.windows(2).flat_map(|pair| (0..=20).map(move |k| pair[0].lerp(pair[1], f64::from(k) / 20.0)));
                let xs: Vec<f64> = inside.filter(|p| own.contains(*p)).map(|p| p.x).collect();
                if !xs.is_empty() {
                    let wide = xs.iter().copied().fold(f64::MIN, f64::max) - xs.iter().copied().fold(f64::MAX, f64::min);
                    pages += whole((wide - core.overlap) / (field.width - core.overlap));
                }
                top += step;
            }
            prop_assert!(bound <= pages, "{} and {}", bound, pages);
        }
    }
}
