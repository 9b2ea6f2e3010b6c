"""Pinion depth: from carrier readings, from a gauge, or from the old spacer, to the spacer to fit.

With ``A`` from the ring gear's axis to the housing shoulder that carries the head bearing's cup, ``T`` the
assembled width of the head bearing, ``MD`` the mounting distance (axis to the back of the pinion head), ``F``
from the axis to the carrier's flange face and ``c`` from the cage's flange face to its cup shoulder (positive
toward the axis)::

    spacer under head, shim behind cup   s = A − MD − T
    shims at the cage flange             s = MD + T + c − F

Both are plain geometry of the mounting, derived here; see ``docs/setup.md`` for the drawing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from axlewright.errors import InputError
from axlewright.language import Text, _
from axlewright.setup.marks import PLACE_WORDS, DepthMark, ShimPlace, place_sign
from axlewright.setup.measured import Term, WrittenSum, minus, plus
from axlewright.units import Length


@dataclass(frozen=True, slots=True)
class SpacerResult:
    """The spacer or shim pack to fit, with the sum it came from.

    Parameters
    ----------
    total : WrittenSum
        The sum; its value is the thickness to fit.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where it sits.
    other_convention : WrittenSum or None
        The same sum with the marks read with the opposite meaning; ``None`` when no mark is in it.
    questions : tuple of Text
        What should be answered before a bearing is pressed.
    """

    total: WrittenSum
    place: ShimPlace
    other_convention: WrittenSum | None = None
    questions: tuple[Text, ...] = ()

    @property
    def value_mm(self) -> float:
        """Thickness to fit [mm]."""
        return self.total.value

    @property
    def standard_uncertainty_mm(self) -> float:
        """Standard uncertainty of the thickness [mm]."""
        return self.total.standard_uncertainty

    @property
    def interval_95_mm(self) -> tuple[float, float]:
        """95 % interval of the thickness [mm]."""
        return self.total.interval_95

    @property
    def terms(self) -> tuple[Term, ...]:
        """The terms of the sum, in the order in which they are written."""
        return self.total.terms

    @property
    def other_convention_difference_mm(self) -> float:
        """Other convention minus this one [mm]; 0 when no mark is in the sum."""
        return 0.0 if self.other_convention is None else self.other_convention.value - self.value_mm

    def other_convention_text(self) -> Text:
        """Return what the opposite meaning of the mark would give, as a sentence; empty without a mark."""
        if self.other_convention is None:
            return ""
        return _("Had plus the other meaning: {sum}, {difference} from this one.").format(
            sum=self.other_convention, difference=Length(self.other_convention_difference_mm, signed=True)
        )


def _finish(
    label: Text,
    terms: list[Term],
    mark_terms: list[Term],
    place: ShimPlace,
    marks: list[DepthMark],
    questions: list[Text],
) -> SpacerResult:
    """Put terms and mark terms together, with the mirror image for the other convention."""
    total = WrittenSum(label, (*terms, *mark_terms))
    other = None
    if mark_terms:
        turned = tuple(replace(t, quantity=replace(t.quantity, value=-t.quantity.value)) for t in mark_terms)
        other = WrittenSum(_("{label}, mark read the other way").format(label=label), (*terms, *turned))
    asked = [q for q in (m.question for m in marks) if q is not None]
    if total.value <= 0.0:
        asked.append(
            _(
                "The sum gives {thickness}: no such spacer exists. Check the readings, the "
                "bearing width and the mounting distance."
            ).format(thickness=total.result)
        )
    return SpacerResult(total, place, other, (*questions, *asked))


def _mark_terms(mark: DepthMark | None, place: ShimPlace) -> list[Term]:
    return [] if mark is None else [Term(mark.deviation(), float(place_sign(place)))]


def spacer_from_carrier(
    carrier: Length,
    bearing_width: Length,
    mounting_distance: Length,
    mark: DepthMark | None,
    *,
    place: ShimPlace | Literal[""] = "",
    cage_height: Length | None = None,
    mounting_distance_is_this_sets: bool = False,
    carrier_corrections: Sequence[Length] = (),
) -> SpacerResult:
    """Return the depth spacer from carrier readings.

    Parameters
    ----------
    carrier : Length
        Axis to housing shoulder ``A``, or axis to carrier flange face ``F`` for a cage flange.
        `RepeatedReadings.quantity` gives it from several readings.
    bearing_width : Length
        Assembled width ``T`` of the head bearing, back of cone to back of cup.
    mounting_distance : Length
        Nominal mounting distance of the design, or this set's own when it is stamped outright.
    mark : DepthMark or None
        The set's depth mark; ``None`` when there is none.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the shim sits. Required.
    cage_height : Length, optional
        Flange face to cup shoulder ``c`` of the cage, positive toward the axis. Required at a cage flange.
    mounting_distance_is_this_sets : bool
        True when the mounting distance is stamped outright on this set; then no mark may be given.
    carrier_corrections : sequence of Length
        What to add to the carrier reading, such as `temperature_correction`; shown as terms of their own.

    Returns
    -------
    SpacerResult

    Raises
    ------
    InputError
        If the place is missing, the cage height is missing at a cage flange or given elsewhere, or both a
        stamped mounting distance and a mark are given.
    """
    sign = place_sign(place)
    assert place != ""  # place_sign refuses it
    questions: list[Text] = []
    if mounting_distance_is_this_sets and mark is not None and mark.value != 0.0:
        raise InputError(
            _("this set's own mounting distance and a depth mark are both given, which would count it twice"),
            where=_("mounting distance"),
            fix=_("give the nominal mounting distance with the mark, or the stamped one without it"),
        )
    if mark is None and not mounting_distance_is_this_sets:
        questions.append(
            _(
                "No depth mark: this set's own deviation is not known. Compare old and new "
                "pinion from the locating face, or start from the old spacer, and let the "
                "contact pattern decide."
            )
        )
    if sign < 0:
        if cage_height is not None:
            raise InputError(
                _("a cage height was given although the shim is not at the cage flange"),
                where=_("cage height"),
                fix=_("leave it out, or say cage_flange"),
            )
        terms = [
            plus(carrier),
            *(plus(c) for c in carrier_corrections),
            minus(mounting_distance),
            minus(bearing_width),
        ]
    else:
        if cage_height is None:
            raise InputError(
                _("the height of the pinion cage is missing"),
                where=_("cage height"),
                fix=_(
                    "measure from the cage's flange face to its cup shoulder, positive toward the gear axis"
                ),
            )
        terms = [
            plus(mounting_distance),
            plus(bearing_width),
            plus(cage_height),
            minus(carrier),
            *(minus(c) for c in carrier_corrections),
        ]
    marks = [] if mark is None else [mark]
    return _finish(_(PLACE_WORDS[place]), terms, _mark_terms(mark, place), place, marks, questions)


def spacer_from_zero_mark(
    zero_mark_spacer: Length, mark: DepthMark, *, place: ShimPlace | Literal[""] = ""
) -> SpacerResult:
    """Return the spacer from the one a zero-marked pinion would need, as a direct-reading gauge gives it.

    Parameters
    ----------
    zero_mark_spacer : Length
        Spacer for a pinion marked 0.
    mark : DepthMark
        The set's mark.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the shim sits. Required.
    """
    place_sign(place)
    assert place != ""  # place_sign refuses it
    return _finish(
        _(PLACE_WORDS[place]), [plus(zero_mark_spacer)], _mark_terms(mark, place), place, [mark], []
    )


def bearing_width_terms(
    old_width: Length, new_width: Length, place: ShimPlace | Literal[""]
) -> tuple[Term, Term]:
    """Return the two terms that correct a spacer for a change of head bearing.

    A wider new bearing wants a thinner spacer under the head or behind the cup (``T_old − T_new``) and a
    thicker pack at the cage flange (``T_new − T_old``). The uncertainties are taken as independent; measuring
    both with one instrument makes the real one smaller.
    """
    sign = float(place_sign(place))
    return Term(old_width, -sign), Term(new_width, sign)


def spacer_from_old(
    old_spacer: Length,
    old_mark: DepthMark | None,
    new_mark: DepthMark | None,
    *,
    place: ShimPlace | Literal[""] = "",
    old_bearing_width: Length | None = None,
    new_bearing_width: Length | None = None,
) -> SpacerResult:
    """Return the spacer for a new set from the old spacer and both marks.

    ``new = old + L·K·u·(new mark − old mark)``, each mark with its own unit and meaning, and the change of
    bearing width where both widths are given.

    Parameters
    ----------
    old_spacer : Length
        Thickness of the spacer that came out.
    old_mark, new_mark : DepthMark or None
        Marks of the old and the new set. Both or neither: with neither only the bearing is corrected.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the shim sits. Required.
    old_bearing_width, new_bearing_width : Length, optional
        Assembled widths of the head bearing that came out and of the one going in. Both or neither.

    Returns
    -------
    SpacerResult
        A starter: the questions say that it is only as good as the old setting was.
    """
    sign = float(place_sign(place))
    assert place != ""  # place_sign refuses it
    if (old_mark is None) != (new_mark is None):
        raise InputError(
            _("the old set's mark is missing") if old_mark is None else _("the new set's mark is missing"),
            where=_("depth mark"),
            fix=_("give both marks (0 where the gear says 0), or neither and let the contact pattern decide"),
        )
    if (old_bearing_width is None) != (new_bearing_width is None):
        raise InputError(
            _("the width of the old head bearing is missing")
            if old_bearing_width is None
            else _("the width of the new head bearing is missing"),
            where=_("bearing width"),
            fix=_("measure both, or leave both out if the bearing is used again"),
        )
    terms = [plus(old_spacer)]
    if old_bearing_width is not None and new_bearing_width is not None:
        terms += bearing_width_terms(old_bearing_width, new_bearing_width, place)
    mark_terms: list[Term] = []
    marks: list[DepthMark] = []
    if old_mark is not None and new_mark is not None:
        mark_terms = [
            Term(old_mark.deviation(_("old mark")), -sign),
            Term(new_mark.deviation(_("new mark")), sign),
        ]
        marks = [old_mark, new_mark]
    questions: list[Text] = [
        _(
            "Taken from the old spacer: right only if the old set sat right. Measure, or "
            "let the pattern decide."
        )
    ]
    if old_bearing_width is None:
        questions.append(
            _("Bearing widths not compared: a new head bearing alone can move the pinion up to 0.2 mm.")
        )
    return _finish(_(PLACE_WORDS[place]), terms, mark_terms, place, marks, questions)


def spacer_from_nominal(
    nominal_spacer: Length,
    case_deviation: Length,
    stamped_mounting_distance: Length,
    nominal_mounting_distance: Length,
    *,
    place: ShimPlace | Literal[""] = "",
) -> SpacerResult:
    """Return the spacer from outright stamped dimensions.

    ``s = s_nominal − L·(case deviation) + L·(MD_stamped − MD_nominal)``: a case that is too deep wants a
    thicker spacer under the head or behind the cup.

    Parameters
    ----------
    nominal_spacer : Length
        Pack that a nominal case and a nominal set need.
    case_deviation : Length
        Case depth minus nominal, as stamped, positive when the shoulder lies farther from the axis.
    stamped_mounting_distance, nominal_mounting_distance : Length
        This set's mounting distance and the nominal one.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the shim sits. Required.
    """
    sign = float(place_sign(place))
    assert place != ""  # place_sign refuses it
    terms = [
        plus(nominal_spacer),
        Term(case_deviation, -sign),
        Term(stamped_mounting_distance, sign),
        Term(nominal_mounting_distance, -sign),
    ]
    return _finish(_(PLACE_WORDS[place]), terms, [], place, [], [])


def spacer_from_fitted(
    fitted: Length,
    seen: Sequence[Length],
    mounting_distance: Length,
    mark: DepthMark | None,
    *,
    place: ShimPlace | Literal[""] = "",
) -> SpacerResult:
    """Return the spacer from the one that is in and the distance at which the pinion was seen with it.

    ``s = s_fitted + L·(MD − MD_seen)``, the mark counting as in `spacer_from_carrier`.

    Parameters
    ----------
    fitted : Length
        Spacer that was in when the pinion was measured.
    seen : sequence of Length
        What adds up to the distance from the ring gear's axis to the back of the head, such as the terms of
        `mounting_distance_from_nose`; at least one.
    mounting_distance : Length
        Where the back of the head should stand; this set's own when stamped outright, then without a mark.
    mark : DepthMark or None
        The set's depth mark.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the shim sits. Required.
    """
    sign = float(place_sign(place))
    assert place != ""  # place_sign refuses it
    terms = [plus(fitted), *(Term(part, -sign) for part in seen), Term(mounting_distance, sign)]
    marks = [] if mark is None else [mark]
    return _finish(_(PLACE_WORDS[place]), terms, _mark_terms(mark, place), place, marks, [])


def pinion_out_of_shim_change_mm(change_mm: float, place: ShimPlace | Literal[""]) -> float:
    """Return how far the pinion moves out [mm] when the shim at `place` becomes thicker by `change_mm`."""
    return place_sign(place) * change_mm


def shim_change_of_pinion_out_mm(pinion_out_mm: float, place: ShimPlace | Literal[""]) -> float:
    """Return by how much the shim must become thicker [mm] to move the pinion out by `pinion_out_mm`."""
    return place_sign(place) * pinion_out_mm
