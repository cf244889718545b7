//! Byte offsets → lines and columns.

use std::ops::Range;

use crate::problem::Place;

/// Where the lines of a text start.
pub(super) struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        let behind_each_break = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1);
        Self { text, starts: [0].into_iter().chain(behind_each_break).collect() }
    }

    /// The place of the byte at `offset`; a byte order mark is no character of the first line.
    pub(super) fn place(&self, offset: usize) -> Place {
        let line = self.starts.partition_point(|start| *start <= offset);
        let start = self.starts[line - 1];
        let before = self.text.get(start..offset).unwrap_or_default();
        Place { line, column: before.trim_start_matches('\u{feff}').chars().count() + 1 }
    }

    /// The text at `span` for a message: on one line, and cut when long.
    pub(super) fn quote(&self, span: Option<Range<usize>>) -> String {
        const MOST: usize = 48;
        let words: Vec<&str> = span.and_then(|s| self.text.get(s)).unwrap_or("that").split_whitespace().collect();
        let line = words.join(" ");
        if line.chars().count() <= MOST { line } else { line.chars().take(MOST).chain(" …".chars()).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_and_lines_end_at_line_feeds() {
        let text = "\u{feff}a = 1\r\n# übel\r\nñandú = 2";
        let lines = Lines::new(text);
        let place_of = |word: &str| lines.place(text.find(word).expect(word));
        assert_eq!(place_of("a ="), Place { line: 1, column: 1 });
        assert_eq!(place_of("bel"), Place { line: 2, column: 4 });
        assert_eq!(place_of("2"), Place { line: 3, column: 9 });
        assert_eq!(lines.place(text.len()), Place { line: 3, column: 10 });
    }
}
