//! The cut in the report: where shots stand, setups, scenes, versions, history.

use crate::Result;
use crate::steps::against::ProgrammeProof;
use crate::steps::cutting::{Used, seen_of};
use crate::steps::fixing::FixRecord;
use inkarnat_film::{Decision, DecisionState, Film, Scene, SceneId, Setup, Shot, Source};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the cut uses a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UsedReport {
    /// First frame in the film, counted from its start.
    pub record_in: i64,
    /// The frame of the film after its last.
    pub record_out: i64,
    /// Source frames a frame of the film: 1 as shot, below 0 backward, 0 a frozen frame.
    pub speed: f64,
    /// Frames of the film over which it comes in by a transition: before its cut, and from it on.
    pub head_transition: Option<[i64; 2]>,
    /// Frames of the film over which it goes out by a transition: before the cut, and from it on.
    pub tail_transition: Option<[i64; 2]>,
    /// Number of its event in the list.
    pub event: String,
    /// Reel or tape name in the list.
    pub reel: Option<String>,
    /// Name of the clip in the list.
    pub clip: String,
}

impl UsedReport {
    pub(super) fn of(used: &Used) -> Self {
        Self {
            record_in: used.record_in,
            record_out: used.record_out,
            speed: used.speed,
            head_transition: used.head.map(|t| [t.before, t.after]),
            tail_transition: used.tail.map(|t| [t.before, t.after]),
            event: used.event.clone(),
            reel: used.reel.clone(),
            clip: used.clip.clone(),
        }
    }
}

/// What is left out of every reading and statistic.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOutReport {
    /// `bars`, `leader`, `slate`, `black`, `dissolve`, `fade in`, `fade out`, `flash`, `matte` or
    /// `title`.
    pub what: String,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// The part of the picture, in fractions of its width and height: left, top, right, bottom; null
    /// for the whole.
    pub area: Option<[f64; 4]>,
}

/// A setup: what carries one fix.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetupReport {
    /// Its name.
    pub setup: String,
    /// Its scene.
    pub scene: String,
    /// Its shots in film order.
    pub shots: Vec<String>,
    /// The change of exposure that was accepted for it alone, in stops; 0: declined; null: nothing was said.
    pub exposure_stops: Option<f64>,
}

/// A scene: what is meant to look alike.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SceneReport {
    /// Its name.
    pub scene: String,
    /// Its setups.
    pub setups: Vec<String>,
    /// The tint that its cameras share and that is kept; null: they share none, or it is corrected.
    pub tint: Option<TintReport>,
    /// The change of exposure that was accepted, in stops; 0: declined; null: nothing was said.
    pub exposure_stops: Option<f64>,
}

/// A tint that cameras of a scene share.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TintReport {
    /// ln R/G and ln B/G of a white in it, linear light.
    pub cast: [f64; 2],
    /// Setups that were shot in it and are left as they were shot.
    pub kept: Vec<String>,
    /// Setups that are brought to it.
    pub brought: Vec<String>,
    /// Whether the editor has said so; else it is asked.
    pub decided: bool,
}

/// The cut that is in the film.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CutReport {
    /// Its number; later ones are larger.
    pub cut: i64,
    /// The list or picture that it came from.
    pub origin: String,
}

/// What was handed over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VersionReport {
    /// Its name.
    pub version: String,
    /// When: seconds since 1970-01-01 UTC.
    pub at_s: i64,
    /// Number of the cut that was in the film; null where clips were taken in whole.
    pub cut: Option<i64>,
}

/// A finished programme that was held against the film.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProgrammeReport {
    /// When: seconds since 1970-01-01 UTC.
    pub at_s: i64,
    /// What came of it.
    pub proof: ProgrammeProof,
}

/// The history of decisions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HistoryReport {
    /// What `undo` would take back.
    pub undo: Option<String>,
    /// What `redo` would take again.
    pub redo: Option<String>,
    /// Decisions in all, those taken back too.
    pub decisions: usize,
}

/// Everything of the report that is about the cut as a whole.
pub(super) struct CutParts {
    pub(super) cut: Option<CutReport>,
    pub(super) scenes: Vec<SceneReport>,
    pub(super) setups: Vec<SetupReport>,
    pub(super) lost: Vec<String>,
    pub(super) left_out: Vec<LeftOutReport>,
    pub(super) versions: Vec<VersionReport>,
    pub(super) programmes: Vec<ProgrammeReport>,
    pub(super) history: HistoryReport,
}

pub(super) fn cut_parts(film: &Film) -> Result<CutParts> {
    let shots = film.shots()?;
    let scenes = film.scenes()?;
    let setups = film.setups()?;
    let tints = tints_of(film, &scenes, &setups)?;
    let mut left_out = Vec::new();
    for source in film.sources()? {
        left_out.extend(no_shots(&source)?);
    }
    Ok(CutParts {
        cut: film.cut()?.map(|cut| CutReport {
            cut: cut.id,
            origin: cut.origin,
        }),
        scenes: scenes
            .iter()
            .map(|scene| SceneReport {
                scene: scene.name.clone(),
                setups: setups
                    .iter()
                    .filter(|setup| setup.scene == scene.id)
                    .map(|setup| setup.name.clone())
                    .collect(),
                tint: tints
                    .iter()
                    .find(|(id, _)| *id == scene.id)
                    .map(|(_, tint)| tint.clone()),
                exposure_stops: scene.exposure,
            })
            .collect(),
        setups: setups
            .iter()
            .map(|setup| SetupReport {
                setup: setup.name.clone(),
                scene: scenes
                    .iter()
                    .find(|scene| scene.id == setup.scene)
                    .map(|scene| scene.name.clone())
                    .unwrap_or_default(),
                shots: shots
                    .iter()
                    .filter(|shot| shot.setup == setup.id)
                    .map(|shot| shot.name.clone())
                    .collect(),
                exposure_stops: setup.exposure,
            })
            .collect(),
        lost: film
            .lost_shots()?
            .into_iter()
            .map(|shot| shot.name)
            .collect(),
        left_out,
        versions: film
            .versions()?
            .into_iter()
            .map(|version| VersionReport {
                version: version.name,
                at_s: version.at_s,
                cut: version.cut,
            })
            .collect(),
        programmes: film
            .programmes()?
            .into_iter()
            .map(|(at_s, proof)| ProgrammeReport { at_s, proof })
            .collect(),
        history: history(&film.decisions()?),
    })
}

fn history(decisions: &[Decision]) -> HistoryReport {
    let of = |state| move |decision: &&Decision| decision.state == state && decision.undoable;
    HistoryReport {
        undo: decisions
            .iter()
            .rev()
            .find(of(DecisionState::Done))
            .map(describe),
        redo: decisions
            .iter()
            .find(of(DecisionState::Undone))
            .map(describe),
        decisions: decisions.len(),
    }
}

/// A decision in one line.
#[must_use]
pub fn describe(decision: &Decision) -> String {
    let detail = &decision.detail;
    let word = |name: &str| match &detail[name] {
        serde_json::Value::String(text) => Some(text.clone()),
        serde_json::Value::Array(list) => Some(
            list.iter()
                .map(|v| v.as_str().map_or_else(|| v.to_string(), str::to_owned))
                .collect::<Vec<_>>()
                .join(", "),
        ),
        serde_json::Value::Null => None,
        other => Some(other.to_string()),
    };
    let sentence = || -> Option<String> {
        Some(match decision.verb.as_str() {
            "start" => {
                let clip = word("clip")?;
                let name = clip.rsplit('/').next().unwrap_or(&clip).to_owned();
                format!("the clip {name} was taken in")
            }
            "cut" => {
                let list = word("cut")?;
                let name = list.rsplit('/').next().unwrap_or(&list).to_owned();
                format!("the cut {name} with {} shots", word("shots")?)
            }
            "aim" => format!("{} is aimed at {}", word("person")?, word("aim")?),
            "patch" if word("taken away").is_some() => "a patch was taken away".to_owned(),
            "patch" => format!(
                "a patch of {} in {} at frame {}",
                word("person")?,
                word("shot")?,
                word("frame")?
            ),
            "keep" if detail["kept"] == true => format!("{} is kept as it is", word("shot")?),
            "keep" => format!("{} is no longer kept", word("shot")?),
            "light" if detail["constant"] == true => {
                format!(
                    "the fix of {} is constant, whatever the light does",
                    word("shot")?
                )
            }
            "light" => format!("the fix of {} may follow the light", word("shot")?),
            "choose" => {
                let choice = &detail["choice"];
                let what = match choice {
                    serde_json::Value::Null => "what the rule chooses".to_owned(),
                    serde_json::Value::String(reach) => format!("the reach {reach}"),
                    other => other["reach"]
                        .as_str()
                        .map_or_else(|| "a fix by hand".to_owned(), |r| format!("the reach {r}")),
                };
                format!("{what} for {}", word("setup")?)
            }
            "suggest" => "setups and scenes as suggested".to_owned(),
            "exposure" => detail["said"]
                .as_array()?
                .iter()
                .filter_map(|one| {
                    let name = one["scene"].as_str().or_else(|| one["setup"].as_str())?;
                    Some(match one["stops"].as_f64() {
                        None => format!("exposure of {name} as the pictures propose"),
                        Some(0.0) => format!("exposure of {name} stays"),
                        Some(stops) => format!("exposure of {name} by {stops:+.1} stops"),
                    })
                })
                .collect::<Vec<_>>()
                .join(", "),
            "note" => match word("note")?.as_str() {
                "" => format!("the note of {} was taken away", word("shot")?),
                text => format!("the note of {}: {text}", word("shot")?),
            },
            _ => return None,
        })
    };
    sentence().unwrap_or_else(|| {
        let facts: Vec<String> = detail
            .as_object()
            .into_iter()
            .flatten()
            .filter_map(|(name, _)| Some(format!("{name} {}", word(name)?)))
            .collect();
        format!("{}: {}", decision.verb, facts.join("; "))
    })
}

fn tints_of(film: &Film, scenes: &[Scene], setups: &[Setup]) -> Result<Vec<(SceneId, TintReport)>> {
    let said = film.tint()?;
    let mut tints: Vec<(SceneId, TintReport)> = Vec::new();
    for scene in scenes {
        for setup in setups.iter().filter(|setup| setup.scene == scene.id) {
            let tint = film
                .fix::<FixRecord>(setup.id)?
                .and_then(|(_, record)| record.belief?.tint);
            let Some(tint) = tint else {
                continue;
            };
            if tints.last().is_none_or(|(id, _)| *id != scene.id) {
                tints.push((
                    scene.id,
                    TintReport {
                        cast: tint.cast,
                        kept: Vec::new(),
                        brought: Vec::new(),
                        decided: scene.tint.is_some() || said.is_some(),
                    },
                ));
            }
            if let Some((_, report)) = tints.last_mut() {
                let list = if tint.agrees {
                    &mut report.kept
                } else {
                    &mut report.brought
                };
                list.push(setup.name.clone());
            }
        }
    }
    Ok(tints)
}

/// Spans of a finished picture that are no shot.
fn no_shots(source: &Source) -> Result<Vec<LeftOutReport>> {
    Ok(seen_of(source)?
        .into_iter()
        .flat_map(|seen| seen.spans)
        .filter(|span| span.what.is_no_shot())
        .map(|span| LeftOutReport {
            what: span.what.word().to_owned(),
            in_frame: span.in_frame,
            out_frame: span.out_frame,
            area: None,
        })
        .collect())
}

/// What is left out of a shot, by what it is.
pub(super) fn left_out_report(source: &Source, shot: &Shot) -> Result<Vec<LeftOutReport>> {
    let Some(seen) = seen_of(source)? else {
        return Ok(Vec::new());
    };
    let within = |from: u64, to: u64| {
        let (from, to) = (from.max(shot.in_frame), to.min(shot.out_frame));
        (from < to).then_some((from, to))
    };
    let spans = seen.spans.iter().filter_map(|span| {
        let (in_frame, out_frame) = within(span.in_frame, span.out_frame)?;
        Some(LeftOutReport {
            what: span.what.word().to_owned(),
            in_frame,
            out_frame,
            area: None,
        })
    });
    let areas = seen.areas.iter().filter_map(|area| {
        let (in_frame, out_frame) = within(area.in_frame, area.out_frame)?;
        Some(LeftOutReport {
            what: area.what.word().to_owned(),
            in_frame,
            out_frame,
            area: Some([area.left, area.top, area.right, area.bottom]),
        })
    });
    Ok(spans.chain(areas).collect())
}
