//! A clip written like its source has its source's frames, times, tags, timecode and sound.

use crate::support::{
    all_codes, copy, decodable, ffmpeg, ffprobe, field, first_packet, folder, frames, sound_md5,
};
use inkarnat_color::picture::Planes16;
use inkarnat_media::{Codec, FrameTime, MediaError, Reader, Writer, WriterOptions, probe};
use std::path::Path;

fn source(folder: &Path, name: &str, coding: &str) -> std::path::PathBuf {
    ffmpeg(
        &format!(
            "-f lavfi -i testsrc2=s=320x180:r=30000/1001:d=2 -f lavfi -i sine=440:d=2 {coding}"
        ),
        &folder.join(name),
    )
}

const TAGS_709: &str = "-colorspace bt709 -color_primaries bt709 -color_trc bt709 -color_range tv";

#[test]
fn frames_times_tags_timecode_and_sound_are_kept() {
    let folder = folder();
    for (name, coding) in [
        (
            "a.mov",
            format!(
                "-c:v libx264 -bf 2 -pix_fmt yuv420p {TAGS_709} -timecode 01:00:00;02 -c:a aac"
            ),
        ),
        (
            "b.mov",
            format!(
                "-c:v prores_ks -profile:v 3 -bsf:v prores_metadata=color_primaries=bt709:color_trc=bt709:colorspace=bt709 {TAGS_709} -timecode 10:11:12:13 -c:a pcm_s24le"
            ),
        ),
        (
            "c.mkv",
            format!("-c:v libx264 -bf 2 -pix_fmt yuv420p {TAGS_709} -c:a libmp3lame"),
        ),
        (
            "d.ts",
            format!("-c:v libx264 -bf 2 -pix_fmt yuv420p {TAGS_709} -c:a mp2"),
        ),
    ] {
        let source = source(folder.path(), name, &coding);
        let before = probe(&source).unwrap();
        for codec in Codec::CLIPS {
            let target = folder.path().join(format!("{name}_{codec:?}.mov"));
            let written = copy(&source, &target, codec).unwrap();
            assert_eq!(written.frames, 60);
            assert!(written.notes.is_empty(), "{:?}", written.notes);
            let after = probe(&target).unwrap();
            assert_eq!(after.frames, before.frames, "{name}");
            assert_eq!(after.rate, before.rate, "{name}");
            assert!(!after.variable_rate, "{name}");
            assert_eq!(after.timecode, before.timecode, "{name}");
            assert_eq!(after.tags.codes, before.tags.codes, "{name}");
            assert!(
                after
                    .tags
                    .assumptions()
                    .iter()
                    .all(|a| a.contains("siting")),
                "{:?}",
                after.notes
            );
            assert!(
                (after.duration_seconds - 60.0 * 1001.0 / 30_000.0).abs() < 1e-9,
                "{name} {}",
                after.duration_seconds
            );
            assert_eq!(after.start, 0, "{name}");
            // The same, by the other program.
            let is = |field_name: &str, value: &str| {
                assert_eq!(field(&target, "v", field_name), value, "{name} {codec:?}");
            };
            is("nb_frames", "60");
            is("avg_frame_rate", "30000/1001");
            is("r_frame_rate", "30000/1001");
            is(
                "pix_fmt",
                match codec {
                    // FFmpeg decodes every 4444 at 12 bits, whatever it was made from.
                    Codec::Prores4444 => "yuv444p12le",
                    Codec::H264High => "yuv420p",
                    _ => "yuv422p10le",
                },
            );
            is("color_range", "tv");
            is("color_space", "bt709");
            is("color_transfer", "bt709");
            is("color_primaries", "bt709");
            is("duration", "2.002000");
            match codec {
                Codec::ProresHq422 => {
                    is("profile", "HQ");
                    is("codec_tag_string", "apch");
                }
                Codec::H264High422Ten => {
                    is("profile", "High 4:2:2");
                    is("codec_tag_string", "avc1");
                }
                Codec::Prores4444 => {
                    is("profile", "4444");
                    is("codec_tag_string", "ap4h");
                }
                Codec::DnxhrHqx => {
                    is("profile", "DNXHR HQX");
                    is("codec_tag_string", "AVdh");
                }
                Codec::Png16 | Codec::Tiff16 | Codec::Dpx10 | Codec::ExrHalf => {
                    panic!("{codec:?} is no clip")
                }
                Codec::H264High => {
                    is("profile", "High");
                    is("codec_tag_string", "avc1");
                }
                Codec::Hevc422Ten => {
                    is("codec_name", "hevc");
                    is("codec_tag_string", "hvc1");
                }
            }
            assert_eq!(sound_md5(&target), sound_md5(&source), "{name} {codec:?}");
            assert_eq!(
                ffprobe(&target, "a", "codec_name,sample_rate,channels"),
                ffprobe(&source, "a", "codec_name,sample_rate,channels"),
                "{name}"
            );
            // Packets count, not the stream's stated start: QuickTime hides what lies before zero.
            let start = |path| first_packet(path, "a");
            let video = |path| first_packet(path, "v");
            let drift = (start(&target) - video(&target)) - (start(&source) - video(&source));
            // Within a sample of the picture's clock and of the text's six digits.
            assert!(
                drift.abs() < 2e-3,
                "{name} {codec:?}: sound moved by {drift} s"
            );
        }
    }
}

/// A broadcaster's muxer profile gives 4:2:2 10-bit H.264 at these sizes and rates a tag of its own, which some readers cannot
/// place; what was written then lost its tag, its range and its decoder.
#[test]
fn the_sizes_and_rates_of_broadcasting_keep_the_plain_tag_and_decode() {
    let folder = folder();
    for (size, rate) in [
        ("1280x720", "25"),
        ("1280x720", "50"),
        ("1280x720", "60000/1001"),
        ("1920x1080", "24000/1001"),
        ("1920x1080", "25"),
        ("1920x1080", "30000/1001"),
    ] {
        let name = format!("{size}_{}.mov", rate.replace('/', "_"));
        let source = ffmpeg(
            &format!(
                "-f lavfi -i testsrc2=s={size}:r={rate} -frames:v 4 -c:v libx264 -preset ultrafast -pix_fmt yuv420p {TAGS_709}"
            ),
            &folder.path().join(&name),
        );
        for (codec, tag) in [
            (Codec::H264High422Ten, "avc1"),
            (Codec::ProresHq422, "apch"),
        ] {
            let target = folder.path().join(format!("{codec:?}_{name}"));
            copy(&source, &target, codec).unwrap();
            for (key, value) in [
                ("codec_tag_string", tag),
                ("pix_fmt", "yuv422p10le"),
                ("color_range", "tv"),
            ] {
                assert_eq!(field(&target, "v", key), value, "{size} {rate} {codec:?}");
            }
            // Decoded by both: the other program counts what it could decode.
            let after = probe(&target).unwrap();
            assert_eq!(after.frames, 4, "{size} {rate} {codec:?}");
            let mut reader = Reader::open(&target).unwrap();
            assert!((0..4).all(|frame| reader.frame(frame).is_ok()));
            assert_eq!(decodable(&target), 4, "{size} {rate} {codec:?}");
        }
    }
}

#[test]
fn a_source_in_quicktime_keeps_its_time_base() {
    let folder = folder();
    let source = source(
        folder.path(),
        "a.mov",
        "-c:v libx264 -pix_fmt yuv420p -c:a aac",
    );
    for codec in Codec::CLIPS {
        let target = folder.path().join(format!("{codec:?}.mov"));
        copy(&source, &target, codec).unwrap();
        let (a, b) = (probe(&source).unwrap(), probe(&target).unwrap());
        assert_eq!(a.time_base, b.time_base);
        let mut reader = (
            Reader::open(&source).unwrap(),
            Reader::open(&target).unwrap(),
        );
        for frame in 0..a.frames {
            assert_eq!(reader.0.frame_time(frame), reader.1.frame_time(frame));
        }
        assert!(reader.0.frame(59).is_ok() && reader.1.frame(59).is_ok());
    }
}

#[test]
fn a_varying_rate_keeps_every_time() {
    let folder = folder();
    let source = ffmpeg(
        "-f lavfi -i testsrc2=s=320x180:r=25:d=2 -vf select=mod(n\\,3) -vsync vfr -c:v libx264 -bf 2 -pix_fmt yuv420p",
        &folder.path().join("uneven.mp4"),
    );
    let times = |path: &Path| {
        let reader = Reader::open(path).unwrap();
        let base = reader.probe().time_base.value();
        (0..reader.frame_count())
            .map(|f| {
                let time = reader.frame_time(f).unwrap();
                (
                    (time.pts - reader.probe().start) as f64 * base,
                    time.duration as f64 * base,
                )
            })
            .collect::<Vec<_>>()
    };
    for codec in Codec::CLIPS {
        let target = folder.path().join(format!("{codec:?}.mov"));
        copy(&source, &target, codec).unwrap();
        let (a, b) = (times(&source), times(&target));
        assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            assert!(
                (a.0 - b.0).abs() < 1e-6 && (a.1 - b.1).abs() < 1e-6,
                "{codec:?} {a:?} {b:?}"
            );
        }
    }
}

/// Sets the matrix of the first track header (ISO/IEC 14496-12 section 8.3.2, version 0) to a
/// quarter turn.
fn turn(path: &Path) {
    let mut bytes = std::fs::read(path).unwrap();
    let header = bytes.windows(4).position(|w| w == b"tkhd").unwrap();
    assert_eq!(bytes[header + 4], 0, "version");
    let matrix = [0, 1 << 16, 0, -1 << 16, 0, 0, 90 << 16, 0, 1 << 30];
    for (i, number) in matrix.into_iter().enumerate() {
        let at = header + 44 + 4 * i;
        bytes[at..at + 4].copy_from_slice(&i32::to_be_bytes(number));
    }
    std::fs::write(path, bytes).unwrap();
}

#[test]
fn shape_rotation_and_odd_sizes_are_kept() {
    let folder = folder();
    let source = ffmpeg(
        "-f lavfi -i testsrc=s=321x181:r=25:d=0.4 -vf setsar=16/15 -c:v ffv1 -pix_fmt yuv444p",
        &folder.path().join("odd.mkv"),
    );
    let turned = ffmpeg(
        "-f lavfi -i testsrc2=s=320x180:r=25:d=0.4 -c:v libx264 -pix_fmt yuv420p",
        &folder.path().join("turned.mp4"),
    );
    turn(&turned);
    for codec in Codec::CLIPS {
        let target = folder.path().join(format!("odd_{codec:?}.mov"));
        match copy(&source, &target, codec) {
            Ok(written) => {
                assert_eq!(written.frames, 10);
                assert_eq!(field(&target, "v", "sample_aspect_ratio"), "16:15");
                let frames = frames(&target);
                assert_eq!((frames[0].width(), frames[0].height()), (321, 181));
            }
            Err(error) => {
                // What the encoder refuses is said, and leaves nothing behind.
                assert!(matches!(error, MediaError::BadRequest { .. }), "{error}");
                assert!(error.to_string().contains("even"), "{error}");
                assert!(!target.exists());
            }
        }
        let target = folder.path().join(format!("turned_{codec:?}.mov"));
        copy(&turned, &target, codec).unwrap();
        let (a, b) = (probe(&turned).unwrap(), probe(&target).unwrap());
        assert_eq!(a.rotation, b.rotation);
        assert!(a.rotation == 90 || a.rotation == 270, "{}", a.rotation);
        assert!(a.notes.iter().any(|n| n.contains("turn")));
    }
}

#[test]
fn codes_come_back_close_and_the_same_input_gives_the_same_bytes() {
    let folder = folder();
    let source = ffmpeg(
        &format!(
            "-f lavfi -i testsrc2=s=320x180:r=25:d=0.4 -c:v ffv1 -pix_fmt yuv422p10le {TAGS_709}"
        ),
        &folder.path().join("a.mkv"),
    );
    for codec in Codec::CLIPS {
        let (one, two) = (
            folder.path().join(format!("{codec:?}_1.mov")),
            folder.path().join(format!("{codec:?}_2.mov")),
        );
        copy(&source, &one, codec).unwrap();
        copy(&source, &two, codec).unwrap();
        assert!(
            std::fs::read(&one).unwrap() == std::fs::read(&two).unwrap(),
            "{codec:?}"
        );
        let (a, b) = (frames(&source), frames(&one));
        let mut sum = 0.0;
        let mut bias = 0.0;
        let mut count = 0.0;
        for (a, b) in a.iter().zip(&b) {
            let unit = 4.0 / f64::from(1 << (b.format().depth - 8));
            let (a, b) = (all_codes(&a.native()), all_codes(&b.native()));
            for (a, b) in a[0].iter().zip(&b[0]) {
                let difference = unit * f64::from(*b) - f64::from(*a);
                sum += difference * difference;
                bias += difference;
                count += 1.0;
            }
        }
        let psnr = 10.0 * (1023.0 * 1023.0 / (sum / count)).log10();
        // Usual figures of both codecs at these rates on hard synthetic edges; a wrong range or
        // matrix would give less than 30.
        assert!(psnr > 40.0, "{codec:?}: {psnr:.1} dB");
        assert!(
            (bias / count).abs() < 0.5,
            "{codec:?}: luma moved by {} codes",
            bias / count
        );
    }
}

fn tiny() -> (WriterOptions, Planes16) {
    let folder = folder();
    let source = ffmpeg(
        "-f lavfi -i testsrc2=s=64x48:r=25:d=0.08 -c:v ffv1 -pix_fmt yuv422p10le",
        &folder.path().join("a.mkv"),
    );
    let mut options = WriterOptions::like(&probe(&source).unwrap(), Codec::ProresHq422);
    // The folder goes, and with it whose sound, chapters and mastering data would be copied.
    options.sources.clear();
    options.sound = None;
    let picture = Planes16::new(64, 48, options.format());
    (options, picture)
}

#[test]
fn an_unfinished_clip_leaves_nothing() {
    let folder = folder();
    let path = folder.path().join("out.mov");
    let (options, picture) = tiny();
    let mut writer = Writer::create(&path, options.clone()).unwrap();
    writer
        .write(
            &picture,
            FrameTime {
                pts: 0,
                duration: 40,
            },
        )
        .unwrap();
    assert!(path.exists());
    drop(writer);
    assert!(!path.exists());
    // No frame at all is an error, and leaves nothing either.
    let writer = Writer::create(&path, options).unwrap();
    assert!(matches!(
        writer.finish(),
        Err(MediaError::BadRequest { .. })
    ));
    assert!(!path.exists());
}

#[test]
fn wrong_pictures_and_times_are_refused() {
    let folder = folder();
    let path = folder.path().join("out.mov");
    let (options, picture) = tiny();
    let mut writer = Writer::create(&path, options.clone()).unwrap();
    let time = FrameTime {
        pts: 40,
        duration: 40,
    };
    writer.write(&picture, time).unwrap();
    assert!(matches!(
        writer.write(&picture, time),
        Err(MediaError::BadRequest { .. })
    ));
    let other = Planes16::new(64, 46, options.format());
    let later = FrameTime {
        pts: 80,
        duration: 40,
    };
    assert!(matches!(
        writer.write(&other, later),
        Err(MediaError::BadRequest { .. })
    ));
    writer.write(&picture, later).unwrap();
    assert_eq!(writer.finish().unwrap().frames, 2);
}

/// Transparency comes back from ProRes 4444 within a code of 8 bits, and is left out elsewhere.
#[test]
fn transparency_is_kept_where_the_codec_carries_it() {
    let folder = folder();
    for (name, coding) in [
        (
            "planar.mov",
            "-c:v prores_ks -profile:v 4444 -alpha_bits 16 -pix_fmt yuva444p10le",
        ),
        ("packed.mov", "-c:v png -pix_fmt rgba"),
    ] {
        let source = ffmpeg(
            &format!(
                "-f lavfi -i testsrc2=s=320x180:r=25:d=0.2,format=yuva444p10le,geq=lum=lum(X\\,Y):cb=cb(X\\,Y):cr=cr(X\\,Y):a=1023*X/W {coding}"
            ),
            &folder.path().join(name),
        );
        let target = folder.path().join(format!("{name}_4444.mov"));
        let mut reader = Reader::open(&source).unwrap();
        assert!(reader.probe().alpha, "{name}");
        let options = WriterOptions::like(reader.probe(), Codec::Prores4444);
        assert!(options.alpha);
        let mut picture = Planes16::new(options.width, options.height, options.format());
        let mut writer = Writer::create(&target, options).unwrap();
        let mut given = Vec::new();
        while let Some(frame) = reader.next_frame().unwrap() {
            picture.fill_from_native(&frame.native());
            let alpha = frame.alpha(10).expect("transparency");
            writer
                .write_with_alpha(&picture, Some(&alpha), frame.time())
                .unwrap();
            given.push(alpha);
        }
        writer.finish().unwrap();
        assert!(field(&target, "v", "pix_fmt").starts_with("yuva444p"));
        let back = frames(&target);
        assert_eq!(back.len(), given.len());
        for (frame, given) in back.iter().zip(&given) {
            let alpha = frame.alpha(10).unwrap();
            assert!(given.iter().any(|v| *v < 100) && given.iter().any(|v| *v > 900));
            for (a, b) in alpha.iter().zip(given) {
                assert!(a.abs_diff(*b) <= 4, "{name}: {a} {b}");
            }
        }
        let options = WriterOptions::like(&probe(&source).unwrap(), Codec::H264High422Ten);
        assert!(!options.alpha);
    }
}

/// Chapters, subtitles that QuickTime carries, every track of sound, and mastering data.
#[test]
fn what_goes_with_the_picture_is_kept() {
    let folder = folder();
    let at = |name: &str| folder.path().join(name);
    std::fs::write(
        at("chapters.txt"),
        ";FFMETADATA1\n[CHAPTER]\nTIMEBASE=1/1000\nSTART=0\nEND=800\ntitle=First\n\
         [CHAPTER]\nTIMEBASE=1/1000\nSTART=800\nEND=2000\ntitle=Second\n",
    )
    .unwrap();
    std::fs::write(at("words.srt"), "1\n00:00:00,200 --> 00:00:01,000\nHello\n").unwrap();
    let source = ffmpeg(
        &format!(
            "-f lavfi -i testsrc2=s=320x180:r=25:d=2 -f lavfi -i sine=440:d=2 -f lavfi -i sine=880:d=2 \
             -i {} -i {} -map 0 -map 1 -map 2 -map 3 -map_metadata 4 -map_chapters 4 \
             -c:v libx264 -pix_fmt yuv420p -c:a aac -c:s mov_text",
            at("words.srt").display(),
            at("chapters.txt").display()
        ),
        &at("a.mov"),
    );
    let target = at("b.mov");
    let written = copy(&source, &target, Codec::ProresHq422).unwrap();
    assert!(written.notes.is_empty(), "{:?}", written.notes);
    for (kind, fields) in [("s", "codec_name"), ("a:1", "codec_name,channels")] {
        assert_eq!(
            ffprobe(&target, kind, fields),
            ffprobe(&source, kind, fields),
            "{kind}"
        );
    }
    assert_eq!(sound_md5(&target), sound_md5(&source));
    let chapters = |path: &Path| {
        crate::support::run(
            "ffprobe",
            &[
                "-show_entries",
                "chapter=start_time,end_time:chapter_tags=title",
                "-of",
                "csv=p=0",
                path.to_str().unwrap(),
            ],
        )
    };
    assert_eq!(chapters(&target), chapters(&source));
    assert!(chapters(&target).contains("Second"));
}
