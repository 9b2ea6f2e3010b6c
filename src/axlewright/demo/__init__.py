"""The demo job: one axle from measurements and photos to a printed sheet."""
