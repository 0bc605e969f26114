//! The disk, as the rooms ask for it. Without the feature `cli` there is none: nothing exists, and
//! nothing can be read.

#[cfg(feature = "cli")]
use std::fs::File;
use std::io;
#[cfg(feature = "cli")]
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// Whether something of this name exists.
pub fn exists(path: &Path) -> bool {
    cfg!(feature = "cli") && path.exists()
}

/// Whether it is there and no folder: a file, or what [`read`] refuses by its kind.
pub fn is_no_folder(path: &Path) -> bool {
    exists(path) && !is_folder(path)
}

/// Whether it is a link, wherever that leads.
pub fn is_link(path: &Path) -> bool {
    cfg!(feature = "cli") && path.is_symlink()
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

/// The top of the repository that a folder lies in: the nearest folder upwards that holds `.git`.
pub fn repository_of(folder: &Path) -> Option<&Path> {
    folder.ancestors().find(|up| exists(&up.join(".git")))
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

/// Why a file was not opened or not read. Each is a sentence without the file's name.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// There is nothing of this name.
    #[error("there is no such file or folder")]
    Missing,
    /// The system does not let the user read it.
    #[error("the file may not be read (permission denied)")]
    NotAllowed,
    /// It is no ordinary file, so it may have no end, or wait for ever.
    #[error(
        "this is {found}, and an ordinary file was expected: write its text into a file and name that"
    )]
    NotOrdinary {
        /// Its kind, with its article.
        found: &'static str,
    },
    /// It has more bytes than are read.
    #[error("the file has {size} bytes or more; at most {most} are read")]
    TooLarge {
        /// How many it has at least.
        size: u64,
        /// How many are read.
        most: u64,
    },
    /// The system could not do it.
    #[error("the file cannot be read: {0}")]
    Failed(io::Error),
}

impl From<io::Error> for FileError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound => Self::Missing,
            io::ErrorKind::PermissionDenied => Self::NotAllowed,
            _ => Self::Failed(error),
        }
    }
}

/// An ordinary file of a disk, opened to be read, and how many bytes it has. Everything that the program
/// reads is opened here: pipes, devices and files of the system itself are refused, and never waited for.
///
/// # Errors
///
/// When there is no such file, or it is of another kind.
#[cfg(feature = "cli")]
pub fn open(path: &Path) -> Result<(File, u64), FileError> {
    // Some devices do something when they are opened, so they are not.
    ordinary(&std::fs::metadata(path)?)?;
    let mut options = File::options();
    options.read(true);
    #[cfg(unix)]
    {
        use rustix::fs::OFlags;
        use std::os::unix::fs::OpenOptionsExt as _;
        let no_wait = OFlags::NONBLOCK | OFlags::NOCTTY | OFlags::CLOEXEC;
        options.custom_flags(no_wait.bits().cast_signed());
    }
    let file = options.open(path)?;
    // The name may stand for something else by now.
    let facts = file.metadata()?;
    ordinary(&facts)?;
    #[cfg(target_os = "linux")]
    if of_the_system(&file)? {
        return Err(FileError::NotOrdinary {
            found: "a file of the system itself (of its processes, devices or settings)",
        });
    }
    Ok((file, facts.len()))
}

/// Refuses all but ordinary files.
#[cfg(feature = "cli")]
fn ordinary(facts: &std::fs::Metadata) -> Result<(), FileError> {
    if facts.is_file() {
        return Ok(());
    }
    let found = if facts.is_dir() {
        "a folder"
    } else {
        kind(facts)
    };
    Err(FileError::NotOrdinary { found })
}

#[cfg(all(feature = "cli", unix))]
fn kind(facts: &std::fs::Metadata) -> &'static str {
    use std::os::unix::fs::FileTypeExt as _;
    let kind = facts.file_type();
    if kind.is_fifo() {
        "a pipe"
    } else if kind.is_socket() {
        "a socket"
    } else {
        "a device"
    }
}

#[cfg(all(feature = "cli", not(unix)))]
fn kind(_: &std::fs::Metadata) -> &'static str {
    "a device"
}

/// File systems that are a window on the running system: their files have no size that holds, may wait, and
/// hold what is nobody's score (the environment, with its secrets). Numbers: statfs(2) and linux/magic.h.
#[cfg(all(feature = "cli", target_os = "linux"))]
const OF_THE_SYSTEM: [u32; 24] = [
    0x0000_9FA0, // proc
    0x6265_6572, // sysfs
    0x6462_6720, // debugfs
    0x7472_6163, // tracefs
    0x7363_6673, // securityfs
    0x0027_E0EB, // cgroup
    0x6367_7270, // cgroup2
    0xCAFE_4A11, // bpf
    0x6165_676C, // pstore
    0xDE5E_81E4, // efivarfs
    0x6265_6570, // configfs
    0xF97C_FF8C, // selinux
    0x4341_5D53, // smack
    0x4249_4E4D, // binfmt_misc
    0x0000_1CD1, // devpts
    0x1980_0202, // mqueue
    0x6E73_6673, // namespaces
    0x5049_5045, // pipes
    0x534F_434B, // sockets
    0x0904_1934, // anonymous inodes
    0x6573_5543, // control of FUSE
    0x6759_6969, // rpc_pipefs
    0x6E66_7364, // nfsd
    0x0765_5821, // resctrl
];

#[cfg(all(feature = "cli", target_os = "linux"))]
fn of_the_system(file: &File) -> io::Result<bool> {
    let magic = rustix::fs::fstatfs(file)?.f_type;
    // The field has another width on each kind of machine; the numbers have 32 bits.
    Ok(OF_THE_SYSTEM.contains(&(magic as u32)))
}

/// The bytes of an ordinary file, `most` of them at most.
///
/// # Errors
///
/// When it cannot be opened ([`FileError`]), or has more.
pub fn read(path: &Path, most: u64) -> Result<Vec<u8>, FileError> {
    #[cfg(feature = "cli")]
    {
        let (file, size) = open(path)?;
        read_opened(file, size, most)
    }
    #[cfg(not(feature = "cli"))]
    {
        let _ = (path, most);
        let message = "no files can be opened here";
        Err(FileError::Failed(io::Error::new(
            io::ErrorKind::Unsupported,
            message,
        )))
    }
}

/// The same of a file that is opened; `size` is how many bytes it said it has.
///
/// # Errors
///
/// When it has more than `most`, whatever it said.
#[cfg(feature = "cli")]
pub fn read_opened(file: File, size: u64, most: u64) -> Result<Vec<u8>, FileError> {
    if size > most {
        return Err(FileError::TooLarge { size, most });
    }
    let mut bytes = Vec::new();
    // Where there is no room for it all, reading says so.
    let _ = bytes.try_reserve_exact(usize::try_from(size).unwrap_or_default());
    // One byte more than is allowed shows that there is more.
    file.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    let size = bytes.len() as u64;
    if size > most {
        return Err(FileError::TooLarge { size, most });
    }
    Ok(bytes)
}
