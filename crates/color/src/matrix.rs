//! 3×3 matrices in row order.

/// A 3×3 matrix, rows first.
pub type Matrix3 = [[f64; 3]; 3];

/// `m · v`.
#[must_use]
pub fn transform(m: &Matrix3, v: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|row| m[row][0] * v[0] + m[row][1] * v[1] + m[row][2] * v[2])
}

/// `a · b`.
#[must_use]
pub fn product(a: &Matrix3, b: &Matrix3) -> Matrix3 {
    std::array::from_fn(|row| {
        std::array::from_fn(|column| (0..3).map(|k| a[row][k] * b[k][column]).sum())
    })
}

/// The inverse, `None` where the determinant vanishes or is not finite.
#[must_use]
pub fn inverse(m: &Matrix3) -> Option<Matrix3> {
    let minor = |r: usize, c: usize| {
        let (r1, r2, c1, c2) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
        m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
    };
    let determinant = (0..3).map(|c| m[0][c] * minor(0, c)).sum::<f64>();
    (determinant.is_finite() && determinant.abs() > f64::MIN_POSITIVE)
        .then(|| std::array::from_fn(|r| std::array::from_fn(|c| minor(c, r) / determinant)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_undoes() {
        let m = [[2.0, -1.0, 0.3], [0.1, 0.9, 4.0], [1.5, 0.0, 1.0]];
        let unit = product(&m, &inverse(&m).unwrap());
        for (r, row) in unit.iter().enumerate() {
            for (c, value) in row.iter().enumerate() {
                assert!((value - f64::from(u8::from(r == c))).abs() < 1e-12);
            }
        }
        assert!(inverse(&[[1.0, 2.0, 3.0], [2.0, 4.0, 6.0], [0.0, 0.0, 1.0]]).is_none());
    }
}
