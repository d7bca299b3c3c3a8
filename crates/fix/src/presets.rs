//! Aims to choose from, each with its source. None is ever applied unasked.

use crate::aim::Band;

/// A named aim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preset {
    /// Name as typed.
    pub name: &'static str,
    /// Level Y', percent of reference white.
    pub level: Band,
    /// Hue band in degrees on the Cb/Cr plane; `None` = the person's own.
    pub hue: Option<Band>,
    /// Where the numbers come from.
    pub source: &'static str,
}

const PRACTICE: &str =
    "common practice, no source; brighter than such skin measures against a 100 % white";
const MEASURED: &str = "computed from the facial spectra of the International Skin Spectra Archive (Lu, Xiao et al., Scientific Data 2025, doi 10.1038/s41597-025-04857-5): median and 5–95 % of luma after the BT.709 OETF, white at 100 %, by ITA class";

const fn band(low: f64, high: f64) -> Band {
    Band { low, high }
}

const fn measured(name: &'static str, low: f64, high: f64) -> Preset {
    Preset {
        name,
        level: band(low, high),
        hue: None,
        source: MEASURED,
    }
}

/// All presets, in the order they are shown.
pub const PRESETS: [Preset; 8] = [
    Preset {
        name: "practice-light",
        level: band(65.0, 75.0),
        hue: Some(band(120.0, 126.0)),
        source: PRACTICE,
    },
    Preset {
        name: "practice-deep",
        level: band(40.0, 60.0),
        hue: Some(band(120.0, 126.0)),
        source: PRACTICE,
    },
    measured("measured-very-light", 57.0, 64.0),
    measured("measured-light", 53.0, 61.0),
    measured("measured-intermediate", 50.0, 56.0),
    measured("measured-tan", 45.0, 51.0),
    measured("measured-brown", 33.0, 44.0),
    measured("measured-dark", 21.0, 32.0),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// 5th and 95th percentile of `Yprime709_pct_whiteAt100` by class in the statistics computed from the archive's
    /// facial records: 57.0–64.014, 53.383–61.016, 49.622–56.23, 44.555–51.214, 32.847–43.917, 21.269–31.718.
    #[test]
    fn measured_bands_are_the_published_percentiles() {
        for (name, low, high) in [
            ("measured-very-light", 57.0, 64.014),
            ("measured-light", 53.383, 61.016),
            ("measured-intermediate", 49.622, 56.23),
            ("measured-tan", 44.555, 51.214),
            ("measured-brown", 32.847, 43.917),
            ("measured-dark", 21.269, 31.718),
        ] {
            let preset = PRESETS.iter().find(|p| p.name == name).expect(name);
            assert!((preset.level.low - low).abs() <= 0.5, "{name}");
            assert!((preset.level.high - high).abs() <= 0.5, "{name}");
        }
    }
}
