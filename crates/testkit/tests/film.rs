//! The finished picture joined from camera files whose frames say which frame they are.

use inkarnat_color::Rgb;
use inkarnat_color::picture::Region;
use inkarnat_testkit::film::movie::{Reader, Track, Writer};
use inkarnat_testkit::film::program::{BARS, LEADER, join};
use inkarnat_testkit::film::scenario::{cut, take, takes};
use inkarnat_testkit::render::quantise;

const SIZE: (usize, usize) = (64, 36);

/// A grey that tells takes and frames apart: neighbouring frames differ by 0.7 %, takes start at different levels.
fn level(take: usize, frame: u64) -> f32 {
    let step = (take as u64 * 37 + frame * 5) % 100;
    0.10 + 0.007 * step as f32
}

fn grey(level: f32) -> Rgb {
    let mut picture = Rgb::new(SIZE.0, SIZE.1);
    for plane in &mut picture.planes {
        plane.fill(level);
    }
    picture
}

#[test]
fn every_frame_of_the_finished_picture_comes_from_its_take() {
    let directory = tempfile::tempdir().unwrap();
    for (n, t) in takes().iter().enumerate() {
        let path = directory.path().join(format!("{}.mov", t.name));
        let track = Track {
            start: t.start,
            frames: t.frames,
            seed: 1,
            reel: "T",
        };
        let mut writer = Writer::new(&path, t.camera.codec, SIZE, track).unwrap();
        let (subsampling, depth) = t.camera.codec.sampling();
        for frame in 0..t.frames {
            writer
                .write(&quantise(&grey(level(n, frame)), subsampling, depth))
                .unwrap();
        }
        writer.finish().unwrap();
    }
    let film = directory.path().join("film.mov");
    let cut = cut();
    join(&cut, directory.path(), &film, SIZE).unwrap();

    let frames = BARS + LEADER + cut.iter().map(|u| u.frames).sum::<u64>();
    let mut reader = Reader::new(&film, SIZE, 0, frames).unwrap();
    for _ in 0..BARS + LEADER {
        reader.read().unwrap();
    }
    let index = |name: &str| takes().iter().position(|t| t.name == name).unwrap();
    for (number, u) in cut.iter().enumerate() {
        for frame in 0..u.frames {
            let picture = reader.read().unwrap();
            let found = picture.as_native().rgb_region(Region::whole(4, 4)).pixel(0)[1];
            let own = level(index(u.take), u.from + frame);
            let wanted = if frame < u.dissolve {
                let before = &cut[number - 1];
                let from = level(index(before.take), before.from + before.frames + frame);
                from + (own - from) * (frame + 1) as f32 / (u.dissolve + 1) as f32
            } else {
                own
            };
            // H.264 and ProRes, one after the other, keep a flat grey to well under half the distance of two frames.
            assert!(
                (found - wanted).abs() < 0.006,
                "shot {} frame {frame}: {found} for {wanted}",
                number + 1
            );
        }
    }
    assert!(reader.read().is_err(), "nothing after the last shot");
    assert_eq!(take(cut[0].take).name, cut[0].take);
}

/// 10-bit H.264 at 1280 by 720 comes back: a muxer that takes it for an intra-only format writes files that nothing reads.
#[test]
fn every_codec_can_be_read_at_the_films_own_size() {
    use inkarnat_testkit::Codec;
    let directory = tempfile::tempdir().unwrap();
    let size = (1280, 720);
    let mut picture = Rgb::new(size.0, size.1);
    for i in 0..size.0 * size.1 {
        let v = (i % size.0) as f32 / size.0 as f32;
        picture.set_pixel(i, [v, 0.5, 1.0 - v]);
    }
    for codec in Codec::ALL {
        let path = directory.path().join(format!("{codec:?}.mov"));
        let track = Track {
            start: 0,
            frames: 3,
            seed: 1,
            reel: "T",
        };
        let mut writer = Writer::new(&path, codec, size, track).unwrap();
        let (subsampling, depth) = codec.sampling();
        for _ in 0..3 {
            writer
                .write(&quantise(&picture, subsampling, depth))
                .unwrap();
        }
        writer.finish().unwrap();
        let mut reader = Reader::new(&path, size, 2, 1).unwrap();
        let found = reader
            .read()
            .unwrap()
            .as_native()
            .rgb_region(Region::whole(size.0, size.1));
        for i in [640, 400 * 1280 + 200, 719 * 1280 + 1100] {
            for (a, b) in found.pixel(i).iter().zip(picture.pixel(i)) {
                // Two 8-bit codes of coding error on a smooth ramp.
                assert!((a - b).abs() < 0.012, "{codec:?} pixel {i}: {a} for {b}");
            }
        }
    }
}
