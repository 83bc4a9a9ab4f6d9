"""The joint adjustment of all runs to one line."""
