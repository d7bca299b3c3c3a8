//! Decoding ahead of whoever looks at the pictures.

use crate::clip::follow::clip;
use crate::event::Cancel;
use crate::{AppError, Result};
use inkarnat_media::{Frame, Reader};
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread::Scope;

/// Pictures that may wait.
const WAITING: usize = 4;

/// Decodes the rest of a clip in a thread of its own; the channel ends after the last frame or after
/// an error.
pub(crate) fn decode_ahead<'scope>(
    scope: &'scope Scope<'scope, '_>,
    mut reader: Reader,
    cancel: &'scope Cancel,
) -> Receiver<Result<Frame>> {
    let (frames_in, frames_out) = sync_channel(WAITING);
    scope.spawn(move || {
        loop {
            let next = if cancel.is_cancelled() {
                Err(AppError::Cancelled)
            } else {
                match reader.next_frame() {
                    Ok(None) => break,
                    Ok(Some(frame)) => Ok(frame),
                    Err(error) => Err(clip(error)),
                }
            };
            let last = next.is_err();
            // Nobody listens after an error on the other side, which is reported there.
            if frames_in.send(next).is_err() || last {
                break;
            }
        }
    });
    frames_out
}
