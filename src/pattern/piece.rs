//! One piece of the pattern.

use kurbo::{BezPath, Circle, Shape};

use crate::shape::{Found, Round};
use crate::space::{Path, Pattern, Point};
use crate::units::Length;

/// A piece to be cut from foam. It is printed once; how many are cut is said in words on it.
#[derive(Clone, Debug)]
pub struct Piece {
    /// Unique in the pattern.
    pub letter: String,
    /// What a builder calls it.
    pub name: String,
    /// Index of its picture; `None`: it came at full size.
    pub picture: Option<usize>,
    /// Closed, simple, even-odd; all pieces of one picture share the frame.
    pub outline: Path<Pattern>,
    /// What its outline was made alike by, and how unlike it was before; `None` where that is not asked for.
    pub symmetry: Option<Found<Pattern>>,
    /// Circles and arcs that its outline follows, in the order of the outline.
    pub rounds: Vec<Round<Pattern>>,
    /// Holes for hardware.
    pub holes: Vec<RoundHole>,
    /// How many are cut, at least 1.
    pub copies: u32,
    /// Of those, how many with the paper turned over.
    pub face_down: u32,
    /// Thickness it is cut from, as the shop calls it.
    pub foam: Option<Length>,
    /// Its size is that of hardware and does not follow the wearer.
    pub fixed: bool,
    /// Index of the piece of the build that it is, or is a part or layer of.
    pub of: usize,
    /// What is drawn on it and not cut through.
    pub markings: Vec<Marking>,
    /// What a builder has to know of it besides.
    pub notes: Vec<Note>,
}

/// Something that is drawn on a piece and not cut through.
#[derive(Clone, Debug)]
pub struct Marking {
    /// What it means.
    pub kind: MarkingKind,
    /// Lines; of glue and placement, closed ones.
    pub path: Path<Pattern>,
}

/// What a marking means.
#[derive(Clone, Debug, PartialEq)]
pub enum MarkingKind {
    /// Cut so deep and opened with heat to so much, mm.
    Score {
        /// Of the cut.
        depth: f64,
        /// Breadth when it has opened.
        opens: f64,
    },
    /// Along the middle of a groove for a pipe, cut into the back.
    Groove {
        /// At the back, mm.
        breadth: f64,
        /// Of the groove, mm.
        depth: f64,
    },
    /// Bent so that the printed face closes.
    FoldToward,
    /// Bent the other way.
    FoldAway,
    /// One paint ends here and another begins.
    PaintBorder,
    /// Another piece lies here, by its letter, or something that the maker puts there.
    Placement(Option<String>),
    /// Glue goes here for the piece with this letter; everything else stays clean.
    Glue(String),
    /// To be laid on the mark of as many strokes of the piece with this letter.
    Match {
        /// That letter.
        mate: String,
        /// One to three.
        strokes: u32,
    },
    /// The edge is cut with the blade tilted by so many degrees from square, so that the printed face stays the larger one.
    Tilt(f64),
}

/// What a builder has to know of a piece.
#[derive(Clone, Debug, PartialEq)]
pub enum Note {
    /// It is one layer of a part, from its middle or back outwards.
    Layer {
        /// From 1.
        number: usize,
        /// Of how many.
        count: usize,
        /// The letter of the part.
        part: String,
        /// The next one is as large.
        flush: bool,
    },
    /// The channel for a pipe goes through it.
    Channel {
        /// What the maker calls the pipe.
        pipe: String,
        /// How broad the channel is, mm.
        breadth: f64,
    },
    /// A groove for a pipe is cut into its back, both sides tilted by 45°.
    Groove {
        /// What the maker calls the pipe.
        pipe: String,
        /// At the back, mm.
        breadth: f64,
        /// Of the groove, mm.
        depth: f64,
    },
    /// It is one of so many that are put together.
    OneOf(u32),
    /// Its two straight edges meet.
    Closes,
    /// Its long edges are cut on a slant, degrees from square, and the inner face is so much narrower at each, mm.
    Tilted {
        /// Of the blade.
        degrees: f64,
        /// At each edge.
        setback: f64,
    },
    /// Its outer face is stretched by this part when it is bent.
    Stretched(f64),
    /// It is twisted once around in so many mm.
    Turns(f64),
    /// A template that was made smaller by so much all around, mm, because the foam comes out larger; larger where it is negative.
    Template(f64),
    /// A template that was made larger by this part, because the foam shrinks when it is heated.
    Shrinks(f64),
    /// It is longer by what winding takes up.
    TakesUp,
    /// Its channel leaves it in so many strips.
    InStrips(usize),
    /// What lies on it lies on the copies as printed alone.
    OnPrinted,
    /// Its holes are punched from both sides, because it is thick.
    PunchedFromBothSides,
}

/// A round hole.
#[derive(Clone, Copy, Debug)]
pub struct RoundHole {
    /// Its centre.
    pub at: Point<Pattern>,
    /// Never scaled.
    pub diameter: Length,
}

impl RoundHole {
    /// The circle, as four cubics that stay within 0.03 % of its radius.
    pub(super) fn path(self) -> BezPath {
        Circle::new(self.at.raw(), self.diameter.to_mm() / 2.0).to_path(1e-3)
    }
}

impl Piece {
    /// Everything that is cut: the outline and the holes.
    pub fn cut_path(&self) -> Path<Pattern> {
        let mut path = self.outline.raw().clone();
        for hole in &self.holes {
            path.extend(hole.path());
        }
        Path::new(path)
    }

    /// Area in mm², holes taken out. The outline is oriented: outer loops count up, loops inside count down.
    pub fn area(&self) -> f64 {
        let holes: f64 = self.holes.iter().map(|hole| hole.path().area().abs()).sum();
        (self.outline.raw().area().abs() - holes).max(0.0)
    }

    /// Length of everything that is cut, in mm.
    pub fn perimeter(&self) -> f64 {
        self.cut_path().raw().perimeter(1e-3)
    }

    /// Centres and diameters, in mm, of everything that is one whole circle: holes for hardware, and what was drawn so.
    pub fn circles(&self) -> impl Iterator<Item = (Point<Pattern>, f64)> {
        let drawn = self.rounds.iter().filter(|round| round.is_whole()).map(|round| (round.centre, 2.0 * round.radius));
        drawn.chain(self.holes.iter().map(|hole| (hole.at, hole.diameter.to_mm())))
    }

    /// Those of [`Piece::circles`] that are cut out of it: around openings the outline runs anticlockwise.
    pub fn round_holes(&self) -> impl Iterator<Item = (Point<Pattern>, f64)> {
        let openings = self.rounds.iter().filter(|round| round.is_whole() && round.sweep < 0.0);
        let openings = openings.map(|round| (round.centre, 2.0 * round.radius));
        openings.chain(self.holes.iter().map(|hole| (hole.at, hole.diameter.to_mm())))
    }

    /// How many parts do not hang together; 1 unless the outline has several outer loops.
    pub fn parts(&self) -> usize {
        let side = self.outline.raw().area().signum();
        let loops = self.outline.raw().elements().chunk_by(|_, next| !matches!(next, kurbo::PathEl::MoveTo(_)));
        loops.filter(|part| part.area() * side > 0.0).count()
    }

    /// Extent across and down as printed, in mm.
    pub fn size(&self) -> (Length, Length) {
        let bounds = self.outline.bounds();
        (Length::mm(bounds.width()), Length::mm(bounds.height()))
    }
}
