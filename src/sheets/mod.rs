//! Sheets and cards that lie in a picture: which ones, and where exactly their sides run.
//!
//! What this room guarantees: places on a side lie on one smooth edge between two corners, sub-pixel in the picture's own
//! light, or the side is left out; what is found is a sheet or card for sure.

mod find;
mod light;
mod quads;
mod sides;

pub use find::{FoundSheet, find, in_one_plane};
pub use sides::{SidePlace, Sides, sides, sides_agree};
