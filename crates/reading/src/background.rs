//! How the light on the background moves, frame by frame.
//!
//! The picture is taken as a coarse grid of cells. Cells in which a face or a patch lies, and those below a face, are left
//! out; so are dark and clipped ones. Each frame is held against an earlier one, its anchor, that lies up to a second
//! back: a cell whose brightness *beside its neighbours* has changed shows something else there (somebody moves, the
//! camera moves) and is left out too. What the median of the still cells says is the change of the light, channel by
//! channel. Where most cells show something else (a pan) nothing is said, and what comes after cannot be compared with
//! what came before: a new part begins.

use inkarnat_color::{Coefficients, Region, Rgb};
use serde::{Deserialize, Serialize};

/// Columns and rows of cells.
const CELLS: (usize, usize) = (32, 18);
/// Rows of pixels that are read of each row of cells.
const LINES: usize = 3;
/// Darkest and brightest signal of a channel that is compared.
const USABLE: (f64, f64) = (0.05, 0.97);
/// Fewest cells that stand for a background.
const FEWEST: usize = 24;
/// Least share of the cells that has to be still.
const STILL: f64 = 0.5;
/// How far the light of a cell may change beside its neighbours, natural log, and what is granted beside that of the change
/// of the whole: sun and shade do not change alike.
const DETAIL: (f64, f64) = (0.05, 0.25);
/// How far the cells may differ about the change of the whole (median of the distances), natural log, and what is granted
/// beside that change: where soft shapes move, neighbours change alike, but not all of them one way.
const APART: (f64, f64) = (0.04, 0.5);

/// The background in one frame.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BackgroundReading {
    /// Source frame, from 0.
    pub frame: u64,
    /// Mean Y' of the whole picture, faces included, as signal: black and white frames are known by it.
    pub level: f64,
    /// Light on the background over that in the first frame of the same part, natural log, of R, G, B; `None` where it
    /// cannot be told.
    pub light: Option<[f64; 3]>,
    /// Share of the compared cells that show the same as in the anchor, 0–1.
    pub still: f64,
    /// Frames of one part can be compared with each other.
    pub part: u32,
}

/// Natural log of the scene light that a signal of BT.709 stands for (BT.709-6 item 1.2 above its straight part, which is
/// continued by the same power); `None` where a channel is too dark to say.
#[must_use]
pub fn log_light(rgb: [f64; 3]) -> Option<[f64; 3]> {
    rgb.iter()
        .all(|v| v.is_finite() && *v > USABLE.0)
        .then(|| rgb.map(|v| ((v + 0.099) / 1.099).ln() / 0.45))
}

/// The signal of a light: what undoes [`log_light`].
#[must_use]
pub fn signal_of_log_light(light: [f64; 3]) -> [f64; 3] {
    light.map(|l| 1.099 * (0.45 * l).exp() - 0.099)
}

/// The light of every cell; `None` where it is not compared.
type Cells = Vec<Option<[f64; 3]>>;

#[derive(Clone, Debug)]
struct Anchor {
    frame: u64,
    cells: Cells,
    /// Light over the first frame of the part.
    light: [f64; 3],
}

/// Reads the background of the frames of a shot, in their order.
#[derive(Clone, Debug)]
pub struct BackgroundMeter {
    width: usize,
    height: usize,
    columns: usize,
    rows: usize,
    /// Frames of a second.
    second: u64,
    coefficients: Coefficients,
    anchor: Option<Anchor>,
    part: u32,
    readings: Vec<BackgroundReading>,
}

impl BackgroundMeter {
    /// A meter for pictures of a size, of so many frames a second.
    #[must_use]
    pub fn new(width: usize, height: usize, rate: f64, coefficients: Coefficients) -> Self {
        Self {
            width,
            height,
            columns: CELLS.0.min(width.max(1)),
            rows: CELLS.1.min(height.max(1)),
            second: if rate.is_finite() {
                rate.round().clamp(1.0, 240.0) as u64
            } else {
                25
            },
            coefficients,
            anchor: None,
            part: 0,
            readings: Vec::new(),
        }
    }

    /// Takes the next frame. `read` gives the working signal of a region one row high; `left_out` are the parts that are
    /// no background: what skin may lie in, bars of a matte, titles.
    pub fn add(&mut self, frame: u64, mut read: impl FnMut(Region) -> Rgb, left_out: &[Region]) {
        let Some((cells, level)) = self.cells(&mut read, left_out) else {
            return;
        };
        let reading = match &self.anchor {
            None => None,
            Some(anchor) => self
                .compared(anchor, &cells)
                .filter(|(_, still)| *still >= STILL),
        };
        let (light, still) = match (reading, &self.anchor) {
            (Some((change, still)), Some(anchor)) => (
                Some(std::array::from_fn(|c| anchor.light[c] + change[c])),
                still,
            ),
            _ => (None, 0.0),
        };
        let usable = cells.iter().flatten().count() >= FEWEST;
        let age = self
            .anchor
            .as_ref()
            .map(|anchor| frame.saturating_sub(anchor.frame));
        let (light, still) = match (light, age) {
            (Some(light), Some(age)) => {
                if age >= self.second && usable {
                    self.anchor = Some(Anchor {
                        frame,
                        cells,
                        light,
                    });
                }
                (Some(light), still)
            }
            // Nothing can be told for a second: what follows is another background.
            (_, age) if usable && age.is_none_or(|age| age > self.second) => {
                self.part += u32::from(age.is_some());
                self.anchor = Some(Anchor {
                    frame,
                    cells,
                    light: [0.0; 3],
                });
                (Some([0.0; 3]), 1.0)
            }
            _ => (None, still),
        };
        self.readings.push(BackgroundReading {
            frame,
            level,
            light,
            still,
            part: self.part,
        });
    }

    /// One reading a frame.
    #[must_use]
    pub fn finish(self) -> Vec<BackgroundReading> {
        self.readings
    }

    /// The light of the cells, and the mean luma of the picture.
    fn cells(
        &self,
        read: &mut impl FnMut(Region) -> Rgb,
        left_out: &[Region],
    ) -> Option<(Cells, f64)> {
        let mut sums = vec![[0.0f64; 3]; self.columns * self.rows];
        let mut counts = vec![0u32; self.columns * self.rows];
        for row in 0..self.rows {
            let (from, to) = (
                row * self.height / self.rows,
                (row + 1) * self.height / self.rows,
            );
            for line in 0..LINES.min(to - from) {
                let y = from + (2 * line + 1) * (to - from) / (2 * LINES.min(to - from));
                let picture = read(Region {
                    x: 0,
                    y,
                    width: self.width,
                    height: 1,
                });
                if picture.width != self.width || picture.height != 1 {
                    return None;
                }
                for column in 0..self.columns {
                    let span = column * self.width / self.columns
                        ..(column + 1) * self.width / self.columns;
                    let cell = row * self.columns + column;
                    counts[cell] += span.len() as u32;
                    for (sum, plane) in sums[cell].iter_mut().zip(&picture.planes) {
                        *sum += f64::from(plane[span.clone()].iter().sum::<f32>());
                    }
                }
            }
        }
        let means: Vec<[f64; 3]> = sums
            .iter()
            .zip(&counts)
            .map(|(sum, count)| sum.map(|v| v / f64::from((*count).max(1))))
            .collect();
        let level = means
            .iter()
            .map(|rgb| self.coefficients.luma(*rgb))
            .sum::<f64>()
            / means.len() as f64;
        let cells = means
            .iter()
            .enumerate()
            .map(|(cell, rgb)| {
                let (column, row) = (cell % self.columns, cell / self.columns);
                let (x, y) = (
                    column * self.width / self.columns..(column + 1) * self.width / self.columns,
                    row * self.height / self.rows..(row + 1) * self.height / self.rows,
                );
                let touched = left_out.iter().any(|r| {
                    r.x < x.end
                        && x.start < r.x + r.width
                        && r.y < y.end
                        && y.start < r.y + r.height
                });
                if touched || rgb.iter().any(|v| *v > USABLE.1) {
                    return None;
                }
                log_light(*rgb)
            })
            .collect();
        Some((cells, level))
    }

    /// Change of the light since an anchor, and the share of the cells that is still.
    fn compared(&self, anchor: &Anchor, cells: &Cells) -> Option<([f64; 3], f64)> {
        let both: Vec<Option<[f64; 3]>> = cells
            .iter()
            .zip(&anchor.cells)
            .map(|(now, then)| Some(difference((*now)?, (*then)?)))
            .collect();
        let luma: Vec<Option<f64>> = both
            .iter()
            .map(|change| change.map(|change| self.coefficients.luma(change)))
            .collect();
        let mut all: Vec<f64> = luma.iter().flatten().copied().collect();
        if all.len() < FEWEST {
            return None;
        }
        let whole = median(&mut all)?;
        let allowed = DETAIL.0 + DETAIL.1 * whole.abs();
        let still: Vec<[f64; 3]> = both
            .iter()
            .enumerate()
            .filter_map(|(cell, change)| {
                let change = (*change)?;
                let around = self.around(cell, &luma)?;
                ((self.coefficients.luma(change) - around).abs() <= allowed).then_some(change)
            })
            .collect();
        let share = still.len() as f64 / all.len() as f64;
        let mut lumas: Vec<f64> = still
            .iter()
            .map(|change| self.coefficients.luma(*change))
            .collect();
        let Some(middle) = median(&mut lumas) else {
            return Some(([0.0; 3], 0.0));
        };
        for luma in &mut lumas {
            *luma = (*luma - middle).abs();
        }
        if median(&mut lumas)? > APART.0 + APART.1 * middle.abs() {
            return Some(([0.0; 3], 0.0));
        }
        let mut light = [0.0; 3];
        for (c, light) in light.iter_mut().enumerate() {
            let mut channel: Vec<f64> = still.iter().map(|change| change[c]).collect();
            *light = median(&mut channel)?;
        }
        Some((light, share))
    }

    /// Mean change of the cells beside one; `None` where there are none to compare with.
    fn around(&self, cell: usize, luma: &[Option<f64>]) -> Option<f64> {
        let (column, row) = (cell % self.columns, cell / self.columns);
        let (mut sum, mut count) = (0.0, 0u32);
        let mut take = |column: usize, row: usize| {
            if let Some(value) = luma[row * self.columns + column] {
                sum += value;
                count += 1;
            }
        };
        if column > 0 {
            take(column - 1, row);
        }
        if column + 1 < self.columns {
            take(column + 1, row);
        }
        if row > 0 {
            take(column, row - 1);
        }
        if row + 1 < self.rows {
            take(column, row + 1);
        }
        (count > 0).then(|| sum / f64::from(count))
    }
}

fn difference(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|c| a[c] - b[c])
}

fn median(values: &mut [f64]) -> Option<f64> {
    crate::statistics::median(values)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Random;

    const SIZE: (usize, usize) = (320, 180);

    /// A wall with things on it, as light: smooth shapes of several sizes, seen from `shift` pixels further right.
    fn wall(x: f64, y: f64, shift: f64) -> [f64; 3] {
        let x = x + shift;
        // Waves whose lengths have no common multiple near: nothing repeats within a pan.
        let shape = 0.5
            + 0.14 * (x / 11.0).sin() * (y / 13.0).cos()
            + 0.12 * (x / 37.0 + y / 29.0).sin()
            + 0.12 * (x / 17.3 - y / 21.0).sin();
        [shape, 0.9 * shape, 0.75 * shape]
    }

    /// What a camera makes of it, with noise of a hundredth.
    fn shot(random: &mut Random, light: impl Fn(f64, f64) -> [f64; 3], shift: f64) -> Rgb {
        let mut picture = Rgb::new(SIZE.0, SIZE.1);
        for i in 0..SIZE.0 * SIZE.1 {
            let (x, y) = ((i % SIZE.0) as f64, (i / SIZE.0) as f64);
            let (gain, seen) = (light(x, y), wall(x, y, shift));
            let rgb: [f64; 3] = std::array::from_fn(|c| {
                1.099 * (gain[c] * seen[c]).powf(0.45) - 0.099 + 0.01 * random.normal()
            });
            picture.set_pixel(i, rgb.map(|v| v as f32));
        }
        picture
    }

    fn read(frames: impl Iterator<Item = Rgb>) -> Vec<BackgroundReading> {
        let mut meter = BackgroundMeter::new(SIZE.0, SIZE.1, 25.0, Coefficients::Bt709);
        for (frame, picture) in frames.enumerate() {
            meter.add(frame as u64, |region| row(&picture, region), &[]);
        }
        meter.finish()
    }

    fn row(picture: &Rgb, region: Region) -> Rgb {
        let span = region.y * picture.width..(region.y + 1) * picture.width;
        Rgb {
            width: picture.width,
            height: 1,
            planes: picture.planes.each_ref().map(|p| p[span.clone()].to_vec()),
        }
    }

    /// Light that goes down to 0.6 and turns blue, over three seconds and so over several anchors.
    #[test]
    fn light_that_changes_is_read_as_it_changes() {
        let mut random = Random::new(5);
        let gain = |t: f64| [1.0 - 0.4 * t, 1.0 - 0.38 * t, 1.0 - 0.33 * t];
        let readings = read((0..75).map(|f| {
            let gain = gain(f64::from(f) / 74.0);
            shot(&mut random, |_, _| gain, 0.0)
        }));
        for reading in &readings {
            let expected = gain(reading.frame as f64 / 74.0).map(f64::ln);
            let light = reading.light.unwrap();
            for (found, expected) in light.iter().zip(expected) {
                assert!(
                    (found - expected).abs() < 0.01,
                    "{}: {found} {expected}",
                    reading.frame
                );
            }
            assert_eq!(reading.part, 0);
        }
    }

    /// Somebody walks through a quarter of the picture in steady light: nothing changes.
    #[test]
    fn somebody_who_moves_is_no_change_of_light() {
        let mut random = Random::new(6);
        let readings = read((0..60).map(|f| {
            let at = 4.0 * f64::from(f);
            shot(
                &mut random,
                |x, _| {
                    if (x - at).abs() < 40.0 {
                        [0.25, 0.2, 0.2]
                    } else {
                        [1.0; 3]
                    }
                },
                0.0,
            )
        }));
        for reading in &readings {
            let light = reading.light.unwrap();
            assert!(
                light.iter().all(|v| v.abs() < 0.012),
                "{}: {light:?}",
                reading.frame
            );
        }
    }

    /// A pan: after some frames there is nothing left to compare with, and no stretch that can be compared is long. (A course
    /// needs two thirds of a shot in one part.)
    #[test]
    fn a_pan_falls_into_short_parts() {
        let mut random = Random::new(7);
        let readings =
            read((0..75).map(|f| shot(&mut random, |_, _| [1.0; 3], 3.0 * f64::from(f))));
        let parts = readings.last().unwrap().part;
        assert!(parts >= 2, "{parts}");
        for part in 0..=parts {
            let told: Vec<[f64; 3]> = readings
                .iter()
                .filter(|reading| reading.part == part)
                .filter_map(|reading| reading.light)
                .collect();
            assert!(told.len() < 15, "{part}: {}", told.len());
            assert!(told.iter().flatten().all(|v| v.abs() < 0.05), "{told:?}");
        }
    }

    /// Skin and what is left out are not looked at, whatever happens there.
    #[test]
    fn what_is_left_out_does_not_count() {
        let mut random = Random::new(8);
        let mut meter = BackgroundMeter::new(SIZE.0, SIZE.1, 25.0, Coefficients::Bt709);
        let out = Region {
            x: 0,
            y: 0,
            width: 220,
            height: 180,
        };
        for frame in 0..20u64 {
            let gain = 1.0 + 0.05 * frame as f64;
            let picture = shot(
                &mut random,
                |x, _| if x < 220.0 { [gain / 2.0; 3] } else { [1.0; 3] },
                0.0,
            );
            meter.add(frame, |region| row(&picture, region), &[out]);
        }
        for reading in meter.finish() {
            assert!(reading.light.unwrap().iter().all(|v| v.abs() < 0.012));
        }
    }

    #[test]
    fn light_and_signal_undo_each_other() {
        let rgb = [0.06, 0.5, 1.05];
        let back = signal_of_log_light(log_light(rgb).unwrap());
        for (a, b) in rgb.iter().zip(back) {
            assert!((a - b).abs() < 1e-12);
        }
        assert_eq!(log_light([0.5, 0.01, 0.5]), None);
        // BT.709-6 item 1.2: a signal of 1 stands for a light of 1.
        assert!(log_light([1.0; 3]).unwrap()[0].abs() < 1e-12);
    }
}
