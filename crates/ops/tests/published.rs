//! The operations against figures from outside.
//!
//! - `published/cdl_cases.json`: 100 cases computed with OpenColorIO 2.6.0 (header in the file).
//! - `published/cdl_ocio_unit_vectors.json`: transcribed from OpenColorIO's own
//!   `tests/cpu/ops/cdl/CDLOp_tests.cpp` at 57a94a8 (BSD-3-Clause).

use inkarnat_ops::Cdl;
use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Deserialize)]
struct Cases {
    cases: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    id: String,
    slope: [f64; 3],
    offset: [f64; 3],
    power: [f64; 3],
    saturation: f64,
    input: Vec<[f64; 3]>,
    fwd_clamp: Vec<[f64; 3]>,
    fwd_noclamp: Vec<[f64; 3]>,
    inverse_clamp_of_fwd: Vec<[f64; 3]>,
    fwd_clamp_float64_formula: Vec<[f64; 3]>,
    fwd_noclamp_float64_formula: Vec<[f64; 3]>,
}

#[derive(Deserialize)]
struct Vectors {
    slope: [f64; 3],
    offset: [f64; 3],
    power: [f64; 3],
    saturation: f64,
    #[serde(default)]
    noclamp_fwd: Vec<[[f64; 3]; 2]>,
    #[serde(default)]
    clamp_fwd: Vec<[[f64; 3]; 2]>,
}

#[track_caller]
fn close(what: &str, actual: [f64; 3], expected: [f64; 3], tolerance: f64) {
    for (a, e) in actual.iter().zip(expected) {
        assert!(
            (a - e).abs() <= tolerance,
            "{what}: {actual:?}, {expected:?}"
        );
    }
}

/// The published figures are `f32` results; those of the formula in `f64` are printed whole.
const F32: f64 = 7e-7;

#[test]
fn the_hundred_cases() {
    let Cases { cases } = serde_json::from_str(include_str!("published/cdl_cases.json")).unwrap();
    let mut checked = 0;
    for case in cases {
        let cdl = Cdl {
            slope: case.slope,
            offset: case.offset,
            power: case.power,
            saturation: case.saturation,
        };
        cdl.validate().unwrap();
        let back = cdl.inverse().unwrap();
        for (i, &rgb) in case.input.iter().enumerate() {
            let what = format!("{} {rgb:?}", case.id);
            let (open, clamped) = (cdl.apply(rgb), cdl.apply_clamped(rgb));
            close(&what, clamped, case.fwd_clamp[i], F32);
            close(&what, clamped, case.fwd_clamp_float64_formula[i], 1e-12);
            close(&what, open, case.fwd_noclamp_float64_formula[i], 1e-12);
            // Relative above 1: one value of these reaches 4.5.
            let scale = open.iter().fold(1.0_f64, |m, v| m.max(v.abs()));
            close(&what, open, case.fwd_noclamp[i], F32 * scale);
            // Their inverse starts from their own f32 forward result; dividing by the smallest
            // saturation of these sets (0.193) and slope (0.71) magnifies its rounding, and the
            // power 1/1.56 does so without bound near black: 1e-6 there.
            let undone = back.apply_clamped(case.fwd_clamp[i]);
            close(&what, undone, case.inverse_clamp_of_fwd[i], 2e-6);
            close(&what, back.apply(open), rgb, 1e-12);
            checked += 1;
        }
    }
    assert_eq!(checked, 100);
}

#[test]
fn open_color_ios_own_vectors() {
    let mut sets: BTreeMap<String, serde_json::Value> =
        serde_json::from_str(include_str!("published/cdl_ocio_unit_vectors.json")).unwrap();
    sets.remove("_header");
    let mut checked = 0;
    for (name, set) in sets {
        let set: Vectors = serde_json::from_value(set).unwrap();
        let cdl = Cdl {
            slope: set.slope,
            offset: set.offset,
            power: set.power,
            saturation: set.saturation,
        };
        // Printed with six decimals: half a unit of the last.
        for [rgb, expected] in set.noclamp_fwd {
            close(&name, cdl.apply(rgb), expected, 6e-7);
            checked += 1;
        }
        for [rgb, expected] in set.clamp_fwd {
            close(&name, cdl.apply_clamped(rgb), expected, 6e-7);
            checked += 1;
        }
    }
    assert_eq!(checked, 10);
}
