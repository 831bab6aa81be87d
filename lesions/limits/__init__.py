"""The clinic's limits: which measures put a lesion before a dermatologist."""
