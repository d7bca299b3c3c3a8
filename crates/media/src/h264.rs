//! Which key packets of H.264 decoding may begin at.
//!
//! Containers and FFmpeg call a packet "key" also where a picture is renewed bit by bit (periodic
//! intra refresh): decoding that begins there is right only some frames later. Such a packet carries
//! a recovery point message with a frame count above zero (Rec. ITU-T H.264 annex D.2.8).

/// How the units of a stream's packets are laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Framing {
    /// Start codes between units (annex B).
    StartCodes,
    /// Each unit is preceded by its length in this many bytes (ISO/IEC 14496-15).
    Lengths(usize),
}

impl Framing {
    /// By the stream's configuration record.
    pub(crate) fn of(extradata: &[u8]) -> Self {
        match extradata {
            [1, _, _, _, lengths, ..] => Self::Lengths(usize::from(lengths & 3) + 1),
            _ => Self::StartCodes,
        }
    }

    fn units(self, data: &[u8]) -> Vec<&[u8]> {
        match self {
            Self::StartCodes => {
                let starts: Vec<usize> = data
                    .windows(3)
                    .enumerate()
                    .filter(|(_, w)| w == &[0, 0, 1])
                    .map(|(i, _)| i + 3)
                    .collect();
                let ends = starts.iter().skip(1).map(|s| s - 3).chain([data.len()]);
                starts
                    .iter()
                    .zip(ends)
                    .map(|(&start, end)| &data[start..end])
                    .collect()
            }
            Self::Lengths(bytes) => {
                let mut units = Vec::new();
                let mut rest = data;
                while rest.len() > bytes {
                    let (head, tail) = rest.split_at(bytes);
                    let length = head.iter().fold(0, |n, &b| n << 8 | usize::from(b));
                    let Some(unit) = tail.get(..length) else {
                        break;
                    };
                    units.push(unit);
                    rest = &tail[length..];
                }
                units
            }
        }
    }
}

/// Whether decoding that begins at this key packet is right from its own picture on.
pub(crate) fn begins_clean(data: &[u8], framing: Framing) -> bool {
    let mut clean = true;
    for unit in framing.units(data) {
        match unit.first().map(|b| b & 31) {
            Some(5) => return true,
            Some(6) => {
                if let Some(frames) = recovery_frames(&unit[1..]) {
                    clean = frames == 0;
                }
            }
            _ => {}
        }
    }
    clean
}

/// The frame count of a recovery point message, if the unit's payload holds one.
fn recovery_frames(payload: &[u8]) -> Option<u32> {
    // Emulation prevention (H.264 section 7.4.1).
    let mut bytes = Vec::with_capacity(payload.len());
    let mut zeros = 0;
    for &byte in payload {
        if zeros >= 2 && byte == 3 {
            zeros = 0;
            continue;
        }
        zeros = if byte == 0 { zeros + 1 } else { 0 };
        bytes.push(byte);
    }
    let mut at = 0;
    while at + 2 <= bytes.len() {
        let mut value = || {
            let mut sum = 0;
            loop {
                let byte = *bytes.get(at)?;
                at += 1;
                sum += usize::from(byte);
                if byte != 255 {
                    return Some(sum);
                }
            }
        };
        let (kind, size) = (value()?, value()?);
        if kind == 6 {
            return exp_golomb(bytes.get(at..)?);
        }
        at += size;
    }
    None
}

/// The first unsigned Exp-Golomb number of some bytes (H.264 section 9.1).
fn exp_golomb(bytes: &[u8]) -> Option<u32> {
    let bit = |i: usize| bytes.get(i / 8).map(|b| b >> (7 - i % 8) & 1);
    let mut zeros = 0;
    while bit(zeros)? == 0 {
        zeros += 1;
        if zeros > 31 {
            return None;
        }
    }
    let mut value = 0u64;
    for i in zeros..=2 * zeros {
        value = value << 1 | u64::from(bit(i)?);
    }
    u32::try_from(value - 1).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes of H.264 table 9-2.
    #[test]
    fn exponential_golomb() {
        for (byte, value) in [
            (0b1000_0000, 0),
            (0b0100_0000, 1),
            (0b0110_0000, 2),
            (0b0010_0000, 3),
        ] {
            assert_eq!(exp_golomb(&[byte]), Some(value));
        }
        assert_eq!(exp_golomb(&[0]), None);
        assert_eq!(exp_golomb(&[]), None);
    }

    #[test]
    fn clean_and_slow_beginnings_in_both_framings() {
        let idr: &[u8] = &[0x65, 1, 2];
        let picture: &[u8] = &[0x41, 9];
        let at_once: &[u8] = &[6, 6, 1, 0b1100_0000, 0x80];
        let later: &[u8] = &[6, 6, 2, 0b0000_1111, 0x80, 0x80];
        for (units, clean) in [
            (vec![idr], true),
            (vec![at_once, picture], true),
            (vec![later, picture], false),
            (vec![later, idr], true),
            (vec![picture], true),
        ] {
            let codes: Vec<u8> = units
                .iter()
                .flat_map(|u| [&[0, 0, 0, 1], *u].concat())
                .collect();
            assert_eq!(
                begins_clean(&codes, Framing::StartCodes),
                clean,
                "{units:?}"
            );
            let lengths: Vec<u8> = units
                .iter()
                .flat_map(|u| [&(u.len() as u32).to_be_bytes(), *u].concat())
                .collect();
            let framing = Framing::of(&[1, 0, 0, 0, 0xff]);
            assert_eq!(framing, Framing::Lengths(4));
            assert_eq!(begins_clean(&lengths, framing), clean, "{units:?}");
        }
    }

    #[test]
    fn nonsense_is_survived() {
        for data in [
            &[][..],
            &[0, 0, 1],
            &[0, 0, 1, 6, 255],
            &[255; 9],
            &[0, 0, 1, 6, 6],
        ] {
            for framing in [
                Framing::StartCodes,
                Framing::Lengths(4),
                Framing::Lengths(1),
            ] {
                begins_clean(data, framing);
            }
        }
    }
}
