//! One writer at a time.
//!
//! The lock is a file beside the film, held by the operating system for as long as the process
//! lives: a killed process leaves no lock behind. It is not taken on the film file itself, because
//! closing any handle of a file drops the locks that SQLite holds on it.

use crate::{FilmError, Result};
use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

/// The lock file of a film: its own name with `-lock` added.
#[must_use]
pub fn lock_path(film: &Path) -> PathBuf {
    let mut name = film.as_os_str().to_owned();
    name.push("-lock");
    PathBuf::from(name)
}

/// The right to write, given back when dropped.
#[derive(Debug)]
pub(crate) struct WriterLock {
    file: File,
    path: PathBuf,
}

impl WriterLock {
    pub(crate) fn take(film: &Path) -> Result<Self> {
        let path = lock_path(film);
        let io = |doing: &'static str| {
            let path = path.clone();
            move |source| FilmError::Io {
                path: path.clone(),
                doing,
                source,
            }
        };
        // Again where the file was removed by its last owner between opening and locking.
        for _ in 0..8 {
            let file = OpenOptions::new()
                .create(true)
                .truncate(false)
                .write(true)
                .open(&path)
                .map_err(io("making the lock file"))?;
            match file.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => {
                    return Err(FilmError::Busy {
                        path: film.to_owned(),
                    });
                }
                Err(TryLockError::Error(source)) => return Err(io("locking")(source)),
            }
            if same_file(&file, &path) {
                return Ok(Self { file, path });
            }
        }
        Err(FilmError::Busy {
            path: film.to_owned(),
        })
    }
}

#[cfg(unix)]
fn same_file(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), std::fs::metadata(path)) {
        (Ok(a), Ok(b)) => (a.dev(), a.ino()) == (b.dev(), b.ino()),
        _ => false,
    }
}

#[cfg(not(unix))]
fn same_file(_file: &File, path: &Path) -> bool {
    path.exists()
}

impl Drop for WriterLock {
    fn drop(&mut self) {
        // Removed while still held, so that nobody else can own the removed file.
        let _ = std::fs::remove_file(&self.path);
        let _ = self.file.unlock();
    }
}
