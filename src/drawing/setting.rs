//! Lines of words: broken to a width, or made to fit one.

use crate::text::Face;

/// Whether `next` belongs to the number that `word` ends with: a fraction or a unit of it.
fn belongs(word: &str, next: &str) -> bool {
    let unit = next.trim_matches(|c: char| !c.is_alphanumeric());
    let fraction = next.contains('/') && next.starts_with(|c: char| c.is_ascii_digit());
    word.ends_with(|c: char| c.is_ascii_digit()) && (fraction || ["mm", "cm", "m", "in", "Zoll", "px"].contains(&unit))
}

/// The words of `text`, a number with its fraction and unit as one, unless that is wider than `width`.
fn words(face: &Face, text: &str, size: f64, width: f64) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let longer = all.last().filter(|last| belongs(last, word)).map(|last| format!("{last} {word}"));
        match longer.filter(|longer| face.width(longer, size) <= width) {
            Some(longer) => *all.last_mut().expect("it has a last one") = longer,
            None => all.push(word.to_owned()),
        }
    }
    all
}

/// `text` broken at its spaces into lines of at most `width` mm, a number never apart from its unit. A word wider than that is
/// broken between letters.
pub(crate) fn wrap(face: &Face, text: &str, size: f64, width: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in words(face, text, size, width) {
        let longer = if line.is_empty() { word.clone() } else { format!("{line} {word}") };
        if face.width(&longer, size) <= width {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            if !line.is_empty() && face.width(&line, size) + face.width(letter.encode_utf8(&mut [0; 4]), size) > width {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// `text`, cut short with an ellipsis where it is wider than `width` mm.
pub(crate) fn shorten(face: &Face, text: &str, size: f64, width: f64) -> String {
    if face.width(text, size) <= width {
        return text.to_owned();
    }
    let mut short: String = text.to_owned();
    while !short.is_empty() && face.width(&short, size) + face.width("…", size) > width {
        short.pop();
    }
    short.trim_end().to_owned() + "…"
}

/// The largest of `sizes`, and the lines of `text` at that size, where it takes no more lines than are allowed with it; cut short at
/// the last of them where none is enough.
pub(crate) fn fitted(face: &Face, text: &str, width: f64, sizes: &[(f64, usize)]) -> (f64, Vec<String>) {
    let ways = sizes.iter().map(|&(size, most)| (size, most, wrap(face, text, size, width)));
    let mut last = (0.0, Vec::new());
    for (size, most, mut lines) in ways {
        if lines.len() <= most {
            return (size, lines);
        }
        lines.truncate(most);
        if let Some(end) = lines.last_mut() {
            *end = shorten(face, &format!("{end} …"), size, width);
        }
        last = (size, lines);
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::REGULAR;

    #[test]
    fn no_line_is_wider_than_asked_and_no_letter_is_lost() {
        let text = "cut 2 from 10 mm foam: Donaudampfschifffahrtsgesellschaft";
        for width in [8.0, 20.0, 60.0] {
            let lines = wrap(&REGULAR, text, 3.0, width);
            assert!(lines.iter().all(|line| REGULAR.width(line, 3.0) <= width + 1e-9));
            assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
        }
    }

    #[test]
    fn a_number_keeps_its_fraction_and_its_unit() {
        for width in 14..60 {
            let lines =
                wrap(&REGULAR, "1557 mm (61 5/16 in), give or take 12 mm at page 3 of 19", 3.0, f64::from(width));
            let whole = ["1557 mm", "(61 5/16 in),", "12 mm"];
            assert!(whole.iter().all(|part| lines.iter().any(|line| line.contains(part))) || width < 20, "{lines:?}");
        }
    }

    #[test]
    fn a_shortened_text_says_so() {
        let short = shorten(&REGULAR, "Beacon-keeper's signal staff", 3.0, 20.0);
        assert!(short.ends_with('…') && REGULAR.width(&short, 3.0) <= 20.0);
    }
}
