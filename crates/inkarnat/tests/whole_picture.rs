//! A finished picture taken in, corrected, and handed over whole: every shot with its fix, dissolves from one to the next,
//! what is no shot untouched. FFmpeg makes the picture and measures what was delivered.
#![allow(
    clippy::disallowed_methods,
    reason = "tests read files and run programs"
)]

mod common;

use common::{inkarnat, shown, succeed};
use std::path::Path;
use std::process::Command;

const SIZE: (usize, usize) = (192, 108);
/// Frames of the black before the picture, of each shot, and of the dissolve between the second and the third.
const BLACK: usize = 12;
const SHOT: usize = 36;
const DISSOLVE: usize = 12;

/// Three shots of somebody before a wall, each in another cast: a hard cut, then a dissolve; black before.
fn picture(path: &Path) {
    let shot = |gains: [f64; 3], wall: &str| {
        let face = "lt(hypot((X/W-0.40)/0.12,(Y/H-0.5)/0.3),1)";
        let texture = "(1+0.03*sin(PI*X/4)*sin(PI*Y/2))";
        let channel =
            |skin: f64, gain: f64| format!("1023*{gain}*if({face},{skin}*{texture},{wall})");
        let [r, g, b] = [(0.62, 0), (0.47, 1), (0.37, 2)].map(|(skin, c)| channel(skin, gains[c]));
        let seconds = SHOT as f64 / 24.0;
        format!(
            "color=black:s={}x{}:r=24:d={seconds},format=gbrp10le,geq=r='{r}':g='{g}':b='{b}',\
             scale=out_color_matrix=bt709:out_range=tv,format=yuv422p10le,setsar=1",
            SIZE.0, SIZE.1
        )
    };
    let second = 24.0;
    let black = format!(
        "color=black:s={}x{}:r=24:d={},format=yuv422p10le,setsar=1",
        SIZE.0,
        SIZE.1,
        BLACK as f64 / second
    );
    let offset = (SHOT - DISSOLVE) as f64 / second;
    let graph = format!(
        "{black}[k];{}[a];{}[b];{}[c];[b][c]xfade=transition=fade:duration={}:offset={offset}[bc];[k][a][bc]concat=n=3,format=yuv422p10le[v]",
        shot([1.08, 1.0, 0.84], "0.2+0.5*Y/H"),
        shot([0.92, 1.0, 1.16], "0.3+0.4*X/W"),
        shot([1.1, 0.96, 0.9], "0.6-0.4*X/W"),
        DISSOLVE as f64 / second
    );
    succeed(
        Command::new("ffmpeg")
            .args([
                "-v",
                "error",
                "-nostdin",
                "-y",
                "-filter_complex",
                &graph,
                "-map",
                "[v]",
            ])
            .args([
                "-c:v",
                "prores_ks",
                "-profile:v",
                "hq",
                "-timecode",
                "01:00:00:00",
            ])
            .args([
                "-colorspace",
                "bt709",
                "-color_primaries",
                "bt709",
                "-color_trc",
                "bt709",
                "-color_range",
                "tv",
            ])
            .arg(path),
    );
}

/// Frames as R'G'B' signal, decoded by FFmpeg and taken through a filter.
fn frames(path: &Path, filter: &str) -> Vec<Vec<f64>> {
    let filter = format!("scale=out_range=pc,format=gbrp16le{filter}");
    let output = succeed(
        Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-i"])
            .arg(path)
            .args([
                "-vf", &filter, "-f", "rawvideo", "-pix_fmt", "gbrp16le", "-",
            ]),
    );
    let length = 3 * SIZE.0 * SIZE.1;
    let codes: Vec<f64> = output
        .stdout
        .chunks_exact(2)
        .map(|pair| f64::from(u16::from_le_bytes([pair[0], pair[1]])) / 65535.0)
        .collect();
    codes.chunks_exact(length).map(<[f64]>::to_vec).collect()
}

/// Mean and largest difference of two frames.
fn apart(a: &[f64], b: &[f64]) -> (f64, f64) {
    let differences = a.iter().zip(b).map(|(a, b)| (a - b).abs());
    let (sum, most) = differences.fold((0.0, 0.0_f64), |(sum, most), d| (sum + d, most.max(d)));
    (sum / a.len() as f64, most)
}

#[test]
fn every_shot_has_its_fix_and_a_dissolve_goes_from_one_to_the_next() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    picture(&at.join("master.mov"));
    let film = "day.inkarnat";
    inkarnat(at, &["cut", film, "master.mov"]).ends(0);
    let shots = shown(at, film)["shots"].as_array().unwrap().clone();
    let spans: Vec<(u64, u64)> = shots
        .iter()
        .map(|s| {
            (
                s["in_frame"].as_u64().unwrap(),
                s["out_frame"].as_u64().unwrap(),
            )
        })
        .collect();
    assert_eq!(spans.len(), 3, "{spans:?}");
    let cut = (BLACK + SHOT) as u64;
    assert_eq!((spans[0].0, spans[0].1), (BLACK as u64, cut));
    let names: Vec<String> = shots
        .iter()
        .map(|s| s["shot"].as_str().unwrap().to_owned())
        .collect();
    let mut order = vec!["patch".to_owned(), film.to_owned()];
    for (name, (from, _)) in names.iter().zip(&spans) {
        order.push(format!(
            "{name}@{}:ellipse=0.40,0.5,0.06,0.12:person=Ana",
            from + 14
        ));
    }
    inkarnat(at, &order.iter().map(String::as_str).collect::<Vec<_>>()).ends(0);
    inkarnat(at, &["read", film]).ends(0);
    inkarnat(
        at,
        &["aim", film, "--person", "Ana=level:53-57,hue:116-122"],
    )
    .ends(0);
    inkarnat(at, &["fix", film]);
    inkarnat(at, &["handover", film, "--to", "out", "--whole"]);
    let proof = inkarnat(at, &["prove", film]);
    assert!(!proof.err.contains("proof failed"), "{}", proof.err);
    let report = shown(at, film);
    for shot in report["shots"].as_array().unwrap() {
        assert_eq!(shot["proof"]["passed"], true, "{shot}");
        assert_eq!(shot["proof"]["file"], "master.mov");
    }
    assert!(!at.join("out/clips").exists(), "one file in place of clips");

    // Against FFmpeg: the source through each shot's exported table.
    let source = frames(&at.join("master.mov"), "");
    let whole = frames(&at.join("out/picture/master.mov"), "");
    assert_eq!(source.len(), whole.len());
    let setups: Vec<String> = report["shots"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["setup"].as_str().unwrap().to_owned())
        .collect();
    let through = |setup: &str| {
        let table = at.join(format!("out/luts/{setup}.cube"));
        frames(
            &at.join("master.mov"),
            &format!(",lut3d=file={}:interp=tetrahedral", table.display()),
        )
    };
    let fixed: Vec<Vec<Vec<f64>>> = setups.iter().map(|setup| through(setup)).collect();
    // Coding at 4:2:2 moves edges of colour; means and flat parts tell.
    let near = |frame: usize, expected: &[f64], what: &str| {
        let (mean, _) = apart(&whole[frame], expected);
        assert!(mean < 0.004, "{what}, frame {frame}: {mean}");
    };
    near(3, &source[3], "black");
    near(BLACK + 10, &fixed[0][BLACK + 10], "the first shot");
    let second = BLACK + SHOT;
    near(second + 5, &fixed[1][second + 5], "the second");
    let begins = second + SHOT - DISSOLVE;
    near(
        begins + DISSOLVE + 6,
        &fixed[2][begins + DISSOLVE + 6],
        "the third",
    );
    let moved = apart(&source[second + 5], &fixed[1][second + 5]).0;
    assert!(moved > 0.015, "the fix moves the picture: {moved}");
    // Inside the dissolve: the share of each runs evenly. Where it begins and ends was found by the program itself.
    let middle = begins + DISSOLVE / 2;
    let (mut best, mut least) = (0.0, f64::INFINITY);
    for step in 0..=100 {
        let share = f64::from(step) / 100.0;
        let mixed: Vec<f64> = fixed[1][middle]
            .iter()
            .zip(&fixed[2][middle])
            .map(|(a, b)| a + share * (b - a))
            .collect();
        let off = apart(&whole[middle], &mixed).0;
        if off < least {
            (best, least) = (share, off);
        }
    }
    assert!(least < 0.004, "{least}");
    assert!((0.35..=0.65).contains(&best), "{best}");
    // Handed over again, it is there; after another decision it is made anew.
    let again = inkarnat(at, &["handover", film, "--to", "out", "--whole"]);
    assert!(
        again.err.contains("is there") || again.out.contains("is there"),
        "{}",
        again.err
    );
    inkarnat(at, &["keep", film, &names[0]]).ends(0);
    inkarnat(at, &["handover", film, "--to", "out", "--whole"]);
    let kept = frames(&at.join("out/picture/master.mov"), "");
    let (mean, _) = apart(&kept[BLACK + 10], &source[BLACK + 10]);
    assert!(mean < 0.003, "a kept shot stays as it is: {mean}");
}

#[test]
fn without_a_finished_picture_it_says_so() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    common::clip(&at.join("a.mov"), &common::Make::default());
    inkarnat(at, &["start", "day.inkarnat", "a.mov"]).ends(0);
    inkarnat(at, &["handover", "day.inkarnat", "--to", "out", "--whole"])
        .ends(1)
        .says(&["no finished picture", "inkarnat cut"]);
}

/// Writing over somebody's face is neither skin nor picture: readings are those of the same picture without it.
#[test]
fn skin_beneath_a_title_is_not_read() {
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    picture(&at.join("first.mov"));
    // Upright strokes across the lower part of the first patch, two thirds of a band of it.
    let strokes: String = (0..9)
        .map(|n| {
            format!(
                "drawbox=x={}:y=64:w=3:h=9:c=0xEBEBEB:t=fill:enable='between(n,{},{})',",
                58 + 5 * n,
                BLACK + 4,
                BLACK + SHOT - 3
            )
        })
        .collect();
    // Both coded once more: a half code of chroma is a quarter of a degree here.
    for (name, filter) in [
        ("plain.mov", "null"),
        ("titled.mov", strokes.trim_end_matches(',')),
    ] {
        succeed(
            Command::new("ffmpeg")
                .args(["-v", "error", "-nostdin", "-y", "-i"])
                .arg(at.join("first.mov"))
                .args(["-vf", filter])
                .args([
                    "-c:v",
                    "prores_ks",
                    "-profile:v",
                    "hq",
                    "-colorspace",
                    "bt709",
                ])
                .args([
                    "-color_primaries",
                    "bt709",
                    "-color_trc",
                    "bt709",
                    "-color_range",
                    "tv",
                ])
                .arg(at.join(name)),
        );
    }
    let read = |name: &str| {
        let film = format!("{name}.inkarnat");
        inkarnat(at, &["cut", &film, &format!("{name}.mov")]).ends(0);
        let shot = shown(at, &film)["shots"][0]["shot"]
            .as_str()
            .unwrap()
            .to_owned();
        let patch = format!("{shot}@{}:ellipse=0.40,0.5,0.1,0.2:person=Ana", BLACK + 2);
        inkarnat(at, &["patch", &film, &patch]).ends(0);
        // In the other shots nobody is patched: they are named.
        inkarnat(at, &["read", &film]).ends(2);
        shown(at, &film)["shots"][0].clone()
    };
    let (plain, titled) = (read("plain"), read("titled"));
    assert_eq!(plain["left_out"].as_array().unwrap().len(), 0, "{plain:#}");
    let found = &titled["left_out"][0];
    assert_eq!(found["what"], "title", "{titled:#}");
    let of =
        |shot: &serde_json::Value, what: &str| shot["people"][0]["before"][what].as_f64().unwrap();
    // Strokes that are read raise the level by whole points. Half a code of 10 bits of chroma is a quarter of a degree here.
    for (what, most) in [("level_pct", 0.1), ("hue_deg", 0.3)] {
        let (a, b) = (of(&plain, what), of(&titled, what));
        assert!(
            (a - b).abs() < most,
            "{what}: {a} without, {b} with the title"
        );
    }
    // While it appears, the patch has changed and is lost.
    let (all, read) = (of(&plain, "frames_read"), of(&titled, "frames_read"));
    assert!(read >= all - 6.0, "{read} of {all}");
}
