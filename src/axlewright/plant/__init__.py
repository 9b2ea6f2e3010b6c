"""MANY sets: roll-test log, best positions, statistics, matching, stock to order, tolerance studies.

The names are loaded when first used, so that the page starts without the numerics.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from axlewright.plant.capabilities import Capability, capability
    from axlewright.plant.control import ControlChart, Panel, Signal, averages_chart, individuals_chart
    from axlewright.plant.curves import DesignCurve, design_curve
    from axlewright.plant.matching import Carrier, MarkedSet, Match, Matching, MatchingAnswer, match
    from axlewright.plant.ordering import Order, OrderLine, stock_to_order
    from axlewright.plant.pattern_positions import PatternPosition, pattern_position
    from axlewright.plant.positions import BestPosition, best_position, smallest_reading
    from axlewright.plant.practice import Practice
    from axlewright.plant.reading_log import Problem, ReadLog, read_log, write_log
    from axlewright.plant.rolls import COLUMNS, Roll, by_set
    from axlewright.plant.simulated_sets import SimulatedSet, Spread, simulate_set, simulated_log
    from axlewright.plant.study import SettingSpread, StudyResult, tolerance_study

_WHERE: Final = {
    "BestPosition": "axlewright.plant.positions",
    "COLUMNS": "axlewright.plant.rolls",
    "Capability": "axlewright.plant.capabilities",
    "Carrier": "axlewright.plant.matching",
    "ControlChart": "axlewright.plant.control",
    "DesignCurve": "axlewright.plant.curves",
    "MarkedSet": "axlewright.plant.matching",
    "Match": "axlewright.plant.matching",
    "Matching": "axlewright.plant.matching",
    "MatchingAnswer": "axlewright.plant.matching",
    "Order": "axlewright.plant.ordering",
    "OrderLine": "axlewright.plant.ordering",
    "Panel": "axlewright.plant.control",
    "PatternPosition": "axlewright.plant.pattern_positions",
    "Practice": "axlewright.plant.practice",
    "Problem": "axlewright.plant.reading_log",
    "ReadLog": "axlewright.plant.reading_log",
    "Roll": "axlewright.plant.rolls",
    "SettingSpread": "axlewright.plant.study",
    "Signal": "axlewright.plant.control",
    "SimulatedSet": "axlewright.plant.simulated_sets",
    "Spread": "axlewright.plant.simulated_sets",
    "StudyResult": "axlewright.plant.study",
    "averages_chart": "axlewright.plant.control",
    "best_position": "axlewright.plant.positions",
    "by_set": "axlewright.plant.rolls",
    "capability": "axlewright.plant.capabilities",
    "design_curve": "axlewright.plant.curves",
    "individuals_chart": "axlewright.plant.control",
    "match": "axlewright.plant.matching",
    "pattern_position": "axlewright.plant.pattern_positions",
    "read_log": "axlewright.plant.reading_log",
    "simulate_set": "axlewright.plant.simulated_sets",
    "simulated_log": "axlewright.plant.simulated_sets",
    "smallest_reading": "axlewright.plant.positions",
    "stock_to_order": "axlewright.plant.ordering",
    "tolerance_study": "axlewright.plant.study",
    "write_log": "axlewright.plant.reading_log",
}

__all__ = [
    "COLUMNS",
    "BestPosition",
    "Capability",
    "Carrier",
    "ControlChart",
    "DesignCurve",
    "MarkedSet",
    "Match",
    "Matching",
    "MatchingAnswer",
    "Order",
    "OrderLine",
    "Panel",
    "PatternPosition",
    "Practice",
    "Problem",
    "ReadLog",
    "Roll",
    "SettingSpread",
    "Signal",
    "SimulatedSet",
    "Spread",
    "StudyResult",
    "averages_chart",
    "best_position",
    "by_set",
    "capability",
    "design_curve",
    "individuals_chart",
    "match",
    "pattern_position",
    "read_log",
    "simulate_set",
    "simulated_log",
    "smallest_reading",
    "stock_to_order",
    "tolerance_study",
    "write_log",
]


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'axlewright.plant' has no attribute '{name}'")
