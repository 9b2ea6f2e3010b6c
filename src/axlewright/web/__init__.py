"""Pages and their scripts; asks the other rooms, computes nothing."""
