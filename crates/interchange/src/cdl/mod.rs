//! ASC CDL as XML: `.cc` (one correction), `.ccc` (a collection), `.cdl` (a decision list).
//!
//! ```text
//! .cc    ColorCorrection
//! .ccc   ColorCorrectionCollection > ColorCorrection*
//! .cdl   ColorDecisionList > ColorDecision* > (MediaRef?, ColorCorrection)
//! ```
//!
//! with `ColorCorrection@id > (InputDescription, ViewingDescription, Description, SOPNode, SatNode)`,
//! `SOPNode > (Description*, Slope, Offset, Power)`, `SatNode > (Description*, Saturation)`. Source:
//! OpenColorIO's readers and test files (BSD-3-Clause); the ASC document itself was not at hand.

mod read;
mod write;

use inkarnat_ops::{Cdl, Invalid};

/// The namespace that is written. Any is read: files with `urn:ASC:CDL:v1.2` exist.
pub const NAMESPACE: &str = "urn:ASC:CDL:v1.01";

/// The three forms of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// `.cc`: exactly one correction.
    Cc,
    /// `.ccc`: any number of corrections, told apart by id.
    Ccc,
    /// `.cdl`: any number of corrections, each with the medium that it belongs to.
    Cdl,
}

impl Form {
    /// All forms, for tests that loop over every one.
    pub const ALL: [Self; 3] = [Self::Cc, Self::Ccc, Self::Cdl];

    /// The file name's extension, without the dot.
    #[must_use]
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Cc => "cc",
            Self::Ccc => "ccc",
            Self::Cdl => "cdl",
        }
    }

    const fn root(self) -> &'static str {
        match self {
            Self::Cc => "ColorCorrection",
            Self::Ccc => "ColorCorrectionCollection",
            Self::Cdl => "ColorDecisionList",
        }
    }
}

/// One correction with what is written beside its numbers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Correction {
    /// Its id, unique in a file; empty where there is none.
    pub id: String,
    /// What it is, a paragraph each; written inside `SOPNode`, where readers look for it.
    pub descriptions: Vec<String>,
    /// What signal it takes; empty where nothing is said.
    pub input_description: String,
    /// What display it was judged for; empty where nothing is said.
    pub viewing_description: String,
    /// The medium that it belongs to (`.cdl` only); empty where nothing is said.
    pub media: String,
    /// The numbers.
    pub cdl: Cdl,
}

/// All that a file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct CdlFile {
    /// Which form it has.
    pub form: Form,
    /// Its corrections, in order.
    pub corrections: Vec<Correction>,
}

/// Why a file cannot be read or written.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CdlError {
    /// The file does not hold what it should.
    #[error("line {line}: {found}; expected {expected}")]
    File {
        /// The line, counted from 1.
        line: usize,
        /// What stands there.
        found: String,
        /// What should.
        expected: String,
    },
    /// Numbers outside their range.
    #[error("correction '{id}': {invalid}")]
    Numbers {
        /// Which correction.
        id: String,
        /// Which number.
        invalid: Invalid,
    },
    /// A `.cc` file holds one correction.
    #[error("{count} corrections given for one .cc file; expected 1: write a .ccc or .cdl file")]
    OneOnly {
        /// How many were given.
        count: usize,
    },
    /// Corrections are told apart by their ids.
    #[error("two corrections have the id '{id}'; expected a different one for each")]
    SameId {
        /// The id.
        id: String,
    },
    /// Text that XML cannot carry.
    #[error("correction '{id}': a control character in {what}; expected text")]
    ControlCharacter {
        /// Which correction.
        id: String,
        /// Which text.
        what: &'static str,
    },
}
