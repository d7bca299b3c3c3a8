//! Input transforms of clips, and looks.
//!
//! The operations of a file are kept in the film, so that it stays whole when the file is moved or changed.

use crate::fingerprint::InputKey;
use crate::store::{Film, damaged};
use crate::{Packed, Result, Scene, Source, SourceId};
use rusqlite::{OptionalExtension, Transaction, params};
use serde::de::DeserializeOwned;
use serde_json::Value;

/// A file whose operations are kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Transform {
    /// Its number.
    pub id: i64,
    /// The file's name.
    pub name: String,
    /// Key of the operations: the same ones have the same key.
    pub key: InputKey,
}

/// A file about to be kept.
#[derive(Clone, Debug)]
pub struct NewTransform {
    /// The file's name.
    pub name: String,
    /// Key of the operations.
    pub key: InputKey,
    /// The operations, in the form of the app crate.
    pub ops: Packed,
}

/// Which look a scene has.
#[derive(Clone, Debug, PartialEq)]
pub enum SceneLook {
    /// That of the film.
    OfFilm,
    /// None, whatever the film has.
    None,
    /// Its own.
    Own(Transform),
}

const COLUMNS: &str = "transform.id, transform.name, transform.input_key";

fn transform(row: &rusqlite::Row<'_>, from: usize) -> rusqlite::Result<Transform> {
    Ok(Transform {
        id: row.get(from)?,
        name: row.get(from + 1)?,
        key: InputKey(row.get(from + 2)?),
    })
}

/// The number of a transform, which is kept if it is not yet. Rows of this table are never taken away: going back in the
/// history needs them.
fn kept(t: &Transaction<'_>, new: &NewTransform) -> rusqlite::Result<i64> {
    t.execute(
        "INSERT OR IGNORE INTO transform (name, input_key, ops) VALUES (?1, ?2, ?3)",
        params![new.name, new.key.0, new.ops.0],
    )?;
    t.query_row(
        "SELECT id FROM transform WHERE name = ?1 AND input_key = ?2",
        params![new.name, new.key.0],
        |row| row.get(0),
    )
}

impl Film {
    /// What brings a clip's own signal to the working signal; `None` where it is that already.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn input_of(&self, source: SourceId) -> Result<Option<Transform>> {
        self.read(|c| {
            c.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM source_input JOIN transform ON transform.id = transform_id
                 WHERE source_id = ?1"
            ))?
            .query_row(params![source], |row| transform(row, 0))
            .optional()
        })
    }

    /// Gives clips an input transform; `None` takes it away. `detail` goes into the history.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_input(
        &mut self,
        sources: &[&Source],
        input: Option<&NewTransform>,
        detail: &Value,
    ) -> Result<()> {
        self.decided("input", detail, |t| {
            let id = input.map(|input| kept(t, input)).transpose()?;
            for source in sources {
                let known: Option<i64> = t
                    .query_row(
                        "SELECT transform_id FROM source_input WHERE source_id = ?1",
                        params![source.id],
                        |row| row.get(0),
                    )
                    .optional()?;
                match (known, id) {
                    (Some(_), None) => t.execute(
                        "DELETE FROM source_input WHERE source_id = ?1",
                        params![source.id],
                    )?,
                    (Some(known), Some(id)) if known != id => t.execute(
                        "UPDATE source_input SET transform_id = ?2 WHERE source_id = ?1",
                        params![source.id, id],
                    )?,
                    (None, Some(id)) => t.execute(
                        "INSERT INTO source_input (source_id, transform_id) VALUES (?1, ?2)",
                        params![source.id, id],
                    )?,
                    _ => 0,
                };
            }
            Ok(())
        })
    }

    /// The look of the film, for scenes that say nothing else.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn look(&self) -> Result<Option<Transform>> {
        self.read(|c| {
            c.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM film JOIN transform ON transform.id = look_id WHERE film.id = 1"
            ))?
            .query_row([], |row| transform(row, 0))
            .optional()
        })
    }

    /// What is said about the look of a scene.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn scene_look(&self, scene: crate::SceneId) -> Result<SceneLook> {
        self.read(|c| {
            c.prepare_cached(&format!(
                "SELECT look_id, {COLUMNS} FROM scene LEFT JOIN transform ON transform.id = look_id
                 WHERE scene.id = ?1"
            ))?
            .query_row(params![scene], |row| {
                Ok(match row.get::<_, Option<i64>>(0)? {
                    None => SceneLook::OfFilm,
                    Some(0) => SceneLook::None,
                    Some(_) => SceneLook::Own(transform(row, 1)?),
                })
            })
            .optional()
        })
        .map(|look| look.unwrap_or(SceneLook::OfFilm))
    }

    /// Gives a scene, or the film, a look. For a scene, `None` means none even where the film has one, and `of_film` that it
    /// says nothing of its own any more. `detail` goes into the history.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn set_look(
        &mut self,
        scene: Option<&Scene>,
        look: Option<&NewTransform>,
        of_film: bool,
        detail: &Value,
    ) -> Result<()> {
        self.decided("look", detail, |t| {
            let id = look.map(|look| kept(t, look)).transpose()?;
            match scene {
                None => t.execute("UPDATE film SET look_id = ?1 WHERE id = 1", params![id]),
                Some(scene) => t.execute(
                    "UPDATE scene SET look_id = ?2 WHERE id = ?1",
                    params![scene.id, if of_film { None } else { id.or(Some(0)) }],
                ),
            }
        })?;
        Ok(())
    }

    /// The operations of a transform.
    ///
    /// # Errors
    /// If the film cannot be read or they do not fit the type.
    pub fn operations<T: DeserializeOwned>(&self, of: &Transform) -> Result<T> {
        self.packed(
            "transform",
            "SELECT ops FROM transform WHERE id = ?1",
            params![of.id],
        )?
        .ok_or_else(|| damaged(self.path(), "transform", format!("{} is missing", of.name)))
    }
}
