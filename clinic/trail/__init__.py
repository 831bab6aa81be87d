"""What was done and read, by whom: kept for good, never edited."""
