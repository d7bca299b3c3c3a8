//! Small natural motion as functions of time: blinking, speech, sway. Seeded; the same time gives the same value.

use glam::{Vec2, Vec3, vec2, vec3};

use crate::expression::Expression;
use crate::math::{hash3, noise, smooth};

fn wave(t: f32, seed: u32, k: f32) -> f32 {
    noise(vec3(t, seed as f32 * 1.37 % 64.0, k))
}

/// Slow sway of a held head (yaw, pitch, roll), radians; about ±2°.
#[must_use]
pub fn sway(t: f32, seed: u32) -> Vec3 {
    vec3(
        0.035 * wave(t * 0.7, seed, 1.0),
        0.022 * wave(t * 0.9, seed, 2.0),
        0.014 * wave(t * 0.6, seed, 3.0),
    )
}

/// Small shifts of the gaze (yaw, pitch), radians; held between quick jumps.
#[must_use]
pub fn glance(t: f32, seed: u32) -> Vec2 {
    let k = t * 1.3;
    let at = |i: f32| {
        let h = |j| hash3(i as i32, seed as i32, j) - 0.5;
        vec2(0.06 * h(1), 0.035 * h(2))
    };
    at(k.floor()).lerp(at(k.floor() + 1.0), smooth(0.94, 1.0, k.fract()))
}

/// Closing of the lids, 0–1: a blink of about 0.25 s every two to five seconds.
#[must_use]
pub fn blink(t: f32, seed: u32) -> f32 {
    let period = 3.3;
    let k = (t / period).floor();
    let at = (k + 0.25 + 0.5 * hash3(k as i32, seed as i32, 5)) * period;
    let x = t - at;
    if x < 0.0 {
        smooth(-0.09, 0.0, x)
    } else {
        smooth(0.17, 0.03, x)
    }
}

/// Breath, 0–1, one in about four seconds.
#[must_use]
pub fn breath(t: f32, seed: u32) -> f32 {
    0.5 - 0.5 * ((t + hash3(seed as i32, 1, 1)) * 1.55).cos()
}

/// Mouth of somebody talking: opening and rounding.
#[must_use]
pub fn speech(t: f32, seed: u32) -> Expression {
    let syllable = (0.5 - 0.5 * (t * 9.0 + 2.0 * wave(t * 2.0, seed, 5.0)).cos())
        * smooth(-0.35, 0.25, wave(t * 1.1, seed, 6.0));
    Expression {
        open: (0.42 * syllable).clamp(0.0, 1.0),
        round: (0.45 * wave(t * 2.3, seed, 7.0)).max(0.0) * syllable,
        brow_up: (0.35 * wave(t * 0.8, seed, 8.0)).max(0.0),
        ..Expression::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eyes_are_mostly_open_and_blink_now_and_then() {
        let closed = |seed| {
            (0..2400)
                .filter(|i| blink(*i as f32 / 24.0, seed) > 0.5)
                .count()
        };
        for seed in 0..5 {
            // 100 s hold 30 blinks of three to five frames.
            assert!(
                (60..200).contains(&closed(seed)),
                "{} of 2400 frames",
                closed(seed)
            );
        }
    }

    #[test]
    fn speech_opens_and_closes_the_mouth() {
        let open: Vec<f32> = (0..480).map(|i| speech(i as f32 / 24.0, 3).open).collect();
        assert!(open.iter().all(|o| (0.0..=0.6).contains(o)));
        assert!(open.iter().any(|o| *o > 0.25) && open.iter().any(|o| *o < 0.02));
    }
}
