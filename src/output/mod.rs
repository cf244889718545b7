//! Drawings → bytes. Same input, same bytes.

mod overlay;
mod pdf;
mod save;
mod svg;

pub use overlay::{OnPicture, overlay_png};
pub use pdf::{Document, Sheetful, pdf};
pub use save::{OutFile, save};
pub use svg::{pieces_svg, preview_png};

pub(crate) use save::{remove_half_written, replace};
pub(crate) use svg::path_data;
