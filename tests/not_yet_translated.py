"""Pages that still speak English past the catalogue. The list may only shrink."""

LEFT: set[str] = set()
