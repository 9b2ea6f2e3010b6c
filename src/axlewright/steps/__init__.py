"""ONE step of a job per file: its fields, its rule, its result, its drawings."""
