//! Setups and scenes as they are suggested, and what the editor groups.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{Make, PATCH, clip, inkarnat, shown};
use serde_json::Value;
use std::path::Path;

fn make(directory: &Path, name: &str, gains: [f64; 3]) {
    let make = Make {
        gains,
        sound: false,
        ..Make::default()
    };
    clip(&directory.join(name), &make);
}

/// Setup and scene of each shot.
fn groups(film: &Value) -> Vec<(String, String, String)> {
    let text = |shot: &Value, name: &str| shot[name].as_str().unwrap().to_owned();
    film["shots"]
        .as_array()
        .unwrap()
        .iter()
        .map(|shot| (text(shot, "shot"), text(shot, "setup"), text(shot, "scene")))
        .collect()
}

fn group(shot: &str, setup: &str, scene: &str) -> (String, String, String) {
    (shot.to_owned(), setup.to_owned(), scene.to_owned())
}

const WARM: [f64; 3] = [1.06, 1.0, 0.88];
const COLD: [f64; 3] = [0.8, 0.9, 1.02];

#[test]
fn scenes_by_name_setups_by_picture_and_the_editor_before_both() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    // One framing of one camera, two takes in one light; another light; another camera.
    make(at, "A001_hall_ana.mp4", WARM);
    make(at, "A002_hall_ben.mp4", WARM);
    make(at, "A003_hall_late.mp4", COLD);
    make(at, "B001_yard_ana.mp4", WARM);
    let clips = [
        "A001_hall_ana.mp4",
        "A002_hall_ben.mp4",
        "A003_hall_late.mp4",
        "B001_yard_ana.mp4",
    ];
    let start: Vec<&str> = ["start", "day.inkarnat"].into_iter().chain(clips).collect();
    inkarnat(at, &start).ends(0);
    let suggested = groups(&shown(at, "day.inkarnat"));
    assert_eq!(
        suggested,
        [
            group("A001_hall_ana", "A001_hall_ana", "hall"),
            group("A002_hall_ben", "A001_hall_ana", "hall"),
            group("A003_hall_late", "A003_hall_late", "hall"),
            group("B001_yard_ana", "B001_yard_ana", "yard"),
        ]
    );
    // Again: nothing changes, and nothing is written down.
    let decisions = |film: &Value| film["history"]["decisions"].clone();
    let before = decisions(&shown(at, "day.inkarnat"));
    inkarnat(at, &start).ends(0);
    assert_eq!(decisions(&shown(at, "day.inkarnat")), before);
    // What the editor says stays, whatever is suggested.
    inkarnat(
        at,
        &["group", "day.inkarnat", "--setup", "mine", "A002_hall_ben"],
    )
    .ends(0);
    inkarnat(
        at,
        &[
            "group",
            "day.inkarnat",
            "--scene",
            "night",
            "A003_hall_late",
        ],
    )
    .ends(0);
    inkarnat(at, &start).ends(0);
    assert_eq!(
        groups(&shown(at, "day.inkarnat")),
        [
            group("A001_hall_ana", "A001_hall_ana", "hall"),
            group("A002_hall_ben", "mine", "hall"),
            group("A003_hall_late", "A003_hall_late", "night"),
            group("B001_yard_ana", "B001_yard_ana", "yard"),
        ]
    );
    // Taken back, decision by decision, down to the setups of the clips.
    for _ in 0..3 {
        inkarnat(at, &["undo", "day.inkarnat"]).ends(0);
    }
    let bare = groups(&shown(at, "day.inkarnat"));
    assert!(
        bare.iter().all(|(shot, setup, _)| shot == setup),
        "{bare:?}"
    );
}

#[test]
fn the_scenes_of_a_list_hold() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    make(at, "A001_hall_ana.mp4", WARM);
    make(at, "A002_hall_ben.mp4", COLD);
    let list = "TITLE: DAY\nFCM: NON-DROP FRAME\n\n\
        001  A001  V  C  10:00:00:00 10:00:00:10 01:00:00:00 01:00:00:10\n\
        * FROM CLIP NAME: A001_hall_ana.mp4\n* SCENE: 12\n\
        002  A002  V  C  10:00:00:02 10:00:00:12 01:00:00:10 01:00:00:20\n\
        * FROM CLIP NAME: A002_hall_ben.mp4\n* SCENE: 14\n";
    std::fs::write(at.join("day.edl"), list).unwrap();
    inkarnat(
        at,
        &[
            "cut",
            "day.inkarnat",
            "day.edl",
            "A001_hall_ana.mp4",
            "A002_hall_ben.mp4",
        ],
    )
    .ends(0);
    assert_eq!(
        groups(&shown(at, "day.inkarnat")),
        [
            group("A001_hall_ana", "A001_hall_ana", "12"),
            group("A002_hall_ben", "A002_hall_ben", "14"),
        ]
    );
}

#[test]
fn a_shot_without_anybody_carries_the_fix_of_its_camera_in_its_scene() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    make(at, "A001_hall_ana.mp4", WARM);
    make(at, "A002_hall_empty.mp4", [1.0, 0.94, 0.83]);
    make(at, "B001_yard_empty.mp4", WARM);
    let run = [
        "run",
        "A001_hall_ana.mp4",
        "A002_hall_empty.mp4",
        "B001_yard_empty.mp4",
        "--to",
        "out",
        "--codec",
        "none",
        "--patch",
        &format!("A001_hall_ana.mp4@0:{PATCH}:person=Ana"),
        "--person",
        "Ana=level:56-60,hue:118-124",
    ];
    // The yard has no fix to carry, and is named.
    inkarnat(at, &run)
        .ends(2)
        .says(&["A002_hall_empty", "carries the fix of A001_hall_ana"])
        .says(&["B001_yard_empty", "nothing is read"]);
    let film = shown(at, "out/out.inkarnat");
    let shot = |name: &str| {
        let shots = film["shots"].as_array().unwrap();
        shots.iter().find(|s| s["shot"] == name).unwrap().clone()
    };
    let (ana, empty) = (shot("A001_hall_ana"), shot("A002_hall_empty"));
    assert_ne!(ana["setup"], empty["setup"]);
    assert_eq!(ana["state"], empty["state"]);
    // All that is done to the picture; what is done to skin alone is left out.
    let ops = |shot: &Value| -> Vec<Value> {
        let ops = shot["fix"]["ops"].as_array().unwrap().iter();
        ops.filter(|op| op["op"] != "keyed_cdl").cloned().collect()
    };
    assert!(!ops(&ana).is_empty());
    assert_eq!(ops(&ana), empty["fix"]["ops"].as_array().unwrap().clone());
    let notes = empty["notes"].to_string();
    assert!(
        notes.contains("carries the fix of A001_hall_ana"),
        "{notes}"
    );
    assert_eq!(shot("B001_yard_empty")["state"], "unread");
    assert!(shot("B001_yard_empty")["fix"].is_null());
}
