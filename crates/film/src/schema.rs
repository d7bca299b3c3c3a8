//! The tables, and how they came to be.

use crate::{FilmError, Result};
use rusqlite::Connection;
use std::path::Path;

/// Marks a film file among SQLite files: "INKA".
pub const APPLICATION_ID: i64 = 0x494E_4B41;

/// The newest schema that this program knows.
pub const SCHEMA_VERSION: i64 = MIGRATIONS.len() as i64;

/// Each brings the schema one version up. Only ever added to: a film of any version opens.
const MIGRATIONS: &[&str] = &[
    "
    CREATE TABLE film (
        id            INTEGER PRIMARY KEY CHECK (id = 1),
        name          TEXT NOT NULL,
        working_space TEXT NOT NULL
    ) STRICT;
    CREATE TABLE source (
        id          INTEGER PRIMARY KEY,
        path        TEXT NOT NULL,
        absolute    TEXT NOT NULL UNIQUE,
        fingerprint TEXT NOT NULL,
        frames      INTEGER NOT NULL,
        probe       TEXT NOT NULL
    ) STRICT;
    CREATE TABLE scene (
        id   INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE
    ) STRICT;
    CREATE TABLE setup (
        id       INTEGER PRIMARY KEY,
        name     TEXT NOT NULL UNIQUE,
        scene_id INTEGER NOT NULL REFERENCES scene (id)
    ) STRICT;
    CREATE TABLE shot (
        id        INTEGER PRIMARY KEY,
        position  INTEGER NOT NULL UNIQUE,
        name      TEXT NOT NULL UNIQUE,
        source_id INTEGER NOT NULL REFERENCES source (id),
        in_frame  INTEGER NOT NULL CHECK (in_frame >= 0),
        out_frame INTEGER NOT NULL CHECK (out_frame > in_frame),
        setup_id  INTEGER NOT NULL REFERENCES setup (id),
        kept      INTEGER NOT NULL DEFAULT 0
    ) STRICT;
    CREATE TABLE person (
        id   INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE,
        aim  TEXT NOT NULL
    ) STRICT;
    CREATE TABLE patch (
        id        INTEGER PRIMARY KEY,
        shot_id   INTEGER NOT NULL REFERENCES shot (id),
        person_id INTEGER NOT NULL REFERENCES person (id),
        frame     INTEGER NOT NULL,
        shape     TEXT NOT NULL,
        UNIQUE (shot_id, person_id, frame)
    ) STRICT;
    CREATE TABLE step (
        shot_id   INTEGER NOT NULL REFERENCES shot (id),
        step      TEXT NOT NULL,
        input_key TEXT NOT NULL,
        failure   TEXT,
        PRIMARY KEY (shot_id, step)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE track (
        patch_id INTEGER PRIMARY KEY REFERENCES patch (id) ON DELETE CASCADE,
        poses    BLOB NOT NULL
    ) STRICT;
    CREATE TABLE frame_reading (
        shot_id   INTEGER NOT NULL REFERENCES shot (id),
        person_id INTEGER NOT NULL REFERENCES person (id),
        stage     TEXT NOT NULL,
        frames    BLOB NOT NULL,
        PRIMARY KEY (shot_id, person_id, stage)
    ) STRICT;
    CREATE TABLE shot_reading (
        shot_id   INTEGER NOT NULL REFERENCES shot (id),
        person_id INTEGER NOT NULL REFERENCES person (id),
        stage     TEXT NOT NULL,
        reading   TEXT NOT NULL,
        PRIMARY KEY (shot_id, person_id, stage)
    ) STRICT;
    -- person_id 0: the picture as a whole.
    CREATE TABLE sample (
        shot_id   INTEGER NOT NULL REFERENCES shot (id),
        person_id INTEGER NOT NULL,
        sample    BLOB NOT NULL,
        PRIMARY KEY (shot_id, person_id)
    ) STRICT;
    CREATE TABLE shot_note (
        shot_id INTEGER PRIMARY KEY REFERENCES shot (id),
        notes   TEXT NOT NULL
    ) STRICT;
    CREATE TABLE fix (
        setup_id  INTEGER PRIMARY KEY REFERENCES setup (id),
        input_key TEXT NOT NULL,
        chosen    TEXT NOT NULL,
        solution  TEXT NOT NULL
    ) STRICT;
    CREATE TABLE fix_reach (
        setup_id INTEGER NOT NULL REFERENCES fix (setup_id) ON DELETE CASCADE,
        reach    TEXT NOT NULL,
        fix      TEXT NOT NULL,
        PRIMARY KEY (setup_id, reach)
    ) STRICT;
    CREATE TABLE deliverable (
        path        TEXT PRIMARY KEY,
        kind        TEXT NOT NULL,
        shot_id     INTEGER REFERENCES shot (id),
        fingerprint TEXT NOT NULL,
        input_key   TEXT NOT NULL,
        detail      TEXT NOT NULL
    ) STRICT;
    CREATE TABLE proof (
        shot_id   INTEGER PRIMARY KEY REFERENCES shot (id),
        input_key TEXT NOT NULL,
        proof     TEXT NOT NULL
    ) STRICT;
    CREATE TABLE decision (
        id     INTEGER PRIMARY KEY,
        at_s   INTEGER NOT NULL,
        verb   TEXT NOT NULL,
        detail TEXT NOT NULL
    ) STRICT;
",
    FACES,
    CHOICES,
    CUTS,
    TINTS,
    BY_HAND,
    EXPOSURES,
    CONSTANT,
    TRANSFORMS,
    PROGRAMMES,
];

/// Faces found, who they are, what is asked about them.
const FACES: &str = "
    -- 0: faces are not looked for unless asked (switched off, or erased).
    ALTER TABLE film ADD COLUMN faces INTEGER NOT NULL DEFAULT 1;
    ALTER TABLE person ADD COLUMN complexion TEXT;
    -- 0: the name is the program's own.
    ALTER TABLE person ADD COLUMN named INTEGER NOT NULL DEFAULT 1;
    -- Numbers are never used again: questions are about them.
    CREATE TABLE face (
        id        INTEGER PRIMARY KEY AUTOINCREMENT,
        shot_id   INTEGER NOT NULL REFERENCES shot (id),
        position  INTEGER NOT NULL,
        person_id INTEGER REFERENCES person (id),
        role      TEXT NOT NULL,
        decided   INTEGER NOT NULL DEFAULT 0,
        facts     TEXT NOT NULL,
        track     BLOB NOT NULL,
        embedding BLOB NOT NULL
    ) STRICT;
    CREATE INDEX face_of_shot ON face (shot_id, position);
    CREATE TABLE face_reading (
        face_id INTEGER PRIMARY KEY REFERENCES face (id) ON DELETE CASCADE,
        frames  BLOB NOT NULL,
        sample  BLOB NOT NULL
    ) STRICT;
    CREATE TABLE face_link (
        first  INTEGER NOT NULL REFERENCES face (id) ON DELETE CASCADE,
        second INTEGER NOT NULL REFERENCES face (id) ON DELETE CASCADE,
        same   INTEGER NOT NULL,
        PRIMARY KEY (first, second)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE question (
        id     INTEGER PRIMARY KEY,
        about  TEXT NOT NULL UNIQUE,
        asked  TEXT NOT NULL,
        answer TEXT
    ) STRICT;
    -- Shots whose face data was erased, with the key of the finding that their readings rest on.
    CREATE TABLE erased (
        shot_id   INTEGER PRIMARY KEY REFERENCES shot (id),
        input_key TEXT NOT NULL
    ) STRICT;
";

/// What the editor chose for a setup in place of the rule's choice; null: the rule's.
const CHOICES: &str = "ALTER TABLE setup ADD COLUMN choice TEXT;";

/// Cuts, versions, notes, and a history that can be gone back in.
const CUTS: &str = "
    -- A shot at a position of 0 or less is not in the cut; it keeps its decisions and results.
    ALTER TABLE shot ADD COLUMN used TEXT;
    ALTER TABLE source ADD COLUMN seen TEXT;
    ALTER TABLE film ADD COLUMN cut_id INTEGER;
    ALTER TABLE decision ADD COLUMN state TEXT NOT NULL DEFAULT 'done';
    CREATE TABLE deciding (
        id          INTEGER PRIMARY KEY CHECK (id = 1),
        decision_id INTEGER
    ) STRICT;
    INSERT INTO deciding (id) VALUES (1);
    CREATE TABLE undo_step (
        id          INTEGER PRIMARY KEY AUTOINCREMENT,
        decision_id INTEGER NOT NULL REFERENCES decision (id),
        statement   TEXT NOT NULL
    ) STRICT;
    CREATE INDEX undo_step_decision ON undo_step (decision_id);
    CREATE TABLE editor_note (
        shot_id INTEGER PRIMARY KEY REFERENCES shot (id),
        text    TEXT NOT NULL
    ) STRICT;
    CREATE TABLE cut (
        id     INTEGER PRIMARY KEY,
        at_s   INTEGER NOT NULL,
        origin TEXT NOT NULL,
        list   BLOB NOT NULL
    ) STRICT;
    CREATE TABLE version (
        id     INTEGER PRIMARY KEY,
        name   TEXT NOT NULL UNIQUE,
        at_s   INTEGER NOT NULL,
        cut_id INTEGER,
        detail BLOB NOT NULL
    ) STRICT;
    -- The source frames that were read of a shot: it may be cut shorter since.
    CREATE TABLE read_span (
        shot_id   INTEGER PRIMARY KEY REFERENCES shot (id),
        input_key TEXT NOT NULL,
        in_frame  INTEGER NOT NULL,
        out_frame INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE signature (
        shot_id   INTEGER PRIMARY KEY REFERENCES shot (id),
        input_key TEXT NOT NULL,
        signature TEXT NOT NULL
    ) STRICT;
";

/// Whether the tint that cameras of a scene share is meant so: `keep`, `correct`, null: nobody has said.
const TINTS: &str = "
    ALTER TABLE film ADD COLUMN tint TEXT;
    ALTER TABLE scene ADD COLUMN tint TEXT;
";

/// What the editor has grouped: no suggestion changes it. Of films made before, the history knows.
const BY_HAND: &str = "
    ALTER TABLE shot ADD COLUMN setup_by_hand INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE shot ADD COLUMN scene_by_hand INTEGER NOT NULL DEFAULT 0;
    UPDATE shot SET setup_by_hand = 1 WHERE name IN (
        SELECT value FROM decision, json_each(detail, '$.shots')
        WHERE verb = 'group' AND state = 'done' AND json_type(detail, '$.setup') = 'text');
    UPDATE shot SET scene_by_hand = 1 WHERE name IN (
        SELECT value FROM decision, json_each(detail, '$.shots')
        WHERE verb = 'group' AND state = 'done' AND json_type(detail, '$.scene') = 'text');
";

/// The change of exposure that was accepted or typed, in stops: 0 = declined, null: nobody has said.
const EXPOSURES: &str = "
    ALTER TABLE scene ADD COLUMN exposure REAL;
    ALTER TABLE setup ADD COLUMN exposure REAL;
";

/// Shots of which the editor says that their fix does not follow the light.
const CONSTANT: &str = "ALTER TABLE shot ADD COLUMN constant INTEGER NOT NULL DEFAULT 0;";

/// Input transforms of clips, looks of scenes and of the film. `scene.look_id`: null: the film's, 0: none.
const TRANSFORMS: &str = "
    CREATE TABLE transform (
        id        INTEGER PRIMARY KEY,
        name      TEXT NOT NULL,
        input_key TEXT NOT NULL,
        ops       BLOB NOT NULL,
        UNIQUE (name, input_key)
    ) STRICT;
    CREATE TABLE source_input (
        source_id    INTEGER PRIMARY KEY REFERENCES source (id),
        transform_id INTEGER NOT NULL REFERENCES transform (id)
    ) STRICT;
    ALTER TABLE film ADD COLUMN look_id INTEGER;
    ALTER TABLE scene ADD COLUMN look_id INTEGER;
";

/// Finished programmes that were held against the film, and what came of it.
const PROGRAMMES: &str = "
    CREATE TABLE programme (
        id    INTEGER PRIMARY KEY,
        path  TEXT NOT NULL UNIQUE,
        at_s  INTEGER NOT NULL,
        proof BLOB NOT NULL
    ) STRICT;
";

/// Sets the connection up and says whether the file is a film.
pub(crate) fn check(connection: &Connection, path: &Path) -> Result<i64> {
    let wrap = |source: rusqlite::Error| match source.sqlite_error_code() {
        Some(rusqlite::ErrorCode::NotADatabase) => FilmError::NotAFilm {
            path: path.to_owned(),
            found: "not an SQLite file".to_owned(),
        },
        _ => FilmError::Database {
            path: path.to_owned(),
            source,
        },
    };
    let read = |pragma: &str| {
        connection
            .pragma_query_value(None, pragma, |row| row.get::<_, i64>(0))
            .map_err(wrap)
    };
    let application = read("application_id")?;
    if application != APPLICATION_ID {
        return Err(FilmError::NotAFilm {
            path: path.to_owned(),
            found: format!("an SQLite file of something else, application id {application:#010x}"),
        });
    }
    let version = read("user_version")?;
    if version > SCHEMA_VERSION {
        return Err(FilmError::TooNew {
            path: path.to_owned(),
            found: version,
            known: SCHEMA_VERSION,
        });
    }
    Ok(version)
}

/// Brings a film from `version` to the newest schema, each step in its own transaction.
pub(crate) fn migrate(connection: &mut Connection, version: i64) -> rusqlite::Result<()> {
    for (index, migration) in MIGRATIONS.iter().enumerate().skip(version as usize) {
        let transaction = connection.transaction()?;
        transaction.execute_batch(migration)?;
        transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
        transaction.pragma_update(None, "user_version", index as i64 + 1)?;
        transaction.commit()?;
    }
    Ok(())
}
