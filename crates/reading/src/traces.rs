//! The signal of a picture, or of a part of it, as densities: waveform, R'G'B' parade, chroma plane and histogram.
//!
//! Each holds counts of pixels, not brightness: whoever draws them chooses the scale. The picture may be a part of a
//! larger one; columns of the waveform are columns of the part.

use inkarnat_color::{Coefficients, Rgb};

/// Range of level that waveform, parade and histogram cover, signal units: the excursions of narrow-range video and a
/// little more, so that nothing that a file can hold falls outside.
pub const LEVEL_RANGE: (f64, f64) = (-0.1, 1.1);

/// Range of Cb and of Cr on the chroma plane, ±. Signals beyond it are counted at its edge.
pub const CHROMA_RANGE: f64 = 0.55;

/// Rows of waveform and parade, and cells of a histogram.
pub const LEVELS: usize = 240;

/// Columns of a waveform; each channel of a parade has a third.
pub const COLUMNS: usize = 360;

/// Cells of the chroma plane along each side.
pub const CHROMA_CELLS: usize = 256;

/// Counts of pixels on a grid, row by row from the top: row 0 is the highest level, or the highest Cr.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Density {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Pixels in each cell.
    pub counts: Vec<u32>,
}

impl Density {
    fn new(columns: usize, rows: usize) -> Self {
        Self {
            columns,
            rows,
            counts: vec![0; columns * rows],
        }
    }

    fn add(&mut self, column: usize, row: usize) {
        self.counts[row * self.columns + column] += 1;
    }

    /// All pixels counted.
    #[must_use]
    pub fn total(&self) -> u64 {
        self.counts.iter().map(|count| u64::from(*count)).sum()
    }
}

/// Every density of one picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Traces {
    /// Luma Y' by column: [`COLUMNS`] × [`LEVELS`].
    pub waveform: Density,
    /// R', G' and B' by column, side by side: three times a third of [`COLUMNS`], [`LEVELS`] rows.
    pub parade: [Density; 3],
    /// Cb to the right, Cr up: [`CHROMA_CELLS`] squared.
    pub chroma: Density,
    /// Pixels by level of R', G', B' and Y', lowest level first: [`LEVELS`] each.
    pub histogram: [Vec<u32>; 4],
}

/// Which cell a level falls in, from the lowest; what is outside the range is counted at its edge.
fn level_cell(level: f64) -> usize {
    let (low, high) = LEVEL_RANGE;
    cell((level - low) / (high - low), LEVELS)
}

/// Which of `cells` a share of 0–1 falls in. NaN falls in the first.
fn cell(share: f64, cells: usize) -> usize {
    ((share * cells as f64).max(0.0) as usize).min(cells - 1)
}

/// The densities of a picture; with `chosen`, of those of its pixels alone (row-major indices).
///
/// # Panics
/// If an index lies outside the picture.
#[must_use]
pub fn traces(picture: &Rgb, chosen: Option<&[u32]>, coefficients: Coefficients) -> Traces {
    let third = COLUMNS / 3;
    let mut found = Traces {
        waveform: Density::new(COLUMNS, LEVELS),
        parade: std::array::from_fn(|_| Density::new(third, LEVELS)),
        chroma: Density::new(CHROMA_CELLS, CHROMA_CELLS),
        histogram: std::array::from_fn(|_| vec![0; LEVELS]),
    };
    let mut add = |index: usize| {
        let across = (index % picture.width) as f64 / picture.width as f64;
        let rgb = picture.pixel(index).map(f64::from);
        let ycc = coefficients.ycbcr_from_rgb(rgb);
        let luma = level_cell(ycc.y);
        found.waveform.add(cell(across, COLUMNS), LEVELS - 1 - luma);
        found.histogram[3][luma] += 1;
        for (c, value) in rgb.into_iter().enumerate() {
            let level = level_cell(value);
            found.parade[c].add(cell(across, third), LEVELS - 1 - level);
            found.histogram[c][level] += 1;
        }
        let place = |v: f64| cell((v + CHROMA_RANGE) / (2.0 * CHROMA_RANGE), CHROMA_CELLS);
        let row = CHROMA_CELLS - 1 - place(ycc.cr);
        found.chroma.add(place(ycc.cb), row);
    };
    match chosen {
        Some(chosen) => chosen.iter().for_each(|index| add(*index as usize)),
        None => (0..picture.width * picture.height).for_each(&mut add),
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(rgb: [f32; 3], width: usize, height: usize) -> Rgb {
        let mut picture = Rgb::new(width, height);
        for index in 0..width * height {
            picture.set_pixel(index, rgb);
        }
        picture
    }

    fn only_cell(density: &Density) -> (usize, usize) {
        let index = density
            .counts
            .iter()
            .position(|count| *count > 0)
            .expect("something was counted");
        (index % density.columns, index / density.columns)
    }

    /// The middle of the cell, as level.
    fn level_of_row(row: usize) -> f64 {
        let (low, high) = LEVEL_RANGE;
        low + (LEVELS as f64 - row as f64 - 0.5) / LEVELS as f64 * (high - low)
    }

    #[test]
    fn every_pixel_is_counted_once_in_each() {
        let mut picture = Rgb::new(31, 17);
        for index in 0..31 * 17 {
            // Excursions, nonsense and ordinary values.
            let v = index as f32 / 300.0 - 0.4;
            picture.set_pixel(
                index,
                [v, 1.0 - v, if index == 5 { f32::NAN } else { v * v }],
            );
        }
        let all = traces(&picture, None, Coefficients::Bt709);
        for density in all.parade.iter().chain([&all.waveform, &all.chroma]) {
            assert_eq!(density.total(), 31 * 17);
        }
        for histogram in &all.histogram {
            assert_eq!(
                histogram.iter().map(|c| u64::from(*c)).sum::<u64>(),
                31 * 17
            );
        }
        let some = traces(&picture, Some(&[3, 4, 500]), Coefficients::Bt709);
        assert_eq!(some.waveform.total(), 3);
        assert_eq!(some.chroma.total(), 3);
    }

    #[test]
    fn a_flat_picture_stands_at_its_level_and_chroma() {
        let rgb = [0.66f32, 0.49, 0.40];
        let found = traces(&flat(rgb, 4, 4), Some(&[0]), Coefficients::Bt709);
        let expected = Coefficients::Bt709.ycbcr_from_rgb(rgb.map(f64::from));
        let half_cell = 0.5 * (LEVEL_RANGE.1 - LEVEL_RANGE.0) / LEVELS as f64 + 1e-9;
        let (_, row) = only_cell(&found.waveform);
        assert!((level_of_row(row) - expected.y).abs() <= half_cell);
        for (density, value) in found.parade.iter().zip(rgb) {
            let (_, row) = only_cell(density);
            assert!((level_of_row(row) - f64::from(value)).abs() <= half_cell);
        }
        let (column, row) = only_cell(&found.chroma);
        let step = 2.0 * CHROMA_RANGE / CHROMA_CELLS as f64;
        let cb = (column as f64 + 0.5) * step - CHROMA_RANGE;
        let cr = CHROMA_RANGE - (row as f64 + 0.5) * step;
        assert!((cb - expected.cb).abs() <= step / 2.0 + 1e-9, "{cb}");
        assert!((cr - expected.cr).abs() <= step / 2.0 + 1e-9, "{cr}");
    }

    #[test]
    fn a_ramp_climbs_from_left_to_right() {
        let mut picture = Rgb::new(360, 2);
        for index in 0..720 {
            let v = (index % 360) as f32 / 359.0;
            picture.set_pixel(index, [v, v, v]);
        }
        let found = traces(&picture, None, Coefficients::Bt709);
        let mean_row = |column: usize| {
            let counts =
                (0..LEVELS).map(|row| (row, found.waveform.counts[row * COLUMNS + column]));
            let (sum, n) = counts.fold((0.0, 0.0), |(s, n), (row, count)| {
                (s + row as f64 * f64::from(count), n + f64::from(count))
            });
            sum / n
        };
        for column in [10, 180, 350] {
            let expected = column as f64 / 359.0;
            assert!((level_of_row(mean_row(column).round() as usize) - expected).abs() < 0.006);
        }
    }
}
