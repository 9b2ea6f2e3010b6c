"""Migrations of the records database; one file per change of the tables, never edited afterwards."""
