//! A build file → what the page shows of it, every length in words.

use kurbo::{BezPath, Shape as _};
use serde_json::{Value as Json, json};

use crate::build_file::{read, way_to};
use crate::make::{Files, Plan, plan, survey};
use crate::output::{path_data, preview_png};
use crate::problem::Problem;
use crate::space::{Map, Pattern, Pixels};
use crate::units::{Length, Shown as Units, show, show_at_least};

/// What was found out about one text.
#[derive(Default)]
pub(super) struct Shown {
    /// For the page.
    pub(super) json: Json,
    /// The pieces beside the wearer; none where there are problems.
    pub(super) beside: Option<Vec<u8>>,
    /// What can be seen straight.
    pub(super) straight: Vec<Straight>,
}

/// A picture that can be straightened.
pub(super) struct Straight {
    pub(super) picture: String,
    pub(super) map: Map<Pixels, Pattern>,
    /// Two corners of the pattern, between which there is something to see.
    pub(super) reach: [[f64; 2]; 2],
}

/// Height of the picture beside the wearer, in pixels.
const BESIDE: u32 = 720;

/// Goes the whole way of `text`, as `check` does.
pub(super) fn shown(text: &str, files: &dyn Files) -> Shown {
    let reading = read(text);
    let told = |problems: &[Problem]| problems.iter().map(|problem| told(problem, text)).collect::<Vec<Json>>();
    let stopped = |problems: &[Problem]| Shown { json: json!({ "problems": told(problems) }), ..Shown::default() };
    let Some(build) = reading.build else { return stopped(&reading.problems) };
    let before = reading.problems;
    let plan = match survey(build, before.clone(), files).and_then(plan) {
        Ok(plan) => plan,
        Err(errors) => return stopped(&[before, errors].concat()),
    };
    Shown { json: of_plan(&plan, told(&plan.survey.problems)), beside: Some(beside(&plan)), straight: straight(&plan) }
}

/// A problem, and the way to what it is about.
fn told(problem: &Problem, text: &str) -> Json {
    let at = problem.place.map(|place| way_to(text, place));
    json!({
        "level": problem.level, "code": problem.code, "text": problem.text, "at": at, "line": problem.place.map(|place| place.line),
    })
}

fn of_plan(plan: &Plan, problems: Vec<Json>) -> Json {
    let survey = &plan.survey;
    let units = survey.build.units;
    let finished = &survey.finished;
    let pieces = survey.drawn.iter().zip(&survey.build.pieces).enumerate().map(|(i, (piece, spec))| {
        let (width, height) = piece.size();
        json!({
            "index": spec.index, "letter": piece.letter, "name": piece.name,
            "size": format!("{} wide, {} high", show(width, units), show(height, units)),
            "longest": sure(survey.drawn_lengths[i].value, [survey.drawn_lengths[i].low, survey.drawn_lengths[i].high], units),
            "drawn": survey.on_pictures[i].as_ref().map(|path| path_data(path.raw())),
            "traced": survey.traced.iter().any(|traced| traced.index == spec.index),
            "copies": piece.copies, "face_down": piece.face_down, "foam": piece.foam.map(|foam| show(foam, units)),
        })
    });
    let pictures = survey.size.iter().flat_map(|size| &size.pictures).map(|picture| {
        let estimates = picture.estimates.iter().map(|estimate| {
            json!({ "name": estimate.name, "verdict": estimate.verdict.unwrap_or("nothing to compare it with") })
        });
        json!({
            "name": picture.picture, "mm_per_px": picture.mm_per_px, "by": picture.by,
            "estimates": estimates.collect::<Vec<Json>>(),
        })
    });
    json!({
        "problems": problems,
        "finished": {
            "by": finished.by, "mm": finished.length_mm,
            "length": sure(finished.length_mm, finished.length_95, units),
            "width": sure(finished.width_mm, finished.width_95, units),
        },
        "measures": survey.measures.iter().map(|m| json!({ "name": m.name, "length": sure(m.mm, m.mm_95, units) })).collect::<Vec<Json>>(),
        "pictures": pictures.collect::<Vec<Json>>(),
        "pieces": pieces.collect::<Vec<Json>>(),
        "layouts": layouts(plan),
    })
}

/// "1415 mm, give or take 22 mm"
fn sure(mm: f64, [low, high]: [f64; 2], units: Units) -> String {
    let half = (high - low) / 2.0;
    let value = show(Length::mm(mm), units);
    if half < 0.05 { value } else { format!("{value}, give or take {}", show_at_least(Length::mm(half), units)) }
}

/// Which page falls where, in mm of each sheet.
fn layouts(plan: &Plan) -> Vec<Json> {
    let names = |layout: &crate::paper::Layout| -> Vec<String> {
        layout.core.papers.iter().map(|paper| paper.name.clone()).collect()
    };
    let one = |layout: &crate::paper::Layout| {
        let sheets = layout.sheets.iter().enumerate().map(|(index, sheet)| {
            let tiles = layout.tiles.iter().filter(|tile| tile.sheet == index);
            let tiles = tiles.map(|tile| {
                let field = tile.field;
                json!({ "name": tile.name(), "field": [field.x0, field.y0, field.width(), field.height()] })
            });
            let outlines = sheet.placed.iter().map(|placed| {
                let path = placed.to_sheet.path(&plan.survey.pieces[placed.piece].outline, f64::INFINITY);
                json!({ "letter": plan.survey.pieces[placed.piece].letter, "path": path_data(path.raw()) })
            });
            json!({
                "size": [sheet.size.width, sheet.size.height],
                "tiles": tiles.collect::<Vec<Json>>(), "outlines": outlines.collect::<Vec<Json>>(),
            })
        });
        json!({ "papers": names(layout), "pages": layout.tiles.len(), "sheets": sheets.collect::<Vec<Json>>() })
    };
    plan.layouts.iter().map(one).collect()
}

fn beside(plan: &Plan) -> Vec<u8> {
    let (drawing, size) = plan.beside_wearer();
    preview_png(&drawing, size, BESIDE)
}

/// What a straightened view of each picture with a rectangle shows: the rectangle, and a fifth of it around.
fn straight(plan: &Plan) -> Vec<Straight> {
    let pictures = plan.survey.build.pictures.iter().zip(&plan.survey.maps);
    let one = |(spec, map): (&crate::build_file::PictureSpec, &Map<Pixels, Pattern>)| {
        let known = spec.known_rectangle.as_ref()?;
        let mut around = BezPath::new();
        for (i, corner) in known.corners.value.iter().enumerate() {
            let at = map.point(*corner).raw();
            if i == 0 { around.move_to(at) } else { around.line_to(at) }
        }
        let reach = around.bounding_box();
        let room = 0.2 * reach.width().max(reach.height());
        let reach = reach.inflate(room, room);
        let reach = [[reach.x0, reach.y0], [reach.x1, reach.y1]];
        Some(Straight { picture: spec.name.value.clone(), map: *map, reach })
    };
    pictures.filter_map(one).collect()
}

/// The outline that a text of SVG path data draws, in lines and cubics alone; `None` where it is none.
pub(super) fn plain_path(text: &str) -> Option<String> {
    let path = BezPath::from_svg(text).ok()?;
    let plain: BezPath = path
        .elements()
        .iter()
        .scan(kurbo::Point::ZERO, |pen, element| {
            let from = *pen;
            *pen = element.end_point().unwrap_or(from);
            Some(match *element {
                kurbo::PathEl::QuadTo(by, to) => {
                    let raised = kurbo::QuadBez::new(from, by, to).raise();
                    kurbo::PathEl::CurveTo(raised.p1, raised.p2, to)
                }
                other => other,
            })
        })
        .collect();
    Some(path_data(&plain))
}

#[cfg(test)]
mod tests {
    use std::io;

    use super::*;

    struct None;

    impl Files for None {
        fn read(&self, _: &str) -> io::Result<Vec<u8>> {
            Err(io::ErrorKind::NotFound.into())
        }
    }

    #[test]
    fn a_build_is_shown_with_its_pages_and_one_with_an_error_with_the_way_to_it() {
        let text = "[build]\nname = \"Vane\"\n[[piece]]\nname = \"vane\"\nfixed = true\noutline = \"M 0 0 H 400 V 100 H 0 Z\"\n";
        let found = shown(text, &None);
        assert_eq!(found.json["finished"]["width"], "100 mm");
        assert_eq!(found.json["pieces"][0]["size"], "400 mm wide, 100 mm high");
        assert_eq!(found.json["layouts"][0]["sheets"][0]["tiles"].as_array().map(Vec::len), Some(2));
        assert!(found.beside.is_some_and(|png| png.starts_with(b"\x89PNG")));
        let stopped = shown(&text.replace("fixed = true", "copies = 0"), &None);
        assert_eq!(stopped.json["problems"][0]["at"], json!(["piece", 0, "copies"]), "{}", stopped.json);
        assert!(stopped.json["finished"].is_null() && stopped.beside.is_none());
    }

    #[test]
    fn path_data_becomes_lines_and_cubics() {
        let plain = plain_path("M 0 0 H 10 Q 15 5 10 10 L 0 10 Z").expect("a path");
        assert!(plain.chars().all(|c| !c.is_alphabetic() || "MLCZ".contains(c)), "{plain}");
        assert_eq!(plain_path("M 0"), Option::None);
    }
}
