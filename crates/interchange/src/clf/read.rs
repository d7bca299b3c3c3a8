//! Reading a list of nodes.

use super::array::short;
use super::node::{NODES, Open};
use super::{ClfError, ClfFile, file};
use crate::xml::{Element, Item, Items};
use inkarnat_ops::Process;

/// What has been read so far.
struct State {
    found: ClfFile,
    /// Local names of the open elements.
    open: Vec<String>,
    /// Text inside the innermost open element.
    text: String,
    node: Option<Open>,
    /// The depth that the last node gives.
    depth: Option<String>,
    line: usize,
}

impl ClfFile {
    /// Reads the bytes of a file. Line ends of any kind and a byte order mark are fine; what stands in
    /// `Info` is passed over.
    ///
    /// # Errors
    /// XML that is not well formed, any document type declaration (so no entities of its own), an
    /// element that the format does not have, and numbers that do not fit, each with its line.
    pub fn read(bytes: &[u8]) -> Result<Self, ClfError> {
        let mut items = Items::new(bytes, "a ProcessList")?;
        let mut state = State {
            found: Self {
                id: String::new(),
                name: String::new(),
                descriptions: Vec::new(),
                input: String::new(),
                output: String::new(),
                process: Process::default(),
            },
            open: Vec::new(),
            text: String::new(),
            node: None,
            depth: None,
            line: 1,
        };
        while let Some(item) = items.next()? {
            match item {
                Item::Start(start) => state.start(start)?,
                Item::End { name, line } => state.end(&name, line)?,
                Item::Text { text, line } => state.text(&text, line)?,
            }
        }
        state.finish()
    }
}

impl State {
    fn in_info(&self) -> bool {
        self.open.get(1).is_some_and(|name| name == "Info")
    }

    fn start(&mut self, start: Element) -> Result<(), ClfError> {
        let line = start.line;
        let name = start.name.as_str();
        let in_info = self.in_info();
        match (self.open.as_slice(), &mut self.node) {
            ([], _) => self.root(&start)?,
            ([_], _) if NODES.contains(&name) => {
                self.node = Some(Open::new(&start, self.depth.as_deref())?);
            }
            ([_], _)
                if matches!(
                    name,
                    "Description" | "InputDescriptor" | "OutputDescriptor" | "Info"
                ) => {}
            ([_, .., parent], Some(node)) => node.start(&start, parent)?,
            _ if in_info => {}
            _ => {
                return Err(file(
                    line,
                    format!("the element '{}'", short(name)),
                    format!(
                        "one of {}, Description, InputDescriptor, OutputDescriptor, Info",
                        NODES.join(", ")
                    ),
                ));
            }
        }
        self.text.clear();
        self.open.push(start.name);
        Ok(())
    }

    fn root(&mut self, start: &Element) -> Result<(), ClfError> {
        let line = start.line;
        if start.name != "ProcessList" {
            return Err(file(
                line,
                format!("the root element '{}'", short(&start.name)),
                "ProcessList",
            ));
        }
        let version = start.attribute("compCLFversion").unwrap_or_default();
        let number: Option<f64> = version.trim().parse().ok();
        let known = number.is_some_and(|v| (2.0..4.0).contains(&v))
            || version.starts_with("ST2136-1:")
            || version.is_empty() && start.attribute("xmlns") == Some(super::NAMESPACE);
        if !known {
            return Err(file(
                line,
                format!("a ProcessList with compCLFversion=\"{}\"", short(version)),
                "version 2 or 3",
            ));
        }
        self.line = line;
        start
            .attribute("id")
            .unwrap_or_default()
            .clone_into(&mut self.found.id);
        start
            .attribute("name")
            .unwrap_or_default()
            .clone_into(&mut self.found.name);
        Ok(())
    }

    fn text(&mut self, text: &str, line: usize) -> Result<(), ClfError> {
        match (&mut self.node, self.open.last().map(String::as_str)) {
            (Some(node), Some("Array")) => node.array_text(text, line),
            _ => {
                self.text.push_str(text);
                Ok(())
            }
        }
    }

    fn end(&mut self, name: &str, line: usize) -> Result<(), ClfError> {
        self.open.pop();
        let text = std::mem::take(&mut self.text);
        let depth = self.open.len();
        if depth == 1
            && let Some(node) = self.node.take()
        {
            self.depth = Some(node.scale_out.0.clone());
            self.found.process.nodes.push(node.finish()?);
        } else if let Some(node) = &mut self.node {
            node.end(name, &text, line)?;
        } else if depth == 1 {
            let text = text.trim().to_owned();
            match name {
                "Description" => self.found.descriptions.push(text),
                "InputDescriptor" => self.found.input = text,
                "OutputDescriptor" => self.found.output = text,
                _ => {}
            }
        }
        Ok(())
    }

    fn finish(self) -> Result<ClfFile, ClfError> {
        if self.found.process.nodes.is_empty() {
            return Err(file(
                self.line,
                "a ProcessList without a node",
                format!("at least one of {}", NODES.join(", ")),
            ));
        }
        Ok(self.found)
    }
}
