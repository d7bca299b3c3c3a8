//! One shot in full.

use crate::Result;
use crate::seen::{Seen, look_alone, seen_chain_of, through};
use crate::show::{ShotReport, report_of_shot};
use crate::steps::finding::{Present, present};
use crate::steps::fixing::FixRecord;
use crate::steps::lighting::{light_for, skin_sample};
use crate::steps::proving::with_look;
use crate::steps::reading::Drawn;
use crate::steps::taking::probe_of;
use inkarnat_color::WorkingSpace;
use inkarnat_film::{Film, Shot, ShotId, Stage};
use inkarnat_ops::{Cdl, Chain, MovingChain};
use inkarnat_people::FaceTrack;
use inkarnat_reading::{FrameReading, Pose, Shape, SkinSample, Track};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One shot in full.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ShotView {
    /// The film's number of it.
    pub id: i64,
    /// Everything that `show --json` says of it.
    pub report: ShotReport,
    /// Frames a second; the mean where it varies.
    pub rate: f64,
    /// Columns and rows as decoded.
    pub size: [u64; 2],
    /// Columns and rows as they are shown: pixels taken as square.
    pub shown_size: [u64; 2],
    /// Every patch, where it lies in each frame.
    pub patches: Vec<PatchView>,
    /// Every face that was found, where it lies.
    pub faces: Vec<FaceView>,
    /// Readings through time.
    pub series: Vec<PersonSeries>,
    /// Pixels of skin, before and after.
    pub skin: Vec<SkinPixels>,
    /// The other shots that carry the same fix.
    pub same_setup: Vec<String>,
    /// The first CDL of the fix in force, to be moved by hand; neutral where there is none.
    pub by_hand: [Vec<f64>; 4],
    /// Where the fix follows the light: the gains of R', G', B' before everything else that it does, for each source frame
    /// from the shot's first. Empty where the fix is constant.
    pub light: Vec<[f64; 3]>,
    /// Where the light changes and could be followed: the source frame whose light the others are brought to.
    pub light_reference: Option<u64>,
    /// Whether the editor holds the fix constant, whatever the light does.
    pub held_constant: bool,
}

/// An outline in fractions of picture width and height.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OutlineShape {
    /// An upright ellipse.
    Ellipse {
        /// Centre (x, y).
        centre: [f64; 2],
        /// Half width and half height.
        radii: [f64; 2],
    },
    /// Corners in order around.
    Polygon(Vec<[f64; 2]>),
}

impl OutlineShape {
    /// The same as the readings take it.
    pub(crate) fn shape(&self) -> Shape {
        match self {
            Self::Ellipse { centre, radii } => Shape::Ellipse {
                centre: *centre,
                radii: *radii,
            },
            Self::Polygon(corners) => Shape::Polygon(corners.clone()),
        }
    }
}

/// A patch, and where it lies.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PatchView {
    /// The film's number of it.
    pub id: i64,
    /// Whose skin it is.
    pub person: String,
    /// The source frame that it was drawn on.
    pub frame: u64,
    /// Its outline there.
    pub shape: OutlineShape,
    /// First frame of `poses`.
    pub first_frame: u64,
    /// Where it lies in each frame from there on: a, b, tx, ty of x' = a·x − b·y + tx, y' = b·x + a·y + ty in
    /// picture widths on both axes; null where it is lost. Empty before it was followed.
    pub poses: Vec<Option<[f64; 4]>>,
}

/// A face that was found, and where it lies.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FaceView {
    /// The film's number of it.
    pub id: i64,
    /// Whose it is.
    pub person: String,
    /// Source frames in which it is held.
    pub frames: Vec<u64>,
    /// Its edge in each of them, clockwise: x and y one after the other, fractions of picture width and height.
    pub edges: Vec<Vec<f32>>,
}

/// Readings of one person through time.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PersonSeries {
    /// The name.
    pub person: String,
    /// The source.
    pub before: Series,
    /// With the fix: each frame's reading taken through the operations, or as it was read once the shot is proved.
    pub after: Series,
}

/// Readings by frame, in lists of one length.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
pub struct Series {
    /// Source frames.
    pub frames: Vec<u64>,
    /// Level, percent.
    pub level_pct: Vec<f64>,
    /// Hue, degrees; null below the chroma floor.
    pub hue_deg: Vec<Option<f64>>,
}

/// Pixels of one person's skin over the shot, a thinned sample: Y', Cb, Cr as signal.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SkinPixels {
    /// The name.
    pub person: String,
    /// The source.
    pub before: Vec<[f32; 3]>,
    /// With the fix.
    pub after: Vec<[f32; 3]>,
}

/// Pixels of a person that are sent.
const PIXELS: usize = 500;

/// One shot in full.
///
/// # Errors
/// If there is no such shot, or the film cannot be read.
pub fn shot_view(film: &Film, id: ShotId) -> Result<ShotView> {
    let shots = film.shots()?;
    let shot = shot_of(&shots, id)?;
    let source = film.sources()?.into_iter().find(|s| s.id == shot.source);
    let probe = source.as_ref().map(probe_of).transpose()?;
    let (rate, size, aspect) = probe.map_or((25.0, [16, 9], 1.0), |probe| {
        let size = [probe.width as u64, probe.height as u64];
        (
            probe.rate.value(),
            size,
            probe.sample_aspect.value().max(0.1),
        )
    });
    let chain = seen_chain_of(film, shot)?;
    let (seen, look) = (Seen::of(film, shot)?, look_alone(&chain));
    let whole = with_look(film, shot)?;
    let people = present(film, shot)?;
    let mut view = ShotView {
        id: id.0,
        report: report_of_shot(film, shot)?,
        rate,
        size,
        shown_size: [(size[0] as f64 * aspect).round() as u64, size[1]],
        patches: Vec::new(),
        faces: Vec::new(),
        series: Vec::new(),
        skin: Vec::new(),
        same_setup: shots
            .iter()
            .filter(|other| other.setup == shot.setup && other.id != shot.id)
            .map(|other| other.name.clone())
            .collect(),
        by_hand: cdl_of(&chain.chain),
        light: light_of(&chain, shot),
        light_reference: film.fix::<FixRecord>(shot.setup)?.and_then(|(_, record)| {
            light_for(&record.light, shot)
                .filter(|light| light.is_followed())
                .map(|light| light.reference)
        }),
        held_constant: shot.constant,
    };
    for Present {
        person,
        drawn,
        faces,
    } in &people
    {
        if let Some(drawn) = drawn {
            view.patches.extend(patch_views(film, drawn)?);
        }
        for face in faces {
            if let Some(track) = film.face_track::<FaceTrack>(face.id)? {
                view.faces
                    .push(face_view(face.id.0, &person.name, &track, size));
            }
        }
        let name = person.name.clone();
        let read = |stage| film.frame_readings::<Vec<FrameReading>>(shot.id, person.id, stage);
        let Some(before) = read(Stage::Before)? else {
            continue;
        };
        let after = match read(Stage::After)? {
            Some(after) if view.report.proof.is_some() => series(&seen.frames(after, whole)),
            _ => series(&through(&before, &chain, film.space())),
        };
        view.series.push(PersonSeries {
            person: name.clone(),
            before: series(&seen.frames(before, false)),
            after,
        });
        if let Some(sample) = skin_sample(film, shot, person.id)? {
            view.skin
                .push(skin(name, &sample, (&look, &chain), film.space()));
        }
    }
    Ok(view)
}

pub(crate) fn shot_of(shots: &[Shot], id: ShotId) -> Result<&Shot> {
    shots.iter().find(|shot| shot.id == id).ok_or_else(|| {
        crate::AppError::Request(format!(
            "shot {} is not in this film any more; load the page again",
            id.0
        ))
    })
}

fn light_of(chain: &MovingChain, shot: &Shot) -> Vec<[f64; 3]> {
    match &chain.light {
        None => Vec::new(),
        Some(light) => (shot.in_frame..shot.out_frame)
            .map(|frame| light.at(frame).slope)
            .collect(),
    }
}

fn cdl_of(chain: &Chain) -> [Vec<f64>; 4] {
    let cdl = chain
        .fix
        .iter()
        .find_map(|op| match op {
            inkarnat_ops::Op::Cdl(cdl) => Some(*cdl),
            _ => None,
        })
        .unwrap_or(Cdl::NEUTRAL);
    [
        cdl.slope.to_vec(),
        cdl.offset.to_vec(),
        cdl.power.to_vec(),
        vec![cdl.saturation],
    ]
}

fn patch_views(film: &Film, drawn: &Drawn) -> Result<Vec<PatchView>> {
    let mut views = Vec::new();
    for (id, patch) in drawn.ids.iter().zip(&drawn.patches) {
        let track: Option<Track> = film.track(*id)?;
        let held = |pose: &Pose| pose.held().map(|p| [p.a, p.b, p.tx, p.ty]);
        views.push(PatchView {
            id: id.0,
            person: drawn.person.name.clone(),
            frame: patch.frame,
            shape: match &patch.shape {
                Shape::Ellipse { centre, radii } => OutlineShape::Ellipse {
                    centre: *centre,
                    radii: *radii,
                },
                Shape::Polygon(corners) => OutlineShape::Polygon(corners.clone()),
            },
            first_frame: track.as_ref().map_or(0, |track| track.first_frame),
            poses: track.map_or_else(Vec::new, |track| track.poses.iter().map(held).collect()),
        });
    }
    Ok(views)
}

fn face_view(id: i64, person: &str, track: &FaceTrack, [width, height]: [u64; 2]) -> FaceView {
    let size = [width as f32, height as f32];
    let (mut frames, mut edges) = (Vec::new(), Vec::new());
    for number in &track.numbers {
        let Some(outline) = track.at(*number).filter(|outline| outline.is_whole()) else {
            continue;
        };
        frames.push(*number);
        edges.push(
            outline
                .oval()
                .iter()
                .flat_map(|point| [point[0] as f32 / size[0], point[1] as f32 / size[1]])
                .collect(),
        );
    }
    FaceView {
        id,
        person: person.to_owned(),
        frames,
        edges,
    }
}

fn series(frames: &[FrameReading]) -> Series {
    Series {
        frames: frames.iter().map(|frame| frame.frame).collect(),
        level_pct: frames.iter().map(|frame| frame.mean.y * 100.0).collect(),
        hue_deg: frames
            .iter()
            .map(|frame| frame.mean.chroma().hue().map(inkarnat_color::Hue::degrees))
            .collect(),
    }
}

fn skin(
    person: String,
    sample: &SkinSample,
    (look, chain): (&MovingChain, &MovingChain),
    space: WorkingSpace,
) -> SkinPixels {
    let SkinSample { pixels, frames } = sample;
    let step = pixels.len().div_ceil(PIXELS).max(1);
    let signal = |rgb: [f64; 3]| {
        let ycc = space.coefficients.ycbcr_from_rgb(rgb);
        [ycc.y, ycc.cb, ycc.cr].map(|v| v as f32)
    };
    let chosen: Vec<[f64; 3]> = pixels
        .iter()
        .step_by(step)
        .map(|rgb| rgb.map(f64::from))
        .collect();
    SkinPixels {
        person,
        before: chosen
            .iter()
            .map(|rgb| signal(look.chain.apply_pixel(*rgb)))
            .collect(),
        after: chosen
            .iter()
            .enumerate()
            .map(|(index, rgb)| {
                let frame = frames.get(index * step).copied().unwrap_or_default();
                signal(chain.at(frame).apply_pixel(*rgb))
            })
            .collect(),
    }
}
