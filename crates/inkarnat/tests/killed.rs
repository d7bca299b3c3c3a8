//! Killed at any moment, nothing is lost and the work goes on.
#![cfg(target_os = "linux")]
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

mod common;

use common::{Make, PATCH, clip, command, files, inkarnat, shown};
use std::path::Path;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

/// A clip long enough to be met at work.
fn long_clip(path: &Path) {
    clip(
        path,
        &Make {
            frames: 160,
            scale: 2,
            sound: false,
            ..Make::default()
        },
    );
}

fn start(directory: &Path, arguments: &[&str]) -> Child {
    command(directory)
        .args(arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Waits until something holds, at most a minute.
fn until<T>(mut found: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(found) = found() {
            return found;
        }
        assert!(
            begun.elapsed() < Duration::from_secs(60),
            "it never came to that"
        );
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// The process that a process has started.
fn child_of(parent: u32) -> Option<u32> {
    std::fs::read_dir(format!("/proc/{parent}/task"))
        .ok()?
        .flatten()
        .find_map(|task| {
            let children = std::fs::read_to_string(task.path().join("children")).ok()?;
            children.split_whitespace().next()?.parse().ok()
        })
}

fn kill(process: u32) {
    common::succeed(std::process::Command::new("kill").args(["-9", &process.to_string()]));
}

#[test]
fn a_killed_child_costs_one_clip() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    long_clip(&at.join("a.mp4"));
    clip(&at.join("b.mp4"), &Make::default());
    let patches = ["a.mp4", "b.mp4"].map(|clip| format!("{clip}@0:{PATCH}:person=Ana"));
    inkarnat(
        at,
        &[
            "start",
            "day.inkarnat",
            "a.mp4",
            "b.mp4",
            "--patch",
            &patches[0],
            "--patch",
            &patches[1],
        ],
    )
    .ends(0);
    let parent = start(at, &["read", "day.inkarnat"]);
    let worker = until(|| child_of(parent.id()));
    kill(worker);
    let output = parent.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("a.mp4") && err.contains("was killed"), "{err}");
    let film = shown(at, "day.inkarnat");
    assert_eq!(film["shots"][0]["state"], "unread");
    assert!(
        film["shots"][0]["failure"]
            .as_str()
            .unwrap()
            .contains("killed")
    );
    assert_eq!(film["shots"][1]["state"], "off aim", "read");
    // Again, and only what is missing is done.
    let again = inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    assert_eq!(
        again.err.matches("(nothing to do)").count(),
        1,
        "{}",
        again.err
    );
}

#[test]
fn a_killed_run_goes_on_where_it_was() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    long_clip(&at.join("a.mp4"));
    let patch = format!("a.mp4@0:{PATCH}:person=Ana");
    let order = [
        "run",
        "a.mp4",
        "--to",
        "out",
        "--patch",
        &patch,
        "--person",
        "Ana=level:56-60",
    ];
    let part = at.join("out/clips/.inkarnat-part-a.mov");
    let mut parent = start(at, &order);
    until(|| part.exists().then_some(()));
    let worker = child_of(parent.id());
    parent.kill().unwrap();
    parent.wait().unwrap();
    assert!(
        !at.join("out/clips/a.mov").exists(),
        "no half file under a final name"
    );
    // The child sees that nobody listens, and ends.
    if let Some(worker) = worker {
        until(|| {
            (!Path::new(&format!("/proc/{worker}/stat")).exists() || is_gone(worker)).then_some(())
        });
    }
    let film = shown(at, "out/out.inkarnat");
    assert!(
        film["shots"][0]["people"][0]["before"]["level_pct"].is_number(),
        "the reading was kept"
    );
    let again = inkarnat(at, &order).ends(0);
    // Taken in, read and solved before; rendered and proved now.
    assert_eq!(
        again.err.matches("(nothing to do)").count(),
        3,
        "{}",
        again.err
    );
    assert_eq!(shown(at, "out/out.inkarnat")["shots"][0]["state"], "proved");
    assert!(!part.exists());
    for (path, _) in files(&at.join("out")) {
        assert!(
            !path.file_name().unwrap().to_string_lossy().starts_with('.'),
            "{}",
            path.display()
        );
    }
}

/// Ended, though nobody has asked for its exit code yet.
fn is_gone(process: u32) -> bool {
    std::fs::read_to_string(format!("/proc/{process}/stat")).is_ok_and(|stat| {
        stat.rsplit(')')
            .next()
            .is_some_and(|rest| rest.trim().starts_with('Z'))
    })
}

#[test]
fn stopped_on_request_it_says_so_and_cleans_up() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    long_clip(&at.join("a.mp4"));
    let patch = format!("a.mp4@0:{PATCH}:person=Ana");
    let parent = start(at, &["run", "a.mp4", "--to", "out", "--patch", &patch]);
    let part = at.join("out/clips/.inkarnat-part-a.mov");
    until(|| part.exists().then_some(()));
    common::succeed(std::process::Command::new("kill").args(["-TERM", &parent.id().to_string()]));
    let output = parent.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{err}");
    assert!(err.contains("stopped on request"), "{err}");
    assert!(!part.exists() && !at.join("out/clips/a.mov").exists());
}

#[test]
fn a_second_writer_is_told_and_a_reader_is_served() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    long_clip(&at.join("a.mp4"));
    let patch = format!("a.mp4@0:{PATCH}:person=Ana");
    inkarnat(at, &["start", "day.inkarnat", "a.mp4", "--patch", &patch]).ends(0);
    let mut first = start(at, &["read", "day.inkarnat"]);
    until(|| child_of(first.id()));
    inkarnat(at, &["fix", "day.inkarnat"])
        .ends(1)
        .says(&["day.inkarnat", "another process is writing"]);
    assert_eq!(shown(at, "day.inkarnat")["shots"][0]["shot"], "a");
    first.kill().unwrap();
    first.wait().unwrap();
    inkarnat(at, &["fix", "day.inkarnat"]);
}

/// Number of the file on its disk and time of its last change, of every clip under its final name.
fn finished(at: &Path) -> Vec<(std::ffi::OsString, u64, std::time::SystemTime)> {
    use std::os::unix::fs::MetadataExt;
    let Ok(entries) = std::fs::read_dir(at.join("out/clips")) else {
        return Vec::new();
    };
    let mut found: Vec<_> = entries
        .flatten()
        .filter(|entry| !entry.file_name().to_string_lossy().starts_with('.'))
        .map(|entry| {
            let facts = entry.metadata().unwrap();
            (entry.file_name(), facts.ino(), facts.modified().unwrap())
        })
        .collect();
    found.sort();
    found
}

/// A hand-over of several shots is killed again and again, at every stage of it: nothing half is ever under a final name,
/// and the next one goes on shot by shot without rendering what is finished.
#[test]
fn a_killed_hand_over_goes_on_shot_by_shot() {
    killed_again_and_again(&[], ".mov");
}

/// The same where a clip is a folder of pictures.
#[test]
fn a_killed_hand_over_of_pictures_goes_on_shot_by_shot() {
    killed_again_and_again(&["--codec", "dpx"], "");
}

fn killed_again_and_again(codec: &[&str], ending: &str) {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    let names = ["a", "b", "c", "d"];
    let mut start_words = vec!["start".to_owned(), "day.inkarnat".to_owned()];
    let make = Make {
        frames: 60,
        scale: 2,
        sound: false,
        ..Make::default()
    };
    clip(&at.join("a.mp4"), &make);
    // The others from it, each in another light: drawing is slow.
    for (index, name) in names.iter().enumerate() {
        if index > 0 {
            let gain = format!("colorchannelmixer=rr={}", 1.0 - 0.04 * index as f64);
            common::succeed(
                std::process::Command::new("ffmpeg")
                    .args(["-v", "error", "-nostdin", "-y", "-i"])
                    .arg(at.join("a.mp4"))
                    .args([
                        "-vf", &gain, "-c:v", "libx264", "-crf", "10", "-preset", "veryfast",
                    ])
                    .arg(at.join(format!("{name}.mp4"))),
            );
        }
        start_words.push(format!("{name}.mp4"));
    }
    for name in names {
        start_words.extend([
            "--patch".to_owned(),
            format!("{name}.mp4@0:{PATCH}:person=Ana"),
        ]);
    }
    let words: Vec<&str> = start_words.iter().map(String::as_str).collect();
    inkarnat(at, &words).ends(0);
    inkarnat(at, &["aim", "day.inkarnat", "--person", "Ana=level:56-60"]).ends(0);
    inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    inkarnat(at, &["fix", "day.inkarnat"]);
    // What it gives where nobody kills it.
    std::fs::copy(at.join("day.inkarnat"), at.join("other.inkarnat")).unwrap();
    let order = |film, to| [&["handover", film, "--to", to], codec].concat();
    let code = inkarnat(at, &order("other.inkarnat", "whole")).code;
    let named_alike = |path: &Path| {
        let text = path.to_string_lossy().replace("other", "day");
        std::path::PathBuf::from(text)
    };
    let whole: std::collections::BTreeMap<_, _> = files(&at.join("whole"))
        .into_iter()
        .map(|(path, bytes)| (named_alike(&path), bytes))
        .collect();
    // A film's own name is in its title and in its readings.
    let told = |bytes: &[u8]| String::from_utf8_lossy(bytes).replace("other", "day");
    let same = |path: &Path, bytes: &[u8]| {
        let expected = &whole[path];
        bytes == expected.as_slice() || told(bytes) == told(expected)
    };

    let order = order("day.inkarnat", "out");
    let clip_of = |name: &str| at.join(format!("out/clips/{name}{ending}"));
    let part_of = |name: &str| at.join(format!("out/clips/.inkarnat-part-{name}{ending}"));
    let half_done = |part: &Path| match std::fs::read_dir(part) {
        Ok(pictures) => pictures.count() > 20,
        Err(_) => std::fs::metadata(part).is_ok_and(|facts| facts.len() > 100_000),
    };
    type Moment<'a> = (&'a str, Box<dyn Fn() -> bool + 'a>);
    let moments: Vec<Moment<'_>> = vec![
        ("the first is begun", Box::new(|| part_of("a").exists())),
        (
            "the first is half done",
            Box::new(|| half_done(&part_of("a"))),
        ),
        ("the first is there", Box::new(|| clip_of("a").exists())),
        ("the second is begun", Box::new(|| part_of("b").exists())),
        ("the third is begun", Box::new(|| part_of("c").exists())),
        ("the third is there", Box::new(|| clip_of("c").exists())),
        (
            "tables are written",
            Box::new(|| at.join("out/luts").exists()),
        ),
        (
            "lists are written",
            Box::new(|| at.join("out/lists").exists()),
        ),
    ];
    for (moment, reached) in moments {
        let before = finished(at);
        let mut parent = start(at, &order);
        until(|| reached().then_some(()));
        let worker = child_of(parent.id());
        parent.kill().unwrap();
        parent.wait().unwrap();
        if let Some(worker) = worker {
            until(|| {
                (!Path::new(&format!("/proc/{worker}/stat")).exists() || is_gone(worker))
                    .then_some(())
            });
        }
        let after = finished(at);
        for clip in &before {
            assert!(after.contains(clip), "{moment}: {clip:?} was made again");
        }
        for (path, bytes) in files(&at.join("out")) {
            let hidden = path
                .components()
                .any(|part| part.as_os_str().to_string_lossy().starts_with(".inkarnat"));
            let ours = path.to_string_lossy().contains(".inkarnat-part-");
            assert_eq!(hidden, ours, "{moment}: {}", path.display());
            if !hidden && path.extension().is_none_or(|ending| ending != "html") {
                assert!(same(&path, &bytes), "{moment}: {} is half", path.display());
            }
        }
        assert_eq!(
            shown(at, "day.inkarnat")["shots"].as_array().unwrap().len(),
            4
        );
    }
    let before = finished(at);
    assert_eq!(before.len(), 4);
    let again = inkarnat(at, &order).ends(code);
    assert_eq!(
        again.err.matches("(nothing to do)").count(),
        4,
        "{}",
        again.err
    );
    assert_eq!(finished(at), before);
    let all = files(&at.join("out"));
    assert_eq!(all.len(), whole.len());
    for (path, bytes) in all {
        if path.extension().is_none_or(|ending| ending != "html") {
            assert!(same(&path, &bytes), "{}", path.display());
        }
    }
}

/// The program is killed at many moments of taking a decision: it is there as a whole or not at all, and none before it is lost.
#[test]
fn a_decision_is_there_or_not_and_none_is_lost() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("a.mp4"), &Make::default());
    clip(&at.join("b.mp4"), &Make::default());
    inkarnat(at, &["start", "day.inkarnat", "a.mp4", "b.mp4"]).ends(0);
    let list = |name: &str, first: &str, second: &str| {
        let text = format!(
            "TITLE: {name}\nFCM: NON-DROP FRAME\n\n\
             001  AX  V  C  10:00:00:00 10:00:00:10 01:00:00:00 01:00:00:10\n* FROM CLIP NAME: {first}\n\
             002  AX  V  C  10:00:00:02 10:00:00:12 01:00:00:10 01:00:00:20\n* FROM CLIP NAME: {second}\n"
        );
        std::fs::write(at.join(name), text).unwrap();
    };
    list("ab.edl", "a.mp4", "b.mp4");
    list("ba.edl", "b.mp4", "a.mp4");
    inkarnat(at, &["keep", "day.inkarnat", "b"]).ends(0);
    // On a busy machine every decision may be killed before it is written: what is taken back then is one of these, not that b
    // is kept.
    for number in 0..6 {
        let note = format!("before {number}");
        inkarnat(at, &["note", "day.inkarnat", "a", &note]).ends(0);
    }
    // Order of the shots, notes, what is kept: as text, of both cuts.
    let stands = || {
        let film = shown(at, "day.inkarnat");
        let mut shots: Vec<String> = Vec::new();
        for shot in film["shots"].as_array().unwrap() {
            shots.push(format!(
                "{} {}-{} {} {}",
                shot["shot"], shot["in_frame"], shot["out_frame"], shot["note"], shot["state"]
            ));
        }
        shots
    };
    let mut killed = 0;
    for round in 0..24_u64 {
        let before = stands();
        let note = format!("round {round}");
        let words: Vec<&str> = match round % 4 {
            0 => vec!["note", "day.inkarnat", "a", &note],
            1 => vec!["cut", "day.inkarnat", "ba.edl"],
            2 => vec!["undo", "day.inkarnat"],
            _ => vec!["cut", "day.inkarnat", "ab.edl"],
        };
        // The same decision without a kill, on a copy: what stands after it.
        for file in ["day.inkarnat", "day.inkarnat-wal"] {
            let to = at.join(file.replace("day", "copy"));
            let _ = std::fs::remove_file(&to);
            if at.join(file).exists() {
                std::fs::copy(at.join(file), to).unwrap();
            }
        }
        let mut process = start(at, &words);
        std::thread::sleep(Duration::from_millis(3 + 7 * round));
        killed += u64::from(process.try_wait().unwrap().is_none());
        process.kill().unwrap();
        process.wait().unwrap();
        let copied: Vec<&str> = words
            .iter()
            .map(|w| {
                if *w == "day.inkarnat" {
                    "copy.inkarnat"
                } else {
                    w
                }
            })
            .collect();
        inkarnat(at, &copied).ends(0);
        let whole: Vec<String> = {
            let film = shown(at, "copy.inkarnat");
            film["shots"]
                .as_array()
                .unwrap()
                .iter()
                .map(|shot| {
                    format!(
                        "{} {}-{} {} {}",
                        shot["shot"],
                        shot["in_frame"],
                        shot["out_frame"],
                        shot["note"],
                        shot["state"]
                    )
                })
                .collect()
        };
        let after = stands();
        assert!(
            after == before || after == whole,
            "round {round}: {before:?} -> {after:?}, expected that or {whole:?}"
        );
        assert!(
            after.iter().any(|shot| shot.contains("\"kept\"")),
            "{after:?}"
        );
    }
    assert!(killed > 3, "hardly anything was killed at work: {killed}");
}
