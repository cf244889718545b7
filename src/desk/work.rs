//! The open build file: every change of it is written at once, and can be taken back.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::io;
use std::path::{Path, PathBuf};

use crate::build_file::{Change, Step, as_json, carried, change};
use crate::output::replace;

/// A build file and what was done to it since it was opened.
pub(super) struct Work {
    pub(super) path: PathBuf,
    /// What lies on the disk, as far as is known.
    pub(super) text: String,
    past: Vec<Kept>,
    future: Vec<Kept>,
}

/// A text that was, and what was done to it.
struct Kept {
    text: String,
    done: String,
    by_hand: bool,
}

/// Why something is not done. Nothing was written.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Refusal {
    /// Somebody else changed the very thing meanwhile.
    Meanwhile(Vec<Step>),
    /// The next step back or forth was made outside of the page: it is asked for first.
    ByHand,
    /// There is nothing to take back.
    Nothing,
    /// It cannot be written into this file.
    Unfit(String),
    /// The machine failed.
    Machine(String),
}

/// What a change made outside of the page is called.
const BY_HAND: &str = "changed outside of this page";

/// Names a text.
pub(super) fn version(text: &str) -> String {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

impl Work {
    pub(super) fn open(path: &Path) -> Result<Self, String> {
        Ok(Self { path: path.to_owned(), text: read(path)?, past: Vec::new(), future: Vec::new() })
    }

    pub(super) fn name(&self) -> String {
        self.path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
    }

    /// What the last step was, and the one that was taken back last.
    pub(super) fn around(&self) -> [Option<&str>; 2] {
        [&self.past, &self.future].map(|steps| steps.last().map(|kept| kept.done.as_str()))
    }

    /// Takes in what somebody else wrote. Whether there was anything.
    pub(super) fn take_in(&mut self) -> Result<bool, Refusal> {
        let found = read(&self.path).map_err(Refusal::Machine)?;
        if found == self.text {
            return Ok(false);
        }
        let text = std::mem::replace(&mut self.text, found);
        self.past.push(Kept { text, done: BY_HAND.to_owned(), by_hand: true });
        self.future.clear();
        Ok(true)
    }

    /// Makes `changes` that were meant for the text of that version.
    pub(super) fn change(&mut self, meant_for: &str, done: &str, changes: &[Change]) -> Result<(), Refusal> {
        self.take_in()?;
        let unfit = |problem: crate::problem::Problem| Refusal::Unfit(problem.text);
        let now = as_json(&self.text).map_err(unfit)?;
        let changes = match self.of_version(meant_for) {
            Some(base) if base == self.text => changes.to_vec(),
            Some(base) => carried(&as_json(base).map_err(unfit)?, &now, changes).map_err(Refusal::Meanwhile)?,
            None => return Err(Refusal::Meanwhile(Vec::new())),
        };
        let text = change(&self.text, &changes).map_err(unfit)?;
        self.put(done, text)
    }

    /// Writes `text` as the next step.
    pub(super) fn put(&mut self, done: &str, text: String) -> Result<(), Refusal> {
        if text == self.text {
            return Ok(());
        }
        self.write(&text)?;
        let text = std::mem::replace(&mut self.text, text);
        self.past.push(Kept { text, done: done.to_owned(), by_hand: false });
        self.future.clear();
        Ok(())
    }

    /// Takes the last step back; one that was made outside of the page only when that is meant.
    pub(super) fn back(&mut self, by_hand_too: bool) -> Result<(), Refusal> {
        self.take_in()?;
        let last = self.past.last().ok_or(Refusal::Nothing)?;
        if last.by_hand && !by_hand_too {
            return Err(Refusal::ByHand);
        }
        self.write(&last.text)?;
        let kept = self.past.pop().expect("it was looked at");
        let text = std::mem::replace(&mut self.text, kept.text);
        self.future.push(Kept { text, ..kept });
        Ok(())
    }

    /// Does again what was taken back last.
    pub(super) fn forth(&mut self) -> Result<(), Refusal> {
        self.take_in()?;
        let next = self.future.last().ok_or(Refusal::Nothing)?;
        self.write(&next.text)?;
        let kept = self.future.pop().expect("it was looked at");
        let text = std::mem::replace(&mut self.text, kept.text);
        self.past.push(Kept { text, ..kept });
        Ok(())
    }

    fn write(&self, text: &str) -> Result<(), Refusal> {
        replace(&self.path, text.as_bytes()).map_err(|error| {
            Refusal::Machine(format!("“{}” cannot be written: {error}; it is as it was before", self.path.display()))
        })
    }

    fn of_version(&self, wanted: &str) -> Option<&str> {
        let all = self.past.iter().rev().chain(&self.future).map(|kept| kept.text.as_str());
        [self.text.as_str()].into_iter().chain(all).find(|text| version(text) == wanted)
    }
}

fn read(path: &Path) -> Result<String, String> {
    let name = path.file_name().unwrap_or(path.as_os_str()).display();
    let told = |error: &dyn std::fmt::Display| {
        format!("“{name}” cannot be read: {error}; what stands here is what it said before")
    };
    let bytes = std::fs::read(path).map_err(|error| told(&error))?;
    String::from_utf8(bytes).map_err(|error| told(&io::Error::new(io::ErrorKind::InvalidData, error.utf8_error())))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::chance::Dice;

    const TEXT: &str = "# of the coast\r\n[build]\r\nname = \"Vane\" # kept\r\n\r\n[[piece]]\r\nname = 'a'\r\n";

    fn opened(folder: &Path) -> Work {
        let path = folder.join("vane.toml");
        std::fs::write(&path, TEXT).expect("written");
        Work::open(&path).expect("opened")
    }

    fn named(name: &str) -> Vec<Change> {
        serde_json::from_value(json!([{ "at": ["build", "name"], "to": name }])).expect("a change")
    }

    fn on_disk(work: &Work) -> String {
        std::fs::read_to_string(&work.path).expect("there")
    }

    #[test]
    fn a_thousand_random_steps_taken_back_leave_the_file_as_it_was() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut work = opened(folder.path());
        let mut dice = Dice(3);
        let mut depth = 0_i32;
        for step in 0..1000 {
            let pick = (dice.uniform() * 5.0).floor();
            let now = version(&work.text);
            if pick < 3.0 {
                let change = match pick {
                    0.0 => json!([{ "at": ["build", "name"], "to": format!("n {step}") }]),
                    1.0 => json!([{ "at": ["piece", 0, "trace"], "to": { "inside": [step, 2.5] } }]),
                    _ => {
                        json!([{ "at": ["picture", "front", "known_length", 0], "to": { "name": format!("l {step}") } }])
                    }
                };
                let change: Vec<Change> = serde_json::from_value(change).expect("a change");
                work.change(&now, "changed", &change).expect("it can be");
                depth += 1;
            } else {
                let (went, way) = if pick < 4.0 { (work.back(false), -1) } else { (work.forth(), 1) };
                match went {
                    Ok(()) => depth += way,
                    // There is no other reason not to go.
                    Err(why) => assert_eq!((why, version(&work.text)), (Refusal::Nothing, now)),
                }
            }
            assert_eq!(on_disk(&work), work.text);
            assert_eq!(work.past.len(), usize::try_from(depth).expect("never before the first"));
        }
        assert!(depth > 300, "{depth}");
        while work.back(false).is_ok() {}
        assert_eq!(on_disk(&work), TEXT);
        while work.forth().is_ok() {}
        assert_ne!(on_disk(&work), TEXT);
    }

    #[test]
    fn what_somebody_else_writes_is_taken_in_and_never_lost() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut work = opened(folder.path());
        let seen = version(&work.text);
        std::fs::write(&work.path, TEXT.replace("name = 'a'", "name = 'a'\r\nfoam = \"10 mm\"")).expect("written");
        work.change(&seen, "named", &named("Latch")).expect("another place");
        assert!(on_disk(&work).contains("foam = \"10 mm\"") && on_disk(&work).contains("\"Latch\""));
        // The very value that was changed meanwhile.
        let seen = version(&work.text);
        std::fs::write(&work.path, on_disk(&work).replace("Latch", "Lantern")).expect("written");
        assert!(matches!(work.change(&seen, "named", &named("Ring")), Err(Refusal::Meanwhile(way)) if way.len() == 2));
        assert!(on_disk(&work).contains("Lantern"));
        assert_eq!(work.back(false), Err(Refusal::ByHand));
        assert!(on_disk(&work).contains("Lantern"));
        work.back(true).expect("it is meant");
        assert!(on_disk(&work).contains("Latch"));
        work.forth().expect("it comes back");
        assert!(on_disk(&work).contains("Lantern"));
        assert!(matches!(work.change("0", "named", &named("x")), Err(Refusal::Meanwhile(_))), "a version of nobody");
    }

    #[test]
    fn what_cannot_be_written_changes_nothing() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut work = opened(folder.path());
        let mut permissions = std::fs::metadata(&work.path).expect("there").permissions();
        permissions.set_readonly(true);
        std::fs::set_permissions(&work.path, permissions).expect("set");
        let seen = version(&work.text);
        assert!(matches!(work.change(&seen, "named", &named("Latch")), Err(Refusal::Machine(_))));
        assert_eq!((work.text.as_str(), work.around()), (TEXT, [None, None]));
    }
}
