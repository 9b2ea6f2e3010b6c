"""What an axle SOUNDS like: recordings, orders, sources, figures, synthesis."""
