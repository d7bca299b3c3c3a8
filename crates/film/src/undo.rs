//! Going back in the history of decisions, and forward again.
//!
//! While a decision is being written, triggers note for every value that it changes in the tables
//! of [`TABLES`] the statement that puts the old value back (the method that SQLite's own
//! documentation describes under "Automatic Undo/Redo"). Going back runs those statements, newest
//! first, and notes in the same way how to go forward again.
//!
//! Rows that results hang on (shots, setups, scenes, people) are never taken away again: a shot
//! that is not in the cut has a position of 0 or less, a setup or scene without shots is not shown,
//! nor is somebody who was merged or of whom nothing is left. Their making is not noted, only what is
//! changed in them.

use crate::faces::{mark_gone, name_somebodies};
use crate::history::write_down;
use crate::store::Film;
use crate::{Decision, DecisionId, Result};
use rusqlite::{Connection, OptionalExtension, Transaction, params};
use serde::Serialize;

/// Tables that hold decisions, each with an INTEGER PRIMARY KEY, and whether a row that a decision
/// makes is taken away when it is undone.
const TABLES: &[(&str, bool)] = &[
    ("film", false),
    ("scene", false),
    ("setup", false),
    ("shot", false),
    ("person", false),
    ("patch", true),
    ("editor_note", true),
    ("source_input", true),
    ("question", false),
];

/// What was said about two faces has no row number: it is put back by its pair, unless one of the two
/// is gone.
const FACE_LINKS: &str = "
    CREATE TEMP TRIGGER undo_insert_face_link AFTER INSERT ON main.face_link
    WHEN (SELECT decision_id FROM deciding) IS NOT NULL BEGIN
        INSERT INTO undo_step (decision_id, statement)
        SELECT (SELECT decision_id FROM deciding),
            'DELETE FROM face_link WHERE first = ' || NEW.first || ' AND second = ' || NEW.second;
    END;
    CREATE TEMP TRIGGER undo_update_face_link AFTER UPDATE ON main.face_link
    WHEN (SELECT decision_id FROM deciding) IS NOT NULL AND OLD.same IS NOT NEW.same BEGIN
        INSERT INTO undo_step (decision_id, statement)
        SELECT (SELECT decision_id FROM deciding),
            'UPDATE face_link SET same = ' || OLD.same ||
            ' WHERE first = ' || NEW.first || ' AND second = ' || NEW.second;
    END;
    CREATE TEMP TRIGGER undo_delete_face_link AFTER DELETE ON main.face_link
    WHEN (SELECT decision_id FROM deciding) IS NOT NULL BEGIN
        INSERT INTO undo_step (decision_id, statement)
        SELECT (SELECT decision_id FROM deciding),
            'INSERT OR IGNORE INTO face_link (first, second, same) SELECT ' ||
            OLD.first || ', ' || OLD.second || ', ' || OLD.same ||
            ' WHERE EXISTS (SELECT 1 FROM face WHERE id = ' || OLD.first ||
            ') AND EXISTS (SELECT 1 FROM face WHERE id = ' || OLD.second || ')';
    END;
";

/// Whose face it is follows from decisions; who is named there may be gone. Fixes and proofs are
/// results: their names of people are put back as long as they are still those results.
const FOLLOWING: &str = "
    CREATE TEMP TRIGGER undo_update_face AFTER UPDATE ON main.face
    WHEN (SELECT decision_id FROM deciding) IS NOT NULL AND (OLD.person_id IS NOT NEW.person_id
        OR OLD.role IS NOT NEW.role OR OLD.decided IS NOT NEW.decided) BEGIN
        INSERT INTO undo_step (decision_id, statement)
        SELECT (SELECT decision_id FROM deciding),
            'UPDATE face SET role = ' || quote(OLD.role) || ', decided = ' || OLD.decided ||
            ', person_id = ' || quote(OLD.person_id) || ' WHERE id = ' || OLD.id;
    END;
    CREATE TEMP TRIGGER undo_update_fix AFTER UPDATE OF solution ON main.fix
    WHEN (SELECT decision_id FROM deciding) IS NOT NULL BEGIN
        INSERT INTO undo_step (decision_id, statement)
        SELECT (SELECT decision_id FROM deciding),
            'UPDATE fix SET solution = ' || quote(OLD.solution) || ' WHERE setup_id = ' ||
            OLD.setup_id || ' AND input_key = ' || quote(OLD.input_key);
    END;
    CREATE TEMP TRIGGER undo_update_proof AFTER UPDATE OF proof ON main.proof
    WHEN (SELECT decision_id FROM deciding) IS NOT NULL BEGIN
        INSERT INTO undo_step (decision_id, statement)
        SELECT (SELECT decision_id FROM deciding),
            'UPDATE proof SET proof = ' || quote(OLD.proof) || ' WHERE shot_id = ' ||
            OLD.shot_id || ' AND input_key = ' || quote(OLD.input_key);
    END;
";

/// Sets up the triggers for this connection.
pub(crate) fn watch(connection: &Connection) -> rusqlite::Result<()> {
    for (table, made) in TABLES {
        let columns: Vec<String> = connection
            .prepare(&format!("PRAGMA table_info({table})"))?
            .query_map([], |row| row.get(1))?
            .collect::<rusqlite::Result<_>>()?;
        let noted = "INSERT INTO undo_step (decision_id, statement)
                     SELECT (SELECT decision_id FROM deciding),";
        let when = "WHEN (SELECT decision_id FROM deciding) IS NOT NULL";
        // All columns in one statement: between two of them a CHECK might not hold.
        let changed: Vec<String> = columns
            .iter()
            .map(|c| {
                format!(
                    "CASE WHEN OLD.{c} IS NOT NEW.{c} THEN ', {c} = ' || quote(OLD.{c}) ELSE '' END"
                )
            })
            .collect();
        let differs: Vec<String> = columns
            .iter()
            .map(|c| format!("OLD.{c} IS NOT NEW.{c}"))
            .collect();
        let updates = format!(
            "{noted} 'UPDATE {table} SET ' || substr({}, 3) || ' WHERE rowid = ' || OLD.rowid
             WHERE {};",
            changed.join(" || "),
            differs.join(" OR "),
        );
        let values: Vec<String> = columns.iter().map(|c| format!("quote(OLD.{c})")).collect();
        connection.execute_batch(&format!(
            "CREATE TEMP TRIGGER undo_update_{table} AFTER UPDATE ON main.{table} {when}
             BEGIN {updates} END;
             CREATE TEMP TRIGGER undo_delete_{table} AFTER DELETE ON main.{table} {when}
             BEGIN {noted} 'INSERT INTO {table} ({names}) VALUES (' || {values} || ')'; END;",
            names = columns.join(", "),
            values = values.join(" || ', ' || "),
        ))?;
        if *made {
            connection.execute_batch(&format!(
                "CREATE TEMP TRIGGER undo_insert_{table} AFTER INSERT ON main.{table} {when}
                 BEGIN {noted} 'DELETE FROM {table} WHERE rowid = ' || NEW.rowid; END;"
            ))?;
        }
    }
    connection.execute_batch(FACE_LINKS)?;
    connection.execute_batch(FOLLOWING)
}

fn noting(t: &Transaction<'_>, decision: Option<i64>) -> rusqlite::Result<()> {
    t.execute("UPDATE deciding SET decision_id = ?1", params![decision])?;
    Ok(())
}

fn steps_of(t: &Transaction<'_>, decision: i64) -> rusqlite::Result<Vec<String>> {
    t.prepare("SELECT statement FROM undo_step WHERE decision_id = ?1 ORDER BY id DESC")?
        .query_map(params![decision], |row| row.get(0))?
        .collect()
}

impl Film {
    /// A decision with the changes that it makes: one transaction, which can be undone as a whole.
    /// Where nothing is changed, nothing is written down.
    pub(crate) fn decided<T, D: Serialize>(
        &mut self,
        verb: &str,
        detail: &D,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T> {
        Ok(self.decided_as(verb, detail, work)?.1)
    }

    /// The same; gives the decision's number too, where anything was changed.
    pub(crate) fn decided_as<T, D: Serialize>(
        &mut self,
        verb: &str,
        detail: &D,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<(Option<DecisionId>, T)> {
        self.change(|t| {
            let decision = write_down(t, verb, detail)?;
            noting(t, Some(decision))?;
            let result = work(t)?;
            noting(t, None)?;
            if steps_of(t, decision)?.is_empty() {
                t.execute("DELETE FROM decision WHERE id = ?1", params![decision])?;
                return Ok((None, result));
            }
            // What was undone before stays in the history, but there is no way forward to it.
            t.execute(
                "UPDATE decision SET state = 'replaced' WHERE state = 'undone'",
                [],
            )?;
            Ok((Some(DecisionId(decision)), result))
        })
    }

    /// What follows from a decision, to be taken back with it; from none, it is no decision's.
    pub(crate) fn following<T>(
        &mut self,
        decision: Option<DecisionId>,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T> {
        self.change(|t| {
            noting(t, decision.map(|decision| decision.0))?;
            let result = work(t)?;
            noting(t, None)?;
            Ok(result)
        })
    }

    /// Takes the last decision back; `None` where there is none left. The history keeps it.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn undo(&mut self) -> Result<Option<Decision>> {
        self.go(
            "SELECT max(id) FROM decision WHERE state = 'done'
             AND EXISTS (SELECT 1 FROM undo_step WHERE decision_id = decision.id)",
            "undone",
        )
    }

    /// Takes the last decision that was undone again; `None` where there is none, or where
    /// something else has been decided since.
    ///
    /// # Errors
    /// If the film cannot be written.
    pub fn redo(&mut self) -> Result<Option<Decision>> {
        self.go(
            "SELECT min(id) FROM decision WHERE state = 'undone'",
            "done",
        )
    }

    fn go(&mut self, which: &str, state: &str) -> Result<Option<Decision>> {
        let found = self.change(|t| {
            let id: Option<i64> = t
                .query_row(which, [], |row| row.get(0))
                .optional()?
                .flatten();
            let Some(id) = id else { return Ok(None) };
            let steps = steps_of(t, id)?;
            t.execute("DELETE FROM undo_step WHERE decision_id = ?1", params![id])?;
            // A name that is put back may be one that the program has given to somebody else since.
            t.execute(
                "UPDATE person SET name = ' ' || id || ' ' || name WHERE named = 0",
                [],
            )?;
            noting(t, Some(id))?;
            for step in steps {
                t.execute(&step, [])?;
            }
            noting(t, None)?;
            t.execute(
                "UPDATE OR IGNORE person SET name = substr(name, length(id) + 3)
                 WHERE name GLOB ' ' || id || ' *'",
                [],
            )?;
            mark_gone(t)?;
            name_somebodies(t)?;
            t.execute(
                "UPDATE decision SET state = ?2 WHERE id = ?1",
                params![id, state],
            )?;
            Ok(Some(id))
        })?;
        let Some(id) = found else { return Ok(None) };
        Ok(self.decisions()?.into_iter().find(|d| d.id == id))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every table of decisions is one that the triggers can put back by its row number.
    #[test]
    fn every_table_of_decisions_has_a_row_number() {
        let directory = tempfile::tempdir().unwrap();
        let film = Film::create(
            &directory.path().join("f.inkarnat"),
            "f",
            inkarnat_color::WorkingSpace::default(),
        )
        .unwrap();
        for (table, _) in TABLES {
            let keys: i64 = film
                .read(|c| {
                    c.query_row(
                        &format!(
                            "SELECT count(*) FROM pragma_table_info('{table}')
                             WHERE pk = 1 AND type = 'INTEGER'"
                        ),
                        [],
                        |row| row.get(0),
                    )
                })
                .unwrap();
            assert_eq!(keys, 1, "{table}");
        }
    }
}
