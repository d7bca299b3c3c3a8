//! Tables of numbers inside nodes.

use super::{ClfError, file};

/// A table that is being read.
pub(super) struct Array {
    pub(super) dim: Vec<usize>,
    pub(super) line: usize,
    /// The values, and the line of the last one.
    pub(super) values: Vec<f64>,
    last_line: usize,
}

impl Array {
    /// # Errors
    /// If the dimensions are not whole numbers, or none of the sizes that a node may have.
    pub(super) fn new(node: &str, dim: Option<&str>, line: usize) -> Result<Self, ClfError> {
        let expected = match node {
            "Matrix" => "3 3 or 3 4",
            "LUT1D" => "a length from 2 to 65536, then 1 or 3",
            _ => "the same size three times, 2 to 256, then 3",
        };
        let given = dim.unwrap_or_default();
        let parsed: Option<Vec<usize>> = given
            .split_whitespace()
            .map(|word| word.parse().ok())
            .collect();
        let fits = |dim: &[usize]| match (node, dim) {
            // Earlier versions had a third number, to be passed over.
            ("Matrix", [3, 3 | 4] | [3, 3 | 4, _]) => true,
            ("LUT1D", [length, 1 | 3]) => (2..=65_536).contains(length),
            ("LUT3D", [r, g, b, 3]) => r == g && g == b && (2..=256).contains(r),
            _ => false,
        };
        match parsed {
            Some(dim) if fits(&dim) => Ok(Self {
                dim,
                line,
                values: Vec::new(),
                last_line: line,
            }),
            _ => Err(file(
                line,
                format!("an Array with dim=\"{}\"", short(given)),
                format!("{expected} in a {node}"),
            )),
        }
    }

    /// How many values the dimensions make.
    fn count(&self) -> usize {
        match self.dim.as_slice() {
            // The third number of a matrix means nothing.
            [3, columns, ..] if self.dim.len() < 4 && *columns > 1 && *columns <= 4 => 3 * columns,
            dim => dim.iter().product(),
        }
    }

    /// Takes the words of a stretch of text that begins on `line`.
    ///
    /// # Errors
    /// What is not a number, or one number too many, with its line.
    pub(super) fn take(
        &mut self,
        text: &str,
        line: usize,
        half_bits: bool,
    ) -> Result<(), ClfError> {
        let count = self.count();
        for (index, row) in text.split('\n').enumerate() {
            for word in row.split_whitespace() {
                let line = line + index;
                if self.values.len() == count {
                    return Err(file(
                        line,
                        format!("'{}' after {count} values", short(word)),
                        format!("the end of the Array: dim takes {count}"),
                    ));
                }
                let value: f64 = word.parse().ok().ok_or_else(|| {
                    file(
                        line,
                        format!("'{}'", short(word)),
                        "a number with a decimal point",
                    )
                })?;
                let value = if half_bits {
                    half(value).ok_or_else(|| {
                        file(
                            line,
                            format!("'{}'", short(word)),
                            "a whole number from 0 to 65535, since rawHalfs is set",
                        )
                    })?
                } else {
                    value
                };
                self.values.push(value);
                self.last_line = line;
            }
        }
        Ok(())
    }

    /// # Errors
    /// If values are missing.
    pub(super) fn finish(self) -> Result<Self, ClfError> {
        let count = self.count();
        if self.values.len() < count {
            return Err(file(
                self.last_line,
                format!("the end of the Array after {} values", self.values.len()),
                format!("{count}, by its dim in line {}", self.line),
            ));
        }
        Ok(self)
    }
}

/// A 16-bit pattern as its number.
fn half(value: f64) -> Option<f64> {
    let whole = value.fract() == 0.0 && (0.0..=65_535.0).contains(&value);
    whole.then(|| half::f16::from_bits(value as u16).to_f64())
}

pub(super) fn short(text: &str) -> String {
    text.trim().chars().take(60).collect()
}
