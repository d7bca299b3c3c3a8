//! Use cases and jobs: everything that the command line (and later the page) does, as functions on
//! a film.
//!
//! - [`take_in`], [`read_film`], [`fix_film`], [`hand_over`], [`prove_film`] and [`run`] are the
//!   steps; [`report`] says how the film stands.
//! - A clip's own work (looking at it, reading, rendering, proving) is a [`job::Job`], done by a
//!   child process of the same binary ([`worker`]); the parent alone writes the film file.
//! - Something wrong with one clip is a [`Problem`] in the step's list, and the other clips go on.
#![forbid(unsafe_code)]
#![allow(
    clippy::disallowed_methods,
    reason = "this crate reads and writes files"
)]

mod clip;
mod error;
pub mod event;
mod exports;
mod faces;
mod files;
pub mod job;
mod limit;
mod lists;
mod nearest;
mod problem;
mod seen;
pub mod show;
mod steps;
mod tables;
pub mod view;
mod weights;
pub mod worker;

pub use error::{AppError, Result};
pub use event::{Cancel, Event, Stage, Unwatched, Watch};
pub use inkarnat_cut::Status as CutStatus;
pub use inkarnat_film::{Film, FilmError, ShotId};
pub use inkarnat_fix::{Aim, Light, LightVerdict, Reach};
pub use inkarnat_media::Codec;
pub use limit::LimitTo;
pub use nearest::{NearestCdl, SKIN_LIMIT_DE00, nearest_cdl};
pub use problem::{Context, Problem};
pub use show::{FilmReport, all_well, report};
pub use steps::against::{
    PROGRAMME_DE00, ProgrammeOrder, ProgrammePerson, ProgrammeProof, ProgrammeShot, keep_programme,
    programme_schema_text, prove_programme,
};
pub use steps::choosing::{
    ByHand, Choice, KeyByHand, choose, settle_choices, try_ops, with_numbers,
};
pub use steps::exposing::{accept, set_exposures};
pub use steps::fixing::{FixRecord, fix_film};
pub use steps::grouping::{Grouping, group, note, redo, undo};
pub use steps::handing::{
    Delivery, SINCE_HANDLES, hand_over, write_new_report, write_readings, write_report,
};
pub use steps::keeping::{hold_constant, keep};
pub use steps::lighting::ShotLight;
pub use steps::people::{COMPLEXIONS, PersonListed, Say, answer, erase, people_of, say};
pub use steps::proving::{PersonProof, Proof, Tolerance, prove_film};
pub use steps::reading::{ReadOrder, read_film};
pub use steps::recutting::{CutChanges, CutOrder, ShotChange, cut_film};
pub use steps::running::{Order, film_in, run};
pub use steps::taking::{
    AimSetting, draw, draw_shape, open_or_create, patches_listed, set_aim, set_aims, take_in,
    undraw, undraw_shape,
};
pub use steps::tinting::set_tint;
pub use steps::transforming::{LookSaid, TakenTransform, set_input, set_look};
pub use worker::Workers;
