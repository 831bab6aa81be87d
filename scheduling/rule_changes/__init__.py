"""What a proposed rule set would change, and how it is approved."""
