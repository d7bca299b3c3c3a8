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
    /// Whether it holds.
    pub state: DecisionState,
    /// Whether it changed anything that can be taken back.
    pub undoable: bool,
}

/// Whether a decision holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DecisionState {
    /// It holds.
    Done,
    /// It was taken back, and can be taken again.
    Undone,
    /// It was taken back, and something else was decided after that.
    Replaced,
}

impl Film {
    /// Writes a decision down that cannot be undone. What was undone before it cannot be taken again
    /// any more.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn decide<T: Serialize>(&mut self, verb: &str, detail: &T) -> Result<()> {
        self.change(|t| {
            write_down(t, verb, detail)?;
            t.execute(
                "UPDATE decision SET state = 'replaced' WHERE state = 'undone'",
                [],
            )?;
            Ok(())
        })
    }

    /// Every decision, oldest first.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub fn decisions(&self) -> Result<Vec<Decision>> {
        let rows: Vec<(i64, i64, String, String, String, bool)> = self.rows(
            "SELECT id, at_s, verb, detail, state,
                 EXISTS (SELECT 1 FROM undo_step WHERE decision_id = decision.id)
             FROM decision ORDER BY id",
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
            .map(|(id, at_s, verb, detail, state, undoable)| {
                Ok(Decision {
                    id,
                    at_s,
                    verb,
                    detail: parse(self.path(), "decision", &detail)?,
                    state: match state.as_str() {
                        "undone" => DecisionState::Undone,
                        "replaced" => DecisionState::Replaced,
                        _ => DecisionState::Done,
                    },
                    undoable,
                })
            })
            .collect()
    }
}

/// Writes a decision down and gives its number.
pub(crate) fn write_down<T: Serialize>(
    t: &Transaction<'_>,
    verb: &str,
    detail: &T,
) -> rusqlite::Result<i64> {
    t.execute(
        "INSERT INTO decision (at_s, verb, detail) VALUES (?1, ?2, ?3)",
        params![now_s(), verb, json(detail)],
    )?;
    Ok(t.last_insert_rowid())
}

/// Seconds since 1970-01-01 UTC.
pub(crate) fn now_s() -> i64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |d| i64::try_from(d.as_secs()).unwrap_or(i64::MAX))
}
