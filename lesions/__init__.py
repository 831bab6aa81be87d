"""Lesions, their pictures, measures and decisions."""
