//! Running the programs, and small pictures of numbers.

use inkarnat_color::picture::{Native, Plane, Planes16, Samples};
use inkarnat_media::{Frame, MediaError, Reader, Writer, WriterOptions};
use std::path::{Path, PathBuf};
use std::process::Command;

/// A folder for one test, removed at its end.
pub(crate) fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

pub(crate) fn run(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program)
        .args(["-hide_banner", "-v", "error"])
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("the program {program} is needed: {error}"));
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

/// Runs `ffmpeg … PATH`, the arguments split at spaces.
pub(crate) fn ffmpeg(arguments: &str, path: &Path) -> PathBuf {
    let mut list: Vec<&str> = arguments.split_whitespace().collect();
    let name = path.to_str().expect("a UTF-8 name");
    list.extend(["-y", name]);
    run("ffmpeg", &list);
    path.to_owned()
}

/// Fields of the first stream of a kind (`v`, `a`), as `name=value` lines.
pub(crate) fn ffprobe(path: &Path, kind: &str, fields: &str) -> Vec<String> {
    let selected = format!("stream={fields}");
    let arguments = [
        "-select_streams",
        kind,
        "-show_entries",
        &selected,
        "-of",
        "default=nokey=0:noprint_wrappers=1",
        path.to_str().expect("a UTF-8 name"),
    ];
    // Transport streams are listed a second time, by programme.
    let first = fields.split(',').count();
    run("ffprobe", &arguments)
        .lines()
        .take(first)
        .map(str::to_owned)
        .collect()
}

/// One field of the first stream of a kind.
pub(crate) fn field(path: &Path, kind: &str, name: &str) -> String {
    let lines = ffprobe(path, kind, name);
    let line = lines
        .first()
        .unwrap_or_else(|| panic!("{}: no {name}", path.display()));
    line.split_once('=').expect("name=value").1.to_owned()
}

/// How many frames of a file's picture `ffprobe` can decode.
pub(crate) fn decodable(path: &Path) -> usize {
    let entries = [
        "-select_streams",
        "v",
        "-count_frames",
        "-show_entries",
        "stream=nb_read_frames",
        "-of",
        "csv=p=0",
        path.to_str().expect("a UTF-8 name"),
    ];
    let text = run("ffprobe", &entries);
    let count = text.trim().trim_end_matches(',');
    count
        .parse()
        .unwrap_or_else(|_| panic!("{}: {text}", path.display()))
}

/// The earliest time of a stream's packets, in seconds.
pub(crate) fn first_packet(path: &Path, kind: &str) -> f64 {
    let path = path.to_str().expect("a UTF-8 name");
    let entries = ["-show_entries", "packet=pts_time", "-of", "csv=p=0", path];
    run(
        "ffprobe",
        &[&["-select_streams", kind], &entries[..]].concat(),
    )
    .lines()
    .filter_map(|line| line.trim_end_matches(',').parse::<f64>().ok())
    .fold(f64::INFINITY, f64::min)
}

/// MD5 over the packets of a file's sound, by `ffmpeg`.
pub(crate) fn sound_md5(path: &Path) -> String {
    let path = path.to_str().expect("a UTF-8 name");
    run(
        "ffmpeg",
        &["-i", path, "-map", "0:a", "-c", "copy", "-f", "md5", "-"],
    )
}

/// The codes of a plane without its padding.
pub(crate) fn codes(plane: &Plane<'_>) -> Vec<u16> {
    let mut codes = Vec::with_capacity(plane.width * plane.height);
    for row in 0..plane.height {
        let start = row * plane.stride;
        match plane.samples {
            Samples::U8(s) => {
                codes.extend(s[start..start + plane.width].iter().map(|&c| u16::from(c)))
            }
            Samples::U16(s) => codes.extend_from_slice(&s[start..start + plane.width]),
        }
    }
    codes
}

/// All codes of a picture.
pub(crate) fn all_codes(native: &Native<'_>) -> [Vec<u16>; 3] {
    native.planes.each_ref().map(codes)
}

/// Every frame of a clip.
pub(crate) fn frames(path: &Path) -> Vec<Frame> {
    let mut reader = Reader::open(path).unwrap_or_else(|error| panic!("{error}"));
    let mut frames = Vec::new();
    while let Some(frame) = reader
        .next_frame()
        .unwrap_or_else(|error| panic!("{error}"))
    {
        frames.push(frame);
    }
    frames
}

/// Writes a clip again without a change of its picture.
pub(crate) fn copy(
    source: &Path,
    target: &Path,
    codec: inkarnat_media::Codec,
) -> Result<inkarnat_media::Written, MediaError> {
    let mut reader = Reader::open(source)?;
    let options = WriterOptions::like(reader.probe(), codec);
    let mut picture = Planes16::new(options.width, options.height, options.format());
    let mut writer = Writer::create(target, options)?;
    while let Some(frame) = reader.next_frame()? {
        picture.fill_from_native(&frame.native());
        writer.write(&picture, frame.time())?;
    }
    writer.finish()
}

/// Whole numbers that look random, the same on every run (Knuth's MMIX generator).
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn below(&mut self, limit: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }
}
