//! The whole job, unattended.

use crate::Result;
use crate::problem::{Context, Problem};
use crate::steps::exposing::accept_all;
use crate::steps::fixing::fix_film;
use crate::steps::handing::{Delivery, hand_over, write_readings};
use crate::steps::proving::prove_film;
use crate::steps::reading::{ReadOrder, read_film};
use crate::steps::recutting::{CutOrder, cut_film};
use crate::steps::taking::{draw, set_aims, take_in};
use crate::steps::tinting::set_tint;
use crate::steps::transforming::{LookSaid, set_input_as_typed, set_look};
use crate::steps::whole::clips_of;
use inkarnat_film::Film;
use std::path::{Path, PathBuf};

/// What the whole job is given.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    /// The clips.
    pub clips: Vec<PathBuf>,
    /// The cut list that uses them; `None`: each clip is a shot.
    pub cut: Option<PathBuf>,
    /// Patches as typed.
    pub patches: Vec<String>,
    /// Aims as typed.
    pub aims: Vec<String>,
    /// What is said about tints that cameras of a scene share: `keep`, `correct`; `None`: asked, and kept until then.
    pub tint: Option<String>,
    /// Whether the exposure that the pictures propose is taken.
    pub accept: bool,
    /// Input transforms: a file for all clips, or `CLIP=FILE`.
    pub inputs: Vec<String>,
    /// The look over the fix.
    pub look: Option<PathBuf>,
    /// Whether faces are looked for: not in this film from now on, if not.
    pub faces: bool,
    /// A first pass over every n-th frame.
    pub every: Option<u64>,
    /// Where to hand over to.
    pub directory: PathBuf,
    /// What to hand over.
    pub delivery: Delivery,
}

/// Takes in, reads, fixes, hands over, proves, and writes the readings down.
///
/// # Errors
/// As the steps.
pub fn run(
    film: &mut Film,
    order: &Order,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    match &order.cut {
        None => take_in(film, &order.clips, context, problems)?,
        Some(list) => {
            let cut = CutOrder {
                list: list.clone(),
                clips: order.clips.clone(),
                rate: None,
            };
            cut_film(film, &cut, context, problems)?;
        }
    }
    for text in &order.inputs {
        set_input_as_typed(film, text)?;
    }
    if let Some(look) = &order.look {
        set_look(film, None, LookSaid::File(look))?;
    }
    draw(film, &order.patches, context, problems)?;
    if !order.faces {
        film.set_finds_faces(false)?;
    }
    let find = film.finds_faces()?;
    if order.faces && !find {
        context.note(
            film.name(),
            "faces are not looked for in this film, as was said before (switched off, or erased); `inkarnat find` looks for them again",
        );
    }
    let reading = ReadOrder {
        find,
        every: order.every,
    };
    read_film(film, reading, context, problems)?;
    // Only now is it known who was found.
    set_aims(film, &order.aims, context, problems)?;
    if let Some(word) = &order.tint
        && film.tint()?.as_ref() != Some(word)
    {
        set_tint(film, None, word)?;
    }
    fix_film(film, context, problems)?;
    if order.accept && accept_all(film, context)? {
        fix_film(film, context, problems)?;
    }
    hand_over(film, &order.directory, &order.delivery, context, problems)?;
    let delivered = !clips_of(film)?.is_empty();
    if order.delivery.codec.is_some() && delivered {
        prove_film(film, context, problems)?;
    }
    write_readings(film, &order.directory)
}

/// Where the film file of a job lies when nothing is said: in the output directory, named after it.
#[must_use]
pub fn film_in(directory: &Path) -> PathBuf {
    let absolute = std::path::absolute(directory).unwrap_or_else(|_| directory.to_owned());
    let name = absolute
        .file_name()
        .map_or_else(|| "film".into(), |name| name.to_string_lossy().into_owned());
    directory.join(format!("{name}.inkarnat"))
}
