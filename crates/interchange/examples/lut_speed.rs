//! Times a table on a picture: `lut_speed CUBE PICTURE RESULT THREADS REPEATS`.
//!
//! PICTURE holds three planes of raw little-endian `f32`, RESULT gets the same. The seconds of each
//! repeat are printed, a line each: applying alone, from planes in memory to planes in memory.
#![allow(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "an example program, not part of the pure crate"
)]

use inkarnat_interchange::{CubeFile, Table};
use inkarnat_ops::fast::FastLut;
use std::error::Error;
use std::fs;
use std::thread;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [cube, picture, result, threads, repeats] = arguments.as_slice() else {
        return Err("expected CUBE PICTURE RESULT THREADS REPEATS".into());
    };
    let Table::ThreeD(lut) = CubeFile::read(&fs::read(cube)?)?.table else {
        return Err("expected a 3D table".into());
    };
    lut.validate()?;
    let table = FastLut::new(&lut);
    let samples: Vec<f32> = fs::read(picture)?
        .as_chunks::<4>()
        .0
        .iter()
        .map(|bytes| f32::from_le_bytes(*bytes))
        .collect();
    let pixels = samples.len() / 3;
    if pixels == 0 {
        return Err("expected a picture of three planes".into());
    }
    let threads: usize = threads.parse()?;
    let part = pixels.div_ceil(threads.max(1));
    let mut done = Vec::new();
    for _ in 0..repeats.parse()? {
        done.clone_from(&samples);
        let (r, rest) = done.split_at_mut(pixels);
        let (g, b) = rest.split_at_mut(pixels);
        let start = Instant::now();
        thread::scope(|scope| {
            let parts = r
                .chunks_mut(part)
                .zip(g.chunks_mut(part))
                .zip(b.chunks_mut(part));
            for ((r, g), b) in parts {
                if threads == 1 {
                    table.apply([r, g, b]);
                } else {
                    scope.spawn(|| table.apply([r, g, b]));
                }
            }
        });
        println!("{:.6}", start.elapsed().as_secs_f64());
    }
    let bytes: Vec<u8> = done.iter().flat_map(|v| v.to_le_bytes()).collect();
    fs::write(result, bytes)?;
    Ok(())
}
