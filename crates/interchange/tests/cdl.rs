//! `.cc`, `.ccc` and `.cdl` there and back, against results of OpenColorIO, and what is refused.
//!
//! `published/tiny.ccc` with `published/ocio_results.json`: a small made-up file and what OpenColorIO
//! 2.6.0 makes of it (header in the file).

use inkarnat_interchange::{CdlError, CdlFile, Correction, Form};
use inkarnat_ops::Cdl;
use proptest::prelude::*;

fn correction(id: &str, saturation: f64) -> Correction {
    Correction {
        id: id.to_owned(),
        descriptions: vec![
            "fix of the picture, <no clamp> & exact".to_owned(),
            "grüße".to_owned(),
        ],
        input_description: "R'G'B' of BT.709".to_owned(),
        viewing_description: "BT.1886".to_owned(),
        media: String::new(),
        cdl: Cdl {
            slope: [1.05, 0.1 + 0.2, 1.0 / 3.0],
            offset: [-0.01, 1e-12, 0.0],
            power: [1.0, 1.02, 0.97],
            saturation,
        },
    }
}

#[test]
fn every_form_is_read_back_as_it_was_written() {
    for form in Form::ALL {
        // A saturation of 0 is a value, not an absence.
        let mut corrections = vec![correction("shot \"1\" & <2>", 0.0)];
        if form != Form::Cc {
            corrections.push(correction("", 1.0));
            corrections.push(correction("shot 3", 1.7));
        }
        if form == Form::Cdl {
            corrections[1].media = "A001/clip 'x' & y.mov".to_owned();
        }
        let file = CdlFile { form, corrections };
        let text = file.write().unwrap();
        assert!(text.contains("xmlns=\"urn:ASC:CDL:v1.01\""), "{text}");
        assert_eq!(text.matches("xmlns").count(), 1);
        assert_eq!(CdlFile::read(text.as_bytes()).unwrap(), file, "{text}");
    }
}

#[test]
fn our_reading_of_a_sample_file_is_open_color_ios() {
    let file = CdlFile::read(include_bytes!("published/tiny.ccc")).unwrap();
    assert_eq!(file.form, Form::Ccc);
    let [only] = file.corrections.as_slice() else {
        panic!("one correction was expected");
    };
    assert_eq!(
        (only.id.as_str(), only.descriptions.as_slice()),
        ("shot_010", ["skin match".to_owned()].as_slice())
    );
    let results: serde_json::Value =
        serde_json::from_str(include_str!("published/ocio_results.json")).unwrap();
    let input: Vec<[f64; 3]> = serde_json::from_value(results["input"].clone()).unwrap();
    let expected: Vec<[f64; 3]> =
        serde_json::from_value(results["results"]["tiny.ccc linear"].clone()).unwrap();
    for (rgb, expected) in input.into_iter().zip(expected) {
        let out = only.cdl.apply(rgb);
        for c in 0..3 {
            // These results were computed with OpenColorIO's default optimisation, whose power is
            // approximate: 7e-6 off the formula here, below 1e-6 with it off (script/check/ocio.py).
            assert!(
                (out[c] - expected[c]).abs() < 1e-5,
                "{rgb:?}: {out:?} {expected:?}"
            );
        }
    }
}

#[test]
fn other_spellings_are_read() {
    let text = "\u{feff}<?xml version='1.0'?>\n<!-- by hand -->\n<a:ColorCorrection xmlns:a='urn:ASC:CDL:v1.2' id='x&#65;'>\
        <a:Description>outer</a:Description><a:SATNode><a:Description><![CDATA[in & out]]></a:Description>\
        <a:Saturation>\n .5 </a:Saturation></a:SATNode><Other><Slope>9 9 9</Slope></Other></a:ColorCorrection>\n";
    let file = CdlFile::read(text.as_bytes()).unwrap();
    let [only] = file.corrections.as_slice() else {
        panic!("one correction was expected");
    };
    assert_eq!(only.id, "xA");
    assert_eq!(only.descriptions, ["outer", "in & out"]);
    assert_eq!(
        only.cdl,
        Cdl {
            saturation: 0.5,
            ..Cdl::NEUTRAL
        }
    );
}

#[test]
fn entity_bombs_are_refused() {
    let mut bomb = "<?xml version=\"1.0\"?>\n<!DOCTYPE x [\n <!ENTITY a0 \"ha\">\n".to_owned();
    for i in 1..30 {
        bomb.push_str(&format!(" <!ENTITY a{i} \"&a{0};&a{0};\">\n", i - 1));
    }
    bomb.push_str(
        "]>\n<ColorCorrection id=\"x\"><Description>&a29;</Description></ColorCorrection>",
    );
    let error = CdlFile::read(bomb.as_bytes()).unwrap_err().to_string();
    assert!(
        error.contains("a document type declaration; expected none"),
        "{error}"
    );
    let text = "<ColorCorrection><Description>&nbsp;</Description></ColorCorrection>";
    let error = CdlFile::read(text.as_bytes()).unwrap_err().to_string();
    assert!(error.starts_with("line 1: the entity '&nbsp;'"), "{error}");
    let deep = format!("<ColorCorrection>{}", "<a>".repeat(100_000));
    assert!(
        CdlFile::read(deep.as_bytes())
            .unwrap_err()
            .to_string()
            .contains("33 deep")
    );
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let sop = |slope: &str| {
        format!(
            "<ColorCorrection id=\"x\">\n<SOPNode>\n<Slope>{slope}</Slope>\n<Offset>0 0 0</Offset>\n<Power>1 1 1</Power>\n</SOPNode></ColorCorrection>"
        )
    };
    for (text, expected) in [
        (
            String::new(),
            "line 1: no element; expected a color correction file",
        ),
        (
            "<html>\n</html>".to_owned(),
            "line 1: the root element 'html'; expected ColorCorrection",
        ),
        (sop("1 1"), "line 3: Slope '1 1'; expected 3 finite numbers"),
        (
            sop("1 1 1 1"),
            "line 3: Slope '1 1 1 1'; expected 3 finite numbers",
        ),
        (
            sop("1 nan 1"),
            "line 3: Slope '1 nan 1'; expected 3 finite numbers",
        ),
        (
            sop("1,0 1 1"),
            "line 3: Slope '1,0 1 1'; expected 3 finite numbers",
        ),
        (
            sop("1 -1 1"),
            "correction 'x': slope[1] is -1; expected a finite number, 0 or more",
        ),
        (
            sop("1 1 1</Slope><Slope>1 1 1"),
            "line 3: a second Slope; expected one",
        ),
        (
            sop("1 1 1").replace("<Power>1 1 1</Power>", ""),
            "line 1: a correction without Power; expected Slope, Offset and Power",
        ),
        (
            "<ColorCorrection>\n</ColorCorrection>".to_owned(),
            "line 1: a correction without Slope, Offset, Power",
        ),
        (
            sop("1 1 1").replace("</SOPNode></ColorCorrection>", ""),
            "line 6: the end of the file inside 'SOPNode'; expected </SOPNode>",
        ),
        (
            sop("1 1 1").replace("</SOPNode>", "</Sop>"),
            "expected well-formed XML",
        ),
        (
            sop("1 1 1").replace("id=\"x\"", "id=x"),
            "expected well-formed attributes",
        ),
    ] {
        let error = CdlFile::read(text.as_bytes()).unwrap_err().to_string();
        assert!(error.contains(expected), "{text}\n{error}");
    }
    let error = CdlFile::read(b"<ColorCorrection>\n\xff")
        .unwrap_err()
        .to_string();
    assert!(
        error.starts_with("line 2: bytes that are not UTF-8"),
        "{error}"
    );
}

#[test]
fn files_that_nobody_could_read_are_not_written() {
    let two = CdlFile {
        form: Form::Cc,
        corrections: vec![correction("a", 1.0), correction("b", 1.0)],
    };
    assert_eq!(two.write().unwrap_err(), CdlError::OneOnly { count: 2 });
    let same = CdlFile {
        form: Form::Ccc,
        corrections: vec![correction("a", 1.0), correction("a", 0.9)],
    };
    assert_eq!(
        same.write().unwrap_err(),
        CdlError::SameId { id: "a".to_owned() }
    );
    let mut odd = CdlFile {
        form: Form::Cc,
        corrections: vec![correction("a", f64::NAN)],
    };
    assert_eq!(
        odd.write().unwrap_err().to_string(),
        "correction 'a': saturation is NaN; expected a finite number, 0 or more"
    );
    odd.corrections = vec![correction("a\u{7}", 1.0)];
    assert!(
        odd.write()
            .unwrap_err()
            .to_string()
            .contains("a control character in its id")
    );
}

proptest! {
    #[test]
    fn any_numbers_and_texts_come_back(
        slope in [0.0..1e6_f64, 0.0..4.0_f64, 0.0..1e-9_f64],
        offset in [-4.0..4.0_f64, -1e-9..1e-9_f64, -1e6..1e6_f64],
        power in [1e-6..10.0_f64, 0.1..4.0_f64, 1.0..1e3_f64],
        saturation in 0.0..8.0_f64,
        id in "[^\\p{C}]{0,20}",
    ) {
        let cdl = Cdl { slope, offset, power, saturation };
        for form in Form::ALL {
            let file = CdlFile {
                form,
                corrections: vec![Correction { id: id.clone(), cdl, ..Correction::default() }],
            };
            let text = file.write().unwrap();
            prop_assert_eq!(CdlFile::read(text.as_bytes()).unwrap(), file);
        }
    }

    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = CdlFile::read(&bytes);
    }

    #[test]
    fn no_cut_or_flipped_file_makes_the_reader_panic(cut in 0_usize..600, flip in any::<u8>()) {
        let mut bytes = include_bytes!("published/tiny.ccc").to_vec();
        let at = cut % bytes.len();
        bytes[at] = flip;
        let _ = CdlFile::read(&bytes);
        bytes.truncate(cut);
        let _ = CdlFile::read(&bytes);
    }
}
