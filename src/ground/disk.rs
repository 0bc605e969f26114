//! The disk, as the rooms ask for it. Without the feature `cli` there is none: nothing exists, and
//! nothing can be read.

use std::io;
use std::path::{Path, PathBuf};

/// Whether something of this name exists.
pub fn exists(path: &Path) -> bool {
    cfg!(feature = "cli") && path.exists()
}

/// Whether it is a file.
pub fn is_file(path: &Path) -> bool {
    cfg!(feature = "cli") && path.is_file()
}

/// Whether it is a folder.
pub fn is_folder(path: &Path) -> bool {
    cfg!(feature = "cli") && path.is_dir()
}

/// The one true name of a file or folder that exists, with no link in it.
pub fn true_name(path: &Path) -> Option<PathBuf> {
    #[cfg(feature = "cli")]
    return std::fs::canonicalize(path).ok();
    #[cfg(not(feature = "cli"))]
    {
        let _ = path;
        None
    }
}

/// The folder that names without a folder are in.
pub fn here() -> PathBuf {
    #[cfg(feature = "cli")]
    return std::env::current_dir().unwrap_or_default();
    #[cfg(not(feature = "cli"))]
    PathBuf::new()
}

/// What a folder holds, in no order; nothing when it cannot be read.
pub fn entries(folder: &Path) -> Vec<PathBuf> {
    #[cfg(feature = "cli")]
    {
        let entries = std::fs::read_dir(folder).into_iter().flatten();
        entries.flatten().map(|e| e.path()).collect()
    }
    #[cfg(not(feature = "cli"))]
    {
        let _ = folder;
        Vec::new()
    }
}

/// How many bytes a file has.
///
/// # Errors
///
/// Those of the system.
pub fn size(path: &Path) -> io::Result<u64> {
    #[cfg(feature = "cli")]
    return Ok(std::fs::metadata(path)?.len());
    #[cfg(not(feature = "cli"))]
    Err(no_disk(path))
}

/// The bytes of a file.
///
/// # Errors
///
/// Those of the system.
pub fn read(path: &Path) -> io::Result<Vec<u8>> {
    #[cfg(feature = "cli")]
    return std::fs::read(path);
    #[cfg(not(feature = "cli"))]
    Err(no_disk(path))
}

#[cfg(not(feature = "cli"))]
fn no_disk(path: &Path) -> io::Error {
    let message = format!("no files can be opened here: {}", path.display());
    io::Error::new(io::ErrorKind::Unsupported, message)
}
