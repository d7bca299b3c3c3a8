//! Readings as tables (`.csv`, RFC 4180): one line a reading, a header of field names first.
//!
//! Decimal points, no digit grouping; an empty field where there is no value. Units stand in the
//! names: `_pct` percent of reference white, `_deg` degrees on the Cb/Cr plane counter-clockwise from
//! +Cb, `_u` standard uncertainty (k = 1).

use serde::{Deserialize, Serialize};

/// The reading of one person in one shot, at one stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShotRow {
    /// Name of the shot.
    pub shot: String,
    /// Path of the source clip, as it was given.
    pub source: String,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// Timecode of the first frame.
    pub timecode_in: Option<String>,
    /// The setup.
    pub setup: String,
    /// The scene.
    pub scene: String,
    /// The person.
    pub person: String,
    /// `before`, `after` or `proof`.
    pub stage: String,
    /// State of the person in this shot.
    pub state: String,
    /// Level Y'.
    pub level_pct: f64,
    /// Its uncertainty.
    pub level_pct_u: f64,
    /// The level as a 10-bit narrow-range code, not rounded.
    pub code10: f64,
    /// Hue; none below the chroma floor.
    pub hue_deg: Option<f64>,
    /// Its uncertainty.
    pub hue_deg_u: Option<f64>,
    /// Signed arc from the skin-tone line: positive toward yellow/green.
    pub off_line_deg: Option<f64>,
    /// Chroma magnitude over level.
    pub sat_ratio: Option<f64>,
    /// Share of the patch that is clipped in the source, percent.
    pub clipped_pct: f64,
    /// CIELAB L* (D65, BT.1886 display).
    pub lab_l: f64,
    /// CIELAB a*.
    pub lab_a: f64,
    /// CIELAB b*.
    pub lab_b: f64,
    /// 0 to 1: a rule of weight, not a probability.
    pub confidence: f64,
    /// Frames read.
    pub frames_read: Option<u64>,
    /// Frames left out.
    pub frames_lost: Option<u64>,
}

/// The reading of one person in one frame, at one stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameRow {
    /// Name of the shot.
    pub shot: String,
    /// The person.
    pub person: String,
    /// `before`, `after` or `proof`.
    pub stage: String,
    /// Source frame.
    pub frame: u64,
    /// Level Y'.
    pub level_pct: f64,
    /// Hue; none below the chroma floor.
    pub hue_deg: Option<f64>,
    /// Chroma magnitude.
    pub chroma: f64,
    /// Pixels read.
    pub pixels: u64,
}

/// Rows as a table with its header; the header alone where there is none.
///
/// # Errors
/// [`csv::Error`] only where memory runs out: rows are written to it.
pub fn table<Row: Serialize>(rows: &[Row], header: &[&str]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(Vec::new());
    writer.write_record(header)?;
    for row in rows {
        writer.serialize(row)?;
    }
    writer
        .into_inner()
        .map_err(|error| csv::Error::from(error.into_error()))
}

/// The header of a table of [`ShotRow`].
pub const SHOT_HEADER: [&str; 24] = [
    "shot",
    "source",
    "in_frame",
    "out_frame",
    "timecode_in",
    "setup",
    "scene",
    "person",
    "stage",
    "state",
    "level_pct",
    "level_pct_u",
    "code10",
    "hue_deg",
    "hue_deg_u",
    "off_line_deg",
    "sat_ratio",
    "clipped_pct",
    "lab_l",
    "lab_a",
    "lab_b",
    "confidence",
    "frames_read",
    "frames_lost",
];

/// The header of a table of [`FrameRow`].
pub const FRAME_HEADER: [&str; 8] = [
    "shot",
    "person",
    "stage",
    "frame",
    "level_pct",
    "hue_deg",
    "chroma",
    "pixels",
];

#[cfg(test)]
mod tests {
    use super::*;

    fn row() -> ShotRow {
        ShotRow {
            shot: "a, \"b\"".to_owned(),
            source: "x\ny.mov".to_owned(),
            in_frame: 0,
            out_frame: 25,
            timecode_in: None,
            setup: String::new(),
            scene: "1".to_owned(),
            person: "Ana".to_owned(),
            stage: "before".to_owned(),
            state: "on aim".to_owned(),
            level_pct: 61.25,
            level_pct_u: 0.1,
            code10: 600.55,
            hue_deg: None,
            hue_deg_u: None,
            off_line_deg: Some(-2.5),
            sat_ratio: Some(0.25),
            clipped_pct: 0.0,
            lab_l: 60.0,
            lab_a: 10.0,
            lab_b: 15.0,
            confidence: 1.0,
            frames_read: Some(25),
            frames_lost: None,
        }
    }

    /// Names of the fields and the header say the same, and odd names come back whole.
    #[test]
    fn rows_come_back_by_their_header() {
        let text = table(&[row(), row()], &SHOT_HEADER).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_slice());
        let found: Vec<ShotRow> = reader.deserialize().collect::<Result<_, _>>().unwrap();
        assert_eq!(found, [row(), row()]);
        let frame = FrameRow {
            shot: "s".to_owned(),
            person: "p".to_owned(),
            stage: "proof".to_owned(),
            frame: 7,
            level_pct: 1.0 / 3.0,
            hue_deg: Some(123.4),
            chroma: 0.08,
            pixels: 900,
        };
        let text = table(std::slice::from_ref(&frame), &FRAME_HEADER).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_slice());
        assert_eq!(
            reader.deserialize::<FrameRow>().next().unwrap().unwrap(),
            frame
        );
        let empty = table::<ShotRow>(&[], &SHOT_HEADER).unwrap();
        assert_eq!(String::from_utf8(empty).unwrap().lines().count(), 1);
    }
}
