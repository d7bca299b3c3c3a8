//! Reads a clip and writes it again unchanged, or only reads it: for looking at speed and tags.
//!
//! `through SOURCE` reads; `through SOURCE TARGET prores|h264` writes.
#![allow(clippy::print_stdout)]

use inkarnat_color::picture::Planes16;
use inkarnat_media::{Codec, MediaError, Reader, Writer, WriterOptions};
use std::time::Instant;

fn main() -> Result<(), MediaError> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let Some(source) = arguments.first() else {
        println!("give a clip");
        return Ok(());
    };
    let begun = Instant::now();
    let mut reader = Reader::open(source)?;
    let opened = begun.elapsed().as_secs_f64();
    println!("{:#?}", reader.probe());
    println!("opened in {opened:.3} s");
    let begun = Instant::now();
    let mut suspect = 0;
    let mut frames = 0;
    if let [_, target, codec] = &arguments[..] {
        let codec = if codec == "h264" {
            Codec::H264High422Ten
        } else {
            Codec::ProresHq422
        };
        let options = WriterOptions::like(reader.probe(), codec);
        let mut writer = Writer::create(target, options)?;
        let mut picture =
            Planes16::new(reader.probe().width, reader.probe().height, writer.format());
        let mut converting = 0.0;
        while let Some(frame) = reader.next_frame()? {
            let start = Instant::now();
            picture.fill_from_native(&frame.native());
            converting += start.elapsed().as_secs_f64();
            writer.write(&picture, frame.time())?;
            frames += 1;
        }
        println!("{:?}", writer.finish()?);
        println!("converting took {converting:.3} s");
    } else {
        while let Some(frame) = reader.next_frame()? {
            suspect += u64::from(frame.suspect());
            frames += 1;
        }
    }
    let seconds = begun.elapsed().as_secs_f64();
    println!(
        "{frames} frames in {seconds:.3} s: {:.1} a second; {suspect} suspect, {} errors",
        f64::from(frames) / seconds,
        reader.decode_errors()
    );
    Ok(())
}
