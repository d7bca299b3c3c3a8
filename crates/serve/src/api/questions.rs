//! How the film stands.

use crate::api::Failure;
use crate::api::table::{About, Nothing, Table};
use crate::jobs::JobView;
use crate::state::Server;
use inkarnat_app::show::{LimitedReport, LimitsReport};
use inkarnat_app::view::{Overview, ShotView, overview, shot_view};
use inkarnat_app::{FilmReport, report};
use inkarnat_film::ShotId;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;
use std::sync::Arc;

/// The film in short, or that there is none yet.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
pub(crate) struct FilmState {
    /// Where the film file is, or will be.
    pub file: String,
    /// Whether it is there.
    pub exists: bool,
    /// Its name, or what it will be.
    pub name: String,
    /// Where a hand-over goes unless another directory is named.
    pub handover_directory: String,
}

/// A file that was handed over.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Delivered {
    /// Where it is.
    pub path: String,
    /// `clip`, `cdl`, `lut`, `readings` or `report`.
    pub kind: String,
    /// The shot that it shows, for a clip.
    pub shot: Option<String>,
    /// Whether it is there as it was written.
    pub there: bool,
    /// Bytes, as it was written.
    pub bytes: u64,
}

/// A delivered clip and its source held against the limits of delivery.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct ShotLimits {
    /// The film's number of the shot.
    pub id: i64,
    /// Its name.
    pub shot: String,
    /// The source; null where it was not proved since the last change.
    pub before: Option<LimitsReport>,
    /// The delivered file.
    pub after: Option<LimitsReport>,
    /// What a limiter did to the clip; null where none was asked for.
    pub limited: Option<LimitedReport>,
}

pub(crate) fn add(table: &mut Table) {
    let about = |path, summary| About { path, summary };
    table.get(
        about("state", "Whether there is a film yet, and where."),
        state,
    );
    table.get(
        about(
            "film",
            "The film in short: what the run charts are drawn from.",
        ),
        film,
    );
    table.get(
        about(
            "report",
            "Everything about the film: the same as `inkarnat show FILM --json`.",
        ),
        whole,
    );
    table.get(about("job", "How long work stands."), job);
    table.get(
        about("delivered", "The files that were handed over."),
        delivered,
    );
    table.get(
        about(
            "limits",
            "Every shot that was handed over, held against EBU R 103: source and delivered file.",
        ),
        limits,
    );
    table.get_of_shot(about("shots/{shot}", "One shot in full."), shot);
}

fn state(server: &Arc<Server>, _: Nothing) -> Result<FilmState, Failure> {
    let name = server.film.file_stem().map_or_else(
        || "film".to_owned(),
        |name| name.to_string_lossy().into_owned(),
    );
    Ok(FilmState {
        file: server.film.to_string_lossy().into_owned(),
        exists: server.film.exists(),
        handover_directory: handover_directory(server, &name)
            .to_string_lossy()
            .into_owned(),
        name,
    })
}

fn handover_directory(server: &Server, name: &str) -> PathBuf {
    server.film.with_file_name(format!("{name}-handover"))
}

/// What the overview is sent as; it is kept as text.
#[derive(Serialize)]
#[serde(transparent)]
pub(crate) struct Text(Box<serde_json::value::RawValue>);

impl JsonSchema for Text {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        Overview::schema_name()
    }

    fn schema_id() -> std::borrow::Cow<'static, str> {
        Overview::schema_id()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        Overview::json_schema(generator)
    }
}

fn film(server: &Arc<Server>, _: Nothing) -> Result<Text, Failure> {
    let bytes = server.overview(|| -> Result<Vec<u8>, Failure> {
        let film = server.to_read()?;
        let short = overview(&film, report(&film)?)?;
        serde_json::to_vec(&short).map_err(Failure::broken)
    })?;
    let text = String::from_utf8(bytes.to_vec()).map_err(Failure::broken)?;
    serde_json::value::RawValue::from_string(text)
        .map(Text)
        .map_err(Failure::broken)
}

fn whole(server: &Arc<Server>, _: Nothing) -> Result<FilmReport, Failure> {
    Ok(report(&server.to_read()?)?)
}

fn job(server: &Arc<Server>, _: Nothing) -> Result<JobView, Failure> {
    Ok(server.jobs.view())
}

fn shot(server: &Arc<Server>, shot: ShotId, _: Nothing) -> Result<ShotView, Failure> {
    Ok(shot_view(&server.to_read()?, shot)?)
}

fn limits(server: &Arc<Server>, _: Nothing) -> Result<Vec<ShotLimits>, Failure> {
    let film = server.to_read()?;
    let mut found = Vec::new();
    let shots = film.shots()?;
    for report in report(&film)?.shots {
        let (before, after) = report.proof.map_or((None, None), |proof| {
            (proof.limits_before, proof.limits_after)
        });
        if before.is_some() || after.is_some() || report.limited.is_some() {
            let known = shots.iter().find(|shot| shot.name == report.shot);
            found.push(ShotLimits {
                id: known.map_or(0, |shot| shot.id.0),
                shot: report.shot,
                before,
                after,
                limited: report.limited,
            });
        }
    }
    Ok(found)
}

fn delivered(server: &Arc<Server>, _: Nothing) -> Result<Vec<Delivered>, Failure> {
    let film = server.to_read()?;
    let shots = film.shots()?;
    let files = film.deliverables()?;
    Ok(files
        .into_iter()
        .map(|file| Delivered {
            shot: file
                .shot
                .and_then(|id| shots.iter().find(|shot| shot.id == id))
                .map(|shot| shot.name.clone()),
            there: std::fs::metadata(&file.path).is_ok_and(|m| m.len() == file.fingerprint.size),
            bytes: file.fingerprint.size,
            path: file.path.to_string_lossy().into_owned(),
            kind: file.kind,
        })
        .collect())
}
