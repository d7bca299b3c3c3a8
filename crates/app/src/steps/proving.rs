//! Proving: the closed files are read again.

use crate::event::Stage;
use crate::job::{Job, PictureRecord, ProveJob, ProvePerson, Proved};
use crate::limit::as_delivered;
use crate::problem::{Context, Problem};
use crate::steps::cutting::left_out_of;
use crate::steps::finding::{known_face, present};
use crate::steps::handing::{clip_chain, span_of_clip};
use crate::steps::taking::{locate, naming};
use crate::steps::transforming::input_ops;
use crate::steps::whole::clips_of;
use crate::{AppError, Result};
use inkarnat_color::delta_e_2000;
use inkarnat_film::{
    Deliverable, Film, Fingerprint, InputKey, Packed, PersonId, Shot, Stage as Reading, Step,
    value_of,
};
use inkarnat_media::Codec;
use inkarnat_reading::{ClipRule, ShotLimits, ShotReading, Track};
use serde::{Deserialize, Serialize};

/// Part of the key of every proof: raised when the way of proving changes.
const METHOD: u32 = 3;

/// How far a delivered file may be from what was promised.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tolerance {
    /// CIEDE2000 between the two readings.
    pub de00: f64,
    /// Level, percent of reference white.
    pub level_pct: f64,
    /// Hue in degrees, where the chroma is above the floor.
    pub hue_deg: f64,
}

impl Tolerance {
    /// The tolerance of a codec. Intra-frame mezzanine coding at 10 bits, and pictures that lose nothing but a rounding,
    /// are held closer than inter-frame coding.
    #[must_use]
    pub const fn of(codec: Codec) -> Self {
        match codec {
            Codec::ProresHq422
            | Codec::Prores4444
            | Codec::DnxhrHqx
            | Codec::Png16
            | Codec::Tiff16
            | Codec::Dpx10
            | Codec::ExrHalf => Self {
                de00: 0.3,
                level_pct: 0.5,
                hue_deg: 0.5,
            },
            Codec::H264High422Ten | Codec::H264High | Codec::Hevc422Ten => Self {
                de00: 0.7,
                level_pct: 1.0,
                hue_deg: 1.0,
            },
        }
    }
}

/// How one person's proof came out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PersonProof {
    /// The name.
    pub person: String,
    /// CIEDE2000 between `after` and `proof`; `None` where one of them has no reading.
    pub de00: Option<f64>,
    /// Level of `proof` less that of `after`, percent of reference white.
    pub level_pct: Option<f64>,
    /// Hue of `proof` less that of `after`, degrees; `None` below the chroma floor.
    pub hue_deg: Option<f64>,
    /// What is outside its tolerance, one line each.
    pub faults: Vec<String>,
}

/// How a shot's proof came out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Proof {
    /// The file that was read.
    pub file: String,
    /// What it was held against.
    pub tolerance: Tolerance,
    /// Whether nothing is at fault.
    pub passed: bool,
    /// What is at fault with the file as a whole, one line each.
    pub faults: Vec<String>,
    /// Everybody who was read.
    pub people: Vec<PersonProof>,
    /// The source and the delivered file held against EBU R 103.
    #[serde(default)]
    pub limits: Option<[ShotLimits; 2]>,
}

impl Proof {
    /// Everything that is at fault.
    pub fn all_faults(&self) -> impl Iterator<Item = &String> {
        self.faults
            .iter()
            .chain(self.people.iter().flat_map(|person| &person.faults))
    }
}

/// Reads every clip that was handed over again.
///
/// # Errors
/// If the film cannot be written, or on cancelling; if nothing was handed over. What is wrong with a
/// shot is a [`Problem`].
pub fn prove_film(
    film: &mut Film,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    let shots = film.shots()?;
    let clips: Vec<(Shot, Deliverable)> = clips_of(film)?
        .into_iter()
        .filter_map(|d| {
            let shot = shots.iter().find(|shot| Some(shot.id) == d.shot)?;
            Some((shot.clone(), d))
        })
        .collect();
    if clips.is_empty() {
        return Err(AppError::Request(
            "no clip of this film was handed over, so there is nothing to prove; run `inkarnat handover FILM --to DIR` first".to_owned(),
        ));
    }
    let count = clips.len();
    // In film order; of a shot that was handed over alone and in a whole picture, both are read.
    let in_order = shots
        .iter()
        .flat_map(|shot| clips.iter().filter(|(with, _)| with.id == shot.id));
    for (index, (shot, clip)) in in_order.enumerate() {
        context.begun(Stage::Prove, &shot.name, (index + 1, count));
        match prove_shot(film, shot, clip, context) {
            Ok(proof) if proof.passed => {
                context.ended(Stage::Prove, &shot.name, summary(&proof), false);
            }
            Ok(proof) => {
                let faults: Vec<&str> = proof.all_faults().map(String::as_str).collect();
                context.fail(
                    problems,
                    Stage::Prove,
                    &shot.name,
                    format!("{}: proof failed: {}", shot.name, faults.join("; ")),
                );
            }
            Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
            Err(error) => context.fail(problems, Stage::Prove, &shot.name, error.to_string()),
        }
    }
    Ok(())
}

fn summary(proof: &Proof) -> String {
    let people: Vec<String> = proof
        .people
        .iter()
        .filter_map(|person| Some(format!("{} within ΔE00 {:.2}", person.person, person.de00?)))
        .collect();
    if people.is_empty() {
        "frame count agrees; nobody was read in it".to_owned()
    } else {
        people.join(", ")
    }
}

fn prove_shot(
    film: &mut Film,
    shot: &Shot,
    clip: &Deliverable,
    context: Context<'_>,
) -> Result<Proof> {
    let codec: Codec =
        serde_json::from_value(clip.detail["codec"].clone()).map_err(AppError::protocol)?;
    let (source, path) = locate(film, shot)?;
    let Asked {
        ids,
        people,
        rule,
        faults: unsupported,
    } = asked(film, shot)?;
    let (first, frames) = span_of_clip(clip, &source);
    let job = ProveJob {
        source: path,
        input: input_ops(film, &source)?,
        delivered: clip.path.clone(),
        first,
        delivered_first: clip.detail["delivered_first"].as_u64().unwrap_or(0),
        within: clip.detail["within"].as_bool().unwrap_or(false),
        frames,
        shot: (shot.in_frame, shot.out_frame),
        left_out: left_out_of(&source, shot)?,
        chain: as_delivered(clip_chain(film, shot, has_look(clip))?, clip),
        space: film.space(),
        rule,
        people,
    };
    let key = InputKey::of(&(METHOD, &clip.fingerprint, &clip.key, &source.fingerprint));
    let name = clip
        .path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let tolerance = Tolerance::of(codec);
    let mut faults = unsupported;
    match Fingerprint::of_file(&clip.path) {
        Ok(print) if print == clip.fingerprint => {}
        Ok(_) => faults.push(format!(
            "{name} is not the file that was handed over; hand it over again"
        )),
        Err(error) => faults.push(format!(
            "{name} cannot be read: {error}; hand it over again"
        )),
    }
    let outcome = context.workers.run::<Proved>(
        &Job::Prove(job.clone()),
        context.cancel,
        context.progress(Stage::Prove, &shot.name),
    );
    let mut stored = Vec::new();
    let mut proofs = Vec::new();
    let mut limits = None;
    match outcome {
        Ok(proved) => {
            if proved.source_frames != proved.delivered_frames {
                faults.push(format!(
                    "{name} has {} frames, its shot with handles has {}",
                    proved.delivered_frames, proved.source_frames
                ));
            }
            faults.extend(proved.faults);
            limits = proved.limits;
            for ((id, asked), person) in ids.iter().zip(&job.people).zip(proved.people) {
                proofs.push(compare(
                    &asked.person,
                    &person.after_reading,
                    &person.proof_reading,
                    tolerance,
                ));
                if let Ok(reading) = &person.after_reading {
                    stored.push((
                        *id,
                        Reading::After,
                        Packed::of(&person.after),
                        value_of(reading),
                    ));
                }
                if let Ok(reading) = &person.proof_reading {
                    stored.push((
                        *id,
                        Reading::Proof,
                        Packed::of(&person.proof),
                        value_of(reading),
                    ));
                }
            }
        }
        Err(AppError::Cancelled) => return Err(AppError::Cancelled),
        Err(error) => faults.push(naming(std::path::Path::new(&name), error).to_string()),
    }
    let passed = faults.is_empty() && proofs.iter().all(|person| person.faults.is_empty());
    let proof = Proof {
        file: name,
        tolerance,
        passed,
        faults,
        people: proofs,
        limits,
    };
    film.keep_proof(shot.id, &key, &stored, &value_of(&proof))?;
    debug_assert!(film.is_done(shot.id, Step::Prove, &key)?);
    Ok(proof)
}

/// Whether the clip of a shot that was handed over last has the look in it.
pub(crate) fn with_look(film: &Film, shot: &Shot) -> Result<bool> {
    Ok(clips_of(film)?
        .iter()
        .any(|clip| clip.shot == Some(shot.id) && has_look(clip)))
}

/// Whether a clip has the look in it.
pub(crate) fn has_look(clip: &Deliverable) -> bool {
    clip.detail["look"].as_bool().unwrap_or(false)
}

/// Who is read again in a shot, and how.
pub(crate) struct Asked {
    pub(crate) ids: Vec<PersonId>,
    pub(crate) people: Vec<ProvePerson>,
    pub(crate) rule: ClipRule,
    /// Why somebody cannot be read again, one line each.
    pub(crate) faults: Vec<String>,
}

/// Everybody who was read in a shot, with the patches and faces that it was read by.
pub(crate) fn asked(film: &Film, shot: &Shot) -> Result<Asked> {
    let mut people = Vec::new();
    let mut ids = Vec::new();
    let record = film.sample::<PictureRecord>(shot.id, None)?;
    let every = record.as_ref().map_or(1, |record| record.every);
    let mut faults = Vec::new();
    for present in present(film, shot)? {
        if film
            .shot_reading::<ShotReading>(shot.id, present.person.id, Reading::Before)?
            .is_none()
        {
            continue;
        }
        let (mut patches, mut tracks, mut faces) = (Vec::new(), Vec::new(), Vec::new());
        if let Some(drawn) = present.drawn {
            let stored: Option<Vec<Track>> = drawn
                .ids
                .iter()
                .map(|patch| film.track(*patch))
                .collect::<std::result::Result<_, _>>()?;
            let Some(stored) = stored else { continue };
            (patches, tracks) = (drawn.patches, stored);
        } else if present.faces.is_empty() {
            faults.push(format!(
                "{}: the faces that were read are erased, so the delivered file cannot be read again; find them again with `inkarnat find`",
                present.person.name
            ));
            continue;
        } else {
            for face in &present.faces {
                faces.push(known_face(film, face)?);
            }
        }
        ids.push(present.person.id);
        people.push(ProvePerson {
            person: present.person.name,
            every,
            patches,
            tracks,
            faces,
        });
    }
    Ok(Asked {
        ids,
        people,
        rule: record.map_or_else(ClipRule::default, |record| record.rule),
        faults,
    })
}

fn compare(
    person: &str,
    after: &std::result::Result<ShotReading, String>,
    proof: &std::result::Result<ShotReading, String>,
    tolerance: Tolerance,
) -> PersonProof {
    let (after, proof) = match (after, proof) {
        (Ok(after), Ok(proof)) => (after, proof),
        (Err(reason), _) | (_, Err(reason)) => {
            return PersonProof {
                person: person.to_owned(),
                de00: None,
                level_pct: None,
                hue_deg: None,
                faults: vec![format!("{person} cannot be read again: {reason}")],
            };
        }
    };
    let de00 = delta_e_2000(after.lab, proof.lab).0;
    let level = proof.level.0 - after.level.0;
    let hue = after
        .hue
        .zip(proof.hue)
        .map(|(after, proof)| proof.from_origin(after).degrees());
    let mut faults = Vec::new();
    let mut check = |what: &str, found: f64, limit: f64, unit: &str| {
        // Not a number is a fault too.
        if found.is_nan() || found.abs() > limit {
            faults.push(format!(
                "{person}: {what} {found:+.2}{unit} from what was promised, expected within {limit}{unit}"
            ));
        }
    };
    check("ΔE00", de00, tolerance.de00, "");
    check("level", level, tolerance.level_pct, " %");
    // Where one of the two lies below the chroma floor an angle says nothing; ΔE00 has judged.
    if let Some(hue) = hue {
        check("hue", hue, tolerance.hue_deg, "°");
    }
    PersonProof {
        person: person.to_owned(),
        de00: Some(de00),
        level_pct: Some(level),
        hue_deg: hue,
        faults,
    }
}
