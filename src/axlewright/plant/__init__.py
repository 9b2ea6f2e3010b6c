"""MANY sets: roll-test log, best positions, statistics, matching, stock to order, tolerance studies."""

from axlewright.plant.best_position import BestPosition, best_position, smallest_reading
from axlewright.plant.capability import Capability, capability
from axlewright.plant.control import ControlChart, Panel, Signal, averages_chart, individuals_chart
from axlewright.plant.design_curve import DesignCurve, design_curve
from axlewright.plant.matching import Carrier, MarkedSet, Match, Matching, MatchingAnswer, match
from axlewright.plant.ordering import Order, OrderLine, stock_to_order
from axlewright.plant.pattern_position import PatternPosition, pattern_position
from axlewright.plant.practice import Practice
from axlewright.plant.reading_log import Problem, ReadLog, read_log, write_log
from axlewright.plant.rolls import COLUMNS, Roll, by_set
from axlewright.plant.simulated_log import SimulatedSet, Spread, simulate_set, simulated_log
from axlewright.plant.study import SettingSpread, StudyResult, tolerance_study

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
