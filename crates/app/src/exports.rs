//! A fix as files that other programs read.

use crate::nearest::{NearestCdl, SKIN_LIMIT_DE00};
use crate::steps::fixing::FixRecord;
use crate::{AppError, Result};
use inkarnat_color::WorkingSpace;
use inkarnat_film::Setup;
use inkarnat_interchange::{CdlFile, Correction, CubeFile, Form, Place};
use inkarnat_ops::{Baked, Chain, Domain};

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
}

/// Nodes along each side of a table: more only where the smaller one is off by more than a 10-bit
/// code.
const SIZES: [usize; 2] = [33, 65];
const ONE_CODE: f64 = 1.0 / 876.0;

pub(crate) fn of_fix(space: WorkingSpace, setup: &Setup, record: &FixRecord) -> Result<Exports> {
    let chain = Chain::of_fix(record.fix().ops.clone());
    let mut exports = Exports {
        files: Vec::new(),
        notes: Vec::new(),
    };
    for (domain, suffix) in [(Domain::UNIT, ""), (Domain::WIDE, "_wide")] {
        let Baked { lut, error } = exported_table(&chain, domain);
        let cube = CubeFile::of_chain(&setup.name, Place::Fix, space, lut, error);
        exports.files.push(ExportFile {
            below: format!("luts/{}{suffix}.cube", setup.name),
            kind: "lut",
            bytes: cube.write().into_bytes(),
        });
    }
    let nearest = &record.cdl;
    if nearest.skin_de00 > SKIN_LIMIT_DE00 {
        exports.notes.push(format!(
            "no CDL file: {} cannot be said in one CDL, and skin would be off by ΔE00 {:.1}; use the table",
            nearest.missing, nearest.skin_de00
        ));
        return Ok(exports);
    }
    if !nearest.exact {
        exports.notes.push(described(nearest));
    }
    let correction = Correction {
        id: setup.name.clone(),
        descriptions: vec![if nearest.exact {
            "The fix itself, to be applied without clamping.".to_owned()
        } else {
            described(nearest)
        }],
        input_description: format!(
            "Non-linear R'G'B', 0 = reference black, 1 = reference white; {} primaries. Place: the fix alone, before any look.",
            space.primaries
        ),
        viewing_description: "BT.1886 display.".to_owned(),
        media: String::new(),
        cdl: nearest.cdl,
    };
    let file = CdlFile {
        form: Form::Cc,
        corrections: vec![correction],
    };
    let text = file
        .write()
        .map_err(|error| AppError::Request(format!("{}: CDL file: {error}", setup.name)))?;
    exports.files.push(ExportFile {
        below: format!("cdl/{}.{}", setup.name, Form::Cc.extension()),
        kind: "cdl",
        bytes: text.into_bytes(),
    });
    Ok(exports)
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

fn described(nearest: &NearestCdl) -> String {
    format!(
        "The nearest CDL: it lacks {}. Left against the fix, CIEDE2000: skin {:.2} (median), picture {:.2} (median), {:.2} (95th percentile).",
        nearest.missing, nearest.skin_de00, nearest.picture_de00_median, nearest.picture_de00_p95
    )
}
