"""Pure readers of the file formats that people write by hand."""
