//! Still pictures: read as clips of one frame, written as PNG and TIFF of 16 bits.

use crate::frame::{Frame, Store};
use crate::probe::{Kind, Probe, Scan};
use crate::tags::{self, Raw, Stated};
use crate::time::{FrameTime, Rational};
use crate::{MediaError, file};
use image::{ColorType, DynamicImage, ImageDecoder, ImageFormat, ImageReader};
use inkarnat_color::Levels;
use inkarnat_color::picture::{Model, Planes16};
use std::fs::{self, OpenOptions};
use std::io::BufWriter;
use std::path::Path;

/// Reads a picture file as full-range R'G'B' codes.
pub(crate) fn read(path: &Path, stated: &Stated) -> Result<(Probe, Frame), MediaError> {
    let bad = |error: image::ImageError| broken(path, &error);
    let mut reader = ImageReader::open(path)
        .and_then(ImageReader::with_guessed_format)
        .map_err(|error| MediaError::reading(path, &error))?;
    reader.no_limits();
    let kind = reader.format();
    let mut decoder = reader.into_decoder().map_err(bad)?;
    let (width, height) = decoder.dimensions();
    let colour = decoder.color_type();
    let orientation = decoder.orientation().map_err(bad)?;
    let profile = decoder.icc_profile().map_err(bad)?.is_some();
    if u64::from(width) * u64::from(height) > MOST_PIXELS {
        return Err(MediaError::Unsupported {
            path: path.into(),
            found: format!("a picture of {width}×{height}"),
            advice: format!("give one of at most {} megapixels", MOST_PIXELS / 1_000_000),
        });
    }
    if matches!(colour, ColorType::Rgb32F | ColorType::Rgba32F) {
        return Err(MediaError::Unsupported {
            path: path.into(),
            found: "a floating-point picture".into(),
            advice: "save it with 16 bits a sample".into(),
        });
    }
    let depth = if colour.bytes_per_pixel() / colour.channel_count() > 1 {
        16
    } else {
        8
    };
    let picture = DynamicImage::from_decoder(decoder).map_err(bad)?;
    let raw = Raw {
        primaries: 2,
        transfer: 2,
        matrix: 2,
        range: 0,
        siting: 0,
        width: width as usize,
        height: height as usize,
        rgb: true,
        grey: false,
        full_format: false,
        across: 0,
        down: 0,
        depth,
        still_codec: true,
    };
    let tags = tags::resolve(&raw, stated).map_err(|found| MediaError::Unsupported {
        path: path.into(),
        found,
        advice: "save it as R'G'B'".into(),
    })?;
    let format = tags::pixel_format(&raw, &tags);
    let mut planes = Planes16::new(raw.width, raw.height, format);
    if depth == 8 {
        split(picture.into_rgb8().as_raw(), &mut planes);
    } else {
        split(picture.into_rgb16().as_raw(), &mut planes);
    }
    let codec = match kind {
        Some(ImageFormat::Png) => "png",
        Some(ImageFormat::Jpeg) => "jpeg",
        _ => "tiff",
    };
    let mut probe = Probe {
        path: path.into(),
        kind: Kind::Still,
        container: codec.into(),
        codec: codec.into(),
        pixel_format: format!("{colour:?}").to_lowercase(),
        width: raw.width,
        height: raw.height,
        sample_aspect: Rational::new(1, 1),
        rotation: 0,
        display_matrix: None,
        rate: Rational::new(1, 1),
        variable_rate: false,
        time_base: Rational::new(1, 1),
        start: 0,
        frames: 1,
        duration_seconds: 1.0,
        timecode: None,
        tags,
        format,
        scan: Scan::Progressive,
        alpha: colour.has_alpha(),
        hdr: false,
        others: Vec::new(),
        metadata: Vec::new(),
        notes: Vec::new(),
    };
    probe.notes = crate::probe::notes(&probe, stated);
    probe
        .notes
        .push("a still picture: its codes are taken as R'G'B' signal as they are".into());
    if profile {
        probe
            .notes
            .push("its ICC profile is neither applied nor kept".into());
    }
    if orientation != image::metadata::Orientation::NoTransforms {
        probe.notes.push(format!(
            "the file says to turn the picture ({orientation:?}): it is read and patched unturned"
        ));
    }
    let frame = Frame {
        index: 0,
        time: FrameTime {
            pts: 0,
            duration: 1,
        },
        suspect: false,
        interlaced: false,
        format,
        width: raw.width,
        height: raw.height,
        store: Store::Unpacked {
            planes: Box::new(planes),
            alpha: None,
        },
        input: None,
    };
    Ok((probe, frame))
}

/// A picture of this size takes about three gigabytes while it is worked on.
const MOST_PIXELS: u64 = 200_000_000;

fn split<T: Copy + Into<u16>>(codes: &[T], planes: &mut Planes16) {
    let [r, g, b] = &mut planes.planes;
    for (((pixel, r), g), b) in codes.chunks_exact(3).zip(r).zip(g).zip(b) {
        (*r, *g, *b) = (pixel[0].into(), pixel[1].into(), pixel[2].into());
    }
}

fn broken(path: &Path, error: &image::ImageError) -> MediaError {
    use image::ImageError::{IoError, Limits, Unsupported};
    match error {
        IoError(io) if io.kind() == std::io::ErrorKind::UnexpectedEof => MediaError::Truncated {
            path: path.into(),
            readable: 0,
            promised: Some(1),
        },
        IoError(io) => MediaError::reading(path, io),
        Unsupported(what) => MediaError::Unsupported {
            path: path.into(),
            found: what.to_string(),
            advice: "save it as an 8- or 16-bit R'G'B' PNG or TIFF".into(),
        },
        Limits(_) => MediaError::OutOfMemory { path: path.into() },
        _ => MediaError::Damaged {
            path: path.into(),
            frame: 0,
            reason: error.to_string(),
        },
    }
}

/// Kinds of still pictures that are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StillFormat {
    /// PNG, 16 bits a sample.
    Png16,
    /// TIFF, 16 bits a sample.
    Tiff16,
}

/// Writes an R'G'B' picture of full-range 16-bit codes to a new file, in full, with its content on
/// the disk, or not at all.
///
/// # Errors
/// If the file exists, is one of `sources`, or cannot be written; if the picture has another format.
pub fn write_still(
    path: &Path,
    format: StillFormat,
    picture: &Planes16,
    sources: &[&Path],
) -> Result<(), MediaError> {
    for source in sources {
        if file::is_same_file(path, source) {
            return Err(MediaError::OutputIsSource {
                path: path.into(),
                source_path: (*source).into(),
            });
        }
    }
    let f = picture.format;
    if f.model != Model::Rgb || f.depth != 16 || f.levels != Levels::Full {
        return Err(MediaError::BadRequest {
            path: path.into(),
            found: format!("a picture of {:?}, {} bits, {}", f.model, f.depth, f.levels),
            expected: "R'G'B', 16 bits, full range".into(),
        });
    }
    let codes = interleave(picture);
    let image = u32::try_from(picture.width)
        .ok()
        .zip(u32::try_from(picture.height).ok())
        .and_then(|(width, height)| image::ImageBuffer::from_raw(width, height, codes))
        .map(DynamicImage::ImageRgb16)
        .ok_or_else(|| MediaError::OutOfMemory { path: path.into() })?;
    let target = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .map_err(|error| MediaError::writing(path, &error))?;
    let kind = match format {
        StillFormat::Png16 => ImageFormat::Png,
        StillFormat::Tiff16 => ImageFormat::Tiff,
    };
    let mut writer = BufWriter::new(target);
    let written = image
        .write_to(&mut writer, kind)
        .map_err(|error| match error {
            image::ImageError::IoError(io) => MediaError::writing(path, &io),
            other => MediaError::OutputNotWritable {
                path: path.into(),
                reason: other.to_string(),
            },
        })
        .and_then(|()| {
            writer
                .into_inner()
                .map_err(std::io::IntoInnerError::into_error)
                .and_then(|file| file.sync_all())
                .map_err(|error| MediaError::writing(path, &error))
        });
    if written.is_err() {
        // The error matters more than whether its remains could be removed.
        let _ = fs::remove_file(path);
    }
    written
}

fn interleave(picture: &Planes16) -> Vec<u16> {
    let [r, g, b] = &picture.planes;
    r.iter()
        .zip(g)
        .zip(b)
        .flat_map(|((&r, &g), &b)| [r, g, b])
        .collect()
}
