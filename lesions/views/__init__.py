"""Pages of lesions, pictures, decisions and results."""
