#!/usr/bin/env python3
"""Setups and scenes of a generated film of 100 shots by six cameras, as `inkarnat start` suggests them, against its truth.

Six places, each in two lights that are near each other (3000 and 4000 K, daylight and overcast, two daylights 700 K apart, one lamp
half a stop down, two fluorescent lamps, sun and shade). Reflectances, lights and cameras are spectra (colour-science; the cameras'
sensitivities are bell curves, each camera's of its own), signals BT.709's. In every scene two of the cameras, each with takes that
are cut into pieces; in other takes people stand elsewhere, the framing is a little off, the light has drifted by a percent, or the
camera is closer. The same place in its other light is the scene before or after. FFmpeg codes the takes (H.264), an EDL cuts them.

Wanted: at least 0.97 of all pairs of shots right (in one setup or not), and no setup that joins two lights. Once with names and reels
as cameras give them, once with names that say nothing, where a take is all that is known of a camera. Usage: groups.py [SEED]…
"""

import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from itertools import combinations
from pathlib import Path

import colour
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
W, H, FPS, FRAMES = 480, 270, 25, 24
SHOTS, RIGHT = 100, 0.97
SHAPE = colour.SpectralShape(400, 700, 10)
WAVES = SHAPE.wavelengths


def program():
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    found = os.environ.get("INKARNAT") or target / "debug/inkarnat"
    if not Path(found).is_file():
        sys.exit("groups: the program is not built; run: cargo build --bins")
    return str(found)


def black_body(kelvin):
    return colour.sd_blackbody(kelvin, SHAPE).values


def daylight(kelvin):
    xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
    return colour.sd_CIE_illuminant_D_series(xy).align(SHAPE).values


def lamp(name):
    return colour.SDS_ILLUMINANTS[name].copy().align(SHAPE).values


# Two lights of each place, and what the second has of the first's level.
PLACES = [("kitchen", black_body(3000), black_body(4000), 1.0), ("street", daylight(6500), daylight(7500), 1.0), ("garden", daylight(5000), daylight(5700), 1.0),
          ("office", black_body(3200), black_body(3200), 0.7), ("garage", lamp("FL2"), lamp("FL11"), 1.0), ("terrace", daylight(5500), daylight(9000), 0.85)]


def bell(centre, width):
    return np.exp(-(((WAVES - centre) / width) ** 2) / 2)


class Camera:
    """Sensitivities of its own, a matrix to BT.709 that a chart's greys and bell-shaped colours give."""

    def __init__(self, letter, rng):
        self.letter = letter
        self.curves = np.array([bell(600 + rng.normal(0, 6), 38), bell(540 + rng.normal(0, 5), 42), bell(455 + rng.normal(0, 5), 30)])
        cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
        chart = np.array([0.1 + 0.7 * bell(c, 40) for c in range(420, 700, 20)] + [np.full(len(WAVES), v) for v in (0.1, 0.4, 0.8)])
        light = daylight(6504)
        xyz = chart * light @ cmfs / (light @ cmfs[:, 1])
        wanted = colour.XYZ_to_RGB(xyz, "ITU-R BT.709", apply_cctf_encoding=False)
        own = chart * light @ self.curves.T / (self.curves @ light)
        self.matrix = np.linalg.lstsq(own, wanted, rcond=None)[0]

    def sees(self, reflectances, light, balance):
        """Linear R'G'B' of reflectances, balanced for the light `balance`, at a level where white is 0.85."""
        raw = reflectances * light @ self.curves.T / (self.curves @ balance)
        return raw @ self.matrix * 0.85


def room(rng):
    """A wall with things before it, wider than any framing: which reflectance is where, and how the light falls."""
    reflectances = [np.full(len(WAVES), rng.uniform(0.3, 0.6)) + 0.2 * bell(rng.uniform(480, 640), 60)]
    where = np.zeros((400, 1400), int)
    for number in range(1, 90):
        reflectances.append(np.clip(rng.uniform(0.03, 0.4) + rng.uniform(0, 0.5) * bell(rng.uniform(420, 680), rng.uniform(30, 80)), 0, 0.9))
        w, h = rng.integers(25, 160), rng.integers(25, 160)
        x, y = rng.integers(0, 1400 - w), rng.integers(0, 400 - h)
        where[y:y + h, x:x + w] = number
    y, x = np.mgrid[0:400, 0:1400]
    falls = 0.75 + 0.25 * np.sin(x / rng.uniform(200, 400) + rng.uniform(0, 6)) * np.cos(y / 300)
    texture = 1 + rng.normal(0, 0.03, (400, 1400))
    skin = 0.12 + 0.45 / (1 + np.exp(-(WAVES - 590) / 25))
    return np.array(reflectances + [skin, rng.uniform(0.05, 0.3) * np.ones(len(WAVES))]), where, falls * texture


def take(path, timecode, reel, seen, place, framing, rng):
    """Codes one take: `seen` is linear R'G'B' of each reflectance."""
    reflectances, where, falls = place
    left, top, zoom = framing
    left, top = left + rng.integers(-3, 4), top + rng.integers(-2, 3)
    drift = 1 + rng.uniform(-0.01, 0.01)
    cx, r, turn = rng.uniform(0.25, 0.75), rng.uniform(0.1, 0.16) * zoom, rng.uniform(0, 6)
    ys = np.clip(top + (np.arange(H) / zoom).astype(int), 0, 399)
    xs = np.clip(left + (np.arange(W) / zoom).astype(int), 0, 1399)
    still, light = where[np.ix_(ys, xs)], falls[np.ix_(ys, xs)]
    y, x = np.mgrid[0:H, 0:W]
    command = ["ffmpeg", "-v", "error", "-nostdin", "-y", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{W}x{H}", "-r", str(FPS), "-i", "-",
               "-vf", "scale=out_color_matrix=bt709:out_range=tv", "-c:v", "libx264", "-preset", "ultrafast", "-crf", "18", "-threads", "1", "-pix_fmt", "yuv420p",
               "-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-color_range", "tv", "-timecode", timecode]
    command += ["-metadata:s:v", f"reel_name={reel}"] if reel else []
    with subprocess.Popen([*command, str(path)], stdin=subprocess.PIPE) as child:
        for t in range(FRAMES):
            px = (cx + 0.01 * np.sin(t / 6 + turn)) * W
            face = ((x - px) / r / H) ** 2 + ((y - 0.42 * H) / (1.3 * r) / H) ** 2 < 1
            body = (np.abs(x - px) < 1.8 * r * H) & (y > (0.42 + 1.35 * r) * H)
            shown = np.where(face, len(reflectances) - 2, np.where(body, len(reflectances) - 1, still))
            linear = np.clip(seen[shown] * (light * drift)[..., None], 0, 1)
            signal = colour.cctf_encoding(linear, "ITU-R BT.709") + rng.normal(0, 0.012, (H, W, 3))
            child.stdin.write((np.clip(signal, 0, 1) * 255 + 0.5).astype(np.uint8).tobytes())
        child.stdin.close()
    if child.returncode:
        sys.exit(f"groups: FFmpeg cannot code {path.name}")


def code(frame):
    seconds, frames = divmod(frame, FPS)
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}:{frames:02}"


def film(seed, folder, named):
    """Makes the takes and the list; gives of every shot its setup, light and scene."""
    rng = np.random.default_rng(seed)
    cameras = [Camera(letter, rng) for letter in "ABCDEF"]
    takes, events = [], []
    reels = {camera.letter: 0 for camera in cameras}
    for scene in range(12):
        name, *lights, level = PLACES[scene // 2]
        if scene % 2 == 0:
            place = room(rng)
            pair = rng.permutation(6)[:2]
            framings = {int(c): (int(rng.integers(20, 800)), int(rng.integers(20, 100)), 1.0) for c in pair}
        own = []
        for c in pair:
            camera, (left, top, _) = cameras[c], framings[int(c)]
            # Two takes as framed at first, one closer.
            for number, framing in enumerate([(left, top, 1.0), (left, top, 1.0), (left + 60, top + 30, 1.5)]):
                reels[camera.letter] += 1
                reel = f"{camera.letter}{reels[camera.letter]:03}"
                stem = f"{reel}_{name}_{number + 1}" if named else f"clip {rng.integers(10**7):07}"
                light = lights[scene % 2] * (level if scene % 2 else 1.0)
                seen = camera.sees(place[0], light, lights[0])
                start = int(36000 * FPS * (1 + scene / 12)) % (20 * 3600 * FPS) + 500 * number + 40 * int(c)
                takes.append((folder / f"{stem}.mov", code(start), reel if named else None, seen, place, framing, int(rng.integers(2**31))))
                own.append((stem, start, (scene // 2, scene, camera.letter)))
        # Shot and reverse shot, a piece of each take in turn, then the rest of it.
        order = own[0::3] + own[1::3] + own[2::3]
        for piece in range(2):
            for stem, start, setup in order[: 6 if piece == 0 else 3 if scene % 3 else 2]:
                events.append((stem, start + 2 + 10 * piece, setup))
    events = events[:SHOTS]
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(lambda t: take(*t[:-1], np.random.default_rng(t[-1])), takes))
    lines, record = ["TITLE: groups", "FCM: NON-DROP FRAME"], 0
    for number, (stem, source, _) in enumerate(events, 1):
        reel = stem[:4] if named else "AX"
        lines += [f"{number:03}  {reel:<8} V     C        {code(source)} {code(source + 10)} {code(record)} {code(record + 10)}", f"* FROM CLIP NAME: {stem}.mov"]
        record += 10
    (folder / "film.edl").write_text("\n".join(lines) + "\n")
    return [path.name for path, *_ in takes], [setup for _, _, setup in events]


def check(seed, named):
    with tempfile.TemporaryDirectory() as directory:
        folder = Path(directory)
        clips, truth = film(seed, folder, named)
        done = subprocess.run([program(), "start", "film.inkarnat", *clips, "--cut", "film.edl"], cwd=folder, capture_output=True, text=True)
        if done.returncode:
            sys.exit(f"groups: inkarnat start failed: {done.stdout}{done.stderr}")
        shown = json.loads(subprocess.run([program(), "show", "film.inkarnat", "--json"], cwd=folder, capture_output=True, text=True).stdout)
    shots = shown["shots"]
    if len(shots) != len(truth):
        sys.exit(f"groups: {len(truth)} shots in the list, {len(shots)} in the film")
    pairs = list(combinations(range(len(truth)), 2))
    same = [truth[i] == truth[k] for i, k in pairs]
    found = [shots[i]["setup"] == shots[k]["setup"] for i, k in pairs]
    right = np.mean([a == b for a, b in zip(same, found)])
    joined = sum(f and truth[i][1] != truth[k][1] for (i, k), f in zip(pairs, found))
    scenes = np.mean([(truth[i][1] == truth[k][1]) == (shots[i]["scene"] == shots[k]["scene"]) for i, k in pairs])
    two = sum(shots[i]["scene"] == shots[k]["scene"] and truth[i][0] != truth[k][0] for i, k in pairs)
    how = "camera's names" if named else "names that say nothing"
    print(f"groups: seed {seed}, {how}: {len(truth)} shots, {len(clips)} takes, {len(set(truth))} setups; found {len({s['setup'] for s in shots})}; pairs right {right:.4f} "
          f"(wanted {RIGHT}); of {sum(same)} pairs of one setup {sum(a and b for a, b in zip(same, found))} found; pairs of two lights in one setup: {joined} (wanted 0); "
          f"scenes: {len({s['scene'] for s in shots})} found of {len({t[1] for t in truth})}, pairs right {scenes:.4f}, of two places in one: {two}")
    return right >= RIGHT and joined == 0


def main():
    seeds = [int(word) for word in sys.argv[1:]] or [1]
    return 0 if all([check(seed, named) for seed in seeds for named in (True, False)]) else 1


if __name__ == "__main__":
    sys.exit(main())
