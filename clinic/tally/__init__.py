"""The numbers of the masthead and what lists work out over all their rows, kept till something of it is written."""
