//! The frames of a clip by their timestamps, and where decoding has to start for each.

use crate::ffi::{Code, IndexEntry, Input, Packet, StreamInfo};
use crate::h264;
use crate::time::Rational;

/// One packet of the video stream, in the order of decoding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Entry {
    pub(crate) pts: i64,
    pub(crate) dts: i64,
    pub(crate) duration: i64,
    pub(crate) key: bool,
    /// Decoded, but cut away by an edit list.
    pub(crate) discard: bool,
}

/// All packets of the video stream.
#[derive(Clone, Debug, Default)]
pub(crate) struct Index {
    entries: Vec<Entry>,
    /// Positions in `entries` by presentation time, without discarded packets.
    shown: Vec<u32>,
    /// Presentation times of `shown`.
    times: Vec<i64>,
    /// Every packet has a presentation time of its own.
    timed: bool,
    /// The last packet, or more, is cut off.
    pub(crate) cut_off: bool,
    /// Packets that the demuxer calls damaged.
    pub(crate) damaged: usize,
}

impl Index {
    fn new(entries: Vec<Entry>, timed: bool) -> Self {
        let mut shown: Vec<u32> = (0..entries.len() as u32)
            .filter(|&i| !entries[i as usize].discard)
            .collect();
        shown.sort_by_key(|&i| entries[i as usize].pts);
        let times: Vec<i64> = shown.iter().map(|&i| entries[i as usize].pts).collect();
        let timed = timed && times.windows(2).all(|pair| pair[0] < pair[1]);
        Self {
            entries,
            shown,
            times,
            timed,
            cut_off: false,
            damaged: 0,
        }
    }

    /// From the container's own index, where it can be trusted without reading the packets: every
    /// packet is a picture of its own, so that decoding time and presentation time are the same.
    fn from_container(
        entries: &[IndexEntry],
        stream: &StreamInfo,
        file_length: u64,
    ) -> Option<Self> {
        let complete = stream.intra_only
            && !entries.is_empty()
            && stream.frames == entries.len() as i64
            && entries.iter().all(|e| e.size > 0 && e.position >= 0)
            && entries.windows(2).all(|p| p[0].timestamp < p[1].timestamp);
        if !complete {
            return None;
        }
        let readable: Vec<Entry> = entries
            .iter()
            .take_while(|e| e.position as u64 + u64::from(e.size) <= file_length)
            .map(|e| Entry {
                pts: e.timestamp,
                dts: e.timestamp,
                duration: 0,
                key: e.key,
                discard: e.discard,
            })
            .collect();
        let cut_off = readable.len() < entries.len();
        let mut index = Self::new(readable, true);
        index.cut_off = cut_off;
        Some(index)
    }

    /// Builds the index of a stream; reads through the file where the container's own does not do.
    ///
    /// The input is left wherever reading ended.
    pub(crate) fn build(
        input: &mut Input,
        stream: &StreamInfo,
        file_length: u64,
    ) -> Result<Self, Code> {
        let entries = input.index_entries(stream.index);
        if input.container().starts_with("mov")
            && let Some(index) = Self::from_container(&entries, stream, file_length)
        {
            return Ok(index);
        }
        // A sample table that points beyond the end of the file gives silence, not an error.
        let beyond = entries
            .iter()
            .any(|e| e.position >= 0 && e.position as u64 + u64::from(e.size) > file_length);
        input.keep_streams(|index| index == stream.index);
        let framing = (stream.codec == "h264").then(|| h264::Framing::of(&stream.extradata));
        let mut packet = Packet::new()?;
        let mut entries = Vec::new();
        let (mut timed, mut cut_off, mut damaged) = (true, beyond, 0);
        loop {
            match input.read(&mut packet) {
                Ok(true) => {}
                Ok(false) => break,
                Err(Code::NO_MEMORY) => return Err(Code::NO_MEMORY),
                Err(_) => {
                    cut_off = true;
                    break;
                }
            }
            if packet.stream() != stream.index || packet.size() == 0 {
                continue;
            }
            if packet.corrupt() {
                damaged += 1;
                if beyond {
                    continue;
                }
            }
            timed &= packet.pts().is_some();
            let order = entries.len() as i64;
            let pts = packet.pts().or(packet.dts()).unwrap_or(order);
            entries.push(Entry {
                pts,
                dts: packet.dts().unwrap_or(pts),
                duration: packet.duration(),
                key: packet.key()
                    && framing.is_none_or(|framing| h264::begins_clean(packet.data(), framing)),
                discard: packet.discard(),
            });
        }
        let mut index = Self::new(entries, timed);
        index.cut_off = cut_off;
        index.damaged = damaged;
        Ok(index)
    }

    /// Frames that are shown.
    pub(crate) fn len(&self) -> u64 {
        self.shown.len() as u64
    }

    /// Presentation times name frames, so that seeking can use them.
    pub(crate) fn timed(&self) -> bool {
        self.timed
    }

    /// Presentation time of a frame.
    pub(crate) fn time(&self, frame: u64) -> Option<i64> {
        self.times.get(frame as usize).copied()
    }

    /// The time from a frame to the next; of the last, its packet's own, else that of the frame
    /// before.
    pub(crate) fn duration(&self, frame: u64) -> i64 {
        let frame = frame as usize;
        if let [this, next, ..] = self.times.get(frame..).unwrap_or_default() {
            return next - this;
        }
        let own = self
            .shown
            .get(frame)
            .map_or(0, |&i| self.entries[i as usize].duration);
        if own > 0 {
            own
        } else if frame > 0 && frame < self.times.len() {
            self.times[frame] - self.times[frame - 1]
        } else {
            0
        }
    }

    /// Gives frames without times of their own times by their number.
    pub(crate) fn space_evenly(&mut self, ticks: i64) {
        for (number, time) in (0i64..).zip(&mut self.times) {
            *time = number * ticks;
        }
    }

    /// Says how long the last frame is shown.
    pub(crate) fn set_last_duration(&mut self, duration: i64) {
        if let Some(&last) = self.shown.last() {
            self.entries[last as usize].duration = duration;
        }
    }

    /// Says when the last frame ends; without effect if that is not after its beginning.
    pub(crate) fn end_at(&mut self, end: i64) {
        if let Some(&time) = self.times.last()
            && end > time
        {
            self.set_last_duration(end - time);
        }
    }

    /// The frame that is shown at a time, not before `from`.
    pub(crate) fn frame_at(&self, time: i64, from: u64) -> Option<u64> {
        let first = self.times.partition_point(|&t| t < time) as u64;
        let frame = first.max(from);
        (self.times.get(frame as usize) == Some(&time)).then_some(frame)
    }

    /// Position, in decoding order, of the packet where decoding has to start to get a frame right:
    /// the last key packet whose own picture is shown no later than the frame. Pictures that follow
    /// a key picture in the file but are shown before it may need the group before (open groups).
    pub(crate) fn start_of(&self, frame: u64) -> usize {
        let Some(&position) = self.shown.get(frame as usize) else {
            return 0;
        };
        let time = self.entries[position as usize].pts;
        self.entries[..=position as usize]
            .iter()
            .rposition(|entry| entry.key && entry.pts <= time)
            .unwrap_or(0)
    }

    /// The key packet before a position, or the first packet.
    pub(crate) fn key_before(&self, position: usize) -> usize {
        self.entries[..position]
            .iter()
            .rposition(|entry| entry.key)
            .unwrap_or(0)
    }

    pub(crate) fn entry(&self, position: usize) -> Option<&Entry> {
        self.entries.get(position)
    }

    /// The frame's packet is a key packet.
    pub(crate) fn is_key(&self, frame: u64) -> bool {
        self.shown
            .get(frame as usize)
            .is_some_and(|&i| self.entries[i as usize].key)
    }

    /// Position, in decoding order, of a packet.
    pub(crate) fn position_of(&self, pts: Option<i64>, dts: Option<i64>) -> Option<usize> {
        let pts = pts?;
        self.entries
            .iter()
            .position(|e| e.pts == pts && dts.is_none_or(|dts| dts == e.dts))
    }

    /// The constant frame rate, if there is one: every frame lies within one tick (and a little) of
    /// where the rate puts it. Otherwise the mean rate and `false`.
    pub(crate) fn rate(&self, time_base: Rational, hints: [Rational; 2]) -> (Rational, bool) {
        let usable = |rate: &Rational| rate.is_positive() && rate.value() < 1000.0;
        let count = self.times.len();
        if !self.timed || count < 2 {
            let rate = hints.into_iter().find(usable);
            return (rate.unwrap_or(Rational::new(25, 1)), true);
        }
        let tick = time_base.value();
        let span = (self.times[count - 1] - self.times[0]) as f64 * tick;
        let mean = (count - 1) as f64 / span;
        let constant = |rate: &Rational| {
            let ticks = 1.0 / (rate.value() * tick);
            self.times
                .iter()
                .enumerate()
                .all(|(i, &t)| ((t - self.times[0]) as f64 - i as f64 * ticks).abs() <= 1.01)
        };
        let nearest = COMMON_RATES
            .into_iter()
            .map(Rational::from)
            .filter(|rate| (rate.value() / mean - 1.0).abs() < 0.002)
            .min_by(|a, b| {
                (a.value() - mean)
                    .abs()
                    .total_cmp(&(b.value() - mean).abs())
            });
        let exact = exact_mean(
            count as i64 - 1,
            self.times[count - 1] - self.times[0],
            time_base,
        );
        for rate in nearest.into_iter().chain(hints).chain(exact).filter(usable) {
            if constant(&rate) {
                return (rate, true);
            }
        }
        let rate = exact.filter(usable).or(hints.into_iter().find(usable));
        (rate.unwrap_or(Rational::new(25, 1)), false)
    }
}

/// Rates in use, to be preferred over what rounded timestamps suggest.
const COMMON_RATES: [(i32, i32); 12] = [
    (24_000, 1001),
    (24, 1),
    (25, 1),
    (30_000, 1001),
    (30, 1),
    (48_000, 1001),
    (48, 1),
    (50, 1),
    (60_000, 1001),
    (60, 1),
    (120_000, 1001),
    (120, 1),
];

fn exact_mean(frames: i64, ticks: i64, time_base: Rational) -> Option<Rational> {
    let (num, den) = (
        frames.checked_mul(i64::from(time_base.den))?,
        ticks.checked_mul(i64::from(time_base.num))?,
    );
    let (mut a, mut b) = (num, den);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    let (mut num, mut den) = (num.checked_div(a)?, den.checked_div(a)?);
    while num > i64::from(i32::MAX) || den > i64::from(i32::MAX) {
        (num, den) = (num / 2, den / 2);
    }
    Some(Rational::new(num as i32, den as i32))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(pts: i64, dts: i64, key: bool) -> Entry {
        Entry {
            pts,
            dts,
            duration: 1,
            key,
            discard: false,
        }
    }

    /// Decoding order I0 P3 B1 B2 | I6 B4 B5 P9 B7 B8: an open group, B4 and B5 need P3.
    fn open_group() -> Index {
        let pts = [0, 3, 1, 2, 6, 4, 5, 9, 7, 8];
        let entries = pts
            .iter()
            .enumerate()
            .map(|(i, &pts)| entry(pts, i as i64 - 2, matches!(pts, 0 | 6)))
            .collect();
        Index::new(entries, true)
    }

    #[test]
    fn leading_pictures_start_a_group_earlier() {
        let index = open_group();
        assert_eq!(index.len(), 10);
        assert_eq!(index.start_of(3), 0);
        assert_eq!(index.start_of(4), 0);
        assert_eq!(index.start_of(5), 0);
        assert_eq!(index.start_of(6), 4);
        assert_eq!(index.start_of(7), 4);
        assert_eq!(index.key_before(4), 0);
        assert_eq!(index.frame_at(5, 0), Some(5));
        assert_eq!(index.frame_at(11, 0), None);
    }

    #[test]
    fn rates_from_rounded_and_uneven_times() {
        let made = |times: Vec<i64>| {
            Index::new(times.into_iter().map(|t| entry(t, t, true)).collect(), true)
        };
        let none = [Rational::new(0, 0); 2];
        // Milliseconds, as Matroska rounds them.
        let film = made((0..100).map(|i| (i * 1001 + 12) / 24).collect());
        assert_eq!(
            film.rate(Rational::new(1, 1000), none),
            (Rational::new(24_000, 1001), true)
        );
        let odd = made((0..50).map(|i| i * 7).collect());
        assert_eq!(
            odd.rate(Rational::new(1, 100), none),
            (Rational::new(100, 7), true)
        );
        let uneven = made(vec![0, 40, 120, 160, 300]);
        assert!(!uneven.rate(Rational::new(1, 1000), none).1);
    }
}
