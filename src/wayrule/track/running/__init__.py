"""What runs on a surveyed line: a train on its curves and grades."""
