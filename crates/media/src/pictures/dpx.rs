//! DPX headers, SMPTE ST 268-1: FFmpeg codes the picture, and leaves open or wrong what is said about it.

use super::Statement;

/// Whether a file begins as DPX, in either order of bytes.
pub(crate) fn is_dpx(head: &[u8]) -> bool {
    head.starts_with(b"SDPX") || head.starts_with(b"XPDS")
}

const ASPECT: usize = 1628;
const TIMECODE: usize = 1920;
const RATE: usize = 1940;
/// Length of the header up to the end of the television part.
const LENGTH: usize = 2048;

/// Completes the header of a big-endian file of one element of 10 bits. FFmpeg's ends before the parts of film and
/// television; they are put in, undefined but for what is known, and the picture moves behind them.
pub(crate) fn complete(coded: &[u8], statement: &Statement<'_>) -> Result<Vec<u8>, String> {
    let word = |at: usize| coded.get(at..at + 4).and_then(|word| word.try_into().ok());
    let offset = word(4).map(|word| u32::from_be_bytes(word) as usize);
    let offset = offset
        .filter(|&offset| coded.starts_with(b"SDPX") && (1664..=coded.len()).contains(&offset))
        .ok_or("the encoder gave no header")?;
    let mut bytes = vec![0xff; LENGTH];
    bytes[..1664].copy_from_slice(&coded[..1664]);
    bytes.extend_from_slice(&coded[offset..]);
    let total = u32::try_from(bytes.len()).map_err(|_| "too large a picture")?;
    let mut put = |at: usize, word: u32| bytes[at..at + 4].copy_from_slice(&word.to_be_bytes());
    put(4, LENGTH as u32);
    put(16, total);
    put(24, 1664);
    put(28, LENGTH as u32 - 1664);
    put(808, LENGTH as u32);
    // Reference black and white, as codes.
    put(784, 0);
    put(792, 1023);
    put(788, 0.0_f32.to_bits());
    put(796, 1.0_f32.to_bits());
    put(ASPECT, statement.aspect.0.max(1) as u32);
    put(ASPECT + 4, statement.aspect.1.max(1) as u32);
    put(
        TIMECODE,
        statement
            .timecode
            .and_then(binary_coded)
            .unwrap_or(u32::MAX),
    );
    let rate = statement.rate.0 as f32 / statement.rate.1.max(1) as f32;
    put(RATE, rate.to_bits());
    // Transfer and colorimetry, tables 5A and 5B: 6 BT.709, 7 and 8 BT.601 of 625 and 525 lines. The numbers for PQ, HLG
    // and BT.2020 came with a later edition and are unknown to most readers: 0, as the user says.
    let code = match statement.tags.primaries {
        1 => 6,
        5 => 7,
        6 | 7 => 8,
        _ => 0,
    };
    let transfer = if super::shown_by_bt1886(statement.tags.transfer) {
        code
    } else {
        0
    };
    (bytes[801], bytes[802]) = (transfer, code);
    // The project's name has 200 bytes: what the codes mean.
    let words = statement.meaning.as_bytes();
    let field = &mut bytes[260..460];
    field.fill(0);
    let length = words.len().min(field.len() - 1);
    field[..length].copy_from_slice(&words[..length]);
    Ok(bytes)
}

/// `hh:mm:ss:ff` as eight digits of four bits.
fn binary_coded(text: &str) -> Option<u32> {
    let digits: Vec<u32> = text.chars().filter_map(|c| c.to_digit(10)).collect();
    (digits.len() == 8).then(|| digits.into_iter().fold(0, |word, digit| word << 4 | digit))
}

/// Rate and timecode of the first 2048 bytes of a file.
pub(crate) fn facts(head: &[u8]) -> (Option<f32>, Option<String>) {
    let big = head.starts_with(b"SDPX");
    let word = |at: usize| {
        let bytes: [u8; 4] = head.get(at..at + 4)?.try_into().ok()?;
        Some(if big {
            u32::from_be_bytes(bytes)
        } else {
            u32::from_le_bytes(bytes)
        })
    };
    let rate = word(RATE)
        .map(f32::from_bits)
        .filter(|rate| rate.is_finite() && (1.0..1000.0).contains(rate));
    let timecode = word(TIMECODE).filter(|&word| word != u32::MAX && word != 0);
    let timecode = timecode.and_then(|word| {
        let digits: Vec<u32> = (0..8).rev().map(|place| word >> (4 * place) & 15).collect();
        digits.iter().all(|&digit| digit < 10).then(|| {
            let pair = |at: usize| format!("{}{}", digits[at], digits[at + 1]);
            format!("{}:{}:{}:{}", pair(0), pair(2), pair(4), pair(6))
        })
    });
    (rate, timecode)
}
