"""WHY a pattern looks as it does, and what to change next."""
