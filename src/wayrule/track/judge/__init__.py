"""Holding a surveyed line against rules: pure functions from a survey to findings."""
