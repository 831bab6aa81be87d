"""Published checklists: what each asks, and what was filled in."""
