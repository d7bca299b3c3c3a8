//! The whole film in short: what the run charts are drawn from.

use crate::Result;
use crate::show::known::Known;
use crate::show::{
    FilmReport, HistoryReport, PersonReport, ProgrammeReport, Proposal, Question, ReadingReport,
    ShotReport, ShotState, SpaceReport, VersionReport,
};
use crate::steps::cutting::seen_of;
use inkarnat_color::hue::PUBLISHED_BAND_DEG;
use inkarnat_film::Film;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::Path;

/// The film in short.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Overview {
    /// Name of the film.
    pub film: String,
    /// The film file's path.
    pub file: String,
    /// What the numbers of the working signal mean.
    pub working_space: SpaceReport,
    /// The skin-tone line, degrees on the Cb/Cr plane.
    pub skin_tone_line_deg: f64,
    /// Where published facial spectra lie: lowest and highest hue, degrees.
    pub published_band_deg: [f64; 2],
    /// Everybody, in the order in which they first appear.
    pub people: Vec<FilmPerson>,
    /// The shots in film order.
    pub shots: Vec<OverviewShot>,
    /// Doubts that only the editor can settle.
    pub questions: Vec<Question>,
    /// Changes that the picture itself suggests.
    pub proposals: Vec<Proposal>,
    /// Whether a finished picture is in the film, which can be handed over whole.
    pub has_picture: bool,
    /// Whether a look lies over the fix of some shot.
    pub has_look: bool,
    /// What was handed over, the latest first.
    pub versions: Vec<VersionReport>,
    /// Finished programmes that were held against the film, the latest first.
    pub programmes: Vec<ProgrammeReport>,
    /// What can be taken back and again.
    pub history: HistoryReport,
}

/// A person of the film.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FilmPerson {
    /// The name.
    pub person: String,
    /// The aim as it was typed.
    pub aim: String,
    /// The complexion that the editor set.
    pub complexion: Option<String>,
    /// Shots in which they were read or drawn.
    pub shots: usize,
}

/// A shot in short.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct OverviewShot {
    /// The film's number of it: what addresses of the page name.
    pub id: i64,
    /// Its name.
    pub shot: String,
    /// File name of its source.
    pub source: String,
    /// The setup that carries the fix.
    pub setup: String,
    /// The scene.
    pub scene: String,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// Frames a second; the mean where it varies.
    pub rate: f64,
    /// Timecode of the first frame.
    pub timecode_in: Option<String>,
    /// Columns and rows as they are shown: pixels taken as square.
    pub size: [u64; 2],
    /// The state of the whole shot.
    pub state: ShotState,
    /// One sentence: why the fix is what it is, or what failed.
    pub sentence: String,
    /// Everybody who was read or drawn.
    pub people: Vec<PersonPoint>,
}

/// One person in one shot, in short.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PersonPoint {
    /// The name.
    pub person: String,
    /// The state of this person here.
    pub state: ShotState,
    /// Why it is that, where it is `unread`, `off aim` or `short`.
    pub why: Option<String>,
    /// The source.
    pub before: Option<Point>,
    /// With the fix.
    pub after: Option<Point>,
    /// The delivered file.
    pub proof: Option<Point>,
    /// The centre of the aim: level in percent; null without a fix.
    pub aim_level_pct: Option<f64>,
    /// The centre of the aim: hue in degrees.
    pub aim_hue_deg: Option<f64>,
    /// A typed band of level, percent.
    pub level_band_pct: Option<[f64; 2]>,
    /// A typed band of hue, degrees.
    pub hue_band_deg: Option<[f64; 2]>,
    /// Width of the aim, CIEDE2000.
    pub width_de00: f64,
    /// What that width is along level alone, percent either way; null without a fix.
    pub width_level_pct: Option<f64>,
    /// What that width is along hue alone, degrees either way; null without a fix or a hue.
    pub width_hue_deg: Option<f64>,
    /// CIEDE2000 from the aim's centre in the source.
    pub de00_before: Option<f64>,
    /// CIEDE2000 from the aim's centre after the fix.
    pub de00_after: Option<f64>,
}

/// A reading in short. Uncertainties are standard ones (k = 1).
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Point {
    /// Level, percent.
    pub level_pct: f64,
    /// Its uncertainty.
    pub level_pct_u: f64,
    /// Hue, degrees.
    pub hue_deg: Option<f64>,
    /// Its uncertainty.
    pub hue_deg_u: Option<f64>,
    /// Change of level over the shot, percent of reference white.
    pub drift_level_pct: Option<f64>,
    /// Change of hue over the shot, degrees.
    pub drift_hue_deg: Option<f64>,
}

/// The film in short, from how it stands.
///
/// # Errors
/// If the film cannot be read.
pub fn overview(film: &Film, report: FilmReport) -> Result<Overview> {
    let known = Known::of(film)?;
    let stored: BTreeMap<String, _> = film
        .shots()?
        .into_iter()
        .map(|shot| (shot.name.clone(), shot))
        .collect();
    let mut people: Vec<FilmPerson> = Vec::new();
    let mut shots = Vec::new();
    let has_look = report.shots.iter().any(|shot| shot.look.is_some());
    let mut has_picture = false;
    for source in film.sources()? {
        has_picture |= seen_of(&source)?.is_some();
    }
    for shot in report.shots {
        for person in &shot.people {
            match people.iter_mut().find(|p| p.person == person.person) {
                Some(found) => found.shots += 1,
                None => people.push(FilmPerson {
                    person: person.person.clone(),
                    aim: person.aim.text.clone(),
                    complexion: person.complexion.clone(),
                    shots: 1,
                }),
            }
        }
        let Some(stored) = stored.get(&shot.shot) else {
            continue;
        };
        let (rate, size) = known.probe(stored).map_or((25.0, [16, 9]), |probe| {
            let wide = probe.width as f64 * probe.sample_aspect.value().max(0.1);
            (
                probe.rate.value(),
                [wide.round() as u64, probe.height as u64],
            )
        });
        shots.push(in_short(stored.id.0, shot, rate, size));
    }
    let (low, high) = PUBLISHED_BAND_DEG;
    Ok(Overview {
        film: report.film,
        file: film.path().to_string_lossy().into_owned(),
        working_space: report.working_space,
        skin_tone_line_deg: report.skin_tone_line_deg,
        published_band_deg: [low, high],
        people,
        shots,
        questions: report.questions,
        proposals: report.proposals,
        has_picture,
        has_look,
        versions: report.versions.into_iter().rev().collect(),
        programmes: report.programmes.into_iter().rev().collect(),
        history: report.history,
    })
}

fn in_short(id: i64, shot: ShotReport, rate: f64, size: [u64; 2]) -> OverviewShot {
    let source = Path::new(&shot.source).file_name().map_or_else(
        || shot.source.clone(),
        |name| name.to_string_lossy().into_owned(),
    );
    OverviewShot {
        id,
        source,
        rate,
        size,
        sentence: sentence_of(&shot),
        people: shot.people.iter().map(person_point).collect(),
        shot: shot.shot,
        setup: shot.setup,
        scene: shot.scene,
        in_frame: shot.in_frame,
        out_frame: shot.out_frame,
        timecode_in: shot.timecode_in,
        state: shot.state,
    }
}

/// One sentence about a shot: why its fix is what it is, or what failed.
pub(super) fn sentence_of(shot: &ShotReport) -> String {
    match (&shot.failure, &shot.why_unread, &shot.fix) {
        (Some(why), _, _) | (None, Some(why), _) => why.clone(),
        (None, None, Some(fix)) => fix.why.clone(),
        (None, None, None) => match shot.state {
            ShotState::Kept => "Kept: it stays as it is.".to_owned(),
            ShotState::Unread => "Nothing was read here yet.".to_owned(),
            _ => "No fix yet.".to_owned(),
        },
    }
}

fn person_point(person: &PersonReport) -> PersonPoint {
    let centre = person.aim.centre.as_ref();
    PersonPoint {
        person: person.person.clone(),
        state: person.state,
        why: person.why.clone(),
        before: person.before.as_ref().map(point),
        after: person.after.as_ref().map(point),
        proof: person.proof.as_ref().map(point),
        aim_level_pct: centre.map(|c| c.level_pct),
        aim_hue_deg: centre.and_then(|c| c.hue_deg),
        level_band_pct: person.aim.level_pct,
        hue_band_deg: person.aim.hue_deg,
        width_de00: person.aim.width_de00,
        width_level_pct: centre.map(|c| width_along_level(c.lab, person.aim.width_de00)),
        width_hue_deg: centre.and_then(|c| width_along_hue(c.lab, person.aim.width_de00)),
        de00_before: person.aim_de00_before,
        de00_after: person.aim_de00_after,
    }
}

/// Level moved by this much, at one colour, is `width` CIEDE2000: by the lightness weight of that formula and the slope
/// of lightness over the signal of a BT.1886 display. For drawing.
fn width_along_level(lab: [f64; 3], width: f64) -> f64 {
    let l50 = (lab[0] - 50.0).powi(2);
    let weight = 1.0 + 0.015 * l50 / (20.0 + l50).sqrt();
    // L* = 116 (V^2.4)^(1/3) − 16 = 116 V^0.8 − 16 above the linear part.
    let signal = ((lab[0] + 16.0) / 116.0).max(0.05).powf(1.25);
    let slope = 116.0 * 0.8 * signal.powf(-0.2) / 100.0;
    width * weight / slope
}

/// Hue turned by this many degrees of the a*b* plane is `width` CIEDE2000 at one colour, near enough the same angle on the
/// Cb/Cr plane for skin. For drawing.
fn width_along_hue(lab: [f64; 3], width: f64) -> Option<f64> {
    let chroma = lab[1].hypot(lab[2]);
    (chroma > 2.0).then(|| {
        (width * (1.0 + 0.015 * chroma) / chroma)
            .to_degrees()
            .min(90.0)
    })
}

pub(super) fn point(reading: &ReadingReport) -> Point {
    Point {
        level_pct: reading.level_pct,
        level_pct_u: reading.level_pct_u,
        hue_deg: reading.hue_deg,
        hue_deg_u: reading.hue_deg_u,
        drift_level_pct: reading.drift_level_pct,
        drift_hue_deg: reading.drift_hue_deg,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_color::{Lab, WorkingSpace, delta_e_2000, lab_from_signal};

    /// The drawn width against CIEDE2000 itself, for skin from dark to light.
    #[test]
    fn the_drawn_width_of_level_is_that_of_ciede2000() {
        for signal in [[0.30, 0.24, 0.20], [0.55, 0.44, 0.38], [0.75, 0.62, 0.56]] {
            let at = |scale: f64| -> Lab {
                lab_from_signal(signal.map(|v| v * scale), WorkingSpace::default())
            };
            let lab = at(1.0);
            let width = width_along_level([lab.l, lab.a, lab.b], 2.0);
            let luma = 100.0 * (0.2126 * signal[0] + 0.7152 * signal[1] + 0.0722 * signal[2]);
            let found = delta_e_2000(lab, at(1.0 + width / luma)).0;
            // Chroma moves with level too, which the drawing leaves out.
            assert!((1.7..2.6).contains(&found), "{signal:?}: {found}");
        }
    }
}
