"""Trains the learned outline; run by hand with its own requirements, never imported by the application."""
