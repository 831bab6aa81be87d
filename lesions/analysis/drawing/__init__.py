"""Pictures that the core draws: test lesions with a known truth, and the map of a change."""
