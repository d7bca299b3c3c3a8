//! Rendering a clip: decoded, corrected and encoded, the three overlapping.
//!
//! One thread decodes, one encodes, and the corrections of a picture run in bands of rows on all
//! cores between them. 4:2:2 and 4:4:4 have no filter down the columns, so bands are independent and
//! the result is the same whatever their number. 4:2:0 is coded from the whole corrected picture.
//! Pictures of 8 bits are made at 16 and dithered.

use crate::clip::follow::clip;
use crate::clip::open_source;
use crate::event::Cancel;
use crate::job::{RenderJob, RenderPart, Rendered};
use crate::steps::cutting::counted;
use crate::{AppError, Result};
use inkarnat_color::dither::dither;
use inkarnat_color::picture::{Native, PixelFormat, Planes16, Region, RowScratch, chroma_size};
use inkarnat_color::{Chroma, Rgb};
use inkarnat_media::{
    Frame, FrameTime, Numbering, PictureWriter, Reader, TagCodes, Timecode, Writer, WriterOptions,
    Written,
};
use inkarnat_ops::fast::{Prepared, PreparedFrames};
use inkarnat_ops::{Chain, Limiter, MovingChain, Op};
use rayon::prelude::*;
use std::borrow::Cow;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Pictures that may wait between two of the three.
const WAITING: usize = 3;
/// Rows of a band.
const BAND: usize = 32;
/// Bits of transparency that an encoder takes.
const ALPHA_BITS: u8 = 10;

struct Done {
    picture: Planes16,
    alpha: Option<Vec<u16>>,
    time: FrameTime,
}

pub(crate) fn perform(
    job: &RenderJob,
    cancel: &Cancel,
    progress: &dyn Fn(u64, u64),
) -> Result<Rendered> {
    let mut reader = open_source(&job.source, &job.input)?;
    reader.seek(job.first).map_err(clip)?;
    let end = job.first + job.frames;
    let mut options = if job.whole {
        WriterOptions::like(reader.probe(), job.codec)
    } else {
        WriterOptions::part(&reader, job.codec, (job.first, end), job.timecode.clone())
    };
    if reader.has_input() {
        options.tags = TagCodes::of(job.space);
        options.coefficients = job.space.coefficients;
    }
    let format = options.format();
    let keeps_alpha = options.alpha;
    let (width, height) = (options.width, options.height);
    // Made here, so that what is wrong with the output is said before anything is decoded.
    let mut writer = Target::create(job, options, &reader)?;
    let mut beside = job
        .encoder_input
        .as_deref()
        .map(EncoderInput::create)
        .transpose()?;
    let prepared = Correction::of(&job.chain, &job.parts);
    let correction = &prepared;
    let (frames_in, frames_out) = sync_channel::<Frame>(WAITING);
    let (done_in, done_out) = sync_channel::<Done>(WAITING);
    let (spent_in, spent_out) = sync_channel::<Planes16>(2 * WAITING + 2);
    let outcome = std::thread::scope(|scope| {
        let decoding = scope.spawn(move || -> Result<u64> {
            let mut expected = job.first;
            while expected < end {
                let Some(frame) = reader.next_frame().map_err(clip)? else {
                    break;
                };
                if cancel.is_cancelled() {
                    return Err(AppError::Cancelled);
                }
                if frame.index() != expected {
                    return Err(AppError::Clip(format!(
                        "{}: damaged: frame {expected} cannot be decoded; copy or export it again",
                        job.source.display()
                    )));
                }
                expected += 1;
                // The other side is gone after an error, which it reports itself.
                if frames_in.send(frame).is_err() {
                    break;
                }
            }
            Ok(expected - job.first)
        });
        let correcting = scope.spawn(move || {
            let mut fine = (format.depth < 10).then(|| {
                let finer = PixelFormat {
                    depth: 16,
                    ..format
                };
                Planes16::new(width, height, finer)
            });
            correct(
                &frames_out,
                &done_in,
                &spent_out,
                |frame, picture| {
                    let native = frame.native();
                    let target = fine.as_mut().unwrap_or(picture);
                    let now = correction.at(frame.index());
                    if now.is_identity() {
                        target.fill_from_native(&native);
                    } else {
                        fill(target, &native, &now);
                    }
                    if let Some(fine) = &fine {
                        dither(fine, picture, frame.index());
                    }
                    // What has no transparency of its own is solid.
                    keeps_alpha.then(|| {
                        frame
                            .alpha(ALPHA_BITS)
                            .unwrap_or_else(|| vec![(1 << ALPHA_BITS) - 1; width * height])
                    })
                },
                || Planes16::new(width, height, format),
            );
        });
        let mut encode = || -> Result<u64> {
            let mut written = 0;
            while let Ok(done) = done_out.recv() {
                if let Some(file) = &mut beside {
                    file.add(&done.picture)?;
                }
                writer.write(&done)?;
                written += 1;
                progress(written, job.frames);
                // A picture that nobody takes back is simply let go.
                let _ = spent_in.try_send(done.picture);
            }
            Ok(written)
        };
        let written = encode();
        // Lets the other threads see that nobody listens any more.
        drop(done_out);
        let decoded = decoding
            .join()
            .unwrap_or_else(|_| Err(AppError::Clip("decoding stopped unexpectedly".to_owned())));
        let corrected = correcting.join();
        let written = written?;
        let decoded = decoded?;
        if corrected.is_err() || written != decoded {
            return Err(AppError::Clip(format!(
                "{decoded} frames were decoded and {written} written"
            )));
        }
        Ok(written)
    });
    let frames = outcome?;
    if frames != job.frames {
        return Err(AppError::Clip(format!(
            "{}: {frames} frames can be decoded, expected {}; copy or export it again",
            job.source.display(),
            job.frames
        )));
    }
    if let Some(file) = beside {
        file.finish()?;
    }
    let Written { notes, .. } = writer.finish()?;
    let pixels = frames * (width * height) as u64;
    Ok(Rendered {
        frames,
        notes,
        limited: prepared
            .limiter
            .as_ref()
            .map(|limiter| limiter.cost(pixels)),
    })
}

/// What is written: a clip, or pictures of their own.
enum Target {
    Clip(Box<Writer>),
    Pictures(Box<PictureWriter>),
}

impl Target {
    fn create(job: &RenderJob, options: WriterOptions, reader: &Reader) -> Result<Self> {
        let Some(names) = &job.pictures else {
            let writer = Writer::create(&job.output, options).map_err(clip)?;
            return Ok(Self::Clip(Box::new(writer)));
        };
        let counted = counted(reader.probe());
        let first = job.first;
        let numbering = Numbering {
            name: names.name.clone(),
            first: names.first,
            timecode: Box::new(move |index| {
                let (rate, start) = counted?;
                let at = inkarnat_cut::Timecode {
                    frame: start.frame + (first + index) as i64,
                    drop: start.drop,
                };
                Timecode::parse(&at.text(rate))
            }),
        };
        let writer = PictureWriter::create(&job.output, options, numbering, reader.probe());
        Ok(Self::Pictures(Box::new(writer.map_err(clip)?)))
    }

    fn write(&mut self, done: &Done) -> Result<()> {
        match self {
            Self::Clip(writer) => {
                writer.write_with_alpha(&done.picture, done.alpha.as_deref(), done.time)
            }
            Self::Pictures(writer) => writer.write(&done.picture),
        }
        .map_err(clip)
    }

    fn finish(self) -> Result<Written> {
        match self {
            Self::Clip(writer) => writer.finish(),
            Self::Pictures(writer) => writer.finish(),
        }
        .map_err(clip)
    }
}

/// What is done to the pictures: the chain up to its limiter, and the limiter, which counts.
struct Correction {
    chain: PreparedFrames,
    /// Spans of source frames and what is done in them before that.
    parts: Vec<((u64, u64), PreparedFrames)>,
    limiter: Option<Counting>,
}

/// The same for one frame.
struct Now<'a> {
    part: Part<'a>,
    chain: Cow<'a, Prepared>,
    limiter: Option<&'a Counting>,
}

/// What is done to one frame of several spans.
enum Part<'a> {
    /// Nothing.
    None,
    /// That of one span.
    One(Cow<'a, Prepared>),
    /// Those of two spans, and the share of the second, 0–1.
    Mixed([Cow<'a, Prepared>; 2], f32),
}

impl Correction {
    fn of(moving: &MovingChain, parts: &[RenderPart]) -> Self {
        let mut correction = Self::of_all(moving);
        correction.parts = parts
            .iter()
            .map(|part| (part.frames, part.chain.prepare()))
            .collect();
        correction
    }

    fn of_all(moving: &MovingChain) -> Self {
        match moving.chain.output.as_slice() {
            [Op::Limiter(limiter)] => Self {
                chain: MovingChain {
                    chain: Chain {
                        output: Vec::new(),
                        ..moving.chain.clone()
                    },
                    light: moving.light.clone(),
                }
                .prepare(),
                parts: Vec::new(),
                limiter: Some(Counting {
                    limiter: *limiter,
                    changed: AtomicU64::new(0),
                    loss: AtomicU64::new(0),
                }),
            },
            _ => Self {
                chain: moving.prepare(),
                parts: Vec::new(),
                limiter: None,
            },
        }
    }

    fn at(&self, frame: u64) -> Now<'_> {
        let mut here = self
            .parts
            .iter()
            .filter(|((from, to), _)| (*from..*to).contains(&frame));
        Now {
            part: match (here.next(), here.next()) {
                (None, _) => Part::None,
                (Some((_, one)), None) => Part::One(one.at(frame)),
                (Some(((_, to), first)), Some(((from, _), second))) => {
                    // In the middle of its time each frame has its share: the first one is not quite the first shot's.
                    let share = (frame - from) as f32 + 0.5;
                    Part::Mixed(
                        [first.at(frame), second.at(frame)],
                        share / (to - from).max(1) as f32,
                    )
                }
            },
            chain: self.chain.at(frame),
            limiter: self.limiter.as_ref(),
        }
    }
}

impl Now<'_> {
    fn is_identity(&self) -> bool {
        let part = match &self.part {
            Part::None => true,
            Part::One(one) => one.is_identity(),
            Part::Mixed(both, _) => both.iter().all(|one| one.is_identity()),
        };
        part && self.chain.is_identity() && self.limiter.is_none()
    }

    fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        match &self.part {
            Part::None => {}
            Part::One(one) => one.apply_rows([&mut *r, &mut *g, &mut *b]),
            Part::Mixed([first, second], share) => {
                let mut other = [r.to_vec(), g.to_vec(), b.to_vec()];
                let [x, y, z] = &mut other;
                second.apply_rows([x, y, z]);
                first.apply_rows([&mut *r, &mut *g, &mut *b]);
                for (plane, other) in [&mut *r, &mut *g, &mut *b].into_iter().zip(&other) {
                    for (value, other) in plane.iter_mut().zip(other) {
                        *value += share * (other - *value);
                    }
                }
            }
        }
        self.chain.apply_rows([&mut *r, &mut *g, &mut *b]);
        if let Some(limiter) = self.limiter {
            limiter.apply([r, g, b]);
        }
    }
}

/// Signal that a colour moves by through rounding alone, far below a code.
const NO_CHANGE: f64 = 1e-6;

/// A limiter that counts what it changes. Sums and maxima of whole bands: the same in whatever order they come.
struct Counting {
    limiter: Limiter,
    changed: AtomicU64,
    /// Bits of the largest share of saturation given up: those of positive numbers are ordered as the numbers are.
    loss: AtomicU64,
}

impl Counting {
    fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        let (mut changed, mut loss) = (0, 0.0_f64);
        for ((r, g), b) in r.iter_mut().zip(g).zip(b) {
            let rgb = [f64::from(*r), f64::from(*g), f64::from(*b)];
            let factor = self.limiter.factor(rgb);
            if factor < 1.0 {
                let out = self.limiter.apply(rgb);
                // Grey outside the limits has nothing to give up and stays.
                changed += u64::from((0..3).any(|c| (out[c] - rgb[c]).abs() > NO_CHANGE));
                let chroma = self.limiter.coefficients.ycbcr_from_rgb(rgb).chroma();
                if chroma.magnitude() >= Chroma::HUE_FLOOR {
                    loss = loss.max(1.0 - factor);
                }
                (*r, *g, *b) = (out[0] as f32, out[1] as f32, out[2] as f32);
            }
        }
        self.changed.fetch_add(changed, Ordering::Relaxed);
        self.loss.fetch_max(loss.to_bits(), Ordering::Relaxed);
    }

    /// Pixels changed and the largest loss of saturation, percent.
    fn cost(&self, pixels: u64) -> (f64, f64) {
        let changed = self.changed.load(Ordering::Relaxed) as f64;
        let loss = f64::from_bits(self.loss.load(Ordering::Relaxed));
        (100.0 * changed / pixels.max(1) as f64, 100.0 * loss)
    }
}

/// What the encoder is given, written beside the clip.
struct EncoderInput<'a> {
    path: &'a Path,
    file: BufWriter<File>,
}

impl<'a> EncoderInput<'a> {
    fn create(path: &'a Path) -> Result<Self> {
        let file = File::create(path).map_err(AppError::writing(path))?;
        Ok(Self {
            path,
            file: BufWriter::new(file),
        })
    }

    fn add(&mut self, picture: &Planes16) -> Result<()> {
        for plane in &picture.planes {
            for code in plane {
                self.file
                    .write_all(&code.to_le_bytes())
                    .map_err(AppError::writing(self.path))?;
            }
        }
        Ok(())
    }

    fn finish(mut self) -> Result<()> {
        self.file.flush().map_err(AppError::writing(self.path))
    }
}

fn correct(
    frames: &Receiver<Frame>,
    done: &SyncSender<Done>,
    spent: &Receiver<Planes16>,
    mut fill: impl FnMut(&Frame, &mut Planes16) -> Option<Vec<u16>>,
    fresh: impl Fn() -> Planes16,
) {
    while let Ok(frame) = frames.recv() {
        let mut picture = spent.try_recv().unwrap_or_else(|_| fresh());
        let alpha = fill(&frame, &mut picture);
        let time = frame.time();
        let done_picture = Done {
            picture,
            alpha,
            time,
        };
        if done.send(done_picture).is_err() {
            break;
        }
    }
}

/// Decodes, corrects and codes a picture band by band.
fn fill(picture: &mut Planes16, native: &Native<'_>, prepared: &Now<'_>) {
    let format = picture.format;
    let (width, height) = (picture.width, picture.height);
    if format.subsampling.down > 0 {
        let mut rgb = Rgb::new(width, height);
        let [r, g, b] = &mut rgb.planes;
        r.par_chunks_mut(width * BAND)
            .zip(g.par_chunks_mut(width * BAND))
            .zip(b.par_chunks_mut(width * BAND))
            .enumerate()
            .for_each_init(
                || Band::new(width, format),
                |band, (index, ((r, g), b))| {
                    band.correct(index * BAND, r.len() / width, native, prepared);
                    r.copy_from_slice(&band.rgb.planes[0]);
                    g.copy_from_slice(&band.rgb.planes[1]);
                    b.copy_from_slice(&band.rgb.planes[2]);
                },
            );
        picture.fill_from_rgb(&rgb);
        return;
    }
    let (chroma_width, _) = chroma_size(width, height, format);
    let [luma, cb, cr] = &mut picture.planes;
    luma.par_chunks_mut(width * BAND)
        .zip(cb.par_chunks_mut(chroma_width * BAND))
        .zip(cr.par_chunks_mut(chroma_width * BAND))
        .enumerate()
        .for_each_init(
            || Band::new(width, format),
            |band, (index, ((luma, cb), cr))| {
                band.fill(index * BAND, luma.len() / width, native, prepared);
                luma.copy_from_slice(&band.coded.planes[0]);
                cb.copy_from_slice(&band.coded.planes[1]);
                cr.copy_from_slice(&band.coded.planes[2]);
            },
        );
}

/// Buffers of one band.
struct Band {
    rgb: Rgb,
    coded: Planes16,
    scratch: RowScratch,
}

impl Band {
    fn new(width: usize, format: PixelFormat) -> Self {
        Self {
            rgb: Rgb::new(width, BAND),
            coded: Planes16::new(width, BAND, format),
            scratch: RowScratch::default(),
        }
    }

    fn fill(&mut self, first: usize, rows: usize, native: &Native<'_>, prepared: &Now<'_>) {
        self.correct(first, rows, native, prepared);
        self.coded.fill_from_rgb(&self.rgb);
    }

    fn correct(&mut self, first: usize, rows: usize, native: &Native<'_>, prepared: &Now<'_>) {
        let width = self.rgb.width;
        if self.rgb.height != rows {
            self.rgb = Rgb::new(width, rows);
            self.coded = Planes16::new(width, rows, self.coded.format);
        }
        let region = Region {
            x: 0,
            y: first,
            width,
            height: rows,
        };
        for row in 0..rows {
            let span = row * width..(row + 1) * width;
            let [r, g, b] = &mut self.rgb.planes;
            native.rgb_row(
                region,
                row,
                &mut self.scratch,
                [&mut r[span.clone()], &mut g[span.clone()], &mut b[span]],
            );
        }
        let [r, g, b] = &mut self.rgb.planes;
        prepared.apply([r, g, b]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_color::Coefficients;
    use inkarnat_color::Levels;
    use inkarnat_color::picture::{Model, Siting, Subsampling};
    use inkarnat_ops::Cdl;

    fn format(subsampling: Subsampling, depth: u8) -> PixelFormat {
        PixelFormat {
            model: Model::Ycbcr(Coefficients::Bt709),
            subsampling,
            siting: Siting::Left,
            depth,
            levels: Levels::Narrow,
            fields: false,
        }
    }

    #[test]
    fn bands_equal_the_whole_picture() {
        let (width, height) = (67, 75);
        let mut source = Planes16::new(width, height, format(Subsampling::S420, 8));
        let mut state = 1u32;
        for plane in &mut source.planes {
            for code in plane {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                *code = 40 + (state >> 24) as u16 % 150;
            }
        }
        let chain = Chain::of_fix(vec![Op::Cdl(Cdl {
            slope: [1.1, 1.0, 0.9],
            power: [0.9, 1.0, 1.1],
            ..Cdl::NEUTRAL
        })]);
        let native = source.as_native();
        let mut rgb = native.rgb_region(Region::whole(width, height));
        chain.apply_rgb(&mut rgb);
        for subsampling in [Subsampling::S422, Subsampling::S444, Subsampling::S420] {
            let mut whole = Planes16::new(width, height, format(subsampling, 10));
            whole.fill_from_rgb(&rgb);
            let mut bands = Planes16::new(width, height, format(subsampling, 10));
            fill(
                &mut bands,
                &native,
                &Correction::of(&chain.clone().into(), &[]).at(0),
            );
            assert_eq!(whole.planes, bands.planes, "{subsampling:?}");
        }
    }
}
