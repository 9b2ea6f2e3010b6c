"""What was DONE: jobs, sets, people, readings, files, history."""
