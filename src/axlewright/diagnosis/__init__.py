"""WHY a pattern looks as it does, and what to change next."""

from axlewright.diagnosis.advice import (
    COST_HOURS,
    COST_WORDS,
    Advice,
    show_chance,
    side_shims_sentence,
    spacer_sign,
)
from axlewright.diagnosis.cause import Posterior, Spread
from axlewright.diagnosis.cure import Goal
from axlewright.diagnosis.diagnose import ROUGH_SD, Diagnosis, diagnose
from axlewright.diagnosis.evidence import Earlier, Evidence
from axlewright.diagnosis.figures import figures_words
from axlewright.diagnosis.learning import (
    SURPRISE,
    ExpectedVsCame,
    LearnedDesign,
    compare_expected,
    learn_design,
)
from axlewright.diagnosis.priors import Priors

__all__ = [
    "COST_HOURS",
    "COST_WORDS",
    "ROUGH_SD",
    "SURPRISE",
    "Advice",
    "Diagnosis",
    "Earlier",
    "Evidence",
    "ExpectedVsCame",
    "Goal",
    "LearnedDesign",
    "Posterior",
    "Priors",
    "Spread",
    "compare_expected",
    "diagnose",
    "figures_words",
    "learn_design",
    "show_chance",
    "side_shims_sentence",
    "spacer_sign",
]
