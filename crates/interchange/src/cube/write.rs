//! The text of a table.

use super::{CubeFile, Place, Table};
use inkarnat_color::WorkingSpace;
use inkarnat_ops::{BakeError, Lut3d};
use std::fmt::Write;

impl CubeFile {
    /// A table of a correction, with comments that say what it is made for: its place in the chain,
    /// the signal that it takes, what it does with signal beyond its domain, and how far it is from
    /// the exact operations.
    #[must_use]
    pub fn of_chain(
        title: &str,
        place: Place,
        space: WorkingSpace,
        lut: Lut3d,
        error: BakeError,
    ) -> Self {
        let from_clip = matches!(place, Place::InputAndFix | Place::Whole);
        let place = match place {
            Place::Fix => "the fix alone: after any input transform, before any look",
            Place::FixAndLimiter => {
                "fix and limiter: after any input transform, in place of the fix, where no look comes between the two"
            }
            Place::FixAndLook => "fix and look: after any input transform, before output",
            Place::InputAndFix => {
                "input transform and fix: from the clip's own signal, before any look"
            }
            Place::Whole => "everything: from the clip's own signal to the output",
        };
        let (min, max) = (lut.domain_min[0], lut.domain_max[0]);
        let comments = vec![
            format!("Place: {place}."),
            format!(
                "Signal{}: non-linear R'G'B', 0 = reference black, 1 = reference white; {} primaries, {} luma.",
                if from_clip {
                    " given (taken: the clip's own, 0 and 1 at black and white of its code range)"
                } else {
                    ""
                },
                space.primaries,
                space.coefficients
            ),
            format!(
                "Domain: {min}..{max}; signal beyond it is held at its ends. Values are not clamped to 0..1."
            ),
            "Interpolation: tetrahedral.".to_owned(),
            format!(
                "Distance from the exact operations: {:.1e} at most, {:.1e} on average (1 = reference white).",
                error.max, error.mean
            ),
        ];
        Self {
            title: title.to_owned(),
            comments,
            table: Table::ThreeD(lut),
        }
    }

    /// The text of the file. Every number is written with as many digits as it takes to read the same
    /// `f32` (domain: `f64`) back. Line ends in titles and comments become spaces, double quotes in a
    /// title apostrophes.
    #[must_use]
    pub fn write(&self) -> String {
        let (size, keyword, min, max, table) = match &self.table {
            Table::OneD(lut) => (
                lut.table.len(),
                "LUT_1D_SIZE",
                lut.domain_min,
                lut.domain_max,
                &lut.table,
            ),
            Table::ThreeD(lut) => (
                lut.size,
                "LUT_3D_SIZE",
                lut.domain_min,
                lut.domain_max,
                &lut.table,
            ),
        };
        let mut text = String::with_capacity(64 + 36 * table.len());
        let title = one_line(&self.title).replace('"', "'");
        if !title.is_empty() {
            text.push_str(&format!("TITLE \"{title}\"\n"));
        }
        for comment in &self.comments {
            text.push_str(&format!("# {}\n", one_line(comment)));
        }
        text.push_str(&format!("{keyword} {size}\n"));
        for (name, [r, g, b]) in [("DOMAIN_MIN", min), ("DOMAIN_MAX", max)] {
            text.push_str(&format!("{name} {r} {g} {b}\n"));
        }
        for [r, g, b] in table {
            // Writing to a String cannot fail.
            let _ = writeln!(text, "{r} {g} {b}");
        }
        text
    }
}

fn one_line(text: &str) -> String {
    text.replace(|c: char| c.is_control(), " ")
}
