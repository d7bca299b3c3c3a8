//! Copying sound and subtitles, packet for packet, and what else goes with them.

use crate::ffi::{Input, Output, Packet, StreamKind};
use crate::time::Rational;
use crate::{MediaError, file, probe};
use std::path::{Path, PathBuf};

/// Sound and subtitles of a source on their way to an output.
pub(crate) struct Sound {
    source: PathBuf,
    input: Input,
    packet: Packet,
    /// A packet waits for its time.
    waiting: bool,
    tracks: Vec<Track>,
    packets: u64,
    /// Only packets that begin within the part are copied.
    part: bool,
}

struct Track {
    from: usize,
    to: usize,
    base: Rational,
    /// Added to times, so that the picture begins at zero.
    shift: i64,
}

impl Sound {
    /// Adds the tracks, the chapters and the mastering data of a source to an output that has its
    /// picture and no header yet; `None` if there is no track to copy. What QuickTime cannot carry is
    /// left out and noted.
    pub(crate) fn open(
        source: &Path,
        (start, base): (i64, Rational),
        (picture, part): (usize, bool),
        output: &mut Output,
        target: &Path,
        notes: &mut Vec<String>,
    ) -> Result<Option<Self>, MediaError> {
        let mut input = Input::open(source, crate::reader::CONTAINERS)
            .map_err(|code| file::opening_error(source, code))?;
        let streams = input.streams();
        if let Some(video) = probe::choose_video(&streams) {
            output
                .copy_mastering(picture, &input, video.index)
                .map_err(|code| MediaError::muxing(target, code))?;
        }
        output
            .copy_chapters(&input, -(start as f64) * base.value())
            .map_err(|code| MediaError::muxing(target, code))?;
        let mut tracks = Vec::new();
        for stream in streams {
            if !matches!(stream.kind, StreamKind::Audio | StreamKind::Subtitle) {
                continue;
            }
            if !output.carries(&input, stream.index) {
                notes.push(format!(
                    "{} stream {} ({}) is not kept: QuickTime does not carry it",
                    probe::kind_name(stream.kind),
                    stream.index,
                    stream.codec
                ));
                continue;
            }
            let to = output
                .add_copied(&input, stream.index)
                .map_err(|code| MediaError::muxing(target, code))?;
            let own = Rational::from(stream.time_base);
            let shift = -(start as f64 * base.value() / own.value()).round() as i64;
            tracks.push(Track {
                from: stream.index,
                to,
                base: own,
                shift,
            });
        }
        if tracks.is_empty() {
            return Ok(None);
        }
        input.keep_streams(|index| tracks.iter().any(|t| t.from == index));
        Ok(Some(Self {
            source: source.into(),
            input,
            packet: Packet::new().map_err(|code| MediaError::muxing(target, code))?,
            waiting: false,
            tracks,
            packets: 0,
            part,
        }))
    }

    /// Packets copied so far.
    pub(crate) fn packets(&self) -> u64 {
        self.packets
    }

    /// Copies every packet up to a time of the output, in seconds.
    pub(crate) fn copy_until(
        &mut self,
        seconds: f64,
        output: &mut Output,
        target: &Path,
    ) -> Result<(), MediaError> {
        loop {
            if !self.waiting {
                match self.input.read(&mut self.packet) {
                    Ok(true) => self.waiting = true,
                    Ok(false) => return Ok(()),
                    Err(code) => {
                        return Err(MediaError::Unreadable {
                            path: self.source.clone(),
                            reason: format!("its sound breaks off: {}", code.text()),
                        });
                    }
                }
            }
            let Some(track) = self.tracks.iter().find(|t| t.from == self.packet.stream()) else {
                self.waiting = false;
                continue;
            };
            let time = self.packet.dts().or(self.packet.pts()).unwrap_or(0);
            let at = (time + track.shift) as f64 * track.base.value();
            // Of a part, the sound up to its end; of the whole, the last packet too.
            if at > seconds || (at == seconds && self.part) {
                return Ok(());
            }
            self.waiting = false;
            if self.part && at < 0.0 {
                continue;
            }
            self.packet.shift(track.shift);
            self.packet.set_stream(track.to);
            self.packet
                .rescale(track.base.pair(), output.time_base(track.to));
            output
                .write(&mut self.packet)
                .map_err(|code| MediaError::muxing(target, code))?;
            self.packets += 1;
        }
    }
}
