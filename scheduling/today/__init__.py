"""Today: everybody of whom something is owed, one line a person, each in the first section that fits."""
