"""Makes a film file of many shots out of one of a single shot, as a film of that length would be: six people, two in each
shot, setups of two shots and a source each, scenes of twenty-five, all of it read, fixed, handed over and proved. For
measuring how fast a long film opens; the pictures are those of the one shot, its source linked beside TARGET.

Usage: long.py FILM TARGET [SHOTS]. FILM holds one shot of one person, handed over and proved."""

import json
import os
import random
import sqlite3
import sys
from pathlib import Path

PEOPLE = ["Ada", "Bela", "Cato", "Dora", "Emil", "Fenna"]


def rows(film, table):
    film.row_factory = sqlite3.Row
    return [dict(row) for row in film.execute(f"SELECT * FROM {table}")]


def put(film, table, row):
    names = ", ".join(row)
    film.execute(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * len(row))})", list(row.values()))


def moved(reading, by, turn):
    reading = json.loads(reading)
    reading["level"] += by
    reading["code10"] += 8.76 * by
    reading["hue"] += turn
    return json.dumps(reading)


def of_two(solution, names):
    """A solved setup with two people for one."""
    solution = json.loads(solution)
    reaches = [solution["solution"].get(reach) for reach in ("picture", "mids", "skin")]
    for fix in [*reaches, solution.get("by_hand")]:
        if fix:
            fix["people"] = [{**fix["people"][0], "name": name} for name in names]
    belief = solution.get("belief")
    if belief:
        belief["people"] = belief["people"] * 2
    solution["light"] = []
    return json.dumps(solution)


def main():
    origin, target, count = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 500
    if target.exists():
        sys.exit(f"long: {target} is there; name a file that is not")
    with sqlite3.connect(origin) as one, sqlite3.connect(target) as film:
        one.backup(film)
    film = sqlite3.connect(target)
    film.execute("PRAGMA foreign_keys = OFF")
    [source], [setup], [shot], [person] = (rows(film, table) for table in ("source", "setup", "shot", "person"))
    of_shot = {table: rows(film, table) for table in ("step", "shot_note", "proof", "read_span")}
    of_person = {table: rows(film, table) for table in ("frame_reading", "shot_reading", "sample")}
    [fix], reaches = rows(film, "fix"), rows(film, "fix_reach")
    clips = [row for row in rows(film, "deliverable") if row["kind"] == "clip"]
    tables = [*of_shot, *of_person, "fix_reach", "fix", "deliverable", "face_reading", "face", "shot", "setup", "scene", "person", "source"]
    for table in tables:
        film.execute(f"DELETE FROM {table}")
    for i, name in enumerate(PEOPLE, 1):
        put(film, "person", {**person, "id": i, "name": name, "named": 1})
    media = target.with_name(f"{target.stem}-media")
    media.mkdir(exist_ok=True)
    chance = random.Random(1)
    for i in range(1, count + 1):
        scene, setup_id = 1 + (i - 1) // 25, 1 + (i - 1) // 2
        pair = (scene % 6, (scene + 1 + setup_id % 2) % 6)
        if (i - 1) % 25 == 0:
            put(film, "scene", {"id": scene, "name": f"scene {scene}"})
        if i % 2 == 1:
            put(film, "setup", {**setup, "id": setup_id, "name": f"setup {setup_id}", "scene_id": scene})
            link = (media / f"clip_{setup_id:03}{Path(source['absolute']).suffix}").absolute()
            if not link.exists():
                os.link(source["absolute"], link)
            put(film, "source", {**source, "id": setup_id, "path": str(link), "absolute": str(link)})
            names = [PEOPLE[p] for p in pair]
            put(film, "fix", {**fix, "setup_id": setup_id, "solution": of_two(fix["solution"], names)})
            for reach in reaches:
                put(film, "fix_reach", {**reach, "setup_id": setup_id})
        put(film, "shot", {**shot, "id": i, "position": i, "name": f"shot {i:03}", "source_id": setup_id, "setup_id": setup_id})
        for table, found in of_shot.items():
            for row in found:
                put(film, table, {**row, "shot_id": i})
        for table, found in of_person.items():
            for p in pair:
                by, turn = chance.gauss(0, 3), chance.gauss(0, 2)
                for row in found:
                    if row["person_id"] == 0 and p != pair[0]:
                        continue
                    row = {**row, "shot_id": i, "person_id": 0 if row["person_id"] == 0 else p + 1}
                    if table == "shot_reading" and row["stage"] == "before":
                        row["reading"] = moved(row["reading"], by, turn)
                    put(film, table, row)
        for row in clips:
            put(film, "deliverable", {**row, "path": f"{row['path']}.{i:03}.mov", "shot_id": i})
    film.commit()
    print(f"long: {target}: {count} shots, {len(PEOPLE)} people")


if __name__ == "__main__":
    main()
