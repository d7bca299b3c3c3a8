//! Large serialised values, compressed.

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::Read as _;
use std::path::PathBuf;

use crate::store::damaged;

/// A serialised value of another crate's type, compressed. Same value, same bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Packed(pub(crate) Vec<u8>);

impl Packed {
    /// Packs a value.
    ///
    /// # Panics
    /// If the value cannot be serialised (a map with keys that are not text).
    #[must_use]
    pub fn of<T: Serialize>(value: &T) -> Self {
        let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
        serde_json::to_writer(&mut encoder, value).expect("stored values serialise");
        Self(encoder.finish().expect("memory takes all bytes"))
    }

    /// The value again.
    ///
    /// # Errors
    /// What does not fit the type, or is damaged.
    pub fn get<T: DeserializeOwned>(&self) -> Result<T, String> {
        // As a whole and then from memory: twice as fast as byte by byte from the decompression.
        let mut text = Vec::with_capacity(5 * self.0.len());
        ZlibDecoder::new(self.0.as_slice())
            .read_to_end(&mut text)
            .map_err(|error| error.to_string())?;
        serde_json::from_slice(&text).map_err(|error| error.to_string())
    }
}

/// A value as the film file holds it, to be unpacked elsewhere: on another thread than the one that reads the file.
#[derive(Clone, Debug)]
pub struct Stored {
    pub(crate) packed: Packed,
    pub(crate) path: PathBuf,
    pub(crate) table: &'static str,
}

impl Stored {
    /// The value.
    ///
    /// # Errors
    /// If it is damaged or does not fit the type.
    pub fn get<T: DeserializeOwned>(&self) -> crate::Result<T> {
        self.packed
            .get()
            .map_err(|reason| damaged(&self.path, self.table, reason))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn floats_come_back_bit_by_bit() {
        let mut state = 1u64;
        let values: Vec<f64> = (0..5000)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
            })
            .collect();
        let back: Vec<f64> = Packed::of(&values).get().unwrap();
        assert_eq!(values, back);
    }

    #[test]
    fn damage_is_an_error() {
        let mut packed = Packed::of(&vec![1.5f64; 100]);
        packed.0.truncate(6);
        assert!(packed.get::<Vec<f64>>().is_err());
    }
}
