"""Commands; asks the other rooms, computes nothing."""
