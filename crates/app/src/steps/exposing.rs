//! Exposure that the pictures themselves propose: shown with its evidence, applied where the editor accepts it.

use crate::event::Event;
use crate::problem::Context;
use crate::steps::taking::listed;
use crate::{AppError, Result};
use inkarnat_film::{Exposed, Film, Question, Setup};
use inkarnat_fix::exposure::{Exposure, exposure};
use inkarnat_fix::{Belief, Problem as ToSolve};
use serde_json::{Value, json};

/// Beginning of what a proposal is about; `scene:` or `setup:` and its number follow.
pub(crate) const ABOUT: &str = "exposure:";
/// Stops are proposed and accepted in steps of this: finer would claim more than is known.
const STEP: f64 = 0.1;
/// Most that can be typed, in stops. A fix moves exposure by 1.5 at most, and says `short` beyond.
const MOST: f64 = 3.0;

/// A solved setup's place in the search for proposals.
pub(crate) struct Exposable<'a> {
    pub(crate) setup: &'a Setup,
    pub(crate) problem: &'a ToSolve,
    pub(crate) belief: Option<&'a mut Belief>,
}

/// Applies what was accepted. Gives what is to be proposed where nobody has said anything.
///
/// Where scenes were told apart, a scene is exposed as one; else each setup is by itself.
pub(crate) fn expose_film(
    film: &Film,
    parts: &mut [Exposable<'_>],
) -> Result<Vec<(String, Value)>> {
    let scenes = film.scenes()?;
    let whole = scenes.len() > 1;
    let mut proposals = Vec::new();
    let mut done = vec![false; parts.len()];
    for first in 0..parts.len() {
        if done[first] {
            continue;
        }
        let setup = parts[first].setup;
        let scene = scenes.iter().find(|s| whole && s.id == setup.scene);
        let own: Vec<usize> = (first..parts.len())
            .filter(|i| {
                scene.map_or(*i == first, |scene| parts[*i].setup.scene == scene.id)
                    && parts[*i].belief.is_some()
            })
            .collect();
        for i in &own {
            done[*i] = true;
        }
        let what = scene.map_or_else(
            || Exposed::Setup(setup.clone()),
            |scene| Exposed::Scene(scene.clone()),
        );
        if let Some(stops) = what.said() {
            for i in own {
                if let Some(belief) = parts[i].belief.as_deref_mut() {
                    belief.expose(stops);
                }
            }
            continue;
        }
        let together: Vec<_> = own
            .iter()
            .filter_map(|i| Some((parts[*i].problem, parts[*i].belief.as_deref()?)))
            .collect();
        // Levels that were typed are the editor's own word on exposure.
        let typed = together.iter().all(|(problem, _)| {
            problem
                .people
                .iter()
                .all(|person| person.aim.level.centre().is_some())
        });
        if typed {
            continue;
        }
        if let Some(found) = exposure(&together)
            && found.is_worth_proposing()
        {
            let about = match &what {
                Exposed::Scene(scene) => format!("{ABOUT}scene:{}", scene.id.0),
                Exposed::Setup(setup) => format!("{ABOUT}setup:{}", setup.id.0),
            };
            let stops = (found.stops / STEP).round() * STEP;
            proposals.push((
                about,
                json!({
                    "people": [],
                    "text": text(&what, stops, &found),
                    "name": what.name(),
                    "stops": stops,
                    "stops_u": found.stops_u,
                }),
            ));
        }
    }
    Ok(proposals)
}

fn text(what: &Exposed, stops: f64, found: &Exposure) -> String {
    let kind = match what {
        Exposed::Scene(_) => "scene",
        Exposed::Setup(_) => "setup",
    };
    let lean = if stops > 0.0 { "under" } else { "over" };
    let mut reasons = Vec::new();
    if let Some(white) = found.white_pct {
        reasons.push(format!(
            "the brightest thing that is taken for neutral reads {white:.0} % (a white one in the light on the faces about 80)"
        ));
    }
    if let Some(bright) = found.bright_pct {
        reasons.push(format!(
            "the brightest fiftieth of the picture begins at {bright:.0} %"
        ));
    }
    if !found.skin_pct.is_empty() {
        reasons.push(format!(
            "skin reads {} (published faces 20–61 %)",
            listed(
                found
                    .skin_pct
                    .iter()
                    .map(|(name, pct)| format!("{name} {pct:.0} %"))
            )
        ));
    }
    format!(
        "{kind} {} reads about {:.1} stops {lean} as a whole (± {:.1}): {}. Night, or a dark room, may be meant so",
        what.name(),
        stops.abs(),
        found.stops_u,
        reasons.join("; ")
    )
}

/// What an open proposal is about.
fn subject(film: &Film, question: &Question) -> Result<Option<Exposed>> {
    let Some(rest) = question.about.strip_prefix(ABOUT) else {
        return Ok(None);
    };
    Ok(match rest.split_once(':') {
        Some(("scene", id)) => film
            .scenes()?
            .into_iter()
            .find(|scene| scene.id.0.to_string() == id)
            .map(Exposed::Scene),
        Some(("setup", id)) => film
            .setups()?
            .into_iter()
            .find(|setup| setup.id.0.to_string() == id)
            .map(Exposed::Setup),
        _ => None,
    })
}

/// Proposals that are open, with what they are about.
fn open(film: &Film) -> Result<Vec<(Question, Exposed)>> {
    let mut found = Vec::new();
    for question in film.questions()? {
        if question.answer.is_none()
            && let Some(what) = subject(film, &question)?
        {
            found.push((question, what));
        }
    }
    Ok(found)
}

/// Writes down what was said, and lists it no longer.
fn settle(film: &mut Film, said: &[(Exposed, Option<f64>)]) -> Result<()> {
    film.set_exposures(said)?;
    let left: Vec<_> = open(film)?
        .into_iter()
        .filter(|(_, what)| !said.iter().any(|(other, _)| other.name() == what.name()))
        .map(|(question, _)| (question.about, question.asked))
        .collect();
    film.ask(&[ABOUT], &left)?;
    Ok(())
}

/// Accepts open proposals: all of them, or the one about the scene or setup of that name. Gives what was accepted in words.
/// `fix_film` applies it.
///
/// # Errors
/// If there is no such proposal, or the film cannot be written.
pub fn accept(film: &mut Film, name: Option<&str>) -> Result<Vec<String>> {
    let all = open(film)?;
    let chosen: Vec<_> = all
        .iter()
        .filter(|(_, what)| name.is_none_or(|name| what.name() == name))
        .collect();
    if let (Some(name), true) = (name, chosen.is_empty()) {
        return Err(AppError::Request(if all.is_empty() {
            format!(
                "nothing is proposed for {name}: no proposal is open; `inkarnat show` lists them after `inkarnat fix`"
            )
        } else {
            format!(
                "nothing is proposed for {name}; proposals are open for: {}",
                listed(all.iter().map(|(_, what)| what.name().to_owned()))
            )
        }));
    }
    let said: Vec<(Exposed, Option<f64>)> = chosen
        .iter()
        .map(|(question, what)| (what.clone(), question.asked["stops"].as_f64()))
        .collect();
    if said.is_empty() {
        return Ok(Vec::new());
    }
    let words = said
        .iter()
        .map(|(what, stops)| format!("{}: {}", what.name(), in_words(*stops)))
        .collect();
    settle(film, &said)?;
    Ok(words)
}

fn in_words(stops: Option<f64>) -> String {
    match stops {
        None => "exposure as the pictures propose".to_owned(),
        Some(0.0) => "exposure stays".to_owned(),
        Some(stops) => format!("exposure by {stops:+.1} stops"),
    }
}

/// Answers a proposal: yes accepts it, no lets exposure stay.
pub(crate) fn answer_proposal(film: &mut Film, question: &Question, yes: bool) -> Result<()> {
    let what = subject(film, question)?.ok_or_else(|| {
        AppError::Request(format!(
            "proposal {}: its scene is no more; `inkarnat fix` looks again",
            question.id
        ))
    })?;
    let stops = if yes {
        question.asked["stops"].as_f64()
    } else {
        Some(0.0)
    };
    settle(film, &[(what, stops)])
}

/// Sets exposures as typed: `NAME=STOPS` or `NAME=own`, of a scene, or of a setup where no scenes were told apart.
///
/// # Errors
/// If one of them cannot be read or names nothing; then none is set.
pub fn set_exposures(film: &mut Film, typed: &[String]) -> Result<()> {
    let whole = film.scenes()?.len() > 1;
    let things: Vec<Exposed> = if whole {
        film.scenes()?.into_iter().map(Exposed::Scene).collect()
    } else {
        film.setups()?.into_iter().map(Exposed::Setup).collect()
    };
    let mut said = Vec::new();
    for text in typed {
        let wrong = |why: String| AppError::Request(format!("--exposure {text}: {why}"));
        let (name, value) = text
            .rsplit_once('=')
            .ok_or_else(|| wrong("expected NAME=STOPS or NAME=own".to_owned()))?;
        let what = things
            .iter()
            .find(|what| what.name() == name)
            .ok_or_else(|| {
                wrong(format!(
                    "there is no {} {name}; the film has: {}",
                    if whole { "scene" } else { "setup" },
                    listed(things.iter().map(|what| what.name().to_owned()))
                ))
            })?;
        let stops = if value == "own" {
            None
        } else {
            let stops: f64 = value
                .parse()
                .map_err(|_| wrong(format!("\"{value}\" is not a number of stops")))?;
            if stops.is_nan() || stops.abs() > MOST {
                return Err(wrong(format!("{value} is outside -{MOST} to {MOST} stops")));
            }
            Some(stops)
        };
        said.push((what.clone(), stops));
    }
    settle(film, &said)
}

/// Accepts whatever is proposed and says so. Gives whether there was anything.
pub(crate) fn accept_all(film: &mut Film, context: Context<'_>) -> Result<bool> {
    let accepted = accept(film, None)?;
    for words in &accepted {
        context.watch.event(&Event::Note {
            shot: film.name().to_owned(),
            text: format!("accepted: {words}"),
        });
    }
    Ok(!accepted.is_empty())
}
