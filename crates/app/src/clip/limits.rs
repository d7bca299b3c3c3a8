//! Every frame held against the limits of delivery.

use inkarnat_color::picture::{Model, Native, Region, RowScratch};
use inkarnat_color::{Coefficients, Rgb};
use inkarnat_media::Frame;
use inkarnat_reading::{FrameLimits, LimitMeter, Outside, ShotLimits};
use rayon::prelude::*;

/// Rows of a band.
const BAND: usize = 64;

/// Holds the frames of one file against EBU R 103, before or after.
pub(crate) struct LimitReader {
    meter: LimitMeter,
    frames: Vec<FrameLimits>,
}

impl LimitReader {
    /// The luma of R'G'B' pictures is that of the film's working space.
    pub(crate) fn new(
        format: inkarnat_color::picture::PixelFormat,
        otherwise: Coefficients,
    ) -> Self {
        let coefficients = match format.model {
            Model::Ycbcr(coefficients) => coefficients,
            Model::Rgb | Model::Grey => otherwise,
        };
        Self {
            meter: LimitMeter::new(format.depth, coefficients),
            frames: Vec::new(),
        }
    }

    /// Takes a frame; `number` is the source frame that it is or was made of.
    pub(crate) fn add(&mut self, number: u64, frame: &Frame) {
        let native = frame.native();
        // Lines of the same field are neighbours.
        let step = if frame.interlaced() { 2 } else { 1 };
        let outside = (0..native.height.div_ceil(BAND))
            .into_par_iter()
            .map(|band| self.band(&native, band * BAND, step))
            .collect::<Vec<Outside>>()
            .into_iter()
            .fold(Outside::default(), |sum, band| sum + band);
        self.frames.push(FrameLimits::of(number, &outside));
    }

    /// A band with the rows around it that the filter looks at.
    fn band(&self, native: &Native<'_>, first: usize, step: usize) -> Outside {
        let end = (first + BAND).min(native.height);
        let (from, to) = (first.saturating_sub(step), (end + step).min(native.height));
        let region = Region {
            x: 0,
            y: from,
            width: native.width,
            height: to - from,
        };
        let mut rgb = Rgb::new(region.width, region.height);
        let mut scratch = RowScratch::default();
        for row in 0..region.height {
            let span = row * region.width..(row + 1) * region.width;
            let [r, g, b] = &mut rgb.planes;
            native.rgb_row(
                region,
                row,
                &mut scratch,
                [&mut r[span.clone()], &mut g[span.clone()], &mut b[span]],
            );
        }
        self.meter.count(&rgb, first - from..end - from, step)
    }

    pub(crate) fn summed_up(self) -> ShotLimits {
        ShotLimits::of(self.frames)
    }
}
