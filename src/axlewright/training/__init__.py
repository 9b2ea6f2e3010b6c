"""PRACTICE: axles with hidden faults that answer to every reading and every change."""

from axlewright.training.attempt import ACTIONS, Action, ActionKind, Attempt, Outcome, Played, play
from axlewright.training.axle import Judged, Shown, judge_axle, not_sure_at_the_bench, show_axle
from axlewright.training.draw import hidden_axle, needs_setting
from axlewright.training.exercise import FAULT_WORDS, LARGEST_NUMBER, LEVEL_WORDS, ExerciseName, HiddenAxle
from axlewright.training.review import (
    Review,
    after_course,
    ask,
    best_course,
    best_settings,
    hours_of,
    review,
    way_of,
)
