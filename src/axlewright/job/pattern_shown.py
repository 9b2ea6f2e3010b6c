"""What page and sheet show of a kept diagnosis: change, cure, causes, what was expected and what came."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.photos import FLANKS, mask_rows
from axlewright.job.rounds import read_rounds
from axlewright.job.view import JobView, Round
from axlewright.language import Number, Text, _, decode, joined, n_, read_kept
from axlewright.units import Length

if TYPE_CHECKING:
    from axlewright.records import JobStore
    from axlewright.sheets import Advice, Cause, PatternPicture, Photo

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
SOURCES: Final = (n_("photo"), n_("sketch"), n_("words"), n_("teeth"))
"""Where a pattern was read from."""
CAUSE_NAMES: Final[Mapping[str, str]] = {
    "pinion_out_mm": n_("pinion too far out (+) or in (−)"),
    "ring_away_mm": n_("ring gear too far away (+) or close (−)"),
    "offset_error_mm": n_("offset too large (+) or small (−)"),
    "shaft_angle_error_deg": n_("shaft angle open (+) or closed (−)"),
}
CURE_NAMES: Final[Mapping[str, str]] = {
    "pinion_move_mm": n_("move the pinion out (+) or in (−)"),
    "ring_move_mm": n_("move the ring gear away (+) or closer (−)"),
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

    text: Text
    cost: Text
    cost_class: str
    chance: Text
    backlash: Text
    before: State
    after: State


@dataclass(frozen=True, slots=True)
class Bar:
    """A quantity drawn as a bar about zero; places in percent of the width.

    Attributes
    ----------
    value, between : Text
        Best estimate, and the 90 % interval in words.
    left, wide, at : float
    """

    name: Text
    value: Text
    between: Text
    left: float
    wide: float
    at: float


@dataclass(frozen=True, slots=True)
class Way:
    """One way in which the depth may have come about, with its chance in percent."""

    name: Text
    percent: float


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure after a change: expected, came, and whether that is a surprise."""

    name: Text
    expected: Text
    came: Text
    surprise: bool


def newest_read(view: JobView) -> Round | None:
    """Return the newest round in which patterns were read, passing over later decisions."""
    for one in view.step("pattern").rounds:
        if "flanks" in one.payload and one.result:
            return one
    return None


def backlash_then(one: Mapping[str, Any]) -> Text:
    """Say the backlash expected after a change, at the tightest place too where that is known."""
    mean, tight = one.get("expected_backlash_mm"), one.get("expected_tightest_mm")
    if mean is None:
        return ""
    if tight is None or tight == mean:
        return Length(float(mean))
    return _("{mean} on the mean, {tightest} at the tightest place").format(
        mean=Length(float(mean)), tightest=Length(float(tight))
    )


def advice_shown(result: Mapping[str, Any]) -> list[AdviceShown]:
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
                read_kept(first["first_step"] if of_sum else one["text"]),
                read_kept(one["cost_words"]),
                str(one["cost_class"]),
                "–" if one.get("look_again") else show_chance(float(one["chance_last_teardown"])),
                backlash_then(one),
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


def _figure(key: str, value: float, *, signed: bool = True) -> Text:
    if key.endswith("_deg"):
        return joined(Number(value, "+.3f" if signed else ".3f"), "°", between="")
    return Length(value, signed=signed)


def _bars(names: Mapping[str, str], kept: Mapping[str, Any]) -> list[Bar]:
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
            low=_figure(key, spread["p05"]), high=_figure(key, spread["p95"])
        )
        out.append(Bar(_(names[key]), _figure(key, spread["mean"]), between, low, max(0.5, high - low), at))
    return out


def cause_bars(result: Mapping[str, Any]) -> list[Bar]:
    """Return what is off, each settings error as a bar; lengths share one scale."""
    return _bars(CAUSE_NAMES, result.get("diagnosis", {}).get("cause", {}))


def cure_bars(result: Mapping[str, Any]) -> list[Bar]:
    """Return the move that brings the patterns where they belong, as bars on one scale."""
    return _bars(CURE_NAMES, result.get("diagnosis", {}).get("cure", {}))


def ways_shown(result: Mapping[str, Any]) -> list[Way]:
    """Return how the depth may have come about, likeliest first."""
    kept = result.get("diagnosis", {}).get("how_the_depth_came_about", {})
    rows = sorted(((float(v), k) for k, v in kept.items()), reverse=True)
    return [Way(_(WAYS.get(k, k)), 100.0 * v) for v, k in rows if v >= LIKELY_SHARE]


def measures_shown(summary: Mapping[str, Any]) -> list[tuple[Text, Text]]:
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
    out: list[tuple[Text, Text]] = []
    for name, value, spread, form, unit in rows:
        if value is None or spread is None:
            continue  # the way of reading says next to nothing of it
        shown = [
            joined(Number(value, form), unit, between=""),
            joined(Number(spread, form.removeprefix("+")), unit, between=""),
        ]
        out.append((name, joined(*shown, between=" ± ")))
    for name, edge in summary.get("edges", {}).items():
        chance = float(edge["chance"])
        if chance < LEAST_EDGE_CHANCE:
            continue
        words: Text = _("reached, {chance} % sure").format(chance=Number(100 * min(chance, 0.99), ".0f"))
        if edge["hard_line"]:
            line = _("a hard line along {share} % of it").format(share=Number(100 * edge["share"], ".0f"))
            words = joined(words, line, between="; ")
        out.append((_("edge: {edge}").format(edge=_(EDGE_WORDS[name])), words))
    return out


def compared_shown(result: Mapping[str, Any]) -> tuple[Text, list[Compared]]:
    """Return what the last change was expected to bring beside what came: a sentence and the figures."""
    from axlewright.diagnosis import SURPRISE

    told = result.get("values", {}).get("expected_came")
    if not told:
        return "", []

    def show(key: str, value: float, sd: float) -> Text:
        if key == "backlash_mm":
            return joined(Length(value), Length(sd), between=" ± ")
        return joined(Number(value, "+.2f"), Number(sd, ".2f"), between=" ± ")

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
    return read_kept(told["words"]), rows


# On the sheet


@dataclass(frozen=True, slots=True)
class SheetParts:
    """What the patterns of a job put on its sheet."""

    patterns: tuple[PatternPicture, ...] = ()
    causes: tuple[Cause, ...] = ()
    cause_note: str = ""
    advice: tuple[Advice, ...] = ()
    photos: tuple[Photo, ...] = ()


def cause_texts(result: Mapping[str, Any]) -> list[tuple[Text, Text, Text]]:
    """Return (name, value, uncertainty) of each cause of a kept diagnosis."""
    kept = result.get("diagnosis", {}).get("cause", {})
    return [
        (
            _(name),
            _figure(key, kept[key]["mean"]),
            joined("±", _figure(key, kept[key]["sd"], signed=False)),
        )
        for key, name in CAUSE_NAMES.items()
        if key in kept
    ]


def _measured_caption(summary: Mapping[str, Any]) -> str:
    words, source = summary["words"], summary["source"]
    return str(_("{words}; from {source}").format(words=words, source=_(source)))


def sheet_parts(store: JobStore, view: JobView) -> SheetParts:
    """Return patterns, causes, advice and photos of the newest reading that counts, drawn."""
    one = newest_read(view)
    if one is None:
        return SheetParts()
    from axlewright.contact.marks import flank_name
    from axlewright.job.designs import design_of_job
    from axlewright.records import standing
    from axlewright.sheets import Advice, Cause, PatternPicture, Photo

    design = design_of_job(store, view.job)
    tapered = design is None or design.tooth_form == "face-milled"
    result = dict(one.told)
    expected = result.get("expected", {})
    told = result.get("diagnosis", {})
    figures = result.get("values", {}).get("figures", "")
    pictures, photos = [], []
    for flank in FLANKS:
        kept = decode(one.payload["flanks"].get(flank))
        after = expected.get(flank)
        if kept is None and after is None:
            continue
        pictures.append(
            PatternPicture(
                flank=flank,
                measured=None if kept is None else mask_rows(kept["mask"]),
                computed=None if after is None else mask_rows(after),
                measured_caption="" if kept is None else _measured_caption(kept["summary"]),
                computed_caption="" if after is None else str(_("after the change advised")),
                tapered=tapered,
            )
        )
        if kept is not None and kept.get("photo"):
            photos.append(
                Photo(
                    jpeg=store.read_file(kept["photo"]),
                    caption=str(_("{flank}, as photographed").format(flank=flank_name(flank))),
                )
            )
    causes = tuple(
        Cause(name=str(name), value=str(value), uncertainty=str(sure))
        for name, value, sure in cause_texts(result)
    )
    answers = {
        e.payload.get("advice"): e for e in view.entries if e.kind == "decision" and "advice" in e.payload
    }
    advice = []
    readings = [e.seq for e in read_rounds(standing(view.entries))]
    for entry in view.entries:
        if entry.kind != "advice" or entry.step != "pattern" or entry.payload.get("of") not in readings:
            continue
        answer = answers.get(entry.seq)
        photographed = bool(entry.payload.get("look_again")) and entry.seq < readings[-1]
        advice.append(
            Advice(
                text=str(read_kept(entry.payload["text"])),
                taken=("taken" if photographed else "open")
                if answer is None
                else ("taken" if answer.payload["taken"] else "not taken"),
                who="" if answer is None else answer.who,
                reason="" if answer is None else str(read_kept(answer.payload.get("text", ""))),
            )
        )
    return SheetParts(
        tuple(pictures),
        causes,
        str(joined(told.get("words", ""), figures)),
        tuple(advice),
        tuple(photos),
    )
