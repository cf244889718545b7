//! A room uses the rooms above it and no other.

use std::fs;
use std::path::{Path, PathBuf};

use spanwright::ROOMS;

fn files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("src can be listed") {
        let path = entry.expect("src can be listed").path();
        if path.is_dir() {
            files(&path, into);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn every_room_uses_only_rooms_above_it() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut all = Vec::new();
    files(&src, &mut all);
    let mut seen = 0;
    for path in all {
        let inside = path.strip_prefix(&src).expect("it lies in src");
        let first = inside.components().next().expect("it has a name").as_os_str().to_string_lossy();
        let room = first.trim_end_matches(".rs");
        let Some(place) = ROOMS.iter().position(|name| *name == room) else { continue };
        let text = fs::read_to_string(&path).expect("source is text");
        for used in text.split("crate::").skip(1) {
            let used = used.split(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap_or_default();
            let Some(at) = ROOMS.iter().position(|name| *name == used) else { continue };
            seen += 1;
            assert!(at <= place, "{} uses {used}, which stands below {room}", inside.display());
        }
    }
    assert!(seen > 100, "only {seen} uses were found; the test reads nothing");
}
