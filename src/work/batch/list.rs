//! Which photos: files, folders, patterns and lists become one list, each photo once, in the order of its path.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Component, Path, PathBuf};

use globset::GlobBuilder;
use walkdir::WalkDir;

/// Endings that are taken for photos in folders. The last three are phone formats that may not be readable; leaving
/// them out in silence would lose somebody's photo.
const ENDINGS: [&str; 9] = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif"];

/// A photo of the list.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Listed {
    /// Its name in tables: the path below the folder, pattern or list that it was found by.
    pub name: String,
    /// Where it is.
    pub path: PathBuf,
}

/// Why there is no list.
#[derive(Debug, thiserror::Error)]
pub enum ListError {
    /// Neither a file, a folder nor a pattern.
    #[error("{0}: there is no such file or folder")]
    Missing(String),
    /// A pattern that cannot be understood.
    #[error("{pattern}: is no pattern ({detail}); quote it and use * and ?, as in 'class/*.jpg'")]
    Pattern {
        /// As typed.
        pattern: String,
        /// What is wrong.
        detail: String,
    },
    /// A folder that cannot be read.
    #[error("{place}: cannot be read: {detail}")]
    Unreadable {
        /// The folder.
        place: String,
        /// What the system says.
        detail: String,
    },
    /// Nothing found.
    #[error("no photo was found in {0}; photos end in .jpg, .jpeg, .png, .tif, .tiff or .webp")]
    Nothing(String),
    /// One name for two photos.
    #[error("{0} and {1} would both be called \"{2}\"; give one folder above both instead")]
    SameName(String, String, String),
}

/// All photos that the places name, each once, sorted by name.
///
/// A folder is searched through, with all below it, and so is what a pattern matches, but for the pictures that the
/// program draws (`NAME.overlay.png`, and those of a batch); a place with `*`, `?` or `[` that does not exist itself is a
/// pattern (`**` crosses folders); anything else is a file, taken whatever its ending.
///
/// # Errors
/// [`ListError`].
pub fn find_photos(places: &[PathBuf]) -> Result<Vec<Listed>, ListError> {
    let mut found: BTreeMap<String, PathBuf> = BTreeMap::new();
    let mut add = |name: &Path, path: &Path| {
        let name = slashed(name);
        match found.insert(name.clone(), path.to_owned()) {
            Some(before) if std::fs::canonicalize(&before).ok() != std::fs::canonicalize(path).ok() => {
                Err(ListError::SameName(shown(&before), shown(path), name))
            }
            _ => Ok(()),
        }
    };
    for place in places {
        if place.is_dir() {
            for path in walk(place)? {
                if has_photo_ending(&path) && !is_ours(&path) {
                    add(path.strip_prefix(place).unwrap_or(&path), &path)?;
                }
            }
        } else if place.symlink_metadata().is_ok() {
            add(Path::new(place.file_name().unwrap_or(place.as_os_str())), place)?;
        } else if place.to_string_lossy().contains(['*', '?', '[']) {
            let (base, paths) = matching(place)?;
            for path in paths {
                add(path.strip_prefix(&base).unwrap_or(&path), &path)?;
            }
        } else {
            return Err(ListError::Missing(shown(place)));
        }
    }
    if found.is_empty() {
        return Err(ListError::Nothing(places.iter().map(|p| shown(p)).collect::<Vec<_>>().join(", ")));
    }
    Ok(found.into_iter().map(|(name, path)| Listed { name, path }).collect())
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

/// A path with forward slashes, so that tables are the same on every system.
fn slashed(path: &Path) -> String {
    let parts: Vec<_> = path
        .components()
        .filter(|c| !matches!(c, Component::CurDir | Component::RootDir))
        .map(|c| c.as_os_str().to_string_lossy())
        .collect();
    parts.join("/")
}

/// How the overlays that the program names itself end.
const OVERLAY_ENDING: &str = ".overlay.png";

/// Whether a file's ending, without the point, is one of a photo.
#[must_use]
pub fn is_photo_ending(ending: &OsStr) -> bool {
    ENDINGS.iter().any(|known| ending.eq_ignore_ascii_case(known))
}

fn has_photo_ending(path: &Path) -> bool {
    path.extension().is_some_and(is_photo_ending)
}

/// Whether it is the program's own picture of what it measured, which is no photo: by its ending, or, in the folder of a
/// batch, by the name that the batch gives.
fn is_ours(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.to_ascii_lowercase().ends_with(OVERLAY_ENDING) || super::record::names_picture(path)
}

/// All files below a folder, links followed, circles of links left.
fn walk(folder: &Path) -> Result<Vec<PathBuf>, ListError> {
    let mut files = Vec::new();
    for entry in WalkDir::new(folder).follow_links(true) {
        match entry {
            Ok(entry) if entry.file_type().is_file() => files.push(entry.into_path()),
            Ok(_) => {}
            // A circle of links or a link to nowhere holds no photo of its own.
            Err(error) if error.loop_ancestor().is_some() => {}
            Err(error) if error.path().is_some_and(Path::is_symlink) => {}
            Err(error) if error.io_error().is_some_and(|e| e.kind() == std::io::ErrorKind::NotFound) => {}
            Err(error) => return Err(ListError::Unreadable { place: shown(folder), detail: error.to_string() }),
        }
    }
    Ok(files)
}

/// The folder before the first wild card, and the files that match.
fn matching(pattern: &Path) -> Result<(PathBuf, Vec<PathBuf>), ListError> {
    let wild = |c: &Component<'_>| c.as_os_str().to_string_lossy().contains(['*', '?', '[']);
    let base: PathBuf = pattern.components().take_while(|c| !wild(c)).collect();
    let base = if base.as_os_str().is_empty() { PathBuf::from(".") } else { base };
    let below: PathBuf = pattern.components().skip_while(|c| !wild(c)).collect();
    let glob = GlobBuilder::new(&below.to_string_lossy())
        .literal_separator(true)
        .build()
        .map_err(|e| ListError::Pattern { pattern: shown(pattern), detail: e.to_string() })?
        .compile_matcher();
    if !base.is_dir() {
        return Err(ListError::Missing(shown(&base)));
    }
    let mut files = walk(&base)?;
    files.retain(|f| f.strip_prefix(&base).is_ok_and(|below| glob.is_match(below)) && !is_ours(f));
    Ok((base, files))
}
