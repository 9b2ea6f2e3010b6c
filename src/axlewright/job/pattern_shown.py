"""What a page shows of a kept diagnosis: change, cure, causes as bars, what was expected and what came."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from axlewright.job.pattern_sheet import CAUSE_NAMES
from axlewright.language import Shown, n_
from axlewright.language import eager as _
from axlewright.units import System, show_length

SHOWN_ADVICE: Final = 3
LIKELY_SHARE: Final = 0.03
"""Ways in which the depth came about that are less likely than this are not drawn."""
LEAST_REACH_DEG: Final = 0.05
LEAST_EDGE_CHANCE: Final = 0.05
"""Edges of the flank that the mark reaches with less chance than this are not told."""
FIGURES: Final[Mapping[str, str]] = {
    "drive_profile": n_("drive side, root −1 to top +1"),
    "drive_lengthwise": n_("drive side, toe −1 to heel +1"),
    "coast_profile": n_("coast side, root −1 to top +1"),
    "coast_lengthwise": n_("coast side, toe −1 to heel +1"),
    "backlash_mm": n_("backlash"),
}
WAYS: Final[Mapping[str, str]] = {
    "ordinary spread": n_("ordinary scatter of measuring and parts"),
    "wrong spacer or bearing": n_("a wrong spacer, bearing width or measurement"),
    "the mark was left out": n_("the depth mark was left out"),
    "the mark was taken the wrong way round": n_("the depth mark was taken the wrong way round"),
    "the mark was taken in the wrong unit": n_("the depth mark was taken in the wrong unit"),
}


@dataclass(frozen=True, slots=True)
class State:
    """Settings errors of a set, to be rolled [mm, deg]."""

    pinion: float = 0.0
    ring: float = 0.0
    offset: float = 0.0
    angle: float = 0.0


@dataclass(frozen=True, slots=True)
class AdviceShown:
    """One change as it is shown.

    Attributes
    ----------
    before, after : State
        As the set is believed to stand now and after the change.
    """

    text: str
    cost: str
    cost_class: str
    chance: str
    backlash: str
    before: State
    after: State


@dataclass(frozen=True, slots=True)
class Bar:
    """A quantity drawn as a bar about zero; places in percent of the width.

    Attributes
    ----------
    value, between : str
        Best estimate, and the 90 % interval in words.
    left, wide, at : float
    """

    name: str
    value: str
    between: str
    left: float
    wide: float
    at: float


@dataclass(frozen=True, slots=True)
class Way:
    """One way in which the depth may have come about, with its chance in percent."""

    name: str
    percent: float


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure after a change: expected, came, and whether that is a surprise."""

    name: str
    expected: str
    came: str
    surprise: bool


def _backlash_then(one: Mapping[str, Any], system: System) -> str:
    """Say the backlash expected after a change, at the tightest place too where that is known."""
    mean, tight = one.get("expected_backlash_mm"), one.get("expected_tightest_mm")
    if mean is None:
        return ""
    if tight is None or tight == mean:
        return show_length(float(mean), system)
    return _("{mean} on the mean, {tightest} at the tightest place").format(
        mean=show_length(float(mean), system), tightest=show_length(float(tight), system)
    )


def advice_shown(result: Mapping[str, Any], system: System) -> list[AdviceShown]:
    """Return the first few changes of a kept result, best first; the first may be the measured sum's."""
    from axlewright.diagnosis import show_chance

    told = result.get("diagnosis", {})
    cause = {k: float(v["mean"]) for k, v in told.get("cause", {}).items()}
    before = State(
        cause.get("pinion_out_mm", 0.0),
        cause.get("ring_away_mm", 0.0),
        cause.get("offset_error_mm", 0.0),
        cause.get("shaft_angle_error_deg", 0.0),
    )
    first = result.get("values", {})
    out = []
    for place, one in enumerate(told.get("advice", ())[:SHOWN_ADVICE]):
        of_sum = place == 0 and "spacer_of_sum_mm" in first
        move = float(first["pinion_move_mm"] if of_sum else one["pinion_move_mm"])
        out.append(
            AdviceShown(
                str(first["first_step"]) if of_sum else str(one["text"]),
                str(one["cost_words"]),
                str(one["cost_class"]),
                "–" if one.get("look_again") else show_chance(float(one["chance_last_teardown"])),
                _backlash_then(one, system),
                before,
                State(
                    before.pinion + move,
                    before.ring + float(one["shim_move_mm"]),
                    before.offset,
                    before.angle,
                ),
            )
        )
    return out


def _text(key: str, value: float, system: System) -> str:
    if key.endswith("_deg"):
        return f"{Shown(value):+.3f}°"
    return show_length(value, system, signed=True)


def _bars(names: Mapping[str, str], kept: Mapping[str, Any], system: System) -> list[Bar]:
    rows = {key: kept[key] for key in names if key in kept}
    lengths = [max(abs(s["p05"]), abs(s["p95"])) for k, s in rows.items() if k.endswith("_mm")]
    reach = 1.1 * max([*lengths, 1e-3])
    out = []
    for key, spread in rows.items():
        scale = reach
        if key.endswith("_deg"):
            scale = 1.1 * max(abs(spread["p05"]), abs(spread["p95"]), LEAST_REACH_DEG)
        low, high, at = (50.0 + 50.0 * spread[k] / scale for k in ("p05", "p95", "mean"))
        between = _("90 % between {low} and {high}").format(
            low=_text(key, spread["p05"], system), high=_text(key, spread["p95"], system)
        )
        out.append(
            Bar(_(names[key]), _text(key, spread["mean"], system), between, low, max(0.5, high - low), at)
        )
    return out


def cause_bars(result: Mapping[str, Any], system: System) -> list[Bar]:
    """Return what is off, each settings error as a bar; lengths share one scale."""
    return _bars(CAUSE_NAMES, result.get("diagnosis", {}).get("cause", {}), system)


CURE_NAMES: Final[Mapping[str, str]] = {
    "pinion_move_mm": n_("move the pinion out (+) or in (−)"),
    "ring_move_mm": n_("move the ring gear away (+) or closer (−)"),
}


def cure_bars(result: Mapping[str, Any], system: System) -> list[Bar]:
    """Return the move that brings the patterns where they belong, as bars on one scale."""
    return _bars(CURE_NAMES, result.get("diagnosis", {}).get("cure", {}), system)


def ways_shown(result: Mapping[str, Any]) -> list[Way]:
    """Return how the depth may have come about, likeliest first."""
    kept = result.get("diagnosis", {}).get("how_the_depth_came_about", {})
    rows = sorted(((float(v), k) for k, v in kept.items()), reverse=True)
    return [Way(_(WAYS.get(k, k)), 100.0 * v) for v, k in rows if v >= LIKELY_SHARE]


def measures_shown(summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return each measure of a pattern that was read, with its uncertainty (one standard deviation)."""
    from axlewright.contact.marks import EDGE_WORDS

    center, sd = summary.get("center") or (None, None), summary.get("center_sd") or (None, None)
    rows = [
        (_("centre, toe −1 to heel +1"), center[0], sd[0], "+.2f", ""),
        (_("centre, root −1 to top +1"), center[1], sd[1], "+.2f", ""),
        (_("length, of the tooth's"), summary.get("length_fraction"), summary.get("length_sd"), ".2f", ""),
        (
            _("height, of the working depth"),
            summary.get("height_fraction"),
            summary.get("height_sd"),
            ".2f",
            "",
        ),
        (_("area, of the flank's"), summary.get("area_fraction"), summary.get("area_sd"), ".2f", ""),
        (
            _("slant, toward the top at the heel"),
            summary.get("slant_deg"),
            summary.get("slant_sd_deg"),
            "+.0f",
            "°",
        ),
    ]
    out = []
    for name, value, spread, form, unit in rows:
        if value is None or spread is None:
            continue  # the way of reading says next to nothing of it
        plain = form.removeprefix("+")
        out.append((name, f"{format(Shown(value), form)}{unit} ± {format(Shown(spread), plain)}{unit}"))
    for name, edge in summary.get("edges", {}).items():
        chance = float(edge["chance"])
        if chance < LEAST_EDGE_CHANCE:
            continue
        words = _("reached, {chance} % sure").format(chance=f"{100 * min(chance, 0.99):.0f}")
        if edge["hard_line"]:
            words += "; " + _("a hard line along {share} % of it").format(share=f"{100 * edge['share']:.0f}")
        out.append((_("edge: {edge}").format(edge=_(EDGE_WORDS[name])), words))
    return out


def compared_shown(result: Mapping[str, Any], system: System) -> tuple[str, list[Compared]]:
    """Return what the last change was expected to bring beside what came: a sentence and the figures."""
    from axlewright.diagnosis import SURPRISE

    told = result.get("values", {}).get("expected_came")
    if not told:
        return "", []

    def show(key: str, value: float, sd: float) -> str:
        if key == "backlash_mm":
            return f"{show_length(value, system)} ± {show_length(sd, system)}"
        return f"{Shown(value):+.2f} ± {Shown(sd):.2f}"

    rows = [
        Compared(
            _(name),
            show(key, told["expected"][key], told["expected_sd"][key]),
            show(key, told["came"][key], told["came_sd"][key]),
            abs(told["surprise"][key]) > SURPRISE,
        )
        for key, name in FIGURES.items()
        if key in told["came"]
    ]
    return str(told["words"]), rows
