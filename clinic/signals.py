"""Signals sent after commit: each may be lost, none changes anything by itself (the sweep finds what was missed)."""

from django.dispatch import Signal

# A process can die between commit and signal: what is behind is told by the revisions alone.
facts_changed = Signal()  # patient_id
