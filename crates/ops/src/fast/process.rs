//! The nodes of a transform file on rows.

use super::cdl::FastCdl;
use super::lut::FastLut;
use crate::data::process::{CdlStyle, Interpolation, Node, Process};

/// A list of nodes made ready for rows. Grids and CDLs run as anywhere else; the other nodes are a
/// few operations a pixel, taken in `f64`.
#[derive(Clone, Debug)]
pub(super) struct FastProcess(Vec<Step>);

#[derive(Clone, Debug)]
enum Step {
    Cdl(FastCdl),
    Grid(FastLut),
    Plain(Node),
}

impl FastProcess {
    pub(super) fn new(process: &Process) -> Self {
        Self(
            process
                .nodes
                .iter()
                .map(|node| match node {
                    Node::Grid(grid) if grid.interpolation == Interpolation::Tetrahedral => {
                        Step::Grid(FastLut::new(&grid.lut))
                    }
                    Node::Cdl(styled) if styled.style == CdlStyle::FwdNoClamp => {
                        Step::Cdl(FastCdl::new(&styled.cdl))
                    }
                    node => Step::Plain(node.clone()),
                })
                .collect(),
        )
    }

    pub(super) fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        for step in &self.0 {
            match step {
                Step::Cdl(cdl) => cdl.apply([r, g, b]),
                Step::Grid(lut) => lut.apply([r, g, b]),
                Step::Plain(node) => super::each_pixel([r, g, b], |rgb| node.apply(rgb)),
            }
        }
    }
}
