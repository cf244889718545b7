//! What the maker decided, checked.

use crate::problem::{Place, Placed};
use crate::space::{Path, Pixels, Point};
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
#[derive(Clone, Copy, Debug)]
pub struct FoamAtHand {
    /// What the shop calls it.
    pub sold_as: Length,
    /// What the calliper says.
    pub measured: Length,
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
}
