"""Getting word: mail and webhooks, out of the book's outbox."""
