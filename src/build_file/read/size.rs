//! `[size]`: which of the things known is the size of the prop.

use super::{Pictures, Reader};
use crate::build_file::build::SizeFrom;
use crate::build_file::check::Checked;
use crate::problem::{Place, Placed};

impl Reader {
    pub(super) fn size(&mut self, file: &Checked, pictures: Pictures<'_>) -> Option<Placed<SizeFrom>> {
        let table = file.table("size");
        if table.is_none() && file.wrote("size") {
            return None;
        }
        let place =
            table.map_or_else(|| pictures.first().map_or(file.place, |(_, table)| table.place), |table| table.place);
        let (Some(table), true) = (table, table.is_some_and(|table| table.wrote("from"))) else {
            return self.only_source(file, pictures, place);
        };
        let from = table.text("from")?;
        let finished = table.length("finished");
        if from.value != "finished"
            && let Some(finished) = finished
        {
            let text = format!(
                "finished says how long the prop is only with from = \"finished\", and from is \"{}\"; keep one of \
                 the two",
                from.value
            );
            self.error("two_sizes", finished.place, text);
        }
        let given = Given::of(file, pictures);
        let size = match from.value.as_str() {
            "finished" => {
                if !table.wrote("finished") {
                    let text = "from = \"finished\" needs the length beside it: finished = \"1.42 m\"";
                    self.error("no_size", from.place, text);
                }
                SizeFrom::Finished(finished?.value)
            }
            "known lengths" => {
                self.needs(given.lengths, from.place, "from = \"known lengths\" needs a [[picture.NAME.known_length]]");
                SizeFrom::KnownLengths
            }
            "as pictured" => {
                let text = "from = \"as pictured\" needs a [picture.NAME.known_rectangle] of known size or a [[picture.NAME.known_length]]";
                self.needs(given.rectangle || given.lengths, from.place, text);
                SizeFrom::AsPictured
            }
            "hand" => {
                self.needs(given.hand, from.place, "from = \"hand\" needs the marked hand: [picture.NAME.hand]");
                self.needs(
                    given.wearer,
                    from.place,
                    "from = \"hand\" needs the one who carries the prop: [wearer] with height, and with fist or hand_length \
                     where they are measured",
                );
                SizeFrom::Hand
            }
            _ => {
                self.needs(
                    given.wearer,
                    from.place,
                    "from = \"figure\" needs the height of the one who carries the prop: [wearer]",
                );
                self.needs(
                    given.figure,
                    from.place,
                    "from = \"figure\" needs the marked figure: [picture.NAME.figure]",
                );
                SizeFrom::Figure
            }
        };
        Some(Placed::new(size, from.place))
    }

    fn needs(&mut self, there: bool, place: Place, text: &str) {
        if !there {
            self.error("no_size", place, text);
        }
    }

    /// The only thing that can tell the size when the maker does not choose.
    fn only_source(&mut self, file: &Checked, pictures: Pictures<'_>, place: Place) -> Option<Placed<SizeFrom>> {
        let given = Given::of(file, pictures);
        let mut sources = Vec::new();
        if let Some(table) = file.table("size")
            && table.wrote("finished")
        {
            sources.push(("finished", SizeFrom::Finished(table.length("finished")?.value)));
        }
        if given.lengths {
            sources.push(("known lengths", SizeFrom::KnownLengths));
        }
        if given.rectangle {
            sources.push(("as pictured", SizeFrom::AsPictured));
        }
        if given.figure && given.wearer {
            sources.push(("figure", SizeFrom::Figure));
        }
        // A hand is a check on other sources, and a source by itself only where there is no other.
        if given.hand && given.wearer && sources.is_empty() {
            sources.push(("hand", SizeFrom::Hand));
        }
        match sources.as_slice() {
            [(_, only)] => Some(Placed::new(*only, place)),
            [] if !given.needs_size => Some(Placed::new(SizeFrom::AsPictured, place)),
            [] => {
                let text = "nothing says yet how large the prop is; mark one of: a known length on the picture, a \
                            sheet of paper \
                            or a card lying in it, the figure that carries it together with [wearer] height, or write [size] \
                            with from = \"finished\" and finished = \"1.42 m\"";
                self.error("no_size", place, text);
                None
            }
            several => {
                let words: Vec<String> = several.iter().map(|(word, _)| format!("from = \"{word}\"")).collect();
                let text = format!(
                    "more than one thing can tell the size, so choose: write [size] with {}",
                    words.join(" or with ")
                );
                self.error("which_size", place, text);
                None
            }
        }
    }
}

/// What the file has that can tell a size, even where its values did not pass.
struct Given {
    lengths: bool,
    rectangle: bool,
    figure: bool,
    hand: bool,
    wearer: bool,
    needs_size: bool,
}

impl Given {
    fn of(file: &Checked, pictures: Pictures<'_>) -> Self {
        let any = |key: &str| pictures.iter().any(|(_, picture)| picture.wrote(key));
        // One whose size did not pass is there all the same.
        let sized = |rectangle: &Checked| rectangle.rectangle("size").is_none_or(|size| size.value.size.is_some());
        let pieces = file.tables("piece");
        let scales =
            |piece: &Checked| piece.wrote("picture") && !piece.switch("fixed").is_some_and(|fixed| fixed.value);
        Self {
            lengths: any("known_length"),
            rectangle: pictures.iter().filter_map(|(_, picture)| picture.table("known_rectangle")).any(sized),
            figure: any("figure"),
            hand: any("hand"),
            wearer: file.wrote("wearer"),
            needs_size: pieces.iter().any(scales),
        }
    }
}
