//! Keeping a shot as it is, or its fix the same in all frames.

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

/// Says that the fix of a shot is the same in all frames, whatever its light does; with `constant` false it may follow the
/// light again. Fix afterwards. Gives whether that is new.
///
/// # Errors
/// If there is no shot of that name, with the names that there are; if the film cannot be written.
pub fn hold_constant(film: &mut Film, shot: &str, constant: bool) -> Result<bool> {
    let shot = film.shot_named(shot)?;
    Ok(film.set_constant(&shot, constant)?)
}
