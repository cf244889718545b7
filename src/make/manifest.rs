//! What was made, for programs: the manifest `made.json`. All lengths in mm.

use serde::Serialize;

use super::documents::Paged;
use super::{Plan, TraceReport};
use crate::build_file::Profile;
use crate::drawing::{changed_words, note_words, step_words};
use crate::output::path_data;
use crate::pattern::{Assembled, Built, Marking, MarkingKind, Verdict};
use crate::problem::{Level, Problem};
use crate::shape::Round;
use crate::size::{FinishedReport, MeasureReport, SizeReport};
use crate::space::Pattern;
use crate::taping::CheckDistance;
use crate::units::Length;

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
    pub building: BuildingReport,
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
    /// The name in the build file of what it is, or is a part or a layer of.
    pub of: String,
    /// What is drawn on it and not cut; left out where nothing is.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub markings: Vec<MarkingReport>,
    /// What its page tells of it besides; left out where nothing is.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

/// Something drawn on a piece, in its frame.
#[derive(Clone, Debug, Serialize)]
pub struct MarkingReport {
    /// "score", "fold toward you", "fold away", "paint border", "placement", "glue", "match" or "tilt".
    pub kind: &'static str,
    pub path: String,
    /// The letter of the piece that is put there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mate: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strokes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub depth_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opens_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees: Option<f64>,
}

/// How it goes together.
#[derive(Clone, Debug, Serialize)]
pub struct BuildingReport {
    pub parts: Vec<PartReport>,
    pub pipes: Vec<PipeReport>,
    pub joints: Vec<JointReport>,
    pub seams: Vec<SeamReport>,
    pub punches: Vec<PunchReport>,
    /// In an order in which nothing hides where the next is glued, in words.
    pub order: Vec<String>,
    /// What is other than for the first wearer, in words.
    pub changed: Vec<String>,
}

#[derive(Clone, Debug, Serialize)]
pub struct PartReport {
    pub letters: Vec<String>,
    pub of: String,
    pub section: &'static str,
    /// Of the finished part.
    pub thickness_mm: f64,
    pub asked_mm: Option<f64>,
    /// 2: two halves that mirror each other.
    pub halves: u32,
    /// Of one half, from the middle or the back outwards, as measured.
    pub layers_mm: Vec<f64>,
    /// Heights at which layers begin, and how far each has come in there where the part is broadest.
    pub levels_mm: Vec<f64>,
    pub insets_mm: Vec<f64>,
    pub land_mm: f64,
    pub edge_mm: f64,
    pub deepest_sanding_mm: f64,
    /// Of one half; left out without a pipe.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel_depth_mm: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
pub struct PipeReport {
    pub name: String,
    pub kind: Option<String>,
    pub outside_mm: f64,
    pub bore_mm: Option<f64>,
    pub bore_most_mm: Option<f64>,
    pub length_mm: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
pub struct JointReport {
    pub inner: String,
    pub outer: String,
    pub gap_mm: f64,
    pub squeeze: f64,
    /// Foam as sold, and length of its strip.
    pub strips_mm: Vec<[f64; 2]>,
    pub engagement_mm: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct SeamReport {
    pub between: [String; 2],
    pub lengths_mm: [f64; 2],
    /// "fits", "stretch" or "too unlike".
    pub verdict: &'static str,
    pub strokes: u32,
}

#[derive(Clone, Debug, Serialize)]
pub struct PunchReport {
    pub diameter_mm: f64,
    pub foam_mm: Option<f64>,
    pub count: u32,
    pub letters: Vec<String>,
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
            building: building(plan),
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
            foam_mm: piece.foam.map(Length::to_mm),
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
            of: survey.build.pieces[piece.of].name.value.clone(),
            markings: piece.markings.iter().map(marking).collect(),
            notes: note_words(piece, survey.build.wording()),
        }
    };
    survey.pieces.iter().zip(&survey.lengths).map(report).collect()
}

fn marking(marking: &Marking) -> MarkingReport {
    let plain = |kind| MarkingReport {
        kind,
        path: path_data(marking.path.raw()),
        mate: None,
        strokes: None,
        depth_mm: None,
        opens_mm: None,
        degrees: None,
    };
    match &marking.kind {
        MarkingKind::Score { depth, opens } => {
            MarkingReport { depth_mm: Some(*depth), opens_mm: Some(*opens), ..plain("score") }
        }
        MarkingKind::Groove { breadth, depth } => {
            MarkingReport { depth_mm: Some(*depth), opens_mm: Some(*breadth), ..plain("groove") }
        }
        MarkingKind::FoldToward => plain("fold toward you"),
        MarkingKind::FoldAway => plain("fold away"),
        MarkingKind::PaintBorder => plain("paint border"),
        MarkingKind::Placement(mate) => MarkingReport { mate: mate.clone(), ..plain("placement") },
        MarkingKind::Glue(mate) => MarkingReport { mate: Some(mate.clone()), ..plain("glue") },
        MarkingKind::Match { mate, strokes } => {
            MarkingReport { mate: Some(mate.clone()), strokes: Some(*strokes), ..plain("match") }
        }
        MarkingKind::Tilt(degrees) => MarkingReport { degrees: Some(*degrees), ..plain("tilt") },
    }
}

fn building(plan: &Plan) -> BuildingReport {
    let survey = &plan.survey;
    let Assembled { built, pipes, joints, order, punches, seams, changed, .. } = &survey.building;
    let wording = survey.build.wording();
    let name = |pipe: usize| pipes[pipe].pipe.name.clone();
    BuildingReport {
        parts: built.iter().map(|built| part(built, &survey.build.pieces[built.of].name.value)).collect(),
        pipes: pipes
            .iter()
            .map(|facts| PipeReport {
                name: facts.pipe.name.clone(),
                kind: facts.pipe.kind.clone(),
                outside_mm: facts.pipe.outside,
                bore_mm: facts.pipe.bore,
                bore_most_mm: facts.pipe.bore_most,
                length_mm: facts.length,
            })
            .collect(),
        joints: joints
            .iter()
            .map(|joint| JointReport {
                inner: name(joint.inner),
                outer: name(joint.outer),
                gap_mm: joint.shim.gap,
                squeeze: joint.shim.squeeze,
                strips_mm: joint.shim.strips.iter().map(|strip| [strip.sold_as.to_mm(), strip.length]).collect(),
                engagement_mm: joint.engagement,
            })
            .collect(),
        seams: seams
            .iter()
            .map(|seam| SeamReport {
                between: seam.letters.clone(),
                lengths_mm: seam.lengths,
                verdict: match seam.verdict {
                    Verdict::Fits => "fits",
                    Verdict::Stretch => "stretch",
                    Verdict::TooUnlike => "too unlike",
                },
                strokes: seam.strokes,
            })
            .collect(),
        punches: punches
            .iter()
            .map(|used| PunchReport {
                diameter_mm: used.punch.to_mm(),
                foam_mm: used.foam.map(Length::to_mm),
                count: used.count,
                letters: used.letters.clone(),
            })
            .collect(),
        order: order.iter().map(|step| step_words(step, wording)).collect(),
        changed: changed.iter().map(|changed| changed_words(changed, wording)).collect(),
    }
}

fn part(built: &Built, of: &str) -> PartReport {
    let levels = built.stack.levels();
    let below_top = &levels[..levels.len() - 1];
    PartReport {
        letters: built.letters.clone(),
        of: of.to_owned(),
        section: match built.section.profile {
            Profile::Flat => "flat",
            Profile::Rounded => "rounded",
            Profile::Domed => "domed",
            Profile::Bevelled => "bevelled",
            Profile::KnifeEdge => "knife edge",
        },
        thickness_mm: built.thickness(),
        asked_mm: built.asked,
        halves: built.halves,
        layers_mm: built.stack.foams.iter().map(|foam| foam.thickness).collect(),
        insets_mm: below_top.iter().filter_map(|z| built.section.inset(*z, built.broad)).collect(),
        levels_mm: levels,
        land_mm: f64::from(built.halves) * built.section.land,
        edge_mm: built.section.edge,
        deepest_sanding_mm: built.deepest,
        channel_depth_mm: built.pipe.map(|_| built.stack.channel()),
    }
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
