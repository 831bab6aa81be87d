"""Two pictures of one lesion laid upon each other, and what changed between them."""
