//! The film file: model, schema, history.
//!
//! One film is one SQLite file, `NAME.inkarnat`. It remembers sources by path and fingerprint and
//! never writes to them. One process writes at a time; others may read. Every change is one
//! transaction, so a film that was being written when its process was killed opens with everything
//! that had been committed, and steps go on from there: a step's results are kept together with a
//! key of what went into them, and are not made again while the key is the same.
//!
//! Measurements and fixes are kept as their serialised form; their types belong to the crates that
//! make them.
#![forbid(unsafe_code)]
#![allow(
    clippy::disallowed_methods,
    reason = "this crate reads and writes files"
)]

mod cutting;
mod error;
mod faces;
mod fingerprint;
mod history;
mod lock;
mod model;
mod pack;
mod results;
mod schema;
mod store;
mod transforms;
mod undo;

pub use error::{FilmError, Result};
pub use faces::{Face, FaceLink, NewFace, Question, Said};
pub use fingerprint::{Fingerprint, InputKey};
pub use history::{Decision, DecisionState};
pub use lock::lock_path;
pub use model::{
    CutRecord, DecisionId, Deliverable, Exposed, FaceId, GroupedByHand, NewSource, Patch, PatchId,
    Person, PersonId, Place, Scene, SceneId, Setup, SetupId, Shot, ShotId, Source, SourceId, Stage,
    Step, StepOutcome, StepRecord, VersionRecord,
};
pub use pack::{Packed, Stored};
pub use results::{PatchTrack, PersonReading, ReadResult, value_of};
pub use schema::{APPLICATION_ID, SCHEMA_VERSION};
pub use store::Film;
pub use transforms::{NewTransform, SceneLook, Transform};
