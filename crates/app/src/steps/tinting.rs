//! Tints that several cameras of a scene share: kept as intended until the editor says otherwise.

use crate::steps::taking::listed;
use crate::{AppError, Result};
use inkarnat_film::{Film, Scene, Setup, Shot};
use inkarnat_fix::{Belief, SharedTint, Tint, shared_tint};
use serde_json::{Value, json};

/// Beginning of what a question about a tint is about; the number of the scene follows.
pub(crate) const ABOUT: &str = "tint:";

/// Says whether tints that cameras share are kept or corrected, in one scene or in the whole film.
///
/// # Errors
/// If there is no such scene or word, or the film cannot be written.
pub fn set_tint(film: &mut Film, scene: Option<&str>, word: &str) -> Result<()> {
    if !["keep", "correct"].contains(&word) {
        return Err(AppError::Request(format!(
            "tint {word}: expected keep or correct"
        )));
    }
    let scenes = film.scenes()?;
    let scene = match scene {
        None => None,
        Some(name) => Some(scenes.iter().find(|s| s.name == name).ok_or_else(|| {
            AppError::Request(format!(
                "there is no scene {name}; the film has: {}",
                listed(scenes.iter().map(|s| s.name.as_str()))
            ))
        })?),
    };
    film.set_tint(scene, word)?;
    // What was asked is answered.
    let open: Vec<(String, Value)> = film
        .questions()?
        .into_iter()
        .filter(|q| {
            q.about
                .strip_prefix(ABOUT)
                .is_some_and(|id| scene.is_some_and(|s| s.id.0.to_string() != id))
        })
        .map(|q| (q.about, q.asked))
        .collect();
    film.ask(&[ABOUT], &open)?;
    Ok(())
}

/// The camera of a setup: the letters at the head of a reel name as cameras write it (A001, B003; common practice, no source);
/// of a source with another name, the setup stands for a camera of its own.
fn camera_of(stem: &str, setup: &str) -> String {
    let letters: String = stem
        .chars()
        .take_while(|c| c.is_ascii_alphabetic())
        .collect();
    let digits = stem[letters.len()..]
        .chars()
        .take_while(char::is_ascii_digit)
        .count();
    if (1..=2).contains(&letters.len()) && digits >= 3 {
        letters.to_ascii_uppercase()
    } else {
        format!("setup {setup}")
    }
}

/// A solved setup's place in the search for tints.
pub(crate) struct Lit<'a> {
    pub(crate) setup: &'a Setup,
    pub(crate) shots: &'a [&'a Shot],
    pub(crate) belief: Option<&'a mut Belief>,
}

/// Finds the tints that cameras of a scene share, and has them kept unless the editor says otherwise. Gives what is to be asked
/// where nobody has said anything.
pub(crate) fn keep_tints(film: &Film, lit: &mut [Lit<'_>]) -> Result<Vec<(String, Value)>> {
    let said = film.tint()?;
    let scenes = film.scenes()?;
    let sources = film.sources()?;
    let space = film.space();
    let mut questions = Vec::new();
    for scene in &scenes {
        let word = scene.tint.as_deref().or(said.as_deref());
        // While all lies in the one scene that every film begins with, nobody has told scenes apart.
        if word == Some("correct") || (scenes.len() < 2 && word.is_none()) {
            continue;
        }
        let own: Vec<usize> = (0..lit.len())
            .filter(|i| lit[*i].setup.scene == scene.id && lit[*i].belief.is_some())
            .collect();
        let cameras: Vec<String> = own
            .iter()
            .map(|i| {
                let stem = lit[*i]
                    .shots
                    .first()
                    .and_then(|shot| sources.iter().find(|source| source.id == shot.source))
                    .and_then(|source| source.path.file_stem())
                    .map(|stem| stem.to_string_lossy().into_owned())
                    .unwrap_or_default();
                camera_of(&stem, &lit[*i].setup.name)
            })
            .collect();
        let lights: Vec<(&str, _)> = own
            .iter()
            .zip(&cameras)
            .filter_map(|(i, camera)| {
                let belief = lit[*i].belief.as_deref()?;
                Some((camera.as_str(), &belief.white))
            })
            .collect();
        let Some(tint) = shared_tint(&lights, space) else {
            continue;
        };
        for (i, agrees) in own.iter().zip(&tint.agree) {
            if let Some(belief) = lit[*i].belief.as_deref_mut() {
                belief.tint = Some(Tint {
                    cast: tint.cast,
                    agrees: *agrees,
                });
            }
        }
        if word.is_none() {
            let names: Vec<&str> = own.iter().map(|i| lit[*i].setup.name.as_str()).collect();
            questions.push((
                format!("{ABOUT}{}", scene.id.0),
                json!({"people": [], "shot": Value::Null, "text": question(scene, &names, &tint)}),
            ));
        }
    }
    Ok(questions)
}

fn question(scene: &Scene, setups: &[&str], tint: &SharedTint) -> String {
    let part = |wanted: bool| {
        listed(
            setups
                .iter()
                .zip(&tint.agree)
                .filter(|(_, agrees)| **agrees == wanted)
                .map(|(name, _)| *name),
        )
    };
    let others = if tint.agree.iter().all(|agrees| *agrees) {
        String::new()
    } else {
        format!("; {} would be brought to it", part(false))
    };
    format!(
        "is the {} light of scene {} meant so? Cameras agree on it ({}: {:.1} CIEDE2000 apart, at least {:.0} from neutral). It is kept until this is answered; no has it corrected{others}",
        leaning(tint.cast),
        scene.name,
        part(true),
        tint.apart,
        tint.from_neutral,
    )
}

/// Where a light leans, in a word.
fn leaning([red, blue]: [f64; 2]) -> &'static str {
    if red > 0.0 && red > blue {
        "warm"
    } else if blue > 0.0 && blue > red {
        "cold"
    } else {
        "green"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_camera_is_known_by_its_reel() {
        assert_eq!(camera_of("A001_office", "x"), "A");
        assert_eq!(camera_of("c0034", "x"), "C");
        assert_eq!(camera_of("MVI1234", "x"), "setup x");
        assert_eq!(camera_of("kitchen", "y"), "setup y");
        assert_eq!(camera_of("", "y"), "setup y");
    }

    #[test]
    fn lights_lean_in_a_word() {
        assert_eq!(leaning([0.5, -0.9]), "warm");
        assert_eq!(leaning([-0.3, 0.4]), "cold");
        assert_eq!(leaning([-0.3, -0.4]), "green");
    }
}
