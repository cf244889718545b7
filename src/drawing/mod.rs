//! Pages and pieces → lines by class and text, in millimetres: the one thing every writer reads.

mod block;
mod building;
mod card;
mod clip;
mod cover;
mod lines;
mod markings;
mod misfit;
mod preview;
mod rulers;
mod setting;
mod sizes;
mod tile;

pub use block::{cut_words, sizes_words};
pub use building::{changed_words, note_words, sections, step_words};
pub use card::test_card;
pub use clip::clip;
pub use cover::{Facts, front};
pub use lines::{Class, Drawing, Label, Line, Stroke, WORDS_GREY};
pub use preview::{Figure, flat_figure, side_by_side};
pub use sizes::{SizeShown, sizes, sizes_page};
pub use tile::{Header, sketch, tiles, words_beside};

pub(crate) use setting::{fitted, shorten, wrap};
