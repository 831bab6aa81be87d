"""Pictures measured and compared through the image core, and what pages show of it."""
