//! The limiter that a hand-over may ask for: luma and hue kept, saturation given up, its cost told, the result proved.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{PATCH, inkarnat, shown, succeed};
use serde_json::Value;
use std::path::Path;
use std::process::Command;

const SIZE: (usize, usize) = (192, 108);
const FRAMES: usize = 6;

/// Skin on a grey wall, and beside it patches of colour far beyond what R'G'B' holds; 10-bit 4:4:4, lossless.
fn loud(path: &Path) {
    let face = "lt(hypot((X/W-0.40)/0.12,(Y/H-0.5)/0.3),1)";
    let edge = "gt(X/W,0.7)";
    let plane =
        |skin: &str, wall: &str, loud: &str| format!("if({face},{skin},if({edge},{loud},{wall}))");
    let picture = format!(
        "color=black:s={}x{}:r=24,format=yuv444p10le,geq=lum='{}':cb='{}':cr='{}'",
        SIZE.0,
        SIZE.1,
        plane("540+6*sin(X*3)*sin(Y*5)", "300+400*Y/H", "200+600*Y/H"),
        plane("450", "512", "512+430*sin(Y/9)"),
        plane("585", "512", "512+430*cos(Y/9)"),
    );
    succeed(
        Command::new("ffmpeg")
            .args([
                "-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i", &picture,
            ])
            .args([
                "-frames:v",
                &FRAMES.to_string(),
                "-c:v",
                "ffv1",
                "-color_range",
                "tv",
            ])
            .args([
                "-colorspace",
                "bt709",
                "-color_primaries",
                "bt709",
                "-color_trc",
                "bt709",
            ])
            .arg(path),
    );
}

/// Y', Cb and Cr of every pixel that the encoder was given (4:4:4, 10 bits), as signal.
fn given(path: &Path) -> Vec<[f64; 3]> {
    let codes: Vec<f64> = std::fs::read(path)
        .unwrap()
        .chunks_exact(2)
        .map(|pair| f64::from(u16::from_le_bytes([pair[0], pair[1]])))
        .collect();
    let plane = SIZE.0 * SIZE.1;
    assert_eq!(codes.len(), 3 * plane * FRAMES);
    let mut pixels = Vec::new();
    for frame in codes.chunks_exact(3 * plane) {
        for at in 0..plane {
            // BT.709-6 item 5.6, ten bits.
            let chroma = |c: usize| (frame[c * plane + at] - 512.0) / 896.0;
            pixels.push([(frame[at] - 64.0) / 876.0, chroma(1), chroma(2)]);
        }
    }
    pixels
}

/// R'G'B' by BT.709-6 items 3.2 and 3.3.
fn rgb([y, cb, cr]: [f64; 3]) -> [f64; 3] {
    let (r, b) = (y + 1.5748 * cr, y + 1.8556 * cb);
    [r, (y - 0.2126 * r - 0.0722 * b) / 0.7152, b]
}

fn hand_over(at: &Path, limit: Option<&str>, to: &str) -> Vec<[f64; 3]> {
    let raw = format!("raw-{to}");
    std::fs::create_dir(at.join(&raw)).unwrap();
    let mut order = vec![
        "handover",
        "day.inkarnat",
        "--to",
        to,
        "--codec",
        "prores-4444",
        "--encoder-input",
        &raw,
    ];
    order.extend(limit);
    inkarnat(at, &order).ends(0);
    given(&at.join(raw).join("a.yuv"))
}

#[test]
fn luma_and_hue_stay_saturation_goes_and_its_cost_is_told() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    loud(&at.join("a.mkv"));
    let patch = format!("a.mkv@0:{PATCH}:person=Ana");
    inkarnat(at, &["start", "day.inkarnat", "a.mkv", "--patch", &patch]).ends(0);
    inkarnat(at, &["aim", "day.inkarnat", "--person", "Ana=level:56-60"]).ends(0);
    inkarnat(at, &["read", "day.inkarnat"]).ends(0);
    inkarnat(at, &["fix", "day.inkarnat"]).ends(0);
    let free = hand_over(at, None, "free");
    inkarnat(at, &["prove", "day.inkarnat"]).ends(0);
    let of = |film: &Value| film["shots"][0].clone();
    let before = of(&shown(at, "day.inkarnat"));
    assert!(before["limited"].is_null(), "never unasked");
    assert!(before["proof"]["limits_after"]["over_preferred"].as_u64() == Some(FRAMES as u64));

    for (limit, low, high) in [("--limit", -5.0, 105.0), ("--limit=nominal", 0.0, 100.0)] {
        let to = limit.trim_start_matches("--");
        let limited = hand_over(at, Some(limit), to);
        inkarnat(at, &["prove", "day.inkarnat"]).ends(0);
        let shot = of(&shown(at, "day.inkarnat"));
        // Held against the formula of ITU-R BT.601-7 clause 2.5.5 as this test understands it: luma and hue kept.
        let code = 1.0 / 876.0;
        let (low_in, high_in) = (low / 100.0 + code, high / 100.0 - code);
        let (mut changed, mut largest) = (0_usize, 0.0_f64);
        for (was, is) in free.iter().zip(&limited) {
            assert!((was[0] - is[0]).abs() < 1.01 * code, "luma: {was:?} {is:?}");
            // What was rounded to codes before may lie a code's share beside the limit.
            let room = 2.0 * code;
            let outside = rgb(*was)
                .iter()
                .any(|v| *v < low_in - room || *v > high_in + room);
            let inside = rgb(*was)
                .iter()
                .all(|v| *v > low_in + room && *v < high_in - room);
            if inside {
                assert_eq!(was, is, "what is inside stays");
            }
            assert!(
                rgb(*is)
                    .iter()
                    .all(|v| *v > low_in - room && *v < high_in + room),
                "{was:?} -> {is:?}: {:?}",
                rgb(*is)
            );
            let chroma = |p: &[f64; 3]| p[1].hypot(p[2]);
            if outside {
                changed += 1;
                let factor = chroma(is) / chroma(was);
                assert!(factor < 1.0 + 2.0 * code / chroma(was), "{was:?} -> {is:?}");
                largest = largest.max(1.0 - factor);
                if chroma(is) > 0.05 {
                    let turned = (was[1] * is[2] - was[2] * is[1]) / (chroma(was) * chroma(is));
                    assert!(
                        turned.abs() < 1.5 * code / chroma(is),
                        "hue: {was:?} -> {is:?}"
                    );
                }
                // No more than it takes: some channel stands at its limit.
                let near = rgb(*is)
                    .iter()
                    .any(|v| (v - low_in).abs() < room || (v - high_in).abs() < room);
                assert!(near, "{was:?} -> {is:?}: {:?}", rgb(*is));
            }
        }
        let report = &shot["limited"];
        let share = 100.0 * changed as f64 / free.len() as f64;
        assert!(share > 5.0, "the test has something to limit: {share}");
        let number = |name: &str| report[name].as_f64().unwrap();
        assert!(
            (number("changed_pct") - share).abs() < 0.5,
            "{report} {share}"
        );
        assert!(
            (number("largest_loss_pct") - 100.0 * largest).abs() < 1.0,
            "{report} {largest}"
        );
        assert!((number("low_pct") - 100.0 * low_in).abs() < 0.1, "{report}");
        assert!(
            (number("high_pct") - 100.0 * high_in).abs() < 0.1,
            "{report}"
        );
        // The proof holds the clip against fix and limiter together, and R 103 sees what it did.
        assert_eq!(shot["proof"]["passed"], true, "{:#}", shot["proof"]);
        assert_eq!(shot["proof"]["limits_after"]["over_preferred"], 0);
        assert!(
            shot["notes"].as_array().unwrap().iter().any(|note| {
                let note = note.as_str().unwrap();
                note.contains("a.mov") && note.contains("at the cost of saturation")
            }),
            "{:#}",
            shot["notes"]
        );
        // Tables and CLF with it stand beside those without, and say what they are.
        for file in [
            "luts/a.cube",
            "clf/a.clf",
            "luts/a_limited.cube",
            "luts/a_limited_wide.cube",
            "clf/a_limited.clf",
        ] {
            let text = std::fs::read_to_string(at.join(to).join(file)).unwrap();
            assert_eq!(
                text.contains("and limiter") || text.contains("and the limiter"),
                file.contains("limited"),
                "{file}"
            );
        }
        let table = std::fs::read_to_string(at.join(to).join("luts/a_limited.cube")).unwrap();
        for line in table
            .lines()
            .filter(|line| line.starts_with(|c: char| c.is_ascii_digit() || c == '-'))
        {
            let values: Vec<f64> = line
                .split_whitespace()
                .map(|number| number.parse().unwrap())
                .collect();
            let inside = values.iter().all(|v| *v > low / 100.0 && *v < high / 100.0);
            // Luma that is outside by itself stays: grey.
            let grey = values.iter().all(|v| (v - values[0]).abs() < 1e-6);
            assert!(inside || grey, "{line}");
        }
    }
    assert!(!at.join("free/luts/a_limited.cube").exists());
    inkarnat(
        at,
        &["handover", "day.inkarnat", "--to", "x", "--limit=loud"],
    )
    .ends(1)
    .says(&["loud"]);
}
