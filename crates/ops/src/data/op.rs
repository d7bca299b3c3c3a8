//! Any one operation.

use super::cdl::Cdl;
use super::invalid::Invalid;
use super::keyed::KeyedCdl;
use super::limiter::Limiter;
use super::lut::Lut3d;
use super::process::Process;
use super::shoulder::Shoulder;
use serde::{Deserialize, Serialize};

/// One step of a chain. In JSON: its parameters and `"op"`, the kind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "op", rename_all = "snake_case")]
pub enum Op {
    /// Slope, offset, power, saturation.
    Cdl(Cdl),
    /// Roll-off of the lights.
    Shoulder(Shoulder),
    /// A CDL on one range of colours.
    KeyedCdl(KeyedCdl),
    /// A table.
    Lut(Lut3d),
    /// What a transform file holds.
    Process(Process),
    /// Limits of delivery.
    Limiter(Limiter),
}

impl Op {
    /// The kind, as it is written in JSON.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Cdl(_) => "cdl",
            Self::Shoulder(_) => "shoulder",
            Self::KeyedCdl(_) => "keyed_cdl",
            Self::Lut(_) => "lut",
            Self::Process(_) => "process",
            Self::Limiter(_) => "limiter",
        }
    }

    /// Checks every parameter.
    ///
    /// # Errors
    /// The first parameter outside its range, with the kind before its name.
    pub fn validate(&self) -> Result<(), Invalid> {
        match self {
            Self::Cdl(op) => op.validate(),
            Self::Shoulder(op) => op.validate(),
            Self::KeyedCdl(op) => op.validate(),
            Self::Lut(op) => op.validate(),
            Self::Process(op) => op.validate(),
            Self::Limiter(op) => op.validate(),
        }
        .map_err(|e| e.inside(self.kind()))
    }

    /// Whether it changes nothing (a table: nothing inside its domain).
    #[must_use]
    pub fn is_identity(&self) -> bool {
        match self {
            Self::Cdl(op) => op.is_identity(),
            Self::Shoulder(op) => op.is_identity(),
            Self::KeyedCdl(op) => op.is_identity(),
            Self::Lut(op) => op.is_identity(),
            Self::Process(op) => op.is_identity(),
            // It always changes something somewhere.
            Self::Limiter(_) => false,
        }
    }
}
