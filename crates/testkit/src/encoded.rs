//! The tool as an editor runs it: shots are encoded, the `inkarnat` program is run on the files, and what it delivers is
//! decoded again.

use std::path::{Path, PathBuf};
use std::process::Command;

use inkarnat_color::Rgb;
use inkarnat_color::picture::Region as Area;
use serde_json::Value;

use crate::corrector::{Corrected, Corrector, PersonAim, SceneInput, Verdict};
use crate::film::movie::{Reader, Track, Writer};
use crate::render::quantise;

/// Frames of every encoded shot.
const FRAMES: u64 = 6;

/// Runs the program at a path.
#[derive(Debug, Clone)]
pub struct EncodedTool {
    program: PathBuf,
}

impl EncodedTool {
    /// The row's name.
    pub const NAME: &'static str = "the tool, own, through files";

    /// The program at `program`.
    #[must_use]
    pub fn new(program: impl Into<PathBuf>) -> Self {
        Self {
            program: program.into(),
        }
    }
}

impl Corrector for EncodedTool {
    fn name(&self) -> &str {
        Self::NAME
    }

    fn correct(&self, scene: &SceneInput<'_>) -> Result<Vec<Corrected>, String> {
        let directory = tempfile::tempdir().map_err(|e| e.to_string())?;
        let out = directory.path().join("out");
        let mut command = Command::new(&self.program);
        command.arg("run");
        for (number, shot) in scene.shots.iter().enumerate() {
            let path = clip(directory.path(), number);
            let (subsampling, depth) = shot.codec.sampling();
            let codes = quantise(shot.picture, subsampling, depth);
            let size = (shot.picture.width, shot.picture.height);
            let track = Track {
                start: 0,
                frames: FRAMES,
                seed: 1,
                reel: "T001",
            };
            let mut writer =
                Writer::new(&path, shot.codec, size, track).map_err(|e| e.to_string())?;
            for _ in 0..FRAMES {
                writer.write(&codes).map_err(|e| e.to_string())?;
            }
            writer.finish().map_err(|e| e.to_string())?;
            command.arg(&path);
        }
        for (number, shot) in scene.shots.iter().enumerate() {
            for (name, [cx, cy, rx, ry]) in scene.people.iter().zip(shot.patches) {
                let path = clip(directory.path(), number);
                let file = path
                    .file_name()
                    .unwrap_or_default()
                    .to_string_lossy()
                    .into_owned();
                command.args([
                    "--patch",
                    &format!("{file}@0:ellipse={cx:.5},{cy:.5},{rx:.5},{ry:.5}:person={name}"),
                ]);
            }
        }
        for (person, name) in scene.people.iter().enumerate() {
            // An aim belongs to a person, not to a shot.
            if let Some(PersonAim::Typed { level_pct, hue_deg }) =
                scene.aims.first().map(|a| a[person])
            {
                command.args([
                    "--person",
                    &format!(
                        "{name}=level:{:.2}-{:.2},hue:{:.2}-{:.2}",
                        level_pct[0], level_pct[1], hue_deg[0], hue_deg[1]
                    ),
                ]);
            }
        }
        let result = command
            .arg("--to")
            .arg(&out)
            .args(["--codec", "prores"])
            .output()
            .map_err(|e| format!("{}: {e}", self.program.display()))?;
        // 0 all well, 2 some shot is short or failed proof: both have delivered.
        if !matches!(result.status.code(), Some(0 | 2)) {
            let said = String::from_utf8_lossy(&result.stderr);
            return Err(format!(
                "{}: {}",
                result.status,
                said.lines().last().unwrap_or_default()
            ));
        }
        let readings = std::fs::read_to_string(out.join("readings.json"))
            .map_err(|e| format!("readings.json: {e}"))?;
        let readings: Value =
            serde_json::from_str(&readings).map_err(|e| format!("readings.json: {e}"))?;
        scene
            .shots
            .iter()
            .enumerate()
            .map(|(number, shot)| {
                let size = (shot.picture.width, shot.picture.height);
                let state = readings["shots"]
                    .as_array()
                    .into_iter()
                    .flatten()
                    .find(|s| s["shot"] == format!("shot{number}"))
                    .and_then(|s| s["state"].as_str())
                    .unwrap_or("unread");
                let delivered = out.join("clips").join(format!("shot{number}.mov"));
                let picture = if delivered.exists() {
                    decoded(&delivered, size)?
                } else {
                    shot.picture.clone()
                };
                Ok(Corrected {
                    picture,
                    verdict: match state {
                        "proved" | "on aim" | "on_aim" | "kept" => Verdict::OnAim,
                        "unread" => Verdict::Unread,
                        _ => Verdict::Short,
                    },
                    questions: readings["questions"]
                        .as_array()
                        .into_iter()
                        .flatten()
                        .map(Value::to_string)
                        .collect(),
                    note: state.to_owned(),
                })
            })
            .collect()
    }
}

fn clip(directory: &Path, number: usize) -> PathBuf {
    directory.join(format!("shot{number}.mov"))
}

fn decoded(path: &Path, size: (usize, usize)) -> Result<Rgb, String> {
    let mut reader = Reader::new(path, size, 0, 1).map_err(|e| e.to_string())?;
    let frame = reader.read().map_err(|e| e.to_string())?;
    Ok(frame.as_native().rgb_region(Area::whole(size.0, size.1)))
}
