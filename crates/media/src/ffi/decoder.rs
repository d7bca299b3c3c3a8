//! Decoding.

use super::{Code, Input, Packet, RawFrame, avcodec_find_decoder, check, raw, sys};
use std::ffi::{c_int, c_uint};
use std::ptr;

/// What a decoder gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Received {
    Frame,
    NeedsPacket,
    End,
}

/// An opened decoder.
pub(crate) struct Decoder(*mut sys::AVCodecContext);

// SAFETY: the context is used by one thread at a time, as `&mut self` demands.
unsafe impl Send for Decoder {}

impl Decoder {
    /// Opens the decoder of a stream; `None` if FFmpeg has none for its codec. `threads` 0 leaves
    /// the number to FFmpeg.
    pub(crate) fn open(input: &Input, stream: usize, threads: usize) -> Result<Option<Self>, Code> {
        let stream = input
            .stream_pointer(stream)
            .ok_or(Code(sys::AVERROR_STREAM_NOT_FOUND))?;
        // SAFETY: the stream belongs to the open input; the context is ours and freed on drop.
        unsafe {
            let parameters = (*stream).codecpar;
            let codec = avcodec_find_decoder(raw(&raw const (*parameters).codec_id) as c_uint);
            if codec.is_null() {
                return Ok(None);
            }
            let context = sys::avcodec_alloc_context3(codec);
            if context.is_null() {
                return Err(Code::NO_MEMORY);
            }
            let decoder = Self(context);
            check(sys::avcodec_parameters_to_context(context, parameters))?;
            (*context).pkt_timebase = (*stream).time_base;
            (*context).thread_count = threads as c_int;
            (*context).thread_type = sys::FF_THREAD_FRAME | sys::FF_THREAD_SLICE;
            // Cropping is exact only where planes need not stay aligned; nothing here needs it.
            (*context).flags |= sys::AV_CODEC_FLAG_UNALIGNED as c_int;
            check(sys::avcodec_open2(context, codec, ptr::null_mut()))?;
            Ok(Some(decoder))
        }
    }

    /// Gives a packet, or with `None` asks for the frames that are still inside.
    pub(crate) fn send(&mut self, packet: Option<&Packet>) -> Result<(), Code> {
        let packet = packet.map_or(ptr::null_mut(), |packet| packet.0);
        // SAFETY: the context is open; the packet is ours or null.
        check(unsafe { sys::avcodec_send_packet(self.0, packet) }).map(|_| ())
    }

    pub(crate) fn receive(&mut self, frame: &mut RawFrame) -> Result<Received, Code> {
        // SAFETY: context and frame are ours.
        match check(unsafe { sys::avcodec_receive_frame(self.0, frame.as_mut_ptr()) }) {
            Ok(_) => Ok(Received::Frame),
            Err(Code::AGAIN) => Ok(Received::NeedsPacket),
            Err(Code::END) => Ok(Received::End),
            Err(code) => Err(code),
        }
    }

    /// Forgets everything inside, after a seek.
    pub(crate) fn flush(&mut self) {
        // SAFETY: the context is open.
        unsafe { sys::avcodec_flush_buffers(self.0) }
    }
}

impl Drop for Decoder {
    fn drop(&mut self) {
        // SAFETY: ours, freed once.
        unsafe { sys::avcodec_free_context(&mut self.0) }
    }
}
