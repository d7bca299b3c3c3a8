#!/usr/bin/env python3
"""One finished picture cut into shots, against a picture whose cuts are known; FFmpeg's scene detection beside it.

numpy draws the picture, FFmpeg codes it (H.264, 8-bit 4:2:0), `inkarnat cut` finds the shots, and `show --json` is compared
with what was drawn. In it: bars, a slate, black, hard cuts between unlike shots, between two pictures of skin tones alone that
differ by little but chroma, between short shots, whip pans, flashes, dissolves, fades through black, a light switched on in a
shot, mattes above and below or left and right, titles. Wanted: every hard cut to the frame, recall at least 0.98, at most one
cut that is none, flashes not cut, every dissolve and fade flagged, mattes and titles where they are. Beside it, the recall of
FFmpeg's `scdet` on the same file at its default threshold. Usage: shots.py [SEED]
"""

import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
W, H, FPS = 480, 270, 25
RECALL, FALSE = 0.98, 1
# A dissolve's first frames hold a few percent of the second shot, which no eye and no code tells from noise.
BLEND_OFF = 3
# Where both pictures move, the shares of their mixture are found to some frames only.
REAL_BLEND_OFF = 6
# Bright detail that does not move may be taken for writing: what that loses of all pictures of the film.
REAL_LOST = 0.002


def program():
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    found = os.environ.get("INKARNAT") or target / "debug/inkarnat"
    if not Path(found).is_file():
        sys.exit("shots: the program is not built; run: cargo build --bins")
    return str(found)


class Truth:
    """Frames, and what is where in them."""

    def __init__(self, seed, frames):
        self.rng = np.random.default_rng(seed)
        self.frames = frames
        # What was made from which frame on, for messages.
        self.what = []
        self.hard, self.blends, self.flashes, self.areas, self.none = [], [], [], [], []

    def add(self, picture, count, cut=True, change=None, t0=0):
        at = len(self.frames)
        if cut and at:
            self.hard.append(at)
        for t in range(count):
            frame = picture(t + t0)
            self.frames.append(change(t, frame) if change else frame)
        return at

    def at(self, frame):
        """A frame and what begins at or before it."""
        before = [(a, what) for a, what in self.what if a <= frame]
        return f"{frame} ({before[-1][1]} from {before[-1][0]})" if before else str(frame)

    def none_of(self, kind, picture, count):
        at = len(self.frames)
        for t in range(count):
            self.frames.append(picture(t))
        self.none.append((kind, at, at + count))


class Drawn(Truth):
    """Shots drawn by numpy."""

    def __init__(self, seed, frames):
        super().__init__(seed, frames)
        y, x = np.mgrid[0:H, 0:W]
        self.x, self.y = x / W, y / H

    def smooth(self, cells):
        """Random smooth field, 3 planes, twice as wide as the picture so that it can be panned."""
        small = self.rng.random((cells, 4 * cells, 3))
        ys, xs = np.linspace(0, cells - 1, H), np.linspace(0, 4 * cells - 1, 2 * W)
        y0, x0 = ys.astype(int).clip(0, cells - 2), xs.astype(int).clip(0, 4 * cells - 2)
        fy, fx = (ys - y0)[:, None, None], (xs - x0)[None, :, None]
        a = small[y0][:, x0] * (1 - fx) + small[y0][:, x0 + 1] * fx
        b = small[y0 + 1][:, x0] * (1 - fx) + small[y0 + 1][:, x0 + 1] * fx
        return a * (1 - fy) + b * fy

    def shot(self, kind="plain"):
        """A function of the frame number that gives the picture of a shot."""
        rng = self.rng
        self.what.append((len(self.frames), kind))
        if kind == "skin":
            # Two faces of nearly one level against a wall of skin tone: what differs is chroma, and where the face is.
            tone = np.array([0.62, 0.47, 0.39]) + rng.normal(0, 0.02, 3)
            wall = np.array([0.60, 0.48, 0.41]) + rng.normal(0, 0.02, 3)
            cx, cy, r = rng.uniform(0.35, 0.65), rng.uniform(0.4, 0.6), rng.uniform(0.16, 0.24)
            low = self.smooth(3)[:, :W] * 0.03
            phase = rng.uniform(0, 6)

            def picture(t):
                dx = 0.01 * np.sin(t / 9 + phase)
                inside = 1 / (1 + np.exp((np.hypot((self.x - cx - dx) * W / H, self.y - cy) - r) * 40))
                return wall + (tone - wall) * inside[..., None] + low
            return picture
        field = 0.08 + 0.75 * (0.6 * self.smooth(4) + 0.4 * self.smooth(18))
        tint = rng.uniform(0.6, 1.1, 3)
        field = np.clip(field * tint, 0.05, 0.97)
        speed, cx, r = rng.uniform(-1.5, 1.5), rng.uniform(0.3, 0.7), rng.uniform(0.08, 0.2)
        body = rng.uniform(0.1, 0.9, 3)
        # The field is twice as wide as the picture: a pan may not leave it, or the picture would jump.
        start = int(rng.integers(W // 12, W // 3))
        step = {"whip": 46}.get(kind, 0)

        def picture(t):
            # A whip pan of a fifth of the picture a frame for six frames in the middle of the shot.
            moved = start + speed * t / 2 + step * np.clip(t - 14, 0, 6)
            shift = int(moved)
            assert 0 <= shift <= W, shift
            view = field[:, shift:shift + W].copy()
            if step and 14 <= t < 20:
                blur = [np.roll(view, s, axis=1) for s in range(-16, 17, 4)]
                view = sum(blur) / len(blur)
            inside = np.hypot((self.x - cx - 0.004 * t) * W / H, self.y - 0.55) < r
            view[inside] = body
            return view
        return picture

    def text(self, frame, box, level=0.92):
        """Strokes of writing: upright bars of one width with gaps, in rows."""
        left, top, right, bottom = (int(v) for v in (box[0] * W, box[1] * H, box[2] * W, box[3] * H))
        rng = np.random.default_rng(left * 1000 + top)
        for x in range(left, right - 3, 9):
            high = int(rng.integers(0, (bottom - top) // 3))
            frame[top + high:bottom, x:x + 3] = level
            if rng.random() < 0.5:
                y = int(rng.integers(top, bottom - 3))
                frame[y:y + 3, x:min(x + 8, right)] = level
        return frame


def stress(seed, frames):
    d = Drawn(seed, frames)
    rng = d.rng
    bars = np.zeros((H, W, 3))
    for i, c in enumerate([(1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1), (0, 0, 0)]):
        bars[:, i * W // 8:(i + 1) * W // 8] = 0.75 * np.array(c)
    d.none_of("bars", lambda t: bars, 50)
    card = np.full((H, W, 3), 0.12)
    for row in range(4):
        d.text(card, (0.2, 0.2 + 0.15 * row, 0.7, 0.3 + 0.15 * row))
    d.none_of("slate", lambda t: card, 50)
    d.none_of("black", lambda t: np.zeros((H, W, 3)), 25)
    last = d.shot()
    d.add(last, 30, cut=False)

    def length():
        return int(rng.integers(18, 40))

    for i in range(24):
        d.add(d.shot(), length())
    for i in range(14):
        d.add(d.shot("skin"), length())
    for i in range(10):
        d.add(d.shot(), int(rng.integers(6, 10)))
    for i in range(6):
        d.add(d.shot("whip"), 36)
    # Flashes of one to three frames in the middle of a shot.
    for frames in (1, 2, 3, 1):
        at = len(d.frames)
        d.add(d.shot(), 32, change=lambda t, f, n=frames: np.clip(f * 0.4 + 0.58, 0, 1) if 15 <= t < 15 + n else f)
        d.flashes.append((at + 15, at + 15 + frames))
    # A light that is switched on in a shot.
    d.add(d.shot(), 36, change=lambda t, f: f * (0.6 if t < 18 else 1.0))
    # Dissolves: a shot goes over into the next during n frames.
    for n in (8, 12, 16, 24, 36, 50):
        a, b = d.shot(), d.shot("skin" if n == 16 else "plain")
        d.add(a, 30)
        at = len(d.frames)
        for t in range(n):
            k = (t + 1) / (n + 1)
            d.frames.append(a(30 + t) * (1 - k) + b(t) * k)
        d.blends.append(("dissolve", at, at + n))
        d.add(b, 30, cut=False, t0=n)
    # Fades to black and up again.
    for n, dark in ((12, 10), (25, 4)):
        a, b = d.shot(), d.shot()
        d.add(a, 30)
        at = len(d.frames)
        for t in range(n):
            d.frames.append(a(30 + t) * (1 - (t + 1) / (n + 1)))
        d.blends.append(("fade out", at, at + n))
        d.none_of("black", lambda t: np.zeros((H, W, 3)), dark)
        at = len(d.frames)
        for t in range(n):
            d.frames.append(b(t) * (t + 1) / (n + 1))
        d.blends.append(("fade in", at, at + n))
        d.add(b, 30, cut=False, t0=n)

    def letterbox(t, f):
        f = f.copy()
        f[:34] = 0
        f[-34:] = 0
        return f

    def pillarbox(t, f):
        f = f.copy()
        f[:, :60] = 0
        f[:, -60:] = 0
        return f
    for change, boxes in ((letterbox, [(0, 0, 1, 34 / H), (0, 1 - 34 / H, 1, 1)]), (pillarbox, [(0, 0, 60 / W, 1), (1 - 60 / W, 0, 1, 1)])):
        for _ in range(2):
            at = d.add(d.shot(), 30, change=change)
            d.areas += [("matte", at, at + 30, box) for box in boxes]
    for box in ((0.1, 0.8, 0.45, 0.87), (0.3, 0.72, 0.7, 0.8)):
        at = d.add(d.shot(), 75, change=lambda t, f, b=box: d.text(f.copy(), b) if 15 <= t < 60 else f)
        # The box that the strokes fill, which is not quite the one they were asked for.
        ys, xs = np.nonzero(d.text(np.zeros((H, W, 3)), box)[..., 0])
        d.areas.append(("title", at + 15, at + 60, (xs.min() / W, ys.min() / H, (xs.max() + 1) / W, (ys.max() + 1) / H)))
    return d


CODECS = {"h264": ("-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p"), "hevc": ("-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=error", "-pix_fmt", "yuv420p"),
          "prores": ("-c:v", "prores_ks", "-profile:v", "2", "-pix_fmt", "yuv422p10le"), "mpeg2": ("-c:v", "mpeg2video", "-g", "15", "-bf", "2", "-pix_fmt", "yuv420p")}


class Coded:
    """A picture file that is being coded, frame by frame, from R'G'B' of 0-1."""

    def __init__(self, path, coding, grain):
        command = ["ffmpeg", "-v", "error", "-nostdin", "-y", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{W}x{H}", "-r", str(FPS), "-i", "-",
                   "-vf", "scale=out_color_matrix=bt709:out_range=tv", *CODECS[coding[0]], *coding[1:],
                   "-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-color_range", "tv", str(path)]
        self.child = subprocess.Popen(command, stdin=subprocess.PIPE)
        self.grain, self.count = grain, 0

    def append(self, frame):
        self.child.stdin.write((np.clip(self.grain(frame), 0, 1) * 255 + 0.5).astype(np.uint8).tobytes())
        self.count += 1

    def __len__(self):
        return self.count

    def close(self):
        self.child.stdin.close()
        if self.child.wait():
            sys.exit("shots: FFmpeg cannot code the picture")


def scdet(path):
    text = subprocess.run(["ffmpeg", "-nostdin", "-i", str(path), "-vf", "scdet", "-an", "-f", "null", "-"], capture_output=True, text=True).stderr
    return [round(float(t) * FPS) for t in re.findall(r"lavfi\.scd\.time: ([0-9.]+)", text)]


def overlap(a, b):
    return max(0, min(a[1], b[1]) - max(a[0], b[0]))


def seen(draw, coding=("h264", "-crf", "18"), grain=lambda frame: frame):
    """What `draw` has drawn, what the program sees in it once it is coded, and FFmpeg's scene detection beside it."""
    with tempfile.TemporaryDirectory() as directory:
        picture, film = Path(directory) / "picture.mov", Path(directory) / "film.inkarnat"
        frames = Coded(picture, coding, grain)
        drawn = draw(frames)
        frames.close()
        subprocess.run([program(), "cut", str(film), str(picture)], check=True, stdout=subprocess.DEVNULL)
        shown = json.loads(subprocess.run([program(), "show", str(film), "--json"], capture_output=True, text=True).stdout)
        return drawn, shown, scdet(picture)


def covered(d, areas, frame, at):
    """Shares of the picture at a frame: of `at` what is in no area found, and of areas found what is 0.03 away from all true ones."""
    y, x = np.mgrid[0:H, 0:W]
    x, y = (x + 0.5) / W, (y + 0.5) / H

    def inside(box, more=0.0):
        return (x > box[0] - more) & (x < box[2] + more) & (y > box[1] - more) & (y < box[3] + more)
    found = np.zeros((H, W), bool)
    for p in areas:
        if p[1] <= frame < p[2]:
            found |= inside(p[3])
    true = np.zeros((H, W), bool)
    for _, a, b, box in d.areas:
        if a - 25 <= frame < b + 25:
            true |= inside(box, 0.03)
    return (inside(at, -0.004) & ~found).mean(), (found & ~true).mean()


def judge(d, shown, outside, real=False):
    """Holds what was found against the truth of `d`; says what was compared and gives what is wrong.

    `real`: real pictures move and have bright detail by themselves. Then the ends of a dissolve may be further off, and bright detail
    may be taken for writing: beside some, no more than 0.03 of the picture, elsewhere REAL_LOST of the film.
    """
    wrong, off = [], REAL_BLEND_OFF if real else BLEND_OFF
    shots = [(s["in_frame"], s["out_frame"]) for s in shown["shots"]]
    starts = {a for a, _ in shots}
    left_out = {(p["what"], p["in_frame"], p["out_frame"], tuple(p["area"] or ())) for p in shown["left_out"]}
    for shot in shown["shots"]:
        left_out |= {(p["what"], p["in_frame"], p["out_frame"], tuple(p["area"] or ())) for p in shot["left_out"]}
    hit = [c for c in d.hard if c in starts]
    allowed = set(d.hard) | {a for _, a, _ in d.none} | {b for _, _, b in d.none}
    blends = [(a - BLEND_OFF, b + BLEND_OFF) for _, a, b in d.blends]
    false = sorted(s for s in starts if s not in allowed and s and not any(a <= s <= b for a, b in blends))
    near = [c for c in d.hard if any(abs(c - o) <= 1 for o in outside)]
    # What FFmpeg finds at the ends of bars, slate and black is as little an error there as it is here.
    outside_false = [o for o in outside if not any(abs(o - c) <= 1 for c in allowed) and not any(a <= o <= b for a, b in blends)]
    recall = len(hit) / len(d.hard)
    print(f"shots: {len(d.frames)} frames, {len(d.hard)} hard cuts: {len(hit)} found to the frame (recall {recall:.3f}, wanted {RECALL}), "
          f"{len(false)} that are none (at most {FALSE}) {[d.at(f) for f in false]}; missed {[d.at(c) for c in d.hard if c not in hit]}")
    print(f"shots: FFmpeg's scdet beside it, within one frame: recall {len(near) / len(d.hard):.3f}, {len(outside_false)} that are none")
    if recall < RECALL or len(false) > FALSE:
        wrong.append("hard cuts")
    for a, b in d.flashes:
        cut = [s for s in starts if a <= s <= b]
        flagged = any(p[0] == "flash" and (p[1], p[2]) == (a, b) for p in left_out)
        if cut or not flagged:
            wrong.append(f"flash {a}-{b}: cut at {cut}, flagged {flagged}")
    ends = []
    for kind, a, b in d.blends:
        found = [p for p in left_out if p[0] == kind and overlap(p[1:3], (a, b))]
        good = any(abs(p[1] - a) <= off and abs(p[2] - b) <= off and overlap(p[1:3], (a, b)) > (b - a) / 2 for p in found)
        inside = [s for s in starts if a + off < s < b - off]
        ends += [abs(p[1 + i] - edge) for p in found[:1] for i, edge in enumerate((a, b))]
        if not good or inside:
            wrong.append(f"{kind} {a}-{b}: found {[p[:3] for p in found]}, shot borders inside {inside}")
    extra = [p[:3] for p in left_out if p[0] in ("dissolve", "fade in", "fade out") and not any(overlap(p[1:3], (a, b)) for _, a, b in d.blends)]
    extra += [p[:3] for p in left_out if p[0] == "flash" and (p[1], p[2]) not in d.flashes]
    if extra:
        wrong.append(f"spans that are none: {extra}")
    for kind, a, b in d.none:
        found = [p for p in left_out if p[0] == kind and overlap(p[1:3], (a, b))]
        # What a fade leaves of a dark picture is black before its end.
        faded = [any(edge in blend[1:] for blend in d.blends) for edge in (a, b)]
        if not any(all(abs(p[1 + i] - edge) <= (BLEND_OFF if faded[i] else 2) for i, edge in enumerate((a, b))) for p in found):
            wrong.append(f"{kind} {a}-{b}: found {[p[:3] for p in found]}")
    for kind, a, b, box in d.areas:
        found = [p for p in left_out if p[0] == kind and overlap(p[1:3], (a, b)) and p[3]]
        # Whole and not much more: what is left out holds the area, with at most 0.03 of the picture around it.
        good = [p for p in found if p[1] <= a and p[2] >= b and all(p[3][i] <= box[i] + 0.004 and box[i] - p[3][i] < 0.03 for i in (0, 1))
                and all(p[3][i] >= box[i] - 0.004 and p[3][i] - box[i] < 0.03 for i in (2, 3))]
        if real and kind == "title":
            shares = [covered(d, [p for p in left_out if p[0] == kind and p[3]], frame, box) for frame in (a, (a + b) // 2, b - 1)]
            good = all(missed == 0 and more <= 0.03 for missed, more in shares)
        if not good:
            wrong.append(f"{kind} {a}-{b} {[round(float(v), 3) for v in box]}: found {[(p[1], p[2], [round(v, 3) for v in p[3]]) for p in found]}")
    extra = [(p[0], p[1], p[2], [round(v, 3) for v in p[3]]) for p in left_out if p[3] and not any(p[0] == k and overlap(p[1:3], (a, b)) for k, a, b, _ in d.areas)]
    lost = sum((b - a) * (box[2] - box[0]) * (box[3] - box[1]) for _, a, b, box in extra) / len(d.frames)
    if lost > (REAL_LOST if real else 0):
        wrong.append(f"areas that are none, {lost:.5f} of all there is to see: {extra}")
    print(f"shots: {len(extra)} areas left out where nothing lies over the picture, {lost:.5f} of all there is to see (at most {REAL_LOST if real else 0})")
    print(f"shots: ends of dissolves and fades off by {np.mean(ends):.1f} frames on average, {max(ends)} at most (allowed {off})")
    print(f"shots: {len(d.flashes)} flashes, {len(d.blends)} dissolves and fades, {len(d.none)} spans of no shot, {len(d.areas)} areas compared")
    for line in wrong:
        print(f"shots: WRONG {line}")
    return wrong


def main():
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    noise = np.random.default_rng(9)

    def grain(frame):
        return frame + noise.normal(0, 0.006, (H, W, 1)) * (frame.max() > 0)
    return 1 if judge(*seen(lambda frames: stress(seed, frames), grain=grain)) else 0


if __name__ == "__main__":
    sys.exit(main())
