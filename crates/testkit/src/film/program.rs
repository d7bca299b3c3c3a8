//! The finished picture: bars and leader, then the cut, with its dissolve and title.

use std::path::Path;

use inkarnat_color::Rgb;
use inkarnat_color::picture::{Planes16, Region as Area, Subsampling};

use super::RATE;
use super::lists::RECORD_START;
use super::movie::{MovieError, Reader, Track, Writer};
use super::scenario::Use;
use crate::render::quantise;
use crate::scene::Codec;

/// Frames of bars at the head.
pub const BARS: u64 = 2 * RATE;
/// Frames of leader after the bars.
pub const LEADER: u64 = 2 * RATE;

/// Colour bars 100/0/75/0: white at 100 %, the colours at 75 % (EBU bars; levels by BT.709-6 item 3.4).
#[must_use]
pub fn bars(width: usize, height: usize) -> Rgb {
    const BARS: [[f32; 3]; 8] = [
        [1.0, 1.0, 1.0],
        [0.75, 0.75, 0.0],
        [0.0, 0.75, 0.75],
        [0.0, 0.75, 0.0],
        [0.75, 0.0, 0.75],
        [0.75, 0.0, 0.0],
        [0.0, 0.0, 0.75],
        [0.0, 0.0, 0.0],
    ];
    let mut picture = Rgb::new(width, height);
    for i in 0..width * height {
        picture.set_pixel(i, BARS[(i % width) * 8 / width]);
    }
    picture
}

/// Five by seven dots a letter; enough for titles and numbers.
fn glyph(letter: char) -> [u8; 7] {
    match letter {
        'A' => [0x0e, 0x11, 0x11, 0x1f, 0x11, 0x11, 0x11],
        'E' => [0x1f, 0x10, 0x10, 0x1e, 0x10, 0x10, 0x1f],
        'H' => [0x11, 0x11, 0x11, 0x1f, 0x11, 0x11, 0x11],
        'K' => [0x11, 0x12, 0x14, 0x18, 0x14, 0x12, 0x11],
        'P' => [0x1e, 0x11, 0x11, 0x1e, 0x10, 0x10, 0x10],
        'R' => [0x1e, 0x11, 0x11, 0x1e, 0x14, 0x12, 0x11],
        'S' => [0x0f, 0x10, 0x10, 0x0e, 0x01, 0x01, 0x1e],
        'T' => [0x1f, 0x04, 0x04, 0x04, 0x04, 0x04, 0x04],
        'Y' => [0x11, 0x11, 0x0a, 0x04, 0x04, 0x04, 0x04],
        '1' => [0x04, 0x0c, 0x04, 0x04, 0x04, 0x04, 0x0e],
        '2' => [0x0e, 0x11, 0x01, 0x06, 0x08, 0x10, 0x1f],
        _ => [0; 7],
    }
}

/// Writes white text, centred at (`x`, `y`) as fractions, each dot `dot` pixels; soft by `opacity`.
fn write_text(picture: &mut Rgb, text: &str, (x, y): (f64, f64), dot: usize, opacity: f32) {
    let columns = text.chars().count() * 6 - 1;
    let left = (x * picture.width as f64) as isize - (columns * dot / 2) as isize;
    let top = (y * picture.height as f64) as isize - (7 * dot / 2) as isize;
    for (n, letter) in text.chars().enumerate() {
        for (row, bits) in glyph(letter).iter().enumerate() {
            for column in (0..5).filter(|c| bits & (0x10 >> c) != 0) {
                for dy in 0..dot {
                    for dx in 0..dot {
                        let px = left + ((n * 6 + column) * dot + dx) as isize;
                        let py = top + (row * dot + dy) as isize;
                        let (w, h) = (picture.width as isize, picture.height as isize);
                        if (0..w).contains(&px) && (0..h).contains(&py) {
                            let i = (py * w + px) as usize;
                            let p = picture.pixel(i).map(|v| v + opacity * (0.94 - v));
                            picture.set_pixel(i, p);
                        }
                    }
                }
            }
        }
    }
}

/// A frame of leader: a number on grey, a hand going round.
#[must_use]
pub fn leader(width: usize, height: usize, frame: u64) -> Rgb {
    let mut picture = Rgb::new(width, height);
    let turn = (frame % RATE) as f64 / RATE as f64;
    for i in 0..width * height {
        let (x, y) = (
            (i % width) as f64 - width as f64 / 2.0,
            (i / width) as f64 - height as f64 / 2.0,
        );
        let angle = (x.atan2(-y) / std::f64::consts::TAU).rem_euclid(1.0);
        let ring = (x.hypot(y) / height as f64 - 0.36).abs() < 0.006;
        let level = if ring {
            0.85
        } else if angle < turn {
            0.28
        } else {
            0.42
        };
        picture.set_pixel(i, [level; 3]);
    }
    let number = if frame < RATE { "2" } else { "1" };
    write_text(&mut picture, number, (0.5, 0.5), height / 24, 1.0);
    picture
}

fn signal_of(frame: &Planes16) -> Rgb {
    frame
        .as_native()
        .rgb_region(Area::whole(frame.width, frame.height))
}

fn blend(from: &Planes16, to: &Planes16, amount: f32) -> Planes16 {
    let mut out = to.clone();
    for (plane, (a, b)) in out
        .planes
        .iter_mut()
        .zip(from.planes.iter().zip(&to.planes))
    {
        for (v, (a, b)) in plane.iter_mut().zip(a.iter().zip(b)) {
            *v = (f32::from(*a) + amount * (f32::from(*b) - f32::from(*a)) + 0.5) as u16;
        }
    }
    out
}

/// Joins the film from its camera files in `clips` into `path`, ProRes.
///
/// # Errors
/// When a camera file is missing or `ffmpeg` fails.
pub fn join(
    cut: &[Use],
    clips: &Path,
    path: &Path,
    size: (usize, usize),
) -> Result<(), MovieError> {
    let (width, height) = size;
    let frames = BARS + LEADER + cut.iter().map(|u| u.frames).sum::<u64>();
    let track = Track {
        start: RECORD_START - BARS - LEADER,
        frames,
        seed: 1000,
        reel: "MASTER",
    };
    let coded = |picture: &Rgb| quantise(picture, Subsampling::S422, 10);
    let mut writer = Writer::new(path, Codec::ProRes, size, track)?;
    let test = coded(&bars(width, height));
    for _ in 0..BARS {
        writer.write(&test)?;
    }
    for frame in 0..LEADER {
        writer.write(&coded(&leader(width, height, frame)))?;
    }
    let file = |name: &str| clips.join(format!("{name}.mov"));
    for (number, u) in cut.iter().enumerate() {
        let mut reader = Reader::new(&file(u.take), size, u.from, u.frames)?;
        let mut before = match (u.dissolve, number.checked_sub(1)) {
            (0, _) | (_, None) => None,
            (length, Some(n)) => {
                let b = &cut[n];
                Some(Reader::new(&file(b.take), size, b.from + b.frames, length)?)
            }
        };
        for frame in 0..u.frames {
            let mut picture = reader.read()?;
            if frame < u.dissolve
                && let Some(before) = &mut before
            {
                let amount = (frame + 1) as f32 / (u.dissolve + 1) as f32;
                picture = blend(&before.read()?, &picture, amount);
            }
            if let Some(title) = u.title {
                let opacity = title_opacity(frame, u.frames);
                if opacity > 0.0 {
                    let mut signal = signal_of(&picture);
                    write_text(&mut signal, title, (0.5, 0.62), height / 90, opacity);
                    picture = coded(&signal);
                }
            }
            writer.write(&picture)?;
        }
    }
    writer.finish()
}

/// Fades in over half a second, out over half a second.
fn title_opacity(frame: u64, frames: u64) -> f32 {
    let fade = RATE as f32 / 2.0;
    let (t, rest) = (frame as f32, (frames - 1 - frame) as f32);
    ((t - 8.0) / fade).min(rest / fade).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 10-bit codes of 75 % bars as SMPTE RP 219 prints them: yellow 674 176 543, red 204 435 848, blue 111 848 481.
    #[test]
    fn bars_have_the_published_codes() {
        let codes = quantise(&bars(640, 4), Subsampling::S444, 10);
        for (bar, wanted) in [
            (0, [940, 512, 512]),
            (1, [674, 176, 543]),
            (5, [204, 435, 848]),
            (6, [111, 848, 481]),
        ] {
            let i = bar * 80 + 40;
            assert_eq!(codes.planes.each_ref().map(|p| p[i]), wanted, "bar {bar}");
        }
    }

    #[test]
    fn a_title_is_seen_and_fades() {
        let mut picture = Rgb::new(160, 90);
        write_text(&mut picture, "THE SPARE KEY", (0.5, 0.5), 2, 1.0);
        assert!(picture.planes[0].iter().filter(|v| **v > 0.9).count() > 300);
        assert_eq!(title_opacity(0, 72), 0.0);
        assert_eq!(title_opacity(36, 72), 1.0);
        assert_eq!(title_opacity(71, 72), 0.0);
    }
}
