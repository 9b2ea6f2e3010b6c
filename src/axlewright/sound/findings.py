"""Put probabilities into words: one finding for each source, the runouts included."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.evidence import NONE, UNKNOWN, Posterior
from axlewright.sound.mesh_figures import HarmonicTrack, segment_level_db
from axlewright.sound.names import RUNOUTS
from axlewright.sound.orders import AxleOrders, Candidate
from axlewright.sound.segments import Segment
from axlewright.sound.sidebands import Sidebands
from axlewright.sound.tracking import OrderMap
from axlewright.sound.wording import source_evidence

MESH: Final = "ring and pinion mesh"
LIKELY: Final = 0.9
POSSIBLE: Final = 0.05
RUNOUT_PRIOR: Final = 0.3
LEAST_MODULATION: Final = 0.04


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
    posterior: Posterior,
    candidates: tuple[Candidate, ...],
    axle: AxleOrders,
    bands: tuple[Sidebands, ...],
    tracks: list[HarmonicTrack],
    segments: tuple[Segment, ...],
    sigma: float,
    map_: OrderMap,
    blocked: list[str],
) -> tuple[SourceFinding, ...]:
    """Put probabilities and evidence into words."""
    result: list[SourceFinding] = []
    levels = {s: segment_level_db(tracks[0], s) for s in segments} if tracks else {}
    for candidate in candidates:
        p = posterior.probability[candidate.name]
        sentences, proven = source_evidence(posterior, candidate, bands, axle, sigma, map_, levels)
        word = (
            "likely"
            if p > LIKELY and proven and candidate.name not in blocked
            else ("possible" if p > POSSIBLE else "unlikely")
        )
        order = candidate.orders[0] if candidate.orders else 0.0
        result.append(SourceFinding(candidate.name, candidate.kind, p, order, word, sentences))
    mesh_p = posterior.probability[MESH]
    mesh_word = next(f.word for f in result if f.kind == "mesh")
    for band in bands:
        odds = (
            RUNOUT_PRIOR * math.exp(min(band.evidence, 50.0)) if band.modulation >= LEAST_MODULATION else 0.0
        )
        p = mesh_p * odds / (1 + odds)
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
            ).format(
                level_db=f"{Shown(band.level_db):.1f}",
                modulation=f"{band.modulation * 100:.0f}",
            ),
            (
                _("tone over spacing {ratio} ± {ratio_sigma}; pinion teeth {teeth}")
                if band.name == "pinion"
                else _("tone over spacing {ratio} ± {ratio_sigma}; ring gear teeth {teeth}")
            ).format(
                ratio=f"{Shown(band.ratio):.2f}",
                ratio_sigma=f"{Shown(band.ratio_sigma):.2f}",
                teeth=teeth,
            ),
        )
        word = (
            "likely" if p > LIKELY and mesh_word == "likely" else ("possible" if p > POSSIBLE else "unlikely")
        )
        spacing = axle.ratio if band.name == "pinion" else 1.0
        result.append(SourceFinding(RUNOUTS[band.name], "runout", p, spacing, word, text))
    unknown = posterior.probability[UNKNOWN]
    at = next((s.unknown_order for s in posterior.sets if UNKNOWN in s.members), 0.0)
    where = (
        (
            _("a line near order {at} per wheel turn as stated fits none of the sources named").format(
                at=f"{Shown(at):.2f}"
            ),
        )
        if unknown > POSSIBLE
        else ()
    )
    result.append(
        SourceFinding(
            UNKNOWN, "unknown", unknown, at, "possible" if unknown > POSSIBLE else "unlikely", where
        )
    )
    none = posterior.probability[NONE]
    text_none = (
        (_("no line keeps step with road speed beyond what noise alone does"),) if none > POSSIBLE else ()
    )
    word_none = "likely" if none > LIKELY else ("possible" if none > POSSIBLE else "unlikely")
    result.append(SourceFinding(NONE, "none", none, 0.0, word_none, text_none))
    # Runout shows only on a mesh tone: where both are as likely, the mesh is named first.
    return tuple(sorted(result, key=lambda f: (-round(f.probability, 6), f.kind == "runout")))
