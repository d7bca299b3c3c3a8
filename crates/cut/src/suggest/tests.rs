use super::*;

/// Numbers that repeat on every run.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / f64::from(1_u32 << 31)
    }

    fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.next()
    }

    fn below(&mut self, count: usize) -> usize {
        ((self.next() * count as f64) as usize).min(count - 1)
    }
}

const ROOM: (usize, usize) = (640, 240);
const PICTURE: (usize, usize) = (192, 108);
const SMALL: (usize, usize) = (48, 27);

/// Reflectances of a room: a wall with things before it, as wide as several framings.
fn room(random: &mut Random) -> Vec<[f64; 3]> {
    let wall: [f64; 3] = std::array::from_fn(|_| random.between(0.25, 0.7));
    let mut pixels = vec![wall; ROOM.0 * ROOM.1];
    for _ in 0..70 {
        let colour: [f64; 3] = std::array::from_fn(|_| random.between(0.04, 0.85));
        let (w, h) = (10 + random.below(60), 10 + random.below(70));
        let (x, y) = (random.below(ROOM.0 - w), random.below(ROOM.1 - h));
        for row in y..y + h {
            pixels[row * ROOM.0 + x..row * ROOM.0 + x + w].fill(colour);
        }
    }
    pixels
}

struct View<'a> {
    room: &'a [[f64; 3]],
    corner: (usize, usize),
    light: [f64; 3],
    camera: [[f64; 3]; 3],
}

/// A picture of a view with somebody in it, as a camera codes it, noise and all; small.
fn taken(view: &View<'_>, random: &mut Random) -> Thumbnail {
    let person = (
        random.between(0.3, 0.7) * PICTURE.0 as f64,
        random.between(18.0, 34.0),
        [
            random.between(0.1, 0.5),
            random.between(0.08, 0.35),
            random.between(0.06, 0.28),
        ],
    );
    let jitter = (random.below(3), random.below(3));
    let mut sums = vec![[0.0_f64; 3]; SMALL.0 * SMALL.1];
    let step = (PICTURE.0 / SMALL.0, PICTURE.1 / SMALL.1);
    for y in 0..PICTURE.1 {
        for x in 0..PICTURE.0 {
            let dx = (x as f64 - person.0) / person.1;
            let dy = (y as f64 - 60.0) / (1.6 * person.1);
            let body = y > 70 && (x as f64 - person.0).abs() < 1.7 * person.1;
            let reflectance = if body || dx * dx + dy * dy < 1.0 {
                person.2
            } else {
                let (rx, ry) = (view.corner.0 + jitter.0 + x, view.corner.1 + jitter.1 + y);
                view.room[ry * ROOM.0 + rx]
            };
            let seen: [f64; 3] = std::array::from_fn(|c| reflectance[c] * view.light[c]);
            let cell = &mut sums[(y / step.1) * SMALL.0 + x / step.0];
            for (sum, row) in cell.iter_mut().zip(view.camera) {
                let linear: f64 = row.iter().zip(seen).map(|(m, s)| m * s).sum();
                let coded = linear.clamp(0.0, 1.0).powf(1.0 / 2.2) + random.between(-0.02, 0.02);
                // Eight bits.
                *sum += (coded * 219.0).round() / 219.0;
            }
        }
    }
    let pixels = (step.0 * step.1) as f64;
    Thumbnail {
        width: SMALL.0,
        height: SMALL.1,
        rgb: sums
            .iter()
            .map(|sum| sum.map(|s| (s / pixels) as f32))
            .collect(),
    }
}

fn taken_three(view: &View<'_>, random: &mut Random) -> Thumbnail {
    let pictures: Vec<Thumbnail> = (0..3).map(|_| taken(view, random)).collect();
    Thumbnail::median(&pictures).unwrap()
}

struct Truth {
    setup: usize,
    scene: usize,
    light: usize,
}

/// A film of a hundred shots by six cameras. Every second scene is the place of the one before, from
/// the same positions, in another light. Names say the camera, never the place.
fn film(seed: u64) -> (Vec<ToGroup>, Vec<Truth>) {
    let mut random = Random(seed);
    let cameras: Vec<[[f64; 3]; 3]> = (0..6)
        .map(|_| {
            std::array::from_fn(|row| {
                std::array::from_fn(|column| {
                    if row == column {
                        random.between(0.85, 1.15)
                    } else {
                        random.between(-0.06, 0.06)
                    }
                })
            })
        })
        .collect();
    let (mut shots, mut truth) = (Vec::new(), Vec::new());
    let (mut clips, mut setups) = (0, 0);
    let mut place = room(&mut random);
    let mut positions: Vec<(usize, (usize, usize))> = Vec::new();
    let mut light = [1.0; 3];
    for scene in 0..10 {
        if scene % 2 == 0 {
            place = room(&mut random);
            light = std::array::from_fn(|_| random.between(0.75, 1.0));
            positions = (0..4)
                .map(|_| {
                    let corner = (
                        random.below(ROOM.0 - PICTURE.0 - 3),
                        random.below(ROOM.1 - PICTURE.1 - 3),
                    );
                    (random.below(6), corner)
                })
                .collect();
        } else {
            // From a lamp switched on, or a stop of exposure, to a gel that is hard to see.
            let warmer = random.between(1.08, 1.4);
            let dimmer = random.between(0.6, 1.0);
            light = [
                light[0] * dimmer,
                light[1] * dimmer / warmer.sqrt(),
                light[2] * dimmer / warmer,
            ];
        }
        let views: Vec<View<'_>> = positions
            .iter()
            .map(|(camera, corner)| View {
                room: &place,
                corner: *corner,
                light,
                camera: cameras[*camera],
            })
            .collect();
        // Two takes of each setup; a take is a clip, and is used more than once.
        let takes: Vec<[(i64, Thumbnail); 2]> = views
            .iter()
            .map(|view| {
                std::array::from_fn(|_| {
                    clips += 1;
                    (clips, taken_three(view, &mut random))
                })
            })
            .collect();
        for shot in 0..10 {
            let at = if shot < 8 { shot % 4 } else { random.below(4) };
            let (source, picture) = &takes[at][random.below(2)];
            shots.push(ToGroup {
                source: *source,
                camera: Some(positions[at].0.to_string()),
                place: None,
                scene: None,
                picture: Some(picture.clone()),
            });
            truth.push(Truth {
                setup: setups + at,
                scene,
                light: scene,
            });
        }
        setups += 4;
    }
    (shots, truth)
}

/// Share of all pairs of shots that are rightly together or apart, and of those that belong
/// together the share that is.
fn pairs(found: &[usize], truth: &[usize]) -> (f64, f64) {
    let (mut right, mut all, mut together, mut kept) = (0, 0, 0, 0);
    for a in 0..found.len() {
        for b in 0..a {
            let (is, should) = (found[a] == found[b], truth[a] == truth[b]);
            all += 1;
            right += u32::from(is == should);
            together += u32::from(should);
            kept += u32::from(is && should);
        }
    }
    (
        f64::from(right) / f64::from(all),
        f64::from(kept) / f64::from(together),
    )
}

#[test]
fn a_hundred_shots_of_six_cameras() {
    for seed in [3, 17, 91, 5, 29, 404] {
        let (shots, truth) = film(seed);
        assert_eq!(shots.len(), 100);
        let found = suggest(&shots);
        let setups: Vec<usize> = found.iter().map(|f| f.setup).collect();
        let scenes: Vec<usize> = found.iter().map(|f| f.scene).collect();
        let of = |which: fn(&Truth) -> usize| truth.iter().map(which).collect::<Vec<_>>();
        let (right, kept) = pairs(&setups, &of(|t| t.setup));
        let (scenes_right, scenes_kept) = pairs(&scenes, &of(|t| t.scene));
        println!(
            "{seed}: setups {right:.4} (together {kept:.3}), scenes {scenes_right:.4} (together {scenes_kept:.3})"
        );
        assert!(right >= 0.97, "{right}");
        // One large lot of pairs is apart anyhow: those that belong together count by themselves.
        assert!(kept >= 0.97, "{kept}");
        assert!(scenes_right >= 0.97, "{scenes_right}");
        for a in 0..shots.len() {
            for b in 0..a {
                assert!(
                    setups[a] != setups[b] || truth[a].light == truth[b].light,
                    "{seed}: {a} and {b} are of two lights"
                );
            }
        }
    }
}

#[test]
fn names_say_the_camera_and_the_place() {
    let facts = |stem| {
        let NameFacts { camera, place } = name_facts(stem);
        (camera.unwrap_or_default(), place.unwrap_or_default())
    };
    let both = |camera: &str, place: &str| (camera.to_owned(), place.to_owned());
    assert_eq!(facts("A001_office_ines"), both("A", "office"));
    assert_eq!(facts("B002C014"), both("B", ""));
    assert_eq!(facts("A003_take_2"), both("A", ""));
    assert_eq!(facts("interview"), both("", ""));
    assert_eq!(facts("DSC_0001"), both("", ""));
    assert_eq!(facts(""), both("", ""));
}

fn plain(source: i64, place: &str, scene: Option<&str>) -> ToGroup {
    ToGroup {
        source,
        place: (!place.is_empty()).then(|| place.to_owned()),
        scene: scene.map(str::to_owned),
        ..ToGroup::default()
    }
}

#[test]
fn the_list_has_the_last_word_on_scenes() {
    let shots = [
        plain(1, "flat", Some("3")),
        plain(2, "flat", Some("4")),
        plain(3, "street", Some("4")),
        plain(4, "roof", Some("3")),
    ];
    let scenes: Vec<usize> = suggest(&shots).iter().map(|s| s.scene).collect();
    assert_eq!(scenes, [0, 1, 1, 0]);
}

#[test]
fn a_place_that_comes_back_later_is_another_scene() {
    let shots = [
        plain(1, "flat", None),
        plain(2, "flat", None),
        plain(3, "park", None),
        plain(4, "street", None),
        plain(5, "bar", None),
        plain(6, "flat", None),
    ];
    let scenes: Vec<usize> = suggest(&shots).iter().map(|s| s.scene).collect();
    assert_eq!(scenes, [0, 0, 1, 2, 3, 4]);
}

#[test]
fn shot_and_reverse_shot_are_one_scene_and_two_setups() {
    let shots = [plain(1, "", None), plain(2, "", None), plain(1, "", None)];
    let found = suggest(&shots);
    assert!(found.iter().all(|s| s.scene == 0), "{found:?}");
    assert_eq!(found.iter().map(|s| s.setup).collect::<Vec<_>>(), [0, 1, 0]);
}

#[test]
fn nothing_is_said_of_pictures_with_nothing_in_them() {
    let grey = Thumbnail {
        width: 4,
        height: 4,
        rgb: vec![[0.5; 3]; 16],
    };
    assert!(!same_setup(&grey, &grey));
    assert!(!same_setup(&Thumbnail::default(), &Thumbnail::default()));
}
