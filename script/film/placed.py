#!/usr/bin/env python3
"""Where the tool finds faces and their skin on the demo film, against the film's own truth.

placed.py FILM: FILM is the folder that `film` wrote (camera files and truth). FFmpeg decodes; the example `placed` finds and
follows. Three figures, in widths of the face and shares:
- people: every face of the truth has a track that holds its frames, and nothing else is taken for a face;
- following: how far the middle of the key-side cheek wanders from the true one's, with its constant offset taken off (the two
  cheeks are outlined differently: the truth's ends where the material's region ends), and the offset beside it;
- precision: the share of chosen pixels that the truth calls skin of that person, coverage at least one half, in the middle frame.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
# DESIGN of the tool: patch centre error, median and 95th percentile, in widths of the face; precision of chosen skin.
CENTRE = (0.01, 0.03)
PRECISION = 0.98


def mask(path):
    data = path.read_bytes()
    size, start = [], 0
    for _ in range(4):
        while data[start : start + 1].isspace():
            start += 1
        end = start
        while not data[end : end + 1].isspace():
            end += 1
        size.append(data[start:end])
        start = end
    width, height = int(size[1]), int(size[2])
    return np.frombuffer(data, np.uint8, offset=start + 1)[: width * height].reshape(height, width)


def found(program, clip, middle, scratch):
    frames = Path(scratch) / clip.stem
    frames.mkdir()
    # As the working signal: no change of range or matrix but the file's own.
    subprocess.run(
        ["ffmpeg", "-v", "error", "-i", clip, "-vf", "scale=in_color_matrix=bt709:in_range=tv:out_range=pc,format=rgb24", frames / "%05d.png"],
        check=True,
    )
    said = subprocess.run([program, ROOT / ".cache" / "faces", frames, str(middle)], capture_output=True, text=True, check=True)
    for picture in frames.iterdir():
        picture.unlink()
    return json.loads(said.stdout)["faces"]


def main():
    folder = Path(sys.argv[1])
    program = Path(sys.argv[2]) if len(sys.argv) > 2 else ROOT / "target" / "debug" / "examples" / "placed"
    wander, offsets, precise, faults = [], [], [], []
    with tempfile.TemporaryDirectory() as scratch:
        for path in sorted((folder / "truth").glob("*_*.json")):
            truth = json.loads(path.read_text())
            faces = found(program, folder / "clips" / f"{truth['clip']}.mov", truth["frames"] // 2, scratch)
            used = set()
            for k, person in enumerate(truth["people"]):
                boxes = {n: box for n, box in enumerate(person["face"]) if box}
                size = np.array([1280, 720])

                def inside(face):
                    hits = 0
                    for at in face["held"]:
                        box = boxes.get(at["frame"])
                        if box:
                            x, y = (np.array(at["right"]) + at["left"]) / 2 / size
                            hits += box[0] <= x <= box[2] and box[1] <= y <= box[3]
                    return hits

                own = max(range(len(faces)), key=lambda n: inside(faces[n]), default=None)
                if own is None or inside(faces[own]) < 0.9 * len(boxes):
                    faults.append(f"{truth['clip']}: {person['person']} is held in {0 if own is None else inside(faces[own])} of {len(boxes)} frames")
                    continue
                used.add(own)
                face = faces[own]
                side = person["cheek"].lower()
                off = np.array(
                    [
                        (np.array(at[side]) - np.array(person["patch"][at["frame"]][:2]) * size) / at["width"]
                        for at in face["held"]
                        if person["patch"][at["frame"]]
                    ]
                )
                constant = np.median(off, 0)
                moved = np.hypot(*(off - constant).T)
                wander += list(moved)
                offsets.append(np.hypot(*constant))
                cover = mask(folder / "truth" / f"{truth['clip']}_skin{k}.pgm").ravel()
                pixels = np.array(face["chosen"], int)
                share = float((cover[pixels] >= 128).mean()) if len(pixels) else float("nan")
                precise.append(share)
                print(
                    f"{truth['clip']:22} {person['person']:8} key {str(face['key']):6} held {len(face['held']):3} of {len(boxes):3}  "
                    f"offset {np.hypot(*constant):.3f}  wanders {np.median(moved):.4f} / {np.percentile(moved, 95):.4f}  "
                    f"chosen {len(pixels):6} precision {share:.4f}  parts {len(face['parts'])}"
                )
            extra = [n for n in range(len(faces)) if n not in used]
            if extra:
                faults.append(f"{truth['clip']}: {len(extra)} faces more than people")
    median, high = np.median(wander), np.percentile(wander, 95)
    print(f"following: median {median:.4f}, 95th {high:.4f} of the face's width; constant offset {np.median(offsets):.3f}; precision least {np.nanmin(precise):.4f}, mean {np.nanmean(precise):.4f}")
    if median > CENTRE[0] or high > CENTRE[1]:
        faults.append(f"following: median {median:.4f}, 95th {high:.4f}; expected at most {CENTRE[0]} and {CENTRE[1]}")
    if not np.nanmin(precise) >= PRECISION or np.isnan(precise).any():
        faults.append(f"precision: least {np.nanmin(precise):.4f}; expected at least {PRECISION} everywhere")
    for fault in faults:
        print(f"FAULT {fault}")
    print(f"{len(faults)} faults")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
