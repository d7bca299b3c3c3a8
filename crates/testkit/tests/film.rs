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
