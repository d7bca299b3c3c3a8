//! What holds for every kind of operation.

mod common;

use common::examples;
use inkarnat_color::Rgb;
use inkarnat_ops::{Cdl, Chain, Domain, KeyedCdl, Lut3d, Op, Shoulder};
use proptest::prelude::*;
use std::sync::LazyLock;

static EXAMPLES: LazyLock<Vec<Op>> = LazyLock::new(examples);

fn signal() -> impl Strategy<Value = [f64; 3]> {
    [-0.08..1.12_f64, -0.08..1.12_f64, -0.08..1.12_f64]
}

#[test]
fn every_kind_survives_json_and_is_valid_and_not_neutral() {
    for op in examples() {
        op.validate().unwrap();
        assert!(!op.is_identity(), "{}", op.kind());
        let text = serde_json::to_string(&op).unwrap();
        assert!(
            text.contains(&format!("\"op\":\"{}\"", op.kind())),
            "{text}"
        );
        assert_eq!(serde_json::from_str::<Op>(&text).unwrap(), op);
    }
}

#[test]
fn unknown_and_missing_fields_are_refused() {
    for text in [
        r#"{"op":"cdl","slope":[1,1,1],"offset":[0,0,0],"power":[1,1,1],"saturation":1,"tint":0}"#,
        r#"{"op":"cdl","slope":[1,1,1],"offset":[0,0,0],"power":[1,1,1]}"#,
        r#"{"op":"glow"}"#,
    ] {
        assert!(serde_json::from_str::<Op>(text).is_err(), "{text}");
    }
}

/// The neutral of every kind returns its input bit for bit, plainly and on rows.
#[test]
fn the_neutral_of_every_kind_changes_nothing() {
    let mut keyed = KeyedCdl {
        key: common::skin_key(),
        cdl: common::CDL,
    };
    keyed.cdl = Cdl::NEUTRAL;
    let neutrals = vec![
        Op::Cdl(Cdl::NEUTRAL),
        Op::Shoulder(Shoulder::NEUTRAL),
        Op::KeyedCdl(keyed),
    ];
    let rgb = [-0.071, 0.333, 1.089];
    for op in &neutrals {
        assert!(op.is_identity());
        assert_eq!(op.apply(rgb), rgb, "{}", op.kind());
    }
    let chain = Chain {
        input: vec![neutrals[0].clone()],
        fix: neutrals.clone(),
        look: neutrals,
        ..Chain::default()
    };
    assert!(chain.is_identity() && chain.prepare().is_identity());
    let mut picture = Rgb::new(7, 3);
    for i in 0..21 {
        picture.set_pixel(i, [i as f32 / 19.0 - 0.07, f32::NAN, 0.1 * i as f32]);
    }
    let before = picture.clone();
    chain.apply_rgb(&mut picture);
    for c in 0..3 {
        for (a, b) in picture.planes[c].iter().zip(&before.planes[c]) {
            assert_eq!(a.to_bits(), b.to_bits());
        }
    }
}

#[test]
fn values_that_are_not_numbers_never_panic() {
    let odd = [
        -1.0,
        0.0,
        1.0,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NAN,
        1e300,
        -0.0,
    ];
    for op in examples() {
        let rows = Chain::of_fix(vec![op.clone()]).prepare();
        for r in odd {
            for g in odd {
                for b in odd {
                    let out = op.apply([r, g, b]);
                    if matches!(op, Op::Lut(_)) {
                        assert!(out.iter().all(|v| v.is_finite()), "{r} {g} {b}: {out:?}");
                    }
                    let _ = op.apply_inverse([r, g, b]);
                    let (mut r, mut g, mut b) = ([r as f32; 9], [g as f32; 9], [b as f32; 9]);
                    rows.apply_rows([&mut r, &mut g, &mut b]);
                }
            }
        }
    }
}

#[test]
fn a_parameter_outside_its_range_is_named_with_its_place() {
    let mut cdl = common::CDL;
    cdl.slope[2] = -0.1;
    let chain = Chain::of_fix(vec![Op::Shoulder(Shoulder::NEUTRAL), Op::Cdl(cdl)]);
    assert_eq!(
        chain.validate().unwrap_err().to_string(),
        "fix[1].cdl.slope[2] is -0.1; expected a finite number, 0 or more"
    );
    for (spoil, field) in [
        (
            (|cdl: &mut Cdl| cdl.offset[0] = f64::NAN) as fn(&mut Cdl),
            "offset[0]",
        ),
        (|cdl| cdl.power[1] = 0.0, "power[1]"),
        (|cdl| cdl.saturation = f64::INFINITY, "saturation"),
    ] {
        let mut cdl = common::CDL;
        spoil(&mut cdl);
        assert_eq!(cdl.validate().unwrap_err().field, field);
    }
    let mut keyed = KeyedCdl {
        key: common::skin_key(),
        cdl: common::CDL,
    };
    keyed.key.hue.softness = 0.0;
    assert_eq!(keyed.validate().unwrap_err().field, "key.hue.softness");
    keyed.key = common::skin_key();
    keyed.key.saturation.centre = 0.05;
    assert_eq!(keyed.validate().unwrap_err().field, "key.saturation.centre");
    let mut lut = common::baked();
    lut.table.pop();
    assert_eq!(
        lut.validate().unwrap_err().to_string(),
        "table length is 4912; expected 4913 (17×17×17)"
    );
    lut.table.push([0.0, f32::NAN, 0.0]);
    assert_eq!(lut.validate().unwrap_err().field, "table[4912]");
    lut.domain_max[1] = lut.domain_min[1];
    assert_eq!(lut.validate().unwrap_err().field, "domain_max[1]");
}

#[test]
fn zero_lies_on_a_node_of_the_wide_domain() {
    for (size, place) in [(17, 1), (33, 2), (65, 4)] {
        let lut = Lut3d::identity(size, [Domain::WIDE.min; 3], [Domain::WIDE.max; 3]);
        let zero = lut.table[place][0];
        assert!(zero.abs() < 1e-8, "{size}: {zero}");
        assert!(lut.is_identity());
    }
}

/// Curves of single channels are taken out of the loop over colours: not a bit of the table may tell.
#[test]
fn a_table_is_the_chain_at_its_nodes_bit_by_bit() {
    let saturated = Op::Cdl(Cdl {
        saturation: 0.83,
        power: [1.2, 0.9, 1.0],
        ..common::CDL
    });
    let curve = Op::Cdl(Cdl {
        saturation: 1.0,
        ..common::CDL
    });
    let each = Op::Shoulder(Shoulder::per_channel([0.7; 3], [1.2, 1.1, 1.3], [1.0; 3]));
    let together = Op::Shoulder(Shoulder::in_proportion(0.6, 1.3, 1.0));
    let mut chains: Vec<Vec<Op>> = examples().into_iter().map(|op| vec![op]).collect();
    chains.push(vec![curve.clone(), each.clone(), saturated.clone()]);
    chains.push(vec![curve, each.clone(), together, each]);
    chains.extend(examples().into_iter().map(|op| vec![saturated.clone(), op]));
    for ops in chains {
        let chain = Chain::of_fix(ops);
        for domain in [Domain::UNIT, Domain::WIDE] {
            let lut = chain.table(9, domain);
            let bits = |v: [f32; 3]| v.map(f32::to_bits);
            for (at, value) in lut.nodes().zip(&lut.table) {
                let exact = chain.apply_pixel(at).map(|v| v as f32);
                assert_eq!(bits(exact), bits(*value), "{chain:?} at {at:?}");
            }
        }
    }
}

#[test]
fn baking_states_its_error_and_more_nodes_have_less() {
    let chain = Chain::of_fix(vec![
        Op::Cdl(common::CDL),
        Op::Shoulder(Shoulder::in_proportion(0.6, 1.3, 1.0)),
    ]);
    for domain in [Domain::UNIT, Domain::WIDE] {
        let errors: Vec<_> = [9, 17, 33]
            .map(|size| chain.bake(size, domain).error)
            .to_vec();
        for pair in errors.windows(2) {
            assert!(
                pair[1].max < pair[0].max && pair[1].mean < pair[0].mean,
                "{errors:?}"
            );
        }
        // An independent set of colours inside the domain: none is much further off than stated.
        // 2 % for what lies between the places of the dense grid.
        let baked = chain.bake(33, domain);
        let mut state = 1_u64;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            domain.min + (domain.max - domain.min) * (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        for _ in 0..100_000 {
            let rgb = [next(), next(), next()];
            let (exact, table) = (chain.apply_pixel(rgb), baked.lut.sample(rgb));
            for c in 0..3 {
                assert!(
                    (exact[c] - table[c]).abs() <= baked.error.max * 1.1,
                    "{rgb:?}"
                );
            }
        }
    }
}

/// Colours keep their order along each channel: no step of a shoulder turns back.
#[test]
fn shoulders_rise_smoothly_and_hold_white() {
    for op in examples() {
        let Op::Shoulder(shoulder) = op else { continue };
        assert_eq!(shoulder.apply(shoulder.from), shoulder.to);
        let step = 1e-5;
        let mut last: Option<([f64; 3], [f64; 3])> = None;
        for i in -10_000..140_000 {
            let x = f64::from(i) * step;
            let y = shoulder.apply([x; 3]);
            if let Some((before, slope_before)) = last {
                let slope: [f64; 3] = std::array::from_fn(|c| (y[c] - before[c]) / step);
                for c in 0..3 {
                    assert!(
                        (Shoulder::MIN_SLOPE..=Shoulder::MAX_SLOPE).contains(&slope[c]),
                        "{shoulder:?} at {x}: {slope:?}"
                    );
                    // C¹: a joint with a kink would jump by tenths here.
                    assert!(slope_before[c].is_nan() || (slope[c] - slope_before[c]).abs() < 5e-3);
                    let stated = shoulder.slope_at(c, x - step / 2.0);
                    assert!((stated - slope[c]).abs() < 1e-3);
                }
                last = Some((y, slope));
            } else {
                last = Some((y, [f64::NAN; 3]));
            }
        }
    }
}

#[test]
fn a_shoulder_makes_gains_of_white_neutral_again() {
    let gain = [1.25, 1.05, 0.78];
    let cdl = Cdl {
        slope: gain,
        ..Cdl::NEUTRAL
    };
    let shoulder =
        Shoulder::neutral_beyond_white([0.5, 0.5, 0.4], cdl.apply([1.0; 3]), [1.0; 3], gain);
    shoulder.validate().unwrap();
    for x in [1.0, 1.05, 1.09] {
        let out = shoulder.apply(cdl.apply([x; 3]));
        assert!(
            (out[0] - out[1]).abs() < 1e-12 && (out[0] - out[2]).abs() < 1e-12,
            "{out:?}"
        );
        assert!(out[0] >= x - 0.02, "white stays bright: {out:?}");
    }
}

#[test]
fn a_shoulder_too_flat_or_too_steep_is_refused() {
    let flat = Shoulder::per_channel([0.9; 3], [1.4; 3], [1.0; 3]);
    assert!(flat.validate().unwrap_err().to_string().contains("0.3–4"));
    let steep = Shoulder::per_channel([0.45; 3], [0.5; 3], [1.0; 3]);
    assert!(steep.validate().is_err());
    let late = Shoulder {
        start: [1.0; 3],
        ..Shoulder::NEUTRAL
    };
    assert_eq!(late.validate().unwrap_err().field, "start[0]");
    let unequal = Shoulder {
        from: [1.2, 1.2, 1.1],
        ..Shoulder::in_proportion(0.5, 1.2, 1.0)
    };
    assert!(unequal.validate().is_err());
}

#[test]
fn a_roll_off_in_proportion_keeps_the_proportions() {
    let shoulder = Shoulder::in_proportion(0.5, 1.4, 1.0);
    let rgb = [1.2, 0.8, 0.55];
    let out = shoulder.apply(rgb);
    for c in 1..3 {
        assert!((out[c] / out[0] - rgb[c] / rgb[0]).abs() < 1e-12);
    }
    assert!(out[0] < 1.0);
}

#[test]
fn joined_cdls_do_what_both_do() {
    let gain = |slope, offset| Cdl {
        slope: [slope, 1.0, 0.9],
        offset: [offset; 3],
        ..Cdl::NEUTRAL
    };
    let power = Cdl {
        power: [0.9, 1.1, 1.3],
        ..Cdl::NEUTRAL
    };
    let drained = Cdl {
        saturation: 0.7,
        ..Cdl::NEUTRAL
    };
    for (first, next, joins) in [
        (gain(1.2, 0.01), common::CDL, true),
        (common::CDL, drained, true),
        (gain(1.2, -0.02), power, true),
        (power, power, true),
        (power, gain(1.1, 0.0), false),
        (drained, gain(1.1, 0.0), false),
        (common::CDL, Cdl::NEUTRAL, true),
    ] {
        let joined = first.then(&next);
        assert_eq!(joined.is_some(), joins, "{first:?} {next:?}");
        let Some(joined) = joined else { continue };
        for rgb in [[0.2, 0.5, 0.9], [-0.05, 0.0, 1.1], [1.0; 3]] {
            let (one, two) = (joined.apply(rgb), next.apply(first.apply(rgb)));
            for c in 0..3 {
                assert!(
                    (one[c] - two[c]).abs() < 1e-12,
                    "{first:?} {next:?}: {one:?} {two:?}"
                );
            }
        }
    }
}

proptest! {
    #[test]
    fn undoing_every_kind_that_can_be_undone(rgb in signal()) {
        for op in EXAMPLES.iter() {
            if let Some(back) = op.apply_inverse(op.apply(rgb)) {
                for c in 0..3 {
                    prop_assert!((back[c] - rgb[c]).abs() < 1e-9, "{}: {rgb:?} -> {back:?}", op.kind());
                }
            }
        }
    }

    #[test]
    fn undoing_any_valid_cdl(
        slope in [0.2..4.0_f64, 0.2..4.0_f64, 0.2..4.0_f64],
        offset in [-0.3..0.3_f64, -0.3..0.3_f64, -0.3..0.3_f64],
        power in [0.4..2.5_f64, 0.4..2.5_f64, 0.4..2.5_f64],
        saturation in 0.05..3.0_f64,
        rgb in signal(),
    ) {
        let cdl = Cdl { slope, offset, power, saturation };
        let back = cdl.inverse().unwrap().apply(cdl.apply(rgb));
        for c in 0..3 {
            // A base near 0 with a power above 1 loses digits: b^2.5 of 1e-6 is 1e-15.
            prop_assert!((back[c] - rgb[c]).abs() < 2e-5, "{cdl:?}: {rgb:?} -> {back:?}");
        }
    }

    #[test]
    fn undoing_any_valid_shoulder(
        start in 0.1..0.8_f64, from in 0.5..1.6_f64, to in 0.9..1.1_f64, end in 0.3..4.0_f64,
        rgb in signal(),
    ) {
        for roll in [Shoulder::per_channel([start; 3], [from; 3], [to; 3]), Shoulder::in_proportion(start, from, to)] {
            for shoulder in [roll, Shoulder { end_slope: [end; 3], ..roll }] {
                if shoulder.validate().is_ok() {
                    let back = shoulder.apply_inverse(shoulder.apply(rgb));
                    for c in 0..3 {
                        prop_assert!((back[c] - rgb[c]).abs() < 1e-9, "{shoulder:?}: {rgb:?} -> {back:?}");
                    }
                }
            }
        }
    }

    /// The rows against the plain reference. `f32` arithmetic over values up to 1.5: 5e-6.
    #[test]
    fn rows_agree_with_the_reference(rgb in signal()) {
        for op in EXAMPLES.iter() {
            let chain = Chain::of_fix(vec![op.clone()]);
            let narrow = rgb.map(|v| v as f32);
            let mut rows = narrow.map(|v| [v; 5]);
            let [r, g, b] = &mut rows;
            chain.prepare().apply_rows([r, g, b]);
            let exact = chain.apply_pixel(narrow.map(f64::from));
            for c in 0..3 {
                prop_assert!((f64::from(rows[c][3]) - exact[c]).abs() < 5e-6, "{:?}: {exact:?} {rows:?}", chain.fix[0].kind());
            }
        }
    }
}
