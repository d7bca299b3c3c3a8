//! Reading the frames of a clip.

use crate::ffi::{
    Code, Decoder, Input, Packet, RawFrame, Received, StreamInfo, StreamKind, layout_of,
};
use crate::frame::{Frame, Reading};
use crate::index::Index;
use crate::pictures::{Sequence, is_sequence};
use crate::probe::{self, Kind, OtherStream, Probe, Scan};
use crate::tags::{self, Raw, Stated, Tags};
use crate::time::{FrameTime, Rational};
use crate::{MediaError, still};
use inkarnat_color::picture::{PixelFormat, ToWorking};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Containers that are opened. Play lists and other formats that point to further files are not
/// among them.
pub(crate) const CONTAINERS: &str = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,mxf,avi,mpegts,mpeg,mpegvideo,m4v,\
    h264,hevc,av1,obu,ivf,dv,gxf,nut,flv,asf,ogg,yuv4mpegpipe,mjpeg,wav,aiff,mp3,flac,aac,srt,dpx_pipe";

/// How a file is opened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Threads of the decoder; 0 = as many as it likes.
    pub threads: usize,
    /// Facts stated over those of the file.
    pub stated: Stated,
    /// Read what there is of a file whose end is missing, instead of refusing it.
    pub accept_truncated: bool,
}

/// A clip that is being read.
pub struct Reader {
    probe: Probe,
    source: Source,
    /// What brings the signal of its frames to the working signal.
    to_working: Option<Arc<dyn ToWorking>>,
}

enum Source {
    Clip(Box<Clip>),
    Still {
        frame: Option<Frame>,
        options: Options,
    },
    Sequence(Box<Row>),
}

/// The pictures behind a [`Reader`] of a folder.
struct Row {
    files: Vec<PathBuf>,
    options: Options,
    /// The frame that comes next.
    next: u64,
    /// The first frame, decoded when the folder was opened.
    first: Option<Frame>,
}

/// Frames a second of a folder of pictures that do not say theirs.
const ASSUMED_RATE: Rational = Rational::new(25, 1);

impl Row {
    fn open(folder: &Path, options: &Options) -> Result<(Probe, Self), MediaError> {
        let Sequence { files, first } = Sequence::of(folder)?;
        let (mut probe, frame) = still::read(&files[0], options)?;
        let stated = probe.rate.value() > 1.0;
        if !stated {
            probe.rate = ASSUMED_RATE;
            probe.notes.push(format!(
                "pictures without a rate: {ASSUMED_RATE} frames a second are assumed"
            ));
        }
        probe.path = folder.into();
        probe.kind = Kind::Sequence;
        probe.time_base = probe.rate.inverse();
        probe.frames = files.len() as u64;
        probe.duration_seconds = files.len() as f64 * probe.time_base.value();
        probe
            .notes
            .push(format!("a folder of pictures, the first numbered {first}"));
        let row = Self {
            files,
            options: *options,
            next: 0,
            first: Some(frame),
        };
        Ok((probe, row))
    }

    fn next_frame(&mut self, size: (usize, usize)) -> Result<Option<Frame>, MediaError> {
        let index = self.next;
        let Some(path) = usize::try_from(index)
            .ok()
            .and_then(|at| self.files.get(at))
        else {
            return Ok(None);
        };
        let kept = if index == 0 { self.first.take() } else { None };
        let frame = match kept {
            Some(frame) => frame,
            None => still::read(path, &self.options)?.1,
        };
        if (frame.width, frame.height) != size {
            return Err(MediaError::Unsupported {
                path: path.clone(),
                found: format!(
                    "a picture of {}×{} in a row of {}×{}",
                    frame.width, frame.height, size.0, size.1
                ),
                advice: "export the row in one size".into(),
            });
        }
        self.next += 1;
        Ok(Some(Frame {
            index,
            time: FrameTime {
                pts: index as i64,
                duration: 1,
            },
            ..frame
        }))
    }
}

/// The single picture of a file that FFmpeg decodes, with what was found in the file.
pub(crate) fn only_frame(
    path: &Path,
    length: u64,
    options: &Options,
) -> Result<(Probe, Frame), MediaError> {
    let (probe, mut clip) = Clip::open(path, length, options)?;
    let frame = clip.next_frame((probe.width, probe.height))?;
    let frame = frame.ok_or_else(|| MediaError::NoFrames { path: path.into() })?;
    Ok((probe, frame))
}

/// The moving picture behind a [`Reader`].
struct Clip {
    path: PathBuf,
    options: Options,
    input: Input,
    decoder: Decoder,
    stream: StreamInfo,
    index: Index,
    packet: Packet,
    /// The first frame, decoded when the clip was opened.
    pending: Option<Frame>,
    /// The frame that comes next.
    next: u64,
    /// Decoding position of the last packet given to the decoder, where it is known.
    sent: Option<usize>,
    /// The next packet is the first one after a seek.
    landed: bool,
    draining: bool,
    /// Damage was met since the last key packet.
    damaged: bool,
    /// Errors of the decoder so far.
    errors: u64,
    meaning: Option<Meaning>,
}

/// The resolved meaning of frames, kept while their tags stay the same.
struct Meaning {
    raw: Raw,
    number: i32,
    reading: Reading,
    tags: Tags,
    format: PixelFormat,
}

impl Reader {
    /// Opens a clip, a still or a folder of numbered pictures, builds its index and decodes its first frame.
    ///
    /// # Errors
    /// If the file is missing, no media, cut off, without frames, or coded in a way that is not read.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, MediaError> {
        Self::open_with(path, &Options::default())
    }

    /// [`Self::open`] with options.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_with(path: impl AsRef<Path>, options: &Options) -> Result<Self, MediaError> {
        let path = path.as_ref();
        if is_sequence(path) {
            let (probe, row) = Row::open(path, options)?;
            return Ok(Self {
                probe,
                source: Source::Sequence(Box::new(row)),
                to_working: None,
            });
        }
        let length = crate::file::check_readable(path)?;
        if crate::file::is_still(path)? {
            let (probe, frame) = still::read(path, options)?;
            return Ok(Self {
                probe,
                source: Source::Still {
                    frame: Some(frame),
                    options: *options,
                },
                to_working: None,
            });
        }
        let (probe, clip) = Clip::open(path, length, options)?;
        Ok(Self {
            probe,
            source: Source::Clip(Box::new(clip)),
            to_working: None,
        })
    }

    /// The same reader, whose frames' signal goes through an input transform before anything looks at it.
    #[must_use]
    pub fn with_input(mut self, to_working: Option<Arc<dyn ToWorking>>) -> Self {
        self.to_working = to_working;
        self
    }

    /// Whether there is an input transform.
    #[must_use]
    pub fn has_input(&self) -> bool {
        self.to_working.is_some()
    }

    /// What was found in the file.
    #[must_use]
    pub fn probe(&self) -> &Probe {
        &self.probe
    }

    /// What was found in the file, letting go of the reader.
    #[must_use]
    pub fn into_probe(self) -> Probe {
        self.probe
    }

    /// Frames that are shown.
    #[must_use]
    pub fn frame_count(&self) -> u64 {
        self.probe.frames
    }

    /// When a frame is shown, without decoding it.
    #[must_use]
    pub fn frame_time(&self, frame: u64) -> Option<FrameTime> {
        match &self.source {
            Source::Still { .. } => (frame == 0).then_some(FrameTime {
                pts: 0,
                duration: 1,
            }),
            Source::Sequence(row) => (frame < row.files.len() as u64).then_some(FrameTime {
                pts: frame as i64,
                duration: 1,
            }),
            Source::Clip(clip) => clip.time(frame),
        }
    }

    /// Errors of the decoder so far; the frames they touch are marked suspect or are missing.
    #[must_use]
    pub fn decode_errors(&self) -> u64 {
        match &self.source {
            Source::Still { .. } | Source::Sequence(_) => 0,
            Source::Clip(clip) => clip.errors,
        }
    }

    /// Makes [`Self::next_frame`] go on with the given frame.
    ///
    /// # Errors
    /// If there is no such frame, or the file cannot be read any more.
    pub fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        if frame >= self.probe.frames {
            return Err(MediaError::NoSuchFrame {
                path: self.probe.path.clone(),
                asked: frame,
                count: self.probe.frames,
            });
        }
        match &mut self.source {
            Source::Clip(clip) => clip.seek(frame),
            Source::Sequence(row) => {
                row.next = frame;
                Ok(())
            }
            Source::Still { frame, options } => {
                if frame.is_none() {
                    *frame = Some(still::read(&self.probe.path, options)?.1);
                }
                Ok(())
            }
        }
    }

    /// The next frame, in the order of showing; `None` after the last. A frame that damage has
    /// swallowed is left out: its number is missing.
    ///
    /// # Errors
    /// If nothing more can be read although frames are left, or the picture changes its size.
    pub fn next_frame(&mut self) -> Result<Option<Frame>, MediaError> {
        let frame = match &mut self.source {
            Source::Clip(clip) => clip.next_frame((self.probe.width, self.probe.height))?,
            Source::Still { frame, .. } => frame.take(),
            Source::Sequence(row) => row.next_frame((self.probe.width, self.probe.height))?,
        };
        Ok(frame.map(|frame| Frame {
            input: self.to_working.clone(),
            ..frame
        }))
    }

    /// One frame by its number.
    ///
    /// # Errors
    /// As [`Self::seek`] and [`Self::next_frame`], and if damage has swallowed the frame.
    pub fn frame(&mut self, frame: u64) -> Result<Frame, MediaError> {
        self.seek(frame)?;
        match self.next_frame()? {
            Some(found) if found.index == frame => Ok(found),
            _ => Err(MediaError::Damaged {
                path: self.probe.path.clone(),
                frame,
                reason: "the decoder gives no picture for it".into(),
            }),
        }
    }
}

impl Clip {
    fn open(path: &Path, length: u64, options: &Options) -> Result<(Probe, Self), MediaError> {
        let fail = |code: Code| crate::file::opening_error(path, code);
        let mut input = Input::open(path, CONTAINERS).map_err(fail)?;
        let streams = input.streams();
        let Some(stream) = probe::choose_video(&streams) else {
            return Err(MediaError::NoVideo {
                path: path.into(),
                found: probe::describe_streams(&streams),
            });
        };
        let stream = stream.clone();
        let index = Index::build(&mut input, &stream, length).map_err(fail)?;
        let promised = u64::try_from(stream.frames).ok().filter(|&n| n > 0);
        let truncated = index.cut_off || crate::file::falls_short(path, length)?;
        if truncated && !options.accept_truncated {
            return Err(MediaError::Truncated {
                path: path.into(),
                readable: index.len(),
                promised,
            });
        }
        if index.len() == 0 {
            return Err(MediaError::NoFrames { path: path.into() });
        }
        let decoder = open_decoder(path, &input, &stream, options)?;
        let metadata = input.metadata();
        let container = input.container();
        let mut clip = Self {
            path: path.into(),
            options: *options,
            input,
            decoder,
            stream,
            index,
            packet: Packet::new().map_err(fail)?,
            pending: None,
            next: 0,
            sent: None,
            landed: true,
            draining: false,
            damaged: false,
            errors: 0,
            meaning: None,
        };
        clip.start_at(0)?;
        let Some((mut first, top_first)) = clip.decode()? else {
            return Err(MediaError::Damaged {
                path: path.into(),
                frame: 0,
                reason: "the decoder gives no picture at all".into(),
            });
        };
        // Set by the decoding of a first frame.
        let Some(meaning) = &clip.meaning else {
            return Err(MediaError::NoFrames { path: path.into() });
        };
        let stream = &clip.stream;
        let time_base = Rational::from(stream.time_base);
        let (rate, constant) = clip.index.rate(
            time_base,
            [stream.base_rate.into(), stream.average_rate.into()],
        );
        let frames = clip.index.len();
        // The length of the last frame: a packet's own counts decoding time, which is something else
        // where pictures are reordered.
        let ticks = (1.0 / (rate.value() * time_base.value())).round().max(1.0) as i64;
        if !clip.index.timed() {
            clip.index.space_evenly(ticks);
        }
        if constant {
            clip.index.set_last_duration(ticks);
        } else if container.starts_with("mov")
            && let Some((start, duration)) = stream.start.zip(stream.duration)
        {
            clip.index.end_at(start.saturating_add(duration));
        }
        let start = clip.index.time(0).unwrap_or(0);
        let ticks = clip
            .index
            .time(frames - 1)
            .map_or(0, |last| last - start + clip.index.duration(frames - 1));
        let scan = match (first.interlaced, stream.field_order) {
            (true, _) if top_first => Scan::TopFieldFirst,
            (true, _) => Scan::BottomFieldFirst,
            (false, 2 | 4) => Scan::TopFieldFirst,
            (false, 3 | 5) => Scan::BottomFieldFirst,
            _ => Scan::Progressive,
        };
        let aspect = Rational::from(stream.sample_aspect);
        let mut probe = Probe {
            path: path.into(),
            kind: Kind::Clip,
            container,
            codec: stream.codec.clone(),
            pixel_format: meaning.reading.layout.name.clone(),
            width: first.width,
            height: first.height,
            sample_aspect: if aspect.is_positive() {
                aspect
            } else {
                Rational::new(1, 1)
            },
            rotation: stream
                .rotation
                .map_or(0, |degrees| (degrees.round() as i32).rem_euclid(360)),
            display_matrix: stream.display_matrix,
            rate,
            variable_rate: !constant,
            time_base,
            start,
            frames,
            duration_seconds: ticks as f64 * time_base.value(),
            timecode: probe::timecode(&streams, stream, &metadata),
            tags: meaning.tags.clone(),
            format: meaning.format,
            scan,
            alpha: meaning.reading.layout.alpha && !meaning.reading.layout.palette,
            hdr: meaning.tags.transfer.value().is_hdr() || stream.hdr_side_data,
            others: streams
                .iter()
                .filter(|s| s.index != stream.index)
                .map(|s| OtherStream {
                    kind: if s.kind == StreamKind::Video && s.attached_picture {
                        "cover picture".into()
                    } else {
                        probe::kind_name(s.kind).into()
                    },
                    codec: s.codec.clone(),
                    index: s.index,
                })
                .collect(),
            metadata,
            notes: Vec::new(),
        };
        probe.notes = probe::notes(&probe, &options.stated);
        if truncated {
            probe.notes.push(match promised {
                Some(promised) => format!("cut off: {frames} of {promised} frames can be read"),
                None => format!("cut off: {frames} frames can be read"),
            });
        }
        if clip.index.damaged > 0 {
            probe.notes.push(format!(
                "{} packets are damaged; the frames they touch are suspect",
                clip.index.damaged
            ));
        }
        if !clip.index.timed() {
            probe.notes.push(
                "frames have no times of their own in this file: they are numbered as they come"
                    .into(),
            );
        }
        if let Some(time) = clip.time(first.index) {
            first.time = time;
        }
        clip.pending = Some(first);
        clip.next = 0;
        Ok((probe, clip))
    }

    fn time(&self, frame: u64) -> Option<FrameTime> {
        self.index.time(frame).map(|pts| FrameTime {
            pts,
            duration: self.index.duration(frame),
        })
    }

    /// Goes to a packet by its decoding position, or to one before it.
    fn start_at(&mut self, position: usize) -> Result<(), MediaError> {
        self.decoder.flush();
        self.draining = false;
        self.damaged = false;
        self.sent = None;
        self.landed = true;
        self.input.keep_streams(|index| index == self.stream.index);
        let target = self
            .index
            .entry(position)
            .map_or(0, |entry| entry.dts.min(entry.pts));
        if self.input.seek(self.stream.index, target).is_ok() {
            return Ok(());
        }
        self.reopen()
    }

    /// Opens the file again at its beginning: the way back of containers that cannot seek.
    fn reopen(&mut self) -> Result<(), MediaError> {
        self.input = Input::open(&self.path, CONTAINERS)
            .map_err(|code| crate::file::opening_error(&self.path, code))?;
        self.input.keep_streams(|index| index == self.stream.index);
        self.decoder = open_decoder(&self.path, &self.input, &self.stream, &self.options)?;
        self.draining = false;
        self.damaged = false;
        self.sent = None;
        self.landed = true;
        Ok(())
    }

    fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        if self.pending.as_ref().is_some_and(|f| f.index == frame)
            || self.next == frame && self.pending.is_none()
        {
            return Ok(());
        }
        if let Some(dropped) = self.pending.take() {
            self.next = dropped.index + 1;
        }
        let start = self.index.start_of(frame);
        // Going on is as exact as going back, and cheaper when no key packet lies between.
        let ahead = self.next <= frame && self.sent.is_some_and(|sent| start <= sent);
        if ahead || !self.index.timed() && self.next <= frame {
            return self.decode_up_to(frame).map(|_| ());
        }
        if !self.index.timed() {
            self.reopen()?;
            self.next = 0;
            return self.decode_up_to(frame).map(|_| ());
        }
        let mut start = start;
        for attempt in 0.. {
            // A damaged or unusual group may not give the frame: start earlier, then at the front.
            if attempt == 3 {
                start = 0;
            }
            self.start_at(start)?;
            self.next = 0;
            let from_front = start == 0;
            if from_front && attempt > 0 {
                self.reopen()?;
            }
            if self.lands_by(start)? && self.decode_up_to(frame)? || (from_front && attempt > 0) {
                break;
            }
            start = self.index.key_before(start);
        }
        Ok(())
    }

    /// Gives the first packet after a seek to the decoder and says whether it lies no later than
    /// `start`.
    fn lands_by(&mut self, start: usize) -> Result<bool, MediaError> {
        let Ok(true) = self.read_packet() else {
            return Ok(false);
        };
        let position = self.index.position_of(self.packet.pts(), self.packet.dts());
        let good = position.is_some_and(|position| position <= start);
        if good {
            self.send_packet()?;
            self.sent = position;
            self.landed = false;
        }
        Ok(good)
    }

    /// Decodes until the given frame lies ready; says whether it came.
    fn decode_up_to(&mut self, frame: u64) -> Result<bool, MediaError> {
        loop {
            match self.decode()? {
                Some((found, _)) if found.index < frame => {}
                Some((found, _)) => {
                    let exact = found.index == frame;
                    self.next = found.index;
                    self.pending = Some(found);
                    return Ok(exact);
                }
                None => return Ok(false),
            }
        }
    }

    fn next_frame(&mut self, size: (usize, usize)) -> Result<Option<Frame>, MediaError> {
        let frame = match self.pending.take() {
            Some(frame) => Some(frame),
            None => self.decode()?.map(|(frame, _)| frame),
        };
        if let Some(frame) = &frame {
            self.next = frame.index + 1;
            if (frame.width, frame.height) != size {
                return Err(MediaError::Unsupported {
                    path: self.path.clone(),
                    found: format!(
                        "a picture that changes its size at frame {} ({}×{} to {}×{})",
                        frame.index, size.0, size.1, frame.width, frame.height
                    ),
                    advice: "export it in one size".into(),
                });
            }
        }
        Ok(frame)
    }

    /// Reads the next packet of the stream; `false` at the end.
    fn read_packet(&mut self) -> Result<bool, Code> {
        loop {
            if !self.input.read(&mut self.packet)? {
                return Ok(false);
            }
            if self.packet.stream() == self.stream.index && self.packet.size() > 0 {
                return Ok(true);
            }
        }
    }

    fn send_packet(&mut self) -> Result<(), MediaError> {
        if self.packet.corrupt() {
            self.damaged = true;
        }
        match self.decoder.send(Some(&self.packet)) {
            Ok(()) => Ok(()),
            Err(Code::NO_MEMORY) => Err(MediaError::OutOfMemory {
                path: self.path.clone(),
            }),
            Err(_) => {
                self.errors += 1;
                self.damaged = true;
                Ok(())
            }
        }
    }

    /// The next picture from the decoder, with whether its top field comes first.
    fn decode(&mut self) -> Result<Option<(Frame, bool)>, MediaError> {
        let memory = |_| MediaError::OutOfMemory {
            path: self.path.clone(),
        };
        let mut raw = RawFrame::new().map_err(memory)?;
        loop {
            match self.decoder.receive(&mut raw) {
                Ok(Received::Frame) => return self.frame_from(raw).map(Some),
                Ok(Received::End) => return Ok(None),
                Ok(Received::NeedsPacket) if self.draining => return Ok(None),
                Ok(Received::NeedsPacket) => {}
                Err(Code::NO_MEMORY) => {
                    return Err(MediaError::OutOfMemory {
                        path: self.path.clone(),
                    });
                }
                Err(_) => {
                    self.errors += 1;
                    self.damaged = true;
                    continue;
                }
            }
            match self.read_packet() {
                Ok(true) => {
                    self.sent = if std::mem::take(&mut self.landed) {
                        self.index.position_of(self.packet.pts(), self.packet.dts())
                    } else {
                        self.sent.map(|sent| sent + 1)
                    };
                    self.send_packet()?;
                }
                // What cannot be read any more was counted when the index was built.
                Ok(false) | Err(_) => {
                    self.draining = true;
                    if self.decoder.send(None).is_err() {
                        return Ok(None);
                    }
                }
            }
        }
    }

    fn frame_from(&mut self, raw: RawFrame) -> Result<(Frame, bool), MediaError> {
        let index = raw
            .timestamp()
            .filter(|_| self.index.timed())
            .and_then(|time| self.index.frame_at(time, self.next))
            .unwrap_or(self.next);
        self.next = index + 1;
        if self.index.is_key(index) && !raw.damaged() {
            self.damaged = false;
        }
        self.damaged |= raw.damaged();
        let (interlaced, top_first) = (raw.interlaced(), raw.top_field_first());
        let time = self.time(index).unwrap_or_default();
        let (width, height) = (raw.width(), raw.height());
        let suspect = self.damaged;
        self.understand(&raw)?;
        let Some(meaning) = &self.meaning else {
            return Err(self.unsupported("no pixel format".into()));
        };
        let format = PixelFormat {
            fields: interlaced,
            ..meaning.format
        };
        let Some(store) = meaning.reading.store(raw, format) else {
            let found = format!("this layout of {}", meaning.reading.layout.name);
            return Err(self.unsupported(found));
        };
        let frame = Frame {
            index,
            time,
            suspect,
            interlaced,
            format,
            width,
            height,
            store,
            input: None,
        };
        Ok((frame, top_first))
    }

    fn unsupported(&self, found: String) -> MediaError {
        MediaError::Unsupported {
            path: self.path.clone(),
            found,
            advice: "export it as 8–16 bit Y'CbCr or R'G'B' video, for example ProRes".into(),
        }
    }

    /// Resolves what the codes of a frame mean, if its tags are not those of the frame before.
    fn understand(&mut self, frame: &RawFrame) -> Result<(), MediaError> {
        let number = frame.format();
        let of_frame = frame.tags();
        let s = &self.stream;
        // The frame knows best; the container fills in what it leaves open (2, or 0 for range and
        // siting).
        let pick =
            |own: i32, container: i32, silent: i32| if own == silent { container } else { own };
        let known = self
            .meaning
            .as_ref()
            .filter(|meaning| meaning.number == number);
        let reading = match known {
            Some(meaning) => meaning.reading.clone(),
            None => {
                let layout = layout_of(number)
                    .ok_or_else(|| self.unsupported(format!("pixel format {number}")))?;
                Reading::of(layout).map_err(|found| self.unsupported(found))?
            }
        };
        let raw = Raw {
            primaries: pick(of_frame[0], s.primaries, 2),
            transfer: pick(of_frame[1], s.transfer, 2),
            matrix: pick(of_frame[2], s.matrix, 2),
            range: pick(of_frame[3], s.range, 0),
            siting: pick(of_frame[4], s.siting, 0),
            width: frame.width(),
            height: frame.height(),
            rgb: reading.layout.rgb || reading.layout.palette,
            grey: reading.grey,
            full_format: reading.layout.name.starts_with("yuvj"),
            across: reading.layout.across,
            down: reading.layout.down,
            depth: reading.depth,
            still_codec: matches!(
                s.codec.as_str(),
                "mjpeg" | "png" | "tiff" | "bmp" | "jpegls" | "jpeg2000" | "webp" | "gif" | "dpx"
            ),
        };
        if self
            .meaning
            .as_ref()
            .is_some_and(|meaning| meaning.raw == raw && meaning.number == number)
        {
            return Ok(());
        }
        let tags =
            tags::resolve(&raw, &self.options.stated).map_err(|found| self.unsupported(found))?;
        let format = tags::pixel_format(&raw, &tags);
        self.meaning = Some(Meaning {
            raw,
            number,
            reading,
            tags,
            format,
        });
        Ok(())
    }
}

fn open_decoder(
    path: &Path,
    input: &Input,
    stream: &StreamInfo,
    options: &Options,
) -> Result<Decoder, MediaError> {
    Decoder::open(input, stream.index, options.threads)
        .map_err(|code| MediaError::Damaged {
            path: path.into(),
            frame: 0,
            reason: format!(
                "the {} decoder does not start: {}",
                stream.codec,
                code.text()
            ),
        })?
        .ok_or_else(|| MediaError::Unsupported {
            path: path.into(),
            found: format!("codec {}", stream.codec),
            advice: "export it with a usual codec, for example ProRes or H.264".into(),
        })
}
