"""FACTS: what the core is told about one patient, read strictly."""
