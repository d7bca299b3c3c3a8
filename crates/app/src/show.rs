//! How a film stands, as plain data with a documented schema.

mod cut;
pub(crate) mod known;
mod limits;
mod reasons;

pub use cut::{
    CutReport, HistoryReport, LeftOutReport, ProgrammeReport, SceneReport, SetupReport, TintReport,
    UsedReport, VersionReport, describe,
};
pub use limits::{LimitedReport, LimitsReport, WorstLimitReport};

use crate::faces::FaceFacts;
use crate::limit::{Limited, as_delivered};
use crate::nearest::NearestCdl;
use crate::seen::Seen;
use crate::steps::cutting::used_of;
use crate::steps::exposing;
use crate::steps::finding::{Present, facts_of, present};
use crate::steps::fixing::FixRecord;
use crate::steps::handing::{clip_key, span_of_clip, timecode_at};
use crate::steps::lighting::light_for;
use crate::steps::proving::Proof;
use crate::steps::proving::has_look;
use crate::steps::suggesting::carrying;
use crate::{Result, problem::Problem};
use cut::{cut_parts, left_out_report};
use inkarnat_color::{Chroma, Hue, SKIN_TONE_LINE, Ycbcr, delta_e_2000};
use inkarnat_film::{Deliverable, Film, Shot, Source, Stage, Step, StepOutcome};
use inkarnat_fix::{Aim, AimCentre, Fix, Reach, SkinValue, State, Want};
use inkarnat_ops::{Cdl, Keyframe};
use inkarnat_people::Side;
use inkarnat_reading::ShotReading;
use known::Known;
use limits::limits_report;
pub(crate) use reasons::skin_not_solved;
use reasons::{reason_of_person, reason_of_unread};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// Version of the form of [`FilmReport`]: raised when a field changes its meaning or goes.
pub const SCHEMA: u32 = 1;

/// How a film stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FilmReport {
    /// Version of this form.
    pub schema: u32,
    /// Name of the film.
    pub film: String,
    /// What the numbers of the working signal mean.
    pub working_space: SpaceReport,
    /// The skin-tone line that `off_line_deg` counts from, degrees on the Cb/Cr plane.
    pub skin_tone_line_deg: f64,
    /// The cut that is in the film; null where clips were taken in whole.
    pub cut: Option<CutReport>,
    /// The shots in film order.
    pub shots: Vec<ShotReport>,
    /// The scenes in film order.
    pub scenes: Vec<SceneReport>,
    /// The setups, in the order of making; every shot is in exactly one.
    pub setups: Vec<SetupReport>,
    /// Shots of earlier cuts that are not in this one; their decisions come back with them.
    pub lost: Vec<String>,
    /// Spans of finished pictures that are no shot.
    pub left_out: Vec<LeftOutReport>,
    /// What was handed over, oldest first.
    pub versions: Vec<VersionReport>,
    /// Finished programmes that were held against the film (`prove --against`), the earliest first.
    #[serde(default)]
    pub programmes: Vec<ProgrammeReport>,
    /// The history of decisions.
    pub history: HistoryReport,
    /// Doubts that only the editor can settle.
    pub questions: Vec<Question>,
    /// Changes that the picture itself suggests and nobody has asked for.
    pub proposals: Vec<Proposal>,
}

/// A working space.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpaceReport {
    /// Primaries, by their standard.
    pub primaries: String,
    /// Luma coefficients, by their standard.
    pub coefficients: String,
}

/// A doubt that only the editor can settle, by `inkarnat answer FILM ID yes|no`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Question {
    /// Its number: stays the same as long as it is open.
    pub id: u64,
    /// What is in doubt: `same` (are two people one?), `picture` (is a face a picture?), `skin` (is
    /// it painted or a mask?), `tint` (is the tint that cameras of a scene share meant so?).
    pub kind: String,
    /// The people concerned.
    pub people: Vec<String>,
    /// The shot concerned, if one is.
    pub shot: Option<String>,
    /// What is asked.
    pub text: String,
}

/// A change that the picture itself suggests.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Proposal {
    /// Its number: `inkarnat answer FILM ID yes` takes it, `no` lets things stay.
    pub id: u64,
    /// The scene that it is about, or the setup where no scenes were told apart.
    pub about: String,
    /// Change of exposure in stops, + = brighter.
    pub stops: f64,
    /// Standard uncertainty of it (k = 1).
    pub stops_u: f64,
    /// What is proposed, with its number and its reason.
    pub text: String,
}

/// The state of a shot or of a person in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum ShotState {
    /// Nothing was read.
    #[serde(rename = "unread")]
    Unread,
    /// Read, and not where the aim is.
    #[serde(rename = "off aim")]
    OffAim,
    /// Where the aim is: as it is, or after the fix.
    #[serde(rename = "on aim")]
    OnAim,
    /// The editor says: leave it.
    #[serde(rename = "kept")]
    Kept,
    /// Cannot reach the aim within limits.
    #[serde(rename = "short")]
    Short,
    /// On aim or kept, and the delivered file was read again and agrees.
    #[serde(rename = "proved")]
    Proved,
}

impl ShotState {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Unread => "unread",
            Self::OffAim => "off aim",
            Self::OnAim => "on aim",
            Self::Kept => "kept",
            Self::Short => "short",
            Self::Proved => "proved",
        }
    }
}

/// How a shot stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShotReport {
    /// Name of the shot.
    pub shot: String,
    /// The source clip's path, as it was given.
    pub source: String,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// Timecode of the first frame; null where the source has none.
    pub timecode_in: Option<String>,
    /// Where the cut uses it; null for a clip taken in whole.
    pub used: Option<UsedReport>,
    /// The editor's note; null where there is none.
    pub note: Option<String>,
    /// Spans and parts of the picture that are left out of every reading and statistic.
    pub left_out: Vec<LeftOutReport>,
    /// The file that brings the clip's own signal to the working signal; null where it is that already.
    #[serde(default)]
    pub input: Option<String>,
    /// The file of the look over the fix, through which readings are seen; null without one.
    #[serde(default)]
    pub look: Option<String>,
    /// The setup that carries the fix.
    pub setup: String,
    /// The scene.
    pub scene: String,
    /// The state of the whole shot: that of the person worst off.
    pub state: ShotState,
    /// Why the last step on this shot failed; null where none did.
    pub failure: Option<String>,
    /// Why nobody is read in it, in a plain sentence, where it is `unread`; else null.
    pub why_unread: Option<String>,
    /// What was assumed or noticed, one line each.
    pub notes: Vec<String>,
    /// Everybody who was read.
    pub people: Vec<PersonReport>,
    /// The fix; null where there is none.
    pub fix: Option<FixReport>,
    /// What a limiter did to the clip that was handed over; null where none was asked for.
    pub limited: Option<LimitedReport>,
    /// The proof; null where nothing was proved since the last change.
    pub proof: Option<ProofReport>,
}

/// One person in one shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PersonReport {
    /// The name.
    pub person: String,
    /// The source.
    pub before: Option<ReadingReport>,
    /// The source with the fix: read from its pixels once proved, until then as the solver found it.
    pub after: Option<ReadingReport>,
    /// The delivered file, read again.
    pub proof: Option<ReadingReport>,
    /// Where this person should read.
    pub aim: AimReport,
    /// The state of this person here.
    pub state: ShotState,
    /// Why it is that, in a plain sentence, where it is `unread`, `off aim` or `short`; else null.
    pub why: Option<String>,
    /// CIEDE2000 from the aim's centre in the source; null without a fix.
    pub aim_de00_before: Option<f64>,
    /// CIEDE2000 from the aim's centre after the fix; null without a fix.
    pub aim_de00_after: Option<f64>,
    /// The complexion that the editor set; never set otherwise.
    pub complexion: Option<String>,
    /// Whether a drawn patch is read; otherwise the found face is.
    pub patch: bool,
    /// The face that was found; null without one.
    pub face: Option<FaceReport>,
}

/// A found face of one person in one shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FaceReport {
    /// How many stretches it was found in, each followed by itself.
    pub faces: u64,
    /// Median width, cheek to cheek, pixels.
    pub width_px: f64,
    /// Share of forehead, cheek and nose that is unclipped skin of one colour, 0 to 1.
    pub coverage: f64,
    /// The side that is read, the person's own: `right` or `left`; null where neither can be.
    pub key_side: Option<String>,
    /// Display light (BT.1886) of that side over that of the other, median over the shot; null where
    /// no frame shows both.
    pub key_to_fill: Option<f64>,
    /// Present where the two sides are lit by two colours.
    pub two_lights: Option<TwoLightsReport>,
    /// Frames in which the face is lost, and why.
    pub lost: Vec<LostReport>,
    /// Why it has no reading; null where it has.
    pub unread: Option<String>,
}

/// Two colours of light on one face, with both readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TwoLightsReport {
    /// Level of the side that is read, percent.
    pub key_level_pct: f64,
    /// Its hue, degrees.
    pub key_hue_deg: Option<f64>,
    /// Level of the other side, percent.
    pub fill_level_pct: f64,
    /// Its hue, degrees.
    pub fill_hue_deg: Option<f64>,
    /// CIEDE2000 between the two at one level.
    pub de00: f64,
}

/// Source frames in which a face is lost, half-open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LostReport {
    /// The first.
    pub in_frame: u64,
    /// The one after the last.
    pub out_frame: u64,
    /// Why, in the first of them.
    pub why: String,
}

/// A reading of a shot. Uncertainties are standard ones (k = 1).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingReport {
    /// Level Y', percent of reference white.
    pub level_pct: f64,
    /// Its uncertainty.
    pub level_pct_u: f64,
    /// The level as a 10-bit narrow-range code (64 = 0 %, 940 = 100 %), not rounded.
    pub code10: f64,
    /// Hue, degrees on the Cb/Cr plane counter-clockwise from +Cb; null below the chroma floor.
    pub hue_deg: Option<f64>,
    /// Its uncertainty.
    pub hue_deg_u: Option<f64>,
    /// Signed arc from the skin-tone line: positive toward yellow/green, negative toward red/magenta.
    pub off_line_deg: Option<f64>,
    /// Chroma magnitude over level, both as signal; null at black.
    pub sat_ratio: Option<f64>,
    /// Share of the patch that is clipped in the source and left out, percent.
    pub clipped_pct: f64,
    /// CIELAB L*, a*, b* (D65, BT.1886 display).
    pub lab: [f64; 3],
    /// 0 to 1: a rule of weight, not a probability.
    pub confidence: f64,
    /// Change of level from the first to the last frame, percent of reference white; null where it
    /// was not read frame by frame.
    pub drift_level_pct: Option<f64>,
    /// Change of hue from the first to the last frame, degrees.
    pub drift_hue_deg: Option<f64>,
    /// Frames read; null where it was not read frame by frame.
    pub frames_read: Option<u64>,
    /// Frames left out because the patch was lost or unreadable.
    pub frames_lost: Option<u64>,
}

/// An aim as it was set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AimReport {
    /// As it was typed.
    pub text: String,
    /// Wanted level, percent: lower and upper end; null for the person's own.
    pub level_pct: Option<[f64; 2]>,
    /// Wanted hue, degrees: lower and upper end; null for the person's own.
    pub hue_deg: Option<[f64; 2]>,
    /// The point that was solved to; null without a fix.
    pub centre: Option<CentreReport>,
    /// Width in CIEDE2000 about the centre, for what is not a typed band.
    pub width_de00: f64,
}

/// The point that was solved to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CentreReport {
    /// Level, percent.
    pub level_pct: f64,
    /// Hue, degrees; null where the skin has none to speak of.
    pub hue_deg: Option<f64>,
    /// Chroma magnitude over level.
    pub sat_ratio: f64,
    /// CIELAB L*, a*, b*.
    pub lab: [f64; 3],
}

/// An ASC CDL.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CdlReport {
    /// Gain of R', G', B'.
    pub slope: [f64; 3],
    /// Lift of R', G', B', signal units.
    pub offset: [f64; 3],
    /// Exponent of R', G', B'.
    pub power: [f64; 3],
    /// Distance from luma, as a factor.
    pub saturation: f64,
}

/// What a fix does to everything that is not the skin it was made for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CostReport {
    /// Near-neutral surfaces after the fix, CIEDE2000 from neutral; null where none was found.
    pub neutral_de00: Option<f64>,
    /// The same before the fix.
    pub neutral_de00_before: Option<f64>,
    /// New clipped and crushed pixels, points of percent of the picture.
    pub clip_growth_pct: f64,
    /// New clipped and crushed pixels of skin, percent of the skin.
    pub skin_clip_growth_pct: f64,
    /// Contrast of the picture, after over before.
    pub contrast: f64,
    /// Median move of what is not skin, CIEDE2000 beyond the exposure change that was asked for.
    pub outside_de00_median: f64,
    /// 95th percentile of the same.
    pub outside_de00_p95: f64,
    /// Noise gain in the darkest quarter, after over before.
    pub noise_gain: f64,
}

/// One reach: how far it gets and what it costs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReachReport {
    /// On aim or short.
    pub state: ShotState,
    /// The limit that stopped it, where it is short.
    pub limit: Option<String>,
    /// The operations, in order.
    pub ops: Vec<Value>,
    /// What it costs.
    pub cost: CostReport,
    /// One sentence about it.
    pub explain: String,
}

/// All three reaches.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReachesReport {
    /// Balance of the whole frame.
    pub picture: ReachReport,
    /// Mid-tones.
    pub mids: ReachReport,
    /// Skin alone; null where no key was laid on it.
    pub skin: Option<ReachReport>,
    /// Why no key was laid on skin, in a plain sentence; null where one was.
    pub skin_not_solved: Option<String>,
}

/// The fix of a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FixReport {
    /// The reach that was chosen: `picture`, `mids`, `skin`, or `hand` where the operations were set by hand.
    pub reach: String,
    /// Who chose it.
    pub chosen_by: ChosenBy,
    /// The limits that a fix set by hand goes beyond; none for a solved one.
    pub beyond: Vec<String>,
    /// Why.
    pub why: String,
    /// The operations, in order; none: the picture stays exactly as it is.
    pub ops: Vec<Value>,
    /// The fix as one CDL, or the nearest one.
    pub cdl: CdlReport,
    /// Whether that CDL is the fix itself.
    pub cdl_exact: bool,
    /// What the nearest CDL leaves on skin, CIEDE2000; 0 where it is exact.
    pub cdl_skin_de00: f64,
    /// Whether one fix serves all frames of the shot. Where it does not, `ops` is what is done to every frame after its light
    /// was brought to that of one of them, and `cdl` what is nearest to that.
    pub constant: bool,
    /// Where the fix follows the light: the whole fix as one CDL at some source frames, monotone cubics between (as in
    /// `keyframes/SHOT.json`), where it is one; else what comes before `ops`. Empty where the fix is constant.
    pub keyframes: Vec<KeyframeReport>,
    /// Whether each of `keyframes` is the whole fix, and not only what comes before `ops`.
    pub keyframes_whole: bool,
    /// What the light does inside the shot and what is done about it, in one sentence; null where it is steady.
    pub light: Option<String>,
    /// The limit that stopped it, where the shot is short.
    pub limit: Option<String>,
    /// What the chosen reach costs.
    pub cost: CostReport,
    /// All three reaches.
    pub reaches: ReachesReport,
}

/// A CDL at a source frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KeyframeReport {
    /// The source frame.
    pub frame: u64,
    /// What holds there.
    pub cdl: CdlReport,
}

/// Who chose a fix.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChosenBy {
    /// The solver, by its rule.
    Rule,
    /// The editor, among the reaches.
    Editor,
}

/// The proof of a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProofReport {
    /// The file that was read.
    pub file: String,
    /// Whether it agrees with what was promised.
    pub passed: bool,
    /// What does not agree, one line each.
    pub faults: Vec<String>,
    /// Allowed CIEDE2000 between `after` and `proof`.
    pub tolerance_de00: f64,
    /// The largest one found; null where nobody was read.
    pub de00: Option<f64>,
    /// The source held against EBU R 103; null where it was not.
    pub limits_before: Option<LimitsReport>,
    /// The delivered file held against EBU R 103.
    pub limits_after: Option<LimitsReport>,
}

/// How the film stands.
///
/// # Errors
/// If the film cannot be read.
pub fn report(film: &Film) -> Result<FilmReport> {
    let space = film.space();
    let known = Known::of(film)?;
    let shots = film
        .shots()?
        .iter()
        .map(|shot| shot_report(&known, shot))
        .collect::<Result<_>>()?;
    let parts = cut_parts(film)?;
    Ok(FilmReport {
        schema: SCHEMA,
        film: film.name().to_owned(),
        working_space: SpaceReport {
            primaries: space.primaries.to_string(),
            coefficients: space.coefficients.to_string(),
        },
        skin_tone_line_deg: SKIN_TONE_LINE.degrees(),
        cut: parts.cut,
        shots,
        scenes: parts.scenes,
        setups: parts.setups,
        lost: parts.lost,
        left_out: parts.left_out,
        versions: parts.versions,
        programmes: parts.programmes,
        history: parts.history,
        questions: questions(film)?,
        proposals: proposals(film)?,
    })
}

/// What is open.
fn questions(film: &Film) -> Result<Vec<Question>> {
    let text = |value: &Value| value.as_str().map(str::to_owned);
    Ok(film
        .questions()?
        .into_iter()
        .filter(|question| {
            question.answer.is_none() && !question.about.starts_with(exposing::ABOUT)
        })
        .map(|question| Question {
            id: question.id.unsigned_abs(),
            kind: question
                .about
                .split(':')
                .next()
                .unwrap_or_default()
                .to_owned(),
            people: question.asked["people"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(text)
                .collect(),
            shot: text(&question.asked["shot"]),
            text: text(&question.asked["text"]).unwrap_or_default(),
        })
        .collect())
}

/// What the pictures propose and nobody has said anything about.
fn proposals(film: &Film) -> Result<Vec<Proposal>> {
    Ok(film
        .questions()?
        .into_iter()
        .filter(|question| question.answer.is_none() && question.about.starts_with(exposing::ABOUT))
        .map(|question| Proposal {
            id: question.id.unsigned_abs(),
            about: question.asked["name"]
                .as_str()
                .unwrap_or_default()
                .to_owned(),
            stops: question.asked["stops"].as_f64().unwrap_or_default(),
            stops_u: question.asked["stops_u"].as_f64().unwrap_or_default(),
            text: question.asked["text"]
                .as_str()
                .unwrap_or_default()
                .to_owned(),
        })
        .collect())
}

/// Whether everything ended as it should: every shot on aim, kept or proved, no problem, no proof
/// failed.
#[must_use]
pub fn all_well(report: &FilmReport, problems: &[Problem]) -> bool {
    problems.is_empty()
        && report.shots.iter().all(|shot| {
            matches!(
                shot.state,
                ShotState::OnAim | ShotState::Kept | ShotState::Proved
            ) && shot.failure.is_none()
                && shot.proof.as_ref().is_none_or(|proof| proof.passed)
        })
}

/// How one shot stands.
///
/// # Errors
/// If the film cannot be read.
pub fn report_of_shot(film: &Film, shot: &Shot) -> Result<ShotReport> {
    shot_report(&Known::of(film)?, shot)
}

/// How one shot stands, of several.
pub(crate) fn shot_report(known: &Known<'_>, shot: &Shot) -> Result<ShotReport> {
    let film = known.film();
    let source = known.source(shot);
    let setup = known.setup(shot);
    let scene = setup
        .and_then(|setup| known.scene(setup))
        .map(|scene| scene.name.clone())
        .unwrap_or_default();
    let record = known.fix(shot)?;
    let record = record.as_deref();
    let clip = match source {
        Some(source) => current_clip(known, record, shot, source)?,
        None => None,
    };
    // Of a clip that the fix has left behind, a proof says nothing.
    let proof = match clip {
        Some(_) => film.proof::<Proof>(shot.id)?.map(|(_, proof)| proof),
        None => None,
    };
    let read = film
        .step(shot.id, Step::Read)?
        .is_some_and(|step| step.outcome == StepOutcome::Done);
    let fix = record
        .map(|record| record.chain_for(shot))
        .unwrap_or_default();
    let seen = Seen::new(known.look_ops(shot)?.to_vec(), fix, film.space());
    let in_clip = clip.is_some_and(has_look);
    let mut people = Vec::new();
    for present in present(film, shot)? {
        people.push(person_report(
            known,
            shot,
            &present,
            (&seen, in_clip),
            record,
            proof.is_some(),
        )?);
    }
    let mut state = people
        .iter()
        .map(|person| person.state)
        .max_by_key(|state| severity(*state))
        .unwrap_or(match record {
            // Nobody is there who could be off aim: it stands as the fix that it carries.
            Some(record) if read => match record.fix().state {
                State::OnAim => ShotState::OnAim,
                State::Short { .. } => ShotState::Short,
            },
            _ => ShotState::Unread,
        });
    if shot.kept {
        state = ShotState::Kept;
    }
    if proof.as_ref().is_some_and(|proof| proof.passed)
        && matches!(state, ShotState::OnAim | ShotState::Kept)
    {
        state = ShotState::Proved;
    }
    let why_unread = match state {
        ShotState::Unread if people.is_empty() => Some(reason_of_unread(film, shot, read)?),
        _ => None,
    };
    let mut notes = film.notes(shot.id)?;
    if let Some(record) = record {
        notes.extend(light_sentence(record, shot));
        notes.extend(support_of_own(&people, record));
        if people.is_empty()
            && read
            && let Some(setup) = setup
        {
            notes.push(carrying(setup, record));
        }
    }
    let mut limited = None;
    if let Some(clip) = clip {
        notes.extend(notes_of_clip(clip));
        limited = Limited::of(clip).map(LimitedReport::from);
    }
    let mut failure = None;
    for step in [Step::Read, Step::Handover, Step::Prove] {
        if let Some(record) = film.step(shot.id, step)?
            && let StepOutcome::Failed(reason) = record.outcome
        {
            failure = failure.or(Some(reason));
        }
    }
    let timecode = match source {
        Some(source) => timecode_at(source, shot.in_frame)?.map(|t| t.to_string()),
        None => None,
    };
    Ok(ShotReport {
        shot: shot.name.clone(),
        source: source
            .map(|source| source.path.to_string_lossy().into_owned())
            .unwrap_or_default(),
        in_frame: shot.in_frame,
        out_frame: shot.out_frame,
        timecode_in: timecode,
        used: used_of(shot)?.map(|used| UsedReport::of(&used)),
        note: film.note(shot.id)?,
        left_out: match source {
            Some(source) => left_out_report(source, shot)?,
            None => Vec::new(),
        },
        input: match source {
            Some(source) => film.input_of(source.id)?.map(|input| input.name),
            None => None,
        },
        look: known.look(shot)?.map(|look| look.name),
        setup: setup.map(|setup| setup.name.clone()).unwrap_or_default(),
        scene,
        state,
        failure,
        why_unread,
        notes,
        people,
        fix: record.map(|record| fix_report(record, shot)),
        limited,
        proof: match (proof, source) {
            (Some(proof), Some(source)) => Some(proof_report(&proof, source)?),
            _ => None,
        },
    })
}

fn proof_report(proof: &Proof, source: &Source) -> Result<ProofReport> {
    let limits = proof.limits.as_ref();
    Ok(ProofReport {
        file: proof.file.clone(),
        passed: proof.passed,
        faults: proof.all_faults().cloned().collect(),
        tolerance_de00: proof.tolerance.de00,
        de00: proof
            .people
            .iter()
            .filter_map(|person| person.de00)
            .reduce(f64::max),
        limits_before: limits
            .map(|[before, _]| limits_report(before, source))
            .transpose()?,
        limits_after: limits
            .map(|[_, after]| limits_report(after, source))
            .transpose()?,
    })
}

/// What the numbers that are the person's own rest on, one line each.
fn support_of_own(people: &[PersonReport], record: &FixRecord) -> Vec<String> {
    let mut lines = Vec::new();
    for person in people.iter().filter(|person| person.before.is_some()) {
        if person.aim.text.starts_with("like:") {
            continue;
        }
        // A level that is aimed elsewhere than it was read has other shots of its scene behind it.
        let stays = person
            .before
            .as_ref()
            .zip(person.aim.centre.as_ref())
            .is_none_or(|(before, centre)| (before.level_pct - centre.level_pct).abs() < 1.0);
        let exposed = record
            .belief
            .as_ref()
            .map_or(0.0, |belief| belief.exposure_stops);
        if person.aim.level_pct.is_none() && exposed != 0.0 {
            lines.push(format!(
                "{}: the level is moved by {exposed:+.1} stops, as was accepted",
                person.person
            ));
        } else if person.aim.level_pct.is_none() && !stays {
            lines.push(format!(
                "{}: the level is that of this person's shots in this scene, in like light",
                person.person
            ));
        } else if person.aim.level_pct.is_none() {
            lines.push(format!(
                "{}: the level stays: nothing in this scene asks for another",
                person.person
            ));
        }
        if person.aim.hue_deg.is_none() {
            let light = &record.solution.light;
            lines.push(match light.neutral {
                _ if light.tint.is_some_and(|tint| tint.agrees) => format!(
                    "{}: hue and saturation stay as shot in the tint that cameras of this scene share",
                    person.person
                ),
                Some(neutral) => format!(
                    "{}: hue and saturation rest on surfaces taken as neutral ({:.0} % of the picture, confidence {:.2})",
                    person.person,
                    neutral.share * 100.0,
                    neutral.confidence
                ),
                None => format!(
                    "{}: nothing neutral was found: nothing independent supports hue and saturation",
                    person.person
                ),
            });
        }
    }
    lines
}

fn severity(state: ShotState) -> u8 {
    match state {
        ShotState::Proved => 0,
        ShotState::OnAim => 1,
        ShotState::Kept => 2,
        ShotState::Short => 3,
        ShotState::OffAim => 4,
        ShotState::Unread => 5,
    }
}

/// The clip that was handed over, unless the fix has changed since.
fn current_clip<'a>(
    known: &'a Known<'_>,
    record: Option<&FixRecord>,
    shot: &Shot,
    source: &Source,
) -> Result<Option<&'a Deliverable>> {
    let chain = record
        .map(|record| record.chain_for(shot))
        .unwrap_or_default();
    for clip in known.clips(shot) {
        let Ok(codec) = serde_json::from_value(clip.detail["codec"].clone()) else {
            continue;
        };
        let mut chain = as_delivered(chain.clone(), clip);
        if has_look(clip) {
            chain.chain.look = known.look_ops(shot)?.to_vec();
        }
        if clip_key(known.film(), source, &chain, codec, span_of(clip, source))? == clip.key {
            return Ok(Some(clip));
        }
    }
    Ok(None)
}

/// The half-open span of source frames that a delivered clip holds.
fn span_of(clip: &Deliverable, source: &Source) -> (u64, u64) {
    let (first, frames) = span_of_clip(clip, source);
    (first, first + frames)
}

/// What the delivered clip does not keep of its source, one line each.
fn notes_of_clip(clip: &Deliverable) -> Vec<String> {
    let name = clip.path.file_name().unwrap_or_default().to_string_lossy();
    clip.detail["notes"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|note| Some(format!("{name}: {}", note.as_str()?)))
        .collect()
}

fn person_report(
    known: &Known<'_>,
    shot: &Shot,
    present: &Present,
    (seen, look): (&Seen, bool),
    record: Option<&FixRecord>,
    proved: bool,
) -> Result<PersonReport> {
    let (film, person) = (known.film(), &present.person);
    let reading = |stage| -> Result<Option<ShotReading>> {
        let whole = look && stage != Stage::Before;
        film.shot_reading::<ShotReading>(shot.id, person.id, stage)?
            .map(|reading| seen.reading((film, shot, person.id), (stage, whole), &reading))
            .transpose()
    };
    let before = reading(Stage::Before)?;
    let solved = record.and_then(|record| {
        let fix = record.fix();
        let at = fix.people.iter().position(|p| p.name == person.name)?;
        Some((fix, &fix.people[at]))
    });
    let (after, proof) = if proved {
        (reading(Stage::After)?, reading(Stage::Proof)?)
    } else {
        (None, None)
    };
    let setting = known.aim(person)?;
    // The solver judged its sample; once the pixels themselves were read, they decide.
    let holds = match (&after, solved) {
        (Some(after), Some((_, solved))) => is_on_aim(&setting.aim, &solved.centre, after),
        _ => true,
    };
    let after = match (&after, &before, solved) {
        (Some(after), _, _) => Some(of_reading(after)),
        (None, Some(before), Some((fix, solved))) if !fix.is_identity() => {
            Some(of_skin(&solved.after, before))
        }
        (None, Some(before), Some(_)) => Some(of_reading(before)),
        (None, Some(before), None) if shot.kept => Some(of_reading(before)),
        _ => None,
    };
    let face = face_report(present)?;
    let state = match (&before, solved) {
        (None, _) => ShotState::Unread,
        (Some(_), _) if shot.kept => ShotState::Kept,
        (Some(_), None) => ShotState::OffAim,
        (Some(_), Some((_, solved))) if solved.on_aim && holds => ShotState::OnAim,
        // Nothing stops somebody who sets a fix by hand.
        (Some(_), Some((fix, _)))
            if matches!(fix.state, State::Short { .. })
                && record.is_some_and(|record| record.by_hand.is_none()) =>
        {
            ShotState::Short
        }
        (Some(_), Some(_)) => ShotState::OffAim,
    };
    Ok(PersonReport {
        person: person.name.clone(),
        before: before.as_ref().map(of_reading),
        after,
        proof: proof.as_ref().map(of_reading),
        aim: AimReport {
            level_pct: ends(&setting.aim, |aim| aim.level),
            hue_deg: ends(&setting.aim, |aim| aim.hue),
            width_de00: setting.aim.width,
            text: setting.text,
            centre: solved.map(|(_, solved)| CentreReport {
                level_pct: solved.centre.level.0,
                hue_deg: solved.centre.hue.map(Hue::degrees),
                sat_ratio: solved.centre.sat_ratio(),
                lab: triple(solved.centre.lab),
            }),
        },
        why: reason_of_person(&person.name, state, record, face.as_ref()),
        state,
        aim_de00_before: solved.map(|(_, solved)| solved.de00_before),
        aim_de00_after: solved.map(|(_, solved)| solved.de00),
        complexion: person.complexion.clone(),
        patch: present.drawn.is_some(),
        face,
    })
}

/// The found faces of a person in a shot, as one.
fn face_report(present: &Present) -> Result<Option<FaceReport>> {
    let facts = present
        .faces
        .iter()
        .map(facts_of)
        .collect::<Result<Vec<_>>>()?;
    // What is read of several faces of one person is mostly the longest of them.
    let count = |facts: &FaceFacts| facts.held.iter().map(|s| s.end - s.start).sum::<u64>();
    let Some(main) = facts.iter().max_by_key(|facts| count(facts)) else {
        return Ok(None);
    };
    let mut lost: Vec<LostReport> = facts
        .iter()
        .flat_map(|facts| &facts.lost)
        .map(|lost| LostReport {
            in_frame: lost.frames.start,
            out_frame: lost.frames.end,
            why: lost.why.clone(),
        })
        .collect();
    lost.sort_by_key(|lost| lost.in_frame);
    let light = main.light;
    Ok(Some(FaceReport {
        faces: facts.len() as u64,
        width_px: main.width_px,
        coverage: main.coverage,
        key_side: light.map(|light| {
            match light.key {
                Side::Right => "right",
                Side::Left => "left",
            }
            .to_owned()
        }),
        key_to_fill: light.and_then(|light| light.key_to_fill),
        two_lights: light
            .and_then(|light| light.two_lights)
            .map(|two| TwoLightsReport {
                key_level_pct: two.key.y * 100.0,
                key_hue_deg: hue_of(two.key),
                fill_level_pct: two.fill.y * 100.0,
                fill_hue_deg: hue_of(two.fill),
                de00: two.de00.0,
            }),
        lost,
        unread: main.unread.clone(),
    }))
}

fn hue_of(colour: Ycbcr) -> Option<f64> {
    Chroma {
        cb: colour.cb,
        cr: colour.cr,
    }
    .hue()
    .map(Hue::degrees)
}

/// Whether a reading is on aim: inside every typed band, and where nothing is typed, within the
/// width about the centre.
fn is_on_aim(aim: &Aim, centre: &AimCentre, reading: &ShotReading) -> bool {
    /// Of a band, for numbers at its very edge: what a printed tenth hides.
    const EDGE: f64 = 0.05;
    let level = match aim.level {
        Want::Band(band) => Some((reading.level.0 - band.middle()).abs() <= band.half() + EDGE),
        _ => None,
    };
    let hue = match (aim.hue, aim.hue.centre_hue(), reading.hue) {
        (Want::Band(band), Some(middle), Some(hue)) => {
            Some(hue.from_origin(middle).degrees().abs() <= band.half_hue_deg() + EDGE)
        }
        (Want::Band(_), _, None) => Some(false),
        _ => None,
    };
    match (level, hue) {
        (None, None) => delta_e_2000(reading.lab, centre.lab).0 <= aim.width + EDGE,
        (level, hue) => level.unwrap_or(true) && hue.unwrap_or(true),
    }
}

fn triple(lab: inkarnat_color::Lab) -> [f64; 3] {
    [lab.l, lab.a, lab.b]
}

fn ends(aim: &Aim, of: fn(&Aim) -> Want) -> Option<[f64; 2]> {
    match of(aim) {
        Want::Own => None,
        Want::Value(value) => Some([value, value]),
        Want::Band(band) => Some([band.low, band.high]),
    }
}

fn of_reading(reading: &ShotReading) -> ReadingReport {
    ReadingReport {
        level_pct: reading.level.0,
        level_pct_u: reading.level_u,
        code10: reading.code10,
        hue_deg: reading.hue.map(Hue::degrees),
        hue_deg_u: reading.hue_u,
        off_line_deg: reading.off_line.map(|arc| arc.degrees()),
        sat_ratio: reading.sat_ratio,
        clipped_pct: reading.clipped.0 * 100.0,
        lab: triple(reading.lab),
        confidence: reading.confidence.0,
        drift_level_pct: Some(reading.drift.level),
        drift_hue_deg: reading.drift.hue,
        frames_read: Some(reading.frames_read as u64),
        frames_lost: Some(reading.frames_lost as u64),
    }
}

/// What the solver found on its sample of the skin; uncertainty and the like are the source's.
fn of_skin(skin: &SkinValue, before: &ShotReading) -> ReadingReport {
    let hue = skin.hue();
    ReadingReport {
        level_pct: skin.level.0,
        code10: skin.level.code10(),
        hue_deg: hue.map(Hue::degrees),
        off_line_deg: hue.map(|hue| hue.from_origin(SKIN_TONE_LINE).degrees()),
        sat_ratio: Some(skin.sat_ratio()),
        lab: triple(skin.lab),
        drift_level_pct: None,
        drift_hue_deg: None,
        frames_read: None,
        frames_lost: None,
        ..of_reading(before)
    }
}

fn fix_report(record: &FixRecord, shot: &Shot) -> FixReport {
    let chain = record.chain_for(shot);
    let whole = chain.keyframes();
    let solution = &record.solution;
    let fix = record.fix();
    let NearestCdl {
        cdl,
        exact,
        skin_de00,
        ..
    } = &record.cdl;
    FixReport {
        reach: record.reach(),
        why: record.why(),
        chosen_by: record.chosen_by(),
        beyond: record.beyond.clone(),
        ops: ops_of(fix),
        cdl: cdl_report(cdl),
        cdl_exact: *exact,
        cdl_skin_de00: *skin_de00,
        constant: chain.is_constant(),
        keyframes_whole: whole.is_some(),
        keyframes: whole
            .as_ref()
            .or(chain.light.as_ref())
            .map(|light| light.keys.iter().map(keyframe_report).collect())
            .unwrap_or_default(),
        light: light_sentence(record, shot),
        limit: limit_of(fix),
        cost: cost_of(fix),
        reaches: ReachesReport {
            picture: reach_report(&solution.picture),
            mids: reach_report(&solution.mids),
            skin: solution.skin.as_ref().map(reach_report),
            skin_not_solved: skin_not_solved(record),
        },
    }
}

fn keyframe_report(key: &Keyframe) -> KeyframeReport {
    KeyframeReport {
        frame: key.frame,
        cdl: cdl_report(&key.cdl),
    }
}

fn light_sentence(record: &FixRecord, shot: &Shot) -> Option<String> {
    let light = light_for(&record.light, shot)?;
    if shot.constant && light.is_followed() {
        return Some(format!(
            "the light changes by {:.1} % of level on skin; the fix stays constant, as you said",
            light.level_pct.abs()
        ));
    }
    light.sentence()
}

fn reach_report(fix: &Fix) -> ReachReport {
    debug_assert!(Reach::ALL.contains(&fix.reach));
    ReachReport {
        state: match fix.state {
            State::OnAim => ShotState::OnAim,
            State::Short { .. } => ShotState::Short,
        },
        limit: limit_of(fix),
        ops: ops_of(fix),
        cost: cost_of(fix),
        explain: fix.explain.clone(),
    }
}

fn ops_of(fix: &Fix) -> Vec<Value> {
    fix.ops.iter().map(inkarnat_film::value_of).collect()
}

pub(crate) fn limit_of(fix: &Fix) -> Option<String> {
    match &fix.state {
        State::OnAim => None,
        State::Short { limit, .. } => Some(limit.to_string()),
    }
}

/// What a fix costs, in the form of the report.
#[must_use]
pub fn cost_of(fix: &Fix) -> CostReport {
    let cost = &fix.cost;
    CostReport {
        neutral_de00: cost.neutral_de00,
        neutral_de00_before: cost.neutral_de00_before,
        clip_growth_pct: cost.clip_growth_pct,
        skin_clip_growth_pct: cost.skin_clip_growth_pct,
        contrast: cost.contrast,
        outside_de00_median: cost.outside_de00_median,
        outside_de00_p95: cost.outside_de00_p95,
        noise_gain: cost.noise_gain,
    }
}

fn cdl_report(cdl: &Cdl) -> CdlReport {
    CdlReport {
        slope: cdl.slope,
        offset: cdl.offset,
        power: cdl.power,
        saturation: cdl.saturation,
    }
}

/// The JSON Schema of [`FilmReport`], as text.
#[must_use]
pub fn schema_text() -> String {
    schema_of::<FilmReport>()
}

pub(crate) fn schema_of<T: JsonSchema>() -> String {
    let schema = schemars::schema_for!(T);
    let mut text = serde_json::to_string_pretty(&schema).expect("a schema serialises");
    text.push('\n');
    text
}
