//! Tells the code which side of FFmpeg's interface changes it is built against.

fn main() {
    println!("cargo:rustc-check-cfg=cfg(ffmpeg_6_1)");
    println!("cargo:rerun-if-changed=build.rs");
    // Published by the build script of the bindings: FFmpeg 6.1 moved side data from streams to
    // codec parameters and turned the interlaced field of frames into a flag.
    if std::env::var("DEP_FFMPEG_FFMPEG_6_1").is_ok_and(|v| v == "true") {
        println!("cargo:rustc-cfg=ffmpeg_6_1");
    }
}
