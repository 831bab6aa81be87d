"""What stands before a dermatologist who decides: the queue, what is shown, and what is begun and not yet signed."""
