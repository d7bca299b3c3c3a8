//! Writing a shot as pictures: a folder `NAME/NAME.0001234.png`, or one file of a still.

use super::{Statement, dpx, exr};
use crate::codec::Codec;
use crate::ffi::{Encoder, EncoderSettings, Packet, RawFrame, Received};
use crate::probe::{Kind, Probe, Scan};
use crate::time::Timecode;
use crate::writer::{WriterOptions, Written, check_options};
use crate::{MediaError, ffi, file};
use inkarnat_color::picture::{PixelFormat, Planes16};
use std::borrow::Cow;
use std::fs::{self, File, OpenOptions};
use std::io::{BufWriter, Cursor, Write};
use std::path::{Path, PathBuf};

/// How the pictures of a shot are called.
pub struct Numbering {
    /// What stands before the number.
    pub name: String,
    /// The first number; `None`: one picture alone, at the path itself.
    pub first: Option<u64>,
    /// Timecode of a picture, counted from 0.
    pub timecode: Box<dyn Fn(u64) -> Option<Timecode>>,
}

/// Pictures that are being written. Dropped before [`Self::finish`], it removes them.
pub struct PictureWriter {
    path: PathBuf,
    options: WriterOptions,
    numbering: Numbering,
    meaning: String,
    notes: Vec<String>,
    frames: u64,
    finished: bool,
}

impl PictureWriter {
    /// Begins pictures in a new folder, or one picture in a new file.
    ///
    /// # Errors
    /// If the place is taken or is a source, or the coding does not take the format.
    pub fn create(
        path: impl AsRef<Path>,
        options: WriterOptions,
        numbering: Numbering,
        source: &Probe,
    ) -> Result<Self, MediaError> {
        let path = path.as_ref();
        for source in &options.sources {
            if file::is_same_file(path, source) {
                return Err(MediaError::OutputIsSource {
                    path: path.into(),
                    source_path: source.clone(),
                });
            }
        }
        check_options(path, &options)?;
        if options.codec == Codec::ExrHalf && !super::shown_by_bt1886(options.tags.transfer) {
            return Err(MediaError::BadRequest {
                path: path.into(),
                found: "a signal of high dynamic range".into(),
                expected: "one for the display of BT.1886, whose light goes into OpenEXR; choose TIFF, PNG or DPX".into(),
            });
        }
        if numbering.first.is_some() {
            fs::create_dir(path).map_err(|error| MediaError::writing(path, &error))?;
        }
        Ok(Self {
            path: path.into(),
            meaning: meaning(&options),
            notes: notes(&options, source),
            options,
            numbering,
            frames: 0,
            finished: false,
        })
    }

    /// The format of the pictures to be given.
    #[must_use]
    pub fn format(&self) -> PixelFormat {
        self.options.format()
    }

    /// Writes the next picture.
    ///
    /// # Errors
    /// If it has another size or format, or cannot be written.
    pub fn write(&mut self, picture: &Planes16) -> Result<(), MediaError> {
        let expected = self.format();
        let size = (self.options.width, self.options.height);
        if (picture.width, picture.height) != size || picture.format != expected {
            return Err(MediaError::BadRequest {
                path: self.path.clone(),
                found: format!(
                    "a picture of {}×{}, {:?}",
                    picture.width, picture.height, picture.format
                ),
                expected: format!("{}×{}, {expected:?}", size.0, size.1),
            });
        }
        let path = match self.numbering.first {
            None if self.frames > 0 => {
                return Err(MediaError::BadRequest {
                    path: self.path.clone(),
                    found: "a second picture".into(),
                    expected: "one of a still".into(),
                });
            }
            None => self.path.clone(),
            Some(first) => self.path.join(format!(
                "{}.{:07}.{}",
                self.numbering.name,
                first + self.frames,
                self.options.codec.extension()
            )),
        };
        let timecode = (self.numbering.timecode)(self.frames);
        let statement = Statement {
            tags: self.options.tags,
            meaning: &self.meaning,
            timecode: timecode.as_ref().map(|timecode| timecode.text.as_str()),
            rate: self.options.rate.pair(),
            aspect: self.options.sample_aspect.pair(),
        };
        let bytes = self
            .coded(picture, &statement)
            .map_err(|reason| MediaError::Encoder {
                path: self.path.clone(),
                encoder: self.options.codec.coding(false).encoder.into(),
                reason,
            })?;
        let failed = |error: std::io::Error| MediaError::writing(&path, &error);
        let mut file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&path)
            .map_err(failed)?;
        file.write_all(&bytes).map_err(failed)?;
        file.sync_all().map_err(failed)?;
        self.frames += 1;
        Ok(())
    }

    fn coded(&self, picture: &Planes16, statement: &Statement<'_>) -> Result<Vec<u8>, String> {
        match self.options.codec {
            Codec::ExrHalf => exr::bytes(picture, statement),
            Codec::Dpx10 => self.dpx(picture, statement),
            Codec::Png16 => png(picture, statement),
            _ => tiff(picture, statement),
        }
    }

    fn dpx(&self, picture: &Planes16, statement: &Statement<'_>) -> Result<Vec<u8>, String> {
        let text = |code: ffi::Code| code.text();
        let coding = Codec::Dpx10.coding(false);
        let mut encoder = Encoder::open(&EncoderSettings {
            name: coding.encoder,
            width: picture.width,
            height: picture.height,
            pixel_format: coding.pixel_format,
            time_base: (statement.rate.1, statement.rate.0),
            rate: statement.rate,
            sample_aspect: statement.aspect,
            tags: [2, 2, 0, 2, 0],
            threads: 1,
            fields: None,
            tag: None,
            options: coding.options,
        })
        .map_err(text)?
        .ok_or("this FFmpeg has no encoder of DPX; install a build that has (Debian's does)")?;
        let format = ffi::pixel_format(coding.pixel_format).ok_or("unknown pixel format")?;
        let mut frame = RawFrame::picture(format, picture.width, picture.height).map_err(text)?;
        // FFmpeg's order of planes, high byte first.
        let [r, g, b] = &picture.planes;
        let swapped = [g, b, r].map(|plane| {
            plane
                .iter()
                .map(|code| code.swap_bytes())
                .collect::<Vec<u16>>()
        });
        let ordered = Planes16 {
            planes: swapped,
            ..Planes16::new(picture.width, picture.height, picture.format)
        };
        frame
            .fill(&ordered, (picture.width, picture.height), None)
            .map_err(text)?;
        frame.set_timestamp(0);
        encoder.send(Some(&mut frame)).map_err(text)?;
        encoder.send(None).map_err(text)?;
        let mut packet = Packet::new().map_err(text)?;
        match encoder.receive(&mut packet).map_err(text)? {
            Received::Frame => {}
            _ => return Err("it gave no picture".into()),
        }
        let bytes = packet.bytes_mut().map_err(text)?;
        dpx::complete(bytes, statement)
    }

    /// Says that all is written, and waits until the folder's list is on the disk.
    ///
    /// # Errors
    /// If nothing was written or the folder cannot be closed; what is there is removed then.
    pub fn finish(mut self) -> Result<Written, MediaError> {
        if self.frames == 0 {
            return Err(MediaError::BadRequest {
                path: self.path.clone(),
                found: "no picture".into(),
                expected: "at least one".into(),
            });
        }
        if self.numbering.first.is_some() {
            File::open(&self.path)
                .and_then(|folder| folder.sync_all())
                .map_err(|error| MediaError::writing(&self.path, &error))?;
        }
        self.finished = true;
        Ok(Written {
            frames: self.frames,
            sound_packets: 0,
            notes: std::mem::take(&mut self.notes),
        })
    }
}

impl Drop for PictureWriter {
    fn drop(&mut self) {
        if !self.finished {
            // Nothing can be done about remains that cannot be removed.
            let _ = match self.numbering.first {
                Some(_) => fs::remove_dir_all(&self.path),
                None => fs::remove_file(&self.path),
            };
        }
    }
}

fn meaning(options: &WriterOptions) -> String {
    let primaries = super::primaries_of(options.tags.primaries)
        .map_or_else(|| "primaries as its source".to_owned(), |p| p.to_string());
    let codes = match options.codec {
        Codec::ExrHalf => "linear light of the display of BT.1886 (signal to the power of 2.4, mirrored below black), 1 = reference white".to_owned(),
        codec => format!(
            "non-linear R'G'B' signal, full range: 0 = reference black, {} = reference white, excursions clamped; H.273 transfer {}",
            (1_u32 << codec.depth()) - 1,
            options.tags.transfer
        ),
    };
    format!("{primaries}; {codes}")
}

fn notes(options: &WriterOptions, source: &Probe) -> Vec<String> {
    let mut notes = Vec::new();
    let mut note = |wanted: bool, text: String| {
        if wanted {
            notes.push(text);
        }
    };
    let others = source.others.len();
    let clip = source.kind == Kind::Clip;
    note(
        clip && others > 0,
        format!(
            "pictures hold no sound and no subtitles: {others} streams of the source are not in them"
        ),
    );
    note(
        options.variable_rate,
        "pictures are numbered one by one: the source's uneven times are not kept".into(),
    );
    note(
        options.display_matrix.is_some() && source.rotation != 0,
        "pictures are written unturned, and do not say how to turn them".into(),
    );
    note(
        options.scan != Scan::Progressive,
        "both fields are in each picture, as rows; the files do not say so".into(),
    );
    note(
        source.alpha,
        "transparency is not kept in pictures; ProRes 4444 keeps it".into(),
    );
    note(
        options.codec != Codec::ExrHalf,
        "R'G'B' beyond reference black and white is clamped in these pictures; OpenEXR keeps it"
            .into(),
    );
    notes
}

fn interleaved(picture: &Planes16) -> Vec<u16> {
    let [r, g, b] = &picture.planes;
    r.iter()
        .zip(g)
        .zip(b)
        .flat_map(|((&r, &g), &b)| [r, g, b])
        .collect()
}

fn size(picture: &Planes16) -> Result<(u32, u32), String> {
    u32::try_from(picture.width)
        .ok()
        .zip(u32::try_from(picture.height).ok())
        .ok_or_else(|| "too large a picture".into())
}

fn png(picture: &Planes16, statement: &Statement<'_>) -> Result<Vec<u8>, String> {
    let text = |error: png::EncodingError| error.to_string();
    let (width, height) = size(picture)?;
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Sixteen);
    encoder.set_compression(png::Compression::Fast);
    encoder
        .add_text_chunk("Description".into(), statement.meaning.into())
        .map_err(text)?;
    if let Some(timecode) = statement.timecode {
        encoder
            .add_text_chunk("Timecode".into(), timecode.into())
            .map_err(text)?;
    }
    let mut writer = encoder.write_header().map_err(text)?;
    // Coding-independent code points (PNG, third edition): H.273 primaries and transfer, R'G'B', full range.
    let known = |code: u8| if code == 0 { 2 } else { code };
    let points = [
        known(statement.tags.primaries),
        known(statement.tags.transfer),
        0,
        1,
    ];
    writer
        .write_chunk(png::chunk::ChunkType(*b"cICP"), &points)
        .map_err(text)?;
    let bytes: Vec<u8> = interleaved(picture)
        .iter()
        .flat_map(|code| code.to_be_bytes())
        .collect();
    writer.write_image_data(&bytes).map_err(text)?;
    writer.finish().map_err(text)?;
    Ok(out)
}

fn tiff(picture: &Planes16, statement: &Statement<'_>) -> Result<Vec<u8>, String> {
    use tiff::encoder::{TiffEncoder, colortype::RGB16};
    use tiff::tags::Tag;
    let text = |error: tiff::TiffError| error.to_string();
    let (width, height) = size(picture)?;
    let mut out = BufWriter::new(Cursor::new(Vec::new()));
    let mut encoder = TiffEncoder::new(&mut out).map_err(text)?;
    let mut image = encoder.new_image::<RGB16>(width, height).map_err(text)?;
    let words: Cow<'_, str> = match statement.timecode {
        None => statement.meaning.into(),
        Some(timecode) => format!("{}; timecode {timecode}", statement.meaning).into(),
    };
    // The field holds ASCII (TIFF 6.0, section 8).
    let words: String = words.chars().filter(char::is_ascii).collect();
    image
        .encoder()
        .write_tag(Tag::ImageDescription, words.as_str())
        .map_err(text)?;
    image.write_data(&interleaved(picture)).map_err(text)?;
    let cursor = out.into_inner().map_err(|error| error.to_string())?;
    Ok(cursor.into_inner())
}
