#!/usr/bin/env python3
"""The demo film's truth against its camera files, read by FFmpeg and numpy alone.

For every take: the patch of every person at every frame that the truth gives a reading for is read from the decoded
file and compared with that reading; the patch at the frame of the mask lies on the skin that the mask marks; the mask's
edge is an edge in the picture; where the truth says that camera, light and exposure are those of the reference, the
reading as shot is the reading that is wanted. Usage: film.py [DIRECTORY made by the program `film`]; without one, a few
takes are rendered at a quarter of the film's size.

CIEDE2000 is tested first on pairs 1, 7, 13, 17, 25 and 34 of Sharma, Wu and Dalal (2005), table 1.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "script" / "film"))
from job import ciede2000, lab_of  # noqa: E402

TAKES = "B002,C001,A002"
# What coding may do to the mean of some hundred pixels: the coarsest of the codecs is 8-bit 4:2:0 at a constant rate
# factor of 16, whose codes are 0.46 % of luma apart; chroma is subsampled across the patch's edge.
LEVEL_PCT, DE00 = 0.4, 0.8
# BT.709-6 item 3.2: luma coefficients; 3.3: colour differences.
KR, KB = 0.2126, 0.0722
SHARMA = [
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, 0, 0), (50, -1, 2), 2.3669),
    ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]
XYZ_FROM_RGB = np.array([[0.4123908, 0.3575843, 0.1804808], [0.2126390, 0.7151687, 0.0721923], [0.0193308, 0.1191948, 0.9505322]])


def program():
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    found = next((p for p in (target / "debug/film", target / "release/film") if p.is_file()), None)
    if found is None:
        sys.exit("film: the program `film` is not built; run: cargo build -p inkarnat-testkit --bins")
    return found


def decode(path, frames):
    """Some frames of a file as (rows, columns, 3) of non-linear R'G'B', chroma repeated as it is sited (left)."""
    probe = ["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "stream=width,height,color_space,color_range", "-of", "json", path]
    stream = json.loads(subprocess.run(probe, capture_output=True, check=True, text=True).stdout)["streams"][0]
    if (stream.get("color_space"), stream.get("color_range", "tv")) != ("bt709", "tv"):
        sys.exit(f"film: {path.name} is tagged {stream}, expected bt709 and tv")
    w, h = stream["width"], stream["height"]
    choose = "+".join(f"eq(n\\,{n})" for n in frames)
    command = ["ffmpeg", "-v", "error", "-nostdin", "-i", path, "-map", "0:v:0", "-vf", f"select={choose}", "-fps_mode", "passthrough",
               "-f", "rawvideo", "-pix_fmt", "yuv444p16le", "-sws_flags", "bilinear+accurate_rnd+full_chroma_int", "-"]
    raw = np.frombuffer(subprocess.run(command, capture_output=True, check=True).stdout, "<u2").reshape(-1, 3, h, w).astype(float)
    if len(raw) != len(frames):
        sys.exit(f"film: {len(raw)} frames of {path.name} were decoded, expected {len(frames)}")
    y, cb, cr = (raw[:, 0] / 256 - 16) / 219, (raw[:, 1] / 256 - 128) / 224, (raw[:, 2] / 256 - 128) / 224
    r, b = y + 2 * (1 - KR) * cr, y + 2 * (1 - KB) * cb
    g = (y - KR * r - KB * b) / (1 - KR - KB)
    return np.stack([r, g, b], axis=-1)


def inside(patch, shape):
    h, w = shape
    cx, cy, rx, ry = patch
    y, x = np.mgrid[0:h, 0:w]
    return (((x + 0.5) / w - cx) / rx) ** 2 + (((y + 0.5) / h - cy) / ry) ** 2 <= 1


def reading(rgb):
    level = rgb @ [KR, 1 - KR - KB, KB]
    lab = lab_of(XYZ_FROM_RGB @ (np.clip(rgb, 0, None) ** 2.4))
    return 100 * level, lab


def mask(path):
    head, data = path.read_bytes().split(b"255\n", 1)
    w, h = (int(v) for v in head.split()[1:3])
    return np.frombuffer(data, np.uint8).reshape(h, w) / 255


def take(folder, name, wrong):
    truth = json.loads((folder / "truth" / f"{name}.json").read_text())
    middle = truth["frames"] // 2
    wanted = sorted({n for p in truth["people"] for n in p["read_frames"]} | {middle})
    pictures = dict(zip(wanted, decode(folder / "clips" / f"{name}.mov", wanted)))
    shape = pictures[middle].shape[:2]
    worst, count = [0.0, 0.0], 0
    for number, person in enumerate(truth["people"]):
        for frame, as_shot in zip(person["read_frames"], person["as_shot"]):
            rgb = pictures[frame][inside(person["patch"][frame], shape)].mean(axis=0)
            level, lab = reading(rgb)
            worst = [max(worst[0], abs(level - as_shot["level_pct"])), max(worst[1], ciede2000(lab, as_shot["lab"]))]
            count += 1
        skin = mask(folder / "truth" / f"{name}_skin{number}.pgm")
        if skin.shape != shape:
            wrong.append(f"{name}: the mask is {skin.shape}, the picture {shape}")
            continue
        patch = person["patch"][middle]
        if patch is not None and (covered := skin[inside(patch, shape)].mean()) < 0.98:
            wrong.append(f"{name}: {100 * covered:.1f} % of {person['person']}'s patch is skin by the mask, expected at least 98 %")
        # The mask moved by a 32nd of the picture's height must fit the picture worse: variance of log ratios of colour.
        def spread(where):
            rgb = np.clip(pictures[middle][where > 0.99], 0.01, None)
            return np.log(rgb[:, 0] / rgb[:, 1]).std() + np.log(rgb[:, 2] / rgb[:, 1]).std()
        step = shape[0] // 32
        moved = min(spread(np.roll(skin, d, axis)) for axis in (0, 1) for d in (-step, step))
        if not spread(skin) < moved:
            wrong.append(f"{name}: {person['person']}'s mask fits the picture no better than when it is moved by {step} pixels")
        plain = truth["sensor"] == "ideal" and truth["balance"] == "D65" and truth["exposure_stops"] == 0 and set(truth["lights"]) == {"D65"}
        if plain:
            gap = max(ciede2000(a["lab"], b["lab"]) for a, b in zip(person["as_shot"], person["wanted"]))
            print(f"  {name}: shot as the reference is; as shot against wanted CIEDE2000 {gap:.2f}")
            if gap > 0.7:  # noise of the camera and rounding to codes stand between them
                wrong.append(f"{name}: as shot and wanted are {gap:.2f} apart, expected 0.7 at most")
    if count:
        print(f"  {name}: {count} readings, level within {worst[0]:.2f} %, CIEDE2000 within {worst[1]:.2f}")
    if worst[0] > LEVEL_PCT or worst[1] > DE00:
        wrong.append(f"{name}: level off by {worst[0]:.2f} % (at most {LEVEL_PCT}), CIEDE2000 {worst[1]:.2f} (at most {DE00})")
    return count


def main():
    for one, two, published in SHARMA:
        if abs(ciede2000(one, two) - published) > 6e-5:
            sys.exit(f"film: CIEDE2000 of {one} and {two} is {ciede2000(one, two):.4f}, the paper says {published}")
    with tempfile.TemporaryDirectory() as work:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(work)
        if len(sys.argv) == 1:
            small = ["--to", folder, "--data", ROOT / ".cache/heads", "--height", "360", "--only", TAKES]
            subprocess.run([program(), *small], check=True, stdout=subprocess.DEVNULL)
        names = sorted(p.stem for p in (folder / "truth").glob("*.key"))
        wrong = []
        count = sum(take(folder, name, wrong) for name in names)
    if wrong or count < 10:
        sys.exit("film: " + ("; ".join(wrong) or f"{count} readings were compared, expected at least 10"))
    print(f"film: {count} readings of {len(names)} takes agree with the truth")


if __name__ == "__main__":
    main()
