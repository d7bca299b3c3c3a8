#!/usr/bin/env python3
"""A skin meter that shares nothing with the project: FFmpeg's program decodes, numpy measures.

It takes from the project only where to look (the outline and its pose in each frame, as the film file holds them) and
measures by the definitions of ARCHITECTURE.md, "What a reading is", written down here a second time. loop.py compares
it with what the project says of sources and delivered files. Run by itself it checks itself against outside numbers:
colour-science's CIEDE2000, Lab and bars, and flat pictures that FFmpeg encodes.
"""

import contextlib
import io
import json
import sqlite3
import subprocess
import sys
import tempfile
import warnings
import zlib
from pathlib import Path

import numpy as np

# Kr, Kb: BT.601-7 item 2.5.1, BT.709-6 item 3.2, BT.2020-2 table 4.
LUMA = {"bt601": (0.299, 0.114), "bt709": (0.2126, 0.0722), "bt2020": (0.2627, 0.0593)}
MATRIX_OF_TAG = {"smpte170m": "bt601", "bt470bg": "bt601", "bt709": "bt709", "bt2020nc": "bt2020"}
# BT.709-6 item 1.3: chromaticities of red, green, blue; item 1.4: white.
PRIMARIES_709 = np.array([[0.640, 0.330], [0.300, 0.600], [0.150, 0.060]])
WHITE_D65 = np.array([0.3127, 0.3290])
HUE_FLOOR = 0.015  # chroma below which no hue is read
SKIN_TONE_LINE_DEG = 123.0
CLIP_MARGIN = 1 / 219  # one 8-bit narrow code from white or from black counts as clipped


# --- colour -----------------------------------------------------------------------------------------------------------


def xyz_from_rgb():
    """Linear BT.709 to XYZ with the white at Y = 1."""
    columns = np.column_stack([PRIMARIES_709, 1 - PRIMARIES_709.sum(axis=1)]).T
    white = np.append(WHITE_D65, 1 - WHITE_D65.sum()) / WHITE_D65[1]
    return columns * np.linalg.solve(columns, white)


def lab_of_signal(rgb):
    """CIELAB (D65) of the light of a BT.1886 display with black 0: a power of 2.4."""
    light = np.clip(rgb, 0, None) ** 2.4
    matrix = xyz_from_rgb()
    ratio = (light @ matrix.T) / matrix.sum(axis=1)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def ciede2000(one, two):
    """Sharma, Wu, Dalal 2005, equations 2 to 22, kL = kC = kH = 1."""
    (l1, a1, b1), (l2, a2, b2) = np.moveaxis(np.asarray(one), -1, 0), np.moveaxis(np.asarray(two), -1, 0)
    mean7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    g = 0.5 * (1 - np.sqrt(mean7 / (mean7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    dh = np.where(grey, 0, (h2 - h1 + 180) % 360 - 180)
    # A difference of exactly 180° keeps its sign (equation 10).
    dh = np.where((dh == -180) & (h2 > h1), 180, dh)
    dl, dc = l2 - l1, c2 - c1
    dhh = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh / 2))
    lm, cm = (l1 + l2) / 2, (c1 + c2) / 2
    apart = np.abs(h1 - h2) > 180
    hm = np.where(grey, h1 + h2, np.where(apart, (h1 + h2 + np.where(h1 + h2 < 360, 360, -360)) / 2, (h1 + h2) / 2))
    cos = lambda degrees: np.cos(np.radians(degrees))
    t = 1 - 0.17 * cos(hm - 30) + 0.24 * cos(2 * hm) + 0.32 * cos(3 * hm + 6) - 0.20 * cos(4 * hm - 63)
    rc = 2 * np.sqrt(cm**7 / (cm**7 + 25.0**7))
    sl = 1 + 0.015 * (lm - 50) ** 2 / np.sqrt(20 + (lm - 50) ** 2)
    sc, sh = 1 + 0.045 * cm, 1 + 0.015 * cm * t
    rt = -np.sin(np.radians(60 * np.exp(-(((hm - 275) / 25) ** 2)))) * rc
    return np.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dhh / sh) ** 2 + rt * (dc / sc) * (dhh / sh))


def rgb_from_ycbcr(y, cb, cr, matrix):
    kr, kb = LUMA[matrix]
    r, b = y + 2 * (1 - kr) * cr, y + 2 * (1 - kb) * cb
    return np.stack([r, (y - kr * r - kb * b) / (1 - kr - kb), b], axis=-1)


def ycbcr_from_rgb(rgb, matrix):
    kr, kb = LUMA[matrix]
    y = kr * rgb[..., 0] + (1 - kr - kb) * rgb[..., 1] + kb * rgb[..., 2]
    return y, (rgb[..., 2] - y) / (2 * (1 - kb)), (rgb[..., 0] - y) / (2 * (1 - kr))


# --- pictures ---------------------------------------------------------------------------------------------------------


def probe(path, count=False):
    """What ffprobe says of the first video stream, and of the first audio stream under "audio"."""
    command = ["ffprobe", "-v", "error", "-show_streams", "-of", "json"] + (["-count_packets"] if count else []) + [str(path)]
    streams = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)["streams"]
    video = next(s for s in streams if s["codec_type"] == "video")
    video["audio"] = next((s for s in streams if s["codec_type"] == "audio"), None)
    return video


def planes(path, about):
    """Yields the decoded planes of each frame as arrays of codes, in the decoder's own pixel format."""
    form = about["pix_fmt"]
    depth = 10 if "p10" in form else 12 if "p12" in form else 8
    sub = {"420": (2, 2), "422": (2, 1), "444": (1, 1)}[form.removeprefix("yuvj").removeprefix("yuv")[:3]]
    width, height = about["width"], about["height"]
    sizes = [(height, width)] + [(-(-height // sub[1]), -(-width // sub[0]))] * 2
    kind = np.dtype("<u2" if depth > 8 else "u1")
    command = ["ffmpeg", "-v", "error", "-nostdin", "-noautorotate", "-i", str(path), "-map", "0:v:0"]
    command += ["-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt", form, "-"]
    length = sum(h * w for h, w in sizes) * kind.itemsize
    with subprocess.Popen(command, stdout=subprocess.PIPE) as decoder:
        while len(data := decoder.stdout.read(length)) == length:
            codes, frame, at = np.frombuffer(data, kind), [], 0
            for h, w in sizes:
                frame.append(codes[at : at + h * w].reshape(h, w))
                at += h * w
            yield frame, depth, sub
    if decoder.returncode != 0 or data:
        sys.exit(f"meter: ffmpeg could not decode {path} to its end")


def stretch(plane, factor, axis, centred):
    """Linear interpolation to `factor` times as many samples; sited on the first of each pair, or between the pair."""
    if factor == 1:
        return plane
    count = plane.shape[axis]
    at = np.clip((np.arange(count * factor) - (0.5 if centred else 0.0)) / factor, 0, count - 1)
    low = np.floor(at).astype(int)
    weight = (at - low).reshape([-1 if i == axis else 1 for i in range(2)])
    return np.take(plane, low, axis) * (1 - weight) + np.take(plane, np.minimum(low + 1, count - 1), axis) * weight


def signal(frame, depth, sub, about, matrix):
    """R'G'B' of a frame, height × width × 3; chroma interpolated from the tagged siting (left where untagged)."""
    scale = 2 ** (depth - 8)
    full = about.get("color_range") == "pc" or about["pix_fmt"].startswith("yuvj")
    zero, unit, half = (0, 2**depth - 1, 2**depth - 1) if full else (16 * scale, 219 * scale, 224 * scale)
    height, width = frame[0].shape
    siting = about.get("chroma_location", "left")
    chroma = []
    for plane in frame[1:]:
        values = (plane.astype(np.float64) - 128 * scale) / half
        values = stretch(values, sub[1], 0, siting in ("left", "center", "unspecified"))
        chroma.append(stretch(values, sub[0], 1, siting == "center")[:height, :width])
    return rgb_from_ycbcr((frame[0].astype(np.float64) - zero) / unit, *chroma, matrix)


# --- where to look ----------------------------------------------------------------------------------------------------


def inside(shape, pose, width, height):
    """Pixels whose centres lie in the outline moved by the pose; pose (a, b, tx, ty) in picture widths on both axes."""
    a, b, tx, ty = pose
    x, y = np.meshgrid((np.arange(width) + 0.5) / width - tx, (np.arange(height) + 0.5) / width - ty)
    square = a * a + b * b
    u, v = (a * x + b * y) / square, (a * y - b * x) / square * (width / height)
    if "ellipse" in shape:
        (cx, cy), (rx, ry) = shape["ellipse"]["centre"], shape["ellipse"]["radii"]
        return ((u - cx) / rx) ** 2 + ((v - cy) / ry) ** 2 <= 1
    found = np.zeros(u.shape, bool)
    corners = shape["polygon"]
    for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1]):
        if y0 != y1:
            found ^= ((y0 > v) != (y1 > v)) & (u < x0 + (v - y0) / (y1 - y0) * (x1 - x0))
    return found


def where(film, shot):
    """[(person, outline, {source frame: pose}), …] of a shot's patches, from the film file."""
    base = sqlite3.connect(f"file:{film}?mode=ro", uri=True)
    rows = base.execute(
        "SELECT person.name, patch.shape, track.poses FROM patch JOIN person ON person.id = patch.person_id"
        " JOIN track ON track.patch_id = patch.id JOIN shot ON shot.id = patch.shot_id WHERE shot.name = ?"
        " ORDER BY patch.id",
        [shot],
    ).fetchall()
    base.close()
    found = []
    for person, shape, packed in rows:
        track = json.loads(zlib.decompress(packed))
        poses = {
            track["first_frame"] + i: tuple(pose["held"][k] for k in ("a", "b", "tx", "ty"))
            for i, pose in enumerate(track["poses"])
            if "held" in pose
        }
        found.append((person, json.loads(shape), poses))
    return found


# --- the reading ------------------------------------------------------------------------------------------------------


def trimmed_mean(values):
    """The lowest and the highest tenth (rounded down) cut, the rest averaged."""
    cut = len(values) // 10
    return float(np.sort(values)[cut : len(values) - cut].mean())


def choose(path, patches, matrix):
    """{frame: flat indices} of the unclipped pixels of a source, for each patch."""
    about = probe(path)
    chosen = [{} for _ in patches]
    for index, (frame, depth, sub) in enumerate(planes(path, about)):
        rgb = None
        for (_, shape, poses), kept in zip(patches, chosen):
            if index not in poses:
                continue
            rgb = signal(frame, depth, sub, about, matrix) if rgb is None else rgb
            top = rgb.max(axis=-1)
            mask = inside(shape, poses[index], about["width"], about["height"])
            kept[index] = np.flatnonzero(mask & (top < 1 - CLIP_MARGIN) & (top > CLIP_MARGIN))
    return chosen


def read(path, chosen, matrix, first_frame=0, working="bt709", through=None):
    """The reading of one patch's chosen pixels ({source frame: indices}) in a file that begins at `first_frame`.

    `through` changes the pixels (n × 3) before they are measured.
    """
    about = probe(path)
    rows = []
    for index, (frame, depth, sub) in enumerate(planes(path, about)):
        pixels = chosen.get(index + first_frame)
        if pixels is None or len(pixels) < 25:
            continue
        rgb = signal(frame, depth, sub, about, matrix).reshape(-1, 3)[pixels]
        rgb = through(rgb) if through else rgb
        rows.append([trimmed_mean(column) for column in ycbcr_from_rgb(rgb, working)])
    if not rows:
        sys.exit(f"meter: no frame of {path} could be read")
    return summary([trimmed_mean(column) for column in np.array(rows).T], len(rows), working)


def summary(mean, frames, working="bt709"):
    y, cb, cr = mean
    chroma = float(np.hypot(cb, cr))
    hue = float(np.degrees(np.arctan2(cr, cb)) % 360) if chroma >= HUE_FLOOR else None
    return {
        "level_pct": 100 * y,
        "code10": 64 + 876 * y,
        "hue_deg": hue,
        "off_line_deg": None if hue is None else (hue - SKIN_TONE_LINE_DEG + 180) % 360 - 180,
        "chroma": chroma,
        "sat_ratio": chroma / y,
        "lab": lab_of_signal(rgb_from_ycbcr(y, cb, cr, working)),
        "frames": frames,
    }


def matrix_of(about, untagged):
    """The tagged matrix, or the given one where there is no tag."""
    return MATRIX_OF_TAG.get(about.get("color_space"), untagged)


# --- self check -------------------------------------------------------------------------------------------------------


def check_colour(failures):
    warnings.filterwarnings("ignore")
    with contextlib.redirect_stderr(io.StringIO()):
        import colour

    rng = np.random.default_rng(1)
    one = np.stack([rng.uniform(0, 100, 5000), rng.uniform(-90, 90, 5000), rng.uniform(-90, 90, 5000)], axis=-1)
    two = one + rng.normal(0, 8, one.shape)
    worst = np.abs(ciede2000(one, two) - colour.delta_E(one, two, method="CIE 2000")).max()
    print(f"meter: CIEDE2000 of 5000 random pairs differs from colour-science by at most {worst:.2e} (limit 1e-9)")
    failures += [worst > 1e-9]

    rgb = rng.uniform(0, 1, (2000, 3))
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    # The matrix recomputed from the primaries; the library's stored one has four decimals.
    matrix = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    theirs = colour.XYZ_to_Lab(rgb**2.4 @ matrix.T, space.whitepoint)
    worst = np.abs(lab_of_signal(rgb) - theirs).max()
    print(f"meter: Lab of 2000 random signals differs from colour-science by at most {worst:.2e} (limit 1e-9)")
    failures += [worst > 1e-9]

    for matrix, weights in (("bt601", "ITU-R BT.601"), ("bt709", "ITU-R BT.709"), ("bt2020", "ITU-R BT.2020")):
        theirs = colour.RGB_to_YCbCr(rgb, K=colour.WEIGHTS_YCBCR[weights], out_legal=False, out_int=False)
        ours = np.stack(ycbcr_from_rgb(rgb, matrix), axis=-1)
        worst = max(np.abs(ours - theirs).max(), np.abs(rgb_from_ycbcr(*ours.T, matrix) - rgb).max())
        print(f"meter: {matrix} differs from colour-science and from its own way back by at most {worst:.2e} (limit 1e-12)")
        failures += [worst > 1e-12]


def check_decoding(failures):
    """Flat pictures of known codes through FFmpeg's lossless coder, and a moving outline on a split picture."""
    cases = [("yuv420p", "tv", (120, 108, 148)), ("yuv422p10le", "tv", (480, 430, 600)), ("yuv444p", "pc", (120, 108, 148))]
    with tempfile.TemporaryDirectory() as folder:
        for form, levels, codes in cases:
            path = Path(folder) / f"{form}.mkv"
            peak = 1023 if "10" in form else 255
            flat = ":".join(f"{name}={code}" for name, code in zip(("lum", "cb", "cr"), codes))
            subprocess.run(
                ["ffmpeg", "-v", "error", "-f", "lavfi", "-i", f"color=size=64x48:rate=25:duration=0.2,format={form},geq={flat}"]
                + ["-c:v", "ffv1", "-pix_fmt", form, "-color_range", levels, "-colorspace", "bt709", str(path)],
                check=True,
            )
            scale = 4 if "10" in form else 1
            zero, unit, half = (0, peak, peak) if levels == "pc" else (16 * scale, 219 * scale, 224 * scale)
            y, cb, cr = (codes[0] - zero) / unit, (codes[1] - 128 * scale) / half, (codes[2] - 128 * scale) / half
            pixels = {i: np.arange(100, 300) for i in range(5)}
            found = read(path, pixels, matrix_of(probe(path), "bt709"))
            worst = max(abs(found["level_pct"] - 100 * y), abs(found["hue_deg"] - np.degrees(np.arctan2(cr, cb)) % 360))
            print(f"meter: flat {form} {levels} {codes} reads {found['level_pct']:.4f} % {found['hue_deg']:.4f}°, off by {worst:.1e} (limit 1e-9)")
            failures += [worst > 1e-9 or found["frames"] != 5]

        # The outline must land where the picture says: a disc of radius 20 drawn by FFmpeg, 10 to the right each frame.
        path = Path(folder) / "disc.mkv"
        disc = "if(lte(hypot(X+0.5-60-10*N\\,Y+0.5-90)\\,20)\\,180\\,60)"
        subprocess.run(
            ["ffmpeg", "-v", "error", "-f", "lavfi", "-i", f"color=size=320x180:rate=25:duration=0.2,format=yuv444p,geq=lum='{disc}':cb=110:cr=145"]
            + ["-c:v", "ffv1", "-color_range", "tv", "-colorspace", "bt709", str(path)],
            check=True,
        )
        shape = {"ellipse": {"centre": [60 / 320, 90 / 180], "radii": [20 / 320, 20 / 180]}}
        poses = {i: (1.0, 0.0, 10 * i / 320, 0.0) for i in range(5)}
        (chosen,) = choose(path, [("A", shape, poses)], "bt709")
        share = []
        for index, (frame, _, _) in enumerate(planes(path, probe(path))):
            lit = np.flatnonzero(frame[0] == 180)
            share.append(len(np.intersect1d(lit, chosen[index])) / max(len(np.union1d(lit, chosen[index])), 1))
        print(f"meter: a moved outline covers the disc that FFmpeg drew, shared pixels {min(share):.4f} (expected 1)")
        failures += [min(share) < 1]


def main():
    failures = []
    check_colour(failures)
    check_decoding(failures)
    print(f"meter: {len(failures)} checks, {sum(map(bool, failures))} failed")
    return 1 if any(failures) or not failures else 0


if __name__ == "__main__":
    sys.exit(main())
