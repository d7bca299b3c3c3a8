//! The Common LUT Format: a list of operations as XML (`.clf`).
//!
//! ```text
//! ProcessList@id@compCLFversion > (Description*, InputDescriptor?, OutputDescriptor?, Info?, node+)
//! node  Matrix, Range, LUT1D, LUT3D, Log, Exponent, ASC_CDL; each @inBitDepth @outBitDepth
//! ```
//!
//! Every node of version 3.0 is read and written. Source: the specification “Common LUT Format
//! (CLF)” of the ACES documentation (CC-BY-4.0), from which SMPTE ST 2136-1 was made; that document
//! itself was not at hand, its namespace is as OpenColorIO 2.6.0 writes it.

mod array;
mod node;
mod read;
mod write;

use crate::xml::XmlError;
use inkarnat_ops::{
    CdlStyle, Chain, CurveDomain, Curves, Domain, Grid, Interpolation, Invalid, Lut3d, Matrix,
    Node, Op, Process, RollOff, StyledCdl,
};

/// The namespace that is written: of SMPTE ST 2136-1. Any is read.
pub const NAMESPACE: &str = "http://www.smpte-ra.org/ns/2136-1/2024";

/// What a file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct ClfFile {
    /// Its id, unlike any other file's: a URI such as `urn:uuid:…`.
    pub id: String,
    /// Its name; empty where there is none.
    pub name: String,
    /// What it is for, a paragraph each.
    pub descriptions: Vec<String>,
    /// What signal it takes; empty where nothing is said.
    pub input: String,
    /// What signal it gives; empty where nothing is said.
    pub output: String,
    /// The operations, in signal units whatever depth the file's numbers are for.
    pub process: Process,
}

/// Why a file cannot be read or written.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ClfError {
    /// The file does not hold what it should.
    #[error("line {line}: {found}; expected {expected}")]
    File {
        /// The line, counted from 1.
        line: usize,
        /// What stands there.
        found: String,
        /// What should.
        expected: String,
    },
    /// Numbers that cannot be written.
    #[error("{0}")]
    Numbers(Invalid),
    /// A file has at least one node.
    #[error("no node to write; expected at least one")]
    Empty,
    /// Text that XML cannot carry.
    #[error("a control character in {what}; expected text")]
    ControlCharacter {
        /// Which text.
        what: &'static str,
    },
}

impl From<XmlError> for ClfError {
    fn from(error: XmlError) -> Self {
        file(error.line, error.found, error.expected)
    }
}

fn file(line: usize, found: impl Into<String>, expected: impl Into<String>) -> ClfError {
    ClfError::File {
        line,
        found: found.into(),
        expected: expected.into(),
    }
}

/// A chain as nodes, and how exactly.
#[derive(Clone, Debug, PartialEq)]
pub struct AsNodes {
    /// The nodes.
    pub process: Process,
    /// Largest distance from the chain inside `domain`, signal units; 0 where the nodes are the
    /// operations themselves.
    pub error: f64,
    /// Where the nodes hold; `None`: everywhere.
    pub domain: Option<Domain>,
    /// Whether a part of the chain is a table of colours; else curves say what CLF has no node for.
    pub table: bool,
}

/// The range of signal that curves cover: what gains of two stops put excursions to, with room.
pub const CURVES_DOMAIN: Domain = Domain {
    min: -0.25,
    max: 2.25,
};
/// Entries of a curve: with steps of 6·10⁻⁴ a roll-off is within some 10⁻⁶.
const CURVE_SIZE: usize = 4096;

/// A chain as nodes: what CLF knows as it is, a roll-off of each channel as curves, anything else as a table behind a matrix
/// that brings its domain to 0–1.
#[must_use]
pub fn nodes_of(chain: &Chain, size: usize, domain: Domain) -> AsNodes {
    let ops: Vec<&Op> = chain
        .ops()
        .filter(|op| !op.is_identity() || matches!(op, Op::Lut(_)))
        .collect();
    let mut found = AsNodes {
        process: Process { nodes: Vec::new() },
        error: 0.0,
        domain: None,
        table: false,
    };
    for part in ops.chunk_by(|a, b| Way::of(a) == Way::of(b)) {
        match part.first().map(|op| Way::of(op)) {
            Some(Way::AsItIs) => part
                .iter()
                .for_each(|op| as_it_is(op, &mut found.process.nodes)),
            Some(Way::Curves) => curves(part, &mut found),
            Some(Way::Table) => table(part, (size, domain), &mut found),
            None => {}
        }
    }
    if found.process.nodes.is_empty() {
        // A file has at least one node.
        found.process.nodes.push(Node::Matrix(Matrix::NEUTRAL));
    }
    found
}

/// How an operation is said in CLF.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    AsItIs,
    Curves,
    Table,
}

impl Way {
    fn of(op: &Op) -> Self {
        match op {
            Op::Cdl(_) | Op::Process(_) | Op::Lut(_) => Self::AsItIs,
            Op::Shoulder(shoulder) if shoulder.roll_off == RollOff::PerChannel => Self::Curves,
            Op::Shoulder(_) | Op::KeyedCdl(_) | Op::Limiter(_) => Self::Table,
        }
    }
}

fn as_it_is(op: &Op, nodes: &mut Vec<Node>) {
    match op {
        Op::Cdl(cdl) => nodes.push(Node::Cdl(StyledCdl {
            cdl: *cdl,
            style: CdlStyle::FwdNoClamp,
        })),
        Op::Process(process) => nodes.extend(process.nodes.iter().cloned()),
        Op::Lut(lut) => grid(lut.clone(), nodes),
        Op::Shoulder(_) | Op::KeyedCdl(_) | Op::Limiter(_) => {}
    }
}

/// A table behind a matrix that brings its domain to 0–1.
fn grid(mut lut: Lut3d, nodes: &mut Vec<Node>) {
    nodes.push(Node::Matrix(Matrix::from_domain(
        lut.domain_min,
        lut.domain_max,
    )));
    (lut.domain_min, lut.domain_max) = ([0.0; 3], [1.0; 3]);
    nodes.push(Node::Grid(Grid {
        interpolation: Interpolation::Tetrahedral,
        lut,
    }));
}

fn through(part: &[&Op], rgb: [f64; 3]) -> [f64; 3] {
    part.iter().fold(rgb, |rgb, op| op.apply(rgb))
}

fn curves(part: &[&Op], found: &mut AsNodes) {
    let Domain { min, max } = CURVES_DOMAIN;
    let at = |step: f64| min + (max - min) * step / (CURVE_SIZE - 1) as f64;
    let table: Vec<[f32; 3]> = (0..CURVE_SIZE)
        .map(|step| through(part, [at(step as f64); 3]).map(|v| v as f32))
        .collect();
    // Between two entries a curve is furthest off midway, but for less than a tenth of that.
    for (step, pair) in table.windows(2).enumerate() {
        let exact = through(part, [at(step as f64 + 0.5); 3]);
        for c in 0..3 {
            let between = (f64::from(pair[0][c]) + f64::from(pair[1][c])) / 2.0;
            found.error = found.error.max((exact[c] - between).abs());
        }
    }
    let nodes = &mut found.process.nodes;
    nodes.push(Node::Matrix(Matrix::from_domain([min; 3], [max; 3])));
    nodes.push(Node::Curves(Curves {
        domain: CurveDomain::Unit,
        table,
    }));
    found.domain = found.domain.or(Some(CURVES_DOMAIN));
}

fn table(part: &[&Op], (size, domain): (usize, Domain), found: &mut AsNodes) {
    let ops = part.iter().map(|op| (*op).clone()).collect();
    let baked = Chain::of_fix(ops).bake(size, domain);
    grid(baked.lut, &mut found.process.nodes);
    found.error = found.error.max(baked.error.max);
    found.domain = Some(domain);
    found.table = true;
}
