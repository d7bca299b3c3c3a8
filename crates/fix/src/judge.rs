//! What operations do that were set by hand, and where setting some begins.

use inkarnat_ops::{KeyedCdl, Op};

use crate::evidence::Evidence;
use crate::joint::{Belief, believe};
use crate::keyed;
use crate::limits::Limit;
use crate::model::Move;
use crate::problem::{Problem, ProblemError};
use crate::sample::Ready;
use crate::solution::{Fix, Reach};
use crate::solve::{family_of, judged, objective_of, targets_of};

/// Operations set by hand, measured as a solved fix is.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The operations with everybody before and after and what they cost.
    pub fix: Fix,
    /// The limits that they go beyond, which a solved fix never does.
    pub beyond: Vec<Limit>,
}

/// Measures operations that nobody solved for against the aims and limits of a problem.
///
/// Nothing is moved to fit: whoever sets a fix by hand gets it as it was set, and is told what it costs.
///
/// # Errors
/// As [`crate::solve()`].
pub fn judge(problem: &Problem, ops: Vec<Op>, reach: Reach) -> Result<Judgement, ProblemError> {
    let belief = believe(std::slice::from_ref(problem))
        .pop()
        .unwrap_or(Err(ProblemError::NoPeople))?;
    judge_with(problem, &belief, ops, reach)
}

/// [`judge()`] with what [`believe`] found out about the problem among the others.
///
/// # Errors
/// As [`crate::solve()`].
pub fn judge_with(
    problem: &Problem,
    belief: &Belief,
    ops: Vec<Op>,
    reach: Reach,
) -> Result<Judgement, ProblemError> {
    let ready = Ready::new(problem, Evidence::new(problem)?, belief);
    let targets = targets_of(problem, &ready, belief);
    let objective = objective_of(problem, &ready, &targets, family_of(&ready, reach));
    let done = objective.state_of(Move::given(ops));
    let beyond: Vec<Limit> = done
        .0
        .excess
        .iter()
        .filter(|(_, excess)| *excess > 0.0)
        .map(|(limit, _)| *limit)
        .collect();
    let fix = judged(problem, &objective, done, &|_, _| Limit::Reach);
    Ok(Judgement { fix, beyond })
}

/// A key on one person's skin to begin with: laid around that skin as the operations leave it, with the gains that bring it the
/// rest of the way to its aim. It is to come after the operations.
///
/// Unlike the keys of a solved fix it is laid whatever else it takes in: whoever asks for it sees that, and moves it.
///
/// # Errors
/// As [`crate::solve()`]; [`ProblemError::NotThere`] if nothing was read of that person.
pub fn key_on(
    problem: &Problem,
    belief: &Belief,
    ops: Vec<Op>,
    person: &str,
) -> Result<KeyedCdl, ProblemError> {
    let index = problem
        .people
        .iter()
        .position(|known| known.name == person)
        .ok_or_else(|| ProblemError::NotThere {
            person: person.to_owned(),
            known: problem.people.iter().map(|p| p.name.clone()).collect(),
        })?;
    let ready = Ready::new(problem, Evidence::new(problem)?, belief);
    let targets = targets_of(problem, &ready, belief);
    Ok(keyed::key_on(&ready, &targets, index, &Move::given(ops)))
}
