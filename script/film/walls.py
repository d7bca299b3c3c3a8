#!/usr/bin/env python3
"""Across cuts: the same wall and the same person before and after, on the demo film, by the film's own masks.

walls.py INKARNAT FILM OUT: FILM is the folder that `film` wrote (camera files and truth), OUT what `inkarnat run` made of it.
FFmpeg decodes the middle frame of every camera file. A constant fix is put on by OpenColorIO from the CLF that was handed over, one
that follows its light by our own operations at the frame of the shot that is nearest. Then, by CIEDE2000 between means:
- the set's wall in two shots that meet at a cut inside a scene lies no further apart than in the camera files;
- one person in any two setups of a scene lies within 2, in the median within 1: forehead, cheek and flank of the nose of the key
  side, between the 50th and the 90th percentile of luma. Beside it stands how far apart the film's truth has the two under its
  light of reference: walls throw their colour on faces, and that is the face's own.
"""

import json
import subprocess
import sys
import tempfile
from itertools import combinations
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "script" / "check"))
sys.path.insert(0, str(ROOT / "script" / "film"))
from applied import by_ocio, by_us, decoded  # noqa: E402
from faults import end  # noqa: E402
from meter import ciede2000, lab_of_signal  # noqa: E402
from placed import mask  # noqa: E402

PAIR, MEDIAN = 2.0, 1.0
# Pixels that a mean has to rest on.
LEAST_WALL = 2000
LEAST_SKIN = 50


def apart(a, b):
    return float(ciede2000(lab_of_signal(a[None]), lab_of_signal(b[None]))[0])


def skin_of(folder, clip, k, side, pixels):
    """The pixels of the parts that are read, by the rule of the film's truth; `None` where they are hidden."""
    covered = [mask(folder / "truth" / f"{clip}_{part}{k}.pgm").ravel() >= 250 for part in ("forehead", f"cheek_{side}", f"flank_{side}")]
    chosen = np.zeros(len(pixels), bool)
    for part in covered:
        if part.sum() < LEAST_SKIN:
            continue
        luma = pixels @ [0.2126, 0.7152, 0.0722]
        low, high = np.percentile(luma[part], [50, 90])
        chosen |= part & (luma >= low) & (luma <= high)
    return chosen if chosen.sum() >= LEAST_SKIN else None


def main():
    inkarnat, folder, out = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    subprocess.run(["cargo", "build", "--quiet", "--workspace", "--example", "apply"], cwd=ROOT, check=True)
    program = ROOT / "target" / "debug" / "examples" / "apply"
    # Exit code 2: some shot is short, which is no fault here.
    said = subprocess.run([inkarnat, "show", next(out.glob("*.inkarnat")), "--json"], capture_output=True)
    film = json.loads(said.stdout)
    truth = json.loads((folder / "truth" / "film.json").read_text())
    pictures, people = {}, {}
    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch)
        for shot in film["shots"]:
            clip, fix = Path(shot["source"]).stem, shot["fix"]
            of = json.loads((folder / "truth" / f"{clip}.json").read_text())
            middle = of["frames"] // 2
            away = max(shot["in_frame"] - middle, middle - shot["out_frame"] + 1, 0)
            if clip in pictures and pictures[clip][0] <= away:
                continue
            before = decoded(folder / "clips" / f"{clip}.mov", middle).astype(float)
            after = before
            if fix and fix["keyframes"]:
                after = by_us(program, scratch, fix, min(max(middle, shot["in_frame"]), shot["out_frame"] - 1), before)
            elif fix and fix["ops"]:
                name = shot["setup"] if (out / "clf" / f"{shot['setup']}.clf").exists() else shot["shot"]
                after = by_ocio(out / "clf" / f"{name}.clf", before)
            pictures[clip] = (away, before, after)
            people[clip] = [(person["person"], k, person["cheek"], np.median([reading["lab"] for reading in person["wanted"]], axis=0)) for k, person in enumerate(of["people"])]
    faults = []

    cuts = dict.fromkeys(
        (Path(a["clip"]).stem, Path(b["clip"]).stem)
        for a, b in zip(truth["shots"], truth["shots"][1:])
        if a["scene"] == b["scene"] and a["clip"] != b["clip"]
    )
    nearer = seen = 0
    for a, b in cuts:
        walls = [mask(folder / "truth" / f"{clip}_wall0.pgm").ravel() >= 250 for clip in (a, b)]
        if min(wall.sum() for wall in walls) < LEAST_WALL:
            print(f"{a} to {b}: no wall in both")
            continue
        was, now = (apart(*(pictures[clip][n][wall].mean(0) for clip, wall in zip((a, b), walls))) for n in (1, 2))
        seen += 1
        nearer += now <= was
        print(f"{a:22} to {b:22} wall {was:5.2f} apart in the camera files, {now:5.2f} after")
        if now > was:
            faults.append(f"{a} to {b}: the wall lies {now:.2f} apart, and {was:.2f} in the camera files")
    print(f"walls: {nearer} of {seen} no further apart than in the camera files")

    scenes = {}
    for use in truth["shots"]:
        scenes.setdefault(use["scene"], {})[Path(use["clip"]).stem] = None
    distances = []
    for scene, clips in scenes.items():
        for name in sorted({name for clip in clips for name, *_ in people[clip]}):
            means = []
            for clip in clips:
                for person, k, cheek, due in people[clip]:
                    chosen = skin_of(folder, clip, k, cheek, pictures[clip][1]) if person == name else None
                    if chosen is not None:
                        means.append((clip, due, *(pictures[clip][n][chosen].mean(0) for n in (1, 2))))
            for (a, due, *one), (b, too, *other) in combinations(means, 2):
                was, now = (apart(one[n], other[n]) for n in (0, 1))
                distances.append(now)
                print(f"{scene:18} {name:8} {a:22} and {b:22} {was:5.2f} apart in the camera files, {now:5.2f} after, {ciede2000(due[None], too[None])[0]:5.2f} in the film's truth")
                if now > PAIR:
                    faults.append(f"{name} in {a} and {b}: {now:.2f} apart; expected at most {PAIR}")
    print(f"one person in one scene: {len(distances)} pairs, median {np.median(distances):.2f}, largest {max(distances):.2f}")
    if np.median(distances) > MEDIAN:
        faults.append(f"one person in one scene: median {np.median(distances):.2f}; expected at most {MEDIAN}")
    end(faults)


if __name__ == "__main__":
    main()
