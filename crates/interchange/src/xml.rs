//! XML as a flat run of starts, ends and texts, each with its line; what could cost memory or mean
//! something from outside the file is refused.

use quick_xml::events::{BytesStart, BytesText, Event};
use quick_xml::{Reader, Writer};
use std::io;

/// No format of ours nests deeper than six; a file that does is refused before it costs memory.
const MAX_DEPTH: usize = 32;

/// What does not fit, where.
pub(crate) struct XmlError {
    /// The line, counted from 1.
    pub(crate) line: usize,
    /// What stands there.
    pub(crate) found: String,
    /// What should.
    pub(crate) expected: String,
}

impl XmlError {
    pub(crate) fn new(line: usize, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self {
            line,
            found: found.into(),
            expected: expected.into(),
        }
    }
}

/// The start of an element: local name, attributes as written.
pub(crate) struct Element {
    pub(crate) name: String,
    pub(crate) attributes: Vec<(String, String)>,
    /// The line that its start ends on.
    pub(crate) line: usize,
}

impl Element {
    /// An attribute's value; `None` where it is absent.
    pub(crate) fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes
            .iter()
            .find(|(known, _)| known == name)
            .map(|(_, value)| value.as_str())
    }
}

/// One thing of a file, in order.
pub(crate) enum Item {
    /// An element begins.
    Start(Element),
    /// The innermost element ends.
    End {
        /// Its local name.
        name: String,
        /// The line.
        line: usize,
    },
    /// Text, in as many parts as the file has it.
    Text {
        /// As it reads, references resolved.
        text: String,
        /// The line that it begins on.
        line: usize,
    },
}

/// Reads a file item by item.
pub(crate) struct Items<'a> {
    bytes: &'a [u8],
    reader: Reader<&'a [u8]>,
    /// The line at `counted` bytes.
    line: usize,
    counted: usize,
    /// Local names of the open elements.
    open: Vec<String>,
    /// An element without content has begun; its end comes next.
    closing: bool,
    begun: bool,
    what: &'static str,
}

impl<'a> Items<'a> {
    /// `what` names the kind of file in errors: "a color correction file".
    pub(crate) fn new(bytes: &'a [u8], what: &'static str) -> Result<Self, XmlError> {
        let text = std::str::from_utf8(bytes).map_err(|e| {
            XmlError::new(
                line_at(bytes, e.valid_up_to()),
                "bytes that are not UTF-8",
                "XML in UTF-8",
            )
        })?;
        Ok(Self {
            bytes,
            reader: Reader::from_str(text),
            line: 1,
            counted: 0,
            open: Vec::new(),
            closing: false,
            begun: false,
            what,
        })
    }

    /// The next item; `None` at the end of a whole file.
    pub(crate) fn next(&mut self) -> Result<Option<Item>, XmlError> {
        if std::mem::take(&mut self.closing) {
            return Ok(Some(self.end()));
        }
        loop {
            let first = self.line;
            let event = self.reader.read_event();
            let position =
                (self.reader.buffer_position() as usize).clamp(self.counted, self.bytes.len());
            self.line += line_at(&self.bytes[self.counted..position], usize::MAX) - 1;
            self.counted = position;
            let line = self.line;
            let text = match event {
                Err(e) => {
                    let line = line_at(self.bytes, self.reader.error_position() as usize);
                    return Err(XmlError::new(line, e.to_string(), "well-formed XML"));
                }
                Ok(Event::DocType(_)) => {
                    return Err(XmlError::new(
                        line,
                        "a document type declaration",
                        "none: entities are not read",
                    ));
                }
                Ok(Event::Start(start)) => return self.start(&start).map(Some),
                Ok(Event::Empty(start)) => {
                    let item = self.start(&start)?;
                    self.closing = true;
                    return Ok(Some(item));
                }
                Ok(Event::End(_)) => return Ok(Some(self.end())),
                Ok(Event::Text(text)) => text
                    .decode()
                    .map_err(|e| XmlError::new(line, e.to_string(), "text in UTF-8"))?
                    .into_owned(),
                Ok(Event::CData(data)) => String::from_utf8_lossy(&data).into_owned(),
                Ok(Event::GeneralRef(reference)) => {
                    let name = String::from_utf8_lossy(&reference).into_owned();
                    let resolved = match reference.resolve_char_ref() {
                        Ok(Some(c)) => Some(c.to_string()),
                        _ => quick_xml::escape::resolve_predefined_entity(&name).map(str::to_owned),
                    };
                    resolved.ok_or_else(|| {
                        XmlError::new(
                            line,
                            format!("the entity '&{name};'"),
                            "only &lt; &gt; &amp; &quot; &apos; and character numbers",
                        )
                    })?
                }
                Ok(Event::Eof) => return self.finish(),
                Ok(Event::Decl(_) | Event::PI(_) | Event::Comment(_)) => continue,
            };
            return Ok(Some(Item::Text { text, line: first }));
        }
    }

    fn start(&mut self, start: &BytesStart<'_>) -> Result<Item, XmlError> {
        let line = self.line;
        if self.open.len() == MAX_DEPTH {
            return Err(XmlError::new(
                line,
                format!("elements {} deep", MAX_DEPTH + 1),
                format!("{}, at most 6 deep", self.what),
            ));
        }
        if self.open.is_empty() && std::mem::replace(&mut self.begun, true) {
            return Err(XmlError::new(line, "a second root element", "one"));
        }
        let name = String::from_utf8_lossy(start.local_name().as_ref()).into_owned();
        let bad = |e: &dyn std::fmt::Display| {
            XmlError::new(line, e.to_string(), "well-formed attributes")
        };
        let attributes = start
            .attributes()
            .map(|attribute| {
                let attribute = attribute.map_err(|e| bad(&e))?;
                let key = String::from_utf8_lossy(attribute.key.as_ref()).into_owned();
                let value = attribute.unescape_value().map_err(|e| bad(&e))?;
                Ok((key, value.into_owned()))
            })
            .collect::<Result<_, XmlError>>()?;
        self.open.push(name.clone());
        Ok(Item::Start(Element {
            name,
            attributes,
            line,
        }))
    }

    fn end(&mut self) -> Item {
        // The reader has matched this end with its start.
        Item::End {
            name: self.open.pop().unwrap_or_default(),
            line: self.line,
        }
    }

    fn finish(&self) -> Result<Option<Item>, XmlError> {
        match self.open.last() {
            Some(name) => Err(XmlError::new(
                self.line,
                format!("the end of the file inside '{name}'"),
                format!("</{name}>"),
            )),
            None if !self.begun => Err(XmlError::new(self.line, "no element", self.what)),
            None => Ok(None),
        }
    }
}

fn line_at(bytes: &[u8], position: usize) -> usize {
    let before = &bytes[..position.min(bytes.len())];
    1 + before.iter().filter(|&&byte| byte == b'\n').count()
}

/// `N` finite numbers.
pub(crate) fn numbers<const N: usize>(
    name: &str,
    text: &str,
    line: usize,
) -> Result<[f64; N], XmlError> {
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
            let what = if N == 1 {
                "a finite number".to_owned()
            } else {
                format!("{N} finite numbers")
            };
            Err(XmlError::new(
                line,
                format!("{name} '{short}'"),
                format!("{what} with a decimal point"),
            ))
        }
    }
}

/// An element with nothing but text.
pub(crate) fn write_text(out: &mut Writer<Vec<u8>>, name: &str, text: &str) -> io::Result<()> {
    out.create_element(name)
        .write_text_content(BytesText::new(text))?;
    Ok(())
}
