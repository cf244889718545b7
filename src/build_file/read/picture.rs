//! `[picture.NAME]`: what is known and marked on it.

use super::{Pictures, Reader};
use crate::build_file::build::{
    Figure, Hand, KnownLength, KnownPlace, KnownRectangle, Landmark, LensSpec, Light, Like, Limb, PictureSpec, RingSpec,
};
use crate::build_file::check::Checked;
use crate::problem::{Place, Placed};
use crate::space::{Pixels, Point};
use crate::units::Length;

/// What a length is taken to be good for when the maker does not say: 1 %, at least 1 mm (common practice, no source).
fn usual_give_or_take(length: Length) -> Length {
    Length::mm((length.to_mm() * 0.01).max(1.0))
}

/// Rectangles whose corners all lie nearer to each other than this, in pixels, are one.
const SAME_CORNER: f64 = 2.0;

/// An ordinary adult's height in heads (common practice, no source).
pub(crate) const WEARER_HEADS: f64 = 7.5;

/// Beyond this a figure is stylised (common practice, no source).
const ORDINARY_HEADS: std::ops::RangeInclusive<f64> = 7.0..=8.0;

impl Reader {
    pub(super) fn pictures(&mut self, pictures: Pictures<'_>) -> Option<Vec<PictureSpec>> {
        self.ties(pictures);
        let specs: Vec<_> =
            pictures.iter().enumerate().map(|(index, (name, table))| self.picture(index, name, table)).collect();
        specs.into_iter().collect()
    }

    fn picture(&mut self, index: usize, name: &Placed<String>, table: &Checked) -> Option<PictureSpec> {
        let lengths = table.tables("known_length");
        self.unique("known length", lengths);
        let known_lengths: Vec<_> = lengths.iter().map(|length| self.known_length(length)).collect();
        let known_rectangle = table.table("known_rectangle").map(|rectangle| self.known_rectangle(rectangle));
        let further = table.tables("further_rectangle");
        let further_rectangles: Vec<_> = further.iter().map(|rectangle| self.known_rectangle(rectangle)).collect();
        self.beside_known(table, further);
        let figure = table.table("figure").map(|figure| self.figure(figure));
        let hand = table.table("hand").map(|hand| self.hand(hand));
        let lens = table.table("lens").map(|table| self.lens(table));
        let ring = table.table("ring").map(|ring| self.ring(table, ring));
        let edges = table.table("lens").and_then(|lens| lens.strokes("straight_edges"));
        let along = edges.into_iter().flat_map(|edges| edges.value).flatten();
        self.placed_on(index, marks(table).into_iter().chain(along));
        let camera_distance = self.once(table, "camera_distance");
        let above = self.once(table, "above");
        Some(PictureSpec {
            name: name.clone(),
            file: table.text("file")?,
            pixels: table.pixels("pixels"),
            light: table
                .text("light")
                .map(|light| if light.value == "camera" { Light::Camera } else { Light::Drawing }),
            known_lengths: known_lengths.into_iter().collect::<Option<_>>()?,
            known_rectangle: known_rectangle.map_or(Some(None), |rectangle| rectangle.map(Some))?,
            further_rectangles: further_rectangles.into_iter().collect::<Option<_>>()?,
            lens: lens.map_or(Some(None), |lens| lens.map(Some))?,
            ring: ring.map_or(Some(None), |ring| ring.map(Some))?,
            camera_distance,
            above,
            figure: figure.map_or(Some(None), |figure| figure.map(Some))?,
            hand: hand.map_or(Some(None), |hand| hand.map(Some))?,
        })
    }

    /// Further rectangles lie beside a known one, all of known size.
    fn beside_known(&mut self, picture: &Checked, further: &[Checked]) {
        let known = picture.table("known_rectangle");
        for rectangle in further {
            let Some(corners) = rectangle.place_of("corners") else { continue };
            if !picture.wrote("known_rectangle") {
                let text = "a further rectangle lies in the plane of a known one, and there is none on this picture; mark \
                            this as its known_rectangle";
                self.error("further_alone", corners, text);
            }
        }
        if further.is_empty() {
            return;
        }
        self.twice(known.into_iter().chain(further));
        for rectangle in known.into_iter().chain(further) {
            if let Some(size) = rectangle.rectangle("size").filter(|size| size.value.size.is_none()) {
                let text = "the size is \"unknown\", and beside another rectangle it has to be known, so that both can be \
                            compared; give it, or leave this one out";
                self.error("further_of_unknown", size.place, text);
            }
        }
    }

    /// One rectangle marked twice agrees with itself, which is no check.
    fn twice<'a>(&mut self, rectangles: impl Iterator<Item = &'a Checked>) {
        let mut seen: Vec<(Place, [Point<Pixels>; 4])> = Vec::new();
        for corners in rectangles.filter_map(|rectangle| rectangle.points("corners")) {
            let Ok(own) = <[Placed<Point<Pixels>>; 4]>::try_from(corners.value) else { continue };
            let own = own.map(|corner| corner.value);
            let same = |other: &[Point<Pixels>; 4]| {
                let nearest =
                    |corner: Point<Pixels>| other.iter().map(move |o| o.distance(corner)).fold(f64::INFINITY, f64::min);
                own.iter().all(|corner| nearest(*corner) < SAME_CORNER)
            };
            if let Some((first, _)) = seen.iter().find(|(_, other)| same(other)) {
                let text = format!(
                    "these are the corners of the rectangle at line {} once more, which checks nothing; mark another sheet, or \
                     leave this one out",
                    first.line
                );
                self.error("rectangle_twice", corners.place, text);
            }
            seen.push((corners.place, own));
        }
    }

    /// A length that the picture has, or its known rectangle.
    fn once(&mut self, picture: &Checked, key: &str) -> Option<Length> {
        let of_rectangle = picture.table("known_rectangle").and_then(|rectangle| rectangle.length(key));
        let own = picture.length(key);
        if let (Some(own), Some(other)) = (&own, &of_rectangle) {
            let text = format!(
                "{key} stands here and at line {}, and is the same for both; keep one of the two",
                other.place.line
            );
            self.error("said_twice", own.place, text);
        }
        own.or(of_rectangle).map(|length| length.value)
    }

    /// Known lengths of one name in two pictures are the same length.
    fn ties(&mut self, pictures: Pictures<'_>) {
        let mut seen: Vec<(String, Placed<Length>)> = Vec::new();
        for (_, picture) in pictures {
            let named = |table: &Checked| Some((table.text("name")?.value, table.length("length")?));
            let here: Vec<_> = picture.tables("known_length").iter().filter_map(named).collect();
            for (name, length) in &here {
                if let Some((_, former)) = seen.iter().find(|(known, _)| known == name)
                    && former.value != length.value
                {
                    let text = format!(
                        "\"{name}\" is {} mm here and {} mm at line {}; lengths of one name tie pictures together, \
                         so give \
                         both the same length or different names",
                        length.value.to_mm(),
                        former.value.to_mm(),
                        former.place.line
                    );
                    self.error("different_lengths", length.place, text);
                }
            }
            seen.extend(here);
        }
    }

    fn known_length(&mut self, table: &Checked) -> Option<KnownLength> {
        let ends = self.two_ends(table);
        let length = table.length("length")?.value;
        let give_or_take = table.length("give_or_take");
        self.smaller_than(length, give_or_take);
        let (from, to) = ends?;
        let give_or_take = give_or_take.map_or_else(|| usual_give_or_take(length), |given| given.value);
        let above = table.length("above").map(|above| above.value);
        Some(KnownLength { name: table.text("name")?, from, to, length, give_or_take, above })
    }

    fn smaller_than(&mut self, length: Length, give_or_take: Option<Placed<Length>>) {
        if let Some(given) = give_or_take
            && given.value >= length
        {
            let text = format!(
                "{} mm give or take {} mm is no known length; give_or_take is how far the length may be off",
                length.to_mm(),
                given.value.to_mm()
            );
            self.error("out_of_range", given.place, text);
        }
    }

    fn known_rectangle(&mut self, table: &Checked) -> Option<KnownRectangle> {
        let corners = table.points("corners").and_then(|corners| self.corners(&corners));
        let rectangle = table.rectangle("size")?;
        let given = table.length("give_or_take");
        let (mut size, named) = (rectangle.value.size, rectangle.value.tolerance);
        let longer = size.map_or(Length::mm(0.0), |[width, height]| if width > height { width } else { height });
        if let Some([width, height]) = size {
            self.smaller_than(if width > height { height } else { width }, given);
        }
        let corners = corners?;
        if let (Some([width, height]), true) = (size, named.is_some())
            && self.lies_wide(&corners, rectangle.place) != (width > height)
        {
            size = Some([height, width]);
        }
        let give_or_take = given.map(|given| given.value).or(named).unwrap_or_else(|| usual_give_or_take(longer));
        let place = |place: &Checked| Some(KnownPlace { at: place.point("at")?.value, on: place.offsets("on")?.value });
        let places: Option<Vec<KnownPlace>> = table.tables("place").iter().map(place).collect();
        let places = places?;
        if size.is_none() && !places.is_empty() {
            let text =
                "where places lie on a rectangle of unknown size cannot be known; give its size, or leave them out";
            self.error("places_of_unknown", rectangle.place, text);
        }
        let sides_in_picture = table.switch("sides_in_picture").is_none_or(|switch| switch.value);
        Some(KnownRectangle { corners, size, give_or_take, places, sides_in_picture })
    }

    /// Whether the first side of a named sheet is its long one, as it looks.
    fn lies_wide(&mut self, corners: &Placed<[Point<Pixels>; 4]>, size: Place) -> bool {
        let (wide, clear) = looks_wide(corners.value);
        if !clear {
            let text = "in the picture its sides look nearly alike, so which is the long one is a guess; write the \
                        size as two lengths, first the side from the first corner to the second";
            self.warn("which_side", size, text);
        }
        wide
    }

    /// Four corners of a convex shape, clockwise; y points down.
    fn corners(&mut self, corners: &Placed<Vec<Placed<Point<Pixels>>>>) -> Option<Placed<[Point<Pixels>; 4]>> {
        /// Sine of the least corner; a rectangle seen so slantingly measures nothing.
        const LEAST_SINE: f64 = 0.02;
        let places: Vec<Point<Pixels>> = corners.value.iter().map(|corner| corner.value).collect();
        let four: [Point<Pixels>; 4] = places.try_into().ok()?;
        let sine = |i: usize| {
            let (a, b, c) = (four[i].raw(), four[(i + 1) % 4].raw(), four[(i + 2) % 4].raw());
            (b - a).cross(c - b) / ((b - a).hypot() * (c - b).hypot())
        };
        let sines: Vec<f64> = (0..4).map(sine).collect();
        let text = if !sines.iter().all(|sine| sine.abs() >= LEAST_SINE) {
            "three of the corners lie on one line; mark the four corners of the rectangle"
        } else if sines.iter().all(|sine| *sine < 0.0) {
            "the corners go round anticlockwise; list them clockwise from its top left"
        } else if sines.iter().any(|sine| *sine < 0.0) {
            "the sides cross or fold in; list the corners clockwise from its top left"
        } else {
            return Some(Placed::new(four, corners.place));
        };
        self.error("corners", corners.place, text);
        None
    }

    fn figure(&mut self, table: &Checked) -> Option<Figure> {
        let heads = table.number("heads")?;
        let like = table.text("like")?;
        if !ORDINARY_HEADS.contains(&heads.value) && table.place_of("like").is_none() {
            let text = format!(
                "a figure {} heads tall has other proportions than the wearer, who is about {WEARER_HEADS} heads tall, and \
                 it is not said in what it is to be like the wearer: it is taken to be as tall; choose with like = \
                 \"stature\", \"head\", \"shoulder\" or \"blend\"",
                heads.value
            );
            self.warn("which_likeness", heads.place, text);
        }
        let marks = table.table("landmarks");
        let landmark = |landmark: Landmark| {
            let at = marks?.point(landmark.name())?;
            Some((Placed::new(landmark, at.place), at.value))
        };
        let landmarks: Vec<_> = Landmark::ALL.into_iter().filter_map(landmark).collect();
        let limbs = table.table("limbs");
        let limb = |limb: Limb| {
            let ends = limbs?.points(limb.name())?;
            Some((Placed::new(limb, ends.place), [ends.value.first()?.value, ends.value.get(1)?.value]))
        };
        let limbs: Vec<_> = Limb::ALL.into_iter().filter_map(limb).collect();
        if let Some(marks) = marks
            && !Landmark::ALL.iter().any(|landmark| marks.wrote(landmark.name()))
        {
            let text = "the sole alone gives no height; mark at least one of knee, hip, shoulder, chin, eye and crown";
            self.error("missing_key", marks.place, text);
        }
        if !table.wrote("landmarks") && limbs.is_empty() && !table.wrote("limbs") {
            let text = "nothing is marked on the figure; mark landmarks = { sole = [x, y], eye = [x, y] } on one that stands \
                        upright, or limbs = { thigh = [[x, y], [x, y]] } on another";
            self.error("missing_key", table.place, text);
        }
        if like.value == "shoulder" && !landmarks.iter().any(|(landmark, _)| landmark.value == Landmark::Shoulder) {
            let text = "like = \"shoulder\" needs the shoulder and the sole among the landmarks; mark them";
            self.error("missing_key", like.place, text);
        }
        let sole = match marks {
            Some(marks) => Some(marks.point("sole")?.value),
            None => None,
        };
        for (landmark, at) in &landmarks {
            if Some(*at) == sole {
                let (name, Point { x, y, .. }) = (landmark.value.name(), at);
                let text = format!("the {name} is at the same place as the sole, [{x}, {y}]; mark both where they are");
                self.error("same_place", landmark.place, text);
            }
        }
        for (limb, [from, to]) in &limbs {
            self.apart(limb.value.name(), limb.place, [*from, *to]);
        }
        let like = match like.value.as_str() {
            "head" => Like::Head,
            "shoulder" => Like::Shoulder,
            "blend" => Like::Blend(table.number("blend")?.value),
            _ => Like::Stature,
        };
        Some(Figure { sole, landmarks, limbs, heads: heads.value, like, place: table.place })
    }

    /// A ring shows how a prop leans out of the plane of the picture; in the plane of a rectangle it does not.
    fn ring(&mut self, picture: &Checked, table: &Checked) -> Option<RingSpec> {
        if picture.table("known_rectangle").is_some() {
            let text = "this picture is straightened by its known rectangle, in whose plane the prop lies and does not lean; \
                        keep the rectangle or the ring";
            self.error("ring_beside_rectangle", table.place, text);
        }
        let (longest, shortest) = (self.both_ends(table, "longest")?, self.both_ends(table, "shortest")?);
        let [long, short] = [longest, shortest].map(|[a, b]| a.distance(b));
        if short >= long {
            let text = format!(
                "the shortest diameter of the ring is marked {short:.0} px long and its longest {long:.0} px; mark an oval: \
                 the longest across the prop, the shortest along it"
            );
            self.error("ring_not_oval", table.place_of("shortest").unwrap_or(table.place), text);
        }
        Some(RingSpec { longest, shortest, place: table.place })
    }

    /// Two places that are apart.
    fn both_ends(&mut self, table: &Checked, key: &'static str) -> Option<[Point<Pixels>; 2]> {
        let points = table.points(key)?;
        let ends = [points.value.first()?.value, points.value.get(1)?.value];
        self.apart(key, points.place, ends);
        Some(ends)
    }

    /// What is known of a lens.
    fn lens(&mut self, table: &Checked) -> Option<LensSpec> {
        let edges = table.strokes("straight_edges")?.value;
        for pair in edges.iter().flat_map(|edge| edge.windows(2)) {
            self.apart("a part of a straight edge", pair[1].place, [pair[0].value, pair[1].value]);
        }
        let straight_edges = edges.iter().map(|edge| edge.iter().map(|place| place.value).collect()).collect();
        Some(LensSpec { straight_edges, place: table.place })
    }

    fn hand(&mut self, table: &Checked) -> Option<Hand> {
        let (fist, length) = (self.both_ends(table, "fist"), self.both_ends(table, "length"));
        if fist.is_none() && length.is_none() {
            if !table.wrote("fist") && !table.wrote("length") {
                let text = "nothing is marked on the hand; mark fist = [[x, y], [x, y]] across it, or length = [[x, y], [x, y]]";
                self.error("missing_key", table.place, text);
            }
            return None;
        }
        let drawn = table.switch("drawn").is_none_or(|drawn| drawn.value);
        Some(Hand { fist, length, drawn, place: table.place })
    }

    /// Two ends that are one place, or as good as one, measure nothing.
    fn apart(&mut self, what: &str, place: Place, [from, to]: [Point<Pixels>; 2]) {
        let distance = from.distance(to);
        if distance < super::LEAST_APART {
            let text = format!(
                "the two ends of {what}, [{}, {}] and [{}, {}], lie {distance:.2} px apart, at least {} are needed; mark them \
                 where they are",
                from.x,
                from.y,
                to.x,
                to.y,
                super::LEAST_APART
            );
            self.error("ends_too_near", place, text);
        }
    }
}

/// Whether the first side of a sheet or card with these corners looks the longer one, and whether that is clear.
pub(crate) fn looks_wide([a, b, c, d]: [Point<Pixels>; 4]) -> (bool, bool) {
    /// Sheets and cards have sides as 1 : 1.29 to 1 : 1.67, so that less than this may come from a slanted view.
    const CLEAR: f64 = 1.15;
    let looks = (a.distance(b) + c.distance(d)) / (b.distance(c) + d.distance(a));
    (looks > 1.0, !(1.0 / CLEAR..CLEAR).contains(&looks))
}

/// Every place marked on a picture, but those along lens edges.
fn marks(picture: &Checked) -> Vec<Placed<Point<Pixels>>> {
    let lengths = picture.tables("known_length").iter().flat_map(|table| [table.point("from"), table.point("to")]);
    let rectangles = picture.table("known_rectangle").into_iter().chain(picture.tables("further_rectangle"));
    let corners = rectangles.filter_map(|table| table.points("corners"));
    let places = picture.table("known_rectangle").map_or(&[][..], |rectangle| rectangle.tables("place"));
    let places = places.iter().filter_map(|place| place.point("at"));
    let limbs = picture.table("figure").and_then(|figure| figure.table("limbs"));
    let limbs = Limb::ALL.into_iter().filter_map(|limb| limbs?.points(limb.name()));
    let hand = ["fist", "length"].into_iter().filter_map(|key| picture.table("hand")?.points(key));
    let ring = ["longest", "shortest"].into_iter().filter_map(|key| picture.table("ring")?.points(key));
    let ends = limbs.chain(hand).chain(ring).flat_map(|ends| ends.value);
    let landmarks = picture.table("figure").and_then(|figure| figure.table("landmarks"));
    let levels = Landmark::ALL.into_iter().map(Landmark::name).chain(["sole"]);
    let landmarks = levels.filter_map(|name| landmarks?.point(name));
    let corners = corners.flat_map(|corners| corners.value);
    lengths.flatten().chain(corners).chain(places).chain(landmarks).chain(ends).collect()
}
