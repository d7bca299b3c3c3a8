//! The 24-patch colour chart.

use std::sync::OnceLock;

use crate::data;
use crate::spectrum::{Outside, Spectrum};

/// One patch.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Its name on the chart.
    pub name: String,
    /// Reflectance factor.
    pub reflectance: Spectrum,
}

/// Which measurement of the chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChartSet {
    /// Average of 30 charts, native step 10 nm.
    Average,
    /// One chart, native step 5 nm.
    Single,
}

/// The 24 patches in file order.
pub fn chart(set: ChartSet) -> &'static [Patch] {
    static SETS: OnceLock<[Vec<Patch>; 2]> = OnceLock::new();
    let sets = SETS.get_or_init(|| {
        let (_, rows) = data::rows(data::CHART);
        let mut sets = [Vec::new(), Vec::new()];
        for (key, rows) in data::groups(&rows, 2) {
            let table: Vec<_> = rows
                .iter()
                .map(|r| (data::number(r[2]), data::number(r[3])))
                .collect();
            sets[usize::from(key[0] != "BabelColor Average")].push(Patch {
                name: key[1].to_owned(),
                reflectance: Spectrum::from_table(&table, Outside::Constant),
            });
        }
        sets
    });
    &sets[usize::from(set == ChartSet::Single)]
}

/// The patch of that name in the average of 30 charts.
///
/// # Panics
/// If the chart has no such patch: names are written in the program.
#[must_use]
pub fn patch(name: &str) -> &'static Spectrum {
    chart(ChartSet::Average)
        .iter()
        .find(|p| p.name == name)
        .map(|p| &p.reflectance)
        .unwrap_or_else(|| panic!("expected the name of a chart patch, got {name:?}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_sets_hold_24_patches() {
        for set in [ChartSet::Average, ChartSet::Single] {
            assert_eq!(chart(set).len(), 24);
        }
        assert!(patch("white 9.5 (.05 D)").0[40] > 0.85);
    }
}
