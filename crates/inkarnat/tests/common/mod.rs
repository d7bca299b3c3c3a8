//! Small clips made with the `ffmpeg` program, and the real binary on them.
#![allow(
    dead_code,
    clippy::disallowed_methods,
    reason = "shared by several test programs, which run programs and write files"
)]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// The patch that fits [`clip`]: inside the ellipse on frame 0.
pub(crate) const PATCH: &str = "ellipse=0.40,0.5,0.06,0.12";

/// Where script/setup puts the face models.
pub(crate) const MODELS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../.cache/faces");

/// Size of the clips.
pub(crate) const SIZE: (usize, usize) = (192, 108);

/// What a clip is made like.
pub(crate) struct Make {
    pub(crate) frames: usize,
    /// Gains of R', G' and B' on everything: a cast and an exposure.
    pub(crate) gains: [f64; 3],
    pub(crate) scale: usize,
    /// Brightness of the wall, 0–1, as FFmpeg's `geq` writes it.
    pub(crate) wall: &'static str,
    pub(crate) sound: bool,
}

impl Default for Make {
    fn default() -> Self {
        Self {
            frames: 16,
            gains: [1.06, 1.0, 0.88],
            scale: 1,
            wall: "0.25+0.5*Y/H",
            sound: true,
        }
    }
}

/// A skin-coloured, textured ellipse that moves over a grey wall with a ramp, tagged BT.709.
pub(crate) fn clip(path: &Path, make: &Make) {
    let (width, height) = (SIZE.0 * make.scale, SIZE.1 * make.scale);
    // The ellipse drifts by a third of a pixel a frame; its texture moves with it.
    let x = "(X/W-0.40-0.0018*T*24)";
    let y = "(Y/H-0.5)";
    let texture = format!("(1+0.05*sin({x}*190)*sin({y}*120)+0.03*sin({x}*70+{y}*90))");
    let face = format!("lt(hypot({x}/0.12,{y}/0.3),1)");
    let channel = |skin: f64, gain: f64| {
        let wall = make.wall;
        format!("255*{gain}*if({face},{skin}*{texture},{wall}+0.02*sin(X*0.7)*sin(Y*0.9))")
    };
    let [r, g, b] = [(0.66, 0), (0.49, 1), (0.40, 2)].map(|(s, i)| channel(s, make.gains[i]));
    let picture = format!(
        "color=black:s={width}x{height}:r=24,format=gbrp,geq=r='{r}':g='{g}':b='{b}',\
         scale=out_color_matrix=bt709:out_range=tv,format=yuv420p"
    );
    let mut command = Command::new("ffmpeg");
    command.args([
        "-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i", &picture,
    ]);
    if make.sound {
        command.args([
            "-f",
            "lavfi",
            "-i",
            "sine=440:r=48000",
            "-c:a",
            "aac",
            "-shortest",
        ]);
    }
    let seconds = make.frames as f64 / 24.0;
    command
        .args([
            "-frames:v",
            &make.frames.to_string(),
            "-t",
            &seconds.to_string(),
        ])
        .args([
            "-c:v", "libx264", "-crf", "10", "-preset", "veryfast", "-g", "12",
        ])
        .args([
            "-colorspace",
            "bt709",
            "-color_primaries",
            "bt709",
            "-color_trc",
            "bt709",
        ])
        .args(["-color_range", "tv", "-timecode", "10:00:00:00"])
        .arg(path);
    succeed(&mut command);
}

/// Runs a program that must succeed.
pub(crate) fn succeed(command: &mut Command) -> Output {
    let output = command.output().expect("the program starts");
    assert!(
        output.status.success(),
        "{command:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    output
}

/// What a run of the binary gave.
pub(crate) struct Ran {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Ran {
    /// Fails unless the exit code is this.
    pub(crate) fn ends(self, code: i32) -> Self {
        assert_eq!(self.code, code, "out: {}\nerr: {}", self.out, self.err);
        self
    }

    /// Fails unless some one line of the errors holds all of the words.
    pub(crate) fn says(self, words: &[&str]) -> Self {
        assert!(
            self.err
                .lines()
                .any(|line| words.iter().all(|word| line.contains(word))),
            "no line with {words:?} in: {}",
            self.err
        );
        self
    }
}

/// The binary with a working directory.
pub(crate) fn command(directory: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_inkarnat"));
    command
        .current_dir(directory)
        .stdin(Stdio::null())
        .env("INKARNAT_FACES", MODELS);
    command
}

/// Runs the binary.
pub(crate) fn inkarnat(directory: &Path, arguments: &[&str]) -> Ran {
    ran(command(directory).args(arguments))
}

pub(crate) fn ran(command: &mut Command) -> Ran {
    let output = command.output().expect("the binary starts");
    Ran {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// `show --json` of a film.
pub(crate) fn shown(directory: &Path, film: &str) -> Value {
    let ran = inkarnat(directory, &["show", film, "--json"]);
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {}", ran.err))
}

/// Every file below a directory, by its path from there.
pub(crate) fn files(directory: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut found = Vec::new();
    let mut open = vec![directory.to_owned()];
    while let Some(next) = open.pop() {
        let Ok(entries) = std::fs::read_dir(&next) else {
            continue;
        };
        for entry in entries.flatten() {
            let path = entry.path();
            if path.is_dir() {
                open.push(path);
            } else {
                let bytes = std::fs::read(&path).unwrap();
                found.push((path.strip_prefix(directory).unwrap().to_owned(), bytes));
            }
        }
    }
    found.sort();
    found
}

/// What the `ffprobe` program says of the first video stream.
pub(crate) fn probed(path: &Path, entries: &str) -> String {
    let output = succeed(
        Command::new("ffprobe")
            .args([
                "-v",
                "error",
                "-select_streams",
                "v:0",
                "-count_packets",
                "-show_entries",
            ])
            .arg(format!("stream={entries}"))
            .args(["-of", "csv=p=0"])
            .arg(path),
    );
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}
