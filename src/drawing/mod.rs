//! Pages and pieces → lines by class and text, in millimetres: the one thing every writer reads.

mod clip;
mod lines;

pub use clip::clip;
pub use lines::{Class, Drawing, Label, Line, Stroke};
