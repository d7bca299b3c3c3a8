//! Frames and the layout of their samples.

use super::{Code, av_pix_fmt_desc_get, check, owned, raw, set_raw, sys};
use inkarnat_color::picture::{Planes16, Samples};
use std::ffi::c_int;

/// Where one component of a pixel format lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Component {
    pub(crate) plane: usize,
    /// Bytes from one sample to the next.
    pub(crate) step: usize,
    /// Bytes before the first sample.
    pub(crate) offset: usize,
    /// Low bits to drop.
    pub(crate) shift: u32,
    /// Bits a sample.
    pub(crate) depth: u32,
}

/// FFmpeg's description of a pixel format.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Layout {
    pub(crate) name: String,
    pub(crate) components: Vec<Component>,
    pub(crate) across: u8,
    pub(crate) down: u8,
    pub(crate) rgb: bool,
    pub(crate) alpha: bool,
    pub(crate) big_endian: bool,
    pub(crate) palette: bool,
    /// Floating point, Bayer, packed bits, or surfaces of a hardware decoder.
    pub(crate) beyond: bool,
}

/// The layout of a pixel format by FFmpeg's number.
pub(crate) fn layout_of(format: c_int) -> Option<Layout> {
    // SAFETY: null for unknown numbers, else a constant of the library.
    let d = unsafe { av_pix_fmt_desc_get(format).as_ref() }?;
    let has = |flag: u32| d.flags & u64::from(flag) != 0;
    Some(Layout {
        // SAFETY: a terminated constant.
        name: unsafe { owned(d.name) },
        components: d.comp[..usize::from(d.nb_components)]
            .iter()
            .map(|c| Component {
                plane: c.plane as usize,
                step: c.step as usize,
                offset: c.offset as usize,
                shift: c.shift as u32,
                depth: c.depth as u32,
            })
            .collect(),
        across: d.log2_chroma_w,
        down: d.log2_chroma_h,
        rgb: has(sys::AV_PIX_FMT_FLAG_RGB as u32),
        alpha: has(sys::AV_PIX_FMT_FLAG_ALPHA as u32),
        big_endian: has(sys::AV_PIX_FMT_FLAG_BE as u32),
        palette: has(sys::AV_PIX_FMT_FLAG_PAL as u32),
        beyond: has(sys::AV_PIX_FMT_FLAG_FLOAT as u32)
            || has(sys::AV_PIX_FMT_FLAG_BAYER as u32)
            || has(sys::AV_PIX_FMT_FLAG_BITSTREAM as u32)
            || has(sys::AV_PIX_FMT_FLAG_HWACCEL as u32),
    })
}

/// A frame owned by us.
pub(crate) struct RawFrame(*mut sys::AVFrame);

// SAFETY: a frame is plain data with reference-counted buffers that nobody writes to any more.
unsafe impl Send for RawFrame {}
// SAFETY: shared access only reads.
unsafe impl Sync for RawFrame {}

impl RawFrame {
    pub(crate) fn new() -> Result<Self, Code> {
        // SAFETY: no preconditions.
        let frame = unsafe { sys::av_frame_alloc() };
        if frame.is_null() {
            Err(Code::NO_MEMORY)
        } else {
            Ok(Self(frame))
        }
    }

    /// A writable picture of the given format.
    pub(crate) fn picture(format: c_int, width: usize, height: usize) -> Result<Self, Code> {
        let frame = Self::new()?;
        // SAFETY: the frame is ours and empty.
        unsafe {
            (*frame.0).format = format;
            (*frame.0).width = width as c_int;
            (*frame.0).height = height as c_int;
            check(sys::av_frame_get_buffer(frame.0, 0))?;
        }
        Ok(frame)
    }

    pub(super) fn as_mut_ptr(&mut self) -> *mut sys::AVFrame {
        self.0
    }

    fn get(&self) -> &sys::AVFrame {
        // SAFETY: non-null and ours.
        unsafe { &*self.0 }
    }

    pub(crate) fn width(&self) -> usize {
        usize::try_from(self.get().width).unwrap_or(0)
    }

    pub(crate) fn height(&self) -> usize {
        usize::try_from(self.get().height).unwrap_or(0)
    }

    pub(crate) fn format(&self) -> c_int {
        self.get().format
    }

    /// Presentation time in the stream's time base.
    pub(crate) fn timestamp(&self) -> Option<i64> {
        Some(self.get().best_effort_timestamp).filter(|&t| t != sys::AV_NOPTS_VALUE)
    }

    /// (primaries, transfer, matrix, range, siting) as FFmpeg numbers them.
    pub(crate) fn tags(&self) -> [c_int; 5] {
        let f = self.0;
        // SAFETY: fields of our own frame.
        unsafe {
            [
                raw(&raw const (*f).color_primaries),
                raw(&raw const (*f).color_trc),
                raw(&raw const (*f).colorspace),
                raw(&raw const (*f).color_range),
                raw(&raw const (*f).chroma_location),
            ]
        }
    }

    /// The decoder met damage in this frame or marked it as corrupt.
    pub(crate) fn damaged(&self) -> bool {
        let frame = self.get();
        frame.decode_error_flags != 0 || frame.flags & sys::AV_FRAME_FLAG_CORRUPT as c_int != 0
    }

    pub(crate) fn interlaced(&self) -> bool {
        #[cfg(ffmpeg_6_1)]
        return self.get().flags & sys::AV_FRAME_FLAG_INTERLACED as c_int != 0;
        #[cfg(not(ffmpeg_6_1))]
        return self.get().interlaced_frame != 0;
    }

    pub(crate) fn top_field_first(&self) -> bool {
        #[cfg(ffmpeg_6_1)]
        return self.get().flags & sys::AV_FRAME_FLAG_TOP_FIELD_FIRST as c_int != 0;
        #[cfg(not(ffmpeg_6_1))]
        return self.get().top_field_first != 0;
    }

    /// Rows of a plane, by the rule of FFmpeg's own allocation.
    fn plane_rows(&self, plane: usize) -> usize {
        // SAFETY: null for unknown numbers, else a constant of the library.
        let Some(description) = (unsafe { av_pix_fmt_desc_get(self.format()).as_ref() }) else {
            return 0;
        };
        match plane {
            1 | 2 => self.height().div_ceil(1 << description.log2_chroma_h),
            _ => self.height(),
        }
    }

    /// One row of a plane as bytes: `length` of them. `None` if the frame has no such row or no
    /// room for that many.
    pub(crate) fn row(&self, plane: usize, row: usize, length: usize) -> Option<&[u8]> {
        let frame = self.get();
        let data = *frame.data.get(plane)?;
        let stride = *frame.linesize.get(plane)? as isize;
        if data.is_null() || row >= self.plane_rows(plane) || length > stride.unsigned_abs() {
            return None;
        }
        // SAFETY: a plane holds |stride| bytes in each of its rows; a negative stride runs upward.
        unsafe {
            Some(std::slice::from_raw_parts(
                data.offset(row as isize * stride),
                length,
            ))
        }
    }

    /// The 256 colours of a palette format as native-endian A, R, G, B words.
    pub(crate) fn palette(&self) -> Option<Vec<u32>> {
        let data = self.get().data[1];
        if data.is_null() {
            return None;
        }
        // SAFETY: palette formats keep 1024 bytes in their second plane.
        let bytes = unsafe { std::slice::from_raw_parts(data, 1024) };
        Some(
            bytes
                .chunks_exact(4)
                .map(|b| u32::from_ne_bytes([b[0], b[1], b[2], b[3]]))
                .collect(),
        )
    }

    /// Samples of a plane and their stride in samples, where rows run downward.
    pub(crate) fn samples(
        &self,
        plane: usize,
        (width, height): (usize, usize),
        wide: bool,
    ) -> Option<(Samples<'_>, usize)> {
        let frame = self.get();
        let data = *frame.data.get(plane)?;
        let stride = usize::try_from(*frame.linesize.get(plane)?).ok()?;
        if data.is_null() || height == 0 || height > self.plane_rows(plane) {
            return None;
        }
        let bytes = if wide { 2 } else { 1 };
        if stride < width * bytes
            || !stride.is_multiple_of(bytes)
            || !(data as usize).is_multiple_of(bytes)
        {
            return None;
        }
        let stride = stride / bytes;
        let length = stride * (height - 1) + width;
        // SAFETY: the plane holds `height` rows of `stride` samples, the last of at least `width`;
        // the alignment of two bytes was checked.
        unsafe {
            let samples = if wide {
                Samples::U16(std::slice::from_raw_parts(data.cast(), length))
            } else {
                Samples::U8(std::slice::from_raw_parts(data, length))
            };
            Some((samples, stride))
        }
    }

    /// Copies a picture, and transparency where there is any, into this one, made by
    /// [`Self::picture`] with a planar format of the same size, sampling and depth.
    pub(crate) fn fill(
        &mut self,
        picture: &Planes16,
        chroma: (usize, usize),
        alpha: Option<&[u16]>,
    ) -> Result<(), Code> {
        // SAFETY: the frame is ours; this makes its buffers ours alone, copying if they are shared.
        check(unsafe { sys::av_frame_make_writable(self.0) })?;
        let bytes = if picture.format.depth > 8 { 2 } else { 1 };
        let size = (picture.width, picture.height);
        let [luma, cb, cr] = &picture.planes;
        let planes = [(luma, size), (cb, chroma), (cr, chroma)];
        for (plane, (samples, size)) in planes.into_iter().enumerate() {
            self.fill_plane(plane, samples, size, bytes);
        }
        if let Some(alpha) = alpha {
            self.fill_plane(3, alpha, size, bytes);
        }
        Ok(())
    }

    /// # Panics
    /// If the plane has no room for the samples.
    fn fill_plane(
        &mut self,
        plane: usize,
        samples: &[u16],
        (width, height): (usize, usize),
        bytes: usize,
    ) {
        let frame = self.get();
        let (data, stride) = (frame.data[plane], frame.linesize[plane]);
        assert!(
            !data.is_null()
                && height <= self.plane_rows(plane)
                && usize::try_from(stride).is_ok_and(|s| s >= bytes * width)
                && samples.len() >= width * height,
            "the encoder's picture has another layout"
        );
        for (row, source) in samples.chunks_exact(width).take(height).enumerate() {
            // SAFETY: the row lies inside the plane, checked above; the buffers differ.
            unsafe {
                let target = data.add(row * stride as usize);
                if bytes == 2 {
                    std::ptr::copy_nonoverlapping(source.as_ptr().cast(), target, 2 * width);
                } else {
                    for (x, code) in source.iter().enumerate() {
                        *target.add(x) = *code as u8;
                    }
                }
            }
        }
    }

    pub(crate) fn set_timestamp(&mut self, pts: i64) {
        // SAFETY: our own frame.
        unsafe { (*self.0).pts = pts }
    }

    /// Sets primaries, transfer, matrix, range and siting.
    pub(crate) fn set_tags(&mut self, [primaries, transfer, matrix, range, siting]: [c_int; 5]) {
        let f = self.0;
        // SAFETY: fields of our own frame.
        unsafe {
            set_raw(&raw mut (*f).color_primaries, primaries);
            set_raw(&raw mut (*f).color_trc, transfer);
            set_raw(&raw mut (*f).colorspace, matrix);
            set_raw(&raw mut (*f).color_range, range);
            set_raw(&raw mut (*f).chroma_location, siting);
        }
    }

    /// Marks the picture as two interlaced fields.
    pub(crate) fn set_interlaced(&mut self, top_field_first: bool) {
        // SAFETY: fields of our own frame.
        unsafe {
            #[cfg(ffmpeg_6_1)]
            {
                (*self.0).flags |= sys::AV_FRAME_FLAG_INTERLACED as c_int;
                if top_field_first {
                    (*self.0).flags |= sys::AV_FRAME_FLAG_TOP_FIELD_FIRST as c_int;
                }
            }
            #[cfg(not(ffmpeg_6_1))]
            {
                (*self.0).interlaced_frame = 1;
                (*self.0).top_field_first = c_int::from(top_field_first);
            }
        }
    }
}

impl Drop for RawFrame {
    fn drop(&mut self) {
        // SAFETY: ours, freed once.
        unsafe { sys::av_frame_free(&mut self.0) }
    }
}
