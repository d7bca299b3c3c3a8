//! Jobs of a child process and its answers: plain data on both sides.

use crate::clip::{against, looking, picturing, probing, proving, reading, rendering, watching};
use crate::event::Cancel;
use crate::{AppError, Result};
use inkarnat_color::Region;
use inkarnat_color::WorkingSpace;
use inkarnat_cut::Thumbnail;
use inkarnat_fix::PicturePixel;
use inkarnat_media::{Codec, Probe, Timecode};
use inkarnat_ops::{MovingChain, Op};
use inkarnat_people::{FaceLight, FaceTrack, Outline};
use inkarnat_reading::{
    BackgroundReading, ClipRule, FrameReading, Patch, ShotLimits, ShotReading, Similarity,
    SkinSample, Traces, Track,
};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::path::PathBuf;

/// One clip's work.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Job {
    /// Look at a file: [`Probed`].
    Probe(ProbeJob),
    /// Follow patches and read them: [`Read`].
    Read(ReadJob),
    /// Render: [`Rendered`].
    Render(RenderJob),
    /// Read a delivered file again beside its source: [`Proved`].
    Prove(ProveJob),
    /// Look through a finished picture: [`inkarnat_cut::Seen`].
    Watch(WatchJob),
    /// Find a shot in a finished programme and read it there: [`Against`].
    Against(AgainstJob),
    /// Pictures of frames, to look at: [`Pictured`].
    Picture(PictureJob),
    /// The densities of a frame: [`Traced`].
    Trace(TraceJob),
    /// Small pictures of frames, to tell which shots belong together: [`Looked`].
    Look(LookJob),
}

/// Small pictures of frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookJob {
    /// The source.
    pub path: PathBuf,
    /// What brings its signal to the working signal; empty where it is that already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub input: Vec<Op>,
    /// The frames.
    pub frames: Vec<u64>,
}

/// Small pictures of frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Looked {
    /// In the order of the job; `None` where a frame cannot be decoded.
    pub pictures: Vec<Option<Thumbnail>>,
}

/// Look at a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProbeJob {
    /// The file.
    pub path: PathBuf,
}

/// Look through a finished picture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WatchJob {
    /// The file.
    pub path: PathBuf,
    /// The film's working space.
    pub space: WorkingSpace,
}

/// What was found out about a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Probed {
    /// As the media crate says it.
    pub probe: Probe,
    /// Frames, counted.
    pub frames: u64,
}

/// The patches of one person in one shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PersonPatches {
    /// The name.
    pub person: String,
    /// At most one a frame. In every frame, the one held there whose drawn frame is nearest is read.
    pub patches: Vec<Patch>,
}

/// Follow patches and read them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadJob {
    /// The source.
    pub path: PathBuf,
    /// What brings its signal to the working signal; empty where it is that already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub input: Vec<Op>,
    /// First source frame of the shot.
    pub first: u64,
    /// Frames of the shot.
    pub frames: u64,
    /// Every n-th frame is read, from the first; 1 is every frame.
    pub every: u64,
    /// Frames of it whose picture is not the shot's own (dissolve, fade, flash): not read.
    #[serde(default)]
    pub left_out: LeftOut,
    /// The film's working space.
    pub space: WorkingSpace,
    /// Whom to read in drawn patches.
    pub people: Vec<PersonPatches>,
    /// Which faces to read.
    pub faces: Faces,
}

/// Which faces to read in a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Faces {
    /// None.
    Off,
    /// Those that are found.
    Find(FindOrder),
    /// Those that were found before.
    Known(Vec<KnownFace>),
}

/// How faces are looked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FindOrder {
    /// Directory of the models.
    pub models: PathBuf,
}

/// A face that was found before.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KnownFace {
    /// Its outlines; without its embedding.
    pub track: FaceTrack,
    /// The light on it.
    pub light: Option<FaceLight>,
}

/// A face through the shot, and what was read of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadFace {
    /// As given, or as found.
    pub track: FaceTrack,
    /// The light on it; `None` where neither cheek can be read in any frame.
    pub light: Option<FaceLight>,
    /// The frames that could be read.
    pub frames: Vec<FrameReading>,
    /// Why the first frame that could not be read could not.
    pub unread: Option<String>,
    /// Skin pixels over the shot, for the solver.
    pub skin: SkinSample,
    /// Share of the face's regions that is unclipped skin of one colour, 0–1, mean over the frames.
    pub coverage: f64,
}

impl ReadJob {
    /// Whether a frame is read.
    pub(crate) fn reads(&self, frame: u64) -> bool {
        (self.first..self.first + self.frames).contains(&frame)
            && frame.is_multiple_of(self.every.max(1))
            && !self.left_out.frame(frame)
    }

    /// The last frame that is read.
    pub(crate) fn last_read(&self) -> Option<u64> {
        (self.first..self.first + self.frames)
            .rev()
            .find(|frame| self.reads(*frame))
    }
}

/// What of a shot's pictures is left out of every statistic.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LeftOut {
    /// Spans of source frames, half-open: dissolves, fades, flashes.
    pub frames: Vec<(u64, u64)>,
    /// Parts of the picture over spans of source frames: bars above and below, titles.
    pub areas: Vec<LeftOutArea>,
}

/// A part of the picture that is left out, in fractions of its width and height.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LeftOutArea {
    /// Source frames, half-open.
    pub frames: (u64, u64),
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Lower edge.
    pub bottom: f64,
}

impl LeftOut {
    /// Whether a frame is left out as a whole.
    #[must_use]
    pub fn frame(&self, frame: u64) -> bool {
        self.frames
            .iter()
            .any(|(from, to)| (*from..*to).contains(&frame))
    }

    /// The parts left out of a frame, in pixels.
    pub(crate) fn regions(&self, frame: u64, width: usize, height: usize) -> Vec<Region> {
        let pixels = |fraction: f64, length: usize| {
            ((fraction * length as f64).round().max(0.0) as usize).min(length)
        };
        self.areas
            .iter()
            .filter(|area| (area.frames.0..area.frames.1).contains(&frame))
            .map(|area| {
                let (x, y) = (pixels(area.left, width), pixels(area.top, height));
                Region {
                    x,
                    y,
                    width: pixels(area.right, width).saturating_sub(x),
                    height: pixels(area.bottom, height).saturating_sub(y),
                }
            })
            .filter(|region| region.width > 0 && region.height > 0)
            .collect()
    }
}

/// What was read of one person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadPerson {
    /// One track for each patch, in the order of the job.
    pub tracks: Vec<Track>,
    /// The frames that could be read.
    pub frames: Vec<FrameReading>,
    /// The shot's reading, or why there is none.
    pub reading: std::result::Result<ShotReading, String>,
    /// Skin pixels over the shot, for the solver.
    pub skin: SkinSample,
}

/// What the solver and the proof need to know about the picture as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PictureRecord {
    /// Pixels over the shot.
    pub sample: Vec<PicturePixel>,
    /// Standard deviation of Y' in the darkest quarter, signal units.
    pub dark_noise: Option<f64>,
    /// The source frame that each of them comes from; empty in films that were read before this was kept.
    #[serde(default)]
    pub frames: Vec<u64>,
    /// How the light on the background moves; empty in films that were read before this was kept.
    #[serde(default)]
    pub light: Vec<BackgroundReading>,
    /// What counts as clipped in this source.
    pub rule: ClipRule,
    /// Every how many-th frame was read.
    #[serde(default = "every_frame")]
    pub every: u64,
}

const fn every_frame() -> u64 {
    1
}

/// What reading a clip gave.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Read {
    /// In the order of the job.
    pub people: Vec<ReadPerson>,
    /// In the order of the job, or of appearance.
    pub faces: Vec<ReadFace>,
    /// The picture as a whole.
    pub picture: PictureRecord,
    /// What the editor should know.
    pub notes: Vec<String>,
}

/// Render.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RenderJob {
    /// The source.
    pub source: PathBuf,
    /// What brings its signal to the working signal; empty where it is that already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub input: Vec<Op>,
    /// Where to write; renamed by the parent when closed.
    pub output: PathBuf,
    /// First source frame that is written.
    pub first: u64,
    /// Frames that are written.
    pub frames: u64,
    /// Whether that is the source from its first frame to its last.
    pub whole: bool,
    /// Timecode of the first frame, where only a part is written.
    pub timecode: Option<Timecode>,
    /// What to do to each picture.
    pub chain: MovingChain,
    /// What to do to spans of source frames before that, in order: of a finished picture, every shot's own fix. Frames in none of
    /// them stay as they are; where two overlap (a dissolve), the second one takes over from the first evenly.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<RenderPart>,
    /// The film's working space: what comes out where there is an input transform.
    #[serde(default)]
    pub space: WorkingSpace,
    /// How to encode.
    pub codec: Codec,
    /// How the files are called, where every frame is one.
    #[serde(default)]
    pub pictures: Option<PictureNames>,
    /// Where to write what the encoder is given, for checks: planes one after the other, frame by
    /// frame, each code in 16 bits, low byte first.
    #[serde(default)]
    pub encoder_input: Option<PathBuf>,
}

/// What is done to a span of source frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RenderPart {
    /// Half-open.
    pub frames: (u64, u64),
    /// What to do to each picture in it.
    pub chain: MovingChain,
}

/// How pictures of their own are called.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PictureNames {
    /// What stands before the number.
    pub name: String,
    /// The first number; `None`: one picture alone.
    pub first: Option<u64>,
}

/// What rendering gave.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rendered {
    /// Frames written.
    pub frames: u64,
    /// What the file does not keep of its source.
    pub notes: Vec<String>,
    /// Pixels that a limiter at the end of the chain changed, percent of all, and the most saturation that one of them
    /// with a hue gave up, percent; `None` without a limiter.
    #[serde(default)]
    pub limited: Option<(f64, f64)>,
}

/// One person of a proof.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProvePerson {
    /// The name.
    pub person: String,
    /// Every n-th frame is read, as it was for the source.
    pub every: u64,
    /// The patches; where there are any, they are read and not the faces.
    pub patches: Vec<Patch>,
    /// Their tracks, as stored.
    pub tracks: Vec<Track>,
    /// The faces, as stored.
    pub faces: Vec<KnownFace>,
}

/// Read a delivered file again beside its source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProveJob {
    /// The source.
    pub source: PathBuf,
    /// What brings its signal to the working signal; empty where it is that already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub input: Vec<Op>,
    /// The delivered file.
    pub delivered: PathBuf,
    /// The source frame that is read first.
    pub first: u64,
    /// The frame of the delivered file that is made of it.
    #[serde(default)]
    pub delivered_first: u64,
    /// The delivered file holds more than the shot: a whole picture.
    #[serde(default)]
    pub within: bool,
    /// Frames that the delivered file should have from there on.
    pub frames: u64,
    /// Source frames of the shot, half-open: the delivered file may have more at its ends.
    pub shot: (u64, u64),
    /// Frames and parts of the picture that are not read.
    #[serde(default)]
    pub left_out: LeftOut,
    /// What was done to each picture.
    pub chain: MovingChain,
    /// The film's working space.
    pub space: WorkingSpace,
    /// What counts as clipped in the source.
    pub rule: ClipRule,
    /// Whom to read.
    pub people: Vec<ProvePerson>,
}

/// One person before the encoder and in the delivered file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProvedPerson {
    /// The ops applied to the source's decoded pixels.
    pub after: Vec<FrameReading>,
    /// The sum of that, or why there is none.
    pub after_reading: std::result::Result<ShotReading, String>,
    /// The delivered file's decoded pixels.
    pub proof: Vec<FrameReading>,
    /// The sum of that, or why there is none.
    pub proof_reading: std::result::Result<ShotReading, String>,
}

/// What proving gave.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Proved {
    /// In the order of the job.
    pub people: Vec<ProvedPerson>,
    /// Frames of the source.
    pub source_frames: u64,
    /// Frames of the delivered file.
    pub delivered_frames: u64,
    /// The source and the delivered file held against EBU R 103.
    #[serde(default)]
    pub limits: Option<[ShotLimits; 2]>,
    /// What does not fit, apart from the readings (size, duration, tags).
    pub faults: Vec<String>,
}

/// Find a shot in a finished programme, made elsewhere in any coding and size, and read it there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AgainstJob {
    /// The source.
    pub source: PathBuf,
    /// What brings its signal to the working signal; empty where it is that already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub input: Vec<Op>,
    /// The programme.
    pub programme: PathBuf,
    /// The programme's frame that the list says the shot begins with.
    pub programme_first: u64,
    /// Frames of the shot in the programme.
    pub frames: u64,
    /// Of those, the ones in which nothing but the shot is seen, half-open: no dissolve.
    pub own: (u64, u64),
    /// The source frame that the shot begins with.
    pub source_first: u64,
    /// Source frames a frame of the programme; below 0 backward, 0 a frozen frame.
    pub speed: f64,
    /// By how many frames the shot before lay later than listed: where this one is expected.
    pub expected: i64,
    /// Frames on either side of the listed place in which the shot is looked for.
    pub search: u64,
    /// Source frames that are not read.
    #[serde(default)]
    pub left_out: LeftOut,
    /// What was done to each picture.
    pub chain: MovingChain,
    /// The film's working space.
    pub space: WorkingSpace,
    /// What counts as clipped in the source.
    pub rule: ClipRule,
    /// Whom to read.
    pub people: Vec<ProvePerson>,
}

/// One person of a shot in a programme.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AgainstPerson {
    /// The source at the programme's size, or why there is no reading.
    pub before: std::result::Result<ShotReading, String>,
    /// The ops applied to the source, at the programme's size.
    pub after: std::result::Result<ShotReading, String>,
    /// The programme.
    pub found: std::result::Result<ShotReading, String>,
}

/// A shot as it was found in a programme.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Against {
    /// Frames by which it lies later than listed.
    pub offset: i64,
    /// How alike the pictures are there, −1 to 1.
    pub likeness: f64,
    /// Whether that is the same picture.
    pub alike: bool,
    /// Frames at its beginning and at its end that show another picture.
    pub others: (u64, u64),
    /// Frames that it lacks because the programme begins later or ends earlier.
    pub missing: u64,
    /// Frames that were read.
    pub frames: u64,
    /// In the order of the job.
    pub people: Vec<AgainstPerson>,
    /// What does not fit apart from the place, one line each.
    pub faults: Vec<String>,
}

/// What form a picture is wanted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PictureForm {
    /// JPEG in sRGB: the light of a BT.1886 display, for a computer's screen.
    Screen,
    /// The same, lossless (PNG).
    ScreenExact,
    /// JPEG of the working signal itself, 0–1 over all codes: for playing.
    SignalJpeg,
    /// The working signal itself, four bytes a pixel, low byte first: R, G and B in ten bits each from the lowest bit,
    /// spread evenly over [`inkarnat_ops::Domain::WIDE`]. No header.
    Signal,
    /// The working signal as 16-bit PNG, 0–1 over all codes.
    Still16,
}

/// Pictures of frames, to look at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PictureJob {
    /// The source.
    pub path: PathBuf,
    /// What brings its signal to the working signal; empty where it is that already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub input: Vec<Op>,
    /// First frame.
    pub first: u64,
    /// How many frames in a row.
    pub count: u64,
    /// Widest that a picture may be; never made larger.
    pub width: Option<usize>,
    /// The part wanted: left, top, width, height in fractions of the picture.
    pub part: Option<[f64; 4]>,
    /// What to do to each picture.
    pub chain: MovingChain,
    /// In what form.
    pub form: PictureForm,
    /// The film's working space.
    pub space: WorkingSpace,
    /// Where to write them, one after the other.
    pub output: PathBuf,
}

/// The pictures that were written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pictured {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Bytes of each picture, in order.
    pub lengths: Vec<u64>,
}

/// Skin that densities are taken of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TracedSkin {
    /// A drawn patch, moved to where it lies.
    Patch(Patch, Similarity),
    /// A face, inside its edge.
    Face(Outline),
}

/// The densities of a frame, before and after.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TraceJob {
    /// The source.
    pub path: PathBuf,
    /// What brings its signal to the working signal; empty where it is that already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub input: Vec<Op>,
    /// The frame.
    pub frame: u64,
    /// Skin alone, as it lies in this frame; else the whole picture.
    pub skin: Option<TracedSkin>,
    /// What is done to the picture.
    pub chain: MovingChain,
    /// The film's working space.
    pub space: WorkingSpace,
}

/// The densities of a frame, before and after: counts of pixels in the order of [`Traced::of`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Traced {
    /// Of the source.
    pub before: Vec<u32>,
    /// With the operations applied.
    pub after: Vec<u32>,
}

impl Traced {
    /// One after the other: waveform, parade of R', G', B', chroma plane, histograms of R', G', B', Y'. Sizes are those of
    /// [`inkarnat_reading::traces()`].
    #[must_use]
    pub fn of(before: &Traces, after: &Traces) -> Self {
        let flat = |traces: &Traces| {
            let planes = std::iter::once(&traces.waveform)
                .chain(&traces.parade)
                .chain([&traces.chroma])
                .map(|density| &density.counts);
            planes.chain(&traces.histogram).flatten().copied().collect()
        };
        Self {
            before: flat(before),
            after: flat(after),
        }
    }
}

/// What a child says on its standard output, one line each.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Message {
    /// The work moves on.
    Progress {
        /// Frames done.
        done: u64,
        /// Frames in all.
        total: u64,
    },
    /// The work is done.
    Done {
        /// The result of the job, in its own form.
        result: Box<RawValue>,
    },
    /// The work could not be done.
    Failed {
        /// One line: the file, what was found, what to do.
        text: String,
    },
}

impl Job {
    /// Does the work, in this process.
    ///
    /// # Errors
    /// [`AppError::Clip`] names the file, what was found and what to do.
    pub fn perform(&self, cancel: &Cancel, progress: &dyn Fn(u64, u64)) -> Result<Box<RawValue>> {
        fn raw<T: Serialize>(value: &T) -> Result<Box<RawValue>> {
            serde_json::value::to_raw_value(value).map_err(AppError::protocol)
        }
        match self {
            Self::Probe(job) => raw(&probing::perform(job)?),
            Self::Read(job) => raw(&reading::perform(job, cancel, progress)?),
            Self::Render(job) => raw(&rendering::perform(job, cancel, progress)?),
            Self::Prove(job) => raw(&proving::perform(job, cancel, progress)?),
            Self::Watch(job) => raw(&watching::perform(job, cancel, progress)?),
            Self::Against(job) => raw(&against::perform(job, cancel, progress)?),
            Self::Picture(job) => raw(&picturing::perform(job, cancel)?),
            Self::Trace(job) => raw(&picturing::trace(job)?),
            Self::Look(job) => raw(&looking::perform(job, cancel)?),
        }
    }
}
