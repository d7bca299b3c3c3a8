//! What the steps leave behind. Each step's results of one shot are one transaction.

use crate::pack::{Packed, Stored};
use crate::store::{Film, json, parse};
use crate::{
    Deliverable, InputKey, PatchId, PersonId, Result, SetupId, ShotId, Stage, Step, StepOutcome,
    StepRecord,
};
use rusqlite::{OptionalExtension, Transaction, params};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// Where a patch was in every frame of its shot.
#[derive(Clone, Debug)]
pub struct PatchTrack {
    /// The patch.
    pub patch: PatchId,
    /// One pose a frame.
    pub poses: Packed,
}

/// What was read of one person in one shot.
#[derive(Clone, Debug)]
pub struct PersonReading {
    /// The person.
    pub person: PersonId,
    /// One reading a frame.
    pub frames: Packed,
    /// The reading of the shot.
    pub reading: Value,
    /// Skin pixels for the solver.
    pub sample: Packed,
}

impl PersonReading {
    pub(crate) fn insert(
        &self,
        t: &Transaction<'_>,
        shot: ShotId,
        stage: Stage,
    ) -> rusqlite::Result<()> {
        t.execute(
            "INSERT INTO frame_reading (shot_id, person_id, stage, frames) VALUES (?1, ?2, ?3, ?4)",
            params![shot, self.person, stage.name(), self.frames.0],
        )?;
        t.execute(
            "INSERT INTO shot_reading (shot_id, person_id, stage, reading) VALUES (?1, ?2, ?3, ?4)",
            params![shot, self.person, stage.name(), self.reading.to_string()],
        )?;
        t.execute(
            "INSERT INTO sample (shot_id, person_id, sample) VALUES (?1, ?2, ?3)",
            params![shot, self.person, self.sample.0],
        )?;
        Ok(())
    }
}

/// Everything that reading one shot gave.
#[derive(Clone, Debug)]
pub struct ReadResult {
    /// One for each patch.
    pub tracks: Vec<PatchTrack>,
    /// One for each person that could be read.
    pub people: Vec<PersonReading>,
    /// Picture pixels for the solver.
    pub picture: Packed,
    /// Things that the editor should know (assumed tags, log-like footage, lost spans).
    pub notes: Vec<String>,
}

impl Film {
    /// Keeps the results of reading a shot in place of any earlier ones; what was made from those is
    /// dropped.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_readings(
        &mut self,
        shot: ShotId,
        key: &InputKey,
        result: &ReadResult,
    ) -> Result<()> {
        let erased = self.erased(shot)?.is_some();
        self.change(|t| {
            if erased {
                // What was read of found faces cannot be read again.
                for person in &result.people {
                    forget_person(t, shot, person.person)?;
                }
                forget_shot(t, shot)?;
            } else {
                forget_results(t, shot)?;
            }
            for track in &result.tracks {
                t.execute(
                    "INSERT OR REPLACE INTO track (patch_id, poses) VALUES (?1, ?2)",
                    params![track.patch, track.poses.0],
                )?;
            }
            for person in &result.people {
                person.insert(t, shot, Stage::Before)?;
            }
            t.execute(
                "INSERT INTO sample (shot_id, person_id, sample) VALUES (?1, 0, ?2)",
                params![shot, result.picture.0],
            )?;
            t.execute(
                "INSERT INTO shot_note (shot_id, notes) VALUES (?1, ?2)",
                params![shot, json(&result.notes)],
            )?;
            record(t, shot, Step::Read, key, &StepOutcome::Done)
        })
    }

    /// Keeps the fact that a step failed on a shot.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_failure(
        &mut self,
        shot: ShotId,
        step: Step,
        key: &InputKey,
        reason: &str,
    ) -> Result<()> {
        let outcome = StepOutcome::Failed(reason.to_owned());
        self.change(|t| {
            if step == Step::Read {
                forget_results(t, shot)?;
            }
            record(t, shot, step, key, &outcome)
        })
    }

    /// Keeps a solution: every reach, the name of the chosen one, and the solution as a whole.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_fix(
        &mut self,
        setup: SetupId,
        key: &InputKey,
        chosen: &str,
        reaches: &[(&str, Value)],
        solution: &Value,
    ) -> Result<()> {
        self.change(|t| {
            t.execute("DELETE FROM fix WHERE setup_id = ?1", params![setup])?;
            t.execute(
                "INSERT INTO fix (setup_id, input_key, chosen, solution) VALUES (?1, ?2, ?3, ?4)",
                params![setup, key.0, chosen, solution.to_string()],
            )?;
            for (reach, fix) in reaches {
                t.execute(
                    "INSERT INTO fix_reach (setup_id, reach, fix) VALUES (?1, ?2, ?3)",
                    params![setup, reach, fix.to_string()],
                )?;
            }
            Ok(())
        })
    }

    /// Drops the fix of a setup.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn drop_fix(&mut self, setup: SetupId) -> Result<()> {
        self.change(|t| {
            t.execute("DELETE FROM fix WHERE setup_id = ?1", params![setup])?;
            Ok(())
        })
    }

    /// The solution of a setup with its key.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn fix<T: DeserializeOwned>(&self, setup: SetupId) -> Result<Option<(InputKey, T)>> {
        let row: Option<(String, String)> = self.read(|c| {
            c.query_row(
                "SELECT input_key, solution FROM fix WHERE setup_id = ?1",
                params![setup],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()
        })?;
        row.map(|(key, text)| Ok((InputKey(key), parse(self.path(), "fix", &text)?)))
            .transpose()
    }

    /// The key of a setup's solution.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn fix_key(&self, setup: SetupId) -> Result<Option<InputKey>> {
        self.read(|c| {
            c.query_row(
                "SELECT input_key FROM fix WHERE setup_id = ?1",
                params![setup],
                |row| row.get(0),
            )
            .optional()
        })
        .map(|key| key.map(InputKey))
    }

    /// Keeps a rendered clip and drops the proof of an earlier one.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_clip(&mut self, shot: ShotId, deliverable: &Deliverable) -> Result<()> {
        self.change(|t| {
            t.execute("DELETE FROM proof WHERE shot_id = ?1", params![shot])?;
            t.execute(
                "DELETE FROM step WHERE shot_id = ?1 AND step = 'prove'",
                params![shot],
            )?;
            // What was handed over of the shot before stays known as ours, so that it can be replaced where it lies.
            t.execute(
                "UPDATE deliverable SET kind = 'earlier', shot_id = NULL WHERE shot_id = ?1 AND kind = 'clip'",
                params![shot],
            )?;
            insert_deliverable(t, deliverable)?;
            record(
                t,
                shot,
                Step::Handover,
                &deliverable.key,
                &StepOutcome::Done,
            )
        })
    }

    /// Keeps other files that were handed over.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_files(&mut self, deliverables: &[Deliverable]) -> Result<()> {
        self.change(|t| {
            deliverables
                .iter()
                .try_for_each(|deliverable| insert_deliverable(t, deliverable))
        })
    }

    /// Forgets a file that is no longer handed over.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn forget_file(&mut self, path: &Path) -> Result<()> {
        self.change(|t| {
            t.execute(
                "DELETE FROM deliverable WHERE path = ?1",
                params![path.to_string_lossy()],
            )?;
            Ok(())
        })
    }

    /// Everything that was handed over, by path.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn deliverables(&self) -> Result<Vec<Deliverable>> {
        let rows: Vec<(String, String, Option<ShotId>, String, String, String)> = self.rows(
            "SELECT path, kind, shot_id, fingerprint, input_key, detail FROM deliverable ORDER BY path",
            [],
            |row| {
                Ok((
                    row.get(0)?,
                    row.get(1)?,
                    row.get(2)?,
                    row.get(3)?,
                    row.get(4)?,
                    row.get(5)?,
                ))
            },
        )?;
        rows.into_iter()
            .map(|(path, kind, shot, print, key, detail)| {
                Ok(Deliverable {
                    path: PathBuf::from(path),
                    kind,
                    shot,
                    fingerprint: parse(self.path(), "deliverable", &print)?,
                    key: InputKey(key),
                    detail: parse(self.path(), "deliverable", &detail)?,
                })
            })
            .collect()
    }

    /// Keeps the proof of a shot, with what was read of each person after the fix and in the
    /// delivered file.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_proof(
        &mut self,
        shot: ShotId,
        key: &InputKey,
        people: &[(PersonId, Stage, Packed, Value)],
        proof: &Value,
    ) -> Result<()> {
        self.change(|t| {
            for (person, stage, frames, reading) in people {
                t.execute(
                    "INSERT OR REPLACE INTO frame_reading (shot_id, person_id, stage, frames)
                     VALUES (?1, ?2, ?3, ?4)",
                    params![shot, person, stage.name(), frames.0],
                )?;
                t.execute(
                    "INSERT OR REPLACE INTO shot_reading (shot_id, person_id, stage, reading)
                     VALUES (?1, ?2, ?3, ?4)",
                    params![shot, person, stage.name(), reading.to_string()],
                )?;
            }
            t.execute(
                "INSERT OR REPLACE INTO proof (shot_id, input_key, proof) VALUES (?1, ?2, ?3)",
                params![shot, key.0, proof.to_string()],
            )?;
            record(t, shot, Step::Prove, key, &StepOutcome::Done)
        })
    }

    /// The proof of a shot with its key.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn proof<T: DeserializeOwned>(&self, shot: ShotId) -> Result<Option<(InputKey, T)>> {
        let row: Option<(String, String)> = self.read(|c| {
            c.query_row(
                "SELECT input_key, proof FROM proof WHERE shot_id = ?1",
                params![shot],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()
        })?;
        row.map(|(key, text)| Ok((InputKey(key), parse(self.path(), "proof", &text)?)))
            .transpose()
    }

    /// The last outcome of a step on a shot.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn step(&self, shot: ShotId, step: Step) -> Result<Option<StepRecord>> {
        self.read(|c| {
            c.query_row(
                "SELECT input_key, failure FROM step WHERE shot_id = ?1 AND step = ?2",
                params![shot, step.name()],
                |row| {
                    Ok(StepRecord {
                        shot,
                        step,
                        key: InputKey(row.get(0)?),
                        outcome: row
                            .get::<_, Option<String>>(1)?
                            .map_or(StepOutcome::Done, StepOutcome::Failed),
                    })
                },
            )
            .optional()
        })
    }

    /// Whether a step on a shot is done and went from exactly this input.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn is_done(&self, shot: ShotId, step: Step, key: &InputKey) -> Result<bool> {
        Ok(self
            .step(shot, step)?
            .is_some_and(|record| record.outcome == StepOutcome::Done && record.key == *key))
    }

    /// The reading of a person in a shot at a stage.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn shot_reading<T: DeserializeOwned>(
        &self,
        shot: ShotId,
        person: PersonId,
        stage: Stage,
    ) -> Result<Option<T>> {
        let text: Option<String> = self.read(|c| {
            c.query_row(
                &format!(
                    "SELECT reading FROM shot_reading WHERE shot_id = ?1 AND stage = ?3 AND {OF_PERSON}"
                ),
                params![shot, person, stage.name()],
                |row| row.get(0),
            )
            .optional()
        })?;
        text.map(|text| parse(self.path(), "shot_reading", &text))
            .transpose()
    }

    /// The people that were read in a shot, by number.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn people_read(&self, shot: ShotId) -> Result<Vec<PersonId>> {
        self.rows(
            "SELECT DISTINCT coalesce(into_id, person_id) AS whose
             FROM shot_reading JOIN person ON person.id = person_id
             WHERE shot_id = ?1 AND stage = 'before' ORDER BY whose",
            params![shot],
            |row| row.get(0),
        )
    }

    /// The readings of a person in every frame of a shot at a stage.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn frame_readings<T: DeserializeOwned>(
        &self,
        shot: ShotId,
        person: PersonId,
        stage: Stage,
    ) -> Result<Option<T>> {
        self.stored_frame_readings(shot, person, stage)?
            .map(|stored| stored.get())
            .transpose()
    }

    /// The same, still packed.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn stored_frame_readings(
        &self,
        shot: ShotId,
        person: PersonId,
        stage: Stage,
    ) -> Result<Option<Stored>> {
        self.stored(
            "frame_reading",
            &format!(
                "SELECT frames FROM frame_reading WHERE shot_id = ?1 AND stage = ?3 AND {OF_PERSON}"
            ),
            params![shot, person, stage.name()],
        )
    }

    /// Skin pixels of a person in a shot, or pixels of the picture as a whole.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn sample<T: DeserializeOwned>(
        &self,
        shot: ShotId,
        person: Option<PersonId>,
    ) -> Result<Option<T>> {
        self.stored_sample(shot, person)?
            .map(|stored| stored.get())
            .transpose()
    }

    /// The same, still packed.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn stored_sample(&self, shot: ShotId, person: Option<PersonId>) -> Result<Option<Stored>> {
        self.stored(
            "sample",
            &format!("SELECT sample FROM sample WHERE shot_id = ?1 AND {OF_PERSON}"),
            params![shot, person.map_or(0, |p| p.0)],
        )
    }

    /// The poses of a patch.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn track<T: DeserializeOwned>(&self, patch: PatchId) -> Result<Option<T>> {
        self.packed(
            "track",
            "SELECT poses FROM track WHERE patch_id = ?1",
            params![patch],
        )
    }

    /// What the editor should know about a shot.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn notes(&self, shot: ShotId) -> Result<Vec<String>> {
        let text: Option<String> = self.read(|c| {
            c.query_row(
                "SELECT notes FROM shot_note WHERE shot_id = ?1",
                params![shot],
                |row| row.get(0),
            )
            .optional()
        })?;
        text.map_or_else(
            || Ok(Vec::new()),
            |text| parse(self.path(), "shot_note", &text),
        )
    }

    pub(crate) fn packed<T: DeserializeOwned>(
        &self,
        table: &'static str,
        sql: &str,
        values: impl rusqlite::Params,
    ) -> Result<Option<T>> {
        self.stored(table, sql, values)?
            .map(|stored| stored.get())
            .transpose()
    }

    fn stored(
        &self,
        table: &'static str,
        sql: &str,
        values: impl rusqlite::Params,
    ) -> Result<Option<Stored>> {
        let bytes: Option<Vec<u8>> =
            self.read(|c| c.query_row(sql, values, |row| row.get(0)).optional())?;
        Ok(bytes.map(|bytes| Stored {
            packed: Packed(bytes),
            path: self.path().to_owned(),
            table,
        }))
    }
}

/// Drops everything that was read of a shot, and what was proved.
pub(crate) fn forget_results(t: &Transaction<'_>, shot: ShotId) -> rusqlite::Result<()> {
    for table in ["frame_reading", "shot_reading", "sample"] {
        t.execute(
            &format!("DELETE FROM {table} WHERE shot_id = ?1"),
            params![shot],
        )?;
    }
    forget_shot(t, shot)
}

/// Rows of the person ?2 or of somebody who was merged into them.
const HAS_PERSON: &str =
    "(person_id = ?2 OR person_id IN (SELECT id FROM person WHERE into_id = ?2))";

/// The one of them that counts: their own before others'.
pub(crate) const OF_PERSON: &str = "(person_id = ?2 OR person_id IN (SELECT id FROM person WHERE into_id = ?2)) ORDER BY person_id <> ?2, person_id LIMIT 1";

/// Drops what was read of one person.
pub(crate) fn forget_person(
    t: &Transaction<'_>,
    shot: ShotId,
    person: PersonId,
) -> rusqlite::Result<()> {
    for table in ["frame_reading", "shot_reading", "sample"] {
        t.execute(
            &format!("DELETE FROM {table} WHERE shot_id = ?1 AND {HAS_PERSON}"),
            params![shot, person],
        )?;
    }
    Ok(())
}

/// Drops what belongs to the shot as a whole: tracks, the picture's sample, notes, proof.
fn forget_shot(t: &Transaction<'_>, shot: ShotId) -> rusqlite::Result<()> {
    for sql in [
        "DELETE FROM track WHERE patch_id IN (SELECT id FROM patch WHERE shot_id = ?1)",
        "DELETE FROM sample WHERE shot_id = ?1 AND person_id = 0",
        "DELETE FROM shot_note WHERE shot_id = ?1",
        "DELETE FROM read_span WHERE shot_id = ?1",
        "DELETE FROM proof WHERE shot_id = ?1",
        "DELETE FROM step WHERE shot_id = ?1 AND step IN ('read', 'prove')",
    ] {
        t.execute(sql, params![shot])?;
    }
    Ok(())
}

pub(crate) fn record(
    t: &Transaction<'_>,
    shot: ShotId,
    step: Step,
    key: &InputKey,
    outcome: &StepOutcome,
) -> rusqlite::Result<()> {
    let failure = match outcome {
        StepOutcome::Done => None,
        StepOutcome::Failed(reason) => Some(reason),
    };
    t.execute(
        "INSERT OR REPLACE INTO step (shot_id, step, input_key, failure) VALUES (?1, ?2, ?3, ?4)",
        params![shot, step.name(), key.0, failure],
    )?;
    Ok(())
}

fn insert_deliverable(t: &Transaction<'_>, d: &Deliverable) -> rusqlite::Result<()> {
    t.execute(
        "INSERT OR REPLACE INTO deliverable (path, kind, shot_id, fingerprint, input_key, detail)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            d.path.to_string_lossy(),
            d.kind,
            d.shot,
            json(&d.fingerprint),
            d.key.0,
            d.detail.to_string()
        ],
    )?;
    Ok(())
}

/// Serialises what a caller hands over as a plain value.
///
/// # Panics
/// If the value cannot be serialised (a map with keys that are not text).
#[must_use]
pub fn value_of<T: Serialize>(value: &T) -> Value {
    serde_json::to_value(value).expect("stored values serialise")
}
