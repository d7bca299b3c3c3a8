//! OpenEXR: half floats of linear light.
//!
//! The signal v goes in as the light that the display of BT.1886 with black 0 makes of it, v^2.4, and signals below black
//! as −|v|^2.4: reading raises to 1/2.4 again. White is 1.0. By the OpenEXR file's own convention its numbers are linear;
//! a half has 11 significant bits, which is 1/2400 of the level in signal or less, a fifth of a 10-bit code at white.

use super::{Statement, primaries_of};
use crate::MediaError;
use exr::meta::attribute::{AttributeValue, Chromaticities, Text, TimeCode};
use exr::prelude::{
    Compression, Encoding, Image, Layer, LayerAttributes, LineOrder, ReadChannels, ReadLayers,
    SpecificChannels, Vec2, WritableImage, f16,
};
use inkarnat_color::picture::{Model, PixelFormat, Planes16, Siting, Subsampling};
use inkarnat_color::primaries::D65_XY;
use inkarnat_color::{Levels, Primaries};
use std::io::Cursor;
use std::path::Path;

/// The power of the display (BT.1886 annex 1, black 0).
const POWER: f64 = 2.4;

/// The codes that stand between the file and the picture: 16 bits, narrow, so that excursions are kept.
pub(crate) const FORMAT: PixelFormat = PixelFormat {
    model: Model::Rgb,
    subsampling: Subsampling::S444,
    siting: Siting::Left,
    depth: 16,
    levels: Levels::Narrow,
    fields: false,
};

/// The first bytes of every OpenEXR file.
pub(crate) fn is_exr(head: &[u8]) -> bool {
    head.starts_with(&[0x76, 0x2f, 0x31, 0x01])
}

fn light_from_signal(v: f64) -> f64 {
    v.abs().powf(POWER).copysign(v)
}

fn signal_from_light(l: f64) -> f64 {
    l.abs().powf(1.0 / POWER).copysign(l)
}

/// The bytes of a file with a picture of [`FORMAT`].
pub(crate) fn bytes(picture: &Planes16, statement: &Statement<'_>) -> Result<Vec<u8>, String> {
    let (zero, unit) = picture.format.levels.luma_scale(picture.format.depth);
    let table: Vec<f16> = (0..=u16::MAX)
        .map(|code| f16::from_f64(light_from_signal((f64::from(code) - zero) / unit)))
        .collect();
    let width = picture.width;
    let [r, g, b] = &picture.planes;
    let channels = SpecificChannels::rgb(|at: Vec2<usize>| {
        let at = at.y() * width + at.x();
        (
            table[usize::from(r[at])],
            table[usize::from(g[at])],
            table[usize::from(b[at])],
        )
    });
    let text = |words: &str| Text::new_or_none(words);
    let (numerator, denominator) = statement.rate;
    let layer = Layer::new(
        (width, picture.height),
        LayerAttributes {
            comments: text(statement.meaning),
            frames_per_second: u32::try_from(denominator)
                .ok()
                .map(|denominator| (numerator, denominator)),
            ..LayerAttributes::default()
        },
        Encoding {
            compression: Compression::ZIP16,
            line_order: LineOrder::Increasing,
            ..Encoding::FAST_LOSSLESS
        },
        channels,
    );
    let mut image = Image::from_layer(layer);
    image.attributes.pixel_aspect = statement.aspect.0 as f32 / statement.aspect.1.max(1) as f32;
    image.attributes.chromaticities = primaries_of(statement.tags.primaries).map(chromaticities);
    image.attributes.time_code = statement.timecode.and_then(time_code);
    let mut out = Cursor::new(Vec::new());
    image
        .write()
        .non_parallel()
        .to_buffered(&mut out)
        .map_err(|error| error.to_string())?;
    Ok(out.into_inner())
}

fn chromaticities(primaries: Primaries) -> Chromaticities {
    let [red, green, blue] = primaries
        .chromaticities()
        .map(|(x, y)| Vec2(x as f32, y as f32));
    Chromaticities {
        red,
        green,
        blue,
        white: Vec2(D65_XY.0 as f32, D65_XY.1 as f32),
    }
}

fn time_code(text: &str) -> Option<TimeCode> {
    let drop_frame = text.contains(';');
    let mut parts = text.split([':', ';']).map(str::parse::<u8>);
    let mut part = || parts.next()?.ok();
    Some(TimeCode {
        hours: part()?,
        minutes: part()?,
        seconds: part()?,
        // The attribute has two bits for tens of frames.
        frame: part().filter(|&frame| frame < 40)?,
        drop_frame,
        color_frame: false,
        field_phase: false,
        binary_group_flags: [false; 3],
        binary_groups: [0; 8],
    })
}

/// What a file holds.
pub(crate) struct Read {
    /// Codes of [`FORMAT`].
    pub(crate) planes: Planes16,
    /// H.273 code of its primaries; 2 where it is silent.
    pub(crate) primaries: u8,
    pub(crate) aspect: f32,
    pub(crate) rate: Option<(i32, u32)>,
    pub(crate) timecode: Option<String>,
    /// Pixels with a component beyond what the codes hold.
    pub(crate) clamped: u64,
    /// Whether the file says that its light is that of the display.
    pub(crate) of_display: bool,
}

/// Reads R, G and B of the first layer that has them.
pub(crate) fn read(path: &Path) -> Result<Read, MediaError> {
    let image = exr::prelude::read()
        .no_deep_data()
        .largest_resolution_level()
        .rgb_channels(
            |size, _| (size.width(), vec![[0.0_f32; 3]; size.area()]),
            |(width, pixels): &mut (usize, Vec<[f32; 3]>), at, (r, g, b): (f32, f32, f32)| {
                pixels[at.y() * *width + at.x()] = [r, g, b];
            },
        )
        .first_valid_layer()
        .all_attributes()
        .non_parallel()
        .from_file(path)
        .map_err(|error| broken(path, error))?;
    let (width, pixels) = &image.layer_data.channel_data.pixels;
    let mut planes = Planes16::new(*width, pixels.len() / (*width).max(1), FORMAT);
    let (zero, unit) = FORMAT.levels.luma_scale(FORMAT.depth);
    let (low, high) = FORMAT.levels.code_limits(FORMAT.depth);
    let mut clamped = 0;
    for (index, pixel) in pixels.iter().enumerate() {
        let mut outside = false;
        for (plane, &light) in planes.planes.iter_mut().zip(pixel) {
            let code = (zero + unit * signal_from_light(f64::from(light))).round();
            outside |= !(f64::from(low)..=f64::from(high)).contains(&code);
            // Not a number becomes black.
            plane[index] = code
                .clamp(f64::from(low), f64::from(high))
                .max(f64::from(low)) as u16;
        }
        clamped += u64::from(outside);
    }
    let attributes = &image.attributes;
    let primaries = attributes.chromaticities.map_or(2, |stated| {
        [1_u8, 9, 6, 5]
            .into_iter()
            .find(|&code| {
                primaries_of(code).is_some_and(|known| near(stated, chromaticities(known)))
            })
            .unwrap_or(2)
    });
    let layer = &image.layer_data.attributes;
    let comments = layer
        .comments
        .as_ref()
        .map(ToString::to_string)
        .or_else(|| {
            layer.other.iter().find_map(|(name, value)| match value {
                AttributeValue::Text(text) if name.eq_case_insensitive("comments") => {
                    Some(text.to_string())
                }
                _ => None,
            })
        });
    Ok(Read {
        planes,
        primaries,
        aspect: attributes.pixel_aspect,
        rate: layer.frames_per_second.map(|rate| (rate.0, rate.1)),
        timecode: attributes.time_code.map(|t| {
            let last = if t.drop_frame { ';' } else { ':' };
            format!(
                "{:02}:{:02}:{:02}{last}{:02}",
                t.hours, t.minutes, t.seconds, t.frame
            )
        }),
        clamped,
        of_display: comments.is_some_and(|words| words.contains("BT.1886")),
    })
}

fn near(a: Chromaticities, b: Chromaticities) -> bool {
    // Published to three decimals.
    let near = |a: Vec2<f32>, b: Vec2<f32>| (a.0 - b.0).abs() < 6e-4 && (a.1 - b.1).abs() < 6e-4;
    near(a.red, b.red) && near(a.green, b.green) && near(a.blue, b.blue) && near(a.white, b.white)
}

fn broken(path: &Path, error: exr::error::Error) -> MediaError {
    match error {
        exr::error::Error::Io(io) if io.kind() == std::io::ErrorKind::UnexpectedEof => {
            MediaError::Truncated {
                path: path.into(),
                readable: 0,
                promised: Some(1),
            }
        }
        exr::error::Error::Io(io) => MediaError::reading(path, &io),
        exr::error::Error::NotSupported(found) => MediaError::Unsupported {
            path: path.into(),
            found: format!("this OpenEXR file ({found})"),
            advice: "save it with R, G and B in one flat layer, compressed by ZIP".into(),
        },
        other => MediaError::Damaged {
            path: path.into(),
            frame: 0,
            reason: other.to_string(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every code of the working range comes back to within what half floats have, eleven bits: 2^-11 of the light, 2^-11/2.4 of
    /// the signal, and half a subnormal step at black.
    #[test]
    fn a_half_float_keeps_the_signal_to_a_quarter_of_a_ten_bit_code() {
        let (zero, unit) = FORMAT.levels.luma_scale(16);
        for code in 256..=u16::MAX - 256 {
            let v = (f64::from(code) - zero) / unit;
            let back = signal_from_light(f16::from_f64(light_from_signal(v)).to_f64());
            let room = 1.0 / 1023.0 / 4.0;
            // Below the first subnormal, 3e-8 of light, the signal is under 1/1023.
            let room = if v.abs() < 0.0015 { 1.0 / 1023.0 } else { room };
            assert!((back - v).abs() <= room, "{v} {back}");
        }
    }
}
