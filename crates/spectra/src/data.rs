//! Reads the tables that are compiled in. They are part of the program: a broken one is a bug and panics.

use crate::spectrum::{Outside, Spectrum};

pub(crate) const ILLUMINANTS: &str = include_str!("../data/illuminants.csv");
pub(crate) const OBSERVER: &str = include_str!("../data/cmfs_cie1931_2deg.csv");
pub(crate) const CAMERAS: &str = include_str!("../data/camera_sensitivities.csv");
pub(crate) const CHART: &str = include_str!("../data/colorchecker_spectra.csv");
pub(crate) const SKIN_COMPONENTS: &str = include_str!("../data/skin_pca.csv");
pub(crate) const SKIN_MEANS: &str = include_str!("../data/skin_spectra_mean.csv");

/// Header fields and rows of a table without quoted commas; `#` lines are its heading in words.
pub(crate) fn rows(text: &'static str) -> (Vec<&'static str>, Vec<Vec<&'static str>>) {
    let mut lines = text
        .lines()
        .filter(|l| !l.starts_with('#') && !l.trim().is_empty())
        .map(|l| l.split(',').map(str::trim).collect::<Vec<_>>());
    let header = lines.next().expect("a table has a header");
    (header, lines.collect())
}

pub(crate) fn number(field: &str) -> f64 {
    field
        .parse()
        .unwrap_or_else(|_| panic!("expected a number in a compiled-in table, got {field:?}"))
}

/// Column `column` of a table whose first column is the wavelength.
pub(crate) fn column(rows: &[Vec<&str>], column: usize, outside: Outside) -> Spectrum {
    let table: Vec<_> = rows
        .iter()
        .map(|r| (number(r[0]), number(r[column])))
        .collect();
    Spectrum::from_table(&table, outside)
}

/// Rows grouped by the value of their first `keys` columns, in file order.
pub(crate) fn groups<'a>(
    rows: &'a [Vec<&'static str>],
    keys: usize,
) -> Vec<(&'a [&'static str], &'a [Vec<&'static str>])> {
    rows.chunk_by(|a, b| a[..keys] == b[..keys])
        .map(|chunk| (&chunk[0][..keys], chunk))
        .collect()
}
