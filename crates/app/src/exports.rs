//! A fix as files that other programs read.

use crate::limit::LimitTo;
use crate::nearest::{NearestCdl, SKIN_LIMIT_DE00};
use crate::steps::fixing::FixRecord;
use crate::steps::handing::{middle_of, timecode_at};
use crate::steps::taking::probe_of;
use crate::{AppError, Result};
use inkarnat_color::WorkingSpace;
use inkarnat_film::{Film, InputKey, Shot, ShotId, Source};
use inkarnat_interchange::clf::nodes_of;
use inkarnat_interchange::{CdlFile, ClfFile, Correction, CubeFile, Form, Place};
use inkarnat_ops::{Baked, Cdl, Chain, Domain, MovingChain, Op};
use serde::Serialize;

/// One file, not written yet.
pub(crate) struct ExportFile {
    /// Where it goes below the output directory.
    pub(crate) below: String,
    pub(crate) kind: &'static str,
    pub(crate) bytes: Vec<u8>,
}

/// The files of a fix, and what to say about them.
pub(crate) struct Exports {
    pub(crate) files: Vec<ExportFile>,
    pub(crate) notes: Vec<String>,
    /// The fix as one CDL, where there is one that is near enough.
    pub(crate) correction: Option<Correction>,
}

/// The CDL that a fix goes out as, and what to say beside it.
pub(crate) enum Said {
    /// It is the fix itself.
    Exact(Cdl),
    /// It is the nearest one; what is missing.
    Nearest(Cdl, String),
    /// None is near enough; why.
    None(String),
}

/// How a fix is said in one CDL: the same wherever CDLs are written.
pub(crate) fn as_cdl(nearest: &NearestCdl) -> Said {
    if nearest.skin_de00 > SKIN_LIMIT_DE00 {
        Said::None(format!(
            "{} cannot be said in one CDL, and skin would be off by ΔE00 {:.1}; use the table",
            nearest.missing, nearest.skin_de00
        ))
    } else if nearest.exact {
        Said::Exact(nearest.cdl)
    } else {
        Said::Nearest(nearest.cdl, described(nearest))
    }
}

/// Nodes along each side of a table: more only where the smaller one is off by more than a 10-bit
/// code.
const SIZES: [usize; 2] = [33, 65];
const ONE_CODE: f64 = 1.0 / 876.0;

/// What stands around a fix in tables that are asked for beside it alone.
#[derive(Clone, Debug, Default)]
pub(crate) struct Around {
    /// Limits that are kept after it.
    pub(crate) limit: Option<LimitTo>,
    /// The look over it; empty: none, or not asked for.
    pub(crate) look: Vec<Op>,
    /// The input transform before it; empty: none, or not asked for.
    pub(crate) input: Vec<Op>,
    /// Its clips have different input transforms, so that no one table holds for all.
    pub(crate) several_inputs: bool,
}

/// The files of a fix that is the same for all frames, under a name; with what stands around it also as tables and CLF of
/// both.
pub(crate) fn of_fix(
    space: WorkingSpace,
    name: &str,
    record: &FixRecord,
    around: &Around,
) -> Result<Exports> {
    let chain = Chain::of_fix(record.fix().ops.clone());
    constant(space, (name, &chain), &record.cdl, (None, around))
}

/// What is said of one frame's fix where the fix follows the light.
fn of_middle(middle: u64, furthest: f64) -> String {
    format!(
        "This one is that of source frame {middle}, the middle of the shot; in other frames gains differ from it by up to {:.0} %.",
        100.0 * furthest
    )
}

/// The nearest CDL of a shot: of its middle frame where the fix follows the light, with the largest difference of a gain in
/// other frames.
fn nearest_of(record: &FixRecord, shot: &Shot) -> (NearestCdl, Option<f64>) {
    let moving = record.chain_for(shot);
    if moving.is_constant() {
        return (record.cdl.clone(), None);
    }
    let light = moving.light.clone().unwrap_or_default();
    let there = light.at(middle_of(shot));
    let furthest = (shot.in_frame..shot.out_frame)
        .flat_map(|frame| {
            let slope = light.at(frame).slope;
            (0..3).map(move |c| (slope[c] / there.slope[c] - 1.0).abs())
        })
        .fold(0.0, f64::max);
    let nearest = NearestCdl {
        // The light's CDL is gains alone, so that one CDL says both.
        cdl: there.then(&record.cdl.cdl).unwrap_or(record.cdl.cdl),
        ..record.cdl.clone()
    };
    (nearest, Some(furthest))
}

/// The CDL of a shot, and, where its fix follows the light, what to say of that.
pub(crate) fn cdl_of_shot(record: &FixRecord, shot: &Shot) -> (Said, Option<String>) {
    let (nearest, furthest) = nearest_of(record, shot);
    let warning = furthest.map(|furthest| {
        format!(
            "The fix follows the light. {}",
            of_middle(middle_of(shot), furthest)
        )
    });
    (as_cdl(&nearest), warning)
}

/// The files of the fix of a shot that follows its light: the keyframes, and in the formats that hold one fix, that of the
/// shot's middle frame.
pub(crate) fn of_moving(
    space: WorkingSpace,
    (film, shot, source): (&Film, &Shot, &Source),
    name: &str,
    record: &FixRecord,
    around: &Around,
) -> Result<Exports> {
    let moving = record.chain_for(shot);
    let middle = middle_of(shot);
    let keyframes = format!("keyframes/{name}.json");
    let (nearest, furthest) = nearest_of(record, shot);
    let warning = format!(
        "The fix follows the light: {keyframes} holds its keyframes. {}",
        of_middle(middle, furthest.unwrap_or_default())
    );
    let mut exports = constant(
        space,
        (name, &moving.at(middle)),
        &nearest,
        (Some(&warning), around),
    )?;
    exports.notes.insert(
        0,
        format!(
            "the fix follows the light: tables, CLF and CDL hold that of frame {middle} alone, {keyframes} all of it"
        ),
    );
    exports.files.push(ExportFile {
        below: keyframes,
        kind: "keyframes",
        bytes: keyframes_file(space, (film, shot, source), &moving)?,
    });
    Ok(exports)
}

/// A fix that follows the light, as a file of its own form.
#[derive(Serialize)]
struct KeyframesFile {
    /// Version of this form.
    keyframes_version: u32,
    film: String,
    shot: String,
    source: String,
    /// Frames a second; the mean where it varies.
    rate: f64,
    /// Source frames of the shot, from 0, half-open.
    in_frame: u64,
    out_frame: u64,
    signal: String,
    place: &'static str,
    interpolation: &'static str,
    /// Whether each CDL is the whole fix; else `then` follows it, the same in all frames.
    whole: bool,
    keyframes: Vec<KeyframeOut>,
    then: Vec<Op>,
}

#[derive(Serialize)]
struct KeyframeOut {
    /// Source frame, from 0; it may lie outside the shot.
    frame: u64,
    /// Its timecode; null where the source has none.
    timecode: Option<String>,
    slope: [f64; 3],
    offset: [f64; 3],
    power: [f64; 3],
    saturation: f64,
}

fn keyframes_file(
    space: WorkingSpace,
    (film, shot, source): (&Film, &Shot, &Source),
    moving: &MovingChain,
) -> Result<Vec<u8>> {
    let whole = moving.keyframes();
    let keys = whole.as_ref().or(moving.light.as_ref());
    let file = KeyframesFile {
        keyframes_version: 1,
        film: film.name().to_owned(),
        shot: shot.name.clone(),
        source: source.path.to_string_lossy().into_owned(),
        rate: probe_of(source)?.rate.value(),
        in_frame: shot.in_frame,
        out_frame: shot.out_frame,
        signal: signal(space),
        place: "The fix alone, after any input transform, before any look. To be applied without clamping.",
        interpolation: "Each number by a monotone piecewise cubic through its keyframes (Fritsch and Butland 1984, with three-point ends held to the shape); before the first and after the last it holds.",
        whole: whole.is_some(),
        keyframes: keys
            .into_iter()
            .flat_map(|keys| &keys.keys)
            .map(|key| {
                Ok(KeyframeOut {
                    frame: key.frame,
                    timecode: timecode_at(source, key.frame)?.map(|at| at.to_string()),
                    slope: key.cdl.slope,
                    offset: key.cdl.offset,
                    power: key.cdl.power,
                    saturation: key.cdl.saturation,
                })
            })
            .collect::<Result<_>>()?,
        then: if whole.is_some() {
            Vec::new()
        } else {
            moving.chain.fix.clone()
        },
    };
    let mut text = serde_json::to_vec_pretty(&file).map_err(AppError::protocol)?;
    text.push(b'\n');
    Ok(text)
}

fn constant(
    space: WorkingSpace,
    (name, chain): (&str, &Chain),
    nearest: &NearestCdl,
    (warning, around): (Option<&str>, &Around),
) -> Result<Exports> {
    let mut exports = Exports {
        files: Vec::new(),
        notes: Vec::new(),
        correction: None,
    };
    tables(space, (name, chain), (Place::Fix, warning), &mut exports)?;
    beside(space, (name, chain), (warning, around), &mut exports)?;
    if let Some(limit) = around.limit {
        // Tables are read as signal: ten bits are what they are seen through.
        let limiter = limit.limiter(space.coefficients, 10);
        let mut ops = chain.fix.clone();
        ops.push(Op::Limiter(limiter));
        let name = format!("{name}_limited");
        let limited = Chain::of_fix(ops);
        tables(
            space,
            (&name, &limited),
            (Place::FixAndLimiter, warning),
            &mut exports,
        )?;
        exports.notes.push(format!(
            "{name}: the fix with the limiter, as table and CLF; CDL files carry no limiter"
        ));
    }
    let (cdl, description) = match as_cdl(nearest) {
        Said::None(why) => {
            exports.notes.push(format!("no CDL file: {why}"));
            return Ok(exports);
        }
        Said::Exact(cdl) => (
            cdl,
            "The fix itself, to be applied without clamping.".to_owned(),
        ),
        Said::Nearest(cdl, missing) => {
            exports.notes.push(missing.clone());
            (cdl, missing)
        }
    };
    let correction = Correction {
        id: name.to_owned(),
        descriptions: std::iter::once(description)
            .chain(warning.map(str::to_owned))
            .collect(),
        input_description: format!("{} Place: the fix alone, before any look.", signal(space)),
        viewing_description: "BT.1886 display.".to_owned(),
        media: String::new(),
        cdl,
    };
    let file = CdlFile {
        form: Form::Cc,
        corrections: vec![correction.clone()],
    };
    exports.files.push(cdl_file(name, &file)?);
    exports.correction = Some(correction);
    Ok(exports)
}

/// Tables and CLF of the fix with the input transform before it, the look over it, or both.
fn beside(
    space: WorkingSpace,
    (name, chain): (&str, &Chain),
    (warning, around): (Option<&str>, &Around),
    exports: &mut Exports,
) -> Result<()> {
    let (input, look) = (!around.input.is_empty(), !around.look.is_empty());
    let none: &[Op] = &[];
    let wanted = [
        (look, none, &*around.look, "look", Place::FixAndLook),
        (input, &*around.input, none, "input", Place::InputAndFix),
        (
            input && look,
            &*around.input,
            &*around.look,
            "whole",
            Place::Whole,
        ),
    ];
    for (_, before, after, suffix, place) in wanted.into_iter().filter(|wanted| wanted.0) {
        let ops = [before, &chain.fix, after].concat();
        let name = format!("{name}_{suffix}");
        tables(
            space,
            (&name, &Chain::of_fix(ops)),
            (place, warning),
            exports,
        )?;
        exports.notes.push(format!(
            "{name}: {}, as table and CLF; CDL files hold the fix alone",
            match place {
                Place::FixAndLook => "the fix with the look",
                Place::InputAndFix => "the input transform with the fix",
                _ => "input transform, fix and look",
            }
        ));
    }
    if around.several_inputs {
        exports.notes.push(format!(
            "{name}: its clips have different input transforms, so that no table begins before them"
        ));
    }
    Ok(())
}

fn cdl_file(name: &str, file: &CdlFile) -> Result<ExportFile> {
    let text = file
        .write()
        .map_err(|error| AppError::Request(format!("{name}: CDL file: {error}")))?;
    Ok(ExportFile {
        below: format!("cdl/{name}.{}", file.form.extension()),
        kind: "cdl",
        bytes: text.into_bytes(),
    })
}

/// All corrections of a film as one collection, one a setup (and one a shot whose fix follows its light), and as a decision list, one a shot with its medium.
pub(crate) fn collected(
    name: &str,
    corrections: &[(Vec<ShotId>, Correction)],
    shots: &[(&Shot, String)],
) -> Result<Vec<ExportFile>> {
    if corrections.is_empty() {
        return Ok(Vec::new());
    }
    let of_shots = shots.iter().filter_map(|(shot, media)| {
        let (_, correction) = corrections.iter().find(|(of, _)| of.contains(&shot.id))?;
        (!shot.kept).then(|| Correction {
            id: shot.name.clone(),
            media: media.clone(),
            ..correction.clone()
        })
    });
    let forms = [
        (
            Form::Ccc,
            corrections.iter().map(|(_, c)| c.clone()).collect(),
        ),
        (Form::Cdl, of_shots.collect()),
    ];
    forms
        .into_iter()
        .map(|(form, corrections)| cdl_file(name, &CdlFile { form, corrections }))
        .collect()
}

fn tables(
    space: WorkingSpace,
    (name, chain): (&str, &Chain),
    (place, warning): (Place, Option<&str>),
    exports: &mut Exports,
) -> Result<()> {
    for (domain, suffix) in [(Domain::UNIT, ""), (Domain::WIDE, "_wide")] {
        let Baked { lut, error } = exported_table(chain, domain);
        let cube = CubeFile::of_chain(name, place, space, lut, error);
        exports.files.push(ExportFile {
            below: format!("luts/{name}{suffix}.cube"),
            kind: "lut",
            bytes: cube.write().into_bytes(),
        });
    }
    exports
        .files
        .push(clf(space, (name, chain), (place, warning))?);
    Ok(())
}

/// The table that a fix is handed on as.
pub(crate) fn exported_table(chain: &Chain, domain: Domain) -> Baked {
    let small = chain.bake_fix(SIZES[0], domain);
    if small.error.max <= ONE_CODE {
        small
    } else {
        chain.bake_fix(SIZES[1], domain)
    }
}

/// The signal that every export takes and gives.
fn signal(space: WorkingSpace) -> String {
    format!(
        "Non-linear R'G'B', 0 = reference black, 1 = reference white; {} primaries.",
        space.primaries
    )
}

/// The fix as CLF: its own operations where the format has them, else a table behind a matrix that
/// carries the domain.
fn clf(
    space: WorkingSpace,
    (name, chain): (&str, &Chain),
    (place, warning): (Place, Option<&str>),
) -> Result<ExportFile> {
    let size = |nodes: usize| nodes_of(&chain.fix_alone(), nodes, Domain::WIDE);
    let mut nodes = size(SIZES[0]);
    if nodes.error > ONE_CODE {
        nodes = size(SIZES[1]);
    }
    let how = match nodes.domain {
        None => "The operations of the fix themselves, without clamping.".to_owned(),
        Some(Domain { min, max }) if !nodes.table => format!(
            "The operations of the fix themselves, its roll-off as curves over {min}..{max}, where a matrix brings it to 0..1; signal beyond is held at their ends. Distance from the exact operations: {:.1e} at most (1 = reference white).",
            nodes.error
        ),
        Some(Domain { min, max }) => format!(
            "What has no operation of its own as a table over {min}..{max}, where a matrix brings it to 0..1; signal beyond is held at its ends. Distance from the exact operations: {:.1e} at most (1 = reference white).",
            nodes.error
        ),
    };
    let key = InputKey::of(&("clf", space, name, &nodes.process)).0;
    let file = ClfFile {
        id: uuid(&key),
        name: name.to_owned(),
        descriptions: [
            match place {
                Place::FixAndLimiter => "Place: the fix and the limiter, after any input transform, in place of the fix, where no look comes between the two.",
                Place::FixAndLook => "Place: the fix and the look, after any input transform.",
                Place::InputAndFix => "Place: the clip's input transform and the fix, before any look: it takes the clip's own signal.",
                Place::Whole => "Place: everything, the clip's input transform, the fix and the look: it takes the clip's own signal.",
                Place::Fix => "Place: the fix alone, after any input transform, before any look.",
            }
            .to_owned(),
            how,
            "A receiver that clamps to 0..1 loses what lies below black and above white."
                .to_owned(),
        ]
        .into_iter()
        .chain(warning.map(str::to_owned))
        .collect(),
        input: match place {
            Place::InputAndFix | Place::Whole => {
                "Non-linear R'G'B' of the clip as it was recorded, 0 and 1 at black and white of its code range.".to_owned()
            }
            _ => signal(space),
        },
        output: signal(space),
        process: nodes.process,
    };
    let text = file
        .write()
        .map_err(|error| AppError::Request(format!("{name}: CLF file: {error}")))?;
    Ok(ExportFile {
        below: format!("clf/{name}.clf"),
        kind: "lut",
        bytes: text.into_bytes(),
    })
}

/// A name of the content (UUID version 8, RFC 9562): the same content has the same one.
fn uuid(key: &str) -> String {
    let part = |from: usize, length: usize| key.get(from..from + length).unwrap_or_default();
    format!(
        "urn:uuid:{}-{}-8{}-8{}-{}",
        part(0, 8),
        part(8, 4),
        part(12, 3),
        part(15, 3),
        part(18, 12)
    )
}

fn described(nearest: &NearestCdl) -> String {
    format!(
        "The nearest CDL: it lacks {}. Left against the fix, CIEDE2000: skin {:.2} (median), picture {:.2} (median), {:.2} (95th percentile).",
        nearest.missing, nearest.skin_de00, nearest.picture_de00_median, nearest.picture_de00_p95
    )
}
