//! Problems and results as lines for a person.

use std::fmt::Write as _;

use crate::drawing::{changed_words, sections};
use crate::make::{FindReport, FoundReport, Plan};
use crate::pattern::Piece;
use crate::printer::{Cause, Side};
use crate::problem::{Level, Problem};
use crate::shape::Found;
use crate::space::Pattern;
use crate::taping::{Fault, FaultKind, Verdict};
use crate::text::Wording;
use crate::units::{Length, Shown, show, show_at_least};

/// One problem: where, how bad, what, and the line of the file it is about.
pub(super) fn problem(problem: &Problem, file: &str, text: &str) -> String {
    let level = match problem.level {
        Level::Error => "error",
        Level::Warning => "warning",
        Level::Note => "note",
    };
    let Some(place) = problem.place else { return format!("{level}: {}", problem.text) };
    let mut out = format!("{file}:{place}: {level}: {}", problem.text);
    if let Some(line) = text.lines().nth(place.line.saturating_sub(1)).filter(|line| line.chars().count() < 160) {
        let _ = write!(out, "\n    {line}\n    {}^", " ".repeat(place.column.saturating_sub(1)));
    }
    out
}

/// What `check` shows: finished size, estimates, pieces, pages.
pub(super) fn survey(plan: &Plan) -> String {
    let survey = &plan.survey;
    let shown = survey.build.units;
    let mm = |value: f64| show(Length::mm(value), shown);
    let with = |value: f64, [low, high]: [f64; 2]| match (high - low) / 2.0 {
        half if half < 0.05 => mm(value),
        half => format!("{}, give or take {}", mm(value), show_at_least(Length::mm(half), shown)),
    };
    let mut out = String::new();
    let finished = &survey.finished;
    let _ = writeln!(out, "{}", survey.build.name);
    let odds = if finished.length_95 == [finished.length_mm; 2] { "" } else { ": right 19 times in 20" };
    let _ = writeln!(out, "  length  {}{odds}", with(finished.length_mm, finished.length_95));
    let _ = writeln!(out, "  width   {}", with(finished.width_mm, finished.width_95));
    if finished.by == "outlines" {
        let _ = writeln!(out, "  (no ends are marked: length over the places farthest apart, width the narrowest way)");
    }
    for measure in &survey.measures {
        let _ = writeln!(out, "  {}  {}", measure.name, with(measure.mm, measure.mm_95));
    }
    for picture in survey.size.iter().flat_map(|size| &size.pictures) {
        let _ = writeln!(out, "Picture {}: {:.3} mm a pixel, by {}", picture.picture, picture.mm_per_px, picture.by);
        for estimate in &picture.estimates {
            let verdict = estimate.verdict.unwrap_or("nothing to compare it with");
            let _ = writeln!(out, "  {}  {:.4}  {verdict}", estimate.name, estimate.factor);
        }
    }
    let _ = writeln!(out, "Pieces");
    for (piece, length) in survey.pieces.iter().zip(&survey.lengths) {
        let (width, height) = piece.size();
        let _ = writeln!(
            out,
            "  {}  {}: {} wide, {} high; longest {}; {}",
            piece.letter,
            piece.name,
            show(width, shown),
            show(height, shown),
            with(length.value, [length.low, length.high]),
            crate::drawing::cut_words(piece, Wording::english(shown))
        );
        if let Some(circles) = circles(piece, shown) {
            let _ = writeln!(out, "     {circles}");
        }
        if let Some(found) = &piece.symmetry {
            let _ = writeln!(out, "     {}", alike(found));
        }
    }
    out.push_str(&building(plan));
    for (layout, tapings) in plan.layouts.iter().zip(&plan.tapings) {
        let papers: Vec<&str> = layout.core.papers.iter().map(|paper| paper.name.as_str()).collect();
        let pages = layout.tiles.len();
        let _ = writeln!(
            out,
            "Pages of pattern on {}: {pages}, and the cover before them; in rows and columns of pages no fewer than {} do",
            papers.join(", "),
            layout.least_pages
        );
        for (sheet, taping) in tapings.iter().enumerate() {
            let Some(taping) = taping else { continue };
            let letters: Vec<&str> =
                layout.sheets[sheet].placed.iter().map(|placed| survey.pieces[placed.piece].letter.as_str()).collect();
            let [half, most] = taping.worst_corner.map(|off| show_at_least(Length::mm(off), shown));
            let _ = writeln!(
                out,
                "  joined sheet {} ({}): taped by its marks, the worst corner is off by {half} in half of all tapings, by no \
                 more than {most} in 19 of 20",
                sheet + 1,
                letters.join(" ")
            );
        }
    }
    out
}

/// Layers, pipes, seams, punches, and the order of gluing, as the pages tell them.
fn building(plan: &Plan) -> String {
    let wording = Wording::english(plan.survey.build.units);
    let sections = sections(&plan.survey.building, wording);
    let mut out = String::new();
    for (heading, lines) in sections {
        let _ = writeln!(out, "{heading}");
        for line in lines {
            let _ = writeln!(out, "  {line}");
        }
    }
    out
}

/// What is other in a pattern for another wearer, a line each.
pub(super) fn changed(plan: &Plan) -> Vec<String> {
    let wording = Wording::english(plan.survey.build.units);
    let changed = &plan.survey.building.changed;
    changed.iter().map(|changed| format!("  {}", changed_words(changed, wording))).collect()
}

/// Why a test square was printed as it was.
pub(super) fn causes(sides: &[Side], causes: &[Cause]) -> String {
    let read: Vec<String> = sides
        .iter()
        .map(|side| {
            format!("{:.1} mm for {:.1}: {:.1} %", side.read, side.should_be, 100.0 * side.read / side.should_be)
        })
        .collect();
    let mut out = format!("Read: {}.\n", read.join("; "));
    let likely = causes.iter().filter(|cause| cause.sure >= 0.005);
    for cause in likely {
        let factor = cause.factor.map_or_else(String::new, |factor| format!(" ({:.1} %)", 100.0 * factor));
        let _ = writeln!(out, "  {:3.0} in 100: {}{factor}", 100.0 * cause.sure, cause.what);
    }
    if let Some(first) = causes.first() {
        let _ = writeln!(out, "{}", first.next);
    }
    out
}

/// What readings on a taped sheet say.
pub(super) fn verdict(verdict: &Verdict) -> String {
    let Verdict::Wrong(faults) = verdict else {
        return "Every reading is as near as taping and reading let expect: nothing has to be taped again.\n"
            .to_owned();
    };
    let part = |(strip, place): (usize, Option<usize>)| match place {
        Some(place) => format!("page {strip}.{place}"),
        None => format!("strip {strip}"),
    };
    let told = |fault: &Fault| {
        let Some(between) = fault.between else {
            let way = match fault.kind {
                FaultKind::StretchAcross => " from left to right of the sheet",
                FaultKind::StretchDown => " from top to bottom of the sheet",
                _ => "",
            };
            let large = if fault.mm > 0.0 { "large" } else { "small" };
            let mm = fault.mm.abs();
            return format!("no join, but all pages are printed too {large}{way}, by {mm:.1} mm on each metre");
        };
        let [lies, moved] = between.map(part);
        let what = match (fault.kind, fault.mm > 0.0) {
            (FaultKind::Gap, true) => "are too far apart",
            (FaultKind::Gap, false) => "lie too far over each other",
            (FaultKind::Slip, _) => "have slid along each other",
            _ => "are turned against each other, which opens one end of their join",
        };
        format!("{lies} and {moved} {what}, by {:.1} mm", fault.mm.abs())
    };
    let mut out = String::from("Something is wrong. The likeliest causes:\n");
    let likely = faults.iter().filter(|fault| fault.sure >= 0.05).count().max(1);
    for fault in &faults[..likely] {
        let _ = writeln!(out, "  {:3.0} in 100: {}", 100.0 * fault.sure, told(fault));
    }
    let others = &faults[likely..];
    if !others.is_empty() {
        let sure: f64 = others.iter().map(|fault| fault.sure).sum();
        let _ = writeln!(out, "  {:3.0} in 100: one of {} others, none of them likely", 100.0 * sure, others.len());
    }
    if faults[0].sure < 0.5 {
        out.push_str(
            "That is not sure: read more distances, from one end to a mark on every strip, and judge again.\n",
        );
    }
    out.push_str(match faults[0].between {
        Some(_) => "Open the likeliest join, lay its marks over each other again, and read once more; do not stretch the paper.\n",
        None => {
            "Measure the test square again: where it is as much off, the printer does it. Go on only if that much hardly matters for \
             this prop, else mend the printer's scale and print all pages again; nothing has to be taped again.\n"
        }
    });
    out
}

/// What was found in one picture, and what became of it.
pub(super) fn found(report: &FindReport, again: bool) -> Vec<String> {
    let name = &report.picture;
    let Some((first, others)) = report.found.split_first() else { return Vec::new() };
    let sized = |found: &FoundReport| {
        let [[x, y], ..] = found.corners;
        format!("{} at ({x:.0}, {y:.0}), its sides known to {:.2} px", found.size, found.sd_px)
    };
    let mut lines = vec![if report.placed {
        format!("{name}: {}; the known rectangle on it has places of its own, so it is kept as it is", sized(first))
    } else if report.marked && !again {
        format!(
            "{name}: {}; the build file has a known rectangle on it and keeps it (--again replaces it)",
            sized(first)
        )
    } else if report.marked {
        format!("{name}: {}; written in place of its known rectangle, with how far its size may be off", sized(first))
    } else {
        format!("{name}: {}; written as its known rectangle", sized(first))
    }];
    let written = !report.placed && (!report.marked || again);
    lines.extend(others.iter().map(|other| {
        let end = match (written, other.in_plane) {
            (true, true) => "written as a further rectangle, to be used and compared",
            (_, false) => {
                "not written, because it does not lie in one plane with the first: if it is this one that lies in the plane of the \
                 prop, mark it by hand instead"
            }
            (false, true) => "not written",
        };
        format!("{name}: also {}; {end}", sized(other))
    }));
    lines
}

/// How a piece was made alike, and how unlike it was.
fn alike(found: &Found<Pattern>) -> String {
    let Found { symmetry, rms, worst } = found;
    let ways = [
        symmetry.axis.map(|axis| format!("both halves alike, axis at {:.1}°", axis.to_degrees())),
        (symmetry.turns > 1).then(|| format!("the same after {:.1}° of turn", 360.0 / f64::from(symmetry.turns))),
    ];
    let ways: Vec<String> = ways.into_iter().flatten().collect();
    format!("made {}; they differed by {rms:.2} mm rms, {worst:.2} mm at worst", ways.join(", "))
}

/// The circles that a piece follows, as "circles: 8 of 15 mm, 1 of 116 mm; the outline strayed by 0.02 mm at most".
fn circles(piece: &Piece, shown: Shown) -> Option<String> {
    let whole = || piece.rounds.iter().filter(|round| round.is_whole());
    let counted = crate::drawing::sizes_words(whole().map(|round| 2.0 * round.radius), Wording::english(shown))?;
    let worst = whole().map(|round| round.worst).fold(0.0, f64::max);
    Some(format!("circles: {counted}; the outline strayed by {worst:.2} mm at most"))
}
