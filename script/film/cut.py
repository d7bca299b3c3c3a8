#!/usr/bin/env python3
"""Cuts, setups and scenes of the demo film, against its own truth.

cut.py INKARNAT FILM OUT: FILM is the folder that `film` wrote, OUT what `inkarnat run` made of its camera files and cut list.
- The finished picture, cut anew without any list, has the shots of the list to the frame; bars and leader are left out, the dissolve is
  flagged within a frame of where it lies, and the title, and nothing else, is found in the shot that has it.
- In OUT every shot is in a setup and a scene: whichever two shots share one in the truth share one here, and no others.
"""

import json
import subprocess
import sys
import tempfile
from itertools import combinations
from pathlib import Path

from faults import end


def shown(program, film):
    return json.loads(subprocess.run([program, "show", film, "--json"], capture_output=True, text=True).stdout)


def main():
    program, folder, out = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve(), Path(sys.argv[3])
    truth = json.loads((folder / "truth" / "film.json").read_text())
    faults = []

    def check(what, found, wanted):
        if found != wanted:
            faults.append(f"{what}: {found}, and the truth is {wanted}")

    with tempfile.TemporaryDirectory() as scratch:
        film = Path(scratch) / "picture.inkarnat"
        said = subprocess.run([program, "cut", film, folder / "the_spare_key.mov"], capture_output=True, text=True)
        if said.returncode != 0:
            sys.exit(f"cut: {said.stderr}")
        picture = shown(program, film)
    spans = [(shot["in_frame"], shot["out_frame"]) for shot in picture["shots"]]
    wanted = [(use["film_in"], use["film_in"] + use["record_out"] - use["record_in"]) for use in truth["shots"]]
    check("shots", len(spans), len(wanted))
    exact = sum(found == due for found, due in zip(spans, wanted))
    for found, due, use in zip(spans, wanted, truth["shots"]):
        if found != due:
            faults.append(f"shot {use['shot']}: frames {found}, and the truth is {due}")
    left = [[span["what"], span["in_frame"], span["out_frame"]] for span in picture["left_out"]]
    check("left out", left, [["bars", *truth["bars"]], ["leader", *truth["leader"]]])
    for shot, use in zip(picture["shots"], truth["shots"]):
        seen = {span["what"]: span for span in shot["left_out"]}
        due = {"dissolve"} if use["dissolve"] else set()
        due |= {"title"} if use["title"] else set()
        check(f"shot {use['shot']}: what is over it", set(seen), due)
        if "dissolve" in seen and use["dissolve"]:
            off = (seen["dissolve"]["in_frame"] - use["film_in"], seen["dissolve"]["out_frame"] - use["film_in"] - use["dissolve"])
            print(f"dissolve of shot {use['shot']}: its ends are {off[0]:+} and {off[1]:+} frames off")
            if max(map(abs, off)) > 1:
                faults.append(f"shot {use['shot']}: the dissolve is {off} frames off")
    print(f"finished picture: {exact} of {len(wanted)} shots to the frame; left out {left}")

    def used(use, shot):
        same = Path(shot["source"]).name == Path(use["clip"]).name
        return same * (min(shot["out_frame"], use["source_out"]) - max(shot["in_frame"], use["source_in"]))

    run = shown(program, next(out.glob("*.inkarnat")))["shots"]
    shots = [max(run, key=lambda shot: used(use, shot)) for use in truth["shots"]]
    for what in ("setup", "scene"):
        pairs = list(combinations(range(len(shots)), 2))
        right = sum((shots[a][what] == shots[b][what]) == (truth["shots"][a][what] == truth["shots"][b][what]) for a, b in pairs)
        print(f"{what}s: {right} of {len(pairs)} pairs of shots right")
        check(f"{what}s: pairs", right, len(pairs))
    end(faults)


if __name__ == "__main__":
    main()
