//! Writing a QuickTime file.

use super::input::rational;
use super::{Code, Dictionary, Encoder, Input, Packet, check, file_url, initialise, sys};
use std::ffi::c_int;
use std::path::Path;
use std::ptr;

/// A QuickTime file that is being written.
pub(crate) struct Output {
    context: *mut sys::AVFormatContext,
    headed: bool,
}

// SAFETY: the context is used by one thread at a time, as `&mut self` demands.
unsafe impl Send for Output {}

impl Output {
    /// Opens a file that exists already (and is emptied).
    pub(crate) fn open(path: &Path) -> Result<Self, Code> {
        initialise();
        let url = file_url(path)?;
        let mut context = ptr::null_mut();
        // SAFETY: out-pointer is ours; the strings are terminated.
        check(unsafe {
            sys::avformat_alloc_output_context2(
                &mut context,
                ptr::null_mut(),
                c"mov".as_ptr(),
                url.as_ptr(),
            )
        })?;
        let output = Self {
            context,
            headed: false,
        };
        // SAFETY: the context is ours.
        unsafe {
            check(sys::avio_open(
                &mut (*context).pb,
                url.as_ptr(),
                sys::AVIO_FLAG_WRITE as c_int,
            ))?;
            // No clock and no version in the file: the same input gives the same bytes.
            (*context).flags |= sys::AVFMT_FLAG_BITEXACT as c_int;
            // Otherwise the muxer replaces `avc1` on High 4:2:2 at the sizes and rates of broadcasting
            // (1280×720, 1920×1080) by a camera maker's own tag, under which the file cannot be decoded.
            (*context).strict_std_compliance = sys::FF_COMPLIANCE_UNOFFICIAL;
        }
        Ok(output)
    }

    pub(super) fn context(&self) -> *mut sys::AVFormatContext {
        self.context
    }

    fn new_stream(&mut self) -> Result<*mut sys::AVStream, Code> {
        // SAFETY: the context is ours; the stream belongs to it.
        let stream = unsafe { sys::avformat_new_stream(self.context, ptr::null()) };
        if stream.is_null() {
            Err(Code::NO_MEMORY)
        } else {
            Ok(stream)
        }
    }

    /// Adds the stream of an encoder; gives its index.
    pub(crate) fn add_encoded(
        &mut self,
        encoder: &Encoder,
        time_base: (i32, i32),
        rate: (i32, i32),
        metadata: &[(&str, &str)],
        display_matrix: Option<[i32; 9]>,
    ) -> Result<usize, Code> {
        let stream = self.new_stream()?;
        // SAFETY: stream and encoder are valid; parameters are copied.
        unsafe {
            check(sys::avcodec_parameters_from_context(
                (*stream).codecpar,
                encoder.0,
            ))?;
            let s = &mut *stream;
            s.time_base = rational(time_base);
            s.avg_frame_rate = rational(rate);
            s.r_frame_rate = rational(rate);
            s.sample_aspect_ratio = (*s.codecpar).sample_aspect_ratio;
            s.disposition = sys::AV_DISPOSITION_DEFAULT as c_int;
            s.metadata = Dictionary::new(metadata.iter().copied())?.into_raw();
            if let Some(matrix) = display_matrix {
                add_display_matrix(stream, matrix)?;
            }
            Ok(s.index as usize)
        }
    }

    /// Whether QuickTime can carry the codec of a stream as it is.
    pub(crate) fn carries(&self, input: &Input, stream: usize) -> bool {
        let Some(stream) = input.stream_pointer(stream) else {
            return false;
        };
        // SAFETY: both are valid; the identifier is passed through unchanged.
        unsafe {
            sys::avformat_query_codec(
                (*self.context).oformat,
                (*(*stream).codecpar).codec_id,
                sys::FF_COMPLIANCE_NORMAL,
            ) == 1
        }
    }

    /// Adds a stream whose packets are copied from an input; gives its index.
    pub(crate) fn add_copied(&mut self, input: &Input, stream: usize) -> Result<usize, Code> {
        let source = input
            .stream_pointer(stream)
            .ok_or(Code(sys::AVERROR_STREAM_NOT_FOUND))?;
        let target = self.new_stream()?;
        // SAFETY: both streams are valid; parameters and metadata are copied.
        unsafe {
            check(sys::avcodec_parameters_copy(
                (*target).codecpar,
                (*source).codecpar,
            ))?;
            // Another container's code for the codec means nothing here, except where it is the same.
            let parameters = (*target).codecpar;
            let tag = (*parameters).codec_tag;
            let tags = (*(*self.context).oformat).codec_tag;
            let known = !tags.is_null()
                && super::raw(&raw const (*parameters).codec_id)
                    == sys::av_codec_get_id(tags, tag) as c_int;
            if !known {
                (*parameters).codec_tag = 0;
            }
            (*target).time_base = (*source).time_base;
            (*target).disposition = (*source).disposition;
            check(sys::av_dict_copy(
                &mut (*target).metadata,
                (*source).metadata,
                0,
            ))?;
            Ok((*target).index as usize)
        }
    }

    /// Sets the file's own metadata and writes the header.
    pub(crate) fn write_header(
        &mut self,
        metadata: &[(&str, &str)],
        options: &[(&str, &str)],
    ) -> Result<(), Code> {
        let mut options = Dictionary::new(options.iter().copied())?;
        // SAFETY: the context is ours and its streams are complete.
        unsafe {
            (*self.context).metadata = Dictionary::new(metadata.iter().copied())?.into_raw();
            check(sys::avformat_write_header(self.context, &mut options.0))?;
        }
        self.headed = true;
        Ok(())
    }

    /// The time base that the file uses for a stream; known after the header.
    pub(crate) fn time_base(&self, stream: usize) -> (i32, i32) {
        // SAFETY: the context has this stream, by construction of the writer.
        unsafe {
            assert!(stream < (*self.context).nb_streams as usize);
            let base = (**(*self.context).streams.add(stream)).time_base;
            (base.num, base.den)
        }
    }

    /// Takes the packet's content and writes it in order of time.
    pub(crate) fn write(&mut self, packet: &mut Packet) -> Result<(), Code> {
        // SAFETY: the header is written; the packet is ours and left blank.
        check(unsafe { sys::av_interleaved_write_frame(self.context, packet.0) }).map(|_| ())
    }

    /// Writes what is left and closes the file.
    pub(crate) fn finish(mut self) -> Result<(), Code> {
        // SAFETY: the header is written; the context is open.
        unsafe {
            // Whatever comes of it, the trailer frees the muxer's buffers: a second one would crash.
            self.headed = false;
            check(sys::av_write_trailer(self.context))?;
            let io = (*self.context).pb;
            sys::avio_flush(io);
            check((*io).error)?;
            check(sys::avio_closep(&mut (*self.context).pb))?;
        }
        Ok(())
    }
}

impl Drop for Output {
    fn drop(&mut self) {
        // SAFETY: ours, freed once. A header without its trailer leaves buffers of the muxer, which
        // only the trailer frees; the file is thrown away then, so its result does not matter.
        unsafe {
            if self.headed {
                sys::av_write_trailer(self.context);
            }
            if !(*self.context).pb.is_null() {
                sys::avio_closep(&mut (*self.context).pb);
            }
            sys::avformat_free_context(self.context);
        }
    }
}

/// # Safety
/// `stream` must be valid and its header not yet written.
unsafe fn add_display_matrix(stream: *mut sys::AVStream, matrix: [i32; 9]) -> Result<(), Code> {
    let bytes: Vec<u8> = matrix.iter().flat_map(|v| v.to_ne_bytes()).collect();
    let kind = sys::AVPacketSideDataType::AV_PKT_DATA_DISPLAYMATRIX;
    // SAFETY: by the caller's promise.
    unsafe { add_side_data(stream, kind, &bytes) }
}

/// # Safety
/// `stream` must be valid and its header not yet written.
pub(super) unsafe fn add_side_data(
    stream: *mut sys::AVStream,
    kind: sys::AVPacketSideDataType,
    bytes: &[u8],
) -> Result<(), Code> {
    let size = bytes.len();
    // SAFETY: the memory is allocated by FFmpeg, filled in full, and handed over on success.
    unsafe {
        let data = sys::av_malloc(size).cast::<u8>();
        if data.is_null() {
            return Err(Code::NO_MEMORY);
        }
        ptr::copy_nonoverlapping(bytes.as_ptr(), data, size);
        #[cfg(not(ffmpeg_6_1))]
        let taken = sys::av_stream_add_side_data(stream, kind, data, size) >= 0;
        #[cfg(ffmpeg_6_1)]
        let taken = {
            let parameters = (*stream).codecpar;
            !sys::av_packet_side_data_add(
                &mut (*parameters).coded_side_data,
                &mut (*parameters).nb_coded_side_data,
                kind,
                data.cast(),
                size,
                0,
            )
            .is_null()
        };
        if !taken {
            sys::av_free(data.cast());
            return Err(Code::NO_MEMORY);
        }
    }
    Ok(())
}
