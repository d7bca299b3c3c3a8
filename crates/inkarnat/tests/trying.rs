//! An aim that is tried before it is taken: nothing of the film changes, and taking it gives the very numbers that were shown.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{Make, PATCH, clip, inkarnat, shown};
use inkarnat_app::view::{AimTried, AimTriedShot, Point, TriedFix, try_aim};
use inkarnat_app::{AppError, Cancel, Film, ShotId};
use serde_json::{Value, json};
use std::path::Path;

const FILM: &str = "day.inkarnat";
/// Inside the ellipse of [`clip`] too, above [`PATCH`].
const OTHER: &str = "ellipse=0.40,0.31,0.04,0.05";

/// Ana and Bo in one light, Ana in another, Bo alone; read and fixed.
fn film(at: &Path) {
    for (name, gains) in [
        ("a", [1.06, 1.0, 0.88]),
        ("b", [0.80, 0.82, 0.98]),
        ("c", [0.95, 1.0, 0.95]),
    ] {
        let make = Make {
            frames: 12,
            gains,
            sound: false,
            ..Make::default()
        };
        clip(&at.join(format!("{name}.mp4")), &make);
    }
    let ana = |clip: &str| format!("{clip}.mp4@0:{PATCH}:person=Ana");
    let bo = |clip: &str| format!("{clip}.mp4@0:{OTHER}:person=Bo");
    let patches = [ana("a"), bo("a"), ana("b"), bo("c")];
    let mut start = vec!["start", FILM, "a.mp4", "b.mp4", "c.mp4"];
    for patch in &patches {
        start.extend(["--patch", patch]);
    }
    inkarnat(at, &start).ends(0);
    inkarnat(at, &["read", FILM]).ends(0);
    inkarnat(at, &["fix", FILM]);
}

fn tried(at: &Path, text: &str, shots: &[ShotId]) -> (AimTried, Vec<TriedFix>) {
    let film = Film::open_to_read(&at.join(FILM)).unwrap();
    try_aim(&film, text, shots, (&Cancel::default(), &|| false)).unwrap()
}

fn ids(at: &Path, names: &[&str]) -> Vec<ShotId> {
    let film = Film::open_to_read(&at.join(FILM)).unwrap();
    let shot = |name: &&str| film.shot_named(name).unwrap().id;
    names.iter().map(shot).collect()
}

fn person<'a>(film: &'a Value, shot: &str, name: &str) -> &'a Value {
    let shots = film["shots"].as_array().unwrap();
    let shot = shots.iter().find(|s| s["shot"] == shot).unwrap();
    let people = shot["people"].as_array().unwrap();
    people.iter().find(|p| p["person"] == name).unwrap()
}

fn fix<'a>(film: &'a Value, shot: &str) -> &'a Value {
    let shots = film["shots"].as_array().unwrap();
    &shots.iter().find(|s| s["shot"] == shot).unwrap()["fix"]
}

fn same(point: Option<&Point>, reading: &Value) {
    let point = point.expect("it is read");
    assert_eq!(json!(point.level_pct), reading["level_pct"]);
    assert_eq!(json!(point.hue_deg), reading["hue_deg"]);
    assert_eq!(json!(point.level_pct_u), reading["level_pct_u"]);
}

/// A shot that was tried against the film as it was and as it is once the aim is taken: the same numbers, bit for bit.
fn agrees(shot: &AimTriedShot, TriedFix { name, chain }: &TriedFix, was: &Value, is: &Value) {
    let (before, after) = (
        person(was, &shot.shot, "Ana"),
        person(is, &shot.shot, "Ana"),
    );
    same(shot.before.as_ref(), &before["before"]);
    same(shot.now.as_ref(), &before["after"]);
    same(shot.tried.as_ref(), &after["after"]);
    assert_eq!(json!(shot.state_now), before["state"]);
    assert_eq!(json!(shot.state), after["state"]);
    assert_eq!(json!(shot.why), after["why"]);
    assert_eq!(json!(shot.de00_before), after["aim_de00_before"]);
    assert_eq!(json!(shot.de00_tried), after["aim_de00_after"]);
    let centre = &after["aim"]["centre"];
    assert_eq!(json!(shot.aim_level_pct), centre["level_pct"]);
    assert_eq!(json!(shot.aim_hue_deg), centre["hue_deg"]);
    let fixed = fix(is, &shot.shot);
    assert_eq!(json!(shot.reach), fixed["reach"]);
    assert_eq!(json!(shot.sentence), fixed["why"]);
    assert_eq!(json!(chain.chain.fix), fixed["ops"]);
    assert_eq!(&shot.picture, name);
    if shot.state == inkarnat_app::show::ShotState::Short {
        assert_eq!(json!(shot.limit), fixed["limit"]);
    }
    for other in &shot.others {
        let (was, is) = (
            person(was, &shot.shot, &other.person),
            person(is, &shot.shot, &other.person),
        );
        let level = |reading: &Value| reading["after"]["level_pct"].as_f64().unwrap();
        assert!((level(is) - level(was) - other.level_pct).abs() < 1e-9);
        assert_eq!(json!(other.state_now), was["state"]);
        assert_eq!(json!(other.state), is["state"]);
    }
}

#[test]
fn what_is_tried_changes_nothing_and_is_what_taking_it_gives() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    film(at);
    let shots = ids(at, &["a", "b"]);
    // Reached, reached by numbers, like a shot of another light, and beyond what any limit allows.
    let mut short = 0;
    let mut moved = 0;
    for aim in [
        "measured-tan",
        "level:60-66,hue:116-122",
        "like:b",
        "level:93-96",
    ] {
        let text = format!("Ana={aim}");
        let was = shown(at, FILM);
        let bytes = std::fs::read(at.join(FILM)).unwrap();
        let (found, fixes) = tried(at, &text, &shots);
        assert_eq!(found.shots.len(), 2, "{aim}");
        assert!(found.left.is_empty() && found.also.is_empty(), "{found:?}");
        // Tried again, it is the same again.
        let again = tried(at, &text, &shots).0;
        assert_eq!(json!(again), json!(found), "{aim}");
        assert!(
            std::fs::read(at.join(FILM)).unwrap() == bytes,
            "{aim}: the file stays as it is"
        );
        assert_eq!(shown(at, FILM), was, "{aim}: the film stays as it is");

        inkarnat(at, &["aim", FILM, "--person", &text]).ends(0);
        inkarnat(at, &["fix", FILM]);
        let is = shown(at, FILM);
        assert_ne!(is["history"], was["history"], "taking it is a decision");
        for (shot, fix) in found.shots.iter().zip(&fixes) {
            agrees(shot, fix, &was, &is);
            short += usize::from(shot.limit.is_some());
            moved += shot.others.len();
        }
        // Where only Bo is, nothing of Ana's aim arrives.
        assert_eq!(
            person(&was, "c", "Bo"),
            person(&is, "c", "Bo"),
            "{aim}: Bo alone stays"
        );
        assert!(found.shots.iter().any(|shot| shot.changes), "{aim}");
    }
    assert!(short > 0, "one of the aims is beyond the limits");
    assert!(moved > 0, "Bo moves with Ana where both are");
}

/// A setup that nobody is read in carries a fix; another shot of a setup has the same one; a kept shot stays.
#[test]
fn shots_that_are_not_shown_are_named_and_kept_ones_stay() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    film(at);
    inkarnat(at, &["group", FILM, "--setup", "a", "c"]).ends(0);
    inkarnat(at, &["fix", FILM]);
    let found = tried(at, "Ana=level:60-66,hue:116-122", &ids(at, &["a"])).0;
    assert_eq!(found.also, ["c"]);
    inkarnat(at, &["keep", FILM, "b"]).ends(0);
    inkarnat(at, &["fix", FILM]);
    let (found, fixes) = tried(at, "Ana=measured-dark", &ids(at, &["b"]));
    let shot = &found.shots[0];
    assert!(!shot.changes && fixes[0].chain.is_identity(), "{shot:?}");
    assert_eq!(json!(shot.state), "kept");
    assert_eq!(json!(shot.tried), json!(shot.before));
}

/// Set by hand, a fix stays what it is, whatever the aim: only how far it is off is another number.
#[test]
fn a_fix_set_by_hand_stays() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    film(at);
    let mut film = Film::open(&at.join(FILM)).unwrap();
    let half = inkarnat_app::view::pictures::ops_of(&film, ids(at, &["a"])[0]).unwrap();
    let setup = fix_setup(&shown(at, FILM), "b");
    inkarnat_app::choose(&mut film, &setup, Some(inkarnat_app::Choice::Hand(half))).unwrap();
    drop(film);
    let was = shown(at, FILM);
    let (found, fixes) = tried(at, "Ana=measured-tan", &ids(at, &["b"]));
    assert!(!found.shots[0].changes);
    assert_eq!(found.shots[0].reach.as_deref(), Some("hand"));
    inkarnat(at, &["aim", FILM, "--person", "Ana=measured-tan"]).ends(0);
    inkarnat(at, &["fix", FILM]);
    agrees(&found.shots[0], &fixes[0], &was, &shown(at, FILM));
}

fn fix_setup(film: &Value, shot: &str) -> String {
    let shots = film["shots"].as_array().unwrap();
    let shot = shots.iter().find(|s| s["shot"] == shot).unwrap();
    shot["setup"].as_str().unwrap().to_owned()
}

#[test]
fn what_cannot_be_tried_is_said_and_what_is_given_up_ends() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    film(at);
    let all = ids(at, &["a", "b"]);
    let film = Film::open_to_read(&at.join(FILM)).unwrap();
    let refused = |text: &str, shots: &[ShotId]| {
        let answer = try_aim(&film, text, shots, (&Cancel::default(), &|| false));
        answer.unwrap_err().to_string()
    };
    let many = vec![all[0]; 65];
    for (text, shots, words) in [
        ("Cy=own", &all[..], ["nobody called Cy", "Ana, Bo"]),
        ("Ana=rosy", &all[..], ["rosy", "measured-tan"]),
        ("Ana=level:six", &all[..], ["six", "level:"]),
        ("Ana=like:z", &all[..], ["z", "a, b, c"]),
        // Ana is not in c: there is nothing that hers could be like.
        ("Ana=like:c", &all[..], ["like shot c", "draw a patch"]),
        ("Ana=own", &[], ["0 shots", "name 1 to 64"]),
        ("Ana=own", &many[..], ["65 shots", "name 1 to 64"]),
        ("Ana=own", &[ShotId(99)], ["shot 99", "load the page again"]),
    ] {
        let said = refused(text, shots);
        assert!(
            words.iter().all(|word| said.contains(word)),
            "{text}: {said}"
        );
    }

    let stopped = Cancel::default();
    stopped.cancel();
    let answer = try_aim(&film, "Ana=measured-tan", &all, (&stopped, &|| false));
    assert!(matches!(answer, Err(AppError::Cancelled)), "{answer:?}");

    // No time at all: nothing is solved, and that is said; what is said of no shot is none of it made up.
    let (found, fixes) = try_aim(
        &film,
        "Ana=measured-tan",
        &all,
        (&Cancel::default(), &|| true),
    )
    .unwrap();
    assert!(found.shots.is_empty() && fixes.is_empty());
    let left: Vec<i64> = all.iter().map(|id| id.0).collect();
    assert_eq!(found.left, left);
}
