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
    fn path(self) -> BezPath {
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
        self.outline.raw().area().abs() - holes
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
