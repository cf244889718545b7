//! Text ↔ [`Length`]. Everything is kept in millimetres.
//!
//! 1 in = 25.4 mm exactly (international yard and pound agreement, 1959); 1 pt = 1/72 in (ISO 32000-1, 8.3.2.3).

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Div, Mul, Neg, Sub};
use std::str::FromStr;

/// Millimetres in an inch, exactly.
pub const MM_PER_INCH: f64 = 25.4;

/// A length in millimetres, finite.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Length(f64);

impl Length {
    /// No length.
    pub const ZERO: Self = Self(0.0);

    /// `mm` millimetres.
    pub const fn mm(mm: f64) -> Self {
        Self(mm)
    }

    /// `inches` inches.
    pub const fn inches(inches: f64) -> Self {
        Self(inches * MM_PER_INCH)
    }

    /// In millimetres.
    pub const fn to_mm(self) -> f64 {
        self.0
    }

    /// In inches.
    pub const fn to_inches(self) -> f64 {
        self.0 / MM_PER_INCH
    }

    /// In PDF points, 72 to the inch.
    pub const fn to_pt(self) -> f64 {
        self.0 * 72.0 / MM_PER_INCH
    }
}

impl Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}
impl Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}
impl Neg for Length {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}
impl Mul<f64> for Length {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self(self.0 * factor)
    }
}
impl Div<f64> for Length {
    type Output = Self;
    fn div(self, by: f64) -> Self {
        Self(self.0 / by)
    }
}
impl Div for Length {
    type Output = f64;
    fn div(self, by: Self) -> f64 {
        self.0 / by.0
    }
}
impl Sum for Length {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::ZERO, Add::add)
    }
}

impl Length {
    /// Reads a length as a maker writes it: `168 cm`, `1.68 m`, `5 ft 6 1/2 in`, `5'6"`, `1/2 in`; a number alone is
    /// millimetres. Several terms go from the larger unit to the smaller one.
    ///
    /// # Errors
    /// Anything else, a decimal comma and a negative length among it.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let length = Self::parse_signed(text)?;
        if length.0 < 0.0 { Err(UnitError::Negative(met(text))) } else { Ok(length) }
    }

    /// As [`Length::parse`], but a leading minus is allowed.
    ///
    /// # Errors
    /// As there.
    pub fn parse_signed(text: &str) -> Result<Self, UnitError> {
        let trimmed = text.trim();
        if trimmed.is_empty() {
            return Err(UnitError::Empty);
        }
        if let Some(error) = decimal_comma(trimmed) {
            return Err(error);
        }
        let (sign, rest) = match trimmed.strip_prefix(['-', '\u{2212}']) {
            Some(rest) => (-1.0, rest),
            None => (1.0, trimmed),
        };
        let mm = sum_of_terms(rest, trimmed)?;
        if mm.is_finite() { Ok(Self(sign * mm)) } else { Err(UnitError::TooLarge(met(text))) }
    }
}

impl FromStr for Length {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Self, UnitError> {
        Self::parse(text)
    }
}

/// Why a text is no length. Every variant holds the text that was met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum UnitError {
    /// Nothing but blanks.
    Empty,
    /// A comma in a number.
    Comma {
        /// The whole text.
        met: String,
        /// The same with a point; two readings when the comma may have parted thousands.
        instead: String,
    },
    /// No number where one should be.
    Number {
        /// The whole text.
        met: String,
        /// From there on.
        rest: String,
    },
    /// No unit of length.
    Unit {
        /// The whole text.
        met: String,
        /// The word in place of a unit.
        unit: String,
    },
    /// A second term whose unit is missing, not smaller, or of the other system.
    Order(String),
    /// A later term that is as long as one of the unit before it, or longer.
    Carry {
        /// The whole text.
        met: String,
        /// That term.
        term: String,
    },
    /// Below zero where only a length makes sense.
    Negative(String),
    /// More than a number can hold.
    TooLarge(String),
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const LIKE: &str = "write it like 1415 mm, 168 cm, 1.68 m, 55 11/16 in or 5 ft 6 1/2 in";
        match self {
            Self::Empty => write!(f, "an empty text is no length; {LIKE}"),
            Self::Comma { met, instead } => write!(f, "\"{met}\" has a comma; write {instead}"),
            Self::Number { met, rest } if rest.is_empty() => write!(f, "\"{met}\" ends without a number; {LIKE}"),
            Self::Number { met, rest } => write!(f, "\"{met}\" has no number at \"{rest}\"; {LIKE}"),
            Self::Unit { met, unit } => {
                write!(f, "\"{met}\": \"{unit}\" is no unit of length; the units are mm, cm, m, in, ft, yd and pt")
            }
            Self::Order(met) => write!(
                f,
                "\"{met}\": after the first length only a smaller unit of the same kind can follow, as in 5 ft 6 in or \
                 1 m 68 cm"
            ),
            Self::Carry { met, term } => write!(
                f,
                "\"{met}\": {term} is as long as one of the unit before it, or longer; write it in the larger unit, or all in \
                 the smaller one"
            ),
            Self::Negative(met) => write!(f, "\"{met}\" is below zero; write the length without the minus"),
            Self::TooLarge(met) => write!(f, "\"{met}\" is too large; {LIKE}"),
        }
    }
}

impl std::error::Error for UnitError {}

/// `text` for a message: long ones are cut.
fn met(text: &str) -> String {
    const MOST: usize = 40;
    let text = text.trim();
    if text.chars().count() <= MOST { text.to_owned() } else { text.chars().take(MOST).chain(['…']).collect() }
}

/// A comma beside a digit cannot be told from one that parts thousands, so it is never guessed at.
fn decimal_comma(text: &str) -> Option<UnitError> {
    let (before, after) = text.split_once(',')?;
    let whole = before.ends_with(|c: char| c.is_ascii_digit());
    let digits = after.chars().take_while(char::is_ascii_digit).count();
    if !whole || digits == 0 {
        return None;
    }
    let with_point = format!("{before}.{after}");
    let instead = if digits == 3 { format!("{before}{after} or {with_point}") } else { with_point };
    Some(UnitError::Comma { met: met(text), instead })
}

/// Units of one system, so that "1 m 3 in" is noticed as a slip.
#[derive(Clone, Copy, PartialEq)]
enum System {
    Metric,
    Inch,
    Point,
}

fn unit(word: &str) -> Option<(System, f64)> {
    Some(match word.to_lowercase().as_str() {
        "mm" => (System::Metric, 1.0),
        "cm" => (System::Metric, 10.0),
        "m" => (System::Metric, 1000.0),
        // Straight, typographic, and as word processors turn them.
        "in" | "inch" | "inches" | "\"" | "″" | "”" | "''" => (System::Inch, MM_PER_INCH),
        "ft" | "foot" | "feet" | "'" | "′" | "’" => (System::Inch, 12.0 * MM_PER_INCH),
        "yd" | "yard" | "yards" => (System::Inch, 36.0 * MM_PER_INCH),
        "pt" => (System::Point, MM_PER_INCH / 72.0),
        _ => return None,
    })
}

/// Millimetres of `text`, a row of terms; `whole` is for messages.
fn sum_of_terms(text: &str, whole: &str) -> Result<f64, UnitError> {
    let (mut rest, mut total) = (text.trim_start(), 0.0);
    let mut last: Option<(System, f64)> = None;
    loop {
        let number = take_number(&mut rest).ok_or_else(|| UnitError::Number { met: met(whole), rest: met(rest) })?;
        let word = take_word(&mut rest);
        let here = match word {
            "" if last.is_none() && rest.is_empty() => return Ok(number),
            "" if last.is_some() => return Err(UnitError::Order(met(whole))),
            _ => unit(word).ok_or_else(|| UnitError::Unit { met: met(whole), unit: met(word) })?,
        };
        if last.is_some_and(|last| last.0 != here.0 || last.1 <= here.1) {
            return Err(UnitError::Order(met(whole)));
        }
        if let Some((_, larger)) = last
            && number * here.1 >= larger - 1e-9
        {
            return Err(UnitError::Carry { met: met(whole), term: format!("{number} {word}") });
        }
        total += number * here.1;
        if rest.is_empty() {
            return Ok(total);
        }
        last = Some(here);
    }
}

/// A decimal, a fraction, or a whole number and a fraction, taken from the front of `rest` with the blanks behind it.
fn take_number(rest: &mut &str) -> Option<f64> {
    let first = take_decimal(rest)?;
    if let Some(fraction) = take_divisor(rest) {
        return fraction.map(|below| first / below);
    }
    let mut behind = *rest;
    if let Some(above) = take_decimal(&mut behind)
        && let Some(below) = take_divisor(&mut behind)
    {
        *rest = behind;
        return below.map(|below| first + above / below);
    }
    Some(first)
}

fn take_decimal(rest: &mut &str) -> Option<f64> {
    let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
    let number = rest[..end].parse().ok()?;
    *rest = rest[end..].trim_start();
    Some(number)
}

/// The number behind a slash; the outer `None`: no slash, the inner one: nothing that divides.
fn take_divisor(rest: &mut &str) -> Option<Option<f64>> {
    let mut behind = rest.strip_prefix('/')?.trim_start();
    let below = take_decimal(&mut behind).filter(|below| *below > 0.0);
    if below.is_some() {
        *rest = behind;
    }
    Some(below)
}

fn take_word<'a>(rest: &mut &'a str) -> &'a str {
    let end = rest.find(|c: char| c.is_ascii_digit() || c.is_whitespace() || c == '.').unwrap_or(rest.len());
    let (word, behind) = rest.split_at(end);
    *rest = behind.trim_start();
    word
}

/// How sizes are shown to a person. Files for programs are always in millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Shown {
    /// Millimetres.
    #[default]
    Metric,
    /// Inches, to the sixteenth.
    Imperial,
    /// Millimetres, inches in brackets.
    Both,
}

/// `length` for a person: whole millimetres from 100 mm on, else tenths; inches to the sixteenth.
pub fn show(length: Length, shown: Shown) -> String {
    let mm = || format!("{} mm", decimal(length.to_mm()));
    let inches = || format!("{} in", fraction(length.to_inches(), 16));
    match shown {
        Shown::Metric => mm(),
        Shown::Imperial => inches(),
        Shown::Both => format!("{} ({})", mm(), inches()),
    }
}

/// `length` for a person, rounded up: for what something may be off by.
pub fn show_at_least(length: Length, shown: Shown) -> String {
    let mm = length.to_mm();
    let tenths = if mm >= 100.0 { (mm - 1e-6).ceil() } else { (mm * 10.0 - 1e-6).ceil() / 10.0 };
    let sixteenths = Length::inches((length.to_inches() * 16.0 - 1e-6).ceil() / 16.0);
    match shown {
        Shown::Metric => show(Length::mm(tenths), Shown::Metric),
        Shown::Imperial => show(sixteenths, Shown::Imperial),
        Shown::Both => {
            format!("{} ({})", show(Length::mm(tenths), Shown::Metric), show(sixteenths, Shown::Imperial))
        }
    }
}

/// Inches to the nearest 64th, as fine as steel rules are ruled: for what is measured rather than told.
pub fn show_on_rule(length: Length) -> String {
    format!("{} in", fraction(length.to_inches(), 64))
}

/// How far a sheet of foam may be from the thickness on its label: a tenth of it, half a millimetre on thin sheet
/// (common practice, no source; the foam table has the same).
pub(crate) const FOAM_LABEL: (f64, Length) = (0.1, Length::mm(0.5));

/// The thickness of a foam sheet for a person. Foam is sold by the millimetre and by coarse fractions of an inch, so
/// the inches here are the coarsest fraction that a sheet of that label may measure: 10 mm is the shop's 3/8 in.
pub fn show_foam(thickness: Length, shown: Shown) -> String {
    let mm = format!("{} mm", decimal(thickness.to_mm()));
    let inches = format!("{} in", foam_fraction(thickness));
    match shown {
        Shown::Metric => mm,
        Shown::Imperial => format!("{inches} ({mm})"),
        Shown::Both => format!("{mm} ({inches})"),
    }
}

fn foam_fraction(thickness: Length) -> String {
    let slack = (thickness.to_mm() * FOAM_LABEL.0).max(FOAM_LABEL.1.to_mm());
    let inches = thickness.to_inches();
    let fits = |parts: &u32| {
        let nearest = (inches * f64::from(*parts)).round() / f64::from(*parts);
        nearest > 0.0 && (nearest * MM_PER_INCH - thickness.to_mm()).abs() <= slack
    };
    fraction(inches, [1, 2, 4, 8, 16, 32].into_iter().find(fits).unwrap_or(64))
}

fn decimal(mm: f64) -> String {
    let tenths = if mm.abs() >= 100.0 { mm.round() } else { (mm * 10.0).round() / 10.0 };
    // Adding zero turns -0 into 0.
    format!("{}", tenths + 0.0)
}

/// `value` to the nearest 1/`parts`, reduced: `55 11/16`; `parts` is a power of two.
fn fraction(value: f64, parts: u32) -> String {
    let count = (value.abs() * f64::from(parts)).round();
    let sign = if value < 0.0 && count > 0.0 { "-" } else { "" };
    let (whole, mut above) = ((count / f64::from(parts)).floor(), count % f64::from(parts));
    let mut below = parts;
    while above > 0.0 && above % 2.0 == 0.0 {
        (above, below) = (above / 2.0, below / 2);
    }
    match (whole, above) {
        (_, 0.0) => format!("{sign}{whole}"),
        (0.0, _) => format!("{sign}{above}/{below}"),
        _ => format!("{sign}{whole} {above}/{below}"),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn mm(text: &str) -> f64 {
        Length::parse(text).unwrap_or_else(|e| panic!("{text}: {e}")).to_mm()
    }

    #[track_caller]
    fn close(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9, "{a} is not {b}");
    }

    #[test]
    fn every_way_of_writing_a_length_gives_its_millimetres() {
        // Conversions by the agreement of 1959 (1 in = 25.4 mm), worked by hand.
        for (text, truth) in [
            ("140 mm", 140.0),
            ("168cm", 1680.0),
            ("1.68 m", 1680.0),
            ("1.68M", 1680.0),
            ("1 m 68 cm", 1680.0),
            ("12", 12.0),
            (" 12.5 ", 12.5),
            (".5 in", 12.7),
            ("1/2 in", 12.7),
            ("1 1/2in", 38.1),
            ("5 ft 6 1/2 in", 66.5 * 25.4),
            ("5 ft 7.5 in", 1714.5),
            ("5'6\"", 66.0 * 25.4),
            ("5’ 6”", 66.0 * 25.4),
            ("5′6 1/2″", 66.5 * 25.4),
            ("6 feet", 1828.8),
            ("1 yd 1 ft 1 inch", 914.4 + 304.8 + 25.4),
            ("72 pt", 25.4),
            ("0", 0.0),
        ] {
            close(mm(text), truth);
        }
    }

    #[test]
    fn a_text_that_is_no_length_is_told_what_was_met_and_what_works() {
        for (text, words) in [
            ("", "an empty text is no length"),
            ("1,68 m", "\"1,68 m\" has a comma; write 1.68 m"),
            ("1,415 mm", "write 1415 mm or 1.415 mm"),
            ("168 cn", "\"cn\" is no unit of length; the units are mm, cm, m, in, ft, yd and pt"),
            ("long", "\"long\" has no number at \"long\"; write it like"),
            ("5 ft x in", "has no number at \"x in\""),
            ("5 ft 6", "only a smaller unit of the same kind can follow"),
            ("5 ft 13 in", "13 in is as long as one of the unit before it"),
            ("1 m 100 cm", "100 cm is as long"),
            ("6 in 5 ft", "only a smaller unit of the same kind can follow"),
            ("1 m 3 in", "only a smaller unit of the same kind can follow"),
            ("1/0 in", "has no number"),
            ("1..2 mm", "has no number"),
            ("-3 mm", "\"-3 mm\" is below zero"),
            ("nan", "has no number"),
            ("inf mm", "has no number"),
            ("1e3 mm", "is no unit of length"),
            ("5 '6", "only a smaller unit"),
        ] {
            let error = Length::parse(text).expect_err(text).to_string();
            assert!(error.contains(words), "{text}: {error}");
        }
        assert!(matches!(Length::parse(&"9".repeat(400)), Err(UnitError::TooLarge(_))));
    }

    #[test]
    fn a_minus_passes_only_where_it_is_asked_for() {
        assert_eq!(Length::parse_signed("-20 mm"), Ok(Length::mm(-20.0)));
        assert_eq!(Length::parse_signed("−1/2 in"), Ok(Length::mm(-12.7)));
    }

    #[test]
    fn lengths_are_shown_as_a_person_reads_them() {
        for (mm, metric, imperial) in [
            (1415.0, "1415 mm", "55 11/16 in"),
            (1415.4, "1415 mm", "55 3/4 in"),
            (99.94, "99.9 mm", "3 15/16 in"),
            (99.96, "100 mm", "3 15/16 in"),
            (10.0, "10 mm", "3/8 in"),
            (12.7, "12.7 mm", "1/2 in"),
            (25.4, "25.4 mm", "1 in"),
            (0.0, "0 mm", "0 in"),
            (-0.01, "0 mm", "0 in"),
            (-12.7, "-12.7 mm", "-1/2 in"),
        ] {
            assert_eq!(show(Length::mm(mm), Shown::Metric), metric);
            assert_eq!(show(Length::mm(mm), Shown::Imperial), imperial);
            assert_eq!(show(Length::mm(mm), Shown::Both), format!("{metric} ({imperial})"));
        }
    }

    #[test]
    fn what_a_length_may_be_off_by_is_rounded_up() {
        for (mm, metric, imperial) in [
            (10.0, "10 mm", "7/16 in"),
            (12.7, "12.7 mm", "1/2 in"),
            (0.11, "0.2 mm", "1/16 in"),
            (100.2, "101 mm", "4 in"),
        ] {
            assert_eq!(show_at_least(Length::mm(mm), Shown::Metric), metric);
            assert_eq!(show_at_least(Length::mm(mm), Shown::Imperial), imperial);
        }
    }

    #[test]
    fn foam_goes_by_the_fraction_on_the_shelf() {
        // Pairs of the trade (common practice, no source).
        for (mm, inches) in [
            (1.0, "1/32"),
            (2.0, "1/16"),
            (3.0, "1/8"),
            (4.0, "5/32"),
            (5.0, "3/16"),
            (6.0, "1/4"),
            (8.0, "5/16"),
            (10.0, "3/8"),
            (12.0, "1/2"),
            (12.7, "1/2"),
            (15.0, "5/8"),
            (20.0, "3/4"),
            (30.0, "1 1/4"),
        ] {
            assert_eq!(show_foam(Length::mm(mm), Shown::Both), format!("{mm} mm ({inches} in)"));
        }
        assert_eq!(show_foam(Length::mm(10.0), Shown::Metric), "10 mm");
        assert_eq!(show_foam(Length::mm(10.0), Shown::Imperial), "3/8 in (10 mm)");
    }

    proptest! {
        #[test]
        fn what_is_shown_reads_back_within_its_rounding(mm in 0.0..1.0e5) {
            let length = Length::mm(mm);
            let step = if mm < 99.95 { 0.05 } else { 0.5 };
            let metric = Length::parse(&show(length, Shown::Metric)).expect("shown lengths read back");
            prop_assert!((metric - length).to_mm().abs() <= step + 1e-9);
            let imperial = Length::parse(&show(length, Shown::Imperial)).expect("shown lengths read back");
            prop_assert!((imperial - length).to_inches().abs() <= 1.0 / 32.0 + 1e-9);
        }

        #[test]
        fn no_text_makes_the_reader_stumble(text in "\\PC{0,30}") {
            if let Ok(length) = Length::parse(&text) {
                prop_assert!(length.to_mm().is_finite() && length.to_mm() >= 0.0);
            }
        }
    }
}
