"""WHY a pattern looks as it does, and what to change next."""

from axlewright.diagnosis.advice import COST_HOURS, COST_WORDS, Advice, show_chance, spacer_sign
from axlewright.diagnosis.cause import Posterior, Spread
from axlewright.diagnosis.cure import Goal
from axlewright.diagnosis.diagnose import Diagnosis, diagnose
from axlewright.diagnosis.evidence import Earlier, Evidence
from axlewright.diagnosis.priors import Priors

__all__ = [
    "COST_HOURS",
    "COST_WORDS",
    "Advice",
    "Diagnosis",
    "Earlier",
    "Evidence",
    "Goal",
    "Posterior",
    "Priors",
    "Spread",
    "diagnose",
    "show_chance",
    "spacer_sign",
]
