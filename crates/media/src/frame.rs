//! A decoded picture.

use crate::ffi::{Component, Layout, RawFrame};
use crate::time::FrameTime;
use inkarnat_color::picture::{
    Native, PixelFormat, Plane, Planes16, Samples, ToWorking, chroma_size,
};
use std::sync::Arc;

/// One picture of a clip, with the meaning of its codes.
pub struct Frame {
    pub(crate) index: u64,
    pub(crate) time: FrameTime,
    pub(crate) suspect: bool,
    pub(crate) interlaced: bool,
    pub(crate) format: PixelFormat,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) store: Store,
    /// What brings its signal to the working signal.
    pub(crate) input: Option<Arc<dyn ToWorking>>,
}

/// Where the planes are.
pub(crate) enum Store {
    /// In the decoder's own buffers, `planes[i]` holding component `i`.
    Decoded { frame: RawFrame, planes: [usize; 3] },
    /// In ours, brought to planes without a change of any code; transparency at the same depth.
    Unpacked {
        planes: Box<Planes16>,
        alpha: Option<Vec<u16>>,
    },
}

impl std::fmt::Debug for Frame {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Frame")
            .field("index", &self.index)
            .field("time", &self.time)
            .field("suspect", &self.suspect)
            .field("size", &(self.width, self.height))
            .field("format", &self.format)
            .finish_non_exhaustive()
    }
}

impl Frame {
    /// Position in the clip, counted from 0 in the order of showing.
    #[must_use]
    pub fn index(&self) -> u64 {
        self.index
    }

    /// When it is shown, in the clip's time base.
    #[must_use]
    pub fn time(&self) -> FrameTime {
        self.time
    }

    /// The decoder met damage in this picture or in one that it builds on: its codes may be wrong.
    #[must_use]
    pub fn suspect(&self) -> bool {
        self.suspect
    }

    /// Two fields of different moments.
    #[must_use]
    pub fn interlaced(&self) -> bool {
        self.interlaced
    }

    /// Columns.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.height
    }

    /// What the codes mean.
    #[must_use]
    pub fn format(&self) -> PixelFormat {
        self.format
    }

    /// The planes as decoded: no code is changed. Their signal goes through the input transform of the reader, where it has
    /// one.
    #[must_use]
    pub fn native(&self) -> Native<'_> {
        Native {
            input: self.input.as_deref(),
            ..self.coded()
        }
    }

    fn coded(&self) -> Native<'_> {
        match &self.store {
            Store::Unpacked { planes, .. } => planes.as_native(),
            Store::Decoded { frame, planes } => {
                let (width, height) = (self.width, self.height);
                let chroma = chroma_size(width, height, self.format);
                let plane = |component: usize| {
                    let (width, height) = if component == 0 {
                        (width, height)
                    } else {
                        chroma
                    };
                    let wide = self.format.depth > 8;
                    let (samples, stride) = frame
                        .samples(planes[component], (width, height), wide)
                        // `store` has asked the same question before it chose this arm.
                        .unwrap_or((Samples::U8(&[]), 0));
                    Plane {
                        samples,
                        stride,
                        width,
                        height,
                    }
                };
                Native {
                    width,
                    height,
                    format: self.format,
                    planes: [plane(0), plane(1), plane(2)],
                    input: None,
                }
            }
        }
    }
}

impl Frame {
    /// Transparency of every pixel, row by row, in a number of bits up to 16 (0 = clear, all ones =
    /// solid); `None` where the clip has none.
    #[must_use]
    pub fn alpha(&self, bits: u8) -> Option<Vec<u16>> {
        let most = |bits: u8| (1_u32 << bits) - 1;
        let (from, to) = (most(self.format.depth), most(bits));
        let scaled = |code: u32| ((code.min(from) * to + from / 2) / from) as u16;
        let frame = match &self.store {
            Store::Unpacked { alpha, .. } => {
                let alpha = alpha.as_ref()?;
                return Some(alpha.iter().map(|c| scaled(u32::from(*c))).collect());
            }
            Store::Decoded { frame, .. } => frame,
        };
        let size = (self.width, self.height);
        let (samples, stride) = frame.samples(3, size, self.format.depth > 8)?;
        let mut alpha = Vec::with_capacity(size.0 * size.1);
        for row in 0..size.1 {
            let span = row * stride..row * stride + size.0;
            match samples {
                Samples::U8(s) => alpha.extend(s[span].iter().map(|c| scaled(u32::from(*c)))),
                Samples::U16(s) => alpha.extend(s[span].iter().map(|c| scaled(u32::from(*c)))),
            }
        }
        Some(alpha)
    }
}

/// How the samples of a pixel format are brought to planes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Reading {
    pub(crate) layout: Layout,
    pub(crate) grey: bool,
    pub(crate) depth: u8,
    /// Component `i` lies alone in plane `direct[i]`, low bits, native order.
    direct: Option<[usize; 3]>,
}

impl Reading {
    /// Plans the reading of a layout; an error says what cannot be read.
    pub(crate) fn of(layout: Layout) -> Result<Self, String> {
        if layout.beyond || layout.name.starts_with("xyz") {
            return Err(format!("pixel format {}", layout.name));
        }
        let colours = layout.components.len() - usize::from(layout.alpha);
        let grey = colours == 1 && !layout.palette;
        let depth = if layout.palette {
            8
        } else {
            let used = &layout.components[..if grey { 1 } else { 3 }.min(layout.components.len())];
            used.iter().map(|c| c.depth).max().unwrap_or(0)
        };
        let uneven = layout.components.iter().any(|c| c.depth != depth);
        if !(layout.palette || grey || colours == 3)
            || depth > 16
            || (depth < 8 && !layout.rgb)
            || (uneven && !layout.rgb)
            || layout.components.iter().any(|c| c.shift + c.depth > 16)
        {
            return Err(format!("pixel format {}", layout.name));
        }
        let bytes = if depth > 8 { 2 } else { 1 };
        let alone = |i: usize| {
            let c = layout.components[i];
            let sharing = layout
                .components
                .iter()
                .filter(|other| other.plane == c.plane)
                .count();
            (c.step == bytes && c.offset == 0 && c.shift == 0 && sharing == 1).then_some(c.plane)
        };
        let native_order = depth == 8 || layout.big_endian == cfg!(target_endian = "big");
        let direct = if layout.palette || depth < 8 || !native_order {
            None
        } else if grey {
            alone(0).map(|plane| [plane; 3])
        } else {
            alone(0)
                .zip(alone(1))
                .zip(alone(2))
                .map(|((a, b), c)| [a, b, c])
        };
        Ok(Self {
            grey,
            depth: depth.max(8) as u8,
            direct,
            layout,
        })
    }

    /// Keeps the planes of a decoded picture; `None` if the frame does not hold them.
    pub(crate) fn store(&self, frame: RawFrame, format: PixelFormat) -> Option<Store> {
        let size = (frame.width(), frame.height());
        if let Some(planes) = self.direct {
            let chroma = chroma_size(size.0, size.1, format);
            let fits = (0..3).all(|i| {
                let size = if i == 0 { size } else { chroma };
                frame.samples(planes[i], size, self.depth > 8).is_some()
            });
            if fits {
                return Some(Store::Decoded { frame, planes });
            }
        }
        self.unpack(&frame, format).map(|planes| Store::Unpacked {
            alpha: self.unpack_alpha(&frame),
            planes: Box::new(planes),
        })
    }

    fn unpack(&self, frame: &RawFrame, format: PixelFormat) -> Option<Planes16> {
        let (width, height) = (frame.width(), frame.height());
        let mut picture = Planes16::new(width, height, format);
        if self.layout.palette {
            let palette = frame.palette()?;
            for row in 0..height {
                let source = frame.row(0, row, width)?;
                for (x, &entry) in source.iter().enumerate() {
                    let colour = palette[usize::from(entry)];
                    for (plane, shift) in picture.planes.iter_mut().zip([16, 8, 0]) {
                        plane[row * width + x] = (colour >> shift & 255) as u16;
                    }
                }
            }
            return Some(picture);
        }
        let chroma = chroma_size(width, height, format);
        for component in 0..if self.grey { 1 } else { 3 } {
            let c = self.layout.components[component];
            let (columns, rows) = if component == 0 {
                (width, height)
            } else {
                chroma
            };
            for row in 0..rows {
                let target = &mut picture.planes[component][row * columns..][..columns];
                self.unpack_row(frame, c, row, target)?;
            }
        }
        if self.grey {
            let [luma, rest @ ..] = &mut picture.planes;
            for plane in rest {
                plane.copy_from_slice(luma);
            }
        }
        Some(picture)
    }

    /// The transparency of a picture that is unpacked.
    fn unpack_alpha(&self, frame: &RawFrame) -> Option<Vec<u16>> {
        if !self.layout.alpha || self.layout.palette {
            return None;
        }
        let (width, height) = (frame.width(), frame.height());
        let component = *self.layout.components.last()?;
        let mut alpha = vec![0; width * height];
        for (row, target) in alpha.chunks_exact_mut(width).enumerate() {
            self.unpack_row(frame, component, row, target)?;
        }
        Some(alpha)
    }

    /// One row of one component.
    fn unpack_row(
        &self,
        frame: &RawFrame,
        c: Component,
        row: usize,
        target: &mut [u16],
    ) -> Option<()> {
        // The widest read of the last sample decides how many bytes the row must have.
        let wide = c.shift + c.depth > 8;
        let length = (target.len().checked_sub(1)?) * c.step + c.offset + if wide { 2 } else { 1 };
        let mask = (1u32 << c.depth) - 1;
        let full = (1u32 << self.depth) - 1;
        let source = frame.row(c.plane, row, length)?;
        for (x, out) in target.iter_mut().enumerate() {
            let at = x * c.step + c.offset;
            let word = if wide {
                let bytes = [source[at], source[at + 1]];
                u32::from(if self.layout.big_endian {
                    u16::from_be_bytes(bytes)
                } else {
                    u16::from_le_bytes(bytes)
                })
            } else {
                u32::from(source[at])
            };
            let code = word >> c.shift & mask;
            *out = if c.depth == u32::from(self.depth) {
                code
            } else {
                // R'G'B' of 5 or 6 bits: the same signal in 8.
                (code * full + mask / 2) / mask
            } as u16;
        }
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ffi::{layout_of, pixel_format};

    fn plan(name: &str) -> Result<Reading, String> {
        Reading::of(layout_of(pixel_format(name).expect(name)).expect(name))
    }

    #[test]
    fn planar_layouts_are_read_in_place() {
        for (name, planes, depth) in [
            ("yuv420p", [0, 1, 2], 8),
            ("yuvj422p", [0, 1, 2], 8),
            ("yuva444p12le", [0, 1, 2], 12),
            ("gbrp10le", [2, 0, 1], 10),
            ("gray16le", [0; 3], 16),
        ] {
            let reading = plan(name).unwrap();
            assert_eq!(
                (reading.direct, reading.depth),
                (Some(planes), depth),
                "{name}"
            );
        }
    }

    #[test]
    fn other_layouts_are_unpacked() {
        for (name, depth) in [
            ("nv12", 8),
            ("p010le", 10),
            ("p016be", 16),
            ("yuyv422", 8),
            ("y210le", 10),
            ("x2rgb10le", 10),
            ("rgb565le", 8),
            ("pal8", 8),
            ("ya8", 8),
            ("gbrp16be", 16),
        ] {
            let reading = plan(name).unwrap();
            assert_eq!((reading.direct, reading.depth), (None, depth), "{name}");
        }
        // The ten bits of P010 lie in the high end of a word.
        assert_eq!(plan("p010le").unwrap().layout.components[0].shift, 6);
    }

    #[test]
    fn layouts_beyond_whole_numbers_are_refused() {
        for name in [
            "gbrpf32le",
            "grayf32le",
            "bayer_rggb8",
            "monob",
            "xyz12le",
            "vaapi",
        ] {
            assert!(plan(name).unwrap_err().contains("pixel format"), "{name}");
        }
    }
}
