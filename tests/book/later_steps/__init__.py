"""Two steps of the book's tables that only the tests take: what a later version may bring."""
