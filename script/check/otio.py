#!/usr/bin/env python3
"""Cut lists and timecode against OpenTimelineIO 0.18.1 and its CMX 3600 adapter 1.0.0.

1. Timecode: our text of a frame, and the way back, against RationalTime at every rate that both know, at the edges of every
   minute of a day in drop-frame and out of it.
2. Lists that OpenTimelineIO builds (gaps, dissolves, speeds, freezes, reverse, several tracks, another source rate) as we read
   them: every clip, range and rate. Several tracks against its own `flatten_stack`.
3. What we write of them: OpenTimelineIO reads it, writes it again, and we read that as the same list; its EDL adapter reads our
   EDL; CDLs come back as they were.
4. EDLs: those that the adapter writes, and ones with speeds written out here, read by both.
5. `inkarnat handover` on a generated film: its lists, read by OpenTimelineIO, against `show --json`, the `.cc` files and the clips.

Where the adapter cannot say something it is left out of the comparison, here and by name: it takes no drop-frame mark in an `M2`
line, no speed of -1 (it compares lengths), and no fade in from black. Usage: otio.py
"""

import json
import math
import os
import random
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree

import opentimelineio as otio
from opentimelineio import opentime, schema
from opentimelineio.opentime import RationalTime, TimeRange

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
FILM, NTSC, DOUBLE = 24000 / 1001, 30000 / 1001, 60000 / 1001
# Rate, drop-frame.
RATES = [(FILM, False), (24, False), (25, False), (NTSC, False), (NTSC, True), (30, False), (50, False), (DOUBLE, False), (DOUBLE, True), (60, False)]
# An EDL's numbers have six decimals.
EDL_CDL = 5e-7
# Decimals of a JSON number are read to the last place or the one beside it.
ULPS = 1e-15
FAILED, COUNT = [], {}


def check(what, found, wanted):
    part = re.sub(r"_\d+\.\d+(df)?", "", what.split(":")[0])
    COUNT[part] = COUNT.get(part, 0) + 1
    if found != wanted:
        FAILED.append(what)
        print(f"FAIL {what}: ours {found}, OpenTimelineIO {wanted}")


def close(what, found, wanted, limit):
    check(what, all(abs(a - b) <= limit for a, b in zip(found, wanted, strict=True)) or (found, wanted), True)


def ask(directory, cases):
    """What our reader understands of the lists and timecodes."""
    example = TARGET / "debug/examples/list_check"
    if not example.is_file():
        sys.exit("otio: the example is not built; run: cargo build -p inkarnat-interchange --example list_check")
    (directory / "cases.json").write_text(json.dumps(cases))
    subprocess.run([example, directory], check=True)
    return json.loads((directory / "answers.json").read_text())


# 1. Timecode


def timecodes():
    cases, rng = [], random.Random(12)
    for rate, drop in RATES:
        nominal = round(rate)
        dropped = nominal // 15 if drop else 0
        day = 86400 * nominal - dropped * (1440 - 144)
        edges = [m * 60 * nominal - dropped * (m - m // 10) + d for m in range(1440) for d in range(-3, 7)]
        frames = [f for f in edges if 0 <= f < day] + [rng.randrange(day) for _ in range(5000)] + [day - 1]
        texts = [f"{m // 60:02}:{m % 60:02}:00;{n:02}" for m in range(1440) if m % 10 for n in range(dropped)]
        cases.append({"rate": rate, "drop": drop, "frames": frames, "texts": texts})
    return cases


def check_timecodes(cases, answers):
    for case, answer in zip(cases, answers, strict=True):
        rate, drop = case["rate"], case["drop"]
        name = f"timecode: {rate:.3f}{' drop-frame' if drop else ''}"
        wrong = []
        for frame, (text, back, back_drop) in zip(case["frames"], answer["texts"], strict=True):
            theirs = opentime.to_timecode(RationalTime(frame, rate), rate, drop)
            theirs_back = opentime.from_timecode(text, rate)
            # Without drop-frame it begins again after 24 hours of real time at these rates, not after 24:00:00:00.
            if not drop and rate in (NTSC, DOUBLE) and frame >= 24 * 107892 * round(rate / NTSC):
                theirs = text
            if text != theirs or back != frame or back_drop != drop or theirs_back != RationalTime(frame, rate):
                wrong.append((frame, text, theirs, back, theirs_back.value))
        check(name, wrong[:3], [])
        check(f"{name}: numbers that drop-frame leaves out are refused", sum(answer["refused"]), len(case["texts"]))
        print(f"{name}: {len(case['frames'])} frames, {len(case['texts'])} refused")


# 2. Lists that OpenTimelineIO builds


def span(start, frames, rate):
    return TimeRange(RationalTime(start, rate), RationalTime(frames, rate))


def clip(name, start, frames, rate, available=None, effect=None, reel=None, cdl=None, scene=None, source_range=True):
    media = schema.ExternalReference(target_url=f"clips/{name}.mov", available_range=available)
    made = schema.Clip(name=name, media_reference=media, source_range=span(start, frames, rate) if source_range else None)
    if effect is not None:
        made.effects.append(schema.FreezeFrame() if effect == 0 else schema.LinearTimeWarp(time_scalar=effect))
    if reel:
        made.metadata["cmx_3600"] = {"reel": reel}
    if cdl:
        made.metadata["cdl"] = cdl
    if scene:
        made.metadata["scene"] = scene
    return made


def gap(frames, rate):
    return schema.Gap(source_range=span(0, frames, rate))


def dissolve(before, after, rate, kind="SMPTE_Dissolve"):
    return schema.Transition(transition_type=kind, in_offset=RationalTime(before, rate), out_offset=RationalTime(after, rate))


def timeline(name, rate, *tracks):
    made = schema.Timeline(name=name, global_start_time=RationalTime(3600 * round(rate), rate))
    for number, items in enumerate(tracks):
        track = schema.Track(name=f"V{number + 1}", kind=schema.TrackKind.Video)
        track.extend(items)
        made.tracks.append(track)
    return made


def random_cdl(rng):
    three = lambda low, high: [rng.uniform(low, high) for _ in range(3)]
    return {"asc_sop": {"slope": three(0.5, 1.8), "offset": three(-0.1, 0.1), "power": three(0.6, 1.6)}, "asc_sat": rng.uniform(0.2, 1.6)}


def hours(count, rate):
    return count * 3600 * round(rate)


def built(rate, rng, speeds=True, other_rate=True, fade_in=True):
    """One timeline with everything in it."""
    r = rate
    items = [dissolve(0, 12, r)] if fade_in else []
    items += [
        clip("A001", hours(10, r) + 37, 50, r, available=span(hours(10, r), 400, r), reel="A001", cdl=random_cdl(rng), scene="12"),
        clip("B001", hours(11, r) + 1, 33, r, reel="B001", cdl=random_cdl(rng)),
        gap(17, r),
        clip("A002", hours(12, r) + 100, 60, r, reel="A002"),
        dissolve(5, 7, r),
        clip("B002", hours(13, r) + 60, 48, r, reel="B002", cdl=random_cdl(rng)),
        dissolve(0, 10, r, "Custom_Transition" if speeds else "SMPTE_Dissolve"),
        clip("whole", 0, 0, r, available=span(hours(14, r), 41, r), reel="C001", source_range=False)
        if speeds else clip("whole", hours(14, r), 41, r, reel="C001"),
    ]
    if speeds:
        for number, speed in enumerate((2, 0.5, -1, -0.75, 0, 1.5, 1.04)):
            items.append(clip(f"speed{number}", hours(15, r) + 200 * number, 30 + number, r, effect=speed, reel=f"S{number:03}"))
    if other_rate:
        other = 25 if round(rate) != 25 else 24
        items.append(clip("other", hours(9, other) + 3, other, other, reel="O001"))
    items.append(clip("last", hours(16, r), 25, r, reel="L001"))
    # A fade out: the adapter cannot write one that begins before the cut.
    items += [dissolve(6 if speeds else 0, 8, r), gap(8, r)]
    return timeline(f"list {r:.3f}", r, items)


def two_tracks(rate):
    low = [clip(f"low{n}", 1000 * n, 40, rate) for n in range(6)]
    high = [gap(30, rate), clip("high0", 9000, 30, rate), gap(75, rate), clip("high1", 9500, 10, rate), gap(50, rate), clip("high2", 9700, 80, rate)]
    return timeline(f"tracks {rate:.3f}", rate, low, high)


def rate_of(value):
    return value["num"] / value["den"]


def speed_of(made):
    speed = 1.0
    for effect in made.effects:
        if isinstance(effect, schema.LinearTimeWarp):
            speed *= effect.time_scalar
    return speed


def clips_of(track):
    """Clips with the transitions at their ends and their record range, counted from the first record frame."""
    found = []
    children = list(track)
    for at, child in enumerate(children):
        if not isinstance(child, schema.Clip) or isinstance(child.media_reference, schema.GeneratorReference):
            continue
        before = children[at - 1] if at and isinstance(children[at - 1], schema.Transition) else None
        after = children[at + 1] if at + 1 < len(children) and isinstance(children[at + 1], schema.Transition) else None
        found.append((child, track.range_of_child_at_index(at), before, after))
    return found


def frames(time, rate):
    return round(time.value_rescaled_to(rate))


def offsets(transition, rate):
    return None if transition is None else (frames(transition.in_offset, rate), frames(transition.out_offset, rate))


def compare(name, ours, track, rate, cdl_limit=ULPS, skip_speed=()):
    """A list as we understand it against the clips that OpenTimelineIO has in a track."""
    check(f"{name}: rate", round(rate_of(ours["rate"]), 6), round(rate, 6))
    check(f"{name}: nothing refused", ours["refused"], [])
    theirs = clips_of(track)
    check(f"{name}: clips", [e["name"] for e in ours["events"]], [c.name for c, *_ in theirs])
    # An adapter's track begins at its first event.
    first = frames(theirs[0][1].start_time, rate) - ours["events"][0]["record_in"]
    for event, (made, record, before, after) in zip(ours["events"], theirs, strict=False):
        at = f"{name}: {made.name}"
        source = made.trimmed_range()
        speed = speed_of(made)
        check(f"{at}: record in", event["record_in"] + first, frames(record.start_time, rate))
        check(f"{at}: record out", event["record_out"] + first, frames(record.end_time_exclusive(), rate))
        check(f"{at}: source rate", round(rate_of(event["source"]["rate"]), 6), round(source.start_time.rate, 6))
        check(f"{at}: source in", event["source"]["start"], round(source.start_time.value))
        check(f"{at}: reel", event["reel"], made.metadata.get("cmx_3600", {}).get("reel"))
        if made.name not in skip_speed:
            check(f"{at}: speed", round(event["speed"], 4), round(speed, 4))
            length = 1 if speed == 0 else max(1, math.ceil(source.duration.value * abs(speed) - 1e-3))
            check(f"{at}: source frames", event["source"]["end"] - event["source"]["start"], length)
        for side, transition in (("head", before), ("tail", after)):
            mine = event[side] and (event[side]["before"], event[side]["after"])
            check(f"{at}: {side}", mine, offsets(transition, rate))
        cdl = made.metadata.get("cdl")
        check(f"{at}: has a CDL", event["cdl"] is not None, cdl is not None)
        if cdl:
            close(f"{at}: CDL", numbers_of(event["cdl"]), numbers_of({**cdl["asc_sop"], "saturation": cdl["asc_sat"]}), cdl_limit)


def numbers_of(cdl):
    return [*cdl["slope"], *cdl["offset"], *cdl["power"], cdl["saturation"]]


def video(made):
    (track,) = (t for t in made.tracks if t.kind == schema.TrackKind.Video)
    return track


def rounded(value):
    if isinstance(value, float):
        return round(value, 12)
    if isinstance(value, dict):
        return {k: rounded(v) for k, v in value.items()}
    return [rounded(v) for v in value] if isinstance(value, list) else value


def essence(ours):
    """A list without what only says where it stood."""
    events = [{k: v for k, v in e.items() if k not in ("place", "number", "track")} for e in ours["events"]]
    return rounded({"events": events, "rate": ours["rate"], "start": ours["start"], "title": ours["title"]})


# 4. EDLs with speeds, written out: what the adapter writes for a speed has other source frames (length divided by speed).


def edl_with_speeds(rate, drop):
    def text(frame):
        return opentime.to_timecode(RationalTime(frame, rate), rate, drop)

    record = hours(1, rate) - (108 * (round(rate) // 30) if drop else 0)
    lines = [f"TITLE: SPEEDS {rate:.3f}", f"FCM: {'DROP FRAME' if drop else 'NON-DROP FRAME'}", ""]
    pieces = [("P0", 1, 40), ("P1", 2, 25), ("P2", 0.5, 50), ("P3", -1, 30), ("P4", -2, 21), ("P5", 0, 35), ("P6", 1.25, 40), ("P7", 1, 48)]
    for number, (reel, speed, length) in enumerate(pieces, 1):
        start = hours(10, rate) + 1000 * number
        used = 1 if speed == 0 else math.ceil(length * abs(speed))
        if reel == "P7":
            lines.append(f"{number:03}  P6       V     C        {text(start)} {text(start)} {text(record)} {text(record)}")
            lines.append(f"{number:03}  {reel:<8} V     D    012 {text(start)} {text(start + used)} {text(record)} {text(record + length)}")
            lines += ["* FROM CLIP NAME: P6.mov", "* TO CLIP NAME: P7.mov"]
        else:
            lines.append(f"{number:03}  {reel:<8} V     C        {text(start)} {text(start + used)} {text(record)} {text(record + length)}")
            if speed != 1:
                lines.append(f"M2   {reel:<8} {speed * rate:07.3f}                {text(start)}")
            lines.append(f"* FROM CLIP NAME: {reel}.mov")
        record += length + (9 if number == 3 else 0)
    return "\n".join(lines) + "\n"


def adapter_reads(text, rate):
    # The adapter takes no drop-frame mark in an M2 line, whose time it does not use.
    text = re.sub(r"^M2.*$", lambda m: m.group(0).replace(";", ":"), text, flags=re.M)
    return otio.adapters.read_from_string(text, "cmx_3600", rate=rate)


def main():
    rng = random.Random(7)
    codes = timecodes()
    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        lists, made = [], {}

        def add(file, rate, timeline=None, text=None):
            if text is None:
                otio.adapters.write_to_file(timeline, str(directory / file))
            else:
                (directory / file).write_text(text)
            lists.append({"file": file, "rate": rate})
            made[file] = timeline

        for rate, drop in RATES:
            label = f"{rate:.3f}{'df' if drop else ''}"
            if not drop:
                add(f"all_{label}.otio", rate, built(rate, rng))
                add(f"tracks_{label}.otio", rate, two_tracks(rate))
                plain = built(rate, rng, speeds=False, other_rate=False, fade_in=False)
                add(f"adapter_{label}.edl", rate, plain, otio.adapters.write_to_string(plain, "cmx_3600", rate=rate))
            text = edl_with_speeds(rate, drop)
            add(f"speeds_{label}.edl", rate, adapter_reads(text, rate), text)
        answers = ask(directory, {"lists": lists, "timecodes": codes})
        check_timecodes(codes, answers["timecodes"])

        ours = {}
        again = []
        for case, answer in zip(lists, answers["lists"], strict=True):
            file, rate = case["file"], case["rate"]
            if "error" in answer:
                check(f"{file}: is read", answer["error"], None)
                continue
            ours[file] = answer["list"]
            if file.startswith("tracks"):
                flat = otio.algorithms.flatten_stack(made[file].tracks)
                compare(file, answer["list"], flat, rate)
                continue
            # The adapter writes its EDL from a copy whose dissolves have moved to their first frames: it reads its own text.
            theirs = made[file] if not file.startswith("adapter") else adapter_reads((directory / file).read_text(), rate)
            compare(file, answer["list"], video(theirs), rate, skip_speed=("P3.mov",))
            # 3. What we write of it.
            written = otio.adapters.read_from_file(str(directory / f"{file}.again.otio"))
            compare(f"{file}.again.otio", answer["list"], video(written), rate)
            rewritten = directory / f"rewritten_{file}.otio"
            otio.adapters.write_to_file(written, str(rewritten))
            check(f"{file}: a round trip through OpenTimelineIO", otio.adapters.read_from_file(str(rewritten)).is_equivalent_to(written), True)
            again.append((file, {"file": rewritten.name, "rate": rate}))
            if not file.startswith("all"):
                back = adapter_reads((directory / f"{file}.again.edl").read_text(), rate)
                compare(f"{file}.again.edl", answer["list"], video(back), rate, cdl_limit=EDL_CDL, skip_speed=("P3.mov",))
        for (file, _), answer in zip(again, ask(directory, {"lists": [case for _, case in again]})["lists"], strict=True):
            check(f"{file}: the list after OpenTimelineIO has written it again", essence(answer["list"]), essence(ours[file]))
        film(directory)
    for what, count in sorted(COUNT.items()):
        print(f"{what}: {count} comparisons")
    if len(COUNT) < 9 or sum(COUNT.values()) < 1000:
        sys.exit("otio: next to nothing was compared")
    if FAILED:
        sys.exit(f"otio: {len(FAILED)} comparisons failed")
    print(f"otio: {sum(COUNT.values())} comparisons agree")


# 5. What is handed over


FACE = "lt(hypot((X/W-0.40-0.0018*T*24)/0.12,(Y/H-0.5)/0.3),1)"


def shoot(path, gains, count, start):
    """A textured ellipse of skin that moves over a grey ramp."""
    skin = "(1+0.05*sin((X/W-0.40-0.0018*T*24)*190)*sin((Y/H-0.5)*120))"
    planes = [f"255*{gain}*if({FACE},{tone}*{skin},0.25+0.5*Y/H+0.02*sin(X*0.7)*sin(Y*0.9))" for tone, gain in zip((0.66, 0.49, 0.40), gains, strict=True)]
    picture = "color=black:s=192x108:r=24,format=gbrp,geq=" + ":".join(f"{c}='{p}'" for c, p in zip("rgb", planes, strict=True))
    picture += ",scale=out_color_matrix=bt709:out_range=tv,format=yuv420p"
    tags = ["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv"]
    coding = ["-c:v", "libx264", "-crf", "8", "-preset", "veryfast", "-frames:v", str(count), "-timecode", start]
    subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i", picture, *coding, *tags, path], check=True)


def film(directory):
    program = Path(os.environ.get("INKARNAT") or TARGET / "debug/inkarnat")
    if not program.is_file():
        sys.exit("otio: the program is not built; run: cargo build --bins")
    at = directory / "film"
    at.mkdir()
    starts = {"A001_one.mov": "10:00:00:00", "B001_two.mov": "11:00:00:12"}
    for (file, start), gains in zip(starts.items(), ((1.06, 1.0, 0.88), (0.94, 1.0, 1.1)), strict=True):
        shoot(at / file, gains, 60, start)
    edl = (
        "TITLE: DAY\nFCM: NON-DROP FRAME\n\n"
        "001  A001     V     C        10:00:00:04 10:00:01:04 01:00:00:00 01:00:01:00\n* FROM CLIP NAME: A001_one.mov\n"
        "002  B001     V     C        11:00:00:16 11:00:01:12 01:00:01:00 01:00:01:20\n* FROM CLIP NAME: B001_two.mov\n"
        "003  A001     V     C        10:00:01:04 10:00:02:04 01:00:02:00 01:00:02:12\nM2   A001       048.0                10:00:01:04\n"
        "* FROM CLIP NAME: A001_one.mov\n"
    )
    (at / "day.edl").write_text(edl)
    patch = "ellipse=0.40,0.5,0.06,0.12:person=Ana"
    order = ["run", *starts, "--cut", "day.edl", "--to", "out", "--film", "day.inkarnat", "--no-faces"]
    for file, frame in (("A001_one.mov", 6), ("A001_one.mov", 30), ("B001_two.mov", 6)):
        order += ["--patch", f"{file}@{frame}:{patch}"]
    ran = subprocess.run([program, *order], cwd=at, capture_output=True, text=True)
    if ran.returncode not in (0, 2):
        sys.exit(f"otio: the film was not made: {ran.stderr}")
    shown = json.loads(subprocess.run([program, "show", "day.inkarnat", "--json"], cwd=at, capture_output=True, text=True).stdout)
    lists = at / "out/lists"
    by_edl = otio.adapters.read_from_file(str(lists / "day.edl"), rate=24)
    by_otio = otio.adapters.read_from_file(str(lists / "day.otio"))
    rewritten = otio.adapters.read_from_string(otio.adapters.write_to_string(by_otio, "otio_json"), "otio_json")
    check("handed over: OpenTimelineIO writes it again", rewritten.is_equivalent_to(by_otio), True)
    name_space = "{urn:ASC:CDL:v1.01}"
    for kind, made, limit in (("EDL", by_edl, EDL_CDL), ("OTIO", by_otio, ULPS)):
        clips = clips_of(video(made))
        check(f"handed over: {kind}: shots", len(clips), len(shown["shots"]))
        for shot, (clip, record, *_) in zip(shown["shots"], clips, strict=False):
            say = f"handed over: {kind}: {shot['shot']}"
            start = opentime.from_timecode(starts[Path(shot["source"]).name], 24).value
            check(f"{say}: source in", start + shot["in_frame"], clip.trimmed_range().start_time.value)
            check(f"{say}: timecode", shot["timecode_in"], opentime.to_timecode(clip.trimmed_range().start_time, 24))
            check(f"{say}: reel", Path(shot["source"]).name[:4], clip.metadata["cmx_3600"]["reel"])
            check(f"{say}: clip name", Path(shot["source"]).name, clip.name)
            check(f"{say}: speed", {0: 1.0, 1: 1.0, 2: 2.0}[shown["shots"].index(shot)], speed_of(clip))
            check(f"{say}: record frames", round((shot["out_frame"] - shot["in_frame"]) / speed_of(clip)), frames(record.duration, 24))
            cdl = clip.metadata.get("cdl")
            check(f"{say}: has a CDL", shot["fix"]["cdl"] is not None, cdl is not None)
            if cdl:
                numbers = numbers_of({**cdl["asc_sop"], "saturation": cdl["asc_sat"]})
                close(f"{say}: CDL as shown", numbers_of(shot["fix"]["cdl"]), numbers, limit)
                tree = ElementTree.parse(at / f"out/cdl/{shot['setup']}.cc")
                fields = [tree.find(f".//{name_space}{n}").text.split() for n in ("Slope", "Offset", "Power", "Saturation")]
                close(f"{say}: CDL as in the .cc file", [float(v) for field in fields for v in field], numbers, limit)
            if kind == "OTIO":
                media = clip.media_reference
                check(f"{say}: media", (lists / unquote(media.target_url)).resolve(), (at / shot["source"]).resolve())
                check(f"{say}: handles", (start, 60), (media.available_range.start_time.value, media.available_range.duration.value))
    for ending in ("edl", "otio"):
        made = otio.adapters.read_from_file(str(lists / f"day_delivered.{ending}"), **({"rate": 24} if ending == "edl" else {}))
        clips = clips_of(video(made))
        check(f"handed over: delivered {ending}: shots", len(clips), len(shown["shots"]))
        for shot, (clip, *_) in zip(shown["shots"], clips, strict=False):
            say = f"handed over: delivered {ending}: {shot['shot']}"
            path = at / f"out/clips/{shot['shot']}.mov"
            probe = ["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "format_tags=timecode:stream=nb_frames:stream_tags=timecode", "-of", "json", path]
            found = json.loads(subprocess.run(probe, check=True, capture_output=True).stdout)
            code = found["streams"][0].get("tags", {}).get("timecode") or found["format"]["tags"]["timecode"]
            first = opentime.from_timecode(code, 24)
            check(f"{say}: carries no CDL, it is in the picture", "cdl" in clip.metadata, False)
            check(f"{say}: begins in the clip", first <= clip.trimmed_range().start_time, True)
            check(f"{say}: clip name", path.name, clip.name)
            if ending == "otio":
                media = clip.media_reference
                check(f"{say}: there", (lists / unquote(media.target_url)).resolve(), path.resolve())
                check(f"{say}: its first frame", first, media.available_range.start_time)
                check(f"{say}: its length", int(found["streams"][0]["nb_frames"]), int(media.available_range.duration.value))
    print(f"handed over: {len(shown['shots'])} shots in four lists")


if __name__ == "__main__":
    main()
