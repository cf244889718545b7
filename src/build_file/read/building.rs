//! Hardware and how pieces are built up: pipes, foam, layers, wraps, lines, seams.

use super::{LEAST_APART, Pictures, Reader};
use crate::build_file::build::{
    Building, CardReadings, Core, CutLine, Cutting, Ends, FoamAtHand, LineKind, LineSpec, PartSpec, PipeSpec, Profile,
    Run, SeamSpec, SlotSpec, Source, Stroke, Template, Wrap,
};
use crate::build_file::check::{Checked, unresolved};
use crate::problem::Placed;
use crate::space::{Pixels, Point};
use crate::tables::{PipeSize, pipe_size, pipe_sizes};
use crate::units::Length;

impl Reader {
    pub(super) fn foam_at_hand(&mut self, tables: &[Checked]) -> Vec<FoamAtHand> {
        let mut all: Vec<FoamAtHand> = Vec::new();
        for table in tables {
            let measured = table.length("measured").map(|length| length.value.to_mm());
            let readings = table.table("test_card").map(|card| self.readings(card, measured)).unwrap_or_default();
            let (Some(sold_as), Some(measured)) = (table.length("sold_as"), table.length("measured")) else { continue };
            if all.iter().any(|former| former.sold_as == sold_as.value) {
                let text = format!("foam sold as {} mm is listed twice; keep one", sold_as.value.to_mm());
                self.error("duplicate", sold_as.place, text);
            }
            let sheet = table.offsets("sheet").map(|sheet| sheet.value);
            all.push(FoamAtHand { sold_as: sold_as.value, measured: measured.value, sheet, readings });
        }
        all
    }

    fn readings(&mut self, card: &Checked, measured: Option<f64>) -> CardReadings {
        if card.wrote("strip") != card.wrote("strip_round") {
            let text = "strip tells something only beside strip_round, the diameter of what it closes around; give both, or neither";
            self.error(
                "strip_alone",
                card.place_of("strip").or(card.place_of("strip_round")).unwrap_or(card.place),
                text,
            );
        }
        let length = |key| card.length(key).map(|length| length.value);
        self.likely(card, measured);
        CardReadings {
            stack_of_five: length("stack_of_five"),
            strip: length("strip"),
            strip_round: length("strip_round"),
            square_after_heat: card.offsets("square_after_heat").map(|sides| sides.value),
            scores: card
                .lengths("scores")
                .map(|all| all.value.iter().map(|one| one.value).collect())
                .unwrap_or_default(),
        }
    }

    /// Whether foam can be as its card says.
    fn likely(&mut self, card: &Checked, measured: Option<f64>) {
        let five = card.length("stack_of_five");
        let thickness = five.as_ref().map(|five| five.value.to_mm() / 5.0).or(measured);
        if let (Some(five), Some(measured)) = (&five, measured)
            && (five.value.to_mm() / 5.0 - measured).abs() > 0.2 * measured
        {
            let text = format!(
                "five of {measured} mm are no {} mm high; the fifth of it counts, so look which of the two is wrong",
                five.value.to_mm()
            );
            self.warn("card_unlikely", five.place, text);
        }
        if let (Some(strip), Some(round), Some(thickness)) =
            (card.length("strip"), card.length("strip_round"), thickness)
        {
            let neutral = (strip.value.to_mm() / std::f64::consts::PI - round.value.to_mm()) / (2.0 * thickness);
            if !(0.0..=1.0).contains(&neutral) {
                let [least, most] =
                    [0.0, 1.0].map(|k| std::f64::consts::PI * (round.value.to_mm() + 2.0 * k * thickness));
                let text = format!(
                    "a strip of {} mm does not close around {} mm: one of {thickness:.1} mm foam is {least:.0} to {most:.0} mm long; measure \
                     both again",
                    strip.value.to_mm(),
                    round.value.to_mm()
                );
                self.error("card_unlikely", strip.place, text);
            }
        }
        if let Some(scores) = card.lengths("scores")
            && !scores.value.is_sorted_by(|a, b| a.value <= b.value)
        {
            let text = "deeper scores open wider, and these do not; list them from 1 mm depth on, in order";
            self.warn("card_unlikely", scores.place, text);
        }
    }

    pub(super) fn cutting(file: &Checked) -> Cutting {
        let Some(table) = file.table("cutting") else { return Cutting::none() };
        let word = |key| table.text(key).map(|word| word.value).unwrap_or_default();
        let length = |key| table.length(key).map_or(Length::ZERO, |length| length.value);
        Cutting {
            template: if word("template") == "traced round" { Template::TracedRound } else { Template::CutThrough },
            line: match word("line").as_str() {
                "inside" => CutLine::Inside,
                "outside" => CutLine::Outside,
                _ => CutLine::On,
            },
            pen: length("pen"),
            sanding: length("sanding"),
            coats: length("coats"),
            punches: table
                .lengths("punches")
                .map(|all| all.value.iter().map(|one| one.value).collect())
                .unwrap_or_default(),
            place: Some(table.place),
        }
    }

    pub(super) fn pipes(&mut self, file: &Checked, pictures: Pictures<'_>) -> Option<Vec<PipeSpec>> {
        let tables = file.tables("pipe");
        self.unique("pipe", tables);
        let names = names_of(tables);
        let pipes: Vec<Option<PipeSpec>> = tables.iter().map(|table| self.pipe(table, &names, pictures)).collect();
        let pipes: Vec<PipeSpec> = pipes.into_iter().collect::<Option<_>>()?;
        for (start, pipe) in pipes.iter().enumerate() {
            let mut at = start;
            for _ in 0..pipes.len() {
                let Some(next) = pipes[at].into.as_ref() else { break };
                at = next.value;
                if at == start {
                    let into = pipe.into.as_ref().expect("it led on");
                    let text =
                        format!("pipe \"{}\" would be in itself in the end; leave out one into", pipe.name.value);
                    self.error("circular", into.place, text);
                    return None;
                }
            }
        }
        Some(pipes)
    }

    fn pipe(&mut self, table: &Checked, names: &Names, pictures: Pictures<'_>) -> Option<PipeSpec> {
        let name = table.text("name")?;
        let mut kinds = Vec::new();
        let first = table.text("kind").into_iter();
        let instead = table.names("instead").map(|names| names.value).unwrap_or_default();
        for kind in first.chain(instead) {
            kinds.push(self.pipe_kind(&kind).map(|size| Placed::new(size, kind.place)));
        }
        if !table.wrote("kind") && !table.wrote("outside") {
            let text = format!(
                "nothing tells how thick pipe \"{0}\" is; say what it is sold as, as in kind = \"PVC schedule 40 3/4 in\", or measure \
                 it, as in outside = \"26.7 mm\"",
                name.value
            );
            self.error("missing_key", table.place, text);
            return None;
        }
        if table.wrote("instead") && !table.wrote("kind") {
            let text = "instead names what is taken where the kind does not fit; name that too, as in kind = \"PVC schedule 40 3/4 in\"";
            self.error("instead_alone", table.place_of("instead").unwrap_or(table.place), text);
        }
        let (outside, bore) = (table.length("outside"), table.length("bore"));
        let kinds: Vec<Placed<&'static PipeSize>> = kinds.into_iter().collect::<Option<_>>()?;
        let around =
            outside.as_ref().map(|outside| outside.value).or_else(|| kinds.first().map(|kind| kind.value.outside));
        if let (Some(bore), Some(around)) = (&bore, around)
            && bore.value >= around
        {
            let text = format!(
                "a bore of {} mm leaves no wall in a pipe of {} mm outside; measure both again",
                bore.value.to_mm(),
                around.to_mm()
            );
            self.error("out_of_range", bore.place, text);
        }
        let marked = ["picture", "from", "to"].map(|key| table.wrote(key));
        let run = match marked {
            [false, false, false] => Some(None),
            [true, true, true] => {
                let run = |ends: Ends| Some(Run { picture: Some(ends.picture), from: ends.from, to: ends.to });
                self.ends(table, pictures).map(run)
            }
            [false, true, true] => self.two_ends(table).map(|(from, to)| Some(Run { picture: None, from, to })),
            _ => {
                let text = "where a pipe runs takes from and to, and the picture that they are marked on unless they are millimetres at full \
                            size; add what is missing, or give its length instead";
                self.error("missing_key", table.place, text);
                None
            }
        };
        if marked[1] && table.wrote("length") {
            let text = "the pipe has a run and a length; keep the one that is right";
            self.error("two_lengths", table.place_of("length").unwrap_or(table.place), text);
        }
        let into = match table.text("into") {
            None => Some(None),
            Some(into) => self.named("pipe", &into, names).map(|index| Some(Placed::new(index, into.place))),
        };
        for key in ["engagement", "moment"] {
            if let Some(place) = table.place_of(key).filter(|_| !table.wrote("into")) {
                let text = format!(
                    "{key} says how a pipe sits in another; name that, as in into = \"sleeve\", or leave it out"
                );
                self.error("joint_alone", place, text);
            }
        }
        Some(PipeSpec {
            name,
            kinds,
            outside: outside.map(|length| length.value),
            bore: bore.map(|length| length.value),
            run: run?,
            length: table.length("length").map(|length| length.value),
            into: into?,
            engagement: table.length("engagement"),
            moment: table.number("moment").map_or(0.0, |moment| moment.value),
            place: table.place,
        })
    }

    fn pipe_kind(&mut self, kind: &Placed<String>) -> Option<&'static PipeSize> {
        let found = pipe_size(&kind.value);
        if found.is_none() {
            let known = pipe_sizes().iter().map(|size| size.name.as_str());
            let instead = "what it measures, as in outside = \"26.7 mm\" (`spanwright tables pipe` lists all)";
            let text = unresolved(&kind.value, "pipe or rod", known, instead);
            self.error("unresolved", kind.place, text);
        }
        found
    }

    /// The index of what is named; nothing is said where a name did not pass, which may be this one.
    fn named(&mut self, what: &str, name: &Placed<String>, names: &Names) -> Option<usize> {
        let found = names.iter().position(|known| known.as_ref().is_some_and(|known| known.value == name.value));
        if found.is_none() && names.iter().all(Option::is_some) {
            let known = names.iter().flatten().map(|known| known.value.as_str());
            let text = if names.is_empty() {
                format!("there is no {what} \"{}\"; add one with [[{what}]]", name.value)
            } else {
                unresolved(&name.value, what, known, &format!("a table [[{what}]] of its own"))
            };
            self.error("unresolved", name.place, text);
        }
        found
    }

    pub(super) fn seams(
        &mut self,
        tables: &[Checked],
        pieces: &[Checked],
        pictures: Pictures<'_>,
    ) -> Option<Vec<SeamSpec>> {
        let names = names_of(pieces);
        let one = |reader: &mut Self, table: &Checked| {
            let join = table.names("join")?.value;
            let indices: Vec<Option<usize>> = join.iter().map(|name| reader.named("piece", name, &names)).collect();
            let mut edge = |key: &str, index: Option<usize>| {
                let points = table.points(key)?;
                let [from, to] = [points.value.first()?, points.value.get(1)?];
                if let Some(picture) = index.and_then(|index| reader.picture_of(&pieces[index], pictures)) {
                    reader.placed_on(picture, points.value.iter().cloned());
                }
                if from.value == to.value {
                    let Point { x, y, .. } = to.value;
                    let text = format!("the edge begins and ends in one place, [{x}, {y}]; mark both of its ends");
                    reader.error("same_place", to.place, text);
                }
                Some((index?, [from.value, to.value]))
            };
            let edges = [edge("first", *indices.first()?)?, edge("second", *indices.get(1)?)?];
            let stretch = table.switch("stretch").is_some_and(|stretch| stretch.value);
            Some(SeamSpec { edges, stretch, place: table.place })
        };
        let seams: Vec<Option<SeamSpec>> = tables.iter().map(|table| one(self, table)).collect();
        seams.into_iter().collect()
    }

    /// The picture whose pixels a piece is given in.
    fn picture_of(&self, piece: &Checked, pictures: Pictures<'_>) -> Option<usize> {
        if piece.switch("fixed").is_some_and(|fixed| fixed.value) {
            return None;
        }
        let name = piece.text("picture")?;
        pictures.iter().position(|(known, _)| known.value == name.value)
    }

    /// How the piece in `table` is built up, `names` being all pieces and `pipes` all pipes with the picture that each runs on.
    pub(super) fn building(&mut self, table: &Checked, file: &Checked, pictures: Pictures<'_>) -> Option<Building> {
        let word = table.text("section")?;
        let profile = match word.value.as_str() {
            "rounded" => Profile::Rounded,
            "domed" => Profile::Domed,
            "bevelled" => Profile::Bevelled,
            "knife edge" => Profile::KnifeEdge,
            _ => Profile::Flat,
        };
        let (thickness, edge, land) = (table.length("thickness"), table.length("edge"), table.length("land")?);
        let layers = table.lengths("layers").map(|layers| layers.value);
        let thick = ["thickness", "layers", "pipe"].into_iter().any(|key| table.wrote(key));
        self.section_keys(table, &Placed::new(profile, word.place), thick);
        if let Some(thickness) = &thickness
            && land.value >= thickness.value
        {
            let text = format!(
                "a land of {} mm leaves nothing of {} mm of thickness to fall; make it smaller, or section = \"flat\"",
                land.value.to_mm(),
                thickness.value.to_mm()
            );
            self.error("out_of_range", land.place, text);
        }
        let pipe = match table.text("pipe") {
            None => Some(None),
            Some(pipe) => self.pipe_within(table, &pipe, file, pictures).map(Some),
        };
        if let Some(place) = table.place_of("channel").filter(|_| !table.wrote("pipe")) {
            let text = "channel says how a pipe lies in the piece; name that, as in pipe = \"shaft\", or leave it out";
            self.error("channel_alone", place, text);
        }
        let groove = table.text("channel")?.value == "groove";
        let on = self.lies_on(table, file);
        let stroke = |points: Vec<Placed<Point<Pixels>>>| -> Stroke { points.into_iter().map(|at| at.value).collect() };
        let split = table.strokes("split");
        let parts: Vec<Option<PartSpec>> = table.tables("part").iter().map(|part| self.part(part)).collect();
        if let Some(part) = table.tables("part").first().filter(|_| !table.wrote("split")) {
            let text = "parts are what a piece is split into; say along which lines, with split = [[[690.0, 520.0], [930.0, 520.0]]]";
            self.error("part_alone", part.place, text);
        }
        let lines: Vec<Option<LineSpec>> = table.tables("line").iter().map(|line| self.line(line)).collect();
        let slots: Vec<Option<SlotSpec>> = table.tables("slot").iter().map(|slot| self.slot(slot)).collect();
        if let Some(picture) = self.picture_of(table, pictures) {
            let of_split = split.iter().flat_map(|split| split.value.clone()).flatten();
            let of_lines =
                table.tables("line").iter().filter_map(|line| line.points("along")).flat_map(|all| all.value);
            let of_slots =
                table.tables("slot").iter().flat_map(|slot| [slot.point("from"), slot.point("to")]).flatten();
            let of_parts = table.tables("part").iter().filter_map(|part| part.point("at"));
            let all: Vec<Placed<Point<Pixels>>> = of_lines.chain(of_slots).chain(of_parts).collect();
            self.placed_on(picture, all.into_iter());
            // Lines that split may well begin beyond a cropped picture.
            let drawn = |at: Placed<Point<Pixels>>| super::Mark {
                picture,
                bounds: kurbo::Rect::from_points(at.value.raw(), at.value.raw()),
                drawn: true,
                place: at.place,
            };
            self.marks.extend(of_split.map(drawn));
        }
        Some(Building {
            thickness,
            profile: Placed::new(profile, word.place),
            edge,
            land,
            both_sides: match table.place_of("both_sides") {
                Some(_) => table.switch("both_sides")?.value,
                // What is flat all over is simply glued on itself.
                None => profile != Profile::Flat || table.wrote("pipe"),
            },
            layers,
            pipe: pipe?,
            groove,
            split: split.map(|split| Placed::new(split.value.into_iter().map(stroke).collect(), split.place)),
            parts: parts.into_iter().collect::<Option<_>>()?,
            lines: lines.into_iter().collect::<Option<_>>()?,
            slots: slots.into_iter().collect::<Option<_>>()?,
            on: on?,
        })
    }

    fn section_keys(&mut self, table: &Checked, profile: &Placed<Profile>, thick: bool) {
        let place = |key: &str| table.place_of(key).unwrap_or(table.place);
        let reaches = matches!(profile.value, Profile::Rounded | Profile::Bevelled);
        if profile.value != Profile::Flat && !thick {
            let text = "a section needs to know how thick the part is; give thickness = \"20 mm\", or its layers";
            self.error("no_thickness", profile.place, text);
        }
        if table.place_of("edge").is_some() && !reaches {
            let text = "edge says how far in a rounding or a bevel reaches; write section = \"rounded\" or \"bevelled\", or leave it out";
            self.error("edge_alone", place("edge"), text);
        }
        if table.place_of("land").is_some() && profile.value == Profile::Flat {
            let text = "land says what stands upright below a rounding, a bevel or a knife edge; write a section, or leave it out";
            self.error("land_alone", place("land"), text);
        }
        if table.place_of("both_sides").is_some() && !thick {
            let text = "both_sides says how layers lie; give thickness or layers, or leave it out";
            self.error("both_sides_alone", place("both_sides"), text);
        }
        if thick && table.wrote("foam") {
            let text = "a part of layers is not cut from one foam; leave out foam, or name the foams with layers = [\"10 mm\", \"5 mm\"]";
            self.error("foam_and_layers", place("foam"), text);
        }
        if let Some(place) = table.tables("part").iter().find_map(|part| part.place_of("foam")).filter(|_| thick) {
            let text = "the parts of a piece of layers are made of the same layers; leave out foam";
            self.error("foam_and_layers", place, text);
        }
        if thick && table.wrote("wrap") {
            let text = "a wrap is cut from one foam; leave out thickness, layers and pipe, and give foam";
            self.error("wrap_of_layers", place("wrap"), text);
        }
    }

    /// A pipe that lies in a piece runs on the same picture, or both are given at full size.
    fn pipe_within(
        &mut self,
        table: &Checked,
        pipe: &Placed<String>,
        file: &Checked,
        pictures: Pictures<'_>,
    ) -> Option<Placed<usize>> {
        let pipes = file.tables("pipe");
        let index = self.named("pipe", pipe, &names_of(pipes))?;
        let (its, own) = (picture_word(&pipes[index])?, frame(table)?);
        if !pipes[index].wrote("from") {
            let text = format!(
                "it is not marked where pipe \"{}\" runs; give it from and to, and their picture, so that its channel can be drawn",
                pipe.value
            );
            self.error("pipe_unmarked", pipe.place, text);
            return None;
        }
        match its {
            Some(its) if own == Frame::Picture(its.clone()) => {}
            // That there is no such picture is told already.
            Some(its) if !pictures.iter().any(|(known, _)| known.value == its) => {}
            Some(its) => {
                let text = format!(
                    "pipe \"{}\" runs on picture \"{its}\", where this piece is not; mark its run on the picture of the piece",
                    pipe.value
                );
                self.error("other_picture", pipe.place, text);
            }
            None if own == Frame::FullSize => {}
            None => {
                let text = format!(
                    "pipe \"{}\" runs in millimetres at full size, and this piece is on a picture; give the pipe that picture, and its run there",
                    pipe.value
                );
                self.error("other_picture", pipe.place, text);
            }
        }
        Some(Placed::new(index, pipe.place))
    }

    /// What a piece lies on; never itself in the end.
    fn lies_on(&mut self, table: &Checked, file: &Checked) -> Option<Vec<Placed<usize>>> {
        let pieces = file.tables("piece");
        let all_names = names_of(pieces);
        let names: Vec<Placed<String>> = all_names.iter().cloned().collect::<Option<_>>()?;
        let own = table.text("name")?;
        let mut all = Vec::new();
        for name in table.names("on").map(|names| names.value).unwrap_or_default() {
            let Some(index) = self.named("piece", &name, &all_names) else {
                all.push(None);
                continue;
            };
            if name.value != own.value && frame(table)? != frame(&pieces[index])? {
                let text = format!(
                    "\"{}\" is not on the picture of this piece, so that it is not known where on it this one lies; draw both on one \
                     picture, or both at full size",
                    name.value
                );
                self.error("other_picture", name.place, text);
            }
            if reaches(pieces, &names, index, &own.value) {
                let text = if name.value == own.value {
                    format!("\"{}\" cannot lie on itself; name the piece below it", own.value)
                } else {
                    format!(
                        "\"{}\" lies on \"{}\" in its turn, so that neither can be glued first; leave out one on",
                        name.value, own.value
                    )
                };
                self.error("circular", name.place, text);
            }
            all.push(Some(Placed::new(index, name.place)));
        }
        all.into_iter().collect()
    }

    fn part(&mut self, table: &Checked) -> Option<PartSpec> {
        let (copies, face_down) = (table.whole("copies"), table.whole("face_down"));
        if let (Some(copies), Some(face_down)) = (&copies, &face_down)
            && face_down.value > copies.value
        {
            let text =
                format!("{} face down of {} in all; raise copies or lower face_down", face_down.value, copies.value);
            self.error("out_of_range", face_down.place, text);
        }
        Some(PartSpec {
            at: table.point("at")?,
            name: table.text("name").map(|name| name.value),
            letter: table.text("letter"),
            foam: table.length("foam").map(|foam| foam.value),
            copies: copies.map(|copies| copies.value),
            face_down: face_down.map(|face_down| face_down.value),
        })
    }

    fn line(&mut self, table: &Checked) -> Option<LineSpec> {
        let word = table.text("for")?;
        let kind = match word.value.as_str() {
            "score" => LineKind::Score,
            "fold toward you" => LineKind::FoldToward,
            "fold away" => LineKind::FoldAway,
            "paint border" => LineKind::PaintBorder,
            _ => LineKind::Placement,
        };
        if let Some(place) = table.place_of("depth").filter(|_| kind != LineKind::Score) {
            let text = "depth is that of a score; write for = \"score\", or leave it out";
            self.error("depth_alone", place, text);
        }
        let points = table.points("along")?.value;
        for pair in points.windows(2) {
            if pair[0].value == pair[1].value {
                let Point { x, y, .. } = pair[1].value;
                let text = format!("[{x}, {y}] and the place before it are the same; leave one out");
                self.error("same_place", pair[1].place, text);
                return None;
            }
        }
        let along = points.into_iter().map(|at| at.value).collect();
        Some(LineSpec { kind, along, depth: table.length("depth"), place: table.place })
    }

    fn slot(&mut self, table: &Checked) -> Option<SlotSpec> {
        let (from, to) = (table.point("from")?, table.point("to")?);
        if from.value.distance(to.value) < LEAST_APART {
            let Point { x, y, .. } = to.value;
            let text = format!("both ends of the slot are in one place, [{x}, {y}]; mark them, or make it a hole");
            self.error("same_place", to.place, text);
        }
        Some(SlotSpec { ends: [from.value, to.value], width: table.length("width")?.value, place: table.place })
    }

    /// The form of a wrap, where the piece is one.
    pub(super) fn wrap(&mut self, piece: &Checked, file: &Checked) -> Option<Placed<Source>> {
        let table = piece.table("wrap")?;
        let place = piece.place_of("wrap").unwrap_or(piece.place);
        for key in ["outline", "through", "svg", "trace", "picture"] {
            if piece.wrote(key) {
                let text = format!("a wrap has a form of its own; leave out {key}, or leave out wrap");
                self.error("two_outlines", piece.place_of(key).unwrap_or(place), text);
            }
        }
        let form = table.text("form")?;
        let takes: &[&str] = match form.value.as_str() {
            "round" => &["inside", "pipe", "to_inside", "length", "slant"],
            "oval" => &["inside", "inside_across", "length"],
            "sided" => &["inside", "to_inside", "length", "sides"],
            "ball" => &["inside", "sides"],
            "cord" => &["strands", "thick", "pitch", "length", "tab"],
            "twisted" => &["width", "pitch", "length", "tab", "warmed"],
            _ => &["inside", "pipe", "width", "pitch", "length", "tab"],
        };
        let all = [
            "inside",
            "inside_across",
            "pipe",
            "to_inside",
            "length",
            "sides",
            "slant",
            "strands",
            "thick",
            "width",
            "pitch",
            "tab",
            "warmed",
        ];
        for key in all.into_iter().filter(|key| !takes.contains(key)) {
            if let Some(place) = table.place_of(key) {
                let text = format!("a wrap of form \"{}\" has no {key}; it takes {}", form.value, takes.join(", "));
                self.error("wrong_form", place, text);
            }
        }
        if !piece.wrote("foam") && !matches!(form.value.as_str(), "cord" | "twisted") {
            let text = "how large a wrap is rests on its foam; say which, as in foam = \"5 mm\"";
            self.error("no_foam", place, text);
        }
        let wrap = self.form(table, &form.value, file)?;
        Some(Placed::new(Source::Wrap(wrap), place))
    }

    fn form(&mut self, table: &Checked, form: &str, file: &Checked) -> Option<Wrap> {
        let mut need = |key: &str| {
            let found = table.length(key).map(|length| length.value);
            if found.is_none() && !table.wrote(key) {
                let text = format!("a wrap of form \"{form}\" needs {key}; add it, in mm");
                self.error("missing_key", table.place, text);
            }
            found
        };
        let given = |key: &str| table.length(key).map(|length| length.value);
        let tab = given("tab").unwrap_or(Length::ZERO);
        let number = |key: &str| table.number(key).map_or(0.0, |number| number.value);
        match form {
            "round" => {
                let length = need("length");
                let core = self.core(table, form, file);
                let (core, length) = (core?, length?);
                if let (Core::Diameter(from), Some(to)) = (core, given("to_inside"))
                    && to.to_mm() > from.to_mm()
                {
                    let text = format!(
                        "the wrap opens from {} to {} mm; give the larger end as inside",
                        from.to_mm(),
                        to.to_mm()
                    );
                    self.error("out_of_range", table.place_of("to_inside").unwrap_or(table.place), text);
                }
                let slant = number("slant");
                if slant > 0.0 && table.wrote("to_inside") {
                    let text = "only a straight sleeve has a slanting end; leave out slant, or to_inside";
                    self.error("wrong_form", table.place_of("slant").unwrap_or(table.place), text);
                }
                if table.wrote("to_inside") && table.wrote("pipe") {
                    let text = "a sleeve on a pipe is as wide at both ends; leave out to_inside, or give inside instead of pipe";
                    self.error("wrong_form", table.place_of("to_inside").unwrap_or(table.place), text);
                }
                Some(Wrap::Round { core, to: given("to_inside"), length, slant })
            }
            "oval" => {
                let (long, across, length) = (need("inside"), need("inside_across"), need("length"));
                let (long, across) = (long?, across?);
                if across.to_mm() > long.to_mm() {
                    let text =
                        format!("the oval is {} by {} mm; give the longer one as inside", long.to_mm(), across.to_mm());
                    self.error("out_of_range", table.place_of("inside_across").unwrap_or(table.place), text);
                }
                Some(Wrap::Oval { inside: [long, across], length: length? })
            }
            "sided" => {
                let (inside, length) = (need("inside"), need("length"));
                let sides = self.sides(table, form)?;
                let (inside, length) = (inside?, length?);
                if let Some(to) = given("to_inside").filter(|to| to.to_mm() > inside.to_mm()) {
                    let text = format!(
                        "the tube opens from {} to {} mm; give the larger end as inside",
                        inside.to_mm(),
                        to.to_mm()
                    );
                    self.error("out_of_range", table.place_of("to_inside").unwrap_or(table.place), text);
                }
                Some(Wrap::Sided { sides, inside, to: given("to_inside"), length })
            }
            "ball" => {
                let inside = need("inside");
                Some(Wrap::Ball { gores: self.sides(table, form)?, inside: inside? })
            }
            "cord" => {
                let [thick, pitch, length] = ["thick", "pitch", "length"].map(&mut need);
                let strands = table.whole("strands")?.value;
                Some(Wrap::Cord { strands, thick: thick?, pitch: pitch?, length: length?, tab })
            }
            "twisted" => {
                let [width, pitch, length] = ["width", "pitch", "length"].map(&mut need);
                let warmed = table.switch("warmed")?.value;
                Some(Wrap::Twisted { width: width?, pitch: pitch?, length: length?, tab, warmed })
            }
            _ => {
                let [width, pitch, length] = ["width", "pitch", "length"].map(&mut need);
                let core = self.core(table, form, file);
                Some(Wrap::Wound { core: core?, width: width?, pitch: pitch?, length: length?, tab })
            }
        }
    }

    fn sides(&mut self, table: &Checked, form: &str) -> Option<u32> {
        if !table.wrote("sides") {
            let text = format!("a {form} wrap needs sides; say how many, as in sides = 8");
            self.error("missing_key", table.place, text);
        }
        table.whole("sides").map(|sides| sides.value)
    }

    fn core(&mut self, table: &Checked, form: &str, file: &Checked) -> Option<Core> {
        match (table.wrote("inside"), table.wrote("pipe")) {
            (true, false) => table.length("inside").map(|inside| Core::Diameter(inside.value)),
            (false, true) => {
                let name = table.text("pipe")?;
                self.named("pipe", &name, &names_of(file.tables("pipe"))).map(Core::Pipe)
            }
            (both, _) => {
                let text = if both {
                    format!("the {form} wrap goes around inside and around pipe; keep one of the two")
                } else {
                    format!("a {form} wrap needs inside, the diameter that it goes around, or pipe, the name of a pipe")
                };
                self.error(if both { "two_lengths" } else { "missing_key" }, table.place, text);
                None
            }
        }
    }
}

/// The names of tables; `None` for one that did not pass.
type Names = Vec<Option<Placed<String>>>;

fn names_of(tables: &[Checked]) -> Names {
    tables.iter().map(|table| table.text("name")).collect()
}

/// The picture that a table names, if any; `None` where that did not pass.
fn picture_word(table: &Checked) -> Option<Option<String>> {
    let word = table.text("picture").map(|name| name.value);
    (word.is_some() || !table.wrote("picture")).then_some(word)
}

/// Where the numbers of a piece belong: pieces of one frame lie to one another as they are drawn.
#[derive(PartialEq)]
enum Frame {
    Picture(String),
    FullSize,
    /// A wrap has its own.
    Own(String),
}

/// `None` where what tells it did not pass.
fn frame(table: &Checked) -> Option<Frame> {
    if table.wrote("wrap") {
        return Some(Frame::Own(table.text("name")?.value));
    }
    let fixed = table.wrote("fixed").then(|| table.switch("fixed").map(|fixed| fixed.value));
    let fixed = fixed.unwrap_or(Some(false))?;
    if fixed && table.wrote("trace") {
        return None;
    }
    Some(match picture_word(table)? {
        Some(picture) if !fixed => Frame::Picture(picture),
        _ => Frame::FullSize,
    })
}

/// Whether the piece at `index` lies on the piece called `name`, or is it, over however many others.
fn reaches(pieces: &[Checked], names: &[Placed<String>], index: usize, name: &str) -> bool {
    let mut seen = vec![false; pieces.len()];
    let mut open = vec![index];
    while let Some(at) = open.pop() {
        if names[at].value == name {
            return true;
        }
        if std::mem::replace(&mut seen[at], true) {
            continue;
        }
        let below = pieces[at].names("on").map(|names| names.value).unwrap_or_default();
        open.extend(below.iter().filter_map(|below| names.iter().position(|known| known.value == below.value)));
    }
    false
}
