//! Faces through the whole job: found, named, told apart, erased, and done without.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

mod common;

use common::{Make, PATCH, clip, command, inkarnat, ran, shown, succeed};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Real clips, fetched by the set-up.
fn real(name: &str) -> PathBuf {
    let path = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../.cache/real")).join(name);
    assert!(
        path.exists(),
        "{} is missing: run script/setup",
        path.display()
    );
    path
}

/// Some frames of a real clip, tagged, as a clip of its own.
fn piece(name: &str, first: usize, frames: usize, filter: &str, target: &Path) {
    let filter = format!(
        "trim=start_frame={first}:end_frame={},setpts=PTS-STARTPTS{filter},scale=trunc(iw/2)*2:trunc(ih/2)*2",
        first + frames
    );
    succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-y", "-i"])
            .arg(real(name))
            .args(["-an", "-vf", &filter, "-c:v", "libx264", "-crf", "12"])
            .args(["-preset", "veryfast", "-pix_fmt", "yuv420p"])
            .args(["-colorspace", "bt709", "-color_primaries", "bt709"])
            .args(["-color_trc", "bt709", "-color_range", "tv"])
            .arg(target),
    );
}

fn people(shot: &Value) -> Vec<String> {
    shot["people"]
        .as_array()
        .unwrap()
        .iter()
        .map(|person| person["person"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn a_run_needs_no_patch_and_proves_what_it_found() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    piece("single_face.mp4", 0, 24, "", &at.join("a.mp4"));
    piece("single_face.mp4", 40, 20, "", &at.join("b.mp4"));
    inkarnat(at, &["run", "a.mp4", "b.mp4", "--to", "out"]).ends(0);
    let film = shown(at, "out/out.inkarnat");
    assert_eq!(film["questions"].as_array().unwrap().len(), 0, "{film:#}");
    for shot in film["shots"].as_array().unwrap() {
        // One person in both, whose name is the program's own.
        assert_eq!(people(shot), ["person 1"], "{shot:#}");
        assert_eq!(shot["state"], "proved", "{shot:#}");
        let person = &shot["people"][0];
        assert_eq!(person["patch"], false);
        let frames = person["before"]["frames_read"].as_u64().unwrap();
        assert!(frames >= 20, "{person:#}");
        assert!(shot["proof"]["de00"].as_f64().unwrap() < 0.3, "{shot:#}");
        let face = &person["face"];
        assert!(face["key_to_fill"].as_f64().unwrap() > 0.8, "{face:#}");
        assert!(face["width_px"].as_f64().unwrap() > 50.0, "{face:#}");
    }
    // Named, with a complexion, and read from nothing else than before.
    let film_file = "out/out.inkarnat";
    inkarnat(
        at,
        &[
            "people",
            film_file,
            "--name",
            "person 1=Ada",
            "--complexion",
            "Ada=light",
        ],
    )
    .ends(0);
    inkarnat(at, &["people", film_file, "--complexion", "Ada=green"])
        .ends(1)
        .says(&["green", "very-light"]);
    let named = shown(at, film_file);
    assert_eq!(people(&named["shots"][0]), ["Ada"]);
    assert_eq!(named["shots"][0]["people"][0]["complexion"], "light");
    assert_eq!(named["shots"][0]["state"], "proved");
    // Somebody else in b, says the editor; and the same again.
    inkarnat(at, &["people", film_file, "--split", "Ada@b"]).ends(0);
    let split = shown(at, film_file);
    assert_eq!(people(&split["shots"][1]), ["person 1"]);
    assert_eq!(
        split["shots"][1]["people"][0]["before"],
        named["shots"][1]["people"][0]["before"]
    );
    inkarnat(at, &["people", film_file, "--merge", "Ada,person 1"]).ends(0);
    let merged = shown(at, film_file);
    assert_eq!(people(&merged["shots"][1]), ["Ada"]);
    // Erased: nothing of the face is left, the readings are.
    let erased = inkarnat(at, &["erase", film_file]).ends(0);
    assert!(erased.out.contains("2 faces"), "{}", erased.out);
    let after = shown(at, film_file);
    for (shot, before) in after["shots"]
        .as_array()
        .unwrap()
        .iter()
        .zip(merged["shots"].as_array().unwrap())
    {
        assert_eq!(
            shot["people"][0]["before"], before["people"][0]["before"],
            "{shot:#}"
        );
        assert!(shot["people"][0]["face"].is_null());
    }
    // Reading again looks for nothing and loses nothing.
    inkarnat(at, &["read", film_file]).ends(0);
    assert_eq!(
        shown(at, film_file)["shots"][0]["people"][0]["before"],
        merged["shots"][0]["people"][0]["before"]
    );
}

#[test]
fn a_drawn_patch_of_the_same_person_wins() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    piece("single_face.mp4", 0, 12, "", &at.join("a.mp4"));
    piece("single_face.mp4", 30, 12, "", &at.join("b.mp4"));
    // On the cheek in the first frame of the clip.
    let patch = "a.mp4@0:ellipse=0.405,0.55,0.022,0.045:person=Ada";
    inkarnat(
        at,
        &["start", "day.inkarnat", "a.mp4", "b.mp4", "--patch", patch],
    )
    .ends(0);
    inkarnat(at, &["find", "day.inkarnat"]).ends(0);
    let film = shown(at, "day.inkarnat");
    assert_eq!(people(&film["shots"][0]), ["Ada"]);
    assert_eq!(people(&film["shots"][1]), ["Ada"], "found by the drawn one");
    assert_eq!(film["shots"][0]["people"][0]["patch"], true);
    assert_eq!(film["shots"][1]["people"][0]["patch"], false);
    let listed = inkarnat(at, &["patch", "day.inkarnat"]).ends(0);
    assert!(
        listed
            .out
            .contains("a@0:ellipse=0.405,0.55,0.022,0.045:person=Ada"),
        "{}",
        listed.out
    );
    inkarnat(at, &["patch", "day.inkarnat", "--remove", "a@3"])
        .ends(2)
        .says(&["a@3", "no patch"]);
    inkarnat(at, &["patch", "day.inkarnat", "--remove", "a@0"]).ends(0);
    inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    let film = shown(at, "day.inkarnat");
    assert_eq!(film["shots"][0]["people"][0]["patch"], false);
    assert_eq!(people(&film["shots"][0]), ["Ada"]);
}

#[test]
fn a_first_pass_reads_every_nth_frame_and_a_full_one_the_rest() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    piece("single_face.mp4", 0, 25, "", &at.join("a.mp4"));
    inkarnat(
        at,
        &[
            "run", "a.mp4", "--to", "out", "--every", "5", "--codec", "none",
        ],
    )
    .ends(0);
    let first = shown(at, "out/out.inkarnat");
    let before = &first["shots"][0]["people"][0]["before"];
    assert_eq!(before["frames_read"], 5, "{first:#}");
    inkarnat(
        at,
        &["people", "out/out.inkarnat", "--name", "person 1=Ada"],
    )
    .ends(0);
    inkarnat(at, &["run", "a.mp4", "--to", "out"]).ends(0);
    let full = shown(at, "out/out.inkarnat");
    // Everything, under the name that was given after the first pass.
    assert_eq!(people(&full["shots"][0]), ["Ada"]);
    let all = &full["shots"][0]["people"][0]["before"];
    assert_eq!(all["frames_read"], 25, "{full:#}");
    let level = |reading: &Value| reading["level_pct"].as_f64().unwrap();
    assert!((level(before) - level(all)).abs() < 0.5);
}

#[test]
fn without_models_or_without_faces_the_rest_works() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("a.mp4"), &Make::default());
    let patch = format!("a.mp4@0:{PATCH}:person=Ana");
    // No models: said once, and the drawn patch is read.
    ran(command(at)
        .env("INKARNAT_FACES", at.join("nowhere"))
        .args(["run", "a.mp4", "--to", "out", "--patch", &patch]))
    .ends(0)
    .says(&["no face models", "nowhere", "script/setup"]);
    // Nothing drawn either: named, with what to do.
    ran(command(at)
        .env("INKARNAT_FACES", at.join("nowhere"))
        .args(["run", "a.mp4", "--to", "other"]))
    .ends(2)
    .says(&["a", "no patch", "--patch"]);
    // Models, and nobody there.
    inkarnat(at, &["run", "a.mp4", "--to", "third"])
        .ends(2)
        .says(&["a", "no face was found", "--patch"]);
    // Switched off: nothing is looked for, now and later.
    inkarnat(
        at,
        &[
            "run",
            "a.mp4",
            "--to",
            "fourth",
            "--no-faces",
            "--patch",
            &patch,
        ],
    )
    .ends(0);
    inkarnat(at, &["run", "a.mp4", "--to", "fourth"])
        .ends(0)
        .says(&["inkarnat find"]);
}

/// Everything that is said of the people of each shot.
fn cast(at: &Path, film: &str) -> Value {
    let film = shown(at, film);
    let shots = film["shots"].as_array().unwrap().iter();
    let of_shot = |shot: &Value| {
        serde_json::json!([shot["shot"], shot["state"], shot["people"], shot["fix"]])
    };
    serde_json::json!({
        "shots": shots.map(of_shot).collect::<Vec<_>>(),
        "questions": film["questions"],
    })
}

#[test]
fn a_merge_is_taken_back_whole_and_a_kill_leaves_all_of_it_or_nothing() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    piece("single_face.mp4", 0, 12, "", &at.join("a.mp4"));
    let larger = ",scale=528:432";
    piece("carphone_pristine.mp4", 0, 12, larger, &at.join("b.mp4"));
    let film = "out/out.inkarnat";
    inkarnat(
        at,
        &["run", "a.mp4", "b.mp4", "--to", "out", "--codec", "none"],
    );
    inkarnat(at, &["people", film, "--name", "person 2=Ben"]).ends(0);
    inkarnat(at, &["aim", film, "--person", "Ben=level:40-44"]).ends(0);
    inkarnat(at, &["fix", film]);
    let apart = cast(at, film);
    assert_eq!(apart["shots"][0][2][0]["person"], "person 1", "{apart:#}");
    assert_eq!(apart["shots"][1][2][0]["person"], "Ben", "{apart:#}");
    let merge = ["people", film, "--merge", "person 1,Ben"];
    inkarnat(at, &merge).ends(0);
    let merged = cast(at, film);
    assert_eq!(merged["shots"][1][2][0]["person"], "person 1", "{merged:#}");
    let undo = || inkarnat(at, &["undo", film]).ends(0);
    undo();
    assert_eq!(cast(at, film), apart);
    inkarnat(at, &["redo", film]).ends(0);
    assert_eq!(cast(at, film), merged);
    // Split off again he is somebody new; taken back step by step, he is Ben, with his aim.
    inkarnat(at, &["people", film, "--split", "person 1@b"]).ends(0);
    let split = cast(at, film);
    assert_eq!(split["shots"][1][2][0]["person"], "person 2", "{split:#}");
    inkarnat(at, &["people", film, "--name", "person 2=Carl"]).ends(0);
    undo();
    assert_eq!(cast(at, film), split);
    undo();
    assert_eq!(cast(at, film), merged);
    undo();
    assert_eq!(cast(at, film), apart);
    // Fixed anew while they were one, and then taken back: each has their own fix again.
    inkarnat(at, &["redo", film]).ends(0);
    inkarnat(at, &["fix", film]);
    undo();
    inkarnat(at, &["fix", film]);
    let again = cast(at, film);
    for shot in 0..2 {
        let of = |cast: &Value| {
            let person = &cast["shots"][shot][2][0];
            (
                person["person"].clone(),
                person["before"].clone(),
                person["aim"].clone(),
            )
        };
        assert_eq!(of(&again), of(&apart));
    }
    let mut whole = 0;
    for wait in 0..12 {
        let mut child = command(at).args(merge).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(4 * wait));
        let _ = child.kill();
        child.wait().unwrap();
        let now = people(&shown(at, film)["shots"][1]);
        if now == ["person 1"] {
            whole += 1;
            undo();
        }
        assert_eq!(
            cast(at, film),
            again,
            "killed after {} ms, {whole} whole",
            4 * wait
        );
    }
}
