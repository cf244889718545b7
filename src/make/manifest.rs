//! What was made, for programs: the manifest `made.json`. All lengths in mm.

use serde::Serialize;

use super::documents::Paged;
use super::{Plan, TraceReport};
use crate::output::path_data;
use crate::problem::{Level, Problem};
use crate::shape::Round;
use crate::size::{FinishedReport, MeasureReport, SizeReport};
use crate::space::Pattern;
use crate::taping::CheckDistance;

/// The manifest.
#[derive(Clone, Debug, Serialize)]
#[expect(missing_docs, reason = "the names are those of the file, which DEVELOPERS.md describes")]
pub struct Manifest {
    pub version: u32,
    pub build: String,
    pub size: Option<SizeReport>,
    pub finished: FinishedReport,
    pub measures: Vec<MeasureReport>,
    pub pieces: Vec<PieceReport>,
    pub traced: Vec<TraceReport>,
    pub joined_sheets: Vec<SheetReport>,
    pub documents: Vec<DocumentReport>,
    /// Every file written, this one included.
    pub files: Vec<String>,
    pub problems: Vec<ProblemReport>,
}

#[derive(Clone, Debug, Serialize)]
pub struct PieceReport {
    pub letter: String,
    pub name: String,
    pub picture: Option<String>,
    pub copies: u32,
    pub face_down: u32,
    pub foam_mm: Option<f64>,
    pub fixed: bool,
    pub area_mm2: f64,
    pub perimeter_mm: f64,
    /// The outline alone, in the pattern frame of its picture.
    pub path: String,
    pub holes: Vec<HoleReport>,
    /// What the outline was made alike by; left out where the build file does not ask for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub symmetry: Option<SymmetryReport>,
    /// Circles and arcs of circles that the outline follows.
    pub arcs: Vec<ArcReport>,
    pub length_mm: f64,
    pub length_95: [f64; 2],
    /// As printed, across and down.
    pub size_mm: [f64; 2],
}

#[derive(Clone, Debug, Serialize)]
pub struct ArcReport {
    pub centre_mm: [f64; 2],
    pub radius_mm: f64,
    /// From the x axis, clockwise.
    pub start_degrees: f64,
    /// 360 or -360 for a whole circle, which can be punched.
    pub sweep_degrees: f64,
    /// How far the traced outline lay from it.
    pub rms_mm: f64,
    pub worst_mm: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct SymmetryReport {
    /// On the axis; the centre of turns.
    pub at_mm: [f64; 2],
    /// Direction of the axis, 0 to 180, clockwise from the x axis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axis_degrees: Option<f64>,
    pub repeats: u32,
    /// How far the outline lay from its own image before it was made alike.
    pub rms_mm: f64,
    pub worst_mm: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct HoleReport {
    pub at_mm: [f64; 2],
    pub diameter_mm: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct SheetReport {
    pub sheet: usize,
    pub size_mm: [f64; 2],
    pub pieces: Vec<PlacedReport>,
    pub marks: Vec<MarkReport>,
    /// Both ends of the line along which its strips are laid; left out where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub base_line_mm: Option<[[f64; 2]; 2]>,
    /// To be measured on the taped sheet; none of a single page.
    pub check_distances: Vec<CheckReport>,
    /// How far the worst corner of a page comes out from where it belongs, in half of all tapings and in 19 of 20; left out for
    /// a single page.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected_worst_corner_mm: Option<[f64; 2]>,
}

#[derive(Clone, Debug, Serialize)]
pub struct CheckReport {
    /// The ids of two marks.
    pub from: String,
    pub to: String,
    pub distance_mm: f64,
    /// Beyond this something is wrong.
    pub limit_mm: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct PlacedReport {
    pub letter: String,
    /// a, b, c, d, e, f as in SVG `matrix()`: from the piece's pattern frame to the joined sheet.
    pub to_sheet: [f64; 6],
}

#[derive(Clone, Debug, Serialize)]
pub struct MarkReport {
    pub id: String,
    pub at_mm: [f64; 2],
}

#[derive(Clone, Debug, Serialize)]
pub struct DocumentReport {
    pub file: String,
    pub paper: String,
    /// No correction for a printer is applied.
    pub correction: Option<String>,
    pub pages: Vec<PageReport>,
}

#[derive(Clone, Debug, Serialize)]
pub struct PageReport {
    pub page: usize,
    pub role: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheet: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strip: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub in_strip: Option<usize>,
    pub size_mm: [f64; 2],
    pub core_mm: [f64; 4],
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_mm: Option<[f64; 4]>,
    /// a, b, c, d, e, f as in SVG `matrix()`: from page mm to the joined sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to_sheet: Option<[f64; 6]>,
    pub pieces: Vec<String>,
}

#[derive(Clone, Debug, Serialize)]
#[expect(missing_docs, reason = "the names are those of the file, which DEVELOPERS.md describes")]
pub struct ProblemReport {
    pub level: Level,
    pub code: &'static str,
    pub text: String,
    #[serde(rename = "where", skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
}

impl ProblemReport {
    /// `problem` of the build file called `file`.
    pub fn new(problem: &Problem, file: &str) -> Self {
        Self {
            level: problem.level,
            code: problem.code,
            text: problem.text.clone(),
            place: problem.place.map(|place| format!("{file}:{place}")),
        }
    }
}

/// The document for a build that cannot be made.
pub fn failed(problems: &[Problem], file: &str) -> serde_json::Value {
    let problems: Vec<ProblemReport> = problems.iter().map(|problem| ProblemReport::new(problem, file)).collect();
    serde_json::json!({ "version": VERSION, "problems": problems })
}

const VERSION: u32 = 1;

impl Manifest {
    /// The manifest of `plan`, its documents as paged, and the names of all files.
    pub(super) fn new(plan: &Plan, documents: &[Paged], files: Vec<String>, build_file: &str) -> Self {
        let survey = &plan.survey;
        Self {
            version: VERSION,
            build: survey.build.name.clone(),
            size: survey.size.clone(),
            finished: survey.finished.clone(),
            measures: survey.measures.clone(),
            pieces: pieces(plan),
            traced: survey.traced.clone(),
            joined_sheets: sheets(plan),
            documents: documents.iter().map(|document| document.report(plan)).collect(),
            files,
            problems: survey.problems.iter().map(|problem| ProblemReport::new(problem, build_file)).collect(),
        }
    }
}

fn pieces(plan: &Plan) -> Vec<PieceReport> {
    let survey = &plan.survey;
    let report = |(piece, length): (&crate::pattern::Piece, &crate::size::Interval)| {
        let (width, height) = piece.size();
        PieceReport {
            letter: piece.letter.clone(),
            name: piece.name.clone(),
            picture: piece.picture.map(|index| survey.build.pictures[index].name.value.clone()),
            copies: piece.copies,
            face_down: piece.face_down,
            foam_mm: piece.foam.map(crate::units::Length::to_mm),
            fixed: piece.fixed,
            area_mm2: piece.area(),
            perimeter_mm: piece.perimeter(),
            path: path_data(piece.outline.raw()),
            holes: piece
                .holes
                .iter()
                .map(|hole| HoleReport { at_mm: [hole.at.x, hole.at.y], diameter_mm: hole.diameter.to_mm() })
                .collect(),
            symmetry: piece.symmetry.as_ref().map(|found| SymmetryReport {
                at_mm: [found.symmetry.centre.x, found.symmetry.centre.y],
                axis_degrees: found.symmetry.axis.map(f64::to_degrees),
                repeats: found.symmetry.turns,
                rms_mm: found.rms,
                worst_mm: found.worst,
            }),
            arcs: piece.rounds.iter().map(arc).collect(),
            length_mm: length.value,
            length_95: [length.low, length.high],
            size_mm: [width.to_mm(), height.to_mm()],
        }
    };
    survey.pieces.iter().zip(&survey.lengths).map(report).collect()
}

fn arc(round: &Round<Pattern>) -> ArcReport {
    ArcReport {
        centre_mm: [round.centre.x, round.centre.y],
        radius_mm: round.radius,
        start_degrees: round.start.to_degrees(),
        sweep_degrees: round.sweep.to_degrees(),
        rms_mm: round.rms,
        worst_mm: round.worst,
    }
}

fn check(distance: &CheckDistance) -> CheckReport {
    let [from, to] = distance.between.map(|number| number.to_string());
    CheckReport { from, to, distance_mm: distance.mm, limit_mm: distance.limit }
}

fn sheets(plan: &Plan) -> Vec<SheetReport> {
    let all = plan.layouts.iter().flat_map(|layout| &layout.sheets).zip(plan.tapings.iter().flatten());
    all.enumerate()
        .map(|(index, (sheet, taping))| SheetReport {
            sheet: index + 1,
            size_mm: [sheet.size.width, sheet.size.height],
            pieces: sheet
                .placed
                .iter()
                .map(|placed| PlacedReport {
                    letter: plan.survey.pieces[placed.piece].letter.clone(),
                    to_sheet: placed.to_sheet.to_affine().expect("pieces are moved and turned").as_coeffs(),
                })
                .collect(),
            marks: sheet
                .marks
                .iter()
                .map(|mark| MarkReport { id: mark.number.to_string(), at_mm: [mark.at.x, mark.at.y] })
                .collect(),
            base_line_mm: sheet.base_line.map(|line| line.map(|p| [p.x, p.y])),
            check_distances: taping.iter().flat_map(|taping| &taping.distances).map(check).collect(),
            expected_worst_corner_mm: taping.as_ref().map(|taping| taping.worst_corner),
        })
        .collect()
}
