//! The XML of corrections.

use super::{CdlError, CdlFile, Correction, Form, NAMESPACE};
use crate::xml::write_text;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, Event};
use std::io;

impl CdlFile {
    /// The text of the file. Every number is written with as many digits as it takes to read it back.
    ///
    /// # Errors
    /// Numbers outside their range, more or less than one correction in a `.cc` file, ids that occur
    /// twice, control characters in texts.
    pub fn write(&self) -> Result<String, CdlError> {
        self.check()?;
        let mut out = Writer::new_with_indent(Vec::new(), b' ', 2);
        // Writing to memory cannot fail, and everything written is UTF-8.
        let _ = self.document(&mut out);
        let mut text = String::from_utf8_lossy(&out.into_inner()).into_owned();
        text.push('\n');
        Ok(text)
    }

    fn check(&self) -> Result<(), CdlError> {
        let count = self.corrections.len();
        if self.form == Form::Cc && count != 1 {
            return Err(CdlError::OneOnly { count });
        }
        let mut ids = std::collections::BTreeSet::new();
        for correction in &self.corrections {
            correction.check()?;
            let id = &correction.id;
            if !id.is_empty() && !ids.insert(id) {
                return Err(CdlError::SameId { id: id.clone() });
            }
        }
        Ok(())
    }

    fn document(&self, out: &mut Writer<Vec<u8>>) -> io::Result<()> {
        out.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        if let (Form::Cc, [only]) = (self.form, self.corrections.as_slice()) {
            return only.element(out, Some(NAMESPACE));
        }
        out.create_element(self.form.root())
            .with_attribute(("xmlns", NAMESPACE))
            .write_inner_content(|out| {
                for correction in &self.corrections {
                    if self.form == Form::Cdl {
                        out.create_element("ColorDecision")
                            .write_inner_content(|out| {
                                if !correction.media.is_empty() {
                                    out.create_element("MediaRef")
                                        .with_attribute(("ref", correction.media.as_str()))
                                        .write_empty()?;
                                }
                                correction.element(out, None)
                            })?;
                    } else {
                        correction.element(out, None)?;
                    }
                }
                Ok(())
            })?;
        Ok(())
    }
}

impl Correction {
    fn check(&self) -> Result<(), CdlError> {
        self.cdl.validate().map_err(|invalid| CdlError::Numbers {
            id: self.id.clone(),
            invalid,
        })?;
        let texts = [
            ("its id", &self.id),
            ("its input description", &self.input_description),
            ("its viewing description", &self.viewing_description),
            ("its medium", &self.media),
        ];
        let descriptions = self
            .descriptions
            .iter()
            .map(|text| ("its description", text));
        for (what, text) in texts.into_iter().chain(descriptions) {
            if text.contains(|c: char| c.is_control()) {
                return Err(CdlError::ControlCharacter {
                    id: self.id.replace(char::is_control, "�"),
                    what,
                });
            }
        }
        Ok(())
    }

    fn element(&self, out: &mut Writer<Vec<u8>>, namespace: Option<&str>) -> io::Result<()> {
        let mut element = out.create_element("ColorCorrection");
        if let Some(namespace) = namespace {
            element = element.with_attribute(("xmlns", namespace));
        }
        if !self.id.is_empty() {
            element = element.with_attribute(("id", self.id.as_str()));
        }
        element.write_inner_content(|out| {
            for (name, text) in [
                ("InputDescription", &self.input_description),
                ("ViewingDescription", &self.viewing_description),
            ] {
                if !text.is_empty() {
                    write_text(out, name, text)?;
                }
            }
            out.create_element("SOPNode").write_inner_content(|out| {
                for description in &self.descriptions {
                    write_text(out, "Description", description)?;
                }
                for (name, [r, g, b]) in [
                    ("Slope", self.cdl.slope),
                    ("Offset", self.cdl.offset),
                    ("Power", self.cdl.power),
                ] {
                    write_text(out, name, &format!("{r} {g} {b}"))?;
                }
                Ok(())
            })?;
            out.create_element("SatNode").write_inner_content(|out| {
                write_text(out, "Saturation", &self.cdl.saturation.to_string())
            })?;
            Ok(())
        })?;
        Ok(())
    }
}
