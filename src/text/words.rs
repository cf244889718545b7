//! Every word that stands on paper, in one table a language, so that a language can be added.

use serde::Serialize;

use super::german::GERMAN;
use crate::units::{Length, Shown, show, show_at_least, show_foam, show_on_rule};

/// A language that pages can be printed in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Language {
    /// As in [`ENGLISH`].
    #[default]
    English,
    /// As in [`GERMAN`].
    German,
}

impl Language {
    /// Its table.
    pub const fn words(self) -> &'static Words {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

/// How a page tells something: in which words, and in which units.
#[derive(Clone, Copy, Debug)]
pub struct Wording {
    /// The words of its language.
    pub words: &'static Words,
    /// How sizes are shown.
    pub shown: Shown,
}

impl Wording {
    /// English, which the command line speaks.
    pub const fn english(shown: Shown) -> Self {
        Self { words: &ENGLISH, shown }
    }

    /// [`show`] in this language.
    pub fn length(&self, length: Length) -> String {
        self.local(&show(length, self.shown))
    }

    /// [`show_at_least`] in this language.
    pub fn at_least(&self, length: Length) -> String {
        self.local(&show_at_least(length, self.shown))
    }

    /// [`show_foam`] in this language, the millimetres always among it.
    pub fn foam(&self, thickness: Length) -> String {
        let both = if self.shown == Shown::Metric { Shown::Both } else { self.shown };
        self.local(&show_foam(thickness, both))
    }

    /// [`show_on_rule`] in this language.
    pub fn on_rule(&self, length: Length) -> String {
        self.local(&show_on_rule(length))
    }

    /// "180.0", always with its tenth: what is measured.
    pub fn figure(&self, mm: f64) -> String {
        self.local(&format!("{mm:.1}"))
    }

    /// "180.0 mm"
    pub fn tenths(&self, mm: f64) -> String {
        format!("{} mm", self.figure(mm))
    }

    /// "6 in"
    pub fn whole_inches(&self, inches: f64) -> String {
        self.local(&format!("{inches} in"))
    }

    /// A shown length, of digits and units alone, as this language writes it.
    fn local(&self, length: &str) -> String {
        length.replace('.', self.words.decimal).replace("in", self.words.inch)
    }
}

/// The words of one language. `{}` marks a place that [`fill`] fills, in order. It can be serialized, so that tests go
/// through all of it.
#[derive(Clone, Copy, Debug, Serialize)]
#[expect(missing_docs, reason = "each field is named after what it says, and says it")]
pub struct Words {
    pub code: &'static str,
    pub decimal: &'static str,
    pub inch: &'static str,
    pub top: &'static str,
    pub cut_one: &'static str,
    pub cut_many: &'static str,
    pub from_foam: &'static str,
    pub as_printed: &'static str,
    pub turned_over: &'static str,
    pub all_turned_over: &'static str,
    pub wide_high: &'static str,
    pub round_holes: &'static str,
    pub count_of: &'static str,
    pub page_of: &'static str,
    pub one_piece: &'static str,
    pub pieces: &'static str,
    pub above: &'static str,
    pub below: &'static str,
    pub left: &'static str,
    pub right: &'static str,
    pub no_neighbours: &'static str,
    pub footer_legend: &'static str,
    pub footer_legend_whole: &'static str,
    pub cover_kind: &'static str,
    pub for_height: &'static str,
    pub finished_size: &'static str,
    pub long_by_wide: &'static str,
    pub give_or_take: &'static str,
    pub right_19_in_20: &'static str,
    pub wearer: &'static str,
    pub wearer_with_shoes: &'static str,
    pub wearer_barefoot: &'static str,
    pub size_rests_on: &'static str,
    pub rests_on_known_lengths: &'static str,
    pub rests_on_as_pictured: &'static str,
    pub rests_on_figure: &'static str,
    pub rests_on_hand: &'static str,
    pub rests_on_finished: &'static str,
    pub rests_on_full_size: &'static str,
    pub by_known_lengths: &'static str,
    pub by_as_pictured: &'static str,
    pub by_figure: &'static str,
    pub by_figure_stature: &'static str,
    pub by_figure_head: &'static str,
    pub by_figure_shoulder: &'static str,
    pub by_figure_blend: &'static str,
    pub by_hand: &'static str,
    pub by_finished: &'static str,
    pub door: &'static str,
    pub size_chosen: &'static str,
    pub sizes_heading: &'static str,
    pub sizes_below: &'static str,
    pub bookmark_sizes: &'static str,
    pub pages_count: &'static str,
    pub pages_count_apart: &'static str,
    pub roll: &'static str,
    pub piece_list: &'static str,
    pub on_pages: &'static str,
    /// `words of piece {letter}, which lies on {page}`
    pub words_apart: &'static str,
    pub test_square: &'static str,
    pub test_measure: &'static str,
    pub test_good: &'static str,
    pub test_stretch: &'static str,
    pub test_stop: &'static str,
    pub how_to: &'static str,
    pub how_print: &'static str,
    pub how_tape: &'static str,
    pub how_tape_none: &'static str,
    pub how_trace: &'static str,
    pub how_foam: &'static str,
    pub how_inside: &'static str,
    pub how_on: &'static str,
    pub how_outside: &'static str,
    pub how_through: &'static str,
    pub how_turned: &'static str,
    pub lines: &'static str,
    pub line_cut: &'static str,
    pub line_join: &'static str,
    pub line_mark: &'static str,
    pub line_setting_out: &'static str,
    pub map: &'static str,
    pub map_left_out: &'static str,
    pub map_sheet: &'static str,
    pub set_number: &'static str,
    pub base_line: &'static str,
    pub how_base_line: &'static str,
    pub how_control: &'static str,
    pub misfit: &'static str,
    pub checks: &'static str,
    pub checks_how: &'static str,
    pub check_line: &'static str,
    pub care: &'static str,
    pub cautions: &'static [&'static str],
    pub label_cover: &'static str,
    pub label_cover_next: &'static str,
    pub label_sizes: &'static str,
    pub bookmark_cover: &'static str,
    pub bookmark_page: &'static str,
    pub subject: &'static str,
    pub layer_cut: &'static str,
    pub layer_join: &'static str,
    pub layer_setting_out: &'static str,
    pub layer_words: &'static str,
    pub score_at: &'static str,
    pub groove_at: &'static str,
    pub fold_toward: &'static str,
    pub fold_away: &'static str,
    pub paint_border: &'static str,
    pub to_mate: &'static str,
    pub tilt_at: &'static str,
    pub note_layer: &'static str,
    pub note_flush_layer: &'static str,
    pub note_outer_layer: &'static str,
    pub note_channel: &'static str,
    pub note_groove: &'static str,
    pub note_one_of: &'static str,
    pub note_closes: &'static str,
    pub note_tilted: &'static str,
    pub note_stretched: &'static str,
    pub note_turns: &'static str,
    pub note_smaller: &'static str,
    pub note_larger: &'static str,
    pub note_shrinks: &'static str,
    pub note_takes_up: &'static str,
    pub note_in_strips: &'static str,
    pub note_on_printed: &'static str,
    pub note_both_sides: &'static str,
    pub care_glue: &'static str,
    pub care_heat: &'static str,
    pub care_blade: &'static str,
    pub building: &'static str,
    pub part_of_halves: &'static str,
    pub part_of_layers: &'static str,
    pub part_channel: &'static str,
    pub part_groove: &'static str,
    pub part_sanding: &'static str,
    pub section_scale: &'static str,
    pub middle_plane: &'static str,
    pub pipes: &'static str,
    pub pipe_outside: &'static str,
    pub pipe_bore: &'static str,
    pub pipe_long: &'static str,
    pub pipe_measure: &'static str,
    pub joint_glued: &'static str,
    pub joint_shimmed: &'static str,
    pub shim_strip: &'static str,
    pub order: &'static str,
    pub step_layers: &'static str,
    pub step_edges: &'static str,
    pub step_closed: &'static str,
    pub step_halves: &'static str,
    pub step_halves_around: &'static str,
    pub step_onto: &'static str,
    pub punches: &'static str,
    pub punch_of: &'static str,
    pub punch_plain: &'static str,
    pub seam_stretched: &'static str,
    pub changed: &'static str,
    pub changed_pipe: &'static str,
    pub changed_part: &'static str,
    pub changed_layers: &'static str,
    pub changed_joint: &'static str,
    pub card_title: &'static str,
    pub card_intro: &'static str,
    pub card_square: &'static str,
    pub card_stack: &'static str,
    pub card_weigh: &'static str,
    pub card_scores: &'static str,
    pub card_strip_name: &'static str,
    pub card_strip: &'static str,
    pub card_punches: &'static str,
    pub card_glue: &'static str,
    pub line_score: &'static str,
    pub line_groove: &'static str,
    pub line_placement: &'static str,
    pub line_match: &'static str,
    pub line_tilt: &'static str,
    pub line_glue: &'static str,
    pub layer_score: &'static str,
    pub layer_fold: &'static str,
    pub layer_placement: &'static str,
    pub layer_match: &'static str,
    pub layer_glue: &'static str,
}

/// English.
pub const ENGLISH: Words = Words {
    code: "en",
    decimal: ".",
    inch: "in",
    top: "TOP",
    cut_one: "cut 1",
    cut_many: "cut {}",
    from_foam: "{} from {} foam",
    as_printed: "{}: {} as printed, {} with the paper turned over",
    turned_over: "{} with the paper turned over",
    all_turned_over: "{}: all with the paper turned over",
    wide_high: "{} wide, {} high",
    round_holes: "round holes: {}",
    count_of: "{} of {}",
    page_of: "sheet of paper {} of {}",
    one_piece: "piece {}",
    pieces: "pieces {}",
    above: "above {}",
    below: "below {}",
    left: "left {}",
    right: "right {}",
    no_neighbours: "no join on this page",
    footer_legend: "black line: cut here  ·  cross with a number: lay it on the same number  ·  dashed: trim right and lower, then overlap",
    footer_legend_whole: "black line: cut here  ·  everything grey is for reading and measuring only",
    cover_kind: "Full-size pattern",
    for_height: "{}, for {}",
    finished_size: "Finished size",
    long_by_wide: "Length {}; width {}.",
    give_or_take: "{}, give or take {}",
    right_19_in_20: "(right 19 times in 20)",
    wearer: "Made for {}.",
    wearer_with_shoes: "a wearer {} tall in shoes ({} barefoot)",
    wearer_barefoot: "a wearer {} tall",
    size_rests_on: "The size rests on {}.",
    rests_on_known_lengths: "known lengths of the finished prop",
    rests_on_as_pictured: "what was measured in the picture",
    rests_on_figure: "the figure that carries it, taken to be as tall as the wearer",
    rests_on_hand: "the hand at the prop, taken to be as large as the wearer's",
    rests_on_finished: "the finished length that was asked for",
    rests_on_full_size: "outlines that came at full size",
    by_known_lengths: "by the known lengths",
    by_as_pictured: "by the known rectangle",
    by_figure: "by the figure",
    by_figure_stature: "by the figure's stature",
    by_figure_head: "by the figure's head",
    by_figure_shoulder: "by the figure's shoulders",
    by_figure_blend: "between stature and head",
    by_hand: "by the hand",
    by_finished: "as asked for",
    door: "a door, 2000 mm high",
    size_chosen: "this pattern",
    sizes_heading: "Sizes",
    sizes_below: "All at one scale, not to be cut: what this pattern makes, and what else is marked would make of it.",
    bookmark_sizes: "Sizes",
    pages_count: "{} sheets of {} paper with this one",
    pages_count_apart: "Sheets: {} of {} with this one, then {} of {}.",
    roll: "{} roll",
    piece_list: "Pieces",
    on_pages: "page {}",
    words_apart: "words of piece {}, on page {}",
    test_square: "Test square",
    test_measure: "Print this page alone at 100 % and measure the big frame: {} across and {} down.",
    test_good: "Both within 0.5 mm (1/64 in): good, print the rest.",
    test_stretch: "Up to 2 % off: your printer stretches; go on only if the rulers of all pages agree.",
    test_stop: "More than that: wrong print setting. Stop, choose 100 % or “actual size”, print again.",
    how_to: "How it goes together",
    how_print: "Print one-sided at 100 %, never “fit to page”. The rulers on every page must be as long as they say.",
    how_tape: "Join page to page within a strip (1.1 to 1.2 …), then strip to strip. Trim the right and lower edge along the dashed line, lay each cross on the cross with the same number, held against the light, tape.",
    how_tape_none: "No page has to be joined to another: every piece fits on its page.",
    how_trace: "Cut the paper on the middle of the black line and trace it onto the foam with the word TOP as drawn.",
    how_foam: "Then cut the foam.",
    how_inside: "The pen is {} broad; cut the foam along the inside of its line, so that the line stays on the waste.",
    how_on: "The pen is {} broad; cut the foam on the middle of its line.",
    how_outside: "The pen is {} broad; cut the foam along the outside of its line, so that the line stays on the piece.",
    how_through: "Fix the paper on the foam with the word TOP as drawn and cut both at once, on the middle of the black line.",
    how_turned: "“Turned over” means: lay the paper face down. What is traced as printed is the outer face.",
    lines: "Lines",
    line_cut: "cut",
    line_join: "page edge to trim where pages join",
    line_mark: "join mark",
    line_setting_out: "ruler, frame, arrow: to measure and read",
    map: "Map of the pages",
    map_left_out: "Map (hatched: empty, left out)",
    map_sheet: "joined sheet {}: {}",
    set_number: "set {}",
    base_line: "base line {}",
    how_control: "Where a copy shop prints it: order it at 100 %, not fitted to the page, and measure the line of {} along the \
                  edges of every sheet; large printers shrink too, and paper grows with damp.",
    misfit: "Two rows of ticks beside a cross: the tick in line with its mate, counted from the long one, tells how many tenths of \
             a millimetre the join is off.",
    how_base_line: "The base line with figures runs straight through a long sheet: lay strip after strip along a taut thread or a \
                    long rule, so that the line follows it and its figures count on.",
    checks: "Check distances",
    checks_how: "On each sheet, taped but not cut, measure from cross to cross between these marks and write it down. Beyond the \
                 limit a join is wrong: find it and tape it again, do not stretch.",
    check_line: "sheet {}, marks {} to {}: {} ± {}",
    care: "Take care",
    cautions: &[
        "Product data sheets, event rules and local codes go first; these lines do not replace them.",
        "Blades: fresh edge, several light passes, hand behind the cut, on a cutting mat.",
        "Glue, primer, thinner: outdoors or strong extraction, no flame, spark or hot air near; a dust mask stops no vapour.",
        "Hot air: 400–600 °C; keep it moving, well aired, never over fresh glue. Do not scorch or laser-cut PVC.",
        "Sanding: outdoors or with extraction, particle mask and goggles; wipe, do not blow.",
        "Two-part clear coats may hold isocyanates: a cartridge mask is not enough. Choose water-based ones.",
        "Carrying: blunt soft tips, ask the event before you bring it, never swing it in a crowd, look up for wires.",
        "Pipe skeletons are light supports, not load-bearing. Finished foam burns: keep it from flames and hot lamps.",
    ],
    label_cover: "cover",
    label_cover_next: "cover {}",
    label_sizes: "sizes",
    bookmark_cover: "Cover: test square, pieces, how to",
    bookmark_page: "Page {}: {}",
    subject: "Full-size pattern; print at 100 %",
    layer_cut: "Cut lines",
    layer_join: "Joins and their marks",
    layer_setting_out: "Rulers and frames",
    layer_words: "Words",
    score_at: "score {} deep",
    groove_at: "groove {} deep",
    fold_toward: "fold toward you",
    fold_away: "fold away",
    paint_border: "paint ends here",
    to_mate: "to {}",
    tilt_at: "blade {}°",
    note_layer: "Layer {} of {} of part {}; the dotted line is where the next one lies.",
    note_flush_layer: "Layer {} of {} of part {}; the next one is as large and lies flush with it all around.",
    note_outer_layer: "Layer {} of {} of part {}, the outer one.",
    note_channel: "The slot is the channel for {}, {} broad.",
    note_groove: "Prick the ends of the two lines through and cut a groove for {} between them into the back: {} broad, {} deep, the blade tilted 45° on both sides.",
    note_one_of: "{} alike make one form, edge to edge.",
    note_closes: "The two straight edges meet; put that seam on the hidden side.",
    note_tilted: "Cut both long edges with the blade tilted {}° from square, this face the larger one: the inner face is {} narrower at each.",
    note_stretched: "Its outer face stretches by {} % when it is bent.",
    note_turns: "Once around in {}; fix both tabs.",
    note_smaller: "Drawn {} smaller all around, because cutting and coats add it.",
    note_larger: "Drawn {} larger all around, because sanding takes it off.",
    note_shrinks: "Drawn {} % larger, because this foam shrinks so much when it is heated: heat it before it is fitted.",
    note_takes_up: "Winding takes up 3 %, which it is longer by.",
    note_in_strips: "The channel leaves it in {} strips: write the letter on each.",
    note_on_printed: "Hatch and dotted outlines of other letters are for the copy as printed, not for the one turned over.",
    note_both_sides: "Punch its holes from both sides: it is thick.",
    care_glue: "Glue only on the hatch, on both faces, outdoors or with strong extraction, no flame or hot air near.",
    care_heat: "Hot air only moving, well aired, never over fresh glue; hold it bent until it is cool.",
    care_blade: "Fresh blade, several light passes, hand behind the cut.",
    building: "How it is built",
    part_of_halves: "{} “{}”: {} thick in two halves that mirror each other, each from the middle outwards {}.",
    part_of_layers: "{} “{}”: {} thick, from the back outwards {}.",
    part_channel: "The channel is {} deep in each half; {} is squeezed by {}.",
    part_groove: "{} lies in a groove of each half, {} broad and {} deep.",
    part_sanding: "Sand the steps down, {} at the deepest.",
    section_scale: "section, 1 : {}",
    middle_plane: "middle",
    pipes: "Pipes and rods",
    pipe_outside: "{} outside",
    pipe_bore: "{} inside",
    pipe_long: "{} long",
    pipe_measure: "Bores differ: measure it before you cut the foam.",
    joint_glued: "{} goes {} into {}; epoxy fills the gap. Roughen both, gloves on, let it set overnight.",
    joint_shimmed: "{} goes {} into {}, {} free all around, filled by {}. Foam centres, epoxy holds: gloves on, overnight.",
    shim_strip: "a strip of {} foam {} long, as wide as it goes in",
    order: "Order of gluing",
    step_layers: "Layers on each other: {}.",
    step_edges: "{} edge to edge with {}, mark on mark.",
    step_closed: "{}: its straight edges onto each other.",
    step_halves: "{}: its two halves onto each other.",
    step_halves_around: "{}: its two halves onto each other, with {} between them.",
    step_onto: "{} onto {}, inside the dotted outline.",
    punches: "Punches",
    punch_of: "{}: {} to be punched with {}, {} foam",
    punch_plain: "{}: {} to be punched with {}",
    seam_stretched: "{} ({}) meets {} ({}): stretch the shorter edge evenly.",
    changed: "Other than for the first wearer",
    changed_pipe: "{}: {} outside instead of {}.",
    changed_part: "{} “{}”: {} instead of {}.",
    changed_layers: "{} thick of {}",
    changed_joint: "{}: it reaches {} in instead of {}, with strips of its own.",
    card_title: "Foam test card",
    card_intro: "For {}: half an hour with one batch of foam, so that every rule goes by what it really does. Cut all of it from that foam, read, and write what you read into its test_card.",
    card_square: "Cut the square, 100.0 mm a side. Heat both faces with hot air until they are slightly glossy, let it cool, and measure both sides: square_after_heat.",
    card_stack: "Cut five of the small square, lay them on each other without pressing, and measure the height: stack_of_five.",
    card_weigh: "Weigh the large square first: ten times its grams, divided by the thickness in cm, are kg a cubic metre.",
    card_scores: "Cut each as deep as it says and open it with hot air: how wide each opens, in this order, is scores.",
    card_strip_name: "strip, {} wide",
    card_strip: "Bend the strip around your pipe, skin outside, without stretching, and cut it where it just closes: its length is strip, the diameter of the pipe strip_round. Where one strip is too short, cut a second.",
    card_punches: "Punch each disc and see which punch cuts clean; thick foam is punched from both sides.",
    card_glue: "Glue strips of the rest onto each other after three waits, such as 5, 10 and 15 minutes, pull them apart a day later, and keep to the wait that held best. The data sheet of the glue goes first: outdoors or with strong extraction, no flame or hot air near.",
    line_score: "score: cut to its depth, open it with hot air",
    line_groove: "groove for a pipe, cut into the back",
    line_placement: "another piece lies here",
    line_match: "match mark: to the same one of its mate",
    line_tilt: "edge cut with the blade tilted",
    line_glue: "glue",
    layer_score: "Scores",
    layer_fold: "Folds",
    layer_placement: "Placement outlines and paint borders",
    layer_match: "Match marks",
    layer_glue: "Glue",
};

/// `template` with its `{}` replaced by `values`, in order.
pub fn fill(template: &str, values: &[&str]) -> String {
    let mut parts = template.split("{}");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for (index, part) in parts.enumerate() {
        out.push_str(values.get(index).copied().unwrap_or_default());
        out.push_str(part);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::{BOLD, REGULAR};

    /// Every text of a table under its name; of a list, each under its number.
    fn texts(words: &Words) -> Vec<(String, String)> {
        let table = serde_json::to_value(words).expect("plain texts");
        let text = |value: &serde_json::Value| value.as_str().expect("a text").to_owned();
        let fields = table.as_object().expect("a table").iter();
        let all = fields.flat_map(|(name, value)| match value.as_array() {
            Some(list) => list.iter().enumerate().map(|(i, value)| (format!("{name} {i}"), text(value))).collect(),
            None => vec![(name.clone(), text(value))],
        });
        all.collect()
    }

    #[test]
    fn every_language_says_all_that_english_says_in_letters_of_the_font() {
        let english = texts(&ENGLISH);
        assert!(english.len() > 80 && english.iter().all(|(_, text)| !text.trim().is_empty()), "{english:?}");
        let german = texts(&GERMAN);
        assert_eq!(german.len(), english.len());
        for ((name, german), (english_name, english)) in german.iter().zip(&english) {
            assert_eq!(name, english_name);
            assert!(!german.trim().is_empty(), "{name} is empty");
            assert_ne!(german, english, "{name} is not translated");
            assert_eq!(german.matches("{}").count(), english.matches("{}").count(), "{name}: {german}");
            assert!(REGULAR.missing(german).is_empty() && BOLD.missing(german).is_empty(), "{name}: {german}");
        }
    }

    #[test]
    fn numbers_and_inches_are_written_as_the_language_has_them() {
        let wording = |shown| Wording { words: &GERMAN, shown };
        assert_eq!(wording(Shown::Both).length(Length::mm(95.25)), "95,3 mm (3 3/4 Zoll)");
        assert_eq!(wording(Shown::Metric).at_least(Length::mm(0.11)), "0,2 mm");
        assert_eq!(wording(Shown::Metric).foam(Length::mm(12.7)), "12,7 mm (1/2 Zoll)");
        assert_eq!(wording(Shown::Metric).on_rule(Length::mm(180.0)), "7 3/32 Zoll");
        assert_eq!(wording(Shown::Metric).tenths(180.0), "180,0 mm");
        assert_eq!(Wording::english(Shown::Metric).tenths(180.0), "180.0 mm");
    }

    #[test]
    fn places_are_filled_in_order() {
        assert_eq!(fill(ENGLISH.wide_high, &["360 mm", "420 mm"]), "360 mm wide, 420 mm high");
        assert_eq!(fill("plain", &[]), "plain");
    }
}
