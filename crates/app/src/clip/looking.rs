//! Small pictures of single frames, for telling which shots belong together.

use crate::clip::open_source;
use crate::clip::picturing::shrunk;
use crate::event::Cancel;
use crate::job::{LookJob, Looked};
use crate::{AppError, Result};
use inkarnat_color::Region;
use inkarnat_cut::Thumbnail;

/// Columns: enough to tell one framing from another, so few that noise averages out.
const WIDTH: usize = 48;

pub(crate) fn perform(job: &LookJob, cancel: &Cancel) -> Result<Looked> {
    let mut reader = open_source(&job.path, &job.input)?;
    let mut pictures = Vec::new();
    for frame in &job.frames {
        if cancel.is_cancelled() {
            return Err(AppError::Cancelled);
        }
        // A frame that damage has swallowed says nothing; the others may.
        pictures.push(reader.frame(*frame).ok().map(|frame| {
            let native = frame.native();
            let whole = Region::whole(native.width, native.height);
            let small = shrunk(&native, whole, Some(WIDTH));
            Thumbnail {
                width: small.width,
                height: small.height,
                rgb: (0..small.width * small.height)
                    .map(|pixel| small.pixel(pixel))
                    .collect(),
            }
        }));
    }
    Ok(Looked { pictures })
}
