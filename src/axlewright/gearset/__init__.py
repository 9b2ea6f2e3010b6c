"""What a gear set IS: design data, pitch cones, blanks, flanks, conjugate pinion, ease-off."""
