//! Who is who: faces kept with their shot, grouped into people over the film, doubts asked, and the
//! readings of found people put together.

use crate::clip::reading::sum;
use crate::faces::{FaceFacts, Lost, Role};
use crate::job::{KnownFace, ReadFace};
use crate::steps::lighting::face_sample;
use crate::steps::reading::{Drawn, patches_of};
use crate::steps::taking::{AimSetting, probe_of};
use crate::steps::transforming::with_input;
use crate::weights::Weights;
use crate::{AppError, Result};
use inkarnat_film::{
    DecisionId, Face, FaceId, Film, InputKey, NewFace, Packed, Person, PersonId, PersonReading,
    Shot, Source, value_of,
};
use inkarnat_media::Probe;
use inkarnat_people::{Embedding, FaceTrack, Member, SAME, Said, group};
use inkarnat_reading::{FrameReading, ShotReading, SkinSample};
use serde_json::json;

/// Part of the key of every finding: raised when the way of finding or following changes.
const METHOD: u32 = 4;

/// Key of what goes into finding the faces of a shot.
///
/// Its frames are not in it: they are those that were read (`Film::read_span`).
pub(crate) fn key(film: &Film, source: &Source, every: u64, weights: &Weights) -> Result<InputKey> {
    let key = InputKey::of(&(METHOD, &source.fingerprint, every, &weights.prints));
    with_input(film, source, key)
}

/// What is known of a face.
pub(crate) fn facts_of(face: &Face) -> Result<FaceFacts> {
    serde_json::from_value(face.facts.clone()).map_err(|error| {
        AppError::Request(format!(
            "a face of another version ({error}); find the faces again with `inkarnat find`"
        ))
    })
}

/// The faces of a shot, to be read again.
pub(crate) fn known_faces(film: &Film, shot: &Shot) -> Result<Vec<KnownFace>> {
    film.faces(Some(shot.id))?
        .iter()
        .map(|face| known_face(film, face))
        .collect()
}

/// A face with its outlines.
pub(crate) fn known_face(film: &Film, face: &Face) -> Result<KnownFace> {
    Ok(KnownFace {
        track: film
            .face_track(face.id)?
            .ok_or_else(|| AppError::Request("a face without its outlines".to_owned()))?,
        light: facts_of(face)?.light,
    })
}

/// What a worker gave, ready to be kept. `known`: the same faces as before, read again.
pub(crate) fn new_faces(
    film: &Film,
    shot: &Shot,
    faces: &[ReadFace],
    probe: &Probe,
    known: bool,
) -> Result<Vec<NewFace>> {
    let before = film.faces(Some(shot.id))?;
    let mut was: Vec<Option<FaceId>> = vec![None; faces.len()];
    let mut embeddings: Vec<Embedding> = faces.iter().map(|f| f.track.embedding.clone()).collect();
    if known && before.len() == faces.len() {
        for (k, face) in before.iter().enumerate() {
            was[k] = Some(face.id);
            embeddings[k] = film
                .face_embedding(face.id)?
                .unwrap_or(Embedding(Vec::new()));
        }
    } else {
        was = same_as_before(film, &before, faces)?;
    }
    faces
        .iter()
        .zip(was)
        .zip(embeddings)
        .map(|((face, was), embedding)| {
            let facts = facts(film, face, probe);
            let track = FaceTrack {
                embedding: Embedding(Vec::new()),
                ..face.track.clone()
            };
            Ok(NewFace {
                was,
                role: facts.role().word().to_owned(),
                facts: value_of(&facts),
                track: Packed::of(&track),
                embedding: Packed::of(&embedding),
                frames: Packed::of(&face.frames),
                sample: Packed::of(&face.skin),
            })
        })
        .collect()
}

fn facts(film: &Film, face: &ReadFace, probe: &Probe) -> FaceFacts {
    let track = &face.track;
    let lost = track.frames.len() - face.frames.len();
    let reading = sum(
        &face.frames,
        face.frames.len() + lost,
        film.space(),
        probe.format,
    );
    let mut widths: Vec<f64> = track
        .frames
        .iter()
        .filter_map(|state| Some(state.held()?.width))
        .collect();
    widths.sort_by(f64::total_cmp);
    FaceFacts {
        held: track.held_spans(),
        lost: track
            .lost_spans()
            .into_iter()
            .map(|(frames, reason)| Lost {
                frames,
                why: reason.to_string(),
            })
            .collect(),
        score: track.score,
        views: track.views,
        liveliness: track.liveliness.lasting,
        picture: track.liveliness.may_be_a_picture(),
        width_px: widths.get(widths.len() / 2).copied().unwrap_or(0.0),
        light: face.light,
        coverage: face.coverage,
        looked_at: track.frames.len() as u64,
        unread: match &reading {
            Ok(_) => None,
            Err(reason) => Some(face.unread.clone().unwrap_or_else(|| reason.clone())),
        },
        hue_deg: reading
            .as_ref()
            .ok()
            .and_then(|r: &ShotReading| Some(r.hue?.degrees())),
    }
}

/// Which faces of an earlier finding those of a new one are.
fn same_as_before(film: &Film, before: &[Face], faces: &[ReadFace]) -> Result<Vec<Option<FaceId>>> {
    let mut pairs = Vec::new();
    for (i, old) in before.iter().enumerate() {
        let facts = facts_of(old)?;
        let Some(embedding) = film.face_embedding::<Embedding>(old.id)? else {
            continue;
        };
        for (k, new) in faces.iter().enumerate() {
            let distance = embedding.distance(&new.track.embedding);
            let spans = new.track.held_spans();
            let shared = facts
                .held
                .iter()
                .any(|a| spans.iter().any(|b| a.start < b.end && b.start < a.end));
            if distance < SAME && shared {
                pairs.push((distance, i, k));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut was = vec![None; faces.len()];
    let mut used = vec![false; before.len()];
    for (_, i, k) in pairs {
        if !used[i] && was[k].is_none() {
            used[i] = true;
            was[k] = Some(before[i].id);
        }
    }
    Ok(was)
}

/// Why none of a shot's faces is read, as the beginning of a sentence.
pub(crate) fn unread_faces(faces: &[Face]) -> Result<String> {
    let mut reasons: Vec<String> = Vec::new();
    for face in faces {
        let reason = match (Role::of(&face.role), facts_of(face)?.unread) {
            (Role::Doubted, _) => {
                "a face in it is asked about (`inkarnat show` has the question)".to_owned()
            }
            (Role::NoPerson, _) => "a face in it is nobody's, as was answered".to_owned(),
            (_, Some(reason)) => format!("a face in it cannot be read: {reason}"),
            (_, None) => "a face in it is not read".to_owned(),
        };
        if !reasons.contains(&reason) {
            reasons.push(reason);
        }
    }
    Ok(reasons.join("; "))
}

/// Says who is who over the whole film, asks what is in doubt, and puts the readings of found people
/// together.
///
/// What follows from a `decision` of the editor's is taken back with it.
///
/// # Errors
/// If the film cannot be read or written.
pub(crate) fn settle(film: &mut Film, decision: Option<DecisionId>) -> Result<()> {
    let faces = film.faces(None)?;
    if faces.is_empty() {
        return Ok(());
    }
    let shots = film.shots()?;
    let people: Vec<&Face> = faces
        .iter()
        .filter(|face| Role::of(&face.role) == Role::Person)
        .collect();
    let mut members = Vec::new();
    for face in &people {
        let facts = facts_of(face)?;
        members.push(Member {
            embedding: film
                .face_embedding(face.id)?
                .unwrap_or(Embedding(Vec::new())),
            weight: f64::from(facts.views),
            shot: face.shot.0.unsigned_abs(),
            held: facts.held,
        });
    }
    let anchors = anchors(film, &shots, &people)?;
    let said = said(film, &people, &anchors)?;
    let groups = group(&members, &said);
    let mut whose: Vec<(FaceId, Option<PersonId>)> = faces
        .iter()
        .filter(|face| Role::of(&face.role) != Role::Person)
        .map(|face| (face.id, None))
        .collect();
    let persons = persons_of(film, &people, &anchors, &groups.people)?;
    for (group, person) in groups.people.iter().zip(&persons) {
        whose.extend(group.iter().map(|&k| (people[k].id, Some(*person))));
    }
    film.assign_faces(&whose, decision)?;
    ask(film, &shots, &faces, &people, &groups, &persons)?;
    for shot in &shots {
        put_together(film, shot)?;
    }
    film.hide_nobodies()?;
    Ok(())
}

/// The person of the drawn patch that lies in each face, if one does.
fn anchors(film: &Film, shots: &[Shot], people: &[&Face]) -> Result<Vec<Option<PersonId>>> {
    let mut anchors = vec![None; people.len()];
    for shot in shots {
        let drawn = patches_of(film, shot)?;
        if drawn.is_empty() {
            continue;
        }
        let Some(source) = film.sources()?.into_iter().find(|s| s.id == shot.source) else {
            continue;
        };
        let probe = probe_of(&source)?;
        let (width, height) = (probe.width as f64, probe.height as f64);
        for (k, face) in people.iter().enumerate() {
            if face.shot != shot.id {
                continue;
            }
            let Some(track) = film.face_track::<FaceTrack>(face.id)? else {
                continue;
            };
            anchors[k] = drawn.iter().find_map(|drawn| {
                let inside = drawn.patches.iter().any(|patch| {
                    let [x, y] = patch.shape.middle();
                    track
                        .near(patch.frame)
                        .is_some_and(|outline| outline.holds([x * width, y * height]))
                });
                inside.then_some(drawn.person.id)
            });
        }
    }
    Ok(anchors)
}

/// What is certain about pairs of faces: what the editor said, and faces with the same drawn person.
fn said(
    film: &Film,
    people: &[&Face],
    anchors: &[Option<PersonId>],
) -> Result<Vec<(usize, usize, Said)>> {
    let place = |id: FaceId| people.iter().position(|face| face.id == id);
    let mut said = Vec::new();
    for link in film.links()? {
        if let (Some(a), Some(b)) = (place(link.first), place(link.second)) {
            said.push((
                a,
                b,
                if link.same {
                    Said::Same
                } else {
                    Said::Different
                },
            ));
        }
    }
    for (i, a) in anchors.iter().enumerate() {
        for (j, b) in anchors.iter().enumerate().skip(i + 1) {
            if let (Some(a), Some(b)) = (a, b) {
                let known = said
                    .iter()
                    .any(|(x, y, _)| (*x, *y) == (i, j) || (*x, *y) == (j, i));
                if !known {
                    said.push((i, j, if a == b { Said::Same } else { Said::Different }));
                }
            }
        }
    }
    Ok(said)
}

/// A person for every group: the one drawn in it; else the one that most of its faces had; else a
/// new one.
fn persons_of(
    film: &mut Film,
    people: &[&Face],
    anchors: &[Option<PersonId>],
    groups: &[Vec<usize>],
) -> Result<Vec<PersonId>> {
    let known = film.people()?;
    let named = |id: PersonId| known.iter().any(|person| person.id == id && person.named);
    // (drawn, named, faces, group, person), the best claim first.
    let mut claims = Vec::new();
    for (g, group) in groups.iter().enumerate() {
        for person in &known {
            let drawn = group.iter().any(|&k| anchors[k] == Some(person.id));
            let had = group
                .iter()
                .filter(|&&k| people[k].person == Some(person.id))
                .count();
            if drawn || had > 0 {
                claims.push((drawn, named(person.id), had, g, person.id));
            }
        }
    }
    claims.sort_by(|a, b| {
        (b.0, b.1, b.2)
            .cmp(&(a.0, a.1, a.2))
            .then(a.3.cmp(&b.3))
            .then(a.4.cmp(&b.4))
    });
    let mut persons: Vec<Option<PersonId>> = vec![None; groups.len()];
    for (_, _, _, group, person) in claims {
        if persons[group].is_none() && !persons.contains(&Some(person)) {
            persons[group] = Some(person);
        }
    }
    persons
        .into_iter()
        .map(|person| match person {
            Some(person) => Ok(person),
            None => Ok(film.add_person(&AimSetting::own())?),
        })
        .collect()
}

/// What of the questions belongs to faces.
const ABOUT: [&str; 3] = ["same:", "picture:", "skin:"];

fn ask(
    film: &mut Film,
    shots: &[Shot],
    faces: &[Face],
    people: &[&Face],
    groups: &inkarnat_people::Groups,
    persons: &[PersonId],
) -> Result<()> {
    let names = film.people()?;
    let name = |id: PersonId| {
        names
            .iter()
            .find(|person| person.id == id)
            .map_or_else(String::new, |person| person.name.clone())
    };
    let shot_name = |face: &Face| {
        shots
            .iter()
            .find(|shot| shot.id == face.shot)
            .map_or_else(String::new, |shot| shot.name.clone())
    };
    let mut questions = Vec::new();
    for question in &groups.questions {
        let (first, second) = (
            people[groups.people[question.first][0]],
            people[groups.people[question.second][0]],
        );
        let (a, b) = (
            name(persons[question.first]),
            name(persons[question.second]),
        );
        questions.push((
            format!("same:{}:{}", first.id.0, second.id.0),
            json!({
                "shot": shot_name(second),
                "people": [a, b],
                "text": format!(
                    "are {a} (shot {}) and {b} (shot {}) one person? Their faces are {:.2} apart: below {SAME} is taken as one person, above {} as two",
                    shot_name(first), shot_name(second), question.distance, inkarnat_people::DOUBT
                ),
            }),
        ));
    }
    for face in faces {
        if Role::of(&face.role) != Role::Doubted {
            continue;
        }
        let (facts, shot) = (facts_of(face)?, shot_name(face));
        let (about, text) = if facts.picture == Some(true) {
            (
                "picture",
                format!(
                    "is the face in shot {shot} (from frame {}) a picture of one, on a wall or a screen? It does not change in itself",
                    facts.first()
                ),
            )
        } else {
            (
                "skin",
                format!(
                    "is the face in shot {shot} (from frame {}) painted or a mask? Its hue is {:.0}°, far from every skin published",
                    facts.first(),
                    facts.hue_deg.unwrap_or_default()
                ),
            )
        };
        questions.push((
            format!("{about}:{}", face.id.0),
            json!({ "shot": shot, "people": [], "text": text }),
        ));
    }
    film.ask(&ABOUT, &questions)?;
    Ok(())
}

/// One person in a shot: by drawn patches, by found faces, or by readings whose faces are erased.
pub(crate) struct Present {
    pub(crate) person: Person,
    /// Where there are any, they are read and not the faces.
    pub(crate) drawn: Option<Drawn>,
    pub(crate) faces: Vec<Face>,
}

/// Everybody in a shot, by number.
pub(crate) fn present(film: &Film, shot: &Shot) -> Result<Vec<Present>> {
    let mut drawn = patches_of(film, shot)?;
    let faces = film.faces(Some(shot.id))?;
    let read = film.people_read(shot.id)?;
    Ok(film
        .people()?
        .into_iter()
        .filter_map(|person| {
            let own: Vec<Face> = faces
                .iter()
                .filter(|face| face.person == Some(person.id))
                .cloned()
                .collect();
            let at = drawn.iter().position(|d| d.person.id == person.id);
            (at.is_some() || !own.is_empty() || read.contains(&person.id)).then(|| Present {
                drawn: at.map(|at| drawn.remove(at)),
                faces: own,
                person,
            })
        })
        .collect())
}

/// Puts the readings of the found people of a shot together from their faces. A person with a drawn
/// patch is read there.
fn put_together(film: &mut Film, shot: &Shot) -> Result<()> {
    if film.erased(shot.id)?.is_some() {
        return Ok(());
    }
    let drawn: Vec<PersonId> = patches_of(film, shot)?
        .iter()
        .map(|drawn| drawn.person.id)
        .collect();
    let faces = film.faces(Some(shot.id))?;
    let Some(source) = film.sources()?.into_iter().find(|s| s.id == shot.source) else {
        return Ok(());
    };
    let probe = probe_of(&source)?;
    let mut people: Vec<PersonId> = faces.iter().filter_map(|face| face.person).collect();
    people.sort_unstable();
    people.dedup();
    let mut read = Vec::new();
    for person in people.into_iter().filter(|p| !drawn.contains(p)) {
        let mut frames: Vec<FrameReading> = Vec::new();
        let mut sample = SkinSample::default();
        let mut looked_at = 0;
        for face in faces.iter().filter(|face| face.person == Some(person)) {
            let own: Vec<FrameReading> = film.face_frames(face.id)?.unwrap_or_default();
            looked_at = looked_at.max(facts_of(face)?.looked_at as usize);
            // Two faces of one person in one frame: the first is read.
            let new = own
                .iter()
                .filter(|own| (shot.in_frame..shot.out_frame).contains(&own.frame))
                .filter(|own| !frames.iter().any(|known| known.frame == own.frame))
                .copied()
                .collect::<Vec<_>>();
            frames.extend(new);
            let skin = face_sample(film, face.id)?;
            // Frames of some pixels alone would be taken for those of others.
            sample.frames.resize(sample.pixels.len(), u64::MAX);
            sample.pixels.extend(skin.pixels);
            sample.frames.extend(skin.frames);
        }
        frames.sort_by_key(|reading| reading.frame);
        if let Ok(reading) = sum(
            &frames,
            looked_at.max(frames.len()),
            film.space(),
            probe.format,
        ) {
            read.push(PersonReading {
                person,
                frames: Packed::of(&frames),
                reading: value_of(&reading),
                sample: Packed::of(&sample),
            });
        }
    }
    film.keep_found_readings(shot.id, &read, &drawn)?;
    Ok(())
}
