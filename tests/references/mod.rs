//! Runs the Python reference libraries, or says aloud that it does not.

use std::env;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;

/// What the script beside this file answers to `input`, both JSON, by the interpreter that `SPANWRIGHT_PYTHON` names
/// (`python3` without it).
///
/// `None` when the interpreter or a module is missing: the caller passes, one line on standard error says so. When
/// `SPANWRIGHT_REQUIRE` lists `references`, that is a failure instead. A script that fails otherwise always is.
pub(crate) fn python(script: &str, input: &Value) -> Option<Value> {
    let interpreter = env::var("SPANWRIGHT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/references");
    let started = Command::new(&interpreter)
        .arg("-B")
        .arg(folder.join(script))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child = match started {
        Ok(child) => child,
        Err(cause) => return skipped(script, &format!("{interpreter}: {cause}")),
    };
    // Scripts read all of their input before they answer. One that lacks a module ends without reading: that the pipe
    // then breaks is told better by its own words.
    let _ = child.stdin.take().expect("stdin is piped").write_all(input.to_string().as_bytes());
    let output = child.wait_with_output().expect("a started script can be waited for");
    let complaint = String::from_utf8_lossy(&output.stderr);
    if let Some(missing) = complaint.lines().find(|line| line.starts_with("ModuleNotFoundError")) {
        return skipped(script, missing);
    }
    assert!(output.status.success(), "{script} failed:\n{complaint}");
    Some(serde_json::from_slice(&output.stdout).expect("scripts answer in JSON"))
}

fn skipped(script: &str, reason: &str) -> Option<Value> {
    let required = env::var("SPANWRIGHT_REQUIRE").unwrap_or_default();
    let line = format!(
        "skipped: comparison by tests/references/{script} ({reason}); pip install -r tests/references/requirements.txt \
         and name that interpreter in SPANWRIGHT_PYTHON\n"
    );
    assert!(!required.split(',').any(|word| word.trim() == "references"), "{line}");
    // The handle itself: the test harness hides what is printed.
    std::io::stderr().write_all(line.as_bytes()).expect("standard error is open");
    None
}
