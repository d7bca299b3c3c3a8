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
use inkarnat_ops::{Chain, Domain, Grid, Interpolation, Invalid, Matrix, Node, Op, Process};

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
}

/// A chain as nodes: exact where it consists of what CLF knows, otherwise a table behind a matrix
/// that brings its domain to 0–1.
#[must_use]
pub fn nodes_of(chain: &Chain, size: usize, domain: Domain) -> AsNodes {
    if let Some(process) = exact(chain) {
        return AsNodes {
            process,
            error: 0.0,
            domain: None,
        };
    }
    let baked = chain.bake(size, domain);
    let mut lut = baked.lut;
    let matrix = Matrix::from_domain(lut.domain_min, lut.domain_max);
    (lut.domain_min, lut.domain_max) = ([0.0; 3], [1.0; 3]);
    AsNodes {
        process: Process {
            nodes: vec![
                Node::Matrix(matrix),
                Node::Grid(Grid {
                    interpolation: Interpolation::Tetrahedral,
                    lut,
                }),
            ],
        },
        error: baked.error.max,
        domain: Some(domain),
    }
}

fn exact(chain: &Chain) -> Option<Process> {
    let mut nodes = Vec::new();
    for op in chain.ops() {
        match op {
            op if op.is_identity() && !matches!(op, Op::Lut(_)) => {}
            Op::Cdl(cdl) => nodes.push(Node::Cdl(inkarnat_ops::StyledCdl {
                cdl: *cdl,
                style: inkarnat_ops::CdlStyle::FwdNoClamp,
            })),
            Op::Process(process) => nodes.extend(process.nodes.iter().cloned()),
            Op::Lut(lut) => {
                nodes.push(Node::Matrix(Matrix::from_domain(
                    lut.domain_min,
                    lut.domain_max,
                )));
                let mut lut = lut.clone();
                (lut.domain_min, lut.domain_max) = ([0.0; 3], [1.0; 3]);
                nodes.push(Node::Grid(Grid {
                    interpolation: Interpolation::Tetrahedral,
                    lut,
                }));
            }
            Op::Shoulder(_) | Op::KeyedCdl(_) | Op::Limiter(_) => return None,
        }
    }
    if nodes.is_empty() {
        // A file has at least one node.
        nodes.push(Node::Matrix(Matrix::NEUTRAL));
    }
    Some(Process { nodes })
}
