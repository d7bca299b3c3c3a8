//! The editor's own choice of a fix: another reach, or operations set by hand.

use crate::nearest::nearest_cdl;
use crate::show::skin_not_solved;
use crate::steps::fixing::{FixRecord, keep_record, problem_of};
use crate::steps::handing::chain_of;
use crate::view::shot::shot_of;
use crate::{AppError, Result};
use inkarnat_film::{Film, Setup, SetupId, Shot, ShotId, value_of};
use inkarnat_fix::{
    Belief, Judgement, Problem as ToSolve, Reach, believe, judge, judge_with, key_on,
};
use inkarnat_ops::{Cdl, Chain, Op, Window};
use serde::{Deserialize, Serialize};

/// What the editor chose for a setup in place of the rule's choice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Choice {
    /// Another of the solved reaches.
    Reach(Reach),
    /// Operations set by hand.
    Hand(Vec<Op>),
}

/// Makes a choice for a setup, or takes it back with `None`.
///
/// # Errors
/// If the setup has no fix, the reach was not solved, or an operation is invalid; if the film cannot be written.
pub fn choose(film: &mut Film, setup: &str, choice: Option<Choice>) -> Result<()> {
    let setup = setup_named(film, setup)?;
    check(film, &setup, choice.as_ref())?;
    let detail = serde_json::json!({"setup": setup.name, "choice": choice});
    film.set_choice(setup.id, choice.as_ref().map(value_of).as_ref(), &detail)?;
    settle_choices(film)
}

fn check(film: &Film, setup: &Setup, choice: Option<&Choice>) -> Result<()> {
    match choice {
        None | Some(Choice::Reach(Reach::Picture | Reach::Mids)) => Ok(()),
        Some(Choice::Reach(Reach::Skin)) => {
            let why = match film.fix::<FixRecord>(setup.id)? {
                Some((_, record)) => skin_not_solved(&record),
                None => Some("nothing was solved yet".to_owned()),
            };
            match why {
                None => Ok(()),
                Some(why) => Err(AppError::Request(format!(
                    "{}: no correction of skin alone was solved ({why}); choose picture or mids",
                    setup.name
                ))),
            }
        }
        Some(Choice::Hand(ops)) => validated(setup, ops),
    }
}

fn validated(setup: &Setup, ops: &[Op]) -> Result<()> {
    Chain::of_fix(ops.to_vec())
        .validate()
        .map_err(|error| AppError::Request(format!("{}: {error}", setup.name)))
}

/// Numbers in place of those of a fix.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ByHand {
    /// In place of its first CDL; one is put before everything else where there is none.
    pub cdl: Option<Cdl>,
    /// In place of those of its keys on skin.
    pub keys: Vec<KeyByHand>,
    /// The key on skin that is taken away, by its place among them, from 0.
    pub without_key: Option<usize>,
    /// The person on whose skin one more key is laid, after everything else, with what is left to that person's aim.
    pub key_on: Option<String>,
}

/// Numbers in place of those of a key on skin; `None` leaves them.
#[derive(Clone, Debug, PartialEq)]
pub struct KeyByHand {
    /// Its place among the keys of the fix, from 0.
    pub index: usize,
    /// Hue, saturation and level.
    pub windows: Option<[Window; 3]>,
    /// What is done under it.
    pub cdl: Option<Cdl>,
}

/// The operations of a shot's fix with numbers set by hand.
///
/// # Errors
/// If there is no such shot, key or person, or the film cannot be read.
pub fn with_numbers(film: &Film, shot: ShotId, numbers: &ByHand) -> Result<Vec<Op>> {
    let shots = film.shots()?;
    let shot = shot_of(&shots, shot)?;
    let mut ops = chain_of(film, shot)?.chain.fix;
    let no_key = |index: usize| {
        AppError::Request(format!(
            "the fix of this shot has no key number {}; load the page again",
            index + 1
        ))
    };
    for KeyByHand {
        index,
        windows,
        cdl,
    } in &numbers.keys
    {
        let at = keyed_at(&ops, *index).ok_or_else(|| no_key(*index))?;
        let Op::KeyedCdl(keyed) = &mut ops[at] else {
            return Err(no_key(*index));
        };
        if let Some([hue, saturation, level]) = windows {
            keyed.key.hue = *hue;
            keyed.key.saturation = *saturation;
            keyed.key.level = *level;
        }
        if let Some(cdl) = cdl {
            keyed.cdl = *cdl;
        }
    }
    if let Some(cdl) = numbers.cdl {
        match ops.iter().position(|op| matches!(op, Op::Cdl(_))) {
            Some(first) => ops[first] = Op::Cdl(cdl),
            None => ops.insert(0, Op::Cdl(cdl)),
        }
    }
    if let Some(index) = numbers.without_key {
        let at = keyed_at(&ops, index).ok_or_else(|| no_key(index))?;
        ops.remove(at);
    }
    if let Some(person) = &numbers.key_on {
        let setup = film.setup(shot.setup)?.ok_or_else(|| {
            AppError::Request("this shot has no setup any more; load the page again".to_owned())
        })?;
        let problem = read_problem(film, &setup)?;
        let known = film.fix::<FixRecord>(setup.id)?;
        let belief = match known.and_then(|(_, record)| record.belief) {
            Some(belief) => belief,
            None => believed(&problem)?,
        };
        let keyed = key_on(&problem, &belief, ops.clone(), person)
            .map_err(|error| AppError::Request(format!("{}: {error}", setup.name)))?;
        ops.push(Op::KeyedCdl(keyed));
    }
    Ok(ops)
}

/// Where the key of that number stands.
fn keyed_at(ops: &[Op], index: usize) -> Option<usize> {
    let keyed = ops
        .iter()
        .enumerate()
        .filter(|(_, op)| matches!(op, Op::KeyedCdl(_)));
    keyed.map(|(at, _)| at).nth(index)
}

/// What is believed of a setup by itself.
fn believed(problem: &ToSolve) -> Result<Belief> {
    let alone = believe(std::slice::from_ref(problem)).pop();
    alone
        .unwrap_or(Err(inkarnat_fix::ProblemError::NoPeople))
        .map_err(|error| AppError::Request(error.to_string()))
}

/// Measures operations on a setup without choosing them.
///
/// # Errors
/// If nothing was read in the setup, or an operation is invalid.
pub fn try_ops(film: &Film, setup: &str, ops: Vec<Op>) -> Result<Judgement> {
    let setup = setup_named(film, setup)?;
    validated(&setup, &ops)?;
    let problem = read_problem(film, &setup)?;
    let belief = film
        .fix::<FixRecord>(setup.id)?
        .and_then(|(_, record)| record.belief);
    judged(&problem, belief.as_ref(), ops)
}

/// Brings every fix in line with the choice that stands in the film: after a choice was made or undone.
///
/// # Errors
/// If the film cannot be written.
pub fn settle_choices(film: &mut Film) -> Result<()> {
    for setup in film.setups()? {
        let choice = choice_of(film, setup.id)?;
        let Some((key, record)) = film.fix::<FixRecord>(setup.id)? else {
            continue;
        };
        // What is carried from another setup follows that one when it is solved again.
        if record.choice != choice && record.carried_from.is_none() {
            let problem = read_problem(film, &setup)?;
            let record = settled(record, choice, &problem)?;
            keep_record(film, setup.id, &key, &record)?;
        }
    }
    Ok(())
}

/// The choice that stands in the film.
pub(crate) fn choice_of(film: &Film, setup: SetupId) -> Result<Option<Choice>> {
    let Some(value) = film.choice(setup)? else {
        return Ok(None);
    };
    serde_json::from_value(value).map(Some).map_err(|error| {
        AppError::Request(format!(
            "a fix was chosen by another version ({error}); choose it again"
        ))
    })
}

/// A solved setup with a choice in force.
pub(crate) fn settled(
    mut record: FixRecord,
    choice: Option<Choice>,
    problem: &ToSolve,
) -> Result<FixRecord> {
    record.by_hand = None;
    record.beyond.clear();
    if let Some(Choice::Hand(ops)) = &choice {
        let Judgement { mut fix, beyond } = judged(problem, record.belief.as_ref(), ops.clone())?;
        // A key stays, whatever is done under it so far: it is there to be worked with.
        fix.ops
            .retain(|op| !op.is_identity() || matches!(op, Op::KeyedCdl(_)));
        record.by_hand = Some(fix);
        record.beyond = beyond.iter().map(ToString::to_string).collect();
    }
    record.choice = choice;
    record.cdl = nearest_cdl(&record.fix().ops, problem);
    Ok(record)
}

fn judged(problem: &ToSolve, belief: Option<&Belief>, ops: Vec<Op>) -> Result<Judgement> {
    match belief {
        Some(belief) => judge_with(problem, belief, ops, Reach::Picture),
        None => judge(problem, ops, Reach::Picture),
    }
    .map_err(|error| AppError::Request(error.to_string()))
}

fn setup_named(film: &Film, name: &str) -> Result<Setup> {
    let setups = film.setups()?;
    let known = crate::steps::taking::listed(setups.iter().map(|setup| &setup.name));
    setups
        .into_iter()
        .find(|setup| setup.name == name)
        .ok_or_else(|| {
            AppError::Request(format!(
                "{name} is not a setup of this film; it has: {known}"
            ))
        })
}

fn read_problem(film: &Film, setup: &Setup) -> Result<ToSolve> {
    let shots = film.shots()?;
    let own: Vec<&Shot> = shots.iter().filter(|shot| shot.setup == setup.id).collect();
    let found = problem_of(film, &own)?.map(|(problem, _)| problem);
    found.ok_or_else(|| {
        AppError::Request(format!(
            "{}: nothing was read in it yet; read it first",
            setup.name
        ))
    })
}
