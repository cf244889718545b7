//! What keeps a path from being cut out: each flaw with its place.

use kurbo::{PathEl, PathSeg, Point as RawPoint, Rect, Shape as _, Vec2};

use super::contact::{self, TOUCH, contacts};
use super::loops::{self, Loop};
use crate::problem::Problem;
use crate::space::{Path, Point, Space};

/// Coordinates beyond this are a slip: 10 km, or a picture of 10 million pixels.
const FAR: f64 = 1e7;
/// A loop narrower than this part of its length encloses nothing: 1 µm on a slit of 1 m.
const NO_AREA: f64 = 1e-6;
/// So many meeting places are told; a person mends the first ones and looks again.
const TOLD: usize = 8;

/// What is wrong at one place of a path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlawKind {
    /// A coordinate is no number, or beyond 10 000 000.
    OutOfRange,
    /// A line ends elsewhere than it starts.
    Open,
    /// A loop encloses nothing.
    NoArea,
    /// A loop lies on another that is the same.
    Duplicate,
    /// A loop crosses, touches or runs along itself.
    MeetsItself,
    /// Two loops cross, touch or run along each other.
    LoopsMeet,
}

/// One reason why a path cannot be cut out.
#[derive(Clone, Debug, PartialEq)]
pub struct Flaw<S> {
    /// What is wrong.
    pub kind: FlawKind,
    /// Where; the last good point before it for [`FlawKind::OutOfRange`].
    pub at: Point<S>,
    /// The same for a person, with the next step.
    pub text: String,
}

impl<S: Space> Flaw<S> {
    fn new(kind: FlawKind, at: RawPoint, text: impl FnOnce(String) -> String) -> Self {
        Self { kind, at: at.into(), text: text(told(at)) }
    }

    /// The flaw as an error.
    pub fn problem(&self) -> Problem {
        let code = match self.kind {
            FlawKind::OutOfRange => "outline_out_of_range",
            FlawKind::Open => "outline_open",
            FlawKind::NoArea => "outline_without_area",
            FlawKind::Duplicate => "outline_twice",
            FlawKind::MeetsItself => "outline_meets_itself",
            FlawKind::LoopsMeet => "outlines_meet",
        };
        Problem::error(code, self.text.clone())
    }
}

/// A place for a person: hundredths are finer than any knife.
pub(super) fn told(p: RawPoint) -> String {
    format!("({:.2}, {:.2})", p.x, p.y)
}

/// Every flaw of `path`, none if it can be cut out. Two edges meet when they come nearer than a thousand-millionth of
/// the drawing's diagonal; what happens within 0.005 % of the diagonal of the join of two edges passes.
pub fn check<S: Space>(path: &Path<S>) -> Vec<Flaw<S>> {
    sound(path).err().unwrap_or_default()
}

/// The loops of `path` when it has no flaw.
pub(super) fn sound<S: Space>(path: &Path<S>) -> Result<Vec<Loop>, Vec<Flaw<S>>> {
    if let Some(flaw) = out_of_range(path) {
        return Err(vec![flaw]);
    }
    let bounds = path.raw().control_box();
    let diagonal = bounds.width().hypot(bounds.height());
    let loops = loops::split(path.raw(), TOUCH * diagonal);
    let mut flaws: Vec<Flaw<S>> = loops.iter().filter_map(open_or_empty).collect();
    // A line without area, and a loop drawn twice, meet all along; saying so would bury the reason.
    if flaws.is_empty() {
        flaws.extend(duplicates(&loops, TOUCH * diagonal));
    }
    if flaws.is_empty() {
        flaws.extend(contacts(&loops, diagonal, TOLD).iter().map(meeting));
    }
    if flaws.is_empty() { Ok(loops) } else { Err(flaws) }
}

fn out_of_range<S: Space>(path: &Path<S>) -> Option<Flaw<S>> {
    let good = |p: &RawPoint| p.x.abs() <= FAR && p.y.abs() <= FAR;
    let mut last = RawPoint::ZERO;
    for el in path.raw().elements() {
        let points = match *el {
            PathEl::MoveTo(p) | PathEl::LineTo(p) => vec![p],
            PathEl::QuadTo(p, q) => vec![p, q],
            PathEl::CurveTo(p, q, r) => vec![p, q, r],
            PathEl::ClosePath => vec![],
        };
        if let Some(bad) = points.iter().find(|p| !good(p)) {
            return Some(Flaw::new(FlawKind::OutOfRange, last, |at| {
                format!(
                    "the point after {at} is ({}, {}); coordinates are numbers from -{FAR} to {FAR}, write it again",
                    bad.x, bad.y
                )
            }));
        }
        last = points.last().copied().unwrap_or(last);
    }
    None
}

fn open_or_empty<S: Space>(l: &Loop) -> Option<Flaw<S>> {
    if !l.closed {
        let (start, gap) = (told(l.start()), l.start().distance(l.end()));
        return Some(Flaw::new(FlawKind::Open, l.end(), |at| {
            format!("the line from {start} is open: it ends at {at}, {gap:.2} from its start; close it")
        }));
    }
    is_straight(l).then(|| {
        Flaw::new(FlawKind::NoArea, l.start(), |at| {
            format!(
                "the loop that starts at {at} encloses nothing; leave it out, or draw it as wide as it is to be cut"
            )
        })
    })
}

/// Whether the whole loop lies on one straight line. (Its area does not tell: that of a figure of eight is 0 too.)
fn is_straight(l: &Loop) -> bool {
    let points = || l.segments.iter().map(PathSeg::to_cubic).flat_map(|c| [c.p1, c.p2, c.p3]);
    let far = |from: RawPoint| points().max_by(|a, b| from.distance(*a).total_cmp(&from.distance(*b)));
    let along = far(l.start()).map_or(Vec2::ZERO, |end| end - l.start());
    points().all(|p| along.cross(p - l.start()).abs() <= NO_AREA * along.hypot2())
}

/// Loops that are an earlier one again, from whatever start and whichever way around.
fn duplicates<S: Space>(loops: &[Loop], tolerance: f64) -> Vec<Flaw<S>> {
    let mut known: Vec<(Rect, f64, &Loop)> =
        loops.iter().map(|l| (l.path().bounding_box(), l.signed_area().abs(), l)).collect();
    known.sort_by(|a, b| a.1.total_cmp(&b.1));
    let near = |a: f64, b: f64| (a - b).abs() <= tolerance;
    let same = |a: &(Rect, f64, &Loop), b: &(Rect, f64, &Loop)| {
        near(a.0.x0, b.0.x0)
            && near(a.0.y0, b.0.y0)
            && near(a.0.x1, b.0.x1)
            && near(a.0.y1, b.0.y1)
            && (a.1 - b.1).abs() <= tolerance * (a.0.width() + a.0.height())
            && a.2.segments.len() == b.2.segments.len()
    };
    let told = |pair: &[(Rect, f64, &Loop)]| {
        same(&pair[0], &pair[1]).then(|| {
            Flaw::new(FlawKind::Duplicate, pair[1].2.start(), |at| {
                format!("the loop that starts at {at} is there twice, one on the other; delete one of them")
            })
        })
    };
    known.windows(2).filter_map(told).collect()
}

fn meeting<S: Space>(contact: &contact::Contact) -> Flaw<S> {
    if contact.loops.0 == contact.loops.1 {
        return Flaw::new(FlawKind::MeetsItself, contact.at, |at| {
            format!("the outline crosses or touches itself at {at}; a knife cannot follow it, part its edges there")
        });
    }
    Flaw::new(FlawKind::LoopsMeet, contact.at, |at| {
        format!("two outlines cross or touch at {at}; unite the parts in your drawing program, or move them apart")
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Pattern;

    fn flaws(d: &str) -> Vec<(FlawKind, (f64, f64))> {
        let path = Path::<Pattern>::new(kurbo::BezPath::from_svg(d).unwrap());
        check(&path).iter().map(|flaw| (flaw.kind, (flaw.at.x, flaw.at.y))).collect()
    }

    #[test]
    fn a_ring_has_no_flaw() {
        assert_eq!(flaws("M0 0H90V90H0Z M10 10V80H80V10Z"), []);
    }

    #[test]
    fn an_open_line_is_told_with_its_gap() {
        let path = Path::<Pattern>::new(kurbo::BezPath::from_svg("M0 0H90V90H0V3").unwrap());
        let flaw = &check(&path)[0];
        assert_eq!((flaw.kind, flaw.at), (FlawKind::Open, Point::new(0.0, 3.0)));
        assert!(flaw.text.contains("(0.00, 0.00)") && flaw.text.contains("3.00 from its start"), "{}", flaw.text);
    }

    #[test]
    fn a_line_there_and_back_encloses_nothing() {
        assert_eq!(flaws("M0 0H90V90Z M5 5L20 30Z"), [(FlawKind::NoArea, (5.0, 5.0))]);
    }

    #[test]
    fn a_slit_that_can_be_cut_is_a_loop() {
        assert_eq!(flaws("M0 0H900V0.1H0Z"), []);
    }

    #[test]
    fn the_same_loop_twice_is_one_flaw() {
        assert_eq!(flaws("M0 0H90V90Z M90 90V0H0Z"), [(FlawKind::Duplicate, (90.0, 90.0))]);
    }

    #[test]
    fn a_figure_of_eight_meets_itself_and_overlapping_squares_meet() {
        assert_eq!(flaws("M0 0L10 10V0L0 10Z"), [(FlawKind::MeetsItself, (5.0, 5.0))]);
        let squares = flaws("M0 0H10V10H0Z M5 5H15V15H5Z");
        assert_eq!(squares.len(), 2);
        assert!(squares.iter().all(|(kind, _)| *kind == FlawKind::LoopsMeet));
    }

    #[test]
    fn what_is_no_number_is_told_by_the_point_before_it() {
        for bad in [f64::NAN, f64::INFINITY, -2e7] {
            let mut path = kurbo::BezPath::from_svg("M0 0H90V90").unwrap();
            path.line_to((bad, 4.0));
            path.close_path();
            let found = check(&Path::<Pattern>::new(path));
            assert_eq!(found.len(), 1);
            assert_eq!((found[0].kind, found[0].at), (FlawKind::OutOfRange, Point::new(90.0, 90.0)));
        }
    }
}
