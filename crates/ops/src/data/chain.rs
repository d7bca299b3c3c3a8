//! The operations of one shot, in their places.

use super::invalid::Invalid;
use super::op::Op;
use serde::{Deserialize, Serialize};

/// Input transform → fix → look → output, each place a list applied in order; empty lists do nothing.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chain {
    /// Brings a clip's own signal (camera log, other coding) to the working signal.
    #[serde(default)]
    pub input: Vec<Op>,
    /// The correction.
    #[serde(default)]
    pub fix: Vec<Op>,
    /// A creative look over the corrected picture.
    #[serde(default)]
    pub look: Vec<Op>,
    /// What delivery demands, last of all: limits.
    #[serde(default)]
    pub output: Vec<Op>,
}

impl Chain {
    /// A chain with a fix alone.
    #[must_use]
    pub fn of_fix(fix: Vec<Op>) -> Self {
        Self {
            fix,
            ..Self::default()
        }
    }

    /// The fix alone, without input transform and look: what exports hand on.
    #[must_use]
    pub fn fix_alone(&self) -> Self {
        Self::of_fix(self.fix.clone())
    }

    /// Every operation, from input to output.
    pub fn ops(&self) -> impl Iterator<Item = &Op> {
        [&self.input, &self.fix, &self.look, &self.output]
            .into_iter()
            .flatten()
    }

    /// Whether nothing is changed anywhere. A table counts as changing something even where it maps
    /// every node to itself, since it clamps to its domain.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.ops()
            .all(|op| op.is_identity() && !matches!(op, Op::Lut(_)))
    }

    /// Checks every operation.
    ///
    /// # Errors
    /// The first parameter outside its range, with its place: `fix[0].cdl.slope[2]`.
    pub fn validate(&self) -> Result<(), Invalid> {
        for (place, ops) in [
            ("input", &self.input),
            ("fix", &self.fix),
            ("look", &self.look),
            ("output", &self.output),
        ] {
            for (index, op) in ops.iter().enumerate() {
                op.validate()
                    .map_err(|e| e.inside(&format!("{place}[{index}]")))?;
            }
        }
        Ok(())
    }
}
