//! Real faces: against polygons of bare skin marked by hand, turned upside down, covered, and absent.
//!
//! Needs `script/fetch-faces` and `script/fetch-real`. The marks (`marked/faces.json`) were made by
//! eye on crops of 500 units with a grid, about 4 units (1 % of the crop) exact; positions are pixels
//! of the source frame.

use inkarnat_color::{Coefficients, Rgb, WorkingSpace, delta_e_2000, lab_from_signal};
use inkarnat_people::{
    FaceFollower, FaceTrack, FindSettings, FollowSettings, Frame, Models, Outline, Part, Side,
    SkinRule, choose_skin, choose_skin_in, face_light, side_lights, skin_region,
};
use inkarnat_reading::{Chosen, FrameReading, read_frame};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::Command;

#[derive(Deserialize)]
struct Marked {
    source: String,
    frame: usize,
    complexion: String,
    forehead: Vec<[f64; 2]>,
    right_cheek: Vec<[f64; 2]>,
    nose: Vec<[f64; 2]>,
    left_cheek: Vec<[f64; 2]>,
}

impl Marked {
    fn part(&self, part: Part) -> &[[f64; 2]] {
        match part {
            Part::Forehead => &self.forehead,
            Part::Cheek(Side::Right) => &self.right_cheek,
            Part::Cheek(Side::Left) => &self.left_cheek,
            Part::Flank(_) => &self.nose,
        }
    }

    fn middle(&self) -> [f64; 2] {
        let count = self.nose.len() as f64;
        [0, 1].map(|k| self.nose.iter().map(|p| p[k]).sum::<f64>() / count)
    }
}

fn cache(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../.cache")
        .join(name)
}

fn models() -> Models {
    Models::load(&cache("faces")).expect("script/fetch-faces makes the models")
}

fn picture(bytes: &[u8], width: usize, height: usize) -> Rgb {
    let mut picture = Rgb::new(width, height);
    for (index, pixel) in bytes.chunks_exact(3).enumerate() {
        picture.set_pixel(index, [0, 1, 2].map(|c| f32::from(pixel[c]) / 255.0));
    }
    picture
}

fn still(name: &str) -> Rgb {
    let path = cache("real").join(name);
    let image = image::open(path)
        .expect("script/fetch-real brings it")
        .to_rgb8();
    picture(
        image.as_raw(),
        image.width() as usize,
        image.height() as usize,
    )
}

/// All frames of a clip, decoded by FFmpeg's program.
fn clip(name: &str, width: usize, height: usize) -> Vec<Rgb> {
    let run = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(cache("real").join(name))
        .args([
            "-fps_mode",
            "passthrough",
            "-f",
            "rawvideo",
            "-pix_fmt",
            "rgb24",
            "-",
        ])
        .output()
        .expect("ffmpeg runs");
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    run.stdout
        .chunks_exact(3 * width * height)
        .map(|bytes| picture(bytes, width, height))
        .collect()
}

fn inside(polygon: &[[f64; 2]], [x, y]: [f64; 2]) -> bool {
    polygon
        .iter()
        .zip(polygon.iter().cycle().skip(1))
        .filter(|(a, b)| {
            (a[1] <= y) != (b[1] <= y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
        })
        .count()
        % 2
        == 1
}

fn reading(picture: &Rgb, chosen: &Chosen) -> FrameReading {
    read_frame(
        0,
        &picture.region(chosen.region),
        chosen,
        WorkingSpace::default(),
    )
    .expect("enough skin")
}

fn difference(a: &FrameReading, b: &FrameReading) -> f64 {
    let lab = |r: &FrameReading| {
        lab_from_signal(
            Coefficients::Bt709.rgb_from_ycbcr(r.mean),
            WorkingSpace::default(),
        )
    };
    delta_e_2000(lab(a), lab(b)).0
}

#[test]
fn chosen_skin_is_skin_and_reads_like_skin_marked_by_hand() {
    let marks: Vec<Marked> =
        serde_json::from_str(include_str!("marked/faces.json")).expect("marks");
    let models = models();
    let mut clips: BTreeMap<String, Vec<Rgb>> = BTreeMap::new();
    for (name, w, h) in [
        ("single_face.mp4", 640, 360),
        ("face_noface.mov", 960, 540),
        ("noface_face.mov", 960, 540),
        ("carphone_pristine.mp4", 176, 144),
        ("close_face.mp4", 640, 360),
    ] {
        clips.insert(name.into(), clip(name, w, h));
    }
    let (mut found, mut differences) = (0, Vec::new());
    let mut precision: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    let rule = SkinRule::default();
    for mark in &marks {
        let loaded;
        let picture = match clips.get(&mark.source) {
            Some(frames) => &frames[mark.frame],
            None => {
                loaded = still(&mark.source);
                &loaded
            }
        };
        let faces = models
            .find(picture, &FindSettings::default())
            .expect("finds");
        let [x, y] = mark.middle();
        let Some(face) = faces.iter().find(|f| {
            let [l, t, w, h] = f.bounds;
            x > l && x < l + w && y > t && y < t + h
        }) else {
            continue;
        };
        found += 1;
        let mesh = models.mesh(picture, face).expect("a mesh");
        let outline = Outline::from(&mesh);
        let region = skin_region(&outline, picture.width, picture.height).expect("in sight");
        let cut = picture.region(region);
        let sides = side_lights(&cut, region, &outline, &rule).expect("sides");
        let light = face_light(&[sides], WorkingSpace::default()).expect("a side");
        let skin = choose_skin(&cut, region, &outline, light.key, &rule, &[]).expect("skin");
        let own = skin.chosen.region;
        let good = skin
            .chosen
            .pixels
            .iter()
            .filter(|&&i| {
                let at = [
                    (own.x + i as usize % own.width) as f64,
                    (own.y + i as usize / own.width) as f64,
                ];
                Part::ALL.iter().any(|part| inside(mark.part(*part), at))
            })
            .count();
        let entry = precision.entry(&mark.complexion).or_default();
        entry.0 += good;
        entry.1 += skin.chosen.pixels.len();
        let hand = choose_skin_in(
            &cut,
            region,
            &Part::read(light.key),
            |part, at| inside(mark.part(part), at) && inside(&outline.part(part), at),
            outline.width,
            &rule,
        )
        .expect("marked skin");
        let de00 = difference(&reading(picture, &skin.chosen), &reading(picture, &hand));
        println!(
            "{} {}: precision {:.3} of {}, CIEDE2000 {de00:.2}, {:?} coverage {:.2} confidence {:.2}",
            mark.source,
            mark.frame,
            good as f64 / skin.chosen.pixels.len() as f64,
            skin.chosen.pixels.len(),
            skin.parts,
            skin.coverage,
            skin.confidence
        );
        differences.push(de00);
    }
    differences.sort_by(f64::total_cmp);
    let n = differences.len();
    let (median, high) = (differences[n / 2], differences[(0.95 * n as f64) as usize]);
    println!(
        "{found} of {} found; CIEDE2000 median {median:.2}, 95th {high:.2}",
        marks.len()
    );
    for (complexion, (good, all)) in &precision {
        println!(
            "{complexion}: precision {:.4} of {all} pixels",
            *good as f64 / *all as f64
        );
        assert!(*good as f64 >= 0.95 * *all as f64, "{complexion}");
    }
    assert!(found as f64 >= 0.95 * marks.len() as f64);
    assert!(median <= 1.0 && high <= 2.0, "{median} {high}");
}

fn turned(picture: &Rgb) -> Rgb {
    let mut result = picture.clone();
    for plane in &mut result.planes {
        plane.reverse();
    }
    result
}

/// Found points of a picture on its head are those of the upright one, turned.
#[test]
fn a_head_on_its_head_has_its_points_in_the_right_places() {
    let models = models();
    for name in [
        "astronaut.png",
        "portrait_medium_deep.jpg",
        "portrait_light.jpg",
    ] {
        let upright = still(name);
        let upside = turned(&upright);
        let settings = FindSettings::default();
        let first = models.find(&upright, &settings).expect("finds");
        let second = models.find(&upside, &settings).expect("finds");
        assert_eq!((first.len(), second.len()), (1, 1), "{name}");
        let [w, h] = upright.size().map(|v| (v - 1) as f64);
        let mesh = models.mesh(&upright, &first[0]).expect("a mesh");
        let other = models.mesh(&upside, &second[0]).expect("a mesh");
        let (a, b) = (Outline::from(&mesh), Outline::from(&other));
        for part in Part::ALL {
            for (p, q) in a.part(part).iter().zip(b.part(part)) {
                let off = (p[0] - (w - q[0])).hypot(p[1] - (h - q[1])) / a.width;
                assert!(off < 0.08, "{name} {part:?}: {off:.3} of the face's width");
            }
        }
    }
}

/// Nothing that only looks like skin or like a wall is a person.
#[test]
fn textures_are_no_people() {
    let models = models();
    let mut seed = 1_u64;
    let mut random = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 40) as f32 / (1 << 24) as f32
    };
    let (w, h) = (640, 360);
    let make = |value: &mut dyn FnMut(usize, usize) -> [f32; 3]| {
        let mut picture = Rgb::new(w, h);
        for i in 0..w * h {
            picture.set_pixel(i, value(i % w, i / w));
        }
        picture
    };
    let wood = make(&mut |x, y| {
        let ring = ((x as f32 * 0.013 + (y as f32 * 0.05).sin() * 0.6) * 9.0).sin();
        [0.55, 0.36, 0.22].map(|c| c * (1.0 + 0.25 * ring))
    });
    let leaves: Vec<[f32; 4]> = (0..900)
        .map(|_| {
            [
                random() * 640.0,
                random() * 360.0,
                4.0 + 14.0 * random(),
                random(),
            ]
        })
        .collect();
    let foliage = make(&mut |x, y| {
        let mut colour = [0.06, 0.1, 0.04];
        for [cx, cy, r, tone] in &leaves {
            if (x as f32 - cx).abs() + 1.6 * (y as f32 - cy).abs() < *r {
                colour = [0.2, 0.42, 0.13].map(|c| c * (0.5 + tone));
            }
        }
        colour
    });
    let wall = make(&mut |_, _| {
        let noise = random();
        [0.7, 0.62, 0.55].map(|c| c + 0.04 * (noise - 0.5))
    });
    for (name, texture) in [("wood", wood), ("foliage", foliage), ("wall", wall)] {
        let mut follower = FaceFollower::new(FollowSettings::default());
        for number in 0..2 {
            follower
                .next(&models, number, &texture, number == 1)
                .expect("runs");
        }
        assert_eq!(follower.finish().iter().flatten().count(), 0, "{name}");
    }
    // Real: the frames without a face after frame 72 of this clip.
    let frames = clip("face_noface.mov", 960, 540);
    let mut follower = FaceFollower::new(FollowSettings::default());
    for (number, frame) in (0..).zip(frames[80..].iter().step_by(9)) {
        follower.next(&models, number, frame, false).expect("runs");
    }
    assert_eq!(follower.finish().iter().flatten().count(), 0);
}

/// A patch of this face's own skin colour, lit and textured, crosses a face: while it covers a good
/// part of what is read, the face is lost; afterwards it is found again, as one track.
#[test]
fn a_hand_across_a_face_is_never_read() {
    let models = models();
    let frames = clip("single_face.mp4", 640, 360);
    let rule = SkinRule::default();
    let mut follower = FaceFollower::new(FollowSettings::default());
    let place = |k: usize| [100.0 + 7.0 * (k as f64 - 12.0), 205.0];
    let mut frames = frames;
    for (k, frame) in frames.iter_mut().enumerate() {
        let [cx, cy] = place(k);
        for y in 0..360 {
            for x in 0..640 {
                let (u, v) = ((x as f64 - cx) / 42.0, (y as f64 - cy) / 70.0);
                if u * u + v * v < 1.0 {
                    let shade = (1.0 - 0.35 * u - 0.2 * (v * 9.0).sin().abs()) as f32;
                    frame.set_pixel(y * 640 + x, [0.70, 0.50, 0.42].map(|c| c * shade * 0.9));
                }
            }
        }
        follower
            .next(&models, k as u64, &*frame, false)
            .expect("runs");
    }
    let tracks: Vec<FaceTrack> = follower.finish().into_iter().flatten().collect();
    for track in &tracks {
        println!("from {} {:?}", track.numbers[0], track.lost_spans());
    }
    assert_eq!(tracks.len(), 1);
    let track = &tracks[0];
    assert!(track.at(0).is_some() && track.at(70).is_some());
    let (mut of_hand, mut read) = (0, 0);
    for (k, frame) in frames.iter().enumerate() {
        let Some(outline) = track.at(k as u64) else {
            continue;
        };
        let region = skin_region(outline, 640, 360).expect("in sight");
        let Ok(skin) = choose_skin(
            &frame.region(region),
            region,
            outline,
            Side::Right,
            &rule,
            &[],
        ) else {
            continue;
        };
        let own = skin.chosen.region;
        let [cx, cy] = place(k);
        read += skin.chosen.pixels.len();
        let hand = skin
            .chosen
            .pixels
            .iter()
            .filter(|&&i| {
                let (x, y) = (
                    own.x + i as usize % own.width,
                    own.y + i as usize / own.width,
                );
                ((x as f64 - cx) / 42.0).powi(2) + ((y as f64 - cy) / 70.0).powi(2) < 1.0
            })
            .count();
        if hand > 0 {
            println!("frame {k}: {hand} of {}", skin.chosen.pixels.len());
        }
        of_hand += hand;
    }
    assert!(of_hand as f64 <= 0.005 * read as f64, "{of_hand} of {read}");
}

/// A wall with a portrait on it and a living face beside it, filmed by hand: moved, grained, coded as H.264, decoded.
fn filmed_wall(living: &[Rgb]) -> Vec<Rgb> {
    const CANVAS: [usize; 2] = [800, 450];
    const SIZE: [usize; 2] = [640, 360];
    let mut seed = 7_u64;
    let mut random = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 40) as f32 / (1 << 24) as f32
    };
    let mut wall = Rgb::new(CANVAS[0], CANVAS[1]);
    let blotches: Vec<f32> = (0..60 * 40).map(|_| random()).collect();
    for i in 0..CANVAS[0] * CANVAS[1] {
        let (x, y) = (i % CANVAS[0], i / CANVAS[0]);
        let plaster = 0.08 * blotches[y / 12 * 60 + (x / 14).min(59)] + 0.05 * random();
        wall.set_pixel(i, [0.55, 0.52, 0.47].map(|c| c + plaster));
    }
    let portrait = still("astronaut.png");
    let paste = |canvas: &mut Rgb,
                 of: &Rgb,
                 [left, top]: [usize; 2],
                 [x, y]: [usize; 2],
                 size: [usize; 2],
                 factor: f64| {
        for row in 0..size[1] {
            for column in 0..size[0] {
                let from = [
                    left as f64 + column as f64 * factor,
                    top as f64 + row as f64 * factor,
                ];
                canvas.set_pixel((y + row) * CANVAS[0] + x + column, sampled(of, from));
            }
        }
    };
    paste(&mut wall, &portrait, [120, 0], [150, 110], [190, 225], 1.16);
    let mut raw = Vec::new();
    for (number, frame) in living.iter().enumerate() {
        let mut canvas = wall.clone();
        paste(&mut canvas, frame, [250, 0], [460, 60], [280, 280], 1.28);
        let t = number as f64 / 25.0;
        let turn = 0.006 * (5.6 * t).sin();
        let scale = 1.0 - 0.04 * t;
        let shift = [
            70.0 + 8.0 * t + 3.0 * (7.0 * t).sin() + 1.3 * (19.0 * t + 1.0).sin(),
            40.0 + 2.5 * (8.8 * t + 2.0).sin() + 1.1 * (23.0 * t).sin(),
        ];
        for y in 0..SIZE[1] {
            for x in 0..SIZE[0] {
                let (u, v) = (x as f64 * scale, y as f64 * scale);
                let value = sampled(&canvas, [u - turn * v + shift[0], v + turn * u + shift[1]]);
                let grain = 0.03 * (random() + random() - 1.0);
                raw.extend(value.map(|c| ((c + grain).clamp(0.0, 1.0) * 255.0).round() as u8));
            }
        }
    }
    let folder = std::env::temp_dir().join(format!("inkarnat-wall-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let (source, coded) = (folder.join("wall.rgb"), folder.join("wall.mp4"));
    std::fs::write(&source, raw).expect("written");
    let form = ["-f", "rawvideo", "-pix_fmt", "rgb24"];
    let size = format!("{}x{}", SIZE[0], SIZE[1]);
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-y"])
        .args(form)
        .args(["-s", &size, "-r", "25", "-i"])
        .arg(&source)
        .args(["-c:v", "libx264", "-crf", "23", "-pix_fmt", "yuv420p"])
        .arg(&coded)
        .status()
        .expect("ffmpeg runs");
    assert!(made.success());
    let run = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(&coded)
        .args(form)
        .arg("-")
        .output()
        .expect("ffmpeg runs");
    std::fs::remove_dir_all(&folder).expect("removed");
    run.stdout
        .chunks_exact(3 * SIZE[0] * SIZE[1])
        .map(|bytes| picture(bytes, SIZE[0], SIZE[1]))
        .collect()
}

/// The signal between pixel centres, the edge repeated outside.
fn sampled(picture: &Rgb, [x, y]: [f64; 2]) -> [f32; 3] {
    let hold = |v: f64, last: usize| v.clamp(0.0, last as f64);
    let (x, y) = (hold(x, picture.width - 1), hold(y, picture.height - 1));
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = (
        (x0 + 1).min(picture.width - 1),
        (y0 + 1).min(picture.height - 1),
    );
    let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
    let at = |x: usize, y: usize| picture.pixel(y * picture.width + x);
    let (a, b, c, d) = (at(x0, y0), at(x1, y0), at(x0, y1), at(x1, y1));
    std::array::from_fn(|k| {
        (a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (c[k] * (1.0 - fx) + d[k] * fx) * fy
    })
}

#[test]
fn a_portrait_on_a_wall_is_asked_about_and_the_face_beside_it_is_not() {
    let models = models();
    let frames = filmed_wall(&clip("close_face.mp4", 640, 360)[260..360]);
    let mut follower = FaceFollower::new(FollowSettings::default());
    for (number, frame) in (0..).zip(&frames) {
        follower
            .next(&models, number, frame, number + 1 == frames.len() as u64)
            .expect("runs");
    }
    let mut tracks: Vec<FaceTrack> = follower.finish().into_iter().flatten().collect();
    assert_eq!(tracks.len(), 2);
    let left = |track: &FaceTrack| {
        let outline = track.frames.iter().find_map(|f| f.held()).expect("held");
        outline.bounds()[0]
    };
    tracks.sort_by(|a, b| left(a).total_cmp(&left(b)));
    println!("portrait {:?}", tracks[0].liveliness);
    println!("living   {:?}", tracks[1].liveliness);
    assert_eq!(tracks[0].liveliness.may_be_a_picture(), Some(true));
    assert_eq!(tracks[1].liveliness.may_be_a_picture(), Some(false));
    // One frame cannot tell.
    let mut follower = FaceFollower::new(FollowSettings::default());
    follower.next(&models, 0, &frames[0], true).expect("runs");
    for track in follower.finish().into_iter().flatten() {
        assert_eq!(track.liveliness.may_be_a_picture(), None);
    }
}

/// A hand that wipes over a face and comes to rest on one cheek, as light as the face and of its hue: outlined by eye at two
/// frames. It crosses unread; what is read then is the other side.
#[test]
fn a_real_hand_before_a_face_is_not_read() {
    const HAND: [(usize, &[[f64; 2]]); 2] = [
        (
            150,
            &[
                [312.0, 359.0],
                [322.0, 260.0],
                [335.0, 200.0],
                [345.0, 187.0],
                [358.0, 195.0],
                [372.0, 178.0],
                [385.0, 172.0],
                [397.0, 185.0],
                [393.0, 215.0],
                [400.0, 240.0],
                [410.0, 225.0],
                [425.0, 235.0],
                [420.0, 270.0],
                [405.0, 310.0],
                [395.0, 359.0],
            ],
        ),
        (
            215,
            &[
                [303.0, 359.0],
                [325.0, 270.0],
                [338.0, 225.0],
                [350.0, 200.0],
                [360.0, 205.0],
                [372.0, 190.0],
                [395.0, 188.0],
                [400.0, 205.0],
                [418.0, 200.0],
                [425.0, 215.0],
                [420.0, 260.0],
                [440.0, 285.0],
                [465.0, 275.0],
                [465.0, 290.0],
                [430.0, 320.0],
                [395.0, 345.0],
                [380.0, 359.0],
            ],
        ),
    ];
    let models = models();
    let frames = clip("close_face.mp4", 640, 360);
    let mut follower = FaceFollower::new(FollowSettings::default());
    for (number, frame) in (0..).zip(&frames[..220]) {
        follower
            .next(&models, number, frame, number == 219)
            .expect("runs");
    }
    let tracks: Vec<FaceTrack> = follower.finish().into_iter().flatten().collect();
    for track in &tracks {
        println!(
            "held {} of {}: lost {:?}",
            track.held(),
            track.frames.len(),
            track.lost_spans()
        );
    }
    let rule = SkinRule::default();
    let (mut chosen, mut of_hand) = (0, 0);
    for track in &tracks {
        let held: Vec<(u64, &Outline)> = track
            .numbers
            .iter()
            .zip(&track.frames)
            .filter_map(|(number, state)| Some((*number, state.held()?)))
            .collect();
        let sides: Vec<_> = held
            .iter()
            .step_by(5)
            .map(|(number, outline)| {
                let frame = &frames[*number as usize];
                let region = skin_region(outline, frame.width, frame.height).expect("in sight");
                side_lights(&frame.region(region), region, outline, &rule).expect("sides")
            })
            .collect();
        let key = face_light(&sides, WorkingSpace::default())
            .expect("a side")
            .key;
        for (number, hand) in HAND {
            let Some(outline) = track.at(number as u64) else {
                continue;
            };
            let frame = &frames[number];
            let region = skin_region(outline, frame.width, frame.height).expect("in sight");
            for side in Side::BOTH {
                let Ok(skin) =
                    choose_skin(&frame.region(region), region, outline, side, &rule, &[])
                else {
                    continue;
                };
                let own = skin.chosen.region;
                let covered = skin
                    .chosen
                    .pixels
                    .iter()
                    .filter(|&&i| {
                        let at = [
                            (own.x + i as usize % own.width) as f64,
                            (own.y + i as usize / own.width) as f64,
                        ];
                        inside(hand, at)
                    })
                    .count();
                let count = skin.chosen.pixels.len();
                println!(
                    "{number} {side:?} (key {key:?}): {covered} of {count} pixels on the hand"
                );
                chosen += count;
                of_hand += covered;
            }
        }
    }
    // The hand rests on one cheek: what is left of the face is read, on either side.
    assert!(chosen > 0, "nothing is read beside the hand");
    assert_eq!(of_hand, 0, "{of_hand} of {chosen} pixels are the hand's");
}
