//! Lines by class, and labels.

use kurbo::{Affine, BezPath, Rect};

use super::clip::clip;
use crate::space::{Map, Path, Point, Space};

/// What a line means. Told apart by line type after the kinds of ISO 128-2, never by colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// The piece itself: continuous, black. The only black lines there are.
    Cut,
    /// Cut into the foam and opened: two lines.
    Score,
    /// Bent: long or short dashes.
    Fold,
    /// Another piece lies here, or a paint ends: dotted.
    Placement,
    /// Piece to piece: short strokes at an edge.
    Match,
    /// Where glue goes: a light hatch.
    Glue,
    /// Page to page: dashed edges and thin crosses.
    Join,
    /// Rulers, frames, arrows: continuous, narrow.
    SettingOut,
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// In mm.
    pub width: f64,
    /// 0 black … 1 white.
    pub grey: f64,
    /// Dash and gap in mm; `None`: continuous.
    pub dash: Option<[f64; 2]>,
}

impl Class {
    /// How lines of this class are drawn. Hair lines, so that the middle of a line is a place.
    pub const fn stroke(self) -> Stroke {
        match self {
            Self::Cut => Stroke { width: 0.25, grey: 0.0, dash: None },
            Self::Score | Self::Fold | Self::Match => Stroke { width: 0.2, grey: 0.35, dash: None },
            Self::Placement => Stroke { width: 0.2, grey: 0.4, dash: None },
            Self::Glue => Stroke { width: 0.2, grey: 0.8, dash: None },
            Self::Join => Stroke { width: 0.2, grey: 0.5, dash: None },
            Self::SettingOut => Stroke { width: 0.2, grey: 0.55, dash: None },
        }
    }
}

/// Grey of all words: readable, and still told apart from the piece.
pub const WORDS_GREY: f64 = 0.35;

/// A line of one class.
#[derive(Clone, Debug)]
pub struct Line<S> {
    /// What it means.
    pub class: Class,
    /// Drawn with dashes of this length and gap, in mm.
    pub dash: Option<[f64; 2]>,
    /// Open or closed; never filled.
    pub path: Path<S>,
}

/// One line of text.
#[derive(Clone, Debug)]
pub struct Label<S> {
    /// Left end of the base line.
    pub at: Point<S>,
    /// What it says.
    pub text: String,
    /// Size of the em in mm.
    pub size: f64,
    /// Set in the bold face.
    pub bold: bool,
    /// Turned clockwise about `at`, in degrees.
    pub turn: f64,
}

/// Lines and labels in one space.
#[derive(Clone, Debug)]
pub struct Drawing<S> {
    /// In the order they are drawn.
    pub lines: Vec<Line<S>>,
    /// Drawn over the lines.
    pub labels: Vec<Label<S>>,
}

impl<S> Default for Drawing<S> {
    fn default() -> Self {
        Self { lines: Vec::new(), labels: Vec::new() }
    }
}

impl<S: Space> Drawing<S> {
    /// Adds a continuous line.
    pub fn line(&mut self, class: Class, path: impl Into<BezPath>) {
        self.lines.push(Line { class, dash: None, path: Path::new(path.into()) });
    }

    /// Adds a dashed line.
    pub fn dashed(&mut self, class: Class, path: impl Into<BezPath>, dash: [f64; 2]) {
        self.lines.push(Line { class, dash: Some(dash), path: Path::new(path.into()) });
    }

    /// Adds the straight line from `a` to `b`.
    pub fn straight(&mut self, class: Class, a: (f64, f64), b: (f64, f64)) {
        let mut path = BezPath::new();
        path.move_to(a);
        path.line_to(b);
        self.line(class, path);
    }

    /// Adds an upright label whose base line starts at (x, y).
    pub fn text(&mut self, x: f64, y: f64, size: f64, bold: bool, text: impl Into<String>) {
        self.labels.push(Label { at: Point::new(x, y), text: text.into(), size, bold, turn: 0.0 });
    }

    /// What of it lies in `window`; labels by where they begin.
    pub fn within(&self, window: Rect) -> Self {
        let inside = |label: &&Label<S>| window.inflate(3.0, 0.5).contains(label.at.raw());
        let lines = self.lines.iter().map(|line| Line { path: clip(&line.path, window), ..line.clone() });
        Self { lines: lines.collect(), labels: self.labels.iter().filter(inside).cloned().collect() }
    }

    /// Adds everything of `other`, whose frame stands in this one by a mere `shift`.
    pub fn add<T: Space>(&mut self, other: Drawing<T>, shift: kurbo::Vec2) {
        let map = Map::<T, S>::affine(Affine::translate(shift));
        self.lines.extend(other.lines.into_iter().map(|line| Line {
            class: line.class,
            dash: line.dash,
            // A shift is exact.
            path: map.path(&line.path, f64::INFINITY),
        }));
        self.labels.extend(other.labels.into_iter().map(|label| Label {
            at: map.point(label.at),
            text: label.text,
            size: label.size,
            bold: label.bold,
            turn: label.turn,
        }));
    }
}
