"""What the figures of the bench are made of."""
