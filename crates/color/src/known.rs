//! Facts about a file that may be tagged, assumed by a written rule, or unknown.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A fact together with where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "known", rename_all = "snake_case")]
pub enum Known<T> {
    /// The file says so.
    Tagged {
        /// What the file says.
        value: T,
    },
    /// The file is silent; a written rule fills the gap, and the report says so.
    Assumed {
        /// What the rule gives.
        value: T,
        /// The rule, in a few words for the editor.
        reason: String,
    },
    /// The editor said so.
    Stated {
        /// What the editor said.
        value: T,
    },
}

impl<T> Known<T> {
    /// The fact, wherever it comes from.
    pub fn value(&self) -> &T {
        match self {
            Self::Tagged { value } | Self::Assumed { value, .. } | Self::Stated { value } => value,
        }
    }

    /// The rule that filled a gap, if one did.
    pub fn assumption(&self) -> Option<&str> {
        match self {
            Self::Assumed { reason, .. } => Some(reason),
            _ => None,
        }
    }
}

impl<T: fmt::Display> fmt::Display for Known<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tagged { value } => write!(f, "{value}"),
            Self::Stated { value } => write!(f, "{value} (stated)"),
            Self::Assumed { value, reason } => write!(f, "{value} (assumed: {reason})"),
        }
    }
}
