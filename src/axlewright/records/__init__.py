"""What was DONE: jobs, sets, people, readings, files, history.

The door is `open_store`; everything else comes from the `JobStore` it returns.
"""

from axlewright.records.backup import backup, restore
from axlewright.records.deciding import Basis, Deciding, deciding
from axlewright.records.steps import (
    STEP_KEYS,
    STEPS,
    NextStep,
    Step,
    StepStatus,
    not_done,
    standing,
    stopped_by,
    waits_behind,
)
from axlewright.records.store import JobStore, open_store
from axlewright.records.transfer import export_job, import_job, job_file_schema
from axlewright.records.types import (
    ChainReport,
    Entry,
    EntryKind,
    HeaderChange,
    Instrument,
    Job,
    JobConflictError,
    JobState,
    Person,
    Role,
    StockItem,
    StockMove,
    StoredFile,
    Verdict,
)
