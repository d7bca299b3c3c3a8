//! Shots that are left as they are: what the encoder is given holds the source's own codes.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{Make, PATCH, clip, inkarnat, shown, succeed};
use inkarnat_color::picture::{Model, PixelFormat, Planes16, Siting, Subsampling};
use inkarnat_color::{Coefficients, Levels};
use std::path::Path;
use std::process::Command;

const AIM: &str = "Ana=level:56-60,hue:118-124";

/// Every luma code from 4 to 1019, moving, 4:2:2 in 10 bits, lossless; with sound that MOV has no place for.
fn clip_422(path: &Path) {
    succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i"])
            .arg(
                "color=black:s=130x78:r=25:d=0.4,format=yuv422p10le,\
                 geq=lum='4+mod(X*37+Y*101+N*53,1016)':cb='64+mod(X*29+Y*7+N*13,896)':\
                 cr='64+mod(X*11+Y*31+N*17,896)'",
            )
            .args(["-f", "lavfi", "-i", "sine=440:r=48000:d=0.4"])
            .args(["-c:a", "libvorbis", "-ac", "2"])
            .args([
                "-c:v",
                "ffv1",
                "-pix_fmt",
                "yuv422p10le",
                "-color_range",
                "tv",
                "-colorspace",
                "bt709",
            ])
            .args(["-color_primaries", "bt709", "-color_trc", "bt709"])
            .arg(path),
    );
}

/// The pictures of a clip as the `ffmpeg` program decodes them, without a change of format.
fn decoded(path: &Path, size: (usize, usize), format: PixelFormat, name: &str) -> Vec<Planes16> {
    let raw = succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-i"])
            .arg(path)
            .args(["-map", "0:v:0", "-f", "rawvideo", "-pix_fmt", name, "-"]),
    )
    .stdout;
    let codes: Vec<u16> = if format.depth > 8 {
        words(&raw)
    } else {
        raw.iter().map(|code| u16::from(*code)).collect()
    };
    pictures(&codes, size, format)
}

fn words(bytes: &[u8]) -> Vec<u16> {
    bytes
        .chunks_exact(2)
        .map(|pair| u16::from_le_bytes([pair[0], pair[1]]))
        .collect()
}

fn pictures(
    mut codes: &[u16],
    (width, height): (usize, usize),
    format: PixelFormat,
) -> Vec<Planes16> {
    let mut all = Vec::new();
    while !codes.is_empty() {
        let mut picture = Planes16::new(width, height, format);
        for plane in &mut picture.planes {
            let (own, rest) = codes.split_at(plane.len());
            plane.copy_from_slice(own);
            codes = rest;
        }
        all.push(picture);
    }
    all
}

fn format(subsampling: Subsampling, depth: u8) -> PixelFormat {
    PixelFormat {
        model: Model::Ycbcr(Coefficients::Bt709),
        subsampling,
        siting: Siting::Left,
        depth,
        levels: Levels::Narrow,
        fields: false,
    }
}

fn given(path: &Path, size: (usize, usize)) -> Vec<Planes16> {
    pictures(
        &words(&std::fs::read(path).unwrap()),
        size,
        format(Subsampling::S422, 10),
    )
}

#[test]
fn what_is_kept_reaches_the_encoder_untouched() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(&at.join("a.mp4"), &Make::default());
    clip_422(&at.join("b.mkv"));
    let patch = format!("a.mp4@0:{PATCH}:person=Ana");
    let start = ["start", "day.inkarnat", "a.mp4", "b.mkv", "--patch", &patch];
    inkarnat(at, &start).ends(0);
    inkarnat(at, &["aim", "day.inkarnat", "--person", AIM]).ends(0);
    // Nobody is read in b.
    inkarnat(at, &["read", "day.inkarnat"]).ends(2);
    inkarnat(at, &["fix", "day.inkarnat"]).ends(2);
    std::fs::create_dir(at.join("raw")).unwrap();
    let hand_over = [
        "handover",
        "day.inkarnat",
        "--to",
        "out",
        "--encoder-input",
        "raw",
    ];
    let small = (130, 78);
    let b = decoded(
        &at.join("b.mkv"),
        small,
        format(Subsampling::S422, 10),
        "yuv422p10le",
    );
    assert_eq!(b.len(), 10);
    assert!(b.iter().any(|picture| picture.planes[0].contains(&4)));
    assert!(b.iter().any(|picture| picture.planes[0].contains(&1019)));
    let a = decoded(
        &at.join("a.mp4"),
        common::SIZE,
        format(Subsampling::S420, 8),
        "yuv420p",
    );
    assert_eq!(a.len(), 16);
    let same_luma = |given: &[Planes16]| {
        given.len() == a.len()
            && given.iter().zip(&a).all(|(given, source)| {
                // BT.709-6 item 4.6: 10-bit codes are 8-bit codes times four.
                let codes = source.planes[0].iter().map(|code| code << 2);
                codes.eq(given.planes[0].iter().copied())
            })
    };

    inkarnat(at, &hand_over).ends(2);
    assert!(given(&at.join("raw/b.yuv"), small) == b, "not fixed at all");
    assert!(
        !same_luma(&given(&at.join("raw/a.yuv"), common::SIZE)),
        "the fix of a must show, or this test sees nothing"
    );
    assert!(at.join("out/cdl/a.cc").exists() && at.join("out/luts/a.cube").exists());

    for shot in ["a", "b"] {
        inkarnat(at, &["keep", "day.inkarnat", shot]).ends(0);
    }
    let shots = &shown(at, "day.inkarnat")["shots"];
    for index in [0, 1] {
        assert_eq!(shots[index]["state"], "kept");
        assert!(shots[index]["fix"].is_null() && shots[index]["proof"].is_null());
    }
    inkarnat(at, &["fix", "day.inkarnat"]).ends(0);
    inkarnat(at, &hand_over).ends(0);
    assert!(
        !at.join("out/cdl/a.cc").exists() && !at.join("out/luts/a.cube").exists(),
        "no fix, no files of one"
    );
    assert!(given(&at.join("raw/b.yuv"), small) == b);
    let kept = given(&at.join("raw/a.yuv"), common::SIZE);
    assert!(same_luma(&kept));
    for (given, source) in kept.iter().zip(&a) {
        let mut expected = Planes16::new(
            common::SIZE.0,
            common::SIZE.1,
            format(Subsampling::S422, 10),
        );
        expected.fill_from_native(&source.as_native());
        assert!(given.planes == expected.planes, "the stated resampler");
    }
    inkarnat(at, &["prove", "day.inkarnat"]).ends(0);
    let shots = &shown(at, "day.inkarnat")["shots"];
    for index in [0, 1] {
        assert_eq!(shots[index]["state"], "proved", "{shots:#}");
        assert_eq!(shots[index]["proof"]["passed"], true);
    }
    let said = |notes: &serde_json::Value| {
        notes.as_array().unwrap().iter().any(|note| {
            let note = note.as_str().unwrap();
            ["b.mov", "vorbis", "not kept"]
                .iter()
                .all(|word| note.contains(word))
        })
    };
    let readings = std::fs::read(at.join("out/readings.json")).unwrap();
    let readings: serde_json::Value = serde_json::from_slice(&readings).unwrap();
    for shots in [shots, &readings["shots"]] {
        assert!(
            said(&shots[1]["notes"]) && !said(&shots[0]["notes"]),
            "{shots:#}"
        );
    }
    let person = &shots[0]["people"][0];
    assert!(person["proof"]["level_pct"].is_number());
    assert_eq!(
        person["before"]["level_pct"], person["after"]["level_pct"],
        "the same codes read the same"
    );

    inkarnat(at, &["keep", "day.inkarnat", "a", "--undo"]).ends(0);
    inkarnat(at, &["handover", "day.inkarnat", "--to", "out"]).ends(0);
    inkarnat(at, &["prove", "day.inkarnat"]).ends(0);
    let shot = &shown(at, "day.inkarnat")["shots"][0];
    assert_eq!(shot["state"], "proved");
    assert!(!shot["fix"]["ops"].as_array().unwrap().is_empty());
    assert!(at.join("out/cdl/a.cc").exists());
    inkarnat(at, &["keep", "day.inkarnat", "nobody"])
        .ends(1)
        .says(&["nobody", "a, b"]);
}

/// Two fields of different colours in 4:2:0: the chroma of each stays its own, where FFmpeg's scaler has it too (`interl=1`).
#[test]
fn chroma_of_fields_stays_in_its_field() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    let (width, height) = (160, 120);
    let ramp =
        "color=0x7080B0:s=160x120:r=50,format=yuv444p,geq=lum='lum(X,Y)':cb='60+Y':cr='200-Y'";
    succeed(
        Command::new("ffmpeg")
            .current_dir(at)
            .args(["-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i", ramp])
            .args(["-f", "lavfi", "-i", "color=0xB08070:s=160x120:r=50,format=yuv444p"])
            .args(["-filter_complex", "[0]setpts=N*2/50/TB[a];[1]setpts=(N*2+1)/50/TB[b];[a][b]interleave,tinterlace=interleave_top,scale=interl=1:flags=bicubic,format=yuv420p,setfield=tff"])
            .args(["-frames:v", "4", "-c:v", "libx264", "-qp", "0", "-flags", "+ilme+ildct", "-x264opts", "tff=1"])
            .args(["-color_range", "tv", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "i.mkv"]),
    );
    inkarnat(at, &["start", "day.inkarnat", "i.mkv"]).ends(0);
    inkarnat(at, &["keep", "day.inkarnat", "i"]).ends(0);
    std::fs::create_dir(at.join("raw")).unwrap();
    inkarnat(
        at,
        &[
            "handover",
            "day.inkarnat",
            "--to",
            "out",
            "--encoder-input",
            "raw",
        ],
    );
    let ours = given(&at.join("raw/i.yuv"), (width, height));
    let raw = succeed(
        Command::new("ffmpeg")
            .current_dir(at)
            .args(["-v", "error", "-nostdin", "-i", "i.mkv", "-vf"])
            .arg("scale=interl=1:flags=bilinear+accurate_rnd+full_chroma_int,format=yuv422p10le")
            .args(["-fps_mode", "passthrough", "-f", "rawvideo", "-"]),
    )
    .stdout;
    let theirs = pictures(&words(&raw), (width, height), format(Subsampling::S422, 10));
    assert_eq!((ours.len(), theirs.len()), (4, 4));
    for (ours, theirs) in ours.iter().zip(&theirs) {
        for plane in 0..3 {
            let far = ours.planes[plane]
                .iter()
                .zip(&theirs.planes[plane])
                .map(|(a, b)| a.abs_diff(*b))
                .max();
            // A code of 10 bits for FFmpeg's own rounding of its weights.
            assert!(far <= Some(1), "plane {plane}: {far:?} codes off");
        }
        let (upper, lower) = (ours.planes[1][40 * 80 + 40], ours.planes[1][41 * 80 + 40]);
        assert!(
            upper.abs_diff(lower) > 20,
            "the fields differ, or this sees nothing"
        );
    }
}
