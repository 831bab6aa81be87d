"""Rule sets: TOML read into checked rules."""
