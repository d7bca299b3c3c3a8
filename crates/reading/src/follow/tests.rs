use super::*;
use crate::testing::Random;

const WIDTH: usize = 480;
const HEIGHT: usize = 270;

/// A smooth random texture: sums of waves of several lengths.
struct Texture(Vec<[f64; 4]>);

impl Texture {
    fn new(seed: u64, shortest: f64, longest: f64) -> Self {
        let mut random = Random::new(seed);
        Self(
            (0..24)
                .map(|_| {
                    let length = shortest * (longest / shortest).powf(random.unit());
                    let angle = std::f64::consts::TAU * random.unit();
                    let k = std::f64::consts::TAU / length;
                    let phase = std::f64::consts::TAU * random.unit();
                    [k * angle.cos(), k * angle.sin(), phase, random.normal()]
                })
                .collect(),
        )
    }

    /// Mean 0, standard deviation about 1.
    fn at(&self, x: f64, y: f64) -> f64 {
        let sum: f64 = self
            .0
            .iter()
            .map(|[kx, ky, phase, size]| size * (kx * x + ky * y + phase).sin())
            .sum();
        sum / (self.0.len() as f64 / 2.0).sqrt()
    }
}

/// A textured head in front of a textured wall, in pixels.
struct Stage {
    head: Texture,
    wall: Texture,
    hand: Texture,
}

/// One frame of the stage.
#[derive(Clone, Copy)]
struct Scene {
    /// Drawn frame to this one, pixels.
    motion: Similarity,
    gain: f64,
    /// Left edge and brightness of the hand, a bar 130 pixels wide over the whole height.
    hand: Option<(f64, f64)>,
    noise: f64,
}

const CENTRE: [f64; 2] = [240.0, 135.0];
const HEAD: f64 = 75.0;

impl Stage {
    fn new() -> Self {
        Self {
            head: Texture::new(1, 12.0, 80.0),
            wall: Texture::new(2, 10.0, 120.0),
            hand: Texture::new(3, 9.0, 60.0),
        }
    }

    fn frame(&self, scene: Scene, random: &mut Random) -> Vec<f32> {
        let back = scene.motion.inverse().unwrap();
        let mut luma = Vec::with_capacity(WIDTH * HEIGHT);
        for row in 0..HEIGHT {
            for column in 0..WIDTH {
                let (x, y) = (column as f64 + 0.5, row as f64 + 0.5);
                let [u, v] = back.apply([x, y]);
                let radius = (u - CENTRE[0]).hypot(v - CENTRE[1]);
                let mut value = if radius < HEAD {
                    0.55 + 0.05 * self.head.at(u, v)
                } else {
                    0.3 + 0.08 * self.wall.at(x, y)
                };
                if let Some((left, level)) = scene.hand
                    && (left..left + 130.0).contains(&x)
                {
                    value = level + 0.05 * self.hand.at(x - left, y);
                }
                let noise = scene.noise * random.normal();
                luma.push((value * scene.gain + noise) as f32);
            }
        }
        luma
    }
}

/// A scale, turn and shift about the centre of the head.
fn motion(scale: f64, turn_deg: f64, shift: [f64; 2]) -> Similarity {
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    let (a, b) = (scale * cos, scale * sin);
    let [x, y] = CENTRE;
    Similarity {
        a,
        b,
        tx: x + shift[0] - (a * x - b * y),
        ty: y + shift[1] - (b * x + a * y),
    }
}

/// On the head, off its centre, 36 x 36 pixels.
const PATCH_AT: [f64; 2] = [258.0, 141.0];

fn patch() -> Patch {
    let (w, h) = (WIDTH as f64, HEIGHT as f64);
    Patch {
        shape: Shape::Ellipse {
            centre: [PATCH_AT[0] / w, PATCH_AT[1] / h],
            radii: [18.0 / w, 18.0 / h],
        },
        frame: 0,
        person: None,
    }
}

/// Pixels between where a pose and the truth put the middle of the patch.
fn error(pose: &Similarity, truth: &Similarity) -> f64 {
    let w = WIDTH as f64;
    let [x, y] = pose.apply(PATCH_AT.map(|v| v / w));
    let [u, v] = truth.apply(PATCH_AT);
    (x * w - u).hypot(y * w - v)
}

fn still(gain: f64) -> Scene {
    Scene {
        motion: Similarity::IDENTITY,
        gain,
        hand: None,
        noise: 0.01,
    }
}

/// Zoom ±25 %, roll ±14°, a path of 150 pixels, exposure ±15 %, noise of 1 %: mean error at most
/// 0.5 pixels, 95 % within 1, nothing lost; and the same poses on a second run.
#[test]
fn follows_zoom_roll_exposure_and_noise() {
    let stage = Stage::new();
    let scene = |i: u32| {
        let t = f64::from(i) / 60.0 * std::f64::consts::TAU;
        Scene {
            motion: motion(
                1.0 + 0.25 * t.sin(),
                14.0 * (2.0 * t).sin(),
                [75.0 * (1.3 * t).sin(), 25.0 * (2.0 * t).sin()],
            ),
            gain: 1.0 + 0.15 * (2.0 * t).sin(),
            ..still(1.0)
        }
    };
    let run = || {
        let mut random = Random::new(5);
        let first = stage.frame(scene(0), &mut random);
        let mut follower = Follower::new(&first, WIDTH, HEIGHT, &patch()).unwrap();
        (1..60)
            .map(|i| follower.next(&stage.frame(scene(i), &mut random)))
            .collect::<Vec<Pose>>()
    };
    let poses = run();
    let mut errors: Vec<f64> = poses
        .iter()
        .zip(1..)
        .map(|(pose, i)| error(pose.held().expect("held"), &scene(i).motion))
        .collect();
    errors.sort_by(f64::total_cmp);
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    let p95 = errors[errors.len() * 95 / 100];
    println!(
        "mean {mean:.3} p95 {p95:.3} max {:.3}",
        errors[errors.len() - 1]
    );
    assert!(mean <= 0.5 && p95 <= 1.0, "mean {mean} p95 {p95}");
    assert_eq!(poses, run());
}

/// A textured hand crosses: lost while it hides the patch, never held on it, and held again in the
/// right place after. A brighter hand is noticed before a fifth of the patch is under it, which is
/// what the trimmed mean cuts; one as bright as the skin, a twelfth apart, before a third is, when
/// it moves the mean by less than 1.5 % of white.
#[test]
fn a_crossing_hand_is_never_followed() {
    crossing_hand(0.8, 0.2);
    crossing_hand(0.6, 0.33);
}

fn crossing_hand(level: f64, most_covered: f64) {
    let stage = Stage::new();
    let scene = |i: u32| Scene {
        motion: motion(1.0, 0.0, [0.3 * f64::from(i), 0.0]),
        hand: Some((f64::from(i) * 9.0 - 140.0, level)),
        ..still(1.0)
    };
    // Share of a disc that lies between two upright lines.
    let left_of = |x: f64| {
        let x = x.clamp(-1.0, 1.0);
        0.5 + (x * (1.0 - x * x).sqrt() + x.asin()) / std::f64::consts::PI
    };
    let covered = |i: u32| {
        let s = scene(i);
        let [x, _] = s.motion.apply(PATCH_AT);
        let hand = f64::from(i) * 9.0 - 140.0;
        left_of((hand + 130.0 - x) / 18.0) - left_of((hand - x) / 18.0)
    };
    let mut random = Random::new(9);
    let first = stage.frame(scene(0), &mut random);
    let mut follower = Follower::new(&first, WIDTH, HEIGHT, &patch()).unwrap();
    let (mut lost, mut held_after, mut worst_covered) = (0, 0, 0.0f64);
    for i in 1..70 {
        let pose = follower.next(&stage.frame(scene(i), &mut random));
        match pose {
            Pose::Held(pose) => {
                worst_covered = worst_covered.max(covered(i));
                assert!(
                    covered(i) < most_covered,
                    "held at frame {i}, {:.2} covered",
                    covered(i)
                );
                let off = error(&pose, &scene(i).motion);
                assert!(off < 1.5, "frame {i}: {off:.2} pixels off");
                held_after += i32::from(lost > 0);
            }
            Pose::Lost(_) => lost += 1,
        }
    }
    println!("lost {lost}, held after {held_after}, worst cover while held {worst_covered:.2}");
    let hidden = (1..70).filter(|&i| covered(i) > most_covered).count() as i32;
    // The surroundings, by which it is known again, reach 54 pixels further: six frames of the hand's
    // way, and the margin that is followed two at each end.
    assert!(
        lost >= hidden && lost <= hidden + 10,
        "lost {lost}, hidden {hidden}"
    );
    assert!(held_after >= 8);
}

/// A cut to another picture is a loss, and stays one.
#[test]
fn another_picture_is_never_the_patch() {
    let stage = Stage::new();
    let mut random = Random::new(4);
    let first = stage.frame(still(1.0), &mut random);
    let mut follower = Follower::new(&first, WIDTH, HEIGHT, &patch()).unwrap();
    assert!(
        follower
            .next(&stage.frame(still(1.0), &mut random))
            .held()
            .is_some()
    );
    for seed in 20..32 {
        let other = Stage {
            head: Texture::new(seed, 12.0, 80.0),
            wall: Texture::new(seed + 100, 10.0, 120.0),
            hand: Texture::new(0, 9.0, 60.0),
        };
        let pose = follower.next(&other.frame(still(1.0), &mut random));
        assert!(pose.held().is_none(), "{pose:?}");
    }
    assert!(
        follower
            .next(&stage.frame(still(1.0), &mut random))
            .held()
            .is_some()
    );
}

/// A flat patch is held by what surrounds it; where everything is flat there is nothing to hold.
#[test]
fn a_flat_patch_needs_its_surroundings() {
    let stage = Stage::new();
    let mut random = Random::new(6);
    let [px, py] = PATCH_AT;
    let mut frame = |flat: f64| -> Vec<f32> {
        let mut luma = stage.frame(still(1.0), &mut random);
        for (i, value) in luma.iter_mut().enumerate() {
            let (x, y) = ((i % WIDTH) as f64 + 0.5, (i / WIDTH) as f64 + 0.5);
            if (x - px).hypot(y - py) < flat {
                *value = 0.6 + 0.004 * random.normal() as f32;
            }
        }
        luma
    };
    let mut follower = Follower::new(&frame(22.0), WIDTH, HEIGHT, &patch()).unwrap();
    for _ in 0..8 {
        let pose = follower.next(&frame(22.0));
        let off = error(pose.held().expect("held"), &Similarity::IDENTITY);
        assert!(off < 0.5, "{off}");
    }
    let mut follower = Follower::new(&frame(1e3), WIDTH, HEIGHT, &patch()).unwrap();
    for _ in 0..4 {
        assert!(follower.next(&frame(1e3)).held().is_none());
    }
}

#[test]
fn odd_frames_are_losses_not_panics() {
    let stage = Stage::new();
    let mut random = Random::new(6);
    let first = stage.frame(still(1.0), &mut random);
    assert!(Follower::new(&first, WIDTH, HEIGHT - 1, &patch()).is_err());
    assert!(Follower::new(&[], 0, 0, &patch()).is_err());
    let mut follower = Follower::new(&first, WIDTH, HEIGHT, &patch()).unwrap();
    assert_eq!(
        follower.next(&first[1..]),
        Pose::Lost(LostReason::FrameSize)
    );
    assert!(follower.next(&vec![f32::NAN; first.len()]).held().is_none());
    assert!(
        follower
            .next(&vec![f32::INFINITY; first.len()])
            .held()
            .is_none()
    );
    assert!(follower.next(&first).held().is_some());
    // At the edge of the picture, and moved out of it.
    let edge = Patch::parse("ellipse=0.99,0.5,0.04,0.07", 0, None).unwrap();
    let mut follower = Follower::new(&first, WIDTH, HEIGHT, &edge).unwrap();
    for i in 0..12 {
        let scene = Scene {
            motion: motion(1.0, 0.0, [12.0 * f64::from(i), 0.0]),
            ..still(1.0)
        };
        let _ = follower.next(&stage.frame(scene, &mut random));
    }
}

/// Sizes at which the picture is made smaller first: a pose in picture widths is the same.
#[test]
fn large_pictures_are_followed_smaller() {
    let patch = patch();
    assert_eq!(factor(&patch.shape, 480, 270), 1);
    assert_eq!(factor(&patch.shape, 3840, 2160), 3);
    let small = Patch::parse("ellipse=0.5,0.5,0.004,0.007", 0, None).unwrap();
    assert_eq!(factor(&small.shape, 3840, 2160), 1);
    let reduced = reduce(
        &[0.0, 1.0, f32::NAN, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 9.0],
        5,
        2,
        2,
    );
    assert_eq!((reduced.width, reduced.height), (2, 1));
    assert_eq!(reduced.luma, [127.5, 0.0]);
}
