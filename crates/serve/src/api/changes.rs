//! What the editor changes, and the long work that is started.

use crate::api::Failure;
use crate::api::table::{About, Nothing, Table};
use crate::jobs::{JobView, Settling};
use crate::report;
use crate::state::Server;
use inkarnat_app::show::{CdlReport, CostReport};
use inkarnat_app::view::{AimTried, OutlineShape, cost_report, try_aim};
use inkarnat_app::{
    AppError, ByHand, Cancel, Choice, Codec, Context, Delivery, Film, KeyByHand, LimitTo, Problem,
    ReadOrder, SINCE_HANDLES, Say, answer, choose, draw_shape, erase, fix_film, hand_over,
    hold_constant, keep, note, open_or_create, prove_film, read_film, redo, say, set_aim, take_in,
    try_ops, undo, undraw_shape, with_numbers,
};
use inkarnat_film::{Shot, ShotId};
use inkarnat_ops::{Cdl, Op, Window};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::cell::OnceCell;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Numbers in place of those of the fix in force.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct Numbers {
    /// In place of its first CDL; null leaves that.
    pub cdl: Option<CdlReport>,
    /// In place of those of keys on skin; keys that are not named stay.
    #[serde(default)]
    pub keys: Vec<KeyNumbers>,
    /// A key on skin that is taken away, counted as in `keys`.
    pub without_key: Option<usize>,
    /// A person on whose skin one more key is laid, after everything else that the fix does: around the skin as it was read, with
    /// gains that bring it the rest of the way to the person's aim.
    pub key_on: Option<String>,
}

/// Numbers in place of those of a key on skin; what is null stays.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct KeyNumbers {
    /// Which of the keys of the fix, in their order, from 0.
    pub key: usize,
    /// Where it lies.
    pub windows: Option<KeyWindows>,
    /// What is done under it.
    pub cdl: Option<CdlReport>,
}

/// Where a key on skin lies.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct KeyWindows {
    /// Hue, degrees on the Cb/Cr plane.
    pub hue: WindowNumbers,
    /// Chroma magnitude, axes ±0.5.
    pub saturation: WindowNumbers,
    /// Luma, 1 = reference white.
    pub level: WindowNumbers,
}

/// A soft range: 1 on a flat top, 0 outside, smooth flanks between.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct WindowNumbers {
    /// Middle of the flat top.
    pub centre: f64,
    /// Full width of the flat top, 0 or more.
    pub width: f64,
    /// Width of each flank, above 0.
    pub softness: f64,
}

impl WindowNumbers {
    const fn window(&self) -> Window {
        Window {
            centre: self.centre,
            width: self.width,
            softness: self.softness,
        }
    }
}

/// What numbers that were tried do, measured as a solved fix is.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Tried {
    /// Everybody.
    pub people: Vec<TriedPerson>,
    /// What it costs.
    pub cost: CostReport,
    /// The limits that it goes beyond.
    pub beyond: Vec<String>,
}

/// One person with numbers that were tried.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct TriedPerson {
    /// The name.
    pub person: String,
    /// Level, percent.
    pub level_pct: f64,
    /// Hue, degrees.
    pub hue_deg: Option<f64>,
    /// Chroma magnitude over level.
    pub sat_ratio: f64,
    /// CIEDE2000 from the aim's centre.
    pub de00: f64,
    /// Whether that is on aim.
    pub on_aim: bool,
}

/// Which fix a setup gets.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum FixChoice {
    /// What the rule chooses.
    Rule,
    /// The balance of the whole frame.
    Picture,
    /// The mid-tones.
    Mids,
    /// Skin alone.
    Skin,
    /// The fix in force with these numbers.
    Numbers(Numbers),
}

/// A choice of fix.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct ChooseOrder {
    /// Which.
    pub fix: FixChoice,
}

/// Whom a fix is copied to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum CopyTo {
    /// Every setup of the scene.
    Scene,
}

/// A fix to be copied.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct CopyOrder {
    /// Where to.
    pub to: CopyTo,
}

/// Leave a shot as it is, or no longer.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct KeepOrder {
    /// Whether to keep it.
    pub kept: bool,
}

/// Whether a fix may follow the light inside a shot.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct ConstantOrder {
    /// Whether it is the same in all frames, whatever the light does.
    pub constant: bool,
}

/// What the editor writes to a shot.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct NoteOrder {
    /// One line of text; an empty one takes the note away.
    pub text: String,
}

/// A patch to be drawn.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct PatchOrder {
    /// Whose skin it is; a name that is not known yet is a new person.
    pub person: String,
    /// The source frame.
    pub frame: u64,
    /// The outline.
    pub shape: OutlineShape,
}

/// A drawn patch to be taken back.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct UndrawOrder {
    /// Whose skin it is.
    pub person: String,
    /// The source frame that it was drawn on.
    pub frame: u64,
}

/// Where a person should read.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct AimOrder {
    /// The name.
    pub person: String,
    /// As on the command line: `own`, `level:62-68,hue:120-126`, `like:SHOT`, or a preset.
    pub aim: String,
}

/// An aim that is tried.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct TryAimOrder {
    /// The name.
    pub person: String,
    /// As on the command line: `own`, `level:62-68,hue:120-126`, `like:SHOT`, or a preset.
    pub aim: String,
    /// The shots on which it is looked at, 1 to 64 of them, by the film's numbers: the first are solved first.
    #[schemars(length(min = 1, max = 64))]
    pub shots: Vec<i64>,
}

/// What the editor says about people, in the words of the command line.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum PeopleOrder {
    /// `OLD=NEW`: a name.
    Name(String),
    /// `NAME,NAME`: one person, under the first name.
    Merge(String),
    /// `NAME@SHOT`: that face is somebody else.
    Split(String),
    /// `NAME=COMPLEXION`, or `NAME=none`.
    Complexion(String),
}

/// An answer to an open question.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct AnswerOrder {
    /// Its number.
    id: u64,
    /// Yes or no.
    yes: bool,
}

/// Long work to be started.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(tag = "do", rename_all = "snake_case")]
pub(crate) enum WorkOrder {
    /// Take clips in, and read and fix what can be.
    TakeIn {
        /// Their paths.
        clips: Vec<String>,
    },
    /// Read and fix.
    Read,
    /// Fix.
    Fix,
    /// Hand over, prove what was handed over, and write the report.
    HandOver {
        /// The directory.
        directory: String,
        /// How clips are coded.
        codec: CodecChoice,
        /// Only what has changed since that version, with handles of 12 frames.
        since: Option<String>,
        /// Limits that clips and tables are kept inside at the cost of saturation; without it nothing is limited.
        limit: Option<LimitChoice>,
        /// Name of the version that is recorded; without it, "version" and the next number.
        name: Option<String>,
        /// A finished picture as one file, every shot with its fix, in place of a clip of each shot; not with `since`.
        #[serde(default)]
        whole: bool,
        /// The look is in the clips, and tables of fix and look stand beside those of the fix.
        #[serde(default)]
        look: bool,
    },
    /// Prove again what was handed over.
    Prove,
}

/// How clips are coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum CodecChoice {
    /// ProRes 422 HQ, 10 bits.
    Prores,
    /// ProRes 4444, 10 bits, with transparency where the source has it.
    Prores4444,
    /// DNxHR HQX, 10 bits.
    DnxhrHqx,
    /// H.264 High 4:2:2, 10 bits.
    H264,
    /// H.264 High 4:2:0, 8 bits, dithered: plays everywhere.
    H264EightBit,
    /// HEVC Main 4:2:2 10.
    Hevc,
    /// Pictures, one a frame: PNG, 16 bits.
    Png,
    /// Pictures, one a frame: TIFF, 16 bits.
    Tiff,
    /// Pictures, one a frame: DPX, 10 bits.
    Dpx,
    /// Pictures, one a frame: OpenEXR, half floats of linear light.
    Exr,
    /// No clips.
    None,
}

impl CodecChoice {
    const fn codec(self) -> Option<Codec> {
        match self {
            Self::Prores => Some(Codec::ProresHq422),
            Self::Prores4444 => Some(Codec::Prores4444),
            Self::DnxhrHqx => Some(Codec::DnxhrHqx),
            Self::H264 => Some(Codec::H264High422Ten),
            Self::H264EightBit => Some(Codec::H264High),
            Self::Hevc => Some(Codec::Hevc422Ten),
            Self::Png => Some(Codec::Png16),
            Self::Tiff => Some(Codec::Tiff16),
            Self::Dpx => Some(Codec::Dpx10),
            Self::Exr => Some(Codec::ExrHalf),
            Self::None => None,
        }
    }
}

/// Limits of delivery for R', G' and B' (EBU R 103).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum LimitChoice {
    /// −5…105 %.
    Preferred,
    /// 0…100 %.
    Nominal,
}

impl LimitChoice {
    const fn limit(self) -> LimitTo {
        match self {
            Self::Preferred => LimitTo::Preferred,
            Self::Nominal => LimitTo::Nominal,
        }
    }
}

/// That it was done.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub(crate) struct Done {
    /// What was done, in a sentence.
    pub done: String,
}

/// The page reads as the command line does unless told otherwise: faces are looked for, every frame is read.
const READING: ReadOrder = ReadOrder {
    find: true,
    every: None,
};

fn done(text: impl Into<String>) -> Done {
    Done { done: text.into() }
}

pub(crate) fn add(table: &mut Table) {
    let about = |path, summary| About { path, summary };
    table.post_of_shot(
        about("shots/{shot}/try", "Measures numbers without taking them."),
        try_numbers,
    );
    table.post_of_shot(
        about(
            "shots/{shot}/choose",
            "Chooses the fix of the shot's setup.",
        ),
        choose_fix,
    );
    table.post_of_shot(
        about("shots/{shot}/copy", "Copies the fix of the shot's setup."),
        copy_fix,
    );
    table.post_of_shot(
        about("shots/{shot}/keep", "Leaves a shot as it is, or no longer."),
        keep_shot,
    );
    table.post_of_shot(
        about(
            "shots/{shot}/constant",
            "Holds the fix of a shot the same in all frames, or lets it follow the light; and fixes.",
        ),
        constant_shot,
    );
    table.post_of_shot(
        about("shots/{shot}/note", "Writes a line of text to a shot."),
        note_shot,
    );
    table.post_of_shot(
        about("shots/{shot}/patch", "Draws a patch, reads it and fixes."),
        draw_patch,
    );
    table.post_of_shot(
        about(
            "shots/{shot}/undraw",
            "Takes a drawn patch back, reads what is left and fixes.",
        ),
        undraw_patch,
    );
    table.post_to_look(
        about(
            "aim/try",
            "Shows what an aim would do to some shots, without taking it: fixes and readings as they would be.",
        ),
        try_an_aim,
    );
    table.post(
        about("aim", "Says where a person should read, and fixes."),
        aim,
    );
    table.post(about("people", "Names, merges and splits people."), people);
    table.post(
        about("answer", "Answers an open question."),
        answer_question,
    );
    table.post(
        about("undo", "Takes the last decision back, and fixes."),
        go_back,
    );
    table.post(
        about(
            "redo",
            "Takes the last decision that was taken back again, and fixes.",
        ),
        go_forward,
    );
    table.post(
        about("erase", "Erases all face data of the film for good."),
        erase_faces,
    );
    table.post(about("work", "Starts long work; one at a time."), work);
    table.post(
        about(
            "stop",
            "Stops the long work; it goes on from there when started again.",
        ),
        stop,
    );
}

/// Makes a decision, tells every page, and starts what it leaves to be done. Work that is done for earlier decisions makes way
/// and is begun again; a decision has to wait for what somebody started.
fn decide<T>(
    server: &Arc<Server>,
    then: Option<Settling>,
    work: impl FnOnce(&mut Film) -> Result<T, AppError>,
) -> Result<T, Failure> {
    let _turn = server.turn_to_decide();
    let left = server.jobs.make_way().map_err(Failure::busy)?;
    let result = Film::open(&server.film)
        .map_err(Failure::from)
        .and_then(|mut film| Ok(work(&mut film)?));
    server.jobs.film_changed();
    let then = if result.is_ok() { then } else { None };
    if let Some(settling) = left.max(then) {
        settle(server, settling)?;
    }
    result
}

/// Reads and fixes what decisions have changed.
fn settle(server: &Arc<Server>, settling: Settling) -> Result<(), Failure> {
    let what = match settling {
        Settling::Fix => "Fixing",
        Settling::Read => "Reading",
        Settling::Find => "Reading the patch",
    };
    start(
        server,
        (what, Some(settling)),
        move |film, context, problems| {
            if settling > Settling::Fix {
                let order = ReadOrder {
                    find: settling == Settling::Find,
                    ..READING
                };
                read_film(film, order, context, problems)?;
            }
            fix_film(film, context, problems)
        },
    )?;
    Ok(())
}

fn named(film: &Film, id: ShotId) -> Result<Shot, AppError> {
    film.shots()?
        .into_iter()
        .find(|shot| shot.id == id)
        .ok_or_else(|| {
            AppError::Request(
                "this shot is not in the film any more; load the page again".to_owned(),
            )
        })
}

fn setup_of(film: &Film, id: ShotId) -> Result<String, AppError> {
    let shot = named(film, id)?;
    Ok(film
        .setup(shot.setup)?
        .map(|setup| setup.name)
        .unwrap_or_default())
}

fn cdl(given: &CdlReport) -> Cdl {
    Cdl {
        slope: given.slope,
        offset: given.offset,
        power: given.power,
        saturation: given.saturation,
    }
}

fn with(film: &Film, shot: ShotId, numbers: &Numbers) -> Result<Vec<Op>, AppError> {
    let windows = |w: &KeyWindows| [w.hue.window(), w.saturation.window(), w.level.window()];
    let keys = numbers.keys.iter().map(|numbers| KeyByHand {
        index: numbers.key,
        windows: numbers.windows.as_ref().map(windows),
        cdl: numbers.cdl.as_ref().map(cdl),
    });
    let by_hand = ByHand {
        cdl: numbers.cdl.as_ref().map(cdl),
        keys: keys.collect(),
        without_key: numbers.without_key,
        key_on: numbers.key_on.clone(),
    };
    with_numbers(film, shot, &by_hand)
}

fn try_numbers(server: &Arc<Server>, shot: ShotId, order: Numbers) -> Result<Tried, Failure> {
    let film = server.to_read()?;
    let ops = with(&film, shot, &order)?;
    let judged = try_ops(&film, &setup_of(&film, shot)?, ops)?;
    let people = judged.fix.people.iter().map(|person| TriedPerson {
        person: person.name.clone(),
        level_pct: person.after.level.0,
        hue_deg: person.after.hue().map(|hue| hue.degrees()),
        sat_ratio: person.after.sat_ratio(),
        de00: person.de00,
        on_aim: person.on_aim,
    });
    Ok(Tried {
        people: people.collect(),
        cost: cost_report(&judged.fix),
        beyond: judged.beyond.iter().map(ToString::to_string).collect(),
    })
}

fn choose_fix(server: &Arc<Server>, shot: ShotId, order: ChooseOrder) -> Result<Done, Failure> {
    decide(server, None, |film| {
        let setup = setup_of(film, shot)?;
        let choice = match &order.fix {
            FixChoice::Rule => None,
            FixChoice::Picture => Some(Choice::Reach(inkarnat_app::Reach::Picture)),
            FixChoice::Mids => Some(Choice::Reach(inkarnat_app::Reach::Mids)),
            FixChoice::Skin => Some(Choice::Reach(inkarnat_app::Reach::Skin)),
            FixChoice::Numbers(numbers) => Some(Choice::Hand(with(film, shot, numbers)?)),
        };
        choose(film, &setup, choice)?;
        Ok(done(format!("the fix of {setup} was chosen")))
    })
}

fn copy_fix(server: &Arc<Server>, shot: ShotId, order: CopyOrder) -> Result<Done, Failure> {
    let CopyOrder { to: CopyTo::Scene } = order;
    decide(server, None, |film| {
        let own = named(film, shot)?.setup;
        let ops: Vec<Op> = inkarnat_app::view::pictures::ops_of(film, shot)?;
        let setups = film.setups()?;
        let scene = setups
            .iter()
            .find(|setup| setup.id == own)
            .map(|setup| setup.scene);
        let mut count = 0;
        for setup in &setups {
            if Some(setup.scene) == scene && setup.id != own {
                choose(film, &setup.name, Some(Choice::Hand(ops.clone())))?;
                count += 1;
            }
        }
        Ok(done(format!("copied to {count} other setups of the scene")))
    })
}

fn keep_shot(server: &Arc<Server>, shot: ShotId, order: KeepOrder) -> Result<Done, Failure> {
    decide(server, Some(Settling::Fix), |film| {
        let name = named(film, shot)?.name;
        keep(film, &name, order.kept)?;
        Ok(done(if order.kept {
            format!("{name} is kept as it is")
        } else {
            format!("{name} is no longer kept")
        }))
    })
}

fn constant_shot(
    server: &Arc<Server>,
    shot: ShotId,
    order: ConstantOrder,
) -> Result<Done, Failure> {
    decide(server, Some(Settling::Fix), |film| {
        let name = named(film, shot)?.name;
        hold_constant(film, &name, order.constant)?;
        Ok(done(if order.constant {
            format!("the fix of {name} is the same in all frames")
        } else {
            format!("the fix of {name} may follow the light")
        }))
    })
}

fn note_shot(server: &Arc<Server>, shot: ShotId, order: NoteOrder) -> Result<Done, Failure> {
    decide(server, None, |film| {
        let name = named(film, shot)?.name;
        note(film, &name, &order.text)?;
        Ok(done(format!("the note of {name} was written")))
    })
}

fn draw_patch(server: &Arc<Server>, shot: ShotId, order: PatchOrder) -> Result<JobView, Failure> {
    decide(server, Some(Settling::Find), |film| {
        let name = named(film, shot)?.name;
        draw_shape(film, &name, &order.person, order.frame, &order.shape)
    })?;
    Ok(server.jobs.view())
}

/// As every decision but drawing: no faces are looked for that were not looked for before.
fn undraw_patch(
    server: &Arc<Server>,
    shot: ShotId,
    order: UndrawOrder,
) -> Result<JobView, Failure> {
    decide(server, Some(Settling::Read), |film| {
        let name = named(film, shot)?.name;
        undraw_shape(film, &name, &order.person, order.frame)
    })?;
    Ok(server.jobs.view())
}

fn people(server: &Arc<Server>, order: PeopleOrder) -> Result<Done, Failure> {
    let what = match order {
        PeopleOrder::Name(text) => Say::Name(text),
        PeopleOrder::Merge(text) => Say::Merge(text),
        PeopleOrder::Split(text) => Say::Split(text),
        PeopleOrder::Complexion(text) => Say::Complexion(text),
    };
    decide(server, Some(Settling::Fix), |film| say(film, &what))?;
    Ok(done("people were changed"))
}

fn answer_question(server: &Arc<Server>, order: AnswerOrder) -> Result<Done, Failure> {
    let read = Some(Settling::Read);
    decide(server, read, |film| answer(film, order.id, order.yes)).map(done)
}

fn go_back(server: &Arc<Server>, _: Nothing) -> Result<Done, Failure> {
    decide(server, Some(Settling::Read), |film| {
        let what = undo(film)?.ok_or_else(|| {
            AppError::Request("there is no decision left to take back".to_owned())
        })?;
        Ok(done(format!("taken back: {what}")))
    })
}

fn go_forward(server: &Arc<Server>, _: Nothing) -> Result<Done, Failure> {
    decide(server, Some(Settling::Read), |film| {
        let what = redo(film)?.ok_or_else(|| {
            AppError::Request("no decision was taken back that could be taken again".to_owned())
        })?;
        Ok(done(format!("taken again: {what}")))
    })
}

/// Nothing makes way here: reading that goes on afterwards might look for the faces again.
fn erase_faces(server: &Arc<Server>, _: Nothing) -> Result<Done, Failure> {
    let _turn = server.turn_to_decide();
    if server.jobs.busy() {
        return Err(Failure::busy(
            "long work is running; wait for it, or stop it first",
        ));
    }
    let count = erase(&mut Film::open(&server.film)?)?;
    server.jobs.film_changed();
    Ok(done(format!("the data of {count} faces was erased")))
}

fn aim(server: &Arc<Server>, order: AimOrder) -> Result<JobView, Failure> {
    let text = format!("{}={}", order.person, order.aim);
    decide(server, Some(Settling::Fix), |film| set_aim(film, &text))?;
    Ok(server.jobs.view())
}

/// Time for the setups of an aim that is tried: whoever looks waits. Solving one takes a small part of it.
const TRYING: Duration = Duration::from_secs(6);

/// One aim at a time is tried; one whose page has gone on to another makes way at its next setup.
fn try_an_aim(
    server: &Arc<Server>,
    order: TryAimOrder,
    cancel: &Cancel,
) -> Result<AimTried, Failure> {
    let _turn = server.turn_to_try();
    if cancel.is_cancelled() {
        return Err(AppError::Cancelled.into());
    }
    let text = format!("{}={}", order.person, order.aim);
    let shots: Vec<ShotId> = order.shots.iter().map(|id| ShotId(*id)).collect();
    // Counted from the first setup on: what all of the film says is needed for every one of them.
    let begun = OnceCell::new();
    let enough = || begun.get_or_init(Instant::now).elapsed() > TRYING;
    let (tried, fixes) = try_aim(&server.to_read()?, &text, &shots, (cancel, &enough))?;
    server.keep_tried(fixes);
    Ok(tried)
}

fn start(
    server: &Arc<Server>,
    (what, settling): (&str, Option<Settling>),
    work: impl FnOnce(&mut Film, Context<'_>, &mut Vec<Problem>) -> Result<(), AppError>
    + Send
    + 'static,
) -> Result<JobView, Failure> {
    let path = server.film.clone();
    server
        .jobs
        .start(
            (what.to_owned(), settling),
            server.workers.clone(),
            move |context, problems| {
                let mut film = open_or_create(&path)?;
                work(&mut film, context, problems)
            },
        )
        .map_err(Failure::busy)
}

fn work(server: &Arc<Server>, order: WorkOrder) -> Result<JobView, Failure> {
    let _turn = server.turn_to_decide();
    match order {
        WorkOrder::TakeIn { clips } => {
            if clips.is_empty() {
                return Err(Failure::bad("no clip was named; name at least one"));
            }
            let clips: Vec<PathBuf> = clips.into_iter().map(PathBuf::from).collect();
            start(
                server,
                ("Taking in", None),
                move |film, context, problems| {
                    take_in(film, &clips, context, problems)?;
                    read_film(film, READING, context, problems)?;
                    fix_film(film, context, problems)
                },
            )
        }
        WorkOrder::Read => start(server, ("Reading", None), |film, context, problems| {
            read_film(film, READING, context, problems)?;
            fix_film(film, context, problems)
        }),
        WorkOrder::Fix => start(server, ("Fixing", None), |film, context, problems| {
            fix_film(film, context, problems)
        }),
        WorkOrder::HandOver {
            directory,
            codec,
            since,
            limit,
            name,
            whole,
            look,
        } => {
            if whole && since.is_some() {
                return Err(Failure::bad(
                    "a picture is handed over whole or by what has changed in it, not both; choose all shots",
                ));
            }
            let directory = PathBuf::from(directory);
            if directory.as_os_str().is_empty() {
                return Err(Failure::bad(
                    "no directory was named; name one that can be written",
                ));
            }
            let delivery = Delivery {
                codec: codec.codec(),
                handles: if since.is_some() { SINCE_HANDLES } else { 0 },
                since,
                limit: limit.map(LimitChoice::limit),
                name,
                whole,
                look,
                ..Delivery::default()
            };
            let server_too = Arc::clone(server);
            start(
                server,
                ("Handing over", None),
                move |film, context, problems| {
                    hand_over(film, &directory, &delivery, context, problems)?;
                    if delivery.codec.is_some() {
                        prove_film(film, context, problems)?;
                    }
                    inkarnat_app::write_readings(film, &directory)?;
                    report::write(film, &directory, &server_too.workers, context.cancel)
                },
            )
        }
        WorkOrder::Prove => start(server, ("Proving", None), |film, context, problems| {
            prove_film(film, context, problems)
        }),
    }
}

fn stop(server: &Arc<Server>, _: Nothing) -> Result<Done, Failure> {
    server.jobs.stop();
    Ok(done("it stops at the next frame"))
}
