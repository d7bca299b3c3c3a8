//! What is carried from a file to another beside its streams: chapters, and what a screen should know
//! about the mastering.

use super::input::side_data;
use super::output::add_side_data;
use super::{Code, Input, Output, check, sys};

impl Output {
    /// Gives a stream the mastering display and the light levels that a stream of the input has;
    /// gives how many of the two there are. Before the header.
    pub(crate) fn copy_mastering(
        &mut self,
        to: usize,
        input: &Input,
        from: usize,
    ) -> Result<usize, Code> {
        let source = input
            .stream_pointer(from)
            .ok_or(Code(sys::AVERROR_STREAM_NOT_FOUND))?;
        use sys::AVPacketSideDataType as Side;
        let mut count = 0;
        // SAFETY: both contexts are open and have these streams; the bytes are copied.
        unsafe {
            assert!(to < (*self.context()).nb_streams as usize);
            let target = *(*self.context()).streams.add(to);
            for kind in [
                Side::AV_PKT_DATA_MASTERING_DISPLAY_METADATA,
                Side::AV_PKT_DATA_CONTENT_LIGHT_LEVEL,
            ] {
                if let Some(bytes) = side_data(source, kind) {
                    add_side_data(target, kind, bytes)?;
                    count += 1;
                }
            }
        }
        Ok(count)
    }

    /// Copies the chapters of an input, moved by some seconds; gives how many. Before the header.
    pub(crate) fn copy_chapters(&mut self, input: &Input, shift_s: f64) -> Result<usize, Code> {
        // SAFETY: both contexts are open. The list and its entries are allocated as the library
        // itself does, and belong to the output's context from the moment that they are in it.
        unsafe {
            let (from, to) = (input.context(), self.context());
            let count = (*from).nb_chapters as usize;
            if count == 0 {
                return Ok(0);
            }
            let list = sys::av_calloc(count, size_of::<*mut sys::AVChapter>())
                .cast::<*mut sys::AVChapter>();
            if list.is_null() {
                return Err(Code::NO_MEMORY);
            }
            (*to).chapters = list;
            for index in 0..count {
                let source = &**(*from).chapters.add(index);
                let chapter = sys::av_mallocz(size_of::<sys::AVChapter>()).cast::<sys::AVChapter>();
                if chapter.is_null() {
                    return Err(Code::NO_MEMORY);
                }
                *list.add(index) = chapter;
                (*to).nb_chapters = index as u32 + 1;
                let base = f64::from(source.time_base.num) / f64::from(source.time_base.den);
                let shift = (shift_s / base).round() as i64;
                (*chapter).id = source.id;
                (*chapter).time_base = source.time_base;
                (*chapter).start = source.start.saturating_add(shift).max(0);
                (*chapter).end = source.end.saturating_add(shift).max(0);
                check(sys::av_dict_copy(
                    &mut (*chapter).metadata,
                    source.metadata,
                    0,
                ))?;
            }
            Ok(count)
        }
    }
}
