//! The XML of a list of nodes, in signal units throughout (`32f`).

use super::node::{CDL_STYLES, EXPONENT_STYLES, LOG_STYLES};
use super::{ClfError, ClfFile, NAMESPACE};
use crate::xml::write_text;
use inkarnat_ops::{
    CurveDomain, Curves, Exponent, Grid, Interpolation, Log, LogParams, Matrix, Node, Range,
    StyledCdl,
};
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesText, Event};
use std::fmt::Write as _;
use std::io;

type Xml = Writer<Vec<u8>>;

impl ClfFile {
    /// The text of the file. Every number is written with as many digits as it takes to read it back.
    ///
    /// # Errors
    /// Numbers outside their range, no node, control characters in texts.
    pub fn write(&self) -> Result<String, ClfError> {
        self.process.validate().map_err(ClfError::Numbers)?;
        if self.process.nodes.is_empty() {
            return Err(ClfError::Empty);
        }
        let texts = [
            ("its id", &self.id),
            ("its name", &self.name),
            ("its input", &self.input),
            ("its output", &self.output),
        ];
        let all = texts.into_iter().chain(
            self.descriptions
                .iter()
                .map(|text| ("its description", text)),
        );
        for (what, text) in all {
            if text.contains(|c: char| c.is_control()) {
                return Err(ClfError::ControlCharacter { what });
            }
        }
        let mut out = Writer::new_with_indent(Vec::new(), b' ', 2);
        // Writing to memory cannot fail, and everything written is UTF-8.
        let _ = self.document(&mut out);
        let mut text = String::from_utf8_lossy(&out.into_inner()).into_owned();
        text.push('\n');
        Ok(text)
    }

    fn document(&self, out: &mut Xml) -> io::Result<()> {
        out.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        let mut root = out
            .create_element("ProcessList")
            .with_attribute(("xmlns", NAMESPACE))
            .with_attribute(("id", self.id.as_str()))
            .with_attribute(("compCLFversion", "3.0"));
        if !self.name.is_empty() {
            root = root.with_attribute(("name", self.name.as_str()));
        }
        root.write_inner_content(|out| {
            let texts = self.descriptions.iter().map(|text| ("Description", text));
            let ends = [
                ("InputDescriptor", &self.input),
                ("OutputDescriptor", &self.output),
            ];
            for (name, text) in texts.chain(ends) {
                if !text.is_empty() {
                    write_text(out, name, text)?;
                }
            }
            self.process
                .nodes
                .iter()
                .try_for_each(|node| write_node(out, node))
        })?;
        Ok(())
    }
}

fn write_node(out: &mut Xml, node: &Node) -> io::Result<()> {
    match node {
        Node::Matrix(matrix) => element(out, "Matrix", &[], |out| write_matrix(out, matrix)),
        Node::Range(range) => {
            let style = if range.clamp { "Clamp" } else { "noClamp" };
            element(out, "Range", &[("style", style)], |out| {
                write_range(out, range)
            })
        }
        Node::Cdl(cdl) => {
            let style = named(&CDL_STYLES, cdl.style);
            element(out, "ASC_CDL", &[("style", style)], |out| {
                write_cdl(out, cdl)
            })
        }
        Node::Curves(curves) => {
            let half = [("halfDomain", "true")];
            let attributes: &[(&str, &str)] = match curves.domain {
                CurveDomain::Half => &half,
                CurveDomain::Unit => &[],
            };
            element(out, "LUT1D", attributes, |out| write_curves(out, curves))
        }
        Node::Grid(grid) => {
            let interpolation = match grid.interpolation {
                Interpolation::Trilinear => "trilinear",
                Interpolation::Tetrahedral => "tetrahedral",
            };
            let (min, max) = (grid.lut.domain_min, grid.lut.domain_max);
            if (min, max) != ([0.0; 3], [1.0; 3]) {
                let matrix = Matrix::from_domain(min, max);
                element(out, "Matrix", &[], |out| write_matrix(out, &matrix))?;
            }
            let attributes = [("interpolation", interpolation)];
            element(out, "LUT3D", &attributes, |out| write_grid(out, grid))
        }
        Node::Log(log) => {
            let style = named(&LOG_STYLES, log.style);
            element(out, "Log", &[("style", style)], |out| write_log(out, log))
        }
        Node::Exponent(exponent) => {
            let style = named(&EXPONENT_STYLES, exponent.style);
            element(out, "Exponent", &[("style", style)], |out| {
                write_exponent(out, exponent)
            })
        }
    }
}

fn named<T: Copy + PartialEq>(names: &[(&'static str, T)], of: T) -> &'static str {
    names
        .iter()
        .find(|(_, style)| *style == of)
        .map_or("", |(name, _)| name)
}

fn element(
    out: &mut Xml,
    name: &str,
    attributes: &[(&str, &str)],
    inside: impl FnOnce(&mut Xml) -> io::Result<()>,
) -> io::Result<()> {
    let mut element = out.create_element(name);
    for attribute in [("inBitDepth", "32f"), ("outBitDepth", "32f")]
        .iter()
        .chain(attributes)
    {
        element = element.with_attribute(*attribute);
    }
    element.write_inner_content(inside)?;
    Ok(())
}

fn write_matrix(out: &mut Xml, matrix: &Matrix) -> io::Result<()> {
    let offset = matrix.rows.iter().any(|row| row[3] != 0.0);
    let columns = if offset { 4 } else { 3 };
    let rows = matrix.rows.iter().map(|row| row[..columns].to_vec());
    array(out, &format!("3 {columns}"), rows)
}

fn write_range(out: &mut Xml, range: &Range) -> io::Result<()> {
    for (names, pair) in [
        (["minInValue", "minOutValue"], range.low),
        (["maxInValue", "maxOutValue"], range.high),
    ] {
        for (name, value) in names.into_iter().zip(pair.into_iter().flatten()) {
            write_text(out, name, &value.to_string())?;
        }
    }
    Ok(())
}

fn write_cdl(out: &mut Xml, styled: &StyledCdl) -> io::Result<()> {
    let cdl = &styled.cdl;
    out.create_element("SOPNode").write_inner_content(|out| {
        for (name, [r, g, b]) in [
            ("Slope", cdl.slope),
            ("Offset", cdl.offset),
            ("Power", cdl.power),
        ] {
            write_text(out, name, &format!("{r} {g} {b}"))?;
        }
        Ok(())
    })?;
    out.create_element("SatNode")
        .write_inner_content(|out| write_text(out, "Saturation", &cdl.saturation.to_string()))?;
    Ok(())
}

fn write_curves(out: &mut Xml, curves: &Curves) -> io::Result<()> {
    let one = curves
        .table
        .iter()
        .all(|[r, g, b]| same(*r, *g) && same(*g, *b));
    let columns = if one { 1 } else { 3 };
    let rows = curves.table.iter().map(|row| row[..columns].to_vec());
    array(out, &format!("{} {columns}", curves.table.len()), rows)
}

/// Bit for bit, so that NaN equals itself.
fn same(a: f32, b: f32) -> bool {
    a.to_bits() == b.to_bits()
}

fn write_grid(out: &mut Xml, grid: &Grid) -> io::Result<()> {
    let size = grid.lut.size;
    // The file counts blue fastest, a table red.
    let rows = (0..size * size * size).map(|index| {
        let (r, g, b) = (index / (size * size), index / size % size, index % size);
        grid.lut.table[r + g * size + b * size * size].to_vec()
    });
    array(out, &format!("{size} {size} {size} 3"), rows)
}

fn write_log(out: &mut Xml, log: &Log) -> io::Result<()> {
    if !log.style.has_parameters() {
        return Ok(());
    }
    // Readers want the same attributes on every channel.
    let mut params = log.params;
    if params.iter().any(|p| p.linear_slope.is_some()) {
        for p in &mut params {
            p.linear_slope = p.linear_slope.or(Some(p.slope_at_break(log.base)));
        }
    }
    per_channel(out, "LogParams", params, |p: &LogParams| {
        let mut attributes = vec![
            ("base", log.base),
            ("logSideSlope", p.log_slope),
            ("logSideOffset", p.log_offset),
            ("linSideSlope", p.lin_slope),
            ("linSideOffset", p.lin_offset),
        ];
        attributes.extend(p.lin_break.map(|at| ("linSideBreak", at)));
        attributes.extend(p.linear_slope.map(|slope| ("linearSlope", slope)));
        attributes
    })
}

fn write_exponent(out: &mut Xml, exponent: &Exponent) -> io::Result<()> {
    let params: [_; 3] = std::array::from_fn(|c| (exponent.exponent[c], exponent.offset[c]));
    per_channel(out, "ExponentParams", params, |(power, offset)| {
        let mut attributes = vec![("exponent", *power)];
        if exponent.style.has_offset() {
            attributes.push(("offset", *offset));
        }
        attributes
    })
}

/// One element for all channels where they agree, else one each.
fn per_channel<T: PartialEq>(
    out: &mut Xml,
    name: &str,
    params: [T; 3],
    attributes: impl Fn(&T) -> Vec<(&'static str, f64)>,
) -> io::Result<()> {
    let same = params[0] == params[1] && params[1] == params[2];
    for (channel, params) in ["R", "G", "B"].into_iter().zip(&params) {
        let mut element = out.create_element(name);
        for (name, value) in attributes(params) {
            element = element.with_attribute((name, value.to_string().as_str()));
        }
        if !same {
            element = element.with_attribute(("channel", channel));
        }
        element.write_empty()?;
        if same {
            break;
        }
    }
    Ok(())
}

/// One line an entry.
fn array<T: std::fmt::Display>(
    out: &mut Xml,
    dim: &str,
    rows: impl Iterator<Item = Vec<T>>,
) -> io::Result<()> {
    let mut text = String::from("\n");
    for row in rows {
        for (index, value) in row.iter().enumerate() {
            // Writing to a String cannot fail.
            let _ = write!(text, "{}{value}", if index == 0 { "" } else { " " });
        }
        text.push('\n');
    }
    out.create_element("Array")
        .with_attribute(("dim", dim))
        .write_text_content(BytesText::new(&text))?;
    Ok(())
}
