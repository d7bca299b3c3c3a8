//! Looking through a finished picture for its shots.

use crate::AppError;
use crate::Result;
use crate::clip::follow::clip;
use crate::clip::luma::reduced;
use crate::event::Cancel;
use crate::job::WatchJob;
use inkarnat_color::picture::Native;
use inkarnat_color::{Coefficients, Region};
use inkarnat_cut::{Seen, SmallPicture, Watcher};
use inkarnat_media::Reader;

/// Columns of luma that a frame is made small to, at least.
const COLUMNS: usize = 256;
/// Columns and rows of chroma.
const CHROMA: (usize, usize) = (64, 36);

pub(crate) fn perform(
    job: &WatchJob,
    cancel: &Cancel,
    progress: &dyn Fn(u64, u64),
) -> Result<Seen> {
    let mut reader = Reader::open(&job.path).map_err(clip)?;
    let total = reader.probe().frames;
    let mut watcher = Watcher::new();
    let mut next = 0;
    while let Some(frame) = reader.next_frame().map_err(clip)? {
        if cancel.is_cancelled() {
            return Err(AppError::Cancelled);
        }
        let small = made_small(&frame.native(), job.space.coefficients);
        // A frame that damage has swallowed shows what follows it.
        while next <= frame.index() {
            watcher.push(&small);
            next += 1;
        }
        progress(next, total);
    }
    Ok(watcher.finish())
}

fn made_small(native: &Native<'_>, coefficients: Coefficients) -> SmallPicture {
    let factor = (native.width / COLUMNS).max(1);
    let (columns, rows) = (CHROMA.0.min(native.width), CHROMA.1.min(native.height));
    let (mut cb, mut cr) = (Vec::new(), Vec::new());
    for row in 0..rows {
        // Two lines in the middle of each row of cells: chroma has little detail.
        let y = ((2 * row + 1) * native.height / (2 * rows)).min(native.height.saturating_sub(2));
        let band = native.rgb_region(Region {
            x: 0,
            y,
            width: native.width,
            height: 2.min(native.height),
        });
        for column in 0..columns {
            let (left, right) = (
                column * native.width / columns,
                (column + 1) * native.width / columns,
            );
            let mut sum = [0.0f64; 3];
            for line in 0..band.height {
                for (sum, plane) in sum.iter_mut().zip(&band.planes) {
                    *sum += plane[line * band.width + left..line * band.width + right]
                        .iter()
                        .map(|v| f64::from(*v))
                        .sum::<f64>();
                }
            }
            let count = (band.height * (right - left)).max(1) as f64;
            let colour = coefficients.ycbcr_from_rgb(sum.map(|v| v / count));
            cb.push(colour.cb as f32);
            cr.push(colour.cr as f32);
        }
    }
    SmallPicture {
        width: native.width / factor,
        height: native.height / factor,
        luma: reduced(native, factor, coefficients),
        chroma_width: columns,
        chroma_height: rows,
        cb,
        cr,
    }
}
