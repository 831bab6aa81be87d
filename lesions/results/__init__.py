"""From tissue to a patient who knows: procedures, reports, who is told, and what was recorded in error."""
