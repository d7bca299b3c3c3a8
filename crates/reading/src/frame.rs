//! The reading of one frame.

use crate::patch::Patch;
use crate::pixels::Chosen;
use crate::statistics::{robust_sd, trimmed};
use inkarnat_color::{Rgb, WorkingSpace, Ycbcr};
use serde::{Deserialize, Serialize};

/// What a patch reads in one frame. Triples are in the order Y', Cb, Cr, as signal (Y' 0–1, Cb and
/// Cr ±0.5).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameReading {
    /// Source frame, from 0.
    pub frame: u64,
    /// Trimmed means: of each of Y', Cb and Cr the lowest and highest ⌊n/10⌋ values are cut, each in
    /// its own order, and the rest averaged. A red blotch as bright as the skin around it is an
    /// outlier of Cr alone; cut by luma it would stay.
    pub mean: Ycbcr,
    /// Standard uncertainty (k = 1) of each mean from this frame alone: from how the means of
    /// neighbouring blocks differ beyond a straight shading, so that noise which neighbouring pixels
    /// share counts as it must. Texture of the skin makes it larger.
    pub mean_u: [f64; 3],
    /// Winsorised standard deviation over the pixels: shading, texture and noise together.
    pub spread: [f64; 3],
    /// Standard deviation of the finest detail, from second differences of three pixels in a row:
    /// noise, and pores where the picture shows them. Chroma of subsampled pictures shows less here
    /// than it has.
    pub noise: [f64; 3],
    /// Pixels read.
    pub samples: u32,
    /// Share of the patch left out because it is clipped, 0–1.
    pub clipped: f64,
    /// 0–1: samples / (samples + 100), times the share that is not clipped. A rule of weight, not a
    /// probability.
    pub confidence: f64,
}

/// Why there is no reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "why")]
pub enum Unreadable {
    /// Not enough unclipped pixels.
    #[error(
        "{found} unclipped pixels in the patch, expected at least {needed} ({clipped} are clipped); draw it larger or on skin that is not clipped"
    )]
    TooFewPixels {
        /// Unclipped pixels.
        found: usize,
        /// The fewest that are read.
        needed: usize,
        /// Clipped pixels.
        clipped: usize,
    },
    /// The picture is not that of the chosen region.
    #[error(
        "the picture of the patch is {width}x{height}, expected {region_width}x{region_height}; it has to come from a picture of the source's size"
    )]
    PictureSize {
        /// Given width.
        width: usize,
        /// Given height.
        height: usize,
        /// Width of the region.
        region_width: usize,
        /// Height of the region.
        region_height: usize,
    },
    /// A pixel is not a finite number.
    #[error("the picture holds values that are not numbers; decode it again")]
    NotFinite,
    /// Too few frames hold the patch.
    #[error(
        "{found} of {all} frames can be read, expected at least {needed}; draw the patch where the skin stays in sight"
    )]
    TooFewFrames {
        /// Frames read.
        found: usize,
        /// Frames looked at, the lost ones included.
        all: usize,
        /// The fewest that make a reading.
        needed: usize,
    },
}

/// Reads the chosen pixels of one frame.
///
/// `picture` is the working signal of `chosen.region`, of the source or of any later version of the
/// same frame.
///
/// # Errors
/// [`Unreadable::PictureSize`], [`Unreadable::TooFewPixels`] (fewer than [`Patch::MIN_PIXELS`]) and
/// [`Unreadable::NotFinite`].
pub fn read_frame(
    frame: u64,
    picture: &Rgb,
    chosen: &Chosen,
    space: WorkingSpace,
) -> Result<FrameReading, Unreadable> {
    let region = chosen.region;
    let area = region.area();
    if picture.width != region.width
        || picture.height != region.height
        || picture.planes.iter().any(|plane| plane.len() != area)
        || chosen.pixels.last().is_some_and(|&i| i as usize >= area)
    {
        return Err(Unreadable::PictureSize {
            width: picture.width,
            height: picture.height,
            region_width: region.width,
            region_height: region.height,
        });
    }
    let samples = chosen.pixels.len();
    if samples < Patch::MIN_PIXELS {
        return Err(Unreadable::TooFewPixels {
            found: samples,
            needed: Patch::MIN_PIXELS,
            clipped: chosen.clipped as usize,
        });
    }
    let mut columns: [Vec<f64>; 3] = std::array::from_fn(|_| Vec::with_capacity(samples));
    for &index in &chosen.pixels {
        let rgb = picture.pixel(index as usize).map(f64::from);
        let Ycbcr { y, cb, cr } = space.coefficients.ycbcr_from_rgb(rgb);
        if !(y + cb + cr).is_finite() {
            return Err(Unreadable::NotFinite);
        }
        for (column, value) in columns.iter_mut().zip([y, cb, cr]) {
            column.push(value);
        }
    }
    let blocks = Blocks::new(chosen);
    let (mut mean, mut mean_u, mut spread, mut noise) = ([0.0; 3], [0.0; 3], [0.0; 3], [0.0; 3]);
    for (channel, column) in columns.iter_mut().enumerate() {
        noise[channel] = finest_noise(chosen, column);
        mean_u[channel] = blocks.mean_u(column, noise[channel]);
        // At least MIN_PIXELS values, so never `None`.
        if let Some(result) = trimmed(column) {
            mean[channel] = result.mean;
            spread[channel] = result.winsorised_sd;
        }
    }
    let clipped = chosen.clipped_share();
    Ok(FrameReading {
        frame,
        mean: Ycbcr {
            y: mean[0],
            cb: mean[1],
            cr: mean[2],
        },
        mean_u,
        spread,
        noise,
        samples: samples as u32,
        clipped,
        confidence: samples as f64 / (samples as f64 + 100.0) * (1.0 - clipped),
    })
}

/// Standard deviation of the finest detail, from three chosen pixels in a row.
fn finest_noise(chosen: &Chosen, column: &[f64]) -> f64 {
    let width = chosen.region.width as u32;
    let mut differences: Vec<f64> = chosen
        .pixels
        .windows(3)
        .zip(column.windows(3))
        .filter(|(p, _)| p[2] == p[0] + 2 && p[0] / width == p[2] / width)
        // The variance of a second difference of equal independent noise is 6 times as large.
        .map(|(_, v)| (v[0] - 2.0 * v[1] + v[2]) / 6f64.sqrt())
        .collect();
    robust_sd(&mut differences).unwrap_or(0.0)
}

/// The chosen pixels in square blocks, for the uncertainty of a mean.
struct Blocks {
    /// Side of a block in pixels.
    side: usize,
    across: usize,
    /// Block of each chosen pixel.
    of: Vec<u32>,
    /// Chosen pixels in each block.
    count: Vec<u32>,
}

impl Blocks {
    fn new(chosen: &Chosen) -> Self {
        // Eight pixels where a patch has room for several, as the blocks of common codecs.
        let side = match chosen.pixels.len() {
            0..250 => 2,
            250..900 => 4,
            _ => 8,
        };
        let width = chosen.region.width.max(1);
        let across = width.div_ceil(side);
        let down = chosen.region.height.div_ceil(side);
        let mut count = vec![0; across * down];
        let of = chosen
            .pixels
            .iter()
            .map(|&index| {
                let (x, y) = (index as usize % width, index as usize / width);
                let block = y / side * across + x / side;
                count[block] += 1;
                block as u32
            })
            .collect();
        Self {
            side,
            across,
            of,
            count,
        }
    }

    fn mean_u(&self, column: &[f64], noise: f64) -> f64 {
        /// The tails of a trimmed mean carry no noise: between n (all of it) and 0.8 n pixels
        /// average it, according to how far shading alone decides the order.
        const TRIM_LOSS: f64 = 1.12;
        let samples = column.len() as f64;
        let mut sum = vec![0.0; self.count.len()];
        for (&block, value) in self.of.iter().zip(column) {
            sum[block as usize] += value;
        }
        let pixels = self.side * self.side;
        let full = |block: usize| self.count[block] as usize == pixels;
        let mean = |block: usize| sum[block] / pixels as f64;
        let mut differences = Vec::new();
        for block in 0..sum.len() {
            for (step, fits) in [
                (1, block % self.across + 2 < self.across),
                (self.across, block + 2 * self.across < sum.len()),
            ] {
                let (next, last) = (block + step, block + 2 * step);
                if fits && full(block) && full(next) && full(last) {
                    let difference = mean(block) - 2.0 * mean(next) + mean(last);
                    differences.push(difference / 6f64.sqrt());
                }
            }
        }
        const FEWEST: usize = 8;
        let pixel_equivalent = if differences.len() >= FEWEST {
            robust_sd(&mut differences).map_or(noise, |sd| sd * self.side as f64)
        } else {
            // Too small for blocks: four pixels share their noise, as in 4:2:0 pictures.
            2.0 * noise
        };
        pixel_equivalent * (TRIM_LOSS / samples).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_color::Region;

    fn all(width: usize, height: usize) -> Chosen {
        Chosen {
            region: Region::whole(width, height),
            pixels: (0..(width * height) as u32).collect(),
            clipped: 0,
        }
    }

    /// Five greys a row, the outermost tenth of 30 cut: by hand 0.4 ± shading.
    #[test]
    fn trimmed_means_of_a_small_picture_by_hand() {
        let mut picture = Rgb::new(6, 5);
        // 24 pixels of one skin colour, 3 black and 3 white: exactly what is cut of each of Y', and
        // of Cb and Cr the neutral six lie all on one side of the skin.
        for index in 0..30 {
            picture.set_pixel(
                index,
                match index {
                    0..3 => [0.05; 3],
                    3..6 => [0.95; 3],
                    _ => [0.6, 0.4, 0.3],
                },
            );
        }
        let reading = read_frame(7, &picture, &all(6, 5), WorkingSpace::default()).unwrap();
        // 0.2126·0.6 + 0.7152·0.4 + 0.0722·0.3 = 0.4353
        assert!((reading.mean.y - 0.4353).abs() < 1e-6);
        // Cb of the skin (0.3 − 0.4353) / 1.8556 = −0.072914; three of 24 kept values are 0.
        assert!((reading.mean.cb - -0.072_914 * 21.0 / 24.0).abs() < 1e-6);
        assert!((reading.mean.cr - (0.6 - 0.4353) / 1.5748 * 21.0 / 24.0).abs() < 1e-6);
        assert_eq!((reading.frame, reading.samples), (7, 30));
    }

    #[test]
    fn refuses_what_it_cannot_read() {
        let picture = Rgb::new(4, 4);
        let text = read_frame(0, &picture, &all(4, 4), WorkingSpace::default())
            .unwrap_err()
            .to_string();
        assert!(
            text.contains("16 unclipped") && text.contains("25"),
            "{text}"
        );
        assert!(matches!(
            read_frame(0, &picture, &all(5, 4), WorkingSpace::default()),
            Err(Unreadable::PictureSize { .. })
        ));
        let mut picture = Rgb::new(6, 6);
        picture.planes[1][8] = f32::NAN;
        assert_eq!(
            read_frame(0, &picture, &all(6, 6), WorkingSpace::default()),
            Err(Unreadable::NotFinite)
        );
    }
}
