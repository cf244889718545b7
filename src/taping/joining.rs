//! Pages → strips, and strips → the sheet: which parts are laid onto which, by which marks.

use kurbo::{Point, Rect, Vec2};

use crate::paper::{Layout, Mark};

/// How the pages of one joined sheet become one.
#[derive(Clone, Debug)]
pub struct Joining {
    /// What each page shows of the sheet, in the layout's order.
    pub(super) fields: Vec<Rect>,
    /// The marks that hold the pages.
    pub(super) marks: Vec<Mark>,
    /// Pages of each strip, in the order they are taped.
    pub(super) strips: Vec<Vec<usize>>,
    /// First the pages of each strip, then strip to strip.
    pub(super) steps: Vec<Step>,
    /// Strips run across, from left to right; else down.
    pub(super) across: bool,
    /// The line along which strips are laid, square to them.
    pub(super) base_line: Option<[Point; 2]>,
}

/// One part laid onto another.
#[derive(Clone, Debug)]
pub(super) struct Step {
    /// The pages that move.
    pub(super) moved: Vec<usize>,
    /// Marks that both parts show, with a page of what lies and a page of what moves.
    pub(super) shared: Vec<(usize, usize, usize)>,
    /// Places of what moves that are laid on the base line, with their pages.
    pub(super) on_line: Vec<(usize, Point)>,
    /// The page or strip that is laid on, and the one that moves.
    pub(super) between: [Part; 2],
}

/// A part of a joined sheet: a page by its number within the sheet, or a strip likewise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Page(usize),
    Strip(usize),
}

impl Joining {
    /// Of sheet number `sheet`, its strips across or down; `None` for a single page, and where pages share no mark.
    pub(super) fn of(layout: &Layout, sheet: usize, across: bool) -> Option<Self> {
        let fields: Vec<Rect> = layout.tiles.iter().filter(|t| t.sheet == sheet).map(|t| t.field).collect();
        if fields.len() < 2 {
            return None;
        }
        let marks = layout.sheets[sheet].marks.clone();
        let strips = strips(&fields, across);
        let mut joining = Self { fields, marks, strips, steps: Vec::new(), across, base_line: None };
        let mut steps = Vec::new();
        for strip in &joining.strips {
            for i in 1..strip.len() {
                let [lies, moves] = [strip[i - 1], strip[i]];
                steps.push(joining.step(&strip[..i], &[moves], [Part::Page(lies), Part::Page(moves)])?);
            }
        }
        let mut lying = joining.strips[0].clone();
        let mut on: Vec<usize> = vec![0];
        let mut left: Vec<usize> = (1..joining.strips.len()).collect();
        while !left.is_empty() {
            // The next that touches what lies there; each page that was left out may have parted a strip in two.
            let next = left.iter().enumerate().find_map(|(i, &strip)| {
                let touches = |other: &&usize| joining.share(&joining.strips[**other], &joining.strips[strip]) > 0;
                let onto = *on.iter().rev().find(touches)?;
                let parts = [Part::Strip(onto), Part::Strip(strip)];
                Some((i, joining.step(&lying, &joining.strips[strip], parts)?))
            });
            let (i, step) = next?;
            let strip = left.remove(i);
            lying.extend(&joining.strips[strip]);
            on.push(strip);
            steps.push(step);
        }
        joining.steps = steps;
        Some(joining)
    }

    /// The same with each strip laid along a base line through marks near the middle of the sheet; `None` where no marks lie so
    /// in every strip.
    pub(super) fn along_a_line(mut self) -> Option<Self> {
        let whole = self.fields.iter().fold(self.fields[0], |whole, field| whole.union(*field));
        let beside = |p: Point| if self.across { p.x } else { p.y };
        let middle = beside(whole.center());
        let holds = |page: usize, at: f64| {
            let f = self.fields[page];
            let (low, high) = if self.across { (f.x0, f.x1) } else { (f.y0, f.y1) };
            low < at && at < high
        };
        let everywhere = |at: &f64| self.strips.iter().all(|strip| strip.iter().any(|&page| holds(page, *at)));
        let marked = self.marks.iter().filter(|mark| mark.joins).map(|mark| beside(mark.at.raw())).filter(everywhere);
        let at = marked.min_by(|a, b| (a - middle).abs().total_cmp(&(b - middle).abs()))?;
        let place = |along: f64| if self.across { Point::new(at, along) } else { Point::new(along, at) };
        let ends = |page: usize| {
            let f = self.fields[page];
            let (low, high) = if self.across { (f.y0, f.y1) } else { (f.x0, f.x1) };
            [(page, place(low)), (page, place(high))]
        };
        let on_line: Vec<Vec<(usize, Point)>> = self
            .strips
            .iter()
            .map(|strip| strip.iter().find(|&&page| holds(page, at)).map_or_else(Vec::new, |&page| ends(page).to_vec()))
            .collect();
        let (low, high) = if self.across { (whole.y0, whole.y1) } else { (whole.x0, whole.x1) };
        self.base_line = Some([place(low), place(high)]);
        let mut steps = std::mem::take(&mut self.steps);
        for step in &mut steps {
            if let Part::Strip(strip) = step.between[1] {
                step.on_line.clone_from(&on_line[strip]);
            }
        }
        // The first strip is laid on the line as well, before the next.
        let first = steps.iter().position(|step| matches!(step.between[0], Part::Strip(_)))?;
        let moved = self.strips[0].clone();
        let own = Step { moved, shared: Vec::new(), on_line: on_line[0].clone(), between: [Part::Strip(0); 2] };
        steps.insert(first, own);
        self.steps = steps;
        Some(self)
    }

    fn shows(&self, page: usize, mark: usize) -> bool {
        self.fields[page].inflate(1e-6, 1e-6).contains(self.marks[mark].at.raw())
    }

    /// How many marks two parts have in common.
    fn share(&self, a: &[usize], b: &[usize]) -> usize {
        let on = |part: &[usize], mark: usize| part.iter().any(|&page| self.shows(page, mark));
        (0..self.marks.len()).filter(|&mark| on(a, mark) && on(b, mark)).count()
    }

    fn step(&self, lies: &[usize], moved: &[usize], between: [Part; 2]) -> Option<Step> {
        let on = |part: &[usize], mark: usize| part.iter().copied().find(|&page| self.shows(page, mark));
        let shared: Vec<_> =
            (0..self.marks.len()).filter_map(|mark| Some((mark, on(lies, mark)?, on(moved, mark)?))).collect();
        // One mark alone lets a part turn.
        (shared.len() > 1).then(|| Step { moved: moved.to_vec(), shared, on_line: Vec::new(), between })
    }

    /// The middle of the marks by which a step is laid, and the direction along them that has what moves to its right.
    pub(super) fn join(&self, step: &Step) -> (Point, Vec2) {
        let at = |shared: &(usize, usize, usize)| self.marks[shared.0].at.raw();
        let mean = |all: &mut dyn Iterator<Item = Point>| {
            let (sum, count) = all.fold((Vec2::ZERO, 0.0), |(sum, count), p| (sum + p.to_vec2(), count + 1.0));
            (sum / count).to_point()
        };
        let middle = mean(&mut step.shared.iter().map(at));
        let far = step.shared.iter().map(at).max_by(|a, b| a.distance(middle).total_cmp(&b.distance(middle)));
        let along = far.map_or(Vec2::new(1.0, 0.0), |far| (far - middle).normalize());
        let moved = mean(&mut step.moved.iter().map(|&page| self.fields[page].center())) - middle;
        // With y down, what lies to the right of a direction has a positive cross product with it.
        (middle, if along.cross(moved) > 0.0 { along } else { -along })
    }

    /// The corners of all pages.
    pub(super) fn corners(&self) -> impl Iterator<Item = (usize, Point)> {
        self.fields.iter().enumerate().flat_map(|(page, f)| {
            [(f.x0, f.y0), (f.x1, f.y0), (f.x1, f.y1), (f.x0, f.y1)].map(|(x, y)| (page, Point::new(x, y)))
        })
    }

    /// Whether a page shows both marks, so that no taping changes their distance.
    pub(super) fn on_one_page(&self, a: usize, b: usize) -> bool {
        (0..self.fields.len()).any(|page| self.shows(page, a) && self.shows(page, b))
    }

    /// A page that shows mark `mark`.
    pub(super) fn page_of(&self, mark: usize) -> usize {
        (0..self.fields.len()).find(|&page| self.shows(page, mark)).unwrap_or(0)
    }
}

/// Pages that lie in a row side by side, row by row; or above each other, column by column.
fn strips(fields: &[Rect], across: bool) -> Vec<Vec<usize>> {
    let key = |page: usize| {
        let f = fields[page];
        if across { (f.y0, f.x0, f.x1) } else { (f.x0, f.y0, f.y1) }
    };
    let mut order: Vec<usize> = (0..fields.len()).collect();
    order.sort_by(|&a, &b| key(a).0.total_cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1)));
    let mut strips: Vec<Vec<usize>> = Vec::new();
    for page in order {
        match strips.last_mut() {
            Some(strip) if goes_on(key(strip[strip.len() - 1]), key(page)) => strip.push(page),
            _ => strips.push(vec![page]),
        }
    }
    strips
}

/// Whether the next page of a row begins before the last one ends.
fn goes_on(last: (f64, f64, f64), next: (f64, f64, f64)) -> bool {
    (last.0 - next.0).abs() < 1e-6 && next.1 < last.2
}

/// Numbers strips and pages as they are taped, and puts the pages into that order; a sheet without a joining keeps its own.
pub(super) fn rename(layout: &mut Layout, joinings: &[Option<&Joining>]) {
    let mut names = std::collections::BTreeMap::new();
    let mut order: Vec<usize> = Vec::new();
    let mut strip = 0;
    for (sheet, joining) in joinings.iter().enumerate() {
        let pages: Vec<usize> = (0..layout.tiles.len()).filter(|&t| layout.tiles[t].sheet == sheet).collect();
        let alone: Vec<Vec<usize>>;
        let strips = match joining {
            Some(joining) => &joining.strips,
            None => {
                alone = own_strips(layout, &pages);
                &alone
            }
        };
        for pages_of_strip in strips {
            strip += 1;
            for (place, &page) in pages_of_strip.iter().enumerate() {
                let tile = &layout.tiles[pages[page]];
                names.insert((tile.strip, tile.in_strip), (strip, place + 1));
                order.push(pages[page]);
            }
        }
    }
    let tiles = std::mem::take(&mut layout.tiles);
    layout.tiles = order.into_iter().map(|tile| tiles[tile].renamed(&|name| names[&name])).collect();
}

/// The strips of a sheet as the layout has them, its pages counted within it.
fn own_strips(layout: &Layout, pages: &[usize]) -> Vec<Vec<usize>> {
    let mut strips: Vec<Vec<usize>> = Vec::new();
    for (index, &page) in pages.iter().enumerate() {
        let goes_on = index > 0 && layout.tiles[pages[index - 1]].strip == layout.tiles[page].strip;
        match strips.last_mut() {
            Some(strip) if goes_on => strip.push(index),
            _ => strips.push(vec![index]),
        }
    }
    strips
}
