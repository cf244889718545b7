//! SVG path data (SVG 1.1, chapter 8) → a curve.
//!
//! `kurbo` reads path data too, but stops without a word at the first stray character, tells no place, and draws
//! elliptical arcs to a tenth of a unit, which is a tenth of a millimetre on a fixed piece.

use kurbo::{Arc, BezPath, PathEl, Point, Shape, SvgArc, Vec2};

use super::format::FARTHEST;

/// How far a cubic may stay off an elliptical arc, in units of the path.
const ARC_TOLERANCE: f64 = 1e-3;

/// A closed outline, even-odd: every subpath closed, at least one with an area.
///
/// # Errors
/// What is wrong, with the number of the command and of the character where it was met.
pub(super) fn outline(text: &str) -> Result<BezPath, String> {
    let path = Scanner { text, at: 0, command: 0, letter: ' ' }.path()?;
    let mut area = 0.0;
    for (number, subpath) in (1..).zip(subpaths(&path)) {
        if !matches!(subpath.last(), Some(PathEl::ClosePath)) {
            return Err(format!("its outline {number} is open; end it with Z"));
        }
        area += BezPath::from_vec(subpath.to_vec()).area().abs();
    }
    // A millionth of a square pixel is nothing that could be cut.
    if area > 1e-6 {
        Ok(path)
    } else {
        Err("it encloses no area; give it three or more places that do not lie on one line, and sides that do not cross".to_owned())
    }
}

/// The subpaths that draw something; a lone move draws nothing.
fn subpaths(path: &BezPath) -> impl Iterator<Item = &[PathEl]> {
    path.elements().chunk_by(|_, next| !matches!(next, PathEl::MoveTo(_))).filter(|subpath| subpath.len() > 1)
}

struct Scanner<'a> {
    text: &'a str,
    /// Byte offset of what comes next.
    at: usize,
    /// Number of the command being read, from 1.
    command: usize,
    letter: char,
}

/// Where the pen is, and what the next command may refer back to.
struct Pen {
    at: Point,
    start: Point,
    /// Last control point of a cubic, for `S`.
    cubic: Option<Point>,
    /// Control point of a quadratic, for `T`.
    quad: Option<Point>,
    /// The subpath was closed, so that drawing on starts a new one.
    closed: bool,
}

impl Scanner<'_> {
    fn path(mut self) -> Result<BezPath, String> {
        let mut path = BezPath::new();
        let origin = Point::ORIGIN;
        let mut pen = Pen { at: origin, start: origin, cubic: None, quad: None, closed: false };
        while let Some(next) = self.next() {
            if next.is_ascii_alphabetic() {
                self.command += 1;
                self.letter = next;
                self.at += 1;
                if self.command == 1 && !matches!(next, 'M' | 'm') {
                    return Err(self.error("path data starts with M"));
                }
            } else if self.command == 0 || matches!(self.letter, 'Z' | 'z') {
                return Err(self.error(&format!("\"{next}\" stands where a command letter should")));
            } else if let 'M' | 'm' = self.letter {
                // More places behind a move are lines.
                self.letter = if self.letter == 'M' { 'L' } else { 'l' };
            }
            self.draw(&mut pen, &mut path)?;
        }
        Ok(path)
    }

    fn draw(&mut self, pen: &mut Pen, path: &mut BezPath) -> Result<(), String> {
        let command = self.letter.to_ascii_uppercase();
        if pen.closed && !matches!(command, 'M' | 'Z') {
            path.move_to(pen.start);
            pen.closed = false;
        }
        let (cubic, quad) = (pen.cubic.take(), pen.quad.take());
        let mirrored = |control: Option<Point>| control.map_or(pen.at, |control| pen.at + (pen.at - control));
        match command {
            'M' => {
                pen.at = self.point(pen.at)?;
                pen.start = pen.at;
                pen.closed = false;
                path.move_to(pen.at);
            }
            'L' => {
                pen.at = self.point(pen.at)?;
                path.line_to(pen.at);
            }
            'H' | 'V' => {
                let number = self.number()?;
                let from = if self.letter.is_ascii_lowercase() { pen.at } else { Point::ORIGIN };
                let to = if command == 'H' {
                    Point::new(from.x + number, pen.at.y)
                } else {
                    Point::new(pen.at.x, from.y + number)
                };
                pen.at = self.within_reach(to)?;
                path.line_to(pen.at);
            }
            'C' | 'S' => {
                let first = if command == 'C' { self.point(pen.at)? } else { mirrored(cubic) };
                let (second, end) = (self.point(pen.at)?, self.point(pen.at)?);
                path.curve_to(first, second, end);
                (pen.at, pen.cubic) = (end, Some(second));
            }
            'Q' | 'T' => {
                let control = if command == 'Q' { self.point(pen.at)? } else { mirrored(quad) };
                let end = self.point(pen.at)?;
                path.quad_to(control, end);
                (pen.at, pen.quad) = (end, Some(control));
            }
            'A' => {
                let radii = Vec2::new(self.number()?.abs(), self.number()?.abs());
                let x_rotation = self.number()?.to_radians();
                let (large_arc, sweep) = (self.flag()?, self.flag()?);
                let (from, to) = (pen.at, self.point(pen.at)?);
                match Arc::from_svg_arc(&SvgArc { from, to, radii, x_rotation, large_arc, sweep }) {
                    Some(arc) => arc.to_cubic_beziers(ARC_TOLERANCE, |a, b, end| path.curve_to(a, b, end)),
                    None => path.line_to(to),
                }
                pen.at = to;
            }
            'Z' => {
                if !pen.closed {
                    path.close_path();
                }
                (pen.at, pen.closed) = (pen.start, true);
            }
            _ => return Err(self.error("there is no such command; it is one of M L H V C S Q T A Z")),
        }
        Ok(())
    }

    /// The next character that is no blank or comma.
    fn next(&mut self) -> Option<char> {
        let rest = &self.text[self.at..];
        let next = rest.trim_start_matches(|c: char| c.is_ascii_whitespace() || c == ',');
        self.at += rest.len() - next.len();
        next.chars().next()
    }

    fn point(&mut self, from: Point) -> Result<Point, String> {
        let (x, y) = (self.number()?, self.number()?);
        self.within_reach(if self.letter.is_ascii_lowercase() { from + Vec2::new(x, y) } else { Point::new(x, y) })
    }

    fn within_reach(&self, point: Point) -> Result<Point, String> {
        if point.x.abs() <= FARTHEST && point.y.abs() <= FARTHEST {
            return Ok(point);
        }
        Err(self.error(&format!("it reaches ({}, {}); at most {FARTHEST} is allowed", point.x, point.y)))
    }

    fn number(&mut self) -> Result<f64, String> {
        let Some(next) = self.next() else { return Err(self.error("it ends where a number should follow")) };
        let rest = &self.text[self.at..];
        let bytes = rest.as_bytes();
        let digits = |from: usize| bytes[from..].iter().take_while(|byte| byte.is_ascii_digit()).count();
        let mut end = usize::from(matches!(next, '+' | '-'));
        end += digits(end);
        if bytes.get(end) == Some(&b'.') {
            end += 1 + digits(end + 1);
        }
        if matches!(bytes.get(end), Some(b'e' | b'E')) {
            let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
            let exponent = digits(end + 1 + sign);
            if exponent > 0 {
                end += 1 + sign + exponent;
            }
        }
        let Ok(number) = rest[..end].parse::<f64>() else {
            return Err(self.error(&format!("\"{next}\" stands where a number should")));
        };
        self.at += end;
        Ok(number)
    }

    /// The flags of an arc may stand without anything between them.
    fn flag(&mut self) -> Result<bool, String> {
        let flag = match self.next() {
            Some('0') => false,
            Some('1') => true,
            _ => return Err(self.error("an arc takes 0 or 1 as its fourth and fifth number")),
        };
        self.at += 1;
        Ok(flag)
    }

    fn error(&self, what: &str) -> String {
        let character = self.text[..self.at].chars().count() + 1;
        if self.command == 0 {
            return format!("character {character}: {what}");
        }
        format!("command {} ({}), near character {character}: {what}", self.command, self.letter)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn every_command_draws_what_svg_says() {
        // The same square, each way of writing it.
        for square in [
            "M 10 20 L 30 20 L 30 40 L 10 40 Z",
            "M10,20,30,20,30,40,10,40z",
            "m10 20 20 0 0 20-20 0z",
            "M10 20H30V40H10Z",
            "m10 20h20v20h-20z",
            "M 1e1 2.0E1 l 20 0 l 0 20 l -20 0 l 0 -20 Z",
        ] {
            let path = outline(square).expect(square);
            assert_eq!(path.bounding_box(), kurbo::Rect::new(10.0, 20.0, 30.0, 40.0), "{square}");
            assert!((path.area().abs() - 400.0).abs() < 1e-9, "{square}");
        }
    }

    #[test]
    fn curves_agree_with_those_of_kurbo() {
        for text in [
            "M0 0 C 10 0 20 10 20 20 S 10 40 0 40 Z",
            "M0 0 Q 10 -10 20 0 T 40 0 L 20 40 Z m 5 5 q 1 1 2 0 t 2 0 l -2 9 z",
            "M 5 5 c 1 2 3 4 5 6 s 7 8 9 1 h -3 s 1 1 2 5 z l 3 3 v 4 z",
        ] {
            let (ours, theirs) = (outline(text).expect(text), BezPath::from_svg(text).expect(text));
            assert_eq!(ours, theirs, "{text}");
        }
    }

    #[test]
    fn a_circle_of_arcs_has_the_area_of_a_circle() {
        let circle = outline("M 0 300 A 300 300 0 1 1 600 300 A 300 300 0 1,1,0,300 Z").expect("well formed");
        let truth = std::f64::consts::PI * 300.0 * 300.0;
        assert!((circle.area().abs() - truth).abs() < truth * 2.0 * ARC_TOLERANCE / 300.0);
        let tight = outline("M0 300a300 300 0 11600 0a300 300 0 11-600 0z").expect("flags may stand without blanks");
        assert!((tight.area() - circle.area()).abs() < 1e-6);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_place() {
        for (text, words) in [
            ("L 1 2", "command 1 (L), near character 2: path data starts with M"),
            ("12 5", "character 1: \"1\" stands where a command letter should"),
            ("M 0 0 L 5 x Z", "command 2 (L), near character 11: \"x\" stands where a number should"),
            ("M 0 0 L 5", "command 2 (L), near character 10: it ends where a number should follow"),
            ("M 0 0 K 5 5 Z", "command 2 (K), near character 8: there is no such command"),
            ("M 0 0 L 9 0 9 9 # Z", "command 2 (L), near character 17: \"#\" stands where a number should"),
            ("M 0 0 L 9 0 9 9 Z 4 4", "command 3 (Z), near character 19: \"4\" stands where a command letter should"),
            ("M 0 0 A 5 5 0 2 0 9 9 Z", "an arc takes 0 or 1"),
            ("M 0 0 L 9e9 0 9 9 Z", "it reaches (9000000000, 0); at most 1000000 is allowed"),
            ("M 0 0 L 9e999 0 9 9 Z", "at most 1000000 is allowed"),
            ("M 0 0 L 9 0 9 9", "its outline 1 is open; end it with Z"),
            ("M 0 0 H 9 V 9 Z M 2 2 L 3 3", "its outline 2 is open; end it with Z"),
            ("M 0 0 L 9 9 Z", "it encloses no area"),
            ("M 0 0 Z", "it encloses no area"),
            ("", "it encloses no area"),
        ] {
            let error = outline(text).expect_err(text);
            assert!(error.contains(words), "{text}: {error}");
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_the_reader_stumble(text in "[MmLlHhVvCcSsQqTtAaZz0-9eE.,+ xé-]{0,60}") {
            if let Ok(path) = outline(&text) {
                prop_assert!(path.is_finite());
            }
        }

        #[test]
        fn what_kurbo_writes_reads_back(points in prop::collection::vec((-1e5..1e5, -1e5..1e5), 3..40)) {
            let mut path = BezPath::new();
            path.move_to(points[0]);
            for three in points.chunks_exact(3) {
                path.curve_to(three[0], three[1], three[2]);
            }
            path.close_path();
            prop_assume!(path.area().abs() > 1.0);
            prop_assert_eq!(outline(&path.to_svg()), Ok(path));
        }
    }
}
