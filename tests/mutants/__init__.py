"""Mutants of what counts money and of what lets people in: each must fail a test."""
