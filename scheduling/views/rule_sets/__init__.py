"""Pages of rule sets: what they say, what a change would move, and how people are tried."""
