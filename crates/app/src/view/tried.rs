//! What another aim of a person would do, before it is taken: the same fixes and the same readings that taking it gives, and
//! nothing of it is written down.

use super::Point;
use super::overview::point;
use crate::event::Cancel;
use crate::show::known::Known;
use crate::show::{PersonReport, ShotReport, ShotState, limit_of, shot_report};
use crate::steps::fixing::{Fixes, fixes_with};
use crate::steps::taking::{aim_in, listed};
use crate::view::shot::shot_of;
use crate::{AppError, Result};
use inkarnat_color::{Lab, delta_e_2000};
use inkarnat_film::{Film, InputKey, Person, SetupId, Shot, ShotId, value_of};
use inkarnat_ops::MovingChain;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeSet;

/// Shots that an aim is tried on at once.
pub const TRIED_SHOTS: usize = 64;

/// Another person is said to move where the fix that was tried puts their skin at least this far from where it is now, CIEDE2000:
/// a tenth of what is commonly not seen side by side (common practice, no source), and what a figure of one decimal shows.
const MOVED_DE00: f64 = 0.1;

/// What an aim would do, without being taken.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AimTried {
    /// The person.
    pub person: String,
    /// The aim that was tried, as it was typed.
    pub aim: String,
    /// The shots that were asked for, in the order in which they were.
    pub shots: Vec<AimTriedShot>,
    /// Shots that were asked for and not solved in the time there was, by the film's numbers of them.
    pub left: Vec<i64>,
    /// Shots that were not asked for and whose fix would be another one too: they are of the same setups, or carry their fix.
    pub also: Vec<String>,
}

/// What an aim would do in one shot.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AimTriedShot {
    /// The film's number of the shot.
    pub id: i64,
    /// Its name.
    pub shot: String,
    /// The source.
    pub before: Option<Point>,
    /// With the fix in force.
    pub now: Option<Point>,
    /// With the aim that was tried.
    pub tried: Option<Point>,
    /// The centre of that aim here: level in percent; null where nothing is solved to it.
    pub aim_level_pct: Option<f64>,
    /// The centre of that aim here: hue in degrees.
    pub aim_hue_deg: Option<f64>,
    /// Width of that aim, CIEDE2000.
    pub width_de00: f64,
    /// CIEDE2000 from that centre in the source.
    pub de00_before: Option<f64>,
    /// CIEDE2000 from that centre with the fix in force.
    pub de00_now: Option<f64>,
    /// CIEDE2000 from that centre with the aim that was tried.
    pub de00_tried: Option<f64>,
    /// The state of this person here, now.
    pub state_now: ShotState,
    /// The state that it would be.
    pub state: ShotState,
    /// Why it would be that, where it would be `unread`, `off aim` or `short`.
    pub why: Option<String>,
    /// The limit that would stop the fix, where it would be short.
    pub limit: Option<String>,
    /// The reach that would be chosen; null where there would be no fix.
    pub reach: Option<String>,
    /// One sentence: why the fix would be what it is.
    pub sentence: String,
    /// Whether the picture would be another one than it is now.
    pub changes: bool,
    /// The other people of the shot who would move.
    pub others: Vec<OtherMoved>,
    /// Names the fix that was tried to `shots/{shot}/picture`, side `tried`.
    pub picture: String,
}

/// Somebody else who would move with the fix.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct OtherMoved {
    /// The name.
    pub person: String,
    /// Change of level, percent of reference white.
    pub level_pct: f64,
    /// Change of hue, degrees; null where there is no hue before or after it.
    pub hue_deg: Option<f64>,
    /// CIEDE2000 between now and then.
    pub de00: f64,
    /// The state now.
    pub state_now: ShotState,
    /// The state that it would be.
    pub state: ShotState,
}

/// What is done to the frames of a shot with an aim that was tried.
#[derive(Clone, Debug)]
pub struct TriedFix {
    /// As [`AimTriedShot::picture`].
    pub name: String,
    /// The fix.
    pub chain: MovingChain,
}

/// Tries an aim, `NAME=AIM`, on some shots; the film stays as it is. Setups are solved in the order of the shots until `enough` says
/// that it has been long enough; what is left then is named.
///
/// # Errors
/// If it is no aim, the film has nobody of that name or no such shot, or on cancelling.
pub fn try_aim(
    film: &Film,
    text: &str,
    shots: &[ShotId],
    (cancel, enough): (&Cancel, &dyn Fn() -> bool),
) -> Result<(AimTried, Vec<TriedFix>)> {
    if shots.is_empty() || shots.len() > TRIED_SHOTS {
        return Err(AppError::Request(format!(
            "{text}: {} shots were named; name 1 to {TRIED_SHOTS}",
            shots.len()
        )));
    }
    let (name, aim) = aim_in(film, text)?;
    let mut people = film.people()?;
    let known = listed(people.iter().map(|person| &person.name));
    let person = people
        .iter_mut()
        .find(|person| person.name == name)
        .ok_or_else(|| {
            AppError::Request(format!(
                "{text}: there is nobody called {name} in this film; it has: {known}"
            ))
        })?;
    person.aim = value_of(&aim);
    let person = person.id;
    let all = film.shots()?;
    let asked: Vec<&Shot> = shots
        .iter()
        .map(|id| shot_of(&all, *id))
        .collect::<Result<_>>()?;
    let mut setups: Vec<SetupId> = Vec::new();
    for shot in &asked {
        if !setups.contains(&shot.setup) {
            setups.push(shot.setup);
        }
    }
    let Fixes { fixes, left } = fixes_with(film, &people, &setups, (cancel, enough))?;
    let solved: BTreeSet<SetupId> = fixes.iter().map(|(setup, _)| *setup).collect();
    let now = Known::of(film)?;
    let then = Known::of(film)?.with_aim((person, aim.clone()), fixes);
    let mut tried = AimTried {
        person: name.clone(),
        aim: aim.text,
        shots: Vec::new(),
        left: Vec::new(),
        also: Vec::new(),
    };
    let mut chains = Vec::new();
    for shot in &asked {
        if left.contains(&shot.setup) && !shot.kept {
            tried.left.push(shot.id.0);
            continue;
        }
        let (found, fix) = in_shot(&now, &then, shot, &people, &name)?;
        tried.shots.push(found);
        chains.push(fix);
    }
    for shot in &all {
        if solved.contains(&shot.setup)
            && !shots.contains(&shot.id)
            && chain_in(&now, shot)? != chain_in(&then, shot)?
        {
            tried.also.push(shot.name.clone());
        }
    }
    Ok((tried, chains))
}

/// One shot with the aims in the film and with the one that is tried.
fn in_shot(
    now: &Known<'_>,
    then: &Known<'_>,
    shot: &Shot,
    people: &[Person],
    name: &str,
) -> Result<(AimTriedShot, TriedFix)> {
    let (was, is) = (shot_report(now, shot)?, shot_report(then, shot)?);
    let (chain_now, chain) = (chain_in(now, shot)?, chain_in(then, shot)?);
    let record = then.fix(shot)?;
    let of = |report: &ShotReport, name: &str| {
        let found = report.people.iter().find(|p| p.person == name);
        found.cloned()
    };
    let (Some(person_was), Some(person)) = (of(&was, name), of(&is, name)) else {
        return Err(AppError::Request(format!(
            "{name} is not in {}; load the page again",
            shot.name
        )));
    };
    let centre = person.aim.centre.as_ref();
    let off = |reading: Option<&crate::show::ReadingReport>| {
        Some(delta_e_2000(lab(reading?.lab), lab(centre?.lab)).0)
    };
    let others = people
        .iter()
        .filter(|other| other.name != name)
        .filter_map(|other| moved(&of(&was, &other.name)?, &of(&is, &other.name)?))
        .collect();
    let name = InputKey::of(&("tried", &chain)).0;
    let found = AimTriedShot {
        id: shot.id.0,
        shot: shot.name.clone(),
        de00_before: person.aim_de00_before,
        de00_now: off(person_was.after.as_ref()),
        de00_tried: person.aim_de00_after,
        before: person.before.as_ref().map(point),
        now: person_was.after.as_ref().map(point),
        tried: person.after.as_ref().map(point),
        aim_level_pct: centre.map(|c| c.level_pct),
        aim_hue_deg: centre.and_then(|c| c.hue_deg),
        width_de00: person.aim.width_de00,
        state_now: person_was.state,
        state: person.state,
        why: person.why.clone(),
        limit: match person.state {
            ShotState::Short => record.as_deref().and_then(|record| limit_of(record.fix())),
            _ => None,
        },
        reach: record.as_deref().map(|record| record.reach()),
        sentence: super::overview::sentence_of(&is),
        changes: chain != chain_now,
        others,
        picture: name.clone(),
    };
    Ok((found, TriedFix { name, chain }))
}

/// What is done to the frames of a shot.
fn chain_in(known: &Known<'_>, shot: &Shot) -> Result<MovingChain> {
    let record = known.fix(shot)?;
    Ok(record
        .map(|record| record.chain_for(shot))
        .unwrap_or_default())
}

/// Somebody else who moves, and how.
fn moved(was: &PersonReport, is: &PersonReport) -> Option<OtherMoved> {
    let (from, to) = (was.after.as_ref()?, is.after.as_ref()?);
    let de00 = delta_e_2000(lab(from.lab), lab(to.lab)).0;
    (de00 >= MOVED_DE00 || was.state != is.state).then(|| OtherMoved {
        person: is.person.clone(),
        level_pct: to.level_pct - from.level_pct,
        hue_deg: from.hue_deg.zip(to.hue_deg).map(|(from, to)| {
            inkarnat_color::Hue::from_degrees(to)
                .from_origin(inkarnat_color::Hue::from_degrees(from))
                .degrees()
        }),
        de00,
        state_now: was.state,
        state: is.state,
    })
}

const fn lab([l, a, b]: [f64; 3]) -> Lab {
    Lab { l, a, b }
}
