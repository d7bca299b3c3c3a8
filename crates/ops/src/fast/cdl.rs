//! The CDL on rows.

use crate::data::cdl::Cdl;

/// A CDL in `f32`.
#[derive(Clone, Debug)]
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

    pub(super) fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        for (c, row) in [&mut *r, &mut *g, &mut *b].into_iter().enumerate() {
            let (slope, offset, power) = (self.slope[c], self.offset[c], self.power[c]);
            for v in row.iter_mut() {
                *v = v.mul_add(slope, offset);
            }
            if power != 1.0 {
                for v in row.iter_mut() {
                    if *v >= 0.0 {
                        *v = v.powf(power);
                    }
                }
            }
        }
        if self.saturation != 1.0 {
            let [kr, kg, kb] = Cdl::LUMA.map(|v| v as f32);
            for ((r, g), b) in r.iter_mut().zip(g).zip(b) {
                let y = kr * *r + kg * *g + kb * *b;
                for v in [r, g, b] {
                    *v = y + self.saturation * (*v - y);
                }
            }
        }
    }
}
