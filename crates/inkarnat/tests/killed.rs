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
