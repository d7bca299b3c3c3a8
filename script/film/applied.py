#!/usr/bin/env python3
"""What other programs make of what is handed over, on the demo film: the same picture as our own operations.

applied.py INKARNAT FILM OUT: FILM is the folder that `film` wrote (camera files and truth), OUT what `inkarnat run` made of it.
The middle frame of every camera file, as f32 R'G'B' decoded by FFmpeg, goes through our operations (the example `apply`),
through OpenColorIO (CLF, both tables, the CDL file where one CDL is the fix) and through FFmpeg (the plain table). Nothing is
coded or subsampled in between. Bounds from the tool's design: CIEDE2000 0.3 at most on skin of the film's own masks, one
ten-bit code (1/1023) on at least 99 % of pixels. The plain table covers 0–1: signal beyond is left out of its comparison.
"""

import json
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np
import PyOpenColorIO as ocio

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "script" / "check"))
sys.path.insert(0, str(ROOT / "script" / "film"))
from faults import end  # noqa: E402
from meter import ciede2000, lab_of_signal  # noqa: E402
from placed import mask  # noqa: E402

warnings.filterwarnings("ignore")
CODE = 1 / 1023
SHARE = 0.99
SKIN = 0.3
CONFIG = ocio.Config.CreateRaw()


def decoded(clip, frame):
    command = ["ffmpeg", "-v", "error", "-i", clip, "-vf", f"select=eq(n\\,{frame}),scale=in_color_matrix=bt709:in_range=tv:out_range=pc:flags=accurate_rnd+full_chroma_int,format=gbrpf32le"]
    raw = subprocess.run([*command, "-frames:v", "1", "-f", "rawvideo", "-"], capture_output=True, check=True).stdout
    planes = np.frombuffer(raw, "<f4").reshape(3, -1)
    # Planes come as G, B, R.
    return np.ascontiguousarray(planes[[2, 0, 1]].T)


def by_us(program, scratch, fix, frame, pixels):
    whole = fix["keyframes_whole"]
    keys = [{"frame": key["frame"], "cdl": key["cdl"]} for key in fix["keyframes"]]
    moving = {"chain": {"fix": [] if whole else fix["ops"]}, "light": {"keys": keys} if keys else None}
    order = scratch / "chain.json"
    order.write_text(json.dumps({"moving": moving, "frame": frame}))
    said = subprocess.run([program, order], input=pixels.astype("<f4").tobytes(), capture_output=True, check=True)
    return np.frombuffer(said.stdout, "<f4").reshape(-1, 3).astype(float)


def by_ocio(path, pixels):
    # With every approximation off, and between nodes as the file says to.
    transform = ocio.FileTransform(str(path), interpolation=ocio.INTERP_TETRAHEDRAL)
    if path.suffix == ".cc":
        transform.setCDLStyle(ocio.CDL_NO_CLAMP)
    processor = CONFIG.getProcessor(transform).getOptimizedCPUProcessor(ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_LOSSLESS)
    result = pixels.astype(np.float32).copy()
    processor.applyRGB(result)
    return result.astype(float)


def by_ffmpeg(path, pixels, size):
    planes = np.ascontiguousarray(pixels[:, [1, 2, 0]].T.astype("<f4"))
    size = f"{size[0]}x{size[1]}"
    command = ["ffmpeg", "-v", "error", "-f", "rawvideo", "-pix_fmt", "gbrpf32le", "-s", size, "-i", "-", "-vf", f"lut3d=file={path}:interp=tetrahedral"]
    said = subprocess.run([*command, "-f", "rawvideo", "-pix_fmt", "gbrpf32le", "-"], input=planes.tobytes(), capture_output=True, check=True)
    return np.frombuffer(said.stdout, "<f4").reshape(3, -1)[[2, 0, 1]].T.astype(float)


def main():
    inkarnat, folder, out = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    subprocess.run(["cargo", "build", "--quiet", "--workspace", "--example", "apply"], cwd=ROOT, check=True)
    program = ROOT / "target" / "debug" / "examples" / "apply"
    # Exit code 2: some shot is short, which is no fault here.
    said = subprocess.run([inkarnat, "show", next(out.glob("*.inkarnat")), "--json"], capture_output=True)
    film = json.loads(said.stdout)
    faults, worst = [], {}
    done = set()
    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch)
        for shot in film["shots"]:
            fix, setup = shot["fix"], shot["setup"]
            if not fix or setup in done:
                continue
            done.add(setup)
            clip = Path(shot["source"]).stem
            truth = json.loads((folder / "truth" / f"{clip}.json").read_text())
            # Of a fix that follows its light, tables hold the shot's middle frame.
            at = shot["in_frame"] + (shot["out_frame"] - shot["in_frame"]) // 2 if fix["keyframes"] else truth["frames"] // 2
            pixels = decoded(folder / "clips" / f"{clip}.mov", truth["frames"] // 2)
            ours = by_us(program, scratch, fix, at, pixels)
            skin = np.zeros(len(pixels), bool)
            for k in range(len(truth["people"])):
                skin |= mask(folder / "truth" / f"{clip}_skin{k}.pgm").ravel() >= 250
            inside = ((pixels >= 0) & (pixels <= 1)).all(1)
            name = setup if (out / "luts" / f"{setup}.cube").exists() else shot["shot"]
            ways = {
                "OpenColorIO, CLF": (by_ocio(out / "clf" / f"{name}.clf", pixels), np.ones(len(pixels), bool)),
                "OpenColorIO, table": (by_ocio(out / "luts" / f"{name}.cube", pixels), inside),
                "OpenColorIO, wide table": (by_ocio(out / "luts" / f"{name}_wide.cube", pixels), np.ones(len(pixels), bool)),
                "FFmpeg, table": (by_ffmpeg(out / "luts" / f"{name}.cube", pixels, truth["size"] if "size" in truth else (1280, 720)), inside),
            }
            cdl = out / "cdl" / f"{name}.cc"
            if fix["cdl_exact"] and cdl.exists():
                ways["OpenColorIO, CDL"] = (by_ocio(cdl, pixels), np.ones(len(pixels), bool))
            for way, (theirs, counts) in ways.items():
                off = np.abs(ours - theirs).max(1)
                share = float((off[counts] <= CODE).mean())
                on = skin & counts
                de = ciede2000(lab_of_signal(ours[on]), lab_of_signal(theirs[on])).max() if on.any() else 0.0
                was = worst.setdefault(way, [1.0, 0.0, 0])
                worst[way] = [min(was[0], share), max(was[1], float(de)), was[2] + 1]
                if share < SHARE:
                    faults.append(f"{name}: {way}: within one code on {100 * share:.2f} % of pixels; expected {100 * SHARE:.0f} %")
                if de > SKIN:
                    faults.append(f"{name}: {way}: CIEDE2000 {de:.2f} on skin; expected at most {SKIN}")
    for way, (share, de, count) in worst.items():
        print(f"{way:24} {count:2} fixes: within 1/1023 on {100 * share:.3f} % of pixels at least, skin within CIEDE2000 {de:.3f}")
    if not worst:
        faults.append("no fix was compared")
    end(faults)


if __name__ == "__main__":
    main()
