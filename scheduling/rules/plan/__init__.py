"""From facts and rules to due items with reasons, and problems for a person."""
