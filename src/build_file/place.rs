//! Byte offsets → lines and columns.

use std::ops::Range;

use crate::problem::Place;

/// Where the lines of a text start.
pub(super) struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
    /// Offsets of the bytes that only go on with a character; so columns cost no walk, however long a line is.
    inner: Vec<usize>,
}

impl<'a> Lines<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        // A byte order mark is no character of the first line.
        let first = if text.starts_with('\u{feff}') { '\u{feff}'.len_utf8() } else { 0 };
        let behind_each_break = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1);
        Self {
            text,
            starts: [first].into_iter().chain(behind_each_break).collect(),
            inner: (0..text.len()).filter(|at| !text.is_char_boundary(*at)).collect(),
        }
    }

    /// The place of the byte at `offset`.
    pub(super) fn place(&self, offset: usize) -> Place {
        let offset = offset.max(self.starts[0]);
        let line = self.starts.partition_point(|start| *start <= offset);
        let start = self.starts[line - 1];
        let inner_before = |end: usize| self.inner.partition_point(|at| *at < end);
        Place { line, column: offset - start - (inner_before(offset) - inner_before(start)) + 1 }
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
