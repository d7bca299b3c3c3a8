//! Real clips, fetched by the set-up and never committed: read, corrected, rendered, proved, as they
//! are and with a known cast and exposure. `INKARNAT_REAL_CLIPS` names their folder.
#![allow(
    clippy::disallowed_methods,
    clippy::print_stderr,
    reason = "tests read and write files, and say loudly what they skip"
)]

mod common;

use common::{inkarnat, shown, succeed};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Clip and a patch on the cheek of its first frame.
const CLIPS: [(&str, &str); 2] = [
    ("single_face.mp4", "ellipse=0.405,0.55,0.022,0.045"),
    ("carphone_pristine.mp4", "ellipse=0.445,0.52,0.027,0.036"),
];

fn folder() -> Option<PathBuf> {
    let folder = std::env::var_os("INKARNAT_REAL_CLIPS").map(PathBuf::from);
    if folder.is_none() {
        eprintln!(
            "SKIPPED: INKARNAT_REAL_CLIPS is not set; script/setup fetches the real clips to .cache/real"
        );
    }
    folder
}

fn number(value: &serde_json::Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

/// Runs one clip and holds it against the bounds of the codec: CIEDE2000, percent, degrees.
fn proved(directory: &Path, clip: &str, patch: &str, aim: &str, codec: &str) -> serde_json::Value {
    let (de00, level, hue) = match codec {
        "prores" => (0.3, 0.5, 0.5),
        _ => (0.7, 1.0, 1.0),
    };
    let out = format!("out-{codec}");
    inkarnat(
        directory,
        &[
            "run",
            clip,
            "--to",
            &out,
            "--codec",
            codec,
            "--patch",
            &format!("{clip}@0:{patch}:person=Ada"),
            "--person",
            &format!("Ada={aim}"),
        ],
    )
    .ends(0);
    let shot = shown(directory, &format!("{out}/{out}.inkarnat"))["shots"][0].clone();
    assert_eq!(shot["state"], "proved", "{shot:#}");
    assert!(number(&shot["proof"]["de00"]) <= de00, "{}", shot["proof"]);
    let person = &shot["people"][0];
    let off =
        |field: &str| (number(&person["after"][field]) - number(&person["proof"][field])).abs();
    assert!(
        off("level_pct") <= level && off("hue_deg") <= hue,
        "{person:#}"
    );
    shot
}

#[test]
fn as_they_are() {
    let Some(folder) = folder() else { return };
    for (clip, patch) in CLIPS {
        let directory = tempfile::tempdir().unwrap();
        std::fs::copy(folder.join(clip), directory.path().join(clip)).unwrap();
        for codec in ["prores", "h264"] {
            let shot = proved(directory.path(), clip, patch, "own", codec);
            assert_eq!(shot["people"][0]["before"]["frames_lost"], 0, "{clip}");
        }
    }
}

/// 0.7 stop under with red up and blue down, made by the `ffmpeg` program; the aim is what the clip
/// read before.
#[test]
fn with_a_known_cast_and_exposure() {
    let Some(folder) = folder() else { return };
    for (clip, patch) in CLIPS {
        let directory = tempfile::tempdir().unwrap();
        let at = directory.path();
        std::fs::copy(folder.join(clip), at.join(clip)).unwrap();
        let untouched = proved(at, clip, patch, "own", "prores");
        let before = &untouched["people"][0]["before"];
        let (level, hue) = (number(&before["level_pct"]), number(&before["hue_deg"]));
        let gain = 2f64.powf(-0.7 / 2.4);
        let channel = |cast: f64| format!("clip(val*{},0,maxval)", gain * cast);
        succeed(
            Command::new("ffmpeg")
                .args(["-v", "error", "-nostdin", "-y", "-i"])
                .arg(at.join(clip))
                .arg("-vf")
                .arg(format!(
                    "format=gbrp16,lutrgb=r='{}':g='{}':b='{}',scale=out_color_matrix=bt709:out_range=tv,format=yuv420p",
                    channel(1.07),
                    channel(1.0),
                    channel(0.84)
                ))
                .args(["-c:v", "libx264", "-crf", "12", "-preset", "fast"])
                .args(["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"])
                .args(["-color_range", "tv"])
                .arg(at.join("degraded.mp4")),
        );
        let aim = format!(
            "level:{:.1}-{:.1},hue:{:.1}-{:.1}",
            level - 3.0,
            level + 3.0,
            hue - 3.5,
            hue + 3.5
        );
        std::fs::remove_dir_all(at.join("out-prores")).unwrap();
        for codec in ["prores", "h264"] {
            let shot = proved(at, "degraded.mp4", patch, &aim, codec);
            let person = &shot["people"][0];
            assert!(
                number(&person["before"]["level_pct"]) < level - 5.0,
                "{clip}: the degraded clip is darker: {person:#}"
            );
            assert!(
                (number(&person["proof"]["level_pct"]) - level).abs() <= 3.1,
                "{clip}: {person:#}"
            );
            assert!(
                (number(&person["proof"]["hue_deg"]) - hue).abs() <= 3.6,
                "{clip}: {person:#}"
            );
        }
    }
}
