//! A film's state as quiet tables of text.

use inkarnat_app::show::{FilmReport, PersonReport, ReadingReport, ShotReport, ShotState};
use inkarnat_app::{CutChanges, CutStatus, PersonListed, Problem, ProgrammeProof};
use std::collections::BTreeMap;

/// Rows of cells, each column as wide as its widest cell.
struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    fn new(head: &[&str]) -> Self {
        Self {
            rows: vec![head.iter().map(|&cell| cell.to_owned()).collect()],
        }
    }

    fn print(&self) {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |column: usize| {
            self.rows
                .iter()
                .filter_map(|row| row.get(column))
                .map(|cell| cell.chars().count())
                .max()
                .unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        for row in &self.rows {
            let line: Vec<String> = row
                .iter()
                .zip(&widths)
                .map(|(cell, width)| format!("{cell}{}", " ".repeat(width - cell.chars().count())))
                .collect();
            println!("{}", line.join("   ").trim_end());
        }
    }
}

/// What a cut changed.
pub(crate) fn changes(changes: &CutChanges) {
    let mut table = Table::new(&["shot", "in the new cut", ""]);
    for change in &changes.shots {
        let status = match (change.status, change.back) {
            (CutStatus::New, true) => "back",
            (CutStatus::Same, _) => "same",
            (CutStatus::Moved, _) => "moved",
            (CutStatus::Trimmed, _) => "trimmed",
            (CutStatus::Retimed, _) => "other speed",
            (CutStatus::New, _) => "new",
            (CutStatus::Lost, _) => "lost",
        };
        let also = change.moved && change.status != CutStatus::Moved;
        table.rows.push(vec![
            change.shot.clone(),
            status.to_owned(),
            if also { "and moved" } else { "" }.to_owned(),
        ]);
    }
    for shot in &changes.lost {
        table
            .rows
            .push(vec![shot.clone(), "lost".to_owned(), String::new()]);
    }
    table.print();
}

/// How a finished programme stands, a line a shot and person.
pub(crate) fn programme(proof: &ProgrammeProof) {
    let mut table = Table::new(&[
        "at",
        "shot",
        "",
        "person",
        "level",
        "hue",
        "from what was promised",
        "from its source",
    ]);
    for shot in &proof.shots {
        let mut first = vec![
            shot.record.clone(),
            shot.shot
                .clone()
                .unwrap_or_else(|| format!("event {}", shot.event)),
            if shot.passed { "passed" } else { "failed" }.to_owned(),
        ];
        if shot.people.is_empty() {
            first.push("–".to_owned());
            table.rows.push(first);
            continue;
        }
        for person in &shot.people {
            let shown = |value: Option<f64>, unit: &str, digits: usize| {
                value.map_or_else(|| "–".to_owned(), |v| format!("{v:.digits$}{unit}"))
            };
            let mut row = std::mem::replace(&mut first, vec![String::new(); 3]);
            row.push(person.person.clone());
            row.push(shown(person.level_pct, " %", 1));
            row.push(shown(person.hue_deg, "°", 1));
            row.push(shown(person.de00, "", 2));
            row.push(shown(person.from_source_de00, "", 2));
            table.rows.push(row);
        }
    }
    table.print();
    println!(
        "{}: {} of {} shots passed (ΔE00 within {})",
        proof.programme,
        proof.shots.iter().filter(|shot| shot.passed).count(),
        proof.shots.len(),
        proof.tolerance_de00
    );
}

/// Scenes, their setups and the shots of those.
pub(crate) fn groups(report: &FilmReport) {
    let mut table = Table::new(&["scene", "setup", "shots"]);
    for scene in &report.scenes {
        let mut first = scene.scene.clone();
        for setup in report.setups.iter().filter(|s| s.scene == scene.scene) {
            table.rows.push(vec![
                std::mem::take(&mut first),
                setup.setup.clone(),
                setup.shots.join(", "),
            ]);
        }
    }
    table.print();
}

/// What lies before and after the fix of each shot.
pub(crate) fn transforms(report: &FilmReport) {
    let mut table = Table::new(&["shot", "scene", "input transform", "look"]);
    for shot in &report.shots {
        let named = |name: &Option<String>| name.clone().unwrap_or_else(|| "-".to_owned());
        table.rows.push(vec![
            shot.shot.clone(),
            shot.scene.clone(),
            named(&shot.input),
            named(&shot.look),
        ]);
    }
    table.print();
}

/// The film, or one shot of it at length.
pub(crate) fn film(report: &FilmReport, shot: Option<&str>) {
    println!(
        "{}   {} primaries",
        report.film, report.working_space.primaries
    );
    let mut table = Table::new(&[
        "shot",
        "person",
        "state",
        "",
        "level",
        "hue",
        "from the skin-tone line",
        "saturation",
    ]);
    for shot in &report.shots {
        if shot.people.is_empty() {
            table.rows.push(vec![
                shot.shot.clone(),
                "–".to_owned(),
                shot.state.word().to_owned(),
            ]);
        }
        for person in &shot.people {
            rows(&mut table, shot, person);
        }
    }
    table.print();
    if report.setups.len() < report.shots.len() || report.scenes.len() > 1 {
        println!();
        groups(report);
    }
    for shot in &report.shots {
        if let Some(note) = &shot.note {
            println!("{}: note: {note}", shot.shot);
        }
        for line in remarks(shot) {
            println!("{}: {line}", shot.shot);
        }
    }
    questions(report);
    if let Some(name) = shot
        && let Some(shot) = report.shots.iter().find(|shot| shot.shot == name)
    {
        at_length(shot);
    }
}

fn rows(table: &mut Table, shot: &ShotReport, person: &PersonReport) {
    let state = if shot.state == ShotState::Proved && person.state == ShotState::OnAim {
        ShotState::Proved
    } else {
        person.state
    };
    let mut first = vec![
        shot.shot.clone(),
        person.person.clone(),
        state.word().to_owned(),
    ];
    for (stage, reading) in [
        ("before", &person.before),
        ("after", &person.after),
        ("proof", &person.proof),
    ] {
        let Some(reading) = reading else { continue };
        let mut row = std::mem::replace(&mut first, vec![String::new(); 3]);
        row.push(stage.to_owned());
        row.extend(cells(reading));
        table.rows.push(row);
    }
    if !first[0].is_empty() {
        table.rows.push(first);
    }
}

fn cells(reading: &ReadingReport) -> [String; 4] {
    let u = |value: Option<f64>, unit: &str| {
        value.map_or_else(String::new, |u| format!(" ±{u:.2}{unit}"))
    };
    [
        format!(
            "{:.1} %{} ({:.0})",
            reading.level_pct,
            u(Some(reading.level_pct_u), ""),
            reading.code10
        ),
        reading.hue_deg.map_or_else(
            || "no hue".to_owned(),
            |hue| format!("{hue:.1}°{}", u(reading.hue_deg_u, "")),
        ),
        reading
            .off_line_deg
            .map_or_else(|| "–".to_owned(), direction),
        reading
            .sat_ratio
            .map_or_else(|| "–".to_owned(), |ratio| format!("{ratio:.3}")),
    ]
}

/// "4.2° toward yellow/green".
fn direction(degrees: f64) -> String {
    if degrees.abs() < 0.05 {
        "on it".to_owned()
    } else if degrees > 0.0 {
        format!("{degrees:.1}° toward yellow/green")
    } else {
        format!("{:.1}° toward red/magenta", -degrees)
    }
}

/// What is to be said about a shot beside its numbers.
/// What stands outside the limits of delivery; nothing where all is inside.
fn limits(shot: &ShotReport) -> Option<String> {
    let proof = shot.proof.as_ref()?;
    let (before, after) = (proof.limits_before.as_ref()?, proof.limits_after.as_ref()?);
    if before.over_nominal + after.over_nominal == 0 {
        return None;
    }
    let worst = after.worst.first().map_or_else(String::new, |worst| {
        format!(
            "; worst: frame {}{}, {:.1} % of its area beyond nominal, {:.1} % beyond preferred, mostly {}",
            worst.frame,
            worst
                .timecode
                .as_ref()
                .map_or_else(String::new, |at| format!(" ({at})")),
            worst.nominal_pct,
            worst.preferred_pct,
            worst.component.as_deref().unwrap_or("none")
        )
    });
    Some(format!(
        "EBU R 103, frames with more than 1 % of their area outside: nominal limits {} (source {}), preferred {} ({}), total {} ({}) of {}{worst}",
        after.over_nominal,
        before.over_nominal,
        after.over_preferred,
        before.over_preferred,
        after.over_total,
        before.over_total,
        after.frames
    ))
}

fn remarks(shot: &ShotReport) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(fix) = &shot.fix {
        if fix.ops.is_empty() {
            lines.push(format!("no fix. {}", fix.why));
        } else {
            lines.push(format!("fix reaches the {}. {}", fix.reach, fix.why));
        }
        if let Some(limit) = &fix.limit {
            lines.push(format!("short: stopped by {limit}"));
        }
    }
    lines.extend(shot.why_unread.iter().map(|why| format!("unread: {why}")));
    let read = shot.people.iter().filter(|person| person.before.is_some());
    lines.extend(read.filter_map(|person| person.why.clone()));
    if let Some(proof) = &shot.proof {
        let de00 = proof.de00.map_or_else(String::new, |de| {
            format!(", ΔE00 {de:.2} (allowed {})", proof.tolerance_de00)
        });
        if proof.passed {
            lines.push(format!("proof passed on {}{de00}", proof.file));
        } else {
            lines.extend(
                proof
                    .faults
                    .iter()
                    .map(|fault| format!("proof failed: {fault}")),
            );
        }
    }
    lines.extend(limits(shot));
    lines.extend(
        shot.failure
            .iter()
            .map(|failure| format!("failed: {failure}")),
    );
    for person in &shot.people {
        let Some(face) = &person.face else { continue };
        if let Some(two) = &face.two_lights {
            let hue =
                |hue: Option<f64>| hue.map_or_else(|| "no hue".to_owned(), |h| format!("{h:.0}°"));
            lines.push(format!(
                "two lights on {}: {:.0} %, {} on the side that is read, {:.0} %, {} on the other (ΔE00 {:.1} at one level)",
                person.person,
                two.key_level_pct,
                hue(two.key_hue_deg),
                two.fill_level_pct,
                hue(two.fill_hue_deg),
                two.de00
            ));
        }
        if let (Some(reason), false) = (&face.unread, person.patch) {
            lines.push(format!("{} cannot be read: {reason}", person.person));
        }
    }
    lines.extend(shot.notes.iter().map(|note| format!("note: {note}")));
    lines
}

fn at_length(shot: &ShotReport) {
    println!(
        "\n{}   {}   frames {}–{}{}",
        shot.shot,
        shot.source,
        shot.in_frame,
        shot.out_frame.saturating_sub(1),
        shot.timecode_in
            .as_ref()
            .map_or_else(String::new, |timecode| format!("   from {timecode}"))
    );
    println!("setup {}, scene {}", shot.setup, shot.scene);
    for person in &shot.people {
        println!("aim of {}: {}", person.person, aim(person));
        if let Some(before) = &person.before {
            println!(
                "  source: L*a*b* {:.1} {:.1} {:.1}, clipped {:.1} %, confidence {:.2}, {} frames read, {} lost",
                before.lab[0],
                before.lab[1],
                before.lab[2],
                before.clipped_pct,
                before.confidence,
                before.frames_read.unwrap_or(0),
                before.frames_lost.unwrap_or(0)
            );
        }
    }
    for person in &shot.people {
        let Some(face) = &person.face else { continue };
        println!(
            "face of {}: {:.0} pixels wide, coverage {:.2}, key side {}, key to fill {}",
            person.person,
            face.width_px,
            face.coverage,
            face.key_side.as_deref().unwrap_or("unknown"),
            face.key_to_fill
                .map_or_else(|| "unknown".to_owned(), |ratio| format!("{ratio:.2}")),
        );
        for lost in &face.lost {
            println!(
                "  lost in frames {}–{}: {}",
                lost.in_frame,
                lost.out_frame.saturating_sub(1),
                lost.why
            );
        }
    }
    let Some(fix) = &shot.fix else { return };
    println!("\nreaches");
    let mut table = Table::new(&[
        "",
        "",
        "neutrals ΔE00",
        "new clipping",
        "contrast",
        "elsewhere ΔE00 (median, 95th)",
        "noise",
    ]);
    let mut left_out = None;
    for (name, reach) in [
        ("picture", Some(&fix.reaches.picture)),
        ("mids", Some(&fix.reaches.mids)),
        ("skin", fix.reaches.skin.as_ref()),
    ] {
        let name = if name == fix.reach {
            format!("{name} (chosen)")
        } else {
            name.to_owned()
        };
        let Some(reach) = reach else {
            let why = fix.reaches.skin_not_solved.as_deref();
            left_out = why.map(|why| format!("{name} was not solved: {why}"));
            table.rows.push(vec![name, "not solved".to_owned()]);
            continue;
        };
        let neutral =
            |value: Option<f64>| value.map_or_else(|| "none".to_owned(), |v| format!("{v:.1}"));
        table.rows.push(vec![
            name,
            reach.limit.as_ref().map_or_else(
                || reach.state.word().to_owned(),
                |limit| format!("{} ({limit})", reach.state.word()),
            ),
            format!(
                "{} → {}",
                neutral(reach.cost.neutral_de00_before),
                neutral(reach.cost.neutral_de00)
            ),
            format!("{:+.2} %", reach.cost.clip_growth_pct),
            format!("× {:.2}", reach.cost.contrast),
            format!(
                "{:.1}, {:.1}",
                reach.cost.outside_de00_median, reach.cost.outside_de00_p95
            ),
            format!("× {:.2}", reach.cost.noise_gain),
        ]);
    }
    table.print();
    if let Some(left_out) = left_out {
        println!("  {left_out}");
    }
    let exact = if fix.cdl_exact {
        "exact".to_owned()
    } else {
        format!("nearest; skin off by ΔE00 {:.2}", fix.cdl_skin_de00)
    };
    println!(
        "\nCDL ({exact})   slope {:.4?}   offset {:.4?}   power {:.4?}   saturation {:.4}",
        fix.cdl.slope, fix.cdl.offset, fix.cdl.power, fix.cdl.saturation
    );
}

fn aim(person: &PersonReport) -> String {
    let aim = &person.aim;
    let band = |ends: Option<[f64; 2]>, unit: &str| match ends {
        None => "own".to_owned(),
        Some([low, high]) if low == high => format!("{low}{unit}"),
        Some([low, high]) => format!("{low}–{high}{unit}"),
    };
    let centre = aim.centre.as_ref().map_or_else(String::new, |centre| {
        let hue = centre
            .hue_deg
            .map_or_else(|| "no hue".to_owned(), |hue| format!("{hue:.1}°"));
        format!("; solved to {:.1} %, {hue}", centre.level_pct)
    });
    format!(
        "{} (level {}, hue {}{centre})",
        aim.text,
        band(aim.level_pct, " %"),
        band(aim.hue_deg, "°")
    )
}

/// The aims of everybody, once each.
pub(crate) fn aims(report: &FilmReport) {
    let mut table = Table::new(&["person", "aim", "shots"]);
    let mut people: BTreeMap<&str, (String, Vec<&str>)> = BTreeMap::new();
    for shot in &report.shots {
        for person in &shot.people {
            people
                .entry(&person.person)
                .or_insert_with(|| (person.aim.text.clone(), Vec::new()))
                .1
                .push(&shot.shot);
        }
    }
    for (person, (aim, shots)) in people {
        table
            .rows
            .push(vec![person.to_owned(), aim, shots.join(", ")]);
    }
    table.print();
}

/// Everybody of the film.
pub(crate) fn people(people: &[PersonListed]) {
    let mut table = Table::new(&["person", "complexion", "aim", "shots"]);
    for person in people {
        table.rows.push(vec![
            person.person.clone(),
            person.complexion.clone().unwrap_or_else(|| "–".to_owned()),
            person.aim.clone(),
            person.shots.join(", "),
        ]);
    }
    table.print();
}

/// What is open, one line each.
pub(crate) fn questions(report: &FilmReport) {
    for question in &report.questions {
        println!("question {}: {}", question.id, question.text);
    }
    for proposal in &report.proposals {
        println!("proposal {}: {}", proposal.id, proposal.text);
    }
}

/// One line for everything that is not well.
pub(crate) fn not_well(report: &FilmReport, problems: &[Problem]) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for shot in &report.shots {
        let said = problems.iter().any(|problem| problem.subject == shot.shot);
        match shot.state {
            ShotState::Short | ShotState::OffAim => {
                let limit = shot
                    .fix
                    .as_ref()
                    .and_then(|fix| fix.limit.as_ref())
                    .map_or_else(String::new, |limit| format!(", stopped by {limit}"));
                lines.push(format!("{}: {}{limit}", shot.shot, shot.state.word()));
            }
            ShotState::Unread if !said => lines.push(format!("{}: unread", shot.shot)),
            _ => {}
        }
    }
    lines.extend(problems.iter().map(ToString::to_string));
    lines
}
