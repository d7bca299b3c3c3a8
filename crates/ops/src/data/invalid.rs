//! Why an operation's parameters cannot be used.

/// A parameter outside its range: what was given, and what was expected.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{field} is {given}; expected {expected}")]
pub struct Invalid {
    /// The parameter, as a path from the operation: `slope[2]`, `key.hue.softness`.
    pub field: String,
    /// The value that was given.
    pub given: String,
    /// The values that are possible.
    pub expected: String,
}

impl Invalid {
    pub(crate) fn new(
        field: impl Into<String>,
        given: impl ToString,
        expected: impl Into<String>,
    ) -> Self {
        Self {
            field: field.into(),
            given: given.to_string(),
            expected: expected.into(),
        }
    }

    /// The same finding, one level further out.
    #[must_use]
    pub fn inside(mut self, outer: &str) -> Self {
        self.field = format!("{outer}.{}", self.field);
        self
    }
}

/// `value` must satisfy `holds`; non-finite values never do.
pub(crate) fn check(
    field: impl Into<String>,
    value: f64,
    holds: bool,
    expected: &str,
) -> Result<(), Invalid> {
    if value.is_finite() && holds {
        Ok(())
    } else {
        Err(Invalid::new(field, value, expected))
    }
}
