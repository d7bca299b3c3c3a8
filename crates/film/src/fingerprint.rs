//! Recognising files and inputs again.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

/// Bytes of each of the three pieces of a large file.
const PIECE: u64 = 1 << 20;

/// Bytes of each of the three pieces of a picture of a folder.
const SMALL_PIECE: u64 = 1 << 16;

/// What a file is: its size and a digest.
///
/// Of a folder, the digest is of the names, sizes and pieces of the files in it whose names do not begin with a dot, in the
/// order of their names: first, middle and last 64 KiB of each.
///
/// Up to 3 MiB the digest is of the whole; beyond, of the first, middle and last mebibyte, so that a
/// long clip is recognised at once.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fingerprint {
    /// Bytes.
    pub size: u64,
    /// SHA-256 in hexadecimal.
    pub sha256: String,
}

impl Fingerprint {
    /// The fingerprint of a file, or of a folder of pictures, which is only read.
    ///
    /// # Errors
    /// Whatever the file system says.
    pub fn of_file(path: &Path) -> std::io::Result<Self> {
        if path.is_dir() {
            return Self::of_folder(path);
        }
        let mut digest = Sha256::new();
        let size = add(&mut digest, path, PIECE)?;
        Ok(Self {
            size,
            sha256: hexadecimal(&digest.finalize()),
        })
    }

    fn of_folder(path: &Path) -> std::io::Result<Self> {
        let mut files = std::fs::read_dir(path)?
            .map(|entry| entry.map(|entry| entry.path()))
            .collect::<std::io::Result<Vec<_>>>()?;
        files.sort();
        let (mut digest, mut total) = (Sha256::new(), 0);
        for file in &files {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            if name.starts_with('.') || !file.is_file() {
                continue;
            }
            digest.update((name.len() as u64).to_le_bytes());
            digest.update(name.as_bytes());
            let size = add(&mut digest, file, SMALL_PIECE)?;
            digest.update(size.to_le_bytes());
            total += size;
        }
        Ok(Self {
            size: total,
            sha256: hexadecimal(&digest.finalize()),
        })
    }
}

/// Adds a file's pieces to a digest; gives its size.
fn add(digest: &mut Sha256, path: &Path, piece: u64) -> std::io::Result<u64> {
    let mut file = File::open(path)?;
    let size = file.metadata()?.len();
    let mut bytes = Vec::new();
    let starts: &[(u64, u64)] = if size <= 3 * piece {
        &[(0, size)]
    } else {
        &[
            (0, piece),
            ((size - piece) / 2, piece),
            (size - piece, piece),
        ]
    };
    for &(start, length) in starts {
        bytes.clear();
        file.seek(SeekFrom::Start(start))?;
        (&mut file).take(length).read_to_end(&mut bytes)?;
        digest.update(&bytes);
    }
    Ok(size)
}

/// A digest of everything that went into a result, to know whether it must be made again.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct InputKey(pub String);

impl InputKey {
    /// The key of a serialisable value.
    ///
    /// # Panics
    /// If the value cannot be serialised (a map with keys that are not text).
    #[must_use]
    pub fn of<T: Serialize>(input: &T) -> Self {
        let text = serde_json::to_vec(input).expect("inputs serialise");
        Self(hexadecimal(&Sha256::digest(&text)))
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SHA-256 of "abc": FIPS 180-4 example, `ba7816bf…`.
    #[test]
    fn small_files_are_digested_whole() {
        let directory = tempfile::tempdir().unwrap();
        let path = directory.path().join("a");
        std::fs::write(&path, b"abc").unwrap();
        let print = Fingerprint::of_file(&path).unwrap();
        assert_eq!(print.size, 3);
        assert_eq!(
            print.sha256,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn folders_are_told_apart_by_names_and_content() {
        let directory = tempfile::tempdir().unwrap();
        let file = |name: &str| directory.path().join(name);
        std::fs::write(file("a.1.png"), b"one").unwrap();
        std::fs::write(file("a.2.png"), b"two").unwrap();
        let first = Fingerprint::of_file(directory.path()).unwrap();
        assert_eq!(first.size, 6);
        std::fs::write(file(".part"), b"x").unwrap();
        assert_eq!(Fingerprint::of_file(directory.path()).unwrap(), first);
        std::fs::write(file("a.2.png"), b"tvo").unwrap();
        assert_ne!(Fingerprint::of_file(directory.path()).unwrap(), first);
        std::fs::write(file("a.2.png"), b"two").unwrap();
        std::fs::rename(file("a.2.png"), file("a.3.png")).unwrap();
        assert_ne!(Fingerprint::of_file(directory.path()).unwrap(), first);
    }

    #[test]
    fn large_files_are_told_apart_at_both_ends_and_in_the_middle() {
        let directory = tempfile::tempdir().unwrap();
        let path = directory.path().join("a");
        let whole = vec![7u8; 5 << 20];
        std::fs::write(&path, &whole).unwrap();
        let first = Fingerprint::of_file(&path).unwrap();
        for at in [0, whole.len() / 2, whole.len() - 1] {
            let mut changed = whole.clone();
            changed[at] ^= 1;
            std::fs::write(&path, &changed).unwrap();
            assert_ne!(Fingerprint::of_file(&path).unwrap(), first, "byte {at}");
        }
        std::fs::write(&path, &whole[1..]).unwrap();
        assert_ne!(Fingerprint::of_file(&path).unwrap(), first);
    }
}
