"""Pages that still speak English past the catalogue. The list may only shrink."""

CLINIC: set[str] = set()
LESIONS: set[str] = set()
SCHEDULING: set[str] = set()
LEFT = CLINIC | LESIONS | SCHEDULING
