//! A finished programme, made elsewhere in any coding and size, held against what a shot was promised
//! to be: the shot is found in it by the cut list, checked by picture, and read on the programme's own
//! grid with the pixels that were chosen on the source.

use crate::clip::follow::clip;
use crate::clip::open_source;
use crate::clip::proving::{apply, chosen};
use crate::clip::reading::sum;
use crate::event::Cancel;
use crate::job::{Against, AgainstJob, AgainstPerson, ProvePerson};
use crate::seen::look_alone;
use crate::{AppError, Result};
use inkarnat_color::picture::{PixelFormat, Region};
use inkarnat_color::{Coefficients, Rgb};
use inkarnat_media::{Frame, Probe, Reader};
use inkarnat_ops::fast::Prepared;
use inkarnat_reading::{FrameReading, Resample, Thumbnail, read_frame};

/// Two versions of one picture are at least this alike; anything less is another picture. Set by
/// judgement: in a rendered film of 19 shots, graded, scaled, coded and titled, the right ones came to
/// 0.996 and more.
pub(crate) const ALIKE: f64 = 0.85;
/// Shapes this close are one shape: sizes are whole numbers of pixels.
const SAME_SHAPE: f64 = 0.01;

#[derive(Default)]
struct Three {
    before: Vec<FrameReading>,
    after: Vec<FrameReading>,
    found: Vec<FrameReading>,
    looked_at: usize,
}

pub(crate) fn perform(
    job: &AgainstJob,
    cancel: &Cancel,
    progress: &dyn Fn(u64, u64),
) -> Result<Against> {
    let mut source = open_source(&job.source, &job.input)?;
    let mut programme = Reader::open(&job.programme).map_err(clip)?;
    let mut against = Against {
        offset: 0,
        likeness: 0.0,
        alike: false,
        others: (0, 0),
        missing: 0,
        frames: 0,
        people: Vec::new(),
        faults: Vec::new(),
    };
    if let Some(fault) = other_shape(source.probe(), programme.probe()) {
        against.faults.push(fault);
        return Ok(against);
    }
    (against.offset, against.likeness, against.alike) =
        place(job, &mut source, &mut programme, cancel)?;
    if !against.alike {
        return Ok(against);
    }
    let count = programme.frame_count() as i64;
    let begins = job.programme_first as i64 + against.offset;
    let within = |frame: i64| frame.clamp(0, count) as u64;
    let (first, end) = (within(begins), within(begins + job.frames as i64));
    against.missing = job.frames - (end - first);
    read_span(
        job,
        (source, programme),
        (first, end),
        &mut against,
        (cancel, progress),
    )?;
    Ok(against)
}

/// Reads the shot's own frames between two frames of the programme.
fn read_span(
    job: &AgainstJob,
    (mut source, mut programme): (Reader, Reader),
    (first, end): (u64, u64),
    against: &mut Against,
    (cancel, progress): (&Cancel, &dyn Fn(u64, u64)),
) -> Result<()> {
    let formats = (source.probe().format, programme.probe().format);
    let sizes = Resample {
        from: (source.probe().width, source.probe().height),
        to: (programme.probe().width, programme.probe().height),
    };
    let prepared = job.chain.prepare();
    let look = look_alone(&job.chain).chain.prepare();
    let mut people: Vec<Three> = job.people.iter().map(|_| Three::default()).collect();
    let begins = job.programme_first as i64 + against.offset;
    let (own, coefficients) = (job.own, job.space.coefficients);
    // Whether the shot's picture was seen yet, and frames since it was seen last.
    let (mut seen, mut since) = (false, 0);
    if first < end {
        programme.seek(first).map_err(clip)?;
    }
    let mut wanted = SourceFrames::new(&mut source);
    while first < end
        && let Some(found) = programme.next_frame().map_err(clip)?
    {
        if cancel.is_cancelled() {
            return Err(AppError::Cancelled);
        }
        if found.index() >= end {
            break;
        }
        let nth = (found.index() as i64 - begins) as u64;
        progress(nth + 1, job.frames);
        let frame = job.source_frame(nth);
        if !(own.0..own.1).contains(&nth) || job.left_out.frame(frame) {
            continue;
        }
        let Some(from) = wanted.at(frame)? else {
            break;
        };
        let near_an_end = nth < own.0 + job.search || nth + job.search >= own.1;
        if near_an_end {
            let alike = thumbnail(&found, coefficients).likeness(&thumbnail(from, coefficients));
            if alike < ALIKE {
                if seen {
                    since += 1;
                } else {
                    against.others.0 += 1;
                }
                continue;
            }
        }
        (seen, since) = (true, 0);
        against.frames += 1;
        for (person, three) in job.people.iter().zip(&mut people) {
            // Where the speed is another, the frames are others than those that were read.
            if job.speed != 1.0 || frame.is_multiple_of(person.every.max(1)) {
                three.read(
                    job,
                    person,
                    (from, &found),
                    (sizes, &look, &prepared.at(frame)),
                );
            }
        }
    }
    against.others.1 = since;
    against.people = people
        .into_iter()
        .map(|three| three.summed_up(job, formats))
        .collect();
    Ok(())
}

/// Why the pictures of the two cannot be laid over each other, if they cannot.
fn other_shape(source: &Probe, programme: &Probe) -> Option<String> {
    let shape = |probe: &Probe| {
        let aspect = probe.sample_aspect.value();
        let aspect = if aspect > 0.0 { aspect } else { 1.0 };
        probe.width as f64 * aspect / probe.height.max(1) as f64
    };
    let (a, b) = (shape(source), shape(programme));
    if source.rotation != programme.rotation {
        return Some(format!(
            "the source is shown turned by {}°, the programme by {}°: their pictures cannot be laid over each other",
            source.rotation, programme.rotation
        ));
    }
    ((a / b - 1.0).abs() > SAME_SHAPE).then(|| {
        format!(
            "the programme's picture is {}×{} ({b:.2}:1), its source's {}×{} ({a:.2}:1): pictures of another shape cannot be laid over each other; give a master of the source's shape (a matte on top is no hindrance)",
            programme.width, programme.height, source.width, source.height
        )
    })
}

impl AgainstJob {
    /// The source frame that the nth frame of the shot shows.
    fn source_frame(&self, nth: u64) -> u64 {
        let moved = (nth as f64 * self.speed).round() as i64;
        self.source_first.saturating_add_signed(moved)
    }

    /// Frames of the shot by which it is recognised: its first and last own one, which a shift by few
    /// frames turns into those of its neighbours, and three between.
    fn tokens(&self) -> Vec<u64> {
        let (from, to) = self.own;
        let last = to.saturating_sub(1).max(from);
        let mut tokens: Vec<u64> = [0, 1, 3, 5, 6]
            .into_iter()
            .map(|sixths| from + (last - from) * sixths / 6)
            .filter(|nth| !self.left_out.frame(self.source_frame(*nth)))
            .collect();
        tokens.dedup();
        tokens
    }
}

/// The source's frames, each decoded once as long as they rise.
struct SourceFrames<'a> {
    reader: &'a mut Reader,
    held: Option<Frame>,
}

impl<'a> SourceFrames<'a> {
    fn new(reader: &'a mut Reader) -> Self {
        Self { reader, held: None }
    }

    fn at(&mut self, index: u64) -> Result<Option<&Frame>> {
        let far = self
            .held
            .as_ref()
            .is_none_or(|held| held.index() > index || held.index() + 64 < index);
        if far {
            if index >= self.reader.frame_count() {
                return Ok(None);
            }
            self.reader.seek(index).map_err(clip)?;
            self.held = self.reader.next_frame().map_err(clip)?;
        }
        while self.held.as_ref().is_some_and(|held| held.index() < index) {
            self.held = self.reader.next_frame().map_err(clip)?;
        }
        Ok(self.held.as_ref())
    }
}

/// How a place in the programme looks.
#[derive(Clone, Copy, Default)]
struct Place {
    /// Frames of those by which the shot is recognised that are there.
    good: usize,
    /// Sum of their likenesses.
    sum: f64,
    /// Sum of the likenesses of all that were looked at, and how many those are.
    all: (f64, usize),
}

impl Place {
    fn add(&mut self, likeness: f64) {
        if likeness >= ALIKE {
            self.good += 1;
            self.sum += likeness;
        }
        self.all.0 += likeness;
        self.all.1 += 1;
    }

    fn likeness(&self) -> f64 {
        self.sum / self.good.max(1) as f64
    }

    /// Whether it is taken before a place that is nearer to the expected one: more of the frames are
    /// there, or they are much more alike, or have half as little amiss. What is the same in all
    /// places (a title, coding, a picture that stands still) leaves the expected one.
    fn beats(&self, nearer: &Self) -> bool {
        let (there, here) = (self.likeness(), nearer.likeness());
        self.good > nearer.good
            || self.good == nearer.good
                && (there > here + 0.01 || there > here + 0.001 && 1.0 - there < (1.0 - here) / 2.0)
    }
}

/// How far from its listed place the shot lies, in frames of the programme; how alike it is there; and
/// whether most of the frames by which it is recognised are there.
fn place(
    job: &AgainstJob,
    source: &mut Reader,
    programme: &mut Reader,
    cancel: &Cancel,
) -> Result<(i64, f64, bool)> {
    let count = programme.frame_count() as i64;
    let reach = job.search as i64;
    let coefficients = job.space.coefficients;
    let mut places = vec![Place::default(); (2 * reach + 1) as usize];
    let mut asked = 0;
    for nth in job.tokens() {
        let from = job.source_frame(nth);
        if from >= source.frame_count() {
            continue;
        }
        asked += 1;
        let wanted = thumbnail(&source.frame(from).map_err(clip)?, coefficients);
        let expected = (job.programme_first + nth) as i64 + job.expected;
        let (first, end) = ((expected - reach).max(0), (expected + reach + 1).min(count));
        if first >= end {
            continue;
        }
        programme.seek(first as u64).map_err(clip)?;
        while let Some(frame) = programme.next_frame().map_err(clip)? {
            if cancel.is_cancelled() {
                return Err(AppError::Cancelled);
            }
            let at = frame.index() as i64;
            if at >= end {
                break;
            }
            let likeness = thumbnail(&frame, coefficients).likeness(&wanted);
            places[(at - expected + reach) as usize].add(likeness);
        }
    }
    let mut best = (0, places[reach as usize]);
    for offset in (1..=reach).flat_map(|away| [away, -away]) {
        let place = places[(offset + reach) as usize];
        if place.beats(&best.1) {
            best = (offset, place);
        }
    }
    let (offset, place) = best;
    if 2 * place.good > asked {
        return Ok((job.expected + offset, place.likeness(), true));
    }
    let means = places.iter().filter(|p| 2 * p.all.1 > asked);
    let most = means.map(|p| p.all.0 / p.all.1 as f64);
    Ok((job.expected, most.fold(0.0, f64::max), false))
}

fn thumbnail(frame: &Frame, coefficients: Coefficients) -> Thumbnail {
    let native = frame.native();
    let size = (native.width, native.height);
    let luma = native.luma_region(Region::whole(size.0, size.1), coefficients);
    Thumbnail::of(&luma, size)
}

impl Three {
    fn read(
        &mut self,
        job: &AgainstJob,
        person: &ProvePerson,
        (from, found): (&Frame, &Frame),
        (sizes, look, prepared): (Resample, &Prepared, &Prepared),
    ) {
        self.looked_at += 1;
        let frame = from.index();
        let Some((mut picture, chosen)) =
            chosen(person, from, &job.left_out, (job.rule, job.space))
        else {
            return;
        };
        let mut corrected = picture.clone();
        apply(prepared, &mut corrected);
        // Uncorrected, the programme has the look too.
        apply(look, &mut picture);
        let chosen_there = sizes.chosen(&chosen);
        let resampled = |picture: &Rgb| sizes.part(picture, chosen.region).0;
        let there = found.native().rgb_region(chosen_there.region);
        let read = |picture: &Rgb| read_frame(frame, picture, &chosen_there, job.space);
        // All or none, so that the readings are of the same frames.
        if let (Ok(before), Ok(after), Ok(found)) = (
            read(&resampled(&picture)),
            read(&resampled(&corrected)),
            read(&there),
        ) {
            self.before.push(before);
            self.after.push(after);
            self.found.push(found);
        }
    }

    fn summed_up(
        self,
        job: &AgainstJob,
        (source, programme): (PixelFormat, PixelFormat),
    ) -> AgainstPerson {
        let summed =
            |frames: &[FrameReading], format| sum(frames, self.looked_at, job.space, format);
        AgainstPerson {
            before: summed(&self.before, source),
            after: summed(&self.after, source),
            found: summed(&self.found, programme),
        }
    }
}
