//! A film file through its life: made, written, killed, opened again.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

use inkarnat_color::WorkingSpace;
use inkarnat_film::{
    Deliverable, FaceLink, Film, FilmError, Fingerprint, InputKey, NewFace, NewSource, Packed,
    PatchTrack, PersonId, PersonReading, ReadResult, Said, ShotId, Stage, Step, StepOutcome,
};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn clip(name: &str, frames: u64) -> NewSource {
    NewSource {
        path: PathBuf::from(format!("{name}.mov")),
        absolute: PathBuf::from(format!("/clips/{name}.mov")),
        fingerprint: Fingerprint {
            size: 10,
            sha256: name.to_owned(),
        },
        probe: json!({"codec": "h264"}),
        frames,
    }
}

fn film_with_shot(path: &Path) -> (Film, ShotId) {
    let mut film = Film::create(path, "day", WorkingSpace::default()).unwrap();
    let shot = film.take_in(&clip("a", 20)).unwrap();
    (film, shot)
}

fn readings(film: &Film, shot: ShotId, level: f64) -> ReadResult {
    let patch = &film.patches(shot).unwrap()[0];
    ReadResult {
        tracks: vec![PatchTrack {
            patch: patch.id,
            poses: Packed::of(&vec![1.0, 2.0]),
        }],
        people: vec![PersonReading {
            person: patch.person,
            frames: Packed::of(&vec![level; 20]),
            reading: json!({ "level": level }),
            sample: Packed::of(&vec![[0.5, 0.4, 0.3]]),
        }],
        picture: Packed::of(&vec![[0.1, 0.1, 0.1]]),
        notes: vec!["matrix assumed".to_owned()],
    }
}

#[test]
fn everything_comes_back() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let (mut film, shot) = film_with_shot(&path);
    assert_eq!(film.take_in(&clip("a", 20)).unwrap(), shot, "taken in once");
    let mut same_stem = clip("a", 5);
    same_stem.absolute = PathBuf::from("/other/a.mov");
    film.take_in(&same_stem).unwrap();
    film.draw(shot, "Ana", 3, &json!({"ellipse": 1}), &json!("own"))
        .unwrap();
    film.draw(shot, "Ana", 3, &json!({"ellipse": 2}), &json!("own"))
        .unwrap();
    film.set_aim("Ana", "measured-tan", &json!("measured-tan"))
        .unwrap();
    let key = InputKey::of(&("a", 1));
    let result = readings(&film, shot, 61.5);
    film.keep_readings(shot, &key, &result).unwrap();
    film.decide("aim", &json!({"person": "Ana"})).unwrap();
    drop(film);

    let film = Film::open(&path).unwrap();
    assert_eq!(
        (film.name(), film.space()),
        ("day", WorkingSpace::default())
    );
    let shots = film.shots().unwrap();
    assert_eq!(
        shots.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(),
        ["a", "a-2"]
    );
    assert_eq!((shots[0].in_frame, shots[0].out_frame), (0, 20));
    let patches = film.patches(shot).unwrap();
    assert_eq!(patches.len(), 1, "drawn again on the same frame: replaced");
    assert_eq!(patches[0].shape, json!({"ellipse": 2}));
    let ana = &film.people().unwrap()[0];
    assert_eq!(ana.aim, json!("measured-tan"));
    assert!(film.is_done(shot, Step::Read, &key).unwrap());
    assert!(
        !film
            .is_done(shot, Step::Read, &InputKey::of(&("a", 2)))
            .unwrap()
    );
    let reading: Value = film
        .shot_reading(shot, ana.id, Stage::Before)
        .unwrap()
        .unwrap();
    assert_eq!(reading, json!({"level": 61.5}));
    let frames: Vec<f64> = film
        .frame_readings(shot, ana.id, Stage::Before)
        .unwrap()
        .unwrap();
    assert_eq!(frames, vec![61.5; 20]);
    assert_eq!(film.notes(shot).unwrap(), ["matrix assumed"]);
    let verbs: Vec<String> = film
        .decisions()
        .unwrap()
        .into_iter()
        .map(|decision| decision.verb)
        .collect();
    assert_eq!(verbs, ["start", "start", "patch", "patch", "aim", "aim"]);
}

#[test]
fn reading_again_drops_what_came_from_the_old_readings() {
    let directory = tempfile::tempdir().unwrap();
    let (mut film, shot) = film_with_shot(&directory.path().join("day.inkarnat"));
    film.draw(shot, "Ana", 0, &json!(1), &json!("own")).unwrap();
    let person = film.people().unwrap()[0].id;
    let (old, new) = (InputKey::of(&1), InputKey::of(&2));
    let result = readings(&film, shot, 50.0);
    film.keep_readings(shot, &old, &result).unwrap();
    film.keep_clip(
        shot,
        &Deliverable {
            path: PathBuf::from("/out/a.mov"),
            kind: "clip".to_owned(),
            shot: Some(shot),
            fingerprint: clip("out", 1).fingerprint,
            key: old.clone(),
            detail: json!({}),
        },
    )
    .unwrap();
    let after = (
        person,
        Stage::After,
        Packed::of(&vec![1.0]),
        json!({"level": 60.0}),
    );
    film.keep_proof(shot, &old, &[after], &json!({"passed": true}))
        .unwrap();
    assert!(film.proof::<Value>(shot).unwrap().is_some());
    film.keep_readings(shot, &new, &readings(&film, shot, 55.0))
        .unwrap();
    assert!(film.proof::<Value>(shot).unwrap().is_none());
    assert!(
        film.shot_reading::<Value>(shot, person, Stage::After)
            .unwrap()
            .is_none()
    );
    assert_eq!(
        film.deliverables().unwrap().len(),
        1,
        "the file is still ours"
    );
    film.keep_failure(shot, Step::Read, &old, "truncated")
        .unwrap();
    assert_eq!(
        film.step(shot, Step::Read).unwrap().unwrap().outcome,
        StepOutcome::Failed("truncated".to_owned())
    );
    assert!(
        film.shot_reading::<Value>(shot, person, Stage::Before)
            .unwrap()
            .is_none()
    );
}

#[test]
fn keeping_a_shot_is_written_down_once() {
    let directory = tempfile::tempdir().unwrap();
    let (mut film, shot) = film_with_shot(&directory.path().join("day.inkarnat"));
    for (kept, changes) in [(true, true), (true, false), (false, true)] {
        assert_eq!(film.set_kept(shot, kept).unwrap(), changes);
        assert_eq!(film.shots().unwrap()[0].kept, kept);
    }
    let taken: Vec<_> = film
        .decisions()
        .unwrap()
        .into_iter()
        .filter(|decision| decision.verb == "keep")
        .map(|decision| decision.detail["kept"].as_bool())
        .collect();
    assert_eq!(taken, [Some(true), Some(false)]);
}

#[test]
fn one_writer_many_readers() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let (mut film, shot) = film_with_shot(&path);
    assert!(matches!(Film::open(&path), Err(FilmError::Busy { .. })));
    let mut reader = Film::open_to_read(&path).unwrap();
    film.draw(shot, "Ana", 0, &json!(1), &json!("own")).unwrap();
    assert_eq!(reader.people().unwrap().len(), 1);
    assert!(matches!(
        reader.set_kept(shot, true),
        Err(FilmError::ReadOnly { .. })
    ));
    drop(film);
    Film::open(&path).unwrap();
    assert!(!inkarnat_film::lock_path(&path).exists());
}

#[test]
fn other_files_are_refused_and_left_alone() {
    let directory = tempfile::tempdir().unwrap();
    let text = directory.path().join("text.inkarnat");
    std::fs::write(&text, "this is a text that is longer than any header would be, on purpose, so that nobody takes it for an empty database").unwrap();
    let before = std::fs::read(&text).unwrap();
    assert!(matches!(Film::open(&text), Err(FilmError::NotAFilm { .. })));
    assert_eq!(std::fs::read(&text).unwrap(), before);
    assert!(matches!(
        Film::create(&text, "x", WorkingSpace::default()),
        Err(FilmError::Exists { .. })
    ));
    assert!(matches!(
        Film::open(&directory.path().join("none")),
        Err(FilmError::Missing { .. })
    ));
    let other = directory.path().join("other.inkarnat");
    let database = rusqlite::Connection::open(&other).unwrap();
    database.execute_batch("CREATE TABLE t (a)").unwrap();
    drop(database);
    assert!(matches!(
        Film::open(&other),
        Err(FilmError::NotAFilm { .. })
    ));
    let newer = directory.path().join("newer.inkarnat");
    drop(Film::create(&newer, "x", WorkingSpace::default()).unwrap());
    let database = rusqlite::Connection::open(&newer).unwrap();
    database.pragma_update(None, "user_version", 99).unwrap();
    drop(database);
    assert!(matches!(
        Film::open(&newer),
        Err(FilmError::TooNew { found: 99, .. })
    ));
}

#[test]
fn unknown_names_come_with_the_known_ones() {
    let directory = tempfile::tempdir().unwrap();
    let (mut film, shot) = film_with_shot(&directory.path().join("day.inkarnat"));
    film.draw(shot, "Ana", 0, &json!(1), &json!("own")).unwrap();
    let message = film
        .set_aim("Anna", "own", &json!("own"))
        .unwrap_err()
        .to_string();
    assert!(
        message.contains("Anna") && message.contains("Ana"),
        "{message}"
    );
    assert!(film.shot_named("b").unwrap_err().to_string().contains('a'));
}

/// Not a test of its own: the writer that the next test kills. It writes readings for ever, always
/// with the level equal to the number of the key.
#[test]
#[ignore = "started by the test of killing"]
fn writer_to_be_killed() {
    let Ok(path) = std::env::var("INKARNAT_TEST_FILM") else {
        return;
    };
    let mut film = Film::open(Path::new(&path)).unwrap();
    let shot = film.shots().unwrap()[0].id;
    for round in 0u32.. {
        let key = InputKey::of(&round);
        let mut result = readings(&film, shot, f64::from(round));
        result.people[0].frames = Packed::of(&vec![f64::from(round); 4000]);
        film.keep_readings(shot, &key, &result).unwrap();
    }
}

#[test]
fn killed_at_any_moment_it_opens_and_is_whole() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let (mut film, shot) = film_with_shot(&path);
    film.draw(shot, "Ana", 0, &json!(1), &json!("own")).unwrap();
    film.keep_readings(shot, &InputKey::of(&0u32), &readings(&film, shot, 0.0))
        .unwrap();
    let person = film.people().unwrap()[0].id;
    drop(film);
    let mut moved_on = 0;
    for delay in [150, 210, 333, 481, 705] {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "writer_to_be_killed", "--ignored", "--nocapture"])
            .env("INKARNAT_TEST_FILM", &path)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(std::time::Duration::from_millis(delay));
        child.kill().unwrap();
        child.wait().unwrap();
        // Readers and writers alike find the last committed state, whole.
        for film in [
            Film::open_to_read(&path).unwrap(),
            Film::open(&path).unwrap(),
        ] {
            let reading: Value = film
                .shot_reading(shot, person, Stage::Before)
                .unwrap()
                .unwrap();
            let level = reading["level"].as_f64().unwrap();
            let frames: Vec<f64> = film
                .frame_readings(shot, person, Stage::Before)
                .unwrap()
                .unwrap();
            assert!(frames.iter().all(|frame| *frame == level));
            assert!(
                film.is_done(shot, Step::Read, &InputKey::of(&(level as u32)))
                    .unwrap(),
                "key and readings belong together"
            );
            moved_on += u32::from(level > 0.0);
        }
    }
    assert!(moved_on > 0, "the writer never got to write");
}

fn face(embedding: &[f32]) -> NewFace {
    NewFace {
        was: None,
        role: "person".to_owned(),
        facts: json!({"views": 3}),
        track: Packed::of(&vec![[1.25, 2.5]; 40]),
        embedding: Packed::of(&embedding),
        frames: Packed::of(&vec![61.5; 20]),
        sample: Packed::of(&vec![[0.5, 0.4, 0.3]]),
    }
}

/// The bytes of a stored value, as they lie in the file.
fn bytes_in(path: &Path, needle: &Packed) -> bool {
    let debug = format!("{needle:?}");
    let bytes: Vec<u8> = debug
        .trim_start_matches("Packed([")
        .trim_end_matches("])")
        .split(", ")
        .map(|byte| byte.parse().unwrap())
        .collect();
    ["", "-wal", "-journal"].iter().any(|ending| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        std::fs::read(PathBuf::from(name))
            .is_ok_and(|file| file.windows(bytes.len()).any(|window| window == bytes))
    })
}

#[test]
fn erased_faces_are_gone_from_the_file_and_readings_stay() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let (mut film, shot) = film_with_shot(&path);
    film.draw(shot, "Ana", 3, &json!({"ellipse": 1}), &json!("own"))
        .unwrap();
    let result = readings(&film, shot, 61.5);
    film.keep_readings(shot, &InputKey::of(&1), &result)
        .unwrap();
    let values: Vec<f32> = (0..128).map(|k| (k as f32 * 0.37).sin()).collect();
    let other: Vec<f32> = (0..128).map(|k| (k as f32 * 0.73).cos()).collect();
    let found = InputKey::of(&"found");
    film.keep_faces(shot, &found, &[face(&values), face(&other)])
        .unwrap();
    let faces = film.faces(None).unwrap();
    let person = film.add_person(&json!("own")).unwrap();
    let whose = [(faces[0].id, Some(person)), (faces[1].id, Some(person))];
    film.assign_faces(&whose, None).unwrap();
    film.link(FaceLink {
        first: faces[1].id,
        second: faces[0].id,
        same: true,
    })
    .unwrap();
    film.ask(&["same:"], &[("same:1:2".to_owned(), json!({"text": "?"}))])
        .unwrap();
    film.keep_found_readings(
        shot,
        &[PersonReading {
            person,
            ..readings(&film, shot, 40.0).people.remove(0)
        }],
        &[film.people().unwrap()[0].id],
    )
    .unwrap();
    film.decide("people", &json!({"name": "Ben"})).unwrap();
    let needle = Packed::of(&values.as_slice());
    assert!(bytes_in(&path, &needle), "the search finds what is there");
    assert_eq!(film.erase_faces().unwrap(), 2);
    assert!(!bytes_in(&path, &needle), "no byte of it is left");
    assert!(!film.finds_faces().unwrap());
    assert_eq!(film.erased(shot).unwrap(), Some(found));
    drop(film);
    let film = Film::open(&path).unwrap();
    assert!(film.faces(None).unwrap().is_empty());
    assert!(film.links().unwrap().is_empty() && film.questions().unwrap().is_empty());
    let level = |person| {
        film.shot_reading::<Value>(shot, person, Stage::Before)
            .unwrap()
            .unwrap()["level"]
            .clone()
    };
    assert_eq!(level(person), 40.0);
    assert_eq!(level(film.people().unwrap()[0].id), 61.5);
    // Taking the clip in, drawing, and the two above.
    assert_eq!(film.decisions().unwrap().len(), 4);
}

#[test]
fn faces_found_again_keep_who_they_are_and_what_was_decided() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let (mut film, shot) = film_with_shot(&path);
    let key = InputKey::of(&1);
    film.keep_faces(shot, &key, &[face(&[0.5]), face(&[0.25])])
        .unwrap();
    let faces = film.faces(Some(shot)).unwrap();
    let person = film.add_person(&json!("own")).unwrap();
    film.assign_faces(&[(faces[0].id, Some(person))], None)
        .unwrap();
    film.say(
        "answer",
        &json!({}),
        &[Said::Role(faces[0].id, "no person".to_owned())],
    )
    .unwrap();
    let again = NewFace {
        was: Some(faces[0].id),
        ..face(&[0.75])
    };
    film.keep_faces(shot, &key, &[face(&[0.1]), again]).unwrap();
    let now = film.faces(Some(shot)).unwrap();
    assert_eq!(now.len(), 2);
    assert_eq!((now[1].id, now[1].person), (faces[0].id, Some(person)));
    assert_eq!((now[1].role.as_str(), now[1].decided), ("no person", true));
    assert_eq!(
        film.face_embedding::<Vec<f64>>(now[1].id).unwrap(),
        Some(vec![0.75])
    );
    assert!(!now.iter().any(|face| face.id == faces[1].id));
    // Nobody is left of a person who was named by the program.
    film.assign_faces(&[(now[1].id, None)], None).unwrap();
    film.hide_nobodies().unwrap();
    assert!(film.people().unwrap().is_empty());
    // Somebody new gets the name, not the number; who comes back gets another name.
    let other = film.add_person(&json!("own")).unwrap();
    assert_ne!(other, person);
    assert_eq!(film.people().unwrap()[0].name, "person 1");
    let whose = [(now[1].id, Some(person)), (now[0].id, Some(other))];
    film.assign_faces(&whose, None).unwrap();
    film.hide_nobodies().unwrap();
    let people: Vec<_> = film
        .people()
        .unwrap()
        .into_iter()
        .map(|p| (p.id, p.name))
        .collect();
    let named = |id, name: &str| (id, name.to_owned());
    assert_eq!(
        people,
        [named(person, "person 2"), named(other, "person 1")]
    );
}

#[test]
fn what_is_said_about_people_is_taken_back_and_taken_again() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let (mut film, shot) = film_with_shot(&path);
    film.keep_faces(shot, &InputKey::of(&1), &[face(&[0.5]), face(&[0.25])])
        .unwrap();
    let faces = film.faces(None).unwrap();
    let person = film.add_person(&json!("own")).unwrap();
    let whose = [(faces[0].id, Some(person)), (faces[1].id, Some(person))];
    film.assign_faces(&whose, None).unwrap();
    film.ask(&["skin:"], &[("skin:1".to_owned(), json!({"text": "?"}))])
        .unwrap();
    let question = film.questions().unwrap()[0].id;
    let link = |same| {
        Said::Link(FaceLink {
            first: faces[0].id,
            second: faces[1].id,
            same,
        })
    };
    let state = |film: &Film| {
        json!({
            "people": film.people().unwrap().into_iter()
                .map(|p| (p.name, p.complexion)).collect::<Vec<_>>(),
            "faces": film.faces(None).unwrap().into_iter()
                .map(|f| (f.person.map(|p| p.0), f.role, f.decided)).collect::<Vec<_>>(),
            "links": film.links().unwrap().into_iter().map(|l| l.same).collect::<Vec<_>>(),
            "answers": film.questions().unwrap().into_iter().map(|q| q.answer).collect::<Vec<_>>(),
        })
    };
    let acts: Vec<Vec<Said>> = vec![
        vec![Said::Name(person, "Ben".to_owned())],
        vec![Said::Complexion(person, Some("tan".to_owned()))],
        vec![link(true)],
        // Over what was said before.
        vec![link(false), Said::Nobody(faces[1].id)],
        vec![
            Said::Role(faces[0].id, "no person".to_owned()),
            Said::Answer(question, "yes".to_owned()),
        ],
        vec![Said::Complexion(person, None)],
    ];
    let mut states = vec![state(&film)];
    for act in &acts {
        film.say("people", &json!({}), act).unwrap();
        let now = state(&film);
        assert_ne!(Some(&now), states.last());
        states.push(now);
    }
    for at in (0..acts.len()).rev() {
        assert!(film.undo().unwrap().is_some());
        assert_eq!(state(&film), states[at], "back to {at}");
    }
    for later in &states[1..] {
        assert!(film.redo().unwrap().is_some());
        assert_eq!(&state(&film), later);
    }
    // A face that is gone takes what was said about it along; going back is no error.
    film.keep_faces(shot, &InputKey::of(&2), &[]).unwrap();
    for _ in 0..acts.len() {
        assert!(film.undo().unwrap().is_some());
    }
    assert!(film.links().unwrap().is_empty());
    // Nothing is left of somebody whom nobody has named.
    assert!(film.people().unwrap().iter().all(|p| p.id != person));
    film.redo().unwrap();
    assert_eq!(film.people().unwrap().last().unwrap().name, "Ben");
}

/// A merge joins what was drawn, found and read of two people; taken back, each has their own again,
/// whatever the program has named in the meantime.
#[test]
fn a_merge_is_taken_back_and_taken_again() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let (mut film, shot) = film_with_shot(&path);
    for (name, frame) in [("Ana", 3), ("Ana", 5), ("Ben", 3), ("Ben", 9)] {
        film.draw(shot, name, frame, &json!({ name: frame }), &json!("own"))
            .unwrap();
    }
    let [ana, ben] = [0, 1].map(|at| film.people().unwrap()[at].id);
    let result = |whose: &[(PersonId, f64)]| ReadResult {
        people: whose
            .iter()
            .map(|(person, level)| PersonReading {
                person: *person,
                ..readings(&film, shot, *level).people.remove(0)
            })
            .collect(),
        tracks: vec![],
        ..readings(&film, shot, 0.0)
    };
    let both = result(&[(ana, 60.0), (ben, 30.0)]);
    film.keep_readings(shot, &InputKey::of(&1), &both).unwrap();
    let [solved, proved] = [json!({"people": ["Ben"]}), json!({"proof": ["Ben"]})];
    let setup = film.shots().unwrap()[0].setup;
    film.keep_fix(setup, &InputKey::of(&2), "picture", &[], &solved)
        .unwrap();
    film.keep_proof(shot, &InputKey::of(&3), &[], &proved)
        .unwrap();
    film.keep_faces(shot, &InputKey::of(&4), &[face(&[0.5]), face(&[0.25])])
        .unwrap();
    let faces = film.faces(None).unwrap();
    let whose = [(faces[0].id, Some(ana)), (faces[1].id, Some(ben))];
    film.assign_faces(&whose, None).unwrap();
    film.set_aim("Ben", "level:40-50", &json!("40-50")).unwrap();
    let state = |film: &Film| {
        json!({
            "people": film.people().unwrap().into_iter().map(|p| (p.id.0, p.name, p.aim)).collect::<Vec<_>>(),
            "patches": film.patches(shot).unwrap().into_iter()
                .map(|p| (p.person.0, p.frame, p.shape)).collect::<Vec<_>>(),
            "read": film.people_read(shot).unwrap().into_iter().map(|person| {
                let reading: Option<Value> = film.shot_reading(shot, person, Stage::Before).unwrap();
                (person.0, reading)
            }).collect::<Vec<_>>(),
            "faces": film.faces(None).unwrap().into_iter().map(|f| f.person.map(|p| p.0)).collect::<Vec<_>>(),
            "fix": film.fix::<Value>(setup).unwrap().map(|(_, fix)| fix),
            "proof": film.proof::<Value>(shot).unwrap().map(|(_, proof)| proof),
            "links": film.links().unwrap().len(),
        })
    };
    let before = state(&film);
    let link = FaceLink {
        first: faces[0].id,
        second: faces[1].id,
        same: true,
    };
    let [fix, proof] = [json!({"people": ["Ana"]}), json!({"proof": ["Ana"]})];
    film.merge(
        &json!({"merge": ["Ana", "Ben"]}),
        (ben, ana),
        &[link],
        &[(setup, fix)],
        &[(shot, proof)],
    )
    .unwrap();
    let merged = state(&film);
    assert_eq!(merged["people"], json!([[ana.0, "Ana", "own"]]));
    // On one frame the patch of the one who stays counts.
    assert_eq!(
        merged["patches"],
        json!([[ana.0, 3, {"Ana": 3}], [ana.0, 5, {"Ana": 5}], [ana.0, 9, {"Ben": 9}]])
    );
    assert_eq!(merged["read"].as_array().unwrap().len(), 1);
    assert_eq!(merged["read"][0][1]["level"], 60.0);
    assert_eq!(merged["faces"], json!([ana.0, ana.0]));
    assert_eq!(merged["fix"], json!({"people": ["Ana"]}));
    // The name is free again, and what is drawn under it while it is not taken is hers.
    film.draw(shot, "Ben", 12, &json!(12), &json!("own"))
        .unwrap();
    assert_eq!(film.patches(shot).unwrap().last().unwrap().person, ana);
    film.undo().unwrap();
    film.say("people", &json!({}), &[Said::Name(ana, "Ben".to_owned())])
        .unwrap();
    assert_eq!(film.people().unwrap()[0].name, "Ben");
    film.undo().unwrap();
    assert_eq!(state(&film), merged);
    drop(film);
    let mut film = Film::open(&path).unwrap();
    film.undo().unwrap();
    assert_eq!(state(&film), before);
    film.redo().unwrap();
    assert_eq!(state(&film), merged);
    film.undo().unwrap();
    assert_eq!(state(&film), before);
    // A fix that was solved anew in the meantime is not overwritten.
    film.redo().unwrap();
    film.keep_fix(setup, &InputKey::of(&5), "picture", &[], &json!("new"))
        .unwrap();
    film.undo().unwrap();
    assert_eq!(state(&film)["fix"], "new");
    assert_eq!(state(&film)["patches"], before["patches"]);
    // A patch that is taken away takes the one beneath it along, and brings it back.
    film.redo().unwrap();
    let top = film.patches(shot).unwrap()[0].id;
    film.undraw(top).unwrap();
    assert_eq!(film.patches(shot).unwrap().len(), 2);
    film.undo().unwrap();
    film.undo().unwrap();
    assert_eq!(state(&film)["patches"], before["patches"]);
}

/// The program gives a name again that the editor has changed; taking the change back puts nobody out.
#[test]
fn a_name_that_is_put_back_is_free() {
    let directory = tempfile::tempdir().unwrap();
    let (mut film, shot) = film_with_shot(&directory.path().join("day.inkarnat"));
    film.keep_faces(shot, &InputKey::of(&1), &[face(&[0.5]), face(&[0.25])])
        .unwrap();
    let faces = film.faces(None).unwrap();
    let first = film.add_person(&json!("own")).unwrap();
    film.assign_faces(&[(faces[0].id, Some(first))], None)
        .unwrap();
    film.say("people", &json!({}), &[Said::Name(first, "Ana".to_owned())])
        .unwrap();
    let second = film.add_person(&json!("own")).unwrap();
    film.assign_faces(&[(faces[1].id, Some(second))], None)
        .unwrap();
    let names = |film: &Film| {
        let people = film.people().unwrap().into_iter();
        people.map(|p| (p.id, p.name)).collect::<Vec<_>>()
    };
    let named = |one: &str, two: &str| vec![(first, one.to_owned()), (second, two.to_owned())];
    assert_eq!(names(&film), named("Ana", "person 1"));
    film.undo().unwrap();
    assert_eq!(names(&film), named("person 1", "person 2"));
    film.redo().unwrap();
    assert_eq!(names(&film), named("Ana", "person 2"));
    film.undo().unwrap();
    assert_eq!(names(&film), named("person 1", "person 2"));
}
