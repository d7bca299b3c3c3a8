#!/usr/bin/env python3
"""Solves the optimisations of crates/fix again with scipy and compares.

The objective, the limits and both families of moves are written down here a second time, from their descriptions.
Checked: (1) our value of the objective is the one computed here; (2) our answer is within the limits; (3) no answer of
scipy within the same limits (SLSQP from many starts, ours among them) is more than 1 % better.
Usage: solver.py [JSON]   JSON = output of `cargo run -p inkarnat-fix --example audit`; made when not given.
Exit code 1 when a bound is missed.
"""
import json
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
from colour.difference import delta_E_CIE2000
from scipy.optimize import brentq, fsolve, minimize

warnings.filterwarnings("ignore")
ROOT = Path(__file__).resolve().parents[2]
LUMA = np.array([0.2126, 0.7152, 0.0722])
CODE = 1 / 876
HALF, EASED = CODE / 2, 8 * CODE
BETTER = 0.01  # share of the cost by which scipy may be better
ABSOLUTE = 0.005  # costs below 0.5 are a skin within a CIEDE2000 of its centre: a hundredth of that is nothing
MARGIN = 0.05  # our optimum keeps this far from every limit, in the limit's own unit


def inverse_oetf(v):
    """BT.709-6 item 1.2, backward."""
    return np.where(v >= 0.081, ((np.maximum(v, 0.081) + 0.099) / 1.099) ** (1 / 0.45), v / 4.5)


def oetf(l):
    return np.where(l >= 0.018, 1.099 * np.maximum(l, 0.018) ** 0.45 - 0.099, 4.5 * l)


def xyz_from_rgb():
    """BT.709 primaries and D65, as BT.709-6 prints them."""
    xy = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in xy]).T
    white = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
    return columns * np.linalg.solve(columns, white), white


MATRIX, WHITE = xyz_from_rgb()


def lab(signal):
    t = (np.maximum(signal, 0) ** 2.4) @ MATRIX.T / WHITE
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def ycc(rgb):
    y = rgb @ LUMA
    return np.stack([y, (rgb[..., 2] - y) / 1.8556, (rgb[..., 0] - y) / 1.5748], -1)


def rgb_of(v):
    y, cb, cr = v
    r, b = y + 1.5748 * cr, y + 1.8556 * cb
    return np.array([r, (y - LUMA[0] * r - LUMA[2] * b) / LUMA[1], b])


def difference_from_neutral(at):
    """CIEDE2000 between a colour and the neutral of the same lightness."""
    l, a, b = at
    mean_c = np.hypot(a, b) / 2
    g = 0.5 * (1 - np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)))
    c = np.hypot((1 + g) * a, b)
    # One of the two has no chroma: hue plays no part, nor does the rotation term.
    return c / (1 + 0.045 * c / 2)


def off_expected(at, wanted):
    """a*, b* off the colour expected of a surface, which goes with lightness as every colour does."""
    return at[1:] - wanted[1:] * (at[0] + 16) / (wanted[0] + 16)


def difference_from_expected(signal, expected):
    """CIEDE2000 between a colour and the chromaticity expected of it at the same luma."""
    linear, level = np.exp([expected[0], 0, expected[1]]), signal @ LUMA
    scale = brentq(lambda s: oetf(linear * 2.0**s) @ LUMA - max(level, 1e-4), -20, 8)
    return float(delta_E_CIE2000(lab(signal), lab(oetf(linear * 2.0**scale))))


def trimmed(values):
    values = np.sort(values, axis=0)
    cut = len(values) // 10
    return values[cut : len(values) - cut].mean(axis=0)


class Shoulder:
    """Rational quadratic from slope 1 at start to slope `end` at `from`, straight beyond."""

    def __init__(self, curves):
        self.curves = curves

    def __call__(self, rgb):
        out = np.array(rgb, dtype=float)
        for c, (start, came, to) in enumerate(self.curves):
            x = out[..., c]
            width, mean = came - start, (to - start) / (came - start)
            end = mean**1.5 if mean <= 1 else to / came
            t = np.clip((x - start) / width, 0, 1)
            both = t * (1 - t)
            curve = start + width * mean * (mean * t * t + both) / (mean + (1 + end - 2 * mean) * both)
            out[..., c] = np.where(x <= start, x, np.where(x < came, curve, to + end * (x - came)))
        return out


def compressed(white, lowest):
    curves = []
    while white > 1 + 1e-9:
        single = (1 - 0.55 * white) / 0.45
        curve = (min(single, 0.9), white, 1.0) if single >= lowest else (lowest, white, lowest + 0.55 * (white - lowest))
        curves.append(curve)
        white = curve[2]
    return curves


def spread(white):
    if white > 1 - 1e-9:
        return []
    start = min(max((2.0 * white - 1) / 1.0, min(0.1, white / 2)), 0.9)
    return [(start, white, min(start + 2.0 * (white - start), 1.0))]


class Move:
    def __init__(self, problem, p):
        middle = 0.2126 * p[1] + 0.0722 * p[2]
        tilt = np.array([p[1], 0, p[2]]) - middle
        self.saturation = np.exp(p[4])
        self.shoulders = []
        if problem["reach"] == "mids":
            self.slope, self.power = np.ones(3), np.exp(p[0] + tilt)
            return
        gain = np.exp(p[0] * np.log(2) + tilt)
        low, high = oetf(inverse_oetf(0.25) / gain), oetf(inverse_oetf(0.8) / gain)
        power = np.log(0.8 / 0.25) / np.log(high / low)
        self.slope = 0.8 ** (1 / power) / high
        self.power = power * np.exp(p[3])
        white = self.slope**self.power
        for curve in compressed(white.min(), 0.5):
            self.shoulders.append(Shoulder([curve] * 3))
        if problem["has_blown"]:
            for shoulder in self.shoulders:
                white = shoulder(white)
            own = [spread(w) if w < 1 else compressed(w, 0.8) for w in white]
            for k in range(max(map(len, own))):
                self.shoulders.append(Shoulder([o[k] if k < len(o) else (0.9, 1.0, 1.0) for o in own]))

    def curves(self, rgb):
        v = np.asarray(rgb) * self.slope
        v = np.where(v < 0, v, np.maximum(v, 0) ** self.power)
        for shoulder in self.shoulders:
            v = shoulder(v)
        return v

    def __call__(self, rgb):
        v = self.curves(rgb)
        y = (v @ LUMA)[..., None]
        return y + self.saturation * (v - y)


def log_spread(rgb):
    l = np.log(np.maximum(inverse_oetf(rgb), 1e-5))
    at = np.stack([l[:, 0] - l[:, 1], l[:, 2] - l[:, 1]], -1)
    return np.sqrt(max((at**2).sum(1).mean() - (at.mean(0) ** 2).sum(), 0))


def past_edge(p):
    """How far pixels are beyond the range or crushed to black; positive = clipped."""
    return np.maximum(np.maximum(p.max(1) - 1, -p.min(1)), 2 * HALF - np.abs(p).max(1)) - HALF


def newly_near(before, after):
    """Share in percent of pixels that come near or beyond the edge, rising over sixteen codes about it."""
    edge = lambda past: np.clip((past + EASED) / (2 * EASED), 0, 1)
    b = past_edge(before)
    return 100 * np.where(b > 0, 0, np.maximum(edge(past_edge(after)) - edge(b), 0)).mean()


def first_not_allowed(before, after, percent):
    """How far the first pixel is past the edge after those `percent` that may newly clip."""
    past = past_edge(after[past_edge(before) <= 0])
    allowed = int(percent / 100 * len(before) + 1e-8)
    return np.sort(past)[::-1][allowed] if len(past) > allowed else -np.inf


class Problem:
    def __init__(self, audit):
        arrays = lambda v: np.array(v, dtype=float)
        self.data = dict(audit)
        for key in ("few", "picture", "dark", "levels", "blown", "edges"):
            self.data[key] = arrays(audit[key]).reshape(-1, 3)
        self.people = [
            {k: (v if k in ("width", "level", "hue") or v is None else arrays(v)) for k, v in p.items()}
            for p in audit["people"]
        ]
        self.mids = audit["reach"] == "mids"
        for p in self.people:
            p["spread"] = log_spread(p["pixels"])
            p["luminance"] = inverse_oetf(rgb_of(p["before"])) @ LUMA
            p["aim"] = fsolve(lambda v, wanted=p["centre"]: lab(rgb_of(v)) - wanted, p["before"], xtol=1e-12)
        self.neutrals = []
        for n in audit["neutrals"]:
            mean, expected, wanted = (arrays(n[k]) for k in ("mean", "expected", "wanted"))
            before = np.linalg.norm(off_expected(lab(mean), wanted))
            self.neutrals.append((mean, n["share"], expected, wanted, before, difference_from_expected(mean, expected)))

    def metric(self, centre, at):
        """ΔL', ΔC', ΔH' of CIEDE2000 with the weights of the centre."""
        chroma = np.hypot(centre[1], centre[2])
        stretch = 1.5 - 0.5 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
        a0, b0, a1, b1 = stretch * centre[1], centre[2], stretch * at[1], at[2]
        c0, c1 = np.hypot(a0, b0), np.hypot(a1, b1)
        h = np.degrees(np.arctan2(b0, a0))
        cos = lambda d: np.cos(np.radians(d))
        t = 1 - 0.17 * cos(h - 30) + 0.24 * cos(2 * h) + 0.32 * cos(3 * h + 6) - 0.2 * cos(4 * h - 63)
        l50 = (centre[0] - 50) ** 2
        chord = np.sqrt(max((a1 - a0) ** 2 + (b1 - b0) ** 2 - (c1 - c0) ** 2, 0)) * np.sign(a0 * b1 - a1 * b0)
        return np.array(
            [
                (at[0] - centre[0]) / (1 + 0.015 * l50 / np.sqrt(20 + l50)),
                (c1 - c0) / (1 + 0.045 * c0),
                chord / (1 + 0.015 * c0 * t),
            ]
        )

    def apart(self, person, value):
        """How far off in level and in hue alone, in CIEDE2000 about the centre; in typed bands by widths of the aim."""
        weights, aim = self.weights(person["centre"]), person["aim"]
        if person["level"]:
            low, high = person["level"]
            level = abs(100 * value[0] - (low + high) / 2) / ((high - low) / 2) * person["width"]
        else:
            grey = lambda v: 116 * max(v[0], 0) ** (2.4 / 3)
            level = weights[0] * abs(grey(value) - grey(aim))
        angle = lambda v: np.degrees(np.arctan2(v[2], v[1]))
        turn = lambda a, b: abs((a - b + 180) % 360 - 180)
        floor = 0.015  # below this chroma there is no hue
        if person["hue"]:
            low, high = person["hue"]
            hue = turn(angle(value), (low + high) / 2) / ((high - low) / 2) * person["width"]
        elif min(np.hypot(*value[1:]), np.hypot(*aim[1:])) < floor:
            hue = 0.0
        else:
            hue = weights[2] * np.hypot(*person["centre"][1:]) * np.radians(turn(angle(value), angle(aim)))
        return np.array([level, hue])

    def losses(self, after, relative):
        """How much further off than in the source skin ends in level and hue, beyond what it may: the mean over people.

        On aim the whole width is free; from 1.5 widths on a quarter of it in level and half of it in hue, with several
        people half and all of it; between, in proportion.
        """
        free = np.clip((1.5 - max(map(max, relative))) / 0.5, 0, 1)
        held = np.array([0.25, 0.5] if len(self.people) == 1 else [0.5, 1.0])
        lost = [
            self.apart(person, value)
            - np.maximum(self.apart(person, person["before"]), person["width"] * (held + (1 - held) * free))
            for person, value in zip(self.people, after)
        ]
        return np.mean(lost, axis=0)

    def weights(self, centre):
        """What ΔL', ΔC' and ΔH' of CIEDE2000 are multiplied by about a centre."""
        chroma = np.hypot(centre[1], centre[2])
        stretch = 1.5 - 0.5 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
        a0, b0 = stretch * centre[1], centre[2]
        c0, h = np.hypot(a0, b0), np.degrees(np.arctan2(b0, a0))
        cos = lambda d: np.cos(np.radians(d))
        t = 1 - 0.17 * cos(h - 30) + 0.24 * cos(2 * h) + 0.32 * cos(3 * h + 6) - 0.2 * cos(4 * h - 63)
        l50 = (centre[0] - 50) ** 2
        return 1 / np.array([1 + 0.015 * l50 / np.sqrt(20 + l50), 1 + 0.045 * c0, 1 + 0.015 * c0 * t])

    def evaluate(self, p):
        """(cost, what every limit is overstepped by, in its own unit)."""
        d, limits, move = self.data, self.data["limits"], Move(self.data, p)
        cost = 0.0
        stops, skin_slopes, upper_slopes, spreads, skin_past = [], [], [], [], []
        values, widths_off = [], []
        slopes = lambda ramp: np.diff(move(ramp) @ LUMA) / np.diff(ramp @ LUMA)
        for person in self.people:
            moved = move(person["pixels"])
            value = trimmed(ycc(moved)) + person["offset"]
            rest = self.metric(person["centre"], lab(rgb_of(value)))
            cost += ((0.8 * np.array([1, 2, 1.3]) * rest) ** 2).sum() / len(self.people)
            relative = []
            if person["level"]:
                low, high = person["level"]
                relative.append(abs(100 * value[0] - (low + high) / 2) / ((high - low) / 2))
                rest[0] = 0
            if person["hue"]:
                low, high = person["hue"]
                hue = np.degrees(np.arctan2(value[2], value[1]))
                relative.append(abs((hue - (low + high) / 2 + 180) % 360 - 180) / ((high - low) / 2))
                rest[2] = 0
            relative.append(np.sqrt((rest**2).sum()) / person["width"])
            values.append(value)
            widths_off.append(relative)
            cost += (np.maximum(6 * (np.array(relative) - 0.8), 0) ** 2).sum() / len(self.people)
            stops.append(np.log2(max(inverse_oetf(rgb_of(value)) @ LUMA, 1e-5) / person["luminance"]))
            skin_slopes.append(slopes(person["ramp"]))
            if len(person["upper"]):
                upper_slopes.append(slopes(person["upper"]))
            spreads.append((log_spread(moved) + 1e-3) / (person["spread"] + 1e-3))
            allowed = limits["skin_new_clipping_pct"]
            skin_past.append(first_not_allowed(person["all"], move(person["all"]), allowed))
        growth = 0.0
        for mean, share, expected, wanted, off_before, before in self.neutrals:
            after = move(mean)
            off = off_expected(lab(after), wanted)
            weight = (0.12 if self.mids else 0.35) * d["neutral_confidence"] * np.sqrt(share)
            cost += weight**2 * (off**2).sum()
            if not self.mids:
                left = np.linalg.norm(off) - max(0.42 * off_before, 1.5)
                cost += (3 * weight * max(left, 0)) ** 2
            growth += share * (difference_from_expected(after, expected) - before)
        growth /= max(sum(n[1] for n in self.neutrals), 1e-12)
        clip = newly_near(d["few"], move(d["few"]))
        past = first_not_allowed(d["picture"], move(d["picture"]), limits["new_clipping_pct"])
        cost += (0.3 * clip) ** 2
        price = [0.1, 0.2, 0.1, 0, 3] if self.mids else [0.05, 0.05, 0.05, 1.5, 3]
        cost += ((np.array(price) * p) ** 2).sum()

        step = 0.002
        gains = (move.curves(d["dark"] + step) - move.curves(d["dark"] - step)) / (2 * step)
        noise = np.sqrt(((LUMA * gains) ** 2).sum(1).mean() / (LUMA**2).sum())
        gap = max(1.0, ((move(d["levels"] + CODE) - move(d["levels"])) @ LUMA).max() / CODE)
        skin_slopes, spreads = np.concatenate(skin_slopes), np.array(spreads)
        excess = {
            "Exposure": (max(abs(s) for s in stops) - limits["exposure_stops"]) / 0.1,
            "SkinContrast": max(
                skin_slopes.max() - limits["skin_slope_max"], limits["skin_slope_min"] - skin_slopes.min()
            )
            / 0.05,
            "UpperContrast": (
                (limits["upper_slope_min"] - np.concatenate(upper_slopes).min()) / 0.05 if upper_slopes else -10
            ),
            "Clipping": max(past / 0.005, -10),
            "SkinClipping": max(max(skin_past) / 0.005, -10),
            "SkinSpread": max(spreads.max() - limits["skin_spread_max"], limits["skin_spread_min"] - spreads.min())
            / 0.03,
            "Noise": (noise - limits["noise_gain"]) / 0.05,
            "CodeGap": (gap - limits["code_gap"]) / 0.05,
            "ClippedAreas": -10,
            "WhiteEnd": limits["white_level_pct"] - 100 * move(np.ones(3)) @ LUMA,
            "Neutrals": (growth - limits["neutral_growth"]) / 0.2 if self.neutrals else -10,
            "Saturation": (abs(np.log(move.saturation)) - np.log(limits["saturation"])) / 0.03,
        }
        level, hue = self.losses(values, widths_off)
        excess["Level"] = (level - limits["level_loss"]) / 0.2
        excess["Hue"] = (hue - limits["hue_loss"]) / 0.2
        if len(d["blown"]) or len(d["edges"]):
            shown = lambda v: np.clip(v, 0, 1)
            gained = lambda v: [
                difference_from_neutral(x) - difference_from_neutral(y) for x, y in zip(lab(shown(move(v))), lab(shown(v)))
            ]
            # A twentieth of the soft edges may be grain or hard-edged trim.
            tint = max([0, *(gained(d["blown"]) if len(d["blown"]) else [])])
            if len(d["edges"]):
                tint = max(tint, np.quantile(gained(d["edges"]), 0.95))
            drop = (shown(d["blown"]) - shown(move(d["blown"]))) @ LUMA if len(d["blown"]) else np.zeros(1)
            level = min(100, 100 - 100 * drop.max())
            cost += (2 * tint) ** 2 + (2 * (100 - level)) ** 2
            excess["ClippedAreas"] = max(
                (tint - limits["clipped_area_chroma"]) / 0.2, limits["clipped_area_level_pct"] - level
            )
        return cost, np.array(list(excess.values()))


def best(problem, ours, limit):
    """The least cost that SLSQP finds with every limit overstepped by at most `limit`, one number a limit."""
    random = np.random.default_rng(7)
    scale = np.array([0.6, 0.4, 0.5, 0.0 if problem.mids else 0.15, 0.15])
    found = np.inf
    for start in (ours, np.zeros(5), scale * random.standard_normal(5)):
        result = minimize(
            lambda p: problem.evaluate(p)[0],
            start,
            method="SLSQP",
            bounds=[(-3, 3)] * 3 + [(0, 0) if problem.mids else (-1, 1), (-1, 1)],
            constraints={"type": "ineq", "fun": lambda p: limit - problem.evaluate(p)[1]},
            options={"maxiter": 100, "ftol": 1e-8},
        )
        cost, excess = problem.evaluate(result.x)
        if np.isfinite(cost) and (excess - limit).max() <= 1e-6 and cost < found:
            found = cost
    return found


def audits():
    if len(sys.argv) > 1:
        return json.loads(Path(sys.argv[1]).read_text())
    command = ["cargo", "run", "--quiet", "-p", "inkarnat-fix", "--example", "audit"]
    return json.loads(subprocess.run(command, cwd=ROOT, check=True, capture_output=True).stdout)


def main():
    failures = []
    for item in audits():
        problem, ours = Problem(item["audit"]), np.array(item["audit"]["parameters"])
        cost, excess = problem.evaluate(ours)
        names, few, thorough = zip(*item["audit"]["excess"])
        # Clipping is on all pixels here; of the rest the optimisation sees some.
        few = [t if "Clipping" in n else f for n, f, t in zip(names, few, thorough)]
        # Limits are held on all pixels. What the optimisation does not see of them belongs to the problem.
        hidden = np.maximum(np.array(thorough) - np.array(few), 0)
        theirs = min(best(problem, ours, -MARGIN - hidden), np.inf)
        nearest = names[int(np.argmax(thorough))]
        line = f"{item['name']}: ours {cost:.4f}, scipy {theirs:.4f}, nearest limit {nearest} {max(thorough):+.2f}"
        faults = []
        if abs(cost - item["audit"]["cost"]) > 1e-6 * (1 + cost):
            faults.append(f"written down twice, the objective differs: {item['audit']['cost']:.8f} and {cost:.8f}")
        if np.abs(excess - np.array(few))[excess > -5].max(initial=0) > 1e-3:
            at = int(np.argmax(np.abs(excess - np.array(few))))
            faults.append(f"written down twice, limit {names[at]} differs: {few[at]:.4f} and {excess[at]:.4f}")
        if max(thorough) > 0:
            faults.append("beyond a limit")
        if cost > theirs * (1 + BETTER) + ABSOLUTE:
            faults.append(f"scipy is {100 * (cost / theirs - 1):.1f} % better")
        print(line + "".join(f"  <-- {f}" for f in faults), flush=True)
        failures += [f"{item['name']}: {f}" for f in faults]
    print(f"{len(failures)} faults")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
