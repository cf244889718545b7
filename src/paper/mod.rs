//! Pieces → joined sheets → pages.
//!
//! What a [`Layout`] guarantees: every point of every piece is printed on some page; a piece that fits on one page is
//! never cut by a join; the marks of each join are printed at the same place of the pattern on both of its pages.

mod clearing;
mod core;
mod grid;
mod layout;
mod least;
mod marks;
mod nest;
mod poses;
mod raster;
mod roll;
mod squeeze;
mod turns;

pub use self::clearing::{Clearing, Search};
pub(crate) use self::core::FOOT;
pub use self::core::{Core, cores};
pub use self::layout::{Item, Layout, Neighbours, Placed, Sheet, Tile, lay_out};
pub use self::marks::Mark;
pub use self::roll::cut_to_length;
