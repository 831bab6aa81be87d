"""What is measured inside an outline: asymmetry, border, colours, size, and how much each may vary."""
