//! Runs correctors over the grid of scenes with known truth and prints one table.
//!
//! With `INKARNAT_BIN` set to the built program, the full mode also takes each twelfth scene through encoded files and
//! that program.
//!
//! `truth [--quick|--full] [--json FILE] [--markdown FILE] [--bounds FILE] [--tighten]`
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a program that talks on its terminal"
)]

use std::collections::BTreeMap;
use std::process::ExitCode;

use inkarnat_testkit::corrector::{Corrector, DoNothing, NeutralBalance};
use inkarnat_testkit::encoded::EncodedTool;
use inkarnat_testkit::grid::one_in_three;
use inkarnat_testkit::score::{Aims, Prepared, Row};
use inkarnat_testkit::table::{
    balance_against_published, figures, missed, text, through_files, tightened,
};
use inkarnat_testkit::tool::Tool;
use inkarnat_testkit::{SceneSpec, grid, quick_grid};
use rayon::prelude::*;

#[derive(Default)]
struct Arguments {
    quick: bool,
    json: Option<String>,
    markdown: Option<String>,
    bounds: Option<String>,
    tighten: bool,
    only: Option<String>,
}

fn arguments() -> Result<Arguments, String> {
    let mut result = Arguments::default();
    let mut rest = std::env::args().skip(1);
    while let Some(word) = rest.next() {
        let mut value = || rest.next().ok_or(format!("{word} needs a value"));
        match word.as_str() {
            "--quick" => result.quick = true,
            "--full" => result.quick = false,
            "--tighten" => result.tighten = true,
            "--json" => result.json = Some(value()?),
            "--markdown" => result.markdown = Some(value()?),
            "--bounds" => result.bounds = Some(value()?),
            "--only" => result.only = Some(value()?),
            _ => {
                return Err(format!(
                    "unknown argument {word:?}; expected --quick, --full, --json FILE, --markdown FILE, --bounds FILE, --tighten or --only PART-OF-NAME"
                ));
            }
        }
    }
    Ok(result)
}

fn score_scene(
    spec: &SceneSpec,
    (width, height): (usize, usize),
    typed_too: bool,
    program: Option<&EncodedTool>,
) -> (Vec<Row>, Vec<String>) {
    let Some(prepared) = Prepared::new(spec, width, height) else {
        return (
            Vec::new(),
            vec![format!("{}: somebody's skin is not in sight", spec.name)],
        );
    };
    let (own_aim, typed_aim) = (Tool::new("the tool, own"), Tool::new("the tool, typed"));
    let runs: [(&dyn Corrector, Aims); 4] = [
        (&DoNothing, Aims::Own),
        (&NeutralBalance, Aims::Own),
        (&own_aim, Aims::Own),
        (&typed_aim, Aims::Typed),
    ];
    let own = prepared.reachable(Aims::Own);
    let typed = if typed_too {
        prepared.reachable(Aims::Typed)
    } else {
        Vec::new()
    };
    let (mut rows, mut failures) = (Vec::new(), Vec::new());
    for (corrector, aims) in runs {
        if aims == Aims::Typed && !typed_too {
            continue;
        }
        let reachable = if aims == Aims::Own { &own } else { &typed };
        match prepared.score(corrector, aims, reachable) {
            Ok(more) => rows.extend(more),
            Err(why) => failures.push(format!("{}: {}: {why}", corrector.name(), spec.name)),
        }
    }
    if let Some(program) = program {
        match prepared.score(program, Aims::Own, &own) {
            Ok(more) => rows.extend(more),
            Err(why) => failures.push(format!("{}: {}: {why}", program.name(), spec.name)),
        }
    }
    (rows, failures)
}

/// Scenes apart that go through encoded files.
const ENCODED_EVERY: usize = 12;

fn run() -> Result<bool, String> {
    let arguments = arguments()?;
    let mut scenes = if arguments.quick {
        quick_grid()
    } else {
        grid()
    };
    if let Some(part) = &arguments.only {
        scenes.retain(|s| s.name.contains(part));
    }
    let size = if arguments.quick {
        (320, 180)
    } else {
        (640, 360)
    };
    let program = std::env::var_os("INKARNAT_BIN")
        .filter(|_| !arguments.quick)
        .map(EncodedTool::new);
    // Typed aims answer another question and need fewer scenes: a third of them in the quick mode.
    let results: Vec<_> = scenes
        .par_iter()
        .enumerate()
        .map(|(n, s)| {
            let turned: String = s.name.chars().rev().collect();
            let encoded = program.as_ref().filter(|_| n % ENCODED_EVERY == 0);
            score_scene(s, size, !arguments.quick || one_in_three(&turned), encoded)
        })
        .collect();
    let mut rows: Vec<Row> = Vec::new();
    let mut failures = Vec::new();
    for (more, failed) in results {
        rows.extend(more);
        failures.extend(failed);
    }
    // Scenes come scene by scene; the table is read corrector by corrector.
    let table = text(&rows);
    println!("{table}");
    for failure in &failures {
        println!("not scored: {failure}");
    }
    let mut remarks = Vec::new();
    if let Some((n, ours, published)) = balance_against_published(&rows) {
        remarks.push(format!(
            "neutral balance only, truly neutral surface, ideal camera: mean of medians {ours:.2} over {n} lights; the published experiment has {published:.2} over the same"
        ));
    }
    remarks.extend(through_files(&rows));
    for remark in &remarks {
        println!("{remark}");
    }
    let figures = figures(&rows);
    if let Some(path) = &arguments.json {
        let json = serde_json::json!({ "scenes": scenes.len(), "figures": figures, "rows": rows, "failures": failures });
        write(path, &json.to_string())?;
    }
    if let Some(path) = &arguments.markdown {
        write(
            path,
            &between_marks(path, &format!("{table}\n{}", remarks.join("\n")))?,
        )?;
    }
    let mut within = failures.is_empty();
    if let Some(path) = &arguments.bounds {
        let bounds: BTreeMap<String, f64> = match std::fs::read_to_string(path) {
            Ok(text) => serde_json::from_str(&text).map_err(|e| format!("{path}: {e}"))?,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound && arguments.tighten => {
                BTreeMap::new()
            }
            Err(e) => return Err(format!("{path}: {e}; --tighten writes it")),
        };
        let missed = missed(&figures, &bounds);
        for m in &missed {
            let value = m.value.map_or("nothing".into(), |v| format!("{v:.3}"));
            println!("bound missed: {}: {value}, bound {:.3}", m.figure, m.bound);
        }
        within &= missed.is_empty();
        if arguments.tighten {
            let text = serde_json::to_string_pretty(&tightened(&figures, &bounds))
                .map_err(|e| e.to_string())?;
            write(path, &(text + "\n"))?;
        }
    }
    let median = |name: &str| {
        figures
            .get(name)
            .map_or("–".to_owned(), |v| format!("{v:.2}"))
    };
    println!(
        "truth: {} scenes, {} readings; the tool, own: skin median {} tuned, {} held out; {}",
        scenes.len(),
        rows.len(),
        median("the tool, own, tuned: median skin"),
        median("the tool, own, held out: median skin"),
        if within {
            "within bounds"
        } else {
            "BOUNDS MISSED"
        },
    );
    Ok(within)
}

/// The text of a document with what stands between its two marks replaced.
fn between_marks(path: &str, text: &str) -> Result<String, String> {
    const MARKS: [&str; 2] = ["<!-- table -->", "<!-- /table -->"];
    let old = std::fs::read_to_string(path).map_err(|e| format!("{path}: {e}"))?;
    let (Some((head, _)), Some((_, tail))) = (old.split_once(MARKS[0]), old.split_once(MARKS[1]))
    else {
        return Err(format!(
            "{path}: expected the marks {} and {}",
            MARKS[0], MARKS[1]
        ));
    };
    Ok(format!(
        "{head}{}\n{}\n{}{tail}",
        MARKS[0],
        text.trim_end(),
        MARKS[1]
    ))
}

/// Whole or not at all.
fn write(path: &str, text: &str) -> Result<(), String> {
    let part = format!("{path}.part");
    std::fs::write(&part, text)
        .and_then(|()| std::fs::rename(&part, path))
        .map_err(|e| format!("{path}: {e}"))
}

fn main() -> ExitCode {
    match run() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(2),
        Err(why) => {
            eprintln!("truth: {why}");
            ExitCode::FAILURE
        }
    }
}
