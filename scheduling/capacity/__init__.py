"""The year ahead: visits wanted and places free."""
