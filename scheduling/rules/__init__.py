"""The planning core: facts in, plan with reasons out; usable alone, without Django."""
