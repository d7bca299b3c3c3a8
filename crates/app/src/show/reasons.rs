//! Why something is not as it should be, in plain sentences.

use super::{FaceReport, ShotState};
use crate::Result;
use crate::steps::finding::unread_faces;
use crate::steps::fixing::FixRecord;
use inkarnat_film::{Film, Shot, Step};
use inkarnat_fix::{Fix, Limits, State};

/// Why no key was laid on skin; `None` where one was.
pub(crate) fn skin_not_solved(record: &FixRecord) -> Option<String> {
    let solution = &record.solution;
    if solution.skin.is_some() {
        return None;
    }
    if record.carried_from.is_some() {
        return Some("nobody is read here, so that there is no skin to lay a key on".to_owned());
    }
    Some(match solution.no_key {
        Some(why) => why.to_string(),
        None => "no key can tell this skin from the rest, or a key has nothing to do".to_owned(),
    })
}

/// Why nobody is read in a shot, and what to do.
pub(super) fn reason_of_unread(film: &Film, shot: &Shot, read: bool) -> Result<String> {
    if !read {
        return Ok("it was not read yet".to_owned());
    }
    let faces = film.faces(Some(shot.id))?;
    let looked = film.step(shot.id, Step::Find)?.is_some();
    let found = match (faces.is_empty(), looked) {
        (false, _) => unread_faces(&faces)?,
        (true, true) => "no face was found in it, and no patch is drawn on it".to_owned(),
        (true, false) => "no patch is drawn on it, and faces were not looked for".to_owned(),
    };
    let found = found.trim_end_matches("; draw a patch");
    Ok(format!(
        "{found}. Draw a patch on lit skin, or keep the shot as it is"
    ))
}

/// Why a person is unread, off aim or short.
pub(super) fn reason_of_person(
    person: &str,
    state: ShotState,
    record: Option<&FixRecord>,
    face: Option<&FaceReport>,
) -> Option<String> {
    match state {
        ShotState::OnAim | ShotState::Kept | ShotState::Proved => None,
        ShotState::Unread => Some(match face.and_then(|face| face.unread.as_ref()) {
            Some(reason) => format!("{person} was not read: {reason}"),
            None => format!("{person} was not read here yet"),
        }),
        ShotState::Short => record.map(|record| {
            let fix = record.fix();
            short(person, &fix.state, own_way(person, fix))
        }),
        ShotState::OffAim => Some(off_aim(person, record)),
    }
}

/// Share of the way to the aim that a person goes.
fn own_way(person: &str, fix: &Fix) -> Option<f64> {
    let own = fix.people.iter().find(|p| p.name == person)?;
    (own.de00_before > 0.0).then(|| (1.0 - own.de00 / own.de00_before).max(0.0))
}

/// `way`: the person's own share of the way; that of the fix is of whoever is worst off.
fn short(person: &str, state: &State, way: Option<f64>) -> String {
    match state {
        State::OnAim => format!("{person} reads apart from the aim in the corrected picture"),
        State::Short {
            limit, way: worst, ..
        } => {
            let way = way.unwrap_or(*worst);
            let gone = match (100.0 * way).round() {
                0.0 => "does not get nearer to the aim".to_owned(),
                gone => format!("gets {gone:.0} % of the way to the aim"),
            };
            format!("{person} {gone}: {}", limit.reason(&Limits::default()))
        }
    }
}

fn off_aim(person: &str, record: Option<&FixRecord>) -> String {
    let Some(record) = record else {
        return format!("nothing was solved for {person} yet");
    };
    let solved = record.fix().people.iter().find(|p| p.name == person);
    match solved {
        None => format!("the fix was made without {person}: fix the film again"),
        Some(solved) if record.by_hand.is_some() && !solved.on_aim => format!(
            "the numbers set by hand leave {person} {:.1} CIEDE2000 from the aim",
            solved.de00
        ),
        Some(solved) => format!(
            "the fix was solved to {:.1} CIEDE2000 from the aim of {person}, but all pixels of the shot together read further off",
            solved.de00
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_fix::Limit;

    #[test]
    fn every_limit_has_a_sentence_of_its_own() {
        let mut known: Vec<String> = Vec::new();
        for limit in Limit::ALL {
            let state = State::Short {
                limit,
                way: 0.624,
                people: vec!["Ada".to_owned()],
            };
            let text = short("Ada", &state, None);
            assert_ne!(text, short("Ada", &state, Some(0.3)), "her own way counts");
            assert!(
                text.starts_with("Ada gets 62 % of the way to the aim: "),
                "{text}"
            );
            assert!(!known.contains(&text), "{text}");
            known.push(text);
        }
    }
}
