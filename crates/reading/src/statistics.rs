//! Robust sums. All of them are deterministic and keep NaN out by taking finite input only.

/// The share that is cut from each end.
pub(crate) const TRIM: f64 = 0.1;

/// Trimmed mean and winsorised standard deviation of a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Trimmed {
    /// Mean of what is left after the lowest and highest ⌊n/10⌋ values are cut.
    pub(crate) mean: f64,
    /// Standard deviation after the cut values are replaced by the nearest ones kept
    /// (n − 1 in the divisor); 0 for fewer than two values.
    pub(crate) winsorised_sd: f64,
    /// How many were cut from each end.
    pub(crate) cut: usize,
}

/// `None` for an empty sample. Reorders the values.
pub(crate) fn trimmed(values: &mut [f64]) -> Option<Trimmed> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let cut = (TRIM * n as f64) as usize;
    if cut > 0 {
        values.select_nth_unstable_by(cut, f64::total_cmp);
        // What is left of `cut` is not larger; partition the rest at the upper cut.
        values[cut..].select_nth_unstable_by(n - 2 * cut - 1, f64::total_cmp);
    }
    let (low, high) = (cut, n - cut);
    let kept = &values[low..high];
    let mean = kept.iter().sum::<f64>() / kept.len() as f64;
    let floor = kept.iter().copied().fold(f64::INFINITY, f64::min);
    let ceiling = kept.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let tails = cut as f64;
    let centre = (kept.iter().sum::<f64>() + tails * (floor + ceiling)) / n as f64;
    let square = |v: f64| (v - centre) * (v - centre);
    let sum =
        kept.iter().map(|&v| square(v)).sum::<f64>() + tails * (square(floor) + square(ceiling));
    let winsorised_sd = if n > 1 {
        (sum / (n - 1) as f64).sqrt()
    } else {
        0.0
    };
    Some(Trimmed {
        mean,
        winsorised_sd,
        cut,
    })
}

/// Standard deviation of a centred sample from the mean absolute value after the largest tenth is
/// cut, scaled for a normal distribution; unlike the median it does not fall to zero on coarse codes.
///
/// `None` for an empty sample. Reorders the values.
pub(crate) fn robust_sd(values: &mut [f64]) -> Option<f64> {
    /// Mean of |z| below its 90th percentile, z standard normal: 2 (φ(0) − φ(1.6449)) / 0.9.
    const NORMAL: f64 = 0.657_346;
    if values.is_empty() {
        return None;
    }
    for value in values.iter_mut() {
        *value = value.abs();
    }
    let keep = values.len() - (TRIM * values.len() as f64) as usize;
    values.select_nth_unstable_by(keep - 1, f64::total_cmp);
    Some(values[..keep].iter().sum::<f64>() / keep as f64 / NORMAL)
}

/// The median; `None` for an empty sample. Reorders the values.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (low, &mut middle, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    if n % 2 == 1 {
        return Some(middle);
    }
    let below = low.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some((below + middle) / 2.0)
}

/// Slope of a line through points by the median of the slopes of all pairs (Theil 1950, Sen 1968).
///
/// More than `MOST` points are summed up to means of equal runs first. 0 where fewer than two
/// different abscissae are given.
pub(crate) fn theil_sen(at: &[f64], values: &[f64]) -> f64 {
    const MOST: usize = 240;
    let n = at.len().min(values.len());
    let runs = n.min(MOST);
    let mean = |list: &[f64], run: usize| {
        let part = &list[run * n / runs..(run + 1) * n / runs];
        part.iter().sum::<f64>() / part.len() as f64
    };
    let points: Vec<(f64, f64)> = (0..runs).map(|r| (mean(at, r), mean(values, r))).collect();
    let mut slopes = Vec::with_capacity(runs * runs.saturating_sub(1) / 2);
    for (index, (x0, y0)) in points.iter().enumerate() {
        for (x1, y1) in &points[index + 1..] {
            if x1 != x0 {
                slopes.push((y1 - y0) / (x1 - x0));
            }
        }
    }
    median(&mut slopes).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// By hand: of 1…10 and 100 in place of 10, one is cut at each end; 2…9 stay, mean 5.5.
    /// Winsorised: 2, 2, 3, …, 8, 9, 9: mean 5.5, squares 2·12.25 + 2·(6.25 + 2.25 + 0.25)
    /// + 2·12.25 … = 66.5, over 9, root 2.718.
    #[test]
    fn trimmed_mean_by_hand() {
        let mut values = [100.0, 3.0, 5.0, 1.0, 9.0, 7.0, 2.0, 8.0, 4.0, 6.0];
        let result = trimmed(&mut values).unwrap();
        assert_eq!(result.mean, 5.5);
        assert_eq!(result.cut, 1);
        // 4·12.25 + 2·6.25 + 2·2.25 + 2·0.25 = 66.5
        assert!((result.winsorised_sd - (66.5f64 / 9.0).sqrt()).abs() < 1e-12);
        assert_eq!(trimmed(&mut []), None);
        assert_eq!(trimmed(&mut [3.0]).unwrap().winsorised_sd, 0.0);
    }

    #[test]
    fn slope_ignores_outliers() {
        let at: Vec<f64> = (0..50).map(f64::from).collect();
        let mut values: Vec<f64> = at.iter().map(|x| 2.0 + 0.5 * x).collect();
        values[3] = 900.0;
        values[30] = -900.0;
        assert!((theil_sen(&at, &values) - 0.5).abs() < 1e-12);
        assert_eq!(theil_sen(&[], &[]), 0.0);
        assert_eq!(theil_sen(&[1.0, 1.0], &[0.0, 9.0]), 0.0);
        let long: Vec<f64> = (0..5000).map(f64::from).collect();
        assert!((theil_sen(&long, &long) - 1.0).abs() < 1e-12);
    }

    proptest! {
        /// Against the plain definition: sort, cut, average.
        #[test]
        fn trimmed_equals_its_definition(values in proptest::collection::vec(-1e3f64..1e3, 1..200)) {
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            let cut = values.len() / 10;
            let kept = &sorted[cut..values.len() - cut];
            let mean = kept.iter().sum::<f64>() / kept.len() as f64;
            let mut given = values.clone();
            let result = trimmed(&mut given).unwrap();
            prop_assert!((result.mean - mean).abs() < 1e-9);
            prop_assert!(result.winsorised_sd.is_finite());
            let n = values.len();
            let expected = if n % 2 == 1 { sorted[n / 2] } else { (sorted[n / 2 - 1] + sorted[n / 2]) / 2.0 };
            prop_assert_eq!(median(&mut given).unwrap(), expected);
        }
    }
}
