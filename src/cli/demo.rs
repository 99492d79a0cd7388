//! Writes demo photos and their truth.

use std::path::{Path, PathBuf};

use crate::synth::{self, Scene};

/// Why a demo could not be written.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// A file or folder.
    #[error("{path}: {source}; name a folder that can be written to")]
    Unwritable {
        /// Which.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A picture.
    #[error(transparent)]
    Encode(#[from] synth::EncodeError),
    /// The truth.
    #[error("the truth of {name} could not be written as JSON: {source}")]
    Truth {
        /// Of which photo.
        name: String,
        /// What the writer says.
        source: serde_json::Error,
    },
}

/// Writes `count` random scenes as NAME.jpg and NAME.json into a folder, which is made where it does not exist.
/// Scene `i` is that of seed `seed + i`, so that any part of a series can be written again.
///
/// # Errors
/// Fails where the folder or a file cannot be written; files already written stay.
pub fn write_scenes(dir: &Path, count: u64, seed: u64, mut each: impl FnMut(&str)) -> Result<(), DemoError> {
    for i in 0..count {
        let scene = synth::random_scene(seed + i);
        write_photo(dir, &scene)?;
        each(&scene.name);
    }
    Ok(())
}

/// Writes one scene as NAME.jpg and NAME.json; returns the photo's path.
///
/// # Errors
/// Fails where the folder or a file cannot be written.
pub fn write_photo(dir: &Path, scene: &Scene) -> Result<PathBuf, DemoError> {
    let (bytes, truth) = synth::shoot_jpeg(scene)?;
    let text = serde_json::to_string(&truth).map_err(|source| DemoError::Truth { name: scene.name.clone(), source })?;
    let photo = dir.join(format!("{}.jpg", scene.name));
    write(dir, &photo, &bytes)?;
    write(dir, &dir.join(format!("{}.json", scene.name)), text.as_bytes())?;
    Ok(photo)
}

/// Writes beside, then renames, so that nothing is ever half written.
pub(crate) fn write(dir: &Path, path: &Path, bytes: &[u8]) -> Result<(), DemoError> {
    let fail = |source| DemoError::Unwritable { path: path.to_owned(), source };
    std::fs::create_dir_all(dir).map_err(fail)?;
    let mut file = tempfile::NamedTempFile::new_in(dir).map_err(fail)?;
    std::io::Write::write_all(&mut file, bytes).map_err(fail)?;
    file.persist(path).map_err(|e| fail(e.error))?;
    Ok(())
}
