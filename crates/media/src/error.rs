//! What can go wrong, sorted by whose fault it is.

use crate::ffi::Code;
use std::io;
use std::path::{Path, PathBuf};

/// Where the cause of an error lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The file that was given.
    Source,
    /// The place that was to be written to.
    Target,
    /// What was asked for.
    Request,
    /// The machine or its FFmpeg.
    Machine,
}

/// An error of reading or writing media. Every message names the file, says what was found and what
/// to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MediaError {
    /// There is no file of that name.
    #[error("{}: no such file; check the name", path.display())]
    NoSuchFile {
        /// The file.
        path: PathBuf,
    },
    /// The file is there but cannot be read.
    #[error("{}: cannot be read: {reason}; check that it is a file and its permissions", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The operating system's words.
        reason: String,
    },
    /// The content is not a kind of media that can be read.
    #[error("{}: not a picture or film: {found}; give a clip (mov, mp4, mkv, mxf, …) or a still (PNG, JPEG, TIFF)", path.display())]
    NotMedia {
        /// The file.
        path: PathBuf,
        /// What was found instead.
        found: String,
    },
    /// The end of the file is missing.
    #[error("{}: cut off: {}; copy or record it again", path.display(), shortfall(*readable, *promised))]
    Truncated {
        /// The file.
        path: PathBuf,
        /// Frames that can be read.
        readable: u64,
        /// Frames that the file says it has, where it says so.
        promised: Option<u64>,
    },
    /// There is no moving picture in the file.
    #[error("{}: has no video stream, only {found}; give a file with a picture", path.display())]
    NoVideo {
        /// The file.
        path: PathBuf,
        /// The streams that it has.
        found: String,
    },
    /// The video stream has no frame.
    #[error("{}: its video stream has no frames; export it again", path.display())]
    NoFrames {
        /// The file.
        path: PathBuf,
    },
    /// The picture is coded in a way that is not read.
    #[error("{}: {found} is not supported; {advice}", path.display())]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// The codec, pixel format or matrix.
        found: String,
        /// What to do.
        advice: String,
    },
    /// The content is damaged beyond reading.
    #[error("{}: damaged at frame {frame}: {reason}; copy or export it again", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The first frame that could not be had.
        frame: u64,
        /// FFmpeg's words.
        reason: String,
    },
    /// A frame was asked for that the clip does not have.
    #[error("{}: has frames 0 to {}, not {asked}", path.display(), count.saturating_sub(1))]
    NoSuchFrame {
        /// The file.
        path: PathBuf,
        /// The frame that was asked for.
        asked: u64,
        /// Frames of the clip.
        count: u64,
    },
    /// The output would be written over a source.
    #[error("{}: is the source {}; sources are never written to, choose another place", path.display(), source_path.display())]
    OutputIsSource {
        /// The output.
        path: PathBuf,
        /// The source that it is.
        source_path: PathBuf,
    },
    /// There is a file in the place of the output.
    #[error("{}: exists already and is not overwritten; remove it or choose another name", path.display())]
    OutputExists {
        /// The output.
        path: PathBuf,
    },
    /// The output cannot be made.
    #[error("{}: cannot be written: {reason}; check the folder and its permissions", path.display())]
    OutputNotWritable {
        /// The output.
        path: PathBuf,
        /// The operating system's words.
        reason: String,
    },
    /// No room is left for the output.
    #[error("{}: the disk is full ({reason}); make room and run again", path.display())]
    DiskFull {
        /// The output.
        path: PathBuf,
        /// The operating system's words.
        reason: String,
    },
    /// What was to be written cannot be coded.
    #[error("{}: {found}, expected {expected}", path.display())]
    BadRequest {
        /// The output.
        path: PathBuf,
        /// What was given.
        found: String,
        /// What can be done.
        expected: String,
    },
    /// The encoder failed.
    #[error("{}: the encoder {encoder} failed: {reason}", path.display())]
    Encoder {
        /// The output.
        path: PathBuf,
        /// FFmpeg's name of the encoder.
        encoder: String,
        /// FFmpeg's words.
        reason: String,
    },
    /// FFmpeg was built without a part that is needed.
    #[error("this FFmpeg has no {part}; install a build that has (Debian's does)")]
    MissingPart {
        /// FFmpeg's name of the encoder or decoder.
        part: String,
    },
    /// Memory ran out.
    #[error("{}: out of memory", path.display())]
    OutOfMemory {
        /// The file that was worked on.
        path: PathBuf,
    },
}

impl MediaError {
    /// Where the cause lies.
    #[must_use]
    pub fn fault(&self) -> Fault {
        match self {
            Self::NoSuchFile { .. }
            | Self::Unreadable { .. }
            | Self::NotMedia { .. }
            | Self::Truncated { .. }
            | Self::NoVideo { .. }
            | Self::NoFrames { .. }
            | Self::Unsupported { .. }
            | Self::Damaged { .. } => Fault::Source,
            Self::OutputExists { .. } | Self::OutputNotWritable { .. } | Self::DiskFull { .. } => {
                Fault::Target
            }
            Self::NoSuchFrame { .. } | Self::OutputIsSource { .. } | Self::BadRequest { .. } => {
                Fault::Request
            }
            Self::Encoder { .. } | Self::MissingPart { .. } | Self::OutOfMemory { .. } => {
                Fault::Machine
            }
        }
    }

    /// The error of opening `path` for reading.
    pub(crate) fn reading(path: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound => Self::NoSuchFile { path: path.into() },
            _ => Self::Unreadable {
                path: path.into(),
                reason: error.to_string(),
            },
        }
    }

    /// The error of writing to `path`.
    pub(crate) fn writing(path: &Path, error: &io::Error) -> Self {
        let reason = error.to_string();
        match error.kind() {
            io::ErrorKind::StorageFull
            | io::ErrorKind::QuotaExceeded
            | io::ErrorKind::FileTooLarge => Self::DiskFull {
                path: path.into(),
                reason,
            },
            io::ErrorKind::AlreadyExists => Self::OutputExists { path: path.into() },
            _ => Self::OutputNotWritable {
                path: path.into(),
                reason,
            },
        }
    }

    /// The error of a call of FFmpeg that writes to `path`.
    pub(crate) fn muxing(path: &Path, code: Code) -> Self {
        match code.os() {
            Some(number) => Self::writing(path, &io::Error::from_raw_os_error(number)),
            None => Self::OutputNotWritable {
                path: path.into(),
                reason: code.text(),
            },
        }
    }
}

fn shortfall(readable: u64, promised: Option<u64>) -> String {
    match (readable, promised) {
        (0, None) => "its index is missing, so no frame can be read".into(),
        (_, None) => format!("only {readable} frames can be read"),
        (_, Some(promised)) => format!("{readable} of {promised} frames can be read"),
    }
}
