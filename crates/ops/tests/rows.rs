//! The code for rows against the plain reference, over grids, odd lengths and uneven domains.

mod common;

use common::{CDL, examples};
use inkarnat_ops::fast::FastLut;
use inkarnat_ops::{Chain, Lut3d, Op};

/// Colours in and around −0.1…1.2, every one reproducible.
fn colours(count: usize) -> [Vec<f32>; 3] {
    let mut state = 7_u64;
    std::array::from_fn(|_| {
        (0..count)
            .map(|i| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                let part = (state >> 40) as f32 / (1 << 24) as f32;
                // Some on nodes and equal to each other.
                if i % 5 == 0 {
                    (part * 16.0).round() / 16.0
                } else {
                    part * 1.3 - 0.1
                }
            })
            .collect()
    })
}

/// The largest difference between rows and reference.
fn worst(chain: &Chain, count: usize) -> f64 {
    let before = colours(count);
    let mut after = before.clone();
    let [r, g, b] = &mut after;
    chain.prepare().apply_rows([r, g, b]);
    let mut worst = 0.0_f64;
    for i in 0..count {
        let exact = chain.apply_pixel(std::array::from_fn(|c| f64::from(before[c][i])));
        for c in 0..3 {
            worst = worst.max((f64::from(after[c][i]) - exact[c]).abs());
        }
    }
    worst
}

#[test]
fn every_kind_within_its_stated_error() {
    for op in examples() {
        let bound = match &op {
            // The power (2.5e-7, measured) and saturation about luma on top.
            Op::Cdl(_) => 6e-7,
            // A handful of f32 roundings of values up to 1.3 (half a unit: 6e-8 each).
            Op::Shoulder(_) => 2.5e-7,
            // The reference itself, narrowed.
            Op::KeyedCdl(_) => 1e-7,
            Op::Lut(_) => 4e-7,
            // Each node rounds to `f32` once; powers and matrices carry that on.
            Op::Process(_) => 4e-7,
            Op::Limiter(_) => 1e-7,
        };
        let kind = op.kind();
        let worst = worst(&Chain::of_fix(vec![op]), 200_000);
        assert!(worst < bound, "{kind}: {worst:e}");
    }
}

#[test]
fn tables_of_every_size_and_uneven_domains() {
    for size in [2, 3, 5, 16, 17, 33, 64, 65] {
        for (min, max) in [
            ([0.0; 3], [1.0; 3]),
            ([-0.1, 0.0, 0.2], [1.2, 0.9, 0.7]),
            ([-2.0 / 27.0; 3], [10.0 / 9.0; 3]),
        ] {
            let mut lut = Lut3d::identity(size, min, max);
            lut.table = lut
                .nodes()
                .map(|node| CDL.apply(node).map(|v| v as f32))
                .collect();
            let worst = worst(&Chain::of_fix(vec![Op::Lut(lut)]), 20_000);
            assert!(worst < 4e-7, "{size} {min:?}: {worst:e}");
        }
    }
}

/// A row's result does not depend on how long the row is or where a pixel lies in it.
#[test]
fn every_length_gives_the_same_bits() {
    for op in examples() {
        let chain = Chain::of_fix(vec![op]);
        let prepared = chain.prepare();
        let whole = {
            let mut rows = colours(2100);
            let [r, g, b] = &mut rows;
            prepared.apply_rows([r, g, b]);
            rows
        };
        for (start, end) in [
            (0, 0),
            (3, 4),
            (5, 36),
            (7, 39),
            (1, 66),
            (100, 1500),
            (0, 2099),
        ] {
            let mut part = colours(2100).map(|row| row[start..end].to_vec());
            let [r, g, b] = &mut part;
            prepared.apply_rows([r, g, b]);
            for c in 0..3 {
                let bits = |row: &[f32]| row.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
                assert_eq!(
                    bits(&part[c]),
                    bits(&whole[c][start..end]),
                    "{}",
                    chain.fix[0].kind()
                );
            }
        }
    }
}

#[test]
fn numbers_that_are_none_go_to_the_first_node() {
    let lut = Lut3d::identity(17, [0.0; 3], [1.0; 3]);
    let fast = FastLut::new(&lut);
    let mut rows = [
        vec![f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.5],
        vec![0.25; 4],
        vec![1.0; 4],
    ];
    let [r, g, b] = &mut rows;
    fast.apply([r, g, b]);
    assert_eq!(rows[0], [0.0, 1.0, 0.0, 0.5]);
    assert_eq!(rows[1], [0.25; 4]);
    assert_eq!(rows[2], [1.0; 4]);
}
