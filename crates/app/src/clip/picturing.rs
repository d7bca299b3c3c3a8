//! Pictures of single frames for looking at, and their densities.

use crate::AppError;
use crate::Result;
use crate::clip::follow::clip;
use crate::clip::open_source;
use crate::event::Cancel;
use crate::job::{PictureForm, PictureJob, Pictured, TraceJob, Traced, TracedSkin};
use crate::seen::look_alone;
use inkarnat_color::picture::Native;
use inkarnat_color::screen::ScreenConverter;
use inkarnat_color::{Region, Rgb};
use inkarnat_media::{Frame, ScreenFormat, encode_for_screen};
use inkarnat_ops::{Chain, Domain};
use inkarnat_reading::{PatchPixels, patch_pixels, traces};
use rayon::prelude::*;
use std::io::Write;
use std::path::Path;

pub(crate) fn perform(job: &PictureJob, cancel: &Cancel) -> Result<Pictured> {
    let mut reader = open_source(&job.path, &job.input)?;
    let failed = AppError::writing(&job.output);
    let mut file = std::fs::File::create(&job.output).map_err(&failed)?;
    let mut done = Pictured {
        width: 0,
        height: 0,
        lengths: Vec::new(),
    };
    let screen = ScreenConverter::new(job.space);
    let last = job.first + job.count.max(1);
    reader.seek(job.first).map_err(clip)?;
    let mut next = job.first;
    while next < last {
        if cancel.is_cancelled() {
            return Err(AppError::Cancelled);
        }
        let Some(frame) = reader.next_frame().map_err(clip)? else {
            break;
        };
        let picture = prepared(&frame, job);
        (done.width, done.height) = (picture.width, picture.height);
        let bytes = coded(&picture, job, &screen)?;
        // A frame that damage has swallowed shows what follows it.
        while next <= frame.index().min(last - 1) {
            file.write_all(&bytes).map_err(&failed)?;
            done.lengths.push(bytes.len() as u64);
            next += 1;
        }
    }
    if done.lengths.is_empty() {
        return Err(AppError::Clip(format!(
            "{}: frame {} cannot be decoded; look at another one",
            job.path.display(),
            job.first
        )));
    }
    file.flush().map_err(&failed)?;
    Ok(done)
}

/// The part that was asked for, in the size that was asked for, with the operations applied.
fn prepared(frame: &Frame, job: &PictureJob) -> Rgb {
    let native = frame.native();
    let region = part_of(&native, job.part);
    let mut picture = shrunk(&native, region, job.width);
    let chain = job.chain.at(frame.index());
    if !chain.is_identity() {
        apply(&chain, &mut picture);
    }
    picture
}

fn apply(chain: &Chain, picture: &mut Rgb) {
    chain.apply_rgb(picture);
}

/// Fractions of picture width and height to whole pixels, at least one.
fn part_of(native: &Native<'_>, part: Option<[f64; 4]>) -> Region {
    let whole = Region::whole(native.width, native.height);
    let Some([x, y, width, height]) = part else {
        return whole;
    };
    let (w, h) = (native.width as f64, native.height as f64);
    let start = |v: f64, size: f64| (v * size).floor().clamp(0.0, size - 1.0) as usize;
    let length = |v: f64, size: f64| (v * size).ceil().clamp(1.0, size) as usize;
    Region {
        x: start(x, w),
        y: start(y, h),
        width: length(width, w),
        height: length(height, h),
    }
    .clipped(native.width, native.height)
}

/// A region, decoded, and averaged down to a width where it is wider: every source pixel counts with the area that it
/// covers. Never made larger.
pub(crate) fn shrunk(native: &Native<'_>, region: Region, width: Option<usize>) -> Rgb {
    let width = width.unwrap_or(region.width).clamp(1, region.width);
    if width == region.width {
        return native.rgb_region(region);
    }
    let height = (region.height * width).div_ceil(region.width).max(1);
    let mut small = Rgb::new(width, height);
    let down = region.height as f64 / height as f64;
    let across = region.width as f64 / width as f64;
    let rows: Vec<[Vec<f32>; 3]> = (0..height)
        .into_par_iter()
        .map(|row| {
            let (from, to) = (row as f64 * down, (row + 1) as f64 * down);
            let first = from as usize;
            let last = (to.ceil() as usize).min(region.height);
            let band = native.rgb_region(Region {
                x: region.x,
                y: region.y + first,
                width: region.width,
                height: last - first,
            });
            let mut sums: [Vec<f32>; 3] = std::array::from_fn(|_| vec![0.0; region.width]);
            for (line, y) in (first..last).enumerate() {
                let share = ((to.min((y + 1) as f64) - from.max(y as f64)) / down) as f32;
                for (sum, plane) in sums.iter_mut().zip(&band.planes) {
                    let line = &plane[line * region.width..(line + 1) * region.width];
                    for (sum, value) in sum.iter_mut().zip(line) {
                        *sum += share * value;
                    }
                }
            }
            sums.map(|sum| averaged(&sum, width, across))
        })
        .collect();
    for (row, planes) in rows.into_iter().enumerate() {
        for (to, from) in small.planes.iter_mut().zip(planes) {
            to[row * width..(row + 1) * width].copy_from_slice(&from);
        }
    }
    small
}

fn averaged(line: &[f32], width: usize, across: f64) -> Vec<f32> {
    (0..width)
        .map(|column| {
            let (from, to) = (column as f64 * across, (column + 1) as f64 * across);
            let (first, last) = (from as usize, (to.ceil() as usize).min(line.len()));
            let sum: f64 = (first..last)
                .map(|x| {
                    let share = to.min((x + 1) as f64) - from.max(x as f64);
                    share * f64::from(line[x])
                })
                .sum();
            (sum / across) as f32
        })
        .collect()
}

fn coded(picture: &Rgb, job: &PictureJob, screen: &ScreenConverter) -> Result<Vec<u8>> {
    let pixels = picture.width * picture.height;
    match job.form {
        PictureForm::Signal => Ok((0..pixels)
            .flat_map(|index| packed(picture.pixel(index)).to_le_bytes())
            .collect()),
        PictureForm::Still16 => {
            let code = |v: f32| (f64::from(v).clamp(0.0, 1.0) * 65535.0).round() as u16;
            let codes: Vec<u8> = (0..pixels)
                .flat_map(|index| picture.pixel(index).map(code))
                .flat_map(u16::to_ne_bytes)
                .collect();
            encoded(picture, &job.path, ScreenFormat::Png16, &codes)
        }
        PictureForm::SignalJpeg => {
            let codes: Vec<u8> = (0..pixels)
                .flat_map(|index| picture.pixel(index))
                .map(|v| (v.clamp(0.0, 1.0) * 255.0).round() as u8)
                .collect();
            encoded(picture, &job.path, ScreenFormat::Jpeg(85), &codes)
        }
        PictureForm::Screen | PictureForm::ScreenExact => {
            let codes: Vec<u8> = (0..pixels)
                .flat_map(|index| screen.codes(picture.pixel(index)))
                .map(|v| (v * 255.0).round() as u8)
                .collect();
            let format = if job.form == PictureForm::Screen {
                ScreenFormat::Jpeg(88)
            } else {
                ScreenFormat::Png
            };
            encoded(picture, &job.path, format, &codes)
        }
    }
}

fn encoded(picture: &Rgb, path: &Path, format: ScreenFormat, codes: &[u8]) -> Result<Vec<u8>> {
    let size = (picture.width, picture.height);
    encode_for_screen(path, format, size, codes).map_err(clip)
}

/// R, G and B in ten bits each from the lowest, over [`Domain::WIDE`]; the two highest bits are set.
fn packed(rgb: [f32; 3]) -> u32 {
    let Domain { min, max } = Domain::WIDE;
    let code = |v: f32| {
        let share = (f64::from(v) - min) / (max - min);
        (share.clamp(0.0, 1.0) * 1023.0).round() as u32
    };
    let [r, g, b] = rgb.map(code);
    r | g << 10 | b << 20 | 3 << 30
}

pub(crate) fn trace(job: &TraceJob) -> Result<Traced> {
    let mut reader = open_source(&job.path, &job.input)?;
    let frame = reader.frame(job.frame).map_err(clip)?;
    let native = frame.native();
    let (picture, chosen) = match &job.skin {
        None => {
            let whole = Region::whole(native.width, native.height);
            (shrunk(&native, whole, Some(TRACED_WIDTH)), None)
        }
        Some(skin) => {
            let pixels = pixels_of(skin, &native);
            if pixels.inside.is_empty() {
                return Err(AppError::Request(format!(
                    "{}: the skin lies outside frame {}; choose another frame",
                    job.path.display(),
                    job.frame
                )));
            }
            (native.rgb_region(pixels.region), Some(pixels.inside))
        }
    };
    let coefficients = job.space.coefficients;
    let mut before = picture.clone();
    apply(&look_alone(&job.chain).chain, &mut before);
    let before = traces(&before, chosen.as_deref(), coefficients);
    let mut picture = picture;
    apply(&job.chain.at(job.frame), &mut picture);
    let after = traces(&picture, chosen.as_deref(), coefficients);
    Ok(Traced::of(&before, &after))
}

/// Wide enough that a trace has some tens of thousands of pixels a column band, small enough to be drawn at once.
const TRACED_WIDTH: usize = 960;

fn pixels_of(skin: &TracedSkin, native: &Native<'_>) -> PatchPixels {
    match skin {
        TracedSkin::Patch(patch, pose) => patch_pixels(patch, pose, native.width, native.height),
        TracedSkin::Face(outline) => outline.pixels(native.width, native.height),
    }
}
