from .attempt import (
    ACTIONS as ACTIONS,
    Action as Action,
    ActionKind as ActionKind,
    Attempt as Attempt,
    Outcome as Outcome,
    Played as Played,
    play as play,
)
from .axle import (
    Judged as Judged,
    Shown as Shown,
    judge_axle as judge_axle,
    not_sure_at_the_bench as not_sure_at_the_bench,
    show_axle as show_axle,
)
from .draw import (
    hidden_axle as hidden_axle,
    needs_setting as needs_setting,
)
from .ending import (
    Review as Review,
    after_course as after_course,
    ask as ask,
    best_course as best_course,
    best_settings as best_settings,
    hours_of as hours_of,
    review as review,
    way_of as way_of,
)
from .exercise import (
    FAULT_WORDS as FAULT_WORDS,
    LARGEST_NUMBER as LARGEST_NUMBER,
    LEVEL_WORDS as LEVEL_WORDS,
    ExerciseName as ExerciseName,
    HiddenAxle as HiddenAxle,
)
