//! The command line.
#![forbid(unsafe_code)]
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "this is the program that talks to the terminal"
)]
#![allow(clippy::disallowed_methods, reason = "a program has a clock and files")]

mod arguments;
mod manual;
mod page;
mod people;
mod progress;
mod table;
mod transforms;

use anyhow::Context as _;
use arguments::{Arguments, CodecName, Verb};
use clap::Parser;
use inkarnat_app::{
    AppError, Cancel, Context, CutOrder, Delivery, Film, Grouping, Order, Problem, ProgrammeOrder,
    ReadOrder, SINCE_HANDLES, Workers, accept, all_well, cut_film, draw, film_in, fix_film, group,
    hand_over, hold_constant, keep, keep_programme, note, open_or_create, patches_listed,
    prove_film, prove_programme, read_film, redo, report, run, set_aims, set_exposures, set_tint,
    take_in, undo, undraw, worker,
};
use progress::Progress;
use std::path::Path;
use std::process::ExitCode;

/// Everything ended as it should.
const WELL: u8 = 0;
/// Nothing could be done.
const ERROR: u8 = 1;
/// Finished, but something is short, unreadable or failed proof; each is named.
const NOT_ALL: u8 = 2;

fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            let _ = error.print();
            // Help and version are no errors.
            return ExitCode::from(u8::from(error.use_stderr()));
        }
    };
    let cancel = Cancel::default();
    listen(&cancel);
    if matches!(arguments.verb, Verb::Worker) {
        return ExitCode::from(worker::serve(&cancel));
    }
    match perform(arguments.verb, &cancel) {
        Ok(code) => ExitCode::from(code),
        Err(error) => {
            eprintln!("error: {error:#}");
            ExitCode::from(ERROR)
        }
    }
}

/// Lets signals ask for a stop, and a limit on file sizes be an error like a full disk.
///
/// Without a handler a signal ends the program at once, which loses nothing either: what cannot be
/// registered is left so.
fn listen(cancel: &Cancel) {
    use signal_hook::{consts, flag};
    for signal in [consts::SIGINT, consts::SIGTERM] {
        // The second one does not wait.
        let _ = flag::register_conditional_shutdown(signal, i32::from(ERROR), cancel.flag());
        let _ = flag::register(signal, cancel.flag());
    }
    #[cfg(unix)]
    {
        let _ = flag::register(consts::SIGHUP, cancel.flag());
        let _ = flag::register(consts::SIGXFSZ, std::sync::Arc::default());
    }
}

fn perform(verb: Verb, cancel: &Cancel) -> anyhow::Result<u8> {
    let workers = Workers::of_this_program()?;
    let progress = Progress::new();
    let context = Context {
        workers: &workers,
        watch: &progress,
        cancel,
    };
    let mut problems = Vec::new();
    match verb {
        Verb::Start {
            film,
            clips,
            cut,
            patch,
        } => {
            let mut film = open_or_create(&film)?;
            match cut {
                None => take_in(&mut film, &clips, context, &mut problems)?,
                Some(list) => {
                    let order = CutOrder {
                        list,
                        clips,
                        rate: None,
                    };
                    cut_film(&mut film, &order, context, &mut problems)?;
                }
            }
            draw(&mut film, &patch, context, &mut problems)?;
            progress.finish();
            println!(
                "{}: {} in the film",
                film.path().display(),
                counted(film.shots()?.len(), "shot")
            );
            Ok(after_step(&problems, film.shots()?.is_empty()))
        }
        Verb::Read { film, patch } => {
            let mut film = Film::open(&film)?;
            draw(&mut film, &patch, context, &mut problems)?;
            let order = ReadOrder {
                find: false,
                every: None,
            };
            read_film(&mut film, order, context, &mut problems)?;
            progress.finish();
            summary(&film, None)?;
            let none = !report(&film)?
                .shots
                .iter()
                .any(|shot| shot.people.iter().any(|person| person.before.is_some()));
            Ok(after_step(&problems, none))
        }
        Verb::Find { film, every } => {
            let mut film = Film::open(&film)?;
            let order = ReadOrder { find: true, every };
            film.set_finds_faces(true)?;
            read_film(&mut film, order, context, &mut problems)?;
            progress.finish();
            summary(&film, None)?;
            Ok(after_step(&problems, false))
        }
        Verb::Patch {
            film,
            patches,
            remove,
        } => {
            let mut film = Film::open(&film)?;
            undraw(&mut film, &remove, context, &mut problems)?;
            draw(&mut film, &patches, context, &mut problems)?;
            progress.finish();
            for line in patches_listed(&film)? {
                println!("{line}");
            }
            Ok(after_step(&problems, false))
        }
        Verb::People {
            film,
            name,
            merge,
            split,
            complexion,
            json,
        } => people::perform(&film, people::said(name, merge, split, complexion), json),
        Verb::Answer {
            film,
            question,
            answer,
        } => people::answered(&film, question, answer),
        Verb::Erase { film } => people::erased(&film),
        Verb::Aim {
            film,
            person,
            tint,
            scene,
            accept: accepted,
            exposure,
        } => {
            let mut film = Film::open(&film)?;
            if let Some(tint) = tint {
                set_tint(&mut film, scene.as_deref(), tint.word())?;
            }
            if let Some(name) = accepted {
                let words = accept(&mut film, name.as_deref())?;
                if words.is_empty() {
                    println!("nothing is proposed");
                }
                for line in words {
                    println!("accepted: {line}; `inkarnat fix` applies it");
                }
            }
            if !exposure.is_empty() {
                set_exposures(&mut film, &exposure)?;
            }
            if person.is_empty() {
                table::aims(&report(&film)?);
                println!("\n{}", arguments::CAUTION);
                return Ok(WELL);
            }
            set_aims(&mut film, &person, context, &mut problems)?;
            progress.finish();
            table::aims(&report(&film)?);
            println!("\n{}", arguments::CAUTION);
            Ok(after_step(&problems, problems.len() == person.len()))
        }
        Verb::Input {
            film,
            file,
            clips,
            none,
        } => transforms::input(&film, file, clips, none),
        Verb::Look {
            film,
            file,
            scene,
            none,
            of_film,
        } => transforms::look(&film, file.as_deref(), scene.as_deref(), (none, of_film)),
        Verb::Fix {
            film,
            shot,
            constant,
            ..
        } => {
            let mut film = Film::open(&film)?;
            if let Some(shot) = shot {
                hold_constant(&mut film, &shot, constant)?;
            }
            fix_film(&mut film, context, &mut problems)?;
            progress.finish();
            summary(&film, None)?;
            judged(&film, &problems)
        }
        Verb::Handover {
            film,
            to,
            codec,
            whole,
            since,
            name,
            handles,
            limit,
            with_look,
            with_input,
            encoder_input,
        } => {
            let mut film = Film::open(&film)?;
            let delivery = Delivery {
                encoder_input,
                handles: handles.unwrap_or(if since.is_some() { SINCE_HANDLES } else { 0 }),
                since,
                whole,
                name,
                limit: limit.map(arguments::LimitWord::limit),
                look: with_look,
                input: with_input,
                ..delivery(codec)
            };
            hand_over(&mut film, &to, &delivery, context, &mut problems)?;
            page::write_report(&mut film, &to, context)?;
            progress.finish();
            println!("handed over to {}", to.display());
            judged(&film, &problems)
        }
        Verb::Prove {
            film,
            against: Some(programme),
            cut: Some(list),
            rate,
            json,
        } => {
            let order = ProgrammeOrder {
                programme,
                list,
                rate,
            };
            let path = film;
            let film = Film::open_to_read(&path)?;
            let proof = prove_programme(&film, &order, context, &mut problems)?;
            drop(film);
            progress.finish();
            // A film that is open elsewhere or cannot be written is proved all the same.
            let kept = Film::open(&path)
                .map_err(AppError::from)
                .and_then(|mut film| keep_programme(&mut film, &proof));
            if let Err(why) = kept {
                eprintln!("this proof is not kept in the film, and is said here alone: {why}");
            }
            if json {
                println!("{}", serde_json::to_string_pretty(&proof)?);
            } else {
                table::programme(&proof);
            }
            for problem in &problems {
                eprintln!("{problem}");
            }
            Ok(if proof.passed { WELL } else { NOT_ALL })
        }
        Verb::Prove { film, .. } => {
            let mut film = Film::open(&film)?;
            prove_film(&mut film, context, &mut problems)?;
            progress.finish();
            summary(&film, None)?;
            judged(&film, &problems)
        }
        Verb::Keep { film, shot, undo } => {
            let mut film = Film::open(&film)?;
            let changed = keep(&mut film, &shot, !undo)?;
            println!(
                "{shot}: {}",
                match (undo, changed) {
                    (false, true) => "kept as it is; hand over again to deliver it unchanged",
                    (false, false) => "is kept already",
                    (true, true) => "no longer kept; fix and hand over again",
                    (true, false) => "is not kept",
                }
            );
            Ok(WELL)
        }
        Verb::Cut {
            film,
            list,
            clips,
            rate,
            json,
        } => {
            let mut film = open_or_create(&film)?;
            let order = CutOrder { list, clips, rate };
            let changes = cut_film(&mut film, &order, context, &mut problems)?;
            progress.finish();
            if json {
                println!("{}", serde_json::to_string_pretty(&changes)?);
            } else {
                table::changes(&changes);
            }
            Ok(after_step(&problems, changes.shots.is_empty()))
        }
        Verb::Group {
            film,
            shots,
            setup,
            scene,
            name,
        } => {
            let mut film = Film::open(&film)?;
            group(&mut film, &grouping(setup, scene, name, shots))?;
            table::groups(&report(&film)?);
            Ok(WELL)
        }
        Verb::Note { film, shot, text } => {
            let mut film = Film::open(&film)?;
            note(&mut film, &shot, &text)?;
            Ok(WELL)
        }
        Verb::Undo { film } => {
            let mut film = Film::open(&film)?;
            println!(
                "{}",
                undo(&mut film)?.map_or_else(
                    || "nothing to take back".to_owned(),
                    |what| format!("taken back: {what}")
                )
            );
            Ok(WELL)
        }
        Verb::Redo { film } => {
            let mut film = Film::open(&film)?;
            println!(
                "{}",
                redo(&mut film)?.map_or_else(
                    || "nothing was taken back since the last decision".to_owned(),
                    |what| format!("taken again: {what}")
                )
            );
            Ok(WELL)
        }
        Verb::Show { film, shot, json } => {
            let film = Film::open_to_read(&film)?;
            show(&film, shot.as_deref(), json)
        }
        Verb::Run {
            clips,
            cut,
            to,
            film,
            patch,
            person,
            tint,
            accept,
            input,
            look,
            codec,
            no_faces,
            every,
        } => {
            let order = Order {
                faces: !no_faces,
                every,
                clips,
                cut,
                patches: patch,
                aims: person,
                tint: tint.map(|tint| tint.word().to_owned()),
                accept,
                inputs: input,
                look,
                directory: to,
                delivery: delivery(codec),
            };
            whole_job(film.as_deref(), &order, context, &progress)
        }
        Verb::Open {
            film,
            port,
            no_browser,
            web_dir,
        } => page::open(film, port, !no_browser, web_dir, context),
        Verb::Report { film, to } => page::report(&film, &to, context),
        Verb::Completions { shell } => {
            manual::completions(shell);
            Ok(WELL)
        }
        Verb::Manual { to } => manual::pages(&to),
        Verb::Worker => Ok(ERROR),
    }
}

fn whole_job(
    film: Option<&Path>,
    order: &Order,
    context: Context<'_>,
    progress: &Progress,
) -> anyhow::Result<u8> {
    let mut problems = Vec::new();
    std::fs::create_dir_all(&order.directory).with_context(|| {
        format!(
            "{}: the output directory cannot be made; choose one that can be written",
            order.directory.display()
        )
    })?;
    let place = film.map_or_else(|| film_in(&order.directory), Path::to_owned);
    let mut film = open_or_create(&place)?;
    let done = run(&mut film, order, context, &mut problems)
        .and_then(|()| page::write_report(&mut film, &order.directory, context));
    progress.finish();
    match done {
        Ok(()) => {}
        Err(error @ AppError::Cancelled) => return Err(error.into()),
        Err(error) => return Err(error.into()),
    }
    summary(&film, None)?;
    let standing = report(&film)?;
    if standing.shots.is_empty() {
        eprintln!("error: none of the clips could be taken in");
        return Ok(ERROR);
    }
    judged(&film, &problems)
}

fn delivery(codec: CodecName) -> Delivery {
    Delivery {
        codec: codec.codec(),
        ..Delivery::default()
    }
}

fn grouping(
    setup: Option<String>,
    scene: Option<String>,
    to: Option<String>,
    shots: Vec<String>,
) -> Grouping {
    match (setup, scene.unwrap_or_default(), to) {
        (Some(name), _, None) => Grouping::Setup { name, shots },
        (Some(name), _, Some(to)) => Grouping::RenameSetup { name, to },
        (None, name, None) => Grouping::Scene { name, shots },
        (None, name, Some(to)) => Grouping::RenameScene { name, to },
    }
}

/// The exit code of a step that brings things in.
fn after_step(problems: &[Problem], nothing_done: bool) -> u8 {
    match (problems.is_empty(), nothing_done) {
        (true, _) => WELL,
        (false, true) => ERROR,
        (false, false) => NOT_ALL,
    }
}

/// The exit code by how the film stands, with everything that is not well named.
fn judged(film: &Film, problems: &[Problem]) -> anyhow::Result<u8> {
    let report = report(film)?;
    if all_well(&report, problems) {
        return Ok(WELL);
    }
    for line in table::not_well(&report, problems) {
        eprintln!("{line}");
    }
    Ok(NOT_ALL)
}

fn summary(film: &Film, shot: Option<&str>) -> anyhow::Result<()> {
    table::film(&report(film)?, shot);
    Ok(())
}

fn show(film: &Film, shot: Option<&str>, json: bool) -> anyhow::Result<u8> {
    let mut report = report(film)?;
    if let Some(name) = shot {
        film.shot_named(name)?;
        report.shots.retain(|shot| shot.shot == name);
    }
    if json {
        let mut text = serde_json::to_string_pretty(&report)?;
        text.push('\n');
        // A reader that has seen enough is no error.
        let _ = std::io::Write::write_all(&mut std::io::stdout(), text.as_bytes());
    } else {
        table::film(&report, shot);
    }
    Ok(if all_well(&report, &[]) {
        WELL
    } else {
        NOT_ALL
    })
}

fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}
