//! Still pictures: read as clips of one frame, written as PNG and TIFF of 16 bits.

use crate::frame::{Frame, Store};
use crate::probe::{Kind, Probe, Scan};
use crate::tags::{self, Raw, Stated, Tags};
use crate::time::{FrameTime, Rational, Timecode};
use crate::{MediaError, Options, file, pictures};
use image::{ColorType, DynamicImage, ImageDecoder, ImageFormat, ImageReader};
use inkarnat_color::Levels;
use inkarnat_color::picture::{Model, Planes16};
use std::fs::{self, OpenOptions};
use std::io::BufWriter;
use std::path::Path;

/// Reads a picture file as R'G'B' codes.
pub(crate) fn read(path: &Path, options: &Options) -> Result<(Probe, Frame), MediaError> {
    let head = file::head(path, 2048)?;
    if pictures::is_exr(&head) {
        return read_exr(path, &options.stated);
    }
    if pictures::is_dpx(&head) {
        return read_dpx(path, &head, options);
    }
    read_by_image(path, &options.stated)
}

fn read_exr(path: &Path, stated: &Stated) -> Result<(Probe, Frame), MediaError> {
    let found = pictures::read_exr(path)?;
    let planes = found.planes;
    let raw = Raw {
        primaries: i32::from(found.primaries),
        transfer: 1,
        range: 1,
        ..untagged((planes.width, planes.height), 16)
    };
    let tags = tags::resolve(&raw, stated).map_err(|found| MediaError::Unsupported {
        path: path.into(),
        found,
        advice: "save it as R, G and B".into(),
    })?;
    let mut probe = still_probe(path, "exr", "rgb16", &planes, tags);
    let aspect = (found.aspect * 10_000.0).round();
    if (1.0..1e8).contains(&aspect) && (found.aspect - 1.0).abs() > 1e-4 {
        probe.sample_aspect = Rational::new(aspect as i32, 10_000);
    }
    if let Some((numerator, denominator)) = found.rate
        && let Ok(denominator) = i32::try_from(denominator)
        && numerator > 0
        && denominator > 0
    {
        set_rate(&mut probe, Rational::new(numerator, denominator));
    }
    probe.timecode = found.timecode.as_deref().and_then(Timecode::parse);
    probe.notes = crate::probe::notes(&probe, stated);
    probe.notes.push(if found.of_display {
        "light of the display of BT.1886: read as the signal that makes it".into()
    } else {
        "OpenEXR without a word about its light: assumed to be that of the display of BT.1886, and read as the signal that makes it; light of a scene needs an input transform".into()
    });
    if found.clamped > 0 {
        probe.notes.push(format!(
            "{} pixels lie beyond −6.8 … 109.1 % of the signal and are clamped there",
            found.clamped
        ));
    }
    let frame = frame_of(planes);
    Ok((probe, frame))
}

/// DPX is decoded by FFmpeg.
fn read_dpx(path: &Path, head: &[u8], options: &Options) -> Result<(Probe, Frame), MediaError> {
    let length = file::check_readable(path)?;
    let (mut probe, frame) = crate::reader::only_frame(path, length, options)?;
    probe.kind = Kind::Still;
    probe.container = "dpx".into();
    probe.time_base = Rational::new(1, 1);
    set_rate(&mut probe, Rational::new(1, 1));
    let (rate, timecode) = pictures::dpx_facts(head);
    if let Some(rate) = rate {
        set_rate(&mut probe, rate_of(f64::from(rate)));
    }
    probe.timecode = timecode.as_deref().and_then(Timecode::parse);
    probe.frames = 1;
    Ok((probe, frame))
}

/// Gives a single picture the rate that it states.
fn set_rate(probe: &mut Probe, rate: Rational) {
    probe.rate = rate;
    probe.time_base = rate.inverse();
    probe.duration_seconds = probe.time_base.value();
}

/// The ratio behind a rounded rate: 24000/1001 and its like, or thousandths.
fn rate_of(rate: f64) -> Rational {
    let nominal = (rate * 1.001).round();
    if (nominal / 1.001 - rate).abs() < 2e-3 && (rate.round() - rate).abs() > 2e-3 {
        return Rational::new(nominal as i32 * 1000, 1001);
    }
    if (rate.round() - rate).abs() < 2e-3 {
        return Rational::new(rate.round() as i32, 1);
    }
    Rational::new((rate * 1000.0).round() as i32, 1000)
}

fn untagged((width, height): (usize, usize), depth: u8) -> Raw {
    Raw {
        primaries: 2,
        transfer: 2,
        matrix: 2,
        range: 0,
        siting: 0,
        width,
        height,
        rgb: true,
        grey: false,
        full_format: false,
        across: 0,
        down: 0,
        depth,
        still_codec: true,
    }
}

fn still_probe(
    path: &Path,
    codec: &str,
    pixel_format: &str,
    planes: &Planes16,
    tags: Tags,
) -> Probe {
    Probe {
        path: path.into(),
        kind: Kind::Still,
        container: codec.into(),
        codec: codec.into(),
        pixel_format: pixel_format.into(),
        width: planes.width,
        height: planes.height,
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
        format: planes.format,
        scan: Scan::Progressive,
        alpha: false,
        hdr: false,
        others: Vec::new(),
        metadata: Vec::new(),
        notes: Vec::new(),
    }
}

fn frame_of(planes: Planes16) -> Frame {
    Frame {
        index: 0,
        time: FrameTime {
            pts: 0,
            duration: 1,
        },
        suspect: false,
        interlaced: false,
        format: planes.format,
        width: planes.width,
        height: planes.height,
        store: Store::Unpacked {
            planes: Box::new(planes),
            alpha: None,
        },
        input: None,
    }
}

/// Primaries and transfer that a PNG states by code points (`cICP`, third edition), as H.273 numbers.
fn code_points(path: &Path) -> Option<(i32, i32)> {
    let file = std::io::BufReader::new(fs::File::open(path).ok()?);
    let reader = png::Decoder::new(file).read_info().ok()?;
    let points = reader.info().coding_independent_code_points?;
    Some((
        i32::from(points.color_primaries),
        i32::from(points.transfer_function),
    ))
}

fn read_by_image(path: &Path, stated: &Stated) -> Result<(Probe, Frame), MediaError> {
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
    let (primaries, transfer) = (kind == Some(ImageFormat::Png))
        .then(|| code_points(path))
        .flatten()
        .unwrap_or((2, 2));
    let raw = Raw {
        primaries,
        transfer,
        ..untagged((width as usize, height as usize), depth)
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
    let pixel_format = format!("{colour:?}").to_lowercase();
    let mut probe = still_probe(path, codec, &pixel_format, &planes, tags);
    probe.alpha = colour.has_alpha();
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
    let frame = frame_of(planes);
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
