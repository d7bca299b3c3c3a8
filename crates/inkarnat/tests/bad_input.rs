//! Bad input: one clear line that names the file, what was found and what to do; the other clips go
//! on; nothing is lost.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

mod common;

use common::{Make, PATCH, clip, files, inkarnat, ran, shown, succeed};
use std::path::Path;
use std::process::Command;

fn ffmpeg(arguments: &[&str], output: &Path) {
    succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-y"])
            .args(arguments)
            .arg(output),
    );
}

/// Nothing half-made lies in an output directory, not even under a temporary name.
fn no_remains(directory: &Path) {
    for (path, _) in files(directory) {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        assert!(!name.starts_with('.'), "{} was left behind", path.display());
    }
}

#[test]
fn every_kind_of_bad_clip_beside_a_good_one() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("good.mp4"), &Make::default());
    std::fs::write(
        at.join("text.mov"),
        "This is a shopping list.\nMilk, bread.\n",
    )
    .unwrap();
    std::fs::write(at.join("empty.mov"), "").unwrap();
    ffmpeg(
        &["-f", "lavfi", "-i", "sine=440:d=1", "-c:a", "aac"],
        &at.join("sound.mov"),
    );
    let whole = std::fs::read(at.join("good.mp4")).unwrap();
    // Index at the front, so that the loss is in the pictures.
    ffmpeg(
        &[
            "-i",
            at.join("good.mp4").to_str().unwrap(),
            "-c",
            "copy",
            "-movflags",
            "+faststart",
        ],
        &at.join("front.mov"),
    );
    let front = std::fs::read(at.join("front.mov")).unwrap();
    std::fs::write(at.join("cut_front.mov"), &front[..front.len() * 6 / 10]).unwrap();
    std::fs::write(at.join("cut_back.mov"), &whole[..whole.len() / 2]).unwrap();
    // A header and no frame: a transport of zero frames, as a broken export leaves it.
    ffmpeg(
        &[
            "-f",
            "lavfi",
            "-i",
            "color=s=64x64:d=1",
            "-frames:v",
            "0",
            "-c:v",
            "libx264",
        ],
        &at.join("zero.mkv"),
    );
    std::fs::create_dir(at.join("folder.mov")).unwrap();
    let good = format!("good.mp4@0:{PATCH}:person=Ana");
    let ran = inkarnat(
        at,
        &[
            "run",
            "missing.mov",
            "text.mov",
            "empty.mov",
            "sound.mov",
            "cut_front.mov",
            "cut_back.mov",
            "zero.mkv",
            "folder.mov",
            "good.mp4",
            "--to",
            "out",
            "--patch",
            &good,
            "--person",
            "Ana=level:56-60",
        ],
    )
    .ends(2)
    .says(&["missing.mov", "no such file"])
    .says(&["text.mov", "text"])
    .says(&["empty.mov", "empty"])
    .says(&["sound.mov", "no video", "audio"])
    .says(&["cut_front.mov", "cut off"])
    .says(&["cut_back.mov", "cut off"])
    .says(&["zero.mkv"])
    .says(&["folder.mov", "a folder without numbered pictures"]);
    // Once where it happens and once in the list at the end.
    assert_eq!(ran.err.matches("no such file").count(), 2, "{}", ran.err);
    let film = shown(at, "out/out.inkarnat");
    let shots = film["shots"].as_array().unwrap();
    assert_eq!(shots.len(), 1);
    assert_eq!(shots[0]["state"], "proved");
    no_remains(&at.join("out"));
}

#[test]
fn bad_patches_and_aims_beside_a_good_clip() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("good.mp4"), &Make::default());
    clip(
        &at.join("other.mp4"),
        &Make {
            sound: false,
            ..Make::default()
        },
    );
    let good = format!("good.mp4@0:{PATCH}:person=Ana");
    let beyond = format!("other.mp4@99:{PATCH}:person=Ben");
    let nowhere = format!("third.mp4@0:{PATCH}");
    inkarnat(
        at,
        &[
            "run",
            "good.mp4",
            "other.mp4",
            "--to",
            "out",
            "--codec",
            "none",
            "--patch",
            &good,
            "--patch",
            &beyond,
            "--patch",
            &nowhere,
            "--patch",
            "other.mp4@0:ellipse=1.4,0.5,0.1,0.1",
            "--patch",
            "other.mp4@0:ellipse=80,60,20,20",
            "--patch",
            "other.mp4@0:ellipse=0.5,0.5,0.001,0.001",
            "--patch",
            "other.mp4@0:circle=0.5,0.5,0.1",
            "--person",
            "Ana=level:56-60",
            "--person",
            "Zoe=own",
            "--person",
            "Ana=levle:3",
            "--person",
            "Ana",
        ],
    )
    .ends(2)
    .says(&["other.mp4@99", "frame 99 does not exist", "frames 0 to 15"])
    .says(&["third.mp4", "not a clip of this film", "good.mp4"])
    .says(&["other.mp4@0:ellipse=1.4", "outside the picture"])
    .says(&["other.mp4@0:ellipse=80", "outside the picture", "divide"])
    .says(&["other.mp4@0:ellipse=0.5,0.5,0.001,0.001", "draw it larger"])
    .says(&["circle"])
    .says(&["Zoe", "named in no patch", "Ana"])
    .says(&["levle"])
    .says(&["expected NAME=AIM"])
    .says(&["other", "no patch"]);
    let film = shown(at, "out/out.inkarnat");
    assert_eq!(film["shots"][0]["state"], "on aim");
    assert_eq!(film["shots"][1]["state"], "unread");
}

#[test]
fn nothing_at_all_is_an_error() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    inkarnat(at, &["run", "missing.mov", "--to", "out"])
        .ends(1)
        .says(&["missing.mov", "no such file"]);
    inkarnat(at, &["show", "none.inkarnat"])
        .ends(1)
        .says(&["none.inkarnat", "inkarnat start"]);
    std::fs::write(at.join("text.inkarnat"), "not a database, and long enough to be sure of that: one hundred bytes and a few more than that").unwrap();
    inkarnat(at, &["read", "text.inkarnat"])
        .ends(1)
        .says(&["text.inkarnat", "not a film file"]);
    inkarnat(at, &["run", "a.mov"]).ends(1).says(&["--to"]);
    inkarnat(at, &["run", "a.mov", "--to", "out", "--codec", "vhs"])
        .ends(1)
        .says(&["vhs", "--codec"]);
}

#[test]
fn an_output_directory_that_cannot_be_written() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("good.mp4"), &Make::default());
    std::fs::write(at.join("file"), "in the way").unwrap();
    // Below a file nobody may write, whoever runs the test.
    inkarnat(at, &["run", "good.mp4", "--to", "file/out"])
        .ends(1)
        .says(&["file/out", "choose one that can be written"]);
    assert_eq!(std::fs::read(at.join("file")).unwrap(), b"in the way");
    let patch = format!("good.mp4@0:{PATCH}:person=Ana");
    inkarnat(
        at,
        &["start", "day.inkarnat", "good.mp4", "--patch", &patch],
    )
    .ends(0);
    inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    inkarnat(at, &["handover", "day.inkarnat", "--to", "file/out"])
        .ends(1)
        .says(&["file/out", "choose an output directory"]);
}

#[test]
fn sources_and_files_of_others_are_never_overwritten() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    std::fs::create_dir_all(at.join("out/clips")).unwrap();
    clip(&at.join("out/clips/a.mov"), &Make::default());
    clip(
        &at.join("b.mp4"),
        &Make {
            sound: false,
            ..Make::default()
        },
    );
    std::fs::write(at.join("out/clips/b.mov"), "somebody's work").unwrap();
    let original = std::fs::read(at.join("out/clips/a.mov")).unwrap();
    inkarnat(
        at,
        &[
            "run",
            "out/clips/a.mov",
            "b.mp4",
            "--to",
            "out",
            "--patch",
            &format!("a.mov@0:{PATCH}:person=Ana"),
            "--patch",
            &format!("b.mp4@0:{PATCH}:person=Ana"),
        ],
    )
    .ends(2)
    .says(&["out/clips/a.mov", "overwrite the source"])
    .says(&["out/clips/b.mov", "not written from this film"]);
    assert!(std::fs::read(at.join("out/clips/a.mov")).unwrap() == original);
    assert_eq!(
        std::fs::read(at.join("out/clips/b.mov")).unwrap(),
        b"somebody's work"
    );
    no_remains(&at.join("out"));
}

#[test]
fn a_full_disk_leaves_no_half_file() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(
        &at.join("good.mp4"),
        &Make {
            frames: 24,
            scale: 4,
            ..Make::default()
        },
    );
    let patch = format!("good.mp4@0:{PATCH}:person=Ana");
    inkarnat(
        at,
        &["start", "day.inkarnat", "good.mp4", "--patch", &patch],
    )
    .ends(0);
    inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    inkarnat(at, &["fix", "day.inkarnat"]);
    // No file may grow beyond 1.5 MB: room for the film and a table, not for the clip.
    let binary = env!("CARGO_BIN_EXE_inkarnat");
    let full = ran(Command::new("sh").current_dir(at).arg("-c").arg(format!(
        "ulimit -f 3000; exec '{binary}' handover day.inkarnat --to out"
    )))
    .ends(2)
    .says(&["good"]);
    assert!(
        full.err.contains("too large") || full.err.contains("full"),
        "{}",
        full.err
    );
    assert!(!at.join("out/clips/good.mov").exists());
    no_remains(&at.join("out"));
    // With room again the same command goes on.
    inkarnat(at, &["handover", "day.inkarnat", "--to", "out"]).ends(0);
    inkarnat(at, &["prove", "day.inkarnat"]).ends(0);
}

/// On a file system of two mebibytes, where the tests may make one.
#[test]
fn a_file_system_without_room() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    let small = at.join("small");
    std::fs::create_dir(&small).unwrap();
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=400k", "tmpfs"])
        .arg(&small)
        .output()
        .is_ok_and(|output| output.status.success());
    if !mounted {
        eprintln!("skipped: a small file system cannot be mounted here (needs root)");
        return;
    }
    clip(
        &at.join("good.mp4"),
        &Make {
            frames: 24,
            scale: 2,
            ..Make::default()
        },
    );
    let patch = format!("good.mp4@0:{PATCH}:person=Ana");
    inkarnat(
        at,
        &["start", "day.inkarnat", "good.mp4", "--patch", &patch],
    )
    .ends(0);
    inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    let full = inkarnat(at, &["handover", "day.inkarnat", "--to", "small/out"]);
    let remains: Vec<_> = files(&small).into_iter().map(|(path, _)| path).collect();
    let _ = Command::new("umount").arg(&small).output();
    let full = full.ends(2).says(&["good.mov", "full"]);
    assert!(
        !remains
            .iter()
            .any(|path| path.to_string_lossy().contains("good.mov")),
        "{remains:?}: {}",
        full.err
    );
}

#[test]
fn a_source_that_changed_or_went_is_noticed() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("a.mp4"), &Make::default());
    let patch = format!("a.mp4@0:{PATCH}:person=Ana");
    inkarnat(at, &["start", "day.inkarnat", "a.mp4", "--patch", &patch]).ends(0);
    std::fs::create_dir(at.join("elsewhere")).unwrap();
    std::fs::rename(at.join("a.mp4"), at.join("elsewhere/a.mp4")).unwrap();
    inkarnat(at, &["read", "day.inkarnat"])
        .ends(1)
        .says(&["a.mp4", "no longer there"]);
    // Beside the film file it is found, wherever the two are.
    std::fs::rename(at.join("day.inkarnat"), at.join("elsewhere/day.inkarnat")).unwrap();
    inkarnat(at, &["read", "elsewhere/day.inkarnat"]).ends(0);
    clip(
        &at.join("elsewhere/a.mp4"),
        &Make {
            frames: 9,
            ..Make::default()
        },
    );
    inkarnat(at, &["fix", "elsewhere/day.inkarnat"]);
    inkarnat(at, &["handover", "elsewhere/day.inkarnat", "--to", "out"])
        .ends(2)
        .says(&["a.mp4", "not the file that was taken in"]);
}
