//! The smallest correction that brings skin to its aim: pure.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]
