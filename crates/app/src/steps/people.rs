//! Who is who, as the editor says it: names, merges, splits, complexions, answers; and erasing.

use crate::faces::Role;
use crate::steps::finding::{present, settle};
use crate::steps::taking::listed;
use crate::steps::{exposing, tinting};
use crate::{AppError, Result};
use inkarnat_film::{
    Decision, Face, FaceId, FaceLink, Film, FilmError, Person, Said, SetupId, ShotId,
};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// A person of the film, as listed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PersonListed {
    /// The name.
    pub person: String,
    /// The complexion that the editor set.
    pub complexion: Option<String>,
    /// The aim as typed.
    pub aim: String,
    /// The shots this person is in.
    pub shots: Vec<String>,
}

/// What the editor says about people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Say {
    /// `OLD=NEW`: a name.
    Name(String),
    /// `NAME,NAME`: one person, under the first name.
    Merge(String),
    /// `NAME@SHOT`: that face is somebody else.
    Split(String),
    /// `NAME=COMPLEXION`, or `NAME=none`.
    Complexion(String),
}

/// Everybody of the film.
///
/// # Errors
/// If the film cannot be read.
pub fn people_of(film: &Film) -> Result<Vec<PersonListed>> {
    let shots = film.shots()?;
    let mut list = Vec::new();
    for person in film.people()? {
        let mut own = Vec::new();
        for shot in &shots {
            if present(film, shot)?
                .iter()
                .any(|p| p.person.id == person.id)
            {
                own.push(shot.name.clone());
            }
        }
        list.push(PersonListed {
            aim: crate::steps::fixing::aim_setting(&person)?.text,
            person: person.name,
            complexion: person.complexion,
            shots: own,
        });
    }
    Ok(list)
}

/// Does what the editor says. Readings follow at once; fixes with the next `fix`.
///
/// # Errors
/// If nobody has the name, the words cannot be understood, or the film cannot be written.
pub fn say(film: &mut Film, what: &Say) -> Result<()> {
    let decision = match what {
        Say::Name(text) => {
            let (old, new) = halves(text, '=', "OLD=NEW, such as 'person 1=Ana'")?;
            if new.contains(['=', ',', '@', ':']) {
                return Err(AppError::Request(format!(
                    "{new}: a name without = , @ and : is expected; they separate other things on the command line"
                )));
            }
            let person = person_named(film, old)?;
            let decision = film.say(
                "people",
                &json!({"name": new, "was": old}),
                &[Said::Name(person.id, new.to_owned())],
            )?;
            restate(film, old, new)?;
            decision
        }
        Say::Merge(text) => {
            let (first, second) = halves(text, ',', "NAME,NAME, such as 'Ana,person 3'")?;
            let (a, b) = (person_named(film, first)?, person_named(film, second)?);
            if a.id == b.id {
                return Err(AppError::Request(format!(
                    "{text}: the same name twice; name two people"
                )));
            }
            let faces = film.faces(None)?;
            let of = |person: &Person| -> Vec<FaceId> {
                faces
                    .iter()
                    .filter(|face| face.person == Some(person.id))
                    .map(|face| face.id)
                    .collect()
            };
            let said_before = film.links()?;
            let mut links = Vec::new();
            for (i, first) in of(&a).into_iter().enumerate() {
                for (k, second) in of(&b).into_iter().enumerate() {
                    // One link joins two groups; what was said against it before must go.
                    let against = said_before.iter().any(|link| {
                        !link.same
                            && (link.first, link.second) == (first.min(second), first.max(second))
                    });
                    if against || (i == 0 && k == 0) {
                        links.push(FaceLink {
                            first,
                            second,
                            same: true,
                        });
                    }
                }
            }
            let (fixes, proofs) = restated(film, &b.name, &a.name)?;
            film.merge(
                &json!({"merge": [a.name, b.name]}),
                (b.id, a.id),
                &links,
                &fixes,
                &proofs,
            )?
        }
        Say::Split(text) => {
            let (name, shot) = halves(text, '@', "NAME@SHOT, such as 'Ana@kitchen'")?;
            let person = person_named(film, name)?;
            let shot = film.shot_named(shot)?;
            let faces: Vec<Face> = film
                .faces(None)?
                .into_iter()
                .filter(|face| face.person == Some(person.id))
                .collect();
            let (here, elsewhere): (Vec<&Face>, Vec<&Face>) =
                faces.iter().partition(|face| face.shot == shot.id);
            if here.is_empty() || elsewhere.is_empty() {
                return Err(AppError::Request(format!(
                    "{text}: {name} {} in {}, so there is nothing to split off",
                    if here.is_empty() {
                        "has no found face"
                    } else {
                        "is only"
                    },
                    shot.name
                )));
            }
            let apart = |a: &Face, b: &Face| {
                Said::Link(FaceLink {
                    first: a.id,
                    second: b.id,
                    same: false,
                })
            };
            let said: Vec<Said> = here
                .iter()
                .flat_map(|a| elsewhere.iter().map(|b| apart(a, b)))
                .chain(here.iter().map(|face| Said::Nobody(face.id)))
                .collect();
            film.say("people", &json!({"split": name, "shot": shot.name}), &said)?
        }
        Say::Complexion(text) => {
            let (name, words) = halves(text, '=', "NAME=COMPLEXION, such as 'Ana=tan'")?;
            let person = person_named(film, name)?;
            let set = match words {
                "none" => None,
                words if COMPLEXIONS.contains(&words) => Some(words),
                words => {
                    return Err(AppError::Request(format!(
                        "{words}: not a complexion; expected {}, or none",
                        COMPLEXIONS.join(", ")
                    )));
                }
            };
            film.say(
                "people",
                &json!({"complexion": set, "person": name}),
                &[Said::Complexion(person.id, set.map(str::to_owned))],
            )?
        }
    };
    settle(film, decision)
}

/// The complexions that may be set: the classes of ITA° in published facial spectra.
pub const COMPLEXIONS: [&str; 6] = [
    "very-light",
    "light",
    "intermediate",
    "tan",
    "brown",
    "dark",
];

/// Answers an open question with `yes` or `no`; everything that rests on it follows.
///
/// # Errors
/// If there is no such question, or the film cannot be written.
pub fn answer(film: &mut Film, number: u64, yes: bool) -> Result<String> {
    let questions = film.questions()?;
    let Some(question) = questions.iter().find(|q| q.id.unsigned_abs() == number) else {
        let open = questions
            .iter()
            .filter(|q| q.answer.is_none())
            .map(|q| q.id.to_string());
        return Err(AppError::Request(format!(
            "there is no question {number}; open are: {}",
            listed(open)
        )));
    };
    if let Some(id) = question.about.strip_prefix(tinting::ABOUT) {
        let scene = film
            .scenes()?
            .into_iter()
            .find(|scene| scene.id.0.to_string() == id)
            .ok_or_else(|| {
                AppError::Request(format!(
                    "question {number}: its scene is no more; `inkarnat fix` asks anew"
                ))
            })?;
        let word = if yes { "keep" } else { "correct" };
        tinting::set_tint(film, Some(&scene.name), word)?;
        return Ok(question.asked["text"]
            .as_str()
            .unwrap_or_default()
            .to_owned());
    }
    if question.about.starts_with(exposing::ABOUT) {
        exposing::answer_proposal(film, question, yes)?;
        return Ok(question.asked["text"]
            .as_str()
            .unwrap_or_default()
            .to_owned());
    }
    let mut parts = question.about.split(':');
    let kind = parts.next().unwrap_or_default();
    let faces: Vec<FaceId> = parts.filter_map(|p| p.parse().ok()).map(FaceId).collect();
    let said = match (kind, faces.as_slice()) {
        ("same", &[first, second]) => Said::Link(FaceLink {
            first,
            second,
            same: yes,
        }),
        ("picture" | "skin", &[face]) => {
            let role = if yes { Role::NoPerson } else { Role::Person };
            Said::Role(face, role.word().to_owned())
        }
        _ => {
            return Err(AppError::Request(format!(
                "question {number} is not answered with yes or no"
            )));
        }
    };
    let word = if yes { "yes" } else { "no" };
    let decision = film.say(
        "answer",
        &json!({"question": question.asked["text"], "answer": word}),
        &[said, Said::Answer(question.id, word.to_owned())],
    )?;
    let text = question.asked["text"]
        .as_str()
        .unwrap_or_default()
        .to_owned();
    settle(film, decision)?;
    Ok(text)
}

/// Erases all face data of the film for good. Gives how many faces there were.
///
/// # Errors
/// If the film cannot be written.
pub fn erase(film: &mut Film) -> Result<u64> {
    Ok(film.erase_faces()?)
}

/// Brings everything that rests on who is who in line, after a `decision` was taken back or taken
/// again; `before` are the people as they were then.
pub(crate) fn settle_people(film: &mut Film, decision: &Decision, before: &[Person]) -> Result<()> {
    let now = film.people()?;
    let renamed: Vec<(&str, &str)> = before
        .iter()
        .filter_map(|was| {
            let is = now.iter().find(|is| is.id == was.id)?;
            (is.name != was.name).then_some((was.name.as_str(), is.name.as_str()))
        })
        .collect();
    // By way of names that nobody can have: two may have changed theirs with each other.
    let between = |name: &str| format!("={name}");
    for (was, is) in &renamed {
        restate(film, was, &between(is))?;
    }
    for (_, is) in &renamed {
        restate(film, &between(is), is)?;
    }
    if !matches!(decision.verb.as_str(), "people" | "answer") {
        return Ok(());
    }
    settle(film, None)
}

/// Fixes and proofs name people: under the new name they still hold.
fn restate(film: &mut Film, old: &str, new: &str) -> Result<()> {
    let (fixes, proofs) = restated(film, old, new)?;
    for (setup, solution) in &fixes {
        film.restate_fix(*setup, solution)?;
    }
    for (shot, proof) in &proofs {
        film.restate_proof(*shot, proof)?;
    }
    Ok(())
}

/// The fixes and proofs that name somebody, with another name.
type Restated = (Vec<(SetupId, Value)>, Vec<(ShotId, Value)>);

fn restated(film: &Film, old: &str, new: &str) -> Result<Restated> {
    let (mut fixes, mut proofs) = (Vec::new(), Vec::new());
    for setup in film.setups()? {
        if let Some((_, mut solution)) = film.fix::<Value>(setup.id)?
            && rename_in(&mut solution, old, new)
        {
            fixes.push((setup.id, solution));
        }
    }
    for shot in film.shots()? {
        if let Some((_, mut proof)) = film.proof::<Value>(shot.id)?
            && rename_in(&mut proof, old, new)
        {
            proofs.push((shot.id, proof));
        }
    }
    Ok((fixes, proofs))
}

/// Changes a person's name in every list `people`; says whether it was there.
fn rename_in(value: &mut Value, old: &str, new: &str) -> bool {
    let mut found = false;
    match value {
        Value::Array(list) => {
            for value in list {
                found |= rename_in(value, old, new);
            }
        }
        Value::Object(fields) => {
            for (key, value) in fields {
                let people = value.as_array_mut().filter(|_| key == "people");
                for person in people.into_iter().flatten() {
                    for word in ["name", "person"] {
                        if let Some(name) = person.get_mut(word).filter(|name| **name == old) {
                            *name = new.into();
                            found = true;
                        }
                    }
                }
                found |= rename_in(value, old, new);
            }
        }
        _ => {}
    }
    found
}

fn halves<'a>(text: &'a str, at: char, expected: &str) -> Result<(&'a str, &'a str)> {
    match text.split_once(at) {
        Some((a, b)) if !a.trim().is_empty() && !b.trim().is_empty() => Ok((a.trim(), b.trim())),
        _ => Err(AppError::Request(format!("{text}: expected {expected}"))),
    }
}

fn person_named(film: &Film, name: &str) -> Result<Person> {
    let people = film.people()?;
    people
        .iter()
        .find(|person| person.name == name)
        .cloned()
        .ok_or_else(|| {
            AppError::Film(FilmError::Unknown {
                kind: "person",
                name: name.to_owned(),
                known: listed(people.iter().map(|person| person.name.as_str())),
            })
        })
}
