//! Checked tables → [`Build`]: what no single value can tell, such as names that have to resolve.

mod building;
mod picture;
mod piece;
mod size;

pub(crate) use picture::{WEARER_HEADS, looks_wide};

use std::collections::BTreeMap;

use kurbo::Rect;
use toml_edit::Document;

use super::build::{Build, Ends, Mark, PaperSpec, PictureSpec, Wearer};
use super::check::{Checked, check, unresolved};
use super::mark::outside;
use super::place::Lines;
use crate::problem::{Place, Placed, Problem, Problems};
use crate::space::{Pixels, Point};
use crate::text::Language;
use crate::units::{Length, Shown};

/// Two ends nearer than this, in pixels, lie within the error of two clicks (common practice, no source).
pub(super) const LEAST_APART: f64 = 3.0;

/// What reading a build file gives.
#[derive(Clone, Debug)]
pub struct Reading {
    /// `None` exactly when one of the problems is an error.
    pub build: Option<Build>,
    /// Everything found, in the order of the file.
    pub problems: Problems,
    /// Its pictures, where all of them passed, whatever else did not.
    pub pictures: Option<Vec<PictureSpec>>,
}

impl Reading {
    /// The errors but those that say that nothing tells the size yet, or that there is no piece yet.
    pub fn errors_of_pictures(&self) -> Problems {
        let to_come = |code| matches!(code, "no_size" | "which_size" | "no_piece");
        self.problems.iter().filter(|p| p.is_error() && !to_come(p.code)).cloned().collect()
    }
}

/// Reads a build file, all of it: every problem is listed, each with its place.
pub fn read(text: &str) -> Reading {
    let lines = Lines::new(text);
    let document = match Document::parse(text) {
        Ok(document) => document,
        Err(error) => return Reading { build: None, problems: vec![not_toml(&error, &lines)], pictures: None },
    };
    let (checked, problems) = check(&document, &lines);
    let mut reader = Reader { problems, marks: Vec::new(), pictures: None };
    let build = reader.build(&checked);
    let Reader { mut problems, pictures, .. } = reader;
    problems.sort_by_key(|problem| problem.place);
    let stopped = problems.iter().any(|problem| problem.is_error());
    debug_assert!(stopped || build.is_some(), "whatever is missing was reported");
    Reading { build: build.filter(|_| !stopped), problems, pictures }
}

pub(super) fn not_toml(error: &toml_edit::TomlError, lines: &Lines<'_>) -> Problem {
    let place = lines.place(error.span().map_or(0, |span| span.start));
    let text = format!(
        "the file cannot be read from here on: {}; texts stand in double quotes, lists in [square brackets], and each \
         key has its own line and stands once in its table",
        error.message().trim_end_matches('.')
    );
    Problem::error("toml_syntax", text).at(place)
}

struct Reader {
    problems: Problems,
    marks: Vec<Mark>,
    pictures: Option<Vec<PictureSpec>>,
}

/// The pictures of the file, whether or not they passed.
type Pictures<'a> = &'a [(Placed<String>, Checked)];

impl Reader {
    fn error(&mut self, code: &'static str, place: Place, text: impl Into<String>) {
        self.problems.push(Problem::error(code, text).at(place));
    }

    fn warn(&mut self, code: &'static str, place: Place, text: impl Into<String>) {
        self.problems.push(Problem::warning(code, text).at(place));
    }

    /// Every part is read before any is missed, so that no problem hides another.
    fn build(&mut self, file: &Checked) -> Option<Build> {
        let pictures = file.named("picture");
        let wearer = file.table("wearer").map(|wearer| self.wearer(wearer));
        let other_heights = self.other_heights(file);
        let paper = file.table("paper").and_then(|paper| self.paper(paper));
        let foam_at_hand = self.foam_at_hand(file.tables("foam_at_hand"));
        let specs = self.pictures(pictures);
        self.pictures.clone_from(&specs);
        let finished = file.table("finished").map(|ends| self.ends(ends, pictures));
        let measures: Vec<_> = file.tables("measure").iter().map(|ends| self.ends(ends, pictures)).collect();
        self.unique("measure", file.tables("measure"));
        let pipes = self.pipes(file, pictures);
        let pieces = self.pieces(file, pictures);
        let seams = self.seams(file.tables("seam"), file.tables("piece"), pictures);
        let size = self.size(file, pictures);
        let sizes =
            pictures.iter().enumerate().filter_map(|(index, (_, table))| Some((index, table.pixels("pixels")?.value)));
        let outside: Problems = sizes.flat_map(|(index, size)| outside(&self.marks, index, size)).collect();
        self.problems.extend(outside);
        let build = file.table("build")?;
        Some(Build {
            name_place: build.text("name")?.place,
            name: build.text("name")?.value,
            units: match build.text("units")?.value.as_str() {
                "imperial" => Shown::Imperial,
                "both" => Shown::Both,
                _ => Shown::Metric,
            },
            language: match build.text("language")?.value.as_str() {
                "german" => Language::German,
                _ => Language::English,
            },
            date: build.text("date").map(|date| date.value),
            wearer: wearer.map_or(Some(None), |wearer| wearer.map(Some))?,
            other_heights: other_heights?,
            times: 1.0,
            ratio: 1.0,
            pictures: specs?,
            size: size?,
            finished: finished.map_or(Some(None), |ends| ends.map(Some))?,
            paper: paper?,
            foam_at_hand,
            cutting: Self::cutting(file),
            pipes: pipes?,
            seams: seams?,
            pieces: pieces?,
            measures: measures.into_iter().collect::<Option<_>>()?,
            marks: std::mem::take(&mut self.marks),
        })
    }

    fn other_heights(&mut self, file: &Checked) -> Option<Vec<Length>> {
        let Some(table) = file.table("other_heights") else {
            return (!file.wrote("other_heights")).then(Vec::new);
        };
        if !file.wrote("wearer") {
            let text = "other heights say how large the prop is for others, beside the wearer whom the marks are for; say who \
                        that is: [wearer] with height = \"168 cm\"";
            self.error("no_wearer", table.place, text);
        }
        let heights = table.lengths("heights")?.value;
        for (i, height) in heights.iter().enumerate() {
            if heights[..i].iter().any(|former| former.value == height.value) {
                let text = format!("{} mm is listed twice; each height once is enough", height.value.to_mm());
                self.error("duplicate", height.place, text);
            }
        }
        Some(heights.into_iter().map(|height| height.value).collect())
    }

    fn paper(&mut self, paper: &Checked) -> Option<PaperSpec> {
        let (sheets, overlap, margin) = (paper.papers("use"), paper.length("overlap"), paper.length("margin"));
        for (index, sheet) in sheets.iter().flat_map(|sheets| sheets.value.iter().enumerate()) {
            if sheets.iter().any(|sheets| sheets.value[..index].iter().any(|former| former.value == sheet.value)) {
                self.error(
                    "duplicate",
                    sheet.place,
                    format!("the sheet {} is listed twice; keep one", sheet.value.name),
                );
            }
        }
        let last_page_first = paper.switch("last_page_first")?.value;
        let check_distances = usize::try_from(paper.whole("check_distances")?.value).expect("a small count");
        Some(PaperSpec { sheets: sheets?.value, overlap: overlap?, margin: margin?, last_page_first, check_distances })
    }

    fn ends(&mut self, table: &Checked, pictures: Pictures<'_>) -> Option<Ends> {
        let picture = table.text("picture").and_then(|name| self.picture_named(&name, pictures));
        if let Some(picture) = picture {
            let marks = [table.point("from"), table.point("to")];
            self.placed_on(picture, marks.into_iter().flatten());
        }
        let (from, to) = self.two_ends(table)?;
        let name = table.text("name").map(|name| name.value).unwrap_or_default();
        Some(Ends { name, picture: picture?, from, to, place: table.place })
    }

    fn two_ends(&mut self, table: &Checked) -> Option<(Point<Pixels>, Point<Pixels>)> {
        let (from, to) = (table.point("from")?, table.point("to")?);
        let apart = from.value.distance(to.value);
        let Point { x, y, .. } = to.value;
        if apart == 0.0 {
            let text = format!("from and to are the same place, [{x}, {y}]; mark the two ends");
            self.error("same_place", to.place, text);
            return None;
        }
        if apart < LEAST_APART {
            let text = format!(
                "from and to are {apart:.2} px apart, within the error of two clicks; nothing shorter than {LEAST_APART} \
                 px can be measured, so mark ends that lie farther apart"
            );
            self.error("ends_too_near", to.place, text);
            return None;
        }
        Some((from.value, to.value))
    }

    fn picture_named(&mut self, name: &Placed<String>, pictures: Pictures<'_>) -> Option<usize> {
        let found = pictures.iter().position(|(known, _)| known.value == name.value);
        if found.is_none() {
            let known = pictures.iter().map(|(known, _)| known.value.as_str());
            let text = if pictures.is_empty() {
                format!("there is no picture \"{0}\"; add one with [picture.{0}]", name.value)
            } else {
                let instead = format!("a table [picture.{}] of its own", name.value);
                unresolved(&name.value, "picture", known, &instead)
            };
            self.error("unresolved", name.place, text);
        }
        found
    }

    fn placed_on(&mut self, picture: usize, marks: impl Iterator<Item = Placed<Point<Pixels>>>) {
        let mark = |at: Placed<Point<Pixels>>| Mark {
            picture,
            bounds: Rect::from_points(at.value.raw(), at.value.raw()),
            drawn: false,
            place: at.place,
        };
        self.marks.extend(marks.map(mark));
    }

    /// Two of `what` never have the same name.
    fn unique(&mut self, what: &str, tables: &[Checked]) {
        let mut seen: BTreeMap<String, Place> = BTreeMap::new();
        for name in tables.iter().filter_map(|table| table.text("name")) {
            if let Some(former) = seen.get(&name.value) {
                let text = format!(
                    "a {what} \"{}\" stands at line {} already; give each its own name",
                    name.value, former.line
                );
                self.error("duplicate", name.place, text);
            }
            seen.entry(name.value).or_insert(name.place);
        }
    }
}

/// What shoes add to a height at least and at most, where their heel and platform are known: 0.6 to 0.9 of what the heel
/// stands above the platform, and the platform (common practice, no source).
fn raised(heel: Length, platform: Length) -> [f64; 2] {
    [0.6, 0.9].map(|share| platform.to_mm() + share * (heel.to_mm() - platform.to_mm()))
}

impl Reader {
    fn wearer(&mut self, table: &Checked) -> Option<Wearer> {
        let given = |key| table.length(key).map_or(Length::ZERO, |length| length.value);
        let (heel, platform) = (given("heel"), given("platform"));
        let told = table.place_of("heel").is_some() || !table.wrote("heel");
        if let Some(place) = table.place_of("platform").filter(|_| told && platform > heel) {
            let text = format!(
                "a platform of {} mm needs a heel at least as high, and {}; give both as they stand on the floor",
                platform.to_mm(),
                if table.wrote("heel") {
                    format!("heel is {} mm", heel.to_mm())
                } else {
                    "no heel is given".to_owned()
                }
            );
            self.error("out_of_range", place, text);
        }
        let [least, most] = raised(heel, platform);
        let (mut shoes, mut shoes_sd) = (given("shoes"), Length::ZERO);
        match (table.place_of("shoes"), table.place_of("heel")) {
            (None, Some(_)) => {
                // Any share is as likely as another.
                shoes = Length::mm(f64::midpoint(least, most));
                shoes_sd = Length::mm((most - least).max(0.0) / 12.0_f64.sqrt());
            }
            (Some(place), Some(_)) if !(least - 1.0..=most + 1.0).contains(&shoes.to_mm()) => {
                let text = format!(
                    "shoes with a heel of {} mm and a platform of {} mm add some {least:.0} to {most:.0} mm, and shoes is {} mm, \
                     which counts; measure the wearer barefoot and in them",
                    heel.to_mm(),
                    platform.to_mm(),
                    shoes.to_mm()
                );
                self.warn("shoes_unlikely", place, text);
            }
            _ => {}
        }
        Some(Wearer {
            height: table.length("height")?,
            shoes,
            shoes_sd,
            hand_length: table.length("hand_length").map(|length| length.value),
            fist: table.length("fist").map(|length| length.value),
        })
    }
}
