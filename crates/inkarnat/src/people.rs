//! Who is who, on the command line.

use crate::arguments::YesNo;
use crate::{NOT_ALL, WELL, table};
use inkarnat_app::{Film, Say, answer, erase, people_of, report, say};
use std::path::Path;

/// What was said, in the order names, merges, splits, complexions.
pub(crate) fn said(
    names: Vec<String>,
    merges: Vec<String>,
    splits: Vec<String>,
    complexions: Vec<String>,
) -> Vec<Say> {
    let names = names.into_iter().map(Say::Name);
    let merges = merges.into_iter().map(Say::Merge);
    let splits = splits.into_iter().map(Say::Split);
    let complexions = complexions.into_iter().map(Say::Complexion);
    names
        .chain(merges)
        .chain(splits)
        .chain(complexions)
        .collect()
}

/// Does what was said, and lists everybody.
pub(crate) fn perform(film: &Path, what: Vec<Say>, json: bool) -> anyhow::Result<u8> {
    let film = if what.is_empty() {
        Film::open_to_read(film)?
    } else {
        let mut film = Film::open(film)?;
        for what in &what {
            say(&mut film, what)?;
        }
        film
    };
    let people = people_of(&film)?;
    if json {
        let mut text = serde_json::to_string_pretty(&people)?;
        text.push('\n');
        // A reader that has seen enough is no error.
        let _ = std::io::Write::write_all(&mut std::io::stdout(), text.as_bytes());
    } else {
        table::people(&people);
        table::questions(&report(&film)?);
    }
    Ok(WELL)
}

/// Answers a question.
pub(crate) fn answered(film: &Path, question: u64, word: YesNo) -> anyhow::Result<u8> {
    let mut film = Film::open(film)?;
    let text = answer(&mut film, question, word == YesNo::Yes)?;
    println!("{text}: {}", if word == YesNo::Yes { "yes" } else { "no" });
    let open = report(&film)?;
    table::questions(&open);
    Ok(if open.questions.is_empty() {
        WELL
    } else {
        NOT_ALL
    })
}

/// Erases face data.
pub(crate) fn erased(film: &Path) -> anyhow::Result<u8> {
    let mut film = Film::open(film)?;
    let count = erase(&mut film)?;
    println!(
        "{}: erased {}; readings, people and decisions stay, and faces are not looked for again unless you ask (`inkarnat find`)",
        film.path().display(),
        crate::counted(count as usize, "face")
    );
    Ok(WELL)
}
