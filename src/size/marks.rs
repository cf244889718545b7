//! Everything that was measured, with how far each number may be off.

use crate::build_file::{
    Build, Ends, Figure, Hand, KnownLength, KnownRectangle, Landmark, Light, Like, Limb, PictureSpec, SizeFrom, Wearer,
};
use crate::problem::{Place, Placed};
use crate::space::{Pixels, Point};
use crate::units::Length;

use super::view::View;
use super::{extent, figure};
use crate::plane::Seen;
use crate::sheets::{SidePlace, Sides};

/// Standard deviation of a click, each axis, in pixels (common practice, no source).
const CLICK_SD_PX: f64 = 1.5;

/// No place is surer than this, in pixels.
const LEAST_SD_PX: f64 = 1e-3;

/// Standard deviation of a height above the plane, in mm (common practice, no source).
const ABOVE_SD_MM: f64 = 1.0;

/// Standard deviation of a camera's distance as it is measured, as a part of it (common practice, no source).
const CAMERA_DISTANCE_SD: f64 = 0.03;

/// Standard deviation of a person's height as it is known, in mm (common practice, no source).
const HEIGHT_SD_MM: f64 = 5.0;

/// First term of a lens that nothing is known of, in half diagonals: a standard deviation of 0.02 around 0 is k1 = 0.08 with a
/// focal length of a diagonal, as cameras that are no wide angles have it (common practice, no source).
const USUAL_BOWING_SD: f64 = 0.02;

/// Focal lengths are as long as the longer side of the picture, give or take: from a telephone's to a portrait lens. Standard
/// deviation of the logarithm (common practice, no source).
const FOCAL_SD: f64 = 0.4;

/// How much a rectangle may look askew because pixels are not quite square and the picture is a little cropped (common practice,
/// no source).
const ASKEW_SD: f64 = 0.004;

/// A 95 % half width, as makers say "give or take", in standard deviations.
const GIVE_OR_TAKE_SDS: f64 = 2.0;

/// A number and its standard deviation; 0 means exact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The number as measured.
    pub value: f64,
    /// One standard deviation of its error, in the same unit.
    pub sd: f64,
}

impl Measured {
    fn give_or_take(value: Length, half_width: Length) -> Self {
        Self { value: value.to_mm(), sd: half_width.to_mm() / GIVE_OR_TAKE_SDS }
    }
}

/// A clicked place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// To the right, in pixels.
    pub x: Measured,
    /// Down, in pixels.
    pub y: Measured,
}

impl Spot {
    const fn clicked(p: Point<Pixels>) -> Self {
        Self { x: Measured { value: p.x, sd: CLICK_SD_PX }, y: Measured { value: p.y, sd: CLICK_SD_PX } }
    }

    pub(super) fn seen(&self) -> Seen {
        Seen { at: self.at(), sd: self.x.sd.max(LEAST_SD_PX) }
    }

    /// Where it was clicked.
    pub const fn at(&self) -> Point<Pixels> {
        Point::new(self.x.value, self.y.value)
    }
}

/// A place on the side of a rectangle, found in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SideMark {
    /// Where it was found.
    pub at: Point<Pixels>,
    /// Unit vector across the side.
    pub across: kurbo::Vec2,
    /// How far from `at` the side runs, along `across`, in pixels.
    pub off: Measured,
}

impl SideMark {
    /// The side is there.
    pub(super) fn seen(&self) -> Seen {
        Seen { at: (self.at.raw() + self.across * self.off.value).into(), sd: self.off.sd.max(LEAST_SD_PX) }
    }
}

/// What a picture shows besides the marks of the build file.
#[derive(Clone, Debug, Default)]
pub struct Sight {
    /// Width and height of the picture, in pixels.
    pub size: [f64; 2],
    /// Points of the outlines of its pieces, close enough together to stand for them, by how far the pieces lie above the
    /// plane of its rectangle where that is said of them, mm.
    pub outlines: Vec<(Option<Length>, Vec<Point<Pixels>>)>,
    /// Places found on the sides of its rectangles, in their order.
    pub sides: Vec<Sides>,
}

/// Everything measured for one build, ready for [`super::solve`].
#[derive(Clone, Debug)]
pub struct Marks {
    /// Where the size comes from; a finished length is exact, because it is wanted rather than measured.
    pub from: Placed<SizeFrom>,
    /// The wearer's height, barefoot, mm. One number behind every landmark, so that its error is shared.
    pub barefoot: Option<Measured>,
    /// What the costume's shoes add to it, mm.
    pub shoes: Measured,
    /// Pattern of this size over what the marks tell, for another wearer; 1 otherwise.
    pub times: f64,
    /// As in the build.
    pub pictures: Vec<PictureMarks>,
    /// The prop's two ends.
    pub finished: Option<EndMarks>,
    /// Distances the maker wants to know.
    pub measures: Vec<EndMarks>,
}

/// What was measured on one picture.
#[derive(Clone, Debug)]
pub struct PictureMarks {
    /// Its key in the build file.
    pub name: Placed<String>,
    /// Lengths of known size.
    pub lengths: Vec<LengthMark>,
    /// A rectangle of known size.
    pub rectangle: Option<RectangleMarks>,
    /// Further rectangles of known size in the same plane; none without the first.
    pub further: Vec<RectangleMarks>,
    /// What tells how the lens bows; `None`: it is taken not to.
    pub lens: Option<LensMarks>,
    /// A round ring about the prop's axis.
    pub ring: Option<RingMarks>,
    /// From the camera to the plane of the rectangle, square to it, mm; `None`: as the rectangle tells.
    pub camera_distance: Option<Measured>,
    /// How far the prop's face lies above that plane, towards the camera, mm.
    pub above: Option<Measured>,
    /// The figure that carries the prop.
    pub figure: Option<FigureMarks>,
    /// The hand of the figure at the prop.
    pub hand: Vec<HandMark>,
    /// How many times as large as in nature that is drawn; one number behind all its lengths.
    pub hand_style: Measured,
    /// Of all its outlines, those of one height above the plane together. Empty when it carries no outline.
    pub hulls: Vec<HullMarks>,
    /// Width and height of the picture, in pixels.
    pub size: [f64; 2],
}

impl PictureMarks {
    /// Whether an outline reaches from somewhere to somewhere on it.
    pub(super) fn is_drawn_on(&self) -> bool {
        self.hulls.iter().map(|hull| hull.points.len()).sum::<usize>() > 1
    }
}

/// The reach of outlines that lie equally far above the plane.
#[derive(Clone, Debug)]
pub struct HullMarks {
    /// Convex hull, clockwise as seen; exact, because the noise of an outline is far below that of a click.
    pub points: Vec<Point<Pixels>>,
    /// How far above the plane, mm; `None`: as the prop's face.
    pub above: Option<Measured>,
}

/// What tells how a lens bows.
#[derive(Clone, Debug)]
pub struct LensMarks {
    /// What its terms usually are, with half the picture's diagonal for the unit; one or two of them.
    pub usual: Vec<Measured>,
    /// Places along edges that are straight in truth.
    pub edges: Vec<Vec<Spot>>,
    /// What is usual of a camera: the logarithm of its focal length over the longer side of the picture, and two numbers that
    /// vanish for a rectangle seen through the picture's middle; where the sides of a rectangle of known size are seen.
    pub camera: Option<[Measured; 3]>,
    /// Where its table stands.
    pub place: Place,
}

/// A length of known size on a picture.
#[derive(Clone, Debug)]
pub struct LengthMark {
    /// Lengths of one name tie pictures together.
    pub name: Placed<String>,
    /// One end.
    pub from: Spot,
    /// The other end.
    pub to: Spot,
    /// True length, mm.
    pub length: Measured,
    /// How far it lies above the plane of the rectangle, mm; `None`: as the prop's face.
    pub above: Option<Measured>,
}

/// A rectangle of known size on a picture.
#[derive(Clone, Debug)]
pub struct RectangleMarks {
    /// Clockwise from its top left.
    pub corners: [Spot; 4],
    /// First and second side, mm; `None`: of unknown proportion.
    pub size: Option<[Measured; 2]>,
    /// Places found on its sides, from each corner to the next.
    pub sides: [Vec<SideMark>; 4],
    /// Further places, with where they lie on it, mm.
    pub places: Vec<(Spot, [f64; 2])>,
    /// Where its corners stand.
    pub place: Place,
}

/// A round ring about the prop's axis, seen as an oval.
#[derive(Clone, Copy, Debug)]
pub struct RingMarks {
    /// Ends of its longest diameter.
    pub longest: [Spot; 2],
    /// Ends of its shortest one.
    pub shortest: [Spot; 2],
    /// Where its table stands.
    pub place: Place,
}

/// Marks on the figure that carries the prop.
#[derive(Clone, Debug)]
pub struct FigureMarks {
    /// Where it stands; shared by all landmarks.
    pub sole: Option<Spot>,
    /// On one that stands upright.
    pub landmarks: Vec<LandmarkMark>,
    /// However they are bent. Their errors are part of `pose`.
    pub limbs: Vec<LimbMark>,
    /// By how many standard deviations the height that the limbs tell is off.
    pub pose: Measured,
    /// How many heads tall it is drawn.
    pub heads: f64,
    /// In what it is to be like the wearer.
    pub like: Like,
    /// Where its table stands.
    pub place: Place,
}

/// A limb of the figure, from joint to joint.
#[derive(Clone, Copy, Debug)]
pub struct LimbMark {
    /// Which it is.
    pub limb: Limb,
    /// In pixels.
    pub ends: [Point<Pixels>; 2],
    /// Its length as a fraction of barefoot stature.
    pub fraction: Measured,
}

/// A length of the hand at the prop.
#[derive(Clone, Copy, Debug)]
pub struct HandMark {
    /// "fist" or "hand".
    pub name: &'static str,
    /// One end.
    pub from: Spot,
    /// The other end.
    pub to: Spot,
    /// On the wearer: mm as measured, or as a part of barefoot stature.
    pub size: HandSize,
    /// Where its table stands.
    pub place: Place,
}

/// What the hand of the wearer measures.
#[derive(Clone, Copy, Debug)]
pub enum HandSize {
    /// So many mm.
    Measured(Measured),
    /// As a part of barefoot stature.
    Fraction(Measured),
}

/// A landmark of the figure.
#[derive(Clone, Copy, Debug)]
pub struct LandmarkMark {
    /// Which, and where it stands in the build file.
    pub landmark: Placed<Landmark>,
    /// Where it was seen.
    pub at: Spot,
    /// Its height as a fraction of barefoot stature.
    pub fraction: Measured,
}

/// Two ends and nothing known about their distance.
#[derive(Clone, Debug)]
pub struct EndMarks {
    /// Empty for the finished length itself.
    pub name: String,
    /// Index into [`Marks::pictures`].
    pub picture: usize,
    /// One end.
    pub from: Spot,
    /// The other end.
    pub to: Spot,
    /// Where the table stands.
    pub place: Place,
}

/// The marks of `build`; `sights` are its pictures, in their order.
pub fn marks(build: &Build, sights: &[Sight]) -> Marks {
    let pictures = build.pictures.iter().zip(sights);
    let shoes = build.wearer.map_or([0.0; 2], |wearer| [wearer.shoes, wearer.shoes_sd].map(Length::to_mm));
    Marks {
        from: build.size,
        barefoot: build.wearer.map(|wearer| Measured { value: wearer.height.value.to_mm(), sd: HEIGHT_SD_MM }),
        shoes: Measured { value: shoes[0], sd: shoes[1] },
        times: build.times,
        pictures: pictures.map(|(picture, sight)| picture_marks(picture, sight, build.wearer)).collect(),
        finished: build.finished.as_ref().map(end_marks),
        measures: build.measures.iter().map(end_marks).collect(),
    }
}

impl Marks {
    /// The same marks, clicked with a standard deviation of `px` on each axis.
    #[must_use]
    pub fn clicked_within(mut self, px: f64) -> Self {
        for spot in self.parts().1 {
            spot.x.sd = px;
            spot.y.sd = px;
        }
        self
    }

    /// Every measured number, always in the same order.
    pub fn numbers(&mut self) -> Vec<&mut Measured> {
        let (mut numbers, spots) = self.parts();
        numbers.extend(spots.into_iter().flat_map(|spot| [&mut spot.x, &mut spot.y]));
        numbers
    }

    /// How many of the last numbers are measured with and measure nothing themselves.
    pub(super) fn only_measured(&self) -> usize {
        let of_finished = !matches!(self.from.value, SizeFrom::Finished(_));
        4 * (self.measures.len() + usize::from(of_finished && self.finished.is_some()))
    }

    /// Numbers that stand alone, and clicks. Every field is named, so that a new one cannot be forgotten here.
    fn parts(&mut self) -> (Vec<&mut Measured>, Vec<&mut Spot>) {
        let Self { from: _, barefoot, shoes, times: _, pictures, finished, measures } = self;
        let mut numbers: Vec<&mut Measured> = barefoot.iter_mut().chain([shoes]).collect();
        let mut spots: Vec<&mut Spot> = Vec::new();
        for picture in pictures {
            let PictureMarks {
                name: _,
                lengths,
                rectangle,
                further,
                lens,
                ring,
                camera_distance,
                above,
                figure,
                hand,
                hand_style,
                hulls,
                size: _,
            } = picture;
            if !hand.is_empty() {
                numbers.push(hand_style);
            }
            for HandMark { name: _, from, to, size, place: _ } in hand {
                let (HandSize::Measured(number) | HandSize::Fraction(number)) = size;
                numbers.push(number);
                spots.extend([from, to]);
            }
            numbers.extend(camera_distance.iter_mut().chain(above));
            numbers.extend(hulls.iter_mut().filter_map(|HullMarks { points: _, above }| above.as_mut()));
            for LengthMark { name: _, from, to, length, above } in lengths {
                numbers.push(length);
                numbers.extend(above);
                spots.extend([from, to]);
            }
            for RectangleMarks { corners, size, sides, places, place: _ } in rectangle.iter_mut().chain(further) {
                // What its sides tell takes the place of a corner.
                let told: [bool; 4] = std::array::from_fn(|i| !sides[i].is_empty() && !sides[(i + 3) % 4].is_empty());
                numbers.extend(size.iter_mut().flatten());
                numbers.extend(sides.iter_mut().flatten().map(|SideMark { at: _, across: _, off }| off));
                spots.extend(corners.iter_mut().zip(told).filter(|(_, told)| !told).map(|(corner, _)| corner));
                spots.extend(places.iter_mut().map(|(spot, _)| spot));
            }
            if let Some(LensMarks { usual, edges, camera, place: _ }) = lens {
                numbers.extend(usual);
                numbers.extend(camera.iter_mut().flatten());
                spots.extend(edges.iter_mut().flatten());
            }
            if let Some(RingMarks { longest, shortest, place: _ }) = ring {
                spots.extend(longest.iter_mut().chain(shortest));
            }
            if let Some(FigureMarks { sole, landmarks, limbs, pose, heads: _, like: _, place: _ }) = figure {
                spots.extend(sole);
                if !limbs.is_empty() {
                    numbers.push(pose);
                }
                for LandmarkMark { landmark: _, at, fraction } in landmarks {
                    numbers.push(fraction);
                    spots.push(at);
                }
            }
        }
        // Last, see [`Self::only_measured`].
        spots.extend(finished.iter_mut().chain(measures).flat_map(|ends| [&mut ends.from, &mut ends.to]));
        (numbers, spots)
    }
}

fn picture_marks(picture: &PictureSpec, sight: &Sight, wearer: Option<Wearer>) -> PictureMarks {
    let known = picture.known_rectangle.iter().chain(&picture.further_rectangles);
    let mut rectangles = known.enumerate().map(|(i, known)| rectangle_marks(known, sight.sides.get(i)));
    let rectangle = rectangles.next();
    let further: Vec<RectangleMarks> = rectangles.collect();
    // Corners alone fix the plane and leave nothing to tell a lens by, which may bow for all that is known: who lays a sheet
    // beside a prop takes a photo of it.
    let tells = |r: &RectangleMarks| !r.places.is_empty() || r.sides.iter().any(|side| side.len() > 2);
    let sides_tell = rectangle.iter().chain(&further).any(tells);
    let edges = picture.lens.as_ref();
    let photo = picture.light != Some(Light::Drawing) && rectangle.as_ref().is_some_and(|r| r.size.is_some());
    let lens = (edges.is_some() || sides_tell || photo).then(|| LensMarks {
        usual: vec![Measured { value: 0.0, sd: USUAL_BOWING_SD }],
        edges: edges
            .iter()
            .flat_map(|lens| &lens.straight_edges)
            .map(|edge| edge.iter().copied().map(Spot::clicked).collect())
            .collect(),
        camera: rectangle.as_ref().filter(|r| r.size.is_some() && sides_tell).map(|_| {
            let askew = Measured { value: 0.0, sd: ASKEW_SD };
            [Measured { value: 0.0, sd: FOCAL_SD }, askew, askew]
        }),
        place: edges.map_or(picture.name.place, |lens| lens.place),
    });
    let mut marked = PictureMarks {
        name: picture.name.clone(),
        lengths: picture.known_lengths.iter().map(length_mark).collect(),
        rectangle,
        further,
        lens,
        ring: picture.ring.map(|ring| RingMarks {
            longest: ring.longest.map(Spot::clicked),
            shortest: ring.shortest.map(Spot::clicked),
            place: ring.place,
        }),
        camera_distance: picture
            .camera_distance
            .map(|given| Measured { value: given.to_mm(), sd: CAMERA_DISTANCE_SD * given.to_mm() }),
        above: picture.above.map(height_above),
        figure: picture.figure.as_ref().map(figure_marks),
        hand: picture.hand.as_ref().map_or_else(Vec::new, |hand| hand_marks(hand, wearer)),
        hand_style: Measured {
            value: 1.0,
            sd: if picture.hand.is_some_and(|hand| hand.drawn) { figure::HAND_STYLE_SD } else { 0.0 },
        },
        hulls: Vec::new(),
        size: sight.size,
    };
    // What reaches farthest does so once the picture is straight; one that cannot be straightened is refused later.
    let view = View::of(&marked).ok();
    let hulls = sight.outlines.iter().map(|(above, points)| HullMarks {
        points: match view {
            Some(view) => extent::hull_through(points, &view.map(above.map(Length::to_mm))),
            None => extent::hull(points),
        },
        above: above.map(height_above),
    });
    marked.hulls = hulls.filter(|hull| !hull.points.is_empty()).collect();
    marked
}

fn height_above(above: Length) -> Measured {
    Measured { value: above.to_mm(), sd: ABOVE_SD_MM }
}

fn length_mark(known: &KnownLength) -> LengthMark {
    LengthMark {
        name: known.name.clone(),
        from: Spot::clicked(known.from),
        to: Spot::clicked(known.to),
        length: Measured::give_or_take(known.length, known.give_or_take),
        above: known.above.map(height_above),
    }
}

fn rectangle_marks(known: &KnownRectangle, sides: Option<&Sides>) -> RectangleMarks {
    let side = |places: &Vec<SidePlace>| {
        let mark =
            |&SidePlace { at, across, sd }: &SidePlace| SideMark { at, across, off: Measured { value: 0.0, sd } };
        places.iter().map(mark).collect()
    };
    RectangleMarks {
        corners: known.corners.value.map(Spot::clicked),
        size: known.size.map(|sides| sides.map(|length| Measured::give_or_take(length, known.give_or_take))),
        sides: sides.map_or_else(Default::default, |sides| sides.each_ref().map(side)),
        places: known.places.iter().map(|place| (Spot::clicked(place.at), place.on.map(Length::to_mm))).collect(),
        place: known.corners.place,
    }
}

fn figure_marks(marked: &Figure) -> FigureMarks {
    FigureMarks {
        sole: marked.sole.map(Spot::clicked),
        landmarks: marked
            .landmarks
            .iter()
            .map(|&(landmark, at)| LandmarkMark {
                landmark,
                at: Spot::clicked(at),
                fraction: figure::drawn_fraction(landmark.value, marked.heads),
            })
            .collect(),
        limbs: marked
            .limbs
            .iter()
            .map(|(limb, ends)| LimbMark { limb: limb.value, ends: *ends, fraction: figure::limb_fraction(limb.value) })
            .collect(),
        pose: Measured { value: 0.0, sd: 1.0 },
        heads: marked.heads,
        like: marked.like,
        place: marked.place,
    }
}

fn hand_marks(hand: &Hand, wearer: Option<Wearer>) -> Vec<HandMark> {
    let own = |measured: Option<Length>, fraction: Measured| match measured {
        Some(length) => HandSize::Measured(Measured { value: length.to_mm(), sd: figure::HAND_SD_MM }),
        None => HandSize::Fraction(fraction),
    };
    let mark = |name, ends: Option<[Point<Pixels>; 2]>, size: HandSize| {
        let [from, to] = ends?.map(Spot::clicked);
        Some(HandMark { name, from, to, size, place: hand.place })
    };
    let fist = mark("fist", hand.fist, own(wearer.and_then(|wearer| wearer.fist), figure::FIST));
    let length = mark("hand", hand.length, own(wearer.and_then(|wearer| wearer.hand_length), figure::HAND_LENGTH));
    fist.into_iter().chain(length).collect()
}

fn end_marks(ends: &Ends) -> EndMarks {
    EndMarks {
        name: ends.name.clone(),
        picture: ends.picture,
        from: Spot::clicked(ends.from),
        to: Spot::clicked(ends.to),
        place: ends.place,
    }
}
