//! Encoding.

use super::input::rational;
use super::{Code, Dictionary, Packet, RawFrame, Received, check, initialise, set_raw, sys};
use std::ffi::{CString, c_int};
use std::ptr;

/// What an encoder is opened with.
#[derive(Clone, Debug)]
pub(crate) struct EncoderSettings<'a> {
    /// FFmpeg's name of the encoder.
    pub(crate) name: &'a str,
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// FFmpeg's name of the pixel format.
    pub(crate) pixel_format: &'a str,
    pub(crate) time_base: (i32, i32),
    pub(crate) rate: (i32, i32),
    pub(crate) sample_aspect: (i32, i32),
    /// Primaries, transfer, matrix, range, siting as FFmpeg numbers them.
    pub(crate) tags: [c_int; 5],
    pub(crate) threads: usize,
    /// Top field first, for pictures of two fields.
    pub(crate) fields: Option<bool>,
    /// Four-letter code in the container.
    pub(crate) tag: Option<[u8; 4]>,
    pub(crate) options: &'a [(&'a str, &'a str)],
}

/// An opened encoder.
pub(crate) struct Encoder(pub(super) *mut sys::AVCodecContext);

// SAFETY: the context is used by one thread at a time, as `&mut self` demands.
unsafe impl Send for Encoder {}

/// FFmpeg's number of a pixel format.
pub(crate) fn pixel_format(name: &str) -> Option<c_int> {
    let name = CString::new(name).ok()?;
    // SAFETY: a terminated string. The result is one of the numbers of the headers: the names asked
    // for here are older than any of them.
    let format = unsafe { sys::av_get_pix_fmt(name.as_ptr()) } as c_int;
    (format >= 0).then_some(format)
}

impl Encoder {
    /// Opens an encoder; `None` if this FFmpeg was built without it.
    pub(crate) fn open(settings: &EncoderSettings<'_>) -> Result<Option<Self>, Code> {
        initialise();
        let invalid = Code(sys::AVERROR(sys::EINVAL));
        let name = CString::new(settings.name).map_err(|_| invalid)?;
        let format = pixel_format(settings.pixel_format).ok_or(invalid)?;
        let mut options = Dictionary::new(settings.options.iter().copied())?;
        // SAFETY: the context is ours and freed on drop; options are copied by the library.
        unsafe {
            let codec = sys::avcodec_find_encoder_by_name(name.as_ptr());
            if codec.is_null() {
                return Ok(None);
            }
            let context = sys::avcodec_alloc_context3(codec);
            if context.is_null() {
                return Err(Code::NO_MEMORY);
            }
            let encoder = Self(context);
            let c = &mut *context;
            c.width = settings.width as c_int;
            c.height = settings.height as c_int;
            set_raw(&raw mut c.pix_fmt, format);
            c.time_base = rational(settings.time_base);
            c.framerate = rational(settings.rate);
            c.sample_aspect_ratio = rational(settings.sample_aspect);
            let [primaries, transfer, matrix, range, siting] = settings.tags;
            set_raw(&raw mut c.color_primaries, primaries);
            set_raw(&raw mut c.color_trc, transfer);
            set_raw(&raw mut c.colorspace, matrix);
            set_raw(&raw mut c.color_range, range);
            set_raw(&raw mut c.chroma_sample_location, siting);
            c.thread_count = settings.threads as c_int;
            c.thread_type = sys::FF_THREAD_FRAME | sys::FF_THREAD_SLICE;
            c.strict_std_compliance = sys::FF_COMPLIANCE_UNOFFICIAL;
            // The same input gives the same bytes.
            c.flags |= sys::AV_CODEC_FLAG_BITEXACT as c_int;
            // QuickTime keeps the headers of a stream beside it, not in it.
            c.flags |= sys::AV_CODEC_FLAG_GLOBAL_HEADER as c_int;
            if let Some(top_first) = settings.fields {
                c.flags |= sys::AV_CODEC_FLAG_INTERLACED_DCT as c_int;
                set_raw(&raw mut c.field_order, if top_first { 2 } else { 3 });
            }
            if let Some(tag) = settings.tag {
                c.codec_tag = u32::from_le_bytes(tag);
            }
            check(sys::avcodec_open2(context, codec, &mut options.0))?;
            if !options.0.is_null() {
                // An option that the encoder does not know would change the result silently.
                return Err(Code(sys::AVERROR_OPTION_NOT_FOUND));
            }
            Ok(Some(encoder))
        }
    }

    /// Gives a picture, or with `None` asks for the packets that are still inside.
    pub(crate) fn send(&mut self, frame: Option<&mut RawFrame>) -> Result<(), Code> {
        let frame = frame.map_or(ptr::null_mut(), |frame| frame.as_mut_ptr());
        // SAFETY: the context is open; the frame is ours or null, and is only referenced.
        check(unsafe { sys::avcodec_send_frame(self.0, frame) }).map(|_| ())
    }

    pub(crate) fn receive(&mut self, packet: &mut Packet) -> Result<Received, Code> {
        packet.clear();
        // SAFETY: context and packet are ours.
        match check(unsafe { sys::avcodec_receive_packet(self.0, packet.0) }) {
            Ok(_) => Ok(Received::Frame),
            Err(Code::AGAIN) => Ok(Received::NeedsPacket),
            Err(Code::END) => Ok(Received::End),
            Err(code) => Err(code),
        }
    }
}

impl Drop for Encoder {
    fn drop(&mut self) {
        // SAFETY: ours, freed once.
        unsafe { sys::avcodec_free_context(&mut self.0) }
    }
}
