//! `prove --against`: a finished programme, put together by FFmpeg out of what was handed over.
#![allow(
    clippy::disallowed_methods,
    reason = "tests run programs and write files"
)]

mod common;

use common::{Make, PATCH, Ran, clip, inkarnat, succeed};
use inkarnat_app::Film;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Command;

/// Frames of each of the three shots.
const FRAMES: usize = 24;

const LIST: &str = "TITLE: THREE WALLS
FCM: NON-DROP FRAME

001  A        V     C        10:00:00:00 10:00:01:00 01:00:00:00 01:00:01:00
* FROM CLIP NAME: a.mp4

002  B        V     C        10:00:00:00 10:00:01:00 01:00:01:00 01:00:02:00
* FROM CLIP NAME: b.mp4

003  C        V     C        10:00:00:00 10:00:01:00 01:00:02:00 01:00:03:00
* FROM CLIP NAME: c.mp4
";

/// Three shots of one person before three walls, corrected and handed over, and the list.
fn film(directory: &Path) {
    for (name, wall, gains) in [
        ("a.mp4", "0.25+0.5*Y/H", [1.06, 1.0, 0.88]),
        ("b.mp4", "0.75-0.5*Y/H", [0.80, 0.80, 0.86]),
        ("c.mp4", "0.25+0.5*X/W", [1.0, 0.92, 0.86]),
    ] {
        clip(
            &directory.join(name),
            &Make {
                frames: FRAMES,
                gains,
                scale: 2,
                wall,
                sound: false,
            },
        );
    }
    let patches = ["a", "b", "c"].map(|name| format!("{name}.mp4@0:{PATCH}:person=Ana"));
    let mut arguments = vec![
        "run",
        "a.mp4",
        "b.mp4",
        "c.mp4",
        "--to",
        "out",
        "--no-faces",
    ];
    for patch in &patches {
        arguments.extend(["--patch", patch]);
    }
    arguments.extend([
        "--person",
        "Ana=level:52-56,hue:118-124",
        "--film",
        "day.inkarnat",
    ]);
    inkarnat(directory, &arguments).ends(0);
    std::fs::write(directory.join("cut.edl"), LIST).unwrap();
}

/// Puts parts together to `name`: their files and how many frames of each.
fn programme(directory: &Path, name: &str, parts: &[(&str, usize)], finish: &str) {
    let mut command = Command::new("ffmpeg");
    command
        .current_dir(directory)
        .args(["-v", "error", "-nostdin", "-y"]);
    let mut graph = String::new();
    for (index, (part, frames)) in parts.iter().enumerate() {
        command.args(["-i", part]);
        graph += &format!(
            "[{index}:v]trim=end_frame={frames},setpts=PTS-STARTPTS,format=yuv422p10le[p{index}];"
        );
    }
    for index in 0..parts.len() {
        graph += &format!("[p{index}]");
    }
    graph += &format!("concat=n={}:v=1:a=0,{finish}[out]", parts.len());
    command
        .args(["-filter_complex", &graph, "-map", "[out]"])
        .args(["-c:v", "libx264", "-crf", "18", "-preset", "veryfast"])
        .args(["-pix_fmt", "yuv420p", "-colorspace", "bt709"])
        .args(["-color_primaries", "bt709", "-color_trc", "bt709"])
        .args(["-color_range", "tv", "-timecode", "01:00:00:00"])
        .arg(name);
    succeed(&mut command);
}

/// A title, drawn as blocks so that no font is needed, over the lower third of 960×540.
const TITLED: &str = "scale=960:540:flags=bicubic,\
    drawbox=x=300:y=430:w=50:h=60:color=white:t=fill,drawbox=x=380:y=430:w=50:h=60:color=white:t=fill,\
    drawbox=x=460:y=430:w=50:h=60:color=white:t=fill,drawbox=x=540:y=430:w=90:h=60:color=white:t=fill";

fn proved(directory: &Path, name: &str) -> Ran {
    inkarnat(
        directory,
        &[
            "prove",
            "day.inkarnat",
            "--against",
            name,
            "--cut",
            "cut.edl",
        ],
    )
}

fn proof(directory: &Path, name: &str) -> Value {
    let ran = inkarnat(
        directory,
        &[
            "prove",
            "day.inkarnat",
            "--against",
            name,
            "--cut",
            "cut.edl",
            "--json",
        ],
    );
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {}", ran.err))
}

#[test]
fn a_finished_programme_is_proved_shot_by_shot() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    film(at);
    let parts = ["out/clips/a.mov", "out/clips/b.mov", "out/clips/c.mov"];
    let [a, b, c] = parts.map(|part| (part, FRAMES));

    programme(at, "good.mov", &[a, b, c], TITLED);
    proved(at, "good.mov").ends(0);
    let proof = proof(at, "good.mov");
    assert_eq!(proof["passed"], true);
    for shot in proof["shots"].as_array().unwrap() {
        let person = &shot["people"][0];
        assert!(person["de00"].as_f64().unwrap() < 1.0, "{shot}");
        // The corrections are there to be seen: otherwise nothing would have been told apart.
        assert!(person["from_source_de00"].as_f64().unwrap() > 2.0, "{shot}");
        assert_eq!(shot["offset_frames"], 0);
        assert_eq!(shot["frames_read"], FRAMES as u64);
    }

    // Smaller than its sources, under a matte of 2.39:1.
    let matted =
        "scale=288:162,drawbox=y=0:h=20:color=black:t=fill,drawbox=y=142:h=20:color=black:t=fill";
    programme(at, "small.mov", &[a, b, c], matted);
    proved(at, "small.mov").ends(0);

    // A shot put back to its uncorrected state.
    programme(at, "undone.mov", &[a, ("b.mp4", FRAMES), c], TITLED);
    let ran = proved(at, "undone.mov")
        .ends(2)
        .says(&["b at 01:00:01:00", "Ana", "uncorrected"]);
    assert!(
        !ran.err.contains("c at 01:00:02:00: ") && !ran.err.contains("a at 01:00:00:00: Ana is"),
        "the others pass: {}",
        ran.err
    );

    // Both proofs stay in the film, and are shown.
    let shown: Value =
        serde_json::from_str(&inkarnat(at, &["show", "day.inkarnat", "--json"]).out).unwrap();
    let known: Vec<(&Value, &Value)> = shown["programmes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|kept| (&kept["proof"]["programme"], &kept["proof"]["passed"]))
        .collect();
    assert_eq!(
        known,
        [
            (&json!("good.mov"), &json!(true)),
            (&json!("small.mov"), &json!(true)),
            (&json!("undone.mov"), &json!(false)),
        ]
    );

    // While another process has the film, the proof is said and not kept.
    let held = Film::open(&at.join("day.inkarnat")).unwrap();
    proved(at, "undone.mov")
        .ends(2)
        .says(&["b at 01:00:01:00", "uncorrected"])
        .says(&["not kept in the film", "another process"]);
    drop(held);

    // Three frames short, at the end of the first shot.
    programme(at, "short.mov", &[(parts[0], FRAMES - 3), b, c], TITLED);
    proved(at, "short.mov")
        .ends(2)
        .says(&["short.mov", "has 69 frames", "fills 72", "3 frames short"])
        .says(&[
            "a at",
            "another picture stands in place of its last 3 frames",
        ])
        .says(&["b at", "3 frames earlier than listed, at 01:00:00:21"])
        .says(&["c at", "3 frames earlier than listed, at 01:00:01:21"]);

    // Cut off at its end.
    programme(at, "off.mov", &[a, b, (parts[2], FRAMES - 3)], TITLED);
    proved(at, "off.mov")
        .ends(2)
        .says(&["3 frames short"])
        .says(&["c at", "lacks its last 3 frames"]);

    // Another programme altogether.
    succeed(
        Command::new("ffmpeg")
            .current_dir(at)
            .args(["-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i"])
            .args(["testsrc2=s=960x540:r=24:d=3", "-pix_fmt", "yuv420p"])
            .args(["-timecode", "01:00:00:00", "other.mov"]),
    );
    let ran = proved(at, "other.mov").ends(2);
    for shot in ["a at 01:00:00:00", "b at 01:00:01:00", "c at 01:00:02:00"] {
        assert!(
            ran.err
                .lines()
                .any(|line| line.contains(shot) && line.contains("shows another picture there")),
            "{shot}: {}",
            ran.err
        );
    }

    // Another rate, another shape, no list.
    succeed(
        Command::new("ffmpeg")
            .current_dir(at)
            .args(["-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i"])
            .args([
                "testsrc2=s=640x480:r=24:d=3",
                "-pix_fmt",
                "yuv420p",
                "narrow.mov",
            ]),
    );
    proved(at, "narrow.mov")
        .ends(2)
        .says(&["640×480", "384×216", "another shape"]);
    let ran = inkarnat(
        at,
        &[
            "prove",
            "day.inkarnat",
            "--against",
            "good.mov",
            "--cut",
            "cut.edl",
            "--rate",
            "25",
        ],
    );
    ran.ends(1)
        .says(&["24 frames a second", "counts 25", "--rate"]);
    inkarnat(at, &["prove", "day.inkarnat", "--against", "good.mov"]).ends(1);
}
