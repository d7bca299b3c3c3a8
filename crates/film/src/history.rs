//! What the editor decided, and when.

use crate::store::{Film, parse};
use crate::{Result, store::json};
use rusqlite::{Transaction, params};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::time::{SystemTime, UNIX_EPOCH};

/// One decision.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// Its number; later ones are larger.
    pub id: i64,
    /// Seconds since 1970-01-01 UTC.
    pub at_s: i64,
    /// The verb that took it.
    pub verb: String,
    /// What was decided.
    pub detail: Value,
}

impl Film {
    /// Writes a decision down.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn decide<T: Serialize>(&mut self, verb: &str, detail: &T) -> Result<()> {
        self.change(|t| write_down(t, verb, detail))
    }

    /// Every decision, oldest first.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn decisions(&self) -> Result<Vec<Decision>> {
        let rows: Vec<(i64, i64, String, String)> = self.rows(
            "SELECT id, at_s, verb, detail FROM decision ORDER BY id",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
        )?;
        rows.into_iter()
            .map(|(id, at_s, verb, detail)| {
                Ok(Decision {
                    id,
                    at_s,
                    verb,
                    detail: parse(self.path(), "decision", &detail)?,
                })
            })
            .collect()
    }
}

/// Writes a decision down together with what it changes.
pub(crate) fn write_down<T: Serialize>(
    t: &Transaction<'_>,
    verb: &str,
    detail: &T,
) -> rusqlite::Result<()> {
    let now = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |d| i64::try_from(d.as_secs()).unwrap_or(i64::MAX));
    t.execute(
        "INSERT INTO decision (at_s, verb, detail) VALUES (?1, ?2, ?3)",
        params![now, verb, json(detail)],
    )?;
    Ok(())
}
