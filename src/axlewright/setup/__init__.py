"""What the bench MEASURES and TURNS: marks, spacers, bearing widths, preload, backlash, runout, stock."""
