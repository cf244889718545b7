//! Writing files so that each is either old or new, and whole.

use std::collections::BTreeSet;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// A file to be written.
#[derive(Clone, Debug)]
pub struct OutFile {
    /// Its name in the folder.
    pub name: String,
    /// What it holds.
    pub bytes: Vec<u8>,
}

/// The file that names all others, written last.
const MANIFEST: &str = "made.json";
/// Names, as the manifest does, files that are to be removed: a run that is killed before it has is made good by the next.
const LEAVING: &str = ".spanwright-leaving.json";
/// What is written before it gets its name starts with this, and goes on with as many letters and figures as
/// `tempfile` takes.
const UNNAMED: (&str, usize) = (".spanwright-", 6);

/// Writes `files` into `folder`, each one atomically, in their order; the manifest should come last. All are written in full
/// before the first takes its name. Files that only the former manifest names are removed after that, and what a killed run
/// left half written is before; nothing else in the folder is touched.
///
/// Errors: the folder cannot be made, or a file cannot be written: then every file is still the old one, or, if only taking
/// the names failed, the old or the new one. [`io::ErrorKind::AlreadyExists`] if a file of one of the names is there that no
/// run has written, or if `folder` is a file.
pub fn save(folder: &Path, files: &[OutFile]) -> io::Result<()> {
    std::fs::create_dir_all(folder)?;
    remove_half_written(folder)?;
    let kept: BTreeSet<&str> = files.iter().map(|file| file.name.as_str()).collect();
    let mut ours: BTreeSet<String> = [MANIFEST, LEAVING].iter().flat_map(|list| named_in(&folder.join(list))).collect();
    refuse_others(folder, &kept, &ours)?;
    let written = files.iter().map(|file| Written::new(&folder.join(&file.name), &file.bytes));
    let written: Vec<Written> = written.collect::<io::Result<_>>()?;
    // If this run is killed, the next one knows by this list what it finds.
    ours.extend(kept.iter().map(|name| (*name).to_owned()));
    replace(&folder.join(LEAVING), serde_json::json!({ "files": ours }).to_string().as_bytes())?;
    written.into_iter().try_for_each(Written::named)?;
    let leaving = ours.iter().map(String::as_str).filter(|name| !kept.contains(name));
    leaving.chain([LEAVING]).try_for_each(|name| remove(&folder.join(name)))
}

/// Refuses to write over what is not ours.
fn refuse_others(folder: &Path, wanted: &BTreeSet<&str>, ours: &BTreeSet<String>) -> io::Result<()> {
    let other = |name: &&&str| **name != MANIFEST && !ours.contains(**name) && folder.join(name).exists();
    match wanted.iter().find(other) {
        Some(name) => Err(io::Error::new(
            io::ErrorKind::AlreadyExists,
            format!("its {name} was not written by `make` and would be lost; move it away, or name another folder"),
        )),
        None => Ok(()),
    }
}

/// Removes what runs that were killed wrote and did not come to name.
pub(crate) fn remove_half_written(folder: &Path) -> io::Result<()> {
    let (start, more) = UNNAMED;
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let is_ours = name
            .to_str()
            .and_then(|name| name.strip_prefix(start))
            .is_some_and(|rest| rest.len() == more && rest.bytes().all(|byte| byte.is_ascii_alphanumeric()));
        if is_ours && entry.file_type()?.is_file() {
            remove(&entry.path())?;
        }
    }
    Ok(())
}

/// Removes a file that may be gone already.
fn remove(path: &Path) -> io::Result<()> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

/// Puts `bytes` in the place of `path` in one step: a reader sees the old file or the new one. Where `path` is a link, what
/// it leads to is replaced.
///
/// Errors: a file that may not be written stays, although its folder would let it be replaced.
pub(crate) fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    Written::new(path, bytes)?.named()
}

/// A file that is written in full, but has not taken its name yet.
struct Written {
    file: tempfile::NamedTempFile,
    path: PathBuf,
}

impl Written {
    fn new(path: &Path, bytes: &[u8]) -> io::Result<Self> {
        let path = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let old = std::fs::metadata(&path).ok().map(|old| old.permissions());
        if old.as_ref().is_some_and(std::fs::Permissions::readonly) {
            let text = format!("{} is set read-only", path.display());
            return Err(io::Error::new(io::ErrorKind::PermissionDenied, text));
        }
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
        let mut file = tempfile::Builder::new().prefix(UNNAMED.0).rand_bytes(UNNAMED.1).tempfile_in(folder)?;
        file.write_all(bytes)?;
        // A new temporary file is private; what it replaces keeps its permissions, a new one gets the usual ones.
        match old {
            Some(old) => file.as_file().set_permissions(old)?,
            None => set_usual_permissions(file.as_file())?,
        }
        file.as_file().sync_all()?;
        Ok(Self { file, path })
    }

    fn named(self) -> io::Result<()> {
        self.file.persist(self.path).map(drop).map_err(|error| error.error)
    }
}

#[cfg(unix)]
fn set_usual_permissions(file: &std::fs::File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn set_usual_permissions(_: &std::fs::File) -> io::Result<()> {
    Ok(())
}

/// Plain file names that the manifest at `path` lists; a name that leads out of the folder is none of ours.
fn named_in(path: &Path) -> Vec<String> {
    let Ok(bytes) = std::fs::read(path) else { return Vec::new() };
    let Ok(manifest) = serde_json::from_slice::<serde_json::Value>(&bytes) else { return Vec::new() };
    let names = manifest["files"].as_array().into_iter().flatten();
    names
        .filter_map(|name| name.as_str())
        .filter(|name| Path::new(name).file_name() == Some(name.as_ref()))
        .map(str::to_owned)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(name: &str, text: &str) -> OutFile {
        OutFile { name: name.into(), bytes: text.into() }
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut all: Vec<String> = std::fs::read_dir(folder)
            .expect("the folder is there")
            .map(|entry| entry.expect("it can be listed").file_name().to_string_lossy().into_owned())
            .collect();
        all.sort();
        all
    }

    #[test]
    fn what_no_run_has_written_is_not_written_over() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::write(folder.path().join("preview.png"), "mine").expect("written");
        let set = [file("pattern-a4.pdf", "new"), file("preview.png", "new"), file(MANIFEST, "{}")];
        let error = save(folder.path(), &set).expect_err("the maker's file is in the way");
        assert_eq!(error.kind(), io::ErrorKind::AlreadyExists);
        assert!(error.to_string().contains("preview.png"), "{error}");
        assert_eq!(names(folder.path()), ["preview.png"]);
        std::fs::remove_file(folder.path().join("preview.png")).expect("removed");
        save(folder.path(), &set).expect("nothing is in the way");
    }

    #[test]
    fn a_set_that_cannot_be_written_whole_leaves_the_old_one() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let set = |text| [file("a", text), file("b", text), file(MANIFEST, r#"{"files":["a","b","made.json"]}"#)];
        save(folder.path(), &set("old")).expect("written");
        let b = folder.path().join("b");
        let mut permissions = std::fs::metadata(&b).expect("there").permissions();
        permissions.set_readonly(true);
        std::fs::set_permissions(&b, permissions).expect("set");
        save(folder.path(), &set("new")).expect_err("b may not be written");
        assert_eq!(std::fs::read_to_string(folder.path().join("a")).expect("there"), "old");
    }

    #[test]
    fn a_read_only_file_stays_and_a_link_keeps_leading_to_its_file() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("staff.toml");
        replace(&path, b"old").expect("written");
        let set = |readonly: bool| {
            let mut permissions = std::fs::metadata(&path).expect("there").permissions();
            permissions.set_readonly(readonly);
            std::fs::set_permissions(&path, permissions).expect("set");
        };
        set(true);
        assert_eq!(replace(&path, b"new").expect_err("read-only").kind(), io::ErrorKind::PermissionDenied);
        assert_eq!(std::fs::read(&path).expect("there"), b"old");
        #[cfg(unix)]
        {
            std::fs::set_permissions(&path, std::os::unix::fs::PermissionsExt::from_mode(0o644)).expect("set");
            let link = folder.path().join("link.toml");
            std::os::unix::fs::symlink(&path, &link).expect("linked");
            replace(&link, b"new").expect("written");
            assert!(std::fs::symlink_metadata(&link).expect("there").is_symlink());
            assert_eq!(std::fs::read(&path).expect("there"), b"new");
        }
        #[cfg(not(unix))]
        set(false);
    }

    #[test]
    fn what_only_the_former_run_made_goes_and_what_others_put_there_stays() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path();
        std::fs::write(path.join("notes.txt"), "mine").expect("written");
        std::fs::write(path.join("a.pdf.bak"), "mine").expect("written");
        save(
            path,
            &[
                file("a.pdf", "1"),
                file("b.pdf", "1"),
                file(MANIFEST, r#"{"files":["a.pdf","b.pdf","made.json","../x","notes.txt/.."]}"#),
            ],
        )
        .expect("saved");
        save(path, &[file("a.pdf", "2"), file(MANIFEST, r#"{"files":["a.pdf","made.json"]}"#)]).expect("saved");
        assert_eq!(names(path), ["a.pdf", "a.pdf.bak", "made.json", "notes.txt"]);
        assert_eq!(std::fs::read_to_string(path.join("a.pdf")).expect("read"), "2");
    }

    #[test]
    fn what_a_killed_run_left_goes_with_the_next() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path();
        let write = |name: &str, text: &str| std::fs::write(path.join(name), text).expect("written");
        // Killed between its manifest and the removal of what only the one before named, another while it wrote.
        write("a.pdf", "1");
        write("b.pdf", "0");
        write(MANIFEST, r#"{"files":["a.pdf","made.json"]}"#);
        write(LEAVING, r#"{"files":["b.pdf","../x"]}"#);
        write(".spanwright-q7Xa0Z", "half");
        write(".spanwright-notes.txt", "mine");
        save(path, &[file("a.pdf", "2"), file(MANIFEST, r#"{"files":["a.pdf","made.json"]}"#)]).expect("saved");
        assert_eq!(names(path), [".spanwright-notes.txt", "a.pdf", "made.json"]);
    }

    #[test]
    fn a_file_that_cannot_be_replaced_leaves_no_litter() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::create_dir_all(folder.path().join("a.pdf/full")).expect("a folder where the file should go");
        assert!(save(folder.path(), &[file("a.pdf", "1")]).is_err());
        assert_eq!(names(folder.path()), ["a.pdf"]);
    }
}
