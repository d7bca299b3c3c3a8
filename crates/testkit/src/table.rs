//! Sums scores up: one table in text, the figures that bounds are set on.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde::Serialize;

use crate::corrector::Verdict;
use crate::reach::Reachable;
use crate::scene::Group;
use crate::score::Row;

/// CIEDE2000 that counts as on aim: the width of `own`.
pub const ON_AIM: f64 = 2.0;

/// Median, 95th percentile and worst.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// How many values.
    pub count: usize,
    /// Median.
    pub median: f64,
    /// 95th percentile, nearest rank.
    pub p95: f64,
    /// Largest.
    pub worst: f64,
}

impl Spread {
    /// Of absolute values; `None` of nothing.
    #[must_use]
    pub fn of(values: impl IntoIterator<Item = f64>) -> Option<Self> {
        let mut values: Vec<f64> = values.into_iter().map(f64::abs).collect();
        values.sort_by(f64::total_cmp);
        let count = values.len();
        (count > 0).then(|| Self {
            count,
            median: (values[(count - 1) / 2] + values[count / 2]) / 2.0,
            p95: values[(count * 95).div_ceil(100) - 1],
            worst: values[count - 1],
        })
    }
}

fn three(spread: Option<Spread>) -> String {
    spread.map_or("–".into(), |s| {
        format!("{:.2} / {:.2} / {:.1}", s.median, s.p95, s.worst)
    })
}

fn two(spread: Option<Spread>) -> String {
    spread.map_or("–".into(), |s| format!("{:.2} / {:.2}", s.median, s.p95))
}

fn percent(part: usize, whole: usize) -> String {
    if whole == 0 {
        "–".into()
    } else {
        format!("{:.0} %", 100.0 * part as f64 / whole as f64)
    }
}

/// Names of the correctors in the order in which they were run.
#[must_use]
pub fn correctors(rows: &[Row]) -> Vec<&str> {
    let mut names: Vec<&str> = Vec::new();
    for row in rows {
        if !names.contains(&row.corrector.as_str()) {
            names.push(&row.corrector);
        }
    }
    names
}

/// Shares that are counted over shots, once a shot.
fn per_shot<'a>(rows: &[&'a Row]) -> Vec<&'a Row> {
    rows.iter().copied().filter(|r| r.person == 0).collect()
}

fn main_line(name: &str, set: &str, rows: &[&Row]) -> String {
    let shots = per_shot(rows);
    let reachable: Vec<&&Row> = rows
        .iter()
        .filter(|r| r.reachable != Reachable::No)
        .collect();
    let near = reachable.iter().filter(|r| r.skin_de00 <= ON_AIM).count();
    let says = shots.iter().any(|r| r.verdict != Verdict::Silent);
    let count = |wanted: &dyn Fn(&Row) -> bool| shots.iter().filter(|r| wanted(r)).count();
    let said = |wanted: &dyn Fn(&Row) -> bool| {
        if says {
            percent(count(wanted), shots.len())
        } else {
            "–".into()
        }
    };
    let good: Vec<&&Row> = shots.iter().filter(|r| r.group == Group::Good).collect();
    let touched = good.iter().filter(|r| r.touched).count();
    let short_though_reachable =
        |r: &Row| r.verdict == Verdict::Short && r.reachable != Reachable::No;
    [
        name.to_owned(),
        set.to_owned(),
        rows.len().to_string(),
        three(Spread::of(rows.iter().map(|r| r.skin_de00))),
        three(Spread::of(shots.iter().filter_map(|r| r.neutral_de00))),
        two(Spread::of(rows.iter().filter_map(|r| r.level_error_pct))),
        two(Spread::of(rows.iter().filter_map(|r| r.hue_error_deg))),
        percent(near, reachable.len()),
        said(&|r| r.verdict == Verdict::OnAim),
        said(&|r| r.verdict == Verdict::Short),
        said(&short_though_reachable),
        said(&|r| r.verdict == Verdict::Unread),
        if says {
            shots.iter().map(|r| r.questions).sum::<usize>().to_string()
        } else {
            "–".into()
        },
        two(Spread::of(shots.iter().map(|r| r.clipped_picture_pct))),
        two(Spread::of(rows.iter().map(|r| r.clipped_skin_pct))),
        two(Spread::of(shots.iter().filter_map(|r| r.noise_gain))),
        percent(touched, good.len()),
        // Nothing measures these yet: patches are given, not found.
        "– | – | –".to_owned(),
    ]
    .join(" | ")
}

const HEAD: &str = "| row | scenes | n | skin ΔE00 (median / 95th / worst) | neutrals ΔE00 | level error, points | hue error, ° | within 2 of truth, reachable | says on aim | `short` | `short` though reachable | unread | asked | newly clipped, picture % | newly clipped, skin % | noise gain | good shots touched | patch error px | people found | wrong links |";

/// The whole table as text (Markdown).
#[must_use]
pub fn text(rows: &[Row]) -> String {
    let mut out = String::new();
    let names = correctors(rows);
    let columns = HEAD.matches('|').count() - 1;
    let rule = |n: usize| format!("|{}", "---|".repeat(n));
    let _ = writeln!(out, "{HEAD}\n{}", rule(columns));
    for name in &names {
        for (set, wanted) in [("tuned", false), ("held out", true)] {
            let part: Vec<&Row> = rows
                .iter()
                .filter(|r| r.corrector == *name && r.held_out == wanted)
                .collect();
            if !part.is_empty() {
                let _ = writeln!(out, "| {} |", main_line(name, set, &part));
            }
        }
    }
    let mut section = |title: &str, key: &dyn Fn(&Row) -> String, order: &dyn Fn(&str) -> usize| {
        let mut groups: BTreeMap<(usize, String), Vec<&Row>> = BTreeMap::new();
        for row in rows {
            let key = key(row);
            groups.entry((order(&key), key)).or_default().push(row);
        }
        let _ = writeln!(out, "\nBy {title}: skin ΔE00, median / 95th.\n");
        let _ = writeln!(
            out,
            "| {title} | n | {} |\n{}",
            names.join(" | "),
            rule(names.len() + 2)
        );
        for ((_, key), group) in &groups {
            let of = |name: &str| {
                two(Spread::of(
                    group
                        .iter()
                        .filter(|r| r.corrector == name)
                        .map(|r| r.skin_de00),
                ))
            };
            let cells: Vec<String> = names.iter().map(|n| of(n)).collect();
            // Typed and encoded rows may hold fewer scenes.
            let n = group.iter().filter(|r| r.corrector == names[0]).count();
            let _ = writeln!(out, "| {key} | {n} | {} |", cells.join(" | "));
        }
    };
    let no_order = |_: &str| 0;
    section("group", &|r| r.group.name().to_owned(), &|key| {
        Group::ALL.iter().position(|g| g.name() == key).unwrap_or(0)
    });
    section("neutral surface", &|r| r.neutrality.to_owned(), &no_order);
    section("complexion", &|r| r.class.to_owned(), &|key| {
        [
            "very-light",
            "light",
            "intermediate",
            "tan",
            "brown",
            "dark",
        ]
        .iter()
        .position(|c| *c == key)
        .unwrap_or(0)
    });
    section("camera", &|r| r.camera.to_owned(), &no_order);
    let lights = inkarnat_spectra::illuminants();
    section(
        "light (one light alone; mixtures last)",
        &|r| {
            if lights.iter().any(|l| l.name == r.light) {
                r.light.clone()
            } else {
                "mixtures".into()
            }
        },
        &|key| {
            lights
                .iter()
                .position(|l| l.name == key)
                .unwrap_or(lights.len())
        },
    );
    let last = names
        .iter()
        .rev()
        .find(|n| n.starts_with("the tool") && **n != crate::encoded::EncodedTool::NAME)
        .or(names.last());
    for name in last
        .into_iter()
        .chain(names.iter().find(|n| **n == "the tool, own"))
    {
        let mut worst: Vec<&Row> = rows.iter().filter(|r| r.corrector == *name).collect();
        worst.sort_by(|a, b| b.skin_de00.total_cmp(&a.skin_de00));
        let _ = writeln!(out, "\nTen worst of *{name}*:\n");
        for row in worst.iter().take(10) {
            let _ = writeln!(
                out,
                "- {:.1}: {} (shot {}, {}; {:?}; {:?}; {})",
                row.skin_de00, row.scene, row.shot, row.class, row.verdict, row.reachable, row.note
            );
        }
        if last == Some(&"the tool, own") {
            break;
        }
    }
    out
}

/// Skin of the scenes that went through encoded files, beside the same scenes in process: readings, medians, and the
/// median and 95th percentile of the difference a reading.
#[must_use]
pub fn through_files(rows: &[Row]) -> Option<String> {
    let of = |name: &'static str| rows.iter().filter(move |r| r.corrector == name);
    let pairs: Vec<(f64, f64)> = of(crate::encoded::EncodedTool::NAME)
        .filter_map(|file| {
            of("the tool, own")
                .find(|r| (&r.scene, r.shot, r.person) == (&file.scene, file.shot, file.person))
                .map(|process| (process.skin_de00, file.skin_de00))
        })
        .collect();
    let process = Spread::of(pairs.iter().map(|p| p.0))?;
    let file = Spread::of(pairs.iter().map(|p| p.1))?;
    let difference = Spread::of(pairs.iter().map(|p| p.1 - p.0))?;
    Some(format!(
        "through encoded files and the program, {} readings: skin ΔE00 median {:.2}, the same scenes in process {:.2}; difference of a reading, median {:.2}, 95th {:.2}",
        pairs.len(),
        file.median,
        process.median,
        difference.median,
        difference.p95
    ))
}

/// The figures that bounds are set on: medians only, by row and by tuned or held out.
#[must_use]
pub fn figures(rows: &[Row]) -> BTreeMap<String, f64> {
    let mut figures = BTreeMap::new();
    for name in correctors(rows) {
        if !name.starts_with("the tool") {
            continue;
        }
        for (set, wanted) in [("tuned", false), ("held out", true)] {
            let part: Vec<&Row> = rows
                .iter()
                .filter(|r| r.corrector == name && r.held_out == wanted)
                .collect();
            let shots = per_shot(&part);
            let values = [
                ("skin", Spread::of(part.iter().map(|r| r.skin_de00))),
                (
                    "neutrals",
                    Spread::of(shots.iter().filter_map(|r| r.neutral_de00)),
                ),
                (
                    "level",
                    Spread::of(part.iter().filter_map(|r| r.level_error_pct)),
                ),
                (
                    "hue",
                    Spread::of(part.iter().filter_map(|r| r.hue_error_deg)),
                ),
                (
                    "noise gain",
                    Spread::of(shots.iter().filter_map(|r| r.noise_gain)),
                ),
            ];
            for (what, spread) in values {
                if let Some(spread) = spread {
                    figures.insert(
                        format!("{name}, {set}: median {what}"),
                        round(spread.median),
                    );
                }
            }
            let daylight = |r: &&&Row| {
                name == "the tool, own"
                    && r.group == Group::Single
                    && r.neutrality == "neutral"
                    && ["D50", "D55", "D60", "D65", "D75", "ID50", "ID65"]
                        .contains(&r.light.as_str())
            };
            if let Some(spread) = Spread::of(part.iter().filter(daylight).map(|r| r.skin_de00)) {
                figures.insert(
                    format!("{name}, {set}: median skin, daylight"),
                    round(spread.median),
                );
            }
        }
    }
    figures
}

fn round(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// The mean over lights of the median CIEDE2000 that *neutral balance only* leaves with a truly neutral surface, an
/// ideal camera and one light, beside the published experiment's mean over the same lights.
#[must_use]
pub fn balance_against_published(rows: &[Row]) -> Option<(usize, f64, f64)> {
    const PUBLISHED: &str = include_str!("../../spectra/data/skin_after_balance.csv");
    let mut pairs = Vec::new();
    for line in PUBLISHED.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let ours = Spread::of(
            rows.iter()
                .filter(|r| {
                    r.corrector == "neutral balance only"
                        && r.group != Group::SplitFace
                        && r.neutrality == "neutral"
                        && r.camera == "ideal"
                        && r.light == fields[0]
                })
                .map(|r| r.skin_de00),
        );
        if let (Some(ours), Ok(published)) = (ours, fields[6].parse::<f64>()) {
            pairs.push((ours.median, published));
        }
    }
    let n = pairs.len();
    (n > 0).then(|| {
        let mean = |f: &dyn Fn(&(f64, f64)) -> f64| pairs.iter().map(f).sum::<f64>() / n as f64;
        (n, mean(&|p| p.0), mean(&|p| p.1))
    })
}

/// A figure beside its bound.
#[derive(Debug, Clone, PartialEq)]
pub struct Missed {
    /// Name of the figure.
    pub figure: String,
    /// Today's value; none when nothing gives it any more.
    pub value: Option<f64>,
    /// The bound.
    pub bound: f64,
}

/// Figures above their bound, or gone.
#[must_use]
pub fn missed(figures: &BTreeMap<String, f64>, bounds: &BTreeMap<String, f64>) -> Vec<Missed> {
    bounds
        .iter()
        .filter_map(|(figure, bound)| {
            let value = figures.get(figure).copied();
            // A figure that is not a number is no figure within its bound.
            let kept = value.is_some_and(|v| v <= *bound);
            (!kept).then(|| Missed {
                figure: figure.clone(),
                value,
                bound: *bound,
            })
        })
        .collect()
}

/// The ratchet: today's value and 10 %, where that is tighter than the bound or there is none yet.
#[must_use]
pub fn tightened(
    figures: &BTreeMap<String, f64>,
    bounds: &BTreeMap<String, f64>,
) -> BTreeMap<String, f64> {
    let mut result = bounds.clone();
    for (figure, value) in figures {
        // A tenth of nearly nothing would be a bound on noise.
        let bound = round(value * 1.1).max(0.05);
        result
            .entry(figure.clone())
            .and_modify(|old| *old = old.min(bound))
            .or_insert(bound);
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_of_twenty() {
        let s = Spread::of((1..=20).map(f64::from)).unwrap();
        assert_eq!((s.count, s.median, s.p95, s.worst), (20, 10.5, 19.0, 20.0));
        assert_eq!(Spread::of([]), None);
    }

    #[test]
    fn bounds_only_tighten_and_a_lost_figure_is_missed() {
        let map = |v: f64| BTreeMap::from([("a".to_owned(), v)]);
        assert_eq!(tightened(&map(1.0), &map(2.0))["a"], 1.1);
        assert_eq!(tightened(&map(3.0), &map(2.0))["a"], 2.0);
        assert_eq!(missed(&map(2.1), &map(2.0)).len(), 1);
        assert_eq!(missed(&map(2.0), &map(2.0)).len(), 0);
        assert_eq!(missed(&map(f64::NAN), &map(2.0)).len(), 1);
        assert_eq!(missed(&BTreeMap::new(), &map(2.0)).len(), 1);
    }
}
