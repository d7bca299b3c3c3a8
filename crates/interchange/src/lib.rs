//! File formats as bytes to model and back: pure.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]
