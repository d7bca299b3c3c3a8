//! Pictures and densities of frames, and the table that a fix is exported as.

use crate::event::Cancel;
use crate::exports::exported_lut;
use crate::job::{Job, PictureForm, PictureJob, Pictured, TraceJob, Traced, TracedSkin};
use crate::seen::{look_of_shot, seen_chain_of};
use crate::steps::finding::{Present, present};
use crate::steps::handing::{chain_of, middle_of};
use crate::steps::taking::{locate, naming};
use crate::steps::transforming::input_ops;
use crate::view::shot::shot_of;
use crate::worker::Workers;
use crate::{AppError, Result};
use inkarnat_film::{Film, InputKey, Shot, ShotId};
use inkarnat_ops::{Chain, Domain, Lut3d, MovingChain, Op};
use inkarnat_people::FaceTrack;
use inkarnat_reading::{Patch, Similarity, Track};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Which version of a picture is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Side {
    /// The source.
    Before,
    /// With the fix.
    After,
    /// With the fix as the table that is exported (`…_wide.cube`).
    Table,
}

/// Pictures that are wanted of a shot.
#[derive(Clone, Debug)]
pub struct PictureOrder {
    /// The shot.
    pub shot: ShotId,
    /// First source frame.
    pub frame: u64,
    /// How many in a row.
    pub count: u64,
    /// Widest that a picture may be.
    pub width: Option<usize>,
    /// The part wanted: left, top, width, height in fractions of the picture.
    pub part: Option<[f64; 4]>,
    /// Which version.
    pub side: Side,
    /// In what form.
    pub form: PictureForm,
}

/// An order made ready: the job, and a key of everything that decides its result.
#[derive(Clone, Debug)]
pub struct ReadyOrder {
    job: PictureJob,
    /// Two orders of one key give the same bytes.
    pub key: String,
    /// The source as it was given.
    named: PathBuf,
}

/// Finds the source and the operations of an order.
///
/// # Errors
/// If there is no such shot or frame, or the source is gone.
pub fn ready(film: &Film, order: &PictureOrder) -> Result<ReadyOrder> {
    ready_with(film, order, |shot| chain_of(film, shot))
}

/// The same with a fix that was tried in place of the one in force.
///
/// # Errors
/// As [`ready`].
pub fn ready_tried(film: &Film, order: &PictureOrder, tried: &MovingChain) -> Result<ReadyOrder> {
    ready_with(film, order, |_| Ok(tried.clone()))
}

fn ready_with(
    film: &Film,
    order: &PictureOrder,
    fix_of: impl Fn(&Shot) -> Result<MovingChain>,
) -> Result<ReadyOrder> {
    let shots = film.shots()?;
    let shot = shot_of(&shots, order.shot)?;
    if order.frame >= shot.out_frame || order.frame < shot.in_frame {
        return Err(AppError::Request(format!(
            "frame {} is not in {}, which has frames {} to {}",
            order.frame,
            shot.name,
            shot.in_frame,
            shot.out_frame - 1
        )));
    }
    let (source, path) = locate(film, shot)?;
    let chain = match order.side {
        Side::Before => MovingChain::default(),
        Side::After => fix_of(shot)?,
        Side::Table => {
            let chain = fix_of(shot)?.at(order.frame);
            if chain.is_identity() {
                chain.into()
            } else {
                Chain::of_fix(vec![Op::Lut(exported_lut(&chain, Domain::WIDE))]).into()
            }
        }
    };
    // The signal goes to the page as it is before the look, which is drawn over it there.
    let mut chain = chain;
    if !matches!(order.form, PictureForm::Signal | PictureForm::SignalJpeg) {
        chain.chain.look = look_of_shot(film, shot)?;
    }
    let job = PictureJob {
        path,
        input: input_ops(film, &source)?,
        first: order.frame,
        count: order.count.clamp(1, shot.out_frame - order.frame),
        width: order.width,
        part: order.part,
        chain,
        form: order.form,
        space: film.space(),
        output: PathBuf::new(),
    };
    let key = InputKey::of(&(&source.fingerprint, &job)).0;
    Ok(ReadyOrder {
        job,
        key,
        named: source.path,
    })
}

/// Makes the pictures, in a child process; `scratch` is a file that may be written.
///
/// # Errors
/// If the source cannot be decoded there.
pub fn pictures(
    order: &ReadyOrder,
    workers: &Workers,
    cancel: &Cancel,
    scratch: &Path,
) -> Result<(Pictured, Vec<u8>)> {
    let job = PictureJob {
        output: scratch.to_owned(),
        ..order.job.clone()
    };
    let done = workers
        .run(&Job::Picture(job), cancel, |_, _| {})
        .map_err(|error| naming(&order.named, error));
    let bytes = std::fs::read(scratch);
    let _ = std::fs::remove_file(scratch);
    Ok((done?, bytes.map_err(AppError::writing(scratch))?))
}

/// The densities of a frame before and after, of the whole picture or of a person's patch.
///
/// # Errors
/// If there is no such shot, or the person is not to be found in that frame, or it cannot be decoded.
pub fn trace(
    film: &Film,
    (shot, frame): (ShotId, u64),
    person: Option<&str>,
    workers: &Workers,
) -> Result<Traced> {
    let shots = film.shots()?;
    let shot = shot_of(&shots, shot)?;
    let (source, path) = locate(film, shot)?;
    let skin = match person {
        None => None,
        Some(person) => Some(skin_in(film, shot, frame, person)?),
    };
    let job = TraceJob {
        path,
        input: input_ops(film, &source)?,
        frame,
        skin,
        chain: seen_chain_of(film, shot)?,
        space: film.space(),
    };
    workers
        .run(&Job::Trace(job), &Cancel::default(), |_, _| {})
        .map_err(|error| naming(&source.path, error))
}

/// What is read of a person in a frame, as it lies there: the patch that was drawn, else the face that was found.
fn skin_in(film: &Film, shot: &Shot, frame: u64, person: &str) -> Result<TracedSkin> {
    let mut found: Option<(Patch, Similarity)> = None;
    for Present {
        person: present,
        drawn,
        faces,
    } in present(film, shot)?
    {
        if present.name != person {
            continue;
        }
        let Some(drawn) = drawn else {
            for face in faces {
                let track = film.face_track::<FaceTrack>(face.id)?;
                if let Some(outline) = track.as_ref().and_then(|track| track.near(frame)) {
                    return Ok(TracedSkin::Face(outline.clone()));
                }
            }
            continue;
        };
        for (id, patch) in drawn.ids.iter().zip(&drawn.patches) {
            let track: Option<Track> = film.track(*id)?;
            let pose = track.and_then(|track| track.pose(frame).held().copied());
            let nearer = found
                .as_ref()
                .is_none_or(|(known, _)| patch.frame.abs_diff(frame) < known.frame.abs_diff(frame));
            if let Some(pose) = pose.filter(|_| nearer) {
                found = Some((patch.clone(), pose));
            }
        }
    }
    found.map(|(patch, pose)| TracedSkin::Patch(patch, pose)).ok_or_else(|| {
        AppError::Request(format!(
            "{person} is not to be found in frame {frame} of {}; choose another frame or person",
            shot.name
        ))
    })
}

/// Which table of a shot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhichTable {
    /// What the fix is exported as, over [`Domain::WIDE`]; of a fix that follows the light, the one that holds in this source
    /// frame, the shot's middle one by default.
    Fix(Option<u64>),
    /// Some of the operations of the fix, over twice [`Domain::WIDE`]: what comes before them may lie outside that. What follows
    /// the light is not among them, so that it is the same in all frames.
    Part(Range<usize>),
    /// The look, over [`Domain::WIDE`], to be laid over what the fix gives. What lies beyond is held at its ends: on a screen it is
    /// white or black in any case.
    Look,
}

/// A table made ready: what it is made of, and a key of that.
#[derive(Clone, Debug)]
pub struct ReadyTable {
    chain: Chain,
    which: WhichTable,
    /// Two tables of one key are the same. A look has none: it is as large as its table, and as quickly made as recognised.
    pub key: Option<String>,
}

/// Finds the operations of a table.
///
/// # Errors
/// If there is no such shot, or the film cannot be read.
pub fn ready_table(film: &Film, shot: ShotId, which: WhichTable) -> Result<ReadyTable> {
    let shots = film.shots()?;
    let shot = shot_of(&shots, shot)?;
    let chain = match &which {
        WhichTable::Fix(frame) => chain_of(film, shot)?.at(frame.unwrap_or(middle_of(shot))),
        WhichTable::Part(part) => {
            let ops = chain_of(film, shot)?.chain.fix;
            let to = part.end.min(ops.len());
            Chain::of_fix(ops[part.start.min(to)..to].to_vec())
        }
        WhichTable::Look => Chain {
            look: look_of_shot(film, shot)?,
            ..Chain::default()
        },
    };
    let kind = match which {
        WhichTable::Fix(_) => Some("fix"),
        WhichTable::Part(_) => Some("part"),
        WhichTable::Look => None,
    };
    let key = kind.map(|kind| InputKey::of(&("table", kind, &chain)).0);
    Ok(ReadyTable { chain, which, key })
}

/// Makes a table; `None` where nothing is changed.
#[must_use]
pub fn table(ready: &ReadyTable) -> Option<Lut3d> {
    let ReadyTable { chain, which, .. } = ready;
    if chain.is_identity() {
        return None;
    }
    Some(match which {
        WhichTable::Fix(_) => exported_lut(chain, Domain::WIDE),
        WhichTable::Look => chain.table(65, Domain::WIDE),
        WhichTable::Part(_) => {
            let twice = Domain {
                min: 2.0 * Domain::WIDE.min,
                max: 2.0 * Domain::WIDE.max,
            };
            chain.table(65, twice)
        }
    })
}

/// The operations of a shot's fix, without what follows its light.
///
/// # Errors
/// If there is no such shot, or the film cannot be read.
pub fn ops_of(film: &Film, shot: ShotId) -> Result<Vec<Op>> {
    let shots = film.shots()?;
    Ok(chain_of(film, shot_of(&shots, shot)?)?.chain.fix)
}
