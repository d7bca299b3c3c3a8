//! No sequence of re-cuts, decisions, undos, openings anew, kills and broken-off decisions loses a decision.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

use inkarnat_color::WorkingSpace;
use inkarnat_film::{
    DecisionState, FaceLink, Film, Fingerprint, InputKey, NewFace, NewSource, Packed, Place, Said,
    ShotId, SourceId,
};
use proptest::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn clip(name: &str, frames: u64) -> NewSource {
    NewSource {
        path: PathBuf::from(format!("{name}.mov")),
        absolute: PathBuf::from(format!("/clips/{name}.mov")),
        fingerprint: Fingerprint {
            size: 10,
            sha256: name.to_owned(),
        },
        probe: json!({}),
        frames,
    }
}

/// Everything that an editor decided, of shots in the cut and of those that are not.
fn decided(film: &Film) -> Value {
    let setups: BTreeMap<i64, String> = film
        .setups()
        .unwrap()
        .into_iter()
        .map(|s| (s.id.0, format!("{} in {}", s.name, s.scene.0)))
        .collect();
    let shots = film.shots().unwrap();
    let about = |shot: &inkarnat_film::Shot| {
        json!({
            "name": shot.name,
            "span": [shot.in_frame, shot.out_frame],
            "kept": shot.kept,
            "note": film.note(shot.id).unwrap(),
            "setup": setups.get(&shot.setup.0),
            "choice": film.choice(shot.setup).unwrap(),
            "patches": film.patches(shot.id).unwrap().into_iter()
                .map(|p| (p.person.0, p.frame, p.shape)).collect::<Vec<_>>(),
        })
    };
    // Faces of a shot that is not in the cut wait with it.
    let faces: Vec<_> = film
        .faces(None)
        .unwrap()
        .into_iter()
        .filter(|face| shots.iter().any(|shot| shot.id == face.shot))
        .collect();
    json!({
        "cut": shots.iter().map(about).collect::<Vec<_>>(),
        "scenes": film.scenes().unwrap().into_iter().map(|s| (s.name, s.tint)).collect::<Vec<_>>(),
        "tint": film.tint().unwrap(),
        "people": film.people().unwrap().into_iter()
            .filter(|p| p.named || faces.iter().any(|face| face.person == Some(p.id)))
            // A name of the program's own is nothing that was decided.
            .map(|p| (p.id.0, p.named.then_some(p.name), p.aim, p.complexion)).collect::<Vec<_>>(),
        "faces": faces.iter()
            .map(|face| (face.id.0, face.person.map(|p| p.0))).collect::<Vec<_>>(),
        "links": film.links().unwrap().into_iter()
            .map(|link| (link.first.0, link.second.0, link.same)).collect::<Vec<_>>(),
        "by hand": film.grouped_by_hand().unwrap().into_iter()
            .filter(|hand| shots.iter().any(|shot| shot.id == hand.shot))
            .map(|hand| (hand.shot.0, hand.setup, hand.scene)).collect::<Vec<_>>(),
        "from": film.cut().unwrap().map(|c| c.id),
    })
}

fn place(film: &Film, shots: &[(usize, u64, u64, bool)]) -> Vec<Place> {
    let known = film.all_shots().unwrap();
    let mut used: Vec<ShotId> = Vec::new();
    shots
        .iter()
        .map(|(which, from, frames, fresh)| {
            let old = known
                .get(which % known.len().max(1))
                .filter(|shot| !fresh && !used.contains(&shot.id));
            used.extend(old.map(|shot| shot.id));
            let source = old.map_or(SourceId(1 + *which as i64 % 2), |shot| shot.source);
            Place {
                shot: old.map(|shot| shot.id),
                like: known.iter().find(|s| s.source == source).map(|s| s.id),
                name: "piece".to_owned(),
                source,
                in_frame: *from,
                out_frame: from + frames,
                setup: format!("setup {}", source.0),
                scene: "scene 1".to_owned(),
                used: json!({"record_in": from}),
            }
        })
        .collect()
}

#[derive(Clone, Debug)]
enum Act {
    Cut(Vec<(usize, u64, u64, bool)>),
    Keep(usize, bool),
    Note(usize, String),
    Aim(usize, u8),
    Name(usize, String),
    Complexion(usize, bool),
    Merge(usize, usize),
    Split(usize),
    Draw(usize, u64, u8),
    Setup(usize, u8),
    Scene(usize, u8),
    Suggest(Vec<(u8, u8)>),
    Choose(usize, Option<u8>),
    Tint(Option<usize>, bool),
    Undo,
    Redo,
    OpenAnew,
    /// The process is gone at once: what lies on the disk goes on, a journal with it.
    Killed,
    /// It is gone while the journal is written: only a share of it lies on the disk.
    KilledWriting(u8),
    /// A cut that cannot be placed to its end: some of its shots are of no source.
    BrokenOff(Vec<(usize, u64, u64, bool)>),
}

fn act() -> impl Strategy<Value = Act> {
    let pieces = prop::collection::vec((0usize..8, 0u64..50, 1u64..50, any::<bool>()), 0..6);
    prop_oneof![
        2 => pieces.prop_map(Act::Cut),
        1 => (0usize..8, any::<bool>()).prop_map(|(s, k)| Act::Keep(s, k)),
        1 => (0usize..8, "[a-z']{0,5}").prop_map(|(s, t)| Act::Note(s, t)),
        1 => (0usize..4, any::<u8>()).prop_map(|(p, v)| Act::Aim(p, v)),
        1 => (0usize..4, "(Ana|[a-c])").prop_map(|(p, n)| Act::Name(p, n)),
        1 => (0usize..4, any::<bool>()).prop_map(|(p, t)| Act::Complexion(p, t)),
        3 => (0usize..4, 0usize..4).prop_map(|(a, b)| Act::Merge(a, b)),
        2 => (0usize..4).prop_map(Act::Split),
        2 => (0usize..8, 0u64..20, any::<u8>()).prop_map(|(s, f, v)| Act::Draw(s, f, v)),
        1 => (0usize..8, 0u8..3).prop_map(|(s, n)| Act::Setup(s, n)),
        1 => (0usize..8, 0u8..3).prop_map(|(s, n)| Act::Scene(s, n)),
        1 => prop::collection::vec((0u8..3, 0u8..3), 0..6).prop_map(Act::Suggest),
        1 => (0usize..8, prop::option::of(0u8..4)).prop_map(|(s, c)| Act::Choose(s, c)),
        1 => (prop::option::of(0usize..4), any::<bool>()).prop_map(|(s, k)| Act::Tint(s, k)),
        4 => Just(Act::Undo),
        2 => Just(Act::Redo),
        1 => Just(Act::OpenAnew),
        1 => Just(Act::Killed),
        1 => any::<u8>().prop_map(Act::KilledWriting),
        1 => prop::collection::vec((0usize..8, 0u64..50, 1u64..50, any::<bool>()), 0..6).prop_map(Act::BrokenOff),
    ]
}

/// Gives the states that a kill may leave on the way.
fn perform(film: &mut Film, act: &Act) -> Vec<Value> {
    let mut between = Vec::new();
    let shots = film.shots().unwrap();
    let shot = |at: &usize| shots.get(at % shots.len().max(1)).cloned();
    let people = film.people().unwrap();
    let person = |at: &usize| people.get(at % people.len().max(1)).cloned();
    let faces = film.faces(None).unwrap();
    match act {
        Act::Cut(pieces) => {
            let places = place(film, pieces);
            film.place(&places, "list.otio", &json!({})).unwrap();
        }
        Act::Keep(at, kept) => {
            if let Some(shot) = shot(at) {
                film.set_kept(shot.id, *kept).unwrap();
            }
        }
        Act::Note(at, text) => {
            if let Some(shot) = shot(at) {
                film.set_note(&shot, text).unwrap();
            }
        }
        Act::Aim(at, value) => {
            if let Some(person) = person(at) {
                film.set_aim(&person.name, "own", &json!(value)).unwrap();
            }
        }
        Act::Name(at, name) => {
            if let Some(person) = person(at).filter(|_| people.iter().all(|p| p.name != *name)) {
                film.say("people", &json!({}), &[Said::Name(person.id, name.clone())])
                    .unwrap();
            }
        }
        Act::Complexion(at, tan) => {
            if let Some(person) = person(at) {
                let complexion = tan.then(|| "tan".to_owned());
                film.say(
                    "people",
                    &json!({}),
                    &[Said::Complexion(person.id, complexion)],
                )
                .unwrap();
            }
        }
        Act::Merge(a, b) => {
            let (Some(a), Some(b)) = (person(a), person(b)) else {
                return between;
            };
            if a.id != b.id {
                let of = |id| faces.iter().find(|f| f.person == Some(id)).map(|f| f.id);
                let link = of(a.id).zip(of(b.id)).map(|(first, second)| FaceLink {
                    first,
                    second,
                    same: true,
                });
                let links: Vec<FaceLink> = link.into_iter().collect();
                film.merge(&json!({}), (b.id, a.id), &links, &[], &[])
                    .unwrap();
                film.hide_nobodies().unwrap();
            }
        }
        Act::Split(at) => {
            // As the program does it: what is said, and then who that is.
            let face = &faces[at % faces.len()];
            let apart = faces
                .iter()
                .filter(|f| f.person == face.person && f.id != face.id);
            let said: Vec<Said> = apart
                .map(|f| FaceLink {
                    first: f.id,
                    second: face.id,
                    same: false,
                })
                .map(Said::Link)
                .chain([Said::Nobody(face.id)])
                .collect();
            let decision = film.say("people", &json!({}), &said).unwrap();
            // Until the next time that the program says who is who, the face is nobody's.
            between.push(decided(film));
            let new = film.add_person(&json!("own")).unwrap();
            film.assign_faces(&[(face.id, Some(new))], decision)
                .unwrap();
            film.hide_nobodies().unwrap();
        }
        Act::Draw(at, frame, value) => {
            if let Some(shot) = shot(at) {
                film.draw(shot.id, "Ana", *frame, &json!(value), &json!("own"))
                    .unwrap();
            }
        }
        Act::Setup(at, number) => {
            if let Some(shot) = shot(at) {
                film.put_in_setup(&[shot.id], &format!("set {number}"))
                    .unwrap();
            }
        }
        Act::Scene(at, number) => {
            if let Some(shot) = shot(at) {
                film.put_in_scene(&[shot.id], &format!("scene {number}"))
                    .unwrap();
            }
        }
        Act::Suggest(numbers) => {
            let places: Vec<(ShotId, String, String)> = shots
                .iter()
                .zip(numbers)
                .map(|(shot, (setup, scene))| {
                    (shot.id, format!("set {setup}"), format!("scene {scene}"))
                })
                .collect();
            film.arrange(&places).unwrap();
        }
        Act::Choose(at, choice) => {
            if let Some(shot) = shot(at) {
                let choice = choice.map(|number| json!({ "number": number }));
                film.set_choice(shot.setup, choice.as_ref(), &json!({}))
                    .unwrap();
            }
        }
        Act::Tint(scene, keep) => {
            let scenes = film.scenes().unwrap();
            let scene = scene.and_then(|at| scenes.get(at));
            film.set_tint(scene, if *keep { "keep" } else { "correct" })
                .unwrap();
        }
        Act::BrokenOff(pieces) => {
            let mut places = place(film, pieces);
            places.push(Place {
                shot: None,
                like: None,
                name: "of nothing".to_owned(),
                source: SourceId(4711),
                in_frame: 0,
                out_frame: 1,
                setup: "none".to_owned(),
                scene: "nowhere".to_owned(),
                used: Value::Null,
            });
            assert!(film.place(&places, "broken.otio", &json!({})).is_err());
        }
        Act::Undo | Act::Redo | Act::OpenAnew | Act::Killed | Act::KilledWriting(_) => {}
    }
    between
}

/// What lies on the disk of a film that is open, at another place; of the journal only `share` parts of 255.
fn on_disk(path: &Path, to: &Path, share: u8) {
    std::fs::create_dir_all(to.parent().unwrap()).unwrap();
    std::fs::copy(path, to).unwrap();
    let journal = |path: &Path| PathBuf::from(format!("{}-wal", path.display()));
    let Ok(bytes) = std::fs::read(journal(path)) else {
        return;
    };
    let kept = bytes.len() * usize::from(share) / 255;
    std::fs::write(journal(to), &bytes[..kept]).unwrap();
}

fn new_film(path: &Path) -> Film {
    let mut film = Film::create(path, "day", WorkingSpace::default()).unwrap();
    film.take_in(&clip("a", 100)).unwrap();
    film.take_in(&clip("b", 100)).unwrap();
    let shots: Vec<ShotId> = film.shots().unwrap().iter().map(|shot| shot.id).collect();
    film.draw(shots[0], "Ana", 50, &json!(0), &json!("own"))
        .unwrap();
    // Four faces of three people.
    let face = || NewFace {
        was: None,
        role: "person".to_owned(),
        facts: json!({}),
        track: Packed::of(&1),
        embedding: Packed::of(&1),
        frames: Packed::of(&1),
        sample: Packed::of(&1),
    };
    for shot in shots {
        film.keep_faces(shot, &InputKey::of(&1), &[face(), face()])
            .unwrap();
    }
    let ana = film.people().unwrap()[0].id;
    let [second, third] = [(); 2].map(|()| film.add_person(&json!("own")).unwrap());
    let faces = film.faces(None).unwrap();
    let whose: Vec<_> = faces
        .iter()
        .zip([ana, second, second, third])
        .map(|(face, person)| (face.id, Some(person)))
        .collect();
    film.assign_faces(&whose, None).unwrap();
    film
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn nothing_decided_is_lost(acts in prop::collection::vec(act(), 1..30)) {
        let directory = tempfile::tempdir().unwrap();
        let path = directory.path().join("day.inkarnat");
        // Closed once, so that no journal holds anything of before.
        drop(new_film(&path));
        let mut film = Film::open(&path).unwrap();
        // What holds now, what undo goes back to, what redo goes forward to.
        let mut now = decided(&film);
        let mut back: Vec<Value> = vec![];
        let mut forward: Vec<Value> = vec![];
        let first = film.decisions().unwrap().len();
        let mut count = first;
        let mut seen = vec![now.clone()];
        let mut path = path;
        for (number, act) in acts.iter().enumerate() {
            match act {
                Act::Undo if back.is_empty() => {}
                Act::Undo => {
                    prop_assert!(film.undo().unwrap().is_some());
                    forward.push(std::mem::replace(&mut now, back.pop().unwrap()));
                }
                Act::Redo => {
                    let done = film.redo().unwrap().is_some();
                    prop_assert_eq!(done, !forward.is_empty());
                    if let Some(next) = forward.pop() {
                        back.push(std::mem::replace(&mut now, next));
                    }
                }
                Act::OpenAnew => {
                    drop(film);
                    film = Film::open(&path).unwrap();
                }
                Act::Killed => {
                    let copy = directory.path().join(number.to_string()).join("day.inkarnat");
                    on_disk(&path, &copy, 255);
                    film = Film::open(&copy).unwrap();
                    path = copy;
                }
                Act::KilledWriting(share) => {
                    let copy = directory.path().join(format!("{number}-part")).join("day.inkarnat");
                    on_disk(&path, &copy, *share);
                    // Less may be there than was decided, but nothing by half.
                    let part = decided(&Film::open(&copy).unwrap());
                    prop_assert!(seen.contains(&part), "{part:#}");
                }
                act => {
                    seen.extend(perform(&mut film, act));
                    let written = film.decisions().unwrap().len();
                    if written > count {
                        back.push(std::mem::replace(&mut now, decided(&film)));
                        forward.clear();
                        count = written;
                    }
                }
            }
            prop_assert_eq!(&decided(&film), &now);
            if !seen.contains(&now) {
                seen.push(now.clone());
            }
            // The history only grows.
            prop_assert_eq!(film.decisions().unwrap().len(), count);
        }
        // Every decision that holds can be taken back, down to the clips as they were taken in.
        while let Some(before) = back.pop() {
            prop_assert!(film.undo().unwrap().is_some());
            prop_assert_eq!(&decided(&film), &before);
        }
        let states = film.decisions().unwrap();
        prop_assert!(states[first..].iter().all(|d| d.state != DecisionState::Done));
    }
}

#[test]
fn a_lost_shot_waits_with_what_was_decided() {
    let directory = tempfile::tempdir().unwrap();
    let mut film = new_film(&directory.path().join("day.inkarnat"));
    let shots = film.shots().unwrap();
    film.set_note(&shots[1], "too dark").unwrap();
    film.set_kept(shots[1].id, true).unwrap();
    film.draw(shots[1].id, "Ana", 3, &json!(1), &json!("own"))
        .unwrap();
    let one = |shot: &inkarnat_film::Shot| Place {
        shot: Some(shot.id),
        like: None,
        name: shot.name.clone(),
        source: shot.source,
        in_frame: 0,
        out_frame: 100,
        setup: "x".to_owned(),
        scene: "y".to_owned(),
        used: Value::Null,
    };
    film.place(&[one(&shots[0])], "first.edl", &json!({}))
        .unwrap();
    assert_eq!(film.shots().unwrap().len(), 1);
    assert_eq!(film.lost_shots().unwrap()[0].name, "b");
    film.place(&[one(&shots[1]), one(&shots[0])], "second.edl", &json!({}))
        .unwrap();
    let back = film.shots().unwrap();
    assert_eq!(back[0].name, "b");
    assert!(back[0].kept);
    assert_eq!(film.note(back[0].id).unwrap().as_deref(), Some("too dark"));
    assert_eq!(film.patches(back[0].id).unwrap().len(), 1);
}

#[test]
fn what_is_said_about_tints_is_kept_and_taken_back() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.inkarnat");
    let mut film = new_film(&path);
    let shot = film.shots().unwrap()[1].id;
    film.put_in_scene(&[shot], "evening").unwrap();
    let of = |film: &Film| {
        let scenes = film.scenes().unwrap();
        let tints: Vec<_> = scenes.into_iter().map(|s| s.tint).collect();
        (film.tint().unwrap(), tints)
    };
    let evening = film.scenes().unwrap()[1].clone();
    film.set_tint(Some(&evening), "correct").unwrap();
    let one = (None, vec![None, Some("correct".to_owned())]);
    assert_eq!(of(&film), one);
    // Said of the whole film it holds for every scene.
    film.set_tint(None, "keep").unwrap();
    assert_eq!(of(&film), (Some("keep".to_owned()), vec![None, None]));
    drop(film);
    let mut film = Film::open(&path).unwrap();
    film.undo().unwrap();
    assert_eq!(of(&film), one);
    film.undo().unwrap();
    assert_eq!(of(&film), (None, vec![None, None]));
    film.redo().unwrap();
    assert_eq!(of(&film), one);
}

#[test]
fn what_was_grouped_by_hand_is_known_and_taken_back() {
    let directory = tempfile::tempdir().unwrap();
    let mut film = new_film(&directory.path().join("day.inkarnat"));
    let ids: Vec<ShotId> = film.shots().unwrap().iter().map(|shot| shot.id).collect();
    let by_hand = |film: &Film| -> Vec<(ShotId, bool, bool)> {
        film.grouped_by_hand()
            .unwrap()
            .into_iter()
            .map(|hand| (hand.shot, hand.setup, hand.scene))
            .collect()
    };
    assert!(by_hand(&film).is_empty());
    film.put_in_setup(&ids[..1], "window").unwrap();
    film.put_in_scene(&ids[1..], "night").unwrap();
    assert_eq!(
        by_hand(&film),
        [(ids[0], true, false), (ids[1], false, true)]
    );
    film.undo().unwrap();
    assert_eq!(by_hand(&film), [(ids[0], true, false)]);
    film.undo().unwrap();
    assert!(by_hand(&film).is_empty());
    // A suggestion is nothing that was done by hand, and can be taken back as well.
    let place = |id: ShotId| (id, "hall".to_owned(), "day".to_owned());
    let places: Vec<_> = ids.iter().copied().map(place).collect();
    assert!(film.arrange(&places).unwrap());
    assert!(!film.arrange(&places).unwrap());
    assert!(by_hand(&film).is_empty());
    assert_eq!(film.setups().unwrap().len(), 1);
    film.undo().unwrap();
    assert_eq!(film.setups().unwrap().len(), 2);
    // Whoever names a setup has grouped what is in it.
    film.rename_group("setup", "a", "door").unwrap();
    assert_eq!(by_hand(&film), [(ids[0], true, false)]);
}
