#!/usr/bin/env python3
"""Pictures handed over one a frame, judged from outside: FFmpeg's program decodes them and numpy holds them against each
other. PNG and TIFF of 16 bits are equal; DPX lies half a 10-bit code off at most; OpenEXR, brought back from the light of
the display of BT.1886 (a power of 2.4), a quarter of one (half floats and the codes of both). OpenTimelineIO finds the pictures by the delivered cut list, and counts the
frames of a drop-frame timecode that the first one is numbered by."""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import opentimelineio as otio
from opentimelineio import opentime

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = os.environ.get("INKARNAT", str(ROOT / "target" / "debug" / "inkarnat"))
FRAMES = 4
# In 10-bit codes; the half code of DPX has room for PNG's own rounding.
BOUNDS = {"tiff": 0.0, "dpx": 0.51, "exr": 0.25}


def decoded(path, pixels, kind):
    command = ["ffmpeg", "-v", "error", "-i", path, "-f", "rawvideo", "-pix_fmt", pixels, "-"]
    return np.frombuffer(subprocess.run(command, capture_output=True, check=True).stdout, kind)


def signal(path, coding):
    if coding in ("png", "tiff"):
        return decoded(path, "rgb48le", "<u2").reshape(-1, 3) / 65535
    if coding == "dpx":
        return decoded(path, "gbrp10le", "<u2").reshape(3, -1)[[2, 0, 1]].T / 1023
    light = decoded(path, "gbrpf32le", "<f4").reshape(3, -1)[[2, 0, 1]].T
    return np.sign(light) * np.abs(light) ** (1 / 2.4)


wrong = []
with tempfile.TemporaryDirectory() as folder:
    source = ["-f", "lavfi", "-i", "color=0xA08070:s=192x108:r=24,noise=alls=6", "-frames:v", str(FRAMES)]
    subprocess.run(["ffmpeg", "-v", "error", *source, "-c:v", "prores_ks", "-timecode", "01:00:00:00", "a.mov"], cwd=folder, check=True)
    rows = {}
    for coding in ("png", "tiff", "dpx", "exr"):
        order = ["run", "a.mov", "--no-faces", "--patch", "a.mov@0:ellipse=0.4,0.5,0.1,0.2", "--to", coding, "--codec", coding]
        subprocess.run([PROGRAM, *order], cwd=folder, capture_output=True, check=True)
        rows[coding] = sorted((Path(folder) / coding / "clips" / "a").iterdir())
        first = rows[coding][0].name.split(".")[1]
        proof = json.loads((Path(folder) / coding / "readings.json").read_text())["shots"][0]["proof"]
        # 01:00:00:00 at 24 frames a second.
        if len(rows[coding]) != FRAMES or first != "0086400" or not proof["passed"]:
            wrong.append(f"{coding}: {len(rows[coding])} pictures from {first}, proof {proof['passed']}")
        # OpenTimelineIO finds every picture by the delivered list.
        lists = Path(folder) / coding / "lists"
        clips = list(otio.adapters.read_from_file(str(next(lists.glob("*_delivered.otio")))).find_clips())
        media = clips[0].media_reference
        named = [lists / unquote(media.target_url_for_image_number(n)) for n in range(media.number_of_images_in_sequence())]
        if len(clips) != 1 or [path.resolve() for path in named] != [path.resolve() for path in rows[coding]]:
            wrong.append(f"{coding}: the list names {[path.name for path in named]}")
        again = opentime.to_frames(media.available_range.start_time)
        if again != 86400 or media.start_frame != 86400:
            wrong.append(f"{coding}: the list begins at {again}, its pictures at {media.start_frame}")
    # Drop-frame: OpenTimelineIO counts the frames of 01:00:00;00.
    source[3] = source[3].replace("r=24", "r=30000/1001")
    drop = ["-c:v", "prores_ks", "-timecode", "01:00:00;00", "drop.mov"]
    subprocess.run(["ffmpeg", "-v", "error", *source, *drop], cwd=folder, check=True)
    order = ["run", "drop.mov", "--no-faces", "--patch", "drop.mov@0:ellipse=0.4,0.5,0.1,0.2", "--to", "drop", "--codec", "png"]
    subprocess.run([PROGRAM, *order], cwd=folder, capture_output=True, check=True)
    first = sorted((Path(folder) / "drop" / "clips" / "drop").iterdir())[0].name.split(".")[1]
    due = opentime.to_frames(opentime.from_timecode("01:00:00;00", 30000 / 1001))
    print(f"drop-frame 01:00:00;00: the first picture is {first}, OpenTimelineIO counts {due}")
    if int(first) != due:
        wrong.append(f"drop-frame: {first}, not {due}")
    for coding, bound in BOUNDS.items():
        far = max(
            float(np.abs(signal(a, "png") - signal(b, coding)).max()) * 1023 for a, b in zip(rows["png"], rows[coding], strict=True)
        )
        print(f"{coding} against png, {FRAMES} pictures: {far:.3f} of a 10-bit code, at most {bound}")
        if not far <= bound:
            wrong.append(f"{coding} {far:.3f}")
print("wrong: " + "; ".join(wrong) if wrong else "all as they should be")
sys.exit(bool(wrong))
