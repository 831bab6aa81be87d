"""The criteria of the risk tiers: read from TOML, and said in sentences."""
