//! `x^p` for rows.

/// `value^power` where the value is not negative, the value itself where it is (and where it is not
/// finite). Values below 1.2e-38 count as 0.
///
/// By `2^(power · log2 value)`: the logarithm of the mantissa from its series in
/// `t = (m − 1)/(m + 1)`, `|t| ≤ 0.172`, to t⁹; the exponential from its Taylor series on ±½ to the
/// seventh degree. For values up to 2 and powers 0.3–3 with a result up to 4, the result is within
/// 3e-7 of the exact one, relative to the larger of it and 1 (measured, see the tests).
#[inline(always)]
pub(super) fn signed_power(value: f32, power: f32) -> f32 {
    // The mantissa in √½…√2, and the exponent that goes with it.
    const ROOT_HALF: u32 = 0x3f35_04f3;
    let bits = value.to_bits().wrapping_sub(ROOT_HALF);
    let exponent = ((bits as i32) >> 23) as f32;
    let mantissa = f32::from_bits((bits & 0x007f_ffff).wrapping_add(ROOT_HALF));
    let t = (mantissa - 1.0) / (mantissa + 1.0);
    let u = t * t;
    let series = u
        .mul_add(1.0 / 9.0, 1.0 / 7.0)
        .mul_add(u, 1.0 / 5.0)
        .mul_add(u, 1.0 / 3.0)
        .mul_add(u, 1.0);
    let log2 = (t * series).mul_add(2.0 * std::f32::consts::LOG2_E, exponent);

    let scaled = power * log2;
    let scaled = if scaled > -126.0 { scaled } else { -126.0 };
    let scaled = if scaled < 127.0 { scaled } else { 127.0 };
    // Adding 1.5·2²³ rounds to the nearest whole number and leaves it in the low bits.
    const ROUND: f32 = 12_582_912.0;
    let rounded = scaled + ROUND;
    let whole = (rounded.to_bits() as i32).wrapping_sub(ROUND.to_bits() as i32);
    let part = (scaled - (rounded - ROUND)) * std::f32::consts::LN_2;
    let exponential = part
        .mul_add(1.0 / 5040.0, 1.0 / 720.0)
        .mul_add(part, 1.0 / 120.0)
        .mul_add(part, 1.0 / 24.0)
        .mul_add(part, 1.0 / 6.0)
        .mul_add(part, 0.5)
        .mul_add(part, 1.0)
        .mul_add(part, 1.0);
    let result = exponential * f32::from_bits((whole.wrapping_add(127) as u32) << 23);

    let result = if value < f32::MIN_POSITIVE {
        0.0
    } else {
        result
    };
    if (0.0..f32::INFINITY).contains(&value) {
        result
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::signed_power;

    #[test]
    fn within_its_stated_error() {
        let mut worst = 0.0_f64;
        for step in 0..200 {
            let power = 0.3 + 2.7 * step as f32 / 199.0;
            for i in 0..=4000 {
                // Dense near 0 too: the square reaches 6e-8.
                let even = i as f32 / 2000.0;
                for value in [even, even * even / 2.0] {
                    let exact = f64::from(value).powf(f64::from(power));
                    if exact <= 4.0 {
                        let off = (f64::from(signed_power(value, power)) - exact).abs();
                        worst = worst.max(off / exact.max(1.0));
                    }
                }
            }
        }
        assert!(worst < 3e-7, "{worst:e}");
    }

    #[test]
    fn ends_and_odd_values() {
        for power in [0.3, 1.0, 2.6] {
            assert_eq!(signed_power(0.0, power), 0.0);
            assert_eq!(signed_power(1.0, power), 1.0);
            assert_eq!(signed_power(-0.25, power), -0.25);
            assert_eq!(signed_power(f32::INFINITY, power), f32::INFINITY);
            assert_eq!(signed_power(f32::NEG_INFINITY, power), f32::NEG_INFINITY);
            assert!(signed_power(f32::NAN, power).is_nan());
            assert_eq!(signed_power(1e-40, power), 0.0);
            assert!(signed_power(f32::MAX, power).is_finite());
        }
    }
}
