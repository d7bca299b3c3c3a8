//! Applies operations to raw pixels: `apply FILE < IN > OUT`. FILE holds a [`MovingChain`] and a source frame as JSON,
//! `{"moving": {"chain": {"fix": [...]}}, "frame": 0}`; IN and OUT are R', G', B' of each pixel in turn, `f32`, low byte first.
//! For checks against other programs: nothing is coded, subsampled or rounded.
#![allow(
    clippy::disallowed_methods,
    reason = "an example reads files; the library itself reads none"
)]

use inkarnat_ops::MovingChain;
use serde::Deserialize;
use std::io::{Read, Write};

#[derive(Deserialize)]
struct Order {
    moving: MovingChain,
    frame: u64,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = std::env::args().nth(1).ok_or("give the file of a chain")?;
    let order: Order = serde_json::from_slice(&std::fs::read(file)?)?;
    let chain = order.moving.at(order.frame);
    chain.validate()?;
    let mut bytes = Vec::new();
    std::io::stdin().read_to_end(&mut bytes)?;
    let values = bytes
        .as_chunks::<4>()
        .0
        .iter()
        .map(|b| f32::from_le_bytes(*b));
    let mut rows: [Vec<f32>; 3] = Default::default();
    for (index, value) in values.enumerate() {
        rows[index % 3].push(value);
    }
    let [r, g, b] = &mut rows;
    chain.prepare().apply_rows([r, g, b]);
    let mut out = Vec::with_capacity(bytes.len());
    for ((r, g), b) in rows[0].iter().zip(&rows[1]).zip(&rows[2]) {
        for value in [r, g, b] {
            out.extend(value.to_le_bytes());
        }
    }
    std::io::stdout().write_all(&out)?;
    Ok(())
}
