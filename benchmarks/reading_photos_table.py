"""Tables of `reading_photos.py`: what came of the sets, and how well the single photos were read."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np

from reading import KEYS, NEAR, OFF_MM, share
from simulated_sets import DESIGNS

Rows = list[dict[str, Any]]


def table(rows: Rows) -> None:
    """Print what came out beside what was aimed at, for all cases and for each design."""
    rows = [r for r in rows if "photos" in r]
    groups = {"all": rows} | {n: [r for r in rows if r["design"] == n] for n in DESIGNS}
    groups = {k: v for k, v in groups.items() if v}
    lines: list[tuple[str, str, Callable[[Rows], str]]] = []

    def trials(g: Rows, part: Callable[[dict[str, Any]], bool] = lambda t: True) -> Rows:
        return [r["trial"] for r in g if "trial" in r and part(r["trial"])]

    def two_alone(g: Rows) -> Rows:
        return [r.get("two_photos") or r["trial"] for r in g if "trial" in r]

    def advised(g: Rows) -> Rows:
        return trials(g, lambda t: not t["stop"])

    lines += [
        ("sets", "", lambda g: str(len(g))),
        ("photos taken", "", lambda g: str(sum(len(_photos([r])) for r in g))),
        ("  refused", "", lambda g: share("refused" in p for p in _photos(g))),
        (
            "sets with a photo taken again",
            "",
            lambda g: str(sum(any(len(tries) > 1 for tries in r["photos"].values()) for r in g)),
        ),
        (
            "  as the first advice asked for one more of the drive flank",
            "",
            lambda g: str(sum(bool(r.get("one_more_asked")) for r in g)),
        ),
        ("  drive refused three times: no change advised", "", lambda g: _given_up(g, "drive")),
        ("  coast refused three times", "", lambda g: _given_up(g, "coast")),
        (
            "profile within ±0.1 before, drive",
            "",
            lambda g: share(abs(t["before"]) <= NEAR for t in trials(g)),
        ),
        (
            "profile within ±0.1 after the first advice, drive",
            "≥ 90 %",
            lambda g: share(abs(t["after"]) <= NEAR for t in advised(g)),
        ),
        (
            "  the same with two photos alone, none taken once more",
            "",
            lambda g: share(abs(t["after"]) <= NEAR for t in two_alone(g) if not t["stop"]),
        ),
        (
            "  of sets that were asked for one more: two photos alone",
            "",
            lambda g: share(abs(r["two_photos"]["after"]) <= NEAR for r in g if r.get("two_photos")),
        ),
        (
            "  of sets that were asked for one more: with it",
            "",
            lambda g: share(
                abs(r["trial"]["after"]) <= NEAR for r in g if r.get("two_photos") and "trial" in r
            ),
        ),
        (
            "  sets without such an advice counted as they lie",
            "",
            lambda g: share(abs(t["before" if t["stop"] else "after"]) <= NEAR for t in trials(g)),
        ),
        (
            "  of sets of which both first photos were read",
            "",
            lambda g: share(
                abs(r["trial"]["after"]) <= NEAR
                for r in g
                if "trial" in r and not r["trial"]["stop"] and not _taken_again(r)
            ),
        ),
        (
            "  of sets of which one was taken again",
            "",
            lambda g: share(
                abs(r["trial"]["after"]) <= NEAR
                for r in g
                if "trial" in r and not r["trial"]["stop"] and _taken_again(r)
            ),
        ),
        (
            "  of those that were not before",
            "",
            lambda g: share(abs(t["after"]) <= NEAR for t in advised(g) if abs(t["before"]) > NEAR),
        ),
        (
            "coast within ±0.25 after",
            "",
            lambda g: share(abs(t["coast_after"]) <= 0.25 for t in advised(g)),
        ),
        (
            "direction right when off by 0.002 in or more",
            "≥ 99 %",
            lambda g: share(
                t["cured_mm"] * t["needed_mm"] > 0 for t in advised(g) if abs(t["needed_mm"]) >= OFF_MM
            ),
        ),
        (
            "cure: median error of the pinion move [mm]",
            "",
            lambda g: f"{np.median([abs(t['cured_mm'] - t['needed_mm']) for t in advised(g)]):.4f}",
        ),
    ]
    for k, key in enumerate(KEYS):
        lines.append(
            (
                f"90 % interval of {key} covers",
                "85-95 %",
                lambda g, k=k: share(t["inside"][k] for t in trials(g)),  # type: ignore[misc]
            )
        )
    for k, key in enumerate(KEYS[:2]):
        lines.append(
            (
                f"median error of {key} / information limit",
                "≤ 1.15",
                lambda g, k=k: _ratio(trials(g), k),  # type: ignore[misc]
            )
        )
    lines += [
        (
            "sure of the depth error's direction (95 %) and wrong",
            "≤ 1 %",
            lambda g: share(t["sure_and_wrong"] for t in advised(g)),
        ),
        (
            "first advice: stated chance / signed off",
            "alike",
            lambda g: (
                f"{100 * np.mean([t['chance'] for t in advised(g)]):.0f} / "
                f"{100 * np.mean([t['signed_off'] for t in advised(g)]):.0f} %"
            ),
        ),
        ("no change advised: read again or measure", "", lambda g: share(t["stop"] for t in trials(g))),
    ]
    print("\n| | aim | " + " | ".join(groups) + " |")
    print("|---|---|" + "---|" * len(groups))
    for text, aim, show in lines:
        print(f"| {text} | {aim} | " + " | ".join(show(g) for g in groups.values()) + " |")
    photos_table(_photos(rows))
    _shared(rows)
    refused = Counter(p["refused"] for p in _photos(rows) if "refused" in p)
    print(f"\nPictures refused: {sum(refused.values())} of {len(_photos(rows))}")
    for what, n in refused.most_common():
        print(f"* {n} × {what}")


def _shared(rows: Rows) -> None:
    """Print how far the errors of two photos of one flank go together, over what is stated of each."""
    pairs = []
    for r in rows:
        read = [p for p in r["photos"]["drive"] if "refused" not in p and "error" in p]
        if len(read) > 1:
            pairs.append([np.array(p["error"]) / p["sd"] for p in read[-2:]])
    if len(pairs) > 2:
        z = np.array(pairs)
        tie = [float(np.corrcoef(z[:, 0, k], z[:, 1, k])[0, 1]) for k in (0, 1)]
        chance = 1.0 / math.sqrt(len(pairs))
        print(f"\nTwo photos of a drive flank, {len(pairs)} pairs, ± {chance:.2f} by chance: their errors")
        print(f"correlate by {tie[0]:.2f} lengthwise, {tie[1]:.2f} in profile")


def _photos(rows: Rows) -> Rows:
    return [p for r in rows for tries in r["photos"].values() for p in tries]


def _taken_again(row: dict[str, Any]) -> bool:
    return any("refused" in p for p in _photos([row]))


def _given_up(rows: Rows, flank: str) -> str:
    return str(sum("refused" in r["photos"][flank][-1] for r in rows))


def _ratio(trials: Rows, k: int) -> str:
    dice = np.random.default_rng(0)
    error = np.median([abs(t["mean"][k] - t["truth"][k]) for t in trials])
    best = np.median(np.abs(np.concatenate([t["limit_sd"][k] * dice.standard_normal(400) for t in trials])))
    return f"{error:.4f} / {best:.4f} = {error / best:.2f}"


CONDITIONS: dict[str, Callable[[dict[str, Any]], bool]] = {
    "all": lambda c: True,
    "yellow": lambda c: c["compound"] == "yellow",
    "blue": lambda c: c["compound"] == "blue",
    "white": lambda c: c["compound"] == "white",
    "grey": lambda c: c["compound"] == "grey",
    "rubbed clear": lambda c: c["mode"] == "rubbed",
    "print": lambda c: c["mode"] == "print",
    "used set, run-in wear": lambda c: c["used"],
    "oil film (over 0.4)": lambda c: c["oil"] > 0.4,
    "lamp near the mirror direction": lambda c: c["glare"] > 0.55,
    "deep shadow (over 0.8)": lambda c: c["shadow_depth"] > 0.8,
}


def photos_table(photos: Rows) -> None:
    """Print how well the single photos were read, by what is in them."""
    print("\n| photos | read / all | overlap, median | 10 % below | below 0.5 | of them doubted | "
          "profile: median error | 90 % below | error / stated, rms | within 2 sd |")  # fmt: skip
    print("|---|---|---|---|---|---|---|---|---|---|")
    for name, part in CONDITIONS.items():
        every = [p for p in photos if part(p["conditions"])]
        some = [p for p in every if "refused" not in p]
        if not some:
            continue
        overlap = np.array([p["overlap"] for p in some])
        error = np.array([p["error"] for p in some])
        z = error / np.array([p["sd"] for p in some])
        bad = [p for p in some if p["overlap"] < 0.5]
        print(
            f"| {name} | {len(some)} / {len(every)} | {np.median(overlap):.3f} | "
            f"{np.percentile(overlap, 10):.3f} | {len(bad)} | {sum(p['doubted'] for p in bad)} | "
            f"{np.median(np.abs(error[:, 1])):.3f} | {np.percentile(np.abs(error[:, 1]), 90):.3f} | "
            f"{math.sqrt(float(np.mean(z**2))):.2f} | {np.mean(np.abs(z) < 2):.0%} |"
        )
