"""Getting word: mail and webhooks."""
