//! Small pictures for a screen, as bytes.

use crate::MediaError;
use image::codecs::{jpeg::JpegEncoder, png::PngEncoder};
use image::{ExtendedColorType, ImageEncoder};
use std::path::Path;

/// How a picture for a screen is coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScreenFormat {
    /// Lossless, 8 bits.
    Png,
    /// JPEG of a quality of 1–100.
    Jpeg(u8),
    /// Lossless, 16 bits.
    Png16,
}

/// Codes a picture of interleaved R, G, B: 8-bit codes, or 16-bit ones for [`ScreenFormat::Png16`] (native byte order).
/// `of` is the file that it shows, for the message.
///
/// # Errors
/// If the size and the bytes do not fit, or there is no memory.
pub fn encode_for_screen(
    of: &Path,
    format: ScreenFormat,
    (width, height): (usize, usize),
    codes: &[u8],
) -> Result<Vec<u8>, MediaError> {
    let sample = if format == ScreenFormat::Png16 { 2 } else { 1 };
    let size = u32::try_from(width).ok().zip(u32::try_from(height).ok());
    let (Some((w, h)), true) = (size, codes.len() == width * height * 3 * sample) else {
        return Err(MediaError::BadRequest {
            path: of.into(),
            found: format!("{} bytes for {width}x{height}", codes.len()),
            expected: format!("{} bytes", width * height * 3 * sample),
        });
    };
    let mut bytes = Vec::new();
    let written = match format {
        ScreenFormat::Png => {
            PngEncoder::new(&mut bytes).write_image(codes, w, h, ExtendedColorType::Rgb8)
        }
        ScreenFormat::Png16 => {
            PngEncoder::new(&mut bytes).write_image(codes, w, h, ExtendedColorType::Rgb16)
        }
        ScreenFormat::Jpeg(quality) => JpegEncoder::new_with_quality(
            &mut bytes,
            quality.clamp(1, 100),
        )
        .write_image(codes, w, h, ExtendedColorType::Rgb8),
    };
    written.map_err(|error| MediaError::BadRequest {
        path: of.into(),
        found: error.to_string(),
        expected: "a picture that can be coded".into(),
    })?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_come_back_as_they_were() {
        let codes: Vec<u8> = (0..5 * 4 * 3).map(|i| (i * 4) as u8).collect();
        let path = Path::new("clip.mov");
        let png = encode_for_screen(path, ScreenFormat::Png, (5, 4), &codes).expect("codes");
        assert_eq!(
            image::load_from_memory(&png)
                .expect("reads")
                .to_rgb8()
                .into_raw(),
            codes
        );
        let sixteen: Vec<u16> = (0..5 * 4 * 3).map(|i| i * 1000).collect();
        let bytes: Vec<u8> = sixteen.iter().flat_map(|v| v.to_ne_bytes()).collect();
        let png = encode_for_screen(path, ScreenFormat::Png16, (5, 4), &bytes).expect("codes");
        assert_eq!(
            image::load_from_memory(&png)
                .expect("reads")
                .to_rgb16()
                .into_raw(),
            sixteen
        );
        let grey = vec![128; 16 * 16 * 3];
        let jpeg = encode_for_screen(path, ScreenFormat::Jpeg(90), (16, 16), &grey).expect("codes");
        let read = image::load_from_memory(&jpeg).expect("reads").to_rgb8();
        assert!(read.into_raw().iter().all(|v| v.abs_diff(128) <= 1));
        assert!(encode_for_screen(path, ScreenFormat::Png, (5, 5), &codes).is_err());
    }
}
