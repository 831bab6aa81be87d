"""Pages of the desk, the recalls, the rules and the year ahead."""
