"""The independent count: where everybody is and what is owed, in SQL of its own, beside what the lists hold."""
