"""Which set of engine rules prices a job: a changed rule is a new number, and the old one stays beside it."""

RULES = 1
