//! Operations and chains on one colour.

use crate::data::chain::Chain;
use crate::data::op::Op;

impl Op {
    /// The colour after this operation.
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Cdl(op) => op.apply(rgb),
            Self::Shoulder(op) => op.apply(rgb),
            Self::KeyedCdl(op) => op.apply(rgb),
            Self::Lut(op) => op.sample(rgb),
            Self::Process(op) => op.apply(rgb),
            Self::Limiter(op) => op.apply(rgb),
        }
    }

    /// The colour before this operation; `None` where it cannot be undone (a keyed CDL, a table, a
    /// transform file, a limiter, a CDL with a slope or saturation of 0).
    #[must_use]
    pub fn apply_inverse(&self, rgb: [f64; 3]) -> Option<[f64; 3]> {
        match self {
            Self::Cdl(op) => Some(op.inverse()?.apply(rgb)),
            Self::Shoulder(op) => Some(op.apply_inverse(rgb)),
            Self::KeyedCdl(_) | Self::Lut(_) | Self::Process(_) | Self::Limiter(_) => None,
        }
    }
}

impl Chain {
    /// The colour after every place of the chain.
    #[must_use]
    pub fn apply_pixel(&self, rgb: [f64; 3]) -> [f64; 3] {
        self.ops().fold(rgb, |rgb, op| op.apply(rgb))
    }
}
