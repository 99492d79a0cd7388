//! The one place that writes files: beside the target first, then renamed, so that no reader ever meets half a file.

use std::fs::{self, File, OpenOptions};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

/// Why a file cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The target is a folder.
    #[error("{}: is a folder; name a file", path.display())]
    IsFolder {
        /// The target.
        path: PathBuf,
    },
    /// The system refuses.
    #[error("{}: cannot be written: {source}; choose another place", path.display())]
    Refused {
        /// The target.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
}

/// A file to be written later, already known to be writable: open it before the long work.
#[derive(Debug)]
pub struct Target {
    path: PathBuf,
    open: Open,
}

#[derive(Debug)]
enum Open {
    /// A new file beside the target. It is made when there is something to write, so that a program that is killed during
    /// the long work leaves nothing behind; that one can be made was tried.
    Beside,
    /// A device or a pipe, which cannot be replaced by renaming.
    Direct(File),
}

impl Target {
    /// Opens a place for `path` without touching what stands there.
    ///
    /// # Errors
    /// [`WriteError`] where the target is a folder or its own folder is missing or not writable.
    pub fn open(path: &Path) -> Result<Self, WriteError> {
        let refused = |source| WriteError::Refused { path: path.to_owned(), source };
        // A link keeps pointing where it points: what it leads to is replaced.
        let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let open = match fs::metadata(&path) {
            Ok(about) if about.is_dir() => return Err(WriteError::IsFolder { path }),
            Ok(about) if !about.is_file() => Open::Direct(OpenOptions::new().write(true).open(&path).map_err(refused)?),
            _ => {
                // Dropping it removes it again.
                drop(beside(&path).map_err(refused)?);
                Open::Beside
            }
        };
        Ok(Self { path, open })
    }

    /// Puts in place what `fill` writes piece by piece, so that it need not be held in memory.
    ///
    /// # Errors
    /// [`WriteError::Refused`] with the first error of `fill` or of the system; the target then is as it was.
    pub fn fill(self, fill: impl FnOnce(&mut dyn Write) -> std::io::Result<()>) -> Result<(), WriteError> {
        let Self { path, open } = self;
        let done = match open {
            Open::Direct(file) => {
                let mut out = BufWriter::new(file);
                fill(&mut out).and_then(|()| out.flush())
            }
            Open::Beside => beside(&path).and_then(|mut file| {
                let mut out = BufWriter::new(file.as_file_mut());
                fill(&mut out).and_then(|()| out.flush())?;
                drop(out);
                file.persist(&path).map(|_| ()).map_err(|refused| refused.error)
            }),
        };
        done.map_err(|source| WriteError::Refused { path, source })
    }

    /// Writes all of it and puts it in place.
    ///
    /// # Errors
    /// [`WriteError::Refused`], for instance on a full disk; the target then is as it was.
    pub fn write(self, bytes: &[u8]) -> Result<(), WriteError> {
        self.fill(|out| out.write_all(bytes))
    }
}

/// Writes a whole file beside its target and renames it.
///
/// # Errors
/// [`WriteError`]; the target then is as it was.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    Target::open(path)?.write(bytes)
}

fn beside(path: &Path) -> std::io::Result<NamedTempFile> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".strandrule-").suffix(".tmp");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // As any new file, what the umask leaves; temporary files are private otherwise.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unwritten_target_leaves_no_trace() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.png");
        fs::write(&path, b"old").unwrap();
        let target = Target::open(&path).unwrap();
        // Killed here, it would leave nothing.
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        drop(target);
        assert_eq!(fs::read(&path).unwrap(), b"old");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn writing_replaces_the_whole_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.png");
        fs::write(&path, b"a longer old content").unwrap();
        write(&path, b"new").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn folders_and_missing_folders_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(Target::open(folder.path()), Err(WriteError::IsFolder { .. })));
        assert!(matches!(Target::open(&folder.path().join("no/where.png")), Err(WriteError::Refused { .. })));
    }

    #[cfg(unix)]
    #[test]
    fn a_link_keeps_pointing_at_the_new_content() {
        let folder = tempfile::tempdir().unwrap();
        let (real, link) = (folder.path().join("real"), folder.path().join("link"));
        fs::write(&real, b"old").unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        write(&link, b"new").unwrap();
        assert_eq!(fs::read(&real).unwrap(), b"new");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    }
}
