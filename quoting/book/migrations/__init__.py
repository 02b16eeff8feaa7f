"""The steps from an empty database to the book's tables, in the order they were written."""
