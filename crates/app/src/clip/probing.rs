//! Looking at a file.

use crate::job::{ProbeJob, Probed};
use crate::{AppError, Result};
use inkarnat_media::probe;

pub(crate) fn perform(job: &ProbeJob) -> Result<Probed> {
    let probe = probe(&job.path).map_err(|error| AppError::Clip(error.to_string()))?;
    Ok(Probed {
        frames: probe.frames,
        probe,
    })
}
