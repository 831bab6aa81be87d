"""What is owed: every duty with its one opening, its one proper end, who may end it, its list and its limit."""
