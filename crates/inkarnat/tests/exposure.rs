//! A clip that is dark as a whole: proposed, taken, taken back, declined.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{Make, PATCH, clip, inkarnat, shown};
use serde_json::Value;
use std::path::Path;

fn make(directory: &Path, name: &str, gain: f64) {
    let make = Make {
        gains: [gain; 3],
        sound: false,
        ..Make::default()
    };
    clip(&directory.join(name), &make);
}

fn level(film: &Value, stage: &str) -> f64 {
    film["shots"][0]["people"][0][stage]["level_pct"]
        .as_f64()
        .unwrap_or_else(|| panic!("no level {stage}: {}", film["shots"][0]))
}

/// Linear light of a signal in percent: the inverse of the OETF of Recommendation ITU-R BT.709-6, item 1.2.
fn light(level_pct: f64) -> f64 {
    let v = level_pct / 100.0;
    if v < 0.081 {
        v / 4.5
    } else {
        ((v + 0.099) / 1.099).powf(1.0 / 0.45)
    }
}

#[test]
fn a_dark_clip_is_proposed_and_moved_only_when_that_is_taken() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    make(at, "cellar.mp4", 0.5);
    let patch = format!("cellar.mp4@0:{PATCH}:person=Ana");
    inkarnat(
        at,
        &[
            "run",
            "cellar.mp4",
            "--patch",
            &patch,
            "--to",
            "out",
            "--codec",
            "none",
        ],
    );
    let film = "out/out.inkarnat";
    let before = shown(at, film);
    let proposals = before["proposals"].as_array().unwrap();
    assert_eq!(proposals.len(), 1, "{proposals:?}");
    assert_eq!(proposals[0]["about"], "cellar");
    let stops = proposals[0]["stops"].as_f64().unwrap();
    // The clip is the one of the other tests at half of the signal.
    let true_stops = (light(50.0) / light(25.0)).log2();
    assert!(
        (stops - true_stops).abs() < 2.0 * proposals[0]["stops_u"].as_f64().unwrap(),
        "{stops} {true_stops}"
    );
    let text = proposals[0]["text"].as_str().unwrap();
    assert!(text.contains("under") && text.contains("Ana"), "{text}");
    assert!(before["questions"].as_array().unwrap().is_empty());
    assert!((level(&before, "after") - level(&before, "before")).abs() < 1.0);

    let taken = inkarnat(at, &["aim", film, "--accept"]).ends(0);
    assert!(taken.out.contains("cellar"), "{}", taken.out);
    inkarnat(at, &["fix", film]);
    let after = shown(at, film);
    assert!(after["proposals"].as_array().unwrap().is_empty());
    assert_eq!(after["setups"][0]["exposure_stops"].as_f64(), Some(stops));
    let moved = (light(level(&after, "after")) / light(level(&after, "before"))).log2();
    assert!((moved - stops).abs() < 0.1, "{moved} {stops}");

    // Taken back, it is proposed again.
    inkarnat(at, &["undo", film]).ends(0);
    inkarnat(at, &["fix", film]);
    let back = shown(at, film);
    assert_eq!(back["proposals"].as_array().unwrap().len(), 1);
    assert_eq!(level(&back, "after"), level(&before, "after"));
    // Declined, it is not proposed any more.
    let id = back["proposals"][0]["id"].to_string();
    inkarnat(at, &["answer", film, &id, "no"]);
    inkarnat(at, &["fix", film]);
    let declined = shown(at, film);
    assert!(declined["proposals"].as_array().unwrap().is_empty());
    assert_eq!(declined["setups"][0]["exposure_stops"].as_f64(), Some(0.0));
    assert_eq!(level(&declined, "after"), level(&before, "after"));

    // Typed, and nonsense typed.
    inkarnat(at, &["aim", film, "--exposure", "cellar=0.8"]).ends(0);
    assert_eq!(
        shown(at, film)["setups"][0]["exposure_stops"].as_f64(),
        Some(0.8)
    );
    inkarnat(at, &["aim", film, "--exposure", "attic=0.8"])
        .ends(1)
        .says(&["attic", "cellar"]);
    inkarnat(at, &["aim", film, "--exposure", "cellar=much"])
        .ends(1)
        .says(&["much", "stops"]);
    inkarnat(at, &["aim", film, "--exposure", "cellar=NaN"])
        .ends(1)
        .says(&["NaN", "-3 to 3"]);
    inkarnat(at, &["aim", film, "--accept", "attic"])
        .ends(1)
        .says(&["attic", "nothing is proposed"]);
    assert_eq!(
        shown(at, film)["setups"][0]["exposure_stops"].as_f64(),
        Some(0.8)
    );

    // In one go.
    inkarnat(
        at,
        &[
            "run",
            "cellar.mp4",
            "--patch",
            &patch,
            "--to",
            "again",
            "--codec",
            "none",
            "--accept",
        ],
    );
    let again = shown(at, "again/again.inkarnat");
    assert_eq!(level(&again, "after"), level(&after, "after"));
}

#[test]
fn a_clip_as_bright_as_most_gets_no_proposal() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    make(at, "hall.mp4", 1.0);
    let patch = format!("hall.mp4@0:{PATCH}:person=Ana");
    inkarnat(
        at,
        &[
            "run", "hall.mp4", "--patch", &patch, "--to", "out", "--codec", "none", "--accept",
        ],
    );
    let film = shown(at, "out/out.inkarnat");
    assert!(film["proposals"].as_array().unwrap().is_empty());
    assert!(film["setups"][0]["exposure_stops"].is_null());
}
