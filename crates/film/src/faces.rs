//! Faces that were found: who they are, what the editor said about them, what is asked; and their
//! erasing.
//!
//! Everything that could tell a face again (outlines, embeddings) stands in the table `face` and
//! nowhere else.

use crate::pack::Packed;
use crate::results::{forget_person, record};
use crate::store::{Film, damaged, json, parse};
use crate::{
    DecisionId, FaceId, FilmError, InputKey, PersonId, Result, SetupId, ShotId, Stage, Step,
    StepOutcome,
};
use rusqlite::{OptionalExtension, Transaction, params};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// A face through one shot. Outlines and embedding are read apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Face {
    /// Its number.
    pub id: FaceId,
    /// The shot.
    pub shot: ShotId,
    /// Its place among the faces of the shot, from 0, by first appearance.
    pub position: u64,
    /// Whose face it is; `None` for one that is nobody's.
    pub person: Option<PersonId>,
    /// `person`, `doubted` or `no person`, in the words of the app crate.
    pub role: String,
    /// Whether the editor decided the role.
    pub decided: bool,
    /// What is known of it, in the form of the app crate.
    pub facts: Value,
}

/// A face about to be kept.
#[derive(Clone, Debug)]
pub struct NewFace {
    /// The face of an earlier finding that it is: keeps number, person and what was decided.
    pub was: Option<FaceId>,
    /// Its role where nothing was decided.
    pub role: String,
    /// What is known of it.
    pub facts: Value,
    /// Its outlines, frame by frame.
    pub track: Packed,
    /// Its embedding.
    pub embedding: Packed,
    /// The readings of its frames.
    pub frames: Packed,
    /// Skin pixels for the solver.
    pub sample: Packed,
}

/// What the editor said about two faces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FaceLink {
    /// One of them.
    pub first: FaceId,
    /// The other.
    pub second: FaceId,
    /// Whether they are one person.
    pub same: bool,
}

/// Something that only the editor can answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Its number: stays as long as the question does.
    pub id: i64,
    /// What it is about, unlike any other question.
    pub about: String,
    /// What is asked, in the form of the app crate.
    pub asked: Value,
    /// What was answered.
    pub answer: Option<String>,
}

/// One thing that the editor says about people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Said {
    /// A person's name.
    Name(PersonId, String),
    /// A person's complexion, or that none is set.
    Complexion(PersonId, Option<String>),
    /// Whether two faces are one person.
    Link(FaceLink),
    /// Nobody whose name is known.
    Nobody(FaceId),
    /// What a face is.
    Role(FaceId, String),
    /// The answer to a question.
    Answer(i64, String),
}

impl Said {
    fn write(&self, t: &Transaction<'_>) -> rusqlite::Result<usize> {
        match self {
            Self::Name(person, name) => {
                set_aside(t, name, *person)?;
                t.execute(
                    "UPDATE person SET name = ?2, named = 1 WHERE id = ?1",
                    params![person, name],
                )
            }
            Self::Complexion(person, complexion) => t.execute(
                "UPDATE person SET complexion = ?2 WHERE id = ?1",
                params![person, complexion],
            ),
            Self::Link(link) => put_link(t, *link),
            Self::Nobody(face) => t.execute(
                "UPDATE face SET person_id = NULL WHERE id = ?1",
                params![face],
            ),
            Self::Role(face, role) => t.execute(
                "UPDATE face SET role = ?2, decided = 1 WHERE id = ?1",
                params![face, role],
            ),
            Self::Answer(question, answer) => t.execute(
                "UPDATE question SET answer = ?2 WHERE id = ?1",
                params![question, answer],
            ),
        }
    }
}

/// Frees a name that somebody holds who is not shown: merged, or nothing left of them.
fn set_aside(t: &Transaction<'_>, name: &str, but: PersonId) -> rusqlite::Result<usize> {
    t.execute(
        "UPDATE person SET name = name || ' / ' || id
         WHERE name = ?1 AND id <> ?2 AND (into_id IS NOT NULL OR gone)",
        params![name, but],
    )
}

/// Gives everybody whom the program has named and who is shown a name of its own pattern; those who
/// have one keep it.
pub(crate) fn name_somebodies(t: &Transaction<'_>) -> rusqlite::Result<()> {
    let people: Vec<(PersonId, String, bool)> = t
        .prepare(
            "SELECT id, name, named FROM person WHERE into_id IS NULL AND NOT gone ORDER BY id",
        )?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
        .collect::<rusqlite::Result<_>>()?;
    let mut taken: Vec<String> = people.iter().map(|(_, name, _)| name.clone()).collect();
    for (id, name, named) in people {
        let number = name.strip_prefix(SOMEBODY).map(str::parse::<u32>);
        if named || matches!(number, Some(Ok(_))) {
            continue;
        }
        let free = free_name(&taken);
        set_aside(t, &free, id)?;
        t.execute(
            "UPDATE person SET name = ?2 WHERE id = ?1",
            params![id, free],
        )?;
        taken.push(free);
    }
    Ok(())
}

/// What the program's own names begin with; a number follows.
const SOMEBODY: &str = "person ";

fn free_name(taken: &[String]) -> String {
    (1..)
        .map(|number| format!("{SOMEBODY}{number}"))
        .find(|name| !taken.contains(name))
        .unwrap_or_default()
}

/// Says of everybody whether anything is left of them: somebody whom the program named, without
/// patches, faces and readings, is not shown. Their row stays, and is theirs again when a face is.
pub(crate) fn mark_gone(t: &Transaction<'_>) -> rusqlite::Result<()> {
    t.execute(
        "WITH there (id) AS (
             SELECT person_id FROM face WHERE person_id IS NOT NULL
             UNION SELECT person_id FROM patch
             UNION SELECT person_id FROM shot_reading
             UNION SELECT person_id FROM frame_reading)
         UPDATE person SET gone = NOT gone
         WHERE gone <> (named = 0 AND into_id IS NULL AND id NOT IN (SELECT id FROM there))",
        [],
    )?;
    Ok(())
}

fn put_link(t: &Transaction<'_>, link: FaceLink) -> rusqlite::Result<usize> {
    let (first, second) = (link.first.min(link.second), link.first.max(link.second));
    // Not INSERT OR REPLACE: what that takes away, the triggers of undo do not see.
    t.execute(
        "INSERT INTO face_link (first, second, same) VALUES (?1, ?2, ?3)
         ON CONFLICT (first, second) DO UPDATE SET same = excluded.same",
        params![first, second, link.same],
    )
}

impl Film {
    /// Writes down what the editor says about people, in one decision that can be taken back. Gives
    /// its number, where anything was new.
    ///
    /// # Errors
    /// If another person has the name, or the film cannot be written.
    pub fn say<D: Serialize>(
        &mut self,
        verb: &str,
        detail: &D,
        said: &[Said],
    ) -> Result<Option<DecisionId>> {
        for said in said {
            if let Said::Name(person, name) = said {
                self.name_is_free(*person, name)?;
            }
        }
        let (decision, ()) = self.decided_as(verb, detail, |t| {
            said.iter().try_for_each(|said| said.write(t).map(|_| ()))
        })?;
        Ok(decision)
    }

    fn name_is_free(&self, person: PersonId, name: &str) -> Result<()> {
        let people = self.people()?;
        if people.iter().any(|p| p.name == name && p.id != person) {
            return Err(FilmError::Taken {
                kind: "person",
                name: name.to_owned(),
            });
        }
        Ok(())
    }

    /// Makes one person of two, in one decision that can be taken back: what was drawn, found and read
    /// of `gone` is that of `into` from now on. `links` are what is said of their faces with it;
    /// `fixes` and `proofs` are those that name `gone`, with the other name.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn merge<D: Serialize>(
        &mut self,
        detail: &D,
        (gone, into): (PersonId, PersonId),
        links: &[FaceLink],
        fixes: &[(SetupId, Value)],
        proofs: &[(ShotId, Value)],
    ) -> Result<Option<DecisionId>> {
        let (decision, ()) = self.decided_as("people", detail, |t| {
            for link in links {
                put_link(t, *link)?;
            }
            t.execute(
                "UPDATE person SET into_id = ?2 WHERE id = ?1 OR into_id = ?1",
                params![gone, into],
            )?;
            t.execute(
                "UPDATE face SET person_id = ?2 WHERE person_id = ?1",
                params![gone, into],
            )?;
            for (setup, solution) in fixes {
                t.execute(
                    "UPDATE fix SET solution = ?2 WHERE setup_id = ?1",
                    params![setup, solution.to_string()],
                )?;
            }
            for (shot, proof) in proofs {
                t.execute(
                    "UPDATE proof SET proof = ?2 WHERE shot_id = ?1",
                    params![shot, proof.to_string()],
                )?;
            }
            Ok(())
        })?;
        Ok(decision)
    }

    /// Whether faces are looked for without being asked for.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn finds_faces(&self) -> Result<bool> {
        self.read(|c| c.query_row("SELECT faces FROM film WHERE id = 1", [], |row| row.get(0)))
    }

    /// Says whether faces are looked for.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_finds_faces(&mut self, finds: bool) -> Result<()> {
        self.change(|t| {
            t.execute("UPDATE film SET faces = ?1 WHERE id = 1", params![finds])?;
            Ok(())
        })
    }

    /// Keeps what finding gave in place of the shot's earlier faces.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_faces(&mut self, shot: ShotId, key: &InputKey, faces: &[NewFace]) -> Result<()> {
        self.change(|t| {
            let known: Vec<i64> = t
                .prepare("SELECT id FROM face WHERE shot_id = ?1")?
                .query_map(params![shot], |row| row.get(0))?
                .collect::<rusqlite::Result<_>>()?;
            for id in known {
                if !faces.iter().any(|face| face.was == Some(FaceId(id))) {
                    t.execute("DELETE FROM face WHERE id = ?1", params![id])?;
                }
            }
            for (position, face) in (0u64..).zip(faces) {
                let id = if let Some(id) = face.was {
                    t.execute(
                        "UPDATE face SET position = ?2, facts = ?3, track = ?4, embedding = ?5,
                         role = CASE WHEN decided THEN role ELSE ?6 END WHERE id = ?1",
                        params![
                            id,
                            position,
                            face.facts.to_string(),
                            face.track.0,
                            face.embedding.0,
                            face.role
                        ],
                    )?;
                    id
                } else {
                    t.execute(
                        "INSERT INTO face (shot_id, position, role, facts, track, embedding)
                         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                        params![
                            shot,
                            position,
                            face.role,
                            face.facts.to_string(),
                            face.track.0,
                            face.embedding.0
                        ],
                    )?;
                    FaceId(t.last_insert_rowid())
                };
                t.execute(
                    "INSERT OR REPLACE INTO face_reading (face_id, frames, sample) VALUES (?1, ?2, ?3)",
                    params![id, face.frames.0, face.sample.0],
                )?;
            }
            t.execute("DELETE FROM erased WHERE shot_id = ?1", params![shot])?;
            record(t, shot, Step::Find, key, &StepOutcome::Done)
        })
    }

    /// The faces of a shot, or of the whole film, in film order.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn faces(&self, shot: Option<ShotId>) -> Result<Vec<Face>> {
        type Row = (FaceId, ShotId, u64, Option<PersonId>, String, bool, String);
        let rows: Vec<Row> = self.rows(
            "SELECT face.id, shot_id, face.position, person_id, role, decided, facts
             FROM face JOIN shot ON shot.id = shot_id WHERE ?1 IS NULL OR shot_id = ?1
             ORDER BY shot.position, face.position",
            params![shot],
            |row| {
                Ok((
                    row.get(0)?,
                    row.get(1)?,
                    row.get(2)?,
                    row.get(3)?,
                    row.get(4)?,
                    row.get(5)?,
                    row.get(6)?,
                ))
            },
        )?;
        rows.into_iter()
            .map(|(id, shot, position, person, role, decided, facts)| {
                Ok(Face {
                    id,
                    shot,
                    position,
                    person,
                    role,
                    decided,
                    facts: parse(self.path(), "face", &facts)?,
                })
            })
            .collect()
    }

    /// The outlines of a face.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn face_track<T: DeserializeOwned>(&self, face: FaceId) -> Result<Option<T>> {
        self.of_face("SELECT track FROM face WHERE id = ?1", face)
    }

    /// The embedding of a face.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn face_embedding<T: DeserializeOwned>(&self, face: FaceId) -> Result<Option<T>> {
        self.of_face("SELECT embedding FROM face WHERE id = ?1", face)
    }

    /// The frames that were read of a face.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn face_frames<T: DeserializeOwned>(&self, face: FaceId) -> Result<Option<T>> {
        self.of_face("SELECT frames FROM face_reading WHERE face_id = ?1", face)
    }

    /// Skin pixels of a face.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn face_sample<T: DeserializeOwned>(&self, face: FaceId) -> Result<Option<T>> {
        self.of_face("SELECT sample FROM face_reading WHERE face_id = ?1", face)
    }

    fn of_face<T: DeserializeOwned>(&self, sql: &str, face: FaceId) -> Result<Option<T>> {
        let bytes: Option<Vec<u8>> =
            self.read(|c| c.query_row(sql, params![face], |row| row.get(0)).optional())?;
        bytes
            .map(|bytes| {
                Packed(bytes)
                    .get()
                    .map_err(|reason| damaged(self.path(), "face", reason))
            })
            .transpose()
    }

    /// Says whose face each is, as follows from a decision (to be taken back with it) or from what was
    /// found.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn assign_faces(
        &mut self,
        whose: &[(FaceId, Option<PersonId>)],
        decision: Option<DecisionId>,
    ) -> Result<()> {
        self.following(decision, |t| {
            for (face, person) in whose {
                t.execute(
                    "UPDATE face SET person_id = ?2 WHERE id = ?1 AND person_id IS NOT ?2",
                    params![face, person],
                )?;
            }
            Ok(())
        })
    }

    /// Brings in line who is shown: not those whom the program named and of whom nothing is left.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn hide_nobodies(&mut self) -> Result<()> {
        self.change(|t| {
            mark_gone(t)?;
            name_somebodies(t)
        })
    }

    /// Makes a person under a name of the program's own.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn add_person<A: Serialize>(&mut self, aim: &A) -> Result<PersonId> {
        let taken: Vec<String> = self.people()?.into_iter().map(|p| p.name).collect();
        let name = free_name(&taken);
        self.change(|t| {
            set_aside(t, &name, PersonId(0))?;
            t.execute(
                "INSERT INTO person (name, aim, named) VALUES (?1, ?2, 0)",
                params![name, json(aim)],
            )?;
            Ok(PersonId(t.last_insert_rowid()))
        })
    }

    /// Puts a changed form of the solution of a setup in its place, under its old key.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn restate_fix(&mut self, setup: SetupId, solution: &Value) -> Result<()> {
        self.change(|t| {
            t.execute(
                "UPDATE fix SET solution = ?2 WHERE setup_id = ?1",
                params![setup, solution.to_string()],
            )?;
            Ok(())
        })
    }

    /// Puts a changed form of the proof of a shot in its place, under its old key.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn restate_proof(&mut self, shot: ShotId, proof: &Value) -> Result<()> {
        self.change(|t| {
            t.execute(
                "UPDATE proof SET proof = ?2 WHERE shot_id = ?1",
                params![shot, proof.to_string()],
            )?;
            Ok(())
        })
    }

    /// Keeps what the editor said about two faces, over what was said before.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn link(&mut self, link: FaceLink) -> Result<()> {
        self.change(|t| put_link(t, link).map(|_| ()))
    }

    /// Everything that was said about pairs of faces.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn links(&self) -> Result<Vec<FaceLink>> {
        self.rows(
            "SELECT first, second, same FROM face_link ORDER BY first, second",
            [],
            |row| {
                Ok(FaceLink {
                    first: row.get(0)?,
                    second: row.get(1)?,
                    same: row.get(2)?,
                })
            },
        )
    }

    /// Replaces the open questions that are about `kinds` (beginnings of [`Question::about`]); one that
    /// stays keeps its number. Answered ones stay.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn ask(&mut self, kinds: &[&str], questions: &[(String, Value)]) -> Result<()> {
        self.change(|t| {
            let open: Vec<(i64, String)> = t
                .prepare("SELECT id, about FROM question WHERE answer IS NULL")?
                .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect::<rusqlite::Result<_>>()?;
            for (id, about) in open {
                let own = kinds.iter().any(|kind| about.starts_with(kind));
                if own && !questions.iter().any(|(other, _)| *other == about) {
                    t.execute("DELETE FROM question WHERE id = ?1", params![id])?;
                }
            }
            for (about, asked) in questions {
                t.execute(
                    "INSERT INTO question (about, asked) VALUES (?1, ?2)
                     ON CONFLICT (about) DO UPDATE SET asked = excluded.asked WHERE answer IS NULL",
                    params![about, asked.to_string()],
                )?;
            }
            Ok(())
        })
    }

    /// Every question, answered or not.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn questions(&self) -> Result<Vec<Question>> {
        let rows: Vec<(i64, String, String, Option<String>)> = self.rows(
            "SELECT id, about, asked, answer FROM question ORDER BY id",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
        )?;
        rows.into_iter()
            .map(|(id, about, asked, answer)| {
                Ok(Question {
                    id,
                    about,
                    asked: parse(self.path(), "question", &asked)?,
                    answer,
                })
            })
            .collect()
    }

    /// Replaces what was read of the found people of a shot, who are `all`: those without a reading
    /// lose it. What was proved of another reading is dropped.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_found_readings(
        &mut self,
        shot: ShotId,
        read: &[crate::PersonReading],
        drawn: &[PersonId],
    ) -> Result<()> {
        self.change(|t| {
            let stored: Vec<(PersonId, String)> = t
                .prepare(
                    "SELECT coalesce(into_id, person_id), reading
                     FROM shot_reading JOIN person ON person.id = person_id
                     WHERE shot_id = ?1 AND stage = 'before'",
                )?
                .query_map(params![shot], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect::<rusqlite::Result<_>>()?;
            let stored: Vec<_> = stored
                .into_iter()
                .filter(|(person, _)| !drawn.contains(person))
                .collect();
            let same = stored.len() == read.len()
                && read
                    .iter()
                    .all(|own| stored.contains(&(own.person, own.reading.to_string())));
            if same {
                return Ok(());
            }
            for (person, _) in &stored {
                forget_person(t, shot, *person)?;
            }
            for person in read {
                person.insert(t, shot, Stage::Before)?;
            }
            t.execute("DELETE FROM proof WHERE shot_id = ?1", params![shot])?;
            t.execute(
                "DELETE FROM step WHERE shot_id = ?1 AND step = 'prove'",
                params![shot],
            )?;
            Ok(())
        })
    }

    /// The key of the finding that the readings of a shot rest on, where its face data was erased.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn erased(&self, shot: ShotId) -> Result<Option<InputKey>> {
        self.read(|c| {
            c.query_row(
                "SELECT input_key FROM erased WHERE shot_id = ?1",
                params![shot],
                |row| row.get(0).map(InputKey),
            )
            .optional()
        })
    }

    /// Erases all face data: outlines, embeddings, what was said about faces, what is asked about
    /// them. Readings, people and decisions stay. The file is then written anew without the freed
    /// pages. Gives how many faces there were.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn erase_faces(&mut self) -> Result<u64> {
        self.pragma("secure_delete", true)?;
        let count = self.change(|t| {
            let count: u64 = t.query_row("SELECT count(*) FROM face", [], |row| row.get(0))?;
            t.execute(
                "INSERT OR REPLACE INTO erased (shot_id, input_key)
                 SELECT shot_id, input_key FROM step WHERE step = 'find' AND failure IS NULL",
                [],
            )?;
            for sql in [
                "DELETE FROM face_link",
                "DELETE FROM face_reading",
                "DELETE FROM face",
                "DELETE FROM question",
                "DELETE FROM step WHERE step = 'find'",
                "UPDATE film SET faces = 0 WHERE id = 1",
            ] {
                t.execute(sql, [])?;
            }
            crate::history::write_down(t, "erase", &serde_json::json!({ "faces": count }))?;
            Ok(count)
        })?;
        self.rewrite()?;
        Ok(count)
    }
}

/// Drops what was found in a shot.
pub(crate) fn forget_faces(t: &Transaction<'_>, shot: ShotId) -> rusqlite::Result<()> {
    for sql in [
        "DELETE FROM face WHERE shot_id = ?1",
        "DELETE FROM erased WHERE shot_id = ?1",
        "DELETE FROM step WHERE shot_id = ?1 AND step = 'find'",
    ] {
        t.execute(sql, params![shot])?;
    }
    Ok(())
}
