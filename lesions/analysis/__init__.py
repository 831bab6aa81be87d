"""The image core: pixels in, numbers out; usable alone, without Django."""
