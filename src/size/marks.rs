//! Everything that was measured, with how far each number may be off.

use crate::build_file::{Build, Ends, Figure, KnownLength, KnownRectangle, Landmark, PictureSpec, SizeFrom};
use crate::problem::{Place, Placed};
use crate::space::{Pixels, Point};
use crate::units::Length;

use super::{extent, figure};

/// Standard deviation of a click, each axis, in pixels (common practice, no source).
const CLICK_SD_PX: f64 = 1.5;

/// Standard deviation of a person's height in shoes as it is known, in mm (common practice, no source).
const HEIGHT_SD_MM: f64 = 5.0;

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

    /// Where it was clicked.
    pub const fn at(&self) -> Point<Pixels> {
        Point::new(self.x.value, self.y.value)
    }
}

/// Everything measured for one build, ready for [`super::solve`].
#[derive(Clone, Debug)]
pub struct Marks {
    /// Where the size comes from; a finished length is exact, because it is wanted rather than measured.
    pub from: Placed<SizeFrom>,
    /// The wearer's height in the costume's shoes, mm. One number behind every landmark, so that its error is shared.
    pub height_in_shoes: Option<Measured>,
    /// What the shoes add to it, mm; their doubt is part of `height_in_shoes`.
    pub shoes: f64,
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
    /// The figure that carries the prop.
    pub figure: Option<FigureMarks>,
    /// Convex hull of all its outlines, clockwise as seen; exact, because the noise of an outline is far below that
    /// of a click. Empty when it carries no outline.
    pub hull: Vec<Point<Pixels>>,
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
}

/// A rectangle of known size on a picture.
#[derive(Clone, Copy, Debug)]
pub struct RectangleMarks {
    /// Clockwise from its top left.
    pub corners: [Spot; 4],
    /// First side, mm.
    pub width: Measured,
    /// Second side, mm.
    pub height: Measured,
    /// Where its corners stand.
    pub place: Place,
}

/// Marks on the figure that carries the prop.
#[derive(Clone, Debug)]
pub struct FigureMarks {
    /// Where it stands; shared by all landmarks.
    pub sole: Spot,
    /// At least one.
    pub landmarks: Vec<LandmarkMark>,
    /// Where its table stands.
    pub place: Place,
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

/// The marks of `build`. `outlines` holds, for each picture, points of all its pieces' outlines, close enough
/// together to stand for the outline.
pub fn marks(build: &Build, outlines: &[Vec<Point<Pixels>>]) -> Marks {
    let pictures = build.pictures.iter().enumerate();
    let shoes = build.wearer.map_or(0.0, |wearer| wearer.shoes.to_mm());
    Marks {
        from: build.size,
        height_in_shoes: build
            .wearer
            .map(|wearer| Measured { value: wearer.height.value.to_mm() + shoes, sd: HEIGHT_SD_MM }),
        shoes,
        pictures: pictures.map(|(i, picture)| picture_marks(picture, outlines.get(i).map_or(&[], |o| o))).collect(),
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

    /// Numbers that stand alone, and clicks. Every field is named, so that a new one cannot be forgotten here.
    fn parts(&mut self) -> (Vec<&mut Measured>, Vec<&mut Spot>) {
        let Self { from: _, height_in_shoes, shoes: _, pictures, finished, measures } = self;
        let mut numbers: Vec<&mut Measured> = height_in_shoes.iter_mut().collect();
        let mut spots: Vec<&mut Spot> = Vec::new();
        for PictureMarks { name: _, lengths, rectangle, figure, hull: _ } in pictures {
            for LengthMark { name: _, from, to, length } in lengths {
                numbers.push(length);
                spots.extend([from, to]);
            }
            if let Some(RectangleMarks { corners, width, height, place: _ }) = rectangle {
                numbers.extend([width, height]);
                spots.extend(corners);
            }
            if let Some(FigureMarks { sole, landmarks, place: _ }) = figure {
                spots.push(sole);
                for LandmarkMark { landmark: _, at, fraction } in landmarks {
                    numbers.push(fraction);
                    spots.push(at);
                }
            }
        }
        spots.extend(finished.iter_mut().chain(measures).flat_map(|ends| [&mut ends.from, &mut ends.to]));
        (numbers, spots)
    }
}

fn picture_marks(picture: &PictureSpec, outlines: &[Point<Pixels>]) -> PictureMarks {
    PictureMarks {
        name: picture.name.clone(),
        lengths: picture.known_lengths.iter().map(length_mark).collect(),
        rectangle: picture.known_rectangle.as_ref().map(rectangle_marks),
        figure: picture.figure.as_ref().map(figure_marks),
        hull: extent::hull(outlines),
    }
}

fn length_mark(known: &KnownLength) -> LengthMark {
    LengthMark {
        name: known.name.clone(),
        from: Spot::clicked(known.from),
        to: Spot::clicked(known.to),
        length: Measured::give_or_take(known.length, known.give_or_take),
    }
}

fn rectangle_marks(known: &KnownRectangle) -> RectangleMarks {
    RectangleMarks {
        corners: known.corners.value.map(Spot::clicked),
        width: Measured::give_or_take(known.width, known.give_or_take),
        height: Measured::give_or_take(known.height, known.give_or_take),
        place: known.corners.place,
    }
}

fn figure_marks(marked: &Figure) -> FigureMarks {
    FigureMarks {
        sole: Spot::clicked(marked.sole),
        landmarks: marked
            .landmarks
            .iter()
            .map(|&(landmark, at)| LandmarkMark {
                landmark,
                at: Spot::clicked(at),
                fraction: figure::fraction(landmark.value),
            })
            .collect(),
        place: marked.place,
    }
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
