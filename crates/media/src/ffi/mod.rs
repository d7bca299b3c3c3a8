//! The one place that touches FFmpeg's C interface: owners of its objects, plain data out of them.
//!
//! Invariants: every pointer held by a type here is non-null and owned by it alone, and is freed
//! once, on drop. Enumerations of C are read as integers, because a newer library may hold values
//! that the headers it was built against did not know.
#![allow(unsafe_code)]

mod decoder;
mod encoder;
mod frame;
mod input;
mod kept;
mod output;

pub(crate) use decoder::{Decoder, Received};
pub(crate) use encoder::{Encoder, EncoderSettings, pixel_format};
pub(crate) use frame::{Component, Layout, RawFrame, layout_of};
pub(crate) use input::{IndexEntry, Input, Packet, StreamInfo, StreamKind};
pub(crate) use output::Output;

use ffmpeg_sys_next as sys;
use std::ffi::{CStr, CString, c_char, c_int, c_uint};
use std::path::Path;
use std::ptr;
use std::sync::Once;

// The bindings type these arguments as Rust enums, which must never hold an unknown value.
#[allow(clashing_extern_declarations)]
unsafe extern "C" {
    fn av_pix_fmt_desc_get(format: c_int) -> *const sys::AVPixFmtDescriptor;
    fn avcodec_find_decoder(id: c_uint) -> *const sys::AVCodec;
    fn avcodec_get_name(id: c_uint) -> *const c_char;
    fn avcodec_descriptor_get(id: c_uint) -> *const sys::AVCodecDescriptor;
}

/// A negative return code of FFmpeg.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Code(pub(crate) c_int);

impl Code {
    pub(crate) const END: Self = Self(sys::AVERROR_EOF);
    pub(crate) const AGAIN: Self = Self(sys::AVERROR(sys::EAGAIN));
    pub(crate) const INVALID_DATA: Self = Self(sys::AVERROR_INVALIDDATA);
    pub(crate) const NO_MEMORY: Self = Self(sys::AVERROR(sys::ENOMEM));

    /// The operating system's error number, if the code is one.
    pub(crate) fn os(self) -> Option<i32> {
        // FFmpeg's own codes are four-letter tags, far below any error number.
        (-4096..0).contains(&self.0).then_some(-self.0)
    }

    /// FFmpeg's words for the code.
    pub(crate) fn text(self) -> String {
        let mut buffer: [c_char; 128] = [0; 128];
        // SAFETY: the buffer is writable for the length given; the result is terminated.
        unsafe {
            sys::av_strerror(self.0, buffer.as_mut_ptr(), buffer.len());
            CStr::from_ptr(buffer.as_ptr())
                .to_string_lossy()
                .into_owned()
        }
    }
}

fn check(code: c_int) -> Result<c_int, Code> {
    if code < 0 { Err(Code(code)) } else { Ok(code) }
}

/// Reads a C enumeration as the integer that it is.
///
/// # Safety
/// `at` must be valid for reading four bytes.
unsafe fn raw<T>(at: *const T) -> c_int {
    const { assert!(size_of::<T>() == size_of::<c_int>()) };
    // SAFETY: by the caller's promise; a C enumeration here has the size of an int.
    unsafe { at.cast::<c_int>().read() }
}

/// Writes a C enumeration as the integer that it is.
///
/// # Safety
/// `at` must be valid for writing four bytes.
unsafe fn set_raw<T>(at: *mut T, value: c_int) {
    const { assert!(size_of::<T>() == size_of::<c_int>()) };
    // SAFETY: by the caller's promise; the value goes to C, which takes any integer.
    unsafe { at.cast::<c_int>().write(value) }
}

/// # Safety
/// `text` must be null or a terminated string.
unsafe fn owned(text: *const c_char) -> String {
    if text.is_null() {
        return String::new();
    }
    // SAFETY: by the caller's promise.
    unsafe { CStr::from_ptr(text) }
        .to_string_lossy()
        .into_owned()
}

/// Silences FFmpeg's own log once: what matters comes back as errors and notes.
fn initialise() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // SAFETY: sets a global integer.
        unsafe { sys::av_log_set_level(sys::AV_LOG_QUIET) }
    });
}

/// The file as a URL of the `file` protocol, so that no name is taken for another protocol.
fn file_url(path: &Path) -> Result<CString, Code> {
    use std::os::unix::ffi::OsStrExt;
    let mut bytes = b"file:".to_vec();
    bytes.extend_from_slice(path.as_os_str().as_bytes());
    CString::new(bytes).map_err(|_| Code(sys::AVERROR(sys::EINVAL)))
}

/// Name, value pairs that go to FFmpeg.
struct Dictionary(*mut sys::AVDictionary);

impl Dictionary {
    fn new<'a>(pairs: impl IntoIterator<Item = (&'a str, &'a str)>) -> Result<Self, Code> {
        let mut dictionary = Self(ptr::null_mut());
        for (name, value) in pairs {
            let invalid = |_| Code(sys::AVERROR(sys::EINVAL));
            let (name, value) = (
                CString::new(name).map_err(invalid)?,
                CString::new(value).map_err(invalid)?,
            );
            // SAFETY: the dictionary is ours; both strings are copied.
            check(unsafe {
                sys::av_dict_set(&mut dictionary.0, name.as_ptr(), value.as_ptr(), 0)
            })?;
        }
        Ok(dictionary)
    }

    /// Hands the dictionary over.
    fn into_raw(mut self) -> *mut sys::AVDictionary {
        std::mem::replace(&mut self.0, ptr::null_mut())
    }
}

impl Drop for Dictionary {
    fn drop(&mut self) {
        // SAFETY: ours, or null, which is allowed.
        unsafe { sys::av_dict_free(&mut self.0) }
    }
}

/// # Safety
/// `dictionary` must be null or valid.
unsafe fn pairs(dictionary: *const sys::AVDictionary) -> Vec<(String, String)> {
    let mut result = Vec::new();
    let mut entry = ptr::null();
    loop {
        // SAFETY: the dictionary is not changed while it is walked.
        entry = unsafe {
            sys::av_dict_get(dictionary, c"".as_ptr(), entry, sys::AV_DICT_IGNORE_SUFFIX)
        };
        if entry.is_null() {
            return result;
        }
        // SAFETY: a non-null entry has two terminated strings.
        result.push(unsafe { (owned((*entry).key), owned((*entry).value)) });
    }
}

/// Releases and versions of the linked libraries, for reports.
pub(crate) fn versions() -> String {
    // SAFETY: constant functions.
    let (codec, release) = unsafe { (sys::avcodec_version(), owned(sys::av_version_info())) };
    format!(
        "FFmpeg {release} (libavcodec {}.{}.{})",
        codec >> 16,
        codec >> 8 & 255,
        codec & 255
    )
}
