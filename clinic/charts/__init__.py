"""Pure writers of SVG charts: the year strip, the phases of a rule, counts as columns."""
