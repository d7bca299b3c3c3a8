//! Reads cut lists and says what was understood, for a foreign reader to check.
//!
//! `list_check DIRECTORY`: `cases.json` there names the lists (`lists`: `file`, and `rate` for an EDL) and timecodes
//! (`timecodes`: `rate`, `drop`, `frames`). `answers.json` gets every list as understood, and every frame as text and back.
//! Beside each list `NAME`, `NAME.again.otio` and `NAME.again.edl` get what our writers make of it.
#![allow(
    clippy::disallowed_methods,
    reason = "an example program, not part of the pure crate"
)]

use inkarnat_cut::{CutList, Rate, Timecode};
use inkarnat_interchange::{edl, otio};
use serde_json::{Value, json};
use std::error::Error;
use std::fs;
use std::path::Path;

fn rate_of(value: &Value) -> Result<Rate, Box<dyn Error>> {
    value
        .as_f64()
        .and_then(Rate::of_f64)
        .ok_or_else(|| format!("{value}: no rate").into())
}

fn list_of(bytes: &[u8], file: &str, rate: &Value) -> Result<CutList, Box<dyn Error>> {
    if file.to_lowercase().ends_with(".otio") {
        Ok(otio::read(bytes)?)
    } else {
        Ok(edl::read(bytes, rate_of(rate)?)?)
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let argument = std::env::args_os().nth(1).ok_or("expected a directory")?;
    let directory = Path::new(&argument);
    let cases: Value = serde_json::from_slice(&fs::read(directory.join("cases.json"))?)?;
    let mut lists = Vec::new();
    for case in cases["lists"].as_array().into_iter().flatten() {
        let file = case["file"].as_str().ok_or("a list without a file")?;
        let bytes = fs::read(directory.join(file))?;
        lists.push(match list_of(&bytes, file, &case["rate"]) {
            Ok(list) => {
                fs::write(
                    directory.join(format!("{file}.again.otio")),
                    otio::write(&list),
                )?;
                fs::write(
                    directory.join(format!("{file}.again.edl")),
                    edl::write(&list),
                )?;
                json!({ "file": file, "list": list })
            }
            Err(error) => json!({ "file": file, "error": error.to_string() }),
        });
    }
    let mut timecodes = Vec::new();
    for case in cases["timecodes"].as_array().into_iter().flatten() {
        let rate = rate_of(&case["rate"])?;
        let drop = case["drop"].as_bool().unwrap_or(false);
        let mut texts = Vec::new();
        for frame in case["frames"].as_array().into_iter().flatten() {
            let frame = frame.as_i64().ok_or("a frame that is no number")?;
            let text = Timecode { frame, drop }.text(rate);
            let back = Timecode::parse(&text, rate, false)?;
            texts.push(json!([text, back.frame, back.drop]));
        }
        let mut refused = Vec::new();
        for text in case["texts"].as_array().into_iter().flatten() {
            let text = text.as_str().ok_or("a text that is none")?;
            refused.push(Timecode::parse(text, rate, drop).is_err());
        }
        timecodes.push(json!({ "texts": texts, "refused": refused }));
    }
    fs::write(
        directory.join("answers.json"),
        serde_json::to_vec(&json!({ "lists": lists, "timecodes": timecodes }))?,
    )?;
    Ok(())
}
