#!/usr/bin/env python3
"""Where the tool finds faces and their skin on the demo film, against the film's own truth.

placed.py FILM: FILM is the folder that `film` wrote (camera files and truth). FFmpeg decodes; the example `placed` finds and
follows. Four figures, in widths of the face and shares:
- people: every face of the truth has a track that holds its frames, and nothing else is taken for a face;
- following: how far the middle of the key-side cheek wanders over the skin. The truth follows three points of that cheek; a
  place on the skin keeps its shares of the three, so the shares that fit the whole shot best say which place the middle lies on,
  and what is left is how far it wanders from it;
- precision: the share of chosen pixels that the truth calls skin of that person, coverage at least one half, in the middle frame;
- recall: the share of what the same rule chooses from the truth's own regions (forehead, cheek and flank of the nose,
  painted on the heads) that is chosen, in the middle frame, on the side of the face that the tool reads.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from faults import end

ROOT = Path(__file__).resolve().parents[2]
# DESIGN of the tool: patch centre error, median and 95th percentile, in widths of the face; precision of chosen skin.
CENTRE = (0.01, 0.03)
PRECISION = 0.98
RECALL = 0.6


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


def found(program, clip, middle, masks, scratch):
    frames = Path(scratch) / clip.stem
    frames.mkdir()
    # As the working signal: no change of range or matrix but the file's own.
    subprocess.run(
        ["ffmpeg", "-v", "error", "-i", clip, "-vf", "scale=in_color_matrix=bt709:in_range=tv:out_range=pc,format=rgb24", frames / "%05d.png"],
        check=True,
    )
    said = subprocess.run([program, ROOT / ".cache" / "faces", frames, str(middle), *masks], capture_output=True, text=True, check=True)
    for picture in frames.iterdir():
        picture.unlink()
    said = json.loads(said.stdout)
    return said["faces"], said["ruled"]


def wander_of(middles, points):
    """Distances of middles (frames × 2) from the place on the skin that they lie on, given three of its points (frames × 3 × 2)."""
    across = points[:, :2] - points[:, 2:]
    from_last = middles - points[:, 2]
    shares = np.linalg.lstsq(across.transpose(0, 2, 1).reshape(-1, 2), from_last.ravel(), rcond=None)[0]
    return np.hypot(*(from_last - np.einsum("fpk,p->fk", across, shares)).T), shares


def main():
    folder = Path(sys.argv[1])
    program = Path(sys.argv[2]) if len(sys.argv) > 2 else ROOT / "target" / "debug" / "examples" / "placed"
    wander, precise, recalled, faults = [], [], [], []
    with tempfile.TemporaryDirectory() as scratch:
        for path in sorted((folder / "truth").glob("*_*.json")):
            truth = json.loads(path.read_text())
            size = np.array([1280, 720])
            middle = truth["frames"] // 2
            masks = []
            for k, person in enumerate(truth["people"]):
                box = person["face"][middle]
                width = (box[2] - box[0]) * size[0] if box else 100
                for side in ("right", "left"):
                    parts = [folder / "truth" / f"{truth['clip']}_{part}{k}.pgm" for part in ("forehead", f"cheek_{side}", f"flank_{side}")]
                    masks.append(",".join([*map(str, parts), f"{width:.1f}"]))
            faces, ruled = found(program, folder / "clips" / f"{truth['clip']}.mov", middle, masks, scratch)
            used = set()
            for k, person in enumerate(truth["people"]):
                boxes = {n: box for n, box in enumerate(person["face"]) if box}

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
                # Where the cheek is in sight. Its middle is given for pixel centres at whole numbers, the truth for their edges.
                held = [at for at in face["held"] if person["patch"][at["frame"]]]
                middles = np.array([at[side] for at in held]) + 0.5
                moved, shares = wander_of(middles, np.array([person["points"][at["frame"]] for at in held]) * size)
                moved /= np.array([at["width"] for at in held])
                wander += list(moved)
                cover = mask(folder / "truth" / f"{truth['clip']}_skin{k}.pgm").ravel()
                pixels = np.array(face["chosen"], int)
                share = float((cover[pixels] >= 128).mean()) if len(pixels) else float("nan")
                precise.append(share)
                # Of the side that the tool reads: in even light either is the key side.
                rule = set(ruled[2 * k + (face["key"] == "Left")])
                recall = len(rule.intersection(face["chosen"])) / len(rule) if rule else float("nan")
                recalled.append(recall)
                print(
                    f"{truth['clip']:22} {person['person']:8} key {str(face['key']):6} held {len(face['held']):3} of {len(boxes):3}  "
                    f"on {shares[0]:.2f} {shares[1]:.2f}  wanders {np.median(moved):.4f} / {np.percentile(moved, 95):.4f}  "
                    f"chosen {len(pixels):6} precision {share:.4f}  of {len(rule):6} recall {recall:.4f}  parts {len(face['parts'])}"
                )
            extra = [n for n in range(len(faces)) if n not in used]
            if extra:
                faults.append(f"{truth['clip']}: {len(extra)} faces more than people")
    median, high = np.median(wander), np.percentile(wander, 95)
    print(f"following: median {median:.4f}, 95th {high:.4f} of the face's width; precision least {np.nanmin(precise):.4f}, mean {np.nanmean(precise):.4f}; recall least {np.nanmin(recalled):.4f}, mean {np.nanmean(recalled):.4f}")
    if median > CENTRE[0] or high > CENTRE[1]:
        faults.append(f"following: median {median:.4f}, 95th {high:.4f}; expected at most {CENTRE[0]} and {CENTRE[1]}")
    if not np.nanmin(precise) >= PRECISION or np.isnan(precise).any():
        faults.append(f"precision: least {np.nanmin(precise):.4f}; expected at least {PRECISION} everywhere")
    if not np.nanmin(recalled) >= RECALL or np.isnan(recalled).any():
        faults.append(f"recall: least {np.nanmin(recalled):.4f}; expected at least {RECALL} everywhere")
    end(faults)


if __name__ == "__main__":
    main()
