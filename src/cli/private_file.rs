//! A file with a secret of the program's own: made once, whole, and readable by its owner alone.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Put {
    New,
    /// Somebody else was faster: his stays, since others may go by it already.
    ThereAlready,
}

/// Puts the whole text under its name, or nothing: a machine that stops halfway leaves no file that cannot be read.
pub fn put(file: &Path, text: &str) -> std::io::Result<Put> {
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}-{:?}.new", std::process::id(), std::thread::current().id()));
    let begun = file.with_file_name(name);
    let mut new = OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&begun)?;
    let written = new.write_all(text.as_bytes()).and_then(|()| new.sync_all());
    // A link, unlike a renaming, does not put itself in the place of another file.
    let placed = written.and_then(|()| match std::fs::hard_link(&begun, file) {
        Ok(()) => Ok(Put::New),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Ok(Put::ThereAlready),
        // Some file systems know no second name for a file.
        Err(_) if !file.exists() => std::fs::rename(&begun, file).map(|()| Put::New),
        Err(error) => Err(error),
    });
    // Gone already where it was renamed.
    let _ = std::fs::remove_file(&begun);
    let put = placed?;
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()?;
    Ok(put)
}
