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

use crate::Result;
use inkarnat_color::picture::ToWorking;
use inkarnat_media::Reader;
use inkarnat_ops::{Chain, Op};
use std::path::Path;
use std::sync::Arc;

/// Opens a source whose signal goes through its input transform before anything looks at it.
pub(crate) fn open_source(path: &Path, input: &[Op]) -> Result<Reader> {
    let reader = Reader::open(path).map_err(follow::clip)?;
    let prepared = Chain {
        input: input.to_vec(),
        ..Chain::default()
    }
    .prepare();
    let changes = !prepared.is_identity();
    Ok(reader.with_input(changes.then(|| Arc::new(prepared) as Arc<dyn ToWorking>)))
}
