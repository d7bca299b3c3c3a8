//! Still pictures.

use crate::support::{ffmpeg, folder, frames};
use inkarnat_color::Levels;
use inkarnat_color::picture::{Model, PixelFormat, Planes16, Siting, Subsampling};
use inkarnat_media::{Kind, MediaError, Reader, StillFormat, probe, write_still};

const FULL16: PixelFormat = PixelFormat {
    model: Model::Rgb,
    subsampling: Subsampling::S444,
    siting: Siting::Left,
    depth: 16,
    levels: Levels::Full,
    fields: false,
};

fn ramp() -> Planes16 {
    let mut picture = Planes16::new(37, 23, FULL16);
    for (p, plane) in picture.planes.iter_mut().enumerate() {
        for (i, code) in plane.iter_mut().enumerate() {
            *code = (i * 77 + p * 20_011) as u16;
        }
    }
    picture
}

#[test]
fn pictures_of_16_bits_come_back_exactly() {
    let folder = folder();
    for (name, format) in [
        ("a.png", StillFormat::Png16),
        ("a.tiff", StillFormat::Tiff16),
    ] {
        let path = folder.path().join(name);
        write_still(&path, format, &ramp(), &[]).unwrap();
        let reader = Reader::open(&path).unwrap();
        assert_eq!(reader.probe().kind, Kind::Still);
        assert_eq!(reader.frame_count(), 1);
        assert!(reader.probe().notes.iter().any(|n| n.contains("still")));
        let clip = frames(&path);
        assert_eq!(clip.len(), 1);
        assert_eq!(clip[0].format(), FULL16);
        for (plane, own) in clip[0].native().planes.iter().zip(&ramp().planes) {
            assert!(crate::support::codes(plane) == *own, "{name}");
        }
        // The other program reads the same codes.
        let raw = ffmpeg(
            &format!("-i {} -f rawvideo -pix_fmt gbrp16le", path.display()),
            &folder.path().join(format!("{name}.raw")),
        );
        let bytes = std::fs::read(raw).unwrap();
        let words: Vec<u16> = bytes
            .chunks(2)
            .map(|b| u16::from_le_bytes([b[0], b[1]]))
            .collect();
        let [r, g, b] = ramp().planes;
        assert!(words == [g, b, r].concat(), "{name}");
        // Never over something else.
        let again = write_still(&path, format, &ramp(), &[]);
        assert!(matches!(again, Err(MediaError::OutputExists { .. })));
        let over = write_still(&path, format, &ramp(), &[&path]);
        assert!(matches!(over, Err(MediaError::OutputIsSource { .. })));
    }
}

#[test]
fn pictures_of_8_bits_and_with_alpha() {
    let folder = folder();
    for (name, format, coding) in [
        ("a.png", "rgb24", "-c:v png"),
        ("b.png", "rgba", "-c:v png"),
        ("c.tiff", "rgb24", "-c:v tiff"),
        ("d.jpg", "yuvj444p", "-c:v mjpeg -q:v 1"),
        ("e.png", "gray", "-c:v png"),
    ] {
        let path = ffmpeg(
            &format!(
                "-f lavfi -i color=0x6496c8:s=34x22:d=0.04,format=rgb24,crop=33:21:0:0:exact=1 -frames:v 1 -pix_fmt {format} {coding}"
            ),
            &folder.path().join(name),
        );
        let found = probe(&path).unwrap();
        assert_eq!(
            (found.width, found.height, found.frames),
            (33, 21, 1),
            "{name}"
        );
        assert_eq!(found.format.depth, 8, "{name}");
        assert_eq!(found.alpha, name == "b.png");
        let mut reader = Reader::open(&path).unwrap();
        let frame = reader.frame(0).unwrap();
        let native = frame.native();
        let pixel = native
            .planes
            .each_ref()
            .map(|p| crate::support::codes(p)[5 * 33 + 7]);
        if name != "e.png" {
            // JPEG by way of Y'CbCr: a code either way.
            for (a, b) in pixel.iter().zip([0x64u16, 0x96, 0xc8]) {
                assert!(a.abs_diff(b) <= 2, "{name} {pixel:?}");
            }
        }
        // The only frame can be asked for again.
        assert!(reader.next_frame().unwrap().is_none());
        assert!(reader.frame(0).is_ok());
        assert!(matches!(
            reader.seek(1),
            Err(MediaError::NoSuchFrame { .. })
        ));
    }
}

#[test]
fn a_picture_cut_off_is_said_to_be() {
    let folder = folder();
    let path = folder.path().join("a.png");
    write_still(&path, StillFormat::Png16, &ramp(), &[]).unwrap();
    let bytes = std::fs::read(&path).unwrap();
    for part in 1..10 {
        let cut = folder.path().join("cut.png");
        std::fs::write(&cut, &bytes[..bytes.len() * part / 10]).unwrap();
        let error = probe(&cut).expect_err("cut off");
        assert!(error.to_string().contains("cut.png"), "{error}");
        assert!(
            matches!(
                error,
                MediaError::Truncated { .. } | MediaError::Damaged { .. }
            ),
            "{error:?}"
        );
    }
}
