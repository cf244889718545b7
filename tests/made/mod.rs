//! Runs the program's `make` in a folder of its own.
#![allow(dead_code, reason = "each test program uses the part it needs")]

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

/// What `make` writes for the demo in a language.
pub(crate) fn demo(language: &str) -> Made {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference-images");
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::copy(demo.join("signal-staff.png"), folder.path().join("signal-staff.png")).expect("copied");
    let text = fs::read_to_string(demo.join("signal-staff.toml")).expect("readable");
    let text = text.replacen("[build]\n", &format!("[build]\nlanguage = \"{language}\"\n"), 1);
    build_in(folder, &text)
}

/// What `make` writes for a build file that says `text`.
pub(crate) fn build(text: &str) -> Made {
    build_in(tempfile::tempdir().expect("a temporary folder"), text)
}

/// What `make` writes for a build file that says `text`, beside what lies in `folder` already.
pub(crate) fn build_in(folder: TempDir, text: &str) -> Made {
    let build = folder.path().join("build.toml");
    fs::write(&build, text).expect("written");
    let out = folder.path().join("out");
    let mut command = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spanwright"));
    command.arg("make").arg(&build).arg("--out").arg(&out).assert().code(0);
    let manifest = serde_json::from_slice(&fs::read(out.join("made.json")).expect("written")).expect("JSON");
    Made { folder, manifest }
}
