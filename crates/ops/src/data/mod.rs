//! What each operation is: parameters, validity, neutrality.

pub mod cdl;
pub mod chain;
pub mod invalid;
pub mod keyed;
pub mod keyframes;
pub mod limiter;
pub mod lut;
pub mod op;
pub mod process;
pub mod shoulder;
