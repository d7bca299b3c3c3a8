//! Opening a file, its streams and its packets.

use super::{
    Code, Dictionary, avcodec_descriptor_get, avcodec_get_name, check, file_url, initialise, owned,
    pairs, raw, sys,
};
use std::ffi::{c_int, c_uint};
use std::path::Path;
use std::ptr;

/// The kind of a stream.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum StreamKind {
    Video,
    Audio,
    Subtitle,
    Data,
    Attachment,
    Other,
}

/// What a container and its codec parameters say about one stream.
#[derive(Clone, Debug)]
pub(crate) struct StreamInfo {
    pub(crate) index: usize,
    pub(crate) kind: StreamKind,
    pub(crate) codec: String,
    pub(crate) intra_only: bool,
    /// A cover picture or thumbnail, not a film.
    pub(crate) attached_picture: bool,
    pub(crate) default: bool,
    pub(crate) sample_aspect: (i32, i32),
    pub(crate) average_rate: (i32, i32),
    pub(crate) base_rate: (i32, i32),
    pub(crate) time_base: (i32, i32),
    /// In `time_base`.
    pub(crate) start: Option<i64>,
    /// In `time_base`.
    pub(crate) duration: Option<i64>,
    /// 0 = not stated.
    pub(crate) frames: i64,
    pub(crate) primaries: c_int,
    pub(crate) transfer: c_int,
    pub(crate) matrix: c_int,
    pub(crate) range: c_int,
    pub(crate) siting: c_int,
    pub(crate) field_order: c_int,
    /// Clockwise degrees that a player turns the picture by.
    pub(crate) rotation: Option<f64>,
    /// The nine numbers of the container's display matrix.
    pub(crate) display_matrix: Option<[i32; 9]>,
    /// Mastering display, light levels or dynamic metadata are present.
    pub(crate) hdr_side_data: bool,
    /// The codec's configuration record.
    pub(crate) extradata: Vec<u8>,
    pub(crate) metadata: Vec<(String, String)>,
}

/// One entry of the demuxer's own index.
#[derive(Clone, Copy, Debug)]
pub(crate) struct IndexEntry {
    pub(crate) position: i64,
    pub(crate) size: u32,
    pub(crate) timestamp: i64,
    pub(crate) key: bool,
    pub(crate) discard: bool,
}

/// A packet of coded data.
pub(crate) struct Packet(pub(super) *mut sys::AVPacket);

// SAFETY: a packet is plain data with reference-counted buffers; nothing is tied to a thread.
unsafe impl Send for Packet {}

impl Packet {
    pub(crate) fn new() -> Result<Self, Code> {
        // SAFETY: no preconditions.
        let packet = unsafe { sys::av_packet_alloc() };
        if packet.is_null() {
            Err(Code::NO_MEMORY)
        } else {
            Ok(Self(packet))
        }
    }

    fn get(&self) -> &sys::AVPacket {
        // SAFETY: non-null and ours.
        unsafe { &*self.0 }
    }

    fn get_mut(&mut self) -> &mut sys::AVPacket {
        // SAFETY: non-null and ours alone.
        unsafe { &mut *self.0 }
    }

    pub(crate) fn stream(&self) -> usize {
        usize::try_from(self.get().stream_index).unwrap_or(usize::MAX)
    }

    pub(crate) fn set_stream(&mut self, index: usize) {
        self.get_mut().stream_index = index as c_int;
    }

    pub(crate) fn pts(&self) -> Option<i64> {
        Some(self.get().pts).filter(|&t| t != sys::AV_NOPTS_VALUE)
    }

    pub(crate) fn dts(&self) -> Option<i64> {
        Some(self.get().dts).filter(|&t| t != sys::AV_NOPTS_VALUE)
    }

    pub(crate) fn duration(&self) -> i64 {
        self.get().duration
    }

    pub(crate) fn set_duration(&mut self, duration: i64) {
        self.get_mut().duration = duration;
    }

    /// Its content, alone in memory.
    pub(crate) fn bytes_mut(&mut self) -> Result<&mut [u8], Code> {
        // SAFETY: non-null and ours; on success the data are in memory that nobody shares.
        unsafe {
            super::check(sys::av_packet_make_writable(self.0))?;
            let packet = &mut *self.0;
            let size = usize::try_from(packet.size).unwrap_or(0);
            if packet.data.is_null() || size == 0 {
                return Ok(&mut []);
            }
            Ok(std::slice::from_raw_parts_mut(packet.data, size))
        }
    }

    /// Shifts both timestamps.
    pub(crate) fn shift(&mut self, by: i64) {
        let packet = self.get_mut();
        for time in [&mut packet.pts, &mut packet.dts] {
            if *time != sys::AV_NOPTS_VALUE {
                *time = time.saturating_add(by);
            }
        }
    }

    /// Converts both timestamps and the duration to another time base.
    pub(crate) fn rescale(&mut self, from: (i32, i32), to: (i32, i32)) {
        // SAFETY: the packet is ours; the call is arithmetic on its fields.
        unsafe { sys::av_packet_rescale_ts(self.0, rational(from), rational(to)) }
    }

    pub(crate) fn key(&self) -> bool {
        self.get().flags & sys::AV_PKT_FLAG_KEY != 0
    }

    /// Needed for decoding only; its frame is cut away by an edit list.
    pub(crate) fn discard(&self) -> bool {
        self.get().flags & sys::AV_PKT_FLAG_DISCARD != 0
    }

    /// The demuxer knows that the packet is damaged or cut off.
    pub(crate) fn corrupt(&self) -> bool {
        self.get().flags & sys::AV_PKT_FLAG_CORRUPT != 0
    }

    pub(crate) fn size(&self) -> usize {
        usize::try_from(self.get().size).unwrap_or(0)
    }

    pub(crate) fn data(&self) -> &[u8] {
        let packet = self.get();
        if packet.data.is_null() || packet.size <= 0 {
            return &[];
        }
        // SAFETY: the packet holds `size` bytes there.
        unsafe { std::slice::from_raw_parts(packet.data, packet.size as usize) }
    }

    pub(crate) fn clear(&mut self) {
        // SAFETY: the packet is ours.
        unsafe { sys::av_packet_unref(self.0) }
    }
}

impl Drop for Packet {
    fn drop(&mut self) {
        // SAFETY: ours, freed once.
        unsafe { sys::av_packet_free(&mut self.0) }
    }
}

pub(super) fn rational((num, den): (i32, i32)) -> sys::AVRational {
    sys::AVRational { num, den }
}

/// An opened file.
pub(crate) struct Input(*mut sys::AVFormatContext);

// SAFETY: the context is used by one thread at a time, as `&mut self` demands.
unsafe impl Send for Input {}

impl Input {
    /// Opens a file as one of the named containers, local files only, and reads its streams.
    pub(crate) fn open(path: &Path, containers: &str) -> Result<Self, Code> {
        initialise();
        let url = file_url(path)?;
        let mut options = Dictionary::new([
            ("protocol_whitelist", "file"),
            ("format_whitelist", containers),
        ])?;
        let mut context = ptr::null_mut();
        // SAFETY: out-pointer and dictionary are ours; on failure the context stays null.
        check(unsafe {
            sys::avformat_open_input(&mut context, url.as_ptr(), ptr::null(), &mut options.0)
        })?;
        let input = Self(context);
        // SAFETY: the context is open.
        check(unsafe { sys::avformat_find_stream_info(input.0, ptr::null_mut()) })?;
        Ok(input)
    }

    fn stream_pointers(&self) -> &[*mut sys::AVStream] {
        // SAFETY: FFmpeg keeps `nb_streams` valid pointers there.
        unsafe {
            let count = (*self.0).nb_streams as usize;
            if count == 0 {
                return &[];
            }
            std::slice::from_raw_parts((*self.0).streams, count)
        }
    }

    pub(super) fn stream_pointer(&self, index: usize) -> Option<*mut sys::AVStream> {
        self.stream_pointers().get(index).copied()
    }

    pub(crate) fn streams(&self) -> Vec<StreamInfo> {
        self.stream_pointers()
            .iter()
            // SAFETY: the pointers belong to the open context.
            .map(|&stream| unsafe { stream_info(stream) })
            .collect()
    }

    /// Short name of the container, like `mov,mp4,m4a,3gp,3g2,mj2`.
    pub(crate) fn container(&self) -> String {
        // SAFETY: an open context has a format with a name.
        unsafe { owned((*(*self.0).iformat).name) }
    }

    pub(crate) fn metadata(&self) -> Vec<(String, String)> {
        // SAFETY: the dictionary belongs to the open context.
        unsafe { pairs((*self.0).metadata) }
    }

    pub(super) fn context(&self) -> *mut sys::AVFormatContext {
        self.0
    }

    /// Lets the demuxer skip every stream that `keep` refuses.
    pub(crate) fn keep_streams(&mut self, keep: impl Fn(usize) -> bool) {
        for (index, &stream) in self.stream_pointers().iter().enumerate() {
            let discard = if keep(index) {
                sys::AVDiscard::AVDISCARD_DEFAULT
            } else {
                sys::AVDiscard::AVDISCARD_ALL
            };
            // SAFETY: the stream belongs to the open context.
            unsafe { (*stream).discard = discard }
        }
    }

    /// The next packet, or `false` at the end.
    pub(crate) fn read(&mut self, packet: &mut Packet) -> Result<bool, Code> {
        packet.clear();
        // SAFETY: context and packet are ours.
        match check(unsafe { sys::av_read_frame(self.0, packet.0) }) {
            Ok(_) => Ok(true),
            Err(Code::END) => Ok(false),
            Err(code) => Err(code),
        }
    }

    /// Goes to the key packet at or before `timestamp`, in the time base of the stream.
    pub(crate) fn seek(&mut self, stream: usize, timestamp: i64) -> Result<(), Code> {
        // SAFETY: the context is ours.
        check(unsafe {
            sys::av_seek_frame(
                self.0,
                stream as c_int,
                timestamp,
                sys::AVSEEK_FLAG_BACKWARD,
            )
        })
        .map(|_| ())
    }

    /// The demuxer's own index of a stream; empty where the container has none.
    pub(crate) fn index_entries(&self, stream: usize) -> Vec<IndexEntry> {
        let Some(&stream) = self.stream_pointers().get(stream) else {
            return Vec::new();
        };
        // SAFETY: the stream belongs to the open context; entries are read before any other call.
        unsafe {
            (0..sys::avformat_index_get_entries_count(stream))
                .map_while(|i| sys::avformat_index_get_entry(stream, i).as_ref())
                .map(|entry| IndexEntry {
                    position: entry.pos,
                    size: entry.size() as u32,
                    timestamp: entry.timestamp,
                    key: entry.flags() & sys::AVINDEX_KEYFRAME as c_int != 0,
                    discard: entry.flags() & sys::AVINDEX_DISCARD_FRAME as c_int != 0,
                })
                .collect()
        }
    }
}

impl Drop for Input {
    fn drop(&mut self) {
        // SAFETY: ours, closed once.
        unsafe { sys::avformat_close_input(&mut self.0) }
    }
}

/// # Safety
/// `stream` must belong to an open context.
unsafe fn stream_info(stream: *mut sys::AVStream) -> StreamInfo {
    // SAFETY: by the caller's promise, the stream and its parameters are valid.
    unsafe {
        let s = &*stream;
        let p = s.codecpar;
        let codec = raw(&raw const (*p).codec_id) as c_uint;
        let descriptor = avcodec_descriptor_get(codec);
        let display_matrix =
            side_data(stream, sys::AVPacketSideDataType::AV_PKT_DATA_DISPLAYMATRIX)
                .filter(|data| data.len() >= 36)
                .map(|data| {
                    std::array::from_fn(|i| {
                        i32::from_ne_bytes(std::array::from_fn(|b| data[4 * i + b]))
                    })
                });
        let pair = |r: sys::AVRational| (r.num, r.den);
        use sys::AVPacketSideDataType as Side;
        StreamInfo {
            index: s.index as usize,
            kind: match raw(&raw const (*p).codec_type) {
                0 => StreamKind::Video,
                1 => StreamKind::Audio,
                2 => StreamKind::Data,
                3 => StreamKind::Subtitle,
                4 => StreamKind::Attachment,
                _ => StreamKind::Other,
            },
            codec: owned(avcodec_get_name(codec)),
            intra_only: !descriptor.is_null()
                && (*descriptor).props & sys::AV_CODEC_PROP_INTRA_ONLY as c_int != 0,
            attached_picture: s.disposition & sys::AV_DISPOSITION_ATTACHED_PIC as c_int != 0,
            default: s.disposition & sys::AV_DISPOSITION_DEFAULT as c_int != 0,
            sample_aspect: if s.sample_aspect_ratio.num > 0 {
                pair(s.sample_aspect_ratio)
            } else {
                pair((*p).sample_aspect_ratio)
            },
            average_rate: pair(s.avg_frame_rate),
            base_rate: pair(s.r_frame_rate),
            time_base: pair(s.time_base),
            start: Some(s.start_time).filter(|&t| t != sys::AV_NOPTS_VALUE),
            duration: Some(s.duration).filter(|&d| d != sys::AV_NOPTS_VALUE && d > 0),
            frames: s.nb_frames,
            primaries: raw(&raw const (*p).color_primaries),
            transfer: raw(&raw const (*p).color_trc),
            matrix: raw(&raw const (*p).color_space),
            range: raw(&raw const (*p).color_range),
            siting: raw(&raw const (*p).chroma_location),
            field_order: raw(&raw const (*p).field_order),
            rotation: display_matrix.as_ref().and_then(|matrix: &[i32; 9]| {
                let degrees = sys::av_display_rotation_get(matrix.as_ptr());
                degrees.is_finite().then_some(-degrees)
            }),
            display_matrix,
            hdr_side_data: [
                Side::AV_PKT_DATA_MASTERING_DISPLAY_METADATA,
                Side::AV_PKT_DATA_CONTENT_LIGHT_LEVEL,
                Side::AV_PKT_DATA_DOVI_CONF,
            ]
            .into_iter()
            .any(|kind| side_data(stream, kind).is_some()),
            extradata: if (*p).extradata.is_null() || (*p).extradata_size <= 0 {
                Vec::new()
            } else {
                std::slice::from_raw_parts((*p).extradata, (*p).extradata_size as usize).to_vec()
            },
            metadata: pairs(s.metadata),
        }
    }
}

/// # Safety
/// `stream` must belong to an open context; the result lives as long as it is not changed.
#[cfg(not(ffmpeg_6_1))]
pub(super) unsafe fn side_data<'a>(
    stream: *mut sys::AVStream,
    kind: sys::AVPacketSideDataType,
) -> Option<&'a [u8]> {
    let mut size = 0;
    // SAFETY: by the caller's promise; FFmpeg gives the size of what it points to.
    unsafe {
        let data = sys::av_stream_get_side_data(stream, kind, &mut size);
        (!data.is_null()).then(|| std::slice::from_raw_parts(data, size))
    }
}

/// # Safety
/// `stream` must belong to an open context; the result lives as long as it is not changed.
#[cfg(ffmpeg_6_1)]
pub(super) unsafe fn side_data<'a>(
    stream: *mut sys::AVStream,
    kind: sys::AVPacketSideDataType,
) -> Option<&'a [u8]> {
    // SAFETY: by the caller's promise; FFmpeg gives the size of what it points to.
    unsafe {
        let p = (*stream).codecpar;
        let found =
            sys::av_packet_side_data_get((*p).coded_side_data, (*p).nb_coded_side_data, kind);
        found
            .as_ref()
            .map(|data| std::slice::from_raw_parts(data.data, data.size))
    }
}
