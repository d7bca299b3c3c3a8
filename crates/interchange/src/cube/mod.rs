//! Look-up tables as text (`.cube`).
//!
//! Lines of `#` comments, `TITLE "…"`, `LUT_1D_SIZE n` or `LUT_3D_SIZE n`, `DOMAIN_MIN r g b` and
//! `DOMAIN_MAX r g b` (0 and 1 where absent), then one line of three numbers a node, red fastest and
//! blue slowest. Values may lie outside 0–1. Source: the description of the format in OpenColorIO's
//! reader (BSD-3-Clause); the original specification was not at hand.

mod read;
mod write;

use inkarnat_ops::Lut3d;

/// What a file holds besides its numbers, and the numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct CubeFile {
    /// The name in the file; empty where there is none. One line without double quotes.
    pub title: String,
    /// Comment lines before the table, without `#`.
    pub comments: Vec<String>,
    /// The numbers.
    pub table: Table,
}

/// The two kinds of table that the format knows.
#[derive(Clone, Debug, PartialEq)]
pub enum Table {
    /// One curve a channel.
    OneD(Lut1d),
    /// A grid of colours.
    ThreeD(Lut3d),
}

/// One curve a channel, sampled at equal distances.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut1d {
    /// Signal at the first sample of R', G', B'.
    pub domain_min: [f64; 3],
    /// Signal at the last sample of R', G', B'.
    pub domain_max: [f64; 3],
    /// At least two samples R', G', B'.
    pub table: Vec<[f32; 3]>,
}

impl Lut1d {
    /// The largest number of samples that is read.
    pub const MAX_SIZE: usize = 65_536;

    /// The colour after the curves, linearly interpolated; input clamped to the domain, NaN taken as
    /// its minimum.
    #[must_use]
    pub fn sample(&self, rgb: [f64; 3]) -> [f64; 3] {
        let last = self.table.len() - 1;
        std::array::from_fn(|c| {
            let (min, max) = (self.domain_min[c], self.domain_max[c]);
            let place = ((rgb[c] - min) / (max - min) * last as f64)
                .max(0.0)
                .min(last as f64);
            let low = (place as usize).min(last - 1);
            let (a, b) = (
                f64::from(self.table[low][c]),
                f64::from(self.table[low + 1][c]),
            );
            a + (b - a) * (place - low as f64)
        })
    }

    /// The curves as a grid over the same domain. Exact at its nodes only.
    #[must_use]
    pub fn to_3d(&self, size: usize) -> Lut3d {
        let mut lut = Lut3d::identity(size, self.domain_min, self.domain_max);
        lut.table = lut
            .nodes()
            .map(|node| self.sample(node).map(|v| v as f32))
            .collect();
        lut
    }
}

/// Where in the chain input transform → fix → look → output a table belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The correction alone: after the input transform, before any look.
    Fix,
    /// The correction and the limiter: where no look comes between them.
    FixAndLimiter,
    /// The correction and the look over it.
    FixAndLook,
    /// The clip's input transform and the correction: before any look.
    InputAndFix,
    /// Everything, from the clip's own signal to the output.
    Whole,
}

/// Why a `.cube` file cannot be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("line {line}: {found}; expected {expected}")]
pub struct CubeError {
    /// The line, counted from 1.
    pub line: usize,
    /// What stands there.
    pub found: String,
    /// What should.
    pub expected: String,
}
