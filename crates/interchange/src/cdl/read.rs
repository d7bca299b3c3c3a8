//! Reading corrections.

use super::{CdlError, CdlFile, Correction, Form};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// No form nests deeper than six; a file that does is refused before it costs memory.
const MAX_DEPTH: usize = 32;

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

impl CdlFile {
    /// Reads the bytes of a `.cc`, `.ccc` or `.cdl` file; the root element tells which. Numbers that
    /// are absent are neutral, but a correction has at least a whole `SOPNode` or a `SatNode`.
    ///
    /// # Errors
    /// XML that is not well formed, any document type declaration (so no entities of its own), an
    /// element or a number that does not fit, with its line.
    pub fn read(bytes: &[u8]) -> Result<Self, CdlError> {
        let text = std::str::from_utf8(bytes).map_err(|e| {
            file(
                line_at(bytes, e.valid_up_to()),
                "bytes that are not UTF-8",
                "XML in UTF-8",
            )
        })?;
        let mut reader = Reader::from_str(text);
        let mut state = State::default();
        let (mut line, mut counted) = (1, 0);
        loop {
            let event = reader.read_event();
            let position = (reader.buffer_position() as usize).clamp(counted, bytes.len());
            line += line_at(&bytes[counted..position], usize::MAX) - 1;
            counted = position;
            match event {
                Err(e) => {
                    let line = line_at(bytes, reader.error_position() as usize);
                    return Err(file(line, e.to_string(), "well-formed XML"));
                }
                Ok(Event::DocType(_)) => {
                    return Err(file(
                        line,
                        "a document type declaration",
                        "none: entities are not read",
                    ));
                }
                Ok(Event::Start(start)) => state.start(&start, line)?,
                Ok(Event::Empty(start)) => {
                    state.start(&start, line)?;
                    state.end(line)?;
                }
                Ok(Event::End(_)) => state.end(line)?,
                Ok(Event::Text(text)) => {
                    let text = text
                        .decode()
                        .map_err(|e| file(line, e.to_string(), "text in UTF-8"))?;
                    state.text.push_str(&text);
                }
                Ok(Event::CData(data)) => {
                    state.text.push_str(&String::from_utf8_lossy(&data));
                }
                Ok(Event::GeneralRef(reference)) => {
                    let name = String::from_utf8_lossy(&reference).into_owned();
                    let resolved = match reference.resolve_char_ref() {
                        Ok(Some(c)) => Some(c.to_string()),
                        _ => quick_xml::escape::resolve_predefined_entity(&name).map(str::to_owned),
                    };
                    let Some(resolved) = resolved else {
                        return Err(file(
                            line,
                            format!("the entity '&{name};'"),
                            "only &lt; &gt; &amp; &quot; &apos; and character numbers",
                        ));
                    };
                    state.text.push_str(&resolved);
                }
                Ok(Event::Eof) => return state.finish(line),
                Ok(Event::Decl(_) | Event::PI(_) | Event::Comment(_)) => {}
            }
        }
    }
}

impl State {
    fn start(&mut self, start: &BytesStart<'_>, line: usize) -> Result<(), CdlError> {
        let name = String::from_utf8_lossy(start.local_name().as_ref()).into_owned();
        if self.open.len() == MAX_DEPTH {
            return Err(file(
                line,
                format!("elements {} deep", MAX_DEPTH + 1),
                "a color correction file, at most 6 deep",
            ));
        }
        if self.open.is_empty() {
            self.form = match Form::ALL.into_iter().find(|form| form.root() == name) {
                Some(form) if self.form.is_none() => Some(form),
                Some(_) => return Err(file(line, "a second root element", "one")),
                None => {
                    return Err(file(
                        line,
                        format!("the root element '{name}'"),
                        "ColorCorrection, ColorCorrectionCollection or ColorDecisionList",
                    ));
                }
            };
        }
        match name.as_str() {
            "ColorDecision" => self.media.clear(),
            "MediaRef" => self.media = attribute(start, "ref", line)?,
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
                        id: attribute(start, "id", line)?,
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
        self.open.push(name);
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

    fn finish(self, line: usize) -> Result<CdlFile, CdlError> {
        let Some(form) = self.form else {
            return Err(file(line, "no element", "a color correction file"));
        };
        if let Some(name) = self.open.last() {
            return Err(file(
                line,
                format!("the end of the file inside '{name}'"),
                format!("</{name}>"),
            ));
        }
        let mut ids = std::collections::BTreeSet::new();
        for Correction { id, .. } in &self.corrections {
            if !id.is_empty() && !ids.insert(id) {
                return Err(CdlError::SameId { id: id.clone() });
            }
        }
        Ok(CdlFile {
            form,
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
    let values: Vec<f64> = text
        .split_whitespace()
        .map_while(|word| word.parse().ok())
        .filter(|value: &f64| value.is_finite())
        .collect();
    let words = text.split_whitespace().count();
    match <[f64; N]>::try_from(values) {
        Ok(values) if words == N => Ok(values),
        _ => {
            let short: String = text.trim().chars().take(60).collect();
            Err(file(
                line,
                format!("{name} '{short}'"),
                format!("{N} finite numbers with a decimal point"),
            ))
        }
    }
}

fn attribute(start: &BytesStart<'_>, name: &str, line: usize) -> Result<String, CdlError> {
    let bad = |e: &dyn std::fmt::Display| file(line, e.to_string(), "well-formed attributes");
    match start.try_get_attribute(name) {
        Err(e) => Err(bad(&e)),
        Ok(None) => Ok(String::new()),
        Ok(Some(attribute)) => attribute
            .unescape_value()
            .map(std::borrow::Cow::into_owned)
            .map_err(|e| bad(&e)),
    }
}

fn line_at(bytes: &[u8], position: usize) -> usize {
    let before = &bytes[..position.min(bytes.len())];
    1 + before.iter().filter(|&&byte| byte == b'\n').count()
}

fn file(line: usize, found: impl Into<String>, expected: impl Into<String>) -> CdlError {
    CdlError::File {
        line,
        found: found.into(),
        expected: expected.into(),
    }
}
