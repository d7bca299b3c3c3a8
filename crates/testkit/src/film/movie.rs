//! Raw frames into and out of the `ffmpeg` program.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use inkarnat_color::picture::{Planes16, Subsampling};

use super::{RATE, timecode};
use crate::render::video_format;
use crate::scene::Codec;

/// What goes wrong with movies.
#[derive(Debug)]
pub struct MovieError(pub String);

impl std::fmt::Display for MovieError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for MovieError {}

fn failed(what: &str, why: impl std::fmt::Display) -> MovieError {
    MovieError(format!("{what}: {why}"))
}

impl Codec {
    const fn pixel_format(self) -> &'static str {
        match self {
            Self::H264 => "yuv420p",
            Self::H264Ten | Self::ProRes => "yuv422p10le",
        }
    }

    const fn arguments(self) -> &'static [&'static str] {
        match self {
            Self::H264 => &["-c:v", "libx264", "-preset", "veryfast", "-crf", "16"],
            Self::H264Ten => &[
                "-c:v",
                "libx264",
                "-preset",
                "veryfast",
                "-crf",
                "14",
                "-profile:v",
                "high422",
                // Without it the MOV muxer takes 1280x720 and 1920x1080 at usual rates for an intra-only format with
                // parameter sets of its own, and no decoder reads the file.
                "-tag:v",
                "avc1",
                "-strict",
                "unofficial",
            ],
            Self::ProRes => &["-c:v", "prores_ks", "-profile:v", "3", "-vendor", "apl0"],
        }
    }
}

const TAGS: &str = "setparams=range=tv:color_primaries=bt709:color_trc=bt709:colorspace=bt709";

/// A movie being written; appears under its name only when finished.
#[derive(Debug)]
pub struct Writer {
    child: Child,
    part: PathBuf,
    path: PathBuf,
    depth: u8,
}

/// What a movie file carries beside its pictures.
#[derive(Debug, Clone, Copy)]
pub struct Track<'a> {
    /// First timecode, in frames.
    pub start: u64,
    /// Frames.
    pub frames: u64,
    /// Seed of its room tone.
    pub seed: u32,
    /// Reel name.
    pub reel: &'a str,
}

impl Writer {
    /// Starts a movie of the given size.
    ///
    /// # Errors
    /// When `ffmpeg` cannot be started.
    pub fn new(
        path: &Path,
        codec: Codec,
        (width, height): (usize, usize),
        track: Track<'_>,
    ) -> Result<Self, MovieError> {
        let part = path.with_extension("part.mov");
        let seconds = track.frames as f64 / RATE as f64;
        let room = format!(
            "anoisesrc=color=brown:amplitude=0.02:seed={}:sample_rate=48000:duration={seconds}",
            track.seed
        );
        let child = Command::new("ffmpeg")
            .args([
                "-v",
                "error",
                "-y",
                "-f",
                "rawvideo",
                "-pix_fmt",
                codec.pixel_format(),
            ])
            .args(["-s", &format!("{width}x{height}"), "-r", &RATE.to_string()])
            .args(["-color_range", "tv", "-i", "-", "-f", "lavfi", "-i", &room])
            .args(["-map", "0:v", "-map", "1:a"])
            .args(codec.arguments())
            .args(["-pix_fmt", codec.pixel_format()])
            // On the frames: FFmpeg 5.1 takes the tags of ProRes from there, and left such files untagged when they stood
            // on the encoder alone.
            .args(["-vf", TAGS])
            .args([
                "-color_primaries",
                "bt709",
                "-color_trc",
                "bt709",
                "-colorspace",
                "bt709",
            ])
            .args(["-color_range", "tv", "-c:a", "pcm_s16le", "-ac", "2"])
            .args([
                "-fflags",
                "+bitexact",
                "-flags:v",
                "+bitexact",
                "-flags:a",
                "+bitexact",
            ])
            .args(["-metadata:s:v", &format!("reel_name={}", track.reel)])
            .args(["-timecode", &timecode(track.start)])
            .arg(&part)
            .stdin(Stdio::piped())
            .spawn()
            .map_err(|e| failed("ffmpeg", e))?;
        Ok(Self {
            child,
            part,
            path: path.to_owned(),
            depth: codec.sampling().1,
        })
    }

    /// Appends a frame, in the sampling and depth of the codec.
    ///
    /// # Errors
    /// When `ffmpeg` stopped listening.
    pub fn write(&mut self, frame: &Planes16) -> Result<(), MovieError> {
        let mut bytes = Vec::with_capacity(frame.planes.iter().map(Vec::len).sum::<usize>() * 2);
        for plane in &frame.planes {
            if self.depth == 8 {
                bytes.extend(plane.iter().map(|v| *v as u8));
            } else {
                bytes.extend(plane.iter().flat_map(|v| v.to_le_bytes()));
            }
        }
        let pipe = self
            .child
            .stdin
            .as_mut()
            .ok_or(MovieError("ffmpeg is finished".into()))?;
        pipe.write_all(&bytes)
            .map_err(|e| failed(&self.path.display().to_string(), e))
    }

    /// Ends the movie and gives it its name.
    ///
    /// # Errors
    /// When `ffmpeg` failed or the file cannot be renamed.
    pub fn finish(mut self) -> Result<(), MovieError> {
        drop(self.child.stdin.take());
        let name = self.path.display().to_string();
        let status = self.child.wait().map_err(|e| failed(&name, e))?;
        if !status.success() {
            return Err(failed(&name, format!("ffmpeg ended with {status}")));
        }
        std::fs::rename(&self.part, &self.path).map_err(|e| failed(&name, e))
    }
}

/// Frames of a movie from one on, decoded to 10 bit 4:2:2.
#[derive(Debug)]
pub struct Reader {
    child: Child,
    size: (usize, usize),
}

impl Reader {
    /// Opens a movie at a frame.
    ///
    /// # Errors
    /// When `ffmpeg` cannot be started.
    pub fn new(
        path: &Path,
        size: (usize, usize),
        from: u64,
        frames: u64,
    ) -> Result<Self, MovieError> {
        let select = format!("trim=start_frame={from}:end_frame={}", from + frames);
        let child = Command::new("ffmpeg")
            .args(["-v", "error", "-i"])
            .arg(path)
            .args(["-map", "0:v:0", "-vf", &select, "-vsync", "passthrough"])
            .args(["-f", "rawvideo", "-pix_fmt", "yuv422p10le", "-"])
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|e| failed("ffmpeg", e))?;
        Ok(Self { child, size })
    }

    /// The next frame.
    ///
    /// # Errors
    /// When the movie ends early.
    pub fn read(&mut self) -> Result<Planes16, MovieError> {
        let (width, height) = self.size;
        let mut frame = Planes16::new(width, height, video_format(Subsampling::S422, 10));
        let pipe = self
            .child
            .stdout
            .as_mut()
            .ok_or(MovieError("ffmpeg is finished".into()))?;
        for plane in &mut frame.planes {
            let mut bytes = vec![0u8; plane.len() * 2];
            pipe.read_exact(&mut bytes)
                .map_err(|e| failed("a movie ends early", e))?;
            for (value, pair) in plane.iter_mut().zip(bytes.chunks_exact(2)) {
                *value = u16::from_le_bytes([pair[0], pair[1]]);
            }
        }
        Ok(frame)
    }
}

impl Drop for Reader {
    fn drop(&mut self) {
        // Its output may not be wanted to the end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
