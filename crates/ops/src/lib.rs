//! Colour operations as data, applied plainly and fast, baked and inverted: pure.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]
