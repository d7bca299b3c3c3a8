//! The editor's own choice of a fix: another reach, or operations set by hand.

use crate::nearest::nearest_cdl;
use crate::show::skin_not_solved;
use crate::steps::fixing::{FixRecord, keep_record, problem_of};
use crate::{AppError, Result};
use inkarnat_film::{Film, Setup, SetupId, Shot, value_of};
use inkarnat_fix::{Belief, Judgement, Problem as ToSolve, Reach, judge, judge_with};
use inkarnat_ops::{Chain, Op};
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
        fix.ops.retain(|op| !op.is_identity());
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
