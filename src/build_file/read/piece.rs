//! `[[piece]]`: where its outline comes from, and how it is cut.

use kurbo::{Rect, Shape};

use super::{LEAST_APART, Pictures, Reader};
use crate::build_file::build::{DrawnLine, Fit, Half, Hole, Mark, PieceSpec, Source, Stroke, Trace};
use crate::build_file::check::Checked;
use crate::problem::Placed;
use crate::space::{Path, Pixels, Point};

impl Reader {
    pub(super) fn pieces(&mut self, file: &Checked, pictures: Pictures<'_>) -> Option<Vec<PieceSpec>> {
        let tables = file.tables("piece");
        if tables.is_empty() && file.wrote("piece") {
            let place = file.place_of("piece").unwrap_or(file.place);
            self.error("missing_key", place, "there is no piece to make yet; add one with [[piece]]");
        }
        self.unique("piece", tables);
        self.unique_letters(tables);
        let pieces: Vec<_> =
            tables.iter().enumerate().map(|(index, table)| self.piece(index, table, file, pictures)).collect();
        pieces.into_iter().collect()
    }

    fn unique_letters(&mut self, tables: &[Checked]) {
        let each = tables.iter().flat_map(|table| std::iter::once(table).chain(table.tables("part")));
        let letters: Vec<Placed<String>> = each.filter_map(|table| table.text("letter")).collect();
        for (index, letter) in letters.iter().enumerate() {
            if let Some(former) = letters[..index].iter().find(|former| former.value == letter.value) {
                let text = format!(
                    "the letter {} is taken at line {}; give each piece its own",
                    letter.value, former.place.line
                );
                self.error("duplicate", letter.place, text);
            }
        }
    }

    fn piece(&mut self, index: usize, table: &Checked, file: &Checked, pictures: Pictures<'_>) -> Option<PieceSpec> {
        let picture = table.text("picture").map(|name| self.picture_named(&name, pictures));
        let fixed = table.switch("fixed");
        let is_fixed = fixed.is_some_and(|fixed| fixed.value);
        let trace = self.trace(table);
        let source = if table.wrote("wrap") { self.wrap(table, file) } else { self.source(table, &trace) };
        let building = self.building(table, file, pictures);
        if let Some(Some(picture)) = picture {
            self.marks_of(table, is_fixed, picture);
        }
        let holes: Vec<_> = table.tables("hole").iter().map(hole).collect();
        let (copies, face_down) = (table.whole("copies"), table.whole("face_down"));
        if let (Some(copies), Some(face_down)) = (copies, face_down)
            && face_down.value > copies.value
        {
            let text = format!(
                "{} face down of {} in all; copies counts all of them, so raise copies or lower face_down",
                face_down.value, copies.value
            );
            self.error("out_of_range", face_down.place, text);
        }
        let symmetric = half(table);
        let repeats = table.whole("repeats");
        let axis = self.axis(table, symmetric);
        if let (Some(word), Some(repeats)) = (table.text("symmetric"), &repeats)
            && repeats.value > 1
        {
            let text = format!(
                "with repeats = {} every part goes to the mean of all, so that no half is kept; write symmetric = true, or \
                 leave out repeats",
                repeats.value
            );
            self.error("half_of_repeats", word.place, text);
        }
        Some(PieceSpec {
            name: table.text("name")?,
            letter: table.text("letter"),
            picture: picture.map_or(Some(None), |picture| picture.map(Some))?,
            source: source?,
            trace,
            foam: table.length("foam").map(|foam| foam.value),
            copies: copies?.value,
            face_down: face_down?.value,
            symmetric,
            axis,
            repeats: repeats?,
            fixed: is_fixed,
            above: table.length("above").map(|above| above.value),
            holes: holes.into_iter().collect::<Option<_>>()?,
            building: building?,
            index,
            place: table.place,
        })
    }

    /// The axis of a piece that has one.
    fn axis(&mut self, table: &Checked, symmetric: Option<Placed<Half>>) -> Option<[Point<Pixels>; 2]> {
        let points = table.points("axis")?;
        let [from, to] = [points.value.first()?, points.value.get(1)?];
        if symmetric.is_none() && table.switch("symmetric").is_some() {
            let text = "an axis says nothing while symmetric is false; write symmetric = true, or leave out axis";
            self.error("axis_alone", points.place, text);
        }
        if from.value.distance(to.value) < LEAST_APART {
            let Point { x, y, .. } = to.value;
            let text = format!(
                "the axis ends at [{x}, {y}], {:.2} px from where it begins; place the two at least {LEAST_APART} px apart, \
                 better as far as the piece reaches",
                from.value.distance(to.value)
            );
            self.error("ends_too_near", to.place, text);
        }
        Some([from.value, to.value])
    }

    fn trace(&mut self, table: &Checked) -> Option<Placed<Trace>> {
        let place = table.place_of("trace")?;
        let Some(marks) = table.table("trace") else { return Some(Placed::new(Trace::default(), place)) };
        if !["around", "inside", "outside", "drawn_line", "within", "ignore_below"].iter().any(|key| marks.wrote(key)) {
            let text = "trace says nothing; write trace = { inside = [812.0, 500.0] } with a place inside the piece, \
                        or \
                        trace = \"plain ground\"";
            self.error("empty", place, text);
        }
        let points = |key: &str| -> Vec<Point<Pixels>> {
            marks.points(key).map_or(Vec::new(), |points| points.value.iter().map(|point| point.value).collect())
        };
        let strokes = |key: &str| -> Vec<Stroke> {
            let found = marks.strokes(key).map_or(Vec::new(), |strokes| strokes.value);
            found.iter().map(|stroke| stroke.iter().map(|point| point.value).collect()).collect()
        };
        Some(Placed::new(
            Trace {
                around: points("around"),
                inside: strokes("inside"),
                outside: strokes("outside"),
                drawn_line: match marks.text("drawn_line").map(|word| word.value).as_deref() {
                    Some("inside") => DrawnLine::Inside,
                    Some("middle") => DrawnLine::Middle,
                    _ => DrawnLine::Outside,
                },
                within: marks.length("within"),
                ignore_below: marks.length("ignore_below"),
            },
            place,
        ))
    }

    /// Where the outline comes from; whatever does not go together is told.
    fn source(&mut self, table: &Checked, trace: &Option<Placed<Trace>>) -> Option<Placed<Source>> {
        const DRAWN: [&str; 3] = ["outline", "through", "svg"];
        let drawn: Vec<&str> = DRAWN.into_iter().filter(|key| table.wrote(key)).collect();
        let place = |key: &str| table.place_of(key).unwrap_or(table.place);
        let fixed = table.switch("fixed").filter(|fixed| fixed.value).map(|fixed| fixed.place);
        let pictured = table.wrote("picture");

        if let [first, second, ..] = drawn[..] {
            self.error(
                "two_outlines",
                place(second),
                format!("the piece has {first} and {second}; keep one of the two"),
            );
        }
        if let ["through" | "svg"] = drawn[..]
            && table.wrote("trace")
        {
            let text = format!("the piece has {} and trace; keep one of the two", drawn[0]);
            self.error("two_outlines", place("trace"), text);
        }
        if table.wrote("trace") && !pictured {
            let text = "there is nothing to trace: say in which picture the piece is, with picture = \"front\"";
            self.error("no_picture", place("trace"), text);
        }
        match fixed {
            // Whether it was to be fixed is not known.
            None if table.wrote("fixed") && table.switch("fixed").is_none() => {}
            Some(place) if table.wrote("trace") => {
                let text = "a traced piece scales with its picture, and a fixed one never scales; leave out fixed, \
                            or leave out \
                            trace and give its outline in millimetres";
                self.error("fixed_traced", place, text);
            }
            Some(place) if drawn.is_empty() => {
                let text = "a fixed piece needs its shape in millimetres: give it outline, through or svg";
                self.error("no_outline", place, text);
            }
            Some(place) if pictured => {
                let text = "a fixed piece reads its numbers as millimetres, not as pixels of its picture; leave out \
                            picture if \
                            that is meant, or fixed if it is not";
                self.warn("fixed_reads_mm", place, text);
            }
            None if !pictured && !drawn.contains(&"svg") && !table.wrote("trace") => {
                let text = "the piece has no picture to scale with; name one with picture = \"front\", or write \
                            fixed = true if \
                            its numbers are millimetres";
                self.error("no_picture", drawn.first().map_or(table.place, |key| place(key)), text);
            }
            _ => {}
        }

        let outline = table.path("outline").map(|path| Placed::new(Source::Outline(Path::new(path.value)), path.place));
        let through = || {
            let points = table.spline("through")?;
            let each = points.value.iter().map(|point| point.value).collect();
            Some(Placed::new(Source::Through(each), points.place))
        };
        let svg = || {
            let name = table.text("svg")?;
            let (file, id) = match name.value.rsplit_once('#') {
                Some((file, id)) => (file.to_owned(), Some(id.to_owned())),
                None => (name.value, None),
            };
            Some(Placed::new(Source::Svg { file, id }, name.place))
        };
        let traced = || {
            let trace = trace.clone().unwrap_or(Placed::new(Trace::default(), table.place));
            drawn.is_empty().then(|| Placed::new(Source::Trace(trace.value), trace.place))
        };
        outline.or_else(through).or_else(svg).or_else(traced)
    }

    /// What a piece places on its picture.
    fn marks_of(&mut self, table: &Checked, fixed: bool, picture: usize) {
        if let Some(trace) = table.table("trace") {
            let strokes = ["inside", "outside"].into_iter().filter_map(|key| trace.strokes(key));
            let strokes = strokes.flat_map(|strokes| strokes.value).flatten();
            let around = trace.points("around").into_iter().flat_map(|around| around.value);
            self.placed_on(picture, around.chain(strokes));
        }
        if fixed {
            return;
        }
        if let Some(axis) = table.points("axis") {
            self.placed_on(picture, axis.value.into_iter());
        }
        let spot = |at: Point<Pixels>| Rect::from_points(at.raw(), at.raw());
        let outline = table.path("outline").map(|path| Placed::new(path.value.bounding_box(), path.place));
        let through = table.spline("through").into_iter().flat_map(|points| points.value);
        let points = through.map(|point| Placed::new(spot(point.value.at), point.place));
        let holes = table.tables("hole").iter().filter_map(|hole| hole.point("at"));
        let holes = holes.map(|at| Placed::new(spot(at.value), at.place));
        let drawn = outline.into_iter().chain(points).chain(holes);
        let mark = |bounds: Placed<Rect>| Mark { picture, bounds: bounds.value, drawn: true, place: bounds.place };
        self.marks.extend(drawn.map(mark));
    }
}

/// Which half of a piece is kept; `None` where its halves are what they are.
fn half(table: &Checked) -> Option<Placed<Half>> {
    if let Some(switch) = table.switch("symmetric") {
        return switch.value.then(|| Placed::new(Half::Both, switch.place));
    }
    let word = table.text("symmetric")?;
    let half = match word.value.as_str() {
        "left" => Half::Left,
        "right" => Half::Right,
        "upper" => Half::Upper,
        _ => Half::Lower,
    };
    Some(Placed::new(half, word.place))
}

fn hole(table: &Checked) -> Option<Hole> {
    let fit = table.text("fit").map(|fit| if fit.value == "slip" { Fit::Slip } else { Fit::Press });
    Some(Hole { at: table.point("at")?, diameter: table.length("diameter")?.value, fit })
}
