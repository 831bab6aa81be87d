"""Rows of the pages on which the desk works: in words, each fact asked once for all rows of a page."""
