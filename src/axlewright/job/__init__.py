"""A WHOLE job: photos, pattern, sheet, batch, practice."""
