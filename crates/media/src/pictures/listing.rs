//! A folder of numbered pictures as a clip.

use crate::{MediaError, file};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Ends of names of pictures that are read.
const ENDS: [&str; 7] = ["png", "tif", "tiff", "dpx", "exr", "jpg", "jpeg"];

/// The pictures of a folder, in the order of their numbers.
pub(crate) struct Sequence {
    pub(crate) files: Vec<PathBuf>,
    /// The number in the first one's name.
    pub(crate) first: u64,
}

/// Whether a path is taken as one clip of many pictures: it is a folder.
#[must_use]
pub fn is_sequence(path: &Path) -> bool {
    path.is_dir()
}

/// How the pictures of a folder are named: `prefix`, number, `suffix`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PictureNames {
    /// What stands before the number.
    pub prefix: String,
    /// What stands behind it, with the dot.
    pub suffix: String,
    /// The first one's number.
    pub first: u64,
    /// Digits of that number.
    pub digits: u32,
}

/// How the pictures of a folder are named; `None` where a path is not a folder of one row of pictures.
#[must_use]
pub fn picture_names(path: &Path) -> Option<PictureNames> {
    if !is_sequence(path) {
        return None;
    }
    let sequence = Sequence::of(path).ok()?;
    let name = sequence.files.first()?.file_name()?.to_string_lossy();
    let (prefix, first, _) = split(&name)?;
    let digits = name[prefix.len()..]
        .chars()
        .take_while(char::is_ascii_digit)
        .count();
    Some(PictureNames {
        suffix: name[prefix.len() + digits..].to_owned(),
        prefix,
        first,
        digits: digits as u32,
    })
}

impl Sequence {
    /// Lists a folder that holds one row of numbered pictures; names that begin with a dot are passed over.
    ///
    /// # Errors
    /// If it holds no such row, more than one, or one with numbers missing.
    pub(crate) fn of(folder: &Path) -> Result<Self, MediaError> {
        let failed = |error: std::io::Error| MediaError::reading(folder, &error);
        let mut rows: BTreeMap<(String, String), BTreeMap<u64, PathBuf>> = BTreeMap::new();
        for entry in std::fs::read_dir(folder).map_err(failed)? {
            let path = entry.map_err(failed)?.path();
            let name = path
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default();
            let Some((before, number, end)) = split(&name) else {
                continue;
            };
            let double = rows
                .entry((before, end))
                .or_default()
                .insert(number, path.clone());
            if double.is_some() {
                return Err(Self::none(
                    folder,
                    &format!("two pictures of number {number}"),
                ));
            }
        }
        let mut rows = rows.into_iter();
        let Some(((before, end), row)) = rows.next() else {
            return Err(Self::none(folder, "a folder without numbered pictures"));
        };
        if let Some(((other, other_end), _)) = rows.next() {
            return Err(Self::none(
                folder,
                &format!(
                    "a folder with several rows of pictures ({before}….{end}, {other}….{other_end})"
                ),
            ));
        }
        let first = row.keys().next().copied().unwrap_or(0);
        if let Some((missing, _)) = (first..).zip(row.keys()).find(|(due, found)| due != *found) {
            return Err(Self::none(
                folder,
                &format!("a row of pictures in which number {missing} is missing"),
            ));
        }
        let files: Vec<PathBuf> = row.into_values().collect();
        for path in &files {
            file::check_readable(path)?;
        }
        Ok(Self { files, first })
    }

    fn none(folder: &Path, found: &str) -> MediaError {
        MediaError::Unsupported {
            path: folder.into(),
            found: found.into(),
            advice: "give a folder that holds one shot's pictures alone, numbered without a gap: NAME.0001.png, NAME.0002.png …".into(),
        }
    }
}

/// The name before its number, the number, and the end.
fn split(name: &str) -> Option<(String, u64, String)> {
    if name.starts_with('.') {
        return None;
    }
    let (stem, end) = name.rsplit_once('.')?;
    let end = end.to_lowercase();
    if !ENDS.contains(&end.as_str()) {
        return None;
    }
    let before = stem.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = stem[before.len()..].parse().ok()?;
    Some((before.to_owned(), number, end))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_numbers() {
        let of = |name: &str| {
            split(name).map(|(before, number, end)| format!("{before}|{number}|{end}"))
        };
        assert_eq!(of("S1.0001234.exr").as_deref(), Some("S1.|1234|exr"));
        assert_eq!(of("S1_007.TIF").as_deref(), Some("S1_|7|tif"));
        for bad in ["notes.txt", ".S1.0001.png", "S.png", "0001"] {
            assert_eq!(of(bad), None, "{bad}");
        }
    }
}
