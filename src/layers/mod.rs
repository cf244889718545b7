//! A part thicker than one foam → layers to be glued, their outlines, and the channel for a pipe through them.
//!
//! Heights are measured from the middle plane of a part that is seen from both sides, from its back where it is not.

mod channel;
mod outlines;
mod rays;
mod section;
mod stack;

pub use channel::{Narrow, channel, clearance, reaches};
pub use outlines::{Layered, layered, without_islands};
pub use rays::{Ray, level, rays};
pub use section::Section;
pub use stack::{Bed, NoStack, Stack, Wanted, stacks};
