//! Bounded samples of a shot for the solver, the same on every run.

use inkarnat_color::picture::{Native, Region, RowScratch};
use inkarnat_color::{Coefficients, Rgb};
use inkarnat_fix::PicturePixel;
use inkarnat_reading::{Chosen, ClipRule, PatchPixels};

/// Pixels of the picture over a shot.
const PICTURE_PIXELS: u64 = 4000;
/// Skin pixels of a person over a shot.
const SKIN_PIXELS: u64 = 1500;
/// Frames that are looked through row by row.
const THOROUGH_FRAMES: u64 = 48;
/// Rows apart that are looked at in those.
const ROWS_APART: usize = 8;

/// A sample of the picture as a whole.
pub(crate) struct PictureSampler {
    frames: u64,
    taken: u64,
    sample: Vec<PicturePixel>,
    seen: u64,
    beyond: u64,
    /// (luma, second difference of three in a row).
    detail: Vec<(f32, f32)>,
    coefficients: Coefficients,
}

impl PictureSampler {
    pub(crate) fn new(frames: u64, coefficients: Coefficients) -> Self {
        Self {
            frames: frames.max(1),
            taken: 0,
            sample: Vec::new(),
            seen: 0,
            beyond: 0,
            detail: Vec::new(),
            coefficients,
        }
    }

    /// Takes its share of a frame; `skin` are the patches held in it.
    pub(crate) fn take(&mut self, frame: u64, native: &Native<'_>, skin: &[PatchPixels]) {
        if native.width == 0 || native.height == 0 {
            return;
        }
        let due = (frame + 1) * PICTURE_PIXELS / self.frames;
        while self.taken < due {
            let [x, y] = spread(self.taken);
            let x = ((x * native.width as f64) as usize).min(native.width - 1);
            let y = ((y * native.height as f64) as usize).min(native.height - 1);
            let pixel = native.rgb_region(Region {
                x,
                y,
                width: 1,
                height: 1,
            });
            self.sample.push(PicturePixel {
                rgb: pixel.pixel(0),
                skin: skin.iter().any(|patch| holds(patch, x, y)),
            });
            self.taken += 1;
        }
        if frame % self.frames.div_ceil(THOROUGH_FRAMES) == 0 {
            self.look_through(native);
        }
    }

    fn look_through(&mut self, native: &Native<'_>) {
        let region = Region::whole(native.width, native.height);
        let mut scratch = RowScratch::default();
        let mut row: [Vec<f32>; 3] = std::array::from_fn(|_| vec![0.0; native.width]);
        let (kr, kg, kb) = self.coefficients.weights();
        for y in (0..native.height).step_by(ROWS_APART) {
            let [r, g, b] = &mut row;
            native.rgb_row(region, y, &mut scratch, [r, g, b]);
            let luma = |x: usize| {
                (kr * f64::from(row[0][x]) + kg * f64::from(row[1][x]) + kb * f64::from(row[2][x]))
                    as f32
            };
            for x in 0..native.width {
                let top = row[0][x].max(row[1][x]).max(row[2][x]);
                self.beyond += u64::from(top > ClipRule::BEYOND);
                self.seen += 1;
                if x % 29 == 1 && x + 1 < native.width {
                    let second = luma(x - 1) - 2.0 * luma(x) + luma(x + 1);
                    self.detail.push((luma(x), second.abs()));
                }
            }
        }
    }

    /// Share of pixels that lie beyond white.
    pub(crate) fn beyond_share(&self) -> f64 {
        self.beyond as f64 / self.seen.max(1) as f64
    }

    /// Standard deviation of the finest detail of Y' in the darkest quarter.
    pub(crate) fn dark_noise(&mut self) -> Option<f64> {
        self.detail
            .sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let quarter = self.detail.len() / 4;
        let mut dark: Vec<f32> = self.detail[..quarter].iter().map(|d| d.1).collect();
        dark.sort_by(f32::total_cmp);
        // The median of |z| is 0.6745 σ, and a second difference of equal independent noise has √6 σ.
        dark.get(quarter / 2)
            .map(|median| f64::from(*median) / (0.674_5 * 6f64.sqrt()))
            .filter(|noise| noise.is_finite())
    }

    pub(crate) fn into_sample(self) -> Vec<PicturePixel> {
        self.sample
    }
}

/// The n-th point of a sequence that fills the unit square evenly (powers of the inverse of the
/// plastic number).
fn spread(n: u64) -> [f64; 2] {
    const STEP: [f64; 2] = [0.754_877_666_246_692_7, 0.569_840_290_998_053_3];
    STEP.map(|step| (0.5 + step * (n + 1) as f64).fract())
}

fn holds(patch: &PatchPixels, x: usize, y: usize) -> bool {
    let region = patch.region;
    let inside = x >= region.x
        && y >= region.y
        && x < region.x + region.width
        && y < region.y + region.height;
    inside && {
        let index = ((y - region.y) * region.width + (x - region.x)) as u32;
        patch.inside.binary_search(&index).is_ok()
    }
}

/// A sample of one person's skin.
pub(crate) struct SkinSampler {
    frames: u64,
    taken: u64,
    sample: Vec<[f32; 3]>,
}

impl SkinSampler {
    pub(crate) fn new(frames: u64) -> Self {
        Self {
            frames: frames.max(1),
            taken: 0,
            sample: Vec::new(),
        }
    }

    /// Takes its share of the chosen pixels of a frame. What lost frames do not give is left out.
    pub(crate) fn take(&mut self, frame: u64, picture: &Rgb, chosen: &Chosen) {
        let due = (frame + 1) * SKIN_PIXELS / self.frames;
        let count = chosen.pixels.len();
        let wanted = due
            .saturating_sub(self.taken)
            .min(SKIN_PIXELS / self.frames + 1);
        for n in 0..wanted {
            if count > 0 {
                let place = (spread(self.taken + n)[0] * count as f64) as usize;
                let index = chosen.pixels[place.min(count - 1)];
                self.sample.push(picture.pixel(index as usize));
            }
        }
        self.taken = due;
    }

    pub(crate) fn into_sample(self) -> Vec<[f32; 3]> {
        self.sample
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_fill_the_square_evenly() {
        let mut cells = [0; 16];
        for n in 0..1600 {
            let [x, y] = spread(n);
            cells[(y * 4.0) as usize * 4 + (x * 4.0) as usize] += 1;
        }
        assert!(
            cells.iter().all(|count| (85..=115).contains(count)),
            "{cells:?}"
        );
    }

    #[test]
    fn skin_samples_are_bounded_whatever_the_length() {
        let picture = Rgb::new(10, 10);
        let chosen = Chosen {
            region: Region::whole(10, 10),
            pixels: (0..100).collect(),
            clipped: 0,
        };
        for frames in [1, 7, 72, 1500, 20_000] {
            let mut sampler = SkinSampler::new(frames);
            for frame in 0..frames {
                sampler.take(frame, &picture, &chosen);
            }
            let count = sampler.into_sample().len() as u64;
            assert!(
                (SKIN_PIXELS * 9 / 10..=SKIN_PIXELS).contains(&count),
                "{frames}: {count}"
            );
        }
    }
}
