//! Input transforms and looks: the chain input → fix → look, from the command line to the delivered files.
//!
//! The log curve is made up for this test: no camera's. That numbers agree is checked against the same scene recorded
//! without it, and by FFmpeg's own reading of what was delivered.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{PATCH, inkarnat, shown, succeed};
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

const FRAMES: usize = 8;

/// Signal to log: 0.1 to 0.8.
fn log(signal: f64) -> f64 {
    0.1 + 0.7 * (1.0 + 20.0 * signal).ln() / 21f64.ln()
}

/// What undoes it.
fn unlog(coded: f64) -> f64 {
    (21f64.powf((coded - 0.1) / 0.7) - 1.0) / 20.0
}

/// A skin-coloured ellipse on a grey wall, R'G'B' in 16 bits; with `logged`, recorded through [`log`].
fn scene(path: &Path, logged: bool) {
    let face = "lt(hypot((X/W-0.40)/0.12,(Y/H-0.5)/0.3),1)";
    // Of no mean over any 16 pixels.
    let texture = "(1+0.03*sin(PI*X/4)*sin(PI*Y/2))";
    let channel = |skin: f64| {
        let signal = format!("if({face},{skin}*{texture},0.15+0.6*Y/H)");
        if logged {
            format!("65535*(0.1+0.7*log(1+20*{signal})/log(21))")
        } else {
            format!("65535*{signal}")
        }
    };
    let [r, g, b] = [0.62, 0.47, 0.37].map(channel);
    let picture = format!("color=black:s=192x108:r=24,format=gbrp16le,geq=r='{r}':g='{g}':b='{b}'");
    succeed(
        Command::new("ffmpeg")
            .args([
                "-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i", &picture,
            ])
            .args(["-frames:v", &FRAMES.to_string(), "-c:v", "ffv1"])
            .arg(path),
    );
}

/// A table of one curve for all channels.
fn curve(path: &Path, of: impl Fn(f64) -> f64) {
    let mut text = "LUT_1D_SIZE 4096\n".to_owned();
    for step in 0..4096 {
        let out = of(f64::from(step) / 4095.0);
        writeln!(text, "{out} {out} {out}").unwrap();
    }
    std::fs::write(path, text).unwrap();
}

/// A table of colours.
fn table(path: &Path, of: impl Fn([f64; 3]) -> [f64; 3]) {
    const SIZE: u32 = 17;
    let mut text = format!("LUT_3D_SIZE {SIZE}\n");
    let at = |step: u32| f64::from(step) / f64::from(SIZE - 1);
    for b in 0..SIZE {
        for g in 0..SIZE {
            for r in 0..SIZE {
                let [r, g, b] = of([at(r), at(g), at(b)]);
                writeln!(text, "{r} {g} {b}").unwrap();
            }
        }
    }
    std::fs::write(path, text).unwrap();
}

/// Warm, and with more contrast: a look.
fn look(rgb: [f64; 3]) -> [f64; 3] {
    let steeper = rgb.map(|v| v * v * (3.0 - 2.0 * v) * 0.6 + 0.4 * v);
    [1.03 * steeper[0], steeper[1], 0.93 * steeper[2]]
}

fn number(of: &Value, path: &str) -> f64 {
    of.pointer(path)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("{path} in {of}"))
}

fn ana(film: &Value) -> Value {
    film["shots"][0]["people"][0].clone()
}

/// The film taken in, read and fixed.
fn made(at: &Path, film: &str, clip: &str, aim: &str, between: &[&[&str]]) {
    let patch = format!("{clip}@0:{PATCH}:person=Ana");
    inkarnat(at, &["start", film, clip, "--patch", &patch]).ends(0);
    for order in between {
        inkarnat(at, order).ends(0);
    }
    inkarnat(at, &["read", film]).ends(0);
    inkarnat(at, &["aim", film, "--person", aim]).ends(0);
    inkarnat(at, &["fix", film]).ends(0);
}

/// Mean R'G'B' (as signal) over the middle of the ellipse of a delivered clip, by FFmpeg alone.
fn measured(clip: &Path) -> [f64; 3] {
    let output = succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-i"])
            .arg(clip)
            .args(["-vf", "crop=16:16:69:46,scale=out_range=pc,format=gbrp16le"])
            .args(["-f", "rawvideo", "-"]),
    );
    let codes: Vec<f64> = output
        .stdout
        .chunks_exact(2)
        .map(|pair| f64::from(u16::from_le_bytes([pair[0], pair[1]])) / 65535.0)
        .collect();
    let mut sums = [0.0; 3];
    for frame in codes.chunks_exact(3 * 256) {
        for (channel, plane) in frame.chunks_exact(256).enumerate() {
            // Planes come as G, B, R.
            sums[[1, 2, 0][channel]] += plane.iter().sum::<f64>();
        }
    }
    sums.map(|sum| sum / (256 * FRAMES) as f64)
}

#[test]
fn a_log_clip_behind_its_transform_is_the_same_film() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    scene(&at.join("plain.mkv"), false);
    scene(&at.join("log.mkv"), true);
    curve(&at.join("unlog.cube"), unlog);
    let aim = "Ana=level:58-62";
    made(at, "plain.inkarnat", "plain.mkv", aim, &[]);
    made(
        at,
        "log.inkarnat",
        "log.mkv",
        aim,
        &[&["input", "log.inkarnat", "unlog.cube", "log.mkv"]],
    );
    let (plain, logged) = (shown(at, "plain.inkarnat"), shown(at, "log.inkarnat"));
    assert_eq!(logged["shots"][0]["input"], "unlog.cube");
    assert!(plain["shots"][0]["input"].is_null());
    for place in ["/before", "/after"] {
        for (what, bound) in [("level_pct", 0.2), ("hue_deg", 0.5)] {
            let path = format!("{place}/{what}");
            let (a, b) = (number(&ana(&plain), &path), number(&ana(&logged), &path));
            assert!(
                (a - b).abs() < bound,
                "{path}: {a} without, {b} behind the transform"
            );
        }
    }
    for film in ["plain", "log"] {
        let (name, to) = (format!("{film}.inkarnat"), format!("out-{film}"));
        inkarnat(at, &["handover", &name, "--to", &to, "--with-input"]).ends(0);
        inkarnat(at, &["prove", &name]).ends(0);
    }
    // The delivered clips are the same picture, and say what it is.
    let [a, b] =
        ["plain", "log"].map(|name| measured(&at.join(format!("out-{name}/clips/{name}.mov"))));
    for c in 0..3 {
        assert!((a[c] - b[c]).abs() < 0.004, "{a:?} {b:?}");
    }
    let tags = succeed(
        Command::new("ffprobe")
            .args([
                "-v",
                "error",
                "-show_entries",
                "stream=color_space,color_transfer,color_primaries",
                "-of",
                "csv=p=0",
            ])
            .arg(at.join("out-log/clips/log.mov")),
    );
    assert_eq!(
        String::from_utf8_lossy(&tags.stdout).trim(),
        "bt709,bt709,bt709"
    );
    // The whole of it as a table, applied to the recorded clip by FFmpeg, is the delivered clip.
    succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-y", "-i"])
            .arg(at.join("log.mkv"))
            .arg("-vf")
            .arg(format!(
                "lut3d=file={}:interp=tetrahedral",
                at.join("out-log/luts/log_input.cube").display()
            ))
            .args(["-c:v", "ffv1"])
            .arg(at.join("through.mkv")),
    );
    let through = measured(&at.join("through.mkv"));
    for c in 0..3 {
        assert!((through[c] - b[c]).abs() < 0.004, "{through:?} {b:?}");
    }
    assert!(!at.join("out-plain/luts/plain_input.cube").exists());
    // Taken back, the clip is what it was recorded as.
    inkarnat(at, &["undo", "log.inkarnat"]).ends(0);
    inkarnat(at, &["input", "log.inkarnat", "--none"]).ends(0);
    inkarnat(at, &["read", "log.inkarnat"]).ends(0);
    let level = number(&ana(&shown(at, "log.inkarnat")), "/before/level_pct");
    let expected = 100.0 * log(0.01 * number(&ana(&plain), "/before/level_pct"));
    assert!(
        (level - expected).abs() < 1.5,
        "{level}, {expected} expected"
    );
}

#[test]
fn aims_are_for_what_is_seen_through_the_look() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    scene(&at.join("a.mkv"), false);
    table(&at.join("warm.cube"), look);
    let film = "day.inkarnat";
    made(at, film, "a.mkv", "Ana=level:58-62", &[]);
    let bare = shown(at, film);
    // Nothing is read again: the look is laid over what was read.
    inkarnat(at, &["look", film, "warm.cube"]).ends(0);
    let seen = shown(at, film);
    assert_eq!(seen["shots"][0]["look"], "warm.cube");
    let skin = [0.62, 0.47, 0.37];
    let luma = |[r, g, b]: [f64; 3]| 100.0 * (0.2126 * r + 0.7152 * g + 0.0722 * b);
    let before = number(&ana(&seen), "/before/level_pct");
    assert!(
        (before - luma(look(skin))).abs() < 0.4,
        "{before}, {} expected",
        luma(look(skin))
    );
    assert!((number(&ana(&bare), "/before/level_pct") - luma(skin)).abs() < 0.4);
    inkarnat(at, &["fix", film]).ends(0);
    let fixed = shown(at, film);
    let after = number(&ana(&fixed), "/after/level_pct");
    assert!((58.0..=62.0).contains(&after), "{after}");
    assert_eq!(fixed["shots"][0]["state"], "on aim");

    // Handed over without it: the file is before the look, the proof is judged through it.
    inkarnat(at, &["handover", film, "--to", "out"]).ends(0);
    inkarnat(at, &["prove", film]).ends(0);
    let proved = shown(at, film);
    assert_eq!(proved["shots"][0]["state"], "proved");
    let plain = measured(&at.join("out/clips/a.mov"));
    let promised = number(&ana(&proved), "/proof/level_pct");
    assert!(
        (luma(look(plain)) - promised).abs() < 0.6,
        "{plain:?} through the look is {}, proof says {promised}",
        luma(look(plain))
    );
    // Asked for, it is in the clip, and in tables beside those of the fix alone.
    inkarnat(at, &["handover", film, "--to", "finished", "--with-look"]).ends(0);
    inkarnat(at, &["prove", film]).ends(0);
    let finished = shown(at, film);
    assert_eq!(finished["shots"][0]["state"], "proved");
    let whole = measured(&at.join("finished/clips/a.mov"));
    for c in 0..3 {
        assert!(
            (whole[c] - look(plain)[c]).abs() < 0.006,
            "{whole:?} {:?}",
            look(plain)
        );
    }
    assert!((number(&ana(&finished), "/proof/level_pct") - luma(whole)).abs() < 0.4);
    let text = std::fs::read_to_string(at.join("finished/luts/a_look.cube")).unwrap();
    assert!(text.contains("Place: fix and look"), "{text:.400}");
    assert!(
        at.join("finished/luts/a.cube").exists() && at.join("finished/clf/a_look.clf").exists()
    );

    // A scene may have another one, or none; each step can be taken back.
    inkarnat(at, &["group", film, "a", "--scene", "night"]).ends(0);
    inkarnat(at, &["look", film, "--scene", "night", "--none"]).ends(0);
    assert!(shown(at, film)["shots"][0]["look"].is_null());
    inkarnat(at, &["look", film, "--scene", "night", "--of-film"]).ends(0);
    assert_eq!(shown(at, film)["shots"][0]["look"], "warm.cube");
    inkarnat(at, &["undo", film]).ends(0);
    assert!(shown(at, film)["shots"][0]["look"].is_null());
}

#[test]
fn own_stays_own_behind_a_look() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    scene(&at.join("a.mkv"), false);
    table(&at.join("warm.cube"), look);
    made(at, "day.inkarnat", "a.mkv", "Ana=own", &[]);
    let bare = shown(at, "day.inkarnat")["shots"][0]["fix"]["ops"].clone();
    inkarnat(at, &["look", "day.inkarnat", "warm.cube"]).ends(0);
    inkarnat(at, &["fix", "day.inkarnat"]).ends(0);
    let film = shown(at, "day.inkarnat");
    // A shot that is right by itself is right under any look: the look is nobody's cast.
    assert_eq!(film["shots"][0]["fix"]["ops"], bare);
    assert_eq!(film["shots"][0]["state"], "on aim");
}

#[test]
fn what_is_no_transform_is_refused_and_nothing_is_lost() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    scene(&at.join("a.mkv"), false);
    let patch = format!("a.mkv@0:{PATCH}:person=Ana");
    let film = "day.inkarnat";
    inkarnat(at, &["start", film, "a.mkv", "--patch", &patch]).ends(0);
    inkarnat(at, &["read", film]).ends(0);
    let before = shown(at, film);
    curve(&at.join("hump.cube"), |v| if v < 0.6 { v } else { 1.2 - v });
    std::fs::write(at.join("nan.cube"), "LUT_1D_SIZE 2\n0 0 0\n1 nan 1\n").unwrap();
    std::fs::write(at.join("short.cube"), "LUT_3D_SIZE 17\n0 0 0\n").unwrap();
    std::fs::write(at.join("picture.png"), b"no").unwrap();
    let refused = |order: &[&str], words: &[&str]| {
        inkarnat(at, order).ends(1).says(words);
    };
    refused(
        &["input", film, "hump.cube"],
        &["60 to 100 %", "darker", "inkarnat look"],
    );
    refused(&["input", film, "nan.cube"], &["nan.cube", "line 3"]);
    refused(&["look", film, "short.cube"], &["short.cube", "expected"]);
    refused(&["look", film, "picture.png"], &["picture.png", ".clf"]);
    refused(
        &["look", film, "missing.cube"],
        &["missing.cube", "cannot be read"],
    );
    refused(&["input", film, "hump.cube", "b.mkv"], &["b.mkv", "a.mkv"]);
    refused(
        &["look", film, "hump.cube", "--scene", "no"],
        &["no scene called"],
    );
    assert_eq!(shown(at, film), before);
    // A look may fall; what that means is said.
    let ran = inkarnat(at, &["look", film, "hump.cube"]).ends(0);
    assert!(ran.out.contains("cannot be undone there"), "{}", ran.out);
    // An aim that is not reached through it ends in words, not in a wrong picture.
    inkarnat(at, &["aim", film, "--person", "Ana=level:78-80"]).ends(0);
    inkarnat(at, &["fix", film]).ends(2);
    assert_eq!(shown(at, film)["shots"][0]["state"], "short");
}
