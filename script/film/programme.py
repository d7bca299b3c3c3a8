#!/usr/bin/env python3
"""The finished programme as somebody else makes it: FFmpeg puts the corrected clips of the demo together by the cut list, with the
dissolve, at 960x540 in 8-bit H.264, with a title on top; then `inkarnat prove --against` reads it.

programme.py PROGRAM FILM OUT: OUT is what `job.py` made of FILM. Fails unless every shot of the list is found and passes, and
unless a shot that is put back as it was shot is named, and no other.
"""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np

RATE = 24
SIZE = (960, 540)
# A shot whose correction is plain to see, to be put back.
PUT_BACK = "B001_office_bram"
# Letters of the title, five columns by seven rows.
LETTERS = {
    "A": "0E11111F111111",
    "E": "1F10101E10101F",
    "H": "1111111F111111",
    "K": "11121418141211",
    "P": "1E11111E101010",
    "R": "1E11111E141211",
    "S": "0F10100E01011E",
    "T": "1F040404040404",
    "Y": "11110A04040404",
}


def title(text, scale=5):
    """A picture of SIZE with the text low in it: grey and alpha."""
    rows = np.zeros((7, 6 * len(text)), bool)
    for at, letter in enumerate(text):
        for row in range(7):
            bits = int(LETTERS.get(letter, "0" * 14)[2 * row : 2 * row + 2], 16)
            rows[row, 6 * at : 6 * at + 5] = [bits >> (4 - column) & 1 for column in range(5)]
    large = rows.repeat(scale, 0).repeat(scale, 1)
    picture = np.zeros((SIZE[1], SIZE[0], 2), np.uint8)
    top, left = int(SIZE[1] * 0.84), (SIZE[0] - large.shape[1]) // 2
    picture[top : top + large.shape[0], left : left + large.shape[1]] = large[..., None] * np.uint8(235)
    return picture.tobytes()


def timeline(path):
    """(source, first frame's timecode count, frames, frames of the dissolve into it) of every clip."""
    track = json.loads(path.read_text())["tracks"]["children"][0]["children"]
    parts, dissolve = [], 0
    for item in track:
        if item["OTIO_SCHEMA"].startswith("Transition"):
            dissolve = int(item["out_offset"]["value"])
        elif item["OTIO_SCHEMA"].startswith("Clip"):
            span = item["source_range"]
            parts.append((item["name"], int(span["start_time"]["value"]), int(span["duration"]["value"]), dissolve))
            dissolve = 0
    return parts


def assemble(parts, files, master):
    """Joins `files`, one a part, each from its part's first frame on."""
    chains, order = [], []
    width, height = SIZE
    for n, (_, _, frames, dissolve) in enumerate(parts):
        own = f"[{n}:v]setpts=N/({RATE}*TB),scale={width}:{height}:flags=area,format=yuv422p10le"
        tail = parts[n + 1][3] if n + 1 < len(parts) else 0
        if tail:
            chains.append(f"{own},split[k{n}][t{n}]")
            chains.append(f"[k{n}]trim=end_frame={frames},setpts=N/({RATE}*TB)[s{n}]")
            chains.append(f"[t{n}]trim=start_frame={frames}:end_frame={frames + tail},setpts=N/({RATE}*TB)[o{n}]")
            order.append(f"[s{n}]")
        elif dissolve:
            chains.append(f"{own},split[b{n}][k{n}]")
            chains.append(f"[b{n}]trim=end_frame={dissolve},setpts=N/({RATE}*TB)[i{n}]")
            chains.append(f"[k{n}]trim=start_frame={dissolve}:end_frame={frames},setpts=N/({RATE}*TB)[s{n}]")
            share = f"((N+0.5)/{dissolve})"
            chains.append(f"[o{n - 1}][i{n}]blend=all_expr='A*(1-{share})+B*{share}'[d{n}]")
            order += [f"[d{n}]", f"[s{n}]"]
        else:
            chains.append(f"{own},trim=end_frame={frames}[s{n}]")
            order.append(f"[s{n}]")
    chains.append(f"{''.join(order)}concat=n={len(order)}:v=1:a=0[joined]")
    last = len(files)
    # Over the last shot, as a title is: from its twelfth frame on.
    begin = (sum(part[2] for part in parts[:-1]) + 12) / RATE
    chains.append(f"[joined][{last}:v]overlay=enable='gte(t,{begin})':format=yuv422p10,format=yuv420p[v]")
    command = ["ffmpeg", "-v", "error", "-y"]
    for file in files:
        command += ["-i", file]
    command += ["-f", "rawvideo", "-pix_fmt", "ya8", "-s", f"{width}x{height}", "-r", str(RATE), "-i", "-"]
    command += ["-filter_complex", ";".join(chains), "-map", "[v]", "-r", str(RATE), "-c:v", "libx264", "-crf", "16"]
    command += ["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv", master]
    subprocess.run(command, input=title("THE SPARE KEY"), check=True)


def held_against(program, state, master, cut):
    found = subprocess.run(
        [program, "prove", state, "--against", master, "--cut", cut, "--json"], capture_output=True, text=True
    )
    if found.returncode not in (0, 2):
        sys.exit(f"programme: prove --against ended with {found.returncode}: {found.stderr}")
    return json.loads(found.stdout), found.returncode


def main():
    program, folder, out = (Path(word).resolve() for word in sys.argv[1:4])
    (cut,) = folder.glob("*.otio")
    (state,) = out.glob("*.inkarnat")
    parts = timeline(cut)
    seen, files = {}, []
    for name, *_ in parts:
        seen[name] = seen.get(name, 0) + 1
        files.append(out / "clips" / (f"{name}.mov" if seen[name] == 1 else f"{name}-{seen[name]}.mov"))
    master = out / "the_spare_key_finished_elsewhere.mp4"
    assemble(parts, files, master)
    result, _ = held_against(program, state, master, cut)
    shots = result["shots"]
    passed = [shot for shot in shots if shot["passed"]]
    print(f"\nthe programme put together elsewhere (960x540, H.264, 8 bits, a title): {len(passed)} of {len(parts)} shots found and passed")
    faults = [f"{shot['shot']}: {shot}" for shot in shots if not shot["passed"]]

    # The same, with one shot as it came from the camera.
    at = next(n for n, part in enumerate(parts) if part[0] == PUT_BACK)
    spoiled = out / "clips" / f".{PUT_BACK}_as_shot.mov"
    raw = folder / "clips" / f"{PUT_BACK}.mov"
    probe = ["ffprobe", "-v", "error", "-show_entries", "format_tags=timecode:stream_tags=timecode", "-of", "csv=p=0", raw]
    clock = subprocess.run(probe, capture_output=True, text=True, check=True).stdout.split()[0].split(":")
    first = ((int(clock[0]) * 60 + int(clock[1])) * 60 + int(clock[2])) * RATE + int(clock[3])
    skip = parts[at][1] - first
    trim = f"trim=start_frame={skip}:end_frame={skip + parts[at][2]},setpts=N/({RATE}*TB)"
    subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", raw, "-vf", trim, "-an", "-c:v", "prores_ks", "-profile:v", "3", spoiled], check=True)
    wrong = out / "the_spare_key_one_shot_as_it_was.mp4"
    assemble(parts, [spoiled if n == at else file for n, file in enumerate(files)], wrong)
    spoiled.unlink()
    result, code = held_against(program, state, wrong, cut)
    named = [shot["shot"] for shot in result["shots"] if not shot["passed"]]
    print(f"with {PUT_BACK} in it as it was shot: named are {', '.join(named) or 'none'}")
    wrong.unlink()
    if faults or len(passed) != len(parts):
        sys.exit("programme: not every shot passed:\n  " + "\n  ".join(faults))
    if named != [PUT_BACK] or code != 2:
        sys.exit(f"programme: expected {PUT_BACK} alone to be named and exit code 2, got {named} and {code}")


if __name__ == "__main__":
    main()
