//! What the maker decided, checked.

use crate::problem::{Place, Placed};
use crate::space::{Path, Pixels, Point};
use crate::tables::PipeSize;
use crate::text::{Language, Wording, fill};
use crate::units::{Length, Shown};

/// One whole build file.
#[derive(Clone, Debug)]
pub struct Build {
    /// Printed on every page.
    pub name: String,
    /// Where the name stands.
    pub name_place: Place,
    /// How sizes are shown.
    pub units: Shown,
    /// The language of the pages.
    pub language: Language,
    /// Printed on every page when given: `2026-05-01`. Never the clock.
    pub date: Option<String>,
    /// Who carries the prop.
    pub wearer: Option<Wearer>,
    /// Other wearers, for whom it is made too, by their height; none without a wearer.
    pub other_heights: Vec<Length>,
    /// Pattern of this size over that for the wearer whom the marks are for; 1 unless it is for another.
    pub times: f64,
    /// Likewise, of what is given in mm and follows the prop: thicknesses, roundings, wraps.
    pub ratio: f64,
    /// In the order of the file; at least one unless every piece is at full size by itself.
    pub pictures: Vec<PictureSpec>,
    /// Where the size comes from; `AsPictured` where every piece is at full size by itself.
    pub size: Placed<SizeFrom>,
    /// The prop's two ends; `None`: the union of its pieces tells.
    pub finished: Option<Ends>,
    /// Paper and its margins.
    pub paper: PaperSpec,
    /// What the maker's foam really measures.
    pub foam_at_hand: Vec<FoamAtHand>,
    /// How pieces are cut, and what is lost and put on afterwards.
    pub cutting: Cutting,
    /// Pipes and rods of the skeleton.
    pub pipes: Vec<PipeSpec>,
    /// Edges of two pieces that meet, other than those of one that was split.
    pub seams: Vec<SeamSpec>,
    /// In the order of the file; at least one.
    pub pieces: Vec<PieceSpec>,
    /// Distances the maker wants to know.
    pub measures: Vec<Ends>,
    /// All that is placed on pictures.
    pub marks: Vec<Mark>,
}

impl Build {
    /// How its pages tell something.
    pub const fn wording(&self) -> Wording {
        Wording { words: self.language.words(), shown: self.units }
    }

    /// The same build for a wearer of another height: a figure is as tall as that one, a hand that is not measured as large,
    /// and what else gives the size grows as the height in shoes does. What is fixed stays. `None` without a wearer.
    pub fn for_height(&self, height: Length) -> Option<Self> {
        let mut wearer = self.wearer?;
        let ratio = (height.to_mm() + wearer.shoes.to_mm()) / (wearer.height.value.to_mm() + wearer.shoes.to_mm());
        wearer.height.value = height;
        // Hands grow with the rest.
        wearer.fist = wearer.fist.map(|fist| Length::mm(fist.to_mm() * ratio));
        wearer.hand_length = wearer.hand_length.map(|length| Length::mm(length.to_mm() * ratio));
        let wording = self.wording();
        let by_wearer = matches!(self.size.value, SizeFrom::Figure | SizeFrom::Hand);
        Some(Self {
            name: fill(wording.words.for_height, &[&self.name, &wording.length(height)]),
            wearer: Some(wearer),
            other_heights: Vec::new(),
            times: if by_wearer { 1.0 } else { ratio },
            ratio,
            ..self.clone()
        })
    }
}

/// A place that was clicked on a picture, or the bounds of what was drawn over it.
#[derive(Clone, Copy, Debug)]
pub struct Mark {
    /// Index of the picture.
    pub picture: usize,
    /// In pixels; of no size for a place.
    pub bounds: kurbo::Rect,
    /// It was drawn, and may reach beyond a cropped picture.
    pub drawn: bool,
    /// Where it stands in the file.
    pub place: Place,
}

/// The person the prop is sized for.
#[derive(Clone, Copy, Debug)]
pub struct Wearer {
    /// Barefoot, 500 to 2500 mm.
    pub height: Placed<Length>,
    /// What the costume's shoes add, 0 to 300 mm.
    pub shoes: Length,
    /// Standard deviation of that, where only their heel is known.
    pub shoes_sd: Length,
    /// Wrist crease to the tip of the middle finger.
    pub hand_length: Option<Length>,
    /// Breadth across the closed hand.
    pub fist: Option<Length>,
}

/// One reference picture and everything marked on it.
#[derive(Clone, Debug)]
pub struct PictureSpec {
    /// The key after `picture.`
    pub name: Placed<String>,
    /// Relative to the build file.
    pub file: Placed<String>,
    /// Width and height of the upright picture, as it was when marks were made.
    pub pixels: Option<Placed<[u32; 2]>>,
    /// How edges are blended; `None`: to be found.
    pub light: Option<Light>,
    /// Lengths marked on the picture.
    pub known_lengths: Vec<KnownLength>,
    /// A rectangle of known size lying in the prop's plane.
    pub known_rectangle: Option<KnownRectangle>,
    /// Further ones of known size in the same plane; none without the first.
    pub further_rectangles: Vec<KnownRectangle>,
    /// What is known of its lens.
    pub lens: Option<LensSpec>,
    /// A round ring about the prop's axis; none beside a rectangle.
    pub ring: Option<RingSpec>,
    /// From the camera to the plane that is measured, square to it; `None`: as the picture tells.
    pub camera_distance: Option<Length>,
    /// How far the prop's face lies above that plane, towards the camera; `None`: in it.
    pub above: Option<Length>,
    /// The figure that carries the prop.
    pub figure: Option<Figure>,
    /// Its hand at the prop.
    pub hand: Option<Hand>,
}

/// How the edge pixels of a picture were blended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    /// In linear light, as a camera does.
    Camera,
    /// In encoded values, as most drawing programs do.
    Drawing,
}

/// A marked length whose true size is known.
#[derive(Clone, Debug)]
pub struct KnownLength {
    /// Lengths of one name tie pictures together.
    pub name: Placed<String>,
    /// One end.
    pub from: Point<Pixels>,
    /// The other end; never the same place.
    pub to: Point<Pixels>,
    /// True length, above 0.
    pub length: Length,
    /// 95 % half width of `length`.
    pub give_or_take: Length,
    /// How far it lies above the plane that is measured; `None`: as the prop's face.
    pub above: Option<Length>,
}

/// Four marked corners of a rectangle of known size.
#[derive(Clone, Debug)]
pub struct KnownRectangle {
    /// Clockwise from its top left.
    pub corners: Placed<[Point<Pixels>; 4]>,
    /// Along the side from the first corner to the second, and from the second to the third; `None`: unknown.
    pub size: Option<[Length; 2]>,
    /// 95 % half width of each side.
    pub give_or_take: Length,
    /// Further places on it.
    pub places: Vec<KnownPlace>,
    /// Its sides are looked for in the picture, between the corners.
    pub sides_in_picture: bool,
}

/// A place of a known rectangle.
#[derive(Clone, Copy, Debug)]
pub struct KnownPlace {
    /// In the picture.
    pub at: Point<Pixels>,
    /// From its first corner, along the first side and along the last.
    pub on: [Length; 2],
}

/// A round ring seen as an oval.
#[derive(Clone, Copy, Debug)]
pub struct RingSpec {
    /// Ends of its longest diameter.
    pub longest: [Point<Pixels>; 2],
    /// Ends of its shortest diameter, nearer to each other.
    pub shortest: [Point<Pixels>; 2],
    /// Where its table stands.
    pub place: Place,
}

/// What is known of a lens.
#[derive(Clone, Debug)]
pub struct LensSpec {
    /// Edges that are straight in truth, each of at least three places.
    pub straight_edges: Vec<Vec<Point<Pixels>>>,
    /// Where its table stands.
    pub place: Place,
}

/// Marks on the figure that carries the prop.
#[derive(Clone, Debug)]
pub struct Figure {
    /// Where the soles stand; always there beside landmarks.
    pub sole: Option<Point<Pixels>>,
    /// Landmarks other than the sole, by their name in the body tables.
    pub landmarks: Vec<(Placed<Landmark>, Point<Pixels>)>,
    /// Limbs from joint to joint, however they are bent; landmarks or limbs are there.
    pub limbs: Vec<(Placed<Limb>, [Point<Pixels>; 2])>,
    /// How many heads tall it is drawn.
    pub heads: f64,
    /// In what it is to be like the wearer.
    pub like: Like,
    /// Where `figure` stands.
    pub place: Place,
}

/// In what a figure of other proportions than the wearer's is to be like the wearer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Like {
    /// As tall.
    Stature,
    /// With a head as large.
    Head,
    /// With shoulders as high; its other landmarks do not count.
    Shoulder,
    /// Between stature, 0, and head, 1.
    Blend(f64),
}

/// A part of the body whose length is a published fraction of stature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limb {
    /// From the crown to the level of the shoulder joints.
    HeadAndNeck,
    /// From there to the hip joint.
    Trunk,
    /// Hip joint to knee.
    Thigh,
    /// Knee to ankle.
    Shank,
    /// Shoulder joint to elbow.
    UpperArm,
    /// Elbow to wrist.
    Forearm,
    /// Wrist to the tip of the middle finger.
    Hand,
}

impl Limb {
    /// From the top down.
    pub const ALL: [Self; 7] =
        [Self::HeadAndNeck, Self::Trunk, Self::Thigh, Self::Shank, Self::UpperArm, Self::Forearm, Self::Hand];

    /// As in the build file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::HeadAndNeck => "head_and_neck",
            Self::Trunk => "trunk",
            Self::Thigh => "thigh",
            Self::Shank => "shank",
            Self::UpperArm => "upper_arm",
            Self::Forearm => "forearm",
            Self::Hand => "hand",
        }
    }
}

/// The hand of the figure at the prop: as far from the camera as that.
#[derive(Clone, Copy, Debug)]
pub struct Hand {
    /// Across the closed hand, over the knuckles.
    pub fist: Option<[Point<Pixels>; 2]>,
    /// From the crease of the wrist to the tip of the middle finger; one of the two is there.
    pub length: Option<[Point<Pixels>; 2]>,
    /// It is drawn, so that its size is a matter of style.
    pub drawn: bool,
    /// Where its table stands.
    pub place: Place,
}

/// A level of the body whose height is a published fraction of stature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Landmark {
    /// Knee joint.
    Knee,
    /// Hip joint.
    Hip,
    /// Shoulder joint.
    Shoulder,
    /// Lower end of the head.
    Chin,
    /// Line of the eyes.
    Eye,
    /// Top of the bare head; not of a hat.
    Crown,
}

impl Landmark {
    /// From the lowest to the highest.
    pub const ALL: [Self; 6] = [Self::Knee, Self::Hip, Self::Shoulder, Self::Chin, Self::Eye, Self::Crown];

    /// As in the build file and the body table.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Knee => "knee",
            Self::Hip => "hip",
            Self::Shoulder => "shoulder",
            Self::Chin => "chin",
            Self::Eye => "eye",
            Self::Crown => "crown",
        }
    }
}

/// Where the size comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SizeFrom {
    /// The known lengths are lengths of the finished prop.
    KnownLengths,
    /// What is pictured has its real size.
    AsPictured,
    /// The figure in the picture is as tall as the wearer in shoes.
    Figure,
    /// The hand at the prop is as large as the wearer's.
    Hand,
    /// The finished prop is this long.
    Finished(Length),
}

/// Two places on one picture and the distance between them.
#[derive(Clone, Debug)]
pub struct Ends {
    /// Empty for the finished length itself.
    pub name: String,
    /// Index into [`Build::pictures`].
    pub picture: usize,
    /// One end.
    pub from: Point<Pixels>,
    /// The other end.
    pub to: Point<Pixels>,
    /// Where the table stands.
    pub place: Place,
}

/// Paper and how it is used.
#[derive(Clone, Debug)]
pub struct PaperSpec {
    /// Names of sheets in the paper table, or sizes; at least one.
    pub sheets: Vec<Placed<PaperSize>>,
    /// Pattern printed on both of two neighbouring pages.
    pub overlap: Placed<Length>,
    /// Kept free at every edge of the sheet, because most printers cannot print there.
    pub margin: Placed<Length>,
    /// The last page comes first, for printers that lay page on page with the print up.
    pub last_page_first: bool,
    /// Distances to be measured on each joined sheet.
    pub check_distances: usize,
}

/// A sheet of paper, upright.
#[derive(Clone, Debug, PartialEq)]
pub struct PaperSize {
    /// As in the table ("A4"), or "300 x 400 mm", or "914 mm roll".
    pub name: String,
    /// Short side; of a roll its width.
    pub width: Length,
    /// Long side; of a roll the most that is cut off it.
    pub height: Length,
    /// It comes off a roll and is cut to length.
    pub roll: bool,
}

/// Foam as sold and as it measures.
#[derive(Clone, Debug)]
pub struct FoamAtHand {
    /// What the shop calls it.
    pub sold_as: Length,
    /// What the calliper says.
    pub measured: Length,
    /// Sides of the sheets it comes in.
    pub sheet: Option<[Length; 2]>,
    /// What was read on its test card.
    pub readings: CardReadings,
}

/// What was read on the test card of one foam; whatever was not read is left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CardReadings {
    /// Five sheets on each other.
    pub stack_of_five: Option<Length>,
    /// A strip that just closes around something round.
    pub strip: Option<Length>,
    /// The diameter of that.
    pub strip_round: Option<Length>,
    /// Both sides of a square of 100 mm after heat.
    pub square_after_heat: Option<[Length; 2]>,
    /// How wide scores of 1 mm depth, 2 mm and so on opened under heat; none: not read.
    pub scores: Vec<Length>,
}

/// How a template goes onto foam.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Template {
    /// Paper and foam are cut in one.
    CutThrough,
    /// A pen goes around it.
    TracedRound,
}

/// Which part of a drawn line the blade leaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CutLine {
    /// It runs along the inside, and the line stays on the waste.
    Inside,
    /// It runs on the middle.
    On,
    /// It runs along the outside, and the line stays on the piece.
    Outside,
}

/// How pieces are cut, and what is lost and put on afterwards.
#[derive(Clone, Debug)]
pub struct Cutting {
    /// How a template goes onto foam.
    pub template: Template,
    /// Where the blade runs, of a traced line.
    pub line: CutLine,
    /// Breadth of the traced line.
    pub pen: Length,
    /// What sanding takes off an edge that is free.
    pub sanding: Length,
    /// What all coats together put onto it.
    pub coats: Length,
    /// Punches at hand, by their diameter.
    pub punches: Vec<Length>,
    /// Where its table stands; `None`: pieces are printed as they are finished.
    pub place: Option<Place>,
}

impl Cutting {
    /// Pieces are printed as they are finished.
    pub const fn none() -> Self {
        Self {
            template: Template::CutThrough,
            line: CutLine::On,
            pen: Length::mm(1.0),
            sanding: Length::ZERO,
            coats: Length::ZERO,
            punches: Vec::new(),
            place: None,
        }
    }
}

/// Where a pipe runs.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// Index into [`Build::pictures`]; `None`: in millimetres at full size.
    pub picture: Option<usize>,
    /// The middle of one end.
    pub from: Point<Pixels>,
    /// That of the other.
    pub to: Point<Pixels>,
}

/// A pipe or rod of the skeleton.
#[derive(Clone, Debug)]
pub struct PipeSpec {
    /// What the maker calls it.
    pub name: Placed<String>,
    /// As the standard or the trade calls it, and what is taken instead where that does not fit, in this order; empty: measured.
    pub kinds: Vec<Placed<&'static PipeSize>>,
    /// Outside diameter as it measures; there where no kind is.
    pub outside: Option<Length>,
    /// Inside diameter as it measures.
    pub bore: Option<Length>,
    /// Where it runs.
    pub run: Option<Run>,
    /// How long it is, where no run tells.
    pub length: Option<Length>,
    /// Index of the pipe whose bore holds its end.
    pub into: Option<Placed<usize>>,
    /// How far it reaches into that.
    pub engagement: Option<Placed<Length>>,
    /// What their joint has to bear, in N·m.
    pub moment: f64,
    /// Where its table stands.
    pub place: Place,
}

/// An edge of one piece and one of another that are glued together.
#[derive(Clone, Debug)]
pub struct SeamSpec {
    /// Indices of the two pieces, and where the edge of each begins and ends, going around the outline clockwise on the first and
    /// anticlockwise on the second.
    pub edges: [(usize, [Point<Pixels>; 2]); 2],
    /// The shorter one is stretched on purpose.
    pub stretch: bool,
    /// Where its table stands.
    pub place: Place,
}

/// One piece as the maker asked for it.
#[derive(Clone, Debug)]
pub struct PieceSpec {
    /// What a builder calls it.
    pub name: Placed<String>,
    /// A pinned letter, upper case.
    pub letter: Option<Placed<String>>,
    /// Index into [`Build::pictures`]; `None`: full size by itself.
    pub picture: Option<usize>,
    /// Where its outline comes from.
    pub source: Placed<Source>,
    /// How it was told from its picture, kept beside an outline too so that it can be traced again.
    pub trace: Option<Placed<Trace>>,
    /// Foam it is cut from; `None`: not said.
    pub foam: Option<Length>,
    /// How many are cut, at least 1.
    pub copies: u32,
    /// Of those, how many with the paper turned over.
    pub face_down: u32,
    /// Its two halves are made exactly alike, and which of them is kept.
    pub symmetric: Option<Placed<Half>>,
    /// Two places on the axis of its halves; `None`: it is found. Units as for `Source::Outline`.
    pub axis: Option<[Point<Pixels>; 2]>,
    /// It comes again so many times in one full turn, and is made exactly so; 1: once.
    pub repeats: Placed<u32>,
    /// Hardware sized: its numbers are millimetres and never scale.
    pub fixed: bool,
    /// How far its face lies above the plane that is measured; `None`: as the prop's face.
    pub above: Option<Length>,
    /// Round holes for hardware.
    pub holes: Vec<Hole>,
    /// How it is built up from foam.
    pub building: Building,
    /// Index of its table among the pieces of the file, for writing back.
    pub index: usize,
    /// Where its table stands.
    pub place: Place,
}

/// What is kept of two halves that are to mirror each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Half {
    /// Both, each going half way to the other.
    Both,
    /// As seen on the upright picture; likewise the others.
    Left,
    /// See [`Half::Left`].
    Right,
    /// See [`Half::Left`].
    Upper,
    /// See [`Half::Left`].
    Lower,
}

/// Where the outline of a piece comes from.
#[derive(Clone, Debug)]
pub enum Source {
    /// Path data, even-odd: picture pixels, or millimetres for a fixed piece or one without a picture.
    Outline(Path<Pixels>),
    /// A smooth spline through points, corners marked; closed. Units as for `Outline`.
    Through(Vec<SplinePoint>),
    /// A shape of an SVG file.
    Svg {
        /// Relative to the build file.
        file: String,
        /// The id of the shape or group; `None`: everything drawn.
        id: Option<String>,
    },
    /// To be traced from the picture.
    Trace(Trace),
    /// Foam that is bent or put together to a form, unrolled.
    Wrap(Wrap),
}

/// How a piece is built up from foam, beyond being cut once.
#[derive(Clone, Debug)]
pub struct Building {
    /// Of the finished part.
    pub thickness: Option<Placed<Length>>,
    /// How its surface falls to the edge.
    pub profile: Placed<Profile>,
    /// How far in a rounding or bevel reaches.
    pub edge: Option<Placed<Length>>,
    /// What stands upright at the edge, of the whole thickness.
    pub land: Placed<Length>,
    /// It is seen from both sides, so that it is made of two halves that mirror each other.
    pub both_sides: bool,
    /// Foams of one half from the middle outwards, as sold; `None`: they are chosen.
    pub layers: Option<Vec<Placed<Length>>>,
    /// The pipe that lies in it.
    pub pipe: Option<Placed<usize>>,
    /// Whether that lies in a groove of the innermost foam; otherwise in a slot through the inner ones.
    pub groove: bool,
    /// Lines that it is split along, each from outside to outside. Units as for `Source::Outline`.
    pub split: Option<Placed<Vec<Stroke>>>,
    /// What is different about the parts it is split into.
    pub parts: Vec<PartSpec>,
    /// Lines that are drawn on it and not cut.
    pub lines: Vec<LineSpec>,
    /// Slots for hardware.
    pub slots: Vec<SlotSpec>,
    /// Indices of the pieces that it lies on.
    pub on: Vec<Placed<usize>>,
}

/// How the surface of a part falls from its highest place to its edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Profile {
    /// It does not.
    Flat,
    /// A quarter of an ellipse.
    Rounded,
    /// A cap over the whole breadth.
    Domed,
    /// A straight slope of a given breadth.
    Bevelled,
    /// A straight slope up to the middle line.
    KnifeEdge,
}

/// A part of a split piece.
#[derive(Clone, Debug)]
pub struct PartSpec {
    /// A place in it. Units as for `Source::Outline`.
    pub at: Placed<Point<Pixels>>,
    /// What a builder calls it; `None`: the piece's name and a number.
    pub name: Option<String>,
    /// A pinned letter.
    pub letter: Option<Placed<String>>,
    /// Foam it is cut from; `None`: as the piece.
    pub foam: Option<Length>,
    /// How many are cut; `None`: as the piece.
    pub copies: Option<u32>,
    /// Of those, how many with the paper turned over.
    pub face_down: Option<u32>,
}

/// What a line that is not cut through is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineKind {
    /// Cut into the foam and opened with heat.
    Score,
    /// Bent so that the printed face closes.
    FoldToward,
    /// Bent the other way.
    FoldAway,
    /// Where one paint ends and another begins.
    PaintBorder,
    /// Where something is put.
    Placement,
}

/// A line on a piece that is not cut through.
#[derive(Clone, Debug)]
pub struct LineSpec {
    /// What it is for.
    pub kind: LineKind,
    /// Two or more places; it is smooth between. Units as for `Source::Outline`.
    pub along: Stroke,
    /// Of a score; `None`: two fifths of the foam.
    pub depth: Option<Placed<Length>>,
    /// Where its table stands.
    pub place: Place,
}

/// A straight slot for hardware, with square ends.
#[derive(Clone, Copy, Debug)]
pub struct SlotSpec {
    /// The middles of its two ends; millimetres for a fixed piece.
    pub ends: [Point<Pixels>; 2],
    /// Never scaled.
    pub width: Length,
    /// Where its table stands.
    pub place: Place,
}

/// Something round that foam goes around.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Core {
    /// By its diameter, which follows the prop.
    Diameter(Length),
    /// A pipe, by its index.
    Pipe(usize),
}

/// A form that foam is bent or put together to. Lengths follow the prop unless the piece is fixed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wrap {
    /// A sleeve, or a cut-off cone where it ends on another diameter.
    Round {
        /// Around what.
        core: Core,
        /// The inner diameter at its other end; 0: pointed.
        to: Option<Length>,
        /// Along its axis.
        length: Length,
        /// How far its end is tilted from square, in degrees.
        slant: f64,
    },
    /// A sleeve around an oval with these inner diameters.
    Oval {
        /// The longer one first.
        inside: [Length; 2],
        /// Along its axis.
        length: Length,
    },
    /// A tube of flat sides.
    Sided {
        /// How many.
        sides: u32,
        /// Inside, from side to side, or twice from the axis to a side.
        inside: Length,
        /// Likewise at its other end.
        to: Option<Length>,
        /// Along its axis.
        length: Length,
    },
    /// A ball of so many gores.
    Ball {
        /// How many.
        gores: u32,
        /// Inner diameter.
        inside: Length,
    },
    /// A cord of round strands.
    Cord {
        /// Two or three.
        strands: u32,
        /// Of one strand.
        thick: Length,
        /// Once around.
        pitch: Length,
        /// Of the finished cord.
        length: Length,
        /// At each end.
        tab: Length,
    },
    /// A flat strip twisted about its middle line.
    Twisted {
        /// Of the strip.
        width: Length,
        /// Once around.
        pitch: Length,
        /// Of the finished strip.
        length: Length,
        /// At each end.
        tab: Length,
        /// With hot air.
        warmed: bool,
    },
    /// A flat strip wound around something round.
    Wound {
        /// Around what.
        core: Core,
        /// Of the strip.
        width: Length,
        /// Once around.
        pitch: Length,
        /// Along the axis.
        length: Length,
        /// At each end.
        tab: Length,
    },
}

/// How hardware sits in its hole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fit {
    /// It comes out again, coats and all.
    Slip,
    /// It stays.
    Press,
}

/// A point that a spline passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SplinePoint {
    /// Where.
    pub at: Point<Pixels>,
    /// The tangent may jump here.
    pub corner: bool,
}

/// A line through points, or one point by itself.
pub type Stroke = Vec<Point<Pixels>>;

/// What tells a traced shape from the rest of its picture; without loop and strokes it stands on a plain ground.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// A loose loop around the shape, at least three points; empty: none.
    pub around: Vec<Point<Pixels>>,
    /// Places and strokes inside the shape; empty: none.
    pub inside: Vec<Stroke>,
    /// Places and strokes on what is not the shape, where colours alone mislead; empty: none.
    pub outside: Vec<Stroke>,
    /// Of a shape drawn in ink around its edge, the side of the line that is cut along.
    pub drawn_line: DrawnLine,
    /// How far lines and cubics may keep from the traced edge, at full size; `None`: a tenth of a pixel.
    pub within: Option<Placed<Length>>,
    /// Loops that nowhere reach so far, at full size, are left out.
    pub ignore_below: Option<Placed<Length>>,
}

/// A side of a drawn line, or its middle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DrawnLine {
    /// The ink belongs to the shape.
    #[default]
    Outside,
    /// The ink lies around the shape.
    Inside,
    /// Half of it does.
    Middle,
}

/// A round hole of a fixed diameter.
#[derive(Clone, Copy, Debug)]
pub struct Hole {
    /// Its centre; picture pixels, or millimetres for a fixed piece.
    pub at: Placed<Point<Pixels>>,
    /// Hardware, never scaled.
    pub diameter: Length,
    /// Of what goes through it, where its diameter follows from that.
    pub fit: Option<Fit>,
}
