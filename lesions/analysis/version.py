"""Versions of the answer's form and of the measuring itself; two pictures compare only within one VERSION."""

SCHEMA = 2
VERSION = "2026.6"
