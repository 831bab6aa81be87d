"""Pictures of lesions: accepted, stored, with outlines and scales set by hand."""
