//! Scores, folds and borders: lines on a piece that are not cut through.

use kurbo::{BezPath, Line, ParamCurveNearest as _, Point as Raw};

use super::piece::{Marking, MarkingKind};
use crate::build_file::{LineKind, LineSpec};
use crate::hardware::Foam;
use crate::problem::Problem;
use crate::shape::{Region, open_spline};
use crate::space::{Path, Pattern, Point};

/// Scores stop so far from edges and from each other, mm (common practice, no source).
const SHORT: f64 = 1.0;
/// Places along a line, mm apart.
const STEP: f64 = 0.4;
/// Of the foam: the depth of a score where it is not said, and the most (common practice, no source).
const DEPTH: f64 = 0.4;
const MOST_DEPTH: f64 = 0.5;
/// What is left under a score, mm; foam thinner than this is scored half through at most (common practice, no source).
const LEFT: f64 = 1.0;
const THIN: f64 = 3.0;

/// A line in place on its piece.
pub(super) struct OnPiece<'a> {
    pub(super) spec: &'a LineSpec,
    /// Smooth through the maker's points.
    pub(super) path: Path<Pattern>,
}

impl<'a> OnPiece<'a> {
    pub(super) fn new(spec: &'a LineSpec, points: &[Point<Pattern>]) -> Self {
        Self { spec, path: open_spline(points) }
    }

    /// Whether some of it lies on a piece.
    pub(super) fn comes_onto(&self, region: &Region<Pattern>) -> bool {
        places(&self.path).into_iter().any(|at| region.contains(at.into()))
    }
}

/// What of `lines` is drawn on a piece that covers `region`, and what is wrong with its scores; `name` is for messages.
pub(super) fn drawn_lines(
    lines: &[OnPiece<'_>],
    region: &Region<Pattern>,
    foam: Option<&Foam>,
    name: &str,
) -> (Vec<Marking>, Vec<Problem>) {
    let (mut markings, mut problems) = (Vec::new(), Vec::new());
    let mut scores: Vec<(f64, Vec<Line>)> = Vec::new();
    for line in lines {
        let score = line.spec.kind == LineKind::Score;
        let inside = if score { region.narrowed(SHORT) } else { region.clone() };
        let clear = |at: Raw| {
            let crossed = |(_, other): &(f64, Vec<Line>)| other.iter().any(|piece| near(piece, at) < SHORT);
            inside.contains(at.into()) && !(score && scores.iter().any(crossed))
        };
        let path = runs(&line.path, &clear);
        if path.is_empty() {
            continue;
        }
        let kind = match line.spec.kind {
            LineKind::Score => {
                let (depth, told) = depth(line.spec, foam, name);
                problems.extend(told);
                let pieces: Vec<Line> = path
                    .segments()
                    .filter_map(|s| if let kurbo::PathSeg::Line(l) = s { Some(l) } else { None })
                    .collect();
                problems.extend(too_close(&scores, &pieces, depth, line.spec, name));
                scores.push((depth, pieces));
                MarkingKind::Score { depth, opens: depth * foam.map_or(0.5, |foam| foam.opens) }
            }
            LineKind::FoldToward => MarkingKind::FoldToward,
            LineKind::FoldAway => MarkingKind::FoldAway,
            LineKind::PaintBorder => MarkingKind::PaintBorder,
            LineKind::Placement => MarkingKind::Placement(None),
        };
        markings.push(Marking { kind, path: Path::new(path) });
    }
    (markings, problems)
}

/// How deep a score is, and what is wrong with that.
fn depth(spec: &LineSpec, foam: Option<&Foam>, name: &str) -> (f64, Option<Problem>) {
    let Some(foam) = foam else { return (spec.depth.as_ref().map_or(2.0, |depth| depth.value.to_mm()), None) };
    let most = if foam.thickness < THIN {
        foam.thickness / 2.0
    } else {
        (MOST_DEPTH * foam.thickness).min(foam.thickness - LEFT)
    };
    let Some(asked) = &spec.depth else { return ((DEPTH * foam.thickness).min(most), None) };
    let depth = asked.value.to_mm();
    let told = (depth > most + 1e-9).then(|| {
        let text = format!(
            "a score of {depth:.1} mm in {name}, which is {:.1} mm thick there, is cut through or tears when it opens; make it {most:.1} \
             mm at most",
            foam.thickness
        );
        Problem::warning("score_too_deep", text).at(asked.place)
    });
    (depth, told)
}

/// Between scores foam has to stand: three depths and two millimetres (common practice, no source).
fn too_close(scores: &[(f64, Vec<Line>)], pieces: &[Line], depth: f64, spec: &LineSpec, name: &str) -> Option<Problem> {
    let apart = |(other, lines): &(f64, Vec<Line>)| {
        // Where two cross they are meant to.
        let places = pieces.iter().map(|piece| piece.p0).chain(pieces.last().map(|piece| piece.p1));
        let far = places.map(|at| lines.iter().map(|line| near(line, at)).fold(f64::INFINITY, f64::min));
        let far: Vec<f64> = far.collect();
        let needed = 3.0 * depth.max(*other) + 2.0;
        let beside = far.iter().filter(|far| **far < needed).count();
        let least = far.iter().copied().fold(f64::INFINITY, f64::min);
        (2 * beside > far.len()).then_some((least, needed))
    };
    let (least, needed) = scores.iter().filter_map(apart).min_by(|a, b| a.0.total_cmp(&b.0))?;
    let text = format!(
        "two scores of {name} run {least:.1} mm apart, and foam between them stands when it is {needed:.1} mm or more; move one, or \
         make both shallower"
    );
    Some(Problem::warning("scores_too_close", text).at(spec.place))
}

fn near(line: &Line, at: Raw) -> f64 {
    line.nearest(at, 1e-6).distance_sq.sqrt()
}

/// The runs of a line over places that are clear.
pub(super) fn runs(path: &Path<Pattern>, clear: &dyn Fn(Raw) -> bool) -> BezPath {
    let mut out = BezPath::new();
    let mut open = false;
    let mut places = places(path);
    places.dedup_by(|a, b| a.distance(*b) < 1e-6);
    for at in places {
        if !clear(at) {
            open = false;
        } else if open {
            out.line_to(at);
        } else {
            out.move_to(at);
            open = true;
        }
    }
    // A run of one place is no line.
    let runs = out.elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
    runs.filter(|run| run.len() > 2).flatten().copied().collect()
}

/// Places along a path, close to each other.
fn places(path: &Path<Pattern>) -> Vec<Raw> {
    let line: Vec<Raw> = path.flatten(0.02).concat().iter().map(|p| p.raw()).collect();
    let mut all = Vec::new();
    for pair in line.windows(2) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a positive count")]
        let count = (pair[0].distance(pair[1]) / STEP).ceil().max(1.0) as u32;
        all.extend((0..count).map(|k| pair[0].lerp(pair[1], f64::from(k) / f64::from(count))));
    }
    all.extend(line.last());
    all
}

#[cfg(test)]
mod tests {
    use kurbo::{Rect, Shape as _};

    use super::*;
    use crate::problem::{Place, Placed};
    use crate::units::Length;

    fn spec(kind: LineKind, depth: Option<f64>) -> LineSpec {
        let place = Place { line: 7, column: 1 };
        LineSpec { kind, along: Vec::new(), depth: depth.map(|mm| Placed::new(Length::mm(mm), place)), place }
    }

    fn at(points: &[(f64, f64)]) -> Vec<Point<Pattern>> {
        points.iter().map(|&(x, y)| Point::new(x, y)).collect()
    }

    fn body() -> Region<Pattern> {
        Region::of(&Path::new(Rect::new(0.0, 0.0, 100.0, 60.0).to_path(0.1)))
    }

    #[test]
    fn scores_stop_before_edges_and_crossings() {
        let foam = Foam::as_called(Length::mm(10.0));
        let spec = spec(LineKind::Score, None);
        let lines = [
            OnPiece::new(&spec, &at(&[(-20.0, 30.0), (120.0, 30.0)])),
            OnPiece::new(&spec, &at(&[(50.0, 0.0), (50.0, 60.0)])),
        ];
        let (found, problems) = drawn_lines(&lines, &body(), Some(&foam), "A");
        assert!(problems.is_empty(), "{problems:?}");
        assert_eq!(found[0].kind, MarkingKind::Score { depth: 4.0, opens: 2.0 });
        let bounds = found[0].path.bounds();
        assert!((bounds.x0 - 1.0).abs() < 0.5 && (bounds.x1 - 99.0).abs() < 0.5, "{bounds:?}");
        let pieces = found[1].path.raw().elements().iter().filter(|el| matches!(el, kurbo::PathEl::MoveTo(_))).count();
        assert_eq!(pieces, 2, "it is broken where it crosses the first");
    }

    #[test]
    fn scores_too_deep_and_too_close_are_told() {
        let foam = Foam::as_called(Length::mm(10.0));
        let deep = spec(LineKind::Score, Some(7.0));
        let (_, problems) =
            drawn_lines(&[OnPiece::new(&deep, &at(&[(10.0, 30.0), (90.0, 30.0)]))], &body(), Some(&foam), "A");
        assert_eq!(problems[0].code, "score_too_deep");
        let usual = spec(LineKind::Score, Some(3.0));
        let beside = [10.0, 20.9].map(|y| OnPiece::new(&usual, &at(&[(10.0, y), (90.0, y)])));
        let (_, problems) = drawn_lines(&beside, &body(), Some(&foam), "A");
        assert_eq!(problems.iter().map(|p| p.code).collect::<Vec<_>>(), ["scores_too_close"]);
        let apart = [10.0, 21.1].map(|y| OnPiece::new(&usual, &at(&[(10.0, y), (90.0, y)])));
        assert!(drawn_lines(&apart, &body(), Some(&foam), "A").1.is_empty());
        let thin = Foam::as_called(Length::mm(2.0));
        let (found, _) = drawn_lines(
            &[OnPiece::new(&spec(LineKind::Score, None), &at(&[(10.0, 30.0), (90.0, 30.0)]))],
            &body(),
            Some(&thin),
            "A",
        );
        assert_eq!(found[0].kind, MarkingKind::Score { depth: 0.8, opens: 0.4 });
    }
}
