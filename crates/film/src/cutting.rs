//! Which shots the cut uses and in what order; setups, scenes, notes and versions.

use crate::history::now_s;
use crate::pack::Packed;
use crate::store::{Film, json, optional};
use crate::{
    CutRecord, FilmError, GroupedByHand, InputKey, Place, Result, SetupId, Shot, ShotId, SourceId,
    VersionRecord,
};
use rusqlite::{OptionalExtension, Transaction, params};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

/// Tables of results of one shot, with their columns: what a shot that is made like another takes
/// over, so that nothing is read again that was read. Tracks and patches are numbered and follow
/// apart.
const RESULTS: &[(&str, &str)] = &[
    ("frame_reading", "person_id, stage, frames"),
    ("shot_reading", "person_id, stage, reading"),
    ("sample", "person_id, sample"),
    ("shot_note", "notes"),
    ("step", "step, input_key, failure"),
    ("erased", "input_key"),
    ("signature", "input_key, signature"),
    ("read_span", "input_key, in_frame, out_frame"),
];

/// A name like `wanted` that no shot and no setup has.
pub(crate) fn free_name(t: &Transaction<'_>, wanted: &str) -> rusqlite::Result<String> {
    let mut name = wanted.to_owned();
    let mut number = 1;
    loop {
        let taken = t
            .query_row(
                "SELECT 1 FROM shot WHERE name = ?1 UNION SELECT 1 FROM setup WHERE name = ?1",
                params![name],
                |_| Ok(()),
            )
            .optional()?;
        if taken.is_none() {
            return Ok(name);
        }
        number += 1;
        name = format!("{wanted}-{number}");
    }
}

/// Makes a shot that is not in the cut yet.
pub(crate) fn insert_shot(
    t: &Transaction<'_>,
    name: &str,
    source: SourceId,
    (from, to): (u64, u64),
    setup: SetupId,
) -> rusqlite::Result<ShotId> {
    t.execute(
        "INSERT INTO shot (id, position, name, source_id, in_frame, out_frame, setup_id)
         SELECT n, -n, ?1, ?2, ?3, ?4, ?5 FROM (SELECT ifnull(max(id), 0) + 1 AS n FROM shot)",
        params![name, source, from, to, setup],
    )?;
    Ok(ShotId(t.last_insert_rowid()))
}

/// The setup of a name, made in the scene of a name where there is none that the cut uses; an
/// unused one of that name is taken up again.
fn setup_of(t: &Transaction<'_>, setup: &str, scene: &str) -> rusqlite::Result<SetupId> {
    let known: Option<(SetupId, bool)> = t
        .query_row(
            "SELECT id, EXISTS (SELECT 1 FROM shot WHERE setup_id = setup.id)
             FROM setup WHERE name = ?1",
            params![setup],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?;
    if let Some((id, true)) = known {
        return Ok(id);
    }
    let scene = scene_of(t, scene)?;
    match known {
        Some((id, _)) => {
            t.execute(
                "UPDATE setup SET scene_id = ?2 WHERE id = ?1",
                params![id, scene],
            )?;
            Ok(id)
        }
        None => {
            t.execute(
                "INSERT INTO setup (name, scene_id) VALUES (?1, ?2)",
                params![setup, scene],
            )?;
            Ok(SetupId(t.last_insert_rowid()))
        }
    }
}

fn scene_of(t: &Transaction<'_>, name: &str) -> rusqlite::Result<i64> {
    t.execute(
        "INSERT OR IGNORE INTO scene (name) VALUES (?1)",
        params![name],
    )?;
    t.query_row(
        "SELECT id FROM scene WHERE name = ?1",
        params![name],
        |row| row.get(0),
    )
}

/// Takes patches, note, `kept` and results of a shot over to another one of the same source.
fn take_over(t: &Transaction<'_>, from: ShotId, to: ShotId) -> rusqlite::Result<()> {
    t.execute(
        "UPDATE shot SET (kept, constant, setup_by_hand, scene_by_hand) =
             (SELECT kept, constant, setup_by_hand, scene_by_hand FROM shot WHERE id = ?1) WHERE id = ?2",
        params![from, to],
    )?;
    t.execute(
        "INSERT INTO editor_note (shot_id, text)
         SELECT ?2, text FROM editor_note WHERE shot_id = ?1",
        params![from, to],
    )?;
    let patches: Vec<(i64, i64, u64, String)> = t
        .prepare("SELECT id, person_id, frame, shape FROM patch WHERE shot_id = ?1 ORDER BY id")?
        .query_map(params![from], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
        })?
        .collect::<rusqlite::Result<_>>()?;
    for (patch, person, frame, shape) in patches {
        t.execute(
            "INSERT INTO patch (shot_id, person_id, frame, shape) VALUES (?1, ?2, ?3, ?4)",
            params![to, person, frame, shape],
        )?;
        t.execute(
            "INSERT INTO track (patch_id, poses) SELECT ?2, poses FROM track WHERE patch_id = ?1",
            params![patch, t.last_insert_rowid()],
        )?;
    }
    let faces: Vec<i64> = t
        .prepare("SELECT id FROM face WHERE shot_id = ?1 ORDER BY id")?
        .query_map(params![from], |row| row.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    for face in faces {
        t.execute(
            "INSERT INTO face (shot_id, position, person_id, role, decided, facts, track, embedding)
             SELECT ?2, position, person_id, role, decided, facts, track, embedding
             FROM face WHERE id = ?1",
            params![face, to],
        )?;
        t.execute(
            "INSERT INTO face_reading (face_id, frames, sample)
             SELECT ?2, frames, sample FROM face_reading WHERE face_id = ?1",
            params![face, t.last_insert_rowid()],
        )?;
    }
    for (table, columns) in RESULTS {
        // What was handed over and proved is another shot's.
        let which = match *table {
            "step" => "AND step IN ('find', 'read')",
            "frame_reading" | "shot_reading" => "AND stage = 'before'",
            _ => "",
        };
        t.execute(
            &format!(
                "INSERT INTO {table} (shot_id, {columns})
                 SELECT ?2, {columns} FROM {table} WHERE shot_id = ?1 {which}"
            ),
            params![from, to],
        )?;
    }
    Ok(())
}

impl Film {
    /// Puts the shots of a new cut into their order, in one decision: shots that are not named
    /// leave the cut with everything that they have, new ones are made. Gives the shots in order.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn place<L: Serialize>(
        &mut self,
        places: &[Place],
        origin: &str,
        list: &L,
    ) -> Result<Vec<ShotId>> {
        let list = Packed::of(list);
        let detail = json!({"cut": origin, "shots": places.len()});
        self.decided("cut", &detail, |t| {
            t.execute(
                "INSERT INTO cut (at_s, origin, list) VALUES (?1, ?2, ?3)",
                params![now_s(), origin, list.0],
            )?;
            t.execute(
                "UPDATE film SET cut_id = ?1",
                params![t.last_insert_rowid()],
            )?;
            t.execute("UPDATE shot SET position = -id WHERE position > 0", [])?;
            let mut placed = Vec::new();
            for (index, place) in places.iter().enumerate() {
                let shot = match place.shot {
                    Some(shot) => shot,
                    None => {
                        let name = free_name(t, &place.name)?;
                        let setup = setup_of(t, &place.setup, &place.scene)?;
                        let span = (place.in_frame, place.out_frame);
                        let shot = insert_shot(t, &name, place.source, span, setup)?;
                        if let Some(like) = place.like {
                            take_over(t, like, shot)?;
                        }
                        shot
                    }
                };
                let used = (!place.used.is_null()).then(|| place.used.to_string());
                t.execute(
                    "UPDATE shot SET position = ?2, in_frame = ?3, out_frame = ?4, used = ?5
                     WHERE id = ?1",
                    params![shot, index + 1, place.in_frame, place.out_frame, used],
                )?;
                placed.push(shot);
            }
            Ok(placed)
        })
    }

    /// The cut that is in the film; `None` where clips were taken in whole.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn cut(&self) -> Result<Option<CutRecord>> {
        self.read(|c| {
            c.query_row(
                "SELECT cut.id, at_s, origin FROM cut JOIN film ON film.cut_id = cut.id",
                [],
                |row| {
                    Ok(CutRecord {
                        id: row.get(0)?,
                        at_s: row.get(1)?,
                        origin: row.get(2)?,
                    })
                },
            )
            .optional()
        })
    }

    /// The list of the cut that is in the film.
    ///
    /// # Errors
    /// If the film cannot be read or the entry does not fit the type.
    pub fn cut_list<L: DeserializeOwned>(&self) -> Result<Option<L>> {
        self.packed(
            "cut",
            "SELECT list FROM cut JOIN film ON film.cut_id = cut.id",
            [],
        )
    }

    /// Keeps what was seen in a source as a finished picture.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_seen<T: Serialize>(&mut self, source: SourceId, seen: &T) -> Result<()> {
        self.change(|t| {
            t.execute(
                "UPDATE source SET seen = ?2 WHERE id = ?1",
                params![source, json(seen)],
            )?;
            Ok(())
        })
    }

    /// Puts shots into the setup of a name, which is made where there is none: this joins, splits
    /// and moves. A new setup belongs to the scene of its first shot.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn put_in_setup(&mut self, shots: &[ShotId], setup: &str) -> Result<()> {
        self.group("setup", shots, setup, |t| {
            let Some(first) = shots.first() else {
                return Ok(());
            };
            let scene: String = t.query_row(
                "SELECT scene.name FROM shot JOIN setup ON setup.id = setup_id
                 JOIN scene ON scene.id = scene_id WHERE shot.id = ?1",
                params![first],
                |row| row.get(0),
            )?;
            let setup = setup_of(t, setup, &scene)?;
            shots.iter().try_for_each(|shot| {
                move_to(t, *shot, setup)?;
                grouped(t, "setup_by_hand", *shot)
            })
        })
    }

    /// Puts shots into the scene of a name, which is made where there is none. A setup all of whose
    /// shots move goes with them; else the moving ones become a setup of their own there.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn put_in_scene(&mut self, shots: &[ShotId], scene: &str) -> Result<()> {
        let all = self.all_shots()?;
        let setups = self.setups()?;
        self.group("scene", shots, scene, |t| {
            let to = scene_of(t, scene)?;
            for setup in &setups {
                let (moving, staying): (Vec<&Shot>, Vec<&Shot>) = all
                    .iter()
                    .filter(|shot| shot.setup == setup.id)
                    .partition(|shot| shots.contains(&shot.id));
                if moving.is_empty() || setup.scene.0 == to {
                    continue;
                }
                if staying.is_empty() {
                    t.execute(
                        "UPDATE setup SET scene_id = ?2 WHERE id = ?1",
                        params![setup.id, to],
                    )?;
                } else {
                    let name = free_name(t, &setup.name)?;
                    let own = setup_of(t, &name, scene)?;
                    moving
                        .iter()
                        .try_for_each(|shot| move_to(t, shot.id, own).map(|_| ()))?;
                }
            }
            shots
                .iter()
                .try_for_each(|shot| grouped(t, "scene_by_hand", *shot))
        })
    }

    /// Puts every shot named into a setup and a scene as suggested, in one decision. Gives whether
    /// that changed anything.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn arrange(&mut self, places: &[(ShotId, String, String)]) -> Result<bool> {
        self.decided("suggest", &json!({"shots": places.len()}), |t| {
            let mut changed = 0;
            for (shot, setup, scene) in places {
                let setup = setup_of(t, setup, scene)?;
                changed += move_to(t, *shot, setup)?;
                let scene = scene_of(t, scene)?;
                changed += t.execute(
                    "UPDATE setup SET scene_id = ?2 WHERE id = ?1 AND scene_id <> ?2",
                    params![setup, scene],
                )?;
            }
            Ok(changed > 0)
        })
    }

    /// Which shots the editor has grouped.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn grouped_by_hand(&self) -> Result<Vec<GroupedByHand>> {
        self.rows(
            "SELECT id, setup_by_hand, scene_by_hand FROM shot
             WHERE setup_by_hand OR scene_by_hand ORDER BY id",
            [],
            |row| {
                Ok(GroupedByHand {
                    shot: row.get(0)?,
                    setup: row.get(1)?,
                    scene: row.get(2)?,
                })
            },
        )
    }

    /// Gives a setup or scene another name.
    ///
    /// # Errors
    /// If there is none of the old name, or one of the new name already.
    pub fn rename_group(&mut self, kind: &'static str, name: &str, to: &str) -> Result<()> {
        let table = if kind == "scene" { "scene" } else { "setup" };
        let names: Vec<String> = self.rows(
            &format!("SELECT name FROM {table} ORDER BY id"),
            [],
            |row| row.get(0),
        )?;
        let unknown = |name: &str| FilmError::Unknown {
            kind,
            name: name.to_owned(),
            known: names.join(", "),
        };
        if !names.iter().any(|known| known == name) {
            return Err(unknown(name));
        }
        if names.iter().any(|known| known == to) {
            return Err(FilmError::Taken {
                kind,
                name: to.to_owned(),
            });
        }
        self.decided("group", &json!({kind: name, "name": to}), |t| {
            t.execute(
                &format!("UPDATE {table} SET name = ?2 WHERE name = ?1"),
                params![name, to],
            )?;
            t.execute(
                &format!(
                    "UPDATE shot SET {table}_by_hand = 1 WHERE setup_id IN (
                         SELECT setup.id FROM setup JOIN scene ON scene.id = scene_id
                         WHERE {table}.name = ?1)"
                ),
                params![to],
            )?;
            Ok(())
        })
    }

    fn group(
        &mut self,
        kind: &str,
        shots: &[ShotId],
        name: &str,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()>,
    ) -> Result<()> {
        let names: Vec<String> = self
            .all_shots()?
            .into_iter()
            .filter(|shot| shots.contains(&shot.id))
            .map(|shot| shot.name)
            .collect();
        let detail = json!({kind: name, "shots": names});
        self.decided("group", &detail, work)
    }

    /// Sets the editor's note of a shot; an empty one is taken away.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_note(&mut self, shot: &Shot, text: &str) -> Result<()> {
        let detail = json!({"shot": shot.name, "note": text});
        self.decided("note", &detail, |t| {
            if text.is_empty() {
                t.execute(
                    "DELETE FROM editor_note WHERE shot_id = ?1",
                    params![shot.id],
                )
            } else {
                t.execute(
                    "INSERT INTO editor_note (shot_id, text) VALUES (?1, ?2)
                     ON CONFLICT (shot_id) DO UPDATE SET text = excluded.text",
                    params![shot.id, text],
                )
            }
            .map(|_| ())
        })
    }

    /// The editor's note of a shot.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn note(&self, shot: ShotId) -> Result<Option<String>> {
        self.read(|c| {
            c.query_row(
                "SELECT text FROM editor_note WHERE shot_id = ?1",
                params![shot],
                |row| row.get(0),
            )
            .optional()
        })
    }

    /// Records what was handed over under a name; the same name again replaces it.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_version<T: Serialize>(&mut self, name: &str, detail: &T) -> Result<()> {
        let detail = Packed::of(detail);
        self.change(|t| {
            t.execute(
                "INSERT INTO version (name, at_s, cut_id, detail)
                 VALUES (?1, ?2, (SELECT cut_id FROM film), ?3)
                 ON CONFLICT (name) DO UPDATE SET at_s = excluded.at_s,
                     cut_id = excluded.cut_id, detail = excluded.detail",
                params![name, now_s(), detail.0],
            )?;
            Ok(())
        })
    }

    /// The versions, oldest first.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn versions(&self) -> Result<Vec<VersionRecord>> {
        self.rows(
            "SELECT name, at_s, cut_id FROM version ORDER BY id",
            [],
            |row| {
                Ok(VersionRecord {
                    name: row.get(0)?,
                    at_s: row.get(1)?,
                    cut: row.get(2)?,
                })
            },
        )
    }

    /// What a version holds.
    ///
    /// # Errors
    /// If there is none of that name, with the names that there are.
    pub fn version<T: DeserializeOwned>(&self, name: &str) -> Result<T> {
        self.packed(
            "version",
            "SELECT detail FROM version WHERE name = ?1",
            params![name],
        )?
        .ok_or_else(|| FilmError::Unknown {
            kind: "version",
            name: name.to_owned(),
            known: self.versions().map_or_else(
                |_| String::new(),
                |known| {
                    let names: Vec<String> = known.into_iter().map(|v| v.name).collect();
                    if names.is_empty() {
                        "none".to_owned()
                    } else {
                        names.join(", ")
                    }
                },
            ),
        })
    }

    /// Records how a finished programme stood against the film; the same programme again replaces it.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_programme<T: Serialize>(&mut self, path: &str, proof: &T) -> Result<()> {
        let proof = Packed::of(proof);
        self.change(|t| {
            t.execute("DELETE FROM programme WHERE path = ?1", params![path])?;
            t.execute(
                "INSERT INTO programme (path, at_s, proof) VALUES (?1, ?2, ?3)",
                params![path, now_s(), proof.0],
            )?;
            Ok(())
        })
    }

    /// When each finished programme was last held against the film (seconds since 1970-01-01 UTC) and what came of it,
    /// the earliest first.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn programmes<T: DeserializeOwned>(&self) -> Result<Vec<(i64, T)>> {
        self.rows("SELECT at_s, proof FROM programme ORDER BY id", [], |row| {
            Ok((row.get(0)?, row.get::<_, Vec<u8>>(1)?))
        })?
        .into_iter()
        .map(|(at_s, bytes)| {
            let proof = Packed(bytes)
                .get()
                .map_err(|reason| crate::store::damaged(self.path(), "programme", reason))?;
            Ok((at_s, proof))
        })
        .collect()
    }

    /// Remembers which source frames of a shot were read, and the key of everything else that went
    /// into it.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_read_span(&mut self, shot: &Shot, key: &InputKey) -> Result<()> {
        self.change(|t| {
            t.execute(
                "INSERT OR REPLACE INTO read_span (shot_id, input_key, in_frame, out_frame)
                 VALUES (?1, ?2, ?3, ?4)",
                params![shot.id, key.0, shot.in_frame, shot.out_frame],
            )?;
            Ok(())
        })
    }

    /// The source frames of a shot that were read, half-open, and the key of everything else that
    /// went into it.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn read_span(&self, shot: ShotId) -> Result<Option<(InputKey, (u64, u64))>> {
        self.read(|c| {
            c.query_row(
                "SELECT input_key, in_frame, out_frame FROM read_span WHERE shot_id = ?1",
                params![shot],
                |row| Ok((InputKey(row.get(0)?), (row.get(1)?, row.get(2)?))),
            )
            .optional()
        })
    }

    /// Keeps readings of a shot that were summed up anew from frames read before, and drops what
    /// was proved.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_summed_up(
        &mut self,
        shot: ShotId,
        key: &InputKey,
        readings: &[(crate::PersonId, Value)],
    ) -> Result<()> {
        self.change(|t| {
            for (person, reading) in readings {
                t.execute(
                    "INSERT OR REPLACE INTO shot_reading (shot_id, person_id, stage, reading)
                     VALUES (?1, ?2, 'before', ?3)",
                    params![shot, person, reading.to_string()],
                )?;
            }
            t.execute("DELETE FROM proof WHERE shot_id = ?1", params![shot])?;
            t.execute(
                "DELETE FROM step WHERE shot_id = ?1 AND step = 'prove'",
                params![shot],
            )?;
            t.execute(
                "INSERT OR REPLACE INTO step (shot_id, step, input_key, failure)
                 VALUES (?1, 'read', ?2, NULL)",
                params![shot, key.0],
            )?;
            Ok(())
        })
    }

    /// Keeps what setups are suggested from.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn keep_signature<T: Serialize>(
        &mut self,
        shot: ShotId,
        key: &InputKey,
        signature: &T,
    ) -> Result<()> {
        self.change(|t| {
            t.execute(
                "INSERT OR REPLACE INTO signature (shot_id, input_key, signature)
                 VALUES (?1, ?2, ?3)",
                params![shot, key.0, json(signature)],
            )?;
            Ok(())
        })
    }

    /// What setups are suggested from, with the key of what went into it.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn signature(&self, shot: ShotId) -> Result<Option<(InputKey, Value)>> {
        let row: Option<(String, String)> = self.read(|c| {
            c.query_row(
                "SELECT input_key, signature FROM signature WHERE shot_id = ?1",
                params![shot],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()
        })?;
        row.map(|(key, text)| {
            Ok((
                InputKey(key),
                optional(self.path(), "signature", Some(text))?,
            ))
        })
        .transpose()
    }
}

/// Gives the number of shots that were moved: 0 where it was there.
fn move_to(t: &Transaction<'_>, shot: ShotId, setup: SetupId) -> rusqlite::Result<usize> {
    t.execute(
        "UPDATE shot SET setup_id = ?2 WHERE id = ?1 AND setup_id <> ?2",
        params![shot, setup],
    )
}

fn grouped(t: &Transaction<'_>, column: &str, shot: ShotId) -> rusqlite::Result<()> {
    t.execute(
        &format!("UPDATE shot SET {column} = 1 WHERE id = ?1 AND {column} = 0"),
        params![shot],
    )?;
    Ok(())
}
