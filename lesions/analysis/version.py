"""Versions of the answer's form and of the measuring itself; two pictures compare only within one VERSION."""

SCHEMA = 1
VERSION = "2026.3"
