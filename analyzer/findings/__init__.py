"""Causes that a saddle cannot cure, each with what was heard of it and what would confirm it."""
