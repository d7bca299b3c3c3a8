//! Checks against figures that others have published. Each table's header names its source.

use inkarnat_color::transfer::{
    Bt1886, bt709_oetf, bt709_oetf_inverse, hlg_oetf, hlg_oetf_inverse, pq_eotf, pq_inverse_eotf,
};
use inkarnat_color::{CodeValue, Coefficients, Lab, Levels, delta_e_2000};

fn rows(table: &str) -> Vec<Vec<String>> {
    table
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(split)
        .collect()
}

/// Splits a line at commas outside double quotes.
fn split(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut quoted = false;
    for character in line.chars() {
        match character {
            '"' => quoted = !quoted,
            ',' if !quoted => fields.push(String::new()),
            _ => fields.last_mut().expect("never empty").push(character),
        }
    }
    fields
}

fn number(field: &str) -> f64 {
    field
        .parse()
        .unwrap_or_else(|_| panic!("not a number: {field:?}"))
}

/// Sharma, Wu, Dalal, Color Res. Appl. 30(1):21–30 (2005), table I; printed to four places.
#[test]
fn ciede2000_pairs() {
    let rows = rows(include_str!("published/ciede2000_pairs.csv"));
    assert_eq!(rows.len(), 34);
    for row in rows {
        let lab = |first: usize| Lab {
            l: number(&row[first]),
            a: number(&row[first + 1]),
            b: number(&row[first + 2]),
        };
        for (a, b) in [(lab(1), lab(4)), (lab(4), lab(1))] {
            let difference = delta_e_2000(a, b).0;
            assert!(
                (difference - number(&row[7])).abs() < 1e-4,
                "pair {}: {difference}",
                row[0]
            );
        }
    }
}

/// Bars of SMPTE RP 219-2 and EG 1 (published codes where the table has them) and by BT.709-6 items
/// 3.2–3.4, BT.601-7 clause 2.5.3, BT.2100-3 tables 6 and 9, in 10 and in 8 bit.
#[test]
fn colour_bars() {
    let rows = rows(include_str!("published/bars_bt709_10bit.csv"));
    assert_eq!(rows.len(), 48);
    for row in rows {
        let set = match row[0].as_str() {
            "BT.601" => Coefficients::Bt601,
            "BT.709" => Coefficients::Bt709,
            "BT.2020" => Coefficients::Bt2020,
            other => panic!("unknown system {other}"),
        };
        let value = set.ycbcr_from_rgb([number(&row[3]), number(&row[4]), number(&row[5])]);
        for (depth, column) in [(10, 9), (8, 12)] {
            let codes = [
                CodeValue::from_luma(value.y, depth, Levels::Narrow).value,
                CodeValue::from_chroma(value.cb, depth, Levels::Narrow).value,
                CodeValue::from_chroma(value.cr, depth, Levels::Narrow).value,
            ];
            for (code, published) in codes.iter().zip(&row[column..column + 3]) {
                assert_eq!(
                    f64::from(*code),
                    number(published),
                    "{} {} {} at {depth} bit",
                    row[0],
                    row[1],
                    row[2]
                );
            }
        }
    }
}

/// BT.709-6, BT.1886, PQ and HLG samples (equations of BT.709-6 and BT.2100-3; BT.1886 from memory;
/// every value agrees with colour-science 0.4.7 to 1e-4).
#[test]
fn transfer_samples() {
    let mut seen = 0;
    for row in rows(include_str!("published/transfer_samples.csv")) {
        let input = number(&row[2]);
        let expected = number(&row[4]);
        let (ours, tolerance) = match row[0].as_str() {
            "BT.709-6 1.2 OETF" => (bt709_oetf(input), 1e-9),
            "BT.1886 EOTF Lw=100 Lb=0" => (
                Bt1886 {
                    white: 100.0,
                    black: 0.0,
                }
                .light_from_signal(input),
                1e-9 * expected.max(1.0),
            ),
            "BT.2100-3 PQ inverse EOTF" => (pq_inverse_eotf(input), 1e-9),
            "HLG OETF, exposure set so 100% reflectance = 75%HLG (BT.2408-9 2.2)" => {
                (hlg_oetf(input * hlg_oetf_inverse(0.75)), 1e-6)
            }
            _ => continue,
        };
        seen += 1;
        assert!(
            (ours - expected).abs() <= tolerance,
            "{} at {input}: {ours}, published {expected}",
            row[0]
        );
    }
    assert!(seen >= 50, "only {seen} samples checked");
}

#[test]
fn transfer_functions_undo_themselves() {
    for step in -5..=110 {
        let v = f64::from(step) / 100.0;
        assert!((bt709_oetf(bt709_oetf_inverse(v)) - v).abs() < 1e-12);
        if v >= 0.0 {
            assert!(
                (Bt1886::RELATIVE.signal_from_light(Bt1886::RELATIVE.light_from_signal(v)) - v)
                    .abs()
                    < 1e-12
            );
        }
        if (0.0..=1.0).contains(&v) {
            // PQ maps black to 7.3e-7 (c1 to the power m2) and back from there.
            assert!((pq_inverse_eotf(pq_eotf(v)) - v).abs() < 1e-6);
            assert!((hlg_oetf(hlg_oetf_inverse(v)) - v).abs() < 1e-9);
        }
    }
}

/// Level, hue and Lab of the ColorChecker through BT.709 (colour-science 0.4.7, all sets; light skin
/// of the 2005 set reads 119.48° and 57.4 %, dark skin 120.65° and 28.4 %).
#[test]
fn colorchecker_level_and_hue() {
    let mut skins = 0;
    for row in rows(include_str!("published/colorchecker.csv")) {
        let linear = [number(&row[11]), number(&row[12]), number(&row[13])];
        if linear.iter().any(|&light| light < 0.0) {
            // Outside BT.709 (cyan); the standard's curve is defined from zero up.
            continue;
        }
        let signal = linear.map(bt709_oetf);
        let value = Coefficients::Bt709.ycbcr_from_rgb(signal);
        assert!(
            (value.y - number(&row[17])).abs() < 1e-5,
            "{} {}",
            row[0],
            row[1]
        );
        if let Some(hue) = value.chroma().hue() {
            let arc = hue.from_origin(inkarnat_color::Hue::from_degrees(number(&row[18])));
            // The table carries six places of linear light, which turns weak chroma by up to this much.
            assert!(
                arc.degrees().abs() < 0.01,
                "{} {}: {}",
                row[0],
                row[1],
                hue.degrees()
            );
        }
        skins += usize::from(row[1].ends_with("skin"));
    }
    assert!(skins >= 4);
}
