//! The table of lights: what each does to a white and to skin.

use std::sync::OnceLock;

use nalgebra::{Matrix2, Vector2};

use super::Gaussian;

/// One kind of light.
pub(super) struct Light {
    name: String,
    pub(super) log_prior: f64,
    /// Whether it is a phase of daylight.
    daylight: bool,
    /// Chromaticity of a white in it.
    pub(super) white: Vector2<f64>,
    /// Mean chromaticity of skin in it after balance.
    pub(super) skin: Vector2<f64>,
    /// How balanced skin in this light follows the same skin under D65.
    pub(super) follow: Matrix2<f64>,
    /// Covariance of balanced skin in this light that the skin under D65 leaves open.
    pub(super) rest: Matrix2<f64>,
}

/// Mean chromaticity of facial skin under D65 and its covariance (header of `data/skin_light.csv`).
pub(crate) fn population() -> Gaussian {
    (
        Vector2::new(0.569_487, -0.369_114),
        Matrix2::new(0.008_597, -0.001_487, -0.001_487, 0.011_652),
    )
}

fn rows() -> &'static [Light] {
    static TABLE: OnceLock<Vec<Light>> = OnceLock::new();
    TABLE.get_or_init(|| {
        let (_, spread) = population();
        // A constant that is known to be invertible.
        let inverse = spread.try_inverse().unwrap_or_else(Matrix2::identity);
        include_str!("../../data/skin_light.csv")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .skip(1)
            .map(|line| {
                let v: Vec<f64> = line
                    .rsplit(',')
                    .take(12)
                    .map(|field| field.parse().expect("the table holds numbers"))
                    .collect();
                // Read from the right: light names may one day hold a comma.
                let at = |column: usize| v[11 - column];
                let covariance = Matrix2::new(at(5), at(6), at(6), at(7));
                // cov(skin under D65, balanced skin in this light).
                let cross = Matrix2::new(at(8), at(9), at(10), at(11));
                let follow = cross.transpose() * inverse;
                let mut words = line.rsplitn(14, ',').skip(12);
                let family = words.next().unwrap_or_default();
                let name = words.next().unwrap_or_default().trim_matches('"');
                Light {
                    name: name.to_owned(),
                    log_prior: at(0),
                    daylight: family == "daylocus" || name.starts_with('D'),
                    white: Vector2::new(at(1), at(2)),
                    skin: Vector2::new(at(3), at(4)),
                    follow,
                    rest: covariance - follow * cross,
                }
            })
            .collect()
    })
}

/// The rows of the table but those named, each with the ln of its probability.
///
/// `daylight`: probability of all phases of daylight together, which stays so whatever is taken out.
pub(super) fn lights(excluded: &[String], daylight: f64) -> Vec<(&'static Light, f64)> {
    let kept: Vec<&Light> = rows()
        .iter()
        .filter(|row| !excluded.contains(&row.name))
        .collect();
    let sum = |wanted: bool| -> f64 {
        kept.iter()
            .filter(|row| row.daylight == wanted)
            .map(|row| row.log_prior.exp())
            .sum()
    };
    let (day, other) = (
        daylight.ln() - sum(true).ln(),
        (1.0 - daylight).ln() - sum(false).ln(),
    );
    kept.into_iter()
        .map(|row| (row, row.log_prior + if row.daylight { day } else { other }))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_taken_out_by_name() {
        let all = lights(&[], 0.4);
        let total: f64 = all.iter().map(|(_, log)| log.exp()).sum();
        assert!((total - 1.0).abs() < 1e-12);
        assert_eq!(all.len(), 127);
        let some = lights(&["FL3".to_owned(), "DL6750".to_owned()], 0.4);
        assert_eq!(some.len(), 125);
        assert!(
            some.iter()
                .all(|(l, _)| l.name != "FL3" && l.name != "DL6750")
        );
    }
}
