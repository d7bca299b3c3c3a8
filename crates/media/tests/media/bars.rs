//! Colour bars, from raw codes through a coded file and back.
//!
//! The codes are those of `crates/color/tests/published/bars_bt709_10bit.csv`: computed from
//! BT.709-6 items 3.2–3.4, BT.601-7 clause 2.5.3 and BT.2100-3, equal to SMPTE RP 219-2 and SMPTE
//! EG 1 where those print them.

use crate::support::{all_codes, copy, ffmpeg, folder, frames};
use inkarnat_color::Coefficients;
use inkarnat_color::picture::{Model, Region};
use inkarnat_media::{Codec, Reader};
use std::path::Path;

const BAR: usize = 32;
const HEIGHT: usize = 128;

struct Bars {
    coefficients: Coefficients,
    amplitude: u32,
    /// R', G', B'; Y', Cb, Cr in 10 bits; the same in 8.
    rows: Vec<([f32; 3], [u16; 3], [u16; 3])>,
}

fn published() -> Vec<Bars> {
    let table =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../color/tests/published/bars_bt709_10bit.csv");
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(table)
        .unwrap();
    let head = reader.headers().unwrap().clone();
    let column = |name: &str| head.iter().position(|h| h == name).unwrap();
    let three = |names: [&str; 3]| names.map(column);
    let (rgb, ten, eight) = (
        three(["R", "G", "B"]),
        three(["Y10", "Cb10", "Cr10"]),
        three(["Y8", "Cb8", "Cr8"]),
    );
    let mut sets: Vec<Bars> = Vec::new();
    for record in reader.records() {
        let record = record.unwrap();
        let coefficients = match &record[column("system")] {
            "BT.601" => Coefficients::Bt601,
            "BT.709" => Coefficients::Bt709,
            "BT.2020" => Coefficients::Bt2020,
            other => panic!("unknown system {other}"),
        };
        let amplitude = record[column("amplitude_pct")].parse().unwrap();
        let row = (
            rgb.map(|c| record[c].parse().unwrap()),
            ten.map(|c| record[c].parse().unwrap()),
            eight.map(|c| record[c].parse().unwrap()),
        );
        match sets.last_mut() {
            Some(set) if set.coefficients == coefficients && set.amplitude == amplitude => {
                set.rows.push(row);
            }
            _ => sets.push(Bars {
                coefficients,
                amplitude,
                rows: vec![row],
            }),
        }
    }
    sets
}

/// One frame of 4:2:2 bars as raw planes.
fn raw(bars: &Bars, ten: bool) -> Vec<u8> {
    let mut bytes = Vec::new();
    for component in 0..3 {
        let width = if component == 0 { BAR } else { BAR / 2 };
        for _ in 0..HEIGHT {
            for (_, codes10, codes8) in &bars.rows {
                for _ in 0..width {
                    if ten {
                        bytes.extend(codes10[component].to_le_bytes());
                    } else {
                        bytes.push(codes8[component] as u8);
                    }
                }
            }
        }
    }
    bytes
}

fn tags(coefficients: Coefficients) -> &'static str {
    match coefficients {
        Coefficients::Bt601 => {
            "-colorspace smpte170m -color_primaries smpte170m -color_trc smpte170m"
        }
        Coefficients::Bt709 => "-colorspace bt709 -color_primaries bt709 -color_trc bt709",
        Coefficients::Bt2020 => "-colorspace bt2020nc -color_primaries bt2020 -color_trc bt2020-10",
    }
}

fn centre(bar: usize) -> (usize, usize) {
    (bar * BAR + BAR / 2, HEIGHT / 2)
}

#[test]
fn bars_keep_their_published_codes_through_a_coded_file() {
    let sets = published();
    assert_eq!(sets.len(), 6, "three systems, two amplitudes");
    let folder = folder();
    for bars in &sets {
        for ten in [false, true] {
            let name = format!("{:?}_{}_{ten}", bars.coefficients, bars.amplitude);
            let plain = folder.path().join(format!("{name}.yuv"));
            let frame = raw(bars, ten);
            std::fs::write(&plain, [&frame[..], &frame, &frame].concat()).unwrap();
            let width = bars.rows.len() * BAR;
            let format = if ten { "yuv422p10le" } else { "yuv422p" };
            let source = ffmpeg(
                &format!(
                    "-f rawvideo -s {width}x{HEIGHT} -pix_fmt {format} -r 25 -i {} -c:v ffv1 {} -color_range tv",
                    plain.display(),
                    tags(bars.coefficients)
                ),
                &folder.path().join(format!("{name}.mkv")),
            );
            let probe = Reader::open(&source).unwrap().into_probe();
            assert_eq!(
                probe.format.model,
                Model::Ycbcr(bars.coefficients),
                "{name}"
            );
            assert!(probe.notes.is_empty() || probe.notes.iter().all(|n| n.contains("siting")));
            check(&name, bars, ten, &source);
            for codec in Codec::CLIPS {
                let target = folder.path().join(format!("{name}_{codec:?}.mov"));
                copy(&source, &target, codec).unwrap();
                check_coded(&format!("{name} {codec:?}"), bars, (ten, codec), &target);
            }
        }
    }
}

/// Lossless: exact codes, and the signal within half a code of the table's R'G'B'.
fn check(name: &str, bars: &Bars, ten: bool, path: &Path) {
    let frames = frames(path);
    assert_eq!(frames.len(), 3, "{name}");
    for frame in &frames {
        let native = frame.native();
        let planes = all_codes(&native);
        let rgb = native.rgb_region(Region::whole(native.width, native.height));
        for (bar, (signal, codes10, codes8)) in bars.rows.iter().enumerate() {
            let (x, y) = centre(bar);
            let expected = if ten { codes10 } else { codes8 };
            let at = [
                planes[0][y * native.width + x],
                planes[1][y * native.width / 2 + x / 2],
                planes[2][y * native.width / 2 + x / 2],
            ];
            assert_eq!(&at, expected, "{name} bar {bar}");
            // Three roundings of half a code each, the largest weight in the matrix being 1.88.
            let bound = (0.5 + 0.5 * 1.89 * 219.0 / 224.0 + 0.25) / if ten { 876.0 } else { 219.0 };
            for (a, b) in rgb.pixel(y * native.width + x).iter().zip(signal) {
                assert!((a - b).abs() < bound, "{name} bar {bar}: {a} {b}");
            }
        }
    }
}

/// Coded: the middle of a bar, 16 pixels from the next one, within two 10-bit codes (a fifth of a
/// percent), the coarsest step of the encoders at these settings on flat areas; in 8 bits within one
/// and a half of its own codes, half a code of that from rounding.
fn check_coded(name: &str, bars: &Bars, (ten, codec): (bool, Codec), path: &Path) {
    let probe = Reader::open(path).unwrap().into_probe();
    assert_eq!(
        probe.format.model,
        Model::Ycbcr(bars.coefficients),
        "{name}"
    );
    assert_eq!(
        probe.format.levels,
        inkarnat_color::Levels::Narrow,
        "{name}"
    );
    assert!(probe.format.depth >= codec.depth(), "{name}");
    assert_eq!(probe.format.subsampling, codec.subsampling(), "{name}");
    let unit = 4.0 / f64::from(1 << (probe.format.depth - 8));
    let bound = if codec.depth() == 8 { 6.0 } else { 2.0 };
    for frame in &frames(path) {
        let native = frame.native();
        let planes = all_codes(&native);
        let sampling = native.format.subsampling;
        let chroma = |x: usize, y: usize| {
            (y >> sampling.down) * (native.width >> sampling.across) + (x >> sampling.across)
        };
        for (bar, (_, codes10, codes8)) in bars.rows.iter().enumerate() {
            let (x, y) = centre(bar);
            let at = [
                planes[0][y * native.width + x],
                planes[1][chroma(x, y)],
                planes[2][chroma(x, y)],
            ];
            let expected = if ten {
                *codes10
            } else {
                codes8.map(|c| c << 2)
            };
            for (a, b) in at.iter().zip(expected) {
                assert!(
                    (unit * f64::from(*a) - f64::from(b)).abs() <= bound,
                    "{name} bar {bar}: {at:?}, not {expected:?}"
                );
            }
        }
    }
}
