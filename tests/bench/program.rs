//! The program as a child process, and what it used.

use std::ffi::OsString;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use wait4::Wait4 as _;

/// By this first argument the bench knows that it is the process in between.
const BETWEEN: &str = "--between";

/// What one run took.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Used {
    /// From start to end on the clock.
    pub(crate) ms: f64,
    /// Peak resident set of the process as the kernel tells it at its end: heap with what the allocator keeps, stacks of
    /// all threads, and the pages in use of the program itself.
    pub(crate) mib: f64,
}

/// Runs `spanwright` in `folder`.
///
/// Linux counts the peak of the process that forks into the child's. The bench has held pictures by then, so a small
/// process of its own starts the program.
pub(crate) fn run(folder: &Path, arguments: &[&str]) -> Used {
    let ourselves = std::env::current_exe().expect("a running program has a path");
    let output = Command::new(ourselves)
        .arg(BETWEEN)
        .args(arguments)
        .current_dir(folder)
        .stderr(Stdio::inherit())
        .output()
        .expect("the bench can be started again");
    assert!(output.status.success(), "spanwright {arguments:?} failed");
    let told = String::from_utf8(output.stdout).expect("two numbers");
    let (ms, mib) = told.split_once(' ').expect("two numbers");
    Used { ms: ms.parse().expect("a number"), mib: mib.parse().expect("a number") }
}

/// The arguments for the program when this process is the one in between.
pub(crate) fn asked_between() -> Option<Vec<OsString>> {
    let mut arguments = std::env::args_os().skip(1);
    (arguments.next()? == BETWEEN).then(|| arguments.collect())
}

/// Runs the program and gives the text that [`run`] reads.
pub(crate) fn between(arguments: &[OsString]) -> String {
    let start = Instant::now();
    let child = Command::new(env!("CARGO_BIN_EXE_spanwright")).args(arguments).stdout(Stdio::null()).spawn();
    let used = child.and_then(|child| child.wait4()).expect("the program can be started");
    let ms = start.elapsed().as_secs_f64() * 1e3;
    assert!(used.status.success(), "{}", used.status);
    format!("{ms} {}", used.rusage.maxrss as f64 / super::MIB)
}
