//! Follows a patch through a clip and writes pictures of it, to look at.
//!
//! `cargo run --release --example follow -- CLIP WIDTH HEIGHT FRAME 'ellipse=CX,CY,RX,RY' OUT.png [EVERY]`
//!
//! The clip is decoded to luma by the `ffmpeg` program. The sheet shows every n-th frame: the outline
//! in white where the patch is held, a cross where it is lost.
#![allow(clippy::print_stdout)]

use inkarnat_reading::{Follower, Patch, Pose, Similarity, Track, patch_pixels};
use std::process::{Command, Stdio};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().collect();
    let [_, clip, width, height, frame, shape, out, rest @ ..] = arguments.as_slice() else {
        return Err("expected CLIP WIDTH HEIGHT FRAME SHAPE OUT.png [EVERY]".into());
    };
    let (width, height): (usize, usize) = (width.parse()?, height.parse()?);
    let frame: u64 = frame.parse()?;
    let every: usize = rest.first().map_or(Ok(6), |text| text.parse())?;
    let output = Command::new("ffmpeg")
        .args([
            "-v", "error", "-i", clip, "-f", "rawvideo", "-pix_fmt", "gray", "-",
        ])
        .stdout(Stdio::piped())
        .output()?;
    let frames: Vec<Vec<f32>> = output
        .stdout
        .chunks_exact(width * height)
        .map(|f| f.iter().map(|&v| f32::from(v) / 255.0).collect())
        .collect();
    let patch = Patch::parse(shape, frame, None)?;
    let drawn = usize::try_from(frame)?;
    let first = frames.get(drawn).ok_or("no such frame")?;
    let start = processor_ms();
    let run = |order: &mut dyn Iterator<Item = &Vec<f32>>| -> Result<Vec<(Pose, f64)>, inkarnat_reading::FollowError> {
        let mut follower = Follower::new(first, width, height, &patch)?;
        Ok(order
            .map(|luma| (follower.next(luma), follower.correlation()))
            .collect())
    };
    let forward = run(&mut frames[drawn + 1..].iter())?;
    let backward = run(&mut frames[..drawn].iter().rev())?;
    let took = (processor_ms() - start) / (frames.len() - 1).max(1) as f64;
    let poses = |list: &[(Pose, f64)]| list.iter().map(|p| p.0).collect::<Vec<_>>();
    let track = Track::join(frame, &poses(&backward), &poses(&forward));
    println!(
        "{} frames, {} lost, {took:.2} ms of processor time a frame",
        frames.len(),
        track.lost()
    );
    for (span, reason) in track.lost_spans() {
        println!("  lost {span:?}: {reason}");
    }
    let correlations: Vec<f64> = forward.iter().map(|p| p.1).collect();
    let worst = correlations.iter().copied().fold(1.0, f64::min);
    println!("  lowest correlation of a held frame, forward: {worst:.2}");

    let shown: Vec<usize> = (0..frames.len()).step_by(every).collect();
    let across = 6.min(shown.len());
    let shrink = width.div_ceil(320).max(1);
    let (w, h) = (width / shrink, height / shrink);
    let mut sheet = image::GrayImage::new(
        (across * w) as u32,
        (shown.len().div_ceil(across) * h) as u32,
    );
    for (tile, &index) in shown.iter().enumerate() {
        let (left, top) = (tile % across * w, tile / across * h);
        let mut picture: Vec<f32> = frames[index].clone();
        match track.pose(index as u64) {
            Pose::Held(pose) => outline(&mut picture, &patch, &pose, width, height, shrink),
            Pose::Lost(_) => {
                for i in 0..height.min(width) / 8 {
                    for thick in 0..shrink * 2 {
                        picture[i * width + i + thick] = 1.0;
                        picture[i * width + height.min(width) / 8 - i + thick] = 1.0;
                    }
                }
            }
        }
        for y in 0..h {
            for x in 0..w {
                let value = picture[y * shrink * width + x * shrink] * 255.0;
                sheet.put_pixel(
                    (left + x) as u32,
                    (top + y) as u32,
                    image::Luma([value as u8]),
                );
            }
        }
    }
    sheet.save(out)?;
    Ok(())
}

/// Time that this thread has spent on a processor, in milliseconds; 0 where the system does not say.
fn processor_ms() -> f64 {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split_whitespace().next()?.parse::<f64>().ok())
        .map_or(0.0, |nanoseconds| nanoseconds / 1e6)
}

fn outline(
    picture: &mut [f32],
    patch: &Patch,
    pose: &Similarity,
    width: usize,
    height: usize,
    thick: usize,
) {
    let pixels = patch_pixels(patch, pose, width, height);
    let mut inside = vec![false; width * height];
    for &index in &pixels.inside {
        let (x, y) = (
            index as usize % pixels.region.width,
            index as usize / pixels.region.width,
        );
        inside[(y + pixels.region.y) * width + x + pixels.region.x] = true;
    }
    for y in thick..height - thick {
        for x in thick..width - thick {
            let here = y * width + x;
            let edge = inside[here]
                && !(inside[here - thick]
                    && inside[here + thick]
                    && inside[here - thick * width]
                    && inside[here + thick * width]);
            if edge {
                picture[here] = 1.0;
            }
        }
    }
}
