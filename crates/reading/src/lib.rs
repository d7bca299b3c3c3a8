//! Patches, skin pixels and readings: pure.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]
