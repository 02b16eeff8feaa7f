"""The work that every job goes through, one module a bench, in the order of work."""
