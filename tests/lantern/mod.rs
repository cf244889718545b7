//! The harbour lantern: a build of everything that a pattern for foam and pipe can hold.

use std::fs;
use std::path::Path;

use crate::made::{Made, build_in};

/// Its build file, on the picture of the demo.
pub(crate) const LANTERN: &str = include_str!("lantern.toml");

/// What `make` writes for a build file that says `text`, beside the picture of the demo.
pub(crate) fn beside_demo(text: &str) -> Made {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images");
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::copy(demo.join("signal-staff.png"), folder.path().join("signal-staff.png")).expect("copied");
    build_in(folder, text)
}
