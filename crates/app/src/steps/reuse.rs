//! Shots of which every frame was read before, in a longer piece: summed up anew, not read again.

use crate::Result;
use crate::clip::reading::sum;
use crate::steps::reading::patches_of;
use inkarnat_film::{Film, InputKey, PersonId, Shot, Stage, value_of};
use inkarnat_media::Probe;
use inkarnat_reading::FrameReading;

/// Whether every frame of a shot was read before.
pub(crate) fn covers(film: &Film, shot: &Shot) -> Result<bool> {
    Ok(film
        .read_span(shot.id)?
        .is_some_and(|(_, (from, to))| from <= shot.in_frame && shot.out_frame <= to))
}

/// Sums a shot's readings up from frames that were read before, where all of its frames were, from
/// the same input (`base`: everything but the frames). Gives whether that could be done.
///
/// The readings of single frames, the tracks and the solver's samples stay those of the longer
/// piece, so that a shot may get its frames back without being read either. Readings of found people
/// are put together from their faces in any case.
pub(crate) fn sum_up_again(
    film: &mut Film,
    shot: &Shot,
    (base, key): (&InputKey, &InputKey),
    probe: &Probe,
) -> Result<bool> {
    let known = film.read_span(shot.id)?.map(|(known, _)| known);
    if known.as_ref() != Some(base) || !covers(film, shot)? {
        return Ok(false);
    }
    let drawn: Vec<PersonId> = patches_of(film, shot)?
        .iter()
        .map(|drawn| drawn.person.id)
        .collect();
    let erased = film.erased(shot.id)?.is_some();
    let mut readings = Vec::new();
    for person in film.people()? {
        let frames: Option<Vec<FrameReading>> =
            film.frame_readings(shot.id, person.id, Stage::Before)?;
        let Some(frames) = frames.filter(|_| erased || drawn.contains(&person.id)) else {
            continue;
        };
        let own: Vec<FrameReading> = frames
            .into_iter()
            .filter(|reading| (shot.in_frame..shot.out_frame).contains(&reading.frame))
            .collect();
        let length = ((shot.out_frame - shot.in_frame) as usize).max(own.len());
        // What cannot be summed up has to be read, which says why.
        let Ok(reading) = sum(&own, length, film.space(), probe.format) else {
            return Ok(false);
        };
        readings.push((person.id, value_of(&reading)));
    }
    film.keep_summed_up(shot.id, key, &readings)?;
    Ok(true)
}
