//! Readings as tables.

use crate::seen::Seen;
use crate::show::{PersonReport, ReadingReport, ShotReport, report};
use crate::steps::proving::with_look;
use crate::{AppError, Result};
use inkarnat_film::{Film, Stage};
use inkarnat_interchange::readings::{FRAME_HEADER, FrameRow, SHOT_HEADER, ShotRow, table};
use inkarnat_reading::FrameReading;

/// The tables of a film: names and bytes.
pub(crate) fn of_film(film: &Film) -> Result<[(&'static str, Vec<u8>); 2]> {
    let report = report(film)?;
    let shots: Vec<ShotRow> = report
        .shots
        .iter()
        .flat_map(|shot| shot.people.iter().flat_map(|person| rows(shot, person)))
        .collect();
    let frames = frame_rows(film)?;
    let failed = |error| AppError::Request(format!("readings as a table: {error}"));
    Ok([
        ("readings.csv", table(&shots, &SHOT_HEADER).map_err(failed)?),
        ("frames.csv", table(&frames, &FRAME_HEADER).map_err(failed)?),
    ])
}

fn rows(shot: &ShotReport, person: &PersonReport) -> Vec<ShotRow> {
    let stages = [
        ("before", &person.before),
        ("after", &person.after),
        ("proof", &person.proof),
    ];
    stages
        .into_iter()
        .filter_map(|(stage, reading)| Some(row(shot, person, stage, reading.as_ref()?)))
        .collect()
}

fn row(shot: &ShotReport, person: &PersonReport, stage: &str, reading: &ReadingReport) -> ShotRow {
    let [lab_l, lab_a, lab_b] = reading.lab;
    ShotRow {
        shot: shot.shot.clone(),
        source: shot.source.clone(),
        in_frame: shot.in_frame,
        out_frame: shot.out_frame,
        timecode_in: shot.timecode_in.clone(),
        setup: shot.setup.clone(),
        scene: shot.scene.clone(),
        person: person.person.clone(),
        stage: stage.to_owned(),
        state: person.state.word().to_owned(),
        level_pct: reading.level_pct,
        level_pct_u: reading.level_pct_u,
        code10: reading.code10,
        hue_deg: reading.hue_deg,
        hue_deg_u: reading.hue_deg_u,
        off_line_deg: reading.off_line_deg,
        sat_ratio: reading.sat_ratio,
        clipped_pct: reading.clipped_pct,
        lab_l,
        lab_a,
        lab_b,
        confidence: reading.confidence,
        frames_read: reading.frames_read,
        frames_lost: reading.frames_lost,
    }
}

fn frame_rows(film: &Film) -> Result<Vec<FrameRow>> {
    let mut rows = Vec::new();
    let people = film.people()?;
    for shot in film.shots()? {
        let (seen, whole) = (Seen::of(film, &shot)?, with_look(film, &shot)?);
        for person in &people {
            for (name, stage) in [
                ("before", Stage::Before),
                ("after", Stage::After),
                ("proof", Stage::Proof),
            ] {
                let frames = film.frame_readings::<Vec<FrameReading>>(shot.id, person.id, stage)?;
                let whole = whole && stage != Stage::Before;
                let frames = seen.frames(frames.unwrap_or_default(), whole);
                rows.extend(frames.iter().map(|frame| {
                    let chroma = frame.mean.chroma();
                    FrameRow {
                        shot: shot.name.clone(),
                        person: person.name.clone(),
                        stage: name.to_owned(),
                        frame: frame.frame,
                        level_pct: 100.0 * frame.mean.y,
                        hue_deg: chroma.hue().map(inkarnat_color::Hue::degrees),
                        chroma: chroma.magnitude(),
                        pixels: u64::from(frame.samples),
                    }
                }));
            }
        }
    }
    Ok(rows)
}
