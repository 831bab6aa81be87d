"""Recalls, bookings, lists and rule sets."""
