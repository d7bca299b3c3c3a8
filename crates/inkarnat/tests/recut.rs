//! A new cut of a whole film: every decision that still has a source goes with it, the list of changes is exact, and what
//! is handed over again is what has changed. Once by EDL and once by OpenTimelineIO.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{Make, clip, inkarnat, shown, succeed};
use inkarnat_app::{Choice, Film, choose};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

const FILM: &str = "day.inkarnat";
const FRAMES: usize = 48;

/// The clips: name, gains, wall.
const CLIPS: [(&str, [f64; 3], &str); 9] = [
    ("A001_hall", [1.06, 1.0, 0.88], "0.25+0.5*Y/H"),
    ("B001_hall", [0.9, 1.0, 1.08], "0.3+0.4*X/W"),
    ("A002_yard", [1.0, 1.0, 1.0], "0.5-0.3*Y/H"),
    ("B002_yard", [0.8, 0.85, 0.9], "0.2+0.3*hypot(X/W,Y/H)"),
    ("A003_room", [1.1, 1.0, 0.8], "0.35+0.1*gt(X,W/2)"),
    ("B003_room", [1.0, 0.95, 0.9], "0.6-0.4*X/W"),
    ("A004_roof", [0.9, 0.9, 1.1], "0.2+0.6*Y/H"),
    ("A005_late", [0.7, 0.65, 0.6], "0.15+0.3*X/W"),
    ("A006_new", [1.04, 1.0, 0.95], "0.45"),
];

/// A use of a clip: scene, clip, source frames, speed.
type Use = (&'static str, &'static str, (u64, u64), u64);

const FIRST: [Use; 15] = [
    ("hall", "A001_hall", (0, 12), 1),
    ("hall", "B001_hall", (4, 20), 1),
    ("hall", "A001_hall", (16, 30), 1),
    ("hall", "B001_hall", (24, 36), 1),
    ("yard", "A002_yard", (0, 14), 1),
    ("yard", "B002_yard", (0, 16), 1),
    ("yard", "A002_yard", (20, 34), 1),
    ("room", "A003_room", (2, 20), 1),
    ("room", "B003_room", (0, 12), 1),
    ("room", "A003_room", (24, 40), 1),
    ("room", "B003_room", (16, 30), 1),
    ("roof", "A004_roof", (0, 20), 1),
    ("roof", "A004_roof", (24, 40), 1),
    ("roof", "A005_late", (0, 16), 1),
    ("roof", "A005_late", (20, 30), 1),
];

/// A scene moved, three shots trimmed, one sped up, two new, two dropped: use, status, and the use of the first cut that
/// it goes on from.
const SECOND: [(Use, &str, Option<usize>); 15] = [
    (FIRST[4], "moved", Some(4)),
    (FIRST[5], "moved", Some(5)),
    (FIRST[6], "moved", Some(6)),
    (FIRST[0], "same", Some(0)),
    (FIRST[1], "same", Some(1)),
    (("hall", "A001_hall", (18, 28), 1), "trimmed", Some(2)),
    (("hall", "B001_hall", (24, 36), 2), "retimed", Some(3)),
    (FIRST[7], "same", Some(7)),
    (("room", "B003_room", (0, 15), 1), "trimmed", Some(8)),
    (FIRST[9], "same", Some(9)),
    (("room", "A003_room", (42, 48), 1), "new", None),
    (("roof", "A004_roof", (5, 20), 1), "trimmed", Some(11)),
    (FIRST[12], "same", Some(12)),
    (("roof", "A006_new", (3, 20), 1), "new", None),
    (FIRST[13], "same", Some(13)),
];
const DROPPED: [usize; 2] = [10, 14];

/// Timecode at 24 frames a second.
fn code(frame: u64) -> String {
    format!(
        "{:02}:{:02}:{:02}:{:02}",
        frame / 86_400,
        frame / 1440 % 60,
        frame / 24 % 60,
        frame % 24
    )
}

/// Every clip begins at ten hours.
const BEGIN: u64 = 10 * 86_400;

fn edl(cut: &[Use]) -> String {
    let mut text = "TITLE: DAY\nFCM: NON-DROP FRAME\n".to_owned();
    let mut record = 86_400;
    for (number, (scene, clip, (from, to), speed)) in cut.iter().enumerate() {
        let (reel, length) = (&clip[..4], (to - from) / speed);
        text += &format!(
            "\n{:03}  {reel}     V     C        {} {} {} {}\n",
            number + 1,
            code(BEGIN + from),
            code(BEGIN + to),
            code(record),
            code(record + length)
        );
        if *speed != 1 {
            text += &format!(
                "M2   {reel}       {:05.1}                {}\n",
                24.0 * *speed as f64,
                code(BEGIN + from)
            );
        }
        text += &format!("* FROM CLIP NAME: {clip}.mp4\n* SCENE: {scene}\n");
        record += length;
    }
    text
}

fn otio(cut: &[Use]) -> String {
    let time = |value: u64| json!({"OTIO_SCHEMA": "RationalTime.1", "rate": 24.0, "value": value});
    let range = |start: u64, frames: u64| json!({"OTIO_SCHEMA": "TimeRange.1", "start_time": time(start), "duration": time(frames)});
    let clips: Vec<Value> = cut
        .iter()
        .map(|(scene, clip, (from, to), speed)| {
            let effects = if *speed == 1 {
                json!([])
            } else {
                json!([{"OTIO_SCHEMA": "LinearTimeWarp.1", "time_scalar": speed}])
            };
            json!({
                "OTIO_SCHEMA": "Clip.2", "name": clip, "metadata": {"scene": scene}, "effects": effects,
                "source_range": range(BEGIN + from, (to - from) / speed),
                "active_media_reference_key": "DEFAULT_MEDIA",
                "media_references": {"DEFAULT_MEDIA": {
                    "OTIO_SCHEMA": "ExternalReference.1", "target_url": format!("{clip}.mp4"),
                    "available_range": range(BEGIN, FRAMES as u64),
                }},
            })
        })
        .collect();
    let track = json!({"OTIO_SCHEMA": "Track.1", "name": "V1", "kind": "Video", "children": clips});
    json!({
        "OTIO_SCHEMA": "Timeline.1", "name": "DAY", "global_start_time": time(86_400),
        "tracks": {"OTIO_SCHEMA": "Stack.1", "children": [track]},
    })
    .to_string()
}

/// The patch of a clip at a frame: the face drifts.
fn patch(clip: &str, frame: u64) -> String {
    let person = if clip.starts_with('A') { "Ana" } else { "Ben" };
    let x = 0.40 + 0.0018 * frame as f64;
    format!("{clip}.mp4@{frame}:ellipse={x:.4},0.5,0.06,0.12:person={person}")
}

/// Everything that was decided about a shot of the cut.
fn decided(film: &Film) -> Vec<Value> {
    let setups = film.setups().unwrap();
    let scenes = film.scenes().unwrap();
    let by_hand = film.grouped_by_hand().unwrap();
    let people = film.people().unwrap();
    film.shots()
        .unwrap()
        .iter()
        .map(|shot| {
            let setup = setups.iter().find(|s| s.id == shot.setup).unwrap();
            let scene = scenes.iter().find(|s| s.id == setup.scene).unwrap();
            let hand = by_hand.iter().find(|hand| hand.shot == shot.id);
            let mut patches: Vec<Value> = film
                .patches(shot.id)
                .unwrap()
                .iter()
                .map(|patch| {
                    let person = people.iter().find(|p| p.id == patch.person).unwrap();
                    json!([person.name, patch.frame, patch.shape])
                })
                .collect();
            patches.sort_by_key(Value::to_string);
            json!({
                "shot": shot.name,
                "kept": shot.kept,
                "note": film.note(shot.id).unwrap(),
                "setup": setup.name,
                "scene": scene.name,
                "tint": scene.tint,
                "by hand": hand.map(|hand| [hand.setup, hand.scene]),
                "choice": film.choice(shot.setup).unwrap(),
                "patches": patches,
            })
        })
        .collect()
}

fn aims(film: &Film) -> Vec<Value> {
    let people = film.people().unwrap();
    people.iter().map(|p| json!([p.name, p.aim])).collect()
}

/// Runs to the end: also where some shot is short of its aim, which is not what is looked at here.
fn finishes(at: &Path, arguments: &[&str]) -> common::Ran {
    let ran = inkarnat(at, arguments);
    assert!(matches!(ran.code, 0 | 2), "{}: {}", ran.code, ran.err);
    ran
}

fn opened(at: &Path) -> Film {
    Film::open_to_read(&at.join(FILM)).unwrap()
}

/// Pictures of every delivered clip, as the `ffmpeg` program hashes them.
fn pictures(directory: &Path) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let Ok(entries) = std::fs::read_dir(directory.join("clips")) else {
        return found;
    };
    for entry in entries.flatten() {
        let path = entry.path();
        let output = succeed(
            Command::new("ffmpeg")
                .args(["-v", "error", "-nostdin", "-i"])
                .arg(&path)
                .args(["-map", "0:v:0", "-f", "md5", "-"]),
        );
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        found.insert(name, String::from_utf8(output.stdout).unwrap());
    }
    found
}

/// The first cut with every kind of decision, handed over as `v1`.
fn first(at: &Path, ending: &str, write: fn(&[Use]) -> String) {
    for (name, gains, wall) in CLIPS {
        let make = Make {
            frames: FRAMES,
            gains,
            wall,
            sound: false,
            ..Make::default()
        };
        clip(&at.join(format!("{name}.mp4")), &make);
    }
    let second: Vec<Use> = SECOND.iter().map(|(cut, _, _)| *cut).collect();
    std::fs::write(at.join(format!("first.{ending}")), write(&FIRST)).unwrap();
    std::fs::write(at.join(format!("second.{ending}")), write(&second)).unwrap();
    let list = format!("first.{ending}");
    let clips: Vec<String> = CLIPS[..8]
        .iter()
        .map(|(name, _, _)| format!("{name}.mp4"))
        .collect();
    let patches: Vec<String> = FIRST
        .iter()
        .map(|(_, clip, (from, _), _)| patch(clip, *from))
        .collect();
    let mut start = vec!["start", FILM];
    start.extend(clips.iter().map(String::as_str));
    start.extend(["--cut", &list]);
    start.extend(patches.iter().flat_map(|patch| ["--patch", patch]));
    inkarnat(at, &start).ends(0);
    let does = |words: &[&str]| {
        let all: Vec<&str> = [words[0], FILM]
            .iter()
            .chain(&words[1..])
            .copied()
            .collect();
        inkarnat(at, &all).ends(0);
    };
    let name = |number: usize| opened(at).shots().unwrap()[number].name.clone();
    does(&["people", "--name", "Ben=Benno"]);
    does(&[
        "aim",
        "--person",
        "Ana=level:56-60,hue:118-124",
        "--person",
        "Benno=own",
    ]);
    does(&["keep", &name(6)]);
    does(&["note", &name(2), "the light on the left"]);
    does(&["note", &name(3), "faster?"]);
    does(&["note", &name(14), "do we need this"]);
    does(&["group", "--setup", "window", &name(8), &name(10)]);
    does(&["group", "--scene", "night", &name(13), &name(14)]);
    does(&["aim", "--tint", "keep", "--scene", "hall"]);
    let extra = patch("A003_room", 30).replace("0.5,0.06", "0.5,0.05");
    does(&["patch", &extra]);
    inkarnat(at, &["read", FILM]).ends(0);
    finishes(at, &["fix", FILM]);
    {
        let mut film = Film::open(&at.join(FILM)).unwrap();
        let roof = decided(&film)[11]["setup"].as_str().unwrap().to_owned();
        let yard = decided(&film)[4]["setup"].as_str().unwrap().to_owned();
        let hand = json!({"hand": [{"op": "cdl", "slope": [1.02, 1.0, 0.98], "offset": [0.0, 0.0, 0.0],
            "power": [1.0, 1.0, 1.0], "saturation": 1.0}]});
        let hand: Choice = serde_json::from_value(hand).unwrap();
        choose(&mut film, &roof, Some(hand)).unwrap();
        choose(
            &mut film,
            &yard,
            Some(serde_json::from_value(json!({"reach": "mids"})).unwrap()),
        )
        .unwrap();
    }
    let order = ["handover", FILM, "--to", "v1", "--name", "v1"];
    finishes(at, &order);
}

fn recut(ending: &str, write: fn(&[Use]) -> String) {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    first(at, ending, write);
    let before = decided(&opened(at));
    let aims_before = aims(&opened(at));
    assert_eq!(before[6]["kept"], true);
    assert_eq!(before[11]["choice"]["hand"][0]["op"], "cdl");
    assert_eq!(before[8]["by hand"], json!([true, false]));

    // The list of changes is exact.
    let list = format!("second.{ending}");
    let ran = finishes(at, &["cut", FILM, &list, "A006_new.mp4", "--json"]);
    let changes: Value = serde_json::from_str(&ran.out).unwrap();
    let found: Vec<(Value, Value)> = changes["shots"]
        .as_array()
        .unwrap()
        .iter()
        .map(|change| (change["status"].clone(), change["moved"].clone()))
        .collect();
    let expected: Vec<(Value, Value)> = SECOND
        .iter()
        .map(|(_, status, _)| (json!(status), json!(*status == "moved")))
        .collect();
    assert_eq!(found, expected);
    let lost: Vec<Value> = DROPPED
        .iter()
        .map(|at| before[*at]["shot"].clone())
        .collect();
    assert_eq!(changes["lost"], json!(lost));
    let film = shown(at, FILM);
    for (shot, ((_, clip, (from, to), speed), _, _)) in
        film["shots"].as_array().unwrap().iter().zip(&SECOND)
    {
        assert_eq!(shot["source"], format!("{clip}.mp4"));
        assert_eq!(
            (&shot["in_frame"], &shot["out_frame"]),
            (&json!(from), &json!(to))
        );
        assert_eq!(shot["used"]["speed"], json!(*speed as f64));
    }

    // What was decided goes with the source frames that it was decided about.
    let after = decided(&opened(at));
    for (after, (_, status, from)) in after.iter().zip(&SECOND) {
        match from {
            Some(number) => assert_eq!(after, &before[*number], "{status}"),
            None => assert_eq!(after["patches"], json!([])),
        }
    }
    assert_eq!(aims(&opened(at)), aims_before);

    // Handed over at once: the trimmed shots and the new ones, and no other.
    let since = [
        "handover",
        FILM,
        "--since",
        "v1",
        "--name",
        "v2",
        "--handles",
        "0",
        "--to",
        "v2",
    ];
    finishes(at, &since);
    let name = |number: usize| after[number]["shot"].as_str().unwrap().to_owned();
    let mut expected: Vec<String> = [5, 8, 10, 11, 13].map(name).to_vec();
    expected.sort();
    let changed = pictures(&at.join("v2"));
    assert_eq!(changed.keys().cloned().collect::<Vec<_>>(), expected);
    // The pictures themselves say the same: all of the film against the first version.
    finishes(at, &["handover", FILM, "--name", "all", "--to", "all"]);
    let (all, old) = (pictures(&at.join("all")), pictures(&at.join("v1")));
    let differing: Vec<String> = all
        .iter()
        .filter(|(name, pictures)| old.get(*name) != Some(pictures))
        .map(|(name, _)| name.clone())
        .collect();
    assert_eq!(differing, expected);
    for (name, pictures) in &changed {
        assert_eq!(all.get(name), Some(pictures), "{name}");
    }
    let changes_list = std::fs::read_to_string(at.join("v2/lists/day_changes.edl")).unwrap();
    assert_eq!(changes_list.matches("* SHOT: ").count(), expected.len());

    // The new shots are read, the trimmed ones summed up anew; what has changed is handed over, and no other.
    let mut read = vec!["read".to_owned(), FILM.to_owned()];
    for (cut, _, _) in SECOND.iter().filter(|(_, status, _)| *status == "new") {
        read.extend(["--patch".to_owned(), patch(cut.1, cut.2.0)]);
    }
    let read: Vec<&str> = read.iter().map(String::as_str).collect();
    finishes(at, &read);
    for shot in shown(at, FILM)["shots"].as_array().unwrap() {
        let level = &shot["people"][0]["before"]["level_pct"];
        assert!(level.is_number(), "read: {shot:#}");
    }
    finishes(at, &["fix", FILM]);
    finishes(
        at,
        &[
            "handover",
            FILM,
            "--since",
            "all",
            "--name",
            "v3",
            "--handles",
            "0",
            "--to",
            "v3",
        ],
    );
    finishes(
        at,
        &["handover", FILM, "--name", "all again", "--to", "again"],
    );
    let (again, changed) = (pictures(&at.join("again")), pictures(&at.join("v3")));
    let differing: Vec<String> = again
        .iter()
        .filter(|(name, pictures)| all.get(*name) != Some(pictures))
        .map(|(name, _)| name.clone())
        .collect();
    assert_eq!(changed.keys().cloned().collect::<Vec<_>>(), differing);
    // One more shot of somebody moves what is known of them by a hair, and every fix that rests on it by less than can be
    // seen: those stay. Left are the new clip, and the shot whose scene has lost its other one.
    assert_eq!(differing, ["A005_late", "A006_new"]);

    // The first cut again: everything is as it was, the dropped shots with what was decided about them.
    let list = format!("first.{ending}");
    let ran = finishes(at, &["cut", FILM, &list, "--json"]);
    let changes: Value = serde_json::from_str(&ran.out).unwrap();
    for at in DROPPED {
        assert_eq!(changes["shots"][at]["back"], true, "{changes:#}");
    }
    assert_eq!(decided(&opened(at)), before);
    assert_eq!(aims(&opened(at)), aims_before);
}

#[test]
fn by_edl() {
    recut("edl", edl);
}

#[test]
fn by_opentimelineio() {
    recut("otio", otio);
}
