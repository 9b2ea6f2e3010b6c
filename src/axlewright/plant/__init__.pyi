from .capabilities import (
    Capability as Capability,
    capability as capability,
)
from .control import (
    ControlChart as ControlChart,
    Panel as Panel,
    Signal as Signal,
    averages_chart as averages_chart,
    individuals_chart as individuals_chart,
)
from .curves import (
    DesignCurve as DesignCurve,
    design_curve as design_curve,
)
from .matching import (
    Carrier as Carrier,
    MarkedSet as MarkedSet,
    Match as Match,
    Matching as Matching,
    MatchingAnswer as MatchingAnswer,
    match as match,
)
from .ordering import (
    Order as Order,
    OrderLine as OrderLine,
    stock_to_order as stock_to_order,
)
from .positions import (
    BestPosition as BestPosition,
    PatternPosition as PatternPosition,
    best_position as best_position,
    pattern_position as pattern_position,
    smallest_reading as smallest_reading,
)
from .practice import (
    Practice as Practice,
)
from .reading_log import (
    Problem as Problem,
    ReadLog as ReadLog,
    read_log as read_log,
    write_log as write_log,
)
from .rolls import (
    COLUMNS as COLUMNS,
    Roll as Roll,
    by_set as by_set,
)
from .simulated_sets import (
    SimulatedSet as SimulatedSet,
    Spread as Spread,
    simulate_set as simulate_set,
    simulated_log as simulated_log,
)
from .study import (
    SettingSpread as SettingSpread,
    StudyResult as StudyResult,
    tolerance_study as tolerance_study,
)
