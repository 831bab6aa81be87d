"""The register of lesions: where each lies on the body, and what it is called."""
