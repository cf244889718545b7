//! How a picture shows the plane of its rectangle, and what lies above that.

use kurbo::{Affine, Vec2};

use super::yardsticks::sensitivities;
use super::{Marks, PictureMarks, RectangleMarks, RingMarks};
use crate::plane::{
    PlaneProblem, Seen, SeenCamera, SeenLens, SeenRectangle, corners_in_plane, larger, proportion, proportions,
    straighten,
};
use crate::problem::{Problem, Problems};
use crate::space::{Lens, Map, Pixels, Plane, Point};

/// A camera's distance that the view tells no better than this, as a standard deviation of its logarithm, is not known
/// (common practice, no source).
const UNSURE_DISTANCE: f64 = 0.2;

/// No sheet is surer than this, mm.
const LEAST_SIZE_SD_MM: f64 = 1e-3;

/// The view of a plane, and of what lies square above it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    plane: Map<Pixels, Plane>,
    /// With half the picture's diagonal.
    lens: Option<(Lens, f64)>,
    /// `None`: nothing tells it.
    eye: Option<Eye>,
    /// How far the prop's face lies above the plane, mm.
    above: f64,
    /// Makes the prop as long as it is, where it leans.
    lean: Option<Affine>,
}

/// Where a camera stands.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Eye {
    /// The place of the plane that is nearest to it.
    foot: Point<Plane>,
    /// Square to the plane, mm.
    distance: f64,
    /// In pixels; `None`: the view does not tell it.
    focal: Option<f64>,
}

impl View {
    /// The view that the marks of `picture` tell.
    pub(super) fn of(picture: &PictureMarks) -> Result<Self, Problem> {
        let lens = seen_lens(picture);
        let plane =
            straighten(&seen_rectangles(picture)?, lens.as_ref()).map_err(|problem| refused(picture, &problem))?;
        let [width, height] = picture.size;
        let bowing = plane.lens().zip(lens.map(|lens| lens.unit));
        let eye = eye(picture, &plane, Point::new(width / 2.0, height / 2.0));
        let lean = picture.ring.as_ref().map(|ring| lean(picture, ring, &plane)).transpose()?;
        Ok(Self { plane, lens: bowing, eye, above: picture.above.map_or(0.0, |above| above.value), lean })
    }

    /// From pixels to the plane of the rectangle, for what lies so many mm above it; `None`: as the prop's face.
    ///
    /// What is nearer to the camera looks larger by Z / (Z − h); seen from there, both planes agree but for that.
    pub fn map(&self, above: Option<f64>) -> Map<Pixels, Plane> {
        let above = above.unwrap_or(self.above);
        let flat = match self.eye.filter(|_| above != 0.0) {
            Some(eye) => {
                let share = (eye.distance - above) / eye.distance;
                self.plane.then(&Map::affine(Affine::scale_about(share, eye.foot.raw())))
            }
            None => self.plane,
        };
        self.lean.map_or(flat, |lean| flat.then(&Map::affine(lean)))
    }

    /// The same for the figure, which does not lean as the prop does.
    pub(super) fn body_map(&self) -> Map<Pixels, Plane> {
        Self { lean: None, ..*self }.map(None)
    }

    /// How the lens bows, and half the diagonal of the picture in pixels.
    pub const fn lens(&self) -> Option<(Lens, f64)> {
        self.lens
    }

    /// The focal length in pixels, where the view tells it.
    pub fn focal(&self) -> Option<f64> {
        self.eye.and_then(|eye| eye.focal)
    }

    /// From the camera to the plane of the rectangle, mm.
    pub fn camera_distance(&self) -> Option<f64> {
        self.eye.map(|eye| eye.distance)
    }
}

/// The prop's own axis drawn out to its length: a round ring about it, seen as an oval of the axes a and b, has b / a for the
/// sine of the angle at which the axis leaves the plane of the picture.
fn lean(picture: &PictureMarks, ring: &RingMarks, plane: &Map<Pixels, Plane>) -> Result<Affine, Problem> {
    /// A prop that leans more is seen too short to be measured: b / a of 0.94 makes it 3 times as long.
    const MOST: f64 = 0.94;
    if let Some(odd) = unlike_an_oval(ring) {
        let text = format!(
            "picture \"{}\": the two diameters of the ring {odd}: they are not those of one oval; mark the longest, across the \
             prop, and the shortest, along it, both through its middle",
            picture.name.value
        );
        return Err(Problem::error("ring_not_oval", text).at(ring.place));
    }
    let axis = |ends: [super::Spot; 2]| plane.point(ends[1].at()).raw() - plane.point(ends[0].at()).raw();
    let (longest, shortest) = (axis(ring.longest), axis(ring.shortest));
    let sine = shortest.hypot() / longest.hypot();
    if sine.is_nan() || sine > MOST {
        let text = format!(
            "picture \"{}\": the ring is seen {sine:.2} times as high as wide, at most {MOST} can be reckoned with: the prop \
             is seen too nearly from its end; use a picture that shows it more from the side",
            picture.name.value
        );
        return Err(Problem::error("ring_too_round", text).at(ring.place));
    }
    let across = longest.atan2();
    let longer = (1.0 - sine * sine).sqrt().recip();
    Ok(Affine::rotate(across) * Affine::scale_non_uniform(1.0, longer) * Affine::rotate(-across))
}

/// How the marks of a ring differ from the axes of an oval, which cross at right angles in its middle.
fn unlike_an_oval(ring: &RingMarks) -> Option<String> {
    /// Degrees from a right angle, and parts of the longest diameter, that clicks on a small ring may come to.
    const MOST_SLANT: f64 = 20.0;
    const MOST_APART: f64 = 0.15;
    let both = [ring.longest, ring.shortest].map(|ends| ends.map(|end| end.at().raw()));
    let [long, short] = both.map(|[from, to]| to - from);
    let slant = (long.dot(short) / (long.hypot() * short.hypot())).clamp(-1.0, 1.0).asin().abs().to_degrees();
    let [middle, other] = both.map(|[from, to]| from.midpoint(to));
    let (apart, most) = (middle.distance(other), MOST_APART * long.hypot());
    if slant > MOST_SLANT {
        return Some(format!("are {slant:.0} degrees from square to each other, at most {MOST_SLANT}"));
    }
    (apart > most).then(|| format!("have middles {apart:.0} px apart, at most {most:.0}"))
}

/// By how much rectangle `j` of a picture with several makes it larger than the others do together, as a logarithm.
///
/// # Errors
///
/// As [`View::of`].
pub(super) fn larger_than_others(picture: &PictureMarks, j: usize) -> Result<f64, Problem> {
    larger(&seen_rectangles(picture)?, seen_lens(picture).as_ref(), j).map_err(|problem| refused(picture, &problem))
}

fn refused(picture: &PictureMarks, problem: &PlaneProblem) -> Problem {
    let place = picture.rectangle.as_ref().map(|rectangle| rectangle.place);
    let place = place.or_else(|| picture.lens.as_ref().map(|lens| lens.place)).unwrap_or(picture.name.place);
    Problem::error("rectangle_refused", format!("picture \"{}\": {problem}", picture.name.value)).at(place)
}

fn seen_rectangles(picture: &PictureMarks) -> Result<Vec<SeenRectangle>, Problem> {
    picture.rectangle.iter().chain(&picture.further).map(|rectangle| seen_rectangle(picture, rectangle)).collect()
}

/// Of a polygon, in square plane units.
pub(super) fn area(corners: &[Point<Plane>]) -> f64 {
    let at = |i: usize| corners[i % corners.len()].raw().to_vec2();
    (0..corners.len()).map(|i| at(i).cross(at(i + 1))).sum::<f64>() / 2.0
}

/// The place said to lie on the rectangle that is farthest from where it would be seen, if that is no click's error; others are
/// off because of it.
pub(super) fn misplaced(picture: &PictureMarks) -> Option<Problem> {
    /// Standard deviations of a click that none is off by.
    const NEVER: f64 = 5.0;
    let (rectangle, view) = (picture.rectangle.as_ref()?, View::of(picture).ok()?);
    let pixels = view.plane.inverse();
    let off = |spot: &super::Spot, [x, y]: [f64; 2]| pixels.point(Point::new(x, y)).distance(spot.at());
    let all = rectangle.places.iter().map(|(spot, on)| (off(spot, *on), spot, on));
    let (off, spot, [x, y]) = all.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let text = format!(
        "picture \"{}\": the place of the rectangle that lies {x:.0} mm along its first side and {y:.0} mm along its last is \
         marked {off:.0} px from where its corners and sides show it, {:.0} mm there; check both, or take it out",
        picture.name.value,
        view.plane.point(spot.at()).distance(Point::new(*x, *y))
    );
    (off > NEVER * spot.x.sd).then(|| Problem::warning("place_off", text).at(rectangle.place))
}

/// What makes it unlikely that a picture shows its rectangle as it is said to be: no usual camera shows that proportion so.
pub(super) fn unlikely(picture: &PictureMarks) -> Option<Problem> {
    /// Beyond what clicks are off by, in parts of the proportion, and cosines of the angle between the sides.
    const NEAR: f64 = 0.03;
    const SQUARE: f64 = 0.03;
    /// Standard deviations.
    const NEVER: f64 = 4.0;
    let rectangle = picture.rectangle.as_ref()?;
    let [width, height] = rectangle.size?.map(|side| side.value);
    let [across, down] = picture.size;
    let ideal = View::of(picture).ok()?.plane.without_lens().inverse();
    let corners = corners_in_plane([width, height]).map(|corner| ideal.point(corner));
    let shortest = (0..4).map(|i| corners[i].distance(corners[(i + 1) % 4])).fold(f64::INFINITY, f64::min);
    let seen = rectangle.sides.iter().all(|side| !side.is_empty());
    let click = if seen { 0.0 } else { NEVER * rectangle.corners[0].x.sd * std::f64::consts::SQRT_2 / shortest };
    let all = proportions(corners, Point::new(across / 2.0, down / 2.0), across.max(down), SQUARE + click);
    let fits = |told: &f64| (told * height / width - 1.0).abs() < NEAR + click;
    if all.as_ref().is_some_and(|all| all.iter().any(fits)) {
        return None;
    }
    let looks = match all {
        Some(all) => {
            let (least, most) = all.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), v| (l.min(*v), m.max(*v)));
            let (least, most) = (format!("{least:.2}"), format!("{most:.2}"));
            let between = if least == most { least } else { format!("{least} to {most}") };
            format!("it looks as if its first side were {between} times as long as its second")
        }
        None => "its sides do not look square to each other".to_owned(),
    };
    let text = format!(
        "picture \"{}\": no usual camera shows a rectangle of {width:.0} by {height:.0} mm so: {looks}; check its size, which of \
         its corners is the first, and that the picture is not cropped",
        picture.name.value
    );
    Some(Problem::warning("rectangle_unlikely", text).at(rectangle.place))
}

/// Refuses heights above a plane from which the camera's distance is not known, and heights beyond the camera.
pub(super) fn heights_known(marks: &Marks) -> Problems {
    let one = |k: usize| {
        let picture = &marks.pictures[k];
        let of_lengths = picture.lengths.iter().filter_map(|length| length.above);
        let of_outlines = picture.hulls.iter().filter_map(|hull| hull.above);
        let all = picture.above.into_iter().chain(of_lengths).chain(of_outlines);
        let highest = all.map(|above| above.value).fold(None, |most: Option<f64>, above| {
            Some(most.map_or(above, |most| if above.abs() > most.abs() { above } else { most }))
        })?;
        let place = picture.rectangle.as_ref().map_or(picture.name.place, |rectangle| rectangle.place);
        let unknown = |why: &str| {
            let text = format!(
                "picture \"{}\": something lies {highest} mm above the plane that is measured, and what that changes \
                 depends on the camera's distance, {why}; measure it and write camera_distance = \"2.5 m\"",
                picture.name.value
            );
            Some(Problem::error("camera_distance_unknown", text).at(place))
        };
        let Some(distance) = View::of(picture).ok()?.camera_distance() else {
            return unknown("which this view does not tell");
        };
        if highest >= 0.9 * distance {
            let text = format!(
                "picture \"{}\": what lies {highest} mm above the plane would be at the camera, which is {distance:.0} mm \
                 away; mend `above`, or camera_distance",
                picture.name.value
            );
            return Some(Problem::error("above_camera", text).at(place));
        }
        if picture.camera_distance.is_some() {
            return None;
        }
        let by = sensitivities(marks, &|marks| {
            Ok(vec![View::of(&marks.pictures[k])?.camera_distance().unwrap_or(f64::INFINITY).ln()])
        });
        // A distance that a click away is none at all is not known either.
        if by.is_ok_and(|by| by.norm() < UNSURE_DISTANCE) { None } else { unknown("which this view hardly tells") }
    };
    (0..marks.pictures.len()).filter_map(one).collect()
}

fn seen_lens(picture: &PictureMarks) -> Option<SeenLens> {
    let lens = picture.lens.as_ref()?;
    let [width, height] = picture.size;
    let spots = |edge: &Vec<super::Spot>| edge.iter().map(|spot| spot.seen()).collect();
    Some(SeenLens {
        middle: Point::new(width / 2.0, height / 2.0),
        unit: 0.5 * width.hypot(height),
        usual: lens.usual.iter().map(|term| (term.value, term.sd)).collect(),
        edges: lens.edges.iter().map(spots).collect(),
        camera: lens.camera.map(|[focal, cosine, longer]| SeenCamera {
            long: width.max(height),
            focal: (focal.value, focal.sd),
            square: ([cosine.value, longer.value], cosine.sd),
        }),
    })
}

fn seen_rectangle(picture: &PictureMarks, rectangle: &RectangleMarks) -> Result<SeenRectangle, Problem> {
    let corners = rectangle.corners.map(|corner| corner.seen());
    let size = match rectangle.size {
        Some(sides) => sides.map(|side| side.value),
        None => {
            let [width, height] = picture.size;
            let places = corners.map(|corner| corner.at);
            let found = proportion(places, Point::new(width / 2.0, height / 2.0)).map_err(|problem| {
                let text = format!("picture \"{}\": {problem}", picture.name.value);
                Problem::error("rectangle_refused", text).at(rectangle.place)
            })?;
            // Any size will do: that of the pixels, about.
            let seen = (places[0].distance(places[2]) * places[1].distance(places[3])).sqrt();
            let height = seen / found.hypot(1.0);
            [found * height, height]
        }
    };
    let seen = |side: &Vec<super::SideMark>| side.iter().map(super::SideMark::seen).collect::<Vec<Seen>>();
    Ok(SeenRectangle {
        corners,
        sides: std::array::from_fn(|i| seen(&rectangle.sides[i])),
        places: rectangle.places.iter().map(|(spot, on)| (spot.seen(), *on)).collect(),
        size,
        size_sd: rectangle.size.map_or([LEAST_SIZE_SD_MM; 2], |sides| sides.map(|side| side.sd.max(LEAST_SIZE_SD_MM))),
    })
}

/// Where the camera stands: its distance as it was measured, or else what the view of a rectangle of known size tells.
fn eye(picture: &PictureMarks, plane: &Map<Pixels, Plane>, middle: Point<Pixels>) -> Option<Eye> {
    let sized = picture.rectangle.as_ref().is_some_and(|rectangle| rectangle.size.is_some());
    let told = sized.then(|| told_eye(plane, middle)).flatten();
    match picture.camera_distance {
        Some(given) => {
            let foot = told.map_or_else(|| plane.point(middle), |eye| eye.foot);
            Some(Eye { foot, distance: given.value, focal: told.and_then(|eye| eye.focal) })
        }
        None => told,
    }
}

/// From the homography between plane and picture alone: focal length, then pose (Z. Zhang, "A flexible new technique for
/// camera calibration", IEEE PAMI 22, 2000), with square pixels around the middle of the picture. `None` where the view is
/// too square on for any focal length.
fn told_eye(plane: &Map<Pixels, Plane>, middle: Point<Pixels>) -> Option<Eye> {
    let [a, b, c] = plane.without_lens().inverse().columns();
    let centred = |[x, y, w]: [f64; 3]| (Vec2::new(x - middle.x * w, y - middle.y * w), w);
    let [(a, aw), (b, bw), (c, cw)] = [a, b, c].map(centred);
    // Both axes of the plane are square to each other and of one length; the first counts twice, so that it does not matter
    // how the axes lie.
    let (square, alike) = (2.0 * a.dot(b), a.hypot2() - b.hypot2());
    let (square_w, alike_w) = (2.0 * aw * bw, aw * aw - bw * bw);
    let inverse_square = -(square * square_w + alike * alike_w) / (square * square + alike * alike);
    let focal = inverse_square.sqrt().recip();
    if !focal.is_finite() {
        return None;
    }
    let ray = |v: Vec2, w: f64| nalgebra::Vector3::new(v.x / focal, v.y / focal, w);
    let (a, b, c) = (ray(a, aw), ray(b, bw), ray(c, cw));
    let scale = (a.norm() * b.norm()).sqrt();
    let (a, b, c) = (a / scale, b / scale, c / scale);
    let distance = a.cross(&b).normalize().dot(&c).abs();
    Some(Eye { foot: Point::new(-a.dot(&c), -b.dot(&c)), distance, focal: Some(focal) })
}
