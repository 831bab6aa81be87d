"""Two records of one person: found alike, merged by two people, and parted again."""
