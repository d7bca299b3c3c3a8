//! Input transforms and looks on the command line.

use crate::WELL;
use crate::table;
use inkarnat_app::{Film, LookSaid, TakenTransform, report, set_input, set_look};
use std::path::{Path, PathBuf};

pub(crate) fn input(
    film: &Path,
    file: Option<PathBuf>,
    mut clips: Vec<String>,
    none: bool,
) -> anyhow::Result<u8> {
    let mut film = Film::open(film)?;
    if none {
        // The first place is a clip's too.
        clips.splice(0..0, file.map(|clip| clip.to_string_lossy().into_owned()));
        set_input(&mut film, None, &clips)?;
    } else if let Some(file) = file {
        let taken = set_input(&mut film, Some(&file), &clips)?;
        said(
            taken,
            "read the film again (`inkarnat find`, or `read` for drawn patches)",
        );
    }
    table::transforms(&report(&film)?);
    Ok(WELL)
}

pub(crate) fn look(
    film: &Path,
    file: Option<&Path>,
    scene: Option<&str>,
    (none, of_film): (bool, bool),
) -> anyhow::Result<u8> {
    let mut film = Film::open(film)?;
    let said_of = match (file, none, of_film) {
        (Some(file), ..) => Some(LookSaid::File(file)),
        (None, true, _) => Some(LookSaid::None),
        (None, _, true) => Some(LookSaid::OfFilm),
        _ => None,
    };
    if let Some(look) = said_of {
        let taken = set_look(&mut film, scene, look)?;
        said(taken, "`inkarnat fix` finds the fixes through it");
    }
    table::transforms(&report(&film)?);
    Ok(WELL)
}

fn said(taken: Option<TakenTransform>, next: &str) {
    let Some(taken) = taken else {
        println!("taken away; {next}");
        return;
    };
    println!("{}: taken in; {next}", taken.name);
    for note in taken.notes {
        println!("{}: {note}", taken.name);
    }
}
