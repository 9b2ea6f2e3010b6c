"""The listening report as plain data: the contract of ``axlewright listen --json``."""

from __future__ import annotations

import math
from typing import Any

from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.listening import Listening
from axlewright.units import MPS_PER_MPH


def _round(value: float | None, digits: int = 2) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)


def speed_words(result: Listening) -> str:
    """Say how far the speed is known."""
    low, high = (100.0 * end for end in result.speed_interval)
    reach = max(abs(low), abs(high))
    if result.speed_found and result.said_steady:
        return _(
            "If the speed was held steady as said, the sound fixes it to ±{reach:.2f} % (90 %); if it "
            "changed, give it as marks."
        ).format(reach=Shown(reach))
    if result.speed_found:
        return _("Speed found from the sound: known to ±{reach:.2f} % (90 %).").format(reach=Shown(reach))
    return _(
        "The sound does not fix the speed: the true one lies {low:+.1f} to {high:+.1f} % from the one shown "
        "(90 %)."
    ).format(low=Shown(low), high=Shown(high))


def listening_as_dict(result: Listening) -> dict[str, Any]:
    """Return the report.

    Parameters
    ----------
    result : Listening

    Returns
    -------
    dict
        ``sources``, ``top``, ``segments``, ``mesh``, ``cannot_separate``, ``next_recording``,
        ``notices``, ``recording``, ``speed``. Levels are ratios or relative to full scale.
    """
    first = result.harmonics[0] if result.harmonics else None
    return {
        "sources": [
            {
                "name": s.name,
                "kind": s.kind,
                "probability": _round(s.probability, 4),
                "order": _round(s.order, 3),
                "word": s.word,
                "evidence": list(s.evidence),
            }
            for s in result.sources
        ],
        "top": list(result.top),
        "segments": [
            {
                "start_s": _round(s.start_s, 1),
                "end_s": _round(s.end_s, 1),
                "kind": s.kind,
                "sure": s.sure,
                "lowest_mph": _round(s.speed_mps[0] / MPS_PER_MPH, 1),
                "highest_mph": _round(s.speed_mps[1] / MPS_PER_MPH, 1),
            }
            for s in result.segments
        ],
        "mesh": {
            "tone_to_noise_db": _round(first.loudest_tone_to_noise_db) if first else None,
            "audibility_db": _round(first.loudest_audibility_db) if first else None,
            "roughness_asper": _round(result.roughness_asper, 3),
            "harmonics": [
                {
                    "harmonic": h.harmonic,
                    "order": _round(h.order),
                    "tone_to_noise_db": _round(h.loudest_tone_to_noise_db),
                    "audibility_db": _round(h.loudest_audibility_db),
                    "limit_db": _round(h.limit_db),
                    "audible": h.audible,
                    "prominent": h.prominent,
                    "loudest_mph": _round(h.loudest_mph, 1),
                    "whole_drive_tone_to_noise_db": _round(h.tone_to_noise_db),
                    "spread_db": _round(h.spread_db),
                }
                for h in result.harmonics
            ],
            "sidebands": [
                {
                    "name": b.name,
                    "tone_over_spacing": _round(b.ratio, 3),
                    "sigma": _round(b.ratio_sigma, 3),
                    "level_db": _round(b.level_db, 1),
                    "modulation": _round(b.modulation, 3),
                    "evidence_nats": _round(b.evidence, 1),
                }
                for b in result.sidebands
            ],
            "note": _("ratios to the noise in the same recording; no calibrated level")
            if first
            else _("the speed could not be found well enough to follow the mesh"),
        },
        "cannot_separate": [
            {"sources": [a.first, a.second], "why": a.why, "tell_apart": a.tell_apart}
            for a in result.cannot_separate
        ],
        "next_recording": [
            {"do": a.do, "why": a.why, "separates": list(a.separates)} for a in result.next_recording
        ],
        "notices": list(result.notices),
        "recording": {
            "name": result.recording.name,
            "duration_s": _round(result.recording.duration_s, 1),
            "rate_hz": result.recording.full_rate_hz,
            "codec": result.recording.codec,
            "flags": [{"kind": f.kind, "text": f.text} for f in result.recording.flags],
        },
        "speed": {
            "stated_sigma": _round(result.heard.sigma, 4),
            "interval": [_round(end, 5) for end in result.speed_interval],
            "found": result.speed_found,
            "said_steady": result.said_steady,
            "words": speed_words(result),
            "times_s": [_round(t, 1) for t in result.times_s[::5]],
            "mph": [_round(v / MPS_PER_MPH, 2) for v in result.speed_mps[::5]],
        },
    }
