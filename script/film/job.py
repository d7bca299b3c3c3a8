#!/usr/bin/env python3
"""The whole job on the demo film, and what came of it, held against the film's truth.

job.py PROGRAM FILM OUT: runs `PROGRAM run` on the camera files and the cut list of FILM (made by the program `film`)
into OUT, with no help, then prints a table before/after per shot of the cut and person and who was taken for whom, and makes pictures:
one a shot and a sheet of all of them, left as it was shot, right as delivered.
"""

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import numpy as np

D65 = np.array([0.95047, 1.0, 1.08883])


def xyz_of(lab):
    f = (lab[0] + 16) / 116
    t = np.array([f + lab[1] / 500, f, f - lab[2] / 200])
    return D65 * np.where(t > 6 / 29, t**3, 3 * (6 / 29) ** 2 * (t - 4 / 29))


def lab_of(xyz):
    t = np.asarray(xyz) / D65
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def ciede2000(one, two):
    """Sharma, Wu and Dalal 2005 (the published data of that paper test it in script/check/film.py)."""
    (l1, a1, b1), (l2, a2, b2) = one, two
    mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean**7 / (mean**7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    dh = 0.0 if c1 * c2 == 0 else (h2 - h1 + 180) % 360 - 180
    big = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2)
    l, c = (l1 + l2) / 2, (c1 + c2) / 2
    h = h1 + h2 if c1 * c2 == 0 else (h1 + dh / 2) % 360
    t = 1 - 0.17 * np.cos(np.radians(h - 30)) + 0.24 * np.cos(np.radians(2 * h))
    t += 0.32 * np.cos(np.radians(3 * h + 6)) - 0.20 * np.cos(np.radians(4 * h - 63))
    sl = 1 + 0.015 * (l - 50) ** 2 / np.sqrt(20 + (l - 50) ** 2)
    sc, sh = 1 + 0.045 * c, 1 + 0.015 * c * t
    rt = -2 * np.sqrt(c**7 / (c**7 + 25.0**7)) * np.sin(np.radians(60 * np.exp(-(((h - 275) / 25) ** 2))))
    x, y, z = (l2 - l1) / sl, (c2 - c1) / sc, big / sh
    return float(np.sqrt(x * x + y * y + z * z + rt * y * z))


def colour_gap(found, wanted):
    """CIEDE2000 to the truth at the level found: the truth's light is scaled until its lightness is that of the reading."""
    goal = xyz_of(found)[1]
    xyz = xyz_of(wanted)
    return ciede2000(found, lab_of(xyz * goal / xyz[1]))


def takes(film):
    """Every camera file, in film order."""
    return list(dict.fromkeys(use["clip"] for use in film["shots"]))


def shots_of(film, report):
    """The tool's shot of every use in the film: of its clip, the one that shares most frames with it."""
    def shared(use, shot):
        if Path(shot["source"]).name != Path(use["clip"]).name:
            return 0
        return min(shot["out_frame"], use["source_out"]) - max(shot["in_frame"], use["source_in"])
    return [max(report["shots"], key=lambda shot: shared(use, shot)) for use in film["shots"]]


def who_is_who(use, shot):
    """{true name: what was read of that person} in one shot.

    Where several are in the picture, each of the film's people is the found one whose reading is nearest.
    """
    people = [p for p in shot["people"] if p["before"]]
    pairs = sorted((ciede2000(p["before"]["lab"], t["as_shot"]["lab"]), n, k) for n, p in enumerate(people)
                   for k, t in enumerate(use["people"]) if t["as_shot"]["level_pct"] is not None)
    found, taken = {}, set()
    for _, n, k in pairs:
        name = use["people"][k]["person"]
        if n not in taken and name not in found:
            found[name] = people[n]
            taken.add(n)
    return found


def identities(film, report, found):
    """Whether everybody in the film is one person to the tool, and nobody two."""
    names, clips = {}, {}
    for one in found:
        for name, person in one.items():
            names.setdefault(name, set()).add(person["person"])
            clips.setdefault(person["person"], set()).add(name)
    everybody = {t["person"] for use in film["shots"] for t in use["people"]}
    print(f"\npeople: {len(everybody)} in the film, {len(names)} of them read; found as")
    for person, true in sorted(clips.items()):
        print(f"  {person:<10} {' and '.join(sorted(true))}{'   WRONG: two people taken for one' if len(true) > 1 else ''}")
    for name, several in sorted(names.items()):
        if len(several) > 1:
            print(f"  {name} was taken for {len(several)} people: {', '.join(sorted(several))}")
    print(f"questions asked: {len(report['questions'])}")
    for question in report["questions"]:
        print(f"  {question['text']}")


def column(reading):
    hue = "   –  " if reading["hue_deg"] is None else f"{reading['hue_deg']:5.1f}°"
    return f"{reading['level_pct']:5.1f} % {hue}"


def table(film, report):
    print(f"\n{'shot':>4}  {'camera file':<20} {'person':<7} {'state':<8} {'before':<15} {'after':<15} {'under reference light':<22} colour off, before → after")
    gaps, found = [], []
    for use, shot in zip(film["shots"], shots_of(film, report)):
        people = who_is_who(use, shot)
        found.append(people)
        if not use["people"]:
            print(f"{use['shot']:>4}  {use['setup']:<20} {'–':<7} {shot['state']:<8} nobody in it")
        for truth in use["people"]:
            person = people.get(truth["person"])
            wanted = truth["wanted"]
            line = f"{use['shot']:>4}  {use['setup']:<20} {truth['person']:<7} "
            if person is None:
                print(line + "not read")
                continue
            before, after = person["before"], person["proof"] or person["after"] or person["before"]
            pair = [colour_gap(r["lab"], wanted["lab"]) for r in (before, after)]
            gaps.append(pair)
            print(line + f"{person['state']:<8} {column(before):<15} {column(after):<15} {column(wanted):<22} {pair[0]:4.1f} → {pair[1]:4.1f}")
    if gaps:
        before, after = np.median(np.array(gaps), axis=0)
        print(f"\nmedian colour error of skin (CIEDE2000 at the level found): {before:.1f} as shot, {after:.1f} delivered")
    print("Levels are not errors here: without being asked, a person's level is the central one of their own in a scene. The film's truth is read on one cheek,")
    print("the tool reads forehead, cheek and nose.")
    identities(film, report, found)


def pictures(film, report, folder, out):
    """A picture of the middle of every shot, before beside after, and a sheet of one shot of every take."""
    target = out / "pictures"
    target.mkdir(exist_ok=True)
    sheet, seen = [], set()
    for use, shot in zip(film["shots"], shots_of(film, report)):
        if not shot["proof"]:
            continue
        frame = (max(use["source_in"], shot["in_frame"]) + min(use["source_out"], shot["out_frame"])) // 2
        path = target / f"{use['shot']:02}_{use['setup']}.jpg"
        both = f"[0]select=eq(n\\,{frame})[a];[1]select=eq(n\\,{frame - shot['in_frame']})[b];[a][b]hstack,scale=1280:-2:flags=area,format=yuvj420p"
        command = ["ffmpeg", "-v", "error", "-nostdin", "-y", "-i", folder / use["clip"], "-i", out / "clips" / Path(shot["proof"]["file"]).name]
        subprocess.run([*command, "-filter_complex", both, "-frames:v", "1", "-q:v", "3", path], check=True)
        if use["setup"] not in seen and use["people"]:
            sheet.append(path)
        seen.add(use["setup"])
    if sheet:
        inputs = [word for path in sheet for word in ("-i", path)]
        columns, (w, h) = 2, (640, 180)
        layout = "|".join(f"{n % columns * w}_{n // columns * h}" for n in range(len(sheet)))
        scaled = "".join(f"[{n}]scale={w}:{h}:flags=area[s{n}];" for n in range(len(sheet)))
        names = "".join(f"[s{n}]" for n in range(len(sheet)))
        graph = scaled + f"{names}xstack=inputs={len(sheet)}:layout={layout}:fill=gray,format=yuvj420p" if len(sheet) > 1 else scaled.rstrip(";")[:-4]
        command = ["ffmpeg", "-v", "error", "-nostdin", "-y", *inputs, "-filter_complex", graph, "-frames:v", "1", "-q:v", "3"]
        subprocess.run([*command, target / "sheet.jpg"], check=True)


def main():
    program, folder, out = (Path(word).resolve() for word in sys.argv[1:4])
    film = json.loads((folder / "truth" / "film.json").read_text())
    # A film of a few takes alone has no cut list: each of its camera files is one shot then.
    lists = [["--cut", path.name] for path in folder.glob("*.otio")]
    command = ["run", *takes(film), *(lists[0] if lists else []), "--to", str(out), "--film", str(out / "the_spare_key.inkarnat")]
    print(f"\n$ inkarnat {shlex.join(command).replace(str(out), out.name)}", flush=True)
    models = {"INKARNAT_FACES": str(Path(__file__).resolve().parents[2] / ".cache" / "faces")}
    status = subprocess.run([program, *command], cwd=folder, env={**models, **os.environ}).returncode
    if status not in (0, 2):
        sys.exit(f"demo: the run ended with exit code {status}; see above")
    (state,) = out.glob("*.inkarnat")
    shown = subprocess.run([program, "show", state, "--json"], capture_output=True, text=True)
    report = json.loads(shown.stdout)
    table(film, report)
    pictures(film, report, folder, out)
    print(f"\nexit code of the run: {status} (0: all on aim or kept; 2: some shot is not, and is named above)")
    sys.exit(status)


if __name__ == "__main__":
    main()
