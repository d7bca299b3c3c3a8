//! A fix stays where solving anew would move it by less than can be seen.
//!
//! One more shot of somebody moves what is known of them by a hair, and with it every fix of every shot that they are in. What
//! nobody can see is no reason to render a film again and hand it over again.

use crate::steps::fixing::FixRecord;
use inkarnat_color::lab::LabConverter;
use inkarnat_color::{Lab, delta_e_2000};
use inkarnat_fix::{Belief, Fix, Problem, Solution, State, judge_with};
use inkarnat_ops::{Chain, Op};

/// Furthest that a person's mean skin may lie from where the new fix would put it, CIEDE2000. Differences below 1 are commonly
/// not seen side by side (common practice, no source); the tool's own proof allows 0.3.
const SKIN_DE00: f64 = 0.25;
/// The same for the picture, 95th percentile of its sample.
const PICTURE_DE00: f64 = 0.5;
/// A fix that stays short has to stay as far from the aim, share of its way.
const WAY: f64 = 0.02;

/// Puts the fixes that are known in place of those of a solution, each measured against the problem of today, where nobody
/// could see the difference and it is as good: on aim where the new one is, inside every limit.
pub(crate) fn stay(known: &FixRecord, solution: &mut Solution, problem: &Problem, belief: &Belief) {
    if known.carried_from.is_some() {
        return;
    }
    let old = &known.solution;
    let pairs = [
        (Some(&old.picture), Some(&mut solution.picture)),
        (Some(&old.mids), Some(&mut solution.mids)),
        (old.skin.as_ref(), solution.skin.as_mut()),
    ];
    for (old, new) in pairs {
        if let (Some(old), Some(new)) = (old, new)
            && let Some(kept) = kept(old, new, problem, belief)
        {
            *new = kept;
        }
    }
}

/// An old fix as it does today; `None` where the new one is to be taken.
fn kept(old: &Fix, new: &Fix, problem: &Problem, belief: &Belief) -> Option<Fix> {
    // Nothing at all, or something: that is a decision.
    if old.ops == new.ops
        || old.ops.is_empty() != new.ops.is_empty()
        || !alike(&old.ops, &new.ops, problem)
    {
        return None;
    }
    let judged = judge_with(problem, belief, old.ops.clone(), new.reach).ok()?;
    if !judged.beyond.is_empty() {
        return None;
    }
    let state = match (&judged.fix.state, &new.state) {
        (State::OnAim, State::OnAim) => State::OnAim,
        (
            State::Short { way, people, .. },
            State::Short {
                way: now,
                people: short,
                limit,
            },
        ) if people == short && (way - now).abs() <= WAY => State::Short {
            limit: *limit,
            way: *way,
            people: people.clone(),
        },
        _ => return None,
    };
    Some(Fix {
        ops: old.ops.clone(),
        state,
        ..judged.fix
    })
}

/// Whether nobody could see on the pixels of a problem which of two fixes was applied.
fn alike(old: &[Op], new: &[Op], problem: &Problem) -> bool {
    let lab = LabConverter::new(problem.space);
    let [old, new] = [old, new].map(|ops| Chain {
        fix: ops.to_vec(),
        look: problem.look.clone(),
        ..Chain::default()
    });
    let mean = |pixels: &[[f32; 3]], chain: &Chain| -> Lab {
        let mut sum = [0.0; 3];
        for pixel in pixels {
            let out = chain.apply_pixel(pixel.map(f64::from));
            (0..3).for_each(|c| sum[c] += out[c] / pixels.len() as f64);
        }
        lab.lab(sum)
    };
    let skin = problem.people.iter().all(|person| {
        delta_e_2000(mean(&person.skin, &old), mean(&person.skin, &new)).0 <= SKIN_DE00
    });
    let mut moved: Vec<f64> = problem
        .picture
        .iter()
        .map(|pixel| {
            let rgb = pixel.rgb.map(f64::from);
            delta_e_2000(lab.lab(old.apply_pixel(rgb)), lab.lab(new.apply_pixel(rgb))).0
        })
        .collect();
    moved.sort_unstable_by(f64::total_cmp);
    let p95 = moved.get(moved.len() * 95 / 100).copied().unwrap_or(0.0);
    skin && p95 <= PICTURE_DE00
}
