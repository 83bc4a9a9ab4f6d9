"""Bytes to types and back: recordings, wagon files, tables, spellings; opens nothing."""
