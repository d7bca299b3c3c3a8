//! Keeping a shot as it is.

use crate::Result;
use inkarnat_film::Film;

/// Marks a shot as kept: it gets no fix, and is handed over unchanged and proved. With `kept` false
/// that is taken back. Gives whether it changes anything.
///
/// # Errors
/// If there is no shot of that name, with the names that there are; if the film cannot be written.
pub fn keep(film: &mut Film, shot: &str, kept: bool) -> Result<bool> {
    let shot = film.shot_named(shot)?;
    Ok(film.set_kept(shot.id, kept)?)
}
