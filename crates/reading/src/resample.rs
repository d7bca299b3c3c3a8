//! A part of a picture on the grid of a smaller or larger one: how pixels chosen on a source are
//! found again in a programme of another size.

use crate::pixels::Chosen;
use inkarnat_color::{Region, Rgb};

/// Two sizes of the same picture, corner to corner.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Resample {
    /// Columns and rows of the picture that is given.
    pub from: (usize, usize),
    /// Columns and rows of the picture that is wanted.
    pub to: (usize, usize),
}

/// What one sample of a line is made of.
struct Taps {
    first: usize,
    weights: Vec<f32>,
}

/// The taps of one sample of a line of `to` samples from one of `from`: the mean over its own extent,
/// centred on it, where the line gets shorter, linear interpolation at its centre where it gets longer.
fn taps(index: usize, from: usize, to: usize) -> Taps {
    let step = from as f64 / to as f64;
    if step >= 1.0 {
        let (start, end) = (index as f64 * step, (index + 1) as f64 * step);
        let first = start as usize;
        let last = ((end - 1e-9).ceil() as usize).clamp(first + 1, from);
        let parts: Vec<f64> = (first..last)
            .map(|i| (end.min((i + 1) as f64) - start.max(i as f64)) / step)
            .collect();
        let weights = centred(&parts, (start + end) / 2.0 - 0.5 - first as f64);
        return Taps { first, weights };
    }
    let centre = ((index as f64 + 0.5) * step - 0.5).clamp(0.0, (from - 1) as f64);
    let first = (centre as usize).min(from.saturating_sub(2));
    let part = (centre - first as f64) as f32;
    Taps {
        first,
        weights: if from == 1 {
            vec![1.0]
        } else {
            vec![1.0 - part, part]
        },
    }
}

/// Weights with their sum kept and their centre of mass moved to a place: a sample that is used in part
/// counts as lying at its own centre, which would move the picture by up to a tenth of a sample.
fn centred(parts: &[f64], centre: f64) -> Vec<f32> {
    let moment = |power: i32, about: f64| -> f64 {
        parts
            .iter()
            .enumerate()
            .map(|(i, part)| part * (i as f64 - about).powi(power))
            .sum()
    };
    let mean = moment(1, 0.0);
    let spread = moment(2, mean);
    let tilt = if spread > 1e-12 {
        (centre - mean) / spread
    } else {
        0.0
    };
    parts
        .iter()
        .enumerate()
        .map(|(i, part)| (part * (1.0 + tilt * (i as f64 - mean))) as f32)
        .collect()
}

impl Resample {
    /// The samples of a line of the wanted picture that are made of nothing but samples of a span.
    fn within(from: usize, to: usize, start: usize, length: usize) -> (usize, Vec<Taps>) {
        let mut found = Vec::new();
        let mut first = 0;
        for index in 0..to {
            let taps = taps(index, from, to);
            if taps.first >= start && taps.first + taps.weights.len() <= start + length {
                if found.is_empty() {
                    first = index;
                }
                found.push(taps);
            } else if !found.is_empty() {
                break;
            }
        }
        (first, found)
    }

    /// A part of the given picture on the wanted grid: the pixels that are made of nothing but the
    /// part's, and where they lie.
    #[must_use]
    pub fn part(&self, part: &Rgb, region: Region) -> (Rgb, Region) {
        let (x, across) = Self::within(self.from.0, self.to.0, region.x, region.width);
        let (y, down) = Self::within(self.from.1, self.to.1, region.y, region.height);
        let target = Region {
            x,
            y,
            width: across.len(),
            height: down.len(),
        };
        let mut out = Rgb::new(target.width, target.height);
        for (out, plane) in out.planes.iter_mut().zip(&part.planes) {
            *out = resampled(plane, region, (&across, &down));
        }
        (out, target)
    }

    /// A count of pixels, by area.
    fn scaled(&self, count: u32) -> u32 {
        let area = |(width, height): (usize, usize)| (width * height) as f64;
        (f64::from(count) * area(self.to) / area(self.from)).round() as u32
    }

    /// The chosen pixels on the wanted grid: those of which at least half was chosen.
    #[must_use]
    pub fn chosen(&self, chosen: &Chosen) -> Chosen {
        let region = chosen.region;
        let mut flags = vec![0.0_f32; region.area()];
        for index in &chosen.pixels {
            flags[*index as usize] = 1.0;
        }
        let (x, across) = Self::within(self.from.0, self.to.0, region.x, region.width);
        let (y, down) = Self::within(self.from.1, self.to.1, region.y, region.height);
        let coverage = resampled(&flags, region, (&across, &down));
        Chosen {
            region: Region {
                x,
                y,
                width: across.len(),
                height: down.len(),
            },
            pixels: (0..coverage.len() as u32)
                .filter(|index| coverage[*index as usize] >= 0.5)
                .collect(),
            clipped: self.scaled(chosen.clipped),
        }
    }
}

fn resampled(plane: &[f32], region: Region, (across, down): (&[Taps], &[Taps])) -> Vec<f32> {
    let rows: Vec<f32> = plane
        .chunks_exact(region.width.max(1))
        .flat_map(|row| {
            across.iter().map(|taps| {
                let span = &row[taps.first - region.x..];
                taps.weights.iter().zip(span).map(|(w, v)| w * v).sum()
            })
        })
        .collect();
    let width = across.len();
    let mut out = Vec::with_capacity(width * down.len());
    for taps in down {
        for x in 0..width {
            let column = (taps.first - region.y..).map(|y| rows[y * width + x]);
            out.push(taps.weights.iter().zip(column).map(|(w, v)| w * v).sum());
        }
    }
    out
}

/// A picture's luma made very small: what two versions of one frame have in common.
#[derive(Clone, Debug, PartialEq)]
pub struct Thumbnail(Vec<f32>);

impl Thumbnail {
    /// Its size.
    pub const SIZE: (usize, usize) = (48, 27);

    /// Of a whole picture's luma, row by row.
    ///
    /// # Panics
    /// If there are not `width · height` samples.
    #[must_use]
    pub fn of(luma: &[f32], (width, height): (usize, usize)) -> Self {
        assert_eq!(luma.len(), width * height, "another size");
        let line = |from: usize, to: usize| -> Vec<Taps> {
            (0..to).map(|index| taps(index, from, to)).collect()
        };
        let whole = Region::whole(width, height);
        let (across, down) = (line(width, Self::SIZE.0), line(height, Self::SIZE.1));
        Self(resampled(luma, whole, (&across, &down)))
    }

    /// The middle: three quarters of the width, 70 % of the height. A matte of 2.39:1 on 16:9, bars at
    /// the sides and most titles lie beside it.
    fn middle(&self) -> impl Iterator<Item = f64> {
        let rows = self.0.chunks_exact(Self::SIZE.0).skip(4).take(19);
        rows.flat_map(|row| row[6..42].iter().map(|v| f64::from(*v)))
    }

    /// How alike the middles of two pictures are, whatever their brightness and contrast: the
    /// correlation of their luma, 1 for the same, 0 for nothing in common. The seventh of it that fits
    /// worst is left out, so that a title over one of them does not count. Two pictures without any
    /// structure are alike.
    #[must_use]
    pub fn likeness(&self, other: &Self) -> f64 {
        let all: Vec<(f64, f64)> = self.middle().zip(other.middle()).collect();
        let moments = Moments::of(&all);
        let flat = 1e-5;
        match (moments.xx < flat, moments.yy < flat) {
            (true, true) => return 1.0,
            (true, false) | (false, true) => return 0.0,
            (false, false) => {}
        }
        let mut kept = all.clone();
        for _ in 0..3 {
            let fit = Moments::of(&kept);
            // The line through the middle that turns one contrast into the other.
            let slope = fit.xy.signum() * (fit.yy / fit.xx.max(flat)).sqrt();
            let miss = |(x, y): (f64, f64)| ((y - fit.y) - slope * (x - fit.x)).abs();
            kept.clone_from(&all);
            kept.sort_by(|a, b| miss(*a).total_cmp(&miss(*b)));
            kept.truncate(all.len() - all.len() / 7);
        }
        let fit = Moments::of(&kept);
        if fit.xx < flat || fit.yy < flat {
            // Nothing but what was left out has any structure: no ground to leave it out on.
            return moments.correlation();
        }
        fit.correlation()
    }
}

/// Means, variances and covariance of pairs.
struct Moments {
    x: f64,
    y: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Moments {
    fn of(pairs: &[(f64, f64)]) -> Self {
        let count = pairs.len().max(1) as f64;
        let x = pairs.iter().map(|(x, _)| x).sum::<f64>() / count;
        let y = pairs.iter().map(|(_, y)| y).sum::<f64>() / count;
        let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
        for (a, b) in pairs {
            xx += (a - x) * (a - x) / count;
            yy += (b - y) * (b - y) / count;
            xy += (a - x) * (b - y) / count;
        }
        Self { x, y, xx, yy, xy }
    }

    fn correlation(&self) -> f64 {
        self.xy / (self.xx * self.yy).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(width: usize, height: usize) -> Rgb {
        let mut picture = Rgb::new(width, height);
        for i in 0..width * height {
            let (x, y) = ((i % width) as f32 + 0.5, (i / width) as f32 + 0.5);
            picture.set_pixel(i, [x / width as f32, y / height as f32, 0.25]);
        }
        picture
    }

    /// A ramp has the same value at the same place in every size.
    #[test]
    fn a_ramp_is_a_ramp_in_every_size() {
        let from = (96, 54);
        let source = ramp(96, 54);
        for to in [(48, 27), (64, 36), (96, 54), (192, 108), (100, 40)] {
            let region = Region {
                x: 10,
                y: 6,
                width: 40,
                height: 30,
            };
            let mut part = Rgb::new(40, 30);
            for y in 0..30 {
                for x in 0..40 {
                    part.set_pixel(y * 40 + x, source.pixel((y + 6) * 96 + x + 10));
                }
            }
            let (out, target) = Resample { from, to }.part(&part, region);
            assert!(target.area() > 0);
            for y in 0..target.height {
                for x in 0..target.width {
                    let [r, g, b] = out.pixel(y * target.width + x);
                    let at = |i: usize, n: usize| (i as f32 + 0.5) / n as f32;
                    assert!((r - at(x + target.x, to.0)).abs() < 1e-4, "{to:?}");
                    assert!((g - at(y + target.y, to.1)).abs() < 1e-4, "{to:?}");
                    assert!((b - 0.25).abs() < 1e-6);
                }
            }
        }
    }

    #[test]
    fn chosen_pixels_are_found_again() {
        let region = Region {
            x: 20,
            y: 10,
            width: 20,
            height: 20,
        };
        let inside = |i: &u32| (4..16).contains(&(i % 20)) && (4..16).contains(&(i / 20));
        let chosen = Chosen {
            region,
            pixels: (0..400).filter(inside).collect(),
            clipped: 40,
        };
        let half = Resample {
            from: (96, 54),
            to: (48, 27),
        };
        let found = half.chosen(&chosen);
        assert_eq!((found.region.x, found.region.y), (10, 5));
        assert_eq!((found.region.width, found.region.height), (10, 10));
        assert_eq!((found.pixels.len(), found.clipped), (36, 10));
        let same = Resample {
            from: (96, 54),
            to: (96, 54),
        };
        assert_eq!(same.chosen(&chosen).pixels, chosen.pixels);
    }

    #[test]
    fn likeness_survives_grading_and_tells_pictures_apart() {
        let size = (64, 36);
        let picture = |f: &dyn Fn(f32, f32) -> f32| -> Thumbnail {
            let luma: Vec<f32> = (0..64 * 36)
                .map(|i| f((i % 64) as f32 / 64.0, (i / 64) as f32 / 36.0))
                .collect();
            Thumbnail::of(&luma, size)
        };
        let one = picture(&|x, y| (9.0 * x).sin() * (5.0 * y).cos() * 0.3 + 0.5);
        let graded = picture(&|x, y| ((9.0 * x).sin() * (5.0 * y).cos() * 0.3 + 0.5).powf(0.8));
        let other = picture(&|x, y| (4.0 * x * y + 3.0 * y).sin() * 0.3 + 0.5);
        assert!(one.likeness(&graded) > 0.99);
        assert!(one.likeness(&other) < 0.6);
        let titled = picture(&|x, y| {
            if (0.3..0.7).contains(&x) && (0.65..0.85).contains(&y) {
                1.0
            } else {
                (9.0 * x).sin() * (5.0 * y).cos() * 0.3 + 0.5
            }
        });
        assert!(one.likeness(&titled) > 0.95, "{}", one.likeness(&titled));
        assert!(titled.likeness(&one) > 0.95, "{}", titled.likeness(&one));
        assert!(other.likeness(&titled) < 0.6, "{}", other.likeness(&titled));
        let matted = picture(&|x, y| {
            let inside = (0.13..0.87).contains(&y);
            f32::from(u8::from(inside)) * ((9.0 * x).sin() * (5.0 * y).cos() * 0.3 + 0.5)
        });
        assert!(one.likeness(&matted) > 0.99, "{}", one.likeness(&matted));
        let black = picture(&|_, _| 0.0);
        assert_eq!(black.likeness(&black), 1.0);
        assert_eq!(black.likeness(&one), 0.0);
    }
}
