//! A frame reached by seeking is the frame reached by reading.

use crate::support::{Random, all_codes, ffmpeg, folder, frames};
use inkarnat_media::Reader;
use std::path::Path;

const SOURCE: &str = "-f lavfi -i testsrc2=s=160x90:r=25:d=6";

fn seek_at_random(path: &Path, count: u64) {
    let name = path.display();
    let sequential: Vec<_> = frames(path)
        .iter()
        .map(|f| (f.index(), f.time(), all_codes(&f.native())))
        .collect();
    assert_eq!(sequential.len() as u64, count, "{name}");
    for (i, (index, ..)) in sequential.iter().enumerate() {
        assert_eq!(*index, i as u64, "{name}");
    }
    let mut reader = Reader::open(path).unwrap();
    assert_eq!(reader.frame_count(), count, "{name}");
    let mut random = Random(7);
    let mut targets: Vec<u64> = (0..60).map(|_| random.below(count)).collect();
    // Neighbours, both ends, and the same frame twice.
    targets.extend([0, count - 1, 0, 1, 1, count - 1, count - 2]);
    for target in targets {
        let frame = reader.frame(target).unwrap();
        let (index, time, codes) = &sequential[target as usize];
        assert_eq!((frame.index(), frame.time()), (*index, *time), "{name}");
        assert!(
            all_codes(&frame.native()) == *codes,
            "{name}: frame {target} differs"
        );
        // Reading goes on from there.
        if random.below(3) == 0 && target + 1 < count {
            let next = reader.next_frame().unwrap().unwrap();
            assert_eq!(next.index(), target + 1, "{name}");
            assert!(
                all_codes(&next.native()) == sequential[target as usize + 1].2,
                "{name}: the frame after {target} differs"
            );
        }
    }
}

#[test]
fn seeking_gives_the_frames_of_reading() {
    let folder = folder();
    for (name, coding) in [
        ("closed.mp4", "-c:v libx264 -g 30 -bf 3 -pix_fmt yuv420p"),
        (
            "open.mp4",
            "-c:v libx264 -g 24 -bf 4 -x264-params open-gop=1:b-pyramid=normal:scenecut=0 -pix_fmt yuv420p",
        ),
        (
            "open.mkv",
            "-c:v libx264 -g 24 -bf 4 -x264-params open-gop=1:scenecut=0 -pix_fmt yuv420p",
        ),
        (
            "refresh.mp4",
            "-c:v libx264 -g 30 -x264-params intra-refresh=1 -pix_fmt yuv420p",
        ),
        (
            "hevc.mp4",
            "-c:v libx265 -x265-params log-level=none:keyint=24:open-gop=1 -pix_fmt yuv420p10le",
        ),
        ("prores.mov", "-c:v prores_ks -profile:v 3"),
        ("mpeg2.ts", "-c:v mpeg2video -g 12 -bf 2 -q:v 3"),
        ("h264.ts", "-c:v libx264 -g 30 -bf 2 -pix_fmt yuv420p"),
        ("mpeg4.avi", "-c:v mpeg4 -g 20 -q:v 3"),
        ("mjpeg.avi", "-c:v mjpeg -q:v 3"),
        (
            "dnxhr.mxf",
            "-c:v dnxhd -profile:v dnxhr_hq -s 256x120 -pix_fmt yuv422p",
        ),
        ("raw.h264", "-c:v libx264 -g 30 -bf 2 -pix_fmt yuv420p"),
    ] {
        let path = ffmpeg(&format!("{SOURCE} {coding}"), &folder.path().join(name));
        seek_at_random(&path, 150);
    }
}

#[test]
fn an_edit_list_cuts_away_what_it_says() {
    let folder = folder();
    let whole = ffmpeg(
        &format!("{SOURCE} -c:v libx264 -g 50 -bf 2 -pix_fmt yuv420p"),
        &folder.path().join("whole.mp4"),
    );
    // A copy from the middle of a group: the frames before 1.2 s are in the file, and hidden.
    let cut = ffmpeg(
        &format!("-ss 1.2 -i {} -c copy", whole.display()),
        &folder.path().join("cut.mp4"),
    );
    let all = frames(&whole);
    let shown = frames(&cut);
    assert_eq!(shown.len(), 120);
    for (a, b) in shown.iter().zip(&all[30..]) {
        assert!(
            all_codes(&a.native()) == all_codes(&b.native()),
            "frame {}",
            a.index()
        );
    }
    seek_at_random(&cut, 120);
}

#[test]
fn a_late_start_and_a_varying_rate_are_kept() {
    let folder = folder();
    let late = ffmpeg(
        &format!("{SOURCE} -c:v mpeg2video -q:v 3 -output_ts_offset 100"),
        &folder.path().join("late.ts"),
    );
    let probe = inkarnat_media::probe(&late).unwrap();
    assert_eq!(probe.frames, 150);
    assert!(probe.start as f64 * probe.time_base.value() > 99.0);
    assert!(!probe.variable_rate);
    assert_eq!(probe.rate.to_string(), "25");
    // One frame out of three is left out: gaps of 1, 2, 1, 2 …
    let uneven = ffmpeg(
        &format!("{SOURCE} -vf select=mod(n\\,3) -vsync vfr -c:v libx264 -pix_fmt yuv420p"),
        &folder.path().join("uneven.mp4"),
    );
    let probe = inkarnat_media::probe(&uneven).unwrap();
    assert!(probe.variable_rate, "{probe:?}");
    assert_eq!(probe.frames, 100);
    assert!(
        probe.notes.iter().any(|n| n.contains("variable")),
        "{:?}",
        probe.notes
    );
    seek_at_random(&uneven, 100);
}
