"""PAPER: job sheet and labels."""
