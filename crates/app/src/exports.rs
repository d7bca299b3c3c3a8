//! A fix as files that other programs read.

use crate::limit::LimitTo;
use crate::nearest::{NearestCdl, SKIN_LIMIT_DE00};
use crate::steps::fixing::FixRecord;
use crate::{AppError, Result};
use inkarnat_color::WorkingSpace;
use inkarnat_film::{InputKey, Setup, SetupId, Shot};
use inkarnat_interchange::clf::nodes_of;
use inkarnat_interchange::{CdlFile, ClfFile, Correction, CubeFile, Form, Place};
use inkarnat_ops::{Baked, Cdl, Chain, Domain, Op};

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

/// The files of a fix; with limits also as tables and CLF that keep them.
pub(crate) fn of_fix(
    space: WorkingSpace,
    setup: &Setup,
    record: &FixRecord,
    limit: Option<LimitTo>,
) -> Result<Exports> {
    let chain = Chain::of_fix(record.fix().ops.clone());
    let mut exports = Exports {
        files: Vec::new(),
        notes: Vec::new(),
        correction: None,
    };
    tables(space, (&setup.name, &chain), Place::Fix, &mut exports)?;
    if let Some(limit) = limit {
        // Tables are read as signal: ten bits are what they are seen through.
        let limiter = limit.limiter(space.coefficients, 10);
        let mut ops = chain.fix.clone();
        ops.push(Op::Limiter(limiter));
        let name = format!("{}_limited", setup.name);
        let limited = Chain::of_fix(ops);
        tables(space, (&name, &limited), Place::FixAndLimiter, &mut exports)?;
        exports.notes.push(format!(
            "{name}: the fix with the limiter, as table and CLF; CDL files carry no limiter"
        ));
    }
    let (cdl, description) = match as_cdl(&record.cdl) {
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
        id: setup.name.clone(),
        descriptions: vec![description],
        input_description: format!("{} Place: the fix alone, before any look.", signal(space)),
        viewing_description: "BT.1886 display.".to_owned(),
        media: String::new(),
        cdl,
    };
    let file = CdlFile {
        form: Form::Cc,
        corrections: vec![correction.clone()],
    };
    exports.files.push(cdl_file(&setup.name, &file)?);
    exports.correction = Some(correction);
    Ok(exports)
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

/// All corrections of a film as one collection, one a setup, and as a decision list, one a shot with its medium.
pub(crate) fn collected(
    name: &str,
    corrections: &[(SetupId, Correction)],
    shots: &[(&Shot, String)],
) -> Result<Vec<ExportFile>> {
    if corrections.is_empty() {
        return Ok(Vec::new());
    }
    let of_shots = shots.iter().filter_map(|(shot, media)| {
        let (_, correction) = corrections.iter().find(|(setup, _)| *setup == shot.setup)?;
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
    place: Place,
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
    exports.files.push(clf(space, (name, chain), place)?);
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
fn clf(space: WorkingSpace, (name, chain): (&str, &Chain), place: Place) -> Result<ExportFile> {
    let size = |nodes: usize| nodes_of(&chain.fix_alone(), nodes, Domain::WIDE);
    let mut nodes = size(SIZES[0]);
    if nodes.error > ONE_CODE {
        nodes = size(SIZES[1]);
    }
    let how = match nodes.domain {
        None => "The operations of the fix themselves, without clamping.".to_owned(),
        Some(Domain { min, max }) => format!(
            "A table over {min}..{max}, where a matrix brings it to 0..1; signal beyond is held at its ends. Distance from the exact operations: {:.1e} at most (1 = reference white).",
            nodes.error
        ),
    };
    let key = InputKey::of(&("clf", space, name, &nodes.process)).0;
    let file = ClfFile {
        id: uuid(&key),
        name: name.to_owned(),
        descriptions: vec![
            match place {
                Place::FixAndLimiter => "Place: the fix and the limiter, after any input transform, in place of the fix, where no look comes between the two.",
                _ => "Place: the fix alone, after any input transform, before any look.",
            }
            .to_owned(),
            how,
            "A receiver that clamps to 0..1 loses what lies below black and above white."
                .to_owned(),
        ],
        input: signal(space),
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
