//! Reading corrections.

use super::{CdlError, CdlFile, Correction, Form};
use crate::xml::{self, Element, Item, Items, XmlError};

/// What has been read so far.
#[derive(Default)]
struct State {
    form: Option<Form>,
    /// Local names of the open elements.
    open: Vec<String>,
    /// Text inside the innermost open element.
    text: String,
    current: Option<Open>,
    media: String,
    corrections: Vec<Correction>,
}

/// The correction that is being read, and which of its numbers have been seen.
#[derive(Default)]
struct Open {
    correction: Correction,
    slope: bool,
    offset: bool,
    power: bool,
    saturation: bool,
    line: usize,
}

impl From<XmlError> for CdlError {
    fn from(error: XmlError) -> Self {
        file(error.line, error.found, error.expected)
    }
}

impl CdlFile {
    /// Reads the bytes of a `.cc`, `.ccc` or `.cdl` file; the root element tells which. Numbers that
    /// are absent are neutral, but a correction has at least a whole `SOPNode` or a `SatNode`.
    ///
    /// # Errors
    /// XML that is not well formed, any document type declaration (so no entities of its own), an
    /// element or a number that does not fit, with its line.
    pub fn read(bytes: &[u8]) -> Result<Self, CdlError> {
        let mut items = Items::new(bytes, "a color correction file")?;
        let mut state = State::default();
        while let Some(item) = items.next()? {
            match item {
                Item::Start(start) => state.start(start)?,
                Item::End { line, .. } => state.end(line)?,
                Item::Text { text, .. } => state.text.push_str(&text),
            }
        }
        state.finish()
    }
}

impl State {
    fn start(&mut self, start: Element) -> Result<(), CdlError> {
        let line = start.line;
        let attribute = |name| start.attribute(name).unwrap_or_default().to_owned();
        if self.open.is_empty() {
            self.form = Form::ALL
                .into_iter()
                .find(|form| form.root() == start.name)
                .map(Some)
                .ok_or_else(|| {
                    file(
                        line,
                        format!("the root element '{}'", start.name),
                        "ColorCorrection, ColorCorrectionCollection or ColorDecisionList",
                    )
                })?;
        }
        match start.name.as_str() {
            "ColorDecision" => self.media.clear(),
            "MediaRef" => self.media = attribute("ref"),
            "ColorCorrection" if self.current.is_some() => {
                return Err(file(
                    line,
                    "a ColorCorrection inside another",
                    "one after the other",
                ));
            }
            "ColorCorrection" => {
                self.current = Some(Open {
                    correction: Correction {
                        id: attribute("id"),
                        media: std::mem::take(&mut self.media),
                        ..Correction::default()
                    },
                    line,
                    ..Open::default()
                });
            }
            _ => {}
        }
        self.text.clear();
        self.open.push(start.name);
        Ok(())
    }

    fn end(&mut self, line: usize) -> Result<(), CdlError> {
        // The reader has matched this end with its start.
        let Some(name) = self.open.pop() else {
            return Ok(());
        };
        let text = std::mem::take(&mut self.text);
        if name == "ColorCorrection" {
            if let Some(open) = self.current.take() {
                self.corrections.push(open.close()?);
            }
            return Ok(());
        }
        let Some(open) = &mut self.current else {
            return Ok(());
        };
        let parent = self.open.last().map_or("", String::as_str);
        let in_sop = parent == "SOPNode";
        let in_sat = matches!(parent, "SatNode" | "SATNode");
        let correction = &mut open.correction;
        match name.as_str() {
            "Slope" if in_sop => {
                correction.cdl.slope = numbers(&name, &text, &mut open.slope, line)?;
            }
            "Offset" if in_sop => {
                correction.cdl.offset = numbers(&name, &text, &mut open.offset, line)?;
            }
            "Power" if in_sop => {
                correction.cdl.power = numbers(&name, &text, &mut open.power, line)?;
            }
            "Saturation" if in_sat => {
                [correction.cdl.saturation] = numbers(&name, &text, &mut open.saturation, line)?;
            }
            "Description" => correction.descriptions.push(text.trim().to_owned()),
            "InputDescription" => text.trim().clone_into(&mut correction.input_description),
            "ViewingDescription" => text.trim().clone_into(&mut correction.viewing_description),
            _ => {}
        }
        Ok(())
    }

    fn finish(self) -> Result<CdlFile, CdlError> {
        let mut ids = std::collections::BTreeSet::new();
        for Correction { id, .. } in &self.corrections {
            if !id.is_empty() && !ids.insert(id) {
                return Err(CdlError::SameId { id: id.clone() });
            }
        }
        Ok(CdlFile {
            // A file without a root has been refused.
            form: self.form.unwrap_or(Form::Cc),
            corrections: self.corrections,
        })
    }
}

impl Open {
    fn close(self) -> Result<Correction, CdlError> {
        let Self {
            correction, line, ..
        } = self;
        let sop = [self.slope, self.offset, self.power];
        let some_sop = sop.contains(&true);
        if some_sop && sop.contains(&false) || !some_sop && !self.saturation {
            let missing: Vec<_> = ["Slope", "Offset", "Power"]
                .into_iter()
                .zip(sop)
                .filter_map(|(name, seen)| (!seen).then_some(name))
                .collect();
            return Err(file(
                line,
                format!("a correction without {}", missing.join(", ")),
                "Slope, Offset and Power in an SOPNode, or a SatNode alone",
            ));
        }
        correction
            .cdl
            .validate()
            .map_err(|invalid| CdlError::Numbers {
                id: correction.id.clone(),
                invalid,
            })?;
        Ok(correction)
    }
}

/// `N` finite numbers, once.
fn numbers<const N: usize>(
    name: &str,
    text: &str,
    seen: &mut bool,
    line: usize,
) -> Result<[f64; N], CdlError> {
    if std::mem::replace(seen, true) {
        return Err(file(
            line,
            format!("a second {name}"),
            "one in a correction",
        ));
    }
    Ok(xml::numbers(name, text, line)?)
}

fn file(line: usize, found: impl Into<String>, expected: impl Into<String>) -> CdlError {
    CdlError::File {
        line,
        found: found.into(),
        expected: expected.into(),
    }
}
