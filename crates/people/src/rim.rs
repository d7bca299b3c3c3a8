//! The rim of spectacles across a cheek: what lies above it is skin behind a lens, which tints and reflects.

use crate::warp::sample;
use inkarnat_color::{Coefficients, Region, Rgb};

/// Steps across the width of a face in which a cheek is looked at.
const STEPS: f64 = 160.0;
/// How far above the cheek's own edge the look begins, in widths of the face: a rim may lie along that edge.
const ABOVE: f64 = 0.04;
/// Steps on both sides within which the skin beside a rim is: rims are up to 0.03 of a face wide.
const REACH: usize = 6;
/// Difference from the skin on both sides, in ln of luma, from which a step may be of a rim.
const DIFFERS: f64 = 0.12;
/// Steps along a rim over which luma is averaged: noise has no length.
const ALONG: usize = 2;
/// Share of the cheek across which it has to run.
const SPAN: f64 = 0.35;

/// What of a cheek lies above a rim, as a polygon, the rim and `margin` below it with it; `None` where nothing crosses the upper
/// half of the cheek.
///
/// All in pixels of the frame, of which `picture` holds a region. `eye` says which way is up; `width` is that of the face.
pub(crate) fn above_rim(
    (picture, region): (&Rgb, Region),
    coefficients: Coefficients,
    cheek: &[[f64; 2]],
    eye: [f64; 2],
    width: f64,
    margin: f64,
) -> Option<Vec<[f64; 2]>> {
    let count = cheek.len() as f64;
    let middle = [0, 1].map(|k| cheek.iter().map(|p| p[k]).sum::<f64>() / count);
    let length = (eye[0] - middle[0]).hypot(eye[1] - middle[1]);
    let up = [0, 1].map(|k| (eye[k] - middle[k]) / length);
    if !(up[0].is_finite() && up[1].is_finite()) || picture.width < 2 || picture.height < 2 {
        return None;
    }
    let across = [-up[1], up[0]];
    let step = width / STEPS;
    let place = |p: &[f64; 2]| {
        let from = [p[0] - middle[0], p[1] - middle[1]];
        [
            from[0] * across[0] + from[1] * across[1],
            from[0] * up[0] + from[1] * up[1],
        ]
    };
    let (mut left, mut right, mut top) = (0.0_f64, 0.0_f64, 0.0_f64);
    for [u, v] in cheek.iter().map(place) {
        (left, right, top) = (left.min(u), right.max(u), top.max(v));
    }
    let columns = ((right - left) / step) as usize;
    let rows = ((top + ABOVE * width) / step) as usize;
    if columns < 8 || rows < 2 * ALONG {
        return None;
    }
    let at = |column: f64, v: f64| {
        let u = left + column * step;
        [0, 1].map(|k| middle[k] + across[k] * u + up[k] * v)
    };
    // Rows run upwards from the middle of the cheek, with what `REACH` needs on both sides.
    let tall = rows + 2 * REACH;
    let luma: Vec<f64> = (0..tall * columns)
        .map(|i| {
            let (row, column) = (i / columns, i % columns);
            let v = (row as f64 - REACH as f64) * step;
            let [x, y] = at(column as f64, v);
            let inside = [x - region.x as f64, y - region.y as f64];
            let signal = sample(picture, inside).map(f64::from);
            coefficients.luma(signal).max(1.0 / 219.0).ln()
        })
        .collect();
    let even: Vec<f64> = (0..tall * columns)
        .map(|i| {
            let (row, column) = (i / columns, i % columns);
            let near = column.saturating_sub(ALONG)..(column + ALONG + 1).min(columns);
            let n = near.len() as f64;
            near.map(|c| luma[row * columns + c]).sum::<f64>() / n
        })
        .collect();
    let stands_out = |row: usize, column: usize| {
        let here = even[(row + REACH) * columns + column];
        let of = |rows: std::ops::Range<usize>| {
            rows.map(|r| even[r * columns + column])
                .fold([f64::MAX, f64::MIN], |[low, high], v| {
                    [low.min(v), high.max(v)]
                })
        };
        let (below, over) = (
            of(row..row + REACH),
            of(row + REACH + 1..row + 2 * REACH + 1),
        );
        below[1].min(over[1]) - here > DIFFERS || here - below[0].max(over[0]) > DIFFERS
    };
    let mut open: Vec<bool> = (0..rows * columns)
        .map(|i| stands_out(i / columns, i % columns))
        .collect();
    // The piece that runs furthest across; of each column its lowest row.
    let mut best: Option<Vec<Option<usize>>> = None;
    for start in 0..open.len() {
        if !open[start] {
            continue;
        }
        let mut lowest: Vec<Option<usize>> = vec![None; columns];
        let mut todo = vec![start];
        open[start] = false;
        while let Some(i) = todo.pop() {
            let (row, column) = (i / columns, i % columns);
            lowest[column] = Some(lowest[column].map_or(row, |low| low.min(row)));
            for r in row.saturating_sub(1)..(row + 2).min(rows) {
                for c in column.saturating_sub(1)..(column + 2).min(columns) {
                    if open[r * columns + c] {
                        open[r * columns + c] = false;
                        todo.push(r * columns + c);
                    }
                }
            }
        }
        let wide = |lowest: &[Option<usize>]| lowest.iter().flatten().count();
        if best.as_ref().is_none_or(|b| wide(b) < wide(&lowest)) {
            best = Some(lowest);
        }
    }
    let rim: Vec<(usize, usize)> = best?
        .into_iter()
        .enumerate()
        .filter_map(|(column, row)| Some((column, row?)))
        .collect();
    if (rim.len() as f64) < SPAN * columns as f64 {
        return None;
    }
    let (first, last) = (*rim.first()?, *rim.last()?);
    let aside = margin / step;
    let edge = |column: f64, row: usize| at(column, row as f64 * step - margin);
    let high = top + ABOVE * width + margin;
    let mut polygon = vec![edge(first.0 as f64 - aside, first.1)];
    polygon.extend(rim.iter().map(|&(column, row)| edge(column as f64, row)));
    polygon.push(edge(last.0 as f64 + aside, last.1));
    polygon.push(at(last.0 as f64 + aside, high));
    polygon.push(at(first.0 as f64 - aside, high));
    Some(polygon)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHEEK: [[f64; 2]; 4] = [[20.0, 40.0], [80.0, 40.0], [80.0, 80.0], [20.0, 80.0]];
    const EYE: [f64; 2] = [50.0, 10.0];

    fn skin(shade: impl Fn(usize, usize) -> f32) -> Rgb {
        let mut picture = Rgb::new(100, 100);
        for i in 0..100 * 100 {
            let shade = shade(i % 100, i / 100);
            picture.set_pixel(i, [0.6 * shade, 0.45 * shade, 0.35 * shade]);
        }
        picture
    }

    fn above(picture: &Rgb) -> Option<Vec<[f64; 2]>> {
        let region = Region::whole(100, 100);
        above_rim(
            (picture, region),
            Coefficients::Bt709,
            &CHEEK,
            EYE,
            160.0,
            3.0,
        )
    }

    #[test]
    fn a_rim_is_found_with_what_lies_above_it() {
        let picture = skin(|_, y| if (48..51).contains(&y) { 0.4 } else { 1.0 });
        let polygon = above(&picture).unwrap();
        let lowest = polygon.iter().map(|p| p[1]).fold(f64::MIN, f64::max);
        // The rim's last row is 50, and the margin comes to it.
        assert!((52.0..55.0).contains(&lowest), "{polygon:?}");
        let highest = polygon.iter().map(|p| p[1]).fold(f64::MAX, f64::min);
        assert!(highest < 40.0, "{polygon:?}");
    }

    #[test]
    fn shading_is_no_rim_and_neither_is_a_mole() {
        let shaded = skin(|x, y| 1.0 - 0.004 * x as f32 - 0.003 * y as f32);
        assert_eq!(above(&shaded), None);
        let mole = skin(|x, y| {
            let inside = (44..52).contains(&x) && (47..52).contains(&y);
            if inside { 0.5 } else { 1.0 }
        });
        assert_eq!(above(&mole), None);
    }
}
