#!/usr/bin/env python3
"""How steadily one face in one light is read: close and wide, and turned 45° either way.

steady.py DIRECTORY [PROGRAM]: DIRECTORY is what the example `turned` of inkarnat-heads made. Bounds from the tool's design: the
same face close and wide, standard deviation at most 0.8 % of white and 0.8°; turned, 0.8° always and 0.8 % in soft light from
the front (under a light from the side, turning changes the level itself); in the backs of heads no face is found.
"""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
from faults import end

ROOT = Path(__file__).resolve().parents[2]
BOUND = 0.8


def main():
    folder = Path(sys.argv[1])
    program = Path(sys.argv[2]) if len(sys.argv) > 2 else ROOT / "target" / "debug" / "examples" / "placed"
    faults = []
    for path in sorted(folder.iterdir()):
        said = subprocess.run([program, ROOT / ".cache" / "faces", path, "all"], capture_output=True, text=True, check=True)
        faces = json.loads(said.stdout)["faces"]
        if path.name.endswith("_behind"):
            print(f"{path.name:20} {len(faces)} faces")
            if faces:
                faults.append(f"{path.name}: {len(faces)} faces in the back of a head")
            continue
        if len(faces) != 1 or len(faces[0]["read"]) < 16:
            faults.append(f"{path.name}: {len(faces)} faces, read in {[len(f['read']) for f in faces]} frames of 31")
            continue
        read = faces[0]["read"]
        level = np.array([r["level_pct"] for r in read])
        hue = np.array([r["hue_deg"] for r in read])
        kind = path.name.split("_", 1)[1]
        print(
            f"{path.name:20} key {faces[0]['key']:6} read {len(read):2} of 31  level {level.mean():5.1f} sd {level.std(ddof=1):.2f}  "
            f"hue {hue.mean():6.1f} sd {hue.std(ddof=1):.2f}  ends {level[0]:.1f} {level[len(level) // 2]:.1f} {level[-1]:.1f}, {hue[0]:.1f} {hue[len(hue) // 2]:.1f} {hue[-1]:.1f}"
        )
        if hue.std(ddof=1) > BOUND:
            faults.append(f"{path.name}: hue sd {hue.std(ddof=1):.2f}°; expected at most {BOUND}")
        if kind != "turn_side" and level.std(ddof=1) > BOUND:
            faults.append(f"{path.name}: level sd {level.std(ddof=1):.2f} %; expected at most {BOUND}")
    end(faults)


if __name__ == "__main__":
    main()
