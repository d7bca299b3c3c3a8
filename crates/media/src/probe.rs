//! What a file is, before it is read.

use crate::ffi::{StreamInfo, StreamKind};
use crate::tags::{Stated, Tags};
use crate::time::{Rational, Timecode};
use crate::{MediaError, Options, Reader};
use inkarnat_color::picture::PixelFormat;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// A moving or a still picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A film file.
    Clip,
    /// A picture file, taken as a clip of one frame.
    Still,
    /// A folder of numbered picture files, one a frame.
    Sequence,
}

/// Whether a picture is one moment or two.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scan {
    /// One moment.
    Progressive,
    /// Two fields; the upper line's is the earlier one.
    TopFieldFirst,
    /// Two fields; the lower line's is the earlier one.
    BottomFieldFirst,
}

/// A stream that is not the picture.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherStream {
    /// `audio`, `subtitle`, `data`, `attachment`, `video` or `other`.
    pub kind: String,
    /// FFmpeg's name of its codec.
    pub codec: String,
    /// Position in the file.
    pub index: usize,
}

/// What was found in a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Probe {
    /// The file.
    pub path: PathBuf,
    /// Moving or still.
    pub kind: Kind,
    /// FFmpeg's names of the container.
    pub container: String,
    /// FFmpeg's name of the codec.
    pub codec: String,
    /// FFmpeg's name of the decoded pixel format.
    pub pixel_format: String,
    /// Columns, as decoded.
    pub width: usize,
    /// Rows, as decoded.
    pub height: usize,
    /// Width of a pixel over its height; 1 where the file is silent.
    pub sample_aspect: Rational,
    /// Clockwise degrees that a player turns the picture by. Frames are given unturned.
    pub rotation: i32,
    /// The container's display matrix behind `rotation`, in its own fixed-point form.
    pub display_matrix: Option<[i32; 9]>,
    /// Frames a second; the mean where it varies.
    pub rate: Rational,
    /// Frames are not evenly spaced.
    pub variable_rate: bool,
    /// Unit of every `pts` and `duration`, in seconds.
    pub time_base: Rational,
    /// Time of the first frame, in `time_base`.
    pub start: i64,
    /// Frames that are shown.
    pub frames: u64,
    /// From the first frame to the end of the last, in seconds.
    pub duration_seconds: f64,
    /// Timecode of the first frame.
    pub timecode: Option<Timecode>,
    /// What the codes mean.
    pub tags: Tags,
    /// The same, as the planes are read.
    pub format: PixelFormat,
    /// Progressive, or the order of the fields.
    pub scan: Scan,
    /// Transparency is present.
    pub alpha: bool,
    /// PQ or HLG, or metadata of mastering for it.
    pub hdr: bool,
    /// Streams beside the picture.
    pub others: Vec<OtherStream>,
    /// The file's own metadata.
    pub metadata: Vec<(String, String)>,
    /// What is assumed, and what will not be kept: one line each.
    pub notes: Vec<String>,
}

impl Probe {
    /// Streams of sound.
    #[must_use]
    pub fn audio_streams(&self) -> usize {
        self.others.iter().filter(|o| o.kind == "audio").count()
    }
}

/// Looks into a file: opens it, builds its index and decodes its first frame.
///
/// # Errors
/// As [`Reader::open`].
pub fn probe(path: impl AsRef<Path>) -> Result<Probe, MediaError> {
    Ok(Reader::open(path)?.into_probe())
}

/// [`probe`] with facts that the editor states and other options.
///
/// # Errors
/// As [`Reader::open`].
pub fn probe_with(path: impl AsRef<Path>, options: &Options) -> Result<Probe, MediaError> {
    Ok(Reader::open_with(path, options)?.into_probe())
}

pub(crate) fn kind_name(kind: StreamKind) -> &'static str {
    match kind {
        StreamKind::Video => "video",
        StreamKind::Audio => "audio",
        StreamKind::Subtitle => "subtitle",
        StreamKind::Data => "data",
        StreamKind::Attachment => "attachment",
        StreamKind::Other => "other",
    }
}

/// The stream to read: the default one, else the first, that is a film and not a cover picture.
pub(crate) fn choose_video(streams: &[StreamInfo]) -> Option<&StreamInfo> {
    let films = || {
        streams
            .iter()
            .filter(|s| s.kind == StreamKind::Video && !s.attached_picture)
    };
    films().find(|s| s.default).or_else(|| films().next())
}

/// "2 audio, 1 subtitle" or "no stream at all".
pub(crate) fn describe_streams(streams: &[StreamInfo]) -> String {
    let names = ["video", "audio", "subtitle", "data", "attachment", "other"];
    let counts: Vec<String> = names
        .iter()
        .filter_map(|name| {
            let count = streams
                .iter()
                .filter(|s| kind_name(s.kind) == *name)
                .count();
            let name = if *name == "video" {
                "cover picture"
            } else {
                name
            };
            (count > 0).then(|| format!("{count} {name}"))
        })
        .collect();
    if counts.is_empty() {
        "no stream at all".into()
    } else {
        counts.join(", ")
    }
}

pub(crate) fn timecode(
    streams: &[StreamInfo],
    video: &StreamInfo,
    file: &[(String, String)],
) -> Option<Timecode> {
    let find = |pairs: &[(String, String)]| {
        pairs
            .iter()
            .find(|(name, _)| name.eq_ignore_ascii_case("timecode"))
            .and_then(|(_, value)| Timecode::parse(value))
    };
    find(&video.metadata)
        .or_else(|| {
            streams
                .iter()
                .filter(|s| s.kind == StreamKind::Data)
                .find_map(|s| find(&s.metadata))
        })
        .or_else(|| find(file))
}

/// Everything that is noticed but neither read nor kept.
pub(crate) fn notes(probe: &Probe, stated: &Stated) -> Vec<String> {
    let mut notes = probe.tags.assumptions();
    let mut note = |condition: bool, text: String| {
        if condition {
            notes.push(text);
        }
    };
    note(
        probe.variable_rate,
        format!(
            "variable frame rate ({:.3} a second on average): times are kept frame by frame",
            probe.rate.value()
        ),
    );
    note(
        probe.rotation != 0,
        format!(
            "the file says to turn the picture by {}° clockwise: it is read and patched unturned",
            probe.rotation
        ),
    );
    note(
        probe.scan != Scan::Progressive,
        "interlaced: read as whole frames; chroma of 4:2:0 is interpolated within each field"
            .into(),
    );
    note(
        probe.alpha,
        "transparency is not read: the picture is taken as if it were solid; of the codecs, ProRes 4444 alone keeps it".into(),
    );
    note(
        probe.hdr && stated.transfer.is_none(),
        format!(
            "high dynamic range ({}): mastering metadata is kept where the container states it, not where only the pictures do",
            probe.tags.transfer.value()
        ),
    );
    for other in &probe.others {
        match other.kind.as_str() {
            // The writer says what it cannot carry.
            "audio" | "subtitle" => {}
            "data"
                if other.codec == "tmcd" || other.codec == "none" || other.codec == "unknown" =>
            {
                note(
                    probe.timecode.is_none(),
                    format!("data stream {} is not kept", other.index),
                );
            }
            kind => note(
                true,
                format!(
                    "{kind} stream {} ({}) is not kept",
                    other.index, other.codec
                ),
            ),
        }
    }
    notes
}
