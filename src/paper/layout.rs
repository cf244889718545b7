//! Pieces → joined sheets, strips and pages.

use kurbo::{ParamCurve as _, ParamCurveExtrema as _, PathEl, Point as Raw, Rect, Size};

use super::core::Core;
use super::grid::lie;
use super::least;
use super::marks::{Mark, marks};
use super::nest::nest;
use super::poses::Shape;
use super::turns::fitting;
use crate::space::{JoinedSheet, Map, Path, Pattern, Point};

/// Polylines that are laid out stray so far from their curves, mm.
const STRAY: f64 = 0.05;
/// Outlines turn sharply where the direction jumps by more than this, in degrees.
const SHARP: f64 = 25.0;

/// What has to be laid out: a piece, and the room its words need where they find none inside it.
#[derive(Clone, Debug)]
pub struct Item<'a> {
    /// Outline and holes.
    pub path: &'a Path<Pattern>,
    /// Room kept free below the piece; zero when its words fit inside.
    pub words: Size,
}

/// All pages of one core.
#[derive(Clone, Debug)]
pub struct Layout {
    /// What the pages have in common.
    pub core: Core,
    /// In the order they are taped.
    pub sheets: Vec<Sheet>,
    /// In print order: strip by strip.
    pub tiles: Vec<Tile>,
    /// Fewer pages than this carry the pieces in no layout with a joined sheet, a grid, for each larger piece, and shared pages for
    /// the others: by their areas, by how far they reach, and by what each page and row of a grid must show.
    pub least_pages: usize,
}

/// Pages that are taped together, or one page by itself.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// From the first page's left edge to the last one's right edge, and down.
    pub size: Size,
    /// The pieces on it.
    pub placed: Vec<Placed>,
    /// What holds its pages in place; none on a single page.
    pub marks: Vec<Mark>,
    /// A straight line through all its strips, from end to end of the sheet, along which they are laid; where that is worth it.
    pub base_line: Option<[Point<JoinedSheet>; 2]>,
}

/// A piece on a joined sheet.
#[derive(Clone, Debug)]
pub struct Placed {
    /// Index of the piece.
    pub piece: usize,
    /// Never mirrored, never scaled.
    pub to_sheet: Map<Pattern, JoinedSheet>,
    /// Room kept free for its words.
    pub words: Option<Rect>,
}

impl Placed {
    /// Which way the piece's top points on the sheet.
    pub fn up(&self) -> kurbo::Vec2 {
        let [_, _, c, d, ..] =
            self.to_sheet.to_affine().map_or([1.0, 0.0, 0.0, 1.0, 0.0, 0.0], |to_sheet| to_sheet.as_coeffs());
        kurbo::Vec2::new(-c, -d).normalize()
    }
}

/// Names of the pages around a page, strip and place in the strip.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Neighbours {
    /// Towards smaller y.
    pub above: Option<(usize, usize)>,
    /// Towards larger y.
    pub below: Option<(usize, usize)>,
    /// Towards smaller x.
    pub left: Option<(usize, usize)>,
    /// Towards larger x.
    pub right: Option<(usize, usize)>,
}

impl Neighbours {
    /// Whether the page stands alone.
    pub fn none(self) -> bool {
        self == Self::default()
    }
}

/// One page of pattern.
#[derive(Clone, Debug)]
pub struct Tile {
    /// Index into [`Layout::sheets`].
    pub sheet: usize,
    /// Strip, counted through all sheets from 1.
    pub strip: usize,
    /// Place in the strip, from 1.
    pub in_strip: usize,
    /// The part of the joined sheet that it shows.
    pub field: Rect,
    /// Indices of the pieces with some part on it.
    pub pieces: Vec<usize>,
    /// The pages it is joined to.
    pub neighbours: Neighbours,
}

impl Tile {
    /// The same page with every name changed.
    pub(crate) fn renamed(&self, name: &dyn Fn((usize, usize)) -> (usize, usize)) -> Self {
        let Neighbours { above, below, left, right } = self.neighbours;
        let neighbours =
            Neighbours { above: above.map(name), below: below.map(name), left: left.map(name), right: right.map(name) };
        let (strip, in_strip) = name((self.strip, self.in_strip));
        Self { strip, in_strip, neighbours, ..self.clone() }
    }

    /// "3.2": strip, then place in the strip.
    pub fn name(&self) -> String {
        format!("{}.{}", self.strip, self.in_strip)
    }
}

/// Lays out `items`: those that fit on one page share pages and are never cut; each larger one gets a joined sheet of
/// its own, lying the way that takes the fewest pages.
pub fn lay_out(items: &[Item<'_>], core: &Core) -> Layout {
    let (small, large): (Vec<usize>, Vec<usize>) = (0..items.len()).partition(|&i| goes_on_a_page(items[i].path, core));
    let of_small: Vec<(&Path<Pattern>, Size)> = small.iter().map(|&i| (items[i].path, items[i].words)).collect();
    let least_small = least::of_small(&of_small, core);
    let mut layout = Layout { core: core.clone(), sheets: Vec::new(), tiles: Vec::new(), least_pages: least_small };
    let mut strips = 0;
    for piece in large {
        strips = add_large(&mut layout, piece, items[piece].path, strips);
    }
    add_small(&mut layout, items, &small, strips, least_small);
    layout
}

fn area(path: &Path<Pattern>) -> f64 {
    kurbo::Shape::area(path.raw()).abs()
}

/// Whether a piece goes on one page in some turn.
fn goes_on_a_page(path: &Path<Pattern>, core: &Core) -> bool {
    let (size, field) = (path.bounds().size(), core.field.size());
    // A roll is cut as long as it must be for what lies straight on it. What reaches farther than a page does from corner to corner
    // need not be turned to know.
    let may_turn = !core.is_roll() && size.max_side() <= field.width.hypot(field.height);
    core.holds(size) || (may_turn && fitting(&polylines(path, STRAY), field).is_some())
}

fn add_large(layout: &mut Layout, piece: usize, path: &Path<Pattern>, strips: usize) -> usize {
    let loops = polylines(path, STRAY);
    let grid = lie(&loops, &corners(path), &layout.core);
    let rough = polylines(path, least::STRAY);
    layout.least_pages += least::of_large(&rough, area(path), &layout.core, grid.pages());
    let (columns, rows) = (grid.columns, grid.rows);
    let sheet = layout.sheets.len();
    // Strips run across the narrow way: short runs are stiff, and few turns add up.
    let across = columns.count <= rows.count;
    let (outer, inner) = if across { (rows.count, columns.count) } else { (columns.count, rows.count) };
    let cell = |strip: usize, place: usize| if across { (place, strip) } else { (strip, place) };
    let mut names = vec![None; columns.count * rows.count];
    let mut strip_number = strips;
    for strip in 0..outer {
        let mut place_number = 0;
        for place in 0..inner {
            let (column, row) = cell(strip, place);
            if grid.is_kept(column, row) {
                if place_number == 0 {
                    strip_number += 1;
                }
                place_number += 1;
                names[row * columns.count + column] = Some((strip_number, place_number));
            }
        }
    }
    let name = |column: Option<usize>, row: Option<usize>| {
        let (column, row) = (column?, row?);
        (column < columns.count && row < rows.count).then(|| names[row * columns.count + column]).flatten()
    };
    for strip in 0..outer {
        for place in 0..inner {
            let (column, row) = cell(strip, place);
            let Some((strip, in_strip)) = name(Some(column), Some(row)) else { continue };
            layout.tiles.push(Tile {
                sheet,
                strip,
                in_strip,
                field: Rect::from_origin_size((columns.start(column), rows.start(row)), layout.core.field.size()),
                pieces: vec![piece],
                neighbours: Neighbours {
                    above: name(Some(column), row.checked_sub(1)),
                    below: name(Some(column), Some(row + 1)),
                    left: name(column.checked_sub(1), Some(row)),
                    right: name(Some(column + 1), Some(row)),
                },
            });
        }
    }
    layout.sheets.push(Sheet {
        size: Size::new(columns.length(), rows.length()),
        placed: vec![Placed { piece, to_sheet: Map::affine(grid.to_sheet), words: None }],
        marks: marks(columns, rows, &|column, row| grid.is_kept(column, row)),
        base_line: None,
    });
    strip_number
}

fn add_small(layout: &mut Layout, items: &[Item<'_>], small: &[usize], strips: usize, enough: usize) {
    let field = layout.core.field.size();
    let shape = |&i: &usize| Shape { loops: polylines(items[i].path, STRAY), words: items[i].words };
    // Of a roll many lengths are tried, and a little more of it costs less than a page.
    let spots = nest(&small.iter().map(shape).collect::<Vec<_>>(), field, enough, !layout.core.is_roll());
    let pages = spots.iter().map(|spot| spot.page + 1).max().unwrap_or(0);
    for page in 0..pages {
        let on_page = small.iter().zip(&spots).filter(|(_, spot)| spot.page == page);
        let placed: Vec<Placed> = on_page
            .map(|(&piece, spot)| Placed { piece, to_sheet: Map::affine(spot.to_page), words: spot.words })
            .collect();
        layout.tiles.push(Tile {
            sheet: layout.sheets.len(),
            strip: strips + page + 1,
            in_strip: 1,
            field: Rect::from_origin_size(Raw::ZERO, field),
            pieces: placed.iter().map(|placed| placed.piece).collect(),
            neighbours: Neighbours::default(),
        });
        layout.sheets.push(Sheet { size: field, placed, marks: Vec::new(), base_line: None });
    }
}

/// The closed polylines of a piece that stray so far from it, its farthest points among theirs.
fn polylines(path: &Path<Pattern>, stray: f64) -> Vec<Vec<Raw>> {
    let mut loops: Vec<Vec<Raw>> = Vec::new();
    for segment in path.raw().segments() {
        if loops.last().and_then(|line| line.last()).is_none_or(|pen| pen.distance(segment.start()) > 1e-9) {
            loops.push(vec![segment.start()]);
        }
        let line = loops.last_mut().expect("it was begun");
        for part in segment.extrema_ranges().into_iter().map(|range| segment.subsegment(range)) {
            let part = [PathEl::MoveTo(part.start()), part.as_path_el()];
            kurbo::flatten(part, stray, |el| {
                if let PathEl::LineTo(p) = el {
                    line.push(p)
                }
            });
        }
    }
    loops
}

/// Where the outline turns sharply.
fn corners(path: &Path<Pattern>) -> Vec<Raw> {
    let segments: Vec<kurbo::PathSeg> = path.raw().segments().collect();
    let ends = |segment: &kurbo::PathSeg| {
        let cubic = segment.to_cubic();
        let out = [cubic.p1, cubic.p2, cubic.p3].into_iter().find(|p| p.distance(cubic.p0) > 1e-9);
        let back = [cubic.p2, cubic.p1, cubic.p0].into_iter().find(|p| p.distance(cubic.p3) > 1e-9);
        Some(((out? - cubic.p0).normalize(), (cubic.p3 - back?).normalize(), cubic.p0))
    };
    let ends: Vec<_> = segments.iter().filter_map(ends).collect();
    (0..ends.len())
        .filter_map(|i| {
            let (before, after) = (ends[(i + ends.len() - 1) % ends.len()], ends[i]);
            (before.1.dot(after.0) < SHARP.to_radians().cos()).then_some(after.2)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use kurbo::{Affine, BezPath, Circle, Shape as _};
    use proptest::prelude::*;

    use super::*;
    use crate::paper::core::{cores, tests::spec};

    fn core() -> Core {
        cores(&spec(&[("A4", 210.0, 297.0)], 10.0, 10.0)).expect("A4 does").remove(0)
    }

    fn path(raw: BezPath) -> Path<Pattern> {
        Path::new(raw)
    }

    fn laid_out(paths: &[Path<Pattern>]) -> Layout {
        let items: Vec<Item<'_>> = paths.iter().map(|path| Item { path, words: Size::ZERO }).collect();
        lay_out(&items, &core())
    }

    #[test]
    fn a_piece_that_fits_on_one_page_is_never_cut() {
        let just = core().field.size();
        let paths: Vec<_> = [(just.width, just.height), (just.height - 1.0, just.width - 1.0), (30.0, 40.0)]
            .map(|(w, h)| path(Rect::new(0.0, 0.0, w, h).to_path(0.1)))
            .to_vec();
        let layout = laid_out(&paths);
        assert!(layout.tiles.iter().all(|tile| tile.neighbours.none()));
        assert_eq!(layout.tiles.iter().map(|tile| tile.pieces.len()).sum::<usize>(), 3);
    }

    #[test]
    fn neighbours_name_each_other() {
        let layout = laid_out(&[path(Circle::new((0.0, 0.0), 400.0).to_path(0.01))]);
        let find = |name: (usize, usize)| {
            layout.tiles.iter().find(|t| (t.strip, t.in_strip) == name).expect("a named page exists")
        };
        let mut joins = 0;
        for tile in &layout.tiles {
            if let Some(right) = tile.neighbours.right {
                assert_eq!(find(right).neighbours.left, Some((tile.strip, tile.in_strip)));
                joins += 1;
            }
            if let Some(below) = tile.neighbours.below {
                assert_eq!(find(below).neighbours.above, Some((tile.strip, tile.in_strip)));
            }
        }
        assert!(joins > 5);
    }

    #[test]
    fn every_mark_is_on_at_least_two_pages() {
        let layout = laid_out(&[path(Circle::new((0.0, 0.0), 400.0).to_path(0.01))]);
        for mark in layout.sheets[0].marks.iter().filter(|mark| mark.joins) {
            let pages = layout.tiles.iter().filter(|t| t.field.inset(-3.9).contains(mark.at.raw())).count();
            assert!(pages >= 2, "mark {} at {:?} is on {pages} pages", mark.number, mark.at);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn every_point_of_every_piece_is_printed(
            sizes in prop::collection::vec((10.0..900.0f64, 10.0..900.0f64, 0.0..3.1f64), 1..6)
        ) {
            let paths: Vec<_> = sizes.iter().map(|&(w, h, turn)| {
                path(Affine::rotate(turn) * kurbo::Ellipse::new((0.0, 0.0), (w / 2.0, h / 2.0), 0.0).to_path(0.01))
            }).collect();
            let layout = laid_out(&paths);
            let mut seen = 0;
            for (sheet_index, sheet) in layout.sheets.iter().enumerate() {
                for placed in &sheet.placed {
                    seen += 1;
                    let on_sheet = placed.to_sheet.path(&paths[placed.piece], 0.01);
                    // On the curve itself: a flattened one strays from it, and a piece may fill its page to the rim.
                    let curve = on_sheet.raw().segments();
                    for p in curve.flat_map(|s| (0..16).map(move |i| s.eval(f64::from(i) / 16.0))) {
                        prop_assert!(
                            layout.tiles.iter().any(|t| t.sheet == sheet_index && t.field.inflate(1e-6, 1e-6).contains(p)),
                            "{p:?} of piece {} is on no page", placed.piece
                        );
                    }
                }
            }
            prop_assert_eq!(seen, paths.len());
        }
    }
}
