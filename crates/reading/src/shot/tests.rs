use super::*;
use crate::pixels::Chosen;
use crate::read_frame;
use crate::testing::Random;
use inkarnat_color::{Coefficients, Region, Rgb};
use proptest::prelude::*;

fn frame(frame: u64, y: f64, cb: f64, cr: f64) -> FrameReading {
    FrameReading {
        frame,
        mean: Ycbcr { y, cb, cr },
        mean_u: [0.001; 3],
        spread: [0.02; 3],
        noise: [0.01; 3],
        samples: 900,
        clipped: 0.0,
        confidence: 0.9,
    }
}

fn context() -> ShotContext {
    ShotContext::new(CodeStep::of(Levels::Narrow, 10))
}

/// A reading of constant frames is the frame itself: level 60 %, code 64 + 8.76·60 = 589.6, chroma
/// 0.13, hue atan2(0.12, −0.05) = 112.62°, 10.38° from the line toward red.
#[test]
fn constant_frames_by_hand() {
    let frames: Vec<_> = (0..20).map(|i| frame(i, 0.6, -0.05, 0.12)).collect();
    let shot = read_shot(&frames, &context()).unwrap();
    assert!((shot.level.0 - 60.0).abs() < 1e-9);
    assert!((shot.code10 - 589.6).abs() < 1e-9);
    assert!((shot.chroma - 0.13).abs() < 1e-12);
    assert!((shot.hue.unwrap().degrees() - 112.6199).abs() < 1e-3);
    assert!((shot.off_line.unwrap().degrees() + 10.3801).abs() < 1e-3);
    assert_eq!(
        shot.off_line.unwrap().direction(),
        Some("toward red/magenta")
    );
    assert!((shot.sat_ratio.unwrap() - 0.13 / 0.6).abs() < 1e-12);
    // Frames without scatter are one frame seen again and again: what its blocks say.
    assert!((shot.level_u - 0.1).abs() < 1e-3);
    assert!((shot.drift.level).abs() < 1e-12);
    assert!(shot.worst_frame.de00.0 < 1e-9);
}

#[test]
fn no_hue_below_the_floor() {
    let frames: Vec<_> = (0..5).map(|i| frame(i, 0.3, -0.008, 0.012)).collect();
    let shot = read_shot(&frames, &context()).unwrap();
    assert!(shot.hue.is_none() && shot.hue_u.is_none());
    assert!(shot.off_line.is_none() && shot.drift.hue.is_none());
}

/// Hues on both sides of 0° average to 0°, and drift counts along the short way.
#[test]
fn hue_is_a_circle() {
    let frames: Vec<_> = (0..41)
        .map(|i| {
            let angle = (i as f64 - 20.0).to_radians();
            frame(i, 0.5, 0.1 * angle.cos(), 0.1 * angle.sin())
        })
        .collect();
    let shot = read_shot(&frames, &context()).unwrap();
    let hue = shot.hue.unwrap().from_origin(Hue::from_degrees(0.0));
    assert!(hue.degrees().abs() < 1e-6);
    // The tangent of ±20° overstates the arc by 2 %; the trimmed mean radius is a little shorter.
    assert!(
        (shot.drift.hue.unwrap() - 40.0).abs() < 1.0,
        "{:?}",
        shot.drift
    );
}

#[test]
fn drift_and_worst_frame() {
    let mut frames: Vec<_> = (0..50)
        .map(|i| frame(100 + i, 0.5 + 0.001 * i as f64, -0.05, 0.08))
        .collect();
    frames[20].mean.y = 0.2;
    let shot = read_shot(&frames, &context()).unwrap();
    assert!((shot.drift.level - 4.9).abs() < 0.05, "{:?}", shot.drift);
    assert_eq!(shot.drift.span, 49);
    assert_eq!(shot.worst_frame.frame, 120);
    assert!(shot.worst_frame.de00.0 > 20.0);
    assert!((shot.level.0 - 52.4).abs() < 0.15);
}

#[test]
fn too_few_frames_say_so() {
    let few = [frame(0, 0.5, -0.05, 0.08), frame(1, 0.5, -0.05, 0.08)];
    let lost = ShotContext {
        frames_lost: 70,
        ..context()
    };
    let text = read_shot(&few, &lost).unwrap_err().to_string();
    assert!(
        text.contains("2 of 72") && text.contains("at least 3"),
        "{text}"
    );
    // A still is a shot of one frame.
    assert!(read_shot(&few[..1], &context()).is_ok());
    assert!(read_shot(&[], &context()).is_err());
    let mut broken = few;
    broken[0].mean.cb = f64::NAN;
    assert_eq!(read_shot(&broken, &context()), Err(Unreadable::NotFinite));
}

#[test]
fn goes_through_json() {
    let frames: Vec<_> = (0..20).map(|i| frame(i, 0.6, -0.05, 0.12)).collect();
    let shot = read_shot(&frames, &context()).unwrap();
    let text = serde_json::to_string(&shot).unwrap();
    assert_eq!(serde_json::from_str::<ShotReading>(&text).unwrap(), shot);
}

/// What a simulated shot consists of.
#[derive(Clone, Copy)]
struct Scene {
    frames: u64,
    side: usize,
    /// Standard deviation of the pixel noise of each channel.
    noise: f64,
    /// Neighbouring pixels share their noise (mean of 2 x 2).
    shared: bool,
    /// Standard deviation of a flicker of the light, as a factor.
    flicker: f64,
    /// How much of the flicker carries over to the next frame.
    carry: f64,
    /// Codes are rounded to this depth.
    depth: u8,
}

fn simulate(scene: Scene, random: &mut Random) -> ShotReading {
    const SKIN: [f64; 3] = [0.72, 0.55, 0.47];
    let side = scene.side;
    let chosen = Chosen {
        region: Region::whole(side, side),
        pixels: (0..(side * side) as u32).collect(),
        clipped: 0,
    };
    let coefficients = Coefficients::Bt709;
    let step = CodeStep::of(Levels::Narrow, scene.depth);
    let round = |v: f64, step: f64| (v / step).round() * step;
    let mut flicker = scene.flicker * random.normal();
    let readings: Vec<FrameReading> = (0..scene.frames)
        .map(|index| {
            let fresh = (1.0 - scene.carry * scene.carry).sqrt() * scene.flicker;
            flicker = scene.carry * flicker + fresh * random.normal();
            let field: Vec<[f64; 3]> = (0..(side + 1) * (side + 1))
                .map(|_| std::array::from_fn(|_| scene.noise * random.normal()))
                .collect();
            let mut picture = Rgb::new(side, side);
            for i in 0..side * side {
                let (x, y) = (i % side, i / side);
                let at = |dx: usize, dy: usize| field[(y + dy) * (side + 1) + x + dx];
                let noise: [f64; 3] = std::array::from_fn(|c| {
                    if scene.shared {
                        (at(0, 0)[c] + at(1, 0)[c] + at(0, 1)[c] + at(1, 1)[c]) / 2.0
                    } else {
                        at(0, 0)[c]
                    }
                });
                // A shading of ±4 % from left to right.
                let shade = 1.0 + 0.08 * ((x as f64 + 0.5) / side as f64 - 0.5) + flicker;
                let rgb = std::array::from_fn(|c| SKIN[c] * shade + noise[c]);
                let mut ycbcr = coefficients.ycbcr_from_rgb(rgb);
                ycbcr.y = round(ycbcr.y, step.luma);
                ycbcr.cb = round(ycbcr.cb, step.chroma);
                ycbcr.cr = round(ycbcr.cr, step.chroma);
                let rgb = coefficients.rgb_from_ycbcr(ycbcr);
                picture.set_pixel(i, rgb.map(|v| v as f32));
            }
            read_frame(index, &picture, &chosen, WorkingSpace::default()).unwrap()
        })
        .collect();
    read_shot(&readings, &ShotContext::new(step)).unwrap()
}

/// Errors in units of their own stated uncertainty: root mean square 0.8–1.25 for level and hue,
/// in noise of independent and of shared pixels, with flicker, and from 1 to 40 frames.
///
/// The bounds are those of an honest uncertainty that is itself known to about a fifth.
#[test]
fn uncertainty_is_honest() {
    let base = Scene {
        frames: 24,
        side: 32,
        noise: 0.02,
        shared: false,
        flicker: 0.0,
        carry: 0.0,
        depth: 10,
    };
    let mut random = Random::new(20_260);
    let truth = Coefficients::Bt709.ycbcr_from_rgb([0.72, 0.55, 0.47]);
    let hue = truth.chroma().hue().unwrap();
    for (name, scene) in [
        ("noise", base),
        ("one frame", Scene { frames: 1, ..base }),
        ("four frames", Scene { frames: 4, ..base }),
        ("six frames", Scene { frames: 6, ..base }),
        (
            "shared noise",
            Scene {
                shared: true,
                ..base
            },
        ),
        (
            "one frame, shared noise",
            Scene {
                frames: 1,
                shared: true,
                ..base
            },
        ),
        (
            "flicker",
            Scene {
                flicker: 0.01,
                ..base
            },
        ),
        (
            "slow flicker",
            Scene {
                flicker: 0.01,
                carry: 0.5,
                frames: 40,
                ..base
            },
        ),
        ("8 bit", Scene { depth: 8, ..base }),
    ] {
        let runs = 150;
        let (mut level_square, mut hue_square) = (0.0, 0.0);
        for _ in 0..runs {
            let shot = simulate(scene, &mut random);
            level_square += ((shot.level.signal() - truth.y) * 100.0 / shot.level_u).powi(2);
            let arc = shot.hue.unwrap().from_origin(hue).degrees();
            hue_square += (arc / shot.hue_u.unwrap()).powi(2);
        }
        let level = (level_square / f64::from(runs)).sqrt();
        let hue = (hue_square / f64::from(runs)).sqrt();
        println!("{name}: z rms level {level:.2}, hue {hue:.2}");
        for z in [level, hue] {
            assert!((0.8..=1.25).contains(&z), "{name}: {level:.2} {hue:.2}");
        }
    }
}

proptest! {
    /// No input of finite numbers makes a number that is none.
    #[test]
    fn stays_finite(values in proptest::collection::vec((-0.1f64..1.2, -0.6f64..0.6, -0.6f64..0.6), 3..40),
                    same in proptest::bool::ANY) {
        let frames: Vec<_> = values
            .iter()
            .enumerate()
            .map(|(i, &(y, cb, cr))| {
                let mut f = frame(if same { 5 } else { i as u64 }, y, cb, cr);
                if same { f.noise = [0.0; 3]; f.mean_u = [0.0; 3]; f.spread = [0.0; 3]; }
                f
            })
            .collect();
        let shot = read_shot(&frames, &context()).unwrap();
        let text = serde_json::to_string(&shot).unwrap();
        // serde_json writes null for what is not finite; only the optional fields may be null.
        let back: ShotReading = serde_json::from_str(&text).unwrap();
        prop_assert!(back.level_u >= 0.0 && back.chroma_u >= 0.0 && back.drift.level_u >= 0.0);
        prop_assert!(back.hue_u.is_none_or(|u| u >= 0.0));
        prop_assert_eq!(back, shot);
    }

    /// Turning the chroma of every frame turns the hue and changes nothing else.
    #[test]
    fn turns_with_its_frames(turn in -180.0f64..180.0) {
        let make = |turn: f64| -> ShotReading {
            let frames: Vec<_> = (0..30)
                .map(|i| {
                    let angle = (110.0 + turn + 2.0 * f64::from(i % 5)).to_radians();
                    frame(u64::from(i as u32), 0.5, 0.1 * angle.cos(), 0.1 * angle.sin())
                })
                .collect();
            read_shot(&frames, &context()).unwrap()
        };
        let (plain, turned) = (make(0.0), make(turn));
        let arc = turned.hue.unwrap().from_origin(plain.hue.unwrap());
        // Each of Cb and Cr is trimmed in its own order, which is not quite the same from angle to angle.
        prop_assert!(HueDelta::from_degrees(arc.degrees() - turn).degrees().abs() < 1.0);
        prop_assert!((turned.hue_u.unwrap() / plain.hue_u.unwrap() - 1.0).abs() < 0.1);
    }
}
