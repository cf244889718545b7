//! Shapes + sizes → lettered pieces at full size.
//!
//! A [`Piece`] has a letter of its own, an outline in millimetres, and words that tell a builder how to cut it.

mod frail;
mod letters;
mod piece;

pub use frail::{Frail, Frailty, frail, frail_problems};
pub use letters::letters;
pub use piece::{Piece, RoundHole};
