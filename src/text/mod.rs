//! Words of one language, the font they are set in, and how wide they come out.

mod face;
mod words;

pub use face::{Face, Subset, BOLD, REGULAR};
pub use words::{ENGLISH, Words, fill};
