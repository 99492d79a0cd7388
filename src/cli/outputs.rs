//! No output is an input or another output, told by what the files are and not by how they are spelt; asked before
//! anything is read or written.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::ffi::OsString;
use std::path::{Component, Path, PathBuf};

use super::exit::Failure;
use super::habits;
use crate::work::saved;

/// Everything that a command reads and writes.
#[derive(Debug, Default)]
pub(super) struct Places {
    read: Vec<(String, PathBuf)>,
    named: Vec<(String, PathBuf)>,
    own: Vec<PathBuf>,
}

impl Places {
    /// Those of every command: the person's habits, and standard output where it is a file.
    pub(super) fn of_program() -> Self {
        let mut places = Self::default();
        if let habits::Place::Stated(path) | habits::Place::Usual(path) = habits::Place::of_environment() {
            places.reads("the file of your habits", &path);
        }
        let stdout = Path::new("/dev/stdout");
        if std::fs::metadata(stdout).is_ok_and(|about| about.is_file()) {
            places.writes("standard output", stdout);
        }
        places
    }

    /// A file that will be read.
    pub(super) fn reads(&mut self, what: &str, path: &Path) {
        self.read.push((what.to_owned(), path.to_owned()));
    }

    /// A file that will be read, where one is named.
    pub(super) fn may_read(&mut self, what: &str, path: Option<&Path>) {
        self.read.extend(path.map(|path| (what.to_owned(), path.to_owned())));
    }

    /// A file that will be written because the person named it.
    pub(super) fn writes(&mut self, option: &str, path: &Path) {
        self.named.push((option.to_owned(), path.to_owned()));
    }

    /// Files in a folder that the person named, under names of the program's own: they differ among each other.
    pub(super) fn writes_own(&mut self, paths: impl IntoIterator<Item = PathBuf>) {
        self.own.extend(paths);
    }

    /// Whatever in a folder has this ending, where names are not known beforehand.
    pub(super) fn writes_own_in(&mut self, folder: &Path, ending: &str) {
        self.own.extend(entries(folder).filter(|path| has_ending(path, ending)));
    }

    /// # Errors
    /// [`Failure::Usage`] naming both.
    pub(super) fn check(&self) -> Result<(), Failure> {
        let mut read: BTreeMap<Identity, &(String, PathBuf)> = BTreeMap::new();
        for input in &self.read {
            read.entry(Identity::of(&input.1)).or_insert(input);
        }
        let own = self.own.iter().map(|path| (None, path));
        for (option, path) in self.named.iter().map(|(option, path)| (Some(option), path)).chain(own) {
            if let Some((what, input)) = read.get(&Identity::of(path)) {
                let option = option.map(|o| format!("{o} ")).unwrap_or_default();
                return Err(Failure::Usage(format!(
                    "{option}{} would be written over {what} {}; choose another place",
                    path.display(),
                    input.display()
                )));
            }
        }
        let mut written: BTreeMap<Identity, &(String, PathBuf)> = BTreeMap::new();
        for output in &self.named {
            match written.entry(Identity::of(&output.1)) {
                Entry::Vacant(free) => {
                    free.insert(output);
                }
                Entry::Occupied(taken) => {
                    let (option, path) = taken.get();
                    return Err(Failure::Usage(format!(
                        "{option} {} and {} {} are one file; name two",
                        path.display(),
                        output.0,
                        output.1.display()
                    )));
                }
            }
        }
        Ok(())
    }
}

/// What a file is.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Identity {
    /// The system's own number for it, which all its names and links share.
    #[cfg(unix)]
    Number(u64, u64),
    /// Its folder, links resolved, and its name, in small letters: some file systems do not tell them from capitals, and
    /// refusing `A.csv` beside `a.csv` costs less than losing one of them.
    Name(OsString),
}

impl Identity {
    fn of(path: &Path) -> Self {
        #[cfg(unix)]
        if let Ok(about) = std::fs::metadata(path) {
            use std::os::unix::fs::MetadataExt;
            return Self::Number(about.dev(), about.ino());
        }
        let resolved = std::fs::canonicalize(path).unwrap_or_else(|_missing| resolved(path));
        Self::Name(match resolved.to_str() {
            Some(text) => text.to_lowercase().into(),
            None => resolved.into_os_string(),
        })
    }
}

/// A path that is not there yet: its nearest folder that is there with links resolved, and the rest by its words.
fn resolved(path: &Path) -> PathBuf {
    let mut rest = Vec::new();
    let mut base = path;
    let known = loop {
        let at = if base.as_os_str().is_empty() { Path::new(".") } else { base };
        if let Ok(known) = std::fs::canonicalize(at) {
            break known;
        }
        match (base.components().next_back(), base.parent()) {
            (Some(last), Some(above)) => {
                rest.push(last);
                base = above;
            }
            _ => break base.to_owned(),
        }
    };
    let mut out = known;
    for part in rest.into_iter().rev() {
        match part {
            Component::ParentDir => {
                out.pop();
            }
            Component::CurDir => {}
            other => out.push(other),
        }
    }
    out
}

/// The saved reports that places mean: files, or those in folders.
pub(super) fn reads_reports(places: &mut Places, named: &[PathBuf]) {
    for place in named {
        for file in saved::files_of(place) {
            places.reads("the report", &file);
        }
    }
}

/// The entries of a folder; none where it cannot be read.
pub(super) fn entries(folder: &Path) -> impl Iterator<Item = PathBuf> {
    std::fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path())
}

/// Whether a name ends so, in capitals or not.
pub(super) fn has_ending(path: &Path, ending: &str) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case(ending))
}

/// Refuses a name whose ending says another format. A name without one is the person's own affair.
///
/// # Errors
/// [`Failure::Usage`].
pub(super) fn ends_in(option: &str, path: &Path, ending: &str) -> Result<(), Failure> {
    if path.extension().is_some() && !has_ending(path, ending) {
        return Err(Failure::Usage(format!("{option} {}: it is a {ending} file; name it so", path.display())));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn check(read: &[&Path], written: &[&Path]) -> Result<(), String> {
        let mut places = Places::default();
        read.iter().for_each(|path| places.reads("the photo", path));
        written.iter().for_each(|path| places.writes("--csv", path));
        places.check().map_err(|e| e.to_string())
    }

    #[test]
    fn spellings_of_one_file_are_one() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("sub")).unwrap();
        fs::write(at("a.jpg"), b"x").unwrap();
        fs::write(at("b.jpg"), b"x").unwrap();
        for same in ["a.jpg", "./a.jpg", "sub/../a.jpg", "sub/.././sub/../a.jpg"] {
            let error = check(&[&at("a.jpg")], &[&at(same)]).unwrap_err();
            assert!(error.contains("the photo") && error.contains("a.jpg"), "{error}");
        }
        // The same content is another file.
        assert_eq!(check(&[&at("a.jpg")], &[&at("b.jpg")]), Ok(()));
        assert_eq!(check(&[&at("a.jpg")], &[&at("new.csv"), &at("other.csv"), &at("sub/new.csv")]), Ok(()));
    }

    #[test]
    fn two_outputs_that_are_not_there_yet_are_told_apart() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("sub")).unwrap();
        for same in ["x.csv", "X.CSV", "sub/../x.csv", "no/../x.csv", "./x.csv"] {
            assert!(check(&[], &[&at("x.csv"), &at(same)]).is_err(), "{same}");
        }
        assert_eq!(check(&[], &[&at("no/x.csv"), &at("x.csv"), &at("no/where/x.csv")]), Ok(()));
    }

    #[cfg(unix)]
    #[test]
    fn links_are_what_they_lead_to() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("sub")).unwrap();
        fs::write(at("a.jpg"), b"x").unwrap();
        fs::hard_link(at("a.jpg"), at("hard.jpg")).unwrap();
        std::os::unix::fs::symlink(at("a.jpg"), at("soft.jpg")).unwrap();
        std::os::unix::fs::symlink(folder.path(), at("sub/up")).unwrap();
        for same in ["hard.jpg", "soft.jpg", "sub/up/a.jpg", "sub/up/sub/up/hard.jpg"] {
            assert!(check(&[&at("a.jpg")], &[&at(same)]).is_err(), "{same}");
            assert!(check(&[&at(same)], &[&at("a.jpg")]).is_err(), "{same}");
        }
        assert!(check(&[], &[&at("new.csv"), &at("sub/up/new.csv")]).is_err());
    }
}
