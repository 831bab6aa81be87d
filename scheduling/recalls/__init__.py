"""Recalls: how they end, what was set by hand, who was missed, and why."""
