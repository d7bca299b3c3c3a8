//! The CDL on rows.

use super::power::signed_power;
use crate::data::cdl::Cdl;
use multiversion::multiversion;

/// A CDL in `f32`.
#[derive(Clone, Copy, Debug)]
pub(super) struct FastCdl {
    slope: [f32; 3],
    offset: [f32; 3],
    power: [f32; 3],
    saturation: f32,
}

impl FastCdl {
    pub(super) fn new(cdl: &Cdl) -> Self {
        let narrow = |values: [f64; 3]| values.map(|v| v as f32);
        Self {
            slope: narrow(cdl.slope),
            offset: narrow(cdl.offset),
            power: narrow(cdl.power),
            saturation: cdl.saturation as f32,
        }
    }

    /// All three rows have the same length.
    pub(super) fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        for (c, row) in [&mut *r, &mut *g, &mut *b].into_iter().enumerate() {
            shape(row, self.slope[c], self.offset[c], self.power[c]);
        }
        if self.saturation != 1.0 {
            saturate(r, g, b, self.saturation);
        }
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn shape(row: &mut [f32], slope: f32, offset: f32, power: f32) {
    if power == 1.0 {
        for v in row {
            *v = v.mul_add(slope, offset);
        }
    } else {
        for v in row {
            *v = signed_power(v.mul_add(slope, offset), power);
        }
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn saturate(r: &mut [f32], g: &mut [f32], b: &mut [f32], saturation: f32) {
    let [kr, kg, kb] = Cdl::LUMA.map(|v| v as f32);
    for ((r, g), b) in r.iter_mut().zip(g).zip(b) {
        let y = kr.mul_add(*r, kg.mul_add(*g, kb * *b));
        *r = saturation.mul_add(*r - y, y);
        *g = saturation.mul_add(*g - y, y);
        *b = saturation.mul_add(*b - y, y);
    }
}
