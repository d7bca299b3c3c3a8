//! Pictures, one file a frame: handed over, proved, and taken in again. `script/check/pictures.py` has FFmpeg decode them.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{Make, PATCH, clip, inkarnat, shown, succeed};
use std::path::Path;
use std::process::Command;

fn names(directory: &Path) -> Vec<String> {
    let mut found: Vec<String> = std::fs::read_dir(directory)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    found.sort();
    found
}

fn level(at: &Path, film: &str, place: &str) -> f64 {
    let film = shown(at, film);
    let value = film["shots"][0]["people"][0].pointer(place);
    value
        .and_then(serde_json::Value::as_f64)
        .unwrap_or_else(|| panic!("{place} in {film:#}"))
}

#[test]
fn a_folder_of_pictures_is_handed_over_proved_and_taken_in_again() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    let make = Make {
        frames: 6,
        ..Make::default()
    };
    clip(&at.join("a.mov"), &make);
    let film = "day.inkarnat";
    let patch = format!("a.mov@0:{PATCH}:person=Ana");
    inkarnat(at, &["start", film, "a.mov", "--patch", &patch]).ends(0);
    inkarnat(at, &["read", film]).ends(0);
    inkarnat(at, &["aim", film, "--person", "Ana=level:57-61"]).ends(0);
    inkarnat(at, &["fix", film]).ends(0);
    for coding in ["png", "tiff", "dpx", "exr"] {
        let to = format!("out-{coding}");
        inkarnat(at, &["handover", film, "--to", &to, "--codec", coding]).ends(0);
        inkarnat(at, &["prove", film]).ends(0);
        let found = names(&at.join(&to).join("clips/a"));
        // 10:00:00:00 at 24 frames a second.
        let ending = if coding == "tiff" { "tif" } else { coding };
        let expected: Vec<String> = (864_000..864_006)
            .map(|n| format!("a.{n:07}.{ending}"))
            .collect();
        assert_eq!(found, expected);
        // The list of the delivered clips names the pictures, as OpenTimelineIO writes such a row.
        let list = std::fs::read(at.join(&to).join("lists/day_delivered.otio")).unwrap();
        let list: serde_json::Value = serde_json::from_slice(&list).unwrap();
        let clip = &list["tracks"]["children"][0]["children"][0];
        let media = &clip["media_references"]["DEFAULT_MEDIA"];
        assert_eq!(media["OTIO_SCHEMA"], "ImageSequenceReference.1", "{media}");
        let name = format!(
            "{}{:0digits$}{}",
            media["name_prefix"].as_str().unwrap(),
            media["start_frame"].as_i64().unwrap(),
            media["name_suffix"].as_str().unwrap(),
            digits = media["frame_zero_padding"].as_u64().unwrap() as usize
        );
        let folder = media["target_url_base"].as_str().unwrap();
        assert!(at.join(&to).join("lists").join(folder).join(name).is_file());
        // The folder is a clip like any other: what is read of it is what was promised.
        let promised = level(at, film, "/proof/level_pct");
        let again = format!("again-{coding}.inkarnat");
        let folder = format!("{to}/clips/a");
        let patch = format!("{folder}@0:{PATCH}:person=Ana");
        inkarnat(at, &["start", &again, &folder, "--patch", &patch]).ends(0);
        inkarnat(at, &["read", &again]).ends(0);
        // EXR holds light, which is read as the signal of the display that it was made for.
        let found = level(at, &again, "/before/level_pct");
        assert!(
            (found - promised).abs() < 0.3,
            "{coding}: {found}, {promised} promised"
        );
    }
    // Back to the first place, in whose stead others have been handed over since; then it is there; then a clip beside it.
    inkarnat(at, &["handover", film, "--to", "out-png", "--codec", "png"]).ends(0);
    let again = inkarnat(at, &["handover", film, "--to", "out-png", "--codec", "png"]).ends(0);
    assert!(
        again.out.contains("is there") || again.err.contains("is there"),
        "{}",
        again.err
    );
    inkarnat(
        at,
        &["handover", film, "--to", "out-png", "--codec", "prores"],
    )
    .ends(0);
    inkarnat(at, &["prove", film]).ends(0);
    assert!(at.join("out-png/clips/a.mov").exists());
}

#[test]
fn a_still_is_one_picture_and_what_is_no_sequence_says_so() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(
        &at.join("a.mov"),
        &Make {
            frames: 2,
            ..Make::default()
        },
    );
    succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-i"])
            .arg(at.join("a.mov"))
            .args(["-frames:v", "1"])
            .arg(at.join("still.png")),
    );
    let patch = format!("still.png@0:{PATCH}:person=Ana");
    inkarnat(
        at,
        &["start", "day.inkarnat", "still.png", "--patch", &patch],
    )
    .ends(0);
    inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    inkarnat(at, &["aim", "day.inkarnat", "--person", "Ana=level:57-61"]).ends(0);
    inkarnat(at, &["fix", "day.inkarnat"]).ends(0);
    inkarnat(
        at,
        &["handover", "day.inkarnat", "--to", "out", "--codec", "tiff"],
    )
    .ends(0);
    inkarnat(at, &["prove", "day.inkarnat"]).ends(0);
    assert_eq!(names(&at.join("out/clips")), ["still.tif"]);
    // A folder with nothing numbered in it is no clip, and the others go on.
    std::fs::create_dir(at.join("empty")).unwrap();
    std::fs::write(at.join("empty/notes.txt"), "no").unwrap();
    let ran = inkarnat(at, &["start", "other.inkarnat", "empty", "a.mov"]);
    assert!(ran.err.contains("empty"), "{}", ran.err);
    assert_eq!(
        shown(at, "other.inkarnat")["shots"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}
