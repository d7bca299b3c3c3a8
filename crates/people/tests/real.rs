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
        let skin = choose_skin(&cut, region, &outline, light.key, &rule).expect("skin");
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
        let Ok(skin) = choose_skin(&frame.region(region), region, outline, Side::Right, &rule)
        else {
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
