"""What a gear set DOES when rolled: marks, motion error, load, backlash."""
