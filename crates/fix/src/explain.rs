//! One sentence in plain trade words.

use inkarnat_ops::Cdl;

use crate::model::Move;
use crate::solution::{Cost, PersonResult, Reach, State};

pub(crate) fn explain(
    reach: Reach,
    by: &Move,
    people: &[PersonResult],
    state: &State,
    cost: &Cost,
) -> String {
    let people_part = people
        .iter()
        .map(|p| person(p, people.len() > 1))
        .collect::<Vec<_>>()
        .join("; ");
    let nothing = by.balance == Cdl::NEUTRAL
        && by.shoulders.is_empty()
        && by.saturation == 1.0
        && by.keyed.is_empty();
    if nothing && *state == State::OnAim {
        return format!("Nothing moved: {}.", people_part);
    }
    let what = match reach {
        Reach::Mids => "Mid-tones moved",
        Reach::Skin if by.balance == Cdl::NEUTRAL => "Skin corrected by a key",
        Reach::Skin => "Picture balanced and skin corrected by a key",
        Reach::Picture => "Picture balanced",
    };
    let mut sentence = format!("{what}: {people_part}");
    if let (Some(before), Some(after)) = (cost.neutral_de00_before, cost.neutral_de00) {
        sentence += &format!("; neutrals {before:.1} → {after:.1} CIEDE2000");
    }
    if let State::Short { limit, way, people } = state {
        sentence += &format!(
            "; short for {} at {:.0} % of the way, stopped by {limit}",
            people.join(" and "),
            100.0 * way
        );
    }
    sentence.push('.');
    sentence
}

fn person(p: &PersonResult, named: bool) -> String {
    let mut parts = Vec::new();
    let (from, to) = (p.before.level.0, p.after.level.0);
    if (to - from).abs() < 0.05 {
        parts.push(format!("level {to:.1} %"));
    } else {
        parts.push(format!("level {from:.1} → {to:.1} %"));
    }
    match (p.before.hue(), p.after.hue()) {
        (Some(before), Some(after)) => {
            let turn = after.from_origin(before);
            match turn.direction() {
                Some(direction) if turn.degrees().abs() >= 0.05 => parts.push(format!(
                    "hue {:.1}° → {:.1}°, {:.1}° {direction}",
                    before.degrees(),
                    after.degrees(),
                    turn.degrees().abs()
                )),
                _ => parts.push(format!("hue {:.1}°", after.degrees())),
            }
        }
        (None, Some(after)) => parts.push(format!("hue none → {:.1}°", after.degrees())),
        (_, None) => parts.push("no hue (too little colour)".to_owned()),
    }
    let (from, to) = (p.before.sat_ratio(), p.after.sat_ratio());
    if (to - from).abs() < 0.0005 {
        parts.push(format!("saturation {to:.3}"));
    } else {
        parts.push(format!("saturation {from:.3} → {to:.3}"));
    }
    let text = parts.join(", ");
    if named {
        format!("{} {text}", p.name)
    } else {
        text
    }
}
