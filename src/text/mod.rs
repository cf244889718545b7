//! Words of one language, the font they are set in, and how wide they come out.

mod face;
mod words;

pub use face::{BOLD, Face, REGULAR, Subset};
pub use words::{ENGLISH, Words, fill};
