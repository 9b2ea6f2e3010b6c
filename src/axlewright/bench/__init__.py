"""The JOB put together: typed fields in, computed by the rooms below, recorded, and printed."""
