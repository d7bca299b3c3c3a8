//! `.cube` there and back, against results of OpenColorIO, and what is refused.
//!
//! `published/*.cube` with `published/ocio_results.json`: small made-up files and what OpenColorIO
//! 2.6.0 makes of them (header in the file).

use inkarnat_color::WorkingSpace;
use inkarnat_interchange::{CubeFile, Lut1d, Place, Table};
use inkarnat_ops::{Cdl, Chain, Domain, Lut3d, Op};
use proptest::prelude::*;

fn lut(bytes: &[u8]) -> Lut3d {
    match CubeFile::read(bytes).unwrap().table {
        Table::ThreeD(lut) => lut,
        Table::OneD(_) => panic!("a 3D table was expected"),
    }
}

#[test]
fn our_reading_of_sample_files_is_open_color_ios() {
    let results: serde_json::Value =
        serde_json::from_str(include_str!("published/ocio_results.json")).unwrap();
    let colours = |value: &serde_json::Value| -> Vec<[f64; 3]> {
        serde_json::from_value(value.clone()).unwrap()
    };
    let sets = [
        (
            lut(include_bytes!("published/tiny.cube")),
            colours(&results["input"]),
            colours(&results["results"]["tiny.cube tetrahedral"]),
        ),
        (
            lut(include_bytes!("published/nonlinear5.cube")),
            colours(&results["nonlinear_input"]),
            colours(&results["nonlinear"]["nonlinear5.cube requested tetrahedral"]),
        ),
    ];
    for (lut, input, expected) in sets {
        lut.validate().unwrap();
        assert!(input.len() == expected.len() && !input.is_empty());
        for (rgb, expected) in input.iter().zip(expected) {
            let out = lut.sample(*rgb);
            for c in 0..3 {
                // Printed with six decimals.
                assert!(
                    (out[c] - expected[c]).abs() < 1.1e-6,
                    "{rgb:?}: {out:?} {expected:?}"
                );
            }
        }
    }
}

#[test]
fn what_is_written_is_read_back_bit_for_bit() {
    let chain = Chain::of_fix(vec![Op::Cdl(Cdl {
        slope: [1.3, 0.9, 1.7],
        offset: [-0.1, 1e-9, 0.02],
        power: [0.8, 1.2, 1.0],
        saturation: 1.4,
    })]);
    for domain in [Domain::UNIT, Domain::WIDE] {
        let baked = chain.bake(9, domain);
        let file = CubeFile::of_chain(
            "shot 12 \"night\"\nand more",
            Place::Fix,
            WorkingSpace::default(),
            baked.lut.clone(),
            baked.error,
        );
        let text = file.write();
        assert!(text.starts_with("TITLE \"shot 12 'night' and more\"\n# Place: the fix alone"));
        let back = CubeFile::read(text.as_bytes()).unwrap();
        assert_eq!(back.table, Table::ThreeD(baked.lut));
        assert_eq!(back.comments, file.comments);
        assert_eq!(back.write(), text);
    }
}

const TWO: &str = "0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n";

#[test]
fn line_ends_byte_order_marks_comments_and_blanks_are_read() {
    let plain = format!("TITLE \"a # b\"\nLUT_3D_SIZE 2\n{TWO}");
    let expected = lut(plain.as_bytes());
    assert_eq!(expected, Lut3d::identity(2, [0.0; 3], [1.0; 3]));
    let crlf = plain.replace('\n', "\r\n");
    let cr = plain.replace('\n', "\r");
    let marked = format!(
        "\u{feff}# first\n\n   {}",
        plain.replace("0 1 1", "# inside\n\t0\t 1.0e0 +1 \n\n")
    );
    let latin = [b"# caf\xe9\n".as_slice(), plain.as_bytes()].concat();
    for bytes in [crlf.as_bytes(), cr.as_bytes(), marked.as_bytes(), &latin] {
        assert_eq!(lut(bytes), expected);
    }
    assert_eq!(CubeFile::read(plain.as_bytes()).unwrap().title, "a # b");
    let no_end = plain.trim_end();
    assert_eq!(lut(no_end.as_bytes()), expected);
}

#[test]
fn one_dimensional_tables_are_read_and_become_grids() {
    let file =
        CubeFile::read(b"LUT_1D_SIZE 3\nDOMAIN_MAX 2 1 1\n0 0 0\n0.25 0.5 0.6\n1 1 1\n").unwrap();
    let Table::OneD(curves) = &file.table else {
        panic!("a 1D table was expected");
    };
    assert_eq!(curves.domain_max, [2.0, 1.0, 1.0]);
    let out = curves.sample([1.5, 0.25, 2.0]);
    assert!((out[0] - 0.625).abs() < 1e-7 && (out[1] - 0.25).abs() < 1e-7 && out[2] == 1.0);
    let _: [f64; 3] = curves.sample([f64::NAN, f64::INFINITY, f64::NEG_INFINITY]);
    let grid = curves.to_3d(5);
    grid.validate().unwrap();
    let on_node = [1.0, 0.75, 0.25];
    for c in 0..3 {
        assert!((grid.sample(on_node)[c] - curves.sample(on_node)[c]).abs() < 1e-7);
    }
    let again = CubeFile::read(file.write().as_bytes()).unwrap();
    assert_eq!(again, file);
    assert_eq!(Lut1d::MAX_SIZE, 65_536);
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let head = "LUT_3D_SIZE 2\n";
    for (text, line, found, expected) in [
        (
            String::new(),
            0,
            "the end of the file, and no size before it",
            "LUT_3D_SIZE or LUT_1D_SIZE",
        ),
        (
            format!("# x\n{TWO}"),
            2,
            "numbers before any size",
            "LUT_3D_SIZE or LUT_1D_SIZE first",
        ),
        (
            format!("{head}{}", TWO.replace("1 1 1\n", "")),
            8,
            "the end of the file after 7 rows",
            "8 rows, for LUT_3D_SIZE 2 in line 1",
        ),
        (
            format!("{head}{TWO}0 0 0\n"),
            10,
            "row 9 of the table",
            "the end of the file: LUT_3D_SIZE 2 takes 8 rows",
        ),
        (
            format!("{head}{}", TWO.replace("0 1 1", "0 nan 1")),
            8,
            "'nan'",
            "a finite number",
        ),
        (
            format!("{head}{}", TWO.replace("0 1 1", "NaN 1 1")),
            8,
            "'NaN'",
            "a finite number",
        ),
        (
            format!("{head}{}", TWO.replace("0 1 1", "inf 1 1")),
            8,
            "'inf'",
            "a finite number",
        ),
        (
            format!("{head}{}", TWO.replace("0 1 1", "0,5 1 1")),
            8,
            "'0,5'",
            "a point before decimals and blanks between numbers, no commas",
        ),
        (
            format!("{head}{}", TWO.replace("0 1 1", "0 1")),
            8,
            "2 numbers in '0 1'",
            "three",
        ),
        (
            format!("{head}{}", TWO.replace("0 1 1", "0 1e60 1")),
            8,
            "'0 1e60 1'",
            "numbers within the range of f32",
        ),
        (
            format!("LUT_3D_SIZE 1\n{TWO}"),
            1,
            "LUT_3D_SIZE '1'",
            "a whole number from 2 to 256",
        ),
        (
            format!("LUT_3D_SIZE 100000\n{TWO}"),
            1,
            "LUT_3D_SIZE '100000'",
            "a whole number from 2 to 256",
        ),
        (
            format!("LUT_3D_SIZE two\n{TWO}"),
            1,
            "LUT_3D_SIZE 'two'",
            "a whole number from 2 to 256",
        ),
        (
            format!("{head}LUT_1D_SIZE 8\n{TWO}"),
            2,
            "a second size (LUT_1D_SIZE, after LUT_3D_SIZE in line 1)",
            "one table with one size",
        ),
        (
            format!("{head}DOMAIN_MIN 0 0\n{TWO}"),
            2,
            "2 numbers in '0 0'",
            "three",
        ),
        (
            format!("{head}DOMAIN_MIN 1 0 0\n{TWO}"),
            1,
            "a domain from 1 to 1 in channel 0",
            "DOMAIN_MAX above DOMAIN_MIN",
        ),
        (
            format!("{head}{TWO}TITLE \"late\"\n"),
            10,
            "'TITLE \"late\"'",
            "three numbers: keywords stand before the table",
        ),
        (
            format!("{head}GAMMA 2\n{TWO}"),
            2,
            "'GAMMA 2'",
            "TITLE, LUT_1D_SIZE, LUT_3D_SIZE, DOMAIN_MIN, DOMAIN_MAX or three numbers",
        ),
        (
            "\u{0}\u{1}".to_owned(),
            1,
            "bytes that are not plain text",
            "a text file in UTF-8",
        ),
    ] {
        let error = CubeFile::read(text.as_bytes()).unwrap_err();
        assert_eq!(
            (error.line, error.found.as_str(), error.expected.as_str()),
            (line, found, expected),
            "{text}"
        );
    }
}

proptest! {
    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = CubeFile::read(&bytes);
    }

    #[test]
    fn no_cut_or_flipped_file_makes_the_reader_panic(cut in 0_usize..120, flip in any::<u8>()) {
        let mut bytes = format!("TITLE \"x\"\nLUT_3D_SIZE 2\nDOMAIN_MIN 0 0 0\n{TWO}").into_bytes();
        let at = cut % bytes.len();
        bytes[at] = flip;
        let _ = CubeFile::read(&bytes);
        bytes.truncate(cut);
        let _ = CubeFile::read(&bytes);
    }
}
