//! Every layout of samples gives the codes of its planar twin.

use crate::support::{all_codes, codes, ffmpeg, folder, frames};
use inkarnat_color::picture::{Model, Planes16, Siting, Subsampling};
use inkarnat_color::{Coefficients, Levels};
use inkarnat_media::{Codec, MediaError, Options, Reader, Scan, Stated, WriterOptions, probe};

const NOISE: &str = "-f lavfi -i testsrc2=s=62x46:r=25:d=0.12,noise=alls=20:allf=t";

/// Pairs that FFmpeg's own conversion takes from one to the other without a change of any code.
#[test]
fn packed_layouts_equal_planar_ones() {
    let folder = folder();
    for (packed, planar) in [
        ("yuyv422", "yuv422p"),
        ("uyvy422", "yuv422p"),
        ("nv12", "yuv420p"),
        ("nv21", "yuv420p"),
        ("yuv422p10be", "yuv422p10le"),
        ("rgb24", "gbrp"),
        ("bgr24", "gbrp"),
        ("bgra", "gbrp"),
        ("rgb48be", "gbrp16le"),
        ("gray10be", "gray10le"),
        ("gray16be", "gray16le"),
    ] {
        let base = ffmpeg(
            &format!("{NOISE} -pix_fmt {planar} -c:v rawvideo"),
            &folder.path().join(format!("{planar}.nut")),
        );
        let other = ffmpeg(
            &format!("-i {} -pix_fmt {packed} -c:v rawvideo", base.display()),
            &folder.path().join(format!("{packed}_{planar}.nut")),
        );
        assert_eq!(probe(&other).unwrap().pixel_format, packed);
        let (a, b) = (frames(&base), frames(&other));
        assert_eq!(a.len(), 3);
        assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            assert_eq!(a.format().depth, b.format().depth, "{packed}");
            assert_eq!(a.format().model, b.format().model, "{packed}");
            assert!(
                all_codes(&a.native()) == all_codes(&b.native()),
                "{packed} is not {planar}"
            );
        }
    }
}

#[test]
fn sampling_depth_and_model_are_told_apart() {
    let folder = folder();
    for (format, subsampling, depth, model) in [
        (
            "yuv444p12le",
            Subsampling::S444,
            12,
            Model::Ycbcr(Coefficients::Bt601),
        ),
        (
            "yuv422p10le",
            Subsampling::S422,
            10,
            Model::Ycbcr(Coefficients::Bt601),
        ),
        (
            "yuv420p9le",
            Subsampling::S420,
            9,
            Model::Ycbcr(Coefficients::Bt601),
        ),
        (
            "yuv411p",
            Subsampling { across: 2, down: 0 },
            8,
            Model::Ycbcr(Coefficients::Bt601),
        ),
        ("gbrp12le", Subsampling::S444, 12, Model::Rgb),
        ("gray", Subsampling::S444, 8, Model::Grey),
    ] {
        // An odd size: chroma rounds up.
        let path = ffmpeg(
            &format!(
                "-f lavfi -i testsrc=s=61x45:r=25:d=0.08 -pix_fmt {format} -c:v ffv1 -level 3"
            ),
            &folder.path().join(format!("{format}.mkv")),
        );
        let raw = ffmpeg(
            &format!("-i {} -f rawvideo -pix_fmt {format}", path.display()),
            &folder.path().join(format!("{format}.raw")),
        );
        let bytes = std::fs::read(raw).unwrap();
        let mut expected: Vec<u16> = if depth > 8 {
            bytes
                .chunks(2)
                .map(|b| u16::from_le_bytes([b[0], b[1]]))
                .collect()
        } else {
            bytes.iter().map(|&b| u16::from(b)).collect()
        };
        let clip = frames(&path);
        let frame = &clip[0];
        let got = frame.format();
        assert_eq!(
            (got.subsampling, got.depth, got.model),
            (subsampling, depth, model),
            "{format}"
        );
        assert_eq!((frame.width(), frame.height()), (61, 45));
        let native = frame.native();
        let mut planes = native.planes.each_ref().map(codes).to_vec();
        match model {
            // The file keeps G, B, R.
            Model::Rgb => planes.rotate_left(1),
            Model::Grey => planes.truncate(1),
            Model::Ycbcr(_) => {}
        }
        expected.truncate(planes.iter().map(Vec::len).sum());
        assert!(planes.concat() == expected, "{format}");
    }
}

#[test]
fn rules_fill_what_tags_leave_open() {
    let folder = folder();
    let make = |name: &str, size: &str, rest: &str| {
        ffmpeg(
            &format!("-f lavfi -i color=gray:s={size}:r=25:d=0.08 {rest}"),
            &folder.path().join(name),
        )
    };
    let h264 = "-c:v libx264 -pix_fmt yuv420p";
    let sd = probe(make("sd.mp4", "720x576", h264)).unwrap();
    assert_eq!(sd.tags.coefficients.value(), &Coefficients::Bt601);
    assert!(
        sd.tags
            .coefficients
            .assumption()
            .unwrap()
            .contains("720×576")
    );
    assert_eq!(
        sd.tags.primaries.value(),
        &inkarnat_color::Primaries::Bt601Line625
    );
    assert!(
        sd.notes.iter().any(|n| n.contains("assumed BT.601")),
        "{:?}",
        sd.notes
    );
    let hd = probe(make("hd.mp4", "1280x720", h264)).unwrap();
    assert_eq!(hd.tags.coefficients.value(), &Coefficients::Bt709);
    assert!(hd.tags.coefficients.assumption().is_some());
    let scope = probe(make("scope.mp4", "1280x534", h264)).unwrap();
    assert_eq!(scope.tags.coefficients.value(), &Coefficients::Bt709);
    let uhd = probe(make(
        "uhd.mp4",
        "3840x2160",
        "-frames:v 1 -c:v libx264 -preset ultrafast -pix_fmt yuv420p10le -color_primaries bt2020",
    ))
    .unwrap();
    assert_eq!(uhd.tags.coefficients.value(), &Coefficients::Bt2020);
    assert!(
        uhd.tags
            .coefficients
            .assumption()
            .unwrap()
            .contains("primaries")
    );
    let tagged = probe(make(
        "tagged.mp4",
        "720x480",
        "-c:v libx264 -pix_fmt yuv420p -colorspace bt709 -color_primaries bt709 -color_trc bt709 -color_range tv -chroma_sample_location topleft",
    ))
    .unwrap();
    assert!(tagged.tags.assumptions().is_empty(), "{:?}", tagged.notes);
    assert_eq!(tagged.tags.coefficients.value(), &Coefficients::Bt709);
    assert_eq!(tagged.format.siting, Siting::TopLeft);
    let full = probe(make(
        "full.mp4",
        "320x180",
        "-c:v libx264 -pix_fmt yuvj420p",
    ))
    .unwrap();
    assert_eq!(full.format.levels, Levels::Full);
    let jpeg = probe(make("jpeg.mov", "320x180", "-c:v mjpeg -pix_fmt yuvj422p")).unwrap();
    assert_eq!(
        (jpeg.format.levels, jpeg.format.siting),
        (Levels::Full, Siting::Centre)
    );
    let hdr = probe(make(
        "pq.mp4",
        "320x180",
        "-c:v libx265 -x265-params log-level=none -pix_fmt yuv420p10le -color_trc smpte2084 -color_primaries bt2020 -colorspace bt2020nc",
    ))
    .unwrap();
    assert!(
        hdr.hdr && hdr.notes.iter().any(|n| n.contains("PQ")),
        "{:?}",
        hdr.notes
    );
    let fields = probe(make(
        "fields.mov",
        "720x576",
        "-vf setfield=tff -c:v prores_ks -profile:v 2 -flags +ildct+ilme",
    ))
    .unwrap();
    assert_eq!(fields.scan, Scan::TopFieldFirst);
    assert!(fields.notes.iter().any(|n| n.contains("interlaced")));
    let alpha = probe(make(
        "alpha.mov",
        "320x180",
        "-c:v prores_ks -profile:v 4444 -pix_fmt yuva444p10le",
    ))
    .unwrap();
    assert!(alpha.alpha && alpha.notes.iter().any(|n| n.contains("transparency")));
    // The editor knows better.
    let stated = Options {
        stated: Stated {
            coefficients: Some(Coefficients::Bt709),
            levels: Some(Levels::Full),
            ..Stated::default()
        },
        ..Options::default()
    };
    let reader = Reader::open_with(folder.path().join("sd.mp4"), &stated).unwrap();
    assert_eq!(
        reader.probe().format.model,
        Model::Ycbcr(Coefficients::Bt709)
    );
    assert_eq!(reader.probe().format.levels, Levels::Full);
    assert!(
        !reader
            .probe()
            .notes
            .iter()
            .any(|n| n.contains("coefficients"))
    );
}

#[test]
fn what_cannot_be_read_is_refused_by_name() {
    let folder = folder();
    for (name, coding, found) in [
        ("mono.nut", "-pix_fmt monob -c:v rawvideo", "monob"),
        (
            "ycgco.mp4",
            "-pix_fmt yuv420p -c:v libx264 -colorspace ycgco",
            "YCgCo",
        ),
    ] {
        let path = ffmpeg(&format!("{NOISE} {coding}"), &folder.path().join(name));
        match probe(&path) {
            Err(MediaError::Unsupported { found: what, .. }) => {
                assert!(what.contains(found), "{what}");
            }
            other => panic!("{name}: {other:?}"),
        }
    }
}

/// The way of a shot without a fix: to the encoder with luma exact, and chroma exact where the
/// sampling is the same.
#[test]
fn an_untouched_picture_reaches_the_encoder_unchanged() {
    let folder = folder();
    for (format, shift, same) in [
        ("yuv422p10le", 0, true),
        ("yuv422p", 2, true),
        ("yuv420p", 2, false),
    ] {
        let path = ffmpeg(
            &format!("{NOISE} -pix_fmt {format} -c:v ffv1 -chroma_sample_location left"),
            &folder.path().join(format!("{format}.mkv")),
        );
        let clip = frames(&path);
        let options = WriterOptions::like(&probe(&path).unwrap(), Codec::ProresHq422);
        let mut picture = Planes16::new(options.width, options.height, options.format());
        for frame in &clip {
            picture.fill_from_native(&frame.native());
            let source = all_codes(&frame.native());
            let exact = if same { 3 } else { 1 };
            for (own, plane) in picture.planes.iter().zip(&source).take(exact) {
                let expected: Vec<u16> = plane.iter().map(|c| c << shift).collect();
                assert!(*own == expected, "{format}");
            }
        }
    }
}
