//! A file that changes colours, whatever its format: an input transform or a look.

use crate::{CdlError, CdlFile, ClfError, ClfFile, CubeError, CubeFile, Table};
use inkarnat_ops::{CurveDomain, Curves, Invalid, Matrix, Node, Op, Process};

/// Endings of the files that are read.
pub const EXTENSIONS: [&str; 5] = ["cube", "clf", "cc", "ccc", "cdl"];

/// Why a file cannot be taken as a transform.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TransformError {
    /// An ending that says nothing of colours.
    #[error(
        "ends in \".{given}\"; expected .cube (a table), .clf (Common LUT Format), .cc, .ccc or .cdl (ASC CDL)"
    )]
    Kind {
        /// The ending.
        given: String,
    },
    /// A table that cannot be read.
    #[error(transparent)]
    Cube(#[from] CubeError),
    /// A CLF that cannot be read.
    #[error(transparent)]
    Clf(#[from] ClfError),
    /// A CDL that cannot be read.
    #[error(transparent)]
    Cdl(#[from] CdlError),
    /// A collection: which one is meant is not said.
    #[error(
        "holds {count} corrections ({ids}); expected one: write the one that is meant to a .cc file"
    )]
    Several {
        /// How many.
        count: usize,
        /// Their ids, the first of them.
        ids: String,
    },
    /// Numbers outside their range, NaN among them.
    #[error(transparent)]
    Numbers(#[from] Invalid),
}

/// The operations in a file, in order, from signal to signal (1 = reference white).
///
/// # Errors
/// What is wrong with the file, and where.
pub fn read_transform(extension: &str, bytes: &[u8]) -> Result<Vec<Op>, TransformError> {
    let ops = match extension.to_ascii_lowercase().as_str() {
        "cube" => match CubeFile::read(bytes)?.table {
            Table::ThreeD(lut) => vec![Op::Lut(lut)],
            Table::OneD(lut) => {
                let domain = Matrix::from_domain(lut.domain_min, lut.domain_max);
                let mut nodes = Vec::new();
                if domain != Matrix::NEUTRAL {
                    nodes.push(Node::Matrix(domain));
                }
                nodes.push(Node::Curves(Curves {
                    domain: CurveDomain::Unit,
                    table: lut.table,
                }));
                vec![Op::Process(Process { nodes })]
            }
        },
        "clf" => vec![Op::Process(ClfFile::read(bytes)?.process)],
        "cc" | "ccc" | "cdl" => {
            let corrections = CdlFile::read(bytes)?.corrections;
            let [correction] = corrections.as_slice() else {
                let ids: Vec<&str> = corrections.iter().take(4).map(|c| c.id.as_str()).collect();
                return Err(TransformError::Several {
                    count: corrections.len(),
                    ids: ids.join(", "),
                });
            };
            vec![Op::Cdl(correction.cdl)]
        }
        _ => {
            return Err(TransformError::Kind {
                given: extension.to_owned(),
            });
        }
    };
    for op in &ops {
        op.validate()?;
    }
    Ok(ops)
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_ops::Chain;

    #[test]
    fn curves_keep_their_domain() {
        let text = "LUT_1D_SIZE 3\nDOMAIN_MIN -0.5 -0.5 -0.5\nDOMAIN_MAX 1.5 1.5 1.5\n0 0 0\n0.25 0.25 0.5\n1 1 1\n";
        let ops = read_transform("cube", text.as_bytes()).unwrap();
        let out = Chain::of_fix(ops).apply_pixel([0.5, 0.0, 1.0]);
        for (found, expected) in out.iter().zip([0.25, 0.125, 0.75]) {
            assert!((found - expected).abs() < 1e-9, "{out:?}");
        }
    }

    #[test]
    fn what_cannot_be_meant_is_refused_by_name() {
        let nan = "LUT_3D_SIZE 2\n".to_owned() + &"0 nan 0\n".repeat(8);
        let text = read_transform("cube", nan.as_bytes())
            .unwrap_err()
            .to_string();
        assert!(text.contains("line 2") || text.contains("finite"), "{text}");
        let text = read_transform("png", b"").unwrap_err().to_string();
        assert!(text.contains(".clf"), "{text}");
        let correction = |id: &str| {
            format!(
                "<ColorCorrection id=\"{id}\"><SatNode><Saturation>0.9</Saturation></SatNode></ColorCorrection>"
            )
        };
        let two = format!(
            "<ColorCorrectionCollection xmlns=\"urn:ASC:CDL:v1.01\">{}{}</ColorCorrectionCollection>",
            correction("a"),
            correction("b")
        );
        let text = read_transform("ccc", two.as_bytes())
            .unwrap_err()
            .to_string();
        assert!(text.contains("2 corrections (a, b)"), "{text}");
    }
}
