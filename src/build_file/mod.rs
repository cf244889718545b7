//! The build file: TOML text ↔ [`Build`].
//!
//! What a [`Build`] guarantees to the rooms below: every name resolves, every number is finite and in range, every
//! length is in millimetres, and whatever a later room may have to complain about carries its [`Place`].
//!
//! [`Place`]: crate::problem::Place

mod build;
mod change;
mod check;
mod format;
mod mark;
mod path_data;
mod place;
mod read;
mod schema;
mod template;
#[cfg(test)]
mod tests;
mod write;

pub use build::*;
pub use change::{Change, Step, as_json, carried, change, way_to};
pub use check::two_lengths;
pub use format::reference;
pub use mark::outside;
pub use read::{Reading, read};
pub(crate) use read::{WEARER_HEADS, looks_wide};
pub use schema::schema;
pub use template::{NewFile, new_file};
pub use write::{NewRectangle, set_outlines, set_rectangles};
