//! `.clf` there and back, the specification's own examples, and what is refused.
//!
//! “Common LUT Format (CLF)”, version 3.0, ACES documentation, CC-BY-4.0: the examples are copied from
//! it with their numbers; results beside them are of its formulas, worked by hand.

use inkarnat_interchange::clf::{CURVES_DOMAIN, nodes_of};
use inkarnat_interchange::{ClfError, ClfFile};
use inkarnat_ops::{
    Cdl, CdlStyle, Chain, CurveDomain, Curves, Domain, Exponent, ExponentStyle, Grid,
    Interpolation, Log, LogParams, LogStyle, Lut3d, Matrix, Node, Op, Process, Range, RollOff,
    Shoulder, StyledCdl,
};
use proptest::prelude::*;

fn file(nodes: Vec<Node>) -> ClfFile {
    ClfFile {
        id: "urn:uuid:5ac02dc7-1e02-4f87-af46-fa5a83d5232d".to_owned(),
        name: "a \"name\" & <more>".to_owned(),
        descriptions: vec!["one".to_owned(), "two, grüße".to_owned()],
        input: "R'G'B'".to_owned(),
        output: "the same".to_owned(),
        process: Process { nodes },
    }
}

fn read(body: &str) -> Result<ClfFile, ClfError> {
    ClfFile::read(
        format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<ProcessList id=\"x\" compCLFversion=\"3.0\">\n{body}\n</ProcessList>")
            .as_bytes(),
    )
}

const CDL: Cdl = Cdl {
    slope: [1.05, 0.1 + 0.2, 1.0 / 3.0],
    offset: [-0.01, 1e-12, 0.0],
    power: [1.0, 1.02, 0.97],
    saturation: 0.7,
};

/// Every kind of node, in every style.
fn every_node() -> Vec<Node> {
    let mut nodes = vec![
        Node::Matrix(Matrix::NEUTRAL),
        Node::Matrix(Matrix {
            rows: [
                [1.0 / 3.0, 0.2, 0.0, 0.1],
                [0.0, 1e-9, 0.0, 0.0],
                [0.3, 0.0, -1.5, -0.0125],
            ],
        }),
        Node::Curves(Curves {
            domain: CurveDomain::Unit,
            table: (0..11).map(|i| [i as f32 * 0.13; 3]).collect(),
        }),
        Node::Curves(Curves {
            domain: CurveDomain::Unit,
            table: vec![[0.0, 0.1, -0.2], [1.0 / 3.0, 0.9, 1.4]],
        }),
    ];
    for (low, high, clamp) in [
        (Some([0.0625, 0.0]), Some([0.92, 1.0]), true),
        (Some([0.0625, 0.0]), Some([0.92, 1.0]), false),
        (Some([0.1, 0.1]), None, true),
        (None, Some([0.9, 0.9]), true),
    ] {
        nodes.push(Node::Range(Range { low, high, clamp }));
    }
    nodes.extend(CdlStyle::ALL.map(|style| Node::Cdl(StyledCdl { cdl: CDL, style })));
    for interpolation in [Interpolation::Trilinear, Interpolation::Tetrahedral] {
        let lut = Chain::of_fix(vec![Op::Cdl(CDL)]).bake(5, Domain::UNIT).lut;
        nodes.push(Node::Grid(Grid { interpolation, lut }));
    }
    for style in LogStyle::ALL {
        let params = LogParams {
            log_slope: 0.256663,
            log_offset: 0.584555,
            lin_slope: 0.9892,
            lin_offset: 0.0108,
            lin_break: style.has_break().then_some(0.0078),
            linear_slope: None,
        };
        let mut all = [params; 3];
        if style == LogStyle::CameraLogToLin {
            for (c, params) in all.iter_mut().enumerate() {
                params.linear_slope = Some(6.025 + 0.1 * c as f64);
            }
        }
        if style.has_parameters() {
            nodes.push(Node::Log(Log {
                style,
                base: 10.0,
                params: all,
            }));
        } else {
            nodes.push(Node::Log(Log {
                style,
                base: 2.0,
                params: Default::default(),
            }));
        }
    }
    for style in ExponentStyle::ALL {
        nodes.push(Node::Exponent(Exponent {
            style,
            exponent: [2.4, 2.2, 2.4],
            offset: if style.has_offset() {
                [0.055; 3]
            } else {
                [0.0; 3]
            },
        }));
    }
    nodes
}

#[test]
fn every_node_in_every_style_is_read_back_as_it_was_written() {
    let all = file(every_node());
    let text = all.write().unwrap();
    assert_eq!(ClfFile::read(text.as_bytes()).unwrap(), all, "{text}");
    for node in every_node() {
        let one = file(vec![node]);
        let text = one.write().unwrap();
        assert_eq!(ClfFile::read(text.as_bytes()).unwrap(), one, "{text}");
        // Other line ends, and a byte order mark.
        let other = format!("\u{feff}{}", text.replace('\n', "\r\n"));
        assert_eq!(ClfFile::read(other.as_bytes()).unwrap(), one, "{text}");
    }
}

fn applied(body: &str, rgb: [f64; 3]) -> [f64; 3] {
    read(body).unwrap().process.apply(rgb)
}

fn near(found: [f64; 3], expected: [f64; 3], within: f64) {
    for c in 0..3 {
        assert!(
            (found[c] - expected[c]).abs() <= within,
            "{found:?}, expected {expected:?}"
        );
    }
}

#[test]
fn examples_of_the_specification() {
    // Example 1: four levels inverted, in 12-bit codes.
    let body = "<LUT1D id=\"lut-23\" name=\"4 Value Lut\" inBitDepth=\"12i\" outBitDepth=\"12i\">\n\
        <Description>1D LUT</Description><Array dim=\"4 1\">\n 3\n 2\n 1\n 0\n</Array></LUT1D>";
    near(
        applied(body, [0.0, 1.0 / 3.0, 1.0]),
        [3.0 / 4095.0, 2.0 / 4095.0, 0.0],
        1e-9,
    );
    // Example 2: eight corners, blue fastest; the cube is the identity.
    let body = "<LUT3D interpolation=\"trilinear\" inBitDepth=\"12i\" outBitDepth=\"16f\"><Array dim=\"2 2 2 3\">\n\
        0.0 0.0 0.0\n0.0 0.0 1.0\n0.0 1.0 0.0\n0.0 1.0 1.0\n1.0 0.0 0.0\n1.0 0.0 1.0\n1.0 1.0 0.0\n1.0 1.0 1.0\n</Array></LUT3D>";
    near(applied(body, [0.2, 0.7, 0.4]), [0.2, 0.7, 0.4], 1e-9);
    // Example 4: a matrix in 10-bit codes, so an offset of 0.002 of a code.
    let body = "<Matrix inBitDepth=\"10i\" outBitDepth=\"10i\"><Array dim=\"3 4\">\n1.2 0.0 0.0 0.002\n\
        0.0 1.03 0.001 -0.005\n0.004 -0.007 1.004 0.0\n</Array></Matrix>";
    near(
        applied(body, [0.5, 0.5, 0.5]),
        [0.6 + 0.002 / 1023.0, 0.5155 - 0.005 / 1023.0, 0.5005],
        1e-12,
    );
    // The rule of scaling: 10i to 12i carries a factor of 4095/1023, so this one is neutral.
    let body = "<Matrix inBitDepth=\"10i\" outBitDepth=\"12i\"><Array dim=\"3 3 3\">\n\
        4.002932551319648 0 0 0 4.002932551319648 0 0 0 4.002932551319648</Array></Matrix>";
    near(applied(body, [0.3, 0.6, 0.9]), [0.3, 0.6, 0.9], 1e-12);
    // Example 5: 10-bit full range to narrow, clamped.
    let body = "<Range inBitDepth=\"10i\" outBitDepth=\"10i\"><minInValue>0</minInValue><maxInValue>1023</maxInValue>\
        <minOutValue>64</minOutValue><maxOutValue>940</maxOutValue></Range>";
    near(
        applied(body, [-0.1, 0.5, 1.2]),
        [64.0 / 1023.0, 502.0 / 1023.0, 940.0 / 1023.0],
        1e-12,
    );
    // Examples 6 and 8.
    let body = "<Log inBitDepth=\"16f\" outBitDepth=\"16f\" style=\"log10\"/>";
    near(applied(body, [1.0, 0.01, 100.0]), [0.0, -2.0, 2.0], 1e-12);
    let body = "<Exponent inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"basicFwd\"><ExponentParams exponent=\"2.2\"/></Exponent>";
    near(
        applied(body, [0.5, 1.0, -1.0]),
        [0.5_f64.powf(2.2), 1.0, 0.0],
        1e-12,
    );
    // Example 9: the sRGB curve, IEC 61966-2-1: 0.5 is 0.21404, and 0.04045/12.92 near the break.
    let body = "<Exponent inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"monCurveFwd\"><ExponentParams exponent=\"2.4\" offset=\"0.055\" /></Exponent>";
    near(
        applied(body, [0.5, 0.02, 1.0]),
        [0.214_041, 0.02 / 12.923_210, 1.0],
        1e-6,
    );
    // Example 11: BT.709, where 0.018 of light is 0.081 of signal, and 0.18 is 0.409.
    let body = "<Exponent inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"monCurveRev\"><ExponentParams exponent=\"2.2222222222222222\" offset=\"0.099\" /></Exponent>";
    near(applied(body, [0.18, 1.0, 0.018]), [0.409, 1.0, 0.081], 3e-4);
    // Example 12.
    let body = "<ASC_CDL id=\"cc01234\" inBitDepth=\"16f\" outBitDepth=\"16f\" style=\"Fwd\"><Description>look</Description>\n<SOPNode>\
        <Slope>1.000000 1.000000 0.900000</Slope><Offset>-0.030000 -0.020000 0.000000</Offset><Power>1.2500000 1.000000 1.000000</Power>\
        </SOPNode><SatNode><Saturation>1.700000</Saturation></SatNode></ASC_CDL>";
    let v = [(0.5_f64 - 0.03).powf(1.25), 0.48, 0.45];
    let luma = 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
    near(
        applied(body, [0.5; 3]),
        v.map(|v| luma + 1.7 * (v - luma)),
        1e-12,
    );
    // Example 14: ACEScct; its published value for 18 % grey is 0.4135884 (S-2016-001).
    let body = "<Log inBitDepth=\"16f\" outBitDepth=\"16f\" style=\"cameraLinToLog\"><LogParams base=\"2\" logSideSlope=\"0.05707762557\" \
        logSideOffset=\"0.5547945205\" linSideBreak=\"0.0078125\" /></Log>";
    near(
        applied(body, [0.18, 0.0078125, 0.0]),
        [0.413_588_4, 0.155_251_1, 0.072_905_5],
        1e-6,
    );
    // Example 15: XYZ of D65 to CIELAB/100; half of white's Y is L* 76.07.
    let body = "<Matrix inBitDepth=\"16f\" outBitDepth=\"16f\"><Array dim=\"3 3\">1.052126639 0 0 0 1 0 0 0 0.918224951</Array></Matrix>\
        <Exponent inBitDepth=\"16f\" outBitDepth=\"16f\" style=\"monCurveRev\"><ExponentParams exponent=\"3.0\" offset=\"0.16\" /></Exponent>\
        <Matrix inBitDepth=\"16f\" outBitDepth=\"16f\"><Array dim=\"3 3\">0 1 0 4.31034483 -4.31034483 0 0 1.72413793 -1.72413793</Array></Matrix>";
    near(
        applied(body, [0.5 * 0.950_456, 0.5, 0.5 * 1.089_058]),
        [0.760_693, 0.0, 0.0],
        1e-5,
    );
}

#[test]
fn odd_files_are_read() {
    // A prefix, a version 2 file, metadata, several descriptions, comments inside a table.
    let text = "<c:ProcessList xmlns:c='urn:x' id='&#65;' compCLFversion='2.0' name='n'>\
        <c:Info><AppRelease>1</AppRelease><Deep><Er/></Deep></c:Info><c:Description>a</c:Description>\
        <c:Matrix inBitDepth='32f' outBitDepth='32f'><c:Array dim='3 3 3'>1 0 0 <!-- row --> 0 1 0 0 0 1e0</c:Array></c:Matrix></c:ProcessList>";
    let found = ClfFile::read(text.as_bytes()).unwrap();
    assert_eq!((found.id.as_str(), found.name.as_str()), ("A", "n"));
    assert_eq!(found.process.nodes, [Node::Matrix(Matrix::NEUTRAL)]);
    // Halves as bit patterns: 15360 is 1.0, 14336 is 0.5.
    let body = "<LUT1D inBitDepth=\"16f\" outBitDepth=\"16f\" rawHalfs=\"true\"><Array dim=\"2 1\">15360 14336</Array></LUT1D>";
    near(applied(body, [0.0, 1.0, 0.5]), [1.0, 0.5, 0.75], 0.0);
    // A saturation of 0 is a value; a node that says nothing is neutral.
    let body = "<ASC_CDL inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"FwdNoClamp\"><SatNode><Saturation>0</Saturation></SatNode></ASC_CDL>";
    let grey = applied(body, [1.2, 0.0, 0.0]);
    near(grey, [1.2 * 0.2126; 3], 1e-12);
    let body = "<ASC_CDL inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"FwdNoClamp\"/>";
    near(applied(body, [1.3, -0.1, 0.4]), [1.3, -0.1, 0.4], 0.0);
    // The namespace of SMPTE ST 2136-1 alone says what it is.
    let text = "<ProcessList xmlns=\"http://www.smpte-ra.org/ns/2136-1/2024\" id=\"u\"><Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"log2\"/></ProcessList>";
    assert!(ClfFile::read(text.as_bytes()).is_ok());
}

#[test]
fn curves_over_all_halves() {
    // Every half maps to itself, so every number does, up to the rounding of the f32 between.
    let table = (0..=u16::MAX)
        .map(|bits| [half::f16::from_bits(bits).to_f32(); 3])
        .map(|v| if v[0].is_finite() { v } else { [0.0; 3] })
        .collect();
    let node = Node::Curves(Curves {
        domain: CurveDomain::Half,
        table,
    });
    node.validate().unwrap();
    for v in [
        0.0, -0.0, 0.3, -0.3, 1.0, 1.000_123, 7.7e-6, -3e-8, 1234.567, 65_504.0,
    ] {
        let [out, ..] = node.apply([v; 3]);
        assert!(
            (out - v).abs() <= 1e-12 + 1e-9 * v.abs(),
            "{v} became {out}"
        );
    }
    near(
        node.apply([1e9, -1e9, f64::INFINITY]),
        [65_504.0, -65_504.0, 65_504.0],
        0.0,
    );
}

#[test]
fn a_fix_is_exact_where_it_can_be_and_carries_its_domain_where_not() {
    let chain = Chain::of_fix(vec![Op::Cdl(CDL)]);
    let exact = nodes_of(&chain, 33, Domain::WIDE);
    assert_eq!((exact.error, exact.domain), (0.0, None));
    let rgb = [1.3, -0.2, 0.4];
    assert_eq!(exact.process.apply(rgb), chain.apply_pixel(rgb));
    assert_eq!(
        nodes_of(&Chain::default(), 33, Domain::WIDE).process.nodes,
        [Node::Matrix(Matrix::NEUTRAL)]
    );

    // A roll-off of each channel is a curve; one that keeps proportions takes a table.
    let shoulder = Shoulder::per_channel([0.6, 0.7, 0.8], [1.3, 1.2, 0.95], [1.0; 3]);
    let proportions = Shoulder {
        roll_off: RollOff::InProportion,
        ..Shoulder::per_channel([0.6; 3], [1.3; 3], [1.0; 3])
    };
    for (shoulder, domain, most) in [
        (shoulder, CURVES_DOMAIN, 5e-6),
        (proportions, Domain::WIDE, 0.01),
    ] {
        let chain = Chain::of_fix(vec![Op::Cdl(CDL), Op::Shoulder(shoulder), Op::Cdl(CDL)]);
        let nodes = nodes_of(&chain, 33, Domain::WIDE);
        assert_eq!(nodes.domain, Some(domain));
        assert_eq!(nodes.table, shoulder.roll_off == RollOff::InProportion);
        assert!(nodes.error > 0.0 && nodes.error < most, "{}", nodes.error);
        let text = file(nodes.process.nodes).write().unwrap();
        let back = ClfFile::read(text.as_bytes()).unwrap();
        for rgb in [[0.0; 3], [0.05, 0.5, 0.9], [1.0, 0.2, 0.3]] {
            near(
                back.process.apply(rgb),
                chain.apply_pixel(rgb),
                4.0 * nodes.error + 1e-6,
            );
        }
    }
    // A table is taken as it is, whatever its domain.
    let lut = Lut3d::identity(3, [-0.5; 3], [2.0; 3]);
    let chain = Chain::of_fix(vec![Op::Lut(lut)]);
    near(
        nodes_of(&chain, 2, Domain::UNIT).process.apply(rgb),
        rgb,
        1e-6,
    );
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let matrix = |array: &str| {
        format!("<Matrix inBitDepth=\"32f\" outBitDepth=\"32f\">\n{array}\n</Matrix>")
    };
    let curve = |attributes: &str, array: &str| {
        format!("<LUT1D inBitDepth=\"32f\" outBitDepth=\"32f\" {attributes}>{array}</LUT1D>")
    };
    let power = |style: &str, params: &str| {
        format!(
            "<Exponent inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"{style}\">{params}</Exponent>"
        )
    };
    for (body, expected) in [
        (String::new(), "line 2: a ProcessList without a node; expected at least one of Matrix"),
        ("<IndexMap/>".to_owned(), "line 3: the element 'IndexMap'; expected one of Matrix"),
        ("<Matrix/>".to_owned(), "line 3: Matrix with inBitDepth=\"\"; expected 8i, 10i"),
        (matrix(""), "line 3: Matrix without an Array"),
        (matrix("<Array dim=\"3 5\"/>"), "line 4: an Array with dim=\"3 5\"; expected 3 3 or 3 4"),
        (matrix("<Array dim=\"3 3\">\n1 0 0\n0 1 0\n</Array>"), "line 6: the end of the Array after 6 values; expected 9, by its dim in line 4"),
        (matrix("<Array dim=\"3 3\">\n1 0 0\n0 1 0\n0 0 1\n7</Array>"), "line 8: '7' after 9 values; expected the end of the Array"),
        (matrix("<Array dim=\"3 3\">\n1 0 0\n0 1,5 0\n0 0 1\n</Array>"), "line 6: '1,5'; expected a number with a decimal point"),
        (matrix("<Array dim=\"3 3\">1 0 0 0 nan 0 0 0 1</Array>"), "line 3: Matrix: rows[1][1] is NaN; expected a finite number"),
        (matrix("<Array dim=\"3 3\"/><Array dim=\"3 3\"/>"), "expected 9, by its dim"),
        (curve("", "<Array dim=\"1 1\">0</Array>"), "expected a length from 2 to 65536"),
        (curve("interpolation=\"cubic\"", "<Array dim=\"2 1\">0 1</Array>"), "line 3: LUT1D with interpolation=\"cubic\"; expected linear"),
        (curve("halfDomain=\"true\"", "<Array dim=\"2 1\">0 1</Array>"), "line 3: LUT1D: table length is 2; expected 65536"),
        (curve("rawHalfs=\"true\"", "<Array dim=\"2 1\">0 1.5</Array>"), "'1.5'; expected a whole number from 0 to 65535"),
        ("<LUT3D inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"1000 1000 1000 3\">0</Array></LUT3D>".to_owned(), "expected the same size three times, 2 to 256"),
        ("<LUT3D inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"2 2 3 3\">0</Array></LUT3D>".to_owned(), "an Array with dim=\"2 2 3 3\""),
        (power("basic", "<ExponentParams exponent=\"2\"/>"), "line 3: Exponent with style=\"basic\"; expected basicFwd"),
        (power("basicFwd", ""), "line 3: Exponent without ExponentParams"),
        (power("basicFwd", "<ExponentParams exponent=\"0\"/>"), "exponent[0] is 0; expected a number above 0"),
        (power("basicFwd", "<ExponentParams exponent=\"2\" offset=\"0.1\"/>"), "an offset; expected none"),
        (power("monCurveFwd", "<ExponentParams exponent=\"2\"/>"), "without an offset"),
        (power("basicFwd", "<ExponentParams exponent=\"2\" channel=\"A\"/>"), "the channel \"A\"; expected R, G or B"),
        (power("basicFwd", "<ExponentParams exponent=\"2\"/><ExponentParams exponent=\"2\"/>"), "a second ExponentParams for a channel"),
        ("<Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"cameraLinToLog\"><LogParams/></Log>".to_owned(), "lin_break is absent"),
        ("<Range inBitDepth=\"32f\" outBitDepth=\"32f\"><minInValue>0</minInValue></Range>".to_owned(), "line 3: Range without minOutValue"),
        ("<Range inBitDepth=\"32f\" outBitDepth=\"32f\"/>".to_owned(), "low is absent"),
        ("<ASC_CDL inBitDepth=\"32f\" outBitDepth=\"32f\"><SOPNode><Slope>1 1 1</Slope></SOPNode></ASC_CDL>".to_owned(), "without Offset in its SOPNode"),
        ("<ASC_CDL inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"Rev\"><SatNode><Saturation>0</Saturation></SatNode></ASC_CDL>".to_owned(), "cannot be undone"),
        ("<ASC_CDL inBitDepth=\"32f\" outBitDepth=\"32f\"><SOPNode><Power>1 0 1</Power><Slope>1 1 1</Slope><Offset>0 0 0</Offset></SOPNode></ASC_CDL>".to_owned(), "power[1] is 0; expected a finite number above 0"),
        (format!("{}<Log inBitDepth=\"10i\" outBitDepth=\"32f\" style=\"log2\"/>", matrix("<Array dim=\"3 3\">1 0 0 0 1 0 0 0 1</Array>")), "line 5: Log with inBitDepth=\"10i\"; expected \"32f\", the outBitDepth of the node before"),
        ("<Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"log2\"><Glow/></Log>".to_owned(), "the element 'Glow' in a Log"),
    ] {
        let error = read(&body).unwrap_err().to_string();
        assert!(error.contains(expected), "{body}\n{error}\nexpected: {expected}");
    }
    for (text, expected) in [
        ("", "line 1: no element; expected a ProcessList"),
        (
            "<LUT/>",
            "line 1: the root element 'LUT'; expected ProcessList",
        ),
        (
            "<ProcessList id='x' compCLFversion='4.0'/>",
            "compCLFversion=\"4.0\"; expected version 2 or 3",
        ),
        ("<ProcessList id='x'/>", "compCLFversion=\"\""),
        (
            "<!DOCTYPE x [<!ENTITY a \"b\">]><ProcessList/>",
            "a document type declaration; expected none",
        ),
        (
            "<ProcessList compCLFversion='3.0'><Description>&bomb;</Description>",
            "the entity '&bomb;'",
        ),
        (
            "<ProcessList compCLFversion='3.0'>\n<Matrix inBitDepth='32f' outBitDepth='32f'>",
            "line 2: the end of the file inside 'Matrix'",
        ),
    ] {
        let error = ClfFile::read(text.as_bytes()).unwrap_err().to_string();
        assert!(
            error.contains(expected),
            "{text}\n{error}\nexpected: {expected}"
        );
    }
}

#[test]
fn files_that_nobody_could_read_are_not_written() {
    assert_eq!(file(Vec::new()).write().unwrap_err(), ClfError::Empty);
    let mut odd = Matrix::NEUTRAL;
    odd.rows[2][3] = f64::NAN;
    let error = file(vec![Node::Matrix(odd)])
        .write()
        .unwrap_err()
        .to_string();
    assert_eq!(
        error,
        "nodes[0].rows[2][3] is NaN; expected a finite number"
    );
    let mut named = file(vec![Node::Matrix(Matrix::NEUTRAL)]);
    named.input = "\u{7}".to_owned();
    assert!(named.write().unwrap_err().to_string().contains("its input"));
}

proptest! {
    #[test]
    fn no_cut_or_changed_file_makes_the_reader_panic(cut in 0_usize..20_000, flip in any::<u8>()) {
        static TEXT: std::sync::LazyLock<String> = std::sync::LazyLock::new(|| {
            let small = every_node().into_iter().filter(|node| !matches!(node, Node::Grid(_)));
            file(small.collect()).write().unwrap()
        });
        let mut bytes = TEXT.clone().into_bytes();
        let at = cut % bytes.len();
        bytes[at] = flip;
        let _ = ClfFile::read(&bytes);
        bytes.truncate(cut);
        let _ = ClfFile::read(&bytes);
    }
}
