//! Opening a film, and what it consists of.

use crate::faces::forget_faces;
use crate::lock::WriterLock;
use crate::model::FilmFacts;
use crate::results::forget_results;
use crate::{
    Exposed, FilmError, NewSource, Patch, PatchId, Person, PersonId, Result, Scene, SceneId, Setup,
    SetupId, Shot, ShotId, Source, SourceId, schema,
};
use inkarnat_color::WorkingSpace;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Row, Transaction, params};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A film file that is open.
#[derive(Debug)]
pub struct Film {
    connection: Connection,
    path: PathBuf,
    facts: FilmFacts,
    /// Present in the one process that writes; given back after the connection is closed.
    lock: Option<WriterLock>,
}

impl Film {
    /// Makes a new film file and opens it for writing.
    ///
    /// # Errors
    /// If the file exists, or cannot be made.
    pub fn create(path: &Path, name: &str, space: WorkingSpace) -> Result<Self> {
        let lock = WriterLock::take(path)?;
        if path.exists() {
            return Err(FilmError::Exists {
                path: path.to_owned(),
            });
        }
        // A film appears whole: made under another name, with no journal, then renamed.
        let mut staging = path.as_os_str().to_owned();
        staging.push("-new");
        let staging = PathBuf::from(staging);
        let io = |doing: &'static str| {
            move |source| FilmError::Io {
                path: path.to_owned(),
                doing,
                source,
            }
        };
        if staging.exists() {
            std::fs::remove_file(&staging).map_err(io("clearing a half-made film away"))?;
        }
        let made = (|| {
            let mut connection = Connection::open(&staging)?;
            schema::migrate(&mut connection, 0)?;
            connection.execute(
                "INSERT INTO film (id, name, working_space) VALUES (1, ?1, ?2)",
                params![name, json(&space)],
            )?;
            connection.execute("INSERT INTO scene (name) VALUES (?1)", params![name])?;
            connection.close().map_err(|(_, error)| error)
        })();
        if let Err(source) = made {
            let _ = std::fs::remove_file(&staging);
            return Err(FilmError::Database {
                path: path.to_owned(),
                source,
            });
        }
        std::fs::rename(&staging, path).map_err(io("making the film file"))?;
        Self::open_with(path, Some(lock))
    }

    /// Opens a film for writing.
    ///
    /// # Errors
    /// If the file is missing, is no film, is newer than this program, or another process writes to
    /// it.
    pub fn open(path: &Path) -> Result<Self> {
        if !path.exists() {
            return Err(FilmError::Missing {
                path: path.to_owned(),
            });
        }
        let lock = WriterLock::take(path)?;
        Self::open_with(path, Some(lock))
    }

    /// Opens a film for reading; another process may be writing to it.
    ///
    /// # Errors
    /// If the file is missing, is no film, or is newer than this program.
    pub fn open_to_read(path: &Path) -> Result<Self> {
        if !path.exists() {
            return Err(FilmError::Missing {
                path: path.to_owned(),
            });
        }
        Self::open_with(path, None)
    }

    fn open_with(path: &Path, lock: Option<WriterLock>) -> Result<Self> {
        let database = |source| FilmError::Database {
            path: path.to_owned(),
            source,
        };
        // Readers open for writing too where they may: a log left behind by a killed writer has to
        // be folded in before anything can be read.
        let mut connection = Connection::open_with_flags(
            path,
            OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
        )
        .map_err(database)?;
        connection
            .busy_timeout(Duration::from_secs(10))
            .map_err(database)?;
        let version = schema::check(&connection, path)?;
        if lock.is_some() {
            connection
                .pragma_update(None, "journal_mode", "wal")
                .map_err(database)?;
            connection
                .pragma_update(None, "synchronous", "full")
                .map_err(database)?;
            schema::migrate(&mut connection, version).map_err(database)?;
        } else if version < schema::SCHEMA_VERSION {
            // An older film is brought up to date by its first writer.
            drop(connection);
            drop(Self::open(path)?);
            return Self::open_with(path, None);
        }
        connection
            .pragma_update(None, "foreign_keys", true)
            .map_err(database)?;
        if lock.is_some() {
            crate::undo::watch(&connection).map_err(database)?;
        }
        let (name, space): (String, String) = connection
            .query_row(
                "SELECT name, working_space FROM film WHERE id = 1",
                [],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .map_err(database)?;
        let space = parse(path, "film", &space)?;
        Ok(Self {
            connection,
            path: path.to_owned(),
            facts: FilmFacts { name, space },
            lock,
        })
    }

    /// Where the film file is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The film's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.facts.name
    }

    /// What the numbers of the working signal mean.
    #[must_use]
    pub fn space(&self) -> WorkingSpace {
        self.facts.space
    }

    /// Takes a clip in: the source, a setup of the same name in the film's first scene, and a shot
    /// of the whole clip. A clip that is in the film already is left as it is; one that had been
    /// taken out comes back.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn take_in(&mut self, source: &NewSource) -> Result<ShotId> {
        let known = self.add_source(source)?;
        let used = |shots: Vec<Shot>| shots.into_iter().find(|s| s.source == known);
        if let Some(shot) = used(self.shots()?) {
            return Ok(shot.id);
        }
        let out =
            used(self.lost_shots()?).filter(|s| (s.in_frame, s.out_frame) == (0, source.frames));
        let stem = source
            .path
            .file_stem()
            .map_or_else(|| "clip".to_owned(), |s| s.to_string_lossy().into_owned());
        let detail = serde_json::json!({"clip": source.path});
        self.decided("start", &detail, |t| {
            let shot = match out {
                Some(shot) => shot.id,
                None => {
                    let name = crate::cutting::free_name(t, &stem)?;
                    let scene: i64 =
                        t.query_row("SELECT min(id) FROM scene", [], |row| row.get(0))?;
                    t.execute(
                        "INSERT INTO setup (name, scene_id) VALUES (?1, ?2)",
                        params![name, scene],
                    )?;
                    let setup = SetupId(t.last_insert_rowid());
                    crate::cutting::insert_shot(t, &name, known, (0, source.frames), setup)?
                }
            };
            t.execute(
                "UPDATE shot SET position = (SELECT max(0, max(position)) + 1 FROM shot)
                 WHERE id = ?1",
                params![shot],
            )?;
            Ok(shot)
        })
    }

    /// Remembers a source clip without using it. A file that has changed since it was remembered
    /// is remembered as it is now: whole-clip shots get its length, and what was read of it is
    /// dropped.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn add_source(&mut self, source: &NewSource) -> Result<SourceId> {
        let known = self
            .sources()?
            .into_iter()
            .find(|known| known.absolute == source.absolute);
        let Some(known) = known else {
            return self.change(|t| {
                t.execute(
                    "INSERT INTO source (path, absolute, fingerprint, frames, probe)
                     VALUES (?1, ?2, ?3, ?4, ?5)",
                    params![
                        source.path.to_string_lossy(),
                        source.absolute.to_string_lossy(),
                        json(&source.fingerprint),
                        source.frames,
                        source.probe.to_string()
                    ],
                )?;
                Ok(SourceId(t.last_insert_rowid()))
            });
        };
        if known.fingerprint != source.fingerprint {
            let shots: Vec<ShotId> = self
                .all_shots()?
                .into_iter()
                .filter(|shot| shot.source == known.id)
                .map(|shot| shot.id)
                .collect();
            self.change(|t| {
                t.execute(
                    "UPDATE source SET fingerprint = ?2, frames = ?3, probe = ?4, seen = NULL
                     WHERE id = ?1",
                    params![
                        known.id,
                        json(&source.fingerprint),
                        source.frames,
                        source.probe.to_string()
                    ],
                )?;
                t.execute(
                    "UPDATE shot SET in_frame = 0, out_frame = ?2
                     WHERE source_id = ?1 AND used IS NULL",
                    params![known.id, source.frames],
                )?;
                shots.iter().try_for_each(|shot| {
                    forget_faces(t, *shot)?;
                    forget_results(t, *shot)
                })
            })?;
        }
        Ok(known.id)
    }

    /// Remembers a source under a new place.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn relink(&mut self, source: SourceId, absolute: &Path) -> Result<()> {
        self.change(|t| {
            t.execute(
                "UPDATE source SET absolute = ?2 WHERE id = ?1",
                params![source, absolute.to_string_lossy()],
            )?;
            Ok(())
        })
    }

    /// The sources, in the order of taking in.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn sources(&self) -> Result<Vec<Source>> {
        type Row = (
            SourceId,
            String,
            String,
            String,
            u64,
            String,
            Option<String>,
        );
        let rows: Vec<Row> = self.rows(
            "SELECT id, path, absolute, fingerprint, frames, probe, seen FROM source ORDER BY id",
            [],
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
            .map(|(id, path, absolute, print, frames, probe, seen)| {
                Ok(Source {
                    id,
                    path: PathBuf::from(path),
                    absolute: PathBuf::from(absolute),
                    fingerprint: parse(&self.path, "source", &print)?,
                    probe: parse(&self.path, "source", &probe)?,
                    frames,
                    seen: optional(&self.path, "source", seen)?,
                })
            })
            .collect()
    }

    /// The shots of the cut in film order.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn shots(&self) -> Result<Vec<Shot>> {
        self.shots_where("position > 0 ORDER BY position")
    }

    /// Shots that were in the film and are not in the cut: their decisions and results wait.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn lost_shots(&self) -> Result<Vec<Shot>> {
        self.shots_where("position <= 0 ORDER BY id")
    }

    /// Every shot that the film knows, in the order of making.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn all_shots(&self) -> Result<Vec<Shot>> {
        self.shots_where("true ORDER BY id")
    }

    fn shots_where(&self, which: &str) -> Result<Vec<Shot>> {
        let rows: Vec<(Shot, Option<String>)> = self.rows(
            &format!(
                "SELECT id, name, source_id, in_frame, out_frame, setup_id, kept, constant, used
                 FROM shot WHERE {which}"
            ),
            [],
            |row| {
                let shot = Shot {
                    id: row.get(0)?,
                    name: row.get(1)?,
                    source: row.get(2)?,
                    in_frame: row.get(3)?,
                    out_frame: row.get(4)?,
                    setup: row.get(5)?,
                    kept: row.get(6)?,
                    constant: row.get(7)?,
                    used: Value::Null,
                };
                Ok((shot, row.get(8)?))
            },
        )?;
        rows.into_iter()
            .map(|(shot, used)| {
                let used = optional(&self.path, "shot", used)?;
                Ok(Shot { used, ..shot })
            })
            .collect()
    }

    /// The shot of a name.
    ///
    /// # Errors
    /// If there is none, with the names that there are.
    pub fn shot_named(&self, name: &str) -> Result<Shot> {
        let shots = self.shots()?;
        shots
            .iter()
            .find(|shot| shot.name == name)
            .cloned()
            .ok_or_else(|| FilmError::Unknown {
                kind: "shot",
                name: name.to_owned(),
                known: list(shots.iter().map(|s| s.name.as_str())),
            })
    }

    /// The setups that the cut uses, in the order of making.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn setups(&self) -> Result<Vec<Setup>> {
        self.rows(
            "SELECT id, name, scene_id, exposure FROM setup
             WHERE id IN (SELECT setup_id FROM shot WHERE position > 0) ORDER BY id",
            [],
            |row| {
                Ok(Setup {
                    id: row.get(0)?,
                    name: row.get(1)?,
                    scene: row.get(2)?,
                    exposure: row.get(3)?,
                })
            },
        )
    }

    /// The scenes that the cut uses, in film order.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn scenes(&self) -> Result<Vec<Scene>> {
        self.rows(
            "SELECT scene.id, scene.name, scene.tint, scene.exposure FROM scene
             JOIN setup ON setup.scene_id = scene.id JOIN shot ON shot.setup_id = setup.id
             WHERE position > 0 GROUP BY scene.id ORDER BY min(position)",
            [],
            |row| {
                Ok(Scene {
                    id: row.get::<_, SceneId>(0)?,
                    name: row.get(1)?,
                    tint: row.get(2)?,
                    exposure: row.get(3)?,
                })
            },
        )
    }

    /// What is said about tints in the whole film; a scene's own word wins.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn tint(&self) -> Result<Option<String>> {
        self.read(|c| c.query_row("SELECT tint FROM film WHERE id = 1", [], |row| row.get(0)))
    }

    /// Says whether tints that cameras share are kept (`keep`) or corrected (`correct`): in one scene, or in the whole film,
    /// which then holds for every scene.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_tint(&mut self, scene: Option<&Scene>, tint: &str) -> Result<()> {
        let detail = serde_json::json!({"scene": scene.map(|s| &s.name), "tint": tint});
        self.decided("tint", &detail, |t| match scene {
            Some(scene) => t.execute(
                "UPDATE scene SET tint = ?2 WHERE id = ?1",
                params![scene.id, tint],
            ),
            None => {
                t.execute("UPDATE scene SET tint = NULL", [])?;
                t.execute("UPDATE film SET tint = ?1 WHERE id = 1", params![tint])
            }
        })?;
        Ok(())
    }

    /// Says by how many stops scenes or setups are to be exposed otherwise (0: not at all; `None`: nothing is said), each by name.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_exposures(&mut self, exposures: &[(Exposed, Option<f64>)]) -> Result<()> {
        let said: Vec<_> = exposures
            .iter()
            .map(|(what, stops)| match what {
                Exposed::Scene(scene) => serde_json::json!({"scene": scene.name, "stops": stops}),
                Exposed::Setup(setup) => serde_json::json!({"setup": setup.name, "stops": stops}),
            })
            .collect();
        self.decided("exposure", &serde_json::json!({"said": said}), |t| {
            for (what, stops) in exposures {
                match what {
                    Exposed::Scene(scene) => t.execute(
                        "UPDATE scene SET exposure = ?2 WHERE id = ?1",
                        params![scene.id, stops],
                    )?,
                    Exposed::Setup(setup) => t.execute(
                        "UPDATE setup SET exposure = ?2 WHERE id = ?1",
                        params![setup.id, stops],
                    )?,
                };
            }
            Ok(())
        })?;
        Ok(())
    }

    /// The people, in the order of first mention: not those who were merged into others, nor those
    /// whom the program named and of whom nothing is left.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn people(&self) -> Result<Vec<Person>> {
        let rows: Vec<(PersonId, String, String, Option<String>, bool)> = self.rows(
            "SELECT id, name, aim, complexion, named FROM person
             WHERE into_id IS NULL AND NOT gone ORDER BY id",
            [],
            |row| {
                Ok((
                    row.get(0)?,
                    row.get(1)?,
                    row.get(2)?,
                    row.get(3)?,
                    row.get(4)?,
                ))
            },
        )?;
        rows.into_iter()
            .map(|(id, name, aim, complexion, named)| {
                Ok(Person {
                    id,
                    name,
                    aim: parse(&self.path, "person", &aim)?,
                    complexion,
                    named,
                })
            })
            .collect()
    }

    /// Sets a person's aim, and writes the decision down with the words that took it.
    ///
    /// # Errors
    /// If there is no such person, with the names that there are.
    pub fn set_aim<T: Serialize>(&mut self, name: &str, words: &str, aim: &T) -> Result<()> {
        let detail = serde_json::json!({"person": name, "aim": words});
        let changed = self.decided("aim", &detail, |t| {
            t.execute(
                "UPDATE person SET aim = ?2 WHERE name = ?1 AND into_id IS NULL AND NOT gone",
                params![name, json(aim)],
            )
        })?;
        if changed == 0 {
            return Err(FilmError::Unknown {
                kind: "person",
                name: name.to_owned(),
                known: list(self.people()?.iter().map(|p| p.name.as_str())),
            });
        }
        Ok(())
    }

    /// Keeps a patch, and its person under the default aim if they are new. A patch of the same
    /// person on the same frame is replaced; the shot's readings stay until it is read again.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn draw<S: Serialize, A: Serialize>(
        &mut self,
        shot: ShotId,
        person: &str,
        frame: u64,
        shape: &S,
        default_aim: &A,
    ) -> Result<PatchId> {
        let detail = serde_json::json!({"shot": shot, "person": person, "frame": frame});
        self.decided("patch", &detail, |t| {
            let new = t.execute(
                "INSERT OR IGNORE INTO person (name, aim, named) VALUES (?1, ?2, 0)",
                params![person, json(default_aim)],
            )?;
            // Somebody who was merged is the other one.
            let person_id: i64 = t.query_row(
                "SELECT coalesce(into_id, id) FROM person WHERE name = ?1",
                params![person],
                |row| row.get(0),
            )?;
            t.execute(
                "UPDATE person SET gone = 0, named = 1 WHERE id = ?1 AND (gone OR ?2)",
                params![person_id, new > 0],
            )?;
            t.execute(
                "INSERT INTO patch (shot_id, person_id, frame, shape) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT (shot_id, person_id, frame) DO UPDATE SET shape = excluded.shape",
                params![shot, person_id, frame, json(shape)],
            )?;
            t.query_row(
                "SELECT id FROM patch WHERE shot_id = ?1 AND person_id = ?2 AND frame = ?3",
                params![shot, person_id, frame],
                |row| row.get(0),
            )
        })
    }

    /// Takes a patch back; the shot's readings stay until it is read again.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn undraw(&mut self, patch: PatchId) -> Result<()> {
        let detail = serde_json::json!({"taken away": patch});
        self.decided("patch", &detail, |t| {
            // Of two who were merged, the patch of one may lie beneath that of the other.
            let same = "SELECT patch.id FROM patch JOIN person ON person.id = person_id
                 JOIN (SELECT shot_id AS shot, frame AS at, coalesce(into_id, person.id) AS whose
                       FROM patch JOIN person ON person.id = person_id WHERE patch.id = ?1)
                 ON shot_id = shot AND frame = at AND coalesce(into_id, person.id) = whose
                 ORDER BY patch.id";
            let patches: Vec<PatchId> = t
                .prepare(same)?
                .query_map(params![patch], |row| row.get(0))?
                .collect::<rusqlite::Result<_>>()?;
            for patch in patches {
                t.execute("DELETE FROM track WHERE patch_id = ?1", params![patch])?;
                t.execute("DELETE FROM patch WHERE id = ?1", params![patch])?;
            }
            Ok(())
        })
    }

    /// The patches of a shot, by person and frame. Where two who were merged have one on the same
    /// frame, it is that of the one who stayed.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn patches(&self, shot: ShotId) -> Result<Vec<Patch>> {
        let rows: Vec<(PatchId, PersonId, u64, String)> = self.rows(
            "SELECT patch.id, coalesce(into_id, person.id) AS whose, frame, shape
             FROM patch JOIN person ON person.id = person_id WHERE shot_id = ?1
             ORDER BY whose, frame, into_id IS NOT NULL, person.id",
            params![shot],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
        )?;
        let mut rows = rows;
        rows.dedup_by_key(|(_, person, frame, _)| (*person, *frame));
        rows.into_iter()
            .map(|(id, person, frame, shape)| {
                Ok(Patch {
                    id,
                    shot,
                    person,
                    frame,
                    shape: parse::<Value>(&self.path, "patch", &shape)?,
                })
            })
            .collect()
    }

    /// Marks a shot as kept (leave it), or no longer so, and writes the decision down. Gives whether
    /// that changes anything; nothing is written down where it does not.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_kept(&mut self, shot: ShotId, kept: bool) -> Result<bool> {
        let name = self
            .all_shots()?
            .into_iter()
            .find(|known| known.id == shot)
            .map(|known| known.name);
        let detail = serde_json::json!({"shot": name, "kept": kept});
        self.decided("keep", &detail, |t| {
            t.execute(
                "UPDATE shot SET kept = ?2 WHERE id = ?1 AND kept <> ?2",
                params![shot, kept],
            )
            .map(|changed| changed > 0)
        })
    }

    /// Says that the fix of a shot is the same in all frames, or that it may follow the light, and writes the decision down.
    /// Gives whether that is new.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_constant(&mut self, shot: &Shot, constant: bool) -> Result<bool> {
        let detail = serde_json::json!({"shot": shot.name, "constant": constant});
        self.decided("light", &detail, |t| {
            t.execute(
                "UPDATE shot SET constant = ?2 WHERE id = ?1 AND constant <> ?2",
                params![shot.id, constant],
            )
            .map(|changed| changed > 0)
        })
    }

    /// Writes down what the editor chose for a setup, in the form of the app crate; `None` takes it back. `detail` goes
    /// into the history.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_choice(
        &mut self,
        setup: SetupId,
        choice: Option<&Value>,
        detail: &Value,
    ) -> Result<()> {
        self.decided("choose", detail, |t| {
            t.execute(
                "UPDATE setup SET choice = ?2 WHERE id = ?1",
                params![setup, choice.map(Value::to_string)],
            )?;
            Ok(())
        })
    }

    /// What the editor chose for a setup, in the form of the app crate.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn choice(&self, setup: SetupId) -> Result<Option<Value>> {
        let text: Option<String> = self.read(|c| {
            c.query_row(
                "SELECT choice FROM setup WHERE id = ?1",
                params![setup],
                |row| row.get(0),
            )
            .optional()
            .map(Option::flatten)
        })?;
        text.map(|text| parse(&self.path, "setup", &text))
            .transpose()
    }

    /// The setup of a number.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn setup(&self, id: SetupId) -> Result<Option<Setup>> {
        Ok(self.setups()?.into_iter().find(|setup| setup.id == id))
    }

    /// One transaction: all of it, or nothing.
    pub(crate) fn change<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T> {
        if self.lock.is_none() {
            return Err(FilmError::ReadOnly {
                path: self.path.clone(),
            });
        }
        let path = self.path.clone();
        let database = |source| FilmError::Database {
            path: path.clone(),
            source,
        };
        let transaction = self.connection.transaction().map_err(database)?;
        let result = work(&transaction).map_err(database)?;
        transaction.commit().map_err(database)?;
        Ok(result)
    }

    /// Sets one of the database's own switches for as long as the film is open.
    pub(crate) fn pragma(&mut self, name: &str, value: bool) -> Result<()> {
        self.read(|c| c.pragma_update(None, name, value))
    }

    /// Writes the file anew without what was freed, the log included.
    pub(crate) fn rewrite(&mut self) -> Result<()> {
        self.read(|c| {
            c.execute_batch(
                "PRAGMA wal_checkpoint(TRUNCATE); VACUUM; PRAGMA wal_checkpoint(TRUNCATE);",
            )
        })
    }

    pub(crate) fn read<T>(
        &self,
        work: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T> {
        work(&self.connection).map_err(|source| FilmError::Database {
            path: self.path.clone(),
            source,
        })
    }

    pub(crate) fn rows<T>(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
        map: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>> {
        self.read(|c| c.prepare_cached(sql)?.query_map(values, map)?.collect())
    }
}

pub(crate) fn json<T: Serialize>(value: &T) -> String {
    serde_json::to_string(value).expect("stored values serialise")
}

pub(crate) fn parse<T: DeserializeOwned>(
    path: &Path,
    table: &'static str,
    text: &str,
) -> Result<T> {
    serde_json::from_str(text).map_err(|error| damaged(path, table, error.to_string()))
}

/// A value that may be missing: null then.
pub(crate) fn optional(path: &Path, table: &'static str, text: Option<String>) -> Result<Value> {
    text.map_or(Ok(Value::Null), |text| parse(path, table, &text))
}

pub(crate) fn damaged(path: &Path, table: &'static str, reason: String) -> FilmError {
    FilmError::Damaged {
        path: path.to_owned(),
        table,
        reason,
    }
}

fn list<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<_> = names.collect();
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join(", ")
    }
}
