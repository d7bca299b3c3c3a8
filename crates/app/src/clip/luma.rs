//! Luma for followers: whole pictures at the size that following works on, straight from the decoded
//! codes.

use inkarnat_color::Coefficients;
use inkarnat_color::picture::{Model, Native, Plane, Region, Samples};

/// The luma signal of a picture, averaged over squares of `factor` pixels; columns and rows that do
/// not fill a square are left out.
pub(crate) fn reduced(native: &Native<'_>, factor: usize, coefficients: Coefficients) -> Vec<f32> {
    let whole = Region::whole(native.width, native.height);
    if factor <= 1 {
        return native.luma_region(whole, coefficients);
    }
    let (width, height) = (native.width / factor, native.height / factor);
    let area = (factor * factor) as f32;
    if native.format.model == Model::Rgb || native.input.is_some() {
        let luma = native.luma_region(whole, coefficients);
        let mut out = vec![0.0; width * height];
        for (row, out) in out.chunks_exact_mut(width.max(1)).enumerate() {
            for line in row * factor..(row + 1) * factor {
                let line = &luma[line * native.width..][..width * factor];
                for (out, pixels) in out.iter_mut().zip(line.chunks_exact(factor)) {
                    *out += pixels.iter().sum::<f32>() / area;
                }
            }
        }
        return out;
    }
    // Luma is linear in its codes: whole numbers are summed, and scaled once.
    let (zero, unit) = native.format.levels.luma_scale(native.format.depth);
    let (zero, scale) = (zero as f32, 1.0 / unit as f32);
    let plane = &native.planes[0];
    let mut sums = vec![0u32; width];
    let mut out = Vec::with_capacity(width * height);
    for row in 0..height {
        sums.fill(0);
        for line in row * factor..(row + 1) * factor {
            match factor {
                2 => add::<2>(plane, line, &mut sums),
                3 => add::<3>(plane, line, &mut sums),
                4 => add::<4>(plane, line, &mut sums),
                _ => add_any(plane, line, factor, &mut sums),
            }
        }
        out.extend(sums.iter().map(|&sum| (sum as f32 / area - zero) * scale));
    }
    out
}

/// Adds every `FACTOR` neighbours of a row to one sum.
fn add<const FACTOR: usize>(plane: &Plane<'_>, row: usize, sums: &mut [u32]) {
    fn squares<const FACTOR: usize, T: Copy + Into<u32>>(row: &[T], sums: &mut [u32]) {
        for (sum, codes) in sums.iter_mut().zip(row.as_chunks::<FACTOR>().0) {
            *sum += codes.iter().map(|&code| code.into()).sum::<u32>();
        }
    }
    let start = row * plane.stride;
    match plane.samples {
        Samples::U8(codes) => squares::<FACTOR, u8>(&codes[start..start + plane.width], sums),
        Samples::U16(codes) => squares::<FACTOR, u16>(&codes[start..start + plane.width], sums),
    }
}

fn add_any(plane: &Plane<'_>, row: usize, factor: usize, sums: &mut [u32]) {
    let start = row * plane.stride;
    for (index, sum) in sums.iter_mut().enumerate() {
        let span = start + index * factor..start + (index + 1) * factor;
        *sum += match plane.samples {
            Samples::U8(codes) => codes[span].iter().map(|&c| u32::from(c)).sum::<u32>(),
            Samples::U16(codes) => codes[span].iter().map(|&c| u32::from(c)).sum(),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_color::Levels;
    use inkarnat_color::picture::{PixelFormat, Planes16, Siting, Subsampling};

    #[test]
    fn squares_are_the_means_of_the_whole_picture() {
        let (width, height) = (47, 33);
        for model in [Model::Ycbcr(Coefficients::Bt709), Model::Rgb, Model::Grey] {
            let format = PixelFormat {
                model,
                subsampling: Subsampling::S444,
                siting: Siting::Left,
                depth: 10,
                levels: Levels::Narrow,
                fields: false,
            };
            let mut picture = Planes16::new(width, height, format);
            let mut state = 7u32;
            for code in picture.planes.iter_mut().flatten() {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                *code = 4 + (state >> 22) as u16 % 1016;
            }
            let native = picture.as_native();
            let region = Region::whole(width, height);
            let whole = native.luma_region(region, Coefficients::Bt709);
            for factor in 1..=5 {
                let found = reduced(&native, factor, Coefficients::Bt709);
                let (columns, rows) = (width / factor, height / factor);
                assert_eq!(found.len(), columns * rows);
                for (index, found) in found.iter().enumerate() {
                    let (x, y) = (index % columns * factor, index / columns * factor);
                    let mean = (0..factor * factor)
                        .map(|i| f64::from(whole[(y + i / factor) * width + x + i % factor]))
                        .sum::<f64>()
                        / (factor * factor) as f64;
                    // Rounding of f32 sums of up to 25 values below 1.1.
                    assert!(
                        (f64::from(*found) - mean).abs() < 3e-6,
                        "{model:?} {factor}"
                    );
                }
            }
        }
    }
}
