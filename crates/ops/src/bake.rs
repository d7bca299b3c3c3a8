//! A chain as one 3D LUT, with what that costs in exactness.

use crate::data::chain::Chain;
use crate::data::lut::{Lut3d, node};
use serde::{Deserialize, Serialize};

/// The range of signal that a table covers, the same for all three channels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Domain {
    /// Signal at the first node.
    pub min: f64,
    /// Signal at the last node.
    pub max: f64,
}

impl Domain {
    /// 0–1: what every receiver of a table reads. Excursions are lost.
    pub const UNIT: Self = Self { min: 0.0, max: 1.0 };

    /// −2/27…10/9: covers the excursions of narrow-range video (−7.3 %…109.5 % in 8 and 10 bit), and
    /// 0 falls on a node of tables of 17, 33 and 65.
    pub const WIDE: Self = Self {
        min: -2.0 / 27.0,
        max: 10.0 / 9.0,
    };
}

/// How far a table is from the chain that it was baked from, in signal units (1 = reference white),
/// as the largest difference of the three channels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct BakeError {
    /// The largest difference.
    pub max: f64,
    /// The mean over all probed colours.
    pub mean: f64,
    /// The colour with the largest difference.
    pub at: [f64; 3],
}

/// A baked table and its error.
#[derive(Clone, Debug, PartialEq)]
pub struct Baked {
    /// The table.
    pub lut: Lut3d,
    /// Measured on a grid of twice the density: every node, and the middle of every edge, face and
    /// cell between them.
    pub error: BakeError,
}

impl Chain {
    /// The whole chain as one table of `size³` nodes over a domain.
    ///
    /// `size` is 2–256; other sizes give a table that [`Lut3d::validate`] refuses.
    #[must_use]
    pub fn bake(&self, size: usize, domain: Domain) -> Baked {
        let mut lut = Lut3d {
            size,
            domain_min: [domain.min; 3],
            domain_max: [domain.max; 3],
            table: Vec::new(),
        };
        lut.table = lut
            .nodes()
            .map(|node| self.apply_pixel(node).map(|v| v as f32))
            .collect();
        let error = self.difference(&lut);
        Baked { lut, error }
    }

    /// The fix alone as one table: what exports hand on.
    #[must_use]
    pub fn bake_fix(&self, size: usize, domain: Domain) -> Baked {
        self.fix_alone().bake(size, domain)
    }

    /// How far a table is from this chain, over a grid of twice its density.
    #[must_use]
    pub fn difference(&self, lut: &Lut3d) -> BakeError {
        if lut.size < Lut3d::MIN_SIZE {
            return BakeError::default();
        }
        let places = 2 * lut.size - 1;
        let at = |c: usize, place| node(place, places, lut.domain_min[c], lut.domain_max[c]);
        let mut error = BakeError::default();
        let mut sum = 0.0;
        for b in 0..places {
            for g in 0..places {
                for r in 0..places {
                    let rgb = [at(0, r), at(1, g), at(2, b)];
                    let (exact, table) = (self.apply_pixel(rgb), lut.sample(rgb));
                    let off = (0..3)
                        .map(|c| (exact[c] - table[c]).abs())
                        .fold(0.0, f64::max);
                    sum += off;
                    if off > error.max {
                        (error.max, error.at) = (off, rgb);
                    }
                }
            }
        }
        error.mean = sum / (places as f64).powi(3);
        error
    }
}
