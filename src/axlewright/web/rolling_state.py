"""One state of the rolling view: read from the address, rolled, drawn."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from axlewright.errors import AxlewrightError, InputError
from axlewright.job.photos import mask_lines
from axlewright.language import Shown, n_
from axlewright.language import eager as _
from axlewright.units import MM_PER_INCH, NM_PER_LBF_FT, System, parse_number, show_length, shows_as_zero
from axlewright.web.pictures import bars, curve, rows, tooth

if TYPE_CHECKING:
    from axlewright.contact import Backlash
    from axlewright.gearset import GearSetDesign

BACKLASH_GRID: Final = {"lengthwise": 40, "profile": 20, "roll_angles": 64}
"""Coarser than the engine's own: within 0.0002 mm of it on the shipped designs, for half the time."""
WAYS: Final = (
    ("", n_("each side in turn")),
    ("drive", n_("drive side (pulling)")),
    ("coast", n_("coast side (slowing)")),
)
"""Which flank the load is on, by its name in the address."""


@dataclass(frozen=True, slots=True)
class Control:
    """A slider of the rolling view.

    Attributes
    ----------
    name : str
        In the address.
    step, reach : mapping of system to float
        In the unit shown.
    unit : mapping of system to str
    to_mm : mapping of system to float
        One unit shown, in the unit rolled with.
    """

    name: str
    label: str
    help: str
    low: Mapping[System, float]
    high: Mapping[System, float]
    step: Mapping[System, float]
    unit: Mapping[System, str]
    scale: Mapping[System, float]
    teaching: bool = False


def _length(name: str, label: str, help_text: str, teaching: bool = False) -> Control:
    return Control(
        name,
        label,
        help_text,
        {"inch": -20.0, "metric": -0.5},
        {"inch": 20.0, "metric": 0.5},
        {"inch": 1.0, "metric": 0.01},
        {"inch": "0.001 in", "metric": "mm"},
        {"inch": MM_PER_INCH / 1000.0, "metric": 1.0},
        teaching,
    )


CONTROLS: Final[tuple[Control, ...]] = (
    _length("pinion", n_("Pinion depth"), n_("Plus: pinion out, away from the ring gear's axis.")),
    _length("ring", n_("Ring gear"), n_("Plus: away from the pinion, more backlash.")),
    Control(
        "torque",
        n_("Load at the ring gear"),
        n_("0 is rolled without load. The first load on a design takes some seconds."),
        {"inch": 0.0, "metric": 0.0},
        {"inch": 2000.0, "metric": 3000.0},
        {"inch": 50.0, "metric": 50.0},
        {"inch": "lb-ft", "metric": "N·m"},
        {"inch": NM_PER_LBF_FT, "metric": 1.0},
    ),
    _length("offset", n_("Offset error"), n_("Plus: larger offset. Cannot be shimmed; for teaching."), True),
    Control(
        "angle",
        n_("Shaft angle error"),
        n_("Plus: opens the angle. Cannot be shimmed; for teaching."),
        {"inch": -6.0, "metric": -6.0},
        {"inch": 6.0, "metric": 6.0},
        {"inch": 0.5, "metric": 0.5},
        {"inch": "arcmin", "metric": "arcmin"},
        {"inch": 1.0 / 60.0, "metric": 1.0 / 60.0},
        True,
    ),
)
_BY_NAME: Final = {c.name: c for c in CONTROLS}


@dataclass(frozen=True, slots=True)
class State:
    """Design and settings, in the units rolled with: mm, N·m, degrees."""

    design: str
    pinion: float = 0.0
    ring: float = 0.0
    torque: float = 0.0
    offset: float = 0.0
    angle: float = 0.0
    way: str = ""

    def shown(self, name: str, system: System) -> float:
        """Return a setting in the unit of its slider."""
        value = float(getattr(self, name)) / _BY_NAME[name].scale[system]
        return round(value, 4) + 0.0

    def query(self, **more: str) -> str:
        """Return the state as the query of an address, always in mm, so that a link means the same."""
        values = {n: f"{getattr(self, n):.5g}" for n in _BY_NAME if abs(getattr(self, n)) > 1e-12}
        way = {"way": self.way} if self.way else {}
        return urlencode({"design": self.design, **values, **way, **more})

    def words(self, system: System) -> str:
        """Return the settings in words."""
        parts = []
        if not shows_as_zero(self.pinion, system):
            told = _("pinion {length} out") if self.pinion > 0 else _("pinion {length} in")
            parts.append(told.format(length=show_length(abs(self.pinion), system)))
        if not shows_as_zero(self.ring, system):
            told = _("ring gear {length} away") if self.ring > 0 else _("ring gear {length} closer")
            parts.append(told.format(length=show_length(abs(self.ring), system)))
        if abs(self.offset) > 1e-6:
            parts.append(
                _("offset error {length}").format(length=show_length(self.offset, system, signed=True))
            )
        if abs(self.angle) > 1e-9:
            minutes = f"{Shown(self.angle * 60):+.1f}′"
            parts.append(_("shaft angle error {angle}").format(angle=minutes))
        if self.torque > 0:
            parts.append(_("load {torque} at the ring gear").format(torque=show_load(self.torque, system)))
            if self.way:
                parts.append(_("on the drive side") if self.way == "drive" else _("on the coast side"))
        return ", ".join(parts) or _("as designed, without load")


def show_load(nm: float, system: System) -> str:
    """Show a torque at the ring gear [N·m] as lb-ft and N·m, the wanted system first."""
    inch, metric = f"{nm / NM_PER_LBF_FT:.0f} lb-ft", f"{nm:.0f} N·m"
    return f"{inch} ({metric})" if system == "inch" else f"{metric} ({inch})"


def state_of(query: Mapping[str, str], designs: list[str]) -> State:
    """Read a state from the query of an address (mm, N·m, degrees).

    Raises
    ------
    InputError
        With the field that is wrong.
    """
    name = query.get("design") or ("TY-222" if "TY-222" in designs else designs[0])
    values: dict[str, float] = {}
    for control in CONTROLS:
        text = query.get(control.name, "").strip()
        if not text:
            continue
        value = parse_number(text, where=_(control.label), fix=_("use the slider"))
        if not abs(value) < 1e5:
            raise InputError(
                _("{text} is out of reach").format(text=text), where=_(control.label), fix=_("use the slider")
            )
        values[control.name] = value
    way = query.get("way", "")
    return State(name, way=way if way in dict(WAYS) else "", **values)


def state_of_form(query: Mapping[str, str], designs: list[str], system: System) -> State:
    """Read a state typed into the plain form, in the units of the sliders."""
    plain = dict(query)
    for control in CONTROLS:
        text = query.get(f"show_{control.name}", "").strip()
        if text:
            value = parse_number(text, where=_(control.label), fix=_("type a number such as 5"))
            plain[control.name] = repr(value * control.scale[system])
    return state_of(plain, designs)


@lru_cache(maxsize=256)
def _computed_backlash(
    design: GearSetDesign, pinion: float, ring: float, offset: float, angle: float
) -> Backlash:
    """Compute the backlash at a setting once; the load does not change it."""
    from axlewright.contact import Settings, backlash_at

    return backlash_at(design, Settings(pinion, ring, offset, angle), **BACKLASH_GRID)


def _backlash(state: State, design: GearSetDesign, system: System) -> str:
    """Say the backlash at a state as a sentence; empty where the teeth do not meet."""
    try:
        found = _computed_backlash(design, state.pinion, state.ring, state.offset, state.angle)
    except AxlewrightError:
        return ""
    shown = show_length(found.in_rotation_mm, system)
    change = show_length(found.change_mm, system, signed=True)
    if found.in_rotation_mm < 0:
        return _("Backlash, computed without load: none, the teeth bind; {change} from as designed.").format(
            change=change
        )
    if change == show_length(0.0, system, signed=True):
        return _("Backlash, computed without load: {backlash}, as designed.").format(backlash=shown)
    return _("Backlash, computed without load: {backlash}; {change} from as designed.").format(
        backlash=shown, change=change
    )


def rolled(state: State, design: GearSetDesign, system: System) -> dict[str, Any]:
    """Roll both flanks and draw them.

    Returns
    -------
    dict
        words, ms, backlash, and for each flank svg, motion, harmonics, words, load, error.
    """
    import axlewright as aw

    begin = time.perf_counter()
    rollings: dict[str, Any] = {}
    errors: dict[str, str] = {}
    for flank in ("drive", "coast"):
        try:
            rollings[flank] = aw.roll(
                design,
                flank,
                pinion_out_mm=state.pinion,
                ring_away_mm=state.ring,
                offset_error_mm=state.offset,
                shaft_angle_error_deg=state.angle,
                torque_nm=state.torque if state.way in ("", flank) else 0.0,
            )
        except AxlewrightError as error:
            errors[flank] = str(error)
    backlash = _backlash(state, design, system)
    rolled_ms = (time.perf_counter() - begin) * 1000.0
    tapered = design.tooth_form == "face-milled"
    out: dict[str, Any] = {
        "words": state.words(system),
        "query": state.query(),
        "backlash": backlash,
        "flanks": {},
    }
    for flank in ("drive", "coast"):
        if flank in errors:
            out["flanks"][flank] = {"error": errors[flank]}
            continue
        one = rollings[flank]
        words = str(one.pattern.describe())
        harmonics = [float(v) for v in one.harmonics_urad(6)]
        pp = one.motion_error_pp_urad
        out["flanks"][flank] = {
            "error": "",
            "words": words,
            "svg": tooth(
                computed=None if one.pattern.empty else rows(one.pattern.mask),
                tapered=tapered,
                label=(
                    _("drive side of the ring gear tooth: {words}")
                    if flank == "drive"
                    else _("coast side of the ring gear tooth: {words}")
                ).format(words=words),
            ),
            "motion": curve(
                [float(v) for v in one.motion_error_urad],
                label=(
                    _("Motion error of the drive side over two pitches, {size} microradians peak to peak")
                    if flank == "drive"
                    else _(
                        "Motion error of the coast side over two pitches, {size} microradians peak to peak"
                    )
                ).format(size=f"{Shown(pp):.1f}"),
            ),
            "harmonics": bars(
                harmonics,
                label=_("Mesh harmonics in microradians: {values}").format(
                    values=", ".join(f"{i}× {Shown(v):.1f}" for i, v in enumerate(harmonics, 1))
                ),
                largest=max(20.0, *harmonics),
            ),
            "load": _("under load") if one.torque_nm > 0 else _("without load"),
            "pp": round(pp, 1),
            "mask": mask_lines(one.pattern.mask),
            "summary": one.summary(),
        }
    out["ms"] = round(rolled_ms, 1)
    out["total_ms"] = round((time.perf_counter() - begin) * 1000.0, 1)
    return out
