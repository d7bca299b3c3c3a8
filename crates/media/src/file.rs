//! Looking at files before FFmpeg does.

use crate::MediaError;
use crate::ffi::Code;
use std::fs::{self, File, Metadata};
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

/// The length of a file that can be read.
pub(crate) fn check_readable(path: &Path) -> Result<u64, MediaError> {
    let failed = |error| MediaError::reading(path, &error);
    let metadata = fs::metadata(path).map_err(failed)?;
    if !metadata.is_file() {
        return Err(MediaError::Unreadable {
            path: path.into(),
            reason: "it is not a file".into(),
        });
    }
    File::open(path).map_err(failed)?;
    if metadata.len() == 0 {
        return Err(MediaError::NotMedia {
            path: path.into(),
            found: "the file is empty".into(),
        });
    }
    Ok(metadata.len())
}

pub(crate) fn head(path: &Path, length: usize) -> Result<Vec<u8>, MediaError> {
    let failed = |error| MediaError::reading(path, &error);
    let mut bytes = Vec::new();
    File::open(path)
        .map_err(failed)?
        .take(length as u64)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    Ok(bytes)
}

/// PNG, JPEG, TIFF, DPX or OpenEXR by content. A row of JPEG pictures in one file, named as such, is a clip.
pub(crate) fn is_still(path: &Path) -> Result<bool, MediaError> {
    let bytes = head(path, 16)?;
    if crate::pictures::is_dpx(&bytes) || crate::pictures::is_exr(&bytes) {
        return Ok(true);
    }
    let motion = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("mjpeg") || e.eq_ignore_ascii_case("mjpg"));
    use image::ImageFormat::{Jpeg, Png, Tiff};
    Ok(match image::guess_format(&bytes) {
        Ok(Png | Tiff) => true,
        Ok(Jpeg) => !motion,
        _ => false,
    })
}

/// Sorts out why FFmpeg does not open a file.
pub(crate) fn opening_error(path: &Path, code: Code) -> MediaError {
    if code == Code::NO_MEMORY {
        return MediaError::OutOfMemory { path: path.into() };
    }
    if let Some(number) = code.os().filter(|&n| n == 2 || n == 13) {
        return MediaError::reading(path, &std::io::Error::from_raw_os_error(number));
    }
    match quicktime_state(path) {
        Some(false) => {
            return MediaError::Truncated {
                path: path.into(),
                readable: 0,
                promised: None,
            };
        }
        Some(true) => {
            return MediaError::NotMedia {
                path: path.into(),
                found: format!("QuickTime or MP4 with a damaged index ({})", code.text()),
            };
        }
        None => {}
    }
    let found = match head(path, 4096) {
        Ok(bytes) if std::str::from_utf8(&bytes).is_ok() || mostly_text(&bytes) => {
            "its content is text".into()
        }
        _ => "its content is of no known kind".into(),
    };
    MediaError::NotMedia {
        path: path.into(),
        found,
    }
}

fn mostly_text(bytes: &[u8]) -> bool {
    let printable = bytes
        .iter()
        .filter(|b| b.is_ascii_graphic() || b.is_ascii_whitespace())
        .count();
    !bytes.is_empty() && printable * 100 >= bytes.len() * 95
}

/// Of a QuickTime or MP4 file: whether its index (the `moov` box) is whole. `None` for other files.
fn quicktime_state(path: &Path) -> Option<bool> {
    let mut file = File::open(path).ok()?;
    let length = file.metadata().ok()?.len();
    let mut at = 0;
    let mut known = false;
    // A sound file has a handful of boxes on its outer level.
    for _ in 0..10_000 {
        if at + 8 > length {
            break;
        }
        file.seek(SeekFrom::Start(at)).ok()?;
        let mut header = [0; 16];
        let room = (length - at).min(16) as usize;
        file.read_exact(&mut header[..room]).ok()?;
        let kind = &header[4..8];
        let small = u64::from(u32::from_be_bytes([
            header[0], header[1], header[2], header[3],
        ]));
        let size = match small {
            0 => length - at,
            1 => u64::from_be_bytes(header[8..16].try_into().ok()?),
            size => size,
        };
        if at == 0
            && !matches!(
                kind,
                b"ftyp" | b"moov" | b"mdat" | b"wide" | b"free" | b"skip"
            )
        {
            return None;
        }
        known = true;
        if kind == b"moov" {
            return Some(at + size <= length);
        }
        if size < 8 {
            break;
        }
        at = at.checked_add(size)?;
    }
    known.then_some(false)
}

/// Whether a container that states its own length (Matroska, AVI) is longer than its file.
pub(crate) fn falls_short(path: &Path, length: u64) -> Result<bool, MediaError> {
    let bytes = head(path, 4096)?;
    Ok(stated_length(&bytes).is_some_and(|stated| stated > length))
}

/// The length that a file's first bytes promise.
fn stated_length(bytes: &[u8]) -> Option<u64> {
    if bytes.starts_with(b"RIFF") {
        let size = u32::from_le_bytes(bytes.get(4..8)?.try_into().ok()?);
        // Writers that were interrupted, or could not seek, leave 0 or the highest number.
        return (size != 0 && size != u32::MAX).then(|| u64::from(size) + 8);
    }
    // RFC 8794 (EBML) and RFC 9559 (Matroska): a header element, then one segment.
    let rest = bytes.strip_prefix(&[0x1a, 0x45, 0xdf, 0xa3])?;
    let (size, width) = ebml_size(rest)?;
    let segment = usize::try_from(size?).ok()?.checked_add(4 + width)?;
    let rest = bytes
        .get(segment..)?
        .strip_prefix(&[0x18, 0x53, 0x80, 0x67])?;
    let (size, width) = ebml_size(rest)?;
    size?.checked_add((segment + 4 + width) as u64)
}

/// A variable-length size, `None` inside for "unknown", and the bytes that it takes.
fn ebml_size(bytes: &[u8]) -> Option<(Option<u64>, usize)> {
    let first = *bytes.first()?;
    let width = first.leading_zeros() as usize + 1;
    if width > 8 {
        return None;
    }
    let mark = (1u64 << (7 * width)) - 1;
    let size = bytes
        .get(..width)?
        .iter()
        .fold(0, |n, &b| n << 8 | u64::from(b))
        & mark;
    Some(((size != mark).then_some(size), width))
}

/// Both names lead to one file.
pub(crate) fn is_same_file(a: &Path, b: &Path) -> bool {
    let same = |a: &Metadata, b: &Metadata| {
        use std::os::unix::fs::MetadataExt;
        a.dev() == b.dev() && a.ino() == b.ino()
    };
    match (fs::metadata(a), fs::metadata(b)) {
        (Ok(a), Ok(b)) => same(&a, &b),
        _ => match (canonical(a), canonical(b)) {
            (Some(a), Some(b)) => a == b,
            _ => a == b,
        },
    }
}

/// The canonical path of a file that need not exist yet.
fn canonical(path: &Path) -> Option<std::path::PathBuf> {
    fs::canonicalize(path).ok().or_else(|| {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        let folder = fs::canonicalize(folder.unwrap_or(Path::new("."))).ok()?;
        Some(folder.join(path.file_name()?))
    })
}
