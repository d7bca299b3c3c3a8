//! Setups, scenes, notes, and going back in the history.

use crate::show::describe;
use crate::steps::choosing::settle_choices;
use crate::steps::people::settle_people;
use crate::{AppError, Result};
use inkarnat_film::{Decision, Film, Person, Shot, ShotId};

/// A change to setups or scenes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Grouping {
    /// These shots belong to one setup of this name.
    Setup {
        /// The setup.
        name: String,
        /// The shots.
        shots: Vec<String>,
    },
    /// These shots belong to a scene of this name.
    Scene {
        /// The scene.
        name: String,
        /// The shots.
        shots: Vec<String>,
    },
    /// A setup gets another name.
    RenameSetup {
        /// The name that it has.
        name: String,
        /// The name that it gets.
        to: String,
    },
    /// A scene gets another name.
    RenameScene {
        /// The name that it has.
        name: String,
        /// The name that it gets.
        to: String,
    },
}

/// Joins, splits, moves or renames setups and scenes.
///
/// # Errors
/// If something named is not in the film; if the film cannot be written.
pub fn group(film: &mut Film, grouping: &Grouping) -> Result<()> {
    match grouping {
        Grouping::Setup { name, shots } => {
            let shots = named(film, shots)?;
            film.put_in_setup(&shots, name)?;
        }
        Grouping::Scene { name, shots } => {
            let shots = named(film, shots)?;
            film.put_in_scene(&shots, name)?;
        }
        Grouping::RenameSetup { name, to } => film.rename_group("setup", name, to)?,
        Grouping::RenameScene { name, to } => film.rename_group("scene", name, to)?,
    }
    Ok(())
}

fn named(film: &Film, names: &[String]) -> Result<Vec<ShotId>> {
    if names.is_empty() {
        return Err(AppError::Request(
            "no shot is named; name the shots that belong together".to_owned(),
        ));
    }
    let shots: Vec<Shot> = names
        .iter()
        .map(|name| film.shot_named(name))
        .collect::<std::result::Result<_, _>>()?;
    Ok(shots.into_iter().map(|shot| shot.id).collect())
}

/// Sets the note of a shot; an empty one takes it away.
///
/// # Errors
/// If there is no such shot; if the text has more than one line; if the film cannot be written.
pub fn note(film: &mut Film, shot: &str, text: &str) -> Result<()> {
    let shot = film.shot_named(shot)?;
    let text = text.trim();
    if text.contains(['\n', '\r']) {
        return Err(AppError::Request(
            "a note is one line of text; leave the line breaks out".to_owned(),
        ));
    }
    film.set_note(&shot, text)?;
    Ok(())
}

/// Takes the last decision back, and says which; `None` where there is none.
///
/// # Errors
/// If the film cannot be written.
pub fn undo(film: &mut Film) -> Result<Option<String>> {
    let people = film.people()?;
    let undone = film.undo()?;
    gone(film, undone.as_ref(), &people)
}

/// Takes the last decision that was taken back again, and says which.
///
/// # Errors
/// If the film cannot be written.
pub fn redo(film: &mut Film) -> Result<Option<String>> {
    let people = film.people()?;
    let redone = film.redo()?;
    gone(film, redone.as_ref(), &people)
}

fn gone(film: &mut Film, decision: Option<&Decision>, people: &[Person]) -> Result<Option<String>> {
    settle_choices(film)?;
    if let Some(decision) = decision {
        settle_people(film, decision, people)?;
    }
    Ok(decision.map(describe))
}
