//! What is drawn on a piece and not cut: scores, folds, placement outlines, glue, match marks.

use kurbo::{Affine, BezPath, ParamCurve as _, Point as Raw, Rect, Shape as _, Size, Vec2};

use super::clip::clip;
use super::lines::Class;
use crate::pattern::{Marking, MarkingKind, Piece};
use crate::space::{JoinedSheet, Map, Path, Pattern};
use crate::text::{REGULAR, Wording, fill};
use crate::units::Length;

/// Between the lines of a hatch, mm.
const HATCH: f64 = 3.0;
/// Em of the words beside a marking, and white on each side of them, mm.
pub(super) const EM: f64 = 2.3;
pub(super) const AIR: f64 = 0.4;
/// White around words in a hatch, mm.
const AROUND: f64 = 0.8;

/// A marking in place on its joined sheet.
pub(super) struct Inside {
    pub(super) class: Class,
    pub(super) dash: Option<[f64; 2]>,
    pub(super) path: Path<JoinedSheet>,
    pub(super) bounds: Rect,
    /// What stands beside it, and near where.
    pub(super) label: Option<(String, Raw)>,
}

/// The markings of a piece that lies by `to_sheet`.
pub(super) fn insides(piece: &Piece, to_sheet: &Map<Pattern, JoinedSheet>, wording: Wording) -> Vec<Inside> {
    piece.markings.iter().map(|marking| inside(piece, marking, to_sheet, wording)).collect()
}

fn inside(piece: &Piece, marking: &Marking, to_sheet: &Map<Pattern, JoinedSheet>, wording: Wording) -> Inside {
    // Placing only moves and turns: the map is affine and exact.
    let path = to_sheet.path(&marking.path, f64::INFINITY);
    let class = class_of(&marking.kind);
    let words = wording.words;
    let text = match &marking.kind {
        MarkingKind::Score { depth, .. } => Some(fill(words.score_at, &[&wording.length(Length::mm(*depth))])),
        MarkingKind::Groove { depth, .. } => Some(fill(words.groove_at, &[&wording.tenths(*depth)])),
        MarkingKind::FoldToward => Some(words.fold_toward.to_owned()),
        MarkingKind::FoldAway => Some(words.fold_away.to_owned()),
        MarkingKind::PaintBorder => Some(words.paint_border.to_owned()),
        MarkingKind::Placement(letter) => letter.clone(),
        MarkingKind::Glue(_) => None,
        MarkingKind::Match { mate, .. } => Some(fill(words.to_mate, &[mate])),
        MarkingKind::Tilt(degrees) => Some(fill(words.tilt_at, &[&wording.figure(*degrees)])),
    };
    let centre = to_sheet.point(piece.outline.bounds().center().into()).raw();
    let label = text.map(|text| (text, beside(&marking.kind, &path, centre)));
    let path = form(&marking.kind, path, centre);
    let bounds = path.bounds();
    Inside { class, dash: dash_of(&marking.kind), path, bounds, label }
}

/// The lines of a marking along `path`, or all over it, on a piece about `centre`.
fn form(kind: &MarkingKind, path: Path<JoinedSheet>, centre: Raw) -> Path<JoinedSheet> {
    match kind {
        MarkingKind::Score { opens: breadth, .. } | MarkingKind::Groove { breadth, .. } => both_sides(&path, *breadth),
        MarkingKind::Glue(_) => hatch(&path),
        // The edge itself is cut; a short line into the foam says which one is meant.
        MarkingKind::Tilt(_) => pointer(&path, centre),
        _ => path,
    }
}

/// How a marking looks, for the legend, in so much room.
pub(super) fn sample(kind: &MarkingKind, room: Rect) -> Path<JoinedSheet> {
    let level = |y: f64| Path::new(kurbo::Line::new((room.x0, y), (room.x1, y)).to_path(0.1));
    let middle = level(room.center().y);
    match kind {
        MarkingKind::Score { .. } => both_sides(&middle, 0.6 * room.height()),
        MarkingKind::Groove { .. } => both_sides(&middle, room.height()),
        MarkingKind::Match { .. } => strokes(room),
        MarkingKind::Glue(_) => hatch(&Path::new(room.to_path(0.1))),
        MarkingKind::Tilt(_) => {
            let edge = level(room.y1);
            let mut out = edge.raw().clone();
            out.extend(form(kind, edge, room.center()).raw());
            Path::new(out)
        }
        _ => middle,
    }
}

/// One stroke, two and three.
fn strokes(room: Rect) -> Path<JoinedSheet> {
    const APART: f64 = 1.0;
    let mut out = BezPath::new();
    for count in 1..=3 {
        let first = room.x0 + room.width() * f64::from(count - 1) / 3.0 + 1.0;
        for x in (0..count).map(|k| first + APART * f64::from(k)) {
            out.move_to((x, room.y0));
            out.line_to((x, room.y1));
        }
    }
    Path::new(out)
}

pub(super) const fn class_of(kind: &MarkingKind) -> Class {
    match kind {
        MarkingKind::Score { .. } | MarkingKind::Groove { .. } => Class::Score,
        MarkingKind::FoldToward | MarkingKind::FoldAway => Class::Fold,
        MarkingKind::PaintBorder | MarkingKind::Placement(_) => Class::Placement,
        MarkingKind::Glue(_) => Class::Glue,
        MarkingKind::Match { .. } | MarkingKind::Tilt(_) => Class::Match,
    }
}

pub(super) const fn dash_of(kind: &MarkingKind) -> Option<[f64; 2]> {
    match kind {
        MarkingKind::FoldToward => Some([6.0, 1.5]),
        MarkingKind::FoldAway => Some([1.5, 1.5]),
        MarkingKind::PaintBorder => Some([4.0, 1.0]),
        MarkingKind::Placement(_) => Some([0.8, 0.8]),
        _ => None,
    }
}

/// Where the words of a marking would best stand.
fn beside(kind: &MarkingKind, path: &Path<JoinedSheet>, centre: Raw) -> Raw {
    let segments: Vec<kurbo::PathSeg> = path.raw().segments().collect();
    let Some(middle) = segments.get(segments.len() / 2) else { return centre };
    let at = middle.eval(0.5);
    let towards = centre - at;
    let inwards = towards / towards.hypot().max(1e-9);
    match kind {
        MarkingKind::Match { .. } => middle.end() + inwards * 2.5,
        _ => at + inwards * 4.0,
    }
}

/// Two lines as far apart as a score opens.
fn both_sides(path: &Path<JoinedSheet>, breadth: f64) -> Path<JoinedSheet> {
    let mut out = BezPath::new();
    for mut line in path.flatten(0.05) {
        // Between a point and itself there is no direction.
        line.dedup_by(|next, last| next.raw().distance(last.raw()) < 1e-6);
        if line.len() < 2 {
            continue;
        }
        for side in [-0.5, 0.5] {
            for (k, at) in line.iter().enumerate() {
                let (before, after) = (line[k.saturating_sub(1)], line[(k + 1).min(line.len() - 1)]);
                let along = (after.raw() - before.raw()).normalize();
                let at = at.raw() + Vec2::new(-along.y, along.x) * (side * breadth);
                if k == 0 { out.move_to(at) } else { out.line_to(at) }
            }
        }
    }
    Path::new(out)
}

/// From the middle of an edge a little towards the centre, with a head at the edge.
fn pointer(path: &Path<JoinedSheet>, centre: Raw) -> Path<JoinedSheet> {
    let Some(edge) = path.raw().segments().next() else { return path.clone() };
    let at = edge.eval(0.5);
    let along = (edge.end() - edge.start()).normalize();
    let square = Vec2::new(-along.y, along.x);
    let inwards = if square.dot(centre - at) > 0.0 { square } else { -square };
    let mut out = BezPath::new();
    out.move_to(at + inwards * 3.5);
    out.line_to(at + inwards * 0.6);
    for side in [-1.0, 1.0] {
        out.move_to(at + inwards * 1.8 + along * (side * 0.7));
        out.line_to(at + inwards * 0.6);
    }
    Path::new(out)
}

/// Slanting lines all over what the path encloses.
fn hatch(path: &Path<JoinedSheet>) -> Path<JoinedSheet> {
    // Turned so that the lines lie level.
    let turn = Affine::rotate(-std::f64::consts::FRAC_PI_4);
    let level = Path::<JoinedSheet>::new(turn * path.raw().clone());
    let loops: Vec<Vec<Raw>> = level.flatten(0.05).iter().map(|l| l.iter().map(|p| p.raw()).collect()).collect();
    let bounds = level.bounds();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a positive count")]
    let count = (bounds.height() / HATCH).ceil() as u32;
    let mut out = BezPath::new();
    for k in 0..count {
        let y = bounds.y0 + HATCH * (f64::from(k) + 0.5);
        let crossed = loops.iter().flat_map(|l| l.windows(2)).filter(|p| (p[0].y > y) != (p[1].y > y));
        let mut xs: Vec<f64> = crossed.map(|p| p[0].x + (y - p[0].y) / (p[1].y - p[0].y) * (p[1].x - p[0].x)).collect();
        xs.sort_by(f64::total_cmp);
        for pair in xs.chunks_exact(2) {
            out.move_to((pair[0], y));
            out.line_to((pair[1], y));
        }
    }
    Path::new(turn.inverse() * out)
}

/// What `window` shows of a hatch, cut out around words.
pub(super) fn hatch_around(path: &Path<JoinedSheet>, window: Rect, words: &[Rect]) -> BezPath {
    let shown = clip(path, window);
    let mut left: Vec<kurbo::Line> = shown
        .raw()
        .segments()
        .filter_map(|s| if let kurbo::PathSeg::Line(line) = s { Some(line) } else { None })
        .collect();
    for word in words.iter().map(|word| word.inflate(AROUND, AROUND)) {
        left = left.into_iter().flat_map(|line| outside(line, word)).collect();
    }
    let mut out = BezPath::new();
    for line in left {
        out.move_to(line.p0);
        out.line_to(line.p1);
    }
    out
}

/// The parts of a line outside of a rectangle.
fn outside(line: kurbo::Line, rect: Rect) -> Vec<kurbo::Line> {
    let inside = clip(&Path::<JoinedSheet>::new(line.to_path(0.1)), rect);
    let Some(kurbo::PathSeg::Line(inside)) = inside.raw().segments().next() else { return vec![line] };
    let parts = [kurbo::Line::new(line.p0, inside.p0), kurbo::Line::new(inside.p1, line.p1)];
    parts.into_iter().filter(|part| part.length() > 0.3).collect()
}

/// The room that a label takes.
pub(super) fn room(text: &str) -> Size {
    Size::new(REGULAR.width(text, EM) + 2.0 * AIR, REGULAR.cap_height(EM) + 2.0 * AIR + 0.1)
}

#[cfg(test)]
mod tests {
    use kurbo::Circle;

    use super::*;

    fn disc(radius: f64) -> Path<JoinedSheet> {
        Path::new(Circle::new((50.0, 50.0), radius).to_path(0.01))
    }

    #[test]
    fn a_hatch_stays_inside_and_leaves_words_free() {
        let lines = hatch(&disc(30.0));
        let length: f64 = lines.raw().perimeter(0.01);
        let expected = std::f64::consts::PI * 900.0 / HATCH;
        assert!((length - expected).abs() < 0.05 * expected, "{length} {expected}");
        let word = Rect::new(40.0, 45.0, 60.0, 55.0);
        let around = hatch_around(&lines, Rect::new(0.0, 0.0, 100.0, 100.0), &[word]);
        for segment in around.segments() {
            for t in [0.0, 0.25, 0.5, 0.75, 1.0] {
                let at = segment.eval(t);
                assert!(at.distance(Raw::new(50.0, 50.0)) < 30.1 && !word.contains(at), "{at:?}");
            }
        }
        assert!(around.perimeter(0.01) > 0.8 * length);
    }

    #[test]
    fn a_score_is_drawn_as_broad_as_it_opens() {
        let line = Path::<JoinedSheet>::new(kurbo::Line::new((10.0, 20.0), (80.0, 20.0)).to_path(0.1));
        let bounds = both_sides(&line, 2.0).bounds();
        assert!((bounds.y0 - 19.0).abs() < 1e-9 && (bounds.y1 - 21.0).abs() < 1e-9, "{bounds:?}");
    }

    #[test]
    fn a_point_said_twice_leaves_a_score_as_it_is() {
        let once = BezPath::from_svg("M 10 20 L 80 20 L 90 60").expect("path data of this test");
        let twice =
            BezPath::from_svg("M 10 20 L 10 20 L 80 20 L 80 20 L 90 60 L 90 60").expect("path data of this test");
        let drawn = |path| both_sides(&Path::new(path), 2.0).raw().to_svg();
        assert_eq!(drawn(twice), drawn(once));
        assert_eq!(drawn(BezPath::from_svg("M 10 20 L 10 20").expect("path data of this test")), "");
    }
}
