//! Writing a clip in QuickTime.

use crate::codec::Codec;
use crate::ffi::{Code, Encoder, EncoderSettings, Output, Packet, RawFrame, Received};
use crate::probe::{Kind, Probe, Scan};
use crate::sound::Sound;
use crate::tags::TagCodes;
use crate::time::{FrameTime, Rational, Timecode};
use crate::{MediaError, Reader, ffi, file};
use inkarnat_color::Coefficients;
use inkarnat_color::picture::{Model, PixelFormat, Planes16, Siting, chroma_size};
use std::collections::BTreeMap;
use std::fs::{self, OpenOptions};
use std::path::{Path, PathBuf};

/// How a clip is written.
#[derive(Clone, Debug, PartialEq)]
pub struct WriterOptions {
    /// The codec.
    pub codec: Codec,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Frames a second; the mean where it varies.
    pub rate: Rational,
    /// Frames are not evenly spaced.
    pub variable_rate: bool,
    /// Unit of the times given to [`Writer::write`].
    pub time_base: Rational,
    /// Time of the source's first frame; the output begins at zero.
    pub start: i64,
    /// Width of a pixel over its height.
    pub sample_aspect: Rational,
    /// Luma coefficients of the planes.
    pub coefficients: Coefficients,
    /// Colour tags.
    pub tags: TagCodes,
    /// Timecode of the first frame.
    pub timecode: Option<Timecode>,
    /// Progressive, or the order of the fields.
    pub scan: Scan,
    /// Transparency is given with every picture.
    pub alpha: bool,
    /// Display matrix to be kept.
    pub display_matrix: Option<[i32; 9]>,
    /// The file whose sound, subtitles, chapters and mastering data are copied.
    pub sound: Option<PathBuf>,
    /// Where the sound ends, in seconds of the output; infinite where it is copied to its end.
    pub sound_end_s: f64,
    /// Metadata of the file.
    pub metadata: Vec<(String, String)>,
    /// Files that must never be written to.
    pub sources: Vec<PathBuf>,
    /// Threads of the encoder; 0 = as many as it likes.
    pub threads: usize,
}

impl WriterOptions {
    /// What a clip needs to be like its source.
    #[must_use]
    pub fn like(probe: &Probe, codec: Codec) -> Self {
        Self {
            codec,
            width: probe.width,
            height: probe.height,
            rate: probe.rate,
            variable_rate: probe.variable_rate,
            time_base: probe.time_base,
            start: probe.start,
            sample_aspect: probe.sample_aspect,
            coefficients: *probe.tags.coefficients.value(),
            tags: probe.tags.codes_used(),
            timecode: probe.timecode.clone(),
            scan: probe.scan,
            // A still's transparency is not read.
            alpha: probe.alpha && probe.kind == Kind::Clip && codec.carries_alpha(),
            display_matrix: probe.display_matrix,
            sound: (probe.kind == Kind::Clip).then(|| probe.path.clone()),
            sound_end_s: f64::INFINITY,
            metadata: probe.metadata.clone(),
            sources: vec![probe.path.clone()],
            threads: 0,
        }
    }

    /// What the frames from `first` up to `end` need to be like the source: they begin at zero, under
    /// their own timecode, with the sound that goes with them.
    #[must_use]
    pub fn part(
        source: &Reader,
        codec: Codec,
        (first, end): (u64, u64),
        timecode: Option<Timecode>,
    ) -> Self {
        let whole = Self::like(source.probe(), codec);
        let start = source.frame_time(first).map_or(whole.start, |t| t.pts);
        let last = source.frame_time(end.saturating_sub(1));
        let ticks = last.map_or(0, |t| t.pts + t.duration - start);
        Self {
            start,
            timecode,
            sound_end_s: ticks as f64 * whole.time_base.value(),
            ..whole
        }
    }

    /// The format of the pictures to be given: sampling and depth of the codec, chroma on the left
    /// column, narrow; of pictures as files R'G'B'.
    #[must_use]
    pub fn format(&self) -> PixelFormat {
        PixelFormat {
            model: if self.codec.is_pictures() {
                Model::Rgb
            } else {
                Model::Ycbcr(self.coefficients)
            },
            subsampling: self.codec.subsampling(),
            siting: Siting::Left,
            depth: self.codec.depth(),
            levels: self.codec.levels(),
            fields: self.scan != Scan::Progressive && !self.codec.is_pictures(),
        }
    }
}

/// What was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Frames.
    pub frames: u64,
    /// Packets of sound.
    pub sound_packets: u64,
    /// What of the source could not be carried over: one line each.
    pub notes: Vec<String>,
}

/// A clip that is being written. Dropped before [`Self::finish`], it removes its file.
pub struct Writer {
    path: PathBuf,
    options: WriterOptions,
    encoder: Encoder,
    /// Gone once the file is closed.
    output: Option<Output>,
    stream: usize,
    sound: Option<Sound>,
    picture: RawFrame,
    packet: Packet,
    clock: Clock,
    /// Lengths of the pictures inside the encoder, by time.
    lengths: BTreeMap<i64, i64>,
    last: Option<i64>,
    frames: u64,
    packets: u64,
    notes: Vec<String>,
}

/// From the times of the source to those of the output.
#[derive(Clone, Copy, Debug)]
struct Clock {
    base: Rational,
    start: i64,
    /// Source time base and rate, where frames are counted instead of timed: the source's ticks
    /// cannot hold its constant rate exactly.
    counted: Option<(Rational, Rational)>,
}

impl Clock {
    fn new(options: &WriterOptions) -> Self {
        let (base, rate) = (options.time_base, options.rate);
        let ticks = i64::from(base.den) * i64::from(rate.den);
        let whole = ticks % (i64::from(base.num) * i64::from(rate.num)) == 0;
        if options.variable_rate || whole {
            Self {
                base,
                start: options.start,
                counted: None,
            }
        } else {
            Self {
                base: rate.inverse(),
                start: options.start,
                counted: Some((base, rate)),
            }
        }
    }

    fn convert(&self, time: FrameTime) -> FrameTime {
        let pts = time.pts - self.start;
        match self.counted {
            None => FrameTime {
                pts,
                duration: time.duration,
            },
            Some((base, rate)) => {
                let frames =
                    |ticks: i64| (ticks as f64 * base.value() * rate.value()).round() as i64;
                FrameTime {
                    pts: frames(pts),
                    duration: frames(time.duration).max(1),
                }
            }
        }
    }
}

impl Writer {
    /// Begins a clip in a new file.
    ///
    /// # Errors
    /// If the file exists, is a source, or cannot be made; if the encoder does not take the format;
    /// if the sound cannot be read.
    pub fn create(path: impl AsRef<Path>, options: WriterOptions) -> Result<Self, MediaError> {
        let path = path.as_ref();
        for source in options.sources.iter().chain(&options.sound) {
            if file::is_same_file(path, source) {
                return Err(MediaError::OutputIsSource {
                    path: path.into(),
                    source_path: source.clone(),
                });
            }
        }
        if options.codec.is_pictures() {
            return Err(MediaError::BadRequest {
                path: path.into(),
                found: format!("a coding of pictures ({:?})", options.codec),
                expected: "one of clips; pictures are written by `PictureWriter`".into(),
            });
        }
        check_options(path, &options)?;
        let clock = Clock::new(&options);
        let encoder = open_encoder(path, &options, clock.base)?;
        OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(path)
            .map_err(|error| MediaError::writing(path, &error))?;
        // From here on the file is ours: whatever fails removes it.
        let begun = Self::begin(path, options, clock, encoder);
        if begun.is_err() {
            let _ = fs::remove_file(path);
        }
        begun
    }

    fn begin(
        path: &Path,
        options: WriterOptions,
        clock: Clock,
        encoder: Encoder,
    ) -> Result<Self, MediaError> {
        let fail = |code: Code| MediaError::muxing(path, code);
        let mut output = Output::open(path).map_err(fail)?;
        let mut marks: Vec<(&str, &str)> = Vec::new();
        if let Some(timecode) = &options.timecode {
            marks.push(("timecode", &timecode.text));
        }
        let stream = output
            .add_encoded(
                &encoder,
                clock.base.pair(),
                options.rate.pair(),
                &marks,
                options.display_matrix,
            )
            .map_err(fail)?;
        let mut notes = Vec::new();
        let sound = match &options.sound {
            Some(source) => {
                let start = (options.start, options.time_base);
                let part = options.sound_end_s.is_finite();
                Sound::open(source, start, (stream, part), &mut output, path, &mut notes)?
            }
            None => None,
        };
        let scale = clock.base.den.to_string();
        let mut settings = Vec::new();
        if clock.base.num == 1 && clock.base.den >= 600 {
            settings.push(("video_track_timescale", scale.as_str()));
            // Edit lists count in this one: in milliseconds they would cut into the last frame.
            settings.push(("movie_timescale", scale.as_str()));
        }
        let metadata: Vec<(&str, &str)> = options
            .metadata
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
            .filter(|(name, _)| !CONTAINER_MARKS.contains(&name.to_lowercase().as_str()))
            .collect();
        output.write_header(&metadata, &settings).map_err(fail)?;
        let coding = options.codec.coding(options.alpha);
        let format = ffi::pixel_format(coding.pixel_format)
            .ok_or(Code::INVALID_DATA)
            .map_err(fail)?;
        let mut picture = RawFrame::picture(format, options.width, options.height)
            .map_err(|_| MediaError::OutOfMemory { path: path.into() })?;
        picture.set_tags(tag_numbers(&options));
        if options.scan != Scan::Progressive {
            picture.set_interlaced(options.scan == Scan::TopFieldFirst);
        }
        Ok(Self {
            path: path.into(),
            encoder,
            output: Some(output),
            stream,
            sound,
            picture,
            packet: Packet::new().map_err(fail)?,
            clock,
            lengths: BTreeMap::new(),
            last: None,
            frames: 0,
            packets: 0,
            notes,
            options,
        })
    }

    /// The format of the pictures to be given.
    #[must_use]
    pub fn format(&self) -> PixelFormat {
        self.options.format()
    }

    /// Writes the next frame; `time` is that of its source frame.
    ///
    /// # Errors
    /// If the picture has another size or format, the time does not lie after that of the frame
    /// before, the encoder fails, or the file cannot be written.
    pub fn write(&mut self, picture: &Planes16, time: FrameTime) -> Result<(), MediaError> {
        self.write_with_alpha(picture, None, time)
    }

    /// [`Self::write`] with the transparency of every pixel, row by row: 10 bits, 0–1023.
    ///
    /// # Errors
    /// As [`Self::write`], and if transparency is given and not asked for, or the other way round.
    pub fn write_with_alpha(
        &mut self,
        picture: &Planes16,
        alpha: Option<&[u16]>,
        time: FrameTime,
    ) -> Result<(), MediaError> {
        let expected = self.format();
        let (width, height) = (self.options.width, self.options.height);
        if (picture.width, picture.height, picture.format) != (width, height, expected) {
            return Err(self.bad_request(
                format!(
                    "a picture of {}×{}, {:?}",
                    picture.width, picture.height, picture.format
                ),
                format!("{width}×{height}, {expected:?}"),
            ));
        }
        let time = self.clock.convert(time);
        if self.last.is_some_and(|last| time.pts <= last) {
            return Err(self.bad_request(
                format!("frame {} at a time not after the one before", self.frames),
                "frames in the order of showing".into(),
            ));
        }
        let given = alpha.map_or(0, <[u16]>::len);
        let wanted = if self.options.alpha {
            width * height
        } else {
            0
        };
        if given != wanted {
            return Err(self.bad_request(
                format!("transparency of {given} pixels"),
                format!("of {wanted}"),
            ));
        }
        self.last = Some(time.pts);
        self.picture
            .fill(picture, chroma_size(width, height, expected), alpha)
            .map_err(|_| MediaError::OutOfMemory {
                path: self.path.clone(),
            })?;
        self.picture.set_timestamp(time.pts);
        self.lengths.insert(time.pts, time.duration);
        self.encoder
            .send(Some(&mut self.picture))
            .map_err(|code| self.encoder_error(code))?;
        self.frames += 1;
        self.drain()
    }

    /// Writes what the encoder has ready.
    fn drain(&mut self) -> Result<(), MediaError> {
        let Some(output) = &mut self.output else {
            return Ok(());
        };
        loop {
            match self.encoder.receive(&mut self.packet) {
                Ok(Received::Frame) => {}
                Ok(_) => return Ok(()),
                Err(code) => return Err(self.encoder_error(code)),
            }
            if let Some(length) = self.packet.pts().and_then(|pts| self.lengths.remove(&pts)) {
                self.packet.set_duration(length);
            }
            let base = self.clock.base;
            if let (Some(sound), Some(dts)) = (&mut self.sound, self.packet.dts()) {
                let until = (dts as f64 * base.value()).min(self.options.sound_end_s);
                sound.copy_until(until, output, &self.path)?;
            }
            if self.options.codec == Codec::DnxhrHqx {
                state_matrix(&mut self.packet, self.options.tags.matrix)
                    .map_err(|code| MediaError::muxing(&self.path, code))?;
            }
            self.packet.set_stream(self.stream);
            self.packet
                .rescale(base.pair(), output.time_base(self.stream));
            output
                .write(&mut self.packet)
                .map_err(|code| MediaError::muxing(&self.path, code))?;
            self.packets += 1;
        }
    }

    /// Writes what is left, closes the file and waits until it is on the disk.
    ///
    /// # Errors
    /// If the encoder fails or the file cannot be written; the file is removed then.
    pub fn finish(mut self) -> Result<Written, MediaError> {
        if self.frames == 0 {
            return Err(self.bad_request("no frame".into(), "at least one".into()));
        }
        self.encoder
            .send(None)
            .map_err(|code| self.encoder_error(code))?;
        self.drain()?;
        if self.packets != self.frames {
            return Err(MediaError::Encoder {
                path: self.path.clone(),
                encoder: self.options.codec.coding(false).encoder.into(),
                reason: format!("{} frames became {} packets", self.frames, self.packets),
            });
        }
        let mut sound_packets = 0;
        if let (Some(output), Some(sound)) = (&mut self.output, &mut self.sound) {
            sound.copy_until(self.options.sound_end_s, output, &self.path)?;
            sound_packets = sound.packets();
        }
        if let Some(output) = self.output.take() {
            let closed = output
                .finish()
                .map_err(|code| MediaError::muxing(&self.path, code))
                .and_then(|()| {
                    OpenOptions::new()
                        .write(true)
                        .open(&self.path)
                        .and_then(|file| file.sync_all())
                        .map_err(|error| MediaError::writing(&self.path, &error))
                });
            if let Err(error) = closed {
                let _ = fs::remove_file(&self.path);
                return Err(error);
            }
        }
        Ok(Written {
            frames: self.frames,
            sound_packets,
            notes: std::mem::take(&mut self.notes),
        })
    }

    fn bad_request(&self, found: String, expected: String) -> MediaError {
        MediaError::BadRequest {
            path: self.path.clone(),
            found,
            expected,
        }
    }

    fn encoder_error(&self, code: Code) -> MediaError {
        MediaError::Encoder {
            path: self.path.clone(),
            encoder: self.options.codec.coding(false).encoder.into(),
            reason: code.text(),
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        if let Some(output) = self.output.take() {
            drop(output);
            // Nothing can be done about remains that cannot be removed.
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// Metadata that describe the source's container, not its content.
const CONTAINER_MARKS: [&str; 5] = [
    "major_brand",
    "minor_version",
    "compatible_brands",
    "encoder",
    "timecode",
];

/// Says in a DNxHR picture's own header which matrix its planes are of: the encoder leaves the field
/// at 0, BT.709, which readers believe before the container's tags. `matrix` is a code of Rec. ITU-T
/// H.273 table 4. (SMPTE ST 2019-1, colour volume: 0 BT.709, 1 BT.2020, 2 BT.2020 of constant
/// luminance, 3 stated elsewhere; place and values as FFmpeg's decoder reads them.)
fn state_matrix(packet: &mut Packet, matrix: u8) -> Result<(), Code> {
    const PLACE: usize = 0x2c;
    let volume = match matrix {
        1 => 0,
        9 => 1,
        10 => 2,
        _ => 3,
    };
    if let Some(byte) = packet.bytes_mut()?.get_mut(PLACE) {
        *byte = *byte & !0b110 | volume << 1;
    }
    Ok(())
}

/// Primaries, transfer, matrix, range, siting as FFmpeg numbers them.
fn tag_numbers(options: &WriterOptions) -> [i32; 5] {
    let TagCodes {
        primaries,
        transfer,
        matrix,
    } = options.tags;
    // Narrow; left.
    [
        i32::from(primaries),
        i32::from(transfer),
        i32::from(matrix),
        1,
        1,
    ]
}

pub(crate) fn check_options(path: &Path, options: &WriterOptions) -> Result<(), MediaError> {
    let bad = |found: String, expected: &str| {
        Err(MediaError::BadRequest {
            path: path.into(),
            found,
            expected: expected.into(),
        })
    };
    let WriterOptions { width, height, .. } = *options;
    let least = options.codec.coding(false).least;
    if width < least.0 || height < least.1 || width > 16_384 || height > 16_384 {
        return bad(
            format!("a picture of {width}×{height}"),
            &format!("{}×{} to 16384×16384 for this codec", least.0, least.1),
        );
    }
    let sampling = options.codec.subsampling();
    if width % 2 == 1 && sampling.across > 0 {
        return bad(
            format!("a picture {width} wide"),
            "an even width: the chroma of this codec serves pairs of pixels",
        );
    }
    if width % 2 == 1 && options.codec == Codec::Prores4444 {
        return bad(
            format!("a picture {width} wide"),
            "an even width: the encoder of ProRes takes no other; choose another codec",
        );
    }
    if height % 2 == 1 && sampling.down > 0 {
        return bad(
            format!("a picture {height} high"),
            "an even height: the chroma of this codec serves pairs of rows",
        );
    }
    if options.scan != Scan::Progressive && options.codec == Codec::DnxhrHqx {
        return bad(
            "pictures of two fields".into(),
            "progressive ones: DNxHR has no other; choose another codec",
        );
    }
    if options.alpha && !options.codec.carries_alpha() {
        return bad("transparency".into(), "a codec that carries it");
    }
    if !options.rate.is_positive() || !options.time_base.is_positive() {
        return bad(
            format!("rate {} and time base {}", options.rate, options.time_base),
            "both above zero",
        );
    }
    Ok(())
}

fn open_encoder(
    path: &Path,
    options: &WriterOptions,
    time_base: Rational,
) -> Result<Encoder, MediaError> {
    let coding = options.codec.coding(options.alpha);
    let name = coding.encoder;
    Encoder::open(&EncoderSettings {
        name,
        width: options.width,
        height: options.height,
        pixel_format: coding.pixel_format,
        time_base: time_base.pair(),
        rate: options.rate.pair(),
        sample_aspect: options.sample_aspect.pair(),
        tags: tag_numbers(options),
        threads: options.threads,
        fields: match options.scan {
            Scan::Progressive => None,
            Scan::TopFieldFirst => Some(true),
            Scan::BottomFieldFirst => Some(false),
        },
        tag: Some(coding.tag),
        options: coding.options,
    })
    .map_err(|code| MediaError::Encoder {
        path: path.into(),
        encoder: name.into(),
        reason: code.text(),
    })?
    .ok_or_else(|| MediaError::MissingPart { part: name.into() })
}
