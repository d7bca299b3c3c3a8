//! The steps of the work, each on a whole film.

pub(crate) mod against;
pub(crate) mod choosing;
pub(crate) mod cutting;
pub(crate) mod exposing;
pub(crate) mod finding;
pub(crate) mod fixing;
pub(crate) mod grouping;
pub(crate) mod handing;
pub(crate) mod keeping;
pub(crate) mod lighting;
pub(crate) mod people;
pub(crate) mod proving;
pub(crate) mod reading;
pub(crate) mod recutting;
pub(crate) mod reuse;
pub(crate) mod running;
pub(crate) mod staying;
pub(crate) mod suggesting;
pub(crate) mod taking;
pub(crate) mod tinting;
pub(crate) mod transforming;
pub(crate) mod versions;
pub(crate) mod watching;
pub(crate) mod whole;
