//! How pieces are built up, in words of the pages: what a piece says of itself, and what the first pages say of the whole.

use std::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_2, PI};

use kurbo::{Arc, BezPath, Rect, Shape as _, Size};

use super::lines::{Class, Drawing};
use crate::layers::Section;
use crate::pattern::{
    Assembled, Built, Changed, Joint, MarkingKind, Note, Piece, PipeFacts, PunchUse, SeamFacts, Step, Verdict,
};
use crate::space::Page;
use crate::text::{REGULAR, Wording, Words, fill};
use crate::units::Length;

/// What a piece says of itself besides how it is cut, a sentence each.
pub fn note_words(piece: &Piece, wording: Wording) -> Vec<String> {
    let words = wording.words;
    let mm = |mm: f64| wording.length(Length::mm(mm));
    let note = |note: &Note| match note {
        Note::Layer { number, count, part, flush } => {
            let template = match flush {
                _ if number == count => words.note_outer_layer,
                true => words.note_flush_layer,
                false => words.note_layer,
            };
            fill(template, &[&number.to_string(), &count.to_string(), part])
        }
        Note::Channel { pipe, breadth } => fill(words.note_channel, &[pipe, &mm(*breadth)]),
        Note::Groove { pipe, breadth, depth } => {
            fill(words.note_groove, &[pipe, &wording.tenths(*breadth), &wording.tenths(*depth)])
        }
        Note::OneOf(count) => fill(words.note_one_of, &[&count.to_string()]),
        Note::Closes => words.note_closes.to_owned(),
        Note::Tilted { degrees, setback } => fill(words.note_tilted, &[&wording.figure(*degrees), &mm(*setback)]),
        Note::Stretched(by) => fill(words.note_stretched, &[&format!("{:.0}", 100.0 * by)]),
        Note::Turns(pitch) => fill(words.note_turns, &[&mm(*pitch)]),
        Note::Template(by) if *by > 0.0 => fill(words.note_smaller, &[&wording.tenths(*by)]),
        Note::Template(by) => fill(words.note_larger, &[&wording.tenths(-by)]),
        Note::Shrinks(by) => fill(words.note_shrinks, &[&wording.figure(100.0 * by)]),
        Note::TakesUp => words.note_takes_up.to_owned(),
        Note::InStrips(count) => fill(words.note_in_strips, &[&count.to_string()]),
        Note::OnPrinted => words.note_on_printed.to_owned(),
        Note::PunchedFromBothSides => words.note_both_sides.to_owned(),
    };
    let mut all: Vec<String> = piece.notes.iter().map(note).collect();
    let has = |wanted: &dyn Fn(&MarkingKind) -> bool| piece.markings.iter().any(|marking| wanted(&marking.kind));
    let glued = has(&|kind| matches!(kind, MarkingKind::Glue(_)));
    let warmed = has(&|kind| matches!(kind, MarkingKind::Score { .. }))
        || piece.notes.iter().any(|note| matches!(note, Note::Stretched(_) | Note::Turns(_)));
    let tilted = piece.notes.iter().any(|note| matches!(note, Note::Tilted { .. } | Note::Groove { .. }));
    all.extend(glued.then(|| words.care_glue.to_owned()));
    all.extend(warmed.then(|| words.care_heat.to_owned()));
    all.extend(tilted.then(|| words.care_blade.to_owned()));
    all
}

/// Everything but the drawings, a line each under its heading; no heading without a line.
pub fn sections(all: &Assembled, wording: Wording) -> Vec<(&'static str, Vec<String>)> {
    let words = wording.words;
    let parts = all.built.iter().map(|built| part_words(built, &all.pipes, wording).join(" ")).collect();
    let pipes = all.pipes.iter().map(|pipe| pipe_words(pipe, wording));
    let joints = all.joints.iter().map(|joint| joint_words(&all.pipes, joint, wording));
    let steps = (1..).zip(&all.order).map(|(n, step)| format!("{n}. {}", step_words(step, wording)));
    let seams = all.seams.iter().filter_map(|seam| seam_words(seam, wording));
    let punches = all.punches.iter().map(|used| punch_words(used, wording)).collect();
    let changed = all.changed.iter().map(|changed| changed_words(changed, wording)).collect();
    let sections = [
        (words.building, parts),
        (words.pipes, pipes.chain(joints).collect()),
        (words.order, steps.chain(seams).collect()),
        (words.punches, punches),
        (words.changed, changed),
    ];
    sections.into_iter().filter(|(_, lines): &(_, Vec<String>)| !lines.is_empty()).collect()
}

/// What is other than for the first wearer.
pub fn changed_words(changed: &Changed, wording: Wording) -> String {
    let words = wording.words;
    let mm = |mm: f64| wording.length(Length::mm(mm));
    match changed {
        Changed::Pipe { name, outside: [before, now] } => {
            fill(words.changed_pipe, &[name, &wording.tenths(*now), &wording.tenths(*before)])
        }
        Changed::Part { letters, name, layers } => {
            let [before, now] = layers.clone().map(|layers| {
                let foams: Vec<String> = layers.foams.iter().map(|foam| wording.foam(Length::mm(*foam))).collect();
                fill(words.changed_layers, &[&mm(layers.whole), &foams.join(" + ")])
            });
            fill(words.changed_part, &[letters, name, &now, &before])
        }
        Changed::Joint { name, reach: [before, now] } => fill(words.changed_joint, &[name, &mm(*now), &mm(*before)]),
    }
}

/// A part of layers: how thick, of what, how deep the channel, how much is sanded.
fn part_words(built: &Built, pipes: &[PipeFacts], wording: Wording) -> Vec<String> {
    let words = wording.words;
    let mm = |mm: f64| wording.length(Length::mm(mm));
    let whole = built.thickness();
    let template = if built.halves == 2 { words.part_of_halves } else { words.part_of_layers };
    let foams: Vec<String> = built.stack.foams.iter().map(|foam| wording.foam(foam.sold_as)).collect();
    let mut all = vec![fill(template, &[&built.letters.join(" "), &built.name, &mm(whole), &foams.join(" + ")])];
    if let Some((index, bed)) = built.pipe {
        let (depth, pipe) = (built.stack.channel(), &pipes[index].pipe.name);
        if bed.groove {
            all.push(fill(
                words.part_groove,
                &[pipe, &wording.tenths(bed.breadth(built.halves)), &wording.tenths(depth)],
            ));
        } else {
            let squeezed = bed.outside - f64::from(built.halves) * depth;
            all.push(fill(words.part_channel, &[&mm(depth), pipe, &wording.tenths(squeezed)]));
        }
    }
    if built.deepest > 0.3 {
        all.push(fill(words.part_sanding, &[&wording.tenths(built.deepest)]));
    }
    all
}

fn pipe_words(pipe: &PipeFacts, wording: Wording) -> String {
    let words = wording.words;
    let mm = |mm: f64| wording.tenths(mm);
    let mut parts = vec![pipe.pipe.name.clone()];
    parts.extend(pipe.pipe.kind.clone());
    parts.push(fill(words.pipe_outside, &[&mm(pipe.pipe.outside)]));
    parts.extend(pipe.pipe.bore.map(|bore| fill(words.pipe_bore, &[&mm(bore)])));
    parts.extend(pipe.length.map(|length| fill(words.pipe_long, &[&wording.length(Length::mm(length))])));
    let measured = if pipe.pipe.bore_most.is_some() { words.pipe_measure } else { "" };
    format!("{}. {measured}", parts.join(", ")).trim_end().to_owned()
}

fn joint_words(pipes: &[PipeFacts], joint: &Joint, wording: Wording) -> String {
    let words = wording.words;
    let [inner, outer] = [joint.inner, joint.outer].map(|index| pipes[index].pipe.name.as_str());
    let reach = wording.length(Length::mm(joint.engagement));
    if joint.shim.strips.is_empty() {
        return fill(words.joint_glued, &[inner, &reach, outer]);
    }
    let strip = |strip: &crate::hardware::ShimStrip| {
        fill(words.shim_strip, &[&wording.foam(strip.sold_as), &wording.tenths(strip.length)])
    };
    let strips: Vec<String> = joint.shim.strips.iter().map(strip).collect();
    fill(words.joint_shimmed, &[inner, &reach, outer, &wording.tenths(joint.shim.gap), &strips.join(", ")])
}

/// One thing that is glued.
pub fn step_words(step: &Step, wording: Wording) -> String {
    let words = wording.words;
    match step {
        Step::Layers(letters) => fill(words.step_layers, &[&letters.join(", ")]),
        Step::Edges([a, b]) => fill(words.step_edges, &[a, b]),
        Step::Closed(letters) => fill(words.step_closed, &[&letters.join(", ")]),
        Step::Halves { part, pipe: None } => fill(words.step_halves, &[&part.join(", ")]),
        Step::Halves { part, pipe: Some(pipe) } => fill(words.step_halves_around, &[&part.join(", "), pipe]),
        Step::Onto { piece, on } => fill(words.step_onto, &[&piece.join(", "), &on.join(", ")]),
    }
}

fn punch_words(used: &PunchUse, wording: Wording) -> String {
    let punch = wording.length(used.punch);
    let count = used.count.to_string();
    let letters = used.letters.join(", ");
    match used.foam {
        Some(foam) => fill(wording.words.punch_of, &[&letters, &count, &punch, &wording.foam(foam)]),
        None => fill(wording.words.punch_plain, &[&letters, &count, &punch]),
    }
}

fn seam_words(seam: &SeamFacts, wording: Wording) -> Option<String> {
    let [a, b] = &seam.letters;
    (seam.verdict == Verdict::Stretch).then(|| {
        let lengths = seam.lengths.map(|mm| wording.tenths(mm));
        fill(wording.words.seam_stretched, &[a, &lengths[0], b, &lengths[1]])
    })
}

/// Em of the names of layers, and how long the lines to them are, mm.
const NAME: f64 = 2.0;
const LEAD: f64 = 2.0;

/// The letters of each layer, from the middle or the back outwards.
fn layer_names(built: &Built) -> Vec<String> {
    let count = built.stack.foams.len();
    let name = |letter: &String, layer: usize| if count == 1 { letter.clone() } else { format!("{letter}{layer}") };
    let of_layer = |layer| built.letters.iter().map(|letter| name(letter, layer)).collect::<Vec<_>>().join(" ");
    (1..=count).map(of_layer).collect()
}

/// Where the names of layers between these levels stand: each beside its own, but no closer than this.
fn spread(levels: &[f64], apart: f64) -> Vec<f64> {
    let mut at: Vec<f64> = levels.windows(2).map(|pair| f64::midpoint(pair[0], pair[1])).collect();
    for k in 1..at.len() {
        at[k] = at[k].max(at[k - 1] + apart);
    }
    let mut most = levels.last().map_or(0.0, |top| top - apart / 2.0);
    for at in at.iter_mut().rev() {
        *at = at.min(most);
        most = *at - apart;
    }
    at
}

/// The edge of a part cut across, from its outline inwards, its layers named, in a room of `width` by `high`: its size, and its scale
/// as one to how many.
pub(super) fn section_drawing(built: &Built, width: f64, high: f64, words: &Words) -> (Drawing<Page>, Size, u32) {
    /// What is farther inside shows nothing new, mm.
    const DEEP: f64 = 70.0;
    let section: &Section = &built.section;
    let reach = if section.follows_width() { built.broad } else { built.broad.min(section.edge + 25.0) }.min(DEEP);
    let thick = built.thickness();
    let names = layer_names(built);
    let named = names.iter().map(|name| REGULAR.width(name, NAME)).fold(0.0, f64::max) + LEAD + 0.9;
    let width = width - named - if built.halves == 2 { REGULAR.width(words.middle_plane, NAME) + 1.0 } else { 0.0 };
    let scale = (1..=10).find(|k| reach / f64::from(*k) <= width && thick / f64::from(*k) <= high).unwrap_or(10);
    let times = 1.0 / f64::from(scale);
    // y down: the upper half stands above the middle plane.
    let middle = built.stack.half();
    let place = |x: f64, z: f64| kurbo::Point::new(x * times, (middle - z) * times);
    let mut drawing = Drawing::default();
    let sides: &[f64] = if built.halves == 2 { &[1.0, -1.0] } else { &[1.0] };
    let levels = built.stack.levels();
    let apart = (NAME / times).min(middle / names.len() as f64);
    let (at, em) = (spread(&levels, apart), apart * times);
    for side in sides {
        for (k, pair) in levels.windows(2).enumerate() {
            let Some(inset) = section.inset(pair[0], built.broad).filter(|inset| *inset < reach) else { continue };
            let corners = [place(inset, side * pair[0]), place(reach, side * pair[1])];
            drawing.line(Class::SettingOut, Rect::from_points(corners[0], corners[1]).to_path(0.1));
            // The channel, at the inner end of what is drawn.
            let Some((_, bed)) = built.pipe else { continue };
            let far = (reach - bed.breadth(built.halves) / 2.0).max(inset);
            if k < built.stack.slotted {
                let slot = Rect::from_points(place(far, side * pair[0]), corners[1]);
                drawing.dashed(Class::Placement, slot.to_path(0.1), [0.8, 0.8]);
            } else if bed.groove && k == 0 {
                let mut groove = BezPath::new();
                groove.move_to(place(far, side * pair[0]));
                groove.line_to(place(reach, side * (pair[0] + reach - far)));
                drawing.dashed(Class::Placement, groove, [0.8, 0.8]);
            }
        }
        for ((name, pair), at) in names.iter().zip(levels.windows(2)).zip(&at) {
            let from = place(reach, side * f64::midpoint(pair[0], pair[1]));
            let to = kurbo::Point::new(from.x + LEAD, place(reach, side * at).y);
            drawing.straight(Class::SettingOut, from.into(), to.into());
            drawing.text(to.x + 0.4, to.y + REGULAR.cap_height(em) / 2.0, em, false, name.clone());
        }
        let mut surface = BezPath::new();
        for (k, line) in section.surface(built.broad).iter().enumerate() {
            if k == 0 {
                surface.move_to(place(line.p0.x, side * line.p0.y));
            }
            if line.p1.x <= reach {
                surface.line_to(place(line.p1.x, side * line.p1.y));
            }
        }
        surface.line_to(place(reach, side * section.surface(built.broad).last().map_or(0.0, |line| line.p1.y)));
        drawing.line(Class::Match, surface);
    }
    if let Some((_, bed)) = built.pipe {
        let radius = bed.outside / 2.0;
        let under = if bed.groove { bed.outside * FRAC_1_SQRT_2 } else { radius };
        let centre = place(reach, if built.halves == 2 { 0.0 } else { built.stack.channel() - under });
        // Its other half lies beyond what is drawn.
        let pipe = Arc::new(centre, (radius * times, radius * times), FRAC_PI_2, PI, 0.0);
        drawing.line(Class::Match, pipe.to_path(0.01));
    }
    if built.halves == 2 {
        let (from, to) = (place(0.0, 0.0), place(reach, 0.0));
        let end = to.x + named + 0.5;
        let plane = kurbo::Line::new(from, (end, to.y));
        drawing.dashed(Class::SettingOut, plane.to_path(0.1), [3.0, 0.8]);
        drawing.text(end + 0.5, to.y + REGULAR.cap_height(NAME) / 2.0, NAME, false, words.middle_plane);
    }
    (drawing, Size::new(reach, thick) * times, scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_thin_layers_stand_apart_and_within_the_part() {
        let at = spread(&[0.0, 10.0, 11.0, 12.0, 13.0], 2.0);
        assert!(at.windows(2).all(|pair| pair[1] - pair[0] > 2.0 - 1e-9), "{at:?}");
        assert!(at[0] > 1.0 - 1e-9 && at[3] < 12.0 + 1e-9, "{at:?}");
        assert_eq!(spread(&[0.0, 4.0, 8.0], 2.0), [2.0, 6.0]);
    }
}
