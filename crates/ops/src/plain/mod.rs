//! Each operation on one colour, in `f64`, as its definition reads.
//!
//! Parameters are taken as valid ([`crate::Op::validate`]); with others the result is some number or
//! NaN, never a panic. A NaN in one channel stays NaN there or becomes the lower end of a clamp.

pub mod cdl;
mod chain;
mod keyed;
mod lut;
mod process;
mod shoulder;
