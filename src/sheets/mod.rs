//! Sheets and cards that lie in a picture: where exactly their sides run.
//!
//! What this room guarantees: places on a side lie on one smooth edge between two corners, sub-pixel in the picture's own
//! light, or the side is left out.

mod light;
mod sides;

pub use sides::{SidePlace, Sides, sides};
