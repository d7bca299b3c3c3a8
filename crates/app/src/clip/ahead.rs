//! Decoding ahead of whoever looks at the pictures.

use crate::clip::follow::clip;
use crate::event::Cancel;
use crate::{AppError, Result};
use inkarnat_media::{Frame, Reader};
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread::Scope;

/// Pictures that may wait.
const WAITING: usize = 4;

/// Decodes a clip up to a frame in a thread of its own; the channel ends before that frame, after
/// the last one or after an error.
pub(crate) fn decode_ahead<'scope>(
    scope: &'scope Scope<'scope, '_>,
    mut reader: Reader,
    end: u64,
    cancel: &'scope Cancel,
) -> Receiver<Result<Frame>> {
    let (frames_in, frames_out) = sync_channel(WAITING);
    scope.spawn(move || {
        loop {
            let next = if cancel.is_cancelled() {
                Err(AppError::Cancelled)
            } else {
                match reader.next_frame() {
                    Ok(Some(frame)) if frame.index() < end => Ok(frame),
                    Ok(_) => break,
                    Err(error) => Err(clip(error)),
                }
            };
            let last = next.as_ref().map_or(true, |frame| frame.index() + 1 >= end);
            // Nobody listens after an error on the other side, which is reported there.
            if frames_in.send(next).is_err() || last {
                break;
            }
        }
    });
    frames_out
}
