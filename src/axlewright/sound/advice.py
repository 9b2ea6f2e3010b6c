"""What to record next: at most two things, those that would best part what cannot be told apart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from axlewright.language import eager as _
from axlewright.sound.recording import Recording
from axlewright.sound.signs import Signs
from axlewright.sound.sources import BY_KEY, Source

MOST: Final = 2
WORTH: Final = 0.06
"""Chance from which a source is worth parting from others."""
LITTLE_SWEEP: Final = 0.18
"""Below this the logarithm of highest over lowest speed shows nothing that follows the road."""
WIDE_SPEED: Final = 0.012


@dataclass(frozen=True, slots=True)
class Ambiguity:
    """Two sources this recording cannot tell apart.

    Parameters
    ----------
    first, second : str
        Names.
    why : str
    tell_apart : str
        Recording that would.
    """

    first: str
    second: str
    why: str
    tell_apart: str


@dataclass(frozen=True, slots=True)
class Advice:
    """One recording to make next.

    Parameters
    ----------
    do, why : str
    separates : tuple of str
        Names of sources it would tell apart.
    """

    do: str
    why: str
    separates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Drive:
    """A way to drive for the next recording, and which sources answer to it."""

    key: str
    answers: Callable[[Source], bool]

    def words(self) -> tuple[str, str]:
        """Return what to do and why."""
        return {
            "sweep": (
                _(
                    "sweep slowly from about 30 to 60 mph (50 to 100 km/h) and back, 40 to 60 s, where it is "
                    "legal and safe; a second person keeps the phone and the marks"
                ),
                _("only a sweep shows what follows road speed and what stays put"),
            ),
            "gears": (
                _("record the same speed in two gears, once on drive and once coasting in neutral"),
                _("a tone that stays in every gear comes from behind the gearbox; one that changes does not"),
            ),
            "load": (
                _("drive, coast and float over the same stretch at the same speed"),
                _("gears and pinion bearings change with the load; tyres and wheels hardly do"),
            ),
            "swerve": (
                _("swerve gently left and right where nobody is near, and drive a tight circle slowly"),
                _("a worn wheel bearing grows louder outside the curve; differential gears turn only there"),
            ),
            "road": (
                _("drive the same speed on another road surface, or with other tyres"),
                _("tyres and the body's hum change with the surface; gears and bearings do not"),
            ),
            "brake": (
                _("touch the brake lightly while the noise is there, and once without"),
                _("a brake changes at the first touch; nothing else does"),
            ),
        }[self.key]


DRIVES: Final = (
    Drive("sweep", lambda source: source.still),
    Drive("gears", lambda source: source.gear),
    Drive("load", lambda source: source.load),
    Drive("swerve", lambda source: source.side),
    Drive("road", lambda source: source.road),
    Drive("brake", lambda source: source.brake),
)


def parted(drive: Drive, chances: dict[str, float]) -> float:
    """Return how much doubt a drive would part: the product of chances over all pairs it answers to."""
    return sum(
        p * q
        for (a, p), (b, q) in combinations(chances.items(), 2)
        if drive.answers(BY_KEY[a]) != drive.answers(BY_KEY[b])
    )


def advise(
    chances: dict[str, float], signs: Signs, recording: Recording, sigma: float, nothing: float
) -> tuple[Advice, ...]:
    """Return up to two recordings to make next, the more useful first."""
    result: list[Advice] = []
    live = {key: p for key, p in chances.items() if p >= WORTH}
    if signs["sweep"] < LITTLE_SWEEP:
        result.append(Advice(*DRIVES[0].words(), tuple(BY_KEY[k].name for k in live)))
    usable = DRIVES[1:]
    ranked = sorted(
        ((parted(d, live), i) for i, d in enumerate(usable)), key=lambda pair: (-pair[0], pair[1])
    )
    if ranked[0][0] > 0 and max(live.values(), default=0.0) > 2 * WORTH:
        for value, index in ranked[:2]:
            if value > 0.2 * ranked[0][0]:
                result.append(Advice(*usable[index].words(), tuple(BY_KEY[k].name for k in live)))
    quiet = nothing >= max(chances.values())
    if quiet:
        result.insert(
            min(len(result), 1),
            Advice(
                _("record where the complaint is heard best, at that speed and load, windows shut"),
                _("nothing in this recording stands out"),
            ),
        )
    for kind, do in (
        ("clipping", _("move the microphone away from wind and vents or lower its gain")),
        ("narrow_band", _("record with a sound recorder as WAV, not as a voice message")),
        ("speech", _("keep quiet and leave the radio off")),
        ("out_of_phase", _("record one channel")),
    ):
        if (recording.has(kind) and kind != "speech") or (recording.has(kind) and quiet):
            result.insert(1, Advice(do, next(f.text for f in recording.flags if f.kind == kind)))
    if sigma > WIDE_SPEED:
        result.append(
            Advice(
                _("record again with a satellite speed trace, and measure the tyre's roll-out with a tape"),
                _("the better the speed is known, the fewer sources share a tone"),
            )
        )
    return tuple(result[:MOST])


def ambiguities(named: tuple[str, ...], chances: dict[str, float]) -> tuple[Ambiguity, ...]:
    """List the pairs among the named sources that this recording leaves open, most doubtful first."""
    found = []
    for a, b in combinations(named, 2):
        best = max(DRIVES[1:], key=lambda d: d.answers(BY_KEY[a]) != d.answers(BY_KEY[b]))
        parts = best.answers(BY_KEY[a]) != best.answers(BY_KEY[b])
        found.append(
            (
                chances[a] * chances[b],
                Ambiguity(
                    BY_KEY[a].name,
                    BY_KEY[b].name,
                    _("both fit about as well"),
                    best.words()[0]
                    if parts
                    else _("look at each and turn it by hand, the vehicle safely on stands"),
                ),
            )
        )
    return tuple(item for _value, item in sorted(found, key=lambda pair: -pair[0])[:4])
