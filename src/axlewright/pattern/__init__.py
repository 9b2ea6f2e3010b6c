"""What the paint SHOWS: contact patterns read from photos, sketches and words."""
