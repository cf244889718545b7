//! Words of each language, the font they are set in, and how wide they come out.

mod face;
mod german;
mod words;

pub use face::{BOLD, Face, REGULAR, Subset};
pub use german::GERMAN;
pub use words::{ENGLISH, Language, Wording, Words, fill};
