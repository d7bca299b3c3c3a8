//! What the solver is given.

use inkarnat_color::WorkingSpace;
use inkarnat_ops::Op;
use serde::{Deserialize, Serialize};

use crate::aim::{Aim, AimKind};
use crate::limits::{Limits, LimitsError};

/// One pixel of the picture sample.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PicturePixel {
    /// R'G'B' working signal.
    pub rgb: [f32; 3],
    /// Whether it is skin of anybody; such pixels are no evidence about the light and no part of "everything else".
    pub skin: bool,
}

/// One person of a problem.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PersonProblem {
    /// Name, as messages give it.
    pub name: String,
    /// Sample of the chosen skin pixels over the shot, R'G'B' working signal. Some 500 are enough.
    pub skin: Vec<[f32; 3]>,
    /// Where this person should read.
    pub aim: Aim,
    /// Light on the lit side of the face over light on the shaded one, where it was read; 1 = no difference.
    #[serde(default)]
    pub key_to_fill: Option<f64>,
    /// For how many frames the person is seen here: what this problem weighs among the person's others.
    #[serde(default)]
    pub frames: Option<f64>,
}

/// One fix to be found.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Problem {
    /// The people in the shot, at least one.
    pub people: Vec<PersonProblem>,
    /// Sample of the whole picture over the shot, without bars, mattes and titles. Some 4000 are enough.
    pub picture: Vec<PicturePixel>,
    /// How far the fix may go.
    #[serde(default)]
    pub limits: Limits,
    /// What the working signal means.
    pub space: WorkingSpace,
    /// Noise of the darkest quarter as a standard deviation of Y', signal units, where it is known.
    #[serde(default)]
    pub dark_noise: Option<f64>,
    /// The scene: people read alike in all problems of one scene. `None`: alone.
    #[serde(default)]
    pub scene: Option<String>,
    /// The look that follows the fix: aims are for what is seen through it, everything else for what goes into it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub look: Vec<Op>,
    /// Rows of the table of lights that must not be used, by name (`data/skin_light.csv`).
    #[serde(default)]
    pub excluded_lights: Vec<String>,
}

/// A problem that cannot be solved, and why.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ProblemError {
    /// Nobody to correct for.
    #[error("no person in this problem; expected the skin of at least one")]
    NoPeople,
    /// Somebody who is not read here.
    #[error("{person} is not read in this setup; read here: {}", known.join(", "))]
    NotThere {
        /// Who.
        person: String,
        /// Who is.
        known: Vec<String>,
    },
    /// Too few usable skin pixels.
    #[error(
        "{person}: {usable} of {given} skin pixels are usable (finite, not black, not clipped); expected at least {needed}. Draw the patch on lit, unclipped skin"
    )]
    TooLittleSkin {
        /// Who.
        person: String,
        /// Usable pixels.
        usable: usize,
        /// Pixels given.
        given: usize,
        /// Least number.
        needed: usize,
    },
    /// A `like:` aim whose reference was not read.
    #[error(
        "{person}: the aim is like shot \"{shot}\", whose reading is not filled in; read that shot first"
    )]
    NoReference {
        /// Who.
        person: String,
        /// The shot named.
        shot: String,
    },
    /// An aim with a number that cannot be.
    #[error("{person}: the aim's {what} is {given}; expected a finite number above 0")]
    BadAim {
        /// Who.
        person: String,
        /// Which number.
        what: &'static str,
        /// The number.
        given: f64,
    },
    /// A limit that cannot be.
    #[error(transparent)]
    Limits(#[from] LimitsError),
}

/// Fewest usable skin pixels: a trimmed mean of fewer is not a reading.
pub const LEAST_SKIN: usize = 8;

impl Problem {
    /// Checks everything that does not need the pixels' meaning.
    ///
    /// # Errors
    /// The first thing found wrong.
    pub fn validate(&self) -> Result<(), ProblemError> {
        self.limits.validate()?;
        if self.people.is_empty() {
            return Err(ProblemError::NoPeople);
        }
        for person in &self.people {
            if let (AimKind::Like(shot), true) = (&person.aim.kind, person.aim.needs_reference()) {
                return Err(ProblemError::NoReference {
                    person: person.name.clone(),
                    shot: shot.clone(),
                });
            }
            for (what, value) in [
                ("width", Some(person.aim.width)),
                ("level", person.aim.level.centre()),
            ] {
                if let Some(given) = value
                    && !(given.is_finite() && given > 0.0)
                {
                    return Err(ProblemError::BadAim {
                        person: person.name.clone(),
                        what,
                        given,
                    });
                }
            }
        }
        Ok(())
    }
}
