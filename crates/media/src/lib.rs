//! FFmpeg: probe, decode, seek, encode, stills.
