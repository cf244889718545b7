//! From a reference picture of a costume prop to a full-size pattern on household printer pages.
//!
//! The rooms stand in the order of the way of a build; a room uses the rooms above it in [`ROOMS`] and no other:
//!
//! ```text
//! build file ─► picture ─► plane ─► contour ─► size ─► shape ─► pattern ─► paper ─► drawing ─► output
//!             (pixels)  (straight)  (traced)  (scale)   (mm)   (pieces)  (pages)   (lines)   (bytes)
//! ```
//!
//! Lengths are millimetres unless a name says otherwise; every frame but that of a PDF page has y pointing down.

pub mod build_file;
pub mod chance;
pub mod cli;
pub mod contour;
pub mod desk;
pub mod drawing;
pub mod hardware;
pub mod layers;
pub mod make;
pub mod output;
pub mod paper;
pub mod pattern;
pub mod picture;
pub mod plane;
pub mod printer;
pub mod problem;
pub mod shape;
pub mod sheets;
pub mod size;
pub mod space;
pub mod tables;
pub mod taping;
pub mod text;
pub mod units;
pub mod unrolled;

/// The rooms in the order of the way; `tests/rooms.rs` holds every `use crate::` against it.
pub const ROOMS: [&str; 25] = [
    "problem",
    "chance",
    "units",
    "tables",
    "text",
    "space",
    "build_file",
    "picture",
    "plane",
    "sheets",
    "contour",
    "size",
    "shape",
    "hardware",
    "layers",
    "unrolled",
    "pattern",
    "paper",
    "taping",
    "drawing",
    "output",
    "make",
    "printer",
    "desk",
    "cli",
];
