//! Proving a finished programme: every shot is found again in it by a cut list, and read.

use crate::event::Stage;
use crate::job::{Against, AgainstJob, AgainstPerson, Job, ProbeJob, Probed};
use crate::problem::{Context, Problem};
use crate::seen::seen_chain_of;
use crate::show::schema_of;
use crate::steps::cutting::{counted, left_out_of, rate_of};
use crate::steps::proving::{Asked, asked};
use crate::steps::recutting::{facts_of, read_list, said};
use crate::steps::taking::{locate, naming};
use crate::steps::transforming::input_ops;
use crate::{AppError, Result};
use inkarnat_color::delta_e_2000;
use inkarnat_cut::{CutList, Event, Linked, Rate, SourceFacts, Timecode, link};
use inkarnat_film::{Film, Shot, Source};
use inkarnat_media::Probe;
use inkarnat_reading::ShotReading;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// How far a finished programme may be from what was promised, CIEDE2000.
pub const PROGRAMME_DE00: f64 = 1.0;
/// Seconds on either side of its listed place in which a shot is looked for.
const SEARCH_S: f64 = 1.0;

/// A finished programme, to be held against the film.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProgrammeOrder {
    /// The programme.
    pub programme: PathBuf,
    /// The cut list that says what lies where in it.
    pub list: PathBuf,
    /// The rate of an EDL, as typed; `None`: that of the programme.
    pub rate: Option<String>,
}

/// How a finished programme stands against the film.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProgrammeProof {
    /// Version of this form.
    pub schema: u32,
    /// The programme.
    pub programme: String,
    /// The cut list.
    pub list: String,
    /// How far a person may be from what was promised, CIEDE2000.
    pub tolerance_de00: f64,
    /// Whether every shot passed.
    pub passed: bool,
    /// The shots of the list, in order.
    pub shots: Vec<ProgrammeShot>,
    /// What is wrong with the programme or the list as a whole, one line each.
    pub faults: Vec<String>,
    /// What was assumed, one line each.
    pub notes: Vec<String>,
}

/// How a shot stands in a finished programme.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProgrammeShot {
    /// Number of the event in the list.
    pub event: String,
    /// The shot; `None` where the film has none of it.
    pub shot: Option<String>,
    /// Record timecode of its first frame in the list.
    pub record: String,
    /// Its frames in the programme.
    pub frames: u64,
    /// Frames that were read.
    pub frames_read: u64,
    /// Frames by which it lies later than listed; `None` where it was not found.
    pub offset_frames: Option<i64>,
    /// Correlation of the pictures' luma, −1 to 1; `None` where it was not looked for.
    pub likeness: Option<f64>,
    /// Whether nothing is at fault.
    pub passed: bool,
    /// Everybody who was read.
    pub people: Vec<ProgrammePerson>,
    /// What is at fault, one line each.
    pub faults: Vec<String>,
}

/// How a person reads in a shot of a finished programme.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProgrammePerson {
    /// The name.
    pub person: String,
    /// CIEDE2000 between what was promised and the programme; `None` where one has no reading.
    pub de00: Option<f64>,
    /// CIEDE2000 between the uncorrected source and the programme.
    pub from_source_de00: Option<f64>,
    /// Level in the programme, percent of reference white.
    pub level_pct: Option<f64>,
    /// Hue in the programme, degrees.
    pub hue_deg: Option<f64>,
}

/// Where the list's record time lies in the programme.
struct Places {
    /// Timecode of the list's first frame, for words.
    start: Timecode,
    rate: Rate,
    /// The programme's frame that the list begins with.
    origin: i64,
    frames: u64,
}

impl Places {
    fn of(list: &CutList, probe: &Probe, frames: u64, notes: &mut Vec<String>) -> Self {
        let by_timecode = counted(probe).map(|(_, start)| list.start.frame - start.frame);
        let within = |origin: &i64| *origin >= 0 && *origin < frames as i64;
        let origin = match by_timecode {
            Some(origin) if within(&origin) => origin,
            Some(_) => {
                notes.push(format!(
                    "the programme's own timecode begins at {}, the list at {}: the list's first frame is taken for the programme's first",
                    probe.timecode.as_ref().map_or("", |first| first.text.as_str()),
                    list.start.text(list.rate)
                ));
                0
            }
            None => {
                notes.push(
                    "the programme has no timecode: the list's first frame is taken for its first"
                        .to_owned(),
                );
                0
            }
        };
        Self {
            start: list.start,
            rate: list.rate,
            origin,
            frames,
        }
    }

    fn text(&self, record: i64) -> String {
        Timecode {
            frame: self.start.frame + record,
            drop: self.start.drop,
        }
        .text(self.rate)
    }
}

/// The JSON Schema of [`ProgrammeProof`], as text.
#[must_use]
pub fn programme_schema_text() -> String {
    schema_of::<ProgrammeProof>()
}

/// Writes down in the film how a finished programme stood.
///
/// # Errors
/// If the film cannot be written.
pub fn keep_programme(film: &mut Film, proof: &ProgrammeProof) -> Result<()> {
    Ok(film.keep_programme(&proof.programme, proof)?)
}

/// Holds a finished programme against what was promised, shot by shot. What is wrong with a shot is a
/// [`Problem`], and the others go on.
///
/// # Errors
/// If the programme or the list cannot be read, or on cancelling.
pub fn prove_programme(
    film: &Film,
    order: &ProgrammeOrder,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<ProgrammeProof> {
    let name = order.programme.to_string_lossy().into_owned();
    let probed = context
        .workers
        .run::<Probed>(
            &Job::Probe(ProbeJob {
                path: order.programme.clone(),
            }),
            context.cancel,
            |_, _| {},
        )
        .map_err(|error| naming(&order.programme, error))?;
    let rate = rate_of(&probed.probe);
    let list = list_of(order, rate)?;
    if let Some(rate) = rate
        && !rate.counts_like(list.rate)
    {
        return Err(AppError::Request(format!(
            "{name} has {rate} frames a second, {} counts {}: give the list that belongs to this programme{}",
            order.list.display(),
            list.rate,
            if order.rate.is_some() {
                ", or another --rate"
            } else {
                ""
            }
        )));
    }
    let mut proof = ProgrammeProof {
        schema: 1,
        programme: name.clone(),
        list: order.list.to_string_lossy().into_owned(),
        tolerance_de00: PROGRAMME_DE00,
        passed: false,
        shots: Vec::new(),
        faults: Vec::new(),
        notes: list.notes.clone(),
    };
    let places = Places::of(&list, &probed.probe, probed.frames, &mut proof.notes);
    whole(&list, &places, &mut proof);
    for note in &proof.notes {
        context.note(&name, note);
    }
    for fault in &proof.faults {
        context.fail(problems, Stage::Prove, &name, fault.clone());
    }
    let looker = Looker {
        film,
        programme: &order.programme,
        sources: film.sources()?,
        shots: film.shots()?,
        places,
        context,
    };
    looker.every(&list, &mut proof, problems)?;
    proof.passed = proof.faults.is_empty() && proof.shots.iter().all(|shot| shot.passed);
    Ok(proof)
}

fn list_of(order: &ProgrammeOrder, rate: Option<Rate>) -> Result<CutList> {
    let bytes = std::fs::read(&order.list).map_err(|reason| AppError::File {
        path: order.list.clone(),
        doing: "reading the cut list",
        reason,
        advice: "check the path and its permissions",
    })?;
    let wrong = |text: String| AppError::Request(format!("{}: {text}", order.list.display()));
    read_list(&order.list, &bytes, || match &order.rate {
        Some(text) => text.parse().ok().and_then(Rate::of_f64).ok_or_else(|| {
            wrong(format!(
                "--rate {text}: expected frames a second, such as 24, 25 or 29.97"
            ))
        }),
        None => rate.ok_or_else(|| {
            wrong(
                "an EDL does not say its frame rate, and neither does the programme; give --rate"
                    .to_owned(),
            )
        }),
    })
}

/// What can be said of the programme and the list before any picture is looked at.
fn whole(list: &CutList, places: &Places, proof: &mut ProgrammeProof) {
    for refused in &list.refused {
        proof.faults.push(format!(
            "{}: {} is refused: {}",
            refused.place, refused.name, refused.reason
        ));
    }
    let end = list.events.iter().map(|e| e.record_out).max().unwrap_or(0);
    let has = places.frames as i64 - places.origin;
    if has < end {
        proof.faults.push(format!(
            "the programme has {has} frames from {} on, the list fills {end}: it is {} short",
            places.text(0),
            frames(end - has)
        ));
    }
    if list.events.is_empty() {
        proof.faults.push("the list has no shot".to_owned());
    }
}

fn frames(count: i64) -> String {
    format!("{count} frame{}", if count == 1 { "" } else { "s" })
}

struct Looker<'a> {
    film: &'a Film,
    programme: &'a Path,
    sources: Vec<Source>,
    shots: Vec<Shot>,
    places: Places,
    context: Context<'a>,
}

impl Looker<'_> {
    fn every(
        &self,
        list: &CutList,
        proof: &mut ProgrammeProof,
        problems: &mut Vec<Problem>,
    ) -> Result<()> {
        let facts: Vec<SourceFacts> = self.sources.iter().map(facts_of).collect::<Result<_>>()?;
        let mut expected = 0;
        let mut met = Vec::new();
        let count = list.events.len();
        for (index, event) in list.events.iter().enumerate() {
            let linked = link(event, &facts);
            let shot = linked.as_ref().ok().and_then(|found| self.shot_of(found));
            let called = shot.map_or_else(
                || said(&event.name, &event.number),
                |shot| shot.name.clone(),
            );
            self.context
                .begun(Stage::Prove, &called, (index + 1, count));
            let mut line = ProgrammeShot {
                event: event.number.clone(),
                shot: shot.map(|shot| shot.name.clone()),
                record: self.places.text(event.record_in),
                frames: event.frames().max(0) as u64,
                frames_read: 0,
                offset_frames: None,
                likeness: None,
                passed: false,
                people: Vec::new(),
                faults: Vec::new(),
            };
            match (linked, shot) {
                (Err(why), _) => line.faults.push(format!("not linked: {}", why.reason)),
                (Ok(_), None) => line.faults.push(
                    "no shot of the film has these source frames; take the list in with `inkarnat cut`"
                        .to_owned(),
                ),
                (Ok(found), Some(shot)) => {
                    met.push(shot.id);
                    match self.look(event, &found, shot, expected, &mut line) {
                        Ok(offset) => expected = offset,
                        Err(error @ (AppError::Cancelled | AppError::Film(_))) => {
                            return Err(error);
                        }
                        Err(error) => line.faults.push(error.to_string()),
                    }
                }
            }
            line.passed = line.faults.is_empty();
            if line.passed {
                self.context
                    .ended(Stage::Prove, &called, summary(&line), false);
            } else {
                let text = format!("{called} at {}: {}", line.record, line.faults.join("; "));
                self.context.fail(problems, Stage::Prove, &called, text);
            }
            proof.shots.push(line);
        }
        for shot in self.shots.iter().filter(|shot| !met.contains(&shot.id)) {
            let fault = format!(
                "{}: is not in the list, so it was not looked for; give the list of this cut, or take this one in with `inkarnat cut`",
                shot.name
            );
            self.context
                .fail(problems, Stage::Prove, &shot.name, fault.clone());
            proof.faults.push(fault);
        }
        Ok(())
    }

    /// The shot of the film that an event is: of the same source, with the most of its frames; the
    /// first of several.
    fn shot_of(&self, found: &Linked) -> Option<&Shot> {
        let source = self.sources[found.source].id;
        let shared = |shot: &Shot| {
            let (from, to) = (
                shot.in_frame.max(found.in_frame),
                shot.out_frame.min(found.out_frame),
            );
            to.saturating_sub(from)
        };
        let exact =
            |shot: &Shot| (shot.in_frame, shot.out_frame) == (found.in_frame, found.out_frame);
        let mut best: Option<(&Shot, (u64, bool))> = None;
        for shot in self.shots.iter().filter(|shot| shot.source == source) {
            let rank = (shared(shot), exact(shot));
            if rank.0 > 0 && best.is_none_or(|(_, before)| rank > before) {
                best = Some((shot, rank));
            }
        }
        best.map(|(shot, _)| shot)
    }

    /// Looks a shot up in the programme; gives by how many frames the next one is expected later than
    /// listed.
    fn look(
        &self,
        event: &Event,
        found: &Linked,
        shot: &Shot,
        expected: i64,
        line: &mut ProgrammeShot,
    ) -> Result<i64> {
        let (source, path) = locate(self.film, shot)?;
        let Asked {
            people,
            rule,
            faults,
            ..
        } = asked(self.film, shot)?;
        line.faults.extend(faults);
        let place = self.places.origin + event.record_in;
        if place >= self.places.frames as i64 {
            line.faults.push(format!(
                "the programme ends before it, at {}",
                self.places
                    .text(self.places.frames as i64 - self.places.origin)
            ));
            return Ok(expected);
        }
        let length = line.frames;
        let clear = |t: Option<i64>| (t.unwrap_or(0).max(0) as u64).min(length);
        let own = (
            clear(event.head.map(|t| t.after)),
            length - clear(event.tail.map(|t| t.before)),
        );
        if own.0 >= own.1 {
            line.faults
                .push("transitions cover all of it, so it cannot be read by itself".to_owned());
            return Ok(expected);
        }
        let job = AgainstJob {
            source: path,
            input: input_ops(self.film, &source)?,
            programme: self.programme.to_owned(),
            programme_first: place.max(0) as u64,
            frames: length,
            own,
            source_first: if event.speed < 0.0 {
                found.out_frame.saturating_sub(1)
            } else {
                found.in_frame
            },
            speed: event.speed,
            expected,
            search: (SEARCH_S * self.places.rate.value()).round() as u64,
            left_out: left_out_of(&source, shot)?,
            // A finished programme has the look in it.
            chain: seen_chain_of(self.film, shot)?,
            space: self.film.space(),
            rule,
            people,
        };
        let result = self.context.workers.run::<Against>(
            &Job::Against(job.clone()),
            self.context.cancel,
            self.context.progress(Stage::Prove, &shot.name),
        )?;
        self.judge(event, &job, &result, line);
        Ok(if result.alike {
            result.offset
        } else {
            expected
        })
    }

    fn judge(&self, event: &Event, job: &AgainstJob, found: &Against, line: &mut ProgrammeShot) {
        line.faults.extend(found.faults.iter().cloned());
        if !found.faults.is_empty() {
            return;
        }
        line.likeness = Some(found.likeness);
        if !found.alike {
            line.faults.push(format!(
                "the programme shows another picture there, and within {} on either side (likeness at most {:.2}, expected {:.2}): is it the programme of this list?",
                frames(job.search as i64),
                found.likeness,
                crate::clip::against::ALIKE
            ));
            return;
        }
        line.offset_frames = Some(found.offset);
        line.frames_read = found.frames;
        if found.offset != 0 {
            line.faults.push(format!(
                "it lies {} {} than listed, at {}: the programme is {} {} before it",
                frames(found.offset.abs()),
                if found.offset < 0 { "earlier" } else { "later" },
                self.places.text(event.record_in + found.offset),
                frames(found.offset.abs()),
                if found.offset < 0 { "short" } else { "long" },
            ));
        }
        if found.missing > 0 {
            line.faults.push(format!(
                "the programme lacks its {} {}",
                if found.offset < 0 && job.programme_first as i64 + found.offset < 0 {
                    "first"
                } else {
                    "last"
                },
                frames(found.missing as i64)
            ));
        }
        for (which, count) in [("first", found.others.0), ("last", found.others.1)] {
            if count > 0 {
                line.faults.push(format!(
                    "another picture stands in place of its {which} {}",
                    frames(count as i64)
                ));
            }
        }
        for (asked, person) in job.people.iter().zip(&found.people) {
            line.people
                .push(judged(&asked.person, person, &mut line.faults));
        }
    }
}

fn judged(name: &str, person: &AgainstPerson, faults: &mut Vec<String>) -> ProgrammePerson {
    let mut out = ProgrammePerson {
        person: name.to_owned(),
        de00: None,
        from_source_de00: None,
        level_pct: None,
        hue_deg: None,
    };
    let (before, after, found) = match (&person.before, &person.after, &person.found) {
        (Ok(before), Ok(after), Ok(found)) => (before, after, found),
        (Err(reason), _, _) | (_, Err(reason), _) | (_, _, Err(reason)) => {
            faults.push(format!("{name} cannot be read in it: {reason}"));
            return out;
        }
    };
    let between = |a: &ShotReading| delta_e_2000(a.lab, found.lab).0;
    let (promised, source) = (between(after), between(before));
    out.de00 = Some(promised);
    out.from_source_de00 = Some(source);
    out.level_pct = Some(found.level.0);
    out.hue_deg = found.hue.map(|hue| hue.degrees());
    // Not a number is a fault too.
    if promised.is_nan() || promised > PROGRAMME_DE00 {
        let as_shot = source <= PROGRAMME_DE00;
        faults.push(format!(
            "{name} is ΔE00 {promised:.2} from what was promised (expected within {PROGRAMME_DE00}): level {:.1} %, promised {:.1} %{}",
            found.level.0,
            after.level.0,
            if as_shot {
                format!("; it stands uncorrected, ΔE00 {source:.2} from its source")
            } else {
                String::new()
            }
        ));
    }
    out
}

fn summary(line: &ProgrammeShot) -> String {
    let people: Vec<String> = line
        .people
        .iter()
        .filter_map(|person| Some(format!("{} within ΔE00 {:.2}", person.person, person.de00?)))
        .collect();
    if people.is_empty() {
        format!("found at {}; nobody was read in it", line.record)
    } else {
        format!("at {}: {}", line.record, people.join(", "))
    }
}
