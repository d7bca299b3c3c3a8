//! Bounded samples of a shot for the solver: of the whole picture, and of one person's skin.
//!
//! Which pixels are taken depends on the frame number and the size alone, so two runs take the same.

use crate::log_like::Histogram;
use crate::pixels::{Chosen, PatchPixels};
use crate::statistics::robust_sd;
use inkarnat_color::{Coefficients, Region, Rgb};
use serde::{Deserialize, Serialize};

/// Pixels of the picture over a shot.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PictureSample {
    /// R'G'B' working signal.
    pub pixels: Vec<[f32; 3]>,
    /// Whether each lies inside a patch.
    pub skin: Vec<bool>,
    /// Standard deviation of the finest detail of luma in the darkest quarter of the sampled
    /// neighbourhoods, as signal: what a gain in the blacks lifts. `None` below 30 of them.
    pub noise_dark: Option<f64>,
    /// The source frame that each comes from.
    pub frames: Vec<u64>,
}

/// Skin pixels of one person over a shot.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SkinSample {
    /// R'G'B' working signal.
    pub pixels: Vec<[f32; 3]>,
    /// The source frame that each comes from; empty where that is not known.
    pub frames: Vec<u64>,
}

impl SkinSample {
    /// Takes at most `most` of the chosen pixels of a frame, evenly spread over them; give
    /// `bound / frames` of the shot to keep the whole within a bound.
    ///
    /// Nothing is taken where the picture is not of the region's size.
    pub fn add(&mut self, frame: u64, picture: &Rgb, chosen: &Chosen, most: usize) {
        let fits = (picture.width, picture.height) == (chosen.region.width, chosen.region.height);
        let count = chosen.pixels.len();
        let take = if fits { count.min(most) } else { 0 };
        // The middle of each of `take` equal runs.
        self.pixels.extend(
            (0..take)
                .map(|i| chosen.pixels[(2 * i + 1) * count / (2 * take)] as usize)
                .filter(|&index| index < picture.width * picture.height)
                .map(|index| picture.pixel(index)),
        );
        self.frames.resize(self.pixels.len(), frame);
    }
}

/// Gathers a [`PictureSample`] and the statistics of the whole picture from some frames of a shot.
#[derive(Clone, Debug)]
pub struct PictureSampler {
    width: usize,
    height: usize,
    rows: usize,
    columns: usize,
    coefficients: Coefficients,
    pixels: Vec<[f32; 3]>,
    skin: Vec<bool>,
    frames: Vec<u64>,
    /// Luma and second difference of neighbourhoods.
    fine: Vec<(f32, f32)>,
    histogram: Histogram,
}

impl PictureSampler {
    /// A sampler for pictures of a size that takes about `a_frame` pixels of each frame.
    #[must_use]
    pub fn new(width: usize, height: usize, a_frame: usize, coefficients: Coefficients) -> Self {
        let aspect = width.max(1) as f64 / height.max(1) as f64;
        let rows = (a_frame as f64 / aspect).sqrt().round().max(1.0) as usize;
        let rows = rows.min(height);
        Self {
            width,
            height,
            rows,
            columns: a_frame.div_ceil(rows.max(1)).clamp(1, width.max(1)),
            coefficients,
            pixels: Vec::new(),
            skin: Vec::new(),
            frames: Vec::new(),
            fine: Vec::new(),
            histogram: Histogram::default(),
        }
    }

    /// Takes the pixels of a frame: one in each cell of a grid, at a place in the cell that depends
    /// on frame and cell.
    ///
    /// `read` gives the working signal of a region one row high, such as
    /// `|region| native.rgb_region(region)`; `patches` are those of the frame, `left_out` parts of
    /// the picture that are none (bars of a matte, titles).
    pub fn add(
        &mut self,
        frame: u64,
        mut read: impl FnMut(Region) -> Rgb,
        patches: &[PatchPixels],
        left_out: &[Region],
    ) {
        for row in 0..self.rows {
            let pick = |salt: u64, cell: usize, cells: usize, length: usize| {
                let (low, high) = (cell * length / cells, (cell + 1) * length / cells);
                let mixed = mix(frame, salt);
                low + (mixed % (high - low).max(1) as u64) as usize
            };
            let y = pick(row as u64, row, self.rows, self.height);
            let line = read(Region {
                x: 0,
                y,
                width: self.width,
                height: 1,
            });
            if line.width != self.width || line.height != 1 {
                continue;
            }
            for column in 0..self.columns {
                let salt = ((row as u64) << 32) | (column as u64 + 1);
                let x = pick(salt, column, self.columns, self.width);
                let pixel = line.pixel(x);
                let outside = |r: &Region| {
                    (r.x..r.x + r.width).contains(&x) && (r.y..r.y + r.height).contains(&y)
                };
                if left_out.iter().any(outside) {
                    continue;
                }
                if !pixel.iter().all(|v| v.is_finite()) {
                    continue;
                }
                let skin = patches.iter().any(|patch| holds(patch, x, y));
                let luma = |x: usize| self.coefficients.luma(line.pixel(x).map(f64::from));
                self.pixels.push(pixel);
                self.skin.push(skin);
                self.frames.push(frame);
                self.histogram.add(pixel, luma(x));
                if x > 0 && x + 1 < self.width {
                    let difference = luma(x - 1) - 2.0 * luma(x) + luma(x + 1);
                    if difference.is_finite() {
                        self.fine.push((luma(x) as f32, difference as f32));
                    }
                }
            }
        }
    }

    /// Levels and colours of the whole picture over the frames taken so far.
    #[must_use]
    pub fn histogram(&self) -> &Histogram {
        &self.histogram
    }

    /// The sample, thinned evenly to at most `most` pixels.
    #[must_use]
    pub fn finish(mut self, most: usize) -> PictureSample {
        const FEWEST: usize = 30;
        self.fine.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut dark: Vec<f64> = self.fine[..self.fine.len() / 4]
            .iter()
            .map(|(_, difference)| f64::from(*difference) / 6f64.sqrt())
            .collect();
        let count = self.pixels.len();
        let take = count.min(most);
        let kept = |i: usize| (2 * i + 1) * count / (2 * take);
        PictureSample {
            pixels: (0..take).map(|i| self.pixels[kept(i)]).collect(),
            skin: (0..take).map(|i| self.skin[kept(i)]).collect(),
            noise_dark: if dark.len() >= FEWEST {
                robust_sd(&mut dark)
            } else {
                None
            },
            frames: (0..take).map(|i| self.frames[kept(i)]).collect(),
        }
    }
}

fn holds(patch: &PatchPixels, x: usize, y: usize) -> bool {
    let region = patch.region;
    let (Some(x), Some(y)) = (x.checked_sub(region.x), y.checked_sub(region.y)) else {
        return false;
    };
    x < region.width
        && y < region.height
        && patch
            .inside
            .binary_search(&((y * region.width + x) as u32))
            .is_ok()
}

/// One number from two (the finaliser of splitmix64; Steele, Lea, Flood 2014).
fn mix(a: u64, b: u64) -> u64 {
    let mut z = a
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .wrapping_add(b.wrapping_mul(0xd1b5_4a32_d192_ed03));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Random;

    fn picture(seed: u64) -> Rgb {
        let mut random = Random::new(seed);
        let mut picture = Rgb::new(320, 180);
        for i in 0..320 * 180 {
            let x = (i % 320) as f64 / 320.0;
            let noise = 0.02 * random.normal();
            picture.set_pixel(i, [x as f32, (x + noise) as f32, 0.3]);
        }
        picture
    }

    fn row(picture: &Rgb, region: Region) -> Rgb {
        let span = region.y * picture.width..(region.y + 1) * picture.width;
        Rgb {
            width: picture.width,
            height: 1,
            planes: picture.planes.each_ref().map(|p| p[span.clone()].to_vec()),
        }
    }

    /// Means of the sample are those of the picture; noise of the dark part comes back: 0.02 of G'
    /// is 0.0143 of luma (weight 0.7152).
    #[test]
    fn stands_for_the_picture_and_is_the_same_twice() {
        let picture = picture(1);
        let take = || {
            let mut sampler = PictureSampler::new(320, 180, 2000, Coefficients::Bt709);
            for frame in 0..4 {
                sampler.add(frame, |region| row(&picture, region), &[], &[]);
            }
            sampler.finish(5000)
        };
        let sample = take();
        assert_eq!(sample, take());
        assert_eq!(sample.pixels.len(), 5000);
        assert_eq!(sample.frames.len(), 5000);
        assert!(sample.frames.is_sorted() && sample.frames.last() == Some(&3));
        let mean = sample.pixels.iter().map(|p| f64::from(p[0])).sum::<f64>() / 5000.0;
        assert!((mean - 0.5).abs() < 0.01, "{mean}");
        let noise = sample.noise_dark.unwrap();
        assert!((noise - 0.0143).abs() < 0.0015, "{noise}");
    }

    #[test]
    fn marks_skin() {
        let picture = picture(2);
        let patch = PatchPixels {
            region: Region {
                x: 0,
                y: 0,
                width: 160,
                height: 180,
            },
            inside: (0..160 * 180).collect(),
        };
        let mut sampler = PictureSampler::new(320, 180, 2000, Coefficients::Bt709);
        sampler.add(
            0,
            |region| row(&picture, region),
            std::slice::from_ref(&patch),
            &[],
        );
        let sample = sampler.finish(usize::MAX);
        let skin = sample.skin.iter().filter(|s| **s).count() as f64;
        assert!((skin / sample.skin.len() as f64 - 0.5).abs() < 0.02);
    }

    #[test]
    fn skin_is_spread_over_the_patch_and_bounded() {
        let picture = picture(3);
        let chosen = Chosen {
            region: Region::whole(320, 180),
            pixels: (0..320 * 180).collect(),
            clipped: 0,
        };
        let mut skin = SkinSample::default();
        skin.add(7, &picture, &chosen, 1001);
        assert_eq!(skin.pixels.len(), 1001);
        let mean = skin.pixels.iter().map(|p| f64::from(p[0])).sum::<f64>() / 1001.0;
        assert!((mean - 0.5).abs() < 0.02, "{mean}");
        skin.add(8, &Rgb::new(3, 3), &chosen, 10);
        assert_eq!(skin.pixels.len(), 1001);
        assert_eq!(skin.frames, [7; 1001]);
    }
}
