//! What each operation is: parameters, validity, neutrality.

pub mod cdl;
pub mod chain;
pub mod invalid;
pub mod keyed;
pub mod lut;
pub mod op;
pub mod shoulder;
