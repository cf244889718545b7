//! Runs the program's `make` in a folder of its own.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;
use tempfile::TempDir;

/// What one run wrote; the folder goes when this does.
pub(crate) struct Made {
    folder: TempDir,
    /// `made.json`.
    pub(crate) manifest: Value,
}

impl Made {
    /// Where the file `name` of the output is.
    pub(crate) fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join("out").join(name)
    }
}

/// What `make` writes for the demo.
pub(crate) fn demo() -> Made {
    let folder = tempfile::tempdir().expect("a temporary folder");
    make(&Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images/signal-staff.toml"), folder)
}

/// What `make` writes for a build file that says `text`.
pub(crate) fn build(text: &str) -> Made {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("build.toml");
    fs::write(&file, text).expect("written");
    make(&file, folder)
}

fn make(build: &Path, folder: TempDir) -> Made {
    let out = folder.path().join("out");
    let mut command = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spanwright"));
    command.arg("make").arg(build).arg("--out").arg(&out).assert().code(0);
    let manifest = serde_json::from_slice(&fs::read(out.join("made.json")).expect("written")).expect("JSON");
    Made { folder, manifest }
}
