//! Drawings → bytes. Same input, same bytes.

mod pdf;
mod save;
mod svg;

pub use pdf::{Document, Sheetful, pdf};
pub use save::{OutFile, save};
pub use svg::{pieces_svg, preview_png};

pub(crate) use save::replace;
pub(crate) use svg::path_data;
