"""Signals sent after commit: each may be lost, none changes anything by itself (the sweep finds what was missed)."""

from django.dispatch import Signal

facts_changed = Signal()  # patient_id
