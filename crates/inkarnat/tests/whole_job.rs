//! The whole job on small clips: read, fixed, rendered, proved; again; in steps.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

mod common;

use common::{Make, PATCH, clip, files, inkarnat, probed, shown};
use std::path::Path;

fn patch(clip: &str, person: &str) -> String {
    format!("{clip}@0:{PATCH}:person={person}")
}

/// Runs one clip to `out` and gives its shot as `show --json` has it.
fn run(directory: &Path, codec: &str, aim: &str) -> serde_json::Value {
    clip(&directory.join("a.mp4"), &Make::default());
    let original = std::fs::read(directory.join("a.mp4")).unwrap();
    inkarnat(
        directory,
        &[
            "run",
            "a.mp4",
            "--to",
            "out",
            "--codec",
            codec,
            "--patch",
            &patch("a.mp4", "Ana"),
            "--person",
            aim,
        ],
    )
    .ends(0);
    assert_eq!(
        std::fs::read(directory.join("a.mp4")).unwrap(),
        original,
        "sources are never written to"
    );
    shown(directory, "out/out.inkarnat")["shots"][0].clone()
}

fn number(value: &serde_json::Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

/// Bounds: CIEDE2000 0.3, 0.5 % and 0.5° for ProRes, 0.7, 1 % and 1° for H.264: what 10-bit coding at
/// these rates leaves in a mean over hundreds of pixels, with room for coarse chroma.
fn agrees(shot: &serde_json::Value, de00: f64, level: f64, hue: f64) {
    assert_eq!(shot["state"], "proved", "{shot:#}");
    assert_eq!(shot["proof"]["passed"], true);
    assert!(number(&shot["proof"]["de00"]) <= de00);
    let person = &shot["people"][0];
    let (after, proof) = (&person["after"], &person["proof"]);
    let off = |field: &str| (number(&after[field]) - number(&proof[field])).abs();
    assert!(
        off("level_pct") <= level && off("hue_deg") <= hue,
        "{person:#}"
    );
}

#[test]
fn prores_is_proved() {
    let directory = tempfile::tempdir().unwrap();
    let shot = run(directory.path(), "prores", "Ana=level:56-60,hue:118-124");
    agrees(&shot, 0.3, 0.5, 0.5);
    let person = &shot["people"][0];
    // The aim was reached: what was typed is typed in this test, not taken from the program.
    let after = &person["proof"];
    assert!(
        (56.0..=60.0).contains(&number(&after["level_pct"])),
        "{after}"
    );
    assert!(
        (118.0..=124.0).contains(&number(&after["hue_deg"])),
        "{after}"
    );
    for field in [
        "level_pct",
        "level_pct_u",
        "code10",
        "hue_deg",
        "hue_deg_u",
        "off_line_deg",
        "sat_ratio",
        "clipped_pct",
        "lab",
        "confidence",
    ] {
        for stage in ["before", "after", "proof"] {
            assert!(!person[stage][field].is_null(), "{stage} {field}");
        }
    }
    let fix = &shot["fix"];
    for field in ["reach", "ops", "cdl", "cdl_exact", "constant"] {
        assert!(!fix[field].is_null(), "{field}");
    }
    for reach in [fix, &fix["reaches"]["picture"], &fix["reaches"]["mids"]] {
        for field in [
            "clip_growth_pct",
            "contrast",
            "outside_de00_median",
            "outside_de00_p95",
        ] {
            assert!(reach["cost"][field].is_number(), "{field}");
        }
    }
    // A key is offered where it can tell skin from the rest; then it is a correction of its own.
    let skin = &fix["reaches"]["skin"];
    if !skin.is_null() {
        let ops = skin["ops"].as_array().expect("operations");
        assert!(ops.iter().any(|op| op["op"] == "keyed_cdl"), "{skin}");
    }
    assert_eq!(shot["timecode_in"], "10:00:00:00");
    assert_eq!(
        (&shot["in_frame"], &shot["out_frame"]),
        (&0.into(), &16.into())
    );
    let delivered = directory.path().join("out/clips/a.mov");
    assert_eq!(
        probed(
            &delivered,
            "codec_name,codec_tag_string,width,height,pix_fmt,color_space,nb_read_packets"
        ),
        "prores,apch,192,108,yuv422p10le,bt709,16"
    );
}

#[test]
fn h264_is_proved() {
    let directory = tempfile::tempdir().unwrap();
    let shot = run(directory.path(), "h264", "Ana=level:56-60");
    agrees(&shot, 0.7, 1.0, 1.0);
    assert_eq!(
        probed(
            &directory.path().join("out/clips/a.mov"),
            "codec_name,codec_tag_string,pix_fmt,nb_read_packets"
        ),
        "h264,avc1,yuv422p10le,16"
    );
}

#[test]
fn the_same_run_gives_the_same_bytes() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    run(one.path(), "prores", "Ana=level:56-60,hue:118-124");
    run(two.path(), "prores", "Ana=level:56-60,hue:118-124");
    let small = |directory: &Path| {
        let mut all = files(&directory.join("out"));
        all.retain(|(path, _)| !path.to_string_lossy().ends_with(".inkarnat"));
        all
    };
    let (one, two) = (small(one.path()), small(two.path()));
    let names: Vec<_> = one
        .iter()
        .map(|(path, _)| path.to_string_lossy().into_owned())
        // Written where the page was built before the program.
        .filter(|name| name != "report.html")
        .collect();
    assert_eq!(
        names,
        [
            "cdl/a.cc",
            "cdl/out.ccc",
            "cdl/out.cdl",
            "clf/a.clf",
            "clips/a.mov",
            "frames.csv",
            "lists/out.edl",
            "lists/out.otio",
            "lists/out_delivered.edl",
            "lists/out_delivered.otio",
            "luts/a.cube",
            "luts/a_wide.cube",
            "readings.csv",
            "readings.json"
        ]
    );
    for ((path, one), (_, two)) in one.iter().zip(&two) {
        assert!(one == two, "{} differs", path.display());
    }
    for (path, bytes) in one.iter().filter(|(path, _)| !path.starts_with("clips")) {
        let text = String::from_utf8(bytes.clone()).unwrap();
        assert!(
            !text.contains("/tmp"),
            "{}: a path of the machine",
            path.display()
        );
    }
}

#[test]
fn a_second_run_has_nothing_to_do() {
    let directory = tempfile::tempdir().unwrap();
    run(directory.path(), "prores", "Ana=level:56-60");
    let before = files(&directory.path().join("out"));
    let again = inkarnat(
        directory.path(),
        &[
            "run",
            "a.mp4",
            "--to",
            "out",
            "--patch",
            &patch("a.mp4", "Ana"),
            "--person",
            "Ana=level:56-60",
        ],
    )
    .ends(0);
    assert_eq!(
        again.err.matches("(nothing to do)").count(),
        4,
        "{}",
        again.err
    );
    for ((path, before), (_, after)) in before.iter().zip(&files(&directory.path().join("out"))) {
        assert!(
            path.to_string_lossy().ends_with(".inkarnat") || before == after,
            "{} changed",
            path.display()
        );
    }
}

#[test]
fn in_steps_and_with_two_people_in_two_clips() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("a.mp4"), &Make::default());
    clip(
        &at.join("b.mp4"),
        &Make {
            gains: [0.8, 0.78, 0.76],
            sound: false,
            ..Make::default()
        },
    );
    inkarnat(
        at,
        &[
            "start",
            "day.inkarnat",
            "a.mp4",
            "b.mp4",
            "--patch",
            &patch("a.mp4", "Ana"),
        ],
    )
    .ends(0);
    // A shot without a patch is named, and the other one is read.
    inkarnat(at, &["read", "day.inkarnat"])
        .ends(2)
        .says(&["b", "no patch"]);
    inkarnat(
        at,
        &[
            "read",
            "day.inkarnat",
            "--patch",
            &format!("b@3:{PATCH}:person=Ben"),
        ],
    )
    .ends(0);
    let film = shown(at, "day.inkarnat");
    assert_eq!(
        film["shots"][1]["state"], "off aim",
        "read, and nothing solved yet"
    );
    inkarnat(
        at,
        &[
            "aim",
            "day.inkarnat",
            "--person",
            "Ana=level:56-60",
            "--person",
            "Ben=own",
        ],
    )
    .ends(0);
    let aims = inkarnat(at, &["aim", "day.inkarnat"]).ends(0);
    assert!(
        aims.out.contains("level:56-60") && aims.out.contains("complexion"),
        "{}",
        aims.out
    );
    inkarnat(at, &["prove", "day.inkarnat"])
        .ends(1)
        .says(&["handover"]);
    inkarnat(at, &["fix", "day.inkarnat"]).ends(0);
    inkarnat(
        at,
        &[
            "handover",
            "day.inkarnat",
            "--to",
            "out",
            "--codec",
            "prores",
        ],
    )
    .ends(0);
    inkarnat(at, &["prove", "day.inkarnat"]).ends(0);
    let film = shown(at, "day.inkarnat");
    assert_eq!(film["schema"], 1);
    for shot in film["shots"].as_array().unwrap() {
        assert_eq!(shot["state"], "proved", "{shot:#}");
    }
    // Drawn on frame 3 and followed both ways.
    assert_eq!(film["shots"][1]["people"][0]["before"]["frames_read"], 16);
    // What `own` rests on is said.
    let notes = film["shots"][1]["notes"].to_string();
    assert!(
        notes.contains("Ben: the level stays") && notes.contains("neutral"),
        "{notes}"
    );
    // The picture's words, for people.
    let shown = inkarnat(at, &["show", "day.inkarnat", "a"]).ends(0);
    for word in ["proved", "toward", "reaches", "CDL", "±", "%", "°"] {
        assert!(shown.out.contains(word), "{word}: {}", shown.out);
    }
    // A new aim makes the old proof void.
    inkarnat(at, &["aim", "day.inkarnat", "--person", "Ana=level:62-66"]).ends(0);
    inkarnat(at, &["fix", "day.inkarnat"]);
    assert!(self::common::shown(at, "day.inkarnat")["shots"][0]["proof"].is_null());
    inkarnat(at, &["prove", "day.inkarnat"])
        .ends(2)
        .says(&["a", "proof failed"]);
}

#[test]
fn no_clips_when_none_are_wanted() {
    let directory = tempfile::tempdir().unwrap();
    clip(&directory.path().join("a.mp4"), &Make::default());
    inkarnat(
        directory.path(),
        &[
            "run",
            "a.mp4",
            "--to",
            "out",
            "--codec",
            "none",
            "--film",
            "else.inkarnat",
            "--patch",
            &patch("a.mp4", "Ana"),
        ],
    )
    .ends(0);
    assert!(!directory.path().join("out/clips").exists());
    assert!(directory.path().join("out/luts/a.cube").exists());
    assert!(directory.path().join("else.inkarnat").exists());
}

#[test]
fn a_file_that_was_swapped_fails_its_proof() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    run(at, "prores", "Ana=level:56-60,hue:118-124");
    // Another ProRes file of the same size, length and name: the source itself, not corrected.
    common::succeed(
        std::process::Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-y", "-i"])
            .arg(at.join("a.mp4"))
            .args([
                "-c:v",
                "prores_ks",
                "-profile:v",
                "3",
                "-pix_fmt",
                "yuv422p10le",
            ])
            .arg(at.join("out/clips/a.mov")),
    );
    inkarnat(at, &["prove", "out/out.inkarnat"]).ends(2).says(&[
        "a",
        "proof failed",
        "not the file that was handed over",
        "level",
    ]);
    let shot = &shown(at, "out/out.inkarnat")["shots"][0];
    assert_eq!(shot["state"], "on aim", "the proof does not hold");
    assert_eq!(shot["proof"]["passed"], false);
    inkarnat(at, &["show", "out/out.inkarnat"]).ends(2);
}
