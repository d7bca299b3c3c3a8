//! Reading `.cube`, line by line.

use super::{CubeError, CubeFile, Lut1d, Table};
use inkarnat_ops::Lut3d;

/// What has been read so far.
#[derive(Default)]
struct State {
    title: Option<String>,
    comments: Vec<String>,
    /// Keyword, number of nodes, line.
    size: Option<(&'static str, usize, usize)>,
    domain_min: Option<[f64; 3]>,
    domain_max: Option<[f64; 3]>,
    table: Vec<[f32; 3]>,
}

const SIZE_1D: &str = "LUT_1D_SIZE";
const SIZE_3D: &str = "LUT_3D_SIZE";

impl CubeFile {
    /// Reads the bytes of a file. LF, CRLF and CR line ends, a UTF-8 byte order mark and comments
    /// anywhere are fine; bytes that are not UTF-8 are kept out of the numbers and shown as `�` in
    /// comments and titles.
    ///
    /// # Errors
    /// The first line that does not fit, with what stands there and what should.
    pub fn read(bytes: &[u8]) -> Result<Self, CubeError> {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        if bytes.contains(&0) || bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
            return Err(error(
                1,
                "bytes that are not plain text",
                "a text file in UTF-8",
            ));
        }
        let text = String::from_utf8_lossy(bytes)
            .replace("\r\n", "\n")
            .replace('\r', "\n");
        let mut state = State::default();
        let mut count = 0;
        for (index, line) in text.lines().enumerate() {
            count = index + 1;
            state.line(count, line.trim())?;
        }
        state.finish(count)
    }
}

impl State {
    fn line(&mut self, number: usize, line: &str) -> Result<(), CubeError> {
        if line.is_empty() {
            return Ok(());
        }
        if let Some(comment) = line.strip_prefix('#') {
            if self.table.is_empty() {
                self.comments.push(comment.trim().to_owned());
            }
            return Ok(());
        }
        let (word, rest) = line
            .split_once(char::is_whitespace)
            .map_or((line, ""), |(word, rest)| (word, rest.trim()));
        if !word.starts_with(|c: char| c.is_ascii_alphabetic()) || is_named_number(word) {
            return self.row(number, line);
        }
        if !self.table.is_empty() {
            return Err(error(
                number,
                quoted(line),
                "three numbers: keywords stand before the table",
            ));
        }
        match word {
            "TITLE" => {
                let title = rest
                    .strip_prefix('"')
                    .and_then(|rest| rest.strip_suffix('"'))
                    .unwrap_or(rest);
                set(&mut self.title, title.to_owned(), number, word)
            }
            SIZE_1D => self.size(number, SIZE_1D, rest, Lut1d::MAX_SIZE),
            SIZE_3D => self.size(number, SIZE_3D, rest, Lut3d::MAX_SIZE),
            "DOMAIN_MIN" => set(&mut self.domain_min, numbers(number, rest)?, number, word),
            "DOMAIN_MAX" => set(&mut self.domain_max, numbers(number, rest)?, number, word),
            _ => Err(error(
                number,
                quoted(line),
                "TITLE, LUT_1D_SIZE, LUT_3D_SIZE, DOMAIN_MIN, DOMAIN_MAX or three numbers",
            )),
        }
    }

    fn size(
        &mut self,
        number: usize,
        keyword: &'static str,
        text: &str,
        most: usize,
    ) -> Result<(), CubeError> {
        if let Some((other, _, line)) = self.size {
            return Err(error(
                number,
                format!("a second size ({keyword}, after {other} in line {line})"),
                "one table with one size",
            ));
        }
        match text.parse() {
            Ok(size) if (Lut3d::MIN_SIZE..=most).contains(&size) => {
                self.size = Some((keyword, size, number));
                Ok(())
            }
            _ => Err(error(
                number,
                format!("{keyword} {}", quoted(text)),
                format!("a whole number from {} to {most}", Lut3d::MIN_SIZE),
            )),
        }
    }

    fn row(&mut self, number: usize, line: &str) -> Result<(), CubeError> {
        let row = numbers(number, line)?;
        let Some((keyword, size, _)) = self.size else {
            return Err(error(
                number,
                "numbers before any size",
                "LUT_3D_SIZE or LUT_1D_SIZE first",
            ));
        };
        let rows = rows(keyword, size);
        if self.table.len() == rows {
            return Err(error(
                number,
                format!("row {} of the table", rows + 1),
                format!("the end of the file: {keyword} {size} takes {rows} rows"),
            ));
        }
        let narrow = row.map(|v| v as f32);
        if narrow.iter().any(|v| !v.is_finite()) {
            return Err(error(
                number,
                quoted(line),
                "numbers within the range of f32",
            ));
        }
        self.table.push(narrow);
        Ok(())
    }

    fn finish(self, last_line: usize) -> Result<CubeFile, CubeError> {
        let Some((keyword, size, size_line)) = self.size else {
            return Err(error(
                last_line,
                "the end of the file, and no size before it",
                "LUT_3D_SIZE or LUT_1D_SIZE",
            ));
        };
        let rows = rows(keyword, size);
        if self.table.len() != rows {
            return Err(error(
                last_line,
                format!("the end of the file after {} rows", self.table.len()),
                format!("{rows} rows, for {keyword} {size} in line {size_line}"),
            ));
        }
        let domain_min = self.domain_min.unwrap_or([0.0; 3]);
        let domain_max = self.domain_max.unwrap_or([1.0; 3]);
        for c in 0..3 {
            if domain_max[c] <= domain_min[c] {
                return Err(error(
                    size_line,
                    format!(
                        "a domain from {} to {} in channel {c}",
                        domain_min[c], domain_max[c]
                    ),
                    "DOMAIN_MAX above DOMAIN_MIN",
                ));
            }
        }
        let table = if keyword == SIZE_1D {
            Table::OneD(Lut1d {
                domain_min,
                domain_max,
                table: self.table,
            })
        } else {
            Table::ThreeD(Lut3d {
                size,
                domain_min,
                domain_max,
                table: self.table,
            })
        };
        Ok(CubeFile {
            title: self.title.unwrap_or_default(),
            comments: self.comments,
            table,
        })
    }
}

fn rows(keyword: &str, size: usize) -> usize {
    if keyword == SIZE_1D {
        size
    } else {
        size.pow(3)
    }
}

/// `nan`, `inf` and the like, which start as a keyword does.
fn is_named_number(word: &str) -> bool {
    word.parse::<f64>().is_ok()
}

fn set<T>(slot: &mut Option<T>, value: T, number: usize, word: &str) -> Result<(), CubeError> {
    if slot.is_some() {
        return Err(error(number, format!("a second {word}"), "one"));
    }
    *slot = Some(value);
    Ok(())
}

/// Exactly three finite numbers.
fn numbers(number: usize, text: &str) -> Result<[f64; 3], CubeError> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut row = [0.0; 3];
    if let Some(word) = words.iter().find(|word| word.contains(',')) {
        return Err(error(
            number,
            quoted(word),
            "a point before decimals and blanks between numbers, no commas",
        ));
    }
    if words.len() != 3 {
        return Err(error(
            number,
            format!("{} numbers in {}", words.len(), quoted(text)),
            "three",
        ));
    }
    for (value, word) in row.iter_mut().zip(&words) {
        *value = match word.parse::<f64>() {
            Ok(value) if value.is_finite() => value,
            _ => return Err(error(number, quoted(word), "a finite number")),
        };
    }
    Ok(row)
}

fn error(line: usize, found: impl Into<String>, expected: impl Into<String>) -> CubeError {
    CubeError {
        line,
        found: found.into(),
        expected: expected.into(),
    }
}

/// At most 60 characters of what stands in the file, in quotes.
fn quoted(text: &str) -> String {
    let mut short: String = text.chars().take(60).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    format!("'{short}'")
}
