"""One finding for each source: its chance, a word for it, and sentences of what speaks for or against it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.mesh_figures import HarmonicTrack, segment_level_db
from axlewright.sound.orders import AxleOrders
from axlewright.sound.segments import Segment
from axlewright.sound.sidebands import Sidebands
from axlewright.sound.signs import Signs
from axlewright.sound.sources import BY_KEY, NONE, RUNOUTS, Source

LIKELY: Final = 0.8
"""A chance above this is called likely where the source can be heard at all and the speed swept."""
NAMED: Final = 0.12
"""A source above this is named."""
SWEPT: Final = 0.1
"""ln of highest over lowest speed without which nothing is shown to follow the road."""
SIDEBAND_CLEAR: Final = 5.0
RUNOUT_PRIOR: Final = 0.3
LEAST_MODULATION: Final = 0.04
CLEAR_SIDE_DB: Final = 3.0
LINES: Final = ("mesh", "propshaft", "joint")
BEARINGS: Final = {
    "wheel bearing": "wheel_bearing",
    "pinion bearing": "pinion_bearing",
    "carrier bearing": "side_bearing",
}


@dataclass(frozen=True, slots=True)
class SourceFinding:
    """One source and what speaks for it.

    Parameters
    ----------
    name, kind : str
    probability : float
    order : float
        Leading order per wheel turn; 0 for none.
    word : str
        ``likely``, ``possible`` or ``unlikely``.
    evidence : tuple of str
        Sentences.
    """

    name: str
    kind: str
    probability: float
    order: float
    word: str
    evidence: tuple[str, ...]


def source_findings(
    chances: dict[str, float],
    nothing: float,
    signs: Signs,
    axle: AxleOrders,
    bands: tuple[Sidebands, ...],
    tracks: list[HarmonicTrack],
    segments: tuple[Segment, ...],
) -> tuple[SourceFinding, ...]:
    """Put chances and signs into words, most probable first."""
    orders = {
        "mesh": float(axle.ring_teeth),
        "propshaft": axle.ratio,
        "joint": 2 * axle.ratio,
        "wheel imbalance": 1.0,
    }
    result = [
        SourceFinding(
            BY_KEY[key].name,
            BY_KEY[key].kind,
            p,
            orders.get(key, 0.0),
            _word(key, p, signs),
            _evidence(BY_KEY[key], p, signs, axle, bands, tracks, segments),
        )
        for key, p in chances.items()
    ]
    mesh = next(item for item in result if item.kind == "mesh")
    result.extend(_runouts(mesh, axle, bands))
    result.append(
        SourceFinding(
            NONE,
            "none",
            nothing,
            0.0,
            "likely" if nothing > LIKELY else "possible" if nothing > NAMED else "unlikely",
            (_("nothing is louder than engine, tyres, road and wind ordinarily are"),)
            if nothing > 0.5
            else (),
        )
    )
    # Runout shows only on a mesh tone: where both are as likely, the mesh is named first.
    return tuple(sorted(result, key=lambda f: (-round(f.probability, 6), f.kind == "runout")))


def named(chances: dict[str, float]) -> tuple[str, ...]:
    """Return the keys of the sources worth naming, most probable first."""
    return tuple(sorted((k for k, p in chances.items() if p >= NAMED), key=lambda k: -chances[k]))


def _word(key: str, p: float, signs: Signs) -> str:
    heard = signs[f"{key}.own.aud"] > 0 if key in LINES else True
    if p > LIKELY and heard and signs["sweep"] > SWEPT:
        return "likely"
    return "possible" if p >= NAMED else "unlikely"


def _evidence(
    source: Source,
    p: float,
    signs: Signs,
    axle: AxleOrders,
    bands: tuple[Sidebands, ...],
    tracks: list[HarmonicTrack],
    segments: tuple[Segment, ...],
) -> tuple[str, ...]:
    if p < 0.02:
        return ()
    said: list[str] = []
    if source.key in LINES:
        said.append(_heard_words(signs[f"{source.key}.own.aud"]))
        if signs[f"{source.key}.rank"] > 0.15:
            said.append(_("other orders near by stand out as much"))
        if signs[f"{source.key}.engine"] > 0.5:
            said.append(_("lies on a line of the engine for most of the time it is loud"))
        elif signs["engine.steps"] >= 1 and signs[f"{source.key}.gears"] > 0.4:
            said.append(_("stays through the changes of gear"))
    if source.key in BEARINGS:
        key = BEARINGS[source.key]
        if not signs[f"{key}.known"]:
            said.append(
                _("its rollers and sizes are not given: only what any bearing would show was looked for")
            )
        elif signs[f"{key}.rank"] < 0.1:
            said.append(_("the sound swells at the rates of its own parts, more than at others"))
    if source.key == "mesh":
        for band in bands:
            if band.evidence > SIDEBAND_CLEAR:
                said.append(_spacing_words(band, axle))
        said.extend(_load_words(tracks, segments))
    if source.key == "resonance":
        said.append(
            _("a narrow band near {hz} Hz stands {db} dB above its neighbours at its loudest").format(
                hz=f"{math.exp(signs['boom.hz']):.0f}", db=f"{Shown(signs['boom.p95']):.0f}"
            )
        )
    if source.axle and signs["sweep"] <= SWEPT:
        said.append(_("the speed hardly changes, so that the tone follows road speed is not shown"))
    return tuple(said)


def _heard_words(audibility: float) -> str:
    if audibility > 0.5:
        return _("at its loudest {db} dB above what can just be heard").format(db=f"{audibility:.0f}")
    return _("too soft to be heard through what masks it, if it is there at all")


def _spacing_words(band: Sidebands, axle: AxleOrders) -> str:
    teeth = axle.pinion_teeth if band.name == "pinion" else axle.ring_teeth
    agrees = abs(band.ratio - teeth) < max(3 * band.ratio_sigma, 0.02 * teeth / 10)
    if band.name == "pinion":
        text = (
            _(
                "tone over sideband spacing is {ratio} ± {ratio_sigma}, which is {teeth} pinion teeth, "
                "whatever the speed"
            )
            if agrees
            else _(
                "tone over sideband spacing is {ratio} ± {ratio_sigma}, against {teeth} pinion teeth, "
                "whatever the speed"
            )
        )
    else:
        text = (
            _(
                "tone over sideband spacing is {ratio} ± {ratio_sigma}, which is {teeth} ring gear teeth, "
                "whatever the speed"
            )
            if agrees
            else _(
                "tone over sideband spacing is {ratio} ± {ratio_sigma}, against {teeth} ring gear teeth, "
                "whatever the speed"
            )
        )
    return text.format(
        ratio=f"{Shown(band.ratio):.2f}", ratio_sigma=f"{Shown(band.ratio_sigma):.2f}", teeth=teeth
    )


def louder_side(tracks: list[HarmonicTrack], segments: tuple[Segment, ...]) -> float | None:
    """Return how much more prominent the mesh is on drive than on coast [dB]; None without both."""
    if not tracks:
        return None
    by_kind: dict[str, list[float]] = {}
    for segment in segments:
        level = segment_level_db(tracks[0], segment)
        if level is not None and segment.sure:
            by_kind.setdefault(segment.kind, []).append(level)
    if "drive" not in by_kind or "coast" not in by_kind:
        return None
    return float(np.median(by_kind["drive"]) - np.median(by_kind["coast"]))


def _load_words(tracks: list[HarmonicTrack], segments: tuple[Segment, ...]) -> list[str]:
    change = louder_side(tracks, segments)
    if change is None:
        return []
    if abs(change) < 0.5:  # would be shown as 0 dB
        return [_("as prominent on drive as on coast")]
    text = (
        _("{change} dB more prominent on drive than on coast")
        if change > 0
        else _("{change} dB less prominent on drive than on coast")
    )
    return [text.format(change=f"{abs(change):.0f}")]


def _runouts(mesh: SourceFinding, axle: AxleOrders, bands: tuple[Sidebands, ...]) -> list[SourceFinding]:
    result = []
    for band in bands:
        odds = (
            RUNOUT_PRIOR * math.exp(min(band.evidence, 50.0)) if band.modulation >= LEAST_MODULATION else 0.0
        )
        p = mesh.probability * odds / (1 + odds)
        teeth = axle.pinion_teeth if band.name == "pinion" else axle.ring_teeth
        text = (
            (
                _(
                    "sidebands once per pinion turn, {level_db} dB re the mesh tone "
                    "(modulation {modulation} %)"
                )
                if band.name == "pinion"
                else _(
                    "sidebands once per ring gear turn, {level_db} dB re the mesh tone "
                    "(modulation {modulation} %)"
                )
            ).format(level_db=f"{Shown(band.level_db):.1f}", modulation=f"{band.modulation * 100:.0f}"),
            (
                _("tone over spacing {ratio} ± {ratio_sigma}; pinion teeth {teeth}")
                if band.name == "pinion"
                else _("tone over spacing {ratio} ± {ratio_sigma}; ring gear teeth {teeth}")
            ).format(
                ratio=f"{Shown(band.ratio):.2f}", ratio_sigma=f"{Shown(band.ratio_sigma):.2f}", teeth=teeth
            ),
        )
        word = "likely" if p > LIKELY and mesh.word == "likely" else "possible" if p >= NAMED else "unlikely"
        spacing = axle.ratio if band.name == "pinion" else 1.0
        result.append(SourceFinding(RUNOUTS[band.name], "runout", p, spacing, word, text))
    return result
