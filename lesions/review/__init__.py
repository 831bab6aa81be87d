"""What waits for a dermatologist, what was decided, and which results follow."""
