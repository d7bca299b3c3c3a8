//! A table of colours on a regular grid.

use super::invalid::{Invalid, check};
use serde::{Deserialize, Serialize};

/// A 3D LUT: interpolated tetrahedrally, input clamped to its domain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lut3d {
    /// Nodes along each axis. Range: [`Self::MIN_SIZE`]–[`Self::MAX_SIZE`].
    pub size: usize,
    /// Signal at the first node of R', G', B'. Usually 0.
    pub domain_min: [f64; 3],
    /// Signal at the last node of R', G', B'. Range: above `domain_min`. Usually 1.
    pub domain_max: [f64; 3],
    /// `size³` values R', G', B', red fastest, blue slowest; any finite value.
    pub table: Vec<[f32; 3]>,
}

impl Lut3d {
    /// The smallest grid: its eight corners.
    pub const MIN_SIZE: usize = 2;

    /// The largest grid that is read or written; 256 nodes hold 16.7 million values.
    pub const MAX_SIZE: usize = 256;

    /// The table that leaves colours inside the domain as they are, up to rounding.
    #[must_use]
    pub fn identity(size: usize, domain_min: [f64; 3], domain_max: [f64; 3]) -> Self {
        let mut lut = Self {
            size,
            domain_min,
            domain_max,
            table: Vec::new(),
        };
        lut.table = lut.nodes().map(|node| node.map(|v| v as f32)).collect();
        lut
    }

    /// The colour at each node, in the order of the table.
    pub fn nodes(&self) -> impl Iterator<Item = [f64; 3]> + use<> {
        let (size, min, max) = (self.size, self.domain_min, self.domain_max);
        (0..size * size * size).map(move |index| {
            let place = [index % size, index / size % size, index / (size * size)];
            std::array::from_fn(|c| node(place[c], size, min[c], max[c]))
        })
    }

    /// Checks the size, the domain, the length of the table and every value.
    ///
    /// # Errors
    /// The first thing that does not fit.
    pub fn validate(&self) -> Result<(), Invalid> {
        if !(Self::MIN_SIZE..=Self::MAX_SIZE).contains(&self.size) {
            return Err(Invalid::new(
                "size",
                self.size,
                format!("{}–{}", Self::MIN_SIZE, Self::MAX_SIZE),
            ));
        }
        for c in 0..3 {
            let (min, max) = (self.domain_min[c], self.domain_max[c]);
            check(format!("domain_min[{c}]"), min, true, "a finite number")?;
            check(
                format!("domain_max[{c}]"),
                max,
                max > min,
                &format!("a finite number above domain_min[{c}], {min}"),
            )?;
        }
        let expected = self.size.pow(3);
        if self.table.len() != expected {
            return Err(Invalid::new(
                "table length",
                self.table.len(),
                format!("{expected} ({0}×{0}×{0})", self.size),
            ));
        }
        for (index, value) in self.table.iter().enumerate() {
            if let Some(bad) = value.iter().find(|v| !v.is_finite()) {
                return Err(Invalid::new(
                    format!("table[{index}]"),
                    bad,
                    "finite numbers",
                ));
            }
        }
        Ok(())
    }

    /// Whether every node maps to itself within half a unit of `f32` precision at 1.
    ///
    /// Such a table still clamps to its domain: it changes nothing inside it.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.table.len() == self.size.pow(3)
            && self.nodes().zip(&self.table).all(|(node, value)| {
                (0..3)
                    .all(|c| (node[c] - f64::from(value[c])).abs() <= f64::from(f32::EPSILON) / 2.0)
            })
    }
}

/// Signal at one node of one axis; the ends are exact.
pub(crate) fn node(place: usize, size: usize, min: f64, max: f64) -> f64 {
    if place + 1 == size {
        return max;
    }
    let part = place as f64 / (size - 1) as f64;
    min + (max - min) * part
}
