#!/usr/bin/env python3
"""The same as shots.py on other material: real clips and photographs in place of drawn pictures, film grain, four codecs.

Every shot is a window into a clip or photograph that `script/setup` fetches (NOTICE names them): cropped, panned, pushed in, held by
hand, graded anew, a clip with its own motion and coding noise. In it: hard cuts between unlike shots, to a closer window of the same
take, between close-ups of faces graded to one level, between short shots; whip pans; photographer's flashes that die away, one on the
foreground alone; lights switched on; somebody passing close to the camera; dissolves, fades through black and white; mattes; writing
in a real typeface (white with an outline, yellow, dark, large, on a plate, in two corners); cards and rolling credits. Cuts, flashes,
black and mattes are held to the bounds of shots.py, dissolves and titles to those that `shots.judge` gives for real pictures. No threshold of the program was set on this file, but that a dissolve found over several middles is one (seed 1 showed it). Usage: shots_filmed.py [SEED]
"""

import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np

from shots import H, ROOT, W, Truth, judge, seen

cv2.setNumThreads(1)
REAL = Path(os.environ.get("INKARNAT_REAL_CLIPS", ROOT / ".cache/real"))
CODINGS = (("h264", "-crf", "25"), ("hevc", "-crf", "26"), ("prores", "-qscale:v", "11"), ("mpeg2", "-q:v", "5"))
# Name, first and last frame, width it is made small to, and faces: middle and width in fractions of the picture's width and height.
MATERIAL = (("carphone_pristine.mp4", 0, 120, 176, [(0.52, 0.42, 0.26)]), ("face_noface.mov", 0, 70, 640, [(0.485, 0.44, 0.22)]),
            ("noface_face.mov", 101, 168, 640, [(0.485, 0.46, 0.22)]), ("single_face.mp4", 0, 72, 640, [(0.485, 0.44, 0.22)]),
            ("astronaut.png", 0, 1, 512, [(0.43, 0.23, 0.22)]), ("portrait_light.jpg", 0, 1, 640, [(0.56, 0.15, 0.32)]),
            ("multi_face.jpg", 0, 1, 1000, [(0.27, 0.17, 0.09), (0.36, 0.45, 0.09), (0.48, 0.35, 0.09), (0.59, 0.54, 0.09), (0.74, 0.53, 0.09)]),
            ("portrait_medium_deep.jpg", 0, 1, 640, [(0.535, 0.2, 0.28)]), ("portrait_medium_deep_2.jpg", 0, 1, 626, [(0.55, 0.35, 0.45)]))
WIDE = "multi_face.jpg"
# Three takes of one man before one wall: never one after the other, where nothing but a word would have changed.
ONE_TAKE = ("face_noface.mov", "noface_face.mov", "single_face.mp4")


def frames_of(name, first, last, width):
    """The frames of a clip or photograph, R'G'B' of 8 bits."""
    size = subprocess.run(["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "stream=width,height", "-of", "csv=p=0", str(REAL / name)],
                          check=True, capture_output=True, text=True).stdout.strip().strip(",").split(",")
    height = round(width * int(size[1]) / int(size[0]))
    chosen = f"select=between(n\\,{first}\\,{last - 1}),scale={width}:{height}:flags=area"
    raw = subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-i", str(REAL / name), "-map", "0:v:0", "-vf", chosen, "-fps_mode", "passthrough",
                          "-f", "rawvideo", "-pix_fmt", "rgb24", "-"], check=True, capture_output=True).stdout
    return np.frombuffer(raw, np.uint8).reshape(-1, height, width, 3)


class Filmed(Truth):
    """Shots of real material."""

    def __init__(self, seed, frames):
        super().__init__(seed, frames)
        self.material = {name: (frames_of(name, a, b, w), faces) for name, a, b, w, faces in MATERIAL}
        self.last = None
        self.noise = np.random.default_rng(seed + 100)
        # What is left of a negative's grain at this size.
        self.amount = self.noise.uniform(0.006, 0.014)
        y, x = np.mgrid[0:H, 0:W]
        self.x, self.y = (x / W).astype(np.float32), (y / H).astype(np.float32)

    def grained(self, frame):
        """Grain a pixel wide, strongest in the mid-tones, mostly the same in the three layers; titles and mattes lie over it."""
        layers = cv2.GaussianBlur(self.noise.standard_normal((H, W, 4), np.float32), (0, 0), 0.7) * np.float32(2.0)
        weight = self.amount * (0.35 + 2.6 * frame * (1 - frame))
        return np.clip(frame + weight * (0.8 * layers[..., 3:] + 0.6 * layers[..., :3]), 0, 1)

    def shot(self, kind="plain", name=None, like=None):
        """A function of the frame number that gives the picture of a shot. `like`: a closer window of the same take."""
        rng = self.rng
        others = [n for n in self.material if n != self.last and not (n in ONE_TAKE and self.last in ONE_TAKE)]
        name = like["name"] if like else name or str(rng.choice(others))
        self.last = name
        self.what.append((len(self.frames), f"{kind} {name}"))
        stock, faces = self.material[name]
        high, wide = stock.shape[1:3]
        most = min(wide, high * W / H)
        fx, fy, fw = faces[int(rng.integers(len(faces)))]
        width = 1.1 * fw * wide * rng.uniform(0.9, 1.2)
        centre = np.array([fx * wide, fy * high])
        while kind == "plain" and not like:
            width = most / rng.uniform(1.15, 2.2)
            margin = np.array([width, width * H / W]) / 2
            centre = margin + rng.random(2) * (np.array([wide, high]) - 2 * margin)
            (left, top), (right, bottom) = (centre - margin).astype(int), (centre + margin).astype(int)
            part = stock[0, top:bottom, left:right].mean(axis=2) / 255
            # Nothing but a dark suit or an empty wall is no picture of a film.
            if part.mean() > 0.2 and part.std() > 0.1:
                break
        grade = dict(gain=rng.uniform(0.85, 1.15, 3) * rng.uniform(0.75, 1.1), power=rng.uniform(0.85, 1.2), lift=rng.uniform(0, 0.03))
        if like:
            centre, grade = like["centre"] + rng.normal(0, 0.05, 2) * like["width"], like["grade"]
            width = like["width"] / rng.uniform(1.5, 2.0)
        start = int(rng.integers(len(stock)))
        flip = not like and rng.random() < 0.5 and kind != "whip"
        drift = rng.uniform(-0.004, 0.004, 2) * width if rng.random() < 0.5 else np.zeros(2)
        push = rng.uniform(-0.003, 0.003) if rng.random() < 0.3 else 0.0
        phases, shake = rng.uniform(0, 6.3, 6), rng.uniform(0.0, 0.004) * width
        if kind == "whip":
            width, centre = most * 0.5, np.array([0.28 * wide, 0.4 * high])
            drift = np.zeros(2)
        gain, power, lift = grade["gain"].astype(np.float32), grade["power"], grade["lift"]
        steady = None
        if kind == "skin":
            # Graded to one level, so that what differs is colour and drawing.
            steady = rng.uniform(0.48, 0.52)
            power = 1.0

        def picture(t):
            source = stock[np.abs((start + t + len(stock)) % max(2 * len(stock) - 2, 1) - len(stock) + 1) if len(stock) > 1 else 0]
            at = centre + drift * t + shake * np.array([np.sin(t / 3 + phases[0]) + np.sin(t / 7 + phases[1]), np.sin(t / 4 + phases[2]) + np.sin(t / 9 + phases[3])])
            blur = 0.0
            if kind == "whip":
                speed = 0.24 * width
                at = at + np.array([speed * np.clip(t - 14, 0, 5), 0.0])
                blur = speed if 14 <= t < 19 else 0.0
            scale = W / (width * np.exp(-push * t))
            turn = np.array([[scale, 0, W / 2 - scale * at[0]], [0, scale, H / 2 - scale * at[1]]])
            view = cv2.warpAffine(source, turn, (W, H), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
            if blur:
                view = cv2.blur(view, (max(int(blur * scale * 0.5), 1), 1))
            if flip:
                view = view[:, ::-1]
            view = view.astype(np.float32) / 255
            if steady:
                view = view * np.float32(steady / view.mean())
            return self.grained(np.clip(lift + (1 - lift) * np.maximum(view * gain, 0) ** power, 0, 1))
        picture.facts = dict(name=name, centre=centre, width=width, grade=grade)
        return picture

    def length(self, low=18, high=40):
        return int(self.rng.integers(low, high))

    def writing(self, lines, size, middle, weight=400):
        """Coverage 0-1 of lines of writing, and the box around them in fractions."""
        mask = np.zeros((H, W, 3), np.uint8)
        face = cv2.FontFace("sans")
        for row, line in enumerate(lines):
            (_, _, w, _) = cv2.getTextSize((W, H), line, (0, 0), face, size, weight)
            cv2.putText(mask, line, (int(middle[0] * W - w / 2), int(middle[1] * H + row * size * 1.25)), (255, 255, 255), face, size, weight)
        ys, xs = np.nonzero(mask[..., 0] > 64)
        return mask[..., :1].astype(np.float32) / 255, (xs.min() / W, ys.min() / H, (xs.max() + 1) / W, (ys.max() + 1) / H)

    def titled(self, parts, count=80, fade=0, box=None):
        """A shot with writing over it from frame 15 to frame 65. `parts`: mask, its box, colour, plate, outline."""
        def change(t, frame):
            share = min(1.0, (t - 14) / (fade + 1), (65 - t) / (fade + 1)) if 15 <= t < 65 else 0.0
            if share <= 0:
                return frame
            over = frame.copy()
            for mask, (left, top, right, bottom), colour, plate, outline in parts:
                if plate:
                    inside = (self.x > left - 0.015) & (self.x < right + 0.015) & (self.y > top - 0.02) & (self.y < bottom + 0.02)
                    over[inside] = 0.35 * over[inside] + 0.65 * np.array([0.08, 0.1, 0.16], np.float32)
                if outline:
                    around = cv2.dilate(mask, np.ones((3, 3)))[..., None]
                    over = over * (1 - around)
                over = over * (1 - mask) + np.array(colour, np.float32) * mask
            return frame + np.float32(share) * (over - frame)
        shot = self.shot()
        # Whoever sets a title sees to it that it can be read.
        for _ in range(40):
            luma = shot(40) @ np.array([0.2126, 0.7152, 0.0722], np.float32)
            if all(outline or plate or np.percentile(luma[cv2.dilate(mask, np.ones((9, 9))) > 0], 95) < 0.7 for mask, _, _, plate, outline in parts):
                break
            self.what.pop()
            shot = self.shot()
        at = self.add(shot, count, change=change)
        for _, around, _, _, _ in parts:
            self.areas.append(("title", at + 15, at + 65, around))


def crossed(t, frame, x):
    """Somebody passes close to the camera, out of focus: six frames from side to side."""
    edge = -0.6 + 0.24 * (t - 12)
    inside = np.clip((x - edge) * 12, 0, 1) * np.clip((edge + 0.6 - x) * 12, 0, 1)
    return frame * (1 - inside[..., None]) + 0.06 * inside[..., None]


def cut_together(seed, frames):
    d = Filmed(seed, frames)
    rng = d.rng
    d.none_of("black", lambda t: np.zeros((H, W, 3)), 20)
    d.add(d.shot(), 30, cut=False)
    for _ in range(18):
        d.add(d.shot(), d.length())
    # A closer window of the take that goes on: the same grade, the same person.
    for _ in range(6):
        wide = d.shot()
        d.add(wide, d.length())
        d.add(d.shot(like=wide.facts), d.length())
    for _ in range(14):
        d.add(d.shot("skin"), d.length())
    for _ in range(8):
        d.add(d.shot(), d.length(6, 10))
    for _ in range(4):
        d.add(d.shot("whip", WIDE), 34)
        d.add(d.shot(), d.length())
    for strengths, near in (((1.0,), False), ((1.0, 0.6), False), ((0.9, 0.6, 0.35), False), ((1.0, 0.5), True)):
        where = 1 / (1 + ((d.x - 0.5) ** 2 + (d.y - 0.6) ** 2) * 12)[..., None] if near else 1.0
        at = d.add(d.shot(), 34, change=lambda t, f, s=strengths, w=where: np.clip(f * (1 + 1.3 * s[t - 15] * w) + 0.12 * s[t - 15] * w, 0, 1) if 15 <= t < 15 + len(s) else f)
        d.flashes.append((at + 15, at + 15 + len(strengths)))
    lamp = (0.5 + 0.5 / (1 + ((d.x - 0.8) ** 2 + (d.y - 0.2) ** 2) * 4))[..., None]
    d.add(d.shot(), 36, change=lambda t, f: f * (0.6 if t < 18 else 1.0))
    d.add(d.shot(), 36, change=lambda t, f: f * (0.55 * lamp if t < 18 else np.array([1.0, 0.96, 0.9], np.float32)))
    for _ in range(3):
        d.add(d.shot(), 32, change=lambda t, f: crossed(t, f, d.x))
    for n in (8, 12, 16, 24, 36, 50):
        a, b = d.shot("skin" if n == 16 else "plain"), d.shot("skin" if n == 16 else "plain")
        d.add(a, 30)
        at = len(d.frames)
        for t in range(n):
            k = (t + 1) / (n + 1)
            d.frames.append(a(30 + t) * (1 - k) + b(t) * k)
        d.blends.append(("dissolve", at, at + n))
        d.add(b, 30, cut=False, t0=n)
    for n, held, level in ((12, 10, 0.0), (25, 4, 0.0), (10, 0, 1.0)):
        a, b = d.shot(), d.shot()
        d.add(a, 30)
        at = len(d.frames)
        for t in range(n):
            k = (t + 1) / (n + 1) if held else (t + 1) / n
            d.frames.append(a(30 + t) * (1 - k) + level * k)
        d.blends.append(("fade out", at, at + n))
        if held:
            d.none_of("black", lambda t: np.zeros((H, W, 3)), held)
        at = len(d.frames)
        for t in range(n):
            k = (t + 1) / (n + 1)
            d.frames.append(b(t) * k + level * (1 - k))
        d.blends.append(("fade in", at, at + n))
        d.add(b, 30, cut=False, t0=n)
    for rows, columns in ((35, 0), (0, 60)):
        def matte(t, f, rows=rows, columns=columns):
            out = np.zeros_like(f)
            inside = slice(rows, H - rows), slice(columns, W - columns)
            out[inside] = f[inside]
            return out
        boxes = [(0, 0, 1, rows / H), (0, 1 - rows / H, 1, 1)] if rows else [(0, 0, columns / W, 1), (1 - columns / W, 0, 1, 1)]
        for _ in range(2):
            at = d.add(d.shot(), 30, change=matte)
            d.areas += [("matte", at, at + 30, box) for box in boxes]
    d.titled([(*d.writing(["I left it under the mat,", "where it always was."], 18, (0.5, 0.84)), (0.95, 0.95, 0.95), False, True)])
    d.titled([(*d.writing(["And who has it now?"], 18, (0.5, 0.9)), (0.95, 0.88, 0.25), False, True)])
    d.titled([(*d.writing(["INES MARQUEZ", "locksmith"], 17, (0.24, 0.8)), (0.96, 0.96, 0.96), True, False)], fade=8)
    d.titled([(*d.writing(["THE SPARE KEY"], 44, (0.5, 0.55), 700), (0.94, 0.94, 0.94), False, False)], fade=12)
    d.titled([(*d.writing(["Lisbon"], 20, (0.14, 0.14)), (0.95, 0.95, 0.95), False, True), (*d.writing(["06:40"], 20, (0.88, 0.93)), (0.95, 0.95, 0.95), False, True)])
    # Credits: a card, then a roll, white on black.
    end = len(d.frames)
    card, _ = d.writing(["directed by", "Ama Boateng"], 22, (0.5, 0.45))
    for _ in range(50):
        d.frames.append(card * 0.9 * np.ones(3))
    roll = np.vstack([d.writing([f"{job}  {name}" for job, name in rows], 16, (0.5, 0.3))[0] for rows in (
        (("camera", "T. Okafor"), ("sound", "M. Lindgren"), ("light", "P. Castro"), ("cut", "J. Weiss")), (("paint", "R. Silva"), ("keys", "A. Novak"), ("cars", "L. Dupont")))])
    for t in range(90):
        d.frames.append(np.roll(roll, -3 * t, axis=0)[:H] * 0.9 * np.ones(3))
    d.none.append(("card", end, len(d.frames)))
    return d


def main():
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    if not REAL.is_dir():
        sys.exit(f"shots: {REAL} is not there; run script/setup")
    coding = CODINGS[seed % len(CODINGS)]
    d, shown, outside = seen(lambda frames: cut_together(seed, frames), coding)
    print(f"shots: real material, {' '.join(coding)}, grain {d.amount:.4f}, seed {seed}")
    return 1 if judge(d, shown, outside, real=True) else 0


if __name__ == "__main__":
    sys.exit(main())
