"""WHY a pattern looks as it does, and what to change next."""

from axlewright.diagnosis.advice import (
    COST_HOURS,
    COST_WORDS,
    Advice,
    ring_move_sentence,
    show_chance,
    side_shims_sentence,
    spacer_sign,
)
from axlewright.diagnosis.cause import Posterior, Spread
from axlewright.diagnosis.cure import Goal
from axlewright.diagnosis.diagnose import Diagnosis, diagnose, figures_words
from axlewright.diagnosis.evidence import Earlier, Evidence
from axlewright.diagnosis.habits import Habits, habits_of
from axlewright.diagnosis.learning import (
    SURPRISE,
    ExpectedVsCame,
    LearnedDesign,
    compare_expected,
    learn_design,
)
from axlewright.diagnosis.priors import Priors
