//! The marking page: a local web page over the same library as the command line.
//!
//! | step | file |
//! | --- | --- |
//! | who may ask: one address with a token, then a cookie; this machine only | `door` |
//! | the build file, every change of it and the way back | `work` |
//! | pictures in tiles, at every size that a view needs | `tiles` |
//! | build file → what the page shows: sizes, pieces, pages, problems | `shown` |
//! | questions of the page → answers | `serve` |
//! | what the browser runs: views and drawing, no geometry | `page/` |
//!
//! The build file changes only through [`crate::build_file`], one whole text after the other: what is undone is the former
//! text, byte for byte. A text that somebody else wrote meanwhile is one step of that way like all others.

mod door;
mod serve;
mod shown;
mod tiles;
mod work;

pub use serve::{Start, serve};
