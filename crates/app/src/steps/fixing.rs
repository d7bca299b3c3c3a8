//! Solving every setup.

use crate::event::{Cancel, Stage};
use crate::nearest::{NearestCdl, nearest_cdl};
use crate::problem::{Context, Problem};
use crate::seen::{Seen, look_of_shot};
use crate::show::ChosenBy;
use crate::steps::choosing::{Choice, choice_of, settled};
use crate::steps::exposing::{self, Exposable, expose_film};
use crate::steps::lighting::{ShotLight, ShotSamples, StoredShot, light_for};
use crate::steps::staying::stay;
use crate::steps::suggesting::carried_from;
use crate::steps::taking::AimSetting;
use crate::steps::tinting::{self, Lit, keep_tints};
use crate::{AppError, Result};
use inkarnat_color::WorkingSpace;
use inkarnat_film::{
    Film, InputKey, Person, PersonId, Setup, SetupId, Shot, Stage as Reading, value_of,
};
use inkarnat_fix::{
    AimKind, Belief, Fix, LightVerdict, Limits, PersonProblem, Problem as ToSolve, ProblemError,
    Reach, Solution, State, believe, solve_with,
};
use inkarnat_ops::{Chain, MovingChain, Op};
use inkarnat_reading::{ShotReading, SkinSample};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// Part of the key of every fix: raised when the solver changes.
const METHOD: u32 = 9;

/// Setups that are solved before what was found of them is written down.
const AT_ONCE: usize = 16;

/// What is kept of a solved setup.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FixRecord {
    /// Every reach, and the one chosen.
    pub solution: Solution,
    /// The fix in force as one CDL.
    pub cdl: NearestCdl,
    /// What the editor chose in place of the rule's choice.
    #[serde(default)]
    pub choice: Option<Choice>,
    /// The operations set by hand and what they do, where that is what was chosen.
    #[serde(default)]
    pub by_hand: Option<Fix>,
    /// The limits that those go beyond.
    #[serde(default)]
    pub beyond: Vec<String>,
    /// What all of the film together says of the people and the light of this setup.
    #[serde(default)]
    pub belief: Option<Belief>,
    /// The setup that this fix was taken over from: nobody is read in its own shots.
    #[serde(default)]
    pub carried_from: Option<String>,
    /// The light of its shots, where it is not steady.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub light: Vec<ShotLight>,
}

impl FixRecord {
    /// The fix in force: set by hand, chosen by the editor, or chosen by the rule.
    #[must_use]
    pub fn fix(&self) -> &Fix {
        let solution = &self.solution;
        match (&self.choice, &self.by_hand) {
            (_, Some(by_hand)) => by_hand,
            (Some(Choice::Reach(Reach::Picture)), _) => &solution.picture,
            (Some(Choice::Reach(Reach::Mids)), _) => &solution.mids,
            (Some(Choice::Reach(Reach::Skin)), _) => {
                solution.skin.as_ref().unwrap_or_else(|| solution.fix())
            }
            _ => solution.fix(),
        }
    }

    /// What is done to the frames of a shot: the fix, after what brings their light to that of one of them. A shot of which
    /// the editor says that its fix is constant has no such thing.
    #[must_use]
    pub fn chain_for(&self, shot: &Shot) -> MovingChain {
        MovingChain {
            chain: Chain::of_fix(self.fix().ops.clone()),
            light: light_for(&self.light, shot)
                .filter(|light| light.is_followed() && !shot.constant)
                .map(|light| light.keyframes.clone()),
        }
    }

    /// Its reach in a word; `hand` where it was set by hand.
    pub(crate) fn reach(&self) -> String {
        if self.by_hand.is_some() {
            "hand".to_owned()
        } else {
            self.fix().reach.to_string()
        }
    }

    /// One sentence: why this fix.
    pub(crate) fn why(&self) -> String {
        match &self.choice {
            None => self.solution.why.clone(),
            Some(Choice::Reach(reach)) => format!(
                "Chosen by you: {reach}. The rule would take {}: {}",
                self.solution.chosen, self.solution.why
            ),
            Some(Choice::Hand(_)) => format!(
                "Set by hand. The rule would take {}: {}",
                self.solution.chosen, self.solution.why
            ),
        }
    }

    pub(crate) fn chosen_by(&self) -> ChosenBy {
        match self.choice {
            None => ChosenBy::Rule,
            Some(_) => ChosenBy::Editor,
        }
    }
}

/// A setup to be solved, with the problem that its shots make.
struct Task<'a> {
    setup: &'a Setup,
    shots: Vec<&'a Shot>,
    number: usize,
    problem: ToSolve,
    light: Vec<ShotLight>,
}

/// Solves every setup of which something was read: people and light are estimated over the whole film, then each setup
/// gets its fix.
///
/// # Errors
/// If the film cannot be written, or on cancelling. What is wrong with a setup is a [`Problem`].
pub fn fix_film(film: &mut Film, context: Context<'_>, problems: &mut Vec<Problem>) -> Result<()> {
    let (setups, shots, people) = (film.setups()?, film.shots()?, film.people()?);
    let Tasks {
        tasks,
        without,
        failed,
    } = Tasks::of(film, (&setups, &shots, &people), context.cancel)?;
    for (setup, error) in failed {
        context.fail(problems, Stage::Fix, &setup.name, error.to_string());
    }
    let Believed {
        beliefs,
        tints,
        proposals,
    } = believed(film, &tasks)?;
    film.ask(&[tinting::ABOUT], &tints)?;
    film.ask(&[exposing::ABOUT], &proposals)?;
    let ready = tasks
        .iter()
        .zip(beliefs)
        .map(|(task, belief)| Ready::of(film, task, belief))
        .collect::<Result<Vec<_>>>()?;
    for (ready, solution) in solved_in_order(&ready, AT_ONCE, context.cancel) {
        if context.cancel.is_cancelled() {
            return Err(AppError::Cancelled);
        }
        let task = ready.task;
        match fix_setup(film, ready, solution, context, setups.len()) {
            Ok(()) => {}
            Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
            Err(error) => context.fail(problems, Stage::Fix, &task.setup.name, error.to_string()),
        }
    }
    for setup in without {
        carry(film, setup, &tasks, context)?;
    }
    Ok(())
}

/// What fixing finds to do in a film.
struct Tasks<'a> {
    tasks: Vec<Task<'a>>,
    /// Setups in which nobody is read.
    without: Vec<&'a Setup>,
    /// Setups of which no problem could be made, and why.
    failed: Vec<(&'a Setup, AppError)>,
}

impl<'a> Tasks<'a> {
    /// From the setups and shots of a film, and its people with the aims that count.
    fn of(
        film: &Film,
        (setups, shots, people): (&'a [Setup], &'a [Shot], &[Person]),
        cancel: &Cancel,
    ) -> Result<Self> {
        let mut found = Self {
            tasks: Vec::new(),
            without: Vec::new(),
            failed: Vec::new(),
        };
        let parts: Vec<(usize, &Setup, Vec<&Shot>)> = setups
            .iter()
            .enumerate()
            .map(|(index, setup)| {
                let own = shots
                    .iter()
                    .filter(|shot| shot.setup == setup.id && !shot.kept)
                    .collect();
                (index, setup, own)
            })
            // An earlier fix waits there for the day when keeping is taken back.
            .filter(|(_, _, own): &(_, _, Vec<&Shot>)| !own.is_empty())
            .collect();
        for some in parts.chunks(AT_ONCE) {
            if cancel.is_cancelled() {
                return Err(AppError::Cancelled);
            }
            // The film is read here, what it holds is unpacked on all cores.
            let stored: Vec<Result<StoredSetup<'_>>> = some
                .iter()
                .map(|(_, _, own)| StoredSetup::of(film, own, people))
                .collect();
            let problems: Vec<Result<Option<Made>>> = stored
                .into_par_iter()
                .zip(some)
                .map(|(stored, (_, _, own))| stored?.problem(own))
                .collect();
            for ((index, setup, own), problem) in some.iter().zip(problems) {
                match problem {
                    Ok(Some((problem, light))) => found.tasks.push(Task {
                        setup,
                        shots: own.clone(),
                        number: index + 1,
                        problem,
                        light,
                    }),
                    Ok(None) => found.without.push(setup),
                    Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
                    Err(error) => found.failed.push((setup, error)),
                }
            }
        }
        Ok(found)
    }
}

/// What all tasks together say of people and light, and what is to be asked of the editor beside.
struct Believed {
    beliefs: Vec<Solved<Belief>>,
    tints: Vec<(String, Value)>,
    proposals: Vec<(String, Value)>,
}

fn believed(film: &Film, tasks: &[Task<'_>]) -> Result<Believed> {
    let all: Vec<ToSolve> = tasks.iter().map(|task| task.problem.clone()).collect();
    let mut beliefs = believe(&all);
    let mut lit: Vec<Lit<'_>> = tasks
        .iter()
        .zip(&mut beliefs)
        .map(|(task, belief)| Lit {
            setup: task.setup,
            shots: &task.shots,
            belief: belief.as_mut().ok(),
        })
        .collect();
    let tints = keep_tints(film, &mut lit)?;
    let mut exposable: Vec<Exposable<'_>> = tasks
        .iter()
        .zip(&mut beliefs)
        .map(|(task, belief)| Exposable {
            setup: task.setup,
            problem: &task.problem,
            belief: belief.as_mut().ok(),
        })
        .collect();
    let proposals = expose_film(film, &mut exposable)?;
    Ok(Believed {
        beliefs,
        tints,
        proposals,
    })
}

/// Setups that are solved at a time before it is asked whether that is enough.
const TRIED_AT_ONCE: usize = 4;

/// The fixes that some setups would get.
pub(crate) struct Fixes {
    /// As [`fix_film`] would write them down. `None`: it would find none, or drop the one there is.
    pub(crate) fixes: Vec<(SetupId, Option<FixRecord>)>,
    /// Setups that were wanted and are left, since it was enough before.
    pub(crate) left: Vec<SetupId>,
}

/// The fixes that some setups of a film, and those that carry theirs, would get from [`fix_film`] if its people had these aims,
/// solved in the order in which they are named until `enough` says that it is; the film stays as it is. What fixing would leave
/// alone is not among them.
///
/// # Errors
/// If no problem can be made of one of these setups with these aims, the film cannot be read, or on cancelling.
pub(crate) fn fixes_with(
    film: &Film,
    people: &[Person],
    wanted: &[SetupId],
    (cancel, enough): (&Cancel, &dyn Fn() -> bool),
) -> Result<Fixes> {
    let (setups, shots) = (film.setups()?, film.shots()?);
    let Tasks {
        tasks,
        without,
        failed,
    } = Tasks::of(film, (&setups, &shots, people), cancel)?;
    let mut carrying = Vec::new();
    for setup in &without {
        if let Some(from) = carried_from(film, setup)? {
            carrying.push((from.id, setup.id));
        }
    }
    // What is carried is solved first, where it comes from.
    let mut order: Vec<SetupId> = Vec::new();
    for setup in wanted {
        let from = carrying.iter().find(|(_, to)| to == setup);
        for id in from.map(|(from, _)| *from).into_iter().chain([*setup]) {
            if !order.contains(&id) {
                order.push(id);
            }
        }
    }
    if let Some((_, error)) = failed
        .into_iter()
        .find(|(setup, _)| order.contains(&setup.id))
    {
        return Err(error);
    }
    if cancel.is_cancelled() {
        return Err(AppError::Cancelled);
    }
    let place = |setup: &Setup| order.iter().position(|id| *id == setup.id);
    let mut ready = tasks
        .iter()
        .zip(believed(film, &tasks)?.beliefs)
        .filter_map(|(task, belief)| Some((place(task.setup)?, task, belief)))
        .map(|(place, task, belief)| Ok((place, Ready::of(film, task, belief)?)))
        .collect::<Result<Vec<_>>>()?;
    ready.sort_by_key(|(place, _)| *place);
    let ready: Vec<Ready<'_>> = ready.into_iter().map(|(_, ready)| ready).collect();
    let mut found = Fixes {
        fixes: Vec::new(),
        left: Vec::new(),
    };
    for some in ready.chunks(TRIED_AT_ONCE) {
        if enough() {
            found
                .left
                .extend(some.iter().map(|ready| ready.task.setup.id));
            continue;
        }
        for (ready, solution) in solved_in_order(some, TRIED_AT_ONCE, cancel) {
            if cancel.is_cancelled() {
                return Err(AppError::Cancelled);
            }
            let record = record_of(film, ready, solution)?;
            let record = record.ok().map(|settled| settled.record);
            found.fixes.push((ready.task.setup.id, record));
        }
    }
    for setup in without {
        let from = carrying.iter().find(|(_, to)| *to == setup.id);
        let from = from.map(|(from, _)| *from);
        if from.is_some_and(|from| found.left.contains(&from)) {
            found.left.push(setup.id);
            continue;
        }
        let donor = found.fixes.iter().find(|(id, _)| Some(*id) == from);
        if donor.is_none() && !wanted.contains(&setup.id) {
            continue;
        }
        let task = tasks.iter().find(|task| Some(task.setup.id) == from);
        let donor = donor.and_then(|(_, record)| record.as_ref());
        let record = task.zip(donor).map(|(task, donor)| carried(task, donor));
        found.fixes.push((setup.id, record));
    }
    Ok(found)
}

/// A setup without a readable face carries the fix of another one of its camera in its scene. Where
/// there is none, it has none, and reading has said so.
fn carry(film: &mut Film, setup: &Setup, tasks: &[Task<'_>], context: Context<'_>) -> Result<()> {
    let from = carried_from(film, setup)?;
    let task = from.and_then(|from| tasks.iter().find(|task| task.setup.id == from.id));
    let Some(task) = task else {
        return Ok(film.drop_fix(setup.id)?);
    };
    let Some((key, donor)) = film.fix::<FixRecord>(task.setup.id)? else {
        return Ok(film.drop_fix(setup.id)?);
    };
    let record = carried(task, &donor);
    let key = InputKey::of(&(METHOD, &task.setup.name, &key, &record.solution.picture.ops));
    let known = film
        .fix::<FixRecord>(setup.id)?
        .is_some_and(|(known, _)| known == key);
    if !known {
        keep_record(film, setup.id, &key, &record)?;
    }
    context.ended(
        Stage::Fix,
        &setup.name,
        format!("carries the fix of {}", task.setup.name),
        known,
    );
    Ok(())
}

/// The fix of a setup as another one carries it, in which nobody is read.
fn carried(task: &Task<'_>, donor: &FixRecord) -> FixRecord {
    let mut fix = donor.fix().clone();
    fix.people.clear();
    // What was done to skin alone is nothing to a picture without any: its walls stay as they are
    // beside it.
    fix.ops.retain(|op| !matches!(op, Op::KeyedCdl(_)));
    let why = format!(
        "Nobody is read here: the fix of {}, of the same camera in the same scene.",
        task.setup.name
    );
    fix.reach = Reach::Picture;
    fix.explain.clone_from(&why);
    FixRecord {
        cdl: nearest_cdl(&fix.ops, &task.problem),
        solution: Solution {
            chosen: Reach::Picture,
            why,
            mids: Fix {
                reach: Reach::Mids,
                ..fix.clone()
            },
            picture: fix,
            skin: None,
            no_key: None,
            light: donor.solution.light.clone(),
        },
        choice: None,
        by_hand: None,
        beyond: Vec::new(),
        belief: None,
        carried_from: Some(task.setup.name.clone()),
        light: Vec::new(),
    }
}

type Solved<T> = std::result::Result<T, ProblemError>;

/// A setup, what is believed of it, and the key of both together.
struct Ready<'a> {
    task: &'a Task<'a>,
    belief: Solved<(Belief, InputKey)>,
    /// Whether the film holds its fix already.
    known: bool,
}

impl<'a> Ready<'a> {
    fn of(film: &Film, task: &'a Task<'a>, belief: Solved<Belief>) -> Result<Self> {
        let belief = belief.map(|belief| {
            let key = if task.light.is_empty() {
                InputKey::of(&(METHOD, &task.problem, &belief))
            } else {
                InputKey::of(&(METHOD, &task.problem, &belief, &task.light))
            };
            (belief, key)
        });
        let known = match &belief {
            Ok((_, key)) => film.fix_key(task.setup.id)?.as_ref() == Some(key),
            Err(_) => false,
        };
        Ok(Self {
            task,
            belief,
            known,
        })
    }
}

/// Every setup with its solution, in order; `None` where the film holds it already. Some are solved at a time on all cores,
/// so that what was found is written down before long and stopping loses little.
fn solved_in_order<'a>(
    ready: &'a [Ready<'a>],
    at_once: usize,
    cancel: &'a Cancel,
) -> impl Iterator<Item = (&'a Ready<'a>, Option<Solved<(Solution, NearestCdl)>>)> {
    ready.chunks(at_once).flat_map(|some| {
        some.par_iter()
            .map(|ready| {
                let solution = match &ready.belief {
                    Ok((belief, _)) if !ready.known && !cancel.is_cancelled() => {
                        Some(solved(&ready.task.problem, belief))
                    }
                    _ => None,
                };
                (ready, solution)
            })
            .collect::<Vec<_>>()
    })
}

/// A setup's solution with the CDL nearest to the fix that it chooses.
fn solved(problem: &ToSolve, belief: &Belief) -> Solved<(Solution, NearestCdl)> {
    let solution = solve_with(problem, belief)?;
    let cdl = nearest_cdl(&solution.fix().ops, problem);
    Ok((solution, cdl))
}

/// The fix of a setup as it is written down.
struct Settled {
    record: FixRecord,
    /// The film holds it, solved before from the same input.
    known: bool,
    /// Nothing of it changed since, so that there is nothing to write.
    unchanged: bool,
}

/// The fix that a setup gets from its solution: what was solved before from the same input, else the new one, or the old one where
/// nobody could see the difference; with the editor's choice in force. The inner error: it cannot be solved.
fn record_of(
    film: &Film,
    ready: &Ready<'_>,
    solution: Option<Solved<(Solution, NearestCdl)>>,
) -> Result<Solved<Settled>> {
    let Task {
        setup,
        problem,
        light,
        ..
    } = ready.task;
    let (belief, _) = match &ready.belief {
        Ok(believed) => believed,
        Err(error) => return Ok(Err(error.clone())),
    };
    let kept = film.fix::<FixRecord>(setup.id)?.map(|(_, record)| record);
    let choice = choice_of(film, setup.id)?;
    if ready.known
        && let Some(record) = kept
    {
        let unchanged = record.choice == choice;
        return Ok(Ok(Settled {
            record: if unchanged {
                record
            } else {
                settled(record, choice, problem)?
            },
            known: true,
            unchanged,
        }));
    }
    let (mut solution, mut cdl) = match solution.unwrap_or_else(|| solved(problem, belief)) {
        Ok(solution) => solution,
        Err(error) => return Ok(Err(error)),
    };
    let ops = solution.fix().ops.clone();
    if let Some(kept) = kept
        && kept.light == *light
    {
        stay(&kept, &mut solution, problem, belief);
    }
    if solution.fix().ops != ops {
        cdl = nearest_cdl(&solution.fix().ops, problem);
    }
    let record = FixRecord {
        cdl,
        solution,
        choice: None,
        by_hand: None,
        beyond: Vec::new(),
        belief: Some(belief.clone()),
        carried_from: None,
        light: light.clone(),
    };
    Ok(Ok(Settled {
        record: settled(record, choice, problem)?,
        known: false,
        unchanged: false,
    }))
}

fn fix_setup(
    film: &mut Film,
    ready: &Ready<'_>,
    solution: Option<Solved<(Solution, NearestCdl)>>,
    context: Context<'_>,
    count: usize,
) -> Result<()> {
    let Task {
        setup,
        number,
        light,
        shots,
        ..
    } = ready.task;
    context.begun(Stage::Fix, &setup.name, (*number, count));
    let unsolvable = |film: &mut Film, error: &ProblemError| {
        let _ = film.drop_fix(setup.id);
        AppError::Request(format!("{}: {error}", setup.name))
    };
    let found = record_of(film, ready, solution)?.map_err(|error| unsolvable(film, &error))?;
    let (_, key) = ready
        .belief
        .as_ref()
        .map_err(|error| unsolvable(film, error))?;
    let Settled {
        record,
        known,
        unchanged,
    } = found;
    if !unchanged {
        keep_record(film, setup.id, key, &record)?;
    }
    if known {
        context.ended(
            Stage::Fix,
            &setup.name,
            "solved before from the same input".to_owned(),
            true,
        );
        return Ok(());
    }
    let fix = record.fix();
    let summary = match &fix.state {
        State::OnAim if fix.is_identity() => "on aim as it is; no fix".to_owned(),
        State::OnAim => format!("{}: on aim. {}", record.reach(), record.why()),
        State::Short { limit, .. } => {
            format!(
                "{}: short, stopped by {limit}. {}",
                record.reach(),
                record.why()
            )
        }
    };
    for ShotLight { shot, light, .. } in light {
        let name = shots
            .iter()
            .find(|known| known.id.0 == *shot)
            .map_or(&setup.name, |shot| &shot.name);
        if let Some(sentence) = light.sentence() {
            context.note(name, &sentence);
        }
    }
    context.ended(Stage::Fix, &setup.name, summary, false);
    Ok(())
}

/// Writes a setup's fix down.
pub(crate) fn keep_record(
    film: &mut Film,
    setup: SetupId,
    key: &InputKey,
    record: &FixRecord,
) -> Result<()> {
    let solution = &record.solution;
    let mut reaches = vec![
        ("picture", value_of(&solution.picture)),
        ("mids", value_of(&solution.mids)),
    ];
    if let Some(skin) = &solution.skin {
        reaches.push(("skin", value_of(skin)));
    }
    film.keep_fix(setup, key, &record.reach(), &reaches, &value_of(record))?;
    Ok(())
}

/// The problem of the shots of one setup, and the light of those where it is not steady; `None` where nothing was read.
///
/// Where the light is followed, what goes into the problem is in the light that the frames are brought to.
pub(crate) fn problem_of(film: &Film, shots: &[&Shot]) -> Result<Option<Made>> {
    StoredSetup::of(film, shots, &film.people()?)?.problem(shots)
}

/// A problem, and the light of the shots where it is not steady.
type Made = (ToSolve, Vec<ShotLight>);

/// What the film holds of the shots of one setup.
struct StoredSetup<'a> {
    shots: Vec<StoredShot>,
    people: &'a [Person],
    /// Of those who are read here, an aim that cannot be had is an error.
    aims: Vec<Result<inkarnat_fix::Aim>>,
    scene: Option<String>,
    look: Vec<Op>,
    space: WorkingSpace,
}

impl<'a> StoredSetup<'a> {
    /// With these people, whose aims may be others than those in the film.
    fn of(film: &Film, shots: &[&Shot], people: &'a [Person]) -> Result<Self> {
        let sources = film.sources()?;
        let stored = |shot: &&Shot| StoredShot::of(film, shot, people, &sources);
        Ok(Self {
            shots: shots.iter().map(stored).collect::<Result<_>>()?,
            aims: people.iter().map(|who| resolved_aim(film, who)).collect(),
            people,
            scene: scene_of(film, shots)?,
            look: match shots.first() {
                Some(shot) => look_of_shot(film, shot)?,
                None => Vec::new(),
            },
            space: film.space(),
        })
    }

    fn problem(self, shots: &[&Shot]) -> Result<Option<Made>> {
        let mut lights = Vec::new();
        let mut aims: Vec<Option<Result<inkarnat_fix::Aim>>> =
            self.aims.into_iter().map(Some).collect();
        let mut people: Vec<(PersonId, PersonProblem)> = Vec::new();
        let mut picture = Vec::new();
        let mut noise: Vec<f64> = Vec::new();
        for (shot, stored) in shots.iter().zip(&self.shots) {
            let mut read = false;
            let ShotSamples {
                picture: record,
                skin,
                light,
            } = stored.unpacked(self.space)?;
            let light = light.filter(|light| light.verdict != LightVerdict::Steady);
            let followed = light.as_ref().filter(|_| !shot.constant);
            for ((person, sample), aim) in self.people.iter().zip(skin).zip(&mut aims) {
                let Some(SkinSample { pixels, frames }) = sample else {
                    continue;
                };
                read = true;
                let skin = match followed {
                    Some(light) => light.brought_all(pixels, &frames),
                    None => pixels,
                };
                let frames = (shot.out_frame - shot.in_frame) as f64;
                if let Some((_, problem)) = people.iter_mut().find(|(id, _)| *id == person.id) {
                    problem.skin.extend(skin);
                    problem.frames = problem.frames.map(|known| known + frames);
                    continue;
                }
                // Each is asked for once: whoever is met again is among the people already.
                let Some(aim) = aim.take().transpose()? else {
                    continue;
                };
                people.push((
                    person.id,
                    PersonProblem {
                        name: person.name.clone(),
                        skin,
                        aim,
                        frames: Some(frames),
                        ..PersonProblem::default()
                    },
                ));
            }
            if read && let Some(mut record) = record {
                if let Some(light) = followed {
                    light.bring_picture(&mut record.sample, &record.frames);
                }
                picture.extend(record.sample);
                noise.extend(record.dark_noise);
            }
            if read {
                lights.extend(light.map(|light| ShotLight {
                    shot: shot.id.0,
                    source: shot.source.0,
                    frames: (shot.in_frame, shot.out_frame),
                    light,
                }));
            }
        }
        if people.is_empty() {
            return Ok(None);
        }
        let problem = ToSolve {
            people: people.into_iter().map(|(_, problem)| problem).collect(),
            picture,
            limits: Limits::default(),
            space: self.space,
            dark_noise: (!noise.is_empty()).then(|| noise.iter().sum::<f64>() / noise.len() as f64),
            scene: self.scene,
            look: self.look,
            ..ToSolve::default()
        };
        Ok(Some((problem, lights)))
    }
}

/// The scene of a setup's shots, where it holds other setups too: one setup alone has nothing to agree with.
///
/// Nobody has told scenes apart while all setups lie in the one that every film begins with: an exterior and a bedroom
/// need not read alike, so levels stay then.
fn scene_of(film: &Film, shots: &[&Shot]) -> Result<Option<String>> {
    let setups = film.setups()?;
    if film.scenes()?.len() < 2 {
        return Ok(None);
    }
    let scene = shots
        .first()
        .and_then(|shot| setups.iter().find(|setup| setup.id == shot.setup))
        .map(|setup| setup.scene);
    Ok(scene
        .filter(|scene| setups.iter().filter(|setup| setup.scene == *scene).count() > 1)
        .map(|scene| scene.0.to_string()))
}

/// The aim as it was set.
pub(crate) fn aim_setting(person: &Person) -> Result<AimSetting> {
    serde_json::from_value(person.aim.clone()).map_err(|error| {
        AppError::Request(format!(
            "{}: an aim of another version ({error}); set it again with `inkarnat aim`",
            person.name
        ))
    })
}

/// A person's aim with the numbers of a reference shot filled in.
fn resolved_aim(film: &Film, person: &Person) -> Result<inkarnat_fix::Aim> {
    let aim = aim_setting(person)?.aim;
    let AimKind::Like(name) = &aim.kind else {
        return Ok(aim);
    };
    let shot = film.shot_named(name)?;
    let reading = film
        .shot_reading::<ShotReading>(shot.id, person.id, Reading::Before)?
        .map(|reading| {
            Seen::of(film, &shot)?.reading(
                (film, &shot, person.id),
                (Reading::Before, false),
                &reading,
            )
        })
        .transpose()?
        .ok_or_else(|| {
            AppError::Request(format!(
                "{}: the aim is like shot {name}, where {} was not read; draw a patch of {} there and read it",
                person.name, person.name, person.name
            ))
        })?;
    Ok(aim.with_reference(
        reading.level,
        reading.hue,
        reading.sat_ratio.unwrap_or_default(),
    ))
}
