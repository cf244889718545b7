//! Every word that stands on paper, in one table, so that a language can be added.

/// The words of one language. `{}` marks a place that [`fill`] fills, in order.
#[derive(Clone, Copy, Debug)]
#[expect(missing_docs, reason = "each field is named after what it says, and says it")]
pub struct Words {
    pub top: &'static str,
    pub cut_one: &'static str,
    pub cut_many: &'static str,
    pub from_foam: &'static str,
    pub as_printed: &'static str,
    pub turned_over: &'static str,
    pub all_turned_over: &'static str,
    pub wide_high: &'static str,
    pub hole: &'static str,
    pub piece_goes_on: &'static str,
    pub page_of: &'static str,
    pub sheet_of: &'static str,
    pub pieces: &'static str,
    pub above: &'static str,
    pub below: &'static str,
    pub left: &'static str,
    pub right: &'static str,
    pub no_neighbours: &'static str,
    pub footer_legend: &'static str,
    pub footer_legend_whole: &'static str,
    pub cover_kind: &'static str,
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
    pub rests_on_finished: &'static str,
    pub rests_on_full_size: &'static str,
    pub pages_count: &'static str,
    pub piece_list: &'static str,
    pub piece_row: &'static str,
    pub on_pages: &'static str,
    pub more_pieces: &'static str,
    pub test_square: &'static str,
    pub test_measure: &'static str,
    pub test_good: &'static str,
    pub test_stretch: &'static str,
    pub test_stop: &'static str,
    pub how_to: &'static str,
    pub how_print: &'static str,
    pub how_tape: &'static str,
    pub how_tape_none: &'static str,
    pub how_cut: &'static str,
    pub lines: &'static str,
    pub line_cut: &'static str,
    pub line_join: &'static str,
    pub line_mark: &'static str,
    pub line_setting_out: &'static str,
    pub map: &'static str,
    pub map_sheet: &'static str,
    pub map_whole: &'static str,
    pub care: &'static str,
    pub cautions: &'static [&'static str],
    pub bookmark_cover: &'static str,
    pub bookmark_page: &'static str,
    pub subject: &'static str,
    pub layer_cut: &'static str,
    pub layer_join: &'static str,
    pub layer_setting_out: &'static str,
    pub layer_words: &'static str,
}

/// English.
pub const ENGLISH: Words = Words {
    top: "TOP",
    cut_one: "cut 1",
    cut_many: "cut {}",
    from_foam: "{} from {} foam",
    as_printed: "{}: {} as printed, {} with the paper turned over",
    turned_over: "{} with the paper turned over",
    all_turned_over: "{}: all with the paper turned over",
    wide_high: "{} wide, {} high",
    hole: "hole {}",
    piece_goes_on: "piece {}",
    page_of: "sheet of paper {} of {}",
    sheet_of: "joined sheet {} of {}",
    pieces: "pieces {}",
    above: "above {}",
    below: "below {}",
    left: "left {}",
    right: "right {}",
    no_neighbours: "no join on this page",
    footer_legend: "black line: cut here  ·  cross with a number: lay it on the same number  ·  dashed: trim, then overlap",
    footer_legend_whole: "black line: cut here  ·  everything grey is for reading and measuring only",
    cover_kind: "Full-size pattern",
    finished_size: "Finished size",
    long_by_wide: "{} long, {} wide",
    give_or_take: "{}, give or take {}",
    right_19_in_20: "(right 19 times in 20)",
    wearer: "Made for",
    wearer_with_shoes: "a wearer {} tall in shoes ({} barefoot)",
    wearer_barefoot: "a wearer {} tall",
    size_rests_on: "The size rests on {}.",
    rests_on_known_lengths: "known lengths of the finished prop",
    rests_on_as_pictured: "what was measured in the picture",
    rests_on_figure: "the figure that carries it, taken to be as tall as the wearer",
    rests_on_finished: "the finished length that was asked for",
    rests_on_full_size: "outlines that came at full size",
    pages_count: "{} sheets of {} paper with this one",
    piece_list: "Pieces",
    piece_row: "{}  {}",
    on_pages: "page {}",
    more_pieces: "and {} more; see the pages and pieces.csv",
    test_square: "Test square",
    test_measure: "Print this page alone at 100 % and measure the big frame: {} across and {} down.",
    test_good: "Both within 0.5 mm (1/64 in): good, print the rest.",
    test_stretch: "Up to 2 % off: your printer stretches; go on only if the rulers of all pages agree.",
    test_stop: "More than that: wrong print setting. Stop, choose 100 % or “actual size”, print again.",
    how_to: "How it goes together",
    how_print: "Print one-sided at 100 %, never “fit to page”. The ruler on every page must read the same as on this one.",
    how_tape: "Join page to page within a strip (1.1 to 1.2 …), then strip to strip. Trim the right and lower edge along the dashed line, lay each cross on the cross with the same number, tape.",
    how_tape_none: "No page has to be joined to another: every piece fits on its page.",
    how_cut: "Cut the paper on the middle of the black line, trace it onto the foam with the word TOP as drawn, then cut the foam. “Turned over” means: lay the paper face down.",
    lines: "Lines",
    line_cut: "cut",
    line_join: "page edge to trim where pages join",
    line_mark: "join mark",
    line_setting_out: "ruler, frame, arrow: to measure and read",
    map: "Map of the pages",
    map_sheet: "joined sheet {}: {}",
    map_whole: "single pages",
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
    bookmark_cover: "Cover: test square, pieces, how to",
    bookmark_page: "Page {}: {}",
    subject: "Full-size pattern; print at 100 %",
    layer_cut: "Cut lines",
    layer_join: "Joins and their marks",
    layer_setting_out: "Rulers and frames",
    layer_words: "Words",
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

    #[test]
    fn places_are_filled_in_order() {
        assert_eq!(fill(ENGLISH.wide_high, &["360 mm", "420 mm"]), "360 mm wide, 420 mm high");
        assert_eq!(fill("plain", &[]), "plain");
    }
}
