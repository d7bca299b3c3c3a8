//! One clip's work, done in a child process: no film file here.

pub(crate) mod against;
mod ahead;
mod finding;
mod follow;
mod limits;
pub(crate) mod looking;
mod luma;
mod picking;
pub(crate) mod picturing;
pub(crate) mod probing;
pub(crate) mod proving;
pub(crate) mod reading;
pub(crate) mod rendering;
pub(crate) mod watching;
