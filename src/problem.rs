//! What is wrong, how bad it is, and where in the build file it stands.

use std::fmt;

/// How far a problem goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// Worth knowing; nothing to mend.
    Note,
    /// The result is written, but a person should look at this first.
    Warning,
    /// Nothing can be made until this is mended.
    Error,
}

/// A place in the build file. Lines and columns count from 1; a column counts characters, not bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Character in the line, from 1.
    pub column: usize,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

/// A value that remembers where in the build file it was written, so that rooms further down can point at it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub place: Place,
}

impl<T> Placed<T> {
    /// `value` as written at `place`.
    pub const fn new(value: T, place: Place) -> Self {
        Self { value, place }
    }
}

/// One finding: the value met, the value allowed and the next step stand in `text`, in the maker's words.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// How far it goes.
    pub level: Level,
    /// Stable word for programs, `snake_case`.
    pub code: &'static str,
    /// One or two sentences for a person.
    pub text: String,
    /// Where in the build file; `None` when no line of it is to blame.
    pub place: Option<Place>,
}

impl Problem {
    /// An error without a place.
    pub fn error(code: &'static str, text: impl Into<String>) -> Self {
        Self { level: Level::Error, code, text: text.into(), place: None }
    }

    /// A warning without a place.
    pub fn warning(code: &'static str, text: impl Into<String>) -> Self {
        Self { level: Level::Warning, code, text: text.into(), place: None }
    }

    /// A note without a place.
    pub fn note(code: &'static str, text: impl Into<String>) -> Self {
        Self { level: Level::Note, code, text: text.into(), place: None }
    }

    /// Whether it stops the way.
    pub fn is_error(&self) -> bool {
        self.level == Level::Error
    }

    /// The same problem, standing at `place`.
    #[must_use]
    pub fn at(self, place: Place) -> Self {
        Self { place: Some(place), ..self }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Problems that stop the way; at least one of them is an error.
pub type Problems = Vec<Problem>;
