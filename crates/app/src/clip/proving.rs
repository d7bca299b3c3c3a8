//! Reading a delivered file beside its source: the pixels are chosen on the source, with the track
//! that was stored, and are the same for both.

use crate::Result;
use crate::clip::ahead::decode_ahead;
use crate::clip::follow::clip;
use crate::clip::limits::LimitReader;
use crate::clip::open_source;
use crate::clip::picking::{chosen_of, held_face, held_patch, skin_of_face, skin_rule};
use crate::clip::reading::sum;
use crate::event::Cancel;
use crate::job::{LeftOut, ProveJob, ProvePerson, Proved, ProvedPerson};
use inkarnat_color::picture::PixelFormat;
use inkarnat_color::{Rgb, WorkingSpace};
use inkarnat_media::{Frame, Kind, Reader};
use inkarnat_ops::fast::Prepared;
use inkarnat_reading::{Chosen, ClipRule, FrameReading, Pose, read_frame};

#[derive(Default)]
struct Pair {
    after: Vec<FrameReading>,
    proof: Vec<FrameReading>,
    looked_at: usize,
}

pub(crate) fn perform(
    job: &ProveJob,
    cancel: &Cancel,
    progress: &dyn Fn(u64, u64),
) -> Result<Proved> {
    let mut source = open_source(&job.source, &job.input)?;
    source.seek(job.first).map_err(clip)?;
    let mut delivered = Reader::open(&job.delivered).map_err(clip)?;
    delivered.seek(job.delivered_first).map_err(clip)?;
    let mut faults = Vec::new();
    let (of_source, of_delivered) = (source.probe().clone(), delivered.probe().clone());
    let same_size =
        (of_source.width, of_source.height) == (of_delivered.width, of_delivered.height);
    if !same_size {
        faults.push(format!(
            "the delivered picture is {}x{}, its source {}x{}",
            of_delivered.width, of_delivered.height, of_source.width, of_source.height
        ));
    }
    // Pictures are numbered, not timed.
    let timed = of_delivered.kind == Kind::Clip;
    if timed && (of_source.rate.value() - of_delivered.rate.value()).abs() > 1e-3 && job.frames > 1
    {
        faults.push(format!(
            "the delivered file has {:.3} frames a second, its source {:.3}",
            of_delivered.rate.value(),
            of_source.rate.value()
        ));
    }
    let prepared = job.chain.prepare();
    let mut pairs: Vec<Pair> = job.people.iter().map(|_| Pair::default()).collect();
    let mut limits = [of_source.format, of_delivered.format]
        .map(|format| LimitReader::new(format, job.space.coefficients));
    let (mut source_frames, mut delivered_frames) = (0, 0);
    std::thread::scope(|scope| -> Result<()> {
        let source = decode_ahead(scope, source, job.first + job.frames, cancel);
        // Of a clip all of it, so that a frame too many is seen; of a whole picture the shot's part.
        let end = match job.delivered_first {
            0 if !job.within => u64::MAX,
            first => first + job.frames,
        };
        let delivered = decode_ahead(scope, delivered, end, cancel);
        loop {
            let (from, to) = (
                source.recv().ok().transpose()?,
                delivered.recv().ok().transpose()?,
            );
            source_frames += u64::from(from.is_some());
            delivered_frames += u64::from(to.is_some());
            match (from, to) {
                (None, None) => return Ok(()),
                (Some(from), Some(to)) if same_size => {
                    progress(from.index() + 1 - job.first, job.frames);
                    let frame = from.index();
                    let [before, after] = &mut limits;
                    before.add(frame, &from);
                    after.add(frame, &to);
                    if !(job.shot.0..job.shot.1).contains(&frame) || job.left_out.frame(frame) {
                        continue;
                    }
                    for (person, pair) in job.people.iter().zip(&mut pairs) {
                        if from.index().is_multiple_of(person.every.max(1)) {
                            pair.read(job, person, &from, &to, &prepared.at(frame));
                        }
                    }
                }
                _ => {}
            }
        }
    })?;
    let people = pairs
        .into_iter()
        .map(|pair| pair.summed_up(job.space, of_source.format, of_delivered.format))
        .collect();
    Ok(Proved {
        people,
        source_frames,
        delivered_frames,
        limits: Some(limits.map(LimitReader::summed_up)),
        faults,
    })
}

impl Pair {
    fn read(
        &mut self,
        job: &ProveJob,
        person: &ProvePerson,
        from: &Frame,
        to: &Frame,
        prepared: &Prepared,
    ) {
        self.looked_at += 1;
        let frame = from.index();
        let Some((mut picture, chosen)) =
            chosen(person, from, &job.left_out, (job.rule, job.space))
        else {
            return;
        };
        apply(prepared, &mut picture);
        let delivered = to.native().rgb_region(chosen.region);
        // Both or none, so that the two readings are of the same frames.
        if let (Ok(after), Ok(proof)) = (
            read_frame(frame, &picture, &chosen, job.space),
            read_frame(frame, &delivered, &chosen, job.space),
        ) {
            self.after.push(after);
            self.proof.push(proof);
        }
    }

    fn summed_up(
        self,
        space: WorkingSpace,
        source: PixelFormat,
        delivered: PixelFormat,
    ) -> ProvedPerson {
        ProvedPerson {
            after_reading: sum(&self.after, self.looked_at, space, source),
            after: self.after,
            proof_reading: sum(&self.proof, self.looked_at, space, delivered),
            proof: self.proof,
        }
    }
}

/// The source picture of what is read of a person in a frame, and the pixels chosen in it.
pub(crate) fn chosen(
    person: &ProvePerson,
    from: &Frame,
    left_out: &LeftOut,
    (clip, space): (ClipRule, WorkingSpace),
) -> Option<(Rgb, Chosen)> {
    let (frame, native) = (from.index(), from.native());
    let no_picture = left_out.regions(frame, native.width, native.height);
    if person.patches.is_empty() {
        let (outline, side) = held_face(frame, &person.faces)?;
        let rule = skin_rule(clip, space.coefficients);
        let (picture, skin) = skin_of_face(&native, outline, side, &rule, &no_picture).ok()?;
        return Some((picture, skin.chosen));
    }
    let poses: Vec<Pose> = person
        .tracks
        .iter()
        .map(|track| track.pose(frame))
        .collect();
    let (_, pixels) = held_patch(frame, &person.patches, &poses, from.width(), from.height())?;
    Some(chosen_of(&native, &pixels, clip, &no_picture))
}

pub(crate) fn apply(prepared: &Prepared, picture: &mut Rgb) {
    let [r, g, b] = &mut picture.planes;
    prepared.apply_rows([r, g, b]);
}
