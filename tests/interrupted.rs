//! A `make` that is killed half way: what the folder holds is whole, and the next run leaves nothing behind.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::Instant;

/// Runs killed after a share of their time, and when some files are begun.
const EARLY: u32 = 4;
const LATE: u32 = 36;

const OLD: &str = r#"
[build]
name = "Tide board"

[paper]
use = ["A4", "A3", "Legal", "A5"]

[[piece]]
name    = "board"
fixed   = true
outline = "M 0 0 H 700 V 500 H 0 Z"
"#;

/// Of the same name, with another piece and on other papers: no file is equal, one goes, one is added.
const NEW: &str = r#"
[build]
name = "Tide board"

[paper]
use = ["A4", "A3", "Letter", "A5"]

[[piece]]
name    = "board, rounded"
fixed   = true
outline = "M 0 0 H 650 C 710 150 710 350 650 500 H 0 Z"
"#;

type Files = BTreeMap<String, Vec<u8>>;

fn make(build: &Path, out: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_spanwright"));
    command.arg("make").arg(build).arg("--out").arg(out).stdout(Stdio::null()).stderr(Stdio::null());
    command
}

fn make_whole(build: &Path, out: &Path) {
    assert!(make(build, out).status().expect("the program starts").success());
}

fn files(folder: &Path) -> Files {
    let entries = fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("it can be listed"));
    entries
        .map(|entry| {
            (entry.file_name().to_string_lossy().into_owned(), fs::read(entry.path()).expect("it can be read"))
        })
        .collect()
}

/// A folder that holds `files` and nothing else.
fn refill(folder: &Path, files: &Files) {
    if folder.exists() {
        fs::remove_dir_all(folder).expect("removed");
    }
    fs::create_dir(folder).expect("made");
    files.iter().for_each(|(name, bytes)| fs::write(folder.join(name), bytes).expect("written"));
}

/// Names in `folder`; files that have not taken their names yet begin with a point.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("it can be listed"));
    entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
}

/// How many files of `folder` have not taken their names yet.
fn nameless(folder: &Path) -> usize {
    names(folder).iter().filter(|name| name.starts_with('.')).count()
}

/// Waits until `count` files in `folder` are begun, or the run is over.
fn wait_for(count: usize, folder: &Path, run: &mut Child) {
    while nameless(folder) < count && run.try_wait().expect("it can be asked").is_none() {}
}

/// Fails where a file of the folder, after a kill, is neither old nor new, or what its manifest names is not there.
fn check_whole(now: &Files, old: &Files, new: &Files) {
    let names: BTreeSet<&String> = old.keys().chain(new.keys()).collect();
    for name in names {
        let Some(bytes) = now.get(name) else { continue };
        let is_whole = [old, new].iter().any(|files| files.get(name) == Some(bytes));
        assert!(is_whole, "{name} is neither the old file nor the new one");
    }
    let manifest = &now["made.json"];
    serde_json::from_slice::<serde_json::Value>(manifest).expect("JSON");
    let named = if *manifest == new["made.json"] { new } else { old };
    for name in named.keys() {
        assert!(now.contains_key(name), "{name} is named by made.json and is not there");
    }
    if std::ptr::eq(named, new) {
        new.iter().for_each(|(name, bytes)| assert!(now[name] == *bytes, "made.json is new before {name} is"));
    }
}

#[test]
fn a_killed_make_leaves_every_file_old_or_new_and_the_next_one_no_litter() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let build = |name: &str, text: &str| -> PathBuf {
        let folder = folder.path().join(name);
        fs::create_dir(&folder).expect("made");
        fs::write(folder.join("tide-board.toml"), text).expect("written");
        folder.join("tide-board.toml")
    };
    let (old_build, new_build) = (build("old", OLD), build("new", NEW));
    let out = folder.path().join("out");
    let whole = |build: &Path| {
        refill(&out, &Files::new());
        make_whole(build, &out);
        files(&out)
    };
    let (old, new) = (whole(&old_build), whole(&new_build));
    assert!(old.iter().all(|(name, bytes)| new.get(name) != Some(bytes)));
    check_whole(&old, &old, &new);

    let start = Instant::now();
    make_whole(&new_build, &out);
    let whole_run = start.elapsed();

    let mut half_way = 0;
    for step in 0..EARLY + LATE {
        refill(&out, &old);
        fs::write(out.join("notes.txt"), "the maker's own").expect("written");
        let mut run = make(&new_build, &out).spawn().expect("the program starts");
        match step.checked_sub(EARLY) {
            None => sleep(whole_run * step / EARLY),
            Some(late) => wait_for(1 + late as usize % new.len(), &out, &mut run),
        }
        // It may be over already.
        let _ = run.kill();
        run.wait().expect("it ends");
        half_way += u32::from(nameless(&out) > 0);
        check_whole(&files(&out), &old, &new);
        make_whole(&new_build, &out);
        let mut after = files(&out);
        assert_eq!(after.remove("notes.txt").as_deref(), Some(&b"the maker's own"[..]));
        assert_eq!(after.keys().collect::<Vec<_>>(), new.keys().collect::<Vec<_>>(), "after kill {step}");
        assert!(after == new);
    }
    assert!(half_way > LATE / 6, "only {half_way} runs were killed while they wrote: this test would see nothing");
}
